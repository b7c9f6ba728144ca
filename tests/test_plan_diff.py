"""What differs between two plans is told in words, completely, and fits the screen."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st
from plan_files import IN_A_FOLDER, plans
from printed import wide

from postfix.limits import LimitRules, Limits
from postfix.measure.table import ClipInfo
from postfix.plan.diff import Difference, plan_differences
from postfix.plan.matching import shot_pairs
from postfix.plan.model import HitKey, Plan, ShotPlan, Subject, WindowKey
from postfix.plan.settings import ConvergenceSettings, PlanSettings, WindowSettings
from postfix.summary_plan import differences_text
from postfix.terminal import rendered
from postfix.viewing import BUILTIN_SCREENS

CLIP = ClipInfo("wind", 2000, 1080, Fraction(24), 2)

A = ShotPlan("a", 0, 47, (HitKey(0, -0.5),), window=(WindowKey(0, (14.0, 20.5), (0.0, 0.0)),), reason="far was out")
B = ShotPlan("b", 48, 95, (HitKey(48, 0.0),))

PLAN = Plan(BUILTIN_SCREENS["cinema-12m"], Limits(-1.75, 0.54, 1.75, "n", "f", "r"), CLIP, (A, B))


def _of(**changes: object) -> tuple[Difference, ...]:
    """Differences where the first shot is changed."""
    return plan_differences(PLAN, replace(PLAN, shots=(replace(A, **changes), B)))  # type: ignore[arg-type]


def test_equal_plans_differ_in_nothing() -> None:
    assert plan_differences(PLAN, PLAN) == ()
    assert differences_text(()) == []


def _shot(what: str, before: str, after: str, kind: str = "changed") -> tuple[Difference, ...]:
    return (Difference("shot a, frames 0 to 47", what, before, after, kind),)  # type: ignore[arg-type]


def test_a_hit_is_told_in_percent_and_in_pixels_of_the_clip() -> None:
    assert _of(hit=(HitKey(0, 0.25),)) == _shot("HIT", "-0.50 % (-10 px)", "+0.25 % (6 px)")
    assert _of(hit=(HitKey(0, 0.0), HitKey(20, 0.1), HitKey(47, 0.25))) == _shot(
        "HIT", "-0.50 % (-10 px)", "0 % (0 px) at frame 0 to +0.25 % (6 px) at frame 47, over 3 entries"
    )


def test_a_hit_is_told_in_the_pixels_that_are_applied() -> None:
    # 0.8 % of 2000 px are 16 px; 0.51 % are 10.2 px, of which a step of 2 px makes 10 (computed).
    assert _of(hit=(HitKey(0, 0.51),))[0].after == "+0.51 % (10 px)"
    assert _of(hit=(HitKey(0, 0.8),))[0].after == "+0.80 % (16 px)"
    moving = _of(hit=(HitKey(0, 0.0), HitKey(47, 0.51)))[0].after
    assert moving == "0 % (0 px) at frame 0 to +0.51 % (10 px) at frame 47"
    # Pictures that are drawn anew go where they are asked to.
    words = {one.what: one.after for one in _of(hit=(HitKey(0, 0.51),), fill="zoom", zoom=1.0051)}
    assert words["HIT"] == "+0.51 % (10.2 px)"
    coarser = replace(PLAN, clip=replace(CLIP, step_px=4))
    assert ("HIT", "-0.50 % (-10 px)", "-0.50 % (-12 px)") in [
        (one.what, one.before.split(";")[0], one.after.split(";")[0]) for one in plan_differences(PLAN, coarser)
    ]


def test_a_change_too_small_for_the_short_words_is_told_all_the_same() -> None:
    (found,) = _of(hit=(HitKey(0, -0.5001),))
    assert found.before == "-0.50 % (-10 px); entry 1 of 1: frame 0, -0.5 %"
    assert found.after == "-0.50 % (-10 px); entry 1 of 1: frame 0, -0.5001 %"


@pytest.mark.parametrize(
    ("window", "after", "kind"),
    [
        ((), "", "removed"),
        ((WindowKey(0, (3.0, 3.0), (0.0, 25.25)),), "left up to 3 px, right up to 25.25 px, the whole shot", "changed"),
        (
            (
                WindowKey(5, (0.0, 0.0), (0.0, 0.0)), WindowKey(10, (0.0, 0.0), (0.0, 0.0)),
                WindowKey(20, (8.0, 8.0), (0.0, 0.0)), WindowKey(30, (0.0, 0.0), (0.0, 0.0)),
                WindowKey(40, (0.0, 0.0), (0.0, 0.0)),
            ),
            "left up to 8 px, right up to 0 px, from frame 10 to frame 30",
            "changed",
        ),
        (
            (WindowKey(5, (8.0, 8.0), (0.0, 0.0)), WindowKey(10, (0.0, 0.0), (0.0, 0.0))),
            "left up to 8 px, right up to 0 px, from the first frame to frame 10",
            "changed",
        ),
        (
            (WindowKey(5, (0.0, 0.0), (0.0, 0.0)), WindowKey(10, (8.0, 8.0), (0.0, 0.0))),
            "left up to 8 px, right up to 0 px, from frame 5 to the last frame",
            "changed",
        ),
    ],
)  # fmt: skip
def test_a_window_is_told_by_its_widest_sides_and_its_frames(
    window: tuple[WindowKey, ...], after: str, kind: str
) -> None:
    before = "left up to 20.5 px, right up to 0 px, the whole shot"
    assert _of(window=window) == _shot("window", before, after, kind)
    back = plan_differences(replace(PLAN, shots=(replace(A, window=window), B)), PLAN)
    opposite = {"removed": "added"}.get(kind, kind)
    assert back == _shot("window", after, before, opposite)


def test_everything_else_of_a_shot_is_told_in_words() -> None:
    assert _of(zoom=1.0125) == _shot("zoom", "none", "1.25 %")
    assert _of(fill="crop") == _shot("columns laid bare", "black in the eye that lacks them", "black in both eyes")
    assert _of(locked=True) == _shot("locked", "no", "yes")
    assert _of(name="c") == (Difference("shot c, frames 0 to 47", "name", "a", "c"),)
    assert _of(window_soft_px=4.0) == _shot("soft edge of windows", "0 px", "4 px")
    assert _of(window_opacity_pct=70.0) == _shot("opacity of windows", "100 %", "70 %")
    assert _of(by_hand=("hit", "window")) == _shot("decided by hand", "nothing", "HIT, window")
    words = "30x40 px at 10, 20 in frame 5, at -0.5 %, found at 0.25 %"
    assert _of(subject=Subject(5, (10, 20, 30, 40), -0.5, 0.25)) == _shot("subject", "", words, "added")


def test_reasons_and_rules_are_told_only_where_asked_for() -> None:
    other = replace(PLAN, shots=(replace(A, reason="so"), B), limits=replace(PLAN.limits, far_rule="by hand"))
    assert plan_differences(PLAN, other) == ()
    found = plan_differences(PLAN, other, reasons=True)
    assert [(one.where, one.what) for one in found] == [
        ("limits", "rule for far"),
        ("shot a, frames 0 to 47", "reason"),
    ]


def test_screen_limits_clip_and_settings_are_told_with_their_units() -> None:
    other = replace(
        PLAN,
        screen=replace(PLAN.screen, width_mm=8000.0, note=""),
        limits=replace(PLAN.limits, near_pct=-1.5),
        clip=replace(CLIP, rate=Fraction(24000, 1001), footage="0123456789abcdef"),
        settings=PlanSettings(
            LimitRules(far_pct=0.5, comfort="zone"),
            ConvergenceSettings(ease=False, ease_pct_per_s=0.3),
            WindowSettings(hold_s=1.0),
            "crop",
        ),
    )
    lines = rendered(differences_text(plan_differences(PLAN, other))).splitlines()
    for line in (
        "  width: 12000 mm → 8000 mm",
        "  near: −1.75 % → −1.5 %",
        "  rate: 24 frames/s → 24000/1001 frames/s",
        "  footage mark added: 0123456789abcdef",
        "  fill: hide → crop",
        "  limits, comfort: arcmin → zone",
        "  limits, far added: 0.5 %",
        "  convergence, ease: yes → no",
        "  convergence, ease speed: 1 % a second → 0.3 % a second",
        "  window, hold: 0.5 s → 1 s",
    ):
        assert line in lines
    assert [line for line in lines if not line.startswith(" ")] == ["screen", "limits", "clip", "settings"]


def test_shots_are_matched_by_frames_then_by_name_and_the_rest_came_or_went() -> None:
    b = replace(B, first=40, hit=(HitKey(40, 0.0),))
    other = replace(PLAN, shots=(replace(A, name="x", last=20), ShotPlan("y", 21, 39, (HitKey(21, 0.5),)), b))
    found = plan_differences(PLAN, other)
    assert [(one.where, one.what, one.kind) for one in found] == [
        ("shot a, frames 0 to 47", "shot", "removed"),
        ("shot x, frames 0 to 20", "shot", "added"),
        ("shot y, frames 21 to 39", "shot", "added"),
        ("shot b, frames 40 to 95", "frames", "changed"),
        ("shot b, frames 40 to 95", "HIT", "changed"),
    ]
    assert found[0].before == "HIT -0.50 % (-10 px); window left up to 20.5 px, right up to 0 px, the whole shot"
    assert found[2].after == "HIT +0.50 % (10 px); no window"


def test_one_block_a_shot_in_lines_that_fit() -> None:
    other = replace(PLAN, shots=(replace(A, window=(WindowKey(0, (30.0, 30.0), (9.0, 9.0)),), locked=True), B))
    assert rendered(differences_text(plan_differences(PLAN, other))) == (
        "shot a, frames 0 to 47\n"
        "  window:\n"
        "    before left up to 20.5 px, right up to 0 px, the whole shot\n"
        "    after  left up to 30 px, right up to 9 px, the whole shot\n"
        "  locked: no → yes"
    )


@IN_A_FOLDER
@given(plans(), st.data())
def test_plans_without_a_difference_are_equal_and_every_difference_fits(plan: Plan, data: st.DataObject) -> None:
    assert plan_differences(plan, plan, reasons=True) == ()
    shots = data.draw(st.sampled_from([plan.shots, data.draw(plans()).shots]))
    other = data.draw(plans())
    other = replace(
        plan,
        **{
            name: getattr(data.draw(st.sampled_from([plan, other])), name)
            for name in ("screen", "limits", "clip", "settings")
        },
        shots=shots,
    )
    found = plan_differences(plan, other, reasons=True)
    assert (found == ()) == (plan == other)
    assert all(one.before != one.after for one in found)
    lines = rendered(differences_text(found)).splitlines()
    assert all(wide(line) <= 80 and line.isprintable() for line in lines)
    pairs = shot_pairs(plan.shots, other.shots)
    assert tuple(a for a, _ in pairs if a is not None) == plan.shots
    assert tuple(b for _, b in pairs if b is not None) == other.shots
