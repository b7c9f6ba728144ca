"""The samples can be used as the README says."""

from pathlib import Path

from postfix.demo.film import FILM, RATE, film_length
from postfix.demo.footage import START_TIMECODE
from postfix.job.file import read_job
from postfix.plan.file import read_plan
from postfix.plan.screens import read_screens
from postfix.source.editlist import read_edit_list
from postfix.source.pair import open_pair

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


def test_the_job_and_its_screens_can_be_read():
    clips = read_job(SAMPLES / "film.toml")
    assert [clip.name for clip in clips] == ["kite-workshop", "slipway"]
    assert clips[0].screens[1].width_mm == read_screens(SAMPLES / "screens.toml")["barn"].width_mm
    assert clips[1].choice.left == SAMPLES / "slipway_left.mp4"
