"""Made-up shots with objects at the edges, drawn row by row, and the least that windows over them could hide."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import scipy.sparse as sparse
from plan_tables import CLIP
from scipy.optimize import linprog

from postfix.measure.table import EDGE_BANDS
from postfix.plan.figures import EDGE_TOLERANCE_PCT
from postfix.plan.robust import ShotArrays
from postfix.plan.settings import WindowSettings

PICTURE_ROWS = 240


@dataclass(frozen=True)
class Scene:
    """One shot.

    Attributes
    ----------
    left_px, right_px : (n, PICTURE_ROWS) float64
        Parallax of the nearest object that touches that edge in that row; NaN where none does.
    """

    left_px: np.ndarray
    right_px: np.ndarray

    def arrays(self) -> ShotArrays:
        """What measuring would say, without any error: of each band the row nearest to the viewer."""
        count = len(self.left_px)
        left, right = (np.fmin.reduce(rows.reshape(count, EDGE_BANDS, -1), axis=2) for rows in self.sides)
        edges = [np.fmin.reduce(bands, axis=1) / CLIP.width_px * 100.0 for bands in (left, right)]
        inside, black = np.zeros(count), np.zeros((count, 4))
        to_pct = 100.0 / CLIP.width_px
        return ShotArrays(
            near=inside - 5.0,
            far=inside + 1.0,
            span=inside + 6.0,
            median=inside,
            left_edge=edges[0],
            right_edge=edges[1],
            left_rows=left * to_pct,
            right_rows=right * to_pct,
            left_hidden_px=black,
            right_hidden_px=black,
            measured=np.ones(count, dtype=bool),
        )

    @property
    def sides(self) -> tuple[np.ndarray, np.ndarray]:
        return self.left_px, self.right_px


def _object(rng: np.random.Generator, count: int) -> np.ndarray:
    """Parallax by frame and row of one object where it touches the edge: it stands there, enters, leaves, crosses or
    drifts in parallax. Its middle is ``x`` heights of the picture from the edge and ``y`` from the top."""
    height = (np.arange(PICTURE_ROWS) + 0.5) / PICTURE_ROWS
    time = np.arange(count, dtype=np.float64)
    size, start = rng.uniform(0.05, 0.5), rng.uniform(0.0, count)
    y = rng.uniform(-0.1, 1.1) + rng.choice([0.0, 1.0]) * rng.normal(0.0, 0.01) * time
    x, parallax = np.zeros(count), np.full(count, -rng.uniform(4.0, 70.0))
    motion = rng.choice(["stands", "enters", "leaves", "crosses", "drifts"])
    if motion == "enters":
        x = np.maximum(1.2 * size - (time - start) * rng.uniform(0.01, 0.1), 0.0)
    elif motion == "leaves":
        x = np.maximum((time - start) * rng.uniform(0.01, 0.1), 0.0)
    elif motion == "crosses":
        x = (time - start) * rng.uniform(-0.15, 0.15)
    elif motion == "drifts":
        parallax += rng.normal(0.0, 0.6) * time + rng.uniform(0.0, 8.0) * np.sin(time * rng.uniform(0.02, 0.3))
    away = np.abs(height - y[:, None])
    shape = rng.choice(["square", "disc", "wedge"])
    if shape == "square":
        half_width = np.where(away < size, size, -1.0)
    elif shape == "disc":
        half_width = np.where(away < size, np.sqrt(np.maximum(size**2 - away**2, 0.0)), -1.0)
    else:
        half_width = size - 2.0 * away
    touching = (half_width > 0.0) & (np.abs(x[:, None]) <= half_width)
    return np.where(touching, parallax[:, None], np.nan)


def made_scene(rng: np.random.Generator, *, both: bool = True, noise_px: float = 0.0) -> Scene:
    """A shot of 1 to 4 seconds with one to three objects at the left edge, and at the right one too if ``both``."""
    count = int(rng.integers(24, 97))

    def side() -> np.ndarray:
        rows = np.fmin.reduce([_object(rng, count) for _ in range(rng.integers(1, 4))])
        return rows + rng.normal(0.0, noise_px, rows.shape) if noise_px else rows

    nothing = np.full((count, PICTURE_ROWS), np.nan)
    return Scene(side(), side() if both else nothing)


def needs_px(rows_px: np.ndarray, settings: WindowSettings) -> tuple[np.ndarray, np.ndarray]:
    """What one side must hide at the bands' borders, (n, borders), without moves, and the borders' heights."""
    bands = np.fmin.reduce(rows_px.reshape(len(rows_px), EDGE_BANDS, -1), axis=2)
    pct = CLIP.width_px / 100.0
    need = np.where(-bands > EDGE_TOLERANCE_PCT * pct, -bands + settings.margin_pct * pct, 0.0)
    borders = np.zeros((len(need), EDGE_BANDS + 1))
    borders[:, :-1] = need
    borders[:, 1:] = np.maximum(borders[:, 1:], need)
    return borders, np.linspace(0.0, 1.0, EDGE_BANDS + 1)


def least_area_px(rows_px: np.ndarray, settings: WindowSettings) -> float:
    """The least that a window over one side can hide, summed over the frames, for the settings' limits.

    A linear programme over the width at the top and at the bottom in every frame: each need is covered from half the
    hold before it to half the hold after it, no end changes faster than the speed, nor that change faster than the
    speed over the easing time, and no end is wider than allowed. The limits are written down here anew, not taken from
    the code under test.
    """
    need, heights = needs_px(rows_px, settings)
    rate, pct = float(CLIP.rate), CLIP.width_px / 100.0
    count, reach = len(need), int(settings.hold_s * rate / 2.0 + 1e-9)
    speed = settings.speed_pct_per_s * pct / rate
    most = settings.max_pct * pct
    held = np.array([need[max(0, t - reach) : t + reach + 1].max(axis=0) for t in range(count)])
    held = np.minimum(held, most)
    one = sparse.identity(count, format="csr")
    rows, bounds = [], []
    for height, column in zip(heights, held.T):
        some = column > 0.0
        if some.any():
            rows.append(-sparse.hstack([one[some] * (1.0 - height), one[some] * height]))
            bounds.append(-column[some])
    if not rows:
        return 0.0
    change = one[1:] - one[:-1]
    for kind, limit in ((change, speed), (change[1:] - change[:-1], speed / (settings.ease_s * rate))):
        both = sparse.block_diag([kind, kind])
        rows += [both, -both]
        bounds += [np.full(both.shape[0], limit)] * 2
    answer = linprog(
        np.full(2 * count, 0.5),
        A_ub=sparse.vstack(rows).tocsr(),
        b_ub=np.concatenate(bounds),
        bounds=(0.0, most),
        method="highs",
    )
    assert answer.status == 0, answer.message
    return float(answer.fun)
