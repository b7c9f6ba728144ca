"""Work on frames side by side in threads, its results in order and never more than a few of them waiting."""

from __future__ import annotations

from collections import deque
from collections.abc import Callable, Generator, Iterable, Iterator
from concurrent.futures import Future, ThreadPoolExecutor
from contextlib import contextmanager
from typing import TypeVar

import cv2

Result = TypeVar("Result")


def in_order(
    work: Callable[..., Result], each: Iterable[tuple[object, ...]], *, threads: int, waiting: int, name: str
) -> Generator[Result, None, None]:
    """What ``work`` makes of each set of arguments, in their order.

    Parameters
    ----------
    work : callable
    each : iterable of tuple
        Arguments of one call each, taken as they are needed: such as frames while they are decoded.
    threads : int
    waiting : int
        Bounds the memory that waits: so many calls are begun or done before the first of them is given.
    name : str
        Of the threads.

    Raises
    ------
    Exception
        What ``each`` or the first call that failed raised; calls that have not begun are left out then.
    """
    handed: deque[Future[Result]] = deque()
    with _one_thread_each(), ThreadPoolExecutor(threads, thread_name_prefix=name) as pool:
        try:
            for arguments in each:
                handed.append(pool.submit(work, *arguments))
                if len(handed) >= waiting:
                    yield handed.popleft().result()
            while handed:
                yield handed.popleft().result()
        finally:
            for future in handed:
                future.cancel()


@contextmanager
def _one_thread_each() -> Iterator[None]:
    """Frames run side by side already; threads inside each would only compete with them."""
    before = cv2.getNumThreads()
    cv2.setNumThreads(1)
    try:
        yield
    finally:
        cv2.setNumThreads(before)
