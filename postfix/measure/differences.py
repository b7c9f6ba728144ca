"""Differences between the eyes that a viewer sees, shot by shot, against published figures where there are any."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Literal

import numpy as np
import numpy.typing as npt

from postfix.measure.misfit import Misfit
from postfix.measure.table import ClipInfo, MeasurementTable, columns_of_rows

SOURCE = "Report ITU-R BT.2293-0"
"""Its Table 8 (2013) gives the figures below that name it; read."""

PROJECT_DEFAULT = "project default, no source"

Kind = Literal[
    "vertical", "rotation", "size", "keystone", "corner", "white", "brightness", "black", "colour", "sharpness"
]


@dataclass(frozen=True)
class DifferenceLimit:
    """From where a difference is just seen, and up to where it is tolerated.

    Attributes
    ----------
    just_seen : float
        Where there is no published figure: from where it is mentioned.
    tolerated : float or None
        None where there is no published figure; lower than ``just_seen`` where smaller values are worse.
    unit : str
    source : str
    """

    just_seen: float
    tolerated: float | None
    unit: str
    source: str = SOURCE

    def reached(self, value: float) -> int:
        """0 below what is just seen and for NaN, 1 from there on, 2 beyond what is tolerated."""
        if self.tolerated is None:
            return int(value >= self.just_seen)
        sign = 1.0 if self.tolerated > self.just_seen else -1.0
        return int(sign * value >= sign * self.just_seen) + int(sign * value > sign * self.tolerated)

    def text(self) -> str:
        """The same in words."""
        sign = "°" if self.unit == "°" else " %"
        if self.tolerated is None:
            return f"mentioned from {self.just_seen:g}{sign}: {self.source}"
        down = " down" if self.tolerated < self.just_seen else ""
        return f"just seen from {self.just_seen:g}{sign}{down}, tolerated to {self.tolerated:g}{sign}: {self.source}"


LIMITS: dict[Kind, DifferenceLimit] = {
    "vertical": DifferenceLimit(0.7, 1.5, "% of height"),
    "rotation": DifferenceLimit(0.5, 1.1, "°"),
    "size": DifferenceLimit(1.2, 2.9, "%"),
    "keystone": DifferenceLimit(1.0, None, "%", PROJECT_DEFAULT),
    "corner": DifferenceLimit(0.7, 1.5, "% of height"),
    "white": DifferenceLimit(70.0, 60.0, "% of the other eye's white"),
    "brightness": DifferenceLimit(10.0, None, "%", PROJECT_DEFAULT),
    "black": DifferenceLimit(1.0, 2.0, "% of white"),
    "colour": DifferenceLimit(5.0, None, "%", PROJECT_DEFAULT),
    "sharpness": DifferenceLimit(25.0, None, "%", PROJECT_DEFAULT),
}
"""Report ITU-R BT.2293-0 (2013), Table 8: size difference, vertical displacement (also held against the corner that is
displaced most), rotation about the centre, white and black level of one picture; read. The others have no figure there.
"""


@dataclass(frozen=True)
class Difference:
    """One difference of one shot that is at least just seen.

    Attributes
    ----------
    shot : str
    kind : str
    value : float
        From medians over the shot's frames in which it was measured, right eye against left, in ``unit``: positive is
        lower, clockwise as seen, larger, taller at its right side, higher black, sharper. ``corner`` is unsigned;
        ``white`` is the lower white in percent of the higher; ``brightness`` is the gain; ``colour`` is how far the
        channels lie apart.
    unit : str
    just_seen : float
        In ``unit``.
    tolerated : float or None
        In ``unit``; None where no figure is published.
    source : str
        Of the two figures before.
    text : str
        The same as a sentence.
    """

    shot: str
    kind: Kind
    value: float
    unit: str
    just_seen: float
    tolerated: float | None
    source: str
    text: str


Medians = Mapping[str, float]
Found = tuple[float, float, str]
"""A value, the same as the limit is held against it, and how it is said."""


def differences(table: MeasurementTable) -> tuple[Difference, ...]:
    """Every difference of every shot that reaches what is just seen; a note, since nothing here is corrected."""
    columns = columns_of_rows(table.frames, _COLUMNS)
    found = []
    for shot in table.shots:
        medians = {name: _median(values[shot.first : shot.last + 1]) for name, values in columns.items()}
        for kind, find in _KINDS.items():
            seen, limit = find(medians, table.clip), LIMITS[kind]
            if seen is None or not limit.reached(seen[1]):
                continue
            value, _, said = seen
            text = f"{shot.name}: {said}{limit.text()})"
            found.append(
                Difference(
                    shot.name, kind, round(value, 4), limit.unit, limit.just_seen, limit.tolerated, limit.source, text
                )
            )
    return tuple(found)


def _median(values: npt.NDArray[np.float64]) -> float:
    known = values[np.isfinite(values)]
    return float(np.median(known)) if known.size else math.nan


def _vertical(medians: Medians, clip: ClipInfo) -> Found:
    px = medians["vertical_px"]
    pct = px * 100.0 / clip.height_px
    where = "lower" if px > 0 else "higher"
    return pct, abs(pct), f"right eye {abs(px):.1f} px {where} than the left ({abs(pct):.2f} % of height; "


def _rotation(medians: Medians, _: ClipInfo) -> Found:
    deg = medians["rotation_deg"]
    way = "clockwise" if deg > 0 else "anticlockwise"
    return deg, abs(deg), f"right eye turned {abs(deg):.2f}° {way} against the left ("


def _size(medians: Medians, _: ClipInfo) -> Found:
    pct = medians["size_pct"]
    return pct, abs(pct), f"right eye {abs(pct):.2f} % {'larger' if pct > 0 else 'smaller'} than the left ("


def _keystone(medians: Medians, _: ClipInfo) -> Found:
    pct = medians["keystone_pct"]
    high, low = ("right", "left") if pct > 0 else ("left", "right")
    said = f"right eye {abs(pct):.2f} % taller at its {high} side than at its {low}, against the left eye ("
    return pct, abs(pct), said


def _corner(medians: Medians, clip: ClipInfo) -> Found | None:
    """Only where the corner reaches more than the shift of the whole picture does, which is told by itself."""
    shift = medians["vertical_px"]
    if math.isnan(shift):
        return None
    misfit = Misfit(
        shift,
        math.radians(medians["rotation_deg"]),
        1.0 + medians["size_pct"] / 100.0,
        medians["keystone_pct"] / 100.0,
        float(clip.pixel_aspect),
    )
    px, per_px = misfit.corner_px(clip.width_px, clip.height_px), 100.0 / clip.height_px
    limit = LIMITS["corner"]
    if limit.reached(px * per_px) <= limit.reached(abs(shift) * per_px):
        return None
    said = f"in the worst corner the right eye lies {px:.1f} px off in height ({px * per_px:.2f} % of height; "
    return px * per_px, px * per_px, said


def _white(medians: Medians, _: ClipInfo) -> Found | None:
    gain, black = medians["gain_pct"], medians["black_pct"]
    if math.isnan(gain):
        return None
    white = 1.0 + gain / 100.0 + (black / 100.0 if math.isfinite(black) else 0.0)
    if white <= 0.0:
        return None
    share = 100.0 * min(white, 1.0 / white)
    own, other = ("right", "left") if white < 1.0 else ("left", "right")
    return share, share, f"{own} eye's white is {share:.1f} % of the {other}'s ("


def _brightness(medians: Medians, clip: ClipInfo) -> Found | None:
    """Where the white level does not say it already."""
    gain, white = medians["gain_pct"], _white(medians, clip)
    if math.isnan(gain) or (white is not None and LIMITS["white"].reached(white[1])):
        return None
    way = "brighter" if gain > 0 else "darker"
    return gain, abs(gain), f"right eye {abs(gain):.0f} % {way} than the left ("


def _black(medians: Medians, _: ClipInfo) -> Found:
    pct = medians["black_pct"]
    way = "higher" if pct > 0 else "lower"
    return pct, abs(pct), f"right eye's black lies {abs(pct):.1f} % of white {way} than the left's ("


def _colour(medians: Medians, _: ClipInfo) -> Found | None:
    gains = {name: 1.0 + medians[f"{name}_gain_pct"] / 100.0 for name in ("red", "green", "blue")}
    if not all(gain > 0.0 for gain in gains.values()):
        return None
    strong, weak = max(gains, key=lambda name: gains[name]), min(gains, key=lambda name: gains[name])
    apart = 100.0 * (gains[strong] / gains[weak] - 1.0)
    return apart, apart, f"right eye's {strong} is {apart:.1f} % stronger against its {weak} than in the left eye ("


def _sharpness(medians: Medians, _: ClipInfo) -> Found | None:
    pct = medians["sharpness_pct"]
    if not pct > -100.0:
        return None
    ratio = 1.0 + pct / 100.0
    weaker = 100.0 * (1.0 - min(ratio, 1.0 / ratio))
    own, other = ("right", "left") if pct < 0 else ("left", "right")
    return pct, weaker, f"{own} eye softer: its fine detail is {weaker:.0f} % weaker than the {other}'s ("


_COLUMNS = (
    "vertical_px",
    "rotation_deg",
    "size_pct",
    "keystone_pct",
    "gain_pct",
    "black_pct",
    "red_gain_pct",
    "green_gain_pct",
    "blue_gain_pct",
    "sharpness_pct",
)

_KINDS: dict[Kind, Callable[[Medians, ClipInfo], Found | None]] = {
    "vertical": _vertical,
    "rotation": _rotation,
    "size": _size,
    "keystone": _keystone,
    "corner": _corner,
    "white": _white,
    "brightness": _brightness,
    "black": _black,
    "colour": _colour,
    "sharpness": _sharpness,
}
"""How each kind is read from a shot's medians."""
