"""Figures as data that JSON can hold: one way for the change log and for ``--json``."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any

DIGITS = 4


def plain(facts: Mapping[str, Any], *, mm_digits: int = DIGITS) -> dict[str, Any]:
    """Facts rounded to what a figure means, with None where there is no number, and one zero.

    Parameters
    ----------
    facts : mapping
        Figures, alone and in mappings, lists and tuples; what is no float stays as it is.
    mm_digits : int
        Decimals of figures whose key ends in ``_mm``; all others have four.
    """
    return {name: _plain(name, one, mm_digits) for name, one in facts.items()}


def _plain(name: str, value: Any, mm_digits: int) -> Any:
    if isinstance(value, Mapping):
        return plain(value, mm_digits=mm_digits)
    if isinstance(value, (list, tuple)):
        return [_plain(name, one, mm_digits) for one in value]
    if not isinstance(value, float):
        return value
    if not math.isfinite(value):
        return None
    return round(float(value), mm_digits if name.endswith("_mm") else DIGITS) + 0.0
