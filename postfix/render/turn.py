"""One plane turned: along the rows first, then along the columns, each line by its own fraction of a sample.

A line's offset is a whole number of samples, which costs nothing, and a fraction. Matrices are made for a few fractions
only (Chebyshev nodes), and each line is a mixture of what they give by Lagrange's formula. That is exact but for
``2·(π·f·span/4)^n / n!`` of a wave at f of Nyquist, for n nodes over a span of samples (the remainder of interpolation
at Chebyshev nodes, from memory, for exp(iπfx)); n is chosen for less than 0.001 at 0.65.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
import numpy.typing as npt

from postfix.render.bands import (
    STRIP,
    Bands,
    Matrix,
    across,
    bands,
    down,
    multiply,
    repeat_border,
    roomy,
    span,
    strips,
)
from postfix.render.draw import Samples, as_float
from postfix.source.picture import Plane

_REMAINDER, _SHARE_OF_NYQUIST = 1e-3, 0.65

Floats = npt.NDArray[np.float64]


@dataclass(frozen=True)
class Affine:
    """Which input sample an output sample shows: column ``a·j + b·i + c``, row ``d·j + e·i + f``."""

    a: float
    b: float
    c: float
    d: float
    e: float
    f: float


@dataclass(frozen=True, eq=False)
class _Mixture:
    """Offsets of lines as ``base + whole`` and a mixture of nodes.

    Attributes
    ----------
    base : float
    nodes : tuple of float
    whole : (lines,) int64
    weights : (nodes, lines) float32
    """

    base: float
    nodes: tuple[float, ...]
    whole: npt.NDArray[np.int64]
    weights: Matrix

    def runs(self, start: int, end: int) -> Iterator[tuple[int, int, int]]:
        """Neighbouring lines of one whole offset: first, end, offset."""
        whole = self.whole[start:end]
        edges = [0, *(np.flatnonzero(np.diff(whole)) + 1).tolist(), end - start]
        for first, last in pairwise(edges):
            yield start + first, start + last, int(whole[first])


def _mixture(offsets: Floats) -> _Mixture:
    low, high = float(offsets.min()), float(offsets.max())
    reach = high - low
    if reach <= 1.0:
        base, whole = (low + high) / 2.0, np.zeros(offsets.size, np.int64)
    else:
        base, whole, reach = 0.0, np.rint(offsets).astype(np.int64), 1.0
    count = 1
    angle = math.pi * _SHARE_OF_NYQUIST * reach / 4.0
    while 2.0 * angle**count / math.factorial(count) > _REMAINDER:
        count += 1
    nodes = reach / 2.0 * np.cos(np.pi * (2 * np.arange(count) + 1) / (2 * count))
    rest = offsets - base - whole
    weights = np.ones((count, offsets.size))
    for i in range(count):
        for j in range(count):
            if i != j:
                weights[i] *= (rest - nodes[j]) / (nodes[i] - nodes[j])
    return _Mixture(base, tuple(nodes.tolist()), whole, weights.astype(np.float32))


def turned(plane: Plane, affine: Affine, samples: Samples) -> Plane:
    """One plane drawn anew with a turn, of the same size.

    Parameters
    ----------
    plane : (rows, columns) or (rows, columns, channels)
    affine : Affine
        Turns by less than a quarter.
    samples : Samples
    """
    out: Plane = np.empty(plane.shape, samples.dtype)
    height, width = plane.shape[:2]
    # Row i of the result shows, in column j, source row v = d·j + e·i + f; put for i into the source column, that is
    # where along source row v column j is found.
    slope = affine.b / affine.e
    by_row = _mixture(slope * np.arange(height, dtype=np.float64) + affine.c - slope * affine.f)
    column = bands(width, width, affine.a - slope * affine.d, by_row.base, by_row.nodes)
    by_column = _mixture(affine.d * np.arange(width, dtype=np.float64) + affine.f)
    row = bands(height, height, affine.e, by_column.base, by_column.nodes)
    with np.errstate(over="ignore", invalid="ignore"):
        for channel in range(1 if plane.ndim == 2 else plane.shape[2]):
            source, target = (plane, out) if plane.ndim == 2 else (plane[..., channel], out[..., channel])
            _down_columns(_along_rows(source, column, by_row), row, by_column, samples, target)
    return out


def _along_rows(source: Plane, band: Bands, mixture: _Mixture) -> Matrix:
    height, width = source.shape
    result = np.empty((height, width), np.float32)
    work = np.zeros((1, STRIP, band.length), np.float32)
    part = np.empty((1, STRIP, band.padded), np.float32)
    steps = [across(band, work, part, node) for node in range(len(mixture.nodes))]
    for start in range(0, height, STRIP):
        end = min(start + STRIP, height)
        for first, last, whole in mixture.runs(start, end):
            at, of = span(band.first + whole, band.length, width)
            rows = work[0, first - start : last - start]
            as_float(np.ascontiguousarray(source[first:last, of]), rows[:, at])
            repeat_border(rows, at, 1)
        total = result[start:end]
        for node in range(len(mixture.nodes)):
            multiply(steps[node])
            _add(total, part[0, : end - start, :width], mixture.weights[node, start:end, None], node)
    return result


def _down_columns(source: Matrix, band: Bands, mixture: _Mixture, samples: Samples, out: Plane) -> None:
    height, width = source.shape
    parts = strips(band)
    work = np.zeros((max(strip.length for strip in parts), roomy(width)), np.float32)
    part = np.empty((STRIP, work.shape[1]), np.float32)
    total = np.empty((STRIP, width), np.float32)
    runs = list(mixture.runs(0, width))
    for strip in parts:
        for first, last, whole in runs:
            at, of = span(strip.first + whole, strip.length, height)
            columns = work[: strip.length, first:last]
            columns[at] = source[of, first:last]
            repeat_border(columns, at, 0)
        count = strip.end - strip.start
        for node in range(len(mixture.nodes)):
            multiply(down(band, strip, work, part, node))
            _add(total[:count], part[:count, :width], mixture.weights[node], node)
        samples.write(total[:count], out[strip.start : strip.end])


def _add(total: Matrix, part: Matrix, weights: Matrix, node: int) -> None:
    """Add a node's share; ``part`` is spoiled."""
    if node == 0:
        np.multiply(part, weights, out=total)
    else:
        part *= weights
        total += part
