"""The samples can be used as the README says, and the reference tells the settings as they are."""

from dataclasses import fields
from pathlib import Path

from postfix.demo.film import FILM, RATE, film_length
from postfix.demo.footage import START_TIMECODE
from postfix.job.file import check_pins, read_job
from postfix.limits import LIMIT_SPANS, LimitRules
from postfix.measure.clip import measure_clip
from postfix.measure.columns import columns_of
from postfix.plan.clip import plan_edit
from postfix.plan.edit import edit_of
from postfix.plan.file import read_plan
from postfix.plan.screens import read_screens
from postfix.plan.settings import SPANS, ConvergenceSettings, PlanSettings, StorySettings, WindowSettings
from postfix.plan.settings_file import read_settings
from postfix.source.editlist import read_edit_list
from postfix.source.pair import open_pair
from postfix.viewing import BUILTIN_SCREENS

SAMPLES = Path(__file__).parents[1] / "samples"


def test_the_clip_pair_is_small_and_opens():
    pair = open_pair(SAMPLES / "slipway_left.mp4", SAMPLES / "slipway_right.mp4")
    assert (pair.count, pair.rate, pair.name) == (40, 25, "slipway")
    assert sum(path.stat().st_size for path in SAMPLES.glob("slipway_*")) < 2_000_000


def test_the_edit_list_has_the_cuts_of_the_film():
    listed = read_edit_list(SAMPLES / "kite-workshop.edl", rate=RATE, count=film_length(), timecode=START_TIMECODE)
    shots = listed.shots
    assert [shot.last - shot.first + 1 for shot in shots] == [shot.frames for shot in FILM]
    assert [shot.name for shot in shots] == [shot.name for shot in FILM]


def test_the_plan_is_one_of_the_film():
    plan = read_plan(SAMPLES / "kite-workshop-plan.toml")
    assert plan.screen.name == "cinema-12m"
    assert plan.shots[-1].last == film_length() - 1
    assert any(shot.hit[0].pct < 0 for shot in plan.shots)
    assert any(shot.window for shot in plan.shots)
    assert plan.settings == PlanSettings()
    assert not any(shot.by_hand for shot in plan.shots)
    assert not plan.limits.by_hand


def test_the_job_and_its_screens_can_be_read():
    clips = read_job(SAMPLES / "film.toml")
    assert [clip.name for clip in clips] == ["kite-workshop", "slipway"]
    assert clips[0].screens[1].width_mm == read_screens(SAMPLES / "screens.toml")["barn"].width_mm
    assert clips[1].choice.left == SAMPLES / "slipway_left.mp4"
    check_pins(clips[0], film_length(), 960, 540)
    check_pins(clips[1], 40, 480, 270)


def test_the_settings_plan_the_clip_pair_on_every_screen_that_they_name():
    settings = read_settings(SAMPLES / "settings.toml")
    settings.require_screens(BUILTIN_SCREENS)
    edit = edit_of(columns_of(measure_clip(open_pair(SAMPLES / "slipway_left.mp4", SAMPLES / "slipway_right.mp4"))))
    for name in ("cinema-12m", *settings.by_screen):
        plan = plan_edit(edit, BUILTIN_SCREENS[name], settings.for_screen(name), pins=settings.pins).plan
        pinned = next(shot for shot in plan.shots if shot.name == settings.pins[0].shot)
        assert (pinned.hit[0].pct, pinned.by_hand) == (0.4, ("hit",))


def _row(table, key):
    """Default and span that the reference gives for a key of a settings file."""
    text = (SAMPLES.parent / "docs/reference.md").read_text(encoding="utf-8")
    rows = [
        line.strip("| ").split(" | ") for line in text.splitlines() if line.startswith(f"| `[{table}]` | `{key}` |")
    ]
    assert len(rows) == 1, (table, key)
    return rows[0][2:4]


def test_the_reference_has_every_setting_with_its_default_and_what_it_may_be():
    for table, kind in (
        ("convergence", ConvergenceSettings),
        ("window", WindowSettings),
        ("story", StorySettings),
    ):
        for field in fields(kind):
            is_switch = isinstance(field.default, bool)
            default = str(field.default).lower() if is_switch else f"{field.default:g}"
            expected = "true or false" if is_switch else str(SPANS[kind][field.name])
            assert _row(table, field.name) == [default, expected], field.name
    for name, span in LIMIT_SPANS.items():
        default, expected = _row("limits", name)
        value = getattr(LimitRules(), name)
        assert (default, expected) == (default if value is None else f"{value:g}", str(span)), name
