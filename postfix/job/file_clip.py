"""The footage of one clip of a job file."""

from __future__ import annotations

import os
import re
from collections.abc import Callable
from fractions import Fraction
from pathlib import Path

from postfix.errors import InputError, PostfixError, UsageError
from postfix.job.choice import SourceChoice
from postfix.outside import clipped
from postfix.plan.screens import describe
from postfix.plan.toml_tables import TomlTable
from postfix.source.layout import PACKED, Layout
from postfix.source.pair import Reading
from postfix.source.picture import ON_BAD, OnBad
from postfix.source.rate import parse_rate

_TEXT = "a text in quotes"


def parse_frames(text: str, where: str | Path) -> tuple[int, int]:
    """``1001-1096`` → (1001, 1096), both included."""
    match = re.fullmatch(r"(\d{1,9})-(\d{1,9})", text.strip())
    if match is None or int(match[1]) > int(match[2]):
        raise InputError(
            where, f"frames {clipped(text)!r}", "first-last such as 1001-1096", "write both numbers, lower first"
        )
    return int(match[1]), int(match[2])


def parse_frame_size(text: str, where: str | Path) -> tuple[int, int]:
    """``1998x1080`` → (1998, 1080)."""
    match = re.fullmatch(r"(\d{1,5})x(\d{1,5})", text.strip().lower())
    if match is None or 0 in (int(match[1]), int(match[2])):
        raise UsageError(
            where, f"frame {clipped(text)!r}", "WIDTHxHEIGHT in pixels, such as 1998x1080", "write both numbers"
        )
    return int(match[1]), int(match[2])


def choice_of(root: TomlTable, table: TomlTable) -> SourceChoice:
    """The footage of the clip in ``table``; what ``root``, the whole job file, says of bad frames holds for it too."""
    left, right, both = _footage(table)
    one_shot = table.get("one_shot", bool, "true or false", False)
    if one_shot and "edit" in table.data:
        raise table.error("edit", "both edit and one_shot", "one of them", "remove one")
    offset = table.data.get("offset", 0)
    if isinstance(offset, bool) or not isinstance(offset, int) or abs(offset) >= 2**31:
        raise table.error("offset", describe(offset), "a whole number of frames", "correct it")
    return SourceChoice(
        left=left,
        right=right,
        pair=both,
        layout=_layout(table),
        frame_px=_parsed(table, "frame", parse_frame_size),
        rate=_rate(table),
        frames=_parsed(table, "frames", parse_frames),
        edit=path_of(table, "edit", table.data["edit"]) if "edit" in table.data else None,
        one_shot=one_shot,
        reading=Reading(offset, table.get("swap", bool, "true or false", False)),
        on_bad=_on_bad(table, _on_bad(root, "stop")),
    )


def _on_bad(table: TomlTable, default: OnBad) -> OnBad:
    """What is done about frames that cannot be decoded, as a clip says it or else the whole job."""
    if "on_bad_frame" not in table.data:
        return default
    written = text_of(table, "on_bad_frame")
    chosen = next((way for way in ON_BAD if way == written), None)
    if chosen is None:
        raise table.error("on_bad_frame", describe(written), f"one of {', '.join(ON_BAD)}", "choose one of them")
    return chosen


def _rate(table: TomlTable) -> Fraction | None:
    if "rate" not in table.data:
        return None
    try:
        return parse_rate(text_of(table, "rate"))
    except UsageError as error:
        raise told_of_key(table, "rate", error) from None


def _footage(table: TomlTable) -> tuple[Path | None, Path | None, Path | None]:
    """Left eye, right eye and what holds both, the one or the other."""
    if "pair" in table.data:
        for eye in ("left", "right"):
            if eye in table.data:
                raise table.error(eye, f"both pair and {eye}", "one of them", "remove one")
        return None, None, path_of(table, "pair", table.data["pair"])
    left, right = (path_of(table, eye, table.data.get(eye)) for eye in ("left", "right"))
    if os.path.realpath(left) == os.path.realpath(right):
        raise table.error("right", f"{right}, the same as left", "one file for each eye", "name the other eye")
    return left, right, None


def _layout(table: TomlTable) -> Layout | None:
    if "layout" not in table.data:
        return None
    found = next((layout for layout in PACKED if layout == table.data["layout"]), None)
    if found is None:
        raise table.error("layout", describe(table.data["layout"]), f"one of {', '.join(PACKED)}", "correct it")
    if "pair" not in table.data:
        raise table.error("layout", "a layout without pair", "pair, which holds both eyes", "remove it, or add pair")
    return found


def _parsed(table: TomlTable, key: str, parse: Callable[[str, str], tuple[int, int]]) -> tuple[int, int] | None:
    """Two numbers written as a text, where the table has them."""
    if key not in table.data:
        return None
    text = text_of(table, key)
    try:
        return parse(text, key)
    except PostfixError as error:
        raise told_of_key(table, key, error) from None


def text_of(table: TomlTable, key: str) -> str:
    """A text that says something."""
    value = table.data.get(key)
    if not isinstance(value, str) or not value.strip():
        raise table.error(key, describe(value), _TEXT, f'write {key} = "…"')
    return value


def path_of(table: TomlTable, key: str, value: object) -> Path:
    """A path from the folder of the job file."""
    if not isinstance(value, str) or not value.strip() or "\0" in value:
        raise table.error(key, describe(value), "a path in quotes", "correct it")
    return table.path.parent / value


def told_of_key(table: TomlTable, key: str, error: PostfixError) -> InputError:
    """What is wrong with a text, said of the key that holds it."""
    return table.error(key, error.found, error.expected, error.next_step)
