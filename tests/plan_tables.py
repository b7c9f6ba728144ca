"""Measurement tables made by hand, for the tests of planning."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from fractions import Fraction

from postfix.limits import Limits
from postfix.measure.columns import Columns, columns_of
from postfix.measure.table import EDGE_BANDS, NAN, ClipInfo, FrameMeasure, MeasurementTable
from postfix.plan.clip import plan_edit, predicted_flags
from postfix.plan.edit import edit_of
from postfix.plan.model import Flag, Pin, Plan
from postfix.plan.settings import Fill, PlanSettings
from postfix.source.shots import Shot
from postfix.viewing import Screen

CLIP = ClipInfo("wind", 2048, 1080, Fraction(24), 2)


def rows(upper: float = NAN, lower: float | None = None) -> tuple[float, ...]:
    """Edge parallax of the upper and the lower half of the picture."""
    half = EDGE_BANDS // 2
    return (upper,) * half + (upper if lower is None else lower,) * half


def frame(
    near: float = -0.5,
    far: float = 0.3,
    left: tuple[float, ...] | None = None,
    right: tuple[float, ...] | None = None,
    confidence: float = 0.9,
    left_hidden: tuple[float, float, float, float] = (0.0, 0.0, 0.0, 0.0),
    right_hidden: tuple[float, float, float, float] = (0.0, 0.0, 0.0, 0.0),
) -> FrameMeasure:
    """A frame with edges as given, in percent of width; without edges nothing touches the sides."""

    def least(bands: Sequence[float] | None) -> float:
        return min((value for value in bands or () if value == value), default=NAN)

    return FrameMeasure(
        near_pct=near,
        far_pct=far,
        median_pct=(near + far) / 2.0,
        left_edge_pct=least(left),
        right_edge_pct=least(right),
        confidence=confidence,
        left_rows_pct=left or rows(),
        right_rows_pct=right or rows(),
        left_hidden_px=left_hidden,
        right_hidden_px=right_hidden,
    )


def measurement(
    frames: Sequence[FrameMeasure] | Callable[[int], FrameMeasure],
    count: int = 48,
    cuts: Sequence[int] = (),
    clip: ClipInfo = CLIP,
) -> MeasurementTable:
    """A table of given frames, or of ``count`` frames by number; ``cuts`` are first frames of later shots."""
    made = tuple(frames(i) for i in range(count)) if callable(frames) else tuple(frames)
    firsts = [0, *cuts]
    lasts = [cut - 1 for cut in cuts] + [len(made) - 1]
    shots = tuple(Shot(f"sh{i + 1:03d}", first, last) for i, (first, last) in enumerate(zip(firsts, lasts)))
    return MeasurementTable(clip, made, ("",) * len(made), shots)


def table(
    frames: Sequence[FrameMeasure] | Callable[[int], FrameMeasure],
    count: int = 48,
    cuts: Sequence[int] = (),
    clip: ClipInfo = CLIP,
) -> Columns:
    """The same as planning takes it."""
    return columns_of(measurement(frames, count, cuts, clip))


def planned(
    columns: Columns,
    screen: Screen,
    limits: Limits | None = None,
    *,
    settings: PlanSettings | None = None,
    fill: Fill = "hide",
    previous: Plan | None = None,
    pins: Sequence[Pin] = (),
) -> Plan:
    """The plan of a table for one screen."""
    used = replace(PlanSettings() if settings is None else settings, fill=fill)
    return plan_edit(edit_of(columns), screen, used, limits=limits, previous=previous, pins=pins).plan


def flags_of(columns: Columns, plan: Plan) -> dict[str, tuple[Flag, ...]]:
    """What a plan leaves outside its limits, by shot."""
    return predicted_flags(edit_of(columns), plan)
