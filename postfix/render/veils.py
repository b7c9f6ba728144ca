"""What hides a picture's sides: windows with a hard or a soft edge, windows that let the picture through, and columns
that a move laid bare.

A sample under such an edge becomes ``black + (1 − a)·(sample − black)`` in the plane's own codes, with ``a`` how much
of it is hidden: the share of a luma pixel that lies behind the edge, so that an edge stands where it was planned to a
fraction of a pixel, and moves smoothly. Where ``a`` is 1 exact black is written, and where it is 0 nothing is.

A chroma sample takes the largest weight of the luma pixels that it serves: what is black in luma is neutral in chroma,
and no pixel that an edge darkens keeps more of its colour than of its light. Samples that are no colours (depth,
vectors, numbers of objects) are black where at least half is hidden; between two of them lies none.

In a window's width the weight is its opacity. From there a soft edge falls to 0 along ``3x² − 2x³`` towards the
picture, row by row, so that it follows a slanted window. It is no wider than the window itself is beyond what the move
laid bare: a window that grows from nothing brings its soft edge with it, and where a tilted one ends in a point so does
its soft edge.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
import numpy.typing as npt

from postfix.plan.geometry import SIDES, Side
from postfix.render.planes import black_of
from postfix.source.picture import PictureFormat, Plane, PlaneFormat, Planes

Weights = npt.NDArray[np.float64]

_SLACK_PX = 1e-6
"""Less than this of a pixel is arithmetic, and neither hidden nor shown."""

_KEPT_EDGES = 24
"""Edges whose weights are kept: windows mostly stand for many frames, in both eyes and for several screens."""


@dataclass(frozen=True)
class SideEdge:
    """What hides one side of one eye.

    Attributes
    ----------
    line_px : (top, bottom)
        Width of the window at the top and at the bottom of the frame, counted from the frame's edge.
    bare_px : float
        Columns there that have no picture: black whatever the window lets through.
    soft_px : float
        Widest soft edge.
    opacity : float
        0 to 1.
    """

    line_px: tuple[float, float] = (0.0, 0.0)
    bare_px: float = 0.0
    soft_px: float = 0.0
    opacity: float = 1.0


def covered(top_px: float, bottom_px: float, columns: npt.ArrayLike, height: int) -> Weights:
    """Share of each pixel that lies within a straight edge, exact for any slope.

    Parameters
    ----------
    top_px, bottom_px : float
        Where the edge lies at the top and at the bottom of the frame, counted from the frame's side.
    columns : (n,)
        Counted from that side.
    height : int

    Returns
    -------
    (height, n) float64, or (1, n) where the edge is upright
    """
    at = np.asarray(columns, np.float64)[None, :]
    slope = (bottom_px - top_px) / height
    if abs(slope) < _SLACK_PX / height:
        return np.asarray(np.clip(0.5 * (top_px + bottom_px) - at, 0.0, 1.0))
    ends = (top_px + slope * np.arange(height + 1))[:, None] - at
    # Integral of how much of a row is covered, from column to column 0 until 1: x²/2, then x − 1/2.
    within = np.clip(ends, 0.0, 1.0)
    integral = 0.5 * within * within + np.maximum(ends - 1.0, 0.0)
    return np.asarray(np.diff(integral, axis=0) / slope)


def _faded(edge: SideEdge, columns: npt.NDArray[np.int64], height: int) -> Weights:
    """Share of each pixel hidden by a window with a soft edge, the edge in every row taken as upright; (height, n)."""
    widths = edge.line_px[0] + (edge.line_px[1] - edge.line_px[0]) * (np.arange(height) + 0.5) / height
    ramp = np.clip(widths - edge.bare_px, 0.0, edge.soft_px)[:, None]
    borders = np.append(columns, columns[-1:] + 1).astype(np.float64) - widths[:, None]
    x = np.clip(borders / np.maximum(ramp, _SLACK_PX), 0.0, 1.0)
    # Integral, from the line on, of 1 − 3x² + 2x³ over the soft edge, of 1 before it and of 0 behind it.
    integral = np.minimum(borders, 0.0) + ramp * (x - x * x * x * (1.0 - 0.5 * x))
    return np.asarray(np.diff(integral, axis=1))


def edge_weights(edge: SideEdge, width: int, height: int) -> tuple[int, Weights]:
    """How much an edge hides of each luma pixel.

    Returns
    -------
    whole : int
        Columns from the side that are wholly hidden in every row.
    weights : (height, n) or (1, n) float64
        Of the ``n`` columns after those, counted from the side as well; what lies further in is not hidden.
    """
    solid_px = max(edge.bare_px, min(edge.line_px)) if edge.opacity >= 1.0 else edge.bare_px
    line_px = max(edge.line_px) if edge.opacity > 0.0 else 0.0
    # No soft edge is wider than its window is beyond what is bare.
    soft_px = min(edge.soft_px, max(0.0, line_px - edge.bare_px))
    whole = min(width, int(np.floor(max(solid_px, 0.0) + _SLACK_PX)))
    reach = min(width, int(np.ceil(max(edge.bare_px, line_px + soft_px) - _SLACK_PX)))
    columns = np.arange(whole, max(reach, whole))
    hidden = _faded(edge, columns, height) if soft_px > 0.0 else covered(*edge.line_px, columns, height)
    weights = np.maximum(edge.opacity * hidden, np.clip(edge.bare_px - columns, 0.0, 1.0))
    weights[weights < _SLACK_PX] = 0.0
    weights[weights > 1.0 - _SLACK_PX] = 1.0
    return whole, weights


@dataclass(frozen=True)
class _Part:
    """An edge as one plane sees it, in its samples.

    Attributes
    ----------
    whole : slice
        Columns that are black in every row.
    strip : slice
        Columns of which some samples are hidden.
    black : (rows, n) bool or None
        Samples of the strip that are wholly hidden; None where none is.
    at : (rows, columns) or None
        Of the samples of the strip that are hidden in part; None where each of ``weights`` is for a whole column.
    weights : (samples,) or (1, n) float64
    """

    whole: slice
    strip: slice
    black: npt.NDArray[np.bool_] | None
    at: tuple[npt.NDArray[np.intp], ...] | None
    weights: Weights


@lru_cache(maxsize=_KEPT_EDGES)
def _parts(
    edge: SideEdge, side: Side, width: int, height: int, steps: tuple[tuple[int, int], ...]
) -> tuple[_Part, ...]:
    """The edge for planes of each of the steps."""
    whole, weights = edge_weights(edge, width, height)
    return tuple(_part(whole, weights, side, width, step_x, step_y) for step_x, step_y in steps)


def _part(whole: int, weights: Weights, side: Side, width: int, step_x: int, step_y: int) -> _Part:
    samples = -(-width // step_x)
    reach = whole + weights.shape[1]
    if side == "left":
        # A sample that serves one wholly hidden pixel is wholly hidden.
        begin, end = -(-whole // step_x), -(-reach // step_x)
        blacked, shown = slice(0, begin), weights[:, begin * step_x - whole :]
        shown = np.pad(shown, ((0, 0), (0, (end - begin) * step_x - shown.shape[1])))
    else:
        first, after = width - reach, width - whole
        begin = first // step_x
        end = after // step_x if whole else samples
        blacked = slice(end, samples)
        before = first - begin * step_x
        shown = np.pad(weights[:, ::-1], ((0, 0), (before, step_x)))[:, : (end - begin) * step_x]
    largest = _largest(shown, step_x, step_y)
    strip = slice(begin, end)
    if largest.shape[0] == 1:
        return _Part(blacked, strip, None, None, largest)
    black = largest >= 1.0
    at = np.nonzero((largest > 0.0) & ~black)
    return _Part(blacked, strip, black if black.any() else None, at, largest[at])


def _largest(weights: Weights, step_x: int, step_y: int) -> Weights:
    """Largest weight of the luma pixels that each sample serves; at an odd height the last one serves fewer rows."""
    if step_x > 1:
        weights = np.maximum.reduce([weights[:, offset::step_x] for offset in range(step_x)])
    if step_y > 1 and weights.shape[0] > 1:
        weights = np.maximum.reduceat(weights, np.arange(0, weights.shape[0], step_y), axis=0)
    return weights


def hidden(planes: Planes, fmt: PictureFormat, left: SideEdge, right: SideEdge, *, owned: bool) -> Planes:
    """Planes of one eye with what hides their sides laid over them.

    Only the columns that an edge touches are worked on; those that it hides in every row are filled with black.

    Parameters
    ----------
    planes : Planes
    fmt : PictureFormat
        Of ``planes``.
    left, right : SideEdge
    owned : bool
        True where the arrays may be written in place; else they are copied first.

    Returns
    -------
    Planes
        The same arrays where nothing is hidden.
    """
    steps = tuple((plane.step_x, plane.step_y) for plane in fmt.planes)
    sides = [
        _parts(edge, side, fmt.width, fmt.height, steps)
        for edge, side in zip((left, right), SIDES)
        if max(edge.line_px) * edge.opacity > _SLACK_PX or edge.bare_px > _SLACK_PX
    ]
    if not sides:
        return planes
    result = []
    for plane, info, parts in zip(planes, fmt.planes, zip(*sides)):
        out = plane if owned else plane.copy()
        _lay_over(out, info, parts)
        result.append(out)
    return tuple(result)


def _lay_over(plane: Plane, info: PlaneFormat, parts: Iterable[_Part]) -> None:
    black = black_of(info, plane.dtype)
    for part in parts:
        strip = plane[:, part.strip]
        if strip.size:
            if part.black is not None:
                strip[part.black] = black
            at = (slice(None), slice(None)) if part.at is None else part.at
            weights = part.weights if info.channels == 1 else part.weights[..., None]
            strip[at] = _darkened(strip[at], info, black, weights)
        plane[:, part.whole] = black


def _darkened(samples: Plane, info: PlaneFormat, black: Plane, weights: Weights) -> Plane:
    """Samples under weights; whole codes rounded to the nearest, float samples not rounded."""
    if not info.is_colour:
        return np.asarray(np.where(weights >= 0.5, black, samples))
    level = black.astype(np.float64)
    # Float samples may be infinite or no numbers: they stay such where the picture shows at all.
    with np.errstate(invalid="ignore", over="ignore"):
        values = level + (1.0 - weights) * (samples.astype(np.float64) - level)
        if np.issubdtype(samples.dtype, np.integer):
            np.rint(values, out=values)
        darkened = values.astype(samples.dtype)
    if _is_partial(weights):
        return darkened
    return np.asarray(np.where(weights <= 0.0, samples, np.where(weights >= 1.0, black, darkened)))


def _is_partial(weights: Weights) -> bool:
    """True where no weight is 0 or 1."""
    return bool(weights.size == 0 or (weights.min() > 0.0 and weights.max() < 1.0))
