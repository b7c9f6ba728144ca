"""One run at a time in one folder: a claim that is seen by others before they begin."""

from __future__ import annotations

import json
import logging
import os
import re
import socket
import time
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from dataclasses import asdict, dataclass
from pathlib import Path

from postfix.deliver.processes import is_running, start_mark
from postfix.deliver.staging import make_parents
from postfix.errors import OutputError

log = logging.getLogger("postfix")

LOCK = ".postfix-stereo.lock"

_MOST_BYTES = 1 << 12
"""Of a claim that is read."""

_PATIENCE_TRIES, _PATIENCE_S = 10, 0.05


@dataclass(frozen=True)
class _Holder:
    """Who holds a claim. ``started`` tells a later process of the same number apart; empty where it is not known."""

    pid: int
    host: str
    started: str

    def is_gone(self) -> bool:
        """Whether it certainly no longer runs; of another machine nothing certain is known."""
        if self.host != socket.gethostname():
            return False
        # Without a start to compare, this process's own number can only be an earlier one's: it asks before it claims.
        earlier_namesake = self.pid == os.getpid() and not self.started
        return earlier_namesake or not is_running(self.pid, self.started)


def check_unclaimed(out: Path) -> None:
    """Refuse a folder in which another run is at work; nothing is written.

    Raises
    ------
    OutputError
        Naming its process.
    """
    path = out / LOCK
    text = _text(path)
    for _ in range(_PATIENCE_TRIES):
        if text is None or _holder(text) is not None:
            break
        # Made a moment ago and not written yet, most likely.
        time.sleep(_PATIENCE_S)
        text = _text(path)
    if text is None:
        return
    holder = _holder(text)
    if holder is None:
        raise OutputError(
            path, "a claim that cannot be read", "no claim, or whose it is", "remove it if no run is at work there"
        )
    if holder.is_gone():
        return
    here = holder.host == socket.gethostname()
    raise OutputError(
        out,
        f"process {holder.pid}{'' if here else f' on {holder.host}'} at work there",
        "one run at a time",
        "wait until it has ended, or choose another output" + ("" if here else f"; if it has ended, remove '{path}'"),
    )


@contextmanager
def claimed(out: Path) -> Iterator[None]:
    """Hold a folder for this run, from making it to whatever end.

    The claim of a process that no longer runs on this machine is taken over. A folder that was made for the claim and
    is still empty at the end is removed.

    Raises
    ------
    OutputError
        Where another run holds it.
    """
    path = out / LOCK
    mine = json.dumps(asdict(_myself())) + "\n"
    made: list[Path] = []
    try:
        make_parents(path, made)
        _take(path, out, mine)
        try:
            _clear_beside(path)
            yield
        finally:
            if _text(path) == mine:
                with suppress(OSError):
                    path.unlink()
    finally:
        for parent in reversed(made):
            with suppress(OSError):
                parent.rmdir()


def _take(path: Path, out: Path, mine: str) -> None:
    while True:
        check_unclaimed(out)
        old = _text(path)
        if old is not None:
            _set_aside(path, old)
        if _write(path, mine):
            return
        # Another run was quicker; the check tells which.


def _write(path: Path, mine: str) -> bool:
    """Make a claim, which has its name only when it is whole and on the disk; False where there is one already."""
    begun = _beside(path, os.getpid())
    try:
        begun.unlink(missing_ok=True)
        with begun.open("x", encoding="utf-8") as file:
            file.write(mine)
            file.flush()
            os.fsync(file.fileno())
        try:
            os.link(begun, path)
        except FileExistsError:
            return False
        except OSError:
            # A file system without second names for a file.
            try:
                with path.open("x", encoding="utf-8") as file:
                    file.write(mine)
            except FileExistsError:
                return False
        return True
    finally:
        with suppress(OSError):
            begun.unlink(missing_ok=True)


def _beside(path: Path, pid: int) -> Path:
    """A name for what a process of this machine moves a claim through."""
    return path.with_name(f"{path.name}.{socket.gethostname()}.{pid}")


def _clear_beside(path: Path) -> None:
    """Remove what processes that no longer run left of claims that they were making or setting aside."""
    name = re.compile(re.escape(f"{path.name}.{socket.gethostname()}.") + r"(\d+)")
    for entry in list(path.parent.iterdir()):
        match = name.fullmatch(entry.name)
        if match and int(match[1]) != os.getpid() and not is_running(int(match[1])):
            with suppress(OSError):
                entry.unlink()


def _set_aside(path: Path, old: str) -> None:
    """Remove a claim that is known to be dead, and only that: another run may have replaced it meanwhile."""
    aside = _beside(path, os.getpid())
    with suppress(FileNotFoundError):
        path.rename(aside)
        if _text(aside) != old:
            with suppress(FileExistsError):
                os.link(aside, path)
        else:
            holder = _holder(old)
            number = holder.pid if holder else 0
            # Of a job, not of each of its outputs once more.
            level = logging.DEBUG if path.parent.name.startswith(".") else logging.INFO
            log.log(level, "%s: left by process %d, which no longer runs; taken over", path, number)
        aside.unlink()


def _text(path: Path) -> str | None:
    try:
        if path.is_symlink():
            return ""  # no claim is a link; one to nothing could neither be read nor made anew
        with path.open("rb") as file:
            return file.read(_MOST_BYTES).decode("utf-8", errors="replace")
    except FileNotFoundError:
        return None
    except OSError:
        return ""


def _holder(text: str) -> _Holder | None:
    try:
        data = json.loads(text)
        holder = _Holder(int(data["pid"]), str(data["host"]), str(data["started"]))
    except (ValueError, TypeError, KeyError, OverflowError, RecursionError):
        return None
    return holder if 0 < holder.pid < 2**31 else None


def _myself() -> _Holder:
    return _Holder(os.getpid(), socket.gethostname(), start_mark(os.getpid()))
