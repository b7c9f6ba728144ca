"""One card for each shot: the pictures, what was done for each screen and why, the figures, and a place to try out.

A film has thousands of cards. End tags that HTML lets out are left out, and so are quotes about plain values, and the
scope of heads: one that stands before figures only is a row's, one above figures only a column's.
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
from postfix.review.noted import noted
from postfix.review.repeated import Repeated
from postfix.review.shot_pictures import After, Drawn, ShotPictures
from postfix.review.verdict import FLAG_WORDS, verdict
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

NEEDS_SCRIPTS = (
    "<p class=unscripted>Try-outs, depth with size, seats and camera, and the entries of the change log need scripts, "
    "which are switched off here.</p>"
)
"""Told once above the cards."""


def card(
    clip: ReviewedClip,
    shot: ReviewedShot,
    pictures: ShotPictures,
    data_src: str,
    legend_box: str,
    repeated: Repeated,
) -> str:
    """HTML of one shot on all screens.

    Parameters
    ----------
    clip : ReviewedClip
    shot : ReviewedShot
    pictures : ShotPictures
    data_src : str
        Address of the figures beside the page that the try-out, the depth and the change-log entry are made of: a
        script makes their folds.
    legend_box : str
        ``viewBox`` of the depth maps' scale, which the card shows again.
    repeated : Repeated
        Clauses that are written once for the whole page.
    """
    known = shot.any_result
    # Without a result on a screen there is nothing that could be bad there.
    is_bad = any(verdict(v, r).is_bad for v, r in zip(clip.versions, shot.results) if r is not None)
    kind = '"card bad"' if is_bad else "card"
    length = shot.last - shot.first + 1
    name = escaped(shot.name)
    told = noted([version.screen.name for version in clip.versions], shot.results)
    has_story = any(result is not None and result.story is not None for result in shot.results)
    screens = [
        _screen(version, result, pictures, index, told.each[index], repeated)
        for index, (version, result) in enumerate(zip(clip.versions, shot.results))
        if result is not None
    ]
    return (
        f"<article class={kind} id={shot.ident} aria-labelledby={shot.ident}h "
        f"data-src={data_src}{' data-story' if has_story else ''}><header><h3 id={shot.ident}h>{name}</h3>"
        f"<span class=soft>{escaped(span_text(known.timecode_in, known.timecode_out))}, "
        f"{frames_text(shot.first, shot.last)} ({count_text(length, 'frame')})</span></header>"
        f"{_source(clip, shot, pictures, legend_box)}{_notices(told.together, repeated, are_together=True)}"
        f"{''.join(screens)}</article>"
    )


def _source(clip: ReviewedClip, shot: ReviewedShot, pictures: ShotPictures, legend_box: str) -> str:
    """The shot as it was given: both eyes, anaglyph, depth map."""
    before = pictures.before
    if before is None:
        return f"<p class=nothing>No pictures from before: {escaped(pictures.before_missing)}.</p>"
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
        '<div class=box tabindex=0 role=region aria-label="Scale of the depth map, to scroll">'
        f'<svg class=depth-legend viewBox="{legend_box}" role=img aria-label="Scale of the depth map">'
        f'<use href="#{clip.ident}-legend"/></svg></div>'
    )
    return f"<h4>As shot: {place}</h4><div class=four>{''.join(figures)}</div>{legend}"


def _screen(
    version: Version,
    result: LoggedShot,
    pictures: ShotPictures,
    index: int,
    told: Sequence[str],
    repeated: Repeated,
) -> str:
    """What was done for one screen, and how it came out."""
    stands = verdict(version, result)
    status = '"status bad"' if stands.is_bad else "status"
    after = pictures.after[index]
    return (
        f"<section class=on-screen><h4>On {escaped(version.screen.name)} "
        f"<span class={status}>{stands.sign} {escaped(stands.words)}</span></h4>{_reason(result, repeated)}"
        f"{_flags(result, repeated)}{_notices(told, repeated)}{_finished(version, result, after)}"
        f"<div class=halves><div>{_figures_table(version, result)}</div><div>"
        f"{_histogram(pictures.histograms[index])}{_done(version, result, repeated)}"
        "</div></div></section>"
    )


def _reason(result: LoggedShot, repeated: Repeated) -> str:
    text = reason_text(result)
    if not text:
        return ""
    end = "" if text.endswith((".", "!", "?")) else "."
    return f"<p><span class=soft>Planned:</span> {repeated.html(text)}{end}</p>"


def reason_text(result: LoggedShot) -> str:
    """The plan's reason as a sentence, but for its full stop; empty where there is none."""
    text = result.plan.reason.strip()
    return text[:1].upper() + text[1:]


def _flags(result: LoggedShot, repeated: Repeated) -> str:
    unread = [flag for flag in result.flags if flag.code == BAD_FRAME]
    found = [flag for flag in result.flags if flag.code != BAD_FRAME]
    on_files = _flag_list("Found on the finished files:", found, repeated)
    return on_files + _flag_list("Found in the source:", unread, repeated)


def _flag_list(where: str, flags: Sequence[Flag], repeated: Repeated) -> str:
    items = "".join(
        f"<li>▲ {escaped(FLAG_WORDS.get(flag.code, flag.code))}: {repeated.html(flag.text)}" for flag in flags
    )
    return f"<p class=soft>{where}</p><ul class=flags>{items}</ul>" if items else ""


def _notices(told: Sequence[str], repeated: Repeated, *, are_together: bool = False) -> str:
    """What a person should know; no limit is behind it. Of several screens together, or of one."""
    kind = '"notices together"' if are_together else "notices"
    items = "".join(f"<li>△ {repeated.html(text)}" for text in told)
    return f"<ul class={kind}>{items}</ul>" if items else ""


def _finished(version: Version, result: LoggedShot, after: After | None) -> str:
    if after is None:
        return "<p class=soft>Nothing was changed for this screen: the pictures are those above.</p>"
    alt = f"Shot {escaped(result.plan.name)} on {escaped(version.screen.name)}"
    both = _figure(after.both, f"{alt}, both eyes in red and cyan", "Finished, anaglyph")
    marked = "Finished, left and right eye" + ("; what is hidden is hatched" if result.is_changed else "")
    eyes = _figure(after.eyes, f"{alt}, left eye then right eye", marked)
    return f"<div class=finished>{both}{eyes}</div>"


def _histogram(drawn: Drawn | None) -> str:
    if drawn is None:
        return ""
    return f'<img class=histogram loading=lazy src={drawn.src} alt="{escaped(drawn.words)}">'


def _figure(src: str, alt: str, caption: str) -> str:
    """A picture; ``alt`` and ``caption`` are HTML already. Short, for there are tens of thousands on a page: the clip
    says once what size they have."""
    return f'<figure><img loading=lazy src={src} alt="{alt}"><figcaption>{caption}</figcaption></figure>'


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
        f'<div class=box tabindex=0 role=region aria-label="{label}"><table class=figures>'
        "<thead><tr><th>Parallax<th>before<th>after<th>limit<th>after, on the screen"
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
    return f"<tr><th>{word}<td>{text(before)}<td>{text(after)}<td>{limit or '–'}<td>{there or '–'}"


def _done(version: Version, result: LoggedShot, repeated: Repeated) -> str:
    low, high = result.applied_hit_px
    entries = [("Moved (HIT)", _spread(low, high, version))]
    run = slice(result.plan.first, result.plan.last + 1)
    if result.is_moved:
        eyes = (f"{eye} eye {_eye_move(version.frames[f'{eye}_move_px'][run])}" for eye in ("left", "right"))
        entries.append(("Share of each eye", ", ".join(eyes)))
        entries.append(("Bare columns", fill_text(result)))
    if result.plan.zoom != 1.0:
        entries.append(("Enlarged", f"× {result.plan.zoom:.4f}"))
    if result.is_aligned and result.plan.misalignment is not None:
        entries.append(("Taken out", f"the right eye lay {lay_words(result.plan.misalignment)}"))
    windows = [(side, _window(version, run, side)) for side in ("left", "right")]
    if any(text for _, text in windows):
        entries += [(f"Window, {side} edge of the {side} eye", text or "none") for side, text in windows]
    else:
        entries.append(("Windows", "none"))
    if result.plan.locked:
        entries.append(("Decided by", "a person (locked in the plan)"))
    items = "".join(f"<dt>{escaped(word)}<dd>{repeated.html(text)}" for word, text in entries)
    return f"<dl class=done>{items}</dl>"


def fill_text(result: LoggedShot) -> str:
    """What is done about columns laid bare by a move."""
    return f"{result.plan.fill}: {_FILL_WORDS[result.plan.fill]}"


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
    """How wide it is at most; empty where there is none."""
    widest = []
    for end in ("top", "bottom"):
        values = version.frames[f"window_{side}_{end}_px"][run]
        widest.append(float(np.nanmax(values)) if np.isfinite(values).any() else 0.0)
    if max(widest) <= 0.0:
        return ""
    top, bottom = (f"{px:.1f} px ({px * 100.0 / version.clip.width_px:.2f} %)" for px in widest)
    return f"at its widest {top} at the top, {bottom} at the bottom"
