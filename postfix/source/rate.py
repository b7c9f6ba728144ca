"""Frame rates: what a person types, and the exact fraction that is meant."""

from __future__ import annotations

from fractions import Fraction

from postfix.errors import UsageError
from postfix.outside import clipped, fraction_of

_NTSC = Fraction(1000, 1001)
_ROUNDED_WITHIN = Fraction(5, 1000)
"""How far a rate written with decimals may lie from the /1001 rate it stands for (23.98 is 0.004 away)."""

_SLOWEST, _FASTEST = Fraction(1), Fraction(300)
"""Rates outside this are taken for a slip of the pen: project default, no source."""

STANDARD_RATES: tuple[Fraction, ...] = tuple(
    sorted(
        rate
        for whole in (24, 25, 30, 48, 50, 60, 100, 120)
        for rate in ({Fraction(whole), whole * _NTSC} if whole % 25 else {Fraction(whole)})
    )
)
"""The rates in common use; a rate that a container rounded is taken for the one of these that fits."""


def parse_rate(text: str) -> Fraction:
    """The exact rate meant by ``"24"``, ``"23.976"`` or ``"24000/1001"``.

    A number with decimals that lies within 0.005 of a whole number × 1000/1001 means that rate: 23.976, 23.98, 29.97,
    59.94 and the like.

    Raises
    ------
    UsageError
        Where the text is no rate between 1 and 300 frames per second.
    """
    try:
        rate = fraction_of(text)
    except (ValueError, ZeroDivisionError):
        raise _not_a_rate(text) from None
    if not _SLOWEST <= rate <= _FASTEST:
        raise _not_a_rate(text)
    if rate.denominator == 1 or "/" in text:
        return rate
    pulled_down = round(rate / _NTSC) * _NTSC
    return pulled_down if abs(pulled_down - rate) < _ROUNDED_WITHIN else rate


def rate_text(rate: Fraction) -> str:
    """A rate as a person writes it: ``24`` or ``24000/1001``."""
    return str(rate)


def _not_a_rate(text: str) -> UsageError:
    return UsageError(
        "frame rate",
        f"'{clipped(text)}'",
        "frames per second between 1 and 300, such as 24, 23.976 or 24000/1001",
        "give the rate the material was shot for",
    )
