"""Toy work for the tests of a cluster, in a module that worker processes find by its name."""

import logging
import os
import signal
import threading
import time
from dataclasses import dataclass, field
from pathlib import Path

from postfix import effort
from postfix.errors import InputError
from postfix.job import cluster_worker


@dataclass(frozen=True)
class Shared:
    folder: Path
    pause_s: float = 0.0
    fails_at: int = -1
    killed_at: int = -1
    always: bool = False
    ballast: bytes = field(default=b"", repr=False)


def counted(shared, segments, tell):
    """Leaves a file for each segment, and returns what was done by whom with which effort."""
    for segment in segments:
        if segment.index == shared.fails_at:
            raise InputError("reel.mov", "noise", "a picture", "export it again", frame=segment.first)
        for frame in range(segment.first, segment.last + 1):
            if frame == segment.first + 10 and segment.index == shared.killed_at:
                _die_once(shared)
            time.sleep(shared.pause_s)
            tell(1)
        (shared.folder / f"{segment.index}").write_text(str(segment.count))
    return tuple(s.index for s in segments), os.getpid(), effort.current().workers


def _die_once(shared):
    mark = shared.folder / "killed"
    if shared.always or not mark.exists():
        mark.write_text("")
        time.sleep(0.3)
        os.kill(os.getpid(), signal.SIGKILL)


def talkative(shared, segments, tell):
    """Says the same thing for every segment."""
    logging.getLogger("postfix").warning("%s: said by each piece", shared.folder.name)
    tell(sum(s.count for s in segments))
    return len(segments)


def until_called_back(shared, segments, tell):
    """Goes on until somebody takes it back; says what became of it."""
    (shared.folder / f"began-{segments[0].index}").write_text("")
    try:
        while True:
            time.sleep(0.02)
            tell(0)
    except cluster_worker.GivenUp:
        (shared.folder / f"ended-{segments[0].index}").write_text(threading.current_thread().name)
        raise
