"""Values as TOML text, on one line or an entry a line; exact, and quick enough for the plan of a whole film."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence

_INLINE_ENTRIES = 3  # more entries of an array of tables than this go on lines of their own

_ESCAPES = {"\b": "\\b", "\t": "\\t", "\n": "\\n", "\f": "\\f", "\r": "\\r", '"': '\\"', "\\": "\\\\"}

_TO_ESCAPE = re.compile(r'[\x00-\x1f\x7f"\\]')


def toml_value(value: object) -> str:
    """A truth value, number, text, list or mapping as TOML; reading it gives the same value back.

    Parameters
    ----------
    value : object
        Mappings need keys that can stand bare.

    Raises
    ------
    TypeError
        For anything that TOML has no word for here.
    """
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, int):
        return str(int(value))
    if isinstance(value, float):
        return float.__repr__(float(value))
    if isinstance(value, str):
        return f'"{_TO_ESCAPE.sub(lambda found: _escaped(found[0]), value)}"'
    if isinstance(value, Mapping):
        return "{" + ", ".join(f"{key} = {toml_value(entry)}" for key, entry in value.items()) + "}"
    if isinstance(value, Sequence):
        entries = [toml_value(entry) for entry in value]
        if len(entries) > _INLINE_ENTRIES and isinstance(value[0], Mapping):
            return "".join(["[\n", *(f"    {entry},\n" for entry in entries), "]"])
        return f"[{', '.join(entries)}]"
    raise TypeError(f"no TOML for {type(value).__name__}")


def toml_lines(values: Mapping[str, object]) -> str:
    """``key = value`` lines, each ended by a line feed."""
    return "".join(f"{key} = {toml_value(value)}\n" for key, value in values.items())


def _escaped(character: str) -> str:
    return _ESCAPES.get(character) or f"\\u{ord(character):04x}"
