"""What one eye sees and the other does not: sparkles, reflections, flares, dirt, a hair in one gate.

The right eye is laid over the left by the parallax map, whose gaps are filled from what lies behind. Where the map has
a depth edge, where the other eye sees nothing by geometry (half-hidden strips, the strip outside its frame) and where a
gap lies between two depths, nothing is judged. Elsewhere a pixel counts as odd when it is brighter or darker than all
of the other eye's pixels around its place. What is odd only because of a wrong depth is found in the other eye at
another parallax, and dropped; what is the same but brighter or softer is dropped too, unless it is large: a flare.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
import numpy.typing as npt

from postfix.measure.matching import ParallaxMaps
from postfix.measure.odd_pixels import Floats64, Ints, Pixels, pixels_around, some_of_each
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

_BLACK_CODES = 2.0
_BLACK_ALONG = 0.8

_LOOKED_AT = 56
"""Most things looked at one by one, strongest first; this bounds the time a broken pair takes."""

_ELSEWHERE = 0.25
_ELSEWHERE_CODES = 4.0
"""A thing is in the other eye too where at another parallax this share of its misfit is left, and so few codes."""

_BEYOND_RANGE = 0.01
_MISS_OUTSIDE = 60

_MORE_THAN_OTHER = (1.3, 1.7)
"""A thing must stand out of its surroundings so many times more in one eye than in the other: large ones, small."""

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
    return Rivalry(pct, tuple(_box(thing, scale, left.shape) for thing in things[:MAX_BOXES]))


def _box(thing: _Thing, scale: float, shape: tuple[int, int]) -> RivalBox:
    def inside(first: float, size: float, last: int) -> tuple[int, int]:
        start = round(min(max(first, 0.0), last - 1.0) * scale)
        return start, max(1, round(min(first + size, last) * scale) - start)

    x, width = inside(thing.x, thing.width, shape[1])
    y, height = inside(thing.y, thing.height, shape[0])
    return RivalBox("left" if thing.is_left else "right", x, y, width, height)


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
        large = peak >= _SOFT_CODES and np.count_nonzero(core) >= least
        if large and matched >= _SOFT_MATCHED and not _is_black_side(core, cells):
            covered |= inside
            things.append(_soft_thing(core, inside, cells, overlay))
    return things, covered


def _is_black_side(core: Flags, cells: Cells) -> bool:
    """Whether a patch is what a bar or window at a side leaves: at the frame's edge one eye is black all along it."""
    for edge in (np.s_[:, 0], np.s_[:, -1]):
        at_edge = core[edge]
        if at_edge.any():
            darkest = np.minimum(cells.own[edge], cells.other[edge])[at_edge]
            if float(np.mean(darkest <= _BLACK_CODES)) > _BLACK_ALONG:
                return True
    return False


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
    pixels = pixels_around(left, overlay, odd.labels, order)
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


def _is_elsewhere(left: Grey8, right: Grey8, overlay: Overlay, odd: _Odd, pixels: Pixels, order: Ints) -> Flags:
    """Things that fit into the other eye at another parallax: the map was wrong there, the thing is in both."""
    width = left.shape[1]
    nearest, farthest = float(overlay.parallax.min()), float(overlay.parallax.max())
    margin = _BEYOND_RANGE * width
    tried = np.arange(np.floor(nearest - margin), farthest + margin, _AROUND[1] // 2 + 1, dtype=np.float32)
    tried = tried.astype(np.intp)
    of_right = odd.above[0, order] < odd.above[1, order]
    found = np.zeros(pixels.count, np.bool_)
    chosen = some_of_each(pixels)
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
