"""What the program itself writes into the folder of a version, so that a person's own files are never replaced."""

from __future__ import annotations

import re
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from postfix.deliver.changelog import SCHEMA
from postfix.errors import InputError
from postfix.outside import JSON_MAX_BYTES, bounded_bytes, json_from

EYES = ("left", "right")
PACKED_FOLDER = "packed"
"""Where deliveries with both eyes in one file are."""

PICTURE_FOLDERS = (*EYES, PACKED_FOLDER)
VERSION_FILES = ("plan.toml", "changes.json", "changes.csv")
"""What lies beside the pictures of a version."""

PAGE, PAGE_FOLDER = "report.html", "report"
"""The review page, and what lies beside it."""

_PLOTLY = "plotly.min.js"
_PAGE_PARTS = re.compile(r"plotly\.min\.js|c\d+|c\d+/(?:(?:frames|\d+)\.js|\d+(?:-[a-z0-9]+)+\.(?:jpg|svg))")
"""Everything below :data:`PAGE_FOLDER`: the chart library, and of each clip a folder of figures and pictures."""

STILL_MARK = "postfix-stereo preview still"
"""What every numbered still of a preview says of itself, as the PNG text ``Software``: a folder with nothing else in it
is the program's own."""

_MARKED = re.compile(
    # Signature, IHDR with its 13 bytes and checksum, then the text with its length before it (PNG, 5.3 and 11.3).
    rb"\x89PNG\r\n\x1a\n\0\0\0\rIHDR.{17}.{4}tEXtSoftware\0" + re.escape(STILL_MARK.encode()) + rb".{4}",
    re.DOTALL,
)
_MARK_BYTES = 128
_STILL_NAME = re.compile(r".+\.\d{4,}\.png")

NAMES = frozenset({*PICTURE_FOLDERS, *VERSION_FILES, PAGE, PAGE_FOLDER})
"""Everything that is ever written at the top of a version's folder."""


def stranger_in(folder: Path) -> str | None:
    """The first thing in a folder that the program did not write there, in words; None where there is none.

    An empty folder holds no stranger, nor does the one beside a review page with what belongs there, nor one of a
    preview's numbered stills, each of which says what it is. Any other must hold a change log that accounts for the
    pictures beside it, since folders named ``left`` and ``right`` alone may well be a person's footage.
    """
    entries = sorted(entry.name for entry in folder.iterdir())
    if not entries:
        return None
    if _PLOTLY in entries and "changes.json" not in entries:
        return _stranger_beside_page(folder)
    if any(is_preview_still(folder / name) for name in entries):
        stranger = next((name for name in entries if not is_preview_still(folder / name)), None)
        return None if stranger is None else f"'{stranger}', which this program did not write"
    stranger = next((name for name in entries if name not in NAMES), None)
    if stranger is not None:
        return f"'{stranger}', which this program did not write"
    outputs = _logged_outputs(folder / "changes.json")
    if outputs is None:
        return f"'{entries[0]}' without the change log that this program writes beside it"
    for name in PICTURE_FOLDERS:
        found = _stranger_below(folder, name, outputs)
        if found is not None:
            return found
    beside = folder / PAGE_FOLDER
    return _stranger_beside_page(beside) if beside.is_dir() else None


def is_preview_still(path: Path) -> bool:
    """True for a file named and marked as a preview's numbered still; one that was saved by another program is none."""
    if not _STILL_NAME.fullmatch(path.name) or path.is_symlink() or not path.is_file():
        return False
    try:
        with path.open("rb") as file:
            return _MARKED.match(file.read(_MARK_BYTES)) is not None
    except OSError:
        return False


def _stranger_beside_page(place: Path) -> str | None:
    """The first thing beside a review page that does not belong there."""
    for entry in sorted(place.rglob("*")):
        name = entry.relative_to(place).as_posix()
        if entry.is_symlink() or entry.is_dir() != ("." not in name) or not _PAGE_PARTS.fullmatch(name):
            return f"'{place.name}/{name}', which this program did not write"
    return None


def _logged_outputs(path: Path) -> dict[str, int] | None:
    """Path of each output → its number of frames, as a change log names them; None where it is no such log."""
    try:
        log: Any = json_from(bounded_bytes(path, JSON_MAX_BYTES, "a change log").decode("utf-8"))
        if log["schema"] != SCHEMA:
            return None
        return {str(entry["path"]): int(entry["frames"]) for entry in log["outputs"]}
    except (OSError, ValueError, TypeError, KeyError, OverflowError, RecursionError, InputError):
        return None


def _stranger_below(folder: Path, name: str, outputs: Mapping[str, int]) -> str | None:
    """The first stranger in a folder of pictures; of a video the log names the file, of stills the folder."""
    place = folder / name
    if not place.is_dir():
        return None
    if name in outputs:
        return _stranger_among_stills(place, name, outputs[name])
    for entry in sorted(place.iterdir()):
        path = f"{name}/{entry.name}"
        if path not in outputs:
            return f"'{path}', which this program did not write"
        if entry.is_dir():
            found = _stranger_among_stills(entry, path, outputs[path])
            if found is not None:
                return found
    return None


def _stranger_among_stills(place: Path, path: str, frames: int) -> str | None:
    entries = sorted(place.iterdir())
    stranger = next((entry for entry in entries if not entry.is_file()), None)
    if stranger is not None:
        return f"'{path}/{stranger.name}', which this program did not write"
    if len(entries) > frames:
        return f"{len(entries)} files in '{path}', where its change log speaks of {frames}"
    return None
