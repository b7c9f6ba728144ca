"""The plan of a whole clip: what it promises, what it says, and that it admits what it cannot do."""

from __future__ import annotations

import re
from dataclasses import replace
from fractions import Fraction
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from plan_tables import CLIP, flags_of, frame, measurement, planned, rows, table

from postfix.cli import main
from postfix.errors import InputError
from postfix.limits import Limits
from postfix.measure.table import EDGE_BANDS, ClipInfo, FrameMeasure
from postfix.measure.table_csv import table_text
from postfix.plan.figures import predicted
from postfix.plan.geometry import applied_hit_px
from postfix.plan.model import HitKey, WindowKey
from postfix.plan.robust import shot_arrays
from postfix.plan.settings import FILLS, Fill, WindowSettings
from postfix.summary_plan import shot_reason
from postfix.viewing import BUILTIN_SCREENS

CINEMA = BUILTIN_SCREENS["cinema-12m"]


def test_a_clip_within_its_limits_is_left_exactly_as_it_is() -> None:
    made = table(lambda i: frame(left=rows(0.1), right=rows(0.0)), 48, cuts=[20])
    plan = planned(made, CINEMA)
    for shot, first in zip(plan.shots, (0, 20)):
        assert shot.hit == (HitKey(first, 0.0),)
        assert (shot.zoom, shot.window, shot.reason) == (1.0, (), "within limits as shot")
    assert flags_of(made, plan) == {"sh001": (), "sh002": ()}


def test_the_reason_names_the_figure_the_limit_and_the_move() -> None:
    (shot,) = planned(table(lambda i: frame(near=0.2, far=1.61), 48), CINEMA).shots
    # 65 mm on 12 m is 0.5417 % (computed).
    assert shot.reason.startswith("far was +1.61 %, limit +0.54 % (65 mm); moved ")
    assert f"forward ({abs(applied_hit_px(shot.hit[0].pct, CLIP))} px)" in shot.reason


def test_the_reason_names_the_window_and_its_side() -> None:
    (shot,) = planned(table(lambda i: frame(left=rows(-1.2)), 48), CINEMA).shots
    assert shot.hit[0].pct == 0.0
    assert "within limits as shot" in shot.reason
    assert "content at the left edge lies 1.20 % in front of it" in shot.reason
    assert "window of up to 27 px" in shot.reason


def test_the_reason_says_what_stays_outside_and_the_flag_too() -> None:
    made = table(lambda i: frame(near=-1.0, far=2.0), 48)
    plan = planned(made, CINEMA)
    assert "near stays" in plan.shots[0].reason
    codes = [flag.code for flag in flags_of(made, plan)["sh001"]]
    assert codes == ["near", "range"]


def test_an_unmeasured_shot_is_left_alone_and_said_so() -> None:
    made = table([FrameMeasure(note="black")] * 24)
    plan = planned(made, CINEMA)
    assert "nothing could be measured" in plan.shots[0].reason
    assert plan.shots[0].hit[0].pct == 0.0
    assert [flag.code for flag in flags_of(made, plan)["sh001"]] == ["not-measured"]


def test_a_shot_measured_in_few_frames_says_in_how_many() -> None:
    made = table(lambda i: frame() if i < 10 else FrameMeasure(), 48)
    assert "only 10 of 48 frames could be measured" in planned(made, CINEMA).shots[0].reason


def test_limits_of_ones_own_go_before_the_screens() -> None:
    made = table(lambda i: frame(far=0.3), 10)
    plan = planned(made, CINEMA, Limits(-2.0, 0.1, 3.0))
    assert plan.shots[0].hit[0].pct < 0.0
    assert plan.limits.far_pct == 0.1


def test_each_shot_has_its_own_move() -> None:
    made = table(lambda i: frame(near=-0.3, far=1.0 if i < 24 else 0.2), 48, cuts=[24])
    first, second = planned(made, CINEMA).shots
    assert first.hit[0].pct < 0.0
    assert second.hit[0].pct == 0.0


def test_a_locked_shot_is_taken_over_as_a_person_left_it() -> None:
    made = table(lambda i: frame(near=-0.3, far=1.0), 48, cuts=[24])
    plan = planned(made, CINEMA)
    by_hand = replace(plan.shots[0], hit=(HitKey(0, 0.123), HitKey(20, 0.5)), locked=True)
    loose = replace(plan.shots[1], hit=(HitKey(24, 0.123),))
    again = planned(made, CINEMA, previous=replace(plan, shots=(by_hand, loose)))
    assert again.shots == (by_hand, plan.shots[1])
    whole = replace(
        by_hand,
        name="the quay",
        zoom=1.01,
        fill="zoom",
        window=(WindowKey(3, (1.0, 2.0), (3.0, 4.0)),),
        reason="by eye",
    )
    assert planned(made, CINEMA, previous=replace(plan, shots=(whole, loose))).shots[0] == whole
    assert shot_reason(whole) == "kept as locked; by eye"
    assert shot_reason(loose) == loose.reason


def test_a_locked_shot_that_cannot_be_kept_is_named_and_never_dropped() -> None:
    made = table(lambda i: frame(near=-0.3, far=1.0), 48, cuts=[24])
    plan = planned(made, CINEMA)
    first, second = plan.shots
    earlier = replace(plan, shots=(replace(first, locked=True), second))
    recut = table(lambda i: frame(near=-0.3, far=1.0), 48, cuts=[20])
    with pytest.raises(
        InputError, match=r"shot sh001: found locked frames 0 to 23.*frames 0 to 19\); set locked = false"
    ):
        planned(recut, CINEMA, previous=earlier)
    with pytest.raises(InputError, match=r"sh002.*to another shot"):
        planned(made, CINEMA, previous=replace(plan, shots=(replace(first, name="sh002", locked=True), second)))
    smaller = replace(made, clip=replace(CLIP, width_px=1024))
    with pytest.raises(InputError, match=r"2048x1080 .*1024x1080"):
        planned(smaller, CINEMA, previous=earlier)


def test_the_plan_command_keeps_locked_shots_of_the_plan_it_replaces(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    measured, path = tmp_path / "kite.csv", tmp_path / "plan.toml"
    measured.write_text(table_text(measurement(lambda i: frame(near=-0.3, far=1.0), 48, cuts=[24])), encoding="utf-8")
    typed = ["plan", str(measured), "--screen", "cinema-12m", "-o", str(path), "--force"]
    assert main(typed) == 0
    head, first, second = path.read_text(encoding="utf-8").split("[[shot]]")
    by_hand = first.replace("locked = false", "locked = true").replace("pct = -0.585938", "pct = -0.6836")
    assert by_hand.count("-0.6836") == 1
    loose = second.replace("pct = -0.585938", "pct = -0.9")
    path.write_text("[[shot]]".join((head, by_hand, loose)), encoding="utf-8")
    capsys.readouterr()
    assert main(typed) == 0
    # What was typed is no checksum's any more: it counts as by hand also when the lock is taken away.
    unmarked = re.sub(r'hit = "[0-9a-f]{8}", ', "", by_hand)
    assert path.read_text(encoding="utf-8") == "[[shot]]".join((head, unmarked, second))
    lines = capsys.readouterr().out.splitlines()
    assert lines[0].startswith("sh001: kept as locked; ")
    assert sum("kept as locked" in line for line in lines) == 1
    # A slip in a file that holds locked shots costs nobody their work; junk without any is simply replaced.
    slip = path.read_text(encoding="utf-8").replace("zoom = 1.0", "zoom = none", 1)
    path.write_text(slip, encoding="utf-8")
    assert main(typed) == 3
    assert path.read_text(encoding="utf-8") == slip
    path.write_text("no plan", encoding="utf-8")
    assert main(typed) == 0


def test_a_move_that_is_outside_by_less_than_is_flagged_is_taken_before_giving_up() -> None:
    # 6 m wide: far limit 65 mm is 1.0833 %, near limit 60 arcmin is -1.7453 % about (computed), steps of 0.208 %.
    clip = ClipInfo("pier", 960, 540, Fraction(24), 2)
    made = table(lambda i: frame(near=-1.094, far=1.719), 48, clip=clip)
    plan = planned(made, BUILTIN_SCREENS["cinema-6m"])
    (shot,) = plan.shots
    assert applied_hit_px(shot.hit[0].pct, clip) == -6
    assert {flag.code for flag in flags_of(made, plan)["sh001"]} <= {"range"}
    assert "far stays 0.01 %" in shot.reason
    assert "no more than the 0.02 % that passes" in shot.reason


def test_the_reason_blames_the_whole_step_where_the_range_itself_would_fit() -> None:
    clip = ClipInfo("pier", 960, 540, Fraction(24), 2)
    made = table(lambda i: frame(near=-1.02, far=1.80), 48, clip=clip)
    (shot,) = planned(made, CINEMA, Limits(-1.75, 1.08, 3.0)).shots
    # 2.82 % between limits 2.83 % apart; -0.83 % leaves near 0.10 % outside, -0.62 % leaves far 0.09 % outside.
    assert "near stays 0.10 %" in shot.reason
    assert "whole steps of 2 px (0.21 %)" in shot.reason
    assert "and the limits leave" not in shot.reason
    (shot,) = planned(table(lambda i: frame(near=-1.2, far=1.80), 48, clip=clip), CINEMA, Limits(-1.75, 1.08, 3)).shots
    assert "near to far spans 3.00 % and the limits leave 2.83 %" in shot.reason


def test_a_shot_left_where_it_is_within_tolerance_says_so() -> None:
    (shot,) = planned(table(lambda i: frame(near=-1.75, far=0.55), 48), CINEMA, Limits(-1.75, 0.54, 3.0)).shots
    assert shot.hit[0].pct == 0.0
    assert "not moved, because no whole step puts both inside; far stays 0.01 % (1 mm) outside" in shot.reason


_EDGE = st.tuples(st.floats(-2.0, 0.4), st.floats(-2.0, 0.4))


@settings(max_examples=80, deadline=None)
@given(
    near=st.floats(-3.0, 3.0),
    span=st.floats(0.0, 2.4),
    left=_EDGE,
    right=_EDGE,
    black=st.tuples(*[st.floats(0.0, 20.0)] * 8),
    fill=st.sampled_from(FILLS),
    seed=st.integers(0, 1000),
)
def test_a_plan_leaves_nothing_outside_wherever_the_room_allows(
    near: float,
    span: float,
    left: tuple[float, float],
    right: tuple[float, float],
    black: tuple[float, ...],
    fill: Fill,
    seed: int,
) -> None:
    rng = np.random.default_rng(seed)
    limits = Limits(-1.75, 0.54, 1.75)
    count = 40
    walk = np.cumsum(rng.normal(0.0, 0.03, count))

    def made(i: int) -> FrameMeasure:
        # Content at an edge lies between near and far of its frame, as real content does.
        low, high = near + 0.1 * walk[i], near + 0.1 * walk[i] + span
        edges = [np.clip(np.linspace(*ends, EDGE_BANDS) + near + walk[i], low, high) for ends in (left, right)]
        return frame(
            low, high, tuple(edges[0].tolist()), tuple(edges[1].tolist()),
            left_hidden=black[:4], right_hidden=black[4:],
        )  # fmt: skip

    source = table(made, count)
    plan = planned(source, CINEMA, limits, fill=fill)
    (shot,) = plan.shots
    after = predicted(shot_arrays(source, 0, count - 1), shot, source.clip)
    codes = {flag.code for flag in flags_of(source, plan)["sh001"]}
    assert "far" not in codes
    assert "not-measured" not in codes
    if shot.zoom * (after.far_pct - after.near_pct) <= 2.29 - 2.0 * 200.0 / CLIP.width_px:
        assert "near" not in codes
    widest = max([px for key in shot.window for px in (*key.left_px, *key.right_px)], default=0.0)
    if widest < WindowSettings().max_pct * CLIP.width_px / 100.0 - 2.0:
        assert not codes & {"left-edge", "right-edge"}
    if after.range_pct <= 1.75:
        assert "range" not in codes
