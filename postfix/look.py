"""How text is shown in one place: how wide it may be, whether in colours, in which letters."""

from __future__ import annotations

import os
import shutil
import sys
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal, TextIO

from postfix.job.lettering import ELLIPSIS, visible
from postfix.job.progress import is_terminal

COLUMNS = 80
"""What is printed fits these, and is laid out for these wherever it does not go to a terminal."""

LEAST_COLUMNS = 40
"""A terminal that is narrower has lines broken wherever it likes."""

Role = Literal["plain", "heading", "good", "bad", "soft"]

_CODES: Mapping[Role, str] = {"heading": "1", "good": "32", "bad": "1;31", "soft": "2"}
"""Of the sixteen colours that every terminal has its own values for, so that they are legible on light and dark."""

_LIKE: Mapping[str, str] = {"…": "...", "→": "->", "−": "-", "–": "-", "×": "x", "′": "'", "°": " deg"}
"""Signs of our own in letters that every place can show."""


@dataclass(frozen=True)
class Piece:
    """A piece of text with what it is.

    Attributes
    ----------
    text : str
        May come from outside; it is shown, never obeyed.
    role : Role
    is_name : bool
        Whether its middle may be left out where there is no room. Never true of a figure.
    """

    text: str
    role: Role = "plain"
    is_name: bool = False


@dataclass(frozen=True)
class Look:
    """How text is shown in one place.

    Attributes
    ----------
    width : int
        Columns.
    colours : bool
    encoding : str
        Of the letters that can be shown.
    """

    width: int = COLUMNS
    colours: bool = False
    encoding: str = "utf-8"

    def shown(self, text: str) -> str:
        """A text as it can stand there: what a terminal would obey, and letters that it lacks, as their codes."""
        text = visible(text)
        try:
            text.encode(self.encoding)
        except UnicodeEncodeError:
            return "".join(map(self._letter, text))
        return text

    def _letter(self, letter: str) -> str:
        try:
            letter.encode(self.encoding)
        except UnicodeEncodeError:
            return _LIKE.get(letter) or letter.encode(self.encoding, "backslashreplace").decode(self.encoding)
        return letter

    @property
    def ellipsis(self) -> str:
        """One column that stands for what was left out."""
        return ELLIPSIS if self.shown(ELLIPSIS) == ELLIPSIS else "~"

    def painted(self, text: str, role: Role) -> str:
        """A text that is shown already, in the colour of its role."""
        code = _CODES.get(role, "")
        return f"\x1b[{code}m{text}\x1b[0m" if self.colours and code and text else text


def look_of(stream: TextIO | None, environment: Mapping[str, str] = os.environ) -> Look:
    """How text is shown on a stream: coloured, and wider than 80 columns, only where that is a terminal.

    There are no colours where ``NO_COLOR`` holds anything (https://no-color.org), or ``TERM`` is ``dumb``.
    """
    encoding = getattr(stream, "encoding", None) or "utf-8"
    if stream is None or not is_terminal(stream):
        return Look(encoding=encoding)
    width = max(shutil.get_terminal_size((COLUMNS, 24)).columns, LEAST_COLUMNS)
    wanted = not environment.get("NO_COLOR") and environment.get("TERM") != "dumb"
    return Look(width, wanted and _understands_colours(stream), encoding)


def _understands_colours(stream: TextIO) -> bool:
    """Whether colours come out as colours; a console of Windows has to be asked for them first."""
    if sys.platform != "win32":
        return True
    import ctypes
    import msvcrt

    processed_output, virtual_terminal = 0x0001, 0x0004
    try:
        handle, mode = msvcrt.get_osfhandle(stream.fileno()), ctypes.c_ulong()
        kernel = ctypes.windll.kernel32
        if not kernel.GetConsoleMode(handle, ctypes.byref(mode)):
            return False
        return bool(kernel.SetConsoleMode(handle, mode.value | processed_output | virtual_terminal))
    except (OSError, ValueError, AttributeError):
        return False
