"""The review page of a finished job: ``report.html`` with ``report/`` beside it; it needs no network."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from contextlib import AbstractContextManager, contextmanager
from pathlib import Path

from postfix import effort
from postfix.deliver.own import PAGE, PAGE_FOLDER
from postfix.deliver.staging import check_output, staged
from postfix.errors import OutputError
from postfix.measure.suspicions import reading_words
from postfix.review.beside import Beside
from postfix.review.cards import NEEDS_SCRIPTS, card, fill_text, reason_text
from postfix.review.charts import charts_html
from postfix.review.clips import ReviewedClip, ReviewedShot, reviewed_clips
from postfix.review.comfort import comfort_html, programmes_html
from postfix.review.depth import DepthSpan, legend_box, legend_html, span_for
from postfix.review.frames import frames_data
from postfix.review.meaning import CAUTION, meaning
from postfix.review.noted import notice_text
from postfix.review.overview import overview
from postfix.review.page import GENERATOR, html_page, script_element
from postfix.review.repeated import Repeated, repeated_in
from postfix.review.rhythm import rhythm_html
from postfix.review.room import room_svg, room_words
from postfix.review.screens import screens_html
from postfix.review.shot_pictures import picture_sizes, shot_pictures
from postfix.review.stills import Stills, stills_of
from postfix.review.tryout import tryout_data
from postfix.review.words import count_text, escaped, fact_list, span_text
from postfix.source.in_order import in_order
from postfix.source.pair import AS_GIVEN

Bar = Callable[[int], AbstractContextManager[Callable[[int], None]]]
"""From how many shots there are to a bar over them; its value is a call that moves it on by a number of shots."""

_HEAD_BYTES = 4096
"""Of a page, in which its mark stands."""

_MOST_THREADS = 2
"""Each opens both eyes of every version for itself."""


def check_report(out: Path, *, force: bool = False) -> None:
    """Refuse, before the page is made, what :func:`write_report` would refuse of its logs and its place."""
    for clip in reviewed_clips(out):
        stills_of(clip.versions)
    _check_page(out / PAGE, force=force)
    check_output(out / PAGE_FOLDER, folder=True, force=True)


def _check_page(path: Path, *, force: bool) -> None:
    """Refuse a place where the page cannot be written, or where one stands that this program did not write."""
    check_output(path, force=True)
    if not path.is_file() or force:
        return
    with path.open("rb") as file:
        is_ours = GENERATOR.encode() in file.read(_HEAD_BYTES)
    if not is_ours:
        raise OutputError(
            path,
            "a page without the mark of this program, which may be somebody's",
            "a free name, or a page that this program wrote",
            "move it away, or add --force to replace it",
        )


@contextmanager
def _no_bar(total: int) -> Iterator[Callable[[int], None]]:
    yield lambda done: None


def write_report(out: Path, bar: Bar = _no_bar, *, force: bool = False) -> Path:
    """Write ``out/report.html`` and ``out/report/`` from what a finished job left under ``out``.

    The same folder gives the same bytes: nothing in the page depends on when it was made.

    Parameters
    ----------
    out : Path
        With ``<screen>/changes.json`` and ``changes.csv``, or ``<clip>/<screen>/…`` for many clips, or both files
        themselves for a single version.
    bar : Bar
        Shows how far it is.
    force : bool
        Whether a page that this program did not write may be replaced.

    Returns
    -------
    Path
        Of the page. An older page is replaced.

    Raises
    ------
    InputError
        Where there is no change log, one cannot be read, or the pictures it names as outputs are missing.
    OutputError
        Where the page cannot be written, or a person's files lie where its folder would be.
    """
    clips = reviewed_clips(out)
    path = out / PAGE
    _check_page(path, force=force)
    # The page has its name last: what it shows is there by then.
    with (
        staged(path, force=True) as temporary,
        staged(out / PAGE_FOLDER, folder=True, force=True) as folder,
        bar(sum(len(clip.shots) for clip in clips)) as progress,
    ):
        temporary.write_text(_page(clips, Beside(folder), progress), encoding="utf-8", newline="\n")
    return path


def _page(clips: Sequence[ReviewedClip], beside: Beside, progress: Callable[[int], None]) -> str:
    plotly_src = beside.chart_library()
    several = len(clips) > 1
    title = f"Review of {', '.join(clip.name for clip in clips)}"
    heading = f"Review of {count_text(len(clips), 'clip')}" if several else title
    repeated = repeated_in(_sentences(clips))
    body = [
        f"<h1>{escaped(heading)}</h1>",
        f'<aside class="caution"><strong>Before anything else.</strong> {CAUTION}</aside>',
        programmes_html(clips),
        *(_clip(clip, beside, plotly_src, progress, repeated, is_first=clip is clips[0]) for clip in clips),
        meaning(),
        _footer(clips),
    ]
    first = [plotly_src, f"{PAGE_FOLDER}/{clips[0].ident}/frames.js"]
    return html_page(title, f"<main>{chr(10).join(body)}</main>", first, repeated.style)


def _sentences(clips: Sequence[ReviewedClip]) -> Iterator[str]:
    """What cards tell in sentences: reasons, bare columns, flags, and what was noted."""
    for result in (shot for clip in clips for version in clip.versions for shot in version.shots):
        yield reason_text(result)
        if result.is_moved:
            yield fill_text(result)
        yield from (flag.text for flag in result.flags)
        yield from (notice_text(result, one) for one in (result.story.notices if result.story else ()))


def _clip(
    clip: ReviewedClip,
    beside: Beside,
    plotly_src: str,
    progress: Callable[[int], None],
    repeated: Repeated,
    *,
    is_first: bool,
) -> str:
    stills = stills_of(clip.versions)
    span = _depth_span(clip)
    legend, legend_box = _legend(clip, span)
    frames_src = beside.data(f"{clip.ident}/frames", frames_data(clip))

    cards = []
    threads = min(_MOST_THREADS, effort.current().workers)
    each = ((clip, shot, stills, span, beside, legend_box, repeated) for shot in clip.shots)
    for html in in_order(_card, each, threads=threads, waiting=2 * threads, name="cards"):
        cards.append(html)
        progress(1)
    width, across, height = picture_sizes(clip)
    parts = [
        f'<section class="clip" id="{clip.ident}" data-clip="{clip.ident}" '
        f'style="--width:{width};--across:{across};--height:{height}">',
        f"<h2>Clip {escaped(clip.name)}</h2>",
        _facts(clip),
        overview(clip),
        charts_html(clip, frames_src, plotly_src),
        # Before the cards: the chart is drawn while they are still being read.
        script_element() if is_first else "",
        rhythm_html(clip),
        comfort_html(clip),
        screens_html(clip),
        f"<h3>Shots</h3>{_picture_notes(clip, stills)}{NEEDS_SCRIPTS}",
        f'<div class="legend-store">{legend}</div>',
        *cards,
        "</section>",
    ]
    return "\n".join(part for part in parts if part)


def _card(
    clip: ReviewedClip,
    shot: ReviewedShot,
    stills: tuple[Stills, ...],
    span: DepthSpan,
    beside: Beside,
    legend_box: str,
    repeated: Repeated,
) -> str:
    pictures = shot_pictures(clip, shot, stills, span, beside)
    key = shot.ident.replace("n", "/")
    eyes = None if pictures.before is None else pictures.before.eyes
    entries = {
        version.screen.name: result.entry for version, result in zip(clip.versions, shot.results) if result is not None
    }
    tried = tryout_data(clip, shot, eyes, frame=pictures.frame)
    src = beside.data(key, {**tried, "entries": entries, "rooms": _rooms(clip, shot, key, beside)})
    return card(clip, shot, pictures, src, legend_box, repeated)


def _rooms(clip: ReviewedClip, shot: ReviewedShot, key: str, beside: Beside) -> dict[str, dict[str, str]]:
    """Pictures of the room by the name of the screen in it: each one's address, and what it shows in words."""
    rooms = {}
    for index, (version, result) in enumerate(zip(clip.versions, shot.results)):
        if result is not None and result.story is not None and result.story.seats:
            screen, seats = version.screen, result.story.seats
            src = beside.drawing(f"{key}-room{index}", room_svg(screen.name, seats, screen.width_mm))
            rooms[screen.name] = {"src": src, "words": room_words(screen.name, seats)}
    return rooms


def _depth_span(clip: ReviewedClip) -> DepthSpan:
    """One scale for every depth map of a clip, so that a colour means one depth."""
    figures = [shot.any_result.before for shot in clip.shots]
    return span_for(value for one in figures if one is not None for value in (one.near_pct, one.far_pct))


def _legend(clip: ReviewedClip, span: DepthSpan) -> tuple[str, str]:
    """The scale of the depth maps, and its ``viewBox``; cards show it again by its name."""
    screens = [version.screen for version in clip.versions]
    return legend_html(span, screens, f"{clip.ident}-legend"), legend_box(screens)


def _facts(clip: ReviewedClip) -> str:
    version = clip.versions[0]
    facts, codes = version.clip, version.frames.timecodes
    rate = (
        f"{facts.rate} frames/s" if facts.rate.denominator == 1 else f"{facts.rate} ({float(facts.rate):.3f}) frames/s"
    )
    doubts = "".join(f'<p class="caution">{escaped(text)}</p>' for text in version.suspicions)
    told = "".join(f"<li>{escaped(text)}</li>" for text in version.remarks)
    return (
        fact_list(
            *((("Footage", facts.name),) if facts.name != clip.name else ()),
            ("Frames", f"{facts.frames} in {count_text(len(version.shots), 'shot')}"),
            ("Rate", rate),
            ("Size", f"{facts.width_px} × {facts.height_px}"),
            ("Timecode", span_text(codes[0], codes[-1])),
            *((("Eyes", reading_words(version.reading)),) if version.reading != AS_GIVEN else ()),
            ("Made with", ", ".join(sorted({v.tool for v in clip.versions}))),
        )
        + doubts
        + (f"<h3>Remarks about the source</h3><ul>{told}</ul>" if told else "")
    )


def _picture_notes(clip: ReviewedClip, stills: Sequence[Stills]) -> str:
    notes = ["Anaglyphs are for red (left eye) and cyan (right eye) glasses."]
    missing = next((one.before_missing for one in stills if one.before is None), "")
    if missing and all(one.before is None for one in stills):
        notes.append(f"There are no pictures from before: the source cannot be used any more ({missing}).")
    if clip.columns is None:
        notes.append(f"Trying out tells nothing of the side edges: {clip.columns_missing}.")
    return "".join(f"<p>{escaped(text)}</p>" for text in notes)


def _footer(clips: Sequence[ReviewedClip]) -> str:
    made = sorted(
        {
            f"{version.tool} ({version.libraries})" if version.libraries else version.tool
            for clip in clips
            for version in clip.versions
        }
    )
    return f"<footer>Figures from the change log of {escaped('; '.join(made))}.</footer>"
