"""The plan command: new plans for one screen or many, a plan brought up to date, two compared, a shot explained."""

from __future__ import annotations

import argparse
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import asdict, replace
from pathlib import Path
from typing import Any

from postfix import summary_plan
from postfix.commands import (
    Outcome,
    chosen_rules,
    chosen_screens,
    input_files,
    job_settings,
    known_screens,
    limits_code,
    settings_files,
    source_choice,
    would_write,
)
from postfix.errors import InputError, UsageError
from postfix.job.checksums import source_files
from postfix.job.measured import footage_of, write_text
from postfix.job.subjects import found_pins, found_plan, unfound
from postfix.job.version import Output, check_writing, require_same_table
from postfix.limits import limits_for
from postfix.measure.columns import Columns
from postfix.measure.columns_csv import read_columns
from postfix.plan.cameras import cameras_in, with_cameras
from postfix.plan.clip import Decided, plan_edit
from postfix.plan.diff import plan_differences
from postfix.plan.edit import edit_of
from postfix.plan.file import plan_text, read_plan
from postfix.plan.fits import fits_of
from postfix.plan.footage import require_same_footage
from postfix.plan.locked import keep_locked, locked_only
from postfix.plan.model import Pin, Plan
from postfix.plan.screens import is_measures, read_screen
from postfix.plan.settings import PlanSettings
from postfix.plan.update import hand_limits, update_text
from postfix.plan.why import why
from postfix.source.pair import PairSource
from postfix.source.shots import Shot
from postfix.story.clip import story_of_plan
from postfix.summary_story import add_story, planned_story_text
from postfix.terminal import Block, Gap, Whole, blocks, line
from postfix.viewing import Screen

PLAN_FILE = "plan.toml"


def plan(options: argparse.Namespace) -> Outcome:
    """Decide plans from a table, or work on plans that are there."""
    if options.diff is not None:
        return _compared(options)
    if options.measurement is None:
        raise UsageError("plan", "no measurement", "what measure wrote", "type plan measure.csv …")
    return _made_new(options) if options.update is None else _updated(options)


_BESIDE_DIFF = {
    "measurement": "a measurement", "output": "-o", "screen": "--screen", "screens": "--screens",
    "settings": "--settings", "comfort": "--comfort", "children": "--children", "fill": "--fill", "why": "--why",
    "subpixel": "--subpixel", "align": "--align", "left": "--left", "right": "--right", "pair": "--pair",
    "camera": "--camera",
}  # fmt: skip
"""What would be passed over without a word where two plans are compared."""


def _compared(options: argparse.Namespace) -> Outcome:
    beside = [words for name, words in _BESIDE_DIFF.items() if getattr(options, name)]
    if beside:
        raise UsageError("--diff", f"{', '.join(beside)} beside it", "two plans and nothing else", "leave that out")
    first, second = options.diff
    differences = plan_differences(read_plan(first), read_plan(second))
    text = summary_plan.differences_text(differences) or [line("the plans are the same")]
    return Outcome(text, {"differences": [asdict(one) for one in differences]})


def _made_new(options: argparse.Namespace) -> Outcome:
    screens = chosen_screens(options)
    if options.output is None and options.why is None:
        raise UsageError("-o", "nothing", "where the plan goes", "add -o plan.toml")
    columns = read_columns(options.measurement)
    wanted, cameras = settings_files(options), cameras_in(options.camera)
    cameras.require_fit(columns.count, columns.shots)
    each = {screen.name: chosen_rules(options, wanted.for_screen(screen.name)) for screen in screens}
    for screen in screens:
        limits_for(screen, each[screen.name].limits)
    outputs = {} if options.output is None else _outputs(options.output, screens)
    job = job_settings(options)
    pair = _source(options, columns)
    pairs = () if pair is None else (pair,)
    inputs = input_files(options, options.measurement, options.camera)
    check_writing(pairs, [Output(path) for path in outputs.values()], job, inputs)
    pins = _looked_for(wanted.pins, pair, columns, options.measurement)
    edit, decided = edit_of(columns), []
    for screen in screens:
        earlier = keep_locked(outputs[screen.name]) if outputs and job.force else None
        kept = None if earlier is None else locked_only(earlier)
        made = plan_edit(edit, screen, each[screen.name], pins=pins, previous=kept)
        decided.append(replace(made, plan=with_cameras(made.plan, cameras)))
    # What is said may refuse the shot that --why names; nothing is written before.
    said = _said(options, decided, list(outputs.values()))
    if options.dry_run and outputs:
        return _would_write(outputs.values(), said if options.why is not None else Outcome())
    for name, path in outputs.items():
        decision = next(one.plan for one in decided if one.plan.screen.name == name)
        write_text(path, plan_text(decision), force=job.force)
    return said


def _would_write(paths: Iterable[Path], said: Outcome, **more: Any) -> Outcome:
    """What --dry-run says, after what was asked for besides."""
    last = would_write(paths)
    data = {name: value for name, value in said.data.items() if name != "written"}
    return Outcome([*blocks(said.text), *blocks(last.text)], {**data, **last.data, **more})


def _outputs(output: Path, screens: Sequence[Screen]) -> dict[str, Path]:
    """The plan file of each screen: the output itself for one, a folder for each inside it for many."""
    if len(screens) == 1:
        return {screens[0].name: output}
    return {screen.name: output / screen.name / PLAN_FILE for screen in screens}


def _source(options: argparse.Namespace, columns: Columns) -> PairSource | None:
    """The footage, where it was given too: only subjects that are pinned need it."""
    if options.left is None and options.right is None and options.pair is None:
        return None
    pair, _ = source_choice(options).open()
    try:
        require_same_table(columns.clip, columns.count, options.measurement, pair)
    except InputError as error:
        raise InputError(error.where, error.found, error.expected, _OTHER_FOOTAGE) from None
    return pair


_OTHER_FOOTAGE = "give the very files, frames, order and offset of the eyes that were measured, or measure these"


def _looked_for(pins: Sequence[Pin], pair: PairSource | None, columns: Columns, measurement: Path) -> tuple[Pin, ...]:
    wanted = [pin.where for pin in pins if pin.subject is not None]
    if not wanted:
        return tuple(pins)
    return found_pins(_to_look_at(pair, columns, measurement, wanted[0]), pins)


def _to_look_at(pair: PairSource | None, columns: Columns, measurement: Path, where: str) -> PairSource:
    """The footage in which a subject is looked for, which ``where`` names: the very frames that were measured."""
    if pair is None:
        raise InputError(
            where, "a subject, and no footage to look at", "the footage that was measured", "add --left and --right"
        )
    if columns.clip.footage:
        given = footage_of(source_files(pair))
        if given != columns.clip.footage:
            raise InputError(
                measurement,
                f"a measurement of footage with the mark {columns.clip.footage}",
                f"one of the footage given, whose mark is {given}",
                _OTHER_FOOTAGE,
            )
    return pair


def _said(options: argparse.Namespace, decided: Sequence[Decided], written: Sequence[Path]) -> Outcome:
    fits = [fits_of(one) for one in decided]
    text: list[Block] = []
    # A reel has thousands of shots; what nobody asked for is not gathered.
    data = [summary_plan.plan_data(one, fit) for one, fit in zip(decided, fits)] if options.json else []
    told = decided if options.json or options.why is None else []
    stories = [story_of_plan(one.edit.columns, one.plan, [shot.arrays for shot in one.edit.shots]) for one in told]
    for entry, story in zip(data, stories):
        add_story(entry, story)
    if options.why is not None:
        found = [_why(one, options.why) for one in decided]
        for number, (one, made) in enumerate(zip(found, decided)):
            text += [*([Gap()] if number else []), *summary_plan.why_text(one, made.plan)]
        for entry, one in zip(data, found):
            entry["why"] = summary_plan.why_data(one)
    else:
        if len(decided) == 1:
            text += summary_plan.reasons_text(decided[0].plan)
        text += summary_plan.fits_text(fits)
    for made, fit in zip(decided, fits):
        text += summary_plan.outside_text(made, fit, options.why)
    if options.why is None:
        for story, made in zip(stories, decided):
            text += planned_story_text(made.plan.screen.name, story)
    text += [Whole(f"written: {path}") for path in written if not options.dry_run]
    all_data: dict[str, Any] = {"written": [str(path) for path in written], "plans": data}
    if len(data) == 1:
        all_data["shots"] = data[0]["shots"]
    flagged = any(flags for one in decided for flags in one.flags.values())
    return Outcome(text, all_data, limits_code(flagged))


def _why(decided: Decided, name: str) -> Any:
    try:
        return why(decided, name)
    except KeyError:
        names = [shot.name for shot in decided.plan.shots]
        some = ", ".join(names[:8]) + (" …" if len(names) > 8 else "")
        raise UsageError("--why", f"no shot {name!r}", f"one of {some}", "correct the name") from None


def _updated(options: argparse.Namespace) -> Outcome:
    """Plan again around what a person decided in a plan."""
    path: Path = options.update
    output = path if options.output is None else options.output
    old = read_plan(path)
    if options.screen and [screen.name for screen in chosen_screens(options)] != [old.screen.name]:
        raise UsageError("--screen", ", ".join(options.screen), f"{old.screen.name}, as in {path}", "leave it out")
    columns = read_columns(options.measurement)
    require_same_footage(old, columns.clip, columns.count, options.measurement, path)
    wanted, cameras = settings_files(options), cameras_in(options.camera)
    cameras.require_fit(columns.count, old.shots)
    settings = old.settings if options.settings is None else wanted.for_screen(old.screen.name)
    settings = chosen_rules(options, settings)
    screen = _own_eyes(options, old, settings)
    limits = hand_limits(old, limits_for(screen, settings.limits), path)
    job = job_settings(options)
    pair = _source(options, columns)
    others = [options.measurement] if output == path else [options.measurement, path]
    force = replace(job, force=True) if output == path else job
    pairs = () if pair is None else (pair,)
    check_writing(pairs, [Output(output)], force, input_files(options, *others, options.camera))
    missing = unfound(old, str(path))
    if missing:
        old = found_plan(_to_look_at(pair, columns, options.measurement, missing[0]), old, str(path))
    pins = _looked_for(wanted.pins, pair, columns, options.measurement)
    edit = edit_of(columns, tuple(Shot(shot.name, shot.first, shot.last) for shot in old.shots))
    decided = plan_edit(edit, screen, settings, limits=limits, pins=pins, previous=old)
    decided = replace(decided, plan=with_cameras(decided.plan, cameras, old))
    changes = plan_differences(old, decided.plan)
    text = update_text(path.read_bytes().decode("utf-8"), old, decided.plan, path)
    said = _said(options, [decided], [output])
    told = summary_plan.differences_text(changes) or [line("nothing changes")]
    parts = [*told, *summary_plan.kept_text(decided.plan, columns)]
    if options.why is not None:
        parts += blocks(said.text)
    else:
        parts += summary_plan.all_flags_text(decided)
        parts += [] if options.dry_run else [Whole(f"written: {output}")]
    whole = Outcome(parts, {**said.data, "changes": _plain(changes)}, said.exit_code)
    if options.dry_run:
        return _would_write([output], whole)
    write_text(output, text, force=force.force)
    return whole


def _own_eyes(options: argparse.Namespace, old: Plan, settings: PlanSettings) -> Screen:
    """The earlier plan's screen; where its eyes were a wish that is none any more, with the eyes that it had before."""
    if old.settings.limits.eye_mm is None or settings.limits.eye_mm is not None:
        return old.screen
    known = {screen.name: screen for screen in known_screens(options)}.get(old.screen.name)
    if known is None and is_measures(old.screen.name):
        known = read_screen(old.screen.name)
    if known is None or (known.width_mm, known.distance_mm) != (old.screen.width_mm, old.screen.distance_mm):
        raise UsageError(
            "--settings",
            f"no eye_mm for {old.screen.name}, whose plan was made for eyes {old.screen.eye_mm:g} mm apart as asked",
            "how far apart the eyes are now",
            "add eye_mm under [limits] there, or name the table of that screen with --screens",
        )
    return replace(old.screen, eye_mm=known.eye_mm)


def _plain(differences: Sequence[Any]) -> list[Mapping[str, Any]]:
    return [asdict(one) for one in differences]
