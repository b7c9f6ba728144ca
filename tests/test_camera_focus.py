"""What the distance that a lens is focused on does to parallax, and what is told where it was not noted."""

import math
import re
from dataclasses import replace

import numpy as np
import pytest
from test_shoot import told as shoot_told
from test_story_filmed import measured, notices, told

from postfix.camera import Camera, distance_of, focus_share, image_mm, parallax_pct

CLOSE = Camera(20.0, 85.0, 24.89, 1200.0, near_mm=1000.0, far_mm=3000.0, focus_mm=1200.0)
REAL = (1000.0, 1100.0, 3000.0)


@pytest.mark.parametrize(
    ("focal", "focus", "image"),
    [
        (50.0, 1000.0, 52.632), (100.0, 200.0, 200.0), (35.0, math.inf, 35.0), (35.0, None, 35.0),
        (35.0, 35.0, None), (35.0, 20.0, None), (None, 1000.0, None),
    ],
)  # fmt: skip
def test_the_picture_is_formed_where_the_thin_lens_has_it(focal, focus, image):
    """1/f = 1/focus + 1/image (from memory); at twice the focal length the picture is as large as the thing."""
    found = image_mm(Camera(focal_mm=focal, focus_mm=focus))
    assert found == (None if image is None else pytest.approx(image, abs=1e-3))


def rays_pct(lens, point_mm):
    """Parallax from rays through the middle of each lens onto sensors at the image distance, the right one shifted so
    that what is converged on has none (computed)."""
    back = 1.0 / (1.0 / lens.focal_mm - 1.0 / lens.focus_mm)
    at = [-back * (0.0 - x) / point_mm for x in (-lens.interaxial_mm / 2, lens.interaxial_mm / 2)]
    at_screen = [-back * (0.0 - x) / lens.convergence_mm for x in (-lens.interaxial_mm / 2, lens.interaxial_mm / 2)]
    # Upright pictures: a sensor's are turned round.
    return -((at[1] - at[0]) - (at_screen[1] - at_screen[0])) * 100.0 / lens.sensor_width_mm


@pytest.mark.parametrize("seed", range(20))
def test_parallax_and_distance_of_a_focused_lens(seed):
    rng = np.random.default_rng(seed)
    focal, focus, converged, point = rng.uniform(20, 120), *rng.uniform(300, 5000, 3)
    lens = Camera(rng.uniform(1, 60), focal, 36.0, converged, focus_mm=focus)
    assert parallax_pct(lens, point) == pytest.approx(rays_pct(lens, point))
    assert distance_of(lens, rays_pct(lens, point)).mm == pytest.approx(point)


def test_a_noted_focus_gives_real_distances_and_no_doubt():
    source = measured(CLOSE, REAL)
    found = told(CLOSE, source)
    assert (found.near_mm, found.main_mm, found.far_mm) == pytest.approx(REAL)
    assert not {"camera", "focus"} & set(notices(CLOSE, source))


@pytest.mark.parametrize("focus", [1000.0, 1200.0, 3000.0, math.inf])
@pytest.mark.parametrize("change", [{}, {"convergence_mm": None}], ids=["converged", "unknown convergence"])
def test_right_notes_without_the_focus_are_not_doubted(focus, change):
    source = measured(replace(CLOSE, focus_mm=focus), REAL)
    said = notices(replace(CLOSE, focus_mm=None, **change), source)
    assert "camera" not in said
    assert "focused at 1 m the lens draws 9.3 % larger" in said["focus"]


def test_wrong_notes_without_the_focus_are_doubted_all_the_same():
    source = measured(CLOSE, REAL)
    assert "doubt" in notices(replace(CLOSE, focus_mm=None, interaxial_mm=30.0), source)["camera"]


def test_a_lens_far_from_everything_needs_no_word_of_its_focus():
    far = Camera(25.0, 28.0, 24.89, 4000.0, near_mm=2000.0, far_mm=30_000.0)
    assert "focus" not in notices(far, measured(far))
    assert focus_share(far, 2000.0) == pytest.approx(28.0 / 1972.0)
    assert focus_share(replace(far, focus_mm=2000.0), 2000.0) == 0.0


def test_shoot_says_what_the_focus_would_change_and_reckons_with_it():
    words = ("--focal", "85", "--sensor", "24.89", "--near", "1", "--far", "1.3", "--screen", "cinema-12m")
    without = shoot_told(*words)
    assert any("no --focus" in note and "9.3 % larger" in note for note in without["notes"])
    focused = shoot_told(*words, "--focus", "1.2")
    assert not any("--focus" in note for note in focused["notes"])
    base = focused["screens"][0]["interaxial_mm"]
    assert base < without["screens"][0]["interaxial_mm"]
    lens = Camera(base, 85.0, 24.89, 1150.0, focus_mm=1200.0)
    limit = focused["screens"][0]["range_budget_pct"]
    assert limit * 0.99 < rays_pct(lens, 1300.0) - rays_pct(lens, 1000.0) <= limit


@pytest.mark.parametrize("given", [(), ("--interaxial", "22")])
def test_what_fits_only_focused_far_away_says_so_beside_the_answer(given):
    """Found with close-ups: a thin lens of 85 mm focused at 1 m draws 9.3 % larger (computed)."""
    words = ("--focal", "85", "--sensor", "24.89", "--near", "1", "--far", "1.3", "--screen", "cinema-12m", *given)
    (screen,) = shoot_told(*words)["screens"]
    assert re.search(r"not with the lens focused at 1 m: range 1\.(89|90) % against 1\.75 %", screen["advice"])
    (screen,) = shoot_told(*words, "--focus", "inf")["screens"]
    assert "focused" not in screen["advice"]
    less = ("--interaxial", "15", *words[:10])
    assert "focused" not in shoot_told(*less)["screens"][0]["advice"]


def test_no_farther_distance_is_offered_for_more_parallax_than_infinity_has():
    """A farthest distance of infinity cannot be farther."""
    noted = Camera(65.0, 35.0, 24.89, 6000.0, near_mm=3000.0, far_mm=math.inf)
    source = (parallax_pct(noted, 3000.0), 0.0, parallax_pct(noted, math.inf) + 0.5)
    for far in (math.inf, 20_000.0):
        said = notices(replace(noted, far_mm=far), source)["camera"]
        assert "farthest distance" not in said
