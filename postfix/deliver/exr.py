"""OpenEXR out: every attribute of the source as it stands, byte for byte, before newly packed samples.

The library that packs the samples keeps only the attributes that it knows, and cannot write 32-bit whole numbers beside
other samples. So it packs a bare picture, and its chunks are put behind the source's own headers.
"""

from __future__ import annotations

import struct
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
import OpenImageIO as oiio

from postfix.errors import OutputError
from postfix.source.exr import ExrPlane, has_overscan, planes_of, views_of
from postfix.source.exr_header import (
    COMPRESSIONS,
    LONG_NAMES,
    MAGIC,
    MULTI_PART,
    ExrHeader,
    Part,
    Window,
    chunk_head_size,
    parsed_header,
    read_exr_header,
)
from postfix.source.picture import Plane, Planes

BY_BYTES = frozenset({"none", "rle", "zips", "zip"})
"""Compressions that see only bytes, so that samples of several types can be packed as if they were of one."""

LOSSY = frozenset({"pxr24", "b44", "b44a", "dwaa", "dwab"})
"""Compressions that lose something of (some) samples each time."""


@dataclass(frozen=True)
class _Target:
    """A part to be written: its attributes, and for each channel of the file where its samples are."""

    part: Part
    samples: tuple[Plane, ...]

    @property
    def compression(self) -> str:
        return self.part.compression


def packing_of(part: Part) -> str:
    """Compression that a part is written with: its own, or zip where samples of several types rule that out."""
    mixed = len({channel.kind for channel in part.channels}) > 1
    return part.compression if not mixed or part.compression in BY_BYTES else "zip"


def write_exr(path: Path, planes: Planes, like: Path, view: str | None = None, frame: int | None = None) -> None:
    """Write one eye like a file that holds it, alone or as one of its views.

    Parameters
    ----------
    planes : tuple of ndarray
        As :func:`postfix.source.exr.read_exr` gives them, of any size.
    like : Path
        Whose parts, channels, attributes, compression and tiles are taken over. Of several views only ``view`` is
        written.
    frame : int, optional
        For errors.
    """
    header = read_exr_header(like, frame)
    layout = planes_of(header, view)
    several = len(views_of(header)) > 1
    targets = []
    for index, part in enumerate(header.parts):
        channels = _channel_samples(layout, planes, index, plain=view is not None and bool(part.views))
        if channels:
            kept = _without(part, "multiView", "view") if view is not None and part.views else part
            if view is not None and part.views and several:
                kept = _with(kept, "view", "string", view.encode())
            targets.append(_target(kept, channels, part))
    _write(path, header.flags, targets, frame)


def write_exr_views(
    path: Path,
    left: Planes,
    right: Planes,
    like: Path,
    like_right: Path | None = None,
    frame: int | None = None,
) -> None:
    """Write both eyes into one file as its views ``left`` and ``right``.

    Parameters
    ----------
    left, right : tuple of ndarray
        Planes of each eye.
    like : Path
        A file that holds both views, which is followed, or one that holds the left eye: then one part gets the right
        eye's channels beside the left's, and of several parts each comes twice.
    like_right : Path, optional
        The right eye's own file, for the attributes of its parts where they come twice.
    """
    header = read_exr_header(like, frame)
    if {"left", "right"} <= set(views_of(header)):
        targets = _like_views(header, left, right)
        _write(path, header.flags, targets, frame)
        return
    layout = planes_of(header, None)
    if len(header.parts) == 1:
        part = header.parts[0]
        channels = _channel_samples(layout, left, 0)
        for name, samples in _channel_samples(layout, right, 0).items():
            layer, _, last = name.rpartition(".")
            channels[f"{layer}.right.{last}" if layer else f"right.{last}"] = samples
        views = b"".join(struct.pack("<i", len(view)) + view for view in (b"left", b"right"))
        both = _with(_without(part, "view"), "multiView", "stringvector", views)
        _write(path, header.flags, [_target(both, channels, part)], frame)
        return
    other = header if like_right is None else read_exr_header(like_right, frame)
    targets = []
    for view, parts, planes, its_layout in (
        ("left", header.parts, left, layout),
        ("right", other.parts, right, planes_of(other, None)),
    ):
        for index, part in enumerate(parts):
            named = _with(part, "view", "string", view.encode())
            named = _with(named, "name", "string", f"{part.text('name') or index}.{view}".encode())
            targets.append(_target(named, _channel_samples(its_layout, planes, index), part))
    _write(path, header.flags, targets, frame)


def _like_views(header: ExrHeader, left: Planes, right: Planes) -> list[_Target]:
    eyes = [(planes_of(header, view), planes) for view, planes in (("left", left), ("right", right))]
    targets = []
    for index, part in enumerate(header.parts):
        channels: dict[str, Plane] = {}
        for layout, planes in eyes:
            channels |= _channel_samples(layout, planes, index)
        if channels:
            targets.append(_target(part, channels, part))
    return targets


def _channel_samples(layout: tuple[ExrPlane, ...], planes: Planes, part: int, plain: bool = False) -> dict[str, Plane]:
    """Samples of each channel of a part, by its name in the file, or without the view."""
    channels: dict[str, Plane] = {}
    for plane, samples in zip(layout, planes, strict=True):
        if plane.part == part:
            whole = samples[..., np.newaxis] if samples.ndim == 2 else samples
            for index, name in enumerate(plane.plain if plain else plane.names):
                channels[name] = whole[..., index]
    return channels


def _target(part: Part, channels: dict[str, Plane], like: Part) -> _Target:
    """The part with just these channels, the picture's size, and rows from top to bottom."""
    kinds = {"uint32": 0, "float16": 1, "float32": 2}
    flags = _linear_flags(like) if like.compression not in ("b44", "b44a") else {}
    ordered = sorted(channels, key=lambda name: name.encode("utf-8", "surrogateescape"))
    listed = b"".join(
        name.encode("utf-8", "surrogateescape")
        + b"\0"
        + struct.pack("<iIii", kinds[str(channels[name].dtype)], flags.get(name, 0), 1, 1)
        for name in ordered
    )
    height, width = channels[ordered[0]].shape
    display = like.window("displayWindow")
    window = replace(display, right=display.left + width - 1, bottom=display.top + height - 1)
    box = struct.pack("<4i", window.left, window.top, window.right, window.bottom)
    changed = _with(part, "channels", "chlist", listed + b"\0")
    changed = _with(_with(changed, "dataWindow", "box2i", box), "displayWindow", "box2i", box)
    changed = _with(changed, "lineOrder", "lineOrder", b"\0")
    changed = _with(changed, "compression", "compression", bytes([COMPRESSIONS.index(packing_of(changed))]))
    if changed.get("chunkCount") is not None:
        changed = _with(changed, "chunkCount", "int", struct.pack("<i", changed.chunk_count))
    return _Target(changed, tuple(channels[name] for name in ordered))


def _linear_flags(part: Part) -> dict[str, int]:
    """What stands beside each channel's type."""
    value, flags, at = part.get("channels") or b"\0", {}, 0
    for channel in part.channels:
        at = value.index(b"\0", at) + 1
        flags[channel.name] = struct.unpack_from("<I", value, at + 4)[0]
        at += 16
    return flags


def _with(part: Part, name: str, kind: str, value: bytes) -> Part:
    """The part with an attribute set, at its place where it had one."""
    if part.get(name) is None:
        return Part((*part.attributes, (name, kind, value)))
    return Part(tuple((n, k, value if n == name else v) for n, k, v in part.attributes))


def _without(part: Part, *names: str) -> Part:
    return Part(tuple(entry for entry in part.attributes if entry[0] not in names))


def _write(path: Path, flags: int, targets: Sequence[_Target], frame: int | None) -> None:
    header = ExrHeader(flags, tuple(target.part for target in targets), 0)
    head = _header_bytes(header)
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


def _pack(path: Path, target: _Target, wanted_size: int, frame: int | None) -> int:
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


def _bare_size(path: Path, names: list[str], dtype: np.dtype[np.generic], target: _Target, frame: int | None) -> int:
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


def _bare_spec(names: list[str], dtype: np.dtype[np.generic], window: Window, target: _Target) -> oiio.ImageSpec:
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


def _carrier(target: _Target) -> tuple[list[str], Plane]:
    """Names and interleaved samples, (rows, columns, channels), that the library packs to just the wanted bytes.

    A row of a chunk is the row of the first channel, then that of the second, and so on; so is a row of a tile. Seen as
    bytes, a row of W 32-bit samples is two rows of W 16-bit samples, one after the other.
    """
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


def exr_losses(paths: Sequence[Path]) -> tuple[str, ...]:
    """What files written by :func:`write_exr` lack of these, each in a sentence."""
    headers = [read_exr_header(path) for path in paths]
    losses = []
    overscan = sum(any(has_overscan(part) for part in header.parts) for header in headers)
    if overscan:
        losses.append(
            f"picture beyond the display window, which {overscan} of {len(headers)} files hold, is left out of "
            "changed frames"
        )
    parts = [part for header in headers for part in header.parts]
    for name in sorted({part.compression for part in parts if part.compression in LOSSY}):
        losses.append(f"OpenEXR's compression {name} loses a little each time it is written")
    for name in sorted({part.compression for part in parts if packing_of(part) != part.compression}):
        losses.append(f"changed frames whose channels are of several types are written with zip instead of {name}")
    return tuple(losses)
