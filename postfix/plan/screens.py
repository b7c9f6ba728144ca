"""From what a person typed to a screen: a built-in name, ``8500x12000``, or a name in a table of screens."""

from __future__ import annotations

import math
import re
import tomllib
from collections.abc import Sequence
from pathlib import Path
from typing import Any, TypeGuard

from postfix.errors import InputError, UsageError
from postfix.outside import TOML_MAX_BYTES, bounded_bytes, is_folder_name
from postfix.plan.toml_lines import place
from postfix.viewing import ADULT_EYE_MM, BUILTIN_SCREENS, CHILD_EYE_MM, Screen

_MEASURES = re.compile(r"(\d{1,9}(?:\.\d{1,9})?)x(\d{1,9}(?:\.\d{1,9})?)", re.ASCII)

_SCREEN_KEYS = ("name", "width_mm", "distance_mm", "eye_mm", "children", "note")

_KEYS_MAX = 32
_NAME = r"""(?:[A-Za-z0-9_-]++|"(?:[^"\\\n]|\\.)*+"|'[^'\n]*+')"""
_MANY_KEYS = re.compile(rf"^[ \t]*+(?:\[[ \t]*+){{0,2}}+(?:{_NAME}[ \t]*+\.[ \t]*+){{{_KEYS_MAX}}}", re.MULTILINE)
"""A key of many tables in each other, for which the time of the parser grows with the square."""

SCREEN_MM_MAX = 1e6
"""Widest and farthest screen accepted: a kilometre, so that metres typed for millimetres elsewhere stay visible."""


TAKEN_NAMES = frozenset({"measure", "report"})
"""Folders that a run makes beside those of its versions."""


def is_screen_name(name: str) -> bool:
    """True where a screen's name can also be the name of its version's folder."""
    return is_folder_name(name) and name.casefold() not in TAKEN_NAMES


def is_measures(text: str) -> bool:
    """True for width × distance as ``8500x12000``."""
    return _MEASURES.fullmatch(text) is not None


def read_screen(text_or_name: str, tables: Sequence[Path] = ()) -> Screen:
    """The screen a person means.

    Parameters
    ----------
    text_or_name : str
        A name in one of ``tables``, a built-in name, or width × distance in millimetres as ``8500x12000``.
    tables : sequence of Path
        TOML files with ``[[screen]]`` entries: ``name``, ``width_mm``, ``distance_mm`` and, if wanted, ``eye_mm`` or
        ``children = true``, and ``note``. Their names go before built-in ones; of two alike the later file's counts.

    Raises
    ------
    UsageError
        Where no such screen exists; lists those that do.
    InputError
        Where a table cannot be used; names file, line and key.
    """
    known = dict(BUILTIN_SCREENS)
    for path in tables:
        known.update(read_screens(path))
    if text_or_name in known:
        return known[text_or_name]
    match = _MEASURES.fullmatch(text_or_name)
    if match:
        width_mm, distance_mm = float(match[1]), float(match[2])
        if 0.0 < width_mm <= SCREEN_MM_MAX and 0.0 < distance_mm <= SCREEN_MM_MAX:
            return Screen(text_or_name, width_mm, distance_mm, note="as typed")
        raise UsageError(
            "--screen",
            text_or_name,
            f"width and distance in millimetres, each more than 0 and at most {SCREEN_MM_MAX:.0f}",
            "type both in millimetres, for example 8500x12000",
        )
    raise UsageError(
        "--screen",
        f"the unknown screen {text_or_name!r}",
        f"one of {', '.join(known)}, or width x distance in millimetres such as 8500x12000",
        "type one of these, or describe the screen in a TOML file",
    )


def read_screens(path: Path) -> dict[str, Screen]:
    """All screens of a TOML file, by name.

    Raises
    ------
    InputError
        Where the file cannot be read or an entry cannot be meant.
    """
    text, data = load_toml(path, "a table of screens with [[screen]] entries")
    entries = data.get("screen")
    unknown = [key for key in data if key != "screen"]
    if unknown:
        raise InputError(
            place(path, text, None, 0, unknown[0]),
            f"the unknown key {unknown[0]!r}",
            "[[screen]] entries only",
            "remove it",
        )
    if not isinstance(entries, list) or not entries or not all(isinstance(entry, dict) for entry in entries):
        raise InputError(path, "no [[screen]] entry", "at least one", "add one with name, width_mm and distance_mm")
    screens: dict[str, Screen] = {}
    for index, entry in enumerate(entries):
        screen = screen_from(entry, path, text, "screen", index, is_list=True)
        if screen.name in screens:
            raise InputError(
                place(path, text, "screen", index, "name"),
                f"a second screen named {screen.name!r}",
                "every name once",
                "rename one",
            )
        screens[screen.name] = screen
    return screens


def load_toml(path: Path, expected: str) -> tuple[str, dict[str, Any]]:
    """Text and content of a TOML file.

    Raises
    ------
    InputError
        Where the file is missing, too large, is not UTF-8 text, or is not TOML; names the line where the parser knows
        it.
    """
    try:
        text = bounded_bytes(path, TOML_MAX_BYTES, expected).decode("utf-8-sig")
        deep = _MANY_KEYS.search(text)
        if deep is not None:
            line = text.count("\n", 0, deep.start()) + 1
            raise InputError(
                f"{path}, line {line}", f"more than {_KEYS_MAX} names joined by dots", expected, "correct that place"
            )
        return text, tomllib.loads(text)
    except FileNotFoundError:
        raise InputError(path, "no such file", expected, "check the path") from None
    except OSError as error:
        raise InputError(
            path, f"a file that cannot be read ({error.strerror})", expected, "check the path and its rights"
        ) from error
    except UnicodeDecodeError as error:
        raise InputError(path, "bytes that are not UTF-8 text", expected, "give a TOML file saved as UTF-8") from error
    except (ValueError, RecursionError) as error:
        # tomllib says the line in its message; very long numbers and very deep nesting come as other errors.
        detail = " ".join(str(error).split())[:120]
        raise InputError(path, f"text that is not TOML ({detail})", expected, "correct that place") from error


def screen_from(entry: dict[str, Any], path: Path, text: str, table: str, index: int, *, is_list: bool) -> Screen:
    """A screen from one TOML table, every key checked."""
    where = f"{table} {index + 1}" if is_list else f"[{table}]"

    def fail(key: str, found: str, expected: str, next_step: str) -> InputError:
        return InputError(f"{place(path, text, table, index, key)}, {where}, {key}", found, expected, next_step)

    for key in entry:
        if key not in _SCREEN_KEYS:
            raise fail(key, "a key that is not known", f"one of {', '.join(_SCREEN_KEYS)}", "remove or rename it")
    children = entry.get("children", False)
    if not isinstance(children, bool):
        raise fail("children", describe(children), "true or false", "correct it")
    if "children" in entry and "eye_mm" in entry:
        raise fail("children", "both children and eye_mm", "one of them", "remove one")
    usual_eye_mm = CHILD_EYE_MM if children else ADULT_EYE_MM
    name = entry.get("name")
    if not isinstance(name, str) or not is_screen_name(name):
        raise fail(
            "name",
            describe(name),
            f"a folder's name, but none of {', '.join(sorted(TAKEN_NAMES))}",
            "choose another name",
        )
    figures = {}
    for key in ("width_mm", "distance_mm", "eye_mm"):
        value = entry.get(key, usual_eye_mm if key == "eye_mm" else None)
        if not is_number(value) or not 0.0 < value <= SCREEN_MM_MAX:
            raise fail(key, describe(value), "millimetres, more than 0", "set it to a measure in millimetres")
        figures[key] = float(value)
    note = entry.get("note", "")
    if not isinstance(note, str):
        raise fail("note", describe(note), "text", "put it in quotation marks")
    return Screen(name, figures["width_mm"], figures["distance_mm"], figures["eye_mm"], note)


def is_number(value: object) -> TypeGuard[float]:
    """True for a finite int or float that fits a float; never for true or false."""
    if isinstance(value, bool) or not isinstance(value, int | float):
        return False
    try:
        return math.isfinite(float(value))
    except OverflowError:
        return False


def describe(value: object) -> str:
    """A found value in words, short enough for one sentence."""
    if value is None:
        return "nothing"
    if isinstance(value, bool):
        return "true" if value else "false"
    try:
        text = repr(value)
    except (ValueError, RecursionError):  # an int too long to be written out, or tables in tables
        text = "something very long"
    return text if len(text) <= 60 else f"{text[:57]}..."
