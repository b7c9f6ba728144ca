"""The plan command: new plans for one screen or many, a plan brought up to date, two compared, a shot explained."""

from __future__ import annotations

import argparse
from collections.abc import Mapping, Sequence
from dataclasses import asdict, replace
from pathlib import Path
from typing import Any

from postfix import summary, summary_plan
from postfix.commands import (
    Outcome,
    chosen_rules,
    chosen_screens,
    input_files,
    job_settings,
    limits_code,
    settings_files,
    source_choice,
    would_write,
)
from postfix.errors import InputError, UsageError
from postfix.job.subjects import found_pins, found_plan
from postfix.job.version import Output, check_writing, require_same_table, write_text
from postfix.limits import limits_for
from postfix.measure.columns import Columns
from postfix.measure.columns_csv import read_columns
from postfix.plan.clip import Decided, plan_edit
from postfix.plan.diff import differences_text, plan_differences
from postfix.plan.edit import edit_of
from postfix.plan.file import plan_text, read_plan
from postfix.plan.fits import fits_of
from postfix.plan.locked import keep_locked, locked_only
from postfix.plan.model import Pin
from postfix.plan.update import hand_limits, require_same_footage, update_text
from postfix.plan.why import why
from postfix.source.pair import PairSource
from postfix.source.shots import Shot
from postfix.viewing import Screen

PLAN_FILE = "plan.toml"


def plan(options: argparse.Namespace) -> Outcome:
    """Decide plans from a table, or work on plans that are there."""
    if options.diff is not None:
        return _compared(options)
    if options.measurement is None:
        raise UsageError("plan", "no measurement", "what measure wrote", "type plan measure.csv …")
    return _made_new(options) if options.update is None else _updated(options)


def _compared(options: argparse.Namespace) -> Outcome:
    first, second = options.diff
    differences = plan_differences(read_plan(first), read_plan(second))
    text = differences_text(differences) or "the plans are the same"
    return Outcome(text, {"differences": [asdict(one) for one in differences]})


def _made_new(options: argparse.Namespace) -> Outcome:
    screens = chosen_screens(options)
    if options.output is None and options.why is None:
        raise UsageError("-o", "nothing", "where the plan goes", "add -o plan.toml")
    columns = read_columns(options.measurement)
    wanted = settings_files(options)
    each = {screen.name: chosen_rules(options, wanted.for_screen(screen.name)) for screen in screens}
    for screen in screens:
        limits_for(screen, each[screen.name].limits)
    outputs = {} if options.output is None else _outputs(options.output, screens)
    job = job_settings(options)
    pair = _source(options, columns)
    pairs = () if pair is None else (pair,)
    check_writing(pairs, [Output(path) for path in outputs.values()], job, input_files(options, options.measurement))
    if options.dry_run and outputs:
        return would_write(outputs.values())
    pins = _looked_for(wanted.pins, pair)
    edit, decided = edit_of(columns), []
    for screen in screens:
        earlier = keep_locked(outputs[screen.name]) if outputs and job.force else None
        kept = None if earlier is None else locked_only(earlier)
        decided.append(plan_edit(edit, screen, each[screen.name], pins=pins, previous=kept))
    for one in decided:
        if outputs:
            write_text(outputs[one.plan.screen.name], plan_text(one.plan), force=job.force)
    return _said(options, decided, list(outputs.values()))


def _outputs(output: Path, screens: Sequence[Screen]) -> dict[str, Path]:
    """The plan file of each screen: the output itself for one, a folder for each inside it for many."""
    if len(screens) == 1:
        return {screens[0].name: output}
    return {screen.name: output / screen.name / PLAN_FILE for screen in screens}


def _source(options: argparse.Namespace, columns: Columns) -> PairSource | None:
    """The footage, where it was given too: only subjects that are pinned need it."""
    if options.left is None and options.right is None:
        return None
    pair, _ = source_choice(options).open()
    require_same_table(columns.clip, columns.count, options.measurement, pair)
    return pair


def _looked_for(pins: Sequence[Pin], pair: PairSource | None) -> tuple[Pin, ...]:
    if pair is not None:
        return found_pins(pair, pins)
    for pin in pins:
        if pin.subject is not None:
            raise InputError(
                pin.where,
                "a subject, and no footage to look at",
                "the footage that was measured",
                "add --left and --right",
            )
    return tuple(pins)


def _said(options: argparse.Namespace, decided: Sequence[Decided], written: Sequence[Path]) -> Outcome:
    fits = [fits_of(one) for one in decided]
    text, data = [], []
    for one, fit in zip(decided, fits):
        data.append(summary_plan.plan_data(one, fit))
    if options.why is not None:
        found = [_why(one, options.why) for one in decided]
        text += [summary_plan.why_text(one, made.plan) for one, made in zip(found, decided)]
        for entry, one in zip(data, found):
            entry["why"] = summary_plan.why_data(one)
    else:
        if len(decided) == 1:
            text += [
                summary.wrapped(f"{shot.name}: {summary_plan.shot_reason(shot)}") for shot in decided[0].plan.shots
            ]
        text.append(summary_plan.fits_text(fits))
    text += [f"written: {path}" for path in written]
    all_data: dict[str, Any] = {"written": [str(path) for path in written], "plans": data}
    if len(data) == 1:
        all_data["shots"] = data[0]["shots"]
    flagged = any(shot["flags"] for entry in data for shot in entry["shots"])
    return Outcome("\n".join(filter(None, text)), all_data, limits_code(flagged))


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
    require_same_footage(old, columns.clip, columns.count, options.measurement)
    wanted = settings_files(options)
    settings = old.settings if options.settings is None else wanted.for_screen(old.screen.name)
    settings = chosen_rules(options, settings)
    limits = hand_limits(old, limits_for(old.screen, settings.limits))
    job = job_settings(options)
    pair = _source(options, columns)
    others = [options.measurement] if output == path else [options.measurement, path]
    force = replace(job, force=True) if output == path else job
    pairs = () if pair is None else (pair,)
    check_writing(pairs, [Output(output)], force, input_files(options, *others))
    if pair is not None:
        old = found_plan(pair, old, str(path))
    edit = edit_of(columns, tuple(Shot(shot.name, shot.first, shot.last) for shot in old.shots))
    decided = plan_edit(edit, old.screen, settings, limits=limits, pins=_looked_for(wanted.pins, pair), previous=old)
    text = path.read_bytes().decode("utf-8-sig")
    changes = plan_differences(old, decided.plan)
    told = differences_text(changes) or "nothing changes"
    if options.dry_run:
        return Outcome(f"{told}\nwould write\n  {output}", {"would_write": [str(output)], "changes": _plain(changes)})
    write_text(output, update_text(text, old, decided.plan), force=force.force)
    said = _said(options, [decided], [output])
    kept = summary_plan.kept_text(decided.plan, columns)
    parts = [told, kept, said.text if options.why is not None else f"written: {output}"]
    return Outcome("\n".join(filter(None, parts)), {**said.data, "changes": _plain(changes)}, said.exit_code)


def _plain(differences: Sequence[Any]) -> list[Mapping[str, Any]]:
    return [asdict(one) for one in differences]
