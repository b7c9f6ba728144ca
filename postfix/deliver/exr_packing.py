"""OpenEXR chunks: samples packed by the library, put behind headers that the library would not write so.

It keeps only the attributes that it knows, and cannot write 32-bit whole numbers beside other samples. So it packs a
bare picture, and only its chunks are used.
"""

from __future__ import annotations

import struct
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import OpenImageIO as oiio

from postfix.errors import OutputError
from postfix.source.exr_header import (
    LONG_NAMES,
    MAGIC,
    MULTI_PART,
    ExrHeader,
    Part,
    Window,
    chunk_head_size,
    parsed_header,
)
from postfix.source.picture import Plane

BY_BYTES = frozenset({"none", "rle", "zips", "zip"})
"""Compressions that see only bytes, so that samples of several types can be packed as if they were of one."""


@dataclass(frozen=True)
class Target:
    """A part to be written.

    Attributes
    ----------
    part : Part
        Its attributes.
    samples : tuple of ndarray
        Of each channel, in the order of the file.
    whole : (tuple of str, ndarray), optional
        Names and samples of all channels, interleaved, where they lie so already: nothing need be gathered then.
    """

    part: Part
    samples: tuple[Plane, ...]
    whole: tuple[tuple[str, ...], Plane] | None = None

    @property
    def compression(self) -> str:
        return self.part.compression


def write_parts(path: Path, flags: int, targets: Sequence[Target], frame: int | None) -> None:
    """Write a file of these parts, whose attributes already say what their samples are."""
    header = ExrHeader(flags, tuple(target.part for target in targets), 0)
    head = _header_bytes(header)
    if not header.is_multi_part and targets[0].compression == "none" and targets[0].part.tiles is None:
        _write_plain(path, head, targets[0])
        return
    if not header.is_multi_part:
        room = _pack(path, targets[0], len(head), frame)
        _put_before(path, head, room)
        return
    bodies = []
    for target in targets:
        _pack(path, target, 0, frame)
        bodies.append(path.read_bytes())
    path.write_bytes(_joined(head, header, bodies))


def _header_bytes(header: ExrHeader) -> bytes:
    long_names = any(
        len(channel.name.encode("utf-8", "surrogateescape")) > 31 for p in header.parts for channel in p.channels
    )
    pieces = [MAGIC, struct.pack("<I", header.flags | (LONG_NAMES if long_names else 0))]
    for part in header.parts:
        for name, kind, value in part.attributes:
            pieces.append(name.encode("utf-8", "surrogateescape") + b"\0" + kind.encode() + b"\0")
            pieces.append(struct.pack("<i", len(value)) + value)
        pieces.append(b"\0")
    if header.flags & MULTI_PART:
        pieces.append(b"\0")
    return b"".join(pieces)


def _write_plain(path: Path, head: bytes, target: Target) -> None:
    """A part without compression: rows as they are, each behind its number and length."""
    window = target.part.window("dataWindow")
    length = window.width * sum(samples.dtype.itemsize for samples in target.samples)
    rows = np.empty((window.height, 8 + length), np.uint8)
    rows[:, :4].view("<i4")[:, 0] = np.arange(window.top, window.bottom + 1)
    rows[:, 4:8].view("<i4")[:, 0] = length
    at = 8
    for samples in target.samples:
        end = at + window.width * samples.dtype.itemsize
        rows[:, at:end].view(samples.dtype)[...] = samples
        at = end
    first = len(head) + 8 * window.height
    with path.open("wb") as file:
        file.write(head)
        (first + np.arange(window.height, dtype="<u8") * np.uint64(8 + length)).tofile(file)
        rows.tofile(file)


def _put_before(path: Path, head: bytes, old_size: int) -> None:
    """Put a header before the chunks of a file of one part, in place where it is as long as the one that is there."""
    if len(head) == old_size:
        with path.open("r+b") as file:
            file.write(head)
        return
    data = path.read_bytes()
    table = _table(data, old_size)
    moved = [offset + len(head) - old_size for offset in table]
    with path.open("wb") as file:
        file.write(head)
        file.write(struct.pack(f"<{len(moved)}Q", *moved))
        file.write(memoryview(data)[old_size + 8 * len(moved) :])


def _table(data: bytes, size: int) -> tuple[int, ...]:
    count = parsed_header(data).parts[0].chunk_count
    return struct.unpack_from(f"<{count}Q", data, size)


def _joined(head: bytes, header: ExrHeader, bodies: list[bytes]) -> bytes:
    """One file of several parts from files of one part each: every chunk gets the number of its part."""
    tables, chunks = [], []
    at = len(head) + 8 * sum(part.chunk_count for part in header.parts)
    for index, (part, body) in enumerate(zip(header.parts, bodies)):
        number = struct.pack("<i", index)
        bare = parsed_header(body)
        head_size = chunk_head_size(bare, part)
        for offset in _table(body, bare.size):
            (length,) = struct.unpack_from("<i", body, offset + head_size - 4)
            tables.append(at)
            chunks += [number, body[offset : offset + head_size + length]]
            at += 4 + head_size + length
    return b"".join([head, struct.pack(f"<{len(tables)}Q", *tables), *chunks])


def _pack(path: Path, target: Target, wanted_size: int, frame: int | None) -> int:
    """Let the library pack the samples of a part into a file of its own; size of the header that it wrote.

    Padded to ``wanted_size`` where it is shorter, so that the real header fits in its place.
    """
    names, samples = _carrier(target)
    window, tiles = target.part.window("dataWindow"), target.part.tiles
    spec = _bare_spec(names, samples.dtype, window, target)
    if tiles is not None:
        spec.tile_width, spec.tile_height = tiles[:2]
    padding = wanted_size - _bare_size(path, names, samples.dtype, target, frame) - len(b"padding\0string\0") - 4
    if wanted_size and padding > 0:
        spec.attribute("padding", "x" * padding)
    _save(path, spec, samples, frame)
    with path.open("rb") as file:
        return parsed_header(file.read(wanted_size + 65536)).size


_bare_sizes: dict[tuple[object, ...], int] = {}


def _bare_size(path: Path, names: list[str], dtype: np.dtype[np.generic], target: Target, frame: int | None) -> int:
    """Size of the header that the library writes for such a part: asked of the library once, with one pixel."""
    tiles = target.part.tiles
    key = (tuple(names), str(dtype), target.compression, tiles, target.part.get("dwaCompressionLevel"))
    if key not in _bare_sizes:
        spec = _bare_spec(names, dtype, Window(0, 0, 0, 0), target)
        if tiles is not None:
            spec.tile_width, spec.tile_height = tiles[:2]
        _save(path, spec, np.zeros((1, 1, len(names)), dtype), frame)
        _bare_sizes[key] = parsed_header(path.read_bytes()).size
    return _bare_sizes[key]


def _bare_spec(names: list[str], dtype: np.dtype[np.generic], window: Window, target: Target) -> oiio.ImageSpec:
    kind = {"uint32": "uint", "float16": "half", "float32": "float"}[str(dtype)]
    spec = oiio.ImageSpec(window.width, window.height, len(names), kind)
    spec.channelnames = tuple(names)
    spec.x = spec.full_x = window.left
    spec.y = spec.full_y = window.top
    spec.full_width, spec.full_height = window.width, window.height
    compression, level = target.compression, target.part.get("dwaCompressionLevel")
    if compression in ("dwaa", "dwab") and level is not None:
        compression = f"{compression}:{struct.unpack('<f', level)[0]:g}"
    spec.attribute("compression", compression)
    return spec


def _carrier(target: Target) -> tuple[list[str], Plane]:
    """Names and interleaved samples, (rows, columns, channels), that the library packs to just the wanted bytes.

    A row of a chunk is the row of the first channel, then that of the second, and so on; so is a row of a tile. Seen as
    bytes, a row of W 32-bit samples is two rows of W 16-bit samples, one after the other.
    """
    if target.whole is not None:
        return list(target.whole[0]), target.whole[1]
    if len({samples.dtype for samples in target.samples}) == 1:
        return [channel.name for channel in target.part.channels], np.stack(target.samples, axis=-1)
    step = target.part.tiles[0] if target.part.tiles is not None else target.samples[0].shape[1]
    rows: list[Plane] = []
    for samples in target.samples:
        rows += [samples] if samples.dtype == np.float16 else _halves(samples, step)
    return [f"c{index:05d}" for index in range(len(rows))], np.stack(rows, axis=-1)


def _halves(samples: Plane, step: int) -> list[Plane]:
    """Two planes of 16-bit samples: the first and the second half of the bytes of each ``step`` columns."""
    wide = np.ascontiguousarray(samples).view(np.float16)
    first, second = np.empty(samples.shape, np.float16), np.empty(samples.shape, np.float16)
    for start in range(0, samples.shape[1], step):
        end = min(start + step, samples.shape[1])
        first[:, start:end] = wide[:, 2 * start : start + end]
        second[:, start:end] = wide[:, start + end : 2 * end]
    return [first, second]


def _save(path: Path, spec: oiio.ImageSpec, samples: Plane, frame: int | None) -> None:
    output = oiio.ImageOutput.create(str(path))
    whole = output is not None and output.open(str(path), spec) and output.write_image(np.ascontiguousarray(samples))
    reason = "" if output is None else output.geterror()
    if output is not None:
        whole = output.close() and whole
    if not whole:
        raise OutputError(
            path,
            f"a still that could not be written ({(reason or oiio.geterror()).strip()[:160]})",
            "room on the disk and a folder to write in",
            "check the disk and run again",
            frame=frame,
        )
