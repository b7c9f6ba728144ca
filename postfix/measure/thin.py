"""Thin and small things that the dense map has smoothed over: wires, twigs, fingers.

The matcher prefers smooth surfaces, so what is a pixel or two wide on the proxy takes the parallax of what lies behind
it. Such a thing stays unexplained in both eyes: laid over each other by the map, the eyes differ there. Each
unexplained patch of the left eye is looked for among what is unexplained in the right eye; where it is found clearly
and in one place only, the map takes that parallax.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
import numpy.typing as npt

from postfix.measure.matching import Parallax, ParallaxMaps, filled_from_behind, seen_from_right
from postfix.measure.proxy import Grey8, pixel_grid

Mask = npt.NDArray[np.bool_]
Places = npt.NDArray[np.intp]

_DIFFERS_CODES = 14
"""Codes of the 8-bit proxy by which the eyes must differ to count as unexplained."""

_MIN_AREA_PX = 12
_MAX_AREA_SHARE = 0.015
_PATCHES_MAX = 12
_POINTS = 64
_FITS_BETTER = 0.55
_CLEARER_THAN_NEXT = 0.7
_MUST_LIE_ON_UNEXPLAINED = 0.5
_APART_PX = 2.0
_AROUND = np.ones((3, 3), np.uint8)
_BESIDE = np.ones((1, 3), np.uint8)
_NEXT_BEYOND_PX = 3
_BEYOND_NEAR_PCT = 3.0
"""What is thin may lie further in front than anything the coarse map saw; looked for this much nearer, % of width."""

_AT_LEAST_TO_PCT = -10.5
"""And this near however far behind everything else lies: what stands alone before a far backdrop is small as well."""


@dataclass(frozen=True)
class Unexplained:
    """Where the eyes differ once laid over each other by the map, (h, w) bool in each eye; hidden strips left out."""

    left: Mask
    right: Mask


def _unexplained(left: Grey8, right: Grey8, filled: Parallax, from_right: Parallax) -> Unexplained:
    return Unexplained(
        left=_differs(left, right, filled, from_right, +1),
        right=_differs(right, left, from_right, filled, -1),
    )


def _differs(own: Grey8, other: Grey8, own_map: Parallax, other_map: Parallax, sign: int) -> Mask:
    """Where an eye differs from the other one moved onto it by the eye's map; nowhere that the map does not speak."""
    columns, rows = pixel_grid(*own.shape)
    place = columns + np.float32(sign) * own_map
    inside = (place >= 0) & (place <= own.shape[1] - 1)
    place[~inside] = 0.0
    moved = cv2.remap(other, place, rows, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    # A pixel's worth of error in the map, and a row's worth of misfit, explain a difference too.
    above = cv2.subtract(own, cv2.dilate(moved, _AROUND))
    below = cv2.subtract(cv2.erode(moved, _AROUND), own)
    differs = (cv2.max(above, below) > _DIFFERS_CODES) & inside
    if not differs.any():
        return np.asarray(differs, np.bool_)
    # Only what differs is asked whether something in front hides it from the other eye.
    y, x = np.nonzero(differs)
    in_front = other_map[y, np.rint(place[y, x]).astype(np.intp)]
    differs[y, x] = ~(in_front < own_map[y, x] - 1.0)
    return np.asarray(differs, np.bool_)


def with_thin_things(parallax: Parallax, left: Grey8, right: Grey8, low_px: float, high_px: float) -> ParallaxMaps:
    """The map with the parallax of thin and small things put in where they were smoothed over, seen from both eyes.

    Parameters
    ----------
    parallax : (h, w) float32
        Of the left eye.
    left, right : (h, w) uint8
    low_px, high_px : float
        Parallax to look in.
    """
    filled, from_right = filled_from_behind(parallax), seen_from_right(parallax)
    maps = ParallaxMaps(parallax, from_right)
    odd = _unexplained(left, right, filled, from_right)
    count, labels, stats, _ = cv2.connectedComponentsWithStats(odd.left.astype(np.uint8), connectivity=8)
    areas = stats[1:, cv2.CC_STAT_AREA]
    wanted = np.flatnonzero((areas >= _MIN_AREA_PX) & (areas <= _MAX_AREA_SHARE * parallax.size)) + 1
    if count < 2 or not wanted.size:
        return maps
    wanted = wanted[np.argsort(-stats[wanted, cv2.CC_STAT_AREA], kind="stable")][:_PATCHES_MAX]
    pct = parallax.shape[1] / 100.0
    nearest_px = min(low_px - _BEYOND_NEAR_PCT * pct, _AT_LEAST_TO_PCT * pct)
    steps = np.arange(int(np.floor(nearest_px)), int(np.ceil(high_px)) + 1)
    pixels = []
    for label in wanted:
        x, y, w, h = stats[label, :4]
        rows, columns = np.nonzero(labels[y : y + h, x : x + w] == label)
        pixels.append((rows + y, columns + x))
    # Where the map says nothing of the right eye, nothing is explained either: such a thing leaves gaps around it.
    open_right = odd.right | np.isnan(from_right)
    partners = _partners(pixels, left, right, open_right, filled, steps)
    result = parallax.copy() if np.isfinite(partners).any() else parallax
    for (rows, columns), found in zip(pixels, partners):
        # What would have its partner outside the frame was not found there.
        if np.isfinite(found):
            inside = (columns + round(found) >= 0) & (columns + round(found) < parallax.shape[1])
            result[rows[inside], columns[inside]] = found
    return maps if result is parallax else ParallaxMaps(result, seen_from_right(result))


def _partners(
    patches: list[tuple[Places, Places]], left: Grey8, right: Grey8, odd_right: Mask, filled: Parallax, steps: Places
) -> npt.NDArray[np.float64]:
    """Parallax at which each patch of the left eye lies on something unexplained in the right eye that looks the same.

    NaN where it does not, or lies as well in more than one place.
    """
    taken = [np.linspace(0, rows.size - 1, _POINTS).astype(np.intp) for rows, _ in patches]
    r = np.stack([rows[at] for (rows, _), at in zip(patches, taken)])
    c = np.stack([columns[at] for (_, columns), at in zip(patches, taken)])
    width = left.shape[1]
    place = c[:, :, None] + steps
    inside = (place >= 0) & (place < width)
    np.clip(place, 0, width - 1, out=place)
    place += (r * width)[:, :, None]
    own = left[r, c].astype(np.int16)
    apart = np.abs(right.reshape(-1).take(place).astype(np.int16) - own[:, :, None])
    apart[~inside] = 255
    # Brightness may differ a little: only what stands out counts, so no offset is taken out.
    cost = apart.mean(axis=1, dtype=np.float32)
    number, best = np.arange(len(cost)), cost.argmin(axis=1)
    least = cost[number, best]
    here = filled[r, c]
    behind = np.clip(c + np.rint(here).astype(np.intp), 0, width - 1)
    at_present = np.abs(right[r, behind].astype(np.int16) - own).mean(axis=1)
    elsewhere = np.abs(np.arange(cost.shape[1])[None, :] - best[:, None]) > _NEXT_BEYOND_PX
    next_best = np.where(elsewhere, cost, np.float32(np.inf)).min(axis=1)
    clear = (least <= _FITS_BETTER * at_present) & (least < _CLEARER_THAN_NEXT * next_best)
    clear &= (best > 0) & (best < cost.shape[1] - 1)
    # What is unexplained loses a pixel at its borders to the map's allowance: a line of one or two hardly keeps any.
    near_odd = cv2.dilate(odd_right.astype(np.uint8), _BESIDE)
    on_odd = near_odd.reshape(-1)[place[number, :, best]].mean(axis=1) >= _MUST_LIE_ON_UNEXPLAINED
    moved = np.abs(steps[best] - np.median(here, axis=1)) >= _APART_PX
    before, after = cost[number, np.maximum(best - 1, 0)], cost[number, np.minimum(best + 1, cost.shape[1] - 1)]
    # The cost is an absolute difference, so its two flanks are straight lines that meet at the minimum.
    flank = np.maximum(np.maximum(before, after) - least, 1e-3)
    return np.where(clear & on_odd & moved, steps[best] + 0.5 * (before - after) / flank, np.nan)
