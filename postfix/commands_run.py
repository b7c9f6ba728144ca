"""The command that does all of it, for one clip or for many."""

from __future__ import annotations

import argparse
from dataclasses import asdict, replace
from functools import partial
from pathlib import Path
from typing import Any

from postfix import summary, summary_plan, summary_run
from postfix.commands import (
    Outcome,
    chosen_rules,
    chosen_screens,
    in_outputs,
    input_files,
    job_settings,
    limits_code,
    screen_tables,
    settings_files,
    source_choice,
    told_data,
    version_stages,
    with_crew,
    would_write,
)
from postfix.errors import UsageError
from postfix.job.choice import Opened
from postfix.job.crew import Crew
from postfix.job.file import JobClip, check_limits, check_pins, read_job
from postfix.job.lock import check_unclaimed, claimed
from postfix.job.many import Job, at_once, in_parallel
from postfix.job.memory import settle_for
from postfix.job.progress import REVIEW_PAGE, page_bar, stages_of
from postfix.job.run import ClipRun, page_outputs, planned_outputs, run_clip
from postfix.job.settings import Settings
from postfix.job.space import check_space, needed_bytes
from postfix.job.steady import Steady
from postfix.job.subjects import found_pins
from postfix.job.unfinished import say_unfinished
from postfix.job.version import check_writing
from postfix.plan.cameras import cameras_in
from postfix.review.report import write_report
from postfix.summary_story import programme_text, programmes_of, story_text
from postfix.terminal import Block, Gap, Whole


def run(options: argparse.Namespace) -> Outcome:
    """The whole job, for one clip or for many."""
    settings, out = job_settings(options), options.output
    single = any(given is not None for given in (options.left, options.right, options.pair))
    if single == (options.job is not None):
        raise UsageError("source", "both or neither of footage and --job", "one of them", "choose one")
    if options.job is not None and options.frame is not None:
        raise UsageError("--frame", "a frame beside a job", "frame in the job file", "write it with each clip")
    if options.job is not None and options.on_bad_frame is not None:
        raise UsageError(
            "--on-bad-frame", f"{options.on_bad_frame} beside a job", "on_bad_frame in the job file", "write it there"
        )
    if single:
        chosen, wanted = chosen_screens(options), settings_files(options)
        each = {screen.name: wanted.for_screen(screen.name) for screen in chosen}
        read, cameras = tuple(input_files(options, options.camera)), cameras_in(options.camera)
        clips = [JobClip("", source_choice(options), chosen, read, wanted.pins, each, cameras)]
    else:
        if options.settings is not None:
            raise UsageError(
                "--settings", "a file of settings beside a job", "settings_file in the job file", "name it there"
            )
        if options.camera is not None:
            raise UsageError("--camera", "a file of cameras beside a job", "camera in the job file", "write it there")
        typed = chosen_screens(options) if options.screen else ()
        clips = list(read_job(options.job, screen_tables(options), typed))
    clips = [
        replace(clip, settings={s.name: chosen_rules(options, clip.settings_for(s.name)) for s in clip.screens})
        for clip in clips
    ]
    for clip in clips:
        check_limits(clip)
    # Every clip is opened and checked before the first frame of any is measured; no output may touch any source.
    opened = [clip.choice.open() for clip in clips]
    pairs = [pair for pair, _ in opened]
    steady = [Steady.of(pair) for pair in pairs]
    for clip, (pair, cuts) in zip(clips, opened):
        check_pins(clip, pair.count, pair.format.width, pair.format.height, () if cuts is None else cuts.shots)
    check_unclaimed(out)
    each_made = [(pair, planned_outputs(out / clip.name, pair.name, clip.screens)) for clip, pair in zip(clips, pairs)]
    page = page_outputs(out)
    outputs = [*(output for _, made in each_made for output in made), *page]
    inputs = {path for clip in clips for path in clip.inputs}
    check_writing(pairs, outputs, settings, sorted(inputs), keep=settings.resume, within=out)
    if not settings.resume:
        check_space(out, sum(needed_bytes(p, settings.delivery, len(c.screens)) for p, c in zip(pairs, clips)))
    settle_for(pairs, settings.delivery, max(len(clip.screens) for clip in clips))
    clips = [replace(clip, pins=found_pins(pair, clip.pins)) for clip, pair in zip(clips, pairs)]
    if options.dry_run:
        versions = (path for pair, made in each_made for path in in_outputs(made, pair, settings.delivery))
        return would_write([*versions, *(output.path for output in page)])
    with claimed(out):
        with with_crew(options, settings, pairs, out) as (settings, crew):
            runs = _run_clips(list(zip(clips, opened, steady)), out, settings, crew)
        # The page is of all clips: the last stage of one, and after the stages of many.
        with stages_of(_run_stages(clips[0], settings, alone=True) if len(clips) == 1 else []):
            written = write_report(out, page_bar(quiet=settings.quiet), force=settings.force)
        say_unfinished(out)
    return _run_outcome(runs, clips, written)


def _run_clips(clips: list[tuple[JobClip, Opened, Steady]], out: Path, settings: Settings, crew: Crew) -> list[ClipRun]:
    """Run one clip after the other, or several at the same time where that is what it takes to keep a crew at work."""

    def carry_out(clip: JobClip, source: Opened, steady: Steady) -> ClipRun:
        place, rules = out / clip.name, clip.settings_for
        return run_clip(clip.choice, source, clip.screens, place, settings, rules, clip.pins, steady, clip.cameras)

    jobs = [
        Job(source[0].count, len(_run_stages(clip, settings)), partial(carry_out, clip, source, steady))
        for clip, source, steady in clips
    ]
    if at_once(crew, jobs) > 1:
        return in_parallel(crew, jobs, f"{len(clips)} clips", quiet=settings.quiet)
    runs = []
    for number, (clip, source, steady) in enumerate(clips, 1):
        stages = _run_stages(clip, settings, alone=len(clips) == 1)
        with stages_of(stages, clip.name, number, len(clips)):
            runs.append(carry_out(clip, source, steady))
    return runs


def _run_stages(clip: JobClip, settings: Settings, *, alone: bool = False) -> list[str]:
    """What bars are called while a clip is run; the page is a stage of one that is alone."""
    stages = version_stages(["measure"], [screen.name for screen in clip.screens], settings)
    return [*stages, REVIEW_PAGE] if alone else stages


def _run_outcome(runs: list[ClipRun], clips: list[JobClip], page: Path) -> Outcome:
    text: list[Block] = []
    leads: list[summary_run.Made] = []
    data: list[dict[str, Any]] = []
    facts: dict[str, list[dict[str, Any]]] = {}
    for clip, made in zip(clips, runs):
        name, reading = clip.name, clip.choice.reading
        text += summary.reading_text(reading, name)
        for version in made.versions:
            shots = version.log["shots"]
            screen = version.log["screen"]["name"]
            leads.append(summary_run.Made(name, screen, shots))
            text += summary_run.version_text(leads[-1])
            text += [*story_text(screen, shots, version.log.get("story"), name), Gap()]
            entry = {
                "clip": name,
                "screen": screen,
                "folder": str(version.folder),
                "reading": asdict(reading),
                "story": version.log.get("story"),
                "shots": shots,
                "fits": summary_plan.fits_data(made.fits[screen]),
            }
            data.append(entry)
        text += summary_run.planned_text(name, [made.fits[screen.name] for screen in clip.screens])
        text += [*summary.told_text(made.told, name), Gap()]
        for kind, entries in told_data(made.told, clip=name).items():
            facts.setdefault(kind, []).extend(entries)
    programmes = programmes_of([version.log for made in runs for version in made.versions])
    whole = [*summary_run.lead_text(leads), *text, *programme_text(programmes), Whole(f"review page: {page}")]
    return Outcome(
        whole,
        {"versions": data, **facts, "programmes": programmes, "report": str(page)},
        limits_code(any(made.flagged for made in runs)),
    )
