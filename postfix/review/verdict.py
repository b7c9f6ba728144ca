"""How a shot stands on a screen, in a sign and in words, and which of its figures decides."""

from __future__ import annotations

import math
from dataclasses import dataclass

from postfix.limits import Limits
from postfix.plan.figures import EDGE_TOLERANCE_PCT, range_budget
from postfix.review.logged import LoggedShot, Version
from postfix.review.words import pct_text

FLAG_WORDS = {
    "far": "too far behind",
    "near": "too far in front",
    "range": "range too large",
    "left-edge": "in front of the left edge",
    "right-edge": "in front of the right edge",
    "not-measured": "could not be measured",
}


@dataclass(frozen=True)
class Verdict:
    """A shot on a screen.

    Attributes
    ----------
    sign, words : str
        Say the same, so that neither colour nor a missing sign in a font hides it.
    is_bad : bool
        Something stays outside its limits or could not be judged.
    worst : str
        The figure that is nearest to its limit, or farthest beyond it.
    """

    sign: str
    words: str
    is_bad: bool
    worst: str


def verdict(version: Version, shot: LoggedShot) -> Verdict:
    """How a shot stands after the change."""
    worst = worst_text(shot, version.limits)
    done = what_was_done(shot)
    # Frames were measured and yet something could not be judged: an edge beside a planned window.
    edge_unknown = bool(shot.after and shot.after.measured_frames) and any(f.code == "not-measured" for f in shot.flags)
    if edge_unknown:
        done = f"{done}, the edge not proven"
    others = [flag for flag in shot.flags if flag.code != "not-measured"]
    # Nothing measured is never "fits", whatever the log's flags say.
    if not others and (shot.flags or (shot.after is not None and shot.after.measured_frames == 0)):
        words = "an edge could not be judged" if edge_unknown else "could not be judged"
        return Verdict("?", words, True, f"{worst}; {done}")
    if others:
        return Verdict("▲", "outside its limits", True, f"{worst}; {done}")
    sign = "".join(sign for sign, is_so in (("↔", shot.is_moved), ("▮", shot.is_windowed)) if is_so) or "✓"
    if shot.after is None:
        return Verdict("?", f"{done}, result not measured", False, worst)
    return Verdict(sign, done if needs_a_look(shot) else "fits as shot", False, worst)


def what_was_done(shot: LoggedShot) -> str:
    """``moved``, ``windowed``, ``moved and windowed`` or ``nothing was changed``."""
    words = [word for word, is_so in (("moved", shot.is_moved), ("windowed", shot.is_windowed)) if is_so]
    return " and ".join(words) or "nothing was changed"


def needs_a_look(shot: LoggedShot) -> bool:
    """Changed or flagged."""
    return shot.is_moved or shot.is_windowed or bool(shot.flags)


def worst_text(shot: LoggedShot, limits: Limits) -> str:
    """The figure after the change that stands worst against its limit; words where nothing was measured."""
    after = shot.after
    if after is None:
        return "not measured"
    budget, _ = range_budget(limits)
    choices = (
        (after.far_pct - limits.far_pct, f"far {pct_text(after.far_pct)}, limit {pct_text(limits.far_pct)}"),
        (limits.near_pct - after.near_pct, f"near {pct_text(after.near_pct)}, limit {pct_text(limits.near_pct)}"),
        (after.range_pct - budget, f"range {after.range_pct:.2f} %, limit {budget:.2f} %"),
        *(
            (
                excess - EDGE_TOLERANCE_PCT,
                f"{excess:.2f} % in front of the {side} edge, limit {EDGE_TOLERANCE_PCT:.2f} %",
            )
            for side, excess in (("left", after.left_excess_pct), ("right", after.right_excess_pct))
            # Nothing in front of the edge is no figure worth showing.
            if excess > 0.0
        ),
    )
    measured = [choice for choice in choices if math.isfinite(choice[0])]
    return max(measured)[1] if measured else "not measured"
