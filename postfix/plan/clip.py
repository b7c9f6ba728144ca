"""The plan of a whole edit for one screen: every shot's HIT decided together, then the windows each shot needs.

In order: limits, and what a person pinned, are kept whatever it costs. Then the sum of four costs is made least over
the whole edit: depth jumps at cuts, moves, picture lost, windows (:class:`postfix.plan.settings.ConvergenceSettings`).
A held HIT is used wherever one keeps the limits; where none does, an eased move that does. Where neither does, far goes
before near, and what stays outside is flagged.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

from postfix.limits import Limits, eye_mm_of, limits_for
from postfix.measure.table import ClipInfo
from postfix.plan.chain import best_choices, cheapest
from postfix.plan.drafts import (
    FINE_PARTS,
    Draft,
    as_drawn,
    corridor_of,
    covered,
    depths_of,
    draft,
    once_held,
    once_moving,
    refined,
    rounding_pct,
    with_hit,
)
from postfix.plan.edit import Edit
from postfix.plan.figures import Figures, figures_after, predicted, shot_flags
from postfix.plan.geometry import SIDES, drawing_of, moves_of, stretch_of
from postfix.plan.handover import Side, blend, meet, shifted_keys
from postfix.plan.misaligned import FoundMisalignment, find_misalignment
from postfix.plan.model import Flag, Pin, Plan, ShotPlan
from postfix.plan.pins import wishes_of
from postfix.plan.reasons import Cut, Decision, reason_of
from postfix.plan.robust import ShotArrays
from postfix.plan.runs import no_worse, with_one_zoom, with_windows
from postfix.plan.settings import PlanSettings
from postfix.plan.windows import planned_shortfall_px
from postfix.viewing import Screen, pct_from_mm, range_mm_from_arcmin

_REFINEMENTS = 3
"""Rounds in which a shot that is drawn anew looks for a finer HIT: the last step is 1/4096 of a whole one."""


@dataclass(frozen=True, eq=False)
class Decided:
    """A plan, and for each of its shots how it came about."""

    plan: Plan
    edit: Edit
    decisions: tuple[Decision, ...]
    flags: Mapping[str, tuple[Flag, ...]]
    """What the plan leaves outside its limits or could not judge, by the name of the shot."""


def plan_edit(
    edit: Edit,
    screen: Screen,
    settings: PlanSettings | None = None,
    *,
    limits: Limits | None = None,
    pins: Sequence[Pin] = (),
    previous: Plan | None = None,
) -> Decided:
    """Decide HIT and windows of every shot of an edit for one screen.

    Parameters
    ----------
    edit : Edit
        Of :func:`postfix.plan.edit.edit_of`; may be used again for another screen.
    screen : Screen
    settings : PlanSettings, optional
        The defaults unless given.
    limits : Limits, optional
        Those of :func:`postfix.limits.limits_for` unless given.
    pins : sequence of Pin
        What a person wants of single shots.
    previous : Plan, optional
        An earlier plan: its locked shots are taken over whole, and what a person decided of others is kept.

    Raises
    ------
    InputError
        Where the limits contradict each other, a pin cannot be meant, or a locked shot of ``previous`` cannot be taken
        over.
    """
    chosen = PlanSettings() if settings is None else settings
    used = limits_for(screen, chosen.limits) if limits is None else limits
    screen = replace(screen, eye_mm=eye_mm_of(screen, chosen.limits))
    looked = [find_misalignment(edit.columns, shot.first, shot.last) for shot in edit.shots] if chosen.align else []
    wishes = wishes_of(edit, chosen, pins, previous, looked)
    drafts = [draft(shot, wish, used, edit.clip, chosen) for shot, wish in zip(edit.shots, wishes)]
    jump_pct = jump_tolerance_pct(screen, chosen)
    held = _weighed(drafts, jump_pct, used, edit.clip, chosen)
    eased = with_one_zoom(_handed_over(held, jump_pct, used, edit.clip, chosen), used, edit.clip)
    cuts = [_cut(one, other, jump_pct, edit.clip) for one, other in pairwise(eased)]
    entries = [None, *(replace(cut, other=one.shot.name) for cut, one in zip(cuts, eased))]
    decisions = []
    for index, (one, plan) in enumerate(zip(eased, with_windows(eased, edit.clip, chosen.window))):
        decisions.append(
            Decision(
                shot=one.shot,
                plan=plan,
                how=one.how,
                alone_pct=held[index].alone_pct,
                held_pct=held[index].plan.hit[0].pct,
                after=figures_after(one.shot.arrays, moves_of(plan, edit.clip), edit.clip),
                entry=entries[index],
                leave=cuts[index] if index < len(cuts) else None,
                ease_pct_per_s=chosen.convergence.ease_pct_per_s,
                held_drawing=drawing_of(once_held(plan, chosen)),
                align_why=_align_why(plan, looked[index] if looked else None),
            )
        )
    shots = tuple(
        decision.plan
        if decision.plan.locked
        else replace(decision.plan, reason=reason_of(decision, used, screen, edit.clip, chosen.window))
        for decision in decisions
    )
    made = Plan(screen, used, edit.clip, shots, chosen)
    known = tuple(replace(d, plan=shot) for d, shot in zip(decisions, shots))
    return Decided(made, edit, known, predicted_flags(edit, made, [decision.after for decision in decisions]))


def _align_why(plan: ShotPlan, looked: FoundMisalignment | None) -> str:
    """Why a shot is not aligned though that was asked for; empty where it is, or a person decided."""
    return "" if looked is None or plan.locked or "align" in plan.by_hand else looked.why_not


def jump_tolerance_pct(screen: Screen, settings: PlanSettings) -> float:
    """Depth jump at a cut that needs no care on this screen, percent of width."""
    return pct_from_mm(range_mm_from_arcmin(settings.convergence.jump_arcmin, screen.distance_mm), screen.width_mm)


def _weighed(
    drafts: list[Draft], jump_pct: float, limits: Limits, clip: ClipInfo, settings: PlanSettings
) -> list[Draft]:
    """Every shot with the HIT that makes the sum of all costs least."""
    weight = settings.convergence.jump_weight
    step_pct = clip.step_pct / FINE_PARTS
    current = drafts
    chosen = best_choices([one.choices for one in current], jump_pct, weight)
    if any(_is_fine(one) for one in drafts):
        for _ in range(_REFINEMENTS):
            current = [
                refined(one, float(one.choices.hit_pct[index]), step_pct, limits, clip, settings)
                if _is_fine(one)
                else one
                for one, index in zip(current, chosen)
            ]
            chosen = best_choices([one.choices for one in current], jump_pct, weight)
            step_pct /= FINE_PARTS
    return [
        replace(
            one,
            plan=as_drawn(with_hit(one.plan, float(one.choices.hit_pct[index]), clip), settings),
            alone_pct=cheapest(one.choices),
        )
        if one.is_free
        else one
        for one, index in zip(current, chosen)
    ]


def _is_fine(one: Draft) -> bool:
    """Whether a shot's HIT is open and need not be in whole steps."""
    return one.is_free and drawing_of(one.plan).is_resampled


def _handed_over(
    drafts: list[Draft], jump_pct: float, limits: Limits, clip: ClipInfo, settings: PlanSettings
) -> list[Draft]:
    """Held shots eased at their ends where a dissolve asks for it, or a person wants the depth at cuts handed over."""
    frames, speed = settings.convergence.handover_frames, settings.convergence.ease_pct_per_frame(clip.rate)
    entries = [(0.0, 0)] * len(drafts)
    leaves = [(0.0, 0)] * len(drafts)
    for index, (one, other) in enumerate(pairwise(drafts)):
        dissolve = other.shot.dissolve_frames
        if not dissolve and not frames:
            continue
        before, after = (
            _side(end, limits, clip, settings, at_end=at_end) for end, at_end in ((one, True), (other, False))
        )
        if dissolve:
            leaves[index], entries[index + 1] = blend(before, after, dissolve, speed)
        else:
            shifts = meet(before, after, frames, jump_pct, speed)
            leaves[index], entries[index + 1] = (shifts[0], frames), (shifts[1], frames)
    result = []
    for one, entry, leave in zip(drafts, entries, leaves):
        if not (entry[0] or leave[0]):
            result.append(one)
            continue
        keys = shifted_keys(_side(one, limits, clip, settings, at_end=True), entry, leave)
        moved = replace(one, plan=as_drawn(covered(replace(one.plan, hit=keys), clip), settings))
        # More zoom stretches depth: where that goes beyond a limit the shot stays as it was held.
        result.append(moved if no_worse(moved, one, limits, clip) else one)
    return result


def _side(one: Draft, limits: Limits, clip: ClipInfo, settings: PlanSettings, *, at_end: bool) -> Side:
    depth = depths_of(one.shot, one.plan)[1 if at_end else 0]
    held = one.plan.hit[-1 if at_end else 0].pct
    stretch = stretch_of(one.plan, clip)
    rounding = rounding_pct(clip, once_moving(one.plan, settings))
    corridor = corridor_of(one.shot.arrays, limits, stretch).narrowed(rounding)
    # Of a shot in which nothing was measured no limit is known: it follows.
    free = (one.is_free or one.how == "not measured") and len(one.plan.hit) == 1
    return Side(one.shot.first, one.shot.last, held, stretch * depth + held, corridor, free)


def _cut(one: Draft, other: Draft, jump_pct: float, clip: ClipInfo) -> Cut:
    """The cut between two shots, seen from the earlier one."""
    ends = (
        (one, depths_of(one.shot, one.plan)[1], one.shot.last),
        (other, depths_of(other.shot, other.plan)[0], other.shot.first),
    )
    (_, leave, _), (_, arrive, _) = ends
    hits = [float(moves_of(end.plan, clip, [frame]).hit_px[0]) * 100.0 / clip.width_px for end, _, frame in ends]
    moved = [stretch_of(end.plan, clip) * depth + hit for (end, depth, _), hit in zip(ends, hits)]
    dissolve, hit_step = other.shot.dissolve_frames, hits[1] - hits[0]
    # A shot of one or two frames has none in which it could move.
    by_limits = all(end.is_free and end.shot.count > 2 for end, _, _ in ends)
    return Cut(other.shot.name, arrive - leave, moved[1] - moved[0], jump_pct, dissolve, hit_step, by_limits)


def predicted_flags(edit: Edit, plan: Plan, moved: Sequence[Figures] = ()) -> dict[str, tuple[Flag, ...]]:
    """For every shot by name, what the plan will leave outside its limits or what could not be judged.

    ``moved``, where they are known already, are the figures of each shot after its move, without any window.
    """
    found = {}
    for index, (shot, measured) in enumerate(zip(plan.shots, edit.shots)):
        if moved and not shot.window and plan.settings.window.brief_s == 0.0:
            figures = moved[index]
        else:
            figures = predicted(measured.arrays, shot, plan.clip, plan.settings.window)
        found[shot.name] = (
            *shot_flags(
                figures,
                measured.arrays,
                shot,
                plan,
                "the measurement of the source",
                measured.arrays,
                moved[index] if moved else None,
            ),
            *_too_wide(measured.arrays, shot, plan),
        )
    return found


def _too_wide(arrays: ShotArrays, shot: ShotPlan, plan: Plan) -> list[Flag]:
    """A flag for each side whose window would have to be wider than the largest that is allowed."""
    if shot.locked or "window" in shot.by_hand or not plan.settings.window.on:
        return []
    flags, window = [], plan.settings.window
    for side, px in zip(SIDES, planned_shortfall_px(arrays, shot, plan.clip, window)):
        if px > 0.0:
            most_px = window.max_pct * plan.clip.width_px / 100.0
            text = (
                f"the window at the {side} would have to be {most_px + px:.0f} px wide, and the largest that is "
                f"allowed is {most_px:.0f} px ({window.max_pct:g} % of width)"
            )
            flags.append(Flag("window", text))
    return flags
