"""Lengths as people type and read them: ``65``, ``6.5cm``, ``3m``, ``10ft``, ``5'6"``; millimetres within."""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from typing import Literal

from postfix.errors import UsageError
from postfix.outside import clipped

MM_IN: dict[str, float] = {
    "µm": 0.001,
    "um": 0.001,
    "mm": 1.0,
    "cm": 10.0,
    "m": 1000.0,
    "km": 1e6,
    "in": 25.4,
    '"': 25.4,
    "ft": 304.8,
    "'": 304.8,
}
"""Millimetres in each unit that may be written. The inch is 25.4 mm by definition."""

LENGTH_MM_MAX = 1e9
"""Longest length that is taken for one: a thousand kilometres."""

PlainUnit = Literal["mm", "m"]
"""What a plain number is in: millimetres for what belongs to a camera, metres for what lies before it."""

_INFINITY = frozenset({"inf", "infinity", "infinite", "∞"})

_SAME_SIGNS = str.maketrans(
    {"μ": "µ", "′": "'", "‘": "'", "’": "'", "″": '"', "“": '"', "”": '"', "\N{MINUS SIGN}": "-"}
)

_NUMBER = r"(?:\d{1,15}(?:\.\d{0,30})?|\.\d{1,30})(?:[eE][+-]?\d{1,2})?"
_LENGTH = re.compile(rf"([+-]?{_NUMBER})\s*([a-zµ\"']*)", re.ASCII)
_FEET_AND_INCHES = re.compile(rf"({_NUMBER})\s*(?:ft|')\s*({_NUMBER})\s*(?:in|\"|'')?", re.ASCII)


@dataclass(frozen=True)
class Length:
    """A length that was typed.

    Attributes
    ----------
    mm : float
        More than 0; infinite only where that was allowed.
    has_unit : bool
        Whether its unit stood beside it: a plain number may have been meant in another one.
    """

    mm: float
    has_unit: bool


def read_length(text: str, unit: PlainUnit, name: str, *, may_be_infinite: bool = False) -> Length:
    """The length that a person typed, and whether with its unit.

    Parameters
    ----------
    text : str
        A number of more than 0, plain or with a unit of :data:`MM_IN`; feet and inches together as ``5'6"`` or
        ``5ft6in``; ``inf`` or ``infinity`` where that is allowed.
    unit : {"mm", "m"}
        Unit of a plain number.
    name : str
        What it is a length of, for the message: ``--interaxial``.
    may_be_infinite : bool

    Raises
    ------
    UsageError
        Where it is no such length.
    """
    expected = f"a length of more than 0, a plain number in {_UNIT_WORDS[unit]} or with its unit" + (
        ", or inf" if may_be_infinite else ""
    )
    example = "65, 6.5cm or 2.5in" if unit == "mm" else "3, 3.5m or 10ft"
    # Signs that mean the same, as keyboards and phones write them.
    plain = text.strip().casefold().translate(_SAME_SIGNS)
    if plain.removeprefix("+") in _INFINITY:
        if may_be_infinite:
            return Length(math.inf, True)
        raise UsageError(name, "an infinite length", expected, f"type for example {example}")
    both = _FEET_AND_INCHES.fullmatch(plain)
    if both:
        mm, written = float(both[1]) * MM_IN["ft"] + float(both[2]) * MM_IN["in"], "ft"
    else:
        match = _LENGTH.fullmatch(plain)
        if match is None or (match[2] and match[2] not in MM_IN):
            raise UsageError(name, repr(clipped(text)), expected, _next_step(plain, match, example))
        written = match[2]
        mm = float(match[1]) * MM_IN[written or unit]
    if not 0.0 < mm <= LENGTH_MM_MAX:
        most = f", at most {length_text(LENGTH_MM_MAX)}" if mm > LENGTH_MM_MAX else ""
        raise UsageError(name, repr(clipped(text)), f"{expected}{most}", f"type for example {example}")
    return Length(mm, bool(written))


def parse_length(text: str, unit: PlainUnit, name: str, *, may_be_infinite: bool = False) -> float:
    """Millimetres of a length that a person typed; see :func:`read_length`."""
    return read_length(text, unit, name, may_be_infinite=may_be_infinite).mm


def length_text(mm: float) -> str:
    """A length for people, to three figures at least: ``65 mm``, ``3.21 m``, ``1.4 km``; ``infinity`` where it is.

    Raises
    ------
    ValueError
        Where it is no number, or less than 0: neither is a length, and must never be shown as one.
    """
    if math.isnan(mm) or mm < 0.0:
        raise ValueError(f"{mm} is no length")
    if math.isinf(mm):
        return "infinity"
    if 0.0 < mm < 0.001:
        return f"{mm:.2g} mm"
    # Rounded before it is looked at, so that what becomes 1000 mm is told as 1 m.
    for unit, size, steps in (("mm", 1.0, _MM_STEPS), ("m", 1000.0, _M_STEPS)):
        figure = _rounded(mm / size, steps)
        if figure < 1000.0:
            return f"{_digits(figure)} {unit}"
    return f"{_digits(_rounded(mm / 1e6, _M_STEPS))} km"


_UNIT_WORDS: dict[PlainUnit, str] = {"mm": "millimetres", "m": "metres"}

_Steps = tuple[tuple[float, int], ...]
_MM_STEPS: _Steps = ((0.01, 5), (0.1, 4), (1.0, 3), (10.0, 2), (100.0, 1), (math.inf, 0))
_M_STEPS: _Steps = ((10.0, 2), (100.0, 1), (math.inf, 0))
"""Decimals of what is less than each figure: three figures at least from 0.001 mm on, so that what was rounded to three
before is told as it is."""


def _rounded(figure: float, steps: _Steps) -> float:
    return round(figure, next(decimals for below, decimals in steps if figure < below))


def _digits(figure: float) -> str:
    text = f"{figure:.5f}"
    return text.rstrip("0").rstrip(".")


def _next_step(plain: str, match: re.Match[str] | None, example: str) -> str:
    if match is not None:
        return f"write one of the units {', '.join(unit for unit in MM_IN if unit.isalpha() and unit != 'um')}"
    if re.fullmatch(r"\d+,\d+.*", plain):
        return "write the decimals after a point, not a comma"
    return f"type for example {example}"
