"""What a run prints first: what stays outside and on which screen, and how much was moved and windowed."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from postfix.look import Piece, Role
from postfix.plan.bad_frames import BAD_FRAME
from postfix.plan.fits import Fit
from postfix.review.words import count_text
from postfix.summary import NOT_MEASURED, flags_text, head, levelled_text, placed, shots_text, some_names
from postfix.summary_plan import blame_text, fits_text
from postfix.tables import Table
from postfix.terminal import Block, Gap, Line, line, name

_LINES = 12
"""Versions that are named one by one before the table, which has them all."""


@dataclass(frozen=True)
class Made:
    """A version as its change log tells it; ``clip`` is empty where there is only one."""

    clip: str
    screen: str
    shots: Sequence[Mapping[str, Any]]

    @property
    def checked(self) -> bool:
        return any(shot["after"] for shot in self.shots)

    @property
    def outside(self) -> list[str]:
        """Shots that were found outside a limit."""
        return [shot["name"] for shot in self.shots if _codes(shot) - {"not-measured", BAD_FRAME}]

    @property
    def not_judged(self) -> list[str]:
        """Shots of which nothing worse is known than that something could not be measured."""
        return [shot["name"] for shot in self.shots if _codes(shot) - {BAD_FRAME} == {"not-measured"}]

    @property
    def damaged(self) -> list[str]:
        """Shots with frames of the source that cannot be read."""
        return [shot["name"] for shot in self.shots if BAD_FRAME in _codes(shot)]

    def count(self, *, moved: bool, windowed: bool) -> int:
        """Shots that were moved or not, and windowed or not."""
        return sum((_is_moved(shot), _is_windowed(shot)) == (moved, windowed) for shot in self.shots)


def _codes(shot: Mapping[str, Any]) -> set[str]:
    return {flag["code"] for flag in shot["flags"]}


def _is_moved(shot: Mapping[str, Any]) -> bool:
    aligned = shot["align"] and shot["misalignment"] is not None
    return any(hit != 0 for hit in shot["applied_hit_px"]) or shot["zoom"] != 1.0 or aligned


def _is_windowed(shot: Mapping[str, Any]) -> bool:
    return any(max(*key["left_px"], *key["right_px"]) > 0 for key in shot["window"])


def lead_text(versions: Sequence[Made]) -> list[Block]:
    """The verdict on every version, and a row for each with what was done to its shots."""
    if not versions:
        return []
    wrong = [
        verdict
        for one in versions
        for verdict in (
            _verdict(one, "outside the limits", one.outside, "bad"),
            _verdict(one, "could not be judged", one.not_judged, "bad"),
            _verdict(one, "with frames that cannot be read", one.damaged, "bad"),
        )
        if verdict is not None
    ]
    said: list[Block] = [*wrong[:_LINES]]
    if len(wrong) > _LINES:
        said.append(line(f"and {len(wrong) - _LINES} more such lines, in the table"))
    within = [one for one in versions if one.checked and not (one.outside or one.not_judged or one.damaged)]
    if within and not said and len(within) == len(versions):
        said.append(line(Piece("every shot is within the limits of its screen", "good")))
    elif within:
        said.append(line(Piece("within the limits", "good"), ": ", *_named(within)))
    unchecked = [one for one in versions if not one.checked]
    if unchecked:
        said.append(line("written but not checked: ", *_named(unchecked)))
    return [*said, Gap(), _table(versions), Gap()]


def _named(versions: Sequence[Made]) -> list[Piece]:
    names = [f"{one.clip}, {one.screen}" if one.clip else one.screen for one in versions]
    return some_names(names, "; " if any(one.clip for one in versions) else ", ")


def _verdict(one: Made, words: str, shots: Sequence[str], role: Role) -> Line | None:
    if not shots:
        return None
    count = Piece(f"{words}: {len(shots)} of {count_text(len(one.shots), 'shot')}", role)
    return line(*placed(one.screen, "", one.clip), count, " (", *some_names(shots), ")")


def _table(versions: Sequence[Made]) -> Table:
    heads = ["shots", "moved", "windowed", "both", "left as shot", "outside"]
    doubts = any(one.not_judged for one in versions)
    many = any(one.clip for one in versions)
    rows = []
    for one in versions:
        known = one.checked or bool(one.outside)
        rows.append(
            (
                name(one.clip if many else one.screen),
                *([name(one.screen)] if many else []),
                str(len(one.shots)),
                str(one.count(moved=True, windowed=False)),
                str(one.count(moved=False, windowed=True)),
                str(one.count(moved=True, windowed=True)),
                str(one.count(moved=False, windowed=False)),
                Piece(str(len(one.outside)), "bad" if one.outside else "plain") if known else NOT_MEASURED,
                *([str(len(one.not_judged))] if doubts else []),
            )
        )
    first = ["clip", "screen"] if many else ["screen"]
    return Table(head(*first, *heads, *(["not judged"] if doubts else [])), tuple(rows), keys=len(first))


def version_text(made: Made) -> list[Block]:
    """What was done to every shot of a version, and what stays flagged."""
    shots = [*shots_text(made.shots), *levelled_text(made.screen, made.shots), *flags_text(made.screen, made.shots)]
    return [_heading(made.clip, made.screen), *shots, Gap()]


def planned_text(clip: str, fits: Sequence[Sequence[Fit]]) -> list[Block]:
    """How the shots of a clip fare on every screen as planned, below what the finished pictures are."""
    said = fits_text(fits) if len(fits) > 1 else blame_text(fits[0])
    return [_heading(clip, "as planned"), *said, Gap()] if said else []


def _heading(clip: str, words: str) -> Line:
    return line(Piece(f"{clip}, {words}" if clip else words, "heading"))
