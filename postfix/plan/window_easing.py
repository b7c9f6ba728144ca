"""How a window's width changes in time: held, then no faster and no more suddenly than a person would notice.

The limits, for the width ``W`` of one end of a window in pixels, at frames of one shot:

- hold: ``W(t) ≥ need(s)`` wherever ``|t − s| ≤ hold_radius``;
- speed: ``|W(t + 1) − W(t)| ≤ speed_px``;
- easing: ``|W(t + 1) − 2 W(t) + W(t − 1)| ≤ speed_px / ease_frames``, so that the full speed is gathered, and lost, in
  ``ease_frames`` frames.

They hold inside a shot. At a cut a window may change at once, so its first and last frames have nothing before and
after them to be bound to. A curve that keeps them, covers the need and hides little more than the least possible is
built from running maxima and one running mean: see :func:`eased`.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from postfix.measure.table import ClipInfo
from postfix.plan.geometry import Array
from postfix.plan.settings import WindowSettings


@dataclass(frozen=True)
class Easing:
    """The limits in frames and pixels of a clip.

    Attributes
    ----------
    speed_px : float
        Most change from one frame to the next.
    ease_frames : int
        Frames in which that change is reached from rest; 0 for at once.
    hold_radius : int
        Frames before and after a need for which it is held.
    """

    speed_px: float
    ease_frames: int
    hold_radius: int

    @property
    def acceleration_px(self) -> float:
        """Most change of the change from one frame to the next; infinite where the speed may be reached at once."""
        return self.speed_px / self.ease_frames if self.ease_frames else float("inf")


def easing_of(settings: WindowSettings, clip: ClipInfo) -> Easing:
    """The settings' seconds and percent in frames and pixels.

    Times are rounded up to whole frames: ``ease_frames = ceil(ease_s · rate)``, and ``hold_radius`` is the least whole
    number with ``2 · hold_radius + 1 ≥ hold_s · rate``.
    """
    rate = float(clip.rate)
    return Easing(
        speed_px=settings.speed_pct_per_s * clip.width_px / 100.0 / rate,
        ease_frames=max(0, int(np.ceil(settings.ease_s * rate - 1e-6))),
        hold_radius=max(0, int(np.ceil((settings.hold_s * rate - 1.0) / 2.0 - 1e-6))),
    )


def _held_beyond(values: Array, before: int, after: int) -> Array:
    """``values`` with the first repeated ``before`` times ahead of it and the last ``after`` times behind."""
    return np.concatenate([np.repeat(values[:1], before, axis=0), values, np.repeat(values[-1:], after, axis=0)])


def running_max(values: Array, before: int, after: int) -> Array:
    """At each frame the most of ``values`` (n, ...), from ``before`` frames earlier to ``after`` later; (n, ...)."""
    count, length = len(values), before + after + 1
    most, size = _held_beyond(values, before, after), 1
    while 2 * size <= length:
        most = np.maximum(most[:-size], most[size:])
        size *= 2
    rest = length - size
    return np.asarray(np.maximum(most[:count], most[rest : rest + count]))


def at_most_as_fast(curve: Array, speed_px: float) -> Array:
    """The least curve nowhere below ``curve`` (n, k) that changes by at most ``speed_px`` a frame."""
    climb = np.arange(len(curve), dtype=np.float64)[:, None] * speed_px
    falling = np.maximum.accumulate(curve + climb, axis=0) - climb
    rising = np.maximum.accumulate((curve - climb)[::-1], axis=0)[::-1] + climb
    return np.asarray(np.maximum(falling, rising))


def eased(curve: Array, easing: Easing) -> Array:
    """A curve nowhere below ``curve`` (n, k) that keeps the limits on speed and easing; ends may stand at once.

    Parameters
    ----------
    curve : (n, k) float64
        Needs, already held.
    easing : Easing

    Returns
    -------
    (n, k) float64

    Notes
    -----
    With ``m`` frames in the mean: every need is spread over the frames whose mean will reach it, the least curve of
    limited speed ``u`` is laid over that, its dips of ``m`` frames or less are filled, and the mean over ``m`` frames
    is taken. It covers because each frame of a mean is at least the need. Its speed is a mean of speeds, so at most
    ``u``. Its second difference is the difference of two slopes ``m`` frames apart, divided by ``m``: where every
    ``m + 2`` frames of what is averaged only rise or only fall, these have the same sign and it is at most ``u / m``.
    Filling the dips takes care of valleys; peaks are wide enough where needs are held, and where one is not, needs are
    spread by one frame more.

    Any ``m ≤ ease_frames`` with ``u = acceleration · m`` keeps the limits. The least that lets the curve cross its own
    height is taken, so that a small window is not eased for as long as a large one.
    """
    if not easing.ease_frames:
        return at_most_as_fast(curve, easing.speed_px)
    limit = easing.acceleration_px
    height = float(np.max(curve.max(axis=0) - curve.min(axis=0)))
    if height == 0.0:
        return curve
    frames = int(np.clip(np.ceil(np.sqrt(height / limit) - 1e-6), 1, easing.ease_frames))
    smooth = _averaged(curve, limit * frames, frames, 0)
    if len(curve) > 2:
        sudden = np.abs(np.diff(smooth, 2, axis=0)).max(axis=0) > limit * (1.0 + 1e-6)
        if sudden.any():
            smooth = np.where(sudden, _averaged(curve, limit * frames, frames, 1), smooth)
    return smooth


def _averaged(curve: Array, speed_px: float, frames: int, wider: int) -> Array:
    """The mean over ``frames`` frames of the curve of limited speed over ``curve``, which it nowhere goes below."""
    count, room = len(curve), 2 * frames + 2
    before = frames // 2
    after = frames - 1 - before
    spread = running_max(_held_beyond(curve, room, room), after + wider, before)
    fast = at_most_as_fast(spread, speed_px)
    filled = -running_max(-running_max(fast, frames, 0), 0, frames)
    sums = np.cumsum(filled, axis=0)
    first = room - before
    return np.asarray((sums[first + frames - 1 :][:count] - sums[first - 1 :][:count]) / frames)
