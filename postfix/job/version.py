"""One version of a clip for one screen: rendered, reopened, measured again and logged."""

from __future__ import annotations

import logging
from collections.abc import Iterable, Sequence
from contextlib import ExitStack
from dataclasses import dataclass, field, replace
from fractions import Fraction
from pathlib import Path
from typing import Any

from postfix import __version__
from postfix.deliver.changelog import EyeFile, change_log, change_log_text, frame_table_text, shot_results
from postfix.deliver.delivery import Delivery, check_delivery, reopened, say_losses
from postfix.deliver.staging import check_output, staged
from postfix.errors import InputError
from postfix.job.checksums import checksums_beside, source_files_beside
from postfix.job.progress import bar
from postfix.job.rendering import render_plans
from postfix.measure.clip import clip_info, measure_clip
from postfix.measure.remarks import Told, told
from postfix.measure.rescaled import rescaled
from postfix.measure.table import ClipInfo, MeasurementTable, footage_mark
from postfix.measure.table_csv import as_written, table_text
from postfix.plan.file import plan_text
from postfix.plan.footage import require_same_footage
from postfix.plan.model import Plan
from postfix.source.editlist import read_edit_list
from postfix.source.framed import FramedEye, framed
from postfix.source.layout import Layout
from postfix.source.packed import open_packed
from postfix.source.pair import AS_GIVEN, PairSource, Reading, open_pair
from postfix.source.shots import EditList, Shot
from postfix.source.timecode import timecode_at
from postfix.versions import libraries

log = logging.getLogger("postfix")


Opened = tuple[PairSource, EditList | None]
"""A pair, and how it is cut where that is known before anything is measured."""


@dataclass(frozen=True)
class SourceChoice:
    """Both eyes of one clip as a person named them, and where its cuts come from.

    Attributes
    ----------
    left, right : Path or None
        A file, a folder of stills or a pattern for each eye; None where ``pair`` names both.
    pair : Path or None
        What holds both eyes.
    layout : Layout or None
        How they lie in it; None where it says so itself.
    frame_px : (int, int) or None
        Width and height of the frame that is delivered, cut from the source's or larger than it.
    """

    left: Path | None = None
    right: Path | None = None
    rate: Fraction | None = None
    frames: tuple[int, int] | None = None
    edit: Path | None = None
    one_shot: bool = False
    reading: Reading = AS_GIVEN
    pair: Path | None = None
    layout: Layout | None = None
    frame_px: tuple[int, int] | None = None

    def open(self) -> Opened:
        """Open both eyes, check them against each other and count their frames; that reads a video file through."""
        pair = self._pair()
        if self.frame_px is not None:
            pair = framed(pair, *self.frame_px)
        if self.one_shot:
            return pair, EditList((Shot("s001", 0, pair.count - 1),), (), ())
        if self.edit is not None:
            return pair, _as_listed(self.edit, pair)
        return pair, None

    def _pair(self) -> PairSource:
        if self.pair is not None:
            return open_packed(self.pair, self.layout, rate=self.rate, frames=self.frames, reading=self.reading)
        assert self.left is not None
        assert self.right is not None
        return open_pair(self.left, self.right, rate=self.rate, frames=self.frames, reading=self.reading)


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
    delivery: Delivery = field(default_factory=Delivery)


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
    with source_files_beside(pair) as files:
        table = measured(pair, cuts, "measure", settings)
        sources = files()
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
    given, read = tuple(pairs), tuple(inputs)
    eyes = [eye for pair in given for eye in (pair.left, pair.right)]
    for pair in given:
        check_delivery(pair, settings.delivery)
        say_losses(pair, settings.delivery)
    for output in outputs:
        check_output(output.path, eyes, folder=output.folder, inputs=read, force=settings.force, keep=keep)


def make_versions(
    pair: PairSource,
    sources: tuple[EyeFile, ...],
    before: MeasurementTable | None,
    wanted: Sequence[tuple[Plan, Path]],
    settings: Settings,
    said: Told | None = None,
) -> tuple[Version, ...]:
    """Render plans into a folder each while the source is decoded once, measure what was written, and log it.

    Everything is written beside a folder's final name. When all pictures are rendered, one version after the other is
    measured and renamed into place; what goes wrong with one leaves those before it in place and nothing of the others.

    Parameters
    ----------
    pair : PairSource
    sources : tuple of EyeFile
    before : MeasurementTable or None
        Of the source.
    wanted : sequence of (Plan, Path)
        Each plan and its folder.
    settings : Settings
    said : Told, optional
        What the source's measurement says besides its figures, for the log.

    Raises
    ------
    InputError
        Where a plan is for other footage, or a source fails on the way.
    OutputError
        Where a folder exists or cannot be written, or what was written is not what it should be.
    """
    for plan, _ in wanted:
        require_same_clip(plan, pair, sources)
    with ExitStack() as unfinished:
        stages = [unfinished.enter_context(ExitStack()) for _ in wanted]
        works = [
            stage.enter_context(staged(folder, folder=True, force=settings.force))
            for stage, (_, folder) in zip(stages, wanted)
        ]
        drawn = [(plan, work) for (plan, _), work in zip(wanted, works)]
        render_plans(drawn, pair, settings.delivery, quiet=settings.quiet)
        versions = []
        for stage, work, (plan, folder) in zip(stages, works, wanted):
            log_data = _finished(pair, sources, before, plan, work, settings, said)
            stage.close()
            versions.append(Version(folder, log_data))
    return tuple(versions)


def _finished(
    pair: PairSource,
    sources: tuple[EyeFile, ...],
    before: MeasurementTable | None,
    plan: Plan,
    work: Path,
    settings: Settings,
    said: Told | None,
) -> dict[str, Any]:
    """Reopen and measure what was rendered, write plan and logs beside it; the change log."""
    finished, files = reopened(pair, settings.delivery, work)
    after = None
    with checksums_beside([file.source for file in files]) as checksums:
        if settings.check:
            shots = tuple(Shot(shot.name, shot.first, shot.last) for shot in plan.shots)
            # Eyes that were squeezed are told in the pixels of the plan.
            seen = measured(finished, EditList(shots, (), ()), f"check {plan.screen.name}", settings)
            after = rescaled(seen, plan.clip)
        outputs = tuple(
            EyeFile(file.eye, file.path.relative_to(work).as_posix(), file.source.count, checksum, layout=file.layout)
            for file, checksum in zip(files, checksums())
        )
    log_data = change_log(
        plan,
        shot_results(plan, before, after),
        sources=sources,
        outputs=outputs,
        timecode=pair.timecode,
        reading=pair.reading,
        said=said,
        framed_from_px=_framed_from_px(pair),
        codec=settings.delivery.codec,
        measured_layout=finished.layout if settings.check else None,
        tool={"name": "postfix-stereo", "version": __version__, "libraries": libraries()},
    )
    texts = {
        "plan.toml": plan_text(plan),
        "changes.json": change_log_text(log_data),
        "changes.csv": frame_table_text(plan, before, after, timecode=pair.timecode),
    }
    for name, text in texts.items():
        (work / name).write_text(text, encoding="utf-8", newline="\n")
    return log_data


def _framed_from_px(pair: PairSource) -> tuple[int, int] | None:
    """Size of the pictures that a pair's frames are cut from or lie in; None where they are just those."""
    if not isinstance(pair.left, FramedEye):
        return None
    whole = pair.left.whole.format
    return whole.width, whole.height


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
    if clip.pixel_aspect != 1:
        size += f" pixels {clip.pixel_aspect} times as wide as high"
    return f"{count} frames of {size} at {clip.rate} frames/s moved by multiples of {clip.step_px} px"
