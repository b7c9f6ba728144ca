"""The active picture of a pair: what no bar, window or soft edge hides, and which of them it is."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from postfix.measure.hidden import (
    BLACK_SHARE,
    NO_EDGE,
    Edge,
    Line,
    hidden_columns,
    level_edge,
    side_edge,
)
from postfix.measure.proxy import Grey
from postfix.measure.table import FrameMeasure, MeasurementTable

ALIKE_PX = 1.5
"""Black that differs by no more between the eyes, and from top to bottom, is a bar; a window differs."""

_FOLLOWED_SHARE = 0.6
_FOLLOWED_BY_BOTH_SHARE = 0.35
"""Of a level bar fewer columns must end at the same height where both eyes say the same height."""

_ONE_EYE_MOST_SHARE = 0.03
"""A level bar of one eye alone is what a vertical move left, and not higher than this share of the height."""

_CORNER_FACTOR = 3.41
"""A corner's radius over the black pixels on its diagonal: √2 / (√2 − 1), computed."""

_CORNER_MOST_SHARE = 0.12
_OF_SOFT = 0.3
_STEADY_FRAMES = 3


@dataclass(frozen=True)
class EyeBlack:
    """Black at the four edges of one eye, and the radius of its rounded corners in pixels of the source."""

    left: Edge = NO_EDGE
    right: Edge = NO_EDGE
    top: Edge = NO_EDGE
    bottom: Edge = NO_EDGE
    corner_px: float = 0.0

    @property
    def bars_px(self) -> Line:
        """Black rows at (top, bottom)."""
        return self.top.line_px[0], self.bottom.line_px[0]

    def lit(self, height: int, width: int, height_px: int, width_px: int) -> npt.NDArray[np.bool_]:
        """Proxy pixels (height, width) of the active picture of a source ``width_px`` × ``height_px``."""
        x = np.arange(width)[None, :]
        scale = width_px / width
        first = hidden_columns(self.left.kept_out_px, height, scale)[:, None]
        after = width - hidden_columns(self.right.kept_out_px, height, scale)[:, None]
        rows = (np.arange(height)[:, None] + 0.5) * height_px / height
        top, bottom = self.top.kept_out_px[0], height_px - self.bottom.kept_out_px[0]
        inside = (x >= first) & (x < after) & (rows > top) & (rows < bottom)
        if self.corner_px > 0.0:
            columns = (x + 0.5) * scale
            from_side = np.minimum(columns - first * scale, after * scale - columns)
            from_end = np.minimum(rows - top, bottom - rows)
            away = np.hypot(np.maximum(self.corner_px - from_side, 0), np.maximum(self.corner_px - from_end, 0))
            inside &= away <= self.corner_px
        return np.asarray(inside, np.bool_)


@dataclass(frozen=True)
class Active:
    """Black of both eyes.

    Attributes
    ----------
    left, right : EyeBlack
    left_kind, right_kind : str
        What stands at that side: ``"bar"`` where both eyes are alike and upright, ``"window"`` where one eye alone is
        hidden, or differently, or tilted; empty where nothing does.
    """

    left: EyeBlack
    right: EyeBlack
    left_kind: str
    right_kind: str

    def __bool__(self) -> bool:
        eyes = (self.left, self.right)
        return any(eye.corner_px > 0 or any((eye.left, eye.right, eye.top, eye.bottom)) for eye in eyes)

    @property
    def left_hidden_px(self) -> tuple[float, float, float, float]:
        """As the measurement table holds it."""
        return *self.left.left.line_px, *self.right.left.line_px

    @property
    def right_hidden_px(self) -> tuple[float, float, float, float]:
        """As the measurement table holds it."""
        return *self.left.right.line_px, *self.right.right.line_px

    @property
    def kept_out_rows_px(self) -> Line:
        """Rows at (top, bottom) in which the sides are not to be read: bars, their soft edges, rounded corners."""
        eyes = (self.left, self.right)
        corner = max(eye.corner_px for eye in eyes)
        top, bottom = (max(edge.kept_out_px[0] for edge in edges) for edges in zip(*((e.top, e.bottom) for e in eyes)))
        return top + corner, bottom + corner


def active_picture(left: Grey, right: Grey) -> Active:
    """Find black at all edges of both eyes.

    Parameters
    ----------
    left, right : (H, W) float32, 0 at black and 1 at white
    """
    tops, bottoms = _level_pair(left, right, "top"), _level_pair(left, right, "bottom")
    eyes = []
    for grey, top, bottom in zip((left, right), tops, bottoms):
        rows = top.kept_out_px[0], bottom.kept_out_px[0]
        sides = side_edge(grey, "left", rows), side_edge(grey, "right", rows)
        eyes.append(EyeBlack(*sides, top, bottom, _corner(grey, *sides, top, bottom)))
    # A gate has four corners in both eyes; a dark scene seldom has.
    if min(eye.corner_px for eye in eyes) <= 0.0:
        eyes = [replace(eye, corner_px=0.0) for eye in eyes]
    lefts, left_kind = _told_apart(eyes[0].left, eyes[1].left)
    rights, right_kind = _told_apart(eyes[0].right, eyes[1].right)
    both = [replace(eye, left=left, right=right) for eye, left, right in zip(eyes, lefts, rights)]
    return Active(both[0], both[1], left_kind, right_kind)


def _level_pair(left: Grey, right: Grey, side: str) -> tuple[Edge, Edge]:
    """Level bars of both eyes at the top or bottom: both must agree, unless it is narrow and plain in one."""
    edges = tuple(level_edge(grey, side, _FOLLOWED_BY_BOTH_SHARE) for grey in (left, right))
    if abs(edges[0].line_px[0] - edges[1].line_px[0]) <= ALIKE_PX:
        return edges[0], edges[1]
    most = _ONE_EYE_MOST_SHARE * left.shape[0]
    sure = [level_edge(grey, side, _FOLLOWED_SHARE) if edge else edge for grey, edge in zip((left, right), edges)]
    narrow = [edge if edge.line_px[0] <= most else NO_EDGE for edge in sure]
    return narrow[0], narrow[1]


def _corner(grey: Grey, left: Edge, right: Edge, top: Edge, bottom: Edge) -> float:
    """Radius of rounded black corners inside the edges found, the smallest of the four, pixels; 0 where one is lit."""
    height, width = grey.shape
    most = int(_CORNER_MOST_SHARE * min(height, width))
    radii = []
    for vertical, (upper, end) in enumerate((("upper", top), ("lower", bottom))):
        for side, edge in (("left", left), ("right", right)):
            line = edge.line_px[vertical]
            y, x = int(np.ceil(end.line_px[0])), int(np.ceil(line))
            rows = y + np.arange(most) if upper == "upper" else height - 1 - y - np.arange(most)
            columns = x + np.arange(most) if side == "left" else width - 1 - x - np.arange(most)
            if not most or min(rows.min(), columns.min()) < 0 or rows.max() >= height or columns.max() >= width:
                return 0.0
            lit = grey[rows, columns] > 2.0 * BLACK_SHARE
            diagonal = int(lit.argmax()) if lit.any() else most
            radius = _CORNER_FACTOR * diagonal
            if diagonal == 0 or radius >= most:
                return 0.0
            # A quarter of a circle: black close to the corner, the edges themselves lit a little beyond the radius.
            far = min(most - 1, round(1.15 * radius) + 1)
            if max(grey[rows[far], columns[1]], grey[rows[1], columns[far]]) <= 2.0 * BLACK_SHARE:
                return 0.0
            radii.append(radius)
    return float(max(radii)) if max(radii) <= 2.0 * min(radii) + 4.0 else 0.0


def _told_apart(left_eye: Edge, right_eye: Edge) -> tuple[tuple[Edge, Edge], str]:
    """Both eyes' black at one side and its kind; a bar is given the same upright line in both.

    A soft edge is known less exactly, so it may differ by more and still be a bar.
    """
    softest = max(left_eye.soft_px, right_eye.soft_px)
    kind = _kind(left_eye.line_px, right_eye.line_px, ALIKE_PX + _OF_SOFT * softest)
    if kind != "bar":
        return (left_eye, right_eye), kind
    middle = float(np.mean((*left_eye.line_px, *right_eye.line_px)))
    edge = Edge((middle, middle), softest)
    return (edge, edge), kind


def _kind(left_eye: Line, right_eye: Line, alike_px: float = ALIKE_PX) -> str:
    widths = (*left_eye, *right_eye)
    if max(widths) <= 0.0:
        return ""
    return "bar" if max(widths) - min(widths) <= alike_px else "window"


@dataclass(frozen=True)
class SourceBlack:
    """A bar or a window that the source already has, over one shot.

    Attributes
    ----------
    shot : str
    kind : str
        ``"bar"`` or ``"window"``.
    eye : str
        ``"left"``, ``"right"`` or ``"both"``.
    side : str
        ``"left"``, ``"right"``, ``"top"`` or ``"bottom"``.
    widest_px : float
        Pixels of the source; of a window in both eyes, by how much they differ.
    first, last : int
        Frames of the clip in which it is first and last seen.
    frames : int
        In how many it is seen.
    """

    shot: str
    kind: str
    eye: str
    side: str
    widest_px: float
    first: int
    last: int
    frames: int

    def sentence(self) -> str:
        """What a person should know of it."""
        eye = "both eyes" if self.eye == "both" else f"the {self.eye} eye"
        where = f"at the {self.side} of {eye}"
        seen = f"frames {self.first} to {self.last}" if self.frames > 1 else f"frame {self.first}"
        if self.kind == "bar":
            return f"{self.shot}: a black bar {where}, up to {self.widest_px:.0f} px ({seen})"
        return f"{self.shot}: a window is already in the source {where}, up to {self.widest_px:.0f} px ({seen})"


class _Places(NamedTuple):
    """Where one kind of black was seen: the last four of :class:`SourceBlack`."""

    widest_px: float
    first: int
    last: int
    frames: int


def windows_in_source(table: MeasurementTable) -> tuple[SourceBlack, ...]:
    """Bars and windows that a clip already has, by shot and side.

    What is seen in fewer than three frames of a longer shot is left out: one frame's dark border is no window.
    """
    found = []
    for shot in table.shots:
        frames = table.frames[shot.first : shot.last + 1]
        seen: dict[str, dict[tuple[str, str], _Places]] = {side: {} for side in ("left", "right", "top", "bottom")}
        for number, frame in enumerate(frames, shot.first):
            for side, places in seen.items():
                told = _black_of(frame, side)
                if told is not None:
                    kind, eye, width = told
                    before = places.get((kind, eye), _Places(width, number, number, 0))
                    places[kind, eye] = _Places(max(before.widest_px, width), before.first, number, before.frames + 1)
        found += [
            SourceBlack(shot.name, kind, eye, side, *place)
            for side, places in seen.items()
            for (kind, eye), place in places.items()
            if place.frames >= min(_STEADY_FRAMES, len(frames))
        ]
    return tuple(found)


def _black_of(frame: FrameMeasure, side: str) -> tuple[str, str, float] | None:
    """Kind, eye and width of the black at one edge in one frame."""
    if side in ("top", "bottom"):
        at = 0 if side == "top" else 1
        left, right = frame.left_bars_px[at], frame.right_bars_px[at]
        if max(left, right) < 1.0:
            return None
        eye = "both" if min(left, right) >= 1.0 else ("left" if left > right else "right")
        return "bar", eye, max(left, right)
    hidden = frame.left_hidden_px if side == "left" else frame.right_hidden_px
    if max(hidden) < 1.0:
        return None
    left_eye, right_eye = hidden[:2], hidden[2:]
    kind = _kind((left_eye[0], left_eye[1]), (right_eye[0], right_eye[1]))
    if kind == "bar":
        return kind, "both", max(hidden)
    apart = [a - b for a, b in zip(left_eye, right_eye)]
    widest = max(apart, key=abs)
    if abs(widest) <= ALIKE_PX:
        return kind, "both", max(hidden)
    return kind, "left" if widest > 0.0 else "right", abs(widest)
