"""Which interaxial and convergence a camera is reckoned with on a screen, and what they give at both ends of a scene.

Figures that would be proposed are rounded first, to what can be told and set, and fit as they are told.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Literal

from postfix.camera import (
    Camera,
    depth_pct_mm,
    image_mm,
    is_figure,
    parallax_pct,
    side_parallax_pct,
    vertical_parallax_mm,
)
from postfix.limits import Limits
from postfix.measure.differences import LIMITS as DIFFERENCE_LIMITS
from postfix.plan.figures import range_budget
from postfix.shooting import LEAST_MM, Setup, best_convergence, check, fitting_setup
from postfix.story import toed_in

FIGURES, FIGURES_AT_MOST = 3, 6
"""Figures that a proposal is rounded to, what a rig can be set to; a convergence has more where it must."""

ROUNDING_PCT = 0.002
"""What may be beyond a limit and still fits, percent of width: rounding alone, for nothing was measured. Project
default."""

KEYSTONE = DIFFERENCE_LIMITS["vertical"]
"""Vertical parallax of toed-in cameras, from where it is seen and up to where it is tolerated (% of height)."""

_STEP, _ATTEMPTS = 0.99, 24
"""A proposal that no longer fits when it is rounded is made smaller by so much, so many times at most."""

Fault = Literal["impossible", "range", "near", "far", "keystone"]


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
    """What decides whether a camera fits a screen: its limits, and the height of the sensor, which keystone takes."""

    limits: Limits
    sensor_height_mm: float | None = None

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
    """

    camera: Camera
    near_pct: float = math.nan
    far_pct: float = math.nan
    most_pct: float = math.nan
    keystone_pct: float = math.nan


@dataclass(frozen=True)
class Largest:
    """The largest interaxial that fits, as it can be told, and what keeps it from being larger besides the limits.

    ``held_by`` is ``nearest`` where it would be wider than the nearest thing is away, ``keystone``, ``impossible``
    (what no such cameras can be), or empty where the limits decide.
    """

    ends: Ends
    held_by: Literal["", "nearest", "keystone", "impossible"] = ""


def rounded(value: float, figures: int = FIGURES) -> float:
    """To so many figures."""
    return float(f"{value:.{figures - 1}e}")


def _rounded_down(value: float) -> float:
    nearest = rounded(value)
    step = 10.0 ** (math.floor(math.log10(value)) - FIGURES + 1)
    return nearest if nearest <= value else rounded(nearest - step)


def rounded_up(value: float) -> float:
    nearest = rounded(value)
    step = 10.0 ** (math.floor(math.log10(value)) - FIGURES + 1)
    return nearest if nearest >= value else rounded(nearest + step)


def faults(ends: Ends, limits: Limits) -> tuple[Fault, ...]:
    """What is outside, as far as it is known: of toed-in cameras far and range at the sides of the picture."""
    if check(ends.camera):
        return ("impossible",)
    found: tuple[tuple[Fault, bool], ...] = (
        ("range", ends.most_pct - ends.near_pct > range_budget(limits)[0] + ROUNDING_PCT),
        ("near", ends.near_pct < limits.near_pct - ROUNDING_PCT),
        ("far", ends.most_pct > limits.far_pct + ROUNDING_PCT),
        ("keystone", KEYSTONE.tolerated is not None and ends.keystone_pct > KEYSTONE.tolerated),
    )
    return tuple(name for name, is_over in found if is_over)


def is_inside(ends: Ends, limits: Limits) -> bool | None:
    """Whether all is within the limits, of a camera that can be; None where what is known is, and not all is known."""
    if faults(ends, limits):
        return False
    return None if math.isnan(ends.near_pct) or math.isnan(ends.most_pct) else True


def given_ends(camera: Camera, room: Room) -> Ends:
    """With the convergence that the camera has."""
    near = None if camera.near_mm is None else parallax_pct(camera, camera.near_mm)
    far = None if camera.far_mm is None else parallax_pct(camera, camera.far_mm)
    most = None if camera.far_mm is None else side_parallax_pct(camera, camera.far_mm)
    keystone = keystone_pct(camera, room.sensor_height_mm)
    return Ends(camera, *(math.nan if one is None else one for one in (near, far, most, keystone)))


def keystone_pct(camera: Camera, sensor_height_mm: float | None) -> float | None:
    """The largest vertical parallax at the plane of convergence, at the nearest and at the farthest thing."""
    if camera.rig != "toed-in" or sensor_height_mm is None:
        return None
    found = [vertical_parallax_mm(camera, sensor_height_mm, at) for at in (None, camera.near_mm, camera.far_mm)]
    known = [one for one in found if one is not None]
    return 100.0 * max(known) / sensor_height_mm if known else None


def best_ends(camera: Camera, interaxial_mm: float, room: Room) -> Ends:
    """With this interaxial and the convergence that suits it best, rounded to as few figures as fit."""
    whole, known = replace(camera, interaxial_mm=interaxial_mm), lens_and_depth(camera)
    if known is None:
        return Ends(whole)
    setup = best_convergence(interaxial_mm, *known, room.limits)
    is_about_screen = room.limits.near_pct < 0.0 < room.limits.far_pct
    if setup.convergence_mm is None and not (is_about_screen and setup.is_inside):
        # Even infinity lies in front of the screen: there is no distance at it, and nothing is turned towards it.
        return Ends(replace(whole, convergence_mm=None), setup.near_pct, setup.far_pct, setup.far_pct)
    if camera.rig == "toed-in":
        best_mm = toed_in.best_convergence_mm(whole, room.limits, lambda one: _is_too_far(one, room))
    else:
        best_mm = _in_the_scene(setup, known, room.limits)
    if math.isinf(best_mm):
        return given_ends(replace(whole, convergence_mm=best_mm), room)
    # What no figures as told make fit does not fit: an exact distance could not be told.
    tries = [
        given_ends(replace(whole, convergence_mm=rounded(best_mm, figures)), room)
        for figures in range(FIGURES, FIGURES_AT_MOST + 1)
    ]
    return next((one for one in tries if not faults(one, room.limits)), tries[0])


def _is_too_far(camera: Camera, room: Room) -> bool:
    """Whether these toed-in cameras are turned too much: far, range or keystone is outside, or they cannot be."""
    return not set(faults(given_ends(camera, room), room.limits)) <= {"near"}


def _in_the_scene(setup: Setup, known: tuple[float, float, float, float], limits: Limits) -> float:
    """Where there is room to spare, near and far take the same share of their limits: something is at the screen.

    The same room at both ends would put a whole scene in front of a cinema screen, where far has so much less than
    near: a convergence that no camera can be set to. Left alone where the limits do not lie about the screen.
    """
    converged_mm = math.inf if setup.convergence_mm is None else setup.convergence_mm
    if not setup.is_inside or not limits.near_pct < 0.0 < limits.far_pct:
        return converged_mm
    _, _, near_mm, far_mm = known
    share = limits.far_pct / (limits.far_pct - limits.near_pct)
    # Between the inverses of both distances as the screen lies between the limits.
    return 1.0 / ((1.0 / near_mm - 1.0 / far_mm) * share + 1.0 / far_mm)


def lens_and_depth(camera: Camera) -> tuple[float, float, float, float] | None:
    """Focal length as the focus has it, sensor width, nearest and farthest; None where one of them is missing."""
    focal, width, near, far = image_mm(camera), camera.sensor_width_mm, camera.near_mm, camera.far_mm
    if focal is None or width is None or near is None or far is None:
        return None
    return focal, width, near, far


# ---- the largest interaxial


def fitting_ends(asked: Asked, room: Room) -> Largest | None:
    """The largest interaxial that fits, as it can be told and set."""
    camera, known = asked.camera, lens_and_depth(asked.camera)
    if known is None:
        return None
    plain = camera.rig == "parallel"

    def reckoned(base_mm: float) -> Ends:
        if plain:
            return best_ends(camera, base_mm, room)
        whole = replace(camera, interaxial_mm=base_mm, convergence_mm=None)
        # The screen in the scene, though a little more would fit with all of it in front of the screen.
        return given_ends(replace(whole, convergence_mm=toed_in.shared_mm(whole, room.limits)), room)

    # In front of a flat scene the limits alone would have cameras farther apart than it is away.
    by_limits, nearest_mm = fitting_setup(*known, room.limits).interaxial_mm, known[2]
    top_mm = min(by_limits, nearest_mm) if plain else nearest_mm
    return _largest(reckoned, lambda base: best_ends(camera, base, room), top_mm, nearest_mm, room)


def _at_convergence(camera: Camera, room: Room) -> Largest | None:
    """The largest interaxial that fits with the convergence that was given."""
    one = given_ends(replace(camera, interaxial_mm=1.0), room)
    if math.isnan(one.near_pct) or math.isnan(one.far_pct):
        return None
    limits = room.limits
    most = [room.budget_pct / (one.far_pct - one.near_pct)]
    most += [limits.far_pct / one.far_pct] if one.far_pct > 0.0 else []
    most += [limits.near_pct / one.near_pct] if one.near_pct < 0.0 else []

    def reckoned(base_mm: float) -> Ends:
        return given_ends(replace(camera, interaxial_mm=base_mm), room)

    # On the middle axis toed-in cameras may stand a little farther apart than parallel ones.
    return _largest(reckoned, reckoned, min(most) * (1.0 if camera.rig == "parallel" else 2.0), math.inf, room)


def _largest(
    reckoned: Callable[[float], Ends], told: Callable[[float], Ends], top_mm: float, nearest_mm: float, room: Room
) -> Largest | None:
    """The largest rounded interaxial up to ``top_mm`` that fits, reckoned one way and told another; None if none."""
    if not is_figure(top_mm):
        return None
    size_mm = top_mm
    if faults(reckoned(top_mm), room.limits):
        low, high = math.log(min(LEAST_MM["interaxial_mm"], top_mm)), math.log(top_mm)
        for _ in range(_HALVINGS):
            middle = (low + high) / 2.0
            low, high = (low, middle) if faults(reckoned(math.exp(middle)), room.limits) else (middle, high)
        size_mm = math.exp(low)
    more = faults(reckoned(size_mm * 1.01), room.limits)
    held_by: Literal["", "nearest", "keystone", "impossible"] = ""
    if more in (("keystone",), ("impossible",)):
        held_by = "keystone" if more == ("keystone",) else "impossible"
    if not more and size_mm >= nearest_mm:
        held_by = "nearest"
    for _ in range(_ATTEMPTS):
        if not is_figure(size_mm):
            return None
        ends = told(_rounded_down(size_mm))
        if is_inside(ends, room.limits):
            return Largest(ends, held_by)
        size_mm *= _STEP
    return None


_HALVINGS = 32


def used_ends(asked: Asked, room: Room, fitting: Largest | None) -> Largest:
    """What the figures of a screen are reckoned with: what was given, the rest as it would be best."""
    camera = asked.camera
    if camera.convergence_mm is not None:
        if camera.interaxial_mm is not None:
            return Largest(given_ends(camera, room))
        return _at_convergence(camera, room) or Largest(Ends(camera))
    if camera.interaxial_mm is None:
        return fitting or Largest(Ends(camera))
    return Largest(Ends(camera) if asked.missing else best_ends(camera, camera.interaxial_mm, room))


# ---- the nearest thing, and where to converge for the farthest


def nearest_fitting(camera: Camera, room: Room) -> Ends | None:
    """The nearest thing that fits with this interaxial, wherever the cameras are converged, and with which convergence.

    None where it is not known, or where nothing in front of the farthest thing fits.
    """
    base = camera.interaxial_mm
    span = depth_pct_mm(camera)
    if base is None or span is None or camera.far_mm is None:
        return None
    far = camera.far_mm
    nearest = 1.0 / (room.budget_pct / span + 1.0 / far)
    if camera.rig == "toed-in":
        found = toed_in.nearest_mm(
            camera, nearest, far, room.limits, lambda one: not faults(given_ends(one, room), room.limits)
        )
        if found is None:
            return None
        nearest = found
    for _ in range(_ATTEMPTS):
        told = rounded_up(nearest) if is_figure(nearest) else math.inf
        if told >= far:
            return None
        ends = best_ends(replace(camera, near_mm=told), base, room)
        if is_inside(ends, room.limits):
            return ends
        nearest /= _STEP
    return None


def convergence_for_far(camera: Camera, room: Room) -> float | None:
    """Distance at which, or beyond which, to converge for the farthest thing to be inside, whatever is near."""
    if camera.far_mm is None or camera.interaxial_mm is None:
        return None
    found = toed_in.most_turned_mm(camera, lambda one: "far" in faults(given_ends(one, room), room.limits))
    return rounded_up(found) if is_figure(found) else None
