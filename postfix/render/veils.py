"""Windows with a soft edge, and windows that let the picture through.

A sample under such a window becomes ``black + (1 − a)·(sample − black)`` in the plane's own codes, with ``a`` how much
of it is hidden. In the window's width ``a`` is its opacity; from there a soft edge falls to 0 along ``3x² − 2x³``
towards the picture, row by row, so that it follows a slanted window.

The soft edge is no wider than the window itself is beyond what the move laid bare: a window that grows from nothing
brings its soft edge with it, and where a tilted one ends in a point so does its soft edge.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from postfix.plan.geometry import Side
from postfix.plan.model import ShotPlan
from postfix.render.planes import Counts, black_of, hidden_groups, row_counts, row_widths
from postfix.source.picture import PictureFormat, Plane, PlaneFormat, Planes

Weights = npt.NDArray[np.float64]


def is_veil(shot: ShotPlan) -> bool:
    """True where a shot's windows are not plain black with a hard edge."""
    return shot.window_soft_px > 0.0 or shot.window_opacity_pct < 100.0


def window_weights(
    fmt: PictureFormat, side: Side, line_px: tuple[float, float], bare_px: float, soft_px: float, opacity: float
) -> tuple[int, Weights]:
    """How much a window hides of the outermost luma pixels of one side.

    Parameters
    ----------
    fmt : PictureFormat
    side : "left" or "right"
    line_px : (top, bottom)
        Width of the window, counted from the frame edge.
    bare_px : float
        Columns there that the move laid bare.
    soft_px : float
        Widest soft edge. With 0 the window ends between chroma samples, as an opaque one does.
    opacity : float
        0 to 1.

    Returns
    -------
    first : int
        The first column told of, a multiple of the format's step.
    weights : (height, columns) float64
        0 where nothing is hidden, 1 where all is.
    """
    widths, counts = row_widths(*line_px, fmt.height), row_counts(*line_px, fmt.height)
    if soft_px <= 0.0:
        counts = _whole_groups(fmt, side, counts)
    reach = min(fmt.width, max(int(counts.max()), int(np.ceil(widths.max() + soft_px))))
    first = 0 if side == "left" else (fmt.width - reach) // fmt.step_px * fmt.step_px
    columns = np.arange(reach) if side == "left" else np.arange(first, fmt.width)
    from_edge = columns if side == "left" else fmt.width - 1 - columns
    hidden = (from_edge < counts[:, None]).astype(np.float64)
    if soft_px > 0.0:
        ramp_px = np.clip(widths - bare_px, 0.0, soft_px)[:, None]
        into = from_edge + 0.5 - widths[:, None]
        share = np.where(into < ramp_px, np.maximum(into, 0.0) / np.maximum(ramp_px, 1e-9), 1.0)
        hidden = np.maximum(hidden, 1.0 - share * share * (3.0 - 2.0 * share))
    return first, opacity * hidden


def _whole_groups(fmt: PictureFormat, side: Side, counts: Counts) -> Counts:
    """Counts by luma row as an opaque window of that side rounds them up."""
    none = np.zeros_like(counts)
    left, right_from = hidden_groups(fmt, counts, none) if side == "left" else hidden_groups(fmt, none, counts)
    grouped = left if side == "left" else fmt.width - right_from
    return np.repeat(grouped, max(plane.step_y for plane in fmt.planes))[: fmt.height]


def veiled(planes: Planes, fmt: PictureFormat, first: int, weights: Weights, *, owned: bool) -> Planes:
    """Darken columns from ``first`` on by their (height, columns) weights.

    A subsampled sample takes the mean weight of the luma pixels it covers, so that luma and chroma fade together.
    Whole codes are rounded to the nearest, float samples are not rounded. Where the weight is 0 nothing is written,
    and where it is 1 exact black is.

    Parameters
    ----------
    owned : bool
        True where the arrays may be written in place; else they are copied first.

    Returns
    -------
    Planes
        The same arrays where nothing is hidden.
    """
    if not weights.any():
        return planes
    result = []
    for plane, info in zip(planes, fmt.planes):
        out = plane if owned else plane.copy()
        part = _over_samples(weights, info)
        start = first // info.step_x
        strip = out[:, start : start + part.shape[1]]
        strip[...] = _blended(strip, info, part if info.channels == 1 else part[:, :, None])
        result.append(out)
    return tuple(result)


def _over_samples(weights: Weights, info: PlaneFormat) -> Weights:
    """Mean weight of the luma pixels that each sample covers; at an odd size the last ones cover fewer."""
    if info.step_x == info.step_y == 1:
        return weights
    height, width = weights.shape
    whole = np.pad(weights, ((0, -height % info.step_y), (0, -width % info.step_x)), mode="edge")
    blocks = whole.reshape(whole.shape[0] // info.step_y, info.step_y, whole.shape[1] // info.step_x, info.step_x)
    return np.asarray(blocks.mean(axis=(1, 3)))


def _blended(samples: Plane, info: PlaneFormat, weights: Weights) -> Plane:
    black = black_of(info, samples.dtype)
    # Float samples may be infinite or no numbers: they stay such where the picture shows at all.
    with np.errstate(invalid="ignore"):
        values = samples.astype(np.float64)
        values = black.astype(np.float64) + (1.0 - weights) * (values - black.astype(np.float64))
    if np.issubdtype(samples.dtype, np.integer):
        np.rint(values, out=values)
    kept = np.where(weights >= 1.0, black.astype(np.float64), values).astype(samples.dtype)
    return np.asarray(np.where(weights > 0.0, kept, samples))
