"""Whether the process that left a mark on the disk is still at work."""

from __future__ import annotations

import os
import sys
from pathlib import Path


def is_running(pid: int, started: str = "") -> bool:
    """Whether a process of this machine is at work; one that has ended and only waits to be collected is not.

    Parameters
    ----------
    pid : int
    started : str
        What :func:`start_mark` said of it earlier; a later process that was given the same number is told apart by it.
    """
    if sys.platform == "win32":
        # There is no harmless question to ask here: a signal 0 would be a Ctrl-C. Work in progress is never taken over.
        return True
    if pid <= 0:
        return False
    try:
        os.kill(pid, 0)
    except (ProcessLookupError, OverflowError):
        return False
    except PermissionError:
        pass
    state, now_started = _state_and_start(pid)
    return state != "Z" and (not started or not now_started or started == now_started)


def start_mark(pid: int) -> str:
    """When a process was started, in the system's own count; empty where the system does not tell."""
    return _state_and_start(pid)[1]


def _state_and_start(pid: int) -> tuple[str, str]:
    try:
        text = Path(f"/proc/{pid}/stat").read_text(encoding="ascii", errors="replace")
    except OSError:
        return "", ""
    # The name, in brackets, may hold anything; what follows it are the third field and those after it.
    fields = text.rpartition(")")[2].split()
    return (fields[0], fields[19]) if len(fields) > 19 else ("", "")
