"""Size of the review page and how soon it is there, as Markdown tables.

.venv/bin/python tests/bench/page_scale.py [--shots N] [--screens N] [--frames-per-shot N] [--noted] [--folder F]

A finished job is made up on disk: every shot is moved or windowed on every screen, every frame is measured. Its
pictures are the same few 1280x720 stills under many names, so that the job is quick to make; the page is written from
them in full. ``--noted`` has a camera noted of every shot, so that something is told of each on every screen. Bytes are
told by the parts of the page. It is then opened from disk in headless Chromium: first paint, first useful paint (the
table of shots stands in the window), the chart drawn, pictures asked for at first and after a jump to another shot.
"""

import argparse
import os
import re
import shutil
import sys
import tempfile
import time
from fractions import Fraction
from pathlib import Path

import imageio.v3 as imageio
import numpy as np
import skimage.data

sys.path.insert(0, str(Path(__file__).parents[1]))
from browsing import until
from conftest import ARGUMENTS, BROWSERS
from playwright.sync_api import sync_playwright
from review_job import table_for
from tables import heading, machine, outcome, row

from postfix.camera import Camera
from postfix.deliver.changelog import EyeFile, change_log, change_log_text, frame_table_lines, shot_results
from postfix.limits import limits_for
from postfix.measure.columns import columns_of
from postfix.measure.table import ClipInfo
from postfix.measure.table_csv import table_text
from postfix.plan.model import HitKey, Plan, ShotPlan, WindowKey
from postfix.review.report import write_report
from postfix.story.clip import story_of_finished
from postfix.viewing import BUILTIN_SCREENS

WIDTH, HEIGHT = 1280, 720
PAGE_LIMIT_MB, PAINT_LIMIT_S = 25.0, 2.0
_LOOKS = 7
"""Different pictures; the rest are these again."""


def pictures(folder):
    """A few stills of each eye: a photographed pair, moved about."""
    left, right, _ = skimage.data.stereo_motorcycle()
    made = {"left": [], "right": []}
    for look in range(_LOOKS):
        for eye, whole in (("left", left), ("right", right)):
            rows = np.linspace(30 + 5 * look, 430, HEIGHT).astype(int)
            columns = np.linspace(0, whole.shape[1] - 1, WIDTH).astype(int)
            path = folder / f"{eye}-{look}.png"
            imageio.imwrite(path, np.roll(whole, 7 * look, axis=0)[rows[:, None], columns])
            made[eye].append(path)
    return made


def linked(folder, eye, looks, shots, length):
    """A folder of numbered stills of every frame, each a second name of one of the pictures."""
    folder.mkdir(parents=True)
    for shot in range(shots):
        for frame in range(shot * length, (shot + 1) * length):
            path = folder / f"reel_{eye}.{1001 + frame:07d}.png"
            try:
                os.link(looks[shot % _LOOKS], path)
            except OSError:
                # A file system allows a file only so many names; from here on those of a copy.
                looks[shot % _LOOKS] = Path(shutil.copy(looks[shot % _LOOKS], path))


def camera_of(random):
    """As a shot might have been noted, never twice the same.

    The convergence follows from the farthest distance: notes and picture agree, and all is told that rests on both.
    """
    interaxial, focal, far = random.uniform(25.0, 65.0), random.uniform(24.0, 40.0), random.uniform(9000.0, 40000.0)
    return Camera(round(interaxial, 1), round(focal, 1), 24.89, far_mm=round(far))


def made_job(base, shots, screens, length, noted=False):
    """The job under ``base / "out"``."""
    clip = ClipInfo("long_reel", WIDTH, HEIGHT, Fraction(24), 1)
    looks = pictures(base)
    random = np.random.default_rng(5)
    near, far = random.uniform(-2.5, -0.2, shots), random.uniform(0.1, 1.9, shots)
    for eye in ("left", "right"):
        linked(base / eye, eye, looks[eye], shots, length)
    plans = tuple(
        ShotPlan(
            f"sh{i:04d}",
            i * length,
            (i + 1) * length - 1,
            hit=(HitKey(i * length, round(0.5 - far[i], 2)),),
            window=(WindowKey(i * length, (20.0, 24.0), (0.0, 6.0)),) if i % 3 == 0 else (),
            reason=f"far was {far[i]:+.2f} %, limit +0.54 %; moved so that it lies within it",
            camera=camera_of(random) if noted else None,
        )
        for i in range(shots)
    )
    before = table_for(plans, clip, near, far)
    hits = np.array([plan.hit[0].pct for plan in plans])
    after = table_for(plans, clip, near + hits, far + hits)
    (base / "out" / "measure").mkdir(parents=True)
    (base / "out" / "measure" / "long_reel.csv").write_text(table_text(before), encoding="utf-8")
    for screen in screens:
        where = BUILTIN_SCREENS[screen]
        plan = Plan(where, limits_for(where), clip, plans)
        folder = base / "out" / screen
        for eye in ("left", "right"):
            linked(folder / eye, eye, looks[eye], shots, length)
        log = change_log(
            plan,
            shot_results(plan, before, after),
            sources=tuple(EyeFile(e, str(base / e), shots * length, "ab" * 32, "24", 1001) for e in ("left", "right")),
            outputs=tuple(EyeFile(e, e, shots * length, "cd" * 32) for e in ("left", "right")),
            timecode="01:00:00:00",
            tool={"name": "postfix-stereo", "version": "0.0", "libraries": {}},
            story=story_of_finished(columns_of(after), plan, columns_of(before)),
        )
        (folder / "changes.json").write_text(change_log_text(log), encoding="utf-8")
        text = "".join(frame_table_lines(plan, before, after, timecode="01:00:00:00"))
        (folder / "changes.csv").write_text(text, encoding="utf-8")
    return base / "out"


PARTS = (
    ("pictures of cards", r"<figure>.*?</figure>"),
    ("figures of cards", r"<table class=figures>.*?</table>"),
    ("histograms, in words", r"<img class=histogram[^>]*>"),
    ("reasons", r"<p><span class=\"?soft\"?>Planned:.*?</p>"),
    ("flags", r"<p class=\"?soft\"?>Found (?:on|in).*?</ul>"),
    ("notices", r"<ul class=\"?notices.*?</ul>"),
    ("HIT, eyes, columns, windows", r"<dl class=done>.*?</dl>"),
    ("folds of cards", r"<details class=\"?(?:tryout|story|entry).*?</details>"),
    ("the rest of the cards", r"<article .*?</article>"),
    ("style sheets and scripts", r"<(style|script)[ >].*?</\1>"),
    ("table of shots", r"<div class=\"overview\".*?</table></div></div>"),
    ("depth rhythm", r"<section class=\"rhythm-all\".*?</section>"),
    ("comfort over time", r"<section class=\"comfort\".*?</section>"),
    ("the rest of the page", r".+"),
)
"""Each is told of what the parts above it leave."""


def bytes_of_parts(text):
    """How many bytes each part of a page takes, in order."""
    found = {}
    for name, pattern in PARTS:
        text, sizes = _without(text, re.compile(pattern, re.DOTALL))
        found[name] = sum(sizes)
    return found


def _without(text, pattern):
    sizes = []

    def taken(match):
        sizes.append(len(match[0].encode("utf-8")))
        return ""

    return pattern.sub(taken, text), sizes


TIMES = """() => new Promise(done => {
  const found = { first: performance.getEntriesByType("paint")[0].startTime };
  found.loaded = performance.getEntriesByType("navigation")[0].loadEventEnd;
  done(found);
})"""

USEFUL = """
window.useful = null; window.charted = null;
(function look() {
  const row = document.querySelector("tr[data-card]");
  if (window.useful === null && row && row.getBoundingClientRect().height > 0) window.useful = performance.now();
  if (window.charted === null && document.querySelector(".depth-chart .main-svg")) window.charted = performance.now();
  if (window.useful === null || window.charted === null) requestAnimationFrame(look);
})();
"""


def opened(path, runs=3):
    """Times in milliseconds of several openings of a page, each in a new context."""
    found = []
    with sync_playwright() as running:
        where = next(filter(None, map(shutil.which, BROWSERS)))
        browser = running.chromium.launch(executable_path=where, args=list(ARGUMENTS))
        for _ in range(runs):
            context = browser.new_context(viewport={"width": 1400, "height": 1000})
            page, asked = context.new_page(), []
            page.on("request", lambda request, asked=asked: asked.append(request.url))
            page.add_init_script(USEFUL)
            page.goto(path.as_uri())
            until(page, "window.useful !== null && window.charted !== null", 60.0)
            times = page.evaluate(TIMES)
            times["pictures"] = sum(url.endswith(".jpg") for url in asked)
            times["useful"], times["charted"] = page.evaluate("[window.useful, window.charted]")
            page.evaluate("document.querySelectorAll('article.card')[200]?.scrollIntoView()")
            page.wait_for_timeout(1000)
            times["scrolled"] = sum(url.endswith(".jpg") for url in asked)
            times["nodes"] = page.evaluate("document.getElementsByTagName('*').length")
            found.append(times)
            context.close()
        browser.close()
    return found


def main():
    options = argparse.ArgumentParser()
    options.add_argument("--shots", type=int, default=2000)
    options.add_argument("--screens", type=int, default=2)
    options.add_argument("--frames-per-shot", type=int, default=15)
    options.add_argument("--noted", action="store_true")
    options.add_argument("--folder", type=Path)
    given = options.parse_args()
    print(machine())
    with tempfile.TemporaryDirectory(dir=given.folder) as folder:
        screens = list(BUILTIN_SCREENS)[: given.screens]
        out = made_job(Path(folder), given.shots, screens, given.frames_per_shot, given.noted)
        start = time.perf_counter()
        page = write_report(out)
        seconds = time.perf_counter() - start
        told = ", something noted of each" if given.noted else ""
        frames = given.shots * given.frames_per_shot
        print(f"\n## {given.shots} shots{told}, {given.screens} screens, {frames} frames\n")
        heading("what", "found", "asked", "outcome")
        size = page.stat().st_size / 1e6
        row("report.html, MB", f"{size:.1f}", f"{PAGE_LIMIT_MB:g}", outcome(size, PAGE_LIMIT_MB))
        beside = sum(file.stat().st_size for file in (page.parent / "report").rglob("*") if file.is_file()) / 1e6
        row("beside it, MB", f"{beside:.0f}", "", "")
        for name, count in bytes_of_parts(page.read_text(encoding="utf-8")).items():
            row(f"{name}, kB", f"{count / 1e3:.0f}", "", "")
        row("writing it, s", f"{seconds:.0f} ({seconds / given.shots * 1e3:.0f} ms a shot)", "", "")
        times = opened(page)
        for name, words, limit in (
            ("first", "first paint, s", None),
            ("useful", "first useful paint, s", PAINT_LIMIT_S),
            ("charted", "chart drawn, s", None),
            ("loaded", "whole page loaded, s", None),
        ):
            each = [one[name] / 1e3 for one in times]
            text = ", ".join(f"{value:.2f}" for value in each)
            row(words, text, limit or "", "" if limit is None else outcome(each, limit))
        pictured = 4 * given.shots + 2 * given.shots * given.screens
        seen = ", ".join(f"{one['pictures']} / {one['scrolled']}" for one in times)
        most = max(one["scrolled"] for one in times)
        row("pictures asked for at first / after a jump", seen, f"not all {pictured}", outcome(most, pictured / 10))
        row("elements", times[0]["nodes"], "", "")


if __name__ == "__main__":
    main()
