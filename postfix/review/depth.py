"""Depth as a picture: parallax in colours about the screen plane, and the legend that says what they mean."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from functools import lru_cache

import cv2
import numpy as np
import numpy.typing as npt

from postfix.review.pictures import Rgb, draw_text, text_width
from postfix.review.words import escaped, mm_text, signed
from postfix.viewing import Screen

Pct = npt.NDArray[np.float32]
Colour = tuple[int, int, int]

_NEAR_LAB = ((89.0, 0.0, 74.0), (73.0, 26.0, 66.0), (57.0, 26.0, 34.0))
_FAR_LAB = ((48.0, -4.0, -22.0), (34.0, 6.0, -46.0), (18.0, 24.0, -46.0))
"""From the near end to the screen and on to the far end, CIE L*a*b*: lighter is nearer all the way, so that a grey
print tells in front from behind; warm is in front and blue behind, which also those see who confuse red and green.
Project's own choice."""

SCREEN_RGB: Colour = (255, 255, 255)
"""What lies at the screen plane; no other part of the scale is as light."""

MARK_SHARE, MARK_LEAST_PCT = 0.04, 0.06
"""White fades out this far from the screen plane: a share of the span on one side, and no less than the noise of the
map in percent of width, so that what lies at the screen is pale and not speckled. Project default."""

UNKNOWN_RGB: Colour = (128, 128, 128)
_HATCH_RGB: Colour = (84, 84, 84)
_HATCH_STEP_PX, _HATCH_LINE_PX = 8, 2
_DOT_STEP_PX, _DOT_PX = 6, 2
_NEAR_DOT_RGB: Colour = (0, 0, 0)
_FAR_DOT_RGB: Colour = (255, 255, 255)

_PLAIN, _UNKNOWN, _NEARER_THAN, _FARTHER_THAN = range(4)

_SHADES = 256
_ROUND = (1.0, 1.5, 2.0, 3.0, 4.0, 5.0, 6.0, 8.0, 10.0)
_LEAST_SPAN_PCT = 0.5
"""Less would blow up the noise of the map to the whole scale. Project default, no source."""

_EMPTY_SPAN_PCT = 2.0
_LEAST_LETTERS_PX, _WIDE_A_LINE_PX = 12, 80
"""Of a legend as a picture: its smallest letters, and how much of its width allows its caption one more line."""

_TICKS = (-1.0, -0.5, 0.0, 0.5, 1.0)


@dataclass(frozen=True)
class DepthSpan:
    """What the colours span, percent of width: ``near_pct`` below zero, ``far_pct`` as far above it."""

    near_pct: float
    far_pct: float


def span_for(values: Iterable[float]) -> DepthSpan:
    """A readable span, the same on both sides of the screen plane, that holds all of some parallaxes.

    Parameters
    ----------
    values : iterable of float
        Percent of width, such as near and far of every frame of a clip; what is no number is left out, and without any
        the span is −2 % to +2 %.
    """
    reach = max((abs(float(value)) for value in values if math.isfinite(value)), default=_EMPTY_SPAN_PCT)
    reach = max(reach, _LEAST_SPAN_PCT)
    power = 10.0 ** math.floor(math.log10(reach))
    end = next((factor * power for factor in _ROUND if factor * power >= reach * (1.0 - 1e-9)), 10.0 * power)
    end = round(end, 6)
    return DepthSpan(-end, end)


def depth_picture(pct: Pct, span: DepthSpan, size_px: tuple[int, int] | None = None) -> Rgb:
    """Parallax in colours: light and warm in front of the screen, white at it, dark and blue behind.

    What lies beyond the span has the colour of that end and is dotted; what is unknown is hatched grey.

    Parameters
    ----------
    pct : (h, w) float32
        Percent of width; NaN where unknown.
    span : DepthSpan
    size_px : (int, int), optional
        Width and height of the picture wanted; the map is enlarged by repeating its pixels, never by making up values
        between near and far. The map's own size unless given.

    Returns
    -------
    (h, w, 3) uint8
    """
    known = np.isfinite(pct)
    values = np.where(known, pct, np.float32(0.0))
    picture = colours_of(values, span)
    picture[~known] = UNKNOWN_RGB
    marked = np.where(known, _PLAIN, _UNKNOWN).astype(np.uint8)
    marked[values < span.near_pct], marked[values > span.far_pct] = _NEARER_THAN, _FARTHER_THAN
    if size_px is not None:
        picture, marked = (
            np.asarray(cv2.resize(part, size_px, interpolation=cv2.INTER_NEAREST), np.uint8)
            for part in (picture, marked)
        )
    # Drawn last, so that their size is one of the finished picture.
    for top, left in np.ndindex(_DOT_PX, _DOT_PX):
        dots = slice(top, None, _DOT_STEP_PX), slice(left, None, _DOT_STEP_PX)
        picture[dots][marked[dots] == _NEARER_THAN] = _NEAR_DOT_RGB
        picture[dots][marked[dots] == _FARTHER_THAN] = _FAR_DOT_RGB
    rows, columns = np.nonzero(marked == _UNKNOWN)
    hatched = (rows + columns) % _HATCH_STEP_PX < _HATCH_LINE_PX
    picture[rows[hatched], columns[hatched]] = _HATCH_RGB
    return picture


def colours_of(pct: npt.ArrayLike, span: DepthSpan) -> Rgb:
    """The colours of known parallaxes (…) → (…, 3) uint8; beyond the span that of its end."""
    values = np.asarray(pct, np.float32)
    share = np.clip(np.where(values < 0.0, values / -span.near_pct, values / span.far_pct), -1.0, 1.0)
    # Shades of one side lie together, so that none is a mixture of both.
    place = np.rint(np.abs(share) * (_SHADES - 1)).astype(np.intp)
    colours = _shades()[np.where(share < 0.0, 0, 1), place].astype(np.float32)
    white = np.maximum(0.0, 1.0 - np.abs(values) / np.float32(mark_pct(span)))[..., None]
    colours += white * (np.asarray(SCREEN_RGB, np.float32) - colours)
    return np.asarray(np.rint(colours), np.uint8)


def mark_pct(span: DepthSpan) -> float:
    """How far from the screen plane its white reaches, percent of width."""
    return max(MARK_SHARE * span.far_pct, MARK_LEAST_PCT)


@lru_cache(maxsize=1)
def _shades() -> npt.NDArray[np.uint8]:
    """Colours from the screen to the near and to the far end, (2, shades, 3)."""
    share = np.linspace(0.0, 1.0, _SHADES)
    lab = np.stack(
        [
            np.stack([np.interp(share, (0.0, 0.5, 1.0), [point[i] for point in points]) for i in range(3)], axis=1)
            for points in (_NEAR_LAB[::-1], _FAR_LAB)
        ]
    )
    rgb = cv2.cvtColor(lab.astype(np.float32), cv2.COLOR_Lab2RGB)
    return np.asarray(np.clip(np.rint(rgb * 255.0), 0, 255), np.uint8)


# ---- the legend

_NOT_KNOWN = "not known, or seen by one eye only"
_NEARER, _FARTHER = "nearer than the scale", "farther than the scale"
_SIDES = ("in front", "screen", "behind")

_WIDTH, _BAR_X, _BAR_WIDTH = 740, 216, 480
_BAR_Y, _BAR_HEIGHT, _ROW = 24, 18, 18
_SWATCHES = 32
_CELLS = 20
_LONGEST_NAME = 22


def legend_box(screens: Sequence[Screen]) -> str:
    """``viewBox`` of :func:`legend_html` for so many screens."""
    return f"0 0 {_WIDTH} {_BAR_Y + _BAR_HEIGHT + _ROW * (1 + len(screens)) + _SWATCHES}"


def legend_html(span: DepthSpan, screens: Sequence[Screen], ident: str = "") -> str:
    """The colours, what they mean in percent of width and in millimetres on each screen; an SVG element, with an ``id``
    where one is given."""
    parts = [_bar(span)]
    middle = _BAR_X + _BAR_WIDTH / 2.0
    for x, word, anchor in zip((_BAR_X, middle, _BAR_X + _BAR_WIDTH), _SIDES, ("start", "middle", "end")):
        parts.append(_text(x, _BAR_Y - 8, word, anchor))
    ticks = [(middle + share * _BAR_WIDTH / 2.0, share * span.far_pct) for share in _TICKS]
    y = _BAR_Y + _BAR_HEIGHT
    marks = "".join(f"M{x:g} {y}v5" for x, _ in ticks)
    parts.append(f'<path d="{marks}" stroke="currentColor"/>')
    lines = [("of picture width", [pct_label(pct) for _, pct in ticks])]
    lines += [(f"on {shortened(screen.name)}", [mm_label(pct, screen) for _, pct in ticks]) for screen in screens]
    for name, labels in lines:
        y += _ROW
        parts.append(_text(_BAR_X - 42, y, name, "end"))
        parts += [_text(x, y, label, "middle") for (x, _), label in zip(ticks, labels)]
    y += 12
    for x, kind, words in ((8, "unknown", _NOT_KNOWN), (320, "near", _NEARER), (540, "far", _FARTHER)):
        parts.append(_swatch(x, y, kind, span))
        parts.append(_text(x + 34, y + 12, words, "start"))
    named = f' id="{ident}"' if ident else ""
    return (
        f'<svg{named} class="depth-legend" viewBox="{legend_box(screens)}" role="img"><title>Colours of depth</title>'
        f"<desc>{escaped(_in_words(span, screens))}</desc>{''.join(parts)}</svg>"
    )


def pct_label(pct: float) -> str:
    """``+1.5 %``, with no more decimals than it takes."""
    digits = next((digits for digits in range(4) if abs(pct - round(pct, digits)) < 1e-9), 4)
    return f"{signed(pct, digits)} %"


def mm_label(pct: float, screen: Screen) -> str:
    return mm_text(pct, screen) if pct else "0 mm"


def shortened(name: str) -> str:
    """A name that fits beside a chart."""
    return name if len(name) <= _LONGEST_NAME else name[: _LONGEST_NAME - 1] + "…"


def _in_words(span: DepthSpan, screens: Sequence[Screen]) -> str:
    ends = [
        f"on {screen.name} {mm_text(span.near_pct, screen)} to {mm_text(span.far_pct, screen)}" for screen in screens
    ]
    return (
        "Parallax in colours: light and warm is in front of the screen, white is at it, dark and blue is behind. The "
        f"scale goes from {pct_label(span.near_pct)} to {pct_label(span.far_pct)} of picture width"
        f"{''.join(f'; {end}' for end in ends)}. Dotted is beyond the scale, hatched is {_NOT_KNOWN}."
    )


def _bar(span: DepthSpan) -> str:
    """The scale as a row of cells, with a dotted cap beyond either end."""
    steps = (np.arange(2 * _CELLS) + 0.5) / _CELLS - 1.0
    # The screen's white is drawn by itself: it is narrower than a cell.
    shades = _shades()[(steps > 0).astype(np.intp), np.rint(np.abs(steps) * (_SHADES - 1)).astype(np.intp)]
    width = _BAR_WIDTH / (2 * _CELLS)
    parts = ['<g shape-rendering="crispEdges">']
    for index, colour in enumerate(shades):
        parts.append(_rect(_BAR_X + index * width, _BAR_Y, width, _BAR_HEIGHT, _hex(colour)))
    mark = mark_pct(span) / span.far_pct * _BAR_WIDTH / 2.0
    parts.append(_rect(_BAR_X + _BAR_WIDTH / 2.0 - mark / 2.0, _BAR_Y, mark, _BAR_HEIGHT, _hex(SCREEN_RGB)))
    parts.append("</g>")
    for kind, x in (("near", _BAR_X - 28), ("far", _BAR_X + _BAR_WIDTH + 2)):
        parts.append(_swatch(x, _BAR_Y, kind, span, _BAR_HEIGHT))
    return "".join(parts)


def _swatch(x: float, y: float, kind: str, span: DepthSpan, height: float = 16) -> str:
    """A sample of what is unknown, or dotted beyond an end."""
    width = 26
    if kind == "unknown":
        lines = "".join(
            f"M{x + max(0, at):g} {y + height + min(0, at):g}L{x + min(width, at + height):g} "
            f"{y + max(0, at + height - width):g}"
            for at in range(-12, width, 6)
        )
        return (
            _rect(x, y, width, height, _hex(UNKNOWN_RGB)) + f'<path d="{lines}" stroke="{_hex(_HATCH_RGB)}" fill="none"'
            ' stroke-width="2"/>'
        )
    pct, dot = (span.near_pct, _NEAR_DOT_RGB) if kind == "near" else (span.far_pct, _FAR_DOT_RGB)
    dots = "".join(
        f"M{x + across:g} {y + down:g}h2v2h-2"
        for down in range(2, int(height) - 2, _DOT_STEP_PX)
        for across in range(2, width - 2, _DOT_STEP_PX)
    )
    return _rect(x, y, width, height, _hex(colours_of(pct, span))) + f'<path d="{dots}" fill="{_hex(dot)}"/>'


def _rect(x: float, y: float, width: float, height: float, colour: str) -> str:
    return f'<rect x="{x:g}" y="{y:g}" width="{width:g}" height="{height:g}" fill="{colour}"/>'


def _text(x: float, y: float, text: str, anchor: str) -> str:
    return f'<text x="{x:g}" y="{y:g}" text-anchor="{anchor}" fill="currentColor">{escaped(text)}</text>'


def _hex(colour: Iterable[int]) -> str:
    return "#" + "".join(f"{int(value):02x}" for value in colour)


def legend_picture(span: DepthSpan, screen: Screen | None, width_px: int) -> Rgb:
    """The legend as a strip of pixels to put under a picture.

    Parameters
    ----------
    span : DepthSpan
    screen : Screen or None
        Whose millimetres are given too.
    width_px : int

    Returns
    -------
    (height, width_px, 3) uint8
        As high as its lines of text need.
    """
    size = min(28, max(_LEAST_LETTERS_PX, round(width_px / 48)))
    line, margin = round(1.4 * size), size
    left, right = 3 * margin, width_px - 1 - 3 * margin
    rows: list[tuple[int, list[tuple[str, float]]]] = []
    at = [left + (right - left) * (0.5 + share / 2.0) for share in _TICKS]
    rows.append((margin // 2, list(zip(_SIDES, at[::2]))))
    bar_y = margin // 2 + line
    y = bar_y + line + margin // 3
    labels = [[pct_label(share * span.far_pct) for share in _TICKS]]
    if screen is not None:
        labels.append([mm_label(share * span.far_pct, screen) for share in _TICKS])
    for texts in labels:
        crowded = sum(text_width(text, size) + size for text in texts) > right - left
        rows.append((y, [(text, x) for i, (text, x) in enumerate(zip(texts, at)) if not crowded or i % 2 == 0]))
        y += line
    notes = [("unknown", _NOT_KNOWN), ("near", _NEARER), ("far", _FARTHER)]
    places, y = _flowed(notes, size, line, (margin, width_px - margin), y + margin // 3)
    caption = "percent of picture width" + (f", and millimetres on {screen.name}" if screen is not None else "")
    captions = _wrapped(caption, size, width_px - 2 * margin, max(1, width_px // _WIDE_A_LINE_PX))
    strip = np.full((y + len(captions) * line + margin // 2, width_px, 3), 18, np.uint8)
    columns = np.linspace(-1.0, 1.0, max(2, right - left)) * span.far_pct
    strip[bar_y : bar_y + line, left : left + columns.size] = colours_of(columns, span)[None]
    _beyond(strip[bar_y : bar_y + line, margin : left - 2], span.near_pct * 2.0, span)
    _beyond(strip[bar_y : bar_y + line, left + columns.size + 2 : width_px - margin], span.far_pct * 2.0, span)
    for (x, top), (kind, _) in zip(places, notes):
        pct = {"unknown": math.nan, "near": span.near_pct * 2.0, "far": span.far_pct * 2.0}[kind]
        _beyond(strip[top : top + size, x : x + 2 * size], pct, span)
    for top, placed in rows:
        for text, middle in placed:
            wide = text_width(text, size)
            start = min(max(2.0, middle - wide / 2.0), width_px - wide - 2.0)
            strip = draw_text(strip, (round(start), top), text, size)
    for (x, top), (_, words) in zip(places, notes):
        strip = draw_text(strip, (x + 2 * size + size // 2, top - size // 6), words, size)
    for number, text in enumerate(captions):
        strip = draw_text(strip, (margin, y + number * line), text, size)
    return strip


def _flowed(
    notes: Sequence[tuple[str, str]], size: int, line: int, between: tuple[int, int], y: int
) -> tuple[list[tuple[int, int]], int]:
    """Where each sample and its words go, in as many lines as it takes, and where the next line is."""
    places, x = [], between[0]
    for _, words in notes:
        wide = 3 * size + round(text_width(words, size))
        if x > between[0] and x + wide > between[1]:
            x, y = between[0], y + line
        places.append((x, y))
        x += wide + size
    return places, y + line


def _beyond(part: Rgb, pct: float, span: DepthSpan) -> None:
    """Fill a part of a picture with what one parallax looks like in a depth picture."""
    part[...] = depth_picture(np.full(part.shape[:2], pct, np.float32), span)


def _wrapped(text: str, size: int, width_px: float, most: int) -> list[str]:
    """The text in as many lines as its words take, up to ``most``; what is too wide for a line of its own is cut."""
    lines: list[str] = []
    for word in text.split():
        longer = f"{lines[-1]} {word}" if lines else word
        if lines and text_width(longer, size) <= width_px:
            lines[-1] = longer
        else:
            lines.append(word)
    if len(lines) > most:
        lines[most - 1 :] = [" ".join(lines[most - 1 :])]
    return [_fitting(one, size, width_px) for one in lines]


def _fitting(text: str, size: int, width_px: float) -> str:
    """The text, cut where it is too wide."""
    while len(text) > 1 and text_width(text, size) > width_px:
        text = text[:-2].rstrip() + "…"
    return text
