"""What is finished is kept by --resume only where it is what would be made now."""

import shutil

import pytest
from clips import fails, source_words, tree, write_pair
from coded_files import make_coded

from postfix.cli import main
from postfix.job.unfinished import Unfinished

EDIT = """TITLE: GULLS
001  GULLS V C 00:00:00:00 00:00:00:03 00:00:00:00 00:00:00:03
002  GULLS V C 00:00:00:03 00:00:00:08 00:00:00:03 00:00:00:08
"""


@pytest.fixture(scope="module")
def pair(tmp_path_factory):
    return write_pair(tmp_path_factory.mktemp("in"), far_pct=1.4)


@pytest.fixture
def measured(pair, tmp_path):
    typed = ["measure", *source_words(*pair), "--one-shot", "-q", "-o", str(tmp_path / "m.csv")]
    assert main(typed) == 0
    return typed


def test_a_finished_measurement_is_kept_and_nothing_is_written(measured, tmp_path, capsys):
    before = (tmp_path / "m.csv").stat().st_mtime_ns
    assert main([*measured[:-3], *measured[-2:], "--resume"]) == 0
    assert "kept as an earlier run finished it" in capsys.readouterr().err
    assert (tmp_path / "m.csv").stat().st_mtime_ns == before


def test_a_finished_measurement_of_other_steps_or_cuts_is_refused(pair, measured, tmp_path, capsys):
    fails(capsys, [*measured, "--resume", "--every", "2"], 3, "another --every", "--force")
    (tmp_path / "t.edl").write_text(EDIT)
    typed = ["measure", *source_words(*pair), "-q", "-o", tmp_path / "m.csv", "--edit", tmp_path / "t.edl"]
    fails(capsys, [*typed, "--resume"], 3, "other cuts", "--force")
    quick = [*measured[:-1], str(tmp_path / "quick.csv"), "--every", "3"]
    assert main(quick) == 0
    assert main([*quick, "--resume"]) == 0
    fails(capsys, [*quick[:-2], "--resume"], 3, "another --every")


@pytest.fixture
def rendered(measured, pair, tmp_path):
    plan = str(tmp_path / "p.toml")
    assert main(["plan", str(tmp_path / "m.csv"), "--screen", "cinema-12m", "-q", "-o", plan]) in (0, 5)
    typed = ["render", *source_words(*pair), "--plan", plan, "-q", "-o", str(tmp_path / "out")]
    assert main([*typed, "--no-check"]) in (0, 5)
    return typed


def test_a_version_that_was_not_checked_does_not_pass_for_one_that_was(rendered, tmp_path, capsys):
    before = tree(tmp_path)
    fails(capsys, [*rendered, "--resume"], 4, "no check of what it wrote", "--force")
    assert main([*rendered, "--resume", "--no-check"]) in (0, 5)
    assert tree(tmp_path) == before


def test_a_version_made_with_another_policy_codec_or_layout_is_named(rendered, tmp_path, capsys):
    for extra, said in (
        (["--on-bad-frame", "black"], "another policy for bad frames"),
        (["--codec", "prores-hq"], "another codec"),
        (["--deliver", "side-by-side"], "other layouts of delivery"),
    ):
        fails(capsys, [*rendered, "--no-check", "--resume", *extra], 4, said)


def test_who_forgot_to_resume_is_told_of_it_first(rendered, pair, tmp_path, capsys):
    fails(capsys, [*rendered, "--no-check"], 4, "add --resume to keep what is finished, or --force")
    typed = ["run", *source_words(*pair), "--screen", "cinema-12m", "--no-check", "-q", "-o", tmp_path / "all"]
    assert main([str(word) for word in typed]) in (0, 5)
    # As a run that was broken off while it rendered leaves it.
    shutil.rmtree(tmp_path / "all" / "cinema-12m")
    work = Unfinished(tmp_path / "all" / "cinema-12m")
    work.folder.mkdir()
    work.begin({})
    work.mark("000000", {})
    fails(capsys, typed, 4, "finished by an earlier run that was broken off", "add --resume to carry it on")


def test_twelve_bits_are_measured_though_no_codec_of_the_source_would_write_them(tmp_path):
    pair = []
    for eye in ("left", "right"):
        made = make_coded(tmp_path / f"gull_{eye}.mov", "prores_aw", "yuv444p10le", {"profile": "4"})
        pair.append(made)
    assert main(["measure", *source_words(*pair), "-q", "-o", str(tmp_path / "m.csv")]) == 0


@pytest.mark.parametrize("size", [(128, 96), (64, 48), (96, 180)])
def test_small_pictures_are_measured(tmp_path, size):
    pair = write_pair(tmp_path / "in", size=size, far_pct=1.4)
    assert main(["measure", *source_words(*pair), "-q", "-o", str(tmp_path / "m.csv")]) == 0
