"""Set-ups that fit a screen, rules of thumb against published figures, and figures that are asked about."""

import math
from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from postfix import shooting
from postfix.camera import Camera, parallax_pct
from postfix.lengths import length_text
from postfix.limits import LimitRules, Limits, limits_for
from postfix.shooting import best_convergence, check, close_doubt, doubt, doubts, fitting_setup, ground_mm
from postfix.viewing import BUILTIN_SCREENS

FOCAL, WIDTH = 35.0, 24.89
LIMITS = {name: limits_for(screen) for name, screen in BUILTIN_SCREENS.items()}
WIDE = limits_for(BUILTIN_SCREENS["cinema-12m"], LimitRules(comfort="percent-wide"))
INFRONT = Limits(-3.0, -0.5, 2.0)


def ends(setup, near_mm, far_mm):
    shot = Camera(setup.interaxial_mm, FOCAL, WIDTH, setup.convergence_mm)
    return parallax_pct(shot, near_mm), parallax_pct(shot, far_mm)


@pytest.mark.parametrize(("near_mm", "far_mm"), [(2000.0, math.inf), (900.0, 1400.0), (60_000.0, 90_000.0)])
@pytest.mark.parametrize("limits", [*LIMITS.values(), WIDE], ids=[*LIMITS, "percent-wide"])
def test_the_fitting_setup_fits_and_a_larger_interaxial_would_not(limits, near_mm, far_mm):
    setup = fitting_setup(FOCAL, WIDTH, near_mm, far_mm, limits)
    near_pct, far_pct = ends(setup, near_mm, far_mm)
    assert (setup.near_pct, setup.far_pct) == pytest.approx((near_pct, far_pct))
    assert near_pct >= limits.near_pct - 1e-9
    assert far_pct <= limits.far_pct + 1e-9
    assert far_pct - near_pct == pytest.approx(min(limits.range_pct, limits.far_pct - limits.near_pct))
    assert near_pct - limits.near_pct == pytest.approx(limits.far_pct - far_pct, abs=1e-9)
    assert setup.is_inside
    assert not best_convergence(setup.interaxial_mm * 1.01, FOCAL, WIDTH, near_mm, far_mm, limits).is_inside


def test_a_setup_says_what_holds_it_down():
    assert fitting_setup(FOCAL, WIDTH, 2000.0, math.inf, LIMITS["cinema-12m"]).decided_by == "range"
    narrow = replace(LIMITS["cinema-12m"], range_pct=9.0)
    assert fitting_setup(FOCAL, WIDTH, 2000.0, math.inf, narrow).decided_by == "near and far"
    assert best_convergence(20.0, FOCAL, WIDTH, 2000.0, math.inf, narrow).decided_by == "interaxial"


def test_too_large_an_interaxial_puts_far_at_its_limit_and_leaves_near_outside():
    limits = LIMITS["cinema-12m"]
    setup = best_convergence(65.0, FOCAL, WIDTH, 2000.0, math.inf, limits)
    assert setup.far_pct == pytest.approx(limits.far_pct)
    assert setup.near_pct < limits.near_pct
    assert not setup.is_inside
    assert (setup.near_pct, setup.far_pct) == pytest.approx(ends(setup, 2000.0, math.inf))


def test_a_range_that_only_the_ends_allow_is_not_inside():
    limits = LIMITS["cinema-12m"]
    middle = fitting_setup(FOCAL, WIDTH, 2000.0, math.inf, limits).interaxial_mm * 1.1
    setup = best_convergence(middle, FOCAL, WIDTH, 2000.0, math.inf, limits)
    assert setup.near_pct > limits.near_pct
    assert setup.far_pct < limits.far_pct
    assert not setup.is_inside


def test_where_infinity_must_lie_in_front_of_the_screen_no_distance_is_at_it():
    setup = fitting_setup(FOCAL, WIDTH, 2000.0, math.inf, INFRONT)
    assert setup.convergence_mm is None
    assert setup.far_pct < 0.0
    at_screen = fitting_setup(FOCAL, WIDTH, 2000.0, math.inf, Limits(-2.0, 0.0, 2.0))
    assert at_screen.convergence_mm == math.inf


@pytest.mark.parametrize(
    "wrong",
    [
        {"near_mm": 5000.0, "far_mm": 5000.0},
        {"near_mm": 6000.0},
        {"near_mm": 0.0},
        {"near_mm": math.inf, "far_mm": math.inf},
        {"far_mm": math.nan},
        {"far_mm": -5.0},
        {"focal_mm": 0.0},
        {"focal_mm": math.nan},
        {"sensor_width_mm": -1.0},
    ],
)
def test_a_setup_that_cannot_be_asked_for_is_refused(wrong):
    asked = {"focal_mm": FOCAL, "sensor_width_mm": WIDTH, "near_mm": 2000.0, "far_mm": 5000.0} | wrong
    with pytest.raises(ValueError, match="must be"):
        fitting_setup(**asked, limits=LIMITS["tv-55in"])
    with pytest.raises(ValueError, match="must be"):
        best_convergence(65.0, **asked, limits=LIMITS["tv-55in"])


@pytest.mark.parametrize("interaxial_mm", [0.0, -1.0, math.nan, math.inf])
def test_an_interaxial_that_cannot_be_is_refused(interaxial_mm):
    with pytest.raises(ValueError, match="interaxial"):
        best_convergence(interaxial_mm, FOCAL, WIDTH, 2000.0, math.inf, LIMITS["tv-55in"])


@settings(max_examples=200, deadline=None)
@given(
    st.floats(1.0, 3000.0),
    st.floats(1.0, 150.0),
    st.floats(20.0, 1e8),
    st.floats(1.01, 1e4) | st.just(math.inf),
    st.sampled_from([*LIMITS.values(), WIDE, INFRONT]),
)
def test_a_setup_never_has_an_impossible_figure(focal_mm, width_mm, near_mm, times, limits):
    setup = fitting_setup(focal_mm, width_mm, near_mm, near_mm * times, limits)
    assert math.isfinite(setup.interaxial_mm)
    assert setup.interaxial_mm > 0.0
    assert setup.convergence_mm is None or setup.convergence_mm > 0.0
    assert limits.near_pct - 1e-6 <= setup.near_pct < setup.far_pct <= limits.far_pct + 1e-6


def test_nearest_by_the_rule_of_thumb():
    # 1/30: practice, J. Wattie's notes (read): 100 mm, nothing nearer than 3 m. 1/100 for cinemas: 100 mm, 10 m (common
    # practice, no source).
    assert shooting.nearest_mm(100.0) == 3000.0
    assert shooting.nearest_mm(100.0, shooting.RATIO_CINEMA) == 10_000.0
    assert shooting.interaxial_for(3000.0) == 100.0
    assert shooting.interaxial_for(10_000.0, shooting.RATIO_CINEMA) == 100.0


# Bercovitz 1998, Proc. SPIE 3295, 288–298, the formula (read); the figures are arithmetic on it (computed). P 1.2 mm
# for a frame 36 mm wide, F 35 mm.
@pytest.mark.parametrize(
    ("near_mm", "far_mm", "base_mm", "pinhole_mm"), [(2000, math.inf, 67.97, 68.57), (2000, 4000, 135.34, 137.14)]
)
def test_a_lens_focused_between_near_and_far_is_that_of_bercovitz(near_mm, far_mm, base_mm, pinhole_mm):
    """His focus lies at ``2mn/(m + n)`` (formula read): reckoned from the thin lens it is the same interaxial."""
    focus_mm = 2.0 / (1.0 / near_mm + 1.0 / far_mm)
    for focus, expected in ((focus_mm, base_mm), (math.inf, pinhole_mm), (None, pinhole_mm)):
        lens = Camera(1.0, 35.0, 36.0, math.inf, near_mm=near_mm, far_mm=far_mm, focus_mm=focus)
        between_pct = parallax_pct(lens, far_mm) - parallax_pct(lens, near_mm)
        assert 1.2 / 36.0 * 100.0 / between_pct == pytest.approx(expected, abs=5e-3)


@pytest.mark.parametrize(
    ("near_mm", "far_mm", "base_mm", "pinhole_mm"), [(2000, math.inf, 67.97, 68.57), (2000, 4000, 135.34, 137.14)]
)
def test_interaxial_by_bercovitz(near_mm, far_mm, base_mm, pinhole_mm):
    assert shooting.bercovitz_mm(near_mm, far_mm, 35.0, 1.2) == pytest.approx(base_mm, abs=5e-3)
    assert shooting.pinhole_mm(near_mm, far_mm, 35.0, 1.2) == pytest.approx(pinhole_mm, abs=5e-3)


def test_the_plain_formula_agrees_with_the_setup_of_the_same_room():
    limits = LIMITS["cinema-12m"]
    setup = fitting_setup(FOCAL, WIDTH, 2000.0, 9000.0, limits)
    plain = shooting.pinhole_mm(2000.0, 9000.0, FOCAL, limits.range_pct * WIDTH / 100)
    assert setup.interaxial_mm == pytest.approx(plain)


ANY = st.floats(allow_nan=True, allow_infinity=True) | st.floats(0.01, 1e7)


@settings(max_examples=300, deadline=None)
@given(ANY, ANY, ANY, ANY)
def test_no_interaxial_is_infinite_or_negative(near_mm, far_mm, focal_mm, parallax_mm):
    for formula in (shooting.bercovitz_mm, shooting.pinhole_mm):
        found = formula(near_mm, far_mm, focal_mm, parallax_mm)
        assert found is None or (math.isfinite(found) and found > 0.0)
    ground = ground_mm(near_mm, far_mm, focal_mm, parallax_mm)
    assert ground.mm is None or (math.isfinite(ground.mm) and ground.mm > 0.0)
    assert (ground.mm is None) == bool(ground.why)


def test_ground_at_the_bottom_of_the_picture():
    # Arithmetic (computed): level, half the height over the focal length is 0.2, so 1.5 m of height is met at 7.5 m;
    # straight down the ground is as far as the camera is high.
    assert ground_mm(1500.0, 0.0, 35.0, 14.0).mm == pytest.approx(7500.0)
    assert ground_mm(1500.0, 90.0, 35.0, 14.0).mm == pytest.approx(1500.0)
    # Looking 30° down with half an angle of 15°: the ray falls at 45° and is 1.5 m·√2 long, cos 15° of it on the axis.
    tall = 2 * 35.0 * math.tan(math.radians(15.0))
    along = 1500.0 * math.sqrt(2.0) * math.cos(math.radians(15.0))
    assert ground_mm(1500.0, 30.0, 35.0, tall).mm == pytest.approx(along)


@pytest.mark.parametrize("up_deg", [15.0, 40.0, 90.0])
def test_no_ground_where_the_bottom_edge_looks_at_the_horizon_or_above(up_deg):
    tall = 2 * 35.0 * math.tan(math.radians(15.0))
    found = ground_mm(1500.0, -up_deg, 35.0, tall)
    assert (found.mm, found.is_infinite) == (None, True)
    assert "horizon" in found.why


@pytest.mark.parametrize("wrong", [(0.0, 0.0, 35.0, 14.0), (1500.0, 91.0, 35.0, 14.0), (1500.0, math.nan, 35.0, 14.0)])
def test_ground_is_not_known_from_impossible_figures(wrong):
    found = ground_mm(*wrong)
    assert (found.mm, found.is_infinite) == (None, False)


def test_rigs_and_lenses_in_words():
    # All common practice, no source.
    words = {mm: shooting.rig_words(mm) for mm in (1.0, 30.0, 120.0, 200.0, 350.0, 400.0)}
    assert words[30.0] == words[120.0] == "a mirror rig"
    assert words[200.0] == words[350.0] == "cameras side by side"
    assert "small" in words[1.0]
    assert "wider than common rigs" in words[400.0]
    assert "exaggerates" in shooting.lens_words(14.0)
    assert shooting.lens_words(20.0) == shooting.lens_words(35.0) == "natural"
    assert shooting.lens_words(45.0) == "longer than looks natural"
    assert "flattens" in shooting.lens_words(51.0)


@pytest.mark.parametrize(
    ("name", "value", "unit", "question"),
    [
        ("interaxial_mm", 0.03, "mm", "interaxial 0.03 mm? 30 mm would be a thousand times that"),
        ("interaxial_mm", 65_000.0, "mm", "interaxial 65000 mm? 65 mm would be a thousandth of that"),
        ("focal_mm", 0.035, "mm", "focal length 0.035 mm? 35 mm would be a thousand times that"),
        ("sensor_width_mm", 24_890.0, "mm", "sensor width 24890 mm? 24.89 mm would be a thousandth of that"),
        ("near_mm", 3.0, "mm", "nearest distance 3 mm? 3000 mm would be a thousand times that"),
        ("convergence_mm", 0.003, "m", "convergence distance 0.003 m? 3 m would be a thousand times that"),
        ("focal_mm", 1e9, "mm", "focal length 1e+09 mm? usual is 1 mm to 3 m"),
        ("interaxial_mm", 1e-6, "m", "interaxial 1e-06 m? 0.001 m would be a thousand times that"),
        ("interaxial_mm", -65.0, "mm", "interaxial -65 mm? usual is 0.2 mm to 20 m"),
    ],
)
def test_a_figure_that_is_hardly_meant_is_asked_about(name, value, unit, question):
    assert doubt(name, value, unit) == question


def test_figures_that_people_shoot_with_are_not_asked_about():
    for name, values in {
        "interaxial_mm": (0.2, 3.0, 65.0, 20_000.0),
        "focal_mm": (2.0, 35.0, 1200.0),
        "sensor_width_mm": (4.8, 24.89, 36.0, 70.0),
        "near_mm": (20.0, 1500.0, 4e6),
        "far_mm": (30.0, 1e9, math.inf),
        "convergence_mm": (300.0, math.inf),
    }.items():
        for value in values:
            assert doubt(name, value) is None, (name, value)
    shot = Camera(65.0, 35.0, 24.89, 3000.0, near_mm=1500.0, far_mm=math.inf)
    assert doubts(shot) == check(shot) == ()
    assert doubts(Camera()) == check(Camera()) == ()
    assert doubts(replace(shot, interaxial_mm=0.065, near_mm=1.5)) == (
        "interaxial 0.065 mm? 65 mm would be a thousand times that",
        "nearest distance 1.5 mm? 1500 mm would be a thousand times that",
    )


@pytest.mark.parametrize("value", [0.0, -5.0, math.nan, -math.inf])
@pytest.mark.parametrize(
    "name", ["interaxial_mm", "focal_mm", "sensor_width_mm", "convergence_mm", "near_mm", "far_mm"]
)
def test_a_length_that_cannot_be_is_named(name, value):
    (told,) = check(replace(Camera(), **{name: value}))
    assert "must be more than 0" in told


@pytest.mark.parametrize("name", ["interaxial_mm", "focal_mm", "sensor_width_mm", "near_mm"])
def test_only_far_and_convergence_may_be_infinite(name):
    (told,) = check(replace(Camera(), **{name: math.inf}))
    assert "finite" in told


@pytest.mark.parametrize(
    ("shot", "told"),
    [
        (Camera(near_mm=5000.0, far_mm=5000.0), "not nearer than the farthest"),
        (Camera(near_mm=5000.0, far_mm=4000.0), "not nearer than the farthest"),
        (Camera(focal_mm=50.0, near_mm=50.0), "nearest distance 50 mm is not beyond the focal length, 50 mm"),
        (Camera(focal_mm=50.0, convergence_mm=40.0), "convergence distance 40 mm is not beyond the focal length"),
        (Camera(65.0, 35.0, 24.89, 90.0), "side by side"),
        (Camera(interaxial_mm=400.0, convergence_mm=150.0, rig="toed-in"), "too near for cameras 400 mm apart"),
        (Camera(rig="crossed"), "'crossed' is none of parallel, toed-in"),
    ],
)
def test_figures_that_cannot_be_together_are_named(shot, told):
    (found,) = check(shot)
    assert told in found


@settings(max_examples=300, deadline=None)
@given(st.builds(Camera, *[st.none() | ANY] * 4, st.sampled_from(["parallel", "toed-in"]), st.none() | ANY))
def test_whatever_is_noted_can_be_asked_about(shot):
    assert all(isinstance(words, str) for words in (*check(shot), *doubts(shot)))


@pytest.mark.parametrize(
    ("shot", "question"),
    [
        # Metres, or centimetres, in a file of millimetres.
        (
            Camera(interaxial_mm=65.0, near_mm=30.0),
            "nearest distance 30 mm with an interaxial of 65 mm? 30000 mm if metres were meant, 300 mm if centimetres",
        ),
        (
            Camera(convergence_mm=150.0),
            "convergence distance 150 mm without an interaxial? "
            "150000 mm if metres were meant, 1500 mm if centimetres",
        ),
        (Camera(interaxial_mm=3.0, near_mm=59.0), "nearest distance 59 mm with an interaxial of 3 mm? 59000 mm if "
         "metres were meant, 590 mm if centimetres"),
    ],
)  # fmt: skip
def test_a_distance_that_only_a_macro_rig_has_is_asked_about(shot, question):
    assert doubts(shot) == (question,)


def test_a_macro_rig_and_what_is_two_hundred_millimetres_away_are_not_asked_about():
    macro = Camera(3.0, 30.0, 24.89, 80.0, near_mm=60.0, far_mm=120.0)
    assert doubts(macro) == ()
    assert doubts(Camera(interaxial_mm=65.0, near_mm=200.0)) == ()
    assert close_doubt(Camera(far_mm=math.inf), "far_mm") is None


@pytest.mark.parametrize("name", ["interaxial_mm", "focal_mm", "sensor_width_mm"])
def test_what_is_shorter_than_any_is_cannot_be_whatever_unit_it_had(name):
    (told,) = check(replace(Camera(), **{name: 1e-9}))
    assert "is less than any is" in told


def test_lengths_at_odds_are_told_as_the_caller_tells_them():
    shot = Camera(near_mm=5000.0, far_mm=4000.0)
    assert check(shot, length_text) == ("nearest distance 5 m is not nearer than the farthest, 4 m",)
    assert check(shot) == ("nearest distance 5000 mm is not nearer than the farthest, 4000 mm",)
