"""OpenEXR in: which channels make which plane, in which view, and their samples bit for bit.

Plane 0 is the colour. All other channels of the view follow in planes of one sample type, so that everything that a
file holds moves with its picture. The picture is the display window; the data window is placed in it.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import numpy as np
import OpenImageIO as oiio

from postfix.errors import InputError
from postfix.source.exr_header import ExrHeader, Part, Window, read_exr_header
from postfix.source.image import open_image
from postfix.source.picture import PictureFormat, Plane, PlaneFormat, Planes

_TYPES = {"uint": "uint", "half": "half", "float": "float"}
_DATA_WORDS = {"depth", "z", "zback", "id", "ids", "objectid", "vector", "vectors", "motion", "motionvector"} | {
    "velocity", "normal", "normals", "n", "position", "p", "pworld", "uv", "st", "disparity", "displacement",
}  # fmt: skip
_DATA_CHANNELS = {"x", "z", "u", "v", "w", "s", "t", "id", "zback", "depth"}
_DATA_STARTS = ("crypto", "motion", "depth", "velocity", "disparity")
_ALPHAS = {"a", "alpha"}


@dataclass(frozen=True)
class ExrPlane:
    """Where the channels of one plane stand.

    Attributes
    ----------
    part : int
        Of the file, counted from 0.
    names : tuple of str
        As in the file.
    plain : tuple of str
        The same without the view.
    kind : str
        ``uint``, ``half`` or ``float``.
    is_colour : bool
    """

    part: int
    names: tuple[str, ...]
    plain: tuple[str, ...]
    kind: str
    is_colour: bool


def views_of(header: ExrHeader) -> tuple[str, ...]:
    """Views that a file says it holds, the default one first; empty where it speaks of none."""
    views = [view for part in header.parts for view in (part.views or ((part.view,) if part.view else ()))]
    return tuple(dict.fromkeys(views))


def _belongs(part: Part, name: str, view: str | None, default: str | None) -> str | None:
    """Name of a channel without its view, where it belongs to the wanted one; channels of no view go with the default.

    In a part of several views the last word but one of a channel's name is the view; the default view's is left out.
    """
    words = name.split(".")
    named = words[-2] if len(words) > 1 and words[-2] in part.views else None
    plain = name if named is None else ".".join([*words[:-2], words[-1]])
    if view is None:
        return plain
    if part.views:
        return plain if view == (named or part.views[0]) else None
    return plain if view == (part.view or default) else None


def planes_of(header: ExrHeader, view: str | None) -> tuple[ExrPlane, ...]:
    """Which channels make which plane of a view; ValueError says why there is no colour to be found."""
    default = next(iter(views_of(header)), None)
    found = []
    for index, part in enumerate(header.parts):
        for channel in part.channels:
            plain = _belongs(part, channel.name, view, default)
            if plain is not None:
                found.append((index, channel.name, plain, channel.kind))
    found.sort(key=lambda entry: (entry[0], entry[2]))
    colour = _colour_of(found)
    if colour[0][3] == "uint":
        raise ValueError(f"colour in channels of type uint ({', '.join(entry[1] for entry in colour)})")
    groups: dict[tuple[int, str, bool], list[tuple[str, str]]] = {}
    for index, name, plain, kind in found:
        if (index, name, plain, kind) not in colour:
            groups.setdefault((index, kind, _is_colour(plain, kind)), []).append((name, plain))
    first = ExrPlane(colour[0][0], *_columns([(name, plain) for _, name, plain, _ in colour]), colour[0][3], True)
    others = (ExrPlane(part, *_columns(names), kind, light) for (part, kind, light), names in groups.items())
    return (first, *others)


def _columns(pairs: list[tuple[str, str]]) -> tuple[tuple[str, ...], tuple[str, ...]]:
    return tuple(name for name, _ in pairs), tuple(plain for _, plain in pairs)


_Entry = tuple[int, str, str, str]


def _colour_of(found: list[_Entry]) -> list[_Entry]:
    """R, G, B (and A of the same type), or Y, of the first layer that has them; layers without a name go first."""
    layers: dict[tuple[bool, int, str], dict[str, _Entry]] = {}
    for entry in found:
        layer, _, last = entry[2].rpartition(".")
        layers.setdefault((bool(layer), entry[0], layer), {}).setdefault(last.lower(), entry)
    ordered = [layers[key] for key in sorted(layers, key=lambda key: key[:2])]
    for words in (("r", "g", "b"), ("red", "green", "blue"), ("y",)):
        for layer_channels in ordered:
            if not all(word in layer_channels for word in words) or (words == ("y",) and "x" in layer_channels):
                continue
            chosen = [layer_channels[word] for word in words]
            if len({entry[3] for entry in chosen}) > 1:
                raise ValueError(f"{', '.join(entry[1] for entry in chosen)} of different types")
            alpha = next((layer_channels[word] for word in ("a", "alpha") if word in layer_channels), None)
            if len(words) == 3 and alpha is not None and alpha[3] == chosen[0][3]:
                chosen.append(alpha)
            return chosen
    names = ", ".join(entry[1] for entry in found[:8])
    raise ValueError(f"no channels R, G and B, and no Y (only {names or 'none'})")


def _is_colour(plain: str, kind: str) -> bool:
    """False for what no light is, by type or name."""
    *layers, last = (word.lower() for word in plain.split("."))
    if kind == "uint" or last in _DATA_CHANNELS or (last not in "rgbay" and last.startswith(_DATA_STARTS)):
        return False
    if last in _DATA_WORDS - {"n", "p"}:
        return False
    return not any(layer in _DATA_WORDS or layer.startswith(_DATA_STARTS) for layer in layers)


def exr_format(header: ExrHeader, planes: tuple[ExrPlane, ...]) -> PictureFormat:
    """The picture that :func:`read_exr` gives."""
    display = header.parts[planes[0].part].window("displayWindow")
    formats = []
    for plane in planes:
        dtype = {"uint": "uint32", "half": "float16", "float": "float32"}[plane.kind]
        black = tuple(1.0 if plane.is_colour and _is_alpha(name) else 0.0 for name in plane.plain)
        formats.append(PlaneFormat(1, 1, len(plane.names), black, dtype, plane.is_colour))
    first = planes[0]
    words = [f"{ {1: 'gray', 3: 'rgb', 4: 'rgba'}[len(first.names)] }-{first.kind}"]
    words += [f"{','.join(plane.plain)}:{plane.kind}" for plane in planes[1:]]
    dtype, bits = ("float16", 16) if first.kind == "half" else ("float32", 32)
    return PictureFormat(
        display.width, display.height, " ".join(words), dtype, bits, 1.0, False, tuple(formats), is_linear=True
    )  # fmt: skip


def _is_alpha(name: str) -> bool:
    return name.rpartition(".")[2].lower() in _ALPHAS


def read_exr(path: Path, view: str | None, like: tuple[ExrPlane, ...], frame: int | None = None) -> Planes:
    """Planes of one view.

    Parameters
    ----------
    like : tuple of ExrPlane
        What the first file of the sequence held: this one must hold the same.

    Raises
    ------
    InputError
        Where the file holds something else, or cannot be read to its end.
    """
    header = read_exr_header(path, frame)
    planes = planes_of(header, view)
    if planes != like:
        raise InputError(path, "other channels", "those of the frames before", "render the still again", frame=frame)
    opened = open_image(path)
    if opened is None:
        raise _unreadable(path, oiio.geterror(), frame)
    try:
        found: list[Plane | None] = [None] * len(planes)
        for part in dict.fromkeys(plane.part for plane in planes):
            wanted = [(index, plane) for index, plane in enumerate(planes) if plane.part == part]
            for (index, _), samples in zip(wanted, _part_samples(opened, part, [p for _, p in wanted], path, frame)):
                found[index] = _placed(samples, header.parts[part])
    finally:
        opened.close()
    return tuple(plane for plane in found if plane is not None)


def _unreadable(path: Path, reason: str, frame: int | None) -> InputError:
    first = reason.strip().split("\n")[0][:160]
    return InputError(
        path,
        f"a picture that cannot be read to its end ({first or 'the file changed while in use'})",
        "a whole OpenEXR picture",
        "copy or render the still again",
        frame=frame,
    )


def _part_samples(
    opened: oiio.ImageInput, part: int, planes: list[ExrPlane], path: Path, frame: int | None
) -> list[Plane]:
    """Samples of the planes of one part, each (rows, columns, channels) of the data window."""
    if not opened.seek_subimage(part, 0):
        raise _unreadable(path, opened.geterror(), frame)
    spec = opened.spec()
    names = list(spec.channelnames)
    kinds = [str(kind) for kind in spec.channelformats] or [str(spec.format)] * len(names)
    place = {name: index for index, name in enumerate(names)}
    samples = []
    for plane in planes:
        if not all(name in place for name in plane.names):
            raise _unreadable(path, f"channels {', '.join(plane.names)} have other names", frame)
        places = [place[name] for name in plane.names]
        first, last = min(places), max(places) + 1
        if any(kinds[index] != plane.kind for index in range(first, last)):
            parts = [_read_range(opened, part, at, at + 1, plane.kind, path, frame) for at in places]
            samples.append(np.concatenate(parts, axis=2) if len(parts) > 1 else parts[0])
            continue
        read = _read_range(opened, part, first, last, plane.kind, path, frame)
        wanted = [at - first for at in places]
        samples.append(read if wanted == list(range(last - first)) else read[..., wanted])
    return samples


def _read_range(
    opened: oiio.ImageInput, part: int, first: int, last: int, kind: str, path: Path, frame: int | None
) -> Plane:
    read = opened.read_image(part, 0, first, last, _TYPES[kind])
    reason = opened.geterror()
    expected = {"uint": np.uint32, "half": np.float16, "float": np.float32}[kind]
    if read is None or reason or read.dtype != expected:
        raise _unreadable(path, reason, frame)
    samples: Plane = read.reshape(read.shape[0], read.shape[1], last - first)
    return samples


def _placed(samples: Plane, part: Part) -> Plane:
    """The display window's samples, zero where the data window has none; one channel without a third axis."""
    data, display = part.window("dataWindow"), part.window("displayWindow")
    if data != display:
        placed = np.zeros((display.height, display.width, samples.shape[2]), samples.dtype)
        rows, from_rows = _overlap(data.top, data.bottom, display.top, display.bottom)
        columns, from_columns = _overlap(data.left, data.right, display.left, display.right)
        placed[rows, columns] = samples[from_rows, from_columns]
        samples = placed
    return samples[..., 0] if samples.shape[2] == 1 else samples


def _overlap(first: int, last: int, start: int, end: int) -> tuple[slice, slice]:
    """What of first…last lies in start…end, counted from start and counted from first."""
    low, high = max(first, start), max(max(first, start), min(last, end) + 1)
    return slice(low - start, high - start), slice(low - first, high - first)


def has_overscan(part: Part) -> bool:
    """True where the data window goes beyond the display window."""
    data, display = part.window("dataWindow"), part.window("displayWindow")
    return _beyond(data, display)


def _beyond(data: Window, display: Window) -> bool:
    return (
        data.left < display.left
        or data.top < display.top
        or data.right > display.right
        or data.bottom > display.bottom
    )  # fmt: skip
