"""The pictures of one or several plans, drawn segment by segment and handed to the writers."""

from __future__ import annotations

import json
import logging
from collections import defaultdict, deque
from collections.abc import Callable, Sequence
from concurrent.futures import Future, ThreadPoolExecutor
from contextlib import ExitStack
from dataclasses import asdict, dataclass
from pathlib import Path

from postfix.deliver.delivery import (
    Delivery,
    PairWriter,
    copy_as_they_are,
    delivery_folders,
    held_segments,
    writers,
)
from postfix.deliver.durable import make_folder, sync_tree, write_durably
from postfix.deliver.staging import remove
from postfix.deliver.workroom import Sealed
from postfix.effort import current
from postfix.job.crew import Crew, Tell
from postfix.job.progress import bar
from postfix.job.space import SpaceWatch
from postfix.job.steady import Steady
from postfix.job.unfinished import Unfinished
from postfix.plan.geometry import changes_nothing
from postfix.plan.model import Plan, ShotPlan
from postfix.render.moves import render_pair
from postfix.source.framed import bars_of
from postfix.source.opening import file_sha256
from postfix.source.pair import PairSource
from postfix.source.patient import BadFrame, PairFrame
from postfix.source.picture import Planes
from postfix.source.segments import Segment, runs_of, segments_of

log = logging.getLogger("postfix")

_BAD_FRAMES = "bad_frames"
COPIED = "copied"
"""The mark of a version whose files are those of the source."""
_COPIES = "copies.json"
"""Checksums of those files."""
CHECK = "check"
"""How the measurement of finished pictures is called among the parts and marks."""


def render_plans(
    wanted: Sequence[tuple[Plan, Unfinished]],
    pair: PairSource,
    delivery: Delivery,
    steady: Steady,
    crew: Crew,
    *,
    whole: bool,
    quiet: bool = False,
) -> None:
    """Write the segments of every plan that are not there yet, for all plans in one pass over the source.

    Parameters
    ----------
    wanted : sequence of (Plan, Unfinished)
        Each plan, and the work on its version.
    pair : PairSource
    delivery : Delivery
    steady : Steady
    crew : Crew
    whole : bool
        True where no frame of the source is to be replaced, so that its files may be copied where nothing changes.
    quiet : bool
        True for no progress bar.

    Raises
    ------
    InputError
        Where the source fails on the way, changes, or cannot be encoded.
    OutputError
        Where something cannot be written.
    """
    segments = segments_of(pair.count)
    missing: dict[int, list[int]] = {}
    for number, (plan, work) in enumerate(wanted):
        for index in _missing(plan, work, pair, delivery, steady if whole else None):
            missing.setdefault(index, []).append(number)
    if not missing:
        return
    # Mostly one group: what one run left is the same for all screens but at its very end.
    groups: dict[tuple[int, ...], list[Segment]] = defaultdict(list)
    for index in sorted(missing):
        groups[tuple(missing[index])].append(segments[index])
    names = ", ".join(wanted[number][0].screen.name for number in sorted({n for group in groups for n in group}))
    with bar(f"render {names}", pair.count, quiet=quiet) as progress:
        progress(pair.count - sum(segments[index].count for index in missing))
        for numbers, group in groups.items():
            shared = RenderWork(pair, delivery, tuple(wanted[number] for number in numbers), steady)
            for _ in crew.carry_out(render_run, shared, runs_of(group), progress):
                pass


def _missing(plan: Plan, work: Unfinished, pair: PairSource, delivery: Delivery, steady: Steady | None) -> list[int]:
    """Indices of the segments that are still to be rendered; what an earlier run finished is looked through."""
    folders = [work.room.pictures / name for name in delivery_folders(pair, delivery)]
    for folder in folders:
        make_folder(folder)
    everything = range(len(segments_of(pair.count)))
    untouched = all(changes_nothing(shot, plan.clip) for shot in plan.shots)
    if untouched and steady is not None and (_copies_held(work) or _copied(work, pair, delivery, folders, steady)):
        return []
    marked = {int(name) for name in work.marks() if name.isdecimal()}
    if not marked:
        return list(everything)
    held = {index for index in held_segments(pair, delivery, work.room) if work.marked(segment_mark(index)) is not None}
    work.unmark(segment_mark(index) for index in marked - held)
    kept = marked & held
    log.info(
        "%s: %d of %d segments kept from an earlier run%s",
        work.target,
        len(kept),
        len(everything),
        f"; {len(marked - held)} that were damaged since are made anew" if marked - held else "",
    )
    missing = [index for index in everything if index not in kept]
    if missing:
        _unmark_checks(work)
    return missing


def _unmark_checks(work: Unfinished) -> None:
    """Whatever was measured of pictures that are made anew, because they are damaged, may be of the damage."""
    work.unmark(name for name in work.marks() if name.startswith(f"{CHECK}-"))


def _copies_held(work: Unfinished) -> bool:
    """Whether an earlier run copied the source's files, and the copies are as they were then."""
    if not work.marked(COPIED):
        return False
    try:
        told = json.loads((work.parts / _COPIES).read_text(encoding="utf-8"))
        whole = all(file_sha256(work.room.pictures / name) == checksum for name, checksum in told.items())
    except (OSError, ValueError, AttributeError, TypeError):
        whole = False
    if whole:
        log.info("%s: copies of the source kept from an earlier run", work.target)
    else:
        log.info("%s: copies of the source that were damaged since are made anew", work.target)
    return whole


def _copied(work: Unfinished, pair: PairSource, delivery: Delivery, folders: Sequence[Path], steady: Steady) -> bool:
    """Copy the source's files where they are just what would be written."""
    _unmark_checks(work)
    for folder in folders:
        for entry in list(folder.iterdir()):
            remove(entry)
    if not copy_as_they_are(pair, delivery, work.room.pictures):
        return False
    log.debug("%s: nothing to change; the source files are copied byte for byte", work.target)
    for folder in folders:
        sync_tree(folder)
    steady.require()
    out = work.room.pictures
    copies = [path for folder in folders for path in folder.rglob("*") if path.is_file()]
    told = {path.relative_to(out).as_posix(): file_sha256(path) for path in sorted(copies)}
    write_durably(work.parts / _COPIES, json.dumps(told).encode())
    work.mark(COPIED, True)
    return True


def segment_mark(index: int) -> str:
    """Name of the mark of a rendered segment."""
    return f"{index:06d}"


@dataclass(frozen=True)
class RenderWork:
    """What all segments of some versions of a clip need."""

    pair: PairSource
    delivery: Delivery
    versions: tuple[tuple[Plan, Unfinished], ...]
    steady: Steady


@dataclass(frozen=True)
class _Rendering:
    """A version while its pictures are made: the plan of every frame, and where they go."""

    plan: Plan
    shot_of: tuple[ShotPlan, ...]
    writers: tuple[PairWriter, ...]


def render_run(work: RenderWork, segments: Sequence[Segment], tell: Tell) -> None:
    """Render consecutive segments of some versions, and mark each that is finished.

    Raises
    ------
    InputError
        Where the source fails on the way, or changes.
    OutputError
        Where something cannot be written.
    """
    bad: list[BadFrame] = []
    with ExitStack() as stack:
        # The threads end before the writers do, for they hand pictures to them.
        renderings = [
            _Rendering(
                plan,
                tuple(shot for shot in plan.shots for _ in range(shot.first, shot.last + 1)),
                stack.enter_context(
                    writers(
                        work.pair, work.delivery, unfinished.room, segments, _marking(work, unfinished, segments, bad)
                    )
                ),
            )
            for plan, unfinished in work.versions
        ]
        threads = current().workers
        pool = stack.enter_context(ThreadPoolExecutor(threads, thread_name_prefix="render"))
        _draw(renderings, work.pair, (segments[0].first, segments[-1].last), pool, threads, tell, bad)


def _marking(work: RenderWork, unfinished: Unfinished, segments: Sequence[Segment], bad: Sequence[BadFrame]) -> Sealed:
    of_index = {segment.index: segment for segment in segments}

    def mark(index: int) -> None:
        segment = of_index[index]
        # Pictures of footage that was changed meanwhile must not be kept.
        work.steady.require(segment)
        SpaceWatch(unfinished.folder).look()
        found = [asdict(one) for one in bad if segment.first <= one.frame <= segment.last]
        unfinished.mark(segment_mark(index), {_BAD_FRAMES: found})

    return mark


def bad_frames_of(work: Unfinished, count: int) -> tuple[BadFrame, ...]:
    """Frames of a rendered version of so many frames that could not be decoded, as its segments tell."""
    told = (work.marked(segment_mark(segment.index)) or {} for segment in segments_of(count))
    return tuple(BadFrame(**one) for facts in told for one in facts.get(_BAD_FRAMES, ()))


_Drawn = tuple[Planes, Planes, bool]


def _draw(
    renderings: Sequence[_Rendering],
    pair: PairSource,
    span: tuple[int, int],
    pool: ThreadPoolExecutor,
    threads: int,
    progress: Callable[[int], object],
    bad: list[BadFrame],
) -> None:
    """Decode each frame once, draw it for every version and hand it to the writers in order; what cannot be decoded is
    added to ``bad``.

    Drawing runs ahead of the handing over by as many frames as there are threads.
    """
    whole, bars = pair.whole or pair, bars_of(pair)
    under_way: deque[tuple[PairFrame, list[Future[_Drawn]]]] = deque()

    def hand_over() -> None:
        frame, futures = under_way.popleft()
        for rendering, future in zip(renderings, futures):
            left, right, unchanged = future.result()
            # What is shown in place of a frame is not what lies in the source's file.
            same = unchanged and not frame.bad
            for writer in rendering.writers:
                writer.write(frame.index, left, right, (same, same))
        progress(1)

    try:
        for frame in whole.filled_frames(*span):
            bad += frame.bad
            futures = [
                pool.submit(
                    render_pair,
                    frame.left,
                    frame.right,
                    whole.format,
                    rendering.plan.clip,
                    rendering.shot_of[frame.index],
                    frame.index,
                    spare_px=pair.spare_px,
                    bars=bars,
                )
                for rendering in renderings
            ]
            under_way.append((frame, futures))
            if len(under_way) >= threads:
                hand_over()
        while under_way:
            hand_over()
    finally:
        for _, futures in under_way:
            for future in futures:
                future.cancel()
