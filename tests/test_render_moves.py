"""A rendered frame: planes moved as plain copies, exact black, the same area hidden in luma and chroma."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from render_formats import FORMATS, clip_of, covered_shares, faded, largest_in, many_channels, noise, rgb, yuv

from postfix.errors import InputError
from postfix.plan.geometry import split_px
from postfix.plan.model import HitKey, ShotPlan, WindowKey
from postfix.plan.settings import Fill
from postfix.render.moves import render_pair
from postfix.render.planes import moved
from postfix.render.veils import covered
from postfix.source.picture import PictureFormat, Planes


def _shot(
    fmt: PictureFormat,
    total_px: float = 0.0,
    fill: Fill = "hide",
    left: tuple[float, float] = (0.0, 0.0),
    right: tuple[float, float] = (0.0, 0.0),
) -> ShotPlan:
    window = (WindowKey(0, left, right),) if left != (0.0, 0.0) or right != (0.0, 0.0) else ()
    return ShotPlan("sh001", 0, 9, (HitKey(0, total_px * 100.0 / fmt.width),), fill=fill, window=window)


def _render(fmt: PictureFormat, shot: ShotPlan, frame: int = 0) -> tuple[Planes, Planes, bool]:
    return render_pair(noise(fmt, 1), noise(fmt, 2), fmt, clip_of(fmt), shot, frame)


def _is_black(planes: Planes, fmt: PictureFormat, index: int) -> np.ndarray:
    """(rows, columns) of samples that are exactly black in every channel; noise never is, float noise surely not."""
    same = planes[index] == np.array(fmt.planes[index].black).astype(planes[index].dtype)
    return same if fmt.planes[index].channels == 1 else same.all(axis=-1)


@pytest.mark.parametrize("name", FORMATS)
def test_a_frame_that_nothing_is_done_to_comes_back_as_the_same_arrays(name: str) -> None:
    fmt = FORMATS[name]
    left, right = noise(fmt, 1), noise(fmt, 2)
    for fill in ("hide", "crop", "zoom"):
        out_left, out_right, unchanged = render_pair(left, right, fmt, clip_of(fmt), _shot(fmt, fill=fill), 3)
        assert unchanged
        assert out_left is left
        assert out_right is right


@pytest.mark.parametrize("name", FORMATS)
@pytest.mark.parametrize("steps", [-5, -2, 1, 4])
def test_every_plane_is_a_plain_slice_of_the_source_and_black_beside_it(name: str, steps: int) -> None:
    fmt = FORMATS[name]
    total = steps * fmt.step_px
    out_left, out_right, unchanged = _render(fmt, _shot(fmt, total))
    assert not unchanged
    for source, out, shift in zip((noise(fmt, 1), noise(fmt, 2)), (out_left, out_right), split_px(total, fmt.step_px)):
        for index, plane in enumerate(fmt.planes):
            samples = shift // plane.step_x
            width = source[index].shape[1]
            black = np.array(plane.black).astype(fmt.dtype)
            # The last chroma sample of an odd width serves one column, so what is laid bare begins inside a sample.
            pair_cut = fmt.width % 2 and plane.step_x == 2 and samples < 0
            kept = width - abs(samples) - (1 if pair_cut else 0)
            if samples >= 0:
                assert np.array_equal(out[index][:, samples:], source[index][:, : width - samples])
                assert (out[index][:, :samples] == black).all()
            else:
                assert np.array_equal(out[index][:, :kept], source[index][:, -samples : -samples + kept])
                assert (out[index][:, width + samples :] == black).all()
            assert out[index].dtype == source[index].dtype


@settings(max_examples=60, deadline=None)
@given(st.sampled_from(["yuv420-10", "yuv422-8", "yuv444-16", "rgba-16", "rgb-float"]), st.integers(-40, 40))
def test_a_move_and_its_opposite_restore_the_columns_that_were_kept(name: str, steps: int) -> None:
    fmt = FORMATS[name]
    source, shift = noise(fmt), steps * fmt.step_px
    back = moved(moved(source, fmt, shift), fmt, -shift)
    for index, plane in enumerate(fmt.planes):
        width, samples = source[index].shape[1], abs(shift // plane.step_x)
        kept = slice(0, max(width - samples, 0)) if shift >= 0 else slice(min(samples, width), width)
        assert np.array_equal(back[index][:, kept], source[index][:, kept])
        assert _is_black(back, fmt, index).sum() >= min(samples, width) * source[index].shape[0]


def test_sources_are_never_written_to() -> None:
    fmt = FORMATS["yuv420-10"]
    left, right = noise(fmt, 1), noise(fmt, 2)  # read-only: painting in place would raise
    render_pair(left, right, fmt, clip_of(fmt), _shot(fmt, left=(4.0, 8.0), right=(3.0, 3.0)), 0)
    assert np.array_equal(left[0], noise(fmt, 1)[0])


def test_a_move_is_seen_as_parallax_of_the_hit() -> None:
    fmt = yuv("422", 10)
    planes = tuple(np.full(p.shape, 512, np.uint16) for p in noise(fmt))
    planes[0][:, 30] = 900
    left, right, _ = render_pair(planes, planes, fmt, clip_of(fmt), _shot(fmt, -6.0), 0)
    at = [int(np.argmax(eye[0][0] == 900)) for eye in (left, right)]
    assert at[1] - at[0] == -6


@pytest.mark.parametrize("total", [-6, 6])
def test_hide_blacks_only_the_eye_that_lacks_the_columns_and_crop_both(total: int) -> None:
    fmt = yuv("444", 10)
    hidden = {}
    for fill in ("hide", "crop"):
        eyes = _render(fmt, _shot(fmt, total, fill))[:2]
        black = [_is_black(eye, fmt, 0).all(axis=0) for eye in eyes]
        hidden[fill] = [(int(b[:32].sum()), int(b[32:].sum())) for b in black]
    # (left side, right side) of the left and the right eye; a HIT of +6 moves the right eye 3 px to the right.
    assert hidden["hide"] == ([(0, 3), (3, 0)] if total > 0 else [(3, 0), (0, 3)])
    assert hidden["crop"] == [(3, 3), (3, 3)]


@pytest.mark.parametrize("name", FORMATS)
@pytest.mark.parametrize("line", [(2.3, 11.0), (7.9, 0.5), (6.0, 6.0), (5.25, 5.25), (0.0, 0.7)])
def test_a_window_hides_what_lies_behind_its_edge_to_a_fraction_of_a_pixel(
    name: str, line: tuple[float, float]
) -> None:
    fmt = FORMATS[name]
    left, right, _ = _render(fmt, _shot(fmt, left=line, right=line))
    luma = covered_shares(fmt, line)
    for eye, source, shares in ((left, noise(fmt, 1), luma), (right, noise(fmt, 2), luma[:, ::-1])):
        for index, plane in enumerate(fmt.planes):
            # A chroma sample is hidden as much as the luma pixel that is hidden most of those it serves.
            over = largest_in(shares, plane.step_x, plane.step_y)
            assert eye[index].dtype == source[index].dtype
            assert np.array_equal(eye[index][over == 0.0], source[index][over == 0.0])
            assert (eye[index][over >= 1.0] == np.array(plane.black).astype(fmt.dtype)).all()
            off = np.abs(eye[index].astype(np.float64) - faded(fmt, index, source[index], over))
            # Rounded to the nearest code; a float sample keeps its own 24 bits.
            assert off.max() <= (1e-6 if fmt.dtype == "float32" else 0.5 + 1e-6)


@pytest.mark.parametrize("line", [(0.0, 30.0), (47.3, 5.1), (12.0, 12.5), (3.2, 3.2), (0.0, 0.01)])
def test_the_share_of_a_pixel_behind_a_slanted_edge_is_its_exact_area(line: tuple[float, float]) -> None:
    for fmt in (yuv("444", 10), yuv("444", 10, 64, 3), yuv("444", 10, 64, 700)):
        want = covered_shares(fmt, line)
        assert np.abs(covered(*line, np.arange(fmt.width), fmt.height) - want).max() < 1e-9
        # All of it together is the area of the trapezium that the edge cuts off.
        assert want.sum() == pytest.approx(fmt.height * sum(line) / 2.0)


def test_a_window_that_grows_slowly_changes_every_frame_a_little() -> None:
    fmt = yuv("422", 10)
    flat = tuple(np.full(plane.shape, code, np.uint16) for plane, code in zip(noise(fmt), (864, 200, 700)))
    window = (WindowKey(0, (4.0, 4.0), (0.0, 0.0)), WindowKey(40, (8.0, 8.0), (0.0, 0.0)))
    shot = ShotPlan("sh001", 0, 40, window=window)
    sums = []
    for frame in range(41):
        left, _, _ = render_pair(flat, flat, fmt, clip_of(fmt), shot, frame)
        sums.append([plane.sum(axis=1, dtype=np.int64)[0] for plane in left])
    luma, cb, cr = (np.diff(np.array(sums)[:, index]) for index in range(3))
    # A tenth of a pixel a frame: 80 codes of the 800 between this grey and black, each rounded by half a code at most.
    assert np.abs(luma + 80).max() <= 1
    assert (cb >= 0).all()
    assert (cr <= 0).all()
    assert max(np.abs(cb).max(), np.abs(cr).max()) <= 35  # a tenth of 312 and 188 codes, and the rounding


def _as_rgb(planes: Planes, fmt: PictureFormat) -> np.ndarray:
    """R'G'B' by Rec. ITU-R BT.709 (luma coefficients read), every chroma sample shown over the pixels it serves."""
    black, neutral = fmt.planes[0].black[0], fmt.planes[1].black[0]
    span = fmt.white - black
    chroma_span = span * 224.0 / 219.0
    chroma = fmt.planes[1]
    cb, cr = (
        (plane.astype(float).repeat(chroma.step_y, axis=0).repeat(chroma.step_x, axis=1) - neutral) / chroma_span
        for plane in planes[1:]
    )
    luma = (planes[0] - black) / span
    cb, cr = (plane[: fmt.height, : fmt.width] for plane in (cb, cr))
    red, blue = luma + 2.0 * (1.0 - 0.2126) * cr, luma + 2.0 * (1.0 - 0.0722) * cb
    green = (luma - 0.2126 * red - 0.0722 * blue) / 0.7152
    return np.stack([red, green, blue], axis=-1)


@pytest.mark.parametrize("name", ["yuv420-10", "yuv422-10", "odd-420", "odd-422", "yuv444-16"])
@pytest.mark.parametrize("colour", [(250, 409, 960), (173, 960, 429), (470, 150, 120)], ids=["red", "blue", "green"])
@pytest.mark.parametrize(("total", "opacity_pct", "soft_px"), [(0, 100.0, 0.0), (-6, 100.0, 0.0), (0, 60.0, 5.0)])
def test_no_edge_leaves_a_coloured_fringe(
    name: str, colour: tuple[int, int, int], total: int, opacity_pct: float, soft_px: float
) -> None:
    fmt = FORMATS[name]
    scale = 2 ** (fmt.bit_depth - 10)
    flat = tuple(np.full(plane.shape, code * scale, fmt.dtype) for plane, code in zip(noise(fmt), colour))
    shot = _shot(fmt, total, left=(1.3, 12.6), right=(9.1, 2.2))
    shot = replace(shot, window_opacity_pct=opacity_pct, window_soft_px=soft_px)
    plain = _as_rgb(flat, fmt)[0, 0]
    hidden = [covered_shares(fmt, (1.3, 12.6)) >= 1.0, covered_shares(fmt, (9.1, 2.2))[:, ::-1] >= 1.0]
    for eye, wholly in zip(render_pair(flat, flat, fmt, clip_of(fmt), shot, 0)[:2], hidden):
        shown = _as_rgb(eye, fmt)
        if opacity_pct == 100.0:
            assert np.abs(shown[wholly]).max() < 1e-12
        codes = flat[0][0, 0] - fmt.planes[0].black[0]
        light = (eye[0] - fmt.planes[0].black[0]) / codes
        darkened = light < 1.0
        assert darkened.any()
        # The colour of a darkened pixel is no stronger beside its light than it was in the picture. Luma is rounded by
        # half a code, and chroma, which counts up to 1.86 times as much.
        colourful = np.abs(shown - shown.mean(axis=-1, keepdims=True)).max(axis=-1)
        most = (light + 0.5 / codes) * np.abs(plain - plain.mean()).max() + 1.0 / (fmt.white - fmt.planes[0].black[0])
        assert (colourful[darkened] <= most[darkened]).all()


@pytest.mark.parametrize("full", [False, True])
@pytest.mark.parametrize("layout", ["420", "422", "444"])
@pytest.mark.parametrize("depth", [8, 10, 12, 16])
def test_black_has_its_code_in_every_depth_and_range(layout: str, depth: int, full: bool) -> None:
    # Black of limited range is 16 and neutral chroma 128, both times 2 to the bits above 8; full range begins at 0
    # (Rec. ITU-R BT.709-6, 3.4, and BT.2100-2, table 9; both from memory).
    fmt = yuv(layout, depth, full=full)
    left, right, _ = _render(fmt, _shot(fmt, left=(6.4, 8.6), right=(10.0, 10.0)))
    black, neutral = 0 if full else 16 << (depth - 8), 128 << (depth - 8)
    assert (left[0][:, :6] == black).all()
    assert (right[0][:, 54:] == black).all()
    for plane in left[1:]:
        assert (plane[:, : 6 // fmt.planes[1].step_x] == neutral).all()
    for plane in right[1:]:
        assert (plane[:, 54 // fmt.planes[1].step_x :] == neutral).all()


def test_what_is_no_colour_is_hidden_or_left_alone() -> None:
    fmt = many_channels()
    left, _, _ = _render(fmt, _shot(fmt, left=(3.3, 9.8)))
    source, half = noise(fmt, 1), covered_shares(fmt, (3.3, 9.8)) >= 0.5
    for index in (1, 2):
        assert left[index].dtype == source[index].dtype
        assert np.array_equal(left[index], np.where(half, 0, source[index]).astype(source[index].dtype))


@pytest.mark.parametrize("name", FORMATS)
def test_black_is_exact_in_every_channel(name: str) -> None:
    fmt = FORMATS[name]
    left, _, _ = _render(fmt, _shot(fmt, left=(8.0, 8.0)))
    for index, plane in enumerate(fmt.planes):
        hidden = left[index][:, : 8 // plane.step_x]
        assert (hidden == np.array(plane.black).astype(fmt.dtype)).all()


def test_a_window_counts_from_the_frame_edge_and_so_includes_bare_columns() -> None:
    fmt = yuv("444", 10)
    left, _, _ = _render(fmt, _shot(fmt, -12.0, left=(4.0, 4.0)))  # 6 columns are bare already
    assert (_is_black(left, fmt, 0).argmin(axis=1) == 6).all()
    left, _, _ = _render(fmt, _shot(fmt, -12.0, left=(9.0, 9.0)))
    assert (_is_black(left, fmt, 0).argmin(axis=1) == 9).all()


def test_only_the_eye_that_is_worked_on_is_a_new_array() -> None:
    fmt = yuv("420", 8)
    left, right = noise(fmt, 1), noise(fmt, 2)
    out_left, out_right, unchanged = render_pair(left, right, fmt, clip_of(fmt), _shot(fmt, left=(4.0, 4.0)), 0)
    assert out_right is right
    assert out_left is not left
    assert not unchanged


def test_windows_and_hit_follow_their_keys() -> None:
    fmt = yuv("444", 8)
    window = (WindowKey(0, (0.0, 0.0), (0.0, 0.0)), WindowKey(8, (8.0, 8.0), (0.0, 0.0)))
    shot = ShotPlan("sh001", 0, 9, window=window)
    assert _render(fmt, shot, 0)[2]
    for frame in (2, 5, 9):
        left, _, _ = _render(fmt, shot, frame)
        assert (_is_black(left, fmt, 0).argmin(axis=1) == min(frame, 8)).all()


def test_a_fraction_of_a_step_is_rounded_and_a_small_one_changes_nothing() -> None:
    fmt = yuv("420", 10)
    assert _render(fmt, _shot(fmt, 0.9))[2]
    assert not _render(fmt, _shot(fmt, 1.1))[2]


def test_a_window_wider_than_the_picture_hides_all_of_it() -> None:
    fmt = yuv("420", 8)
    left, _, _ = _render(fmt, _shot(fmt, left=(500.0, 500.0)))
    assert all(_is_black(left, fmt, index).all() for index in range(3))


def test_a_plan_for_another_picture_is_refused() -> None:
    fmt, other = yuv("420", 8), yuv("420", 8, 32, 18)
    with pytest.raises(InputError, match="64x36"):
        render_pair(noise(fmt), noise(fmt), fmt, clip_of(other), _shot(fmt), 0)
    with pytest.raises(InputError, match="chroma"):
        render_pair(noise(fmt), noise(fmt), fmt, clip_of(rgb(8)), _shot(fmt), 0)
