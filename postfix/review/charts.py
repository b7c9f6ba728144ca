"""The chart of a clip over time: its place in the page, its controls, and what it shows in words.

The lines themselves are drawn by ``assets/charts.js`` from what :mod:`postfix.review.frames` packs.
"""

from __future__ import annotations

import numpy as np

from postfix.plan.geometry import SIDES, Side, bare_px, edge_parallax_px
from postfix.review.clips import ReviewedClip
from postfix.review.logged import Column, Version
from postfix.review.stills import moves_at
from postfix.review.words import count_text, escaped, pct_text

MOST_NAMED = 5
"""Shots that the words name as reaching beyond a limit; the rest are counted."""

_SHOWN_PCT = 0.005
"""A frame counts as beyond a limit where two decimals show it."""

DASHES = ("solid", "dash", "dot", "dashdot", "longdash", "longdashdot")
"""How the limits of the first, second … screen are drawn; ``charts.js`` has the same order."""

_STROKES = {
    "solid": "",
    "dash": "9 5",
    "dot": "3 4",
    "dashdot": "9 4 3 4",
    "longdash": "15 6",
    "longdashdot": "15 5 3 5",
}


_CIRCLE = "m-3 0a3 3 0 1 0 6 0a3 3 0 1 0-6 0"
_SQUARE = "m-2.5-2.5h5v5h-5z"
_DIAMOND = "m0-4l4 4-4 4-4-4z"


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


def charts_html(clip: ReviewedClip, frames_src: str, plotly_src: str) -> str:
    """The chart's place in the page: heading, controls, legend and description in words.

    Parameters
    ----------
    clip : ReviewedClip
    frames_src : str
        Address of the script that gives :func:`postfix.review.frames.frames_data` under ``<clip>/frames``.
    plotly_src : str
        Address of the chart library.
    """
    ident = clip.ident
    return (
        f'<div class="depth-chart" id="{ident}-chart" data-key="{ident}/frames" data-src="{escaped(frames_src)}" '
        f'data-plotly="{escaped(plotly_src)}" data-state="waiting">'
        f'<h3 id="{ident}-chart-title">Depth, edges and windows over time</h3>'
        f"{_controls(clip)}"
        f'<p class="chart-message" role="status" hidden>The chart is drawn once its figures are read.</p>'
        "<noscript><p>The chart needs scripts, which are switched off here. "
        "What it shows is said in words below.</p></noscript>"
        f'<div class="chart-frame" hidden><div class="chart-plot" tabindex="0" role="application" '
        f'aria-labelledby="{ident}-chart-title" aria-describedby="{ident}-chart-keys">'
        '<div class="chart-canvas" aria-hidden="true"></div><div class="chart-cursor" hidden></div>'
        '<div class="chart-box" hidden></div></div>'
        '<p class="chart-detail"></p><p class="chart-said" aria-live="polite"></p></div>'
        f"{_legend(clip)}{_keys(ident)}{_words(clip)}</div>"
    )


def _controls(clip: ReviewedClip) -> str:
    ident = clip.ident
    screens = "".join(
        f'<label><input type="radio" name="{ident}-screen" value="{index}"{" checked" if index == 0 else ""}> '
        f"{escaped(version.screen.name)}</label>"
        for index, version in enumerate(clip.versions)
    )
    buttons = "".join(
        f'<button type="button" data-do="{do}">{words}</button>'
        for do, words in (
            ("earlier", "◀ Earlier"),
            ("later", "Later ▶"),
            ("in", "+ Zoom in"),
            ("out", "\N{MINUS SIGN} Zoom out"),
            ("all", "Whole clip"),
        )
    )
    return (
        '<div class="chart-controls" hidden>'
        f'<fieldset class="chart-screens"><legend>After, made for</legend>{screens}</fieldset>'
        "<fieldset><legend>Dragging</legend>"
        f'<label><input type="radio" name="{ident}-drag" value="zoom" checked> zooms</label>'
        f'<label><input type="radio" name="{ident}-drag" value="pan"> moves</label></fieldset>'
        "<fieldset><legend>Show</legend>"
        '<label><input type="checkbox" data-show="limits" checked> limits of all screens</label>'
        '<label><input type="checkbox" data-show="fit"> heights to fit the view</label></fieldset>'
        f'<div class="chart-buttons" role="group" aria-label="What part of the clip is shown">{buttons}</div>'
        f'<form class="chart-goto"><label for="{ident}-goto">Frame or timecode</label>'
        f'<input id="{ident}-goto" type="text" size="13" autocomplete="off" spellcheck="false">'
        '<button type="submit">Go to</button></form></div>'
    )


def _drawn(kind: str, mark: str, y: int = 7) -> str:
    """A line of the chart with its mark, for the legend; ``mark`` is a path about the middle of it."""
    return f'<path class="{kind}" d="M0 {y}H44"/><path class="{kind} mark" d="M22 {y}{mark}"/>'


def _legend(clip: ReviewedClip) -> str:
    entries = [
        (_drawn("before near", _CIRCLE), "orange, dashed, with open circles: near and far before"),
        (_drawn("before median", _DIAMOND), "orange, dotted, with open diamonds: median before"),
        (_drawn("after near", _SQUARE), "blue, solid, with squares and filled between: near and far after"),
        (_drawn("after median", _DIAMOND), "blue, thin, with diamonds: median after"),
        (
            _drawn("after near", _SQUARE, 3) + _drawn("after bottom", _SQUARE, 11),
            "blue, in the rows of the windows: solid, with squares, at the top; dashed, with open ones, at the bottom",
        ),
        (
            '<path class="edge" d="M0 12H44M4 12L12 2M16 12L24 2M28 12L36 2"/>',
            "grey, hatched: the side edge itself after the change, between its top and its bottom; content below all "
            "of it is in front of the edge. Black that was in the source already is not drawn",
        ),
        ('<path class="cut" d="M22 0V14"/>', "dotted upright: cut"),
    ]
    for index, version in enumerate(clip.versions):
        stroke = _STROKES[DASHES[index % len(DASHES)]]
        limits = version.limits
        entries.append(
            (
                f'<path class="limit" stroke-dasharray="{stroke or "none"}" d="M0 7H44"/>',
                f"limits of {version.screen.name}: near {pct_text(limits.near_pct)}, far {pct_text(limits.far_pct)}",
            )
        )
    items = "".join(
        f'<li><svg viewBox="0 0 44 14" aria-hidden="true">{drawn}</svg>{escaped(words)}</li>'
        for drawn, words in entries
    )
    return f'<ul class="chart-legend">{items}</ul>'


def _keys(ident: str) -> str:
    return (
        f'<p class="chart-keys" id="{ident}-chart-keys">'
        "Up is behind the screen. A click goes to the shot; drag to "
        "zoom or move; Ctrl and the wheel zoom. With the chart in focus: "
        "<kbd>←</kbd> <kbd>→</kbd> one frame (with <kbd>Shift</kbd> one second), "
        "<kbd>Page Up</kbd> <kbd>Page Down</kbd> to the cuts, <kbd>Home</kbd> <kbd>End</kbd> to the ends, "
        "<kbd>+</kbd> <kbd>−</kbd> zoom, <kbd>0</kbd> whole clip, <kbd>Enter</kbd> to the shot.</p>"
    )


def _words(clip: ReviewedClip) -> str:
    """What the chart shows, in words: extents before and after on each screen against its limits."""
    first = clip.versions[0]
    items = [f"<li><strong>Before</strong>: {escaped(_figures(first, 'before'))}</li>"]
    for version in clip.versions:
        words = [_figures(version, "after"), _against(version), _edge_words(version)]
        items.append(f"<li><strong>After, for {escaped(version.screen.name)}</strong>: {escaped(' '.join(words))}</li>")
    return (
        f'<details class="chart-words" id="{clip.ident}-chart-words" open><summary>The same in words</summary>'
        f"<ul>{''.join(items)}</ul><p>Single frames are counted here. Shots are judged by figures that leave out wild "
        "frames; their cards say how they stand.</p></details>"
    )


def _figures(version: Version, when: str) -> str:
    near, far, median = (version.frames[f"{name}_{when}_pct"] for name in ("near", "far", "median"))
    measured = int((np.isfinite(near) & np.isfinite(far)).sum())
    if not measured:
        return "nothing was measured."
    text = f"near to far {_extent(near, far)}"
    if np.isfinite(median).any():
        text += f", median {_extent(median, median)}"
    return f"{text}; {measured} of {count_text(version.clip.frames, 'frame')} measured."


def _extent(low: Column, high: Column) -> str:
    return f"from {pct_text(float(np.nanmin(low)))} to {pct_text(float(np.nanmax(high)))}"


def _against(version: Version) -> str:
    limits, frames = version.limits, version.frames
    text = f"Limits: near {pct_text(limits.near_pct)}, far {pct_text(limits.far_pct)}."
    for words, beyond in (
        ("nearer than its limit", frames["near_after_pct"] < limits.near_pct - _SHOWN_PCT),
        ("farther than its limit", frames["far_after_pct"] > limits.far_pct + _SHOWN_PCT),
    ):
        count = int(beyond.sum())
        if count:
            verb = "is" if count == 1 else "are"
            text += f" {count_text(count, 'frame')} {verb} {words}, in {_shots(version, beyond)}."
        elif np.isfinite(frames["near_after_pct"]).any():
            text += f" No measured frame is {words}."
    return text


def _shots(version: Version, marked: np.ndarray[tuple[int, ...], np.dtype[np.bool_]]) -> str:
    names = [shot.plan.name for shot in version.shots if marked[shot.plan.first : shot.plan.last + 1].any()]
    more = len(names) - MOST_NAMED
    listed = ", ".join(names[:MOST_NAMED])
    return f"{count_text(len(names), 'shot')} ({listed}{f' and {more} more' if more > 0 else ''})"


def _edge_words(version: Version) -> str:
    parts = []
    for side in SIDES:
        content = version.frames[f"{side}_edge_after_pct"]
        edge = np.minimum(*edge_pct(version, side))
        widest = max(float(np.nan_to_num(version.frames[f"window_{side}_{end}_px"]).max()) for end in ("top", "bottom"))
        if np.isfinite(content).any():
            words = f"nearest content at the {side} edge {pct_text(float(np.nanmin(content)))}"
        else:
            words = f"no content measured at the {side} edge"
        words += f", the edge itself at its nearest {pct_text(float(edge.min()))}"
        parts.append(f"{words}, {f'window up to {widest:g} px' if widest else 'no window'}")
    text = "; ".join(parts)
    return f"{text[0].upper()}{text[1:]}."
