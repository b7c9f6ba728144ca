"""A whole clip → the measurement table, decoding once and measuring on all cores with bounded memory."""

from __future__ import annotations

import os
from collections.abc import Callable, Iterator
from dataclasses import replace

from postfix.measure.between import filled_in
from postfix.measure.frame import Trace, glance, measure_frame
from postfix.measure.shot import ShotWatcher, out_of_step, with_note
from postfix.measure.table import ClipInfo, FrameMeasure, MeasurementTable
from postfix.source.in_order import in_order
from postfix.source.pair import PairSource
from postfix.source.picture import PictureFormat, Planes
from postfix.source.shots import Shot, Transition
from postfix.source.timecode import timecode_at

Progress = Callable[[int], None]
"""Called with the number of frames done since the last call."""

TONE_EVERY = 8
"""Brightness, colour, sharpness and the order of the eyes are looked at in every so many frames: they are judged by the
shot."""


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


def measure_clip(
    pair: PairSource,
    *,
    shots: tuple[Shot, ...] | None = None,
    transitions: tuple[Transition, ...] | None = None,
    progress: Progress | None = None,
    workers: int | None = None,
    every: int = 1,
) -> MeasurementTable:
    """Measure a clip.

    Parameters
    ----------
    pair : PairSource
    shots : tuple of Shot, optional
        Where the cuts are known; found in the picture otherwise.
    transitions : tuple of Transition, optional
        How the known shots begin; as seen in the picture otherwise.
    progress : callable, optional
    workers : int, optional
        Threads that measure; the number of cores unless given. The figures do not depend on it.
    every : int
        Measure every so many frames only, for a quick look; those between are filled in and marked.

    Raises
    ------
    InputError
        Where a frame cannot be decoded.
    """
    found: list[FrameMeasure | None] = []
    watcher = ShotWatcher(shots)
    for measure, trace in _measured(pair, workers or os.cpu_count() or 1, every):
        note = watcher.add(trace if every == 1 else _apart(trace))
        found.append(None if measure is None else with_note(measure, note))
        if progress is not None:
            progress(1)
    seen = watcher.transitions()
    shots = watcher.shots()
    frames = filled_in(found, shots)
    findings = watcher.findings(shots, frames, seen if transitions is None else transitions)
    findings = out_of_step(frames, shots, findings)
    return MeasurementTable(
        clip=clip_info(pair),
        frames=tuple(frames),
        timecodes=tuple(timecode_at(pair.timecode, frame, pair.rate) for frame in range(len(frames))),
        shots=shots,
        findings=findings,
        seen_transitions=(*seen, *watcher.black_ends()),
    )


def _measured(pair: PairSource, workers: int, every: int) -> Iterator[tuple[FrameMeasure | None, Trace]]:
    """Rows in frame order, a few frames in flight at once; None where a frame was only looked at for cuts."""
    pixel_aspect, last = float(pair.pixel_aspect), pair.count - 1
    each = (
        (left, right, pair.format, pixel_aspect, frame % every == 0 or frame == last, frame % (TONE_EVERY * every) == 0)
        for frame, left, right in pair.frames(colour_every=TONE_EVERY * every)
    )
    return in_order(_looked_at, each, threads=workers, waiting=workers + 2, name="measure")


def _looked_at(
    left: Planes, right: Planes, fmt: PictureFormat, pixel_aspect: float, wanted: bool, with_all: bool
) -> tuple[FrameMeasure | None, Trace]:
    if not wanted:
        return None, glance(left, fmt)
    return measure_frame(left, right, fmt, with_all=with_all, pixel_aspect=pixel_aspect)


def _apart(trace: Trace) -> Trace:
    """Frames that are no neighbours say nothing of an eye that is late by some frames, nor of standing still."""
    return replace(trace, sync=None, seen=None)
