"""What is told of an edit besides its limits, from tables made by hand: what must come out is known by arithmetic
(computed) where no other source is named."""

import math
from dataclasses import asdict, replace
from fractions import Fraction

import numpy as np
import pytest

from postfix.limits import LimitRules
from postfix.measure.columns import columns_of
from postfix.measure.table import NEARER_STEPS_PCT, ClipInfo
from postfix.plan.geometry import moves_of
from postfix.plan.model import HitKey, ShotPlan
from postfix.plan.settings import ConvergenceSettings, PlanSettings, StorySettings
from postfix.source.shots import Shot
from postfix.story.clip import story_as_given, story_of_finished, story_of_plan
from postfix.story.model import Stretch
from postfix.story.over_time import clock, safety_line
from postfix.summary_story import programmes_of
from postfix.viewing import BUILTIN_SCREENS, Screen
from tests.plan_tables import CLIP, frame, measurement, planned, table

CINEMA, TELEVISION = BUILTIN_SCREENS["cinema-12m"], BUILTIN_SCREENS["tv-55in"]
TEN_METRES = Screen("ten", 10_000.0, 10_000.0)
DEFAULTS = PlanSettings()


def with_front(one, *things):
    """A frame that holds things in front of all else: (parallax_pct, share_pct, width_pct, height_pct) each."""
    shares, widths, heights = (
        tuple(
            100.0
            if step >= one.far_pct
            else max((values[index] for values in things if values[0] <= step), default=0.0)
            for step in NEARER_STEPS_PCT
        )
        for index in (1, 2, 3)
    )
    return replace(one, nearer_share_pct=shares, nearer_width_pct=widths, nearer_height_pct=heights)


def given(frames, screen=CINEMA, settings=DEFAULTS, **more):
    return story_as_given(table(frames, **more), screen, settings)


def test_depth_volume_is_far_minus_near_in_percent_and_in_metres_as_seen():
    # Viewing table (computed): V 10 m, W 10 m, e 65 mm, P −100 mm → 3.9394 m and +25 mm → 16.25 m.
    (shot,) = given([frame(near=-1.0, far=0.25)] * 24, TEN_METRES).shots
    assert shot.depth.volume_pct == pytest.approx(1.25)
    assert shot.depth.near.distance_mm == pytest.approx(3939.4, abs=0.1)
    assert shot.depth.far.distance_mm == pytest.approx(16250.0)
    assert shot.depth.volume_mm == pytest.approx(16250.0 - 3939.4, abs=0.1)


def test_a_far_without_a_distance_leaves_the_volume_without_metres():
    # Viewing table (computed): P +100 mm on 10 m from 10 m → none, divergence 0.2005°.
    (shot,) = given([frame(near=-1.0, far=1.0)] * 24, TEN_METRES).shots
    assert shot.depth.far.distance_mm is None
    assert shot.depth.far.divergence_deg == pytest.approx(0.2005, abs=1e-4)
    assert shot.depth.volume_mm is None
    assert shot.depth.volume_pct == pytest.approx(2.0)


def test_where_nothing_was_measured_nothing_is_told():
    story = given([frame(math.nan, math.nan, confidence=0.0)] * 48, cuts=[24])
    for shot in story.shots:
        assert math.isnan(shot.depth.volume_pct)
        assert shot.depth.near.distance_mm is shot.depth.far.distance_mm is shot.depth.volume_mm is None
        assert shot.front is None
        assert shot.notices == ()
    assert story.shots[1].cut is not None
    assert math.isnan(story.shots[1].cut.jump_pct)
    assert not story.shots[1].cut.is_hard
    assert "nothing could be measured" in story.line


# ---- cuts


def test_jumps_of_main_mass_and_of_volume_are_told_at_each_cut():
    shots = lambda i: frame(-1.0, 0.0) if i < 48 else frame(-0.2, 0.4)  # noqa: E731
    first, second = given(shots, count=96, cuts=[48]).shots
    assert first.cut is None
    # Main masses −0.5 and +0.1, volumes 1.0 and 0.6.
    assert second.cut.jump_pct == pytest.approx(0.6)
    assert second.cut.volume_jump_pct == pytest.approx(-0.4)
    assert second.cut.shot_s == pytest.approx(2.0)
    # 0.6 % of 12 m are 72 mm; 12 m away that is about 72 / 12000 rad = 20.6 arcmin.
    assert second.cut.jump_arcmin == pytest.approx(math.degrees(72.0 / 12000.0) * 60.0, rel=0.01)


def test_a_jump_is_hard_beyond_the_setting_and_not_just_at_it():
    # 30 arcmin at one screen width are 0.8727 % of width (computed: 2·tan(15′)).
    def story(jump_pct, **convergence):
        shots = lambda i: frame(-0.5, 0.5) if i < 48 else frame(-0.5 - jump_pct, 0.5 - jump_pct)  # noqa: E731
        rules = PlanSettings(convergence=ConvergenceSettings(**convergence))
        return given(shots, settings=rules, count=96, cuts=[48])

    assert not story(0.87).shots[1].cut.is_hard
    hard = story(1.0)
    assert hard.shots[1].cut.is_hard
    assert [notice.code for notice in hard.shots[1].notices] == ["hard-jump"]
    assert "jumps forward" in hard.shots[1].notices[0].text
    assert hard.whole.hard_jumps == 1
    assert not story(1.0, jump_arcmin=40.0).shots[1].cut.is_hard


def bouncing(lengths, depths, clip=CLIP):
    """Shots of so many frames whose main mass lies at so many percent."""
    firsts = np.cumsum([0, *lengths])
    values = np.repeat(depths, lengths)
    return measurement(lambda i: frame(values[i] - 0.2, values[i] + 0.2), int(firsts[-1]), firsts[1:-1].tolist(), clip)


def test_runs_of_quick_cuts_are_found_by_shot_length_and_jump():
    # At 24 frames/s: 2 s, then three shots of 1 s that jump by 0.6 % (20.6 arcmin), then 2 s.
    columns = columns_of(bouncing([48, 24, 24, 24, 48], [0.0, -0.6, 0.0, -0.6, 0.0]))
    story = story_as_given(columns, CINEMA, DEFAULTS)
    assert [shot.cut.is_quick for shot in story.shots[1:]] == [True, True, True, False]
    assert story.quick_runs == ((1, 3),)
    assert [notice.code for notice in story.shots[3].notices] == ["quick-cuts"]
    assert story.whole.quick_cuts == 3
    # Each setting alone ends it.
    for setting in (StorySettings(quick_shot_s=0.9), StorySettings(quick_jump_arcmin=25.0), StorySettings(quick_run=4)):
        told = story_as_given(columns, CINEMA, replace(DEFAULTS, story=setting))
        assert told.quick_runs == ()
        assert not any(shot.notices for shot in told.shots)


def test_the_same_cuts_are_quick_on_one_screen_and_not_on_another():
    columns = columns_of(bouncing([48, 24, 24, 48], [0.0, -0.6, 0.0, -0.6]))
    # 0.6 % of a television's width three heights away are 12.2 arcmin (computed).
    assert story_as_given(columns, TELEVISION, DEFAULTS).quick_runs == ()
    assert story_as_given(columns, CINEMA, DEFAULTS).quick_runs == ((1, 2),)


def test_a_dissolve_gives_the_eyes_time():
    columns = columns_of(bouncing([48, 24, 48], [0.0, -1.2, 0.0]))
    assert story_as_given(columns, CINEMA, DEFAULTS).whole.hard_jumps == 2
    dissolving = replace(columns, dissolve_frames=(0, 12, 12))
    story = story_as_given(dissolving, CINEMA, DEFAULTS)
    assert (story.whole.hard_jumps, story.whole.quick_cuts) == (0, 0)
    assert story.shots[1].cut.jump_pct == pytest.approx(-1.2)


# ---- size


def test_what_is_in_front_is_as_large_as_the_screen_makes_it():
    frames = [with_front(frame(-1.5, 0.5), (-1.5, 20.0, 30.0, 50.0))] * 24
    for screen in (CINEMA, TELEVISION):
        (shot,) = given(frames, screen).shots
        assert shot.front.share_pct == pytest.approx(20.0)
        assert shot.front.width_pct == pytest.approx(30.0)
        assert shot.front.width_mm == pytest.approx(0.30 * screen.width_mm)
        # 2048×1080.
        assert shot.front.height_mm == pytest.approx(0.50 * screen.width_mm * 1080 / 2048)
        assert shot.front.seen_width_mm == pytest.approx(
            shot.front.width_mm * shot.front.seen.distance_mm / screen.distance_mm
        )
        assert not shot.notices
    assert shot.front.seen_width_mm < 366.0 < 1000.0  # a third of a metre on a television


def test_what_is_wider_than_the_set_part_of_the_screen_is_noted():
    frames = [with_front(frame(-1.5, 0.5), (-1.5, 40.0, 60.0, 50.0))] * 24
    assert [one.code for one in given(frames).shots[0].notices] == ["front-wide"]
    wider = replace(DEFAULTS, story=StorySettings(front_width_pct=70.0))
    assert given(frames, settings=wider).shots[0].notices == ()


def test_the_frame_with_the_widest_thing_is_told_and_a_wild_one_is_not():
    plain = with_front(frame(-1.5, 0.5), (-1.5, 10.0, 20.0, 30.0))
    wide = with_front(frame(-1.5, 0.5), (-1.5, 30.0, 45.0, 30.0))
    frames = lambda i: wide if 10 <= i < 20 or i == 30 else plain  # noqa: E731
    front = given(frames).shots[0].front
    assert 10 <= front.frame < 20
    assert front.width_pct == pytest.approx(45.0)
    assert given(lambda i: wide if i == 30 else plain).shots[0].front.width_pct == pytest.approx(20.0)


def test_pushed_behind_the_screen_nothing_is_in_front_any_more():
    frames = [with_front(frame(-1.5, 0.5), (-1.5, 40.0, 60.0, 50.0))] * 24
    columns = table(frames)
    plan = planned(columns, TELEVISION)
    pushed = replace(plan, shots=(replace(plan.shots[0], hit=(HitKey(0, 1.75),), window=()),))
    assert story_of_plan(columns, replace(plan, shots=(ShotPlan("sh001", 0, 23),))).shots[0].front.width_pct == 60.0
    assert story_of_plan(columns, pushed).shots[0].front is None


def test_a_table_without_sizes_tells_none():
    assert given([frame(-1.5, 0.5)] * 24).shots[0].front is None


# ---- over time


def test_time_beyond_sixty_arcmin_in_front_and_apart_is_counted_by_frames():
    # BT.2293-0 (read): 60 arcmin is the comfortable range; at one width −1.745 % (computed).
    def one(i):
        if i < 24:
            return frame(-2.0, 0.2)  # beyond in front
        return frame(-0.1, 0.3) if i < 72 else frame(-0.5, 0.6)  # in front of nothing; eyes 65 mm are 0.5417 % of 12 m

    whole = given(one, count=96, cuts=[24, 72]).whole
    assert (whole.length_s, whole.measured_s) == (4.0, 4.0)
    assert whole.beyond_s == pytest.approx(1.0, abs=0.1)
    assert whole.apart_s == pytest.approx(1.0, abs=0.1)
    assert whole.front_s == pytest.approx(2.0, abs=0.1)


def test_what_was_not_measured_is_counted_apart():
    story = given(
        lambda i: frame(-2.0, 0.2) if i < 48 else frame(math.nan, math.nan, confidence=0.0), count=96, cuts=[48]
    )
    assert (story.whole.length_s, story.whole.measured_s, story.whole.beyond_s) == (4.0, 2.0, 2.0)
    # The cut between them neither.
    assert "2.0 s and 1 of 1 cut could not be measured" in story.line


@pytest.mark.parametrize("rate", [Fraction(24), Fraction(30000, 1001)])
def test_minutes_add_up_to_the_whole(rate):
    clip = ClipInfo("wind", 2048, 1080, rate, 2)
    cuts = list(range(100, 4000, 100))
    story = given(lambda i: frame(-2.0 + (i % 300) / 100.0, 0.3), count=4000, cuts=cuts, clip=clip)
    assert len(story.minutes) == math.ceil(4000 / rate / 60)
    for name in ("length_s", "measured_s", "beyond_s", "apart_s", "front_s", "hard_jumps", "quick_cuts"):
        assert sum(getattr(one, name) for one in story.minutes) == pytest.approx(getattr(story.whole, name)), name
    # A minute begins with the frame that is shown then.
    assert [abs(one.start_s - 60.0 * number) < 0.05 for number, one in enumerate(story.minutes)] == [True] * 3


@pytest.mark.parametrize(("frames", "minutes"), [(1, 1), (1439, 1), (1440, 1), (1441, 2), (2880, 2)])
def test_a_clip_of_whole_minutes_has_no_empty_one(frames, minutes):
    assert len(given([frame()] * frames).minutes) == minutes


def test_the_line_says_what_a_reader_needs_to_judge_it_by():
    line = given([frame(-2.0, 0.2)] * 48, cuts=[24]).line
    for words in (
        "Of 2.0 s",
        "cinema-12m",
        "12 m",
        "65 mm",
        "60 arcmin",
        "100 %",
        "none",
        "0 hard jumps",
        "local rules",
    ):
        assert words in line, words


def test_a_clip_of_one_frame_is_not_told_as_none():
    frame = Stretch(0.0, 1 / 24, 1 / 24, 1 / 24, 0.0, 0.0, 0, 0)
    line = safety_line(frame, BUILTIN_SCREENS["tv-55in"], jump_arcmin=30.0)
    assert line.startswith("Of 0.042 s on tv-55in, ")
    assert "under 0.1 s (100 % of what was measured) with content more than" in line


def test_lengths_of_time_in_words():
    assert [clock(s) for s in (0.0, 59.94, 59.96, 125.4, 3599.6, 7320.0)] == [
        "0.0 s",
        "59.9 s",
        "1 min 00 s",
        "2 min 05 s",
        "1 h 00 min",
        "2 h 02 min",
    ]


# ---- planned and finished


def test_a_plan_is_told_as_it_will_be_and_finished_pictures_as_they_are():
    frames = [frame(-0.5, 0.5)] * 24
    columns = table(frames)
    plan = planned(columns, CINEMA)
    moved = replace(plan, shots=(replace(plan.shots[0], hit=(HitKey(0, -0.5),)),))
    was, now = (s.shots[0].depth for s in (story_as_given(columns, CINEMA, DEFAULTS), story_of_plan(columns, moved)))
    # −0.5 % of 2048 px are 10.24 px, in steps of 2 px 10.
    step = 10.0 * 100.0 / 2048
    assert now.near.parallax_pct == pytest.approx(was.near.parallax_pct - step)
    assert now.volume_pct == pytest.approx(was.volume_pct)
    finished = story_of_finished(table([frame(-0.9, 0.1)] * 24), moved, columns)
    assert finished.measured_on == "finished"
    assert finished.shots[0].depth.near.parallax_pct == pytest.approx(-0.9)


def test_finished_pictures_keep_the_dissolves_that_the_source_has():
    source = replace(columns_of(bouncing([48, 48], [0.0, -1.2])), dissolve_frames=(0, 12))
    plan = replace(planned(source, CINEMA), shots=(ShotPlan("sh001", 0, 47), ShotPlan("sh002", 48, 95)))
    finished = replace(source, dissolve_frames=(0, 0), shots=(Shot("sh001", 0, 47), Shot("sh002", 48, 95)))
    assert story_of_finished(finished, plan, source).whole.hard_jumps == 0
    assert story_of_finished(finished, plan, None).whole.hard_jumps == 1


def test_clips_of_a_job_are_told_together_for_each_screen():
    def log(frames, screen=CINEMA, told=True, measured_on="finished"):
        whole = given(frames, screen).whole
        return {
            "screen": asdict(screen),
            "settings": {"convergence": {"jump_arcmin": 30.0}},
            "clip": {"frames": len(frames), "rate": "24"},
            "story": {"whole": asdict(whole), "measured_on": measured_on} if told else None,
        }

    comfortable, strained = [frame(-0.1, 0.2)] * 48, [frame(-2.0, 0.2)] * 24
    assert programmes_of([log(comfortable), log(comfortable, TELEVISION)]) == []
    (programme,) = programmes_of(
        [log(comfortable), log(strained), log(comfortable, TELEVISION), log(strained, told=False)]
    )
    assert (programme["screen"], programme["clips"]) == ("cinema-12m", 3)
    assert programme["whole"]["length_s"] == pytest.approx(4.0)
    assert programme["whole"]["measured_s"] == pytest.approx(3.0)
    assert programme["whole"]["beyond_s"] == pytest.approx(1.0)
    assert "1.0 s could not be measured" in programme["line"]
    assert programme["line"].startswith("Of 4.0 s")
    (mixed,) = programmes_of([log(comfortable), log(comfortable, measured_on="planned")])
    assert mixed["line"].startswith("Reckoned from the plan")


def test_a_hard_jump_into_a_short_shot_is_not_counted_again_as_a_quick_cut():
    columns = columns_of(bouncing([48, 24, 24, 48], [0.0, -0.6, 0.6, 0.6]))
    story = story_as_given(columns, CINEMA, DEFAULTS)
    assert [(shot.cut.is_hard, shot.cut.is_quick) for shot in story.shots[1:]] == [
        (False, True),
        (True, True),
        (False, False),
    ]
    assert (story.whole.hard_jumps, story.whole.quick_cuts, story.whole.cuts) == (1, 1, 3)
    # A run is one of short shots with jumps, however large.
    assert story.quick_runs == ((1, 2),)


def test_cuts_that_nobody_could_judge_are_counted_and_said():
    story = given(lambda i: frame(confidence=0.0 if 24 <= i < 48 else 0.9), count=72, cuts=[24, 48])
    assert (story.whole.cuts, story.whole.unknown_cuts, story.whole.hard_jumps) == (2, 2, 0)
    assert "2 of 2 cuts could not be measured" in story.line


def test_a_hit_that_slides_at_a_cut_is_told_as_it_is_at_the_cut():
    # The picture's own depth is level on both sides, so the jump is that of the HIT at the cut itself (computed).
    source = columns_of(bouncing([48, 48], [0.0, -1.2]))
    keys = (HitKey(36, 0.0), HitKey(47, -0.4)), (HitKey(48, 0.4), HitKey(60, 0.0))
    plan = planned(source, CINEMA)
    shots = (
        ShotPlan("sh001", 0, 47, hit=keys[0], subpixel=True),
        ShotPlan("sh002", 48, 95, hit=keys[1], subpixel=True),
    )
    plan = replace(plan, shots=shots)
    as_planned = story_of_plan(source, plan).shots[1].cut
    moved = np.concatenate([moves_of(shot, plan.clip).hit_px for shot in shots]) * 100.0 / CLIP.width_px
    finished = replace(
        source,
        near_pct=source.near_pct + moved,
        far_pct=source.far_pct + moved,
        median_pct=source.median_pct + moved,
    )
    as_finished = story_of_finished(finished, plan, source).shots[1].cut
    assert as_planned.jump_pct == pytest.approx(-1.2 + 0.8, abs=1e-3)
    assert as_finished.jump_pct == pytest.approx(as_planned.jump_pct, abs=1e-3)
    assert as_finished.is_hard is as_planned.is_hard is False


@pytest.mark.parametrize("hit_pct", [0.0, 0.9, 1.0, 1.1, 1.2, 1.22])
def test_in_front_is_what_near_says_is_in_front_wherever_the_steps_lie(hit_pct):
    # A box at −1.5 % with 20 % of the picture, pushed back until it is 0.28 % in front.
    columns = table([with_front(frame(-1.5, 0.5), (-1.5, 20.0, 30.0, 50.0))] * 24)
    plan = replace(
        planned(columns, CINEMA), shots=(ShotPlan("sh001", 0, 23, hit=(HitKey(0, hit_pct),), subpixel=True),)
    )
    front = story_of_plan(columns, plan).shots[0].front
    assert (front.share_pct, front.width_pct) == pytest.approx((20.0, 30.0))
    assert front.seen.parallax_pct >= -1.5 + hit_pct - 1e-3
    past = replace(plan, shots=(replace(plan.shots[0], hit=(HitKey(0, 1.26),)),))
    told = story_of_plan(columns, past)
    assert told.shots[0].front is None
    assert told.shots[0].front_is_known
    assert told.whole.front_s == 0.0


def test_what_is_in_front_is_told_of_a_frame_that_was_measured():
    there, nothing = with_front(frame(-1.5, 0.5), (-1.5, 20.0, 30.0, 50.0)), frame(confidence=0.0)
    front = given(lambda i: there if i % 2 else nothing).shots[0].front
    assert front.frame % 2 == 1
    assert math.isfinite(front.seen.parallax_pct)


def test_what_is_in_front_is_never_seen_nearer_than_near():
    columns = table([with_front(frame(-0.44, 0.5), (-0.44, 20.0, 30.0, 50.0))] * 24)
    front = story_as_given(columns, CINEMA, DEFAULTS).shots[0].front
    # Between near and the next step of the ladder nothing is known of where it lies.
    assert -0.44 <= front.seen.parallax_pct < -0.25


def test_seconds_have_the_tolerance_of_flags():
    limit = 65.0 / 120.0
    assert given([frame(-0.1, limit + 0.019)] * 24).whole.apart_s == 0.0
    assert given([frame(-0.1, limit + 0.021)] * 24).whole.apart_s == 1.0


def test_other_seats_are_noted_only_where_the_screens_own_is_fine():
    # 65 mm of eyes and 40 mm of allowance on 12 m: 0.191° from 12 m, 0.318° from the front row at 7.2 m (computed).
    allowing = replace(DEFAULTS, limits=LimitRules(allowance_mm=40.0))
    (shot,) = given([frame(-0.5, 0.875)] * 24, settings=allowing).shots
    assert [notice.code for notice in shot.notices] == ["seat"]
    assert "front row 0.32°" in shot.notices[0].text
    # Beyond 0.286° from the own seat it is a flag's matter.
    assert given([frame(-0.5, 1.2)] * 24, settings=allowing).shots[0].notices == ()
