"""The command ``postfix-stereo``, which is ``python -m postfix`` too: Ctrl-C while it loads is taken as well."""

import os
import signal
import sys
from types import FrameType

from postfix.errors import EXIT_INTERRUPTED


def main() -> int:
    """Run the command and return its exit code."""
    # Ignored, as a shell has it for what runs in the background, it stays so.
    is_heard = signal.getsignal(signal.SIGINT) == signal.default_int_handler
    if is_heard:
        signal.signal(signal.SIGINT, _leave)
    from postfix.cli import main as carried_out

    if is_heard:
        signal.signal(signal.SIGINT, signal.default_int_handler)
    return carried_out()


def _leave(number: int, frame: FrameType | None) -> None:
    """End at once: nothing was begun, and not every library can be loaded by halves without a crash."""
    os.write(2, b"postfix-stereo: interrupted; nothing was begun\n")
    os._exit(EXIT_INTERRUPTED)


if __name__ == "__main__":
    sys.exit(main())
