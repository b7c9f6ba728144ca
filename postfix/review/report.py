"""The review page of a finished job: one HTML file that needs no network and no script."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from pathlib import Path

from postfix.deliver.staging import check_output, staged
from postfix.measure.suspicions import reading_words
from postfix.review.cards import card, limit_rows
from postfix.review.charts import MOST_COLUMNS, depth_chart, edge_chart
from postfix.review.logged import LoggedShot, Version
from postfix.review.meaning import CAUTION, meaning
from postfix.review.runs import find_versions
from postfix.review.stills import Stills, open_stills_of
from postfix.review.style import CSS
from postfix.review.verdict import needs_a_look, verdict
from postfix.review.words import count_text, escaped, span_text
from postfix.source.pair import AS_GIVEN

REPORT = "report.html"

MOST_PICTURES = 60
"""Shots that get pictures on one page: changed or flagged ones, in order. Keeps the file small enough to send."""

_TALL_ROWS = 24


def check_report(out: Path) -> None:
    """Refuse, before the page is made, what :func:`write_report` would refuse of its logs and its place."""
    find_versions(out)
    check_output(out / REPORT, force=True)


def write_report(out: Path) -> Path:
    """Write ``out/report.html`` from what a finished job left under ``out``.

    The same folder gives the same bytes: nothing in the page depends on when it was made.

    Parameters
    ----------
    out : Path
        With ``<screen>/changes.json`` and ``changes.csv``, or ``<clip>/<screen>/…`` for many clips, or both files
        themselves for a single version.

    Returns
    -------
    Path
        Of the page. An older page is replaced.

    Raises
    ------
    InputError
        Where there is no change log, one cannot be read, or the pictures it names as outputs are missing.
    OutputError
        Where the page cannot be written.
    """
    groups = find_versions(out)
    text = page(groups)
    path = out / REPORT
    with staged(path, force=True) as temporary:
        temporary.write_text(text, encoding="utf-8", newline="\n")
    return path


def page(groups: Mapping[str, Sequence[Version]]) -> str:
    """The page for versions grouped by clip, each group of the same clip on several screens."""
    versions = [version for group in groups.values() for version in group]
    pictured = _pictured(versions)
    names = ", ".join(group[0].clip.name for group in groups.values())
    several = len(groups) > 1
    body = [f"<h1>{escaped('Review of ' + (names if not several else count_text(len(groups), 'clip')))}</h1>"]
    body.append("" if several else _clip_facts(groups[next(iter(groups))]))
    body.append(f'<aside class="caution"><strong>Before anything else.</strong> {CAUTION}</aside>')
    for index, group in enumerate(groups.values()):
        body.append(_clip(group, f"c{index}", pictured, several))
    body.append(meaning())
    body.append(_footer(versions))
    return (
        '<!DOCTYPE html>\n<html lang="en"><head><meta charset="utf-8">'
        '<meta name="viewport" content="width=device-width, initial-scale=1">'
        f"<title>{escaped('Review of ' + names)}</title><style>{CSS}</style></head>\n"
        f"<body><main>{chr(10).join(part for part in body if part)}</main></body></html>\n"
    )


def _pictured(versions: Iterable[Version]) -> set[tuple[Path, int]]:
    """Which shots get pictures: the first :data:`MOST_PICTURES` that were changed or flagged."""
    wanted = [(version.folder, shot.plan.first) for version in versions for shot in version.shots if needs_a_look(shot)]
    return set(wanted[:MOST_PICTURES])


def _clip_facts(group: Sequence[Version]) -> str:
    version = group[0]
    clip, codes = version.clip, version.frames.timecodes
    rate = f"{clip.rate} frames/s" if clip.rate.denominator == 1 else f"{clip.rate} ({float(clip.rate):.3f}) frames/s"
    doubts = "".join(f'<p class="caution">{escaped(text)}</p>' for text in version.suspicions)
    facts = _facts(
        ("Clip", clip.name),
        ("Frames", f"{clip.frames} in {count_text(len(version.shots), 'shot')}"),
        ("Rate", rate),
        ("Size", f"{clip.width_px} × {clip.height_px}"),
        ("Timecode", span_text(codes[0], codes[-1])),
        *((("Eyes", reading_words(version.reading)),) if version.reading != AS_GIVEN else ()),
        ("Made with", ", ".join(sorted({v.tool for v in group}))),
    )
    told = "".join(f"<li>{escaped(text)}</li>" for text in version.remarks)
    return facts + doubts + (f"<h3>What the source shows besides</h3><ul>{told}</ul>" if told else "")


def _facts(*entries: tuple[str, str]) -> str:
    items = "".join(f"<div><dt>{escaped(word)}</dt><dd>{escaped(text)}</dd></div>" for word, text in entries)
    return f'<dl class="facts">{items}</dl>'


def _clip(group: Sequence[Version], ident: str, pictured: set[tuple[Path, int]], several: bool) -> str:
    parts = []
    if several:
        parts.append(f"<h2>Clip {escaped(group[0].clip.name)}</h2>{_clip_facts(group)}")
    parts.append(f"<h2>{'Shots and screens'}</h2>{_summary(group)}{_overview(group, ident)}")
    for index, version in enumerate(group):
        parts.append(_screen(version, f"{ident}s{index}", pictured))
    return "\n".join(parts)


def _summary(group: Sequence[Version]) -> str:
    stands = [verdict(version, shot) for version in group for shot in version.shots]
    bad = sum(one.is_bad for one in stands)
    unmeasured = sum(not one.is_bad and "not measured" in one.words for one in stands)
    text = f"{count_text(len(group[0].shots), 'shot')} on {count_text(len(group), 'screen')}: "
    if bad:
        text += f"{bad} of {len(stands)} stay outside their limits or could not be judged (▲ and ?)."
    elif unmeasured:
        text += f"{unmeasured} of {len(stands)} were not measured after the change."
    else:
        text += "everything that was measured is within its limits."
    return f"<p>{escaped(text)}</p>"


def _overview(group: Sequence[Version], ident: str) -> str:
    """Table of shots × screens; a shot that only one screen's plan knows has empty cells elsewhere."""
    by_screen = [{_key(shot): shot for shot in version.shots} for version in group]
    keys = sorted({key for shots in by_screen for key in shots}, key=lambda key: (key[1], key[2], key[0]))
    head = "".join(
        f'<th scope="col"><a href="#{ident}s{index}">{escaped(version.screen.name)}</a></th>'
        for index, version in enumerate(group)
    )
    rows = []
    for key in keys:
        cells = []
        for index, (version, shots) in enumerate(zip(group, by_screen)):
            shot = shots.get(key)
            cells.append("<td>–</td>" if shot is None else _cell(version, shot, f"{ident}s{index}"))
        rows.append(
            f'<tr><th scope="row">{escaped(key[0])}<span class="small soft"><br>{key[1]} to {key[2]}</span></th>'
            f"{''.join(cells)}</tr>"
        )
    tall = " tall" if len(rows) > _TALL_ROWS else ""
    return (
        f'<div class="box{tall}"><table><thead><tr><th scope="col">Shot, frames</th>{head}</tr></thead>'
        f"<tbody>{''.join(rows)}</tbody></table></div>"
    )


def _key(shot: LoggedShot) -> tuple[str, int, int]:
    return shot.plan.name, shot.plan.first, shot.plan.last


def _cell(version: Version, shot: LoggedShot, ident: str) -> str:
    stands = verdict(version, shot)
    bad = " bad" if stands.is_bad else ""
    return (
        f'<td><a class="status{bad}" href="#{ident}f{shot.plan.first}">{stands.sign} {escaped(stands.words)}</a>'
        f'<span class="small">{escaped(stands.worst)}</span></td>'
    )


def _screen(version: Version, ident: str, pictured: set[tuple[Path, int]]) -> str:
    screen = version.screen
    stills = open_stills_of(version)
    parts = [
        f'<section id="{ident}"><h2>{escaped(screen.name)}</h2>',
        _facts(
            ("Picture width", f"{screen.width_mm:g} mm"),
            ("Viewing distance", f"{screen.distance_mm:g} mm"),
            ("Eye distance", f"{screen.eye_mm:g} mm"),
            *((("Taken from", screen.note),) if screen.note else ()),
        ),
        limit_rows(version),
        "<h3>Depth over time</h3>",
        f'<div class="box">{depth_chart(version, ident + "d")}</div>{_DEPTH_LEGEND}',
        "<h3>Side edges over time</h3>",
        f'<div class="box">{edge_chart(version, ident + "e")}</div>{_EDGE_LEGEND}',
    ]
    if version.clip.frames > MOST_COLUMNS:
        parts.append(
            '<p class="soft small">Several frames share a column of the charts, which keeps their extremes.</p>'
        )
    parts.append("<h3>Shots</h3>")
    parts += [f"<p>{escaped(text)}</p>" for text in _picture_notes(version, stills, pictured)]
    for shot in version.shots:
        with_pictures = (version.folder, shot.plan.first) in pictured
        parts.append(
            f'<div id="{ident}f{shot.plan.first}">{card(version, shot, stills if with_pictures else None)}</div>'
        )
    parts.append(_files(version))
    parts.append("</section>")
    return "\n".join(parts)


def _picture_notes(version: Version, stills: Stills, pictured: set[tuple[Path, int]]) -> list[str]:
    notes = [
        "Anaglyphs are for red (left eye) and cyan (right eye) glasses. "
        "Pictures are shown for shots that were changed or flagged."
    ]
    left_out = sum(needs_a_look(shot) and (version.folder, shot.plan.first) not in pictured for shot in version.shots)
    if left_out:
        notes.append(
            f"{count_text(left_out, 'changed or flagged shot')} of this screen have no pictures here: the page shows "
            f"the first {MOST_PICTURES} only, to stay small."
        )
    if stills.before is None:
        notes.append(
            f"There are no pictures from before: the source cannot be used any more ({stills.before_missing})."
        )
    return notes


def _files(version: Version) -> str:
    rows = "".join(
        f'<tr><td>{what}</td><td>{escaped(file.eye)}</td><td>{escaped(file.path)}</td><td class="n">{file.frames}</td>'
        f"<td><code>{escaped(file.sha256)}</code></td></tr>"
        for what, files in (("source", version.sources), ("output", version.outputs))
        for file in files
    )
    return (
        '<details><summary>Files and checksums</summary><div class="box"><table class="small"><thead><tr>'
        '<th scope="col">what</th><th scope="col">eye</th><th scope="col">path</th>'
        '<th scope="col" class="n">frames</th>'
        f'<th scope="col">SHA-256</th></tr></thead><tbody>{rows}</tbody></table></div></details>'
    )


def _footer(versions: Sequence[Version]) -> str:
    made = sorted(
        {f"{version.tool} ({version.libraries})" if version.libraries else version.tool for version in versions}
    )
    return f"<footer>Figures from the change log of {escaped('; '.join(made))}.</footer>"


def _swatch(markup: str, words: str) -> str:
    return f'<li><svg class="chart" viewBox="0 0 34 14" aria-hidden="true">{markup}</svg>{words}</li>'


def _legend(*entries: tuple[str, str]) -> str:
    return f'<ul class="legend">{"".join(_swatch(*entry) for entry in entries)}</ul>'


_DEPTH_LEGEND = _legend(
    ('<path class="before-band" d="M1 2H33V12H1Z"/>', "dashed outline: near to far before"),
    ('<path class="after-band" d="M1 2H33V12H1Z"/>', "filled, solid outline: near to far after"),
    ('<path class="after-median" d="M0 7H34"/>', "dotted: median after"),
    ('<path class="limit" d="M0 7H34"/>', "long dashes: limits"),
    ('<path class="cut" d="M17 0V14"/>', "dotted upright: cut"),
)
_EDGE_LEGEND = _legend(
    ('<path class="before-line" d="M0 7H34"/>', "dashed: nearest content at the edge before"),
    ('<path class="after-line" d="M0 7H34"/>', "solid: the same after"),
    (
        '<path class="hatch" d="M3 12L11 2M11 12L19 2M19 12L27 2"/>',
        "hatched: the edge itself after the change, between its top and its bottom; content below all of it is in "
        "front of the edge. Black that was in the source already is not drawn",
    ),
)
