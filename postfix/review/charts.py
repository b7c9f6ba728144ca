"""Charts over time as inline SVG: depth against the limits, and what lies at the side edges."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from postfix.plan.geometry import SIDES, Side, bare_px, edge_parallax_px
from postfix.review.logged import Column, Version
from postfix.review.stills import moves_at
from postfix.review.words import escaped, pct_text
from postfix.source.timecode import nominal_rate

WIDTH_PX, MARGIN_LEFT_PX, MARGIN_RIGHT_PX = 1040, 74, 150
PLOT_PX = WIDTH_PX - MARGIN_LEFT_PX - MARGIN_RIGHT_PX
MOST_COLUMNS = 700
"""Longer clips are drawn with several frames a column; each column keeps its extremes, so nothing is smoothed away."""

MOST_NAMED_CUTS = 40
_LABEL_PX = 14


@dataclass(frozen=True)
class Frame:
    """Where a plot lies in its drawing, and what its axes span."""

    top: float
    height: float
    frames: int
    low: float
    high: float

    def x(self, frame: float) -> float:
        """Drawing x of the start of a frame."""
        return MARGIN_LEFT_PX + PLOT_PX * frame / self.frames

    def y(self, pct: float) -> float:
        """Drawing y of a parallax; behind the screen is up."""
        return self.top + self.height * (self.high - pct) / (self.high - self.low)


@dataclass(frozen=True)
class Columns:
    """Runs of frames that are drawn as one step; none reaches over a cut."""

    starts: npt.NDArray[np.int64]
    ends: npt.NDArray[np.int64]
    cuts: frozenset[int]

    def least(self, values: Column) -> Column:
        """Smallest finite value of each column; NaN where there is none."""
        return np.fmin.reduceat(values, self.starts)

    def most(self, values: Column) -> Column:
        """Largest finite value of each column; NaN where there is none."""
        return np.fmax.reduceat(values, self.starts)


def columns_of(version: Version) -> Columns:
    """One column a frame, or several frames a column for long clips."""
    step = math.ceil(version.clip.frames / MOST_COLUMNS)
    starts = np.concatenate([np.arange(shot.plan.first, shot.plan.last + 1, step) for shot in version.shots])
    ends = np.append(starts[1:], version.clip.frames)
    return Columns(starts, ends, frozenset(shot.plan.first for shot in version.shots))


def depth_chart(version: Version, ident: str) -> str:
    """Near, far and median before and after, with the limits; an SVG element.

    Parameters
    ----------
    version : Version
    ident : str
        Unique on the page; names the parts that describe the chart.
    """
    table, limits, columns = version.frames, version.limits, columns_of(version)
    lines = {
        name: (columns.least if name.startswith("near") else columns.most)(table[f"{name}_pct"])
        for name in ("near_before", "far_before", "median_before", "near_after", "far_after", "median_after")
    }
    low, high = _span(list(lines.values()), (limits.near_pct, limits.far_pct))
    frame = Frame(34.0, 260.0, version.clip.frames, low, high)
    parts = [_grid(frame, version), _cuts(frame, version, named=True)]
    parts += _band(frame, columns, lines["near_after"], lines["far_after"], "after-band")
    parts += _band(frame, columns, lines["near_before"], lines["far_before"], "before-band")
    parts += _line(frame, columns, lines["median_after"], "after-median")
    labels = [(0.0, "the screen", "zero")]
    for word, pct in (("far", limits.far_pct), ("near", limits.near_pct)):
        if low <= pct <= high:
            labels.append((pct, f"{word} limit {pct_text(pct)}", "limit"))
    parts += _level_lines(frame, labels)
    title = f"Depth over time, {version.clip.name} on {version.screen.name}"
    text = (
        f"Near to far in percent of picture width for {version.clip.frames} frames. Before the change "
        f"{_extent(lines['near_before'], lines['far_before'])}; after it "
        f"{_extent(lines['near_after'], lines['far_after'])}. Limits {pct_text(limits.near_pct)} to "
        f"{pct_text(limits.far_pct)}."
    )
    return _svg(ident, title, text, parts, frame.top + frame.height + 46)


def edge_chart(version: Version, ident: str) -> str:
    """What lies at the left and right edge before and after, and where the edge itself lies; an SVG element."""
    columns = columns_of(version)
    edges = {side: edge_pct(version, side) for side in SIDES}
    everything = [version.frames[f"{side}_edge_{when}_pct"] for side in SIDES for when in ("before", "after")]
    low, high = _span([*everything, *(end for pair in edges.values() for end in pair)], ())
    parts = [_hatch(ident)]
    frame = Frame(0.0, 1.0, 1, low, high)
    for index, side in enumerate(SIDES):
        frame = Frame(30.0 + index * 178.0, 140.0, version.clip.frames, low, high)
        last = index == len(SIDES) - 1
        parts += [_grid(frame, version, time_axis=last, words=False), _cuts(frame, version, named=False)]
        parts.append(_text(MARGIN_LEFT_PX, frame.top - 8, f"{side.capitalize()} edge", "panel"))
        upper, lower = columns.most(np.maximum(*edges[side])), columns.least(np.minimum(*edges[side]))
        parts += _band(frame, columns, lower, upper, "edge-band", f"url(#{ident}-hatch)")
        parts += _line(frame, columns, columns.least(version.frames[f"{side}_edge_before_pct"]), "before-line")
        parts += _line(frame, columns, columns.least(version.frames[f"{side}_edge_after_pct"]), "after-line")
        parts += _level_lines(frame, [(0.0, "the screen", "zero")])
    title = f"Side edges over time, {version.clip.name} on {version.screen.name}"
    text = (
        "Most negative parallax of content that touches each side edge, before and after, and the parallax of the "
        "edge itself after the change. Content below the edge lies in front of it."
    )
    return _svg(ident, title, text, parts, frame.top + frame.height + 46)


def edge_pct(version: Version, side: Side) -> tuple[Column, Column]:
    """Parallax of a side edge at its top and at its bottom for every frame, percent of width.

    Black that was in the source already is not known to the log and not counted.
    """
    ends: list[Column] = []
    width = version.clip.width_px
    for end in ("top", "bottom"):
        parts = []
        for shot in version.shots:
            run = slice(shot.plan.first, shot.plan.last + 1)
            left, right = bare_px(moves_at(version, shot, run), side, width)
            own, opposite = (left, right) if side == "left" else (right, left)
            own = np.maximum(own, np.nan_to_num(version.frames[f"window_{side}_{end}_px"][run]))
            parts.append(edge_parallax_px(own, opposite) * 100.0 / width)
        ends.append(np.concatenate(parts))
    return ends[0], ends[1]


def _span(series: Sequence[Column], limits: tuple[float, ...]) -> tuple[float, float]:
    """What the parallax axis spans: the data, the screen, and the limits where they are not far off."""
    finite = np.concatenate([values[np.isfinite(values)] for values in series] or [np.zeros(1)])
    low, high = float(np.min(finite, initial=0.0)), float(np.max(finite, initial=0.0))
    reach = max(2.0 * (high - low), 3.0)
    for limit in limits:
        if low - reach <= limit <= high + reach:
            low, high = min(low, limit), max(high, limit)
    pad = max(0.06 * (high - low), 0.1)
    return low - pad, high + pad


def _extent(near: Column, far: Column) -> str:
    if not (np.isfinite(near).any() and np.isfinite(far).any()):
        return "nothing was measured"
    return f"from {pct_text(float(np.nanmin(near)))} to {pct_text(float(np.nanmax(far)))}"


def nice_step(span: float, most: int) -> float:
    """The least of 1, 2 or 5 times a power of ten that cuts a span into at most ``most`` parts."""
    raw = span / most
    power = 10.0 ** math.floor(math.log10(raw))
    return float(next(factor * power for factor in (1.0, 2.0, 5.0, 10.0) if factor * power >= raw * (1 - 1e-9)))


def frame_step(frames: int, nominal: int, most: int = 8) -> int:
    """Frames between ticks of the time axis: round numbers below a second, whole seconds or minutes above."""
    seconds = (1, 2, 5, 10, 15, 30, 60, 120, 300, 600, 900, 1800, 3600, 7200)
    below = [step for step in (1, 2, 5, 6, 10, 12, 15, 20, 24, 25, 30) if step < nominal and nominal % step == 0]
    choices = [*below, *(nominal * step for step in seconds)]
    return next((step for step in choices if frames / step <= most), math.ceil(frames / most))


def _grid(frame: Frame, version: Version, *, time_axis: bool = True, words: bool = True) -> str:
    left, right, bottom = MARGIN_LEFT_PX, MARGIN_LEFT_PX + PLOT_PX, frame.top + frame.height
    parts = [f'<rect class="plot" x="{left}" y="{frame.top:g}" width="{PLOT_PX}" height="{frame.height:g}"/>']
    step = nice_step(frame.high - frame.low, 7 if frame.height > 200 else 5)
    digits = max(0, -math.floor(math.log10(step) + 1e-9))
    for index in range(math.ceil(frame.low / step), math.floor(frame.high / step) + 1):
        y = frame.y(index * step)
        label = f"{index * step:+.{digits}f} %".replace("-", "\N{MINUS SIGN}") if index else "0 %"
        parts.append(f'<path class="grid" d="M{left} {y:.1f}H{right}"/>')
        parts.append(_text(left - 8, y + 4, label, "tick end"))
    if words:
        for y, text in ((frame.top + 60, "behind"), (bottom - 60, "in front")):
            parts.append(
                f'<text class="axis" transform="translate(14 {y:.0f}) rotate(-90)" text-anchor="middle">{text}</text>'
            )
    tick = frame_step(frame.frames, nominal_rate(version.clip.rate))
    for number in range(0, frame.frames, tick):
        x = frame.x(number)
        parts.append(f'<path class="tickmark" d="M{x:.1f} {bottom:g}v5"/>')
        if time_axis:
            parts.append(_text(x, bottom + 19, str(number), "tick mid"))
            parts.append(_text(x, bottom + 34, version.frames.timecodes[number], "tick mid soft"))
    if time_axis:
        parts.append(_text(WIDTH_PX - 4, bottom + 19, "frame", "tick soft end"))
        if version.frames.timecodes[0]:
            parts.append(_text(WIDTH_PX - 4, bottom + 34, "timecode", "tick soft end"))
    return "".join(parts)


def _cuts(frame: Frame, version: Version, *, named: bool) -> str:
    parts = []
    many = len(version.shots) > MOST_NAMED_CUTS
    for shot in version.shots:
        x, end = frame.x(shot.plan.first), frame.x(shot.plan.last + 1)
        if shot.plan.first > 0:
            height = 8.0 if many else frame.height
            parts.append(f'<path class="cut" d="M{x:.1f} {frame.top - 6:g}v{height + 6:g}"/>')
        name = shot.plan.name if len(shot.plan.name) <= 14 else shot.plan.name[:12] + "…"
        if named and not many and end - x >= 7.0 * len(name):
            parts.append(_text((x + end) / 2.0, frame.top - 10, name, "shot mid"))
    return "".join(parts)


def _runs(columns: Columns, *series: Column) -> list[range]:
    """Stretches in which everything is measured and no cut lies."""
    good = np.all([np.isfinite(values) for values in series], axis=0)
    runs, start = [], None
    for index in range(len(good) + 1):
        ends = index == len(good) or not good[index] or int(columns.starts[index]) in columns.cuts
        if ends and start is not None:
            runs.append(range(start, index))
            start = None
        if index < len(good) and good[index] and start is None:
            start = index
    return runs


def _points(frame: Frame, columns: Columns, run: range, values: Column) -> list[str]:
    """A line through the columns' middles, carried to the ends of the run so that one frame alone is seen too."""
    xs = [frame.x(float(columns.starts[run.start]))]
    xs += [frame.x((float(columns.starts[i]) + float(columns.ends[i])) / 2.0) for i in run]
    xs.append(frame.x(float(columns.ends[run.stop - 1])))
    ys = [values[run.start], *(values[i] for i in run), values[run.stop - 1]]
    return [f"{x:.1f} {frame.y(float(y)):.1f}" for x, y in zip(xs, ys)]


def _line(frame: Frame, columns: Columns, values: Column, name: str) -> list[str]:
    paths = ["M" + "L".join(_points(frame, columns, run, values)) for run in _runs(columns, values)]
    return [f'<path class="{name}" d="{"".join(paths)}"/>'] if paths else []


def _band(
    frame: Frame, columns: Columns, lower: Column, upper: Column, name: str, fill: str | None = None
) -> list[str]:
    paths = []
    for run in _runs(columns, lower, upper):
        there = _points(frame, columns, run, upper)
        back = _points(frame, columns, run, lower)[::-1]
        paths.append("M" + "L".join(there + back) + "Z")
    style = f' style="fill:{fill}"' if fill else ""
    return [f'<path class="{name}"{style} d="{"".join(paths)}"/>'] if paths else []


def _level_lines(frame: Frame, labels: list[tuple[float, str, str]]) -> list[str]:
    """Level lines with a word at their right end, the words pushed apart where they would touch."""
    right = MARGIN_LEFT_PX + PLOT_PX
    parts, taken = [], -math.inf
    for pct, text, name in sorted(labels, reverse=True):
        y = frame.y(pct)
        parts.append(f'<path class="{name}" d="M{MARGIN_LEFT_PX} {y:.1f}H{right + 6}"/>')
        taken = max(y + 4.0, taken + _LABEL_PX)
        parts.append(_text(right + 12, taken, text, f"level {name}-word"))
    return parts


def _hatch(ident: str) -> str:
    return (
        f'<defs><pattern id="{ident}-hatch" width="6" height="6" patternUnits="userSpaceOnUse" '
        'patternTransform="rotate(45)"><path class="hatch" d="M0 0V6"/></pattern></defs>'
    )


def _text(x: float, y: float, text: str, name: str) -> str:
    return f'<text class="{name}" x="{x:.1f}" y="{y:.1f}">{escaped(text)}</text>'


def _svg(ident: str, title: str, text: str, parts: Sequence[str], height: float) -> str:
    return (
        f'<svg class="chart" viewBox="0 0 {WIDTH_PX} {height:g}" role="img" '
        f'aria-labelledby="{ident}-title {ident}-desc"><title id="{ident}-title">{escaped(title)}</title>'
        f'<desc id="{ident}-desc">{escaped(text)}</desc>{"".join(parts)}</svg>'
    )
