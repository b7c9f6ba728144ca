"""Black that already hides the sides of a picture: windows, bars, columns laid bare by an earlier move.

A window's edge is a straight line from the top to the bottom of the frame. In each row the run of black from the frame
edge inwards is at least as long as the window is wide, longer where the picture itself is dark there, so the window is
the widest straight line that lies under all runs.
"""

from __future__ import annotations

import cv2
import numpy as np
import numpy.typing as npt

from postfix.measure.proxy import Grey

BLACK_SHARE = 0.012
"""At most this share of white counts as black: three codes of 8 bit, what lossy codecs leave inside a window."""

_RINGING_SHARE = 0.08
_RINGING_OF_LEVEL = 0.25
"""Beside a window's edge codecs leave more: up to a quarter of the brightness next to it, and never above the first
figure, is taken for that."""

_LEVEL_PX = slice(8, 24)
"""Where, behind a row's first lit column, the brightness next to the edge is read."""

_FOLLOWED_SHARE = 0.6
"""Rows that must end within :data:`_STRAIGHT_PX` of the line, else the black is a dark corner of the picture."""

_STRAIGHT_PX = 2.5
_BLOCKS = 32
_BLOCK_SHARE = 0.2
"""Of the rows of a block, this share may be lit further out (noise, a hot pixel) without pulling the line out."""


def hidden_px(grey: Grey) -> tuple[tuple[float, float], tuple[float, float]]:
    """Black columns at the left and right side of a picture, each as (top, bottom) in pixels.

    Parameters
    ----------
    grey : (H, W) float32, 0 at black and 1 at white
    """
    return _one_side(grey), _one_side(grey[:, ::-1])


def _one_side(grey: Grey) -> tuple[float, float]:
    height, width = grey.shape
    # Nearly every picture has none: look at the outermost columns first.
    outermost = grey[:, :2].mean(axis=1)
    if np.count_nonzero(outermost <= 2.0 * BLACK_SHARE) < _FOLLOWED_SHARE / 2 * height:
        return (0.0, 0.0)
    runs = _black_runs(grey[:, : width // 2])
    top, bottom = _line_under(runs)
    rows = np.arange(height) + 0.5
    line = top + (bottom - top) * rows / height
    followed = np.count_nonzero(np.abs(runs - line) <= _STRAIGHT_PX)
    if max(top, bottom) < 1.0 or followed < _FOLLOWED_SHARE * height:
        return (0.0, 0.0)
    inside = np.arange(width // 2)[None, :] < line[:, None]
    if float(np.median(grey[:, : width // 2][inside])) > BLACK_SHARE:
        return (0.0, 0.0)
    return top, bottom


def _black_runs(grey: Grey) -> npt.NDArray[np.float64]:
    """Columns from the frame edge to the picture in each row, (H,), what a codec leaves beside the edge passed over."""
    height, width = grey.shape
    smooth = np.asarray(cv2.blur(grey, (1, 3)), np.float32)

    def first_above(share: npt.NDArray[np.float32]) -> npt.NDArray[np.int64]:
        lit = smooth > share[:, None]
        return np.asarray(np.where(lit.any(axis=1), lit.argmax(axis=1), width), np.int64)

    first = first_above(np.full(height, BLACK_SHARE, np.float32))
    beside = np.minimum(first[:, None] + np.arange(_LEVEL_PX.start, _LEVEL_PX.stop)[None, :], width - 1)
    level = np.take_along_axis(smooth, beside, axis=1).mean(axis=1)
    share = np.clip(_RINGING_OF_LEVEL * level, BLACK_SHARE, _RINGING_SHARE)
    return first_above(np.asarray(share, np.float32)).astype(np.float64)


def _line_under(runs: npt.NDArray[np.float64]) -> tuple[float, float]:
    """Largest straight line, (top, bottom) ≥ 0, under nearly all runs: the lower hull's edge across the middle row."""
    height = len(runs)
    blocks = np.array_split(np.arange(height), min(_BLOCKS, height))
    at = np.array([block.mean() + 0.5 for block in blocks])
    low = np.array([np.sort(runs[block])[int(_BLOCK_SHARE * len(block))] for block in blocks])
    hull: list[int] = []
    for block in range(len(blocks)):
        while len(hull) >= 2:
            a, b = hull[-2], hull[-1]
            if (low[b] - low[a]) * (at[block] - at[a]) < (low[block] - low[a]) * (at[b] - at[a]):
                break
            hull.pop()
        hull.append(block)
    if len(hull) == 1:
        return float(low[0]), float(low[0])
    middle = next((i for i in range(1, len(hull)) if at[hull[i]] >= height / 2), len(hull) - 1)
    a, b = hull[middle - 1], hull[middle]
    slope = (low[b] - low[a]) / (at[b] - at[a])
    at_top = low[a] - slope * at[a]
    return max(0.0, float(at_top)), max(0.0, float(at_top + slope * height))


def hidden_columns(line_px: tuple[float, float], height: int, scale: float) -> npt.NDArray[np.int32]:
    """Columns hidden in each of ``height`` proxy rows, rounded up, from a (top, bottom) line in source pixels."""
    rows = (np.arange(height) + 0.5) / height
    columns = np.ceil((line_px[0] + (line_px[1] - line_px[0]) * rows) / scale)
    return np.asarray(columns, np.int32)
