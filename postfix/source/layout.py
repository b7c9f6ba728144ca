"""How the two eyes lie in files: one file each, or both in one; parting and joining them."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction
from typing import Literal, get_args

import numpy as np

from postfix.source.picture import PictureFormat, Plane, Planes

Layout = Literal[
    "left-right",
    "side-by-side",
    "side-by-side-half",
    "top-bottom",
    "top-bottom-half",
    "frame-sequential",
    "rows",
    "views",
]
"""``left-right``: a file (or sequence) for each eye. All others hold both eyes, the left one first: beside each
other or one above the other, whole or squeezed to half; frame after frame; row after row; or as the named views of an
OpenEXR file."""

LAYOUTS: tuple[Layout, ...] = get_args(Layout)

PACKED: tuple[Layout, ...] = tuple(layout for layout in LAYOUTS if layout != "left-right")
"""Layouts with both eyes in one file."""

_SHARES: dict[Layout, tuple[int, int]] = {"side-by-side-half": (2, 1), "top-bottom-half": (1, 2), "rows": (1, 2)}

_FULL_AND_HALF: dict[Layout, Layout] = {"side-by-side": "side-by-side-half", "top-bottom": "top-bottom-half"}

_NARROWEST_EYE, _WIDEST_EYE = Fraction(5, 4), Fraction(5, 2)
"""Width over height that a picture for one eye has: from 5:4 (included) to 5:2. An eye of half the width falls below
and one of twice the width above, so that just one reading of a packed picture fits. Common practice, no source."""


def squeeze_of(layout: Layout) -> tuple[int, int]:
    """How many columns, and rows, of a whole eye lie in one of the packed picture: (2, 1) for halves side by side."""
    return _SHARES.get(layout, (1, 1))


def full_or_half(layout: Layout, fmt: PictureFormat, pixel_aspect: Fraction | None) -> Layout | None:
    """Which of ``side-by-side`` and ``side-by-side-half`` (or of the two of ``top-bottom``) a packed picture is.

    Parameters
    ----------
    layout : Layout
        ``side-by-side`` or ``top-bottom``; any other is given back as it is.
    fmt : PictureFormat
        Of the packed picture.
    pixel_aspect : Fraction or None
        Width over height of one of its pixels; None for square ones.

    Returns
    -------
    Layout or None
        The one with which an eye is shown at least 5:4 and less than 5:2 wide; None where neither is.
    """
    if layout not in _FULL_AND_HALF:
        return layout
    half_aspect = Fraction(fmt.width, fmt.height) * (pixel_aspect or 1)
    full_aspect = half_aspect / 2 if layout == "side-by-side" else half_aspect * 2
    for candidate, aspect in ((layout, full_aspect), (_FULL_AND_HALF[layout], half_aspect)):
        if _NARROWEST_EYE <= aspect < _WIDEST_EYE:
            return candidate
    return None


def why_not_split(fmt: PictureFormat, layout: Layout) -> tuple[str, str] | None:
    """Why a packed picture cannot be parted into whole samples of both eyes: what was found and what is needed.

    None where it can.
    """
    size = f"{fmt.width}x{fmt.height} {fmt.pixel_format}"
    step_x, step_y = max(plane.step_x for plane in fmt.planes), max(plane.step_y for plane in fmt.planes)
    if layout.startswith("side-by-side") and fmt.width % (2 * step_x):
        return f"{size}, whose middle falls inside a sample", f"a width that is a multiple of {2 * step_x} px"
    if layout.startswith("top-bottom") and fmt.height % (2 * step_y):
        return f"{size}, whose middle falls inside a sample", f"a height that is a multiple of {2 * step_y} px"
    if layout == "rows" and step_y > 1:
        return (
            f"{fmt.pixel_format}, in which one row of colour serves {step_y} rows and so both eyes",
            "a pixel format with colour in every row",
        )
    if layout == "rows" and fmt.height % 2:
        return f"{fmt.height} rows", "an even number: as many for each eye"
    return None


def eye_format(fmt: PictureFormat, layout: Layout) -> PictureFormat:
    """Of one eye of a packed picture, in that eye's own columns and rows.

    Raises
    ------
    ValueError
        Where it cannot be parted (see :func:`why_not_split`).
    """
    reason = why_not_split(fmt, layout)
    if reason is not None:
        raise ValueError(reason[0])
    across, down = _eyes_across_and_down(layout)
    return replace(fmt, width=fmt.width // across, height=fmt.height // down)


def packed_format(fmt: PictureFormat, layout: Layout) -> PictureFormat:
    """Of a picture that holds two eyes of a format (already squeezed where the layout is one of halves)."""
    across, down = _eyes_across_and_down(layout)
    return replace(fmt, width=fmt.width * across, height=fmt.height * down)


def eye_of(planes: Planes, layout: Layout, place: int) -> Planes:
    """One eye of a packed picture: views of its planes, nothing copied.

    Parameters
    ----------
    planes : Planes
        Of the packed picture, which can be parted (see :func:`why_not_split`).
    layout : Layout
    place : int
        0 for the eye on the left, on top or in the first row, 1 for the other. Where each eye has a picture of its
        own (frame after frame, views) that picture.
    """
    if layout.startswith("side-by-side"):
        return tuple(_halves(plane, 1)[place] for plane in planes)
    if layout.startswith("top-bottom"):
        return tuple(_halves(plane, 0)[place] for plane in planes)
    return tuple(plane[place::2] for plane in planes) if layout == "rows" else planes


def packed_planes(first: Planes, second: Planes, layout: Layout) -> Planes:
    """Two eyes in one picture, each plane filled where it was allocated.

    Parameters
    ----------
    first, second : Planes
        The eye on the left, on top or in the first row, and the other: alike in shapes and types.
    layout : Layout
        Side by side, top-bottom or rows.

    Returns
    -------
    Planes
        Twice as wide or twice as high.
    """
    across, down = _eyes_across_and_down(layout)
    if (across, down) == (1, 1):
        raise ValueError(f"'{layout}' has no picture that holds both eyes")
    whole = []
    for one, other in zip(first, second, strict=True):
        plane = np.empty((one.shape[0] * down, one.shape[1] * across, *one.shape[2:]), one.dtype)
        for place, samples in enumerate((one, other)):
            eye_of((plane,), layout, place)[0][...] = samples
        whole.append(plane)
    return tuple(whole)


def _eyes_across_and_down(layout: Layout) -> tuple[int, int]:
    if layout.startswith("side-by-side"):
        return 2, 1
    return (1, 2) if layout.startswith("top-bottom") or layout == "rows" else (1, 1)


def _halves(plane: Plane, axis: int) -> tuple[Plane, Plane]:
    middle = plane.shape[axis] // 2
    return (plane[:middle], plane[middle:]) if axis == 0 else (plane[:, :middle], plane[:, middle:])
