"""Video out: encoded in a thread of its own, with the source's tags, timecode and audio."""

from __future__ import annotations

import errno
import io
import os
import queue
import threading
from collections.abc import Iterable
from contextlib import suppress
from fractions import Fraction
from pathlib import Path
from typing import Any

import av
import numpy as np

from postfix.deliver.closing import Closing
from postfix.deliver.codecs import encoder_for, spec_of
from postfix.deliver.containers import CLOCKED, carries_turn, check_container, needs_colour_box, range_told
from postfix.deliver.depth import Fitting
from postfix.deliver.matroska import set_pixel_aspect
from postfix.deliver.sound import PacketCopy, muxer_options, sound_words
from postfix.deliver.spec import UNSPECIFIED, VideoSpec, coded_size
from postfix.errors import InputError, OutputError
from postfix.source.ahead import frames_ahead
from postfix.source.picture import PictureFormat, Planes
from postfix.source.pixel_formats import FULL_RANGE, plane_order, plane_samples, video_format
from postfix.source.signalling import matroska_word
from postfix.source.turning import UPRIGHT, as_coded, format_turned, turn_of
from postfix.source.video import VideoSource

_DISK_ERRORS = (
    errno.ENOSPC, errno.EDQUOT, errno.EIO, errno.EROFS, errno.ENOENT, errno.ENOTDIR, errno.EISDIR, errno.EACCES,
    errno.ENAMETOOLONG,
)  # fmt: skip
"""What is wrong with a place rather than with what is written; the library itself says EPERM and EINVAL of a codec."""

_AUDIO_AHEAD_S = Fraction(1, 2)
"""How far audio packets are written ahead of the pictures, so that players find both close together."""

_HOLD_ASPECT = ("h264", "hevc")
"""Codecs whose own stream holds the pixel aspect."""

_PLAIN_TEXTS = {"title", "comment"}
"""Texts that MOV and MP4 keep without being asked to keep all of them."""


class VideoEncoder:
    """One video file being written, frame by frame, on the thread that calls it.

    Parameters
    ----------
    path : Path
        The file; its suffix chooses the container.
    spec : VideoSpec
    audio_from : VideoSource, optional
        The clip whose sound, subtitles and chapters are copied as they are.
    in_memory : bool
        True to write to no file, for finding out what is refused.

    Raises
    ------
    InputError
        Where this cannot be encoded; before anything is written.
    """

    def __init__(
        self, path: Path, spec: VideoSpec, audio_from: VideoSource | None = None, *, in_memory: bool = False
    ) -> None:
        self.path, self.spec = path, spec
        named = audio_from.path if audio_from else path
        turn = turn_of(spec.display_matrix) if carries_turn(path) else UPRIGHT
        self._turn = turn or UPRIGHT
        self._size = coded_size(spec) if self._turn != UPRIGHT else (spec.width, spec.height)
        self._aspect = 1 / spec.pixel_aspect if spec.pixel_aspect and self._turn.swaps else spec.pixel_aspect
        self._order = plane_order(spec.pixel_format)
        self._given = _format_of(spec)
        self._written = video_format(spec.pixel_format, *self._size, FULL_RANGE.get(spec.color_range))
        self._dtype = np.dtype(self._written.dtype)
        fits = spec.handed_format == spec.pixel_format
        self._fit = None if fits else Fitting(spec.handed_format, spec.pixel_format, FULL_RANGE.get(spec.color_range))
        self._index = 0
        self._audio: PacketCopy | None = None
        encoder, options = encoder_for(spec, named)
        check_container(spec, named, path.suffix)
        was_there = in_memory or os.path.lexists(path)
        place = _Nowhere(path) if in_memory else str(path)
        try:
            self._container: Any = av.open(place, "w", container_options=self._container_options(audio_from))
        except (av.FFmpegError, OSError, ValueError) as error:
            raise OutputError(path, f"no way to write it ({error})", "a video file", "choose another output") from error
        try:
            self._stream = self._add_stream(encoder.name, options, encoder.threads)
            if audio_from is not None:
                self._audio = PacketCopy(audio_from, self._container, path.suffix)
            # Now, not at the first frame: whatever the container refuses is refused before any work is done.
            self._container.start_encoding()
            self._frame_memory = self._new_frame()
        except BaseException as error:
            self.abandon()
            if not was_there:
                with suppress(OSError):
                    path.unlink(missing_ok=True)
            if isinstance(error, (av.FFmpegError, ValueError)) and not _is_of_the_disk(error):
                sound = sound_words(audio_from) if audio_from else ""
                raise InputError(
                    named,
                    f"{spec.codec} {spec.profile} {spec.pixel_format} at {spec.width}x{spec.height}, which a "
                    f"'{path.suffix}' file cannot be made with{sound} ({_reason(error)})",
                    "codec, size, sound and container that go together",
                    "choose another codec with --codec, or export the clip in another container first",
                ) from error
            if isinstance(error, (av.FFmpegError, OSError)):
                raise OutputError(
                    path, f"no way to write it ({error})", "room on the disk", "check the disk"
                ) from error
            raise

    def _container_options(self, audio_from: VideoSource | None) -> dict[str, str]:
        options = {"fflags": "+bitexact", **(muxer_options(audio_from) if audio_from else {})}
        if self.path.suffix.lower() in CLOCKED:
            ticks = self.spec.rate.numerator
            options["video_track_timescale"] = str(ticks * (1 if ticks >= 1000 else 1000))
            flags = "+write_colr" if needs_colour_box(self.spec) else ""
            if any(key.lower() not in _PLAIN_TEXTS for key, _ in self.spec.metadata):
                flags += "+use_metadata_tags"
            if flags:
                options["movflags"] = flags
        return options

    def _add_stream(self, encoder: str, options: dict[str, str], threads: int) -> Any:
        spec = self.spec
        stream = self._container.add_stream(encoder, rate=spec.rate, options=options)
        context = stream.codec_context
        (context.width, context.height), context.pix_fmt = self._size, spec.pixel_format
        context.time_base = 1 / spec.rate
        context.thread_count = threads
        context.color_range = range_told(spec, self.path.suffix)
        context.color_primaries = spec.color_primaries
        context.color_trc = spec.color_transfer
        context.colorspace = spec.color_matrix
        if self._aspect is not None:
            context.sample_aspect_ratio = self._aspect
        suffix = self.path.suffix.lower()
        if spec.codec == "hevc" and suffix in CLOCKED:
            # Its parameter sets are in the header alone, as this name says; many players know no other.
            context.codec_tag = "hvc1"
        if spec.display_matrix is not None and carries_turn(self.path):
            stream.set_display_matrix(spec.display_matrix)
        for key, value in spec.metadata:
            self._container.metadata[key] = value
        for key, value in spec.stream_metadata:
            # MOV and MP4 give a track's title back as its name.
            stream.metadata["title" if key == "name" and suffix in CLOCKED else key] = value
        if spec.stereo is not None and suffix == ".mkv":
            stream.metadata["stereo_mode"] = matroska_word(spec.stereo)
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
        if self.path.suffix.lower() == ".mkv" and self._aspect is not None:
            stereo = self.spec.stereo
            if self.spec.codec not in _HOLD_ASPECT or stereo is not None:
                set_pixel_aspect(self.path, self._size, self._aspect, stereo)

    def abandon(self) -> None:
        """Close without caring for what was written, after an error."""
        if self._audio is not None:
            self._audio.close()
        with suppress(Exception):
            self._container.close()

    def _new_frame(self) -> Any:
        spec = self.spec
        frame = av.VideoFrame(*self._size, spec.pixel_format)
        frame.time_base = 1 / spec.rate
        # ProRes takes its tags from each frame, not from the encoder's settings.
        frame.color_range = range_told(spec, self.path.suffix)
        frame.color_primaries = spec.color_primaries
        frame.color_trc = spec.color_transfer
        frame.colorspace = spec.color_matrix
        return frame

    def _frame(self, planes: Planes) -> av.VideoFrame:
        """The planes in the memory that every frame is handed to the encoder in; the encoder keeps a copy."""
        given = self._given
        if len(planes) != len(given.planes):
            raise ValueError(f"{len(planes)} planes for {given.pixel_format}")
        for samples, described in zip(planes, given.planes):
            channels = (described.channels,) if described.channels > 1 else ()
            shape = (-(-given.height // described.step_y), -(-given.width // described.step_x), *channels)
            if samples.dtype != given.dtype or samples.shape != shape:
                raise ValueError(f"a plane of {samples.dtype} {samples.shape}, not {given.dtype} {shape}")
        if self._fit is not None:
            planes = self._fit(planes)
        frame = self._frame_memory
        frame.make_writable()
        for index, samples, described in zip(self._order, as_coded(planes, self._turn), self._written.planes):
            np.copyto(plane_samples(frame.planes[index], self._dtype, described.channels), samples)
        frame.pts = self._index
        return frame  # type: ignore[no-any-return]


class VideoWriter(Closing):
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
            self.abandon()
            raise OutputError(
                self.path, f"{self._written} frames handed over", f"{self._count}", "report this as a fault"
            )
        self._closed = True
        self._queue.put(None)
        self._thread.join()
        self._raise_error()

    def abandon(self) -> None:
        """End without caring for what was written."""
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


class _Nowhere(io.BytesIO):
    """A file in memory, whose name tells the container."""

    def __init__(self, path: Path) -> None:
        super().__init__()
        self.name = str(path)


def check_writer(spec: VideoSpec, name: str, source: VideoSource) -> None:
    """Refuse, before any work, all that a writer of a source's clip would refuse when it opens; nothing is written.

    Parameters
    ----------
    spec : VideoSpec
    name : str
        Of the file to be written; its suffix is the container.
    source : VideoSource
        Whose sound goes along; it is named in errors.

    Raises
    ------
    InputError
        Where codec, size, container and sound do not go together; names the choice to make.
    """
    VideoEncoder(Path(name), spec, source, in_memory=True).abandon()


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
    """The format of the upright frames that are handed over."""
    full_range = FULL_RANGE.get(spec.color_range)
    coded = video_format(spec.handed_format, *coded_size(spec), full_range, spec.color_matrix)
    return format_turned(coded, turn_of(spec.display_matrix) or UPRIGHT)


def _reason(error: BaseException) -> str:
    """What the library itself says is wrong, without the call that it came from."""
    log = getattr(error, "log", None)
    return str(log[2]).strip() if log else str(error)


def _is_of_the_disk(error: BaseException) -> bool:
    return isinstance(error, OSError) and error.errno in _DISK_ERRORS


__all__ = ["UNSPECIFIED", "VideoEncoder", "VideoSpec", "VideoWriter", "spec_of", "write_video"]
