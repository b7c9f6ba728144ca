"""Clauses that stand on many cards: written once into a style sheet, and on the cards only named.

The rule behind a flag is told on every card that has the flag, thousands of times in a film. A clause that comes often
enough becomes an empty element whose class has it as content, so that it is shown, printed and read aloud without
scripts too. Where there are scripts, they put the same words in as text, which can be found and copied.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Container, Iterable, Iterator
from dataclasses import dataclass, field

from postfix.review.words import escaped

_BREAK = "; "
"""Between clauses."""

_NAMED_BYTES = len("<i class=t999></i>")
_LEAST_SAVED_BYTES = 2000
"""A clause that saves less is not worth being looked up."""

_PLAIN = frozenset("abcdefghijklmnopqrstuvwxyzABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789 .,:;()+-/%")


@dataclass(frozen=True)
class Repeated:
    """Clauses of a page that are written once, and such as often follow each other, each with its class."""

    classes: dict[str, str] = field(default_factory=dict)

    def html(self, text: str) -> str:
        """A text with its repeated clauses named; HTML."""
        parts = _parts(text, self.classes)
        known = (one for part in parts for one in ([part] if part in self.classes else part.split(_BREAK)))
        return _BREAK.join(
            f"<i class={self.classes[one]}></i>" if one in self.classes else escaped(one) for one in known
        )

    @property
    def style(self) -> str:
        """The style sheet with the clauses, as an element; empty where there are none."""
        rules = "".join(f".{name}:empty::after{{content:{_css_string(text)}}}" for text, name in self.classes.items())
        return f'<style id="repeated">{rules}</style>' if rules else ""


def repeated_in(texts: Iterable[str]) -> Repeated:
    """The clauses of all texts of a page that come often enough, and those that often follow each other as one."""
    counts = Counter(texts)
    single = dict.fromkeys(_worth_it(_counted(counts, ())))
    together = _worth_it(_counted(counts, single))
    return Repeated({part: f"t{number}" for number, part in enumerate(dict.fromkeys([*single, *together]))})


def _counted(texts: Counter[str], known: Container[str]) -> Counter[str]:
    found: Counter[str] = Counter()
    for text, count in texts.items():
        for part in _parts(text, known):
            found[part] += count
    return found


def _parts(text: str, known: Container[str]) -> list[str]:
    """Clauses of a text; such as follow each other and are all known are one."""
    parts: list[str] = []
    is_open = False
    for clause in text.split(_BREAK):
        if clause in known and is_open:
            parts[-1] += _BREAK + clause
        else:
            parts.append(clause)
        is_open = clause in known
    return parts


def _worth_it(counts: Counter[str]) -> Iterator[str]:
    for clause, count in counts.items():
        # White space that a style sheet and a page would treat differently stays where it is.
        saved = (len(escaped(clause).encode("utf-8")) - _NAMED_BYTES) * count
        if saved >= _LEAST_SAVED_BYTES and clause == " ".join(clause.split()):
            yield clause


def _css_string(text: str) -> str:
    """A string of a style sheet; whatever could end it, or the sheet, is written as its code."""
    return '"' + "".join(one if one in _PLAIN else f"\\{ord(one):x} " for one in text) + '"'
