"""What a person pins, chooses and edits, seen in the plans, the change log and the pictures that a run leaves."""

import json
from dataclasses import replace
from fractions import Fraction

import numpy as np
import pytest
from clips import SIZE, fails, source_words, tree
from footage import SPECS, yuv422p10

from postfix.cli import main
from postfix.deliver.video import write_video
from postfix.demo.layers import Layer, layered_scene
from postfix.plan.file import read_plan

SHOT_FRAMES = 6
FAR_PCT = (0.2, 0.5)
"""Parallax of the background of both shots; the front of each lies 0.6 % before it."""
SUBJECT = "{ frame = 8, box = [110, 60, 100, 70], at_pct = 0.0 }"
"""In the front of the second shot, which is drawn at -0.1 %."""
STEP_PCT = 100.0 * 2 / SIZE[0]


def write_kites(folder, name="kite", shots=FAR_PCT):
    """Both eyes of an edit of two shots."""
    folder.mkdir(parents=True, exist_ok=True)
    spec = replace(SPECS["ffv1.mkv"], width=SIZE[0], height=SIZE[1], rate=Fraction(24), timecode=None)
    scenes = [
        layered_scene(*SIZE, [Layer(far, seed=seed), Layer(far - 0.6, (0.3, 0.3, 0.7, 0.8), seed + 9)])
        for seed, far in enumerate(shots)
    ]
    shown = [scene.render(i) for scene in scenes for i in range(SHOT_FRAMES)]
    paths = [folder / f"{name}_{eye}.mkv" for eye in ("left", "right")]
    for number, path in enumerate(paths):
        eye = ((np.clip(np.asarray(pair[number]), 0, 1) * 255).astype(np.uint8) for pair in shown)
        write_video(path, spec, (yuv422p10(picture) for picture in eye))
    return paths


@pytest.fixture(scope="module")
def kites(tmp_path_factory):
    return write_kites(tmp_path_factory.mktemp("kites"))


def log_of(folder):
    """The shots of a version's change log, by name."""
    return {shot["name"]: shot for shot in json.loads((folder / "changes.json").read_text())["shots"]}


def plan_of(folder):
    plan = read_plan(folder / "plan.toml")
    return plan, {shot.name: shot for shot in plan.shots}


# --- run ---------------------------------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def pinned(kites, tmp_path_factory):
    """A run whose settings pin one shot by its name and a subject in the other, for two screens."""
    folder = tmp_path_factory.mktemp("pinned")
    (folder / "set.toml").write_text(
        "[window]\nmargin_pct = 0.2\n[screen.tv-55in.limits]\nfar_pct = 2.0\n"
        '[[pin]]\nshot = "s001"\nhit = -0.625\n'
        f"[[pin]]\nsubject = {SUBJECT}\n"
    )
    typed = ["run", *source_words(*kites), "--screen", "cinema-12m", "--screen", "tv-55in", "-q"]
    assert main([*typed, "--settings", str(folder / "set.toml"), "-o", str(folder / "out")]) in (0, 5)
    return folder / "out"


def test_a_shot_pinned_by_name_has_that_hit_on_every_screen(pinned):
    for screen in ("cinema-12m", "tv-55in"):
        _, shots = plan_of(pinned / screen)
        assert (shots["s001"].hit[0].pct, shots["s001"].by_hand) == (-0.625, ("hit",))
        entry = log_of(pinned / screen)["s001"]
        assert entry["applied_hit_px"] == [-2, -2]
        assert entry["reason"].startswith("HIT −0.6")
        assert "given by hand" in entry["reason"]


def test_a_subject_pinned_in_the_footage_lies_where_it_was_asked_for(pinned):
    for screen in ("cinema-12m", "tv-55in"):
        _, shots = plan_of(pinned / screen)
        subject = shots["s002"].subject
        assert subject.found_pct == pytest.approx(-0.1, abs=0.05)
        applied_pct = log_of(pinned / screen)["s002"]["applied_hit_px"][0] * 100.0 / SIZE[0]
        assert applied_pct + subject.found_pct == pytest.approx(0.0, abs=STEP_PCT / 2)
        assert "subject" in log_of(pinned / screen)["s002"]["reason"]


def test_settings_for_all_and_for_one_screen_are_in_the_plans(pinned):
    cinema, _ = plan_of(pinned / "cinema-12m")
    tv, _ = plan_of(pinned / "tv-55in")
    assert cinema.settings.window.margin_pct == tv.settings.window.margin_pct == 0.2
    assert (cinema.settings.limits.far_pct, tv.settings.limits.far_pct) == (None, 2.0)
    assert tv.limits.far_pct == 2.0
    assert "given by hand (set.toml, line 3)" in tv.limits.far_rule
    log = json.loads((pinned / "tv-55in/changes.json").read_text())
    assert log["limits"]["far_pct"] == 2.0


def test_a_box_of_the_settings_outside_the_picture_is_refused_before_anything_is_measured(kites, tmp_path, capsys):
    (tmp_path / "set.toml").write_text("[[pin]]\nsubject = { frame = 8, box = [300, 60, 100, 70], at_pct = 0.0 }\n")
    typed = ["run", *source_words(*kites), "--screen", "tv-55in", "--settings", tmp_path / "set.toml"]
    for more in ([], ["--dry-run"]):
        fails(capsys, [*typed, "-o", tmp_path / "out", *more], 3, "set.toml, line 1", "320x180")
    assert tree(tmp_path) == ["set.toml"]


def test_settings_for_an_unknown_screen_are_refused_before_anything_is_measured(kites, tmp_path, capsys):
    (tmp_path / "set.toml").write_text('[screen."cinema-13m".window]\nmax_pct = 2.0\n')
    typed = ["run", *source_words(*kites), "--screen", "tv-55in", "--settings", tmp_path / "set.toml"]
    fails(capsys, [*typed, "-o", tmp_path / "out"], 3, "set.toml, line 1", "cinema-13m")
    assert tree(tmp_path) == ["set.toml"]


@pytest.mark.parametrize(
    ("text", "line", "says"),
    [
        ('[[pin]]\nshot = "s009"\nhit = 0.3\n', 1, ["s009", "s001, s002"]),
        ('[[pin]]\nshot = "s002"\nhit = 0.3\n[[pin]]\nframe = 7\nhit = 0.2\n', 4, ["s002", "line 1"]),
    ],
)
def test_a_pin_that_no_shot_found_can_take_leaves_the_measurement_and_no_version(
    kites, tmp_path, capsys, text, line, says
):
    settings, out = tmp_path / "set.toml", tmp_path / "out"
    settings.write_text(text)
    typed = ["run", *source_words(*kites), "--screen", "tv-55in", "--settings", settings, "-o", out, "--no-check"]
    fails(capsys, typed, 3, f"set.toml, line {line}", *says)
    assert tree(out) == ["measure", "measure/kite.csv", "measure/kite.origin.json"]
    settings.write_text('[[pin]]\nshot = "s002"\nhit = 0.625\n')
    assert main([str(word) for word in [*typed, "--resume", "-q"]]) == 0
    assert log_of(out / "tv-55in")["s002"]["applied_hit_px"] == [2, 2]


# --- job ---------------------------------------------------------------------------------------------------------


JOB = """\
screens = ["cinema-12m", "tv-55in"]

[settings.window]
margin_pct = 0.2

[settings.screen."tv-55in".limits]
far_pct = 2.0

[[clip]]
name = "first"
left = "{0}"
right = "{1}"
subject = {2}

[clip.settings.convergence]
jump_arcmin = 20.0

[clip.settings.screen."tv-55in".limits]
far_pct = 2.5

[[clip.shot]]
name = "s001"
hit = -0.625

[[clip]]
name = "second"
left = "{0}"
right = "{1}"
frames = "0-5"
one_shot = true
hit = 0.625
screens = ["cinema-12m"]
"""


@pytest.fixture(scope="module")
def job(kites, tmp_path_factory):
    folder = tmp_path_factory.mktemp("job")
    (folder / "job.toml").write_text(JOB.format(*(path.as_posix() for path in kites), SUBJECT))
    typed = ["run", "--job", str(folder / "job.toml"), "-o", str(folder / "out"), "--no-check", "-q", "--json"]
    assert main(typed) in (0, 5)
    return folder / "out"


def test_shots_and_subjects_of_a_job_are_in_plans_and_change_logs(job):
    for screen in ("cinema-12m", "tv-55in"):
        _, shots = plan_of(job / "first" / screen)
        log = log_of(job / "first" / screen)
        assert shots["s001"].hit[0].pct == -0.625
        assert log["s001"]["applied_hit_px"] == [-2, -2]
        assert "given by hand" in log["s001"]["reason"]
        assert shots["s002"].subject.box == (110, 60, 100, 70)
        assert shots["s002"].subject.found_pct == pytest.approx(-0.1, abs=0.05)
    _, shots = plan_of(job / "second/cinema-12m")
    assert [(shot.name, shot.hit[0].pct, shot.by_hand) for shot in shots.values()] == [("s001", 0.625, ("hit",))]


def test_settings_of_a_job_of_a_clip_and_of_a_screen_go_one_over_the_other(job):
    chosen = {
        (clip, screen): plan_of(job / clip / screen)[0].settings
        for clip, screen in (("first", "cinema-12m"), ("first", "tv-55in"), ("second", "cinema-12m"))
    }
    assert {one.window.margin_pct for one in chosen.values()} == {0.2}
    assert [one.convergence.jump_arcmin for one in chosen.values()] == [20.0, 20.0, 30.0]
    assert [one.limits.far_pct for one in chosen.values()] == [None, 2.5, None]
    log = json.loads((job / "first/tv-55in/changes.json").read_text())
    assert log["limits"]["far_pct"] == 2.5
    assert "job.toml, line" in log["limits"]["far_rule"]


@pytest.mark.parametrize(
    ("old", "new", "says"),
    [
        ('name = "second"', 'name = "first"', ["first"]),
        ('frames = "0-5"\n', "", ["same footage", "'first'"]),
        ("hit = -0.625", "hit = -0.625\ndepth = 1", ["depth", "not known"]),
        ("hit = -0.625", "hit = nan", ["hit", "nan"]),
        ("frame = 8", "frame = 12", ["frame 12", "0 to 11"]),
        ("box = [110,", "box = [300,", ["320x180"]),
        ('name = "s001"\n', "frame = 8\n", ["frame", "line"]),
        ("jump_arcmin = 20.0", "jump_arcmin = inf", ["jump_arcmin", "inf"]),
        ("far_pct = 2.5", "far_pct = 2.5\nnear_pct = 3.0", ["near_pct", "far_pct", "tv-55in"]),
        ('[settings.screen."tv-55in".limits]', '[settings.screen."tv-65in".limits]', ["tv-65in"]),
    ],
)
def test_a_job_that_cannot_be_meant_is_refused_before_anything_is_measured(kites, tmp_path, capsys, old, new, says):
    text = JOB.format(*(path.as_posix() for path in kites), SUBJECT)
    assert old in text
    (tmp_path / "job.toml").write_text(text.replace(old, new, 1))
    fails(capsys, ["run", "--job", tmp_path / "job.toml", "-o", tmp_path / "out"], 3, "job.toml, line", *says)
    assert tree(tmp_path) == ["job.toml"]


def test_a_file_of_settings_beside_a_job_is_wrong_use(tmp_path, capsys):
    typed = ["run", "--job", tmp_path / "job.toml", "--settings", tmp_path / "set.toml", "-o", tmp_path / "out"]
    fails(capsys, typed, 2, "--settings", "settings_file")
    assert tree(tmp_path) == []


# --- a plan that a person edited ---------------------------------------------------------------------------------


def edited_plan(folder, to, pct):
    """The plan of a version with the HIT of its first shot typed anew."""
    text = (folder / "plan.toml").read_text()
    first = "hit = [{frame = 0, pct = -0.625}]"
    assert first in text
    to.write_text(text.replace(first, f"hit = [{{frame = 0, pct = {pct}}}]"))
    return to


def test_a_hit_typed_into_a_plan_is_rendered_and_said_to_be_by_hand_where_it_breaks_a_limit(
    job, kites, tmp_path, capsys
):
    plan = edited_plan(job / "first/cinema-12m", tmp_path / "edited.toml", 1.875)
    out = tmp_path / "out"
    typed = ["render", *source_words(*kites), "--plan", str(plan), "-o", str(out)]
    measured = ["--measurement", str(job / "first/measure/kite.csv")]
    assert main([*typed, *measured]) == 5
    told = " ".join(capsys.readouterr().out.split())
    shot = log_of(out)["s001"]
    assert shot["applied_hit_px"] == [6, 6]
    assert shot["after"]["median_pct"] - shot["before"]["median_pct"] == pytest.approx(1.875, abs=0.15)
    (flag,) = [flag for flag in shot["flags"] if flag["code"] == "far"]
    assert "given by hand" in flag["text"]
    assert "cinema-12m, s001: far is +2." in told
    assert "given by hand" in told
    _, shots = plan_of(out)
    assert shots["s001"].hit[0].pct == 1.875


def test_a_version_is_not_rendered_from_a_plan_for_other_frames_of_the_same_measures(job, tmp_path, capsys):
    other = write_kites(tmp_path / "in", shots=(0.25, 0.5))
    before = tree(tmp_path)
    plan = job / "first/cinema-12m/plan.toml"
    mark = read_plan(plan).clip.footage
    assert len(mark) == 16
    typed = ["render", *source_words(*other), "--plan", plan, "-o", tmp_path / "out"]
    fails(capsys, typed, 3, str(plan), mark, "plan again")
    assert tree(tmp_path) == before


def test_a_subject_that_cannot_be_found_in_the_last_clip_is_said_before_the_first_frame_of_any(tmp_path, capsys):
    left, right = write_kites(tmp_path / "in")
    tiny = "{ frame = 2, box = [0, 0, 7, 7], at_pct = 0.0 }"
    (tmp_path / "job.toml").write_text(
        f'screens = ["tv-55in"]\n[[clip]]\nname = "one"\nleft = "{left}"\nright = "{right}"\nframes = "0-3"\n'
        f'[[clip]]\nname = "two"\nleft = "{left}"\nright = "{right}"\nframes = "4-7"\nsubject = {tiny}\n'
    )
    before = tree(tmp_path)
    fails(capsys, ["run", "--job", tmp_path / "job.toml", "-o", tmp_path / "out"], 3, "job.toml", "frame 2")
    assert tree(tmp_path) == before
