"""Many clips of a job at the same time, so that no worker waits for one clip to be planned, joined and logged."""

from __future__ import annotations

import contextvars
import threading
from collections.abc import Callable, Sequence
from concurrent.futures import FIRST_EXCEPTION, ThreadPoolExecutor, wait
from dataclasses import dataclass
from typing import Generic, TypeVar

from postfix.job.crew import Crew
from postfix.job.progress import bar, told_as_one
from postfix.source.segments import SEGMENT_FRAMES

Made = TypeVar("Made")

MOST_AT_ONCE = 32
"""Clips under way at the same time: each holds a thread, open files and a table in the memory of this process."""


@dataclass(frozen=True)
class Job(Generic[Made]):
    """One clip and what is done with it.

    Attributes
    ----------
    frames : int
        Of the clip.
    stages : int
        How often its frames are counted by a bar: once for each of measuring, rendering and checking each version.
    carry_out : callable
    """

    frames: int
    stages: int
    carry_out: Callable[[], Made]


def at_once(crew: Crew, jobs: Sequence[Job[Made]]) -> int:
    """How many clips must be under way for all workers to have work, and one more that is planned or joined."""
    slots = crew.slots()
    if slots <= 1 or len(jobs) <= 1:
        return 1
    pieces = sum(-(-job.frames // SEGMENT_FRAMES) for job in jobs) / len(jobs)
    return max(2, min(len(jobs), MOST_AT_ONCE, 1 + round(2 * slots / pieces)))


def in_parallel(crew: Crew, jobs: Sequence[Job[Made]], what: str, *, quiet: bool) -> list[Made]:
    """What the jobs return, in their order, worked on at the same time behind one bar.

    Bars of the stages are counted in that one; a stage that ends early counts as whole.

    Raises
    ------
    BaseException
        What went wrong with the first of the jobs that failed; the others are ended. KeyboardInterrupt too.
    """
    total = sum(job.frames * job.stages for job in jobs)
    with bar(what, total, quiet=quiet) as progress, ThreadPoolExecutor(at_once(crew, jobs), "clip") as pool:
        lock = threading.Lock()

        def carried_out(job: Job[Made]) -> Made:
            crew.require_going()
            left = job.frames * job.stages

            def move_on(frames: int) -> None:
                nonlocal left
                crew.require_going()
                with lock:
                    frames = min(frames, left)
                    left -= frames
                    progress(frames)

            with told_as_one(move_on):
                made = job.carry_out()
            # Stages that were not needed, for an earlier run finished them.
            move_on(left)
            return made

        futures = [pool.submit(contextvars.copy_context().run, carried_out, job) for job in jobs]
        try:
            ended = wait(futures, return_when=FIRST_EXCEPTION).done
            failed = [future for future in futures if future in ended and future.exception() is not None]
        except BaseException:
            crew.give_up()
            raise
        if failed:
            # Those that are told to end raise as well, and later.
            crew.give_up()
            failed[0].result()
        return [future.result() for future in futures]
