"""One held HIT for a shot: the smallest move that brings it inside a screen's limits, and none where none is needed."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from postfix.limits import Limits
from postfix.measure.table import ClipInfo
from postfix.plan.figures import LIMIT_TOLERANCE_PCT, Figures
from postfix.plan.geometry import covering_zoom
from postfix.plan.settings import Fill

FAR_MARGIN_PCT = 0.05
"""Kept free of the far limit where there is room: the measurement's own error. Project default."""

NEAR_MARGIN_PCT = 0.05
"""The same for the near limit. Project default."""

_MARGINS_PCT = (
    (FAR_MARGIN_PCT, NEAR_MARGIN_PCT),
    (FAR_MARGIN_PCT, 0.0),
    (0.0, 0.0),
    (0.0, -LIMIT_TOLERANCE_PCT),
    (-LIMIT_TOLERANCE_PCT, -LIMIT_TOLERANCE_PCT),
)
"""Room asked for at the far and at the near limit, first choice first."""

HIT_MAX_PCT = 50.0
"""Largest HIT considered or accepted in a plan, percent of width."""


@dataclass(frozen=True)
class Convergence:
    """The HIT chosen for a shot.

    Attributes
    ----------
    total_px : int
        A multiple of the clip's step.
    pct : float
        The same in percent of width.
    zoom : float
        1 unless the fill is ``zoom``.
    """

    total_px: int
    pct: float
    zoom: float


def _unmoved() -> Convergence:
    return Convergence(0, 0.0, 1.0)


def within_limits(figures: Figures, limits: Limits) -> bool:
    """True where near and far are both inside their limits as measured, without any tolerance."""
    return figures.near_pct >= limits.near_pct and figures.far_pct <= limits.far_pct


def choose_hit(figures: Figures, limits: Limits, clip: ClipInfo, fill: Fill) -> Convergence:
    """The smallest whole-step move that brings a shot inside its limits.

    A margin for the measurement's error is kept at both limits where there is room, else at the far one, else at
    neither. Where no step fits, one is taken that is beyond near, or else beyond either limit, by less than is flagged.
    Where there is none of these, far goes first, because eyes that must turn apart are the worse harm, and near stays
    outside by as little as that allows. Nothing measured, or nothing wrong: no move.
    """
    if not (np.isfinite(figures.near_pct) and np.isfinite(figures.far_pct)) or within_limits(figures, limits):
        return _unmoved()
    most_steps = int(HIT_MAX_PCT / 100.0 * clip.width_px) // clip.step_px
    total_px = np.arange(-most_steps, most_steps + 1) * clip.step_px
    pct = total_px * (100.0 / clip.width_px)
    zoom = np.array([covering_zoom(float(value)) for value in pct]) if fill == "zoom" else np.ones(pct.shape)
    near = zoom * figures.near_pct + pct
    far = zoom * figures.far_pct + pct

    def chosen(index: int) -> Convergence:
        px = int(total_px[index])
        return Convergence(px, px * 100.0 / clip.width_px, float(zoom[index]))

    for far_margin, near_margin in _MARGINS_PCT:
        # Written like the test for flags, so that what is taken for within tolerance is not flagged afterwards.
        fits = (far - limits.far_pct <= -far_margin) & (limits.near_pct - near <= -near_margin)
        if fits.any():
            return chosen(int(np.argmin(np.where(fits, np.abs(pct), np.inf))))
    far_fits = far <= limits.far_pct
    if not far_fits.any():
        return chosen(int(np.argmin(far)))
    return chosen(int(np.argmax(np.where(far_fits, near, -np.inf))))
