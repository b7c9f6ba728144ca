"""Many machines for one job: what ``--cluster`` takes, and the crew that it opens."""

from __future__ import annotations

import re
from collections.abc import Iterator
from contextlib import contextmanager

from postfix.effort import Effort
from postfix.errors import UsageError
from postfix.job.crew import Alone, Crew

MOST_LOCAL = 256
"""Worker processes that are started on one machine; more than its cores are of no use."""

FORMS = "tcp://HOST:PORT of a scheduler, or local:N for N worker processes of this machine"

_LOCAL = re.compile(r"local:(\d{1,6})", re.ASCII)
_ADDRESS = re.compile(r"(?:tcp|tls)://(?:\[[0-9A-Fa-f:.%\w]+\]|[^\s/:\[\]]+):(\d{1,5})")
_MOST_PORT = 65535
_ONE_FRAME = Effort(1)


@contextmanager
def opened_crew(text: str | None, effort: Effort = _ONE_FRAME) -> Iterator[Crew]:
    """Who carries out the pieces of a job while the block goes on.

    Parameters
    ----------
    text : str or None
        What was typed after ``--cluster``: ``tcp://host:8786`` (or ``tls://``), a scheduler that is there already, or
        ``local:4``, worker processes that are started on this machine and ended with the block. None for this process.
    effort : Effort
        What each worker may use.

    Raises
    ------
    UsageError
        Where the text is neither, dask is not installed, nothing answers at the address, no worker comes, or one is
        not the same as this machine in what decides the bytes.
    """
    if text is None:
        yield Alone()
        return
    local = _parsed(text)
    try:
        import cryptography  # noqa: F401

        from postfix.job.cluster_crew import opened_cluster
    except ImportError as error:
        raise UsageError(
            f"--cluster {text}",
            f"no way to speak to it ({error})",
            "dask, distributed and cryptography",
            "type: pip install 'postfix-stereo[cluster]'",
        ) from error
    with opened_cluster(text, local, effort) as cluster:
        yield cluster


def _parsed(text: str) -> int | None:
    """How many workers are started on this machine; None where the text is the address of a scheduler."""
    match = _LOCAL.fullmatch(text)
    if match is not None:
        if not 1 <= int(match[1]) <= MOST_LOCAL:
            raise UsageError(
                f"--cluster {text}",
                f"{int(match[1])} workers",
                f"1 to {MOST_LOCAL}",
                "start as many as there are cores",
            )
        return int(match[1])
    match = _ADDRESS.fullmatch(text)
    if match is None or not 1 <= int(match[1]) <= _MOST_PORT:
        raise UsageError(
            f"--cluster {text}", "neither an address nor local:N", FORMS, "type for example --cluster local:4"
        )
    return None
