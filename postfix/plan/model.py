"""The plan: what will be done to each shot for one screen.

Signs and terms: ``hit`` is horizontal image translation as the total change of parallax in percent of width, positive
pushing the scene away: ``P_after = zoom · P_before + hit``. It is shared between the eyes: the right eye moves by about
half of it to the right and the left eye by the rest to the left.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Literal

from postfix.camera import Camera
from postfix.limits import Limits
from postfix.measure.table import ClipInfo
from postfix.plan.settings import Fill, PlanSettings
from postfix.viewing import Screen


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
class Subject:
    """What a person wants to lie at a given depth.

    Attributes
    ----------
    frame : int
        Of the clip, counted from 0.
    box : tuple of 4 ints
        Where it is in that frame of the left eye, in pixels of the source: x, y, width, height.
    at_pct : float
        Parallax that it shall have, percent of width.
    found_pct : float or None
        Parallax that was measured in that box, percent of width; None where nobody has looked yet.
    """

    frame: int
    box: tuple[int, int, int, int]
    at_pct: float
    found_pct: float | None = None


@dataclass(frozen=True)
class Misalignment:
    """How the right eye's picture lies against the left's, about the picture's centre; None where it is not known.

    Attributes
    ----------
    vertical_px : float or None
        Positive where the right eye's is lower.
    rotation_deg : float or None
        Positive where it is turned clockwise as seen.
    size_pct : float or None
        Positive where it is larger.
    """

    vertical_px: float | None = None
    rotation_deg: float | None = None
    size_pct: float | None = None

    @property
    def is_none(self) -> bool:
        """Whether both eyes lie alike, as far as it is known."""
        return not (self.vertical_px or self.rotation_deg or self.size_pct)


Part = Literal["hit", "fill", "window", "subpixel", "align"]
"""What of a shot can be decided by hand on its own: HIT with zoom, fill, window, whether it is drawn at fractions of a
pixel, whether and by what it is aligned."""

PARTS: tuple[Part, ...] = ("hit", "fill", "window", "subpixel", "align")


@dataclass(frozen=True)
class ShotPlan:
    """Decisions for one shot; frames of the clip, counted from 0, both ends included.

    Attributes
    ----------
    window_soft_px, window_opacity_pct : float
        Soft edge beside the opaque part of every window of the shot, on the picture's side and never wider than the
        window is beyond what the move laid bare; and how much a window hides.
    subpixel : bool
        Whether the HIT is applied to a fraction of a pixel, the pictures drawn anew; else in whole steps, as copies.
    align : bool
        Whether ``misalignment`` is taken out of the pictures, half of it in each eye.
    misalignment : Misalignment or None
        Never None where ``align`` is true.
    subject : Subject or None
        The HIT follows from it.
    by_hand : tuple of Part
        What a person decided and planning leaves alone.
    locked : bool
        Everything is by hand.
    camera : Camera or None
        How it was filmed, as far as it was noted; changes no picture.
    """

    name: str
    first: int
    last: int
    hit: tuple[HitKey, ...] = (HitKey(0, 0.0),)
    zoom: float = 1.0
    fill: Fill = "hide"
    window: tuple[WindowKey, ...] = ()
    window_soft_px: float = 0.0
    window_opacity_pct: float = 100.0
    subpixel: bool = False
    align: bool = False
    misalignment: Misalignment | None = None
    subject: Subject | None = None
    by_hand: tuple[Part, ...] = ()
    locked: bool = False
    reason: str = ""
    camera: Camera | None = None


@dataclass(frozen=True)
class Pin:
    """What a person wants of one shot before anything is planned: the shot of that name, or that holds that frame."""

    shot: str | None = None
    frame: int | None = None
    hit: tuple[HitKey, ...] = ()
    subject: Subject | None = None
    where: str = ""
    """File and line that it comes from, for messages."""


@dataclass(frozen=True)
class Plan:
    """Decisions for a clip on one screen. Shots cover every frame once, in order."""

    screen: Screen
    limits: Limits
    clip: ClipInfo
    shots: tuple[ShotPlan, ...]
    settings: PlanSettings = field(default_factory=PlanSettings)


@dataclass(frozen=True)
class Flag:
    """Something outside its limit, or that could not be judged."""

    code: Literal["far", "near", "range", "left-edge", "right-edge", "window", "not-measured", "bad_frame"]
    text: str
