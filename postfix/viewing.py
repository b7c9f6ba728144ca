"""Parallax on a screen: pixels, percent of width, millimetres, arcminutes; screens and their limits.

The sign is fixed here for the whole project: parallax ``P = x_right − x_left`` of the same point; positive is behind
the screen, negative in front of it (the sign of "disparity" in ETSI TS 101 547 V1.1.1 (2012), clause 3.1).
"""

from __future__ import annotations

import math
from dataclasses import dataclass

ADULT_EYE_MM = 65.0
"""Eye distance used where none is given: common practice for the far limit. The mean adult has 63 mm and nearly
everyone 45 to 80 mm (Dodgson 2004, Proc. SPIE 5291, 36–46)."""

CHILD_EYE_MM = 50.0
"""Eye distance for children: a cautious figure of this project between the 40 mm that a maker should allow for from the
age of five (Dodgson 2004) and the adult 65."""


def px_from_pct(pct: float, width_px: int) -> float:
    """Parallax in pixels of a picture ``width_px`` wide, from percent of width."""
    return pct * width_px / 100.0


def pct_from_px(px: float, width_px: int) -> float:
    """Parallax in percent of width, from pixels of a picture ``width_px`` wide."""
    return px * 100.0 / width_px


def mm_from_pct(pct: float, screen_width_mm: float) -> float:
    """Parallax in millimetres on a screen, from percent of width."""
    return pct * screen_width_mm / 100.0


def pct_from_mm(mm: float, screen_width_mm: float) -> float:
    """Parallax in percent of width, from millimetres on a screen."""
    return mm * 100.0 / screen_width_mm


def perceived_distance_mm(parallax_mm: float, distance_mm: float, eye_mm: float = ADULT_EYE_MM) -> float | None:
    """Distance from the viewer at which a point is seen, ``Z = V·e / (e − P)``.

    Returns None where the eyes would be parallel or turn apart (P at or beyond the eye distance): there is no such
    distance, and the formula's infinite or negative value must never be shown.

    Source: N. Holliman's course notes on 3D displays (read); the same as Woods, Docherty and Koch 1993 (from memory).
    """
    if parallax_mm >= eye_mm:
        return None
    return distance_mm * eye_mm / (eye_mm - parallax_mm)


def divergence_deg(parallax_mm: float, distance_mm: float, eye_mm: float = ADULT_EYE_MM) -> float:
    """Degrees by which the eyes must turn apart, ``2·atan((P − e) / 2V)``; 0 where they need not."""
    excess_mm = parallax_mm - eye_mm
    return math.degrees(2.0 * math.atan(excess_mm / (2.0 * distance_mm))) if excess_mm > 0.0 else 0.0


def arcmin_from_mm(parallax_mm: float, distance_mm: float, eye_mm: float = ADULT_EYE_MM) -> float:
    """Vergence at the screen minus vergence at the point, in arcminutes; negative in front of the screen."""
    half_screen = math.atan(eye_mm / (2.0 * distance_mm))
    half_point = math.atan((eye_mm - parallax_mm) / (2.0 * distance_mm))
    return math.degrees(2.0 * (half_screen - half_point)) * 60.0


def mm_from_arcmin(arcmin: float, distance_mm: float, eye_mm: float = ADULT_EYE_MM) -> float:
    """Inverse of :func:`arcmin_from_mm`: the on-screen parallax whose angle is ``arcmin``, in millimetres."""
    half_screen = math.atan(eye_mm / (2.0 * distance_mm))
    half_point = half_screen - math.radians(arcmin / 60.0) / 2.0
    return eye_mm - 2.0 * distance_mm * math.tan(half_point)


def range_mm_from_arcmin(arcmin: float, distance_mm: float) -> float:
    """Millimetres on the screen that span an angle, seen straight on: ``2V·tan(angle / 2)``.

    At three picture heights on 16:9 this gives 2.945 % of width for 60 arcmin (Report ITU-R BT.2293-0, Table 9).
    """
    return 2.0 * distance_mm * math.tan(math.radians(arcmin / 60.0) / 2.0)


@dataclass(frozen=True)
class Screen:
    """Where the film will be watched.

    Attributes
    ----------
    name : str
        Used as the folder name of the version made for it.
    width_mm, distance_mm, eye_mm : float
        Width of the picture on it, distance of the viewer, distance between the viewer's eyes.
    note : str
        Where the figures come from.
    """

    name: str
    width_mm: float
    distance_mm: float
    eye_mm: float = ADULT_EYE_MM
    note: str = ""


def _display(name: str, width_mm: float, height_mm: float, distance_mm: float | None, note: str) -> Screen:
    return Screen(name, width_mm, 3.0 * height_mm if distance_mm is None else distance_mm, note=note)


_CINEMA = "seat one screen width away: project default, no source; nearer seats see more, farther seats less"
_TELEVISION = "three picture heights away, the design distance of HDTV (Report ITU-R BT.2293-0)"
_DESK = "usual working distance: project default, no source"

BUILTIN_SCREENS: dict[str, Screen] = {
    screen.name: screen
    for screen in (
        Screen("cinema-20m", 20000.0, 20000.0, note=_CINEMA),
        Screen("cinema-12m", 12000.0, 12000.0, note=_CINEMA),
        Screen("cinema-6m", 6000.0, 6000.0, note=_CINEMA),
        _display("tv-75in", 1660.0, 934.0, None, _TELEVISION),
        _display("tv-55in", 1218.0, 685.0, None, _TELEVISION),
        _display("desktop-27in", 598.0, 336.0, 700.0, _DESK),
        _display("laptop-15in", 344.0, 194.0, 550.0, _DESK),
        _display("tablet-11in", 237.0, 148.0, 400.0, _DESK),
    )
}
