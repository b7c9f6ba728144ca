"""Jobs on sources in which frames cannot be decoded, as they are typed."""

import json

import pytest
from clips import source_words, tree, write_pair
from test_bad_frames import damaged

from postfix.cli import main
from postfix.source.pair import open_pair


@pytest.fixture(scope="module")
def damaged_pair(tmp_path_factory):
    folder = tmp_path_factory.mktemp("damaged")
    left, right = write_pair(folder / "whole", frames=10)
    return damaged(left, folder / left.name, [4]), right


def words(eyes, *others):
    return [*source_words(*eyes), "--one-shot", "--quiet", *map(str, others)]


def test_a_job_stops_unless_told_to_go_on(damaged_pair, tmp_path, capsys):
    assert main(["run", *words(damaged_pair, "--screen", "cinema-12m", "-o", tmp_path / "out")]) == 3
    assert f"{damaged_pair[0]}, frame 4: found a picture whose checksum is wrong" in capsys.readouterr().err


@pytest.mark.parametrize("on_bad", ["hold", "black"])
def test_a_job_that_goes_on_flags_the_shot_and_ends_with_5(damaged_pair, tmp_path, on_bad):
    typed = words(damaged_pair, "--screen", "cinema-12m", "--on-bad-frame", on_bad, "-o", tmp_path / "out")
    assert main(["run", *typed]) == 5
    (log_path,) = (tmp_path / "out").rglob("changes.json")
    log = json.loads(log_path.read_text(encoding="utf-8"))
    shown = "black" if on_bad == "black" else "frame 3"
    assert log["bad_frames"] == [
        {"frame": 4, "eye": "left", "reason": "a picture whose checksum is wrong", "shown": shown}
    ]
    assert [flag["code"] for flag in log["shots"][0]["flags"]] == ["bad_frame"]
    folder = log_path.parent
    eyes = [next(folder / name for name in tree(folder) if name.endswith(f"_{eye}.mkv")) for eye in ("left", "right")]
    pictures = [(left, right) for _, left, right in open_pair(*eyes).frames()]
    assert len(pictures) == 10
    same = [(pictures[4][eye][0] == pictures[3][eye][0]).all() for eye in (0, 1)]
    assert same == [on_bad == "hold"] * 2
    if on_bad == "black":
        assert {int(plane.max()) for plane in pictures[4][0]} == {64, 512}
    assert "cannot be read" in (tmp_path / "out" / "report.html").read_text(encoding="utf-8")


def test_check_flags_the_same(damaged_pair, capsys):
    typed = [*source_words(*damaged_pair), "--one-shot", "--screen", "cinema-12m", "--on-bad-frame", "hold", "--json"]
    assert main(["check", *typed]) == 5
    (shot,) = json.loads(capsys.readouterr().out)["shots"]
    assert [flag["code"] for flag in shot["flags"]] == ["bad_frame"]


def test_a_job_file_says_it_for_all_clips_or_for_one(damaged_pair, tmp_path, capsys):
    job = tmp_path / "job.toml"
    left, right = (json.dumps(str(path)) for path in damaged_pair)
    clip = f'[[clip]]\nname = "gull"\nleft = {left}\nright = {right}\none_shot = true\n'
    for text, code in (
        ('on_bad_frame = "hold"\n' + clip, 5),
        (clip + 'on_bad_frame = "black"\n', 5),
        ('on_bad_frame = "hold"\n' + clip + 'on_bad_frame = "stop"\n', 3),
        (clip + 'on_bad_frame = "skip"\n', 3),
    ):
        job.write_text(text, encoding="utf-8")
        typed = ["run", "--job", str(job), "--screen", "cinema-12m", "-o", str(tmp_path / "out"), "--force", "-q"]
        assert main(typed) == code, text
    assert "on_bad_frame: found 'skip', expected one of stop, hold, black" in capsys.readouterr().err
    job.write_text(clip, encoding="utf-8")
    assert main(["run", "--job", str(job), "--on-bad-frame", "hold", "-o", str(tmp_path / "out2"), "-q"]) == 2
