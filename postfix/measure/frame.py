"""One frame of both eyes → its row of the measurement table."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Any

import cv2
import numpy as np
import numpy.typing as npt

from postfix.measure.alignment import (
    Misfit,
    PointMatches,
    find_alignment,
    without_misfit,
)
from postfix.measure.edges import Side, edge_bands, nearest_band
from postfix.measure.ends import Ends, find_ends
from postfix.measure.hidden import hidden_columns, hidden_px
from postfix.measure.matching import (
    Parallax,
    ParallaxMaps,
    coarse_parallax,
    match,
    search_range,
    seen_from_right,
)
from postfix.measure.misfit import outside_columns
from postfix.measure.patches import ToRight
from postfix.measure.proxy import Grey, Grey8, ProxyPair, is_flat, proxy_pair
from postfix.measure.table import FrameMeasure
from postfix.measure.thin import with_thin_things

MIN_MATCHED_SHARE = 0.15
"""Of what has texture, less than this share matched is too little to speak of the frame's near and far."""

MIN_COVERAGE_PCT = 0.5
"""The same of the whole picture, however little of it has texture."""

_SPOILS_COARSE_SHARE = 0.006
_FULL_SHARE = 0.6
_AGREE_PX = 1.5
_TEXTURE_CODES = 8
_MIN_WITNESSES = 12

SMALLEST_SIDE_PX = 32
"""Below this height or width there is no room for points, rows and patches to bear each other out."""

TOO_SMALL = "picture too small to measure"
NO_TEXTURE = "no texture to match"
NOTHING_IN_COMMON = "too little in common between the eyes"


def measure_grey(left: Grey, right: Grey) -> FrameMeasure:
    """Measure one pair of luma pictures.

    Parameters
    ----------
    left, right : (H, W) float32, 0 at black and 1 at white

    Returns
    -------
    FrameMeasure
        NaN and a note where nothing can be measured.
    """
    if min(left.shape) < SMALLEST_SIDE_PX:
        return FrameMeasure(note=TOO_SMALL)
    if is_flat(left) or is_flat(right):
        return FrameMeasure(coverage_pct=0.0, note=NO_TEXTURE)
    hidden_left, hidden_right = hidden_px(left), hidden_px(right)
    measure = FrameMeasure(
        left_hidden_px=(*hidden_left[0], *hidden_right[0]),
        right_hidden_px=(*hidden_left[1], *hidden_right[1]),
    )
    proxy = proxy_pair(left, right)
    straight, misfit, points, coarse = _straightened(proxy)
    height, width = straight.left.shape
    across = points.right[:, 0] - points.left[:, 0]
    searched = search_range(coarse, across, width)
    if searched is None:
        return replace(measure, coverage_pct=0.0, note=NOTHING_IN_COMMON)
    parallax = with_thin_things(
        match(straight.left, straight.right, *searched), straight.left, straight.right, *searched
    )
    maps = ParallaxMaps(parallax, seen_from_right(parallax))
    columns = {
        (eye, side): hidden_columns(line, height, straight.scale)
        for eye, lines in (("left", hidden_left), ("right", hidden_right))
        for side, line in zip(("left", "right"), lines)
    }
    if misfit is not None:
        for side, outside in zip(("left", "right"), outside_columns(misfit, width, height)):
            columns["right", side] = np.maximum(columns["right", side], outside)
    seen = _both_eyes_lit(maps.left, columns)
    found = seen[np.isfinite(seen)]
    coverage_pct = 100.0 * found.size / seen.size
    share = _matched_share(straight.left, seen)
    if coverage_pct < MIN_COVERAGE_PCT or share < MIN_MATCHED_SHARE:
        return replace(measure, coverage_pct=coverage_pct, note=NOTHING_IN_COMMON)
    straight_right = right if misfit is None else without_misfit(right, misfit, straight.scale)
    left_side = Side(straight_right, left, maps.right, hidden_right[0], hidden_left[0], is_right=False)
    right_side = Side(left, straight_right, maps.left, hidden_left[1], hidden_right[1], is_right=True)
    left_bands, right_bands = edge_bands(left_side), edge_bands(right_side)
    return replace(
        measure,
        **_misfit_figures(misfit, straight.scale),
        **_parallax_figures(find_ends(seen, left, right, _to_right(misfit, straight.scale, left.shape))),
        left_edge_pct=nearest_band(left_bands),
        right_edge_pct=nearest_band(right_bands),
        left_rows_pct=tuple(left_bands.tolist()),
        right_rows_pct=tuple(right_bands.tolist()),
        coverage_pct=coverage_pct,
        confidence=_confidence(share, seen, points),
    )


def _straightened(proxy: ProxyPair) -> tuple[ProxyPair, Misfit | None, PointMatches, Parallax]:
    """Find the misfit between the eyes and take it out of the right one; points and coarse map are of that pair."""
    height, width = proxy.left.shape
    coarse = coarse_parallax(proxy.left, proxy.right)
    misfit, points = find_alignment(proxy.left, proxy.right, coarse)
    if misfit is None or not misfit.worth_removing(width, height):
        return proxy, misfit, points, coarse
    right = without_misfit(proxy.right, misfit, 1.0)
    # A misfit of more than a row or two of the coarse map spoils it.
    if misfit.corner_px(width, height) > _SPOILS_COARSE_SHARE * width:
        coarse = coarse_parallax(proxy.left, right)
    return ProxyPair(proxy.left, right, proxy.scale), misfit, points, coarse


def _misfit_figures(misfit: Misfit | None, scale: float) -> dict[str, Any]:
    if misfit is None:
        return {}
    return {
        "vertical_px": misfit.vertical_px * scale,
        "rotation_deg": math.degrees(misfit.rotation),
        "size_pct": 100.0 * (misfit.size - 1.0),
        "keystone_pct": 100.0 * misfit.keystone,
    }


def _both_eyes_lit(parallax: Parallax, hidden: dict[tuple[str, str], npt.NDArray[np.int32]]) -> Parallax:
    """The left eye's map without what black hides in either eye."""
    if not any(columns.any() for columns in hidden.values()):
        return parallax
    width = parallax.shape[1]
    own = np.arange(width)[None, :]
    partner = own + np.nan_to_num(parallax)
    lit = np.ones(parallax.shape, bool)
    for eye, x in (("left", own), ("right", partner)):
        lit &= (x >= hidden[eye, "left"][:, None]) & (x < width - hidden[eye, "right"][:, None])
    return np.where(lit, parallax, np.float32(np.nan))


def _to_right(misfit: Misfit | None, scale: float, shape: tuple[int, ...]) -> ToRight | None:
    """Where a place of the straightened right eye lies in the right eye as it is; None where they are the same."""
    height, width = shape
    if misfit is None or not misfit.worth_removing(round(width / scale), round(height / scale)):
        return None
    corners = misfit.in_right([(0, 0), (width, 0), (0, height), (width, height)], width, height, scale)
    base, across, down = corners[0], (corners[1] - corners[0]) / width, (corners[2] - corners[0]) / height
    both = (corners[3] - corners[1] - corners[2] + corners[0]) / (width * height)

    def placed(x: Any, y: Any) -> tuple[Any, Any]:
        # Shift, rotation, size and keystone together are exactly bilinear in the place.
        product = x * y
        return tuple(
            np.float32(base[i]) + np.float32(across[i]) * x + np.float32(down[i]) * y + np.float32(both[i]) * product
            for i in (0, 1)
        )  # type: ignore[return-value]

    return placed


def _parallax_figures(ends: Ends) -> dict[str, Any]:
    names = ("near_pct", "far_pct", "median_pct", "nearest_pct", "farthest_pct")
    return {name: getattr(ends, name) for name in names}


def _matched_share(left: Grey8, seen: Parallax) -> float:
    """Of the picture that has texture, the share that was matched; lettering on black has little of either."""
    kernel = np.ones((5, 9), np.uint8)
    contrast = cv2.morphologyEx(left, cv2.MORPH_GRADIENT, kernel)
    matched = np.isfinite(seen)
    could_be = matched | (contrast >= _TEXTURE_CODES)
    return int(np.count_nonzero(matched)) / max(1, int(np.count_nonzero(could_be)))


def _confidence(matched_share: float, seen: Parallax, points: PointMatches) -> float:
    """0 to 1: how much was matched, and how many independently followed points the dense map agrees with."""
    share = min(1.0, matched_share / _FULL_SHARE)
    rows = np.rint(points.left[:, 1]).astype(int)
    columns = np.rint(points.left[:, 0]).astype(int)
    at_points = seen[rows, columns]
    known = np.isfinite(at_points)
    if np.count_nonzero(known) < _MIN_WITNESSES:
        return 0.5 * share
    across = points.right[:, 0] - points.left[:, 0]
    agreeing = float(np.mean(np.abs(at_points[known] - across[known]) < _AGREE_PX))
    return share * agreeing
