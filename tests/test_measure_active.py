"""Bars, windows, soft edges and corners already in the source, painted into made-up pictures (computed)."""

from dataclasses import replace
from fractions import Fraction

import cv2
import numpy as np
import pytest

from postfix.measure.active import active_picture, windows_in_source
from postfix.measure.table import ClipInfo, FrameMeasure, MeasurementTable
from postfix.source.shots import Shot

WIDTH, HEIGHT = 960, 540


def scene(seed, shift=0, noise=0.004):
    """A textured picture; ``shift`` moves it sideways, as the other eye sees it."""
    rng = np.random.default_rng(seed)
    picture = np.zeros((HEIGHT, WIDTH + 100), np.float32)
    for blur in (2, 8, 40):
        layer = cv2.GaussianBlur(rng.standard_normal(picture.shape).astype(np.float32), (0, 0), blur)
        picture += 0.1 * layer / layer.std()
    picture = np.clip(0.45 + picture, 0.03, 1.0)[:, 50 + shift : 50 + shift + WIDTH]
    return picture + noise * np.random.default_rng(seed + shift).standard_normal(picture.shape).astype(np.float32)


def pair(seed=1):
    return scene(seed), scene(seed, 8)


def line_of(top, bottom, height=HEIGHT):
    return top + (bottom - top) * (np.arange(height) + 0.5) / height


def side_mask(top, bottom, soft=0.0):
    """Gain of a picture whose left side is hidden along a line, coming up over ``soft`` columns about it."""
    distance = np.arange(WIDTH)[None, :] + 0.5 - line_of(top, bottom)[:, None]
    return np.clip(distance / max(soft, 1e-3) + 0.5, 0.0, 1.0).astype(np.float32)


def bars(grey, top=0, bottom=0, left=0, right=0, level=0.0):
    out = grey.copy()
    for box in (np.s_[:top], np.s_[HEIGHT - bottom :], np.s_[:, :left], np.s_[:, WIDTH - right :]):
        out[box] = level
    return out


def test_a_picture_without_black_is_all_active():
    found = active_picture(*pair())
    assert not found
    assert found.left_kind == found.right_kind == ""


@pytest.mark.parametrize("level", [0.0, 0.004, 18 / 255 - 16 / 235, 5 / 255, -0.06])
@pytest.mark.parametrize(("top", "bottom"), [(69, 69), (12, 30)])
def test_letterbox_bars_are_found_in_both_eyes_at_any_black_level(level, top, bottom):
    rng = np.random.default_rng(7)
    eyes = [bars(eye, top, bottom, level=level) for eye in pair()]
    eyes = [eye + 0.001 * rng.standard_normal(eye.shape).astype(np.float32) for eye in eyes]
    found = active_picture(*eyes)
    assert found.left.bars_px == pytest.approx((top, bottom), abs=1.0)
    assert found.right.bars_px == pytest.approx((top, bottom), abs=1.0)
    assert found.left_kind == found.right_kind == ""


def test_pillar_bars_are_bars_and_no_windows():
    found = active_picture(*(bars(eye, left=120, right=120) for eye in pair()))
    assert found.left_hidden_px == pytest.approx((120,) * 4, abs=1.5)
    assert found.right_hidden_px == pytest.approx((120,) * 4, abs=1.5)
    assert (found.left_kind, found.right_kind) == ("bar", "bar")


def test_a_window_in_one_eye_is_a_window_also_inside_a_letterbox():
    left, right = (bars(eye, 60, 60) for eye in pair())
    found = active_picture(left * side_mask(30, 10), right)
    assert found.left_kind == "window"
    assert found.left_hidden_px == pytest.approx((30, 10, 0, 0), abs=1.6)
    assert found.left.bars_px == pytest.approx((60, 60), abs=1.0)


def test_a_window_beside_a_bar_is_still_a_window():
    left, right = (bars(eye, left=20, right=20) for eye in pair())
    found = active_picture(left * side_mask(34, 34), right)
    assert (found.left_kind, found.right_kind) == ("window", "bar")
    assert found.left_hidden_px == pytest.approx((34, 34, 20, 20), abs=1.5)


@pytest.mark.parametrize("side", ["left", "right"])
@pytest.mark.parametrize(("top", "bottom"), [(14.55, 14.55), (30.25, 30.25), (9.9, 9.9), (21.0, 21.0), (30.3, 10.6)])
def test_a_windows_hard_edge_is_known_to_a_fraction_of_a_pixel(side, top, bottom):
    left, right = pair()
    ends = line_of(top, bottom)[:, None] - np.arange(WIDTH)[None, :]
    shown = (1.0 - np.clip(ends, 0.0, 1.0)).astype(np.float32)
    if side == "left":
        found = active_picture(left * shown, right).left_hidden_px[:2]
    else:
        found = active_picture(left, right * shown[:, ::-1]).right_hidden_px[2:]
    # The edge of a slanted one runs through the columns of the rows that are averaged before it is looked for.
    assert found == pytest.approx((top, bottom), abs=0.15 if top == bottom else 1.0)


@pytest.mark.parametrize("soft", [6.0, 12.0, 20.0])
@pytest.mark.parametrize(("top", "bottom"), [(24, 24), (40, 20)])
def test_a_windows_soft_edge_lies_where_the_picture_has_come_up_to_half(soft, top, bottom):
    left, right = pair()
    found = active_picture(left * side_mask(top, bottom, soft), right)
    assert found.left_kind == "window"
    assert found.left_hidden_px[:2] == pytest.approx((top, bottom), abs=2.5)
    # What is kept out of the measurement reaches to where the picture is nearly whole.
    assert 0.25 * soft <= found.left.left.soft_px <= 0.75 * soft + 2.0


@pytest.mark.parametrize("ramp", [5, 10, 20])
def test_a_gates_soft_edge_at_the_frame_edge_is_kept_out(ramp):
    gain = np.clip((np.arange(WIDTH) + 0.5) / ramp, 0.0, 1.0).astype(np.float32)[None, :]
    found = active_picture(*(eye * gain for eye in pair()))
    assert found.left_kind == "bar"
    for eye in (found.left, found.right):
        assert 0.7 * ramp <= eye.left.kept_out_px[0] <= ramp + 3
        assert not eye.right


def test_a_lens_that_darkens_towards_the_sides_hides_nothing():
    x = np.linspace(-1, 1, WIDTH, dtype=np.float32)[None, :]
    assert not active_picture(*(eye * (1 - 0.6 * x**2) for eye in pair()))


def test_rounded_corners_are_found_and_kept_out():
    y, x = np.mgrid[:HEIGHT, :WIDTH] + 0.5
    inwards = np.hypot(np.maximum(30 - np.minimum(x, WIDTH - x), 0), np.maximum(30 - np.minimum(y, HEIGHT - y), 0))
    gate = (inwards <= 30).astype(np.float32)
    found = active_picture(*(eye * gate for eye in pair()))
    assert found.left.corner_px == pytest.approx(30, abs=6)
    lit = found.left.lit(HEIGHT, WIDTH, HEIGHT, WIDTH)
    assert not lit[2, 2]
    assert lit[HEIGHT // 2, 0]
    assert np.mean(lit != (gate > 0)) < 0.001


def test_a_night_scene_with_dark_borders_has_no_bars():
    y, x = np.mgrid[:HEIGHT, :WIDTH]
    for seed in range(4):
        wavy = 60 + 40 * np.sin(x / 90 + seed) + 25 * np.sin(x / 37)
        glow = np.clip((y - wavy) / 150, 0, 1) * np.clip((x - 80 - 50 * np.sin(y / 60 + seed)) / 200, 0, 1)
        found = active_picture(*(eye * glow.astype(np.float32) for eye in pair(seed)))
        assert found.left.bars_px == found.right.bars_px == (0.0, 0.0)
        assert found.left_hidden_px == (0.0,) * 4


def test_a_sky_that_grows_lighter_from_black_is_no_bar():
    sky = np.linspace(0, 0.3, HEIGHT, dtype=np.float32)[:, None] * np.ones((1, WIDTH), np.float32)
    assert not active_picture(sky, sky)


def test_a_tall_black_bar_in_one_eye_alone_is_part_of_the_picture_and_a_narrow_one_is_not():
    left, right = pair()
    assert active_picture(bars(left, top=80), right).left.bars_px == (0.0, 0.0)
    assert active_picture(bars(left, top=8), right).left.bars_px == pytest.approx((8, 0), abs=1)


@pytest.mark.parametrize("level", [0.0, 0.01, 1.0, float("nan"), float("inf")])
def test_flat_and_broken_pictures_have_no_bars(level):
    flat = np.full((HEIGHT, WIDTH), level, np.float32)
    assert not active_picture(flat, flat)


def test_lines_of_missing_samples_do_not_disturb():
    left, right = (bars(eye, 40, 40) for eye in pair())
    left[100:110, 200:300] = np.nan
    assert active_picture(left, right).left.bars_px == pytest.approx((40, 40), abs=1)


def test_a_picture_too_small_to_hold_an_edge_has_none():
    assert not active_picture(np.zeros((8, 64), np.float32), np.ones((8, 64), np.float32))


def test_lit_pixels_of_the_proxy_leave_out_bars_and_windows():
    left, right = (bars(eye, 54, 0) for eye in pair())
    found = active_picture(left * side_mask(40, 40), right)
    lit = found.left.lit(270, 240, HEIGHT, WIDTH)
    assert not lit[:27].any()
    assert not lit[:, :10].any()
    assert lit[28:, 11:].all()


def table_of(frames, shots):
    clip = ClipInfo("quay", WIDTH, HEIGHT, Fraction(24), 2)
    return MeasurementTable(clip, tuple(frames), ("",) * len(frames), shots)


def test_windows_and_bars_in_the_source_are_reported_by_shot():
    plain = FrameMeasure()
    windowed = replace(plain, left_hidden_px=(12.0, 20.0, 0.0, 0.0))
    boxed = replace(plain, left_bars_px=(60.0, 60.0), right_bars_px=(60.0, 60.0), right_hidden_px=(9.0,) * 4)
    table = table_of([plain, *[windowed] * 4, plain, *[boxed] * 6], (Shot("sh1", 0, 5), Shot("sh2", 6, 11)))
    window, *others = windows_in_source(table)
    assert (window.shot, window.kind, window.eye, window.side) == ("sh1", "window", "left", "left")
    assert (window.widest_px, window.first, window.last, window.frames) == (20.0, 1, 4, 4)
    assert "window is already in the source" in window.sentence()
    assert [(black.kind, black.eye, black.side) for black in others] == [
        ("bar", "both", "right"), ("bar", "both", "top"), ("bar", "both", "bottom"),
    ]  # fmt: skip


def test_one_dark_frame_in_a_shot_is_no_window():
    plain = FrameMeasure()
    table = table_of([plain, replace(plain, right_hidden_px=(0, 0, 15.0, 15.0)), *[plain] * 8], (Shot("sh1", 0, 9),))
    assert windows_in_source(table) == ()
