"""What a shot's figures are, measured or predicted, and what is said where they are outside their limits."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from plan_tables import CLIP, flags_of, frame, planned, rows, table

from postfix.limits import Limits, limits_for
from postfix.measure.columns import Columns
from postfix.measure.table import NAN, FrameMeasure
from postfix.plan.figures import Figures, figures_of, flags_for, predicted, signed_mm, signed_pct, unjudged_edges
from postfix.plan.model import HitKey, ShotPlan, WindowKey
from postfix.plan.robust import ShotArrays, running_median, shot_arrays
from postfix.plan.settings import PlanSettings, WindowSettings
from postfix.viewing import BUILTIN_SCREENS


def test_the_running_median_leaves_nan_out_and_takes_the_near_one_of_two() -> None:
    values = np.array([1.0, NAN, 5.0, 1.0, NAN])
    assert running_median(values).tolist() == [1.0] * 5
    assert running_median(np.array([2.0, 4.0])).tolist() == [2.0, 2.0]
    assert running_median(np.array([2.0, 4.0]), high=True).tolist() == [4.0, 4.0]
    assert np.isnan(running_median(np.full(3, NAN))).all()


def test_near_and_far_are_the_extremes_over_the_shot() -> None:
    made = table(lambda i: frame(near=-1.0 if i < 24 else -0.2, far=0.1 if i < 24 else 0.4), 48)
    figures = figures_of(made, 0, 47)
    assert (figures.near_pct, figures.far_pct) == (-1.0, 0.4)
    assert figures.range_pct == pytest.approx(1.1)
    assert (figures.measured_frames, figures.frames) == (48, 48)


@pytest.mark.parametrize("at", [0, 1, 20, 46, 47])
def test_a_single_wild_frame_does_not_decide(at: int) -> None:
    made = table(lambda i: frame(near=-9.0, far=9.0, left=rows(-8.0)) if i == at else frame(), 48)
    figures = figures_of(made, 0, 47)
    assert (figures.near_pct, figures.far_pct) == (-0.5, 0.3)
    assert not figures.left_excess_pct > 0.0


def test_three_frames_do_decide() -> None:
    made = table(lambda i: frame(far=0.9) if 20 <= i < 23 else frame(), 48)
    assert figures_of(made, 0, 47).far_pct == 0.9


def test_frames_of_low_confidence_are_left_out() -> None:
    made = table(lambda i: frame(far=5.0, confidence=0.1) if i % 2 else frame(), 48)
    figures = figures_of(made, 0, 47)
    assert figures.far_pct == 0.3
    assert figures.measured_frames == 24


def test_where_nothing_is_measured_every_figure_is_nan_and_that_is_said() -> None:
    figures = figures_of(table([FrameMeasure()] * 10), 0, 9)
    assert math.isnan(figures.near_pct)
    assert math.isnan(figures.range_pct)
    assert math.isnan(figures.left_excess_pct)
    flags = flags_for(figures, Limits(-1, 1, 2), 12000.0)
    assert [flag.code for flag in flags] == ["not-measured"]
    assert "10 frames" in flags[0].text


def test_other_shots_do_not_leak_in() -> None:
    made = table(lambda i: frame(far=3.0) if i >= 24 else frame(), 48, cuts=[24])
    assert figures_of(made, 0, 23).far_pct == 0.3


def test_content_in_front_of_the_edge_is_counted_against_the_edges_own_parallax() -> None:
    black = 20.48  # 1 % of 2048
    inside = frame(left=rows(-0.8), left_hidden=(black, black, 0.0, 0.0))
    outside = frame(left=rows(-0.8), left_hidden=(0.0, 0.0, black, black))
    assert figures_of(table([inside] * 5), 0, 4).left_excess_pct == 0.0
    assert figures_of(table([outside] * 5), 0, 4).left_excess_pct == pytest.approx(1.8)
    mirrored = frame(right=rows(-0.8), right_hidden=(0.0, 0.0, black, black))
    assert figures_of(table([mirrored] * 5), 0, 4).right_excess_pct == 0.0


def test_a_hit_moves_near_far_and_edges_and_leaves_the_range() -> None:
    made = table(lambda i: frame(left=rows(-1.0)), 10)
    shot = ShotPlan("sh001", 0, 9, (HitKey(0, 100.0 * 16 / CLIP.width_px),))
    before, after = figures_of(made, 0, 9), predicted(_arrays(made), shot, made.clip)
    hit = 100.0 * 16 / CLIP.width_px
    assert after.near_pct == pytest.approx(before.near_pct + hit)
    assert after.far_pct == pytest.approx(before.far_pct + hit)
    assert after.left_edge_pct == pytest.approx(-1.0 + hit)
    assert after.range_pct == before.range_pct
    # Both edges now sit at half the HIT, so the excess falls by the other half only.
    assert after.left_excess_pct == pytest.approx(1.0 - hit / 2.0)


def test_a_window_takes_away_the_excess_it_covers_and_no_more() -> None:
    made = table(lambda i: frame(left=rows(-0.5, -1.2)), 10)
    full = ShotPlan("sh001", 0, 9, window=(WindowKey(0, (24.6, 24.6), (0.0, 0.0)),))
    short = ShotPlan("sh001", 0, 9, window=(WindowKey(0, (24.6, 4.0), (0.0, 0.0)),))
    wrong_side = ShotPlan("sh001", 0, 9, window=(WindowKey(0, (0.0, 0.0), (24.6, 24.6)),))
    assert predicted(_arrays(made), full, made.clip).left_excess_pct == 0.0
    assert predicted(_arrays(made), short, made.clip).left_excess_pct == pytest.approx(1.2 - 4.0 / 20.48)
    assert predicted(_arrays(made), wrong_side, made.clip).left_excess_pct == pytest.approx(1.2)


def test_a_zoom_scales_parallax_before_the_hit_is_added() -> None:
    made = table(lambda i: frame(near=-1.0, far=2.0), 10)
    after = predicted(_arrays(made), ShotPlan("sh001", 0, 9, (HitKey(0, -2.0),), zoom=1.02, fill="zoom"), made.clip)
    assert after.near_pct == pytest.approx(1.02 * -1.0 - 2.0)
    assert after.far_pct == pytest.approx(1.02 * 2.0 - 2.0)
    assert after.range_pct == pytest.approx(1.02 * 3.0)


def _arrays(columns: Columns) -> ShotArrays:
    return shot_arrays(columns, 0, columns.count - 1)


def _figures(**changed: float) -> Figures:
    values: dict[str, float] = {
        "near_pct": -0.5, "far_pct": 0.3, "range_pct": 0.8, "median_pct": 0.0, "left_edge_pct": 0.0,
        "right_edge_pct": 0.0, "left_excess_pct": 0.0, "right_excess_pct": 0.0,
    }  # fmt: skip
    return Figures(**(values | changed), measured_frames=10, frames=10)


def test_flags_say_figure_limit_excess_in_percent_and_millimetres_and_rule() -> None:
    screen = BUILTIN_SCREENS["cinema-12m"]
    (flag,) = flags_for(_figures(far_pct=0.6416667), limits_for(screen), screen.width_mm)
    assert flag.code == "far"
    # 65 mm on 12 m is 0.5417 %; 0.1 % of 12 m is 12 mm (computed).
    for part in ("+0.64 %", "+0.54 %", "0.10 %", "12 mm", "common practice"):
        assert part in flag.text


@pytest.mark.parametrize(
    ("changed", "code"),
    [
        ({"near_pct": -1.9}, "near"),
        ({"range_pct": 1.9}, "range"),
        ({"left_excess_pct": 0.4}, "left-edge"),
        ({"right_excess_pct": 0.4}, "right-edge"),
    ],
)
def test_each_figure_outside_its_limit_has_its_flag(changed: dict[str, float], code: str) -> None:
    screen = BUILTIN_SCREENS["cinema-12m"]
    assert [flag.code for flag in flags_for(_figures(**changed), limits_for(screen), screen.width_mm)] == [code]


def test_nothing_is_flagged_inside_the_limits_or_within_what_can_be_measured() -> None:
    limits = Limits(-1.0, 0.5, 1.5)
    assert flags_for(_figures(), limits, 1000.0) == ()
    assert flags_for(_figures(far_pct=0.515, near_pct=-1.015, left_excess_pct=0.149), limits, 1000.0) == ()
    nan = float("nan")
    assert flags_for(_figures(left_excess_pct=nan, right_excess_pct=nan), limits, 1000.0) == ()


def test_an_edge_flag_gives_the_rule_as_source_and_the_tolerance_as_the_projects_own() -> None:
    (flag,) = flags_for(_figures(left_excess_pct=0.4), Limits(-1.0, 0.5, 1.5), 12000.0)
    assert "content at the left edge is 0.40 % (48 mm on this screen) in front of that edge; rule: " in flag.text
    assert flag.text.index("BT.2160-2") < flag.text.index("0.15 % passes, this project's own tolerance")
    assert "limit" not in flag.text


def _windowed(left: float = 0.0, right: float = 0.0, last: int = 99) -> ShotPlan:
    return ShotPlan("sh001", 0, last, window=(WindowKey(0, (left, left), (right, right)),))


def test_frames_with_anything_measured_at_an_edge_are_counted() -> None:
    figures = figures_of(table(lambda i: frame(left=rows(0.2)) if i < 30 else frame(), 100), 0, 99)
    assert (figures.left_edge_frames, figures.right_edge_frames) == (30, 0)


@pytest.mark.parametrize("side", ["left", "right"])
def test_a_planned_window_at_an_edge_where_nothing_was_measured_is_flagged(side: str) -> None:
    nothing = table(lambda i: frame(), 100)
    (flag,) = unjudged_edges(_arrays(nothing), _windowed(**{side: 20.0}), "the finished files")
    assert flag.code == "not-measured"
    assert f"the {side} edge could not be judged in the finished files, where a window was planned" in flag.text
    assert "0 of the 100 frames" in flag.text
    assert unjudged_edges(_arrays(nothing), _windowed(), "the finished files") == ()
    few = table(lambda i: frame(**{side: rows(0.2)}) if i < 9 else frame(), 100)
    assert len(unjudged_edges(_arrays(few), _windowed(**{side: 20.0}), "the finished files")) == 1
    enough = table(lambda i: frame(**{side: rows(0.2)}) if i < 10 else frame(), 100)
    assert unjudged_edges(_arrays(enough), _windowed(**{side: 20.0}), "the finished files") == ()


def test_an_edge_is_judged_where_the_window_stands_and_not_elsewhere_in_the_shot() -> None:
    keys = (WindowKey(50, (0.0, 0.0), (0.0, 0.0)), WindowKey(60, (20.0, 20.0), (0.0, 0.0)))
    shot = ShotPlan("sh001", 0, 99, window=keys)
    early = table(lambda i: frame(left=rows(0.2)) if i < 50 else frame(), 100)
    assert len(unjudged_edges(_arrays(early), shot, "the finished files")) == 1
    late = table(lambda i: frame(left=rows(0.2)) if i > 70 else frame(), 100)
    assert unjudged_edges(_arrays(late), shot, "the finished files") == ()


def test_where_nothing_at_all_was_measured_the_edges_are_not_flagged_once_more() -> None:
    assert unjudged_edges(_arrays(table([FrameMeasure()] * 100)), _windowed(20.0, 20.0), "the finished files") == ()


def test_the_range_budget_is_no_more_than_the_room_between_the_limits() -> None:
    (flag,) = flags_for(_figures(range_pct=1.2), Limits(-0.5, 0.5, 3.0), 1000.0)
    assert flag.code == "range"
    assert "0.20 %" in flag.text


def test_figures_in_texts_carry_a_real_minus_and_no_minus_zero() -> None:
    assert signed_pct(-1.2) == "\N{MINUS SIGN}1.20 %"
    assert signed_pct(0.54) == "+0.54 %"
    assert signed_pct(-0.001) == "+0.00 %"


def test_a_window_that_only_the_other_side_asks_for_need_not_be_judged() -> None:
    made = table(lambda i: frame(left=rows(-1.2)), 48)
    windows = PlanSettings(window=WindowSettings(both_sides=True))
    plan = planned(made, BUILTIN_SCREENS["cinema-12m"], settings=windows)
    assert plan.shots[0].window[0].left_px == plan.shots[0].window[0].right_px
    assert flags_of(made, plan)["sh001"] == ()
    # The very windows made by hand are judged on both sides.
    by_hand = replace(plan, shots=(replace(plan.shots[0], by_hand=("window",)),))
    assert [flag.code for flag in flags_of(made, by_hand)["sh001"]] == ["not-measured"]


@pytest.mark.parametrize(
    ("mm", "text"),
    [
        (65.0, "+65 mm"),
        (-209.4, "−209 mm"),
        (9.97, "+10 mm"),
        (-7.04, "−7.0 mm"),
        (-0.47, "−0.5 mm"),
        (0.04, "+0.04 mm"),
        (0.0, "0 mm"),
        (-1e-9, "0 mm"),
    ],
)
def test_millimetres_that_are_not_zero_are_not_told_as_zero(mm, text):
    assert signed_mm(mm) == text
