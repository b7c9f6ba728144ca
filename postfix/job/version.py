"""One version of a clip for one screen: rendered, reopened, measured again and logged."""

from __future__ import annotations

import logging
from collections.abc import Iterable
from concurrent.futures import ThreadPoolExecutor
from contextlib import ExitStack
from dataclasses import dataclass, replace
from fractions import Fraction
from pathlib import Path
from typing import Any

from postfix import __version__
from postfix.deliver.changelog import EyeFile, change_log, change_log_text, frame_table_text, shot_results
from postfix.deliver.own import EYES
from postfix.deliver.staging import check_output, staged
from postfix.deliver.writers import can_copy, check_writable, copy_eye, reopen_and_count, warn_of_lost_tags, writer_like
from postfix.errors import InputError
from postfix.job.progress import bar
from postfix.measure.clip import clip_info, measure_clip
from postfix.measure.remarks import Told, told
from postfix.measure.table import ClipInfo, MeasurementTable, footage_mark
from postfix.measure.table_csv import as_written, table_text
from postfix.plan.file import plan_text
from postfix.plan.footage import require_same_footage
from postfix.plan.geometry import changes_nothing
from postfix.plan.model import Plan
from postfix.render.moves import render_pair
from postfix.source.editlist import read_edit_list
from postfix.source.opening import sha256_of
from postfix.source.pair import AS_GIVEN, PairSource, Reading, first_in_file, open_pair
from postfix.source.picture import EyeSource
from postfix.source.shots import EditList, Shot
from postfix.source.timecode import timecode_at
from postfix.versions import libraries

log = logging.getLogger("postfix")


Opened = tuple[PairSource, EditList | None]
"""A pair, and how it is cut where that is known before anything is measured."""


@dataclass(frozen=True)
class SourceChoice:
    """Both eyes of one clip as a person named them, and where its cuts come from."""

    left: Path
    right: Path
    rate: Fraction | None = None
    frames: tuple[int, int] | None = None
    edit: Path | None = None
    one_shot: bool = False
    reading: Reading = AS_GIVEN

    def open(self) -> Opened:
        """Open both eyes, check them against each other and count their frames; that reads a video file through."""
        pair = open_pair(self.left, self.right, rate=self.rate, frames=self.frames, reading=self.reading)
        if self.one_shot:
            return pair, EditList((Shot("s001", 0, pair.count - 1),), (), ())
        if self.edit is not None:
            return pair, _as_listed(self.edit, pair)
        return pair, None


def _as_listed(edit: Path, pair: PairSource) -> EditList:
    """Shots of an edit list, which speaks of the left eye as it is, also where an offset leaves out some of it."""
    timecode = None if pair.timecode is None else timecode_at(pair.timecode, -pair.before, pair.rate)
    count = pair.before + pair.count + pair.after
    listed = read_edit_list(edit, rate=pair.rate, count=count, timecode=timecode)
    for note in listed.notes:
        log.info("%s: %s", edit.name, note)
    return listed.within(pair.before, pair.count)


@dataclass(frozen=True)
class Settings:
    """How a job is carried out, whatever it works on."""

    force: bool = False
    resume: bool = False
    quiet: bool = False
    check: bool = True
    every: int = 1


@dataclass(frozen=True)
class Output:
    """Something that will be written: a file, or a folder made as a whole."""

    path: Path
    folder: bool = False


@dataclass(frozen=True)
class Version:
    """The version of a clip made for one screen: where it is, and its change log."""

    folder: Path
    log: dict[str, Any]

    @property
    def flagged(self) -> bool:
        """Whether anything stays outside its limits, or could not be judged."""
        return any(shot["flags"] for shot in self.log["shots"])


def measured(pair: PairSource, cuts: EditList | None, what: str, settings: Settings) -> MeasurementTable:
    """Measure a pair behind a progress bar; the figures have the digits of their file."""
    with bar(what, pair.count, quiet=settings.quiet) as progress:
        table = measure_clip(
            pair,
            shots=None if cuts is None else cuts.shots,
            transitions=None if cuts is None else cuts.transitions,
            progress=progress,
            every=settings.every,
        )
        return as_written(table)


def measured_source(
    pair: PairSource, cuts: EditList | None, settings: Settings
) -> tuple[MeasurementTable, tuple[EyeFile, ...]]:
    """Measure a source while every byte of it is read for the checksums; the table says which footage it is of."""
    with ThreadPoolExecutor(1) as beside:
        checksums = beside.submit(source_files, pair)
        table = measured(pair, cuts, "measure", settings)
        sources = checksums.result()
    return marked(table, sources), sources


def marked(table: MeasurementTable, sources: Iterable[EyeFile]) -> MeasurementTable:
    """The table with the mark of the footage that it was measured on."""
    return replace(table, clip=replace(table.clip, footage=footage_of(sources)))


def footage_of(sources: Iterable[EyeFile]) -> str:
    """Mark of the very frames of both eyes, left first."""
    return footage_mark((source.sha256, source.first_frame, source.frames) for source in sources)


def told_of(choice: SourceChoice, opened: Opened, table: MeasurementTable) -> Told:
    """What a source's measurement says besides its figures; an edit list is held against the picture."""
    pair, cuts = opened
    return told(table, pair.reading, cuts if choice.edit is not None else None)


def source_files(pair: PairSource) -> tuple[EyeFile, ...]:
    """Both eyes of a source as the log names them; reads every byte for the checksums."""

    def entry(eye: str, source: EyeSource) -> EyeFile:
        path, first = str(source.path.resolve()), first_in_file(source)
        return EyeFile(eye, path, source.count, sha256_of(source), str(source.rate), first)

    with ThreadPoolExecutor(2) as pool:
        return tuple(pool.map(entry, EYES, (pair.left, pair.right)))


def write_text(path: Path, text: str, *, force: bool) -> None:
    """Write a small file whole or not at all."""
    with staged(path, force=force) as temporary:
        temporary.write_text(text, encoding="utf-8", newline="\n")


def write_table(path: Path, table: MeasurementTable, *, force: bool) -> None:
    """Write a measurement table whole or not at all."""
    write_text(path, table_text(table), force=force)


def check_writing(
    pairs: Iterable[PairSource],
    outputs: Iterable[Output],
    settings: Settings,
    inputs: Iterable[Path] = (),
    *,
    keep: bool = False,
) -> None:
    """Everything about the outputs that can be refused before the first frame.

    Parameters
    ----------
    pairs : iterable of PairSource
        All that is read.
    outputs : iterable of Output
        All that will be written.
    settings : Settings
    inputs : iterable of Path
        Files besides the footage that are read.
    keep : bool
        True where outputs of an earlier run may be there and are kept.

    Raises
    ------
    InputError
        Where a source's codec cannot be written.
    OutputError
        Where an output exists, lies in a source, would replace an input or somebody's files, or cannot be written.
    """
    eyes = [eye for pair in pairs for eye in (pair.left, pair.right)]
    read = tuple(inputs)
    for source in eyes:
        check_writable(source)
    for output in outputs:
        check_output(output.path, eyes, folder=output.folder, inputs=read, force=settings.force, keep=keep)


def make_version(
    pair: PairSource,
    sources: tuple[EyeFile, ...],
    before: MeasurementTable | None,
    plan: Plan,
    folder: Path,
    settings: Settings,
    said: Told | None = None,
) -> Version:
    """Render a plan into a folder, measure what was written, and log it.

    Everything is written beside the folder's final name and renamed into place at the end. ``said`` is what the
    source's measurement says besides its figures, for the log.

    Raises
    ------
    InputError
        Where the plan is for other footage, or a source fails on the way.
    OutputError
        Where the folder exists or cannot be written, or what was written is not what it should be.
    """
    require_same_clip(plan, pair, sources)
    with staged(folder, folder=True, force=settings.force) as work:
        _write_eyes(pair, plan, work, settings)
        written = [reopen_and_count(work / eye, like) for eye, like in zip(EYES, (pair.left, pair.right))]
        after = None
        if settings.check:
            shots = tuple(Shot(shot.name, shot.first, shot.last) for shot in plan.shots)
            finished = PairSource(written[0], written[1], pair.name)
            after = measured(finished, EditList(shots, (), ()), f"check {plan.screen.name}", settings)
        outputs = tuple(
            EyeFile(eye, source.path.relative_to(work).as_posix(), source.count, sha256_of(source))
            for eye, source in zip(EYES, written)
        )
        log_data = change_log(
            plan,
            shot_results(plan, before, after),
            sources=sources,
            outputs=outputs,
            timecode=pair.timecode,
            reading=pair.reading,
            said=said,
            tool={"name": "postfix-stereo", "version": __version__, "libraries": libraries()},
        )
        texts = {
            "plan.toml": plan_text(plan),
            "changes.json": change_log_text(log_data),
            "changes.csv": frame_table_text(plan, before, after, timecode=pair.timecode),
        }
        for name, text in texts.items():
            (work / name).write_text(text, encoding="utf-8", newline="\n")
    return Version(folder, log_data)


def _write_eyes(pair: PairSource, plan: Plan, work: Path, settings: Settings) -> None:
    sources = dict(zip(EYES, (pair.left, pair.right)))
    for eye in EYES:
        (work / eye).mkdir()
    untouched = all(changes_nothing(shot, plan.clip) for shot in plan.shots)
    if untouched and all(can_copy(source) for source in sources.values()):
        log.debug("%s: nothing to change; the source files are copied byte for byte", plan.screen.name)
        for eye, source in sources.items():
            copy_eye(source, work / eye)
        return
    for source in sources.values():
        warn_of_lost_tags(source)
    shot_of = [shot for shot in plan.shots for _ in range(shot.first, shot.last + 1)]
    with ExitStack() as stack:
        progress = stack.enter_context(bar(f"render {plan.screen.name}", pair.count, quiet=settings.quiet))
        writers = [stack.enter_context(writer_like(source, work / eye)) for eye, source in sources.items()]
        for index, left, right in pair.frames():
            *eyes, unchanged = render_pair(left, right, pair.format, plan.clip, shot_of[index], index)
            for writer, planes in zip(writers, eyes):
                writer.write(index, planes, unchanged=unchanged)
            progress(1)


def require_same_clip(
    plan: Plan, pair: PairSource, sources: tuple[EyeFile, ...] = (), plan_path: Path | None = None
) -> None:
    """Refuse a plan made for other footage: size, rate, step or number of frames differ, or the very frames where
    ``sources`` are known."""
    clip = replace(clip_info(pair), footage=footage_of(sources) if sources else "")
    require_same_footage(plan, clip, pair.count, pair.left.path, plan_path)


def require_same_table(clip: ClipInfo, count: int, path: Path, pair: PairSource) -> None:
    """Refuse, by its path, a measurement of other footage: name, size, rate, step or number of frames differ."""
    told = f"clip '{clip.name}', {_clip_words(clip, count)}"
    present = f"clip '{pair.name}', {_clip_words(clip_info(pair), pair.count)}"
    if told != present:
        raise InputError(
            path, f"a measurement of {told}", f"one of {present}", "measure this source, or leave --measurement out"
        )


def _clip_words(clip: ClipInfo, count: int) -> str:
    size = f"{clip.width_px}x{clip.height_px}"
    return f"{count} frames of {size} at {clip.rate} frames/s moved by multiples of {clip.step_px} px"
