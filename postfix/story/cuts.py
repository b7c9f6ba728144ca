"""What the eyes have to do at cuts: jumps of the main mass and of depth volume, and whether there is time for them."""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction
from itertools import pairwise

from postfix.plan.clip import jump_tolerance_pct
from postfix.plan.settings import PlanSettings
from postfix.story.frames import ShownShot
from postfix.story.model import Cut
from postfix.viewing import Screen, arcmin_from_mm, mm_from_pct

JUMP_TOLERANCE_PCT = 0.05
"""What a jump may be beyond the settings' before it counts as hard, percent of width: plans that have to choose put
jumps just there, and the measurement of finished pictures cannot tell them to less. Project default."""


def cuts_of(shots: Sequence[ShownShot], screen: Screen, rate: Fraction, settings: PlanSettings) -> list[Cut | None]:
    """The cut into each shot; None for the first.

    A jump is told for every cut, and for a dissolve too. Only cuts are hard or quick: over a dissolve the eyes have its
    time. The angle of a jump is that between what is left and what is met, as seen from the screen's own seat.
    """
    return [None, *(_cut(one, other, screen, rate, settings) for one, other in pairwise(shots))]


def _cut(one: ShownShot, other: ShownShot, screen: Screen, rate: Fraction, settings: PlanSettings) -> Cut:
    def arcmin(pct: float) -> float:
        return arcmin_from_mm(mm_from_pct(pct, screen.width_mm), screen.distance_mm, screen.eye_mm)

    jump_pct = other.entry_pct - one.leave_pct
    jump_arcmin = arcmin(other.entry_pct) - arcmin(one.leave_pct)
    shot_s = float((other.last - other.first + 1) / rate)
    is_cut = other.dissolve_frames == 0
    story = settings.story
    return Cut(
        frame=other.first,
        jump_pct=jump_pct,
        jump_arcmin=jump_arcmin,
        volume_jump_pct=volume_pct(other) - volume_pct(one),
        shot_s=shot_s,
        is_hard=is_cut and abs(jump_pct) > jump_tolerance_pct(screen, settings) + JUMP_TOLERANCE_PCT,
        is_quick=is_cut and abs(jump_arcmin) > story.quick_jump_arcmin and shot_s < story.quick_shot_s,
    )


def volume_pct(shot: ShownShot) -> float:
    """Depth volume of a shot, far − near, percent of width; NaN where either was not measured."""
    return shot.figures.far_pct - shot.figures.near_pct


def quick_runs(cuts: Sequence[Cut | None], least: int) -> tuple[tuple[int, int], ...]:
    """First and last shot, counted from 0, of each run of at least ``least`` quick cuts in a row."""
    runs: list[tuple[int, int]] = []
    begin: int | None = None
    for index, cut in enumerate([*cuts, None]):
        if cut is not None and cut.is_quick:
            begin = index if begin is None else begin
            continue
        if begin is not None and index - begin >= least:
            runs.append((begin, index - 1))
        begin = None
    return tuple(runs)
