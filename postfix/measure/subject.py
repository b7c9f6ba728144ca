"""Parallax of one thing that a person points at: a box in the left eye, at one frame.

The whole frame says how the eyes lie to each other and about where the box's content is in the right eye; the box is
then matched on full-size pixels, and places of it are followed to a fraction of a pixel as for near and far.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np
import numpy.typing as npt

from postfix.errors import InputError
from postfix.measure.bad import bad_note
from postfix.measure.frame import (
    IDENTICAL,
    NO_NUMBERS,
    NO_NUMBERS_SHARE,
    NO_TEXTURE,
    NOTHING_IN_COMMON,
    REPEATED,
    SMALLEST_SIDE_PX,
    TOO_SMALL,
    mended,
)
from postfix.measure.matching import SEARCH_PCT, Parallax, match
from postfix.measure.misfit import without_misfit
from postfix.measure.patches import followed
from postfix.measure.proxy import FLAT_CONTRAST, Grey, Grey8, proxy_pair
from postfix.measure.straight import Straight, straightened
from postfix.measure.support import borne_out, share_repeated
from postfix.measure.table import NAN
from postfix.source.pair import PairSource
from postfix.source.picture import Planes, grey

Box = tuple[int, int, int, int]
"""x, y, width, height in pixels of the left eye."""

Pct = npt.NDArray[np.float32]

SMALLEST_BOX_PX = 8

_LARGEST_BOX_PX = 256
"""Boxes larger than this are matched at a reduced size: there is enough in them."""

_AROUND_PX = 24
_MARGIN_PCT = 0.6
_NEED_ON_PROXY = 12
_ENDS = (2.0, 98.0)

_PATCH_SHARE = 0.0002
_SMOOTH_PX = 2.0
_STRETCH_MAX = 10.0
_GAIN_RANGE = (0.5, 2.0)

_BIN_PCT = 0.1
_THIN_SHARE = 0.015
_THIN_OF_MEAN = 0.25
_APART_BINS = 2

_PLACES = 256
_LIKENESS = 0.8
_SPREAD = 0.004
_MOVED_PCT = 0.3
_LEAST_SURE = 8

_FULL = {"matched": 0.3, "sure": 0.85, "share": 0.4}
"""From this share on each kind of evidence leaves nothing to wish."""

_LEAST_MATCHED = 0.03
_LEAST_CONFIDENCE = 0.25
"""Below this there is no figure: boxes with other things in either eye reached 0.17; photographed things fell below it
never as they are, and one time in twenty with grain of 6 to 10 codes of 255 in each eye."""


@dataclass(frozen=True)
class SubjectFound:
    """What can be said of one box.

    Attributes
    ----------
    frame : int
    box : tuple of 4 ints
        As asked for.
    parallax_pct : float
        Of the thing in the box, percent of width; NaN where nothing can be said.
    share : float
        How much of what was matched in the box lies at that depth, 0 to 1; the rest is nearer or farther.
    confidence : float
        0 to 1.
    reason : str
        Why nothing can be said; empty where something can.
    """

    frame: int
    box: Box
    parallax_pct: float = NAN
    share: float = 0.0
    confidence: float = 0.0
    reason: str = ""


def subjects_parallax(pair: PairSource, wanted: Sequence[tuple[int, Box]]) -> tuple[SubjectFound, ...]:
    """Measure what is in some boxes, in the order asked for; each frame is decoded once, and only those needed are.

    Parameters
    ----------
    pair : PairSource
    wanted : sequence of (int, (int, int, int, int))
        Frames of the clip counted from 0; x, y, width, height in pixels of the left eye.

    Raises
    ------
    InputError
        Where a frame lies outside the clip, a box outside the picture, or a frame cannot be decoded.
    """
    for frame, box in wanted:
        _check(pair, frame, box)
    found: dict[tuple[int, Box], SubjectFound] = {}
    for first, last in _runs(sorted({frame for frame, _ in wanted})):
        # Colour is not looked at.
        for shown in pair.filled_frames(first, last, colour_every=max(2, pair.count)):
            frame, note = shown.index, bad_note(pair, shown.bad)
            boxes = [box for at, box in dict.fromkeys(wanted) if at == frame]
            if note:  # another frame that is shown there tells nothing of this one
                found.update({(frame, box): SubjectFound(frame, box, reason=note) for box in boxes})
                continue
            for one in _in_frame(pair, frame, shown.left, shown.right, boxes):
                found[frame, one.box] = one
    return tuple(found[frame, box] for frame, box in wanted)


def _check(pair: PairSource, frame: int, box: Box) -> None:
    width, height = pair.format.width, pair.format.height
    if not 0 <= frame < pair.count:
        raise InputError(
            pair.name, f"a subject at frame {frame}", f"frames 0 to {pair.count - 1}", "choose a frame of the clip"
        )
    x, y, across, down = box
    if not (x >= 0 and y >= 0 and across >= 1 and down >= 1 and x + across <= width and y + down <= height):
        raise InputError(
            pair.name,
            f"a subject's box {x},{y},{across},{down} (x, y, width, height) at frame {frame}",
            f"a box inside the picture of {width}x{height}",
            "give a box inside it, in pixels of the left eye",
        )


def _runs(frames: Sequence[int]) -> list[tuple[int, int]]:
    """First and last of each stretch of neighbouring frames: what lies between is not decoded for nothing."""
    starts = [frame for i, frame in enumerate(frames) if i == 0 or frame != frames[i - 1] + 1]
    ends = [frame for i, frame in enumerate(frames) if i == len(frames) - 1 or frames[i + 1] != frame + 1]
    return list(zip(starts, ends))


def _in_frame(
    pair: PairSource, frame: int, left_planes: Planes, right_planes: Planes, boxes: Sequence[Box]
) -> list[SubjectFound]:
    left, right = (grey(planes, pair.format) for planes in (left_planes, right_planes))
    reason = _unfit(left, right)
    if reason:
        return [SubjectFound(frame, box, reason=reason) for box in boxes]
    proxy = proxy_pair(left, right)
    if proxy.is_flat:
        return [SubjectFound(frame, box, reason=NO_TEXTURE) for box in boxes]
    straight = straightened(proxy, float(pair.pixel_aspect))
    reach = SEARCH_PCT / 100.0 * straight.left.shape[1]
    rough = match(straight.left, straight.right, -reach, reach, _PATCH_SHARE)
    # The eyes' brightness and contrast, alike as on the proxy.
    spreads = float(proxy.luma.std()), float(proxy.right_luma.std())
    gain = float(np.clip(spreads[0] / max(spreads[1], 1e-6), *_GAIN_RANGE))
    level = float(proxy.luma.mean()) - gain * float(proxy.right_luma.mean())
    return [_in_box(_Subject(frame, box, left, right, straight, gain, level), rough) for box in boxes]


def _unfit(left: Grey, right: Grey) -> str:
    """Why nothing can be said of any box of a frame; mends single samples that are no numbers in place."""
    if min(left.shape) < SMALLEST_SIDE_PX:
        return TOO_SMALL
    if max(mended(left), mended(right)) > NO_NUMBERS_SHARE:
        return NO_NUMBERS
    if np.array_equal(left, right):
        return IDENTICAL
    return ""


@dataclass(frozen=True, eq=False)
class _Subject:
    """One box, the full-size luma of both eyes as they are, and what the whole frame says of them."""

    frame: int
    box: Box
    left: Grey
    right: Grey
    straight: Straight
    gain: float
    level: float

    def unknown(self, reason: str) -> SubjectFound:
        return SubjectFound(self.frame, self.box, reason=reason)


@dataclass(frozen=True, eq=False)
class _Local:
    """A part of both eyes around a box: 8 bits, misfit out, ``scale`` source pixels a pixel, first at ``x0``, ``y0``;
    where the box lies in it, and its map in its own pixels."""

    left: Grey8
    parallax: Parallax
    supported: npt.NDArray[np.bool_]
    box: tuple[slice, slice]
    x0: int
    y0: int
    scale: tuple[float, float]
    reach_px: float


def _in_box(subject: _Subject, rough: Parallax) -> SubjectFound:
    x, y, width, height = subject.box
    if min(width, height) < SMALLEST_BOX_PX:
        return subject.unknown(TOO_SMALL)
    smooth = cv2.GaussianBlur(subject.left[y : y + height, x : x + width], (0, 0), _SMOOTH_PX)
    if float(np.ptp(np.percentile(smooth, (2.0, 98.0)))) < FLAT_CONTRAST:
        return subject.unknown(NO_TEXTURE)
    local = _matched(subject, *_range_pct(subject, rough))
    rows, columns = np.nonzero(local.supported[local.box])
    matched = rows.size / local.supported[local.box].size
    if matched < _LEAST_MATCHED or rows.size < _LEAST_SURE:
        return subject.unknown(NOTHING_IN_COMMON)
    rows, columns = rows + local.box[0].start, columns + local.box[1].start
    pct = local.parallax[rows, columns] * np.float32(100.0 * local.scale[0] / subject.left.shape[1])
    chosen = largest_depth(pct)
    share = float(chosen.mean())
    rows, columns, pct = rows[chosen], columns[chosen], pct[chosen]
    repeated = share_repeated(local.left, rows, columns, local.reach_px)
    if repeated > 0.5:
        return subject.unknown(REPEATED)
    taken = np.linspace(0, rows.size - 1, min(_PLACES, rows.size)).astype(np.intp)
    moved_pct, sure = _followed(subject, local, rows[taken], columns[taken], pct[taken])
    confidence = (
        min(1.0, matched / _FULL["matched"])
        * min(1.0, sure / _FULL["sure"])
        * min(1.0, share / _FULL["share"])
        * (1.0 - repeated)
    )
    if confidence < _LEAST_CONFIDENCE:
        return subject.unknown(NOTHING_IN_COMMON)
    return SubjectFound(subject.frame, subject.box, float(np.median(pct)) + moved_pct, share, confidence)


def _range_pct(subject: _Subject, rough: Parallax) -> tuple[float, float]:
    """Parallax to look for in a box, percent of width: what the proxy has there; everything where it has too little."""
    x, y, width, height = subject.box
    per_x, per_y = (small / large for small, large in zip(rough.shape[::-1], subject.left.shape[::-1]))
    # One pixel of the proxy more on every side.
    x0, y0 = max(0, math.floor(x * per_x) - 1), max(0, math.floor(y * per_y) - 1)
    part = rough[y0 : math.ceil((y + height) * per_y) + 1, x0 : math.ceil((x + width) * per_x) + 1]
    known = part[np.isfinite(part)] * (100.0 / rough.shape[1])
    if known.size < max(_NEED_ON_PROXY, 0.1 * part.size):
        return -SEARCH_PCT, SEARCH_PCT
    low, high = np.percentile(known, _ENDS)
    return max(-SEARCH_PCT, float(low) - _MARGIN_PCT), min(SEARCH_PCT, float(high) + _MARGIN_PCT)


def _matched(subject: _Subject, low_pct: float, high_pct: float) -> _Local:
    """Match the surroundings of a box over a range of parallax."""
    height, width = subject.left.shape
    x, y, across, down = subject.box
    low, high = low_pct / 100.0 * width, high_pct / 100.0 * width
    x0 = max(0, math.floor(x - _AROUND_PX + min(0.0, low)))
    x1 = min(width, math.ceil(x + across + _AROUND_PX + max(0.0, high)))
    y0, y1 = max(0, y - _AROUND_PX), min(height, y + down + _AROUND_PX)
    left = subject.left[y0:y1, x0:x1]
    right = subject.right[y0:y1, x0:x1]
    misfit, scale = subject.straight.misfit, subject.straight.scale
    if misfit is not None:
        right = without_misfit(subject.right, misfit, scale, (x0, y0, x1, y1))
    shrink = max(1.0, max(across, down) / _LARGEST_BOX_PX)
    size = (max(1, round((x1 - x0) / shrink)), max(1, round((y1 - y0) / shrink)))
    eyes = _as_bytes(subject, *(_reduced(eye, size) for eye in (left, right)))
    per_x, per_y = (x1 - x0) / size[0], (y1 - y0) / size[1]
    parallax = match(*eyes, low / per_x, high / per_x, _PATCH_SHARE)
    box = (
        slice(round((y - y0) / per_y), max(1, round((y + down - y0) / per_y))),
        slice(round((x - x0) / per_x), max(1, round((x + across - x0) / per_x))),
    )
    supported = borne_out(*eyes, parallax)
    return _Local(eyes[0], parallax, supported, box, x0, y0, (per_x, per_y), (high - low) / per_x)


def _reduced(eye: Grey, size: tuple[int, int]) -> Grey:
    if size == eye.shape[::-1]:
        return eye
    return np.asarray(cv2.resize(eye, size, interpolation=cv2.INTER_AREA), np.float32)


def _as_bytes(subject: _Subject, left: Grey, right: Grey) -> tuple[Grey8, Grey8]:
    """Both eyes alike in brightness and contrast, spread over 8 bits by what the left one holds here."""
    low, high = (float(value) for value in np.percentile(left[::2, ::2], (0.5, 99.5)))
    stretch = min(255.0 / max(high - low, 1e-6), _STRETCH_MAX * 255.0)
    alike = right * subject.gain + subject.level
    one, other = (np.asarray(np.clip((eye - low) * stretch + 0.5, 0.0, 255.0), np.uint8) for eye in (left, alike))
    return one, other


def largest_depth(pct: Pct) -> npt.NDArray[np.bool_]:
    """Which of some places lie at the depth that most of them share, (n,).

    Depths are apart where hardly anything lies between them; a slope, which fills what is between, is one.

    Parameters
    ----------
    pct : (n,) float32
        Parallax, percent of width; at least one.
    """
    bins = np.floor((pct - pct.min()) / np.float32(_BIN_PCT)).astype(np.intp)
    counts = np.bincount(bins)
    thin = min(_THIN_SHARE, _THIN_OF_MEAN / len(counts)) * pct.size
    filled = np.flatnonzero(counts > thin)
    starts = np.concatenate([[True], np.diff(filled) > _APART_BINS])
    group = np.cumsum(starts) - 1
    largest = int(np.bincount(group, counts[filled]).argmax())
    members = filled[group == largest]
    return np.asarray((bins >= members[0]) & (bins <= members[-1]), np.bool_)


def _followed(
    subject: _Subject, local: _Local, rows: npt.NDArray[np.intp], columns: npt.NDArray[np.intp], pct: Pct
) -> tuple[float, float]:
    """By how much full-size pixels move the map, percent of width, and the share of the places that bear it out."""
    height, width = subject.left.shape
    x = (local.x0 + (columns + 0.5) * local.scale[0] - 0.5).astype(np.float32)
    y = (local.y0 + (rows + 0.5) * local.scale[1] - 0.5).astype(np.float32)
    to_right = subject.straight.to_right(width, height)
    found = followed(subject.left, subject.right, x, y, pct * np.float32(width / 100.0), to_right)
    moves = found.parallax_px * np.float32(100.0 / width) - pct
    sure = (found.likeness > _LIKENESS) & (found.spread > _SPREAD) & (np.abs(moves) < _MOVED_PCT)
    if np.count_nonzero(sure) < _LEAST_SURE:
        return 0.0, 0.0
    return float(np.median(moves[sure])), float(sure.mean())
