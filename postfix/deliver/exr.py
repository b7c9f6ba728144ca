"""OpenEXR out, one eye or both: every attribute of the source as it stands, byte for byte, before new samples."""

from __future__ import annotations

import struct
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

import numpy as np

from postfix.deliver.exr_packing import BY_BYTES, Target, write_parts
from postfix.source.exr import ExrPlane, has_overscan, planes_of, views_of
from postfix.source.exr_header import (
    COMPRESSIONS,
    ExrHeader,
    Part,
    read_exr_header,
)
from postfix.source.picture import Plane, Planes

LOSSY = frozenset({"pxr24", "b44", "b44a", "dwaa", "dwab"})
"""Compressions that lose something of (some) samples each time."""


def packing_of(part: Part) -> str:
    """Compression that a part is written with: its own, or zip where samples of several types rule that out."""
    mixed = len({channel.kind for channel in part.channels}) > 1
    return part.compression if not mixed or part.compression in BY_BYTES else "zip"


def write_exr(
    path: Path,
    planes: Planes,
    like: Path,
    view: str | None = None,
    frame: int | None = None,
    *,
    both_eyes: bool = False,
) -> None:
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
    both_eyes : bool
        True where the planes hold both eyes joined: no view is told then, whatever ``like`` shows.
    """
    header = read_exr_header(like, frame)
    layout = planes_of(header, view)
    several = len(views_of(header)) > 1
    targets = []
    for index, part in enumerate(header.parts):
        channels = _channel_samples(layout, planes, index, plain=view is not None and bool(part.views))
        if channels:
            of_views = view is not None and bool(part.views)
            kept = _without(part, "multiView", "view") if of_views or both_eyes else part
            if of_views and several and not both_eyes and view is not None:
                kept = _with(kept, "view", "string", view.encode())
            targets.append(replace(_target(kept, channels, part), whole=_whole(channels, layout, planes, index)))
    write_parts(path, header.flags, targets, frame)


def _whole(
    channels: dict[str, Plane], layout: tuple[ExrPlane, ...], planes: Planes, part: int
) -> tuple[tuple[str, ...], Plane] | None:
    """The only plane of a part, if it has only one."""
    found = [samples for plane, samples in zip(layout, planes) if plane.part == part]
    # The names stand in the order of the plane's channels.
    return (tuple(channels), found[0]) if len(found) == 1 and found[0].ndim == 3 else None


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
        write_parts(path, header.flags, targets, frame)
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
        write_parts(path, header.flags, [_target(both, channels, part)], frame)
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
    write_parts(path, header.flags, targets, frame)


def _like_views(header: ExrHeader, left: Planes, right: Planes) -> list[Target]:
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


def _target(part: Part, channels: dict[str, Plane], like: Part) -> Target:
    """The part with just these channels, the picture's size, rows from top to bottom, and no preview."""
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
    changed = _with(_without(part, *_previews(part)), "channels", "chlist", listed + b"\0")
    changed = _with(_with(changed, "dataWindow", "box2i", box), "displayWindow", "box2i", box)
    changed = _with(changed, "lineOrder", "lineOrder", b"\0")
    changed = _with(changed, "compression", "compression", bytes([COMPRESSIONS.index(packing_of(changed))]))
    if changed.get("chunkCount") is not None:
        changed = _with(changed, "chunkCount", "int", struct.pack("<i", changed.chunk_count))
    return Target(changed, tuple(channels[name] for name in ordered))


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


def _previews(part: Part) -> tuple[str, ...]:
    """Names of the small pictures in the header, which show what the part held before."""
    return tuple(name for name, kind, _ in part.attributes if kind == "preview")


def _without(part: Part, *names: str) -> Part:
    return Part(tuple(entry for entry in part.attributes if entry[0] not in names))


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
    small = sum(any(_previews(part) for part in header.parts) for header in headers)
    if small:
        losses.append(
            f"the small preview in the header, which {small} of {len(headers)} files hold, shows the old picture and "
            "is left out of changed frames"
        )
    parts = [part for header in headers for part in header.parts]
    for name in sorted({part.compression for part in parts if part.compression in LOSSY}):
        losses.append(f"OpenEXR's compression {name} loses a little each time it is written")
    for name in sorted({part.compression for part in parts if packing_of(part) != part.compression}):
        losses.append(f"changed frames whose channels are of several types are written with zip instead of {name}")
    return tuple(losses)
