"""The few figures that sum up a shot, as measured or as a plan will make them, and what is outside its limit."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from postfix.limits import Limits
from postfix.measure.columns import Columns
from postfix.measure.table import ClipInfo
from postfix.plan.geometry import (
    BAND_BORDERS,
    SIDES,
    Array,
    Moves,
    Side,
    edge_parallax_px,
    hidden_px_at,
    moves_of,
    rows_after,
    window_px_at,
)
from postfix.plan.model import Flag, Plan, ShotPlan
from postfix.plan.robust import ShotArrays, least, middle, most, shot_arrays
from postfix.plan.settings import DEFAULT_WINDOWS, WindowSettings
from postfix.plan.window_brief import excess_beyond_brief
from postfix.viewing import mm_from_pct

LIMIT_TOLERANCE_PCT = 0.02
"""What near, far and range may be beyond a limit before it is flagged: 0.2 px of a picture 960 wide, below what the
measurement can tell. Project default."""

EDGE_TOLERANCE_PCT = 0.15
"""What content may be in front of a side edge before it counts: what the measurement of edges can tell. Project
default."""

EDGE_RULE = "objects near a side edge should not sit in front of it (ITU-R BT.2160-2, annexed guideline, section 4.2)"

JUDGED_SHARE = 0.1
"""Share of the frames in which a window stands wide that must have something measured at that edge, for the edge to
count as judged. Project default, no source."""


@dataclass(frozen=True)
class Figures:
    """A shot in a few figures, percent of width; NaN where nothing was measured.

    Attributes
    ----------
    near_pct, far_pct : float
        Most negative near and most positive far of any frame, wild frames voted down.
    range_pct : float
        Largest far − near within one frame.
    median_pct : float
        Middle of the frames' medians.
    left_edge_pct, right_edge_pct : float
        Most negative parallax of content that touches that edge.
    left_excess_pct, right_excess_pct : float
        How far content lies in front of that edge's own parallax, worst row and frame; 0 where none does.
    measured_frames, frames : int
    left_edge_frames, right_edge_frames : int
        Frames in which anything was measured at that edge, in front of it or not.
    """

    near_pct: float
    far_pct: float
    range_pct: float
    median_pct: float
    left_edge_pct: float
    right_edge_pct: float
    left_excess_pct: float
    right_excess_pct: float
    measured_frames: int
    frames: int
    left_edge_frames: int = 0
    right_edge_frames: int = 0


@dataclass(frozen=True)
class DepthFigures:
    """Those of :class:`Figures` that say where a shot lies in depth."""

    near_pct: float
    far_pct: float
    range_pct: float
    median_pct: float


@dataclass(frozen=True)
class EdgeState:
    """One side of a run of frames after the move, at the row bands' borders.

    Attributes
    ----------
    rows : (EDGE_BANDS + 1,)
        Heights of the borders in the moved picture, 0 at the top and 1 at the bottom.
    own_px, opposite_px : (n, EDGE_BANDS + 1)
        Columns hidden in the side's own eye and in the opposite one.
    content_px : (n, EDGE_BANDS)
        Parallax of the content in each band; NaN where there is none, or the zoom pushed the band out of sight.
    """

    rows: Array
    own_px: Array
    opposite_px: Array
    content_px: Array

    def excess_px(self) -> Array:
        """How far content lies in front of the edge in each band, taken at the worse of its two ends."""
        edge = edge_parallax_px(self.own_px, self.opposite_px)
        return np.maximum(edge[:, :-1], edge[:, 1:]) - self.content_px


def edge_state(arrays: ShotArrays, side: Side, moves: Moves, clip: ClipInfo, window_px: Array | None) -> EdgeState:
    """State of a side edge after ``moves``, with a window of (n, 4) pixels as the plan counts them, or without."""
    rows = rows_after(moves.zoom)
    own, opposite = hidden_px_at(arrays.hidden_px(side), side, moves, clip.width_px, rows)
    if window_px is not None:
        top, bottom = window_px[:, (0, 1) if side == "left" else (2, 3)].T[:, :, None]
        own = np.maximum(own, top + (bottom - top) * rows)
    content = moves.zoom * arrays.rows(side) * clip.width_px / 100.0 + moves.hit_px[:, None]
    content = np.where(np.diff(rows) > 0.0, content, np.nan)
    return EdgeState(rows, own, opposite, content)


def figures_after(
    arrays: ShotArrays,
    moves: Moves,
    clip: ClipInfo,
    window_px: Array | None = None,
    settings: WindowSettings = DEFAULT_WINDOWS,
) -> Figures:
    """Figures of a shot once its frames are moved, zoomed, filled and windowed.

    What is in front of an edge for less than ``settings.brief_s`` does not count: it is left on purpose.
    """
    excess = [_excess_pct(arrays, side, moves, clip, window_px, settings) for side in SIDES]
    depth, extremes = depth_after(arrays, moves, clip), arrays.extremes
    zoom, hit = moves.zoom, moves.hit_px * (100.0 / clip.width_px)
    if moves.is_held:
        left_edge, right_edge = (zoom * edge + float(hit[0]) for edge in (extremes.left_edge, extremes.right_edge))
    else:
        left_edge, right_edge = (least(zoom * edge + hit) for edge in (arrays.left_edge, arrays.right_edge))
    return Figures(
        near_pct=depth.near_pct,
        far_pct=depth.far_pct,
        range_pct=depth.range_pct,
        median_pct=depth.median_pct,
        left_edge_pct=left_edge,
        right_edge_pct=right_edge,
        left_excess_pct=excess[0],
        right_excess_pct=excess[1],
        measured_frames=arrays.measured_frames,
        frames=len(arrays.measured),
        left_edge_frames=arrays.seen_frames("left"),
        right_edge_frames=arrays.seen_frames("right"),
    )


def depth_after(arrays: ShotArrays, moves: Moves, clip: ClipInfo) -> DepthFigures:
    """Where a shot lies in depth once its frames are moved and zoomed."""
    zoom, hit, known = moves.zoom, moves.hit_px * (100.0 / clip.width_px), arrays.extremes
    if moves.is_held:
        # What is least stays least: only the frames that decide need be moved, to the very same figures.
        held = float(hit[0])
        lower, upper = (zoom * median + held for median in known.medians)
        return DepthFigures(zoom * known.near + held, zoom * known.far + held, zoom * known.span, (lower + upper) / 2.0)
    return DepthFigures(
        least(zoom * arrays.near + hit),
        most(zoom * arrays.far + hit),
        zoom * known.span,
        middle(zoom * arrays.median + hit),
    )


def _excess_pct(
    arrays: ShotArrays, side: Side, moves: Moves, clip: ClipInfo, window_px: Array | None, settings: WindowSettings
) -> float:
    """How far content lies in front of an edge, 0 where none does; NaN where nothing was measured there."""
    if not arrays.seen_frames(side):
        return float("nan")
    # A zoom can push bands out of sight: whether any is left must then be looked at.
    if moves.zoom * (0.5 - BAND_BORDERS[1]) < 0.5 and never_in_front(arrays, side, moves, clip, -_ROUNDING_PX):
        return 0.0
    in_front = _worst_excess_px(arrays, side, moves, clip, window_px)
    if in_front is None:
        in_front = edge_state(arrays, side, moves, clip, window_px).excess_px()
    tolerance_px = EDGE_TOLERANCE_PCT * clip.width_px / 100.0
    worst = most(excess_beyond_brief(in_front, tolerance_px, clip.rate, settings)) * (100.0 / clip.width_px)
    return max(worst, 0.0) if np.isfinite(worst) else worst


def _worst_excess_px(
    arrays: ShotArrays, side: Side, moves: Moves, clip: ClipInfo, window_px: Array | None
) -> Array | None:
    """The most of :meth:`EdgeState.excess_px` in any band of each frame, (n, 1), where the edge is upright: then the
    frame's nearest content alone decides. None where it is not: with black in the source, a zoom or a tilted window."""
    if moves.zoom != 1.0 or arrays.hidden_px(side).any():
        return None
    own, opposite = hidden_px_at(arrays.hidden_px(side), side, moves, clip.width_px, [0.5])
    if window_px is not None:
        top, bottom = window_px[:, (0, 1) if side == "left" else (2, 3)].T
        if (top != bottom).any():
            return None
        own = np.maximum(own, top[:, None])
    content = moves.zoom * arrays.nearest(side) * clip.width_px / 100.0 + moves.hit_px
    return edge_parallax_px(own, opposite) - content[:, None]


_ROUNDING_PX = 1e-6
"""More than what floating point makes of the same figure reckoned in another order."""


def never_in_front(arrays: ShotArrays, side: Side, moves: Moves, clip: ClipInfo, tolerance_px: float) -> bool:
    """True where nothing can be in front of an edge by more than a tolerance, found without going through every row of
    every frame; also where nothing was measured there."""
    nearest = arrays.nearest_of_all(side)
    if np.isnan(nearest):
        return True
    # However the opposite eye is hidden, its edge is no farther back than its own black, its whole move, and what
    # aligning lays bare besides.
    moved_px = float(np.maximum(abs(moves.left_px), abs(moves.right_px)).max())
    turned_px = max(moves.zoom * moves.spare_px - min(moves.beyond(side, clip.width_px)), 0.0)
    back_px = moves.zoom * arrays.most_hidden_px(side) + moved_px + turned_px
    return back_px - (moves.zoom * nearest * clip.width_px / 100.0 + float(moves.hit_px.min())) <= tolerance_px


def unmoved(count: int) -> Moves:
    """Moves of ``count`` frames that are left as they are."""
    return Moves(np.zeros(count), np.zeros(count), 1.0, "hide")


def figures_as_measured(arrays: ShotArrays, clip: ClipInfo, settings: WindowSettings = DEFAULT_WINDOWS) -> Figures:
    """Figures of a shot as it was measured: of a source, or of finished pictures."""
    return figures_after(arrays, unmoved(len(arrays.measured)), clip, settings=settings)


def figures_of(columns: Columns, first: int, last: int) -> Figures:
    """:func:`figures_as_measured` of frames ``first`` to ``last``, both included.

    Each figure goes through a running median over 5 frames first, so that a single wild frame cannot decide, and
    frames measured with little confidence are left out.
    """
    return figures_as_measured(shot_arrays(columns, first, last), columns.clip)


def predicted(
    arrays: ShotArrays, shot: ShotPlan, clip: ClipInfo, settings: WindowSettings = DEFAULT_WINDOWS
) -> Figures:
    """Figures that a shot will have after its HIT, zoom, fill and window, from the measurement of its source."""
    frames = np.arange(shot.first, shot.last + 1)
    # What a translucent window covers is still seen in front of the edge.
    window_px = window_px_at(shot, frames) if shot.window_opacity_pct >= 100.0 else None
    return figures_after(arrays, moves_of(shot, clip), clip, window_px, settings)


def signed_pct(pct: float) -> str:
    """``+0.54 %`` or ``−1.20 %``, with a real minus sign; never ``−0.00 %``."""
    text = f"{pct:+.2f} %"
    return text.replace("-0.00", "+0.00").replace("-", "\N{MINUS SIGN}")


def signed_mm(mm: float) -> str:
    """``+65 mm``, ``−209 mm`` or ``−0.5 mm``, with a real minus sign: one decimal below 10 mm, two below 0.1."""
    decimals = 0 if abs(mm) >= 9.95 else 1 if abs(mm) >= 0.095 else 2
    figure = round(mm, decimals)
    return f"{figure:+.{decimals}f} mm".replace("-", "\N{MINUS SIGN}") if figure else "0 mm"


def _length(pct: float, screen_width_mm: float) -> str:
    mm = mm_from_pct(abs(pct), screen_width_mm)
    return f"{mm:.0f} mm" if mm >= 10.0 else f"{mm:.1f} mm"


def range_budget(limits: Limits) -> tuple[float, str]:
    """Largest far − near that a frame may have, percent of width, and the rule: the range limit, or the room between
    the near and the far limit where that is less."""
    room = limits.far_pct - limits.near_pct
    if limits.range_pct <= room:
        return limits.range_pct, limits.range_rule
    return room, "the room between the near and the far limit"


def flags_for(figures: Figures, limits: Limits, screen_width_mm: float) -> tuple[Flag, ...]:
    """What is outside its limit, or could not be judged, in plain words for a screen ``screen_width_mm`` wide."""
    if figures.measured_frames == 0:
        return (
            Flag(
                "not-measured",
                f"nothing could be measured in any of {figures.frames} frames, so nothing is known of this shot",
            ),
        )
    flags = []
    over = figures.far_pct - limits.far_pct
    if over > LIMIT_TOLERANCE_PCT:
        flags.append(
            Flag("far", _limit_text("far", figures.far_pct, limits.far_pct, over, limits.far_rule, screen_width_mm))
        )
    over = limits.near_pct - figures.near_pct
    if over > LIMIT_TOLERANCE_PCT:
        flags.append(
            Flag(
                "near", _limit_text("near", figures.near_pct, limits.near_pct, over, limits.near_rule, screen_width_mm)
            )
        )
    budget, rule = range_budget(limits)
    over = figures.range_pct - budget
    if over > LIMIT_TOLERANCE_PCT:
        text = (
            f"range within a frame is {figures.range_pct:.2f} %, budget {budget:.2f} %: "
            f"{_beyond(over, screen_width_mm)} too large{_rule(rule)}"
        )
        flags.append(Flag("range", text))
    if figures.left_excess_pct > EDGE_TOLERANCE_PCT:
        flags.append(Flag("left-edge", _edge_text("left", figures.left_excess_pct, screen_width_mm)))
    if figures.right_excess_pct > EDGE_TOLERANCE_PCT:
        flags.append(Flag("right-edge", _edge_text("right", figures.right_excess_pct, screen_width_mm)))
    return tuple(flags)


def as_decided(flags: tuple[Flag, ...], shot: ShotPlan) -> tuple[Flag, ...]:
    """The same flags; where a person's own decision put the shot there, the text of near and far says so."""
    whose = ""
    if shot.locked:
        whose = "the shot is locked"
    elif "hit" in shot.by_hand:
        whose = "its HIT was given by hand"
    elif shot.subject is not None:
        whose = "its HIT follows from the subject that was pinned"
    if not whose:
        return flags
    return tuple(
        replace(flag, text=f"{flag.text}; {whose}") if flag.code in ("near", "far") else flag for flag in flags
    )


def shot_flags(
    figures: Figures,
    arrays: ShotArrays,
    shot: ShotPlan,
    plan: Plan,
    measured_on: str,
    source: ShotArrays | None = None,
    moved: Figures | None = None,
) -> tuple[Flag, ...]:
    """Everything that is outside its limit in a shot of a plan, or could not be judged.

    Parameters
    ----------
    figures : Figures
        Of the shot as finished, measured or predicted.
    arrays : ShotArrays
        What was measured: of the finished pictures, or of the source where the plan is judged before it is rendered.
    shot, plan
    measured_on : str
        What ``arrays`` are of, for the text: "the finished files".
    source : ShotArrays, optional
        What was measured on the source: a window that nothing there asks for, made because of the other side or of the
        shot that is dissolved with, need not be judged.
    moved : Figures, optional
        Of ``source`` after the shot's move without any window, where they are known already.
    """
    sides = SIDES if source is None or "window" in shot.by_hand else _sides_in_need(source, shot, plan, moved)
    flags = (
        *flags_for(figures, plan.limits, plan.screen.width_mm),
        *see_through(shot),
        *unjudged_edges(arrays, shot, measured_on, sides),
    )
    return as_decided(flags, shot)


def _sides_in_need(source: ShotArrays, shot: ShotPlan, plan: Plan, moved: Figures | None) -> tuple[Side, ...]:
    """Sides at which content of the shot itself would be in front of its edge without a window; of a shot without one
    nobody asks."""
    if not shot.window:
        return ()
    after = moved or figures_after(source, moves_of(shot, plan.clip), plan.clip)
    excess = zip(SIDES, (after.left_excess_pct, after.right_excess_pct))
    return tuple(side for side, pct in excess if pct > EDGE_TOLERANCE_PCT)


def see_through(shot: ShotPlan) -> tuple[Flag, ...]:
    """A flag where a shot's windows let the picture through: what lies in front of the edge is then still seen."""
    if not shot.window or shot.window_opacity_pct >= 100.0:
        return ()
    text = (
        f"the window lets {100.0 - shot.window_opacity_pct:g} % of the picture through, as asked: what lies in front "
        "of the edge is still seen, and near, edges and rivalry of the finished pictures may be the window's own edge"
    )
    return (Flag("window", text),)


def unjudged_edges(
    arrays: ShotArrays, shot: ShotPlan, measured_on: str, sides: Sequence[Side] = SIDES
) -> tuple[Flag, ...]:
    """A flag for each side where the plan has a window and hardly anything could be measured at that edge.

    Without it, an edge where the measurement found nothing to go by would count as one with nothing in front of it.
    Counted over the frames in which the window stands wide, at least half-way from its least to its most there: while
    it grows and shrinks, what it is for is not at the edge.

    Parameters
    ----------
    arrays : ShotArrays
        Of the finished pictures, or of the source where the plan is to be judged before it is rendered.
    shot : ShotPlan
    measured_on : str
        What the table is of, for the text: "the finished files".
    sides : sequence of Side
        Those to look at.

    Returns
    -------
    tuple of Flag
        Empty where nothing at all could be measured: :func:`flags_for` says so then.
    """
    if not shot.window or not arrays.measured_frames:
        return ()
    window_px = window_px_at(shot, np.arange(shot.first, shot.last + 1))
    flags = []
    for side, columns in zip(SIDES, (slice(0, 2), slice(2, 4))):
        if side not in sides:
            continue
        width_px = window_px[:, columns].max(axis=1)
        wide = (width_px > 0.0) & (width_px >= (width_px.min() + width_px.max()) / 2.0)
        judged, windowed = int((np.isfinite(arrays.nearest(side)) & wide).sum()), int(wide.sum())
        if judged < JUDGED_SHARE * windowed:
            text = (
                f"the {side} edge could not be judged in {measured_on}, where a window was planned: "
                f"something was measured there in {judged} of the {windowed} frames in which the window is wide"
            )
            flags.append(Flag("not-measured", text))
    return tuple(flags)


def _beyond(pct: float, screen_width_mm: float) -> str:
    return f"{pct:.2f} % ({_length(pct, screen_width_mm)} on this screen)"


def _rule(rule: str) -> str:
    return f"; rule: {rule}" if rule else ""


def _limit_text(word: str, pct: float, limit_pct: float, over_pct: float, rule: str, screen_width_mm: float) -> str:
    return (
        f"{word} is {signed_pct(pct)}, limit {signed_pct(limit_pct)}: "
        f"{_beyond(over_pct, screen_width_mm)} outside{_rule(rule)}"
    )


def _edge_text(side: Side, excess_pct: float, screen_width_mm: float) -> str:
    return (
        f"content at the {side} edge is {_beyond(excess_pct, screen_width_mm)} in front of that edge"
        f"{_rule(EDGE_RULE)}; up to {EDGE_TOLERANCE_PCT:.2f} % passes, this project's own tolerance"
    )
