"""Both eyes brought onto common rows: where points go, and what an aligned picture covers."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction

import numpy as np
import pytest

from postfix.measure.misfit import Misfit
from postfix.measure.table import ClipInfo
from postfix.plan.geometry import (
    SIDES,
    Side,
    bare_px,
    changes_nothing,
    covering_zoom,
    hidden_px_at,
    is_resampled,
    moves_of,
    placements,
    stretch_of,
    zoom_of,
)
from postfix.plan.model import HitKey, Misalignment, ShotPlan
from postfix.plan.placement import STILL, Placement

CLIP = ClipInfo("kites", 2048, 858, Fraction(24), 2)
SHOT = ShotPlan("s001", 0, 23)
PLANTED = [
    Misalignment(7.3, 0.0, 0.0),
    Misalignment(0.0, 0.62, 0.0),
    Misalignment(0.0, 0.0, 1.8),
    Misalignment(-5.2, -1.1, -2.6),
    Misalignment(11.0, 0.9, 1.3),
    Misalignment(4.0, None, None),
]


def _placed(points: np.ndarray, placement: Placement) -> np.ndarray:
    turn = np.radians(placement.turn_deg)
    x, y = points.T
    turned = np.stack([np.cos(turn) * x - np.sin(turn) * y, np.sin(turn) * x + np.cos(turn) * y], axis=1)
    return placement.zoom * turned + (placement.right_px, placement.down_px)


def _points(seed: int = 3) -> np.ndarray:
    return np.random.default_rng(seed).uniform(-1.0, 1.0, (500, 2)) * (CLIP.width_px / 2, CLIP.height_px / 2)


def _in_right(points: np.ndarray, planted: Misalignment) -> np.ndarray:
    """Where points lie in a right eye that is misaligned as the measurement says it."""
    misfit = Misfit(
        planted.vertical_px or 0.0, np.radians(planted.rotation_deg or 0.0), 1.0 + (planted.size_pct or 0.0) / 100.0
    )
    centre = np.array([CLIP.width_px, CLIP.height_px]) / 2.0
    return misfit.in_right(points + centre, CLIP.width_px + 1, CLIP.height_px + 1) - centre


def _aligned(planted: Misalignment, **more: object) -> ShotPlan:
    return replace(SHOT, align=True, misalignment=planted, **more)


@pytest.mark.parametrize("planted", PLANTED)
def test_what_lies_at_the_screen_lies_alike_in_both_eyes_once_aligned(planted: Misalignment) -> None:
    left, right = placements(_aligned(planted), CLIP, 5)
    points = _points()
    np.testing.assert_allclose(_placed(points, left), _placed(_in_right(points, planted), right), atol=1e-8)


@pytest.mark.parametrize("planted", PLANTED)
def test_parallax_of_aligned_pictures_is_stretched_as_planned_and_moved_by_the_hit(planted: Misalignment) -> None:
    shot = _aligned(planted, hit=(HitKey(0, 0.7),))
    left, right = placements(shot, CLIP, 0)
    points, parallax = _points(), np.linspace(-40.0, 40.0, 500)
    across = _placed(_in_right(points + np.stack([parallax, 0.0 * parallax], axis=1), planted), right)
    across -= _placed(points, left)
    expected = stretch_of(shot, CLIP) * parallax + 0.7 * CLIP.width_px / 100.0
    np.testing.assert_allclose(across[:, 0], expected, atol=1e-8)
    # A pair that is turned half each way has no height left; what is shown here turned in one eye alone keeps this.
    most = abs(np.sin(np.radians((planted.rotation_deg or 0.0) / 2.0))) * 40.0 * stretch_of(shot, CLIP)
    assert np.abs(across[:, 1]).max() <= most * 1.001 + 1e-8


def _undone(points: np.ndarray, placement: Placement) -> np.ndarray:
    """Where in the source what is drawn at these points comes from."""
    turn = -np.radians(placement.turn_deg)
    x, y = ((points - (placement.right_px, placement.down_px)) / placement.zoom).T
    return np.stack([np.cos(turn) * x - np.sin(turn) * y, np.sin(turn) * x + np.cos(turn) * y], axis=1)


def _at_zoom(placement: Placement, factor: float, hit_px: float) -> Placement:
    """The same eye at a zoom so many times as large; its HIT stays."""
    right_px = (placement.right_px - hit_px) * factor + hit_px
    return Placement(placement.zoom * factor, right_px, placement.down_px * factor, placement.turn_deg)


@pytest.mark.parametrize("planted", PLANTED)
@pytest.mark.parametrize("pct", [0.0, 0.9, -0.9])
@pytest.mark.parametrize("spare", [0, 60])
def test_an_aligned_picture_covers_the_frame_and_is_enlarged_no_more_than_that_takes(
    planted: Misalignment, pct: float, spare: int
) -> None:
    clip = replace(CLIP, spare_px=spare)
    shot = _aligned(planted, hit=(HitKey(0, pct),), fill="zoom")
    corners = np.array([(x, y) for x in (-1024.0, 1024.0) for y in (-429.0, 429.0)])

    def uncovered_px(factor: float) -> float:
        eyes = zip(placements(shot, clip, 0), (-1.0, 1.0))
        drawn = [_at_zoom(eye, factor, sign * pct * clip.width_px / 200.0) for eye, sign in eyes]
        return max(float((np.abs(_undone(corners, eye)) - (1024.0 + spare, 429.0)).max()) for eye in drawn)

    assert uncovered_px(1.0) <= 1e-6
    assert zoom_of(shot, clip) == 1.0 or uncovered_px(1.0 - 1e-5) > 0.0


@pytest.mark.parametrize("planted", PLANTED)
@pytest.mark.parametrize("pct", [1.2, -1.2])
def test_what_the_hit_of_an_aligned_shot_lays_bare_is_all_reckoned_hidden(planted: Misalignment, pct: float) -> None:
    shot = _aligned(planted, hit=(HitKey(0, pct),))
    moves = moves_of(shot, CLIP, [0])
    rows = np.linspace(-429.0, 429.0, 50)
    for index, eye in enumerate(placements(shot, CLIP, 0)):
        for side, sign in zip(SIDES, (-1.0, 1.0)):
            hidden = bare_px(moves, side, CLIP.width_px)[index][0]
            first = np.stack([np.full(50, sign * (1024.0 - hidden)), rows], axis=1)
            assert (np.abs(_undone(first, eye)) <= (1024.0 + 1e-6, 429.0 + 0.25)).all()


def test_a_shot_with_nothing_to_align_changes_nothing_and_one_that_has_is_drawn_anew() -> None:
    even = _aligned(Misalignment(0.0, 0.0, None))
    assert changes_nothing(even, CLIP)
    assert placements(even, CLIP, 3) == (STILL, STILL)
    shot = _aligned(Misalignment(2.0))
    assert is_resampled(shot)
    assert not changes_nothing(shot, CLIP)
    assert placements(replace(shot, align=False), CLIP, 3) == (STILL, STILL)


def test_half_of_the_correction_goes_to_each_eye() -> None:
    left, right = placements(_aligned(Misalignment(6.0, 0.0, 0.0)), CLIP, 0)
    assert left.down_px == -right.down_px > 3.0  # the left eye comes down, and enlarging adds a little
    left, right = placements(_aligned(Misalignment(0.0, 0.8, 0.0)), CLIP, 0)
    assert (left.turn_deg, right.turn_deg) == (0.4, -0.4)
    left, right = placements(_aligned(Misalignment(0.0, 0.0, 2.0)), CLIP, 0)
    assert left.zoom / right.zoom == pytest.approx(1.02)
    assert right.zoom == pytest.approx(1.0, abs=1e-5)


def test_a_whole_move_is_placed_in_whole_steps_and_a_fine_one_where_it_was_asked_to_be() -> None:
    shot = replace(SHOT, hit=(HitKey(0, 100.0 * 5.2 / 2048),))
    assert placements(shot, CLIP, 0) == (Placement(right_px=-2.0), Placement(right_px=4.0))
    left, right = placements(replace(shot, subpixel=True), CLIP, 0)
    assert (left.right_px, right.right_px) == pytest.approx((-2.6, 2.6))
    assert left.zoom == 1.0
    assert is_resampled(replace(shot, subpixel=True))
    assert not is_resampled(shot)


@pytest.mark.parametrize("side", SIDES)
def test_spare_columns_are_shown_before_anything_is_laid_bare(side: Side) -> None:
    clip = replace(CLIP, spare_px=10)
    eye = 1 if side == "left" else 0
    for half, bare in ((8.0, 0.0), (10.0, 0.0), (14.0, 4.0)):
        shot = replace(SHOT, hit=(HitKey(0, half * 200.0 / 2048),), subpixel=True)
        assert bare_px(moves_of(shot, clip, [0]), side, clip.width_px)[eye][0] == pytest.approx(bare, abs=1e-9)
    # Black that is in the frame rides along all the same: what lies beyond it is not known to be picture.
    shot = replace(SHOT, hit=(HitKey(0, 8.0 * 200.0 / 2048),), subpixel=True)
    black = np.full((1, 4), 3.0)
    own, opposite = hidden_px_at(black, side, moves_of(shot, clip, [0]), clip.width_px, [0.5])
    assert max(own[0, 0], opposite[0, 0]) == pytest.approx(11.0)


def test_a_zoom_covers_no_more_than_the_spare_columns_leave() -> None:
    assert covering_zoom(2.0, spare_share=0.0) == pytest.approx(1.02)
    assert covering_zoom(2.0, spare_share=0.005) == pytest.approx(1.02 / 1.01, abs=1e-6)
    assert covering_zoom(2.0, spare_share=0.02) == 1.0
