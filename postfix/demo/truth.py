"""What is exactly known of a made-up frame, and the figures that follow from it.

The figures are computed here from the parallax maps alone, by the definitions of the measurement table, and share no
code with the measuring stage.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

Map = npt.NDArray[np.float32]
Mask = npt.NDArray[np.bool_]
Rows = npt.NDArray[np.float32]

EDGE_COLUMNS_PX = 4
"""Columns next to a frame edge that count as touching it."""

HELD_SHARE = 0.001
"""Share of the picture area that must hold an extreme for it to count."""


@dataclass(frozen=True)
class Summary:
    """The figures of one frame, percent of width; NaN where there is nothing to tell.

    Attributes
    ----------
    near_pct, far_pct, median_pct : float
        1st, 99th and 50th percentile of parallax over the area both eyes see.
    nearest_pct, farthest_pct : float
        Extremes held by at least 0.1 % of the picture area.
    left_edge_pct, right_edge_pct : float
        Most negative parallax of content that touches that frame edge and that both eyes see.
    """

    near_pct: float
    far_pct: float
    median_pct: float
    nearest_pct: float
    farthest_pct: float
    left_edge_pct: float
    right_edge_pct: float


@dataclass(frozen=True)
class Truth:
    """Exact parallax of every pixel of one frame.

    Attributes
    ----------
    left_parallax_px, right_parallax_px : ndarray, (H, W) float32
        Parallax of the point seen at each pixel of the left and of the right eye.
    left_seen, right_seen : ndarray, (H, W) bool
        Whether the other eye sees that point too: inside its frame, and nothing in front of it.
    left_surface, right_surface : ndarray, (H, W) int16
        Which surface of the scene is seen there, counted from the back.
    summary : Summary
    left_edge_rows_pct, right_edge_rows_pct : ndarray, (H,) float32
        Edge parallax of every row, see :func:`edge_rows_pct`.
    """

    left_parallax_px: Map
    right_parallax_px: Map
    left_seen: Mask
    right_seen: Mask
    left_surface: npt.NDArray[np.int16]
    right_surface: npt.NDArray[np.int16]
    summary: Summary
    left_edge_rows_pct: Rows
    right_edge_rows_pct: Rows


def edge_rows_pct(
    left_parallax_px: Map,
    right_parallax_px: Map,
    left_seen: Mask,
    right_seen: Mask,
    columns_px: int = EDGE_COLUMNS_PX,
) -> tuple[Rows, Rows]:
    """Most negative parallax next to the left and the right frame edge, row by row.

    Content in front of the screen that the left frame edge cuts lies ``|P|`` further right in the left eye, so it has a
    partner at the right eye's first columns and none at the left eye's; at the right frame edge it is the left eye's
    last columns. Rows in which nothing there has a partner (content behind the screen, which cannot offend) are NaN.

    Returns
    -------
    left, right : ndarray, (H,) float32, percent of width
    """
    width = left_parallax_px.shape[1]

    def lowest(parallax: Map, seen: Mask) -> Rows:
        least = np.where(seen, parallax, np.float32(np.inf)).min(axis=1)
        return np.where(np.isfinite(least), least * (100.0 / width), np.nan).astype(np.float32)

    left = lowest(right_parallax_px[:, :columns_px], right_seen[:, :columns_px])
    right = lowest(left_parallax_px[:, -columns_px:], left_seen[:, -columns_px:])
    return left, right


def summarise(left_parallax_px: Map, right_parallax_px: Map, left_seen: Mask, right_seen: Mask) -> Summary:
    """The figures of a frame from its parallax maps.

    Percentiles are taken over the left eye's pixels that the right eye sees too.
    """
    height, width = left_parallax_px.shape
    to_pct = 100.0 / width
    seen = np.sort(left_parallax_px[left_seen].astype(np.float64)) * to_pct
    left_rows, right_rows = edge_rows_pct(left_parallax_px, right_parallax_px, left_seen, right_seen)
    held = math.ceil(HELD_SHARE * height * width)
    if seen.size == 0:
        near = median = far = math.nan
    else:
        near, median, far = (float(v) for v in np.percentile(seen, (1.0, 50.0, 99.0)))
    return Summary(
        near_pct=near,
        far_pct=far,
        median_pct=median,
        nearest_pct=float(seen[held - 1]) if seen.size >= held else math.nan,
        farthest_pct=float(seen[-held]) if seen.size >= held else math.nan,
        left_edge_pct=_least(left_rows),
        right_edge_pct=_least(right_rows),
    )


def _least(rows: Rows) -> float:
    known = rows[np.isfinite(rows)]
    return float(known.min()) if known.size else math.nan
