"""Near, far and median of a frame: where the dense map has them, as full-size pixels say.

Percentiles taken straight from a dense map lie too far out: its noise spreads each surface, and the ends of the
distribution are the ends of the noise. So a sample of the pixels at each end is followed on full-size pixels, which is
much quieter, and the map's percentile is moved by as much as the sample's moves. (The sample's percentile alone would
carry the chance of which pixels were drawn; it falls out of the difference.)
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from postfix.measure.matching import Parallax
from postfix.measure.patches import ToRight, followed
from postfix.measure.proxy import Grey

NEAR_PERCENTILE = 1.0
FAR_PERCENTILE = 99.0
EXTREME_AREA_SHARE = 0.001

_BAND_PCT = 0.3
"""Pixels this far inwards of an end may belong to it once they are measured better, percent of width."""

_OUTERMOST_SHARE = 0.003
_OUTERMOST_SAMPLES = 64
_BAND_SAMPLES = 96
_MEDIAN_SAMPLES = 64
_LIKENESS = 0.8
_SPREAD = 0.004
_MOVED_PCT = 0.3
_LEAST_SURE = 8

Floats = npt.NDArray[np.float32]
Ints = npt.NDArray[np.intp]


@dataclass(frozen=True)
class Ends:
    """Figures of a frame in percent of width, and the shares of their samples that full-size pixels bear out."""

    near_pct: float
    far_pct: float
    median_pct: float
    nearest_pct: float
    farthest_pct: float
    near_sure: float
    far_sure: float


@dataclass(frozen=True)
class _Sample:
    """Values (n,) in percent of width in the map and on full-size pixels, the pixels of the map each stands for, and
    the share that was borne out."""

    mapped: Floats
    pct: Floats
    weight: npt.NDArray[np.float64]
    sure: float


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
    height, width = parallax.shape
    places = np.flatnonzero(np.isfinite(parallax))
    pct = parallax.reshape(-1)[places] * np.float32(100.0 / width)
    scale_x, scale_y = left.shape[1] / width, left.shape[0] / height

    def measured(chosen: Ints, weight: npt.NDArray[np.float64]) -> _Sample:
        rows, columns = np.divmod(places[chosen], width)
        start = pct[chosen]
        x = ((columns + 0.5) * scale_x - 0.5).astype(np.float32)
        y = ((rows + 0.5) * scale_y - 0.5).astype(np.float32)
        found = followed(left, right, x, y, start * np.float32(left.shape[1] / 100.0), to_right)
        moved = found.parallax_px * np.float32(100.0 / left.shape[1]) - start
        sure = (found.likeness > _LIKENESS) & (found.spread > _SPREAD) & (np.abs(moved) < _MOVED_PCT)
        # What could not be followed by itself goes with the others: they share the map's error there.
        shared = np.float32(np.median(moved[sure])) if np.count_nonzero(sure) >= _LEAST_SURE else np.float32(0.0)
        return _Sample(start, start + np.where(sure, moved, shared), weight, float(sure.mean()))

    near = measured(*_at_end(pct, parallax.size))
    far = measured(*_at_end(-pct, parallax.size))
    middle, before = _around_median(pct)
    median = measured(*middle)
    held = min(EXTREME_AREA_SHARE * parallax.size, pct.size - 1)
    counts = np.array([held, NEAR_PERCENTILE / 100.0 * pct.size, 0.5 * pct.size], int)
    ordered = np.partition(pct, (*counts, *(pct.size - 1 - counts[:2])))

    def moved(sample: _Sample, count: float, before: int = 0, sign: int = 1) -> float:
        """The map's own value with so many pixels below it, moved as the sample moves there."""
        mapped = ordered[int(count)] if sign > 0 else -ordered[pct.size - 1 - int(count)]
        target = count - before
        shift = _counted(sign * sample.pct, sample.weight, target) - _counted(
            sign * sample.mapped, sample.weight, target
        )
        return float(sign * (mapped + shift))

    return Ends(
        near_pct=moved(near, counts[1]),
        far_pct=moved(far, counts[1], sign=-1),
        median_pct=moved(median, counts[2], before),
        nearest_pct=moved(near, counts[0]),
        farthest_pct=moved(far, counts[0], sign=-1),
        near_sure=near.sure,
        far_sure=far.sure,
    )


def _at_end(pct: Floats, area: int) -> tuple[Ints, npt.NDArray[np.float64]]:
    """A sample of the lower end of a distribution, the outermost pixels more densely; which, and how many each is."""
    held = min(pct.size - 1, max(int(_OUTERMOST_SHARE * area), int(NEAR_PERCENTILE / 100.0 * pct.size)))
    limits = np.partition(pct, (min(held, int(_OUTERMOST_SHARE * area)), held))
    within = np.flatnonzero(pct <= limits[held] + np.float32(_BAND_PCT))
    values = pct[within]
    outermost = values <= limits[min(held, int(_OUTERMOST_SHARE * area))]
    return _joined((within[outermost], _OUTERMOST_SAMPLES), (within[~outermost], _BAND_SAMPLES))


def _around_median(pct: Floats) -> tuple[tuple[Ints, npt.NDArray[np.float64]], int]:
    """A sample around the median, and how many pixels lie below all of it."""
    median = np.partition(pct, pct.size // 2)[pct.size // 2]
    low, high = median - np.float32(_BAND_PCT), median + np.float32(_BAND_PCT)
    within = np.flatnonzero((pct >= low) & (pct <= high))
    return _joined((within, _MEDIAN_SAMPLES)), int(np.count_nonzero(pct < low))


def _joined(*parts: tuple[Ints, int]) -> tuple[Ints, npt.NDArray[np.float64]]:
    """Evenly spaced members of each part, as many as are wanted of it, with the number of members each stands for."""
    chosen, weights = [], []
    for members, wanted in parts:
        if members.size:
            taken = members[np.linspace(0, members.size - 1, min(wanted, members.size)).astype(np.intp)]
            chosen.append(taken)
            weights.append(np.full(taken.size, members.size / taken.size))
    return np.concatenate(chosen), np.concatenate(weights)


def _counted(values: Floats, weight: npt.NDArray[np.float64], target: float) -> float:
    """The value below which ``target`` pixels lie."""
    order = np.argsort(values)
    below = np.cumsum(weight[order]) - 0.5 * weight[order]
    return float(np.interp(target, below, values[order]))
