"""The pieces of one piece of work while they are under way on a cluster."""

from __future__ import annotations

import logging
import queue
import time
import uuid
from collections import deque
from collections.abc import Iterator, Sequence
from contextlib import suppress
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from distributed import Future
from distributed.scheduler import KilledWorker

from postfix.errors import UsageError
from postfix.job import cluster_worker
from postfix.job.cluster_worker import Call, GivenUp, Unfit, Wanted, stamp
from postfix.job.crew import Tell
from postfix.source.packed_eye import EyeView
from postfix.source.segments import Segment
from postfix.source.video import VideoSource

if TYPE_CHECKING:
    from postfix.job.cluster_crew import Cluster

_WAIT_S = 0.25
_RESULT_S = 60.0


DEEP = 2
"""Pieces under way for each worker: one at work, and one that is there when it is done."""
_GIVEN_AGAIN_S = 2.0


def as_sentence(error: BaseException, where: str = "a worker of the cluster") -> BaseException:
    """What a worker raised, as the person at the client reads it."""
    if isinstance(error, Unfit):
        return UsageError(*error.args)
    text = f"{error} {error.__cause__ or ''}"
    if "No module named 'postfix" in text or (isinstance(error, AttributeError | ImportError) and "postfix" in text):
        return UsageError(
            where,
            "no postfix-stereo there, or another one",
            "the same as here",
            "install it for the scheduler and workers",
        )
    return error


_TOGETHER = 4


def best_together(shared: object) -> int:
    """Segments that are best done by the same worker, one after the other, of what pieces share.

    A few where it is, or has as ``pair``, eyes in files whose pictures build on each other: at each beginning such a
    file is decoded from an earlier picture. Else one.
    """
    pair = getattr(shared, "pair", shared)
    eyes = [getattr(pair, name, None) for name in ("left", "right")]
    return _TOGETHER if any(_builds_on_earlier(eye) for eye in eyes) else 1


def _builds_on_earlier(eye: object) -> bool:
    while isinstance(eye, EyeView):
        eye = eye.whole
    return isinstance(eye, VideoSource) and not eye.is_intra


def parted(runs: Sequence[Sequence[Segment]], together: int, slots: int) -> list[tuple[Segment, ...]]:
    """Pieces of runs: of as many segments as are best left together, less where that would leave workers idle."""
    count = sum(map(len, runs))
    size = min(max(1, together), max(1, count // (DEEP * max(1, slots))))
    return [tuple(run[start : start + size]) for run in runs for start in range(0, len(run), size)]


@dataclass
class _UnderWay:
    """A piece that was handed over: its number, its task, and the workers that it may go to, None for all."""

    number: int
    future: Future[Any]
    allowed: frozenset[str] | None


class Carrying:
    """Hands pieces over, a few at a time, and takes up what comes back.

    Parameters
    ----------
    cluster : Cluster
    shared : bytes
        The work and what its pieces share, packed.
    pieces : sequence of tuples of Segment
    tell : callable
    """

    def __init__(self, cluster: Cluster, shared: bytes, pieces: Sequence[tuple[Segment, ...]], tell: Tell) -> None:
        self.name = f"piece-{uuid.uuid4().hex}"
        self.news: queue.SimpleQueue[tuple[Any, ...]] = queue.SimpleQueue()
        self._cluster, self._pieces, self._tell = cluster, pieces, tell
        self._shared = f"shared-{self.name}"
        self._things = {self._shared: shared}
        if cluster.terms is not None:
            self._things[cluster.terms[0]] = cluster.terms[1]
        self._waiting = deque(range(len(pieces)))
        self._pending: dict[str, _UnderWay] = {}
        self._told = [0] * len(pieces)
        self._given: dict[tuple[str, str], float] = {}
        self._tries = 0

    @property
    def under_way(self) -> int:
        """Pieces that were handed over and are not done."""
        return len(self._pending)

    def results(self) -> Iterator[Any]:
        """What the work returns for each piece, as they are finished."""
        try:
            while self._waiting or self._pending:
                self._hand_over()
                with suppress(queue.Empty):
                    yield from self._taken_up(*self.news.get(timeout=_WAIT_S))
                self._look()
        finally:
            if self._pending:
                self._leave()

    def _hand_over(self) -> None:
        while self._waiting and self._cluster.has_room(self.under_way):
            allowed = self._cluster.allowed()
            if allowed is not None and not allowed:
                return
            number = self._waiting.popleft()
            self._tries += 1
            key = f"{self.name}:{number}:{self._tries}"
            future = self._cluster.client.submit(
                cluster_worker.piece, self._call(key, number), key=key, workers=allowed, pure=False
            )
            self._pending[key] = _UnderWay(number, future, None if allowed is None else frozenset(allowed))
            future.add_done_callback(lambda done: self.news.put(("done", done.key, done)))

    def _call(self, key: str, number: int) -> Call:
        cluster = self._cluster
        return Call(
            topic=cluster.topic,
            key=key,
            stamp=stamp(),
            terms=None if cluster.terms is None else cluster.terms[0],
            shared=self._shared,
            segments=self._pieces[number],
            effort=cluster.effort,
            every_s=cluster.message_every_s,
            level=logging.getLogger("postfix").getEffectiveLevel(),
        )

    def _taken_up(self, what: str, key: str, *rest: Any) -> Iterator[Any]:
        if what == "log":
            self._cluster.say(*rest)
        elif key in self._pending:
            if what == "done":
                yield from self._done(key, *rest)
            else:
                self._count(self._pending[key].number, *rest)

    def _count(self, number: int, frames: int) -> None:
        """Tell of frames of a piece, of which so many are done; those of one that was lost are not told of again."""
        more = frames - self._told[number]
        if more > 0:
            self._told[number] = frames
            self._tell(more)

    def _done(self, key: str, future: Future[Any]) -> Iterator[Any]:
        number = self._pending[key].number
        if future.status == "finished":
            try:
                result, frames = future.result(timeout=_RESULT_S)
            except (TimeoutError, OSError):
                # Lost with its worker, after it was done. What the work itself raises comes the other way.
                self._again(key)
                return
            del self._pending[key]
            self._count(number, frames)
            yield result
        elif future.status == "error":
            self._failed(key, future.exception(timeout=_RESULT_S))
        else:
            raise self._cluster.without_scheduler()

    def _failed(self, key: str, error: BaseException | None) -> None:
        if isinstance(error, Wanted):
            address, name = error.args
            # The pieces behind the first one ask too, before it has come.
            if time.monotonic() - self._given.get((address, name), -_GIVEN_AGAIN_S) >= _GIVEN_AGAIN_S:
                self._cluster.give(address, name, self._things[name])
                self._given[address, name] = time.monotonic()
            self._again(key)
        elif isinstance(error, Unfit):
            self._cluster.set_aside(error)
            self._again(key)
        elif isinstance(error, GivenUp):
            self._again(key)
        elif isinstance(error, KilledWorker):
            segments = self._pieces[self._pending[key].number]
            raise self._cluster.broken_off(
                f"{error.allowed_failures + 1} workers lost, one after the other, at frames {segments[0].first} to "
                f"{segments[-1].last}",
                "workers that survive them",
                "give workers more memory, or less to do with --memory,",
            ) from error
        elif error is not None:
            raise as_sentence(error)

    def _again(self, key: str) -> None:
        self._waiting.appendleft(self._pending.pop(key).number)

    def _look(self) -> None:
        """See who is there: pieces that may only go to workers that left may go to others."""
        living = self._cluster.living()
        for key, piece in list(self._pending.items()):
            if piece.allowed is not None and not piece.allowed & living.keys():
                piece.future.cancel()
                self._again(key)

    def _leave(self) -> None:
        """Call pieces back, and wait a little until those that were begun have cleared up."""
        pending, self._pending = self._pending, {}
        with suppress(Exception):
            self._cluster.client.cancel([piece.future for piece in pending.values()])
        self._cluster.call_back(self._shared)
