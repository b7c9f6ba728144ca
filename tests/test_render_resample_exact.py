"""Drawing anew held against what is known exactly: a Fourier shift, and waves that a turn or zoom moves by formula.

Every reference here is arithmetic (computed): the shift theorem of the discrete Fourier transform, as numpy does it,
and cosines read at the places where the placement's formula puts them. The limits in dB and per cent are the project's
own.
"""

from __future__ import annotations

import numpy as np
import pytest
from render_formats import yuv

from postfix.plan.placement import Placement
from postfix.render.resample import resampled, resampled_plane, squeezed, stretched
from postfix.source.picture import PictureFormat, PlaneFormat, Planes

EDGE = 16
FRACTIONS = (0.05, 0.25, 0.37, 0.5, 0.75, -0.5, 3.3, -7.81)


def _db(error: np.ndarray, signal: np.ndarray) -> float:
    """Error against signal, both as root of the mean square."""
    return float(20.0 * np.log10(np.sqrt(np.mean(error**2)) / np.sqrt(np.mean(signal**2))))


def _limited(rng: np.random.Generator, size: int, low: float, high: float) -> np.ndarray:
    """Rows of noise with no frequency outside (low, high) of Nyquist; without end, as Fourier's pictures are."""
    spectrum = np.fft.rfft(rng.normal(size=(8, size)), axis=1)
    share = np.linspace(0.0, 1.0, spectrum.shape[1])
    return np.fft.irfft(spectrum * ((share >= low) & (share <= high)), size, axis=1)


def _shifted(rows: np.ndarray, shift: float) -> np.ndarray:
    spectrum = np.fft.rfft(rows, axis=1)
    turn = np.exp(-2j * np.pi * np.fft.rfftfreq(rows.shape[1]) * shift)
    return np.fft.irfft(spectrum * turn, rows.shape[1], axis=1)


def _plane(width: int, height: int) -> tuple[PictureFormat, PlaneFormat]:
    fmt = yuv("444", 10, width, height)
    return fmt, fmt.planes[0]


@pytest.mark.parametrize("shift", FRACTIONS)
@pytest.mark.parametrize("down", [False, True])
def test_a_move_is_an_exact_fourier_shift_to_60_db_and_40_db(shift: float, down: bool) -> None:
    rng = np.random.default_rng(5)
    for low, high, limit in ((0.0, 0.5, -60.0), (0.0, 0.65, -60.0), (0.65, 0.8, -40.0)):
        rows = _limited(rng, 512, low, high).astype(np.float32)
        exact = _shifted(rows, shift)
        source = np.ascontiguousarray(rows.T) if down else rows
        placement = Placement(down_px=shift) if down else Placement(right_px=shift)
        height, width = source.shape
        drawn = resampled_plane(source, _plane(width, height)[1], width, height, placement)
        drawn = drawn.T if down else drawn
        inner = slice(EDGE + 8, -EDGE - 8) if abs(shift) > 1.0 else slice(EDGE, -EDGE)
        assert _db((drawn - exact)[:, inner], exact[:, inner]) <= limit


@pytest.mark.parametrize("shift", [0.1, 0.25, 0.5, 0.7])
def test_every_single_frequency_keeps_to_the_limits(shift: float) -> None:
    x = np.arange(256)
    for share in np.arange(0.02, 0.801, 0.02):
        waves = np.cos(np.pi * share * x[None, :] + np.arange(4)[:, None])
        exact = np.cos(np.pi * share * (x[None, :] - shift) + np.arange(4)[:, None])
        drawn = resampled_plane(waves, _plane(256, 4)[1], 256, 4, Placement(right_px=shift))
        inner = slice(EDGE, -EDGE)
        assert _db((drawn - exact)[:, inner], exact[:, inner]) <= (-60.0 if share <= 0.65 else -40.0)


def test_a_full_step_overshoots_by_12_per_cent_at_most() -> None:
    step = np.where(np.arange(128) < 64, 0.0, 1.0)[None, :].repeat(2, axis=0).astype(np.float32)
    worst = 0.0
    for shift in np.linspace(0.0, 1.0, 41)[1:]:
        drawn = resampled_plane(step, _plane(128, 2)[1], 128, 2, Placement(right_px=float(shift)))
        worst = max(worst, float(drawn.max()) - 1.0, -float(drawn.min()))
    for zoom in (0.7, 1.02, 1.3, 2.0):
        drawn = resampled_plane(step, _plane(128, 2)[1], 128, 2, Placement(zoom))
        worst = max(worst, float(drawn.max()) - 1.0, -float(drawn.min()))
    assert 0.05 < worst <= 0.12


def test_no_wave_is_turned_over_by_more_than_the_docs_say() -> None:
    # The part of a drawn wave that is where it belongs (computed, from what a single lit sample becomes). Half-way
    # between samples the finest waves come out turned over; a kernel that turned over more would flip the grain.
    spot = np.zeros((1, 129), np.float32)
    spot[0, 64] = 1.0
    share = np.linspace(0.0, 1.0, 401)
    for shift in np.linspace(0.0, 1.0, 41):
        drawn = resampled_plane(spot, _plane(129, 1)[1], 129, 1, Placement(right_px=float(shift)))[0]
        away = np.arange(129) - 64.0 - shift
        gain = np.cos(np.pi * share[:, None] * away) @ drawn.astype(np.float64)
        assert gain.min() >= -0.63
        assert gain.max() <= 1.03
        assert gain[share <= 0.86].min() >= 0.0
        if abs(shift - 0.5) >= 0.25:
            assert gain.min() >= -1e-3


def test_a_hard_edge_rings_little_and_not_far() -> None:
    step = np.where(np.arange(129) < 64, 0.0, 1.0)[None, :].astype(np.float32)
    for shift in np.linspace(0.0, 1.0, 41)[1:]:
        drawn = resampled_plane(step, _plane(129, 1)[1], 129, 1, Placement(right_px=float(shift)))[0]
        # The edge lies half-way between samples 63 and 64, and goes along.
        away = np.arange(129) - 63.5 - shift
        ringing = np.abs(drawn - (away > 0.0))
        assert ringing[np.abs(away) > 3.0].max() <= 0.047
        assert ringing[np.abs(away) > 10.5].max() <= 0.01
        assert ringing[np.abs(away) > 16.0].max() <= 0.005


@pytest.mark.parametrize("shift", [0.25, 0.5, 1.7, -3.3])
def test_there_and_back_is_within_one_code_of_ten_bits_up_to_half_of_nyquist(shift: float) -> None:
    rng = np.random.default_rng(11)
    rows = _limited(rng, 480, 0.0, 0.5)
    codes = np.rint(512.0 + 440.0 * rows / np.abs(rows).max()).astype(np.uint16)
    fmt, _ = _plane(480, 8)
    planes = (codes, codes, codes)
    back = resampled(resampled(planes, fmt, Placement(right_px=shift)), fmt, Placement(right_px=-shift))
    for plane in back:
        assert np.abs(plane.astype(int) - codes)[:, 2 * EDGE : -2 * EDGE].max() <= 1


def _waves(x: np.ndarray, y: np.ndarray, share: float) -> np.ndarray:
    """A picture without end, of waves in several directions, all of one length; x and y in luma pixels."""
    total = np.zeros(np.broadcast_shapes(x.shape, y.shape))
    for index, angle in enumerate((0.1, 0.9, 1.6, 2.4)):
        along = np.cos(angle) * x + np.sin(angle) * y
        total += np.cos(np.pi * share * along + index)
    return total / 4.0


def _source_of(placement: Placement, x: np.ndarray, y: np.ndarray, fmt: PictureFormat) -> tuple[np.ndarray, np.ndarray]:
    """Where the source has what the placement shows at (x, y): its formula turned round, step by step."""
    turn, aspect = np.radians(placement.turn_deg), placement.pixel_aspect
    x, y = aspect * (x - fmt.width / 2 - placement.right_px), y - fmt.height / 2 - placement.down_px
    back_x, back_y = (np.cos(turn) * x + np.sin(turn) * y) / aspect, -np.sin(turn) * x + np.cos(turn) * y
    return fmt.width / 2 + back_x / placement.zoom, fmt.height / 2 + back_y / placement.zoom


PLACEMENTS = [
    Placement(turn_deg=0.3),
    Placement(turn_deg=-2.0, down_px=1.4),
    Placement(1.03, -2.6, 0.7, 1.1),
    Placement(1.02, 0.4, -3.3),
    Placement(0.9, 1.5, 0.2),
    Placement(0.95, 0.0, 0.0, 0.5),
    Placement(1.4, 5.0, -4.0, -5.0),
    Placement(1.02, 0.3, -0.6, 0.9, pixel_aspect=2.0),
    Placement(1.0, -1.7, 0.0, -0.8, pixel_aspect=0.5),
    Placement(1.1, 0.0, 2.2, 3.0, pixel_aspect=4.0 / 3.0),
]


@pytest.mark.parametrize("placement", PLACEMENTS)
@pytest.mark.parametrize("chroma", ["444", "422", "420"])
def test_a_placement_puts_waves_where_its_formula_says(placement: Placement, chroma: str) -> None:
    width, height = 288, 224
    fmt = yuv(chroma, 10, width, height)
    for info in (fmt.planes[0], fmt.planes[1]):
        for sited in (True, False):
            info = PlaneFormat(info.step_x, info.step_y, 1, info.black, left_sited=sited, top_sited=not sited)
            x = (np.arange(width // info.step_x) * info.step_x + info.centre_x_px)[None, :]
            y = (np.arange(height // info.step_y) * info.step_y + info.centre_y_px)[:, None]
            share = 0.5 / max(info.step_x, info.step_y)
            drawn = resampled_plane(_waves(x, y, share), info, width, height, placement)
            exact = _waves(*_source_of(placement, x, y, fmt), share)
            # Where the source, with the kernel's reach, lies inside the picture.
            from_x, from_y = _source_of(placement, x, y, fmt)
            reach = (EDGE + 2) * max(1.0, 1.0 / placement.zoom)
            inner = (np.abs(from_x - width / 2) < width / 2 - reach * info.step_x) & (
                np.abs(from_y - height / 2) < height / 2 - reach * info.step_y
            )
            assert inner.sum() > 1000
            assert _db((drawn - exact)[inner], exact[inner]) <= -60.0


def test_a_turn_is_clockwise_and_down_is_down() -> None:
    fmt, _ = _plane(64, 64)
    source = np.zeros((64, 64), np.uint16)
    source[30:34, 48:52] = 800
    planes: Planes = (source, source, source)
    turned = resampled(planes, fmt, Placement(turn_deg=20.0))[0].astype(float)
    rows = (turned * np.arange(64)[:, None]).sum() / turned.sum()
    assert rows == pytest.approx(31.5 + 18.0 * np.sin(np.radians(20.0)), abs=0.3)
    lower = resampled(planes, fmt, Placement(down_px=2.5))[0].astype(float)
    assert (lower * np.arange(64)[:, None]).sum() / lower.sum() == pytest.approx(34.0, abs=0.1)


@pytest.mark.parametrize("zoom", [0.8, 0.5])
def test_what_a_smaller_picture_cannot_hold_is_gone(zoom: float) -> None:
    x = np.arange(512)
    # Above the smaller picture's Nyquist by a quarter: kept, it would come back as a coarser wave that never was.
    wave = np.cos(np.pi * min(1.25 * zoom, 0.98) * x)[None, :].repeat(64, axis=0)
    drawn = resampled_plane(wave, _plane(512, 64)[1], 512, 64, Placement(zoom))
    inner = slice(256 - round(zoom * 200), 256 + round(zoom * 200))
    assert np.abs(drawn[20:44, inner]).max() < 0.04


@pytest.mark.parametrize(("across", "down"), [(2, 1), (1, 2)])
@pytest.mark.parametrize("chroma", ["444", "422", "420"])
def test_half_layouts_keep_band_limited_pictures(across: int, down: int, chroma: str) -> None:
    width, height = 512, 384
    fmt = yuv(chroma, 10, width, height)
    small = yuv(chroma, 10, width // across, height // down)
    x = [(np.arange(width // p.step_x) * p.step_x + p.centre_x_px)[None, :] for p in fmt.planes]
    y = [(np.arange(height // p.step_y) * p.step_y + p.centre_y_px)[:, None] for p in fmt.planes]
    shares = [0.3 / max(p.step_x, p.step_y) for p in fmt.planes]
    source = tuple(_waves(*at).astype(np.float32) for at in zip(x, y, shares))
    half = squeezed(source, fmt, across, down)
    for plane, info, share in zip(half, small.planes, shares):
        small_x = (np.arange(small.width // info.step_x) * info.step_x + info.centre_x_px)[None, :] * across
        small_y = (np.arange(small.height // info.step_y) * info.step_y + info.centre_y_px)[:, None] * down
        exact = _waves(small_x, small_y, share)
        inner = (slice(EDGE, -EDGE), slice(EDGE, -EDGE))
        assert plane.shape == exact.shape
        assert _db((plane - exact)[inner], exact[inner]) <= -60.0
    whole = stretched(half, small, across, down)
    for plane, original in zip(whole, source):
        inner = (slice(4 * EDGE, -4 * EDGE), slice(4 * EDGE, -4 * EDGE))
        assert plane.shape == original.shape
        assert _db((plane - original)[inner], original[inner]) <= -60.0
