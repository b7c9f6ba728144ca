"""What windows would hide for many possible HITs of a shot: an estimate for choosing among them."""

from __future__ import annotations

import numpy as np

from postfix.measure.table import ClipInfo
from postfix.plan.figures import EDGE_TOLERANCE_PCT, edge_state
from postfix.plan.geometry import (
    SIDES,
    Array,
    Drawing,
    Mask,
    Moves,
    Side,
    bare_px,
    eye_moves_px,
    held_moves,
    hidden_px_at,
    window_need_px,
)
from postfix.plan.robust import ShotArrays
from postfix.plan.settings import WindowSettings
from postfix.plan.window_brief import counted, lasting
from postfix.plan.window_easing import easing_of, running_max

_SAMPLES = 17  # HITs reckoned in full where the source's own black differs from row to row or frame to frame


def window_cost_curve(
    arrays: ShotArrays, clip: ClipInfo, settings: WindowSettings, hits_px: Array, drawing: Drawing
) -> tuple[Array, Mask]:
    """Picture hidden by windows, and whether there must be any, for each of many held HITs of a shot.

    Parameters
    ----------
    arrays : ShotArrays
    clip : ClipInfo
    settings : WindowSettings
    hits_px : (k,) float64
        Total HIT, in any order. Unless the pictures are drawn anew the nearest whole step counts, shared between the
        eyes as it will be.
    drawing : Drawing
        Each HIT comes with the zoom that covers what it, or aligning, lays bare.

    Returns
    -------
    hidden_pct : (k,) float64
        Columns hidden by windows beyond those that the move lays bare there, both sides together, percent of width,
        mean over the frames. An estimate: held, but upright and not eased.
    needed : (k,) bool
        Whether :func:`postfix.plan.windows.windows_for` makes a window.

    Notes
    -----
    What is in front of an edge at one HIT is so at every lesser one. With ``zoom`` and black in the source that is true
    only to some 2 % of the tolerance for each percent of HIT, and bands that a zoom beyond 109 % pushes out of sight
    still count.
    """
    hits = np.asarray(hits_px, dtype=np.float64)
    hidden, needed = np.zeros(hits.shape), np.zeros(hits.shape, dtype=np.bool_)
    if not (settings.on and settings.max_pct > 0.0 and hits.size):
        return hidden, needed
    sides = [side for side in SIDES if arrays.seen_frames(side)]
    if not sides:
        return hidden, needed
    if all(_steady(arrays, side, drawing) for side in sides):
        hidden, needed = _sorted_costs(arrays, sides, clip, settings, hits, drawing)
    else:
        hidden, needed = _sampled_costs(arrays, sides, clip, settings, hits, drawing)
    return np.where(needed, hidden, 0.0), needed


def _steady(arrays: ShotArrays, side: Side, drawing: Drawing) -> bool:
    """True where the source's own black at a side is the same in every row and frame, so that of each frame only its
    nearest content matters; with a zoom, which moves black, only where there is none. Never where pictures are aligned,
    which lays the two eyes bare by columns of their own."""
    source_px = arrays.hidden_px(side)
    if drawing.misalignment is not None:
        return False
    if not source_px.any():
        return True
    upright = bool((source_px[:, 0] == source_px[:, 1]).all() and (source_px[:, 2] == source_px[:, 3]).all())
    return drawing.fill != "zoom" and upright and bool((source_px == source_px[0]).all())


def _sorted_costs(
    arrays: ShotArrays, sides: list[Side], clip: ClipInfo, settings: WindowSettings, hits_px: Array, drawing: Drawing
) -> tuple[Array, Mask]:
    """Both figures where of each frame only its nearest content matters: frames are sorted by it, and each HIT takes
    the sum over those that are then in front."""
    left, right = eye_moves_px(hits_px, clip.step_px, resampled=drawing.is_resampled)
    zoom = drawing.zooms(hits_px * 100.0 / clip.width_px, clip)
    hit, needed = right - left, np.zeros(hits_px.shape, dtype=np.bool_)
    tolerance = EDGE_TOLERANCE_PCT * clip.width_px / 100.0
    radius = easing_of(settings, clip).hold_radius
    shifts = []
    nearest = np.full((len(arrays.measured), len(sides)), np.inf)
    for index, side in enumerate(sides):
        nearest[:, index] = np.where(np.isnan(arrays.nearest(side)), np.inf, arrays.nearest(side))
        own, opposite, bare = _hidden(
            arrays.hidden_px(side)[0], side, held_moves(drawing, clip, left, right, 1.0), clip
        )
        content = zoom * _lasting_nearest(nearest[:, index], clip, settings) * clip.width_px / 100.0 + hit
        needed |= (opposite - own) - content > tolerance
        shifts.append((own, opposite, bare))
    held = -running_max(-nearest, radius, radius)
    if settings.both_sides:
        # Their black differs by half a step at most, or by what the source has: the first side's stands for both.
        held, shifts = held.min(axis=1, keepdims=True), shifts[:1]
    hidden = np.zeros(hits_px.shape)
    for index, (own, opposite, bare) in enumerate(shifts):
        hidden += _sum_over_frames(
            held[:, index] * clip.width_px / 100.0,
            zoom,
            reach_px=opposite - hit,
            from_px=own + tolerance,
            margin_px=settings.margin_pct * clip.width_px / 100.0,
            bare_px=bare,
            cap_px=settings.max_pct * clip.width_px / 100.0,
        )
    hidden *= 2.0 if settings.both_sides else 1.0
    return hidden / len(arrays.measured) * 100.0 / clip.width_px, needed


def _hidden(source_px: Array, side: Side, moves: Moves, clip: ClipInfo) -> tuple[Array, Array, Array]:
    """Columns hidden in the side's own eye and in the opposite one, and those that the move lays bare in its own eye,
    for each of k moves of one frame: (k,) each."""
    if moves.fill == "zoom":  # each HIT with the zoom that leaves none
        none = np.zeros(moves.left_px.shape)
        return none, none, none
    black = np.broadcast_to(source_px, (len(moves.left_px), 4))
    own, opposite = hidden_px_at(black, side, moves, clip.width_px, [0.5])
    return own[:, 0], opposite[:, 0], bare_px(moves, side, clip.width_px)[SIDES.index(side)]


def _lasting_nearest(nearest: Array, clip: ClipInfo, settings: WindowSettings) -> float:
    """The parallax at which content that stays for long enough comes nearest: a window is needed where this is in
    front, and else not."""
    finite = nearest[np.isfinite(nearest)]
    if not finite.size:
        return float("inf")
    if settings.brief_s <= 0.0:
        return float(finite.min())
    levels = np.unique(finite)
    low, high = 0, len(levels)
    while low < high:
        middle = (low + high) // 2
        if lasting(nearest <= levels[middle], clip.rate, settings).any():
            high = middle
        else:
            low = middle + 1
    return float(levels[low]) if low < len(levels) else float("inf")


def _sum_over_frames(
    nearest_px: Array,
    zoom: Array,
    *,
    reach_px: Array,
    from_px: Array,
    margin_px: float,
    bare_px: Array,
    cap_px: float,
) -> Array:
    """Columns of windows summed over the frames, for each of k HITs: (k,).

    A frame whose nearest content is ``p`` needs ``reach − zoom · p + margin``, at most the cap, from where
    ``reach − zoom · p`` is more than ``from_px`` on; the bare columns are not counted.
    """
    rising = np.sort(nearest_px)
    sums = np.concatenate([[0.0], np.cumsum(np.where(np.isfinite(rising), rising, 0.0))])
    counted = np.searchsorted(rising, (reach_px - from_px) / zoom, side="left")
    capped = np.minimum(np.searchsorted(rising, (reach_px + margin_px - cap_px) / zoom, side="left"), counted)
    between = (counted - capped) * (reach_px + margin_px - bare_px) - zoom * (sums[counted] - sums[capped])
    return np.asarray(np.maximum(between, 0.0) + capped * np.maximum(cap_px - bare_px, 0.0))


def _sampled_costs(
    arrays: ShotArrays, sides: list[Side], clip: ClipInfo, settings: WindowSettings, hits_px: Array, drawing: Drawing
) -> tuple[Array, Mask]:
    """Both figures where the source's own black differs from row to row or frame to frame: some HITs in full, those
    between by straight lines, and the one from which on nothing is needed by halving."""
    order = np.argsort(hits_px, kind="stable")
    left, right = eye_moves_px(hits_px, clip.step_px, resampled=drawing.is_resampled)
    zoom = drawing.zooms(hits_px * 100.0 / clip.width_px, clip)

    def full(index: int) -> tuple[float, bool]:
        ones = np.ones(len(arrays.measured))
        moves = held_moves(drawing, clip, left[index] * ones, right[index] * ones, float(zoom[index]))
        return _full_cost(arrays, sides, clip, settings, moves)

    at = np.unique(np.linspace(0, len(order) - 1, _SAMPLES).round().astype(int))
    samples = [full(int(order[i])) for i in at]
    hidden = np.interp(np.arange(len(order)), at, [sample[0] for sample in samples])
    last = max((int(i) for i, sample in zip(at, samples) if sample[1]), default=-1)
    after = int(min((i for i in at if i > last), default=len(order)))
    while after - last > 1 and last >= 0:
        middle = (last + after) // 2
        if full(int(order[middle]))[1]:
            last = middle
        else:
            after = middle
    needed = np.zeros(hits_px.shape, dtype=np.bool_)
    needed[order[: last + 1]] = True
    in_place = np.zeros(hits_px.shape)
    in_place[order] = hidden
    return in_place, needed


def _full_cost(
    arrays: ShotArrays, sides: list[Side], clip: ClipInfo, settings: WindowSettings, moves: Moves
) -> tuple[float, bool]:
    """Both figures for one move, row by row and frame by frame."""
    radius, widths, needed = easing_of(settings, clip).hold_radius, [], False
    for side in sides:
        state = edge_state(arrays, side, moves, clip, None)
        in_front = counted(state.excess_px(), EDGE_TOLERANCE_PCT * clip.width_px / 100.0, clip.rate, settings)
        needed |= bool(in_front.any())
        opposite = np.maximum(state.opposite_px[:, :-1], state.opposite_px[:, 1:])
        need = window_need_px(opposite, state.content_px) + settings.margin_pct * clip.width_px / 100.0
        most = np.minimum(np.where(in_front, need, 0.0).max(axis=1), settings.max_pct * clip.width_px / 100.0)
        bare = bare_px(moves, side, clip.width_px)[SIDES.index(side)]
        widths.append(np.maximum(running_max(most[:, None], radius, radius)[:, 0] - bare, 0.0))
    total = 2.0 * np.max(widths, axis=0) if settings.both_sides else np.sum(widths, axis=0)
    return float(np.mean(total)) * 100.0 / clip.width_px, needed
