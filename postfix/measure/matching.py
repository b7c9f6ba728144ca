"""Dense parallax of a proxy pair by semi-global matching.

The left eye is matched against the right with the matcher's own check from the right eye back; small patches that
agree by accident are dropped. Matching both ways in full costs twice as much and came no nearer to the truth once the
ends are refined on full-size pixels. Parallax is ``x_right − x_left``, so it is minus the matching library's disparity.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
import numpy.typing as npt

from postfix.measure.proxy import Grey8

Parallax = npt.NDArray[np.float32]

SEARCH_PCT = 15.0
"""Widest parallax looked for on either side of the screen, percent of width."""

MIN_PATCH_SHARE = 0.0008
"""Connected matches smaller than this share of the picture are dropped: they are chance more often than not."""

_COARSE_WIDTH_PX = 128
_BLOCK_PX = 3
_SPARE_PX = 8
_SIXTEENTHS = 16
_UNIQUE_BY_PCT = 10
_MARGIN_PCT = 0.9
_COARSE_PATCH_SHARE = 0.006
"""What is smaller does not widen the search; where the map then smooths it over, it is looked for by itself."""

_HELD_BY_SHARE = 0.004
_POINTS_SHARE = 0.015
_HIDDEN_BY_PX = 1.5
_UNMATCHED = np.int16(-32768)
_NAN = np.float32(np.nan)


@dataclass(frozen=True)
class ParallaxMaps:
    """Parallax in proxy pixels seen from each eye, (h, w) float32; NaN where the other eye has no agreed partner."""

    left: Parallax
    right: Parallax


def match(
    left: Grey8, right: Grey8, low_px: float, high_px: float, min_patch_share: float = MIN_PATCH_SHARE
) -> Parallax:
    """Match two pictures (h, w) uint8 over parallax from ``low_px`` to ``high_px``, seen from the left eye.

    Borders are continued outwards by the search range so that content at a frame edge is matched too; a partner that
    lies outside the other eye's frame does not count.
    """
    height, width = left.shape
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
        disp12MaxDiff=1,
        preFilterCap=31,
        uniquenessRatio=_UNIQUE_BY_PCT,
        mode=cv2.STEREO_SGBM_MODE_SGBM_3WAY,
    )
    found = matcher.compute(padded(left), padded(right))[:, before : before + width]
    # Three by three is the least that takes single-pixel noise out of the ends of the distribution.
    own = np.asarray(cv2.medianBlur(np.ascontiguousarray(found), 3), np.int16)
    # Rounded as all do who follow a match to its partner: halves to the even pixel.
    partner = np.arange(width, dtype=np.float32)[None, :] + np.rint(own * np.float32(-1.0 / _SIXTEENTHS))
    good = (own >= smallest * _SIXTEENTHS) & (partner >= 0) & (partner < width)
    kept = np.where(good, own, _UNMATCHED)
    cv2.filterSpeckles(kept, int(_UNMATCHED), int(min_patch_share * height * width), _SIXTEENTHS)
    parallax = kept.astype(np.float32)
    parallax *= np.float32(-1.0 / _SIXTEENTHS)
    parallax[kept == _UNMATCHED] = _NAN
    return parallax


def seen_from_right(parallax: Parallax) -> Parallax:
    """The left eye's map as the right eye sees it: what lies in front hides what lies behind."""
    flat = parallax.reshape(-1)
    places = np.flatnonzero(np.isfinite(flat))
    found = flat[places]
    # What was matched has its partner inside the frame, so it lands on its own row.
    landing = places + np.rint(found).astype(np.intp)
    turned = np.full(parallax.shape, _NAN)
    # In a row, of two that land on one column the one further right in the left eye is nearer; it is written last.
    turned.reshape(-1)[landing] = found
    # A slanted surface leaves single columns open where it is wider in the right eye.
    between = 0.5 * (turned[:, :-2] + turned[:, 2:])
    open_ = np.isnan(turned[:, 1:-1]) & (np.abs(turned[:, :-2] - turned[:, 2:]) <= 1.0)
    turned[:, 1:-1][open_] = between[open_]
    return turned


def only_seen(maps: ParallaxMaps) -> ParallaxMaps:
    """Both maps without what the right eye cannot see, because something nearer lands on the same place."""
    flat = maps.left.reshape(-1)
    places = np.flatnonzero(np.isfinite(flat))
    landing = places + np.rint(flat[places]).astype(np.intp)
    hidden = maps.right.reshape(-1)[landing] < flat[places] - np.float32(_HIDDEN_BY_PX)
    if not hidden.any():
        return maps
    seen = maps.left.copy()
    seen.reshape(-1)[places[hidden]] = _NAN
    return ParallaxMaps(seen, maps.right)


def only(maps: ParallaxMaps, kept: npt.NDArray[np.bool_]) -> ParallaxMaps:
    """Both maps where the left eye's is kept, (h, w)."""
    gone = np.flatnonzero(np.isfinite(maps.left) & ~kept)
    if not gone.size:
        return maps
    landing = gone + np.rint(maps.left.reshape(-1)[gone]).astype(np.intp)
    left, right = maps.left.copy(), maps.right.copy()
    left.reshape(-1)[gone] = _NAN
    right.reshape(-1)[landing] = _NAN
    return ParallaxMaps(left, right)


def filled_from_behind(parallax: Parallax) -> Parallax:
    """Gaps take what lies behind of the two sides of their row: what is hidden from one eye is the background."""
    return filled_gaps(parallax)[0]


def filled_gaps(parallax: Parallax) -> tuple[Parallax, npt.NDArray[np.intp], Parallax]:
    """Gaps filled from behind; which places they are (n,), and what lies in front of the two sides of each (n,).

    A row without anything is zero; a gap at the frame edge has one side, and is −∞ in front.
    """
    rows, columns = parallax.shape
    # One column of "nothing" on either side bounds every gap within its row.
    nothing = np.float32(-np.inf)
    values = np.full((rows, columns + 2), nothing, np.float32)
    values[:, 1:-1] = parallax
    flat = values.ravel()
    unknown = np.isnan(flat)
    gaps = np.flatnonzero(unknown)
    if not gaps.size:
        return parallax, gaps, np.empty(0, np.float32)
    starts, ends = gaps[~unknown[gaps - 1]], gaps[~unknown[gaps + 1]]
    one, other, lengths = flat[starts - 1], flat[ends + 1], ends - starts + 1
    flat[gaps] = np.repeat(np.maximum(one, other), lengths)
    filled = np.ascontiguousarray(values[:, 1:-1])
    filled[filled[:, 0] == nothing] = 0.0
    row, column = np.divmod(gaps, columns + 2)
    return filled, row * columns + column - 1, np.repeat(np.minimum(one, other), lengths)


def coarse_parallax(left: Grey8, right: Grey8) -> Parallax:
    """Parallax over the whole search range at a fraction of proxy size, in proxy pixels; NaN where not agreed."""
    height, width = left.shape
    factor = max(1.0, width / _COARSE_WIDTH_PX)
    size = (max(8, round(width / factor)), max(4, round(height / factor)))
    small_left, small_right = (
        np.asarray(cv2.resize(eye, size, interpolation=cv2.INTER_AREA), np.uint8) for eye in (left, right)
    )
    reach = SEARCH_PCT / 100.0 * size[0]
    return match(small_left, small_right, -reach, reach, _COARSE_PATCH_SHARE) * np.float32(width / size[0])


def search_range(coarse: Parallax, points_px: npt.NDArray[np.float32], width: int) -> tuple[float, float] | None:
    """Parallax to search at proxy size, from a coarse map and the parallax of single matched points, proxy pixels.

    Returns None where neither holds anything, or nothing within :data:`SEARCH_PCT`.
    """
    found = coarse[np.isfinite(coarse)]
    ends: list[tuple[float, float]] = []
    if found.size >= 16:
        held = max(1, int(_HELD_BY_SHARE * coarse.size))
        ordered = np.sort(found)
        ends.append((float(ordered[held - 1]), float(ordered[-held])))
    if points_px.size >= 16:
        # A few points at the very end may be false.
        ordered = np.sort(points_px)
        spare = max(2, int(_POINTS_SHARE * ordered.size))
        ends.append((float(ordered[spare]), float(ordered[-1 - spare])))
    if not ends:
        return None
    margin = _MARGIN_PCT / 100.0 * width
    reach = SEARCH_PCT / 100.0 * width
    low = max(min(low for low, _ in ends) - margin, -reach)
    high = min(max(high for _, high in ends) + margin, reach)
    return (low, high) if low < high else None
