"""After planning and rendering, what is seen beside an edge by that side's eye is seen by the other eye too.

That is what "not in front of the edge" means, and it is checked here without any formula of the plan: every column of
the pictures carries its own code, so a column's partner can be looked up in the other eye's finished picture.
"""

from __future__ import annotations

import numpy as np
import pytest
from plan_tables import frame, rows, table
from render_formats import clip_of, yuv

from postfix.limits import Limits
from postfix.measure.table import NAN
from postfix.plan.clip import plan_clip
from postfix.plan.figures import EDGE_TOLERANCE_PCT
from postfix.plan.model import ShotPlan
from postfix.plan.settings import Fill
from postfix.plan.windows import WINDOW_MARGIN_PCT
from postfix.render.moves import render_pair
from postfix.source.picture import Planes
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
    (shot,) = plan_clip(made, SCREEN, limits, fill=fill).shots
    left, right, _ = render_pair(_eye(0), _eye(parallax_px), FMT, clip_of(FMT), shot, 2)
    return left[0].astype(int), right[0].astype(int), shot


def _unseen_px(own: np.ndarray, other: np.ndarray, side: str) -> float:
    """Columns that the side's own eye sees beside the edge and the other does not."""
    black = FMT.planes[0].black[0]
    worst = 0.0
    for own_row, other_row in zip(own, other):
        own_codes, other_codes = own_row[own_row != black], other_row[other_row != black]
        # Columns rise in code from left to right.
        beyond = other_codes[0] - own_codes[0] if side == "left" else own_codes[-1] - other_codes[-1]
        worst = max(worst, beyond / SPACING)
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
        # And no more is hidden than the need, the margin, the key's tolerance and the step of chroma.
        most = WINDOW_MARGIN_PCT * FMT.width / 100.0 + 1.0 + FMT.step_px
        assert _unseen_px(left, right, "left") == 0.0
        assert _left_surplus_px(left, right) <= most


@pytest.mark.parametrize("fill", ["hide", "crop"])
def test_a_tilted_edge_beside_bare_columns_is_one_straight_line(fill: Fill) -> None:
    lower = (NAN,) * 18 + (-3.0,) * 6
    made = table([frame(-3.0, 0.2, lower, lower)] * 5, clip=clip_of(FMT))
    (shot,) = plan_clip(made, SCREEN, Limits(-9.0, -1.0, 9.0), fill=fill).shots
    left, right, _ = render_pair(_eye(0), _eye(0), FMT, clip_of(FMT), shot, 2)
    black = FMT.planes[0].black[0]
    heights = (np.arange(FMT.height) + 0.5) / FMT.height
    for own in (left[0], right[0][:, ::-1]):
        counts = np.argmax(own != black, axis=1)
        assert counts[-1] > counts[0] + 10
        # Where a kink was the best straight line missed by more than the chroma step that every row is rounded up to.
        off = counts - np.polyval(np.polyfit(heights, counts, 1), heights)
        assert np.abs(off).max() <= FMT.step_px


def _left_surplus_px(left: np.ndarray, right: np.ndarray) -> float:
    """Columns hidden in the left eye at the left beyond those whose partner is hidden in the right eye."""
    black = FMT.planes[0].black[0]
    first_left = left[0][left[0] != black][0]
    first_right = right[0][right[0] != black][0]
    return float(first_left - first_right) / SPACING


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
