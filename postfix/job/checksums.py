"""Checksums taken beside other work, and given up at once where that work breaks off."""

from __future__ import annotations

import threading
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager

from postfix.deliver.changelog import EyeFile
from postfix.deliver.own import EYES
from postfix.source.opening import sha256_of
from postfix.source.pair import PairSource, first_in_file
from postfix.source.picture import EyeSource

Read = Callable[[int], object]
"""Told of bytes that were read, from any thread."""

_THREADS = 2
"""Files whose checksums are taken at the same time."""


@contextmanager
def checksums_beside(
    sources: Sequence[EyeSource], read: Read = lambda count: None
) -> Iterator[Callable[[], tuple[str, ...]]]:
    """Read every byte of sources in threads while the block goes on.

    Yields
    ------
    callable
        Waits for the checksums and gives them, in order. Once the block is left nothing is read any more.
    """
    stop = threading.Event()
    pool = ThreadPoolExecutor(_THREADS, thread_name_prefix="checksum")
    futures = [pool.submit(sha256_of, source, stop, read) for source in sources]
    try:
        yield lambda: tuple(future.result() for future in futures)
    finally:
        stop.set()
        pool.shutdown(cancel_futures=True)


@contextmanager
def source_files_beside(
    pair: PairSource, read: Read = lambda count: None
) -> Iterator[Callable[[], tuple[EyeFile, ...]]]:
    """Both eyes of a source as the log names them, or the one file of both; like :func:`checksums_beside`."""
    eyes = dict(zip(EYES, (pair.left, pair.right))) if pair.packed is None else {"both": pair.left}

    def entry(eye: str, source: EyeSource, checksum: str) -> EyeFile:
        path, first = str(source.path.resolve()), first_in_file(source)
        return EyeFile(eye, path, source.count, checksum, str(source.rate), first, pair.layout)

    with checksums_beside(list(eyes.values()), read) as checksums:
        yield lambda: tuple(entry(eye, source, found) for (eye, source), found in zip(eyes.items(), checksums()))


def source_files(pair: PairSource, read: Read = lambda count: None) -> tuple[EyeFile, ...]:
    """What :func:`source_files_beside` gives, waited for; ``read`` is told from its threads of every so many bytes."""
    with source_files_beside(pair, read) as files:
        return files()
