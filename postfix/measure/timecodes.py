"""The timecodes of a clip's frames, reckoned as they are asked for instead of kept."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from fractions import Fraction
from typing import overload

from postfix.source.timecode import timecode_at, valid_timecode


@dataclass(frozen=True, eq=False)
class Timecodes(Sequence[str]):
    """One timecode a frame, counted on from the first; empty ones where ``start`` is None.

    Equal to any sequence of the same texts.
    """

    start: str | None
    rate: Fraction
    frames: int

    def __len__(self) -> int:
        return self.frames

    @overload
    def __getitem__(self, index: int) -> str: ...
    @overload
    def __getitem__(self, index: slice) -> tuple[str, ...]: ...
    def __getitem__(self, index: int | slice) -> str | tuple[str, ...]:
        if isinstance(index, slice):
            return tuple(self._at(frame) for frame in range(self.frames)[index])
        return self._at(range(self.frames)[index])

    def _at(self, frame: int) -> str:
        return timecode_at(self.start, frame, self.rate)

    def __eq__(self, other: object) -> bool:
        if not isinstance(other, Sequence):
            return NotImplemented
        return len(self) == len(other) and all(own == its for own, its in zip(self, other))

    def __hash__(self) -> int:
        return hash((self.start, self.frames))


def kept_timecodes(texts: Iterable[str], rate: Fraction) -> Sequence[str]:
    """Timecodes as they were read: counted where each follows from the first, else all of them as they are."""
    start: str | None = None
    count = 0
    others: list[str] | None = None
    for text in texts:
        if count == 0:
            start = text or None
            if valid_timecode(start, rate) != start:
                others = []
        elif others is None and text != timecode_at(start, count, rate):
            others = [timecode_at(start, frame, rate) for frame in range(count)]
        if others is not None:
            others.append(text)
        count += 1
    return Timecodes(start, rate, count) if others is None else tuple(others)
