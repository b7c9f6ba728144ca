"""One function a command: options in, what to print and the exit code out."""

from __future__ import annotations

import argparse
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from dataclasses import asdict, dataclass, field, replace
from pathlib import Path
from typing import Any

from postfix import summary
from postfix.deliver.delivery import Delivery, delivery_folders
from postfix.deliver.own import VERSION_FILES
from postfix.deliver.story_log import camera_entry, shot_story_entry, story_entry
from postfix.demo.run import SCREENS as DEMO_SCREENS
from postfix.demo.run import check_demo, run_demo
from postfix.effort import current
from postfix.errors import EXIT_DONE, EXIT_OUTSIDE_LIMITS, UsageError
from postfix.job.checksums import source_files
from postfix.job.choice import SourceChoice
from postfix.job.cluster import opened_crew
from postfix.job.crew import Crew
from postfix.job.file import parse_frame_size, parse_frames
from postfix.job.kept import finished_version, kept_table
from postfix.job.measured import measured, measured_source, told_of
from postfix.job.measuring import Kept
from postfix.job.memory import settle_for
from postfix.job.progress import REVIEW_PAGE, page_bar, stages_of
from postfix.job.run import page_outputs
from postfix.job.settings import Settings
from postfix.job.space import check_space, needed_bytes
from postfix.job.steady import Steady
from postfix.job.unfinished import Unfinished
from postfix.job.version import Before, Output, check_writing, make_versions, require_same_clip, require_same_table
from postfix.limits import limits_for
from postfix.measure.bad import bad_frames_of
from postfix.measure.columns import columns_of
from postfix.measure.remarks import Told
from postfix.measure.table import MeasurementTable
from postfix.measure.table_csv import read_table
from postfix.outside import folder_key
from postfix.plain import plain
from postfix.plan.bad_frames import bad_frame_flags
from postfix.plan.cameras import cameras_in
from postfix.plan.figures import figures_of, flags_for
from postfix.plan.file import read_plan
from postfix.plan.screens import read_screen, read_screens
from postfix.plan.settings import PlanSettings
from postfix.plan.settings_file import SettingsFile, read_settings
from postfix.review.report import check_report, write_report
from postfix.review.words import count_text
from postfix.source.pair import PairSource, Reading
from postfix.source.rate import parse_rate
from postfix.story.clip import story_as_given
from postfix.summary_story import depth_text, story_text
from postfix.terminal import Text, Whole, line
from postfix.viewing import BUILTIN_SCREENS, CHILD_EYE_MM, Screen


@dataclass(frozen=True)
class Outcome:
    """What a command has to say: text for a person, the same as data, and the exit code."""

    text: Text = ()
    data: dict[str, Any] = field(default_factory=dict)
    exit_code: int = EXIT_DONE


def limits_code(flagged: bool) -> int:
    """Exit code of work that is done, by whether something stays outside its limits."""
    return EXIT_OUTSIDE_LIMITS if flagged else EXIT_DONE


def job_settings(options: argparse.Namespace) -> Settings:
    """How the job is carried out, as typed."""
    return Settings(
        force=options.force,
        resume=options.resume,
        quiet=options.quiet > 0,
        check=not getattr(options, "no_check", False),
        every=getattr(options, "every", 1),
        delivery=Delivery(tuple(getattr(options, "deliver", None) or ()), getattr(options, "codec", None)),
    )


@contextmanager
def with_crew(
    options: argparse.Namespace, settings: Settings, pairs: Iterable[PairSource], place: Path | None
) -> Iterator[tuple[Settings, Crew]]:
    """Settings with the crew that does the work, which sees the sources and the folder that is written in."""
    # Each worker is a process that works on as many frames as was asked for, and on one where nothing was.
    effort = replace(current(), workers=min(options.workers or 1, current().workers))
    with opened_crew(options.cluster, effort) as crew:
        while place is not None and not place.is_dir():
            place = place.absolute().parent
        crew.meet([path for pair in pairs for eye in (pair.left, pair.right) for path in eye.files()], place)
        yield replace(settings, crew=crew), crew


def source_choice(options: argparse.Namespace) -> SourceChoice:
    """The footage, as typed."""
    eyes = (options.left, options.right)
    if options.pair is not None and eyes != (None, None):
        raise UsageError("source", "--pair beside --left or --right", "one of them", "leave one of them out")
    if options.pair is None and None in eyes:
        raise UsageError(
            "source",
            "one eye or none",
            "--left and --right, or --pair",
            "name the files of both eyes, or the one that holds both",
        )
    if options.layout is not None and options.pair is None:
        raise UsageError("--layout", "no --pair", "a file that holds both eyes", "add --pair, or leave --layout out")
    if options.edit is not None and options.one_shot:
        raise UsageError("cuts", "--edit and --one-shot", "one of them", "leave one of them out")
    return SourceChoice(
        left=options.left,
        right=options.right,
        rate=None if options.rate is None else parse_rate(options.rate),
        frames=None if options.frames is None else parse_frames(options.frames, "--frames"),
        edit=options.edit,
        one_shot=options.one_shot,
        reading=Reading(options.offset, options.swap),
        pair=options.pair,
        layout=options.layout,
        frame_px=None if options.frame is None else parse_frame_size(options.frame, "--frame"),
        on_bad=options.on_bad_frame or "stop",
    )


def screen_tables(options: argparse.Namespace) -> tuple[Path, ...]:
    """Tables of screens that were given besides the built-in ones."""
    return () if options.screens is None else (options.screens,)


def settings_files(options: argparse.Namespace) -> SettingsFile:
    """The file of settings, or the defaults where none was given."""
    if options.settings is None:
        return SettingsFile()
    read = read_settings(options.settings)
    read.require_screens([screen.name for screen in known_screens(options)])
    return read


def chosen_rules(options: argparse.Namespace, settings: PlanSettings) -> PlanSettings:
    """Settings with what was typed put over them."""
    limits = settings.limits
    if options.comfort is not None:
        limits = replace(limits, comfort=options.comfort)
    if options.children:
        limits = replace(limits, eye_mm=CHILD_EYE_MM)
    fill = getattr(options, "fill", None) or settings.fill
    subpixel = getattr(options, "subpixel", None) or settings.subpixel
    align = getattr(options, "align", False) or settings.align
    return replace(settings, limits=limits, fill=fill, subpixel=subpixel, align=align)


def known_screens(options: argparse.Namespace) -> tuple[Screen, ...]:
    """The built-in screens and those of a table that was given."""
    known: dict[str, Screen] = dict(BUILTIN_SCREENS)
    for path in screen_tables(options):
        known.update(read_screens(path))
    return tuple(known.values())


def input_files(options: argparse.Namespace, *others: Path | None) -> list[Path]:
    """Files besides the footage that a command reads."""
    given = (getattr(options, name, None) for name in ("edit", "screens", "settings", "job"))
    return [path for path in (*given, *others) if path is not None]


def would_write(paths: Iterable[Path]) -> Outcome:
    """What --dry-run says."""
    names = [str(path) for path in paths]
    return Outcome([line("would write"), *(Whole(f"  {name}") for name in names)], {"would_write": names})


def screens(options: argparse.Namespace) -> Outcome:
    """List the screens and their limits."""
    wanted = settings_files(options)
    rows = [(s, chosen_rules(options, wanted.for_screen(s.name)).limits) for s in known_screens(options)]
    data = {"screens": [summary.screen_data(screen, rules) for screen, rules in rows]}
    return Outcome(summary.screens_text(rows), data)


def measure(options: argparse.Namespace) -> Outcome:
    """Measure a source into a table."""
    settings, output = job_settings(options), options.output
    choice = source_choice(options)
    pair, _ = opened = choice.open()
    steady = Steady.of(pair)
    check_writing((pair,), (Output(output),), settings, input_files(options), keep=settings.resume, delivers=False)
    settle_for([pair])
    if options.dry_run:
        return would_write([output])
    table = kept_table(opened, output, settings.every) if settings.resume and output.exists() else None
    if table is None:
        with with_crew(options, settings, [pair], output.parent) as (settings, _):
            table, _ = measured_source(choice, opened, output, settings, steady=steady)
    rows, said = _measured_shots(table), told_of(choice, opened, table)
    text = [
        *summary.reading_text(pair.reading),
        *summary.measured_text(rows),
        *summary.told_text(said, edges=True),
        Whole(f"written: {output}"),
    ]
    data = {
        "written": [str(output)],
        "reading": asdict(pair.reading),
        "shots": rows,
        **told_data(said),
    }
    return Outcome(text, data)


def told_data(said: Told, **where: str) -> dict[str, list[dict[str, Any]]]:
    """What a measurement says, under the names it has in --json."""
    groups = {
        "misfits": [asdict(one) for one in said.differences],
        "suspicions": [asdict(one) for one in said.suspicions],
        "remarks": [{**asdict(one), "facts": plain(one.facts)} for one in said.remarks],
    }
    return {name: [{**where, **plain(one)} for one in facts] for name, facts in groups.items()}


def _measured_shots(table: MeasurementTable) -> list[dict[str, Any]]:
    rows, columns = [], columns_of(table)
    for index, shot in enumerate(table.shots):
        row = {**asdict(shot), **summary.plain_figures(figures_of(columns, shot.first, shot.last))}
        found = asdict(table.findings[index]) if table.findings else {}
        rows.append({**row, **plain(found)})
    return rows


def render(options: argparse.Namespace) -> Outcome:
    """Write the pictures that a plan asks for."""
    settings, output = job_settings(options), options.output
    decided = read_plan(options.plan)
    given = None if options.measurement is None else read_table(options.measurement)
    choice = source_choice(options)
    pair, _ = opened = choice.open()
    steady = Steady.of(pair)
    inputs = input_files(options, options.plan, options.measurement)
    check_writing((pair,), (Output(output, folder=True),), settings, inputs, keep=settings.resume)
    if not settings.resume:
        check_space(output, needed_bytes(pair, settings.delivery, 1))
    require_same_clip(decided, pair, plan_path=options.plan)
    if given is not None:
        require_same_table(given.clip, len(given.frames), options.measurement, pair)
    settle_for([pair], settings.delivery, 1)
    sources = source_files(pair)
    require_same_clip(decided, pair, sources, options.plan)
    if options.dry_run:
        return would_write(in_outputs([Output(output, folder=True)], pair, settings.delivery))
    first = ["measure"] if given is None and settings.check else []

    def before_of(work: Unfinished) -> Before:
        before = measured(pair, None, "measure", settings, Kept(work, "measure"), steady) if first else given
        return before, None if before is None else told_of(choice, opened, before)

    version = None
    if settings.resume:
        version = finished_version(output, decided, pair, sources, settings)
    if version is None:
        with (
            with_crew(options, settings, [pair], output.parent) as (settings, _),
            stages_of(version_stages(first, [decided.screen.name], settings)),
        ):
            (version,) = make_versions(pair, sources, before_of, [(decided, output)], settings, steady)
    shots = version.log["shots"]
    text = [
        *summary.reading_text(pair.reading),
        *summary.shots_text(shots),
        *summary.levelled_text(decided.screen.name, shots),
        *summary.flags_text(decided.screen.name, shots),
        *story_text(decided.screen.name, shots, version.log.get("story")),
        Whole(f"written: {output}"),
    ]
    story = version.log.get("story")
    data = {"written": [str(output)], "reading": asdict(pair.reading), "story": story, "shots": shots}
    return Outcome(text, data, limits_code(version.flagged))


def check(options: argparse.Namespace) -> Outcome:
    """Measure finished pictures against a screen's limits."""
    screen = read_screen(options.screen, screen_tables(options))
    chosen = chosen_rules(options, settings_files(options).for_screen(screen.name))
    rules, limits = chosen.limits, limits_for(screen, chosen.limits)
    choice, cameras = source_choice(options), cameras_in(options.camera)
    pair, cuts = opened = choice.open()
    cameras.require_fit(pair.count, () if cuts is None else cuts.shots)
    settle_for([pair])
    if options.dry_run:
        frames = count_text(pair.count, "frame")
        return Outcome([line(f"would measure {frames}; check writes nothing")], {"would_write": []})
    with with_crew(options, job_settings(options), [pair], None) as (settings, _):
        table = measured(pair, cuts, "check", settings)
    columns = columns_of(table)
    noted = {shot.name: one for shot, one in zip(table.shots, cameras.for_shots(table.shots)) if one is not None}
    story = story_as_given(columns, screen, chosen, noted)
    whole = story_entry(story)
    rows = []
    for row, shot, told in zip(_measured_shots(table), table.shots, story.shots):
        bad = bad_frames_of(table.frames[shot.first : shot.last + 1], shot.first)
        flags = (
            *flags_for(figures_of(columns, shot.first, shot.last), limits, screen.width_mm),
            *bad_frame_flags(bad, shot.first, shot.last),
        )
        also = {"camera": camera_entry(noted.get(shot.name)), "story": shot_story_entry(told)}
        rows.append({**row, "flags": [asdict(flag) for flag in flags], **also})
    flagged = any(row["flags"] for row in rows)
    said = told_of(choice, opened, table)
    text = [
        summary.verdict_text(screen.name, rows),
        *summary.reading_text(pair.reading),
        *summary.measured_text(rows),
        *depth_text(rows),
        *summary.flags_text(screen.name, rows),
        *story_text(screen.name, rows, whole),
        *summary.told_text(said),
    ]
    data = {
        "screen": summary.screen_data(screen, rules),
        "reading": asdict(pair.reading),
        "story": whole,
        "shots": rows,
        **told_data(said),
    }
    return Outcome(text, data, limits_code(flagged))


def report(options: argparse.Namespace) -> Outcome:
    """Write the review page of a finished run again."""
    if options.dry_run:
        check_report(options.output, force=options.force)
        return would_write(output.path for output in page_outputs(options.output))
    page = write_report(options.output, page_bar(quiet=options.quiet > 0), force=options.force)
    return Outcome([Whole(f"written: {page}")], {"written": [str(page)]})


def version_stages(first: list[str], screens: Iterable[str], settings: Settings) -> list[str]:
    """What bars are called while versions for some screens are made."""
    return [*first, "render", *(f"check {screen}" for screen in screens if settings.check)]


def in_outputs(outputs: Iterable[Output], pair: PairSource, delivery: Delivery) -> Iterator[Path]:
    """Files that will be written for a clip, and the folders of pictures in each version."""
    names = (*delivery_folders(pair, delivery), *VERSION_FILES)
    for output in outputs:
        yield from (output.path / name for name in names) if output.folder else (output.path,)


def chosen_screens(options: argparse.Namespace) -> tuple[Screen, ...]:
    """The screens that were typed, each once."""
    if not options.screen:
        raise UsageError("--screen", "none", "at least one screen", "add for example --screen cinema-12m")
    chosen = tuple(read_screen(name, screen_tables(options)) for name in options.screen)
    if len({folder_key(screen.name) for screen in chosen}) < len(chosen):
        raise UsageError("--screen", "one screen twice", "each screen once", "leave the second one out")
    return chosen


def demo(options: argparse.Namespace) -> Outcome:
    """Make the demo film and run the whole job on it."""
    settings, out = job_settings(options), options.output
    if options.dry_run:
        check_demo(out)
        return would_write([out])
    with stages_of([*version_stages(["render the film", "measure"], DEMO_SCREENS, settings), REVIEW_PAGE]):
        result = run_demo(out, settings)
    return Outcome(summary.demo_text(result), asdict(result), limits_code(result.flagged))
