"""A whole clip → the measurement table, decoding once and measuring on all cores with bounded memory."""

from __future__ import annotations

from contextlib import closing

from postfix.measure.part import Progress, assembled, clip_info, measure_parts
from postfix.measure.table import MeasurementTable
from postfix.source.pair import PairSource
from postfix.source.segments import segments_of
from postfix.source.shots import Shot, Transition

__all__ = ["Progress", "clip_info", "measure_clip"]


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
        Threads that measure; :func:`postfix.effort.current` says unless given. The figures do not depend on it.
    every : int
        Measure every so many frames only, for a quick look; those between are filled in and marked.

    Raises
    ------
    InputError
        Where a frame cannot be decoded.
    """
    runs = [(segment.first, segment.last) for segment in segments_of(pair.count)]
    with closing(measure_parts(pair, runs, every=every, progress=progress, workers=workers)) as parts:
        return assembled(pair, parts, shots=shots, transitions=transitions, every=every)
