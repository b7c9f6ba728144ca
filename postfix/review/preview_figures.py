"""Near and far of every frame as a preview writes them: as measured, or as a plan is going to make them."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from postfix.limits import Limits
from postfix.measure.table import MeasurementTable
from postfix.plan.figures import LIMIT_TOLERANCE_PCT
from postfix.plan.geometry import moves_of
from postfix.plan.model import Plan
from postfix.review.burn_in import Lines
from postfix.review.words import mm_text, pct_text
from postfix.viewing import Screen

Column = npt.NDArray[np.float64]
Rows = tuple[tuple[str, ...], ...]

_OUTSIDE, _FILLED_IN, _PREDICTED = "outside", "filled in", "predicted"


@dataclass(frozen=True, eq=False)
class FrameFigures:
    """Figures of every frame of a clip.

    Attributes
    ----------
    near_pct, far_pct : (n,) float64
        Percent of width; NaN where nothing was measured.
    hit_pct : (n,) float64 or None
        What is really applied of a plan; near and far hold it already. None without a plan.
    filled_in : (n,) bool
        Frames that were not measured themselves.
    """

    near_pct: Column
    far_pct: Column
    hit_pct: Column | None
    filled_in: npt.NDArray[np.bool_]


def frame_figures(table: MeasurementTable, plan: Plan | None = None) -> FrameFigures:
    """Figures of every frame: those of the table, and with a plan what becomes of them by its HIT and zoom."""
    near, far = (np.array([getattr(frame, name) for frame in table.frames]) for name in ("near_pct", "far_pct"))
    filled_in = np.array([frame.interpolated for frame in table.frames])
    if plan is None:
        return FrameFigures(near, far, None, filled_in)
    hit = np.zeros(len(table.frames))
    for shot in plan.shots:
        part, moves = slice(shot.first, shot.last + 1), moves_of(shot, plan.clip)
        hit[part] = moves.hit_px * 100.0 / plan.clip.width_px
        near[part] = moves.zoom * near[part] + hit[part]
        far[part] = moves.zoom * far[part] + hit[part]
    return FrameFigures(near, far, hit, filled_in)


def figure_rows(figures: FrameFigures, frame: int, screen: Screen | None, limits: Limits | None) -> Rows:
    """Rows of cells that say the figures of a frame: percent, millimetres on a screen, limit, and what to mind."""
    near, far = float(figures.near_pct[frame]), float(figures.far_pct[frame])
    near_over, far_over = (0.0, 0.0) if limits is None else (limits.near_pct - near, far - limits.far_pct)
    rows = []
    for word, pct, limit_pct, over in (
        ("near", near, None if limits is None else limits.near_pct, near_over),
        ("far", far, None if limits is None else limits.far_pct, far_over),
    ):
        marks = [_OUTSIDE] if over > LIMIT_TOLERANCE_PCT else []
        marks += [_FILLED_IN] if figures.filled_in[frame] and np.isfinite(pct) else []
        limit = () if limit_pct is None else (f"limit {pct_text(limit_pct)}",)
        rows.append((word, pct_text(pct), *_mm(pct, screen), *limit, ", ".join(marks)))
    if figures.hit_pct is not None:
        hit = float(figures.hit_pct[frame])
        rows.append(("HIT", pct_text(hit), *_mm(hit, screen), _PREDICTED))
    return tuple(rows)


def longest_lines(time: str, shot: str, figures: FrameFigures | None, limits: bool, screen: bool) -> Lines:
    """Lines at least as long as any that a preview will write, but for the names of shots."""
    if figures is None:
        return Lines(time, shot)
    mm, limit = ("-00000 mm",) if screen else (), ("limit -00.00 %",) if limits else ()
    mark = _OUTSIDE if limits else ""
    if figures.filled_in.any():
        mark = f"{mark}, {_FILLED_IN}"
    row = ("near", "not measured" if _has_holes(figures) else "-00.00 %", *mm, *limit, mark)
    last = () if figures.hit_pct is None else (("HIT", "-00.00 %", *mm, _PREDICTED),)
    return Lines(time, shot, (row, row, *last))


def _has_holes(figures: FrameFigures) -> bool:
    return bool(np.isnan(figures.near_pct).any() or np.isnan(figures.far_pct).any())


def _mm(pct: float, screen: Screen | None) -> tuple[str, ...]:
    return () if screen is None else (mm_text(pct, screen),)
