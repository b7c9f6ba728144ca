"""Windows cover what touches an edge in front of it, tilt, ease in time, and stay away where nothing needs them."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays
from plan_tables import CLIP, frame, rows, table

from postfix.measure.table import EDGE_BANDS, NAN, MeasurementTable
from postfix.plan.figures import EDGE_TOLERANCE_PCT, unmoved
from postfix.plan.geometry import BAND_BORDERS, Moves, window_px_at
from postfix.plan.model import ShotPlan, WindowKey
from postfix.plan.robust import shot_arrays
from postfix.plan.settings import Fill
from postfix.plan.windows import (
    KEY_TOLERANCE_PX,
    TILT_SAVING,
    WINDOW_EASE_FRAMES,
    WINDOW_MARGIN_PCT,
    WINDOW_MAX_PCT,
    ease_radius,
    eased,
    fit_lines,
    upper_envelope,
    windows_for,
)

PX = CLIP.width_px / 100.0


def _windows(made: MeasurementTable, moves: Moves | None = None) -> tuple[WindowKey, ...]:
    last = len(made.frames) - 1
    return windows_for(shot_arrays(made, 0, last), moves or unmoved(last + 1), made.clip, 0)


def _curve(made: MeasurementTable) -> np.ndarray:
    last = len(made.frames) - 1
    return window_px_at(ShotPlan("sh001", 0, last, window=_windows(made)), np.arange(last + 1))


def _fit(need: list[float], cap: float = 1e6) -> tuple[float, float]:
    both = np.repeat(np.array(need, float)[None, :, None], 2, axis=2)
    top, bottom = fit_lines(BAND_BORDERS, both, cap)[0]
    return float(top), float(bottom)


def test_an_object_over_the_whole_edge_gets_a_straight_window() -> None:
    assert _fit([20.0] * EDGE_BANDS) == pytest.approx((20.0, 20.0))


def test_an_object_in_the_lower_third_gets_a_tilted_window() -> None:
    top, bottom = _fit([NAN] * 16 + [20.0] * 8)
    assert top == pytest.approx(0.0)
    assert bottom == pytest.approx(30.0)  # 20 px at two thirds of the way down
    assert _fit([20.0] * 8 + [NAN] * 16) == pytest.approx((30.0, 0.0))


def test_a_window_that_would_be_too_wide_at_one_end_is_turned_upright() -> None:
    assert _fit([NAN] * 16 + [20.0] * 8, cap=25.0) == pytest.approx((10.0, 25.0))
    assert _fit([NAN] * 16 + [20.0] * 8, cap=15.0) == pytest.approx((15.0, 15.0))


def _least_area(heights: np.ndarray, points: np.ndarray) -> float:
    """Least mean height of a line over all points, by trying every line that rests on two of them (slow and plain)."""
    best = np.inf
    for i in range(len(heights)):
        for j in range(len(heights)):
            if heights[i] < heights[j]:
                slope = (points[j] - points[i]) / (heights[j] - heights[i])
                top = points[i] - slope * heights[i]
                if (top + slope * heights >= points - 1e-9).all():
                    best = min(best, top + slope / 2.0)
    return best


@settings(max_examples=60, deadline=None)
@given(arrays(float, (EDGE_BANDS,), elements=st.floats(0, 100) | st.just(NAN)))
def test_the_fitted_line_covers_every_band_with_the_least_area(need: np.ndarray) -> None:
    top, bottom = _fit(need.tolist())
    lines = top + (bottom - top) * BAND_BORDERS
    known = ~np.isnan(need)
    assert (lines[:-1][known] >= need[known] - 1e-9).all()
    assert (lines[1:][known] >= need[known] - 1e-9).all()
    assert min(top, bottom) >= 0.0
    points = np.nan_to_num(need)
    heights = np.concatenate([[0.0, 1.0], BAND_BORDERS[:-1], BAND_BORDERS[1:]])
    best = _least_area(heights, np.concatenate([[0.0, 0.0], points, points]))
    assert (top + bottom) / 2.0 == pytest.approx(best, abs=1e-6)


@settings(max_examples=40, deadline=None)
@given(arrays(float, (60, 2), elements=st.floats(0, 80)), st.integers(1, 9))
def test_easing_never_goes_below_the_need(curve: np.ndarray, radius: int) -> None:
    assert (eased(curve, radius) >= curve - 1e-9).all()


@settings(max_examples=40, deadline=None)
@given(arrays(float, (200, 2), elements=st.sampled_from([0.0, 0.0, 5.0, 30.0])), st.integers(1, 9))
def test_keys_stay_between_the_curve_and_a_pixel_above_it(need: np.ndarray, radius: int) -> None:
    curve = eased(need, radius)
    ceiling = np.where(curve > 0.0, curve + KEY_TOLERANCE_PX, 0.0)
    keys = upper_envelope(curve, ceiling)
    frames = [frame for frame, _ in keys]
    assert frames == sorted(set(frames))
    line = np.stack([np.interp(np.arange(200), frames, [value[k] for _, value in keys]) for k in range(2)], axis=1)
    assert (line >= curve - 1e-9).all()
    assert (line <= ceiling + 1e-9).all()


def test_an_object_at_minus_1_2_percent_of_2048_px_gets_its_25_columns_and_the_margin() -> None:
    # References, the window: 24.576 px (computed); the margin is the project's own.
    (key,) = _windows(table(lambda i: frame(left=rows(-1.2)), 48))
    assert key.left_px == pytest.approx((24.576 + WINDOW_MARGIN_PCT * PX,) * 2, abs=0.011)
    assert key.left_px[0] >= 24.576 + WINDOW_MARGIN_PCT * PX - 1e-6
    assert key.right_px == (0.0, 0.0)
    (key,) = _windows(table(lambda i: frame(right=rows(-1.2)), 48))
    assert key.left_px == (0.0, 0.0)
    assert key.right_px[0] >= 24.576


def _lower(share: float, pct: float) -> tuple[float, ...]:
    """Edge parallax of an object that fills the lowest ``share`` of the picture."""
    bands = round(share * EDGE_BANDS)
    return (NAN,) * (EDGE_BANDS - bands) + (pct,) * bands


def test_an_object_in_the_lowest_quarter_gives_a_tilted_window() -> None:
    (key,) = _windows(table(lambda i: frame(left=_lower(0.25, -1.2)), 48))
    top, bottom = key.left_px
    need = 24.576 + WINDOW_MARGIN_PCT * PX
    assert top + (bottom - top) * 0.75 >= need - 1e-6
    assert (top + bottom) / 2.0 <= need * (1.0 - TILT_SAVING)


@pytest.mark.parametrize("share", [0.5, 0.75, 1.0])
def test_a_window_stays_upright_where_a_tilt_would_hide_no_less(share: float) -> None:
    # A line over an object that reaches the middle is as wide there as the upright one: no tilt can hide less.
    for pct in (-0.4, -1.2, -2.5):
        (key,) = _windows(table(lambda i, pct=pct: frame(left=_lower(share, pct)), 48))
        assert key.left_px[0] == key.left_px[1]
        assert key.left_px[0] == pytest.approx(-pct * PX + WINDOW_MARGIN_PCT * PX, abs=0.011)


@pytest.mark.parametrize(("bands", "saving"), [(8, 0.25), (9, 1 / 6), (10, 0.1), (11, 0.0)])
def test_a_tilt_is_taken_from_a_saving_of_a_tenth_on(bands: int, saving: float) -> None:
    # The need is 1 from b bands of 24 above the bottom on. Held at 1.5 at the bottom, the line over it is 1.5 - 12/b at
    # the top, so it saves 6/b - 1/2: 1/4, 1/6, 1/10, 1/22 (computed); the last is less than a tenth, so upright.
    (key,) = _windows(table(lambda i: frame(left=_lower(bands / EDGE_BANDS, -1.2)), 48))
    need = 24.576 + WINDOW_MARGIN_PCT * PX
    assert 1.0 - sum(key.left_px) / 2.0 / need == pytest.approx(saving, abs=1e-3)


def test_noise_in_the_last_digit_of_a_table_does_not_change_the_plan() -> None:
    rng = np.random.default_rng(11)
    for share in (0.25, 0.375, 0.5, 0.625):
        plain = table(lambda i, share=share: frame(left=_lower(share, -1.2 - 0.01 * (i % 7))), 48)
        noisy = replace(
            plain,
            frames=tuple(
                replace(f, left_rows_pct=tuple((np.array(f.left_rows_pct) * (1 + rng.normal(0, 1e-15))).tolist()))
                for f in plain.frames
            ),
        )
        assert _windows(noisy) == _windows(plain)


@pytest.mark.parametrize("fill", ["hide", "crop"])
@pytest.mark.parametrize("side", ["left", "right"])
def test_no_end_of_a_window_is_narrower_than_the_columns_laid_bare_there(fill: Fill, side: str) -> None:
    # A HIT of -24 px lays 12 columns of the left eye bare at the left and 12 of the right eye at the right.
    moves = Moves(np.full(100, 12.0), np.full(100, -12.0), 1.0, fill)
    lower = _lower(0.25, -1.2)
    made = table(lambda i: frame(**{side: lower}) if 40 <= i < 60 else frame(), 100)
    shot = ShotPlan("sh001", 0, 99, window=_windows(made, moves))
    curve = window_px_at(shot, np.arange(100))
    own, other = (curve[:, :2], curve[:, 2:]) if side == "left" else (curve[:, 2:], curve[:, :2])
    assert own.min() >= 12.0
    assert own[50, 1] > own[50, 0]
    # Where nothing is needed it lies on the bare columns, but for the pixel that keys may be wider.
    assert own[0].max() <= 12.0 + KEY_TOLERANCE_PX
    assert not other.any()


def test_nothing_in_front_needs_no_window() -> None:
    assert _windows(table(lambda i: frame(left=rows(0.4), right=rows()), 48)) == ()
    assert _windows(table(lambda i: frame(left=rows(-EDGE_TOLERANCE_PCT + 0.01)), 48)) == ()


def test_a_wild_frame_makes_no_window() -> None:
    assert _windows(table(lambda i: frame(left=rows(-3.0)) if i == 20 else frame(left=rows(0.1)), 48)) == ()
    assert _windows(table(lambda i: frame(left=rows(-3.0)) if i in (20, 21) else frame(), 48)) == ()


def test_three_frames_make_a_window() -> None:
    assert _windows(table(lambda i: frame(left=rows(-3.0)) if 20 <= i < 23 else frame(), 48)) != ()


def test_a_window_comes_before_its_need_and_goes_after_it() -> None:
    curve = _curve(table(lambda i: frame(left=rows(-1.2)) if 40 <= i < 60 else frame(left=rows(0.1)), 100))
    need = 24.576 + WINDOW_MARGIN_PCT * PX
    assert (curve[40:60, :2] >= need - 1e-6).all()
    reach = 2 * WINDOW_EASE_FRAMES
    assert not curve[: 40 - reach].any()
    assert not curve[60 + reach :].any()
    assert (np.abs(np.diff(curve[:, 0])) < need / WINDOW_EASE_FRAMES).all()
    assert (np.diff(curve[40 - reach : 41, 0]) >= 0.0).all()


def test_a_window_is_up_from_the_first_frame_of_a_shot_where_it_is_needed_there() -> None:
    curve = _curve(table(lambda i: frame(left=rows(-1.2)) if i < 10 else frame(), 100))
    assert curve[0, 0] >= 24.576
    assert curve[-1, 0] == 0.0


def test_easing_takes_as_long_at_other_rates() -> None:
    assert ease_radius(Fraction(24)) == WINDOW_EASE_FRAMES
    assert ease_radius(Fraction(48)) == 2 * WINDOW_EASE_FRAMES
    assert ease_radius(Fraction(1)) == 1


def test_no_window_is_wider_than_allowed() -> None:
    (key,) = _windows(table(lambda i: frame(left=rows(-9.0)), 48))
    assert key.left_px == pytest.approx((WINDOW_MAX_PCT * PX,) * 2, abs=0.011)


def test_a_held_shot_has_one_key_and_a_walk_has_few() -> None:
    assert len(_windows(table(lambda i: frame(left=rows(-1.2)), 500))) == 1
    drift = table(lambda i: frame(left=rows(-0.5 - i * 0.004)), 500)
    assert len(_windows(drift)) < 8


def test_columns_hidden_already_by_the_source_or_the_move_are_part_of_the_window() -> None:
    black = 1.2 * PX
    hidden = table(lambda i: frame(left=rows(-1.2), left_hidden=(black, black, 0.0, 0.0)), 48)
    assert _windows(hidden) == ()
    # A HIT of +24 px lays 12 columns of the right eye bare at the left: content at -1.2 % then needs its own
    # -24.576 + 24 px, and 12 more because the edge went back.
    moves = Moves(np.full(48, -12.0), np.full(48, 12.0), 1.0, "hide")
    (key,) = _windows(table(lambda i: frame(left=rows(-1.2)), 48), moves)
    assert key.left_px[0] == pytest.approx(12.576 + WINDOW_MARGIN_PCT * PX, abs=0.011)


def test_a_window_in_the_source_that_is_too_narrow_is_widened_from_the_frame_edge() -> None:
    made = table(lambda i: frame(left=rows(-1.2), left_hidden=(10.0, 10.0, 0.0, 0.0)), 48)
    (key,) = _windows(made)
    assert key.left_px[0] == pytest.approx(24.576 + WINDOW_MARGIN_PCT * PX, abs=0.011)
