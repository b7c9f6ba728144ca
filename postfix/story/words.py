"""What is told of a shot, in sentences."""

from __future__ import annotations

from collections.abc import Sequence

from postfix.lengths import length_text
from postfix.plan.figures import signed_pct
from postfix.plan.settings import StorySettings
from postfix.story.model import Cut, FromSeat, Front


def pct_text(pct: float) -> str:
    """Parallax with its sign, ``+0.54 %``; ``0.00 %`` has none."""
    text = signed_pct(pct)
    return text[1:] if text == "+0.00 %" else text


def cut_text(cut: Cut) -> str:
    """A hard jump."""
    way = "forward" if cut.jump_pct < 0.0 else "back"
    return (
        f"at the cut into it the main mass jumps {way} by {abs(cut.jump_arcmin):.0f} arcmin "
        f"({pct_text(cut.jump_pct)} of width)"
    )


def quick_text(names: Sequence[str], settings: StorySettings) -> str:
    """A run of quick cuts, told at its last shot."""
    which = f"the cuts into {', '.join(names[:-1])} and {names[-1]}" if len(names) > 1 else f"the cut into {names[0]}"
    if len(names) > _NAMED:
        which = f"{len(names)} cuts in a row, from that into {names[0]} to that into {names[-1]},"
    verb = "lead" if len(names) > 1 else "leads"
    return (
        f"{which} {verb} into shots shorter than {settings.quick_shot_s:g} s with jumps of more than "
        f"{settings.quick_jump_arcmin:g} arcmin: hardly time to fuse (project default, no source)"
    )


_NAMED = 4
"""Shots that are named one by one."""


def front_text(front: Front, most_pct: float) -> str:
    """Something in front that is wider than the set part of the screen."""
    at = front.seen.distance_mm
    where = f", seen at {length_text(at)}" if at is not None else ""
    looks = f" as if {length_text(front.seen_width_mm)} wide" if front.seen_width_mm is not None else ""
    return (
        f"in frame {front.frame} what is in front of the screen is {front.width_pct:.0f} % of its width "
        f"({length_text(front.width_mm)} on this screen{where}{looks}), more than {most_pct:g} %"
    )


def seats_text(there: Sequence[FromSeat], most_deg: float) -> str:
    """Seats from which the eyes must turn apart."""
    each = ", ".join(f"{one.seat.name} {one.far.divergence_deg:.2f}°" for one in there)
    return f"eyes must turn apart by more than {most_deg:g}° from some seats: {each}"
