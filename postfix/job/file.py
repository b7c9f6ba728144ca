"""Many clips at once: the job file.

screens = ["cinema-12m", "tv-55in"]     # used where a clip names none of its own
screen_tables = ["screens.toml"]        # optional: tables of your own screens

[[clip]]
name = "lane"
left = "lane_left.mov"                  # relative to the job file
right = "lane_right.mov"
rate = "24"                             # stills only
frames = "0-95"
edit = "film.edl"
one_shot = false
offset = 0                              # frames by which the file given as right is late
swap = false                            # true: what is given as left is the right eye
screens = ["cinema-20m"]
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from postfix.errors import InputError
from postfix.job.version import SourceChoice
from postfix.plan.screens import describe, is_screen_name, load_toml, read_screen
from postfix.plan.toml_lines import place
from postfix.source.pair import Reading
from postfix.source.rate import parse_rate
from postfix.viewing import Screen

_EXPECTED = "a job file with [[clip]] tables"
_JOB_KEYS = {"screens": list, "screen_tables": list, "clip": list}
_CLIP_KEYS = {
    "name": str,
    "left": str,
    "right": str,
    "rate": str,
    "frames": str,
    "edit": str,
    "one_shot": bool,
    "offset": int,
    "swap": bool,
    "screens": list,
}
MAX_CLIPS = 10_000


@dataclass(frozen=True)
class JobClip:
    """One clip of a job."""

    name: str
    choice: SourceChoice
    screens: tuple[Screen, ...]
    inputs: tuple[Path, ...] = ()
    """Files besides the footage that were read for it: job file, tables of screens, edit list."""


def parse_frames(text: str, where: str | Path) -> tuple[int, int]:
    """``1001-1096`` → (1001, 1096), both included."""
    match = re.fullmatch(r"(\d{1,9})-(\d{1,9})", text.strip())
    if match is None or int(match[1]) > int(match[2]):
        raise InputError(where, f"frames {text!r}", "first-last such as 1001-1096", "write both numbers, lower first")
    return int(match[1]), int(match[2])


def read_job(path: Path, screen_tables: tuple[Path, ...] = ()) -> tuple[JobClip, ...]:
    """Read a job file; nothing of the footage is opened yet.

    Raises
    ------
    InputError
        Where it is missing or cannot be meant; names the line and key.
    """
    text, data = load_toml(path, _EXPECTED)
    _require_keys(data, _JOB_KEYS, path, text, None, 0)
    entries = data.get("clip", [])
    if not entries or len(entries) > MAX_CLIPS or not all(isinstance(entry, dict) for entry in entries):
        raise InputError(path, f"{len(entries)} clips", _EXPECTED, "write a [[clip]] table for each clip")
    tables = (*screen_tables, *(path.parent / str(table) for table in data.get("screen_tables", [])))
    clips: list[JobClip] = []
    for index, entry in enumerate(entries):
        clip = _clip(entry, data.get("screens", []), tables, path, text, index)
        if clip.name in {other.name for other in clips}:
            where = place(path, text, "clip", index, "name")
            raise InputError(where, f"a second clip {clip.name!r}", "a name for each clip", "rename one of them")
        clips.append(clip)
    return tuple(clips)


def _clip(
    entry: dict[str, Any], screens: list[Any], tables: tuple[Path, ...], path: Path, text: str, index: int
) -> JobClip:
    _require_keys(entry, _CLIP_KEYS, path, text, "clip", index)
    for key in ("name", "left", "right"):
        if key not in entry:
            where = place(path, text, "clip", index, None)
            raise InputError(where, f"no {key}", "name, left and right for each clip", f'add {key} = "…"')
    name = entry["name"]
    if not is_screen_name(name):
        where = place(path, text, "clip", index, "name")
        raise InputError(where, f"name {name!r}", "a name that can be a folder", "use letters, digits, - and _")
    chosen = entry.get("screens", screens)
    if not chosen:
        where = place(path, text, "clip", index, None)
        raise InputError(where, "no screens", "at least one screen", 'add screens = ["cinema-12m"]')
    folder = path.parent
    choice = SourceChoice(
        left=folder / entry["left"],
        right=folder / entry["right"],
        rate=parse_rate(entry["rate"]) if "rate" in entry else None,
        frames=parse_frames(entry["frames"], place(path, text, "clip", index, "frames")) if "frames" in entry else None,
        edit=folder / entry["edit"] if "edit" in entry else None,
        one_shot=entry.get("one_shot", False),
        reading=Reading(entry.get("offset", 0), entry.get("swap", False)),
    )
    edits = () if choice.edit is None else (choice.edit,)
    return JobClip(name, choice, tuple(read_screen(str(screen), tables) for screen in chosen), (path, *tables, *edits))


def _require_keys(
    table: dict[str, Any], known: Mapping[str, type], path: Path, text: str, heading: str | None, index: int
) -> None:
    for key, value in table.items():
        where = place(path, text, heading, index, key)
        if key not in known:
            raise InputError(where, f"unknown key {key!r}", ", ".join(known), "correct or remove it")
        # In Python true is a kind of number; here it is not.
        if not isinstance(value, known[key]) or (known[key] is int and isinstance(value, bool)):
            kind = {list: "a list", str: "a text in quotes", bool: "true or false", int: "a whole number"}[known[key]]
            raise InputError(where, f"{key} = {describe(value)}", kind, "correct it")
