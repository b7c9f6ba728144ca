"""How a shot stands on a screen, in a sign and in words, and which of its figures decides."""

from __future__ import annotations

import math
from dataclasses import dataclass

from postfix.limits import Limits
from postfix.plan.bad_frames import BAD_FRAME
from postfix.plan.figures import EDGE_TOLERANCE_PCT, range_budget
from postfix.review.logged import LoggedShot, Version
from postfix.review.words import NOT_MEASURED, pct_text

FLAG_WORDS = {
    "far": "too far behind",
    "near": "too far in front",
    "range": "range too large",
    "left-edge": "in front of the left edge",
    "right-edge": "in front of the right edge",
    "window": "the window hides too little",
    "not-measured": "could not be measured",
    BAD_FRAME: "frames that cannot be read",
}

NOTICE_WORDS = {
    "front-wide": "wide in front of the screen",
    "hard-jump": "hard jump at the cut",
    "quick-cuts": "quick cuts",
    "seat": "from another seat",
    "flat": "flat",
    "stretched": "stretched",
    "lens": "lens",
    "camera": "noted and measured differ",
    "too-near": "too near for the interaxial",
    "focus": "focus not noted",
    "interaxial": "interaxial",
}
"""What notices are about; none of them is a flag."""

NOT_JUDGED = "not-measured"
"""The flag of what could not be judged."""

_NO_FIGURE = (NOT_JUDGED, BAD_FRAME)
"""Every other flag tells of a figure that is outside its limit."""


@dataclass(frozen=True)
class Worst:
    """The figure of a shot that stands worst against its limit.

    Attributes
    ----------
    excess_pct : float
        By how much it is beyond its limit, percent of width; negative inside, NaN where nothing was measured.
    text : str
        The figure and its limit.
    """

    excess_pct: float
    text: str


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
    figure = worst_text(shot, version.limits)
    done = what_was_done(shot)
    # Frames were measured and yet something could not be judged: an edge beside a planned window.
    edge_unknown = bool(shot.after and shot.after.measured_frames) and any(f.code == NOT_JUDGED for f in shot.flags)
    if edge_unknown:
        done = f"{done}, the edge not proven"
    others = cannot_fit(shot)
    # Nothing measured is never "fits", whatever the log's flags say.
    unknown = any(flag.code == NOT_JUDGED for flag in shot.flags)
    if not others and (unknown or (shot.after is not None and shot.after.measured_frames == 0)):
        words = "an edge could not be judged" if edge_unknown else "could not be judged"
        return Verdict("?", words, True, f"{figure}; {done}")
    if others:
        return Verdict("▲", "outside its limits", True, f"{figure}; {done}")
    if holds_bad_frames(shot):
        return Verdict("?", FLAG_WORDS[BAD_FRAME], True, f"{figure}; {done}")
    sign = "".join(sign for sign, is_so in (("↔", shot.is_moved), ("▮", shot.is_windowed)) if is_so) or "✓"
    if shot.after is None:
        return Verdict("?", f"{done}, result not measured", False, figure)
    return Verdict(sign, done if needs_a_look(shot) else "fits as shot", False, figure)


def what_was_done(shot: LoggedShot) -> str:
    """``moved``, ``windowed``, ``moved and windowed`` or ``nothing was changed``."""
    words = [word for word, is_so in (("moved", shot.is_moved), ("windowed", shot.is_windowed)) if is_so]
    return " and ".join(words) or "nothing was changed"


def needs_a_look(shot: LoggedShot) -> bool:
    """Changed or flagged."""
    return shot.is_moved or shot.is_windowed or bool(shot.flags)


def cannot_fit(shot: LoggedShot) -> bool:
    """Whether something stays outside its limit on this screen after all that was decided for the shot.

    The rule of the plan's own table of shots and screens (:func:`postfix.plan.fits.fits_of`), held against the
    finished pictures' flags: far, near, the range within a frame, a side edge, or a window that hides too little. HIT,
    zoom and windows have done by then what they can, so what is still flagged does not fit, whether the shot is too
    deep for the screen or a person wanted it so. What could not be judged is no proof of that and does not count, nor
    do frames of the source that cannot be read.
    """
    return any(flag.code not in _NO_FIGURE for flag in shot.flags)


def holds_bad_frames(shot: LoggedShot) -> bool:
    """Whether frames of the source could not be read, so that others are shown in their place."""
    return any(flag.code == BAD_FRAME for flag in shot.flags)


def worst_text(shot: LoggedShot, limits: Limits) -> str:
    """The figure after the change that stands worst against its limit; words where nothing was measured."""
    return worst(shot, limits).text


def worst(shot: LoggedShot, limits: Limits) -> Worst:
    """The figure after the change that stands worst against its limit, and by how much."""
    after = shot.after
    if after is None:
        return Worst(math.nan, NOT_MEASURED)
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
    return Worst(*max(measured)) if measured else Worst(math.nan, NOT_MEASURED)
