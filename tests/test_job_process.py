"""The command as a real process: pipes that close, devices that are full, signals, and two runs at once."""

import json
import os
import signal
import socket
import struct
import subprocess
import sys
import time
from contextlib import contextmanager
from pathlib import Path

import pytest
from clips import fails, source_words, tree, write_pair

from postfix.cli import main
from postfix.errors import OutputError
from postfix.job.lock import LOCK, claimed

FULL = Path("/dev/full")
needs_full = pytest.mark.skipif(not FULL.exists(), reason="no device that is always full")
needs_signals = pytest.mark.skipif(sys.platform == "win32", reason="no SIGTERM to catch")


@pytest.fixture(scope="module")
def pair(tmp_path_factory):
    """A short pair that must be moved, so that pictures are rendered."""
    return write_pair(tmp_path_factory.mktemp("pair"), far_pct=1.4)


def process(typed, stdout, held_back=True):
    """``held_back``: Python meets a stdout that fails only when what it holds back is sent on, else at once."""
    env = {name: value for name, value in os.environ.items() if name != "PYTHONUNBUFFERED"}
    if not held_back:
        env["PYTHONUNBUFFERED"] = "1"
    return subprocess.run(
        [sys.executable, "-m", "postfix", *map(str, typed)],
        stdout=stdout, stderr=subprocess.PIPE, text=True, timeout=LONG_S, check=False, env=env,
    )  # fmt: skip


@pytest.mark.parametrize("held_back", [True, False])
@pytest.mark.parametrize("typed", [["screens"], ["screens", "--json"], ["--help"], ["--version"]])
def test_a_reader_that_goes_away_is_no_fault(typed, held_back):
    reading, writing = os.pipe()
    os.close(reading)
    try:
        done = process(typed, writing, held_back)
    finally:
        os.close(writing)
    assert (done.returncode, done.stderr) == (0, "")


def test_the_exit_code_of_the_work_stands_when_nobody_reads_its_result(pair):
    reading, writing = os.pipe()
    os.close(reading)
    try:
        done = process(["check", *source_words(*pair), "--screen", "cinema-12m", "-q", "--json"], writing)
    finally:
        os.close(writing)
    assert (done.returncode, done.stderr) == (5, "")


@needs_full
@pytest.mark.parametrize("held_back", [True, False])
@pytest.mark.parametrize("typed", [["screens"], ["screens", "--json"], ["--help"], ["run", "--json"]])
def test_a_full_device_is_said_in_one_sentence(typed, held_back, pair, tmp_path):
    if typed[0] == "run":
        typed = [*typed, *source_words(*pair), "--screen", "cinema-12m", "--no-check", "-q", "-o", tmp_path / "out"]
    with FULL.open("w") as full:
        done = process(typed, full, held_back)
    assert done.returncode == 4
    (line,) = done.stderr.splitlines()
    assert line.startswith("postfix-stereo: standard output: ")
    assert "No space left" in line
    if typed[0] == "run":
        assert (tmp_path / "out" / "cinema-12m" / "changes.json").is_file()
        assert not (tmp_path / "out" / LOCK).exists()


@needs_full
def test_an_error_keeps_its_code_where_its_json_cannot_be_printed():
    with FULL.open("w") as full:
        done = process(["measure", "--left", "no", "--right", "none", "-o", "m.csv", "--json"], full)
    assert done.returncode == 3
    assert len(done.stderr.splitlines()) == 1


def test_letters_that_the_output_has_no_place_for_do_not_stop_it(pair):
    done = subprocess.run(
        [sys.executable, "-m", "postfix", "check", *source_words(*pair), "--screen", "tv-55in"],
        env={**os.environ, "PYTHONIOENCODING": "ascii"}, capture_output=True, timeout=LONG_S, check=False,
    )  # fmt: skip
    assert done.returncode in (0, 5)
    assert b"near %" in done.stdout


_SLOW = """
import sys, time
import postfix.job.rendering as rendering
from postfix.cli import main
render = rendering.render_pair
def slow(*arguments, **named):
    time.sleep(0.5)
    return render(*arguments, **named)
rendering.render_pair = slow
sys.exit(main(sys.argv[1:]))
"""


_WAITING = """
import contextlib, pathlib, sys
import postfix.job.checksums as checksums
from postfix.cli import main
beside = checksums.checksums_beside
@contextlib.contextmanager
def told_of(*arguments):
    with beside(*arguments) as wait:
        yield lambda: (mark.touch(), wait())[1]
checksums.checksums_beside = told_of
mark = pathlib.Path(sys.argv.pop(1))
sys.exit(main(sys.argv[1:]))
"""
"""Leaves a mark when all is measured and nothing but the checksums is waited for."""

LONG_S = 120.0
"""Far longer than anything here takes on a machine that is busy with other things; what hangs is found all the same."""


def comes(what, running):
    """Wait until something holds while a process goes on."""
    until_s = time.monotonic() + LONG_S
    while not what():
        assert running.poll() is None, running.stderr.read()
        assert time.monotonic() < until_s
        time.sleep(0.02)


def started(*words, sigint=signal.SIG_DFL):
    """Python as a process that hears SIGINT, also where these tests run in a background that ignores it."""
    hear = None if sys.platform == "win32" else lambda: signal.signal(signal.SIGINT, sigint)
    return subprocess.Popen([sys.executable, *words], stderr=subprocess.PIPE, text=True, preexec_fn=hear)


@contextmanager
def rendering(pair, out):
    """The command as a process of its own, caught while it renders."""
    typed = ["run", *source_words(*pair), "--screen", "cinema-12m", "-q", "-o", str(out)]
    with started("-c", _SLOW, *typed) as running:
        try:
            comes(lambda: list(out.glob(".*unfinished*/parts/left/*")), running)
            yield running
        finally:
            running.kill()


@needs_signals
@pytest.mark.parametrize("number", [signal.SIGTERM, signal.SIGINT])
def test_an_end_from_outside_clears_up(pair, tmp_path, number):
    out = tmp_path / "out"
    with rendering(pair, out) as running:
        running.send_signal(number)
        assert running.wait(LONG_S) == 130
        assert "interrupted" in running.stderr.read()
    assert tree(out) == ["measure", "measure/gull.csv", "measure/gull.origin.json"]


@needs_signals
@pytest.mark.parametrize("number", [signal.SIGTERM, signal.SIGINT])
def test_checksums_that_are_still_read_do_not_hold_an_end_from_outside_up(tmp_path, number):
    """Of a source so long that reading it takes minutes: after its pictures there is free space, a hole of 300 GB."""
    long = write_pair(tmp_path / "in", kind="prores.mov", far_pct=1.4)
    for path in long:
        size = 300_000_000_000
        with path.open("ab") as file:
            file.write(struct.pack(">I4sQ", 1, b"free", size))
        os.truncate(path, path.stat().st_size - 16 + size)
    typed = ["run", *source_words(*long), "--screen", "cinema-12m", "-q", "-o", str(tmp_path / "out")]
    measured = tmp_path / "measured"
    with started("-c", _WAITING, str(measured), *typed) as running:
        try:
            comes(measured.exists, running)
            running.send_signal(number)
            assert running.wait(LONG_S / 2) == 130
        finally:
            running.kill()
    # What was measured by then is kept, hidden, for a later run; nothing has its own name.
    assert not (tmp_path / "out").exists() or not [name for name in tree(tmp_path / "out")[1:] if "/." not in name]


@needs_signals
def test_a_second_run_into_the_same_folder_is_refused_at_its_start(pair, tmp_path, capsys):
    out = tmp_path / "out"
    with rendering(pair, out) as running:
        # Held still, so that every change to the folder is the second run's.
        running.send_signal(signal.SIGSTOP)
        os.waitpid(running.pid, os.WUNTRACED)
        before = tree(out)
        for extra in (["--force"], ["--resume"], ["--dry-run"], []):
            typed = ["run", *source_words(*pair), "--screen", "tv-55in", "-o", out, *extra]
            fails(capsys, typed, 4, f"process {running.pid}", "at work")
        assert tree(out) == before


def test_what_a_killed_run_left_is_taken_over(pair, tmp_path, capsys):
    out = tmp_path / "out"
    with rendering(pair, out) as running:
        running.kill()
        running.wait(LONG_S)
    assert (out / LOCK).exists()
    assert list(out.glob(".*unfinished*"))
    typed = ["run", *source_words(*pair), "--screen", "cinema-12m", "--no-check", "-o", str(out), "--resume"]
    assert main(typed) == 0
    told = capsys.readouterr().err
    assert f"left by process {running.pid}, which no longer runs; taken over" in told
    assert not [name for name in tree(out) if name.startswith(".")]


def hold(out, **facts):
    out.mkdir()
    mine = {"pid": os.getpid(), "host": socket.gethostname(), "started": ""}
    (out / LOCK).write_text(json.dumps({**mine, **facts}))


def test_a_claim_of_another_machine_is_never_taken_over(tmp_path):
    hold(tmp_path / "out", pid=1, host="another-machine.invalid")
    with pytest.raises(OutputError, match=r"process 1 on another-machine\.invalid.*remove"), claimed(tmp_path / "out"):
        pytest.fail("not refused")
    assert tree(tmp_path) == ["out", f"out/{LOCK}"]


@pytest.mark.skipif(not Path("/proc/self/stat").exists(), reason="the system does not tell when a process was started")
def test_a_later_process_of_the_same_number_does_not_keep_a_claim_alive(tmp_path):
    hold(tmp_path / "out", pid=os.getppid(), started="1")
    with claimed(tmp_path / "out"):
        assert json.loads((tmp_path / "out" / LOCK).read_text())["pid"] == os.getpid()
    assert tree(tmp_path) == ["out"]


def test_a_claim_that_cannot_be_read_is_named(tmp_path):
    (tmp_path / LOCK).write_text("?")
    with pytest.raises(OutputError, match="remove it if no run is at work"), claimed(tmp_path):
        pytest.fail("not refused")


@pytest.mark.parametrize("error", [ValueError, KeyboardInterrupt, SystemExit])
def test_a_claim_ends_with_the_run_whatever_happens(tmp_path, error):
    out = tmp_path / "new" / "out"

    def work():
        with claimed(out):
            assert tree(tmp_path) == ["new", "new/out", f"new/out/{LOCK}"]
            with pytest.raises(OutputError, match=f"process {os.getpid()} at work"), claimed(out):
                pytest.fail("not refused")
            raise error

    with pytest.raises(error):
        work()
    assert tree(tmp_path) == []


@needs_signals
def test_sigterm_clears_up_also_where_the_background_ignores_ctrl_c(pair, tmp_path):
    out = tmp_path / "out"
    typed = ["run", *source_words(*pair), "--screen", "cinema-12m", "-q", "-o", str(out)]
    with started("-c", _SLOW, *typed, sigint=signal.SIG_IGN) as running:
        try:
            comes(lambda: list(out.glob(".*unfinished*/parts/left/*")), running)
            running.send_signal(signal.SIGINT)
            running.send_signal(signal.SIGTERM)
            assert running.wait(LONG_S) == 130
        finally:
            running.kill()
    assert tree(out) == ["measure", "measure/gull.csv", "measure/gull.origin.json"]


@pytest.mark.parametrize(
    ("name", "says"),
    [
        ("measure", ("measure", "a link that leads elsewhere", "remove the link")),
        (".cinema-12m.unfinished", (".cinema-12m.unfinished", "a link", "remove it")),
    ],
)
def test_a_folder_of_a_job_that_is_a_link_elsewhere_is_refused(pair, tmp_path, capsys, name, says):
    (tmp_path / "elsewhere").mkdir()
    (tmp_path / "out").mkdir()
    (tmp_path / "out" / name).symlink_to(tmp_path / "elsewhere")
    typed = ["run", *source_words(*pair), "--screen", "cinema-12m", "-o", tmp_path / "out"]
    fails(capsys, typed, 4, *says)
    assert tree(tmp_path / "elsewhere") == []
