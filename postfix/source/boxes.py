"""What a MOV or MP4 announces in its tables, held against the size of the file before a library makes room for it.

The library that reads these files makes an entry of an index for each sample that a table announces, and a few bytes
can announce thousands of millions. Layout: ISO/IEC 14496-12 (from memory).
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from io import FileIO
from pathlib import Path

_HOLDS_OTHERS = frozenset(
    {b"moov", b"trak", b"mdia", b"minf", b"stbl", b"edts", b"moof", b"traf", b"dinf", b"mvex", b"udta", b"meta"}
    | {b"ilst", b"tref", b"wave", b"sinf", b"schi", b"iprp", b"ipco", b"rinf", b"mfra"}
)
"""Kinds in which the library looks for any other kind."""

_DEEPEST = 12
_LARGEST_ENTRY = 1 << 20
_MOST_BOXES = 10_000_000
_FEW_ENTRIES = 1 << 20
"""Entries of an index that are no burden, whatever the size of the file."""


@dataclass
class _Track:
    """What the tables of one track announce."""

    edits: int = 0
    listed: int = 0
    of_one_size: int = 0
    times: set[tuple[int, int]] = field(default_factory=set)
    handlers: set[bytes] = field(default_factory=set)

    @property
    def entries(self) -> int:
        """Of the index, gone through anew for every edit: sound without packing is in it block by block."""
        is_sound = b"soun" in self.handlers and b"vide" not in self.handlers
        return 0 if is_sound and self.listed == 0 and self.times == {(1, 1)} else self.samples * self.edits

    @property
    def samples(self) -> int:
        return max(self.listed, self.of_one_size)


@dataclass
class _Found:
    """What the tables announce so far."""

    boxes: int = 0
    in_fragments: int = 0
    is_compressed: bool = False
    tracks: list[_Track] = field(default_factory=lambda: [_Track()])


def box_problem(path: Path) -> str | None:
    """What to say of tables that announce more than the file can hold; None where they do not, or there are none."""
    size = path.stat().st_size
    with path.open("rb", buffering=0) as file:
        found = _Found()
        _look(file, 0, size, 0, found)
    if found.boxes > _MOST_BOXES:
        return "more boxes in its header than any file has"
    if found.is_compressed:
        return "a compressed header"
    room = max(size, _FEW_ENTRIES)
    most = max(found.in_fragments, *(track.of_one_size for track in found.tracks))
    if most > room:
        return f"tables of {most:,} samples in its header, in a file of {size:,} bytes"
    worst = max(found.tracks, key=lambda track: track.entries)
    if worst.entries > 4 * room:
        return f"{worst.edits} edits of {worst.samples:,} samples in its header, in a file of {size:,} bytes"
    return None


def _look(file: FileIO, at: int, end: int, depth: int, found: _Found) -> None:
    for kind, start, stop in _boxes(file, at, end):
        found.boxes += 1
        if found.boxes > _MOST_BOXES:
            return
        if kind == b"trak":
            found.tracks.append(_Track())
        if kind in _HOLDS_OTHERS and depth < _DEEPEST:
            _look(file, start + _before_boxes(file, kind, start), stop, depth + 1, found)
        elif kind == b"cmov":
            found.is_compressed = True
        elif kind == b"stsd":
            _look_in_entries(file, start, stop, found)
        elif kind in (b"stsz", b"trun", b"elst", b"stts", b"hdlr"):
            _note(kind, _fields(file, start), found)


def _before_boxes(file: FileIO, kind: bytes, start: int) -> int:
    """Bytes before the first box: a ``meta`` of ISO has a version there, one of QuickTime has none."""
    if kind != b"meta":
        return 0
    file.seek(start)
    return 0 if file.read(8)[4:] == b"hdlr" else 4


def _look_in_entries(file: FileIO, start: int, stop: int, found: _Found) -> None:
    """Descriptions of samples hold boxes behind fields of many lengths: what could be such a table is looked for."""
    file.seek(start)
    data = file.read(min(stop - start, _LARGEST_ENTRY))
    at = data.find(b"trun")
    while at >= 0:
        _note(b"trun", _fields(file, start + at + 4), found)
        at = data.find(b"trun", at + 4)


def _note(kind: bytes, fields: tuple[int, ...], found: _Found) -> None:
    track, (_, second, third, fourth) = found.tracks[-1], fields
    if kind == b"trun":
        found.in_fragments += second
    elif kind == b"elst":
        track.edits = max(track.edits, second)
    elif kind == b"stts":
        track.times.add((second, fourth))
    elif kind == b"hdlr":
        track.handlers.add(third.to_bytes(4, "big"))
    elif second:
        track.of_one_size = max(track.of_one_size, third)
    else:
        # With a size for each they are as many as the file has bytes for them.
        track.listed = max(track.listed, third)


def _fields(file: FileIO, at: int) -> tuple[int, ...]:
    """The first four numbers of a box: version and flags, and what follows."""
    file.seek(at)
    data = file.read(16).ljust(16, b"\0")
    return tuple(int.from_bytes(data[i : i + 4], "big") for i in (0, 4, 8, 12))


def _boxes(file: FileIO, at: int, end: int) -> Iterator[tuple[bytes, int, int]]:
    """Kind, start and end of the content of each box."""
    while at + 8 <= end:
        file.seek(at)
        head = file.read(16)
        length, kind, start = int.from_bytes(head[:4], "big"), head[4:8], at + 8
        if length == 1:
            length, start = int.from_bytes(head[8:16], "big"), at + 16
        elif length == 0:
            length = end - at
        if length < start - at:
            return
        yield kind, start, min(at + length, end)
        at += length
