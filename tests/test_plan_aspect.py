"""Both eyes brought onto common rows where pixels are not square: a turn is one of the picture as it is shown.

What is expected is arithmetic (computed): points are brought to square pixels, placed there by the plain formula, and
brought back.
"""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction

import numpy as np
import pytest
from plan_tables import frame, measurement
from test_plan_align import PLANTED

from postfix.measure.differences import differences
from postfix.measure.misfit import Misfit
from postfix.measure.table import ClipInfo
from postfix.plan.geometry import SIDES, bare_px, changes_nothing, moves_of, placements, stretch_of, zoom_of
from postfix.plan.misaligned import corner_pct, side_shift_pct
from postfix.plan.model import HitKey, Misalignment, ShotPlan
from postfix.plan.placement import STILL, Placement

HEIGHT = 858
SHOT = ShotPlan("s001", 0, 23)
ASPECTS = [Fraction(2), Fraction(1, 2), Fraction(4, 3)]


def _clip(aspect: Fraction, **more: int) -> ClipInfo:
    """One picture, 2048 wide where pixels are square, in pixels of another shape."""
    return ClipInfo("kites", round(2048 / aspect), HEIGHT, Fraction(24), 2, pixel_aspect=aspect, **more)  # type: ignore[arg-type]


def _points(clip: ClipInfo, seed: int = 3) -> np.ndarray:
    return np.random.default_rng(seed).uniform(-0.5, 0.5, (500, 2)) * (clip.width_px, clip.height_px)


def _turned(points: np.ndarray, turn_deg: float, aspect: float) -> np.ndarray:
    """Turned in square pixels: there, round the centre, and back."""
    turn = np.radians(turn_deg)
    x, y = (points * (aspect, 1.0)).T
    square = np.stack([np.cos(turn) * x - np.sin(turn) * y, np.sin(turn) * x + np.cos(turn) * y], axis=1)
    return square / (aspect, 1.0)


def _placed(points: np.ndarray, placement: Placement) -> np.ndarray:
    turned = _turned(points, placement.turn_deg, placement.pixel_aspect)
    return placement.zoom * turned + (placement.right_px, placement.down_px)


def _undone(points: np.ndarray, placement: Placement) -> np.ndarray:
    moved = (points - (placement.right_px, placement.down_px)) / placement.zoom
    return _turned(moved, -placement.turn_deg, placement.pixel_aspect)


def _in_right(points: np.ndarray, planted: Misalignment, clip: ClipInfo) -> np.ndarray:
    """Where points lie in a right eye whose picture, as it is shown, is misaligned as planted."""
    misfit = Misfit(
        planted.vertical_px or 0.0, np.radians(planted.rotation_deg or 0.0), 1.0 + (planted.size_pct or 0.0) / 100.0
    )
    unit, centre = np.array([float(clip.pixel_aspect), 1.0]), np.array([1024.0, HEIGHT / 2])
    return (misfit.in_right(points * unit + centre, 2049, HEIGHT + 1) - centre) / unit


@pytest.mark.parametrize("planted", PLANTED)
@pytest.mark.parametrize("aspect", ASPECTS)
def test_a_misfit_told_on_stored_pixels_puts_points_where_the_shown_picture_has_them(
    planted: Misalignment, aspect: Fraction
) -> None:
    clip, points = _clip(aspect), _points(_clip(aspect))
    turn, size = np.radians(planted.rotation_deg or 0.0), 1.0 + (planted.size_pct or 0.0) / 100.0
    misfit = Misfit(planted.vertical_px or 0.0, turn, size, pixel_aspect=float(aspect))
    centre = np.array([clip.width_px, HEIGHT]) / 2.0
    there = misfit.in_right(points + centre, clip.width_px + 1, HEIGHT + 1)
    np.testing.assert_allclose(there - centre, _in_right(points, planted, clip), atol=1e-8)
    np.testing.assert_allclose(misfit.straightened(there, clip.width_px + 1, HEIGHT + 1), points + centre, atol=1e-8)


def _aligned(planted: Misalignment, **more: object) -> ShotPlan:
    return replace(SHOT, align=True, misalignment=planted, **more)  # type: ignore[arg-type]


@pytest.mark.parametrize("planted", PLANTED)
@pytest.mark.parametrize("aspect", ASPECTS)
def test_aligned_eyes_agree_in_every_point_and_parallax_is_stretched_as_planned(
    planted: Misalignment, aspect: Fraction
) -> None:
    clip = _clip(aspect)
    shot = _aligned(planted, hit=(HitKey(0, 0.7),))
    left, right = placements(shot, clip, 0)
    points, parallax = _points(clip), np.linspace(-40.0, 40.0, 500)
    hit_px = 0.7 * clip.width_px / 100.0
    at_screen = _placed(_in_right(points, planted, clip), right) - _placed(points, left)
    np.testing.assert_allclose(at_screen, np.broadcast_to((hit_px, 0.0), points.shape), atol=1e-8)
    moved = _in_right(points + np.stack([parallax, 0.0 * parallax], axis=1), planted, clip)
    across = (_placed(moved, right) - _placed(points, left))[:, 0]
    np.testing.assert_allclose(across, stretch_of(shot, clip) * parallax + hit_px, atol=1e-8)


@pytest.mark.parametrize("planted", PLANTED)
@pytest.mark.parametrize("aspect", ASPECTS)
def test_one_picture_is_aligned_alike_whatever_the_shape_of_its_pixels(planted: Misalignment, aspect: Fraction) -> None:
    wide, square = _clip(aspect), _clip(Fraction(1))
    for fill in ("hide", "zoom"):
        shot = _aligned(planted, hit=(HitKey(0, -0.9),), fill=fill)
        assert zoom_of(shot, wide) == pytest.approx(zoom_of(shot, square), abs=2e-6)
        for eye, usual in zip(placements(shot, wide, 0), placements(shot, square, 0)):
            assert eye.right_px * float(aspect) == pytest.approx(usual.right_px, abs=1e-3)
            assert eye.down_px == pytest.approx(usual.down_px, abs=1e-3)
            assert eye.turn_deg == usual.turn_deg
    assert corner_pct(planted, wide) == pytest.approx(corner_pct(planted, square))
    assert side_shift_pct(planted, wide) == pytest.approx(side_shift_pct(planted, square))


@pytest.mark.parametrize("planted", PLANTED)
@pytest.mark.parametrize("aspect", ASPECTS)
@pytest.mark.parametrize("spare", [0, 60])
def test_an_aligned_picture_covers_the_frame_and_is_enlarged_no_more_than_that_takes(
    planted: Misalignment, aspect: Fraction, spare: int
) -> None:
    clip = _clip(aspect, spare_px=spare)
    half_x, half_y = clip.width_px / 2, HEIGHT / 2
    shot = _aligned(planted, fill="zoom")
    corners = np.array([(x, y) for x in (-half_x, half_x) for y in (-half_y, half_y)])

    def uncovered_px(factor: float) -> float:
        drawn = [
            replace(eye, zoom=eye.zoom * factor, right_px=eye.right_px * factor, down_px=eye.down_px * factor)
            for eye in placements(shot, clip, 0)
        ]
        return max(float((np.abs(_undone(corners, eye)) - (half_x + spare, half_y)).max()) for eye in drawn)

    assert uncovered_px(1.0) <= 1e-6
    assert zoom_of(shot, clip) == 1.0 or uncovered_px(1.0 - 1e-5) > 0.0


@pytest.mark.parametrize("planted", PLANTED)
@pytest.mark.parametrize("aspect", ASPECTS)
@pytest.mark.parametrize("pct", [1.2, -1.2])
def test_what_the_hit_of_an_aligned_shot_lays_bare_is_all_reckoned_hidden(
    planted: Misalignment, aspect: Fraction, pct: float
) -> None:
    clip = _clip(aspect)
    half_x, half_y = clip.width_px / 2, HEIGHT / 2
    shot = _aligned(planted, hit=(HitKey(0, pct),))
    moves = moves_of(shot, clip, [0])
    rows = np.linspace(-half_y, half_y, 50)
    for index, eye in enumerate(placements(shot, clip, 0)):
        for side, sign in zip(SIDES, (-1.0, 1.0)):
            hidden = bare_px(moves, side, clip.width_px)[index][0]
            first = np.stack([np.full(50, sign * (half_x - hidden)), rows], axis=1)
            assert (np.abs(_undone(first, eye)) <= (half_x + 1e-6, half_y + 0.25)).all()


def test_a_shot_with_nothing_to_align_stays_as_it_is_on_any_pixels() -> None:
    clip = _clip(Fraction(2))
    even = _aligned(Misalignment(0.0, 0.0, None))
    assert changes_nothing(even, clip)
    assert placements(even, clip, 3) == (STILL, STILL)
    assert Placement(pixel_aspect=2.0).is_still


@pytest.mark.parametrize("aspect", [*ASPECTS, Fraction(1)])
def test_the_worst_corner_lies_off_by_as_many_rows_whatever_the_shape_of_the_pixels(aspect: Fraction) -> None:
    # 0.4° over 1024 square pixels, half the width, is 7.149 rows (computed), and 4 rows of shift with it.
    clip = _clip(aspect)
    made = measurement(lambda i: replace(frame(), vertical_px=4.0, rotation_deg=0.4, size_pct=0.0), 24, clip=clip)
    (note,) = [note for note in differences(made) if note.kind == "corner"]
    assert note.value == pytest.approx((4.0 + 7.149) * 100.0 / HEIGHT, abs=1e-3)
