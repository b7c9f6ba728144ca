"""What is told of a clip on one screen besides its limits: depth, size, seats, camera and comfort over time.

A distance is None where there is none that could be told: the eyes would be parallel or turned apart, or something that
is needed is not known. It is never an infinite or negative number. NaN is a parallax that was not measured.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Literal

NoticeCode = Literal[
    "front-wide", "hard-jump", "quick-cuts", "seat", "flat", "stretched", "lens", "camera", "too-near", "focus",
    "interaxial",
]  # fmt: skip
"""What a notice is about. ``front-wide``: what is in front of the screen is wider than the set part of it.
``hard-jump``: the depth jump at the cut into the shot. ``quick-cuts``: the shot ends a run of short shots with jumps.
``seat``: eyes turn apart on another seat than the screen's own. ``flat``, ``stretched``: depth against width.
``lens``: focal length. ``camera``: what was noted of the camera and what was measured do not agree. ``too-near``:
something nearer than the interaxial allows. ``focus``: it was not noted, and would matter. ``interaxial``: another
would have fitted."""

MeasuredOn = Literal["finished", "planned", "source"]
"""What a story is of: written files, what a plan will make of the source, or pictures as they were given."""


@dataclass(frozen=True)
class Notice:
    """Something that a person should know of a shot. Never a limit: it changes no exit code."""

    code: NoticeCode
    text: str


@dataclass(frozen=True)
class Seen:
    """A parallax as it is seen from one seat.

    Attributes
    ----------
    parallax_pct : float
        Percent of width; NaN where it was not measured.
    arcmin : float
        Against the screen, negative in front of it; NaN where it was not measured.
    distance_mm : float or None
        From the viewer; None where the eyes do not meet in front, or nothing was measured.
    divergence_deg : float
        By which the eyes turn apart; 0 where they need not; NaN where nothing was measured.
    """

    parallax_pct: float
    arcmin: float
    distance_mm: float | None
    divergence_deg: float


@dataclass(frozen=True)
class Depth:
    """Where a shot lies in depth, from the screen's own seat.

    ``near`` and ``far`` are the ends of the shot's figures, ``main`` the middle of its medians. ``volume_pct`` is far −
    near, NaN where either was not measured; ``volume_mm`` the same as it is seen, None where far has no distance.
    """

    near: Seen
    main: Seen
    far: Seen
    volume_pct: float
    volume_mm: float | None


@dataclass(frozen=True)
class Front:
    """What lies in front of the screen, in the frame of the shot in which the widest thing does.

    Attributes
    ----------
    frame : int
        Of the clip.
    share_pct : float
        Of the picture that both eyes see.
    width_pct, height_pct : float
        Of the largest thing in front, percent of the picture's width and of its height.
    width_mm, height_mm : float
        The same on the screen.
    seen : Seen
        The middle of what is in front.
    seen_width_mm : float or None
        How wide that thing seems to be where it is seen, ``width · Z / V``; None without a distance.
    """

    frame: int
    share_pct: float
    width_pct: float
    height_pct: float
    width_mm: float
    height_mm: float
    seen: Seen
    seen_width_mm: float | None


@dataclass(frozen=True)
class Cut:
    """The cut into a shot.

    Attributes
    ----------
    frame : int
        The shot's first.
    jump_pct, jump_arcmin : float
        Main mass (median parallax around the cut) of this shot minus that of the one before it; NaN where not known.
    volume_jump_pct : float
        Depth volume of this shot minus that of the one before it.
    shot_s : float
        Length of the shot that it leads into.
    is_hard : bool
        Larger than ``jump_arcmin`` of the settings.
    is_quick : bool
        Larger than ``quick_jump_arcmin``, into a shot shorter than ``quick_shot_s``.
    """

    frame: int
    jump_pct: float
    jump_arcmin: float
    volume_jump_pct: float
    shot_s: float
    is_hard: bool
    is_quick: bool


@dataclass(frozen=True)
class Seat:
    """A place in the room: how far from the screen's plane, and how far to the side of its middle."""

    name: str
    distance_mm: float
    aside_mm: float = 0.0


@dataclass(frozen=True)
class FromSeat:
    """A shot from one seat.

    ``outside`` says in words what is outside comfort there, empty where nothing is; ``roundness`` is that of the main
    mass, None without a camera.
    """

    seat: Seat
    near: Seen
    main: Seen
    far: Seen
    outside: tuple[str, ...] = ()
    roundness: float | None = None


@dataclass(frozen=True)
class Filmed:
    """What the camera's figures say of a shot. None where something is missing that is needed for it.

    Attributes
    ----------
    near_mm, main_mm, far_mm : float or None
        Real distances from what was measured on the source.
    far_is_infinite : bool
        Whether ``far_mm`` is None because the measured parallax is that of infinity or more.
    near_why, main_why, far_why : str
        Why there is no real distance, in words; empty where there is one, or where ``missing`` says it.
    predicted_near_pct, predicted_far_pct : float or None
        Parallax of the distances that were noted on the set, as shot.
    near_roundness, main_roundness, far_roundness : float or None
        Depth against width as seen from the screen's own seat; 1 is as in life.
    main_roundness_span : tuple of 2 floats or None
        The least and the most that of the main part may be, where its real distance is only known to lie in a span.
    equivalent_focal_mm : float or None
        Focal length with the same view on a Super 35 sensor.
    fitting_interaxial_mm : float or None
        With which the shot would have fitted this screen.
    nearest_30_mm, nearest_100_mm : float or None
        Nothing should be nearer by the 1/30 rule, and by the 1/100 one.
    bercovitz_mm : float or None
        Interaxial by that formula, for the room that this screen has.
    rig : str
        Which class of rig reaches ``fitting_interaxial_mm``; empty where that is not known.
    missing : tuple of str
        What was not noted and is needed.
    """

    near_mm: float | None = None
    main_mm: float | None = None
    far_mm: float | None = None
    far_is_infinite: bool = False
    near_why: str = ""
    main_why: str = ""
    far_why: str = ""
    predicted_near_pct: float | None = None
    predicted_far_pct: float | None = None
    near_roundness: float | None = None
    main_roundness: float | None = None
    far_roundness: float | None = None
    main_roundness_span: tuple[float, float] | None = None
    equivalent_focal_mm: float | None = None
    fitting_interaxial_mm: float | None = None
    nearest_30_mm: float | None = None
    nearest_100_mm: float | None = None
    bercovitz_mm: float | None = None
    rig: str = ""
    missing: tuple[str, ...] = ()


@dataclass(frozen=True)
class ShotStory:
    """All that is told of a shot. ``front`` is None where nothing lies in front, or, with ``front_is_known`` false,
    where that was not measured; ``cut`` for the first shot; ``filmed`` where nothing was noted of the camera."""

    name: str
    first: int
    last: int
    depth: Depth
    front: Front | None
    cut: Cut | None
    seats: tuple[FromSeat, ...] = ()
    filmed: Filmed | None = None
    notices: tuple[Notice, ...] = ()
    front_is_known: bool = True


@dataclass(frozen=True)
class Stretch:
    """Comfort over a stretch of time, in seconds.

    ``beyond_s``: something lay more than 60 arcmin in front of or behind the screen. ``apart_s``: the eyes had to turn
    apart. ``front_s``: something lay in front of the screen. ``measured_s`` of ``length_s`` could be measured; the
    others count only what was. Cuts, and dissolves among them, are counted where they are: ``hard_jumps``,
    ``quick_cuts`` that are not hard, and ``unknown_cuts``, on one side of which nothing was measured.
    """

    start_s: float
    length_s: float
    measured_s: float
    beyond_s: float
    apart_s: float
    front_s: float
    hard_jumps: int
    quick_cuts: int
    cuts: int = 0
    unknown_cuts: int = 0


@dataclass(frozen=True)
class Story:
    """What is told of a clip on one screen.

    Attributes
    ----------
    measured_on : MeasuredOn
    shots : tuple of ShotStory
    whole : Stretch
    minutes : tuple of Stretch
        One a minute; the last may be shorter.
    quick_runs : tuple of (int, int)
        First and last shot, counted from 0, of each run of short shots with jumps.
    line : str
        One sentence or two for those who look after viewers.
    """

    measured_on: MeasuredOn
    shots: tuple[ShotStory, ...]
    whole: Stretch
    minutes: tuple[Stretch, ...] = ()
    quick_runs: tuple[tuple[int, int], ...] = ()
    line: str = ""
    seats: tuple[Seat, ...] = field(default=())
