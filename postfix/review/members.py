"""Members of what JSON holds, each checked before it is used."""

from __future__ import annotations

from typing import Any, TypeVar, cast

from postfix.outside import MAX_FIGURE

T = TypeVar("T")

_MOST = 2**53
"""Of whole numbers, such as the count of a file; what is reckoned with has narrower bounds of its own."""


def member(entry: Any, key: str, kind: type[T]) -> T:
    """A member of the wanted kind; int counts as float, and a bool never as a number.

    Raises
    ------
    ValueError
        Where it is missing, of another kind, or a number beyond any figure.
    """
    if not isinstance(entry, dict) or key not in entry:
        raise ValueError(f"no {key}")
    value = entry[key]
    if isinstance(value, int | float) and not abs(value) <= _MOST:
        raise ValueError(f"{key} is more than any figure")
    if kind is float and isinstance(value, int) and not isinstance(value, bool):
        return cast(T, float(value))
    if not isinstance(value, kind) or (isinstance(value, bool) and kind is not bool):
        raise ValueError(f"{key} is {str(value)[:40]!r}")
    return value


def figure(entry: Any, key: str) -> float:
    """A number that may be reckoned with; ValueError where it is none."""
    value = member(entry, key, float)
    if abs(value) > MAX_FIGURE:
        raise ValueError(f"{key} is more than any figure")
    return value
