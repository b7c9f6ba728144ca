"""A rendered frame: planes moved as plain copies, exact black, the same area hidden in luma and chroma."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from render_formats import FORMATS, clip_of, noise, rgb, yuv

from postfix.errors import InputError
from postfix.plan.geometry import split_px
from postfix.plan.model import HitKey, ShotPlan, WindowKey
from postfix.plan.settings import Fill
from postfix.render.moves import render_pair
from postfix.render.planes import moved, row_counts
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
            # A chroma sample covers two columns, so at the right of an odd width one column and one sample more go.
            pair_cut = fmt.width % 2 and fmt.step_px == 2 and samples < 0
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
def test_a_window_hides_each_sides_own_eye_and_covers_every_row(name: str) -> None:
    fmt = FORMATS[name]
    window_left, window_right = (2.3, 11.0), (7.9, 0.5)
    left, right, _ = _render(fmt, _shot(fmt, left=window_left, right=window_right))
    centres = (np.arange(fmt.height) + 0.5) / fmt.height
    black = _is_black(left, fmt, 0)
    counts = black.argmin(axis=1)
    line = window_left[0] + (window_left[1] - window_left[0]) * centres
    assert (counts >= line - 1e-9).all()
    slack = fmt.step_px + np.ptp(line) / fmt.height * max(plane.step_y for plane in fmt.planes)
    assert (counts < line + slack + 1e-9).all()
    assert not black[:, 32:].any()
    black = _is_black(right, fmt, 0)
    counts = black[:, ::-1].argmin(axis=1)
    assert (counts >= window_right[0] + (window_right[1] - window_right[0]) * centres - 1e-9).all()
    assert not black[:, :32].any()


@pytest.mark.parametrize("name", [name for name in FORMATS if name.startswith(("yuv4", "odd"))])
@pytest.mark.parametrize("total", [0, -6, 10])
def test_luma_and_chroma_hide_the_same_area(name: str, total: int) -> None:
    fmt = FORMATS[name]
    for eye in _render(fmt, _shot(fmt, total, left=(1.0, 13.0), right=(9.0, 2.0)))[:2]:
        luma = _is_black(eye, fmt, 0)
        for index in (1, 2):
            plane = fmt.planes[index]
            chroma = _is_black(eye, fmt, index)
            spread = chroma.repeat(plane.step_y, axis=0).repeat(plane.step_x, axis=1)[: fmt.height, : fmt.width]
            assert np.array_equal(spread, luma)


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


def test_rows_are_counted_at_their_centre_and_rounded_up() -> None:
    assert row_counts(0.0, 8.0, 4).tolist() == [1, 3, 5, 7]
    assert row_counts(3.0 + 1e-9, 3.0, 2).tolist() == [3, 3]
    assert row_counts(3.01, 3.01, 2).tolist() == [4, 4]


def test_a_plan_for_another_picture_is_refused() -> None:
    fmt, other = yuv("420", 8), yuv("420", 8, 32, 18)
    with pytest.raises(InputError, match="64x36"):
        render_pair(noise(fmt), noise(fmt), fmt, clip_of(other), _shot(fmt), 0)
    with pytest.raises(InputError, match="chroma"):
        render_pair(noise(fmt), noise(fmt), fmt, clip_of(rgb(8)), _shot(fmt), 0)
