"""Plans at the command line: new ones, one shot explained, brought up to date, compared, and the same every time."""

import json
import os
import subprocess
import sys
from dataclasses import replace
from pathlib import Path

import pytest
from clips import FRAMES, fails, source_words, tree, write_pair
from plan_tables import CLIP, frame, measurement, rows

from postfix.cli import main
from postfix.job.checksums import source_files
from postfix.job.measured import footage_of
from postfix.measure.clip import clip_info
from postfix.measure.table_csv import table_text
from postfix.plan.file import read_plan
from postfix.source.pair import open_pair

CINEMA, TV, WALL = "cinema-12m", "tv-55in", "60000x3000"
"""The wall is a made-up one, 60 m wide and seen from 3 m: nothing fits."""
EDITED = {
    'name = "sh001"\n': '# the gull, as agreed with the director\nname = "sh001"\n',
    "pct = -1.074219": "pct = -0.78",
    "far_pct = 0.5416666666666666": "far_pct = 0.75   # a small hall",
    "window = [{frame = 48, left_px = [18.44, 18.44], right_px = [0.0, 0.0]}]": (
        "window = [{frame = 48, left_px = [30.0, 20.0], right_px = [0.0, 0.0]}]"
    ),
}


def three_shots(number):
    """Within every limit; too far; with something at the left edge."""
    if number < 24:
        return frame(-0.5, 0.3)
    return frame(0.0, 1.5) if number < 48 else frame(-1.2, 0.2, left=rows(-0.8))


def other_shots(number):
    """The same edit measured again, the second shot farther behind the screen than before."""
    return frame(0.2, 1.7) if 24 <= number < 48 else three_shots(number)


def write_table(folder, frames=three_shots, name="m.csv"):
    path = folder / name
    path.write_text(table_text(measurement(frames, 72, (24, 48), replace(CLIP, footage="0123456789abcdef"))))
    return path


@pytest.fixture
def table(tmp_path):
    return write_table(tmp_path)


@pytest.fixture
def place(table, tmp_path):
    """A folder with the plan of the table for the cinema."""
    assert main(["plan", str(table), "--screen", CINEMA, "-o", str(tmp_path / "p.toml"), "-q"]) == 0
    return tmp_path


def said(capsys, *typed, code=0):
    """What the command prints when it ends with this exit code."""
    capsys.readouterr()
    assert main([str(word) for word in typed]) == code
    captured = capsys.readouterr()
    assert captured.err == ""
    return captured.out


def changed(path, changes):
    """The file with parts of its text replaced, each of which stands there."""
    text = path.read_text()
    for old, new in changes.items():
        assert old in text, old
        text = text.replace(old, new, 1)
    path.write_text(text)
    return text


def fits_terminal(text):
    assert max(map(len, text.splitlines())) <= 80, text


# --- new plans ---------------------------------------------------------------------------------------------------


def test_a_plan_for_one_screen_says_why_and_how_every_shot_fares(table, tmp_path, capsys):
    text = said(capsys, "plan", table, "--screen", CINEMA, "-o", tmp_path / "p.toml")
    assert "sh002: far was +1.50 %, limit +0.54 % (65 mm)" in text
    assert [line.split() for line in text.splitlines() if line.startswith(("shot ", "sh00"))][-4:] == [
        ["shot", CINEMA], ["sh001", "as", "shot"], ["sh002", "HIT", "−1.07"], ["sh003", "window"],
    ]  # fmt: skip
    assert f"{CINEMA}: 1 as shot, 1 after HIT, 1 with a window, 0 cannot fit" in text
    assert text.endswith(f"written: {tmp_path / 'p.toml'}\n")
    assert [shot.name for shot in read_plan(tmp_path / "p.toml").shots] == ["sh001", "sh002", "sh003"]
    assert tree(tmp_path) == ["m.csv", "p.toml"]


def test_plans_for_many_screens_lie_in_a_folder_each_below_one_table_of_shots_and_screens(table, tmp_path, capsys):
    typed = ["plan", table, "--screen", CINEMA, "--screen", TV, "-o", tmp_path / "plans"]
    text = said(capsys, *typed)
    lines = [line.split() for line in text.splitlines()]
    assert lines[0] == ["shot", CINEMA, TV]
    assert lines[2] == ["sh002", "HIT", "−1.07", "as", "shot"]
    fits_terminal("\n".join(line for line in text.splitlines() if not line.startswith("written")))
    assert [line for line in text.splitlines() if line.startswith("written: ")] == [
        f"written: {tmp_path / 'plans' / name / 'plan.toml'}" for name in (CINEMA, TV)
    ]
    assert tree(tmp_path / "plans") == [CINEMA, f"{CINEMA}/plan.toml", TV, f"{TV}/plan.toml"]
    assert {name: read_plan(tmp_path / "plans" / name / "plan.toml").screen.name for name in (CINEMA, TV)} == {
        CINEMA: CINEMA, TV: TV,
    }  # fmt: skip


def test_as_json_every_plan_says_of_every_shot_its_reason_its_flags_and_how_it_fits(table, tmp_path, capsys):
    typed = ["plan", table, "--screen", CINEMA, "--screen", WALL, "-o", tmp_path / "plans", "--json"]
    data = json.loads(said(capsys, *typed, code=5))
    assert data["exit_code"] == 5
    assert data["written"] == [str(tmp_path / "plans" / name / "plan.toml") for name in (CINEMA, WALL)]
    cinema, wall = data["plans"]
    assert (cinema["screen"], wall["screen"]) == (CINEMA, WALL)
    assert [shot["fit"]["verdict"] for shot in cinema["shots"]] == ["as shot", "HIT", "window"]
    assert {shot["fit"]["verdict"] for shot in wall["shots"]} == {"cannot fit"}
    assert cinema["shots"][1]["first"] == 24
    assert cinema["shots"][1]["reason"].startswith("far was +1.50 %")
    assert {flag["code"] for flag in wall["shots"][1]["flags"]} >= {"near", "range"}
    assert not any(shot["flags"] for shot in cinema["shots"])


def test_what_cannot_fit_gives_exit_code_five_and_the_plan_all_the_same(table, tmp_path, capsys):
    text = said(capsys, "plan", table, "--screen", WALL, "-o", tmp_path / "p.toml", code=5)
    assert f"{WALL}: 0 as shot, 0 after HIT, 0 with a window, 3 cannot fit" in text
    assert f"{WALL}, sh002: frames 24 to 47" in text
    assert read_plan(tmp_path / "p.toml").screen.name == WALL


def test_a_shot_of_which_nothing_is_known_is_named_where_it_makes_the_exit_code_five(tmp_path, capsys):
    nan = float("nan")
    table = write_table(tmp_path, lambda i: frame(nan, nan, confidence=0.0) if i < 24 else frame(-0.5, 0.3))
    text = said(capsys, "plan", table, "--screen", CINEMA, "--screen", TV, "-o", tmp_path / "plans", code=5)
    for screen in (CINEMA, TV):
        assert f"{screen}, sh001: " in text


def test_settings_comfort_children_and_fill_are_in_the_plan_and_what_is_typed_goes_first(table, tmp_path, capsys):
    settings = tmp_path / "set.toml"
    settings.write_text(
        'fill = "crop"\n[window]\nhold_s = 1.0\n'
        '[screen.tv-55in]\nfill = "zoom"\n[screen.tv-55in.window]\nhold_s = 2.0\n'
    )
    typed = ["plan", table, "--screen", CINEMA, "--screen", TV, "--settings", settings]
    said(capsys, *typed, "-o", tmp_path / "a")
    plans = [read_plan(tmp_path / "a" / name / "plan.toml") for name in (CINEMA, TV)]
    assert [(plan.settings.fill, plan.settings.window.hold_s) for plan in plans] == [("crop", 1.0), ("zoom", 2.0)]
    assert {shot.fill for plan in plans[:1] for shot in plan.shots} == {"crop"}
    said(capsys, *typed, "-o", tmp_path / "b", "--fill", "hide", "--comfort", "percent", "--children", code=5)
    for name in (CINEMA, TV):
        plan = read_plan(tmp_path / "b" / name / "plan.toml")
        assert {plan.settings.fill, *(shot.fill for shot in plan.shots)} == {"hide"}
        assert plan.settings.limits.comfort == "percent"
        assert plan.screen.eye_mm == 50.0
        assert plan.limits.near_pct == -1.0


def test_a_dry_run_looks_at_everything_and_writes_nothing(table, tmp_path, capsys):
    typed = ["plan", table, "--screen", CINEMA, "--screen", TV, "-o", tmp_path / "plans", "--dry-run"]
    names = [str(tmp_path / "plans" / name / "plan.toml") for name in (CINEMA, TV)]
    assert said(capsys, *typed).split() == ["would", "write", *names]
    assert json.loads(said(capsys, *typed, "--json"))["would_write"] == names
    text = said(capsys, *typed, "--why", "sh002")
    assert "choice (held)" in text
    assert text.split()[-4:] == ["would", "write", *names]
    assert "written:" not in text
    assert tree(tmp_path) == ["m.csv"]
    (tmp_path / "set.toml").write_text('[[pin]]\nshot = "sh009"\nhit = 0.2\n')
    fails(capsys, [*typed, "--settings", tmp_path / "set.toml"], 3, "sh009")
    assert tree(tmp_path) == ["m.csv", "set.toml"]


@pytest.mark.parametrize("screens", [[CINEMA], [CINEMA, TV]])
def test_a_plan_that_is_there_is_left_alone_until_forced(table, tmp_path, capsys, screens):
    words = [word for name in screens for word in ("--screen", name)]
    out = tmp_path / "p.toml" if len(screens) == 1 else tmp_path / "plans"
    last = out if len(screens) == 1 else out / screens[-1] / "plan.toml"
    last.parent.mkdir(exist_ok=True, parents=True)
    last.write_text("keep me")
    before = tree(tmp_path)
    for more in ([], ["--dry-run"]):
        fails(capsys, ["plan", table, *words, "-o", out, *more], 4, str(last), "--force")
    assert last.read_text() == "keep me"
    assert tree(tmp_path) == before
    said(capsys, "plan", table, *words, "-o", out, "--force")
    assert read_plan(last).screen.name == screens[-1]


@pytest.mark.parametrize("screens", [[CINEMA], [CINEMA, TV]])
def test_a_new_plan_in_place_of_one_keeps_its_locked_shots_and_nothing_else_by_hand(table, tmp_path, capsys, screens):
    words = [word for name in screens for word in ("--screen", name)]
    out = tmp_path / "p.toml" if len(screens) == 1 else tmp_path / "plans"
    plan = out if len(screens) == 1 else out / CINEMA / "plan.toml"
    said(capsys, "plan", table, *words, "-o", out)
    fresh = read_plan(plan)
    changed(plan, {"locked = false": "locked = true", "pct = 0.0}": "pct = 0.1}", "pct = -1.074219": "pct = -0.78"})
    said(capsys, "plan", table, *words, "-o", out, "--force")
    first, second, third = read_plan(plan).shots
    assert (first.locked, first.hit[0].pct) == (True, 0.1)
    assert (second.by_hand, second.hit, third.hit) == ((), fresh.shots[1].hit, fresh.shots[2].hit)
    broken = changed(plan, {"zoom = 1.0": "zoom = nan"})
    fails(capsys, ["plan", table, *words, "-o", out, "--force"], 3, str(plan), "zoom")
    assert "locked = true" in broken
    assert "zoom = nan" in plan.read_text()


# --- one shot explained ------------------------------------------------------------------------------------------


def test_a_shot_is_explained_without_anything_being_written(table, tmp_path, capsys):
    text = said(capsys, "plan", table, "--screen", CINEMA, "--why", "sh002")
    fits_terminal(text)
    assert text.startswith(f"sh002, frames 24 to 47, on {CINEMA}\n")
    for words in (
        "limits\n",
        "far +1.50 %, then +0.43 %",
        "depth jump at sh001",
        "alternatives",
        "choice (held): far was",
    ):
        assert words in text
    assert tree(tmp_path) == ["m.csv"]


def test_a_shot_is_explained_on_every_screen_beside_the_plans_that_are_written(table, tmp_path, capsys):
    typed = ["plan", table, "--screen", CINEMA, "--screen", TV, "--why", "sh003", "-o", tmp_path / "plans"]
    text = said(capsys, *typed)
    fits_terminal("\n".join(line for line in text.splitlines() if not line.startswith("written")))
    for screen in (CINEMA, TV):
        assert f"sh003, frames 48 to 71, on {screen}\n" in text
        assert (tmp_path / "plans" / screen / "plan.toml").is_file()
    assert f"\n\nsh003, frames 48 to 71, on {TV}\n" in text
    data = json.loads(said(capsys, *typed, "--force", "--json"))
    assert [entry["why"]["shot"] for entry in data["plans"]] == ["sh003", "sh003"]
    assert sum(one["is_chosen"] for one in data["plans"][0]["why"]["alternatives"]) == 1
    assert data["plans"][0]["why"]["before"]["left_edge_pct"] == -0.8


def test_what_else_is_outside_is_named_beside_the_shot_that_is_explained(table, tmp_path, capsys):
    text = said(capsys, "plan", table, "--screen", WALL, "--why", "sh002", code=5)
    assert f"outside on {WALL} besides: sh001, sh003\n" in text


@pytest.mark.parametrize("more", [[], ["-o", "new.toml"], ["-o", "new.toml", "--dry-run"], ["--update", "p.toml"]])
def test_an_unknown_shot_is_wrong_use_and_nothing_is_written(place, capsys, monkeypatch, more):
    monkeypatch.chdir(place)
    before = {path: path.read_bytes() for path in place.iterdir()}
    words = ["--screen", CINEMA] if "--update" not in more else []
    fails(capsys, ["plan", "m.csv", *words, "--why", "sh009", *more], 2, "--why", "sh009", "sh001, sh002, sh003")
    assert {path: path.read_bytes() for path in place.iterdir()} == before


# --- brought up to date ------------------------------------------------------------------------------------------


def test_what_a_person_decided_survives_an_update_and_what_changed_is_told(place, capsys):
    plan = place / "p.toml"
    edited = changed(plan, EDITED)
    before = read_plan(plan)
    assert [shot.by_hand for shot in before.shots] == [(), ("hit",), ("window",)]
    text = said(capsys, "plan", write_table(place, other_shots, "n.csv"), "--update", plan, code=5)
    after = read_plan(plan)
    assert after.shots[1].hit == before.shots[1].hit
    assert after.shots[2].window == before.shots[2].window
    assert after.limits.far_pct == 0.75
    assert after.shots[1].reason.startswith("HIT −0.78 %, given by hand")
    for line in ("# the gull, as agreed with the director\n", "far_pct = 0.75   # a small hall\n", edited[:400]):
        assert line in plan.read_text()
    for line in (
        "limits: far given by hand, kept", "sh002: HIT decided by hand, kept", "sh003: window decided by hand, kept",
        f"{CINEMA}, sh002: far is +0.92 %", f"written: {plan}",
    ):  # fmt: skip
        assert line in text
    assert "its HIT was given by hand" in " ".join(text.split())
    fits_terminal("\n".join(text.splitlines()[:-1]))


def test_what_the_program_decided_is_decided_anew(place, capsys):
    before = (place / "p.toml").read_bytes()
    text = said(capsys, "plan", write_table(place, other_shots, "n.csv"), "--update", place / "p.toml")
    assert "shot sh002, frames 24 to 47\n  HIT: −1.07 % (−22 px) → −1.27 % (−26 px)\n" in text
    assert "sh001" not in text
    after = (place / "p.toml").read_bytes()
    lines = [b"|".join(pair) for pair in zip(before.splitlines(), after.splitlines()) if pair[0] != pair[1]]
    assert len(before.splitlines()) == len(after.splitlines())
    assert [line.split(b" ")[0] for line in lines] == [b"hit", b"as_planned", b"reason"]


def test_a_locked_shot_stays_as_it_is_to_the_byte(place, capsys):
    plan = place / "p.toml"
    text = plan.read_text().replace("pct = -1.074219", "pct = -0.2  ")
    head, second, third = text.rpartition('[[shot]]\nname = "sh003"')
    plan.write_text(head.replace("locked = false", "locked = true") + second + third)
    was = plan.read_text()
    told = said(capsys, "plan", write_table(place, other_shots, "n.csv"), "--update", plan, code=5)
    assert "sh001: locked, kept as it is\nsh002: locked, kept as it is\n" in told
    assert plan.read_text().split("[[shot]]")[1:3] == was.split("[[shot]]")[1:3]


def test_a_fill_by_hand_is_kept_where_another_is_asked_for(place, capsys):
    plan = place / "p.toml"
    head, _, second = plan.read_text().partition('name = "sh002"')
    plan.write_text(head + 'name = "sh002"' + second.replace('fill = "hide"', 'fill = "crop"', 1))
    text = said(capsys, "plan", place / "m.csv", "--update", plan, "--fill", "zoom")
    assert [shot.fill for shot in read_plan(plan).shots] == ["zoom", "crop", "zoom"]
    assert "sh002: fill decided by hand, kept" in text
    assert "settings\n  fill: hide → zoom\n" in text


def test_cuts_that_a_person_moved_are_kept_and_told(place, capsys):
    plan = place / "p.toml"
    changed(plan, {"last = 23": "last = 20", "first = 24": "first = 21", "{frame = 24, pct": "{frame = 21, pct"})
    text = said(capsys, "plan", place / "m.csv", "--update", plan, code=0)
    assert [(shot.first, shot.last) for shot in read_plan(plan).shots] == [(0, 20), (21, 47), (48, 71)]
    assert "frame 24: the measurement has a cut here, the plan has none; kept so\n" in text
    assert "frame 21: the plan has a cut here, the measurement has none; kept so\n" in text


def test_where_nothing_changes_that_is_said_and_every_byte_stays(place, capsys):
    plan = place / "p.toml"
    plan.write_bytes(b"\xef\xbb\xbf# ours\r\n" + plan.read_bytes().replace(b"\n", b"\r\n"))
    before = plan.read_bytes()
    text = said(capsys, "plan", place / "m.csv", "--update", plan)
    assert text == f"nothing changes\nwritten: {plan}\n"
    assert json.loads(said(capsys, "plan", place / "m.csv", "--update", plan, "--json"))["changes"] == []
    assert plan.read_bytes() == before


def test_an_update_run_twice_gives_the_same_bytes(place, capsys):
    plan, table = place / "p.toml", write_table(place, other_shots, "n.csv")
    changed(plan, EDITED)
    said(capsys, "plan", table, "--update", plan, code=5)
    once = plan.read_bytes()
    assert said(capsys, "plan", table, "--update", plan, code=5).startswith("nothing changes\n")
    assert plan.read_bytes() == once


def test_an_update_may_go_to_another_file_or_nowhere(place, capsys):
    plan, table, other = place / "p.toml", write_table(place, other_shots, "n.csv"), place / "q.toml"
    before, listing = plan.read_bytes(), tree(place)
    typed = ["plan", table, "--update", plan]
    for more in ([], ["-o", other]):
        told = said(capsys, *typed, *more, "--dry-run")
        assert "HIT: −1.07 % (−22 px) → −1.27 % (−26 px)" in told
        assert told.endswith(f"would write\n  {more[1] if more else plan}\n")
        data = json.loads(said(capsys, *typed, *more, "--dry-run", "--json"))
        assert data["would_write"] == [str(more[1] if more else plan)]
        assert [change["what"] for change in data["changes"]] == ["HIT"]
        assert "written" not in data
    assert (plan.read_bytes(), tree(place)) == (before, listing)
    said(capsys, *typed, "-o", other)
    assert plan.read_bytes() == before
    updated = other.read_bytes()
    fails(capsys, [*typed, "-o", other], 4, "q.toml", "--force")
    assert other.read_bytes() == updated
    said(capsys, *typed, "-o", other, "--force")
    said(capsys, *typed)
    assert plan.read_bytes() == updated


def test_an_update_can_explain_a_shot(place, capsys):
    text = said(capsys, "plan", place / "m.csv", "--update", place / "p.toml", "--why", "sh002")
    assert text.startswith("nothing changes\nsh002, frames 24 to 47, on cinema-12m\n")
    assert text.endswith(f"written: {place / 'p.toml'}\n")


def test_settings_of_a_plan_are_those_that_it_had_until_others_are_given(place, capsys):
    plan, settings = place / "p.toml", place / "set.toml"
    settings.write_text("[window]\nmargin_pct = 0.4\n[limits]\nnear_pct = -2.0\n")
    text = said(capsys, "plan", place / "m.csv", "--update", plan, "--settings", settings)
    assert "limits\n  near: −1.75 % → −2 %\n" in text
    assert "settings\n  limits, near added: −2 %\n  window, margin: 0.1 % → 0.4 %\n" in text
    assert "shot sh003, frames 48 to 71\n  window:" in text
    assert said(capsys, "plan", place / "m.csv", "--update", plan).startswith("nothing changes\n")
    settings.write_text("")
    text = said(capsys, "plan", place / "m.csv", "--update", plan, "--settings", settings)
    assert "settings\n  limits, near removed: −2 %\n  window, margin: 0.4 % → 0.1 %\n" in text


def test_eyes_that_are_no_longer_asked_for_are_those_of_the_screen_again(table, tmp_path, capsys):
    plan, settings = tmp_path / "p.toml", tmp_path / "set.toml"
    said(capsys, "plan", table, "--screen", CINEMA, "-o", plan, "--children")
    assert said(capsys, "plan", table, "--update", plan).startswith("nothing changes\n")
    settings.write_text("")
    text = said(capsys, "plan", table, "--update", plan, "--settings", settings)
    assert "screen\n  eye: 50 mm → 65 mm\n" in text
    assert (read_plan(plan).screen.eye_mm, read_plan(plan).settings.limits.eye_mm) == (65.0, None)


def test_eyes_of_a_screen_that_is_not_known_any_more_are_asked_for(table, tmp_path, capsys):
    plan, settings, screens = tmp_path / "p.toml", tmp_path / "set.toml", tmp_path / "screens.toml"
    screens.write_text('[[screen]]\nname = "barn"\nwidth_mm = 5200\ndistance_mm = 8000\neye_mm = 60\n')
    said(capsys, "plan", table, "--screen", "barn", "--screens", screens, "-o", plan, "--children")
    settings.write_text("")
    before, typed = plan.read_bytes(), ["plan", table, "--update", plan, "--settings", settings]
    fails(capsys, typed, 2, "--settings", "barn", "50 mm", "eye_mm", "--screens")
    assert plan.read_bytes() == before
    said(capsys, *typed, "--screens", screens)
    assert read_plan(plan).screen.eye_mm == 60.0


# --- subjects ----------------------------------------------------------------------------------------------------


SUBJECT = "subject = { frame = 2, box = [110, 60, 100, 70], at_pct = 0.1 }\n"
"""In the front of the made-up pair, which is drawn 0.6 % in front of its background."""


@pytest.fixture(scope="module")
def footage(tmp_path_factory):
    """A pair, and a table of it made by hand: what is looked for is in the footage, not in the table."""
    folder = tmp_path_factory.mktemp("footage")
    pair_files = write_pair(folder)
    pair = open_pair(*pair_files)
    clip = replace(clip_info(pair), footage=footage_of(source_files(pair)))
    (folder / "m.csv").write_text(table_text(measurement(lambda i: frame(-0.5, 0.3), FRAMES, (), clip)))
    return folder / "m.csv", pair_files


def test_a_subject_added_by_hand_is_looked_for_and_put_where_it_was_asked_for(footage, tmp_path, capsys):
    table, pair = footage
    plan = tmp_path / "p.toml"
    said(capsys, "plan", table, "--screen", TV, "-o", plan)
    changed(plan, {"locked = false\n": f"{SUBJECT}locked = false\n"})
    before = plan.read_bytes()
    typed = ["plan", table, "--update", plan]
    for more in ([], ["--dry-run"]):
        fails(capsys, [*typed, *more], 3, f"{plan}, shot sh001, subject", "--left and --right")
    assert plan.read_bytes() == before
    text = said(capsys, *typed, *source_words(*pair))
    (shot,) = read_plan(plan).shots
    assert shot.subject.found_pct == pytest.approx(-0.4, abs=0.05)  # drawn there: 0.2 - 0.6
    step_pct = 100.0 * 2 / 320
    assert shot.hit[0].pct + shot.subject.found_pct == pytest.approx(0.1, abs=step_pct / 2 + 1e-6)
    assert "subject" in shot.reason
    assert "shot sh001, frames 0 to 7\n" in text
    assert SUBJECT in plan.read_text()
    once = plan.read_bytes()
    assert said(capsys, *typed).startswith("nothing changes\n")
    assert plan.read_bytes() == once


def test_a_subject_pinned_in_the_settings_is_looked_for_on_every_screen(footage, tmp_path, capsys):
    table, pair = footage
    settings = tmp_path / "set.toml"
    settings.write_text(f'[[pin]]\nshot = "sh001"\n{SUBJECT}')
    typed = ["plan", table, "--screen", TV, "--screen", CINEMA, "--settings", settings, "-o", tmp_path / "plans"]
    fails(capsys, typed, 3, "set.toml, line 1", "--left and --right")
    text = said(capsys, *typed, *source_words(*pair), code=5)
    assert "* decided by hand" in text
    assert [line.split() for line in text.splitlines()][1] == ["sh001", "HIT", "+0.62*", "over", "0.38", "far*"]
    found = {read_plan(path).shots[0].subject.found_pct for path in (tmp_path / "plans").glob("*/plan.toml")}
    assert len(found) == 1
    assert found != {None}


@pytest.mark.parametrize("kept", ["locked = true", "hit = 0.0"])
def test_a_subject_that_nothing_follows_from_is_not_looked_for(footage, tmp_path, capsys, kept):
    table, _ = footage
    plan = tmp_path / "p.toml"
    said(capsys, "plan", table, "--screen", TV, "-o", plan)
    key, value = kept.split(" = ")
    lines = [f"{key} = {value}" if line.startswith(f"{key} = ") else line for line in plan.read_text().splitlines()]
    lines = [line for line in lines if not line.startswith("as_planned = {hit")]
    plan.write_text("\n".join([*lines, SUBJECT]))
    text = said(capsys, "plan", table, "--update", plan)
    assert "sh001: locked, kept" in text if key == "locked" else "sh001: the subject is passed over" in text
    assert read_plan(plan).shots[0].subject.found_pct is None


# --- compared ----------------------------------------------------------------------------------------------------


def test_two_plans_are_compared_in_text_and_as_json(place, capsys):
    a, b = place / "p.toml", place / "q.toml"
    b.write_bytes(a.read_bytes())
    assert said(capsys, "plan", "--diff", a, b) == "the plans are the same\n"
    assert json.loads(said(capsys, "plan", "--diff", a, b, "--json")) == {"exit_code": 0, "differences": []}
    changed(b, EDITED)
    text = said(capsys, "plan", "--diff", a, b)
    assert text.startswith("limits\n  far: 0.54 % → 0.75 %\nshot sh002, frames 24 to 47\n")
    assert "  HIT: −1.07 % (−22 px) → −0.78 % (−16 px)\n  decided by hand: nothing → HIT\n" in text
    fits_terminal(text)
    data = json.loads(said(capsys, "plan", "--diff", a, b, "--json"))
    assert data["differences"][0] == {
        "where": "limits", "what": "far", "before": "0.54 %", "after": "0.75 %", "kind": "changed",
    }  # fmt: skip
    assert tree(place) == ["m.csv", "p.toml", "q.toml"]


@pytest.mark.parametrize(
    "more", [["-o", "x.toml"], ["m.csv"], ["--screen", TV], ["--why", "sh001"], ["--fill", "zoom"], ["--children"]]
)
def test_what_a_comparison_would_pass_over_is_wrong_use(place, capsys, monkeypatch, more):
    monkeypatch.chdir(place)
    says = "a measurement" if more == ["m.csv"] else more[0]
    fails(capsys, ["plan", "--diff", "p.toml", "p.toml", *more], 2, "--diff", says, "leave that out")
    assert tree(place) == ["m.csv", "p.toml"]


# --- the same every time -----------------------------------------------------------------------------------------


def three_screens(table, out):
    settings = Path(table).with_name("set.toml")
    settings.write_text(
        "[convergence]\nhandover_frames = 6\n[screen.tv-55in.limits]\nfar_pct = 1.0\n[[pin]]\nframe = 30\nhit = -0.9\n"
    )
    words = [word for name in (CINEMA, TV, "cinema-20m") for word in ("--screen", name)]
    return ["plan", str(table), *words, "--settings", str(settings), "-o", str(out), "-q"]


def contents(folder):
    return {path.relative_to(folder).as_posix(): path.read_bytes() for path in folder.rglob("*") if path.is_file()}


def test_the_same_input_gives_the_same_plans_byte_for_byte(table, tmp_path):
    for out in ("a", "b"):
        assert main(three_screens(table, tmp_path / out)) in (0, 5)
    for seed in ("0", "4711"):
        typed = [sys.executable, "-m", "postfix", *three_screens(table, tmp_path / seed)]
        subprocess.run(typed, env={**os.environ, "PYTHONHASHSEED": seed}, timeout=60, check=False)
    first = contents(tmp_path / "a")
    assert len(first) == 3
    assert all(contents(tmp_path / other) == first for other in ("b", "0", "4711"))


def test_a_plan_does_not_depend_on_the_screens_beside_it(table, tmp_path, capsys):
    names = [CINEMA, TV, "cinema-20m"]
    for out, order in (("a", names), ("b", names[::-1])):
        words = [word for name in order for word in ("--screen", name)]
        said(capsys, "plan", table, *words, "-o", tmp_path / out)
    assert contents(tmp_path / "a") == contents(tmp_path / "b")
    for name in names:
        said(capsys, "plan", table, "--screen", name, "-o", tmp_path / f"{name}.toml")
        assert (tmp_path / f"{name}.toml").read_bytes() == contents(tmp_path / "a")[f"{name}/plan.toml"]
