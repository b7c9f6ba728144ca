"""Room on the disk: reckoned before the first frame, watched while the work goes on."""

import logging
import os
import shutil
from collections import namedtuple
from fractions import Fraction

import pytest
from clips import write_pair
from footage import write_tiffs
from test_job_disk import small_disk

from postfix.deliver.delivery import Delivery, check_delivery, joined, writers
from postfix.deliver.workroom import Workroom
from postfix.errors import OutputError
from postfix.job import space
from postfix.job.space import RESERVE_BYTES, SpaceWatch, check_space, free_bytes, needed_bytes
from postfix.source.pair import open_pair
from postfix.source.segments import segments_of

Usage = namedtuple("Usage", "total used free")


def with_free(monkeypatch, free, total=10**12):
    monkeypatch.setattr(space.shutil, "disk_usage", lambda place: Usage(total, total - free, free))


def written_bytes(pair, delivery, folder):
    room = Workroom(folder / "out", folder / "parts")
    room.parts.mkdir(parents=True)
    for name in ("left", "right", "packed"):
        (room.pictures / name).mkdir(parents=True)
    with writers(pair, delivery, room, segments_of(pair.count)) as made:
        for index, left, right in pair.frames():
            for writer in made:
                writer.write(index, left, right)
    joined(pair, delivery, room)
    return sum(path.stat().st_size for path in room.pictures.rglob("*") if path.is_file())


def pictures_in(needed, pair, screens):
    """The estimate without what is added for logs, page and margin."""
    return (needed - 2_000 * pair.count * (screens + 1) - 25_000_000) / 1.05


@pytest.mark.parametrize(
    "delivery",
    [
        Delivery(),
        Delivery(("side-by-side",)),
        Delivery(("top-bottom-half",)),
        Delivery(("left-right", "frame-sequential")),
        Delivery(codec="prores-hq"),
        Delivery(codec="prores"),
        Delivery(codec="dnxhr-hqx"),
        Delivery(codec="ffv1"),
        Delivery(codec="jpeg2000"),
        Delivery(codec="h264"),
    ],
    ids=str,
)
def test_the_estimate_is_near_what_a_version_takes(tmp_path, delivery):
    pair = open_pair(*write_pair(tmp_path / "in", size=(320, 180)))
    check_delivery(pair, delivery)
    taken = written_bytes(pair, delivery, tmp_path / "out")
    one, two = (pictures_in(needed_bytes(pair, delivery, screens), pair, screens) for screens in (1, 2))
    # Each further version adds its own bytes; the first also what is there twice while files are joined.
    assert 0.4 * taken < two - one < 4 * taken
    assert one > two - one


def test_videos_of_the_same_codec_take_their_own_size_and_the_larger_of_them_once_more(tmp_path):
    left, right = write_pair(tmp_path / "in")
    pair = open_pair(left, right)
    sizes = [path.stat().st_size for path in (left, right)]
    assert pictures_in(needed_bytes(pair, Delivery(), 3), pair, 3) == pytest.approx(
        3 * sum(sizes) + max(sizes), rel=1e-3
    )
    half = open_pair(left, right, frames=(0, 3))
    assert pictures_in(needed_bytes(half, Delivery(), 1), half, 1) == pytest.approx(
        (sum(sizes) + max(sizes)) / 2, rel=1e-3
    )


def test_stills_take_what_the_sources_take_and_are_never_there_twice(tmp_path):
    left, right = write_tiffs(tmp_path / "in", frames=3)
    pair = open_pair(left, right, rate=Fraction(24))
    size = sum(path.stat().st_size for place in (left, right) for path in place.iterdir())
    assert pictures_in(needed_bytes(pair, Delivery(), 2), pair, 2) == pytest.approx(2 * size, rel=1e-3)
    packed = Delivery(("side-by-side",))
    assert pictures_in(needed_bytes(pair, packed, 1), pair, 1) == pytest.approx(size, rel=0.02)


def test_without_a_version_only_the_tables_are_reckoned(tmp_path):
    pair = open_pair(*write_pair(tmp_path / "in"))
    assert needed_bytes(pair, Delivery(), 0) == 2_000 * pair.count


def test_less_than_half_of_the_estimate_is_refused_with_what_was_found_and_what_to_do(monkeypatch, tmp_path):
    with_free(monkeypatch, 4_000_000_000)
    with pytest.raises(OutputError, match="other disk or fewer screens") as refused:
        check_space(tmp_path / "out", 9_000_000_000)
    assert str(tmp_path / "out") in str(refused.value)
    assert "4.0 GB free" in str(refused.value)
    assert "9.0 GB" in str(refused.value)
    assert refused.value.exit_code == 4


def test_between_half_and_all_of_it_a_warning_is_enough(monkeypatch, tmp_path, caplog):
    with_free(monkeypatch, 5_000_000_000)
    with caplog.at_level(logging.WARNING, "postfix"):
        check_space(tmp_path, 9_000_000_000)
    assert "5.0 GB free" in caplog.text
    assert "--resume" in caplog.text
    caplog.clear()
    check_space(tmp_path, 5_000_000_000)
    assert caplog.text == ""


def test_a_folder_that_is_not_there_yet_lies_where_its_nearest_parent_lies(tmp_path, monkeypatch):
    asked = []
    monkeypatch.setattr(space.shutil, "disk_usage", lambda place: asked.append(place) or Usage(9, 4, 5))
    assert free_bytes(tmp_path / "not" / "yet" / "there") == 5
    assert asked == [tmp_path.resolve()]


@pytest.mark.skipif(not hasattr(os, "symlink"), reason="no links")
def test_links_are_followed_to_the_disk_they_lead_to(tmp_path, monkeypatch):
    asked = []
    monkeypatch.setattr(space.shutil, "disk_usage", lambda place: asked.append(place) or Usage(9, 4, 5))
    real = tmp_path / "elsewhere"
    real.mkdir()
    (tmp_path / "out").symlink_to(real)
    (tmp_path / "hanging").symlink_to(real / "gone")
    (tmp_path / "circle").symlink_to(tmp_path / "circle")
    free_bytes(tmp_path / "out" / "cinema")
    free_bytes(tmp_path / "hanging")
    assert asked == [real.resolve()] * 2
    check_space(tmp_path / "circle", 10**15)  # nobody knows: it is for the writing to say


def test_a_system_that_does_not_tell_its_room_stops_nobody(monkeypatch, tmp_path):
    def unknown(place):
        raise PermissionError

    monkeypatch.setattr(space.shutil, "disk_usage", unknown)
    assert free_bytes(tmp_path) is None
    check_space(tmp_path, 10**15)
    SpaceWatch(tmp_path).look()


def test_the_watch_stops_before_the_disk_is_full(monkeypatch, tmp_path):
    with_free(monkeypatch, RESERVE_BYTES)
    SpaceWatch(tmp_path).look()
    with_free(monkeypatch, RESERVE_BYTES - 1)
    with pytest.raises(OutputError, match=r"64 MB left .* at least 64 MB .* --resume"):
        SpaceWatch(tmp_path).look()
    # Of a small disk only a part is kept back.
    with_free(monkeypatch, 1_000_000, total=10_000_000)
    SpaceWatch(tmp_path).look()


def test_the_watch_sees_a_real_disk_fill(tmp_path):
    with small_disk(tmp_path / "disk", 4096) as disk:
        watch = SpaceWatch(disk / "out" / "cinema")
        watch.look()
        room = shutil.disk_usage(disk).free
        (disk / "film").write_bytes(bytes(room - 100_000))
        with pytest.raises(OutputError, match="left on its disk"):
            watch.look()
        with pytest.raises(OutputError, match="free on its disk"):
            check_space(disk / "out", room)
        (disk / "film").unlink()
        watch.look()
