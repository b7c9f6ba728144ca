"""Text put on stdout all the way, whoever reads there or not."""

from __future__ import annotations

import os
import sys
from contextlib import suppress
from typing import TextIO

from postfix.errors import OutputError


def print_whole(text: str) -> None:
    """Put a text on stdout, all the way.

    A reader that went away (head, a closed pager) is nobody's fault: the work is done, and its exit code stands.

    Raises
    ------
    OutputError
        Where stdout takes nothing, such as a full disk.
    """
    try:
        print(text, flush=True)
    except BrokenPipeError:
        discard(sys.stdout)
    except OSError as error:
        discard(sys.stdout)
        raise OutputError(
            "standard output",
            f"no way to print the result there ({error.strerror or error})",
            "room for it",
            "print it to another place; files that were to be written are whole",
        ) from error


def discard(stream: TextIO) -> None:
    """Send what a stream still holds to nowhere, or Python would stumble over it again at the end."""
    with suppress(OSError, ValueError):
        nowhere = os.open(os.devnull, os.O_WRONLY)
        os.dup2(nowhere, stream.fileno())
        os.close(nowhere)
