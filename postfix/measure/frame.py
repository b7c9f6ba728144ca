"""One frame of both eyes → its row of the measurement table."""

from __future__ import annotations

import math
import threading
from dataclasses import asdict, dataclass, replace
from typing import Any

import cv2
import numpy as np
import numpy.typing as npt

from postfix.measure.active import Active, active_picture
from postfix.measure.beside import beside_pct, top_and_bottom_pct
from postfix.measure.confidence import Evidence, confidence_of
from postfix.measure.edges import edge_bands_of, nearest_band
from postfix.measure.ends import Ends, find_ends
from postfix.measure.likeness import Signature, signature
from postfix.measure.matching import SEARCH_PCT, Parallax, ParallaxMaps, match, only, only_seen, search_range
from postfix.measure.misfit import without_misfit
from postfix.measure.nearer import nearer_than
from postfix.measure.order import OrderEvidence, order_evidence
from postfix.measure.proxy import LARGEST_LUMA, Grey, ProxyPair, proxy_pair, small_luma
from postfix.measure.rivalry import find_rivalry
from postfix.measure.side import Side, columns_needed
from postfix.measure.straight import Straight, straightened
from postfix.measure.support import borne_out, no_guess, share_repeated
from postfix.measure.sync import SyncSignature, sync_signature
from postfix.measure.table import FrameMeasure
from postfix.measure.thin import with_thin_things
from postfix.measure.tone import sharpness_difference, tone_difference
from postfix.measure.where import end_boxes
from postfix.source.picture import PictureFormat, Plane, Planes, grey, small_rgb

MIN_MATCHED_SHARE = 0.15
"""Of what has texture, less than this share matched is too little to speak of the frame's near and far."""

MIN_COVERAGE_PCT = 0.5
"""The same of the whole picture, however little of it has texture."""

_TEXTURE_CODES = 8
_BLACK_SHARE = 0.016
_BORNE_OUT_SHARE = 0.15
_LEAST_CONFIDENCE = 0.08
"""Below this there is no figure: on material made to be hopeless hardly one was right."""

_BEYOND_NEAREST_PCT = 3.0
"""What touches an edge is looked for this much nearer than anything the map holds, percent of width."""

_AGREE_SHARE = 0.0025
_RGB_WIDTH_PX = 160
NO_NUMBERS_SHARE = 0.001
_WITH_NO_NUMBERS = 0.5

SMALLEST_SIDE_PX = 32
"""Below this height or width there is no room for points, rows and patches to bear each other out."""

TOO_SMALL = "picture too small to measure"
NO_TEXTURE = "no texture to match"
NOTHING_IN_COMMON = "too little in common between the eyes"
REPEATED = "repeated texture: the eyes match at more than one place"
NOT_TO_BE_TOLD = "what was matched contradicts itself"
IDENTICAL = "both eyes are identical"
NO_NUMBERS = "samples that are no numbers"


@dataclass(frozen=True)
class Trace:
    """What a frame leaves for judging its shot as a whole; None where the frame shows nothing.

    ``sync`` holds the eyes brought to one brightness and contrast, ``seen`` as they are, (h, w) float32 each.
    """

    cut: Signature
    sync: SyncSignature | None = None
    seen: tuple[Grey, Grey] | None = None
    order: OrderEvidence | None = None


@dataclass(frozen=True, eq=False)
class Eyes:
    """Both eyes of a frame, ready to be matched, or why they are not.

    Attributes
    ----------
    left, right : (H, W) float32
        Luma, black where a sample was no number; memory that the next frame of the same thread is written into.
    proxy : ProxyPair or None
        None where the picture is too small for one.
    holes : float
        Share of an eye, the one that has more, that was no number.
    note : str
        Why they cannot be matched; empty where they can.
    """

    left: Grey
    right: Grey
    proxy: ProxyPair | None
    holes: float
    note: str


@dataclass(frozen=True, eq=False)
class Mapped:
    """What making the dense map of a frame showed: the figures known by then, and the map where it is worth one.

    ``measure`` has what black hides, the coverage and the confidence, and the note where ``found`` is None.
    """

    measure: FrameMeasure
    active: Active
    straight: Straight
    found: Found | None


@dataclass(frozen=True, eq=False)
class Found:
    """A map worth speaking of, the ends found in it, and what bears them out."""

    maps: ParallaxMaps
    ends: Ends
    evidence: Evidence


def measure_frame(
    left: Planes, right: Planes, fmt: PictureFormat, *, with_all: bool = True, pixel_aspect: float = 1.0
) -> tuple[FrameMeasure, Trace]:
    """Measure one frame of both eyes.

    Parameters
    ----------
    left, right : Planes
        In the codes of ``fmt``.
    with_all : bool
        Whether to look at what belongs to the shot as well: brightness, colour, sharpness, the order of the eyes.
    pixel_aspect : float
        Width over height of one pixel as it is shown.

    Returns
    -------
    FrameMeasure
        NaN and a note where nothing can be measured.
    Trace
    """
    eyes = eyes_of(left, right, fmt)
    if eyes.proxy is None:
        return FrameMeasure(note=eyes.note), Trace(signature(eyes.left))
    trace = Trace(signature(eyes.proxy.luma))
    if eyes.note in (NO_NUMBERS, NO_TEXTURE):
        return FrameMeasure(coverage_pct=0.0 if eyes.note == NO_TEXTURE else math.nan, note=eyes.note), trace
    seen = small_luma(eyes.proxy.luma), small_luma(eyes.proxy.right_luma)
    trace = replace(trace, sync=sync_signature(eyes.proxy.left, eyes.proxy.right), seen=seen)
    if eyes.note:
        return FrameMeasure(note=eyes.note), trace
    measure, straight, parallax = _parallax(eyes, eyes.proxy, pixel_aspect)
    if parallax is None:
        return measure, trace
    if with_all:
        trace = replace(trace, order=order_evidence(straight.left, straight.right, parallax))
    if with_all and not eyes.holes:
        # Detail is compared on steps like those that the gain is told on; in light it would be that of highlights.
        seen_at = (eyes.left, eyes.right) if fmt.is_linear else (_coded(left), _coded(right))
        measure = replace(measure, **_tone(left, right, fmt, straight, parallax.left, *seen_at))
    if eyes.holes:
        measure = replace(measure, confidence=min(measure.confidence, _WITH_NO_NUMBERS), note=NO_NUMBERS)
    return measure, trace


def eyes_of(left: Planes, right: Planes, fmt: PictureFormat) -> Eyes:
    """Luma and proxy of both eyes of a frame, in the codes of ``fmt``, and whether they can be matched at all."""
    left_grey, right_grey = (grey(planes, fmt, out) for planes, out in zip((left, right), _scratch(fmt)))
    if min(left_grey.shape) < SMALLEST_SIDE_PX:
        return Eyes(left_grey, right_grey, None, 0.0, TOO_SMALL)
    proxy, holes, note = proxy_pair(left_grey, right_grey), 0.0, ""
    if not proxy.is_finite:
        holes = max(mended(left_grey), mended(right_grey))
        proxy = proxy_pair(left_grey, right_grey)
    if holes > NO_NUMBERS_SHARE:
        note = NO_NUMBERS
    elif proxy.is_flat:
        note = NO_TEXTURE
    elif np.array_equal(left_grey[:2], right_grey[:2]) and np.array_equal(left_grey, right_grey):
        note = IDENTICAL
    return Eyes(left_grey, right_grey, proxy, holes, note)


def glance(left: Planes, fmt: PictureFormat) -> Trace:
    """What a frame that is not measured leaves: enough to find cuts."""
    return Trace(signature(grey(left, fmt, _scratch(fmt)[0])))


_of_thread = threading.local()


def _scratch(fmt: PictureFormat) -> tuple[Grey, Grey]:
    """Memory for both eyes' luma, kept by each thread from frame to frame."""
    shape = (fmt.height, fmt.width)
    kept: tuple[Grey, Grey] | None = getattr(_of_thread, "luma", None)
    if kept is None or kept[0].shape != shape:
        kept = (np.empty(shape, np.float32), np.empty(shape, np.float32))
        _of_thread.luma = kept
    return kept


def mended(eye: Grey) -> float:
    """Make black in place what is no number; the share that was."""
    bad = ~(np.abs(eye) < LARGEST_LUMA)
    eye[bad] = 0.0
    return float(bad.mean())


def map_of(eyes: Eyes, proxy: ProxyPair, pixel_aspect: float) -> Mapped:
    """The dense map that all figures of a frame rest on, of eyes that can be matched."""
    left, right = eyes.left, eyes.right
    active = active_picture(left, right)
    measure = FrameMeasure(
        left_hidden_px=active.left_hidden_px,
        right_hidden_px=active.right_hidden_px,
        left_bars_px=active.left.bars_px,
        right_bars_px=active.right.bars_px,
    )
    straight = straightened(proxy, pixel_aspect)
    searched = search_range(straight.coarse, _across(straight), straight.left.shape[1])
    if searched is None:
        return Mapped(replace(measure, coverage_pct=0.0, note=NOTHING_IN_COMMON), active, straight, None)
    dense = match(straight.left, straight.right, *searched)
    maps = only_seen(with_thin_things(dense, straight.left, straight.right, *searched))
    maps = only(maps, _both_eyes_lit(maps.left, active, straight, left.shape))
    supported = borne_out(straight.left, straight.right, maps.left)
    lit = proxy.luma > _BLACK_SHARE
    maps = only(maps, no_guess(maps.left, supported) & (lit | supported))
    matched = np.isfinite(maps.left)
    coverage_pct = 100.0 * float(matched.mean())
    share = _matched_share(straight, matched)
    measure = replace(measure, coverage_pct=coverage_pct)
    if coverage_pct < MIN_COVERAGE_PCT or share < MIN_MATCHED_SHARE:
        return Mapped(replace(measure, note=NOTHING_IN_COMMON), active, straight, None)
    ends = find_ends(maps.left, left, right, straight.to_right(left.shape[1], left.shape[0]))
    rows, columns = (np.concatenate(both) for both in zip(ends.near_places, ends.far_places))
    repeated = share_repeated(straight.left, rows, columns, searched[1] - searched[0])
    if repeated > 0.5:
        return Mapped(replace(measure, note=REPEATED), active, straight, None)
    agreeing, witnesses = _agreeing(straight, maps.left)
    evidence = Evidence(
        matched=share,
        # Black has no depth that anyone could see.
        supported=int(np.count_nonzero(supported)) / max(1, int(np.count_nonzero(lit | supported))),
        agreeing=agreeing,
        witnesses=witnesses,
        near_sure=ends.near_sure,
        far_sure=ends.far_sure,
        near_supported=float(supported[ends.near_places].mean()),
        far_supported=float(supported[ends.far_places].mean()),
        repeated=repeated,
    )
    measure = replace(measure, confidence=confidence_of(evidence))
    if measure.confidence < _LEAST_CONFIDENCE:
        return Mapped(replace(measure, note=NOT_TO_BE_TOLD), active, straight, None)
    return Mapped(measure, active, straight, Found(maps, ends, evidence))


def _parallax(eyes: Eyes, proxy: ProxyPair, pixel_aspect: float) -> tuple[FrameMeasure, Straight, ParallaxMaps | None]:
    """Everything that luma tells; no maps where it tells too little."""
    mapped = map_of(eyes, proxy, pixel_aspect)
    straight, found = mapped.straight, mapped.found
    if found is None:
        return mapped.measure, straight, None
    left, right, maps = eyes.left, eyes.right, found.maps
    rivalry = find_rivalry(straight.left, straight.right, maps, straight.scale)
    measure = replace(mapped.measure, **_end_figures(found.ends, found.evidence))
    near_box, far_box = end_boxes(maps.left, measure.near_pct, measure.far_pct, left.shape[1], left.shape[0])
    nearer = nearer_than(maps.left, measure.near_pct, measure.median_pct, measure.far_pct)
    measure = replace(
        measure,
        **_misfit_figures(straight),
        **_edge_figures(left, right, straight, maps, mapped.active, -found.ends.nearest_pct),
        rivalry_pct=rivalry.pct,
        rivalry_boxes=rivalry.boxes,
        near_box=near_box,
        far_box=far_box,
        nearer_share_pct=nearer[0],
        nearer_width_pct=nearer[1],
        nearer_height_pct=nearer[2],
    )
    return measure, straight, maps


def _across(straight: Straight) -> npt.NDArray[np.float32]:
    return straight.points.right[:, 0] - straight.points.left[:, 0]


def _misfit_figures(straight: Straight) -> dict[str, Any]:
    misfit = straight.misfit
    if misfit is None:
        return {}
    return {
        "vertical_px": misfit.vertical_px * straight.scale,
        "rotation_deg": math.degrees(misfit.rotation),
        "size_pct": 100.0 * (misfit.size - 1.0),
        "keystone_pct": 100.0 * misfit.keystone,
    }


def _both_eyes_lit(
    parallax: Parallax, active: Active, straight: Straight, size: tuple[int, ...]
) -> npt.NDArray[np.bool_]:
    """Where neither eye is hidden by black, nor the right eye's frame is left behind by straightening, (h, w)."""
    height, width = parallax.shape
    outside = straight.outside
    if not active and not any(side.any() for side in outside):
        return np.ones(parallax.shape, np.bool_)
    columns = np.arange(width)[None, :]
    seen = (columns >= outside[0][:, None]) & (columns < width - outside[1][:, None])
    seen &= active.right.lit(height, width, size[0], size[1])
    partner = np.clip(np.rint(columns + np.nan_to_num(parallax)), 0, width - 1).astype(np.intp)
    lit = active.left.lit(height, width, size[0], size[1])
    return np.asarray(lit & np.take_along_axis(seen, partner, axis=1), np.bool_)


def _end_figures(ends: Ends, evidence: Evidence) -> dict[str, Any]:
    """Near to far; an end that nothing bears out stays empty."""
    figures = {"median_pct": ends.median_pct}
    if max(evidence.near_sure, evidence.near_supported) >= _BORNE_OUT_SHARE:
        figures |= {"near_pct": ends.near_pct, "nearest_pct": ends.nearest_pct}
    if max(evidence.far_sure, evidence.far_supported) >= _BORNE_OUT_SHARE:
        figures |= {"far_pct": ends.far_pct, "farthest_pct": ends.farthest_pct}
    return figures


def _edge_figures(
    left: Grey, right: Grey, straight: Straight, maps: ParallaxMaps, active: Active, in_front_pct: float
) -> dict[str, Any]:
    """What touches the sides, top and bottom, and what lies beside; ``in_front_pct`` is how near anything is."""
    height, width = left.shape
    reach_pct = min(SEARCH_PCT, max(0.0, in_front_pct) + _BEYOND_NEAREST_PCT)
    rows = active.kept_out_rows_px
    sides = []
    for is_right in (False, True):
        edges = [(eye.right if is_right else eye.left).kept_out_px for eye in (active.left, active.right)]
        missing, missing_rows = straight.left_behind(is_right=is_right)
        edges[1] = max(edges[1][0], missing[0]), max(edges[1][1], missing[1])
        kept_out = max(rows[0], missing_rows[0]), max(rows[1], missing_rows[1])
        columns = max(columns_needed(width, line, reach_pct) for line in edges)
        eyes = [left[:, width - columns :] if is_right else left[:, :columns]]
        eyes.append(straight.strip(right, columns, is_right=is_right))
        # At the left side the right eye's edge cuts what stands in front, and the other way round.
        own, other = (0, 1) if is_right else (1, 0)
        seen = maps.left if is_right else maps.right
        size = (width, height)
        sides.append(Side(eyes[own], eyes[other], seen, edges[own], edges[other], is_right, size, kept_out, reach_pct))
    figures: dict[str, Any] = {}
    for name, side, bands in zip(("left", "right"), sides, edge_bands_of(sides)):
        figures[f"{name}_edge_pct"] = nearest_band(bands)
        figures[f"{name}_rows_pct"] = tuple(bands.tolist())
        figures[f"{name}_beside_pct"] = beside_pct(side, bands)
    figures["top_edge_pct"], figures["bottom_edge_pct"] = top_and_bottom_pct(maps.left, height, rows)
    return figures


def _matched_share(straight: Straight, matched: npt.NDArray[np.bool_]) -> float:
    """Of the picture that has texture, the share that was matched; lettering on black has little of either."""
    contrast = cv2.morphologyEx(straight.left, cv2.MORPH_GRADIENT, np.ones((5, 9), np.uint8))
    could_be = matched | (contrast >= _TEXTURE_CODES)
    return int(np.count_nonzero(matched)) / max(1, int(np.count_nonzero(could_be)))


def _agreeing(straight: Straight, dense: Parallax) -> tuple[float, int]:
    """Of the points followed by themselves, the share that the dense map agrees with, and of how many."""
    points = straight.points
    at_points = dense[np.rint(points.left[:, 1]).astype(int), np.rint(points.left[:, 0]).astype(int)]
    known = np.isfinite(at_points)
    if not known.any():
        return 0.0, 0
    apart = np.abs(at_points[known] - _across(straight)[known])
    return float(np.mean(apart < _AGREE_SHARE * dense.shape[1])), int(np.count_nonzero(known))


def _coded(planes: Planes) -> Plane:
    """What stands for brightness in coded planes, as it is stored: luma, or green."""
    return planes[0] if planes[0].ndim == 2 else planes[0][..., 1]


def _tone(
    left: Planes,
    right: Planes,
    fmt: PictureFormat,
    straight: Straight,
    dense: Parallax,
    left_seen: Plane,
    right_seen: Plane,
) -> dict[str, Any]:
    """Brightness, black level, colour and sharpness of the right eye against the left.

    ``left_seen`` and ``right_seen``, (H, W) in any codes, are what fine detail is read from.
    """
    left_rgb, right_rgb = (small_rgb(planes, fmt, _RGB_WIDTH_PX) for planes in (left, right))
    height, width = left_rgb.shape[:2]
    if straight.misfit is not None:
        right_rgb = without_misfit(right_rgb, straight.misfit, width / straight.left.shape[1])
    small = cv2.resize(dense, (width, height), interpolation=cv2.INTER_NEAREST) * np.float32(width / dense.shape[1])
    tone = tone_difference(left_rgb, right_rgb, np.asarray(small, np.float32))
    sharpness = sharpness_difference(left_seen, right_seen, dense, tone.gain_pct, straight.misfit, straight.scale)
    return {**asdict(tone), "sharpness_pct": sharpness}
