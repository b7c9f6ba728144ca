"""TIFF: the tags of a source file put beside newly packed samples as they are, private ones too.

The library that packs the samples keeps only the tags that it knows, and changes some. Layout: TIFF 6.0 and its
64-bit form (from memory).
"""

from __future__ import annotations

import mmap
import struct
from dataclasses import dataclass
from pathlib import Path

from postfix.errors import InputError

_SIZES = {1: 1, 2: 1, 3: 2, 4: 4, 5: 8, 6: 1, 7: 1, 8: 2, 9: 4, 10: 8, 11: 4, 12: 8, 13: 4, 16: 8, 17: 8, 18: 8}
_UNITS = {3: 2, 4: 4, 5: 4, 8: 2, 9: 4, 10: 4, 11: 4, 12: 8, 13: 4, 16: 8, 17: 8, 18: 8}
"""Bytes that are swapped together where the byte order changes."""

_CHANNELS, _EXTRA_SAMPLES, _SAMPLE_FORMAT = 277, 338, 339
_OF_THE_SAMPLES = frozenset(
    {256, 257, 258, 259, 262, 263, 266, 273, 277, 278, 279, 284, 288, 289, 292, 293, 317, 320, 322, 323, 324, 325}
    | {330, 338, 339, 347, *range(512, 522), 32997, 32998}
)
"""Tags that say how the samples are packed: the new file's own."""

_OF_THE_OLD_SAMPLES = frozenset({280, 281, 340, 341, 330, 34888, 50341})
"""Least and greatest sample, smaller copies: true only of the old samples, so that they are left out."""

_FOLDERS = frozenset({34665, 34853, 40965})
"""Tags that point to tags of their own: camera, place, compatibility."""


@dataclass(frozen=True)
class _Tag:
    code: int
    kind: int
    count: int
    value: bytes
    below: tuple[_Tag, ...] | None = None


@dataclass(frozen=True)
class _Shape:
    """How numbers are written in one file."""

    order: str
    big: bool

    @property
    def offset(self) -> str:
        return self.order + ("Q" if self.big else "I")

    @property
    def room(self) -> int:
        """Bytes that a value may have to stand in the tag itself."""
        return 8 if self.big else 4


def carry_tiff_tags(path: Path, like: Path) -> None:
    """Give a newly written TIFF all tags of ``like`` but those of the samples.

    ``like`` may hold 16-bit floats, which the library cannot write, where the new file holds the same bits as whole
    numbers: the tag that tells the type is taken over then. So is what alpha means, multiplied in or not, where there
    are as many channels: samples are written as they were read.

    Raises
    ------
    InputError
        Where the tags of ``like`` cannot be read.
    OSError
        Where the new file ends early.
    """
    old_shape, old = _read_given(like)
    try:
        shape, pointer, new = _read(path)
    except (struct.error, ValueError) as error:
        raise OSError(f"it ends early ({error})") from error
    if _end_of_samples(new, shape) > path.stat().st_size:
        raise OSError("it ends early")
    kept = {tag.code: tag for tag in new if tag.code in _OF_THE_SAMPLES}
    for tag in old:
        if tag.code not in _OF_THE_SAMPLES | _OF_THE_OLD_SAMPLES:
            kept[tag.code] = _swapped(tag, old_shape.order != shape.order)
    bits, kind = (next((t for t in old if t.code == code), None) for code in (258, _SAMPLE_FORMAT))
    if kind is not None and bits is not None and _first(bits, old_shape) == 16 and _first(kind, old_shape) == 3:
        kept[_SAMPLE_FORMAT] = _swapped(kind, old_shape.order != shape.order)
    if _count_of_channels(old, old_shape) == _count_of_channels(new, shape):
        kept.pop(_EXTRA_SAMPLES, None)
        kept |= {t.code: _swapped(t, old_shape.order != shape.order) for t in old if t.code == _EXTRA_SAMPLES}
    with path.open("r+b") as file:
        file.seek(0, 2)
        end = file.tell()
        start = end + end % 2
        file.write(b"\0" * (start - end) + _folder(sorted(kept.values(), key=lambda tag: tag.code), start, shape))
        file.seek(pointer)
        file.write(struct.pack(shape.offset, start))


def tags_left_out(path: Path) -> tuple[int, ...]:
    """Tags of a file that were true of its own samples only, so that a changed one goes without."""
    _, tags = _read_given(path)
    return tuple(tag.code for tag in tags if tag.code in _OF_THE_OLD_SAMPLES)


def _end_of_samples(tags: list[_Tag], shape: _Shape) -> int:
    """Where the last strip or tile ends."""
    found = {tag.code: _numbers(tag, shape) for tag in tags if tag.code in (273, 279, 324, 325)}
    starts, lengths = found.get(273) or found.get(324) or (), found.get(279) or found.get(325) or ()
    return max((start + length for start, length in zip(starts, lengths)), default=0)


def _count_of_channels(tags: list[_Tag], shape: _Shape) -> int:
    return next((_first(tag, shape) for tag in tags if tag.code == _CHANNELS), 1)


def _numbers(tag: _Tag, shape: _Shape) -> tuple[int, ...]:
    return struct.unpack(f"{shape.order}{tag.count}{ {3: 'H', 4: 'I', 16: 'Q'}[tag.kind] }", tag.value)


def _first(tag: _Tag, shape: _Shape) -> int:
    if len(tag.value) < 2:
        return tag.value[0]
    return int(struct.unpack_from(shape.order + "H", tag.value)[0])


def _read_given(path: Path) -> tuple[_Shape, list[_Tag]]:
    """The tags of a file that comes from elsewhere."""
    try:
        shape, _, tags = _read(path)
    except (struct.error, ValueError) as error:
        raise InputError(path, "tags that end early", "a whole TIFF", "copy or export the still again") from error
    return shape, tags


def _read(path: Path) -> tuple[_Shape, int, list[_Tag]]:
    with path.open("rb") as file, mmap.mmap(file.fileno(), 0, access=mmap.ACCESS_READ) as data:
        return _parsed(data)


@dataclass
class _Room:
    """What is left of the tags and of the bytes behind them that a file can have: no two of them share theirs."""

    tags: int
    bytes: int

    def take(self, value_bytes: int) -> bool:
        """Whether there is room for one more tag with so many bytes; it is taken then."""
        self.tags -= 1
        self.bytes -= value_bytes
        return self.tags >= 0 and self.bytes >= 0


def _parsed(data: mmap.mmap) -> tuple[_Shape, int, list[_Tag]]:
    order = "<" if data[:2] == b"II" else ">"
    big = struct.unpack_from(order + "H", data, 2)[0] == 43
    shape = _Shape(order, big)
    pointer = 8 if big else 4
    room = _Room(len(data) // 12 + 1, len(data))
    return shape, pointer, _tags(data, struct.unpack_from(shape.offset, data, pointer)[0], shape, room)


def _tags(data: mmap.mmap, at: int, shape: _Shape, room: _Room, depth: int = 0) -> list[_Tag]:
    """Tags of one folder; those that point beyond the file, or share their bytes with others, are left out."""
    (count,) = struct.unpack_from(shape.order + ("Q" if shape.big else "H"), data, at)
    at += 8 if shape.big else 2
    tags = []
    for _ in range(count):
        code, kind = struct.unpack_from(shape.order + "HH", data, at)
        (number,) = struct.unpack_from(shape.offset, data, at + 4)
        size = _SIZES.get(kind, 0) * number
        place = at + 4 + shape.room
        at = place + shape.room
        start = place if size <= shape.room else struct.unpack_from(shape.offset, data, place)[0]
        if size == 0 or start + size > len(data) or not room.take(size):
            continue
        value = data[start : start + size]
        below = None
        if code in _FOLDERS and depth < 2:
            target = int.from_bytes(value, "little" if shape.order == "<" else "big")
            if not 0 < target < len(data) - 2:
                continue
            try:
                below = tuple(_tags(data, target, shape, room, depth + 1))
            except struct.error:
                continue
        tags.append(_Tag(code, kind, number, value, below))
    return tags


def _swapped(tag: _Tag, swap: bool) -> _Tag:
    if not swap:
        return tag
    unit = _UNITS.get(tag.kind, 1)
    value = b"".join(tag.value[i : i + unit][::-1] for i in range(0, len(tag.value), unit)) if unit > 1 else tag.value
    below = None if tag.below is None else tuple(_swapped(inner, True) for inner in tag.below)
    return _Tag(tag.code, tag.kind, tag.count, value, below)


def _folder(tags: list[_Tag], start: int, shape: _Shape) -> bytes:
    """Bytes of a folder of tags that begins at ``start``, with what its tags point to behind it."""
    entry = 4 + 2 * shape.room
    head = (8 if shape.big else 2) + entry * len(tags) + shape.room
    fixed = [struct.pack(shape.order + ("Q" if shape.big else "H"), len(tags))]
    behind = bytearray()
    for tag in tags:
        place = start + head + len(behind)
        if tag.below is not None:
            kind, number, value = (16 if shape.big else 4), 1, struct.pack(shape.offset, place)
            behind += _folder(list(tag.below), place, shape)
        elif len(tag.value) > shape.room:
            kind, number, value = tag.kind, tag.count, struct.pack(shape.offset, place)
            behind += tag.value
        else:
            kind, number, value = tag.kind, tag.count, tag.value.ljust(shape.room, b"\0")
        behind += b"\0" * (len(behind) % 2)
        fixed.append(struct.pack(shape.order + "HH", tag.code, kind) + struct.pack(shape.offset, number) + value)
    return b"".join(fixed) + bytes(shape.room) + bytes(behind)
