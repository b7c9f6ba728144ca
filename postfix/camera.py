"""How a shot was filmed, and what geometry makes of it: two pinhole cameras side by side.

All figures of a camera may be missing; what can be said without them is still said. Millimetres throughout; parallax in
percent of the width of the picture, positive behind the screen. Pictures are those of the source, before anything
moved them.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

Rig = Literal["parallel", "toed-in"]
"""``parallel``: axes parallel, converged by shifting sensors or pictures. ``toed-in``: cameras turned towards the plane
of convergence."""

RIGS: tuple[Rig, ...] = ("parallel", "toed-in")

SUPER_35_WIDTH_MM = 24.89
"""Sensor width that focal lengths are told for."""


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
    """

    interaxial_mm: float | None = None
    focal_mm: float | None = None
    sensor_width_mm: float | None = None
    convergence_mm: float | None = None
    rig: Rig = "parallel"
    near_mm: float | None = None
    far_mm: float | None = None


@dataclass(frozen=True)
class Distance:
    """A real distance; ``mm`` is None where there is none to tell, ``why`` then says so in words."""

    mm: float | None
    why: str = ""
    is_infinite: bool = False
    """Whether the reason is that it lies at infinity, or would lie beyond it."""


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
