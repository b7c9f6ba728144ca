"""Limits of a screen: how far in front of it and behind it content may be, and the rule that gives each figure."""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from typing import Literal

from postfix.viewing import Screen, mm_from_arcmin, pct_from_mm, range_mm_from_arcmin

COMFORT_ARCMIN = 60.0
"""Parallax range comfortable for most: Report ITU-R BT.2293-0 (2013), section 3.2, Table 9."""

DIVERGENCE_LIMIT_DEG = 0.286
"""Divergence that no allowance may exceed: half a prism dioptre, already uncomfortable for most (McKay 1953,
Three-Dimensional Photography, p. 82). The playback rule of the German society for stereoscopy allows at most 1°."""

Comfort = Literal["arcmin", "percent", "percent-wide", "zone"]
"""What limits near, far and range besides the eye distance: an angle, percent of width, or the zone of comfort."""

COMFORTS: tuple[Comfort, ...] = ("arcmin", "percent", "percent-wide", "zone")


@dataclass(frozen=True)
class Span:
    """What a number that a person gives may be: from ``low`` to ``high``, ``low`` itself only where ``with_low``."""

    low: float
    high: float
    unit: str
    with_low: bool = True

    def holds(self, value: float) -> bool:
        return (self.low <= value if self.with_low else self.low < value) and value <= self.high

    def __str__(self) -> str:
        if self.with_low:
            return f"{self.unit} from {self.low:g} to {self.high:g}"
        return f"{self.unit}, more than {self.low:g} and at most {self.high:g}"


LIMIT_SPANS: dict[str, Span] = {
    "comfort_arcmin": Span(0.0, 300.0, "arcminutes", with_low=False),
    "eye_mm": Span(0.0, 200.0, "millimetres", with_low=False),
    "allowance_mm": Span(0.0, 1000.0, "millimetres"),
    "allowance_pct": Span(0.0, 50.0, "percent of width"),
    "divergence_deg": Span(0.0, 10.0, "degrees", with_low=False),
    "near_pct": Span(-100.0, 100.0, "percent of width"),
    "far_pct": Span(-100.0, 100.0, "percent of width"),
    "range_pct": Span(0.0, 200.0, "percent of width", with_low=False),
}
"""What the figures of :class:`LimitRules` may be; wide enough for every screen, narrow enough to catch a wrong unit."""


@dataclass(frozen=True)
class LimitRules:
    """Which rules a person chose.

    Attributes
    ----------
    comfort : Comfort
    comfort_arcmin : float
        Angle of the ``arcmin`` rule.
    eye_mm : float or None
        Eye distance in place of the screen's own; 50 for children.
    allowance_mm, allowance_pct : float
        What far may be beyond the eye distance, in millimetres and in percent of width; capped by ``divergence_deg``.
    divergence_deg : float
        Divergence that no allowance may exceed.
    near_pct, far_pct, range_pct : float or None
        Given by hand, percent of width; each goes before every rule.
    given_in : str
        File and line of what a person gave, for messages and for the rule's words; no part of what is compared.
    """

    comfort: Comfort = "arcmin"
    comfort_arcmin: float = COMFORT_ARCMIN
    eye_mm: float | None = None
    allowance_mm: float = 0.0
    allowance_pct: float = 0.0
    divergence_deg: float = DIVERGENCE_LIMIT_DEG
    near_pct: float | None = None
    far_pct: float | None = None
    range_pct: float | None = None
    given_in: str = field(default="", compare=False)


DEFAULT_RULES = LimitRules()


@dataclass(frozen=True)
class Limits:
    """How far in front of and behind the screen content may be, with the rule that gave each figure.

    Attributes
    ----------
    near_pct, far_pct : float
        Most negative and most positive parallax allowed, percent of width.
    range_pct : float
        Largest far − near allowed within one frame, percent of width.
    near_rule, far_rule, range_rule : str
        The rule behind each, in words.
    """

    near_pct: float
    far_pct: float
    range_pct: float
    near_rule: str = ""
    far_rule: str = ""
    range_rule: str = ""


def limits_for(screen: Screen, rules: LimitRules = DEFAULT_RULES) -> Limits:
    """Limits of a screen from the published and customary rules.

    Far is the least of three: positive parallax no wider than the eye distance (common practice), divergence no more
    than :data:`DIVERGENCE_LIMIT_DEG`, and 60 arcmin behind the screen. Near is 60 arcmin in front of it. The range
    within one frame is 60 arcmin (Report ITU-R BT.2293-0, Table 9).
    """
    eye, distance, width = screen.eye_mm, screen.distance_mm, screen.width_mm
    diverging_mm = eye + 2.0 * distance * math.tan(math.radians(DIVERGENCE_LIMIT_DEG) / 2.0)
    far_choices = (
        (eye, f"on-screen parallax no wider than the eyes, {eye:g} mm (common practice)"),
        (diverging_mm, f"divergence no more than {DIVERGENCE_LIMIT_DEG:g} degrees"),
        (
            mm_from_arcmin(COMFORT_ARCMIN, distance, eye),
            f"{COMFORT_ARCMIN:g} arcmin behind the screen (Report ITU-R BT.2293-0)",
        ),
    )
    far_mm, far_rule = min(far_choices, key=lambda choice: choice[0])
    near_mm = mm_from_arcmin(-COMFORT_ARCMIN, distance, eye)
    range_mm = range_mm_from_arcmin(COMFORT_ARCMIN, distance)
    return Limits(
        near_pct=pct_from_mm(near_mm, width),
        far_pct=pct_from_mm(far_mm, width),
        range_pct=pct_from_mm(range_mm, width),
        near_rule=f"{COMFORT_ARCMIN:g} arcmin in front of the screen (Report ITU-R BT.2293-0)",
        far_rule=far_rule,
        range_rule=f"{COMFORT_ARCMIN:g} arcmin from nearest to farthest (Report ITU-R BT.2293-0, Table 9)",
    )
