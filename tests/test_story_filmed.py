"""What is told of a shot whose camera was noted, and what of one where the notes and the measurement disagree."""

import math
from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from test_camera import across

from postfix.camera import Camera, infinity_pct, parallax_pct, roundness
from postfix.limits import limits_for
from postfix.plan.settings import StorySettings
from postfix.shooting import best_convergence
from postfix.story.filmed import filmed, filmed_notices
from postfix.story.model import Filmed
from postfix.viewing import BUILTIN_SCREENS

CINEMA, ROOM = BUILTIN_SCREENS["cinema-12m"], BUILTIN_SCREENS["tv-55in"]
SHOT = Camera(25.0, 28.0, 24.89, 4000.0, near_mm=2000.0, far_mm=30_000.0)
DEFAULT = StorySettings()
REAL = (2000.0, 5000.0, 30_000.0)


def measured(shot, real=REAL):
    return tuple(parallax_pct(shot, mm) for mm in real)


def told(camera, source, screen=CINEMA, after=None, **more):
    return filmed(camera, *source, screen, limits_for(screen), source if after is None else after, **more)


def notices(camera, source, screen=CINEMA, after=None, settings=DEFAULT):
    found = told(camera, source, screen, after)
    return {notice.code: notice.text for notice in filmed_notices(camera, found, settings, source)}


def test_real_distances_come_from_the_pictures_as_shot_and_roundness_from_the_screen():
    source = measured(SHOT)
    after = tuple(1.05 * pct - 0.4 for pct in source)
    found = told(SHOT, source, after=after)
    assert (found.near_mm, found.main_mm, found.far_mm) == pytest.approx(REAL)
    assert (found.near_roundness, found.main_roundness, found.far_roundness) == pytest.approx(
        tuple(roundness(pct, mm, 25.0, CINEMA) for pct, mm in zip(after, REAL))
    )
    assert (found.predicted_near_pct, found.predicted_far_pct) == pytest.approx((source[0], source[2]))
    assert found.equivalent_focal_mm == pytest.approx(28.0)
    assert (found.nearest_30_mm, found.nearest_100_mm) == (750.0, 2500.0)
    assert found.missing == ()


def test_the_interaxial_that_would_have_fitted_fits():
    limits = limits_for(CINEMA)
    wide = replace(SHOT, interaxial_mm=90.0)
    found = told(wide, measured(wide))
    assert found.fitting_interaxial_mm < 90.0
    setup = (28.0, 24.89, 2000.0, 30_000.0, limits)
    assert best_convergence(found.fitting_interaxial_mm * 0.999, *setup).is_inside
    assert not best_convergence(found.fitting_interaxial_mm * 1.001, *setup).is_inside
    assert found.rig == "a mirror rig"
    # Where the shot only moves in depth, each frame holding less, the room from near to far decides.
    moving = told(wide, measured(wide), source_range_pct=0.2)
    share = (limits.far_pct - limits.near_pct) / (measured(wide)[2] - measured(wide)[0])
    assert moving.fitting_interaxial_mm == pytest.approx(90.0 * share)


def test_bercovitz_has_the_room_of_the_screen():
    # P·mn/(m − n)·(1/F − (m + n)/2mn) with P as 1.75 % of 24.89 mm (Bercovitz 1998, read; computed here again).
    room_mm = min(limits_for(CINEMA).range_pct, 9.0) * 24.89 / 100
    n, m = 2000.0, 30_000.0
    expected = room_mm * m * n / (m - n) * (1 / 28.0 - (m + n) / (2 * m * n))
    assert told(SHOT, measured(SHOT)).bercovitz_mm == pytest.approx(expected)


def test_convergence_is_found_from_the_nearest_distance():
    source = measured(SHOT)
    unknown = replace(SHOT, convergence_mm=None)
    found = told(unknown, source)
    assert (found.near_mm, found.main_mm, found.far_mm) == pytest.approx(REAL)
    assert found.predicted_near_pct is None
    assert found.predicted_far_pct == pytest.approx(source[2])
    assert found.missing == ()


@pytest.mark.parametrize("far_mm", [30_000.0, math.inf])
def test_convergence_is_found_from_the_farthest_distance_where_no_nearer_one_helps(far_mm):
    shot = replace(SHOT, near_mm=None, far_mm=far_mm)
    source = measured(shot, (2000.0, 5000.0, far_mm))
    found = told(replace(shot, convergence_mm=None), source)
    assert (found.near_mm, found.main_mm) == pytest.approx((2000.0, 5000.0))
    assert found.predicted_far_pct is None
    assert found.far_is_infinite == math.isinf(far_mm)


def test_what_can_be_said_without_the_rest_is_still_said():
    source = measured(SHOT)
    nothing = told(Camera(), source)
    assert nothing == Filmed(missing=("interaxial", "focal length", "sensor width", "convergence distance"))
    base = told(Camera(interaxial_mm=25.0, near_mm=2000.0), source)
    assert (base.near_mm, base.main_mm, base.equivalent_focal_mm) == (None, None, None)
    assert base.nearest_30_mm == 750.0
    assert base.fitting_interaxial_mm > 0.0
    assert base.near_roundness == pytest.approx(roundness(source[0], 2000.0, 25.0, CINEMA))
    assert base.main_roundness is None
    lens = told(Camera(focal_mm=50.0, sensor_width_mm=36.0), source)
    assert lens.equivalent_focal_mm == pytest.approx(34.57, abs=5e-3)
    assert lens.fitting_interaxial_mm is None
    assert lens.rig == ""


def test_nothing_measured_tells_nothing_measured():
    nan = (math.nan,) * 3
    found = told(SHOT, nan)
    assert (found.near_mm, found.main_mm, found.far_mm, found.far_is_infinite) == (None, None, None, False)
    assert found.fitting_interaxial_mm is None
    assert found.predicted_near_pct == pytest.approx(parallax_pct(SHOT, 2000.0))
    assert "camera" not in notices(SHOT, nan)


def test_infinity_is_no_number():
    shot = replace(SHOT, far_mm=math.inf)
    source = (-1.0, 0.1, infinity_pct(shot))
    found = told(shot, source)
    assert (found.far_mm, found.far_is_infinite, found.far_roundness) == (None, True, None)


def test_a_shot_as_noted_and_within_everything_has_no_notice():
    assert notices(SHOT, measured(SHOT), settings=StorySettings(flat_below=0.1, stretched_above=9.0)) == {}


def test_flat_and_stretched_are_told_from_the_main_mass():
    # Depth against width V·B/((e − P)·Z) (computed): 2055 mm · 25 mm / (63.29 mm · 5 m) = 0.162 in a living room, and
    # 40 m · 25 mm / (48.1 mm · 5 m) = 4.16 in the back of a hall.
    source = measured(SHOT)
    flat = notices(SHOT, source, ROOM)
    assert flat["flat"].startswith("flat: the main part of the picture has 0.16 times")
    far_seat = replace(CINEMA, distance_mm=40_000.0)
    stretched = notices(SHOT, source, far_seat)
    assert "flat" not in stretched
    assert stretched["stretched"].startswith("stretched: the main part of the picture has 4.2 times")
    kept = StorySettings(flat_below=0.0, stretched_above=100.0)
    for screen in (ROOM, far_seat):
        assert not {"flat", "stretched"} & set(notices(SHOT, source, screen, settings=kept))


@pytest.mark.parametrize(("focal_mm", "word"), [(14.0, "exaggerates"), (85.0, "flattens")])
def test_a_lens_that_does_not_look_natural(focal_mm, word):
    shot = Camera(focal_mm=focal_mm, sensor_width_mm=24.89)
    assert word in notices(shot, (0.0, 0.1, 0.2))["lens"]


@pytest.mark.parametrize("focal_mm", [20.0, 28.0, 50.0])
def test_a_lens_between_needs_no_word(focal_mm):
    assert notices(Camera(focal_mm=focal_mm, sensor_width_mm=24.89), (0.0, 0.1, 0.2)) == {}


def test_too_near_goes_by_the_nearest_of_noted_and_measured():
    # 30 and 100 interaxials (common practice; the first in J. Wattie's notes, read): 65 mm → 1.95 m and 6.5 m.
    shot = replace(SHOT, interaxial_mm=65.0)
    text = notices(replace(shot, near_mm=1200.0), measured(shot))["too-near"]
    assert "noted at 1.2 m" in text
    assert "1.95 m" in text
    assert "6.5 m" in text
    text = notices(replace(shot, near_mm=None), measured(shot, (1500.0, 5000.0, 30_000.0)))["too-near"]
    assert "measured at 1.5 m" in text
    assert "too-near" not in notices(shot, measured(shot))


def test_another_interaxial_is_told_only_where_the_shot_does_not_fit():
    wide = replace(SHOT, interaxial_mm=90.0)
    text = notices(wide, measured(wide))["interaxial"]
    assert "instead of 90 mm" in text
    assert "a mirror rig" in text
    assert "interaxial" not in notices(SHOT, measured(SHOT))


def doubted(noted, real):
    """The camera notice where a shot was filmed as ``real`` and ``noted`` otherwise."""
    return notices(noted, measured(real)).get("camera", "")


def test_a_wrong_convergence_is_told_with_the_one_that_agrees():
    text = doubted(replace(SHOT, convergence_mm=2600.0), SHOT)
    assert "doubt the convergence distance of 2.6 m (4 m would agree)" in text
    assert "interaxial" not in text
    assert "nearest" not in text


def test_a_wrong_interaxial_is_told_with_the_one_that_agrees():
    text = doubted(replace(SHOT, interaxial_mm=65.0), SHOT)
    assert "doubt the interaxial of 65 mm (25 mm would agree; so would 0.38 times the focal length" in text
    assert "convergence" not in text


def test_a_wrong_focal_length_is_among_what_is_doubted():
    text = doubted(replace(SHOT, focal_mm=50.0), SHOT)
    assert "so would 0.56 times the focal length, or 1.8 times the sensor width" in text


def test_a_wrong_nearest_distance_is_told_with_the_measured_one():
    text = doubted(replace(SHOT, near_mm=1500.0), SHOT)
    assert "the nearest distance of 1.5 m (measured: 2 m)" in text
    assert "farthest" not in text


def test_a_wrong_farthest_distance_is_told_with_the_measured_one():
    text = doubted(replace(SHOT, far_mm=7000.0), SHOT)
    assert "the farthest distance of 7 m (measured: 30 m)" in text
    assert "nearest" not in text


def test_several_wrong_figures_are_not_put_down_to_one():
    text = doubted(replace(SHOT, interaxial_mm=65.0, convergence_mm=2500.0, near_mm=3500.0), SHOT)
    assert text.endswith("more than one of the noted figures must be off")


def test_far_beyond_infinity_disagrees_also_where_no_distance_was_noted():
    shot = replace(SHOT, near_mm=None, far_mm=None)
    most = infinity_pct(shot)
    assert "camera" not in notices(shot, (-1.0, 0.2, most + 0.1))
    text = notices(shot, (-1.0, 0.2, most + 0.5))["camera"]
    assert "by what was noted of the camera far at most +0.70 %" in text
    assert "at most" in text.split("doubt")[1]
    assert "the interaxial of 25 mm (at least" in text


def test_figures_apart_by_less_than_the_setting_agree():
    source = tuple(pct + 0.15 for pct in measured(SHOT))
    assert "camera" not in notices(SHOT, source)
    assert "camera" in notices(SHOT, source, settings=StorySettings(camera_apart_pct=0.1))


def test_a_wrong_interaxial_shows_also_where_convergence_was_not_noted():
    text = doubted(replace(SHOT, convergence_mm=None, interaxial_mm=65.0), SHOT)
    assert "the interaxial of 65 mm (25 mm would agree" in text
    assert "convergence" not in text
    assert doubted(replace(SHOT, convergence_mm=None), SHOT) == ""


TOED = Camera(13.2, 18.0, 24.89, 1500.0, "toed-in", 1000.0, 10_000.0)
"""At the depth of its farthest thing the sides have +0.84 % and the middle +0.54 % (rays, in tests/test_camera.py)."""
ACROSS = (across(TOED, 1000.0)[0], 0.05, across(TOED, 10_000.0)[1])


@pytest.mark.parametrize(
    "noted",
    [
        TOED,
        replace(TOED, far_mm=None),
        replace(TOED, near_mm=None),
        replace(TOED, convergence_mm=None),
        replace(TOED, convergence_mm=None, near_mm=None),
    ],
)
def test_right_notes_of_toed_in_cameras_are_not_doubted_for_what_the_sides_have(noted):
    assert "camera" not in notices(noted, ACROSS)
    # Nor where what is nearest is at a side, and what is farthest in the middle.
    assert "camera" not in notices(noted, (across(TOED, 1000.0)[1], 0.05, across(TOED, 10_000.0)[0]))


def test_what_the_sides_of_toed_in_cameras_have_is_no_infinity():
    found = told(TOED, ACROSS)
    assert (found.far_mm, found.far_is_infinite, found.far_roundness) == (None, False, None)
    assert found.near_mm is None or found.near_mm == pytest.approx(1000.0)
    # Only from what infinity has at the sides.
    beyond = (*ACROSS[:2], across(TOED, math.inf)[1] + 0.01)
    assert told(TOED, beyond).far_is_infinite


def test_wrong_notes_of_toed_in_cameras_are_still_doubted():
    assert "doubt" in notices(replace(TOED, interaxial_mm=40.0), ACROSS)["camera"]
    assert "in the middle to" in notices(replace(TOED, convergence_mm=2500.0), ACROSS)["camera"]
    text = notices(replace(TOED, far_mm=1700.0), ACROSS)["camera"]
    assert "the farthest distance of 1.7 m (measured: 10 m to infinity)" in text


def test_a_flat_main_part_of_toed_in_cameras_is_told_where_its_distance_is_only_a_span():
    """Flat at the nearest that it may be is flat everywhere; no word is put on it where only one end is flat."""
    far = (ACROSS[0], ACROSS[2], ACROSS[2])
    moved = tuple(pct - 0.5 for pct in far)
    found = told(TOED, far, after=moved)
    assert found.main_mm is None
    assert "at a side of the picture" in found.main_why
    least, most = found.main_roundness_span
    assert 0.0 <= least < most
    under = replace(DEFAULT, flat_below=1.1 * most)
    told_flat = notices(TOED, far, after=moved, settings=under)["flat"]
    assert told_flat.startswith(f"flat: the main part of the picture has at most {most:.2g} times")
    between = replace(DEFAULT, flat_below=(least + most) / 2.0)
    assert "flat" not in notices(TOED, far, after=moved, settings=between)
    assert told(TOED, (math.nan,) * 3).main_roundness_span is None


def test_what_is_not_told_has_its_reason():
    near_pct, main_pct, _ = source = measured(SHOT)
    found = told(SHOT, (near_pct, main_pct, 9.0))
    assert (found.near_why, found.main_why) == ("", "")
    assert "more than infinity has" in found.far_why
    # What was not noted is told once.
    found = told(replace(SHOT, focal_mm=None), source)
    assert (found.near_why, found.missing) == ("", ("focal length",))


def test_toed_in_distances_are_told_where_the_sides_make_no_difference():
    narrow = Camera(25.0, 85.0, 24.89, 4000.0, "toed-in", 2000.0, 30_000.0)
    found = told(narrow, measured(narrow))
    assert (found.near_mm, found.main_mm) == pytest.approx(REAL[:2], rel=1e-6)


def test_notes_that_disagree_come_first_and_what_rests_on_them_is_held_back():
    wide = replace(SHOT, interaxial_mm=65.0, focal_mm=14.0, near_mm=1500.0, convergence_mm=2000.0)
    source = measured(replace(wide, interaxial_mm=250.0), (1500.0, 2000.0, 30_000.0))
    found = told(wide, source)
    assert found.fitting_interaxial_mm < 65.0
    assert list(notices(wide, source)) == ["camera", "lens", "too-near"]
    assert "noted at 1.5 m" in notices(wide, source)["too-near"]
    # A nearest distance that was only measured rests on the notes.
    unknown = replace(wide, near_mm=None)
    assert list(notices(unknown, source)) == ["camera", "lens"]
    right = replace(wide, interaxial_mm=250.0)
    assert {"stretched", "interaxial"} <= set(notices(right, source))


def test_exchanged_eyes_are_thought_of():
    source = tuple(-pct for pct in reversed(measured(replace(SHOT, interaxial_mm=65.0))))
    text = notices(replace(SHOT, interaxial_mm=65.0), source)["camera"]
    assert text.endswith("the order of the eyes: exchanged, near and far would agree")
    assert "eyes" not in doubted(replace(SHOT, interaxial_mm=65.0), SHOT)


FIGURES = (
    *("near_mm", "main_mm", "far_mm", "near_roundness", "main_roundness", "far_roundness", "equivalent_focal_mm"),
    *("fitting_interaxial_mm", "nearest_30_mm", "nearest_100_mm", "bercovitz_mm"),
)
NUMBER = st.floats(allow_nan=True, allow_infinity=True) | st.floats(-5.0, 5.0)
LENGTH = st.none() | NUMBER | st.floats(0.1, 1e6)


@settings(max_examples=300, deadline=None)
@given(
    st.builds(Camera, LENGTH, LENGTH, LENGTH, LENGTH, st.sampled_from(["parallel", "toed-in"]), LENGTH, LENGTH),
    st.tuples(NUMBER, NUMBER, NUMBER),
)
def test_whatever_was_noted_and_measured_no_figure_is_impossible(camera, source):
    found = told(camera, source)
    for name in FIGURES:
        figure = getattr(found, name)
        assert figure is None or (math.isfinite(figure) and figure >= 0.0), name
    for notice in filmed_notices(camera, found, StorySettings(), source):
        assert "nan" not in notice.text
        assert "inf " not in notice.text
