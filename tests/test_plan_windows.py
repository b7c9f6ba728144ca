"""Windows cover what touches an edge in front of it, tilt, ease in time, and stay away where nothing needs them."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction

import numpy as np
import pytest
from plan_tables import CLIP, frame, measurement, rows, table

from postfix.measure.columns import Columns, columns_of
from postfix.measure.table import EDGE_BANDS, NAN
from postfix.plan.figures import EDGE_TOLERANCE_PCT, edge_state, unmoved
from postfix.plan.geometry import Drawing, Moves, window_px_at
from postfix.plan.model import ShotPlan, WindowKey
from postfix.plan.robust import shot_arrays
from postfix.plan.settings import Fill, WindowSettings
from postfix.plan.window_brief import excess_beyond_brief
from postfix.plan.window_easing import easing_of
from postfix.plan.window_keys import KEY_TOLERANCE_PX, KEY_TOLERANCE_SHARE
from postfix.plan.windows import TILT_SAVING, window_cost_curve, window_shortfall_px, windows_for

PX = CLIP.width_px / 100.0
DEFAULTS = WindowSettings()
MARGIN_PX = DEFAULTS.margin_pct * PX


def _windows(
    made: Columns, moves: Moves | None = None, settings: WindowSettings = DEFAULTS, first: int = 0
) -> tuple[WindowKey, ...]:
    shot = shot_arrays(made, 0, made.count - 1)
    return windows_for(shot, moves or unmoved(made.count), made.clip, first, settings)


def _curve(made: Columns, moves: Moves | None = None, settings: WindowSettings = DEFAULTS) -> np.ndarray:
    shot = ShotPlan("sh001", 0, made.count - 1, window=_windows(made, moves, settings))
    return window_px_at(shot, np.arange(made.count))


def test_an_object_at_minus_1_2_percent_of_2048_px_gets_its_25_columns_and_the_margin() -> None:
    # References, the window: 24.576 px (computed); the margin is the project's own.
    (key,) = _windows(table(lambda i: frame(left=rows(-1.2)), 48))
    assert key.left_px == pytest.approx((24.576 + MARGIN_PX,) * 2, abs=0.011)
    assert key.left_px[0] >= 24.576 + MARGIN_PX - 1e-6
    assert key.right_px == (0.0, 0.0)
    (key,) = _windows(table(lambda i: frame(right=rows(-1.2)), 48))
    assert key.left_px == (0.0, 0.0)
    assert key.right_px[0] >= 24.576


def _lower(share: float, pct: float) -> tuple[float, ...]:
    """Edge parallax of an object that fills the lowest ``share`` of the picture."""
    bands = round(share * EDGE_BANDS)
    return (NAN,) * (EDGE_BANDS - bands) + (pct,) * bands


def test_an_object_in_the_lowest_quarter_gives_a_tilted_window() -> None:
    (key,) = _windows(table(lambda i: frame(left=_lower(0.25, -1.2)), 48))
    top, bottom = key.left_px
    need = 24.576 + MARGIN_PX
    assert top + (bottom - top) * 0.75 >= need - 1e-6
    assert (top + bottom) / 2.0 <= need * (1.0 - TILT_SAVING)


@pytest.mark.parametrize("share", [0.5, 0.75, 1.0])
def test_a_window_stays_upright_where_a_tilt_would_hide_no_less(share: float) -> None:
    # A line over an object that reaches the middle is as wide there as the upright one: no tilt can hide less.
    for pct in (-0.4, -1.2, -2.5):
        (key,) = _windows(table(lambda i, pct=pct: frame(left=_lower(share, pct)), 48))
        assert key.left_px[0] == key.left_px[1]
        assert key.left_px[0] == pytest.approx(-pct * PX + MARGIN_PX, abs=0.011)


@pytest.mark.parametrize(("bands", "saving"), [(8, 0.25), (9, 1 / 6), (10, 0.1), (11, 0.0)])
def test_a_tilt_is_taken_from_a_saving_of_a_tenth_on(bands: int, saving: float) -> None:
    # The need is 1 from b bands of 24 above the bottom on. Held at 1.5 at the bottom, the line over it is 1.5 - 12/b at
    # the top, so it saves 6/b - 1/2: 1/4, 1/6, 1/10, 1/22 (computed); the last is less than a tenth, so upright.
    (key,) = _windows(table(lambda i: frame(left=_lower(bands / EDGE_BANDS, -1.2)), 48))
    need = 24.576 + MARGIN_PX
    assert 1.0 - sum(key.left_px) / 2.0 / need == pytest.approx(saving, abs=1e-3)


def test_noise_in_the_last_digit_of_a_table_does_not_change_the_plan() -> None:
    rng = np.random.default_rng(11)
    for share in (0.25, 0.375, 0.5, 0.625):
        plain = measurement(lambda i, share=share: frame(left=_lower(share, -1.2 - 0.01 * (i % 7))), 48)
        noisy = replace(
            plain,
            frames=tuple(
                replace(f, left_rows_pct=tuple((np.array(f.left_rows_pct) * (1 + rng.normal(0, 1e-15))).tolist()))
                for f in plain.frames
            ),
        )
        assert _windows(columns_of(noisy)) == _windows(columns_of(plain))


@pytest.mark.parametrize("fill", ["hide", "crop"])
@pytest.mark.parametrize("side", ["left", "right"])
def test_no_end_of_a_window_is_narrower_than_the_columns_laid_bare_there(fill: Fill, side: str) -> None:
    # A HIT of -24 px lays 12 columns of the left eye bare at the left and 12 of the right eye at the right.
    moves = Moves(np.full(100, 12.0), np.full(100, -12.0), 1.0, fill)
    lower = _lower(0.25, -1.2)
    made = table(lambda i: frame(**{side: lower}) if 40 <= i < 60 else frame(), 100)
    shot = ShotPlan("sh001", 0, 99, window=_windows(made, moves))
    curve = window_px_at(shot, np.arange(100))
    own, other = (curve[:, :2], curve[:, 2:]) if side == "left" else (curve[:, 2:], curve[:, :2])
    assert own.min() >= 12.0
    assert own[50, 1] > own[50, 0]
    # Where nothing is needed it lies on the bare columns, but for the pixel that keys may be wider.
    assert own[0].max() <= 12.0 + KEY_TOLERANCE_PX
    assert not other.any()


def test_nothing_in_front_needs_no_window() -> None:
    assert _windows(table(lambda i: frame(left=rows(0.4), right=rows()), 48)) == ()
    assert _windows(table(lambda i: frame(left=rows(-EDGE_TOLERANCE_PCT + 0.01)), 48)) == ()


def test_a_wild_frame_makes_no_window() -> None:
    assert _windows(table(lambda i: frame(left=rows(-3.0)) if i == 20 else frame(left=rows(0.1)), 48)) == ()
    assert _windows(table(lambda i: frame(left=rows(-3.0)) if i in (20, 21) else frame(), 48)) == ()


def test_three_frames_make_a_window() -> None:
    assert _windows(table(lambda i: frame(left=rows(-3.0)) if 20 <= i < 23 else frame(), 48)) != ()


def test_a_window_comes_before_its_need_and_goes_after_it() -> None:
    curve = _curve(table(lambda i: frame(left=rows(-1.2)) if 40 <= i < 60 else frame(left=rows(0.1)), 100))
    need = 24.576 + MARGIN_PX
    easing = easing_of(DEFAULTS, CLIP)
    # Held, then the time for the height at full speed, then the time to gather that speed.
    reach = easing.hold_radius + int(np.ceil(need / easing.speed_px)) + easing.ease_frames
    assert (curve[40 - easing.hold_radius : 60 + easing.hold_radius, :2] >= need - 1e-6).all()
    assert not curve[: 40 - reach].any()
    assert not curve[60 + reach :].any()
    assert (np.abs(np.diff(curve[:, 0])) <= easing.speed_px + 0.011).all()
    assert (np.diff(curve[40 - reach : 41, 0]) >= 0.0).all()


def test_a_window_is_up_from_the_first_frame_of_a_shot_where_it_is_needed_there() -> None:
    curve = _curve(table(lambda i: frame(left=rows(-1.2)) if i < 10 else frame(), 100))
    assert curve[0, 0] >= 24.576
    assert curve[-1, 0] == 0.0


def test_a_window_takes_as_long_at_other_rates() -> None:
    def seconds(rate: int) -> float:
        clip = replace(CLIP, rate=Fraction(rate))
        made = table(lambda i: frame(left=rows(-1.2)) if 2 * rate <= i < 3 * rate else frame(), 5 * rate, clip=clip)
        return float((_curve(made)[:, 0] > 1.0).sum() / rate)

    assert seconds(24) == pytest.approx(seconds(48), abs=2.5 / 24)
    assert seconds(24) == pytest.approx(seconds(60), abs=2.5 / 24)


def test_a_window_does_not_close_and_open_again_between_two_needs_nearer_than_the_hold() -> None:
    made = table(lambda i: frame(left=rows(-1.2)) if i % 16 < 6 else frame(left=rows(0.1)), 96)
    steady = _curve(made, settings=WindowSettings(hold_s=0.5))[:92, 0]  # held for 6 frames after the last need
    assert steady.min() >= 24.576 + MARGIN_PX - 1e-6  # gaps of 10 frames, held for 12
    assert np.ptp(steady) == 0.0
    pumping = _curve(made, settings=WindowSettings(hold_s=0.0))[:, 0]
    assert pumping.min() < 20.0


@pytest.mark.parametrize("speed", [1.0, 4.0, 12.0])
def test_no_window_moves_faster_than_its_settings_say(speed: float) -> None:
    settings = WindowSettings(speed_pct_per_s=speed)
    made = table(lambda i: frame(left=_lower(0.25, -3.0)) if 60 <= i < 75 else frame(right=rows(-0.5)), 140)
    curve = _curve(made, settings=settings)
    assert np.abs(np.diff(curve, axis=0)).max() <= speed * PX / 24.0 + 0.011
    assert curve[60:75, 1].min() >= 3.0 * PX


def test_no_window_is_wider_than_allowed() -> None:
    (key,) = _windows(table(lambda i: frame(left=rows(-9.0)), 48))
    assert key.left_px == pytest.approx((DEFAULTS.max_pct * PX,) * 2, abs=0.011)


def test_a_held_shot_has_one_key_and_a_walk_has_few() -> None:
    assert len(_windows(table(lambda i: frame(left=rows(-1.2)), 500))) == 1
    drift = table(lambda i: frame(left=rows(-0.5 - i * 0.004)), 500)
    assert len(_windows(drift)) < 8


def test_columns_hidden_already_by_the_source_or_the_move_are_part_of_the_window() -> None:
    black = 1.2 * PX
    hidden = table(lambda i: frame(left=rows(-1.2), left_hidden=(black, black, 0.0, 0.0)), 48)
    assert _windows(hidden) == ()
    # A HIT of +24 px lays 12 columns of the right eye bare at the left: content at -1.2 % then needs its own
    # -24.576 + 24 px, and 12 more because the edge went back.
    moves = Moves(np.full(48, -12.0), np.full(48, 12.0), 1.0, "hide")
    (key,) = _windows(table(lambda i: frame(left=rows(-1.2)), 48), moves)
    assert key.left_px[0] == pytest.approx(12.576 + MARGIN_PX, abs=0.011)


def test_a_window_in_the_source_that_is_too_narrow_is_widened_from_the_frame_edge() -> None:
    made = table(lambda i: frame(left=rows(-1.2), left_hidden=(10.0, 10.0, 0.0, 0.0)), 48)
    (key,) = _windows(made)
    assert key.left_px[0] == pytest.approx(24.576 + MARGIN_PX, abs=0.011)


def test_a_window_may_stand_to_the_last_frame_of_a_shot() -> None:
    curve = _curve(table(lambda i: frame(left=rows(-1.2)) if i >= 90 else frame(), 100))
    assert curve[-1, 0] >= 24.576
    assert curve[0, 0] == 0.0


def test_keys_are_no_wider_than_a_twentieth_of_a_small_window() -> None:
    (key,) = _windows(table(lambda i: frame(left=rows(-0.2 - 0.001 * (i % 2))), 48))
    assert key.left_px[0] <= (0.201 * PX + MARGIN_PX) * (1.0 + KEY_TOLERANCE_SHARE)


def test_windows_may_be_switched_off() -> None:
    made = table(lambda i: frame(left=rows(-9.0)), 48)
    assert _windows(made, settings=WindowSettings(on=False)) == ()
    shot = shot_arrays(made, 0, 47)
    assert window_shortfall_px(shot, unmoved(48), CLIP, WindowSettings(on=False)) == (0.0, 0.0)
    hidden, needed = window_cost_curve(shot, CLIP, WindowSettings(on=False), np.array([0.0, 10.0]), Drawing("hide"))
    assert not hidden.any()
    assert not needed.any()


def test_the_margin_is_a_setting() -> None:
    (key,) = _windows(table(lambda i: frame(left=rows(-1.2)), 48), settings=WindowSettings(margin_pct=0.5))
    assert key.left_px[0] == pytest.approx(24.576 + 0.5 * PX, abs=0.011)


def test_a_tilt_can_be_forbidden() -> None:
    made = table(lambda i: frame(left=_lower(0.25, -1.2)) if 30 <= i < 50 else frame(), 100)
    curve = _curve(made, settings=WindowSettings(tilt=False))
    assert (curve[:, 0] == curve[:, 1]).all()
    assert curve[30:50, 0].min() >= 24.576 + MARGIN_PX - 1e-6


def test_both_sides_can_be_alike_and_as_wide_as_the_wider_need() -> None:
    def made(i: int) -> object:
        return frame(left=_lower(0.25, -1.2) if i < 40 else rows(), right=rows(-2.0) if i >= 60 else rows(0.3))

    alike = _curve(table(made, 100), settings=WindowSettings(both_sides=True, tilt=True))
    assert (alike[:, :2] == alike[:, 2:]).all()
    # At three quarters of the way down, where the object on the left begins.
    assert (0.25 * alike[:40, 0] + 0.75 * alike[:40, 1]).min() >= 24.576 + MARGIN_PX - 1e-6
    assert alike[60:].min() >= 40.96 + MARGIN_PX - 1e-6
    own = _curve(table(made, 100))
    assert not own[:40, 2:].any()
    # Moves that lay more bare at one side do so at both then.
    moves = Moves(np.full(100, 12.0), np.full(100, 0.0), 1.0, "hide")
    bare = _curve(table(made, 100), moves, WindowSettings(both_sides=True))
    assert (bare[:, :2] == bare[:, 2:]).all()
    assert bare.min() >= 12.0


def test_how_far_the_widest_window_falls_short_is_told_by_side() -> None:
    made = table(lambda i: frame(left=rows(-6.5) if i < 10 else rows(-7.0), right=rows(-6.0)), 48)
    shot = shot_arrays(made, 0, 47)
    left, right = window_shortfall_px(shot, unmoved(48), CLIP, DEFAULTS)
    assert left == pytest.approx(1.0 * PX)
    assert right == 0.0  # covered, if without all of the margin
    moved = Moves(np.full(48, -12.0), np.full(48, 12.0), 1.0, "hide")
    assert window_shortfall_px(shot, moved, CLIP, DEFAULTS)[0] == pytest.approx(1.0 * PX - 12.0)
    narrow = WindowSettings(max_pct=2.0)
    assert window_shortfall_px(shot, unmoved(48), CLIP, narrow) == pytest.approx((5.0 * PX, 4.0 * PX))
    assert _curve(made, settings=narrow).max() <= 2.0 * PX + 0.011


def test_what_is_over_soon_is_left_alone() -> None:
    settings = WindowSettings(brief_s=0.5)
    brief = table(lambda i: frame(left=rows(-1.2)) if 40 <= i < 51 else frame(left=rows(0.1)), 100)
    assert _windows(brief, settings=settings) == ()
    assert window_shortfall_px(shot_arrays(brief, 0, 99), unmoved(100), CLIP, replace(settings, max_pct=0.5)) == (0, 0)
    long = table(lambda i: frame(left=rows(-1.2)) if 40 <= i < 52 else frame(left=rows(0.1)), 100)
    assert _windows(long, settings=settings) == _windows(long)
    assert _windows(long) != ()
    # Two stretches that a window would not close between are one, and it lasts.
    twice = table(lambda i: frame(left=rows(-1.2)) if 40 <= i < 46 or 50 <= i < 56 else frame(left=rows(0.1)), 100)
    assert _windows(twice, settings=settings) == _windows(twice)
    apart = table(lambda i: frame(left=rows(-1.2)) if 20 <= i < 26 or 70 <= i < 76 else frame(left=rows(0.1)), 100)
    assert _windows(apart, settings=settings) == ()


def test_only_the_stretches_that_last_get_a_window() -> None:
    made = table(lambda i: frame(left=rows(-1.2)) if i < 4 or 60 <= i < 90 else frame(left=rows(0.1)), 140)
    curve = _curve(made, settings=WindowSettings(brief_s=0.5))
    assert not curve[:30].any()
    assert curve[60:90, 0].min() >= 24.576


def test_figures_can_leave_out_what_was_left_alone() -> None:
    made = table(lambda i: frame(left=rows(-1.2)) if i < 4 or 60 <= i < 90 else frame(left=rows(0.1)), 140)
    state = edge_state(shot_arrays(made, 0, 139), "left", unmoved(140), CLIP, None)
    excess, tolerance = state.excess_px(), EDGE_TOLERANCE_PCT * PX
    kept = excess_beyond_brief(excess, tolerance, CLIP.rate, WindowSettings(brief_s=0.5))
    assert (kept[:6] <= 0.0).all()
    assert (kept[60:90] == excess[60:90]).all()
    assert (excess_beyond_brief(excess, tolerance, CLIP.rate, DEFAULTS) == excess).all()


def test_black_bars_have_no_need_and_tilt_no_window() -> None:
    bars = 3  # of 24 bands at the top and at the bottom: a picture of 2.37 to 1 in a frame of 16 to 9

    def lit(pct: float, from_band: int = bars) -> tuple[float, ...]:
        return (NAN,) * from_band + (pct,) * (EDGE_BANDS - bars - from_band) + (NAN,) * bars

    (key,) = _windows(table(lambda i: frame(left=lit(-1.2), right=lit(0.3)), 48))
    assert key.left_px == pytest.approx((24.576 + MARGIN_PX,) * 2, abs=0.011)
    assert key.left_px[0] == key.left_px[1]
    assert key.right_px == (0.0, 0.0)
    # The lower half of what is lit reaches the middle: upright, as without bars.
    (key,) = _windows(table(lambda i: frame(left=lit(-1.2, EDGE_BANDS // 2)), 48))
    assert key.left_px[0] == key.left_px[1]


def test_a_window_in_the_source_that_is_wide_enough_is_left_as_it_is_however_it_tilts() -> None:
    made = table(lambda i: frame(left=_lower(0.5, -1.2), left_hidden=(0.0, 60.0, 0.0, 0.0)), 48)
    assert _windows(made) == ()  # 30 px wide at the middle, where the object begins


def test_a_zoomed_shot_is_covered_where_its_rows_end_up() -> None:
    made = table(lambda i: frame(left=_lower(0.3, -1.2 - 0.01 * i), right=rows(-0.8)), 48)
    moves = Moves(np.full(48, -3.0), np.full(48, 3.0), 1.12, "zoom")  # pushes the outermost bands out of sight
    shot = shot_arrays(made, 0, 47)
    window = window_px_at(ShotPlan("sh001", 0, 47, window=_windows(made, moves)), np.arange(48))
    for side in ("left", "right"):
        assert np.nanmax(edge_state(shot, side, moves, CLIP, None).excess_px()) > 10.0
        assert np.nanmax(edge_state(shot, side, moves, CLIP, window).excess_px()) <= -MARGIN_PX + 1e-6


def test_keys_are_counted_in_frames_of_the_clip() -> None:
    made = table(lambda i: frame(left=rows(-1.2)) if i >= 24 else frame(), 48)
    own, later = _windows(made), _windows(made, first=1000)
    assert [key.frame + 1000 for key in own] == [key.frame for key in later]
    assert len(later) > 1
