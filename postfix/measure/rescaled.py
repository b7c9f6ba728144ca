"""A measurement told in the pixels of another size of the same pictures, such as eyes that were squeezed to half."""

from __future__ import annotations

from dataclasses import replace

from postfix.measure.rows import gathered_rows
from postfix.measure.table import ClipInfo, FrameMeasure, MeasurementTable, RivalBox


def rescaled(table: MeasurementTable, clip: ClipInfo) -> MeasurementTable:
    """The same measurement in the pixels of ``clip``, whose pictures are this table's at another size.

    Percentages stay. The very same table where the size is the same.
    """
    across, down = clip.width_px / table.clip.width_px, clip.height_px / table.clip.height_px
    if (across, down) == (1.0, 1.0):
        return table
    told = replace(table.clip, width_px=clip.width_px, height_px=clip.height_px, pixel_aspect=clip.pixel_aspect)
    return replace(table, clip=told, frames=gathered_rows(_frame(frame, across, down) for frame in table.frames))


def _frame(frame: FrameMeasure, across: float, down: float) -> FrameMeasure:
    return replace(
        frame,
        vertical_px=frame.vertical_px * down,
        left_hidden_px=_hidden(frame.left_hidden_px, across),
        right_hidden_px=_hidden(frame.right_hidden_px, across),
        left_bars_px=(frame.left_bars_px[0] * down, frame.left_bars_px[1] * down),
        right_bars_px=(frame.right_bars_px[0] * down, frame.right_bars_px[1] * down),
        near_box=_box(frame.near_box, across, down),
        far_box=_box(frame.far_box, across, down),
        rivalry_boxes=tuple(RivalBox(box.eye, *_box(_sides(box), across, down)) for box in frame.rivalry_boxes),
    )


def _hidden(px: tuple[float, float, float, float], across: float) -> tuple[float, float, float, float]:
    left_top, left_bottom, right_top, right_bottom = (one * across for one in px)
    return left_top, left_bottom, right_top, right_bottom


def _sides(box: RivalBox) -> tuple[int, ...]:
    return box.x_px, box.y_px, box.width_px, box.height_px


def _box(box: tuple[int, ...], across: float, down: float) -> tuple[int, ...]:
    return tuple(round(px * scale) for px, scale in zip(box, (across, down, across, down)))
