"""What a person may choose about decisions, with the project's own defaults.

No published figure was found for a depth jump at a cut, for the speed of a change of convergence, or for the size and
speed of a floating window. Where no source stands beside a default it is the project's own.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from fractions import Fraction
from typing import Literal

from postfix.limits import LimitRules, Span

Fill = Literal["hide", "zoom", "crop"]
"""What becomes of columns laid bare by the move. ``hide``: black in the eye that lacks them, so that the window moves
with them. ``crop``: black in both eyes alike, so that the window stays at the screen. ``zoom``: both eyes enlarged just
enough to cover them, the one choice that resamples."""

FILLS: tuple[Fill, ...] = ("hide", "zoom", "crop")

Subpixel = Literal["eased", "always", "never"]
"""Which shots are drawn at fractions of a pixel, by one resampling. ``eased``: those whose HIT moves, which would else
move in visible steps; a held HIT stays in whole steps, as plain copies. ``always``: every shot that is moved.
``never``: none."""

SUBPIXEL: tuple[Subpixel, ...] = ("eased", "always", "never")

HIT_MAX_PCT = 50.0
"""Largest HIT considered or accepted, percent of width."""


@dataclass(frozen=True)
class ConvergenceSettings:
    """How HIT is weighed over a whole edit.

    Limits and what a person pinned come first and are never traded. The rest is one sum, least is best:
    ``jump_weight`` for each percent of width by which the depth jump at a cut exceeds ``jump_arcmin``,
    ``change_weight`` for each percent by which a shot is moved, ``loss_weight`` for each percent of picture hidden in
    an eye by the move and its windows (mean over the shot), and ``window_weight`` for a shot that needs a window at
    all. The default weights put them in that order.

    Attributes
    ----------
    jump_arcmin : float
        Depth jump at a cut that needs no care: half of the range comfortable for most.
    jump_weight, change_weight, loss_weight, window_weight : float
    ease : bool
        Whether HIT may move inside a shot where no held one keeps the limits.
    ease_pct_per_s : float
        Fastest such move, percent of width a second, slow enough to go unseen.
    handover_frames : int
        Frames on each side of a cut over which both shots are eased towards each other where the jump is larger than
        ``jump_arcmin``; 0 for none.
    """

    jump_arcmin: float = 30.0
    jump_weight: float = 10.0
    change_weight: float = 2.0
    loss_weight: float = 1.0
    window_weight: float = 0.5
    ease: bool = True
    ease_pct_per_s: float = 1.0
    handover_frames: int = 0

    def ease_pct_per_frame(self, rate: Fraction) -> float:
        """Fastest eased move at a frame rate, percent of width from one frame to the next."""
        return self.ease_pct_per_s / float(rate)


@dataclass(frozen=True)
class WindowSettings:
    """How floating windows are made.

    Attributes
    ----------
    on : bool
        False: none at all; what touches an edge stays and is flagged.
    margin_pct : float
        Hidden beyond the need, percent of width.
    max_pct : float
        Widest window, percent of width; what would need more is flagged.
    speed_pct_per_s : float
        Fastest change of a window's width inside a shot, percent of width a second.
    ease_s : float
        Seconds in which a window gathers that speed, and loses it.
    hold_s : float
        A window stays at its full width for at least so long, and does not close between two needs that are nearer
        to each other than that.
    brief_s : float
        What touches an edge for less than this is left alone.
    tilt : bool
        Whether a window may be wider at its top or bottom.
    both_sides : bool
        Left and right alike, so that the whole window comes forward.
    soft_px : float
        Width of a soft edge in pixels, beside the opaque part on the picture's side.
    opacity_pct : float
        100 hides all; less leaves what is behind it to be seen faintly.
    """

    on: bool = True
    margin_pct: float = 0.1
    max_pct: float = 6.0
    speed_pct_per_s: float = 4.0
    ease_s: float = 0.125
    hold_s: float = 0.5
    brief_s: float = 0.0
    tilt: bool = True
    both_sides: bool = False
    soft_px: float = 0.0
    opacity_pct: float = 100.0


DEFAULT_WINDOWS = WindowSettings()


@dataclass(frozen=True)
class StorySettings:
    """What is worth telling of the depth of an edit, and from which seats it is looked at.

    None of it changes a picture. All are the project's own choices; no published figure was found.

    Attributes
    ----------
    quick_shot_s, quick_jump_arcmin : float
        A cut is quick where the shot that it leads into is shorter than the one and the jump of the main mass larger
        than the other: half of what passes in a shot with time to look.
    quick_run : int
        So many quick cuts in a row are worth a notice.
    front_width_pct : float
        Part of the screen's width; what is wider and in front of it is worth a notice.
    front_seat_share, back_seat_share : float
        Front and back row, as shares of the screen's own distance.
    side_seat_share : float
        How far the side seat lies from the middle, as a share of the picture's width.
    flat_below, stretched_above : float
        Depth against width (1 as in life) from which a shot counts as flat, or as stretched.
    camera_apart_pct : float
        What noted and measured parallax may differ by, percent of width.
    """

    quick_shot_s: float = 1.5
    quick_jump_arcmin: float = 15.0
    quick_run: int = 2
    front_width_pct: float = 50.0
    front_seat_share: float = 0.6
    back_seat_share: float = 1.6
    side_seat_share: float = 0.4
    flat_below: float = 0.5
    stretched_above: float = 2.0
    camera_apart_pct: float = 0.2


@dataclass(frozen=True)
class PlanSettings:
    """Everything a person may choose about decisions for one screen.

    Attributes
    ----------
    subpixel : Subpixel
    align : bool
        Whether what was measured of the eyes' misalignment (height, turn, size) is taken out of the pictures.
    """

    limits: LimitRules = field(default_factory=LimitRules)
    convergence: ConvergenceSettings = field(default_factory=ConvergenceSettings)
    window: WindowSettings = field(default_factory=WindowSettings)
    fill: Fill = "hide"
    subpixel: Subpixel = "eased"
    align: bool = False
    story: StorySettings = field(default_factory=StorySettings)


_WEIGHT = Span(0.0, 1000.0, "a number")

SPANS: dict[type, dict[str, Span]] = {
    ConvergenceSettings: {
        "jump_arcmin": Span(0.0, 300.0, "arcminutes"),
        "jump_weight": _WEIGHT,
        "change_weight": _WEIGHT,
        "loss_weight": _WEIGHT,
        "window_weight": _WEIGHT,
        "ease_pct_per_s": Span(0.0, 100.0, "percent of width a second", with_low=False),
        "handover_frames": Span(0, 1000, "a whole number of frames"),
    },
    WindowSettings: {
        "margin_pct": Span(0.0, 10.0, "percent of width"),
        "max_pct": Span(0.0, 50.0, "percent of width"),
        "speed_pct_per_s": Span(0.0, 1000.0, "percent of width a second", with_low=False),
        "ease_s": Span(0.0, 10.0, "seconds"),
        "hold_s": Span(0.0, 60.0, "seconds"),
        "brief_s": Span(0.0, 60.0, "seconds"),
        "soft_px": Span(0.0, 1000.0, "pixels"),
        "opacity_pct": Span(0.0, 100.0, "percent"),
    },
    StorySettings: {
        "quick_shot_s": Span(0.0, 60.0, "seconds"),
        "quick_jump_arcmin": Span(0.0, 300.0, "arcminutes"),
        "quick_run": Span(1, 1000, "a whole number of cuts"),
        "front_width_pct": Span(0.0, 100.0, "percent of width"),
        "front_seat_share": Span(0.05, 1.0, "a share of the screen's distance"),
        "back_seat_share": Span(1.0, 20.0, "a share of the screen's distance"),
        "side_seat_share": Span(0.0, 5.0, "a share of the picture's width"),
        "flat_below": Span(0.0, 1.0, "a ratio"),
        "stretched_above": Span(1.0, 100.0, "a ratio"),
        "camera_apart_pct": Span(0.0, 10.0, "percent of width", with_low=False),
    },
}
"""What each number may be that a person gives."""
