"""The measurement table as CSV text, one row a frame, and back."""

from __future__ import annotations

import csv
import math
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import replace
from functools import lru_cache
from pathlib import Path
from typing import Any

from postfix.measure.rows import RowsGathered
from postfix.measure.table import ClipInfo, FrameMeasure, MeasurementTable, RivalBox, ShotFinding
from postfix.measure.table_cells import (
    COLUMNS,
    END_BOXES,
    FIGURES,
    LATER_CELLS,
    LISTS,
    SHOT_CELLS,
    UNREADABLE,
    another_clip,
    check_columns,
    check_frame,
    clip_of,
    end_box,
    finding_of,
    no_rows,
    number,
    readable,
    shots_of,
    unreadable_row,
    wrong_length,
)
from postfix.measure.timecodes import TimecodesGathered
from postfix.outside import bounded_lines, cell_of, clipped, csv_line, text_of

_SHOT_DIGITS = {"confidence": 3, "offset_frames": 0, "offset_confidence": 3}
_BOXES_MAX, _BOX_DIGITS = 64, 7


def table_text(table: MeasurementTable) -> str:
    """The table as CSV; empty where nothing could be measured."""
    return "".join(table_lines(table))


def table_lines(table: MeasurementTable) -> Iterator[str]:
    """The rows of :func:`table_text` one by one, the header first, each with the line's end: as they are written."""
    clip = table.clip
    sizes = (clip.width_px, clip.height_px, str(clip.rate), clip.step_px)
    clip_cells = (cell_of(clip.name), *sizes, clip.footage, clip.spare_px, str(clip.pixel_aspect))
    yield csv_line(COLUMNS)
    for index, shot in enumerate(table.shots):
        shot_cells = _shot_cells(table.findings[index]) if table.findings else [""] * len(SHOT_CELLS)
        for frame, measure in enumerate(table.frames[shot.first : shot.last + 1], shot.first):
            where = (frame, table.timecodes[frame], cell_of(shot.name))
            yield csv_line((*where, *_frame_cells(measure), *shot_cells, *clip_cells))


def _frame_cells(measure: FrameMeasure) -> Iterator[str]:
    for name, digits in FIGURES.items():
        yield _cell(getattr(measure, name), digits)
    for name, (_, digits) in LISTS.items():
        yield ";".join(_cell(value, digits) for value in getattr(measure, name))
    for name in END_BOXES:
        yield ";".join(map(str, getattr(measure, name)))
    yield ";".join(_box_text(box) for box in measure.rivalry_boxes)
    yield "1" if measure.interpolated else ""
    yield cell_of(measure.note)


def _shot_cells(finding: ShotFinding) -> list[str]:
    confidence, offset, sure = (_cell(getattr(finding, name), digits) for name, digits in _SHOT_DIGITS.items())
    return [confidence, offset, sure, cell_of(finding.swap_reason), finding.transition, str(finding.transition_frames)]


def _box_text(box: RivalBox) -> str:
    return f"{box.eye} {box.x_px} {box.y_px} {box.width_px} {box.height_px}"


def _cell(value: float, digits: int) -> str:
    if not math.isfinite(value):
        return ""
    # Adding zero turns −0.0 into 0.0.
    return f"{round(value, digits) + 0.0:.{digits}f}"


def read_table(path: Path) -> MeasurementTable:
    """Read a measurement table back.

    Raises
    ------
    InputError
        Where the file is missing or is no such table; names the line.
    """
    with readable(path), path.open(encoding="utf-8-sig") as file:
        return _parsed(bounded_lines(file), path)


def as_written(table: MeasurementTable) -> MeasurementTable:
    """The table with the digits its file has, so that the same decisions follow from it and from the file."""
    path = Path(table.clip.name)
    with readable(path, is_file=False):
        return replace(_parsed(table_lines(table), path), seen_transitions=table.seen_transitions)


def _parsed(lines: Iterable[str], path: Path) -> MeasurementTable:
    rows = csv.DictReader(lines, strict=True)
    check_columns(rows.fieldnames, path)
    return _table(rows, path)


def _table(rows: Iterable[Mapping[str, str]], path: Path) -> MeasurementTable:
    """One row after the other: neither the text nor the rows are ever held as a whole but packed."""
    frames, timecodes = RowsGathered(), TimecodesGathered()
    starts: list[tuple[int, str]] = []
    findings: list[ShotFinding | None] = []
    first_clip: ClipInfo | None = None
    for index, row in enumerate(rows):
        try:
            check_frame(row["frame"], index)
            frames.add(_measure(row))
            clip, name = clip_of(row), text_of(row["shot"] or "")
            if not starts or name != starts[-1][1]:
                findings.append(finding_of(row))
                starts.append((index, name))
        except UNREADABLE as error:
            raise unreadable_row(path, index, error) from error
        if first_clip is not None and clip != first_clip:
            raise another_clip(path, index)
        first_clip = first_clip or clip
        timecodes.add(row["timecode"] or "", clip.rate)
    if first_clip is None:
        raise no_rows(path)
    read = frames.rows()
    shots, known = shots_of(starts, findings, len(read), path)
    return MeasurementTable(first_clip, read, timecodes.timecodes(), shots, known)


def _boxes(cell: str) -> tuple[RivalBox, ...]:
    boxes = []
    for part in cell.split(";", _BOXES_MAX) if cell else ():
        eye, *numbers = part.split(" ")
        if eye not in ("left", "right") or len(numbers) != 4 or max(map(len, numbers)) > _BOX_DIGITS:
            raise ValueError(f"{clipped(part)!r} is no box")
        boxes.append(RivalBox(eye, *(int(number) for number in numbers)))
    return tuple(boxes)


def _measure(row: Mapping[str, str]) -> FrameMeasure:
    figures = {name: _shared(row[name]) for name in FIGURES}
    if math.isnan(figures["confidence"]):
        figures["confidence"] = 0.0
    lists: dict[str, tuple[float, ...]] = {}
    for name, (length, _) in LISTS.items():
        values = tuple(_shared(cell) for cell in row.get(name, LATER_CELLS.get(name, "")).split(";"))
        if len(values) != length:
            raise wrong_length(name, len(values))
        lists[name] = values
    ends = {name: end_box(row[name]) for name in END_BOXES}
    facts: dict[str, Any] = {**figures, **lists, **ends}
    boxes, interpolated = _boxes(row["rivalry_boxes"]), row["interpolated"] == "1"
    return FrameMeasure(**facts, rivalry_boxes=boxes, interpolated=interpolated, note=text_of(row["note"] or ""))


@lru_cache(maxsize=1 << 12)
def _shared(cell: str) -> float:
    """The number in a cell, of cells alike read once: neighbouring rows often hold the same."""
    return number(cell)
