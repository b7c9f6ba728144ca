"""A shot, a stretch of the clip between two cuts; and how one shot follows another."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from typing import Literal

from postfix.source.timecode import timecode_at

CUT_AT_MOST_BESIDE = 1
"""Frames between a cut in a list and the same cut in the picture: common practice, no source."""

DISSOLVE_AT_MOST_BESIDE = 2
"""Frames that the middle of a dissolve seen in the picture may lie outside the one in the list: project default."""


@dataclass(frozen=True)
class Shot:
    """Frames of the clip counted from 0, both ends included."""

    name: str
    first: int
    last: int


@dataclass(frozen=True)
class Transition:
    """Where one shot follows another.

    Attributes
    ----------
    frame : int
        First frame of the new shot; of a dissolve, its middle. Black at the clip's head leads to frame 0, black at its
        tail to one past the last: neither parts two shots.
    kind : str
        ``cut`` or ``dissolve``. Going to black and back is a cut in the middle of the black.
    first, last : int
        Frames in which both shots are seen, or the black ones; both ``frame`` for a plain cut.
    """

    frame: int
    kind: Literal["cut", "dissolve"]
    first: int
    last: int

    @property
    def frames(self) -> int:
        """Frames in which both shots are seen; 0 for a cut."""
        return self.last - self.first + 1 if self.kind == "dissolve" else 0

    @property
    def parts_shots(self) -> bool:
        """False for black at the clip's head or tail."""
        return 0 < self.frame <= self.last


@dataclass(frozen=True)
class EditList:
    """A clip as an edit list cuts it.

    Attributes
    ----------
    shots : tuple of Shot
        From the clip's first frame to its last without gaps. A dissolve is split in its middle.
    transitions : tuple of Transition
        How each shot but the first begins.
    notes : tuple of str
        What a person should know: how list and clip were matched, changes of speed, dissolves. Sentences.
    """

    shots: tuple[Shot, ...]
    transitions: tuple[Transition, ...]
    notes: tuple[str, ...]

    def within(self, first: int, count: int) -> EditList:
        """The same for ``count`` frames of the clip from a frame on, counted from that."""
        shots = tuple(
            replace(shot, first=max(0, shot.first - first), last=min(count, shot.last + 1 - first) - 1)
            for shot in self.shots
            if shot.last >= first and shot.first < first + count
        )
        transitions = tuple(
            replace(
                one, frame=one.frame - first, first=max(0, one.first - first), last=min(count - 1, one.last - first)
            )
            for one in self.transitions
            if first < one.frame < first + count
        )
        return EditList(shots, transitions, self.notes)


def begins(shots: Sequence[Shot], transitions: Sequence[Transition]) -> tuple[Transition | None, ...]:
    """How each shot begins; None for the first, and where nothing is known."""
    at = {one.frame: one for one in transitions}
    return tuple(at.get(shot.first) if shot.first else None for shot in shots)


def disagreements(
    listed: Sequence[Transition], found: Sequence[Transition], *, rate: Fraction, timecode: str | None
) -> tuple[str, ...]:
    """Where an edit list and the picture disagree, a sentence each, in the order of the frames.

    Parameters
    ----------
    listed, found : sequence of Transition
        From the list, and as seen in the picture, of the same clip. Black at the clip's head or tail may be a shot of
        its own in a list; what a list has there is no disagreement, nor is it one that a list has nothing there.
    rate : Fraction
        Frames per second of the clip.
    timecode : str or None
        Of the clip's frame 0.
    """

    def at(frame: int) -> str:
        clock = timecode_at(timecode, frame, rate)
        return f"frame {frame} ({clock})" if clock else f"frame {frame}"

    said: list[tuple[int, str]] = []
    left = [one for one in found if one.parts_shots]
    ends = [one for one in found if not one.parts_shots]
    for one in listed:
        near = sorted(
            (other for other in left if _meet(one, other)),
            key=lambda other: (other.kind != one.kind, abs(other.frame - one.frame)),
        )
        if not near and any(_in_black(one, end) for end in ends):
            continue
        if not near:
            said.append((one.frame, f"the list has {_words(one, at)}; the picture shows none there"))
            continue
        left.remove(near[0])
        if near[0].kind != one.kind:
            said.append((one.frame, f"the list has {_words(one, at)}; the picture shows {_words(near[0], at)}"))
    said += [(one.frame, f"the picture shows {_words(one, at)}; the list has none there") for one in left]
    return tuple(sentence for _, sentence in sorted(said))


def _meet(listed: Transition, found: Transition) -> bool:
    """Whether something in the picture is where the list has something, whatever their kinds."""
    if listed.kind == "dissolve":
        return listed.first - DISSOLVE_AT_MOST_BESIDE <= found.frame <= listed.last + DISSOLVE_AT_MOST_BESIDE
    return found.first - CUT_AT_MOST_BESIDE <= listed.frame <= found.last + CUT_AT_MOST_BESIDE


def _in_black(listed: Transition, black: Transition) -> bool:
    """Whether a list has something in the black at the clip's head or tail, or where that begins or ends."""
    early, late = black.first - CUT_AT_MOST_BESIDE, black.last + 1 + CUT_AT_MOST_BESIDE
    return listed.first <= late and listed.last >= early


def _words(one: Transition, at: Callable[[int], str]) -> str:
    if one.kind == "dissolve":
        return f"a dissolve from {at(one.first)} to {at(one.last)}"
    return f"a cut at {at(one.frame)}"
