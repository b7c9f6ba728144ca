"""The held HIT of a shot: none where nothing is wrong, else the smallest that brings it inside."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from plan_tables import CLIP

from postfix.limits import Limits
from postfix.measure.table import ClipInfo
from postfix.plan.choices import FAR_MARGIN_PCT, NEAR_MARGIN_PCT, candidate_hits_pct, open_hits_pct
from postfix.plan.figures import LIMIT_TOLERANCE_PCT, Figures
from postfix.plan.geometry import Drawing
from postfix.plan.settings import FILLS, Fill

LIMITS = Limits(near_pct=-1.75, far_pct=0.54, range_pct=1.75)
STEP_PCT = 100.0 * CLIP.step_px / CLIP.width_px


def _figures(near: float, far: float) -> Figures:
    return Figures(near, far, far - near, 0.0, 0.0, 0.0, 0.0, 0.0, 10, 10)


@dataclass(frozen=True)
class Chosen:
    total_px: int
    pct: float
    zoom: float


def choose_hit(figures: Figures, limits: Limits, clip: ClipInfo, fill: Fill) -> Chosen:
    """The smallest HIT that is open to a shot: what it gets where nothing else asks for another."""
    drawing = Drawing(fill)
    hits, _ = open_hits_pct(figures, limits, candidate_hits_pct(figures, limits, clip, drawing), drawing, clip)
    pct = float(min(hits, key=abs))
    return Chosen(round(pct * clip.width_px / 100.0), pct, float(drawing.zooms(pct, clip)))


@pytest.mark.parametrize("fill", FILLS)
@pytest.mark.parametrize(("near", "far"), [(-1.75, 0.54), (-0.2, 0.1), (0.3, 0.5), (-1.7, -1.2)])
def test_nothing_wrong_means_no_move_at_all(near: float, far: float, fill: Fill) -> None:
    chosen = choose_hit(_figures(near, far), LIMITS, CLIP, fill)
    assert (chosen.total_px, chosen.pct, chosen.zoom) == (0, 0.0, 1.0)


def test_a_horizon_too_far_apart_comes_forward_by_the_smallest_step_that_keeps_the_margin() -> None:
    chosen = choose_hit(_figures(0.2, 1.61), LIMITS, CLIP, "hide")
    after = 1.61 + chosen.pct
    assert after <= LIMITS.far_pct - FAR_MARGIN_PCT
    assert after + STEP_PCT > LIMITS.far_pct - FAR_MARGIN_PCT
    assert chosen.total_px % CLIP.step_px == 0
    assert chosen.pct == chosen.total_px * 100.0 / CLIP.width_px


def test_what_is_too_near_goes_back_by_the_smallest_step_that_keeps_the_margin() -> None:
    chosen = choose_hit(_figures(-2.5, -1.0), LIMITS, CLIP, "hide")
    after = -2.5 + chosen.pct
    assert after >= LIMITS.near_pct + NEAR_MARGIN_PCT
    assert after - STEP_PCT < LIMITS.near_pct + NEAR_MARGIN_PCT


def test_margins_are_given_up_where_there_is_no_room_for_them() -> None:
    # 2.19 % of range in a room of 2.29 %: one whole step fits, the margins do not.
    chosen = choose_hit(_figures(-1.55, 0.64), LIMITS, CLIP, "hide")
    assert 0.64 + chosen.pct <= LIMITS.far_pct
    assert -1.55 + chosen.pct >= LIMITS.near_pct


def test_where_the_range_is_too_large_far_goes_first_and_near_stays_out_by_the_least() -> None:
    chosen = choose_hit(_figures(-1.0, 2.0), LIMITS, CLIP, "hide")
    assert 2.0 + chosen.pct <= LIMITS.far_pct < 2.0 + chosen.pct + STEP_PCT
    pushed = choose_hit(_figures(-3.0, 0.0), LIMITS, CLIP, "hide")
    assert 0.0 + pushed.pct <= LIMITS.far_pct < pushed.pct + STEP_PCT


def test_the_zoom_is_counted_in() -> None:
    chosen = choose_hit(_figures(1.2, 3.0), LIMITS, CLIP, "zoom")
    assert chosen.zoom == pytest.approx(1.0 + abs(chosen.pct) / 100.0, abs=1e-6)
    assert chosen.zoom * 3.0 + chosen.pct <= LIMITS.far_pct - FAR_MARGIN_PCT


def test_what_could_not_be_measured_is_left_alone() -> None:
    nan = float("nan")
    assert choose_hit(_figures(nan, nan), LIMITS, CLIP, "hide").total_px == 0
    assert choose_hit(_figures(nan, 3.0), LIMITS, CLIP, "hide").total_px == 0


@given(st.floats(-6, 6), st.floats(0, 6), st.sampled_from(FILLS))
def test_far_is_always_brought_inside_and_near_too_wherever_a_step_fits(near: float, span: float, fill: Fill) -> None:
    far = near + span
    chosen = choose_hit(_figures(near, far), LIMITS, CLIP, fill)
    after = (chosen.zoom * near + chosen.pct, chosen.zoom * far + chosen.pct)
    assert after[1] <= LIMITS.far_pct + LIMIT_TOLERANCE_PCT + 1e-9
    # Far may use the tolerance only where that keeps near within its own.
    assert after[1] <= LIMITS.far_pct + 1e-9 or after[0] >= LIMITS.near_pct - LIMIT_TOLERANCE_PCT - 1e-9
    room = LIMITS.far_pct - LIMITS.near_pct
    if chosen.zoom * span <= room - chosen.zoom * STEP_PCT:
        assert chosen.zoom * near + chosen.pct >= LIMITS.near_pct - 1e-9
    if near >= LIMITS.near_pct and far <= LIMITS.far_pct:
        assert chosen.total_px == 0


def test_no_smaller_move_would_have_done() -> None:
    rng = np.random.default_rng(7)
    for near, span in zip(rng.uniform(-4, 4, 200), rng.uniform(0, 2, 200)):
        chosen = choose_hit(_figures(near, near + span), LIMITS, CLIP, "hide")
        for total in range(-abs(chosen.total_px) + CLIP.step_px, abs(chosen.total_px), CLIP.step_px):
            pct = total * 100.0 / CLIP.width_px
            fits_far = near + span + pct <= LIMITS.far_pct - FAR_MARGIN_PCT
            assert not (fits_far and near + pct >= LIMITS.near_pct + NEAR_MARGIN_PCT)
