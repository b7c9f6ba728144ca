"""The screens of a clip: their size, their limits with the rule behind each, and the files made for them."""

from __future__ import annotations

from postfix.plan.figures import EDGE_TOLERANCE_PCT, range_budget
from postfix.review.clips import ReviewedClip
from postfix.review.logged import Version
from postfix.review.words import arcmin_text, escaped, fact_list, mm_text, pct_text, range_arcmin_text, signed


def screens_html(clip: ReviewedClip) -> str:
    """A part for each screen of a clip."""
    parts = [_screen(version, f"{clip.ident}s{index}") for index, version in enumerate(clip.versions)]
    return f"<h3>Screens and their limits</h3>{''.join(parts)}"


def _screen(version: Version, ident: str) -> str:
    screen = version.screen
    facts = fact_list(
        ("Picture width", f"{screen.width_mm:g} mm"),
        ("Viewing distance", f"{screen.distance_mm:g} mm"),
        ("Eye distance", f"{screen.eye_mm:g} mm"),
        *((("Taken from", screen.note),) if screen.note else ()),
    )
    return (
        f'<section class="limits" id="{ident}"><h4>{escaped(screen.name)}</h4>{facts}{_limits(version)}'
        f"{_files(version)}</section>"
    )


def _limits(version: Version) -> str:
    """Table of a screen's limits in percent, millimetres and arcminutes, with the rule behind each."""
    limits, screen = version.limits, version.screen
    budget, budget_rule = range_budget(limits)
    rows = [
        (
            word,
            pct_text(pct),
            mm_text(pct, screen),
            arcmin_text(pct, screen),
            rule,
        )
        for word, pct, rule in (
            ("Far", limits.far_pct, limits.far_rule),
            ("Near", limits.near_pct, limits.near_rule),
        )
    ]
    rows += [
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
            "what the measurement of edges can tell (project default)",
        ),
    ]
    body = "".join(
        f'<tr><th scope="row">{word}</th><td class="n">{pct}</td><td class="n">{mm}</td><td class="n">{angle}</td>'
        f"<td>{escaped(rule)}</td></tr>"
        for word, pct, mm, angle, rule in rows
    )
    label = f"Limits on {escaped(screen.name)}"
    return (
        f'<div class="box" tabindex="0" role="region" aria-label="{label}"><table><thead><tr><th scope="col">Limit</th>'
        '<th scope="col" class="n">of width</th><th scope="col" class="n">on the screen</th>'
        '<th scope="col" class="n">angle</th><th scope="col">rule</th></tr></thead>'
        f"<tbody>{body}</tbody></table></div>"
    )


def _files(version: Version) -> str:
    rows = "".join(
        f'<tr><td>{what}</td><td>{escaped(file.eye)}</td><td>{escaped(file.path)}</td><td class="n">{file.frames}</td>'
        f"<td><code>{escaped(file.sha256)}</code></td></tr>"
        for what, files in (("source", version.sources), ("output", version.outputs))
        for file in files
    )
    label = f"Files of {escaped(version.screen.name)}"
    return (
        f'<details><summary>Files and checksums</summary><div class="box" tabindex="0" role="region" '
        f'aria-label="{label}"><table class="small"><thead><tr>'
        '<th scope="col">what</th><th scope="col">eye</th><th scope="col">path</th>'
        '<th scope="col" class="n">frames</th>'
        f'<th scope="col">SHA-256</th></tr></thead><tbody>{rows}</tbody></table></div></details>'
    )
