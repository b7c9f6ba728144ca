"""Windows as they come out of planning and rendering: what they hide, and how they fade.

What is seen beside an edge by that side's eye is seen by the other eye too. That is what "not in front of the edge"
means, and it is checked here without any formula of the plan: every column of the pictures carries its own code, so a
column's partner can be looked up in the other eye's finished picture.
"""

from __future__ import annotations

from dataclasses import replace
from functools import lru_cache
from itertools import pairwise

import numpy as np
import pytest
from plan_tables import CLIP, frame, measurement, planned, rows, table
from render_formats import FORMATS, clip_of, covered_shares, faded, largest_in, noise, yuv
from window_scenes import PICTURE_ROWS, made_scene

from postfix.demo.film import FILM, SIZE_PX
from postfix.demo.footage import yuv422p10
from postfix.limits import Limits
from postfix.measure.active import active_picture
from postfix.measure.columns import columns_of
from postfix.measure.frame import measure_frame
from postfix.measure.table import EDGE_BANDS, NAN
from postfix.plan.figures import EDGE_TOLERANCE_PCT, figures_of
from postfix.plan.geometry import moves_of
from postfix.plan.model import HitKey, ShotPlan, WindowKey
from postfix.plan.settings import Fill, WindowSettings
from postfix.plan.windows import windows_for
from postfix.render.moves import render_pair
from postfix.source.picture import PictureFormat, Planes, grey
from postfix.viewing import Screen

FMT = yuv("422", 16, 640, 48)
SCREEN = Screen("pier", 4000.0, 6000.0)
SPACING = 60  # codes from one column to the next


def _eye(offset_px: int) -> Planes:
    """Every column's code tells which point of a flat scene it shows; the scene lies ``offset_px`` to the right."""
    columns = np.arange(FMT.width) - offset_px
    luma = np.broadcast_to((20000 + SPACING * columns).astype(np.uint16), (FMT.height, FMT.width))
    chroma = np.full((FMT.height, FMT.width // 2), 9000, np.uint16)
    return luma, chroma, chroma


def _rendered(parallax_px: int, limits: Limits, fill: Fill) -> tuple[np.ndarray, np.ndarray, ShotPlan]:
    pct = parallax_px * 100.0 / FMT.width
    made = table([frame(pct, pct, rows(pct), rows(pct))] * 5, clip=clip_of(FMT))
    (shot,) = planned(made, SCREEN, limits, fill=fill).shots
    left, right, _ = render_pair(_eye(0), _eye(parallax_px), FMT, clip_of(FMT), shot, 2)
    return left[0].astype(int), right[0].astype(int), shot


def _edge_code(row: np.ndarray, side: str) -> tuple[float, float]:
    """Code of the point of the scene in which the black of one side ends, to a fraction of a column, and how much codes
    rise there from column to column."""
    seen = np.flatnonzero(row != FMT.planes[0].black[0])
    inwards = 1 if side == "left" else -1
    outer, first, second = (float(row[(seen[0] if side == "left" else seen[-1]) + inwards * i]) for i in range(3))
    rise = second - first
    whole = first - rise  # the code of the outermost column that shows anything, were none of it hidden
    black = FMT.planes[0].black[0]
    shown = min((outer - black) / (whole - black), 1.0)
    return first - (0.5 + shown) * rise, abs(rise)


def _unseen_px(own: np.ndarray, other: np.ndarray, side: str) -> float:
    """Columns that the side's own eye sees beside the edge and the other does not."""
    worst = 0.0
    for own_row, other_row in zip(own, other):
        (own_code, rise), (other_code, _) = (_edge_code(row, side) for row in (own_row, other_row))
        # Columns rise in code from left to right.
        beyond = other_code - own_code if side == "left" else own_code - other_code
        worst = max(worst, beyond / rise)
    return worst


@pytest.mark.parametrize("fill", ["hide", "crop", "zoom"])
@pytest.mark.parametrize("parallax_px", [-24, -10, -4, 0, 4, 14])
@pytest.mark.parametrize(
    "limits", [Limits(-9.0, 9.0, 9.0), Limits(-9.0, -1.0, 9.0), Limits(1.0, 9.0, 9.0)], ids=["free", "forward", "back"]
)
def test_nothing_beside_an_edge_is_seen_by_one_eye_only(parallax_px: int, limits: Limits, fill: Fill) -> None:
    left, right, shot = _rendered(parallax_px, limits, fill)
    # What is within tolerance may stay; a zoom spreads the codes a little.
    allowed = EDGE_TOLERANCE_PCT * FMT.width / 100.0 + (0.2 if fill == "zoom" else 0.0)
    assert _unseen_px(left, right, "left") <= allowed
    assert _unseen_px(right, left, "right") <= allowed
    if shot.window and fill != "zoom":
        # And no more is hidden than the need, the margin and the key's tolerance.
        most = WindowSettings().margin_pct * FMT.width / 100.0 + 1.0
        assert _unseen_px(left, right, "left") <= 1e-3
        assert _left_surplus_px(left, right) <= most


@pytest.mark.parametrize("fill", ["hide", "crop"])
def test_a_tilted_edge_beside_bare_columns_is_one_straight_line(fill: Fill) -> None:
    lower = (NAN,) * 18 + (-3.0,) * 6
    made = table([frame(-3.0, 0.2, lower, lower)] * 5, clip=clip_of(FMT))
    (shot,) = planned(made, SCREEN, Limits(-9.0, -1.0, 9.0), fill=fill).shots
    left, right, _ = render_pair(_eye(0), _eye(0), FMT, clip_of(FMT), shot, 2)
    heights = (np.arange(FMT.height) + 0.5) / FMT.height
    for own, rises in ((left[0], SPACING), (right[0][:, ::-1], -SPACING)):
        widths = _hidden_px(own.astype(float), rises)
        assert widths[-1] > widths[0] + 10
        # Where a kink was the best straight line would miss by more than the rounding of codes.
        off = widths - np.polyval(np.polyfit(heights, widths, 1), heights)
        assert np.abs(off).max() <= 0.02


def _hidden_px(rows: np.ndarray, rises: float) -> np.ndarray:
    """How much of each row is hidden at its beginning, where codes rise evenly from column to column; (rows,)."""
    black = FMT.planes[0].black[0]
    whole = rows[:, 200:201] + rises * (np.arange(200) - 200.0)
    return np.asarray((1.0 - (rows[:, :200] - black) / (whole - black)).sum(axis=1))


def _left_surplus_px(left: np.ndarray, right: np.ndarray) -> float:
    """Columns hidden in the left eye at the left beyond those whose partner is hidden in the right eye."""
    return (_edge_code(left[0], "left")[0] - _edge_code(right[0], "left")[0]) / SPACING


@pytest.mark.parametrize("fill", ["hide", "crop", "zoom"])
@pytest.mark.parametrize(("near_limit", "far_limit"), [(-9.0, -1.0), (1.0, 9.0)])
def test_the_finished_pictures_have_the_parallax_that_was_planned(
    near_limit: float, far_limit: float, fill: Fill
) -> None:
    left, right, shot = _rendered(4, Limits(near_limit, far_limit, 9.0), fill)
    middle = slice(280, 360)
    # The right eye shows at x what the left eye shows at x - P: codes differ by P columns, enlarged by the zoom.
    found_px = (left - right)[:, middle].mean() / SPACING * shot.zoom
    planned_px = shot.zoom * 4 + shot.hit[0].pct * FMT.width / 100.0
    assert found_px == pytest.approx(planned_px, abs=0.05)


@pytest.mark.parametrize("total_px", [-12, 0, 8])
@pytest.mark.parametrize("seed", [3, 14, 15, 92])
def test_no_row_of_an_object_is_left_in_front_of_its_rendered_window(seed: int, total_px: int) -> None:
    rng = np.random.default_rng(seed)
    scene = made_scene(rng)
    count = len(scene.left_px)
    fmt = yuv("420", 10, CLIP.width_px, PICTURE_ROWS)
    shot = ShotPlan("sh001", 0, count - 1, (HitKey(0, total_px * 100.0 / fmt.width),))
    moves = moves_of(shot, clip_of(fmt))
    settings = WindowSettings(max_pct=25.0)  # wider than any need here
    shot = replace(shot, window=windows_for(scene.arrays(), moves, CLIP, 0, settings))
    bright = tuple(np.full(plane.shape, code, np.uint16) for plane, code in zip(noise(fmt), (940, 300, 700)))
    tolerance_px = EDGE_TOLERANCE_PCT * fmt.width / 100.0
    checked = 0
    for frame_number in range(0, count, 7):
        eyes = render_pair(bright, bright, fmt, clip_of(fmt), shot, frame_number)[:2]
        shares = [1.0 - (eye[0] - 64.0) / 876.0 for eye in eyes]
        for index, half in enumerate((np.s_[:, : fmt.width // 2], np.s_[:, fmt.width // 2 :])):
            own, opposite = (shares[at][half].sum(axis=1) for at in (index, 1 - index))
            in_front = (opposite - own) - (scene.sides[index][frame_number] + total_px)
            bare = max(-total_px, 0) / 2.0  # of the own eye, by the move alone
            # What needs a window: anything in its band of rows is in front by more than the measurement can be off.
            need = np.where(in_front + own - bare > tolerance_px, 1.0, 0.0).reshape(EDGE_BANDS, -1).max(axis=1)
            rows_px = in_front[np.repeat(need > 0.0, PICTURE_ROWS // EDGE_BANDS)]
            # Two pixels of a row, at most, are rounded to a code.
            assert (rows_px[np.isfinite(rows_px)] <= 2.0 * 0.5 / 876.0 + 1e-6).all()
            checked += int(np.isfinite(rows_px).sum())
    assert checked > 300


# --- soft edges, and windows that let the picture through ---


def _veiled(
    fmt: PictureFormat,
    left: tuple[float, float],
    right: tuple[float, float] = (0.0, 0.0),
    *,
    soft_px: float = 0.0,
    opacity_pct: float = 100.0,
    hit_px: float = 0.0,
    fill: Fill = "hide",
    zoom: float = 1.0,
) -> ShotPlan:
    return ShotPlan(
        "sh001",
        0,
        9,
        (HitKey(0, hit_px * 100.0 / fmt.width),),
        zoom=zoom,
        fill=fill,
        window=(WindowKey(0, left, right),),
        window_soft_px=soft_px,
        window_opacity_pct=opacity_pct,
    )


def _render(fmt: PictureFormat, shot: ShotPlan) -> tuple[Planes, Planes, bool]:
    return render_pair(noise(fmt, 1), noise(fmt, 2), fmt, clip_of(fmt), shot, 0)


def _hidden_shares(fmt: PictureFormat, line_px: tuple[float, float], soft_px: float) -> np.ndarray:
    """How much of each luma pixel a soft window at the left hides: the mean across the pixel at the row's middle
    (computed; both pieces of the curve are of at most third order, for which Simpson's rule is exact)."""

    def weight(x: float) -> float:
        return 1.0 if x <= 0.0 else (0.0 if x >= 1.0 else 1.0 - (3.0 * x**2 - 2.0 * x**3))

    shares = np.zeros((fmt.height, fmt.width))
    for row, column in np.ndindex(shares.shape):
        width = line_px[0] + (line_px[1] - line_px[0]) * (row + 0.5) / fmt.height
        ramp = min(soft_px, width)
        places = sorted({min(max(at, column), column + 1.0) for at in (column, width, width + ramp, column + 1.0)})
        for a, b in pairwise(places):
            values = [weight((x - width) / ramp) for x in (a, (a + b) / 2.0, b)]
            shares[row, column] += (b - a) * (values[0] + 4.0 * values[1] + values[2]) / 6.0
    return np.where(shares > 1.0 - 1e-9, 1.0, np.where(shares < 1e-9, 0.0, shares))


@pytest.mark.parametrize("side", ["left", "right"])
@pytest.mark.parametrize("opacity_pct", [100.0, 40.0])
@pytest.mark.parametrize("name", FORMATS)
def test_a_soft_edge_follows_a_tilted_window_in_every_plane(name: str, opacity_pct: float, side: str) -> None:
    fmt, line = FORMATS[name], (5.3, 14.0)
    no = (0.0, 0.0)
    lines = (line, no) if side == "left" else (no, line)
    left, right, _ = _render(fmt, _veiled(fmt, *lines, soft_px=6.0, opacity_pct=opacity_pct))
    out, source = (left, noise(fmt, 1)) if side == "left" else (right, noise(fmt, 2))
    assert np.array_equal((right if side == "left" else left)[0], noise(fmt, 2 if side == "left" else 1)[0])
    shares = _hidden_shares(fmt, line, 6.0) * opacity_pct / 100.0
    shares = shares if side == "left" else shares[:, ::-1]
    for index, plane in enumerate(fmt.planes):
        over = largest_in(shares, plane.step_x, plane.step_y)
        assert out[index].dtype == source[index].dtype
        # Nothing outside the window's reach changes by a code, and what is wholly hidden is exact black.
        assert np.array_equal(out[index][over == 0.0], source[index][over == 0.0])
        assert (out[index][over == 1.0] == np.array(plane.black).astype(fmt.dtype)).all()
        off = np.abs(out[index].astype(np.float64) - faded(fmt, index, source[index], over))
        # Rounded to the nearest code; a float sample keeps its own 24 bits.
        assert off.max() <= (1e-6 if fmt.dtype == "float32" else 0.5 + 1e-6)


@pytest.mark.parametrize("side", [0, 1])
@pytest.mark.parametrize("name", FORMATS)
def test_a_faint_window_covers_the_very_area_that_an_opaque_one_hides(name: str, side: int) -> None:
    fmt = FORMATS[name]
    faint = _render(fmt, _veiled(fmt, (1.0, 13.0), (9.0, 2.0), opacity_pct=50.0))[side]
    opaque = covered_shares(fmt, (1.0, 13.0)) if side == 0 else covered_shares(fmt, (9.0, 2.0))[:, ::-1]
    for index, (source, plane) in enumerate(zip(noise(fmt, side + 1), fmt.planes)):
        shares = 0.5 * largest_in(opaque, plane.step_x, plane.step_y)
        assert np.array_equal(faint[index][shares == 0.0], source[shares == 0.0])
        off = np.abs(faint[index].astype(np.float64) - faded(fmt, index, source, shares))
        assert off.max() <= (1e-6 if fmt.dtype == "float32" else 0.5 + 1e-6)


@pytest.mark.parametrize("fill", ["hide", "crop"])
@pytest.mark.parametrize("soft_px", [0.0, 5.0])
def test_what_the_move_lays_bare_is_black_whatever_the_window_lets_through(soft_px: float, fill: Fill) -> None:
    fmt = FORMATS["yuv422-10"]
    # A HIT of −16 px moves the left eye 8 px to the right; the window is 6 px wider than what that lays bare.
    shot = _veiled(fmt, (14.0, 14.0), opacity_pct=30.0, soft_px=soft_px, hit_px=-16.0, fill=fill)
    left, right, _ = _render(fmt, shot)
    moved_left, moved_right, _ = _render(fmt, _veiled(fmt, (0.0, 0.0), hit_px=-16.0, fill=fill))
    assert all(np.array_equal(a, b) for a, b in zip(right, moved_right))
    for index, plane in enumerate(fmt.planes):
        bare, window, reach = (int(px) // plane.step_x for px in (8, 14, 14 + soft_px + 1))
        assert (left[index][:, :bare] == plane.black[0]).all()
        want = faded(fmt, index, moved_left[index][:, bare:window], np.full((1, window - bare), 0.3))
        assert np.abs(left[index][:, bare:window] - want).max() <= 0.5
        assert np.array_equal(left[index][:, reach:], moved_left[index][:, reach:])


@pytest.mark.parametrize("name", ["yuv420-8", "rgb-float"])
def test_a_window_that_hides_nothing_leaves_the_same_arrays(name: str) -> None:
    fmt = FORMATS[name]
    left, right = noise(fmt, 1), noise(fmt, 2)
    for shot in (
        _veiled(fmt, (9.0, 4.0), (3.0, 3.0), opacity_pct=0.0, soft_px=4.0),
        _veiled(fmt, (0.0, 0.0), opacity_pct=50.0, soft_px=4.0),
    ):
        out_left, out_right, unchanged = render_pair(left, right, fmt, clip_of(fmt), shot, 0)
        assert unchanged
        assert out_left is left
        assert out_right is right


def test_a_soft_edge_is_no_wider_than_its_window_beyond_what_is_bare() -> None:
    """So a window that grows from nothing does not bring a broad shadow with its first column."""
    fmt = yuv("444", 16)
    for hit_px, bare in ((0.0, 0), (-16.0, 8)):
        moved_left = _render(fmt, _veiled(fmt, (0.0, 0.0), hit_px=hit_px))[0][0]
        for beyond in (0.0, 0.4, 1.0, 3.0, 12.0):
            line = (bare + beyond, bare + beyond)
            left = _render(fmt, _veiled(fmt, line, soft_px=12.0, hit_px=hit_px))[0][0]
            changed = np.flatnonzero((left != moved_left).any(axis=0))
            most = changed.max() + 1 if changed.size else bare
            assert bare + beyond <= most <= bare + np.ceil(2.0 * beyond)
    tilted = _render(fmt, _veiled(fmt, (0.0, 18.0), soft_px=12.0))[0][0]
    reach = (tilted != noise(fmt, 1)[0]).sum(axis=1)
    assert reach[0] <= 1
    assert reach[-1] >= 28


def test_brightness_and_colour_fade_together() -> None:
    """On one flat colour chroma is never stronger against luma than in the picture: no coloured fringe."""
    fmt = yuv("420", 16, 96, 36)
    flat = tuple(
        np.full((36 // plane.step_y, 96 // plane.step_x), code, np.uint16)
        for plane, code in zip(fmt.planes, (40000, 20000, 45000))
    )
    left, _, _ = render_pair(flat, flat, fmt, clip_of(fmt), _veiled(fmt, (17.0, 31.0), soft_px=16.0), 0)
    luma = (left[0].astype(float) - fmt.planes[0].black[0]) / (40000 - fmt.planes[0].black[0])
    assert (np.diff(luma, axis=1) >= 0.0).all()
    assert np.abs(np.diff(luma, axis=1)).max() <= 1.5 / 16 + 0.02  # the steepest that 3x² − 2x³ gets over 16 px
    for index, code in ((1, 20000), (2, 45000)):
        neutral = fmt.planes[index].black[0]
        colour = (left[index].astype(float) - neutral) / (code - neutral)
        darkest = 1.0 - largest_in(1.0 - luma, 2, 2)
        assert np.abs(colour - darkest).max() < 1e-3


def test_samples_that_are_no_numbers_stay_where_the_picture_shows_and_are_black_where_it_is_hidden() -> None:
    fmt = FORMATS["rgb-float"]
    wild = np.full((fmt.height, fmt.width, 3), np.inf, np.float32)
    wild[::2] = np.nan
    left, _, _ = render_pair((wild,), (wild,), fmt, clip_of(fmt), _veiled(fmt, (8.0, 8.0), soft_px=4.0), 0)
    assert (left[0][:, :8] == 0.0).all()
    assert not np.isfinite(left[0][:, 8:]).any()


def test_a_soft_window_of_a_zoomed_shot_is_laid_over_the_picture_drawn_anew() -> None:
    fmt = FORMATS["yuv422-10"]
    plain = _render(fmt, _veiled(fmt, (0.0, 0.0), hit_px=-3.0, fill="zoom", zoom=1.05))[0]
    soft = _render(fmt, _veiled(fmt, (6.0, 6.0), hit_px=-3.0, fill="zoom", zoom=1.05, soft_px=4.0))[0]
    for index, plane in enumerate(fmt.planes):
        assert (soft[index][:, : 6 // plane.step_x] == plane.black[0]).all()
        assert np.array_equal(soft[index][:, 10 // plane.step_x :], plain[index][:, 10 // plane.step_x :])


def test_a_window_wider_than_the_picture_hides_all_of_it_however_soft() -> None:
    fmt = FORMATS["odd-420"]
    left, _, _ = _render(fmt, _veiled(fmt, (500.0, 500.0), soft_px=9.0))
    assert all((left[index] == plane.black[0]).all() for index, plane in enumerate(fmt.planes))


# --- what the finished check sees of them ---


@lru_cache
def _spool() -> tuple[Planes, Planes]:
    """Both eyes of a frame in which a spool is cut by the left edge."""
    left, right = (yuv422p10(eye) for eye in FILM[0].scene.render(14))
    return left, right


def _left_excess_pct(soft_px: float, opacity_pct: float, window_px: float = 14.55) -> float:
    """How far the spool that the left edge cuts 1.4 % in front of the screen lies in front of that edge, measured on
    the rendered pictures; the window is as wide as is planned for it."""
    fmt = yuv("422", 10, *SIZE_PX)
    shot = _veiled(fmt, (window_px, window_px), soft_px=soft_px, opacity_pct=opacity_pct)
    left, right, _ = render_pair(*_spool(), fmt, clip_of(fmt), shot, 0)
    seen, _ = measure_frame(left, right, fmt, with_all=False)
    return figures_of(columns_of(measurement([seen], clip=clip_of(fmt))), 0, 0).left_excess_pct


@pytest.mark.parametrize("line", [(14.55, 14.55), (20.0, 20.0), (9.9, 9.9), (31.2, 6.7), (12.0, 40.0)])
def test_a_rendered_window_is_found_again_where_it_is(line: tuple[float, float]) -> None:
    fmt = yuv("422", 10, *SIZE_PX)
    left, right, _ = render_pair(*_spool(), fmt, clip_of(fmt), _veiled(fmt, line, line[::-1]), 0)
    found = active_picture(grey(left, fmt), grey(right, fmt))
    assert found.left_hidden_px == pytest.approx((*line, 0.0, 0.0), abs=1.0)
    assert found.right_hidden_px == pytest.approx((0.0, 0.0, *line[::-1]), abs=1.0)


@pytest.mark.parametrize("soft_px", [0.0, 4.0, 8.0])
def test_the_check_finds_nothing_in_front_of_an_opaque_window_however_its_edge_is(soft_px: float) -> None:
    assert _left_excess_pct(soft_px, 100.0) == 0.0


@pytest.mark.parametrize("opacity_pct", [30.0, 60.0, 90.0])
def test_the_check_sees_through_a_faint_window_what_the_eyes_see_through_it(opacity_pct: float) -> None:
    # As wide as a picture whose chroma is shared by two columns showed it before edges stood between pixels.
    assert _left_excess_pct(0.0, opacity_pct, 16.0) == pytest.approx(1.4, abs=0.2)
