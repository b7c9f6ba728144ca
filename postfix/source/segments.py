"""The pieces in which a long clip is worked through: finished one by one, kept, and handed to other machines."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

SEGMENT_FRAMES = 48
"""Frames of one segment: what a broken-off job loses at most. Pictures coded by what went before begin anew at each, so
the length must never depend on the machine, or the same job would give other bytes elsewhere."""


@dataclass(frozen=True, order=True)
class Segment:
    """Consecutive frames of a clip, counted from 0, both ends included."""

    index: int
    first: int
    last: int

    @property
    def count(self) -> int:
        """Its frames."""
        return self.last - self.first + 1

    def times(self, each: int) -> Segment:
        """The same segment counted in pictures of which each frame has so many."""
        return Segment(self.index, self.first * each, (self.last + 1) * each - 1)


def segments_of(count: int) -> tuple[Segment, ...]:
    """The segments of a clip of so many frames, in order; the last may be shorter."""
    starts = range(0, count, SEGMENT_FRAMES)
    return tuple(Segment(index, first, min(first + SEGMENT_FRAMES, count) - 1) for index, first in enumerate(starts))


def runs_of(segments: Iterable[Segment]) -> list[tuple[Segment, ...]]:
    """Segments in order, parted wherever one is left out."""
    runs: list[list[Segment]] = []
    for segment in segments:
        if runs and runs[-1][-1].last + 1 == segment.first:
            runs[-1].append(segment)
        else:
            runs.append([segment])
    return [tuple(run) for run in runs]
