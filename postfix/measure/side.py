"""One side edge of a frame, and what the dense map says of it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from postfix.measure.hidden import hidden_columns
from postfix.measure.matching import SEARCH_PCT, Parallax
from postfix.measure.proxy import Grey
from postfix.measure.table import EDGE_BANDS, NAN

STRIP_SHARE = 0.008
"""Content within this share of the width of an edge is taken to touch it."""

HALF_BANDS = 2 * EDGE_BANDS
MIN_ROWS = 2
MIN_THIN_PX = 24

_MIN_STRIP_PX = 6
_NEED_IN_ROW = 0.5
_FRONT_SHARE = 0.1

Halves = npt.NDArray[np.float64]
Line = tuple[float, float]


@dataclass(frozen=True)
class Side:
    """What is needed to read one side edge.

    Attributes
    ----------
    own, other : (H, C) float32
        Luma of the eye in which the edge is read (right for the left side, left for the right side), and of the other
        one, the misfit between them taken out: whole pictures, or the outermost :func:`columns_needed` of them with the
        frame edge at the same end. Rows may be fewer than the picture's.
    parallax : (h, w) float32
        Dense map seen from the own eye, in proxy pixels; NaN where nothing was matched.
    own_hidden_px, other_hidden_px : (top, bottom)
        Black columns of each eye at that side, soft edges included.
    is_right : bool
        Whether this is the right side.
    size_px : (width, height), optional
        Of the source picture; that of ``own`` unless given.
    bars_px : (top, bottom)
        Black rows.
    reach_pct : float
        How far in front of the screen things are looked for, percent of width.
    """

    own: Grey
    other: Grey
    parallax: Parallax
    own_hidden_px: Line
    other_hidden_px: Line
    is_right: bool
    size_px: tuple[int, int] | None = None
    bars_px: Line = (0.0, 0.0)
    reach_pct: float = SEARCH_PCT

    @property
    def width_px(self) -> int:
        """Of the source picture."""
        return self.size_px[0] if self.size_px else self.own.shape[1]

    @property
    def height_px(self) -> int:
        """Of the source picture."""
        return self.size_px[1] if self.size_px else self.own.shape[0]


def strip_px(width_px: int) -> int:
    """Columns of a picture that count as touching its side edge."""
    return max(_MIN_STRIP_PX, round(STRIP_SHARE * width_px))


def columns_needed(width_px: int, hidden_px: Line, reach_pct: float = SEARCH_PCT) -> int:
    """Outermost columns of an eye that reading an edge looks at, black included; at most all."""
    return min(
        width_px,
        round(reach_pct / 100.0 * width_px) + max(3 * strip_px(width_px), MIN_THIN_PX) + int(np.ceil(max(hidden_px))),
    )


def from_map(side: Side) -> Halves:
    """Most negative parallax of the dense map in each half band at the edge, percent of width.

    A row's value is the median over the outermost strip that has partners. Content behind the screen has none in as
    many columns as it lies behind, so the strip may begin that much further inwards, and not more. A half band's value
    is low among its rows, so that a single row cannot decide.
    """
    parallax = side.parallax[:, ::-1] if side.is_right else side.parallax
    height, width = parallax.shape
    strip = strip_px(width)
    hidden = hidden_columns(side.own_hidden_px, height, side.width_px / width)
    outer = min(width, int(hidden.max()) + round(SEARCH_PCT / 100.0 * width) + 2 * strip)
    parallax = np.ascontiguousarray(parallax[:, :outer])
    matched = np.isfinite(parallax) & (np.arange(outer)[None, :] >= hidden[:, None])
    outermost = matched.argmax(axis=1)
    taken = np.minimum(outermost[:, None] + np.arange(strip)[None, :], outer - 1)
    # Sorted, what was not matched comes last.
    values = np.sort(np.take_along_axis(parallax, taken, axis=1), axis=1)
    count = np.isfinite(values).sum(axis=1)
    low, high = (np.take_along_axis(values, at[:, None], axis=1)[:, 0] for at in ((count - 1) // 2, count // 2))
    rows = 0.5 * (low.astype(np.float64) + high)
    good = matched.any(axis=1) & (count >= _NEED_IN_ROW * strip)
    good &= outermost - hidden <= np.maximum(np.nan_to_num(rows), 0.0) + strip * _NEED_IN_ROW
    middle = (np.arange(height) + 0.5) * side.height_px / height
    good &= (middle > side.bars_px[0]) & (middle < side.height_px - side.bars_px[1])
    return np.asarray(_low_among(np.where(good, rows, np.inf)) * 100.0 / width, np.float64)


def _low_among(rows: Halves) -> Halves:
    """A low value among the rows (h,) of each half band, (halves,); infinity where a row has none, NaN in a result."""
    borders = np.linspace(0, len(rows), HALF_BANDS + 1).round().astype(int)
    sizes = np.diff(borders)
    at = borders[:-1, None] + np.arange(max(1, sizes.max()))[None, :]
    grouped = np.where(at < borders[1:, None], rows[np.minimum(at, len(rows) - 1)], np.inf)
    ordered = np.sort(grouped, axis=1)
    count = np.isfinite(ordered).sum(axis=1)
    chosen = np.take_along_axis(ordered, (_FRONT_SHARE * count).astype(int)[:, None], axis=1)[:, 0]
    return np.where((count >= 1) & (count >= np.minimum(MIN_ROWS, sizes)), chosen, NAN)
