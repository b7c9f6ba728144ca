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
from functools import cached_property, lru_cache
from typing import Literal

import numpy as np
import numpy.typing as npt

from postfix.measure.table import EDGE_BANDS, ClipInfo
from postfix.plan.aligning import aligning_zooms, beyond_frame_px, depth_stretch, eye_turns
from postfix.plan.model import HitKey, Misalignment, ShotPlan, WindowKey
from postfix.plan.placement import Placement
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


def covering_zooms(hit_pct: npt.ArrayLike, spare_share: float = 0.0) -> Array:
    """The least zoom about the picture's centre with which each HIT lays no column bare; the shape of ``hit_pct``.

    Each eye moves by half the HIT, h/2 of width; zooming by z pushes each side of a picture that has a share ``p`` of
    width to spare beyond the frame's side out by z · (1/2 + p) − 1/2 of width; so z = (1 + |h|) / (1 + 2p), and never
    less than 1. Rounded up to six decimals (0.004 px on a picture 8192 wide) so that a plan can be read.
    """
    more = (1.0 + np.abs(hit_pct) / 100.0) / (1.0 + 2.0 * spare_share) - 1.0 if spare_share else np.abs(hit_pct) / 100.0
    return np.asarray(1.0 + np.maximum(np.ceil(np.asarray(more) * 1e6 - 1e-6), 0.0) / 1e6)


def covering_zoom(hit_pct: float, spare_share: float = 0.0) -> float:
    """:func:`covering_zooms` of one HIT."""
    return float(covering_zooms(hit_pct, spare_share))


@dataclass(frozen=True)
class Drawing:
    """How a shot's pictures are made, whatever its HIT.

    Attributes
    ----------
    fill : Fill
    subpixel : bool
        Whether the HIT is applied to a fraction of a pixel.
    misalignment : Misalignment or None
        What is taken out of the pictures.
    """

    fill: Fill = "hide"
    subpixel: bool = False
    misalignment: Misalignment | None = None

    @property
    def is_resampled(self) -> bool:
        """True where pictures are drawn anew at any HIT."""
        return self.fill == "zoom" or self.subpixel or self.misalignment is not None

    @property
    def depth_stretch(self) -> float:
        """What parallax is multiplied by besides the zoom."""
        return 1.0 if self.misalignment is None else depth_stretch(self.misalignment)

    def stretches(self, hit_pct: npt.ArrayLike, clip: ClipInfo) -> Array:
        """What parallax is multiplied by with each HIT; the shape of ``hit_pct``."""
        return self.zooms(hit_pct, clip) * self.depth_stretch

    def zooms(self, hit_pct: npt.ArrayLike, clip: ClipInfo) -> Array:
        """The zoom that goes with each HIT: it covers what is laid bare by the move, where ``fill`` asks for that, and
        by aligning; the shape of ``hit_pct``."""
        hits = np.asarray(hit_pct, dtype=np.float64)
        covers = self.fill == "zoom"
        if self.misalignment is None:
            return covering_zooms(hits, clip.spare_px / clip.width_px) if covers else np.ones(hits.shape)
        least = aligning_zooms(self.misalignment, clip, hits.ravel() * clip.width_px / 100.0, sides_too=covers)
        return np.asarray(1.0 + np.ceil((least - 1.0) * 1e6 - 1e-6) / 1e6).reshape(hits.shape)


def drawing_of(shot: ShotPlan) -> Drawing:
    """How a shot's pictures are made."""
    return Drawing(shot.fill, shot.subpixel, shot.misalignment if shot.align else None)


def is_resampled(shot: ShotPlan) -> bool:
    """True where a shot is drawn anew, at a zoom, at fractions of a pixel or aligned; False where its planes are moved
    as plain copies."""
    return shot.zoom != 1.0 or shot.fill == "zoom" or shot.subpixel or (shot.align and shot.misalignment is not None)


def zoom_of(shot: ShotPlan, clip: ClipInfo) -> float:
    """The zoom that a shot is really drawn at, the same for both eyes but for what aligning changes in size: its own,
    and where it is aligned at least what lays nothing bare."""
    if not shot.align or shot.misalignment is None:
        return shot.zoom
    return max(shot.zoom, float(drawing_of(shot).zooms([key.pct for key in shot.hit], clip).max()))


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
        About the picture's centre, both ways; what parallax is multiplied by.
    fill : Fill
    spare_px : int
        Columns of picture that there are beyond each side of the frame before the zoom.
    beyond_px : ((float, float), (float, float)) or None
        Of an aligned picture: columns of it beyond the frame before the move, in the row that has fewest, at the left
        (left eye, right eye) and at the right. None where they follow from zoom and spare columns.
    """

    left_px: Array
    right_px: Array
    zoom: float
    fill: Fill
    spare_px: int = 0
    beyond_px: tuple[tuple[float, float], tuple[float, float]] | None = None

    @cached_property
    def hit_px(self) -> Array:
        """Total HIT applied, in pixels; (n,)."""
        return self.right_px - self.left_px

    @cached_property
    def is_held(self) -> bool:
        """Whether the HIT is the same in all frames."""
        return bool((self.hit_px == self.hit_px[0]).all())

    def beyond(self, side: Side, width_px: int) -> tuple[float, float]:
        """Columns of picture beyond the frame at a side before the move, (left eye, right eye)."""
        if self.beyond_px is not None:
            return self.beyond_px[SIDES.index(side)]
        columns = (self.zoom - 1.0) * width_px / 2.0 + self.zoom * self.spare_px
        return columns, columns


def held_moves(drawing: Drawing, clip: ClipInfo, left_px: Array, right_px: Array, zoom: float) -> Moves:
    """Moves of frames that are drawn in one way and at one zoom, that of :func:`zoom_of`."""
    beyond = None if drawing.misalignment is None else beyond_frame_px(drawing.misalignment, clip, zoom)
    return Moves(left_px, right_px, zoom * drawing.depth_stretch, drawing.fill, clip.spare_px, beyond)


def eye_moves_px(hit_px: Array, step_px: int, *, resampled: bool) -> tuple[Array, Array]:
    """Moves ``(s_L, s_R)`` of the two eyes that are really applied for each HIT: half each where pictures are drawn
    anew, else the nearest whole steps."""
    if resampled:
        return -hit_px / 2.0, hit_px / 2.0
    return split_hits_px(whole_hits_px(hit_px, step_px), step_px)


@lru_cache(maxsize=4096)
def _held_eyes_px(hit_px: float, step_px: int, resampled: bool) -> tuple[float, float]:
    """:func:`eye_moves_px` of one HIT; a shot's is asked for again and again."""
    left_px, right_px = eye_moves_px(np.array([hit_px]), step_px, resampled=resampled)
    return float(left_px[0]), float(right_px[0])


def moves_of(shot: ShotPlan, clip: ClipInfo, frames: npt.ArrayLike | None = None) -> Moves:
    """Moves that are really applied at frames of the clip (by default all of the shot's), after rounding."""
    at = np.arange(shot.first, shot.last + 1) if frames is None else np.atleast_1d(np.asarray(frames))
    if len(shot.hit) == 1:
        hit_px = float(shot.hit[0].pct) * clip.width_px / 100.0
        left_px, right_px = (np.full(at.size, px) for px in _held_eyes_px(hit_px, clip.step_px, is_resampled(shot)))
    else:
        moving_px = hit_pct_at(shot.hit, at) * clip.width_px / 100.0
        left_px, right_px = eye_moves_px(moving_px, clip.step_px, resampled=is_resampled(shot))
    return held_moves(drawing_of(shot), clip, left_px, right_px, zoom_of(shot, clip))


def stretch_of(shot: ShotPlan, clip: ClipInfo) -> float:
    """What a shot's parallax is multiplied by before its HIT is added."""
    return zoom_of(shot, clip) * drawing_of(shot).depth_stretch


def placements(shot: ShotPlan, clip: ClipInfo, frame: int) -> tuple[Placement, Placement]:
    """Where the pictures of (left, right) go in a frame of the clip.

    Unless :func:`is_resampled`, ``right_px`` is a whole multiple of the clip's step and nothing else differs from
    :data:`postfix.plan.placement.STILL`.
    """
    moves, zoom = moves_of(shot, clip, [frame]), zoom_of(shot, clip)
    shifts = (float(moves.left_px[0]), float(moves.right_px[0]))
    misalignment = drawing_of(shot).misalignment
    if misalignment is None:
        return Placement(zoom, shifts[0]), Placement(zoom, shifts[1])
    left, right = (
        Placement(zoom * eye.zoom, shift + zoom * eye.right_px, zoom * eye.down_px, eye.turn_deg, eye.pixel_aspect)
        for eye, shift in zip(eye_turns(misalignment, float(clip.pixel_aspect)), shifts)
    )
    return left, right


def bare_px(moves: Moves, side: Side, width_px: int) -> tuple[Array, Array]:
    """Columns that the move itself leaves black at a side, ``(left eye, right eye)``, each (n,).

    With ``crop`` both eyes lose what either lays bare there, so that the edge stays at the screen.
    """
    sign = 1.0 if side == "left" else -1.0
    left, right = (
        np.maximum(sign * shift - beyond, 0.0)
        for shift, beyond in zip((moves.left_px, moves.right_px), moves.beyond(side, width_px))
    )
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
    eyes = []
    bares = bare_px(moves, side, width_px)
    if not source_px.any() and moves.zoom == 1.0:
        # Without black in the source the frame's own edge rides along: what is hidden is what the move lays bare.
        left, right = (np.repeat(bare[:, None], heights.size, axis=1) for bare in bares)
        return (left, right) if side == "left" else (right, left)
    beyond_px = moves.beyond(side, width_px)
    for first, shift, bare, beyond in zip((0, 2), (moves.left_px, moves.right_px), bares, beyond_px):
        top, bottom = source_px[:, first, None], source_px[:, first + 1, None]
        black = moves.zoom * (top + (bottom - top) * source_heights)
        overlap = beyond - moves.zoom * moves.spare_px
        # Where the source has no black the picture's own edge rides along, so a move inwards lays columns bare.
        riding = np.where(black > 0.0, black - overlap + sign * shift[:, None], 0.0)
        eyes.append(np.maximum(riding, bare[:, None]))
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
    moves, misalignment = moves_of(shot, clip), drawing_of(shot).misalignment
    still = not (moves.left_px.any() or moves.right_px.any()) and zoom_of(shot, clip) == 1.0
    still = still and (misalignment is None or misalignment.is_none)
    seen = shot.window if shot.window_opacity_pct > 0.0 else ()
    return still and not any(any(key.left_px) or any(key.right_px) for key in seen)
