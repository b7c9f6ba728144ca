"""The display size in a finished Matroska file, which the library's writer leaves out for codecs that do not hold it.

Elements are those of RFC 9559 (read for StereoMode, else from memory) in the coding of RFC 8794. The place for the
numbers is taken from the empty element that FFmpeg leaves in each track, so that nothing else moves.
"""

from __future__ import annotations

import zlib
from collections.abc import Iterator
from fractions import Fraction
from math import gcd
from pathlib import Path

from postfix.errors import OutputError
from postfix.source.signalling import Signal

_SEGMENT, _TRACKS, _TRACK, _VIDEO = 0x18538067, 0x1654AE6B, 0xAE, 0xE0
_DISPLAY_WIDTH, _DISPLAY_HEIGHT, _DISPLAY_UNIT = 0x54B0, 0x54BA, 0x54B2
_VOID, _CHECKSUM = 0xEC, 0xBF
_HEADER_BYTES = 1 << 22
"""How much of a file's start is read: its tracks come before its pictures."""

_Bytes = bytes | bytearray

_Element = tuple[int, int, int, int]
"""Identity, start of the element, start of its content, end."""


def set_pixel_aspect(path: Path, size: tuple[int, int], aspect: Fraction, stereo: Signal | None) -> None:
    """Write the display size that gives a pixel aspect into a finished file with one video track.

    Parameters
    ----------
    path : Path
    size : (int, int)
        Width and height of the coded picture in pixels.
    aspect : Fraction
        Width over height of one pixel.
    stereo : Signal or None
        As the file signals it: the display size is that of one eye.

    Raises
    ------
    OutputError
        Where the file does not have the form that the library writes.
    """
    with path.open("r+b") as file:
        data = bytearray(file.read(_HEADER_BYTES))
        try:
            segment = _find(data, 0, len(data), _SEGMENT)
            tracks = _find(data, segment[2], len(data), _TRACKS)
            track = next(
                entry
                for entry in _elements(data, tracks[2], tracks[3])
                if entry[0] == _TRACK and any(e[0] == _VIDEO for e in _elements(data, entry[2], entry[3]))
            )
            data[track[2] : track[3]] = _with_display(data, track, _display_size(size, aspect, stereo))
            checksum = _find(data, tracks[2], tracks[3], _CHECKSUM)
            data[checksum[2] : checksum[3]] = zlib.crc32(data[checksum[3] : tracks[3]]).to_bytes(4, "little")
        except (StopIteration, IndexError, ValueError, OverflowError) as error:
            raise OutputError(
                path, "a header without room for the pixel aspect", "one as the library writes it", "report this"
            ) from error
        file.seek(tracks[1])
        file.write(data[tracks[1] : tracks[3]])


def _display_size(size: tuple[int, int], aspect: Fraction, stereo: Signal | None) -> tuple[int, int]:
    """The display width and height whose ratio is exact: one of them the picture's own where that can be."""
    width, height = size
    if stereo is not None and stereo.layout == "side-by-side":
        width //= 2
    if stereo is not None and stereo.layout in ("top-bottom", "rows"):
        height //= 2
    if width * aspect == (wide := width * aspect.numerator // aspect.denominator):
        return wide, height
    if height / aspect == (high := height * aspect.denominator // aspect.numerator):
        return width, high
    across, down = width * aspect.numerator, height * aspect.denominator
    shared = gcd(across, down)
    return across // shared, down // shared


def _with_display(data: _Bytes, track: _Element, display: tuple[int, int]) -> bytes:
    """The content of a track entry with another display size and as much less empty space."""
    children = list(_elements(data, track[2], track[3]))
    video = next(child for child in children if child[0] == _VIDEO)
    room = next(child for child in children if child[0] == _VOID)
    inner = b"".join(
        data[start:end]
        for identity, start, _, end in _elements(data, video[2], video[3])
        if identity not in (_DISPLAY_WIDTH, _DISPLAY_HEIGHT, _DISPLAY_UNIT)
    )
    for identity, number in zip((_DISPLAY_WIDTH, _DISPLAY_HEIGHT), display):
        inner += _element(identity, number.to_bytes((number.bit_length() + 7) // 8, "big"))
    new_video = _element(_VIDEO, inner)
    left = room[3] - room[1] - (len(new_video) - (video[3] - video[1]))
    void = b"" if left == 0 else _element(_VOID, bytes(left - 2))
    if left and len(void) != left:
        raise ValueError("no way to fill the room that is left")
    parts = {video[1]: new_video, room[1]: void}
    return b"".join(parts.get(start, bytes(data[start:end])) for _, start, _, end in children)


def _elements(data: _Bytes, at: int, end: int) -> Iterator[_Element]:
    while at < end:
        start = at
        identity, at = _number(data, at, keep_marker=True)
        size, at = _number(data, at)
        yield identity, start, at, at + size
        at += size


def _find(data: _Bytes, at: int, end: int, identity: int) -> _Element:
    return next(element for element in _elements(data, at, end) if element[0] == identity)


def _number(data: _Bytes, at: int, keep_marker: bool = False) -> tuple[int, int]:
    """A number whose leading zero bits tell its length, and where it ends."""
    length = 9 - data[at].bit_length()
    number = int.from_bytes(data[at : at + length], "big")
    return (number if keep_marker else number & ((1 << 7 * length) - 1)), at + length


def _element(identity: int, content: bytes) -> bytes:
    length = 1 if len(content) < 127 else 2
    size = (len(content) | 1 << 7 * length).to_bytes(length, "big")
    return identity.to_bytes((identity.bit_length() + 7) // 8, "big") + size + content
