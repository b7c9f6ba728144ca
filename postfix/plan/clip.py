"""The plan of a whole clip for one screen, and what will still be outside its limits when it is rendered."""

from __future__ import annotations

import numpy as np

from postfix.limits import Limits, limits_for
from postfix.measure.columns import Columns
from postfix.measure.table import ClipInfo
from postfix.plan.convergence import Convergence, choose_hit, within_limits
from postfix.plan.figures import (
    EDGE_TOLERANCE_PCT,
    LIMIT_TOLERANCE_PCT,
    Figures,
    figures_after,
    flags_for,
    predicted,
    range_budget,
    signed_pct,
    unjudged_edges,
    unmoved,
)
from postfix.plan.geometry import moves_of
from postfix.plan.locked import locked_shots
from postfix.plan.model import Flag, HitKey, Plan, ShotPlan, WindowKey
from postfix.plan.robust import shot_arrays
from postfix.plan.settings import Fill
from postfix.plan.windows import windows_for
from postfix.source.shots import Shot
from postfix.viewing import Screen, mm_from_pct


def plan_clip(
    columns: Columns,
    screen: Screen,
    limits: Limits | None = None,
    *,
    fill: Fill = "hide",
    previous: Plan | None = None,
) -> Plan:
    """Decide HIT and window of every shot of a clip for one screen.

    Parameters
    ----------
    columns : Columns
    screen : Screen
    limits : Limits, optional
        Those of :func:`postfix.viewing.limits_for` unless given.
    fill : Fill
        What becomes of the columns that a move lays bare.
    previous : Plan, optional
        An earlier plan: its locked shots are taken over whole, with hit, zoom, fill, window and reason.

    Raises
    ------
    InputError
        Where a locked shot of ``previous`` cannot be taken over.
    """
    used = limits_for(screen) if limits is None else limits
    locked = locked_shots(previous, columns)
    shots = tuple(
        locked.get((shot.first, shot.last)) or _plan_shot(columns, shot, screen, used, fill) for shot in columns.shots
    )
    return Plan(screen, used, columns.clip, shots)


def predicted_flags(columns: Columns, plan: Plan) -> dict[str, tuple[Flag, ...]]:
    """For every shot by name, what the plan will leave outside its limits or what could not be judged."""
    return {
        shot.name: (
            *flags_for(predicted(arrays, shot, plan.clip), plan.limits, plan.screen.width_mm),
            *unjudged_edges(arrays, shot, "the measurement of the source"),
        )
        for shot, arrays in ((shot, shot_arrays(columns, shot.first, shot.last)) for shot in plan.shots)
    }


def reason_text(shot: ShotPlan) -> str:
    """Why a shot of a new plan is as it is; where a person has decided, that first."""
    return "; ".join(filter(None, ("kept as locked" if shot.locked else "", shot.reason)))


def _plan_shot(columns: Columns, shot: Shot, screen: Screen, limits: Limits, fill: Fill) -> ShotPlan:
    arrays = shot_arrays(columns, shot.first, shot.last)
    before = figures_after(arrays, unmoved(shot.last - shot.first + 1), columns.clip)
    hit = choose_hit(before, limits, columns.clip, fill)
    bare = ShotPlan(
        name=shot.name,
        first=shot.first,
        last=shot.last,
        hit=(HitKey(shot.first, hit.pct),),
        zoom=hit.zoom,
        fill=fill,
    )
    moves = moves_of(bare, columns.clip)
    window = windows_for(arrays, moves, columns.clip, shot.first) if before.measured_frames else ()
    after = figures_after(arrays, moves, columns.clip)
    reason = _reason(before, after, hit, window, limits, screen, columns.clip)
    return ShotPlan(
        name=bare.name,
        first=bare.first,
        last=bare.last,
        hit=bare.hit,
        zoom=bare.zoom,
        fill=fill,
        window=window,
        reason=reason,
    )


def _reason(
    before: Figures,
    after: Figures,
    hit: Convergence,
    window: tuple[WindowKey, ...],
    limits: Limits,
    screen: Screen,
    clip: ClipInfo,
) -> str:
    """One plain sentence with the figures that decided."""
    if before.measured_frames == 0:
        return f"nothing could be measured in any of {before.frames} frames; left as shot"
    parts = []
    if not within_limits(before, limits):
        parts += _why_outside(after, limits, screen, clip)
    budget, _ = range_budget(limits)
    if after.range_pct > budget:
        parts.append(
            f"the range within a frame is {after.range_pct - budget:.2f} % larger than the budget of {budget:.2f} %"
        )
    parts += _why_window(after, window, clip)
    if 2 * before.measured_frames < before.frames:
        parts.append(f"only {before.measured_frames} of {before.frames} frames could be measured")
    opening = _why_moved(before, hit, limits, screen)
    if not opening:
        opening = "near and far are within limits as shot" if parts else "within limits as shot"
    return "; ".join([opening, *parts])


def _why_outside(after: Figures, limits: Limits, screen: Screen, clip: ClipInfo) -> list[str]:
    """Which limit is still crossed after the move, by how much, and what stood in the way."""
    span, room = after.far_pct - after.near_pct, limits.far_pct - limits.near_pct
    if round(span, 2) > round(room, 2):
        cause = f"near to far spans {span:.2f} % and the limits leave {room:.2f} %"
    else:
        step_pct = clip.step_px * 100.0 / clip.width_px
        cause = (
            f"the move goes in whole steps of {clip.step_px} px ({step_pct:.2f} %) and none puts the {span:.2f} % from "
            f"near to far between limits that leave {room:.2f} %"
        )
    parts = []
    for word, over in (("far", after.far_pct - limits.far_pct), ("near", limits.near_pct - after.near_pct)):
        if over > 0.0:
            text = f"{word} stays {over:.2f} % ({mm_from_pct(over, screen.width_mm):.0f} mm) outside, because {cause}"
            if over <= LIMIT_TOLERANCE_PCT:
                text = f"{text}, no more than the {LIMIT_TOLERANCE_PCT:.2f} % that passes"
            parts.append(text)
    return parts


def _why_moved(before: Figures, hit: Convergence, limits: Limits, screen: Screen) -> str:
    causes = []
    for word, pct, limit, is_out in (
        ("far", before.far_pct, limits.far_pct, before.far_pct > limits.far_pct),
        ("near", before.near_pct, limits.near_pct, before.near_pct < limits.near_pct),
    ):
        if is_out:
            mm = mm_from_pct(abs(limit), screen.width_mm)
            causes.append(f"{word} was {signed_pct(pct)}, limit {signed_pct(limit)} ({mm:.0f} mm)")
    if not causes:
        return ""
    cause = ", and ".join(causes)
    if hit.total_px == 0:
        return f"{cause}; not moved, because no whole step puts both inside"
    way = "forward" if hit.total_px < 0 else "back"
    moved = f"{cause}; moved {abs(hit.pct):.2f} % {way} ({abs(hit.total_px)} px)"
    return moved if hit.zoom == 1.0 else f"{moved} and enlarged by {(hit.zoom - 1.0) * 100.0:.2f} % to cover the sides"


def _why_window(after: Figures, window: tuple[WindowKey, ...], clip: ClipInfo) -> list[str]:
    """What touched which edge, and how wide the window gets there; empty without a window."""
    parts = []
    sides = (
        ("left", after.left_excess_pct, [px for key in window for px in key.left_px]),
        ("right", after.right_excess_pct, [px for key in window for px in key.right_px]),
    )
    for side, excess, widths in sides:
        if widths and max(widths) > 0.0 and excess > EDGE_TOLERANCE_PCT:
            px = int(np.ceil(max(widths)))
            parts.append(
                f"content at the {side} edge lies {excess:.2f} % in front of it, so a window of up to {px} px "
                f"({px * 100.0 / clip.width_px:.2f} %) hides it there"
            )
    return parts
