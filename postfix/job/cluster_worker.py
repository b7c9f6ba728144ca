"""What a worker of a cluster does: prove that it may, take a piece of the work, tell how far it is.

Nothing here is called in the process that a person started, but for :func:`stamp`.
"""

from __future__ import annotations

import hashlib
import logging
import pickle
import platform
import signal
import sys
import threading
import time
import uuid
import zlib
from collections import OrderedDict
from collections.abc import Iterator, Mapping
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any

import cv2
import distributed

import postfix
from postfix.effort import Effort, using
from postfix.source.segments import Segment
from postfix.versions import libraries

PROCESSOR = "processor"
"""The part of a stamp that may differ: what the last digits of arithmetic can depend on."""

_LATE_S = 2.0
"""Times of one file may differ by so much between machines: some file systems count in steps of two seconds."""
_KEPT, _OPEN = 64, 4
"""Things that a worker keeps for pieces to come, packed and unpacked: what pieces of a clip share, and the terms."""


class Unfit(Exception):
    """A worker that must not be given work; its arguments are those of the error that says so."""


class Wanted(Exception):
    """Something that pieces need has not reached this worker yet; its arguments are the worker and what it is."""


class GivenUp(Exception):
    """A piece that nobody waits for any more."""


@dataclass(frozen=True)
class Terms:
    """What a worker must see before it is given work.

    Attributes
    ----------
    files : tuple of (str, int, float)
        Absolute path, size in bytes and time of last change in seconds, as the client sees them.
    token : str or None
        A file in the folder of the output, None where nothing is written there.
    text : str
        What stands in it.
    """

    files: tuple[tuple[str, int, float], ...]
    token: str | None
    text: str


@dataclass(frozen=True)
class Call:
    """One piece as it is sent: small, for there are many.

    Attributes
    ----------
    topic : str
        Where the client listens.
    key : str
        Of the piece, and of the task that carries it.
    stamp : mapping of str to str
    terms : str or None
        Name of the terms, where there are any.
    shared : str
        Name of the work and of what its pieces share.
    segments : tuple of Segment
    effort : Effort
    every_s : float
        Messages about progress come no more often.
    level : int
        Log messages below it stay on the worker.
    """

    topic: str
    key: str
    stamp: Mapping[str, str]
    terms: str | None
    shared: str
    segments: tuple[Segment, ...]
    effort: Effort
    every_s: float
    level: int


def packed(thing: object) -> bytes:
    """A thing as it is kept and sent."""
    return zlib.compress(pickle.dumps(thing, pickle.HIGHEST_PROTOCOL), 1)


@cache
def stamp() -> dict[str, str]:
    """Everything that must be the same on two machines for the same bytes, by its name, and the processor's kind."""
    return {
        "postfix-stereo": f"{postfix.__version__} ({_own_digest()})",
        **libraries(),
        **_ffmpeg_parts(),
        "distributed": distributed.__version__,
        PROCESSOR: f"{platform.machine()}, {sys.byteorder} endian, {cv2.getCPUFeaturesLine().strip()}",
    }


def _own_digest() -> str:
    """First letters of a digest of the program's own files: one version may stand in two states."""
    root, digest = Path(postfix.__file__).parent, hashlib.sha256()
    for path in sorted(root.rglob("*.py")):
        digest.update(path.relative_to(root).as_posix().encode() + b"\0" + path.read_bytes())
    return digest.hexdigest()[:12]


def _ffmpeg_parts() -> dict[str, str]:
    import av

    return {name: ".".join(map(str, version)) for name, version in sorted(av.library_versions.items())}


def prove(terms: Terms, mine: Mapping[str, str]) -> tuple[dict[str, str], str]:
    """Hold a worker against the client's stamp and the terms, before any work; what stood in its way is raised.

    Returns
    -------
    dict, str
        Its stamp, and the file that it left as an answer, empty where none was asked for.
    """
    worker = distributed.get_worker()
    _check_stamp(mine, worker)
    return stamp(), _check_sight(terms, worker.address)


def keep(name: str, data: bytes) -> None:
    """Take something for the pieces to come."""
    with _lock:
        _kept[name] = data
        while len(_kept) > _KEPT:
            _kept.popitem(last=False)


def piece(call: Call) -> tuple[Any, int]:
    """Carry out one piece.

    Returns
    -------
    object, int
        What the work returned, and the frames it told of.
    """
    worker = distributed.get_worker()
    if call.stamp != _passed_stamp:
        _check_stamp(call.stamp, worker)
        _passed_stamp.update(call.stamp)
    if call.terms is not None and call.terms not in _passed:
        # One that came later than the job's beginning proves itself now; its answer is cleared away by the client.
        _check_sight(_kept_thing(call.terms, worker.address), worker.address)
        _passed.add(call.terms)
    work, shared = _kept_thing(call.shared, worker.address)
    told = _Told(call, worker)
    # Else each worker of a machine would have a thread for every one of its cores.
    cv2.setNumThreads(call.effort.workers)
    with using(call.effort), _log_sent(call, worker), _at_work(call):
        return work(shared, call.segments, told), told.frames


def call_back(shared: str) -> bool:
    """Let no piece begin any more of what shares something, and those at work end; whether any is still at work."""
    with _lock:
        _called_back.add(shared)
        _kept.pop(shared, None)
        return shared in _busy.values()


_lock = threading.Lock()
_kept: OrderedDict[str, bytes] = OrderedDict()
_opened: OrderedDict[str, Any] = OrderedDict()
_passed: set[str] = set()
_passed_stamp: dict[str, str] = {}
_busy: dict[str, str] = {}
_called_back: set[str] = set()


@contextmanager
def _at_work(call: Call) -> Iterator[None]:
    with _lock:
        if call.shared in _called_back:
            raise GivenUp
        _busy[call.key] = call.shared
    try:
        yield
    finally:
        with _lock:
            del _busy[call.key]


def _kept_thing(name: str, address: str) -> Any:
    if name in _opened:
        _opened.move_to_end(name)
        return _opened[name]
    with _lock:
        if name not in _kept:
            raise Wanted(address, name)
        _kept.move_to_end(name)
        data = _kept[name]
    _opened[name] = pickle.loads(zlib.decompress(data))
    while len(_opened) > _OPEN:
        _opened.popitem(last=False)
    return _opened[name]


def _check_stamp(wanted: Mapping[str, str], worker: Any) -> None:
    mine = stamp()
    for name in {**wanted, **mine}:
        here, there = mine.get(name, "none"), wanted.get(name, "none")
        if here != there and name != PROCESSOR:
            raise Unfit(
                f"worker {worker.address}",
                f"{name} {here}",
                f"{there}, as where the job was started",
                "install the same there, or stop that worker",
            )
    if worker.state.nthreads != 1:
        raise Unfit(
            f"worker {worker.address}",
            f"{worker.state.nthreads} threads",
            "one: a piece uses as many as --workers says",
            "start it with --nthreads 1, and more of them",
        )


def _check_sight(terms: Terms, address: str) -> str:
    who, share = f"worker {address}", "let it see the same folders under the same paths"
    for path, size, changed_s in terms.files:
        try:
            seen = Path(path).stat()
        except OSError as error:
            raise Unfit(who, f"no way to see '{path}' ({error.strerror or error})", "the source", share) from error
        if (seen.st_size, abs(seen.st_mtime - changed_s) <= _LATE_S) != (size, True):
            raise Unfit(who, f"another file as '{path}', by its size or time", "the source", share)
    if terms.token is None:
        return ""
    token = Path(terms.token)
    try:
        if token.read_text(encoding="ascii") != terms.text:
            raise OSError("another folder of that name")
        answer = token.with_name(f"{token.name}.{uuid.uuid4().hex}")
        answer.write_text(terms.text + address, encoding="utf-8")
    except OSError as error:
        found = f"no way to read and write in '{token.parent}' ({error.strerror or error})"
        raise Unfit(who, found, "the folder of the output", share) from error
    return str(answer)


class _Told:
    """Counts frames, and says how many there are every so often; from any thread."""

    def __init__(self, call: Call, worker: Any) -> None:
        self._call, self._worker = call, worker
        self._lock, self._said_s = threading.Lock(), time.monotonic()
        self.frames = 0

    def __call__(self, frames: int) -> None:
        task = self._worker.state.tasks.get(self._call.key)
        if self._call.shared in _called_back or task is None or task.state in ("cancelled", "released"):
            raise GivenUp
        with self._lock:
            self.frames += frames
            if time.monotonic() - self._said_s < self._call.every_s:
                return
            self._said_s = time.monotonic()
            self._worker.log_event(self._call.topic, ["told", self._call.key, self.frames])


class _Sent(logging.Handler):
    """Sends log messages to the client, which says each text once."""

    def __init__(self, call: Call, worker: Any) -> None:
        super().__init__(call.level)
        self._call, self._worker = call, worker

    def emit(self, record: logging.LogRecord) -> None:
        with suppress(Exception):
            said = ["log", self._call.key, record.levelno, record.getMessage()]
            self._worker.log_event(self._call.topic, said)


@contextmanager
def _log_sent(call: Call, worker: Any) -> Iterator[None]:
    logger, handler = logging.getLogger("postfix"), _Sent(call, worker)
    before = logger.level, logger.propagate
    logger.addHandler(handler)
    logger.setLevel(call.level)
    logger.propagate = False
    try:
        yield
    finally:
        logger.removeHandler(handler)
        logger.setLevel(before[0])
        logger.propagate = before[1]


def dask_setup(worker: Any) -> None:
    """Called in a worker process of this machine when it starts: Ctrl-C is the business of who started it."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    for name in ("distributed", "tornado", "asyncio"):
        logging.getLogger(name).setLevel(logging.CRITICAL)
