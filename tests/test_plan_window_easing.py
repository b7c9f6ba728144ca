"""Lines, eased curves and keys of windows, and what is too brief for one, each on its own."""

from __future__ import annotations

import itertools
from dataclasses import replace
from fractions import Fraction

import numpy as np
import pytest
from hypothesis import given
from hypothesis import settings as examples
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays
from plan_tables import CLIP

from postfix.measure.table import EDGE_BANDS, NAN
from postfix.plan.geometry import BAND_BORDERS
from postfix.plan.settings import WindowSettings
from postfix.plan.window_brief import lasting
from postfix.plan.window_easing import Easing, eased, easing_of, running_max
from postfix.plan.window_keys import KEY_TOLERANCE_PX, upper_envelope
from postfix.plan.window_lines import fit_lines


def _points(need: list[float]) -> np.ndarray:
    """Need at the bands' borders, from the need of the bands; 0 where there is none."""
    known = np.nan_to_num(np.array(need, float))
    return np.maximum(np.append(known, 0.0), np.insert(known, 0, 0.0))


def _fit(need: list[float], cap: float = 1e6) -> tuple[float, float]:
    top, bottom = fit_lines(BAND_BORDERS, _points(need)[None], cap)[0]
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


@examples(max_examples=60, deadline=None)
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


EASINGS = st.builds(Easing, st.floats(0.2, 20.0), st.integers(0, 12), st.integers(0, 9))
NEEDS = st.integers(1, 70).flatmap(
    lambda count: arrays(float, (count, 2), elements=st.floats(0, 80) | st.sampled_from([0.0, 0.0, 30.0]))
)


@examples(max_examples=150, deadline=None)
@given(NEEDS, EASINGS)
def test_an_eased_curve_covers_and_keeps_the_limits_on_speed_and_easing(curve: np.ndarray, easing: Easing) -> None:
    smooth = eased(curve, easing)
    assert (smooth >= curve - 1e-9).all()
    assert smooth.max() <= curve.max() + 1e-9
    assert (np.abs(np.diff(smooth, axis=0)) <= easing.speed_px + 1e-9).all()
    if easing.ease_frames:
        assert (np.abs(np.diff(smooth, 2, axis=0)) <= easing.speed_px / easing.ease_frames * (1.0 + 2e-6)).all()


@examples(max_examples=40, deadline=None)
@given(NEEDS, st.integers(0, 9), st.integers(0, 9))
def test_the_running_most_is_that_of_the_frames_around(curve: np.ndarray, before: int, after: int) -> None:
    plain = [curve[max(0, t - before) : t + after + 1].max(axis=0) for t in range(len(curve))]
    assert (running_max(curve, before, after) == np.array(plain)).all()


@examples(max_examples=40, deadline=None)
@given(arrays(float, (200, 2), elements=st.sampled_from([0.0, 0.0, 5.0, 30.0])), EASINGS)
def test_keys_stay_between_the_curve_and_a_pixel_above_it(need: np.ndarray, easing: Easing) -> None:
    curve = eased(need, easing)
    ceiling = np.where(curve > 0.0, curve + KEY_TOLERANCE_PX, 0.0)
    keys = upper_envelope(curve, ceiling)
    frames = [frame for frame, _ in keys]
    assert frames == sorted(set(frames))
    line = np.stack([np.interp(np.arange(200), frames, [value[k] for _, value in keys]) for k in range(2)], axis=1)
    assert (line >= curve - 1e-9).all()
    assert (line <= ceiling + 1e-9).all()


def test_the_seconds_and_percent_of_the_settings_become_frames_and_pixels() -> None:
    at_24 = easing_of(WindowSettings(speed_pct_per_s=3.0, ease_s=0.125, hold_s=0.5), CLIP)
    assert at_24 == Easing(speed_px=0.03 * 2048 / 24, ease_frames=3, hold_radius=6)
    at_48 = easing_of(WindowSettings(speed_pct_per_s=3.0, ease_s=0.125, hold_s=0.5), replace(CLIP, rate=Fraction(48)))
    assert at_48 == Easing(speed_px=0.03 * 2048 / 48, ease_frames=6, hold_radius=12)
    assert at_48.acceleration_px == pytest.approx(at_24.acceleration_px / 4)
    none = easing_of(WindowSettings(ease_s=0.0, hold_s=0.0), CLIP)
    assert (none.ease_frames, none.hold_radius) == (0, 0)
    for hold_s, rate in itertools.product((0.1, 0.25, 0.5, 0.71), (Fraction(24), Fraction(25), Fraction(60000, 1001))):
        easing = easing_of(WindowSettings(hold_s=hold_s), replace(CLIP, rate=rate))
        assert 2 * easing.hold_radius + 1 >= hold_s * rate
        assert 2 * easing.hold_radius - 1 < hold_s * rate


@examples(max_examples=60, deadline=None)
@given(arrays(bool, st.integers(1, 60)), st.floats(0, 1), st.floats(0, 1))
def test_no_stretch_that_lasts_is_dropped_and_none_appears(in_front: np.ndarray, brief_s: float, hold_s: float) -> None:
    kept = lasting(in_front, Fraction(24), WindowSettings(brief_s=brief_s, hold_s=hold_s))
    assert not (kept & ~in_front).any()
    for value, run in itertools.groupby(range(len(in_front)), key=lambda i: bool(in_front[i])):
        frames = list(run)
        if value and len(frames) >= brief_s * 24:
            assert kept[frames].all()


def test_a_long_shot_is_fitted_like_a_short_one() -> None:
    points = np.abs(np.random.default_rng(2).normal(0.0, 20.0, (5000, EDGE_BANDS + 1)))
    whole = fit_lines(BAND_BORDERS, points, 1e6)
    assert (whole[4000:4010] == fit_lines(BAND_BORDERS, points[4000:4010], 1e6)).all()


def test_of_lines_that_hide_as_much_the_one_nearest_to_upright_is_taken() -> None:
    assert _fit([NAN] * 8 + [20.0] * 8 + [NAN] * 8) == pytest.approx((20.0, 20.0))
    assert _fit([10.0] * 12 + [20.0] * 12) == pytest.approx((20.0, 20.0))
