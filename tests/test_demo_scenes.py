"""Made-up scenes: their geometry against closed forms, their pictures against their own exact parallax.

The template search below is this file's own, in plain numpy, so that it shares nothing with the measuring stage.
"""

from __future__ import annotations

import math
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace

import numpy as np
import pytest

from postfix.demo.camera import Rig, rig_with_range
from postfix.demo.film import FILM, SIZE_PX, film_frame, film_length
from postfix.demo.layers import Layer, layered_scene
from postfix.demo.scenes import Scene
from postfix.demo.truth import Truth, summarise

SHOTS = {shot.name: shot for shot in FILM}


# --- geometry ---------------------------------------------------------------------------------------------------


def lens_35mm() -> Rig:
    return Rig(2048, 1080, focal_mm=35.0, sensor_width_mm=24.89, interaxial_mm=65.0, convergence_m=3.0)


def pixel_of(rig: Rig, eye: str, point_m: tuple[float, float, float]) -> np.ndarray:
    seen = rig.projection(eye) @ np.array([*point_m, 1.0])
    return seen[:2] / seen[2]


def test_a_converged_pair_has_the_parallax_of_the_shooting_formula() -> None:
    # P = f·B·(1/Zc − 1/Z); f 35 mm, B 65 mm, Zc 3 m, sensor 24.89 mm, 2048 px: total HIT 62.397 px.
    # Source: standard pinhole formula, from memory; figures computed apart from the project.
    rig = lens_35mm()
    assert rig.hit_px == pytest.approx(62.397, abs=5e-4)
    assert rig.parallax_px(math.inf) == pytest.approx(62.397, abs=5e-4)
    assert rig.parallax_px(1.5) == pytest.approx(-62.397, abs=5e-4)
    assert rig.parallax_px(3.0) == pytest.approx(0.0, abs=1e-9)


def test_projected_points_show_that_parallax_and_no_keystone() -> None:
    # The same figures, now from where each eye puts a point (computed).
    rig = lens_35mm()
    for depth_m, parallax_px in ((1.5, -62.397), (3.0, 0.0), (1e9, 62.397)):
        for x_share, y_share in ((0.0, 0.0), (0.2, -0.15), (-0.3, 0.1)):
            point = (x_share * depth_m, y_share * depth_m, depth_m)
            left, right = pixel_of(rig, "left", point), pixel_of(rig, "right", point)
            assert right[0] - left[0] == pytest.approx(parallax_px, abs=1e-3)
            assert right[1] == pytest.approx(left[1], abs=1e-9)


@pytest.mark.parametrize("parallax_pct", [-10.0, -2.0, 0.0, 0.9])
def test_the_depth_for_a_parallax_gives_that_parallax_back(parallax_pct: float) -> None:
    rig = rig_with_range(960, 540, infinity_pct=1.0, convergence_m=3.0)
    assert rig.parallax_px(math.inf) == pytest.approx(9.6)
    depth_m = 1.0 / rig.inverse_depth(parallax_pct)
    assert rig.parallax_px(depth_m) == pytest.approx(parallax_pct * 9.6)


# --- truth against the pictures ---------------------------------------------------------------------------------


STEPS = 8
"""Positions per pixel at which the right eye is searched."""


def finer_rows(rows: np.ndarray) -> np.ndarray:
    """Rows resampled to :data:`STEPS` positions per pixel by padding their spectrum."""
    count = rows.shape[1]
    return np.fft.irfft(np.fft.rfft(rows, axis=1), count * STEPS, axis=1) * STEPS


def template_parallax(left: np.ndarray, right: np.ndarray, x: int, y: int, around: float) -> float:
    """Parallax at (x, y) of the left eye by normalised cross-correlation, searched within 5 px of ``around``."""
    half_w, half_h, reach = 16, 4, 5
    rows = slice(y - half_h, y + half_h + 1)
    patch = left[rows, x - half_w : x + half_w + 1].mean(axis=2, dtype=np.float64)
    patch = (patch - patch.mean()) / patch.std()
    fine = finer_rows(right[rows].mean(axis=2, dtype=np.float64))
    shifts = np.arange((round(around) - reach) * STEPS, (round(around) + reach) * STEPS + 1)
    scores = []
    for shift in shifts:
        first = (x - half_w) * STEPS + shift
        other = fine[:, first : first + 2 * half_w * STEPS + 1 : STEPS]
        scores.append(float((patch * (other - other.mean()) / other.std()).mean()))
    best = int(np.argmax(scores))
    assert 0 < best < len(scores) - 1, "the best match lies at the border of the search"
    before, here, after = scores[best - 1 : best + 2]
    assert here > 0.8
    return float(shifts[best] + 0.5 * (before - after) / (before - 2.0 * here + after)) / STEPS


LEAST_CONTRAST = 0.008
"""Mean step from pixel to pixel along a row, share of full scale: twice the deviation of the grain."""


def textured_points(truth: Truth, left: np.ndarray, count: int) -> list[tuple[int, int]]:
    """Points of the left eye, well spread, whose patch has texture and one parallax and is seen by both eyes."""
    height, width = truth.left_seen.shape
    grey = left.mean(axis=2)
    points = []
    for y in range(24, height - 24, 8):
        for x in range(40, width - 40, 8):
            part = (slice(y - 5, y + 6), slice(x - 18, x + 19))
            surface = truth.left_surface[part]
            target = x + truth.left_parallax_px[y, x]
            enough_room = 24 < target < width - 24
            if enough_room and surface.min() == surface.max() and truth.left_seen[part].all():
                contrast = float(np.abs(np.diff(grey[part], axis=1)).mean())
                even = np.ptp(truth.left_parallax_px[part]) < 0.4
                if even and contrast > LEAST_CONTRAST:
                    points.append((contrast, int(surface[0, 0]), x, y))
    chosen = []
    for surface_number in sorted({p[1] for p in points}):
        own = sorted((p for p in points if p[1] == surface_number), reverse=True)
        chosen += [(x, y) for _, _, x, y in own[:: max(1, len(own) // 3)][:3]]
    return chosen[:: max(1, len(chosen) // count)][:count]


def mixed_scene(width: int = 960, height: int = 540, **settings: float) -> Scene:
    layers = [
        Layer(2.0, seed=1),
        Layer(-1.0, (0.30, 0.15, 0.58, 0.60), 2, "disc"),
        Layer(-2.0, (0.62, 0.10, 0.86, 0.90), 4, slant_x_pct=0.2),
        Layer(-4.0, (-0.10, 0.50, 0.12, 1.10), 3),
    ]
    return layered_scene(width, height, layers, ground=(0.5, -0.3), **settings)


def test_template_search_finds_the_true_parallax_of_layers() -> None:
    scene = mixed_scene()
    left, right = scene.render(0)
    truth = scene.truth(0)
    points = textured_points(truth, left, 12)
    assert len(points) >= 10
    for x, y in points:
        true = float(truth.left_parallax_px[y, x])
        assert template_parallax(left, right, x, y, true) == pytest.approx(true, abs=0.1), (x, y)


@pytest.mark.parametrize("parallax_pct", [-10.0, -7.37, 3.21, 10.0])
def test_template_search_finds_extreme_and_fractional_parallax(parallax_pct: float) -> None:
    scene = layered_scene(640, 360, [Layer(parallax_pct, (-0.5, -0.5, 1.5, 1.5), seed=5)])
    left, right = scene.render(0)
    true = parallax_pct * 6.4
    for x, y in ((200, 90), (320, 180), (430, 280)):
        assert template_parallax(left, right, x, y, true) == pytest.approx(true, abs=0.1)


@pytest.mark.parametrize("name", [shot.name for shot in FILM])
def test_template_search_finds_the_true_parallax_of_the_film(name: str) -> None:
    shot = SHOTS[name]
    frame = shot.frames - 3
    left, right = shot.scene.render(frame)
    truth = shot.scene.truth(frame)
    points = textured_points(truth, left, 10)
    assert len(points) >= 4
    for x, y in points:
        true = float(truth.left_parallax_px[y, x])
        assert template_parallax(left, right, x, y, true) == pytest.approx(true, abs=0.1), (x, y)


def across(values: np.ndarray, x: np.ndarray) -> np.ndarray:
    """Rows of ``values`` read at fractional columns ``x``, nearest pixel."""
    columns = np.clip(np.rint(x).astype(int), 0, values.shape[1] - 1)
    return np.take_along_axis(values, columns, axis=1)


@pytest.mark.parametrize("name", ["layers", "line-spool", "beach", "lane"])
def test_each_eyes_map_is_the_other_eyes_map_where_both_see(name: str) -> None:
    scene, frame = (mixed_scene(), 0) if name == "layers" else (SHOTS[name].scene, 7)
    truth = scene.truth(frame)
    columns = np.arange(truth.left_seen.shape[1])[None, :]
    for own, other, seen, mine, theirs, sign in (
        (truth.left_parallax_px, truth.right_parallax_px, truth.left_seen, truth.left_surface, truth.right_surface, 1),
        (
            truth.right_parallax_px,
            truth.left_parallax_px,
            truth.right_seen,
            truth.right_surface,
            truth.left_surface,
            -1,
        ),
    ):
        partner = columns + sign * own
        same = across(theirs, partner) == mine
        # Rounding to a whole pixel may step over a surface's outline, nowhere else.
        assert (same & seen).sum() / seen.sum() > 0.985
        difference = np.abs(across(other, partner) - own)[same & seen]
        assert difference.max() < 0.05
        # What only one eye sees is hidden behind something nearer, or outside the other eye's frame.
        hidden = ~seen & (partner > 1.0) & (partner < columns.size - 2)
        nearer = across(other, partner) < own + 1e-3
        assert (hidden & nearer).sum() >= 0.9 * hidden.sum()


@pytest.mark.parametrize("name", [shot.name for shot in FILM])
def test_nothing_in_the_film_covers_what_is_nearer(name: str) -> None:
    shot = SHOTS[name]
    for frame in (0, shot.frames - 1):
        for eye in ("left", "right"):
            assert shot.scene.out_of_order(frame, eye) < 0.0005
        assert np.isfinite(shot.scene.truth(frame).left_parallax_px).all()


def test_a_wrong_order_is_told() -> None:
    scene = layered_scene(320, 180, [Layer(-2.0), Layer(1.0, (0.2, 0.2, 0.8, 0.8))])
    assert scene.out_of_order(0) == pytest.approx(0.36, abs=0.02)


def test_hidden_strips_have_the_width_of_the_parallax_step() -> None:
    # A box at −2 % before a backdrop at +1 % hides a strip of 3 % of the width beside it: at its left in the left eye.
    # At the frame edges the backdrop at +1 % loses 1 % to the other eye's frame (computed).
    scene = layered_scene(1000, 200, [Layer(1.0, seed=1), Layer(-2.0, (0.4, -0.2, 0.6, 1.2), 2)], grain=0.0)
    truth = scene.truth(0)
    left_row, right_row = truth.left_seen[100], truth.right_seen[100]
    assert np.flatnonzero(~left_row).tolist() == [*range(380, 410), *range(990, 1000)]
    assert np.flatnonzero(~right_row).tolist() == [*range(0, 10), *range(590, 620)]


# --- summary figures --------------------------------------------------------------------------------------------


def test_figures_follow_the_definitions_of_the_table() -> None:
    # 1000 pixels, 200 wide: percentiles and extremes worked out by hand (computed).
    left = np.zeros((5, 200), np.float32)
    left[0, :2] = -8.0
    left[1, 100:150] = 4.0
    left[2, -3:] = -2.0
    seen = np.ones(left.shape, bool)
    right = np.zeros_like(left)
    right[3, :2] = -6.0
    figures = summarise(left, right, seen, seen)
    assert (figures.nearest_pct, figures.farthest_pct) == (-4.0, 2.0)
    assert figures.near_pct == pytest.approx(0.0)
    assert figures.far_pct == pytest.approx(2.0)
    assert figures.median_pct == 0.0
    assert figures.left_edge_pct == -3.0
    assert figures.right_edge_pct == -1.0


def test_what_no_one_can_measure_is_no_number() -> None:
    maps = np.full((4, 50), 1.0, np.float32)
    nothing = np.zeros(maps.shape, bool)
    figures = summarise(maps, maps, nothing, nothing)
    assert all(math.isnan(value) for value in vars(figures).values())


def test_an_edge_behind_the_screen_by_more_than_its_columns_has_no_edge_figure() -> None:
    truth = layered_scene(400, 100, [Layer(2.0)]).truth(0)
    assert math.isnan(truth.summary.left_edge_pct)
    assert math.isnan(truth.summary.right_edge_pct)


# --- rendering --------------------------------------------------------------------------------------------------


def test_frames_are_float_pictures_with_more_than_eight_bits() -> None:
    left, right = mixed_scene(grain=0.0).render(0)
    assert left.shape == right.shape == (540, 960, 3)
    assert left.dtype == np.float32
    assert 0.0 <= left.min() < left.max() <= 1.0
    assert np.unique(np.rint(left[..., 1] * 1023)).size > 600


def test_a_frame_is_the_same_whenever_and_wherever_it_is_drawn() -> None:
    first = mixed_scene(480, 270)
    expected = [first.render(frame) for frame in range(4)]
    scene, order = mixed_scene(480, 270), [3, 2, 1, 0, 0, 1, 2, 3]
    with ThreadPoolExecutor(4) as pool:
        again = list(pool.map(scene.render, order))
    for frame, pair in zip(order, again):
        for eye in (0, 1):
            assert np.array_equal(pair[eye], expected[frame][eye])


def test_a_shot_asked_for_from_several_threads_is_drawn_once() -> None:
    drawn = []
    shot = replace(SHOTS["title"], name="counted", build=lambda: drawn.append(1) or mixed_scene(96, 54))
    with ThreadPoolExecutor(4) as pool:
        scenes = list(pool.map(lambda _: shot.scene, range(8)))
    assert len(drawn) == 1
    assert all(scene is scenes[0] for scene in scenes)


def test_grain_differs_between_frames_and_eyes_and_has_the_strength_asked_for() -> None:
    clean = mixed_scene(grain=0.0)
    grainy = replace(clean, grain=0.004)
    noise = [np.stack(grainy.render(f)) - np.stack(clean.render(f)) for f in (0, 1)]
    inner = (slice(None), slice(100, 400), slice(300, 500))
    parts = [noise[0][0][inner[1:]], noise[0][1][inner[1:]], noise[1][0][inner[1:]]]
    for part in parts:
        assert part.std() == pytest.approx(0.004, rel=0.03)
    for one, other in ((0, 1), (0, 2), (1, 2)):
        assert abs(np.corrcoef(parts[one].ravel(), parts[other].ravel())[0, 1]) < 0.02


# --- the film ---------------------------------------------------------------------------------------------------


def test_the_film_is_six_shots_of_about_eight_seconds() -> None:
    assert [shot.name for shot in FILM] == ["line-spool", "beach", "kite", "lane", "push-in", "title"]
    assert 180 <= film_length() <= 200
    assert SIZE_PX == (960, 540)
    assert film_frame(0) == (FILM[0], 0)
    assert film_frame(FILM[0].frames) == (FILM[1], 0)
    assert film_frame(film_length() - 1) == (FILM[-1], FILM[-1].frames - 1)
    for outside in (-1, film_length()):
        with pytest.raises(IndexError, match="frame"):
            film_frame(outside)


def figures_of(name: str, frame: int) -> Truth:
    return SHOTS[name].scene.truth(frame)


NO_OFFENCE_PCT = -0.05
"""Content at an edge where no fault is planted lies at or behind the screen, or this little in front."""


def test_the_spool_is_cut_by_the_left_edge_in_the_lower_rows() -> None:
    for frame in (0, 16, 31):
        truth = figures_of("line-spool", frame)
        rows = truth.left_edge_rows_pct
        assert truth.summary.left_edge_pct == pytest.approx(-1.4, abs=0.01)
        assert (rows[:216] >= NO_OFFENCE_PCT).all()
        assert (rows[230:] < -1.0).all()
        assert truth.summary.right_edge_pct >= NO_OFFENCE_PCT
        assert truth.summary.near_pct == pytest.approx(-1.4, abs=0.01)
        assert truth.summary.far_pct == pytest.approx(0.2, abs=0.01)


def test_the_beach_ends_in_a_horizon_too_far_apart() -> None:
    seen = []
    for frame in (0, 18, 35):
        truth = figures_of("beach", frame)
        assert truth.summary.far_pct == pytest.approx(1.6, abs=0.01)
        assert truth.summary.near_pct == pytest.approx(-0.1, abs=0.02)
        assert truth.summary.left_edge_pct >= NO_OFFENCE_PCT
        assert truth.summary.right_edge_pct >= NO_OFFENCE_PCT
        seen.append(SHOTS["beach"].scene.render(frame)[0])
    assert np.abs(seen[0] - seen[2]).mean() > 0.02  # the camera pans


def test_the_kite_leaves_by_the_right_edge_late_in_the_shot() -> None:
    edges = [figures_of("kite", frame).summary.right_edge_pct for frame in range(0, 32)]
    assert min(edges[:18]) >= NO_OFFENCE_PCT
    assert all(edge == pytest.approx(-1.3, abs=0.01) for edge in edges[22:])
    last = figures_of("kite", 31)
    assert last.summary.left_edge_pct >= NO_OFFENCE_PCT
    assert last.summary.far_pct == pytest.approx(0.3, abs=0.01)
    assert last.summary.near_pct == pytest.approx(-1.3, abs=0.01)


def test_banners_hang_in_front_at_both_edges_of_the_lane() -> None:
    for frame in (0, 10, 31):
        truth = figures_of("lane", frame)
        assert truth.summary.left_edge_pct == pytest.approx(-1.0, abs=0.01)
        assert truth.summary.right_edge_pct == pytest.approx(-1.3, abs=0.01)
        assert truth.summary.far_pct == pytest.approx(0.3, abs=0.01)
        assert (truth.left_edge_rows_pct[:280] < -0.95).all()
        assert np.nanmin(truth.left_edge_rows_pct[340:]) >= NO_OFFENCE_PCT
        assert (truth.right_edge_rows_pct < -1.25).all()


def test_the_push_in_brings_the_table_nearer_and_keeps_the_wall() -> None:
    near = [figures_of("push-in", frame).summary.near_pct for frame in (0, 13, 26, 39)]
    assert near[0] == pytest.approx(-0.48, abs=0.02)
    assert near[-1] == pytest.approx(-1.28, abs=0.02)
    assert sorted(near, reverse=True) == near
    for frame in (0, 39):
        figures = figures_of("push-in", frame).summary
        assert figures.far_pct == pytest.approx(0.31, abs=0.02)
        assert min(figures.left_edge_pct, figures.right_edge_pct) >= NO_OFFENCE_PCT


def test_the_title_has_nothing_to_correct() -> None:
    figures = figures_of("title", 12).summary
    assert figures.near_pct == pytest.approx(-0.3, abs=0.01)
    assert figures.far_pct == pytest.approx(0.1, abs=0.01)
    assert min(figures.left_edge_pct, figures.right_edge_pct) >= NO_OFFENCE_PCT
