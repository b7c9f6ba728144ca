"""How each shot fares on each screen, and what is to blame where one cannot fit."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np

from postfix.camera import fitting_interaxial_share
from postfix.measure.columns import Columns
from postfix.plan.clip import Decided
from postfix.plan.drafts import corridor_of
from postfix.plan.figures import LIMIT_TOLERANCE_PCT, predicted, range_budget, signed_pct
from postfix.plan.geometry import SIDES, Array, Mask, moves_of, widest_px
from postfix.plan.model import Flag, Plan
from postfix.plan.reasons import Decision
from postfix.plan.windows import window_shortfall_px

Verdict = Literal["as shot", "HIT", "window", "cannot fit", "not known"]
"""``HIT`` also where a shot is only enlarged or aligned; ``window`` may come with a HIT; ``not known``: hardly anything
could be measured."""

_LIMIT_CODES = ("far", "near", "range")
_EDGE_CODES = ("left-edge", "right-edge", "window")

LETS_THROUGH = "window lets through"
"""What is the matter where a window is translucent and nothing worse is."""


@dataclass(frozen=True)
class Blame:
    """What keeps a shot from fitting.

    Attributes
    ----------
    frames : tuple of (int, int)
        Stretches of frames of the clip, both ends included, that stay outside.
    near_box, far_box : tuple of 4 ints, or None
        Where the nearest and the farthest content of those frames is: x, y, width, height in pixels of the left eye.
        None where it is not known, or not to blame.
    near_where, far_where : str
        The same in words; empty where there is no box.
    interaxial_share : float
        Share of the interaxial with which it would have fitted, below 1; NaN where nothing can be said.
    with_one_hit : bool
        Whether that share is the one with which one HIT would have fitted the whole shot, less than each frame needs.
    """

    frames: tuple[tuple[int, int], ...]
    near_box: tuple[int, int, int, int] | None
    far_box: tuple[int, int, int, int] | None
    near_where: str
    far_where: str
    interaxial_share: float
    with_one_hit: bool = False


@dataclass(frozen=True)
class Fit:
    """One shot on one screen.

    Attributes
    ----------
    shot, screen : str
    verdict : Verdict
    over_pct : float
        By how much the worst of far, near and range, else of the edges with their windows, stays outside, percent of
        width; 0 if inside, NaN where there is no such figure.
    over_what : str
        Which of them, or :data:`LETS_THROUGH`; empty if inside.
    hit_pct : (float, float)
        Least and most HIT of the shot.
    window_px : (float, float)
        Widest window, left and right.
    by_hand : bool
        Whether a person decided its HIT or locked it.
    blame : Blame or None
        Where it cannot fit.
    aligned : bool
        Whether a misalignment is taken out of its pictures.
    """

    shot: str
    screen: str
    verdict: Verdict
    over_pct: float
    over_what: str
    hit_pct: tuple[float, float]
    window_px: tuple[float, float]
    by_hand: bool
    blame: Blame | None
    aligned: bool = False


def fits_of(decided: Decided) -> tuple[Fit, ...]:
    """How every shot of a plan fares on its screen."""
    plan, edit = decided.plan, decided.edit
    flags = decided.flags
    return tuple(_fit(decision, flags[decision.plan.name], plan, edit.columns) for decision in decided.decisions)


def _fit(decision: Decision, flags: tuple[Flag, ...], plan: Plan, columns: Columns) -> Fit:
    shot, codes = decision.plan, {str(flag.code) for flag in flags}
    hit = moves_of(shot, plan.clip).hit_px * 100.0 / plan.clip.width_px
    window = widest_px(shot.window)
    over_pct, over_what, verdict = 0.0, "", _inside(decision, float(np.abs(hit).max()), window)
    blame = None
    if codes & {*_LIMIT_CODES, *_EDGE_CODES}:
        verdict = "cannot fit"
        over_pct, over_what = _worst(decision, plan, codes)
        blame = _blame(decision, plan, columns) if codes & set(_LIMIT_CODES) else None
    by_hand = decision.how in ("by hand", "subject", "locked")
    ends = (float(hit.min()), float(hit.max()))
    return Fit(shot.name, plan.screen.name, verdict, over_pct, over_what, ends, window, by_hand, blame, shot.align)


def _inside(decision: Decision, most_hit_pct: float, window_px: tuple[float, float]) -> Verdict:
    if decision.shot.before.measured_frames == 0:
        return "not known"
    if max(window_px) > 0.0:
        return "window"
    return "HIT" if most_hit_pct > 0.0 or decision.plan.zoom != 1.0 or decision.plan.align else "as shot"


def _worst(decision: Decision, plan: Plan, codes: set[str]) -> tuple[float, str]:
    """How far the worst is outside, and what it is."""
    after, limits = decision.after, plan.limits
    over = {
        "far": after.far_pct - limits.far_pct,
        "near": limits.near_pct - after.near_pct,
        "range": after.range_pct - range_budget(limits)[0],
    }
    outside = {what: pct for what, pct in over.items() if what in codes}
    if not outside:
        outside = _edges_outside(decision, plan, codes)
    if not outside:
        return float("nan"), LETS_THROUGH
    what = max(outside, key=lambda key: outside[key])
    return float(outside[what]), what


def _edges_outside(decision: Decision, plan: Plan, codes: set[str]) -> dict[str, float]:
    """What is in front of each edge that is flagged, or whose window is too narrow, as the windows leave it."""
    windows, clip = plan.settings.window, plan.clip
    after = predicted(decision.shot.arrays, decision.plan, clip, windows)
    short_px = (0.0, 0.0)
    if "window" in codes:
        short_px = window_shortfall_px(decision.shot.arrays, moves_of(decision.plan, clip), clip, windows)
    excess = (after.left_excess_pct, after.right_excess_pct)
    return {
        f"{side} edge": pct
        for side, pct, px in zip(SIDES, excess, short_px)
        if np.isfinite(pct) and (f"{side}-edge" in codes or px > 0.0)
    }


def _blame(decision: Decision, plan: Plan, columns: Columns) -> Blame:
    shot = decision.shot
    far, near, wide = _outside(decision, plan)
    frames = np.flatnonzero(far | near | wide) + shot.first
    far_box = _box(columns.far_box, np.flatnonzero(far | wide) + shot.first)
    near_box = _box(columns.near_box, np.flatnonzero(near | wide) + shot.first)
    size = (plan.clip.width_px, plan.clip.height_px)
    share, with_one_hit = _fitting_share(decision, plan)
    return Blame(
        _stretches(frames),
        near_box,
        far_box,
        "" if near_box is None else region(near_box, size),
        "" if far_box is None else region(far_box, size),
        share,
        with_one_hit,
    )


def _fitting_share(decision: Decision, plan: Plan) -> tuple[float, bool]:
    """Share of the interaxial with which a shot would have fitted, and whether that is with one HIT for all of it.

    One HIT must hold the whole shot between the limits. One that moves must hold each frame on its own, where it may
    move and is fast enough to follow.
    """
    limits, convergence, before = plan.limits, plan.settings.convergence, decision.shot.before
    budget, room = range_budget(limits)[0], limits.far_pct - limits.near_pct
    each, whole = (
        share if np.isfinite(share) else np.inf
        for share in (
            fitting_interaxial_share(before.range_pct, budget),
            fitting_interaxial_share(before.far_pct - before.near_pct, room),
        )
    )
    if decision.how in ("held", "eased"):
        corridor = corridor_of(decision.shot.arrays, limits, min(each, 1.0))
        speed = convergence.ease_pct_per_frame(plan.clip.rate)
        # Where every frame has room enough as it was shot, a move was looked for and none was found.
        may_move = convergence.ease and each < 1.0 and corridor.can_be_followed(speed)
    else:
        may_move = decision.moves
    with_one_hit = whole < each and not may_move
    share = whole if with_one_hit else each
    return (float(share), with_one_hit) if share < 1.0 else (float("nan"), False)


def _outside(decision: Decision, plan: Plan) -> tuple[Mask, Mask, Mask]:
    """Frames of a shot in which far, near, or the range stays outside: (n,) each."""
    arrays, limits = decision.shot.arrays, plan.limits
    moves = moves_of(decision.plan, plan.clip)
    hit = moves.hit_px * 100.0 / plan.clip.width_px
    tolerance, budget = LIMIT_TOLERANCE_PCT, range_budget(limits)[0]
    far = moves.zoom * arrays.far + hit - limits.far_pct > tolerance
    near = limits.near_pct - (moves.zoom * arrays.near + hit) > tolerance
    wide = moves.zoom * arrays.span - budget > tolerance
    return np.asarray(far), np.asarray(near), np.asarray(wide)


def _stretches(frames: np.typing.NDArray[np.int64]) -> tuple[tuple[int, int], ...]:
    """Runs of consecutive frames as (first, last)."""
    if not frames.size:
        return ()
    parts = np.split(frames, np.flatnonzero(np.diff(frames) > 1) + 1)
    return tuple((int(part[0]), int(part[-1])) for part in parts)


def _box(boxes: Array, frames: np.typing.NDArray[np.int64]) -> tuple[int, int, int, int] | None:
    """The middle of the boxes of some frames, so that one wild frame does not spread it."""
    known = boxes[frames]
    known = known[np.isfinite(known).all(axis=1)]
    if not len(known):
        return None
    x, y, width, height = (round(float(value)) for value in np.median(known, axis=0))
    return x, y, width, height


def region(box: tuple[int, int, int, int], size: tuple[int, int]) -> str:
    """Where in the picture a box lies, in words: ``upper left``, ``the middle``, ``the whole picture``."""
    x, y, width, height = box
    if width >= 0.8 * size[0] and height >= 0.8 * size[1]:
        return "the whole picture"
    across = _third((x + width / 2.0) / size[0], "left", "right") if width < 0.8 * size[0] else ""
    down = _third((y + height / 2.0) / size[1], "upper", "lower") if height < 0.8 * size[1] else ""
    if across and down:
        return f"{down} {across}"
    if down:
        return f"{down} part"
    return f"{across} side" if across else "the middle"


def _third(share: float, low: str, high: str) -> str:
    return low if share < 1.0 / 3.0 else high if share > 2.0 / 3.0 else ""


def fit_words(fit: Fit) -> str:
    """A cell of the table of shots and screens: short, and never the same for two different verdicts."""
    low, high = fit.hit_pct
    moved = "" if low == high == 0.0 else f"HIT {signed_pct(low)[:-2]}" if low == high else "HIT eased"
    pinned = "*" if fit.by_hand else ""
    if fit.verdict == "cannot fit":
        return (
            f"over {fit.over_pct:.2f} {fit.over_what}{pinned}" if np.isfinite(fit.over_pct) else fit.over_what + pinned
        )
    if fit.verdict == "window":
        return f"{moved} + window{pinned}" if moved else f"window{pinned}"
    if fit.verdict == "HIT":
        return (moved or ("aligned" if fit.aligned else "enlarged")) + pinned
    return fit.verdict + pinned


def blame_words(fit: Fit) -> str:
    """One sentence on what keeps a shot from fitting; empty where it fits or nothing can be said."""
    blame = fit.blame
    if blame is None:
        return ""
    parts = [_frames_words(blame.frames)]
    for word, where, box in (
        ("nearest", blame.near_where, blame.near_box),
        ("farthest", blame.far_where, blame.far_box),
    ):
        if box is not None:
            parts.append(f"{word} content: {where} (x {box[0]}, y {box[1]}, {box[2]}x{box[3]} px)")
    if blame.interaxial_share < 1.0:
        # Never 100 %: that is what was shot.
        pct = min(blame.interaxial_share * 100.0, 99.9)
        share = f"{pct:.0f}" if pct < 99.5 else f"{pct:.1f}"
        one = " with one HIT for the whole shot" if blame.with_one_hit else ""
        parts.append(f"{share} % of the interaxial would have fitted{one}")
    return "; ".join(filter(None, parts))


def _frames_words(frames: tuple[tuple[int, int], ...]) -> str:
    if not frames:
        return ""
    spans = [f"{first}" if first == last else f"{first} to {last}" for first, last in frames[:3]]
    more = len(frames) - 3
    text = ", ".join(spans) + (f" and {more} more stretches" if more > 0 else "")
    return f"frames {text}" if len(frames) > 1 or frames[0][0] != frames[0][1] else f"frame {text}"
