"""Near, far and median of a frame: where the dense map has them, as full-size pixels say.

Percentiles taken straight from a dense map lie too far out: its noise spreads each surface, and the ends of the
distribution are the ends of the noise. So a sample of the pixels at each end is followed on full-size pixels, which is
much quieter, and its percentile is taken in place of the map's. The sample is evenly spaced over the pixels in their
order, so that chance has no part in it; moving the map's percentile by as much as the sample's moves would carry the
map's own steps, a sixteenth of its pixel.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from postfix.measure.matching import Parallax
from postfix.measure.patches import ToRight, followed
from postfix.measure.proxy import Grey

END_PERCENTILE = 1.0
"""Near is this percentile, far the one as far from the other end."""

EXTREME_AREA_SHARE = 0.001

_WINDOW_PCT = 0.18
"""Pixels this close to a figure may lie on either side of it once they are measured better, percent of width."""

_SAMPLES = (48, 128, 64, 128, 48)
"""Pixels followed for nearest, near, median, far and farthest."""

_KEYS_PER_PX = 16.0
_LIKENESS = 0.8
_SPREAD = 0.004
_MOVED_PCT = 0.3
_LEAST_SURE = 8
_LEAST_TELLING = 0.15

Floats = npt.NDArray[np.float32]
Ints = npt.NDArray[np.intp]


@dataclass(frozen=True)
class Ends:
    """Figures of a frame in percent of width, and the shares of their samples, as far as these are not plain, that
    full-size pixels bear out."""

    near_pct: float
    far_pct: float
    median_pct: float
    nearest_pct: float
    farthest_pct: float
    near_sure: float
    far_sure: float
    near_places: tuple[Ints, Ints]
    far_places: tuple[Ints, Ints]
    """Rows and columns of the map that the two figures rest on."""


def find_ends(parallax: Parallax, left: Grey, right: Grey, to_right: ToRight | None) -> Ends:
    """Measure the ends and the middle of a frame.

    Parameters
    ----------
    parallax : (h, w) float32
        Dense map of the left eye, in its own pixels; NaN where unknown; at least one is known.
    left, right : (H, W) float32
        Full-size luma of both eyes as they are.
    to_right : callable or None
        As in :func:`postfix.measure.patches.followed`.
    """
    places = np.flatnonzero(np.isfinite(parallax))
    pct = parallax.reshape(-1)[places] * np.float32(100.0 / parallax.shape[1])
    # Sixteenths of a pixel as whole numbers are sorted several times faster; equal ones stay in the picture's order.
    order = np.argsort(np.rint(parallax.reshape(-1)[places] * _KEYS_PER_PX).astype(np.int16), kind="stable")
    ordered = pct[order]
    held = min(EXTREME_AREA_SHARE * parallax.size, pct.size - 1)
    inwards = END_PERCENTILE / 100.0 * pct.size
    ranks = [int(rank) for rank in (held, inwards, 0.5 * pct.size, pct.size - 1 - inwards, pct.size - 1 - held)]
    figures = ordered[ranks]
    windows = [_window(ordered, order, rank, samples) for rank, samples in zip(ranks, _SAMPLES)]
    chosen = np.concatenate([members for members, _ in windows])
    moves, sure, plain = _followed(parallax, left, right, to_right, places[chosen], pct[chosen])
    results, shares, first = [], [], 0
    for figure, (members, share) in zip(figures, windows):
        part = slice(first, first + members.size)
        first += members.size
        results.append(_percentile(pct[members], moves[part], sure[part], share, float(figure)))
        # What is plain says nothing, for or against, as long as enough is not.
        telling = max(members.size - int(np.count_nonzero(plain[part])), _LEAST_TELLING * members.size)
        shares.append(float(np.count_nonzero(sure[part])) / telling)
    nearest, near, median, far, farthest = results
    near_at, far_at = (np.divmod(places[windows[k][0]], parallax.shape[1]) for k in (1, 3))
    nearest, farthest = min(nearest, near), max(farthest, far)
    return Ends(near, far, median, nearest, farthest, shares[1], shares[3], near_at, far_at)


def _window(ordered: Floats, order: Ints, rank: int, samples: int) -> tuple[Ints, float]:
    """Some of the pixels around the value of a rank, and the share of all in its window that lie below it.

    They are evenly spaced over their values, and over the picture where these are equal, so that chance has little part
    in which.
    """
    figure = ordered[rank]
    first = int(np.searchsorted(ordered, figure - np.float32(_WINDOW_PCT)))
    after = int(np.searchsorted(ordered, figure + np.float32(_WINDOW_PCT), side="right"))
    spaced = np.linspace(first, after - 1, min(samples, after - first) + 2)[1:-1]
    return order[spaced.astype(np.intp)], (rank - first + 0.5) / (after - first)


def _followed(
    parallax: Parallax, left: Grey, right: Grey, to_right: ToRight | None, places: Ints, pct: Floats
) -> tuple[Floats, npt.NDArray[np.bool_], npt.NDArray[np.bool_]]:
    """How far places of the map move on full-size pixels, percent of width, which can be believed, which are plain."""
    height, width = parallax.shape
    rows, columns = np.divmod(places, width)
    x = ((columns + 0.5) * (left.shape[1] / width) - 0.5).astype(np.float32)
    y = ((rows + 0.5) * (left.shape[0] / height) - 0.5).astype(np.float32)
    found = followed(left, right, x, y, pct * np.float32(left.shape[1] / 100.0), to_right)
    moves = found.parallax_px * np.float32(100.0 / left.shape[1]) - pct
    plain = found.spread <= _SPREAD
    sure = (found.likeness > _LIKENESS) & ~plain & (np.abs(moves) < _MOVED_PCT)
    return moves, sure, plain


def _percentile(pct: Floats, moves: Floats, sure: npt.NDArray[np.bool_], share: float, figure: float) -> float:
    """The value below which ``share`` of a sample lies once its members are moved; ``figure`` where too few can be."""
    if np.count_nonzero(sure) < _LEAST_SURE:
        return figure
    # What could not be followed by itself goes with the others: they share the map's error there.
    moved = pct + np.where(sure, moves, np.float32(np.median(moves[sure])))
    return float(np.quantile(moved, share))
