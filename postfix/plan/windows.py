"""Floating windows: how much to hide at each side edge, top and bottom, over the frames of a shot."""

from __future__ import annotations

import math
from fractions import Fraction

import numpy as np

from postfix.measure.table import ClipInfo
from postfix.plan.figures import EDGE_TOLERANCE_PCT, EdgeState, edge_state
from postfix.plan.geometry import SIDES, Array, Moves, bare_px, window_need_px
from postfix.plan.model import WindowKey
from postfix.plan.robust import ShotArrays

WINDOW_MARGIN_PCT = 0.1
"""Hidden beyond the need, percent of width: part of what the measurement of edges can be off by. Project default."""

WINDOW_MAX_PCT = 6.0
"""Widest window, percent of width; what would need more stays flagged. Project default, no source."""

WINDOW_EASE_FRAMES = 8
"""Frames at 24 frames/s by which a window comes before it is needed, and goes after. Project default, no source."""

TILT_OVERHANGS = (1.0, 1.25, 1.5)
"""How many times as wide as the widest need an end of the window may be, where tilting hides less. Project default."""

TILT_SAVING = 0.1
"""Share of an upright window's area over the shot that a tilted one must save to be taken, and that each wider one must
save once more. Project default."""

KEY_TOLERANCE_PX = 1.0
"""What a window may be wider than its eased curve so that a plan holds few keys."""

_KEY_STEP_PX = 0.01  # keys are rounded up to this, so that a plan can be read
_CURVE_DECIMALS = 6  # widths and areas are compared as rounded, so that every machine makes the same choice
_AREA_DECIMALS = 3


def fit_lines(rows: Array, need_px: Array, cap_px: float | Array) -> Array:
    """The straight line of least area, from top to bottom, that covers the need of every band.

    Parameters
    ----------
    rows : (bands + 1,)
        Heights of the bands' borders, 0 at the top and 1 at the bottom.
    need_px : (n, bands, 2)
        Need at the upper and the lower border of each band; NaN where there is none.
    cap_px : float or (n,)
        Neither end is made wider than this.

    Returns
    -------
    (n, 2) float64
        Width at the top and at the bottom.

    Notes
    -----
    The area is the line's height at the middle, and the ends may not be negative: the least such line rests on the
    upper hull of the points and (0, 0), (1, 0) where that passes the middle. Where the hull has a corner there, any
    slope between its two sides has the same area and the middle one is taken.
    """
    count = len(need_px)
    heights = np.concatenate([[0.0, 1.0], rows[:-1], rows[1:]])
    points = np.nan_to_num(need_px, nan=0.0)
    points = np.concatenate([np.zeros((count, 2)), points[:, :, 0], points[:, :, 1]], axis=1)
    upper, lower = heights < 0.5 - 1e-9, heights > 0.5 + 1e-9
    middle = np.max(points[:, ~upper & ~lower], axis=1, initial=0.0)
    right_heights, right_points = heights[lower], points[:, lower]
    for height, point in zip(heights[upper], points[:, upper].T):
        share = (0.5 - height) / (right_heights - height)
        middle = np.maximum(middle, np.max(point[:, None] * (1.0 - share) + right_points * share, axis=1))
    most_slope = np.min((middle[:, None] - points[:, upper]) / (0.5 - heights[upper]), axis=1)
    least_slope = np.max((right_points - middle[:, None]) / (right_heights - 0.5), axis=1)
    slope = (most_slope + least_slope) / 2.0
    top, bottom = np.maximum(middle - slope / 2.0, 0.0), np.maximum(middle + slope / 2.0, 0.0)
    caps = np.broadcast_to(np.asarray(cap_px, dtype=np.float64), (count,))
    top, bottom = _capped(heights, points, top, bottom, caps)
    bottom, top = _capped(1.0 - heights, points, bottom, top, caps)
    return np.stack([top, bottom], axis=1)


def _capped(heights: Array, points: Array, top: Array, bottom: Array, caps_px: Array) -> tuple[Array, Array]:
    """Where the bottom is wider than allowed, hold it there and let the top take what is then missing."""
    inner = heights < 1.0 - 1e-9
    missing = np.max((points[:, inner] - caps_px[:, None] * heights[inner]) / (1.0 - heights[inner]), axis=1)
    over = bottom > caps_px
    held_top = np.clip(np.maximum(top, missing), 0.0, caps_px)
    return np.where(over, held_top, top), np.where(over, caps_px, bottom)


def eased(curve: Array, radius: int) -> Array:
    """A smooth curve never below ``curve`` (n, k): the most over ±radius frames, then the mean over ±radius frames.

    The ends are held, so a window may be up from the first frame of a shot to its last.
    """
    size = 2 * radius + 1

    def spread(values: Array) -> Array:
        padded = np.pad(values, ((radius, radius), (0, 0)), mode="edge")
        return np.asarray(np.lib.stride_tricks.sliding_window_view(padded, size, axis=0))

    return np.asarray(spread(spread(curve).max(axis=-1)).mean(axis=-1))


def upper_envelope(curve: Array, ceiling: Array) -> list[tuple[int, Array]]:
    """Few keys whose straight connections stay between ``curve`` and ``ceiling``, both (n, k), at every frame.

    From each key the straight line is carried as far as the tunnel between the two allows; the next key lies there.
    """
    count = len(curve)
    held = curve.max(axis=0)
    if np.all(held <= ceiling.min(axis=0)):
        return [(0, held)]
    target = (curve + ceiling) / 2.0
    frame, value = 0, target[0]
    keys = [(frame, value)]
    while frame < count - 1:
        reach, least, most = _line_of_sight(curve, ceiling, frame, value)
        slope = np.clip((target[frame + reach] - value) / reach, least, most)
        frame += reach
        value = np.clip(value + slope * reach, curve[frame], ceiling[frame])
        keys.append((frame, value))
    return keys


def _line_of_sight(curve: Array, ceiling: Array, frame: int, value: Array) -> tuple[int, Array, Array]:
    """Frames that one straight line from a key can cover inside the tunnel, and the slopes it may have."""
    count, size = len(curve), 64
    while True:
        end = min(count, frame + 1 + size)
        steps = np.arange(1, end - frame, dtype=np.float64)[:, None]
        least = np.maximum.accumulate((curve[frame + 1 : end] - value) / steps, axis=0)
        most = np.minimum.accumulate((ceiling[frame + 1 : end] - value) / steps, axis=0)
        seen = int(np.all(least <= most + 1e-12, axis=1).sum())
        if seen < len(steps) or end == count:
            reach = max(seen, 1)
            return reach, np.minimum(least[reach - 1], most[reach - 1]), most[reach - 1]
        size *= 4


def _needed(state: EdgeState, clip: ClipInfo) -> Array:
    """Need at both borders of each band, (n, bands, 2), where content is too far in front of the edge."""
    margin = WINDOW_MARGIN_PCT * clip.width_px / 100.0
    tolerance = EDGE_TOLERANCE_PCT * clip.width_px / 100.0
    opposite = np.stack([state.opposite_px[:, :-1], state.opposite_px[:, 1:]], axis=2)
    need = window_need_px(opposite, state.content_px[:, :, None]) + margin
    return np.where((state.excess_px() > tolerance)[:, :, None], need, np.nan)


def ease_radius(rate: Fraction) -> int:
    """:data:`WINDOW_EASE_FRAMES` at another frame rate; at least 1."""
    return max(1, round(WINDOW_EASE_FRAMES * rate / 24))


def windows_for(arrays: ShotArrays, moves: Moves, clip: ClipInfo, first: int) -> tuple[WindowKey, ...]:
    """Window keys of a shot that begins at frame ``first``, after its moves; empty where no window is needed.

    A side that gets a window is hidden at least as far as the move lays its own eye bare, at the top and at the bottom,
    so that the edge is one straight line: bare columns are upright, and a narrower end would leave a kink.
    """
    cap_px = WINDOW_MAX_PCT * clip.width_px / 100.0
    radius = ease_radius(clip.rate)
    curves = []
    for eye, side in enumerate(SIDES):
        state, bare = edge_state(arrays, side, moves, clip, None), bare_px(moves, side, clip.width_px)[eye]
        curves.append(_side_curve(state, clip, cap_px, radius, bare))
    curve = np.concatenate(curves, axis=1)
    if not curve.any():
        return ()
    # Where nothing is hidden nothing may be: the tolerance would paint a stray column there.
    ceiling = np.where(curve > 0.0, np.maximum(np.minimum(curve + KEY_TOLERANCE_PX, cap_px), curve), 0.0)
    keys = []
    for frame, value in upper_envelope(curve, ceiling):
        left_top, left_bottom, right_top, right_bottom = (_rounded_up(float(px)) for px in value)
        keys.append(WindowKey(first + frame, (left_top, left_bottom), (right_top, right_bottom)))
    return tuple(keys)


def _side_curve(state: EdgeState, clip: ClipInfo, cap_px: float, radius: int, bare: Array) -> Array:
    """Eased width of one side's window at its top and bottom, (n, 2), never below the (n,) columns ``bare`` there.

    In each frame a tilted line may hide less than an upright one, but when the content moves the tilt changes and the
    easing keeps the most of both ends. So every kind is eased, and tilted only where that hides clearly less over the
    shot: a tilt draws the eye, and its wider end cuts deeper.
    """
    need = _needed(state, clip)
    if np.isnan(need).all():
        return np.zeros((len(need), 2))
    beyond = np.nan_to_num(np.maximum(need - bare[:, None, None], 0.0), nan=0.0)
    widest = beyond.max(axis=(1, 2))
    room = np.maximum(cap_px - bare, 0.0)

    def smooth(lines: Array) -> Array:
        return np.round(eased(lines + bare[:, None], radius), _CURVE_DECIMALS)

    def area(curve: Array) -> float:
        return round(float(curve.sum()), _AREA_DECIMALS)

    chosen = smooth(np.repeat(np.minimum(widest, room)[:, None], 2, axis=1))
    worth_px = TILT_SAVING * area(chosen)
    for overhang in TILT_OVERHANGS:
        # No end may be more than so many times the need, counted from the frame's edge as the need is.
        cap = np.minimum(overhang * (widest + bare) - bare, room)
        tilted = smooth(fit_lines(state.rows, beyond, cap))
        if round(area(chosen) - area(tilted) - worth_px, _AREA_DECIMALS) >= 0.0:
            chosen = tilted
    return chosen


def _rounded_up(px: float) -> float:
    return round(math.ceil(px / _KEY_STEP_PX - 1e-6) * _KEY_STEP_PX, 2) if px > 0.0 else 0.0
