"""Each sentence of a reason is true of the plan that it explains."""

from __future__ import annotations

from dataclasses import replace

import pytest
from plan_tables import CLIP, frame, rows, table

from postfix.limits import Limits
from postfix.measure.columns import Columns
from postfix.plan.clip import Decided, plan_edit
from postfix.plan.edit import edit_of
from postfix.plan.model import HitKey, Pin
from postfix.plan.reasons import Cut, reason_of
from postfix.plan.settings import (
    DEFAULT_WINDOWS,
    SUBPIXEL,
    ConvergenceSettings,
    Fill,
    PlanSettings,
    Subpixel,
    WindowSettings,
)
from postfix.viewing import BUILTIN_SCREENS

CINEMA = BUILTIN_SCREENS["cinema-12m"]

EDGE = table(lambda i: frame(left=rows(-1.2)), 48)
"""Something 1.2 % in front of the left edge, all else inside the limits."""

DRIFT = table(lambda i: frame(near=-1.6 + 2.0 * i / 239.0, far=-0.6 + 2.0 * i / 239.0), 240)
"""1 % from near to far in every frame, 3 % over the shot, slow enough to follow."""


def _decided(
    columns: Columns, settings: PlanSettings | None = None, fill: Fill = "hide", pins: tuple[Pin, ...] = ()
) -> Decided:
    return plan_edit(edit_of(columns), CINEMA, replace(settings or PlanSettings(), fill=fill), pins=pins)


def _reason(decided: Decided, shot: int = 0, **changes: object) -> str:
    plan, decision = decided.plan, replace(decided.decisions[shot], **changes)  # type: ignore[arg-type]
    return reason_of(decision, plan.limits, plan.screen, plan.clip, plan.settings.window)


def _with_windows(**windows: object) -> str:
    return _reason(_decided(EDGE, PlanSettings(window=replace(DEFAULT_WINDOWS, **windows))))  # type: ignore[arg-type]


def test_a_window_that_covers_hides() -> None:
    assert "1.20 % in front of it, so a window of up to 27 px (1.32 %) hides it there" in _with_windows()


def test_a_window_that_is_too_narrow_says_by_how_much() -> None:
    text = _with_windows(max_pct=1.0)
    assert "the window of up to 20 px (1.00 %) is 0.20 % too narrow to hide it" in text
    assert "hides it there" not in text
    assert "the widest window allowed is 0 %" in _with_windows(max_pct=0.0)


def test_a_translucent_window_says_what_it_lets_through() -> None:
    text = _with_windows(opacity_pct=50.0)
    assert "lets 50 % of it through, as asked" in text
    assert "hides it there" not in text
    both = _with_windows(opacity_pct=50.0, max_pct=1.0)
    assert "is 0.20 % too narrow to hide it and lets 50 % of it through, as asked" in both


def test_windows_that_are_off_are_said_to_be_off() -> None:
    text = _with_windows(on=False)
    assert text.endswith("content at the left edge lies 1.20 % in front of it, and windows are off")
    assert not text.startswith("within limits as shot")


def test_what_is_left_alone_because_it_is_brief_is_not_told_as_windowed() -> None:
    brief = PlanSettings(window=WindowSettings(brief_s=0.5))
    # Four frames: enough for the running median to keep it, and less than half a second.
    made = table(lambda i: frame(left=rows(-1.2 if 10 <= i < 14 else 0.1)), 48)
    assert "left edge" in _reason(_decided(made))
    assert _reason(_decided(made, brief)) == "within limits as shot"


def test_a_window_that_is_only_as_wide_as_the_other_sides_says_so() -> None:
    assert "the window at the right is as wide as the other side's, as asked" in _with_windows(both_sides=True)
    assert "right" not in _with_windows()


def test_a_window_that_is_for_the_shot_it_dissolves_with_says_so() -> None:
    made = table(lambda i: frame(left=rows(-1.2)) if i < 48 else frame(), 96, cuts=(48,))
    decided = _decided(replace(made, dissolve_frames=(0, 24)))
    assert decided.plan.shots[1].window
    assert "the window at the left is for what it dissolves with" in _reason(decided, 1)


def test_a_shot_enlarged_only_for_the_one_it_dissolves_with_says_so() -> None:
    made = table(lambda i: frame(near=-0.3, far=1.4) if i < 48 else frame(), 96, cuts=(48,))
    decided = _decided(
        replace(made, dissolve_frames=(0, 2)), PlanSettings(convergence=ConvergenceSettings(jump_weight=0.0)), "zoom"
    )
    pct = f"{(decided.plan.shots[0].zoom - 1.0) * 100.0:.2f}"
    assert f"enlarged by {pct} % to cover the sides" in _reason(decided, 0)
    assert f"enlarged by {pct} % like what it dissolves with" in _reason(decided, 1)


def test_a_shot_moved_with_its_neighbours_claims_no_more() -> None:
    decided = _decided(table(lambda i: frame(), 24))
    held = 12 * CLIP.step_px * 100.0 / CLIP.width_px
    plan = replace(decided.plan.shots[0], hit=(HitKey(0, held),))
    text = _reason(decided, plan=plan, held_pct=held)
    assert text == "moved 1.17 % back (24 px) with the shots beside it"


@pytest.mark.parametrize(("over", "told"), [(0.004, False), (0.006, True)])
def test_what_stays_outside_by_less_than_can_be_told_is_not_told(over: float, told: bool) -> None:
    decided = _decided(table(lambda i: frame(near=-2.2, far=0.9), 48))
    after = replace(decided.decisions[0].after, far_pct=decided.plan.limits.far_pct + over)
    assert ("far stays" in _reason(decided, after=after)) is told


def test_an_eased_shot_has_a_cause_of_its_own_for_what_stays_outside() -> None:
    decided = _decided(DRIFT)
    assert decided.decisions[0].how == "eased"
    limits = decided.plan.limits
    after = replace(decided.decisions[0].after, near_pct=limits.near_pct - 0.2)
    text = _reason(decided, after=after)
    assert "near stays 0.20 % (24 mm) outside, because that is what the eased move cannot follow" in text
    assert "whole steps" not in text
    assert "3.00 %" not in text
    # 65 mm and 60 arcmin leave 2.287 % on this screen (computed).
    deep = _reason(decided, after=replace(after, range_pct=2.4))
    assert "because near to far spans 2.40 % in one frame and the limits leave 2.29 %" in deep


def test_a_held_shot_is_told_with_the_span_over_the_whole_shot() -> None:
    held = PlanSettings(convergence=ConvergenceSettings(ease=False))
    # The running median over 5 frames takes 2 frames of a drift of 2/239 % a frame off each end: 2.97 % (computed).
    assert "near to far spans 2.97 % and the limits leave 2.29 %" in _reason(_decided(DRIFT, held))


def test_an_enlarged_shot_is_not_blamed_on_whole_steps() -> None:
    decided = _decided(table(lambda i: frame(near=-1.3, far=0.9), 48), fill="zoom")
    after, near_pct = decided.decisions[0].after, decided.plan.limits.near_pct - 0.1
    text = _reason(decided, after=replace(after, near_pct=near_pct, far_pct=after.far_pct + near_pct - after.near_pct))
    assert "near stays 0.10 %" in text
    assert "whole step" not in text


WORDS = {"eased": "at fractions of a pixel", "always": "at fractions of a pixel", "never": "in steps of 2 px"}


@pytest.mark.parametrize("subpixel", SUBPIXEL)
def test_a_hit_that_moves_says_once_whether_it_goes_in_steps_or_at_fractions_of_a_pixel(subpixel: Subpixel) -> None:
    for fill in ("hide", "crop"):
        text = _reason(_decided(DRIFT, PlanSettings(subpixel=subpixel), fill))  # type: ignore[arg-type]
        assert [text.count(words) for words in sorted(set(WORDS.values()))] == [
            subpixel != "never",
            subpixel == "never",
        ]
    zoomed = _reason(_decided(DRIFT, PlanSettings(subpixel=subpixel), "zoom"))
    assert not any(words in zoomed for words in WORDS.values())
    by_hand, settings = Pin(shot="sh001", hit=(HitKey(0, 0.3), HitKey(200, -0.5))), PlanSettings(subpixel=subpixel)
    assert _reason(_decided(DRIFT, settings, pins=(by_hand,))).count(WORDS[subpixel]) == 1
    held = _reason(_decided(DRIFT, settings, pins=(replace(by_hand, hit=by_hand.hit[:1]),)))
    assert not any(words in held for words in WORDS.values())


@pytest.mark.parametrize("subpixel", SUBPIXEL)
def test_a_shot_eased_at_its_ends_says_once_how_finely_it_moves(subpixel: Subpixel) -> None:
    made = table(lambda i: frame(near=-1.6, far=-1.0) if i >= 96 else frame(), 192, cuts=(96,))
    meeting = PlanSettings(convergence=ConvergenceSettings(handover_frames=24, jump_weight=0.0), subpixel=subpixel)
    decided = _decided(made, meeting)
    assert f"at its end, to meet sh002, {WORDS[subpixel]}" in _reason(decided)


def test_in_a_dissolve_only_what_is_known_is_told() -> None:
    decided = _decided(table(lambda i: frame(), 24))
    cut = Cut("sh002", float("nan"), float("nan"), 0.87, dissolve_frames=24, hit_step_pct=0.5)
    text = _reason(decided, leave=cut)
    assert "in the dissolve to sh002 the HIT steps by 0.50 %" in text
    assert "because" not in text
    known = _reason(decided, leave=replace(cut, as_shot_pct=0.1, planned_pct=0.2, by_limits=True))
    assert "in the dissolve to sh002 the HIT steps by 0.50 %, because of the limits" in known


def test_what_is_at_its_limit_to_the_last_digit_is_not_told_as_outside() -> None:
    decided = plan_edit(
        edit_of(table(lambda i: frame(-0.5, 0.5417), 24)), CINEMA, limits=Limits(-1.75, 0.5416666, 1.75)
    )
    assert _reason(decided) == "within limits as shot"


def test_an_unmeasured_shot_that_follows_its_neighbours_says_so() -> None:
    decided = _decided(table(lambda i: replace(frame(), confidence=0.0), 24))
    assert _reason(decided).endswith("left as shot")
    plan = replace(decided.plan.shots[0], hit=(HitKey(0, -0.4),))
    assert _reason(decided, plan=plan).endswith("it follows the shots beside it: HIT −0.40 %")
