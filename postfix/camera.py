"""How a shot was filmed, and what geometry makes of it: two pinhole cameras side by side.

All figures of a camera may be missing; what can be said without them is still said, and where there is no number the
answer is None: never an infinite or negative distance. A figure that cannot be (zero, negative, not a number) counts as
missing here; :func:`postfix.shooting.check` says what is wrong with it. Millimetres throughout; parallax in percent of
the width of the picture, positive behind the screen. Pictures are those of the source, before anything moved them.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import Literal

from postfix.viewing import Screen, mm_from_pct

Rig = Literal["parallel", "toed-in"]
"""``parallel``: axes parallel, converged by shifting sensors or pictures. ``toed-in``: cameras turned towards the plane
of convergence."""

RIGS: tuple[Rig, ...] = ("parallel", "toed-in")

SUPER_35_WIDTH_MM = 24.89
"""Sensor width that focal lengths are told for."""

INFINITY_TOLERANCE_PCT = 0.02
"""What a parallax may be short of that of infinity and still counts as infinitely far: about what the measurement can
tell, so that a distance read from less would be made up. Project default."""


FOCUS_SHARE = 0.02
"""By what share the focus may change all parallax before it is told that it was not noted: about what the distances are
told within. Project default."""


@dataclass(frozen=True)
class Camera:
    """What was noted on the set; None where it was not.

    Attributes
    ----------
    interaxial_mm, focal_mm, sensor_width_mm : float or None
        ``sensor_width_mm`` is the width that fills the picture.
    convergence_mm : float or None
        Distance of what has no parallax in the pictures as given; infinite where parallel cameras were not shifted.
    rig : Rig
    near_mm, far_mm : float or None
        Distance of the nearest and of the farthest thing in the picture; ``far_mm`` may be infinite.
    focus_mm : float or None
        Distance that the lens is focused on; may be infinite. Where it was not noted the lens counts as focused far
        away, as a pinhole (:func:`image_mm`, :func:`focus_share`).
    """

    interaxial_mm: float | None = None
    focal_mm: float | None = None
    sensor_width_mm: float | None = None
    convergence_mm: float | None = None
    rig: Rig = "parallel"
    near_mm: float | None = None
    far_mm: float | None = None
    focus_mm: float | None = None


@dataclass(frozen=True)
class Distance:
    """A real distance; ``mm`` is None where there is none to tell, ``why`` then says so in words."""

    mm: float | None
    why: str = ""
    is_infinite: bool = False
    """Whether the reason is that it lies at infinity, or would lie beyond it."""


FIGURE_WORDS: dict[str, str] = {
    "interaxial_mm": "interaxial",
    "focal_mm": "focal length",
    "sensor_width_mm": "sensor width",
    "convergence_mm": "convergence distance",
    "near_mm": "nearest distance",
    "far_mm": "farthest distance",
    "focus_mm": "focus distance",
}
"""What each figure of a camera is called."""


_LONGEST_MM = 1e15
"""Longer than anything that is filmed; what is reckoned with it stays finite."""


def is_figure(value: float | None) -> bool:
    """Whether a length is there and can be one: a number above zero, and not absurd."""
    return value is not None and 0.0 < value <= _LONGEST_MM


def is_distance(value: float | None) -> bool:
    """Whether a distance is there and can be one; infinity is one."""
    return value is not None and value > 0.0


def missing(camera: Camera) -> tuple[str, ...]:
    """Names of the figures that are still needed before a parallax gives a distance."""
    needed = [name for name in ("interaxial_mm", "focal_mm", "sensor_width_mm") if not is_figure(getattr(camera, name))]
    needed += [] if is_distance(camera.convergence_mm) else ["convergence_mm"]
    return tuple(FIGURE_WORDS[name] for name in needed)


def sensor_parallax_pct(
    focal_mm: float, interaxial_mm: float, converged_mm: float, point_mm: float, sensor_width_mm: float
) -> float:
    """Parallax of a point in the picture, percent of width, from how it was shot with parallel cameras.

    ``P = f·B·(1/Zc − 1/Z)`` on the sensor: focal length f, interaxial B, distance Zc of what the HIT puts on the
    screen, distance Z of the point. For a point at infinity it is that whole HIT, ``f·B/Zc``.

    Source: the pinhole camera (from memory).
    """
    parallax_mm = focal_mm * interaxial_mm * (1.0 / converged_mm - 1.0 / point_mm)
    return parallax_mm * 100.0 / sensor_width_mm


def fitting_interaxial_share(range_pct: float, room_pct: float) -> float:
    """Share of the interaxial with which a shot would have fitted: its range of parallax against the room there is.

    All parallax of a shot is in proportion to its interaxial (:func:`sensor_parallax_pct`), so half of it would have
    halved the range. More than 1 where there was room to spare; NaN where the shot has no range to speak of.

    Source: arithmetic on the pinhole camera (from memory).
    """
    return room_pct / range_pct if range_pct > 0.0 else math.nan


def image_mm(camera: Camera) -> float | None:
    """How far behind the lens the picture is formed: what draws a scene as a pinhole of that depth does.

    The focal length where the lens is focused far away or nothing was noted of it, more where it is focused near:
    ``f / (1 − f/Zf)`` with the focus at Zf. None where there is no focal length, or the focus is no farther than it.

    Source: the thin lens (from memory).
    """
    focal, focus = camera.focal_mm, camera.focus_mm
    if focal is None or not is_figure(focal):
        return None
    if focus is None or not is_distance(focus):
        return focal
    share = 1.0 - focal / focus
    found = focal / share if share > 0.0 else math.nan
    return found if is_figure(found) else None


def focus_share(camera: Camera, focus_mm: float | None) -> float:
    """By what share a lens would draw larger, and all parallax with it, if it were focused there; 0 where its focus
    was noted, or nothing can be said."""
    focal = camera.focal_mm
    if camera.focus_mm is not None or focal is None or not is_distance(focus_mm):
        return 0.0
    drawn = image_mm(replace(camera, focus_mm=focus_mm))
    return 0.0 if drawn is None else drawn / focal - 1.0


def focus_doubt(camera: Camera, nearest_mm: float | None) -> float:
    """:func:`focus_share` of the nearest thing where it is enough to be told (:data:`FOCUS_SHARE`); else 0."""
    share = focus_share(camera, nearest_mm)
    return share if share >= FOCUS_SHARE else 0.0


def depth_pct_mm(camera: Camera) -> float | None:
    """Parallax that a shot loses with each 1/mm of nearness, ``f·B`` on the sensor in percent of its width; ``f`` as
    the focus has it (:func:`image_mm`).

    The parallax between two distances is this times the difference of their inverses, whatever the convergence. None
    where interaxial, focal length or sensor width is missing.
    """
    base, focal, width = camera.interaxial_mm, image_mm(camera), camera.sensor_width_mm
    if base is None or focal is None or width is None or not all(map(is_figure, (base, focal, width))):
        return None
    product = 100.0 * (focal / width) * base
    return product if is_figure(product) else None


def parallax_pct(camera: Camera, distance_mm: float) -> float | None:
    """Parallax of a point on the middle axis, percent of width; ``distance_mm`` may be infinite.

    Parallel cameras: ``f·B·(1/Zc − 1/Z)`` on the sensor. Toed-in ones stand ``B`` apart and are each turned inward by
    ``atan(B / 2Zc)``, which divides that by ``1 + B² / (4·Zc·Z)``. None where something is missing.

    Source: the pinhole camera (from memory); the toed-in form is ``2f·tan(atan(B/2Zc) − atan(B/2Z))`` (computed).
    """
    span, screen, point = depth_pct_mm(camera), _nearness(camera.convergence_mm), _nearness(distance_mm)
    if span is None or screen is None or point is None:
        return None
    return _number(span * (screen - point) / (1.0 + _bend_mm2(camera) * screen * point))


def side_parallax_pct(camera: Camera, distance_mm: float) -> float | None:
    """Most parallax that a point at this depth has where both eyes have it in their picture, percent of width.

    Toed-in cameras give more parallax to the sides than to the middle, at one and the same depth: the least is on the
    middle axis (:func:`parallax_pct`), the most at the side edges. Parallel ones give the same everywhere. That of the
    middle where no point is in both pictures; None where something is missing.

    Source: two pinhole cameras turned towards each other (computed). In directions over the depth, ``a`` aside, ``b``
    half the interaxial, ``T`` the tangent of a camera's turn, it is
    ``2f·((T − b)(1 + bT) + a²T) / ((1 + bT)² − a²T²)``, which grows with a.
    """
    middle, turned, point = parallax_pct(camera, distance_mm), _turned(camera), _nearness(distance_mm)
    if middle is None or turned is None or point is None:
        return middle
    half, turn, half_base_mm = turned
    b = half_base_mm * point
    outer = math.atan(half) + turn
    # Of the right half: where the right eye's picture ends, or the left eye's.
    aside = min(b + math.tan(math.atan(half) - turn), math.tan(outer) - b if outer < math.pi / 2.0 else math.inf)
    if not aside > 0.0:
        return middle
    most = 50.0 / half * (math.tan(math.atan(aside - b) + turn) - math.tan(math.atan(aside + b) - turn))
    return max(middle, most) if math.isfinite(most) else middle


def nearest_with(camera: Camera, parallax_pct: float) -> float | None:
    """Nearest distance at which anything in both pictures has this parallax; None where there is none to tell.

    The inverse of :func:`side_parallax_pct`; for parallel cameras that of :func:`parallax_pct`. What has the parallax
    lies between this and :func:`distance_of`, wherever it is in the picture.
    """
    turned = _turned(camera)
    on_axis = distance_of(camera, parallax_pct)
    if turned is None or missing(camera) or not math.isfinite(parallax_pct):
        return on_axis.mm
    half, turn, half_base_mm = turned
    # The eye whose picture ends there sees it at its edge; x over the focal length.
    right = min(half, half + parallax_pct * half / 50.0)
    outward = math.atan(right - parallax_pct * half / 50.0) + turn
    if not outward < math.pi / 2.0:
        return on_axis.mm
    aside_mm = math.tan(outward) - math.tan(math.atan(right) - turn)
    found = 2.0 * half_base_mm / aside_mm if aside_mm > 0.0 else math.nan
    if not is_figure(found):
        return on_axis.mm
    return found if on_axis.mm is None else min(found, on_axis.mm)


def infinity_pct(camera: Camera) -> float | None:
    """Parallax of infinity, in percent: the whole HIT that converged the shot; None where something is missing."""
    return parallax_pct(camera, math.inf)


def distance_of(camera: Camera, parallax_pct: float, tolerance_pct: float = INFINITY_TOLERANCE_PCT) -> Distance:
    """Real distance of what has this parallax on the middle axis: the inverse of :func:`parallax_pct`.

    At the sides of toed-in cameras' pictures nearer things have it (:func:`nearest_with`).

    Parameters
    ----------
    camera : Camera
    parallax_pct : float
        As shot, percent of width.
    tolerance_pct : float
        What it may be short of the parallax of infinity and still counts as that.
    """
    absent = missing(camera)
    if absent:
        return Distance(None, f"not known without the {listed(absent)}")
    if not math.isfinite(parallax_pct):
        return Distance(None, "nothing was measured")
    span, screen, most = depth_pct_mm(camera), _nearness(camera.convergence_mm), infinity_pct(camera)
    if span is None or screen is None or most is None:
        return Distance(None, "the figures of the camera are too far apart to reckon with")
    if parallax_pct > most + tolerance_pct:
        return Distance(None, f"{_signed(parallax_pct)} is more than infinity has, {_signed(most)}", is_infinite=True)
    if parallax_pct >= most - tolerance_pct:
        return Distance(None, "at infinity, or too far to be told from it", is_infinite=True)
    crossed = parallax_pct / span
    share = 1.0 + _bend_mm2(camera) * screen * crossed
    nearness = (screen - crossed) / share if share > 0.0 else math.inf
    if not nearness * (camera.focal_mm or 0.0) < 1.0:
        return Distance(None, f"{_signed(parallax_pct)} would be nearer than the focal length")
    distance = _distance(nearness)
    return Distance(None, "at infinity", is_infinite=True) if distance is None else Distance(distance)


def converged_by(camera: Camera, known_mm: float, measured_pct: float) -> Camera:
    """The camera with its convergence found from one thing whose real distance and parallax are both known.

    The camera comes back as it was where its convergence was noted, where something else is missing, or where even
    infinity would lie in front of the screen, which no distance of convergence can say.

    Parameters
    ----------
    camera : Camera
    known_mm : float
        Distance of that thing; may be infinite.
    measured_pct : float
        Its parallax as shot, percent of width.
    """
    span, point = depth_pct_mm(camera), _nearness(known_mm)
    if is_distance(camera.convergence_mm) or span is None or point is None or not math.isfinite(measured_pct):
        return camera
    crossed = measured_pct / span
    share = 1.0 - _bend_mm2(camera) * crossed * point
    screen = (point + crossed) / share if share > 0.0 else math.nan
    if abs(screen) * span <= INFINITY_TOLERANCE_PCT:
        return replace(camera, convergence_mm=math.inf)
    distance = _distance(screen)
    return camera if distance is None else replace(camera, convergence_mm=distance)


def vertical_parallax_mm(
    camera: Camera,
    sensor_height_mm: float,
    distance_mm: float | None = None,
    display_width_mm: float | None = None,
) -> float | None:
    """Largest vertical parallax that toeing in gives a point in a corner of one eye's picture; 0 for parallel cameras.

    Each camera looks at a point from its own side, so it sees it larger or smaller than the other does, most of all in
    the corners. The outer corners count as well, whose point may lie just beyond the edge of the other eye.

    Parameters
    ----------
    camera : Camera
    sensor_height_mm : float
        Height of the sensor that fills the picture.
    distance_mm : float, optional
        Depth of the point; on the plane of convergence where none is given.
    display_width_mm : float, optional
        Width of the picture on a screen, for the figure there instead of the one on the sensor.

    Source: two pinhole cameras turned towards each other (from memory, computed).
    """
    focal, base, width = image_mm(camera), camera.interaxial_mm, camera.sensor_width_mm
    converged, depth = camera.convergence_mm, camera.convergence_mm if distance_mm is None else distance_mm
    if base is None or focal is None or width is None or converged is None or depth is None or missing(camera):
        return None
    if not is_figure(sensor_height_mm) or not is_distance(depth):
        return None
    if camera.rig == "parallel" or math.isinf(converged):
        return 0.0
    turn = math.atan(base / (2.0 * converged))
    sides = [_other_eye_mm(focal, base, turn, depth, (x, sensor_height_mm / 2.0)) for x in (-width / 2.0, width / 2.0)]
    apart = [abs(other - sensor_height_mm / 2.0) for other in sides if other is not None]
    scale = 1.0 if display_width_mm is None else display_width_mm / width
    return _number(max(apart) * scale) if apart else None


def _other_eye_mm(focal: float, base: float, turn: float, depth: float, at: tuple[float, float]) -> float | None:
    """Height on the right sensor of a point that the left eye sees ``at`` (x, y) on its own, both cameras toed in.

    None where the left eye's line never reaches that depth, or the right eye has the point behind it.
    """
    x, y = at
    forward, aside = focal * math.cos(turn) - x * math.sin(turn), focal * math.sin(turn) + x * math.cos(turn)
    if forward <= 0.0:
        return None
    # Over the depth, so that an infinite one has a place too: there the base no longer counts.
    reached = math.cos(turn) - math.sin(turn) * (aside / forward - base / depth)
    return focal * (y / forward) / reached if reached > 0.0 else None


def roundness(parallax_pct: float, real_mm: float, interaxial_mm: float, screen: Screen) -> float | None:
    """Depth against width as seen from a screen's own seat, 1 as in life; less is flat, more is stretched.

    A small step in depth is seen as ``dZi/dZ`` of itself, one in width as ``dXi/dX``. With ``Zi = V·e/(e − P)`` and
    ``P = M·f·B·(1/Zc − 1/Z)`` the first over the second is ``V·B / ((e − P)·Z)``: viewing distance V, eyes e apart,
    interaxial B, real distance Z, and P in millimetres on the screen, after any HIT and zoom. Exact for parallel
    cameras, and for toed-in ones as good as exact where the interaxial is small against the distance.

    None where the eyes do not meet in front of the viewer, or the point is infinitely far and has no depth to speak of.

    Source: Woods, Docherty and Koch 1993 for how it is seen (from memory), and derivation (computed).
    """
    open_mm = screen.eye_mm - mm_from_pct(parallax_pct, screen.width_mm)
    if not (open_mm > 0.0 and is_figure(real_mm) and is_figure(interaxial_mm)):
        return None
    return _number(screen.distance_mm / open_mm * (interaxial_mm / real_mm))


def equivalent_focal_mm(focal_mm: float | None, sensor_width_mm: float | None) -> float | None:
    """Focal length with the same view across on a Super 35 sensor, 24.89 mm wide; None where something is missing."""
    if focal_mm is None or sensor_width_mm is None or not (is_figure(focal_mm) and is_figure(sensor_width_mm)):
        return None
    return _number(focal_mm * (SUPER_35_WIDTH_MM / sensor_width_mm))


def listed(words: tuple[str, ...]) -> str:
    """``a``, ``a and b``, ``a, b and c``."""
    return " and ".join(filter(None, (", ".join(words[:-1]), *words[-1:])))


def _nearness(distance_mm: float | None) -> float | None:
    """1/mm of a distance, 0 for infinity; None where it is none."""
    if distance_mm is None or not distance_mm > 0.0:
        return None
    return _number(1.0 / distance_mm)


def _distance(nearness: float) -> float | None:
    """The distance of a nearness in 1/mm; None where it would be infinite, zero or negative."""
    if not nearness > 0.0:
        return None
    distance = 1.0 / nearness
    return distance if is_figure(distance) else None


def _bend_mm2(camera: Camera) -> float:
    """By what toed-in cameras differ from parallel ones on the middle axis, ``B²/4``; 0 for parallel ones."""
    base = camera.interaxial_mm or 0.0
    return base * base / 4.0 if camera.rig == "toed-in" else 0.0


def _turned(camera: Camera) -> tuple[float, float, float] | None:
    """Of toed-in cameras: half the sensor over the focal length, the turn of each in radians, half the interaxial."""
    base, focal, width, converged = (
        camera.interaxial_mm,
        image_mm(camera),
        camera.sensor_width_mm,
        camera.convergence_mm,
    )
    if camera.rig != "toed-in" or base is None or focal is None or width is None or converged is None:
        return None
    if missing(camera) or not is_figure(width / focal):
        return None
    turn = math.atan(base / (2.0 * converged))
    return (width / focal / 2.0, turn, base / 2.0) if turn > 0.0 else None


def _number(value: float) -> float | None:
    """A finite number, or None."""
    return value if math.isfinite(value) else None


def _signed(pct: float) -> str:
    """Percent of width with a real minus sign."""
    return f"{pct:+.3g} %".replace("-", "\N{MINUS SIGN}")
