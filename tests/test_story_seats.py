"""What other seats see of a parallax: against published rows, and rays that are laid through the room anew."""

import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from postfix.limits import LimitRules, limits_for
from postfix.plan.settings import SPANS, StorySettings
from postfix.story.model import Seat
from postfix.story.seats import from_seats, seats_of, seen
from postfix.viewing import BUILTIN_SCREENS, Screen, arcmin_from_mm, divergence_deg, perceived_distance_mm

CINEMA = BUILTIN_SCREENS["cinema-12m"]
TV = BUILTIN_SCREENS["tv-55in"]
NAN = math.nan
RULES = LimitRules()

# Z = V·e/(e − P): Holliman's course notes (read); the rows are arithmetic on it, done apart (computed).
# columns: V m, screen W m, e mm, P % of W, Z m (None: divergence), angle arcmin, divergence deg
VIEWING_TABLE = [
    (10, 10, 65, -3, 1.7808, -103.12, 0.0),
    (10, 10, 65, -1, 3.9394, -34.38, 0.0),
    (10, 10, 65, 0.25, 16.25, 8.594, 0.0),
    (10, 10, 65, 0.5, 43.333, 17.189, 0.0),
    (10, 10, 65, 1, None, 34.377, 0.2005),
    (2, 1.107, 65, -2, 1.4919, -38.04, 0.0),
    (2, 1.107, 65, 2, 3.0331, 38.05, 0.0),
    (3, 1.0, 63, 3, 5.7273, 34.375, 0.0),
]


@pytest.mark.parametrize(("v_m", "w_m", "e_mm", "p_pct", "z_m", "angle", "apart"), VIEWING_TABLE)
def test_the_own_seat_sees_what_the_published_formula_says(v_m, w_m, e_mm, p_pct, z_m, angle, apart):
    found = seen(p_pct, Screen("s", w_m * 1000.0, v_m * 1000.0), e_mm)
    if z_m is None:
        assert found.distance_mm is None
    else:
        assert found.distance_mm / 1000.0 == pytest.approx(z_m, rel=1e-4)
    assert found.arcmin == pytest.approx(angle, abs=0.01)
    assert found.divergence_deg == pytest.approx(apart, abs=1e-4)


@pytest.mark.parametrize("pct", [-4.0, -0.3, 0.0, 0.2, 0.7])
def test_a_seat_in_the_middle_is_viewing_geometry_to_the_last_digit(pct):
    mm, row_mm = pct * CINEMA.width_mm / 100.0, 7200.0
    found = seen(pct, CINEMA, 63.0, Seat("front row", row_mm))
    assert found.distance_mm == perceived_distance_mm(mm, row_mm, 63.0)
    assert found.arcmin == arcmin_from_mm(mm, row_mm, 63.0)
    assert found.divergence_deg == divergence_deg(mm, row_mm, 63.0)


def rays(parallax_mm, seat, eye_mm):
    """Eyes and directions of sight in the room, as complex numbers: x along the screen, y from it to the audience."""
    viewer = complex(seat.aside_mm, seat.distance_mm)
    across = (-viewer / abs(viewer)) * 1j  # the direction of view turned a quarter: to the viewer's right
    eyes = np.array([viewer - across * eye_mm / 2.0, viewer + across * eye_mm / 2.0])
    return viewer, eyes, np.array([-parallax_mm / 2.0, parallax_mm / 2.0]) - eyes


def met(parallax_mm, seat, eye_mm):
    """Vergence in radians, and where both rays meet in front of the eyes (None where they do not)."""
    viewer, eyes, sight = rays(parallax_mm, seat, eye_mm)
    turned = np.angle(sight / -viewer)  # of each eye against the direction of view, anticlockwise
    vergence = turned[0] - turned[1]
    along = np.linalg.solve(
        np.array([[sight[0].real, -sight[1].real], [sight[0].imag, -sight[1].imag]]),
        np.array([(eyes[1] - eyes[0]).real, (eyes[1] - eyes[0]).imag]),
    )
    return vergence, eyes[0] + along[0] * sight[0] if (along > 0.0).all() else None


SIDE_SEATS = [Seat("side seat", 12000.0, 4800.0), Seat("far left", 6000.0, -9000.0), Seat("beside", 900.0, 6000.0)]


@pytest.mark.parametrize("seat", SIDE_SEATS, ids=lambda seat: seat.name)
@pytest.mark.parametrize("pct", [-8.0, -2.5, -1.0, -0.01, 0.0, 0.3, 0.5])
def test_a_side_seat_sees_a_point_where_the_rays_of_its_eyes_meet(seat, pct):
    found = seen(pct, CINEMA, 65.0, seat)
    vergence, point = met(pct * CINEMA.width_mm / 100.0, seat, 65.0)
    viewer = complex(seat.aside_mm, seat.distance_mm)
    assert found.distance_mm == pytest.approx(abs(point - viewer), rel=1e-7)
    straight, _ = met(0.0, seat, 65.0)
    assert found.arcmin == pytest.approx(math.degrees(straight - vergence) * 60.0, abs=1e-6)
    assert found.divergence_deg == 0.0


@pytest.mark.parametrize("seat", SIDE_SEATS[:2], ids=lambda seat: seat.name)
def test_a_side_seat_turns_its_eyes_apart_by_the_angle_between_the_rays(seat):
    found = seen(3.0, CINEMA, 65.0, seat)
    vergence, point = met(360.0, seat, 65.0)
    assert point is None
    assert found.distance_mm is None
    assert found.divergence_deg == pytest.approx(-math.degrees(vergence), abs=1e-9)
    assert found.divergence_deg > 0.0


def test_the_screen_is_foreshortened_from_the_side_so_that_the_eyes_can_take_more():
    # Seen from 45 degrees, across the line of sight a parallax is narrower by the square root of two (computed).
    seat = Seat("side seat", 5000.0, 5000.0)
    just = 65.0 * math.sqrt(2.0) / CINEMA.width_mm * 100.0
    assert seen(just * 0.985, CINEMA, 65.0, seat).distance_mm > 400_000.0
    assert seen(just * 1.001, CINEMA, 65.0, seat).distance_mm is None
    assert seen(just * 1.001, CINEMA, 65.0, seat).divergence_deg > 0.0


def test_what_a_millimetre_would_move_by_kilometres_has_no_distance():
    # 64.6 of 65 mm at 12 m would be 1.95 km away, 64.9 mm 7.8 km (computed); 64 mm are 780 m.
    far, farther = (seen(mm / CINEMA.width_mm * 100.0, CINEMA, 65.0) for mm in (64.0, 64.6))
    assert far.distance_mm == pytest.approx(780_000.0)
    assert (farther.distance_mm, farther.divergence_deg) == (None, 0.0)


def test_a_picture_that_lies_behind_a_viewer_to_the_side_is_not_met_in_front():
    found = seen(80.0, CINEMA, 65.0, Seat("beside", 200.0, 2000.0))
    assert found.distance_mm is None
    assert math.isfinite(found.arcmin)


def test_a_hair_to_the_side_is_as_straight_in_front():
    for pct in (-3.0, 0.0, 0.5, 2.0):
        beside, ahead = (seen(pct, CINEMA, 65.0, Seat("", 12000.0, aside)) for aside in (0.001, 0.0))
        assert beside.arcmin == pytest.approx(ahead.arcmin, abs=1e-6)
        assert beside.divergence_deg == pytest.approx(ahead.divergence_deg, abs=1e-8)
        assert beside.distance_mm == (pytest.approx(ahead.distance_mm) if ahead.distance_mm else None)


pcts = st.floats(-100.0, 100.0)
distances = st.floats(20.0, 400_000.0)
asides = st.floats(-100_000.0, 100_000.0)
eyes = st.floats(40.0, 80.0)


@given(pcts, distances, asides, eyes)
def test_left_and_right_of_the_middle_see_the_same(pct, distance, aside, eye):
    left, right = (seen(pct, CINEMA, eye, Seat("", distance, side)) for side in (-aside, aside))
    assert left == right


@given(pcts, distances, asides, eyes)
def test_no_distance_is_ever_negative_or_infinite_and_none_stands_beside_eyes_that_turn_apart(
    pct, distance, aside, eye
):
    found = seen(pct, CINEMA, eye, Seat("", distance, aside))
    assert found.distance_mm is None or (math.isfinite(found.distance_mm) and found.distance_mm > 0.0)
    assert math.isfinite(found.arcmin)
    assert found.divergence_deg >= 0.0
    if found.divergence_deg > 0.0:
        assert found.distance_mm is None


# Nearer than half the mean of e and e − P (here 143 mm) angles no longer grow on the way in (computed).
@given(st.floats(-10.0, 0.5), st.floats(150.0, 400_000.0), st.floats(1.01, 20.0))
def test_a_farther_seat_sees_smaller_angles_and_more_depth(pct, distance, times):
    near, far = (seen(pct, CINEMA, 65.0, Seat("", d)) for d in (distance, distance * times))
    # A billionth of an arcminute is rounding.
    assert abs(far.arcmin) <= abs(near.arcmin) + 1e-9
    assert far.distance_mm > near.distance_mm
    assert far.distance_mm == pytest.approx(near.distance_mm * times)


@pytest.mark.parametrize("pct", [NAN, math.inf, -math.inf])
@pytest.mark.parametrize("aside", [0.0, 3000.0])
def test_what_was_not_measured_is_seen_nowhere(pct, aside):
    found = seen(pct, CINEMA, 65.0, Seat("", 12000.0, aside))
    assert found.distance_mm is None
    assert all(math.isnan(one) for one in (found.parallax_pct, found.arcmin, found.divergence_deg))


# ---- which seats


def test_the_seats_are_the_own_one_both_rows_and_one_to_the_side():
    assert seats_of(CINEMA, StorySettings()) == (
        Seat("own seat", 12000.0),
        Seat("front row", 7200.0),
        Seat("back row", pytest.approx(19200.0)),
        Seat("side seat", 12000.0, 4800.0),
    )


def test_a_seat_that_is_the_same_place_is_left_out():
    settings = StorySettings(front_seat_share=1.0, back_seat_share=1.0, side_seat_share=0.0)
    assert seats_of(CINEMA, settings) == (Seat("own seat", 12000.0),)


# ---- what is outside comfort


def outside_of(near, far, screen=CINEMA, rules=RULES, **more):
    shares = StorySettings()
    found = from_seats(near, 0.0, far, screen, rules, seats_of(screen, shares), **more)
    return {one.seat.name: one.outside for one in found}


def test_what_keeps_its_limits_is_comfortable_from_the_own_seat_and_not_from_the_front_row():
    outside = outside_of(-1.7, 0.0)
    assert outside["own seat"] == outside["back row"] == outside["side seat"] == ()
    assert len(outside["front row"]) == 2
    # −1.7 % of 12 m from 7.2 m: 2·atan((65 + 204)/14400) − 2·atan(65/14400) = 97.4 arcmin (computed).
    assert (
        outside["front row"][0]
        == "near is 97.4 arcmin in front of the screen, limit 60.0 arcmin in front of the screen"
    )
    assert "arcmin from nearest to farthest, limit 60.0" in outside["front row"][1]


def test_eyes_that_turn_apart_are_told_with_the_angle_at_every_seat_where_they_do():
    outside = outside_of(-0.2, 0.8)
    # 0.8 % of 12 m is 96 mm, 31 mm more than the eyes: 2·atan(31/24000) = 0.148 degrees (computed).
    assert outside["own seat"] == ("the eyes turn apart by 0.148 degrees at far, limit none",)
    assert outside["front row"][0].startswith("the eyes turn apart by 0.247 degrees at far")
    assert outside["back row"][0].startswith("the eyes turn apart by 0.093 degrees at far")
    # From the side the 96 mm are 96·12000/12924 = 89.1 mm across, 24.1 more than the eyes (computed).
    assert outside["side seat"][0].startswith("the eyes turn apart by 0.107 degrees at far")


def test_an_allowance_holds_for_every_seat_up_to_its_divergence():
    rules = LimitRules(allowance_mm=40.0)
    outside = outside_of(-0.2, 0.8, rules=rules)
    assert outside["own seat"] == outside["side seat"] == ()
    nearer = from_seats(-0.2, 0.0, 0.8, CINEMA, replace(rules, divergence_deg=0.2), (Seat("front row", 7200.0),))
    assert nearer[0].outside[0] == "the eyes turn apart by 0.247 degrees at far, limit 0.200"


@pytest.mark.parametrize("comfort", ["arcmin", "percent", "percent-wide", "zone"])
@pytest.mark.parametrize("screen", [CINEMA, TV], ids=["cinema", "tv"])
def test_the_own_seat_is_judged_by_the_limits_of_the_plan(comfort, screen):
    rules = LimitRules(comfort=comfort)
    limits = limits_for(screen, rules)
    for near, far, counts in (
        (limits.near_pct - 0.01, 0.0, 0),
        (limits.near_pct - 0.03, 0.0, 1),
        (0.0, limits.far_pct + 0.01, 0),
        (0.0, limits.far_pct + 0.03, 1),
    ):
        found = from_seats(near, 0.0, far, screen, rules, seats_of(screen, StorySettings())[:1], range_pct=0.1)
        assert len(found[0].outside) == counts, (near, far, found[0].outside)


def test_limits_that_a_person_gave_hold_at_the_own_seat_and_nowhere_else():
    rules = LimitRules(near_pct=-0.5, range_pct=9.0)
    outside = outside_of(-1.0, 0.0, TV, rules)
    assert outside["own seat"] == (
        "near is 20.4 arcmin in front of the screen, limit 10.2 arcmin in front of the screen",
    )
    assert outside["back row"] == outside["front row"] == ()
    assert outside_of(-1.0, 0.0, TV, RULES, limits=limits_for(TV, rules))["own seat"] == outside["own seat"]


def test_percent_rules_leave_other_seats_to_60_arcmin():
    outside = outside_of(-2.4, 0.3, TV, LimitRules(comfort="percent-wide"))
    assert outside["own seat"] == ()
    assert outside["front row"][0].endswith("limit 60.0 arcmin in front of the screen")


def test_limits_are_for_the_range_within_one_frame_where_that_is_given():
    ends = from_seats(-1.7, 0.0, 0.5, CINEMA, RULES, seats_of(CINEMA, StorySettings())[:1])
    frame = from_seats(-1.7, 0.0, 0.5, CINEMA, RULES, seats_of(CINEMA, StorySettings())[:1], range_pct=0.8)
    assert ends[0].outside[0].endswith("from nearest to farthest, limit 60.0")
    assert frame[0].outside == ()


def test_what_was_not_measured_is_outside_nothing():
    assert set(outside_of(NAN, NAN).values()) == {()}
    assert outside_of(-9.0, NAN)["side seat"][0].startswith("near is")


def test_the_eye_distance_is_the_one_of_the_rules():
    child, adult = (from_seats(0.0, 0.0, 0.45, CINEMA, rules, (Seat("own seat", 12000.0),))[0].far
                    for rules in (LimitRules(eye_mm=50.0), RULES))  # fmt: skip
    assert child.distance_mm is None
    assert child.divergence_deg == divergence_deg(54.0, 12000.0, 50.0)
    assert adult.distance_mm == perceived_distance_mm(54.0, 12000.0, 65.0)


@pytest.mark.parametrize("comfort", ["arcmin", "percent", "percent-wide", "zone"])
@pytest.mark.parametrize("screen", BUILTIN_SCREENS.values(), ids=lambda screen: screen.name)
def test_every_seat_that_can_be_set_is_judged(screen, comfort):
    spans = SPANS[StorySettings]
    for end in ("low", "high"):
        keys = ("front_seat_share", "back_seat_share", "side_seat_share")
        settings = replace(StorySettings(), **{key: getattr(spans[key], end) for key in keys})
        for one in from_seats(-90.0, 0.0, 90.0, screen, LimitRules(comfort=comfort), seats_of(screen, settings)):
            assert one.outside
            assert not any("nan" in words or "inf" in words for words in one.outside)


@given(st.floats(-6.0, 3.0), st.floats(0.0, 6.0), st.floats(0.05, 20.0))
def test_a_seat_beside_the_middle_is_judged_like_the_one_in_the_middle(near, span, share):
    ahead, beside = from_seats(
        near, near, near + span, CINEMA, RULES, (Seat("", 12000.0 * share), Seat("", 12000.0 * share, 1e-3))
    )
    assert abs(len(ahead.outside) - len(beside.outside)) <= 1


@pytest.mark.parametrize("seat", [None, Seat("side", 12_000.0, 5_000.0)])
def test_where_the_eyes_are_as_good_as_parallel_no_distance_is_told(seat):
    # One in a thousand million short of the eye distance: 12 million kilometres by the formula (computed).
    parallel_mm = 65.0 if seat is None else 65.0 * math.hypot(12_000.0, 5_000.0) / 12_000.0
    just_short_pct = parallel_mm * (1.0 - 1e-9) / 120.0
    found = seen(just_short_pct, CINEMA, 65.0, seat)
    assert found.distance_mm is None
    assert found.divergence_deg == 0.0
    assert seen(just_short_pct * 0.99, CINEMA, 65.0, seat).distance_mm > 100 * 12_000.0 * 0.9
