"""Parts of the measurement on made-up input."""

from dataclasses import replace

import cv2
import numpy as np
import pytest
from footage import SPECS, panned, yuv422p10

from postfix.deliver.video import write_video
from postfix.errors import InputError
from postfix.measure.edges import edge_bands
from postfix.measure.hidden import hidden_columns, side_edge
from postfix.measure.side import Side
from postfix.measure.table import EDGE_BANDS, ClipInfo, FrameMeasure, MeasurementTable
from postfix.measure.table_csv import read_table, table_text
from postfix.source.opening import open_eye
from postfix.source.picture import grey
from postfix.source.shots import Shot


def hidden_px(picture):
    return side_edge(picture, "left").line_px, side_edge(picture, "right").line_px


def textured(seed, height=270, width=480):
    rng = np.random.default_rng(seed)
    picture = np.zeros((height, width))
    for step in (4, 16, 64):
        small = rng.random((height // step + 2, width // step + 2))
        picture += np.kron(small, np.ones((step, step)))[:height, :width]
    return (0.1 + 0.8 * picture / 3).astype(np.float32)


def paint_side(grey, top, bottom, right=False):
    out = grey.copy()
    for row in range(grey.shape[0]):
        columns = int(np.ceil(top + (bottom - top) * (row + 0.5) / grey.shape[0]))
        if columns:
            if right:
                out[row, -columns:] = 0.0
            else:
                out[row, :columns] = 0.0
    return out


@pytest.mark.parametrize(("top", "bottom"), [(0, 0), (12, 12), (0, 20), (25, 5)])
@pytest.mark.parametrize("right", [False, True])
def test_a_window_in_the_picture_is_found_with_its_tilt(top, bottom, right):
    sides = hidden_px(paint_side(textured(3), top, bottom, right=right))
    assert sides[1 if right else 0] == pytest.approx((top, bottom), abs=1.5)
    assert sides[0 if right else 1] == (0.0, 0.0)


@pytest.mark.parametrize("profile", ["LT", "HQ"])
@pytest.mark.parametrize(("top", "bottom"), [(6, 6), (10.5, 31.6), (0, 16)])
def test_a_window_is_found_beside_what_a_lossy_codec_leaves_at_its_edge(tmp_path, profile, top, bottom):
    spec = replace(SPECS["prores.mov"], profile=profile, timecode=None)
    y, cb, cr = yuv422p10(np.clip(panned(0).left.astype(int) + 20, 0, 255).astype(np.uint8))
    for row in range(y.shape[0]):
        columns = 2 * int(np.ceil((top + (bottom - top) * (row + 0.5) / y.shape[0]) / 2))
        y[row, :columns], cb[row, : columns // 2], cr[row, : columns // 2] = 64, 512, 512
    write_video(tmp_path / "a.mov", spec, [(y, cb, cr)] * 2)
    eye = open_eye(tmp_path / "a.mov")
    assert hidden_px(grey(next(eye.frames()), eye.format))[0] == pytest.approx((top, bottom), abs=1.6)


def test_a_dark_corner_is_no_window():
    grey = textured(4)
    rows, columns = np.mgrid[: grey.shape[0], : grey.shape[1]]
    grey[(rows - 20) ** 2 + (columns + 10) ** 2 < 90**2] = 0.0
    assert hidden_px(grey) == ((0.0, 0.0), (0.0, 0.0))


def test_a_window_beside_a_partly_dark_picture_keeps_its_own_width():
    grey = paint_side(textured(5), 10, 10)
    grey[40:90, 10:60] = 0.0
    assert hidden_px(grey)[0] == pytest.approx((10, 10), abs=1.5)


def test_hidden_columns_are_rounded_up_so_that_nothing_black_is_measured():
    assert hidden_columns((3.0, 3.0), 4, 2.0).tolist() == [2, 2, 2, 2]
    assert hidden_columns((0.0, 0.0), 2, 1.5).tolist() == [0, 0]


WIDTH, HEIGHT = 800, 480


ALL = (0, HEIGHT)


def edge_side(*layers, own_hidden=0, other_hidden=0, is_right=False, dense=True):
    """A side from layers (parallax_px, rows, columns of the own eye), far to near; columns below 0 are cut off.

    Every layer has a noise of its own; the own eye shows it at its columns, the other eye ``parallax_px`` further in.
    """
    rng = np.random.default_rng(5)
    own, other = rng.random((2, HEIGHT, WIDTH)).astype(np.float32)
    map_px = np.full((HEIGHT, WIDTH), np.nan, np.float32)
    for parallax, (top, bottom), (first, after) in layers:
        noise = cv2.GaussianBlur(rng.random((HEIGHT, WIDTH + 800)).astype(np.float32), (0, 0), 1.2)
        for x in range(first, after):
            column = noise[top:bottom, x + 400]
            if 0 <= x < WIDTH:
                own[top:bottom, x] = column
                map_px[top:bottom, x] = parallax
            if 0 <= x - parallax < WIDTH:
                other[top:bottom, x - parallax] = column
    own[:, :own_hidden] = 0
    other[:, :other_hidden] = 0
    map_px = map_px[::2, ::2] / 2 if dense else np.full_like(map_px[::2, ::2], np.nan)
    if is_right:
        own, other, map_px = own[:, ::-1], other[:, ::-1], map_px[:, ::-1]
    return Side(own, other, map_px, (own_hidden, own_hidden), (other_hidden, other_hidden), is_right)


@pytest.mark.parametrize("is_right", [False, True])
@pytest.mark.parametrize("dense", [True, False])
def test_edge_bands_keep_what_touches_and_where(is_right, dense):
    backdrop = (-4, ALL, (-60, 300))
    cut = (-16, (240, HEIGHT), (-60, 40))
    near_the_edge = (-40, (0, 120), (30, 90))
    bands = edge_bands(edge_side(backdrop, cut, near_the_edge, is_right=is_right, dense=dense))
    assert bands[: EDGE_BANDS // 2] == pytest.approx(-0.5, abs=0.03)
    assert bands[EDGE_BANDS // 2 :] == pytest.approx(-2.0, abs=0.03)


def test_a_thing_only_a_few_pixels_wide_at_the_edge_is_seen():
    found = edge_bands(edge_side((-2, ALL, (-60, 300)), (-18, (200, 400), (-60, 7)), dense=False))
    assert np.nanmin(found) == pytest.approx(-18.0 * 100 / WIDTH, abs=0.03)


def test_the_strip_begins_behind_the_own_eyes_black():
    side = edge_side((-4, ALL, (-60, 300)), (-24, ALL, (20, 80)), own_hidden=20)
    assert edge_bands(side) == pytest.approx(-3.0, abs=0.05)


def test_beside_a_window_content_is_read_where_both_eyes_see_it():
    # 20 px hidden in the other eye: what lies at −8 px has its first visible partner 12 px further in.
    assert edge_bands(edge_side((-8, ALL, (-60, 300)), other_hidden=20)) == pytest.approx(-1.0, abs=0.03)


def test_what_the_map_guesses_beside_a_window_is_not_believed():
    side = edge_side((-8, ALL, (-60, 300)), other_hidden=20)
    guessed = replace(side, parallax=np.full_like(side.parallax, -12.0))
    assert np.isnan(edge_bands(guessed)).all()


def test_content_behind_the_screen_is_read_as_far_inwards_as_it_lies_behind():
    side = edge_side((24, ALL, (-60, 300)))
    lacking = side.parallax.copy()
    lacking[:, :12] = np.nan
    assert edge_bands(replace(side, parallax=lacking)) == pytest.approx(3.0, abs=0.03)


def test_content_in_front_of_a_window_is_still_seen():
    assert edge_bands(edge_side((-40, ALL, (-60, 300)), other_hidden=20)) == pytest.approx(-5.0, abs=0.03)


def test_edge_bands_are_empty_where_nothing_was_matched():
    assert np.isnan(edge_bands(edge_side(is_right=True, dense=False))).all()


@pytest.fixture
def table():
    rows = (-0.25,) * EDGE_BANDS
    frames = (
        *(FrameMeasure(near_pct=-1.0 - i / 10, far_pct=0.5, confidence=0.9, left_rows_pct=rows) for i in range(4)),
        FrameMeasure(note="no texture to match"),
    )
    clip = ClipInfo("slip, way", 960, 540, 24, 2)
    shots = (Shot("s001", 0, 2), Shot("s002", 3, 4))
    return MeasurementTable(clip, frames, tuple(f"00:00:00:0{i}" for i in range(5)), shots)


def test_the_table_survives_being_written_and_read(table, tmp_path):
    path = tmp_path / "measure.csv"
    path.write_text(table_text(table))
    again = read_table(path)
    assert table_text(again) == table_text(table)
    assert again.shots == table.shots
    assert again.clip.rate == 24
    assert np.isnan(again.frames[4].near_pct)


def test_what_could_not_be_measured_is_an_empty_cell(table):
    lines = table_text(table).splitlines()
    near = lines[0].split(",").index("near_pct")
    assert lines[5].split(",")[near] == ""


@pytest.mark.parametrize(
    ("spoil", "says"),
    [
        (lambda t: "", "no rows"),
        (lambda t: t.replace("near_pct", "close_pct"), "no column near_pct"),
        (lambda t: t.replace("-1.1000", "one"), "line 3"),
        (lambda t: t.replace("-1.1000", "nan"), "line 3"),
        (lambda t: t.replace("\n1,", "\n7,"), "line 3"),
        (lambda t: t.replace("00:00:00:01,s001", "00:00:00:01,s009"), "s001"),
        (lambda t: "\x00\x01", "no"),
    ],
)
def test_a_spoilt_table_is_refused_with_its_line(table, tmp_path, spoil, says):
    path = tmp_path / "measure.csv"
    path.write_text(spoil(table_text(table)))
    with pytest.raises(InputError, match=says):
        read_table(path)
