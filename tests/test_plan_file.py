"""The plan file: what is written is read back the same, and every fault is named with its line."""

from __future__ import annotations

import hashlib
from dataclasses import replace
from fractions import Fraction
from pathlib import Path

import pytest
import tomlkit
from hypothesis import given
from hypothesis import strategies as st
from plan_files import IN_A_FOLDER, SMALL, TEXT, plans
from plan_tables import frame, table

from postfix.errors import InputError
from postfix.limits import limits_for
from postfix.measure.table import ClipInfo
from postfix.plan.file import plan_text, read_plan
from postfix.plan.locked import keep_locked, locked_only, locked_shots
from postfix.plan.model import HitKey, Plan, ShotPlan, Subject, WindowKey
from postfix.plan.settings import PlanSettings, WindowSettings
from postfix.plan.toml_text import toml_value
from postfix.viewing import BUILTIN_SCREENS


@IN_A_FOLDER
@given(plans())
def test_a_plan_comes_back_exactly_as_it_was_written(tmp_path: Path, plan: Plan) -> None:
    file = tmp_path / "plan.toml"
    file.write_bytes(plan_text(plan).encode())
    assert read_plan(file) == plan
    assert plan_text(read_plan(file)) == plan_text(plan)


CLIP = ClipInfo("wind", 2048, 1080, Fraction(24), 2)


def _plan() -> Plan:
    screen = BUILTIN_SCREENS["cinema-12m"]
    window = (WindowKey(0, (20.5, 20.5), (0.0, 0.0)), WindowKey(47, (12.0, 8.0), (0.0, 0.0)))
    shots = (
        ShotPlan("sh001", 0, 47, (HitKey(0, -0.5859375),), window=window, reason="far was +1.20 %, limit +0.54 %"),
        ShotPlan("sh002", 48, 95, (HitKey(48, 0.0), HitKey(95, 0.25)), subject=Subject(50, (10, 20, 30, 40), -0.5)),
    )
    return Plan(screen, limits_for(screen), CLIP, shots)


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


def test_a_plan_written_by_hand_needs_only_the_essentials(tmp_path: Path) -> None:
    plan = _read(tmp_path, SMALL)
    assert plan.clip.rate == Fraction(24000, 1001)
    assert plan.shots[0] == ShotPlan("a", 0, 9, (HitKey(0, 0.42),), by_hand=("hit",))
    assert plan.settings == PlanSettings()
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
        ("last = 19", "last = 18", 28, "last"),
        ("far_pct = 1", "far_pct = -2", 7, "near_pct"),
        ("range_pct = 3", "range_pct = 0", 9, "range_pct"),
        ("step_px = 2", 'step_px = 2\nfootage = "0123"', 18, "footage"),
        ("step_px = 2", "step_px = 2\nfootage = 0x0123456789abcdef", 18, "footage"),
        ("step_px = 2", 'step_px = 2\nfootage = ""', 18, "footage"),
        ("step_px = 2", 'step_px = 2\n[settings]\nfil = "hide"', 19, "fil"),
        ("step_px = 2", "step_px = 2\n[settings.window]\nmax_pct = -1", 19, "max_pct"),
        ("step_px = 2", "step_px = 2\n[colours]", 18, "colours"),
        ("zoom = 1", "zoom = inf", 29, "zoom"),
        ("[12.0, 20.0]", "[12.0, nan]", 31, "window[0].right_px"),
        ("{ frame = 10, left", "{ frame = 9, left", 31, "window[0].frame"),
        ("locked = true", "window_soft_px = -1", 32, "window_soft_px"),
        ("locked = true", "window_soft_px = nan", 32, "window_soft_px"),
        ("locked = true", "window_opacity_pct = 101", 32, "window_opacity_pct"),
        ("locked = true", "window_opacity_pct = -1", 32, "window_opacity_pct"),
        ("locked = true", "as_planned = { hit = 1 }", 32, "hit"),
        ("locked = true", 'as_planned = { zoom = "01234567" }', 32, "zoom"),
        ("locked = true", 'as_planned = "01234567"', 32, "as_planned"),
        ("locked = true", "subject = { frame = 9, box = [0, 0, 9, 9], at_pct = 0 }", 32, "subject.frame"),
        ("locked = true", "subject = { frame = 10, box = [0, 0, 9], at_pct = 0 }", 32, "box"),
        ("locked = true", "subject = { frame = 10, box = [0, 0, 9, 9.5], at_pct = 0 }", 32, "box"),
        ("locked = true", "subject = { frame = 10, box = [0, 0, 9, 0], at_pct = 0 }", 32, "box"),
        ("locked = true", "subject = { frame = 10, box = [-1, 0, 9, 9], at_pct = 0 }", 32, "box"),
        ("locked = true", "subject = { frame = 10, box = [952, 0, 9, 9], at_pct = 0 }", 32, "subject.box"),
        ("locked = true", "subject = { frame = 10, box = [0, 532, 9, 9], at_pct = 0 }", 32, "subject.box"),
        ("locked = true", "subject = { frame = 10, box = [0, 0, 9, 9], at_pct = 50.5 }", 32, "at_pct"),
        ("locked = true", "subject = { frame = 10, box = [0, 0, 9, 9], at_pct = nan }", 32, "at_pct"),
        ("locked = true", "subject = { frame = 10, box = [0, 0, 9, 9] }", 32, "at_pct"),
        ("locked = true", "subject = { frame = 10, box = [0, 0, 9, 9], at = 0 }", 32, "at"),
        ("locked = true", "subject_found = { frame = 10, box = [0, 0, 9, 9], pct = inf }", 32, "pct"),
        ("locked = true", "subject_found = { frame = 10, box = [0, 0, 9], pct = 0 }", 32, "box"),
    ],
)
def test_a_fault_is_named_with_file_line_and_key(tmp_path: Path, old: str, new: str, line: int, key: str) -> None:
    assert SMALL.count(old) >= 1
    with pytest.raises(InputError) as caught:
        _read(tmp_path, SMALL.replace(old, new, 1))
    assert caught.value.where.startswith(f"{tmp_path / 'plan.toml'}, line {line}, ")
    assert caught.value.where.endswith(f", {key}")
    assert caught.value.expected


@pytest.mark.parametrize(
    "text",
    ["", "screen = 1", "[screen]\n", SMALL.split("[[shot]]")[0], SMALL.split("[[shot]]  #")[0], "shot = [1]",
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


@IN_A_FOLDER
@given(st.integers(0, 33), _VALUES, st.text(max_size=30))
def test_junk_gives_an_input_error_or_a_plan_and_never_another_exception(
    tmp_path: Path, line: int, value: str, junk: str
) -> None:
    lines = SMALL.splitlines()
    if line < len(lines) and "=" in lines[line]:
        lines[line] = f"{lines[line].split('=')[0]}= {value}"
    for text in ("\n".join(lines), junk, SMALL + junk):
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


_SPREAD = """\
# first = 7 is only a remark, and so is [[shot]]
[screen]  # where
name = "pier"  # [limits]
"width_mm" = 4000
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
rate = "24"
step_px = 2

[[shot]]
name = "[[shot]]"
first = 0
last = 9
hit = [
    # the wind rises
    { frame = 0, pct = 0.42 },  # zoom = 3

    { frame = 9, pct = 0.5 },
]
window = [
    { frame = 0, left_px = [
        0, 0  # first = 3
    ], right_px = [1,
        2] },
]
"zoom" = 1.0

[["shot"]]
  'name' = "b"
  first = 10
  last = 19
  "locked" = false
"""


@pytest.mark.parametrize(
    ("old", "new", "line", "key"),
    [
        ('"width_mm" = 4000', '"width_mm" = 0', 4, "width_mm"),
        ("range_pct = 3", "range_pct = -3", 9, "range_pct"),
        ('"zoom" = 1.0', '"zoom" = 0.5', 34, "zoom"),
        ('"locked" = false', '"locked" = 3', 40, "locked"),
        ("last = 19", "last = 5", 39, "last"),
        ("'name' = \"b\"", "'name' = \"[[shot]]\"", 37, "name"),
        ("first = 10", "frist = 10", 38, "frist"),
        ("pct = 0.5 }", "pct = 99 }", 22, "hit[1].pct"),
        ("2] },", "-2] },", 28, "window[0].right_px"),
    ],
)
def test_lines_are_right_among_comments_entries_over_several_lines_and_keys_in_quotes(
    tmp_path: Path, old: str, new: str, line: int, key: str
) -> None:
    assert _read(tmp_path, _SPREAD).shots[0].hit == (HitKey(0, 0.42), HitKey(9, 0.5))
    assert _SPREAD.count(old) == 1
    with pytest.raises(InputError) as caught:
        _read(tmp_path, _SPREAD.replace(old, new))
    assert caught.value.where.startswith(f"{tmp_path / 'plan.toml'}, line {line}, ")
    assert caught.value.where.endswith(f", {key}")


@pytest.mark.parametrize(
    ("old", "new", "by_hand"),
    [
        ("", "", ()),
        ("hit = [{frame = 0, pct = -0.5859375}]", "hit = [{frame = 0, pct = -0.5}]", ("hit",)),
        ("zoom = 1.0", "zoom = 1.01", ("hit",)),
        ('fill = "hide"', 'fill = "crop"', ("fill",)),
        ("[12.0, 8.0]", "[12.0, 8.5]", ("window",)),
        ("locked = false", "locked = false\nwindow_soft_px = 4", ("window",)),
        ("locked = false", "locked = false\nwindow_opacity_pct = 50", ("window",)),
        # A line that was taken out is to be decided anew, and so is one with the same figure written otherwise.
        ("hit = [{frame = 0, pct = -0.5859375}]\n", "", ()),
        ('fill = "hide"\n', "", ()),
        ("zoom = 1.0", "zoom = 1", ()),
        ("{frame = 0, pct = -0.5859375}", "{ pct = -585.9375e-3, frame = 0 } ,", ()),
    ],
)
def test_what_a_person_changed_is_by_hand_and_stays_so(
    tmp_path: Path, old: str, new: str, by_hand: tuple[str, ...]
) -> None:
    head, first, others = plan_text(_plan()).partition("[[shot]]")
    assert old in others
    plan = _read(tmp_path, head + first + others.replace(old, new, 1))
    assert plan.shots[0].by_hand == by_hand
    assert plan.shots[1].by_hand == ()
    assert read_plan(_written(tmp_path, plan)).shots[0].by_hand == by_hand


def _written(tmp_path: Path, plan: Plan) -> Path:
    file = tmp_path / "written.toml"
    file.write_text(plan_text(plan), encoding="utf-8")
    return file


def test_what_has_no_checksum_is_by_hand_and_what_is_not_there_is_not(tmp_path: Path) -> None:
    lines = plan_text(_plan()).splitlines(keepends=True)
    plan = _read(tmp_path, "".join(line for line in lines if not line.startswith("as_planned")))
    assert plan.shots[0].by_hand == ("hit", "fill", "window")
    assert _read(tmp_path, SMALL).shots[1].by_hand == ("fill", "window")
    alone = SMALL.replace("zoom = 1", "zoom = 1.1")
    assert _read(tmp_path, alone).shots[1].by_hand == ("hit", "fill", "window")


def test_the_checksum_is_the_beginning_of_a_sha256_over_the_figures_of_the_part() -> None:
    digits = hashlib.sha256(b"([(48, 0.0), (95, 0.25)], 1.0)").hexdigest()[:8]
    assert f'as_planned = {{hit = "{digits}", fill = "' in plan_text(_plan())


def test_what_was_found_of_a_subject_counts_for_the_same_box_of_the_same_frame_only(tmp_path: Path) -> None:
    plan = _plan()
    subject = Subject(50, (10, 20, 30, 40), -0.5, found_pct=-1.25)
    plan = replace(plan, shots=(plan.shots[0], replace(plan.shots[1], subject=subject)))
    text = plan_text(plan)
    assert "subject_found = {frame = 50, box = [10, 20, 30, 40], pct = -1.25}" in text
    assert _read(tmp_path, text).shots[1].subject == subject
    asked = "subject = {frame = 50, box = [10, 20, 30, 40], at_pct = -0.5}"
    for old, new in (("frame = 50", "frame = 51"), ("30, 40]", "31, 40]")):
        moved = _read(tmp_path, text.replace(asked, asked.replace(old, new))).shots[1].subject
        assert moved is not None
        assert moved.found_pct is None
    deeper = _read(tmp_path, text.replace(asked, asked.replace("-0.5", "0.75"))).shots[1].subject
    assert deeper == replace(subject, at_pct=0.75)


def test_the_settings_are_in_the_file_and_come_back(tmp_path: Path) -> None:
    settings = PlanSettings(window=WindowSettings(max_pct=4.0), fill="crop")
    text = plan_text(replace(_plan(), settings=settings))
    assert "[settings.window]\non = true\n" in text
    assert "max_pct = 4.0\n" in text
    assert _read(tmp_path, text).settings == settings


def test_the_header_explains_every_key_of_a_shot() -> None:
    header = plan_text(_plan()).split("[screen]\n")[0]
    for key in ("hit", "zoom", "fill", "window", "window_soft_px", "window_opacity_pct", "subject", "subject_found",
                "as_planned", "locked"):  # fmt: skip
        assert f"# {key}" in header or f", {key}" in header or f" {key}: " in header
    assert all(len(line) <= 110 for line in header.splitlines())


@given(TEXT)
def test_text_is_written_so_that_another_reader_takes_it_the_same(text: str) -> None:
    assert tomlkit.parse(f"text = {toml_value(text)}\n")["text"] == text


def test_what_toml_has_no_word_for_is_refused() -> None:
    with pytest.raises(TypeError):
        toml_value(None)


@pytest.mark.parametrize("encoding", ["utf-8", "utf-16", "utf-8-sig"])
@pytest.mark.parametrize(
    "locked",
    ["locked = true", '"locked"=true', "shot = [{ name = 'a#1', locked = true }]", 'locked = "true"', "locked=True"],
)
def test_a_lock_in_a_file_that_cannot_be_read_stops_the_new_plan(tmp_path: Path, locked: str, encoding: str) -> None:
    file = tmp_path / "plan.toml"
    file.write_text(f"[[shot]\n{locked}\n", encoding=encoding)
    with pytest.raises(InputError):
        keep_locked(file)


def test_what_holds_no_lock_may_be_replaced(tmp_path: Path) -> None:
    file = tmp_path / "plan.toml"
    assert keep_locked(file) is None
    file.write_text("[[shot]\n# locked = true keeps it\nlocked = false\nunlocked = true\n")
    assert keep_locked(file) is None
    file.write_text(SMALL)
    plan = keep_locked(file)
    assert plan is not None
    assert plan.shots[1].locked


def test_a_plan_without_what_a_person_decided_but_its_locked_shots() -> None:
    plan = _plan()
    edited = tuple(replace(shot, by_hand=("hit",), subject=Subject(50, (0, 0, 9, 9), 0.5)) for shot in plan.shots)
    kept = locked_only(replace(plan, shots=(replace(edited[0], locked=True), edited[1])))
    assert kept.shots[0] == replace(edited[0], locked=True)
    assert kept.shots[1] == replace(plan.shots[1], subject=None)


def test_a_locked_shot_is_found_among_the_shots_that_are_planned_now() -> None:
    measured = table([frame()] * 96, clip=CLIP)
    plan = _plan()
    locked = replace(plan, shots=(plan.shots[0], replace(plan.shots[1], locked=True)))
    with pytest.raises(InputError, match="sh002: found locked frames 48 to 95"):
        locked_shots(locked, measured)
    assert locked_shots(locked, measured, plan.shots) == {(48, 95): locked.shots[1]}
