"""Where each eye's picture goes, what the move lays bare, and where that leaves the picture's edges.

Terms. The right eye moves by ``s_R`` and the left eye by ``s_L``, positive to the right; HIT in pixels is
``s_R − s_L``. "Hidden" is how many columns of an eye are black at a side: laid bare by the move, black already in the
source (it rides along with the picture), or covered by a window. The picture of each eye ends where its black begins,
so an edge has a parallax of its own, ``x_right_edge − x_left_edge``:

- left side: ``hidden_R − hidden_L``
- right side: ``hidden_L − hidden_R``

Content that touches an edge violates where its parallax is less (nearer) than the edge's. The cure is to hide more of
the eye of that side, the left eye at the left and the right eye at the right; here that eye is called the side's own
eye and the other one the opposite eye. In those words both sides read alike:

    edge parallax = hidden_opposite − hidden_own
    hidden_own needed for content at P  ≥  hidden_opposite − P
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
import numpy.typing as npt

from postfix.measure.table import EDGE_BANDS, ClipInfo
from postfix.plan.model import HitKey, ShotPlan, WindowKey
from postfix.plan.settings import Fill

Side = Literal["left", "right"]
SIDES: tuple[Side, Side] = ("left", "right")

Array = npt.NDArray[np.float64]
Mask = npt.NDArray[np.bool_]

BAND_BORDERS: Array = np.linspace(0.0, 1.0, EDGE_BANDS + 1)
"""Borders of the row bands, 0 at the top of the picture and 1 at its bottom."""


def split_hits_px(total_px: Array, step_px: int) -> tuple[Array, Array]:
    """Moves ``(s_L, s_R)`` of the two eyes that make each total HIT, whole multiples of ``step_px``; (n,) both.

    Half each. Where the total is an odd number of steps, the right eye takes the step more, whichever way it goes.

    Parameters
    ----------
    total_px : (n,) float64
        Multiples of ``step_px``.
    step_px : int
        Luma pixels that an eye must move by a multiple of.
    """
    steps = total_px / step_px
    right_px = np.copysign((np.abs(steps) + 1.0) // 2.0, steps) * step_px + 0.0
    return right_px - total_px, right_px


def split_px(total_px: int, step_px: int) -> tuple[int, int]:
    """:func:`split_hits_px` of one HIT."""
    left_px, right_px = split_hits_px(np.array([float(total_px)]), step_px)
    return int(left_px[0]), int(right_px[0])


def whole_hits_px(hit_px: Array, step_px: int) -> Array:
    """The HIT that a whole-pixel move really applies: the multiple of the step nearest to each.

    Halfway cases go away from zero, so that +x and −x are treated alike.
    """
    steps = hit_px / step_px
    return np.asarray(np.copysign(np.floor(np.abs(steps) + 0.5), steps) * step_px + 0.0)


def applied_hit_px(pct: float, clip: ClipInfo) -> int:
    """:func:`whole_hits_px` of one HIT in percent of width."""
    return int(whole_hits_px(np.array([pct * clip.width_px / 100.0]), clip.step_px)[0])


def covering_zooms(hit_pct: npt.ArrayLike) -> Array:
    """The least zoom about the picture's centre with which each HIT lays no column bare; the shape of ``hit_pct``.

    Each eye moves by half the HIT, h/2 of width; zooming by z pushes each side out by (z − 1)/2 of width; so
    z = 1 + |h|. Rounded up to six decimals (0.004 px on a picture 8192 wide) so that a plan can be read.
    """
    return np.asarray(1.0 + np.ceil(np.abs(hit_pct) * 1e4 - 1e-6) / 1e6)


def covering_zoom(hit_pct: float) -> float:
    """:func:`covering_zooms` of one HIT."""
    return float(covering_zooms(hit_pct))


def is_resampled(shot: ShotPlan) -> bool:
    """True where a shot is drawn anew at a zoom; False where its planes are moved as plain copies."""
    return shot.fill == "zoom" or shot.zoom != 1.0


def hit_pct_at(keys: Sequence[HitKey], frames: npt.ArrayLike) -> Array:
    """HIT in percent of width at frames of the clip, as the keys say it; (n,).

    Held before the first and after the last key, eased by ``3x² − 2x³`` between two, so that it starts and ends at
    rest.
    """
    at = np.atleast_1d(np.asarray(frames, dtype=np.float64))
    key_frames = np.array([key.frame for key in keys], dtype=np.float64)
    key_pct = np.array([key.pct for key in keys], dtype=np.float64)
    if len(keys) == 1:
        return np.full(at.shape, key_pct[0])
    after = np.clip(np.searchsorted(key_frames, at, side="right"), 1, len(keys) - 1)
    start, end = key_frames[after - 1], key_frames[after]
    share = np.clip((at - start) / (end - start), 0.0, 1.0)
    share = share * share * (3.0 - 2.0 * share)
    return np.asarray(key_pct[after - 1] + (key_pct[after] - key_pct[after - 1]) * share)


def window_px_at(shot: ShotPlan, frames: npt.ArrayLike) -> Array:
    """Pixels hidden by the window at frames of the clip; (n, 4): left top, left bottom, right top, right bottom."""
    at = np.atleast_1d(np.asarray(frames, dtype=np.float64))
    if not shot.window or shot.window_opacity_pct <= 0.0:
        return np.zeros((at.size, 4))
    key_frames = [key.frame for key in shot.window]
    key_px = np.array([(*key.left_px, *key.right_px) for key in shot.window], dtype=np.float64)
    return np.stack([np.interp(at, key_frames, key_px[:, i]) for i in range(4)], axis=1)


def widest_px(keys: Sequence[WindowKey]) -> tuple[float, float]:
    """The widest that a window gets at the left and at the right."""
    left = max((px for key in keys for px in key.left_px), default=0.0)
    return left, max((px for key in keys for px in key.right_px), default=0.0)


@dataclass(frozen=True)
class Moves:
    """What happens to the pictures of a run of frames.

    Attributes
    ----------
    left_px, right_px : (n,) float64
        Move of each eye, positive to the right; whole multiples of the clip's step unless resampled.
    zoom : float
        About the picture's centre, both ways.
    fill : Fill
    """

    left_px: Array
    right_px: Array
    zoom: float
    fill: Fill

    @property
    def hit_px(self) -> Array:
        """Total HIT applied, in pixels; (n,)."""
        return self.right_px - self.left_px


def moves_of(shot: ShotPlan, clip: ClipInfo, frames: npt.ArrayLike | None = None) -> Moves:
    """Moves that are really applied at frames of the clip (by default all of the shot's), after rounding."""
    at = np.arange(shot.first, shot.last + 1) if frames is None else np.atleast_1d(np.asarray(frames))
    # A held HIT is reckoned once for all of its frames.
    pct = hit_pct_at(shot.hit, at if len(shot.hit) > 1 else at[:1])
    if is_resampled(shot):
        right_px = pct * clip.width_px / 200.0
        left_px, zoom = -right_px, shot.zoom
    else:
        left_px, right_px = split_hits_px(whole_hits_px(pct * clip.width_px / 100.0, clip.step_px), clip.step_px)
        zoom = 1.0
    if left_px.size < at.size:
        left_px, right_px = np.full(at.size, left_px[0]), np.full(at.size, right_px[0])
    return Moves(left_px, right_px, zoom, shot.fill)


def bare_px(moves: Moves, side: Side, width_px: int) -> tuple[Array, Array]:
    """Columns that the move itself leaves black at a side, ``(left eye, right eye)``, each (n,).

    With ``crop`` both eyes lose what either lays bare there, so that the edge stays at the screen.
    """
    sign = 1.0 if side == "left" else -1.0
    overlap = (moves.zoom - 1.0) * width_px / 2.0
    left = np.maximum(sign * moves.left_px - overlap, 0.0)
    right = np.maximum(sign * moves.right_px - overlap, 0.0)
    if moves.fill == "crop":
        left = right = np.maximum(left, right)
    return left, right


def rows_after(zoom: float) -> Array:
    """Where the borders of the source's row bands lie after a zoom, 0 to 1; (EDGE_BANDS + 1,)."""
    return np.asarray(np.clip(0.5 + zoom * (BAND_BORDERS - 0.5), 0.0, 1.0))


def hidden_px_at(source_px: Array, side: Side, moves: Moves, width_px: int, rows: npt.ArrayLike) -> tuple[Array, Array]:
    """Columns hidden at a side after the move and the fill, window not counted: ``(own eye, opposite eye)``.

    Parameters
    ----------
    source_px : (n, 4) float64
        Black already in the source at that side: left eye top and bottom, right eye top and bottom.
    side : "left" or "right"
    moves : Moves
        Of the same n frames.
    width_px : int
    rows : (m,)
        Heights in the moved picture, 0 at the top and 1 at the bottom.

    Returns
    -------
    own, opposite : (n, m) float64
    """
    heights = np.asarray(rows, dtype=np.float64)
    source_heights = 0.5 + (heights - 0.5) / moves.zoom
    sign = 1.0 if side == "left" else -1.0
    overlap = (moves.zoom - 1.0) * width_px / 2.0
    eyes = []
    bares = bare_px(moves, side, width_px)
    if not source_px.any() and moves.zoom == 1.0:
        # Without black in the source the frame's own edge rides along: what is hidden is what the move lays bare.
        left, right = (np.repeat(bare[:, None], heights.size, axis=1) for bare in bares)
        return (left, right) if side == "left" else (right, left)
    for first, shift, bare in zip((0, 2), (moves.left_px, moves.right_px), bares):
        top, bottom = source_px[:, first, None], source_px[:, first + 1, None]
        black = moves.zoom * (top + (bottom - top) * source_heights)
        # Where the source has no black the frame's own edge rides along, so a move inwards lays columns bare.
        eyes.append(np.maximum(black - overlap + sign * shift[:, None], bare[:, None]))
    return (eyes[0], eyes[1]) if side == "left" else (eyes[1], eyes[0])


def edge_parallax_px(hidden_own_px: Array, hidden_opposite_px: Array) -> Array:
    """Parallax of a side edge, from the columns hidden there in the side's own eye and in the opposite one."""
    return hidden_opposite_px - hidden_own_px


def window_need_px(hidden_opposite_px: npt.ArrayLike, parallax_px: npt.ArrayLike) -> Array:
    """Columns that must be hidden in the side's own eye, counted from the frame edge, so that content at
    ``parallax_px`` (after the move) does not lie in front of the edge; never below 0."""
    opposite, parallax = np.asarray(hidden_opposite_px, np.float64), np.asarray(parallax_px, np.float64)
    return np.asarray(np.maximum(opposite - parallax, 0.0))


def changes_nothing(shot: ShotPlan, clip: ClipInfo) -> bool:
    """True where a shot's pictures come out as they went in."""
    moves = moves_of(shot, clip)
    still = not (moves.left_px.any() or moves.right_px.any()) and moves.zoom == 1.0
    seen = shot.window if shot.window_opacity_pct > 0.0 else ()
    return still and not any(any(key.left_px) or any(key.right_px) for key in seen)
