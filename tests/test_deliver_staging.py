"""Nothing half-written has a final name, and nothing that was there is lost."""

import os
from fractions import Fraction

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
        (path / "a" if folder else path).write_text(text)

    def content():
        return (place / "a" if folder else place).read_text()

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
