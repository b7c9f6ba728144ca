"""The figures that decisions are made from, one array a column: a reel of 200,000 frames fits in memory this way."""

from __future__ import annotations

from dataclasses import dataclass, fields
from typing import Any

import numpy as np
import numpy.typing as npt

from postfix.measure.table import EDGE_BANDS, NEARER_STEPS_PCT, ClipInfo, MeasurementTable, columns_of_rows
from postfix.source.shots import Shot

Column = npt.NDArray[np.float64]

Small = npt.NDArray[np.float32]
"""Of columns that hold many figures a frame, to a tenth."""

SCALARS = (
    *("near_pct", "far_pct", "median_pct", "left_edge_pct", "right_edge_pct", "confidence"),
    *("vertical_px", "rotation_deg", "size_pct"),
)
"""Columns of one figure a frame."""

LISTS = {
    "left_rows_pct": EDGE_BANDS,
    "right_rows_pct": EDGE_BANDS,
    "left_hidden_px": 4,
    "right_hidden_px": 4,
    "near_box": 4,
    "far_box": 4,
    "nearer_share_pct": len(NEARER_STEPS_PCT),
    "nearer_width_pct": len(NEARER_STEPS_PCT),
    "nearer_height_pct": len(NEARER_STEPS_PCT),
}
"""Columns of several figures a frame, and how many."""


SMALL = ("nearer_share_pct", "nearer_width_pct", "nearer_height_pct")
"""Of these the ones kept as float32: three times so many figures as all others together."""


@dataclass(frozen=True, eq=False)
class Columns:
    """What planning needs of a measurement; the fields are those of :class:`postfix.measure.table.FrameMeasure`.

    Attributes
    ----------
    clip : ClipInfo
    shots : tuple of Shot
        Cover every frame once, in order.
    dissolve_frames : tuple of int
        For each shot, over how many frames it dissolves in; 0 for a cut.
    near_pct, far_pct, median_pct, left_edge_pct, right_edge_pct, confidence : (frames,) float64
    vertical_px, rotation_deg, size_pct : (frames,) float64
        NaN where nothing was measured; confidence is 0 there.
    left_rows_pct, right_rows_pct : (frames, EDGE_BANDS) float64
    left_hidden_px, right_hidden_px : (frames, 4) float64
    near_box, far_box : (frames, 4) float64
        NaN where there is none.
    nearer_share_pct, nearer_width_pct, nearer_height_pct : (frames, steps) float32
        For each step of :data:`postfix.measure.table.NEARER_STEPS_PCT`.
    """

    clip: ClipInfo
    shots: tuple[Shot, ...]
    dissolve_frames: tuple[int, ...]
    near_pct: Column
    far_pct: Column
    median_pct: Column
    left_edge_pct: Column
    right_edge_pct: Column
    confidence: Column
    vertical_px: Column
    rotation_deg: Column
    size_pct: Column
    left_rows_pct: Column
    right_rows_pct: Column
    left_hidden_px: Column
    right_hidden_px: Column
    near_box: Column
    far_box: Column
    nearer_share_pct: Small
    nearer_width_pct: Small
    nearer_height_pct: Small

    @property
    def count(self) -> int:
        """Frames of the clip."""
        return len(self.near_pct)


def columns_of(table: MeasurementTable) -> Columns:
    """The columns of a table in memory."""
    arrays: dict[str, Any] = dict(columns_of_rows(table.frames, (*SCALARS, *LISTS)))
    arrays |= {name: arrays[name].astype(np.float32) for name in SMALL}
    dissolves = tuple(finding.transition_frames for finding in table.findings) or (0,) * len(table.shots)
    return Columns(table.clip, table.shots, dissolves, **arrays)


assert {*SCALARS, *LISTS} == {field.name for field in fields(Columns)} - {"clip", "shots", "dissolve_frames"}
