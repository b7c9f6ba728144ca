"""One card for each shot: the pictures, what was done for each screen and why, the figures, and a place to try out.

A film has thousands of cards. End tags that HTML lets out are left out, and so are quotes about plain values.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from postfix.plan.bad_frames import BAD_FRAME
from postfix.plan.figures import EDGE_TOLERANCE_PCT, Figures, range_budget
from postfix.plan.misaligned import lay_words
from postfix.plan.model import Flag
from postfix.review.clips import ReviewedClip, ReviewedShot
from postfix.review.logged import Column, LoggedShot, Version
from postfix.review.shot_pictures import After, Drawn, ShotPictures, Shown
from postfix.review.verdict import FLAG_WORDS, NOTICE_WORDS, verdict
from postfix.review.words import (
    NOT_MEASURED,
    arcmin_text,
    count_text,
    escaped,
    frames_text,
    mm_text,
    pct_text,
    px_text,
    range_arcmin_text,
    span_text,
)

_FILL_WORDS = {
    "hide": "columns laid bare are black in the eye that lacks them",
    "crop": "columns laid bare are black in both eyes alike",
    "zoom": "both eyes enlarged to cover the columns laid bare",
}

_STORY = "<details class=story><summary>Depth, size, seats, camera</summary></details>"
"""Filled by the script from what the try-out and the entry of the same card name."""


def card(
    clip: ReviewedClip, shot: ReviewedShot, pictures: ShotPictures, data_key: str, data_src: str, legend_box: str
) -> str:
    """HTML of one shot on all screens.

    Parameters
    ----------
    clip : ReviewedClip
    shot : ReviewedShot
    pictures : ShotPictures
    data_key, data_src : str
        Name and address of the figures beside the page that the try-out and the change-log entry are made of.
    legend_box : str
        ``viewBox`` of the depth maps' scale, which the card shows again.
    """
    known = shot.any_result
    # Without a result on a screen there is nothing that could be bad there.
    is_bad = any(verdict(v, r).is_bad for v, r in zip(clip.versions, shot.results) if r is not None)
    length = shot.last - shot.first + 1
    name = escaped(shot.name)
    beside = f'data-key="{data_key}" data-src="{data_src}"'
    screens = [
        _screen(version, result, pictures, index)
        for index, (version, result) in enumerate(zip(clip.versions, shot.results))
        if result is not None
    ]
    return (
        f'<article class="card{" bad" if is_bad else ""}" id="{shot.ident}" data-name="{name}" tabindex="-1" '
        f'aria-labelledby="{shot.ident}h"><header><h3 id="{shot.ident}h">{name}</h3>'
        f'<span class="soft">{escaped(span_text(known.timecode_in, known.timecode_out))}, '
        f"{frames_text(shot.first, shot.last)} ({count_text(length, 'frame')})</span></header>"
        f"{_source(clip, shot, pictures, legend_box)}{''.join(screens)}"
        f'<details class="tryout" {beside}><summary>Try another convergence</summary></details>'
        f"{_STORY if any(result is not None and result.story is not None for result in shot.results) else ''}"
        f'<details class="entry" {beside}><summary>Change-log entry</summary></details></article>'
    )


def _source(clip: ReviewedClip, shot: ReviewedShot, pictures: ShotPictures, legend_box: str) -> str:
    """The shot as it was given: both eyes, anaglyph, depth map."""
    before = pictures.before
    if before is None:
        return f'<p class="nothing">No pictures from before: {escaped(pictures.before_missing)}.</p>'
    timecode = clip.versions[0].frames.timecodes[pictures.frame]
    place = ", ".join(filter(None, (f"frame {pictures.frame}", escaped(timecode), escaped(pictures.why))))
    alt = f"Shot {escaped(shot.name)}"
    depth = "Depth map" + (f": {escaped(before.note)}" if before.note else "")
    figures = (
        _figure(before.left, f"{alt}, left eye", "Left eye"),
        _figure(before.right, f"{alt}, right eye", "Right eye"),
        _figure(before.both, f"{alt}, both eyes in red and cyan", "Anaglyph, red left, cyan right"),
        _figure(before.depth, f"{alt}, depth map", depth),
    )
    legend = (
        '<div class="box" tabindex="0" role="region" aria-label="Scale of the depth map, to scroll">'
        f'<svg class="depth-legend" viewBox="{legend_box}" role="img" aria-label="Scale of the depth map">'
        f'<use href="#{clip.ident}-legend"/></svg></div>'
    )
    return f'<h4>As shot: {place}</h4><div class="four">{"".join(figures)}</div>{legend}'


def _screen(version: Version, result: LoggedShot, pictures: ShotPictures, index: int) -> str:
    """What was done for one screen, and how it came out."""
    stands = verdict(version, result)
    bad = " bad" if stands.is_bad else ""
    after = pictures.after[index]
    return (
        f'<section class="on-screen"><h4>On {escaped(version.screen.name)} '
        f'<span class="status{bad}">{stands.sign} {escaped(stands.words)}</span></h4>{_reason(result)}'
        f"{_flags(result)}{_notices(result)}{_finished(version, result, after)}"
        f'<div class="halves"><div>{_figures_table(version, result)}</div><div>'
        f"{_histogram(pictures.histograms[index])}{_done(version, result)}"
        "</div></div></section>"
    )


def _reason(result: LoggedShot) -> str:
    text = result.plan.reason.strip()
    if not text:
        return ""
    sentence = text[:1].upper() + text[1:] + ("" if text.endswith((".", "!", "?")) else ".")
    return f'<p><span class="soft">Planned:</span> {escaped(sentence)}</p>'


def _flags(result: LoggedShot) -> str:
    unread = [flag for flag in result.flags if flag.code == BAD_FRAME]
    found = [flag for flag in result.flags if flag.code != BAD_FRAME]
    return _flag_list("Found on the finished files:", found) + _flag_list("Found in the source:", unread)


def _flag_list(where: str, flags: Sequence[Flag]) -> str:
    items = "".join(
        f"<li>▲ {escaped(FLAG_WORDS.get(flag.code, flag.code))}: {escaped(flag.text)}</li>" for flag in flags
    )
    return f'<p class="soft">{where}</p><ul class="flags">{items}</ul>' if items else ""


def _notices(result: LoggedShot) -> str:
    """What a person should know; no limit is behind it."""
    told = () if result.story is None else result.story.notices
    items = "".join(
        f"<li>△ {escaped(NOTICE_WORDS.get(notice.code, notice.code))}: {escaped(notice.text)}" for notice in told
    )
    return f"<ul class=notices>{items}</ul>" if items else ""


def _finished(version: Version, result: LoggedShot, after: After | None) -> str:
    if after is None:
        return '<p class="soft">Nothing was changed for this screen: the pictures are those above.</p>'
    alt = f"Shot {escaped(result.plan.name)} on {escaped(version.screen.name)}"
    both = _figure(after.both, f"{alt}, both eyes in red and cyan", "Finished, anaglyph")
    marked = "Finished, left and right eye" + ("; what is hidden is hatched" if result.is_changed else "")
    eyes = _figure(after.eyes, f"{alt}, left eye then right eye, what is hidden hatched", marked)
    return f'<div class="finished">{both}{eyes}</div>'


def _histogram(drawn: Drawn | None) -> str:
    if drawn is None:
        return ""
    return f'<img class=histogram loading=lazy src={drawn.src} alt="{escaped(drawn.words)}">'


def _figure(shown: Shown, alt: str, caption: str) -> str:
    """A picture; ``alt`` and ``caption`` are HTML already. Short, for there are tens of thousands on a page."""
    return (
        f'<figure><img loading=lazy src={shown.src} width={shown.width_px} height={shown.height_px} alt="{alt}">'
        f"<figcaption>{caption}</figcaption></figure>"
    )


def _figures_table(version: Version, result: LoggedShot) -> str:
    screen, limits = version.screen, version.limits
    budget, _ = range_budget(limits)
    edge = f"{EDGE_TOLERANCE_PCT:.2f} %"
    rows = [
        _row(version, result, "Near", "near_pct", pct_text(limits.near_pct)),
        _row(version, result, "Far", "far_pct", pct_text(limits.far_pct)),
        _row(version, result, "Median", "median_pct", ""),
        _row(version, result, "Range within a frame", "range_pct", f"{budget:.2f} %"),
        _row(version, result, "At the left edge", "left_edge_pct", ""),
        _row(version, result, "At the right edge", "right_edge_pct", ""),
        _row(version, result, "In front of the left edge", "left_excess_pct", edge),
        _row(version, result, "In front of the right edge", "right_excess_pct", edge),
    ]
    both = (("before", result.before), ("after", result.after))
    measured = "; ".join(f"{when} {_measured_text(figures)}" for when, figures in both if not _is_whole(figures))
    missing = f'<p class="soft small">Frames measured: {measured}.</p>' if measured else ""
    label = f"Parallax on {escaped(screen.name)}"
    return (
        f'<div class="box" tabindex="0" role="region" aria-label="{label}"><table class=figures>'
        "<thead><tr><th scope=col>Parallax<th scope=col>before<th scope=col>after<th scope=col>limit"
        "<th scope=col>after, on the screen"
        f"<tbody>{''.join(rows)}</table></div>{missing}"
    )


def _is_whole(figures: Figures | None) -> bool:
    return figures is not None and figures.measured_frames == figures.frames


def _measured_text(figures: Figures | None) -> str:
    return "none" if figures is None else f"{figures.measured_frames} of {figures.frames}"


def _row(version: Version, result: LoggedShot, word: str, name: str, limit: str) -> str:
    before, after = (
        math.nan if figures is None else float(getattr(figures, name)) for figures in (result.before, result.after)
    )
    unsigned = name.startswith("range") or name.endswith("excess_pct")

    def text(pct: float) -> str:
        return pct_text(pct) if not unsigned or not math.isfinite(pct) else f"{pct:.2f} %"

    mm = mm_text(after, version.screen)
    if unsigned:
        mm = mm.lstrip("+")
    angle = ""
    if name.startswith("range"):
        angle = range_arcmin_text(after, version.screen)
    elif not unsigned:
        angle = arcmin_text(after, version.screen)
    there = f"{mm}<small>{angle}</small>" if angle else mm
    return f"<tr><th scope=row>{word}<td>{text(before)}<td>{text(after)}<td>{limit or '–'}<td>{there or '–'}"


def _done(version: Version, result: LoggedShot) -> str:
    low, high = result.applied_hit_px
    entries = [("Moved (HIT)", _spread(low, high, version))]
    run = slice(result.plan.first, result.plan.last + 1)
    if result.is_moved:
        eyes = (f"{eye} eye {_eye_move(version.frames[f'{eye}_move_px'][run])}" for eye in ("left", "right"))
        entries.append(("Share of each eye", ", ".join(eyes)))
        entries.append(("Bare columns", f"{result.plan.fill}: {_FILL_WORDS[result.plan.fill]}"))
    if result.plan.zoom != 1.0:
        entries.append(("Enlarged", f"× {result.plan.zoom:.4f}"))
    if result.is_aligned and result.plan.misalignment is not None:
        entries.append(("Taken out", f"the right eye lay {lay_words(result.plan.misalignment)}"))
    for side in ("left", "right"):
        entries.append((f"Window, {side} edge of the {side} eye", _window(version, run, side)))
    if result.plan.locked:
        entries.append(("Decided by", "a person (locked in the plan)"))
    items = "".join(f"<dt>{escaped(word)}<dd>{escaped(text)}" for word, text in entries)
    return f"<dl class=done>{items}</dl>"


def _spread(low_px: float, high_px: float, version: Version) -> str:
    def one(px: float) -> str:
        pct = px * 100.0 / version.clip.width_px
        return f"{pct_text(pct)} ({px_text(px)}, {mm_text(pct, version.screen)})"

    if low_px == high_px:
        return one(low_px) if low_px else "no"
    return f"{one(low_px)} to {one(high_px)}, eased"


def _eye_move(px: Column) -> str:
    finite = px[np.isfinite(px)]
    if not finite.size:
        return NOT_MEASURED
    low, high = float(finite.min()), float(finite.max())
    return px_text(low) if low == high else f"{px_text(low)} to {px_text(high)}"


def _window(version: Version, run: slice, side: str) -> str:
    widest = []
    for end in ("top", "bottom"):
        values = version.frames[f"window_{side}_{end}_px"][run]
        widest.append(float(np.nanmax(values)) if np.isfinite(values).any() else 0.0)
    if max(widest) <= 0.0:
        return "none"
    top, bottom = (f"{px:.1f} px ({px * 100.0 / version.clip.width_px:.2f} %)" for px in widest)
    return f"at its widest {top} at the top, {bottom} at the bottom"
