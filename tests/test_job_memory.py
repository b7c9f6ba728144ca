"""How much memory a job takes: reckoned before it begins, kept to, refused where it is too little."""

import logging
import subprocess
import sys
from dataclasses import replace
from fractions import Fraction
from pathlib import Path

import pytest
from clips import fails, write_pair
from footage import SPECS, panned, write_tiffs, yuv422p10

from postfix.cli import main
from postfix.deliver.delivery import Delivery
from postfix.deliver.video import write_video
from postfix.effort import Effort, current, using
from postfix.errors import UsageError
from postfix.job.memory import fitting, least_bytes, peak_bytes, settle_for
from postfix.source.ahead import frames_ahead
from postfix.source.pair import open_pair

sys.path.insert(0, str(Path(__file__).parent / "bench"))
from run_time import CHILD


def write_large(folder, frames):
    """Both eyes in 1280x720: the panned crop, enlarged."""
    folder.mkdir(parents=True)
    spec = replace(SPECS["prores.mov"], width=1280, height=720)
    paths = [folder / f"gull_{eye}.mov" for eye in ("left", "right")]
    for path, eye in zip(paths, ("left", "right")):
        shown = (getattr(panned(index), eye).repeat(2, 0).repeat(2, 1) for index in range(frames))
        write_video(path, spec, (yuv422p10(picture) for picture in shown))
    return paths


@pytest.fixture(params=["video", "stills"])
def pair(tmp_path, request):
    if request.param == "video":
        return open_pair(*write_pair(tmp_path / "in"))
    return open_pair(*write_tiffs(tmp_path / "in", frames=3), rate=Fraction(24))


def test_more_workers_longer_queues_and_more_screens_take_more(pair):
    one = peak_bytes(pair, Effort(1, 1, 1))
    assert one < peak_bytes(pair, Effort(4, 1, 1)) < peak_bytes(pair, Effort(4, 1, 6))
    versions = [peak_bytes(pair, Effort(2, 1), Delivery(), count) for count in (0, 1, 2, 8)]
    assert versions == sorted(set(versions))


def test_what_fits_is_kept_and_what_does_not_is_brought_down_until_it_does(pair):
    asked = Effort(6, memory_bytes=10**12)
    assert fitting(asked, [pair], Delivery(), 2) == asked
    most = peak_bytes(pair, asked, Delivery(), 2)
    least = least_bytes(pair, Delivery(), 2)
    tight = fitting(Effort(6, (most + least) // 2), [pair], Delivery(), 2)
    assert (tight.workers, tight.ahead) < (6, 6)
    assert peak_bytes(pair, tight, Delivery(), 2) <= (most + least) // 2
    assert fitting(Effort(6, least), [pair], Delivery(), 2) == Effort(1, least, 1)
    with pytest.raises(UsageError, match=rf"at least {-(-least // 10**6)}M for 640x360|at least \d+M for 320x180"):
        fitting(Effort(6, least - 1), [pair], Delivery(), 2)


def test_no_bound_leaves_everything_as_it_was(pair):
    assert fitting(Effort(6), [pair], Delivery(), 8) == Effort(6)


def test_of_several_clips_all_fit(tmp_path):
    small = open_pair(*write_pair(tmp_path / "small"))
    large = open_pair(*write_large(tmp_path / "large", 1))
    bound = least_bytes(large)
    assert fitting(Effort(6, bound), [small], None).workers > 1
    assert fitting(Effort(6, bound), [small, large]) == Effort(1, bound, 1)


def test_what_was_settled_holds_for_the_queues_and_is_told(pair, caplog):
    least = least_bytes(pair)
    with caplog.at_level(logging.DEBUG, "postfix"), using(Effort(8, least)):
        settle_for([pair])
        assert current() == Effort(1, least, 1)
        assert frames_ahead(pair.format) == 1
    assert "effort: 1 worker, at most 1 frame in a queue, to stay within" in caplog.text


@pytest.mark.parametrize("command", ["measure", "render", "check", "run", "preview"])
def test_too_little_is_refused_before_the_first_frame_with_the_least_that_would_do(tmp_path, capsys, command):
    left, right = write_pair(tmp_path / "in", frames=2)
    source = ["--left", left, "--right", right]
    table, plan = tmp_path / "m.csv", tmp_path / "p.toml"
    if command == "render":
        assert main(["measure", *map(str, source), "-q", "-o", str(table)]) == 0
        assert main(["plan", str(table), "--screen", "tv-55in", "-q", "-o", str(plan)]) in (0, 5)
    words = {
        "measure": ["-o", table],
        "render": ["--plan", plan, "-o", tmp_path / "out"],
        "check": ["--screen", "tv-55in"],
        "run": ["--screen", "tv-55in", "--screen", "cinema-12m", "-o", tmp_path / "out"],
        "preview": ["-o", tmp_path / "a.png", "--at", "0"],
    }[command]
    said = fails(capsys, [command, *source, *words, "--memory", "20M"], 2, "--memory 20 MB", "at least")
    least = next(word for word in said.split() if word.endswith("M") and word[:-1].isdigit())
    assert not (tmp_path / "out").exists()
    assert main([str(word) for word in [command, *source, *words, "-q", "--memory", least]]) in (0, 5)


@pytest.mark.skipif(not sys.platform.startswith("linux"), reason="the kernel's high-water mark")
def test_a_process_stays_within_the_least_that_it_reckons(tmp_path):
    left, right = write_large(tmp_path / "in", 4)
    least = least_bytes(open_pair(left, right))
    typed = ["measure", "--left", left, "--right", right, "--one-shot", "-q", "-o", tmp_path / "m.csv"]
    words = [sys.executable, "-c", CHILD, *map(str, [*typed, "--memory", least])]
    done = subprocess.run(words, capture_output=True, text=True, check=True)
    assert int(done.stderr.split()[-1]) * 1024 <= least
