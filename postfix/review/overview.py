"""The table of shots and screens at the top of a clip: how each shot stands on each, in few words and figures.

It is whole without any script. A film has thousands of rows: end tags that HTML lets out are left out, and quotes
about plain values. On screens its rows are laid out one by one, so that only those in sight cost anything;
the roles keep it a table for those who have it read to them. What a script needs for filters and sorting stands in
``data-`` attributes; the controls are hidden until it has woken them.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

from postfix.plan.geometry import widest_px
from postfix.review.clips import ReviewedClip, ReviewedShot
from postfix.review.logged import LoggedShot, Version
from postfix.review.verdict import cannot_fit, holds_bad_frames, verdict, worst
from postfix.review.words import count_text, escaped, frames_text, pct_text, signed

CHANGED, FLAGGED, MISFIT, NOTED = "c", "f", "m", "n"
"""Letters in a cell's ``data-is``: what a filter that looks at one screen goes by."""

PRINTS_SIDE_BY_SIDE = 4
"""Screens whose columns go side by side on A4; with more of them each row prints its cells beneath its name, and each
cell says which screen it is of."""

_HEAD = '<th role="columnheader" scope="col"'


def overview(clip: ReviewedClip) -> str:
    """HTML of a clip's summary, filters and table.

    Returns
    -------
    str
        Rows have ``data-card`` (their card's anchor), and ``data-in`` and ``data-out`` (timecodes, where there are
        any). Cells of a screen have ``data-is`` (letters: :data:`CHANGED`, :data:`FLAGGED`, :data:`MISFIT`,
        :data:`NOTED`), ``data-worst`` (excess over the limit) and ``data-hit``, both percent of width, empty where
        nothing is known.
    """
    rows = "".join(_row(number, shot, clip.versions) for number, shot in enumerate(clip.shots, start=1))
    heads = "".join(
        f'{_HEAD} data-screen="{index}">{escaped(version.screen.name)}</th>'
        for index, version in enumerate(clip.versions)
    )
    name = escaped(clip.name)
    many = " many" if len(clip.versions) > PRINTS_SIDE_BY_SIDE else ""
    return (
        f'<div class="overview" id="{clip.ident}-overview">{_summary(clip)}{_filters(clip)}'
        f'<div class="rows{many}" tabindex="0" role="region" aria-label="Shots and screens of {name}">'
        f'<table role="table" style="--screens:{len(clip.versions)}"><thead role="rowgroup"><tr role="row">'
        f'{_HEAD} class="col-no" data-sort="no">No.</th>{_HEAD} class="col-shot" data-sort="name">Shot</th>'
        f'{_HEAD} class="col-frames" data-sort="frames">Frames</th>{heads}</tr></thead>'
        f'<tbody role="rowgroup">{rows}</tbody></table></div></div>'
    )


def _row(number: int, shot: ReviewedShot, versions: Sequence[Version]) -> str:
    cells = []
    for version, result in zip(versions, shot.results):
        on = f' data-on="{escaped(version.screen.name)}"' if len(versions) > PRINTS_SIDE_BY_SIDE else ""
        if result is None:
            cells.append(f'<td role=cell{on} data-is=""><small>not cut like this here</small>')
            continue
        cells.append(_cell(version, result, on))
    result = shot.any_result
    first, last = result.timecode_in, result.timecode_out
    codes = f' data-in="{escaped(first)}" data-out="{escaped(last)}"' if first else ""
    return (
        f"<tr role=row data-card={shot.ident}{codes}><td role=cell class=n>{number}"
        f'<th role=rowheader scope=row><a href="#{shot.ident}">{escaped(shot.name)}</a>'
        f"{_small(first)}{_small(frames_text(shot.first, shot.last))}"
        f"<td role=cell class=n>{shot.last - shot.first + 1}{''.join(cells)}"
    )


def _marks(version: Version, shot: LoggedShot) -> str:
    return "".join(
        mark
        for mark, is_so in (
            (CHANGED, shot.is_changed),
            (FLAGGED, verdict(version, shot).is_bad),
            (MISFIT, cannot_fit(shot)),
            (NOTED, _notices(shot) > 0),
        )
        if is_so
    )


def _cell(version: Version, shot: LoggedShot, on: str) -> str:
    stands, figure = verdict(version, shot), worst(shot, version.limits)
    low, high = (px * 100.0 / version.clip.width_px for px in shot.applied_hit_px)
    most = max(low, high, key=abs)
    done = "; ".join(filter(None, (_hit_text(low, high), _drawn_text(shot), _window_text(shot))))
    bad = " class=bad" if stands.is_bad else ""
    return (
        f'<td role=cell{bad}{on} data-is="{_marks(version, shot)}" data-worst="{_number(figure.excess_pct)}" '
        f'data-hit="{_number(most)}">'
        f"<strong>{stands.sign} {escaped(stands.words)}</strong>{_small(figure.text)}{_small(done)}"
        f"{_small(f'△ {_notices(shot)} noted' if _notices(shot) else '')}"
    )


def _notices(shot: LoggedShot) -> int:
    """How many things are told of a shot that a person should know."""
    return 0 if shot.story is None else len(shot.story.notices)


def _small(text: str) -> str:
    """A line of small print whose figures keep their units; nothing where there is no text."""
    kept = text.replace(" %", "\N{NO-BREAK SPACE}%").replace(" px", "\N{NO-BREAK SPACE}px")
    return f"<small>{escaped(kept)}</small>" if text else ""


def _number(value: float) -> str:
    return f"{value + 0.0:.3f}" if math.isfinite(value) else ""


def _hit_text(low_pct: float, high_pct: float) -> str:
    """HIT as applied, percent of width; empty where there is none."""
    if low_pct == high_pct:
        return f"HIT {pct_text(low_pct)}" if low_pct else ""
    return f"HIT {signed(low_pct, 2)} to {pct_text(high_pct)}"


def _drawn_text(shot: LoggedShot) -> str:
    aligned = "aligned" if shot.is_aligned else ""
    enlarged = f"× {shot.plan.zoom:.3f}" if shot.plan.zoom != 1.0 else ""
    return ", ".join(filter(None, (aligned, enlarged)))


def _window_text(shot: LoggedShot) -> str:
    """Widest window at each side, in pixels; empty where there is none."""
    sides = [f"{side} {px:.4g} px" for side, px in zip(("left", "right"), widest_px(shot.plan.window)) if px > 0.0]
    return f"window {', '.join(sides)}" if sides else ""


def _summary(clip: ReviewedClip) -> str:
    """One paragraph: how many shots, and what became of them on each screen."""
    what = f"{count_text(len(clip.shots), 'shot')} on {count_text(len(clip.versions), 'screen')}"
    stands = [verdict(version, shot) for version in clip.versions for shot in version.shots]
    bad = sum(one.is_bad for one in stands)
    unmeasured = sum(shot.after is None for version in clip.versions for shot in version.shots)
    results = f"{count_text(len(stands), 'result')} ({what})"
    if bad:
        verb = "stays outside its" if bad == 1 else "stay outside their"
        damaged = any(holds_bad_frames(shot) for version in clip.versions for shot in version.shots)
        unread = f", {'has' if bad == 1 else 'have'} frames that cannot be read" if damaged else ""
        first = f"{bad} of {results} {verb} limits{unread} or could not be judged (▲ and ?)."
    elif unmeasured:
        first = f"{unmeasured} of {results} {'was' if unmeasured == 1 else 'were'} not measured after the change."
    else:
        first = f"{what}. Everything that was measured is within its limits."
    lines = [first, *(_screen_summary(version) for version in clip.versions)]
    return f'<p class="summary">{"<br>".join(map(escaped, lines))}</p>'


def _screen_summary(version: Version) -> str:
    shots = version.shots
    stands = [verdict(version, shot) for shot in shots]
    misfits = sum(map(cannot_fit, shots))
    counts = (
        (sum(shot.is_moved and not shot.is_windowed for shot in shots), "moved"),
        (sum(shot.is_windowed and not shot.is_moved for shot in shots), "windowed"),
        (sum(shot.is_moved and shot.is_windowed for shot in shots), "moved and windowed"),
        (sum(not shot.is_changed for shot in shots), "left as shot"),
        (misfits, "outside their limits"),
        (sum(one.is_bad for one in stands) - misfits, "not judged"),
        (sum(shot.after is None for shot in shots), "not measured after the change"),
    )
    told = ", ".join(f"{count} {word}" for count, word in counts if count)
    return f"{version.screen.name}: {told}."


def _filters(clip: ReviewedClip) -> str:
    """Controls of the table, asleep until a script takes them up."""
    words = [("changed", "changed"), ("flagged", "flagged"), ("misfit", "cannot fit")]
    if any(_notices(shot) for version in clip.versions for shot in version.shots):
        words.append(("noted", "△ noted"))
    boxes = "".join(f'<label><input type="checkbox" data-filter="{word}">{text}</label>' for word, text in words)
    screens = "".join(
        f'<option value="{index}">{escaped(version.screen.name)}</option>'
        for index, version in enumerate(clip.versions)
    )
    return (
        f'<div class="filters" role="group" aria-label="Show only some shots of {escaped(clip.name)}" hidden>'
        f'{boxes}<label>on<select data-filter="screen" aria-label="on which screen">'
        f'<option value="">any screen</option>{screens}</select></label>'
        '<label class="text">name or timecode<input type="search" data-filter="text" autocomplete="off" '
        'spellcheck="false"></label><button type="button" data-filter="none">Show all</button></div>'
        '<p class="count" role="status" aria-live="polite" hidden></p>'
    )
