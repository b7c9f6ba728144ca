"""A preview as video that any player opens: H.264, 8 bits, 4:2:0, BT.709, with its index at the front."""

from __future__ import annotations

import errno
from contextlib import suppress
from fractions import Fraction
from pathlib import Path
from typing import Any

import av
import cv2
import numpy as np
import numpy.typing as npt

from postfix.deliver.closing import Closing
from postfix.deliver.sound import PacketCopy
from postfix.errors import OutputError
from postfix.review.pictures import Rgb
from postfix.review.shown import REC_709
from postfix.source.container import open_container
from postfix.source.packed_eye import origin_of
from postfix.source.pair import PairSource, part_of
from postfix.source.pixel_formats import plane_samples
from postfix.source.video import VideoSource

LARGEST_PX = (4096, 2304)
"""Width and height that level 5.1 of H.264 holds (Rec. ITU-T H.264, Table A-1, from memory: 36,864 macroblocks), which
players of the last ten years decode; the width is where many of their chips end (from memory)."""

SMALLEST_PX = 2
_MOST_BLOCKS = LARGEST_PX[0] * LARGEST_PX[1] // 256

_BT709, _LIMITED = 1, 1
"""Codes of ITU-T H.273, and FFmpeg's of limited range."""

_CRF, _PRESET = "18", "veryfast"
"""Good enough to judge a picture by eye, and quick. Common practice, no source."""

_THREADS = 4
"""Fixed, since the coded bytes depend on it."""

_AUDIO_AHEAD_S = Fraction(1, 2)

_KR, _KB = REC_709

_LUMA = np.array([[_KR, 1.0 - _KR - _KB, _KB]]) * (219.0 / 255.0)
_CHROMA = np.array(
    [
        np.array([-_KR, -(1.0 - _KR - _KB), 1.0 - _KB]) / (2.0 * (1.0 - _KB)),
        np.array([1.0 - _KR, -(1.0 - _KR - _KB), -_KB]) / (2.0 * (1.0 - _KR)),
    ]
) * (224.0 / 255.0)

Bytes = npt.NDArray[np.uint8]
Yuv420 = tuple[Bytes, Bytes, Bytes]


def yuv420(rgb: Rgb) -> Yuv420:
    """8-bit RGB as limited-range BT.709 with chroma of half size (Rec. ITU-R BT.709-6, items 3.2 to 3.5).

    Chroma lies on the even columns and half-way between two rows, as players of H.264 take it to.

    Parameters
    ----------
    rgb : (h, w, 3) uint8
        Both sizes even.

    Returns
    -------
    (h, w), (h / 2, w / 2), (h / 2, w / 2) uint8
    """
    luma = cv2.transform(rgb, np.hstack([_LUMA, [[16.0]]]))
    between = (rgb[0::2].astype(np.float32) + rgb[1::2]) * np.float32(0.5)
    chroma = cv2.transform(between, np.hstack([_CHROMA, [[128.0], [128.0]]]))
    before = np.concatenate([chroma[:, :1], chroma[:, 1:-1:2]], axis=1)
    sited = (before + 2.0 * chroma[:, 0::2] + chroma[:, 1::2]) * np.float32(0.25)
    codes = np.clip(np.rint(sited), 16, 240).astype(np.uint8)
    return np.asarray(luma, np.uint8).reshape(rgb.shape[:2]), codes[..., 0], codes[..., 1]


def is_too_large(size_px: tuple[int, int]) -> bool:
    """True where a picture is larger than many players decode."""
    width, height = size_px
    blocks = -(-width // 16) * -(-height // 16)
    return width > LARGEST_PX[0] or height > LARGEST_PX[0] or blocks > _MOST_BLOCKS


def sound_for(pair: PairSource, first: int = 0, count: int | None = None) -> tuple[VideoSource | None, str]:
    """The file whose sound a preview carries, or why none of a file's does; a file without sound gives neither.

    It is cut to ``count`` frames of the pair from ``first`` on, all unless given: its packets are those that begin in
    that time. MP4 that any player opens holds AAC; other sound would have to be coded anew.
    """
    origins = {origin.path: origin for origin in (origin_of(pair.left), origin_of(pair.right))}
    for source in origins.values():
        if not isinstance(source, VideoSource):
            continue
        with open_container(source.path) as container:
            names = [stream.name or "unknown" for stream in container.streams.audio]
            # Frames that carry a header of their own, as in a transport stream, are none that MP4 holds.
            contexts = [stream.codec_context for stream in container.streams.audio]
            whole = all(context is not None and context.extradata for context in contexts)
        if names and set(names) == {"aac"} and whole:
            # Of a file in which the eyes take turns, two frames are one of the pair.
            each = source.count // pair.count
            return part_of_video(source, first * each, (pair.count if count is None else count) * each), ""
        if names:
            return None, f"{source.path}: its sound ({', '.join(names)}) is left out of the preview, which carries AAC"
    return None, ""


def part_of_video(source: VideoSource, first: int, count: int) -> VideoSource:
    """Some of the frames of a file."""
    part = part_of(source, first, count)
    assert isinstance(part, VideoSource)
    return part


class PreviewVideo(Closing):
    """A preview being written, frame by frame.

    Parameters
    ----------
    path : Path
        Unfinished itself; MP4 whatever its suffix.
    size_px : (int, int)
        Width and height, both even.
    rate : Fraction
        Frames per second.
    sound : VideoSource, optional
        The clip whose sound goes along as it is.

    Raises
    ------
    OutputError
        Where it cannot be written.
    """

    def __init__(self, path: Path, size_px: tuple[int, int], rate: Fraction, sound: VideoSource | None = None) -> None:
        self.path, self._size, self._rate = path, size_px, rate
        self._index = 0
        self._audio: PacketCopy | None = None
        ticks = rate.numerator if rate.numerator >= 1000 else rate.numerator * 1000
        options = {"fflags": "+bitexact", "movflags": "+faststart", "video_track_timescale": str(ticks)}
        try:
            self._container: Any = av.open(str(path), "w", format="mp4", container_options=options)
        except (av.FFmpegError, OSError, ValueError) as error:
            raise unwritable(path, error) from error
        try:
            self._stream = self._add_stream()
            if sound is not None:
                self._audio = PacketCopy(sound, self._container, ".mp4")
            self._container.start_encoding()
        except BaseException as error:
            self.abandon()
            if isinstance(error, (av.FFmpegError, OSError, ValueError)):
                raise unwritable(path, error) from error
            raise

    def _add_stream(self) -> Any:
        options = {"crf": _CRF, "preset": _PRESET, "profile": "high", "g": str(max(1, round(2 * self._rate)))}
        stream = self._container.add_stream("libx264", rate=self._rate, options=options)
        context = stream.codec_context
        (context.width, context.height), context.pix_fmt = self._size, "yuv420p"
        context.time_base = 1 / self._rate
        context.thread_count = _THREADS
        context.sample_aspect_ratio = Fraction(1)
        _tag(context)
        return stream

    def write(self, planes: Yuv420) -> None:
        """Encode the next frame, as :func:`yuv420` makes it."""
        frame = av.VideoFrame(*self._size, "yuv420p")
        _tag(frame)
        for place, samples in zip(frame.planes, planes):
            np.copyto(plane_samples(place, np.dtype(np.uint8), 1), samples)
        frame.pts, frame.time_base = self._index, 1 / self._rate
        try:
            if self._audio is not None:
                self._audio.copy_until(self._index / self._rate + _AUDIO_AHEAD_S)
            self._container.mux(self._stream.encode(frame))
        except (av.FFmpegError, OSError) as error:
            raise unwritable(self.path, error) from error
        self._index += 1

    def close(self) -> None:
        """Encode what waits inside the encoder and close the file."""
        try:
            self._container.mux(self._stream.encode(None))
            if self._audio is not None:
                self._audio.copy_until(None)
            self._container.close()
        except (av.FFmpegError, OSError) as error:
            self.abandon()
            raise unwritable(self.path, error) from error

    def abandon(self) -> None:
        """Close without caring for what was written, after an error."""
        if self._audio is not None:
            self._audio.close()
        with suppress(Exception):
            self._container.close()


def _tag(target: Any) -> None:
    """Say of a frame or an encoder that its colour is limited-range BT.709."""
    target.color_range, target.color_primaries = _LIMITED, _BT709
    target.color_trc, target.colorspace = _BT709, _BT709


_FULL = (errno.ENOSPC, errno.EDQUOT)


def unwritable(path: Path, error: BaseException) -> OutputError:
    """The error of a file that cannot be written, with what to do about it: only a full disk asks for room."""
    found = f"no way to write it ({getattr(error, 'strerror', None) or error})"
    if getattr(error, "errno", None) in _FULL:
        return OutputError(path, found, "room on the disk", "make room and run again")
    return OutputError(path, found, "a place and a name that can be written", "choose another output")
