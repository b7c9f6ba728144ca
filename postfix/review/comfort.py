"""Comfort over time: a line for those who look after viewers, and a table by the minute for each screen."""

from __future__ import annotations

from collections.abc import Sequence

from postfix.review.clips import ReviewedClip
from postfix.review.logged import Version
from postfix.review.rhythm import MEASURED_WORDS
from postfix.review.words import escaped
from postfix.story.model import Stretch
from postfix.story.over_time import ClipOnScreen, programmes

_HEADS = (
    "measured",
    "beyond 60 arcmin",
    "eyes apart",
    "in front",
    "hard jumps",
    "quick cuts",
    "cuts not judged",
)


def comfort_html(clip: ReviewedClip) -> str:
    """The part of a clip; empty where no log tells of it."""
    parts = [_screen(version) for version in clip.versions if version.story is not None]
    if not parts:
        return ""
    return (
        '<section class="comfort"><h3>Comfort over time</h3><p>Seconds, and percent of what was measured, in which '
        "something lay more than 60 arcmin in front of or behind the screen, in which the eyes had to turn apart, and "
        f"in which anything lay in front of the screen.</p>{''.join(parts)}</section>"
    )


def programmes_html(clips: Sequence[ReviewedClip]) -> str:
    """All clips of a page together, for each screen that several were made for; empty where there is none."""
    parts = [
        ClipOnScreen(
            version.screen,
            version.jump_arcmin,
            float(version.clip.frames / version.clip.rate),
            None if version.story is None else version.story.whole,
            version.story is not None and version.story.measured_on == "planned",
        )
        for clip in clips
        for version in clip.versions
    ]
    told = programmes(parts) if any(part.whole is not None for part in parts) else ()
    items = "".join(
        f"<p><strong>{escaped(one.screen)}</strong>, {one.clips} clips: {escaped(one.line)}</p>" for one in told
    )
    return f'<section class="comfort"><h2>All clips together</h2>{items}</section>' if items else ""


def _screen(version: Version) -> str:
    story = version.story
    assert story is not None
    name = escaped(version.screen.name)
    rows = [_row("Whole clip", story.whole), *(_row(_span(one), one) for one in story.minutes)]
    heads = "".join(f'<th scope="col" class="n">{head}</th>' for head in _HEADS)
    line = f"<p>{escaped(story.line)}</p>" if story.line else ""
    return (
        f'<h4>On {name}</h4>{line}<p class="soft">{MEASURED_WORDS[story.measured_on]}</p>'
        f"<details><summary>By the minute</summary>"
        f'<div class="box" tabindex="0" role="region" aria-label="Comfort over time on {name}"><table><thead><tr>'
        f'<th scope="col">Time</th>{heads}</tr></thead><tbody>{"".join(rows)}</tbody></table></div></details>'
    )


def _row(word: str, one: Stretch) -> str:
    measured = f"{one.measured_s:.1f} s of {one.length_s:.1f} s"
    cells = [measured, *(_part(seconds, one) for seconds in (one.beyond_s, one.apart_s, one.front_s))]
    cells += [str(one.hard_jumps), str(one.quick_cuts), f"{one.unknown_cuts} of {one.cuts}"]
    return f'<tr><th scope="row">{word}</th>{"".join(f"<td class=n>{cell}</td>" for cell in cells)}</tr>'


def _part(seconds: float, one: Stretch) -> str:
    """Seconds with their share of what was measured; words where nothing was."""
    if one.measured_s <= 0.0:
        return "not measured"
    return f'{seconds:.1f} s<span class="small">{100.0 * min(seconds / one.measured_s, 1.0):.1f} %</span>'


def _span(one: Stretch) -> str:
    if one.length_s < 0.1:
        return f"{_clock(one.start_s)}, under 0.1 s"
    return f"{_clock(one.start_s)} to {_clock(one.start_s + one.length_s)}"


def _clock(seconds: float) -> str:
    """``1:02:03``, ``2:03``; parts of a second only where there are any."""
    tenths = round(seconds * 10.0)
    whole, part = divmod(tenths, 10)
    minutes, rest = divmod(whole, 60)
    hours, minutes = divmod(minutes, 60)
    text = f"{hours}:{minutes:02d}:{rest:02d}" if hours else f"{minutes}:{rest:02d}"
    return f"{text}.{part}" if part else text
