"""Which interaxial and convergence a camera is reckoned with on a screen, and what they give at both ends of a scene.

Figures that would be proposed are rounded first, to what can be told and set, and fit as they are told.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, replace

from postfix.camera import Camera, depth_pct_mm, is_figure, parallax_pct
from postfix.limits import Limits
from postfix.plan.figures import LIMIT_TOLERANCE_PCT, range_budget
from postfix.shooting import Setup, best_convergence, check, fitting_setup

FIGURES = 3
"""Figures that a proposal is rounded to: what a rig can be set to."""

_STEP, _ATTEMPTS = 0.99, 24
"""A proposal that no longer fits when it is rounded is made smaller by so much, so many times at most."""


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
class Ends:
    """A camera with its convergence, and the parallax that it gives; NaN where that is not known."""

    camera: Camera
    near_pct: float = math.nan
    far_pct: float = math.nan


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


def is_inside(ends: Ends, limits: Limits) -> bool | None:
    """Whether all is within the limits, of a camera that can be; None where what is known is, and not all is known."""
    if check(ends.camera):
        return False
    over_far = ends.far_pct > limits.far_pct + LIMIT_TOLERANCE_PCT
    over_near = ends.near_pct < limits.near_pct - LIMIT_TOLERANCE_PCT
    if over_far or over_near or ends.far_pct - ends.near_pct > limits.range_pct + LIMIT_TOLERANCE_PCT:
        return False
    return None if math.isnan(ends.near_pct) or math.isnan(ends.far_pct) else True


def _given_ends(camera: Camera) -> Ends:
    """With the convergence that the camera has."""
    near = None if camera.near_mm is None else parallax_pct(camera, camera.near_mm)
    far = None if camera.far_mm is None else parallax_pct(camera, camera.far_mm)
    return Ends(camera, math.nan if near is None else near, math.nan if far is None else far)


def _converged(camera: Camera, setup: Setup, limits: Limits) -> Ends:
    """With the convergence of a set-up, rounded where that fits as well."""
    if setup.convergence_mm is None:
        # Even infinity lies in front of the screen: there is no distance at it.
        return Ends(replace(camera, convergence_mm=None), setup.near_pct, setup.far_pct)
    exact = _given_ends(replace(camera, convergence_mm=setup.convergence_mm))
    if math.isinf(setup.convergence_mm):
        return exact
    near = _given_ends(replace(camera, convergence_mm=rounded(setup.convergence_mm)))
    return exact if is_inside(exact, limits) and not is_inside(near, limits) else near


def best_ends(camera: Camera, interaxial_mm: float, limits: Limits) -> Ends:
    """With this interaxial and the convergence that suits it best."""
    known = lens_and_depth(camera)
    if known is None:
        return Ends(replace(camera, interaxial_mm=interaxial_mm))
    setup = best_convergence(interaxial_mm, *known, limits)
    whole = replace(camera, interaxial_mm=interaxial_mm)
    return _converged(whole, _in_the_scene(setup, whole, limits), limits)


def _in_the_scene(setup: Setup, camera: Camera, limits: Limits) -> Setup:
    """Where there is room to spare, near and far take the same share of their limits: something is at the screen.

    The same room at both ends would put a whole scene in front of a cinema screen, where far has so much less than
    near: a convergence that no camera can be set to. Left alone where the limits do not lie about the screen.
    """
    depth, far_mm = depth_pct_mm(camera), camera.far_mm
    if not setup.is_inside or not limits.near_pct < 0.0 < limits.far_pct or depth is None or far_mm is None:
        return setup
    wide = setup.far_pct - setup.near_pct
    far_pct = wide * limits.far_pct / (limits.far_pct - limits.near_pct)
    return replace(
        setup, convergence_mm=1.0 / (far_pct / depth + 1.0 / far_mm), near_pct=far_pct - wide, far_pct=far_pct
    )


def fitting_ends(asked: Asked, limits: Limits) -> Ends | None:
    """The largest interaxial that fits, as it can be told and set."""
    camera, known = asked.camera, lens_and_depth(asked.camera)
    if known is None:
        return None
    # In front of a flat scene the limits alone would have cameras farther apart than it is away.
    most = min(fitting_setup(*known, limits).interaxial_mm, known[2])
    return _made_to_fit(lambda base: best_ends(camera, base, limits), most, limits)


def lens_and_depth(camera: Camera) -> tuple[float, float, float, float] | None:
    """Focal length, sensor width, nearest and farthest; None where one of them is missing."""
    focal, width, near, far = camera.focal_mm, camera.sensor_width_mm, camera.near_mm, camera.far_mm
    if focal is None or width is None or near is None or far is None:
        return None
    return focal, width, near, far


def _made_to_fit(made: Callable[[float], Ends], largest_mm: float, limits: Limits) -> Ends | None:
    """The largest rounded interaxial up to this one that fits and that a camera can have; None where none does."""
    size_mm = largest_mm
    for _ in range(_ATTEMPTS):
        if not is_figure(size_mm):
            return None
        ends = made(_rounded_down(size_mm))
        is_possible = not check(ends.camera)
        if is_possible and is_inside(ends, limits):
            return ends
        size_mm *= _STEP if is_possible else 0.5
    return None


def used_ends(asked: Asked, limits: Limits, fitting: Ends | None) -> Ends:
    """What the figures of a screen are reckoned with: what was given, the rest as it would be best."""
    camera = asked.camera
    if camera.convergence_mm is not None:
        if camera.interaxial_mm is not None:
            return _given_ends(camera)
        return _at_convergence(camera, limits) or Ends(camera)
    if camera.interaxial_mm is None:
        return fitting or Ends(camera)
    return Ends(camera) if asked.missing else best_ends(camera, camera.interaxial_mm, limits)


def _at_convergence(camera: Camera, limits: Limits) -> Ends | None:
    """The largest interaxial that fits with the convergence that was given."""
    one = _given_ends(replace(camera, interaxial_mm=1.0))
    if math.isnan(one.near_pct) or math.isnan(one.far_pct):
        return None
    most = [limits.range_pct / (one.far_pct - one.near_pct)]
    most += [limits.far_pct / one.far_pct] if one.far_pct > 0.0 else []
    most += [limits.near_pct / one.near_pct] if one.near_pct < 0.0 else []
    return _made_to_fit(lambda base: _given_ends(replace(camera, interaxial_mm=base)), min(most), limits)


def nearest_fitting_mm(camera: Camera, limits: Limits) -> float | None:
    """Nothing nearer fits, wherever the cameras are converged."""
    span, far = depth_pct_mm(camera), camera.far_mm
    if span is None or far is None:
        return None
    nearest = 1.0 / (range_budget(limits)[0] / span + 1.0 / far)
    return rounded_up(nearest) if is_figure(nearest) else None
