"""Text for people, made of lines and tables whose pieces have a role, and how it is laid out for what shows it.

Commands say what stands in a line or a table and what it is: a name, a figure, something good or bad. Here, at the rim,
it is put into as many columns as there are, and coloured where colours are shown. Colour is never the only sign: the
letters are the same without it. Everything from outside is made harmless here, in one place (:meth:`Look.shown`).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import groupby

from postfix.job.lettering import lines_of
from postfix.look import COLUMNS, Look, Piece, Role
from postfix.tables import Table, laid_out

PIPED = Look()
"""What does not go to a terminal."""


@dataclass(frozen=True)
class Line:
    """A sentence, broken at spaces into as many lines as it takes; those after the first stand further in.

    Names in it are whole, for one alone cannot be told from others that would be shortened to the same.
    """

    pieces: tuple[Piece, ...]
    indent: int = 0


@dataclass(frozen=True)
class Whole:
    """A line that is never broken or shortened: a path, which has to stay one for whoever copies it."""

    text: str


@dataclass(frozen=True)
class Gap:
    """An empty line; several in a row are one, and none stands at the beginning or end."""


Block = Line | Whole | Table | Gap
Text = str | Sequence[Block]
"""What a command says: blocks, or one line that is never broken.

A line feed in a string is shown as its code: that in a name could not be told from our own.
"""


def line(*pieces: str | Piece, indent: int = 0) -> Line:
    """A line of words from texts and pieces."""
    return Line(tuple(Piece(one) if isinstance(one, str) else one for one in pieces if one), indent)


def name(text: str, role: Role = "plain") -> Piece:
    """A name from outside."""
    return Piece(text, role, is_name=True)


def blocks(text: Text) -> Sequence[Block]:
    """What is said as blocks, whichever way it is said."""
    return ([Whole(text)] if text else []) if isinstance(text, str) else text


def lines(text: str) -> list[Block]:
    """Lines of words, each as far in as it is, from a text of our own that has line feeds; names in it are visible."""
    return [
        line(stripped, indent=len(one) - len(stripped)) if (stripped := one.lstrip(" ")) else Gap()
        for one in text.split("\n")
    ]


def rendered(text: Text, look: Look = PIPED) -> str:
    """A text as it is printed, without a line feed at its end."""
    made: list[str] = []
    for is_gap, group in groupby(blocks(text), key=lambda block: isinstance(block, Gap)):
        if is_gap:
            made += [""] if made else []
        else:
            made += [one for block in group for one in _block(block, look)]
    while made and not made[-1]:
        made.pop()
    return "\n".join(made)


def _block(block: Block, look: Look) -> list[str]:
    match block:
        case Line():
            return _words(block, look)
        case Table():
            return laid_out(block, look)
        case Whole():
            return [look.shown(block.text)]
        case Gap():
            return [""]


def _words(words: Line, look: Look) -> list[str]:
    # Prose is not read well in long lines; only tables and names use the room of a wide terminal.
    width = min(look.width, COLUMNS)
    room, more = max(width - words.indent, 1), max(width - words.indent - 2, 1)
    texts = [look.shown(piece.text) for piece in words.pieces]
    whole = "".join(texts)
    roles = [piece.role for piece, text in zip(words.pieces, texts) for _ in text]
    made = []
    for number, span in enumerate(lines_of(whole, room, more)):
        painted = _painted(whole[span], roles[span], look)
        made.append(" " * (words.indent + (2 if number else 0)) + painted)
    return made


def _painted(text: str, roles: Sequence[Role], look: Look) -> str:
    if not look.colours:
        return text
    groups = groupby(zip(text, roles), key=lambda pair: pair[1])
    return "".join(look.painted("".join(letter for letter, _ in group), role) for role, group in groups)
