"""A clip measured segment by segment: what each left is kept, and put together at the end."""

from __future__ import annotations

import logging
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from postfix.deliver.durable import make_folder, write_durably
from postfix.errors import OutputError
from postfix.job.crew import Crew, Tell
from postfix.job.space import SpaceWatch
from postfix.job.steady import Steady
from postfix.job.unfinished import Unfinished
from postfix.measure.part import Part, assembled, measure_parts, part_bytes, part_from
from postfix.measure.table import MeasurementTable
from postfix.source.pair import PairSource
from postfix.source.segments import Segment, runs_of, segments_of
from postfix.source.shots import EditList

log = logging.getLogger("postfix")


@dataclass(frozen=True)
class Kept:
    """Where the measurement of each segment is kept.

    Attributes
    ----------
    work : Unfinished
        Of the output that needs the measurement.
    name : str
        Of the folder of these parts, and how their marks begin.
    """

    work: Unfinished
    name: str

    def mark(self, index: int) -> str:
        """Name of a segment's mark."""
        return f"{self.name}-{index:06d}"

    def write(self, index: int, data: bytes) -> None:
        """Keep what a segment left; raises OutputError."""
        folder = self.work.parts / self.name
        path = folder / f"{index:06d}.part"
        SpaceWatch(self.work.folder).look()
        try:
            make_folder(folder)
            write_durably(path, data)
            self.work.mark(self.mark(index), {})
        except OSError as error:
            raise OutputError(
                self.work.target,
                f"no way to keep what was measured ({error.strerror or error})",
                "room on the disk and a folder to write in",
                "mend that, and add --resume to carry on",
            ) from error

    def read(self, index: int) -> Part | None:
        """What a segment left; None where that is not there or not whole."""
        if self.work.marked(self.mark(index)) is None:
            return None
        try:
            return part_from((self.work.parts / self.name / f"{index:06d}.part").read_bytes())
        except (OSError, ValueError):
            return None


@dataclass(frozen=True)
class MeasureWork:
    """What all segments of a measurement need."""

    pair: PairSource
    every: int
    steady: Steady
    kept: Kept | None


def measure_run(work: MeasureWork, segments: Sequence[Segment], tell: Tell) -> list[tuple[int, bytes]]:
    """Measure consecutive segments; what each left is kept, or given back with its index where nothing is kept.

    Raises
    ------
    InputError
        Where a frame cannot be decoded, or the footage was changed.
    OutputError
        Where something cannot be kept.
    """
    given = []
    spans = [(segment.first, segment.last) for segment in segments]
    parts = measure_parts(work.pair, spans, every=work.every, progress=tell)
    try:
        for segment, part in zip(segments, parts):
            work.steady.require(segment)
            data = part_bytes(part)
            if work.kept is None:
                given.append((segment.index, data))
            else:
                work.kept.write(segment.index, data)
    finally:
        parts.close()
    return given


def measured_in_parts(
    pair: PairSource, cuts: EditList | None, *, every: int, crew: Crew, kept: Kept | None, tell: Tell, steady: Steady
) -> MeasurementTable:
    """Measure a pair; segments that are kept from an earlier run are not measured again.

    Raises
    ------
    InputError, OutputError
        As :func:`measure_run`.
    """
    segments = segments_of(pair.count)
    work = MeasureWork(pair, every, steady, kept)
    missing = list(segments)
    if kept is not None and kept.work.marks():
        missing = [segment for segment in segments if kept.read(segment.index) is None]
        marked = sum(name.startswith(f"{kept.name}-") for name in kept.work.marks())
        held = len(segments) - len(missing)
        if marked:
            log.info(
                "%s: %s of %d of %d segments kept from an earlier run%s",
                kept.work.target,
                "measurement" if kept.name == "measure" else kept.name,
                held,
                len(segments),
                f"; {marked - held} that were damaged since are measured anew" if marked > held else "",
            )
        tell(pair.count - sum(segment.count for segment in missing))
    given: dict[int, bytes] = {}
    for results in crew.carry_out(measure_run, work, runs_of(missing), tell):
        given.update(results)

    def parts() -> Iterator[Part]:
        for segment in segments:
            part = kept.read(segment.index) if kept is not None else part_from(given.pop(segment.index))
            if part is None:
                assert kept is not None
                raise OutputError(
                    kept.work.target, f"segment {segment.index} of its measurement gone", "all of them", "run again"
                )
            yield part

    shots, transitions = (None, None) if cuts is None else (cuts.shots, cuts.transitions)
    return assembled(pair, parts(), shots=shots, transitions=transitions, every=every)
