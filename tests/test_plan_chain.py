"""One HIT for every shot of an edit: against a general-purpose solver, which knows nothing of this project."""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest
from plan_tables import CLIP, frame, table
from scipy.optimize import Bounds, LinearConstraint, milp
from scipy.sparse import lil_array

from postfix.limits import Limits
from postfix.plan.chain import Choices, best_choices
from postfix.plan.clip import jump_tolerance_pct, plan_edit
from postfix.plan.edit import edit_of
from postfix.plan.settings import ConvergenceSettings, PlanSettings
from postfix.viewing import BUILTIN_SCREENS

EDITS = 200
STEP_PCT = 100.0 * CLIP.step_px / CLIP.width_px
SCREEN = BUILTIN_SCREENS["tv-55in"]
HELD_ONLY = PlanSettings(convergence=ConvergenceSettings(ease=False))


def total_cost(shots: list[Choices], chosen: list[int], jump_pct: float, weight: float) -> float:
    """The sum that is to be least, written down once more."""
    ends = [(shot.entry_pct[i], shot.exit_pct[i], shot.cost[i]) for shot, i in zip(shots, chosen)]
    jumps = (max(abs(after[0] - before[1]) - jump_pct, 0.0) for before, after in pairwise(ends))
    return float(sum(cost for _, _, cost in ends) + weight * sum(jumps))


def least_by_solver(
    low: np.ndarray, high: np.ndarray, entry: np.ndarray, leave: np.ndarray, jump: float, weights: tuple[float, float],
    step: float, *, whole: bool,
) -> float:  # fmt: skip
    """Least objective by scipy's (mixed-integer) linear programming, HiGHS.

    Variables: HIT of each shot in steps, its absolute value, and what each jump exceeds the tolerance by.
    """
    change, weight = weights
    count = len(low)
    rows = lil_array((2 * count + 2 * (count - 1), 3 * count - 1))
    most = np.zeros(rows.shape[0])
    for i in range(count):
        rows[2 * i, i], rows[2 * i, count + i] = 1.0, -1.0
        rows[2 * i + 1, i], rows[2 * i + 1, count + i] = -1.0, -1.0
    for i in range(count - 1):
        gap, row = leave[i] - entry[i + 1], 2 * count + 2 * i
        for sign in (1.0, -1.0):
            rows[row, i], rows[row, i + 1], rows[row, 2 * count + i] = sign * step, -sign * step, -1.0
            most[row] = jump - sign * gap
            row += 1
    ends = (np.ceil(low / step - 1e-9), np.floor(high / step + 1e-9)) if whole else (low / step, high / step)
    solved = milp(
        np.concatenate([np.zeros(count), np.full(count, change * step), np.full(count - 1, weight)]),
        constraints=LinearConstraint(rows.tocsr(), -np.inf, most) if count else None,
        bounds=Bounds(
            np.concatenate([ends[0], np.zeros(2 * count - 1)]),
            np.concatenate([ends[1], np.full(2 * count - 1, np.inf)]),
        ),
        integrality=np.concatenate([np.full(count, int(whole)), np.zeros(2 * count - 1)]),
    )
    assert solved.success
    return float(solved.fun)


def test_whole_edits_cost_no_more_than_the_solver_finds_and_break_no_limit() -> None:
    random = np.random.default_rng(20)
    limits = Limits(-2.0, 1.2, 3.2)
    worst = 0.0
    for _ in range(EDITS):
        count = int(random.integers(2, 25))
        near = random.normal(-0.8, 1.0, count)
        far = near + random.uniform(0.3, 2.9, count)
        shots = [frame(float(n), float(f)) for n, f in zip(near, far)]
        made = table([shot for shot in shots for _ in range(6)], cuts=range(6, 6 * count, 6))
        settings = replace(HELD_ONLY, convergence=replace(HELD_ONLY.convergence, jump_arcmin=random.uniform(5, 40)))
        decided = plan_edit(edit_of(made), SCREEN, settings, limits=limits)
        hit = np.array([shot.hit[0].pct for shot in decided.plan.shots])
        assert all(len(shot.hit) == 1 for shot in decided.plan.shots)
        assert (far + hit <= limits.far_pct).all()
        assert (near + hit >= limits.near_pct).all()
        # Every shot here has room for the margins of 0.05 %; no move is open too where it is inside as shot.
        low = np.minimum(limits.near_pct + 0.05 - near, np.where((near >= -2.0) & (far <= 1.2), 0.0, np.inf))
        high = np.maximum(limits.far_pct - 0.05 - far, np.where((near >= -2.0) & (far <= 1.2), 0.0, -np.inf))
        middle, jump = (near + far) / 2.0, jump_tolerance_pct(SCREEN, settings)
        weights = settings.convergence
        change = weights.change_weight + weights.loss_weight
        solved = least_by_solver(low, high, middle, middle, jump, (change, weights.jump_weight), STEP_PCT, whole=True)
        beyond = np.maximum(np.abs(np.diff(middle + hit)) - jump, 0.0)
        ours = change * np.abs(hit).sum() + weights.jump_weight * beyond.sum()
        worst = max(worst, ours / solved - 1.0 if solved > 1e-9 else ours)
    assert worst <= 0.001


@pytest.mark.parametrize("weight", [0.5, 10.0])
def test_where_parts_of_a_pixel_are_open_the_continuous_optimum_is_reached(weight: float) -> None:
    random = np.random.default_rng(21)
    for _ in range(EDITS // 4):
        count = int(random.integers(2, 12))
        low = random.uniform(-3.0, 0.5, count)
        high = low + random.uniform(0.2, 4.0, count)
        entry = random.normal(-0.3, 1.0, count)
        leave = entry + random.normal(0.0, 0.4, count)
        ends = [[b, 0.0 if a < 0.0 < b else a] for a, b in zip(low, high)]
        hits = [np.unique(np.append(np.arange(a, b, 0.0002), end)) for a, b, end in zip(low, high, ends)]
        shots = [Choices(h, 2.0 * np.abs(h), e + h, x + h) for h, e, x in zip(hits, entry, leave)]
        ours = total_cost(shots, best_choices(shots, 0.87, weight), 0.87, weight)
        solved = least_by_solver(low, high, entry, leave, 0.87, (2.0, weight), 0.1, whole=False)
        assert ours <= solved * 1.001 + 1e-6


def test_a_shot_of_which_nothing_is_known_ties_its_neighbours_to_nothing() -> None:
    nan = np.full(3, np.nan)
    hits = np.array([-1.0, 0.0, 1.0])
    shots = [Choices(hits, np.abs(hits), hits - 5.0, hits - 5.0), Choices(hits, np.abs(hits), nan, nan)]
    assert best_choices(shots, 0.5, 10.0) == [1, 1]


def test_of_equal_choices_the_smallest_move_is_taken_then_the_one_that_pushes_away() -> None:
    hits = np.array([-1.0, 0.0, 1.0])
    assert best_choices([Choices(hits, np.zeros(3), hits, hits)], 0.5, 10.0) == [1]
    apart = hits[[0, 2]]
    assert best_choices([Choices(apart, np.zeros(2), apart, apart)], 0.5, 10.0) == [1]


def test_the_least_of_everything_before_is_found_for_choices_that_are_not_convex() -> None:
    random = np.random.default_rng(3)
    for _ in range(50):
        shots = []
        for _ in range(4):
            hits = np.sort(random.normal(0.0, 2.0, 7))
            cost, shift = random.uniform(0.0, 2.0, 7), random.normal(0.0, 1.0, 2)
            shots.append(Choices(hits, cost, hits + shift[0], hits + shift[1]))
        jump, weight = random.uniform(0.0, 1.5), random.uniform(0.1, 5.0)
        every = np.array(np.meshgrid(*[range(7)] * 4)).reshape(4, -1).T
        least = min(total_cost(shots, row, jump, weight) for row in every)
        assert total_cost(shots, best_choices(shots, jump, weight), jump, weight) == pytest.approx(least, abs=1e-7)
