"""How far away something was, from its parallax as shot, where nothing is known of its place in the picture.

Toed-in cameras give the same depth more parallax at the sides than in the middle. Where that makes much of a difference
there is a span of distances and no single one.
"""

from __future__ import annotations

import math

from postfix.camera import (
    INFINITY_TOLERANCE_PCT,
    Camera,
    Distance,
    distance_of,
    nearest_with,
    side_parallax_pct,
)
from postfix.lengths import length_text

SPAN_SHARE = 0.9
"""A distance is told where the nearest that it might be is no less than this share of it. Project default."""


def real_distance(camera: Camera, parallax_pct: float) -> Distance:
    """The distance, as in the middle of the picture; none where at the sides it would be much nearer.

    What the sides have of nearer things is not taken for infinity either.
    """
    found, nearest = distance_of(camera, parallax_pct), nearest_with(camera, parallax_pct)
    if camera.rig == "parallel" or nearest is None:
        return found
    if found.mm is not None and nearest < SPAN_SHARE * found.mm:
        return Distance(None, f"{length_text(nearest)} at a side of the picture, {length_text(found.mm)} in its middle")
    if found.is_infinite and not is_infinite_anywhere(camera, parallax_pct):
        return Distance(None, f"{length_text(nearest)} at a side of the picture, infinity in its middle")
    return found


def span_mm(camera: Camera, parallax_pct: float) -> tuple[float, float] | None:
    """Nearest and farthest that it may be, the second perhaps infinite, for where there is no single distance."""
    middle, nearest = distance_of(camera, parallax_pct), nearest_with(camera, parallax_pct)
    if nearest is None or not (middle.is_infinite or middle.mm):
        return None
    return nearest, middle.mm or math.inf


def is_infinite_anywhere(camera: Camera, parallax_pct: float) -> bool:
    """Whether it is as much as that of infinity where infinity has most."""
    most = side_parallax_pct(camera, float("inf"))
    return most is not None and parallax_pct >= most - INFINITY_TOLERANCE_PCT


def real_words(camera: Camera, parallax_pct: float) -> str:
    """``8.73 m``, ``infinity``, or ``8 m to 30 m``; empty where nothing can be told."""
    found = real_distance(camera, parallax_pct)
    if found.mm is not None:
        return length_text(found.mm)
    if found.is_infinite:
        return "infinity"
    span = span_mm(camera, parallax_pct)
    if span is None:
        return ""
    nearest, farthest = span
    return f"{length_text(nearest)} to {'infinity' if math.isinf(farthest) else length_text(farthest)}"
