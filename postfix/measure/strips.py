"""Strips of a picture's side searched for in the other eye: normalised correlation of many row bands at once."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
import numpy.typing as npt

from postfix.measure.proxy import Grey

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]
Weights = npt.NDArray[np.float32]

SAME_PEAK_PX = 3
"""Places this near to each other are one and the same peak."""

_LEAST_VARIANCE = 1e-7
"""A strip of less variance a sample, in shares of white, is flat: two hundredths of a code of 8 bit."""


def in_bands(strip: Grey, bands: int, most_rows: int) -> Grey:
    """A strip (H, C) as equal bands of rows, neighbouring rows averaged, (bands, rows, C) float32.

    Parallax is horizontal, so rows may be averaged; columns may not. Bands share a row where they do not divide evenly.

    Parameters
    ----------
    strip : (H, C) float32
    bands : int
        H is at least this.
    most_rows : int
        Rows a band has at most after averaging, but for one more where bands share a row.
    """
    height, columns = strip.shape
    together = -(-height // (bands * (most_rows + 1)))
    if together > 1:
        # Whole rows averaged by a whole number are many times faster than shares of them.
        size = (columns, height // together)
        strip = np.asarray(cv2.resize(strip[: size[1] * together], size, interpolation=cv2.INTER_AREA))
    height = strip.shape[0]
    first = np.arange(bands) * height // bands
    rows = first[:, None] + np.arange(-(-height // bands))[None, :]
    return np.asarray(strip[np.minimum(rows, height - 1)], np.float32)


def from_columns(blocks: Grey, first: Ints, count: int) -> Grey:
    """``count`` columns of each block (n, rows, C) from ``first`` (n,) on, (n, rows, count); clamped at the last."""
    if (first == first[0]).all() and first[0] + count <= blocks.shape[2]:
        return blocks[:, :, first[0] : first[0] + count]
    columns = np.minimum(first[:, None] + np.arange(count)[None, :], blocks.shape[2] - 1)
    return np.asarray(np.take_along_axis(blocks, columns[:, None, :], axis=2))


def likeness(template: Grey, searched: Grey, weights: Weights) -> npt.NDArray[np.float32]:
    """Normalised correlation of each template with every place of its searched strip.

    Parameters
    ----------
    template : (n, rows, s) float32
    searched : (n, rows, m) float32
    weights : (n, rows, s) or (n, rows, 1) float32
        What of the template counts.

    Returns
    -------
    (n, m − s + 1) float32
        −1 to 1; 0 where either is flat.
    """
    size = template.shape[2]
    shaped = np.broadcast_to(weights, template.shape)
    total = np.maximum(shaped.sum(axis=(1, 2)), 1e-6)
    mean = (template * shaped).sum(axis=(1, 2)) / total
    centred = template - mean[:, None, None]
    weighted = centred * shaped
    # Near zero, sums of squares keep their digits.
    searched = searched - mean[:, None, None]
    product = _along(weighted, searched)
    sums: npt.NDArray[np.floating]
    squares: npt.NDArray[np.floating]
    if weights.shape[2] == 1:
        rows = np.broadcast_to(weights, (*template.shape[:2], 1))[:, :, 0]
        sums = _windowed(np.einsum("nrm,nr->nm", searched, rows), size)
        squares = _windowed(np.einsum("nrm,nrm,nr->nm", searched, searched, rows), size)
    else:
        sums, squares = _along(shaped, searched), _along(shaped, searched * searched)
    own = (weighted * centred).sum(axis=(1, 2))
    other = squares - sums * sums / total[:, None]
    flat = (own[:, None] < _LEAST_VARIANCE * total[:, None]) | (other < _LEAST_VARIANCE * total[:, None])
    power = np.sqrt(np.where(flat, 1.0, own[:, None] * other))
    return np.asarray(np.where(flat, 0.0, product / power), np.float32)


def _along(template: npt.NDArray[np.float32], searched: Grey) -> Grey:
    """Sums of products of a template with each place it is laid on, (n, m − s + 1)."""
    size, places = template.shape[2], searched.shape[2] - template.shape[2] + 1
    # Every template column times every searched column; what belongs to one place lies on a diagonal.
    crossed = np.matmul(template.transpose(0, 2, 1), searched)
    n_step, row_step, column_step = crossed.strides
    diagonals = np.lib.stride_tricks.as_strided(
        crossed, (len(crossed), size, places), (n_step, row_step + column_step, column_step), writeable=False
    )
    return np.asarray(diagonals.sum(axis=1))


def _windowed(values: npt.NDArray[np.float32], size: int) -> npt.NDArray[np.float64]:
    running = np.cumsum(values, axis=1, dtype=np.float64)
    sums = running[:, size - 1 :].copy()
    sums[:, 1:] -= running[:, :-size]
    return sums


@dataclass(frozen=True)
class Peaks:
    """Best place in each row of a likeness, (n,).

    Attributes
    ----------
    place : float64
        Sub-pixel place; NaN where the best lies at the very border. What lies behind the screen has its partner outside
        and looks best there, so that is no peak.
    height, clear_by : float64
        Likeness of the best place, and how far it stands above the best elsewhere.
    """

    place: Floats
    height: Floats
    clear_by: Floats


def peaks(like: npt.NDArray[np.float32]) -> Peaks:
    """Best places of likenesses (n, places)."""
    count, places = like.shape
    at = np.arange(count)
    best = like.argmax(axis=1)
    height = like[at, best].astype(np.float64)
    near = np.abs(np.arange(places)[None, :] - best[:, None]) <= SAME_PEAK_PX
    elsewhere = np.where(near, np.float32(-1.0), like).max(axis=1)
    inner = np.clip(best, 1, places - 2)
    before, here, after = (like[at, inner + step].astype(np.float64) for step in (-1, 0, 1))
    bend = before - 2.0 * here + after
    offset = np.where(bend < 0.0, 0.5 * (before - after) / np.where(bend < 0.0, bend, 1.0), 0.0)
    place = np.where(best == inner, best + np.clip(offset, -0.5, 0.5), np.nan)
    return Peaks(place, height, height - elsewhere)


def partner(searched: Grey, place: Floats, size: int) -> Grey:
    """What lies at sub-pixel places (n,) of searched strips (n, rows, m), (n, rows, size)."""
    base = np.clip(np.floor(place), 0, searched.shape[2] - size - 1).astype(np.int64)
    share = (place - base).astype(np.float32)[:, None, None]
    columns = base[:, None] + np.arange(size + 1)[None, :]
    taken = np.take_along_axis(searched, columns[:, None, :], axis=2)
    return np.asarray((1.0 - share) * taken[:, :, :-1] + share * taken[:, :, 1:], np.float32)


def alike(one: Grey, other: Grey, weights: Weights) -> Floats:
    """Correlation of pairs of strips (n, rows, s), (n,); 0 where either is flat."""
    shaped = np.broadcast_to(weights, one.shape)
    total = np.maximum(shaped.sum(axis=(1, 2)), 1e-6)[:, None, None]
    a, b = (part - (part * shaped).sum(axis=(1, 2), keepdims=True) / total for part in (one, other))
    own, others, both = ((x * y * shaped).sum(axis=(1, 2)) for x, y in ((a, a), (b, b), (a, b)))
    power = np.sqrt(own * others)
    enough = np.minimum(own, others) > _LEAST_VARIANCE * total[:, 0, 0]
    return np.asarray(np.where(enough, both / np.where(enough, power, 1.0), 0.0), np.float64)


def without_means(strip: Grey, weights: Weights) -> Grey:
    """A strip (n, rows, s) without every row's and every column's mean, so that only its fine detail is left."""
    total = np.maximum(weights.sum(axis=1, keepdims=True), 1e-6)
    columns = (strip * weights).sum(axis=1, keepdims=True) / total
    rows = strip.mean(axis=2, keepdims=True)
    return np.asarray(strip - columns - rows + columns.mean(axis=2, keepdims=True), np.float32)
