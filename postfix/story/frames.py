"""A clip frame by frame as an audience sees it: as measured, or as a plan will make it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from postfix.measure.columns import Columns
from postfix.measure.table import NEARER_STEPS_PCT
from postfix.plan.choices import cut_depths_pct
from postfix.plan.figures import Figures, figures_after, unmoved
from postfix.plan.geometry import Array, Moves, moves_of
from postfix.plan.model import ShotPlan
from postfix.plan.robust import ShotArrays, running_median, shot_arrays
from postfix.source.shots import Shot

IN_FRONT_PCT = 0.25
"""What lies this much in front of the screen, percent of width, is in front of it; what is nearer to the screen lies at
it, as far as an audience and the measurement can tell. Project default, no source."""

_STEPS = np.array(NEARER_STEPS_PCT)


@dataclass(frozen=True, eq=False)
class ShownShot:
    """One shot as it is shown; percent of width, NaN where nothing was measured.

    Attributes
    ----------
    near, far, median : (n,) float64
        Of each frame, wild ones voted down.
    figures : Figures
        Of the whole shot.
    entry_pct, leave_pct : float
        Parallax that the eyes meet at the shot's first frames and leave at its last.
    front_share, front_width, front_height : (n,) float64
        Of what lies more than :data:`IN_FRONT_PCT` in front of the screen: share of the picture, and size of the
        largest thing, percent of the picture's width and of its height.
    """

    name: str
    first: int
    last: int
    dissolve_frames: int
    near: Array
    far: Array
    median: Array
    figures: Figures
    entry_pct: float
    leave_pct: float
    front_share: Array
    front_width: Array
    front_height: Array
    _shares: Array
    _zoom: float
    _hit_pct: Array

    def front_pct(self, index: int) -> float:
        """Parallax of the middle of what is in front in frame ``first + index``."""
        shares = self._shares[index]
        half = self.front_share[index] / 2.0
        if not np.isfinite(half) or half <= 0.0:
            return float("nan")
        # Up to a step nothing lies nearer: the first that holds anything begins there.
        begin = int(np.searchsorted(shares, 0.0, side="right"))
        lower = max(0, begin - 1)
        middle = float(np.interp(half, shares[lower:], _STEPS[lower:]))
        return self._zoom * middle + float(self._hit_pct[index])


def as_measured(columns: Columns, shots: Sequence[Shot], dissolves: Mapping[int, int] | None = None) -> list[ShownShot]:
    """Shots as they were measured: of a source, or of finished pictures.

    ``dissolves`` has, by a shot's first frame, over how many frames it dissolves in, where that is known elsewhere.
    """
    known = _dissolves(columns) if dissolves is None else dissolves
    return [_shown(columns, shot, unmoved(shot.last - shot.first + 1), known) for shot in shots]


def as_planned(columns: Columns, shots: Sequence[ShotPlan]) -> list[ShownShot]:
    """Shots as plans will make them, from the measurement of the source."""
    known = _dissolves(columns)
    return [_shown(columns, shot, moves_of(shot, columns.clip), known) for shot in shots]


def _dissolves(columns: Columns) -> dict[int, int]:
    return {shot.first: frames for shot, frames in zip(columns.shots, columns.dissolve_frames)}


def _shown(columns: Columns, shot: Shot | ShotPlan, moves: Moves, dissolves: Mapping[int, int]) -> ShownShot:
    arrays = shot_arrays(columns, shot.first, shot.last)
    part = slice(shot.first, shot.last + 1)
    zoom, hit = moves.zoom, moves.hit_px * 100.0 / columns.clip.width_px
    entry, leave = cut_depths_pct(arrays, columns.clip.rate)
    shares, widths, heights = (
        np.where(arrays.measured[:, None], values[part], np.nan)
        for values in (columns.nearer_share_pct, columns.nearer_width_pct, columns.nearer_height_pct)
    )
    at = _step_at((-IN_FRONT_PCT - hit) / zoom)
    return ShownShot(
        name=shot.name,
        first=shot.first,
        last=shot.last,
        dissolve_frames=dissolves.get(shot.first, 0),
        near=zoom * arrays.near + hit,
        far=zoom * arrays.far + hit,
        median=zoom * arrays.median + hit,
        figures=_figures(arrays, moves, columns),
        entry_pct=zoom * entry + float(hit[0]),
        leave_pct=zoom * leave + float(hit[-1]),
        front_share=_at(shares, at),
        front_width=np.minimum(zoom * _at(widths, at), 100.0),
        front_height=np.minimum(zoom * _at(heights, at), 100.0),
        _shares=shares,
        _zoom=zoom,
        _hit_pct=hit,
    )


def _figures(arrays: ShotArrays, moves: Moves, columns: Columns) -> Figures:
    return figures_after(arrays, moves, columns.clip)


def _step_at(depth_pct: Array) -> npt.NDArray[np.intp]:
    """The step of the ladder nearest to each depth; −1 beyond either end of it."""
    nearest = np.abs(_STEPS[None, :] - depth_pct[:, None]).argmin(axis=1)
    beyond = (depth_pct < _STEPS[0]) | (depth_pct > _STEPS[-1])
    return np.where(beyond, -1, nearest)


def _at(values: Array, step: npt.NDArray[np.intp]) -> Array:
    """What stands at a step in each frame, wild frames voted down; NaN beyond the ladder."""
    found = np.take_along_axis(values, np.maximum(step, 0)[:, None], axis=1)[:, 0]
    return running_median(np.where(step < 0, np.nan, found), high=True)
