"""Measurement of made-up scenes whose parallax is exact by construction (computed), −4 % to +2 % at 960×540."""

import numpy as np
import pytest

from postfix.demo.layers import Layer, layered_scene
from postfix.measure import measure_pair


def scene_of(seed):
    """A backdrop, up to four textured things in front of it, every second time a floor; all drawn from one seed."""
    rng = np.random.default_rng(seed)
    far = rng.uniform(-1.0, 2.0)
    near = rng.uniform(-4.0, far - 0.5)
    things = []
    for number in range(rng.integers(1, 5)):
        parallax = near if number == 0 else rng.uniform(near, far)
        width, height = rng.uniform(0.12, 0.4), rng.uniform(0.2, 0.5)
        x, y = rng.uniform(-0.1, 1.1 - width), rng.uniform(-0.1, 1.1 - height)
        outline = ("box", "disc")[rng.integers(2)]
        box = (x, y, x + width, y + height)
        things.append(Layer(parallax, box, 100 * seed + number, outline, slant_x_pct=rng.uniform(-0.3, 0.3)))
    things.sort(key=lambda layer: -layer.parallax_pct)
    front = max(near, -1.0)
    ground = (far - 0.2, front) if seed % 2 and front < far - 0.2 else None
    return layered_scene(960, 540, [Layer(far, seed=seed), *things], ground=ground, seed=seed)


@pytest.mark.parametrize("seed", range(40, 52))
def test_near_far_and_edges_of_made_up_scenes(seed):
    scene = scene_of(seed)
    truth = scene.truth(0).summary
    left, right = (np.asarray(eye, np.float32) for eye in scene.render(0))
    found = measure_pair(left, right)
    assert found.near_pct == pytest.approx(truth.near_pct, abs=0.10)
    assert found.far_pct == pytest.approx(truth.far_pct, abs=0.10)
    for side in ("left_edge_pct", "right_edge_pct"):
        if truth_is_in_front(getattr(truth, side)):
            assert getattr(found, side) == pytest.approx(getattr(truth, side), abs=0.15), side
    assert found.confidence > 0.8


def truth_is_in_front(edge_pct):
    """Content behind the screen at an edge has no partner in its strip, or one only just; it cannot offend."""
    return np.isfinite(edge_pct) and edge_pct < 0.0


def test_a_flat_card_at_the_screen_measures_a_real_zero():
    scene = layered_scene(960, 540, [Layer(0.0, seed=3)])
    left, right = (np.asarray(eye, np.float32) for eye in scene.render(0))
    found = measure_pair(left, right)
    assert [found.near_pct, found.far_pct] == pytest.approx([0.0, 0.0], abs=0.1)
