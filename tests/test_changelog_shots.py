"""The change log as data: what was decided for each shot, and under which settings."""

from __future__ import annotations

import json
from dataclasses import replace
from fractions import Fraction
from typing import Any

import pytest

from postfix.deliver.changelog import change_log, change_log_text, shot_results
from postfix.limits import limits_for
from postfix.measure.table import ClipInfo
from postfix.plan.model import HitKey, Plan, ShotPlan, Subject, WindowKey
from postfix.plan.settings import PlanSettings, WindowSettings
from postfix.viewing import BUILTIN_SCREENS

SCREEN = BUILTIN_SCREENS["cinema-12m"]
CLIP = ClipInfo("kite-workshop", 1920, 1080, Fraction(24), 2, footage="0123456789abcdef")
PLAIN = ShotPlan("s001", 0, 9)
DECIDED = ShotPlan(
    "s002",
    10,
    19,
    hit=(HitKey(10, 0.4),),
    window=(WindowKey(10, (8.0, 12.0), (0.0, 0.0)),),
    window_soft_px=12.0,
    window_opacity_pct=80.0,
    subject=Subject(12, (100, 200, 64, 48), -0.3, -0.7),
    by_hand=("fill", "window"),
)


def _log(*shots: ShotPlan, settings: PlanSettings | None = None) -> dict[str, Any]:
    """The log as read back from its text."""
    plan = Plan(SCREEN, limits_for(SCREEN), CLIP, shots, settings or PlanSettings())
    log = change_log(plan, shot_results(plan, None, None), sources=(), outputs=(), timecode=None, tool={"name": "t"})
    return dict(json.loads(change_log_text(log)))


def test_a_shot_tells_its_soft_window_its_subject_and_what_was_decided_by_hand() -> None:
    shot = _log(PLAIN, DECIDED)["shots"][1]
    assert (shot["window_soft_px"], shot["window_opacity_pct"]) == (12.0, 80.0)
    assert shot["subject"] == {"frame": 12, "box": [100, 200, 64, 48], "at_pct": -0.3, "found_pct": -0.7}
    assert shot["by_hand"] == ["fill", "window"]


def test_a_shot_without_them_says_so() -> None:
    shot = _log(PLAIN)["shots"][0]
    assert (shot["window_soft_px"], shot["window_opacity_pct"]) == (0.0, 100.0)
    assert shot["subject"] is None
    assert shot["by_hand"] == []


@pytest.mark.parametrize("found_pct", [None, float("nan")])
def test_a_subject_that_was_not_found_has_no_parallax(found_pct: float | None) -> None:
    subject = Subject(3, (0, 0, 8, 8), 0.0, found_pct)
    assert _log(replace(PLAIN, subject=subject))["shots"][0]["subject"]["found_pct"] is None


def test_the_log_tells_the_footage_and_the_settings_it_was_planned_under() -> None:
    settings = PlanSettings(window=WindowSettings(soft_px=6.0, opacity_pct=75.0), fill="crop")
    log = _log(PLAIN, settings=settings)
    assert log["clip"]["footage"] == "0123456789abcdef"
    assert (log["settings"]["window"]["soft_px"], log["settings"]["window"]["opacity_pct"]) == (6.0, 75.0)
    assert log["settings"]["fill"] == "crop"
