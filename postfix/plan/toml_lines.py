"""The line of a TOML text on which a key stands, for messages only."""

from __future__ import annotations

import re
from pathlib import Path


def line_of(text: str, table: str | None, index: int, key: str | None) -> int | None:
    """Line, counted from 1, of ``key`` in the ``index``-th table of a name, or of the table's header without a key.

    Reads lines, not TOML: a header or a key inside a multi-line string would be taken for one. Where the key is not
    found the header's line is given; None where there is no such table.

    Parameters
    ----------
    text : str
    table : str or None
        ``shot`` finds ``[shot]`` and ``[[shot]]``; None is the part before any header.
    index : int
        Which of several tables of that name, from 0.
    key : str or None
    """
    seen, inside, header = -1, table is None, None
    for number, line in enumerate(text.splitlines(), start=1):
        found = re.match(r"\s*\[\[?\s*[\"']?([^\]\"']*?)[\"']?\s*\]\]?\s*(?:#.*)?$", line)
        if found:
            if inside and table is not None:
                return header
            seen += found[1] == table
            inside = found[1] == table and seen == index
            if inside or (table is None and found[1] == key):
                header = number
        if inside and (key is None or re.match(rf"\s*[\"']?{re.escape(key)}[\"']?\s*[=.]", line)):
            return number
    return header


def place(path: Path, text: str, table: str | None, index: int, key: str | None) -> str:
    """``plan.toml, line 12``, or only the path where the line is not known."""
    line = line_of(text, table, index, key)
    return str(path) if line is None else f"{path}, line {line}"
