"""Dense parallax of a proxy pair by semi-global matching in both directions.

Each eye is matched against the other; only matches on which both directions agree are kept, and small patches that
agree by accident are dropped. Parallax is ``x_right − x_left``, so it is minus the disparity of the matching library.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
import numpy.typing as npt

from postfix.measure.proxy import Grey8

Parallax = npt.NDArray[np.float32]

SEARCH_PCT = 12.0
"""Widest parallax looked for on either side of the screen, percent of width."""

MIN_PATCH_SHARE = 0.001
"""Connected matches smaller than this share of the picture are dropped: they are chance more often than not."""

_COARSE_WIDTH_PX = 160
_BLOCK_PX = 3
_SPARE_PX = 8
_SIXTEENTHS = 16
_HELD_BY_SHARE = 0.0005
_UNMATCHED = np.int16(-32768)


@dataclass(frozen=True)
class ParallaxMaps:
    """Parallax in proxy pixels seen from each eye, (h, w) float32; NaN where the other eye has no agreed partner."""

    left: Parallax
    right: Parallax


def match_both_ways(left: Grey8, right: Grey8, low_px: float, high_px: float) -> ParallaxMaps:
    """Match two pictures (h, w) uint8 over parallax from ``low_px`` to ``high_px``.

    Borders are continued outwards by the search range so that content at a frame edge is matched too; a partner that
    lies outside the other eye's frame does not count.
    """
    smallest = int(np.floor(-high_px)) - 1
    count = -(-(int(np.ceil(-low_px)) + 2 - smallest) // 16) * 16
    # The matcher leaves out columns from which any searched partner would lie outside: give it that much more.
    before, after = max(0, smallest + count) + _SPARE_PX, max(0, -smallest) + _SPARE_PX

    def padded(eye: Grey8) -> npt.NDArray[np.uint8]:
        return np.asarray(cv2.copyMakeBorder(eye, 0, 0, before, after, cv2.BORDER_REPLICATE), np.uint8)

    matcher = cv2.StereoSGBM.create(
        minDisparity=smallest,
        numDisparities=count,
        blockSize=_BLOCK_PX,
        P1=8 * _BLOCK_PX**2,
        P2=32 * _BLOCK_PX**2,
        disp12MaxDiff=-1,
        preFilterCap=31,
        uniquenessRatio=5,
        mode=cv2.STEREO_SGBM_MODE_SGBM_3WAY,
    )
    inside = slice(before, before + left.shape[1])
    from_left = matcher.compute(padded(left), padded(right))[:, inside]
    # Mirrored, the right eye becomes the left one of a pair with the same sign of disparity.
    from_right = matcher.compute(padded(right[:, ::-1]), padded(left[:, ::-1]))[:, inside][:, ::-1]
    # Three by three is the least that takes single-pixel noise out of the ends of the distribution.
    from_left, from_right = (
        np.asarray(cv2.medianBlur(np.ascontiguousarray(found), 3), np.int16) for found in (from_left, from_right)
    )
    left_map = _agreed(from_left, from_right, smallest, sign=-1)
    right_map = _agreed(from_right, from_left, smallest, sign=+1)
    return ParallaxMaps(left_map, right_map)


def _agreed(own: npt.NDArray[np.int16], other: npt.NDArray[np.int16], smallest: int, *, sign: int) -> Parallax:
    """Disparities of one eye that the other eye's confirm, as parallax; ``sign`` is −1 for the left eye."""
    height, width = own.shape
    columns = np.arange(width, dtype=np.int32)[None, :]
    partner = columns + sign * ((own.astype(np.int32) + _SIXTEENTHS // 2) >> 4)
    inside = (partner >= 0) & (partner < width)
    seen = np.take_along_axis(other, np.clip(partner, 0, width - 1), axis=1)
    valid_from = smallest * _SIXTEENTHS
    good = inside & (own >= valid_from) & (seen >= valid_from)
    good &= np.abs(own.astype(np.int32) - seen) <= _SIXTEENTHS
    kept = np.where(good, own, _UNMATCHED)
    cv2.filterSpeckles(kept, int(_UNMATCHED), int(MIN_PATCH_SHARE * height * width), _SIXTEENTHS)
    return np.where(kept == _UNMATCHED, np.float32(np.nan), kept.astype(np.float32) / -_SIXTEENTHS)


def coarse_parallax(left: Grey8, right: Grey8) -> Parallax:
    """Parallax over the whole search range at a quarter of proxy size, in proxy pixels; NaN where not agreed."""
    height, width = left.shape
    factor = max(1.0, width / _COARSE_WIDTH_PX)
    size = (max(8, round(width / factor)), max(4, round(height / factor)))
    small_left, small_right = (
        np.asarray(cv2.resize(eye, size, interpolation=cv2.INTER_AREA), np.uint8) for eye in (left, right)
    )
    reach = SEARCH_PCT / 100.0 * size[0]
    return match_both_ways(small_left, small_right, -reach, reach).left * np.float32(width / size[0])


def search_range(coarse: Parallax, points_px: npt.NDArray[np.float32], width: int) -> tuple[float, float] | None:
    """Parallax to search at proxy size, from a coarse map and the parallax of single matched points, proxy pixels.

    Returns None where neither holds anything.
    """
    found = coarse[np.isfinite(coarse)]
    ends: list[tuple[float, float]] = []
    if found.size >= 16:
        held = max(1, int(_HELD_BY_SHARE * coarse.size))
        ordered = np.sort(found)
        ends.append((float(ordered[held - 1]), float(ordered[-held])))
    if points_px.size >= 16:
        # Two points at the very end may be false; a third makes it likely that something is there.
        ordered = np.sort(points_px)
        ends.append((float(ordered[2]), float(ordered[-3])))
    if not ends:
        return None
    margin = 1.5 * width / _COARSE_WIDTH_PX
    reach = SEARCH_PCT / 100.0 * width
    low = max(min(low for low, _ in ends) - margin, -reach)
    high = min(max(high for _, high in ends) + margin, reach)
    return low, high
