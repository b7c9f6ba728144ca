"""Nothing half-written has a final name, and nothing that was there is lost."""

import json
import os
import subprocess
import sys
from fractions import Fraction
from pathlib import Path

import pytest
from picture_files import RATE, fingerprints, make_stills, make_video

from postfix.deliver.staging import check_output, staged, unfinished_path
from postfix.errors import OutputError
from postfix.source.opening import open_eye


def names(folder):
    return sorted(path.name for path in folder.iterdir())


def stage(place, write, folder=False, force=False):
    """Stage an output whose content ``write`` makes; it may raise."""
    with staged(place, folder=folder, force=force) as temporary:
        write(temporary)


def write_version(folder, plan="", picture="a.mov"):
    """What the program leaves in the folder of a version, as far as replacing it is concerned."""
    folder.mkdir(exist_ok=True)
    for eye in ("left", "right"):
        (folder / eye).mkdir()
        (folder / eye / picture).write_text("")
    outputs = [{"eye": eye, "path": f"{eye}/{picture}", "frames": 1, "sha256": ""} for eye in ("left", "right")]
    (folder / "changes.json").write_text(json.dumps({"schema": "postfix-changes/1", "outputs": outputs}))
    (folder / "changes.csv").write_text("")
    (folder / "plan.toml").write_text(plan)
    return folder


def test_a_file_has_its_name_only_when_it_is_whole(tmp_path):
    place = tmp_path / "ein Ort é" / "changes.json"
    with staged(place) as temporary:
        temporary.write_text("whole")
        assert temporary.parent == place.parent
        assert temporary.suffix == ".json"
        assert "unfinished" in temporary.name
        assert not place.exists()
    assert place.read_text() == "whole"
    assert names(place.parent) == ["changes.json"]


def test_a_folder_has_its_name_only_when_it_is_whole(tmp_path):
    place = tmp_path / "left"
    with staged(place, folder=True) as temporary:
        (temporary / "a").write_text("1")
        assert not place.exists()
    assert names(place) == ["a"]
    assert names(tmp_path) == ["left"]


@pytest.mark.parametrize("folder", [False, True])
@pytest.mark.parametrize("error", [ValueError, KeyboardInterrupt, SystemExit])
def test_an_exception_leaves_nothing_behind(tmp_path, folder, error):
    place = tmp_path / "new" / "deep" / "out"

    def half(temporary):
        (temporary / "half" if folder else temporary).write_text("half")
        raise error

    with pytest.raises(error):
        stage(place, half, folder)
    assert names(tmp_path) == []


@pytest.mark.parametrize("folder", [False, True])
def test_an_existing_output_is_refused_and_replaced_only_with_force(tmp_path, folder):
    place = tmp_path / "out"

    def fill(path, text):
        if folder:
            write_version(path, text)
        else:
            path.write_text(text)

    def content():
        return (place / "plan.toml" if folder else place).read_text()

    with staged(place, folder=folder) as temporary:
        fill(temporary, "old")
    with pytest.raises(OutputError, match="--force") as caught, staged(place, folder=folder):
        pytest.fail("not refused")
    assert caught.value.exit_code == 4
    assert content() == "old"

    def half(temporary):
        fill(temporary, "half")
        raise ZeroDivisionError

    with pytest.raises(ZeroDivisionError):
        stage(place, half, folder, force=True)
    assert content() == "old"
    with staged(place, folder=folder, force=True) as temporary:
        fill(temporary, "new")
        assert content() == "old"
    assert content() == "new"
    assert names(tmp_path) == ["out"]


def test_the_old_output_comes_back_when_the_new_one_cannot_take_its_place(tmp_path, monkeypatch):
    place = tmp_path / "out"
    place.write_text("old")
    path_type = type(place)

    def refuse(self, target):
        raise OSError(5, "Input/output error")

    def write(temporary):
        temporary.write_text("new")
        monkeypatch.setattr(path_type, "replace", refuse)

    with pytest.raises(OutputError, match="Input/output error"):
        stage(place, write, force=True)
    assert place.read_text() == "old"
    assert names(tmp_path) == ["out"]


def test_an_output_that_appears_meanwhile_is_not_overwritten(tmp_path):
    place = tmp_path / "out"

    def write(temporary):
        temporary.write_text("mine")
        place.write_text("somebody else's")

    with pytest.raises(OutputError, match="meanwhile"):
        stage(place, write)
    assert place.read_text() == "somebody else's"
    assert names(tmp_path) == ["out"]


def test_nothing_written_is_no_output(tmp_path):
    with pytest.raises(OutputError, match="nothing written"), staged(tmp_path / "out"):
        pass
    assert names(tmp_path) == []


def test_what_an_earlier_run_left_unfinished_is_cleared(tmp_path):
    place = tmp_path / "left"
    unfinished_path(place).mkdir()
    (unfinished_path(place) / "stale").touch()
    with staged(place, folder=True) as temporary:
        assert names(temporary) == []
    assert names(tmp_path) == ["left"]


def test_a_place_below_a_file_is_refused(tmp_path):
    (tmp_path / "file").write_text("x")
    for check in (check_output, lambda path: staged(path).__enter__()):
        with pytest.raises(OutputError, match="no folder"):
            check(tmp_path / "file" / "deep" / "out")


def test_a_folder_without_permission_is_refused(tmp_path, monkeypatch):
    monkeypatch.setattr(os, "access", lambda *_: False)  # as root every folder may be written to
    with pytest.raises(OutputError, match="no permission"):
        check_output(tmp_path / "out")


def test_an_output_may_not_lie_in_a_source_or_take_its_place(tmp_path):
    stills = open_eye(make_stills(tmp_path / "in" / "left", "tiff8", 2), rate=RATE)
    video = open_eye(make_video(tmp_path / "in" / "a.mkv", "ffv1", 2, rate=Fraction(24)))
    before = fingerprints(tmp_path)
    refused = [
        (stills, tmp_path / "in" / "left"),
        (stills, tmp_path / "in" / "left" / "out"),
        (stills, tmp_path / "in" / "right" / ".." / "left" / "out"),
        (stills, tmp_path / "in"),
        (stills, stills.files()[0]),
        (video, tmp_path / "in" / "a.mkv"),
        (video, tmp_path / "in"),
    ]
    (tmp_path / "link").symlink_to(tmp_path / "in" / "left")
    refused.append((stills, tmp_path / "link" / "out"))
    for source, place in refused:
        with pytest.raises(OutputError, match="source"):
            check_output(place, [source], force=True)
    for source, place in [(stills, tmp_path / "in" / "out"), (video, tmp_path / "in" / "out"), (video, tmp_path / "b")]:
        check_output(place, [source])
    assert fingerprints(tmp_path) == before


@pytest.mark.parametrize("folder", [False, True])
def test_a_file_never_takes_the_place_of_a_folder_nor_a_folder_that_of_a_file(tmp_path, folder):
    place = tmp_path / "out"
    if folder:
        place.write_text("mine")
    else:
        place.mkdir()
    before = fingerprints(tmp_path)
    for check in (check_output, lambda path, **options: staged(path, **options).__enter__()):
        with pytest.raises(OutputError, match="there, expected a free name for a") as caught:
            check(place, folder=folder, force=True)
        assert "--force" not in str(caught.value)
    assert place.is_file() == folder
    assert fingerprints(tmp_path) == before


def test_a_device_is_not_replaced():
    with pytest.raises(OutputError, match="a device"):
        check_output(Path(os.devnull), force=True)


@pytest.mark.parametrize(
    ("add", "says"),
    [
        (lambda f: (f / "notes.txt").write_text("mine"), "notes.txt"),
        (lambda f: (f / "left" / "b.mov").write_text("mine"), "left/b.mov"),
        (lambda f: (f / "right" / "a.mov").rename(f / "right" / "c.mov"), "right/c.mov"),
        (lambda f: (f / "left" / "grade").mkdir(), "left/grade"),
        (lambda f: (f / "changes.json").unlink(), "without the change log"),
        (lambda f: (f / "changes.json").write_text('{"schema": "another"}'), "without the change log"),
    ],
)
@pytest.mark.parametrize("force", [False, True])
def test_a_folder_with_anything_of_a_persons_is_never_replaced(tmp_path, add, says, force):
    place = write_version(tmp_path / "out")
    add(place)
    before = fingerprints(tmp_path)
    with pytest.raises(OutputError, match="move it away or choose another folder") as caught:
        check_output(place, folder=True, force=force)
    assert says in caught.value.found
    with pytest.raises(OutputError, match="move it away"):
        stage(place, write_version, folder=True, force=force)
    assert fingerprints(tmp_path) == before


def test_more_stills_than_the_log_speaks_of_are_not_replaced(tmp_path):
    place = write_version(tmp_path / "out")
    log = place / "changes.json"
    log.write_text(log.read_text().replace("left/a.mov", "left"))
    check_output(place, folder=True, force=True)
    (place / "left" / "b.tif").write_text("mine")
    with pytest.raises(OutputError, match="2 files in 'left', where its change log speaks of 1"):
        check_output(place, folder=True, force=True)


def test_what_a_person_puts_there_while_the_work_runs_is_not_replaced_either(tmp_path):
    place = write_version(tmp_path / "out")

    def write(temporary):
        write_version(temporary)
        (place / "notes.txt").write_text("mine")

    with pytest.raises(OutputError, match=r"notes\.txt"):
        stage(place, write, folder=True, force=True)
    assert (place / "notes.txt").read_text() == "mine"
    assert names(tmp_path) == ["out"]


def test_an_empty_folder_may_be_replaced_when_forced(tmp_path):
    (tmp_path / "out").mkdir()
    stage(tmp_path / "out", write_version, folder=True, force=True)
    assert (tmp_path / "out" / "plan.toml").is_file()


def test_no_input_is_replaced_nor_the_folder_it_lies_in(tmp_path):
    place = write_version(tmp_path / "out")
    plan = place / "plan.toml"
    for output, folder in ((place, True), (plan, False)):
        with pytest.raises(OutputError, match=r"plan\.toml in its place"):
            check_output(output, folder=folder, inputs=[plan], force=True)
    (tmp_path / "link").symlink_to(plan)
    with pytest.raises(OutputError, match="in its place"):
        check_output(place, folder=True, inputs=[tmp_path / "link"], force=True)


def ended_process():
    """The number of a process that no longer runs."""
    with subprocess.Popen([sys.executable, "-c", ""]) as process:
        process.wait()
    return process.pid


@pytest.mark.parametrize("folder", [False, True])
def test_what_dead_processes_left_unfinished_is_cleared_when_the_output_is_written_again(tmp_path, folder):
    place = tmp_path / "out.v1"
    stale = tmp_path / f".out.unfinished-{ended_process()}.v1"
    if folder:
        stale.mkdir()
        (stale / "half").touch()
    else:
        stale.touch()
    other = tmp_path / f".out2.unfinished-{ended_process()}.v1"
    other.touch()
    with staged(place, folder=folder) as temporary:
        (temporary / "a" if folder else temporary).write_text("1")
    assert names(tmp_path) == sorted([other.name, "out.v1"])


def test_an_output_that_a_living_process_is_writing_is_refused(tmp_path):
    with subprocess.Popen([sys.executable, "-c", "input()"], stdin=subprocess.PIPE) as process:
        theirs = tmp_path / f".out.unfinished-{process.pid}"
        theirs.touch()
        with pytest.raises(OutputError, match=f"process {process.pid} writing it"):
            stage(tmp_path / "out", lambda temporary: temporary.write_text(""))
        process.communicate(b"\n")
    assert names(tmp_path) == [theirs.name]
