"""The command as a person types it: exit codes, one plain sentence for each error, nothing half-written."""

import json
import shutil
import subprocess
import sys
import tempfile
from dataclasses import replace
from fractions import Fraction
from pathlib import Path

import numpy as np
import pytest
from clips import FRAMES, SIZE, fails, source_words, tree, write_pair
from footage import SPECS, write_still, yuv422p10
from rights import ordinary_user

from postfix.cli import main
from postfix.deliver.video import write_video
from postfix.demo.layers import Layer, layered_scene
from postfix.source.opening import open_eye


@pytest.fixture(scope="session")
def good(tmp_path_factory):
    """A short pair that is within the limits."""
    return write_pair(tmp_path_factory.mktemp("good"))


def test_footage_within_its_limits_comes_out_sample_for_sample(good, tmp_path, capsys):
    out = tmp_path / "out"
    assert main(["run", *source_words(*good), "--screen", "cinema-12m", "-o", str(out)]) == 0
    for eye, path in zip(("left", "right"), good):
        assert (out / "cinema-12m" / eye / path.name).read_bytes() == path.read_bytes()
    shot = json.loads((out / "cinema-12m/changes.json").read_text())["shots"][0]
    assert shot["applied_hit_px"] == [0, 0]
    assert shot["window"] == []
    assert "ok" in capsys.readouterr().out


def test_a_far_background_is_brought_under_the_limit_and_logged(tmp_path, capsys):
    left, right = write_pair(tmp_path / "in", far_pct=1.4)
    out = tmp_path / "out"
    assert main(["run", *source_words(left, right), "--screen", "cinema-12m", "-o", str(out), "--json"]) == 0
    said = json.loads(capsys.readouterr().out)
    shot = said["versions"][0]["shots"][0]
    assert shot["before"]["far_pct"] == pytest.approx(1.4, abs=0.15)
    assert shot["after"]["far_pct"] <= 65 / 120
    assert shot["applied_hit_px"][0] < 0
    assert said["exit_code"] == 0


@pytest.mark.parametrize("kind", ["ffv1 10 bit", "tiff 16 bit"])
def test_beside_a_shot_that_is_moved_the_others_stay_sample_for_sample(tmp_path, kind):
    pictures = [layered_scene(*SIZE, [Layer(far, seed=far_seed), Layer(far - 0.6, (0.3, 0.3, 0.7, 0.8), 5)]).render(i)
                for far, far_seed in ((1.4, 1), (0.2, 2)) for i in range(FRAMES)]  # fmt: skip
    places = []
    for number, eye in enumerate(("left", "right")):
        shown = [(np.clip(np.asarray(pair[number]), 0, 1) * 65535).astype(np.uint16) for pair in pictures]
        if kind == "ffv1 10 bit":
            places.append(tmp_path / f"gull_{eye}.mkv")
            spec = replace(SPECS["ffv1.mkv"], width=SIZE[0], height=SIZE[1], timecode=None)
            write_video(places[-1], spec, (yuv422p10((picture >> 8).astype(np.uint8)) for picture in shown))
        else:
            places.append(tmp_path / eye)
            places[-1].mkdir()
            for frame, picture in enumerate(shown):
                write_still(places[-1] / f"gull.{frame:04d}.tif", picture)
    rate = [] if kind == "ffv1 10 bit" else ["--rate", "24"]
    out = tmp_path / "out"
    assert main(["run", *source_words(*places), *rate, "--screen", "cinema-12m", "-o", str(out), "-q"]) == 0
    shots = json.loads((out / "cinema-12m/changes.json").read_text())["shots"]
    assert [shot["applied_hit_px"][0] < 0 for shot in shots] == [True, False]
    (far_move,) = {shot["applied_hit_px"][0] for shot in shots[:1]}
    for place, eye in zip(places, ("left", "right")):
        written = out / "cinema-12m" / eye / (place.name if place.is_file() else "")
        sources = [open_eye(path, rate=Fraction(24) if rate else None) for path in (place, written)]
        for frame, (before, after) in enumerate(zip(*(source.frames() for source in sources))):
            if frame >= FRAMES:
                assert all(np.array_equal(a, b) for a, b in zip(before, after)), frame
            else:
                assert not np.array_equal(before[0], after[0])
    assert far_move % (1 if rate else 2) == 0


def test_a_tight_screen_gives_exit_code_five_and_says_what_is_outside(good, tmp_path, capsys):
    # A made-up wall 60 m wide seen from 3 m: nothing fits.
    code = main(["run", *source_words(*good), "--screen", "60000x3000", "-o", str(tmp_path / "out")])
    assert code == 5
    assert "outside" in capsys.readouterr().out


@pytest.mark.parametrize("eye", ["left", "right"])
def test_a_missing_file_is_named(good, tmp_path, capsys, eye):
    missing = tmp_path / "nowhere.mkv"
    pair = (missing, good[1]) if eye == "left" else (good[0], missing)
    typed = ["run", *source_words(*pair), "--screen", "tv-55in", "-o", tmp_path / "out"]
    fails(capsys, typed, 3, "nowhere.mkv", "found", "expected")
    assert tree(tmp_path) == []


@pytest.mark.parametrize("content", [b"", b"this is no film" * 50])
def test_an_empty_or_junk_file_is_named(good, tmp_path, capsys, content):
    junk = tmp_path / "junk.mov"
    junk.write_bytes(content)
    typed = ["run", *source_words(good[0], junk), "--screen", "tv-55in", "-o", tmp_path / "out"]
    fails(capsys, typed, 3, "junk.mov")
    assert tree(tmp_path) == ["junk.mov"]


def test_a_cut_short_file_is_told_from_a_whole_one(good, tmp_path, capsys):
    short = tmp_path / good[1].name
    data = good[1].read_bytes()
    short.write_bytes(data[: len(data) * 2 // 3])
    typed = ["run", *source_words(good[0], short), "--screen", "tv-55in", "-o", tmp_path / "out"]
    fails(capsys, typed, 3, short.name)
    assert short.read_bytes() == data[: len(data) * 2 // 3]
    assert tree(tmp_path) == [short.name]


@pytest.mark.parametrize(
    ("other", "says"),
    [
        ({"frames": FRAMES - 2}, f"{FRAMES - 2}"),
        ({"size": (256, 144)}, "256x144"),
        ({"rate": Fraction(25)}, "25"),
        ({"kind": "prores.mov", "size": (256, 144)}, "256x144"),
    ],
)
def test_eyes_that_do_not_match_are_refused_before_the_first_frame(good, tmp_path, capsys, other, says):
    _, right = write_pair(tmp_path / "in", eyes=("right",), **other)
    typed = ["run", *source_words(good[0], right), "--screen", "tv-55in", "-o", tmp_path / "out"]
    fails(capsys, typed, 3, says, right.name)
    assert not (tmp_path / "out").exists()


def stills(folder, numbers, dtype=np.uint8, size=SIZE):
    folder.mkdir(parents=True)
    rng = np.random.default_rng(2)
    for number in numbers:
        pixels = rng.integers(0, np.iinfo(dtype).max, (size[1], size[0], 3)).astype(dtype)
        write_still(folder / f"gull.{number:04d}.png", pixels)
    return folder


def test_eyes_of_different_depth_are_refused(tmp_path, capsys):
    left, right = stills(tmp_path / "l", range(3)), stills(tmp_path / "r", range(3), np.uint16)
    fails(capsys, ["measure", *source_words(left, right), "--rate", "24", "-o", tmp_path / "m.csv"], 3, "16")


def test_a_gap_in_numbered_stills_names_the_missing_numbers(tmp_path, capsys):
    left, right = stills(tmp_path / "l", [1, 2, 5, 6]), stills(tmp_path / "r", [1, 2, 5, 6])
    typed = ["measure", *source_words(left, right), "--rate", "24", "-o", tmp_path / "m.csv"]
    message = fails(capsys, typed, 3)
    assert "3" in message
    assert "4" in message
    assert not (tmp_path / "m.csv").exists()


def test_stills_without_a_rate_say_what_to_add(tmp_path, capsys):
    left, right = stills(tmp_path / "l", range(2)), stills(tmp_path / "r", range(2))
    message = fails(capsys, ["measure", *source_words(left, right), "-o", tmp_path / "m.csv"], 3)
    assert "--rate" in message


def test_an_unknown_screen_lists_those_that_exist(good, tmp_path, capsys):
    typed = ["run", *source_words(*good), "--screen", "cinema-13m", "-o", tmp_path / "out"]
    fails(capsys, typed, 2, "cinema-13m", "cinema-12m")


@pytest.mark.parametrize(
    "typed",
    [
        [],
        ["dance"],
        ["run", "-o", "out"],
        ["run", "--left", "a.mov", "--screen", "tv-55in", "-o", "out"],
        ["run", "--left", "a.mov", "--right", "b.mov", "-o", "out"],
        ["measure", "--left", "a.mov", "--right", "b.mov"],
        ["measure", "--left", "a.mov", "--right", "b.mov", "--rate", "fast", "-o", "m.csv"],
        ["check", "--left", "a", "--right", "b", "--screen", "tv-55in", "--edit", "x.edl", "--one-shot"],
    ],
)
def test_wrong_use_is_exit_code_two(typed, capsys, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    fails(capsys, typed, 2)
    assert tree(tmp_path) == []


def test_an_output_that_exists_is_left_alone_until_forced(good, tmp_path, capsys):
    out = tmp_path / "out"
    typed = ["run", *source_words(*good), "--screen", "tv-55in", "-o", str(out), "--no-check", "-q"]
    assert main(typed) == 0
    mine = out / "notes.txt"
    mine.write_text("keep me")
    fails(capsys, typed, 4, "--force")
    assert main([*typed, "--force"]) == 0
    assert mine.read_text() == "keep me"


def test_resume_keeps_what_was_finished_and_makes_the_rest(good, tmp_path, capsys):
    out = tmp_path / "out"
    typed = ["run", *source_words(*good), "-o", str(out), "--no-check", "-q", "--screen", "tv-55in"]
    assert main(typed) == 0
    kept = (out / "tv-55in/changes.json").stat().st_mtime_ns
    assert main([*typed, "--screen", "cinema-6m", "--resume"]) == 0
    assert (out / "tv-55in/changes.json").stat().st_mtime_ns == kept
    assert (out / "cinema-6m/changes.json").exists()
    other = write_pair(tmp_path / "in", far_pct=0.9)
    typed[1:5] = source_words(*other)
    fails(capsys, [*typed, "--resume"], 3, "another left eye")


def test_an_output_inside_the_source_is_refused(tmp_path, capsys):
    left, right = stills(tmp_path / "l", range(2)), stills(tmp_path / "r", range(2))
    typed = ["measure", *source_words(left, right), "--rate", "24", "-o", left / "m.csv"]
    fails(capsys, typed, 4, "inside")
    assert len(tree(left)) == 2


def test_an_output_below_a_file_cannot_be_written(good, tmp_path, capsys):
    (tmp_path / "file").write_text("")
    fails(capsys, ["measure", *source_words(*good), "-o", tmp_path / "file" / "m.csv"], 4)


def test_an_unwritable_folder_is_refused(good, capsys):
    with tempfile.TemporaryDirectory() as name:
        place = Path(name)
        place.chmod(0o755)
        pair = [shutil.copy(path, place) for path in good]
        closed = place / "closed"
        closed.mkdir(mode=0o555)
        with ordinary_user():
            fails(capsys, ["measure", *source_words(*pair), "-o", closed / "m.csv"], 4, "ermission", "closed")
        assert tree(closed) == []


def test_a_plan_for_other_footage_is_refused(good, tmp_path, capsys):
    table, plan = tmp_path / "m.csv", tmp_path / "p.toml"
    assert main(["measure", *source_words(*good), "-o", str(table), "-q"]) == 0
    assert main(["plan", str(table), "--screen", "tv-55in", "-o", str(plan), "-q"]) == 0
    other = write_pair(tmp_path / "in", frames=FRAMES - 1)
    fails(capsys, ["render", *source_words(*other), "--plan", plan, "-o", tmp_path / "out"], 3, "plan")
    assert not (tmp_path / "out").exists()


def test_one_step_at_a_time_gives_what_run_gives(tmp_path, capsys):
    pair = write_pair(tmp_path / "in", far_pct=1.4)
    table, plan, out = (str(tmp_path / name) for name in ("m.csv", "p.toml", "out"))
    whole = tmp_path / "whole"
    assert main(["run", *source_words(*pair), "--screen", "cinema-12m", "-o", str(whole), "-q"]) == 0
    assert main(["measure", *source_words(*pair), "-o", table, "-q"]) == 0
    assert main(["plan", table, "--screen", "cinema-12m", "-o", plan, "-q"]) == 0
    assert main(["render", *source_words(*pair), "--plan", plan, "--measurement", table, "-o", out, "-q"]) == 0
    assert (whole / "measure/gull.csv").read_bytes() == Path(table).read_bytes()
    for name in ("plan.toml", "changes.csv", "left/gull_left.mkv", "right/gull_right.mkv"):
        assert (whole / "cinema-12m" / name).read_bytes() == (Path(out) / name).read_bytes(), name


def test_a_dry_run_writes_nothing_and_says_what_it_would(good, tmp_path, capsys):
    typed = ["run", *source_words(*good), "--screen", "tv-55in", "-o", str(tmp_path / "out"), "--dry-run"]
    assert main(typed) == 0
    assert "tv-55in" in capsys.readouterr().out
    assert tree(tmp_path) == []


def test_an_error_is_json_when_json_is_asked_for(good, tmp_path, capsys):
    typed = ["measure", *source_words(good[0], tmp_path / "no.mkv"), "-o", str(tmp_path / "m.csv"), "--json"]
    assert main(typed) == 3
    said = json.loads(capsys.readouterr().out)
    assert said["exit_code"] == 3
    assert said["error"]["where"].endswith("no.mkv")
    assert said["error"]["next_step"]


def test_a_job_of_two_clips_runs_them_all(good, tmp_path, capsys):
    other = write_pair(tmp_path / "in", far_pct=1.4)
    job = tmp_path / "job.toml"
    job.write_text(
        f'screens = ["tv-55in"]\n[[clip]]\nname = "gulls"\nleft = "{good[0]}"\nright = "{good[1]}"\n'
        f'[[clip]]\nname = "far gulls"\nleft = "in/{other[0].name}"\nright = "in/{other[1].name}"\n'
        'screens = ["cinema-12m"]\none_shot = true\n'
    )
    out = tmp_path / "out"
    assert main(["run", "--job", str(job), "-o", str(out), "--no-check"]) == 0
    assert (out / "gulls/tv-55in/changes.json").is_file()
    assert (out / "far gulls/cinema-12m/changes.json").is_file()
    assert (out / "report.html").is_file()


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("", "clip"),
        ("[[clip]]\nname = 3\n", "name"),
        ('[[clip]]\nname = "a"\nleft = "l"\n', "right"),
        ('[[clip]]\nname = "../a"\nleft = "l"\nright = "r"\nscreens = ["tv-55in"]\n', "folder"),
        ('[[clip]]\nname = "a"\nleft = "l"\nright = "r"\n', "screens"),
        ('[[clip]]\nname = "a"\nleft = "l"\nright = "r"\nspeed = 2\nscreens = ["tv-55in"]\n', "speed"),
        ('screens = ["tv-55in"]\n' + '[[clip]]\nname = "a"\nleft = "l"\nright = "r"\n' * 2, "second"),
        ("not toml at all [", "job.toml"),
    ],
)
def test_a_wrong_job_file_is_refused_with_its_line(tmp_path, capsys, text, says):
    job = tmp_path / "job.toml"
    job.write_text(text)
    fails(capsys, ["run", "--job", job, "-o", tmp_path / "out"], 3, "job.toml", says)
    assert tree(tmp_path) == ["job.toml"]


@pytest.mark.parametrize(
    "command", ["demo", "measure", "plan", "render", "check", "preview", "report", "run", "shoot", "screens"]
)
def test_every_command_has_help_with_an_example(command, capsys):
    with pytest.raises(SystemExit) as stop:
        main([command, "--help"])
    assert stop.value.code == 0
    shown = capsys.readouterr().out
    assert f"postfix-stereo {command}" in shown
    assert "example:" in shown


def test_the_command_runs_as_a_process_and_tells_its_versions():
    done = subprocess.run([sys.executable, "-m", "postfix", "--version"], capture_output=True, text=True, check=True)
    for name in ("postfix-stereo", "Python", "numpy", "OpenCV", "PyAV", "FFmpeg"):
        assert name in done.stdout


def test_the_screens_are_listed_with_their_limits(capsys):
    assert main(["screens", "--json"]) == 0
    listed = {screen["name"]: screen for screen in json.loads(capsys.readouterr().out)["screens"]}
    # 65 mm on 12 m (common practice).
    assert listed["cinema-12m"]["limits"]["far_pct"] == pytest.approx(100 * 65 / 12000)
    assert main(["screens"]) == 0
    assert all(len(line) <= 80 for line in capsys.readouterr().out.splitlines())


def test_no_help_text_holds_what_its_maker_meant_for_itself(capsys):
    with pytest.raises(SystemExit):
        main(["--help"])
    text = capsys.readouterr().out
    assert "option_strings" not in text
    assert "mm, % and arcmin" in text
