"""The figures of one shot, frame by frame, with wild frames voted down."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from postfix.measure.columns import Columns
from postfix.plan.geometry import Array, Mask, Side
from postfix.plan.together import Together

_NAN = float("nan")

CONFIDENCE_FLOOR = 0.3
"""A frame measured with less confidence does not count. Project default, no source."""

MEDIAN_FRAMES = 5
"""Frames in the running median."""

MIN_FRAMES = MEDIAN_FRAMES // 2 + 1
"""Frames out of :data:`MEDIAN_FRAMES` for which something must hold before it counts. Fleeting cases may stay
(textbook on stereoscopic post-production, section 5.6.2); the number is a project default."""


def running_median(values: Array, *, high: bool = False, shots: Together | None = None) -> Array:
    """Median over :data:`MEDIAN_FRAMES` frames at each frame, NaN left out; at the ends the nearest frames there are.

    Parameters
    ----------
    values : (n, ...) float64
    high : bool
        Of an even number of values the upper one of the middle two counts, else the lower one.
    shots : Together, optional
        Whose frames these are, so that none counts for another shot; all are one shot unless given.

    Returns
    -------
    (n, ...) float64
        NaN where no frame of the group has a value.
    """
    rows, beyond = (Together.of([len(values)]) if shots is None else shots).groups(MEDIAN_FRAMES)
    stacked = values[rows]
    stacked[beyond] = np.nan
    stacked.sort(axis=1)  # NaN goes last
    valid = np.sum(~np.isnan(stacked), axis=1, keepdims=True)
    middle = valid // 2 if high else (valid - 1) // 2
    return np.take_along_axis(stacked, np.clip(middle, 0, MEDIAN_FRAMES - 1), axis=1)[:, 0]


def middle(values: Array) -> float:
    """Median of what is finite; NaN where nothing is. Quicker than numpy's on the few frames of a shot."""
    known = np.sort(values[np.isfinite(values)])
    half = known.size // 2
    if not known.size:
        return float("nan")
    return float(known[half] if known.size % 2 else (known[half - 1] + known[half]) / 2.0)


def middles(values: Array) -> Array:
    """:func:`middle` of each row of (rows, k) values: (rows,)."""
    known = np.sort(np.where(np.isfinite(values), values, np.nan), axis=1)
    count = np.isfinite(known).sum(axis=1)
    each, half = np.arange(len(known)), np.minimum(count // 2, known.shape[1] - 1)
    upper, lower = known[each, half], known[each, np.maximum(half - 1, 0)]
    return np.asarray(np.where(count % 2 == 1, upper, (lower + upper) / 2.0))


def least(values: Array) -> float:
    """The least of what is finite; NaN where nothing is."""
    kept = values[np.isfinite(values)]
    return float(kept.min()) if kept.size else float("nan")


def most(values: Array) -> float:
    """The most of what is finite; NaN where nothing is."""
    return -least(-values)


@dataclass(frozen=True)
class Extremes:
    """The frames of a shot that decide its figures, as measured: percent of width, NaN where nothing was measured.

    A held move shifts and stretches all frames alike and so moves these with the others, in the same order.

    Attributes
    ----------
    near, far, span, left_edge, right_edge : float
        Least near, most far, most span, least edges.
    medians : (float, float)
        The two in the middle of the frames' medians; the same one twice where their number is odd.
    """

    near: float
    far: float
    span: float
    medians: tuple[float, float]
    left_edge: float
    right_edge: float


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

    @cached_property
    def extremes(self) -> Extremes:
        """What figures of the whole shot are made from."""
        known = np.sort(self.median[np.isfinite(self.median)])
        medians = (float(known[(known.size - 1) // 2]), float(known[known.size // 2])) if known.size else (_NAN, _NAN)
        edges = least(self.left_edge), least(self.right_edge)
        return Extremes(least(self.near), most(self.far), most(self.span), medians, *edges)

    @cached_property
    def _nearest(self) -> tuple[Array, Array]:
        return np.fmin.reduce(self.left_rows, axis=1), np.fmin.reduce(self.right_rows, axis=1)

    @cached_property
    def _nearest_of_all(self) -> tuple[float, float]:
        left, right = (float(np.fmin.reduce(nearest)) for nearest in self._nearest)
        return left, right

    @cached_property
    def _seen_frames(self) -> tuple[int, int]:
        left, right = (int(np.isfinite(nearest).sum()) for nearest in self._nearest)
        return left, right

    @cached_property
    def _most_hidden_px(self) -> tuple[float, float]:
        return float(self.left_hidden_px.max()), float(self.right_hidden_px.max())

    @cached_property
    def measured_frames(self) -> int:
        """How many frames were measured with confidence."""
        return int(self.measured.sum())

    def nearest(self, side: Side) -> Array:
        """Most negative parallax in any band of an edge, (n,); NaN in frames in which none was measured."""
        return self._nearest[side == "right"]

    def nearest_of_all(self, side: Side) -> float:
        """The same over all frames; NaN where nothing was measured at that edge."""
        return self._nearest_of_all[side == "right"]

    def seen_frames(self, side: Side) -> int:
        """In how many frames anything was measured at an edge."""
        return self._seen_frames[side == "right"]

    def most_hidden_px(self, side: Side) -> float:
        """The most black that is in the source at a side, of any frame, eye and end."""
        return self._most_hidden_px[side == "right"]


def shot_arrays(columns: Columns, first: int, last: int) -> ShotArrays:
    """Take frames ``first`` to ``last`` (both included) out of a clip and vote down wild frames."""
    return arrays_of_shots(columns, [(first, last)])[0]


_BLOCK_FRAMES = 1 << 14  # so that what is only needed on the way stays at some 60 MB, however long the clip is


def arrays_of_shots(columns: Columns, shots: Sequence[tuple[int, int]]) -> list[ShotArrays]:
    """:func:`shot_arrays` of shots that follow each other, many at once; first and last frame of each."""
    blocks: list[list[tuple[int, int]]] = []
    for first, last in shots:
        if not blocks or last - blocks[-1][0][0] >= _BLOCK_FRAMES:
            blocks.append([])
        blocks[-1].append((first, last))
    return [arrays for block in blocks for arrays in _arrays_of_block(columns, block)]


def _arrays_of_block(columns: Columns, bounds: Sequence[tuple[int, int]]) -> list[ShotArrays]:
    shots = Together.of(last - first + 1 for first, last in bounds)
    part = slice(bounds[0][0], bounds[-1][1] + 1)
    confident = np.asarray(columns.confidence[part] >= CONFIDENCE_FLOOR)

    def kept(values: Array) -> Array:
        return np.where(confident, values, np.nan)

    def voted(values: Array, shown: Mask) -> Array:
        """Running median of several figures a frame, of the shots that are shown; the rows of no others."""
        frames = shots.spread(shown)
        counted = np.where(confident[frames, None], values, np.nan)
        return running_median(counted, shots=shots.only(shown))

    def rows(bands: Array, edge: Array) -> Array:
        # An edge figure without rows (a table made elsewhere) counts for every row.
        without_rows = np.asarray(np.isnan(bands).all(axis=1))
        shown = shots.any(~without_rows | ~np.isnan(edge))
        frames = shots.spread(shown)
        known = np.where(without_rows[frames, None], edge[frames, None], bands[frames])
        # Nothing in front in a frame that was measured is a vote against; a frame not measured has no vote.
        known = voted(np.where(np.isnan(known), np.inf, known), shown)
        result = np.full(bands.shape, np.nan)
        result[frames] = np.where(np.isinf(known), np.nan, known)
        return result

    def hidden(black: Array) -> Array:
        shown = shots.any(np.asarray(black.any(axis=1)))
        if not shown.any():
            return black
        frames, result = shots.spread(shown), black.copy()
        result[frames] = np.nan_to_num(voted(black[frames], shown), nan=0.0)
        return result

    near, far = kept(columns.near_pct[part]), kept(columns.far_pct[part])
    left_edge, right_edge = kept(columns.left_edge_pct[part]), kept(columns.right_edge_pct[part])
    arrays = (
        running_median(near, shots=shots),
        running_median(far, high=True, shots=shots),
        running_median(far - near, high=True, shots=shots),
        running_median(kept(columns.median_pct[part]), shots=shots),
        running_median(left_edge, shots=shots),
        running_median(right_edge, shots=shots),
        rows(columns.left_rows_pct[part], left_edge),
        rows(columns.right_rows_pct[part], right_edge),
        hidden(columns.left_hidden_px[part]),
        hidden(columns.right_hidden_px[part]),
        confident & np.isfinite(near) & np.isfinite(far),
    )
    return [ShotArrays(*of_shot) for of_shot in zip(*map(shots.parts, arrays))]
