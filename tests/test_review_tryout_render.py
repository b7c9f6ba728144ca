"""The whole way: a job is run, a shot tried in the browser, its lines put into the plan, and the plan rendered."""

import csv
import json
import re

import numpy as np
import pytest
from browsing import until
from clips import FRAMES, SIZE, source_words, write_pair
from tryout_clips import edited_plan

from postfix.cli import main
from postfix.plan.file import read_plan
from postfix.plan.geometry import split_px
from postfix.source.opening import open_eye

SCREEN = "cinema-12m"


@pytest.fixture(scope="module")
def footage(tmp_path_factory):
    return write_pair(tmp_path_factory.mktemp("in"), far_pct=1.4)


@pytest.fixture(scope="module")
def job(footage, tmp_path_factory):
    """A job of one shot, as run leaves it."""
    out = tmp_path_factory.mktemp("job")
    assert main(["run", *source_words(*footage), "--screen", SCREEN, "-o", str(out), "-q"]) in (0, 5)
    return out


def opened(page, job):
    """The try-out of a job's only shot on its page."""
    page.goto((job / "report.html").as_uri())
    page.locator("#c0n0 > details.tryout > summary").click()
    page.wait_for_selector("#c0n0 .try-canvas")


def tried(page, job, hit, window):
    """What it says with that HIT and windows: lines for the plan, figures."""
    opened(page, job)
    page.get_by_label("HIT", exact=True).fill(str(hit))
    if window:
        page.get_by_label("Top and bottom alike").uncheck()
    for name, px in window.items():
        page.get_by_label(name, exact=True).fill(str(px))
    for px in window.values():
        until(page, f"document.querySelector('.try-toml').value.includes('{px:g}')")
    page.evaluate("() => new Promise((done) => requestAnimationFrame(() => requestAnimationFrame(done)))")
    return page.locator(".try-toml").input_value(), page.locator(".try-figures tbody").inner_text()


def rendered(folder, job, footage, text):
    """The plan with these lines, rendered; the shot as it was read, its entry in the log, the folder."""
    plan = folder / "edited.toml"
    name = read_plan(job / SCREEN / "plan.toml").shots[0].name
    plan.write_text(edited_plan((job / SCREEN / "plan.toml").read_text(), name, text))
    (table,) = (job / "measure").glob("*.csv")
    typed = ["render", *source_words(*footage), "--plan", str(plan), "--measurement", str(table)]
    assert main([*typed, "-o", str(folder / "again"), "-q"]) in (0, 5)
    log = json.loads((folder / "again" / "changes.json").read_text())
    return read_plan(plan).shots[0], log["shots"][0], folder / "again"


def lumas(path, frame):
    return next(open_eye(path).frames(frame, frame))[0].astype(int)


def near_of(figures):
    """The figure of now in the row of near."""
    (now,) = re.findall(r"^Near\t[^\t]*\t\s*([\u2212+]?[0-9.]+) %", figures, re.MULTILINE | re.DOTALL)
    return float(now.replace("\u2212", "-"))


def test_what_was_tried_is_what_is_rendered(page, footage, job, tmp_path):
    text, figures = tried(page, job, -3.75, {"Left edge, bottom": 15, "Right edge, top": 21.5})
    shot, entry, out = rendered(tmp_path, job, footage, text)
    assert set(shot.by_hand) == {"hit", "window"}
    assert entry["hit"] == [{"frame": 0, "pct": -3.75}]
    assert entry["applied_hit_px"] == [-12, -12]
    assert entry["window"] == [{"frame": 0, "left_px": [0.0, 15.0], "right_px": [21.5, 0.0]}]
    left_px, right_px = split_px(-12, 2)
    assert near_of(figures) == pytest.approx(entry["before"]["near_pct"] - 3.75, abs=0.006)
    for source, eye, shift in zip(footage, ("left", "right"), (left_px, right_px)):
        before, after = lumas(source, FRAMES // 2), lumas(out / eye / source.name, FRAMES // 2)
        middle = slice(60, SIZE[0] - 60)
        assert np.array_equal(after[:, middle], np.roll(before, shift, axis=1)[:, middle])
    left, right = (lumas(out / eye / path.name, 0) for eye, path in zip(("left", "right"), footage))
    assert np.ptp(left[-1, :14]) == 0  # hidden by the window, at the bottom of the left eye
    assert np.ptp(left[0, 6:20]) > 0
    assert np.ptp(right[0, -20:]) == 0
    assert np.ptp(right[-1, -20:-7]) > 0


def test_a_zoom_that_the_hit_needs_comes_with_the_lines(page, footage, tmp_path):
    typed = ["run", *source_words(*footage), "--screen", SCREEN, "--fill", "zoom", "-o", str(tmp_path / "job"), "-q"]
    assert main(typed) in (0, 5)
    text, figures = tried(page, tmp_path / "job", -2.0, {})
    _, entry, out = rendered(tmp_path, tmp_path / "job", footage, text)
    assert entry["zoom"] == 1.02
    assert entry["applied_hit_px"] == pytest.approx([-6.4, -6.4])
    assert near_of(figures) == pytest.approx(1.02 * entry["before"]["near_pct"] - 2.0, abs=0.006)
    assert near_of(figures) == pytest.approx(entry["after"]["near_pct"], abs=0.15)
    for path, eye in zip(footage, ("left", "right")):
        seen = lumas(out / eye / path.name, 0)
        assert all(np.ptp(seen[:, column]) > 0 for column in (0, 1, -2, -1))


def test_kept_by_an_update_of_the_plan(page, job, tmp_path):
    text, _ = tried(page, job, -1.25, {"Left edge, top": 9})
    planned, place = job / SCREEN / "plan.toml", tmp_path / "plan.toml"
    place.write_text(edited_plan(planned.read_text(), read_plan(planned).shots[0].name, text))
    (table,) = (job / "measure").glob("*.csv")
    assert main(["plan", str(table), "--update", str(place), "-q"]) in (0, 5)
    shot = read_plan(place).shots[0]
    assert (shot.hit[0].pct, shot.window[0].left_px) == (-1.25, (9.0, 0.0))


def test_the_page_of_a_run_draws_every_frame_finds_shots_and_moves_the_picture(page, job):
    opened(page, job)
    page.wait_for_selector("#c0-chart[data-state=ready]")
    lines = page.evaluate(
        """() => Object.fromEntries(document.querySelector(".chart-canvas").data.filter(line => line.meta?.series)
            .map(line => [line.meta.series, line.y.filter(y => y !== null && !Number.isNaN(y)).length]))"""
    )
    rows = list(csv.DictReader((job / SCREEN / "changes.csv").read_text(encoding="utf-8").splitlines()))
    assert len(rows) == FRAMES
    for series in ("near_before", "far_before", "median_before", "near_after", "far_after", "median_after"):
        when = series.split("_")
        assert lines[series] == sum(bool(row[f"{when[0]}_{when[1]}_pct"]) for row in rows), series

    def pixels():
        """What is drawn, once what was asked for is; a tainted canvas would refuse."""
        return page.evaluate(
            """async () => {
                for (let i = 0; i < 3; i++) await new Promise((done) => requestAnimationFrame(done));
                return document.querySelector("#c0n0 .try-canvas").toDataURL();
            }"""
        )

    first = pixels()
    page.get_by_label("HIT, slider").fill("-2.5")
    assert pixels() != first
    page.get_by_role("button", name="Back to the plan").click()
    assert pixels() == first
    page.get_by_label("name or timecode").fill("no such shot")
    until(page, "document.querySelector('.count').innerText.includes('0 of 1 shot')")
    assert page.locator("article.card").first.is_hidden()
    page.locator(".filters").get_by_role("button", name="Show all").click()
    assert page.locator("article.card").first.is_visible()
