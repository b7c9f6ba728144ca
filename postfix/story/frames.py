"""A clip shot by shot as an audience sees it: as measured, or as a plan will make it."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from postfix.measure.columns import Columns, Small
from postfix.measure.table import NEARER_STEPS_PCT
from postfix.plan.choices import cut_depths_pct
from postfix.plan.figures import DepthFigures, depth_after, unmoved
from postfix.plan.geometry import Array, Mask, Moves, moves_of
from postfix.plan.model import ShotPlan
from postfix.plan.robust import ShotArrays, arrays_of_shots, running_median
from postfix.plan.together import Indices, Together
from postfix.source.shots import Shot

IN_FRONT_PCT = 0.25
"""What lies this much in front of the screen, percent of width, is in front of it; what is nearer to the screen lies at
it, as far as an audience and the measurement can tell. Project default, no source."""

_STEPS = np.array(NEARER_STEPS_PCT)

_END_SHARES_PCT = (1.0, 50.0, 99.0)
"""Shares of the picture nearer than near, median and far."""


@dataclass(frozen=True)
class InFront:
    """What lies more than :data:`IN_FRONT_PCT` in front of the screen in one frame of the clip.

    Attributes
    ----------
    frame : int
    share_pct : float
        Of the picture.
    width_pct, height_pct : float
        Of the largest thing there, percent of the picture's width and of its height.
    middle_pct : float
        Parallax of the middle of what is in front: half of it lies nearer. NaN where that is not known.
    """

    frame: int
    share_pct: float
    width_pct: float
    height_pct: float
    middle_pct: float


@dataclass(frozen=True, eq=False)
class ShownShot:
    """One shot as it is shown; percent of width, NaN where nothing was measured.

    Attributes
    ----------
    near, far : (n,) float64
        Of each frame, wild ones voted down.
    figures : DepthFigures
        Of the whole shot.
    entry_pct, leave_pct : float
        Parallax that the eyes meet at the shot's first frames and leave at its last.
    front : InFront or None
        In the frame in which the widest thing in front of the screen is; None where nothing is, or is known.
    front_is_known : bool
        Whether anything is known of what is in front, in any frame.
    """

    name: str
    first: int
    last: int
    dissolve_frames: int
    near: Array
    far: Array
    figures: DepthFigures
    entry_pct: float
    leave_pct: float
    front: InFront | None
    front_is_known: bool


def as_measured(columns: Columns, shots: Sequence[Shot]) -> list[ShownShot]:
    """Shots as they were measured, of pictures as they were given."""
    return _shown(columns, shots, [unmoved(shot.last - shot.first + 1) for shot in shots], columns)


def as_finished(columns: Columns, shots: Sequence[ShotPlan], source: Columns | None) -> list[ShownShot]:
    """Shots as they were measured on finished pictures, made by a plan from a source.

    A HIT that slides at a cut is taken out where the eyes' depth at that cut is looked for, and put back as it is at
    the cut itself: over half a second the picture's own depth counts, not its slide.
    """
    still = [unmoved(shot.last - shot.first + 1) for shot in shots]
    return _shown(columns, shots, still, source, sliding=[moves_of(shot, columns.clip) for shot in shots])


def as_planned(
    columns: Columns, shots: Sequence[ShotPlan], arrays: Sequence[ShotArrays] | None = None
) -> list[ShownShot]:
    """Shots as plans will make them, from the measurement of the source.

    ``arrays`` are those of the shots where they are known already.
    """
    return _shown(columns, shots, [moves_of(shot, columns.clip) for shot in shots], columns, arrays=arrays)


def _shown(
    columns: Columns,
    shots: Sequence[Shot | ShotPlan],
    moves: Sequence[Moves],
    source: Columns | None,
    sliding: Sequence[Moves] | None = None,
    arrays: Sequence[ShotArrays] | None = None,
) -> list[ShownShot]:
    """Shots that follow each other after ``moves``; ``sliding`` are those that the measured pictures have in them
    already, ``source`` is what knows of dissolves."""
    if not shots:
        return []
    if arrays is None:
        arrays = arrays_of_shots(columns, [(shot.first, shot.last) for shot in shots])
    together, to_pct = Together.of(shot.last - shot.first + 1 for shot in shots), 100.0 / columns.clip.width_px
    near, far, median = (np.concatenate([getattr(one, name) for one in arrays]) for name in ("near", "far", "median"))
    zoom, hit = np.array([one.zoom for one in moves]), _hits_px(moves) * to_pct
    there = np.zeros(hit.shape) if sliding is None else _hits_px(sliding) * to_pct
    depths = zoom[:, None] * cut_depths_pct(median - there, together, columns.clip.rate)
    depths += np.stack([(hit + there)[rows] for rows in (together.starts, together.ends)], axis=1)
    known = {} if source is None else {s.first: n for s, n in zip(source.shots, source.dissolve_frames)}
    fronts, are_known = _fronts(columns, shots[0].first, together, arrays, near, zoom, hit)
    zooms = together.spread(zoom)
    return [
        ShownShot(
            name=shot.name,
            first=shot.first,
            last=shot.last,
            dissolve_frames=known.get(shot.first, 0),
            near=near_of_shot,
            far=far_of_shot,
            figures=depth_after(measured, moved, columns.clip),
            entry_pct=entry_pct,
            leave_pct=leave_pct,
            front=front,
            front_is_known=is_known,
        )
        for shot, near_of_shot, far_of_shot, measured, moved, (entry_pct, leave_pct), front, is_known in zip(
            shots,
            together.parts(zooms * near + hit),
            together.parts(zooms * far + hit),
            arrays,
            moves,
            depths.tolist(),
            fronts,
            are_known.tolist(),
            strict=True,
        )
    ]


def _hits_px(moves: Sequence[Moves]) -> Array:
    return np.concatenate([one.hit_px for one in moves])


def _fronts(
    columns: Columns,
    first: int,
    shots: Together,
    arrays: Sequence[ShotArrays],
    near: Array,
    zoom: Array,
    hit: Array,
) -> tuple[list[InFront | None], Mask]:
    """What is in front in the frame of each shot in which the widest thing is, and of which shots anything is known.

    Parameters
    ----------
    columns : Columns
    first : int
        Frame of the clip with which the shots begin.
    shots : Together
        With n frames in all.
    arrays : sequence of ShotArrays
    near, hit : (n,) float64
        As measured, and what is added to it.
    zoom : (shots,) float64
        What parallax and sizes are multiplied by.
    """
    part = slice(first, first + len(near))
    ladders = tuple(
        values[part] for values in (columns.nearer_share_pct, columns.nearer_width_pct, columns.nearer_height_pct)
    )
    measured = np.concatenate([one.measured for one in arrays])
    depth = (-IN_FRONT_PCT - hit) / shots.spread(zoom)
    share, width, height = _in_front(np.where(measured, near, np.nan), depth, ladders, shots)
    # Sizes grow with the picture, as far as there is room.
    enlarged = shots.spread(zoom.astype(width.dtype))
    width, height = np.minimum(enlarged * width, 100.0), np.minimum(enlarged * height, 100.0)
    widest = shots.first_of_most(np.where(share > 0.0, width, np.nan))
    fronts: list[InFront | None] = []
    for index, (row, start) in enumerate(zip(widest.tolist(), shots.starts.tolist())):
        if row < 0:
            fronts.append(None)
            continue
        of_shot = arrays[index]
        ends = tuple(float(values[row - start]) for values in (of_shot.near, of_shot.median, of_shot.far))
        middle = float(zoom[index]) * _middle_pct(ends, ladders[0][row], float(share[row])) + float(hit[row])
        fronts.append(InFront(first + row, float(share[row]), float(width[row]), float(height[row]), middle))
    return fronts, shots.any(np.isfinite(share))


def _middle_pct(ends: tuple[float, ...], shares: Small, in_front_pct: float) -> float:
    """Parallax than which half of what is in front lies nearer in a frame, as measured; NaN where it is not known.

    Parameters
    ----------
    ends : (near, median, far)
    shares : (steps,)
        Of the picture that lie nearer than each step of the ladder.
    in_front_pct : float
        Share of the picture that is in front.
    """
    pct, share = np.array([*_STEPS, *ends]), np.array([*shares, *_END_SHARES_PCT])
    is_known = np.isfinite(pct) & np.isfinite(share)
    half = in_front_pct / 2.0
    if not (math.isfinite(half) and half > 0.0 and is_known.any()):
        return math.nan
    order = np.lexsort((pct[is_known], share[is_known]))
    rising = np.maximum.accumulate(pct[is_known][order])
    middle = float(np.interp(half, share[is_known][order], rising))
    return max(middle, ends[0]) if math.isfinite(ends[0]) else middle


def _in_front(near: Array, depth_pct: Array, ladders: tuple[Small, ...], shots: Together) -> tuple[Array, Array, Array]:
    """What lies nearer than a depth in each frame, by the step of the ladder that is nearest to it.

    Nothing does where near itself does not: a frame then has 0. Where near does, and the step on its side of the depth
    holds less than near leaves out, the step on the other side is taken.

    Parameters
    ----------
    near : (n,) float64
        NaN in frames that were not measured.
    depth_pct : (n,) float64
    ladders : three of (n, steps)
        Shares first, then sizes.
    shots : Together
        Whose frames these are.

    Returns
    -------
    three of (n,)
        Wild frames voted down; NaN where nothing is known, 0 where nothing is.
    """
    nearest = _nearest_step(depth_pct)
    frames = np.arange(len(near))
    held = ladders[0][frames, nearest]
    is_short = (_STEPS[nearest] < depth_pct) & (held < _END_SHARES_PCT[0])
    step = np.minimum(nearest + is_short, len(_STEPS) - 1)
    beyond = (depth_pct < _STEPS[0]) | (depth_pct > _STEPS[-1])
    is_known = np.isfinite(near) & np.isfinite(held) & ~beyond
    found = np.stack([ladder[frames, step] for ladder in ladders], axis=1)
    voted = np.where((near < depth_pct)[:, None], found, 0.0)
    voted = running_median(np.where(is_known[:, None], voted, np.nan), high=True, shots=shots)
    share, width, height = np.where(is_known[:, None], voted, np.nan).T
    return share, width, height


def _nearest_step(depth_pct: Array) -> Indices:
    """Which step of the ladder is nearest to each depth, of two as near the one in front: (n,)."""
    after = np.clip(np.searchsorted(_STEPS, depth_pct), 1, len(_STEPS) - 1)
    return np.asarray(after - (depth_pct - _STEPS[after - 1] <= _STEPS[after] - depth_pct))
