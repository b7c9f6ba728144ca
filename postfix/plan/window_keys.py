"""Few keys, joined by straight lines, for a curve of many frames."""

from __future__ import annotations

import math

import numpy as np

from postfix.plan.geometry import Array
from postfix.plan.model import WindowKey
from postfix.plan.window_easing import at_most_as_fast

KEY_TOLERANCE_PX = 1.0
"""What a window may be wider than its eased curve so that a plan holds few keys."""

KEY_TOLERANCE_SHARE = 0.05
"""The same as a share of the curve's widest, where that is less: a pixel is much of a window of 5. Project default."""

_KEY_STEP_PX = 0.01  # keys are rounded up to this, so that a plan can be read


def keys_over(curve: Array, first: int, cap_px: float, speed_px: float) -> tuple[WindowKey, ...]:
    """Keys of a shot that begins at frame ``first`` for ``curve`` (n, 4): left top and bottom, right top and bottom.

    Nowhere below the curve, and above it by no more than :data:`KEY_TOLERANCE_PX` nor :data:`KEY_TOLERANCE_SHARE`, nor
    above ``cap_px`` where the curve is not, nor changing by more than ``speed_px`` a frame where the curve does not;
    all that but for the hundredth of a pixel that a key is rounded up.
    """
    tolerance = np.minimum(KEY_TOLERANCE_PX, KEY_TOLERANCE_SHARE * curve.max(axis=0))
    # Where nothing is hidden nothing may be: the tolerance would paint a stray column there.
    ceiling = np.where(curve > 0.0, np.maximum(np.minimum(curve + tolerance, cap_px), curve), 0.0)
    ceiling = np.maximum(-at_most_as_fast(-ceiling, speed_px), curve)
    keys = []
    for frame, value in upper_envelope(curve, ceiling, speed_px):
        left_top, left_bottom, right_top, right_bottom = (rounded_up(float(px)) for px in value)
        keys.append(WindowKey(first + frame, (left_top, left_bottom), (right_top, right_bottom)))
    return tuple(keys)


def upper_envelope(curve: Array, ceiling: Array, speed_px: float = math.inf) -> list[tuple[int, Array]]:
    """Few keys whose straight connections stay between ``curve`` and ``ceiling``, both (n, k), at every frame.

    From each key the straight line is carried as far as the tunnel between the two allows; the next key lies there.
    No line is steeper than ``speed_px`` a frame where the tunnel has room for one that is not.
    """
    count = len(curve)
    held = curve.max(axis=0)
    if np.all(held <= ceiling.min(axis=0)):
        return [(0, held)]
    target = (curve + ceiling) / 2.0
    frame, value = 0, target[0]
    keys = [(frame, value)]
    while frame < count - 1:
        reach, least, most = _line_of_sight(curve, ceiling, frame, value, speed_px)
        # Where a width may stay as it is, it does: a slow creep within the tolerance would be movement for nothing.
        still = (least <= 0.0) & (most >= 0.0)
        slope = np.where(still, 0.0, np.clip((target[frame + reach] - value) / reach, least, most))
        frame += reach
        value = np.clip(value + slope * reach, curve[frame], ceiling[frame])
        keys.append((frame, value))
    return keys


def _line_of_sight(curve: Array, ceiling: Array, frame: int, value: Array, speed_px: float) -> tuple[int, Array, Array]:
    """Frames that one straight line from a key can cover inside the tunnel, and the slopes it may have."""
    count, size = len(curve), 64
    while True:
        end = min(count, frame + 1 + size)
        steps = np.arange(1, end - frame, dtype=np.float64)[:, None]
        least = np.maximum.accumulate(np.maximum((curve[frame + 1 : end] - value) / steps, -speed_px), axis=0)
        most = np.minimum.accumulate(np.minimum((ceiling[frame + 1 : end] - value) / steps, speed_px), axis=0)
        seen = int(np.all(least <= most + 1e-12, axis=1).sum())
        if seen < len(steps) or end == count:
            reach = max(seen, 1)
            return reach, np.minimum(least[reach - 1], most[reach - 1]), most[reach - 1]
        size *= 4


def rounded_up(px: float) -> float:
    """A width as a plan holds it, never less than it was."""
    return round(math.ceil(px / _KEY_STEP_PX - 1e-6) * _KEY_STEP_PX, 2) if px > 0.0 else 0.0
