"""Picture formats and made-up planes, for the tests of rendering."""

from __future__ import annotations

from fractions import Fraction

import numpy as np
import numpy.typing as npt

from postfix.measure.table import ClipInfo
from postfix.source.picture import PictureFormat, PlaneFormat, Planes


def yuv(layout: str, depth: int, width: int = 64, height: int = 36, *, full: bool = False) -> PictureFormat:
    """``420``, ``422`` or ``444`` in limited or full range."""
    step_x, step_y = {"420": (2, 2), "422": (2, 1), "444": (1, 1)}[layout]
    scale = 2 ** (depth - 8)
    black, white = (0.0, 2.0**depth - 1.0) if full else (16.0 * scale, 235.0 * scale)
    chroma = PlaneFormat(step_x, step_y, 1, (128.0 * scale,))
    planes = (PlaneFormat(1, 1, 1, (black,)), chroma, chroma)
    dtype = "uint8" if depth == 8 else "uint16"
    return PictureFormat(width, height, f"yuv{layout}p{depth}", dtype, depth, white, True, planes)


def rgb(depth: int, width: int = 64, height: int = 36, alpha: bool = False) -> PictureFormat:
    """Interleaved RGB or RGBA, whole codes, or float where ``depth`` is 32."""
    top = 1.0 if depth == 32 else float(2**depth - 1)
    black = (0.0, 0.0, 0.0, top) if alpha else (0.0, 0.0, 0.0)
    dtype = {8: "uint8", 16: "uint16", 32: "float32"}[depth]
    plane = PlaneFormat(1, 1, len(black), black)
    return PictureFormat(width, height, f"rgb-{depth}bit", dtype, depth, top, False, (plane,))


def many_channels(width: int = 64, height: int = 36) -> PictureFormat:
    """Colour in half floats, and beside it depth in float and numbers of objects in whole ones."""
    planes = (
        PlaneFormat(1, 1, 3, (0.0, 0.0, 0.0)),
        PlaneFormat(1, 1, 1, (0.0,), "float32", is_colour=False),
        PlaneFormat(1, 1, 1, (0.0,), "uint32", is_colour=False),
    )
    return PictureFormat(width, height, "rgb-half", "float16", 16, 1.0, False, planes, is_linear=True)


FORMATS = {
    **{f"yuv{layout}-{depth}": yuv(layout, depth) for layout in ("420", "422", "444") for depth in (8, 10, 16)},
    "rgb-8": rgb(8),
    "rgb-16": rgb(16),
    "rgba-16": rgb(16, alpha=True),
    "rgb-float": rgb(32),
    "full-420-8": yuv("420", 8, full=True),
    "full-422-12": yuv("422", 12, full=True),
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
        dtype = np.dtype(fmt.dtype_of(plane))
        if dtype.kind == "f":
            values = rng.uniform(-0.5, 1.5, shape).astype(dtype)
        else:
            values = rng.integers(0, 2**fmt.bit_depth, shape).astype(dtype)
        values[values == np.array(plane.black).astype(dtype)] += np.array(1, dtype)
        values.setflags(write=False)
        made.append(values)
    return tuple(made)


def clip_of(fmt: PictureFormat, spare_px: int = 0) -> ClipInfo:
    return ClipInfo("wind", fmt.width, fmt.height, Fraction(24), fmt.step_px, spare_px=spare_px)


def covered_shares(fmt: PictureFormat, line_px: tuple[float, float]) -> npt.NDArray[np.float64]:
    """Share of each luma pixel to the left of a straight edge, (height, width), by its definition (computed).

    How much of a pixel's column is covered is a broken line along the pixel's height: constant, rising by one, constant
    again. So trapezia between its corners give its area exactly.
    """
    slope = (line_px[1] - line_px[0]) / fmt.height
    shares = np.zeros((fmt.height, fmt.width))
    for row, column in np.ndindex(shares.shape):
        corners = [float(row), row + 1.0]
        if slope:
            at = ((column + inside - line_px[0]) / slope for inside in (0.0, 1.0))
            corners += [y for y in at if row < y < row + 1.0]
        corners.sort()
        widths = [min(max(line_px[0] + slope * y - column, 0.0), 1.0) for y in corners]
        shares[row, column] = sum(
            (b - a) * (u + v) / 2.0 for a, b, u, v in zip(corners, corners[1:], widths, widths[1:])
        )
    return shares


def largest_in(shares: npt.NDArray[np.float64], step_x: int, step_y: int) -> npt.NDArray[np.float64]:
    """Largest of the luma pixels under each sample of a plane."""
    height, width = shares.shape
    return np.array(
        [
            [shares[y : y + step_y, x : x + step_x].max() for x in range(0, width, step_x)]
            for y in range(0, height, step_y)
        ]
    )


def faded(
    fmt: PictureFormat, index: int, source: npt.NDArray[np.generic], shares: npt.NDArray[np.float64]
) -> npt.NDArray[np.float64]:
    """A plane under (rows, columns) shares by the definition, unrounded."""
    black = np.array(fmt.planes[index].black)
    black = black[0] if source.ndim == 2 else black
    shares = shares if source.ndim == 2 else shares[:, :, None]
    return np.asarray(black + (1.0 - shares) * (source.astype(np.float64) - black))
