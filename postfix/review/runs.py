"""What a finished job left on disk: the change log of every screen, checked and read back."""

from __future__ import annotations

import csv
import logging
import math
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import fields, replace
from fractions import Fraction
from itertools import pairwise
from pathlib import Path
from typing import Any, cast

import numpy as np

from postfix.deliver.changelog import SCHEMA
from postfix.errors import InputError
from postfix.limits import Limits
from postfix.outside import (
    JSON_MAX_BYTES,
    MAX_FIGURE,
    MAX_FRAMES,
    MAX_SIDE_PX,
    TABLE_MAX_BYTES,
    LongLine,
    bounded_bytes,
    bounded_lines,
    check_size,
    clipped,
    fraction_of,
    is_inside,
    is_path,
    json_from,
)
from postfix.plan.figures import Figures
from postfix.plan.model import Flag, HitKey, Misalignment, ShotPlan, WindowKey
from postfix.plan.settings import DEFAULT_WINDOWS, FILLS, SUBPIXEL, ConvergenceSettings, Subpixel, WindowSettings
from postfix.review.logged import NUMBER_COLUMNS, ClipFacts, FrameTable, LoggedFile, LoggedShot, Version
from postfix.review.members import figure as _figure
from postfix.review.members import member as _get
from postfix.review.story_read import logged_seats, read_camera, read_shot_story, read_story
from postfix.source.layout import LAYOUTS
from postfix.source.pair import AS_GIVEN, Reading
from postfix.source.picture import OnBad
from postfix.story.model import Seat
from postfix.viewing import Screen

log = logging.getLogger("postfix")

JSON_NAME, CSV_NAME = "changes.json", "changes.csv"


def find_versions(out: Path) -> dict[str, tuple[Version, ...]]:
    """Every version under a job's folder: by clip, in order of their folder's names; screens in order of theirs.

    ``out/<screen>/changes.json`` for a job of one clip (its key is empty), ``out/<clip>/<screen>/changes.json`` for a
    job of many, ``out/changes.json`` alone for a single version. Folders whose name begins with a dot are unfinished
    work and are passed over; so are those with a ``changes.json`` of something else, which are named in the log. Where
    different clips lie side by side, each is its own key.

    Raises
    ------
    InputError
        Where there is none, or one cannot be read.
    """
    found: dict[str, list[Path]] = {}
    single = out / JSON_NAME
    deeper = sorted([*out.glob(f"*/{JSON_NAME}"), *out.glob(f"*/*/{JSON_NAME}")])
    for path in [single] if single.is_file() and _is_ours(single) else deeper:
        parts = path.relative_to(out).parts[:-1]
        if any(part.startswith(".") for part in parts):
            continue
        if not is_inside(path, out):
            log.info("%s: passed over; it is a link to another place", path)
        elif _is_ours(path):
            found.setdefault("" if len(parts) < 2 else parts[0], []).append(path.parent)
        else:
            log.info("%s: passed over; it is no change log of this program", path)
    if not found:
        raise InputError(
            out,
            f"no {JSON_NAME} in any folder",
            "a folder that run or render wrote",
            "give the folder that was named with -o, or run the job first",
        )
    versions = {clip: tuple(read_version(folder) for folder in folders) for clip, folders in sorted(found.items())}
    single_job = versions.pop("", ())
    if len({version.clip.name for version in single_job}) > 1:
        for version in single_job:
            versions[version.clip.name] = (*versions.get(version.clip.name, ()), version)
    elif single_job:
        versions[""] = single_job
    return {clip: tuple(sorted(group, key=lambda v: v.screen.name)) for clip, group in sorted(versions.items())}


def _is_ours(path: Path) -> bool:
    """Whether a log is meant to be one of this program's: by its form, or by the table that is always beside it."""
    if (path.parent / CSV_NAME).exists():
        return True
    try:
        data = json_from(bounded_bytes(path, JSON_MAX_BYTES, "a change log").decode("utf-8-sig"))
    except (OSError, ValueError, RecursionError, InputError):
        return False
    return isinstance(data, dict) and data.get("schema") == SCHEMA


def read_version(folder: Path) -> Version:
    """Read ``changes.json`` and ``changes.csv`` of one version.

    Raises
    ------
    InputError
        Where one is missing, or is not what run writes; names the file and the place. So is one whose outputs lie
        anywhere but beneath its own folder.
    """
    path = folder / JSON_NAME
    try:
        version = _version(json_from(_text(path)), folder)
    except (ValueError, ZeroDivisionError, RecursionError, TypeError, AttributeError, OverflowError) as error:
        raise _unusable(path, str(error)) from error
    table = _frame_table(folder / CSV_NAME, version["clip"].frames)
    return Version(folder=folder, frames=table, **version)


def _unusable(path: Path, detail: str) -> InputError:
    return InputError(
        path,
        f"text that is no change log ({' '.join(detail.split())[:120]})",
        f"a change log of the form {SCHEMA} as run writes it",
        "run the job again with --force",
    )


def _text(path: Path) -> str:
    with _readable(path):
        return bounded_bytes(path, JSON_MAX_BYTES, "a change log").decode("utf-8-sig")


@contextmanager
def _readable(path: Path) -> Iterator[None]:
    """Whatever keeps a file from being read, as something that a person can act on."""
    try:
        yield
    except FileNotFoundError as error:
        raise InputError(path, "nothing", "what run wrote there", "run the job again with --force") from error
    except OSError as error:
        raise InputError(
            path, f"it unreadable ({error.strerror})", "a readable file", "check its permissions"
        ) from error
    except UnicodeDecodeError as error:
        raise _unusable(path, "bytes that are no text") from error


def _version(log: Any, folder: Path) -> dict[str, Any]:
    schema = _get(log, "schema", str)
    if schema != SCHEMA:
        raise ValueError(f"schema {schema!r}")
    tool, clip = _get(log, "tool", dict), _get(log, "clip", dict)
    libraries = tool.get("libraries", {})
    facts = ClipFacts(
        _get(clip, "name", str),
        _get(clip, "width_px", int),
        _get(clip, "height_px", int),
        fraction_of(_get(clip, "rate", str)),
        _get(clip, "frames", int),
        _get(clip, "spare_px", int) if "spare_px" in clip else 0,
        fraction_of(_get(clip, "pixel_aspect", str)) if "pixel_aspect" in clip else Fraction(1),
        _get(clip, "step_px", int) if "step_px" in clip else None,
        _get(clip, "footage", str) if "footage" in clip else "",
    )
    if facts.step_px is not None and facts.step_px < 1:
        raise ValueError(f"step_px is {facts.step_px}")
    if min(facts.width_px, facts.height_px, facts.frames) < 1 or facts.rate <= 0:
        raise ValueError("a size, rate or count that is not above zero")
    if facts.frames > MAX_FRAMES or max(facts.width_px, facts.height_px, facts.spare_px) > MAX_SIDE_PX:
        raise ValueError(f"more than {MAX_FRAMES} frames or {MAX_SIDE_PX} pixels")
    if facts.spare_px < 0 or facts.pixel_aspect <= 0:
        raise ValueError("spare columns below zero, or pixels of no width")
    screen = _get(log, "screen", dict)
    limits = _get(log, "limits", dict)
    seats = logged_seats(log)
    shots = tuple(_shot(entry, seats) for entry in _get(log, "shots", list))
    covered = [frame for shot in shots for frame in (shot.plan.first, shot.plan.last + 1)]
    if covered[:1] != [0] or covered[-1:] != [facts.frames] or covered[1:-1:2] != covered[2::2]:
        raise ValueError("shots that do not cover every frame once")
    return {
        "tool": f"{_get(tool, 'name', str)} {_get(tool, 'version', str)}",
        "libraries": ", ".join(f"{name} {text}" for name, text in libraries.items())
        if isinstance(libraries, dict)
        else "",
        "clip": facts,
        "screen": Screen(
            name=_get(screen, "name", str),
            width_mm=_positive(screen, "width_mm"),
            distance_mm=_positive(screen, "distance_mm"),
            eye_mm=_eye_mm(log, screen),
            note=str(screen.get("note", "")),
        ),
        "limits": Limits(
            near_pct=_figure(limits, "near_pct"),
            far_pct=_figure(limits, "far_pct"),
            range_pct=_figure(limits, "range_pct"),
            near_rule=str(limits.get("near_rule", "")),
            far_rule=str(limits.get("far_rule", "")),
            range_rule=str(limits.get("range_rule", "")),
        ),
        "sources": tuple(_file(entry, folder) for entry in _get(log, "sources", list)),
        "outputs": tuple(_output(entry, folder) for entry in _get(log, "outputs", list)),
        "shots": shots,
        "reading": _reading(log),
        "suspicions": tuple(_get(entry, "text", str) for entry in _get(log, "suspicions", list))
        if "suspicions" in log
        else (),
        "remarks": tuple(str(text) for text in _get(log, "remarks", list)) if "remarks" in log else (),
        "windows": _windows(log),
        "subpixel": _subpixel(log),
        "jump_arcmin": _jump_arcmin(log),
        "framed_from_px": _size(log),
        "on_bad": _on_bad(log),
        "story": read_story(log, [shot.story for shot in shots], seats),
    }


def _on_bad(log: Any) -> OnBad:
    """What the log says was shown in place of frames that could not be decoded."""
    shown = [_get(entry, "shown", str) for entry in _get(log, "bad_frames", list)] if "bad_frames" in log else []
    if not shown:
        return "stop"
    return "black" if shown[0] == "black" else "hold"


def _part(entry: Any, key: str) -> dict[str, Any]:
    """A table of an entry; empty where there is none, as in logs of before settings were written."""
    return _get(entry, key, dict) if key in entry else {}


def _eye_mm(log: Any, screen: Any) -> float:
    """Eye distance that the limits were reckoned with: that of the settings, such as children's, else the screen's."""
    rules = _part(_part(log, "settings"), "limits")
    return _positive(rules if "eye_mm" in rules else screen, "eye_mm")


def _subpixel(log: Any) -> Subpixel | None:
    chosen = _part(log, "settings").get("subpixel")
    return next((one for one in SUBPIXEL if one == chosen), None)


def _jump_arcmin(log: Any) -> float:
    given = _part(_part(log, "settings"), "convergence")
    return _figure(given, "jump_arcmin") if "jump_arcmin" in given else ConvergenceSettings.jump_arcmin


def _windows(log: Any) -> WindowSettings:
    given = _part(_part(log, "settings"), "window")
    brief_s, hold_s = (
        _get(given, key, float) if key in given else getattr(DEFAULT_WINDOWS, key) for key in ("brief_s", "hold_s")
    )
    if not (0.0 <= brief_s < math.inf and 0.0 <= hold_s < math.inf):
        raise ValueError(f"brief_s or hold_s is {brief_s:g}, {hold_s:g}")
    return replace(DEFAULT_WINDOWS, brief_s=brief_s, hold_s=hold_s)


def _size(log: Any) -> tuple[int, int] | None:
    if log.get("framed_from_px") is None:
        return None
    width, height = _pair(log, "framed_from_px")
    return int(width), int(height)


def _reading(log: Any) -> Reading:
    # Logs of before an offset could be given have none.
    if "reading" not in log:
        return AS_GIVEN
    entry = _get(log, "reading", dict)
    return Reading(_get(entry, "offset_frames", int), _get(entry, "swapped", bool))


def _positive(entry: Any, key: str) -> float:
    value = _figure(entry, key)
    if value <= 0.0:
        raise ValueError(f"{key} is {value:g}")
    return value


def _file(entry: Any, folder: Path) -> LoggedFile:
    # An absolute path stays what it is when it is joined to a folder.
    path = folder / _get(entry, "path", str)
    if not is_path(path):
        raise ValueError(f"the path {clipped(str(entry['path']))!r}")
    first = _get(entry, "first_frame", int) if "first_frame" in entry else None
    # Logs of before both eyes could be in one file name no layout.
    layout = _get(entry, "layout", str) if "layout" in entry else "left-right"
    if layout not in LAYOUTS:
        raise ValueError(f"layout is {layout!r}")
    eye, frames, sha256 = _get(entry, "eye", str), _get(entry, "frames", int), _get(entry, "sha256", str)
    return LoggedFile(eye, path, frames, sha256, first, layout)


def _output(entry: Any, folder: Path) -> LoggedFile:
    """A file that the run wrote: beneath the folder of its log, wherever links lead. Sources lie where they lie."""
    file = _file(entry, folder)
    if not is_inside(file.path, folder):
        raise ValueError(f"the output {clipped(str(entry['path']))!r}, which lies outside the folder of its log")
    return file


def _shot(entry: Any, seats: Mapping[str, Seat] | None) -> LoggedShot:
    first, last = _get(entry, "first", int), _get(entry, "last", int)
    if not 0 <= first <= last:
        raise ValueError(f"a shot from {first} to {last}")
    fill = _get(entry, "fill", str)
    if fill not in FILLS:
        raise ValueError(f"fill is {fill!r}")
    window = tuple(
        WindowKey(_get(key, "frame", int), _pair(key, "left_px"), _pair(key, "right_px"))
        for key in _get(entry, "window", list)
    )
    hit = tuple(HitKey(_get(key, "frame", int), _figure(key, "pct")) for key in _get(entry, "hit", list))
    for keys in (window, hit):
        frames = [-1, *(key.frame for key in keys), MAX_FRAMES]
        if any(later <= earlier for earlier, later in pairwise(frames)):
            raise ValueError(f"key frames of the shot from {first} to {last} that are not in rising order")
    plan = ShotPlan(
        name=_get(entry, "name", str),
        first=first,
        last=last,
        hit=hit,
        zoom=_positive(entry, "zoom"),
        fill=fill,
        window=window,
        window_soft_px=_figure(entry, "window_soft_px") if "window_soft_px" in entry else 0.0,
        window_opacity_pct=_figure(entry, "window_opacity_pct") if "window_opacity_pct" in entry else 100.0,
        subpixel=_get(entry, "subpixel", bool) if "subpixel" in entry else False,
        align=_get(entry, "align", bool) if "align" in entry else False,
        misalignment=_misalignment(entry.get("misalignment")),
        camera=read_camera(entry),
        locked=_get(entry, "locked", bool),
        reason=_get(entry, "reason", str),
    )
    return LoggedShot(
        plan,
        _get(entry, "timecode_in", str),
        _get(entry, "timecode_out", str),
        _pair(entry, "applied_hit_px"),
        _figures(entry, "before"),
        _figures(entry, "after"),
        tuple(_flag(flag) for flag in _get(entry, "flags", list)),
        entry,
        read_shot_story(entry, seats),
    )


def _misalignment(given: Any) -> Misalignment | None:
    if given is None:
        return None
    names = [field.name for field in fields(Misalignment)]
    return Misalignment(**{name: None if given.get(name) is None else _figure(given, name) for name in names})


def _pair(entry: Any, key: str) -> tuple[float, float]:
    values = _get(entry, key, list)
    if len(values) != 2 or not all(isinstance(v, int | float) and not isinstance(v, bool) for v in values):
        raise ValueError(f"{key} is {str(values)[:40]}")
    if not max(abs(values[0]), abs(values[1])) <= MAX_FIGURE:
        raise ValueError(f"{key} is more than any figure")
    return float(values[0]), float(values[1])


def _figures(entry: Any, key: str) -> Figures | None:
    if not isinstance(entry, dict) or key not in entry:
        raise ValueError(f"no {key}")
    if entry[key] is None:
        return None
    given = _get(entry, key, dict)
    values: dict[str, Any] = {}
    for field in fields(Figures):
        if field.name in ("left_edge_frames", "right_edge_frames") and field.name not in given:
            continue  # logs of before these were counted
        if field.type == "int":
            values[field.name] = _get(given, field.name, int)
        elif field.name in given and given[field.name] is None:
            values[field.name] = math.nan
        else:
            values[field.name] = _figure(given, field.name)
    return Figures(**values)


def _flag(entry: Any) -> Flag:
    # A code that a later version invented is shown as it is.
    return Flag(cast(Any, _get(entry, "code", str)), _get(entry, "text", str))


def _rows(path: Path) -> Iterator[dict[str, str]]:
    """Row after row, so that the text is never held as a whole."""
    if not is_inside(path, path.parent):
        raise _unusable(path, "a link to another place")
    with _readable(path):
        check_size(path, TABLE_MAX_BYTES, "a table of frames")
        with path.open(encoding="utf-8-sig") as file:
            yield from csv.DictReader(bounded_lines(file), strict=True)


def _cell(cell: str) -> float:
    value = float(cell)
    if not abs(value) <= MAX_FIGURE:
        raise ValueError(f"{clipped(cell)} is no figure")
    return value


def _frame_table(path: Path, frames: int) -> FrameTable:
    """Every frame once and in order; InputError names the line that is not so."""
    timecodes: list[str] = []
    columns = {name: np.full(frames, np.nan) for name in NUMBER_COLUMNS}
    index = -1
    try:
        for index, row in enumerate(_rows(path)):
            if index >= frames or int(row["frame"]) != index:
                raise ValueError(f"frame {row['frame']}")
            timecodes.append(row["timecode"] or "")
            for name, column in columns.items():
                cell = row[name]
                if cell:
                    column[index] = _cell(cell)
    except (ValueError, TypeError, KeyError, csv.Error, LongLine) as error:
        detail = f"no column {error}" if isinstance(error, KeyError) else str(error)
        raise _unusable(path, f"line {index + 2}: {detail}") from error
    if len(timecodes) != frames:
        raise _unusable(path, f"{len(timecodes)} frames, where {JSON_NAME} speaks of {frames}")
    return FrameTable(tuple(timecodes), columns)
