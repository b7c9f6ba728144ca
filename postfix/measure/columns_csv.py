"""A measurement table's file, read straight into columns: as planning needs it, whatever the length of the reel.

The checks are those of :func:`postfix.measure.table_csv.read_table`, for the columns that are taken. A row is looked at
once; of equal cells, which a reel has millions of, only the first is turned into numbers.
"""

from __future__ import annotations

import csv
from array import array
from collections.abc import Iterator, Sequence
from operator import itemgetter
from pathlib import Path
from typing import Any, Literal

import numpy as np

from postfix.measure.columns import LISTS, SCALARS, SMALL, Columns
from postfix.measure.table import NAN, ClipInfo, ShotFinding
from postfix.measure.table_cells import (
    CLIP_CELLS,
    END_BOXES,
    FIGURES,
    LATER_CELLS,
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
from postfix.measure.table_cells import LISTS as CELL_LISTS
from postfix.outside import bounded_lines, text_of

_MOST_KEPT = 1 << 16
"""Numbers remembered; more different ones are seldom, and memory must not grow with them."""

Cells = Sequence[str]
"""One row; what a short one lacks is None, as for any reader of CSV, and what needs it raises."""


def read_columns(path: Path) -> Columns:
    """Read what planning needs of a measurement table: the same values as ``columns_of(read_table(path))``.

    Raises
    ------
    InputError
        Where the file is missing or is no such table; names the line. What is wrong in other columns is not seen.
    """
    with readable(path), path.open(encoding="utf-8-sig") as file:
        rows = csv.reader(bounded_lines(file), strict=True)
        header = next(rows, None)
        check_columns(header, path)
        assert header is not None
        return _columns(_whole(rows, len(header)), header, path)


def _whole(rows: Iterator[list[str]], length: int) -> Iterator[Cells]:
    """Rows as long as the header; empty lines are none."""
    for row in rows:
        if len(row) == length:
            yield row
        elif row:
            yield [*row, *(None,) * (length - len(row))]  # type: ignore[list-item]


def _columns(rows: Iterator[Cells], header: list[str], path: Path) -> Columns:
    # Of two columns of one name the last counts.
    place = {name: index for index, name in enumerate(header)}
    frame_at, shot_at = place["frame"], place["shot"]
    figures, of_clip = _Figures(place), itemgetter(*(place[name] for name in CLIP_CELLS if name in place))
    starts: list[tuple[int, str]] = []
    findings: list[ShotFinding | None] = []
    clip: ClipInfo | None = None
    clip_cells: object = None
    index, shot = -1, ""
    for index, row in enumerate(rows):
        try:
            check_frame(row[frame_at], index)
            figures.add(row)
            told = clip
            cells = of_clip(row)
            if cells != clip_cells:
                clip_cells, told = cells, clip_of(dict(zip(header, row)))
            if index == 0 or (row[shot_at] or "") != shot:
                shot = row[shot_at] or ""
                findings.append(finding_of(dict(zip(header, row))))
                starts.append((index, text_of(shot)))
        except UNREADABLE as error:
            raise unreadable_row(path, index, error) from error
        if told is not clip and clip is not None and told != clip:
            raise another_clip(path, index)
        clip = told
    if clip is None:
        raise no_rows(path)
    shots, known = shots_of(starts, findings, index + 1, path)
    dissolves = tuple(finding.transition_frames for finding in known) or (0,) * len(shots)
    return Columns(clip, shots, dissolves, **figures.arrays())


class _Numbers(dict[str, float]):
    """The number in a cell, each read once."""

    def __missing__(self, cell: str) -> float:
        if len(self) >= _MOST_KEPT:
            self.clear()
        value = self[cell] = number(cell)
        return value


class _Figures:
    """The figures of rows, gathered row by row in plain memory."""

    def __init__(self, place: dict[str, int]) -> None:
        numbers = _Numbers()
        # In the order of the file's columns, so that of two faults in a row the same is named by every reader.
        self._names = [name for name in FIGURES if name in SCALARS]
        self._number = numbers.__getitem__
        self._cells = itemgetter(*(place[name] for name in self._names))
        self._scalars = array("d")
        self._lists = [_List(name, place.get(name), numbers) for name in (*CELL_LISTS, *END_BOXES) if name in LISTS]

    def add(self, row: Cells) -> None:
        self._scalars.extend(map(self._number, self._cells(row)))
        for one in self._lists:
            one.add(LATER_CELLS[one.name] if one.place is None else row[one.place])

    def arrays(self) -> dict[str, Any]:
        """Each column's array, under its name."""
        scalars = np.frombuffer(self._scalars, np.float64).reshape(-1, len(self._names))
        arrays: dict[str, Any] = {name: scalars[:, index].copy() for index, name in enumerate(self._names)}
        arrays["confidence"] = np.nan_to_num(arrays["confidence"], nan=0.0)
        return arrays | {one.name: one.array() for one in self._lists}


class _List:
    """A column of several figures a row; ``place`` None where the file has no such column."""

    def __init__(self, name: str, place: int | None, numbers: _Numbers) -> None:
        self.name, self.place = name, place
        self._numbers = numbers
        self._kind: Literal["f", "d"] = "f" if name in SMALL else "d"
        self._values = array(self._kind)
        # Neighbouring rows often hold the same.
        self._cell: str = ""
        self._last = array(self._kind)

    def add(self, cell: str) -> None:
        if cell != self._cell or not self._last:
            self._cell, self._last = cell, self._read(cell)
        self._values.extend(self._last)

    def _read(self, cell: str) -> array[float]:
        if self.name in END_BOXES:
            return array("d", end_box(cell) or (NAN,) * LISTS[self.name])
        values = array(self._kind, map(self._numbers.__getitem__, cell.split(";")))
        if len(values) != LISTS[self.name]:
            raise wrong_length(self.name, len(values))
        return values

    def array(self) -> Any:
        return np.frombuffer(self._values, self._kind).reshape(-1, LISTS[self.name])
