"""Progress bars on stderr: none where stderr is no terminal, none when asked to be quiet."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager

from tqdm import tqdm


@contextmanager
def bar(what: str, total: int, *, quiet: bool) -> Iterator[Callable[[int], None]]:
    """A bar over ``total`` frames; the value is a call that moves it on by a number of frames."""
    # disable=None is tqdm's own test for a terminal.
    with tqdm(total=total, desc=what, unit=" frames", disable=True if quiet else None, leave=False) as shown:
        yield lambda done: shown.update(done) and None
