"""What the cells of a measurement table hold, and what is said of those that hold something else.

Both readers share it: the one of whole tables and the one of columns.
"""

from __future__ import annotations

import csv
import math
import re
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from pathlib import Path

from postfix.errors import InputError
from postfix.measure.table import EDGE_BANDS, NAN, NEARER_STEPS_PCT, ClipInfo, ShotFinding
from postfix.outside import (
    MAX_FIGURE,
    MAX_FRAMES,
    MAX_SIDE_PX,
    TABLE_MAX_BYTES,
    LongLine,
    check_size,
    clipped,
    fraction_of,
    text_of,
)
from postfix.source.shots import Shot

FIGURES = {
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
"""Columns of one figure, and the digits behind the point."""

LISTS = {
    "left_rows_pct": (EDGE_BANDS, 3),
    "right_rows_pct": (EDGE_BANDS, 3),
    "left_hidden_px": (4, 2),
    "right_hidden_px": (4, 2),
    "left_bars_px": (2, 2),
    "right_bars_px": (2, 2),
    "nearer_share_pct": (len(NEARER_STEPS_PCT), 1),
    "nearer_width_pct": (len(NEARER_STEPS_PCT), 1),
    "nearer_height_pct": (len(NEARER_STEPS_PCT), 1),
}
"""Columns of several figures, how many, and the digits behind the point."""

END_BOXES = ("near_box", "far_box")
"""Columns of one place in the left eye: four whole numbers, or nothing."""

SHOT_CELLS = (
    "shot_confidence",
    "offset_frames",
    "offset_confidence",
    "swap_reason",
    "transition",
    "transition_frames",
)
CLIP_CELLS = ("clip", "width_px", "height_px", "rate", "step_px", "footage", "spare_px", "pixel_aspect")
_NO_STEPS = ";" * (len(NEARER_STEPS_PCT) - 1)
LATER_CELLS = {
    "spare_px": "0",
    "pixel_aspect": "1",
    "nearer_share_pct": _NO_STEPS,
    "nearer_width_pct": _NO_STEPS,
    "nearer_height_pct": _NO_STEPS,
}
"""Columns that a table may lack, and what each then counts as: what was measured before there was such a thing."""
COLUMNS = (
    *("frame", "timecode", "shot", *FIGURES, *LISTS, *END_BOXES),
    *("rivalry_boxes", "interpolated", "note", *SHOT_CELLS, *CLIP_CELLS),
)
"""In the order written. A list is its values joined by ``;``; a box of rivalry is ``eye x y width height``. What
belongs to the whole shot or clip repeats in every row, so that the file stands alone and opens in any spreadsheet."""

_BOX = re.compile(r"[0-9]{1,6};[0-9]{1,6};[1-9][0-9]{0,5};[1-9][0-9]{0,5}")
_FOOTAGE = re.compile(r"[0-9a-f]{16}|")

UNREADABLE = (ValueError, TypeError, ZeroDivisionError, AttributeError)
"""What a row that does not hold what it should runs into."""


@contextmanager
def readable(path: Path, *, is_file: bool = True) -> Iterator[None]:
    """Whatever is wrong with a file as a whole, as something that a person can act on."""
    try:
        if is_file:
            check_size(path, TABLE_MAX_BYTES, "a measurement table")
        yield
    except OSError as error:
        raise InputError(
            path, f"no way to read it ({error.strerror})", "a measurement table", "check the path"
        ) from error
    except UnicodeDecodeError as error:
        raise InputError(
            path, "bytes that are no text", "a measurement table", "give a file that measure wrote"
        ) from error
    except (csv.Error, LongLine) as error:
        raise InputError(path, f"no CSV ({error})", "a measurement table", "give a file that measure wrote") from error


def check_columns(names: Sequence[str] | None, path: Path) -> None:
    """Refuse a file that lacks a column; ``names`` is its first row, None where it holds nothing at all.

    Raises
    ------
    InputError
    """
    if names is None:
        raise no_rows(path)
    missing = [name for name in COLUMNS if name not in names and name not in LATER_CELLS]
    if missing:
        raise InputError(
            path,
            f"no column {', '.join(missing[:3])}",
            "the columns that measure writes",
            "give a file that measure wrote",
        )


def no_rows(path: Path) -> InputError:
    """What to say of a table without a frame."""
    return InputError(path, "no rows", "one row a frame", "measure the source again")


def unreadable_row(path: Path, frame: int, error: Exception) -> InputError:
    """What to say of a row that does not hold what it should; ``frame`` is the one it stands for."""
    return InputError(
        path,
        f"line {frame + 2} unreadable ({clipped(str(error))})",
        f"the figures of frame {frame}",
        "restore the row or measure the source again",
    )


def another_clip(path: Path, frame: int) -> InputError:
    """What to say of a row that is of another clip than those before."""
    return InputError(
        path,
        f"another clip in line {frame + 2}",
        "one clip in one table",
        "keep the tables of different clips apart",
    )


def check_frame(cell: str | None, frame: int) -> None:
    """Raises ValueError where a row is of another frame than its place says, or of none that a clip can have."""
    if frame >= MAX_FRAMES:
        raise ValueError(f"more than {MAX_FRAMES} frames")
    if int(cell) != frame:  # type: ignore[arg-type]  # None is as unreadable as text is
        raise ValueError(f"frame {cell}")


def number(cell: str | None) -> float:
    """A figure; NaN where the cell is empty.

    Raises
    ------
    ValueError
        Where it is none, not finite, or larger than anything that is measured.
    """
    if cell is None or cell.strip() == "":
        return NAN
    value = float(cell)
    if not abs(value) <= MAX_FIGURE:
        raise ValueError(f"{clipped(cell)} is no figure")
    return value


def wrong_length(name: str, found: int) -> ValueError:
    """What to say of a list column with too few or too many values."""
    return ValueError(f"{name} holds {found} values, not {LISTS[name][0]}")


def end_box(cell: str | None) -> tuple[int, ...]:
    """Where an end is to be found; nothing where the cell is empty. Raises ValueError where it holds no box."""
    if not cell:
        return ()
    if not _BOX.fullmatch(cell):
        raise ValueError(f"{clipped(cell)!r} is no box")
    return tuple(map(int, cell.split(";")))


def clip_of(row: Mapping[str, str]) -> ClipInfo:
    """The clip that a row is of. Raises ValueError and such where it cannot be."""
    width, height, step = (int(row[name]) for name in ("width_px", "height_px", "step_px"))
    spare = int(row.get("spare_px", LATER_CELLS["spare_px"]))
    aspect = fraction_of(row.get("pixel_aspect", LATER_CELLS["pixel_aspect"]))
    clip = ClipInfo(
        text_of(row["clip"] or ""), width, height, fraction_of(row["rate"]), step, row["footage"], spare, aspect
    )
    if max(width, height, step, spare) > MAX_SIDE_PX:
        raise ValueError(f"a size, step or spare columns of more than {MAX_SIDE_PX} pixels")
    if clip.width_px < 1 or clip.height_px < 1 or clip.rate <= 0 or clip.step_px < 1:
        raise ValueError("a size, rate or step that is not above zero")
    if clip.spare_px < 0:
        raise ValueError("spare columns below zero")
    if clip.pixel_aspect <= 0:
        raise ValueError("pixels whose width over height is not above zero")
    if not _FOOTAGE.fullmatch(clip.footage):
        raise ValueError(f"footage {clipped(clip.footage)!r} is no mark of 16 hexadecimal digits")
    return clip


def finding_of(row: Mapping[str, str]) -> ShotFinding | None:
    """What a shot's first row says of the whole shot; None where nobody looked."""
    if not row["transition"]:
        return None
    frames = int(row["transition_frames"])
    if row["transition"] not in ("cut", "dissolve") or not 0 <= frames <= MAX_FRAMES:
        raise ValueError(f"{clipped(row['transition'])} over {frames} frames is no transition")
    sure = [
        0.0 if math.isnan(value) else value for value in map(number, (row["shot_confidence"], row["offset_confidence"]))
    ]
    return ShotFinding(
        sure[0], number(row["offset_frames"]), sure[1], text_of(row["swap_reason"] or ""), row["transition"], frames
    )


def shots_of(
    starts: Sequence[tuple[int, str]], findings: Sequence[ShotFinding | None], count: int, path: Path
) -> tuple[tuple[Shot, ...], tuple[ShotFinding, ...]]:
    """The shots that begin at these frames under these names, and what is known of them: of every one or of none.

    Raises
    ------
    InputError
        Where a shot has no name or one that was there before, or where only some have findings.
    """
    ends = [*(first for first, _ in starts[1:]), count]
    shots = tuple(Shot(name, first, after - 1) for (first, name), after in zip(starts, ends))
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
    known = tuple(finding for finding in findings if finding is not None)
    if known and len(known) != len(shots):
        raise InputError(
            path,
            f"findings for {len(known)} of {len(shots)} shots",
            "the columns of a shot filled for every shot or for none",
            "restore the columns or measure the source again",
        )
    return shots, known
