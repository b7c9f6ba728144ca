"""Arrays of many shots at once say what those of each shot alone say."""

from dataclasses import fields, replace

import numpy as np
import pytest
from plan_tables import CLIP, frame, rows, table

from postfix.measure.table import NAN, FrameMeasure
from postfix.plan.choices import cut_depths_pct
from postfix.plan.figures import EdgeState, depth_after, edge_state, figures_after
from postfix.plan.geometry import Moves
from postfix.plan.robust import (
    MEDIAN_FRAMES,
    ShotArrays,
    arrays_of_shots,
    middle,
    middles,
    running_median,
    shot_arrays,
)
from postfix.plan.together import Together

LENGTHS = (1, 7, 2, 30, 5, 3, 4, 12)


def windy(count: int) -> list[FrameMeasure]:
    """Frames with something at the edges now and then, black in the source, wild figures and doubt."""
    random = np.random.default_rng(7)

    def one(index: int) -> FrameMeasure:
        near = float(random.normal(-0.6, 0.4))
        left = rows(near, NAN) if random.random() < 0.4 else None
        black = (4.0, 6.0, 0.0, 2.0) if 20 < index < 30 else (0.0, 0.0, 0.0, 0.0)
        made = frame(near, near + 1.4, left, rows(near) if index > 40 else None, left_hidden=black)
        made = replace(made, near_pct=NAN) if random.random() < 0.1 else made
        return replace(made, confidence=0.1) if random.random() < 0.2 else made

    return [one(index) for index in range(count)]


def bounds() -> list[tuple[int, int]]:
    ends = np.cumsum(LENGTHS)
    return [(int(end - length), int(end - 1)) for end, length in zip(ends, LENGTHS)]


def test_shots_taken_together_are_those_taken_one_by_one() -> None:
    columns = table(windy(sum(LENGTHS)))
    for (first, last), of_many in zip(bounds(), arrays_of_shots(columns, bounds()), strict=True):
        alone = shot_arrays(columns, first, last)
        for field in fields(ShotArrays):
            np.testing.assert_array_equal(getattr(of_many, field.name), getattr(alone, field.name), field.name)


@pytest.mark.parametrize("high", [False, True])
def test_no_frame_votes_in_another_shot(high: bool) -> None:
    values = np.random.default_rng(3).normal(size=(sum(LENGTHS), 2))
    values[values > 1.0] = np.nan
    together = running_median(values, high=high, shots=Together.of(LENGTHS))
    for first, last in bounds():
        np.testing.assert_array_equal(together[first : last + 1], running_median(values[first : last + 1], high=high))


def test_groups_are_the_nearest_frames_of_the_own_shot() -> None:
    frames, beyond = Together.of((3, 6)).groups(MEDIAN_FRAMES)
    assert frames[~beyond[:, 4]].tolist() == [
        *([[3, 4, 5, 6, 7]] * 3),
        *([[4, 5, 6, 7, 8]] * 3),
    ]
    assert [row[~out].tolist() for row, out in zip(frames[:3], beyond[:3])] == [[0, 1, 2]] * 3


def test_the_depth_at_cuts_is_the_median_of_half_a_second_of_the_own_shot() -> None:
    median = np.random.default_rng(5).normal(size=sum(LENGTHS))
    median[9:12] = median[0] = np.nan
    found = cut_depths_pct(median, Together.of(LENGTHS), CLIP.rate)
    for (first, last), (entry, leave) in zip(bounds(), found):
        own = median[first : last + 1]
        np.testing.assert_array_equal([entry, leave], [middle(own[:12]), middle(own[-12:])])


def test_middles_are_the_middle_of_each_row() -> None:
    values = np.array([[3.0, 1.0, 2.0], [NAN, 5.0, 1.0], [NAN, NAN, 4.0], [NAN, NAN, NAN]])
    assert middles(values).tolist()[:3] == [2.0, 3.0, 4.0]
    assert np.isnan(middles(values)[3])


def test_the_first_of_the_most_is_found_in_each_shot() -> None:
    values = np.array([1.0, 4.0, 4.0, NAN, NAN, 2.0, NAN, -1.0])
    assert Together.of((3, 2, 3)).first_of_most(values).tolist() == [1, -1, 5]


@pytest.mark.parametrize("zoom", [1.0, 1.02, 1.2])
@pytest.mark.parametrize("hit_px", [-14.0, 0.0, 30.0])
def test_figures_of_a_held_move_are_those_of_every_row_of_every_frame(zoom: float, hit_px: float) -> None:
    columns = table(windy(sum(LENGTHS)))
    for arrays in arrays_of_shots(columns, bounds()):
        half = np.full(len(arrays.near), hit_px / 2.0)
        moves = Moves(-half, half, zoom, "hide")
        hit = moves.hit_px * 100.0 / CLIP.width_px
        depth, figures = depth_after(arrays, moves, CLIP), figures_after(arrays, moves, CLIP)
        np.testing.assert_array_equal(depth.near_pct, _least(zoom * arrays.near + hit))
        np.testing.assert_array_equal(depth.far_pct, -_least(-(zoom * arrays.far + hit)))
        np.testing.assert_array_equal(depth.median_pct, middle(zoom * arrays.median + hit))
        for side, found in (("left", figures.left_excess_pct), ("right", figures.right_excess_pct)):
            state: EdgeState = edge_state(arrays, side, moves, CLIP, None)
            most = -_least(-state.excess_px()) * (100.0 / CLIP.width_px)
            np.testing.assert_array_equal(found, max(most, 0.0) if np.isfinite(most) else most)


def _least(values: np.ndarray) -> float:
    return float(np.min(values, initial=np.inf, where=np.isfinite(values))) if np.isfinite(values).any() else NAN
