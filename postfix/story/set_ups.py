"""Which interaxial and convergence a camera is reckoned with on a screen, and what they give at both ends of a scene.

Figures that would be proposed are rounded first, to what can be told and set, and fit as they are told.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import Literal

from postfix.camera import (
    Camera,
    depth_pct_mm,
    image_mm,
    infinity_pct,
    parallax_pct,
    side_parallax_pct,
    vertical_parallax_mm,
)
from postfix.lengths import LENGTH_MM_MAX
from postfix.limits import Limits
from postfix.measure.differences import LIMITS as DIFFERENCE_LIMITS
from postfix.plan.figures import LIMIT_TOLERANCE_PCT, range_budget
from postfix.shooting import Setup, best_convergence, check
from postfix.story import toed_in

FIGURES, FIGURES_AT_MOST = 3, 6
"""Figures that a proposal is rounded to, what a rig can be set to; a convergence has more where it must."""

SHIFT_MOST_PCT = 10.0
"""How far the pictures of parallel cameras may be shifted over each other, percent of width. So much of them has no
partner: it is cut off at the sides, and what is left is enlarged. A tenth is more than any shift that the rules of
thumb lead to with a usual lens, and as much as a picture can be cropped without being framed anew. Project default."""

_ROUNDING_PCT = 1e-9
"""What a proposal may be beyond a limit: what reckoning itself leaves over."""

KEYSTONE = DIFFERENCE_LIMITS["vertical"]
"""Vertical parallax of toed-in cameras, from where it is seen and up to where it is tolerated (% of height)."""

Fault = Literal["impossible", "range", "near", "far", "shift", "keystone"]


@dataclass(frozen=True)
class Asked:
    """What will be shot, as far as it is known.

    Attributes
    ----------
    camera : Camera
        ``far_mm`` infinite where none was given and the lens is known.
    sensor_height_mm : float or None
    missing : tuple of str
        Options that are needed for parallax on a screen and were not given, ``--interaxial`` and ``--converge`` apart.
    """

    camera: Camera
    sensor_height_mm: float | None
    missing: tuple[str, ...]


@dataclass(frozen=True)
class Room:
    """What decides whether a camera fits a screen: its limits, and the height of the sensor, which keystone takes.

    What was given may be beyond a limit by as much as passes in the plan and in the check of finished pictures
    (``tolerance_pct``, percent of width); what is proposed keeps to the limits themselves (:attr:`exact`).
    """

    limits: Limits
    sensor_height_mm: float | None = None
    tolerance_pct: float = LIMIT_TOLERANCE_PCT

    @property
    def exact(self) -> Room:
        """The same for a proposal."""
        return replace(self, tolerance_pct=_ROUNDING_PCT)

    @property
    def is_about_screen(self) -> bool:
        """Whether something may lie at the screen: its limits lie about it, or one of them at it."""
        return self.limits.near_pct <= 0.0 <= self.limits.far_pct and self.limits.near_pct < self.limits.far_pct

    @property
    def budget_pct(self) -> float:
        """Largest range, percent of width: the range limit, or from the near to the far limit where that is less."""
        return range_budget(self.limits)[0]


@dataclass(frozen=True)
class Ends:
    """A camera with its convergence, and the parallax that it gives; NaN where that is not known.

    Attributes
    ----------
    near_pct, far_pct : float
        Of the nearest and farthest thing on the middle axis; there the nearest has its least.
    most_pct : float
        Of the farthest thing where it has most: at the sides, of toed-in cameras (``side_parallax_pct``).
    keystone_pct : float
        Largest vertical parallax at the plane of convergence, the nearest and the farthest thing, percent of height;
        NaN of parallel cameras.
    shift_pct : float
        By how much the pictures of parallel cameras have to be shifted over each other, percent of width: the parallax
        that infinity has then, without its sign. NaN of toed-in cameras.
    """

    camera: Camera
    near_pct: float = math.nan
    far_pct: float = math.nan
    most_pct: float = math.nan
    keystone_pct: float = math.nan
    shift_pct: float = math.nan


def rounded(value: float, figures: int = FIGURES) -> float:
    """To so many figures."""
    return float(f"{value:.{figures - 1}e}")


def faults(ends: Ends, room: Room) -> tuple[Fault, ...]:
    """What is outside, as far as it is known: of toed-in cameras far and range at the sides of the picture."""
    if check(ends.camera):
        return ("impossible",)
    limits, over = room.limits, room.tolerance_pct
    found: tuple[tuple[Fault, bool], ...] = (
        ("range", ends.most_pct - ends.near_pct > room.budget_pct + over),
        ("near", ends.near_pct < limits.near_pct - over),
        ("far", ends.most_pct > limits.far_pct + over),
        ("shift", ends.shift_pct > SHIFT_MOST_PCT + over),
        ("keystone", KEYSTONE.tolerated is not None and ends.keystone_pct > KEYSTONE.tolerated),
    )
    return tuple(name for name, is_over in found if is_over)


def is_inside(ends: Ends, room: Room) -> bool | None:
    """Whether all is within the limits, of a camera that can be; None where what is known is, and not all is known."""
    if faults(ends, room):
        return False
    return None if math.isnan(ends.near_pct) or math.isnan(ends.most_pct) else True


def given_ends(camera: Camera, room: Room) -> Ends:
    """With the convergence that the camera has."""
    near = None if camera.near_mm is None else parallax_pct(camera, camera.near_mm)
    far = None if camera.far_mm is None else parallax_pct(camera, camera.far_mm)
    most = None if camera.far_mm is None else side_parallax_pct(camera, camera.far_mm)
    keystone = keystone_pct(camera, room.sensor_height_mm)
    shift = infinity_pct(camera) if camera.rig == "parallel" else None
    return Ends(camera, *(math.nan if one is None else one for one in (near, far, most, keystone, shift)))


def is_something_at_screen(camera: Camera) -> bool:
    """Whether the distance of convergence lies in the scene, from the nearest to the farthest thing as far as known."""
    placed, near, far = camera.convergence_mm, camera.near_mm, camera.far_mm
    return placed is not None and (near is None or near <= placed) and (far is None or placed <= far)


def keystone_pct(camera: Camera, sensor_height_mm: float | None) -> float | None:
    """The largest vertical parallax at the plane of convergence, at the nearest and at the farthest thing."""
    if camera.rig != "toed-in" or sensor_height_mm is None:
        return None
    found = [vertical_parallax_mm(camera, sensor_height_mm, at) for at in (None, camera.near_mm, camera.far_mm)]
    known = [one for one in found if one is not None]
    return 100.0 * max(known) / sensor_height_mm if known else None


def best_ends(camera: Camera, interaxial_mm: float, room: Room) -> Ends:
    """With this interaxial and the convergence that suits it best, rounded to as few figures as fit.

    Where it would have the pictures shifted too far, the scene comes forward as far as that takes, if it then fits.
    """
    whole, known = replace(camera, interaxial_mm=interaxial_mm), lens_and_depth(camera)
    if known is None:
        return Ends(whole)
    placed = placed_ends(whole, known, room)
    if placed.camera.convergence_mm is None:
        return placed
    found = _as_told(placed.camera, room)
    if "shift" in faults(found, room):
        span = depth_pct_mm(whole)
        less = found if span is None else _as_told(replace(whole, convergence_mm=span / SHIFT_MOST_PCT), room)
        return found if faults(less, room) else less
    return found


def placed_ends(whole: Camera, known: tuple[float, float, float, float], room: Room) -> Ends:
    """With the convergence that suits an interaxial best, not rounded."""
    limits, exact = room.limits, room.exact
    if whole.rig == "toed-in":
        best_mm = toed_in.best_convergence_mm(whole, limits, lambda one: _is_too_far(one, exact))
        return given_ends(replace(whole, convergence_mm=best_mm), room)
    setup = best_convergence(whole.interaxial_mm or math.nan, *known, limits)
    if setup.convergence_mm is None and not room.is_about_screen:
        # Even infinity lies in front of the screen: there is no distance at it.
        shift = abs(setup.far_pct + (depth_pct_mm(whole) or math.nan) / known[3])
        return Ends(replace(whole, convergence_mm=None), setup.near_pct, setup.far_pct, setup.far_pct, shift_pct=shift)
    return given_ends(replace(whole, convergence_mm=_in_the_scene(setup, known, room)), room)


def _as_told(camera: Camera, room: Room) -> Ends:
    """With its convergence rounded to as few figures as fit: what no figures as told make fit does not fit."""
    best_mm = camera.convergence_mm or math.nan
    if best_mm > LENGTH_MM_MAX:
        return given_ends(replace(camera, convergence_mm=math.inf), room)
    tries = [
        given_ends(replace(camera, convergence_mm=rounded(best_mm, figures)), room)
        for figures in range(FIGURES, FIGURES_AT_MOST + 1)
    ]
    fitting = (one for judge in (room.exact, room) for one in tries if not faults(one, judge))
    return next(fitting, tries[0])


def _is_too_far(camera: Camera, room: Room) -> bool:
    """Whether these toed-in cameras are turned too much: far, range or keystone is outside, or they cannot be."""
    return not set(faults(given_ends(camera, room), room)) <= {"near"}


def _in_the_scene(setup: Setup, known: tuple[float, float, float, float], room: Room) -> float:
    """Where there is room to spare, near and far take the same share of their limits: something is at the screen.

    The same room at both ends would put a whole scene in front of a cinema screen, where far has so much less than
    near: a convergence that no camera can be set to. Left alone where the limits do not lie about the screen.
    """
    limits, converged_mm = room.limits, setup.convergence_mm
    if converged_mm is not None and not (setup.is_inside and room.is_about_screen):
        return converged_mm
    _, _, near_mm, far_mm = known
    share = limits.far_pct / (limits.far_pct - limits.near_pct)
    # From the inverse of one distance to that of the other as the screen lies between the limits.
    nearness = (1.0 / near_mm - 1.0 / far_mm) * share + 1.0 / far_mm
    return 1.0 / nearness if nearness > 0.0 else math.inf


def lens_and_depth(camera: Camera) -> tuple[float, float, float, float] | None:
    """Focal length as the focus has it, sensor width, nearest and farthest; None where one of them is missing."""
    focal, width, near, far = image_mm(camera), camera.sensor_width_mm, camera.near_mm, camera.far_mm
    if focal is None or width is None or near is None or far is None:
        return None
    return focal, width, near, far
