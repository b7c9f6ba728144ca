"""The pixels of things that stand out in one eye, and what tells a thing of one eye from an accident of the map."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import cv2
import numpy as np
import numpy.typing as npt

from postfix.measure.overlay import CELL_PX, STEP, Flags, Floats, Overlay
from postfix.measure.proxy import Grey8

Ints = npt.NDArray[np.intp]
Floats64 = npt.NDArray[np.float64]

_RING_PX = 3
"""Width of the surroundings that a thing is compared with."""

_ALIKE = 0.85
"""Correlation of the two eyes within a thing from which only its brightness or sharpness differs."""

_LARGE_PIXELS = 60
_UNEVEN_CODES = 4.0
_BY_DIFFERENCE = 2

_BLACK_OF_LEVEL = 0.4
_BLACK_SIDE = 0.02

_SAMPLES = 40


@dataclass(frozen=True)
class Pixels:
    """The pixels of some things and of a ring around each, all arrays (pixels,).

    Attributes
    ----------
    thing : int
        Which of ``count`` things.
    core : bool
        Whether it is one of the thing's own pixels.
    y, x : int
        In the left eye.
    own, other : float32
        Codes in the left eye and in the one laid over it.
    parallax : float32
    """

    count: int
    thing: Ints
    core: Flags
    y: Ints
    x: Ints
    own: Floats
    other: Floats
    parallax: Floats

    @cached_property
    def _group(self) -> Ints:
        return np.where(self.core, self.thing, self.thing + self.count)

    @cached_property
    def _number(self) -> Floats64:
        return np.maximum(np.bincount(self._group, minlength=2 * self.count), 1).astype(np.float64)

    def _means(self, values: Floats | Flags) -> Floats64:
        """Over each thing, and over the ring around it, (2, things)."""
        sums = np.bincount(self._group, values, 2 * self.count)
        return np.asarray(sums / self._number, np.float64).reshape(2, self.count)

    @cached_property
    def _levels(self) -> tuple[Floats64, Floats64]:
        return self._means(self.own), self._means(self.other)

    @cached_property
    def _squares(self) -> tuple[Floats64, Floats64]:
        own, other = self._levels
        return (
            np.maximum(self._means(self.own * self.own) - own * own, 0.0),
            np.maximum(self._means(self.other * self.other) - other * other, 0.0),
        )

    def alike(self) -> Flags:
        """Things that look the same in both eyes but for brightness."""
        (own, other), (own_square, other_square) = self._levels, self._squares
        product = self._means(self.own * self.other)[0] - own[0] * other[0]
        return np.asarray(product > _ALIKE * np.sqrt(own_square[0] * other_square[0]) + 1e-3, np.bool_)

    def in_mask(self, cells: Flags) -> Flags:
        """Things that lie mostly in a mask over cells."""
        if not cells.any():
            return np.zeros(self.count, np.bool_)
        rows = np.minimum(self.y // CELL_PX, cells.shape[0] - 1)
        columns = np.minimum(self.x // CELL_PX, cells.shape[1] - 1)
        return np.asarray(self._means(cells[rows, columns])[0] > 0.5)

    def is_black_side(self, shape: tuple[int, int]) -> Flags:
        """Things that are evenly black in one eye and touch the frame: a bar or window, which is no rivalry."""
        landing = self.x + self.parallax
        near = _BLACK_SIDE * shape[1]
        touching = (np.minimum(self.x, landing) <= near) | (np.maximum(self.x, landing) >= shape[1] - near)
        touching |= (self.y <= 2) | (self.y >= shape[0] - 3)
        found = np.zeros(self.count, np.bool_)
        if touching.any():
            for eye, level in zip((self.own, self.other), self._levels):
                # A window's last column may be mixed with the picture.
                most = (eye.min() + _BLACK_OF_LEVEL * (level[1] - eye.min()))[self.thing]
                found |= np.bincount(self.thing, (eye <= most) & self._odd, self.count) > 0.8 * self.areas()
        return np.asarray(found & (self._means(touching)[0] > 0))

    def stands_out(self) -> Floats64:
        """How much a thing differs from what is around it in each eye, in level or in unevenness, (2, things)."""
        large = self.large()
        # The pixels that differ most are the thing; the others of a small one are its soft border.
        weight = np.where(self.core, (self.own - self.other) ** _BY_DIFFERENCE, np.float32(0.0))
        total = np.bincount(self.thing, weight, self.count) + 1e-6
        figures = []
        for eye, level, square in zip((self.own, self.other), self._levels, self._squares):
            peak = np.bincount(self.thing, eye * weight, self.count) / total
            uneven, usual = np.sqrt(square) + _UNEVEN_CODES
            by_level = np.abs(peak - level[1]) / usual
            figures.append(by_level + np.where(large, np.abs(np.log(uneven / usual)), 0.0))
        return np.stack(figures)

    def large(self) -> Flags:
        """Things large enough to have an unevenness of their own."""
        return np.asarray(self._number[: self.count] >= _LARGE_PIXELS)

    @cached_property
    def _odd(self) -> Flags:
        """Pixels that differ by a good part of what their thing differs by."""
        differs = np.abs(self.own - self.other)
        return np.asarray(self.core & (differs >= 0.5 * self._means(differs)[0][self.thing]))

    def areas(self) -> npt.NDArray[np.intp]:
        """Pixels of each thing itself."""
        return np.bincount(self.thing[self._odd], minlength=self.count)

    def moved(self) -> Floats64:
        """Mean parallax of each thing."""
        return np.asarray(self._means(self.parallax)[0])


def pixels_around(left: Grey8, overlay: Overlay, labels: npt.NDArray[np.uint16], wanted: Ints) -> Pixels:
    size = 2 * _RING_PX + 1
    wide = np.asarray(cv2.dilate(labels, np.ones((size, size), np.uint8)), np.uint16)
    number = np.full(int(labels.max()) + 1, -1, np.intp)
    number[wanted] = np.arange(wanted.size)
    at = np.flatnonzero(wide)
    thing = number[wide.ravel()[at]]
    at, thing = at[thing >= 0], thing[thing >= 0]
    ys, xs = np.divmod(at, left.shape[1])
    return Pixels(
        wanted.size,
        thing,
        labels[ys, xs] > 0,
        ys,
        xs,
        left[ys, xs].astype(np.float32),
        overlay.right[ys, xs].astype(np.float32),
        overlay.parallax[ys // STEP, xs // STEP],
    )


def some_of_each(pixels: Pixels) -> Ints:
    """Pixels evenly picked, at most about :data:`_SAMPLES` of each thing, in the order of the things."""
    order = np.argsort(pixels.thing, kind="stable")
    number = np.bincount(pixels.thing, minlength=pixels.count)
    first = np.cumsum(number) - number
    thing = pixels.thing[order]
    rank = np.arange(order.size) - first[thing]
    every = -(-number // _SAMPLES)
    return np.asarray(order[rank % every[thing] == 0])
