"""The plan file: what is written is read back the same, and every fault is named with its line."""

from __future__ import annotations

from fractions import Fraction
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from plan_tables import CLIP, frame, rows, table

from postfix.errors import InputError
from postfix.limits import Limits
from postfix.measure.table import ClipInfo
from postfix.plan.clip import plan_clip
from postfix.plan.file import plan_text, read_plan
from postfix.plan.model import HitKey, Plan, ShotPlan, WindowKey
from postfix.plan.screens import is_screen_name
from postfix.plan.settings import FILLS
from postfix.viewing import BUILTIN_SCREENS, Screen

_SHARED_FOLDER = settings(
    max_examples=60, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow]
)

_TEXT = st.text(st.characters(exclude_categories=["Cs"]), max_size=20)
_LENGTH = st.floats(0.1, 1e6)
_WIDTH = st.floats(0.0, 1e4)
_PAIR = st.tuples(_WIDTH, _WIDTH)


@st.composite
def _shots(draw: st.DrawFn) -> tuple[ShotPlan, ...]:
    names = draw(st.lists(_TEXT, min_size=1, max_size=4, unique=True))
    shots = []
    first = 0
    for name in names:
        last = first + draw(st.integers(0, 30))
        inside = st.lists(st.integers(first, last), max_size=3, unique=True).map(sorted)
        hit = tuple(HitKey(at, draw(st.floats(-50, 50))) for at in draw(inside))
        window = tuple(WindowKey(at, draw(_PAIR), draw(_PAIR)) for at in draw(inside))
        shots.append(
            ShotPlan(
                name, first, last, hit or (HitKey(first, 0.0),), draw(st.floats(1, 10)),
                draw(st.sampled_from(FILLS)), window, draw(st.booleans()), draw(_TEXT),
            )
        )  # fmt: skip
        first = last + 1
    return tuple(shots)


@st.composite
def _plans(draw: st.DrawFn) -> Plan:
    screen = Screen(draw(_TEXT.filter(is_screen_name)), draw(_LENGTH), draw(_LENGTH), draw(_LENGTH), draw(_TEXT))
    near, far = sorted((draw(st.floats(-1e4, 1e4)), draw(st.floats(-1e4, 1e4))))
    limits = Limits(near, far, draw(st.floats(0, 1e4)), draw(_TEXT), draw(_TEXT), draw(_TEXT))
    rate = draw(st.fractions(min_value=Fraction(1, 100), max_value=1000, max_denominator=100000))
    size = st.integers(1, 100000)
    clip = ClipInfo(draw(_TEXT), draw(size), draw(size), rate, draw(st.integers(1, 8)))
    return Plan(screen, limits, clip, draw(_shots()))


@_SHARED_FOLDER
@given(_plans())
def test_a_plan_comes_back_exactly_as_it_was_written(tmp_path: Path, plan: Plan) -> None:
    file = tmp_path / "plan.toml"
    file.write_bytes(plan_text(plan).encode())
    assert read_plan(file) == plan
    assert plan_text(read_plan(file)) == plan_text(plan)


def _plan() -> Plan:
    made = table(lambda i: frame(far=1.2, left=rows(-1.0) if i > 30 else rows(0.2)), 96, cuts=[48])
    return plan_clip(made, BUILTIN_SCREENS["cinema-12m"])


def test_the_text_has_the_keys_of_the_interface_and_explains_the_sign() -> None:
    text = plan_text(_plan())
    assert "positive is behind the screen" in text
    for part in ("[screen]", "[limits]", "far_pct = ", "far_rule = ", "[clip]", "[[shot]]", 'name = "sh001"',
                 "first = 0", "last = 47", "hit = [{frame = 0, pct = ", "zoom = 1.0", "window = [", "left_px = [",
                 "locked = false", 'reason = "far was +1.20 %'):  # fmt: skip
        assert part in text


def _read(tmp_path: Path, text: str) -> Plan:
    file = tmp_path / "plan.toml"
    file.write_text(text, encoding="utf-8")
    return read_plan(file)


_SMALL = """\
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


def test_a_plan_written_by_hand_needs_only_the_essentials(tmp_path: Path) -> None:
    plan = _read(tmp_path, _SMALL)
    assert plan.clip.rate == Fraction(24000, 1001)
    assert plan.shots[0] == ShotPlan("a", 0, 9, (HitKey(0, 0.42),))
    assert plan.shots[1].hit == (HitKey(10, 0.0),)
    assert plan.shots[1].window == (WindowKey(10, (0.0, 0.0), (12.0, 20.0)),)
    assert plan.shots[1].locked


@pytest.mark.parametrize(
    ("old", "new", "line", "key"),
    [
        ("width_mm = 4000", "width_mm = 0", 3, "width_mm"),
        ("width_mm = 4000", "width_mm = nan", 3, "width_mm"),
        ("width_mm = 4000", "width_mm = true", 3, "width_mm"),
        ('name = "pier"', 'name = "../pier"', 2, "name"),
        ("far_pct = 1", "far_pct = inf", 8, "far_pct"),
        ("far_pct = 1", "far_pct = -3", 7, "near_pct"),
        ("range_pct = 3", "", 6, "range_pct"),
        ("range_pct = 3", "range_pct = 3\ncolour = 1", 10, "colour"),
        ("width_px = 960", "width_px = 960.0", 13, "width_px"),
        ('rate = "24000/1001"', "rate = 24", 16, "rate"),
        ('rate = "24000/1001"', 'rate = "24/0"', 16, "rate"),
        ("step_px = 2", "step_px = 0", 17, "step_px"),
        ("first = 0", "first = 1", 21, "first"),
        ("first = 10", "first = 9", 27, "first"),
        ("first = 10", "first = 11", 27, "first"),
        ("last = 19", "last = 20", 28, "last"),
        ("last = 9", "last = -1", 22, "last"),
        ("last = 19", "last = true", 28, "last"),
        ("pct = 0.42", "pct = 51", 23, "hit[0].pct"),
        ("pct = 0.42", "pct = nan", 23, "hit[0].pct"),
        ("frame = 0, pct", "frame = 10, pct", 23, "hit[0].frame"),
        ("frame = 0, pct = 0.42", "frame = 0", 23, "hit[0]"),
        ("{ frame = 0, pct = 0.42 }", "{ frame = 3, pct = 0 }, { frame = 3, pct = 1 }", 23, "hit[1].frame"),
        ("zoom = 1", "zoom = 0.99", 29, "zoom"),
        ('fill = "hide"', 'fill = "blur"', 30, "fill"),
        ("[12.0, 20.0]", "[12.0, -0.1]", 31, "window[0].right_px"),
        ("[12.0, 20.0]", "[12.0]", 31, "window[0].right_px"),
        ("[12.0, 20.0]", '[12.0, "a"]', 31, "window[0].right_px"),
        ("locked = true", 'locked = "yes"', 32, "locked"),
        ("locked = true", "lokced = true", 32, "lokced"),
        ('reason = "by hand"', "reason = 3", 33, "reason"),
        ('name = "b"', 'name = "a"', 26, "name"),
    ],
)
def test_a_fault_is_named_with_file_line_and_key(tmp_path: Path, old: str, new: str, line: int, key: str) -> None:
    assert _SMALL.count(old) >= 1
    with pytest.raises(InputError) as caught:
        _read(tmp_path, _SMALL.replace(old, new, 1))
    assert caught.value.where.startswith(f"{tmp_path / 'plan.toml'}, line {line}, ")
    assert caught.value.where.endswith(f", {key}")
    assert caught.value.expected


@pytest.mark.parametrize(
    "text",
    ["", "screen = 1", "[screen]\n", _SMALL.split("[[shot]]")[0], _SMALL.split("[[shot]]  #")[0], "shot = [1]",
     "a = " + "9" * 5000, "a = " + "[" * 5000, "a = 2024-13-01", "\ufeff]["],
)  # fmt: skip
def test_what_is_no_plan_is_an_input_error(tmp_path: Path, text: str) -> None:
    with pytest.raises(InputError):
        _read(tmp_path, text)


def test_a_missing_file_a_folder_and_bytes_that_are_no_text_are_input_errors(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="no such file"):
        read_plan(tmp_path / "none.toml")
    with pytest.raises(InputError):
        read_plan(tmp_path)
    (tmp_path / "plan.toml").write_bytes(b"\xff\xfe\x00")
    with pytest.raises(InputError, match="UTF-8"):
        read_plan(tmp_path / "plan.toml")


_VALUES = st.one_of(
    st.integers(), st.floats(), st.booleans(), st.just("9" * 400), st.just("[]"), st.just("{}"), st.just("[[1]]"),
    st.just("[{}]"), st.just("1979-05-27"), st.just('"x"'), st.just("[{frame=0}]"),
    st.just("[{frame=1.5, pct=1}]"), st.just('[{frame="a", left_px=1, right_px=[1,[2]]}]'),
).map(lambda value: str(value).lower())  # fmt: skip


@_SHARED_FOLDER
@given(st.integers(0, 33), _VALUES, st.text(max_size=30))
def test_junk_gives_an_input_error_or_a_plan_and_never_another_exception(
    tmp_path: Path, line: int, value: str, junk: str
) -> None:
    lines = _SMALL.splitlines()
    if line < len(lines) and "=" in lines[line]:
        lines[line] = f"{lines[line].split('=')[0]}= {value}"
    for text in ("\n".join(lines), junk, _SMALL + junk):
        file = tmp_path / "plan.toml"
        file.write_bytes(text.encode("utf-8", "surrogatepass"))
        message = "plan.toml"
        try:
            read_plan(file)
        except InputError as error:
            message = str(error)
        assert "plan.toml" in message


def test_the_same_plan_gives_the_same_bytes_and_notes_the_clip() -> None:
    assert plan_text(_plan()) == plan_text(_plan())
    assert f"width_px = {CLIP.width_px}" in plan_text(_plan())
