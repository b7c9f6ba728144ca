"""Figures on full-size pixels: patches followed to a fraction of a pixel, ends of a map, search range, straightening.

The photograph is the left eye of "Motorcycle" (Scharstein et al. 2014, from scikit-image). A shift put into a picture
is known (computed): the photograph is moved with a Fourier shift, which is exact for what its samples can hold.
"""

import math

import cv2
import numpy as np
import pytest
from real_pairs import motorcycle

from postfix.demo.layers import Layer, layered_scene
from postfix.measure import measure_pair
from postfix.measure.alignment import PointMatches
from postfix.measure.ends import find_ends
from postfix.measure.matching import (
    ParallaxMaps,
    filled_from_behind,
    only_seen,
    search_range,
    seen_from_right,
)
from postfix.measure.misfit import Misfit, without_misfit
from postfix.measure.patches import followed
from postfix.measure.straight import Straight

NAN = float("nan")
WIDTH, HEIGHT = 1920, 1080
SURE = 0.8
"""Likeness from which the measurement believes a patch."""

TELLING = 0.004
"""Spread of a patch, share of white, below which it is plain."""


@pytest.fixture(scope="module")
def photograph():
    """Luma of a photograph, (1080, 1920) float32, as soft as most pictures of that size."""
    left = motorcycle()[0].astype(np.float32)[:417] @ np.float32([0.2126, 0.7152, 0.0722]) / 255
    return cv2.resize(np.float32(left), (WIDTH, HEIGHT), interpolation=cv2.INTER_CUBIC)


def moved_right(picture, shift_px, spare=64):
    """The picture with everything further right by a fraction of a pixel, by a Fourier shift of its rows."""
    padded = np.pad(picture.astype(np.float64), ((0, 0), (spare, spare)), mode="reflect")
    turn = np.exp(-2j * np.pi * np.fft.rfftfreq(padded.shape[1]) * shift_px)
    rows = np.fft.irfft(np.fft.rfft(padded, axis=1) * turn, padded.shape[1], axis=1)
    return rows[:, spare:-spare].astype(np.float32)


def places(count=400):
    rng = np.random.default_rng(8)
    return rng.uniform(60, WIDTH - 60, count).astype(np.float32), rng.uniform(30, HEIGHT - 30, count).astype(np.float32)


def errors_px(found, shift_px):
    """Of what has texture; nearly all of it must have been found."""
    telling = found.spread > TELLING
    assert np.mean(found.likeness[telling] > SURE) > 0.95
    return np.abs(found.parallax_px - shift_px)[telling & (found.likeness > SURE)]


@pytest.mark.parametrize("shift_px", [-6.37, -0.5, 0.0, 0.25, 3.8])
@pytest.mark.parametrize("off_px", [-1.0, -0.4, 0.3])
def test_a_known_fraction_of_a_pixel_is_found_again_on_a_photograph(photograph, shift_px, off_px):
    x, y = places()
    start = np.full(x.shape, shift_px + off_px, np.float32)
    found = followed(photograph, moved_right(photograph, shift_px), x, y, start, None)
    errors = errors_px(found, shift_px)
    assert np.median(errors) < 0.02
    assert np.percentile(errors, 90) < 0.03


@pytest.mark.parametrize("off_px", [-1.9, 1.6])
def test_a_start_almost_two_pixels_off_still_ends_within_a_tenth(photograph, off_px):
    x, y = places()
    found = followed(photograph, moved_right(photograph, 0.25), x, y, np.full(x.shape, 0.25 + off_px, np.float32), None)
    assert np.percentile(errors_px(found, 0.25), 90) < 0.1


def test_a_place_without_a_partner_is_not_believed(photograph):
    x, y = places()
    other = photograph[::-1].copy()
    found = followed(photograph, other, x, y, np.zeros(x.shape, np.float32), None)
    assert np.mean(found.likeness > SURE) < 0.1


def test_a_plain_place_says_that_it_is_plain():
    plain = np.full((200, 400), 0.4, np.float32)
    x, y = np.float32([50, 200]), np.float32([50, 100])
    assert (followed(plain, plain, x, y, np.zeros(2, np.float32), None).spread <= TELLING).all()


# ---- with a misfit between the eyes

MISFITS = [
    Misfit(3.0, 0.0, 1.0),
    Misfit(0.0, math.radians(1.5), 1.0),
    Misfit(0.0, 0.0, 1.03),
    Misfit(-1.5, math.radians(-2.0), 0.98, 0.015),
    Misfit(0.5, math.radians(1.0), NAN, 0.02),
]


def straight_with(misfit, width=384, height=216, scale=WIDTH / 384):
    blank = np.zeros((height, width), np.uint8)
    none = np.zeros((0, 2), np.float32)
    points = PointMatches(none, none)
    return Straight(blank, blank, scale, misfit, points, np.zeros((27, 48), np.float32))


@pytest.mark.parametrize("misfit", MISFITS)
def test_the_quick_way_to_the_right_eye_is_the_misfit_itself(misfit):
    # Two ways to compute one thing (computed).
    straight = straight_with(misfit)
    x, y = (grid.ravel().astype(np.float32) for grid in np.meshgrid(np.linspace(0, 1919, 23), np.linspace(0, 1079, 17)))
    found = np.column_stack(straight.to_right(WIDTH, HEIGHT)(x, y))
    expected = misfit.in_right(np.column_stack([x, y]), WIDTH, HEIGHT, straight.scale)
    assert np.abs(found - expected).max() < 0.005


@pytest.mark.parametrize("misfit", [None, Misfit(0.0, 0.0, 1.0), Misfit(0.02, 0.0, 1.0001)])
def test_nothing_is_straightened_where_nothing_is_amiss(misfit):
    assert straight_with(misfit).to_right(WIDTH, HEIGHT) is None


@pytest.mark.parametrize("misfit", MISFITS)
@pytest.mark.parametrize("is_right", [False, True])
def test_a_strip_is_that_part_of_the_straightened_picture(photograph, misfit, is_right):
    straight = straight_with(misfit)
    strip = straight.strip(photograph, 150, is_right=is_right)
    whole = without_misfit(photograph, misfit, straight.scale)
    expected = whole[:, -150:] if is_right else whole[:, :150]
    # The resampler knows 32 places between two pixels, so one of them may be taken for its neighbour.
    assert np.percentile(np.abs(strip - expected), 99) < 0.02
    assert np.abs(strip - expected).mean() < 0.002


@pytest.mark.parametrize("misfit", MISFITS[:4])
def test_a_known_shift_is_found_again_through_a_misfit(photograph, misfit):
    straight = straight_with(misfit)
    shifted = moved_right(photograph, -7.3)
    grid_x, grid_y = np.meshgrid(np.arange(WIDTH), np.arange(HEIGHT))
    places_as_filmed = np.column_stack([grid_x.ravel(), grid_y.ravel()])
    source = misfit.straightened(places_as_filmed, WIDTH, HEIGHT, straight.scale).astype(np.float32)
    x_map, y_map = (source[:, i].reshape(HEIGHT, WIDTH) for i in (0, 1))
    filmed = cv2.remap(shifted, x_map, y_map, cv2.INTER_CUBIC, borderMode=cv2.BORDER_REFLECT)
    x, y = places()
    inside = (np.abs(x - WIDTH / 2) < 0.42 * WIDTH) & (np.abs(y - HEIGHT / 2) < 0.42 * HEIGHT)
    start = np.full(inside.sum(), -7.0, np.float32)
    found = followed(photograph, filmed, x[inside], y[inside], start, straight.to_right(WIDTH, HEIGHT))
    # A patch keeps its own size and its rows stay level, so each is a little off, but not all to one side; and the
    # picture was sampled twice, with places between pixels rounded to 1/32.
    assert np.median(errors_px(found, -7.3)) < 0.1
    assert np.median(found.parallax_px[found.spread > TELLING]) == pytest.approx(-7.3, abs=0.02)


# ---- ends and middle of a map


def test_ends_and_middle_of_a_made_up_map_come_from_the_full_size_pixels(photograph):
    # The map lies 0.2 of its pixels off and has noise.
    # Three depths of 3, 90 and 7 % of the rows (computed): 1st, 50th, 99th percentile lie one in each.
    truth_px = np.repeat([-40.3, -10.6, 12.7], [32, 972, 76]).astype(np.float64)
    right = np.empty_like(photograph)
    for value in np.unique(truth_px):
        rows = truth_px == value
        right[rows] = moved_right(photograph[rows], value)
    dense = np.broadcast_to(truth_px[2::5, None] * 384 / WIDTH, (216, 384))
    dense = np.float32(dense + np.random.default_rng(4).normal(0.2, 0.12, dense.shape))
    ends = find_ends(dense, photograph, right, None)
    plain = np.percentile(dense, (1, 99)) * 100 / 384
    near, median, far = (value * 100 / WIDTH for value in (-40.3, -10.6, 12.7))
    assert [ends.near_pct, ends.median_pct, ends.far_pct] == pytest.approx([near, median, far], abs=0.02)
    assert np.abs(plain - (near, far)).min() > 0.03, "the map by itself is worse, or nothing is shown"
    # A tenth of a percent of the area is where the map's noise is worst; not all of it is made good.
    extremes = np.percentile(dense, (0.1, 99.9)) * 100 / 384
    assert extremes[1] > far + 0.1
    assert [ends.nearest_pct, ends.farthest_pct] == pytest.approx([near, far], abs=0.08)
    assert min(ends.near_sure, ends.far_sure) > 0.7
    assert (ends.near_places[0] < 7).mean() > 0.9
    assert (ends.far_places[0] > 199).mean() > 0.9


def test_ends_that_full_size_pixels_deny_are_not_sure(photograph):
    dense = np.full((216, 384), -2.0, np.float32)
    ends = find_ends(dense, photograph, photograph[::-1].copy(), None)
    assert max(ends.near_sure, ends.far_sure) < 0.3


def test_a_single_known_place_is_enough_not_to_fail(photograph):
    dense = np.full((216, 384), np.nan, np.float32)
    dense[100, 200] = -1.0
    ends = find_ends(dense, photograph, photograph, None)
    assert ends.near_pct == ends.far_pct == pytest.approx(-100 / 384)


# ---- from eye to eye


def test_seen_from_the_right_what_is_nearer_hides_what_is_behind():
    left = np.full((1, 16), 0.0, np.float32)
    left[0, 8:11] = -3.0
    turned = seen_from_right(left)
    assert turned[0, 5:8].tolist() == [-3.0] * 3
    assert np.isnan(turned[0, 8:11]).all(), "only the right eye sees what is behind there"
    assert (turned[0, [*range(5), *range(11, 16)]] == 0.0).all()


def test_the_left_eyes_map_loses_what_the_right_eye_cannot_see():
    left = np.full((1, 16), 0.0, np.float32)
    left[0, 8:11] = -3.0
    seen = only_seen(ParallaxMaps(left, seen_from_right(left))).left
    assert np.isnan(seen[0, 5:8]).all()
    assert np.isfinite(seen[0, [*range(5), *range(8, 16)]]).all()


def test_a_slanted_surface_leaves_no_gaps_in_the_right_eye():
    left = np.full((1, 60), np.nan, np.float32)
    left[0, 5:55] = np.linspace(-4.0, 4.0, 50)
    turned = seen_from_right(left)
    assert np.isfinite(turned[0, 1:58]).all(), "50 columns are 58 in the right eye"
    assert np.abs(turned[0, 1:58] - np.linspace(-4.0, 4.0, 58)[:57]).max() < 0.2


def test_unknown_places_stay_unknown_in_the_right_eye():
    left = np.full((2, 12), np.nan, np.float32)
    left[1, 4] = 2.0
    turned = seen_from_right(left)
    assert np.flatnonzero(np.isfinite(turned)).tolist() == [12 + 6]


def test_gaps_take_what_lies_behind():
    n = np.nan
    parallax = np.float32([[n, 1, n, n, -3, n], [n, n, n, n, n, n], [-2, n, 5, n, n, 4]])
    filled = filled_from_behind(parallax)
    assert filled.tolist() == [[1, 1, 1, 1, -3, -3], [0, 0, 0, 0, 0, 0], [-2, 5, 5, 5, 5, 4]]


def test_a_map_without_gaps_is_left_alone():
    parallax = np.float32([[1, 2], [3, 4]])
    assert filled_from_behind(parallax) is parallax


# ---- where to look


def coarse_map(*held):
    """Parallax in proxy pixels and how many of 128 × 72 places hold it; the rest is unknown."""
    flat = np.full(128 * 72, np.nan, np.float32)
    first = 0
    for value, count in held:
        flat[first : first + count] = value
        first += count
    return flat.reshape(72, 128)


NO_POINTS = np.zeros(0, np.float32)


def test_the_search_covers_what_the_coarse_map_and_the_points_hold_and_little_more():
    low, high = search_range(coarse_map((-12.0, 400), (6.0, 8000)), NO_POINTS, 384)
    assert -12.0 - 0.02 * 384 < low < -12.0
    assert 6.0 < high < 6.0 + 0.02 * 384
    low, high = search_range(coarse_map((6.0, 8000)), np.linspace(-30, 2, 300, dtype=np.float32), 384)
    assert low < -29.0
    assert high > 6.0


def test_a_few_false_matches_do_not_widen_the_search():
    points = np.concatenate([np.zeros(300), [-50.0, 50.0]]).astype(np.float32)
    low, high = search_range(coarse_map((-55.0, 5), (0.0, 8000), (55.0, 5)), points, 384)
    assert low > -10
    assert high < 10


def test_nothing_found_means_no_search():
    assert search_range(coarse_map(), NO_POINTS, 384) is None


def test_the_search_never_goes_beyond_its_limits():
    low, high = search_range(coarse_map((-57.0, 2000), (57.0, 2000)), NO_POINTS, 384)
    assert low >= -0.15 * 384
    assert high <= 0.15 * 384


@pytest.mark.parametrize("seed", range(3))
def test_content_from_ten_percent_in_front_to_ten_percent_behind_is_measured(seed):
    thing, card = (0.45, 0.25, 0.8, 0.95), (0.1, 0.2, 0.4, 0.9)
    layers = [Layer(10.0, seed=seed), Layer(0.0, card, seed + 7), Layer(-10.0, thing, seed + 9, "disc")]
    scene = layered_scene(960, 540, layers, seed=seed)
    truth = scene.truth(0).summary
    assert (truth.near_pct, truth.far_pct) == pytest.approx((-10, 10), abs=0.01)
    found = measure_pair(*(np.asarray(eye, np.float32) for eye in scene.render(0)))
    assert found.near_pct == pytest.approx(truth.near_pct, abs=0.10)
    assert found.median_pct == pytest.approx(truth.median_pct, abs=0.10)
    assert found.far_pct == pytest.approx(truth.far_pct, abs=0.10)
    assert found.confidence > 0.8
