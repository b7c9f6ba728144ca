"""Figures of every frame for the chart: packed small, and exact to the last decimal of the log."""

from __future__ import annotations

import base64
import zlib
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt

from postfix.errors import InputError
from postfix.plan.geometry import SIDES, Side
from postfix.review.charts import edge_pct
from postfix.review.clips import ReviewedClip
from postfix.review.logged import Column, Version
from postfix.source.timecode import frames_from_timecode, nominal_rate, timecode_from_frames, valid_timecode

Whole = npt.NDArray[np.int32]

STEPS = 10_000
"""Whole numbers that one percent or one pixel is packed as: the log has four decimals."""

_MOST = 2e5
"""Figures from here on do not fit, and are none."""

MISSING = -(2**31)
"""What stands for "not measured" among the packed numbers."""

FIGURES = ("near", "far", "median", "left_edge", "right_edge")
"""What is measured of each frame, before and after."""

WINDOWS = tuple(f"{side}_{end}" for side in SIDES for end in ("top", "bottom"))
"""Ends of the window, and of the edges themselves."""

_REACH_PCT = 3.0
"""How far beyond the figures the axis is stretched at least, to hold a limit; one that is farther off is only named."""


@dataclass(frozen=True)
class Clock:
    """How the clip's frames are counted as timecode.

    Attributes
    ----------
    start : int or None
        Frames from midnight to frame 0; None where the clip has no timecode.
    nominal : int
        Frame numbers a second of timecode holds.
    dropped : int
        Frame numbers left out at the start of each minute except every tenth; 0 without drop-frame counting.
    """

    start: int | None
    nominal: int
    dropped: int = 0


def clock_of(version: Version) -> Clock:
    """How a version's frames are counted; without timecode where its frames do not count on from the first."""
    codes, rate = version.frames.timecodes, version.clip.rate
    nominal = nominal_rate(rate)
    first = valid_timecode(codes[0], rate) if codes else None
    if first is None:
        return Clock(None, nominal)
    drop = ";" in first
    start = frames_from_timecode(first, rate)
    if any(code != timecode_from_frames(start + frame, rate, drop) for frame, code in enumerate(codes)):
        return Clock(None, nominal)
    # What the second minute begins with is what is left out of it.
    dropped = int(timecode_from_frames(60 * nominal, rate, drop)[-2:]) if drop else 0
    return Clock(start, nominal, dropped)


def whole(values: Column, where: str | Path = "figures") -> Whole:
    """Figures as whole numbers of :data:`STEPS` to one; :data:`MISSING` where nothing is known.

    Parameters
    ----------
    values : (n,) float64
        Percent of width or pixels, NaN where nothing is known.
    where : str or Path
        Of the column, for the error.

    Raises
    ------
    InputError
        Where a figure is too large to be one: 200,000 and more.
    """
    known = np.isfinite(values)
    largest = float(np.abs(values[known]).max(initial=0.0))
    if largest >= _MOST:
        raise InputError(where, f"a figure of {largest:g}", f"less than {_MOST:.0f}", "make the log anew")
    out = np.full(values.shape, MISSING, np.int32)
    out[known] = np.rint(values[known] * STEPS)
    return out


def packed(columns: Mapping[str, Whole], was: Mapping[str, Whole] | None = None) -> dict[str, Any]:
    """Columns as text: differences from frame to frame, byte by byte, all in one block, raw-deflated, base64.

    Parameters
    ----------
    columns : mapping of str to (n,) int32
        As :func:`whole` gives them.
    was : mapping of str to (n,) int32, optional
        What each column is written as the difference from: what was before, since little or nothing changes.

    Returns
    -------
    dict
        ``names`` of the columns in the ``block``, in order, and of those that are ``empty``: nothing is known at all.
    """
    names = [name for name, column in columns.items() if (column != MISSING).any()]
    deflate = zlib.compressobj(6, zlib.DEFLATED, -15)
    block = b"".join(deflate.compress(_planes(columns[name], None if was is None else was[name])) for name in names)
    return {
        "names": names,
        "empty": [name for name in columns if name not in names],
        "block": base64.b64encode(block + deflate.flush()).decode("ascii"),
    }


def _planes(column: Whole, was: Whole | None) -> bytes:
    # Everything is taken modulo 2**32, and folded so that small numbers of either sign have empty upper bytes.
    wide = column.astype(np.int64) - (0 if was is None else was.astype(np.int64))
    steps = np.diff(wide, prepend=0).astype(np.int32)
    folded = ((steps << 1) ^ (steps >> 31)).astype("<u4")
    return np.ascontiguousarray(folded.view(np.uint8).reshape(-1, 4).T).tobytes()


def frames_data(clip: ReviewedClip) -> dict[str, Any]:
    """Everything the chart of a clip draws, as JSON holds it: None where nothing is known.

    Columns are those of ``changes.csv``, as :func:`packed` makes them; what was measured after is the difference from
    what was before. What was before is written once for all screens that agree on it.

    Raises
    ------
    InputError
        Where the log holds a figure that can be none.
    """
    longest = max(clip.versions, key=lambda version: version.clip.frames)
    frames = longest.clip.frames
    clock = clock_of(longest)
    befores: list[dict[str, Any]] = []
    screens, spans = [], Spans()
    for index, version in enumerate(clip.versions):
        edges = {name: values for side in SIDES for name, values in _edges(version, side)}
        spans.add(version, edges)
        before = {name: _whole(version, f"{name}_before_pct", frames) for name in FIGURES}
        pack = packed(before)
        if pack not in befores:
            befores.append(pack)
        own = [number for number, shot in enumerate(clip.shots) if shot.results[index] is not None]
        after = {name: _whole(version, f"{name}_after_pct", frames) for name in FIGURES}
        screens.append(
            {
                "name": version.screen.name,
                "near_pct": version.limits.near_pct,
                "far_pct": version.limits.far_pct,
                "shots": None if len(own) == len(clip.shots) else own,
                "before": befores.index(pack),
                "after": packed(after, before),
                "edges": packed({name: whole(_to(frames, v), version.folder) for name, v in edges.items()}),
                "windows": packed({name: _whole(version, f"window_{name}_px", frames) for name in WINDOWS}),
            }
        )
    return {
        "ident": clip.ident,
        "frames": frames,
        "width_px": longest.clip.width_px,
        "steps": STEPS,
        "clock": {"start": clock.start, "nominal": clock.nominal, "dropped": clock.dropped},
        "spans": spans.padded(),
        "shots": [[shot.ident, shot.name, shot.first, shot.last] for shot in clip.shots],
        "before": befores,
        "screens": screens,
    }


def _edges(version: Version, side: Side) -> Iterable[tuple[str, Column]]:
    return zip((f"{side}_top", f"{side}_bottom"), edge_pct(version, side))


def _whole(version: Version, name: str, frames: int) -> Whole:
    return whole(_to(frames, version.frames[name]), f"{version.folder / 'changes.csv'}, {name}")


def _to(frames: int, values: Column) -> Column:
    """As long as the longest version of the clip; nothing is known beyond a column's own end."""
    return np.pad(values, (0, frames - len(values)), constant_values=np.nan)


class Spans:
    """What the axes span, the same for every screen so that they can be compared."""

    def __init__(self) -> None:
        self._ends: dict[str, list[float]] = {"depth": [0.0], "edge": [0.0], "window": [0.0]}
        self._limits: list[float] = []

    def add(self, version: Version, edges: Mapping[str, Column]) -> None:
        """Take in the figures of a version, and where its edges lie."""
        frames = version.frames
        self._limits += [version.limits.near_pct, version.limits.far_pct]
        for when in ("before", "after"):
            for name in ("near", "far", "median"):
                self._take("depth", frames[f"{name}_{when}_pct"])
            for side in SIDES:
                self._take("edge", frames[f"{side}_edge_{when}_pct"])
        for values in edges.values():
            self._take("edge", values)
        for name in WINDOWS:
            self._take("window", frames[f"window_{name}_px"])

    def _take(self, which: str, values: Column) -> None:
        known = values[np.isfinite(values)]
        if known.size:
            self._ends[which] += [float(known.min()), float(known.max())]

    def padded(self) -> dict[str, list[float]]:
        """Least and most of each axis, with room; limits far off the figures are left out."""
        low, high = min(self._ends["depth"]), max(self._ends["depth"])
        reach = max(2.0 * (high - low), _REACH_PCT)
        within = [limit for limit in self._limits if low - reach <= limit <= high + reach]
        return {
            "depth": _padded([*self._ends["depth"], *within], 0.1),
            "edge": _padded(self._ends["edge"], 0.1),
            "window": _padded(self._ends["window"], 1.0),
        }


def _padded(values: Iterable[float], least: float) -> list[float]:
    low, high = min(values := list(values)), max(values)
    pad = max(0.06 * (high - low), least)
    return [round(low - pad, 4), round(high + pad, 4)]
