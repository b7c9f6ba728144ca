"""The crew of a cluster: pieces of the work are given to dask's workers, and what they tell is heard.

Three things are left to dask: a piece whose worker is lost goes to another one, a worker process of this machine that
ended is started again, and a piece that is lost with several workers, one after the other, is given up.
"""

from __future__ import annotations

import logging
import os
import threading
import time
import uuid
import warnings
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import CancelledError
from contextlib import ExitStack, contextmanager, suppress
from pathlib import Path
from pkgutil import resolve_name
from typing import Any, TypeVar

import dask
from distributed import Client, Future, LocalCluster

from postfix import __version__
from postfix.effort import Effort
from postfix.errors import OutputError, UsageError
from postfix.job import cluster_worker
from postfix.job.cluster_pieces import DEEP, Carrying, as_sentence, best_together, parted
from postfix.job.cluster_worker import PROCESSOR, GivenUp, Terms, Unfit, packed, prove, stamp
from postfix.job.crew import Tell
from postfix.source.segments import Segment

log = logging.getLogger("postfix")

SCHEDULER_S = 10.0
"""How long a scheduler may take to answer."""
WORKER_S = 30.0
"""How long the first worker may take to come, and a worker to prove itself."""
NO_WORKER_S = 60.0
"""How long work waits where all workers are gone."""

_LOOKED_EVERY_S = 1.0
_LOOK_S = 0.02
"""For each file that a worker looks at, over a slow network."""
_ANSWER_S = 10.0
_END_S, _CALLED_EVERY_S = 10.0, 0.1
"""How long pieces that nobody waits for any more may take to end, and how often they are looked for."""
_MESSAGES_A_S, _ALL_MESSAGES_A_S = 5.0, 500.0
"""Messages about progress from one worker, and from all together, in a second."""

Shared = TypeVar("Shared")
Result = TypeVar("Result")


class Cluster:
    """Carries out work on the workers of a dask cluster; may be used by several threads at once.

    Parameters
    ----------
    client : distributed.Client
    effort : Effort
        What each worker may use.
    where : str
        What errors call it.
    """

    def __init__(self, client: Client, effort: Effort, where: str) -> None:
        self.client, self.effort, self.where = client, effort, where
        self.topic = f"postfix-{uuid.uuid4().hex}"
        self.terms: tuple[str, bytes] | None = None
        # What is looked up takes its time, and what is heard meanwhile must not wait for it.
        self._lock, self._looking = threading.Lock(), threading.Lock()
        self._listeners: dict[str, Carrying] = {}
        self._unfit: dict[str, str] = {}
        self._said: set[str] = set()
        self._stopped = threading.Event()
        self._seen: dict[str, int] = {}
        self._seen_s = -_LOOKED_EVERY_S
        self._none_since_s: float | None = None
        self._tokens: list[Path] = []
        client.subscribe_topic(self.topic, self._hear)

    def carry_out(
        self,
        work: Callable[[Shared, Sequence[Segment], Tell], Result],
        shared: Shared,
        runs: Sequence[Sequence[Segment]],
        tell: Tell,
    ) -> Iterator[Result]:
        """See :meth:`postfix.job.crew.Crew.carry_out`.

        Runs are parted into pieces of one segment, or a few (:func:`postfix.job.cluster_pieces.best_together`) where
        there are enough for all workers. ``tell`` is called in the thread that asks for results.
        """
        pieces = parted(runs, best_together(shared), self.slots())
        carrying = Carrying(self, packed((work, shared)), pieces, tell)
        with self._lock:
            self._listeners[carrying.name] = carrying
        try:
            yield from carrying.results()
        finally:
            with self._lock:
                del self._listeners[carrying.name]

    def meet(self, files: Sequence[Path], place: Path | None) -> None:
        """Let every worker prove that it is like this machine and sees what it must; later ones do before they begin.

        Parameters
        ----------
        files : sequence of Path
            Sources: each has the same size and time everywhere.
        place : Path or None
            A folder that is there, in which workers write; None where nothing is written.

        Raises
        ------
        UsageError
            Naming the worker, and what is different there.
        """
        seen = [(path, path.stat()) for path in map(Path.absolute, files)]
        text = uuid.uuid4().hex
        token = None if place is None else place.absolute() / f".postfix-stereo.seen-{text}"
        if token is not None:
            self._tokens.append(token)
            token.write_text(text, encoding="ascii")
        terms = Terms(
            tuple((str(path), stat.st_size, stat.st_mtime) for path, stat in seen), str(token) if token else None, text
        )
        self._prove(terms)
        self.terms = f"terms-{text}", packed(terms)

    def require_alike(self) -> None:
        """Refuse a scheduler without the program, and workers not like this machine in what decides the bytes."""
        # What is asked first needs nothing of the program there: a worker that does not know it would end.
        for name, mine in (("distributed", stamp()["distributed"]), ("postfix", __version__)):
            for who, found in self._versions_of(f"{name}:__version__").items():
                if found != mine:
                    raise UsageError(
                        who,
                        f"{name} {found}" if isinstance(found, str) else f"no {name} ({found})",
                        f"{mine}, as where the job was started",
                        "install the same for the scheduler and all workers",
                    )
        self._prove(Terms((), None, ""))

    def _versions_of(self, name: str) -> dict[str, object]:
        """What a text of a module is on the scheduler and on each worker; what went wrong instead of it."""
        try:
            try:
                found = {"the scheduler": self.client.run_on_scheduler(resolve_name, name)}
            except ImportError as error:
                return {"the scheduler": error}
            workers = self.client.run(resolve_name, name, on_error="return")
        except Exception as error:
            raise UsageError(
                self.where,
                f"a scheduler that does not understand ({error or type(error).__name__})",
                "one of the same version",
                "install the same for the scheduler and all workers",
            ) from error
        return found | {f"worker {address}": text for address, text in workers.items()}

    def _prove(self, terms: Terms) -> None:
        mine, client = stamp(), self.client
        tasks = {
            address: client.submit(
                prove, terms, mine, workers=[address], pure=False, key=f"prove-{uuid.uuid4().hex}:{address}"
            )
            for address in client.nthreads()
        }
        until_s = time.monotonic() + WORKER_S + len(terms.files) * _LOOK_S
        told = {address: self._proven(address, task, until_s) for address, task in tasks.items()}
        self._warn_of_processors(mine[PROCESSOR], {who: there[0][PROCESSOR] for who, there in told.items() if there})
        for address, there in told.items():
            if there and there[1] and not _comes(Path(there[1]), terms.text + address):
                raise UsageError(
                    f"worker {address}",
                    f"what it wrote to '{Path(there[1]).parent}' not seen here",
                    "the folder of the output",
                    "let it see the same folders under the same paths",
                )

    def _proven(self, address: str, task: Future[Any], until_s: float) -> tuple[dict[str, str], str] | None:
        """What a worker says of itself; None where it left meanwhile."""
        while True:
            with suppress(TimeoutError, CancelledError):
                error = task.exception(timeout=_LOOKED_EVERY_S)
                break
            if self.client.status != "running":
                raise self.without_scheduler()
            if address not in self.client.nthreads():
                task.cancel()
                return None
            if time.monotonic() > until_s:
                raise UsageError(f"worker {address}", "no answer", "one in time", "see whether it is at work")
        if error is not None:
            raise as_sentence(error, f"worker {address}")
        found: tuple[dict[str, str], str] = task.result()
        return found

    def _warn_of_processors(self, mine: str, theirs: dict[str, str]) -> None:
        other = {address: kind for address, kind in theirs.items() if kind != mine}
        if other:
            address, kind = next(iter(other.items()))
            log.warning(
                "processors differ (here %s; worker %s: %s; %d workers in all): last digits of what is measured or "
                "drawn may depend on which worker does a piece",
                mine,
                address,
                kind,
                len(other),
            )

    # What follows is for the pieces under way.

    def living(self) -> dict[str, int]:
        """Workers that may be given work, each with its threads; looked up at most once a second.

        Raises
        ------
        OutputError
            Where the scheduler no longer answers, or no worker was there for so long.
        """
        self.require_going()
        with self._looking:
            now_s = time.monotonic()
            if now_s - self._seen_s >= _LOOKED_EVERY_S:
                self._seen = self._looked_up()
                self._seen_s = time.monotonic()
            living = {address: count for address, count in self._seen.items() if address not in self._unfit}
            if living:
                self._none_since_s = None
            elif self._none_since_s is None:
                self._none_since_s = self._seen_s
            elif self._seen_s - self._none_since_s > NO_WORKER_S:
                unfit = "".join(f"; {text}" for text in list(self._unfit.values())[:1])
                raise self.broken_off(f"no worker for {NO_WORKER_S:.0f} s{unfit}", "workers", "start some")
            return living

    def _looked_up(self) -> dict[str, int]:
        try:
            if self.client.status != "running":
                raise OSError(self.client.status)
            found: dict[str, int] = self.client.sync(self.client.scheduler.ncores, callback_timeout=SCHEDULER_S)
            return found
        except (OSError, TimeoutError) as error:
            raise self.without_scheduler() from error

    def without_scheduler(self) -> OutputError:
        """The error of a scheduler that ended, or was told by somebody else to drop everything."""
        return self.broken_off("the scheduler gone, or the work dropped there", "it to stay", "start it again")

    def broken_off(self, found: str, expected: str, step: str) -> OutputError:
        """The error of a job that cannot go on through no fault of its own."""
        return OutputError(
            self.where, found, expected, f"{step} and carry on with --resume: finished segments are kept"
        )

    def has_room(self, own: int) -> bool:
        """Whether one more piece may be under way for whoever has so many already."""
        most = DEEP * self.slots()
        with self._lock:
            return own == 0 or sum(carrying.under_way for carrying in self._listeners.values()) < most

    def slots(self) -> int:
        """Pieces that may be at work at the same time, as far as is known."""
        return max(1, sum(self.living().values()))

    def allowed(self) -> list[str] | None:
        """The workers that a piece may go to; None for all."""
        return list(self.living()) if self._unfit else None

    def set_aside(self, error: Unfit) -> None:
        """Give no more work to a worker that came and is not fit."""
        said, address = as_sentence(error), error.args[0].removeprefix("worker ")
        with self._lock:
            is_new = address not in self._unfit
            self._unfit[address] = str(said).rstrip(".")
        if is_new:
            log.warning("set aside, others carry on: %s", said)

    def give(self, address: str, name: str, data: bytes) -> None:
        """Bring something that pieces need to a worker."""
        with suppress(OSError, TimeoutError, KeyError, ValueError):
            self.client.run(cluster_worker.keep, name, data, workers=[address], on_error="ignore")

    def call_back(self, shared: str) -> None:
        """Wait a little until pieces that nobody waits for any more have cleared up; none begins after it."""
        until_s = time.monotonic() + _END_S
        with suppress(Exception):
            while self.client.status == "running" and time.monotonic() < until_s:
                if not any(self.client.run(cluster_worker.call_back, shared, on_error="ignore").values()):
                    return
                time.sleep(_CALLED_EVERY_S)

    @property
    def message_every_s(self) -> float:
        """How often a worker may tell of its progress."""
        return max(1.0 / _MESSAGES_A_S, len(self._seen) / _ALL_MESSAGES_A_S)

    def say(self, level: int, text: str) -> None:
        """Pass on what a worker's log says, once."""
        with self._lock:
            if text in self._said:
                return
            self._said.add(text)
        log.log(level, "%s", text)

    def _hear(self, event: tuple[float, Sequence[Any]]) -> None:
        # In dask's own thread: what was heard is taken up by the thread that waits for results.
        what, key, *rest = event[1]
        with self._lock:
            carrying = self._listeners.get(str(key).split(":")[0])
        if carrying is not None:
            carrying.news.put((what, key, *rest))

    def give_up(self) -> None:
        """Let all threads that carry out work here end it."""
        self._stopped.set()

    def require_going(self) -> None:
        """Raise GivenUp where the work was given up."""
        if self._stopped.is_set():
            raise GivenUp

    def close(self) -> None:
        """Take away what workers and client wrote to see each other, and stop listening."""
        with suppress(Exception):
            self.client.unsubscribe_topic(self.topic)
        for token in self._tokens:
            with suppress(OSError):
                for path in token.parent.glob(f"{token.name}*"):
                    path.unlink(missing_ok=True)


def _comes(path: Path, text: str) -> bool:
    """Whether a file is seen with a text in it; file systems over a network may take some seconds."""
    until_s = time.monotonic() + _ANSWER_S
    while True:
        with suppress(OSError):
            # Reading the folder anew makes some of them look again.
            os.listdir(path.parent)
            if path.read_text(encoding="utf-8") == text:
                path.unlink(missing_ok=True)
                return True
        if time.monotonic() > until_s:
            return False
        time.sleep(0.1)


@contextmanager
def opened_cluster(text: str, local: int | None, effort: Effort) -> Iterator[Cluster]:
    """The cluster of an address, or of ``local`` worker processes started here; see :func:`postfix.job.cluster`."""
    where = f"--cluster {text}"
    with ExitStack() as stack:
        stack.enter_context(_quiet())
        address, security = text, None
        if local is not None:
            started = stack.enter_context(_started(local))
            address, security = started.scheduler_address, started.security
        try:
            client = Client(
                address, security=security, timeout=SCHEDULER_S, set_as_default=False, name="postfix-stereo"
            )
        except (OSError, TimeoutError, ValueError) as error:
            raise UsageError(
                where,
                "no scheduler that answers there",
                f"one within {SCHEDULER_S:.0f} s",
                "start it, or mend the address",
            ) from error
        stack.callback(client.close)
        try:
            client.wait_for_workers(1, timeout=WORKER_S)
        except TimeoutError as error:
            raise UsageError(where, "no worker", f"one within {WORKER_S:.0f} s", "start workers for it") from error
        cluster = Cluster(client, effort, where)
        stack.callback(cluster.close)
        cluster.require_alike()
        yield cluster


@contextmanager
def _started(count: int) -> Iterator[LocalCluster]:
    environment = {
        "OMP_NUM_THREADS": "1",
        "OPENBLAS_NUM_THREADS": "1",
        "DASK_LOGGING__DISTRIBUTED": "critical",
    }
    before = dict(os.environ)
    settings = {
        "distributed.nanny.pre-spawn-environ": environment,
        "distributed.worker.multiprocessing-method": "spawn",
        # Pictures are no memory of dask's; --memory holds the workers to theirs.
        "distributed.worker.memory.terminate": False,
        "distributed.worker.memory.pause": False,
        "distributed.worker.memory.spill": False,
        "distributed.worker.memory.target": False,
    }
    with dask.config.set(settings):
        started = LocalCluster(
            n_workers=count,
            threads_per_worker=1,
            processes=True,
            host="127.0.0.1",
            dashboard_address=None,
            silence_logs=logging.CRITICAL,
            memory_limit=0,
            # Anybody on this machine could speak to them otherwise, and have them run what he likes.
            security=True,
            preload=[cluster_worker.__name__],
        )
        try:
            yield started
        finally:
            started.close(timeout=_ANSWER_S)
            for name in environment:
                if name in before:
                    os.environ[name] = before[name]
                else:
                    os.environ.pop(name, None)


@contextmanager
def _quiet() -> Iterator[None]:
    """Keep what dask says of itself from the terminal: what matters is said in the program's own words."""
    names = ("distributed", "tornado", "asyncio", "bokeh")
    known = [name for name in logging.root.manager.loggerDict if name.split(".")[0] in names]
    kept = []
    for name in {*names, *known}:
        logger = logging.getLogger(name)
        if name in names or logger.handlers or not logger.propagate:
            kept.append((logger, list(logger.handlers), logger.propagate))
            logger.handlers, logger.propagate = [logging.NullHandler()], False
    try:
        with warnings.catch_warnings():
            warnings.filterwarnings("ignore", module=r"(distributed|dask|tornado)(\..*)?")
            yield
    finally:
        for logger, handlers, propagate in kept:
            logger.handlers, logger.propagate = handlers, propagate
