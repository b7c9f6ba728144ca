"""Where one eye's picture goes: the one transform that a picture is drawn with."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Placement:
    """Where a point of the source picture goes, both in luma pixels from the frame's centre, x to the right and y down:

        out = zoom * turn(X) + (right_px, down_px)

    Attributes
    ----------
    zoom : float
        Above 1 enlarges.
    right_px, down_px : float
        Move, after zoom and turn.
    turn_deg : float
        About the centre, clockwise as seen is positive.
    """

    zoom: float = 1.0
    right_px: float = 0.0
    down_px: float = 0.0
    turn_deg: float = 0.0

    @property
    def is_still(self) -> bool:
        """True where the picture stays as it is."""
        return self == Placement()


STILL = Placement()
"""The picture stays as it is."""
