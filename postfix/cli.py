"""The rim: what was typed becomes calls, and what comes back becomes text, JSON and an exit code."""

from __future__ import annotations

import argparse
import io
import json
import logging
import os
import signal
import sys
import threading
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager, suppress
from pathlib import Path
from types import FrameType
from typing import Any, TextIO, get_args

from postfix import commands, commands_plan, commands_preview
from postfix.commands import Outcome
from postfix.deliver.codecs import CODECS
from postfix.errors import EXIT_FAULT, EXIT_INTERRUPTED, OutputError, PostfixError, UsageError
from postfix.job.progress import BesideBars
from postfix.limits import Comfort
from postfix.look import look_of
from postfix.plan.settings import FILLS, SUBPIXEL
from postfix.review.preview import BURN_INS
from postfix.review.views import VIEWS
from postfix.source.layout import LAYOUTS, PACKED
from postfix.terminal import rendered
from postfix.versions import version_text
from postfix.viewing import CHILD_EYE_MM

PROGRAM = "postfix-stereo"


class _Parser(argparse.ArgumentParser):
    """Reports wrong use as the project's own error, so that ``--json`` holds for it too."""

    def error(self, message: str) -> None:  # type: ignore[override]
        raise UsageError("command line", message, f"what {self.prog} --help shows", f"type {self.prog} --help")

    def _print_message(self, message: str, file: Any = None) -> None:
        # Where --help and --version go; the base class passes over what cannot be printed.
        if file is None or file is sys.stdout:
            _print(message.rstrip("\n"))
        else:
            super()._print_message(message, file)


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
        return _say(f"{PROGRAM}: interrupted; nothing half-written was left", EXIT_INTERRUPTED, as_json)
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
    options = _parser().parse_args(typed)
    _start_log(options.verbose - options.quiet)
    outcome: Outcome = options.command(options)
    if options.json:
        _print(json.dumps({"exit_code": outcome.exit_code, **outcome.data}, indent=2, ensure_ascii=False))
    elif outcome.text and not options.quiet:
        _print(rendered(outcome.text, look_of(sys.stdout)))
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


def _print(text: str) -> None:
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
        _discard(sys.stdout)
    except OSError as error:
        _discard(sys.stdout)
        raise OutputError(
            "standard output",
            f"no way to print the result there ({error.strerror or error})",
            "room for it",
            "print it to another place; files that were to be written are whole",
        ) from error


def _discard(stream: TextIO) -> None:
    """Send what a stream still holds to nowhere, or Python would stumble over it again at the end."""
    with suppress(OSError, ValueError):
        nowhere = os.open(os.devnull, os.O_WRONLY)
        os.dup2(nowhere, stream.fileno())
        os.close(nowhere)


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
            _print(json.dumps({"exit_code": exit_code, "error": parts}, indent=2, ensure_ascii=False))
    try:
        print(_error_text(text), file=sys.stderr, flush=True)
    except OSError:
        _discard(sys.stderr)
    return exit_code


def _error_text(text: str) -> str:
    """One line that is never broken, for it may hold a path, as stderr can show it."""
    look = look_of(sys.stderr)
    program, found, rest = text.partition(":")
    return look.painted(look.shown(program + found), "bad") + look.shown(rest)


def _start_log(level: int) -> None:
    logging.basicConfig(format="%(message)s", handlers=[BesideBars()], force=True)
    logging.getLogger("postfix").setLevel(logging.DEBUG if level > 0 else logging.ERROR if level < 0 else logging.INFO)


def _parser() -> argparse.ArgumentParser:
    parser = _Parser(
        prog=PROGRAM,
        description="Measure, re-converge, window and check stereoscopic film for each screen it will be shown on.",
        epilog=f"Begin with: {PROGRAM} demo demo-out",
    )
    parser.add_argument("--version", action="version", version=version_text())
    adder = parser.add_subparsers(dest="name", metavar="COMMAND", required=True, parser_class=_Parser)
    for name, (add_arguments, command, what, example) in _COMMANDS.items():
        sub = adder.add_parser(
            name,
            # What is said of a command may hold a percent sign, which argparse would take for a place to fill.
            help=what.replace("%", "%%"),
            description=f"{what[0].upper()}{what[1:]}.",
            epilog=f"example:\n  {PROGRAM} {example}",
            formatter_class=argparse.RawDescriptionHelpFormatter,
        )
        add_arguments(sub)
        _add_common(sub)
        sub.set_defaults(command=command)
    return parser


def _add_common(sub: argparse.ArgumentParser) -> None:
    group = sub.add_argument_group("all commands")
    group.add_argument("--version", action="version", version=version_text())
    group.add_argument("-v", "--verbose", action="count", default=0, help="say more on stderr")
    group.add_argument("-q", "--quiet", action="count", default=0, help="say nothing but errors")
    group.add_argument("--json", action="store_true", help="print the result as JSON on stdout")
    group.add_argument(
        "--force", action="store_true", help="replace files and versions that this program wrote earlier"
    )
    group.add_argument("--resume", action="store_true", help="carry on: keep what an earlier run finished")
    group.add_argument("--dry-run", action="store_true", help="check the input and say what would be written")


def _add_source(sub: argparse.ArgumentParser) -> None:
    group = sub.add_argument_group("source")
    group.add_argument(
        "--left", type=Path, metavar="PATH", help="left eye: video, folder of stills or numbered pattern"
    )
    group.add_argument("--right", type=Path, metavar="PATH", help="right eye, in the same form")
    group.add_argument(
        "--pair",
        type=Path,
        metavar="PATH",
        help="what holds both eyes, instead of --left and --right; or a pattern with %%V (left/right) or %%v (l/r)",
    )
    group.add_argument(
        "--layout", choices=PACKED, help="how both eyes lie in --pair; without it the file itself must say"
    )
    group.add_argument("--rate", metavar="R", help="frames per second of stills: 24, 23.976, 24000/1001")
    group.add_argument(
        "--frames", metavar="A-B", help="only these frames, both included: stills by number, video from 0"
    )
    group.add_argument("--edit", type=Path, metavar="LIST", help="take the cuts from a CMX 3600 .edl or an .otio")
    group.add_argument("--one-shot", action="store_true", help="no cuts: everything is one shot")
    group.add_argument(
        "--offset",
        type=int,
        default=0,
        metavar="N",
        help="the file given as --right is N frames late (negative: early); what both eyes have is used",
    )
    group.add_argument("--swap", action="store_true", help="what is given as --left is the right eye, and vice versa")
    group.add_argument(
        "--frame",
        metavar="WxH",
        help="deliver a frame of this size, such as 1998x1080: cut from larger pictures, with bars about smaller",
    )


def _add_screens(sub: argparse.ArgumentParser, *, many: bool) -> None:
    how = "a built-in name, WIDTHxDISTANCE in mm, or a name from --screens"
    if many:
        sub.add_argument("--screen", action="append", metavar="NAME", help=f"{how}; may be given several times")
    else:
        sub.add_argument("--screen", required=True, metavar="NAME", help=how)
    sub.add_argument("--screens", type=Path, metavar="TOML", help="a table of your own screens")


def _add_rules(sub: argparse.ArgumentParser) -> None:
    sub.add_argument("--settings", type=Path, metavar="TOML", help="limits, weights, windows and pins of your own")
    sub.add_argument(
        "--comfort",
        choices=get_args(Comfort),
        help="what limits near, far and range besides the eyes: 60 arcmin (the default), percent of width, or the zone "
        "of comfort",
    )
    sub.add_argument("--children", action="store_true", help=f"eyes {CHILD_EYE_MM:g} mm apart")


def _add_output(sub: argparse.ArgumentParser, what: str, *, required: bool = True) -> None:
    sub.add_argument("-o", "--output", type=Path, required=required, metavar="OUT", help=what)


def _add_fill(sub: argparse.ArgumentParser) -> None:
    sub.add_argument(
        "--fill", choices=FILLS, help="what becomes of columns laid bare by a move (default: hide, or as in --settings)"
    )


def _add_drawing(sub: argparse.ArgumentParser) -> None:
    sub.add_argument(
        "--subpixel",
        choices=SUBPIXEL,
        help="which HIT is drawn to a fraction of a pixel rather than in whole ones, which are plain copies (default: "
        "eased, that which moves inside a shot)",
    )
    sub.add_argument(
        "--align", action="store_true", help="level the eyes: take out shift in height, turn and size, shot by shot"
    )


def _add_delivery(sub: argparse.ArgumentParser) -> None:
    sub.add_argument(
        "--deliver",
        action="append",
        choices=LAYOUTS,
        help="how the finished eyes lie in files; may be given several times (default: as in the source)",
    )
    sub.add_argument("--codec", choices=CODECS, help="what video is written in (default: as in the source)")


def _add_no_check(sub: argparse.ArgumentParser) -> None:
    sub.add_argument("--no-check", action="store_true", help="leave out measuring the written files")


def _add_every(sub: argparse.ArgumentParser) -> None:
    sub.add_argument(
        "--every",
        type=_count,
        default=1,
        metavar="N",
        help="a quick look: measure every Nth frame only; those between are filled in by straight lines and marked",
    )


def _count(text: str) -> int:
    if not (text.isascii() and text.isdigit() and int(text) >= 1):
        raise argparse.ArgumentTypeError(f"{text!r} is no whole number of 1 or more")
    return int(text)


def _demo(sub: argparse.ArgumentParser) -> None:
    sub.add_argument("output", type=Path, metavar="OUT", help="a new folder")


def _measure(sub: argparse.ArgumentParser) -> None:
    _add_source(sub)
    _add_every(sub)
    _add_output(sub, "the measurement table, a .csv file")


def _plan(sub: argparse.ArgumentParser) -> None:
    sub.add_argument("measurement", type=Path, nargs="?", metavar="measure.csv", help="what measure wrote")
    _add_screens(sub, many=True)
    _add_rules(sub)
    _add_fill(sub)
    _add_drawing(sub)
    _add_output(sub, "the plan, a .toml file; for several screens a folder", required=False)
    way = sub.add_mutually_exclusive_group()
    way.add_argument(
        "--update", type=Path, metavar="PLAN", help="plan this one again around what you locked, pinned or edited in it"
    )
    way.add_argument("--diff", type=Path, nargs=2, metavar=("A", "B"), help="say what differs between two plans")
    sub.add_argument("--why", metavar="SHOT", help="explain one shot: limits, figures, alternatives and costs, choice")
    _add_source(sub)


def _render(sub: argparse.ArgumentParser) -> None:
    _add_source(sub)
    sub.add_argument("--plan", type=Path, required=True, metavar="TOML", help="what plan wrote, edited or not")
    sub.add_argument(
        "--measurement", type=Path, metavar="CSV", help="the source's table, where it was measured already"
    )
    _add_delivery(sub)
    _add_output(sub, "a new folder for the pictures and the change log")
    _add_no_check(sub)


def _check(sub: argparse.ArgumentParser) -> None:
    _add_source(sub)
    _add_every(sub)
    _add_screens(sub, many=False)
    _add_rules(sub)


def _report(sub: argparse.ArgumentParser) -> None:
    sub.add_argument("output", type=Path, metavar="OUT", help="the folder that run or render wrote")


def _run(sub: argparse.ArgumentParser) -> None:
    _add_source(sub)
    sub.add_argument("--job", type=Path, metavar="TOML", help="many clips at once, instead of --left and --right")
    _add_screens(sub, many=True)
    _add_rules(sub)
    _add_fill(sub)
    _add_drawing(sub)
    _add_delivery(sub)
    _add_output(sub, "a folder for everything")
    _add_no_check(sub)


def _preview(sub: argparse.ArgumentParser) -> None:
    _add_source(sub)
    sub.add_argument(
        "-o",
        "--output",
        required=True,
        metavar="OUT",
        help="x.mp4: a video; x.png: a contact sheet, or one picture; a folder: numbered stills",
    )
    sub.add_argument("--view", choices=VIEWS, default=VIEWS[0], help="how both eyes are shown (default: anaglyph)")
    sub.add_argument(
        "--at",
        type=commands_preview.parse_at,
        metavar="FRAMES",
        help="only these frames of the clip, counted from 0, such as 12, 10-20 or 3,10-20; for a video one range",
    )
    sub.add_argument(
        "--shot",
        action="append",
        metavar="NAME",
        help="only this shot: all of it, or its middle frame in a .png; several times for several",
    )
    sub.add_argument("--plan", type=Path, metavar="TOML", help="show what this plan would make of the pictures")
    sub.add_argument(
        "--measurement", type=Path, metavar="CSV", help="what measure wrote: shots, and figures to burn in"
    )
    sub.add_argument(
        "--burn-in",
        action="append",
        type=commands_preview.parse_burn_in,
        metavar="WHAT[,WHAT...]",
        help=f"draw into the picture: {', '.join(BURN_INS)}",
    )
    sub.add_argument(
        "--width",
        type=commands_preview.parse_width,
        metavar="N",
        help="pixels of one eye's picture at most; nothing is enlarged "
        f"(default: {commands_preview.WIDTH_PX}, {commands_preview.CELL_PX} in a contact sheet)",
    )
    sub.add_argument("--screen", metavar="NAME", help="show millimetres and limits of this screen too")
    sub.add_argument("--screens", type=Path, metavar="TOML", help="a table of your own screens")


def _screens(sub: argparse.ArgumentParser) -> None:
    sub.add_argument("--screens", type=Path, metavar="TOML", help="show your own screens too")
    _add_rules(sub)


_Command = tuple[
    Callable[[argparse.ArgumentParser], None], Callable[[argparse.Namespace], Outcome], str, str
]  # arguments, call, one line of help, example
_COMMANDS: dict[str, _Command] = {
    "demo": (
        _demo,
        commands.demo,
        "make demo footage with known faults, run the whole job on it, show found against planted",
        "demo demo-out",
    ),
    "measure": (
        _measure,
        commands.measure,
        "measure parallax and differences between the eyes, frame by frame",
        "measure --left reel_left.mov --right reel_right.mov -o measure.csv",
    ),
    "plan": (
        _plan,
        commands_plan.plan,
        "decide convergence and windows for one screen or many; update, compare or explain plans",
        "plan measure.csv --screen cinema-12m -o plan.toml",
    ),
    "render": (
        _render,
        commands.render,
        "write the corrected pictures that a plan asks for",
        "render --left reel_left.mov --right reel_right.mov --plan plan.toml -o cinema",
    ),
    "check": (
        _check,
        commands.check,
        "measure finished pictures against a screen's limits; nothing is changed",
        "check --left cinema/left/reel_left.mov --right cinema/right/reel_right.mov --screen cinema-12m",
    ),
    "preview": (
        _preview,
        commands_preview.preview,
        "show both eyes, or what a plan makes of them, as a video, stills or a contact sheet to look at",
        "preview --left reel_left.mov --right reel_right.mov --plan plan.toml -o look.mp4 --burn-in timecode,grid",
    ),
    "report": (_report, commands.report, "write the review page of a finished run again", "report out"),
    "run": (
        _run,
        commands.run,
        "do all of it: measure once, then plan, render, re-measure and report for each screen",
        "run --left reel_left.mov --right reel_right.mov --screen cinema-12m --screen tv-55in -o out",
    ),
    "screens": (
        _screens,
        commands.screens,
        "list the screens and their limits in mm, % and arcmin",
        "screens",
    ),
}

if __name__ == "__main__":
    sys.exit(main())
