"""What is known of a shot's misalignment from its frames: one figure each for height, turn and size."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from postfix.measure.columns import Columns
from postfix.measure.table import ClipInfo
from postfix.plan.aligning import Array
from postfix.plan.model import Misalignment
from postfix.plan.robust import CONFIDENCE_FLOOR, MIN_FRAMES, middle

LEAST_CORNER_PCT = 0.02
"""A corner of the picture that lies off by less, in percent of width, is let be: what the measurement can tell is
little better, and drawing pictures anew softens them a trace. Project default."""

STEADY_SHARE = 0.5
"""Frames of a shot may differ from its middle by this share of the middle itself (half of them by more, half by less),
both as their most displaced corner; else there is no one misalignment. Project default."""

_DIGITS = {"vertical_px": 3, "rotation_deg": 4, "size_pct": 4}
"""As a measurement file holds them."""


@dataclass(frozen=True)
class FoundMisalignment:
    """What can be taken out of a shot's pictures.

    Attributes
    ----------
    misalignment : Misalignment or None
    why_not : str
        Where it is None, why.
    """

    misalignment: Misalignment | None
    why_not: str = ""


def find_misalignment(columns: Columns, first: int, last: int) -> FoundMisalignment:
    """The middle of what frames ``first`` to ``last``, both included, were measured with confidence.

    Turn and size count where they were told in most of the frames in which height was; what was not told stays None.
    """
    part, clip = slice(first, last + 1), columns.clip
    trusted = columns.confidence[part] >= CONFIDENCE_FLOOR
    vertical, rotation, size = (
        np.where(trusted, values[part], np.nan)
        for values in (columns.vertical_px, columns.rotation_deg, columns.size_pct)
    )
    known = np.isfinite(vertical)
    count, whole = int(known.sum()), known & np.isfinite(rotation) & np.isfinite(size)
    if count < min(MIN_FRAMES, len(vertical)):
        frames = "none of its frames" if not count else f"only {count} of its {len(vertical)} frames"
        return FoundMisalignment(None, f"how the eyes lie against each other could be measured in {frames}")
    if 2 * int(whole.sum()) > count:
        figures = {"vertical_px": vertical[whole], "rotation_deg": rotation[whole], "size_pct": size[whole]}
    else:
        figures = {"vertical_px": vertical[known]}
    found = Misalignment(**{name: round(middle(values), _DIGITS[name]) + 0.0 for name, values in figures.items()})
    most = corner_pct(found, clip)
    if most < LEAST_CORNER_PCT:
        return FoundMisalignment(
            None, f"no corner lies off by more than {most:.3f} % of width, too little to redraw for"
        )
    off = middle(_corners_px([values - getattr(found, name) for name, values in figures.items()], clip))
    off_pct = off * 100.0 / clip.square_width_px
    if off_pct > max(STEADY_SHARE * most, LEAST_CORNER_PCT):
        text = f"it differs from frame to frame: half of them are more than {off_pct:.2f} % of width off their middle"
        return FoundMisalignment(None, text)
    return FoundMisalignment(found)


def corner_pct(misalignment: Misalignment, clip: ClipInfo) -> float:
    """How far that corner of the picture lies off that does so most, either way, percent of width."""
    figures = (misalignment.vertical_px, misalignment.rotation_deg, misalignment.size_pct)
    most_px = float(_corners_px([np.array([value or 0.0]) for value in figures], clip)[0])
    return most_px * 100.0 / clip.square_width_px


def side_shift_pct(misalignment: Misalignment, clip: ClipInfo) -> float:
    """The most that taking a misalignment out changes parallax by anywhere in the picture, percent of width: at the top
    and the bottom for a turn, at the sides for a size."""
    turn = abs(math.sin(math.radians(misalignment.rotation_deg or 0.0))) * clip.height_px / 2.0
    size = abs(misalignment.size_pct or 0.0) / 100.0 * clip.square_width_px / 2.0
    return (turn + size) * 100.0 / clip.square_width_px


def lay_words(known: Misalignment) -> str:
    """How the right eye's picture lies; what is not known is not told."""
    parts = []
    for value, unit, more, less in (
        (known.vertical_px, " px", "lower", "higher"),
        (known.rotation_deg, "°", "turned clockwise", "turned anticlockwise"),
        (known.size_pct, " %", "larger", "smaller"),
    ):
        if value is not None:
            parts.append(f"{abs(value):.2f}{unit} {more if value >= 0.0 else less}")
    return ", ".join(parts)


def _corners_px(figures: list[Array], clip: ClipInfo) -> Array:
    """Displacement of the most displaced corner for each of n frames, in pixels as wide as the clip's are high; height,
    and turn and size where there are any."""
    half_x, half_y = clip.square_width_px / 2.0, clip.height_px / 2.0
    vertical, turn, size = (figures + [np.zeros(len(figures[0]))] * 2)[:3]
    turn, size = np.radians(np.abs(turn)), np.abs(size) / 100.0
    # Among the four corners the signs come together so that one has all of it at its worst, in height and across.
    down = np.abs(vertical) + turn * half_x + size * half_y
    across = turn * half_y + size * half_x
    return np.asarray(np.hypot(down, across))
