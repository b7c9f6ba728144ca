"""Any plan whatever, and a small plan file as a person would write one, for the tests of plan files."""

from __future__ import annotations

import math
from fractions import Fraction
from typing import Any

from hypothesis import HealthCheck, settings
from hypothesis import strategies as st

from postfix.camera import RIGS, Camera
from postfix.limits import COMFORTS, LIMIT_SPANS, LimitRules, Limits, Span
from postfix.measure.table import ClipInfo
from postfix.plan.model import PARTS, HitKey, Plan, ShotPlan, Subject, WindowKey
from postfix.plan.screens import is_screen_name
from postfix.plan.settings import FILLS, SPANS, ConvergenceSettings, PlanSettings, WindowSettings
from postfix.viewing import Screen

IN_A_FOLDER = settings(
    max_examples=60, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow]
)

SMALL = """\
[screen]
name = "pier"
width_mm = 4000
distance_mm = 6000

[limits]
near_pct = -2
far_pct = 1
range_pct = 3

[clip]
name = "wind"
width_px = 960
height_px = 540
frames = 20
rate = "24000/1001"
step_px = 2

[[shot]]
name = "a"
first = 0
last = 9
hit = [{ frame = 0, pct = 0.42 }]

[[shot]]  # the second
name = "b"
first = 10
last = 19
zoom = 1
fill = "hide"
window = [{ frame = 10, left_px = [0, 0], right_px = [12.0, 20.0] }]
locked = true
reason = "by hand"
"""

TEXT = st.text(st.characters(exclude_categories=["Cs"]), max_size=20)
_LENGTH = st.floats(0.1, 1e6)
_WIDTH = st.floats(0.0, 1e4)
_PAIR = st.tuples(_WIDTH, _WIDTH)
_HIT = st.floats(-50, 50)
_BY_HAND = st.sets(st.sampled_from(PARTS)).map(lambda chosen: tuple(part for part in PARTS if part in chosen))


def _spanned(span: Span) -> st.SearchStrategy[float]:
    return st.floats(span.low, span.high, exclude_min=not span.with_low)


def _section(kind: type[Any]) -> st.SearchStrategy[Any]:
    """Settings of a kind with any values that a person may give."""
    default = kind()
    fields: dict[str, st.SearchStrategy[Any]] = {}
    for name, value in vars(default).items():
        span = SPANS[kind].get(name)
        if span is None:
            fields[name] = st.booleans()
        elif isinstance(value, int):
            fields[name] = st.integers(int(span.low), int(span.high))
        else:
            fields[name] = _spanned(span)
    return st.builds(kind, **fields)


_RULES = st.builds(
    LimitRules,
    comfort=st.sampled_from(COMFORTS),
    **{
        name: st.one_of(st.none(), _spanned(span)) if getattr(LimitRules(), name) is None else _spanned(span)
        for name, span in LIMIT_SPANS.items()
    },
)

SETTINGS = st.one_of(
    st.just(PlanSettings()),
    st.builds(
        PlanSettings, _RULES, _section(ConvergenceSettings), _section(WindowSettings), st.sampled_from(FILLS)
    ),
)  # fmt: skip


@st.composite
def _subjects(draw: st.DrawFn, first: int, last: int, clip: ClipInfo) -> Subject:
    x, y = draw(st.integers(0, clip.width_px - 1)), draw(st.integers(0, clip.height_px - 1))
    box = (x, y, draw(st.integers(1, clip.width_px - x)), draw(st.integers(1, clip.height_px - y)))
    found = draw(st.one_of(st.none(), st.floats(-100, 100)))
    return Subject(draw(st.integers(first, last)), box, draw(_HIT), found)


def _noted(low: float, high: float, *endless: float) -> st.SearchStrategy[float | None]:
    return st.one_of(st.none(), st.floats(low, high), *map(st.just, endless))


CAMERAS = st.builds(
    Camera,
    interaxial_mm=_noted(1, 100),
    focal_mm=_noted(5, 50),
    sensor_width_mm=_noted(10, 40),
    convergence_mm=_noted(2000, 1e6, math.inf),
    rig=st.sampled_from(RIGS),
    near_mm=_noted(200, 1000),
    far_mm=_noted(1001, 1e7, math.inf),
)
"""Any camera that can be, with any of its figures unknown."""


@st.composite
def shots(draw: st.DrawFn, clip: ClipInfo) -> tuple[ShotPlan, ...]:
    names = draw(st.lists(TEXT, min_size=1, max_size=4, unique=True))
    made = []
    first = 0
    for name in names:
        last = first + draw(st.integers(0, 30))
        inside = st.lists(st.integers(first, last), max_size=5, unique=True).map(sorted)
        hit = tuple(HitKey(at, draw(_HIT)) for at in draw(inside))
        made.append(
            ShotPlan(
                name=name,
                first=first,
                last=last,
                hit=hit or (HitKey(first, 0.0),),
                zoom=draw(st.floats(1, 10)),
                fill=draw(st.sampled_from(FILLS)),
                window=tuple(WindowKey(at, draw(_PAIR), draw(_PAIR)) for at in draw(inside)),
                window_soft_px=draw(st.one_of(st.just(0.0), _WIDTH)),
                window_opacity_pct=draw(st.one_of(st.just(100.0), st.floats(0, 100))),
                subject=draw(st.one_of(st.none(), _subjects(first, last, clip))),
                by_hand=draw(_BY_HAND),
                locked=draw(st.booleans()),
                reason=draw(TEXT),
                camera=draw(st.one_of(st.none(), CAMERAS)),
            )
        )
        first = last + 1
    return tuple(made)


@st.composite
def plans(draw: st.DrawFn) -> Plan:
    screen = Screen(draw(TEXT.filter(is_screen_name)), draw(_LENGTH), draw(_LENGTH), draw(_LENGTH), draw(TEXT))
    ends = st.lists(st.floats(-1e4, 1e4), min_size=2, max_size=2, unique=True).map(sorted)
    near, far = draw(ends)
    limits = Limits(near, far, draw(st.floats(0, 1e4, exclude_min=True)), draw(TEXT), draw(TEXT), draw(TEXT))
    rate = draw(st.fractions(min_value=Fraction(1, 100), max_value=1000, max_denominator=100000))
    size = st.integers(1, 100000)
    mark = st.one_of(st.just(""), st.from_regex(r"[0-9a-f]{16}", fullmatch=True))
    clip = ClipInfo(draw(TEXT), draw(size), draw(size), rate, draw(st.integers(1, 8)), draw(mark))
    return Plan(screen, limits, clip, draw(shots(clip)), draw(SETTINGS))
