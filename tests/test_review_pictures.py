"""Pictures for looking at."""

import av
import imageio.v3 as imageio
import numpy as np
import pytest

from postfix.review.pictures import (
    RED_CYAN,
    anaglyph,
    draw_text,
    fit_within,
    jpeg_bytes,
    side_by_side,
    text_width,
    with_window_outline,
)
from postfix.review.sheet import SHEET_WIDTH_PX, SheetRow, contact_sheet, write_png
from postfix.review.shown import shown_rgb
from postfix.source.picture import PictureFormat, PlaneFormat
from postfix.source.pixel_formats import planes_of, video_format


def flat(colour, height=20, width=30):
    return np.full((height, width, 3), colour, np.uint8)


def test_every_row_of_the_anaglyph_projection_sums_to_one():
    # Dubois 2001, ICASSP (second hand): recomputed by others from the printed filter spectra.
    assert RED_CYAN.sum(axis=1) == pytest.approx([1.0, 1.0, 1.0], abs=1e-5)


def test_the_anaglyph_projection_is_the_one_that_was_printed():
    # Dubois 2001, ICASSP (second hand): red, green and blue of the anaglyph from left R G B, then right R G B.
    printed = [
        "0.456100 0.500484 0.176381 -0.0434706 -0.0879388 -0.00155529",
        "-0.0400822 -0.0378246 -0.0157589 0.378476 0.73364 -0.0184503",
        "-0.0152161 -0.0205971 -0.00546856 -0.0721527 -0.112961 1.2264",
    ]
    assert RED_CYAN.tolist() == [[float(value) for value in row.split()] for row in printed]


def test_the_left_eye_comes_through_red_and_the_right_eye_through_cyan():
    # What each eye adds to a white seen by both, from the row sums of the projection (computed).
    white, black = flat(255), flat(0)
    left, right = anaglyph(white, black)[0, 0], anaglyph(black, white)[0, 0]
    assert left[0] == 255
    assert left[1:].max() == 0
    assert right[0] == 0
    assert right[1:].min() == 255


@pytest.mark.parametrize("level", [0, 1, 77, 128, 254, 255])
def test_a_grey_seen_alike_by_both_eyes_stays_that_grey(level):
    assert np.array_equal(anaglyph(flat(level), flat(level)), flat(level))


@pytest.mark.parametrize(
    ("left", "right", "expected"),
    [
        ((255, 0, 0), (0, 0, 0), (116, 0, 0)),  # 0.4561 · 255 = 116.3; the others are negative
        ((0, 255, 0), (0, 0, 0), (128, 0, 0)),  # 0.500484 · 255 = 127.6
        ((0, 0, 0), (0, 255, 0), (0, 187, 0)),  # 0.73364 · 255 = 187.1
        ((0, 0, 0), (100, 0, 0), (0, 38, 0)),  # 0.378476 · 100 = 37.8
        ((0, 0, 0), (0, 0, 255), (0, 0, 255)),  # 1.2264 · 255 is clipped
        ((255, 255, 255), (0, 0, 0), (255, 0, 0)),
        ((0, 0, 0), (200, 200, 200), (0, 219, 208)),  # row sums 1.0936657 and 1.0412863, times 200
    ],
)
def test_known_colours_come_out_of_the_anaglyph_as_computed_by_hand(left, right, expected):
    # status: computed from the printed coefficients.
    assert anaglyph(flat(left), flat(right))[0, 0].tolist() == list(expected)


@pytest.mark.parametrize(
    ("codes", "rgb"),
    [
        ((235, 128, 128), (255, 255, 255)),
        ((16, 128, 128), (0, 0, 0)),
        ((63, 102, 240), (255, 0, 0)),
        ((173, 42, 26), (0, 255, 0)),
        ((32, 240, 118), (0, 0, 255)),
    ],
)
@pytest.mark.parametrize(("pixel_format", "bits"), [("yuv420p", 8), ("yuv422p10le", 10), ("yuv444p12le", 12)])
def test_limited_range_primaries_of_bt709_become_rgb_primaries(codes, rgb, pixel_format, bits):
    # The 8-bit codes of the primaries: from memory (ITU-R BT.709), and computed: Y = 16 + 219·(0.2126, 0.7152, 0.0722).
    fmt = video_format(pixel_format, 31, 17, None)
    planes = tuple(
        np.full((-(-17 // p.step_y), -(-31 // p.step_x)), code << (bits - 8), fmt.dtype)
        for code, p in zip(codes, fmt.planes)
    )
    picture = shown_rgb(planes, fmt, (31, 17))
    assert picture.shape == (17, 31, 3)
    assert np.abs(picture.astype(int) - rgb).max() <= 2


@pytest.mark.parametrize("full_range", [False, True])
def test_yuv_agrees_with_another_converter_on_flat_colours(full_range):
    # FFmpeg's scaler told the same matrix and range: a second implementation (read from its output).
    rng = np.random.default_rng(1)
    for colour in rng.integers(20, 230, (6, 3)):
        frame = av.VideoFrame.from_ndarray(flat(colour, 32, 32), format="rgb24")
        there = frame.reformat(
            format="yuv444p",
            dst_colorspace="ITU709",
            src_color_range="JPEG",
            dst_color_range="JPEG" if full_range else "MPEG",
        )
        fmt = video_format("yuv444p", 32, 32, full_range)
        back = shown_rgb(planes_of(there, fmt), fmt, (32, 32))
        assert np.abs(back.astype(int) - colour).max() <= 3


def test_rgb_and_grey_are_only_scaled_and_alpha_is_left_out():
    plane = PlaneFormat(1, 1, 4, (0.0, 0.0, 0.0, 65535.0))
    fmt = PictureFormat(2, 1, "rgba-16bit", "uint16", 16, 65535.0, False, (plane,))
    rgba = np.array([[[0, 65535, 32768, 5], [257, 514, 771, 9]]], np.uint16)
    assert shown_rgb((rgba,), fmt, (2, 1)).tolist() == [[[0, 255, 128], [1, 2, 3]]]
    grey = PictureFormat(2, 1, "gray-8bit", "uint8", 8, 255.0, False, (PlaneFormat(1, 1, 1, (0.0,)),))
    assert shown_rgb((np.array([[7, 200]], np.uint8),), grey, (2, 1)).tolist() == [[[7] * 3, [200] * 3]]


def test_fit_within_averages_over_areas_and_never_enlarges():
    picture = np.zeros((40, 80, 3), np.uint8)
    picture[:, ::2] = 200
    assert fit_within(picture, 80) is picture
    small = fit_within(picture, 20)
    assert small.shape == (10, 20, 3)
    assert np.unique(small).tolist() == [100]


def test_side_by_side_keeps_both_pictures_whole():
    both = side_by_side(flat(10), flat(200), gap_px=4)
    assert both.shape == (20, 64, 3)
    assert (both[:, :30] == 10).all()
    assert (both[:, 34:] == 200).all()


def test_a_black_strip_on_a_dark_picture_can_be_seen_without_colour():
    picture = flat(0, 60, 100)
    marked = with_window_outline(picture, (10.0, 20.0), (0.0, 0.0))
    assert (picture == 0).all()
    brightness = marked.max(axis=2)
    assert (brightness[5, :10] > 0).any()
    assert (brightness[:, 22:] == 0).all()
    # Outline at the strip's edge, wider at the bottom; hatching inside it: lit and unlit pixels both.
    edges = [int(np.flatnonzero(brightness[row]).max()) for row in (0, 59)]
    assert edges == pytest.approx([10, 19], abs=1)
    inside = brightness[20:40, 2:8]
    assert 0.1 < (inside > 0).mean() < 0.5


def test_the_right_strip_is_marked_from_the_right():
    marked = with_window_outline(flat(0, 60, 100), (0.0, 0.0), (12.0, 12.0))
    lit = np.flatnonzero(marked.max(axis=(0, 2)))
    assert lit.min() == 88
    assert lit.max() == 99


def test_no_strip_no_mark():
    picture = flat(90)
    assert np.array_equal(with_window_outline(picture, (0.0, 0.0), (0.0, 0.0)), picture)


def test_text_is_drawn_where_it_is_asked_for():
    written = draw_text(flat(0, 40, 200), (100, 10), "far +0.54 %", 16)
    assert written[:, :98].max() == 0
    assert written[8:32, 100:].max() > 150
    assert text_width("near near", 16) > text_width("near", 16) > 10


def test_jpeg_keeps_the_colours_of_an_anaglyph_apart():
    stripes = flat(0, 32, 32)
    stripes[:, 0::2, 0] = 255
    stripes[:, 1::2, 1:] = 255
    back = imageio.imread(jpeg_bytes(stripes, 95)).astype(int)
    # With halved chroma neighbouring red and cyan columns would share one colour.
    assert (back[:, 0::2, 0] - back[:, 0::2, 1]).mean() > 150
    assert (back[:, 1::2, 1] - back[:, 1::2, 0]).mean() > 150


def test_a_contact_sheet_holds_every_row_and_says_where_a_picture_is_missing(tmp_path):
    pair = (flat(60, 108, 192), flat(200, 108, 192))
    strips = (((20.0, 20.0), (0.0, 0.0)), ((0.0, 0.0), (0.0, 0.0)))
    row = SheetRow("spool", pair, pair, "near −2.00 %", "near −1.00 %", after_strips=strips, note="outside: near")
    one, three = contact_sheet([row]), contact_sheet([row, row, SheetRow("lost", None, pair)], "Kites")
    assert one.dtype == np.uint8
    assert one.shape[1] == three.shape[1] == SHEET_WIDTH_PX <= 1900
    assert three.shape[0] > 2 * one.shape[0]
    path = tmp_path / "sheet.png"
    write_png(path, one)
    write_png(path, three)
    assert np.array_equal(imageio.imread(path), three)
    assert [file.name for file in tmp_path.iterdir()] == ["sheet.png"]


def test_a_long_caption_is_cut_and_not_drawn_over_its_neighbour():
    pair = (flat(60, 108, 192), flat(60, 108, 192))
    short = contact_sheet([SheetRow("a", pair, pair, "x", "same")])
    long = contact_sheet([SheetRow("a", pair, pair, "x" * 900, "same")])
    half = SHEET_WIDTH_PX // 2 + 10
    assert np.array_equal(short[:, half:], long[:, half:])
