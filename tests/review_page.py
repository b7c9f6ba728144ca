"""A page around a table of shots: the table, the style sheet, the scripts, and cards with hardly anything in them."""

import json
from base64 import b64encode
from dataclasses import replace
from hashlib import sha256
from importlib.resources import files

from review_job import write_source, write_version

from postfix.plan.model import Flag, HitKey, WindowKey
from postfix.review.clips import ReviewedClip, ReviewedShot, reviewed_clips
from postfix.review.overview import overview
from postfix.review.words import escaped

ASSETS = files("postfix.review") / "assets"
NAN = float("nan")


def asset(name):
    return (ASSETS / name).read_text(encoding="utf-8")


def base_clip(folder, screens=("cinema-12m", "tv-55in")):
    """A clip of three shots on each screen, written to disk and read again."""
    sources = write_source(folder / "source")
    for screen in screens:
        write_version(folder / "out" / screen, sources, screen=screen)
    (clip,) = reviewed_clips(folder / "out")
    return clip


def result(base, name, first, last, *, hit_pct=0.0, window_px=0.0, flags=(), near_pct=0.0, width_px=200):
    """One shot on one screen, with hardly any depth but what is asked for."""
    plan = replace(
        base.plan,
        name=name,
        first=first,
        last=last,
        hit=(HitKey(first, hit_pct),),
        window=(WindowKey(first, (window_px, window_px), (0.0, 0.0)),) if window_px else (),
    )
    zero = dict.fromkeys(("far_pct", "range_pct", "left_excess_pct", "right_excess_pct"), 0.0)
    after = replace(base.after, near_pct=near_pct, **zero)
    hit_px = hit_pct * width_px / 100.0
    return replace(
        base,
        plan=plan,
        timecode_in=timecode(first),
        timecode_out=timecode(last),
        applied_hit_px=(hit_px, hit_px),
        after=after,
        flags=tuple(Flag(code, f"{code} is so") for code in flags),
    )


def timecode(frame):
    return f"01:{frame // 24 // 60:02d}:{frame // 24 % 60:02d}:{frame % 24:02d}"


def clip_of(clip, shots):
    """The clip with other shots: (name, frames, one dict of :func:`result` or None for each screen)."""
    base, first, made = clip.versions[0].shots[0], 0, []
    for number, (name, frames, screens) in enumerate(shots):
        last = first + frames - 1
        results = tuple(None if how is None else result(base, name, first, last, **how) for how in screens)
        made.append(ReviewedShot(f"{clip.ident}n{number}", name, first, last, results))
        first = last + 1
    versions = tuple(
        replace(version, shots=tuple(shot.results[index] for shot in made if shot.results[index] is not None))
        for index, version in enumerate(clip.versions)
    )
    return ReviewedClip(clip.ident, versions, tuple(made), None, "")


def write_page(folder, *clips):
    """The page and the entries of its cards beside it."""
    parts = []
    for clip in clips:
        cards = "".join(_card(clip, shot) for shot in clip.shots)
        parts.append(
            f'<section class="clip" id="{clip.ident}"><h2>{escaped(clip.name)}</h2>{overview(clip)}{cards}</section>'
        )
        beside = folder / "report" / clip.ident
        beside.mkdir(parents=True, exist_ok=True)
        for number, shot in enumerate(clip.shots):
            key = f"{clip.ident}/{number}"
            entries = {version.screen.name: {"name": shot.name} for version in clip.versions}
            script = f"postfix.give({json.dumps(key)}, {json.dumps({'entries': entries})});"
            (beside / f"{number}.js").write_text(script, encoding="utf-8")
    script = asset("load.js") + asset("page.js")
    digest = b64encode(sha256(script.encode()).digest()).decode()
    policy = (
        f"default-src 'none'; img-src file: 'self' data:; script-src file: 'self' 'sha256-{digest}'; "
        "style-src 'unsafe-inline'"
    )
    path = folder / "page.html"
    path.write_text(
        '<!DOCTYPE html><html lang="en"><head><meta charset="utf-8">'
        f'<meta http-equiv="Content-Security-Policy" content="{policy}">'
        '<meta name="viewport" content="width=device-width, initial-scale=1">'
        f"<title>Review</title><style>{asset('style.css')}</style></head><body><main><h1>Review</h1>"
        f"{''.join(parts)}</main><script>{script}</script></body></html>",
        encoding="utf-8",
    )
    return path


def _card(clip, shot):
    number = shot.ident.removeprefix(f"{clip.ident}n")
    key, src = f"{clip.ident}/{number}", f"report/{clip.ident}/{number}.js"
    return (
        f'<article class="card" id="{shot.ident}" data-shot="{number}" data-name="{escaped(shot.name)}" tabindex="-1">'
        f"<header><h4>{escaped(shot.name)}</h4></header><p>{'Words about the shot. ' * 20}</p>"
        f"{_figures(clip)}"
        f'<details class="tryout"><summary>Try another convergence</summary><p>…</p></details>'
        f'<details class="entry" data-key="{key}" data-src="{src}"><summary>Change-log entry</summary></details>'
        "</article>"
    )


def _figures(clip):
    """As wide a table as a card may have: three columns for each screen."""
    screens = "".join(f'<th scope="colgroup" colspan="3">{escaped(v.screen.name)}</th>' for v in clip.versions)
    heads = '<th scope="col" class="n">after</th><th scope="col">on the screen</th><th scope="col" class="n">limit</th>'
    cells = (
        '<td class="n">−12.34 %</td><td class="n">−1234 mm<span class="small">−123.4 arcmin</span></td>'
        '<td class="n">−1.75 %</td>'
    )
    return (
        '<div class="box" tabindex="0" role="region" aria-label="Figures of the shot"><table><thead><tr>'
        f'<th scope="col" rowspan="2">Parallax</th><th scope="col" rowspan="2" class="n">before</th>{screens}</tr>'
        f"<tr>{heads * len(clip.versions)}</tr></thead><tbody>"
        '<tr><th scope="row">In front of the right edge</th><td class="n">−12.34 %</td>'
        f"{cells * len(clip.versions)}</tr></tbody></table></div>"
    )
