"""One video file being written: its container, the encoder that its header speaks of, and what goes along."""

from __future__ import annotations

import errno
import io
import os
from collections.abc import Iterable
from contextlib import suppress
from fractions import Fraction
from pathlib import Path
from typing import Any

import av

from postfix.deliver.codecs import encoder_for
from postfix.deliver.containers import CLOCKED, carries_turn, check_container, needs_colour_box, range_told
from postfix.deliver.matroska import set_pixel_aspect
from postfix.deliver.sound import PacketCopy, muxer_options, sound_words
from postfix.deliver.spec import VideoSpec, coded_size
from postfix.errors import InputError, OutputError
from postfix.source.signalling import matroska_word
from postfix.source.turning import UPRIGHT, Turn, turn_of
from postfix.source.video import VideoSource

_DISK_ERRORS = (
    errno.ENOSPC, errno.EDQUOT, errno.EIO, errno.EROFS, errno.ENOENT, errno.ENOTDIR, errno.EISDIR, errno.EACCES,
    errno.ENAMETOOLONG, errno.EFBIG,
)  # fmt: skip
"""What is wrong with a place rather than with what is written; the library itself says EPERM and EINVAL of a codec."""

_AUDIO_AHEAD_S = Fraction(1, 2)
"""How far audio packets are written ahead of the pictures, so that players find both close together."""

_HOLD_ASPECT = ("h264", "hevc")
"""Codecs whose own stream holds the pixel aspect."""

_PLAIN_TEXTS = {"title", "comment"}
"""Texts that MOV and MP4 keep without being asked to keep all of them."""


class VideoFile:
    """A video file that takes coded pictures.

    Parameters
    ----------
    path : Path
        The file; its suffix chooses the container.
    spec : VideoSpec
    audio_from : VideoSource, optional
        The clip whose sound, subtitles and chapters are copied as they are.
    in_memory : bool
        True to write to no file, for coding pictures that are put into one later.
    named : Path, optional
        What errors name; the clip of the sound, or the path, without it.

    Attributes
    ----------
    coder : CodecContext
        The opened encoder.
    written_size : (int, int)
        Width and height of the coded pictures, which a player may turn.

    Raises
    ------
    InputError
        Where this cannot be encoded; before anything is written.
    """

    def __init__(
        self,
        path: Path,
        spec: VideoSpec,
        audio_from: VideoSource | None = None,
        *,
        in_memory: bool = False,
        named: Path | None = None,
    ) -> None:
        self.path, self.spec = path, spec
        named = named or (audio_from.path if audio_from else path)
        turn = turn_of(spec.display_matrix) if carries_turn(path) else UPRIGHT
        self.turn: Turn = turn or UPRIGHT
        self.written_size = coded_size(spec) if self.turn != UPRIGHT else (spec.width, spec.height)
        self._aspect = 1 / spec.pixel_aspect if spec.pixel_aspect and self.turn.swaps else spec.pixel_aspect
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
            self.coder: Any = self._stream.codec_context
            if audio_from is not None:
                self._audio = PacketCopy(audio_from, self._container, path.suffix)
            # Now, not at the first frame: whatever the container refuses is refused before any work is done.
            self._container.start_encoding()
        except BaseException as error:
            self.abandon()
            if not was_there:
                with suppress(OSError):
                    path.unlink(missing_ok=True)
            if isinstance(error, (av.FFmpegError, ValueError)) and not is_of_the_disk(error):
                sound = sound_words(audio_from) if audio_from else ""
                raise InputError(
                    named,
                    f"{spec.codec} {spec.profile} {spec.pixel_format} at {spec.width}x{spec.height}, which a "
                    f"'{path.suffix}' file cannot be made with{sound} ({reason_of(error)})",
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
        (context.width, context.height), context.pix_fmt = self.written_size, spec.pixel_format
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
        if encoder == "libx264" and suffix == ".mxf":
            # The library's MXF tells no order of showing apart from that of coding: later pictures may not come first.
            context.max_b_frames = 0
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

    @property
    def header(self) -> bytes:
        """What the container's own header holds of the encoder: pictures coded by another encoder may only be put in
        where that one's is the same."""
        return bytes(self.coder.extradata or b"")

    def put(self, packets: Iterable[Any], frame: int) -> None:
        """Take coded pictures, after the sound that belongs before frame ``frame`` and a little further."""
        if self._audio is not None:
            self._audio.copy_until(frame / self.spec.rate + _AUDIO_AHEAD_S)
        for packet in packets:
            self._container.mux(packet)

    def put_coded(self, data: bytes, *, shown: int, decoded: int, duration: int, key: bool, frame: int) -> None:
        """Take one picture that was coded elsewhere; times in frames."""
        packet = av.Packet(data)
        packet.time_base, packet.stream = 1 / self.spec.rate, self._stream
        packet.pts, packet.dts, packet.duration, packet.is_keyframe = shown, decoded, duration, key
        self.put((packet,), frame)

    def finish(self) -> None:
        """Write what remains of the sound and close the file."""
        if self._audio is not None:
            self._audio.copy_until(None)
        self._container.close()
        if self.path.suffix.lower() == ".mkv" and self._aspect is not None:
            stereo = self.spec.stereo
            if self.spec.codec not in _HOLD_ASPECT or stereo is not None:
                set_pixel_aspect(self.path, self.written_size, self._aspect, stereo)

    def abandon(self) -> None:
        """Close without caring for what was written, after an error."""
        if self._audio is not None:
            self._audio.close()
        with suppress(Exception):
            self._container.close()


class _Nowhere(io.BytesIO):
    """A file in memory, whose name tells the container."""

    def __init__(self, path: Path) -> None:
        super().__init__()
        self.name = str(path)


def reason_of(error: BaseException) -> str:
    """What the library itself says is wrong, without the call that it came from."""
    log = getattr(error, "log", None)
    return str(log[2]).strip() if log else str(error)


def is_of_the_disk(error: BaseException) -> bool:
    """Whether a place is at fault rather than what is written there."""
    return isinstance(error, OSError) and error.errno in _DISK_ERRORS
