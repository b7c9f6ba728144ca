"""How alike two frames are by their fine structure, wherever it moved: what cuts and dissolves are told by.

The limits here are project defaults without a source, chosen on made-up edits.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import NamedTuple

import cv2
import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float32]

SIZE = (64, 36)
"""Columns and rows of the luma of a signature."""

_FINE_SIZE = (128, 72)
_COARSE_SIZE = (16, 9)
_DETAIL_SIGMAS = (1.0, 3.0)
_SEARCH = (12, 6)
"""Columns and rows of a signature that a block may move: a fifth of the picture's width, a sixth of its height."""

_NEAR_BLOCK = (16, 18)
"""Columns and rows; over a few frames little leaves the picture, and all of it is compared."""

_FAR_BLOCK = (20, 24)
"""Columns and rows; over many frames only blocks that cannot have left the picture are looked for."""

_PLAIN = 0.001
"""Fine structure (share of white) under which a frame shows nothing."""


class Signature(NamedTuple):
    """What is kept of a frame for a while.

    Attributes
    ----------
    luma : (36, 64) float32, 0 black to 1 white
    detail : (36, 64) float32, luma without its slow changes
    coarse : (144,) float32, luma of 16 × 9 fields
    """

    luma: Floats
    detail: Floats
    coarse: Floats


def signature(grey: npt.NDArray[np.float32] | npt.NDArray[np.uint8]) -> Signature:
    """The signature of a luma picture: uint8, 0 to 255, or float32, 0 to 1; cheapest from a small one.

    Brightness must be that of the picture: stretched frame by frame, fades cannot be seen.
    """
    white = 255.0 if grey.dtype == np.uint8 else 1.0
    fine = cv2.resize(grey, _FINE_SIZE, interpolation=cv2.INTER_AREA)
    # Rounding to 8 bits has been averaged over two by two; dark pictures keep their structure.
    luma = cv2.resize(np.asarray(fine, np.float32), SIZE, interpolation=cv2.INTER_AREA) / np.float32(white)
    if white == 1.0:
        luma = np.clip(np.nan_to_num(luma, nan=0.0, posinf=1.0, neginf=0.0), 0.0, 1.0)
    return signature_of(luma)


def signature_of(luma: Floats) -> Signature:
    """The signature whose ``luma`` this is: the rest of it follows from that."""
    # Without the finest structure a move by part of a field does not make a picture unlike itself.
    detail = cv2.GaussianBlur(luma, (0, 0), _DETAIL_SIGMAS[0]) - cv2.GaussianBlur(luma, (0, 0), _DETAIL_SIGMAS[1])
    coarse = cv2.resize(luma, _COARSE_SIZE, interpolation=cv2.INTER_AREA).ravel()
    return Signature(luma, detail, coarse)


def likeness(first: Floats, second: Floats, *, far: bool = False) -> float:
    """How much of one picture's structure is in another, wherever it moved: 0 nothing, 1 all.

    Mean over blocks, weighted by their contrast, of the best normalised correlation with the other picture nearby.

    Parameters
    ----------
    first, second : (36, 64) float32
        The same field of two signatures.
    far : bool
        True for frames so far apart that the picture may have moved on: only its middle is looked for.
    """
    plain = [float(picture.std()) < _PLAIN for picture in (first, second)]
    if any(plain):
        return float(all(plain))
    found = weight = 0.0
    for rows, across in _blocks(first, far=far):
        block = first[rows, across]
        contrast = float(block.std())
        around = second[
            max(0, rows.start - _SEARCH[1]) : rows.stop + _SEARCH[1],
            max(0, across.start - _SEARCH[0]) : across.stop + _SEARCH[0],
        ]
        best = float(cv2.matchTemplate(around, block, cv2.TM_CCOEFF_NORMED).max())
        weight += contrast
        # Where one side is flat the correlation is no number or beyond 1.
        found += contrast * best if 0.0 < best < 1.01 else 0.0
    return found / weight if weight else 0.0


def explained_by_both(middle: Floats, first: Floats, last: Floats) -> float:
    """How much more of a picture is the sum of two others, moved, than it is the better one of them alone.

    Parameters
    ----------
    middle, first, last : (36, 64) float32
        The same field of three signatures.

    Returns
    -------
    float
        Share of the variance of ``middle`` within its blocks, 0 to 1.
    """
    columns: tuple[list[Floats], ...] = ([], [], [])
    for rows, across in _blocks(middle, far=True):
        block = middle[rows, across]
        top, left = max(0, rows.start - _SEARCH[1]), max(0, across.start - _SEARCH[0])
        columns[0].append((block - block.mean()).ravel())
        for side, picture in enumerate((first, last), 1):
            around = picture[top : rows.stop + _SEARCH[1], left : across.stop + _SEARCH[0]]
            matches = np.nan_to_num(cv2.matchTemplate(around, block, cv2.TM_CCOEFF_NORMED), posinf=0.0)
            x, y = cv2.minMaxLoc(matches)[3]
            found = around[y : y + block.shape[0], x : x + block.shape[1]]
            columns[side].append((found - found.mean()).ravel())
    wanted, before, after = (np.concatenate(column).astype(np.float64) for column in columns)
    total, energy_before, energy_after = (float(c @ c) + 1e-9 for c in (wanted, before, after))
    both, with_before, with_after = float(before @ after), float(before @ wanted), float(after @ wanted)
    determinant = energy_before * energy_after - both * both + 1e-12
    share_before = (with_before * energy_after - with_after * both) / determinant
    share_after = (with_after * energy_before - with_before * both) / determinant
    together = share_before * with_before + share_after * with_after
    alone = max(with_before**2 / energy_before, with_after**2 / energy_after)
    return max(0.0, together - alone) / total


def _blocks(picture: Floats, *, far: bool) -> Iterator[tuple[slice, slice]]:
    (height, width), (across, down) = picture.shape, _FAR_BLOCK if far else _NEAR_BLOCK
    inset_x, inset_y = _SEARCH if far else (0, 0)
    for top in range(inset_y, height - inset_y - down + 1, down):
        for left in range(inset_x, width - inset_x - across + 1, across):
            yield slice(top, top + down), slice(left, left + across)
