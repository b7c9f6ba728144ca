"""What is told of an edit, as the change log and ``--json`` hold it: plain data, null where there is no number."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import asdict
from typing import Any

from postfix.camera import Camera
from postfix.plain import plain
from postfix.story.model import ShotStory, Story

_MM_DIGITS = 1
"""A place seen from a seat is known to no more."""


def story_entry(story: Story) -> dict[str, Any]:
    """What is told of the whole clip; its shots have entries of their own."""
    return {
        "measured_on": story.measured_on,
        "line": story.line,
        "seats": [_plain(asdict(seat)) for seat in story.seats],
        "whole": _plain(asdict(story.whole)),
        "minutes": [_plain(asdict(minute)) for minute in story.minutes],
        "quick_runs": [list(run) for run in story.quick_runs],
    }


def shot_story_entry(shot: ShotStory) -> dict[str, Any]:
    """What is told of a shot; a seat goes by its name."""
    told = _plain({k: v for k, v in asdict(shot).items() if k not in ("name", "first", "last")})
    for seat in told["seats"]:
        seat["name"] = seat.pop("seat")["name"]
    return told


def camera_entry(camera: Camera | None) -> dict[str, Any] | None:
    """What was noted of a camera, as far as it was; ``inf`` for what is infinite, which JSON has no number for."""
    if camera is None:
        return None
    return {name: "inf" if value == math.inf else value for name, value in asdict(camera).items() if value is not None}


def _plain(facts: Mapping[str, Any]) -> dict[str, Any]:
    return plain(facts, mm_digits=_MM_DIGITS)
