"""How the right eye lies against the left (vertical shift, rotation, size, keystone), and how that is taken out.

With x and y from the picture centre, the right eye's picture is taken to be the left's rows stretched in height by
``1 + keystone·x/width``, then turned and scaled, then shifted. Keystone is about heights only: what else it may have
done to the picture sideways cannot be told from depth, is parallax on the screen and stays in it.

A turn is one of the picture as it is shown. In stored pixels whose width over height is a, it takes ``sin/a`` of the
height across and ``sin·a`` of the place across down.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any, TypeVar

import cv2
import numpy as np
import numpy.typing as npt

from postfix.measure.proxy import Grey, Grey8

Floats = npt.NDArray[np.float64]
Box = tuple[int, int, int, int]
"""x0, y0, x1, y1 in pixels; x1 and y1 lie outside."""

_WORTH_REMOVING_PX = 0.08
_LARGE_PX = 1.5


@dataclass(frozen=True)
class Misfit:
    """Right eye against left, in proxy pixels and about the picture centre.

    NaN where the points lie too close together to tell; nothing is removed for what is NaN.

    Attributes
    ----------
    vertical_px : float
        Positive where the right picture is lower.
    rotation : float
        Radians; positive where the right picture is turned clockwise as seen.
    size : float
        1.01 where the right picture is 1 % larger.
    keystone : float
        Stretch in height of the right picture at its right side minus that at its left: 0.01 for 1 %. Zero where none
        stands out from its standard error.
    pixel_aspect : float
        Width over height of one pixel as it is shown.
    """

    vertical_px: float
    rotation: float
    size: float
    keystone: float = 0.0
    pixel_aspect: float = 1.0

    def corner_px(self, width: int, height: int) -> float:
        """Vertical displacement of that corner of a picture (proxy pixels) that is displaced most, unsigned."""
        shift, rotation, size, keystone = self._known()
        half_x, half_y = width / 2, height / 2
        return max(
            abs(shift + rotation * self.pixel_aspect * x + (size * (1.0 + keystone * x / width) - 1.0) * y)
            for x in (-half_x, half_x)
            for y in (-half_y, half_y)
        )

    def worth_removing(self, width: int, height: int) -> bool:
        """Whether any corner of a picture lies off by more than matching by rows should bear."""
        return self.corner_px(width, height) > _WORTH_REMOVING_PX

    def is_large(self, width: int, height: int) -> bool:
        """Whether it spoils a parallax map that was made with it still in."""
        return self.corner_px(width, height) > _LARGE_PX

    def in_right(self, points: npt.ArrayLike, width: float, height: float, scale: float = 1.0) -> Floats:
        """Where points (n, 2) of the straightened right picture, ``width`` by ``height``, lie in the right as it is.

        ``scale`` is pixels of that picture per proxy pixel.
        """
        shift, rotation, size, keystone = self._known()
        centre = np.array([(width - 1) / 2.0, (height - 1) / 2.0])
        x, y = (np.asarray(points, np.float64) - centre).T
        y = y * (1.0 + keystone * x / width)
        cos, sin = size * math.cos(rotation), size * math.sin(rotation)
        across, down = cos * x - sin / self.pixel_aspect * y, sin * self.pixel_aspect * x + cos * y
        return np.asarray(np.column_stack([across, down + shift * scale]) + centre, np.float64)

    def straightened(self, points: npt.ArrayLike, width: float, height: float, scale: float = 1.0) -> Floats:
        """The other way: where points (n, 2) of the right picture as it is lie once the misfit is out."""
        shift, rotation, size, keystone = self._known()
        centre = np.array([(width - 1) / 2.0, (height - 1) / 2.0])
        x, y = (np.asarray(points, np.float64) - centre - (0.0, shift * scale)).T
        cos, sin = math.cos(rotation) / size, math.sin(rotation) / size
        across = cos * x + sin / self.pixel_aspect * y
        down = (cos * y - sin * self.pixel_aspect * x) / (1.0 + keystone * across / width)
        return np.asarray(np.column_stack([across, down]) + centre, np.float64)

    def _known(self) -> tuple[float, float, float, float]:
        """Its four figures, with "none" for what could not be told."""
        values = ((self.vertical_px, 0.0), (self.rotation, 0.0), (self.size, 1.0), (self.keystone, 0.0))
        shift, rotation, size, keystone = (value if math.isfinite(value) else none for value, none in values)
        return shift, rotation, size, keystone


Picture = TypeVar("Picture", Grey, Grey8)


def without_misfit(right: Picture, misfit: Misfit, scale: float, box: Box | None = None) -> Picture:
    """The right eye, or a box of it, brought back onto the left's rows; unchanged where that is not worth it.

    Parameters
    ----------
    right : (H, W) or (H, W, channels), float32 or uint8
    misfit : Misfit
        In proxy pixels.
    scale : float
        Pixels of ``right`` per proxy pixel.
    box : tuple of 4 int, optional
        Which part of the straightened picture is wanted; the cost is that of the part. All of it unless given.

    Returns
    -------
    (y1 − y0, x1 − x0) like ``right``
        What lies outside the right picture (:func:`outside_columns`) repeats the picture's border.
    """
    height, width = right.shape[:2]
    x0, y0, x1, y1 = box or (0, 0, width, height)
    if not misfit.worth_removing(round(width / scale), round(height / scale)):
        return right[y0:y1, x0:x1]
    how: dict[str, Any] = {"borderMode": cv2.BORDER_REPLICATE}
    ends = misfit.in_right([(x0, y0), (x0 + 1, y0), (x0, y0 + 1)], width, height, scale)
    if not misfit.keystone > 0.0 and not misfit.keystone < 0.0:
        source = np.column_stack([ends[1] - ends[0], ends[2] - ends[0], ends[0]])
        straight = cv2.warpAffine(
            right, source, (x1 - x0, y1 - y0), flags=cv2.INTER_CUBIC | cv2.WARP_INVERSE_MAP, **how
        )
        return np.asarray(straight, right.dtype)
    map_x, map_y = _maps(misfit, width, height, scale, (x0, y0, x1, y1))
    return np.asarray(cv2.remap(right, map_x, map_y, cv2.INTER_CUBIC, **how), right.dtype)


def _maps(
    misfit: Misfit, width: int, height: int, scale: float, box: Box
) -> tuple[npt.NDArray[np.float32], npt.NDArray[np.float32]]:
    """Where each pixel of a box of the straightened picture lies in the right picture; both linear along a row."""
    x0, y0, x1, y1 = box
    rows = np.arange(y0, y1)
    first, last = (
        misfit.in_right(np.column_stack([np.full(len(rows), x), rows]), width, height, scale) for x in (x0, x1)
    )
    share = (np.arange(x1 - x0, dtype=np.float32) / np.float32(x1 - x0))[None, :]
    start, step = (a.astype(np.float32)[:, :, None] for a in (first, last - first))
    return start[:, 0] + share * step[:, 0], start[:, 1] + share * step[:, 1]


def outside_columns(
    misfit: Misfit, width: int, height: int, scale: float = 1.0
) -> tuple[npt.NDArray[np.int32], npt.NDArray[np.int32]]:
    """How many columns of each row of the straightened picture lie outside the right picture.

    Parameters
    ----------
    width, height : int
        Of that picture; ``scale`` is its pixels per proxy pixel.

    Returns
    -------
    left, right : (height,) int32
        Counted from the left and from the right border; ``width`` in both where all of a row lies outside.
    """
    left, right = np.zeros((2, height), np.int32)
    if not misfit.worth_removing(round(width / scale), round(height / scale)):
        return left, right
    rows = np.arange(height)
    first, last = (misfit.in_right(np.column_stack([np.full(height, x), rows]), width, height, scale) for x in (0, 1))
    low, high = np.zeros(height), np.full(height, width - 1.0)
    for axis, size in ((0, width), (1, height)):
        at, step = first[:, axis], last[:, axis] - first[:, axis]
        level = np.abs(step) < 1e-12
        step = np.where(level, 1.0, step)
        # Half a pixel beyond the outermost sample is still that pixel.
        ends = np.sort(np.stack([(-0.5 - at) / step, (size - 0.5 - at) / step]), axis=0)
        within = (at >= -0.5) & (at <= size - 0.5)
        low = np.maximum(low, np.where(level, np.where(within, 0.0, np.inf), ends[0]))
        high = np.minimum(high, np.where(level, np.where(within, np.inf, -np.inf), ends[1]))
    seen = low <= high
    left[:] = np.where(seen, np.ceil(np.where(seen, low, 0.0)), width)
    right[:] = np.where(seen, width - 1 - np.floor(np.where(seen, high, 0.0)), width)
    return left, right
