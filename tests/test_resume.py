"""A run may end at any instant, and --resume gives what one would have given that nobody broke off."""

import json
import os
import socket

import pytest
from broken_off import (
    GONE,
    carry_out,
    files,
    instants,
    short_segments,
    visible,
    write_stills,
    write_videos,
)

from postfix.errors import InputError, OutputError
from postfix.job.lock import LOCK, claimed
from postfix.job.unfinished import Unfinished

EVERY = 16
"""Of the instants of a run so many are passed over; tests/bench/instants.py looks at all of them."""

WRITTEN = {
    "stills": (lambda place: write_stills(place), ["cinema-12m"], 0),
    "two versions of a video": (lambda place: write_videos(place), ["cinema-12m", "tv-55in"], 4),
    "a video that stays as it is": (lambda place: write_videos(place, far_pct=0.0), ["tv-55in"], 7),
}


@pytest.fixture(autouse=True)
def _short(monkeypatch):
    with short_segments(monkeypatch):
        yield


@pytest.mark.parametrize("kind", WRITTEN)
def test_whenever_a_run_ends_it_is_carried_on_to_the_same_bytes_and_nothing_is_left(kind, tmp_path, monkeypatch):
    write, screens, first = WRITTEN[kind]
    pair, out = write(tmp_path / "in"), tmp_path / "out"
    footage = files(tmp_path / "in")
    left = instants(monkeypatch, out, tmp_path / "at", lambda: carry_out(pair, out, *screens))
    whole = files(out)
    assert whole == visible(whole)
    for place in left[first::EVERY]:
        there = {name: data for name, data in visible(files(place)).items() if data}
        assert there.items() <= whole.items(), f"half a file at {place.name}"
        carry_out(pair, place, *screens, resume=True)
        assert files(place) == whole, place.name
    assert files(tmp_path / "in") == footage


@pytest.fixture
def broken_off(tmp_path, monkeypatch):
    """A pair, and a run of it that ended when all but the last segment of its pictures were marked."""
    pair, out = write_videos(tmp_path / "in"), tmp_path / "out"

    class Ended(BaseException):
        pass

    usual = Unfinished.mark

    def mark(work, name, facts):
        if name == "000002":
            raise Ended
        usual(work, name, facts)

    with monkeypatch.context() as patched:
        patched.setattr(Unfinished, "mark", mark)
        # A writer's thread tells of it as of any failure.
        with pytest.raises((Ended, OutputError)):
            carry_out(pair, out)
    whole = tmp_path / "whole"
    carry_out(pair, whole)
    return pair, out, files(whole)


def test_what_is_kept_is_told_and_not_rendered_again(broken_off, caplog, monkeypatch):
    pair, out, whole = broken_off
    rendered = []
    import postfix.job.rendering as rendering

    usual = rendering.render_pair
    monkeypatch.setattr(rendering, "render_pair", lambda *a, **k: rendered.append(a[5]) or usual(*a, **k))
    with caplog.at_level("INFO", "postfix"):
        carry_out(pair, out, resume=True)
    assert rendered == [4]
    assert f"{out / 'cinema-12m'}: 2 of 3 segments kept from an earlier run" in caplog.messages
    assert f"{out / 'measure' / 'gull.csv'}: kept as an earlier run finished it" in caplog.messages
    assert files(out) == whole


def damaged(path):
    data = bytearray(path.read_bytes())
    data[len(data) // 2] ^= 1
    path.write_bytes(data)


@pytest.mark.parametrize(
    "name",
    ["parts/left/000000.coded", "parts/right/000001.coded", "parts/left/000001.told", "marks/000001.mark"],
)
def test_a_damaged_part_is_made_anew_and_told(broken_off, caplog, name):
    pair, out, whole = broken_off
    damaged(out / ".cinema-12m.unfinished" / name)
    with caplog.at_level("INFO", "postfix"):
        carry_out(pair, out, resume=True)
    assert any("1 of 3 segments kept from an earlier run; 1 that were damaged" in line for line in caplog.messages)
    assert files(out) == whole


def test_a_damaged_still_is_made_anew(tmp_path, monkeypatch):
    pair, out = write_stills(tmp_path / "in"), tmp_path / "out"
    left = instants(monkeypatch, out, tmp_path / "at", lambda: carry_out(pair, out))
    work = ".cinema-12m.unfinished"
    place = next(one for one in left if (one / work / "marks" / "000001.mark").exists())
    damaged(place / work / "out" / "left" / "gull.1001.tif")
    carry_out(pair, place, resume=True)
    assert files(place) == files(out)


def test_a_damaged_measurement_of_a_segment_is_made_anew(tmp_path, monkeypatch, caplog):
    pair, out = write_videos(tmp_path / "in"), tmp_path / "out"
    left = instants(monkeypatch, out, tmp_path / "at", lambda: carry_out(pair, out))
    work = "measure/.gull.csv.unfinished"
    place = next(one for one in left if (one / work / "marks" / "measure-000001.mark").exists())
    damaged(place / work / "parts" / "measure" / "000000.part")
    with caplog.at_level("INFO", "postfix"):
        carry_out(pair, place, resume=True)
    said = "measurement of 1 of 3 segments kept from an earlier run; 1 that were damaged since are measured anew"
    assert f"{place / 'measure' / 'gull.csv'}: {said}" in caplog.messages
    assert files(place) == files(out)


def last_before(left, name):
    """The last instant at which a hidden folder still held everything."""
    return [one for one in left if (one / name).exists()][-1]


def test_what_was_measured_of_pictures_that_are_damaged_since_is_not_kept(tmp_path, monkeypatch):
    pair, out = write_videos(tmp_path / "in"), tmp_path / "out"
    left = instants(monkeypatch, out, tmp_path / "at", lambda: carry_out(pair, out))
    work = ".cinema-12m.unfinished"
    place = last_before(left, f"{work}/out/left/gull_left.mkv")
    assert (place / work / "marks" / "check-000002.mark").exists()
    damaged(place / work / "out" / "left" / "gull_left.mkv")
    # As if it had been measured of the damage; sealed, so that nothing but the pictures can tell.
    (place / work / "parts" / "check" / "000000.part").write_bytes(
        (place / work / "parts" / "check" / "000001.part").read_bytes()
    )
    carry_out(pair, place, resume=True)
    assert files(place) == files(out)


def test_a_damaged_copy_of_a_source_is_made_anew(tmp_path, monkeypatch):
    pair, out = write_videos(tmp_path / "in", far_pct=0.0), tmp_path / "out"
    left = instants(monkeypatch, out, tmp_path / "at", lambda: carry_out(pair, out, "tv-55in"))
    work = ".tv-55in.unfinished"
    place = last_before(left, f"{work}/out/left/gull_left.mkv")
    assert (place / work / "marks" / "copied.mark").exists()
    damaged(place / work / "out" / "left" / "gull_left.mkv")
    carry_out(pair, place, "tv-55in", resume=True)
    assert files(place) == files(out)


@pytest.mark.parametrize("resume", [True, False])
def test_work_of_which_only_a_part_was_thrown_away_is_never_carried_on(broken_off, monkeypatch, tmp_path, resume):
    """Whatever --force had removed when it was broken off itself."""
    pair, out, whole = broken_off
    left = instants(monkeypatch, out, tmp_path / "at", lambda: carry_out(pair, out, force=True))
    assert files(out) == whole
    partly = [one for one in left if (one / ".cinema-12m.unfinished").exists()]
    for place in [one for one in partly if not (one / ".cinema-12m.unfinished" / "recipe.json").exists()][:3]:
        carry_out(pair, place, resume=resume, force=True)
        assert files(place) == whole


@pytest.mark.parametrize(
    ("change", "says"),
    [
        ({"program version": "0"}, "another program version"),
        ({"libraries": {"av": "0"}}, "other libraries"),
        ({"plan": "other"}, "another plan"),
        ({"codec": "ffv1"}, "another codec"),
        ({"layouts of delivery": ["sbs-full"]}, "other layouts of delivery"),
    ],
)
def test_work_of_another_recipe_is_refused_by_name_and_left_as_it_is(broken_off, change, says):
    pair, out, whole = broken_off
    recipe = out / ".cinema-12m.unfinished" / "recipe.json"
    recipe.write_text(json.dumps({**json.loads(recipe.read_text()), **change}))
    before = files(out)
    with pytest.raises(InputError, match=f"unfinished work of an earlier run with {says}.*--force"):
        carry_out(pair, out, resume=True)
    assert files(out) == before
    carry_out(pair, out, resume=True, force=True)
    assert files(out) == whole


def test_a_clock_that_is_set_back_or_forward_changes_nothing(broken_off):
    pair, out, whole = broken_off
    for number, path in enumerate(sorted(out.rglob("*"))):
        os.utime(path, (4_000_000_000, 4_000_000_000) if number % 2 else (1, 1))
    carry_out(pair, out, resume=True)
    assert files(out) == whole


def test_a_claim_is_whole_whenever_it_can_be_seen(tmp_path, monkeypatch):
    def work():
        with claimed(tmp_path / "out"):
            pass

    for place in instants(monkeypatch, tmp_path / "out", tmp_path / "at", work):
        lock = place / LOCK
        assert not lock.exists() or json.loads(lock.read_text())["pid"] == GONE
        with claimed(place):
            assert sorted(path.name for path in place.iterdir()) == [LOCK]


def test_a_file_system_without_hard_links_takes_claims_as_well(tmp_path, monkeypatch):
    def link(*names):
        raise PermissionError(1, "no links here")

    monkeypatch.setattr(os, "link", link)
    with claimed(tmp_path):
        assert json.loads((tmp_path / LOCK).read_text())["host"] == socket.gethostname()
        with pytest.raises(OutputError, match="at work there"), claimed(tmp_path):
            pytest.fail("not refused")
    assert not list(tmp_path.iterdir())
