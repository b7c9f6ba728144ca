"""What comes from elsewhere is only data: how much of it is read, and what may be named by it.

Bounds are generous, so that no real film meets them, and stand here alone; docs/security.md lists them.
"""

from __future__ import annotations

import csv
import io
import json
import re
import stat
import unicodedata
from collections.abc import Iterable, Iterator
from fractions import Fraction
from pathlib import Path
from typing import Any, NoReturn, TextIO

from postfix.errors import InputError

MIB = 1 << 20

MAX_FRAMES = 1_000_000
"""Of one clip: eleven and a half hours at 24 frames/s."""

MAX_SIDE_PX = 100_000
"""Width and height of a picture that a text may speak of."""

MAX_EVENTS = 20_000
"""Of an edit list."""

MAX_FIGURE = 1e9
"""No measured figure, in whatever unit, is larger."""

TOML_MAX_BYTES = 16 * MIB
"""Of a job, a plan, settings or a table of screens: 10,000 clips, or a key frame on each of 200,000 frames."""

JSON_MAX_BYTES = 64 * MIB
"""Of a change log and of what an earlier run left."""

TABLE_MAX_BYTES = 2048 * MIB
"""Of a measurement or a table of frames: a million rows of two thousand letters."""

EDIT_MAX_BYTES = 64 * MIB
"""Of an edit list."""

LINE_MAX = 1 << 18
"""Letters of one line of a table."""

MAX_DEPTH = 64
"""Of brackets in brackets; what is read here has less than ten."""

NAME_MAX_BYTES = 180
"""Of a folder's name in UTF-8. File systems hold 255, of which a name for unfinished work takes some."""

_PART_MAX_BYTES, _PATH_MAX_BYTES = 255, 2000
"""Of one name in a path, and of all of it."""

_CLIP = 160
"""Letters of a text from outside that a message repeats."""

_RESERVED = re.compile(r"(?:con|prn|aux|nul|com[0-9¹²³]|lpt[0-9¹²³])(?: *\..*)?", re.IGNORECASE)
"""Names that are devices on Windows, whatever suffix they bear."""

_UNSEEN = frozenset({"Cc", "Cs", "Zl", "Zp"})
_TURNING = frozenset("\u061c\u200e\u200f\u202a\u202b\u202c\u202d\u202e\u2066\u2067\u2068\u2069")
"""Signs that turn the letters after them round."""

_RUN_BY_SHEETS = frozenset("=+-@\t\r\n＝＋－＠")
"""What a spreadsheet may take for the beginning of a formula."""

_FRACTION = re.compile(r"[+-]?[0-9]{1,12}(?:/[0-9]{1,12}|\.[0-9]{0,12})?")

_STRING = re.compile(r'"(?:[^"\\]|\\.)*+"', re.DOTALL)
_NO_BRACKET = re.compile(r"[^\[\]{}]+")


def bounded_bytes(path: Path, most: int, expected: str) -> bytes:
    """The content of a file that is no larger than ``most`` bytes; a byte more than that is never held.

    Raises
    ------
    InputError
        Where it is larger, or a device.
    OSError
        Where it cannot be read.
    """
    with path.open("rb") as file:
        mode = path.stat().st_mode
        if stat.S_ISCHR(mode) or stat.S_ISBLK(mode):
            raise InputError(path, "a device", expected, "give a file")
        data = file.read(most + 1)
    if len(data) > most:
        raise too_large(path, most, expected)
    return data


def check_size(path: Path, most: int, expected: str) -> None:
    """Refuse a file that is larger than ``most`` bytes, or none, before it is read line by line.

    Raises
    ------
    InputError
    OSError
        Where nothing can be known of it.
    """
    found = path.stat()
    if stat.S_ISCHR(found.st_mode) or stat.S_ISBLK(found.st_mode):
        raise InputError(path, "a device", expected, "give a file")
    if found.st_size > most:
        raise too_large(path, most, expected)


def too_large(path: Path, most: int, expected: str) -> InputError:
    """What to say of a file with more bytes than anything of its kind has."""
    return InputError(path, f"more than {most // MIB} MiB", expected, "give a file that this program wrote or can read")


class LongLine(Exception):
    """A line that is longer than any that is written here."""


def bounded_lines(file: TextIO) -> Iterator[str]:
    """The lines of a text; LongLine where one is longer than :data:`LINE_MAX`."""
    while line := file.readline(LINE_MAX + 1):
        if len(line) > LINE_MAX:
            raise LongLine(f"a line of more than {LINE_MAX} letters")
        yield line


def fraction_of(text: str) -> Fraction:
    """A number such as ``24``, ``23.976`` or ``24000/1001``; without an exponent, for of ``1e999999999`` a fraction
    would be reckoned for hours.

    Raises
    ------
    ValueError, ZeroDivisionError
    """
    bare = text.strip()
    if not _FRACTION.fullmatch(bare):
        raise ValueError(f"{clipped(text)!r} is no number, nor one over another")
    return Fraction(bare)


def json_from(text: str) -> Any:
    """What JSON holds: every key once, finite numbers, no deeper than :data:`MAX_DEPTH`, and text that can be written.

    Raises
    ------
    ValueError
        Where it is something else.
    """
    if is_deep(text):
        raise ValueError(f"brackets more than {MAX_DEPTH} deep")
    data = json.loads(text, parse_constant=_no_figure, parse_float=_finite, object_pairs_hook=_each_once)
    if r"\u" in text:
        # Half of a letter can be written in JSON, and nowhere else.
        json.dumps(data, ensure_ascii=False).encode("utf-8")
    return data


def is_deep(text: str) -> bool:
    """Whether brackets of JSON stand in more than :data:`MAX_DEPTH` others."""
    depth = 0
    for bracket in _NO_BRACKET.sub("", _STRING.sub("", text)):
        depth += 1 if bracket in "[{" else -1
        if depth > MAX_DEPTH:
            return True
    return False


def _no_figure(text: str) -> NoReturn:
    raise ValueError(f"{text} is no figure")


def _finite(text: str) -> float:
    value = float(text)
    if value - value != 0.0:
        raise ValueError(f"{clipped(text)} is no figure")
    return value


def _each_once(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    found = dict(pairs)
    if len(found) < len(pairs):
        raise ValueError("a key twice")
    return found


def clipped(text: str) -> str:
    """A text from outside, short enough to stand in a message."""
    return text if len(text) <= _CLIP else f"{text[: _CLIP - 1]}…"


def is_folder_name(name: str) -> bool:
    """True where a name can be that of one folder on any system, and looks like what it is."""
    return (
        bool(name)
        and name == name.strip()
        and not name.startswith(".")
        and not name.endswith(".")
        and not re.search(r'[/\\:*?"<>|]', name)
        and not any(unicodedata.category(letter) in _UNSEEN or letter in _TURNING for letter in name)
        and len(name.encode("utf-8")) <= NAME_MAX_BYTES
        and _RESERVED.fullmatch(name) is None
    )


def is_path(path: Path) -> bool:
    """True where a system can be asked for a path at all: no part of it is longer than any name."""
    parts = [part.encode("utf-8", "replace") for part in path.parts]
    return max(map(len, parts), default=0) <= _PART_MAX_BYTES and sum(map(len, parts)) < _PATH_MAX_BYTES


def folder_key(name: str) -> str:
    """The same for two names that are one folder on some system."""
    return unicodedata.normalize("NFC", unicodedata.normalize("NFC", name).casefold())


def is_inside(path: Path, folder: Path) -> bool:
    """Whether a path lies in a folder or is that, with every link followed; False where nobody can tell."""
    try:
        return path.resolve().is_relative_to(folder.resolve())
    except (OSError, ValueError, RuntimeError):
        return False


def csv_line(cells: Iterable[object]) -> str:
    """One line of a table, with its end."""
    out = io.StringIO()
    csv.writer(out, lineterminator="\n").writerow(cells)
    return out.getvalue()


def cell_of(text: str) -> str:
    """A text as the cell of a table: with an apostrophe before it where a spreadsheet would run it as a formula."""
    return f"'{text}" if _is_guarded(text) else text


def text_of(cell: str) -> str:
    """The reverse of :func:`cell_of`."""
    return cell[1:] if cell.startswith("'") and _is_guarded(cell[1:]) else cell


def _is_guarded(text: str) -> bool:
    """Whether an apostrophe goes before it: any number of them before a sign is guarded, so that none is lost."""
    bare = text.lstrip("'")
    return bare[:1] in _RUN_BY_SHEETS and bool(bare)
