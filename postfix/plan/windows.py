"""Floating windows: how much to hide at each side edge, top and bottom, over the frames of a shot.

What counts as in front of an edge is content that is so by more than
:data:`postfix.plan.figures.EDGE_TOLERANCE_PCT`, what the measurement of edges can tell; where it counts, all of it and
the margin are covered. The width at both ends keeps the limits in time that :mod:`postfix.plan.window_easing` names.
"""

from __future__ import annotations

import numpy as np

from postfix.measure.table import ClipInfo
from postfix.plan.figures import EDGE_TOLERANCE_PCT, edge_state, never_in_front
from postfix.plan.geometry import SIDES, Array, Moves, Side, bare_px, moves_of, widest_px, window_need_px
from postfix.plan.model import ShotPlan, WindowKey
from postfix.plan.robust import ShotArrays
from postfix.plan.settings import DEFAULT_WINDOWS, WindowSettings
from postfix.plan.window_brief import counted, excess_beyond_brief
from postfix.plan.window_costs import window_cost_curve
from postfix.plan.window_easing import Easing, at_most_as_fast, eased, easing_of, running_max
from postfix.plan.window_keys import keys_over
from postfix.plan.window_lines import fit_lines, top_needed

__all__ = ["excess_beyond_brief", "planned_shortfall_px", "window_cost_curve", "window_shortfall_px", "windows_for"]


TILT_OVERHANGS = (1.5, 1.25)
"""How many times as wide as the widest need of a frame an end of its window may be, where tilting hides less: the first
that saves enough is taken. Project default."""

TILT_SAVING = 0.1
"""Share of an upright window's area over the shot that a tilted one must save to be taken. Project default."""

_CURVE_DECIMALS = 6  # widths and areas are compared as rounded, so that every machine makes the same choice
_AREA_DECIMALS = 3


def windows_for(
    arrays: ShotArrays, moves: Moves, clip: ClipInfo, first: int, settings: WindowSettings = DEFAULT_WINDOWS
) -> tuple[WindowKey, ...]:
    """Window keys of a shot that begins at frame ``first``, after its moves; empty where no window is needed.

    A side that gets a window is hidden at least as far as the move lays its own eye bare, at the top and at the bottom,
    so that the edge is one straight line: bare columns are upright, and a narrower end would leave a kink.

    Parameters
    ----------
    arrays : ShotArrays
        Of the n frames of the shot.
    moves : Moves
        Of the same frames.
    clip : ClipInfo
    first : int
    settings : WindowSettings

    Returns
    -------
    tuple of WindowKey
        Linear between them; at most :data:`postfix.plan.window_keys.KEY_TOLERANCE_PX` wider than the eased curve and
        nowhere below it. Nowhere below the need, but for what is wider than ``settings.max_pct``
        (:func:`window_shortfall_px`) or brief (``settings.brief_s``).
    """
    if not settings.on:
        return ()
    needs = [_side_needs(arrays, side, moves, clip, settings) for side in SIDES]
    if all(need is None for need in needs):
        return ()
    bare = [bare_px(moves, side, clip.width_px)[eye] for eye, side in enumerate(SIDES)]
    if settings.both_sides:
        known = [need for need in needs if need is not None]
        needs = [(known[0][0], np.maximum(known[0][1], known[-1][1]))]
        bare = [np.maximum(*bare)]
    cap_px, easing = settings.max_pct * clip.width_px / 100.0, easing_of(settings, clip)
    none = np.zeros((len(arrays.measured), 2))
    curves = [
        none if need is None else _side_curve(*need, floor, cap_px, easing, tilt=settings.tilt)
        for need, floor in zip(needs, bare)
    ]
    curve = np.concatenate(curves if len(curves) == 2 else curves * 2, axis=1)
    return keys_over(curve, first, cap_px, easing.speed_px) if curve.any() else ()


def window_shortfall_px(
    arrays: ShotArrays, moves: Moves, clip: ClipInfo, settings: WindowSettings = DEFAULT_WINDOWS
) -> tuple[float, float]:
    """By how much the widest window allowed is too narrow to cover what is in front of the edge: (left, right).

    In pixels, the worst row and frame, without the margin; 0 where it covers, where nothing needs a window, or where
    the settings want none at all.
    """
    if not settings.on:
        return 0.0, 0.0
    most_px = (settings.max_pct + settings.margin_pct) * clip.width_px / 100.0
    needs = (_side_needs(arrays, side, moves, clip, settings) for side in SIDES)
    left, right = (0.0 if need is None else max(float(need[1].max()) - most_px, 0.0) for need in needs)
    return round(left, _CURVE_DECIMALS), round(right, _CURVE_DECIMALS)


def planned_shortfall_px(
    arrays: ShotArrays, shot: ShotPlan, clip: ClipInfo, settings: WindowSettings
) -> tuple[float, float]:
    """:func:`window_shortfall_px` of a shot whose window was planned with the same settings.

    A window is as wide as what it is for needs, up to the widest allowed: one that is less wide falls short of nothing.
    """
    if settings.max_pct > 0.0 and max(widest_px(shot.window)) < settings.max_pct * clip.width_px / 100.0:
        return 0.0, 0.0
    return window_shortfall_px(arrays, moves_of(shot, clip), clip, settings)


def _side_needs(
    arrays: ShotArrays, side: Side, moves: Moves, clip: ClipInfo, settings: WindowSettings
) -> tuple[Array, Array] | None:
    """What a side must hide at the bands' borders, margin included: heights (m,) from 0 to 1 and pixels (n, m), 0 where
    there is no need; None where there is none at all."""
    tolerance_px = EDGE_TOLERANCE_PCT * clip.width_px / 100.0
    if never_in_front(arrays, side, moves, clip, tolerance_px):
        return None
    state = edge_state(arrays, side, moves, clip, None)
    in_front = counted(state.excess_px(), tolerance_px, clip.rate, settings)
    if not in_front.any():
        return None
    margin = settings.margin_pct * clip.width_px / 100.0
    points = np.zeros((len(in_front), len(state.rows) + 2))
    for borders, into in ((slice(None, -1), slice(1, -2)), (slice(1, None), slice(2, -1))):
        need = window_need_px(state.opposite_px[:, borders], state.content_px) + margin
        np.maximum(points[:, into], need, out=points[:, into], where=in_front)
    return np.concatenate([[0.0], state.rows, [1.0]]), points


def _side_curve(heights: Array, points_px: Array, bare: Array, cap_px: float, easing: Easing, *, tilt: bool) -> Array:
    """Eased width of one side's window at its top and bottom, (n, 2), never below the (n,) columns ``bare`` there.

    A tilt draws the eye, and its wider end cuts deeper: it is taken only where it hides clearly less over the shot.
    """
    held = running_max(np.minimum(points_px, cap_px), easing.hold_radius, easing.hold_radius)
    held = np.maximum(held, bare[:, None])
    widest = held.max(axis=1)
    upright = np.round(eased(widest[:, None], easing), _CURVE_DECIMALS)
    upright_pair, most_px = np.repeat(upright, 2, axis=1), round((1.0 - TILT_SAVING) * _area(upright), _AREA_DECIMALS)
    if not tilt:
        return upright_pair
    for overhang in TILT_OVERHANGS:
        lines = fit_lines(heights, held, np.minimum(overhang * widest, np.maximum(cap_px, widest)))
        if _area(at_most_as_fast(lines.mean(axis=1, keepdims=True), easing.speed_px)) > most_px:  # no easing hides less
            break
        tilted = min(_tightened(heights, held, eased(lines, easing), easing), key=_area)
        if _area(tilted) <= most_px:
            return tilted
    return upright_pair


def _tightened(heights: Array, points_px: Array, lines: Array, easing: Easing) -> tuple[Array, Array]:
    """Lines over the same points that hide less, found in two ways.

    Easing made both ends wider, so each may do with less than it was fitted for: one end is eased anew over what the
    other one leaves to cover, then the other one over what that leaves; beginning with the bottom, or with the top.
    """
    turned_heights, turned = 1.0 - heights[::-1], points_px[:, ::-1]

    def over(top: Array, bottom: Array) -> Array:
        new_top, new_bottom = top_needed(heights, points_px, bottom), top_needed(turned_heights, turned, top)
        return eased(np.stack([new_top, new_bottom], axis=1), easing)

    top, bottom = over(*lines.T).T
    last_top, last_bottom = over(top, bottom).T
    first, second = np.stack([last_top, bottom], axis=1), np.stack([top, last_bottom], axis=1)
    return np.round(first, _CURVE_DECIMALS), np.round(second, _CURVE_DECIMALS)


def _area(widths: Array) -> float:
    """Pixels hidden, a row and frame, summed over the frames."""
    return round(float(widths.mean(axis=1).sum()), _AREA_DECIMALS)
