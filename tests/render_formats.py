"""Picture formats and made-up planes, for the tests of rendering."""

from __future__ import annotations

from fractions import Fraction

import numpy as np

from postfix.measure.table import ClipInfo
from postfix.source.picture import PictureFormat, PlaneFormat, Planes


def yuv(layout: str, depth: int, width: int = 64, height: int = 36) -> PictureFormat:
    """``420``, ``422`` or ``444`` in limited range."""
    step_x, step_y = {"420": (2, 2), "422": (2, 1), "444": (1, 1)}[layout]
    scale = 2 ** (depth - 8)
    chroma = PlaneFormat(step_x, step_y, 1, (128.0 * scale,))
    planes = (PlaneFormat(1, 1, 1, (16.0 * scale,)), chroma, chroma)
    dtype = "uint8" if depth == 8 else "uint16"
    return PictureFormat(width, height, f"yuv{layout}p{depth}", dtype, depth, 235.0 * scale, True, planes)


def rgb(depth: int, width: int = 64, height: int = 36, alpha: bool = False) -> PictureFormat:
    """Interleaved RGB or RGBA, whole codes, or float where ``depth`` is 32."""
    top = 1.0 if depth == 32 else float(2**depth - 1)
    black = (0.0, 0.0, 0.0, top) if alpha else (0.0, 0.0, 0.0)
    dtype = {8: "uint8", 16: "uint16", 32: "float32"}[depth]
    plane = PlaneFormat(1, 1, len(black), black)
    return PictureFormat(width, height, f"rgb-{depth}bit", dtype, depth, top, False, (plane,))


FORMATS = {
    **{f"yuv{layout}-{depth}": yuv(layout, depth) for layout in ("420", "422", "444") for depth in (8, 10, 16)},
    "rgb-8": rgb(8),
    "rgb-16": rgb(16),
    "rgba-16": rgb(16, alpha=True),
    "rgb-float": rgb(32),
    "odd-420": yuv("420", 10, 63, 35),
    "odd-422": yuv("422", 10, 63, 35),
}


def shape_of(fmt: PictureFormat, index: int) -> tuple[int, ...]:
    """Shape of a plane; where chroma is subsampled an odd size is rounded up."""
    plane = fmt.planes[index]
    size = (-(-fmt.height // plane.step_y), -(-fmt.width // plane.step_x))
    return size if plane.channels == 1 else (*size, plane.channels)


def noise(fmt: PictureFormat, seed: int = 1) -> Planes:
    """Every code of the range at random, and never exact black, read-only like decoded planes."""
    rng = np.random.default_rng(seed)
    made = []
    for index, plane in enumerate(fmt.planes):
        shape = shape_of(fmt, index)
        if fmt.dtype == "float32":
            values = rng.uniform(-0.5, 1.5, shape).astype(np.float32)
        else:
            values = rng.integers(0, 2**fmt.bit_depth, shape).astype(fmt.dtype)
            values[values == np.array(plane.black).astype(fmt.dtype)] += np.array(1, fmt.dtype)
        values.setflags(write=False)
        made.append(values)
    return tuple(made)


def clip_of(fmt: PictureFormat) -> ClipInfo:
    return ClipInfo("wind", fmt.width, fmt.height, Fraction(24), fmt.step_px)
