"""The plan: what will be done to each shot for one screen.

Signs and terms: ``hit`` is horizontal image translation as the total change of parallax in percent of width, positive
pushing the scene away: ``P_after = zoom · P_before + hit``. It is shared between the eyes: the right eye moves by about
half of it to the right and the left eye by the rest to the left.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from postfix.measure.table import ClipInfo
from postfix.viewing import Limits, Screen

Fill = Literal["hide", "zoom", "crop"]
"""What becomes of columns laid bare by the move. ``hide``: black in the eye that lacks them, so that the window moves
with them. ``crop``: black in both eyes alike, so that the window stays at the screen. ``zoom``: both eyes enlarged just
enough to cover them, the one choice that resamples."""

FILLS: tuple[Fill, ...] = ("hide", "zoom", "crop")


@dataclass(frozen=True)
class HitKey:
    """HIT at one frame of the clip; between two keys the move is eased."""

    frame: int
    pct: float


@dataclass(frozen=True)
class WindowKey:
    """Pixels hidden at one frame: (top, bottom) of the left edge in the left eye and the right edge in the right eye.

    Counted from the frame edge and so including columns that the move laid bare there. Linear between two keys.
    """

    frame: int
    left_px: tuple[float, float]
    right_px: tuple[float, float]


@dataclass(frozen=True)
class ShotPlan:
    """Decisions for one shot; frames of the clip, counted from 0, both ends included."""

    name: str
    first: int
    last: int
    hit: tuple[HitKey, ...] = (HitKey(0, 0.0),)
    zoom: float = 1.0
    fill: Fill = "hide"
    window: tuple[WindowKey, ...] = ()
    locked: bool = False
    reason: str = ""


@dataclass(frozen=True)
class Plan:
    """Decisions for a clip on one screen. Shots cover every frame once, in order."""

    screen: Screen
    limits: Limits
    clip: ClipInfo
    shots: tuple[ShotPlan, ...]


@dataclass(frozen=True)
class Flag:
    """Something outside its limit, or that could not be judged."""

    code: Literal["far", "near", "range", "left-edge", "right-edge", "not-measured"]
    text: str
