"""A disk that fills: a small file system of its own, mounted for the test where that is allowed."""

import shutil
import subprocess
from contextlib import contextmanager

import pytest
from clips import fails, source_words, tree, write_pair

from postfix import commands_run
from postfix.cli import main


@contextmanager
def small_disk(place, kilobytes):
    place.mkdir()
    mount = shutil.which("mount")
    made = mount and subprocess.run(
        [mount, "-t", "tmpfs", "-o", f"size={kilobytes}k", "tmpfs", str(place)], capture_output=True, check=False
    )
    if not made or made.returncode:
        pytest.skip("no permission to mount a small disk here")
    try:
        yield place
    finally:
        subprocess.run(["umount", str(place)], check=True)


def test_a_full_disk_ends_a_run_in_one_sentence_and_a_larger_one_lets_it_carry_on(tmp_path, capsys, monkeypatch):
    # As where somebody else fills the disk once there was room enough for the whole job.
    monkeypatch.setattr(commands_run, "check_space", lambda *_: None)
    pair = write_pair(tmp_path / "in", far_pct=1.4)
    before = {path: path.read_bytes() for path in pair}
    room = sum(len(data) for data in before.values()) * 3 // 2 // 1024
    with small_disk(tmp_path / "disk", room) as disk:
        screens = ["--screen", "cinema-12m", "--screen", "cinema-20m"]
        typed = ["run", *source_words(*pair), *screens, "--no-check", "-q", "-o", disk / "out"]
        fails(capsys, typed, 4, "disk")
        # The measurement is whole, and nothing is left beside it but a version whose pictures were finished in time.
        assert [name for name in tree(disk / "out") if not name.startswith(".")] == [
            "measure",
            "measure/gull.csv",
            "measure/gull.origin.json",
        ]
        assert all(list(work.glob("marks/*.mark")) for work in (disk / "out").glob(".*unfinished"))
        # Room for both versions, and for the chart library beside the page.
        subprocess.run(["mount", "-o", f"remount,size={4 * room + 8192}k", str(disk)], check=True)
        assert main([str(word) for word in [*typed, "--resume"]]) in (0, 5)
        assert (disk / "out" / "cinema-20m" / "changes.json").is_file()
    assert {path: path.read_bytes() for path in pair} == before
