"""OpenEXR headers as they stand in the file: every attribute of every part, byte for byte, and where the chunks lie.

Layout of the file: the OpenEXR project's description of its format, versions 2 and 3 (from memory).
"""

from __future__ import annotations

import struct
from dataclasses import dataclass, field
from pathlib import Path

from postfix.errors import InputError, OtherFormatError
from postfix.source.bounds import MAX_CHANNELS, sample_problem, size_problem, tile_problem

MAGIC = b"\x76\x2f\x31\x01"
TILED, LONG_NAMES, DEEP, MULTI_PART = 0x200, 0x400, 0x800, 0x1000
"""Flags beside the version number."""

COMPRESSIONS = ("none", "rle", "zips", "zip", "piz", "pxr24", "b44", "b44a", "dwaa", "dwab")
ROWS_PER_CHUNK = {"none": 1, "rle": 1, "zips": 1, "zip": 16, "piz": 32, "pxr24": 16} | {
    "b44": 32, "b44a": 32, "dwaa": 32, "dwab": 256,
}  # fmt: skip
PIXEL_TYPES = ("uint", "half", "float")
_DTYPES = {"uint": "uint32", "half": "float16", "float": "float32"}
_LARGEST_HEADER = 64 << 20


@dataclass(frozen=True)
class Channel:
    """One channel of a part, under its name in the file; ``kind`` is ``uint``, ``half`` or ``float``."""

    name: str
    kind: str
    step_x: int
    step_y: int

    @property
    def dtype(self) -> str:
        """numpy name of its samples."""
        return _DTYPES[self.kind]


@dataclass(frozen=True)
class Window:
    """First and last column and row, both included."""

    left: int
    top: int
    right: int
    bottom: int

    @property
    def width(self) -> int:
        """Columns."""
        return self.right - self.left + 1

    @property
    def height(self) -> int:
        """Rows."""
        return self.bottom - self.top + 1


@dataclass(frozen=True)
class Part:
    """One part: its attributes in the order of the file, each (name, type, bytes)."""

    attributes: tuple[tuple[str, str, bytes], ...] = field(repr=False)

    def get(self, name: str) -> bytes | None:
        """Bytes of an attribute, None where there is none of that name."""
        return next((value for found, _, value in self.attributes if found == name), None)

    def text(self, name: str) -> str | None:
        """A string attribute."""
        value = self.get(name)
        return None if value is None else value.rstrip(b"\0").decode("utf-8", "replace")

    def window(self, name: str) -> Window:
        """``dataWindow`` or ``displayWindow``."""
        return Window(*struct.unpack("<4i", self.get(name) or b""))

    @property
    def compression(self) -> str:
        """Name of the compression, or its number where it has no name here."""
        number = (self.get("compression") or b"\xff")[0]
        return COMPRESSIONS[number] if number < len(COMPRESSIONS) else f"compression {number}"

    @property
    def channels(self) -> tuple[Channel, ...]:
        """In the order of the file."""
        return tuple(_channels(self.get("channels") or b"\0"))

    @property
    def view(self) -> str | None:
        """The view that all channels of the part belong to, where the part says so."""
        return self.text("view")

    @property
    def views(self) -> tuple[str, ...]:
        """Views of a part that holds several, the default one first."""
        value = self.get("multiView")
        if value is None:
            return ()
        names, at = [], 0
        while at + 4 <= len(value):
            (length,) = struct.unpack_from("<i", value, at)
            if length < 0:
                raise ValueError("a view whose name has no length")
            names.append(value[at + 4 : at + 4 + length].decode("utf-8", "replace"))
            at += 4 + length
        return tuple(names)

    @property
    def tiles(self) -> tuple[int, int, int] | None:
        """Width and height of the tiles and the code of their levels, None where the part has rows."""
        value = self.get("tiles")
        return None if value is None else struct.unpack("<IIB", value[:9])

    @property
    def chunk_count(self) -> int:
        """Chunks of the part that its windows and compression ask for."""
        window, tiles = self.window("dataWindow"), self.tiles
        if tiles is not None:
            return -(-window.width // tiles[0]) * -(-window.height // tiles[1])
        return -(-window.height // ROWS_PER_CHUNK[self.compression])


@dataclass(frozen=True)
class ExrHeader:
    """All parts of one file.

    Attributes
    ----------
    flags : int
        As after the magic number, the version in the lowest byte.
    parts : tuple of Part
    size : int
        Bytes up to the table of chunks.
    """

    flags: int
    parts: tuple[Part, ...]
    size: int

    @property
    def is_multi_part(self) -> bool:
        """True where every chunk tells its part."""
        return bool(self.flags & MULTI_PART)


def read_exr_header(path: Path, frame: int | None = None) -> ExrHeader:
    """Read the headers of one file and see that all of its chunks are there.

    Raises
    ------
    InputError
        Where it is no OpenEXR file, is cut short, or holds what cannot be carried.
    """
    with path.open("rb") as file:
        size = path.stat().st_size
        if file.read(4) != MAGIC:
            raise InputError(path, "no OpenEXR header", "an OpenEXR file", "render the still again", frame=frame)
        data = MAGIC + file.read(65536 - 4)
        try:
            header = parsed_header(data)
        except (IndexError, struct.error):
            data += file.read(_LARGEST_HEADER)
            try:
                header = parsed_header(data)
            except (IndexError, struct.error) as error:
                raise _cut(path, frame, "in its header") from error
            except ValueError as error:
                raise _damaged(path, frame, error) from error
        except ValueError as error:
            raise _damaged(path, frame, error) from error
        _refuse_what_cannot_be_carried(path, header, frame, size)
        count = sum(part.chunk_count for part in header.parts)
        if header.size + 8 * count > size:
            raise _cut(path, frame, "in its table of chunks")
        file.seek(header.size)
        table = file.read(8 * count)
        if len(table) < 8 * count:
            raise _cut(path, frame, "in its table of chunks")
        offsets = struct.unpack(f"<{count}Q", table)
        last = max(offsets)
        if last >= size:
            raise _cut(path, frame, _at_chunk(offsets, size))
        file.seek(last)
        head_size = chunk_head_size(header, _part_of(file.read(4), header) if header.is_multi_part else header.parts[0])
        file.seek(last)
        head = file.read(head_size)
        if min(offsets) < header.size or len(head) < head_size or last + head_size + _length(head) > size:
            raise _cut(path, frame, _at_chunk(offsets, size))
    return header


def _at_chunk(offsets: tuple[int, ...], size: int) -> str:
    return f"after {sum(offset < size for offset in offsets if offset)} of {len(offsets)} chunks"


def _part_of(number: bytes, header: ExrHeader) -> Part:
    index = int.from_bytes(number, "little")
    return header.parts[index if index < len(header.parts) else 0]


def chunk_head_size(header: ExrHeader, part: Part) -> int:
    """Bytes before the packed samples of a chunk: part, place, length."""
    return (4 if header.is_multi_part else 0) + (20 if part.tiles is not None else 8)


def _length(head: bytes) -> int:
    return int.from_bytes(head[-4:], "little")


def _damaged(path: Path, frame: int | None, error: Exception) -> InputError:
    return InputError(path, f"a damaged header ({error})", "an OpenEXR file", "render the still again", frame=frame)


def _cut(path: Path, frame: int | None, where: str) -> InputError:
    return InputError(
        path, f"a picture cut short {where}", "a whole OpenEXR file", "copy or render the still again", frame=frame
    )


def parsed_header(data: bytes) -> ExrHeader:
    """Headers from the first bytes of a file; IndexError or struct.error where there are too few of them."""
    (flags,) = struct.unpack_from("<I", data, 4)
    at, parts = 8, list[Part]()
    while True:
        attributes = []
        while data[at]:
            name, at = _word(data, at)
            kind, at = _word(data, at)
            (length,) = struct.unpack_from("<i", data, at)
            at += 4
            if length < 0 or length > _LARGEST_HEADER:
                raise ValueError(f"attribute '{name}' of {length} bytes")
            if at + length >= len(data):
                raise IndexError
            attributes.append((name, kind, data[at : at + length]))
            if len(attributes) > _MOST_ATTRIBUTES or len(parts) > _MOST_PARTS:
                raise ValueError(f"more than {_MOST_PARTS} parts, or {_MOST_ATTRIBUTES} attributes of one")
            at += length
        at += 1
        if attributes:
            parts.append(Part(tuple(attributes)))
        if not flags & MULTI_PART or not attributes:
            return ExrHeader(flags, tuple(parts), at)


def _word(data: bytes, at: int) -> tuple[str, int]:
    end = data.find(b"\0", at, at + 257)
    if end < 0:
        if len(data) < at + 257:
            raise IndexError
        raise ValueError("a name that does not end")
    return data[at:end].decode("utf-8", "surrogateescape"), end + 1


def _channels(value: bytes) -> list[Channel]:
    channels, at = [], 0
    while at < len(value) and value[at]:
        name, at = _word(value, at)
        kind, _, step_x, step_y = struct.unpack_from("<iIii", value, at)
        channels.append(Channel(name, PIXEL_TYPES[kind] if 0 <= kind < 3 else str(kind), step_x, step_y))
        at += 16
    return channels


_NEEDED = {"channels": 1, "compression": 1, "dataWindow": 16, "displayWindow": 16, "lineOrder": 1}
_SIZES = {"compression": 1, "dataWindow": 16, "displayWindow": 16, "lineOrder": 1, "tiles": 9, "timeCode": 8}
_SIZES |= {"dwaCompressionLevel": 4}
"""Bytes that an attribute must have where it is there."""

_MOST_PARTS, _MOST_ATTRIBUTES = 256, 4096
_LARGEST_LIST = MAX_CHANNELS * 272
"""Bytes of a list of channels whose names are as long as they may be."""


def _refuse_what_cannot_be_carried(path: Path, header: ExrHeader, frame: int | None, file_bytes: int) -> None:
    if not header.parts:
        raise _cut(path, frame, "in its header")
    try:
        # What bounds the work comes first.
        problem = (
            next(filter(None, map(_lacking, header.parts)), None)
            or _samples_problem(header, file_bytes)
            or next(filter(None, (_problem(header, part) for part in header.parts)), None)
        )
    except (IndexError, struct.error, ValueError) as error:
        raise _damaged(path, frame, error) from error
    if problem is not None:
        raise OtherFormatError(
            path,
            problem,
            "flat parts with channels of full size, at one level",
            "render the stills so",
            frame=frame,
        )


def _lacking(part: Part) -> str | None:
    """What to say of a part without what every one must have, or with windows that are none."""
    missing = next((name for name, size in _NEEDED.items() if len(part.get(name) or b"") < size), None)
    if missing is not None:
        return f"no '{missing}' in its header"
    _check_lengths(part)
    windows = (part.window(name) for name in ("dataWindow", "displayWindow"))
    return next(filter(None, (size_problem(window.width, window.height) for window in windows)), None)


def _check_lengths(part: Part) -> None:
    """ValueError where an attribute has other bytes than its kind, or the list of views no end."""
    for name, size in _SIZES.items():
        value = part.get(name)
        if value is not None and len(value) != size:
            raise ValueError(f"'{name}' of {len(value)} bytes")
    if len(part.get("channels") or b"") > _LARGEST_LIST:
        raise ValueError("a longer list of channels than any picture has")
    _ = part.views


def _samples_problem(header: ExrHeader, file_bytes: int) -> str | None:
    """What to say of more samples in all parts than are read, or than the file can hold."""
    packed = placed = count = 0
    for part in header.parts:
        data, display, channels = part.window("dataWindow"), part.window("displayWindow"), part.channels
        one_pixel, count = sum(2 if each.kind == "half" else 4 for each in channels), count + len(channels)
        packed += data.width * data.height * one_pixel
        placed += max(data.width * data.height, display.width * display.height) * one_pixel
        if problem := sample_problem(placed, count, 1 << 62, part.compression):
            return problem
    freest = max((part.compression for part in header.parts), key=lambda name: name.startswith("dwa"))
    return sample_problem(packed, count, file_bytes, freest)


def _problem(header: ExrHeader, part: Part) -> str | None:
    kind = part.text("type") or ""
    reduced = next((c for c in part.channels if (c.step_x, c.step_y) != (1, 1)), None)
    if header.flags & DEEP or kind.startswith("deep"):
        return "deep samples"
    if reduced is not None:
        return f"channel '{reduced.name}' with one sample for {reduced.step_x}x{reduced.step_y} pixels"
    if part.compression not in COMPRESSIONS:
        return part.compression
    if part.tiles is not None and (part.tiles[2] & 0xF or 0 in part.tiles[:2]):
        return "tiles of several levels"
    window = part.window("dataWindow")
    if part.tiles is not None and (of_tiles := tile_problem(part.tiles[:2], (window.width, window.height))):
        return of_tiles
    if not part.channels or any(channel.kind not in _DTYPES for channel in part.channels):
        return "no channels of type half, float or uint"
    return None
