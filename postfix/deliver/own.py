"""What the program itself writes into the folder of a version, so that a person's own files are never replaced."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

from postfix.deliver.changelog import SCHEMA

EYES = ("left", "right")
NAMES = frozenset({*EYES, "plan.toml", "changes.json", "changes.csv", "report.html"})
"""Everything that is ever written at the top of a version's folder."""


def stranger_in(folder: Path) -> str | None:
    """The first thing in a folder that the program did not write there, in words; None where there is none.

    An empty folder holds no stranger. Any other must hold a change log that accounts for the pictures beside it, since
    folders named ``left`` and ``right`` alone may well be a person's footage.
    """
    entries = sorted(entry.name for entry in folder.iterdir())
    if not entries:
        return None
    stranger = next((name for name in entries if name not in NAMES), None)
    if stranger is not None:
        return f"'{stranger}', which this program did not write"
    outputs = _logged_outputs(folder / "changes.json")
    if outputs is None:
        return f"'{entries[0]}' without the change log that this program writes beside it"
    for eye in EYES:
        found = _stranger_in_eye(folder, eye, outputs.get(eye))
        if found is not None:
            return found
    return None


def _logged_outputs(path: Path) -> dict[str, tuple[str, int]] | None:
    """Eye → path and number of frames, as a change log names its outputs; None where it is no such log."""
    try:
        log: Any = json.loads(path.read_text(encoding="utf-8"))
        if log["schema"] != SCHEMA:
            return None
        return {str(entry["eye"]): (str(entry["path"]), int(entry["frames"])) for entry in log["outputs"]}
    except (OSError, ValueError, TypeError, KeyError):
        return None


def _stranger_in_eye(folder: Path, eye: str, logged: tuple[str, int] | None) -> str | None:
    place = folder / eye
    if not place.is_dir():
        return None
    entries = sorted(place.iterdir())
    path, frames = logged or ("", 0)
    if path != eye:
        # A video: one file, which the log names.
        stranger = next((entry for entry in entries if path != f"{eye}/{entry.name}"), None)
    else:
        stranger = next((entry for entry in entries if not entry.is_file()), None)
        if stranger is None and len(entries) > frames:
            return f"{len(entries)} files in '{eye}', where its change log speaks of {frames}"
    return None if stranger is None else f"'{eye}/{stranger.name}', which this program did not write"
