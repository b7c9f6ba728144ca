"""What the try-out's canvas shows, read back from a real browser pixel by pixel, against the program's own pictures."""

import base64
from dataclasses import replace
from fractions import Fraction

import cv2
import imageio.v3 as imageio
import numpy as np
import pytest
from tryout_clips import clip_info, made_columns, one_shot, write_page

from postfix.plan.model import HitKey, Misalignment, ShotPlan, WindowKey
from postfix.render.moves import render_pair
from postfix.review.pictures import anaglyph
from postfix.review.tryout import tryout_data
from postfix.source.picture import PictureFormat, PlaneFormat

WIDTH, HEIGHT = 160, 90
PLAN = ShotPlan("s001", 0, 9)
FORMAT = PictureFormat(WIDTH, HEIGHT, "rgb-8bit", "uint8", 8, 255.0, False, (PlaneFormat(1, 1, 3, (0.0,) * 3),))


def smooth_pair(seed=3, size=(WIDTH, HEIGHT)):
    """Two different pictures, soft enough for any way of drawing between samples to agree."""
    rng = np.random.default_rng(seed)
    eyes = []
    for _ in range(2):
        coarse = rng.uniform(10, 245, (5, 8, 3)).astype(np.float32)
        eyes.append(np.clip(cv2.resize(coarse, size, interpolation=cv2.INTER_CUBIC), 0, 255).astype(np.uint8))
    return eyes


def address(rgb):
    """The picture as a page holds it, without loss."""
    return "data:image/png;base64," + base64.b64encode(imageio.imwrite("<bytes>", rgb, extension=".png")).decode()


def opened(page, folder, plan=PLAN, info=None, eyes=None, screens=("cinema-12m",)):
    """The try-out of one shot, open; the pictures that it holds."""
    info = info or clip_info(WIDTH, HEIGHT)
    eyes = smooth_pair() if eyes is None else eyes
    clip = one_shot(plan, made_columns(info, plan.last + 1), screens=screens)
    data = tryout_data(clip, clip.shots[0], tuple(map(address, eyes)))
    page.goto(write_page(folder, {"c0/0": data}).as_uri())
    page.locator("summary").first.click()
    page.locator(".try-canvas").wait_for()
    return eyes


def shown(page):
    """What the canvas holds after the next picture is drawn, (H, W, 3)."""
    size, text = page.evaluate(
        """async () => {
            for (let i = 0; i < 3; i++) await new Promise((done) => requestAnimationFrame(done));
            const canvas = document.querySelector(".try-canvas");
            const { data } = canvas.getContext("2d").getImageData(0, 0, canvas.width, canvas.height);
            let text = "";
            for (const value of data) text += String.fromCharCode(value);
            return [[canvas.height, canvas.width, 4], btoa(text)];
        }"""
    )
    return np.frombuffer(base64.b64decode(text), np.uint8).reshape(size)[..., :3]


def try_hit(page, pct):
    page.get_by_label("HIT", exact=True).fill(str(pct))


def difference(one, other):
    return np.abs(one.astype(int) - other.astype(int))


def pulled(rgb, shift):
    """The picture moved to the right by whole columns, black where it was."""
    out = np.zeros_like(rgb)
    if shift >= 0:
        out[:, shift:] = rgb[:, : rgb.shape[1] - shift]
    else:
        out[:, :shift] = rgb[:, -shift:]
    return out


def test_unmoved_the_anaglyph_is_the_one_of_the_page(page, tmp_path):
    left, right = opened(page, tmp_path)
    assert difference(shown(page), anaglyph(left, right)).max() <= 1


def test_moved_by_whole_columns_it_is_that_of_the_moved_eyes(page, tmp_path):
    left, right = opened(page, tmp_path)
    before = shown(page)
    for pct, left_px, right_px in ((5.0, -4, 4), (-5.0, 4, -4), (1.875, -1, 2), (-0.7, 0, -1)):
        try_hit(page, pct)
        after = shown(page)
        assert difference(after, anaglyph(pulled(left, left_px), pulled(right, right_px))).max() <= 1, pct
        assert difference(after, before).max() > 5


def test_a_part_of_a_column_lies_on_the_line_between_two(page, tmp_path):
    left, right = opened(page, tmp_path, info=clip_info(WIDTH * 12, HEIGHT * 12))
    try_hit(page, 10 / 19.2)  # 5 px of 12 in each eye
    at = np.arange(WIDTH, dtype=np.float64)
    moved = []
    for eye, shift in ((left, -5 / 12), (right, 5 / 12)):
        rows = [[np.interp(at - shift, at, line[:, c]) for c in range(3)] for line in eye]
        picture = np.rint(np.array(rows).transpose(0, 2, 1))
        # What the move lays bare is black to that part of a column.
        picture[:, -1 if shift < 0 else 0] *= 7 / 12
        moved.append(picture.astype(np.uint8))
    assert difference(shown(page), anaglyph(*moved)).max() <= 2


WINDOW = (WindowKey(0, (12.0, 12.0), (6.0, 6.0)),)
TILTED = (WindowKey(0, (2.0, 20.0), (14.0, 0.0)), WindowKey(9, (4.0, 22.0), (16.0, 0.0)))
DRAWN = {
    "hide": (replace(PLAN, hit=(HitKey(0, 4.375),)), 1),
    "crop": (replace(PLAN, hit=(HitKey(0, -4.375),), fill="crop"), 1),
    "upright window": (replace(PLAN, hit=(HitKey(0, 2.5),), window=WINDOW), 1),
    "window that lets through": (replace(PLAN, hit=(HitKey(0, 2.5),), window=WINDOW, window_opacity_pct=60.0), 1),
    "tilted window": (replace(PLAN, hit=(HitKey(0, -2.5),), window=TILTED), 1),
    "soft window": (replace(PLAN, window=TILTED, window_soft_px=5.0), 4),
    "zoom": (replace(PLAN, hit=(HitKey(0, 5.0),), fill="zoom", zoom=1.05), 4),
    "subpixel": (replace(PLAN, hit=(HitKey(0, 3.3),), subpixel=True), 4),
    "eased": (replace(PLAN, hit=(HitKey(0, -3.0), HitKey(9, 3.0)), subpixel=True), 4),
    "aligned": (
        replace(PLAN, hit=(HitKey(0, -3.0),), align=True, misalignment=Misalignment(12.0, 9.0, 4.0), fill="zoom"),
        4,
    ),
}
"""Plans, and by how many codes of 255 a picture of the try-out may differ from the rendered one: it draws straight
lines between samples, where rendering has a windowed sinc, and takes slanted edges row by row."""


def test_what_is_shown_is_what_would_be_rendered(page, tmp_path):
    info = clip_info(WIDTH, HEIGHT)
    for name, (plan, codes) in DRAWN.items():
        left, right = opened(page, tmp_path, plan, info)
        eyes = render_pair((left,), (right,), FORMAT, info, plan, 0)[:2]
        off = difference(shown(page), anaglyph(*(planes[0][..., :3] for planes in eyes)))
        assert np.quantile(off, 0.999) <= codes, name
        assert off.mean() < 0.3, name


def test_pixels_that_are_not_square_are_turned_as_they_are_shown(page, tmp_path):
    info = clip_info(WIDTH, HEIGHT, pixel_aspect=Fraction(2))
    plan = replace(PLAN, align=True, misalignment=Misalignment(3.0, 4.0))
    left, right = opened(page, tmp_path, plan, info)
    eyes = render_pair((left,), (right,), FORMAT, info, plan, 0)[:2]
    assert difference(shown(page), anaglyph(*(planes[0] for planes in eyes))).mean() < 0.6
    width, height = page.locator(".try-canvas").evaluate("c => [c.clientWidth, c.clientHeight]")
    assert width / height == pytest.approx(2 * WIDTH / HEIGHT, rel=0.01)


def test_columns_that_the_source_has_beyond_the_frame_are_grey_and_not_made_up(page, tmp_path):
    opened(page, tmp_path, info=clip_info(WIDTH, HEIGHT, spare_px=3))
    try_hit(page, 6.25)  # 10 px: each eye moves by 5, of which 3 are spare
    page.get_by_label("Side by side").check()
    both = shown(page)
    left, right = both[:, :WIDTH], both[:, -WIDTH:]
    assert (right[:, :2] == 0).all()
    assert (right[:, 2:5] == 128).all()
    assert (left[:, -2:] == 0).all()
    assert (left[:, -5:-2] == 128).all()
    assert "Grey at a side" in page.locator(".try-picture").inner_text()


def test_side_by_side_has_the_left_eye_at_the_left(page, tmp_path):
    left, right = opened(page, tmp_path)
    page.get_by_label("Side by side").check()
    both = shown(page)
    assert np.array_equal(both[:, :WIDTH], left)
    assert np.array_equal(both[:, -WIDTH:], right)


def test_the_difference_is_black_where_both_eyes_are_alike(page, tmp_path):
    left, right = smooth_pair()
    right[:, :80] = left[:, :80]
    opened(page, tmp_path, eyes=[left, right])
    page.get_by_label("Difference").check()
    seen = shown(page)
    assert (seen[:, :80] == 0).all()
    luma = np.abs(left.astype(float) - right) @ [0.2126, 0.7152, 0.0722]
    assert np.abs(seen[..., 0] - luma).max() <= 1
    assert "Black where both eyes are alike" in page.locator(".try-legend").inner_text()


def test_the_slider_moves_the_picture(page, tmp_path):
    left, right = opened(page, tmp_path)
    page.get_by_label("HIT, slider").evaluate("s => { s.value = '2.5'; s.dispatchEvent(new Event('input')); }")
    assert difference(shown(page), anaglyph(pulled(left, -2), pulled(right, 2))).max() <= 1
    page.get_by_role("button", name="Back to the plan").click()
    assert difference(shown(page), anaglyph(left, right)).max() <= 1


def test_a_window_that_is_dragged_is_drawn_in_its_own_eye(page, tmp_path):
    left, right = opened(page, tmp_path)
    page.get_by_label("Left edge, top", exact=True).fill("7")
    page.get_by_label("Side by side").check()
    both = shown(page)
    assert (both[:, :7] == 0).all()
    assert np.array_equal(both[:, 7:WIDTH], left[:, 7:])
    assert np.array_equal(both[:, -WIDTH:], right)


def test_without_pictures_the_place_says_so_and_the_figures_hold(page, tmp_path):
    clip = one_shot(PLAN, made_columns(clip_info(), 10), screens=("cinema-12m",))
    page.goto(write_page(tmp_path, {"c0/0": tryout_data(clip, clip.shots[0], None)}).as_uri())
    page.locator("summary").first.click()
    assert "no picture here" in page.locator(".try-picture").inner_text()
    assert page.locator(".try-figures tbody tr").count() == 7
