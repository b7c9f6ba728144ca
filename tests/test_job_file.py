"""The job file: many clips, each read in its own way, all of it checked before anything is opened."""

import json
import os
from dataclasses import replace
from fractions import Fraction
from pathlib import Path

import pytest
from clips import fails, tree, write_pair

from postfix.cli import main
from postfix.errors import InputError
from postfix.job.choice import SourceChoice
from postfix.job.file import JobClip, check_limits, check_pins, parse_frames, read_job
from postfix.plan.model import HitKey, Pin, Subject
from postfix.plan.screens import read_screen
from postfix.plan.settings import PlanSettings
from postfix.source.pair import Reading
from postfix.source.shots import Shot
from postfix.viewing import BUILTIN_SCREENS

TOP = 'screens = ["cinema-12m", "tv-55in"]\n'
LANE = '[[clip]]\nname = "lane"\nleft = "lane_left.mov"\nright = "lane_right.mov"\n'
HILL = '[[clip]]\nname = "hill"\nleft = "hill_left.mov"\nright = "hill_right.mov"\n'
SUBJECT = "{ frame = 40, box = [900, 400, 200, 300], at_pct = 0.0 }"


def job(folder, text, name="job.toml"):
    folder.mkdir(parents=True, exist_ok=True)
    path = folder / name
    path.write_text(text, encoding="utf-8")
    return path


def clips(folder, text, **more):
    return read_job(job(folder, text), **more)


def refused(folder, text, line, *says, **more):
    """Read it; check that the sentence names that line of the job file (counted from 1) and says what it must."""
    with pytest.raises(InputError) as caught:
        clips(folder, text, **more)
    error = caught.value
    for word in says:
        assert word in str(error), str(error)
    if line is not None:
        assert f"{error.where},".startswith(f"{folder / 'job.toml'}, line {line},"), error.where
    assert error.found
    assert error.expected
    assert error.next_step
    assert not error.where.rstrip().endswith(",")
    return error


def line_of(text, part):
    """The one line that holds this."""
    (found,) = [number for number, line in enumerate(text.splitlines(), 1) if part in line]
    return found


# --- what a job says ---------------------------------------------------------------------------------------------


def test_a_clip_has_the_defaults_where_the_job_says_nothing(tmp_path):
    (clip,) = clips(tmp_path, TOP + LANE)
    assert clip.name == "lane"
    assert clip.choice == SourceChoice(tmp_path / "lane_left.mov", tmp_path / "lane_right.mov")
    assert [screen.name for screen in clip.screens] == ["cinema-12m", "tv-55in"]
    assert clip.inputs == (tmp_path / "job.toml",)
    assert clip.pins == ()
    assert clip.settings_for("tv-55in") == PlanSettings()


def test_a_clip_that_is_no_part_of_a_job_file_has_no_pins_and_the_default_settings():
    clip = JobClip("", SourceChoice(Path("l"), Path("r")), (BUILTIN_SCREENS["tv-55in"],))
    assert (clip.inputs, clip.pins) == ((), ())
    assert clip.settings_for("cinema-20m") == PlanSettings()
    check_limits(clip)
    check_pins(clip, 1, 1, 1)


def test_every_clip_is_read_in_its_own_way(tmp_path):
    lane, hill, kite = clips(
        tmp_path,
        TOP + LANE + 'rate = "23.976"\nframes = "1001-1096"\noffset = -2\nswap = true\nedit = "cuts/film.edl"\n'
        'screens = ["8500x12000"]\n' + HILL + 'one_shot = true\nrate = "25"\n[[clip]]\nname = "kite, third take"\n'
        'left = "kite/left"\nright = "kite/right.####.tif"\n',
    )
    assert lane.choice.rate == Fraction(24000, 1001)
    assert lane.choice.frames == (1001, 1096)
    assert lane.choice.reading == Reading(-2, True)
    assert lane.choice.edit == tmp_path / "cuts/film.edl"
    assert lane.inputs == (tmp_path / "job.toml", tmp_path / "cuts/film.edl")
    assert [(screen.width_mm, screen.distance_mm) for screen in lane.screens] == [(8500.0, 12000.0)]
    assert hill.choice.one_shot
    assert (hill.choice.rate, hill.choice.frames, hill.choice.reading) == (25, None, Reading(0, False))
    assert kite.name == "kite, third take"
    assert kite.choice.right == tmp_path / "kite/right.####.tif"


def test_paths_are_relative_to_the_job_file_wherever_the_command_is_typed(tmp_path, monkeypatch):
    folder = tmp_path / "jobs/week"
    job(folder, '[[screen]]\nname = "barn"\nwidth_mm = 5200\ndistance_mm = 8000\n', "own.toml")
    job(tmp_path / "jobs", "[window]\nhold_s = 2.0\n", "settings.toml")
    text = 'screens = ["barn"]\nscreen_tables = ["own.toml"]\nsettings_file = "../settings.toml"\n' + LANE.replace(
        "lane_left", "../../footage/lane_left"
    ).replace('"lane_right.mov"', f"'{tmp_path / 'r.mov'}'")
    job(folder, text)
    monkeypatch.chdir(tmp_path)
    (clip,) = read_job(Path("jobs/week/job.toml"))
    assert clip.choice.left == Path("jobs/week/../../footage/lane_left.mov")
    assert clip.choice.right == tmp_path / "r.mov"
    assert clip.screens[0].width_mm == 5200
    assert clip.settings_for("barn").window.hold_s == 2.0
    assert set(clip.inputs) == {Path("jobs/week") / name for name in ("job.toml", "own.toml", "../settings.toml")}


def test_screens_that_were_typed_are_made_in_place_of_those_in_the_file(tmp_path):
    typed = (read_screen("cinema-6m"),)
    text = TOP + '[settings.screen."cinema-6m".window]\nmax_pct = 2.0\n'
    text += '[settings.screen."tv-55in".window]\nmax_pct = 3.0\n' + LANE + HILL + 'screens = ["cinema-20m"]\n'
    for clip in clips(tmp_path, text, screens=typed):
        assert clip.screens == typed
        assert clip.settings_for("cinema-6m").window.max_pct == 2.0
    (bare,) = clips(tmp_path, LANE, screens=typed)
    assert bare.screens == typed
    refused(tmp_path, TOP + '[settings.screen."tv-55in".window]\nmax = 3.0\n' + LANE, 3, "max", screens=typed)


def test_settings_hold_for_a_screen_that_replaces_those_of_a_clip_later_on(tmp_path):
    (clip,) = clips(tmp_path, TOP + "[settings.window]\nmax_pct = 2.0\n" + LANE)
    other = replace(clip, screens=(read_screen("8500x12000"),))
    assert other.settings_for("8500x12000").window.max_pct == 2.0
    assert {name: one.window.max_pct for name, one in clip.settings.items()} == {"cinema-12m": 2.0, "tv-55in": 2.0}
    chosen = replace(other, settings={"8500x12000": PlanSettings(fill="crop")})
    assert chosen.settings_for("8500x12000").fill == "crop"
    with pytest.raises(KeyError):
        chosen.settings_for("tv-55in")


# --- settings ----------------------------------------------------------------------------------------------------


def test_settings_of_a_clip_go_over_those_of_the_job_and_a_screens_over_both(tmp_path):
    job(
        tmp_path,
        'fill = "zoom"\n[window]\nmargin_pct = 1.0\nmax_pct = 1.0\nspeed_pct_per_s = 1.0\nhold_s = 1.0\nbrief_s = 1.0\n'
        'soft_px = 1.0\n[screen."tv-55in".window]\nmax_pct = 2.0\n',
        "settings.toml",
    )
    text = (
        TOP + 'settings_file = "settings.toml"\n'
        "[settings.window]\nspeed_pct_per_s = 3.0\nhold_s = 3.0\nbrief_s = 3.0\nsoft_px = 3.0\n"
        '[settings.screen."tv-55in".window]\nhold_s = 4.0\nbrief_s = 4.0\nsoft_px = 4.0\n'
        + LANE
        + "[clip.settings.window]\nbrief_s = 5.0\nsoft_px = 5.0\n"
        '[clip.settings.screen."tv-55in".window]\nsoft_px = 6.0\n' + HILL
    )
    lane, hill = clips(tmp_path, text)

    def windows(clip, screen):
        settings = clip.settings_for(screen)
        assert settings.fill == "zoom"
        one = settings.window
        return one.margin_pct, one.max_pct, one.speed_pct_per_s, one.hold_s, one.brief_s, one.soft_px

    assert windows(lane, "tv-55in") == (1.0, 2.0, 3.0, 4.0, 5.0, 6.0)
    assert windows(lane, "cinema-12m") == (1.0, 1.0, 3.0, 3.0, 5.0, 5.0)
    assert windows(hill, "tv-55in") == (1.0, 2.0, 3.0, 4.0, 4.0, 4.0)
    assert windows(hill, "cinema-12m") == (1.0, 1.0, 3.0, 3.0, 3.0, 3.0)


def test_all_that_can_be_chosen_can_be_chosen_in_a_job(tmp_path):
    text = (
        TOP + '[settings]\nfill = "crop"\n[settings.convergence]\nease = false\n[settings.limits]\nchildren = true\n'
        '[settings.screen."tv-55in"]\nfill = "hide"\n'
        + LANE
        + '[clip.settings]\nlimits = { comfort = "percent" }\n[clip.settings.screen."tv-55in".limits]\nfar_pct = 1.5\n'
    )
    (clip,) = clips(tmp_path, text)
    cinema, tv = clip.settings_for("cinema-12m"), clip.settings_for("tv-55in")
    assert (cinema.fill, tv.fill) == ("crop", "hide")
    assert (cinema.convergence.ease, tv.convergence.ease) == (False, False)
    assert (cinema.limits.eye_mm, cinema.limits.comfort, cinema.limits.far_pct) == (50.0, "percent", None)
    assert (tv.limits.eye_mm, tv.limits.comfort, tv.limits.far_pct) == (50.0, "percent", 1.5)
    assert f"job.toml, line {line_of(text, 'clip.settings.screen')}" in tv.limits.given_in


SETTINGS_FAULTS = [
    ("[settings]\nwindows = 3\n" + LANE, "windows =", "windows", "one of limits, convergence, window, story, fill"),
    ("[settings.window]\nmax_pct = nan\n" + LANE, "max_pct", "nan", "percent of width from 0 to 50"),
    ('[settings.window]\nmax_pct = "4"\n' + LANE, "max_pct", "'4'", "percent of width"),
    ("[settings.window]\ntilt = 1\n" + LANE, "tilt", "true or false", "[settings.window]"),
    ('[settings]\nfill = "black"\n' + LANE, "fill", "hide, zoom, crop", "fill"),
    ('[settings.screen."tv-55in".window]\nwidest = 1\n' + LANE, "widest", "widest", "tv-55in"),
    ('[settings.screen."cinema-6m".window]\non = false\n' + LANE, "cinema-6m", "cinema-6m", "cinema-12m, tv-55in"),
    (LANE + 'screens = ["tv-55in"]\n[clip.settings.screen."cinema-12m"]\n', "[clip.set", "clip 'lane'", "tv-55in"),
    (LANE + "[clip.settings.pin]\n", "clip.settings.pin", "pin", "not known"),
    (LANE + "[clip.settings.screen]\ntv-55in = 4\n", "tv-55in = 4", "a table", "tv-55in"),
    (LANE + HILL + "[clip.settings.window]\nhold_s = -1\n", "hold_s", "clip 2", "seconds from 0 to 60"),
    (LANE + "settings.convergence.jump_weight = inf\n" + HILL, "jump_weight", "clip 1", "inf"),
    (LANE + "[clip.settings.limits]\neye_mm = 60\nchildren = true\n", "children", "both children and eye_mm"),
]


@pytest.mark.parametrize(("text", "line", "says"), [(text, line, says) for text, line, *says in SETTINGS_FAULTS])
def test_settings_that_cannot_be_meant_are_named_with_their_line(tmp_path, text, line, says):
    refused(tmp_path, TOP + text, line_of(TOP + text, line), *says)


def test_an_override_is_for_a_screen_that_some_clip_is_made_for_not_one_that_none_uses(tmp_path):
    text = TOP + '[settings.screen."tv-55in".window]\nmax_pct = 1.0\n' + LANE + 'screens = ["cinema-20m"]\n'
    refused(tmp_path, text, 2, "tv-55in", "cinema-20m", "the job")
    assert len(clips(tmp_path, text + HILL)) == 2


@pytest.mark.parametrize(
    ("before", "after"),
    [
        ("[settings.limits]\nnear_pct = 0.2\nfar_pct = 0.1\n", ""),
        ('[settings.screen."cinema-12m".limits]\nnear_pct = 1.0\n', ""),
        ("", "[clip.settings.limits]\nnear_pct = 1.0\n"),
        (
            "[settings.limits]\nnear_pct = 1.0\nfar_pct = 2.0\n",
            '[clip.settings.screen."cinema-12m".limits]\nfar_pct = 0.5\n',
        ),
    ],
)
def test_limits_that_contradict_each_other_on_a_screen_are_refused(tmp_path, before, after):
    text = TOP + before + LANE + after
    error = refused(tmp_path, text, None, "near in front of far on cinema-12m", "near_pct")
    for number, line in enumerate(text.splitlines(), 1):
        if "limits]" in line:
            assert f"job.toml, line {number}" in error.where


def test_limits_that_contradict_each_other_only_on_a_screen_that_is_not_made_are_none(tmp_path):
    # near at +1 % is behind what a 12 m cinema may have behind the screen, and in front of it on a 55 inch display.
    text = TOP + "[settings.limits]\nnear_pct = 1.0\n" + LANE + 'screens = ["tv-55in"]\n'
    (clip,) = clips(tmp_path, text)
    with pytest.raises(InputError, match="near in front of far on cinema-12m"):
        check_limits(replace(clip, screens=(read_screen("cinema-12m"),)))


def test_the_settings_file_is_checked_as_well(tmp_path):
    text = 'settings_file = "s.toml"\n' + TOP + LANE
    for settings, says in (
        ("[window]\nmax = 1\n", "s.toml, line 2"),
        ('[screen."tv-99in".window]\nmax_pct = 1\n', "tv-99in"),
        ('\n[[pin]]\nshot = "s001"\nhit = 0.1\n', "s.toml, line 2, pin: found a pin in the settings of a whole job"),
        ("[limits]\nnear_pct = 0.9\nfar_pct = 0.8\n", "s.toml, line 1"),
    ):
        job(tmp_path, settings, "s.toml")
        refused(tmp_path, text, None, says)
    job(tmp_path, '[screen."cinema-20m".window]\nmax_pct = 1\n', "s.toml")
    assert len(clips(tmp_path, text)) == 1
    refused(tmp_path, 'settings_file = "none.toml"\n' + TOP + LANE, None, "none.toml", "no such file")
    refused(tmp_path, "settings_file = 3\n" + TOP + LANE, 1, "settings_file", "a path in quotes")


# --- pins --------------------------------------------------------------------------------------------------------


def test_shots_are_pinned_by_name_or_by_any_of_their_frames(tmp_path):
    text = (
        TOP + LANE + '[[clip.shot]]\nname = "s003"\nhit = 0.4\n[[clip.shot]]\nframe = 120\n'
        "hit = [{ frame = 118, pct = 0.2 }, { frame = 130, pct = -0.5 }]\n"
        f"[[clip.shot]]\nframe = 41\nsubject = {SUBJECT}\n[[clip.shot]]\nsubject = {SUBJECT}\n"
        '[[clip.shot]]\nname = "s009"\n[clip.shot.subject]\nframe = 300\nbox = [0, 0, 10, 10]\nat_pct = -0.5\n' + HILL
    )
    lane, hill = clips(tmp_path, text)
    subject = Subject(40, (900, 400, 200, 300), 0.0)
    where = [pin.where for pin in lane.pins]
    assert [replace(pin, where="") for pin in lane.pins] == [
        Pin("s003", None, (HitKey(0, 0.4),)),
        Pin(None, 120, (HitKey(118, 0.2), HitKey(130, -0.5))),
        Pin(None, 41, (), subject),
        Pin(None, 40, (), subject),
        Pin("s009", None, (), Subject(300, (0, 0, 10, 10), -0.5)),
    ]
    headers = [number for number, line in enumerate(text.splitlines(), 1) if line == "[[clip.shot]]"]
    assert where == [f"{tmp_path / 'job.toml'}, line {number}" for number in headers]
    assert hill.pins == ()


def test_a_subject_of_the_clip_pins_the_shot_that_holds_its_frame(tmp_path):
    one, many, headed = clips(
        tmp_path,
        TOP + LANE + f"subject = {SUBJECT}\n" + HILL + f"subject = [\n  {SUBJECT},\n  "
        "{ frame = 90, box = [1, 2, 3, 4], at_pct = -0.3 },\n]\n"
        + HILL.replace("hill", "kite")
        + "[[clip.subject]]\nframe = 7\nbox = [1, 2, 3, 4]\nat_pct = 0.1\n"
        "[[clip.subject]]\nframe = 8\nbox = [1, 2, 3, 4]\nat_pct = 0.2\n",
    )
    assert [(pin.shot, pin.frame, pin.hit, pin.subject) for pin in one.pins] == [
        (None, 40, (), Subject(40, (900, 400, 200, 300), 0.0))
    ]
    assert [pin.frame for pin in many.pins] == [40, 90]
    assert many.pins[1].subject == Subject(90, (1, 2, 3, 4), -0.3)
    assert [pin.subject.at_pct for pin in headed.pins] == [0.1, 0.2]
    assert [pin.where.split("line ")[1] for pin in headed.pins] == ["19", "23"]


def test_a_clip_of_one_shot_may_have_a_hit_of_its_own(tmp_path):
    lane, hill, kite = clips(
        tmp_path,
        TOP + LANE + "one_shot = true\nhit = 0.4\n" + HILL + "one_shot = true\n"
        "hit = [{ frame = 3, pct = 0.2 }, { frame = 9, pct = 0 }]\n"
        + HILL.replace("hill", "kite")
        + 'one_shot = true\n[[clip.shot]]\nname = "s001"\nhit = 1\n',
    )
    assert [(pin.shot, pin.frame, pin.hit) for pin in lane.pins] == [(None, 0, (HitKey(0, 0.4),))]
    assert hill.pins[0].hit == (HitKey(3, 0.2), HitKey(9, 0.0))
    assert kite.pins[0].hit == (HitKey(0, 1.0),)


SHOT = "[[clip.shot]]\n"
PIN_FAULTS = [
    ("hit = 0.4\n", "hit", "hit for a clip of many shots", "[[clip.shot]]"),
    (f"one_shot = true\nhit = 0.4\nsubject = {SUBJECT}\n", "hit", "both hit and subject"),
    (f"one_shot = true\nsubject = [{SUBJECT}, {SUBJECT.replace('40', '50')}]\n", "subject", "which is one shot"),
    (f'one_shot = true\nhit = 0.4\n{SHOT}name = "s001"\nhit = 0.5\n', 'name = "s001', "which is one shot"),
    (f'one_shot = true\n{SHOT}name = "s002"\nhit = 0.5\n', "s002", "'s002'", "s001"),
    ("one_shot = true\nhit = 50.1\n", "hit", "50.1", "percent of width from -50 to 50"),
    ("one_shot = true\nhit = true\n", "hit", "true", "percent of width"),
    ("one_shot = true\nhit = []\n", "hit", "an empty list"),
    ("subject = []\n", "subject", "an empty list"),
    ("subject = 3\n", "subject", "a table"),
    ("subject = [3]\n", "subject", "3"),
    ("subject = { frame = 1, box = [1, 2, 3], at_pct = 0 }\n", "subject", "[x, y, width, height]", "box"),
    ("subject = { frame = 1, box = [1, 2, 3, 0], at_pct = 0 }\n", "subject", "height"),
    ("subject = { frame = 1, box = [1, 2, 3, 4] }\n", "subject", "at_pct", "nothing"),
    ("subject = { frame = 1, box = [1, 2, 3, 4], at_pct = nan }\n", "subject", "at_pct", "nan"),
    ("subject = { frame = 1, box = [1, 2, 3, 4], at_pct = -51 }\n", "subject", "at_pct", "-51"),
    ("subject = { frame = -1, box = [1, 2, 3, 4], at_pct = 0 }\n", "subject", "frame", "-1"),
    ("subject = { frame = 1, box = [1, 2, 3, 4], at_pct = 0, hit = 1 }\n", "subject", "not known"),
    (f"subject = [{SUBJECT}, {SUBJECT}]\n", "subject", "a second pin for this frame"),
    (f"subject = {SUBJECT}\n{SHOT}frame = 40 #\nhit = 1\n", "40 #", "a second pin for this frame"),
    (
        f'{SHOT}name = "s002"\nhit = 1\n{SHOT}name = "s002" #\nhit = 2\n',
        '"s002" #',
        "a second pin for shot 's002'",
    ),
    (f"{SHOT}frame = 7\nhit = 1\n{SHOT}frame = 7 #\nhit = 2\n", "7 #", "a second pin for this frame"),
    (f"{SHOT}hit = 1\n", "[[clip.shot]]", "neither name nor frame"),
    (f'{SHOT}name = "s002"\n', "[[clip.shot]]", "neither hit nor subject"),
    (f'{SHOT}name = "s002"\nframe = 4\nhit = 1\n', "frame = 4", "both name and frame"),
    (f'{SHOT}name = "s002"\nhit = 1\nsubject = {SUBJECT}\n', "hit", "both hit and subject"),
    (f'{SHOT}name = " "\nhit = 1\n', 'name = " "', "the name of a shot"),
    (f"{SHOT}name = 2\nhit = 1\n", "name = 2", "the name of a shot, in quotation marks"),
    (f"{SHOT}frame = 2.0\nhit = 1\n", "frame = 2.0", "a whole number"),
    (f"{SHOT}frame = true\nhit = 1\n", "frame = true", "a whole number"),
    (f"{SHOT}shot = 2\nhit = 1\n", "shot = 2", "not known", "name, frame, hit, subject"),
    (f'{SHOT}frame = 2\nhit = "1"\n', "hit", "percent of width"),
    (f"{SHOT}frame = 2\nhit = [{{ frame = 4, pct = 1 }}, {{ frame = 4, pct = 2 }}]\n", "hit", "hit[1].frame", "rising"),
    (f"{SHOT}frame = 2\nhit = [{{ frame = 4, pct = inf }}]\n", "hit", "hit[0].pct", "inf"),
    (f"{SHOT}frame = 2\nhit = [{{ frame = 4 }}]\n", "hit", "{ frame, pct }"),
    ("shot = 3\n", "shot = 3", "[[shot]] entries"),
]


@pytest.mark.parametrize(("text", "line", "says"), [(text, line, says) for text, line, *says in PIN_FAULTS])
@pytest.mark.parametrize("before", ["", HILL, HILL + SHOT + 'name = "s002"\nhit = 1.5\n'], ids=["first", "2nd", "pins"])
def test_pins_that_cannot_be_meant_are_named_with_the_line_in_their_own_clip(tmp_path, text, line, says, before):
    head = TOP + before + LANE
    above = len(head.splitlines())
    at = above + line_of(text, line.strip())
    refused(tmp_path, head + text, at, *says)


def test_of_two_pins_for_one_shot_both_lines_are_told(tmp_path):
    text = TOP + LANE + f'{SHOT}name = "s002"\nhit = 1\n{SHOT}name = "s002" # again\nhit = 2\n'
    refused(tmp_path, text, line_of(text, "again"), "clip 1, shot 2, name", "after the one in", "job.toml, line 6,")


def test_a_fault_in_the_second_entry_of_a_list_under_headers_has_that_entrys_line(tmp_path):
    good = "[[clip.subject]]\nframe = 7\nbox = [1, 2, 3, 4]\nat_pct = 0.1\n"
    text = TOP + HILL + good + LANE + good + good.replace("7", "8").replace("0.1", '"deep"')
    refused(tmp_path, text, line_of(text, "deep"), "clip 2, subject 2, at_pct", "'deep'")


def test_a_fault_in_a_later_clips_later_shot_has_that_shots_line(tmp_path):
    shots = "".join(f'{SHOT}name = "s00{number}"\nhit = 0.{number}\n' for number in range(1, 4))
    text = TOP + LANE + shots + HILL + shots.replace("hit = 0.2", "hit = 99.0")
    refused(tmp_path, text, line_of(text, "99.0"), "clip 2, shot 2, hit")


def test_the_sample_says_how_settings_and_pins_are_given():
    film, slipway = read_job(Path(__file__).parents[1] / "samples/film.toml")
    assert film.settings_for("barn").limits.eye_mm == 50.0
    assert film.settings_for("cinema-20m").limits.eye_mm is None
    assert [clip.settings_for("tv-55in").window.max_pct for clip in (film, slipway)] == [6.0, 4.0]
    assert {clip.settings_for("tv-55in").window.hold_s for clip in (film, slipway)} == {1.0}
    assert [pin.shot for pin in film.pins] == ["title"]
    assert [pin.hit for pin in slipway.pins] == [(HitKey(30, 0.4),)]
    check_pins(film, 196, 960, 540)
    check_pins(slipway, 40, 480, 270)


# --- pins against the footage ------------------------------------------------------------------------------------


def pinned(folder, text, count=100, size=(1920, 1080), shots=()):
    for clip in clips(folder, TOP + LANE + text):
        check_pins(clip, count, *size, shots)


def test_pins_lie_inside_the_footage(tmp_path):
    box = "{{ frame = {}, box = [{}], at_pct = 0.0 }}"
    pinned(tmp_path, f"subject = {box.format(99, '1900, 1060, 20, 20')}\n")
    pinned(tmp_path, f"{SHOT}frame = 99\nhit = 1\n{SHOT}frame = 4\nhit = [{{ frame = 99, pct = 1 }}]\n")
    for text, line, *says in (
        (f"subject = {box.format(100, '0, 0, 20, 20')}\n", 6, "subject.frame", "frame 100", "0 to 99"),
        (f"subject = {box.format(9, '1901, 0, 20, 20')}\n", 6, "subject.box", "20x20 px at 1901, 0", "1920x1080"),
        (f"subject = {box.format(9, '0, 1061, 20, 20')}\n", 6, "subject.box", "1920x1080"),
        (f"{SHOT}frame = 100\nhit = 1\n", 6, "frame 100", "0 to 99"),
        (f"{SHOT}frame = 9\nhit = [{{ frame = 9, pct = 1 }}, {{ frame = 100, pct = 1 }}]\n", 6, "hit[1].frame"),
        (f"{SHOT}frame = 9\nhit = [{{ frame = 100, pct = 1 }}]\n", 6, "hit[0].frame"),
    ):
        with pytest.raises(InputError) as caught:
            pinned(tmp_path, text)
        assert caught.value.where.startswith(f"{tmp_path / 'job.toml'}, line {line}, ")
        for word in says:
            assert word in str(caught.value)


def test_where_the_shots_are_known_pins_are_of_shots_that_there_are_and_lie_inside_them(tmp_path):
    shots = (Shot("lane", 0, 29), Shot("kite", 30, 99))
    pinned(tmp_path, f'{SHOT}name = "kite"\nhit = 1\n{SHOT}frame = 29\nhit = -1\n', shots=shots)
    pinned(tmp_path, f"{SHOT}frame = 30\nsubject = {SUBJECT}\n", shots=shots)
    for text, *says in (
        (f'{SHOT}name = "kites"\nhit = 1\n', "line 6, name", "'kites'", "lane, kite"),
        (
            f'{SHOT}name = "kite"\nhit = 1\n{SHOT}frame = 99\nhit = 1\n',
            "line 9",
            "a second pin for shot kite",
        ),
        (f"{SHOT}frame = 3\nsubject = {SUBJECT}\n", "line 6, subject.frame", "frame 40", "shot lane, 0 to 29"),
        (
            f'{SHOT}name = "kite"\nhit = [{{ frame = 29, pct = 0 }}, {{ frame = 40, pct = 1 }}]\n',
            "hit[0].frame",
            "30 to 99",
        ),
    ):
        with pytest.raises(InputError) as caught:
            pinned(tmp_path, text, shots=shots)
        for word in says:
            assert word in str(caught.value)


# --- clips that cannot be meant ----------------------------------------------------------------------------------


CLIP_FAULTS = [
    (TOP, None, "0 clips", "[[clip]]"),
    (TOP + "clip = 3\n", "clip = 3", "3", "[[clip]]"),
    (TOP + "clip = [3]\n", "clip = [3]", "3", "[[clip]]"),
    (TOP + "speed = 2\n" + LANE, "speed", "speed", "screens, screen_tables, settings_file, settings, camera, clip"),
    (TOP + LANE + "speed = 2\n", "speed", "speed", "clip 1", "remove or rename"),
    (TOP + "[[clip]]\n" + LANE.split("\n", 2)[2], "[[clip]]", "name", "nothing"),
    (TOP + LANE.replace('"lane"', "3"), "name", "name", "3"),
    (TOP + LANE.replace('"lane"', '""'), "name", "name"),
    (TOP + LANE.replace('"lane"', '"a/b"'), "name", "a name that can be a folder"),
    (TOP + LANE.replace('"lane"', '"Report"'), "name", "the review page"),
    (TOP + LANE.replace("right =", "#"), "[[clip]]", "right", "a path in quotes"),
    (TOP + LANE.replace('"lane_left.mov"', "[1]"), "left", "left", "a path in quotes"),
    (TOP + LANE.replace('"lane_left.mov"', '" "'), "left", "left", "a path in quotes"),
    (TOP + LANE.replace('"lane_left.mov"', '"lane\\u0000left"'), "left =", "a path in quotes"),
    (TOP + LANE.replace("lane_right", "lane_left"), "right", "the same as left"),
    (TOP + LANE.replace("lane_right", "./sub/../lane_left"), "right", "the same as left"),
    (TOP + LANE + "rate = 24\n", "rate", "24", "a text in quotes"),
    (TOP + LANE + 'rate = "fast"\n', "rate", "'fast'", "such as 24, 23.976 or 24000/1001"),
    (TOP + LANE + 'frames = "9-1"\n', "frames", "9-1", "lower first"),
    (TOP + LANE + "frames = [1, 9]\n", "frames", "a text in quotes"),
    (TOP + LANE + "edit = 1\n", "edit", "a path in quotes"),
    (TOP + LANE + 'edit = "film.edl"\none_shot = true\n', "edit", "both edit and one_shot"),
    (TOP + LANE + 'one_shot = "yes"\n', "one_shot", "true or false"),
    (TOP + LANE + "offset = 1.5\n", "offset", "a whole number of frames"),
    (TOP + LANE + "offset = nan\n", "offset", "a whole number of frames"),
    (TOP + LANE + "offset = true\n", "offset", "a whole number of frames"),
    (TOP + LANE + "offset = 99999999999999999999\n", "offset", "a whole number of frames"),
    (TOP + LANE + "swap = 1\n", "swap", "true or false"),
    (LANE, "[[clip]]", "no screens", 'add screens = ["cinema-12m"]'),
    (LANE + "screens = []\n", "screens", "no screens"),
    (LANE + 'screens = "tv-55in"\n', "screens", "a list of names of screens"),
    (LANE + 'screens = ["tv-55in", 3]\n', "screens", "3", "quotes"),
    (LANE + 'screens = ["tv-99in"]\n', "screens", "tv-99in", "cinema-12m", "8500x12000"),
    (LANE + 'screens = ["0x12000"]\n', "screens", "millimetres"),
    (LANE + 'screens = ["tv-55in", "tv-55in"]\n', "screens", "'tv-55in' twice"),
    ('screens = ["tv-99in"]\n' + LANE, "screens", "tv-99in"),
    ('screens = "tv-55in"\n' + LANE, "screens", "a list"),
    (TOP + "screen_tables = [1]\n" + LANE, "screen_tables", "a path in quotes"),
    (TOP + 'screen_tables = "own.toml"\n' + LANE, "screen_tables", "a list"),
    (TOP + "settings = 3\n" + LANE, "settings = 3", "a table"),
]


@pytest.mark.parametrize(("text", "line", "says"), [(text, line, says) for text, line, *says in CLIP_FAULTS])
def test_a_clip_that_cannot_be_meant_is_named_with_its_line(tmp_path, text, line, says):
    refused(tmp_path, text, None if line is None else line_of(text, line), *says)


def test_a_table_of_screens_that_is_missing_or_wrong_is_named(tmp_path):
    refused(tmp_path, TOP + 'screen_tables = ["own.toml"]\n' + LANE + 'screens = ["barn"]\n', None, "own.toml")
    job(tmp_path, '[[screen]]\nname = "barn"\nwidth_mm = nan\ndistance_mm = 1\n', "own.toml")
    refused(tmp_path, 'screen_tables = ["own.toml"]\n' + LANE + 'screens = ["barn"]\n', None, "own.toml, line 3")


def test_two_clips_do_not_share_a_name_nor_a_folder(tmp_path):
    for second in ("lane", "Lane"):
        text = TOP + LANE + HILL.replace('"hill"', f'"{second}"')
        refused(tmp_path, text, 7, f"a second clip '{second}'", "line 3", "clip 2")


def test_the_same_footage_is_not_made_twice_under_two_names(tmp_path):
    (tmp_path / "lane_left.mov").touch()
    os.symlink(tmp_path / "lane_left.mov", tmp_path / "alias.mov")
    again = LANE.replace('"lane"', '"lane again"')
    for other in (again, again.replace("lane_left", "x/../lane_left"), again.replace("lane_left", "alias")):
        for more in ("", 'frames = "0-9"\n', "offset = 1\nswap = true\n"):
            text = TOP + LANE + more + other + more + 'screens = ["cinema-20m"]\n'
            refused(tmp_path, text, 8 + more.count("\n"), "'lane again' as for 'lane'", "screens of both in one clip")


@pytest.mark.parametrize(
    "more", ['frames = "0-9"\n', "offset = 1\n", "swap = true\n", 'left = "lane_right.mov"\nright = "lane_left.mov"\n']
)
def test_the_same_footage_read_in_another_way_is_other_footage(tmp_path, more):
    again = '[[clip]]\nname = "again"\n' + more
    if "left" not in more:
        again += 'left = "lane_left.mov"\nright = "lane_right.mov"\n'
    assert len(clips(tmp_path, TOP + LANE + again)) == 2


def test_a_file_that_is_no_job_is_named(tmp_path):
    for data in (b"\xff\xfe", b"name = [", b"x = " + b"9" * 5000):
        (tmp_path / "job.toml").write_bytes(data)
        with pytest.raises(InputError, match=r"job\.toml"):
            read_job(tmp_path / "job.toml")
    with pytest.raises(InputError, match="no such file"):
        read_job(tmp_path / "none.toml")


def test_a_job_of_many_clips_is_read_and_one_of_more_than_ten_thousand_is_not(tmp_path):
    many = [LANE.replace("lane", f"lane{number}") for number in range(300)]
    text = TOP + "[settings.window]\nmax_pct = 1.0\n" + "".join(many)
    assert len(clips(tmp_path, text)) == 300
    refused(tmp_path, TOP + "clip = [" + "{}," * 10_001 + "]\n", 2, "10001 clips")


def test_frames_are_two_whole_numbers_the_lower_first():
    assert parse_frames(" 1001-1096 ", "--frames") == (1001, 1096)
    assert parse_frames("7-7", "--frames") == (7, 7)
    for text in ("1", "-1-4", "4-1", "1-2-3", "a-b", "1.0-2", ""):
        with pytest.raises(InputError, match="--frames"):
            parse_frames(text, "--frames")


# --- through the command -----------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("text", "says"),
    [
        (TOP + LANE + "hit = 0.4\n", ("line 6", "hit", "[[clip.shot]]")),
        (TOP + "[settings.window]\nmax_pct = nan\n" + LANE, ("line 3", "max_pct", "nan")),
        (TOP + '[settings.screen."cinema-6m".window]\n' + LANE, ("line 2", "cinema-6m")),
        (TOP + "[settings.limits]\nnear_pct = 0.9\nfar_pct = 0.8\n" + LANE, ("line 2", "near in front of far")),
        (TOP + LANE + 'rate = "fast"\n', ("line 6", "'fast'")),
        (TOP + LANE + LANE.replace('"lane"', '"again"'), ("line 8", "the same footage")),
    ],
)
def test_a_wrong_job_is_exit_code_three_and_nothing_is_written(tmp_path, capsys, text, says):
    path = job(tmp_path, text)
    for more in (["--dry-run"], []):
        fails(capsys, ["run", "--job", path, "-o", tmp_path / "out", *more], 3, "job.toml", *says)
    assert tree(tmp_path) == ["job.toml"]


def test_a_job_that_is_right_says_what_it_would_write(tmp_path, capsys):
    left, right = write_pair(tmp_path / "in")
    text = TOP + f'[[clip]]\nname = "gulls"\nleft = "in/{left.name}"\nright = "in/{right.name}"\none_shot = true\n'
    path = job(tmp_path, text + "subject = { frame = 4, box = [100, 60, 90, 80], at_pct = 0.0 }\n")
    before = tree(tmp_path)
    assert main(["run", "--job", str(path), "-o", str(tmp_path / "out"), "--dry-run", "--json"]) == 0
    said = json.loads(capsys.readouterr().out)["would_write"]
    assert str(tmp_path / "out/gulls/tv-55in/left") in said
    assert tree(tmp_path) == before
