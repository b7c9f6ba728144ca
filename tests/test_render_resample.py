"""The zoom: exact on band-limited pictures, flat areas to the last code, parallax where the plan says it will be."""

from __future__ import annotations

import numpy as np
import pytest
from render_formats import FORMATS, clip_of, noise, rgb, shape_of, yuv

from postfix.plan.geometry import covering_zoom
from postfix.plan.model import HitKey, ShotPlan, WindowKey
from postfix.plan.placement import Placement
from postfix.render.kernel import TAPS
from postfix.render.moves import render_pair
from postfix.render.resample import resampled, resampled_plane
from postfix.source.picture import PictureFormat, Planes


def _shot(pct: float, zoom: float | None = None, window: tuple[WindowKey, ...] = ()) -> ShotPlan:
    factor = covering_zoom(pct) if zoom is None else zoom
    return ShotPlan("sh001", 0, 0, (HitKey(0, pct),), factor, "zoom", window)


def _flat(fmt: PictureFormat, codes: tuple[float, ...]) -> Planes:
    return tuple(
        np.full(shape_of(fmt, index), code, dtype=fmt.dtype) for index, code in zip(range(len(fmt.planes)), codes)
    )


@pytest.mark.parametrize("name", [name for name in FORMATS if name != "rgb-float"])
@pytest.mark.parametrize("pct", [-3.1, 0.7, 4.0])
def test_a_flat_picture_stays_flat_to_the_last_code(name: str, pct: float) -> None:
    fmt = FORMATS[name]
    top = 2**fmt.bit_depth - 1
    for code in (0, 1, top // 3, top - 1, top):
        flat = _flat(fmt, (code,) * 3)
        left, right, unchanged = render_pair(flat, flat, fmt, clip_of(fmt), _shot(pct), 0)
        assert not unchanged
        for eye in (left, right):
            for plane in eye:
                assert (plane == code).all()


def _wave(x: np.ndarray, y: np.ndarray, cycles_x: float, cycles_y: float) -> np.ndarray:
    """An exact picture without end: a wave along each axis, at most so many cycles a luma pixel."""
    return np.asarray(
        np.cos(2.0 * np.pi * (cycles_x * x + 0.13))[None, :] * np.cos(2.0 * np.pi * (cycles_y * y + 0.37))[:, None]
    )


@pytest.mark.parametrize("step", [(1, 1), (2, 1), (2, 2)])
@pytest.mark.parametrize(("zoom", "shift"), [(1.0, 0.25), (1.0, -3.5), (1.02, 1.3), (1.25, -7.7)])
def test_a_band_limited_picture_is_drawn_where_the_formula_puts_it(
    step: tuple[int, int], zoom: float, shift: float
) -> None:
    # Exact values by the formula X' = c + z(X - c) + s, not by any resampling (computed). Luma samples sit half a pixel
    # inside; chroma on the left column of two and half-way between two rows.
    width, height = 256, 192
    fmt = yuv({(1, 1): "444", (2, 1): "422", (2, 2): "420"}[step], 10, width, height)
    info = fmt.planes[1]
    x = np.arange(width // step[0]) * step[0] + 0.5
    y = np.arange(height // step[1]) * step[1] + step[1] / 2.0
    cycles = (0.28 / step[0], 0.22 / step[1])
    drawn = resampled_plane(_wave(x, y, *cycles), info, width, height, Placement(zoom, shift))
    exact = _wave(width / 2 + (x - width / 2 - shift) / zoom, height / 2 + (y - height / 2) / zoom, *cycles)
    edge = TAPS // 2 + 8
    inner = (slice(edge, -edge), slice(edge, -edge))
    assert drawn.dtype == np.float32
    # One code of 10 bits is 1/1023 of the range, 2/1023 of a wave from -1 to 1.
    assert np.abs(drawn - exact)[inner].max() < 2.0 / 1023.0


def test_the_kernel_is_clean_up_to_two_thirds_of_nyquist() -> None:
    width = 512
    fmt = yuv("444", 10, width, 1)
    x = np.arange(width) + 0.5
    for share, allowed in ((0.3, 0.001), (0.5, 0.001), (0.65, 0.001), (0.8, 0.03)):
        for shift in (0.1, 0.25, 0.5):
            cycles = share / 2.0
            drawn = resampled_plane(_wave(x, np.zeros(1), cycles, 0.0), fmt.planes[0], width, 1, Placement(1.0, shift))
            exact = _wave(x - shift, np.zeros(1), cycles, 0.0)
            assert np.abs(drawn - exact)[:, TAPS:-TAPS].max() < allowed


def _spot(fmt: PictureFormat, x: float, y: float) -> Planes:
    """A soft bright spot centred at (x, y) luma pixels from the frame's corner."""
    columns, rows = np.arange(fmt.width) + 0.5, np.arange(fmt.height) + 0.5
    spot = np.exp(-((columns[None, :] - x) ** 2 + (rows[:, None] - y) ** 2) / (2.0 * 3.0**2))
    return (np.repeat((20000.0 * spot)[..., None], 3, axis=2).astype(np.uint16),)


def _centroid(planes: Planes) -> tuple[float, float]:
    weights = planes[0][..., 0].astype(np.float64)
    columns, rows = np.arange(weights.shape[1]) + 0.5, np.arange(weights.shape[0]) + 0.5
    total = weights.sum()
    return float((weights * columns).sum() / total), float((weights * rows[:, None]).sum() / total)


@pytest.mark.parametrize("pct", [-2.37, 1.11])
@pytest.mark.parametrize("parallax", [-4.0, 0.0, 6.5])
def test_parallax_after_a_zoom_is_what_the_plan_says(pct: float, parallax: float) -> None:
    fmt = rgb(16, 200, 120)
    left_x, y = 70.3, 41.7
    shot = _shot(pct)
    left, right, _ = render_pair(_spot(fmt, left_x, y), _spot(fmt, left_x + parallax, y), fmt, clip_of(fmt), shot, 0)
    (found_left, left_y), (found_right, right_y) = _centroid(left), _centroid(right)
    hit_px = pct * fmt.width / 100.0
    assert found_right - found_left == pytest.approx(shot.zoom * parallax + hit_px, abs=0.01)
    # The picture stays centred: the middle of the two eyes moves by the zoom alone, and up and down likewise.
    middle = left_x + parallax / 2.0
    assert (found_left + found_right) / 2.0 == pytest.approx(100.0 + shot.zoom * (middle - 100.0), abs=0.01)
    for found_y in (left_y, right_y):
        assert found_y == pytest.approx(60.0 + shot.zoom * (y - 60.0), abs=0.01)


@pytest.mark.parametrize("name", ["yuv420-10", "yuv422-8", "rgba-16"])
def test_the_covering_zoom_leaves_nothing_black(name: str) -> None:
    fmt = FORMATS[name]
    bright = _flat(fmt, (200.0,) * 3)
    for eye in render_pair(bright, bright, fmt, clip_of(fmt), _shot(3.7), 0)[:2]:
        assert all((plane == 200).all() for plane in eye)


def test_what_too_small_a_zoom_leaves_bare_is_black() -> None:
    fmt = yuv("422", 10)
    bright = _flat(fmt, (700.0, 300.0, 300.0))
    left, right, _ = render_pair(bright, bright, fmt, clip_of(fmt), _shot(-20.0, 1.0), 0)
    # 12.8 px in all, so 6.4 columns are bare at the left of the left eye: 6, and 0.4 of the next one. Chroma is covered
    # as much as the most covered of the pixels that it serves.
    assert (left[0][:, :6] == 64).all()
    assert (left[0][:, 6] == round(0.4 * 64 + 0.6 * 700)).all()
    assert (left[0][:, 7:] == 700).all()
    assert (left[1][:, :3] == 512).all()
    assert (left[1][:, 3] == round(0.4 * 512 + 0.6 * 300)).all()
    assert (left[1][:, 4:] == 300).all()
    assert (right[0][:, -6:] == 64).all()
    assert (right[0][:, -7] == round(0.4 * 64 + 0.6 * 700)).all()


def test_windows_are_painted_after_the_zoom() -> None:
    fmt = yuv("444", 10)
    bright = _flat(fmt, (700.0, 300.0, 300.0))
    shot = _shot(-3.0, window=(WindowKey(0, (5.0, 5.0), (0.0, 0.0)),))
    left, right, _ = render_pair(bright, bright, fmt, clip_of(fmt), shot, 0)
    assert (left[0][:, :5] == 64).all()
    assert (left[0][:, 5:] == 700).all()
    assert (right[0] == 700).all()


@pytest.mark.parametrize("depth", [8, 10, 16])
def test_overshoot_is_held_inside_the_code_range(depth: int) -> None:
    fmt = yuv("444", depth)
    top = 2**depth - 1
    step = tuple(np.where(np.arange(64)[None, :] < 32, 0, top).repeat(36, axis=0).astype(fmt.dtype) for _ in range(3))
    out = resampled(step, fmt, Placement(1.05, 0.4))
    for plane in out:
        assert plane.dtype == np.dtype(fmt.dtype)
        assert plane.min() == 0
        assert plane.max() == top
        assert (plane[:, :20] < top // 2).all()
        assert (plane[:, 44:] > top // 2).all()


def test_float_planes_keep_what_lies_outside_black_and_white() -> None:
    fmt = FORMATS["rgb-float"]
    (source,) = noise(fmt)
    (out,) = resampled((source,), fmt, Placement(1.01))
    assert out.dtype == np.float32
    assert out.min() < -0.2
    assert out.max() > 1.2
