"""What one eye sees and the other does not, planted into made-up scenes and a photographed pair (computed: the planted
place and area are known; that the pairs hold nothing else is by construction for the scenes)."""

from functools import cache

import cv2
import numpy as np
import pytest
from real_pairs import motorcycle
from test_measure_scenes import scene_of

from postfix.measure.matching import ParallaxMaps, match, seen_from_right
from postfix.measure.proxy import proxy_pair
from postfix.measure.rivalry import MAX_BOXES, find_rivalry

SEEDS = (40, 43, 46)
LUMA = np.array([0.2126, 0.7152, 0.0722], np.float32)


@cache
def scene_pair(seed):
    return tuple(np.asarray(eye, np.float32) @ LUMA for eye in scene_of(seed).render(0))


@cache
def photograph():
    left, right, _ = motorcycle()
    return tuple(eye.astype(np.float32) / np.float32(255.0) @ LUMA for eye in (left, right))


def rivalry_of(left, right):
    proxy = proxy_pair(left, right)
    reach = 0.12 * proxy.left.shape[1]
    parallax = match(proxy.left, proxy.right, -reach, reach)
    maps = ParallaxMaps(parallax, seen_from_right(parallax))
    return find_rivalry(proxy.left, proxy.right, maps, proxy.scale)


def disc(shape, x, y, radius, edge=1.0):
    rows, columns = np.mgrid[: shape[0], : shape[1]].astype(np.float32)
    return np.clip((radius - np.hypot(columns - x, rows - y)) / edge + 0.5, 0.0, 1.0)


def planted(pair, eye, cover, level):
    """The pair with ``level`` laid over one eye where ``cover`` says."""
    own = pair[eye] * (1.0 - cover) + level * cover
    return (own, pair[1]) if eye == 0 else (pair[0], own)


def boxes_at(found, eye, x, y, margin):
    name = ("left", "right")[eye]
    return [
        box
        for box in found.boxes
        if box.eye == name
        and box.x_px - margin <= x <= box.x_px + box.width_px + margin
        and box.y_px - margin <= y <= box.y_px + box.height_px + margin
    ]


@pytest.mark.parametrize("seed", SEEDS)
def test_half_hidden_strips_and_the_strips_at_the_frame_sides_are_no_rivalry(seed):
    left, right = scene_pair(seed)
    assert scene_of(seed).truth(0).left_seen.mean() < 1.0
    assert rivalry_of(left, right).pct < 0.1


def test_a_photographed_pair_has_little():
    # It does have some: lamps and chrome shine differently into each eye (seen in the picture, not measured elsewhere).
    assert rivalry_of(*photograph()).pct < 0.3


@pytest.mark.parametrize("eye", [0, 1])
def test_most_sparkles_are_found_in_the_eye_that_has_them_and_little_else(eye):
    seen, boxes, sparkles = 0, 0, 0
    for seed in SEEDS:
        pair = scene_pair(seed)
        height, width = pair[0].shape
        rng = np.random.default_rng(seed)
        places = [(rng.uniform(0.1, 0.9) * width, rng.uniform(0.1, 0.9) * height) for _ in range(12)]
        cover = np.max([disc(pair[0].shape, x, y, rng.uniform(1.2, 2.5)) for x, y in places], axis=0)
        found = rivalry_of(*planted(pair, eye, cover, 1.0))
        seen += sum(bool(boxes_at(found, eye, x, y, 3)) for x, y in places)
        boxes += len(found.boxes)
        sparkles += len(places)
    # What lies over a depth edge or on bright texture stays unseen.
    assert seen >= 0.55 * sparkles
    assert boxes <= 1.15 * seen


@pytest.mark.parametrize("eye", [0, 1])
def test_hairs_are_found_along_much_of_their_length(eye):
    seen = []
    for seed in SEEDS:
        pair = scene_pair(seed)
        height, width = pair[0].shape
        fine = np.zeros((4 * height, 4 * width), np.uint8)
        turns = np.linspace(0.0, 1.0, 60)
        along = np.stack([(0.3 + 0.2 * turns) * 4 * width, (0.4 + 0.1 * np.sin(3.0 * turns)) * 4 * height], axis=1)
        cv2.polylines(fine, [np.rint(along).astype(np.int32)], False, 255, 5)
        cover = cv2.resize(fine, (width, height), interpolation=cv2.INTER_AREA).astype(np.float32) / 255.0
        found = rivalry_of(*planted(pair, eye, cover, 0.0))
        seen.append(np.mean([bool(boxes_at(found, eye, x / 4, y / 4, 4)) for x, y in along]))
    assert min(seen) > 0.3
    assert np.mean(seen) > 0.5


@pytest.mark.parametrize("eye", [0, 1])
@pytest.mark.parametrize("seed", SEEDS)
def test_dirt_is_found_with_its_area(seed, eye):
    pair = scene_pair(seed)
    height, width = pair[0].shape
    x, y, radius = 0.52 * width, 0.3 * height, 0.012 * width
    cover = disc(pair[0].shape, x, y, radius, edge=3.0)
    found = rivalry_of(*planted(pair, eye, cover, 0.03))
    assert boxes_at(found, eye, x, y, 0)
    area_pct = 100.0 * cover.mean()
    assert 0.5 * area_pct < found.pct < 2.0 * area_pct


def test_soft_flares_are_found_with_their_area_but_where_they_mislead_the_map():
    good = 0
    for seed in SEEDS:
        pair = scene_pair(seed)
        height, width = pair[0].shape
        x, y, sigma = 0.45 * width, 0.35 * height, 0.03 * width
        rows, columns = np.mgrid[:height, :width].astype(np.float32)
        light = 0.25 * np.exp(-0.5 * ((columns - x) ** 2 + (rows - y) ** 2) / sigma**2)
        area_pct = 100.0 * np.mean(light > 0.04)
        for eye in (0, 1):
            own = np.clip(pair[eye] + light, 0.0, 1.0)
            found = rivalry_of(own, pair[1]) if eye == 0 else rivalry_of(pair[0], own)
            good += bool(boxes_at(found, eye, x, y, 0)) and 0.5 * area_pct < found.pct < 2.0 * area_pct
    assert good >= 5


@pytest.mark.parametrize("eye", [0, 1])
def test_dirt_is_found_in_a_photograph_beside_what_is_there_anyway(eye):
    pair = photograph()
    cover = disc(pair[0].shape, 230.0, 420.0, 8.0, edge=3.0)
    (box,) = boxes_at(rivalry_of(*planted(pair, eye, cover, 0.03)), eye, 230.0, 420.0, 0)
    assert 0.7 < box.width_px / 16.0 < 1.4
    assert 0.7 < box.height_px / 16.0 < 1.4


@pytest.mark.parametrize("what", ["noise", "soft", "bright", "dim to one side"])
def test_what_differs_all_over_the_picture_is_no_rivalry(what):
    left, right = scene_pair(40)
    rng = np.random.default_rng(1)
    if what == "noise":
        left, right = ((eye + rng.normal(0.0, 0.02, eye.shape)).astype(np.float32) for eye in (left, right))
    elif what == "soft":
        right = cv2.GaussianBlur(right, (0, 0), 1.0)
    elif what == "bright":
        right = (right * 1.2 + 0.03).astype(np.float32)
    else:
        right = right * np.linspace(1.0, 0.85, right.shape[1], dtype=np.float32)
    assert rivalry_of(left, right).pct < 0.1


def test_what_both_eyes_show_but_the_map_lacks_is_no_rivalry():
    scene = scene_of(40)
    proxy = proxy_pair(*scene_pair(40))
    reach = 0.12 * proxy.left.shape[1]
    parallax = match(proxy.left, proxy.right, -reach, reach)
    nearest = cv2.resize(scene.truth(0).left_parallax_px, parallax.shape[::-1], interpolation=cv2.INTER_NEAREST)
    thing = nearest < np.nanmin(nearest) + 3.0
    assert 0.01 < thing.mean() < 0.3
    parallax[cv2.dilate(thing.astype(np.uint8), np.ones((9, 9), np.uint8)) > 0] = np.nan
    found = find_rivalry(proxy.left, proxy.right, ParallaxMaps(parallax, seen_from_right(parallax)), proxy.scale)
    assert found.pct < 0.1 * 100.0 * thing.mean()


@pytest.mark.parametrize("eye", [0, 1])
def test_black_at_one_side_of_one_eye_is_a_window_and_no_rivalry(eye):
    pair = [picture.copy() for picture in scene_pair(43)]
    if eye == 0:
        pair[0][:, :14] = 0.0
    else:
        pair[1][:, -14:] = 0.0
    assert rivalry_of(*pair).pct < 0.1


def test_a_picture_with_nothing_matched_has_no_figure():
    proxy = proxy_pair(*scene_pair(40))
    empty = np.full(proxy.left.shape, np.nan, np.float32)
    found = find_rivalry(proxy.left, proxy.right, ParallaxMaps(empty, empty), proxy.scale)
    assert np.isnan(found.pct)
    assert found.boxes == ()


def test_boxes_are_few_largest_first_and_inside_the_source():
    pair = scene_pair(46)
    height, width = pair[0].shape
    rng = np.random.default_rng(9)
    cover = np.zeros(pair[0].shape, np.float32)
    for _ in range(60):
        x, y = rng.uniform(0.05, 0.95) * width, rng.uniform(0.05, 0.95) * height
        cover = np.maximum(cover, disc(cover.shape, x, y, rng.uniform(2.0, 6.0)))
    found = rivalry_of(*planted(pair, 0, cover, 1.0))
    assert 20 <= len(found.boxes) <= MAX_BOXES
    areas = [box.width_px * box.height_px for box in found.boxes]
    assert np.mean(areas[:5]) > np.mean(areas[-5:])
    for box in found.boxes:
        assert 0 <= box.x_px <= box.x_px + box.width_px <= width
        assert 0 <= box.y_px <= box.y_px + box.height_px <= height
