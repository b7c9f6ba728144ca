"""Shots that dissolve into each other: one zoom and one course of windows, because both pictures are seen at once."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import fields, replace

import numpy as np

from postfix.limits import Limits
from postfix.measure.table import ClipInfo
from postfix.plan.drafts import Draft, over_pct
from postfix.plan.figures import LIMIT_TOLERANCE_PCT
from postfix.plan.geometry import drawing_of, moves_of, window_px_at
from postfix.plan.model import Misalignment, ShotPlan, WindowKey
from postfix.plan.robust import ShotArrays
from postfix.plan.settings import WindowSettings
from postfix.plan.window_keys import rounded_up
from postfix.plan.windows import windows_for


def with_one_zoom(drafts: Sequence[Draft], limits: Limits, clip: ClipInfo) -> list[Draft]:
    """Shots that are enlarged and dissolve into each other all take the largest zoom of them, so that no size jumps.

    A shot whose HIT a person decided, or that moves inside to keep its limits, keeps its own and parts the others.
    Where the common zoom would push any of them beyond a limit, all keep their own: limits go first.
    """
    made: list[Draft] = []
    for run in _runs(drafts, lambda one: _enlarges(one.plan) and one.how in ("held", "not measured")):
        zoom = max(one.plan.zoom for one in run)
        joined = [replace(one, plan=replace(one.plan, zoom=zoom)) for one in run]
        alike = len(run) > 1 and all(no_worse(new, old, limits, clip) for new, old in zip(joined, run))
        made += joined if alike else run
    return made


def _enlarges(plan: ShotPlan) -> bool:
    return plan.fill == "zoom" or drawing_of(plan).misalignment is not None


def no_worse(new: Draft, old: Draft, limits: Limits, clip: ClipInfo) -> bool:
    """Whether a shot is not further beyond its limits than it was, or by no more than passes."""
    pairs = zip(over_pct(new.shot, new.plan, limits, clip), over_pct(old.shot, old.plan, limits, clip))
    return all(not after > max(before, LIMIT_TOLERANCE_PCT) for after, before in pairs)


def with_windows(drafts: Sequence[Draft], clip: ClipInfo, settings: WindowSettings) -> list[ShotPlan]:
    """The plan of every shot with its windows; those that a person decided stay.

    Shots that dissolve into each other get theirs as if they were one shot: a window must not jump in the middle of a
    dissolve.
    """
    made: list[ShotPlan] = []
    for run in _runs(drafts, lambda one: not (one.plan.locked or "window" in one.plan.by_hand)):
        if run[0].plan.locked or "window" in run[0].plan.by_hand:
            made += [one.plan for one in run]
            continue
        for part in _alike(run):
            window = _window_of(part, clip, settings)
            made += [
                _with(one.plan, window if len(part) == 1 else _cut_out(one.plan, window), settings) for one in part
            ]
    return made


def _runs(drafts: Sequence[Draft], joins: Callable[[Draft], bool]) -> list[list[Draft]]:
    """Stretches of shots that dissolve into each other and may be joined; every other shot alone."""
    runs: list[list[Draft]] = []
    for one in drafts:
        if runs and one.shot.dissolve_frames and joins(one) and joins(runs[-1][-1]):
            runs[-1].append(one)
        else:
            runs.append([one])
    return runs


def _alike(run: list[Draft]) -> list[list[Draft]]:
    """A run parted where zoom, fill or alignment change: pictures of two sizes have no rows in common."""
    parts = [[run[0]]]
    for one in run[1:]:
        before = parts[-1][-1].plan
        if (one.plan.zoom, one.plan.fill, _aligned_by(one)) == (before.zoom, before.fill, _aligned_by(parts[-1][-1])):
            parts[-1].append(one)
        else:
            parts.append([one])
    return parts


def _aligned_by(one: Draft) -> Misalignment | None:
    return drawing_of(one.plan).misalignment


def _window_of(part: list[Draft], clip: ClipInfo, settings: WindowSettings) -> tuple[WindowKey, ...]:
    if not any(one.shot.before.measured_frames for one in part):
        return ()
    moves, arrays = [moves_of(one.plan, clip) for one in part], [one.shot.arrays for one in part]
    if len(part) > 1:
        left_px, right_px = (np.concatenate([getattr(m, name) for m in moves]) for name in ("left_px", "right_px"))
        moves = [replace(moves[0], left_px=left_px, right_px=right_px)]
        each = {field.name: np.concatenate([getattr(a, field.name) for a in arrays]) for field in fields(ShotArrays)}
        arrays = [ShotArrays(**each)]
    return windows_for(arrays[0], moves[0], clip, part[0].shot.first, settings)


def _cut_out(plan: ShotPlan, window: tuple[WindowKey, ...]) -> tuple[WindowKey, ...]:
    """What of the windows of a run falls into one shot, with an entry at each of its ends."""
    known = {key.frame: key for key in window if plan.first <= key.frame <= plan.last}
    whole = replace(plan, window=window, window_opacity_pct=100.0)
    for frame in (plan.first, plan.last):
        left_top, left_bottom, right_top, right_bottom = (rounded_up(float(px)) for px in window_px_at(whole, frame)[0])
        known.setdefault(frame, WindowKey(frame, (left_top, left_bottom), (right_top, right_bottom)))
    keys = [known[frame] for frame in sorted(known)]
    widths = {(key.left_px, key.right_px) for key in keys}
    if len(widths) > 1:
        return tuple(keys)
    return (keys[0],) if any(any(px) for px in widths.pop()) else ()


def _with(plan: ShotPlan, window: tuple[WindowKey, ...], settings: WindowSettings) -> ShotPlan:
    if not window:
        return replace(plan, window=(), window_soft_px=0.0, window_opacity_pct=100.0)
    return replace(plan, window=window, window_soft_px=settings.soft_px, window_opacity_pct=settings.opacity_pct)
