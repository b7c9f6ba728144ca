"""How the two eyes lie in files: one file each, or both in one."""

from __future__ import annotations

from typing import Literal, get_args

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
