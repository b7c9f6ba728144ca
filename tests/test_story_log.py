"""What is told of an edit besides its limits, in the change log and on the command line."""

import json
import math

import pytest

from postfix.camera import Camera
from postfix.deliver.story_log import camera_entry, shot_story_entry, story_entry
from postfix.plan.settings import PlanSettings
from postfix.story.clip import story_as_given
from postfix.viewing import BUILTIN_SCREENS
from tests.plan_tables import frame, table

CINEMA = BUILTIN_SCREENS["cinema-12m"]


def numbers(data, key=""):
    """Every number in plain data, under its key."""
    if isinstance(data, dict):
        for name, value in data.items():
            yield from numbers(value, name)
    elif isinstance(data, list):
        for value in data:
            yield from numbers(value, key)
    elif isinstance(data, float | int) and not isinstance(data, bool):
        yield key, data


@pytest.mark.parametrize("far", [0.2, 0.54, 0.5417, 0.6, 3.0, 50.0, math.nan])
def test_no_distance_in_a_log_is_negative_or_infinite(far):
    camera = Camera(65.0, 35.0, 24.89, math.inf, near_mm=1500.0, far_mm=math.inf)
    story = story_as_given(table([frame(-1.0, far)] * 24), CINEMA, PlanSettings(), {"sh001": camera})
    entry = {"story": story_entry(story), "shot": shot_story_entry(story.shots[0])}
    text = json.dumps(entry, allow_nan=False)
    for key, value in numbers(json.loads(text)):
        if key.endswith("_mm") and key != "aside_mm":
            assert value >= 0.0, key


def test_a_camera_is_logged_as_far_as_it_was_noted():
    assert camera_entry(None) is None
    assert camera_entry(Camera(interaxial_mm=65.0, convergence_mm=math.inf)) == {
        "interaxial_mm": 65.0,
        "convergence_mm": "inf",
        "rig": "parallel",
    }


def test_a_seat_of_a_shot_goes_by_its_name():
    story = story_as_given(table([frame()] * 24), CINEMA, PlanSettings())
    names = [seat["name"] for seat in shot_story_entry(story.shots[0])["seats"]]
    assert names == [seat["name"] for seat in story_entry(story)["seats"]] == [seat.name for seat in story.seats]
