"""The timecodes of a clip's frames, reckoned as they are asked for instead of kept."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
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


class TimecodesGathered:
    """Takes timecode after timecode as they are read; keeps none while each follows from the first."""

    def __init__(self) -> None:
        self._counted = Timecodes(None, Fraction(1), 0)
        self._others: list[str] | None = None

    def add(self, text: str, rate: Fraction) -> None:
        """Take the next one; empty where there is none."""
        if self._others is None:
            grown = replace(self._counted, frames=len(self._counted) + 1)
            if len(grown) == 1:
                grown = Timecodes(text or None, rate, 1)
            if (len(grown) > 1 or valid_timecode(grown.start, rate) == grown.start) and grown[-1] == text:
                self._counted = grown
                return
            self._others = list(self._counted)
        self._others.append(text)

    def timecodes(self) -> Sequence[str]:
        """All that were taken."""
        return self._counted if self._others is None else tuple(self._others)
