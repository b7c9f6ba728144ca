"""The preview command: a video, a picture, a contact sheet or stills that show a pair, or what a plan makes of it."""

from __future__ import annotations

import argparse
import logging
import os
import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise
from pathlib import Path
from threading import Lock
from typing import Any

from postfix.commands import Outcome, input_files, job_settings, screen_tables, source_choice, would_write
from postfix.deliver.staging import check_output, staged
from postfix.errors import InputError, UsageError
from postfix.job.checksums import source_files
from postfix.job.measured import footage_of
from postfix.job.memory import settle_for
from postfix.job.progress import bar
from postfix.job.version import require_same_clip, require_same_table
from postfix.limits import Limits, limits_for
from postfix.measure.table import MeasurementTable
from postfix.measure.table_csv import read_table
from postfix.plan.file import read_plan
from postfix.plan.model import Plan
from postfix.plan.screens import read_screen
from postfix.review.burn_in import text_px
from postfix.review.preview import BURN_INS, BurnIn, Preview
from postfix.review.preview_figures import frame_figures, longest_lines
from postfix.review.preview_files import (
    MOST_SHEET_PX,
    sheet_layout,
    write_picture,
    write_preview_video,
    write_sheet,
    write_stills,
)
from postfix.review.preview_frames import Form, Kind, Ranges, Wanted, chosen_frames
from postfix.review.preview_video import LARGEST_PX, SMALLEST_PX, is_too_large, sound_for
from postfix.review.shown import matrix_is_guessed, shown_size
from postfix.review.views import view_size
from postfix.review.words import count_text
from postfix.source.pair import PairSource
from postfix.source.shots import EditList, Shot
from postfix.source.video import VideoSource
from postfix.terminal import Block, Whole, line
from postfix.viewing import Screen

log = logging.getLogger("postfix")

WIDTH_PX, CELL_PX, SMALL_CELL_PX = 1280, 480, 240
"""How wide an eye's picture is unless asked otherwise: alone, in a contact sheet, and in one of many shots."""

_MANY_CELLS = 160
LEAST_WIDTH_PX = 16

_RANGE = re.compile(r"([0-9]{1,9})(?:-([0-9]{1,9}))?")

_UNITS = {"video": "a video", "picture": "one picture", "sheet": "a contact sheet", "stills": "a folder of stills"}


@dataclass(frozen=True)
class _Given:
    """What was read besides the footage."""

    plan: Plan | None
    table: MeasurementTable | None
    screen: Screen | None
    limits: Limits | None


def parse_at(text: str) -> Ranges:
    """Frames typed as ``12``, ``10-20`` or ``12,40-44,96``, each as first and last."""
    found = []
    for part in text.split(","):
        typed = _RANGE.fullmatch(part.strip())
        first, last = (0, -1) if typed is None else (int(typed[1]), int(typed[2] or typed[1]))
        if first > last:
            raise argparse.ArgumentTypeError(
                f"{text!r} is no frame number or range of frames, nor several with commas between, such as 3,10-20"
            )
        found.append((first, last))
    ordered = sorted(found)
    if any(before[1] >= after[0] for before, after in pairwise(ordered)):
        raise argparse.ArgumentTypeError(f"{text!r} names a frame twice")
    return tuple(found)


def parse_burn_in(text: str) -> tuple[BurnIn, ...]:
    """Words typed as ``timecode,grid``."""
    words = [part.strip() for part in text.split(",")]
    unknown = [word for word in words if word not in BURN_INS]
    if unknown:
        raise argparse.ArgumentTypeError(f"{unknown[0]!r} is none of {', '.join(BURN_INS)}")
    return tuple(word for word in BURN_INS if word in words)


def parse_width(text: str) -> int:
    """Pixels."""
    if not (text.isascii() and text.isdigit() and len(text) < 6 and int(text) >= LEAST_WIDTH_PX):
        raise argparse.ArgumentTypeError(f"{text!r} is no number of pixels from {LEAST_WIDTH_PX} to 99999")
    return int(text)


def preview(options: argparse.Namespace) -> Outcome:
    """Write a preview."""
    path, kind = _destination(options.output)
    wanted = _wanted(options)
    burn_in = frozenset(word for words in options.burn_in or () for word in words)
    given = _read(options, burn_in)
    choice = source_choice(options)
    pair, cuts = choice.open()
    settings = job_settings(options)
    eyes = (pair.left, pair.right)
    inputs = input_files(options, options.plan, options.measurement)
    check_output(path, eyes, folder=kind == "stills", inputs=inputs, force=settings.force)
    _require_same_clip(options, given, pair)
    shots = _shots(options, given, cuts)
    _require_shots(options, kind, wanted, burn_in, shots)
    settle_for([pair])
    form, frames = chosen_frames(kind, wanted, pair.count, shots)
    shown, cell_px = _shown(options, given, pair, shots, burn_in, form, len(frames))
    _require_same_frames(options, given, pair, quiet=settings.quiet)
    sound = _sound(pair, frames) if form == "video" else None
    if shown.view != "depth" and matrix_is_guessed(pair):
        log.info("%s: no matrix named: BT.709 taken", pair.left.path)
    if options.dry_run:
        return would_write([path])
    looked_at = shown.frames_for_span
    if looked_at:
        with bar("depth colours", len(looked_at), quiet=settings.quiet) as progress:
            shown = shown.with_span(progress)
    shown = shown.with_span()
    with (
        staged(path, folder=form == "stills", force=settings.force) as work,
        bar("preview", len(frames), quiet=settings.quiet) as progress,
    ):
        width, height = _write(form, work, shown, cell_px, frames, sound, progress)
    cells = f", cells of {cell_px[0]}x{cell_px[1]}" if form == "sheet" else ""
    text: list[Block] = [
        Whole(f"written: {path}"),
        line(f"{_UNITS[form]} of {count_text(len(frames), 'frame')}, {shown.view}, {width}x{height}{cells}", indent=2),
    ]
    data: dict[str, Any] = {
        "written": [str(path)],
        "form": form,
        "view": shown.view,
        "frames": len(frames),
        "width_px": width,
        "height_px": height,
        "cell_width_px": cell_px[0] if form == "sheet" else None,
        "cell_height_px": cell_px[1] if form == "sheet" else None,
        "burn_in": [word for word in BURN_INS if word in burn_in],
        "screen": None if shown.screen is None else shown.screen.name,
        "planned": given.plan is not None,
        "sound": sound is not None,
    }
    return Outcome(text, data)


def _destination(text: str) -> tuple[Path, Kind]:
    """Where the preview goes, and what that name asks for."""
    path = Path(text)
    if path.name in ("", ".."):
        raise UsageError(f"-o '{text}'", "no name of a file or folder", "one that can be made", "give it a name")
    is_folder = text.endswith(tuple(filter(None, (os.sep, os.altsep))))
    suffix = "" if is_folder else path.suffix.lower()
    if not (is_folder or suffix) and path.name.startswith("."):
        raise UsageError(
            f"-o {text}",
            "a name that begins with a dot",
            "a name before the suffix, as in look.mp4",
            "give it one, or a slash at its end where a hidden folder is meant",
        )
    if suffix == ".mp4":
        return path, "video"
    if suffix == ".png":
        return path, "png"
    if suffix:
        raise UsageError(
            f"-o {text}",
            f"'{suffix}'",
            ".mp4 for a video, .png for a picture or a contact sheet, or a folder (a name without suffix, or with a "
            "slash at its end)",
            "give one of these",
        )
    return path, "stills"


def _wanted(options: argparse.Namespace) -> Wanted:
    """Which frames were asked for."""
    if options.at is not None and options.shot:
        raise UsageError("--at", "--shot beside it", "one of them", "leave one of them out")
    return Wanted(options.at, tuple(options.shot or ()))


def _read(options: argparse.Namespace, burn_in: frozenset[BurnIn]) -> _Given:
    """Read plan, measurement and screen, and refuse what does not go together before any footage is opened."""
    if "figures" in burn_in and options.measurement is None:
        raise UsageError(
            "--burn-in figures",
            "no measurement",
            "what measure wrote for this footage",
            "add --measurement measure.csv",
        )
    if options.screens is not None and options.screen is None:
        raise UsageError("--screens", "no --screen", "the name of a screen in that table", "add --screen NAME")
    plan = None if options.plan is None else read_plan(options.plan)
    screen = None if options.screen is None else read_screen(options.screen, screen_tables(options))
    if plan is not None:
        if screen is not None and screen.name != plan.screen.name:
            raise UsageError(
                "--screen", screen.name, f"{plan.screen.name}, for which {options.plan} is", "leave --screen out"
            )
        screen = plan.screen
    if options.screen is not None and "figures" not in burn_in and options.view != "depth":
        log.info("--screen shows in --burn-in figures and in --view depth alone")
    table = None if options.measurement is None else read_table(options.measurement)
    limits = plan.limits if plan is not None else None if screen is None else limits_for(screen)
    return _Given(plan, table, screen, limits)


def _require_same_clip(options: argparse.Namespace, given: _Given, pair: PairSource) -> None:
    """Refuse a plan or a measurement of other footage, as far as that can be seen at once."""
    try:
        if given.plan is not None:
            require_same_clip(given.plan, pair, plan_path=options.plan)
        if given.table is not None:
            require_same_table(given.table.clip, len(given.table.frames), options.measurement, pair)
    except InputError as error:
        if options.frames is not None:
            error.next_step += "; a part of what was planned or measured is chosen by --at or --shot, not by --frames"
        raise


def _require_same_frames(options: argparse.Namespace, given: _Given, pair: PairSource, *, quiet: bool) -> None:
    """Refuse a plan or a measurement of other frames, for which all of the footage is read."""
    marked = (given.plan is not None and given.plan.clip.footage) or (
        given.table is not None and given.table.clip.footage
    )
    if not marked:
        return
    paths = {path for eye in (pair.left, pair.right) for path in eye.files()}
    size_mb = max(1, round(sum(path.stat().st_size for path in paths) / 1e6))
    with bar("reading footage", size_mb, quiet=quiet, unit="MB") as progress:
        sources = source_files(pair, _in_megabytes(progress))
    if given.plan is not None:
        require_same_clip(given.plan, pair, sources, options.plan)
    if given.table is not None and given.table.clip.footage not in ("", footage_of(sources)):
        raise InputError(
            options.measurement,
            f"a measurement of footage with the mark {given.table.clip.footage}",
            f"one of the footage given, whose mark is {footage_of(sources)}",
            "give the very files, frames, order and offset of the eyes that were measured, or measure these",
        )


def _in_megabytes(progress: Callable[[int], object]) -> Callable[[int], None]:
    """Moves a bar on by whole megabytes, from bytes that several threads tell of."""
    lock, read, told = Lock(), 0, 0

    def move_on(count: int) -> None:
        nonlocal read, told
        with lock:
            read += count
            whole = round(read / 1e6)
            progress(whole - told)
            told = whole

    return move_on


def _shots(options: argparse.Namespace, given: _Given, cuts: EditList | None) -> tuple[Shot, ...]:
    """Where the shots are, as far as anything that was given says so: plan, list or --one-shot, measurement."""
    if given.plan is not None:
        if cuts is not None:
            typed = "--one-shot" if options.one_shot else "--edit"
            log.info("%s: not looked at; the shots are those of %s", typed, options.plan)
        return tuple(Shot(shot.name, shot.first, shot.last) for shot in given.plan.shots)
    if cuts is not None:
        return cuts.shots
    return () if given.table is None else given.table.shots


def _require_shots(
    options: argparse.Namespace, kind: Kind, wanted: Wanted, burn_in: frozenset[BurnIn], shots: tuple[Shot, ...]
) -> None:
    if shots:
        return
    where = "--plan, --measurement, --edit or --one-shot"
    if wanted.names:
        raise UsageError("--shot", "nothing that says where the shots are", "one that does", f"add {where}")
    if "shot" in burn_in:
        raise UsageError("--burn-in shot", "nothing that says where the shots are", "one that does", f"add {where}")
    if kind == "png" and not wanted.any:
        raise UsageError(
            f"-o {options.output}",
            "nothing that says where the shots are",
            "shots, or frames, for the contact sheet",
            f"add {where}, or name frames with --at",
        )


def _shown(
    options: argparse.Namespace,
    given: _Given,
    pair: PairSource,
    shots: tuple[Shot, ...],
    burn_in: frozenset[BurnIn],
    form: Form,
    count: int,
) -> tuple[Preview, tuple[int, int]]:
    """What is drawn, and the size of one picture of it as it is written; all that can be refused of it is."""
    most = options.width or (WIDTH_PX if form != "sheet" else CELL_PX if count <= _MANY_CELLS else SMALL_CELL_PX)
    video = form == "video"
    fmt = pair.format
    eye_px = shown_size((fmt.width, fmt.height), pair.pixel_aspect, most, even=video)
    if video and min(eye_px) < SMALLEST_PX:
        raise InputError(
            pair.left.path, f"pictures of {fmt.width}x{fmt.height}", "something to see", "write a .png instead"
        )
    figures = None if given.table is None else frame_figures(given.table, given.plan)
    shown = Preview(pair, options.view, eye_px, given.plan, shots, figures, burn_in, given.screen, given.limits)
    size_px = view_size(shown.view, eye_px) if form == "sheet" else shown.size_px
    if video and is_too_large(size_px):
        raise UsageError(
            f"--width {most}",
            f"a video of {size_px[0]}x{size_px[1]}",
            f"no more than {LARGEST_PX[0]}x{LARGEST_PX[1]}, which players open",
            "give a smaller --width",
        )
    if form == "sheet":
        _, wide, tall = sheet_layout(count, size_px)
        if wide * tall > MOST_SHEET_PX:
            raise UsageError(
                f"-o {options.output}",
                f"{count} pictures of {size_px[0]}x{size_px[1]} on one sheet",
                "less than viewers can open",
                "give a smaller --width, fewer frames with --at or --shot, or a folder in place of the .png",
            )
    return _lettered(shown), size_px


def _lettered(shown: Preview) -> Preview:
    if not shown.burn_in - {"grid"}:
        return shown
    last = shown.time_text(shown.pair.count - 1) if "timecode" in shown.burn_in else ""
    name = "shot" if "shot" in shown.burn_in else ""
    figures = shown.figures if "figures" in shown.burn_in else None
    wanted = longest_lines(last, name, figures, limits=shown.limits is not None, screen=shown.screen is not None)
    letters = text_px(shown.eye_px, wanted)
    if not letters:
        raise _too_small("--burn-in", shown, "room for letters that can be read")
    return replace(shown, letters_px=letters)


def _too_small(where: str, shown: Preview, expected: str) -> UsageError:
    """The error of a picture that is too small for something, with what to do about it."""
    width, height = shown.eye_px
    fmt = shown.pair.format
    could_be = shown_size((fmt.width, fmt.height), shown.pair.pixel_aspect, fmt.width)
    step = f"leave {where} out"
    if could_be[0] > width + 1:
        step = f"give a larger --width (up to {could_be[0]}), or {step}"
    return UsageError(where, f"a picture of {width}x{height}", expected, step)


def _sound(pair: PairSource, frames: Sequence[int]) -> VideoSource | None:
    source, why_not = sound_for(pair, frames[0], len(frames))
    if why_not:
        log.info("%s", why_not)
    return source


def _write(
    form: Form,
    work: Path,
    shown: Preview,
    size_px: tuple[int, int],
    frames: Sequence[int],
    sound: VideoSource | None,
    progress: Callable[[int], object],
) -> tuple[int, int]:
    """Write it; width and height of what is written, or of one of its pictures."""
    if form == "sheet":
        planned = "" if shown.plan is None else f"   as planned for {shown.plan.screen.name}"
        return write_sheet(work, shown, frames, size_px, f"{shown.pair.name}   {shown.view}{planned}", progress)
    if form == "video":
        write_preview_video(work, shown, frames, size_px, sound, progress)
    elif form == "picture":
        write_picture(work, shown, frames[0], progress)
    else:
        write_stills(work, shown, frames, progress)
    return size_px
