"""Differences between the eyes that a viewer sees (vertical shift, rotation, size) against published figures."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Literal

import numpy as np

from postfix.measure.table import ClipInfo, MeasurementTable

SOURCE = "Report ITU-R BT.2293-0"
"""Its Table 8 (2013) gives the figures below; read."""

Kind = Literal["vertical", "rotation", "size"]


@dataclass(frozen=True)
class MisfitLimit:
    """From where a difference is just seen, and up to where it is tolerated."""

    just_seen: float
    tolerated: float
    unit: str


LIMITS: dict[Kind, MisfitLimit] = {
    "vertical": MisfitLimit(0.7, 1.5, "% of height"),
    "rotation": MisfitLimit(0.5, 1.1, "°"),
    "size": MisfitLimit(1.2, 2.9, "%"),
}
"""Report ITU-R BT.2293-0 (2013), Table 8: size difference, vertical displacement, rotation about the centre; read."""


@dataclass(frozen=True)
class Misfit:
    """One difference of one shot that is at least just seen.

    Attributes
    ----------
    shot : str
    kind : str
    value : float
        Median over the shot's frames in which it was measured, right eye against left, in ``unit``: positive is lower,
        clockwise as seen, larger.
    unit : str
    just_seen, tolerated : float
        In ``unit``.
    text : str
        The same as a sentence.
    """

    shot: str
    kind: Kind
    value: float
    unit: str
    just_seen: float
    tolerated: float
    text: str


def misfits(table: MeasurementTable) -> tuple[Misfit, ...]:
    """Every difference of every shot that reaches what is just seen; a note, since nothing here is corrected."""
    found = []
    for shot in table.shots:
        for kind, (column, value_of, text_of) in _KINDS.items():
            values = table.column(column)[shot.first : shot.last + 1]
            known = values[np.isfinite(values)]
            if not known.size:
                continue
            median = float(np.median(known))
            value, limit = value_of(median, table.clip), LIMITS[kind]
            if abs(value) >= limit.just_seen:
                text = f"{shot.name}: {text_of(median, value)}{_limits_text(limit, kind)}"
                found.append(
                    Misfit(shot.name, kind, round(value, 4), limit.unit, limit.just_seen, limit.tolerated, text)
                )
    return tuple(found)


def _limits_text(limit: MisfitLimit, kind: Kind) -> str:
    unit = limit.unit if kind == "rotation" else " %"
    return f"just seen from {limit.just_seen:g}{unit}, tolerated to {limit.tolerated:g}{unit}: {SOURCE})"


def _vertical_text(px: float, pct: float) -> str:
    return f"right eye {abs(px):.1f} px {'lower' if px > 0 else 'higher'} than the left ({abs(pct):.2f} % of height; "


def _rotation_text(deg: float, _: float) -> str:
    return f"right eye turned {abs(deg):.2f}° {'clockwise' if deg > 0 else 'anticlockwise'} against the left ("


def _size_text(pct: float, _: float) -> str:
    return f"right eye {abs(pct):.2f} % {'larger' if pct > 0 else 'smaller'} than the left ("


def _of_height(px: float, clip: ClipInfo) -> float:
    return px * 100.0 / clip.height_px


def _as_it_is(value: float, _: ClipInfo) -> float:
    return value


_KINDS: dict[Kind, tuple[str, Callable[[float, ClipInfo], float], Callable[[float, float], str]]] = {
    "vertical": ("vertical_px", _of_height, _vertical_text),
    "rotation": ("rotation_deg", _as_it_is, _rotation_text),
    "size": ("size_pct", _as_it_is, _size_text),
}
"""Column of the table, its value in the limit's unit, and how it is said."""
