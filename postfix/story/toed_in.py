"""Where to turn toed-in cameras to: how much a screen takes, of what they do to the sides of the picture as well.

Everything that turning does grows with it: near and far go back, the sides more than the middle, and keystone grows. So
the turns that fit lie between the least with which near fits and the most with which the rest does.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import replace

from postfix.camera import Camera, converged_by, is_figure, parallax_pct, side_parallax_pct
from postfix.limits import Limits

Judge = Callable[[Camera], bool]
"""Says yes or no of a camera, such as whether it is turned too much."""

_HALVINGS, _FEW_HALVINGS = 34, 20


def least_turned_mm(camera: Camera, limits: Limits) -> float | None:
    """Convergence with which the nearest thing lies at its limit: farther away it would be outside.

    Infinite where it is inside however little the cameras are turned; None where something is missing.
    """
    if camera.near_mm is None:
        return None
    unturned = parallax_pct(replace(camera, convergence_mm=math.inf), camera.near_mm)
    if unturned is None or unturned >= limits.near_pct:
        return None if unturned is None else math.inf
    return converged_by(replace(camera, convergence_mm=None), camera.near_mm, limits.near_pct).convergence_mm


def most_turned_mm(camera: Camera, is_too_far: Judge) -> float:
    """Nearest convergence that is not turned too much; NaN where even parallel cameras would be."""
    base = camera.interaxial_mm or math.nan

    def turned(nearness: float) -> Camera:
        return replace(camera, convergence_mm=1.0 / nearness if nearness > 0.0 else math.inf)

    if is_too_far(turned(0.0)):
        return math.nan
    # The logarithm of a nearness, so that a mountain is found as well as a thimble.
    low, high = math.log(1e-13), math.log(2.0 / base)
    if is_too_far(turned(math.exp(low))):
        return math.inf
    for _ in range(_HALVINGS):
        middle = (low + high) / 2.0
        low, high = (low, middle) if is_too_far(turned(math.exp(middle))) else (middle, high)
    return math.exp(-low)


def shared_mm(camera: Camera, limits: Limits) -> float:
    """Convergence with which near and far take the same share of their limits, far at the sides of the picture.

    So something is at the screen. Where the limits do not lie about the screen, as much is left at one as at the other.
    """

    def is_beyond(one: Camera) -> bool:
        near, far = _ends(one)
        if limits.near_pct < 0.0 < limits.far_pct:
            return far / limits.far_pct > near / limits.near_pct
        return near + far > limits.near_pct + limits.far_pct

    wanted = most_turned_mm(camera, is_beyond)
    return math.inf if math.isnan(wanted) else wanted


def best_convergence_mm(camera: Camera, limits: Limits, is_too_far: Judge) -> float:
    """Convergence of cameras whose interaxial is given: that of :func:`shared_mm` where it fits.

    Nearer or farther where more would be outside; where nothing fits, far is at its limit.
    """
    least, most = least_turned_mm(camera, limits), most_turned_mm(camera, is_too_far)
    if least is None or not most <= least:
        at_far = most_turned_mm(camera, lambda one: _ends(one)[1] > limits.far_pct)
        return math.inf if math.isnan(at_far) else at_far
    return min(max(shared_mm(camera, limits), most), least)


def nearest_mm(camera: Camera, from_mm: float, far_mm: float, limits: Limits, fits: Judge) -> float | None:
    """The nearest thing with which ``fits`` holds of the cameras converged by :func:`shared_mm`.

    It is looked for about ``from_mm``, where it would be if the sides had no more than the middle. None where
    nothing in front of the farthest thing fits.
    """

    def is_well(near_mm: float) -> bool:
        one = replace(camera, near_mm=near_mm, convergence_mm=None)
        return fits(replace(one, convergence_mm=shared_mm(one, limits)))

    if not is_figure(from_mm):
        return None
    low, high = math.log(from_mm / 2.0), math.log(min(far_mm, from_mm * 1e6) * (1.0 - 1e-6))
    if not is_well(math.exp(high)):
        return None
    for _ in range(_FEW_HALVINGS):
        middle = (low + high) / 2.0
        low, high = (low, middle) if is_well(math.exp(middle)) else (middle, high)
    return math.exp(high)


def _ends(camera: Camera) -> tuple[float, float]:
    """Near in the middle and far at the sides; NaN where not known."""
    near = None if camera.near_mm is None else parallax_pct(camera, camera.near_mm)
    far = None if camera.far_mm is None else side_parallax_pct(camera, camera.far_mm)
    return math.nan if near is None else near, math.nan if far is None else far
