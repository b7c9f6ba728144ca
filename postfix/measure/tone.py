"""Brightness, black level, colour and sharpness of the right eye against the left, over what both eyes see.

All of it is on coded values. Gain and black level are the line ``right = gain · left + black`` through matched places;
sharpness is the fine detail of matched patches, with what the gain does to it taken out.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import cv2
import numpy as np
import numpy.typing as npt

from postfix.measure.matching import Parallax
from postfix.measure.misfit import Misfit
from postfix.measure.proxy import pixel_grid

Rgb = npt.NDArray[np.float32]
Floats = npt.NDArray[np.float64]

_LUMA = np.array([0.2126, 0.7152, 0.0722])
_BLOCK_PX = 4
_MIN_BLOCK_SHARE = 0.5
_MIN_BLOCKS = 40
_BRIGHTEST_PERCENTILE = 99.5
_CLIPPED_SHARE = 0.92
_JUMP_SHARE = 0.01
_TUKEY = 4.685
_LEAST_SPREAD = 0.002
_MOST_GAIN_ERROR = 0.01
_MOST_BLACK_ERROR = 0.005

_PATCH_PX = (24, 48)
_PATCH_SHARE = 1.0 / 40.0
_PATCHES = (12, 7)
_MIN_PATCHES = 12
_FLOOR_PERCENTILE = 5.0
_ABOVE_FLOOR = 1.5
_MOST_SHARPNESS_ERROR = 0.08


@dataclass(frozen=True)
class ToneDifference:
    """Right eye against left; NaN where nothing tells.

    Attributes
    ----------
    gain_pct, red_gain_pct, green_gain_pct, blue_gain_pct : float
        How much more contrast, in luma and in each channel; positive is brighter.
    black_pct : float
        How much higher black lies, in percent of white.
    """

    gain_pct: float = math.nan
    black_pct: float = math.nan
    red_gain_pct: float = math.nan
    green_gain_pct: float = math.nan
    blue_gain_pct: float = math.nan


def tone_difference(left_rgb: Rgb, right_rgb: Rgb, parallax: Parallax) -> ToneDifference:
    """Gain and black level of the right eye, through the means of small matched blocks.

    Places near the brightest value of either eye are left out, since they may be clipped; so are those whose parallax
    jumps. Both eyes count as equally uncertain, so that noise does not pull the gain down.

    Parameters
    ----------
    left_rgb, right_rgb : (h, w, 3) float32
        Small R'G'B' pictures, 0 at black and 1 at white, the right one with its misfit taken out.
    parallax : (h, w) float32
        Of the left eye, in pixels of these pictures; NaN where unknown.
    """
    matched = _matched(left_rgb, right_rgb, parallax)
    if matched is None:
        return ToneDifference()
    own, other = matched
    gains, blacks = _lines(own, other)
    red, green, blue, luma = (100.0 * (float(gain) - 1.0) for gain in gains)
    return ToneDifference(luma, 100.0 * float(blacks[3]), red, green, blue)


def _matched(left: Rgb, right: Rgb, parallax: Parallax) -> tuple[Floats, Floats] | None:
    """Means of matched blocks in both eyes, (4, n) each: R, G, B and luma."""
    height, width = parallax.shape
    down, across = height // _BLOCK_PX, width // _BLOCK_PX
    good = _steady(parallax)
    # The nearest pixel and not one between: reading between pixels softens one eye and so takes contrast from it.
    own_columns, rows = pixel_grid(height, width)
    columns = own_columns + np.rint(np.where(good, parallax, np.float32(0.0)))
    good &= (columns >= 0) & (columns < width)
    shown = cv2.remap(right, columns, rows, cv2.INTER_NEAREST, borderMode=cv2.BORDER_REPLICATE)
    # Channels first: all tests over them run along whole pictures.
    pair = np.stack([*cv2.split(left), *cv2.split(shown)])
    good &= np.isfinite(pair.sum(axis=0))
    if min(down, across) == 0 or np.count_nonzero(good) < _MIN_BLOCKS * _BLOCK_PX**2 * _MIN_BLOCK_SHARE:
        return None
    some = pair.reshape(6, -1)[:, ::4][:, good.ravel()[::4]]
    brightest = np.percentile(some, _BRIGHTEST_PERCENTILE, axis=1) if some.size else np.ones(6)
    bright = np.zeros((height, width), bool)
    for plane, top in zip(pair, brightest):
        bright |= plane >= _CLIPPED_SHARE * top
    # What lies beside a bright place may hold a clipped part.
    good &= cv2.dilate(bright.astype(np.uint8), np.ones((3, 3), np.uint8)) == 0
    planes = np.concatenate([np.where(good, pair, np.float32(0.0)), good[None].astype(np.float32)])
    size = (across, down)
    sums = np.stack(
        [cv2.resize(p[: down * _BLOCK_PX, : across * _BLOCK_PX], size, interpolation=cv2.INTER_AREA) for p in planes]
    ).reshape(7, -1)
    enough = sums[:, sums[6] >= _MIN_BLOCK_SHARE].astype(np.float64)
    if enough.shape[1] < _MIN_BLOCKS:
        return None
    means = enough[:6] / enough[6]
    return np.vstack([means[:3], _LUMA @ means[:3]]), np.vstack([means[3:], _LUMA @ means[3:]])


def _steady(parallax: Parallax) -> npt.NDArray[np.bool_]:
    """Where the parallax is known and does not jump: beside a jump, a small picture mixes two things."""
    most = max(0.5, _JUMP_SHARE * parallax.shape[1])
    kernel = np.ones((3, 3), np.uint8)
    known = np.isfinite(parallax)
    high = cv2.dilate(np.where(known, parallax, np.float32(-1e6)), kernel)
    low = cv2.erode(np.where(known, parallax, np.float32(1e6)), kernel)
    return np.asarray(known & (high - low <= most), bool)


def _lines(own: Floats, other: Floats) -> tuple[Floats, Floats]:
    """Gain and offset of ``other = gain · own + offset`` in each row, robust and alike from either side.

    The reduced major axis: the slope is the ratio of the spreads, so that noise which both share cancels. NaN where a
    row does not tell.
    """
    weights = np.ones_like(own)
    gain = np.ones(len(own))

    def summed(*factors: Floats) -> Floats:
        return np.asarray(np.einsum(",".join(["ij"] * len(factors)) + "->i", *factors), np.float64)

    for step in range(6):
        total = np.maximum(summed(weights), 1e-9)
        centre, centre_other = summed(weights, own) / total, summed(weights, other) / total
        a, b = own - centre[:, None], other - centre_other[:, None]
        variance, variance_other = summed(weights, a, a) / total, summed(weights, b, b) / total
        gain = np.sqrt(np.maximum(variance_other, 1e-12) / np.maximum(variance, 1e-12))
        across = np.abs(b - gain[:, None] * a) / np.hypot(1.0, gain)[:, None]
        if step < 2:
            # Least absolute distances first: a good start however far the false matches lie off.
            weights = 1.0 / np.maximum(across, _LEAST_SPREAD)
            continue
        spread = np.maximum(1.4826 * np.median(across, axis=1), _LEAST_SPREAD)
        weights = np.maximum(0.0, 1.0 - (across / (_TUKEY * spread[:, None])) ** 2) ** 2
    error = spread / np.sqrt(np.maximum(variance * total, 1e-12))
    told = (summed(weights, a, b) > 0.0) & (error <= _MOST_GAIN_ERROR * gain)
    offset = np.where(told & (error * centre <= _MOST_BLACK_ERROR), centre_other - gain * centre, np.nan)
    return np.where(told, gain, np.nan), offset


def sharpness_difference(
    left: npt.NDArray[np.generic],
    right: npt.NDArray[np.generic],
    parallax: Parallax,
    gain_pct: float,
    misfit: Misfit | None = None,
    scale: float = 1.0,
) -> float:
    """Fine detail of the right eye against the left, percent; negative where the right is softer.

    It is the contrast around a period of four pixels, over matched patches, after the gain has been taken out. Noise
    lies in every patch alike: what the plainest patches hold is taken off all. Patches are read as they are, never
    between pixels, so that nothing is softened by looking.

    Parameters
    ----------
    left, right : (H, W), any type
        Luma at full size, in any codes; the right eye with its misfit still in.
    parallax : (h, w) float32
        Of the left eye at any smaller size, in pixels of that size; NaN where unknown.
    gain_pct : float
        From :func:`tone_difference`; taken as none where it is NaN.
    misfit : Misfit, optional
    scale : float
        Pixels of ``left`` per proxy pixel of the misfit.

    Returns
    -------
    float
        NaN where too few matched patches stand out from the plainest ones, or they do not agree.
    """
    height, width = left.shape
    side = int(np.clip(round(width * _PATCH_SHARE), *_PATCH_PX))
    own, other = _patch_corners(parallax, width, height, side, misfit or Misfit(0.0, 0.0, 1.0), scale)
    if len(own) < _MIN_PATCHES:
        return math.nan
    patches = [_patches(eye, at, side) for eye, at in ((left, own), (right, other))]
    detail = np.stack([_fine_detail(eye) for eye in patches])
    seen = np.isfinite(detail).all(axis=0)
    if np.count_nonzero(seen) < _MIN_PATCHES:
        return math.nan
    ratio = _detail_ratio(detail[:, seen], np.percentile(detail[:, seen], _FLOOR_PERCENTILE, axis=1))
    if math.isnan(ratio):
        # One texture all over the picture has no plain patch; then at least what white noise would leave comes off.
        white = np.stack([_white_noise(eye) for eye in patches])
        ratio = _detail_ratio(detail[:, seen], np.percentile(white[:, seen], _FLOOR_PERCENTILE, axis=1))
    gain = 1.0 + gain_pct / 100.0 if math.isfinite(gain_pct) else 1.0
    return 100.0 * (ratio / gain - 1.0)


def _detail_ratio(detail: Floats, floor: Floats) -> float:
    """Amplitude of detail (2, patches) in the right eye over that in the left, above a floor in each; NaN: not told."""
    # Chosen by both eyes together, so that the choice favours neither.
    standing_out = np.sqrt(detail.prod(axis=0)) > _ABOVE_FLOOR * math.sqrt(float(floor.prod()))
    above = (detail - floor[:, None])[:, standing_out]
    if above.shape[1] < _MIN_PATCHES:
        return math.nan
    # Over the sharper eye: what the other holds may lie about its floor.
    order = (0, 1) if np.median(above[0]) >= np.median(above[1]) else (1, 0)
    shares = above[order[1]] / np.maximum(above[order[0]], 1e-12)
    share = float(np.median(shares))
    if share <= 0.0:
        return math.nan
    error = 1.25 * 1.4826 * float(np.median(np.abs(shares - share))) / math.sqrt(len(shares)) / (2.0 * math.sqrt(share))
    if error > _MOST_SHARPNESS_ERROR:
        return math.nan
    return math.sqrt(share) if order[0] == 0 else 1.0 / math.sqrt(share)


def _patch_corners(
    parallax: Parallax, width: int, height: int, side: int, misfit: Misfit, scale: float
) -> tuple[npt.NDArray[np.intp], npt.NDArray[np.intp]]:
    """Upper left corners (n, 2) of patches that show the same in the left and in the right eye, both wholly inside."""
    small_height, small_width = parallax.shape
    factor = width / small_width
    across, down = ((np.arange(count) + 0.5) * (size / count) - 0.5 for count, size in zip(_PATCHES, (width, height)))
    centres = np.stack(np.meshgrid(across, down), axis=-1).reshape(-1, 2)
    reach = np.array([-0.4, 0.0, 0.4]) * side
    spots = centres[:, None, :] + np.stack(np.meshgrid(reach, reach), axis=-1).reshape(1, 9, 2)
    columns = np.clip((spots[..., 0] / factor).astype(np.intp), 0, small_width - 1)
    rows = np.clip((spots[..., 1] * small_height / height).astype(np.intp), 0, small_height - 1)
    found = parallax[rows, columns] * factor
    level = np.ptp(found, axis=1) <= side / 8
    centres, shift = centres[level], np.median(found[level], axis=1)
    partners = misfit.in_right(centres + np.column_stack([shift, np.zeros_like(shift)]), width, height, scale)
    own, other = (np.rint(at - side / 2).astype(np.intp) for at in (centres, partners))
    most = np.array([width, height]) - side
    inside = ((own >= 0) & (own <= most) & (other >= 0) & (other <= most)).all(axis=1)
    return own[inside], other[inside]


def _patches(picture: npt.NDArray[np.generic], corners: npt.NDArray[np.intp], side: int) -> npt.NDArray[np.float32]:
    return np.stack([picture[y : y + side, x : x + side] for x, y in corners]).astype(np.float32)


def _fine_detail(patches: npt.NDArray[np.float32]) -> Floats:
    """Mean square of the second difference over two pixels, across plus down, of each patch, (n,)."""
    across = 2.0 * patches[:, :, 2:-2] - patches[:, :, :-4] - patches[:, :, 4:]
    down = 2.0 * patches[:, 2:-2] - patches[:, :-4] - patches[:, 4:]
    energy = np.einsum("ijk,ijk->i", across, across) + np.einsum("ijk,ijk->i", down, down)
    return np.asarray(energy / across[0].size, np.float64)


def _white_noise(patches: npt.NDArray[np.float32]) -> Floats:
    """The same as white noise would make it, from the second difference across and down, which sees little else."""
    across = 2.0 * patches[:, :, 1:-1] - patches[:, :, :-2] - patches[:, :, 2:]
    both = 2.0 * across[:, 1:-1] - across[:, :-2] - across[:, 2:]
    # White noise of variance 1 makes 36 there (6 · 6) and 12 (6 + 6) in the fine detail.
    return np.asarray(np.einsum("ijk,ijk->i", both, both) / both[0].size * (12.0 / 36.0), np.float64)
