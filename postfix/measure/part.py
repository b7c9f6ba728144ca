"""Some frames of a clip measured by themselves, and the whole clip put together from such parts.

A frame is measured without regard to its neighbours. What only their order tells, such as cuts, standing still or an
eye that is late, is found from what each frame leaves when the parts are put together, the same however they were cut.
"""

from __future__ import annotations

from collections.abc import Callable, Generator, Iterable, Iterator, Sequence
from contextlib import closing
from dataclasses import astuple
from itertools import islice, pairwise
from typing import overload

import numpy as np

from postfix import effort
from postfix.measure.bad import bad_note, shown_while_measured
from postfix.measure.between import filled_in
from postfix.measure.frame import Trace, glance, measure_frame
from postfix.measure.part_kept import LUMA_SHAPE, OF_ORDER, SYNC_SHAPE, Part, Seen, part_bytes, part_from
from postfix.measure.rows import RowsGathered
from postfix.measure.shot import ShotWatcher, out_of_step, stillness, with_note
from postfix.measure.table import NAN, ClipInfo, FrameMeasure, MeasurementTable
from postfix.measure.timecodes import Timecodes
from postfix.source.in_order import in_order
from postfix.source.pair import PairSource
from postfix.source.picture import PictureFormat, Planes
from postfix.source.shots import Shot, Transition

__all__ = ["Part", "Progress", "assembled", "clip_info", "measure_part", "measure_parts", "part_bytes", "part_from"]

Progress = Callable[[int], None]
"""Called with the number of frames done since the last call."""

TONE_EVERY = 8
"""Brightness, colour, sharpness and the order of the eyes are looked at in every so many frames: they are judged by the
shot."""


def measure_part(
    pair: PairSource,
    first: int,
    last: int,
    *,
    every: int = 1,
    progress: Progress | None = None,
    workers: int | None = None,
) -> Part:
    """Measure frames ``first`` to ``last`` of a pair, both included.

    Parameters
    ----------
    pair : PairSource
    first, last : int
    every : int
        Measure every so many frames of the clip only, and its last; the others are looked at for cuts.
    progress : callable, optional
    workers : int, optional
        Threads that measure; :func:`postfix.effort.current` says unless given. The figures do not depend on it.

    Raises
    ------
    InputError
        Where a frame cannot be decoded, unless the pair is to go on; its row is then empty, and the note says why.
    """
    with closing(measure_parts(pair, ((first, last),), every=every, progress=progress, workers=workers)) as parts:
        return next(parts)


def measure_parts(
    pair: PairSource,
    runs: Sequence[tuple[int, int]],
    *,
    every: int = 1,
    progress: Progress | None = None,
    workers: int | None = None,
) -> Generator[Part, None, None]:
    """Like :func:`measure_part` for runs that follow each other without a gap, decoded in one go.

    Raises
    ------
    ValueError
        Where there is a gap.
    InputError
        As :func:`measure_part`; what was finished before has been given by then.
    """
    if any(after != last + 1 for (_, last), (after, _) in pairwise(runs)):
        raise ValueError(f"runs with a gap: {runs}")
    if not runs:
        return
    with closing(_measured(pair, runs[0][0], runs[-1][1], workers or effort.current().workers, every)) as looked_at:
        for first, last in runs:
            yield _part(first, last, every, islice(looked_at, last - first + 1), progress)


def _part(
    first: int,
    last: int,
    every: int,
    looked_at: Iterable[tuple[FrameMeasure | None, Trace]],
    progress: Progress | None,
) -> Part:
    count = last - first + 1
    rows, still = RowsGathered(), []
    measured, has_sync = (np.zeros(count, np.bool_) for _ in range(2))
    luma, sync = np.zeros((count, *LUMA_SHAPE), np.float32), np.zeros((count, *SYNC_SHAPE), np.uint8)
    order = np.full((count, OF_ORDER), NAN)
    head: Seen | None = None
    tail: Seen | None = None
    for index, (measure, trace) in enumerate(looked_at):
        rows.add(measure or FrameMeasure())
        measured[index] = measure is not None
        luma[index] = trace.cut.luma
        if trace.order is not None:
            order[index] = astuple(trace.order)
        # Frames that are no neighbours say nothing of an eye that is late by some frames, nor of standing still.
        seen = trace.seen if every == 1 else None
        if trace.sync is not None and every == 1:
            sync[index], has_sync[index] = (trace.sync.left, trace.sync.right), True
        still.append(stillness(tail, seen))
        tail = seen
        if index == 0:
            head = seen
        if progress is not None:
            progress(1)
    if len(still) != count:
        raise ValueError(f"{len(still)} frames from {first} to {last}")
    return Part(first, last, every, rows.rows(), measured, luma, sync, has_sync, order, tuple(still), head, tail)


def _measured(
    pair: PairSource, first: int, last: int, workers: int, every: int
) -> Generator[tuple[FrameMeasure | None, Trace], None, None]:
    """Rows in frame order, a few frames in flight at once; None where a frame was only looked at for cuts."""
    pixel_aspect, end = float(pair.pixel_aspect), pair.count - 1
    with_all = TONE_EVERY * every

    def each() -> Iterator[tuple[object, ...]]:
        for shown in shown_while_measured(pair).filled_frames(first, last, colour_every=with_all):
            frame = shown.index
            wanted, note = frame % every == 0 or frame == end, bad_note(pair, shown.bad)
            yield shown.left, shown.right, pair.format, pixel_aspect, wanted, frame % with_all == 0, note

    return in_order(_looked_at, each(), threads=workers, waiting=workers + 2, name="measure")


def _looked_at(
    left: Planes, right: Planes, fmt: PictureFormat, pixel_aspect: float, wanted: bool, with_all: bool, note: str
) -> tuple[FrameMeasure | None, Trace]:
    if note:
        return FrameMeasure(note=note), glance(left, fmt)
    if not wanted:
        return None, glance(left, fmt)
    return measure_frame(left, right, fmt, with_all=with_all, pixel_aspect=pixel_aspect)


def clip_info(pair: PairSource) -> ClipInfo:
    """What a plan must know of the clip."""
    fmt = pair.format
    return ClipInfo(
        pair.name,
        fmt.width,
        fmt.height,
        pair.rate,
        fmt.step_px,
        spare_px=pair.spare_px,
        pixel_aspect=pair.pixel_aspect,
    )


def assembled(
    pair: PairSource,
    parts: Iterable[Part],
    *,
    shots: tuple[Shot, ...] | None = None,
    transitions: tuple[Transition, ...] | None = None,
    every: int = 1,
) -> MeasurementTable:
    """The measurement of a whole clip, the same to the last bit however it was parted.

    Parameters
    ----------
    pair : PairSource
    parts : iterable of Part
        Of all frames, in order; taken one by one, and let go of.
    shots : tuple of Shot, optional
        Where the cuts are known; found in the picture otherwise.
    transitions : tuple of Transition, optional
        How the known shots begin; as seen in the picture otherwise.
    every : int
        With which the parts were measured.

    Raises
    ------
    ValueError
        Where the parts are not the clip's frames in order, or were measured with another ``every``.
    """
    watcher, rows, measured = ShotWatcher(shots), RowsGathered(), bytearray()
    before: Seen | None = None
    for part in parts:
        if part.first != len(measured) or part.every != every:
            raise ValueError(f"frames {part.first} to {part.last} of every {part.every} after {len(measured)}")
        notes = (stillness(before, part.head), *part.still[1:])
        for index, (row, note) in enumerate(zip(part.rows, notes)):
            watcher.add(part.trace(index))
            rows.add(with_note(row, note) if part.measured[index] else row)
        measured += part.measured.tobytes()
        before = part.tail
    if len(measured) != pair.count:
        raise ValueError(f"parts of {len(measured)} frames of {pair.count}")
    seen = watcher.transitions()
    shots = watcher.shots()
    frames: Sequence[FrameMeasure] = rows.rows()
    if not all(measured):
        frames = filled_in(_Gaps(frames, measured), shots)
    findings = watcher.findings(shots, frames, seen if transitions is None else transitions)
    frames, findings = out_of_step(frames, shots, findings)
    return MeasurementTable(
        clip=clip_info(pair),
        frames=frames,
        timecodes=Timecodes(pair.timecode, pair.rate, len(frames)),
        shots=shots,
        findings=findings,
        seen_transitions=(*seen, *watcher.black_ends()),
    )


class _Gaps(Sequence[FrameMeasure | None]):
    """Rows, and None where a frame was not measured."""

    def __init__(self, rows: Sequence[FrameMeasure], measured: bytearray) -> None:
        self._rows, self._measured = rows, measured

    def __len__(self) -> int:
        return len(self._measured)

    @overload
    def __getitem__(self, index: int) -> FrameMeasure | None: ...
    @overload
    def __getitem__(self, index: slice) -> Sequence[FrameMeasure | None]: ...
    def __getitem__(self, index: int | slice) -> FrameMeasure | Sequence[FrameMeasure | None] | None:
        if isinstance(index, slice):
            return _Gaps(self._rows[index], self._measured[index])
        return self._rows[index] if self._measured[index] else None
