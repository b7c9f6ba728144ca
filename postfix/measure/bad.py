"""Frames of a source that could not be decoded, as rows of the table tell of them."""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from dataclasses import replace

from postfix.measure.table import FrameMeasure
from postfix.source.pair import PairSource
from postfix.source.patient import BadFrame

_UNREAD = {"left": "left eye cannot be read", "right": "right eye cannot be read", "both": "neither eye can be read"}
_AND = " and "
_SHOWN = "is shown"
_NOTE = re.compile(
    rf"(?:(?P<both>{_UNREAD['both']}) \(.*\)"
    rf"|(?P<left>{_UNREAD['left']}) \(.*\)(?P<too>{_AND}{_UNREAD['right']} \(.*\))?"
    rf"|(?P<right>{_UNREAD['right']}) \(.*\)); (?P<shown>black|frame \d+) {_SHOWN}",
    re.DOTALL,
)


def shown_while_measured(pair: PairSource) -> PairSource:
    """The pair with frames held where black would be shown for them, so that black cuts no shot in two."""
    return replace(pair, on_bad="hold") if pair.on_bad == "black" else pair


def bad_note(pair: PairSource, bad: Sequence[BadFrame]) -> str:
    """Why a frame has no figures, and what is shown for it; empty where it could be decoded."""
    if not bad:
        return ""
    shown = "black" if pair.on_bad == "black" else bad[0].shown
    return f"{_AND.join(f'{_UNREAD[one.eye]} ({one.reason})' for one in bad)}; {shown} {_SHOWN}"


def is_bad_note(note: str) -> bool:
    """True for what :func:`bad_note` says."""
    return _NOTE.fullmatch(note) is not None


def bad_frames_of(rows: Iterable[FrameMeasure], first: int = 0) -> tuple[BadFrame, ...]:
    """The frames that could not be decoded, as the notes of measured rows tell; ``first`` is the frame of the first."""
    found = []
    for frame, row in enumerate(rows, first):
        told = _NOTE.fullmatch(row.note) if row.note else None
        if told is None:
            continue
        eye = next(eye for eye in ("both", "left", "right") if told[eye])
        reason = row.note[: -len(f"; {told['shown']} {_SHOWN}")]
        found.append(BadFrame(frame, "both" if told["too"] else eye, reason, told["shown"]))  # type: ignore[arg-type]
    return tuple(found)
