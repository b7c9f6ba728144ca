"""One card for each shot on a screen: what was done, why, the figures, and a still before and after."""

from __future__ import annotations

import base64
import math

import numpy as np

from postfix.plan.figures import EDGE_TOLERANCE_PCT, Figures, range_budget
from postfix.plan.misaligned import lay_words
from postfix.review.logged import LoggedShot, Version
from postfix.review.pictures import Rgb, anaglyph, fit_within, jpeg_bytes, side_by_side, with_window_outline
from postfix.review.stills import NO_STRIPS, Sides, Stills, frame_to_show, hidden_strips
from postfix.review.verdict import FLAG_WORDS, verdict
from postfix.review.words import (
    NOT_MEASURED,
    arcmin_text,
    count_text,
    escaped,
    mm_text,
    pct_text,
    px_text,
    range_arcmin_text,
    signed,
    span_text,
)

ANAGLYPH_PX, EYE_PX = 560, 480
_FILL_WORDS = {
    "hide": "columns laid bare are black in the eye that lacks them",
    "crop": "columns laid bare are black in both eyes alike",
    "zoom": "both eyes enlarged to cover the columns laid bare",
}


def card(version: Version, shot: LoggedShot, stills: Stills | None) -> str:
    """HTML of one shot; with pictures where ``stills`` are given.

    Raises
    ------
    InputError
        Where an output cannot be decoded.
    """
    stands = verdict(version, shot)
    plan = shot.plan
    length = plan.last - plan.first + 1
    parts = [
        f'<article class="card{" bad" if stands.is_bad else ""}"><header><h4>{escaped(plan.name)}</h4>'
        f'<span class="status{" bad" if stands.is_bad else ""}">{stands.sign} {escaped(stands.words)}</span>'
        f'<span class="soft small">{escaped(span_text(shot.timecode_in, shot.timecode_out))}, '
        f"frames {plan.first} to {plan.last} ({count_text(length, 'frame')})</span></header>",
        _flags(shot),
        f"<p>{escaped(_sentence(plan.reason))}</p>" if plan.reason else "",
        _pictures(version, shot, stills) if stills else "",
        f'<div class="halves"><div>{_figures_table(version, shot)}</div>{_done(version, shot)}</div></article>',
    ]
    return "".join(parts)


def _sentence(text: str) -> str:
    text = text.strip()
    return text[:1].upper() + text[1:] + ("" if text.endswith((".", "!", "?")) else ".")


def _flags(shot: LoggedShot) -> str:
    if not shot.flags:
        return ""
    items = "".join(
        f"<li>▲ {escaped(FLAG_WORDS.get(flag.code, flag.code))}: {escaped(flag.text)}</li>" for flag in shot.flags
    )
    return f'<ul class="flags">{items}</ul>'


def _figures_table(version: Version, shot: LoggedShot) -> str:
    screen, limits = version.screen, version.limits
    budget, _ = range_budget(limits)
    edge = f"{EDGE_TOLERANCE_PCT:.2f} %"
    rows = [
        _row(version, shot, "Near", "near_pct", pct_text(limits.near_pct)),
        _row(version, shot, "Far", "far_pct", pct_text(limits.far_pct)),
        _row(version, shot, "Median", "median_pct", ""),
        _row(version, shot, "Range within a frame", "range_pct", f"{budget:.2f} %"),
        _row(version, shot, "At the left edge", "left_edge_pct", ""),
        _row(version, shot, "At the right edge", "right_edge_pct", ""),
        _row(version, shot, "In front of the left edge", "left_excess_pct", edge),
        _row(version, shot, "In front of the right edge", "right_excess_pct", edge),
    ]
    measured = "; ".join(f"{when} {_measured_text(f)}" for when, f in (("before", shot.before), ("after", shot.after)))
    return (
        '<div class="box"><table><thead><tr><th scope="col">Parallax</th><th scope="col" class="n">before</th>'
        '<th scope="col" class="n">after</th><th scope="col" class="n">after on '
        f'{escaped(screen.name)}</th><th scope="col" class="n">limit</th></tr></thead><tbody>{"".join(rows)}'
        f'</tbody></table></div><p class="soft small">Frames measured: {measured}.</p>'
    )


def _measured_text(figures: Figures | None) -> str:
    return "none" if figures is None else f"{figures.measured_frames} of {figures.frames}"


def _row(version: Version, shot: LoggedShot, word: str, name: str, limit: str) -> str:
    before, after = (
        math.nan if figures is None else float(getattr(figures, name)) for figures in (shot.before, shot.after)
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
    there = f'{mm}<span class="small">{angle}</span>' if angle else mm
    return (
        f'<tr><th scope="row">{word}</th><td class="n">{text(before)}</td><td class="n">{text(after)}</td>'
        f'<td class="n">{there or "–"}</td><td class="n">{limit or "–"}</td></tr>'
    )


def _done(version: Version, shot: LoggedShot) -> str:
    low, high = shot.applied_hit_px
    width = version.clip.width_px
    entries = [("Moved (HIT)", _spread(low, high, width, version))]
    run = slice(shot.plan.first, shot.plan.last + 1)
    if shot.is_moved:
        eyes = (f"{eye} eye {_eye_move(version.frames[f'{eye}_move_px'][run])}" for eye in ("left", "right"))
        entries.append(("Share of each eye", ", ".join(eyes)))
        entries.append(("Bare columns", f"{shot.plan.fill}: {_FILL_WORDS[shot.plan.fill]}"))
    entries.append(("Enlarged", f"× {shot.plan.zoom:.4f}" if shot.plan.zoom != 1.0 else "no"))
    if shot.is_aligned and shot.plan.misalignment is not None:
        entries.append(("Taken out", f"the right eye lay {lay_words(shot.plan.misalignment)}"))
    for side in ("left", "right"):
        entries.append((f"Window, {side} edge of the {side} eye", _window(version, run, side)))
    if shot.plan.locked:
        entries.append(("Decided by", "a person (locked in the plan)"))
    items = "".join(f"<dt>{escaped(word)}</dt><dd>{escaped(text)}</dd>" for word, text in entries)
    return f'<dl class="done">{items}</dl>'


def _spread(low_px: float, high_px: float, width_px: int, version: Version) -> str:
    def one(px: float) -> str:
        pct = px * 100.0 / width_px
        return f"{pct_text(pct)} ({px_text(px)}, {mm_text(pct, version.screen)})"

    if low_px == high_px:
        return one(low_px) if low_px else "no"
    return f"{one(low_px)} to {one(high_px)}, eased"


def _eye_move(px: np.ndarray[tuple[int], np.dtype[np.float64]]) -> str:
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


def _pictures(version: Version, shot: LoggedShot, stills: Stills) -> str:
    frame, why = frame_to_show(version, shot)
    timecode = version.frames.timecodes[frame]
    place = ", ".join(filter(None, (f"frame {frame}", escaped(timecode), why)))
    name = escaped(shot.plan.name)
    before, after = stills.before_rgb(frame), stills.after_rgb(frame)
    strips = hidden_strips(version, shot, frame)
    if before is None:
        missing = escaped(stills.before_missing or "this frame could not be decoded")
        first = f'<div class="nothing">No picture from before: {missing}.</div>'
    else:
        alt = f"Shot {name} before, {place}, both eyes in red and cyan"
        first = _figure(anaglyph(*before), ANAGLYPH_PX, alt, f"Before: {place}")
    alt = f"Shot {name} after, {place}, both eyes in red and cyan"
    second = _figure(anaglyph(*after), ANAGLYPH_PX, alt, f"After, for {escaped(version.screen.name)}")
    eyes = []
    if before is not None:
        eyes.append(_eyes(before, (NO_STRIPS, NO_STRIPS), f"Shot {name} before, left eye then right eye", "Before"))
    eyes.append(
        _eyes(
            after,
            strips,
            f"Shot {name} after, left eye then right eye, hidden strips hatched",
            "After, hidden strips hatched",
        )
    )
    return (
        f'<div class="pair">{first}{second}</div><details><summary>Left and right eye</summary>'
        f'<div class="pair">{"".join(eyes)}</div></details>'
    )


def _eyes(pair: tuple[Rgb, Rgb], strips: tuple[Sides, Sides], alt: str, caption: str) -> str:
    marked = []
    for picture, sides in zip(pair, strips):
        small = fit_within(picture, EYE_PX)
        scale = small.shape[1] / picture.shape[1]
        left_px, right_px = ((top * scale, bottom * scale) for top, bottom in sides)
        marked.append(with_window_outline(small, left_px, right_px))
    return _figure(side_by_side(marked[0], marked[1]), 2 * EYE_PX + 6, alt, f"{caption}: left eye, right eye")


def _figure(rgb: Rgb, width: int, alt: str, caption: str) -> str:
    small = fit_within(rgb, width)
    data = base64.b64encode(jpeg_bytes(small)).decode("ascii")
    height, wide = small.shape[:2]
    return (
        f'<figure><img src="data:image/jpeg;base64,{data}" width="{wide}" height="{height}" alt="{alt}">'
        f"<figcaption>{caption}</figcaption></figure>"
    )


def limit_rows(version: Version) -> str:
    """Table of a screen's limits in percent, millimetres and arcminutes, with the rule behind each; HTML."""
    limits, screen = version.limits, version.screen
    budget, budget_rule = range_budget(limits)
    rows = [
        (
            "Far",
            pct_text(limits.far_pct),
            mm_text(limits.far_pct, screen),
            arcmin_text(limits.far_pct, screen),
            limits.far_rule,
        ),
        (
            "Near",
            pct_text(limits.near_pct),
            mm_text(limits.near_pct, screen),
            arcmin_text(limits.near_pct, screen),
            limits.near_rule,
        ),
        (
            "Range within a frame",
            f"{budget:.2f} %",
            f"{signed(budget * screen.width_mm / 100.0, 0).lstrip('+')} mm",
            range_arcmin_text(budget, screen),
            budget_rule,
        ),
        (
            "In front of a side edge",
            f"{EDGE_TOLERANCE_PCT:.2f} %",
            mm_text(EDGE_TOLERANCE_PCT, screen).lstrip("+"),
            "–",
            "",
        ),
    ]
    body = "".join(
        f'<tr><th scope="row">{word}</th><td class="n">{pct}</td><td class="n">{mm}</td><td class="n">{angle}</td>'
        f"<td>{escaped(rule) or 'what the measurement of edges can tell (project default)'}</td></tr>"
        for word, pct, mm, angle, rule in rows
    )
    return (
        '<div class="box"><table><thead><tr><th scope="col">Limit</th><th scope="col" class="n">of width</th>'
        '<th scope="col" class="n">on the screen</th><th scope="col" class="n">angle</th><th scope="col">rule</th>'
        f"</tr></thead><tbody>{body}</tbody></table></div>"
    )
