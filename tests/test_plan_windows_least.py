"""Windows over objects drawn row by row: they cover every row, and hide little more than the least that could."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from plan_tables import CLIP
from window_scenes import PICTURE_ROWS, Scene, least_area_px, made_scene

from postfix.measure.table import EDGE_BANDS
from postfix.plan.figures import EDGE_TOLERANCE_PCT, unmoved
from postfix.plan.geometry import SIDES, Moves, hidden_px_at, window_px_at
from postfix.plan.model import ShotPlan
from postfix.plan.settings import Fill, WindowSettings
from postfix.plan.windows import windows_for

DEFAULTS = WindowSettings()
WIDE = WindowSettings(max_pct=25.0)  # wider than any need here
PX = CLIP.width_px / 100.0
ROWS = (np.arange(PICTURE_ROWS) + 0.5) / PICTURE_ROWS


def _window_px(scene: Scene, moves: Moves, settings: WindowSettings = DEFAULTS) -> np.ndarray:
    count = len(scene.left_px)
    keys = windows_for(scene.arrays(), moves, CLIP, 0, settings)
    return window_px_at(ShotPlan("sh001", 0, count - 1, window=keys), np.arange(count))


def _excess_px(scene: Scene, side_index: int, moves: Moves, window_px: np.ndarray) -> np.ndarray:
    """How far each row's object lies in front of the edge there, (n, rows), from what both eyes show."""
    parallax = scene.sides[side_index] + moves.hit_px[:, None]
    none = np.zeros((len(parallax), 4))
    own, opposite = hidden_px_at(none, SIDES[side_index], moves, CLIP.width_px, ROWS)
    top, bottom = window_px[:, 2 * side_index, None], window_px[:, 2 * side_index + 1, None]
    own = np.maximum(own, top + (bottom - top) * ROWS)
    return (opposite - own) - parallax


def _counts(excess_px: np.ndarray) -> np.ndarray:
    """Rows of bands in which anything is in front of the edge by more than the measurement can be off."""
    bands = np.fmax.reduce(excess_px.reshape(len(excess_px), EDGE_BANDS, -1), axis=2)
    return np.repeat(bands > EDGE_TOLERANCE_PCT * PX, PICTURE_ROWS // EDGE_BANDS, axis=1)


def _drifting_moves(rng: np.random.Generator, count: int, fill: Fill) -> Moves:
    """A HIT that stands, or goes slowly from one value to another, in whole pixels an eye."""
    start, end = rng.integers(-16, 17, 2) if rng.random() < 0.5 else np.repeat(rng.integers(-16, 17), 2)
    half = np.round(np.linspace(start, end, count))
    return Moves(-half, half, 1.0, fill)


@pytest.mark.parametrize("fill", ["hide", "crop"])
@pytest.mark.parametrize("settings", [WIDE, replace(WIDE, both_sides=True), replace(WIDE, tilt=False)])
def test_no_row_of_an_object_is_left_in_front_of_its_window(fill: Fill, settings: WindowSettings) -> None:
    rng = np.random.default_rng(101)
    covered = 0
    for _ in range(30):
        scene = made_scene(rng)
        moves = _drifting_moves(rng, len(scene.left_px), fill)
        window = _window_px(scene, moves, settings)
        for index in range(2):
            counts = _counts(_excess_px(scene, index, moves, np.zeros_like(window)))
            after = _excess_px(scene, index, moves, window)[counts]
            assert not (after > 1e-6).any()
            covered += int(np.isfinite(after).sum())
    assert covered > 50_000


@pytest.mark.parametrize(
    ("settings", "noise_px"),
    [
        (DEFAULTS, 0.0),
        (DEFAULTS, 0.4),
        (replace(DEFAULTS, hold_s=1.0), 0.4),
        (replace(DEFAULTS, ease_s=0.25), 0.4),
        (replace(DEFAULTS, speed_pct_per_s=2.0, ease_s=0.25), 0.0),
    ],
)
def test_windows_hide_at_most_a_quarter_more_than_the_least_possible(settings: WindowSettings, noise_px: float) -> None:
    rng = np.random.default_rng(77)
    ratios = []
    for _ in range(30):
        scene = made_scene(rng, both=False, noise_px=noise_px)
        least = least_area_px(scene.left_px, settings)
        window = _window_px(scene, unmoved(len(scene.left_px)), settings)
        assert not window[:, 2:].any()
        area = float(window[:, :2].mean(axis=1).sum())
        if least == 0.0:
            assert area == 0.0
        else:
            ratios.append(area / least)
    assert len(ratios) > 20
    assert min(ratios) >= 1.0 - 1e-6  # what kept fewer limits, or covered less, could be below
    assert max(ratios) <= 1.25
    assert np.mean(ratios) <= 1.065


def test_the_least_possible_of_a_standing_object_can_be_reckoned_by_hand() -> None:
    # 40 px over the whole edge in all of 24 frames: (40 + 2.048) px in each (computed). With the lowest quarter alone
    # the least line goes from 0 at the top over its upper end: 42.048 / 0.75 / 2 (computed).
    whole = np.full((24, PICTURE_ROWS), -40.0)
    assert least_area_px(whole, DEFAULTS) == pytest.approx(42.048 * 24)
    quarter = np.where(np.arange(PICTURE_ROWS) >= 180, whole, np.nan)
    assert least_area_px(quarter, DEFAULTS) == pytest.approx(42.048 / 1.5 * 24)


def test_windows_over_a_walk_past_the_edge_stay_within_speed() -> None:
    rng = np.random.default_rng(5)
    speed = DEFAULTS.speed_pct_per_s * PX / 24.0
    for _ in range(40):
        scene = made_scene(rng)
        window = _window_px(scene, _drifting_moves(rng, len(scene.left_px), "hide"))
        assert np.abs(np.diff(window, axis=0)).max(initial=0.0) <= speed + 0.011  # keys are rounded up to 0.01 px
