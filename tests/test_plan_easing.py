"""HIT that moves inside a shot, and shots that meet at their cuts."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from postfix.plan.easing import EASE_PEAK, Corridor, ease_curve, eased_keys
from postfix.plan.geometry import hit_pct_at
from postfix.plan.handover import Side, blend, meet, shifted_keys
from postfix.plan.model import HitKey

WIDE = 50.0


def _open(count: int) -> Corridor:
    return Corridor(np.full(count, -WIDE), np.full(count, WIDE))


def _side(
    first: int, count: int, held: float, depth: float, corridor: Corridor | None = None, free: bool = True
) -> Side:
    return Side(first, first + count - 1, held, depth, corridor or _open(count), free)


def test_the_peak_of_an_eased_move_is_what_its_derivative_says() -> None:
    # The derivative of 3x² − 2x³ is 6x − 6x², largest at x = 1/2 (computed).
    assert np.diff(ease_curve(1000)).max() * 1000 == pytest.approx(EASE_PEAK, rel=1e-4)


def test_a_shot_that_grows_nearer_and_nearer_is_followed_inside_its_limits_and_no_faster_than_allowed() -> None:
    frames = np.arange(120)
    near = -0.5 - 2.2 * np.clip((frames - 30) / 60, 0, 1)
    corridor = Corridor(-1.75 - near, 0.54 - (near + 1.5))
    assert corridor.least.max() > corridor.most.min(), "no held HIT would do"
    keys = eased_keys(corridor, 1000, 1.2 / 24)
    assert keys is not None
    hit = hit_pct_at(keys, 1000 + frames)
    assert (hit >= corridor.least - 1e-4).all()
    assert (hit <= corridor.most + 1e-4).all()
    assert np.abs(np.diff(hit)).max() <= 1.2 / 24 + 1e-4
    assert eased_keys(corridor, 1000, 0.3 / 24) is None, "too slow a move cannot follow it"


def test_a_corridor_that_a_held_hit_fits_gets_one_key_and_the_smallest_move() -> None:
    corridor = Corridor(np.full(50, 0.3), np.full(50, 2.0))
    assert eased_keys(corridor, 7, 0.02) == (HitKey(7, pytest.approx(0.3)),)
    assert eased_keys(_open(50), 7, 0.02) == (HitKey(7, 0.0),)


def test_frames_of_which_nothing_is_known_ask_for_nothing() -> None:
    least, most = np.full(60, -np.inf), np.full(60, np.inf)
    assert eased_keys(Corridor(least, most), 0, 0.02) is None
    least[:10], most[-10:] = 0.5, -0.1
    keys = eased_keys(Corridor(least, most), 0, 0.05)
    assert keys is not None
    hit = hit_pct_at(keys, np.arange(60))
    assert hit[:10].min() >= 0.5 - 1e-4
    assert hit[-10:].max() <= -0.1 + 1e-4


@given(st.integers(0, 2**32 - 1), st.integers(12, 150), st.floats(0.01, 0.2))
def test_whatever_is_found_stays_inside_and_is_slow_enough(seed: int, count: int, speed: float) -> None:
    random = np.random.default_rng(seed)
    middle = np.interp(np.arange(count), np.sort(random.choice(count, 4, replace=False)), random.normal(0, 1.0, 4))
    corridor = Corridor(middle - random.uniform(0.2, 1.0), middle + random.uniform(0.2, 1.0))
    keys = eased_keys(corridor, 0, speed)
    if keys is None:
        return
    hit = hit_pct_at(keys, np.arange(count))
    assert (hit >= corridor.least - 1e-3).all()
    assert (hit <= corridor.most + 1e-3).all()
    assert np.abs(np.diff(hit)).max() <= speed + 1e-3
    assert [key.frame for key in keys] == sorted({key.frame for key in keys})


def test_both_sides_of_a_cut_go_half_of_the_way_to_each_other() -> None:
    before, after = _side(0, 48, 0.2, -1.0), _side(48, 48, 0.0, 1.0)
    shifts = meet(before, after, 12, 0.5, speed_pct_per_frame=1.0)
    assert shifts == (pytest.approx(1.0), pytest.approx(-1.0))
    keys = shifted_keys(before, (0.0, 12), (shifts[0], 12))
    assert keys == (HitKey(35, 0.2), HitKey(47, 1.2))
    assert shifted_keys(after, (shifts[1], 12), (0.0, 12)) == (HitKey(48, -1.0), HitKey(60, 0.0))


def test_a_small_jump_is_left_alone_and_an_unknown_one_too() -> None:
    assert meet(_side(0, 48, 0.0, 0.0), _side(48, 48, 0.0, 0.4), 12, 0.5, 1.0) == (0.0, 0.0)
    assert meet(_side(0, 48, 0.0, float("nan")), _side(48, 48, 0.0, 4.0), 12, 0.5, 1.0) == (0.0, 0.0)


def test_a_side_that_a_person_decided_stays_and_the_other_goes_the_whole_way() -> None:
    shifts = meet(_side(0, 48, 0.0, -1.0, free=False), _side(48, 48, 0.0, 1.0), 12, 0.5, 1.0)
    assert shifts == (0.0, pytest.approx(-2.0))
    neither = meet(_side(0, 48, 0.0, -1.0, free=False), _side(48, 48, 0.0, 1.0, free=False), 12, 0.5, 1.0)
    assert neither == (0.0, 0.0)


def test_nobody_goes_further_than_speed_and_limits_allow() -> None:
    slow = meet(_side(0, 48, 0.0, -1.0), _side(48, 48, 0.0, 1.0), 12, 0.5, speed_pct_per_frame=0.05)
    assert slow[0] == pytest.approx(0.05 * 12 / EASE_PEAK)
    tight = Corridor(np.full(48, -WIDE), np.full(48, 0.3))
    held = meet(_side(0, 48, 0.0, -1.0, tight), _side(48, 48, 0.0, 1.0), 12, 0.5, 1.0)
    assert held == (pytest.approx(0.3), pytest.approx(-1.0))
    early = Corridor(np.full(48, -WIDE), np.where(np.arange(48) < 20, 0.0, WIDE))
    assert meet(_side(0, 48, 0.0, -1.0, early), _side(48, 48, 0.0, 1.0), 12, 0.5, 1.0)[0] == pytest.approx(1.0)


def test_a_short_shot_keeps_its_middle() -> None:
    short = _side(10, 7, 0.5, 0.0)
    keys = shifted_keys(short, (0.4, 12), (-0.4, 12))
    assert keys == (HitKey(10, 0.9), HitKey(13, 0.5), HitKey(16, 0.1))
    assert meet(_side(0, 1, 0.0, -1.0), _side(1, 1, 0.0, 1.0), 12, 0.5, 1.0) == (0.0, 0.0)


SPEED = 10.0


def _met(before: Side, after: Side, frames: int = 16) -> tuple[float, float]:
    (one, _), (other, _) = blend(before, after, frames, SPEED)
    return before.held_pct + one, after.held_pct + other


def test_in_a_dissolve_both_shots_reach_the_same_hit_in_its_middle() -> None:
    before, after = _side(0, 48, 0.6, 0.0), _side(48, 48, -0.2, 0.0)
    assert _met(before, after) == (pytest.approx(0.2), pytest.approx(0.2))
    assert _met(before, _side(48, 48, 0.6, 0.0)) == (0.6, 0.6)
    assert _met(before, _side(48, 48, -0.2, 0.0, free=False)) == (pytest.approx(-0.2), pytest.approx(-0.2))


def test_in_a_dissolve_who_has_no_room_lets_the_other_come() -> None:
    tight = Corridor(np.full(48, 0.5), np.full(48, WIDE))
    met = _met(_side(0, 48, 0.6, 0.0, tight), _side(48, 48, -0.2, 0.0))
    assert met == (pytest.approx(0.5), pytest.approx(0.5))


def test_in_a_dissolve_shots_that_cannot_meet_come_as_near_as_their_limits_let_them() -> None:
    tight, low = Corridor(np.full(48, 0.5), np.full(48, WIDE)), Corridor(np.full(48, -WIDE), np.full(48, -0.1))
    met = _met(_side(0, 48, 0.6, 0.0, tight), _side(48, 48, -0.2, 0.0, low))
    assert met == (pytest.approx(0.5), pytest.approx(-0.1))
    decided = _met(_side(0, 48, 0.6, 0.0, free=False), _side(48, 48, -0.2, 0.0, free=False))
    assert decided == (0.6, -0.2)


def test_a_move_in_a_dissolve_begins_early_enough_to_be_slow() -> None:
    (shift, span), _ = blend(_side(0, 100, 0.0, 0.0), _side(100, 100, 1.0, 0.0), 8, 1.0 / 24)
    assert abs(shift) * EASE_PEAK / span <= 1.0 / 24 + 1e-9
    (_, span), _ = blend(_side(0, 100, 0.0, 0.0), _side(100, 100, 0.1, 0.0), 48, 1.0 / 24)
    assert span == 24, "never shorter than its half of the dissolve"


def test_one_move_goes_before_two_smaller_ones() -> None:
    frames = np.arange(240)
    drift = -1.5 * np.sqrt(frames / 240.0)
    keys = eased_keys(Corridor(drift - 0.35, drift + 0.35), 0, 1.0 / 24)
    assert keys is not None
    assert len(keys) == 2


def test_near_may_be_let_out_by_as_much_as_is_said_and_far_never() -> None:
    corridor = Corridor(np.array([0.0, 0.5, 1.0]), np.array([0.2, 0.2, 2.0]))
    opened = corridor.opened(0.1)
    assert opened.least.tolist() == pytest.approx([-0.1, 0.2, 0.9])
    assert opened.most.tolist() == [0.2, 0.2, 2.0]
