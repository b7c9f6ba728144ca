"""What one eye sees and the other does not: sparkles, reflections, flares, dirt, a hair in one gate.

The right eye is laid over the left by the parallax map, whose gaps are filled from what lies behind. Where the map has
a depth edge, where the other eye sees nothing by geometry (half-hidden strips, the strip outside its frame) and where a
gap lies between two depths, nothing is judged. Elsewhere a pixel counts as odd when it is brighter or darker than all
of the other eye's pixels around its place. What is odd only because of a wrong depth is found in the other eye at
another parallax, and dropped; what is the same but brighter or softer is dropped too, unless it is large: a flare.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import cv2
import numpy as np
import numpy.typing as npt

from postfix.measure.matching import ParallaxMaps
from postfix.measure.overlay import (
    CELL_PX,
    LEAST_CELLS,
    STEP,
    Cells,
    Flags,
    Floats,
    Overlay,
    in_cells,
    in_one_tone,
    laid_over,
    over_cells,
    without_trend,
)
from postfix.measure.proxy import Grey8
from postfix.measure.table import RivalBox

Ints = npt.NDArray[np.intp]
Floats64 = npt.NDArray[np.float64]

MAX_BOXES = 32
"""Most boxes given for a frame, largest first."""

_AROUND = (3, 5)
"""Rows and columns of the other eye in which a pixel's like is looked for."""

_ODD_CODES = 14
_OF_RANGE = 0.2
"""A pixel must stand out by so much more where the other eye is itself uneven (sharpness, sub-pixel parallax)."""

_OF_CLUTTER = 3.0
_CLUTTER_PX = 33
"""And by this many times what the pixels around stand out on average: where much does, the map is at fault."""

_LEAST_SUM = 15.0
"""Codes above the threshold, summed over a thing's pixels, from which it is one."""

_RING_PX = 3
"""Width of the surroundings that a thing is compared with."""

_LOOKED_AT = 56
"""Most things looked at one by one, strongest first; this bounds the time a broken pair takes."""

_ALIKE = 0.85
"""Correlation of the two eyes within a thing from which only its brightness or sharpness differs."""

_ELSEWHERE = 0.25
_ELSEWHERE_CODES = 4.0
"""A thing is in the other eye too where at another parallax this share of its misfit is left, and so few codes."""

_SAMPLES = 40
_BEYOND_RANGE = 0.01
_MISS_OUTSIDE = 60

_MORE_THAN_OTHER = (1.3, 1.7)
_LARGE_PIXELS = 60
_UNEVEN_CODES = 4.0
_BY_DIFFERENCE = 2
"""A thing must stand out of its surroundings so many times more in one eye than in the other: large ones, small."""

_BLACK_OF_LEVEL = 0.4
_BLACK_SIDE = 0.02

_SOFT_CODES = 28.0
_SOFT_SHARE = 0.0008
"""Least brightness and share of the picture of a soft patch: a weaker one may be the sheen of paint or leather."""

_SOFT_CELLS = 7
_ONE_SIDED = 0.5
_OF_PEAK = 0.25
_SOFT_MATCHED = 0.1
_TOLD_BY = 2.5


@dataclass(frozen=True)
class Rivalry:
    """What only one eye sees.

    Attributes
    ----------
    pct : float
        Share of the picture, percent; NaN where nothing was matched.
    boxes : tuple of RivalBox
        At most :data:`MAX_BOXES`, largest first.
    """

    pct: float
    boxes: tuple[RivalBox, ...]


@dataclass(frozen=True)
class _Thing:
    """One odd thing, in proxy pixels of the eye that holds it."""

    is_left: bool
    x: float
    y: float
    width: float
    height: float
    area: float


def find_rivalry(left: Grey8, right: Grey8, maps: ParallaxMaps, scale: float) -> Rivalry:
    """Find what one eye sees and the other does not.

    Parameters
    ----------
    left, right : (h, w) uint8
        Straightened against each other, alike in mean and contrast.
    maps : ParallaxMaps
        Of the same shape, in its pixels; only the left eye's is used.
    scale : float
        Pixels of the source per pixel of these pictures.
    """
    overlay = laid_over(right, maps.left)
    if overlay is None:
        return Rivalry(float("nan"), ())
    right, overlay, cells = in_one_tone(right, overlay, over_cells(left, overlay))
    soft, soft_mask = _soft_things(overlay, cells)
    things = soft + _sharp_things(left, right, overlay, cells, soft_mask)
    things.sort(key=lambda thing: -thing.area)
    pct = 100.0 * sum(thing.area for thing in things) / left.size
    return Rivalry(pct, tuple(_box(thing, scale) for thing in things[:MAX_BOXES]))


def _box(thing: _Thing, scale: float) -> RivalBox:
    x, y = round(thing.x * scale), round(thing.y * scale)
    right, bottom = round((thing.x + thing.width) * scale), round((thing.y + thing.height) * scale)
    return RivalBox("left" if thing.is_left else "right", x, y, max(1, right - x), max(1, bottom - y))


def _soft_things(overlay: Overlay, cells: Cells) -> tuple[list[_Thing], Flags]:
    """Patches brighter in one eye; also the cells they cover."""
    judged = cells.judged > 230.0
    if np.count_nonzero(judged) < LEAST_CELLS:
        return [], np.zeros(judged.shape, np.bool_)
    difference = without_trend(cells, judged)
    around = (_SOFT_CELLS, _SOFT_CELLS)
    weight = cv2.blur(judged.astype(np.float32), around)
    known = weight > 0.25
    weight = np.maximum(weight, np.float32(0.01))
    mean = cv2.blur(difference, around) / weight
    square = cv2.blur(difference * difference, around) / weight
    # A wrong depth leaves differences of both signs; light that was added leaves one.
    one_sided = known & (mean * mean > _ONE_SIDED * square)
    strong = np.where(one_sided, np.abs(mean), np.float32(0.0))
    _, labels, stats, _ = cv2.connectedComponentsWithStats((strong > 0.5 * _SOFT_CODES).view(np.uint8))
    covered = np.zeros(judged.shape, np.bool_)
    least = _SOFT_SHARE * judged.size
    things = []
    for label in np.flatnonzero(stats[:, cv2.CC_STAT_AREA] >= least)[1:].tolist():
        inside = labels == label
        peak = float(strong[inside].max())
        core = inside & (strong > _OF_PEAK * peak)
        matched = float(cells.matched[core].mean()) / 255.0
        if peak >= _SOFT_CODES and np.count_nonzero(core) >= least and matched >= _SOFT_MATCHED:
            covered |= inside
            things.append(_soft_thing(core, inside, cells, overlay))
    return things, covered


def _soft_thing(core: Flags, inside: Flags, cells: Cells, overlay: Overlay) -> _Thing:
    rows, columns = np.nonzero(core)
    top, bottom, start, end = int(rows.min()), int(rows.max()) + 1, int(columns.min()), int(columns.max()) + 1
    size = 2 * _SOFT_CELLS + 1
    wide = np.asarray(cv2.dilate(inside.view(np.uint8), np.ones((size, size), np.uint8)), np.uint8).view(np.bool_)
    ring = wide & ~inside
    is_left = True
    if ring.any():
        stands_out = [abs(float(eye[core].mean()) - float(eye[ring].mean())) for eye in (cells.own, cells.other)]
        # Flares and reflections add light; something dark shows by one eye going on undisturbed.
        brighter = float((cells.own - cells.other)[core].mean()) > 0.0
        told = max(stands_out) > _TOLD_BY * min(stands_out)
        is_left = stands_out[0] > stands_out[1] if told else brighter
    per_cell = CELL_PX // STEP
    moved = 0.0 if is_left else float(np.median(overlay.parallax[rows * per_cell, columns * per_cell]))
    x, y = start * CELL_PX + moved, top * CELL_PX
    return _Thing(
        is_left, x, y, (end - start) * CELL_PX, (bottom - top) * CELL_PX, float(rows.size * CELL_PX * CELL_PX)
    )


# ---- small and sharp: a sparkle, a hair, dirt


@dataclass(frozen=True)
class _Odd:
    """Pixels that stand out, grouped into things.

    Attributes
    ----------
    labels : (h, w) uint16
        The thing each pixel and its neighbours belong to, 0 for none.
    boxes : (things + 1, 5) int32
        Left, top, width, height, pixels of each label.
    above : (2, things + 1) float64
        Codes above the threshold, summed over the thing, in the left and in the right eye.
    beyond : 2 of (h, w) uint8
        How far each pixel of the left and of the laid-over eye lies outside what is around its place in the other.
    """

    labels: npt.NDArray[np.uint16]
    boxes: npt.NDArray[np.int32]
    above: Floats64
    beyond: tuple[Grey8, Grey8]


def _envelope(eye: Grey8) -> tuple[Grey8, Grey8]:
    kernel = np.ones(_AROUND, np.uint8)
    return np.asarray(cv2.dilate(eye, kernel), np.uint8), np.asarray(cv2.erode(eye, kernel), np.uint8)


def _beyond(eye: Grey8, envelope: tuple[Grey8, Grey8]) -> Grey8:
    most, least = envelope
    return np.asarray(cv2.max(cv2.subtract(eye, most), cv2.subtract(least, eye)), np.uint8)


def _odd_pixels(left: Grey8, overlay: Overlay, cells: Cells) -> _Odd | None:
    of_left, of_right = _envelope(left), _envelope(overlay.right)
    beyond = (_beyond(left, of_right), _beyond(overlay.right, of_left))
    either = np.asarray(cv2.max(*beyond), np.uint8)
    at = np.flatnonzero(either > _ODD_CODES)
    row, column = np.divmod(at, left.shape[1])
    at = at[overlay.judged[row // STEP, column // STEP]]
    least = _ODD_CODES + np.float32(_OF_CLUTTER) * _clutter(either, cells, at)
    above = []
    for eye, (most_other, least_other) in zip(beyond, (of_right, of_left)):
        uneven = most_other.ravel()[at].astype(np.float32) - least_other.ravel()[at]
        above.append(np.maximum(eye.ravel()[at] - least - np.float32(_OF_RANGE) * uneven, 0.0))
    odd = np.maximum(*above) > 0
    if not odd.any():
        return None
    mask = np.zeros(left.shape, np.uint8)
    mask.ravel()[at[odd]] = 1
    mask = np.asarray(cv2.dilate(mask, np.ones((3, 3), np.uint8)), np.uint8)
    count, labels, boxes, _ = cv2.connectedComponentsWithStats(mask, connectivity=8, ltype=cv2.CV_16U)
    label = labels.ravel()[at]
    sums = np.stack([np.bincount(label, eye, count) for eye in above])
    return _Odd(np.asarray(labels, np.uint16), np.asarray(boxes, np.int32), sums.astype(np.float64), beyond)


def _clutter(either: Grey8, cells: Cells, at: Ints) -> Floats:
    """How much stands out on average around each of some pixels."""
    rows, columns = cells.own.shape
    mean = np.where(cells.judged > 127.0, in_cells(either, (rows, columns)), np.float32(0.0))
    reach = max(1, round(_CLUTTER_PX / CELL_PX))
    around = cv2.blur(mean, (reach, reach))
    row, column = np.divmod(at, either.shape[1])
    return np.asarray(around[np.minimum(row // CELL_PX, rows - 1), np.minimum(column // CELL_PX, columns - 1)])


def _sharp_things(left: Grey8, right: Grey8, overlay: Overlay, cells: Cells, soft: Flags) -> list[_Thing]:
    """Things that stand out pixel by pixel and are not part of a soft one."""
    odd = _odd_pixels(left, overlay, cells)
    if odd is None:
        return []
    strength = odd.above.max(axis=0)
    order = np.argsort(-strength)[:_LOOKED_AT]
    order = order[strength[order] >= _LEAST_SUM]
    if not order.size:
        return []
    pixels = _pixels_around(left, overlay, odd, order)
    kept = ~(pixels.alike() | pixels.in_mask(soft) | _is_elsewhere(left, right, overlay, odd, pixels, order))
    kept &= ~pixels.is_black_side(left.shape)
    out = pixels.stands_out()
    # The eye that lacks the thing shows there what it shows around; a wrong depth makes both eyes stand out.
    kept &= out.max(axis=0) > np.where(pixels.large(), *_MORE_THAN_OTHER) * out.min(axis=0)
    areas, is_left, moved = pixels.areas(), out[0] >= out[1], pixels.moved()
    things = []
    for i in np.flatnonzero(kept):
        x, y, width, height = (int(v) for v in odd.boxes[order[i], :4])
        # The outermost pixels were only added to join what belongs together.
        x, y, width, height = x + 1, y + 1, max(1, width - 2), max(1, height - 2)
        shift = 0.0 if is_left[i] else float(moved[i])
        things.append(_Thing(bool(is_left[i]), x + shift, y, width, height, float(areas[i])))
    return things


@dataclass(frozen=True)
class _Pixels:
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


def _pixels_around(left: Grey8, overlay: Overlay, odd: _Odd, order: Ints) -> _Pixels:
    size = 2 * _RING_PX + 1
    wide = np.asarray(cv2.dilate(odd.labels, np.ones((size, size), np.uint8)), np.uint16)
    number = np.full(len(odd.boxes), -1, np.intp)
    number[order] = np.arange(order.size)
    at = np.flatnonzero(wide)
    thing = number[wide.ravel()[at]]
    at, thing = at[thing >= 0], thing[thing >= 0]
    ys, xs = np.divmod(at, left.shape[1])
    return _Pixels(
        order.size,
        thing,
        odd.labels[ys, xs] > 0,
        ys,
        xs,
        left[ys, xs].astype(np.float32),
        overlay.right[ys, xs].astype(np.float32),
        overlay.parallax[ys // STEP, xs // STEP],
    )


def _is_elsewhere(left: Grey8, right: Grey8, overlay: Overlay, odd: _Odd, pixels: _Pixels, order: Ints) -> Flags:
    """Things that fit into the other eye at another parallax: the map was wrong there, the thing is in both."""
    width = left.shape[1]
    nearest, farthest = float(overlay.parallax.min()), float(overlay.parallax.max())
    margin = _BEYOND_RANGE * width
    tried = np.arange(np.floor(nearest - margin), farthest + margin, _AROUND[1] // 2 + 1, dtype=np.float32)
    tried = tried.astype(np.intp)
    of_right = odd.above[0, order] < odd.above[1, order]
    found = np.zeros(pixels.count, np.bool_)
    chosen = _some_of_each(pixels)
    for number, (picture, partner) in enumerate(((left, right), (right, left))):
        some = chosen[of_right[pixels.thing[chosen]] == bool(number)]
        if not some.size:
            continue
        thing, y, x = pixels.thing[some], pixels.y[some], pixels.x[some]
        here = np.bincount(thing, odd.beyond[number][y, x], pixels.count)
        enough = np.minimum(_ELSEWHERE * here, _ELSEWHERE_CODES * np.bincount(thing, minlength=pixels.count))
        if number:
            x = np.clip(x + np.rint(pixels.parallax[some]).astype(np.intp), 0, width - 1)
        at = x[:, None] + (-tried if number else tried)
        outside = (at < 0) | (at >= width)
        at = np.clip(at, 0, width - 1) + (y * width)[:, None]
        code = picture[y, x].astype(np.int16)[:, None]
        most, least = (bound.ravel().take(at) for bound in _envelope(partner))
        misses = np.maximum(code - most, least - code)
        np.maximum(misses, 0, out=misses)
        misses[outside] = _MISS_OUTSIDE
        starts = np.flatnonzero(np.diff(thing, prepend=-1))
        best = np.add.reduceat(misses, starts, axis=0, dtype=np.int64).min(axis=1)
        found[thing[starts]] = best < enough[thing[starts]]
    return found


def _some_of_each(pixels: _Pixels) -> Ints:
    """Pixels evenly picked, at most about :data:`_SAMPLES` of each thing, in the order of the things."""
    order = np.argsort(pixels.thing, kind="stable")
    number = np.bincount(pixels.thing, minlength=pixels.count)
    first = np.cumsum(number) - number
    thing = pixels.thing[order]
    rank = np.arange(order.size) - first[thing]
    every = -(-number // _SAMPLES)
    return np.asarray(order[rank % every[thing] == 0])
