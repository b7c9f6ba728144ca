"""Sub-pixel parallax of single places, on full-size pixels.

A patch of the left eye is laid on the right eye where the dense map says its partner is, and moved sideways by
Gauss-Newton steps until the two differ least. The gradient of the left patch serves for all steps, so each costs one
resampling (Catmull-Rom in x, linear in y), for hundreds of patches at once.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from postfix.measure.proxy import Grey

Floats = npt.NDArray[np.float32]
Ints = npt.NDArray[np.intp]

ToRight = Callable[[Floats, Floats], tuple[Floats, Floats]]
"""From places (x, y) in the right eye with the misfit taken out to places in the right eye as it is, in pixels."""

_HALF_WIDTH_SHARE = 0.004
_LEAST_HALF_WIDTH_PX = 8
_HALF_HEIGHT_OF_WIDTH = 0.6
_ROWS = 5
_STEPS = 2
_REACH_PX = 3


@dataclass(frozen=True)
class Found:
    """What the patches say, one entry each.

    Attributes
    ----------
    parallax_px : (n,) float32
        Pixels of the source.
    likeness : (n,) float32
        Normalised correlation of the two patches at the end, −1 to 1.
    spread : (n,) float32
        Standard deviation of the left patch, share of white.
    """

    parallax_px: Floats
    likeness: Floats
    spread: Floats


def half_width_px(width: int) -> int:
    """Half the width of a patch in a picture of ``width`` pixels."""
    return max(_LEAST_HALF_WIDTH_PX, round(_HALF_WIDTH_SHARE * width))


def followed(left: Grey, right: Grey, x: Floats, y: Floats, parallax_px: Floats, to_right: ToRight | None) -> Found:
    """Move each patch to where it fits best, at most two pixels and a bit from where it starts.

    Parameters
    ----------
    left, right : (H, W) float32
        Both eyes as they are.
    x, y : (n,) float32
        Places in the left eye, pixels.
    parallax_px : (n,) float32
        Where the dense map has their partners.
    to_right : callable or None
        Where there is a misfit between the eyes worth removing.
    """
    height, width = left.shape
    half = half_width_px(width)
    tall = max(2, round(_HALF_HEIGHT_OF_WIDTH * half))
    rows = np.unique(np.linspace(-tall, tall, _ROWS).round().astype(np.intp))
    at_x, at_y = np.rint(x).astype(np.intp), np.rint(y).astype(np.intp)
    patch_y = np.clip(at_y[:, None] + rows[None, :], 0, height - 1)
    wide = np.clip(at_x[:, None] + np.arange(-half - 1, half + 2), 0, width - 1)
    own = left.reshape(-1).take((patch_y * width)[:, :, None] + wide[:, None, :])
    slope = _centred(0.5 * (own[:, :, 2:] - own[:, :, :-2]))
    own = _centred(own[:, :, 1:-1])
    steepness = np.einsum("nrc,nrc->n", slope, slope) + np.float32(1e-9)
    own_power = np.einsum("nrc,nrc->n", own, own)

    start = np.floor(parallax_px).astype(np.intp)
    block, ahead = _right_block(right, at_x + start, patch_y, half, to_right)
    moved = (parallax_px - start).astype(np.float32)
    other = _centred(_at(block, moved[:, None] + ahead, 2 * half + 1))
    for _ in range(_STEPS):
        step = np.einsum("nrc,nrc->n", slope, own - other) / steepness
        moved = np.clip(moved + np.clip(step, -1.0, 1.0), -_REACH_PX, _REACH_PX)
        other = _centred(_at(block, moved[:, None] + ahead, 2 * half + 1))
    power = np.sqrt(own_power * np.einsum("nrc,nrc->n", other, other) + np.float32(1e-12))
    likeness = np.einsum("nrc,nrc->n", own, other) / power
    return Found(start + moved, likeness, np.sqrt(own_power / np.float32(own.shape[1] * own.shape[2])))


def _centred(patch: Floats) -> Floats:
    return np.asarray(patch - patch.mean(axis=(1, 2), keepdims=True, dtype=np.float32), np.float32)


def _right_block(
    right: Grey, centre_x: Ints, patch_y: Ints, half: int, to_right: ToRight | None
) -> tuple[Floats, Floats]:
    """Pixels of the straightened right eye around each centre, wide enough for all moves, row by row; and how far in
    front of its first move (a fraction of a pixel) each row of a block begins.

    A row of a patch is taken to lie level: over its few columns the misfit is no more than a fraction of a pixel.
    """
    height, width = right.shape
    reach = half + _REACH_PX + 1
    around = np.arange(-reach, reach + 2)
    flat = right.reshape(-1)
    if to_right is None:
        columns = np.clip(centre_x[:, None] + around, 0, width - 1)
        return flat.take((patch_y * width)[:, :, None] + columns[:, None, :]), np.zeros((1, 1), np.float32)
    centre = np.broadcast_to(centre_x[:, None], patch_y.shape).astype(np.float32)
    x, y = to_right(centre, patch_y.astype(np.float32))
    y = np.clip(y, 0, height - 1.001)
    first_x, first_y = np.floor(x).astype(np.intp), y.astype(np.intp)
    index = (first_y * width)[:, :, None] + np.clip(first_x[:, :, None] + around, 0, width - 1)
    share = (y - first_y).astype(np.float32)[:, :, None]
    top, below = flat.take(index), flat.take(index + width)
    return top + share * (below - top), (x - first_x).astype(np.float32)


def _at(block: Floats, offset: Floats, columns: int) -> Floats:
    """The part of each row of each block that lies at a fractional offset (n, rows or 1) from its start."""
    whole = np.floor(offset).astype(np.intp)
    share = (offset - whole).astype(np.float32)[:, :, None]
    index = np.clip(whole + _REACH_PX, 0, block.shape[2] - columns - 3)[:, :, None] + np.arange(columns + 3)
    shape = (*block.shape[:2], columns + 3)
    part = np.take_along_axis(block, np.broadcast_to(index, shape), axis=2)
    square = share * share
    result = (share * (-0.5 + share * (1.0 - 0.5 * share))) * part[:, :, :columns]
    result += (1.0 + square * (1.5 * share - 2.5)) * part[:, :, 1 : columns + 1]
    result += (share * (0.5 + share * (2.0 - 1.5 * share))) * part[:, :, 2 : columns + 2]
    result += (square * (0.5 * share - 0.5)) * part[:, :, 3 : columns + 3]
    return np.asarray(result, np.float32)
