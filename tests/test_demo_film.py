"""The whole job on the demo film, checked by other means than the program's own measurement.

Two of them: the scenes' exact parallax (computed from the geometry) moved by what the change log says, and template
search (normalised correlation, a few lines here) on the written pictures.
"""

import csv
import json

import numpy as np
import pytest

from postfix.cli import main
from postfix.demo.film import FILM
from postfix.demo.run import SCREENS
from postfix.source.pair import open_pair

WIDTH = 960
EDGE_TOLERANCE_PX = 0.15 / 100 * WIDTH + 1.0
BLACK, SLACK = 64, 8  # luma black of 10 bit, and what the codec leaves of it


@pytest.fixture(scope="module")
def film(tmp_path_factory):
    """The demo's output folder, and what it said as JSON."""
    out = tmp_path_factory.mktemp("demo") / "demo-out"
    assert main(["demo", str(out), "-q"]) == 0
    return out


@pytest.fixture(scope="module")
def logs(film):
    return {name: json.loads((film / "run" / name / "changes.json").read_text()) for name in SCREENS}


@pytest.fixture(scope="module")
def written(film):
    """The written pair for each screen."""
    pairs = {}
    for name in SCREENS:
        paths = [film / "run" / name / eye / f"kite-workshop_{eye}.mov" for eye in ("left", "right")]
        pairs[name] = open_pair(*paths)
    return pairs


def shown_frames(shot):
    return (0, shot.frames // 2, shot.frames - 1)


def test_the_cuts_of_the_film_are_found(logs):
    for log in logs.values():
        assert [shot["last"] - shot["first"] + 1 for shot in log["shots"]] == [shot.frames for shot in FILM]


def test_what_was_planted_is_found(logs):
    for shot, entry in zip(FILM, logs["tv-55in"]["shots"]):
        truths = [shot.scene.truth(frame).summary for frame in range(0, shot.frames, 3)]
        found = entry["before"]
        assert found["near_pct"] == pytest.approx(min(t.near_pct for t in truths), abs=0.10), shot.name
        assert found["far_pct"] == pytest.approx(max(t.far_pct for t in truths), abs=0.10), shot.name
        for side in ("left_edge_pct", "right_edge_pct"):
            true = min(getattr(t, side) for t in truths)
            if true < 0:
                assert found[side] == pytest.approx(true, abs=0.15), (shot.name, side)


def test_exact_parallax_moved_by_the_log_is_within_the_limits(logs):
    for log in logs.values():
        for shot, entry in zip(FILM, log["shots"]):
            hit_pct = entry["applied_hit_px"][0] * 100 / WIDTH
            assert entry["zoom"] == 1.0
            assert entry["flags"] == []
            for frame in shown_frames(shot):
                truth = shot.scene.truth(frame).summary
                assert truth.far_pct + hit_pct <= log["limits"]["far_pct"], shot.name
                assert truth.near_pct + hit_pct >= log["limits"]["near_pct"], shot.name


def test_nearest_things_are_as_far_as_they_were_put(logs):
    """Real distances from what was measured and the rig's figures, against the scene (computed): within 2 %."""
    for shot, entry in zip(FILM, logs["tv-55in"]["shots"]):
        true_mm = min(
            1000.0 / rig.inverse_depth(shot.scene.truth(frame).summary.near_pct)
            for frame in range(0, shot.frames, 3)
            for rig in [shot.scene.rig_at(frame)]
        )
        assert entry["story"]["filmed"]["near_mm"] == pytest.approx(true_mm, rel=0.02), shot.name


def test_only_what_was_wrong_was_changed(logs):
    """In the cinema the horizon is pulled in and three shots get windows; the push-in and the title are left alone."""
    changed = {
        name: {
            shot.name: (entry["applied_hit_px"][0] != 0, bool(entry["window"]))
            for shot, entry in zip(FILM, log["shots"])
        }
        for name, log in logs.items()
    }
    for name in SCREENS:
        assert changed[name]["push-in"] == changed[name]["title"] == (False, False)
        for shot in ("line-spool", "kite", "lane"):
            assert changed[name][shot] == (False, True)
    assert changed["cinema-12m"]["beach"] == (True, True)
    assert changed["tv-55in"]["beach"] == (False, False)


def correlation(a, b):
    a, b = a - a.mean(), b - b.mean()
    return float((a * b).sum() / np.sqrt((a * a).sum() * (b * b).sum() + 1e-9))


def found_parallax_px(left, right, x, y, expected):
    """Template search around the expected place, 25×17 pixels, whole pixels and a parabola through the best."""
    template = left[y - 8 : y + 9, x - 12 : x + 13]
    tried = np.arange(round(expected) - 15, round(expected) + 16)
    scores = np.array([correlation(template, right[y - 8 : y + 9, x + p - 12 : x + p + 13]) for p in tried])
    best = int(scores.argmax())
    if not 0 < best < len(tried) - 1 or scores[best] < 0.9:
        return None
    before, here, after = scores[best - 1 : best + 2]
    return tried[best] + 0.5 * (before - after) / (before - 2 * here + after)


@pytest.mark.parametrize("screen", SCREENS)
@pytest.mark.parametrize("number", range(len(FILM)))
def test_template_search_on_the_written_pictures_finds_the_moved_parallax(film, logs, written, screen, number):
    shot, entry = FILM[number], logs[screen]["shots"][number]
    rows = list(csv.DictReader((film / "run" / screen / "changes.csv").read_text().splitlines()))
    left_move, right_move = (int(rows[entry["first"]][f"{eye}_move_px"]) for eye in ("left", "right"))
    hit_px = right_move - left_move
    rng = np.random.default_rng(number)
    frame = shot.frames // 2
    truth = shot.scene.truth(frame)
    _, left, right = next(written[screen].frames(entry["first"] + frame, entry["first"] + frame))
    left, right = left[0].astype(float), right[0].astype(float)
    errors, parallaxes = [], []
    for _ in range(400):
        x, y = int(rng.integers(60, WIDTH - 60)), int(rng.integers(20, 520))
        part = np.s_[y - 8 : y + 9, x - 12 : x + 13]
        here = truth.left_parallax_px[part]
        if not truth.left_seen[part].all() or np.ptp(here) > 0.3:
            continue
        true = float(here.mean()) + hit_px
        found = found_parallax_px(left, right, x + left_move, y, true)
        if found is not None:
            errors.append(found - true)
            parallaxes.append(found)
    assert len(errors) >= 15
    assert np.percentile(np.abs(errors), 90) < 0.35, "pixels"
    assert np.percentile(parallaxes, 99) * 100 / WIDTH <= logs[screen]["limits"]["far_pct"] + 0.03


def black_columns(luma, right_side):
    """Columns of black at a side, (rows,)."""
    dark = luma[:, ::-1] <= BLACK + SLACK if right_side else luma <= BLACK + SLACK
    return np.where(dark.all(axis=1), luma.shape[1], (~dark).argmax(axis=1))


@pytest.mark.parametrize("screen", SCREENS)
@pytest.mark.parametrize("number", range(len(FILM)))
def test_no_row_is_left_in_front_of_the_edge_that_it_touches(logs, written, screen, number):
    """Exact edge parallax of each row against the edge that the black in the written pictures makes there."""
    shot, entry = FILM[number], logs[screen]["shots"][number]
    hit_px = entry["applied_hit_px"][0]
    for frame in shown_frames(shot):
        truth = shot.scene.truth(frame)
        _, left, right = next(written[screen].frames(entry["first"] + frame, entry["first"] + frame))
        hidden = {
            (eye, side): black_columns(luma[0].astype(int), side == "right")
            for eye, luma in (("left", left), ("right", right))
            for side in ("left", "right")
        }
        own_parallax = {
            "left": hidden["right", "left"] - hidden["left", "left"],
            "right": hidden["left", "right"] - hidden["right", "right"],
        }
        for side, rows_pct in (("left", truth.left_edge_rows_pct), ("right", truth.right_edge_rows_pct)):
            content = rows_pct * WIDTH / 100 + hit_px
            excess = own_parallax[side] - content
            worst = np.nanmax(np.where(np.isfinite(content), excess, -np.inf))
            assert worst <= EDGE_TOLERANCE_PX, (shot.name, frame, side)


def test_the_demo_leaves_its_page_and_contact_sheet(film):
    assert (film / "contact-sheet.png").stat().st_size > 100_000
    assert (film / "run/report.html").stat().st_size > 10_000


def test_a_second_demo_into_the_same_folder_is_refused(film, capsys):
    assert main(["demo", str(film)]) == 4
    assert "name another folder" in capsys.readouterr().err
