"""Each decision in a sentence, with the figures that decided."""

from __future__ import annotations

from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np

from postfix.limits import Limits
from postfix.measure.table import ClipInfo
from postfix.plan.choices import within_limits
from postfix.plan.drafts import PCT_STEP, How
from postfix.plan.easing import EASE_PEAK
from postfix.plan.edit import EditShot
from postfix.plan.figures import (
    EDGE_TOLERANCE_PCT,
    LIMIT_TOLERANCE_PCT,
    Figures,
    figures_after,
    range_budget,
    signed_pct,
)
from postfix.plan.geometry import (
    SIDES,
    Drawing,
    applied_hit_px,
    drawing_of,
    is_resampled,
    moves_of,
    stretch_of,
    widest_px,
)
from postfix.plan.misaligned import lay_words, side_shift_pct
from postfix.plan.model import HitKey, ShotPlan
from postfix.plan.settings import WindowSettings
from postfix.plan.windows import planned_shortfall_px
from postfix.viewing import Screen, mm_from_pct

_TOLD_PCT = 0.005
"""Percents are told to two decimals; what is less, or differs by less, is nothing, or the same."""


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
    by_limits : bool
        Whether only the limits of their frames can have kept the HITs of a dissolve apart: both shots were measured,
        and neither HIT was given by a person or moves inside its shot.
    """

    other: str
    as_shot_pct: float
    planned_pct: float
    tolerance_pct: float
    dissolve_frames: int = 0
    hit_step_pct: float = 0.0
    by_limits: bool = False

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
    ease_pct_per_s : float
        Fastest move that was asked for.
    held_drawing : Drawing
        How its pictures would be made with a held HIT.
    align_why : str
        Why it is not aligned though that was asked for; empty where it is, or was not asked for.
    """

    shot: EditShot
    plan: ShotPlan
    how: How
    alone_pct: float
    held_pct: float
    after: Figures
    entry: Cut | None
    leave: Cut | None
    ease_pct_per_s: float
    held_drawing: Drawing
    align_why: str = ""

    @property
    def is_alone(self) -> bool:
        """Whether its HIT is the one that it would have without its neighbours."""
        return abs(self.held_pct - self.alone_pct) < PCT_STEP

    @property
    def moves(self) -> bool:
        """Whether its HIT is not the same in all of its frames."""
        return len({key.pct for key in self.plan.hit}) > 1


def reason_of(decision: Decision, limits: Limits, screen: Screen, clip: ClipInfo, windows: WindowSettings) -> str:
    """One plain sentence with the figures that decided; ``windows`` are the settings that the plan is made with."""
    before, after = decision.shot.before, decision.after
    if before.measured_frames == 0:
        text = f"nothing could be measured in any of {before.frames} frames; {_unmeasured(decision)}"
        return "; ".join([text, *_why_aligned(decision, clip)])
    parts = _why_aligned(decision, clip)
    if not within_limits(before, limits) or decision.how in ("by hand", "subject"):
        parts += _why_outside(decision, limits, screen, clip)
    budget, _ = range_budget(limits)
    if after.range_pct > budget + _TOLD_PCT:
        parts.append(
            f"the range within a frame is {after.range_pct - budget:.2f} % larger than the budget of {budget:.2f} %"
        )
    parts += _why_window(decision, clip, windows)
    cut = decision.leave
    if cut is not None and abs(cut.planned_pct) > cut.tolerance_pct + _TOLD_PCT:
        parts.append(
            f"the depth jump at the cut to {cut.other} is {abs(cut.planned_pct):.2f} %, more than the "
            f"{cut.tolerance_pct:.2f} % that needs no care"
        )
    if cut is not None and cut.dissolve_frames and abs(cut.hit_step_pct) > clip.step_pct:
        why = ", because of the limits" if cut.by_limits else ""
        parts.append(f"in the dissolve to {cut.other} the HIT steps by {abs(cut.hit_step_pct):.2f} %{why}")
    if 2 * before.measured_frames < before.frames:
        parts.append(f"only {before.measured_frames} of {before.frames} frames could be measured")
    opening = _why_hit(decision, limits, screen, clip)
    if not opening:
        opening = "near and far are within limits as shot" if parts else "within limits as shot"
    return "; ".join([opening, *parts])


def _unmeasured(decision: Decision) -> str:
    if decision.how != "not measured":
        return f"HIT {_hit_words(decision.plan)} as asked"
    if not any(key.pct for key in decision.plan.hit):
        return "left as shot"
    return f"it follows the shots beside it: HIT {_hit_words(decision.plan)}"


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


def _in_steps(decision: Decision, clip: ClipInfo) -> str:
    """How a HIT moves that is not held: in the steps of plain copies, or more finely; empty where that goes without
    saying because the pictures are enlarged or aligned anyway."""
    if not decision.moves:
        return ""
    if not is_resampled(decision.plan):
        return f" in steps of {clip.step_px} px"
    return " at fractions of a pixel" if decision.plan.subpixel else ""


def _why_hit(decision: Decision, limits: Limits, screen: Screen, clip: ClipInfo) -> str:
    """Why the HIT is what it is; empty where the shot is within limits and was not moved."""
    plan, shot = decision.plan, decision.shot
    if decision.how == "by hand":
        return f"HIT {_hit_words(plan)}{_in_steps(decision, clip)}, given by hand"
    subject = plan.subject
    if decision.how == "subject" and subject is not None:
        found = "unknown" if subject.found_pct is None else signed_pct(subject.found_pct)
        return (
            f"the subject at frame {subject.frame} was at {found} and was asked to be at "
            f"{signed_pct(subject.at_pct)}: HIT {_hit_words(plan)}"
        )
    causes = _out_of_limits(shot.before, limits, screen)
    if decision.how == "eased":
        eased = f"eased{_in_steps(decision, clip)}: {_moves(plan.hit)}"
        return f"{', and '.join(causes)}; no held HIT keeps both inside, so it is {eased}"
    held = decision.held_pct
    softened = _softened(decision)
    words = ", and ".join(causes)
    if causes:
        step = "HIT" if decision.held_drawing.is_resampled else "whole step"
        words += f"; moved {_way(held, clip, plan)}" if held else f"; not moved, because no {step} puts both inside"
        if not decision.is_alone and softened:
            words += f", which also makes {_softer(softened)}"
    elif abs(held) >= _TOLD_PCT:
        words = f"moved {_way(held, clip, plan)}"
        if decision.is_alone:
            words += ": that costs less than the window which it spares or narrows"
        elif softened:
            words += f" to make {_softer(softened)}"
        else:
            words += " with the shots beside it"
    enlarged = _enlarged(plan, clip)
    if held and enlarged:
        words, enlarged = f"{words} and {enlarged}", ""
    return "; ".join(filter(None, [words, *_handed_over(decision, clip), enlarged]))


def _softened(decision: Decision) -> list[Cut]:
    """Cuts at which the shot's own move made a jump that was too large smaller, its neighbours as they are planned."""
    ends = ((decision.entry, -decision.plan.hit[0].pct), (decision.leave, decision.plan.hit[-1].pct))
    return [
        cut
        for cut, without_pct in ends
        if cut is not None and cut.is_softened and abs(cut.planned_pct) < abs(cut.planned_pct + without_pct) - _TOLD_PCT
    ]


def _enlarged(plan: ShotPlan, clip: ClipInfo) -> str:
    """By how much a shot is drawn larger, and what for; empty where it is not to speak of."""
    if plan.zoom - 1.0 < _TOLD_PCT / 100.0:
        return ""
    drawing = drawing_of(plan)
    needed = float(drawing.zooms([key.pct for key in plan.hit], clip).max())
    covers = "to cover the sides"
    if drawing.misalignment is not None:
        covers = f"{covers} and" if drawing.fill == "zoom" else "to cover"
        covers += " what aligning lays bare"
    why = covers if plan.zoom - needed < 1e-6 else "like what it dissolves with"
    return f"enlarged by {(plan.zoom - 1.0) * 100.0:.2f} % {why}"


def _handed_over(decision: Decision, clip: ClipInfo) -> list[str]:
    """What a held shot does at its ends to meet its neighbours."""
    start, end = decision.plan.hit[0].pct, decision.plan.hit[-1].pct
    words = []
    if abs(start - decision.held_pct) >= _TOLD_PCT and decision.entry is not None:
        words.append(f"eased from {signed_pct(start)} at its start, to meet {decision.entry.other}")
    if abs(end - decision.held_pct) >= _TOLD_PCT and decision.leave is not None:
        words.append(f"eased to {signed_pct(end)} at its end, to meet {decision.leave.other}")
    if not words:
        return []
    steps, fastest = _in_steps(decision, clip), _fastest_pct_per_s(decision.plan, clip)
    if steps:
        words[-1] += f",{steps}"
    if fastest > decision.ease_pct_per_s + _TOLD_PCT:
        asked = f"the {decision.ease_pct_per_s:g} % a second that were asked for"
        words.append(f"that is up to {fastest:.1f} % a second, faster than {asked}, because the shot is short")
    return words


def _fastest_pct_per_s(plan: ShotPlan, clip: ClipInfo) -> float:
    """Peak speed of a HIT that moves, percent of width a second."""
    means = (abs(b.pct - a.pct) / (b.frame - a.frame) for a, b in pairwise(plan.hit))
    return EASE_PEAK * max(means, default=0.0) * float(clip.rate)


def _softer(cuts: list[Cut]) -> str:
    return " and ".join(
        f"the depth jump at {cut.other} {abs(cut.planned_pct):.2f} % instead of {abs(cut.as_shot_pct):.2f} %"
        for cut in cuts
    )


def _moves(keys: tuple[HitKey, ...]) -> str:
    return ", ".join(f"{signed_pct(key.pct)} at frame {key.frame}" for key in keys)


def _out_of_limits(before: Figures, limits: Limits, screen: Screen) -> list[str]:
    causes = []
    for word, pct, limit, alone in (
        ("far", before.far_pct, limits.far_pct, replace(before, near_pct=limits.near_pct)),
        ("near", before.near_pct, limits.near_pct, replace(before, far_pct=limits.far_pct)),
    ):
        if not within_limits(alone, limits):
            mm = mm_from_pct(abs(limit), screen.width_mm)
            causes.append(f"{word} was {signed_pct(pct)}, limit {signed_pct(limit)} ({mm:.0f} mm)")
    return causes


def _why_aligned(decision: Decision, clip: ClipInfo) -> list[str]:
    """What was taken out of the eyes' pictures, or why nothing was."""
    plan = decision.plan
    if decision.align_why:
        return [f"not aligned: {decision.align_why}"]
    known = drawing_of(plan).misalignment
    if known is None:
        return ["not aligned, as decided by hand"] if "align" in plan.by_hand else []
    given = ", as given by hand" if "align" in plan.by_hand else ""
    words = f"aligned{given}: the right eye lay {lay_words(known)}, and half of that is taken out of each eye"
    most_pct = side_shift_pct(known, clip)
    if most_pct >= _TOLD_PCT:
        words += f", which changes parallax by up to {most_pct:.2f} % away from the middle of the picture"
        words += " (figures are measured with it out)"
    return [words]


def _why_outside(decision: Decision, limits: Limits, screen: Screen, clip: ClipInfo) -> list[str]:
    """Which limit is still crossed after the move, by how much, and what stood in the way."""
    after, cause = decision.after, _cause(decision, limits, clip)
    parts = []
    for word, over in (("far", after.far_pct - limits.far_pct), ("near", limits.near_pct - after.near_pct)):
        if over >= _TOLD_PCT:
            text = f"{word} stays {over:.2f} % ({mm_from_pct(over, screen.width_mm):.0f} mm) outside, because {cause}"
            if over <= LIMIT_TOLERANCE_PCT:
                text = f"{text}, no more than the {LIMIT_TOLERANCE_PCT:.2f} % that passes"
            parts.append(text)
    return parts


def _cause(decision: Decision, limits: Limits, clip: ClipInfo) -> str:
    """What stood in the way of both limits."""
    plan, before, room = decision.plan, decision.shot.before, limits.far_pct - limits.near_pct
    if decision.how in ("by hand", "subject"):
        return "it was asked for"
    if decision.how == "eased":
        # What a moving HIT must hold is each frame on its own.
        if round(decision.after.range_pct, 2) > round(room, 2):
            return f"near to far spans {decision.after.range_pct:.2f} % in one frame and the limits leave {room:.2f} %"
        return "that is what the eased move cannot follow"
    span = stretch_of(plan, clip) * (before.far_pct - before.near_pct)
    if round(span, 2) > round(room, 2):
        return f"near to far spans {span:.2f} % and the limits leave {room:.2f} %"
    between = f"the {span:.2f} % from near to far between limits that leave {room:.2f} %"
    if decision.held_drawing.is_resampled:
        return f"no HIT puts {between}"
    return f"the move goes in whole steps of {clip.step_px} px ({clip.step_pct:.2f} %) and none puts {between}"


def _why_window(decision: Decision, clip: ClipInfo, windows: WindowSettings) -> list[str]:
    """What touches which edge, and what the window there makes of it; empty where nothing does that counts."""
    plan, after = decision.plan, decision.after
    if "window" in plan.by_hand:
        return ["its window was made by hand"] if plan.window else ["no window, as decided by hand"]
    arrays = decision.shot.arrays
    if windows.brief_s > 0.0:
        after = figures_after(arrays, moves_of(plan, clip), clip, settings=windows)
    excess = tuple(np.nan_to_num([after.left_excess_pct, after.right_excess_pct], nan=0.0).tolist())
    short_px = (0.0, 0.0)
    if any(pct > EDGE_TOLERANCE_PCT for pct in excess):
        short_px = planned_shortfall_px(arrays, plan, clip, windows)
    parts = []
    for side, in_front_pct, too_narrow_px, most_px in zip(SIDES, excess, short_px, widest_px(plan.window)):
        if in_front_pct > EDGE_TOLERANCE_PCT:
            content = f"content at the {side} edge lies {in_front_pct:.2f} % in front of it"
            parts.append(f"{content}, {_window_words(plan, most_px, too_narrow_px, clip, windows)}")
        elif most_px > 0.0 and windows.both_sides and max(excess) > EDGE_TOLERANCE_PCT:
            parts.append(f"the window at the {side} is as wide as the other side's, as asked")
        elif most_px > 0.0 and any(cut is not None and cut.dissolve_frames for cut in (decision.entry, decision.leave)):
            parts.append(f"the window at the {side} is for what it dissolves with")
    return parts


def _window_words(
    plan: ShotPlan, widest_px: float, too_narrow_px: float, clip: ClipInfo, windows: WindowSettings
) -> str:
    """What a window makes of the content that it is for."""
    to_pct = 100.0 / clip.width_px
    if widest_px <= 0.0:
        return "and windows are off" if not windows.on else f"and the widest window allowed is {windows.max_pct:g} %"
    faults = []
    if too_narrow_px * to_pct >= _TOLD_PCT:
        faults.append(f"is {too_narrow_px * to_pct:.2f} % too narrow to hide it")
    if plan.window_opacity_pct < 100.0:
        faults.append(f"lets {100.0 - plan.window_opacity_pct:g} % of it through, as asked")
    if faults:
        return f"and the window of up to {widest_px:.0f} px ({widest_px * to_pct:.2f} %) {' and '.join(faults)}"
    px = int(np.ceil(widest_px))
    return f"so a window of up to {px} px ({px * to_pct:.2f} %) hides it there"
