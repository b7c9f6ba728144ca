"""Frames of another size than the source: cut or with bars, whole samples in the middle, and what is beyond them."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from fractions import Fraction
from pathlib import Path

import cv2
import numpy as np
import pytest
from plan_tables import planned
from render_formats import FORMATS, many_channels, noise, rgb, shape_of, yuv

from postfix.errors import InputError, UsageError
from postfix.limits import Limits
from postfix.measure.clip import clip_info, measure_clip
from postfix.measure.columns import columns_of
from postfix.plan.figures import EDGE_TOLERANCE_PCT, figures_of
from postfix.plan.geometry import moves_of
from postfix.plan.model import HitKey, ShotPlan
from postfix.plan.placement import Placement
from postfix.render.bars import barred
from postfix.render.moves import render_pair
from postfix.render.resample import resampled
from postfix.source.framed import Bars, bars_of, framed, is_framed
from postfix.source.packed_eye import origin_of, packed_eyes
from postfix.source.pair import PairSource
from postfix.source.picture import PictureFormat, Planes
from postfix.source.shots import Shot
from postfix.viewing import Screen


@dataclass(frozen=True)
class MadeEye:
    """An eye of pictures made beforehand."""

    format: PictureFormat
    pictures: tuple[Planes, ...]
    path: Path = Path("kite.mov")
    rate: Fraction = Fraction(24)
    first_number: int = 0
    timecode: str | None = None

    @property
    def count(self) -> int:
        return len(self.pictures)

    def files(self) -> list[Path]:
        return []

    def frames(self, first: int = 0, last: int | None = None, *, colour_every: int = 1) -> Iterator[Planes]:
        yield from self.pictures[first : None if last is None else last + 1]


def made_pair(fmt: PictureFormat) -> PairSource:
    left, right = (MadeEye(fmt, (noise(fmt, seed), noise(fmt, seed + 2))) for seed in (1, 2))
    return PairSource(left, right, "kite")


def _eyes(pair: PairSource) -> tuple[Planes, Planes]:
    _, left, right = next(pair.frames())
    return left, right


SIZES = [(40, 20), (90, 20), (40, 50), (90, 50), (64, 20), (64, 50), (40, 36), (90, 36), (62, 34), (66, 38), (2, 2)]


@pytest.mark.parametrize("name", [*FORMATS, "many"])
@pytest.mark.parametrize("size", SIZES)
def test_a_frame_shows_the_middle_of_the_source_sample_for_sample_and_black_beside_it(
    name: str, size: tuple[int, int]
) -> None:
    fmt = many_channels() if name == "many" else FORMATS[name]
    pair = made_pair(fmt)
    cut = framed(pair, *size)
    assert (cut.format.width, cut.format.height) == size
    step_y = max(plane.step_y for plane in fmt.planes)
    for source, out in zip(_eyes(pair), _eyes(cut)):
        for index, plane in enumerate(fmt.planes):
            assert out[index].shape == shape_of(cut.format, index)
            assert out[index].dtype == source[index].dtype
            # The source laid on black that reaches far, and the frame cut out of that (computed).
            sides = []
            for have, want, step, chroma in zip((fmt.height, fmt.width), size[::-1], (step_y, fmt.step_px), (0, 1)):
                own = (plane.step_y, plane.step_x)[chroma]
                number = source[index].shape[chroma]
                if want > have:
                    number = min(number, have // own)  # what also serves a bar is black
                sides.append((abs(want - have) // 2 // step * step // own * (1 if want > have else -1), number))
            (down, rows), (across, columns) = sides
            wide = np.empty((*(n + 400 for n in out[index].shape[:2]), *out[index].shape[2:]), out[index].dtype)
            wide[...] = np.array(plane.black).astype(out[index].dtype)[0 if plane.channels == 1 else slice(None)]
            wide[200 + down : 200 + down + rows, 200 + across : 200 + across + columns] = source[index][:rows, :columns]
            assert np.array_equal(out[index], wide[200 : 200 + out[index].shape[0], 200 : 200 + out[index].shape[1]])


def test_a_frame_of_the_sources_size_is_the_source() -> None:
    pair = made_pair(yuv("420", 10))
    assert framed(pair, 64, 36) is pair
    assert not is_framed(pair)
    assert not bars_of(pair)


def test_a_cut_frame_is_a_view_and_no_copy() -> None:
    pair = made_pair(yuv("420", 10))
    for source, out in zip(_eyes(pair), _eyes(framed(pair, 40, 20))):
        assert all(np.shares_memory(a, b) for a, b in zip(source, out))


@pytest.mark.parametrize(("width", "spare"), [(64, 0), (62, 0), (60, 2), (58, 2), (50, 6), (90, 0)])
def test_cut_columns_are_kept_the_same_at_both_sides_on_whole_chroma(width: int, spare: int) -> None:
    pair = made_pair(yuv("422", 10))
    cut = framed(pair, width, 36 if width != 64 else 20)
    assert cut.spare_px == spare
    if not spare:
        assert cut.whole is None
        return
    assert cut.whole is not None
    assert cut.whole.format.width == width + 2 * spare
    for frame, whole in zip(_eyes(cut), _eyes(cut.whole)):
        for plane, wide, info in zip(frame, whole, cut.format.planes):
            beyond = spare // info.step_x
            assert np.array_equal(plane, wide[:, beyond : wide.shape[1] - beyond])


def test_frames_know_the_files_that_they_come_from() -> None:
    pair = made_pair(yuv("422", 10))
    cut = framed(pair, 50, 50)
    assert is_framed(cut)
    assert origin_of(cut.left) is pair.left
    assert cut.whole is not None
    assert origin_of(cut.whole.right) is pair.right
    assert (cut.count, cut.rate, cut.name) == (2, 24, "kite")
    assert bars_of(cut) == bars_of(cut.whole) == Bars(0, 0, 7, 7)


@pytest.mark.parametrize(
    ("name", "size", "told"),
    [
        ("yuv420-10", (1, 36), "multiple of 2"),
        ("yuv420-10", (64, 35), "35 pixels high"),
        ("yuv422-10", (63, 35), "give 62 or 64"),
        ("yuv444-10", (0, 36), "at least one pixel"),
        ("yuv444-10", (64, -2), "at least one pixel"),
    ],
)
def test_a_frame_that_there_cannot_be_is_refused(name: str, size: tuple[int, int], told: str) -> None:
    with pytest.raises(UsageError, match=told):
        framed(made_pair(FORMATS[name]), *size)


@pytest.mark.parametrize("fmt", [rgb(8, 3, 3), yuv("444", 10, 3, 3), yuv("420", 10, 3, 3), yuv("422", 8, 1, 1)])
def test_the_smallest_pictures_are_framed_as_well(fmt: PictureFormat) -> None:
    pair = made_pair(fmt)
    for size in ((2, 2), (4, 6), (200, 100)):
        cut = framed(pair, *size)
        eye = _eyes(cut)[0]
        assert [plane.shape for plane in eye] == [shape_of(cut.format, index) for index in range(len(fmt.planes))]
        shot = ShotPlan("sh001", 0, 1, (HitKey(0, 2.0 * fmt.step_px * 100.0 / size[0]),))
        out = render_pair(*_eyes(cut), cut.format, clip_info(cut), shot, 0)[0]
        assert [plane.shape for plane in out] == [plane.shape for plane in eye]
    if fmt.step_px == 1:
        wide = framed(made_pair(fmt), 1, 1)
        assert wide.spare_px == 1
        assert wide.whole is not None
        assert _eyes(wide)[0][0].shape[:2] == (1, 1)


# --- parallax in a frame, measured, planned and rendered ---


def _scene(width: int, height: int, parallax_px: int) -> tuple[Planes, Planes, PictureFormat]:
    """Detail of several sizes, all at one depth: the same for both eyes but for its place."""
    fmt = yuv("422", 10, width, height)
    rng = np.random.default_rng(3)
    smooth = np.full((height, width + 200), 450.0, np.float32)
    for blur in (2, 8, 40):
        layer = cv2.GaussianBlur(rng.standard_normal(smooth.shape).astype(np.float32), (0, 0), blur)
        smooth += 80.0 * layer / layer.std()
    smooth = np.clip(smooth, 150.0, 900.0)
    left, right = (smooth[:, 80 - shift : 80 - shift + width].astype(np.uint16) for shift in (0, parallax_px))
    chroma = np.full((height, width // 2), 540, np.uint16)
    return (left, chroma, chroma), (right, chroma, chroma), fmt


def _pair_at(width: int, height: int, parallax_px: int) -> PairSource:
    left, right, fmt = _scene(width, height, parallax_px)
    return PairSource(MadeEye(fmt, (left,)), MadeEye(fmt, (right,)), "kite")


ONE_SHOT = (Shot("sh001", 0, 0),)


@pytest.mark.parametrize("source_width", [2048, 1920])
@pytest.mark.parametrize("parallax_px", [-20, 12])
def test_parallax_is_counted_in_percent_of_the_delivered_width(source_width: int, parallax_px: int) -> None:
    pair = framed(_pair_at(source_width, 270, parallax_px), 1998, 270)
    table = measure_clip(pair, shots=ONE_SHOT)
    assert (table.clip.width_px, table.clip.spare_px) == (1998, 24 if source_width == 2048 else 0)
    measure = table.frames[0]
    want = parallax_px * 100.0 / 1998  # computed
    assert measure.median_pct == pytest.approx(want, abs=0.01)
    # The least and the most of a flat scene are as far apart as single places can be off: a pixel and a half.
    assert measure.near_pct == pytest.approx(want, abs=0.075)
    assert measure.far_pct == pytest.approx(want, abs=0.075)
    if source_width == 1920:
        assert (bars_of(pair).left_px, bars_of(pair).right_px) == (38, 40)
        assert measure.left_hidden_px == pytest.approx((38.0,) * 4, abs=1.0)
        assert measure.right_hidden_px == pytest.approx((40.0,) * 4, abs=1.0)


def _drawn(pair: PairSource, shot: ShotPlan) -> tuple[Planes, Planes, bool]:
    source = pair.whole or pair
    left, right = _eyes(source)
    return render_pair(left, right, source.format, clip_info(pair), shot, 0, spare_px=pair.spare_px, bars=bars_of(pair))


def _hit(total_px: float) -> ShotPlan:
    return ShotPlan("sh001", 0, 0, (HitKey(0, total_px * 100.0 / 1998),))


@pytest.mark.parametrize("total_px", [-48, -20, 0, 12, 48])
def test_a_move_within_the_spare_columns_lays_nothing_bare_and_copies_nothing(total_px: int) -> None:
    pair = framed(_pair_at(2048, 90, 6), 1998, 90)
    assert pair.whole is not None
    sources = _eyes(pair.whole)
    left, right, unchanged = _drawn(pair, _hit(total_px))
    assert not unchanged
    for eye, source, shift in zip((left, right), sources, (-total_px // 2, total_px // 2)):
        for plane, whole, info in zip(eye, source, pair.format.planes):
            first = (24 - shift) // info.step_x
            assert np.array_equal(plane, whole[:, first : first + 1998 // info.step_x])
            assert np.shares_memory(plane, whole)


def test_a_move_beyond_the_spare_columns_lays_bare_what_they_lack() -> None:
    pair = framed(_pair_at(2048, 90, 0), 1998, 90)
    left, right, _ = _drawn(pair, _hit(60.0))  # 30 px an eye, 6 more than there are
    assert (left[0][:, -6:] == 64).all()
    assert (left[0][:, -7] != 64).all()
    assert (right[0][:, :6] == 64).all()
    assert (right[0][:, 6] != 64).all()
    assert [plane.shape[1] for plane in left] == [1998, 999, 999]


@pytest.mark.parametrize("total_px", [-13.3, 5.5])
def test_a_fractional_move_shows_the_spare_columns_as_well(total_px: float) -> None:
    pair = framed(_pair_at(2048, 90, 0), 1998, 90)
    assert pair.whole is not None
    shot = replace(_hit(total_px), subpixel=True)
    sources = _eyes(pair.whole)
    for eye, source, shift in zip(_drawn(pair, shot)[:2], sources, (-total_px / 2.0, total_px / 2.0)):
        wide = resampled(source, pair.whole.format, Placement(right_px=shift))
        for plane, whole, info in zip(eye, wide, pair.format.planes):
            beyond = 24 // info.step_x
            assert np.array_equal(plane, whole[:, beyond:-beyond])
        assert (eye[0] > 100).all()


def test_a_picture_moves_into_its_bars_and_loses_nothing() -> None:
    pair = framed(_pair_at(1920, 90, 0), 1998, 90)
    inside = _eyes(pair)[0][0][:, 38:-40]
    left, right, _ = _drawn(pair, _hit(40.0))
    for eye, first in ((left, 18), (right, 58)):
        assert np.array_equal(eye[0][:, first : first + 1920], inside)
        assert (eye[0][:, :first] == 64).all()
        assert (eye[0][:, first + 1920 :] == 64).all()
        assert all((plane[:, : first // 2] == 512).all() for plane in eye[1:])


@pytest.mark.parametrize("source", [(1920, 90), (2048, 70), (1920, 70)])
def test_bars_stay_exact_black_with_a_clean_edge_where_the_picture_is_drawn_anew(source: tuple[int, int]) -> None:
    fmt = yuv("420", 10, *source)
    bright = tuple(np.full(shape_of(fmt, index), code, np.uint16) for index, code in enumerate((900, 300, 700)))
    pair = framed(PairSource(MadeEye(fmt, (bright,)), MadeEye(fmt, (bright,)), "kite"), 1998, 90)
    bars = bars_of(pair)
    for zoom, hit_px in ((1.0, 5.0), (1.004, 13.4)):
        shot = replace(_hit(hit_px), zoom=zoom, fill="zoom")
        for eye, shift in zip(_drawn(pair, shot)[:2], (-hit_px / 2.0, hit_px / 2.0)):
            # Where the picture's sides and its top and bottom went: about the frame's middle, then moved (computed).
            sides = [999.0 + zoom * (at - 999.0) + shift for at in (bars.left_px, 1998 - bars.right_px)]
            ends = [45.0 + zoom * (at - 45.0) for at in (bars.top_px, 90 - bars.bottom_px)]
            spans = []
            for (start, end), size in ((sides, 1998), (ends, 90)):
                at = np.arange(size)
                spans.append(np.clip(np.minimum(at + 1.0, end) - np.maximum(at, start), 0.0, 1.0))
            if not bars.left_px:
                spans[0][:] = 1.0
            if not bars.top_px:
                spans[1][:] = 1.0
            shown = spans[1][:, None] * spans[0][None, :]
            assert np.abs(eye[0] - (64.0 + shown * (900 - 64))).max() <= 1.0
            assert (eye[0][shown == 0.0] == 64).all()
            for plane, code in zip(eye[1:], (300, 700)):
                served = shown.reshape(45, 2, 999, 2)
                assert (plane[served.min(axis=(1, 3)) == 0.0] == 512).all()
                assert (plane[served.min(axis=(1, 3)) == 1.0] == code).all()


@pytest.mark.parametrize("aspect", [1.0, 2.0, 0.5])
def test_a_turned_bar_keeps_a_straight_edge(aspect: float) -> None:
    fmt = yuv("444", 10, 200, 120)
    flat = tuple(np.full(shape_of(fmt, index), 600, np.uint16) for index in range(3))
    placement, bars = Placement(1.02, 3.3, -2.1, 1.5, aspect), Bars(20, 31, 12, 9)
    out = barred(flat, fmt, placement, bars)
    # Each pixel's middle, taken back to where it came from, lies in the picture or in a bar (computed).
    y, x = (axis + 0.5 for axis in np.mgrid[:120, :200])
    turn = np.deg2rad(placement.turn_deg)
    right, down = (x - 100.0 - 3.3) / 1.02, (y - 60.0 + 2.1) / 1.02
    from_x = 100.0 + right * np.cos(turn) + down * np.sin(turn) / aspect
    from_y = 60.0 - right * np.sin(turn) * aspect + down * np.cos(turn)
    inwards = np.minimum.reduce([from_x - 20.0, 169.0 - from_x, from_y - 12.0, 111.0 - from_y])
    assert (out[0][inwards > 0.8] == 600).all()
    assert (out[0][inwards < -0.8] == 64).all()
    edge = np.abs(inwards) < 0.4
    assert ((out[0][edge] > 64) & (out[0][edge] < 600)).mean() > 0.95


def test_a_plan_for_other_spare_columns_is_refused() -> None:
    pair = framed(_pair_at(2048, 90, 0), 1998, 90)
    with pytest.raises(InputError, match="columns of picture beyond"):
        render_pair(*_eyes(pair), pair.format, clip_info(pair), _hit(0.0), 0)


def _remade(pair: PairSource, shot: ShotPlan) -> PairSource:
    """The pair that a shot's plan makes."""
    left, right, _ = _drawn(pair, shot)
    return PairSource(MadeEye(pair.format, (left,)), MadeEye(pair.format, (right,)), "kite")


@pytest.mark.parametrize("source_width", [2048, 1920])
@pytest.mark.parametrize("parallax_px", [-20, 30])
def test_a_plan_for_a_frame_is_kept_by_what_is_rendered_and_measured_again(source_width: int, parallax_px: int) -> None:
    pair = framed(_pair_at(source_width, 270, parallax_px), 1998, 270)
    measured = measure_clip(pair, shots=ONE_SHOT)
    (shot,) = planned(columns_of(measured), Screen("pier", 4000.0, 6000.0), Limits(-0.5, 0.5, 2.0)).shots
    hit_px = float(moves_of(shot, measured.clip).hit_px[0])
    assert abs(parallax_px + hit_px) <= 0.5 * 1998 / 100.0 + pair.format.step_px
    finished = measure_clip(_remade(pair, shot), shots=ONE_SHOT)
    assert finished.clip.width_px == 1998
    frame = finished.frames[0]
    assert frame.median_pct == pytest.approx((parallax_px + hit_px) * 100.0 / 1998, abs=0.01)
    if parallax_px > 0 and source_width == 2048:
        # The move stays within the columns to spare: the finished frame is all picture.
        assert abs(hit_px) / 2.0 <= pair.spare_px
        assert not shot.window
        assert (frame.left_hidden_px, frame.right_hidden_px) == ((0.0,) * 4, (0.0,) * 4)
    figures = figures_of(columns_of(finished), 0, 0)
    for excess_pct in (figures.left_excess_pct, figures.right_excess_pct):
        assert not excess_pct > EDGE_TOLERANCE_PCT


def test_both_eyes_of_one_file_are_framed_and_still_decoded_once() -> None:
    both = yuv("422", 10, 128, 36)

    class Counted(MadeEye):
        def frames(self, first: int = 0, last: int | None = None, *, colour_every: int = 1) -> Iterator[Planes]:
            for planes in super().frames(first, last, colour_every=colour_every):
                decoded.append(1)
                yield planes

    decoded: list[int] = []
    file = Counted(both, (noise(both, 5), noise(both, 6)))
    left, right = packed_eyes(file, "side-by-side")
    pair = framed(PairSource(left, right, "kite", layout="side-by-side", packed=file), 50, 40)
    assert pair.whole is not None
    for source, columns in ((pair, 50), (pair.whole, 62)):
        decoded.clear()
        frames = list(source.frames())
        assert len(decoded) == len(frames) == 2
        first = (64 - columns) // 4 * 2
        for (_, *eyes), picture in zip(frames, file.pictures):
            for eye, at in zip(eyes, (first, 64 + first)):
                assert np.array_equal(eye[0][2:-2], picture[0][:, at : at + columns])
