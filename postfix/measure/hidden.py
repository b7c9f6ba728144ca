"""Black that already hides the sides of a picture: windows, bars, columns laid bare by an earlier move.

A window's edge is a straight line from the top to the bottom of the frame. In each row the run of black from the frame
edge inwards is at least as long as the window is wide, longer where the picture itself is dark there, so the window is
the widest straight line that lies under all runs.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from postfix.measure.proxy import Grey

BLACK_SHARE = 0.012
"""At most this share of white counts as black: three codes of 8 bit, what lossy codecs leave beside a window's edge."""

_FOLLOWED_SHARE = 0.6
"""Rows that must end within :data:`_STRAIGHT_PX` of the line, else the black is a dark corner of the picture."""

_STRAIGHT_PX = 2.5
_ODD_ROWS_SHARE = 0.01


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
    if np.count_nonzero(grey[:, :2].max(axis=1) <= BLACK_SHARE) < _FOLLOWED_SHARE / 2 * height:
        return (0.0, 0.0)
    lit = grey[:, : width // 2] > BLACK_SHARE
    runs = np.where(lit.any(axis=1), lit.argmax(axis=1), width // 2).astype(np.float64)
    top, bottom = _line_under(runs)
    rows = np.arange(height) + 0.5
    line = top + (bottom - top) * rows / height
    followed = np.count_nonzero(np.abs(runs - line) <= _STRAIGHT_PX)
    if max(top, bottom) < 1.0 or followed < _FOLLOWED_SHARE * height:
        return (0.0, 0.0)
    return top, bottom


def _line_under(runs: npt.NDArray[np.float64]) -> tuple[float, float]:
    """Largest straight line, (top, bottom) ≥ 0, under nearly all runs: the lower hull's edge across the middle row."""
    height = len(runs)
    rows = np.arange(height) + 0.5
    odd = max(1, int(_ODD_ROWS_SHARE * height))
    # A few odd rows (noise, a hot pixel) may not pull the whole window in: a rank filter over neighbours lifts them.
    padded = np.pad(runs, odd, mode="edge")
    lifted = np.sort(np.lib.stride_tricks.sliding_window_view(padded, 2 * odd + 1), axis=1)[:, odd // 2]
    hull: list[int] = []
    for row in range(height):
        while len(hull) >= 2:
            a, b = hull[-2], hull[-1]
            if (lifted[b] - lifted[a]) * (row - a) < (lifted[row] - lifted[a]) * (b - a):
                break
            hull.pop()
        hull.append(row)
    middle = next(i for i in range(1, len(hull)) if hull[i] >= height // 2) if len(hull) > 1 else 0
    if middle == 0:
        return float(lifted[0]), float(lifted[0])
    a, b = hull[middle - 1], hull[middle]
    slope = (lifted[b] - lifted[a]) / (b - a)
    at_top = lifted[a] - slope * rows[a]
    return max(0.0, float(at_top)), max(0.0, float(at_top + slope * height))


def hidden_columns(line_px: tuple[float, float], height: int, scale: float) -> npt.NDArray[np.int32]:
    """Columns hidden in each of ``height`` proxy rows, rounded up, from a (top, bottom) line in source pixels."""
    rows = (np.arange(height) + 0.5) / height
    columns = np.ceil((line_px[0] + (line_px[1] - line_px[0]) * rows) / scale)
    return np.asarray(columns, np.int32)
