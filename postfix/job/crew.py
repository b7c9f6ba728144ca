"""Who carries out the pieces of a job: this process, or workers on other machines."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
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
    """Carries out work on segments."""

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
