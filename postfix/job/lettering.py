"""How wide text is on a terminal, and how it is made to fit: for progress bars, and for all that commands print.

Widths are in columns, of which an East Asian wide letter takes two and a combining mark none.
"""

from __future__ import annotations

import re
import unicodedata
from collections import defaultdict
from collections.abc import Iterable, Sequence
from functools import lru_cache

ELLIPSIS = "…"
"""Stands for what was left out; one column."""

_EMOJI_STYLE = "\ufe0f"
"""Makes a sign before it as wide as a wide letter, on terminals that heed it."""

_WORD = re.compile(r"[^ ]+(?:(?<=[0-9]) (?:%|px|mm|arcmin)(?![^ ,.;:)]))?")
"""What a line is not broken in; a figure and its unit stay together."""


def visible(text: str) -> str:
    """Text in which whatever a terminal would obey, or not show at all, stands as its code.

    So a name can neither clear the screen, nor go back over a line, nor turn its letters round.
    """
    if text.isprintable():
        return text
    return "".join(letter if _is_shown(letter) else repr(letter)[1:-1] for letter in text)


def _is_shown(letter: str) -> bool:
    return letter.isprintable() or unicodedata.category(letter) == "Zs"


def columns(text: str) -> int:
    """How many columns a visible text takes."""
    return len(text) if text.isascii() else sum(map(_columns_of, text))


@lru_cache(4096)
def _columns_of(letter: str) -> int:
    if unicodedata.category(letter) in ("Mn", "Me", "Cf") and letter != _EMOJI_STYLE:
        return 0
    return 2 if unicodedata.east_asian_width(letter) in "WF" else 1


def _signs(text: str) -> list[str]:
    """Letters, each with the marks that go with it."""
    if text.isascii():
        return list(text)
    signs: list[str] = []
    for letter in text:
        if signs and _columns_of(letter) == 0:
            signs[-1] += letter
        else:
            signs.append(letter)
    return signs


def _start(signs: Iterable[str], width: int) -> list[str]:
    """As many of the first signs as fit."""
    taken, used = [], 0
    for sign in signs:
        used += columns(sign)
        if used > width:
            break
        taken.append(sign)
    return taken


def shortened(text: str, width: int, ellipsis: str = ELLIPSIS, *, head: float = 0.5) -> str:
    """A text that takes at most ``width`` columns, its middle left out where it would take more.

    Parameters
    ----------
    text : str
    width : int
        1 or more.
    ellipsis : str
        What stands for what is left out: one column.
    head : float
        Share of the room that goes to the beginning; the rest goes to the end.
    """
    if columns(text) <= width:
        return text
    signs, room = _signs(text), max(width - 1, 0)
    first = _start(signs, room - int(room * (1.0 - head)))
    last = _start(reversed(signs[len(first) :]), room - columns("".join(first)))
    return "".join(first) + ellipsis + "".join(reversed(last))


_HEADS = (0.75, 0.25, 1.0, 0.0)
"""Other places to shorten at, where names look alike with their middle left out."""


def told_apart(names: Iterable[str], width: int, ellipsis: str = ELLIPSIS) -> dict[str, str]:
    """Each name as it fits ``width``; no two of them look alike.

    Names that would are cut at another place, around what they differ in, or else numbered.
    """
    fitted: dict[str, str] = {}
    alike: dict[str, list[str]] = defaultdict(list)
    for name in dict.fromkeys(names):
        alike[shortened(name, width, ellipsis)].append(name)
    taken = {text for text, group in alike.items() if len(group) == 1}
    for text, group in alike.items():
        texts = [text] if len(group) == 1 else _apart(group, width, ellipsis, taken)
        taken.update(texts)
        fitted.update(zip(group, texts))
    return fitted


def _apart(group: Sequence[str], width: int, ellipsis: str, taken: set[str]) -> list[str]:
    ways = [[shortened(name, width, ellipsis, head=head) for name in group] for head in _HEADS]
    ways.append(_around_difference(group, width, ellipsis))
    for way in ways:
        if len(set(way)) == len(way) and taken.isdisjoint(way) and all(columns(one) <= width for one in way):
            return way
    return _numbered(group, width, ellipsis, set(taken))


def _numbered(group: Sequence[str], width: int, ellipsis: str, used: set[str]) -> list[str]:
    texts, number = [], 0
    for name in group:
        signs = _signs(name)
        while True:
            number += 1
            mark = f"{ellipsis}{number}"
            text = "".join(_start(signs, width - columns(mark))) + mark
            if text not in used:
                break
        used.add(text)
        texts.append(text)
    return texts


def _around_difference(group: Sequence[str], width: int, ellipsis: str) -> list[str]:
    """What stands from the first letter on in which they differ."""
    same = 0
    for letters in zip(*group):
        if len(set(letters)) > 1:
            break
        same += 1
    return [ellipsis + shortened(name[same:], max(width - 1, 1), ellipsis, head=1.0) for name in group]


def lines_of(text: str, first: int, later: int) -> list[slice]:
    """Where a text is broken so that its first line fits ``first`` columns and each further one ``later``.

    It is broken at spaces; a word that is too long for a line of its own is broken where the line ends.
    """
    lines: list[slice] = []
    begin, end, used, room = -1, -1, 0, first
    for word in _WORD.finditer(text):
        start, width = word.start(), columns(word.group())
        gap = start - end
        if begin >= 0 and used + gap + width <= room:
            end, used = word.end(), used + gap + width
            continue
        if begin >= 0:
            lines.append(slice(begin, end))
            room = later
        while width > room:
            # At least one sign a line, or there would be no end.
            piece = "".join(_start(_signs(text[start : word.end()]), room)) or _signs(text[start : word.end()])[0]
            lines.append(slice(start, start + len(piece)))
            start, room = start + len(piece), later
            width = columns(text[start : word.end()])
        begin, end, used = start, word.end(), width
        if begin == end:
            begin = -1
    if begin >= 0:
        lines.append(slice(begin, end))
    return lines
