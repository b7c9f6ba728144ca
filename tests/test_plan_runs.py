"""Shots that dissolve into each other, and shots whose limits no held HIT keeps."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from plan_tables import CLIP, frame, planned, rows, table

from postfix.limits import Limits
from postfix.measure.columns import Columns
from postfix.plan.figures import figures_after
from postfix.plan.geometry import moves_of, window_px_at
from postfix.plan.model import HitKey, Pin, Plan
from postfix.plan.robust import shot_arrays
from postfix.plan.settings import ConvergenceSettings, PlanSettings
from postfix.viewing import BUILTIN_SCREENS

CINEMA = BUILTIN_SCREENS["cinema-12m"]
STEP_PCT = 100.0 * CLIP.step_px / CLIP.width_px
LONE = PlanSettings(convergence=ConvergenceSettings(jump_weight=0.0))


def _dissolving(columns: Columns, frames: int) -> Columns:
    return replace(columns, dissolve_frames=(0, *(frames for _ in columns.shots[1:])))


def _hit(plan: Plan) -> np.ndarray:
    return np.concatenate([moves_of(shot, plan.clip).hit_px for shot in plan.shots]) * 100.0 / plan.clip.width_px


def _windows(plan: Plan) -> np.ndarray:
    return np.concatenate([window_px_at(shot, np.arange(shot.first, shot.last + 1)) for shot in plan.shots])


def _over(columns: Columns, plan: Plan, shot: int = 0) -> tuple[float, float]:
    one = plan.shots[shot]
    arrays = shot_arrays(columns, one.first, one.last)
    after = figures_after(arrays, moves_of(one, plan.clip), plan.clip)
    return after.far_pct - plan.limits.far_pct, plan.limits.near_pct - after.near_pct


def test_hit_does_not_jump_in_a_dissolve() -> None:
    made = table(lambda i: frame(-0.3, 1.4) if i < 96 else frame(-0.5, -0.1), 192, cuts=(96,))
    assert np.abs(np.diff(_hit(planned(made, CINEMA, settings=LONE)))).max() > 0.5, "at a cut it may"
    plan = planned(_dissolving(made, 24), CINEMA, settings=LONE)
    steps = np.abs(np.diff(_hit(plan)))
    assert steps.max() <= STEP_PCT + 1e-9
    speed = LONE.convergence.ease_pct_per_s
    assert np.abs(_hit(plan)[24:] - _hit(plan)[:-24]).max() <= speed + STEP_PCT


def test_windows_do_not_jump_in_a_dissolve_and_at_a_cut_they_may() -> None:
    made = table(lambda i: frame(left=rows(-1.2)) if i < 48 else frame(right=rows(-0.8)), 96, cuts=(48,))
    assert np.abs(np.diff(_windows(planned(made, CINEMA)), axis=0)).max() > 15.0
    settings = PlanSettings()
    plan = planned(_dissolving(made, 24), CINEMA, settings=settings)
    per_frame = settings.window.speed_pct_per_s * CLIP.width_px / 100.0 / 24.0
    assert np.abs(np.diff(_windows(plan), axis=0)).max() <= per_frame + 0.05
    widths = _windows(plan)
    assert widths[:48, 0].min() >= 24.576
    assert widths[48:, 2].min() >= 16.384


def test_shots_enlarged_in_a_dissolve_have_one_zoom() -> None:
    made = table(lambda i: frame(-0.3, 1.4) if i < 48 else frame(-1.2, 0.0), 96, cuts=(48,))
    zooms = {shot.zoom for shot in planned(made, CINEMA, settings=LONE, fill="zoom").shots}
    assert len(zooms) == 2
    joined = planned(_dissolving(made, 16), CINEMA, settings=LONE, fill="zoom")
    assert {shot.zoom for shot in joined.shots} == {max(shot.zoom for shot in joined.shots)}
    assert max(shot.zoom for shot in joined.shots) >= max(zooms) - 1e-6


def test_a_shot_of_which_nothing_is_known_follows_in_a_dissolve() -> None:
    made = table(lambda i: frame(-0.3, 1.4) if i < 48 else replace(frame(), confidence=0.0), 96, cuts=(48,))
    plan = planned(_dissolving(made, 24), CINEMA, settings=LONE)
    assert np.abs(np.diff(_hit(plan))).max() <= STEP_PCT + 1e-9
    assert "left as shot" not in plan.shots[1].reason


def test_a_few_frames_that_no_hit_can_hold_do_not_spoil_the_shot() -> None:
    def drifting(index: int) -> object:
        near = -0.4 - 1.2 * index / 239.0
        return frame(near, near + (2.4 if 100 <= index <= 106 else 1.5))

    made = table(drifting, 240)
    plan = planned(made, CINEMA)
    far_over, near_over = _over(made, plan)
    assert far_over <= 0.02
    # 2.4 % where near and far limits leave 2.287 % (computed): 0.11 % must stay outside, and a whole step at most more.
    assert near_over <= 0.113 + 2.0 * STEP_PCT
    assert len(plan.shots[0].hit) > 1


def test_a_push_in_too_deep_for_its_speed_is_left_outside_by_little_and_far_never() -> None:
    made = table(lambda i: frame(0.3 - 3.0 * i / 239.0, 0.3 - 3.0 * i / 239.0 + 2.2), 240)
    plan = planned(made, CINEMA)
    far_over, near_over = _over(made, plan)
    assert far_over <= 0.02
    held = 3.0 + 2.2 - (0.5417 + 1.7454)
    assert near_over < held / 4.0


def test_a_shot_that_is_too_deep_in_every_frame_is_held() -> None:
    plan = planned(table(lambda i: frame(-1.5, 1.5), 96), CINEMA)
    assert len(plan.shots[0].hit) == 1


def test_a_hit_by_hand_is_covered_where_the_fill_is_zoom() -> None:
    pin = Pin(shot="sh001", hit=(HitKey(0, 1.0),))
    (shot,) = planned(table(lambda i: frame(-0.9, -0.6), 24), CINEMA, fill="zoom", pins=(pin,)).shots
    assert shot.hit == (HitKey(0, 1.0),)
    assert shot.zoom == pytest.approx(1.01)


def test_what_is_at_its_limit_to_the_last_digit_is_not_moved() -> None:
    limits = Limits(-1.75, 0.5416666, 1.75)
    (shot,) = planned(table(lambda i: frame(-0.5, 0.5417), 24), CINEMA, limits).shots
    assert shot.hit == (HitKey(0, 0.0),)
    assert shot.reason == "within limits as shot"


def test_a_common_zoom_that_would_push_a_shot_beyond_its_limit_is_not_taken() -> None:
    tv = BUILTIN_SCREENS["tv-55in"]
    made = table(lambda i: frame(3.4, 4.0) if i < 96 else frame(5.9, 6.5), 192, cuts=(96,))
    plan = planned(_dissolving(made, 24), tv, settings=LONE, fill="zoom")
    for index in (0, 1):
        far_over, near_over = _over(made, plan, index)
        assert max(far_over, near_over) <= 0.02


def test_a_move_in_a_dissolve_that_a_short_shot_makes_quick_is_said() -> None:
    made = table(lambda i: frame(-0.3, 2.0) if i < 24 else frame(-0.3, 0.2), 48, cuts=(24,))
    plan = planned(_dissolving(made, 12), CINEMA, settings=LONE)
    assert "faster than the 1 % a second that were asked for" in " ".join(shot.reason for shot in plan.shots)
    slow = planned(_dissolving(table(lambda i: frame(-0.3, 0.9) if i < 96 else frame(), 192, cuts=(96,)), 12), CINEMA)
    assert "faster than" not in " ".join(shot.reason for shot in slow.shots)


def test_limits_are_not_blamed_for_a_shot_that_is_too_short_to_move() -> None:
    made = table(lambda i: frame(-0.2, 0.2) if i < 2 else frame(1.0, 1.4), 4, cuts=(2,))
    plan = planned(_dissolving(made, 6), CINEMA, settings=LONE)
    assert "the HIT steps by" in plan.shots[0].reason
    assert "because of the limits" not in plan.shots[0].reason
