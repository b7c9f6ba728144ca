"""Work of a writer in threads of its own: a bounded number of pieces waits, and the first error is kept."""

from __future__ import annotations

import threading
from collections.abc import Callable
from concurrent.futures import Future, ThreadPoolExecutor


class Pooled:
    """Pieces of work handed to threads, at most ``waiting`` of them unfinished.

    Parameters
    ----------
    threads : int
    waiting : int
        Bounds the memory that waits.
    name : str
        Of the threads.
    """

    def __init__(self, threads: int, waiting: int, name: str) -> None:
        self._pool = ThreadPoolExecutor(threads, thread_name_prefix=name)
        self._room = threading.Semaphore(waiting)
        self.error: BaseException | None = None
        """The first that a piece of work ended with."""

    def hand_over(self, work: Callable[..., None], *arguments: object) -> None:
        """Have ``work`` called in a thread; waits where too many pieces are unfinished."""
        self._room.acquire()
        self._pool.submit(work, *arguments).add_done_callback(self._done)

    def finish(self, *, abandon: bool = False) -> None:
        """Wait for what was handed over; with ``abandon`` only for what has begun."""
        self._pool.shutdown(wait=True, cancel_futures=abandon)

    def _done(self, future: Future[None]) -> None:
        self._room.release()
        if not future.cancelled() and (error := future.exception()) is not None and self.error is None:
            self.error = error
