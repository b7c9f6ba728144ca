"""Where one eye's picture goes: the one transform that a picture is drawn with."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Placement:
    """Where a point of the source picture goes, both in luma pixels from the frame's centre, x to the right and y down:

        out = zoom * turn(X) + (right_px, down_px)

    The turn is one of the picture as it is shown: where pixels are not square, x is brought to the unit of y for it.

    Attributes
    ----------
    zoom : float
        Above 1 enlarges.
    right_px, down_px : float
        Move, after zoom and turn.
    turn_deg : float
        About the centre, clockwise as seen is positive.
    pixel_aspect : float
        Width over height of one pixel as it is shown; without a turn it says nothing.
    """

    zoom: float = 1.0
    right_px: float = 0.0
    down_px: float = 0.0
    turn_deg: float = 0.0
    pixel_aspect: float = 1.0

    @property
    def is_still(self) -> bool:
        """True where the picture stays as it is."""
        return (self.zoom, self.right_px, self.down_px, self.turn_deg) == (1.0, 0.0, 0.0, 0.0)


STILL = Placement()
"""The picture stays as it is."""
