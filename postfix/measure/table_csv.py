"""The measurement table as CSV text, one row a frame, and back."""

from __future__ import annotations

import csv
import io
import math
from collections.abc import Iterable, Mapping
from dataclasses import replace
from functools import lru_cache
from pathlib import Path
from typing import Any

from postfix.measure.table import ClipInfo, FrameMeasure, MeasurementTable, RivalBox, ShotFinding
from postfix.measure.table_cells import (
    COLUMNS,
    END_BOXES,
    FIGURES,
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
from postfix.outside import bounded_lines, cell_of, clipped, text_of

_SHOT_DIGITS = {"confidence": 3, "offset_frames": 0, "offset_confidence": 3}
_BOXES_MAX, _BOX_DIGITS = 64, 7


def table_text(table: MeasurementTable) -> str:
    """The table as CSV; empty where nothing could be measured."""
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(COLUMNS)
    clip = table.clip
    sizes = (clip.width_px, clip.height_px, str(clip.rate), clip.step_px)
    clip_cells = (cell_of(clip.name), *sizes, clip.footage, clip.spare_px, str(clip.pixel_aspect))
    for index, shot in enumerate(table.shots):
        shot_cells = _shot_cells(table.findings[index]) if table.findings else [""] * len(SHOT_CELLS)
        for frame in range(shot.first, shot.last + 1):
            measure = table.frames[frame]
            figures = [_cell(getattr(measure, name), digits) for name, digits in FIGURES.items()]
            lists = [
                ";".join(_cell(value, digits) for value in getattr(measure, name))
                for name, (_, digits) in LISTS.items()
            ]
            boxes = ";".join(_box_text(box) for box in measure.rivalry_boxes)
            ends = (";".join(map(str, getattr(measure, name))) for name in END_BOXES)
            marks = (*ends, boxes, "1" if measure.interpolated else "", cell_of(measure.note))
            where = (frame, table.timecodes[frame], cell_of(shot.name))
            writer.writerow([*where, *figures, *lists, *marks, *shot_cells, *clip_cells])
    return out.getvalue()


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
    with readable(path):
        return _parsed(path.read_text(encoding="utf-8-sig"), path)


def as_written(table: MeasurementTable) -> MeasurementTable:
    """The table with the digits its file has, so that the same decisions follow from it and from the file."""
    return replace(_parsed(table_text(table), Path(table.clip.name)), seen_transitions=table.seen_transitions)


def _parsed(text: str, path: Path) -> MeasurementTable:
    with readable(path, is_file=False):
        rows = csv.DictReader(bounded_lines(io.StringIO(text)), strict=True)
        check_columns(rows.fieldnames, path)
        return _table(rows, path)


def _table(rows: Iterable[Mapping[str, str]], path: Path) -> MeasurementTable:
    """One row after the other, so that the text is never held in pieces as well."""
    frames: list[FrameMeasure] = []
    timecodes: list[str] = []
    starts: list[tuple[int, str]] = []
    findings: list[ShotFinding | None] = []
    first_clip: ClipInfo | None = None
    for index, row in enumerate(rows):
        try:
            check_frame(row["frame"], index)
            frames.append(_measure(row))
            clip, name = clip_of(row), text_of(row["shot"] or "")
            if not starts or name != starts[-1][1]:
                findings.append(finding_of(row))
                starts.append((index, name))
        except UNREADABLE as error:
            raise unreadable_row(path, index, error) from error
        if first_clip is not None and clip != first_clip:
            raise another_clip(path, index)
        first_clip = first_clip or clip
        timecodes.append(row["timecode"] or "")
    if first_clip is None:
        raise no_rows(path)
    shots, known = shots_of(starts, findings, len(frames), path)
    return MeasurementTable(first_clip, tuple(frames), tuple(timecodes), shots, known)


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
        values = tuple(_shared(cell) for cell in row[name].split(";"))
        if len(values) != length:
            raise wrong_length(name, len(values))
        lists[name] = values
    ends = {name: end_box(row[name]) for name in END_BOXES}
    facts: dict[str, Any] = {**figures, **lists, **ends}
    boxes, interpolated = _boxes(row["rivalry_boxes"]), row["interpolated"] == "1"
    return FrameMeasure(**facts, rivalry_boxes=boxes, interpolated=interpolated, note=text_of(row["note"] or ""))


@lru_cache(maxsize=1 << 16)
def _shared(cell: str) -> float:
    """The number in a cell, one object for all cells alike: a reel has millions of them."""
    return number(cell)
