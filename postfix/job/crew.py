"""Who carries out the pieces of a job: this process, or workers on other machines."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from pathlib import Path
from typing import Any, Protocol, TypeVar

from postfix.source.segments import Segment

Tell = Callable[[int], None]
"""Told of frames done since the last call, from any thread."""

Shared = TypeVar("Shared")
Result = TypeVar("Result")

Work = Callable[[Any, Sequence[Segment], Tell], Any]
"""``work(shared, segments, tell)``: a function of a module, since other processes must find it by name. It does the
segments, which follow each other, leaves what it makes on disk, and returns something small."""


class Crew(Protocol):
    """Carries out work on segments, from one thread or several."""

    def carry_out(
        self,
        work: Callable[[Shared, Sequence[Segment], Tell], Result],
        shared: Shared,
        runs: Sequence[Sequence[Segment]],
        tell: Tell,
    ) -> Iterator[Result]:
        """Results of ``work`` for runs of consecutive segments, as they are finished, in no certain order.

        Parameters
        ----------
        work : callable
        shared : any picklable thing
            What all pieces of this work need, such as the opened pair; it reaches each worker once.
        runs : sequence of sequences of Segment
            Each is consecutive segments without a gap. A crew may part them further, not join them.
        tell : callable

        Raises
        ------
        Exception
            What the work raised first; nothing is begun after it.
        """
        ...

    def slots(self) -> int:
        """Pieces that may be at work at the same time, as far as is known."""
        ...

    def meet(self, files: Sequence[Path], place: Path | None) -> None:
        """Make sure that whoever works sees the sources as they are here, and can write in a folder that is there.

        Raises
        ------
        UsageError
            Naming the worker, and what is different there.
        """
        ...

    def give_up(self) -> None:
        """Let all threads that carry out work end it."""
        ...

    def require_going(self) -> None:
        """Raise where the work was given up."""
        ...


class Alone:
    """This process does everything itself, a run at a time, with the threads that each stage has."""

    def carry_out(
        self,
        work: Callable[[Shared, Sequence[Segment], Tell], Result],
        shared: Shared,
        runs: Sequence[Sequence[Segment]],
        tell: Tell,
    ) -> Iterator[Result]:
        """See :meth:`Crew.carry_out`."""
        for run in runs:
            yield work(shared, run, tell)

    def slots(self) -> int:
        """See :meth:`Crew.slots`."""
        return 1

    def meet(self, files: Sequence[Path], place: Path | None) -> None:
        """This process is like itself and sees what it sees."""

    def give_up(self) -> None:
        """It has no other threads that carry out work."""

    def require_going(self) -> None:
        """It is never given up."""
