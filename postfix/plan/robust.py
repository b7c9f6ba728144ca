"""The figures of one shot, frame by frame, with wild frames voted down."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from postfix.measure.columns import Columns
from postfix.plan.geometry import Array, Side

CONFIDENCE_FLOOR = 0.3
"""A frame measured with less confidence does not count. Project default, no source."""

MEDIAN_FRAMES = 5
"""Frames in the running median."""

MIN_FRAMES = MEDIAN_FRAMES // 2 + 1
"""Frames out of :data:`MEDIAN_FRAMES` for which something must hold before it counts. Fleeting cases may stay
(textbook on stereoscopic post-production, section 5.6.2); the number is a project default."""


def running_median(values: Array, *, high: bool = False) -> Array:
    """Median over :data:`MEDIAN_FRAMES` frames at each frame, NaN left out; at the ends the nearest frames there are.

    Parameters
    ----------
    values : (n, ...) float64
    high : bool
        Of an even number of values the upper one of the middle two counts, else the lower one.

    Returns
    -------
    (n, ...) float64
        NaN where no frame of the group has a value.
    """
    count = len(values)
    group = min(MEDIAN_FRAMES, count)
    start = np.clip(np.arange(count) - MEDIAN_FRAMES // 2, 0, count - group)
    stacked = np.sort(values[start[:, None] + np.arange(group)], axis=1)  # NaN goes last
    valid = np.sum(~np.isnan(stacked), axis=1, keepdims=True)
    middle = valid // 2 if high else (valid - 1) // 2
    return np.take_along_axis(stacked, np.clip(middle, 0, group - 1), axis=1)[:, 0]


def middle(values: Array) -> float:
    """Median of what is finite; NaN where nothing is. Quicker than numpy's on the few frames of a shot."""
    known = np.sort(values[np.isfinite(values)])
    half = known.size // 2
    if not known.size:
        return float("nan")
    return float(known[half] if known.size % 2 else (known[half - 1] + known[half]) / 2.0)


@dataclass(frozen=True)
class ShotArrays:
    """Measurements of a shot after the running median, percent of width; NaN where there is nothing.

    Attributes
    ----------
    near, far, span, median, left_edge, right_edge : (n,) float64
        ``span`` is far − near within one frame.
    left_rows, right_rows : (n, EDGE_BANDS) float64
    left_hidden_px, right_hidden_px : (n, 4) float64
        Black already in the source, never NaN.
    measured : (n,) bool
        Frames that were measured with confidence.
    """

    near: Array
    far: Array
    span: Array
    median: Array
    left_edge: Array
    right_edge: Array
    left_rows: Array
    right_rows: Array
    left_hidden_px: Array
    right_hidden_px: Array
    measured: np.typing.NDArray[np.bool_]

    def rows(self, side: Side) -> Array:
        """Edge parallax of a side, (n, EDGE_BANDS)."""
        return self.left_rows if side == "left" else self.right_rows

    def hidden_px(self, side: Side) -> Array:
        """Black already in the source at a side, (n, 4)."""
        return self.left_hidden_px if side == "left" else self.right_hidden_px


def shot_arrays(columns: Columns, first: int, last: int) -> ShotArrays:
    """Take frames ``first`` to ``last`` (both included) out of a clip and vote down wild frames."""
    part = slice(first, last + 1)
    confident = columns.confidence[part] >= CONFIDENCE_FLOOR

    def kept(values: Array) -> Array:
        return np.where(confident if values.ndim == 1 else confident[:, None], values, np.nan)

    def rows(bands: Array, edge: Array) -> Array:
        # An edge figure without rows (a table made elsewhere) counts for every row.
        bands = np.where(np.isnan(bands).all(axis=1, keepdims=True), edge[:, None], bands)
        if np.isnan(bands).all():
            return bands
        # Nothing in front in a frame that was measured is a vote against; a frame not measured has no vote.
        bands = running_median(kept(np.where(np.isnan(bands), np.inf, bands)))
        return np.where(np.isinf(bands), np.nan, bands)

    def hidden(black: Array) -> Array:
        return np.nan_to_num(running_median(kept(black)), nan=0.0) if black.any() else black

    near, far = kept(columns.near_pct[part]), kept(columns.far_pct[part])
    left_edge, right_edge = kept(columns.left_edge_pct[part]), kept(columns.right_edge_pct[part])
    return ShotArrays(
        near=running_median(near),
        far=running_median(far, high=True),
        span=running_median(far - near, high=True),
        median=running_median(kept(columns.median_pct[part])),
        left_edge=running_median(left_edge),
        right_edge=running_median(right_edge),
        left_rows=rows(columns.left_rows_pct[part], left_edge),
        right_rows=rows(columns.right_rows_pct[part], right_edge),
        left_hidden_px=hidden(columns.left_hidden_px[part]),
        right_hidden_px=hidden(columns.right_hidden_px[part]),
        measured=confident & np.isfinite(near) & np.isfinite(far),
    )
