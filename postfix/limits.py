"""Limits of a screen: how far in front of it and behind it content may be, and the rule that gives each figure."""

from __future__ import annotations

import math
import re
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Literal

from postfix.errors import InputError
from postfix.viewing import Screen, divergence_deg, mm_from_arcmin, mm_from_pct, pct_from_mm, range_mm_from_arcmin

COMFORT_ARCMIN = 60.0
"""Parallax range comfortable for most: Report ITU-R BT.2293-0 (2013), section 3.2, Table 9."""

DIVERGENCE_LIMIT_DEG = 0.286
"""Divergence that no allowance may exceed: half a prism dioptre, already uncomfortable for most (McKay 1953,
Three-Dimensional Photography, p. 82)."""

DIVERGENCE_MAX_DEG = 1.0
"""Divergence that the playback rule of the German society for stereoscopy allows at most."""

GUIDELINE_RANGE_PCT = 3.0
"""Range of the ``percent`` rules: a British satellite broadcaster's guideline for stereoscopic programmes, as the trade
press reported it in 2012 (second hand). It has −1 % to +2 % in normal use, and −2.5 % or +4 % for a while where the
range is kept: near at −2.5 % leaves far +0.5 %, and far at +4 % leaves near +1 %."""

Comfort = Literal["arcmin", "percent", "percent-wide", "zone"]
"""What limits near, far and range besides the eye distance: ``arcmin`` an angle, ``percent`` what a broadcaster's
guideline allows in normal use, ``percent-wide`` what it allows for a while, ``zone`` the zone of comfort between where
the eyes focus and where they meet."""

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
    by_hand : tuple of str
        Which of ``near``, ``far`` and ``range`` a person typed into a plan; planning it again keeps them.
    """

    near_pct: float
    far_pct: float
    range_pct: float
    near_rule: str = ""
    far_rule: str = ""
    range_rule: str = ""
    by_hand: tuple[str, ...] = ()


def eye_mm_of(screen: Screen, rules: LimitRules) -> float:
    """The eye distance that counts: the rules' where they have one, else the screen's own."""
    return screen.eye_mm if rules.eye_mm is None else rules.eye_mm


def limits_for(screen: Screen, rules: LimitRules = DEFAULT_RULES) -> Limits:
    """Limits of a screen from the rules chosen; each says which rule gave it.

    Far is the least of three: positive parallax no wider than the eye distance (common practice) and its allowance,
    divergence no more than ``divergence_deg``, and what the comfort rule has behind the screen. Near and range come
    from the comfort rule. A figure given by hand goes before all of them, also where the eyes then turn apart.

    Raises
    ------
    InputError
        Where a rule cannot be meant, or no parallax is both beyond near and short of far.
    """
    _require_meant(rules)
    eye_mm = eye_mm_of(screen, rules)
    comfort = _COMFORT[rules.comfort](screen, rules, eye_mm)
    far = min((*_far_of_eyes(screen, rules, eye_mm), comfort.far), key=lambda limit: limit.pct)
    near = comfort.near
    if rules.near_pct is not None:
        near = _Limit(rules.near_pct, _by_hand(rules))
    if rules.far_pct is not None:
        apart_deg = divergence_deg(mm_from_pct(rules.far_pct, screen.width_mm), screen.distance_mm, eye_mm)
        far = _Limit(rules.far_pct, _by_hand(rules) + _caution(apart_deg))
    if near.pct >= far.pct:
        raise _not_meant(
            rules,
            f"near at {near.pct:+.3g} % ({near.rule}) and far at {far.pct:+.3g} % ({far.rule})",
            f"near in front of far on {screen.name}",
            "give a smaller near_pct or a larger far_pct",
        )
    depth = comfort.range or _Limit(far.pct - near.pct, "from the near to the far limit")
    if rules.range_pct is not None:
        depth = _Limit(rules.range_pct, _by_hand(rules))
    return Limits(near.pct, far.pct, depth.pct, near.rule, far.rule, depth.rule)


@dataclass(frozen=True)
class _Limit:
    pct: float
    rule: str


@dataclass(frozen=True)
class _Comfort:
    """What a comfort rule gives; ``range`` None where that is all between near and far."""

    near: _Limit
    far: _Limit
    range: _Limit | None


def _far_of_eyes(screen: Screen, rules: LimitRules, eye_mm: float) -> tuple[_Limit, _Limit]:
    """What the eye distance allows, and what divergence."""
    allowed_mm = eye_mm + rules.allowance_mm + rules.allowance_pct * screen.width_mm / 100.0
    widest = f"on-screen parallax no wider than the eyes, {eye_mm:g} mm"
    allowances = [f"{rules.allowance_mm:g} mm"] if rules.allowance_mm else []
    allowances += [f"{rules.allowance_pct:g} % of width"] if rules.allowance_pct else []
    if allowances:
        widest += f", and an allowance of {' and '.join(allowances)}: {allowed_mm:.4g} mm"
    diverging_mm = eye_mm + 2.0 * screen.distance_mm * math.tan(math.radians(rules.divergence_deg) / 2.0)
    source = " (McKay 1953)" if rules.divergence_deg == DIVERGENCE_LIMIT_DEG else ""
    return (
        _Limit(pct_from_mm(allowed_mm, screen.width_mm), f"{widest} (common practice)"),
        _Limit(
            pct_from_mm(diverging_mm, screen.width_mm),
            f"divergence no more than {rules.divergence_deg:g} degrees{source}",
        ),
    )


def _arcmin_comfort(screen: Screen, rules: LimitRules, eye_mm: float) -> _Comfort:
    """The same angle in front, behind and from nearest to farthest; at 60 arcmin the report's."""
    arcmin, distance, width = rules.comfort_arcmin, screen.distance_mm, screen.width_mm
    is_report = arcmin == COMFORT_ARCMIN
    report, report_table = (
        (" (Report ITU-R BT.2293-0)", " (Report ITU-R BT.2293-0, Table 9)") if is_report else ("", "")
    )
    return _Comfort(
        _Limit(
            pct_from_mm(mm_from_arcmin(-arcmin, distance, eye_mm), width),
            f"{arcmin:g} arcmin in front of the screen{report}",
        ),
        _Limit(
            pct_from_mm(mm_from_arcmin(arcmin, distance, eye_mm), width), f"{arcmin:g} arcmin behind the screen{report}"
        ),
        _Limit(
            pct_from_mm(range_mm_from_arcmin(arcmin, distance), width),
            f"{arcmin:g} arcmin from nearest to farthest{report_table}",
        ),
    )


def _percent_comfort(near_pct: float, far_pct: float) -> Callable[[Screen, LimitRules, float], _Comfort]:
    source = "(a broadcaster's guideline, second hand)"
    comfort = _Comfort(
        _Limit(near_pct, f"{-near_pct:g} % of width in front of the screen {source}"),
        _Limit(far_pct, f"{far_pct:g} % of width behind the screen {source}"),
        _Limit(GUIDELINE_RANGE_PCT, f"{GUIDELINE_RANGE_PCT:g} % of width from nearest to farthest {source}"),
    )
    return lambda screen, rules, eye_mm: comfort


def _zone_comfort(screen: Screen, rules: LimitRules, eye_mm: float) -> _Comfort:
    """The zone of comfort; no limit behind the screen where it reaches infinity."""
    near_mm, far_mm = comfort_zone_mm(screen.distance_mm)
    if near_mm is None:
        raise _not_meant(
            rules,
            f'comfort "zone" for a viewer {screen.distance_mm:g} mm from {screen.name}',
            "a screen that is not nearer than its own zone of comfort",
            "choose another comfort rule for this screen",
        )
    source = "zone of comfort (Shibata et al. 2011, from memory)"

    def limit(at_mm: float, beyond: str) -> _Limit:
        parallax_mm = eye_mm * (1.0 - screen.distance_mm / at_mm)
        return _Limit(
            pct_from_mm(parallax_mm, screen.width_mm),
            f"no {beyond} than {at_mm / 1000.0:.3g} m from the viewer: {source}",
        )

    far = _Limit(math.inf, "") if far_mm is None else limit(far_mm, "farther")
    return _Comfort(limit(near_mm, "nearer"), far, None)


_COMFORT: dict[Comfort, Callable[[Screen, LimitRules, float], _Comfort]] = {
    "arcmin": _arcmin_comfort,
    "percent": _percent_comfort(-1.0, 2.0),
    "percent-wide": _percent_comfort(-2.5, 4.0),
    "zone": _zone_comfort,
}


def comfort_zone_mm(distance_mm: float) -> tuple[float | None, float | None]:
    """Distances from the viewer between which a point is comfortable while the eyes focus on a screen.

    Far is None where the zone reaches infinity or beyond; near is None where the lines put it behind the screen, which
    happens only a few centimetres from the eyes, where they were not measured.

    The two lines are those of Shibata, Kim, Hoffman and Banks 2011, J. Vision 11(8):11, with the focal distance ``F``
    and the distance ``D`` at which the eyes meet in dioptres: ``F = 1.035·D − 0.626`` and ``F = 1.129·D + 0.442``, the
    figures from memory.
    """
    focal = 1000.0 / distance_mm
    near, far = (focal + 0.626) / 1.035, (focal - 0.442) / 1.129
    return 1000.0 / near if near > focal else None, 1000.0 / far if far > 0.0 else None


def _by_hand(rules: LimitRules) -> str:
    """``given by hand (settings.toml, line 4)``; folders are left out, since they say nothing about the film."""
    places = "; ".join(re.sub(r"^.*[/\\]", "", one) for one in rules.given_in.split("; ") if one)
    return f"given by hand ({places})" if places else "given by hand"


def _caution(apart_deg: float) -> str:
    """What to say of a far limit at which the eyes turn apart; nothing where they need not."""
    if apart_deg <= 0.0:
        return ""
    words = f"; caution: the eyes turn apart by {apart_deg:.3f} degrees there"
    if apart_deg > DIVERGENCE_MAX_DEG:
        return f"{words}, more than {DIVERGENCE_MAX_DEG:g} degree (playback rule of the German society for stereoscopy)"
    if apart_deg > DIVERGENCE_LIMIT_DEG:
        return f"{words}, more than the {DIVERGENCE_LIMIT_DEG:g} that is already uncomfortable for most (McKay 1953)"
    return words


def _require_meant(rules: LimitRules) -> None:
    if rules.comfort not in COMFORTS:
        raise _not_meant(rules, f"comfort {rules.comfort!r}", f"one of {', '.join(COMFORTS)}", "choose one of these")
    for name, span in LIMIT_SPANS.items():
        value = getattr(rules, name)
        if value is not None and not span.holds(value):
            raise _not_meant(rules, f"{name} {value:g}", str(span), "correct it")


def _not_meant(rules: LimitRules, found: str, expected: str, next_step: str) -> InputError:
    return InputError(rules.given_in or "the limits", found, expected, next_step)
