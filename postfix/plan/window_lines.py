"""One straight line for each frame, from the top of a side edge to its bottom, that covers what every row needs."""

from __future__ import annotations

import numpy as np

from postfix.plan.geometry import Array

_CHUNK_FRAMES = 2048  # 2048 × 13 × 14 pairs of heights are 3 MB


def fit_lines(heights: Array, points_px: Array, cap_px: float | Array) -> Array:
    """The straight line of least area, from top to bottom, that covers the need at every height.

    Parameters
    ----------
    heights : (m,)
        Rising from exactly 0 at the top to 1 at the bottom.
    points_px : (n, m)
        Need at each height, 0 or more.
    cap_px : float or (n,)
        Neither end is made wider than this; at least the need at the ends.

    Returns
    -------
    (n, 2) float64
        Width at the top and at the bottom.

    Notes
    -----
    The area is the line's height at the middle. The least such line rests on the upper hull of the points where that
    passes the middle. Where the hull has a corner there, any slope between its two sides has the same area and the
    one nearest to upright is taken.
    """
    above, below = np.searchsorted(heights, [0.5 - 1e-9, 0.5 + 1e-9])
    upper, lower = heights[:above], heights[below:]
    middle = points_px[:, above:below].max(axis=1, initial=0.0)
    share = (0.5 - upper)[:, None] / (lower - upper[:, None])
    for start in range(0, len(points_px), _CHUNK_FRAMES):
        part = points_px[start : start + _CHUNK_FRAMES]
        between = part[:, :above, None] * (1.0 - share)
        between += part[:, None, below:] * share
        highest = between.reshape(len(part), -1).max(axis=1)
        np.maximum(middle[start : start + len(part)], highest, out=middle[start : start + len(part)])
    most_slope = np.min((middle[:, None] - points_px[:, :above]) / (0.5 - upper), axis=1)
    least_slope = np.max((points_px[:, below:] - middle[:, None]) / (lower - 0.5), axis=1)
    slope = np.clip(0.0, least_slope, np.maximum(most_slope, least_slope))
    top, bottom = np.maximum(middle - slope / 2.0, 0.0), np.maximum(middle + slope / 2.0, 0.0)
    caps = np.broadcast_to(np.asarray(cap_px, dtype=np.float64), (len(points_px),))
    top, bottom = _capped(heights, points_px, top, bottom, caps)
    bottom, top = _capped(1.0 - heights[::-1], points_px[:, ::-1], bottom, top, caps)
    return np.stack([top, bottom], axis=1)


def _capped(heights: Array, points_px: Array, top: Array, bottom: Array, caps_px: Array) -> tuple[Array, Array]:
    """Where the bottom is wider than allowed, hold it there and let the top take what is then missing."""
    over = bottom > caps_px
    if not over.any():
        return top, bottom
    held_top = np.clip(np.maximum(top, top_needed(heights, points_px, caps_px)), 0.0, caps_px)
    return np.where(over, held_top, top), np.where(over, caps_px, bottom)


def top_needed(heights: Array, points_px: Array, bottom_px: Array) -> Array:
    """How wide the top must be, (n,), so that the line to a bottom of (n,) ``bottom_px`` covers the points (n, m)
    above it."""
    inner = heights < 1.0 - 1e-9
    missing = (points_px[:, inner] - bottom_px[:, None] * heights[inner]) / (1.0 - heights[inner])
    return np.asarray(np.maximum(missing.max(axis=1), 0.0))
