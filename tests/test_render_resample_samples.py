"""Drawing anew, sample by sample: what must not be mixed, what is no number, what stays as it is."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from render_formats import FORMATS, noise, rgb, shape_of, yuv

from postfix.plan.placement import STILL, Placement
from postfix.render import draw
from postfix.render.bands import bands
from postfix.render.kernel import TAPS
from postfix.render.resample import resampled, squeezed, stretched
from postfix.source.picture import PictureFormat, PlaneFormat, Planes

EVERY_KIND = [
    Placement(1.0, 0.4),
    Placement(1.0, 0.0, -1.3),
    Placement(1.03, 2.2, 0.6),
    Placement(0.93, 1.1),
    Placement(1.01, -0.3, 0.2, 0.7),
]


def _halves(width: int = 96, height: int = 72) -> PictureFormat:
    return replace(FORMATS["rgb-float"], width=width, height=height, dtype="float16", bit_depth=16)


@pytest.mark.parametrize("name", list(FORMATS))
def test_what_changes_nothing_gives_the_same_arrays_back(name: str) -> None:
    planes = noise(FORMATS[name])
    assert resampled(planes, FORMATS[name], STILL) is planes


@pytest.mark.parametrize("name", list(FORMATS))
@pytest.mark.parametrize("placement", EVERY_KIND)
def test_sources_are_never_written_to_and_types_and_sizes_stay(name: str, placement: Placement) -> None:
    fmt = FORMATS[name]
    planes = noise(fmt)
    before = [plane.copy() for plane in planes]
    for plane in planes:
        plane.flags.writeable = False
    drawn = resampled(planes, fmt, placement)
    for plane, original, kept in zip(drawn, planes, before):
        assert (original == kept).all()
        assert plane.shape == original.shape
        assert plane.dtype == original.dtype
        assert plane.flags.writeable


@pytest.mark.parametrize("depth", [8, 10, 12, 16])
@pytest.mark.parametrize("placement", EVERY_KIND)
def test_a_flat_picture_stays_flat_to_the_last_code_however_it_is_placed(depth: int, placement: Placement) -> None:
    top = 2**depth - 1
    interleaved = replace(rgb(8 if depth == 8 else 16, 96, 72), bit_depth=depth)
    for fmt in (yuv("420", depth, 96, 72), interleaved):
        for code in (0, 1, top // 3, top - 1, top):
            flat = tuple(np.full(shape_of(fmt, i), code, fmt.dtype) for i in range(len(fmt.planes)))
            for plane in resampled(flat, fmt, placement):
                assert (plane == code).all()


def test_flat_half_floats_stay_what_they_are() -> None:
    fmt = _halves()
    for value in (0.0, 0.18, 1.0, 12.5, 65504.0, -0.01, 6e-8):
        flat = (np.full((72, 96, 3), value, np.float16),)
        for placement in EVERY_KIND:
            (plane,) = resampled(flat, fmt, placement)
            assert plane.dtype == np.float16
            assert (plane == np.float16(value)).all()


@pytest.mark.parametrize("depth", [8, 10, 16])
def test_flat_pictures_stay_flat_in_half_layouts(depth: int) -> None:
    fmt = yuv("420", depth, 96, 72)
    top = 2**depth - 1
    for code in (0, 1, top // 2, top):
        flat = tuple(np.full(shape_of(fmt, i), code, fmt.dtype) for i in range(3))
        for across, down in ((2, 1), (1, 2)):
            half = squeezed(flat, fmt, across, down)
            small = yuv("420", depth, 96 // across, 72 // down)
            whole = stretched(half, small, across, down)
            assert [plane.shape for plane in half] == [shape_of(small, i) for i in range(3)]
            assert [plane.shape for plane in whole] == [shape_of(fmt, i) for i in range(3)]
            assert all((plane == code).all() for plane in (*half, *whole))


def test_a_size_that_does_not_divide_is_refused() -> None:
    fmt = yuv("444", 10, 95, 72)
    with pytest.raises(ValueError, match="95x72"):
        squeezed(noise(fmt), fmt, 2, 1)


@pytest.mark.parametrize("placement", [Placement(0.0), Placement(-1.0), Placement(turn_deg=45.0)])
def test_a_placement_that_cannot_be_drawn_is_refused(placement: Placement) -> None:
    fmt = yuv("444", 10)
    with pytest.raises(ValueError, match="zoom above 0"):
        resampled(noise(fmt), fmt, placement)


@pytest.mark.parametrize("name", list(FORMATS))
def test_a_move_by_whole_samples_copies_them(name: str) -> None:
    fmt = FORMATS[name]
    planes = noise(fmt)
    step = fmt.step_px
    for plane, source, info in zip(resampled(planes, fmt, Placement(1.0, 2.0 * step)), planes, fmt.planes):
        across = 2 * step // info.step_x
        assert (plane[:, across:] == source[:, :-across]).all()
        assert (plane[:, :across] == source[:, :1]).all()


@pytest.mark.parametrize("placement", EVERY_KIND)
@pytest.mark.parametrize("dtype", ["float32", "uint32", "float16"])
def test_what_is_no_light_is_never_mixed(placement: Placement, dtype: str) -> None:
    fmt = _halves()
    beside = PlaneFormat(1, 1, 1, (0.0,), dtype=dtype, is_colour=False)
    fmt = replace(fmt, planes=(*fmt.planes, beside))
    numbers = np.random.default_rng(3).integers(0, 7, (72, 96)).astype(dtype) * 257
    numbers[10, 10] = 4_000_000_000 if dtype == "uint32" else np.inf
    colour = np.zeros((72, 96, 3), np.float16)
    moved = resampled((colour, numbers), fmt, placement)[1]
    assert moved.dtype == numbers.dtype
    assert set(np.unique(moved).tolist()) <= set(np.unique(numbers).tolist())


def test_what_is_no_light_goes_with_the_picture() -> None:
    fmt = _halves()
    beside = PlaneFormat(1, 1, 1, (0.0,), dtype="float32", is_colour=False)
    fmt = replace(fmt, planes=(*fmt.planes, beside))
    picture = np.zeros((72, 96), np.float32)
    picture[20:40, 30:60] = 1.0
    colour = np.repeat(picture[..., None], 3, axis=2).astype(np.float16)
    for placement in EVERY_KIND:
        drawn, numbers = resampled((colour, picture), fmt, placement)
        assert ((drawn[..., 0] > 0.5) != (numbers > 0.5)).mean() < 0.01


@pytest.mark.parametrize("dtype", ["float16", "float32"])
@pytest.mark.parametrize("placement", EVERY_KIND)
def test_what_is_no_number_stays_where_it_is_and_spreads_nowhere(dtype: str, placement: Placement) -> None:
    fmt = replace(_halves(), dtype=dtype)
    rng = np.random.default_rng(8)
    smooth = (rng.random((72, 96, 3)) * 0.2 + 0.4).astype(dtype)
    holed = smooth.copy()
    holed[30, 40] = np.inf
    holed[50, 20, 1] = np.nan
    holed[12, 70, 0] = -np.inf
    (clean,), (drawn,) = resampled((smooth,), fmt, placement), resampled((holed,), fmt, placement)
    for value, channel in ((np.isposinf, 2), (np.isnan, 1), (np.isneginf, 0)):
        # One sample may be the nearest to two or three where the picture is made larger, or to none where smaller.
        assert value(drawn[..., channel]).sum() <= 3
    assert (~np.isfinite(drawn)).sum() <= 15
    finite = drawn[np.isfinite(drawn)]
    assert finite.min() > -0.5
    assert finite.max() < 1.5
    rows, columns = np.nonzero((drawn != clean).any(axis=2))
    near = np.zeros((72, 96), bool)
    for y, x in ((30, 40), (50, 20), (12, 70)):
        near |= (np.abs(np.arange(72) - y)[:, None] <= TAPS // 2 + 6) & (np.abs(np.arange(96) - x) <= TAPS // 2 + 6)
    assert near[rows, columns].all()


def test_large_finite_floats_do_not_become_infinite() -> None:
    step = np.where(np.arange(96)[None, :, None] < 48, 0.0, 65504.0).repeat(72, axis=0).repeat(3, axis=2)
    (drawn,) = resampled((step.astype(np.float16),), _halves(), Placement(1.02, 0.5))
    assert np.isfinite(drawn).all()
    assert drawn.max() == 65504.0


@pytest.mark.parametrize("placement", EVERY_KIND)
def test_channels_are_drawn_like_planes_of_their_own(placement: Placement) -> None:
    together = rgb(16, 100, 70)
    (source,) = noise(together)
    alone = yuv("444", 16, 100, 70)
    (drawn,) = resampled((source,), together, placement)
    parts = resampled(tuple(np.ascontiguousarray(source[..., i]) for i in range(3)), alone, placement)
    for channel, part in enumerate(parts):
        assert (np.abs(drawn[..., channel].astype(int) - part.astype(int)) <= 1).all()


@pytest.mark.parametrize("placement", EVERY_KIND)
def test_half_floats_are_drawn_alike_with_and_without_opencv(
    placement: Placement, monkeypatch: pytest.MonkeyPatch
) -> None:
    planes: Planes = ((np.random.default_rng(4).random((72, 96, 3)) * 3.0 - 0.5).astype(np.float16),)
    (first,) = resampled(planes, _halves(), placement)
    monkeypatch.setattr(draw, "_cv_knows_halves", lambda: False)
    (second,) = resampled(planes, _halves(), placement)
    assert (first == second).all()


def test_planes_with_spare_columns_around_them_are_drawn_like_copies() -> None:
    fmt = yuv("444", 10, 96, 72)
    wide = noise(yuv("444", 10, 128, 72))
    views = tuple(plane[:, 16:-16] for plane in wide)
    for placement in EVERY_KIND:
        drawn = resampled(views, fmt, placement)
        alike = resampled(tuple(np.ascontiguousarray(plane) for plane in views), fmt, placement)
        assert all((a == b).all() for a, b in zip(drawn, alike))


@pytest.mark.parametrize(("width", "height"), [(1, 1), (3, 3), (17, 2), (1, 40), (333, 5)])
def test_small_and_odd_pictures_are_drawn(width: int, height: int) -> None:
    for fmt in (yuv("444", 10, width, height), rgb(16, width, height)):
        flat = tuple(np.full(shape_of(fmt, i), 100, fmt.dtype) for i in range(len(fmt.planes)))
        for placement in (*EVERY_KIND, Placement(1.0, 5000.3), Placement(1.0, -5000.3, 700.2), Placement(0.1)):
            assert all((plane == 100).all() for plane in resampled(flat, fmt, placement))


def test_a_picture_moved_out_of_its_frame_leaves_its_border() -> None:
    fmt = yuv("444", 10, 64, 36)
    planes = noise(fmt)
    right, left = resampled(planes, fmt, Placement(1.0, 200.5)), resampled(planes, fmt, Placement(1.0, -200.5))
    for plane, gone_right, gone_left in zip(planes, right, left):
        assert (gone_right == plane[:, :1]).all()
        assert (gone_left == plane[:, -1:]).all()


@pytest.mark.parametrize("scale", [1.0, 0.5, 2.0, 1 / 1.02, 1 / 0.93, 0.7713])
def test_weights_of_every_output_sum_to_one(scale: float) -> None:
    band = bands(333, 400, scale, 3.37, (0.0, 0.21))
    total = band.matrices.sum(axis=2, dtype=np.float64)
    assert np.abs(total - 1.0).max() < 1e-6
