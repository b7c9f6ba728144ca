"""Where a move puts the pictures, their edges and the window, against references and against real columns of pixels."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from plan_tables import CLIP

from postfix.plan.geometry import (
    SIDES,
    Moves,
    Side,
    applied_hit_px,
    bare_px,
    covering_zoom,
    edge_parallax_px,
    hidden_px_at,
    hit_pct_at,
    moves_of,
    split_px,
    window_need_px,
    window_px_at,
)
from postfix.plan.model import HitKey, ShotPlan, WindowKey
from postfix.plan.settings import FILLS, Fill


def _moves(left: float, right: float, fill: Fill = "hide", zoom: float = 1.0) -> Moves:
    return Moves(np.array([float(left)]), np.array([float(right)]), zoom, fill)


def _edge(side: Side, moves: Moves, source: tuple[float, float, float, float] = (0, 0, 0, 0)) -> float:
    own, opposite = hidden_px_at(np.array([source], float), side, moves, CLIP.width_px, [0.5])
    return float(edge_parallax_px(own, opposite)[0, 0])


@given(st.integers(-200, 200), st.sampled_from([1, 2, 4]))
def test_a_hit_is_shared_in_whole_steps_and_differs_by_one_step_at_most(steps: int, step: int) -> None:
    left, right = split_px(steps * step, step)
    assert right - left == steps * step
    assert left % step == 0
    assert right % step == 0
    assert abs(right) - abs(left) in (0, step)
    assert split_px(-steps * step, step) == (-left, -right)


def test_the_right_eye_takes_the_odd_step() -> None:
    assert split_px(6, 2) == (-2, 4)
    assert split_px(-6, 2) == (2, -4)


def test_a_fraction_is_rounded_to_the_nearest_step_and_signs_are_alike() -> None:
    assert applied_hit_px(100.0 * 2.9 / 2048, CLIP) == 2
    assert applied_hit_px(100.0 * 3.0 / 2048, CLIP) == 4
    assert applied_hit_px(-100.0 * 3.0 / 2048, CLIP) == -4
    assert applied_hit_px(0.0, CLIP) == 0


@given(st.integers(-400, 400))
def test_a_whole_total_written_in_percent_is_applied_exactly(steps: int) -> None:
    total = steps * CLIP.step_px
    assert applied_hit_px(total * 100.0 / CLIP.width_px, CLIP) == total


def test_moving_the_left_picture_one_percent_left_adds_one_percent_to_all_parallax() -> None:
    # Trade course notes (read): infinity 0 -> +1 %, near -2 % -> -1 %, range unchanged.
    moved = _moves(-20.48, 0.0)
    after = np.array([0.0, -2.0]) + moved.hit_px * 100.0 / CLIP.width_px
    assert after == pytest.approx([1.0, -1.0])


def test_an_object_at_minus_1_2_percent_of_2048_px_needs_25_columns() -> None:
    # References, the window: 24.576 -> 25 px (computed).
    need = window_need_px(0.0, -1.2 * 2048 / 100.0)
    assert need == pytest.approx(24.576)
    assert int(np.ceil(need)) == 25


@given(st.floats(-100, 100), st.floats(0, 50))
def test_a_hit_of_h_lowers_the_need_by_h(parallax: float, hit: float) -> None:
    # References, the window: "a HIT of +h lowers the need by h", for an edge that stays at the screen (computed).
    before, after = float(window_need_px(0.0, parallax)), float(window_need_px(0.0, parallax + hit))
    assert after == pytest.approx(max(before - hit, 0.0) if parallax < 0.0 else 0.0, abs=1e-9)


@pytest.mark.parametrize("side", SIDES)
def test_hiding_w_columns_of_the_sides_own_eye_puts_the_edge_at_minus_w_and_of_the_other_at_plus_w(side: Side) -> None:
    # References, the window (computed): w at the left of the left eye, or the right of the right eye, is -w.
    own = (25.0, 25.0, 0.0, 0.0) if side == "left" else (0.0, 0.0, 25.0, 25.0)
    opposite = (0.0, 0.0, 25.0, 25.0) if side == "left" else (25.0, 25.0, 0.0, 0.0)
    assert _edge(side, _moves(0, 0), own) == -25.0
    assert _edge(side, _moves(0, 0), opposite) == 25.0


@pytest.mark.parametrize("side", SIDES)
@pytest.mark.parametrize(("left", "right"), [(6, -6), (-6, 6)])
def test_hidden_bare_columns_put_both_edges_at_half_the_hit(side: Side, left: int, right: int) -> None:
    assert _edge(side, _moves(left, right)) == (right - left) / 2


@pytest.mark.parametrize("side", SIDES)
@pytest.mark.parametrize(("left", "right"), [(6, -6), (-6, 6), (4, -6), (-4, 6)])
def test_cropped_bare_columns_leave_the_edges_at_the_screen(side: Side, left: int, right: int) -> None:
    assert _edge(side, _moves(left, right, "crop")) == 0.0
    assert bare_px(_moves(left, right, "crop"), side, CLIP.width_px)[0][0] > 0


@given(st.floats(-20, 20), st.sampled_from(SIDES))
def test_the_covering_zoom_leaves_no_column_bare_and_is_the_least(pct: float, side: Side) -> None:
    half = pct * CLIP.width_px / 200.0
    zoom = covering_zoom(pct)
    for columns in bare_px(_moves(-half, half, "zoom", zoom), side, CLIP.width_px):
        assert columns[0] < 1e-6
    assert zoom - 1.0 - abs(pct) / 100.0 < 1.1e-6


@given(st.integers(0, 12), st.integers(0, 12), st.integers(-10, 10), st.integers(-10, 10), st.sampled_from(SIDES))
def test_black_in_the_source_rides_along_as_real_columns_do(
    black_left: int, black_right: int, move_left: int, move_right: int, side: Side
) -> None:
    width = 64

    def counted(black: int, move: int) -> int:
        row = np.ones(width, int)
        if side == "left":
            row[:black] = 0
        else:
            row[width - black :] = 0
        out = np.zeros(width, int)
        if move >= 0:
            out[move:] = row[: width - move]
        else:
            out[: width + move] = row[-move:]
        picture = np.flatnonzero(out)
        return int(picture[0] if side == "left" else width - 1 - picture[-1])

    own, opposite = hidden_px_at(
        np.array([[black_left, black_left, black_right, black_right]], float),
        side,
        _moves(move_left, move_right),
        width,
        [0.0, 1.0],
    )
    left, right = (own, opposite) if side == "left" else (opposite, own)
    # A move away from the side pushes black off the frame and can lay nothing bare there.
    assert left[0, 0] == counted(black_left, move_left)
    assert right[0, 1] == counted(black_right, move_right)


def test_a_tilted_edge_in_the_source_keeps_its_tilt_under_a_zoom() -> None:
    own, _ = hidden_px_at(np.array([[0.0, 40.0, 0.0, 0.0]]), "left", _moves(0, 0, "zoom", 1.25), 100, [0.0, 0.5, 1.0])
    # Row t shows the source's row 0.5 + (t - 0.5)/1.25; columns go to 50 + 1.25(x - 50).
    assert own[0] == pytest.approx([0.0, 12.5, 1.25 * 36.0 - 12.5])


def test_hit_is_held_outside_its_keys_and_eased_between_them() -> None:
    keys = (HitKey(10, 1.0), HitKey(20, 2.0))
    assert hit_pct_at(keys, [0, 10, 15, 20, 30]) == pytest.approx([1.0, 1.0, 1.5, 2.0, 2.0])
    eased = hit_pct_at(keys, np.arange(10, 21))
    steps = np.diff(eased)
    assert (steps > 0).all()
    assert steps[0] < steps[4]
    assert steps[-1] < steps[4]
    assert hit_pct_at((HitKey(3, 0.7),), [0, 9]) == pytest.approx([0.7, 0.7])


def test_an_eased_hit_is_applied_in_whole_steps() -> None:
    shot = ShotPlan("sh001", 0, 24, (HitKey(0, 0.0), HitKey(24, 1.0)))
    moves = moves_of(shot, CLIP)
    assert (moves.left_px % 2 == 0).all()
    assert (moves.right_px % 2 == 0).all()
    assert moves.hit_px[-1] == 20.0  # 20.48 px
    zoomed = moves_of(replace(shot, fill="zoom", zoom=1.01), CLIP)
    assert zoomed.hit_px[-1] == pytest.approx(20.48)


def test_the_window_is_linear_between_its_keys() -> None:
    window = (WindowKey(0, (0.0, 10.0), (2.0, 2.0)), WindowKey(10, (10.0, 30.0), (2.0, 4.0)))
    shot = ShotPlan("sh001", 0, 20, window=window)
    assert window_px_at(shot, [5, 20]) == pytest.approx(np.array([[5, 20, 2, 3], [10, 30, 2, 4]]))
    assert not window_px_at(replace(shot, window=()), [5]).any()


def test_every_fill_is_known_to_the_geometry() -> None:
    for fill in FILLS:
        assert bare_px(_moves(0, 0, fill), "left", CLIP.width_px)[0] == 0.0
