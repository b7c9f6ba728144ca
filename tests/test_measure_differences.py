"""Differences between the eyes are put on, measured, and held against published figures.

What was put on is exact by construction (computed): pictures are bent with a cubic spline about their centre, toned and
softened by formula. On photographs the pair's own difference counts too, so that the change of the figure is compared.
"""

import json
import math
from dataclasses import replace
from functools import cache

import cv2
import numpy as np
import pytest
from plan_tables import frame
from plan_tables import measurement as table
from real_pairs import motorcycle
from scipy import ndimage
from test_measure_scenes import scene_of

from postfix.measure.alignment import PointMatches, find_alignment, find_misfit
from postfix.measure.differences import LIMITS, PROJECT_DEFAULT, differences
from postfix.measure.matching import coarse_parallax
from postfix.measure.misfit import Misfit, outside_columns, without_misfit
from postfix.measure.proxy import proxy_pair
from postfix.measure.tone import sharpness_difference, tone_difference
from postfix.source.picture import PictureFormat, PlaneFormat, small_rgb

LUMA = np.array([0.2126, 0.7152, 0.0722], np.float32)


def bent(picture, lower_px=0.0, turn_deg=0.0, size=1.0, keystone=0.0):
    """The picture stretched in height by ``1 + keystone·x/width``, turned, scaled and lowered about its centre."""
    height, width = picture.shape
    turn = math.radians(turn_deg)
    y, x = np.mgrid[:height, :width].astype(float)
    x, y = x - (width - 1) / 2, y - (height - 1) / 2 - lower_px
    across = (math.cos(turn) * x + math.sin(turn) * y) / size
    down = (math.cos(turn) * y - math.sin(turn) * x) / size / (1 + keystone * across / width)
    at = [down + (height - 1) / 2, across + (width - 1) / 2]
    return ndimage.map_coordinates(picture, at, order=3, mode="nearest").astype(np.float32)


@cache
def pair(name):
    """Luma of both eyes: the Motorcycle at its own size or enlarged to 1920, or a made-up scene."""
    if isinstance(name, int):
        return tuple(np.asarray(eye, np.float32) @ LUMA for eye in scene_of(name).render(0))
    left, right, _ = motorcycle()
    eyes = [(eye.astype(np.float32) / 255) @ LUMA for eye in (left, right)]
    if name == "enlarged":
        eyes = [cv2.resize(eye, (1920, 1296), interpolation=cv2.INTER_CUBIC) for eye in eyes]
    return tuple(eyes)


def found(left, right):
    """Lower px of the source, clockwise degrees, larger %, keystone %: as a frame is measured, looked at twice."""
    proxy = proxy_pair(left, right)
    misfit, _ = find_alignment(proxy.left, proxy.right, coarse_parallax(proxy.left, proxy.right))
    assert misfit is not None
    height, width = proxy.left.shape
    if misfit.is_large(width, height):
        level = without_misfit(proxy.right, misfit, 1.0)
        misfit, _ = find_alignment(proxy.left, proxy.right, coarse_parallax(proxy.left, level), misfit)
    return np.array(
        [
            misfit.vertical_px * proxy.scale,
            math.degrees(misfit.rotation),
            100 * (misfit.size - 1),
            100 * misfit.keystone,
        ]
    )


@cache
def found_before(name):
    return found(*pair(name))


# Within 0.15 px of the source, 0.02° and 0.03 %; keystone within 0.3 %, below which a pair's own may not stand out.
TOLERANCE = np.array([0.15, 0.02, 0.03, 0.3])

APPLIED = [
    (0.02, 0.0, 1.0, 0.0),
    (-0.02, 0.0, 1.0, 0.0),
    (0.0, 2.0, 1.0, 0.0),
    (0.0, -2.0, 1.0, 0.0),
    (0.0, 0.0, 1.03, 0.0),
    (0.0, 0.0, 0.97, 0.0),
    (0.0, 0.0, 1.0, 0.02),
    (0.002, 0.1, 0.998, -0.005),
    (0.02, 2.0, 1.03, 0.02),
]


@pytest.mark.parametrize("applied", APPLIED)
@pytest.mark.parametrize("name", ["motorcycle", 41])
def test_shift_rotation_size_and_keystone_are_recovered(name, applied):
    share, turn, size, keystone = applied
    left, right = pair(name)
    lower = share * left.shape[0]
    after = found(left, bent(right, lower, turn, size, keystone))
    before = found_before(name) if name == "motorcycle" else 0.0
    assert (np.abs(after - before - [lower, turn, 100 * (size - 1), 100 * keystone]) < TOLERANCE).all()


@pytest.mark.parametrize("applied", [APPLIED[0], APPLIED[2], APPLIED[8]])
def test_they_are_recovered_as_exactly_in_a_large_picture(applied):
    share, turn, size, keystone = applied
    left, right = pair("enlarged")
    lower = share * left.shape[0]
    change = found(left, bent(right, lower, turn, size, keystone)) - found_before("enlarged")
    assert (np.abs(change - [lower, turn, 100 * (size - 1), 100 * keystone]) < TOLERANCE).all()


def test_noise_and_a_quarter_more_gain_do_not_move_them():
    rng = np.random.default_rng(4)
    left, right = pair("motorcycle")
    spoilt = np.clip(1.25 * bent(right, 5.0, 1.0, 1.01), 0, 1) + rng.normal(0, 0.02, right.shape).astype(np.float32)
    noisy = left + rng.normal(0, 0.02, left.shape).astype(np.float32)
    assert (np.abs(found(noisy, spoilt) - found_before("motorcycle") - [5.0, 1.0, 1.0, 0.0]) < TOLERANCE).all()


def scattered(misfit, box, noise_px=0.1, count=150, false=0, seed=1):
    """Points in a box of a 480×270 picture (shares), matched under a misfit, with noise in height."""
    rng = np.random.default_rng(seed)
    left = rng.uniform(box[:2], box[2:], (count, 2)) * [479, 269]
    right = misfit.in_right(left + np.column_stack([rng.uniform(-20, 5, count), np.zeros(count)]), 480, 270)
    right[:, 1] += rng.normal(0, noise_px, count)
    right[:false, 1] += rng.uniform(-9, 9, false)
    return PointMatches(left.astype(np.float32), right.astype(np.float32))


def test_keystone_that_does_not_stand_out_of_noise_is_none_and_leaks_nowhere():
    true = Misfit(1.0, math.radians(0.5), 1.01)
    for seed in range(20):
        fit = find_misfit(scattered(true, (0.0, 0.3, 0.35, 0.9), seed=seed), 480, 270)
        assert fit.keystone == 0.0
        assert math.degrees(fit.rotation) == pytest.approx(0.5, abs=0.15)
        assert fit.size == pytest.approx(1.01, abs=0.003)


def test_points_too_close_together_tell_a_shift_and_no_more():
    fit = find_misfit(scattered(Misfit(1.0, 0.0, 1.0), (0.48, 0.48, 0.52, 0.52), count=40), 480, 270)
    assert fit.vertical_px == pytest.approx(1.0, abs=0.1)
    assert np.isnan([fit.rotation, fit.size, fit.keystone]).all()
    assert fit.corner_px(480, 270) == pytest.approx(fit.vertical_px)


def test_a_third_of_false_matches_does_not_matter():
    fit = find_misfit(scattered(Misfit(2.0, 0.01, 0.99), (0, 0, 1, 1), false=50), 480, 270)
    assert (fit.vertical_px, fit.rotation, fit.size) == pytest.approx((2.0, 0.01, 0.99), abs=0.05)
    assert fit.rotation == pytest.approx(0.01, abs=0.0005)


def test_points_that_agree_on_nothing_tell_nothing():
    rng = np.random.default_rng(2)
    left = rng.uniform(0, 1, (150, 2)) * [479, 269]
    right = left + rng.uniform(-9, 9, left.shape)
    assert find_misfit(PointMatches(left.astype(np.float32), right.astype(np.float32)), 480, 270) is None
    assert find_misfit(scattered(Misfit(1.0, 0.0, 1.0), (0, 0, 1, 1), count=20), 480, 270) is None


BENT = Misfit(2.0, math.radians(1.5), 1.02, 0.02)


@pytest.mark.parametrize("misfit", [BENT, replace(BENT, keystone=0.0)])
def test_a_part_of_the_straightened_picture_is_the_same_as_cut_from_the_whole(misfit):
    _, right = pair(41)
    whole = without_misfit(right, misfit, 2.0)
    part = without_misfit(right, misfit, 2.0, (60, 30, 160, 500))
    assert part.shape == (470, 100)
    assert np.abs(part - whole[30:500, 60:160]).max() < 0.02


@pytest.mark.parametrize("misfit", [BENT, replace(BENT, keystone=0.0), Misfit(0.01, 0.0, 1.0)])
def test_straightening_takes_out_what_bending_put_on(misfit):
    _, right = pair(41)
    spoilt = bent(right, misfit.vertical_px * 2, math.degrees(misfit.rotation), misfit.size, misfit.keystone)
    inner = np.s_[40:-40, 60:-60]
    assert np.abs(without_misfit(spoilt, misfit, 2.0)[inner] - right[inner]).mean() < 0.01


def test_there_and_back_is_where_one_was():
    points = np.random.default_rng(3).uniform(0, 400, (50, 2))
    there = BENT.in_right(points, 960, 540, 2.0)
    assert BENT.straightened(there, 960, 540, 2.0) == pytest.approx(points, abs=0.05)


@pytest.mark.parametrize("misfit", [BENT, Misfit(5.0, 0.0, 1.0), Misfit(0.0, 0.0, 0.97), Misfit(0.0, 0.0, 1.0)])
def test_what_lies_outside_the_right_picture_is_known_row_by_row(misfit):
    rows, columns = np.mgrid[:270, :480]
    at = misfit.in_right(np.column_stack([columns.ravel(), rows.ravel()]), 480, 270)
    inside = ((at >= -0.5) & (at <= [479.5, 269.5])).all(axis=1).reshape(270, 480)
    left, right = outside_columns(misfit, 480, 270)
    told = (columns >= left[:, None]) & (columns < 480 - right[:, None])
    assert (told == inside).all()


def small_pair(name, spoil=lambda eye: eye):
    """Both eyes in colour, the right one spoilt, reduced to 160 across, and the left eye's parallax at that size."""
    if name == "motorcycle":
        left, right, parallax = motorcycle()
        left, right = (eye.astype(np.float32) / 255 for eye in (left, right))
    else:
        scene = scene_of(name)
        left, right = (np.asarray(eye, np.float32) for eye in scene.render(0))
        parallax = np.asarray(scene.truth(0).left_parallax_px, np.float32)
    right = np.clip(spoil(right), 0.0, 1.0).astype(np.float32)
    size = (160, round(left.shape[0] * 160 / left.shape[1]))
    small = [cv2.resize(eye, size, interpolation=cv2.INTER_AREA) for eye in (left, right)]
    rows, columns = ((np.arange(n) + 0.5) * s / n for n, s in ((size[1], left.shape[0]), (160, left.shape[1])))
    factor = np.float32(160 / left.shape[1])
    near = parallax[np.ix_(rows.astype(int), columns.astype(int))].astype(np.float32) * factor
    return (*small, near), (left @ LUMA, right @ LUMA)


@cache
def tone_before(name):
    return tone_difference(*small_pair(name)[0])


def figures(tone):
    return np.array([tone.red_gain_pct, tone.green_gain_pct, tone.blue_gain_pct, tone.gain_pct])


@pytest.mark.parametrize("noise", [0.0, 0.02])
@pytest.mark.parametrize(
    ("gains", "black"), [((0.75,) * 3, 0.0), ((0.8, 0.9, 1.0), 0.0), ((1.0,) * 3, 0.03), ((0.9,) * 3, -0.01)]
)
@pytest.mark.parametrize("name", ["motorcycle", 41, 44])
def test_gain_of_each_channel_and_black_level_are_recovered(name, gains, black, noise):
    def spoil(eye):
        grain = np.random.default_rng(6).normal(0, noise, eye.shape)
        return eye * np.array(gains) + black + grain

    tone, before = tone_difference(*small_pair(name, spoil)[0]), tone_before(name)
    expected = 100 * ((1 + figures(before)[:3] / 100) * gains - 1)
    assert figures(tone)[:3] == pytest.approx(expected, abs=1.0)
    if len(set(gains)) == 1:
        assert tone.gain_pct == pytest.approx(100 * ((1 + before.gain_pct / 100) * gains[0] - 1), abs=1.0)
        assert tone.black_pct == pytest.approx(before.black_pct * gains[0] + 100 * black, abs=0.3)


@pytest.mark.parametrize("name", ["motorcycle", 41, 44])
def test_what_clips_at_white_does_not_pull_the_gain_down(name):
    tone, before = tone_difference(*small_pair(name, lambda eye: 1.25 * eye)[0]), tone_before(name)
    assert tone.gain_pct == pytest.approx(125 * (1 + before.gain_pct / 100) - 100, abs=1.0)


@pytest.mark.parametrize("name", [41, 44, 47])
def test_eyes_alike_have_no_difference_of_tone(name):
    tone = tone_before(name)
    assert figures(tone) == pytest.approx(0.0, abs=1.0)
    assert tone.black_pct == pytest.approx(0.0, abs=0.3)


def test_tone_is_empty_where_nothing_tells():
    (left, right, parallax), _ = small_pair(41)
    flat = np.full_like(left, 0.4)
    unknown = np.full_like(parallax, np.nan)
    broken = right.copy()
    broken[:] = np.nan
    for eyes in ((left, right, unknown), (flat, flat, parallax), (left, flat, parallax), (left, broken, parallax)):
        tone = tone_difference(*eyes)
        assert np.isnan([*figures(tone), tone.black_pct]).all()


def test_a_few_infinite_samples_do_not_spoil_the_tone():
    (left, right, parallax), _ = small_pair(41)
    spoilt = right.copy()
    spoilt[10:14, 20:30], spoilt[40, 40] = np.nan, np.inf
    assert tone_difference(left, spoilt, parallax).gain_pct == pytest.approx(tone_before(41).gain_pct, abs=0.3)


# Amplitude left of a period of four pixels after a Gaussian: exp(−(π/2)²σ²/2): 0.55, 0.29 (computed). Coarser detail,
# which suffers less, takes part: pictures lie between that and about one and a half times of it.
@pytest.mark.parametrize(("sigma", "least", "most"), [(0.7, -48.0, -24.0), (1.0, -72.0, -38.0)])
@pytest.mark.parametrize("noise", [0.0, 0.01])
@pytest.mark.parametrize("name", ["motorcycle", 41])
def test_a_softer_eye_is_seen_through_gain_and_noise(name, sigma, least, most, noise):
    (_, _, parallax), (left, right) = small_pair(name)
    rng = np.random.default_rng(8)
    left, *eyes = (
        eye + rng.normal(0, noise, eye.shape).astype(np.float32)
        for eye in (left, 0.85 * right, 0.85 * cv2.GaussianBlur(right, (0, 0), sigma))
    )
    alike, soft = (sharpness_difference(left, eye, parallax, -15.0) for eye in eyes)
    assert alike == pytest.approx(0.0, abs=4.0)
    assert least < soft < most


def test_sharpness_is_read_through_a_misfit_and_tells_which_eye_is_softer():
    (_, _, parallax), (left, right) = small_pair(41)
    misfit = Misfit(4.0, 0.01, 1.01)
    spoilt = bent(right, 4.0 * 2, math.degrees(0.01), 1.01)
    assert sharpness_difference(left, spoilt, parallax, 0.0, misfit, 2.0) == pytest.approx(0.0, abs=6.0)
    assert sharpness_difference(cv2.GaussianBlur(left, (0, 0), 1.0), right, parallax, 0.0) > 50.0


def test_sharpness_is_empty_where_nothing_tells():
    (_, _, parallax), (left, right) = small_pair(41)
    rng = np.random.default_rng(9)
    grain = rng.normal(0.5, 0.02, (2, *left.shape)).astype(np.float32)
    unknown = np.full_like(parallax, np.nan)
    assert math.isnan(sharpness_difference(left, right, unknown, 0.0))
    assert math.isnan(sharpness_difference(np.zeros_like(left), right, parallax, 0.0))
    assert math.isnan(sharpness_difference(*grain, parallax, 0.0))


def yuv_format(width, height, *, bits=10, full=False, step_x=2, step_y=1):
    unit, top = 1 << (bits - 8), (1 << bits) - 1
    black, white, middle = (0, top, 1 << (bits - 1)) if full else (16 * unit, 235 * unit, 128 * unit)
    chroma = PlaneFormat(step_x, step_y, 1, (float(middle),))
    planes = (PlaneFormat(1, 1, 1, (float(black),)), chroma, chroma)
    dtype = "uint8" if bits == 8 else "uint16"
    return PictureFormat(width, height, "yuv", dtype, bits, float(white), True, planes)


@pytest.mark.parametrize(("height", "weights"), [(720, (0.2126, 0.0722)), (576, (0.299, 0.114))])
@pytest.mark.parametrize("full", [False, True])
@pytest.mark.parametrize(("bits", "step_x", "step_y"), [(8, 2, 2), (10, 2, 1), (12, 1, 1)])
def test_small_colour_pictures_come_from_yuv(height, weights, full, bits, step_x, step_y):
    # Luma weights and spans of 219 and 224 steps: Rec. ITU-R BT.709-6 and BT.601-7 (from memory).
    fmt = yuv_format(1280, height, bits=bits, full=full, step_x=step_x, step_y=step_y)
    rgb = np.array([0.8, 0.45, 0.2])
    red, blue = weights
    y = red * rgb[0] + (1 - red - blue) * rgb[1] + blue * rgb[2]
    cb, cr = (rgb[2] - y) / (2 * (1 - blue)), (rgb[0] - y) / (2 * (1 - red))
    top, unit = (1 << bits) - 1, 1 << (bits - 8)
    codes = (y * top, *(128 * unit + top * c for c in (cb, cr))) if full else (
        (16 + 219 * y) * unit, *((128 + 224 * c) * unit for c in (cb, cr)))  # fmt: skip
    shapes = ((height, 1280), *[(height // step_y, 1280 // step_x)] * 2)
    planes = tuple(np.full(shape, round(code), fmt.dtype) for shape, code in zip(shapes, codes))
    small = small_rgb(planes, fmt, 160)
    assert small.shape == (height // 8, 160, 3)
    assert small == pytest.approx(np.broadcast_to(rgb, small.shape), abs=0.01)


def test_small_colour_pictures_come_from_rgb_and_grey_and_keep_what_lies_beyond_white():
    rgb = np.random.default_rng(1).uniform(0, 2, (80, 120, 3)).astype(np.float32)
    fmt = PictureFormat(120, 80, "rgb-float", "float32", 32, 1.0, False, (PlaneFormat(1, 1, 3, (0.0,) * 3),))
    expected = rgb.reshape(20, 4, 30, 4, 3).mean(axis=(1, 3))
    assert small_rgb((rgb,), fmt, 30) == pytest.approx(expected, abs=1e-5)
    apart = tuple(np.ascontiguousarray(rgb[..., i]) for i in range(3))
    single = PlaneFormat(1, 1, 1, (0.0,))
    assert small_rgb(apart, replace(fmt, planes=(single,) * 3), 30) == pytest.approx(expected, abs=1e-5)
    grey = small_rgb(apart[:1], replace(fmt, planes=(single,)), 30)
    assert grey == pytest.approx(np.repeat(expected[..., :1], 3, axis=2), abs=1e-5)
    assert small_rgb((rgb,), fmt, 500).shape == (80, 120, 3)


def told(count=24, cuts=(), clip=None, **figures):
    measured = table(lambda i: replace(frame(), **{name: of(i) for name, of in figures.items()}), count, cuts)
    return differences(measured if clip is None else replace(measured, clip=clip))


def always(**figures):
    return told(**{name: lambda _, value=value: value for name, value in figures.items()})


def test_the_limits_are_those_of_the_report():
    # Report ITU-R BT.2293-0 (2013), Table 8 (read): 1.2 % and 2.9 % of size; 0.7 % and 1.5 % of height, printed there
    # as 7.56 and 16.2 px of 1080; 0.5° and 1.1°; white clipped at 70 % and 60 %, black at 1 % and 2 %.
    published = {
        kind: (limit.just_seen, limit.tolerated) for kind, limit in LIMITS.items() if limit.source != PROJECT_DEFAULT
    }
    assert published == {
        "size": (1.2, 2.9),
        "vertical": (0.7, 1.5),
        "corner": (0.7, 1.5),
        "rotation": (0.5, 1.1),
        "white": (70.0, 60.0),
        "black": (1.0, 2.0),
    }
    assert all(limit.tolerated is None for limit in LIMITS.values() if limit.source == PROJECT_DEFAULT)


@pytest.mark.parametrize(("px", "seen"), [(7.55, False), (7.57, True), (-7.57, True), (-7.55, False)])
def test_a_vertical_shift_counts_from_what_the_report_prints_for_1080_lines(px, seen):
    # 7.56 px of 1080 (Report ITU-R BT.2293-0, Table 8; read).
    assert bool(always(vertical_px=px)) == seen


def test_each_difference_is_one_line_with_its_source():
    notes = always(vertical_px=16.3, rotation_deg=-0.62, size_pct=1.4, keystone_pct=-1.2, black_pct=1.5)
    assert [note.text for note in notes] == [
        "sh001: right eye 16.3 px lower than the left (1.51 % of height; just seen from 0.7 %, tolerated to 1.5 %: "
        "Report ITU-R BT.2293-0)",
        "sh001: right eye turned 0.62° anticlockwise against the left (just seen from 0.5°, tolerated to 1.1°: "
        "Report ITU-R BT.2293-0)",
        "sh001: right eye 1.40 % larger than the left (just seen from 1.2 %, tolerated to 2.9 %: "
        "Report ITU-R BT.2293-0)",
        "sh001: right eye 1.20 % taller at its left side than at its right, against the left eye (mentioned from 1 %: "
        "project default, no source)",
        "sh001: right eye's black lies 1.5 % of white higher than the left's (just seen from 1 %, tolerated to 2 %: "
        "Report ITU-R BT.2293-0)",
    ]
    assert [note.value for note in notes] == pytest.approx([1.5093, -0.62, 1.4, -1.2, 1.5], abs=1e-4)


@pytest.mark.parametrize(
    ("figures", "pct"),
    [
        # Of 2048×1080 (computed): 0.4° over half the width is 7.15 px; 1 % over half the height 5.4 px; 2 % of
        # keystone a quarter of that of the height, 5.4 px.
        ({"vertical_px": 4.0, "rotation_deg": 0.4}, (4.0 + 7.149) / 10.8),
        ({"vertical_px": -4.0, "size_pct": 1.0}, (4.0 + 5.4) / 10.8),
        ({"vertical_px": 0.0, "size_pct": 0.5, "keystone_pct": 0.9, "rotation_deg": 0.3}, None),
    ],
)
def test_the_worst_corner_is_held_against_the_vertical_limit_too(figures, pct):
    notes = [note for note in always(**figures) if note.kind == "corner"]
    if pct is None:
        pct = (5.362 + 2.7 + 0.009 * 270 * 1.005) / 10.8
    (note,) = notes
    assert note.value == pytest.approx(pct, abs=0.01)
    assert "in the worst corner" in note.text


def test_a_corner_no_worse_than_the_whole_picture_is_not_told_twice():
    assert [note.kind for note in always(vertical_px=9.0, rotation_deg=0.1)] == ["vertical"]


@pytest.mark.parametrize(
    ("gain", "black", "share", "says"),
    [
        (-32.0, 0.0, 68.0, "right eye's white is 68.0 % of the left's"),
        (45.0, 0.5, 100 / 1.455, "left eye's white is 68.7 % of the right's"),
        (-29.0, 0.0, None, ""),
        (25.0, 0.0, None, ""),
    ],
)
def test_the_lower_white_is_told_in_percent_of_the_higher(gain, black, share, says):
    notes = [note for note in always(gain_pct=gain, black_pct=black) if note.kind == "white"]
    assert len(notes) == (share is not None)
    for note in notes:
        assert note.value == pytest.approx(share, abs=0.01)
        assert says in note.text
        assert "just seen from 70 % down, tolerated to 60 %: Report ITU-R BT.2293-0" in note.text


def test_colour_and_sharpness_are_told_as_information_from_a_default_that_says_so():
    notes = always(red_gain_pct=4.0, green_gain_pct=0.0, blue_gain_pct=-3.0, sharpness_pct=-35.0)
    assert [(note.kind, note.tolerated, note.source) for note in notes] == [
        ("colour", None, PROJECT_DEFAULT),
        ("sharpness", None, PROJECT_DEFAULT),
    ]
    assert "right eye's red is 7.2 % stronger against its blue than in the left eye" in notes[0].text
    assert "right eye softer: its fine detail is 35 % weaker than the left's" in notes[1].text
    (note,) = always(sharpness_pct=60.0)
    assert "left eye softer: its fine detail is 38 % weaker than the right's" in note.text
    assert always(sharpness_pct=30.0, red_gain_pct=4.0, green_gain_pct=0.0, blue_gain_pct=0.0) == ()


def test_the_median_of_a_shot_decides_and_frames_without_a_figure_do_not_count():
    nan = math.nan
    wild = told(vertical_px=lambda i: 90.0 if i % 3 == 0 else 0.0)
    assert wild == ()
    assert told(vertical_px=lambda i: nan) == ()
    (note,) = told(cuts=(12,), vertical_px=lambda i: 20.0 if i > 20 else 0.0 if i < 12 else nan)
    assert (note.shot, note.kind) == ("sh002", "vertical")


def test_a_note_without_a_published_limit_is_plain_json():
    (note,) = always(keystone_pct=2.0)
    assert json.loads(json.dumps(note.__dict__))["tolerated"] is None


def test_sizes_that_do_not_divide_are_averaged_as_well():
    ramp = np.add.outer(np.linspace(0, 0.3, 858), np.linspace(0, 0.7, 2046)).astype(np.float32)
    fmt = PictureFormat(2046, 858, "grey-float", "float32", 32, 1.0, False, (PlaneFormat(1, 1, 1, (0.0,)),))
    expected = cv2.resize(ramp, (160, 67), interpolation=cv2.INTER_AREA)
    assert small_rgb((ramp,), fmt, 160)[..., 1] == pytest.approx(expected, abs=0.004)


@pytest.mark.parametrize(("gain_pct", "kinds"), [(-20.0, ["brightness"]), (8.0, []), (-35.0, ["white"])])
def test_an_eye_that_is_brighter_or_darker_is_said_once(gain_pct, kinds):
    found = always(gain_pct=gain_pct, black_pct=0.0)
    # From a tenth on: the project's own default; from 70 % of white on Report ITU-R BT.2293-0, Table 8 (read).
    assert [one.kind for one in found] == kinds
