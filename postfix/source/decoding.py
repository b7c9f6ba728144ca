"""Decoding in a thread, a few pictures ahead of whoever uses them."""

from __future__ import annotations

import queue
import threading
from collections.abc import Callable, Iterator
from contextlib import suppress
from typing import Any

from postfix.source.ahead import frames_ahead
from postfix.source.picture import EyeSource

_WAIT_S = 0.1


class DecodedAhead:
    """Pictures of one source decoded ahead in a thread through a bounded queue; a context manager.

    Parameters
    ----------
    source : EyeSource
        What is decoded: its format bounds the queue (:func:`postfix.source.ahead.frames_ahead`).
    frames : callable
        Starts the decoding; called in the thread.
    """

    def __init__(self, source: EyeSource, frames: Callable[[], Iterator[Any]]) -> None:
        self._source, self._frames = source, frames
        self._queue: queue.Queue[Any] = queue.Queue(frames_ahead(source.format))
        self._stopping = threading.Event()
        # A daemon, so that a consumer killed without clean-up does not hang the interpreter; leaving always joins.
        self._thread = threading.Thread(target=self._run, name=f"decode {source.path.name}", daemon=True)

    def __enter__(self) -> DecodedAhead:
        self._thread.start()
        return self

    def __exit__(self, *_: object) -> None:
        self._stopping.set()
        self._thread.join()

    def next(self) -> Any:
        """The next of what the decoding gives, waited for; what went wrong there is raised here."""
        item = self._queue.get()
        if isinstance(item, BaseException):
            raise item
        return item

    def _run(self) -> None:
        frames = self._frames()
        try:
            for planes in frames:
                if not self._put(planes):
                    return
        except BaseException as error:
            self._put(error)
        else:
            self._put(RuntimeError(f"{self._source.path} gave fewer frames than asked for"))
        finally:
            with suppress(AttributeError):
                frames.close()  # type: ignore[attr-defined]

    def _put(self, item: Any) -> bool:
        while not self._stopping.is_set():
            with suppress(queue.Full):
                self._queue.put(item, timeout=_WAIT_S)
                return True
        return False
