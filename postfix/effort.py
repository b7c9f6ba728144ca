"""How much of a machine the program takes: threads and memory, for the whole process."""

from __future__ import annotations

import os
import re
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from decimal import Decimal

MOST_AHEAD = 6
"""Frames that one queue holds at most: enough to smooth frames that take longer than others."""

MOST_WORKERS = 1024
"""More than any machine has cores; each of them holds pictures."""

_MOST_LIBRARY_THREADS = 16
"""More than that FFmpeg advises against, for each holds pictures of its own."""


@dataclass(frozen=True)
class Effort:
    """What one process may use. What it makes never depends on it.

    Attributes
    ----------
    workers : int
        Frames that are worked on at the same time.
    memory_bytes : int or None
        What the process is to stay within; None for no bound but that of the queues.
    ahead : int
        Frames that one queue may hold; less than usual where memory is scarce.
    """

    workers: int
    memory_bytes: int | None = None
    ahead: int = MOST_AHEAD

    @property
    def threads_an_eye(self) -> int:
        """Stills of one eye that are read, or written, at the same time."""
        return min(self.workers, max(2, self.workers // 2))

    @property
    def library_threads(self) -> int:
        """Threads of a decoder or encoder; 0 leaves it to the library, which takes every core."""
        if self.memory_bytes is None and self.workers >= (os.cpu_count() or 1):
            return 0
        return min(self.workers, _MOST_LIBRARY_THREADS)


_UNITS = {"": 1, "k": 10**3, "m": 10**6, "g": 10**9, "t": 10**12, "ki": 2**10, "mi": 2**20, "gi": 2**30, "ti": 2**40}
_SIZE = re.compile(r"(\d{1,15}(?:\.\d{1,9})?)\s*([kmgt]i?)?b?", re.IGNORECASE | re.ASCII)


def bytes_in(text: str) -> int:
    """A size as typed: ``800M`` and ``4G`` are decimal, ``2.5GiB`` and ``512Mi`` binary; a plain number is bytes.

    Raises
    ------
    ValueError
        Where it is no size, or none at all.
    """
    typed = _SIZE.fullmatch(text.strip())
    size = 0 if typed is None else int(Decimal(typed[1]) * _UNITS[(typed[2] or "").lower()])
    if size < 1:
        raise ValueError(f"{text!r} is no size, such as 800M, 4G or 2.5GiB")
    return size


def size_text(size_bytes: int) -> str:
    """A size in words: ``800 MB``, ``2.5 GB``; decimal."""
    if size_bytes < 10**9:
        return f"{size_bytes / 10**6:.0f} MB"
    return f"{size_bytes / 10**9:.1f} GB"


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
    before = len(_now)
    _now.append(effort)
    try:
        yield
    finally:
        del _now[before:]


def settle(effort: Effort) -> None:
    """Let another measure hold for the rest of the innermost :func:`using` block, once it is known what it works on.

    Raises
    ------
    RuntimeError
        Outside of such a block, where it would hold for ever.
    """
    if not _now:
        raise RuntimeError("nothing to settle: no using() block goes on")
    _now[-1] = effort
