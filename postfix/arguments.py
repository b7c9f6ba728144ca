"""What can be typed: commands, their options, and the call that each command is."""

from __future__ import annotations

import argparse
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any, get_args

from postfix import commands, commands_plan, commands_preview, commands_run, commands_shoot
from postfix.camera import RIGS
from postfix.commands import Outcome
from postfix.deliver.codecs import CODECS
from postfix.effort import MOST_WORKERS, Effort, bytes_in, usual
from postfix.errors import UsageError
from postfix.limits import Comfort
from postfix.plan.settings import FILLS, SUBPIXEL
from postfix.printing import print_whole
from postfix.review.preview import BURN_INS
from postfix.review.views import VIEWS
from postfix.source.layout import LAYOUTS, PACKED
from postfix.source.picture import ON_BAD
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
            print_whole(message.rstrip("\n"))
        else:
            super()._print_message(message, file)


def parser() -> argparse.ArgumentParser:
    """The whole command line: each command's call is its ``command``."""
    whole = _Parser(
        prog=PROGRAM,
        description="Measure, re-converge, window and check stereoscopic film for each screen it will be shown on.",
        epilog=f"Begin with: {PROGRAM} demo demo-out",
    )
    whole.add_argument("--version", action="version", version=version_text())
    adder = whole.add_subparsers(dest="name", metavar="COMMAND", required=True, parser_class=_Parser)
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
    return whole


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
    group.add_argument(
        "--on-bad-frame",
        choices=ON_BAD,
        help="at a frame that cannot be decoded: stop (the default); hold, in both eyes, the last one before it of "
        "which both could be; or show black. Shots with such frames are flagged",
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


def _add_camera(sub: argparse.ArgumentParser) -> None:
    sub.add_argument(
        "--camera", type=Path, metavar="TOML", help="how the shots were filmed: interaxial, focal length, distances"
    )


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


def _add_effort(sub: argparse.ArgumentParser) -> None:
    group = sub.add_argument_group("effort", "What is made never depends on it.")
    group.add_argument(
        "--workers", type=_workers, metavar="N", help="frames worked on at the same time (default: the cores)"
    )
    group.add_argument(
        "--memory",
        type=_size,
        metavar="SIZE",
        help="stay within so much, such as 800M, 4G or 2.5GiB; fewer workers and shorter queues where they must be",
    )


def _add_cluster(sub: argparse.ArgumentParser) -> None:
    group = sub.add_argument_group("many processes", "What is written does not depend on it.")
    group.add_argument(
        "--cluster",
        metavar="WHERE",
        help="have the work done by the dask scheduler at tcp://HOST:PORT, or by local:N worker processes of this "
        "machine, each with --workers frames at the same time (default: one) within --memory. A scheduler and its "
        "workers run whatever they are sent: only on a closed network, or with TLS (tls://)",
    )


def asked_effort(options: argparse.Namespace) -> Effort:
    """What the process may use, as typed."""
    workers, memory_bytes = getattr(options, "workers", None), getattr(options, "memory", None)
    return Effort(workers or usual().workers, memory_bytes)


def _workers(text: str) -> int:
    if not (text.isascii() and text.isdigit() and len(text) < 5 and 1 <= int(text) <= MOST_WORKERS):
        raise argparse.ArgumentTypeError(f"{text!r} is no whole number from 1 to {MOST_WORKERS}")
    return int(text)


def _size(text: str) -> int:
    try:
        return bytes_in(text)
    except ValueError as error:
        raise argparse.ArgumentTypeError(str(error)) from None


def _count(text: str) -> int:
    if not (text.isascii() and text.isdigit() and int(text) >= 1):
        raise argparse.ArgumentTypeError(f"{text!r} is no whole number of 1 or more")
    return int(text)


def _demo(sub: argparse.ArgumentParser) -> None:
    sub.add_argument("output", type=Path, metavar="OUT", help="a new folder")
    _add_effort(sub)


def _measure(sub: argparse.ArgumentParser) -> None:
    _add_source(sub)
    _add_every(sub)
    _add_output(sub, "the measurement table, a .csv file")
    _add_effort(sub)
    _add_cluster(sub)


def _plan(sub: argparse.ArgumentParser) -> None:
    sub.add_argument("measurement", type=Path, nargs="?", metavar="measure.csv", help="what measure wrote")
    _add_screens(sub, many=True)
    _add_rules(sub)
    _add_camera(sub)
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
    _add_effort(sub)
    _add_cluster(sub)


def _check(sub: argparse.ArgumentParser) -> None:
    _add_source(sub)
    _add_every(sub)
    _add_screens(sub, many=False)
    _add_rules(sub)
    _add_camera(sub)
    _add_effort(sub)
    _add_cluster(sub)


def _report(sub: argparse.ArgumentParser) -> None:
    sub.add_argument("output", type=Path, metavar="OUT", help="the folder that run or render wrote")


def _run(sub: argparse.ArgumentParser) -> None:
    _add_source(sub)
    sub.add_argument("--job", type=Path, metavar="TOML", help="many clips at once, instead of --left and --right")
    _add_screens(sub, many=True)
    _add_rules(sub)
    _add_camera(sub)
    _add_fill(sub)
    _add_drawing(sub)
    _add_delivery(sub)
    _add_output(sub, "a folder for everything")
    _add_no_check(sub)
    _add_effort(sub)
    _add_cluster(sub)


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
    _add_effort(sub)


def _screens(sub: argparse.ArgumentParser) -> None:
    sub.add_argument("--screens", type=Path, metavar="TOML", help="show your own screens too")
    _add_rules(sub)


def _shoot(sub: argparse.ArgumentParser) -> None:
    group = sub.add_argument_group(
        "camera",
        "Lengths may have their unit: 65mm, 6.5cm, 2.5in, 3m, 10ft. Each may be left out: what can be said is.",
    )
    for option, metavar, what in (
        ("--interaxial", "MM", "from the middle of one lens to that of the other; left out: the one to use is told"),
        ("--focal", "MM", "focal length"),
        ("--sensor", "MM", "width of the sensor that fills the picture"),
        ("--sensor-height", "MM", "its height (default: as in a 16:9 picture)"),
        ("--near", "M", "distance of the nearest thing that will be in the picture"),
        ("--far", "M", "distance of the farthest thing; inf where that is the sky"),
        ("--converge", "M", "distance of what will be at the screen; left out: the best one is proposed"),
        ("--height", "M", "height of the lenses above the ground"),
    ):
        group.add_argument(option, metavar=metavar, help=f"{what} (a plain number: {_PLAIN_WORDS[metavar]})")
    group.add_argument("--tilt", metavar="DEG", help="degrees by which the cameras look down; needs --height")
    group.add_argument(
        "--rig", choices=RIGS, default=RIGS[0], help=f"how the cameras stand to each other (default: {RIGS[0]})"
    )
    _add_screens(sub, many=True)
    _add_rules(sub)


_PLAIN_WORDS = {"MM": "millimetres", "M": "metres"}

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
        commands_run.run,
        "do all of it: measure once, then plan, render, re-measure and report for each screen",
        "run --left reel_left.mov --right reel_right.mov --screen cinema-12m --screen tv-55in -o out",
    ),
    "shoot": (
        _shoot,
        commands_shoot.shoot,
        "say before anything is shot what a camera will give on each screen, and what would fit",
        "shoot --interaxial 30 --focal 28 --sensor 24.89 --near 2 --far 30 --screen cinema-12m --screen tv-55in",
    ),
    "screens": (
        _screens,
        commands.screens,
        "list the screens and their limits in mm, % and arcmin",
        "screens",
    ),
}
