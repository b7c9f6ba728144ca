"""What would fit a screen instead: the largest interaxial, the nearest thing, and where to converge for the farthest.

All of it keeps to the limits themselves, as it is told: see :attr:`postfix.story.set_ups.Room.exact`.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Literal

from postfix.camera import Camera, depth_pct_mm, is_figure
from postfix.lengths import LENGTH_MM_MAX
from postfix.shooting import LEAST_MM, fitting_setup
from postfix.story import toed_in
from postfix.story.set_ups import (
    FIGURES,
    SHIFT_MOST_PCT,
    Asked,
    Ends,
    Fault,
    Room,
    best_ends,
    faults,
    given_ends,
    is_inside,
    lens_and_depth,
    placed_ends,
    rounded,
)

_STEP, _ATTEMPTS = 0.99, 24
"""A proposal that no longer fits when it is rounded is made smaller by so much, so many times at most."""

_HALVINGS = 32

HeldBy = Literal["", "nearest", "shift", "keystone", "impossible"]


@dataclass(frozen=True)
class Largest:
    """The largest interaxial that fits, as it can be told, and what keeps it from being larger besides the limits.

    ``held_by`` is ``nearest`` where it would be wider than the nearest thing is away, ``shift``, ``keystone``,
    ``impossible`` (what no such cameras can be), or empty where the limits decide.
    """

    ends: Ends
    held_by: HeldBy = ""


def _rounded_down(value: float) -> float:
    nearest = rounded(value)
    return nearest if nearest <= value else rounded(nearest - _last_figure(value))


def rounded_up(value: float) -> float:
    nearest = rounded(value)
    return nearest if nearest >= value else rounded(nearest + _last_figure(value))


def _last_figure(value: float) -> float:
    """What one more in the last figure that is told is worth."""
    return float(10.0 ** (math.floor(math.log10(value)) - FIGURES + 1))


def fitting_ends(asked: Asked, room: Room) -> Largest | None:
    """The largest interaxial that fits, as it can be told and set, with something at the screen where limits allow."""
    camera, known, room = asked.camera, lens_and_depth(asked.camera), room.exact
    if known is None:
        return None
    plain, limits = camera.rig == "parallel", room.limits

    def reckoned(base_mm: float) -> Ends:
        whole = replace(camera, interaxial_mm=base_mm, convergence_mm=None)
        if plain:
            return placed_ends(whole, known, room)
        # The screen in the scene, though a little more would fit with all of it in front of the screen.
        return given_ends(replace(whole, convergence_mm=toed_in.shared_mm(whole, limits)), room)

    # In front of a flat scene the limits alone would have cameras farther apart than it is away.
    by_limits, nearest_mm = fitting_setup(*known, limits).interaxial_mm, known[2]
    top_mm, least_mm = min(by_limits, nearest_mm) if plain else nearest_mm, 0.0
    if not plain and limits.far_pct < 0.0:
        # What turned cameras see is the farther in front the wider they stand apart; at infinity it never is.
        one = depth_pct_mm(replace(camera, interaxial_mm=1.0))
        least_mm = math.inf if one is None else -limits.far_pct * known[3] / one
    return _largest(reckoned, lambda base: best_ends(camera, base, room), (least_mm, top_mm), nearest_mm, room)


def _at_convergence(camera: Camera, room: Room) -> Largest | None:
    """The largest interaxial that fits with the convergence that was given."""
    one = given_ends(replace(camera, interaxial_mm=1.0), room)
    if math.isnan(one.near_pct) or math.isnan(one.far_pct):
        return None
    limits, room = room.limits, room.exact
    most = [room.budget_pct / (one.far_pct - one.near_pct)]
    most += [limits.far_pct / one.far_pct] if one.far_pct > 0.0 else []
    most += [limits.near_pct / one.near_pct] if one.near_pct < 0.0 else []
    most += [SHIFT_MOST_PCT / one.shift_pct] if one.shift_pct > 0.0 else []

    def reckoned(base_mm: float) -> Ends:
        return given_ends(replace(camera, interaxial_mm=base_mm), room)

    # On the middle axis toed-in cameras may stand a little farther apart than parallel ones.
    top_mm = min(most) * (1.0 if camera.rig == "parallel" else 2.0)
    return _largest(reckoned, reckoned, (0.0, top_mm), math.inf, room)


def _largest(
    reckoned: Callable[[float], Ends],
    told: Callable[[float], Ends],
    between_mm: tuple[float, float],
    nearest_mm: float,
    room: Room,
) -> Largest | None:
    """The largest rounded interaxial of these that fits, reckoned one way and told another; None if none does."""
    least_mm, top_mm = between_mm
    if not is_figure(top_mm) or least_mm >= top_mm:
        return None
    size_mm = top_mm
    if faults(reckoned(top_mm), room):
        least_mm = max(least_mm * (1.0 + 1e-6), min(LEAST_MM["interaxial_mm"], top_mm))
        low, high = math.log(least_mm), math.log(top_mm)
        for _ in range(_HALVINGS):
            middle = (low + high) / 2.0
            low, high = (low, middle) if faults(reckoned(math.exp(middle)), room) else (middle, high)
        size_mm = math.exp(low)
    held_by = _held_by(faults(reckoned(size_mm * 1.01), room), size_mm >= nearest_mm)
    for _ in range(_ATTEMPTS):
        if not is_figure(size_mm):
            return None
        ends = told(_rounded_down(size_mm))
        if is_inside(ends, room):
            return Largest(ends, held_by)
        size_mm *= _STEP
    return None


def _held_by(more: tuple[Fault, ...], is_as_wide_as_near: bool) -> HeldBy:
    """What keeps an interaxial down, of which ``more`` would be outside if it were a little larger."""
    if not more:
        return "nearest" if is_as_wide_as_near else ""
    (first, *others) = more
    return first if not others and first in ("shift", "keystone", "impossible") else ""


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
    far, room = camera.far_mm, room.exact
    nearest = 1.0 / (room.budget_pct / span + 1.0 / far)
    if camera.rig == "toed-in":
        found = toed_in.nearest_mm(
            camera, nearest, far, room.limits, lambda one: not faults(given_ends(one, room), room)
        )
        if found is None:
            return None
        nearest = found
    for _ in range(_ATTEMPTS):
        told = rounded_up(nearest) if is_figure(nearest) else math.inf
        if told >= far or told > LENGTH_MM_MAX:
            return None
        ends = best_ends(replace(camera, near_mm=told), base, room)
        if is_inside(ends, room):
            return ends
        nearest /= _STEP
    return None


def convergence_for_far(camera: Camera, room: Room) -> float | None:
    """Distance at which, or beyond which, to converge for all to be inside but what is near.

    None where it is not known, or where none is far enough.
    """
    if camera.far_mm is None or camera.interaxial_mm is None:
        return None
    room = room.exact

    def is_outside(one: Camera) -> bool:
        return bool(faults(given_ends(one, room), room))

    found = toed_in.most_turned_mm(camera, is_outside)
    if math.isnan(found):
        return None
    return rounded_up(found) if found <= LENGTH_MM_MAX else math.inf
