"""Where near and far are: boxes in the left eye against scenes in which every pixel's parallax is exact (computed)."""

import numpy as np
import pytest

from postfix.demo.film import FILM
from postfix.demo.layers import Layer, layered_scene
from postfix.measure import measure_pair
from postfix.measure.where import end_boxes

WIDTH, HEIGHT = 960, 540
LEAST_OVERLAP = 0.5
SAME_PCT = 0.05
ROUNDING_PCT = 0.01


def box_around(mask):
    rows, columns = np.nonzero(mask)
    return columns.min(), rows.min(), np.ptp(columns) + 1, np.ptp(rows) + 1


def overlap(one, other):
    """Shared area over joined area of two boxes."""
    starts = np.maximum(one[:2], other[:2])
    ends = np.minimum(np.add(one[:2], one[2:]), np.add(other[:2], other[2:]))
    shared = np.prod(np.maximum(ends - starts, 0))
    return shared / (np.prod(one[2:]) + np.prod(other[2:]) - shared)


def measured(scene, frame=0):
    left, right = (np.asarray(eye, np.float32) for eye in scene.render(frame))
    return measure_pair(left, right)


def parallax_pct(scene, frame=0):
    """Of every pixel of the left eye that the right one sees too; NaN elsewhere."""
    truth = scene.truth(frame)
    return np.where(truth.left_seen, truth.left_parallax_px * 100 / truth.left_parallax_px.shape[1], np.nan)


def inside(box, width=WIDTH, height=HEIGHT):
    x, y, w, h = box
    return x >= 0 and y >= 0 and w >= 1 and h >= 1 and x + w <= width and y + h <= height


def scene_of(seed):
    """Something near over something between over a backdrop; with an odd seed the backdrop shows through a gap only."""
    rng = np.random.default_rng(seed)
    far, near = rng.uniform(0.4, 2.0), rng.uniform(-3.0, -0.8)
    width, height = rng.uniform(0.12, 0.4), rng.uniform(0.18, 0.5)
    x, y = rng.uniform(0.0, 1.0 - width), rng.uniform(0.0, 1.0 - height)
    thing = Layer(near, (x, y, x + width, y + height), seed + 5, ("box", "disc")[seed // 2 % 2])
    if seed % 2:
        gap = rng.uniform(0.2, 0.6)
        walls = [
            Layer((near + far) / 2, (-0.2, -0.2, gap, 1.2), 8),
            Layer((near + far) / 2, (gap + 0.25, -0.2, 1.2, 1.2), 9),
        ]
    else:
        walls = [Layer((near + far) / 2, (0.1, 0.0, 0.7, 0.6), 8)]
    return layered_scene(WIDTH, HEIGHT, [Layer(far, seed=seed), *walls, thing], seed=seed), near, far


@pytest.mark.parametrize("seed", range(8))
def test_the_boxes_lie_over_the_nearest_and_the_farthest_thing(seed):
    scene, near, far = scene_of(seed)
    found, parallax = measured(scene), parallax_pct(scene)
    for box, truth in (
        (found.near_box, parallax <= near + SAME_PCT),
        (found.far_box, parallax >= far - SAME_PCT),
    ):
        assert truth.mean() > 0.02
        assert inside(box)
        assert all(type(value) is int for value in box)
        assert overlap(box, box_around(truth)) >= LEAST_OVERLAP


def test_of_two_things_at_one_depth_the_box_is_around_the_larger():
    small, large = Layer(-2.0, (0.1, 0.1, 0.25, 0.35), 3), Layer(-2.0, (0.6, 0.4, 0.9, 0.9), 4)
    scene = layered_scene(WIDTH, HEIGHT, [Layer(0.5), small, large])
    on_the_right = parallax_pct(scene) < -1.9
    on_the_right[:, : WIDTH // 2] = False
    assert overlap(measured(scene).near_box, box_around(on_the_right)) > 0.8


def test_a_flat_card_is_near_and_far_all_over():
    found = measured(layered_scene(WIDTH, HEIGHT, [Layer(0.0, seed=3)]))
    for box in (found.near_box, found.far_box):
        assert overlap(box, (0, 0, WIDTH, HEIGHT)) > 0.9


@pytest.mark.parametrize("shot", FILM, ids=lambda shot: shot.name)
def test_in_the_demo_film_nearly_all_that_is_nearest_and_farthest_lies_in_its_box(shot):
    frame = shot.frames // 2
    found, parallax = measured(shot.scene, frame), parallax_pct(shot.scene, frame)
    summary = shot.scene.truth(frame).summary
    for box, truth in (
        (found.near_box, parallax <= summary.near_pct + ROUNDING_PCT),
        (found.far_box, parallax >= summary.far_pct - ROUNDING_PCT),
    ):
        assert inside(box, parallax.shape[1], parallax.shape[0])
        x, y, width, height = box
        assert truth[y : y + height, x : x + width].sum() > 0.8 * truth.sum()


def test_where_no_figure_is_there_is_no_box():
    wall = np.full((HEIGHT, WIDTH), 0.5, np.float32)
    found = measure_pair(wall, wall + 0.1)
    assert np.isnan(found.near_pct)
    assert found.near_box == found.far_box == ()


def a_map(*parts):
    """A map at −1 px of 200×100 with other stretches in it: (parallax, rows, columns)."""
    parallax = np.full((100, 200), -1.0, np.float32)
    for value, rows, columns in parts:
        parallax[rows, columns] = value
    return parallax


def test_a_box_is_in_pixels_of_the_source():
    parallax = a_map((-4.0, np.s_[20:60], np.s_[50:100]))
    near, far = end_boxes(parallax, -2.0, np.nan, 1920, 960)
    assert far == ()
    assert near == pytest.approx((480, 192, 480, 384), abs=10)


def test_single_wrong_matches_and_holes_do_not_move_a_box():
    rng = np.random.default_rng(2)
    parallax = a_map((-4.0, np.s_[20:60], np.s_[50:100]))
    holes = rng.random(parallax.shape) < 0.2
    strays = (rng.integers(0, 100, 20), rng.integers(0, 200, 20))
    parallax[holes] = np.nan
    parallax[strays] = -4.0
    near, _ = end_boxes(parallax, -2.0, -0.5, 200, 100)
    assert near == pytest.approx((50, 20, 50, 40), abs=1)


def test_what_is_scattered_has_a_box_around_nearly_all_of_it():
    parallax = a_map(*((-4.0, np.s_[10:20], np.s_[x : x + 8]) for x in range(20, 180, 20)))
    near, _ = end_boxes(parallax, -2.0, -0.5, 200, 100)
    assert near == pytest.approx((20, 10, 148, 10), abs=7), "a twentieth of it may lie outside at each side"


def test_a_figure_that_the_map_does_not_hold_has_no_box():
    assert end_boxes(a_map((-4.0, 3, 3)), -2.0, 2.0, 200, 100) == ((), ())
    assert end_boxes(np.full((100, 200), np.nan, np.float32), -2.0, 2.0, 200, 100) == ((), ())
