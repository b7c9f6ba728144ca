"""Drawing a surface as it is seen: a canvas over part of the picture, and shapes with smooth edges on it."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field

import cv2
import numpy as np
import numpy.typing as npt

from postfix.demo.camera import Matrix, Rig
from postfix.demo.surfaces import OPAQUE, Surface, Texture, on_plane, still
from postfix.demo.textures import Array, Colour, Grid, grid_from

Points = Sequence[tuple[float, float]]

_SOFTNESS_PX = 0.5
"""Standard deviation of the lens's own blur, picture pixels."""

_FINER = 4
"""Shapes are drawn this many times larger and averaged down, so that their edges are smooth."""


@dataclass(frozen=True)
class Canvas:
    """Part of the picture, seen midway between the eyes, on which one surface is drawn.

    Attributes
    ----------
    box_px : tuple of 4 floats
        Left, top, right and bottom of the part; pixel i spans i − 0.5 to i + 0.5.
    density : float
        Texture pixels per picture pixel.
    colour, cover : ndarray, (rows, columns, 3) and (rows, columns) float32
        What has been drawn; changed in place while drawing.
    """

    box_px: tuple[float, float, float, float]
    density: float
    colour: Array = field(repr=False)
    cover: Array = field(repr=False)

    @property
    def picture_from_texture(self) -> Matrix:
        """Texture pixels to picture pixels, (3, 3)."""
        step = 1.0 / self.density
        x0, y0 = self.box_px[:2]
        return np.array([[step, 0.0, x0 + step / 2.0], [0.0, step, y0 + step / 2.0], [0.0, 0.0, 1.0]])

    def _positions(self) -> tuple[npt.NDArray[np.float64], npt.NDArray[np.float64]]:
        rows, columns = self.cover.shape
        xs = self.box_px[0] + (np.arange(columns) + 0.5) / self.density
        ys = self.box_px[1] + (np.arange(rows) + 0.5) / self.density
        x, y = np.meshgrid(xs, ys)
        return x, y

    def view(self) -> Grid:
        """Even grid in picture pixels."""
        return grid_from(*self._positions(), self.density, even=True)

    def facing(self, pixels_per_metre: float) -> Grid:
        """Even grid in metres for a surface that faces the camera."""
        x, y = self._positions()
        return grid_from(x / pixels_per_metre, y / pixels_per_metre, self.density, even=True)

    def ground(self, rig: Rig, depth_row: tuple[float, float, float]) -> Grid:
        """Grid of a level plane: s to the right, t away from the camera."""
        x, y = self._positions()
        depth = 1.0 / (depth_row[0] * x + depth_row[1] * y + depth_row[2])
        centre_x = rig.middle()[0, 2]
        return grid_from((x - centre_x) / rig.focal_px * depth, depth, self.density)

    def upright(self, rig: Rig, depth_row: tuple[float, float, float]) -> Grid:
        """Grid of an upright plane: s away from the camera, t down."""
        x, y = self._positions()
        depth = 1.0 / (depth_row[0] * x + depth_row[1] * y + depth_row[2])
        centre_y = rig.middle()[1, 2]
        return grid_from(depth, (y - centre_y) / rig.focal_px * depth, self.density)

    def fill(self, colour: Array | Colour) -> None:
        """Cover all of the canvas."""
        self.colour[...] = colour
        self.cover[...] = 1.0

    def paint(self, mask: Array, colour: Array | Colour, *, opacity: float = 1.0, inside: bool = False) -> None:
        """Lay a colour over the canvas where ``mask`` is above 0; ``inside`` leaves bare canvas bare."""
        share = mask * np.float32(opacity)
        if inside:
            share = share * (self.cover > 0.0)
        rows, columns = np.nonzero(share.any(axis=1))[0], np.nonzero(share.any(axis=0))[0]
        if rows.size == 0:
            return
        part = (slice(rows[0], rows[-1] + 1), slice(columns[0], columns[-1] + 1))
        over = share[part]
        new = np.asarray(colour, np.float32)
        new = new[part] if new.ndim == 3 else new
        cover = over + self.cover[part] * (1.0 - over)
        old_weight = self.cover[part] * (1.0 - over)
        total = np.maximum(cover, 1e-6)[..., None]
        self.colour[part] = (new * over[..., None] + self.colour[part] * old_weight[..., None]) / total
        if not inside:
            self.cover[part] = cover

    def polygon(self, points: Points) -> Array:
        """Coverage of a polygon given in picture pixels, (rows, columns) 0 to 1."""
        return self._mask([points], None)

    def strokes(self, lines: Sequence[Points], width_px: float) -> Array:
        """Coverage of open lines of one width."""
        return self._mask(lines, width_px)

    def disc(self, x: float, y: float, radius_x: float, radius_y: float | None = None, turn: float = 0.0) -> Array:
        """Coverage of an ellipse, ``turn`` degrees clockwise."""
        angles = np.linspace(0.0, 2.0 * np.pi, 160, endpoint=False)
        a, b = radius_x * np.cos(angles), (radius_x if radius_y is None else radius_y) * np.sin(angles)
        c, s = np.cos(np.radians(turn)), np.sin(np.radians(turn))
        return self._mask([list(zip(x + a * c - b * s, y + a * s + b * c))], None)

    def lettering(self, text: str, middle_px: tuple[float, float], height_px: float, weight: float) -> Array:
        """Coverage of a line of capitals about ``height_px`` high, ``weight`` stroke widths of that height thick."""
        scale = self.density * _FINER
        face = cv2.FONT_HERSHEY_DUPLEX
        thickness = max(1, round(weight * height_px * scale))
        size = cv2.getFontScaleFromHeight(face, round(height_px * scale), thickness)
        (width, height), _ = cv2.getTextSize(text, face, size, thickness)
        big = np.zeros(tuple(n * _FINER for n in self.cover.shape), np.uint8)
        x = (middle_px[0] - self.box_px[0]) * scale - width / 2.0
        y = (middle_px[1] - self.box_px[1]) * scale + height / 2.0
        cv2.putText(big, text, (round(x), round(y)), face, size, (255,), thickness, cv2.LINE_8)
        return _averaged(big)

    def _mask(self, shapes: Sequence[Points], width_px: float | None) -> Array:
        """Coverage of polygons, or of open lines where a width is given."""
        rows, columns = self.cover.shape
        out = np.zeros((rows, columns), np.float32)
        scale = self.density * _FINER
        at = [(np.asarray(points, np.float64) - self.box_px[:2]) * scale for points in shapes]
        margin = scale * (1.0 if width_px is None else width_px + 1.0)
        limits = np.array([columns, rows]) * _FINER
        low = np.clip(np.min([a.min(axis=0) for a in at], axis=0) - margin, 0, limits).astype(int) // _FINER
        high = -(-np.clip(np.max([a.max(axis=0) for a in at], axis=0) + margin, 0, limits).astype(int) // _FINER)
        if np.any(high <= low):
            return out
        big = np.zeros(((high[1] - low[1]) * _FINER, (high[0] - low[0]) * _FINER), np.uint8)
        for points in at:
            fixed = np.round((points - low * _FINER - 0.5) * 16.0).astype(np.int32).reshape(-1, 1, 2)
            if width_px is None:
                cv2.fillPoly(big, [fixed], (255,), cv2.LINE_8, 4)
            else:
                cv2.polylines(big, [fixed], False, (255,), max(1, round(width_px * scale)), cv2.LINE_8, 4)
        out[low[1] : high[1], low[0] : high[0]] = _averaged(big)
        return out

    def texture(self) -> Texture:
        """The drawing with its coverage, (rows, columns, 4) uint16, colours multiplied by coverage."""
        out = np.empty((*self.cover.shape, 4), np.float32)
        out[..., :3] = np.clip(self.colour, 0.0, 1.0) * self.cover[..., None]
        out[..., 3] = self.cover
        # No lens draws an edge as sharp as a polygon; sharper than the pixel grid carries, it would sit in a slightly
        # wrong place in each eye, and its parallax would no longer be exact.
        out = cv2.GaussianBlur(out, (0, 0), _SOFTNESS_PX * self.density, borderType=cv2.BORDER_REPLICATE)
        return np.asarray(np.rint(out * OPAQUE), dtype=np.uint16)

    def surface(
        self,
        name: str,
        rig: Rig,
        depth_row: tuple[float, float, float],
        motion: Callable[[int], Matrix] | None = None,
    ) -> Surface:
        """The drawing as a surface on the plane whose 1/Z is given; ``motion`` moves it in the picture, (3, 3)."""
        if motion is None:
            return Surface(name, self.texture(), still(on_plane(rig, depth_row, self.picture_from_texture)))
        move, inner = motion, self.picture_from_texture
        return Surface(name, self.texture(), lambda frame: on_plane(rig, depth_row, move(frame) @ inner))


def _averaged(big: npt.NDArray[np.uint8]) -> Array:
    size = (big.shape[1] // _FINER, big.shape[0] // _FINER)
    small = cv2.resize(big, size, interpolation=cv2.INTER_AREA)
    return np.asarray(small, np.float32) / np.float32(255.0)


def soft(mask: Array, radius_px: float) -> Array:
    """A mask with a soft edge, for shadows and light; ``radius_px`` in texture pixels."""
    return np.asarray(cv2.GaussianBlur(mask, (0, 0), radius_px), np.float32)


def canvas(box_px: tuple[float, float, float, float], density: float = 1.5) -> Canvas:
    """An empty canvas over part of the picture."""
    columns = max(4, round((box_px[2] - box_px[0]) * density))
    rows = max(4, round((box_px[3] - box_px[1]) * density))
    return Canvas(box_px, density, np.zeros((rows, columns, 3), np.float32), np.zeros((rows, columns), np.float32))


def moved(x: float, y: float, turn_deg: float = 0.0, lean: float = 0.0) -> Matrix:
    """Turn clockwise about (0, 0), lean (columns gained per row), then move to (x, y): picture to picture, (3, 3)."""
    c, s = np.cos(np.radians(turn_deg)), np.sin(np.radians(turn_deg))
    slanted = np.array([[1.0, lean, x], [0.0, 1.0, y], [0.0, 0.0, 1.0]])
    return np.asarray(slanted @ np.array([[c, -s, 0.0], [s, c, 0.0], [0.0, 0.0, 1.0]]), dtype=np.float64)


def facing_at(rig: Rig, parallax_pct: float) -> tuple[float, float, float]:
    """1/Z of a plane that faces the camera at this parallax."""
    return 0.0, 0.0, rig.inverse_depth(parallax_pct)


def floor_at(rig: Rig, height_m: float) -> tuple[float, float, float]:
    """1/Z of a level plane ``height_m`` below the camera (negative: above)."""
    slope = 1.0 / (rig.focal_px * height_m)
    return 0.0, slope, -slope * float(rig.middle()[1, 2])


def wall_at(rig: Rig, offset_m: float) -> tuple[float, float, float]:
    """1/Z of an upright plane parallel to the axes, ``offset_m`` to the right of the camera (negative: left)."""
    slope = 1.0 / (rig.focal_px * offset_m)
    return slope, 0.0, -slope * float(rig.middle()[0, 2])
