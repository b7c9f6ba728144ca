"""How much of the picture lies how near or far, before and after, against the limits of a screen: an SVG element."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from postfix.limits import Limits
from postfix.review.depth import mm_label, pct_label
from postfix.review.words import NOT_MEASURED, escaped, pct_text
from postfix.viewing import Screen

Pct = npt.NDArray[np.float32]
Shares = npt.NDArray[np.float64]

_WIDTH, _LEFT, _RIGHT = 640, 62, 34
_PLOT = _WIDTH - _LEFT - _RIGHT
_TOP, _HEIGHT = 58, 160
_BOTTOM = _TOP + _HEIGHT
_ROW = 17

_BINS = 64
"""A bin is one pixel of the map wide, or some whole number of them where that would be more bins than this: the matcher
prefers whole pixels, and narrower bins would show a comb of its making."""

_SLIVER = 0.25
"""An edge of a bin this close to a limit, in bins, moves onto it; other limits cut a bin in two."""

_LEAST_SPAN_PCT = 0.8
_SHARE_TICKS_PCT = (0.1, 0.5, 1.0, 2.0, 5.0, 10.0, 20.0, 50.0, 100.0)
_TICK_GAP_PX = 26
_LIMIT_WORDS_PX = 140
_NOTHING = "nothing could be measured"
_NO_PICTURE = "no picture"
_BEYOND = "beyond a limit"
_TITLE = "Histogram of parallax"

TOLD_PCT = 0.1
"""What the map can tell, percent of width (:mod:`postfix.measure.dense`): what lies beyond a limit by less may as well
lie at it, and planning puts far just inside its limit."""


@dataclass(frozen=True)
class _Measured:
    """What was measured of one version of a picture.

    Attributes
    ----------
    word : str
        ``before`` or ``after``.
    pct : (n,) float32
        Every known parallax, percent of width; may be empty.
    share_pct : float
        How much of the picture that is; NaN where there was no map.
    """

    word: str
    pct: Pct
    share_pct: float

    def beyond_pct(self, low: float, high: float) -> float:
        """How much of what was measured lies between two parallaxes, both left out, in percent."""
        return 100.0 * float(np.mean((self.pct > low) & (self.pct < high)))


@dataclass(frozen=True)
class _Axis:
    """Edges of the bins, percent of width, and the width of one that no limit cuts; the greatest height.

    Heights are shares of what was measured in a bin of that width, in percent, drawn as their square root.
    """

    edges: Shares
    bin_pct: float
    most_pct: float

    @property
    def low(self) -> float:
        return float(self.edges[0])

    @property
    def high(self) -> float:
        return float(self.edges[-1])

    def x(self, pct: float) -> float:
        return _LEFT + _PLOT * (pct - self.low) / (self.high - self.low)

    def y(self, height_pct: float) -> float:
        return _BOTTOM - _HEIGHT * math.sqrt(height_pct / self.most_pct)

    def holds(self, pct: float) -> bool:
        return self.low <= pct <= self.high


@dataclass(frozen=True)
class Histogram:
    """A drawing as an SVG element, and what it tells in words."""

    svg: str
    words: str


def histogram_of(before: Pct | None, after: Pct | None, limits: Limits, screen: Screen, ident: str) -> Histogram:
    """Share of the picture by parallax against the limits of a screen; what is beyond them is hatched and said.

    All shares are of what was measured, which is less than the picture; how much less is said too. Heights go with the
    square root of the share: the little that is beyond a limit would not be seen beside a backdrop that holds half.

    Parameters
    ----------
    before, after : (h, w) float32 or None
        Percent of width, NaN where unknown (:func:`postfix.measure.dense.parallax_pct`); None where there is no map.
    limits : Limits
    screen : Screen
        Whose limits these are.
    ident : str
        Unique on the page; names the parts that describe the chart.
    """
    both = [_measured(word, pct) for word, pct in (("before", before), ("after", after))]
    shown = [one for one in both if one.pct.size]
    if not shown:
        parts = [_text(_WIDTH / 2.0, 30, _NOTHING, "mid")]
        sentences = [f"Before and after: {_NOTHING}."]
        return Histogram(_drawing(ident, screen.name, sentences, parts, 46), f"{_TITLE}, {screen.name}. {sentences[0]}")
    told = replace(limits, near_pct=limits.near_pct - TOLD_PCT, far_pct=limits.far_pct + TOLD_PCT)
    edges, bin_pct = _edges(shown, told, max(pct.shape[1] for pct in (before, after) if pct is not None))
    heights = [np.histogram(one.pct, edges)[0] / np.diff(edges) * (100.0 * bin_pct / one.pct.size) for one in shown]
    axis = _Axis(edges, bin_pct, max(float(height.max()) for height in heights))
    sentences = [*_sentences(both, told), f"Heights: square root of the share in each {bin_pct:.2g} % of width."]
    parts = [_hatch(ident), _key(shown, ident), *_grid(axis, screen)]
    # What is after is drawn last; what is beyond a limit is hatched in the newer of the two.
    for one, height in zip(shown, heights):
        parts.append(f'<path class="{one.word}-band" d="{_outline(axis, height, axis.low, axis.high)}"/>')
    beyond = [(axis.low, told.near_pct), (told.far_pct, axis.high)]
    hatched = "".join(_outline(axis, heights[-1], low, high) for low, high in beyond if low < high)
    if hatched:
        parts.append(f'<path fill="url(#{ident}-hatch)" d="{hatched}"/>')
    parts += _limit_lines(axis, limits)
    top = _BOTTOM + 4 * _ROW + 6
    parts += [_text(8, top + row * _ROW, sentence, "") for row, sentence in enumerate(sentences)]
    svg = _drawing(ident, screen.name, sentences, parts, top + len(sentences) * _ROW - 6)
    return Histogram(svg, f"{_TITLE}, {screen.name}. {_in_few_words(both, told)}")


def _measured(word: str, pct: Pct | None) -> _Measured:
    if pct is None:
        return _Measured(word, np.empty(0, np.float32), math.nan)
    known = pct[np.isfinite(pct)]
    return _Measured(word, known, 100.0 * known.size / max(1, pct.size))


def _edges(shown: Sequence[_Measured], limits: Limits, columns: int) -> tuple[Shares, float]:
    """Edges of the bins over all that was measured, the screen, and the limits where they are not far off; the width
    of a bin that no limit cuts."""
    low = min(0.0, *(float(one.pct.min()) for one in shown))
    high = max(0.0, *(float(one.pct.max()) for one in shown))
    reach = max(2.0 * (high - low), 3.0)
    near = [limit for limit in (limits.near_pct, limits.far_pct) if low - reach <= limit <= high + reach]
    low, high = min(low, *near, 0.0), max(high, *near, 0.0)
    pad = max(0.04 * (high - low), (_LEAST_SPAN_PCT - (high - low)) / 2.0)
    pixel = 100.0 / columns
    pixels = max(1, math.ceil((high - low + 2.0 * pad) / (_BINS * pixel)))
    step = pixels * pixel
    # Whole pixels of the map never lie on an edge.
    edges = np.arange(math.floor((low - pad) / step), math.ceil((high + pad) / step) + 2) * step - 0.5 * pixel
    for limit in near:
        nearest = int(np.abs(edges - limit).argmin())
        if abs(edges[nearest] - limit) < _SLIVER * step:
            edges[nearest] = limit
        else:
            edges = np.sort(np.append(edges, limit))
    return np.asarray(edges, np.float64), step


def _sentences(both: Sequence[_Measured], limits: Limits) -> list[str]:
    far, near = _beyond_words(both, limits)
    return [
        f"Over {TOLD_PCT:g} % beyond the far limit: {far}.",
        f"Over {TOLD_PCT:g} % in front of the near limit: {near}.",
        f"Shares are of the measured part of the picture: {_measured_words(both)}.",
    ]


def _in_few_words(both: Sequence[_Measured], limits: Limits) -> str:
    """The same for those who do not see the drawing; a film has thousands of them on its page. How its heights are
    drawn is of no use to them."""
    far, near = _beyond_words(both, limits)
    return f"Over {TOLD_PCT:g} % beyond far: {far}; in front of near: {near}. Measured: {_measured_words(both)}."


def _beyond_words(both: Sequence[_Measured], limits: Limits) -> tuple[str, str]:
    """How much of what was measured lies beyond the far and in front of the near limit."""
    shown = [one for one in both if one.pct.size]
    far, near = (
        ", ".join(f"{_share(one.beyond_pct(low, high))} {one.word}" for one in shown)
        for low, high in ((limits.far_pct, math.inf), (-math.inf, limits.near_pct))
    )
    return far, near


def _measured_words(both: Sequence[_Measured]) -> str:
    return ", ".join(f"{one.share_pct:.0f} % {one.word}" if one.pct.size else f"{one.word} {_why(one)}" for one in both)


def _why(one: _Measured) -> str:
    return _NO_PICTURE if math.isnan(one.share_pct) else NOT_MEASURED


def _share(pct: float) -> str:
    if pct == 0.0:
        return "nothing"
    return "under 0.1 %" if pct < 0.1 else f"{pct:.1f} %"


def _outline(axis: _Axis, heights: Shares, low: float, high: float) -> str:
    """Steps over the bins between two of their edges that hold anything, closed along the bottom."""
    within = (axis.edges[:-1] >= low - 1e-9) & (axis.edges[1:] <= high + 1e-9) & (heights > 0.0)
    if not within.any():
        return ""
    first, last = (int(end) for end in np.flatnonzero(within)[[0, -1]])
    path, at = [f"M{axis.x(float(axis.edges[first])):.1f} {_BOTTOM}"], float(_BOTTOM)
    for index in range(first, last + 1):
        y = round(axis.y(float(heights[index])), 1)
        if y != at:
            path.append(f"H{axis.x(float(axis.edges[index])):.1f}V{y:g}")
            at = y
    return "".join(path) + f"H{axis.x(float(axis.edges[last + 1])):.1f}V{_BOTTOM}Z"


def _grid(axis: _Axis, screen: Screen) -> list[str]:
    right = _LEFT + _PLOT
    parts = [f'<rect class="plot" x="{_LEFT}" y="{_TOP}" width="{_PLOT}" height="{_HEIGHT}"/>']
    above = math.inf
    for tick in sorted((tick for tick in _SHARE_TICKS_PCT if tick <= axis.most_pct), reverse=True):
        y = axis.y(tick)
        if min(abs(y - above) if math.isfinite(above) else math.inf, _BOTTOM - y) >= _TICK_GAP_PX:
            parts.append(f'<path class="grid" d="M{_LEFT} {y:.1f}H{right}"/>')
            parts.append(_text(_LEFT - 6, y + 4, f"{tick:g} %", "end"))
            above = y
    step = _nice_step(axis.high - axis.low, 7)
    ticks = [i * step for i in range(math.ceil(axis.low / step), math.floor(axis.high / step) + 1)]
    marks = "".join(f"M{axis.x(tick):.1f} {_BOTTOM}v5" for tick in ticks)
    parts.append(f'<path class="tickmark" d="{marks}"/><path class="zero" d="M{axis.x(0.0):.1f} {_TOP}V{_BOTTOM}"/>')
    for tick in ticks:
        tick = round(tick, 9)
        parts.append(_text(axis.x(tick), _BOTTOM + _ROW, pct_label(tick), "mid"))
        parts.append(_text(axis.x(tick), _BOTTOM + 2 * _ROW, mm_label(tick, screen), "mid soft"))
    words = ((axis.low, 0.0, "in front"), (0.0, 0.0, "screen"), (0.0, axis.high, "behind"))
    for low, high, word in words:
        if low == high or axis.x(high) - axis.x(low) > 150:
            parts.append(_text(axis.x((low + high) / 2.0), _BOTTOM + 3 * _ROW, word, "mid"))
    return parts


def _nice_step(span: float, most: int) -> float:
    """The least of 1, 2, 2.5 or 5 times a power of ten that cuts a span into at most ``most`` parts."""
    raw = span / most
    power = 10.0 ** math.floor(math.log10(raw))
    return next(factor * power for factor in (1.0, 2.0, 2.5, 5.0, 10.0) if factor * power >= raw * (1.0 - 1e-9))


def _limit_lines(axis: _Axis, limits: Limits) -> list[str]:
    """Both limits with words outside them, inside where there is no room: then above the other's line."""
    inwards = axis.holds(limits.near_pct) and axis.x(limits.near_pct) < _LEFT + _LIMIT_WORDS_PX - 20
    rows = (_TOP - 24, _TOP - 8) if inwards else (_TOP - 8, _TOP - 24)
    parts = []
    for y, word, pct in zip(rows, ("near", "far"), (limits.near_pct, limits.far_pct)):
        label = f"{word} limit {pct_text(pct)}"
        if axis.holds(pct):
            x = axis.x(pct)
            parts.append(f'<path class="limit" d="M{x:.1f} {y - 10}V{_BOTTOM}"/>')
            leftwards = not inwards if word == "near" else x > _WIDTH - _LIMIT_WORDS_PX
            x += -5.0 if leftwards else 5.0
        else:
            label += ", outside this chart"
            leftwards = pct > axis.high
            x = float(_LEFT + _PLOT if leftwards else _LEFT)
        parts.append(_text(x, y, label, "limit-word end" if leftwards else "limit-word"))
    return parts


def _hatch(ident: str) -> str:
    return (
        f'<defs><pattern id="{ident}-hatch" width="6" height="6" patternUnits="userSpaceOnUse" '
        'patternTransform="rotate(45)"><path class="hatch" d="M0 0V6"/></pattern></defs>'
    )


def _key(shown: Sequence[_Measured], ident: str) -> str:
    parts, x = [], _LEFT
    for one in shown:
        parts.append(f'<path class="{one.word}-band" d="M{x} 16v-12h26v12z"/>{_text(x + 32, 15, one.word, "")}')
        x += 92
    parts.append(f'<path fill="url(#{ident}-hatch)" d="M{x} 16v-12h26v12z"/>{_text(x + 32, 15, _BEYOND, "")}')
    return "".join(parts)


def _text(x: float, y: float, text: str, name: str) -> str:
    kind = f' class="{name}"' if name else ""
    return f'<text{kind} x="{x:.1f}" y="{y:g}">{escaped(text)}</text>'


def _drawing(ident: str, name: str, sentences: Sequence[str], parts: Sequence[str], height: float) -> str:
    title, text = f"Share of the picture by parallax, limits of {name}", " ".join(sentences)
    return (
        f'<svg class="histogram" viewBox="0 0 {_WIDTH} {height:g}" role="img" '
        f'aria-labelledby="{ident}-title" aria-describedby="{ident}-desc">'
        f'<title id="{ident}-title">{escaped(title)}</title><desc id="{ident}-desc">{escaped(text)}</desc>'
        f"{''.join(parts)}</svg>"
    )
