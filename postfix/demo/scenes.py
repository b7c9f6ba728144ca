"""A scene: surfaces seen by a rig. Renders any frame of either eye and knows the exact parallax of every pixel."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import lru_cache

import cv2
import numpy as np
import numpy.typing as npt

from postfix.demo.camera import EYE_SIGN, Eye, Matrix, Rig
from postfix.demo.surfaces import OPAQUE, Placed, Surface, is_empty, linear, sample, see
from postfix.demo.truth import Map, Mask, Truth, edge_rows_pct, summarise

Picture = npt.NDArray[np.float32]

GRAIN_SHARE = 0.004
"""Film grain, standard deviation as a share of full scale, so that pictures are not unnaturally clean."""

_GRAIN_MARGIN_PX = 64


@dataclass(frozen=True)
class Scene:
    """Surfaces from back to front, and the rig that sees them.

    Attributes
    ----------
    surfaces : tuple of Surface
        In the order they are laid over each other. Each must be nearer than those before it wherever they overlap;
        :meth:`out_of_order` tells.
    rig_at : callable
        Frame number to :class:`Rig`.
    grain : float
        Standard deviation of the grain, share of full scale; 0 for none.
    seed : int
        Of the grain.
    """

    surfaces: tuple[Surface, ...]
    rig_at: Callable[[int], Rig]
    grain: float = GRAIN_SHARE
    seed: int = 0

    def render(self, frame: int) -> tuple[Picture, Picture]:
        """Both eyes of a frame, left and right, each (H, W, 3) float32 RGB, 0 to 1; the same for the same frame."""
        rig = self.rig_at(frame)
        return self._render_eye(rig, "left", frame), self._render_eye(rig, "right", frame)

    def _render_eye(self, rig: Rig, eye: Eye, frame: int) -> Picture:
        picture = np.zeros((rig.height_px, rig.width_px, 3), np.float32)
        for placed in self._placed(rig, eye, frame):
            _lay_over(picture, placed)
        if self.grain > 0.0:
            _add_grain(picture, eye, np.random.default_rng((self.seed, frame, int(EYE_SIGN[eye]) + 1)), self.grain)
        return np.clip(picture, 0.0, 1.0, out=picture)

    def _placed(self, rig: Rig, eye: Eye, frame: int) -> list[Placed]:
        return [see(surface, rig, eye, frame) for surface in self.surfaces]

    def truth(self, frame: int) -> Truth:
        """Exact parallax, visibility and figures of a frame."""
        rig = self.rig_at(frame)
        left, right = self._placed(rig, "left", frame), self._placed(rig, "right", frame)
        left_parallax, left_seen, left_surface = _exact(left, right, rig, 1.0)
        right_parallax, right_seen, right_surface = _exact(right, left, rig, -1.0)
        left_rows, right_rows = edge_rows_pct(left_parallax, right_parallax, left_seen, right_seen)
        return Truth(
            left_parallax,
            right_parallax,
            left_seen,
            right_seen,
            left_surface,
            right_surface,
            summarise(left_parallax, right_parallax, left_seen, right_seen),
            left_rows,
            right_rows,
        )

    def out_of_order(self, frame: int, eye: Eye = "left") -> float:
        """Share of the picture where a surface covers one that is nearer; 0 when the order is right."""
        rig = self.rig_at(frame)
        nearest = np.zeros((rig.height_px, rig.width_px))
        wrong = np.zeros(nearest.shape, bool)
        for placed in self._placed(rig, eye, frame):
            if is_empty(placed.box):
                continue
            x0, y0, x1, y1 = placed.box
            here = _is_opaque(placed.surface.texture, placed.texture_from_picture, placed.box)
            depth = linear(placed.inverse_depth_row, placed.box)
            before = nearest[y0:y1, x0:x1]
            wrong[y0:y1, x0:x1] |= here & (depth < before - 1e-9)
            before[here] = np.maximum(before, depth)[here]
        return float(wrong.mean())


def _lay_over(picture: Picture, placed: Placed) -> None:
    if is_empty(placed.box):
        return
    x0, y0, x1, y1 = placed.box
    top = sample(placed.surface.texture, placed.texture_from_picture, placed.box)
    below = picture[y0:y1, x0:x1]
    colour = top[..., :3].astype(np.float32)
    colour *= np.float32(1.0 / OPAQUE)
    cover = top[..., 3]
    if cover.min() < OPAQUE:
        below *= (1.0 - cover.astype(np.float32) * np.float32(1.0 / OPAQUE))[..., None]
        below += colour
    else:
        below[...] = colour


@lru_cache(maxsize=4)
def _grain_tile(height: int, width: int, eye: Eye) -> Picture:
    rng = np.random.default_rng((height, width, int(EYE_SIGN[eye]) + 1))
    tile: Picture = rng.standard_normal((height, width, 3), np.float32)
    tile.setflags(write=False)
    return tile


def _add_grain(picture: Picture, eye: Eye, rng: np.random.Generator, sigma: float) -> None:
    # Drawing fresh noise for every frame would take longer than the picture: a cut-out of a noise tile, at a place
    # that differs from frame to frame, from a tile that differs from eye to eye, is as good.
    height, width = picture.shape[:2]
    tile = _grain_tile(height + _GRAIN_MARGIN_PX, width + _GRAIN_MARGIN_PX, eye)
    y, x = (int(v) for v in rng.integers(0, _GRAIN_MARGIN_PX + 1, 2))
    step = int(rng.choice((-1, 1)))
    picture += np.float32(sigma) * tile[y : y + height, x : x + width][:, ::step]


def _is_opaque(texture: npt.NDArray[np.uint16], texture_from_picture: Matrix, box: tuple[int, int, int, int]) -> Mask:
    cover = np.ascontiguousarray(texture[..., 3])
    return np.asarray(sample(cover, texture_from_picture, box) >= OPAQUE / 2.0)


def _exact(own: list[Placed], other: list[Placed], rig: Rig, sign: float) -> tuple[Map, Mask, npt.NDArray[np.int16]]:
    """Parallax, both-eyes mask and surface index of one eye; ``sign`` is +1 where the other eye's x is x + P."""
    shape = (rig.height_px, rig.width_px)
    index = np.full(shape, -1, np.int16)
    for number, placed in enumerate(own):
        if not is_empty(placed.box):
            x0, y0, x1, y1 = placed.box
            here = _is_opaque(placed.surface.texture, placed.texture_from_picture, placed.box)
            index[y0:y1, x0:x1][here] = number
    parallax = np.full(shape, np.nan, np.float32)
    seen = np.zeros(shape, bool)
    for number, placed in enumerate(own):
        mine = index == number
        if not mine.any():
            continue
        x, y, w, h = cv2.boundingRect(mine.astype(np.uint8))
        box = (x, y, x + w, y + h)
        inside = mine[y : y + h, x : x + w]
        values = linear(placed.parallax_row, box)
        parallax[y : y + h, x : x + w][inside] = values[inside]
        partner = np.arange(x, x + w)[None, :] + sign * values
        free = (partner >= -0.5) & (partner <= rig.width_px - 0.5)
        across = np.eye(3)
        across[0] += sign * placed.parallax_row
        for nearer in other[number + 1 :]:
            if not is_empty(nearer.box):
                free &= ~_is_opaque(nearer.surface.texture, nearer.texture_from_picture @ across, box)
        seen[y : y + h, x : x + w][inside] = free[inside]
    return parallax, seen, index
