"""Everything a measurement says besides its figures, in sentences: for a person to read, never acted on."""

from __future__ import annotations

import itertools
from collections.abc import Iterable, Sequence
from dataclasses import asdict, dataclass
from typing import Any, Literal

import numpy as np

from postfix.measure.active import windows_in_source
from postfix.measure.between import NOT_MEASURED
from postfix.measure.differences import Difference, differences
from postfix.measure.edge_runs import edge_runs
from postfix.measure.shot import BOTH_STILL
from postfix.measure.suspicions import Suspicion, suspicions
from postfix.measure.table import FrameMeasure, MeasurementTable, columns_of_rows
from postfix.source.pair import AS_GIVEN, Reading
from postfix.source.shots import EditList, Shot, disagreements

RIVALRY_PCT = 0.3
"""Share of the picture seen by one eye alone from which a frame is named: project default, no source. Clean photographs
measured up to 0.2 %."""

LOW_CONFIDENCE = 0.5
"""A shot below this is named: project default, no source."""

_STRETCHES_NAMED = 2
"""Of a note that comes and goes more often only the first is named: drawn pictures may each be shown twice."""

Kind = Literal["list", "black", "unmeasured", "still", "confidence", "rivalry", "edge"]


@dataclass(frozen=True)
class Remark:
    """One thing a person should know.

    Attributes
    ----------
    kind : str
        ``list``: an edit list and the picture disagree. ``black``: bars or windows are in the source. ``unmeasured``:
        frames that were left out or could not be measured. ``still``: frames that repeat the one before, with its
        figures. ``confidence``: a shot's figures are doubtful. ``rivalry``: one eye sees what the other does not.
        ``edge``: content in front of the screen touches a side edge.
    shot : str
        Empty where it is about the clip.
    text : str
        As a sentence.
    facts : dict
        The same as data; empty where the sentence is all.
    """

    kind: Kind
    shot: str
    text: str
    facts: dict[str, Any]


@dataclass(frozen=True)
class Told:
    """What a measured clip says besides its figures."""

    differences: tuple[Difference, ...]
    suspicions: tuple[Suspicion, ...]
    remarks: tuple[Remark, ...]

    def texts(self, *, edges: bool = False) -> tuple[str, ...]:
        """All of it as sentences; with what touches the side edges only where no flag says so already."""
        return (*(one.text for one in self.suspicions), *self.remarks_texts(edges=edges))

    def remarks_texts(self, *, edges: bool = False) -> tuple[str, ...]:
        """The same without suspicions, which ask for a decision."""
        said = [one.text for one in self.differences]
        return (*said, *(one.text for one in self.remarks if edges or one.kind != "edge"))


def told(table: MeasurementTable, reading: Reading = AS_GIVEN, listed: EditList | None = None) -> Told:
    """Gather it.

    Parameters
    ----------
    table : MeasurementTable
    reading : Reading
        With which it was measured.
    listed : EditList, optional
        Where the shots come from a list: it is held against the picture.
    """
    remarks = (
        *_quick_look(table),
        *_against_list(table, listed),
        *(Remark("black", one.shot, one.sentence(), asdict(one)) for one in windows_in_source(table)),
        *itertools.chain.from_iterable(_of_shot(table, index) for index in range(len(table.shots))),
        *(Remark("edge", run.shot, run.sentence(), asdict(run)) for run in edge_runs(table)),
    )
    return Told(differences(table), suspicions(table, reading), remarks)


def _quick_look(table: MeasurementTable) -> Iterable[Remark]:
    count = len(table.frames)
    measured = sum(not frame.interpolated and frame.note != NOT_MEASURED for frame in table.frames)
    if measured < count:
        text = (
            f"a quick look: {measured} of {count} frames were measured and the others filled in; a late eye, and what "
            "shows only in between, are not found"
        )
        yield Remark("unmeasured", "", text, {"measured": measured, "frames": count})


def _against_list(table: MeasurementTable, listed: EditList | None) -> Iterable[Remark]:
    if listed is None or table.seen_transitions is None:
        return
    timecode = table.timecodes[0] or None if table.timecodes else None
    for text in disagreements(listed.transitions, table.seen_transitions, rate=table.clip.rate, timecode=timecode):
        yield Remark("list", "", text, {})


def _of_shot(table: MeasurementTable, index: int) -> Iterable[Remark]:
    shot = table.shots[index]
    yield from _notes(table, shot)
    if table.findings:
        confidence = table.findings[index].confidence
        frames = table.frames[shot.first : shot.last + 1]
        ends = columns_of_rows(frames, ("near_pct", "far_pct"))
        if confidence < LOW_CONFIDENCE and any(np.isfinite(values).any() for values in ends.values()):
            text = f"{shot.name}: its figures are doubtful (confidence {confidence:.2f}); look before relying on them"
            yield Remark("confidence", shot.name, text, {"confidence": round(confidence, 3)})
    yield from _rivalry(table, shot)


def _notes(table: MeasurementTable, shot: Shot) -> Iterable[Remark]:
    """One for each note, with the stretches of measured frames that have it."""
    stretches: dict[str, list[list[int]]] = {}
    rows = enumerate(table.frames[shot.first : shot.last + 1], shot.first)
    measured = 0
    for note, stretch in itertools.groupby((one for one in rows if not one[1].interpolated), lambda one: one[1].note):
        frames = [frame for frame, _ in stretch]
        measured += len(frames)
        if note:
            stretches.setdefault(note, []).append(frames)
    for note, places in stretches.items():
        count = sum(len(place) for place in places)
        where = " and ".join(_frames_words(place) for place in places)
        if len(places) > _STRETCHES_NAMED:
            of = "" if measured == shot.last - shot.first + 1 else "measured "
            where = f"{count} of the {measured} {of}frames, first {_frames_words(places[0])}"
        facts = {"note": note, "frames": count, "stretches": [(place[0], place[-1]) for place in places]}
        kind: Kind = "still" if note == BOTH_STILL else "unmeasured"
        yield Remark(kind, shot.name, f"{shot.name}, {where}: {note}", facts)


def _rivalry(table: MeasurementTable, shot: Shot) -> Iterable[Remark]:
    # Frames filled in between others were not seen, and have no boxes.
    columns = columns_of_rows(table.frames[shot.first : shot.last + 1], ("rivalry_pct", "interpolated"))
    share = np.where(columns["interpolated"] == 0, columns["rivalry_pct"], np.nan)
    named = (shot.first + np.flatnonzero(share >= RIVALRY_PCT)).tolist()
    if not named:
        return
    worst = shot.first + int(np.nanargmax(share))
    most = table.frames[worst].rivalry_pct
    text = (
        f"{shot.name}: one eye sees what the other does not in {len(named)} of its frames, most in frame {worst} "
        f"({most:.2f} % of the picture{_place(table.frames[worst])})"
    )
    yield Remark("rivalry", shot.name, text, {"frames": named, "worst": worst})


def _place(frame: FrameMeasure) -> str:
    if not frame.rivalry_boxes:
        return ""
    box = frame.rivalry_boxes[0]
    return f", {box.width_px}x{box.height_px} px at {box.x_px},{box.y_px} in the {box.eye} eye"


def _frames_words(frames: Sequence[int]) -> str:
    """Measured frames that follow each other; with their number where others lie between."""
    first, last = frames[0], frames[-1]
    if first == last:
        return f"frame {first}"
    if len(frames) == last - first + 1:
        return f"frames {first} to {last}"
    return f"the {len(frames)} measured frames from {first} to {last}"
