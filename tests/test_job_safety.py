"""Nothing of a person's is lost to the command: inputs, edited plans, files of their own."""

import json
import shutil
from fractions import Fraction
from pathlib import Path

import pytest
from clips import FRAMES, fails, source_words, tree, write_pair
from picture_files import fingerprints

from postfix.cli import main

MOVED_PCT = 1.4


@pytest.fixture(scope="module")
def made(tmp_path_factory):
    """A pair that must be moved, with its measurement, plan and version."""
    place = tmp_path_factory.mktemp("made")
    pair = write_pair(place / "in", far_pct=MOVED_PCT)
    table, plan = place / "m.csv", place / "p.toml"
    assert main(["measure", *source_words(*pair), "-o", str(table), "-q"]) == 0
    assert main(["plan", str(table), "--screen", "cinema-12m", "-o", str(plan), "-q"]) == 0
    typed = ["render", *source_words(*pair), "--plan", str(plan), "--no-check", "-o", str(place / "cinema"), "-q"]
    assert main(typed) == 0
    return place


@pytest.fixture
def job(made, tmp_path):
    """A copy of it that may be spoilt."""
    return shutil.copytree(made, tmp_path / "job")


def words(job, *names):
    left, right = (str(job / "in" / f"gull_{eye}.mkv") for eye in ("left", "right"))
    return ["--left", left, "--right", right, *names]


def refused(capsys, job, typed, *says):
    """Exit code 4, and every file as it was; not by way of --force either."""
    before = fingerprints(job)
    for extra in ([], ["--force"], ["--force", "--dry-run"]):
        line = fails(capsys, [*typed, *extra], 4, *says)
        assert "add --force" not in line or not extra
        assert fingerprints(job) == before


def test_the_plan_never_replaces_what_it_is_made_from(job, capsys):
    table = job / "m.csv"
    refused(capsys, job, ["plan", table, "--screen", "tv-55in", "-o", table], "m.csv")
    screens = job / "s.toml"
    screens.write_text('[[screen]]\nname = "barn"\nwidth_mm = 5200\ndistance_mm = 8000\n')
    refused(capsys, job, ["plan", table, "--screen", "barn", "--screens", screens, "-o", screens], "s.toml")


@pytest.mark.parametrize("inside", ["plan", "measurement"])
def test_a_version_that_holds_an_input_is_not_replaced(job, capsys, inside):
    plan, table = job / "p.toml", job / "m.csv"
    if inside == "plan":
        plan = job / "cinema" / "plan.toml"
    else:
        table = shutil.move(table, job / "cinema" / "left" / "m.csv")
    typed = ["render", *words(job, "--plan", plan, "--measurement", table, "-o", job / "cinema")]
    refused(capsys, job, typed, f"input {plan if inside == 'plan' else table}")


def test_one_clip_of_a_job_is_never_written_over_the_source_of_another(job, tmp_path, capsys):
    # The second clip is the version that an earlier run of the first one left.
    out = job / "out"
    (out / "gulls").mkdir(parents=True)
    version = shutil.move(job / "cinema", out / "gulls" / "cinema-12m")
    text = 'screens = ["cinema-12m"]\n'
    for name, folder in (("gulls", job / "in"), ("again", version)):
        left, right = (next(Path(folder).rglob(f"gull_{eye}.mkv")) for eye in ("left", "right"))
        text += f'[[clip]]\nname = "{name}"\nleft = "{left}"\nright = "{right}"\n'
    (tmp_path / "job.toml").write_text(text)
    typed = ["run", "--job", tmp_path / "job.toml", "-o", out]
    refused(capsys, job, typed, "source", "gull_left.mkv")


def test_render_never_replaces_a_folder_that_holds_more_than_a_version(job, capsys):
    typed = ["render", *words(job, "--plan", job / "p.toml", "-o", job)]
    refused(capsys, job, typed, "in its place")
    mine = job / "footage"
    shutil.copytree(job / "in", mine / "left")
    shutil.copytree(job / "in", mine / "right")
    typed[-1] = mine
    refused(capsys, job, typed, "move it away or choose another folder")
    (job / "file").write_text("mine")
    typed[-1] = job / "file"
    refused(capsys, job, typed, "a file there")
    refused(capsys, job, ["measure", *words(job, "-o", mine)], "a folder there")


def test_a_version_that_the_program_wrote_is_replaced_when_forced(job, capsys):
    typed = ["render", *words(job, "--plan", job / "p.toml", "--no-check", "-q", "-o", job / "cinema")]
    fails(capsys, typed, 4, "--force")
    assert main(["report", str(job / "cinema"), "-q"]) == 0
    assert main([str(word) for word in [*typed, "--force"]]) == 0
    assert not (job / "cinema" / "report.html").exists()


def test_resume_does_not_lose_a_plan_that_a_person_edited(job, capsys):
    out = job / "out"
    typed = ["run", *words(job, "--screen", "tv-55in", "--screen", "cinema-6m", "-o", str(out), "--no-check", "-q")]
    assert main(typed) == 0
    plan = out / "cinema-6m" / "plan.toml"
    plan.write_text(plan.read_text().replace("zoom = 1.0", "zoom = 1.01"))
    shutil.rmtree(out / "tv-55in")
    before = fingerprints(out)
    line = fails(capsys, [*typed, "--resume"], 4, str(plan), "render --plan", "away")
    assert "--force" not in line
    assert fingerprints(out) == before


def test_an_edit_list_other_than_that_of_the_earlier_run_is_named_in_good_english(job, capsys):
    out = job / "out"
    typed = ["run", *words(job, "--screen", "tv-55in", "-o", str(out), "--no-check", "-q")]
    assert main(typed) == 0
    fails(capsys, [*typed, "--resume", "--one-shot"], 3, "an earlier run with other cuts, expected")
    line = fails(capsys, [*typed, "--resume", "--one-shot", "--frames", "0-5"], 3)
    assert "an earlier run with other frames and other cuts, expected" in line


@pytest.mark.parametrize(
    ("other", "says"),
    [
        ({"frames": FRAMES - 2}, f"{FRAMES - 2} frames"),
        ({"frames": FRAMES + 2}, f"{FRAMES + 2} frames"),
        ({"size": (256, 144)}, "256x144"),
        ({"rate": Fraction(25)}, "25 frames/s"),
        ({"name": "tern"}, "clip 'tern'"),
    ],
)
def test_a_measurement_of_other_footage_is_refused_before_the_first_frame(job, capsys, other, says):
    name = other.pop("name", "gull")
    pair = [path.rename(path.with_name(path.name.replace("gull", name))) for path in write_pair(job / "o", **other)]
    assert main(["measure", *source_words(*pair), "-o", str(job / "other.csv"), "-q"]) == 0
    before = tree(job)
    typed = ["render", *words(job, "--plan", job / "p.toml", "--measurement", job / "other.csv", "-o", job / "new")]
    for extra in ([], ["--dry-run"]):
        fails(capsys, [*typed, *extra], 3, "other.csv", says, f"clip 'gull', {FRAMES} frames of 320x180 at 24 frames/s")
    assert tree(job) == before


def test_a_dry_run_refuses_what_the_real_run_would(job, capsys):
    table = job / "m.csv"
    (job / "old.toml").write_text("mine")
    for typed, code, says in (
        (["plan", table, "--screen", "tv-55in", "-o", job / "old.toml"], 4, "--force"),
        (["plan", table, "--screen", "tv-55in", "-o", table / "p.toml"], 4, "no folder"),
        (["demo", job], 4, "already there"),
        (["report", job / "in"], 3, "no changes.json"),
    ):
        before = fingerprints(job)
        assert fails(capsys, [*typed, "--dry-run"], code, says) == fails(capsys, typed, code, says)
        assert fingerprints(job) == before
    (job / "cinema" / "report.html").mkdir()
    fails(capsys, ["report", job / "cinema", "--dry-run"], 4, "report.html", "a folder there")


def test_a_dry_run_of_check_says_that_nothing_is_written(job, capsys):
    assert main(["check", *words(job, "--screen", "tv-55in", "--dry-run")]) == 0
    assert capsys.readouterr().out == f"would measure {FRAMES} frames; check writes nothing\n"


def test_the_page_of_what_render_wrote(job):
    assert main(["report", str(job / "cinema"), "-q"]) == 0
    assert "Review of gull" in (job / "cinema" / "report.html").read_text()


def test_the_page_takes_only_change_logs_of_this_program_and_names_the_others(job, capsys):
    for name, text in (("list", "[1, 2]"), ("other", '{"schema": "parcels/2"}'), ("broken", "{")):
        (job / name).mkdir()
        (job / name / "changes.json").write_text(text)
    assert main(["report", str(job)]) == 0
    told = capsys.readouterr().err
    for name in ("list", "other", "broken"):
        assert str(job / name / "changes.json") in told
    assert "Review of gull" in (job / "report.html").read_text()
    shutil.rmtree(job / "cinema")
    (job / "report.html").unlink()
    assert main(["report", str(job), "-q"]) == 3


def test_versions_of_different_clips_side_by_side_are_kept_apart(job):
    log = shutil.copytree(job / "cinema", job / "second") / "changes.json"
    data = json.loads(log.read_text())
    data["clip"]["name"] = "tern"
    log.write_text(json.dumps(data))
    assert main(["report", str(job), "-q"]) == 0
    page = (job / "report.html").read_text()
    assert "Clip gull" in page
    assert "Clip tern" in page
