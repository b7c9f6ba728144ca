"""A page that holds nothing but charts, and clips made up for it."""

from base64 import b64encode
from dataclasses import replace
from fractions import Fraction
from hashlib import sha256
from pathlib import Path

import numpy as np

import postfix.review
from postfix.deliver.own import PAGE_FOLDER
from postfix.limits import limits_for
from postfix.plan.model import HitKey, ShotPlan
from postfix.review.beside import Beside
from postfix.review.charts import charts_html
from postfix.review.clips import ReviewedClip, ReviewedShot
from postfix.review.frames import frames_data
from postfix.review.logged import NUMBER_COLUMNS, ClipFacts, FrameTable, LoggedShot, Version
from postfix.source.timecode import timecode_at
from postfix.viewing import BUILTIN_SCREENS

ASSETS = Path(postfix.review.__file__).parent / "assets"


def made_version(lengths, screen="cinema-12m", *, names=None, rate=Fraction(24), timecode="01:00:00:00", seed=0):
    """Shots of the lengths given; each has its own depth, wavers, and is moved and windowed where it is odd."""
    random = np.random.default_rng(seed)
    frames = sum(lengths)
    firsts = np.cumsum([0, *lengths[:-1]]).tolist()
    names = names or [f"sh{10 * (number + 1):04d}" for number in range(len(lengths))]
    columns = {name: np.full(frames, np.nan) for name in NUMBER_COLUMNS}
    shots = []
    for number, (name, first, length) in enumerate(zip(names, firsts, lengths)):
        run, odd = slice(first, first + length), number % 2
        hit = -0.75 * odd
        middle = random.uniform(-0.6, 0.8)
        waver = np.sin(np.arange(length) / 17.0) * 0.2 + random.normal(0, 0.03, length)
        before = {
            "near": middle - random.uniform(0.3, 1.2) + waver,
            "far": middle + random.uniform(0.2, 0.9) + 0.5 * waver,
            "median": middle + 0.7 * waver,
            "left_edge": middle - random.uniform(0.0, 0.8) + waver,
            "right_edge": middle - random.uniform(0.0, 0.8) + waver,
        }
        for column, values in before.items():
            columns[f"{column}_before_pct"][run] = np.round(values, 4)
            columns[f"{column}_after_pct"][run] = np.round(values + hit + random.normal(0, 0.01, length), 4)
        for column, value in (("hit_pct", hit), ("left_move_px", 7 * odd), ("right_move_px", -7 * odd), ("zoom", 1.0)):
            columns[column][run] = value
        for column in ("left_top", "left_bottom", "right_top", "right_bottom"):
            widest = random.integers(2, 40) * odd
            columns[f"window_{column}_px"][run] = np.round(np.linspace(0, widest, length), 2)
        plan = ShotPlan(name, first, first + length - 1, hit=(HitKey(first, hit),))
        shots.append(LoggedShot(plan, "", "", (hit, hit), None, None, ()))
    where = BUILTIN_SCREENS[screen]
    codes = tuple(timecode_at(timecode, frame, rate) for frame in range(frames))
    facts = ClipFacts("slipway", 1920, 1080, rate, frames, step_px=1)
    table = FrameTable(codes, columns)
    return Version(Path(screen), "tool", "", facts, where, limits_for(where), (), (), tuple(shots), table)


def made_clip(*versions, ident="c0"):
    """Versions that are cut alike as one clip of the page."""
    shots = tuple(
        ReviewedShot(f"{ident}n{number}", shots[0].plan.name, shots[0].plan.first, shots[0].plan.last, shots)
        for number, shots in enumerate(zip(*(version.shots for version in versions)))
    )
    return ReviewedClip(ident, versions, shots, None, "")


def spoilt(version, **columns):
    """The version with other figures: column name to a function of the old ones."""
    table = dict(version.frames.columns)
    for name, change in columns.items():
        table[name] = change(table[name].copy())
    return replace(version, frames=FrameTable(version.frames.timecodes, table))


def write_page(folder, *clips, cards=True):
    """A page with the charts of clips under the policy of the real one; its path."""
    (folder / PAGE_FOLDER).mkdir(parents=True, exist_ok=True)
    beside = Beside(folder / PAGE_FOLDER)
    library = beside.chart_library()
    parts = []
    for clip in clips:
        parts.append(charts_html(clip, beside.data(f"{clip.ident}/frames", frames_data(clip)), library))
        if cards:
            parts += [f'<article id="{shot.ident}" tabindex="-1">card {shot.ident}</article>' for shot in clip.shots]
    script = "\n".join(
        (ASSETS / name).read_text(encoding="utf-8") for name in ("load.js", "charts_data.js", "charts.js")
    )
    mark = b64encode(sha256(script.encode("utf-8")).digest()).decode("ascii")
    policy = (
        "default-src 'none'; img-src 'self' file: data: blob:; style-src 'unsafe-inline'; "
        f"script-src 'self' file: 'sha256-{mark}'"
    )
    style = "".join((ASSETS / name).read_text(encoding="utf-8") for name in ("style.css", "charts.css"))
    path = folder / "report.html"
    path.write_text(
        f'<!DOCTYPE html><html lang="en"><head><meta charset="utf-8"><meta http-equiv="Content-Security-Policy" '
        f'content="{policy}"><title>Charts</title><style>{style}</style></head><body>{"".join(parts)}'
        f"<script>{script}</script></body></html>",
        encoding="utf-8",
    )
    return path
