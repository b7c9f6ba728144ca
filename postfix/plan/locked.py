"""Shots that a person has decided: taken over from an earlier plan, and never dropped without a word."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import Protocol

from postfix.errors import InputError
from postfix.measure.columns import Columns
from postfix.plan.file import read_plan
from postfix.plan.model import Plan, ShotPlan

_UNLOCK = "set locked = false for it in that plan, or write the new plan to another file"


def keep_locked(path: Path) -> Plan | None:
    """The plan that a new one is about to replace, for its locked shots; None where there is none worth keeping.

    Raises
    ------
    InputError
        Where the file cannot be read as a plan and yet says ``locked = true`` somewhere: what a person decided is not
        to be lost to a slip of the pen.
    """
    if not path.is_file():
        return None
    try:
        return read_plan(path)
    except InputError:
        if _says_locked(path):
            raise
        return None


def locked_only(plan: Plan) -> Plan:
    """The plan with its locked shots as they are, and nothing a person's about the others."""
    return replace(
        plan, shots=tuple(shot if shot.locked else replace(shot, subject=None, by_hand=()) for shot in plan.shots)
    )


def _says_locked(path: Path) -> bool:
    """Whether a lock stands anywhere in a file but in a comment of its own, whatever its layout and encoding."""
    try:
        content = path.read_bytes().replace(b"\0", b"")  # text of two bytes a letter
    except OSError:
        return True  # nobody can tell
    return (
        re.search(rb"^(?!\s*#).*\blocked\b[\"']?\s*=\s*[\"']?true", content, re.MULTILINE | re.IGNORECASE) is not None
    )


class Named(Protocol):
    """A shot of a table, of an edit or of a plan."""

    @property
    def name(self) -> str: ...
    @property
    def first(self) -> int: ...
    @property
    def last(self) -> int: ...


def locked_shots(
    previous: Plan | None, columns: Columns, shots: Sequence[Named] | None = None
) -> dict[tuple[int, int], ShotPlan]:
    """Locked shots of an earlier plan by first and last frame, all of them shots that are planned now too.

    ``shots`` are those; the measurement's own unless given.

    Raises
    ------
    InputError
        Where one is no shot of the table any more, bears the name of another, or was decided on a picture of another
        size or step: names the shot and what to do.
    """
    locked = [] if previous is None else [shot for shot in previous.shots if shot.locked]
    present = columns.shots if shots is None else shots
    names = {(shot.first, shot.last): shot.name for shot in present}
    for shot in locked:
        frames = (shot.first, shot.last)
        if frames not in names:
            raise _cannot_keep(
                shot,
                f"locked frames {shot.first} to {shot.last}, which are no shot of the measurement",
                f"a shot of the measurement with the same first and last frame ({_nearest(frames, present)})",
                f"{_UNLOCK}, or measure with the cuts that the plan was made for",
            )
        if any(name == shot.name for other, name in names.items() if other != frames):
            raise _cannot_keep(
                shot,
                f"a name that the measurement gives to another shot, where this one is {names[frames]}",
                "every name once",
                f"rename it in that plan, or {_UNLOCK}",
            )
    if locked and previous is not None:
        old, new = previous.clip, columns.clip
        if (old.width_px, old.height_px, old.step_px) != (new.width_px, new.height_px, new.step_px):
            raise _cannot_keep(
                locked[0],
                f"a lock on a picture of {old.width_px}x{old.height_px} pixels with steps of {old.step_px}",
                f"{new.width_px}x{new.height_px} with steps of {new.step_px}, as measured",
                _UNLOCK,
            )
    return {(shot.first, shot.last): shot for shot in locked}


def _cannot_keep(shot: ShotPlan, found: str, expected: str, next_step: str) -> InputError:
    return InputError(f"the earlier plan, shot {shot.name}", found, expected, next_step)


def _nearest(frames: tuple[int, int], shots: Sequence[Named]) -> str:
    """The shot that shares most frames with the given ones."""
    first, last = frames
    shot = max(shots, key=lambda s: min(s.last, last) - max(s.first, first))
    return f"nearest is {shot.name}, frames {shot.first} to {shot.last}"
