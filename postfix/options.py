"""Groups of options that several commands share, and how what is typed in them is read."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import get_args

from postfix.deliver.codecs import CODECS
from postfix.effort import MOST_WORKERS, Effort, bytes_in, usual
from postfix.limits import Comfort
from postfix.plan.settings import FILLS, SUBPIXEL
from postfix.source.layout import LAYOUTS, PACKED
from postfix.source.picture import ON_BAD
from postfix.versions import version_text
from postfix.viewing import CHILD_EYE_MM


def add_common(sub: argparse.ArgumentParser) -> None:
    """What every command takes."""
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


def add_source(sub: argparse.ArgumentParser) -> None:
    """The footage, and how it is read."""
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


def add_screens(sub: argparse.ArgumentParser, *, many: bool) -> None:
    """Where it is watched; ``many`` where several may be named."""
    how = "a built-in name, WIDTHxDISTANCE in mm, or a name from --screens"
    if many:
        sub.add_argument("--screen", action="append", metavar="NAME", help=f"{how}; may be given several times")
    else:
        sub.add_argument("--screen", required=True, metavar="NAME", help=how)
    sub.add_argument("--screens", type=Path, metavar="TOML", help="a table of your own screens")


def add_rules(sub: argparse.ArgumentParser) -> None:
    """What limits, weights and windows are asked for."""
    sub.add_argument("--settings", type=Path, metavar="TOML", help="limits, weights, windows and pins of your own")
    sub.add_argument(
        "--comfort",
        choices=get_args(Comfort),
        help="what limits near, far and range besides the eyes: 60 arcmin (the default), percent of width, or the zone "
        "of comfort",
    )
    sub.add_argument("--children", action="store_true", help=f"eyes {CHILD_EYE_MM:g} mm apart")


def add_camera(sub: argparse.ArgumentParser) -> None:
    """How the shots were filmed."""
    sub.add_argument(
        "--camera", type=Path, metavar="TOML", help="how the shots were filmed: interaxial, focal length, distances"
    )


def add_output(sub: argparse.ArgumentParser, what: str, *, required: bool = True) -> None:
    """Where to; ``what`` is said of it."""
    sub.add_argument("-o", "--output", type=Path, required=required, metavar="OUT", help=what)


def add_fill(sub: argparse.ArgumentParser) -> None:
    """What becomes of bare columns."""
    sub.add_argument(
        "--fill", choices=FILLS, help="what becomes of columns laid bare by a move (default: hide, or as in --settings)"
    )


def add_drawing(sub: argparse.ArgumentParser) -> None:
    """How pictures are drawn."""
    sub.add_argument(
        "--subpixel",
        choices=SUBPIXEL,
        help="which HIT is drawn to a fraction of a pixel rather than in whole ones, which are plain copies (default: "
        "eased, that which moves inside a shot)",
    )
    sub.add_argument(
        "--align", action="store_true", help="level the eyes: take out shift in height, turn and size, shot by shot"
    )


def add_delivery(sub: argparse.ArgumentParser) -> None:
    """How finished eyes lie in files, and in what codec."""
    sub.add_argument(
        "--deliver",
        action="append",
        choices=LAYOUTS,
        help="how the finished eyes lie in files; may be given several times (default: as in the source)",
    )
    sub.add_argument("--codec", choices=CODECS, help="what video is written in (default: as in the source)")


def add_no_check(sub: argparse.ArgumentParser) -> None:
    """Leaving out the second measurement."""
    sub.add_argument("--no-check", action="store_true", help="leave out measuring the written files")


def add_every(sub: argparse.ArgumentParser) -> None:
    """A quick look."""
    sub.add_argument(
        "--every",
        type=_count,
        default=1,
        metavar="N",
        help="a quick look: measure every Nth frame only; those between are filled in by straight lines and marked",
    )


def add_effort(sub: argparse.ArgumentParser) -> None:
    """What the process may use."""
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


def add_cluster(sub: argparse.ArgumentParser) -> None:
    """Letting other processes work."""
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
