"""Sample depth of pixel formats, and samples brought to fewer bits: exactly rounded, range kept."""

from __future__ import annotations

import functools
import re
from collections.abc import Iterable

import av
import numpy as np
import numpy.typing as npt

from postfix.source.picture import Plane, Planes
from postfix.source.pixel_formats import is_interleaved, video_format

_NAME = re.compile(r"(yuva?|yuvj|gbra?p|gray)(4\d\dp)?(\d+)?(?:le)?")
_INTERLEAVED = {"rgb24": "gbrp", "rgba": "gbrap", "rgb48le": "gbrp", "rgba64le": "gbrap"}


def bits_of(pixel_format: str) -> int:
    """Bits of a sample."""
    return av.VideoFormat(pixel_format, 16, 16).components[0].bits


def layout_of(pixel_format: str) -> str:
    """What a format holds besides its depth: ``yuv422p``, ``gbrap``, ``gray``."""
    if is_interleaved(pixel_format):
        return _INTERLEAVED[pixel_format]
    match = _NAME.fullmatch(pixel_format)
    if match is None:
        return pixel_format
    return match[1].replace("yuvj", "yuv") + (match[2] or "")


def nearest_format(pixel_format: str, offered: Iterable[str]) -> str | None:
    """The format on offer with the same planes and as many bits, or else the most there are below; None without any."""
    formats = tuple(offered)
    if pixel_format in formats:
        return pixel_format
    bits, layout = bits_of(pixel_format), layout_of(pixel_format)
    alike = [name for name in formats if layout_of(name) == layout and bits_of(name) <= bits]
    # Where two fit, the one without a range of its own: the tags tell the range.
    return max(alike, key=lambda name: (bits_of(name), not name.startswith("yuvj")), default=None)


class Fitting:
    """Planes brought from one pixel format to another that holds the same with as many bits or fewer.

    Parameters
    ----------
    given, wanted : str
        FFmpeg's names.
    full_range : bool or None
        As for :func:`postfix.source.pixel_formats.video_format`.
    """

    def __init__(self, given: str, wanted: str, full_range: bool | None) -> None:
        if layout_of(given) != layout_of(wanted) or bits_of(given) < bits_of(wanted):
            raise ValueError(f"{given} does not fit into {wanted}")
        self._splits = is_interleaved(given) and not is_interleaved(wanted)
        before, after = (video_format(name, 16, 16, full_range) for name in (given, wanted))
        bits = before.bit_depth, after.bit_depth
        self._tables: list[npt.NDArray[np.generic] | None] = [None] * len(after.planes)
        if bits[0] != bits[1]:
            for index in range(len(after.planes)):
                is_alpha = after.planes[index].black[0] == (1 << bits[1]) - 1
                is_chroma = after.is_yuv and index in (1, 2)
                full = is_alpha or after.planes[0].black[0] == 0
                self._tables[index] = _table(*bits, full, is_chroma)

    def __call__(self, planes: Planes) -> Planes:
        """The planes as they are to be written; the same arrays where nothing changes."""
        if self._splits:
            planes = tuple(planes[0][..., index] for index in range(planes[0].shape[2]))
        return tuple(
            plane if table is None else _looked_up(table, plane)
            for table, plane in zip(self._tables, planes, strict=True)
        )


def _looked_up(table: npt.NDArray[np.generic], plane: Plane) -> Plane:
    return np.asarray(table[plane])


@functools.cache
def _table(before: int, after: int, full: bool, chroma: bool) -> npt.NDArray[np.generic]:
    """The code of fewer bits for each code of more.

    Narrow ranges are the same codes times a power of two at every depth, so a code is divided and rounded, halves
    upwards. Full ranges end at the largest code (Rec. ITU-T H.273, 8.3), so codes are scaled by the largest ones,
    chroma about its middle.
    """
    codes = np.arange(1 << before, dtype=np.int64)
    most_before, most_after = (1 << before) - 1, (1 << after) - 1
    if not full:
        reduced = (codes + (1 << (before - after - 1))) >> (before - after)
    else:
        middle, moved = (1 << (before - 1), 1 << (after - 1)) if chroma else (0, 0)
        # Rounded to the nearest in whole numbers; a tie cannot be, as the divisor is odd.
        reduced = moved + (2 * (codes - middle) * most_after + most_before) // (2 * most_before)
    return np.asarray(np.clip(reduced, 0, most_after), np.uint8 if after == 8 else np.uint16)
