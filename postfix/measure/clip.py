"""A whole clip → the measurement table, decoding once and measuring on all cores with bounded memory."""

from __future__ import annotations

import os
from collections import deque
from collections.abc import Callable, Iterator
from concurrent.futures import Future, ThreadPoolExecutor

import cv2

from postfix.measure.cuts import CutFinder, Signature, shots_between, signature
from postfix.measure.frame import measure_grey
from postfix.measure.table import ClipInfo, FrameMeasure, MeasurementTable
from postfix.source.pair import PairSource
from postfix.source.picture import PictureFormat, Planes, grey
from postfix.source.shots import Shot
from postfix.source.timecode import timecode_at

Progress = Callable[[int], None]
"""Called with the number of frames done since the last call."""


def clip_info(pair: PairSource) -> ClipInfo:
    """What a plan must know of the clip."""
    fmt = pair.format
    return ClipInfo(pair.name, fmt.width, fmt.height, pair.rate, fmt.step_px)


def measure_clip(
    pair: PairSource,
    *,
    shots: tuple[Shot, ...] | None = None,
    progress: Progress | None = None,
    workers: int | None = None,
) -> MeasurementTable:
    """Measure every frame.

    Parameters
    ----------
    pair : PairSource
    shots : tuple of Shot, optional
        Where the cuts are known; found in the picture otherwise.
    progress : callable, optional
    workers : int, optional
        Threads that measure; the number of cores unless given. The figures do not depend on it.

    Raises
    ------
    InputError
        Where a frame cannot be decoded.
    """
    measures: list[FrameMeasure] = []
    finder = CutFinder()
    for measure, seen in _measured(pair, workers or os.cpu_count() or 1):
        measures.append(measure)
        finder.add(seen)
        if progress is not None:
            progress(1)
    return MeasurementTable(
        clip=clip_info(pair),
        frames=tuple(measures),
        timecodes=tuple(timecode_at(pair.timecode, frame, pair.rate) for frame in range(len(measures))),
        shots=shots if shots is not None else shots_between(finder.first_frames(), len(measures)),
    )


def _measured(pair: PairSource, workers: int) -> Iterator[tuple[FrameMeasure, Signature]]:
    """Rows in frame order, a few frames in flight at once."""
    threads_before = cv2.getNumThreads()
    # Frames run side by side already; threads inside each would only compete with them.
    cv2.setNumThreads(1)
    waiting: deque[Future[tuple[FrameMeasure, Signature]]] = deque()
    try:
        with ThreadPoolExecutor(workers, thread_name_prefix="measure") as pool:
            for _, left, right in pair.frames():
                waiting.append(pool.submit(_measure_planes, left, right, pair.format))
                if len(waiting) > workers + 1:
                    yield waiting.popleft().result()
            while waiting:
                yield waiting.popleft().result()
    finally:
        for future in waiting:
            future.cancel()
        cv2.setNumThreads(threads_before)


def _measure_planes(left: Planes, right: Planes, fmt: PictureFormat) -> tuple[FrameMeasure, Signature]:
    left_grey, right_grey = grey(left, fmt), grey(right, fmt)
    return measure_grey(left_grey, right_grey), signature(left_grey)
