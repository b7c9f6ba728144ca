"""Clips with made-up measurements for the tests of the try-out, and a page that holds nothing but try-outs."""

import html
import json
import tomllib
from fractions import Fraction
from pathlib import Path

import numpy as np

from postfix.limits import limits_for
from postfix.measure.columns import LISTS, SCALARS, Columns
from postfix.measure.table import EDGE_BANDS, ClipInfo
from postfix.plan.file import plan_text
from postfix.plan.file_read import plan_from
from postfix.plan.model import Plan
from postfix.plan.settings import DEFAULT_WINDOWS
from postfix.review.clips import ReviewedClip, ReviewedShot
from postfix.review.logged import NUMBER_COLUMNS, ClipFacts, FrameTable, LoggedShot, Version
from postfix.source.shots import Shot
from postfix.viewing import BUILTIN_SCREENS

ASSETS = Path(__file__).resolve().parent.parent / "postfix" / "review" / "assets"
SCREENS = ("cinema-12m", "tv-55in")


def made_columns(clip, frames, seed=1, *, black_px=0.0, unmeasured=0.0, bare_edges=0.0, level=0.0):
    """A measurement with the decimals of a table: of edges that come and go, wild frames, and gaps.

    ``unmeasured`` and ``bare_edges`` are shares of the frames without any figure and of bands without content.
    """
    rng = np.random.default_rng(seed)
    drift = np.cumsum(rng.normal(0, 0.05, frames))
    near = np.round(level - 1.0 + drift + rng.normal(0, 0.05, frames), 4)
    far = np.round(level + 0.8 + drift + rng.normal(0, 0.05, frames), 4)
    gone = rng.random(frames) < unmeasured
    near[gone], far[gone] = np.nan, np.nan
    values = {name: np.full(frames, np.nan) for name in SCALARS}
    values |= {name: np.full((frames, length), np.nan) for name, length in LISTS.items()}
    values |= {"near_pct": near, "far_pct": far, "median_pct": np.round((near + far) / 2, 4)}
    values["confidence"] = np.where(gone, 0.0, np.where(rng.random(frames) < 0.1, 0.2, 0.9))
    for side in ("left", "right"):
        at = (
            level - 0.4 + drift[:, None] + 0.5 * np.sin(np.arange(EDGE_BANDS) / 4) + rng.normal(0, 0.1, frames)[:, None]
        )
        rows = np.round(np.where(rng.random((frames, EDGE_BANDS)) < bare_edges, np.nan, at), 3)
        rows[gone] = np.nan
        values[f"{side}_rows_pct"] = rows
        values[f"{side}_edge_pct"] = np.round(np.nanmin(np.where(np.isnan(rows), np.inf, rows), axis=1), 4)
        values[f"{side}_edge_pct"][np.isinf(values[f"{side}_edge_pct"])] = np.nan
        black = rng.uniform(0, black_px, 4) * (rng.random(4) < 0.7)
        values[f"{side}_hidden_px"] = np.round(np.tile(black, (frames, 1)), 2)
    return Columns(clip, (Shot("s001", 0, frames - 1),), (0,), **values)


def made_version(
    columns, shots, screen="cinema-12m", *, clip=None, before=None, windows=DEFAULT_WINDOWS, eye_frames=None
):
    """A version of the clip as the change log would have it, without its files."""
    info = clip or columns.clip
    frames = shots[-1].last + 1 if eye_frames is None else eye_frames
    facts = ClipFacts(
        info.name, info.width_px, info.height_px, info.rate, frames, info.spare_px, info.pixel_aspect, info.step_px
    )
    table = FrameTable(("",) * frames, {name: np.zeros(frames) for name in NUMBER_COLUMNS})
    where = BUILTIN_SCREENS[screen]
    logged = tuple(LoggedShot(shot, "", "", (0.0, 0.0), before, None, ()) for shot in shots)
    return Version(
        Path("nowhere"), "tool", "", facts, where, limits_for(where), (), (), logged, table, windows=windows
    )  # fmt: skip


def made_clip(columns, versions, missing=""):
    """The clip with all its versions, each shot of the first version, in all of them."""
    shots = tuple(
        ReviewedShot(f"c0n{number}", plan.name, plan.first, plan.last, tuple(v.shots[number] for v in versions))
        for number, plan in enumerate(shot.plan for shot in versions[0].shots)
    )
    return ReviewedClip("c0", tuple(versions), shots, columns, missing)


def one_shot(plan, columns, *, screens=SCREENS, windows=DEFAULT_WINDOWS, missing="", before=None, clip=None):
    """A clip of one shot that all screens plan alike; with ``missing`` its measurement is not there any more."""
    versions = [made_version(columns, (plan,), name, windows=windows, before=before, clip=clip) for name in screens]
    return made_clip(None if missing else columns, versions, missing)


def shot_with(text, version, shot):
    """The shot as a plan of that version is read back whose lines were replaced by those of ``text``."""
    facts = version.clip.planned
    whole = plan_text(Plan(version.screen, version.limits, facts, tuple(s.plan for s in version.shots)))
    edited = edited_plan(whole, shot.name, text)
    read = plan_from(Path("plan.toml"), edited, tomllib.loads(edited))
    return next(one for one in read.shots if one.name == shot.name)


def edited_plan(whole, name, text):
    """A plan whose shot of that name has the lines of ``text`` in place of its own of the same names."""
    head, *blocks = whole.split("[[shot]]\n")
    new = entries_of(text)
    out = [head]
    for block in blocks:
        lines = entries_of(block)
        if tomllib.loads(block)["name"] == name:
            assert set(new) <= set(lines), "a line that the shot has not"
            lines |= new
        out += ["[[shot]]\n", *lines.values(), "\n"]
    return "".join(out)


def entries_of(text):
    """The lines of a piece of TOML by their key; a list over several lines is one entry."""
    entries, pending = {}, ""
    for line in text.splitlines():
        if not pending and (not line.strip() or line.startswith("#")):
            continue
        pending += f"{line}\n"
        if pending.count("[") == pending.count("]") or pending.startswith("reason"):
            entries[pending.split(" = ", 1)[0]] = pending
            pending = ""
    return entries


def write_page(folder, given, *, styled=True):
    """A page with a try-out for each of ``given`` (key: data), closed, and their data beside it; its path."""
    (folder / "report").mkdir(exist_ok=True)
    parts = []
    for key, data in given.items():
        path = folder / "report" / f"{key.replace('/', '-')}.js"
        path.write_text(f"postfix.give({json.dumps(key)},{json.dumps(data, allow_nan=False)});\n", encoding="ascii")
        parts.append(
            f'<article class="card"><details class="tryout" data-key="{html.escape(key)}" '
            f'data-src="report/{path.name}"><summary>Try another convergence</summary></details></article>'
        )
    style = "".join((ASSETS / name).read_text() for name in ("style.css", "tryout.css") if styled)
    scripts = "".join(
        f"<script>{(ASSETS / name).read_text()}</script>" for name in ("load.js", "tryout_rules.js", "tryout.js")
    )
    page = folder / "page.html"
    page.write_text(
        '<!doctype html><html lang="en"><head><meta charset="utf-8"><title>try</title>'
        f"<style>{style}</style></head><body><main>{''.join(parts)}</main>{scripts}</body></html>",
        encoding="utf-8",
    )
    return page


def clip_info(width=1920, height=1080, rate="24", step=1, **more):
    return ClipInfo("kite", width, height, Fraction(rate), step, **more)
