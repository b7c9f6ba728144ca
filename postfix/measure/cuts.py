"""Cuts found in the picture: where a frame is unlike the one before, more than its surroundings move, and stays so."""

from __future__ import annotations

import cv2
import numpy as np
import numpy.typing as npt

from postfix.measure.proxy import Grey
from postfix.source.shots import Shot

Signature = npt.NDArray[np.float32]

_SIGNATURE_SIZE = (32, 18)
_LOOKED_BACK = 3
_NEIGHBOURS = 6

LEAST_JUMP = 0.03
"""Mean change of luma (share of white) below which nothing is a cut: project default, no source."""

JUMP_OVER_MOTION = 3.0
"""A cut changes the picture at least this many times as much as the frames around it: project default, no source."""

STAYS_CHANGED = 0.5
"""After a flash the picture returns to within this share of the jump; after a cut it does not."""


def signature(grey: Grey) -> Signature:
    """A thumbnail (18, 32) float32 of a luma picture, enough to tell one shot from another."""
    small = cv2.resize(grey, _SIGNATURE_SIZE, interpolation=cv2.INTER_AREA)
    return np.clip(np.asarray(small, np.float32), 0.0, 1.0)


class CutFinder:
    """Takes the signature of each frame in order and keeps only its distance to the few before it."""

    def __init__(self) -> None:
        self._recent: list[Signature] = []
        self._distances: list[tuple[float, ...]] = []

    def add(self, current: Signature) -> None:
        """Take the next frame's signature."""
        back = [float(np.abs(current - earlier).mean()) for earlier in reversed(self._recent)]
        self._distances.append(tuple(back) + (0.0,) * (_LOOKED_BACK - len(back)))
        self._recent = [*self._recent[-(_LOOKED_BACK - 1) :], current]

    def first_frames(self) -> list[int]:
        """First frame of each shot, 0 included."""
        if not self._distances:
            return []
        distances = np.array(self._distances)
        return [0] + [frame for frame in range(1, len(distances)) if self._is_cut(distances, frame)]

    @staticmethod
    def _is_cut(distances: npt.NDArray[np.float64], frame: int) -> bool:
        jumps = distances[:, 0]
        jump = jumps[frame]
        before = jumps[max(1, frame - _NEIGHBOURS) : frame]
        after = jumps[frame + 1 : frame + 1 + _NEIGHBOURS]
        motion = max((float(np.median(part)) for part in (before, after) if part.size), default=0.0)
        if jump < max(LEAST_JUMP, JUMP_OVER_MOTION * motion):
            return False
        # A flash of one or two frames: soon after, the picture is what it was before the jump (or, for the jump back,
        # it is now what it was before the flash).
        for span in range(1, _LOOKED_BACK):
            later = frame + span
            if later < len(jumps) and distances[later, span] < STAYS_CHANGED * jump:
                return False
            if frame > span and distances[frame, span] < STAYS_CHANGED * jump:
                return False
        return True


def shots_between(first_frames: list[int], count: int) -> tuple[Shot, ...]:
    """Shots named ``s001`` onwards from their first frames."""
    ends = [*first_frames[1:], count]
    return tuple(
        Shot(f"s{number:03d}", first, after - 1)
        for number, (first, after) in enumerate(zip(first_frames, ends), start=1)
    )
