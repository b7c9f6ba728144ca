"""The measurement table as CSV text, one row a frame, and back."""

from __future__ import annotations

import csv
import io
import math
import sys
from collections.abc import Iterable, Mapping
from dataclasses import replace
from fractions import Fraction
from functools import lru_cache
from pathlib import Path
from typing import Any

from postfix.errors import InputError
from postfix.measure.table import EDGE_BANDS, NAN, ClipInfo, FrameMeasure, MeasurementTable, RivalBox, ShotFinding
from postfix.source.shots import Shot

_FIGURES = {
    "near_pct": 4,
    "far_pct": 4,
    "median_pct": 4,
    "nearest_pct": 4,
    "farthest_pct": 4,
    "left_edge_pct": 4,
    "right_edge_pct": 4,
    "vertical_px": 3,
    "rotation_deg": 4,
    "size_pct": 4,
    "keystone_pct": 4,
    "gain_pct": 2,
    "black_pct": 3,
    "red_gain_pct": 2,
    "green_gain_pct": 2,
    "blue_gain_pct": 2,
    "sharpness_pct": 1,
    "rivalry_pct": 3,
    "coverage_pct": 2,
    "confidence": 3,
    "top_edge_pct": 4,
    "bottom_edge_pct": 4,
    "left_beside_pct": 4,
    "right_beside_pct": 4,
}
_LISTS = {
    "left_rows_pct": (EDGE_BANDS, 3),
    "right_rows_pct": (EDGE_BANDS, 3),
    "left_hidden_px": (4, 2),
    "right_hidden_px": (4, 2),
    "left_bars_px": (2, 2),
    "right_bars_px": (2, 2),
}
_SHOT = (
    "shot_confidence",
    "offset_frames",
    "offset_confidence",
    "swap_reason",
    "transition",
    "transition_frames",
)
_CLIP = ("clip", "width_px", "height_px", "rate", "step_px")
COLUMNS = ("frame", "timecode", "shot", *_FIGURES, *_LISTS, "rivalry_boxes", "interpolated", "note", *_SHOT, *_CLIP)
"""In the order written. A list is its values joined by ``;``; a box is ``eye x y width height``. What belongs to the
whole shot or clip repeats in every row, so that the file stands alone and opens in any spreadsheet."""

_SHOT_DIGITS = {"confidence": 3, "offset_frames": 0, "offset_confidence": 3}
_BOXES_MAX = 64


def table_text(table: MeasurementTable) -> str:
    """The table as CSV; empty where nothing could be measured."""
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(COLUMNS)
    clip = table.clip
    clip_cells = (clip.name, clip.width_px, clip.height_px, str(clip.rate), clip.step_px)
    for index, shot in enumerate(table.shots):
        shot_cells = _shot_cells(table.findings[index]) if table.findings else [""] * len(_SHOT)
        for frame in range(shot.first, shot.last + 1):
            measure = table.frames[frame]
            figures = [_cell(getattr(measure, name), digits) for name, digits in _FIGURES.items()]
            lists = [
                ";".join(_cell(value, digits) for value in getattr(measure, name))
                for name, (_, digits) in _LISTS.items()
            ]
            boxes = ";".join(_box_text(box) for box in measure.rivalry_boxes)
            marks = (boxes, "1" if measure.interpolated else "", measure.note)
            where = (frame, table.timecodes[frame], shot.name)
            writer.writerow([*where, *figures, *lists, *marks, *shot_cells, *clip_cells])
    return out.getvalue()


def _shot_cells(finding: ShotFinding) -> list[str]:
    confidence, offset, sure = (_cell(getattr(finding, name), digits) for name, digits in _SHOT_DIGITS.items())
    return [confidence, offset, sure, finding.swap_reason, finding.transition, str(finding.transition_frames)]


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
    try:
        text = path.read_text(encoding="utf-8-sig")
    except OSError as error:
        raise InputError(
            path, f"no way to read it ({error.strerror})", "a measurement table", "check the path"
        ) from error
    except UnicodeDecodeError as error:
        raise InputError(
            path, "bytes that are no text", "a measurement table", "give a file that measure wrote"
        ) from error
    return _parsed(text, path)


def as_written(table: MeasurementTable) -> MeasurementTable:
    """The table with the digits its file has, so that the same decisions follow from it and from the file."""
    return replace(_parsed(table_text(table), Path(table.clip.name)), seen_transitions=table.seen_transitions)


def _parsed(text: str, path: Path) -> MeasurementTable:
    rows = csv.DictReader(io.StringIO(text), strict=True)
    try:
        missing = [name for name in COLUMNS if name not in (rows.fieldnames or ())]
        if missing and rows.fieldnames:
            raise InputError(
                path,
                f"no column {', '.join(missing[:3])}",
                "the columns that measure writes",
                "give a file that measure wrote",
            )
        return _table(rows, path)
    except csv.Error as error:
        raise InputError(path, f"no CSV ({error})", "a measurement table", "give a file that measure wrote") from error


def _table(rows: Iterable[Mapping[str, str]], path: Path) -> MeasurementTable:
    """One row after the other, so that the text is never held in pieces as well."""
    frames: list[FrameMeasure] = []
    names: list[str] = []
    timecodes: list[str] = []
    findings: list[ShotFinding | None] = []
    first_clip: ClipInfo | None = None
    for index, row in enumerate(rows):
        try:
            if int(row["frame"]) != index:
                raise ValueError(f"frame {row['frame']}")
            frames.append(_measure(row))
            clip = _clip(row)
            if not names or row["shot"] != names[-1]:
                findings.append(_finding(row))
        except (ValueError, TypeError, ZeroDivisionError, AttributeError) as error:
            raise InputError(
                path,
                f"line {index + 2} unreadable ({error})",
                f"the figures of frame {index}",
                "restore the row or measure the source again",
            ) from error
        if first_clip is not None and clip != first_clip:
            raise InputError(
                path,
                f"another clip in line {index + 2}",
                "one clip in one table",
                "keep the tables of different clips apart",
            )
        first_clip = first_clip or clip
        names.append(sys.intern(row["shot"] or ""))
        timecodes.append(row["timecode"] or "")
    if first_clip is None:
        raise InputError(path, "no rows", "one row a frame", "measure the source again")
    known = tuple(finding for finding in findings if finding is not None)
    shots = _shots(names, path)
    if known and len(known) != len(shots):
        raise InputError(
            path,
            f"findings for {len(known)} of {len(shots)} shots",
            "the columns of a shot filled for every shot or for none",
            "restore the columns or measure the source again",
        )
    return MeasurementTable(first_clip, tuple(frames), tuple(timecodes), shots, known)


def _finding(row: Mapping[str, str]) -> ShotFinding | None:
    """What a shot's first row says of the whole shot; None where nobody looked."""
    if not row["transition"]:
        return None
    frames = int(row["transition_frames"])
    if row["transition"] not in ("cut", "dissolve") or frames < 0:
        raise ValueError(f"{row['transition']} over {frames} frames is no transition")
    sure = [
        0.0 if math.isnan(value) else value
        for value in map(_number, (row["shot_confidence"], row["offset_confidence"]))
    ]
    return ShotFinding(
        sure[0], _number(row["offset_frames"]), sure[1], row["swap_reason"] or "", row["transition"], frames
    )


def _boxes(cell: str) -> tuple[RivalBox, ...]:
    boxes = []
    for part in cell.split(";", _BOXES_MAX) if cell else ():
        eye, *numbers = part.split(" ")
        if eye not in ("left", "right") or len(numbers) != 4:
            raise ValueError(f"{part!r} is no box")
        boxes.append(RivalBox(eye, *(int(number) for number in numbers)))
    return tuple(boxes)


def _clip(row: Mapping[str, str]) -> ClipInfo:
    clip = ClipInfo(
        row["clip"], int(row["width_px"]), int(row["height_px"]), Fraction(row["rate"]), int(row["step_px"])
    )
    if clip.width_px < 1 or clip.height_px < 1 or clip.rate <= 0 or clip.step_px < 1:
        raise ValueError("a size, rate or step that is not above zero")
    return clip


def _measure(row: Mapping[str, str]) -> FrameMeasure:
    figures = {name: _shared(row[name]) for name in _FIGURES}
    if math.isnan(figures["confidence"]):
        figures["confidence"] = 0.0
    lists: dict[str, tuple[float, ...]] = {}
    for name, (length, _) in _LISTS.items():
        values = tuple(_shared(cell) for cell in row[name].split(";"))
        if len(values) != length:
            raise ValueError(f"{name} holds {len(values)} values, not {length}")
        lists[name] = values
    facts: dict[str, Any] = {**figures, **lists}
    boxes, interpolated = _boxes(row["rivalry_boxes"]), row["interpolated"] == "1"
    return FrameMeasure(**facts, rivalry_boxes=boxes, interpolated=interpolated, note=row["note"] or "")


@lru_cache(maxsize=1 << 16)
def _shared(cell: str) -> float:
    """The number in a cell, one object for all cells alike: a reel has millions of them."""
    return _number(cell)


def _number(cell: str | None) -> float:
    if cell is None or cell.strip() == "":
        return NAN
    value = float(cell)
    if not math.isfinite(value):
        raise ValueError(f"{cell} is no figure")
    return value


def _shots(names: list[str], path: Path) -> tuple[Shot, ...]:
    """Stretches of equal names; a name may not come back later."""
    starts = [i for i, name in enumerate(names) if i == 0 or name != names[i - 1]]
    ends = [*starts[1:], len(names)]
    shots = tuple(Shot(names[first], first, after - 1) for first, after in zip(starts, ends))
    seen: set[str] = set()
    for shot in shots:
        if not shot.name or shot.name in seen:
            raise InputError(
                path,
                f"shot {shot.name!r} in line {shot.first + 2}",
                "a name for each shot, in one stretch of frames",
                "name the shots apart",
            )
        seen.add(shot.name)
    return shots
