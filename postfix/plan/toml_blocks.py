"""A TOML text cut into its tables as they stand, so that one can be changed and every other byte be left alone."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Iterator
from dataclasses import dataclass

_TOKEN = re.compile(
    r'"""(?:\\.|[^\\])*?"""(?:"{0,2})'  # text over several lines
    r"|'''.*?'''(?:'{0,2})"
    r'|"(?:\\.|[^"\\\n])*"'  # text on one line
    r"|'[^'\n]*'"
    r"|\#[^\n]*"  # a comment
    r"|[\[\]{}\n]",
    re.DOTALL,
)

_HEADER = re.compile(r"\s*(\[\[?)\s*([A-Za-z0-9_-]+)\s*\]\]?")


@dataclass(frozen=True)
class Block:
    """One table of a text with what stands above it.

    Attributes
    ----------
    above : str
        Blank lines, and comments that do not follow the table before directly.
    text : str
        The header (none for what stands before the first), and every line up to the last key, with comments that
        follow that directly.
    name : tuple of str
        Of the header; empty for what stands before the first.
    is_entry : bool
        Whether the header is ``[[name]]``.
    """

    above: str
    text: str
    name: tuple[str, ...]
    is_entry: bool


def blocks_of(text: str) -> tuple[list[Block], str]:
    """Every block of a TOML text in order, and the blank lines and comments after the last.

    Joining ``above`` and ``text`` of all, and the rest, gives the text back.

    Parameters
    ----------
    text : str
        TOML with line feeds alone.
    """
    blocks: list[Block] = []
    above: list[str] = []
    lines: list[str] = []
    waiting: list[str] = []  # blank lines and comments of which it is not yet known what they belong to
    name: tuple[str, ...] = ()
    is_entry = False

    def close() -> None:
        if lines or not blocks:
            blocks.append(Block("".join(above), "".join(lines), name, is_entry))

    for line in statements(text):
        bare = line.strip()
        if bare.startswith("["):
            close()
            above, lines, waiting = waiting, [line], []
            name, is_entry = _name_of(line), bare.startswith("[[")
        elif bare and not bare.startswith("#"):
            lines += [*waiting, line]
            waiting = []
        elif bare and lines and not waiting:
            lines.append(line)
        else:
            waiting.append(line)
    close()
    return blocks, "".join(waiting)


def statements(text: str) -> Iterator[str]:
    """Header, key with its whole value, comment or blank line, each with the line feed at its end."""
    start, depth = 0, 0
    for token in _TOKEN.finditer(text):
        kind = token[0]
        if kind in "[{":
            depth += 1
        elif kind in "]}":
            depth -= 1
        elif kind == "\n" and depth <= 0:
            yield text[start : token.end()]
            start, depth = token.end(), 0
    if start < len(text):
        yield text[start:]


def _name_of(header: str) -> tuple[str, ...]:
    found = _HEADER.match(header)
    if found:
        return (found[2],)
    names: list[str] = []
    content = tomllib.loads(header)
    while content:
        name, inner = next(iter(content.items()))
        names.append(name)
        content = inner[0] if isinstance(inner, list) else inner
    return tuple(names)


def comments_in(text: str) -> tuple[str, ...]:
    """The comments in a piece of TOML, each with its ``#``."""
    return tuple(found[0].rstrip() for found in _TOKEN.finditer(text) if found[0].startswith("#"))
