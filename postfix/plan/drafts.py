"""What is open to each shot before the edit is weighed: fixed by a person, held, or eased where nothing held fits."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

from postfix.limits import Limits
from postfix.measure.table import ClipInfo
from postfix.plan.chain import Choices
from postfix.plan.choices import (
    FAR_MARGIN_PCT,
    candidate_hits_pct,
    choices_of,
    open_hits_pct,
)
from postfix.plan.easing import Corridor, eased_keys
from postfix.plan.edit import EditShot
from postfix.plan.figures import LIMIT_TOLERANCE_PCT, figures_after
from postfix.plan.geometry import Array, Drawing, applied_hit_px, drawing_of, is_resampled, moves_of, stretch_of
from postfix.plan.model import HitKey, ShotPlan, Subject
from postfix.plan.robust import ShotArrays
from postfix.plan.settings import HIT_MAX_PCT, PlanSettings

How = Literal["held", "eased", "by hand", "subject", "locked", "not measured"]
"""How a shot came to its HIT."""

PCT_STEP = 1e-6
"""A HIT is written with this much precision: 0.0001 px of a picture 8192 wide."""

_NEAR_OUTSIDE_PCT = (0.0, 0.05, 0.1, 0.2, 0.4, 0.8, 1.6, 3.2)
"""Where near cannot be kept: how far outside it is let, beyond what single frames force, until a move is found."""

_WORTH_EASING_PCT = 0.1
"""By how much less near must be outside after an eased move than after a held one, for it to be taken."""

FINE_PARTS = 8
"""A shot that is drawn anew may move by parts of a step: this many at first, and as many again of each part."""


@dataclass(frozen=True, eq=False)
class Draft:
    """A shot on its way to a decision.

    Attributes
    ----------
    shot : EditShot
    plan : ShotPlan
        Everything that is fixed so far.
    how : How
    choices : Choices
    alone_pct : float
        HIT that would cost least if no other shot were there; known once the edit is weighed.
    """

    shot: EditShot
    plan: ShotPlan
    how: How
    choices: Choices
    alone_pct: float = 0.0

    @property
    def is_free(self) -> bool:
        """Whether its HIT is held and still open."""
        return self.how == "held"


def corridor_of(arrays: ShotArrays, limits: Limits, zoom: float) -> Corridor:
    """The HIT that keeps each frame of a shot inside the limits."""
    least, most = limits.near_pct - zoom * arrays.near, limits.far_pct - zoom * arrays.far
    return Corridor(np.where(np.isnan(least), -np.inf, least), np.where(np.isnan(most), np.inf, most))


def rounding_pct(clip: ClipInfo, plan: ShotPlan) -> float:
    """How far the HIT that is applied may be from the one that is asked for, percent of width."""
    return 0.0 if is_resampled(plan) else clip.step_pct / 2.0


def once_moving(plan: ShotPlan, settings: PlanSettings) -> ShotPlan:
    """A shot as it is drawn where its HIT moves inside it."""
    return _drawn(plan, settings.subpixel != "never")


def once_held(plan: ShotPlan, settings: PlanSettings) -> ShotPlan:
    """A shot as it is drawn where its HIT is held."""
    return _drawn(plan, settings.subpixel == "always")


def as_drawn(plan: ShotPlan, settings: PlanSettings) -> ShotPlan:
    """A shot whose HIT is decided, said to be at fractions of a pixel only where that makes a difference."""
    if not any(key.pct for key in plan.hit) or is_resampled(_drawn(plan, False)):
        return _drawn(plan, False)
    return (once_moving if len({key.pct for key in plan.hit}) > 1 else once_held)(plan, settings)


def _drawn(plan: ShotPlan, subpixel: bool) -> ShotPlan:
    """A shot drawn at fractions of a pixel or not, unless a person decided that."""
    if plan.subpixel == subpixel or plan.locked or "subpixel" in plan.by_hand:
        return plan
    return replace(plan, subpixel=subpixel)


def draft(shot: EditShot, wish: ShotPlan, limits: Limits, clip: ClipInfo, settings: PlanSettings) -> Draft:
    """What is open to a shot.

    Parameters
    ----------
    shot : EditShot
    wish : ShotPlan
        Its bounds and all that a person decided.
    """
    if wish.locked:
        return _fixed(shot, wish, "locked", clip)
    if "hit" in wish.by_hand:
        # Whatever was typed, with this fill nothing is laid bare.
        larger = replace(wish, zoom=max(wish.zoom, _zoom(wish.hit, wish, clip)))
        return _fixed(shot, as_drawn(larger, settings), "by hand", clip)
    drawing = drawing_of(wish)
    if wish.subject is not None:
        pct = hit_for_subject(wish.subject, drawing, clip)
        if not drawing.is_resampled:
            pct = applied_hit_px(pct, clip) * 100.0 / clip.width_px
        return _fixed(shot, as_drawn(with_hit(wish, pct, clip), settings), "subject", clip)
    if shot.before.measured_frames == 0:
        return _fixed(shot, as_drawn(with_hit(wish, 0.0, clip), settings), "not measured", clip)
    candidates = candidate_hits_pct(shot.before, limits, clip, drawing)
    if drawing.is_resampled:
        candidates = np.unique(np.concatenate([candidates, _parts(candidates, clip)]))
    hits, keeps = open_hits_pct(shot.before, limits, candidates, drawing, clip)
    if not keeps and settings.convergence.ease:
        moving, speed = once_moving(wish, settings), settings.convergence.ease_pct_per_frame(clip.rate)
        held = with_hit(wish, hits[0], clip)
        keys = _eased(shot, moving, limits, clip, speed) or _less_outside(shot, moving, held, limits, clip, speed)
        # A HIT between two whole steps that need not move at all is no eased one: held HITs are in whole steps here.
        if keys is not None and (len(keys) > 1 or is_resampled(wish) == is_resampled(moving)):
            return _fixed(shot, as_drawn(_moved(moving, keys, clip), settings), "eased", clip)
    choices = choices_of(hits, shot.arrays, depths_of(shot, wish), clip, drawing, settings)
    return Draft(shot, wish, "held", choices)


def refined(
    one: Draft, hit_pct: float, step_pct: float, limits: Limits, clip: ClipInfo, settings: PlanSettings
) -> Draft:
    """The same shot with finer choices around one, where it is drawn anew and so need not move in whole steps."""
    reach = 4 * step_pct
    fine = np.asarray(hit_pct + np.arange(-4 * FINE_PARTS, 4 * FINE_PARTS + 1) * (step_pct / FINE_PARTS))
    old = one.choices.hit_pct
    fine = fine[(fine >= max(old[0], hit_pct - reach)) & (fine <= min(old[-1], hit_pct + reach))]
    fine = np.unique(np.concatenate([fine, [hit_pct, 0.0]] if old[0] <= 0.0 <= old[-1] else [fine, [hit_pct]]))
    drawing = drawing_of(one.plan)
    hits, keeps = open_hits_pct(one.shot.before, limits, fine, drawing, clip)
    if not keeps:
        return one
    depths = depths_of(one.shot, one.plan)
    return replace(one, choices=choices_of(hits, one.shot.arrays, depths, clip, drawing, settings))


def _parts(candidates: Array, clip: ClipInfo) -> Array:
    return (candidates[:-1, None] + np.arange(1, FINE_PARTS) * (clip.step_pct / FINE_PARTS)).reshape(-1)


def depths_of(shot: EditShot, wish: ShotPlan) -> tuple[float, float]:
    """What the eyes rest on at both cuts of a shot: the subject a person named, else what was measured."""
    subject = wish.subject
    if subject is None or subject.found_pct is None:
        return shot.depths_pct
    return subject.found_pct, subject.found_pct


def hit_for_subject(subject: Subject, drawing: Drawing, clip: ClipInfo) -> float:
    """HIT that puts a subject where it shall be, percent of width; with a zoom its parallax is enlarged as well."""
    if subject.found_pct is None:
        raise ValueError("the subject's parallax was not looked for")
    pct = subject.at_pct - subject.found_pct
    for _ in range(4 if drawing.fill == "zoom" or drawing.misalignment is not None else 0):
        pct = subject.at_pct - float(drawing.stretches(pct, clip)) * subject.found_pct
    return float(np.clip(pct, -HIT_MAX_PCT, HIT_MAX_PCT))


def with_hit(plan: ShotPlan, pct: float, clip: ClipInfo) -> ShotPlan:
    """A shot with one held HIT and the zoom that covers it."""
    return _moved(plan, (HitKey(plan.first, written_pct(pct)),), clip)


def written_pct(pct: float) -> float:
    """A HIT as a plan holds it; never −0."""
    return round(pct / PCT_STEP) / round(1.0 / PCT_STEP) + 0.0


def _zoom(keys: tuple[HitKey, ...], plan: ShotPlan, clip: ClipInfo) -> float:
    """The zoom that a HIT needs, as the shot's pictures are drawn."""
    return float(drawing_of(plan).zooms([key.pct for key in keys], clip).max())


def covered(plan: ShotPlan, clip: ClipInfo) -> ShotPlan:
    """A shot with the zoom that its HIT needs."""
    return _moved(plan, plan.hit, clip)


def _fixed(shot: EditShot, plan: ShotPlan, how: How, clip: ClipInfo) -> Draft:
    """A shot with nothing left open: one choice, that costs the same whatever its neighbours do."""
    moved = moves_of(plan, clip, [plan.first, plan.last]).hit_px * 100.0 / clip.width_px
    stretch = stretch_of(plan, clip)
    entry, leave = (stretch * depth + pct for depth, pct in zip(depths_of(shot, plan), moved))
    one = Choices(moved[:1], np.zeros(1), np.array([entry]), np.array([leave]))
    return Draft(shot, plan, how, one)


def _moved(wish: ShotPlan, keys: tuple[HitKey, ...], clip: ClipInfo) -> ShotPlan:
    return replace(wish, hit=keys, zoom=_zoom(keys, wish, clip))


def over_pct(shot: EditShot, plan: ShotPlan, limits: Limits, clip: ClipInfo) -> tuple[float, float]:
    """How far far and near are beyond their limits after a plan's move, percent of width; below 0 if inside."""
    after = figures_after(shot.arrays, moves_of(plan, clip), clip)
    return after.far_pct - limits.far_pct, limits.near_pct - after.near_pct


def _eased(shot: EditShot, wish: ShotPlan, limits: Limits, clip: ClipInfo, speed: float) -> tuple[HitKey, ...] | None:
    """Keys of the eased move that keeps the limits where no held HIT does; None where there is none slow enough."""
    corridor = corridor_of(shot.arrays, limits, float(drawing_of(wish).stretches(0.0, clip)))
    for margin in (FAR_MARGIN_PCT, 0.0, -LIMIT_TOLERANCE_PCT):
        keys = eased_keys(corridor.narrowed(rounding_pct(clip, wish) + margin), shot.first, speed)
        # A zoom stretches depth a little beyond what the corridor knew.
        if keys is not None and max(over_pct(shot, _moved(wish, keys, clip), limits, clip)) <= LIMIT_TOLERANCE_PCT:
            return keys
    return None


def _less_outside(
    shot: EditShot, wish: ShotPlan, held: ShotPlan, limits: Limits, clip: ClipInfo, speed: float
) -> tuple[HitKey, ...] | None:
    """Keys of an eased move that leaves near less far outside than the best held HIT, with far inside; None where there
    is none that is worth it: where the depth of single frames is too large, no move helps."""
    corridor = corridor_of(shot.arrays, limits, float(drawing_of(wish).stretches(0.0, clip)))
    rounding = rounding_pct(clip, wish)
    held_over = over_pct(shot, held, limits, clip)[1]
    forced = float(np.max(corridor.least - corridor.most, initial=0.0, where=np.isfinite(corridor.least)))
    for near_pct in _NEAR_OUTSIDE_PCT:
        if near_pct + max(forced, 0.0) > held_over - _WORTH_EASING_PCT:
            return None
        inside = Corridor(corridor.least + rounding, corridor.most - rounding).opened(near_pct)
        keys = eased_keys(inside, shot.first, speed)
        if keys is not None:
            far_over, near_over = over_pct(shot, _moved(wish, keys, clip), limits, clip)
            if far_over <= LIMIT_TOLERANCE_PCT and near_over <= held_over - _WORTH_EASING_PCT:
                return keys
    return None
