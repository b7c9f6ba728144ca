"""How much of a machine the program takes: threads and memory, for the whole process."""

from __future__ import annotations

import os
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass


@dataclass(frozen=True)
class Effort:
    """What one process may use.

    Attributes
    ----------
    workers : int
        Frames that are worked on at the same time.
    memory_bytes : int or None
        What the process is to stay within; None for no bound but that of the queues.
    """

    workers: int
    memory_bytes: int | None = None


def usual() -> Effort:
    """Every core, and the memory that its queues take."""
    return Effort(os.cpu_count() or 1)


_now: list[Effort] = []


def current() -> Effort:
    """What holds now in this process."""
    return _now[-1] if _now else usual()


@contextmanager
def using(effort: Effort) -> Iterator[None]:
    """Let another measure hold while the block goes on, in all threads of the process."""
    _now.append(effort)
    try:
        yield
    finally:
        _now.pop()
