"""What can be typed: commands, their options, and the call that each command is."""

from __future__ import annotations

import argparse
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

from postfix import commands, commands_plan, commands_preview, commands_run, commands_shoot
from postfix.camera import RIGS
from postfix.commands import Outcome
from postfix.errors import UsageError
from postfix.options import (
    add_camera,
    add_cluster,
    add_common,
    add_delivery,
    add_drawing,
    add_effort,
    add_every,
    add_fill,
    add_no_check,
    add_output,
    add_rules,
    add_screens,
    add_source,
)
from postfix.printing import print_whole
from postfix.review.preview import BURN_INS
from postfix.review.views import VIEWS
from postfix.versions import version_text

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
        add_common(sub)
        sub.set_defaults(command=command)
    return whole


def _demo(sub: argparse.ArgumentParser) -> None:
    sub.add_argument("output", type=Path, metavar="OUT", help="a new folder")
    add_effort(sub)


def _measure(sub: argparse.ArgumentParser) -> None:
    add_source(sub)
    add_every(sub)
    add_output(sub, "the measurement table, a .csv file")
    add_effort(sub)
    add_cluster(sub)


def _plan(sub: argparse.ArgumentParser) -> None:
    sub.add_argument("measurement", type=Path, nargs="?", metavar="measure.csv", help="what measure wrote")
    add_screens(sub, many=True)
    add_rules(sub)
    add_camera(sub)
    add_fill(sub)
    add_drawing(sub)
    add_output(sub, "the plan, a .toml file; for several screens a folder", required=False)
    way = sub.add_mutually_exclusive_group()
    way.add_argument(
        "--update", type=Path, metavar="PLAN", help="plan this one again around what you locked, pinned or edited in it"
    )
    way.add_argument("--diff", type=Path, nargs=2, metavar=("A", "B"), help="say what differs between two plans")
    sub.add_argument("--why", metavar="SHOT", help="explain one shot: limits, figures, alternatives and costs, choice")
    add_source(sub)


def _render(sub: argparse.ArgumentParser) -> None:
    add_source(sub)
    sub.add_argument("--plan", type=Path, required=True, metavar="TOML", help="what plan wrote, edited or not")
    sub.add_argument(
        "--measurement", type=Path, metavar="CSV", help="the source's table, where it was measured already"
    )
    add_delivery(sub)
    add_output(sub, "a new folder for the pictures and the change log")
    add_no_check(sub)
    add_effort(sub)
    add_cluster(sub)


def _check(sub: argparse.ArgumentParser) -> None:
    add_source(sub)
    add_every(sub)
    add_screens(sub, many=False)
    add_rules(sub)
    add_camera(sub)
    add_effort(sub)
    add_cluster(sub)


def _report(sub: argparse.ArgumentParser) -> None:
    sub.add_argument("output", type=Path, metavar="OUT", help="the folder that run or render wrote")


def _run(sub: argparse.ArgumentParser) -> None:
    add_source(sub)
    sub.add_argument("--job", type=Path, metavar="TOML", help="many clips at once, instead of --left and --right")
    add_screens(sub, many=True)
    add_rules(sub)
    add_camera(sub)
    add_fill(sub)
    add_drawing(sub)
    add_delivery(sub)
    add_output(sub, "a folder for everything")
    add_no_check(sub)
    add_effort(sub)
    add_cluster(sub)


def _preview(sub: argparse.ArgumentParser) -> None:
    add_source(sub)
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
    add_effort(sub)


def _screens(sub: argparse.ArgumentParser) -> None:
    sub.add_argument("--screens", type=Path, metavar="TOML", help="show your own screens too")
    add_rules(sub)


def _shoot(sub: argparse.ArgumentParser) -> None:
    group = sub.add_argument_group(
        "camera",
        "Lengths may have their unit: 65mm, 6.5cm, 2.5in, 3m, 10ft. --near or --interaxial is needed, the rest "
        "may be left out: what can be said is.",
    )
    for option, metavar, what in (
        ("--interaxial", "MM", "from the middle of one lens to that of the other; left out: the one to use is told"),
        ("--focal", "MM", "focal length"),
        ("--sensor", "MM", "width of the sensor that fills the picture"),
        ("--sensor-height", "MM", "its height (default: as in a 16:9 picture)"),
        ("--near", "M", "distance of the nearest thing that will be in the picture"),
        ("--far", "M", "distance of the farthest thing; inf where that is the sky"),
        ("--converge", "M", "distance of what will be at the screen, or inf; left out: the best one is proposed"),
        ("--focus", "M", "distance that the lens is focused on, or inf; left out: the lens counts as focused far away"),
        ("--height", "M", "height of the lenses above the ground"),
    ):
        group.add_argument(option, metavar=metavar, help=f"{what} (a plain number: {_PLAIN_WORDS[metavar]})")
    group.add_argument("--tilt", metavar="DEG", help="degrees by which the cameras look down; needs --height")
    group.add_argument(
        "--rig", choices=RIGS, default=RIGS[0], help=f"how the cameras stand to each other (default: {RIGS[0]})"
    )
    add_screens(sub, many=True)
    add_rules(sub)


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
