"""Cuts and dissolves: HIT eased on both sides so that the two shots meet in depth, or blend without a jump."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from postfix.plan.easing import EASE_PEAK, Corridor, ease_curve
from postfix.plan.model import HitKey

_LEAST_SHIFT_PCT = 0.02
"""Less than this is not worth a key: a fifth of a pixel of a picture 1000 wide."""


@dataclass(frozen=True, eq=False)
class Side:
    """One shot at a cut.

    Attributes
    ----------
    first, last : int
        Frames of the clip.
    held_pct : float
        Its HIT.
    depth_pct : float
        Parallax that the eyes meet there, after the move; NaN where it is not known.
    corridor : Corridor
        Of every frame of the shot.
    free : bool
        False where a person decided its HIT, or it moves inside the shot already.
    """

    first: int
    last: int
    held_pct: float
    depth_pct: float
    corridor: Corridor
    free: bool

    @property
    def count(self) -> int:
        """Frames of the shot."""
        return self.last - self.first + 1


def meet(before: Side, after: Side, frames: int, jump_pct: float, speed_pct_per_frame: float) -> tuple[float, float]:
    """What to add to the HIT of the last frame before a cut and of the first after it, percent of width.

    Each side goes half of the way where both are free; no faster than allowed and no further than the limits of its own
    frames let it. (0, 0) where the jump is no larger than ``jump_pct``.
    """
    jump = after.depth_pct - before.depth_pct
    if not abs(jump) > jump_pct or not (before.free or after.free):
        return 0.0, 0.0
    share = 0.5 if before.free and after.free else 1.0
    shifts = []
    for side, wanted, at_end in ((before, share * jump, True), (after, -share * jump, False)):
        shifts.append(_allowed(side, wanted, frames, speed_pct_per_frame, at_end) if side.free else 0.0)
    return shifts[0], shifts[1]


def blend(
    before: Side, after: Side, frames: int, speed_pct_per_frame: float
) -> tuple[tuple[float, int], tuple[float, int]]:
    """The same for a dissolve over ``frames`` frames, in which both pictures are seen: both come to one HIT in its
    middle, so that nothing jumps there.

    Half-way between the two where the limits of their frames allow it, else as near to that as they do; where they
    cannot meet, as near to each other as the limits let them. A side that a person decided stays.

    Returns
    -------
    before, after : (float, int)
        What to add at the cut, percent of width, and the frames over which it comes: the half of the dissolve, or
        more where the move would be too fast. In a shot too short for that it is faster all the same: a quick move
        in a dissolve is seen less than a jump.
    """
    way = after.held_pct - before.held_pct
    span = max(frames // 2, int(np.ceil(EASE_PEAK * abs(way) / speed_pct_per_frame)))
    if way == 0.0:
        return (0.0, span), (0.0, span)
    room_before, room_after = (
        _room(side, sign * way, _span(side, span), at_end) if side.free else 0.0
        for side, sign, at_end in ((before, 1.0, True), (after, -1.0, False))
    )
    share = min(max(0.5, 1.0 - room_after), room_before)
    return (share * way, span), (max(share - 1.0, -room_after) * way, span)


def _span(side: Side, frames: int) -> int:
    """Frames that a move at an end of the shot may take: it leaves the other half of the shot alone."""
    return max(min(frames, (side.count - 1) // 2), 0)


def _allowed(side: Side, wanted: float, frames: int, speed: float, at_end: bool) -> float:
    span = _span(side, frames)
    if span < 1:
        return 0.0
    most = speed * span / EASE_PEAK
    shift = float(np.clip(wanted, -most, most))
    shift *= _room(side, shift, span, at_end)
    return shift if abs(shift) >= _LEAST_SHIFT_PCT else 0.0


def _room(side: Side, shift: float, span: int, at_end: bool) -> float:
    """The share of a shift at an end of a shot that the limits of the frames it moves allow, 0 to 1."""
    if shift == 0.0 or span < 1:
        return 0.0
    curve = ease_curve(span)[1:] * shift
    if at_end:
        part = slice(side.count - span, side.count)
    else:
        part, curve = slice(0, span), curve[::-1]
    bound = side.corridor.most[part] if shift > 0.0 else side.corridor.least[part]
    return float(np.clip(np.min((bound - side.held_pct) / curve), 0.0, 1.0))


def shifted_keys(side: Side, entry: tuple[float, int], leave: tuple[float, int]) -> tuple[HitKey, ...]:
    """Keys of a held shot that is shifted at its first or last frame and eases from and to what it holds in between.

    ``entry`` and ``leave`` are the shift in percent of width and the frames asked for.
    """
    held = side.held_pct
    keys = []
    if entry[0]:
        keys = [HitKey(side.first, round(held + entry[0], 4)), HitKey(side.first + _span(side, entry[1]), held)]
    if leave[0]:
        start = side.last - _span(side, leave[1])
        keys += [] if keys and keys[-1].frame >= start else [HitKey(start, held)]
        keys.append(HitKey(side.last, round(held + leave[0], 4)))
    return tuple(keys) or (HitKey(side.first, held),)
