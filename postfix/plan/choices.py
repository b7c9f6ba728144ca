"""The held HITs that are open to one shot, what each costs on its own, and the depth that it then shows at its cuts."""

from __future__ import annotations

from fractions import Fraction

import numpy as np

from postfix.limits import Limits
from postfix.measure.table import ClipInfo
from postfix.plan.chain import Choices
from postfix.plan.figures import LIMIT_TOLERANCE_PCT, Figures
from postfix.plan.geometry import Array, Drawing, Mask
from postfix.plan.robust import ShotArrays, middles
from postfix.plan.settings import HIT_MAX_PCT, ConvergenceSettings, PlanSettings
from postfix.plan.together import Together
from postfix.plan.windows import window_cost_curve

FAR_MARGIN_PCT = 0.05
"""Kept free of the far limit where there is room: the measurement's own error. Project default."""

NEAR_MARGIN_PCT = 0.05
"""The same for the near limit. Project default."""

MARGINS_PCT = (
    (FAR_MARGIN_PCT, NEAR_MARGIN_PCT),
    (FAR_MARGIN_PCT, 0.0),
    (0.0, 0.0),
    (0.0, -LIMIT_TOLERANCE_PCT),
    (-LIMIT_TOLERANCE_PCT, -LIMIT_TOLERANCE_PCT),
)
"""Room asked for at the far and at the near limit, first choice first."""

_LAST_DIGIT_PCT = 0.00005
"""Half of the last digit of near and far in a measurement file."""

CUT_DEPTH_S = 0.5
"""Seconds at each end of a shot whose median depth stands for what the eyes meet at the cut. Project default."""


def within_limits(figures: Figures, limits: Limits) -> bool:
    """True where near and far are both inside their limits, to the last digit that a measurement file holds."""
    return figures.near_pct >= limits.near_pct - _LAST_DIGIT_PCT and figures.far_pct <= limits.far_pct + _LAST_DIGIT_PCT


def lost_pct(hit_pct: Array, drawing: Drawing, clip: ClipInfo) -> Array:
    """Picture that a HIT takes away without any window, percent of one eye's picture, both eyes together.

    ``hide``: the columns laid bare; ``crop``: as many again in the other eye; ``zoom``, and aligning: what the enlarged
    picture pushes out of the frame.
    """
    zoom = drawing.zooms(hit_pct, clip)
    pushed_out = np.asarray(200.0 * (1.0 - 1.0 / zoom**2))
    if drawing.fill == "zoom":
        return pushed_out
    bare = np.maximum(np.abs(hit_pct) - 200.0 * clip.spare_px / clip.width_px, 0.0)
    return pushed_out + bare * (2.0 if drawing.fill == "crop" else 1.0)


def cut_depths_pct(median: Array, shots: Together, rate: Fraction) -> Array:
    """Median parallax over the first and over the last half second of each shot.

    Parameters
    ----------
    median : (n,) float64
        Of each frame of the shots, percent of width.
    shots : Together
    rate : Fraction
        Frames a second.

    Returns
    -------
    (shots, 2) float64
        NaN where nothing was measured there.
    """
    first, last, beyond = shots.at_ends(max(1, round(CUT_DEPTH_S * float(rate))))
    return np.stack([middles(np.where(beyond, np.nan, median[rows])) for rows in (first, last)], axis=1)


def fits(near: Array, far: Array, limits: Limits, far_margin: float, near_margin: float) -> Mask:
    """Whether near and far keep so much room to their limits.

    Written like the test for flags, so that what is taken for within tolerance is not flagged afterwards.
    """
    return np.asarray((far - limits.far_pct <= -far_margin) & (limits.near_pct - near <= -near_margin))


def open_hits_pct(
    figures: Figures, limits: Limits, candidates_pct: Array, drawing: Drawing, clip: ClipInfo
) -> tuple[Array, bool]:
    """Which of the candidates a shot may have, and whether they keep the limits.

    A margin for the measurement's error is kept at both limits where there is room, else at the far one, else at
    neither; no move at all is open too where the shot is inside as it was shot. Where no candidate fits, those count
    that are beyond near, or else beyond either limit, by less than is flagged. Where there is none of these, one is
    left: far goes first, because eyes that must turn apart are the worse harm, and near stays outside by as little as
    that allows. Nothing measured: no move.

    Parameters
    ----------
    candidates_pct : (k,) float64
        Rising, with 0 among them.
    """
    if not (np.isfinite(figures.near_pct) and np.isfinite(figures.far_pct)):
        return np.zeros(1), True
    zoom = drawing.stretches(candidates_pct, clip)
    near, far = zoom * figures.near_pct + candidates_pct, zoom * figures.far_pct + candidates_pct
    as_shot = (candidates_pct == 0.0) & within_limits(figures, limits)
    for margins in MARGINS_PCT:
        fitting = fits(near, far, limits, *margins)
        if fitting.any():
            return candidates_pct[fitting | as_shot], True
    far_fits = far <= limits.far_pct
    index = int(np.argmax(np.where(far_fits, near, -np.inf))) if far_fits.any() else int(np.argmin(far))
    return candidates_pct[index : index + 1], False


def candidate_hits_pct(figures: Figures, limits: Limits, clip: ClipInfo, drawing: Drawing) -> Array:
    """Every whole step that could be open to a shot, rising, 0 among them: (k,)."""
    enlarges = drawing.fill == "zoom" or drawing.misalignment is not None
    step_pct = clip.step_pct
    most_steps = int(HIT_MAX_PCT / 100.0 * clip.width_px) // clip.step_px
    ends = [0.0]
    if np.isfinite(figures.near_pct) and np.isfinite(figures.far_pct):
        # What the limits ask for, and as much again as a zoom can change.
        for wanted in (limits.near_pct - figures.near_pct, limits.far_pct - figures.far_pct):
            ends += [wanted, wanted * 1.5] if enlarges else [wanted]
    low, high = int(np.floor(min(ends) / step_pct)) - 2, int(np.ceil(max(ends) / step_pct)) + 2
    steps = np.arange(max(low, -most_steps), min(high, most_steps) + 1)
    return np.asarray(steps * clip.step_px * (100.0 / clip.width_px))


def costs_alone(
    hit_pct: Array, arrays: ShotArrays, clip: ClipInfo, drawing: Drawing, settings: PlanSettings
) -> tuple[Array, Array, Array]:
    """Cost of each HIT on its own, before any cut is looked at: for the move, for picture lost, for needing a window.

    All (k,), already weighted.
    """
    weights: ConvergenceSettings = settings.convergence
    hidden, needed = window_cost_curve(arrays, clip, settings.window, hit_pct * clip.width_px / 100.0, drawing)
    move = weights.change_weight * np.abs(hit_pct)
    lost = weights.loss_weight * (lost_pct(hit_pct, drawing, clip) + hidden)
    return move, lost, np.asarray(weights.window_weight * needed, dtype=np.float64)


def choices_of(
    hit_pct: Array,
    arrays: ShotArrays,
    depths_pct: tuple[float, float],
    clip: ClipInfo,
    drawing: Drawing,
    settings: PlanSettings,
) -> Choices:
    """What :mod:`postfix.plan.chain` must know of a shot that may have any of these held HITs."""
    zoom = drawing.stretches(hit_pct, clip)
    cost = np.sum(costs_alone(hit_pct, arrays, clip, drawing, settings), axis=0)
    entry, leave = (zoom * depth + hit_pct for depth in depths_pct)
    return Choices(hit_pct, cost, entry, leave)


def least_windowless(
    hit_pct: Array, arrays: ShotArrays, clip: ClipInfo, drawing: Drawing, settings: PlanSettings
) -> float | None:
    """The smallest of these HITs with which no window is needed; None where there is none."""
    _, needed = window_cost_curve(arrays, clip, settings.window, hit_pct * clip.width_px / 100.0, drawing)
    free = hit_pct[~needed]
    return float(free[np.argmin(np.abs(free))]) if free.size else None
