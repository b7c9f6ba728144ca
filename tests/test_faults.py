"""What goes wrong around a run: it ends in one sentence, nothing is lost, and --resume goes on when it is mended."""

import errno
import itertools
import os
import time
from pathlib import Path

import pytest
from broken_off import SEGMENT, carry_out, files, short_segments, visible, write_stills, write_videos
from clips import fails
from rights import ordinary_user

from postfix.cli import main
from postfix.errors import EXIT_INPUT, EXIT_OUTPUT, InputError, OutputError
from postfix.job.unfinished import Unfinished


@pytest.fixture(autouse=True)
def _short(monkeypatch):
    with short_segments(monkeypatch):
        yield


def at_mark(monkeypatch, name, do):
    """Have something happen when a mark has just been written."""
    usual = Unfinished.mark

    def mark(work, marked, facts):
        usual(work, marked, facts)
        if marked == name:
            do(work)

    monkeypatch.setattr(Unfinished, "mark", mark)


def undisturbed(pair, tmp_path, *screens):
    carry_out(pair, tmp_path / "whole", *screens)
    return files(tmp_path / "whole")


@pytest.mark.parametrize("nth", [1, 4, 9, 13, 22, 30])
def test_a_disk_that_takes_no_more_at_any_step_ends_the_run_and_leaves_what_can_be_carried_on(
    tmp_path, monkeypatch, nth
):
    pair, out = write_videos(tmp_path / "in"), tmp_path / "out"
    whole, counted, usual = undisturbed(pair, tmp_path), itertools.count(1), os.fsync

    def fsync(number):
        if next(counted) >= nth:
            raise OSError(errno.ENOSPC, "No space left on device")
        usual(number)

    with monkeypatch.context() as patched:
        patched.setattr(os, "fsync", fsync)
        with pytest.raises((OutputError, OSError), match="No space left on device"):
            carry_out(pair, out)
    assert visible(files(out)).items() <= whole.items()
    carry_out(pair, out, resume=True)
    assert files(out) == whole


def test_a_folder_that_may_not_be_written_any_more_ends_the_run_in_one_sentence(tmp_path, monkeypatch):
    pair, out = write_videos(tmp_path / "in"), tmp_path / "out"
    whole = undisturbed(pair, tmp_path)
    for path in (tmp_path, *tmp_path.parents[:2]):
        path.chmod(0o777)
    shut = []

    def shut_out(work):
        shut.extend([work.folder / "marks", work.folder / "parts" / "left"])
        for folder in shut:
            folder.chmod(0o555)

    with ordinary_user():
        with monkeypatch.context() as patched:
            at_mark(patched, "000000", shut_out)
            with pytest.raises(OutputError, match="Permission denied") as caught:
                carry_out(pair, out)
        assert caught.value.exit_code == EXIT_OUTPUT
        for folder in shut:
            folder.chmod(0o755)
        carry_out(pair, out, resume=True)
    assert files(out) == whole


def touched(path):
    os.utime(path, (1, 1))


def rewritten(path):
    """The same bytes and size again, and the time of change as it was: only the system's own record tells."""
    data, found = path.read_bytes(), path.stat()
    path.write_bytes(data)
    os.utime(path, ns=(found.st_atime_ns, found.st_mtime_ns))


def replaced(path):
    other = path.with_name("other")
    other.write_bytes(path.read_bytes())
    other.replace(path)


def altered(path):
    data = bytearray(path.read_bytes())
    data[-40] ^= 1
    path.write_bytes(data)


def gone(path):
    path.unlink()


@pytest.mark.parametrize("change", [touched, rewritten, replaced, altered, gone])
@pytest.mark.parametrize("write", [write_videos, write_stills])
def test_a_source_that_changes_under_a_run_ends_it_and_as_it_was_it_is_carried_on(tmp_path, monkeypatch, write, change):
    pair, out = write(tmp_path / "in"), tmp_path / "out"
    whole = undisturbed(pair, tmp_path)
    file = pair[1] if pair[1].is_file() else pair[1] / f"gull.{1001 + SEGMENT}.tif"
    before = file.read_bytes()
    with monkeypatch.context() as patched:
        at_mark(patched, "000000", lambda work: change(file))
        with pytest.raises(InputError) as caught:
            carry_out(pair, out)
    assert str(file) in str(caught.value)
    assert caught.value.exit_code == EXIT_INPUT
    assert visible(files(out)).keys() == {"measure/gull.csv", "measure/gull.origin.json"}
    if not file.exists() or file.read_bytes() != before:
        if file.exists():
            with pytest.raises(InputError, match=r"an earlier run with another right eye"):
                carry_out(pair, out, resume=True)
        file.write_bytes(before)
    carry_out(pair, out, resume=True)
    assert files(out) == whole


def test_a_source_that_changes_while_it_is_measured_is_not_measured_half_of_each(tmp_path, monkeypatch):
    pair, out = write_videos(tmp_path / "in"), tmp_path / "out"
    whole = undisturbed(pair, tmp_path)
    with monkeypatch.context() as patched:
        at_mark(patched, "measure-000001", lambda work: touched(pair[0]))
        with pytest.raises(InputError, match="changed while it was in use"):
            carry_out(pair, out)
    assert visible(files(out)) == {}
    # What was measured is tied to when the files were changed: their checksums were not known yet.
    with pytest.raises(InputError, match=r"another left eye.*--force"):
        carry_out(pair, out, resume=True)
    carry_out(pair, out, force=True)
    assert files(out) == whole


def test_sound_that_changes_while_it_is_copied_is_noticed(tmp_path, monkeypatch):
    """The pictures were all marked; only what goes along is still read from the source."""
    pair, out = write_videos(tmp_path / "in"), tmp_path / "out"
    whole, original = undisturbed(pair, tmp_path), pair[0].read_bytes()
    with monkeypatch.context() as patched:
        at_mark(patched, "000002", lambda work: altered(pair[0]))
        with pytest.raises(InputError, match="changed while it was in use"):
            carry_out(pair, out)
    pair[0].write_bytes(original)
    carry_out(pair, out, resume=True)
    assert files(out) == whole


def test_no_clock_is_asked(tmp_path, monkeypatch):
    pair = write_videos(tmp_path / "in")
    whole, backwards = undisturbed(pair, tmp_path), itertools.count(1_000_000_000, -86_400)
    monkeypatch.setattr(time, "time", lambda: next(backwards))
    carry_out(pair, tmp_path / "out")
    assert files(tmp_path / "out") == whole


@pytest.fixture
def broken_off(tmp_path, monkeypatch):
    """A run that a disk broke off when two segments of its pictures were marked."""
    pair, out = write_videos(tmp_path / "in"), tmp_path / "out"

    def no_more(work):
        raise OutputError(work.target, "a disk that takes no more", "room", "make room")

    with monkeypatch.context() as patched:
        at_mark(patched, "000001", no_more)
        with pytest.raises(OutputError, match="takes no more"):
            carry_out(pair, out)
    return pair, out


def words(pair, out):
    return ["run", "--left", pair[0], "--right", pair[1], "--one-shot", "--screen", "cinema-12m", "-o", out]


def test_unfinished_work_is_neither_lost_nor_carried_on_unasked(broken_off, capsys):
    pair, out = broken_off
    # Without its measurement, which would be refused before it.
    for name in ("gull.csv", "gull.origin.json"):
        (out / "measure" / name).unlink()
    before = files(out)
    said = fails(capsys, words(pair, out), 4, str(out / "cinema-12m"), "2 pieces", "broken off")
    assert said.endswith("add --resume to carry it on, or --force to begin anew.")
    assert files(out) == before


def test_begun_anew_it_is_thrown_away_and_that_is_told(broken_off, capsys):
    pair, out = broken_off
    assert main([str(word) for word in [*words(pair, out), "--force"]]) in (0, 5)
    assert f"{out / 'cinema-12m'}: 2 finished pieces are thrown away" in capsys.readouterr().err
    assert not [name for name in files(out) if name.startswith(".")]


class Disk:
    """What outlives a power cut: content and names that were asked to be on the disk."""

    def __init__(self, monkeypatch):
        self.synced, self.named, self.faults = {}, set(), []
        fsync, replace, rename = os.fsync, os.replace, os.rename

        def fsynced(number):
            fsync(number)
            place = Path(os.readlink(f"/proc/self/fd/{number}"))
            if place.is_dir():
                self.named |= set(place.iterdir())
            else:
                self.synced[place.stat().st_ino] = place.read_bytes()

        def moved(usual):
            def move(old, new, **named):
                self.before(Path(old), Path(new))
                usual(old, new, **named)
                self.named.discard(Path(new))

            return move

        monkeypatch.setattr(os, "fsync", fsynced)
        monkeypatch.setattr(os, "replace", moved(replace))
        monkeypatch.setattr(os, "rename", moved(rename))

    def before(self, old, new):
        """Look at everything that a name is about to vouch for."""
        if new.suffix == ".mark":
            self.require(old, names=False)
            work = new.parent.parent
            for path in (work / "recipe.json", *self.vouched(work, new.stem)):
                self.require(path, below=work)
        elif not old.is_dir():
            # Within an unfinished folder a file counts when it is marked.
            if not any(part.startswith(".") for part in new.parts):
                self.require(old, names=False)
        elif old.name == "out":
            for path in old.rglob("*"):
                self.require(path, below=old)

    def vouched(self, work, mark):
        """Files that a mark speaks of."""
        if not mark.isdecimal():
            name, _, index = mark.partition("-")
            return [work / "parts" / name / f"{index}.part"] if index else (work / "out").rglob("*.mkv")
        parts = [path for path in (work / "parts").rglob(f"{mark}.*") if path.parent.name in ("left", "right")]
        numbers = range(int(mark) * SEGMENT, (int(mark) + 1) * SEGMENT)
        stills = [path for eye in ("left", "right") for path in (work / "out" / eye).glob("[!.]*.tif")]
        return [*parts, *(path for path in stills if int(path.name.split(".")[1]) - 1001 in numbers)]

    def require(self, path, *, names=True, below=None):
        if path.is_file() and self.synced.get(path.stat().st_ino) != path.read_bytes():
            self.faults.append(f"content of {path}")
        for place in (path, *path.parents) if names else ():
            if place == below:
                break
            if place not in self.named:
                self.faults.append(f"name of {place}")


@pytest.mark.skipif(not Path("/proc/self/fd").exists(), reason="the system does not tell which file is synced")
@pytest.mark.parametrize(
    ("write", "far_pct"),
    [(write_videos, 1.4), (write_stills, 1.4), (write_videos, 0.0)],
    ids=["video", "stills", "copy"],
)
def test_what_a_mark_or_a_name_vouches_for_is_on_the_disk_before_it(tmp_path, monkeypatch, write, far_pct):
    pair = write(tmp_path / "in", far_pct=far_pct)
    with monkeypatch.context() as patched:
        disk = Disk(patched)
        carry_out(pair, tmp_path / "out")
    assert not disk.faults
    assert {tmp_path / "out" / "cinema-12m", tmp_path / "out" / "measure" / "gull.csv"} <= disk.named
