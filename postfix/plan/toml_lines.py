"""The line of a TOML text on which a key stands, for messages only."""

from __future__ import annotations

import re
import tomllib
from dataclasses import dataclass, field
from functools import lru_cache
from pathlib import Path

from postfix.plan.toml_blocks import statements

Address = tuple[str | int, ...]
"""Where something stands in a TOML text: names of tables and keys, and after the name of an array which entry of it,
from 0: ``("clip", 1, "settings", "window", "max_pct")``."""

_LONGEST = 1000
"""Letters of a key that is taken apart into its names; no key that is known here comes near."""

_PART = r"""(?:[A-Za-z0-9_-]+|"(?:[^"\\]|\\.)*"|'[^']*')"""
_DOTTED = rf"{_PART}(?:\s*\.\s*{_PART})*"
_HEADER = re.compile(rf"\s*(\[\[?)\s*({_DOTTED})\s*\]\]?\s*(?:#.*)?$")
_KEY = re.compile(rf"\s*({_DOTTED})\s*=")


@dataclass
class _Lines:
    """The first line of every address, and the addresses of the headers of each name in the order of the text."""

    lines: dict[Address, int] = field(default_factory=dict)
    headers: dict[Address, list[Address]] = field(default_factory=dict)


def line_of(text: str, table: str | None, index: int, key: str | None) -> int | None:
    """Line, counted from 1, of ``key`` in the ``index``-th table of a name, or of the table's header without a key.

    Where the key is not found the header's line is given; None where there is no such table.

    Parameters
    ----------
    text : str
    table : str or None
        As a header has it: ``shot`` finds ``[shot]`` and ``[[shot]]``, ``screen."tv-55in".window`` finds that and
        ``[screen.tv-55in.window]``; None is the part before any header.
    index : int
        Which of several headers of that name, from 0.
    key : str or None
        A dotted key finds keys of tables below.
    """
    below = () if key is None else steps_of(key)
    if table is None:
        return line_at(text, below)
    address = address_of(text, table, index)
    return None if address is None else line_at(text, (*address, *below))


def address_of(text: str, table: str, index: int = 0) -> Address | None:
    """The address of the ``index``-th table under headers of a name, also where dotted keys made the first of them."""
    name = steps_of(table)
    found = _scanned(text).headers.get(name, [])
    if index < len(found):
        return found[index]
    return name if index == 0 and name in _scanned(text).lines else None


def line_at(text: str, address: Address) -> int | None:
    """Line, counted from 1, of what stands at an address, or of the nearest thing above it; None where nothing does.

    An entry of a list over several lines has the line of its key.
    """
    lines = _scanned(text).lines
    for length in range(len(address), 0, -1):
        if address[:length] in lines:
            return lines[address[:length]]
    return None


def place(path: Path, text: str, table: str | None, index: int, key: str | None) -> str:
    """``plan.toml, line 12``, or only the path where the line is not known."""
    return _place(path, line_of(text, table, index, key))


def place_at(path: Path, text: str, address: Address) -> str:
    """The same for an address."""
    return _place(path, line_at(text, address))


def _place(path: Path, line: int | None) -> str:
    return str(path) if line is None else f"{path}, line {line}"


@lru_cache(maxsize=8)
def _scanned(text: str) -> _Lines:
    scanned, header, entries = _Lines(), Address(), dict[Address, int]()
    next_number = 1
    for line in statements(text):
        number, next_number = next_number, next_number + line.count("\n")
        found = _HEADER.match(line)
        if found:
            steps = steps_of(found[2])
            header = _resolved(steps, entries, is_entry=found[1] == "[[")
            scanned.headers.setdefault(steps, []).append(header)
            _note(scanned.lines, (), header, number)
            continue
        found = _KEY.match(line)
        if found:
            _note(scanned.lines, header, (*header, *steps_of(found[1])), number)
    return scanned


def _note(lines: dict[Address, int], above: Address, address: Address, number: int) -> None:
    """An address and the tables that it implies stand on this line unless they stood on one before."""
    for length in range(len(above) + 1, len(address) + 1):
        lines.setdefault(address[:length], number)


def _resolved(steps: Address, entries: dict[Address, int], *, is_entry: bool) -> Address:
    """The address of a header: below an array it belongs to the array's latest entry."""
    address: Address = ()
    for length, step in enumerate(steps, start=1):
        address = (*address, step)
        if is_entry and length == len(steps):
            entries[address] = entries.get(address, -1) + 1
        if address in entries:
            address = (*address, entries[address])
    return address


def steps_of(dotted: str) -> Address:
    """``screen."tv-55in".window`` → its three names, ``hit[1].frame`` → name, place in a list, name."""
    if len(dotted) > _LONGEST:
        return (dotted,)
    steps: list[str | int] = []
    for name, index in re.findall(rf"({_PART})|\[(\d+)\]", dotted):
        steps.append(_unquoted(name) if name else int(index))
    return tuple(steps)


def _unquoted(name: str) -> str:
    if name[0] not in "\"'":
        return name
    try:
        return str(tomllib.loads(f"name = {name}")["name"])
    except ValueError:
        return name[1:-1]
