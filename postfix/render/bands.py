"""An axis drawn anew as stacks of small dense matrix products.

Sixteen outputs at a time are one product of the inputs that they touch with a matrix of weights. That is a third more
multiplications than there are taps, and still several times faster than any loop over taps. Measured on a 1080p plane
with 32 taps, one core with AVX-512: 4.0, 1.9, 3.0 and 2.4 ms for blocks of 8, 16, 24 and 32 outputs; 64 and more are
slower still. Every product stays so small that OpenBLAS does it on the calling thread (its limit is about 260,000
multiplications): larger ones wake its own threads, which measured 36 to 120 ms for the same work, and would be in the
way of the thread that draws the other eye.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
import numpy.typing as npt
from numpy.lib.stride_tricks import as_strided

from postfix.render.kernel import TAPS, weights_at

BLOCK = 16
"""Outputs of one matrix product."""

STRIP = 64
"""Rows (or outputs down) drawn at a time: few enough for what is in work to stay in the processor's own cache, enough
for the calls not to count. 1080p 4:2:2 moved sideways: 8.0, 7.2, 6.8 and 6.7 ms for 32, 48, 64 and 96; moved and zoomed
16.3, 15.8, 13.7 and 16.0 ms."""

_GROUP = 8
_CHUNK = 260_000 // (BLOCK * (TAPS + BLOCK + 1)) // 16 * 16
"""Columns drawn down at a time; as many as keep a product under the limit above."""

Matrix = npt.NDArray[np.float32]


@dataclass(frozen=True, eq=False)
class Bands:
    """How the outputs of an axis are made of its inputs.

    Attributes
    ----------
    size : int
        Outputs.
    first : int
        The input that lies first in the workspace; may be outside the picture, as may the last.
    length : int
        Inputs in the workspace.
    stride : int
        Inputs from one block's first to the next one's, within a group.
    groups : tuple of (int, int, int)
        First block, number of blocks, and where the first one's inputs start in the workspace.
    matrices : (nodes, blocks or 1, inputs, BLOCK) float32
        One for all blocks where they are all alike. Nodes are versions of the axis with other offsets.
    """

    size: int
    first: int
    length: int
    stride: int
    groups: tuple[tuple[int, int, int], ...]
    matrices: Matrix

    @property
    def padded(self) -> int:
        """Outputs, with those that fill up the last block."""
        return -(-self.size // BLOCK) * BLOCK

    def of(self, node: int, block: int, count: int) -> Matrix:
        """The matrices of so many blocks."""
        own: Matrix = self.matrices[node]
        return own if own.shape[0] == 1 else own[block : block + count]


@lru_cache(maxsize=16)
def bands(size: int, inputs: int, scale: float, offset: float, nodes: tuple[float, ...] = (0.0,)) -> Bands:
    """Bands for outputs 0 to ``size − 1`` of an axis of ``inputs`` samples; output i is read at ``scale·i + offset``,
    and at so much more for each node."""
    # Farther away than this there is nothing but the border.
    reach = TAPS * max(1.0, scale)
    offset = min(max(offset, -scale * size - reach), inputs + reach)
    alike = float(BLOCK * scale).is_integer()
    blocks = -(-size // BLOCK)
    weighed = 1 if alike else blocks
    position = scale * np.arange(weighed * BLOCK, dtype=np.float64) + offset
    found = [weights_at(position + node, scale) for node in nodes]
    taps = found[0][1].shape[1]
    lowest = np.min([first for first, _ in found], axis=0).reshape(weighed, BLOCK)
    highest = np.max([first for first, _ in found], axis=0).reshape(weighed, BLOCK) + taps
    stride = round(BLOCK * scale)
    group = blocks if alike else _GROUP
    steps = np.arange(weighed) % group * stride
    start = np.empty(weighed, np.int64)
    for block in range(0, weighed, group):
        own = slice(block, min(block + group, weighed))
        start[own] = (lowest[own, 0] - steps[own]).min() + steps[own]
    length = int((highest.max(axis=1) - start).max())
    matrices = np.zeros((len(nodes), weighed, length, BLOCK), np.float32)
    output = np.arange(weighed * BLOCK)
    for index, (first, weights) in enumerate(found):
        row = (first - start[output // BLOCK])[:, None] + np.arange(taps)
        matrices[index, (output // BLOCK)[:, None], row, (output % BLOCK)[:, None]] = weights
    heads = [(block, min(group, blocks - block), int(start[block])) for block in range(0, blocks, group)]
    low = min(head for _, _, head in heads)
    high = max(head + (count - 1) * stride + length for _, count, head in heads)
    groups = tuple((block, count, head - low) for block, count, head in heads)
    return Bands(size, low, high - low, stride, groups, matrices)


Step = tuple[Matrix, Matrix, Matrix]
"""Two stacks of matrices and where their products go."""


def multiply(steps: list[Step]) -> None:
    """Do one strip; the steps stay good for the next one in the same workspace."""
    for left, right, out in steps:
        np.matmul(left, right, out=out)


def across(band: Bands, work: Matrix, out: Matrix, node: int = 0) -> list[Step]:
    """Steps that draw rows: ``work`` (channels, rows, ``band.length``) into ``out`` (channels, rows, ``band.padded``).

    Made once for a workspace: making views takes numpy as long as the products themselves.
    """
    channels, rows = work.shape[:2]
    inputs = band.matrices.shape[2]
    steps = []
    for block, count, head in band.groups:
        source = as_strided(
            work[:, :, head:],
            (channels, count, rows, inputs),
            (work.strides[0], band.stride * work.itemsize, work.strides[1], work.itemsize),
        )
        target = as_strided(
            out[:, :, block * BLOCK :],
            (channels, count, rows, BLOCK),
            (out.strides[0], BLOCK * out.itemsize, out.strides[1], out.itemsize),
        )
        steps.append((source, band.of(node, block, count), target))
    return steps


@dataclass(frozen=True)
class Strip:
    """Outputs of an axis that are drawn together.

    Attributes
    ----------
    block, count : int
        First block and number of blocks.
    start, end : int
        Outputs.
    first, length : int
        The first input, which may be outside the picture, and how many there are.
    """

    block: int
    count: int
    start: int
    end: int
    first: int
    length: int


def strips(band: Bands) -> list[Strip]:
    """All outputs of an axis, in strips of at most :data:`STRIP`."""
    most = STRIP // BLOCK
    result = []
    for block, blocks, head in band.groups:
        for at in range(0, blocks, most):
            count = min(most, blocks - at)
            start = (block + at) * BLOCK
            length = (count - 1) * band.stride + band.matrices.shape[2]
            first = band.first + head + at * band.stride
            result.append(Strip(block + at, count, start, min(start + count * BLOCK, band.size), first, length))
    return result


def roomy(columns: int) -> int:
    """Columns that a workspace of :func:`down` must have: enough for whole chunks."""
    chunks = -(-columns // _CHUNK)
    return chunks * (-(-columns // (chunks * 16)) * 16)


def down(band: Bands, strip: Strip, work: Matrix, out: Matrix, node: int = 0) -> list[Step]:
    """Steps that draw columns: ``work`` (``strip.length`` or more, columns) into ``out`` (``strip.count·BLOCK`` or
    more, columns), as many columns in both as :func:`roomy` says."""
    columns = work.shape[1]
    chunks = -(-columns // _CHUNK)
    width = columns // chunks
    row, item = work.strides
    inputs = band.matrices.shape[2]
    source = as_strided(work, (strip.count, chunks, inputs, width), (band.stride * row, width * item, row, item))
    target = as_strided(
        out, (strip.count, chunks, BLOCK, width), (BLOCK * out.strides[0], width * item, out.strides[0], item)
    )
    return [(band.of(node, strip.block, strip.count).transpose(0, 2, 1)[:, None], source, target)]


def span(first: int, length: int, inputs: int) -> tuple[slice, slice]:
    """What an axis of a workspace, whose first sample is input ``first``, has in common with the picture: where it lies
    in the workspace, and where in the picture. Where they do not meet, the picture's nearest sample is taken."""
    low = min(max(first, 0), inputs - 1)
    high = min(max(first + length, low + 1), inputs)
    at = min(max(low - first, 0), length - 1)
    return slice(at, at + high - low), slice(low, high)


def repeat_border(work: Matrix, filled: slice, axis: int) -> None:
    """Give the samples on both sides of those filled the value of the outermost ones."""
    lines = work.swapaxes(axis, 0)
    if filled.start:
        lines[: filled.start] = lines[filled.start]
    if filled.stop < lines.shape[0]:
        lines[filled.stop :] = lines[filled.stop - 1]
