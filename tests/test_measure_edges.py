"""Edges of the frame: strips instead of whole pictures, thin things, what lies beside, bars, and runs of frames.

Scenes are painted here with parallax that is exact by construction (computed).
"""

from dataclasses import replace

import cv2
import numpy as np
import pytest
from plan_tables import frame
from plan_tables import measurement as table
from test_measure_parts import ALL, edge_side

from postfix.measure.beside import beside_pct, top_and_bottom_pct
from postfix.measure.edge_runs import edge_runs
from postfix.measure.edges import edge_bands, nearest_band
from postfix.measure.side import Side, columns_needed
from postfix.measure.table import EDGE_BANDS

WIDTH, HEIGHT = 1920, 1080
COLUMNS, SPARE = 420, 120


def noise(rng, height, width, spread, blurs):
    layers = [cv2.GaussianBlur(rng.standard_normal((height, width)).astype(np.float32), (0, 0), blur) for blur in blurs]
    out = sum(layer / layer.std() * blur**0.5 for layer, blur in zip(layers, blurs))
    return (spread * out / out.std()).astype(np.float32)


def thin_side(seed, *, rows_px, slope, behind_pct, front_pct, plain=False, is_right=False, tone=0.75, map_too=True):
    """A slanting branch ``rows_px`` high before a backdrop, with the grain of a camera; the dense map saw only that."""
    rng = np.random.default_rng(seed)
    backdrop = 0.4 + noise(rng, HEIGHT, COLUMNS + 2 * SPARE, 0.08, (30,) if plain else (1.5, 6, 30))
    bark = tone + noise(rng, 64, COLUMNS + 2 * SPARE, 0.06, (1.5, 5))
    middle = rng.uniform(0.25, 0.75) * HEIGHT
    eyes = []
    for shift in (0.0, 1.0):
        x_back = np.arange(COLUMNS) + shift * behind_pct * WIDTH / 100
        x_front = np.arange(COLUMNS) + shift * front_pct * WIDTH / 100
        axis = middle + slope * x_front
        y = np.arange(HEIGHT)[:, None] + (np.arange(4)[None, :] + 0.5) / 4
        covered = (np.abs(y[:, :, None] - axis) < rows_px / 2).mean(axis=1).astype(np.float32)
        rows = np.broadcast_to(np.arange(HEIGHT, dtype=np.float32)[:, None], (HEIGHT, COLUMNS))
        inside = np.clip(rows + 0.5 - axis[None, :] + 32, 0, 63).astype(np.float32)
        back, front = (
            cv2.remap(
                of, np.tile((x + SPARE).astype(np.float32), (HEIGHT, 1)), np.ascontiguousarray(at), cv2.INTER_CUBIC
            )
            for of, x, at in ((backdrop, x_back, rows), (bark, x_front, inside))
        )
        grain = rng.normal(0, 0.01, back.shape)
        eyes.append((back * (1 - covered) + front * covered + grain).astype(np.float32))
    dense = np.full((180, 640), behind_pct * 6.4, np.float32)
    if behind_pct > 0:
        dense[:, : int(behind_pct * 6.4) + 1] = np.nan
    if is_right:
        eyes, dense = [eye[:, ::-1] for eye in eyes], dense[:, ::-1]
    return Side(*eyes, dense if map_too else np.full_like(dense, np.nan), (0, 0), (0, 0), is_right, (WIDTH, HEIGHT))


def branches_found(rows_px, slope, behind_pct, plain):
    """Nearest edge parallax read beside three branches at −1.5 %, the second of them at the right side."""
    found = []
    for seed in range(3):
        side = thin_side(
            seed, rows_px=rows_px, slope=slope, behind_pct=behind_pct, front_pct=-1.5, plain=plain, is_right=seed == 1
        )
        found.append(nearest_band(edge_bands(side)))
    return found


@pytest.mark.parametrize(("rows_px", "slope"), [(2, 0.5), (4, 0.5), (6, 0.5), (6, -0.5), (4, 1.0)])
@pytest.mark.parametrize(("behind_pct", "plain"), [(-0.2, False), (0.6, True), (0.6, False)])
def test_a_thin_branch_that_crosses_the_edge_at_a_slant_is_not_lost(rows_px, slope, behind_pct, plain):
    found = branches_found(rows_px, slope, behind_pct, plain)
    # Two in three; of the thinnest before grain that has no partner only one is asked for. None is made up.
    least = 1 if rows_px == 2 and behind_pct > 0 and not plain else 2
    assert sum(abs(value + 1.5) <= 0.15 for value in found) >= least, found
    assert min(found) > -1.65


@pytest.mark.parametrize("behind_pct", [-0.2, 0.6, 3.0])
@pytest.mark.parametrize("seed", range(4))
def test_nothing_in_front_is_invented_where_there_is_only_a_backdrop(behind_pct, seed):
    side = thin_side(seed, rows_px=0, slope=0, behind_pct=behind_pct, front_pct=-1.5)
    found = edge_bands(side)
    assert np.nanmin(found) == pytest.approx(behind_pct, abs=0.1)


def test_strips_of_the_eyes_tell_what_whole_pictures_tell():
    whole = edge_side((-4, ALL, (-60, 300)), (-16, (240, 480), (-60, 40)))
    height, width = whole.own.shape
    columns = columns_needed(width, (0.0, 0.0))
    assert columns < 0.25 * width
    strips = replace(whole, own=whole.own[:, :columns], other=whole.other[:, :columns], size_px=(width, height))
    assert edge_bands(strips) == pytest.approx(edge_bands(whole), abs=1e-6, nan_ok=True)


@pytest.mark.parametrize("is_right", [False, True])
def test_a_map_with_fewer_rows_than_columns_is_read_at_its_own_scales(is_right):
    side = edge_side((-4, ALL, (-60, 300)), (-16, (240, 480), (-60, 40)), is_right=is_right)
    flat = replace(side, parallax=np.ascontiguousarray(side.parallax[1::2]))
    bands = edge_bands(flat)
    assert bands[: EDGE_BANDS // 2] == pytest.approx(-0.5, abs=0.03)
    assert bands[EDGE_BANDS // 2 :] == pytest.approx(-2.0, abs=0.03)


def test_bands_wholly_inside_a_letterbox_are_empty_and_the_others_are_read():
    side = edge_side((-8, ALL, (-60, 300)))
    own, other = side.own.copy(), side.other.copy()
    for eye in (own, other):
        eye[:80] = eye[-80:] = 0.0
    bands = edge_bands(replace(side, own=own, other=other, bars_px=(80.0, 80.0)))
    assert np.isnan(bands[:4]).all()
    assert np.isnan(bands[-4:]).all()
    assert bands[4:-4] == pytest.approx(-1.0, abs=0.03)


def test_between_pillar_bars_the_edge_is_that_of_the_active_picture():
    layers = ((-8, ALL, (60, 300)), (-24, (120, 360), (60, 100)))
    bands = edge_bands(edge_side(*layers, own_hidden=60, other_hidden=60))
    assert bands[:5] == pytest.approx(-1.0, abs=0.05)
    assert bands[7:17] == pytest.approx(-3.0, abs=0.05)


@pytest.mark.parametrize("is_right", [False, True])
def test_content_near_the_edge_is_told_from_content_that_touches_it(is_right):
    touching = (-8, (0, 240), (-60, 300))
    backdrop = (-4, ALL, (-60, 300))
    near = (-24, (300, 440), (12, 60))
    side = edge_side(backdrop, touching, near, is_right=is_right)
    bands = edge_bands(side)
    assert nearest_band(bands) == pytest.approx(-1.0, abs=0.05)
    assert beside_pct(side, bands) == pytest.approx(-3.0, abs=0.05)


def test_nothing_lies_beside_where_one_thing_fills_the_side():
    side = edge_side((-8, ALL, (-60, 300)))
    assert np.isnan(beside_pct(side, edge_bands(side)))


def test_top_and_bottom_are_read_in_the_outermost_rows_of_the_active_picture():
    dense = np.full((360, 640), 3.2, np.float32)
    dense[:30, 100:200] = -6.4
    dense[340:, :3] = -64.0
    dense[345:] -= 6.4
    assert top_and_bottom_pct(dense, 1080, (0.0, 0.0)) == pytest.approx((-1.0, -0.5), abs=0.01)
    # Inside a bar of 99 rows nothing counts, and the first lit row is proxy row 33.
    assert top_and_bottom_pct(dense, 1080, (99.0, 0.0))[0] == pytest.approx(0.5, abs=0.01)
    assert np.isnan(top_and_bottom_pct(np.full_like(dense, np.nan), 1080, (0.0, 0.0))).all()


def bands(upper_pct, first=0, after=12):
    values = np.full(EDGE_BANDS, np.nan)
    values[first:after] = upper_pct
    return tuple(values.tolist())


def test_runs_at_the_edge_are_told_by_shot_with_their_length_and_depth():
    def one(number):
        if 10 <= number < 20:
            return frame(left=bands(-0.2 - 0.1 * (number - 10), 12, 18))
        return frame(left=bands(0.3))

    (run,) = edge_runs(table(one, 40, cuts=(30,)))
    assert (run.shot, run.side, run.first, run.last, run.frames) == ("sh001", "left", 10, 19, 10)
    assert run.nearest_pct == pytest.approx(-1.1)
    assert (run.top_band, run.bottom_band) == (12, 17)
    # −1.0 % is the first within a tenth of −1.1 %.
    assert (run.nearest_frame, run.frames_to_nearest) == (18, 8)
    assert run.speed_pct_per_frame == pytest.approx(0.1)
    assert run.drift_pct_per_frame == pytest.approx(0.0, abs=1e-9)
    assert "1.10 % in front of the screen" in run.sentence()


def test_short_gaps_are_bridged_and_long_ones_and_cuts_are_not():
    touching = {*range(2, 5), *range(7, 9), *range(14, 20)}
    shots = table(lambda i: frame(right=bands(-0.5 if i in touching else 0.2)), 24, cuts=(17,))
    assert [(run.first, run.last, run.frames) for run in edge_runs(shots)] == [(2, 8, 5), (14, 16, 3), (17, 19, 3)]


def test_rows_that_move_down_give_a_drift():
    down = table(lambda i: frame(left=bands(-0.5, i, i + 6)), 12)
    (run,) = edge_runs(down)
    assert run.drift_pct_per_frame == pytest.approx(100 / EDGE_BANDS)
    assert run.speed_pct_per_frame == pytest.approx(0.0, abs=1e-9)


def test_content_behind_or_at_the_screen_makes_no_run():
    assert edge_runs(table(lambda i: frame(left=bands(-0.05), right=bands(0.4)), 12)) == ()


def test_one_frame_has_no_speed():
    (run,) = edge_runs(table(lambda i: frame(left=bands(-0.5)), 1))
    assert np.isnan([run.speed_pct_per_frame, run.drift_pct_per_frame]).all()
    assert "frame 0" in run.sentence()
