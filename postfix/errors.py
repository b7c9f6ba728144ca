"""Every error a person can meet: its exit code, and what to do next.

A message is one sentence that names where, what was found, what was expected and the next step. Errors are raised
where the fact is known and caught once, at the rim (:mod:`postfix.cli`).
"""

from __future__ import annotations

from functools import partial
from pathlib import Path

EXIT_DONE = 0
EXIT_FAULT = 1
EXIT_USAGE = 2
EXIT_INPUT = 3
EXIT_OUTPUT = 4
EXIT_OUTSIDE_LIMITS = 5
EXIT_INTERRUPTED = 130


class PostfixError(Exception):
    """A problem that a person can act on.

    Parameters
    ----------
    where : str or Path
        The file, option or setting at fault.
    found : str
        What was there, in plain words.
    expected : str
        What should have been there.
    next_step : str
        What to type or do now, as an imperative without a full stop.
    frame : int, optional
        The frame at fault: the number in the file's name for stills, else counted from 0.
    """

    exit_code = EXIT_FAULT

    def __init__(
        self, where: str | Path, found: str, expected: str, next_step: str, *, frame: int | None = None
    ) -> None:
        self.where = str(where)
        self.found = found
        self.expected = expected
        self.next_step = next_step
        self.frame = frame
        super().__init__(str(self))

    def __reduce__(self) -> tuple[object, ...]:
        # Errors come from other processes too, with the same words.
        return partial(type(self), frame=self.frame), (self.where, self.found, self.expected, self.next_step)

    def __str__(self) -> str:
        place = self.where if self.frame is None else f"{self.where}, frame {self.frame}"
        return f"{place}: found {self.found}, expected {self.expected}; {self.next_step}."


class UsageError(PostfixError):
    """What was typed, or a setting, cannot be meant."""

    exit_code = EXIT_USAGE


class InputError(PostfixError):
    """A source, plan, table or list cannot be used."""

    exit_code = EXIT_INPUT


class OtherFormatError(InputError):
    """A picture of another size or format than the rest: no damage, so no other frame is ever shown in its place."""


class OutputError(PostfixError):
    """An output exists already or cannot be written."""

    exit_code = EXIT_OUTPUT
