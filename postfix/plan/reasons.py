"""Each decision in a sentence, with the figures that decided."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from postfix.limits import Limits
from postfix.measure.table import ClipInfo
from postfix.plan.choices import within_limits
from postfix.plan.drafts import PCT_STEP, How
from postfix.plan.edit import EditShot
from postfix.plan.figures import EDGE_TOLERANCE_PCT, LIMIT_TOLERANCE_PCT, Figures, range_budget, signed_pct
from postfix.plan.geometry import applied_hit_px, is_resampled
from postfix.plan.model import HitKey, ShotPlan
from postfix.viewing import Screen, mm_from_pct

_TOLD_PCT = 0.005
"""Depth jumps are told to two decimals; what differs by less is the same."""


@dataclass(frozen=True)
class Cut:
    """One end of a shot.

    Attributes
    ----------
    other : str
        The shot on the other side.
    as_shot_pct, planned_pct : float
        Depth jump there, percent of width, from the earlier shot to the later one; NaN where it is not known.
    tolerance_pct : float
        What needs no care.
    dissolve_frames : int
        Over how many frames the later shot dissolves in; 0 for a cut.
    hit_step_pct : float
        How far the HIT of the later shot's first frame is from that of the earlier one's last.
    """

    other: str
    as_shot_pct: float
    planned_pct: float
    tolerance_pct: float
    dissolve_frames: int = 0
    hit_step_pct: float = 0.0

    @property
    def is_softened(self) -> bool:
        """Whether a jump that was too large has become smaller."""
        was, now = abs(self.as_shot_pct), abs(self.planned_pct)
        return bool(was > self.tolerance_pct and now < was - _TOLD_PCT)


@dataclass(frozen=True, eq=False)
class Decision:
    """How one shot came to its plan.

    Attributes
    ----------
    shot : EditShot
    plan : ShotPlan
    how : How
    alone_pct : float
        HIT that would cost least if no other shot were there.
    held_pct : float
        HIT that the shot has apart from what it does at its ends.
    after : Figures
        After the move, without any window.
    entry, leave : Cut or None
        Its first and its last cut; None at the ends of the clip.
    """

    shot: EditShot
    plan: ShotPlan
    how: How
    alone_pct: float
    held_pct: float
    after: Figures
    entry: Cut | None
    leave: Cut | None

    @property
    def is_alone(self) -> bool:
        """Whether its HIT is the one that it would have without its neighbours."""
        return abs(self.held_pct - self.alone_pct) < PCT_STEP


def reason_of(decision: Decision, limits: Limits, screen: Screen, clip: ClipInfo) -> str:
    """One plain sentence with the figures that decided."""
    before, after = decision.shot.before, decision.after
    if before.measured_frames == 0:
        opening = "left as shot" if decision.how == "not measured" else f"HIT {_hit_words(decision.plan)} as asked"
        return f"nothing could be measured in any of {before.frames} frames; {opening}"
    parts = []
    if not within_limits(before, limits) or decision.how in ("by hand", "subject"):
        parts += _why_outside(decision, limits, screen, clip)
    budget, _ = range_budget(limits)
    if after.range_pct > budget:
        parts.append(
            f"the range within a frame is {after.range_pct - budget:.2f} % larger than the budget of {budget:.2f} %"
        )
    parts += _why_window(decision, clip)
    cut = decision.leave
    if cut is not None and abs(cut.planned_pct) > cut.tolerance_pct + _TOLD_PCT:
        parts.append(
            f"the depth jump at the cut to {cut.other} is {abs(cut.planned_pct):.2f} %, more than the "
            f"{cut.tolerance_pct:.2f} % that needs no care"
        )
    if cut is not None and cut.dissolve_frames and abs(cut.hit_step_pct) > clip.step_px * 100.0 / clip.width_px:
        parts.append(
            f"in the dissolve to {cut.other} the HIT steps by {abs(cut.hit_step_pct):.2f} %: no common one fits"
        )
    if 2 * before.measured_frames < before.frames:
        parts.append(f"only {before.measured_frames} of {before.frames} frames could be measured")
    opening = _why_hit(decision, limits, screen, clip)
    if not opening:
        opening = "near and far are within limits as shot" if parts else "within limits as shot"
    return "; ".join([opening, *parts])


def _hit_words(plan: ShotPlan) -> str:
    """``+0.42 %``, or both ends of a HIT that moves."""
    pcts = [key.pct for key in plan.hit]
    if len(set(pcts)) == 1:
        return signed_pct(pcts[0])
    return f"{signed_pct(pcts[0])} to {signed_pct(pcts[-1])}"


def _way(pct: float, clip: ClipInfo, plan: ShotPlan) -> str:
    """``0.59 % forward (12 px)``."""
    way = "forward" if pct < 0 else "back"
    px = pct * clip.width_px / 100.0
    px = px if is_resampled(plan) else applied_hit_px(pct, clip)
    return f"{abs(pct):.2f} % {way} ({abs(px):.4g} px)"


def _why_hit(decision: Decision, limits: Limits, screen: Screen, clip: ClipInfo) -> str:
    """Why the HIT is what it is; empty where the shot is within limits and was not moved."""
    plan, shot = decision.plan, decision.shot
    if decision.how == "by hand":
        return f"HIT {_hit_words(plan)}, given by hand"
    subject = plan.subject
    if decision.how == "subject" and subject is not None:
        found = "unknown" if subject.found_pct is None else signed_pct(subject.found_pct)
        return (
            f"the subject at frame {subject.frame} was at {found} and was asked to be at "
            f"{signed_pct(subject.at_pct)}: HIT {_hit_words(plan)}"
        )
    causes = _out_of_limits(shot.before, limits, screen)
    if decision.how == "eased":
        return f"{', and '.join(causes)}; no held HIT keeps both inside, so it is eased: {_moves(plan.hit)}"
    held = decision.held_pct
    softened = [cut for cut in (decision.entry, decision.leave) if cut is not None and cut.is_softened]
    words = ", and ".join(causes)
    if causes:
        words += f"; moved {_way(held, clip, plan)}" if held else "; not moved, because no whole step puts both inside"
        if not decision.is_alone and softened:
            words += f", which also makes {_softer(softened)}"
    elif held:
        words = f"moved {_way(held, clip, plan)}"
        if decision.is_alone:
            words += ": that costs less than the window which it spares or narrows"
        elif softened:
            words += f" to make {_softer(softened)}"
        else:
            words += " with the shots beside it, so that no depth jump grows"
    if held and plan.zoom != 1.0:
        words += f" and enlarged by {(plan.zoom - 1.0) * 100.0:.2f} % to cover the sides"
    return "; ".join(filter(None, [words, *_handed_over(decision)]))


def _handed_over(decision: Decision) -> list[str]:
    """What a held shot does at its ends to meet its neighbours."""
    start, end = decision.plan.hit[0].pct, decision.plan.hit[-1].pct
    words = []
    if start != decision.held_pct and decision.entry is not None:
        words.append(f"eased from {signed_pct(start)} at its start, to meet {decision.entry.other}")
    if end != decision.held_pct and decision.leave is not None:
        words.append(f"eased to {signed_pct(end)} at its end, to meet {decision.leave.other}")
    return words


def _softer(cuts: list[Cut]) -> str:
    return " and ".join(
        f"the depth jump at {cut.other} {abs(cut.planned_pct):.2f} % instead of {abs(cut.as_shot_pct):.2f} %"
        for cut in cuts
    )


def _moves(keys: tuple[HitKey, ...]) -> str:
    return ", ".join(f"{signed_pct(key.pct)} at frame {key.frame}" for key in keys)


def _out_of_limits(before: Figures, limits: Limits, screen: Screen) -> list[str]:
    causes = []
    for word, pct, limit, is_out in (
        ("far", before.far_pct, limits.far_pct, before.far_pct > limits.far_pct),
        ("near", before.near_pct, limits.near_pct, before.near_pct < limits.near_pct),
    ):
        if is_out:
            mm = mm_from_pct(abs(limit), screen.width_mm)
            causes.append(f"{word} was {signed_pct(pct)}, limit {signed_pct(limit)} ({mm:.0f} mm)")
    return causes


def _why_outside(decision: Decision, limits: Limits, screen: Screen, clip: ClipInfo) -> list[str]:
    """Which limit is still crossed after the move, by how much, and what stood in the way."""
    after = decision.after
    span, room = after.far_pct - after.near_pct, limits.far_pct - limits.near_pct
    if decision.how in ("by hand", "subject"):
        cause = "it was asked for"
    elif round(span, 2) > round(room, 2):
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


def _why_window(decision: Decision, clip: ClipInfo) -> list[str]:
    """What touched which edge, and how wide the window gets there; empty without a window."""
    plan = decision.plan
    if "window" in plan.by_hand:
        return ["its window was made by hand"] if plan.window else ["no window, as decided by hand"]
    parts = []
    for side, widths, excess in (
        ("left", [px for key in plan.window for px in key.left_px], decision.after.left_excess_pct),
        ("right", [px for key in plan.window for px in key.right_px], decision.after.right_excess_pct),
    ):
        if widths and max(widths) > 0.0 and excess > EDGE_TOLERANCE_PCT:
            px = int(np.ceil(max(widths)))
            parts.append(
                f"content at the {side} edge lies {excess:.2f} % in front of it, so a window of up to {px} px "
                f"({px * 100.0 / clip.width_px:.2f} %) hides it there"
            )
    return parts
