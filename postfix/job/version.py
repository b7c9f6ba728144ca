"""One version of a clip for one screen: rendered, reopened, measured again and logged."""

from __future__ import annotations

import logging
from collections.abc import Callable, Iterable, Sequence
from contextlib import ExitStack
from dataclasses import asdict, dataclass, replace
from functools import partial
from pathlib import Path
from typing import Any

from postfix import __version__
from postfix.deliver.changelog import EyeFile, change_log, change_log_text, frame_table_lines, shot_results
from postfix.deliver.delivery import check_delivery, joined, reopened, say_losses
from postfix.deliver.staging import check_output
from postfix.errors import InputError, OutputError
from postfix.job.checksums import checksums_beside
from postfix.job.measured import footage_of, measured
from postfix.job.measuring import Kept
from postfix.job.rendering import CHECK, COPIED, bad_frames_of, render_plans
from postfix.job.settings import Settings
from postfix.job.space import SpaceWatch
from postfix.job.steady import Steady
from postfix.job.unfinished import Recipe, Unfinished, check_unfinished, unfinished
from postfix.measure.bad import bad_frames_of as measured_bad
from postfix.measure.clip import clip_info
from postfix.measure.columns import columns_of
from postfix.measure.remarks import Told
from postfix.measure.rescaled import rescaled
from postfix.measure.table import ClipInfo, MeasurementTable
from postfix.outside import is_inside
from postfix.plan.file import plan_text
from postfix.plan.footage import require_same_footage
from postfix.plan.model import Plan
from postfix.plan.settings import StorySettings
from postfix.source.framed import FramedEye
from postfix.source.pair import PairSource
from postfix.source.shots import EditList, Shot
from postfix.story.clip import story_of_finished, story_of_plan
from postfix.story.model import Story
from postfix.versions import libraries

log = logging.getLogger("postfix")


@dataclass(frozen=True)
class Output:
    """Something that will be written: a file, or a folder made as a whole."""

    path: Path
    folder: bool = False


Before = tuple[MeasurementTable | None, Told | None]
"""The measurement of a source, and what it says besides its figures."""


@dataclass(frozen=True)
class Version:
    """The version of a clip made for one screen: where it is, and its change log."""

    folder: Path
    log: dict[str, Any]

    @property
    def flagged(self) -> bool:
        """Whether anything stays outside its limits, or could not be judged."""
        return any(shot["flags"] for shot in self.log["shots"])


def check_writing(
    pairs: Iterable[PairSource],
    outputs: Iterable[Output],
    settings: Settings,
    inputs: Iterable[Path] = (),
    *,
    keep: bool = False,
    within: Path | None = None,
    delivers: bool = True,
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
    within : Path, optional
        The folder that no output may lead out of, as one would through a link.
    delivers : bool
        False where no pictures are written.

    Raises
    ------
    InputError
        Where a source's codec cannot be written.
    OutputError
        Where an output exists, lies in a source, would replace an input or somebody's files, or cannot be written.
    """
    given, read = tuple(pairs), tuple(inputs)
    eyes = [eye for pair in given for eye in (pair.left, pair.right)]
    for pair in given if delivers else ():
        check_delivery(pair, settings.delivery)
        say_losses(pair, settings.delivery)
    wanted = list(outputs)
    # First what an earlier run may have left: that is to be carried on rather than replaced.
    for output in wanted:
        check_unfinished(output.path, resume=settings.resume, force=settings.force)
    for output in wanted:
        if within is not None and not is_inside(output.path.parent, within):
            raise OutputError(
                output.path.parent, "a link that leads elsewhere", f"a folder in '{within}'", "remove the link"
            )
        check_output(
            output.path,
            eyes,
            folder=output.folder,
            inputs=read,
            force=settings.force,
            keep=keep,
            next_step="add --resume to keep what is finished, or --force to replace it",
        )


def make_versions(
    pair: PairSource,
    sources: tuple[EyeFile, ...],
    before: Callable[[Unfinished], Before],
    wanted: Sequence[tuple[Plan, Path]],
    settings: Settings,
    steady: Steady | None = None,
) -> tuple[Version, ...]:
    """Render plans into a folder each while the source is decoded once, measure what was written, and log it.

    Everything is written beside a folder's final name. When all pictures are rendered, one version after the other is
    joined, measured and renamed into place; what goes wrong with one leaves those before it in place, and of the others
    what is finished for a later run to carry on.

    Parameters
    ----------
    pair : PairSource
    sources : tuple of EyeFile
    before : callable
        Gives what is known of the source; what it finishes on the way it may keep with the first version.
    wanted : sequence of (Plan, Path)
        Each plan and its folder.
    settings : Settings
    steady : Steady, optional
        How the files of the source were when it was opened; as they are now without it.

    Raises
    ------
    InputError
        Where a plan is for other footage, or a source fails on the way.
    OutputError
        Where a folder exists or cannot be written, or what was written is not what it should be.
    """
    for plan, _ in wanted:
        require_same_clip(plan, pair, sources)
    still = steady or Steady.of(pair)
    with ExitStack() as all_of_them:
        stages = [all_of_them.enter_context(ExitStack()) for _ in wanted]
        works = [
            stage.enter_context(
                unfinished(folder, _recipe(pair, sources, plan, settings), resume=settings.resume, force=settings.force)
            )
            for stage, (plan, folder) in zip(stages, wanted)
        ]
        if not works:
            return ()
        known = before(works[0])
        drawn = [(plan, work) for (plan, _), work in zip(wanted, works)]
        render_plans(
            drawn,
            pair,
            settings.delivery,
            still,
            settings.crew,
            whole=pair.on_bad == "stop" or (known[0] is not None and not measured_bad(known[0].frames)),
            quiet=settings.quiet,
        )
        versions = []
        for stage, work, (plan, folder) in zip(stages, works, wanted):
            if not work.marked(COPIED):
                joined(pair, settings.delivery, work.room, partial(_look, still, work))
            log_data = _finished(pair, sources, known, plan, work, settings)
            stage.close()
            versions.append(Version(folder, log_data))
    return tuple(versions)


def _look(steady: Steady, work: Unfinished) -> None:
    """What is looked at while a file is put together: the sound that goes along comes from the source."""
    steady.require()
    SpaceWatch(work.folder).look()


def _recipe(pair: PairSource, sources: tuple[EyeFile, ...], plan: Plan, settings: Settings) -> Recipe:
    """What a version is made from."""
    return {
        "program version": __version__,
        "libraries": libraries(),
        "plan": plan_text(_as_drawn(plan)),
        "layouts of delivery": list(settings.delivery.layouts_of(pair)),
        "codec": settings.delivery.codec,
        "frame size": _framed_from_px(pair),
        "policy for bad frames": pair.on_bad,
        "offset": pair.reading.offset_frames,
        "order of the eyes": "exchanged" if pair.reading.swapped else "as given",
        **{f"{source.eye} eye": asdict(source) for source in sources},
    }


def _as_drawn(plan: Plan) -> Plan:
    """The plan without what changes no picture, so that another camera, or other wishes of what is told, keep what was
    rendered."""
    settings = replace(plan.settings, story=StorySettings())
    return replace(plan, settings=settings, shots=tuple(replace(shot, camera=None) for shot in plan.shots))


def _finished(
    pair: PairSource,
    sources: tuple[EyeFile, ...],
    known: Before,
    plan: Plan,
    work: Unfinished,
    settings: Settings,
) -> dict[str, Any]:
    """Reopen and measure what was rendered, write plan and logs beside it; the change log."""
    out, (before, said) = work.room.pictures, known
    finished, files = reopened(pair, settings.delivery, work.room)
    after = None
    with checksums_beside([file.source for file in files]) as checksums:
        if settings.check:
            shots = tuple(Shot(shot.name, shot.first, shot.last) for shot in plan.shots)
            # Eyes that were squeezed are told in the pixels of the plan.
            seen = measured(finished, EditList(shots, (), ()), f"check {plan.screen.name}", settings, Kept(work, CHECK))
            after = rescaled(seen, plan.clip)
        outputs = tuple(
            EyeFile(file.eye, file.path.relative_to(out).as_posix(), file.source.count, checksum, layout=file.layout)
            for file, checksum in zip(files, checksums())
        )
    bad = bad_frames_of(work, pair.count)
    log_data = change_log(
        plan,
        shot_results(plan, before, after),
        on_bad_frame=pair.on_bad,
        bad_frames=bad,
        sources=sources,
        outputs=outputs,
        timecode=pair.timecode,
        reading=pair.reading,
        said=said,
        framed_from_px=_framed_from_px(pair),
        codec=settings.delivery.codec,
        measured_layout=finished.layout if settings.check else None,
        story=_story(plan, before, after),
        tool=tool(),
    )
    texts: dict[str, Iterable[str]] = {
        "plan.toml": [plan_text(plan)],
        "changes.json": [change_log_text(log_data)],
        "changes.csv": frame_table_lines(plan, before, after, timecode=pair.timecode, bad_frames=bad),
    }
    for name, lines in texts.items():
        with (out / name).open("w", encoding="utf-8", newline="\n") as file:
            file.writelines(lines)
    return log_data


def _story(plan: Plan, before: MeasurementTable | None, after: MeasurementTable | None) -> Story | None:
    """What is told of the finished pictures, or of the plan where they were not measured; None where nothing was."""
    source = None if before is None else columns_of(before)
    if after is not None:
        return story_of_finished(columns_of(after), plan, source)
    return None if source is None else story_of_plan(source, plan)


def tool() -> dict[str, Any]:
    """What makes versions, as their logs say it."""
    return {"name": "postfix-stereo", "version": __version__, "libraries": libraries()}


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
