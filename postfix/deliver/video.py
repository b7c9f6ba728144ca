"""Video out: encoded in a thread of its own, with the source's tags, timecode and audio."""

from __future__ import annotations

import queue
import threading
from collections.abc import Iterable, Iterator
from contextlib import suppress
from fractions import Fraction
from pathlib import Path
from types import TracebackType
from typing import Any

import av
import numpy as np

from postfix.deliver.codecs import UNSPECIFIED, VideoSpec, encoder_for, spec_of
from postfix.errors import InputError, OutputError
from postfix.source.ahead import frames_ahead
from postfix.source.picture import PictureFormat, Planes
from postfix.source.pixel_formats import plane_order, video_format
from postfix.source.video import VideoSource

_AUDIO_AHEAD_S = Fraction(1, 2)
"""How far audio packets are written ahead of the pictures, so that players find both close together."""

_CLOCKED_SUFFIXES = {".mov", ".mp4", ".m4v"}
"""Containers whose clock can be set, so that every frame time is exact."""


class VideoEncoder:
    """One video file being written, frame by frame, on the thread that calls it.

    Parameters
    ----------
    path : Path
        The file; its suffix chooses the container.
    spec : VideoSpec
    audio_from : VideoSource, optional
        The clip whose audio packets are copied as they are.

    Raises
    ------
    InputError
        Where this cannot be encoded; before anything is written.
    """

    def __init__(self, path: Path, spec: VideoSpec, audio_from: VideoSource | None = None) -> None:
        self.path, self.spec = path, spec
        self._order = plane_order(spec.pixel_format)
        self._format = _format_of(spec)
        self._dtype = np.dtype(self._format.dtype)
        self._index = 0
        encoder, options = encoder_for(spec, audio_from.path if audio_from else path)
        container_options = {"fflags": "+bitexact"}
        if path.suffix.lower() in _CLOCKED_SUFFIXES:
            ticks = spec.rate.numerator
            container_options["video_track_timescale"] = str(ticks * (1 if ticks >= 1000 else 1000))
        try:
            self._container: Any = av.open(str(path), "w", container_options=container_options)
        except (av.FFmpegError, OSError, ValueError) as error:
            raise OutputError(path, f"no way to write it ({error})", "a video file", "choose another output") from error
        try:
            self._stream = self._add_stream(encoder.name, options, encoder.threads)
            self._audio = _AudioCopy(audio_from, self._container, spec.rate) if audio_from else None
        except BaseException as error:
            self.abandon()
            if isinstance(error, (av.FFmpegError, ValueError)):
                raise InputError(
                    audio_from.path if audio_from else path,
                    f"{spec.codec} {spec.profile} {spec.pixel_format} at {spec.width}x{spec.height}, which a "
                    f"'{path.suffix}' file cannot be made with ({error})",
                    "codec, size and container that go together",
                    "export the clip in another codec or container first",
                ) from error
            raise

    def _add_stream(self, encoder: str, options: dict[str, str], threads: int) -> Any:
        spec = self.spec
        stream = self._container.add_stream(encoder, rate=spec.rate, options=options)
        context = stream.codec_context
        context.width, context.height, context.pix_fmt = spec.width, spec.height, spec.pixel_format
        context.time_base = 1 / spec.rate
        context.thread_count = threads
        context.color_range = spec.color_range
        context.color_primaries = spec.color_primaries
        context.color_trc = spec.color_transfer
        context.colorspace = spec.color_matrix
        if spec.pixel_aspect is not None:
            context.sample_aspect_ratio = spec.pixel_aspect
        for key, value in spec.metadata:
            self._container.metadata[key] = value
        for key, value in spec.stream_metadata:
            stream.metadata[key] = value
        if spec.timecode is not None:
            self._container.metadata["timecode"] = spec.timecode
        context.open(strict=False)
        return stream

    def encode(self, planes: Planes) -> None:
        """Encode the next frame; ``planes`` in the order of the source's own planes."""
        frame = self._frame(planes)
        if self._audio is not None:
            self._audio.copy_until(self._index / self.spec.rate + _AUDIO_AHEAD_S)
        self._container.mux(self._stream.encode(frame))
        self._index += 1

    def finish(self) -> None:
        """Encode what waits inside the encoder and close the file."""
        self._container.mux(self._stream.encode(None))
        if self._audio is not None:
            self._audio.copy_until(None)
        self._container.close()

    def abandon(self) -> None:
        """Close without caring for what was written, after an error."""
        if getattr(self, "_audio", None) is not None:
            self._audio.close()  # type: ignore[union-attr]
        with suppress(Exception):
            self._container.close()

    def _frame(self, planes: Planes) -> av.VideoFrame:
        spec = self.spec
        frame = av.VideoFrame(spec.width, spec.height, spec.pixel_format)
        if len(planes) != len(self._order):
            raise ValueError(f"{len(planes)} planes for {spec.pixel_format}")
        for index, samples in zip(self._order, planes):
            plane: Any = frame.planes[index]
            if samples.dtype != self._dtype or samples.shape != (plane.height, plane.width):
                raise ValueError(
                    f"a plane of {samples.dtype} {samples.shape}, not {self._dtype} {(plane.height, plane.width)}"
                )
            np.frombuffer(plane, self._dtype).reshape(plane.height, -1)[:, : plane.width] = samples
        frame.pts = self._index
        frame.time_base = 1 / spec.rate
        # ProRes takes its tags from each frame, not from the encoder's settings.
        frame.color_range = spec.color_range
        frame.color_primaries = spec.color_primaries
        frame.color_trc = spec.color_transfer
        frame.colorspace = spec.color_matrix
        return frame


class _AudioCopy:
    """The audio packets of a clip, copied byte for byte in step with the pictures."""

    def __init__(self, source: VideoSource, target: Any, rate: Fraction) -> None:
        self._start_s = source.start_s
        self._whole = source.count == source.file_count
        self._end_s = self._start_s + source.count / rate
        self._target = target
        self._input: Any = av.open(str(source.path), metadata_errors="replace")
        self._streams: dict[int, Any] = {}
        for stream in self._input.streams.audio:
            copy = target.add_stream_from_template(stream)
            for key, value in stream.metadata.items():
                if key.upper() != "DURATION":
                    copy.metadata[key] = value
            self._streams[stream.index] = copy
        self._packets: Iterator[Any] = self._input.demux(*self._input.streams.audio) if self._streams else iter(())
        self._waiting: Any = None

    def copy_until(self, time_s: Fraction | None) -> None:
        """Copy packets that start before a time, counted from the clip's first frame; None copies the rest."""
        while True:
            packet = self._waiting or next(self._packets, None)
            self._waiting = None
            if packet is None:
                self.close()
                return
            if packet.size == 0:
                continue
            starts_s = packet.pts * packet.time_base if packet.pts is not None else self._start_s
            if not self._whole and not self._start_s <= starts_s < self._end_s:
                continue
            if time_s is not None and starts_s - self._start_s > time_s:
                self._waiting = packet
                return
            shift = round(self._start_s / packet.time_base)
            if packet.pts is not None:
                packet.pts -= shift
            if packet.dts is not None:
                packet.dts -= shift
            packet.stream = self._streams[packet.stream.index]
            self._target.mux(packet)

    def close(self) -> None:
        self._packets = iter(())
        self._input.close()


class VideoWriter:
    """A video being written; the encoding runs in a thread of its own.

    Parameters
    ----------
    path : Path
        The file, in a folder that is itself unfinished; its suffix chooses the container.
    spec : VideoSpec
    count : int
        Frames that will be handed over.
    audio_from : VideoSource, optional
        The clip whose audio packets are copied as they are.
    """

    def __init__(self, path: Path, spec: VideoSpec, count: int, audio_from: VideoSource | None = None) -> None:
        self.path = path
        self._count, self._written = count, 0
        self._encoder = VideoEncoder(path, spec, audio_from)
        self._queue: queue.Queue[Planes | None] = queue.Queue(frames_ahead(_format_of(spec)))
        self._error: BaseException | None = None
        self._abandoned = threading.Event()
        self._closed = False
        self._thread = threading.Thread(target=self._run, name=f"encode {path.name}", daemon=True)
        self._thread.start()

    def __enter__(self) -> VideoWriter:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        if kind is None:
            self.close()
        else:
            self._abandon()

    def write(self, index: int, planes: Planes, unchanged: bool = False) -> None:
        """Hand over frame ``index`` (in order, counted from 0); the planes must not be changed afterwards.

        ``unchanged`` makes no difference here: a video is coded as a whole.

        Raises
        ------
        OutputError
            Where this frame or an earlier one could not be written.
        """
        if index != self._written:
            raise ValueError(f"frame {index} after {self._written} frames")
        self._raise_error()
        self._queue.put(planes)
        self._written += 1

    def close(self) -> None:
        """Wait until everything is written; raises OutputError where something was not."""
        if self._closed:
            return
        if self._written != self._count:
            self._abandon()
            raise OutputError(
                self.path, f"{self._written} frames handed over", f"{self._count}", "report this as a fault"
            )
        self._closed = True
        self._queue.put(None)
        self._thread.join()
        self._raise_error()

    def _abandon(self) -> None:
        if self._closed:
            return
        self._closed = True
        self._abandoned.set()
        self._queue.put(None)
        self._thread.join()

    def _raise_error(self) -> None:
        if self._error is not None:
            raise OutputError(
                self.path,
                f"a frame that could not be written ({self._error})",
                "room on the disk and a sound encoder",
                "check the disk and run again",
            ) from self._error

    def _run(self) -> None:
        """Encode until the end mark; after an error, keep emptying the queue so that nobody waits for ever."""
        try:
            while (planes := self._queue.get()) is not None:
                if self._error is None and not self._abandoned.is_set():
                    self._try(self._encoder.encode, planes)
            if self._error is None and not self._abandoned.is_set():
                self._try(self._encoder.finish)
        finally:
            if self._error is not None or self._abandoned.is_set():
                self._encoder.abandon()

    def _try(self, step: Any, *arguments: Any) -> None:
        try:
            step(*arguments)
        except BaseException as error:
            self._error = error


def write_video(path: Path, spec: VideoSpec, frames: Iterable[Planes]) -> int:
    """Write a clip from nothing; returns how many frames were written.

    Parameters
    ----------
    path : Path
        The file; its suffix chooses the container. An existing file is overwritten: stage it first.
    spec : VideoSpec
    frames : iterable of Planes
        In the order Y, U, V (or R, G, B), of the pixel format's own sample type and size.
    """
    encoder = VideoEncoder(path, spec)
    written = 0
    try:
        for planes in frames:
            encoder.encode(planes)
            written += 1
        encoder.finish()
    except BaseException as error:
        encoder.abandon()
        if isinstance(error, (av.FFmpegError, OSError)):
            raise OutputError(
                path,
                f"a frame that could not be written ({error})",
                "room on the disk",
                "check the disk and run again",
                frame=written,
            ) from error
        raise
    return written


def _format_of(spec: VideoSpec) -> PictureFormat:
    return video_format(spec.pixel_format, spec.width, spec.height, {1: False, 2: True}.get(spec.color_range))


__all__ = ["UNSPECIFIED", "VideoEncoder", "VideoSpec", "VideoWriter", "spec_of", "write_video"]
