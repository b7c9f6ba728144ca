"""How large what lies in front of the screen is, on that screen and where it is seen.

The same picture fills a wall in a cinema and a table at home. What is in front of a small screen is seen small and
close, and looks like a toy; what is in front of a large one and wider than a part of it has no room to stand in.
"""

from __future__ import annotations

from postfix.story.frames import ShownShot
from postfix.story.model import Front
from postfix.story.seats import seen
from postfix.viewing import Screen, mm_from_pct


def front_of(shot: ShownShot, screen: Screen, aspect: float) -> Front | None:
    """What is in front in the frame of a shot in which the widest thing is; None where nothing is, or is known.

    Parameters
    ----------
    shot : ShownShot
    screen : Screen
        Its eye distance is the one that counts.
    aspect : float
        Width over height of the picture as it is shown.
    """
    widest = shot.front
    if widest is None:
        return None
    width_mm = mm_from_pct(widest.width_pct, screen.width_mm)
    at = seen(widest.middle_pct, screen, screen.eye_mm)
    return Front(
        frame=widest.frame,
        share_pct=widest.share_pct,
        width_pct=widest.width_pct,
        height_pct=widest.height_pct,
        width_mm=width_mm,
        height_mm=widest.height_pct / 100.0 * screen.width_mm / aspect,
        seen=at,
        seen_width_mm=None if at.distance_mm is None else width_mm * at.distance_mm / screen.distance_mm,
    )
