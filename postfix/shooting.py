"""What to do on the next set: the interaxial for a screen, rules of thumb, rigs and lenses, and figures that cannot be.

Millimetres throughout; parallax in percent of the width of the picture. What is common practice says so: it is what
many do, without a source.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import Literal

from postfix.camera import FIGURE_WORDS, RIGS, Camera, Distance, depth_pct_mm, infinity_pct, is_distance, is_figure
from postfix.lengths import MM_IN, length_text
from postfix.limits import Limits, Span

RATIO_USUAL = 30.0
"""Nothing nearer than so many interaxials (common practice; J. Wattie's notes)."""

RATIO_CINEMA = 100.0
"""The same for cinema screens, the safer figure there (common practice)."""

MIRROR_RIG_MM = 120.0
SIDE_BY_SIDE_MM = 350.0
SMALL_RIG_MM = 3.0
"""Interaxials that rigs reach: two cameras over a mirror from 0, side by side from about 120 (common practice); below
the smallest of the three it takes a rig made for it (project default)."""

NATURAL_FOCAL_MM = (20.0, 35.0)
FLAT_FOCAL_MM = 50.0
"""Focal lengths on a Super 35 sensor that look natural, and beyond which depth flattens (common practice)."""


@dataclass(frozen=True)
class Setup:
    """A set-up for a screen.

    Attributes
    ----------
    interaxial_mm : float
    convergence_mm : float or None
        Infinite where parallel cameras need no shift; None where even infinity must lie in front of the screen, so that
        no distance is at it.
    near_pct, far_pct : float
        Parallax of the nearest and of the farthest thing then, percent of width.
    decided_by : {"range", "near and far", "interaxial"}
        What holds the interaxial down: the range limit, both ends at once, or that it was given.
    is_inside : bool
        Whether near, far and range are all within the limits.
    """

    interaxial_mm: float
    convergence_mm: float | None
    near_pct: float
    far_pct: float
    decided_by: Literal["range", "near and far", "interaxial"]
    is_inside: bool = True


def fitting_setup(focal_mm: float, sensor_width_mm: float, near_mm: float, far_mm: float, limits: Limits) -> Setup:
    """The largest interaxial with which everything from near to far fits a screen, and where to converge.

    The whole range of parallax may be the range limit, or the room between the near and the far limit where that is
    less. Where the range limit decides, the ends have room to spare: as much is left at one as at the other.

    Parallel cameras; toed-in ones come out the same on the middle axis.

    Parameters
    ----------
    focal_mm, sensor_width_mm : float
    near_mm, far_mm : float
        ``far_mm`` may be infinite.
    limits : Limits
        Of the screen.

    Raises
    ------
    ValueError
        Where a length cannot be one, or near does not lie in front of far.
    """
    span_pct = _depth_between(focal_mm, sensor_width_mm, near_mm, far_mm)
    room_pct = limits.far_pct - limits.near_pct
    by_range = limits.range_pct <= room_pct
    interaxial_mm = min(limits.range_pct, room_pct) / span_pct
    found = best_convergence(interaxial_mm, focal_mm, sensor_width_mm, near_mm, far_mm, limits)
    decided_by: Literal["range", "near and far"] = "range" if by_range else "near and far"
    # It was made to fit: what is over is rounding.
    return Setup(interaxial_mm, found.convergence_mm, found.near_pct, found.far_pct, decided_by)


def best_convergence(
    interaxial_mm: float, focal_mm: float, sensor_width_mm: float, near_mm: float, far_mm: float, limits: Limits
) -> Setup:
    """Where to converge with an interaxial that is given.

    As much room is left at the near limit as at the far one. Where not both fit, far is put at its limit and near stays
    outside, because eyes that must turn apart are the worse harm.

    Raises
    ------
    ValueError
        Where a length cannot be one, or near does not lie in front of far.
    """
    _require_length("interaxial", interaxial_mm)
    span_pct = _depth_between(focal_mm, sensor_width_mm, near_mm, far_mm) * interaxial_mm
    depth = depth_pct_mm(Camera(interaxial_mm, focal_mm, sensor_width_mm))
    if depth is None or not math.isfinite(span_pct):
        raise ValueError("the figures of the camera are too far apart to reckon with")
    room_pct = limits.far_pct - limits.near_pct
    far_pct = limits.far_pct - max(room_pct - span_pct, 0.0) / 2.0
    nearness = far_pct / depth + 1.0 / far_mm
    if abs(nearness) * depth < 1e-9:
        nearness = 0.0
    converged_mm = None if nearness < 0.0 else math.inf if nearness == 0.0 else 1.0 / nearness
    is_inside = span_pct <= min(room_pct, limits.range_pct) * (1.0 + 1e-9)
    return Setup(interaxial_mm, converged_mm, far_pct - span_pct, far_pct, "interaxial", is_inside)


def _depth_between(focal_mm: float, sensor_width_mm: float, near_mm: float, far_mm: float) -> float:
    """Parallax between near and far with an interaxial of 1 mm, percent of width."""
    for name, value in (("focal length", focal_mm), ("sensor width", sensor_width_mm), ("nearest distance", near_mm)):
        _require_length(name, value)
    between = 1.0 / near_mm - 1.0 / far_mm if is_distance(far_mm) else math.nan
    depth = depth_pct_mm(Camera(1.0, focal_mm, sensor_width_mm))
    if depth is None or not between * depth > 0.0:
        raise ValueError(f"the nearest thing, at {near_mm:g} mm, must be nearer than the farthest, at {far_mm:g} mm")
    return between * depth


def _require_length(name: str, value: float) -> None:
    if not is_figure(value):
        raise ValueError(f"the {name} must be more than 0 mm, not {value:g}")


def nearest_mm(interaxial_mm: float, ratio: float = RATIO_USUAL) -> float:
    """Nothing should be nearer with this interaxial (common practice; J. Wattie's notes have 30)."""
    return interaxial_mm * ratio


def interaxial_for(nearest_mm: float, ratio: float = RATIO_USUAL) -> float:
    """Interaxial for a nearest thing by the same rule."""
    return nearest_mm / ratio


def bercovitz_mm(near_mm: float, far_mm: float, focal_mm: float, parallax_on_sensor_mm: float) -> float | None:
    """Interaxial for a range P of parallax on the sensor, ``P·mn/(m − n)·(1/F − (m + n)/2mn)``; m may be infinite.

    From near n to far m with focal length F. The focus counts here: it lies between near and far, so the lens stands a
    little farther from the sensor than its focal length. None where near is not in front of far, or so near that
    nothing is left.

    Source: Bercovitz 1998, Proc. SPIE 3295, 288–298. With P 1.2 mm, 1/30 of a frame 36 mm wide; scale it for others.
    """
    plain = pinhole_mm(near_mm, far_mm, focal_mm, parallax_on_sensor_mm)
    if plain is None:
        return None
    found = plain * (1.0 - focal_mm * (1.0 / near_mm + 1.0 / far_mm) / 2.0)
    return found if is_figure(found) else None


def pinhole_mm(near_mm: float, far_mm: float, focal_mm: float, parallax_on_sensor_mm: float) -> float | None:
    """The same without focus, ``P·mn/(m − n)/F``: a plain pinhole camera. None where near is not in front of far."""
    if not (is_figure(near_mm) and is_distance(far_mm) and is_figure(focal_mm) and is_figure(parallax_on_sensor_mm)):
        return None
    between = 1.0 / near_mm - 1.0 / far_mm
    found = parallax_on_sensor_mm / focal_mm / between if between > 0.0 else math.nan
    return found if is_figure(found) else None


def ground_mm(height_mm: float, down_deg: float, focal_mm: float, sensor_height_mm: float) -> Distance:
    """Distance along the camera's axis of the nearest level ground in the picture: at its bottom edge.

    Parameters
    ----------
    height_mm : float
        Of the camera above the ground.
    down_deg : float
        How far it looks down, −90 to 90; negative looks up.
    focal_mm, sensor_height_mm : float

    Source: a ray through the bottom edge of a pinhole camera's picture (computed).
    """
    if not all(map(is_figure, (height_mm, focal_mm, sensor_height_mm))) or not abs(down_deg) <= 90.0:
        return Distance(None, "not known from these figures")
    half = math.atan(sensor_height_mm / (2.0 * focal_mm))
    below = math.sin(math.radians(down_deg) + half)
    distance = height_mm * math.cos(half) / below if below > 1e-9 else math.inf
    if not is_figure(distance):
        return Distance(None, "no ground in the picture: its bottom edge does not look below the horizon", True)
    return Distance(distance)


def rig_words(interaxial_mm: float) -> str:
    """Which class of rig reaches an interaxial (common practice)."""
    if interaxial_mm < SMALL_RIG_MM:
        return "a small rig made for it"
    if interaxial_mm <= MIRROR_RIG_MM:
        return "a mirror rig"
    if interaxial_mm <= SIDE_BY_SIDE_MM:
        return "cameras side by side"
    return "wider than common rigs: cameras set up apart, or two passes"


def lens_words(equivalent_mm: float) -> str:
    """How a focal length on a Super 35 sensor renders depth (common practice)."""
    shortest, longest = NATURAL_FOCAL_MM
    if equivalent_mm < shortest:
        return "short: exaggerates depth"
    if equivalent_mm <= longest:
        return "natural"
    if equivalent_mm <= FLAT_FOCAL_MM:
        return "longer than looks natural"
    return "long: depth flattens"


_DISTANCE = Span(20.0, 1e9, "mm")
PLAUSIBLE_MM: dict[str, Span] = {
    "interaxial_mm": Span(0.2, 20_000.0, "mm"),
    "focal_mm": Span(1.0, 3000.0, "mm"),
    "sensor_width_mm": Span(1.0, 150.0, "mm"),
    "convergence_mm": _DISTANCE,
    "near_mm": _DISTANCE,
    "far_mm": _DISTANCE,
    "focus_mm": _DISTANCE,
}
"""What each figure may plausibly be: from the smallest worlds under a lens to mountains. Project default."""


def doubt(name: str, value: float, unit: str = "mm") -> str | None:
    """A question about a figure that is hardly meant; None where it may be, also for a distance that is infinite.

    Parameters
    ----------
    name : str
        Field of a :class:`~postfix.camera.Camera`, such as ``interaxial_mm``.
    value : float
    unit : str
        That of ``value``, one of :data:`postfix.lengths.MM_IN`.
    """
    span, factor = PLAUSIBLE_MM[name], MM_IN[unit]
    if (math.isinf(value) and value > 0.0 and span is _DISTANCE) or span.holds(value * factor):
        return None
    asked = f"{FIGURE_WORDS[name]} {value:g} {unit}?"
    for other, words in ((value * 1000.0, "a thousand times that"), (value / 1000.0, "a thousandth of that")):
        if span.holds(other * factor):
            return f"{asked} {other:g} {unit} would be {words}"
    return f"{asked} usual is {length_text(span.low)} to {length_text(span.high)}"


CLOSE_MM, CLOSE_RATIO = 200.0, 20.0
"""A distance below the first is one of a macro rig, whose cameras stand so near to each other that it is as many
interaxials as the second, or was written in metres or centimetres. Project default."""

DISTANCES = ("near_mm", "convergence_mm", "far_mm", "focus_mm")


def close_doubt(camera: Camera, name: str) -> str | None:
    """A question about one of :data:`DISTANCES` that only a macro rig has; None where it may be meant.

    A rig with 3 mm between its lenses may look at what is 60 mm away. Where the interaxial was not noted, nothing says
    that it is such a rig.
    """
    value, base = getattr(camera, name), camera.interaxial_mm
    if value is None or not value < CLOSE_MM or (is_figure(base) and value >= CLOSE_RATIO * (base or 0.0)):
        return None
    beside = f"with an interaxial of {length_text(base or 0.0)}" if is_figure(base) else "without an interaxial"
    meant = f"{value * 1000.0:g} mm if metres were meant, {value * 10.0:g} mm if centimetres"
    return f"{FIGURE_WORDS[name]} {value:g} mm {beside}? {meant}"


def doubts(camera: Camera) -> tuple[str, ...]:
    """The questions about all figures of a camera; see :func:`doubt` and :func:`close_doubt`."""
    given = {name: getattr(camera, name) for name in FIGURE_WORDS}
    found = [(name, doubt(name, value)) for name, value in given.items() if value is not None]
    asked = [words or (close_doubt(camera, name) if name in DISTANCES else None) for name, words in found]
    return tuple(filter(None, asked))


ENDLESS = ("convergence_mm", "far_mm", "focus_mm")
"""Distances that may be infinite."""

LEAST_MM: dict[str, float] = {"interaxial_mm": 0.001, "focal_mm": 0.1, "sensor_width_mm": 0.1}
"""Shorter there is none, in whatever unit it was written. Project default."""


def in_millimetres(mm: float) -> str:
    """A length as it stands in a file."""
    return f"{mm:g} mm"


def check(camera: Camera, told: Callable[[float], str] = in_millimetres) -> tuple[str, ...]:
    """What cannot be of a camera's figures, in words; empty where all may be. ``told`` says lengths."""
    wrong = [] if camera.rig in RIGS else [f"rig {camera.rig!r} is none of {', '.join(RIGS)}"]
    for name, words in FIGURE_WORDS.items():
        value = getattr(camera, name)
        may_be_infinite = name in ENDLESS
        if value is not None and not (is_distance(value) if may_be_infinite else is_figure(value)):
            wrong.append(f"{words} {value:g} mm must be more than 0{'' if may_be_infinite else ' and finite'}")
        elif value is not None and value < LEAST_MM.get(name, 0.0):
            wrong.append(f"{words} {told(value)} is less than any is, {told(LEAST_MM[name])}")
    return tuple(wrong) if wrong else tuple(_at_odds(camera, told))


def _at_odds(camera: Camera, told: Callable[[float], str]) -> list[str]:
    """Which figures, each possible alone, cannot be together."""
    wrong = []
    near, far, focal, base = camera.near_mm, camera.far_mm, camera.focal_mm, camera.interaxial_mm
    if near is not None and far is not None and near >= far:
        wrong.append(f"nearest distance {told(near)} is not nearer than the farthest, {told(far)}")
    for name in DISTANCES:
        distance = getattr(camera, name)
        if focal is not None and distance is not None and distance <= focal:
            wrong.append(f"{FIGURE_WORDS[name]} {told(distance)} is not beyond the focal length, {told(focal)}")
    most, converged = infinity_pct(camera), camera.convergence_mm
    if camera.rig == "parallel" and most is not None and most >= 100.0 and converged is not None:
        placed = f"convergence distance {told(converged)}"
        wrong.append(f"{placed} would put the two pictures side by side, not over each other")
    if camera.rig == "toed-in" and converged is not None and base is not None and converged <= base / 2.0:
        wrong.append(f"convergence distance {told(converged)} is too near for cameras {told(base)} apart")
    return wrong
