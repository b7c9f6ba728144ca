"""Why one shot is planned as it is: limits, what was measured, the alternatives with their costs, the choice."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from postfix.plan.chain import jump_cost
from postfix.plan.choices import candidate_hits_pct, costs_alone, least_windowless, open_hits_pct
from postfix.plan.clip import Decided
from postfix.plan.drafts import depths_of, written_pct
from postfix.plan.edit import EditShot
from postfix.plan.figures import Figures, signed_mm, signed_pct
from postfix.plan.geometry import moves_of, stretch_of, whole_hits_px
from postfix.plan.model import Flag, Plan
from postfix.plan.reasons import Cut, Decision
from postfix.viewing import mm_from_pct


@dataclass(frozen=True)
class Alternative:
    """One held HIT that the shot could have had, or what was chosen for it, with its neighbours as planned.

    Attributes
    ----------
    what : str
    hit_pct, near_pct, far_pct : float
        The HIT, and near and far after it. The HIT is NaN for a chosen one that moves.
    over_pct : float
        How far the worse of near and far is outside its limit; 0 if inside.
    move, lost, window, jumps : float
        What it costs, weighted: for the move, for picture lost, for needing a window, for the depth jumps at its cuts.
        NaN where the chosen one is none of those that are weighed: its HIT moves, or its zoom or its windows are not
        what goes with a held HIT.
    is_chosen : bool
    """

    what: str
    hit_pct: float
    near_pct: float
    far_pct: float
    over_pct: float
    move: float
    lost: float
    window: float
    jumps: float
    is_chosen: bool

    @property
    def cost(self) -> float:
        """The sum that is made least; NaN where a part of it is."""
        return self.move + self.lost + self.window + self.jumps


@dataclass(frozen=True)
class Why:
    """Everything that led to one shot's plan."""

    shot: str
    first: int
    last: int
    how: str
    limits: tuple[tuple[str, float, float, str], ...]
    """Name, percent of width, millimetres on this screen, rule."""
    before: Figures
    after: Figures
    cuts: tuple[Cut, ...]
    alternatives: tuple[Alternative, ...]
    reason: str
    flags: tuple[Flag, ...]


def why(decided: Decided, name: str) -> Why:
    """Explain the shot of that name; raises KeyError where there is none."""
    plan = decided.plan
    decision = next((one for one in decided.decisions if one.plan.name == name), None)
    if decision is None:
        raise KeyError(name)
    limits = plan.limits
    rows = (
        ("far", limits.far_pct, limits.far_rule),
        ("near", limits.near_pct, limits.near_rule),
        ("range", limits.range_pct, limits.range_rule),
    )
    return Why(
        name,
        decision.plan.first,
        decision.plan.last,
        decision.how,
        tuple((word, pct, mm_from_pct(pct, plan.screen.width_mm), rule) for word, pct, rule in rows),
        decision.shot.before,
        decision.after,
        tuple(cut for cut in (decision.entry, decision.leave) if cut is not None),
        _alternatives(decision, plan),
        decision.plan.reason,
        decided.flags[name],
    )


def _alternatives(decision: Decision, plan: Plan) -> tuple[Alternative, ...]:
    """As shot; the least for its own limits; cheapest on its own; without a window; as chosen. Each HIT once."""
    shot, drawing = decision.shot, decision.held_drawing
    if shot.before.measured_frames == 0:
        return ()
    candidates = candidate_hits_pct(shot.before, plan.limits, plan.clip, drawing)
    hits, _ = open_hits_pct(shot.before, plan.limits, candidates, drawing, plan.clip)
    named: dict[float, list[str]] = {} if decision.moves else {decision.held_pct: []}

    def add(pct: float | None, what: str) -> None:
        if pct is not None:
            named.setdefault(written_pct(pct), []).append(what)

    add(0.0, "as shot")
    add(float(hits[np.argmin(np.abs(hits))]), "own limits")
    add(decision.alone_pct if decision.how == "held" else None, "own best")
    add(least_windowless(hits, shot.arrays, plan.clip, drawing, plan.settings), "no window")
    add(decision.held_pct if decision.moves and decision.how == "held" else None, "held throughout")
    pcts = np.array(sorted(named))
    move, lost, window = costs_alone(pcts, shot.arrays, plan.clip, drawing, plan.settings)
    zoom, to_pct = drawing.stretches(pcts, plan.clip), 100.0 / plan.clip.width_px
    applied = pcts if drawing.is_resampled else whole_hits_px(pcts / to_pct, plan.clip.step_px) * to_pct
    near, far = zoom * shot.before.near_pct + applied, zoom * shot.before.far_pct + applied
    over = np.maximum(np.maximum(far - plan.limits.far_pct, plan.limits.near_pct - near), 0.0)
    jumps = _jumps(decision, plan, pcts, zoom, shot)
    made = [_moving(decision, plan)] if decision.moves else []
    for i, pct in enumerate(pcts.tolist()):
        is_chosen = not decision.moves and pct == decision.held_pct
        what = ", ".join(named[pct]) or ("with its neighbours" if decision.how == "held" else decision.how)
        columns = {"near_pct": near, "far_pct": far, "over_pct": over}
        costs = {"move": move, "lost": lost, "window": window, "jumps": jumps}
        figures = {name: float(column[i]) for name, column in (columns | costs).items()}
        one = Alternative(what=what, hit_pct=pct, is_chosen=is_chosen, **figures)
        made.append(_as_planned(one, decision, plan, float(zoom[i])) if is_chosen else one)
    return tuple(made)


def _moving(decision: Decision, plan: Plan) -> Alternative:
    """The row of a HIT that moves: no cost of a held HIT is its own."""
    nan = float("nan")
    what = "eased at its ends" if decision.how == "held" else decision.how
    return Alternative(what, nan, *_after(decision, plan), nan, nan, nan, nan, True)


def _after(decision: Decision, plan: Plan) -> tuple[float, float, float]:
    """Near, far, and how far the worse of them is outside, as planned."""
    near, far = decision.after.near_pct, decision.after.far_pct
    return near, far, max(far - plan.limits.far_pct, plan.limits.near_pct - near, 0.0)


def _as_planned(one: Alternative, decision: Decision, plan: Plan, zoom: float) -> Alternative:
    """The row of the chosen HIT, without costs where the plan's zoom or windows are not those that were weighed."""
    near, far, over = _after(decision, plan)
    one = replace(one, near_pct=near, far_pct=far, over_pct=over)
    nan = float("nan")
    if abs(stretch_of(decision.plan, plan.clip) - zoom) > 1e-9:
        return replace(one, lost=nan, window=nan, jumps=nan)
    has_window = any(max(*key.left_px, *key.right_px) > 0.0 for key in decision.plan.window)
    if plan.settings.convergence.window_weight > 0.0 and has_window != (one.window > 0.0):
        return replace(one, lost=nan, window=nan)
    return one


def _jumps(decision: Decision, plan: Plan, pcts: np.ndarray, zoom: np.ndarray, shot: EditShot) -> np.ndarray:
    """Cost of the depth jumps at both cuts for each HIT, while the shots beside it keep their plans."""
    weight = plan.settings.convergence.jump_weight
    entry_depth, leave_depth = depths_of(shot, decision.plan)
    ends = moves_of(decision.plan, plan.clip, [decision.plan.first, decision.plan.last]).hit_px
    moved = dict(zip(("entry", "leave"), ends * 100.0 / plan.clip.width_px))
    total, stretch = np.zeros(pcts.shape), stretch_of(decision.plan, plan.clip)
    if decision.entry is not None:
        other = stretch * entry_depth + moved["entry"] - decision.entry.planned_pct
        total += jump_cost(np.full(pcts.shape, other), zoom * entry_depth + pcts, decision.entry.tolerance_pct, weight)
    if decision.leave is not None:
        other = stretch * leave_depth + moved["leave"] + decision.leave.planned_pct
        total += jump_cost(zoom * leave_depth + pcts, np.full(pcts.shape, other), decision.leave.tolerance_pct, weight)
    return total


def why_lines(found: Why, plan: Plan) -> list[str]:
    """The same as lines of text for a person."""
    lines = [f"{found.shot}, frames {found.first} to {found.last}, on {plan.screen.name}", "", "limits"]
    lines += [f"  {word} {signed_pct(pct)} ({signed_mm(mm)}): {rule}" for word, pct, mm, rule in found.limits]
    before, after = found.before, found.after
    lines += ["", "measured, and after the move"]
    for word in ("near", "far", "range", "median", "left_edge", "right_edge"):
        was, now = (getattr(figures, f"{word}_pct") for figures in (before, after))
        if was == was:
            lines.append(f"  {word.replace('_', ' ')} {signed_pct(was)}, then {signed_pct(now)}")
    lines.append(f"  measured in {before.measured_frames} of {before.frames} frame{'s' if before.frames != 1 else ''}")
    for cut in found.cuts:
        if cut.as_shot_pct == cut.as_shot_pct:
            lines.append(
                f"  depth jump at {cut.other}: {abs(cut.as_shot_pct):.2f} %, then {abs(cut.planned_pct):.2f} % "
                f"(up to {cut.tolerance_pct:.2f} % needs no care)"
            )
    return lines
