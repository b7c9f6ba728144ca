"""A clip frame by frame as an audience sees it: as measured, or as a plan will make it."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

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

_END_SHARES_PCT = (1.0, 50.0, 99.0)
"""Shares of the picture nearer than near, median and far."""


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
        largest thing, percent of the picture's width and of its height; 0 where there is none.
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
    _ends: tuple[Array, Array, Array]
    _shares: Array
    _zoom: float
    _hit_pct: Array

    def front_pct(self, index: int) -> float:
        """Parallax of the middle of what is in front in frame ``first + index``: half of it lies nearer."""
        ends = (self._ends[0][index], self._ends[1][index], self._ends[2][index])
        pct, share = np.array([*_STEPS, *ends]), np.array([*self._shares[index], *_END_SHARES_PCT])
        is_known = np.isfinite(pct) & np.isfinite(share)
        half = self.front_share[index] / 2.0
        if not (math.isfinite(half) and half > 0.0 and is_known.any()):
            return math.nan
        order = np.lexsort((pct[is_known], share[is_known]))
        rising = np.maximum.accumulate(pct[is_known][order])
        middle = float(np.interp(half, share[is_known][order], rising))
        least = ends[0] if math.isfinite(ends[0]) else -math.inf
        return self._zoom * max(middle, least) + float(self._hit_pct[index])


def as_measured(columns: Columns, shots: Sequence[Shot]) -> list[ShownShot]:
    """Shots as they were measured, of pictures as they were given."""
    known = _dissolves(columns)
    return [_shown(columns, shot, unmoved(shot.last - shot.first + 1), known) for shot in shots]


def as_finished(columns: Columns, shots: Sequence[ShotPlan], source: Columns | None) -> list[ShownShot]:
    """Shots as they were measured on finished pictures, made by a plan from a source.

    A HIT that slides at a cut is taken out where the eyes' depth at that cut is looked for, and put back as it is at
    the cut itself: over half a second the picture's own depth counts, not its slide.
    """
    known = {} if source is None else _dissolves(source)
    shown = []
    for shot in shots:
        still = unmoved(shot.last - shot.first + 1)
        shown.append(_shown(columns, shot, still, known, sliding=moves_of(shot, columns.clip)))
    return shown


def as_planned(
    columns: Columns, shots: Sequence[ShotPlan], arrays: Sequence[ShotArrays] | None = None
) -> list[ShownShot]:
    """Shots as plans will make them, from the measurement of the source.

    ``arrays`` are those of the shots where they are known already.
    """
    known = _dissolves(columns)
    each = [None] * len(shots) if arrays is None else arrays
    return [
        _shown(columns, shot, moves_of(shot, columns.clip), known, arrays=one)
        for shot, one in zip(shots, each, strict=True)
    ]


def _dissolves(columns: Columns) -> dict[int, int]:
    return {shot.first: frames for shot, frames in zip(columns.shots, columns.dissolve_frames)}


def _shown(
    columns: Columns,
    shot: Shot | ShotPlan,
    moves: Moves,
    dissolves: Mapping[int, int],
    sliding: Moves | None = None,
    arrays: ShotArrays | None = None,
) -> ShownShot:
    """One shot after ``moves``; ``sliding`` are those that the measured pictures have in them already."""
    if arrays is None:
        arrays = shot_arrays(columns, shot.first, shot.last)
    part = slice(shot.first, shot.last + 1)
    to_pct = 100.0 / columns.clip.width_px
    zoom, hit = moves.zoom, moves.hit_px * to_pct
    there = np.zeros(hit.shape) if sliding is None else sliding.hit_px * to_pct
    entry, leave = cut_depths_pct(replace(arrays, median=arrays.median - there), columns.clip.rate)
    shares, widths, heights = (
        np.where(arrays.measured[:, None], values[part], np.nan)
        for values in (columns.nearer_share_pct, columns.nearer_width_pct, columns.nearer_height_pct)
    )
    share, width, height = _in_front(arrays.near, (-IN_FRONT_PCT - hit) / zoom, (shares, widths, heights))
    return ShownShot(
        name=shot.name,
        first=shot.first,
        last=shot.last,
        dissolve_frames=dissolves.get(shot.first, 0),
        near=zoom * arrays.near + hit,
        far=zoom * arrays.far + hit,
        median=zoom * arrays.median + hit,
        figures=figures_after(arrays, moves, columns.clip),
        entry_pct=zoom * entry + float(hit[0] + there[0]),
        leave_pct=zoom * leave + float(hit[-1] + there[-1]),
        front_share=share,
        front_width=np.minimum(zoom * width, 100.0),
        front_height=np.minimum(zoom * height, 100.0),
        _ends=(arrays.near, arrays.median, arrays.far),
        _shares=shares,
        _zoom=zoom,
        _hit_pct=hit,
    )


def _in_front(near: Array, depth_pct: Array, ladders: tuple[Array, Array, Array]) -> tuple[Array, Array, Array]:
    """What lies nearer than a depth in each frame, by the step of the ladder that is nearest to it.

    Nothing does where near itself does not: a frame then has 0. Where near does, and the step on its side of the depth
    holds less than near leaves out, the step on the other side is taken.

    Parameters
    ----------
    near, depth_pct : (n,) float64
    ladders : three of (n, steps)
        Shares first, then sizes.

    Returns
    -------
    three of (n,) float64
        Wild frames voted down; NaN where nothing is known, 0 where nothing is.
    """
    nearest = np.abs(_STEPS[None, :] - depth_pct[:, None]).argmin(axis=1)
    frames = np.arange(len(near))
    held = ladders[0][frames, nearest]
    is_short = (_STEPS[nearest] < depth_pct) & (held < _END_SHARES_PCT[0])
    step = np.minimum(nearest + is_short, len(_STEPS) - 1)
    beyond = (depth_pct < _STEPS[0]) | (depth_pct > _STEPS[-1])
    is_known = np.isfinite(near) & np.isfinite(held) & ~beyond
    found = np.stack([ladder[frames, step] for ladder in ladders], axis=1)
    voted = np.where((near < depth_pct)[:, None], found, 0.0)
    voted = running_median(np.where(is_known[:, None], voted, np.nan), high=True)
    share, width, height = np.where(is_known[:, None], voted, np.nan).T
    return share, width, height
