"""Readings at an edge that the map contradicts; made-up strips, exact by construction (computed)."""

import math

import numpy as np
import pytest

from postfix.measure.against_map import only_unexplained
from postfix.measure.alignment import PointMatches
from postfix.measure.misfit import Misfit
from postfix.measure.side import HALF_BANDS, Side, strip_px
from postfix.measure.straight import Straight

WIDTH, HEIGHT, COLUMNS = 1280, 720, 240
BEHIND_PX, IN_FRONT_PX = 9, 60
SIZE = strip_px(WIDTH)


def texture(seed, columns):
    rng = np.random.default_rng(seed)
    return rng.random((HEIGHT, columns)).astype(np.float32)


def eyes_of(second):
    """A backdrop 9 px behind the screen; ``second`` is what stands at the edge and 60 px further in again.

    "a repeat" is part of the backdrop, so that both places have partners of their own; "a thing" stands in front, so
    that the own eye shows it at its edge alone and the other eye further in.
    """
    backdrop, patch = texture(1, COLUMNS + BEHIND_PX), texture(2, SIZE)
    if second == "a repeat":
        # Seen by the own eye at columns 0 and 60 + 9, by the other eye 9 columns further left.
        backdrop[:, :SIZE] = patch
        backdrop[:, IN_FRONT_PX + BEHIND_PX : IN_FRONT_PX + BEHIND_PX + SIZE] = patch
    own, other = backdrop[:, :COLUMNS].copy(), backdrop[:, BEHIND_PX : BEHIND_PX + COLUMNS].copy()
    if second == "a thing":
        own[:, :SIZE] = patch
        other[:, IN_FRONT_PX : IN_FRONT_PX + SIZE] = patch
    return own, other


@pytest.mark.parametrize("is_right", [False, True])
@pytest.mark.parametrize(("second", "stays"), [("a repeat", False), ("a thing", True)])
def test_what_is_found_by_chance_gives_way_to_the_map_and_what_stands_in_front_does_not(second, stays, is_right):
    own, other = (eye[:, ::-1] if is_right else eye for eye in eyes_of(second))
    nothing = np.full((90, 160), np.nan, np.float32)
    side = Side(own, other, nothing, (0.0, 0.0), (0.0, 0.0), is_right, (WIDTH, HEIGHT))
    behind, in_front = BEHIND_PX * 100 / WIDTH, -IN_FRONT_PX * 100 / WIDTH
    halves, dense = np.full(HALF_BANDS, behind), np.full(HALF_BANDS, behind)
    halves[[5, 30]] = in_front
    kept = only_unexplained(side, halves, dense)
    assert kept[[5, 30]] == pytest.approx([in_front if stays else behind] * 2)
    assert np.delete(kept, [5, 30]) == pytest.approx(behind)


def test_what_the_map_does_not_contradict_is_left_alone():
    own, other = eyes_of("a repeat")
    side = Side(own, other, np.zeros((90, 160), np.float32), (0.0, 0.0), (0.0, 0.0), False, (WIDTH, HEIGHT))
    halves = np.full(HALF_BANDS, -1.0)
    halves[3] = np.nan
    dense = np.full(HALF_BANDS, -0.8)
    dense[7] = np.nan
    assert only_unexplained(side, halves, dense) == pytest.approx(halves, nan_ok=True)


def straight_with(misfit):
    empty = np.empty((0, 2), np.float32)
    picture = np.zeros((216, 384), np.uint8)
    return Straight(picture, picture, 5.0, misfit, PointMatches(empty, empty), np.zeros((72, 128), np.float32))


def test_what_a_turned_right_eye_cannot_show_is_told_by_side():
    # Turned clockwise by 1 degree about the centre: half the height, 540 px, times its tangent is missing at an end.
    straight = straight_with(Misfit(0.0, math.radians(1.0), 1.0))
    missing = 540 * math.tan(math.radians(1.0))
    for is_right in (False, True):
        (top, bottom), _ = straight.left_behind(is_right=is_right)
        assert max(top, bottom) == pytest.approx(missing, abs=10.0)
        assert min(top, bottom) <= 5.0
    assert straight_with(None).left_behind(is_right=True) == ((0.0, 0.0), (0.0, 0.0))
    assert straight_with(Misfit(0.0, 0.0, 1.0)).left_behind(is_right=False) == ((0.0, 0.0), (0.0, 0.0))
