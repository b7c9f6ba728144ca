"""Whether the eyes may be exchanged: evidence for a suspicion, never a change.

Exchanged eyes turn depth inside out, and everything still matches: the figures alone do not show it. Two things do.

- A half-hidden strip beside a depth edge is seen by one eye only. It belongs to the surface behind, so it goes on
  without a break into that one, and the outline of what is in front lies on its other side. With exchanged eyes it goes
  on into what seems to be in front.
- In most pictures what is lower in the frame is nearer: ground before sky. That is a habit of pictures, not a law, so
  it only supports the first.

The rules are the project's own; the geometry of half-hidden strips is that of any two eyes.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import cv2
import numpy as np
import numpy.typing as npt

from postfix.measure.matching import Parallax, ParallaxMaps
from postfix.measure.proxy import Grey8
from postfix.measure.table import NAN

_ROW_STEP = 2
"""Every second row is looked at; strips are higher than that."""

_LEAST_JUMP_SHARE = 0.006
_LEAST_JUMP_PX = 2.0
_WIDTH_OF_JUMP = (0.4, 1.8)
_WIDTH_SPARE_PX = 2
_MARGIN_PX = 8
"""A strip is a gap in the map beside a fall of parallax of at least this much, about as wide as the fall."""

_BESIDE_PX = (3, 6)
"""Least and most columns of each surface that a strip is held against."""

_BANDS, _COLUMNS = 6, 8
_ROWS_EACH, _COLUMN_STEP = 3, 4
_LEAST_KNOWN_SHARE = 0.2
_LEAST_KNOWN_BANDS = 4
_LEAST_KNOWN_COLUMNS = 4

LEAST_STRIPS = 15
"""Rows of strips a frame, on average, below which they say nothing."""

CLEAR_BALANCE = -0.10
"""Balance of the strips (see :func:`swap_reason`) from which they speak for exchanged eyes by themselves. Seen: 0.005
and more on 102 straight pairs, photographed and made up; with the ground, two of three exchanged ones are suspected."""

LIKELY_BALANCE = -0.05
"""The same where the ground speaks for it too."""

LEAST_RISE_PCT = 0.3
"""Rise of parallax towards the bottom, percent of width, that counts; as much the other way speaks against."""


@dataclass(frozen=True, slots=True)
class OrderEvidence:
    """What one frame says about the order of the eyes.

    Attributes
    ----------
    strips : int
        Rows of half-hidden strips beside depth edges.
    unlike_behind, unlike_in_front : float
        How far the strips differ in brightness from the surface behind and from the one in front, codes of 8 bit,
        summed.
    edge_behind, edge_in_front : float
        Sharpest step of brightness at the strips' border with each, codes, summed.
    rise_pct : float
        How much parallax rises from the middle of the picture to its bottom, percent of width, as the median over
        columns; ground before sky makes it negative. NaN where too little is known.
    """

    strips: int = 0
    unlike_behind: float = 0.0
    unlike_in_front: float = 0.0
    edge_behind: float = 0.0
    edge_in_front: float = 0.0
    rise_pct: float = NAN


def order_evidence(left: Grey8, right: Grey8, maps: ParallaxMaps) -> OrderEvidence:
    """Look at one frame.

    Parameters
    ----------
    left, right : (h, w) uint8
        The pictures that were matched, the misfit between them taken out.
    maps : ParallaxMaps
        In their pixels; NaN where not matched.
    """
    # Seen from the left eye a strip lies at the left of what is in front; from the right eye, at its right.
    step, back = np.s_[::_ROW_STEP], np.s_[::_ROW_STEP, ::-1]
    strips, behind, in_front, edge_behind, edge_in_front = _strips(left[step], maps.left[step]) + _strips(
        right[back], maps.right[back]
    )
    return OrderEvidence(
        int(strips),
        float(behind),
        float(in_front),
        float(edge_behind),
        float(edge_in_front),
        _rise_pct(maps.left),
    )


def swap_reason(evidences: Sequence[OrderEvidence]) -> str:
    """Why the eyes of a shot may be exchanged; empty where nothing speaks for it clearly.

    Strips are balanced by ``(i − b) / (i + b)``, where b and i are their sums for the surface behind and in front: once
    for brightness, once for the outline; the mean of both counts, −1 to 1, positive for eyes in order.
    """
    if not evidences:
        return ""
    strips, *sums = (sum(getattr(one, name) for one in evidences) for name in _SUMMED)
    rises = [one.rise_pct for one in evidences if one.rise_pct == one.rise_pct]
    rise = float(np.median(rises)) if len(rises) * 2 > len(evidences) else NAN
    if strips < LEAST_STRIPS * len(evidences):
        return ""
    behind, in_front, edge_behind, edge_in_front = sums
    balance = 0.5 * (_balance(in_front, behind) + _balance(edge_in_front, edge_behind))
    turned, against = rise >= LEAST_RISE_PCT, rise <= -LEAST_RISE_PCT
    if against or balance > (LIKELY_BALANCE if turned else CLEAR_BALANCE):
        return ""
    reason = (
        f"half-hidden strips beside depth edges look like what would be in front (brightness differs by "
        f"{in_front / strips:.1f} of 255, from what would be behind by {behind / strips:.1f}; outlines of "
        f"{edge_in_front / strips:.0f} and {edge_behind / strips:.0f})"
    )
    if turned:
        reason += (
            f", and parallax rises by {rise:.2f} % of width from the middle of the picture to its bottom, as if the "
            "ground lay behind what stands on it"
        )
    return reason


_SUMMED = ("strips", "unlike_behind", "unlike_in_front", "edge_behind", "edge_in_front")


def _balance(more: float, less: float) -> float:
    return (more - less) / max(more + less, 1e-9)


def _strips(eye: Grey8, parallax: Parallax) -> npt.NDArray[np.float64]:
    """Count, and the four sums of :class:`OrderEvidence`, over strips with what is behind at their left, (5,)."""
    width = parallax.shape[1]
    eye = np.ascontiguousarray(eye)
    known = np.isfinite(parallax)
    step = np.flatnonzero(known[:, 1:] != known[:, :-1])
    at = step + step // (width - 1)  # as an index into the whole picture: the column before the step
    flat, values = known.ravel(), parallax.ravel()
    # A gap's first step leaves known ground, its second, in the same row, comes back to it.
    first, second = at[:-1], at[1:]
    gap = flat[first] & ~flat[second] & (first // width == second // width)
    first, second = first[gap], second[gap] + 1
    row, before, after = first // width, first % width, second % width
    jump, wide = values[first] - values[second], after - before - 1
    low, high = _WIDTH_OF_JUMP
    good = (
        (jump > max(_LEAST_JUMP_PX, _LEAST_JUMP_SHARE * width)) & (before >= _MARGIN_PX) & (after < width - _MARGIN_PX)
    )
    good &= (wide >= low * jump) & (wide <= high * jump + _WIDTH_SPARE_PX)
    row, before, after, wide = row[good], before[good], after[good], wide[good]
    if not len(row):
        return np.zeros(5)
    sums = np.asarray(cv2.integral(eye))

    def mean(start: Any, end: Any) -> Any:
        whole = sums[row + 1, end] - sums[row + 1, start] - sums[row, end] + sums[row, start]
        return whole / (end - start)

    inset = np.minimum(1, (wide - 1) // 2)
    own = mean(before + 1 + inset, after - inset)
    beside = np.clip(wide, *_BESIDE_PX)
    # The pixel next to the strip is left out: the map's border is not exact.
    behind, in_front = mean(before - beside, before), mean(after + 1, after + 1 + beside)
    unlike = np.abs(own - behind).sum(), np.abs(own - in_front).sum()
    edges = (_sharpest(eye, row, before + 1).sum(), _sharpest(eye, row, after).sum())
    return np.array([len(row), *unlike, *edges])


def _sharpest(eye: Grey8, row: npt.NDArray[np.intp], column: npt.NDArray[np.intp]) -> npt.NDArray[np.int16]:
    """Largest step over two columns around a border, codes."""
    around = eye[row[:, None], column[:, None] + np.arange(-3, 3)[None, :]].astype(np.int16)
    return np.asarray(np.abs(around[:, 2:] - around[:, :-2]).max(axis=1), np.int16)


def _rise_pct(parallax: Parallax) -> float:
    """See :class:`OrderEvidence`: medians in blocks of the lower half, a straight line down each column of them."""
    height, width = parallax.shape
    rows = np.linspace(height // 2, height - 1, _BANDS * _ROWS_EACH).astype(np.intp)
    part = parallax[rows, ::_COLUMN_STEP]
    each = part.shape[1] // _COLUMNS
    if each < 1:
        return NAN
    blocks = part[:, : each * _COLUMNS].reshape(_BANDS, _ROWS_EACH, _COLUMNS, each).transpose(0, 2, 1, 3)
    ordered = np.sort(blocks.reshape(_BANDS, _COLUMNS, -1), axis=-1)
    count = np.isfinite(ordered).sum(axis=-1)
    middle = np.take_along_axis(ordered, np.minimum(count // 2, ordered.shape[-1] - 1)[..., None], axis=-1)[..., 0]
    known = count >= _LEAST_KNOWN_SHARE * ordered.shape[-1]
    enough = known.sum(axis=0) >= _LEAST_KNOWN_BANDS
    if np.count_nonzero(enough) < _LEAST_KNOWN_COLUMNS:
        return NAN
    down = np.linspace(0.0, 1.0, _BANDS)[:, None]
    weight = known[:, enough].astype(np.float64)
    value = np.where(known, middle, 0.0)[:, enough]
    total = weight.sum(axis=0)
    centred = (down - (weight * down).sum(axis=0) / total) * weight
    slope = (centred * value).sum(axis=0) / (centred**2).sum(axis=0)
    return float(np.median(slope) * (100.0 / width))
