"""Black at one edge of one eye: windows, bars, soft gates, columns laid bare by an earlier move.

A window's edge is a straight line from one end of the frame's edge to the other. At each place along it the run of
black from the frame edge inwards is at least as long as the window is wide, longer where the picture itself is dark
there, so the window is the widest straight line that lies under all runs. A soft edge is told by where the picture has
come up to half of what it is further in.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
import numpy.typing as npt

from postfix.measure.proxy import Grey

BLACK_SHARE = 0.012
"""At most this share of white counts as black: three codes of 8 bit, what lossy codecs leave inside a window."""

RAISED_SHARE = 0.021
"""A uniform level up to this share of white is taken for black that was graded up: five codes of 8 bit."""

_RINGING_SHARE = 0.08
_RINGING_OF_LEVEL = 0.25
"""Beside a window's edge codecs leave more: up to a quarter of the brightness next to it, and never above the first
figure, is taken for that."""

_LEVEL_PX = slice(8, 24)
"""Where, behind a row's first lit column, the brightness next to the edge is read."""

_FOLLOWED_SHARE = 0.6
"""Places that must end within :data:`_STRAIGHT_PX` of the line, else the black is a dark corner of the picture."""

_STRAIGHT_PX = 2.5
_BLOCKS = 32
_BLOCK_SHARE = 0.2
"""Of the places of a block, this share may be lit further out (noise, a hot pixel) without pulling the line out."""

_MOST_PLACES = 320
_DEEPEST_SHARE = 0.45
_PROBES = 24

_SOFT_MOST_PX = 24
_SOFT_LEVEL_PX = slice(24, 40)
_SOFT_LEAST_LEVEL = 0.04
_SOFT_HALF_PX = 1.5
_FULL_LEVEL = 0.85
_SOFT_LIT_SHARE = 0.3
_STEP_OF_LEVEL = 0.35
_STEEP_OF_LEVEL = 0.75
_LEAST_PART = 0.1
"""Of a column that a sharp edge parts, less than this cannot be told from noise."""

_JUST_PX = 4
_SOFT_BLOCKS = 16

Line = tuple[float, float]
Runs = npt.NDArray[np.float64]


@dataclass(frozen=True)
class Edge:
    """Black at one edge of one eye.

    Attributes
    ----------
    line_px : (top, bottom) or (left, right)
        How far it reaches inwards at both ends of that edge, pixels; (0, 0) where there is none. Of a soft edge it is
        where the picture has come up to half.
    soft_px : float
        How much further inwards a soft edge is still darker than the picture; 0 for a sharp one.
    """

    line_px: Line = (0.0, 0.0)
    soft_px: float = 0.0

    @property
    def kept_out_px(self) -> Line:
        """The line with what is still soft: nothing up to here is to be measured."""
        return self.line_px[0] + self.soft_px, self.line_px[1] + self.soft_px

    def __bool__(self) -> bool:
        return max(self.kept_out_px) > 0.0


NO_EDGE = Edge()


def side_edge(grey: Grey, side: str, rows: Line = (0.0, 0.0)) -> Edge:
    """Black at the left or right of a picture.

    Parameters
    ----------
    grey : (H, W) float32, 0 at black and 1 at white
    side : "left" or "right"
    rows : (top, bottom)
        Black rows to leave out; the line is continued through them.
    """
    height = grey.shape[0]
    top, after = int(np.ceil(rows[0])), height - int(np.ceil(rows[1]))
    if after - top < 2:
        return NO_EDGE
    edge = _edge(grey[top:after], side, _FOLLOWED_SHARE)
    slope = (edge.line_px[1] - edge.line_px[0]) / (after - top)
    at_top = edge.line_px[0] - slope * top
    return Edge((max(0.0, at_top), max(0.0, at_top + slope * height)), edge.soft_px)


def level_edge(grey: Grey, side: str, followed_share: float) -> Edge:
    """A level bar at the top or bottom of a picture (H, W); ``line_px`` holds its height twice."""
    edge = _edge(grey, side, followed_share)
    if abs(edge.line_px[0] - edge.line_px[1]) > _STRAIGHT_PX:
        return NO_EDGE
    height = float(np.mean(edge.line_px))
    return Edge((height, height), edge.soft_px)


def _edge(grey: Grey, side: str, followed_share: float) -> Edge:
    """Nearly every picture has no black: look at the outermost lines first."""
    # Turned so that the edge looked at is column 0 and what runs along it are rows.
    turned = {"left": grey, "right": grey[:, ::-1], "top": grey.T, "bottom": grey[::-1].T}[side]
    if turned.shape[1] < 2 * _SOFT_LEVEL_PX.stop:
        return NO_EDGE
    base, blackened, softened = _outermost(turned)
    if not (blackened or softened):
        return NO_EDGE
    # A few places tell how deep to look; what is black all through has no edge.
    deepest = int(_DEEPEST_SHARE * turned.shape[1])
    probe = _finite(turned[:: max(1, turned.shape[0] // _PROBES), :deepest]) - base
    reach = int(np.sort(_first(probe > 2.0 * BLACK_SHARE))[len(probe) // 2])
    if reach >= deepest - _SOFT_LEVEL_PX.stop:
        return NO_EDGE
    strip = _reduced(grey, side, reach + 2 * _SOFT_LEVEL_PX.stop) - base
    sharp, steep = _sharp(strip, _black_runs(strip), followed_share) if blackened else (NO_EDGE, False)
    return sharp if steep else _soft(strip, followed_share) or sharp


def _outermost(turned: Grey) -> tuple[float, bool, bool]:
    """Level of black, whether enough of the outermost columns is black, and whether they are much darker than further
    in."""
    step = max(1, turned.shape[0] // 256)
    outermost = _finite(turned[::step, :2]).mean(axis=1)
    ordered = np.sort(outermost)
    low, middle, high = (ordered[int(share * len(ordered))] for share in (0.2, 0.5, 0.8))
    raised = BLACK_SHARE < middle <= RAISED_SHARE and high - low <= BLACK_SHARE / 2
    base = float(middle) if raised else 0.0
    blackened = np.count_nonzero(outermost - base <= 2.0 * BLACK_SHARE) >= _FOLLOWED_SHARE / 2 * len(outermost)
    inner = _finite(turned[::step, _SOFT_LEVEL_PX][:, ::4]).mean(axis=1)
    lit = inner >= _SOFT_LEAST_LEVEL
    darker = np.count_nonzero(lit & (outermost < 0.5 * inner))
    softened = darker >= max(0.8 * np.count_nonzero(lit), _SOFT_LIT_SHARE * len(outermost))
    return base, bool(blackened), bool(softened)


def _reduced(grey: Grey, side: str, columns: int) -> Grey:
    """The outermost columns (places, columns) of the turned picture, neighbouring places averaged."""
    outer = {
        "left": grey[:, :columns], "right": grey[:, -columns:], "top": grey[:columns], "bottom": grey[-columns:],
    }[side]  # fmt: skip
    upright = side in ("left", "right")
    along = outer.shape[0 if upright else 1]
    if along > _MOST_PLACES:
        together = -(-along // _MOST_PLACES)
        places = along // together
        size = (columns, places) if upright else (places, columns)
        outer = outer[: places * together] if upright else outer[:, : places * together]
        outer = np.asarray(cv2.resize(outer, size, interpolation=cv2.INTER_AREA), np.float32)
    else:
        outer = np.asarray(cv2.blur(outer, (1, 3) if upright else (3, 1)), np.float32)
    strip = {"left": outer, "right": outer[:, ::-1], "top": outer.T, "bottom": outer[::-1].T}[side]
    return _finite(np.ascontiguousarray(strip))


def _finite(grey: Grey) -> Grey:
    return np.asarray(np.nan_to_num(grey, nan=0.0, posinf=1.0, neginf=0.0), np.float32)


def _first(lit: npt.NDArray[np.bool_]) -> npt.NDArray[np.int64]:
    """First True in each row, the row's length where there is none."""
    return np.asarray(np.where(lit.any(axis=1), lit.argmax(axis=1), lit.shape[1]), np.int64)


def _black_runs(strip: Grey) -> Runs:
    """Columns from the frame edge to the picture at each place, what a codec leaves beside the edge passed over."""
    first = _first(strip > BLACK_SHARE)
    beside = np.minimum(first[:, None] + np.arange(_LEVEL_PX.start, _LEVEL_PX.stop)[None, :], strip.shape[1] - 1)
    level = np.take_along_axis(strip, beside, axis=1).mean(axis=1)
    share = np.clip(_RINGING_OF_LEVEL * level, BLACK_SHARE, _RINGING_SHARE)
    return _first(strip > share[:, None]).astype(np.float64)


def _sharp(strip: Grey, runs: Runs, followed_share: float) -> tuple[Edge, bool]:
    """The straight line under the runs, where enough of them follow it and the picture begins there; and whether it
    begins at once, so that the edge cannot be a soft one."""
    places, columns = strip.shape
    top, bottom = _line_under(runs)
    line = top + (bottom - top) * (np.arange(places) + 0.5) / places
    followed = np.abs(runs - line) <= _STRAIGHT_PX
    if max(top, bottom) < 1.0 or np.count_nonzero(followed) < followed_share * places:
        return NO_EDGE, False
    sampled = slice(None, None, 3)
    inside = np.arange(columns)[None, :] < line[sampled, None]
    if inside.any() and float(np.median(strip[sampled][inside])) > BLACK_SHARE:
        return NO_EDGE, False
    outside = np.maximum(line[followed] - _JUST_PX, 0.0)
    profile = _profile(strip[followed], outside)
    level, before = float(profile[_SOFT_LEVEL_PX].mean()), float(profile[0])
    # A picture that only grows lighter from a dark border has no edge.
    if profile[2 * _JUST_PX] - before < _STEP_OF_LEVEL * (level - before):
        return NO_EDGE, False
    more = _part_hidden(strip[followed], runs[followed], line[followed])
    return Edge((top + more, bottom + more)), profile[_JUST_PX + 2] - before >= _STEEP_OF_LEVEL * (level - before)


def _part_hidden(strip: Grey, runs: Runs, line: Runs) -> float:
    """How much further than the line under the runs a sharp edge hides, 0 to 1: the first lit column of each place is
    hidden by as much as it is darker than the next one."""
    at = runs.astype(np.int64)[:, None] + np.arange(2)[None, :]
    first, second = np.take_along_axis(strip, np.minimum(at, strip.shape[1] - 1), axis=1).T
    lit = second > _SOFT_LEAST_LEVEL
    if not lit.any():
        return 0.0
    more = float(np.median(runs[lit] + 1.0 - first[lit] / second[lit] - line[lit]))
    return min(more, 1.0) if more >= _LEAST_PART else 0.0


def _profile(strip: Grey, line: Runs) -> npt.NDArray[np.float64]:
    """Mean brightness from the line inwards, (stop of :data:`_SOFT_LEVEL_PX`,)."""
    columns = np.rint(line).astype(int)[:, None] + np.arange(_SOFT_LEVEL_PX.stop)[None, :]
    taken = np.take_along_axis(strip, np.minimum(columns, strip.shape[1] - 1), axis=1)
    return np.asarray(taken.mean(axis=0), np.float64)


def _soft(strip: Grey, followed_share: float) -> Edge:
    """The line at which the picture has come up to half of its brightness further in, where that takes a few pixels."""
    blocks = _in_blocks(strip)
    count, columns = blocks.shape
    begun = np.minimum(_first(blocks > BLACK_SHARE), columns - _SOFT_LEVEL_PX.stop)
    inner = begun[:, None] + np.arange(_SOFT_LEVEL_PX.start, _SOFT_LEVEL_PX.stop)[None, :]
    level = np.take_along_axis(blocks, inner, axis=1).mean(axis=1)
    lit = np.nonzero(level >= _SOFT_LEAST_LEVEL)[0]
    if lit.size < max(4, _SOFT_LIT_SHARE * count):
        return NO_EDGE
    share = blocks[lit] / level[lit, None]
    halfway = _crossing(share, 0.5)
    at = (lit + 0.5) / count
    slope, top = _steady_line(at, halfway)
    line = top + slope * at
    followed = np.abs(halfway - line) <= _STRAIGHT_PX
    if np.count_nonzero(followed) < followed_share * lit.size or min(top, top + slope) < 0.0:
        return NO_EDGE
    # Each block laid over the others along the line, from well outside it to well inside.
    steps = np.arange(-_SOFT_MOST_PX, _SOFT_LEVEL_PX.stop)
    places = np.rint(line[followed])[:, None].astype(int) + steps[None, :]
    taken = np.take_along_axis(share[followed], np.clip(places, 0, columns - 1), axis=1)
    # What would lie outside the frame is as dark as can be.
    profile = np.where(places >= 0, taken, 0.0).mean(axis=0)
    half = float(_SOFT_MOST_PX)
    begins, full = (float(_crossing(profile[None, :], enough)[0]) for enough in (1.0 - _FULL_LEVEL, _FULL_LEVEL))
    # Darkness must end gradually, on both sides of half, but soon, and the outermost column must be dark.
    dark_outside = float(share[followed, 0].mean()) < 0.4
    gradual = full - half >= _SOFT_HALF_PX and half - begins >= max(1.0, 0.2 * (full - half))
    if not (dark_outside and gradual and full - begins <= _SOFT_MOST_PX):
        return NO_EDGE
    # Beyond what is measured of the ramp, its last part is added in proportion.
    return Edge((top, top + slope), (full - half) * 0.5 / (_FULL_LEVEL - 0.5))


def _in_blocks(strip: Grey) -> npt.NDArray[np.float32]:
    """A strip (places, columns) with neighbouring places averaged to at most :data:`_SOFT_BLOCKS` blocks."""
    together = -(-strip.shape[0] // _SOFT_BLOCKS)
    count = strip.shape[0] // together
    return np.asarray(strip[: count * together].reshape(count, together, -1).mean(axis=1), np.float32)


def _crossing(rising: npt.NDArray[np.floating], enough: float) -> Runs:
    """Where each row first reaches a value, between the middles of its columns; 0 where it begins above."""
    first = _first(rising >= enough)
    after = np.clip(first, 1, rising.shape[1] - 1)[:, None]
    low, high = (np.take_along_axis(rising, at, axis=1)[:, 0] for at in (after - 1, after))
    between = (enough - low) / np.maximum(high - low, 1e-6)
    place = after[:, 0] - 0.5 + np.clip(between, 0.0, 1.0)
    return np.asarray(np.where(first == 0, 0.0, place), np.float64)


def _steady_line(at: Runs, values: Runs) -> tuple[float, float]:
    """Slope and value at 0 of a line through most of the points: the median of all pairs' slopes (Theil and Sen)."""
    first, second = np.triu_indices(len(at), 1)
    slope = float(np.median((values[second] - values[first]) / (at[second] - at[first])))
    return slope, float(np.median(values - slope * at))


def _line_under(runs: Runs) -> Line:
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


def hidden_columns(line_px: Line, height: int, scale: float) -> npt.NDArray[np.int32]:
    """Columns hidden in each of ``height`` proxy rows, rounded up, from a (top, bottom) line in source pixels."""
    rows = (np.arange(height) + 0.5) / height
    columns = np.ceil((line_px[0] + (line_px[1] - line_px[0]) * rows) / scale)
    return np.asarray(columns, np.int32)
