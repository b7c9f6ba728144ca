"""Frames of a source that cannot be decoded: what is shown for them, and what is told of them."""

from __future__ import annotations

import csv
import json
import struct
from dataclasses import asdict, replace
from fractions import Fraction
from functools import cache
from io import StringIO

import av
import numpy as np
import pytest
from coded_files import LARGE, SMALL, make_coded
from exr_files import EXTRAS, half_samples, write_exr_file
from memory_clips import pair_of, scene
from picture_files import make_stills

from postfix.deliver.changelog import change_log, change_log_text, frame_table_lines, shot_results
from postfix.errors import InputError, OtherFormatError
from postfix.limits import limits_for
from postfix.measure.bad import bad_frames_of, is_bad_note
from postfix.measure.clip import measure_clip
from postfix.measure.part import assembled, measure_part, part_bytes, part_from
from postfix.measure.remarks import told
from postfix.measure.subject import subjects_parallax
from postfix.measure.table import ClipInfo
from postfix.measure.table_csv import read_table, table_text
from postfix.plan.bad_frames import bad_frame_flags
from postfix.plan.model import Flag, Plan, ShotPlan
from postfix.plan.settings import PlanSettings
from postfix.source.framed import framed
from postfix.source.packed import open_packed
from postfix.source.pair import Reading, open_pair
from postfix.source.patient import BadFrame
from postfix.source.picture import black_picture
from postfix.summary import verdict_text
from postfix.summary_run import Made, lead_text
from postfix.terminal import rendered
from postfix.viewing import BUILTIN_SCREENS

COUNT = 64
KEYS = 12
"""Frames from one key frame to the next, where not all frames are."""

KINDS = {
    "prores": (".mov", "prores_ks", "yuv422p10le", {}, LARGE),
    "ffv1": (".mkv", "ffv1", "yuv422p10le", {"level": "3", "slices": "4", "slicecrc": "1", "g": "1"}, SMALL),
    "ffv1-groups": (".mkv", "ffv1", "yuv422p10le", {"level": "3", "slicecrc": "1", "g": "12"}, SMALL),
    "h264": (".mp4", "libx264", "yuv420p", {"crf": "12", "g": "12"}, SMALL),
    "h264-open": (
        ".mkv",
        "libx264",
        "yuv420p",
        {"crf": "12", "g": "12", "x264-params": "open-gop=1:bframes=3:b-pyramid=normal:scenecut=0"},
        LARGE,
    ),
}
ALONE = ("prores", "ffv1")


@pytest.fixture(scope="module")
def clips(tmp_path_factory):
    """For a kind its left and right eye, whole; made when first asked for."""
    folder = tmp_path_factory.mktemp("clips")

    @cache
    def made(kind):
        suffix, encoder, pixel_format, options, size = KINDS[kind]
        paths = [folder / f"{kind}_{eye}{suffix}" for eye in ("left", "right")]
        for path in paths:
            make_coded(path, encoder, pixel_format, options, count=COUNT, size=size)
        pair = open_pair(*paths)
        return *paths, [(left, right) for _, left, right in pair.frames()]

    return made


def damaged(path, place, frames):
    """A copy with the middle of some frames' packets overwritten, and everything else as it was."""
    data = bytearray(path.read_bytes())
    with av.open(str(path)) as container:
        packets = sorted((p.pts, p.pos, p.size) for p in container.demux(container.streams.video[0]) if p.size)
    for frame in frames:
        _, at, size = packets[frame]
        middle = slice(at + size // 3, at + 2 * size // 3)
        data[middle] = bytes(byte ^ 0x5A for byte in data[middle])
    place.write_bytes(data)
    return place


def alike(a, b):
    return len(a) == len(b) and all(x.dtype == y.dtype and x.tobytes() == y.tobytes() for x, y in zip(a, b))


def shown_of(pair, first=0, last=None):
    return [(f.index, f.bad, f.left, f.right) for f in pair.filled_frames(first, last)]


def same(a, b):
    return a[:2] == b[:2] and alike(a[2], b[2]) and alike(a[3], b[3])


def require_held(shown, whole):
    """Frames that could be decoded are the clip's own; others are both eyes of the nearest that was before them."""
    good = [index for index, bad, *_ in shown if not bad]
    for index, bad, left, right in shown:
        before = [one for one in good if one <= index]
        source = before[-1] if before else good[0]
        assert alike(left, whole[source][0]), index
        assert alike(right, whole[source][1]), index
        assert all(one.shown == f"frame {source}" for one in bad)


# --- video ---


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("frames", [(30,), (0, 1), (47, 48), (63,)], ids=str)
def test_a_damaged_packet_is_held_over_and_the_rest_is_the_clips_own(clips, tmp_path, kind, frames):
    left, right, whole = clips(kind)
    pair = open_pair(damaged(left, tmp_path / left.name, frames), right, on_bad="hold")
    shown = shown_of(pair)
    assert [index for index, *_ in shown] == list(range(COUNT))
    require_held(shown, whole)
    bad = {index for index, told, *_ in shown if told}
    if kind in ALONE:
        assert bad == set(frames)
    else:
        # Frames that rest on damage are damaged, up to the next key frame and no farther.
        assert set(frames) <= bad
        group = range(min(frames) // KEYS * KEYS, (max(frames) // KEYS + 1) * KEYS)
        shown_before_key = range(group.start - 4, group.start) if kind == "h264-open" else range(0)
        assert bad <= {*group, *shown_before_key}
    assert {one.eye for _, told, *_ in shown for one in told} == {"left"}


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("frames", [(0, 50), (47, 48), (12, 13, 40)], ids=str)
@pytest.mark.parametrize("on_bad", ["hold", "black"])
def test_what_is_shown_does_not_depend_on_where_reading_began(clips, tmp_path, kind, frames, on_bad):
    left, right, _ = clips(kind)
    pair = open_pair(left, damaged(right, tmp_path / right.name, frames), on_bad=on_bad)
    shown = shown_of(pair)
    parted = [*shown_of(pair, 0, 47), *shown_of(pair, 48)]
    assert all(map(same, shown, parted))
    for frame in (0, 12, 47, 48, 50, 61):
        (alone,) = shown_of(pair, frame, frame)
        assert same(alone, shown[frame]), frame


def test_black_is_the_formats_own_in_both_eyes(clips, tmp_path):
    left, right, whole = clips("prores")
    pair = open_pair(damaged(left, tmp_path / left.name, [30]), right, on_bad="black")
    shown = shown_of(pair)
    fmt = pair.format
    for eye in shown[30][2:]:
        assert alike(eye, black_picture(fmt))
        assert [plane.dtype for plane in eye] == [plane.dtype for plane in whole[0][0]]
        assert [plane.shape for plane in eye] == [plane.shape for plane in whole[0][0]]
        assert {int(plane.min()) for plane in eye} == {64, 512}  # black and grey of ten bits: Rec. ITU-R BT.709-6, read
    assert shown[30][1][0].shown == "black"
    assert same(shown[31], (31, (), *whole[31]))


def test_the_error_is_as_ever_where_nothing_is_said(clips, tmp_path):
    left, right, whole = clips("ffv1")
    place = damaged(left, tmp_path / left.name, [30])
    pair = open_pair(place, right)
    for frames in (pair.frames, pair.filled_frames):
        with pytest.raises(InputError) as raised:
            list(frames())
        assert raised.value.exit_code == 3
        assert str(raised.value).startswith(f"{place}, frame 30: found a picture whose checksum is wrong")
    assert [f.bad for f in pair.filled_frames(31, 35)] == [()] * 5
    assert alike(next(iter(pair.filled_frames(31, 31))).left, whole[31][0])


def test_each_eye_is_told_of_by_itself(clips, tmp_path):
    left, right, _ = clips("ffv1")
    pair = open_pair(
        damaged(left, tmp_path / left.name, [5, 9]), damaged(right, tmp_path / right.name, [6, 9]), on_bad="hold"
    )
    shown = {index: bad for index, bad, *_ in shown_of(pair) if bad}
    reason = "a picture whose checksum is wrong"
    assert shown == {
        5: (BadFrame(5, "left", reason, "frame 4"),),
        6: (BadFrame(6, "right", reason, "frame 4"),),
        9: (BadFrame(9, "both", reason, "frame 8"),),
    }
    assert asdict(shown[5][0]) == {"frame": 5, "eye": "left", "reason": reason, "shown": "frame 4"}


def test_frames_are_counted_as_they_are_used(clips, tmp_path):
    left, right, whole = clips("ffv1")
    place = damaged(right, tmp_path / right.name, [10])
    pair = open_pair(left, place, frames=(4, 20), reading=Reading(offset_frames=2), on_bad="hold")
    shown = shown_of(pair)
    assert [index for index, bad, *_ in shown if bad] == [4]  # frame 8 of the left eye goes with frame 10 of the right
    assert alike(shown[4][2], whole[7][0])
    assert alike(shown[4][3], whole[9][1])
    swapped = open_pair(left, place, reading=Reading(swapped=True), on_bad="hold")
    assert [bad[0].eye for _, bad, *_ in shown_of(swapped, 10, 10)] == ["left"]


@pytest.mark.parametrize("kind", ["ffv1", "h264"])
def test_a_clip_of_which_nothing_can_be_decoded_is_refused(clips, tmp_path, kind):
    left, right, _ = clips(kind)
    place = damaged(left, tmp_path / left.name, range(COUNT))
    for on_bad in ("hold", "black"):
        with pytest.raises(InputError, match="no frame of which both eyes can be decoded"):
            next(iter(open_pair(place, right, on_bad=on_bad).filled_frames(20, 25)))


def test_reading_from_any_frame_gives_what_reading_from_the_start_gives(clips):
    left, right, whole = clips("h264-open")
    pair = open_pair(left, right)
    for first in range(0, COUNT, 5):
        _, eye, _ = next(iter(pair.frames(first, first)))
        assert alike(eye, whole[first][0]), first


def test_columns_beyond_the_frame_are_held_with_it(clips, tmp_path):
    left, right, whole = clips("prores")
    pair = framed(open_pair(damaged(left, tmp_path / left.name, [48]), right, on_bad="hold"), 300, 182)
    assert pair.whole is not None
    (wide,), (narrow,) = (list(one.filled_frames(48, 48)) for one in (pair.whole, pair))
    assert wide.bad == narrow.bad != ()
    first = (LARGE[0] - 300) // 2 // 2 * 2
    assert np.array_equal(narrow.left[0], whole[47][0][0][:, first : first + 300])
    assert wide.right[0].shape[1] == 300 + 2 * pair.spare_px


# --- both eyes in one file ---


def test_a_picture_that_holds_both_eyes_is_missed_by_both(clips, tmp_path):
    left, _, _ = clips("prores")
    place = damaged(left, tmp_path / "kite.mov", [30])
    pair = open_packed(place, "top-bottom", on_bad="hold")
    shown = shown_of(pair)
    assert [bad[0].eye for _, bad, *_ in shown if bad] == ["both"]
    assert same((0, (), *shown[30][2:]), (0, (), *shown[29][2:]))


def test_of_eyes_that_take_turns_only_one_is_missing_and_both_are_held(clips, tmp_path):
    left, _, whole = clips("ffv1")
    pair = open_packed(damaged(left, tmp_path / "kite.mkv", [31]), "frame-sequential", on_bad="hold")
    shown = shown_of(pair)
    assert [(index, bad[0].eye) for index, bad, *_ in shown if bad] == [(15, "right")]
    assert alike(shown[15][2], whole[28][0])
    assert alike(shown[15][3], whole[29][0])


# --- stills ---


def stills(tmp_path, kind="dpx10", count=8):
    eyes = [make_stills(tmp_path / eye, kind, count) for eye in ("left", "right")]
    paths = [sorted(eye.iterdir()) for eye in eyes]
    whole = [(a, b) for _, a, b in open_pair(*eyes, rate=Fraction(24)).frames()]
    return *eyes, paths, whole


def number_of(path):
    return int("".join(letter for letter in path.stem if letter.isdigit())[-4:])


@pytest.mark.parametrize("kind", ["dpx10", "png16", "tiff16", "exr-half", "jpeg"])
@pytest.mark.parametrize("on_bad", ["hold", "black"])
def test_a_still_cut_short_is_a_bad_frame(tmp_path, kind, on_bad):
    left, right, (files, _), whole = stills(tmp_path, kind)
    files[3].write_bytes(files[3].read_bytes()[: files[3].stat().st_size // 2])
    files[5].write_bytes(b"")
    shown = shown_of(open_pair(left, right, rate=Fraction(24), on_bad=on_bad))
    assert [index for index, bad, *_ in shown if bad] == [3, 5]
    assert shown[5][1][0].reason == "an empty file"
    if on_bad == "hold":
        require_held(shown, whole)
    else:
        assert shown[3][1][0].shown == "black"
    with pytest.raises(InputError):
        list(open_pair(left, right, rate=Fraction(24)).frames())


@pytest.mark.parametrize("by_pattern", [False, True])
def test_a_number_that_is_missing_is_a_bad_frame(tmp_path, by_pattern):
    left, right, (files, _), whole = stills(tmp_path)
    for index in (2, 3):
        files[index].unlink()
    given = left / files[0].name.replace(f"{number_of(files[0]):04d}", "####") if by_pattern else left
    pair = open_pair(given, right, rate=Fraction(24), on_bad="hold")
    shown = shown_of(pair)
    assert pair.count == 8
    assert [index for index, bad, *_ in shown if bad] == [2, 3]
    assert shown[2][1] == (BadFrame(2, "left", "no file of its number", "frame 1"),)
    require_held(shown, whole)
    assert pair.left.files() == [file for file in files if file.exists()]
    assert pair.left.paths == tuple(files)  # delivered stills have the names that the missing ones would have
    with pytest.raises(InputError, match="2 missing"):
        open_pair(given, right, rate=Fraction(24))


def test_the_first_of_a_range_may_be_missing_or_unreadable(tmp_path):
    left, right, (files, others), whole = stills(tmp_path)
    whole_timecode = open_pair(left, right, rate=Fraction(24)).timecode
    start = number_of(files[0])
    files[1].unlink()
    others[2].write_bytes(b"no picture at all")
    pair = open_pair(left, right, rate=Fraction(24), frames=(start + 1, start + 6), on_bad="hold")
    shown = shown_of(pair)
    assert [(index, bad[0].eye) for index, bad, *_ in shown if bad] == [(0, "left"), (1, "right")]
    assert shown[0][1][0].shown == shown[1][1][0].shown == "frame 2"
    assert alike(shown[0][2], whole[3][0])
    assert alike(shown[0][3], whole[3][1])
    files[0].write_bytes(b"\0" * 4096)
    pair = open_pair(left, right, rate=Fraction(24), on_bad="black")
    assert [pair.left.like(index) for index in range(3)] == [files[2]] * 3
    assert [pair.right.like(index) for index in (1, 2, 3)] == [others[1], others[1], others[3]]
    assert [index for index, bad, *_ in shown_of(pair) if bad] == [0, 1, 2]
    assert pair.timecode == whole_timecode


def test_what_lies_beyond_the_numbers_that_are_there_is_no_gap(tmp_path):
    left, right, (files, _), _ = stills(tmp_path)
    start = number_of(files[0])
    with pytest.raises(InputError, match="missing"):
        open_pair(left, right, rate=Fraction(24), frames=(start - 1, start + 3), on_bad="hold")
    files[0].unlink()
    with pytest.raises(InputError, match="7 frames in the left eye and 8 frames in the right"):
        open_pair(left, right, rate=Fraction(24), on_bad="hold")


def test_a_still_of_another_size_or_kind_stays_an_error(tmp_path):
    left, right, (files, _), _ = stills(tmp_path, "png16")
    other = make_stills(tmp_path / "other", "png8", 1)
    files[4].write_bytes(next(iter(other.iterdir())).read_bytes())
    with pytest.raises(OtherFormatError, match="like the frames before"):
        open_pair(left, right, rate=Fraction(24), on_bad="hold")


def test_stills_none_of_which_can_be_read_are_refused(tmp_path):
    left, right, (files, _), _ = stills(tmp_path)
    for file in files:
        file.write_bytes(b"\0" * 4096)
    with pytest.raises(InputError, match=files[0].name):
        open_pair(left, right, rate=Fraction(24), on_bad="hold")


def test_views_are_found_where_the_first_file_is_damaged(tmp_path):
    folder = tmp_path / "views"
    folder.mkdir()
    views = struct.pack("<i", 4) + b"left" + struct.pack("<i", 5) + b"right"
    for number in range(3):
        channels = {f"{eye}{name}": half_samples(12, 20, number) for eye in ("", "right.") for name in "BGR"}
        extras = (*EXTRAS, ("multiView", "stringvector", views))
        write_exr_file(folder / f"kite.{number:04d}.exr", channels, extras=extras)
    (folder / "kite.0000.exr").write_bytes(b"\0" * 500)
    pair = open_packed(folder, rate=Fraction(24), on_bad="hold")
    assert pair.layout == "views"
    assert [[one.eye for one in bad] for _, bad, *_ in shown_of(pair) if bad] == [["both"]]


# --- measured ---


class _Unread:
    """An eye in memory of which some frames cannot be decoded."""

    def __init__(self, eye, bad):
        self._eye, self._bad = eye, bad

    def __getattr__(self, name):
        return getattr(self._eye, name)

    def frames(self, first=0, last=None, *, colour_every=1):
        end = self._eye.count - 1 if last is None else last
        for index, planes in enumerate(self._eye.frames(first, end), first):
            if index in self._bad:
                raise InputError("kite", "torn sails", "whole ones", "mend them", frame=index)
            yield planes


def film(bad_left, bad_right=(), on_bad="hold", count=22, cut=12):
    """Two scenes that move, (H, W) crops of one picture each."""
    lefts, rights = [], []
    for index in range(count):
        eyes = scene(3 if index < cut else 41)
        x = index % cut
        for eye, kept in zip(eyes, (lefts, rights)):
            kept.append(np.ascontiguousarray(eye[20:200, x : x + 320]))
    pair = pair_of(lefts, rights)
    return replace(pair, left=_Unread(pair.left, bad_left), right=_Unread(pair.right, bad_right), on_bad=on_bad)


BAD_EYES = ({0, 5, 11, 12, 13}, {13, 18})


@pytest.fixture(scope="module")
def measured():
    return {on_bad: measure_clip(film(*BAD_EYES, on_bad=on_bad)) for on_bad in ("hold", "black")}


@pytest.mark.parametrize("on_bad", ["hold", "black"])
def test_bad_frames_have_empty_rows_and_the_reason(measured, on_bad):
    rows = measured[on_bad].frames
    assert [frame for frame, row in enumerate(rows) if is_bad_note(row.note)] == [0, 5, 11, 12, 13, 18]
    shown = "black" if on_bad == "black" else "frame 4"
    assert rows[5].note == f"left eye cannot be read (torn sails); {shown} is shown"
    assert rows[13].note.startswith("neither eye can be read (torn sails); ")
    assert rows[18].note.startswith("right eye cannot be read (torn sails); ")
    for frame in (0, 5, 18):
        assert np.isnan(rows[frame].near_pct)
        assert rows[frame].confidence == 0.0
    assert np.isfinite(rows[6].near_pct)


@pytest.mark.parametrize("on_bad", ["hold", "black"])
def test_bad_frames_make_no_cut_and_no_stillness(measured, on_bad):
    table = measured[on_bad]
    # The cut at 12 is seen at the first frame after it that can be decoded.
    assert [(shot.first, shot.last) for shot in table.shots] == [(0, 13), (14, 21)]
    assert not any(row.note == "the frame before, again" for row in table.frames)
    remarks = [one for one in told(table, pair_of([], [], None).reading).remarks if one.kind != "unmeasured"]
    assert not any(one.kind in ("still", "black") for one in remarks)


def test_parts_of_a_clip_with_bad_frames_give_the_same_rows(measured):
    pair = film(*BAD_EYES)
    parts = [part_from(part_bytes(measure_part(pair, *run))) for run in ((0, 12), (13, 21))]
    assert table_text(assembled(pair, parts)) == table_text(measured["hold"])


def test_the_rows_read_back_tell_the_same_frames(measured, tmp_path):
    path = tmp_path / "measure.csv"
    path.write_text(table_text(measured["hold"]), encoding="utf-8")
    found = bad_frames_of(read_table(path).frames)
    assert [(one.frame, one.eye, one.shown) for one in found] == [
        (0, "left", "frame 1"),
        (5, "left", "frame 4"),
        (11, "left", "frame 10"),
        (12, "left", "frame 10"),
        (13, "both", "frame 10"),
        (18, "right", "frame 17"),
    ]


def test_a_quick_look_fills_in_past_a_bad_frame():
    table = measure_clip(film({8}, count=12), every=4)
    assert is_bad_note(table.frames[8].note)
    assert table.frames[7].interpolated
    assert np.isfinite(table.frames[7].near_pct)


def test_a_subject_in_a_bad_frame_is_not_found():
    (found,) = subjects_parallax(film({5}), [(5, (100, 50, 60, 60))])
    assert np.isnan(found.parallax_pct)
    assert found.reason == "left eye cannot be read (torn sails); frame 4 is shown"


# --- told ---

SCREEN = BUILTIN_SCREENS["cinema-12m"]
PLAN = Plan(
    SCREEN,
    limits_for(SCREEN),
    ClipInfo("kite-workshop", 1920, 1080, Fraction(24), 2),
    (ShotPlan("s001", 0, 9), ShotPlan("s002", 10, 19)),
    PlanSettings(),
)
BAD = (
    BadFrame(11, "left", "a damaged picture", "frame 10"),
    BadFrame(12, "left", "a damaged picture", "frame 10"),
    BadFrame(12, "right", "an empty file", "frame 10"),
)


def test_the_change_log_names_bad_frames_and_flags_their_shot():
    results = shot_results(PLAN, None, None)
    log = change_log(PLAN, results, sources=(), outputs=(), timecode=None, tool={"name": "t"}, bad_frames=BAD)
    log = json.loads(change_log_text(log))
    assert log["bad_frames"] == [asdict(one) for one in BAD]
    assert [[flag["code"] for flag in shot["flags"]] for shot in log["shots"]] == [[], ["bad_frame"]]
    assert log["shots"][1]["flags"][0]["text"] == (
        "frame 11 of the left eye cannot be read: frame 10 is shown in its place, in both eyes; "
        "frame 12 of both eyes cannot be read: frame 10 is shown in its place, in both eyes"
    )
    rows = list(csv.DictReader(StringIO("".join(frame_table_lines(PLAN, None, None, timecode=None, bad_frames=BAD)))))
    assert [row["bad_frame"] for row in rows] == [*[""] * 11, "left", "both", *[""] * 7]
    without = change_log(PLAN, results, sources=(), outputs=(), timecode=None, tool={"name": "t"})
    assert without["bad_frames"] == []
    assert not any(shot["flags"] for shot in without["shots"])


def test_a_flag_names_a_few_runs_and_counts_the_rest():
    bad = [BadFrame(frame, "right", "x", "black") for frame in range(0, 40, 2)]
    (flag,) = bad_frame_flags(bad, 0, 39)
    assert flag.text.startswith("frame 0 of the right eye cannot be read: black is shown in its place")
    assert flag.text.endswith("; 14 more such frames")
    (flag,) = bad_frame_flags([BadFrame(f, "left", "x", "frame 3") for f in (4, 5, 6)], 0, 9)
    assert flag.text == "frames 4 to 6 of the left eye cannot be read: frame 3 is shown in their place, in both eyes"
    assert bad_frame_flags(bad, 41, 50) == ()


def entry(*codes):
    flags = [asdict(Flag(code, "words")) for code in codes]
    return {
        "name": "s001", "flags": flags, "after": {"near_pct": 0.0}, "align": False, "misalignment": None,
        "applied_hit_px": [0, 0], "zoom": 1.0, "window": [],
    }  # fmt: skip


def test_the_terminal_says_it_and_never_calls_such_a_shot_within_its_limits():
    said = rendered(lead_text([Made("", SCREEN.name, [entry("bad_frame"), entry()])]))
    assert "with frames that cannot be read: 1 of 2 shots (s001)" in said
    assert "every shot is within" not in said
    assert "outside the limits" not in said
    assert "with frames that cannot be read" in rendered([verdict_text(SCREEN.name, [entry("bad_frame")])])
    assert "outside" in rendered([verdict_text(SCREEN.name, [entry("bad_frame", "near")])])
