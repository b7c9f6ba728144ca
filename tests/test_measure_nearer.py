"""How much of a frame lies nearer than each depth, and how large the largest thing there is; scenes made up, so that it
is known by construction (computed)."""

import numpy as np
import pytest
from test_measure_scenes import scene_of

from postfix.demo.layers import Layer, layered_scene
from postfix.measure import measure_pair, nearer
from postfix.measure.columns import columns_of
from postfix.measure.columns_csv import read_columns
from postfix.measure.table import NEARER_STEPS_PCT
from postfix.measure.table_csv import read_table, table_lines
from tests.plan_tables import frame, measurement

NAN = float("nan")
STEPS = list(NEARER_STEPS_PCT)


def a_map(*things, behind=1.0, height=216, width=384):
    """A dense map: each thing is (parallax_pct, x, y, width, height), shares of the picture."""
    pct = np.full((height, width), behind, np.float32)
    for parallax, x, y, w, h in things:
        pct[round(y * height) : round((y + h) * height), round(x * width) : round((x + w) * width)] = parallax
    return pct * np.float32(width / 100.0)


def nearer_than(parallax, near=NAN, median=NAN, far=NAN):
    """As the map has it, but for what is given."""
    return nearer.nearer_than(parallax, near, median, far)


def at(figures, step_pct):
    return figures[STEPS.index(step_pct)]


def test_steps_rise_and_the_screen_is_one_of_them():
    assert sorted(set(STEPS)) == STEPS
    assert 0.0 in STEPS


def test_a_thing_counts_from_the_first_step_behind_it():
    share, width, height = nearer_than(a_map((-1.1, 0.2, 0.3, 0.3, 0.5)))
    assert at(share, -1.25) == at(width, -1.25) == at(height, -1.25) == 0.0
    assert at(share, -1.0) == pytest.approx(15.0, abs=0.5)
    assert at(width, -1.0) == pytest.approx(30.0, abs=1.5)
    assert at(height, -1.0) == pytest.approx(50.0, abs=3.0)
    assert at(share, 1.0) == at(width, 1.0) == at(height, 1.0) == 100.0


def test_the_largest_of_two_things_is_told_and_both_count_in_the_share():
    share, width, _ = nearer_than(a_map((-1.1, 0.05, 0.2, 0.1, 0.5), (-1.1, 0.5, 0.2, 0.4, 0.5)))
    assert at(share, 0.0) == pytest.approx(25.0, abs=0.5)
    assert at(width, 0.0) == pytest.approx(40.0, abs=1.5)


def test_things_that_hang_together_are_one():
    _, width, _ = nearer_than(a_map((-1.1, 0.1, 0.2, 0.3, 0.5), (-0.6, 0.4, 0.2, 0.3, 0.5)))
    assert at(width, -1.0) == pytest.approx(30.0, abs=1.5)
    assert at(width, -0.5) == pytest.approx(60.0, abs=1.5)


def test_what_is_not_known_is_no_part_of_anything():
    there = a_map((-1.1, 0.2, 0.3, 0.3, 0.5))
    there[:, 200:] = np.nan
    share, width, _ = nearer_than(there)
    assert at(width, 0.0) == pytest.approx(30.0, abs=1.5)
    assert share[-1] == 100.0


def test_single_wrong_matches_are_no_thing():
    rng = np.random.default_rng(7)
    there = a_map((-1.1, 0.2, 0.3, 0.3, 0.5))
    there[rng.random(there.shape) < 0.002] = -8.0
    _, width, _ = nearer_than(there)
    assert at(width, 0.0) == pytest.approx(30.0, abs=2.0)


def test_the_map_is_held_to_what_full_size_pixels_say():
    # A wall at −0.26 % in the map that lies at −0.23 %, and a box at −2.08 % that lies at −2.02 %.
    there = a_map((-2.08, 0.2, 0.3, 0.3, 0.5), behind=-0.26)
    as_it_is, held = nearer_than(there), nearer_than(there, -2.02, -0.23, -0.22)
    assert at(as_it_is[0], -0.25) == 100.0
    assert at(held[0], -0.25) == pytest.approx(15.0, abs=0.5)
    assert at(held[1], -0.25) == pytest.approx(30.0, abs=1.5)
    assert at(held[0], -2.0) == pytest.approx(15.0, abs=0.5)


def test_figures_that_contradict_each_other_move_nothing_apart():
    share, _, _ = nearer_than(a_map((-1.1, 0.2, 0.3, 0.3, 0.5)), 0.5, 0.5, 0.4)
    assert list(share) == sorted(share)


@pytest.mark.parametrize("seed", range(40, 46))
def test_steps_agree_with_near_median_and_far_of_the_same_frame(seed):
    found = measure_pair(*(np.asarray(eye, np.float32) for eye in scene_of(seed).render(0)))
    for step, share in zip(STEPS, found.nearer_share_pct):
        for figure, below in ((found.near_pct, 1.0), (found.median_pct, 50.0), (found.far_pct, 99.0)):
            if step < figure - 0.01:
                assert share <= below + 0.5, (step, figure)
            if step > figure + 0.01:
                assert share >= below - 0.5, (step, figure)


@pytest.mark.parametrize(("x", "width", "height"), [(0.3, 0.25, 0.4), (0.1, 0.6, 0.5), (0.0, 0.45, 1.0)])
def test_a_card_in_a_made_up_scene_is_found_as_large_as_it_is(x, width, height):
    card = Layer(-1.5, (x, 0.5 - height / 2, x + width, 0.5 + height / 2), 11, "box")
    scene = layered_scene(960, 540, [Layer(0.8, seed=4), card])
    found = measure_pair(*(np.asarray(eye, np.float32) for eye in scene.render(0)))
    truth = scene.truth(0)
    nearer = (truth.left_parallax_px < 0.0) & truth.left_seen
    columns = np.flatnonzero(nearer.any(axis=0))
    assert at(found.nearer_share_pct, -0.25) == pytest.approx(100.0 * nearer.sum() / truth.left_seen.sum(), abs=1.5)
    # The side that the frame or the strip beside it takes away may be a map pixel or two off.
    assert at(found.nearer_width_pct, -0.25) == pytest.approx(100.0 * np.ptp(columns) / 960, abs=2.5)
    assert at(found.nearer_height_pct, -0.25) == pytest.approx(100.0 * height, abs=4.0)
    assert at(found.nearer_share_pct, -2.5) < 0.5


def test_a_table_from_before_there_was_such_a_thing_is_read_with_nothing_there(tmp_path):
    path = tmp_path / "old.csv"
    rows = [line.rstrip("\n").split(",") for line in table_lines(measurement([frame()] * 3))]
    kept = [index for index, name in enumerate(rows[0]) if not name.startswith("nearer_")]
    path.write_text("\n".join(",".join(row[index] for index in kept) for row in rows) + "\n", encoding="utf-8")
    table, columns = read_table(path), read_columns(path)
    assert np.isnan(table.column("nearer_share_pct")).all()
    assert columns.nearer_width_pct.shape == (3, len(STEPS))
    assert np.isnan(columns.nearer_width_pct).all()
    assert np.array_equal(columns_of(table).nearer_share_pct, columns.nearer_share_pct, equal_nan=True)
