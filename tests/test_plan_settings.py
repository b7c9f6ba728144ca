"""Reading and writing what a person chose, and the line of what is wrong with it."""

from __future__ import annotations

from dataclasses import fields
from pathlib import Path

import pytest
import tomlkit
from hypothesis import given
from hypothesis import strategies as st

from postfix.errors import InputError
from postfix.limits import COMFORTS, LIMIT_SPANS, LimitRules, Span
from postfix.plan.model import HitKey, Subject
from postfix.plan.settings import FILLS, SPANS, ConvergenceSettings, PlanSettings, WindowSettings
from postfix.plan.settings_file import SettingsFile, pins_from, read_settings, settings_data, settings_from
from postfix.plan.toml_lines import line_at, line_of, steps_of
from postfix.plan.toml_tables import TomlTable

SAMPLES = Path(__file__).parent.parent / "samples"


def _write(tmp_path: Path, text: str) -> Path:
    path = tmp_path / "kite.toml"
    path.write_text(text, encoding="utf-8")
    return path


def _read(tmp_path: Path, text: str) -> SettingsFile:
    return read_settings(_write(tmp_path, text))


def _table(text: str) -> TomlTable:
    return TomlTable(Path("kite.toml"), text, None, 0, tomlkit.parse(text).unwrap())


def test_without_a_word_the_defaults_hold(tmp_path: Path) -> None:
    assert _read(tmp_path, "").for_screen("cinema-12m") == PlanSettings() == SettingsFile().for_screen("any")


def test_what_is_given_replaces_the_default_and_nothing_else(tmp_path: Path) -> None:
    read = _read(
        tmp_path,
        'fill = "crop"\n[limits]\ncomfort = "percent"\nallowance_mm = 10\nnear_pct = -0.5\n'
        "[convergence]\njump_arcmin = 20\nease = false\nhandover_frames = 6\n[window]\non = false\nopacity_pct = 80\n",
    )
    assert read.base == PlanSettings(
        LimitRules("percent", allowance_mm=10.0, near_pct=-0.5),
        ConvergenceSettings(jump_arcmin=20.0, ease=False, handover_frames=6),
        WindowSettings(on=False, opacity_pct=80.0),
        "crop",
    )
    assert read.base.limits.given_in.endswith("kite.toml, line 2")


def test_a_screen_differs_only_where_the_file_says_so(tmp_path: Path) -> None:
    read = _read(
        tmp_path,
        "[window]\nmax_pct = 5\nhold_s = 1\n"
        '[screen."tv-55in"]\nfill = "zoom"\n[screen."tv-55in".window]\nmax_pct = 4.0\n'
        "[screen.barn.limits]\nchildren = true\n",
    )
    assert read.for_screen("cinema-12m") == read.base
    assert read.for_screen("tv-55in") == PlanSettings(window=WindowSettings(max_pct=4.0, hold_s=1.0), fill="zoom")
    assert read.for_screen("barn").limits.eye_mm == 50.0
    assert read.for_screen("barn").window == read.base.window


def test_limits_of_file_and_screen_say_where_both_stand(tmp_path: Path) -> None:
    read = _read(tmp_path, "[limits]\nnear_pct = -1\n[screen.barn.limits]\nfar_pct = 0.4\n")
    given_in = read.for_screen("barn").limits.given_in
    assert given_in.count("kite.toml, line ") == 2
    assert "line 1; " in given_in
    assert given_in.endswith("line 3")


def test_children_false_goes_back_to_the_eyes_of_the_screen(tmp_path: Path) -> None:
    read = _read(tmp_path, "[limits]\nchildren = true\n[screen.barn.limits]\nchildren = false\n")
    assert read.base.limits.eye_mm == 50.0
    assert read.for_screen("barn").limits.eye_mm is None


def test_settings_are_layered_in_the_order_in_which_they_are_read() -> None:
    job = settings_from(_table("[window]\nmax_pct = 3\nbrief_s = 0.2\n"), PlanSettings())
    clip = settings_from(_table("[window]\nmax_pct = 2\n"), job)
    assert clip.window == WindowSettings(max_pct=2.0, brief_s=0.2)


def test_a_screen_that_nobody_knows_is_named_with_its_line(tmp_path: Path) -> None:
    read = _read(
        tmp_path, 'fill = "hide"\n[screen."8500x12000".window]\nmax_pct = 1\n[screen.barm.window]\nmax_pct = 2\n'
    )
    with pytest.raises(InputError, match=r"kite\.toml, line 4: found the unknown screen 'barm', expected one of barn"):
        read.require_screens(["barn"])
    read.require_screens(["barn", "barm"])


@pytest.mark.parametrize(
    ("text", "line", "words"),
    [
        ("colour = 1", 1, ["colour", "not known", "fill"]),
        ('fill = "blur"', 1, ["fill", "'blur'", "hide, zoom, crop"]),
        ("fill = 1", 1, ["fill"]),
        ("limits = 3", 1, ["limits", "a table"]),
        ("\n[window]\nmax_pct = 60", 3, ["[window]", "max_pct", "60", "from 0 to 50"]),
        ("[window]\non = 1", 2, ["on", "true or false"]),
        ("[window]\nmax_pct = true", 2, ["max_pct"]),
        ('[window]\nmax_pct = "5"', 2, ["max_pct"]),
        ("[window]\nspeed_pct_per_s = 0", 2, ["speed_pct_per_s", "more than 0"]),
        ("[window]\nopacity_pct = 100.5", 2, ["opacity_pct", "from 0 to 100"]),
        ("[window]\nhold_s = inf", 2, ["hold_s", "inf"]),
        ("[window]\nsoft_px = nan", 2, ["soft_px", "nan"]),
        ("[window]\nwidth = 3", 2, ["width", "not known", "max_pct"]),
        ("[convergence]\njump_weight = -1", 2, ["jump_weight", "-1"]),
        ("[convergence]\nhandover_frames = 2.5", 2, ["handover_frames", "whole number"]),
        ("[convergence]\nhandover_frames = true", 2, ["handover_frames", "whole number"]),
        ("[convergence]\nhandover_frames = -1", 2, ["handover_frames"]),
        ("[convergence]\nhandover_frames = 5000", 2, ["handover_frames", "1000"]),
        ('[limits]\ncomfort = "soft"', 2, ["comfort", "'soft'", "percent-wide"]),
        ("[limits]\ncomfort_arcmin = 0", 2, ["comfort_arcmin", "more than 0"]),
        ("[limits]\nchildren = true\neye_mm = 60", 2, ["children", "both"]),
        ("[limits]\nchildren = 1", 2, ["children", "true or false"]),
        ("[limits]\nallowance_pct = -1", 2, ["allowance_pct", "-1"]),
        ("[limits]\nnear_pct = nan", 2, ["near_pct", "nan"]),
        ("[limits]\nrange_pct = 0", 2, ["range_pct"]),
        ('[limits]\ngiven_in = "x"', 2, ["given_in", "not known"]),
        ('fill = "hide"\n[screen."tv-55in".window]\n\nmax_pct = 60', 4, ["[screen.tv-55in.window]", "max_pct"]),
        ('[screen."tv-55in"]\nwidth_mm = 3', 2, ["[screen.tv-55in]", "width_mm", "not known"]),
        ("screen = 3", 1, ["screen", "a table"]),
        ("screen.barn.window.max_pct = 60", 1, ["max_pct"]),
        ("[screen]\nbarn = 3", 2, ["barn", "a table"]),
        ("pin = 3", 1, ["pin"]),
        ("pin = [3]", 1, ["pin"]),
    ],
)
def test_what_cannot_be_meant_is_named_with_line_and_key(
    tmp_path: Path, text: str, line: int, words: list[str]
) -> None:
    with pytest.raises(InputError) as caught:
        _read(tmp_path, text)
    message = str(caught.value)
    assert f"kite.toml, line {line}," in message
    for word in (*words, "expected", "; "):
        assert word in message


def test_a_missing_file_is_named(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="no such file"):
        read_settings(tmp_path / "none.toml")


def _within(span: Span) -> st.SearchStrategy[float]:
    return st.floats(span.low, span.high, exclude_min=not span.with_low)


def _section(kind: type, **others: st.SearchStrategy[object]) -> st.SearchStrategy[object]:
    numbers = {key: _within(span) for key, span in SPANS[kind].items()}
    flags = {one.name: st.booleans() for one in fields(kind) if isinstance(one.default, bool)}
    return st.builds(kind, **{**numbers, **flags, **others})


SETTINGS = st.builds(
    PlanSettings,
    limits=st.builds(
        LimitRules,
        comfort=st.sampled_from(COMFORTS),
        **{
            key: st.none() | _within(span) if getattr(LimitRules(), key) is None else _within(span)
            for key, span in LIMIT_SPANS.items()
        },
    ),
    convergence=_section(ConvergenceSettings, handover_frames=st.integers(0, 1000)),
    window=_section(WindowSettings),
    fill=st.sampled_from(FILLS),
)


@given(SETTINGS)
def test_settings_come_back_exactly_as_they_were_written(settings: PlanSettings) -> None:
    text = tomlkit.dumps({"settings": settings_data(settings)})
    assert settings_from(_table(text).table("settings"), PlanSettings()) == settings


def test_every_number_has_a_span_and_every_default_lies_in_it() -> None:
    for kind, spans in SPANS.items():
        numbers = {one.name: one.default for one in fields(kind) if not isinstance(one.default, bool)}
        assert set(numbers) == set(spans)
        assert all(span.holds(numbers[key]) for key, span in spans.items())
    for key, span in LIMIT_SPANS.items():
        value = getattr(LimitRules(), key)
        assert value is None or span.holds(value)


def test_pins_are_read_with_the_place_that_they_come_from(tmp_path: Path) -> None:
    pins = _read(
        tmp_path,
        '[[pin]]\nshot = "s003"\nhit = 0.4\n\n'
        "[[pin]]\nframe = 120\nhit = [{ frame = 110, pct = 0 }, { frame = 130, pct = -0.25 }]\n"
        "[[pin]]\nsubject = { frame = 10, box = [1, 0, 30, 1], at_pct = -0.5 }\n"
        '[[pin]]\nshot = "s009"\n[pin.subject]\nframe = 300\nbox = [0, 0, 5, 6]\nat_pct = 1\n'
        "[[pin]]\nframe = 7\nhit = 1\n",
    ).pins
    assert [(pin.shot, pin.frame) for pin in pins] == [
        ("s003", None),
        (None, 120),
        (None, 10),
        ("s009", None),
        (None, 7),
    ]
    assert [pin.hit for pin in pins] == [
        (HitKey(0, 0.4),),
        (HitKey(110, 0.0), HitKey(130, -0.25)),
        (),
        (),
        (HitKey(7, 1.0),),
    ]
    assert pins[2].subject == Subject(10, (1, 0, 30, 1), -0.5)
    assert pins[3].subject == Subject(300, (0, 0, 5, 6), 1.0)
    assert [pin.where.rpartition(" ")[2] for pin in pins] == ["1", "5", "8", "10", "16"]


def test_pins_may_stand_under_any_key_of_any_table() -> None:
    text = '[[clip]]\n[[clip.shot]]\nshot = "a"\nhit = 1\n[[clip]]\n[[clip.shot]]\nshot = "b"\nhit = 99\n'
    first, second = _table(text).tables("clip")
    (pin,) = pins_from(first, "shot")
    assert pin.where == "kite.toml, line 2"
    assert pins_from(first, "pin") == ()
    with pytest.raises(InputError, match=r"kite\.toml, line 8, clip 2, shot 1, hit: found 99"):
        pins_from(second, "shot")


_SUBJECT = "subject = {{ frame = 1, box = {box}, at_pct = {at} }}"


@pytest.mark.parametrize(
    ("body", "line", "words"),
    [
        ("hit = 0.4", 1, ["neither shot nor frame"]),
        ('shot = "a"\nframe = 3\nhit = 0.4', 3, ["both shot and frame"]),
        ('shot = "a"', 1, ["neither hit nor subject"]),
        ('shot = "a"\nhit = []', 3, ["empty list"]),
        ('shot = ""\nhit = 1', 2, ["shot", "''"]),
        ("shot = 3\nhit = 1", 2, ["shot"]),
        ("frame = -1\nhit = 1", 2, ["frame", "-1"]),
        ("frame = true\nhit = 1", 2, ["frame", "true"]),
        ("frame = 1\nhit = 51", 3, ["hit", "51", "-50 to 50"]),
        ("frame = 1\nhit = nan", 3, ["hit", "nan"]),
        ('frame = 1\nhit = "0.4"', 3, ["hit"]),
        ("frame = 1\nhit = [{ frame = 1 }]", 3, ["hit[0]", "{ frame, pct }"]),
        ("frame = 1\nhit = [{ frame = 1, pct = -51 }]", 3, ["hit[0].pct", "-51"]),
        ("frame = 1\nhit = [{ frame = 5, pct = 1 }, { frame = 5, pct = 2 }]", 3, ["hit[1].frame", "6 or more"]),
        ("frame = 1\nhit = [{ frame = 1.5, pct = 1 }]", 3, ["hit[0].frame", "1.5"]),
        ("frame = 1\nhit = 1\n" + _SUBJECT.format(box="[0, 0, 1, 1]", at=0), 3, ["both hit and subject"]),
        (_SUBJECT.format(box="[0, 0, 0, 1]", at=0), 2, ["box", "width", "1 or more"]),
        (_SUBJECT.format(box="[0, 0, 1, 0]", at=0), 2, ["box", "height"]),
        (_SUBJECT.format(box="[-1, 0, 1, 1]", at=0), 2, ["box", "x", "-1"]),
        (_SUBJECT.format(box="[0, 0, 1.0, 1]", at=0), 2, ["box", "1.0"]),
        (_SUBJECT.format(box="[0, 0, 1]", at=0), 2, ["box", "four whole numbers"]),
        (_SUBJECT.format(box="[0, 0, 1, 1]", at=60), 2, ["at_pct", "60"]),
        ("subject = { frame = 1, box = [0, 0, 1, 1] }", 2, ["at_pct", "nothing"]),
        ("subject = { box = [0, 0, 1, 1], at_pct = 0 }", 2, ["frame", "nothing"]),
        ("subject = { frame = 1, box = [0, 0, 1, 1], at_pct = 0, found_pct = 1 }", 2, ["found_pct", "not known"]),
        ("subject = 3", 2, ["subject", "a table"]),
        ("frame = 1\nhit = 1\ncolour = 2", 4, ["colour", "not known"]),
        ("frame = 1\nhit = 1\n[[pin]]\nframe = 1\nhit = 2", 5, ["frame", "line 1", "one pin a shot"]),
    ],
)
def test_a_pin_that_cannot_be_meant_is_named_with_line_and_key(
    tmp_path: Path, body: str, line: int, words: list[str]
) -> None:
    with pytest.raises(InputError) as caught:
        _read(tmp_path, f"[[pin]]\n{body}\n")
    message = str(caught.value)
    assert f"kite.toml, line {line}, pin " in message
    for word in words:
        assert word in message


NESTED = """\
fill = "hide"
window.max_pct = 3

[limits]  # all screens
near_pct = -1
'far_pct' = 0.4

[screen."tv-55in".window]
max_pct = 4

[screen.'barn # 2'.window] # quoted
hold_s = 2

[settings.window]
hold_s = 3

[[clip]]
name = "lane"
[[clip.shot]]
shot = "a"
[[clip.shot]]
shot = "b"
hit = [
  { frame = 1, pct = 2 },
]

[[ clip ]]
name = "shed"
[clip . settings . "window"]
max_pct = 5
[[clip.shot]]
shot = "c"
"""


@pytest.mark.parametrize(
    ("table", "index", "key", "line"),
    [
        (None, 0, "fill", 1),
        (None, 0, "window", 2),
        (None, 0, "window.max_pct", 2),
        (None, 0, "limits", 4),
        (None, 0, "settings", 14),
        (None, 0, "clip", 17),
        (None, 0, "nothing", None),
        ("window", 0, "max_pct", 2),
        ("limits", 0, None, 4),
        ("limits", 0, "far_pct", 6),
        ("limits", 0, "nothing", 4),
        ("limits", 1, "far_pct", None),
        ('screen."tv-55in".window', 0, "max_pct", 9),
        ("screen.tv-55in.window", 0, "max_pct", 9),
        ('screen."barn # 2".window', 0, "hold_s", 12),
        ("settings.window", 0, "hold_s", 15),
        ("clip", 0, "name", 18),
        ("clip", 1, "name", 28),
        ("clip", 1, None, 27),
        ("clip", 2, "name", None),
        ("clip.shot", 0, "shot", 20),
        ("clip.shot", 1, "hit", 23),
        ("clip.shot", 2, "shot", 32),
        ("clip.settings.window", 0, "max_pct", 30),
        ("shot", 0, None, None),
    ],
)
def test_the_line_of_a_key_is_found_under_nested_headers(
    table: str | None, index: int, key: str | None, line: int | None
) -> None:
    assert line_of(NESTED, table, index, key) == line


@pytest.mark.parametrize(
    ("address", "line"),
    [
        (("clip", 1, "settings", "window", "max_pct"), 30),
        (("clip", 0, "settings", "window", "max_pct"), 17),
        (("clip", 0, "shot", 1, "hit", 0, "pct"), 23),
        (("clip", 1, "shot", 0), 31),
        (("screen", "tv-55in", "window", "max_pct"), 9),
        (("screen", "barn # 2", "window", "hold_s"), 12),
        ((), None),
    ],
)
def test_the_line_of_an_address_is_that_of_the_nearest_thing_above(
    address: tuple[str | int, ...], line: int | None
) -> None:
    assert line_at(NESTED, address) == line


def test_a_dotted_key_is_taken_apart() -> None:
    assert steps_of('screen."tv.55in".window') == ("screen", "tv.55in", "window")
    assert steps_of("hit[12].frame") == ("hit", 12, "frame")
    assert steps_of('"a\\"b".c') == ('a"b', "c")


def test_an_error_in_a_table_below_an_entry_says_both() -> None:
    window = _table(NESTED).tables("clip")[1].table("settings").table("window")
    message = str(window.error("max_pct", "5", "less", "correct it"))
    assert message.startswith("kite.toml, line 30, clip 2, [settings.window], max_pct: found 5")


def test_the_sample_settings_can_be_read() -> None:
    read = read_settings(SAMPLES / "settings.toml")
    assert read.for_screen("tv-55in").window.max_pct == 4.0
    assert read.for_screen("cinema-6m").limits.eye_mm == 50.0
    assert [(pin.shot, pin.hit) for pin in read.pins] == [("s002", (HitKey(0, 0.4),))]
