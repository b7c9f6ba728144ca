"""The rim: what was typed becomes calls, and what comes back becomes text, JSON and an exit code."""

from __future__ import annotations

import io
import json
import logging
import signal
import sys
import threading
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager, suppress
from types import FrameType
from typing import Any

from postfix.arguments import PROGRAM, parser
from postfix.commands import Outcome
from postfix.effort import using
from postfix.errors import EXIT_FAULT, EXIT_INTERRUPTED, OutputError, PostfixError
from postfix.job.progress import BesideBars
from postfix.look import look_of
from postfix.options import asked_effort
from postfix.printing import discard, print_whole
from postfix.terminal import rendered


def main(arguments: Sequence[str] | None = None) -> int:
    """Run the command and return its exit code; never raises, whatever was typed, but to end after ``--help``."""
    typed = list(sys.argv[1:] if arguments is None else arguments)
    as_json = "--json" in typed
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, io.TextIOWrapper):
            # A terminal or pipe that has no place for a letter shows its code instead.
            stream.reconfigure(errors="backslashreplace")
    try:
        with _termination_as_interrupt():
            return _carry_out(typed)
    except PostfixError as error:
        return _say_error(error, as_json)
    except KeyboardInterrupt:
        text = f"{PROGRAM}: interrupted; nothing half-written was left; what was finished is kept for --resume"
        return _say(text, EXIT_INTERRUPTED, as_json)
    except OSError as error:
        where = error.filename or "the system"
        cause = OutputError(
            where, str(error.strerror or error), "to read and write there", "check disk and permissions"
        )
        return _say_error(cause, as_json)
    except Exception as error:
        logging.getLogger("postfix").debug("the fault in full", exc_info=True)
        text = (
            f"{PROGRAM}: a fault of the program ({type(error).__name__}: {error}); repeat with -v and report the text"
        )
        return _say(text, EXIT_FAULT, as_json)


def _carry_out(typed: list[str]) -> int:
    options = parser().parse_args(typed)
    _start_log(options.verbose - options.quiet)
    with using(asked_effort(options)):
        outcome: Outcome = options.command(options)
    if options.json:
        print_whole(json.dumps({"exit_code": outcome.exit_code, **outcome.data}, indent=2, ensure_ascii=False))
    elif outcome.text and not options.quiet:
        print_whole(rendered(outcome.text, look_of(sys.stdout)))
    return outcome.exit_code


@contextmanager
def _termination_as_interrupt() -> Iterator[None]:
    """Let SIGTERM end the work as Ctrl-C does, so that unfinished files are removed."""
    usual: dict[signal.Signals, Any] = {signal.SIGTERM: signal.SIG_DFL, signal.SIGINT: signal.default_int_handler}
    # One that is handled otherwise, or ignored as a shell has it for what runs in the background, stays so.
    usual = {number: handler for number, handler in usual.items() if signal.getsignal(number) == handler}
    if not usual or threading.current_thread() is not threading.main_thread():
        yield
        return

    def interrupt(number: int, frame: FrameType | None) -> None:
        # A second one must not break off the clearing up. One that came at the same instant would be told of by Python
        # itself if it were set to be ignored now.
        for each in usual:
            signal.signal(each, _pass_over)
        raise KeyboardInterrupt

    for number in usual:
        signal.signal(number, interrupt)
    try:
        yield
    finally:
        for number, handler in usual.items():
            signal.signal(number, handler)


def _pass_over(number: int, frame: FrameType | None) -> None:
    """What a second signal does."""


def _say_error(error: PostfixError, as_json: bool) -> int:
    parts = {
        "message": str(error),
        "where": error.where,
        "frame": error.frame,
        "found": error.found,
        "expected": error.expected,
        "next_step": error.next_step,
    }
    return _tell(f"{PROGRAM}: {error}", parts, error.exit_code, as_json)


def _say(text: str, exit_code: int, as_json: bool) -> int:
    return _tell(text, {"message": text}, exit_code, as_json)


def _tell(text: str, parts: Mapping[str, object], exit_code: int, as_json: bool) -> int:
    """Say what went wrong, on stdout too where JSON is asked for; the exit code stands even if nobody hears."""
    if as_json:
        with suppress(OutputError):
            print_whole(json.dumps({"exit_code": exit_code, "error": parts}, indent=2, ensure_ascii=False))
    try:
        print(_error_text(text), file=sys.stderr, flush=True)
    except OSError:
        discard(sys.stderr)
    return exit_code


def _error_text(text: str) -> str:
    """One line that is never broken, for it may hold a path, as stderr can show it."""
    look = look_of(sys.stderr)
    program, found, rest = text.partition(":")
    return look.painted(look.shown(program + found), "bad") + look.shown(rest)


def _start_log(level: int) -> None:
    logging.basicConfig(format="%(message)s", handlers=[BesideBars()], force=True)
    logging.getLogger("postfix").setLevel(logging.DEBUG if level > 0 else logging.ERROR if level < 0 else logging.INFO)


if __name__ == "__main__":
    sys.exit(main())
