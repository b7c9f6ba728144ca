"""Cuts from edit lists."""

import builtins
from fractions import Fraction

import opentimelineio as otio
import pytest

from postfix.errors import InputError, UsageError
from postfix.source.editlist import read_edit_list
from postfix.source.shots import EditList, Shot, Transition, begins, disagreements

# Rules of CMX 3600 as OpenTimelineIO's adapter documents them (read): no rate in the file, out points excluded, a
# dissolve is two lines with one event number.
EDL = """TITLE: KITE WORKSHOP
FCM: NON-DROP FRAME

001  BENCH    V     C        04:00:10:00 04:00:12:00 01:00:00:00 01:00:02:00
* FROM CLIP NAME: bench 010
002  BENCH    V     C        04:00:12:00 04:00:12:00 01:00:02:00 01:00:02:00
002  BEACH    V     D    012 02:00:00:00 02:00:03:00 01:00:02:00 01:00:05:00
* FROM CLIP NAME: bench 010
* TO CLIP NAME: beach 020
003  KITE     V     C        03:00:00:00 03:00:01:00 01:00:05:00 01:00:06:00
004  AX       V     C        00:00:00:00 00:00:01:00 01:00:06:00 01:00:07:00
005  KITE     V     C        03:00:09:00 03:00:10:00 01:00:07:00 01:00:08:00
"""


@pytest.fixture
def edl(tmp_path):
    path = tmp_path / "list é.edl"
    path.write_text(EDL)
    return path


def read(path, count=192, rate=Fraction(24), timecode=None):
    listed = read_edit_list(path, rate=rate, count=count, timecode=timecode)
    return [(shot.name, shot.first, shot.last) for shot in listed.shots]


# The dissolve's 12 frames are 48 to 59.
WHOLE = [("bench_010", 0, 53), ("beach_020", 54, 119), ("KITE", 120, 143), ("s004", 144, 167), ("KITE_2", 168, 191)]


def test_the_record_side_gives_the_shots_with_a_dissolve_split_in_its_middle(edl):
    assert read(edl) == WHOLE
    assert read(edl, rate=Fraction(24000, 1001)) == WHOLE


def test_a_clip_is_found_in_a_longer_list_by_its_timecode(edl):
    assert read(edl, timecode="01:00:00:00") == WHOLE
    assert read(edl, count=96, timecode="01:00:02:00") == [("beach_020", 0, 71), ("KITE", 72, 95)]
    assert read(edl, timecode="19:00:00:00") == WHOLE  # outside the list: counted from its first record time


def test_drop_frame_lists_count_real_frames(tmp_path):
    path = tmp_path / "a.edl"
    path.write_text(
        "TITLE: T\nFCM: DROP FRAME\n\n"
        "001  A V C 01:00:00;00 01:00:59;29 00:00:00;00 00:00:59;29\n"
        "002  B V C 01:00:00;00 01:00:00;03 00:00:59;29 00:01:00;04\n"
    )
    # 00:00:59;29 is frame 1799 and 00:01:00;02 frame 1800 (OpenTimelineIO's tests, read).
    assert read(path, count=1802, rate=Fraction(30000, 1001)) == [("A", 0, 1798), ("B", 1799, 1801)]


def test_an_otio_timeline_gives_the_same_shots(edl, tmp_path):
    path = tmp_path / "list.otio"
    otio.adapters.write_to_file(otio.adapters.read_from_file(str(edl), "cmx_3600", rate=24), str(path))
    assert read(path) == WHOLE


@pytest.mark.parametrize(
    ("count", "timecode", "says"),
    [
        (191, None, "'KITE_2', which ends before 01:00:08:00 .frame 192., expected 01:00:07:23 .frame 191."),
        (193, None, "'KITE_2', which ends before 01:00:08:00"),
        (71, "01:00:02:00", "'beach_020', which ends before"),
        (20, "01:00:01:00", "'bench_010', which starts at 01:00:00:00 .frame -24."),
    ],
)
def test_a_list_that_does_not_fit_names_the_event(edl, count, timecode, says):
    with pytest.raises(InputError, match=says):
        read(edl, count=count, timecode=timecode)


def test_a_gap_in_the_list_names_the_event_after_it(edl):
    edl.write_text("\n".join(line for line in EDL.splitlines() if "KITE     V     C        03:00:00" not in line))
    with pytest.raises(
        InputError, match=r"event 's003', which starts at 01:00:06:00 \(frame 144\), expected 01:00:05:00"
    ):
        read(edl)


@pytest.mark.parametrize(
    "text", ["", "junk\nmore junk\n", "TITLE: NOTHING\nFCM: NON-DROP FRAME\n", "001 A V C 1 2 3 4\n"]
)
@pytest.mark.parametrize("suffix", [".edl", ".otio"])
def test_what_is_no_list_is_refused_in_one_sentence(tmp_path, text, suffix):
    path = tmp_path / f"a{suffix}"
    path.write_text(text)
    with pytest.raises(InputError) as caught:
        read(path)
    assert "\n" not in str(caught.value)


def test_binary_junk_and_a_missing_list_are_refused(tmp_path):
    (tmp_path / "a.edl").write_bytes(bytes(range(256)) * 8)
    for name in ("a.edl", "missing.edl"):
        with pytest.raises(InputError):
            read(tmp_path / name)


def test_another_suffix_is_wrong_use(tmp_path):
    (tmp_path / "a.txt").write_text(EDL)
    with pytest.raises(UsageError, match=r"\.edl or \.otio"):
        read(tmp_path / "a.txt")


def test_without_the_library_the_message_says_what_to_install(edl, monkeypatch):
    real = builtins.__import__

    def without(name, *rest):
        if name.startswith("opentimelineio"):
            raise ImportError(name)
        return real(name, *rest)

    monkeypatch.setattr(builtins, "__import__", without)
    with pytest.raises(UsageError, match=r"pip install 'postfix-stereo\[edit\]'"):
        read(edl)


def listed(tmp_path, text, count, rate=Fraction(24), timecode=None, header="TITLE: T\nFCM: NON-DROP FRAME\n\n"):
    path = tmp_path / "made.edl"
    path.write_text(header + text)
    return read_edit_list(path, rate=rate, count=count, timecode=timecode)


def said(edit_list, *words):
    return [note for note in edit_list.notes if all(word in note for word in words)]


def test_a_dissolve_has_its_frames_and_a_note(edl):
    found = read_edit_list(edl, rate=Fraction(24), count=192, timecode=None)
    cuts = [Transition(frame, "cut", frame, frame) for frame in (120, 144, 168)]
    assert found.transitions == (Transition(54, "dissolve", 48, 59), *cuts)
    assert [one.frames if one else None for one in begins(found.shots, found.transitions)] == [None, 12, 0, 0, 0]
    assert said(found, "dissolve in event 002", "frames 48 to 59", "beach_020", "frame 54")
    assert said(found, "first record time, 01:00:00:00", "the clip has no timecode")


# The same edit written in the forms that lists are found in (common practice, no source).
ONE_LINE = """001  A  V  C        01:00:00:00 01:00:02:00 01:00:00:00 01:00:02:00
002  B  V  D    008 02:00:00:00 02:00:02:00 01:00:02:00 01:00:04:00
"""
OUTGOING_IN_THE_SAME_EVENT = """001  A  V  C        01:00:00:00 01:00:02:00 01:00:00:00 01:00:02:00
001  B  V  D    008 02:00:00:00 02:00:02:00 01:00:02:00 01:00:04:00
"""
WITH_SOUND = """001  A  V  C        01:00:00:00 01:00:02:00 01:00:00:00 01:00:02:00
001  A  A  C        01:00:00:00 01:00:02:00 01:00:00:00 01:00:02:00
002  A  V  C        01:00:02:00 01:00:02:00 01:00:02:00 01:00:02:00
002  B  V  D    008 02:00:00:00 02:00:02:00 01:00:02:00 01:00:04:00
002  B  A  C        02:00:00:00 02:00:02:00 01:00:02:00 01:00:04:00
"""


@pytest.mark.parametrize("text", [ONE_LINE, OUTGOING_IN_THE_SAME_EVENT, WITH_SOUND])
def test_a_dissolve_is_kept_in_every_form_it_is_written_in(tmp_path, text):
    found = listed(tmp_path, text, 96)
    assert found.shots == (Shot("A", 0, 51), Shot("B", 52, 95))
    assert found.transitions == (Transition(52, "dissolve", 48, 55),)


@pytest.mark.parametrize(
    ("length", "speed", "says"),
    [
        ("03:00:02:00", "048.0", "to 2 times"),
        ("03:00:01:00", "-024.0", "to -1 times"),
        ("03:00:00:00", "000.0", "to 0 t"),
    ],
)
def test_a_speed_change_is_a_note_with_its_event_and_shot(tmp_path, length, speed, says):
    found = listed(
        tmp_path,
        "007  A     V  C  01:00:00:00 01:00:01:00 01:00:00:00 01:00:01:00\n"
        f"008  KITE  V  C  03:00:00:00 {length} 01:00:01:00 01:00:02:00\n"
        f"M2   KITE       {speed}                03:00:00:00\n",
        48,
    )
    assert found.shots == (Shot("A", 0, 23), Shot("KITE", 24, 47))
    assert said(found, "speed change in event 008", says, "shot KITE")
    assert not said(found, "event 007")


def test_drop_frame_counting_is_told_by_the_fcm_line_where_times_have_colons(tmp_path):
    # 00:00:59;29 is frame 1799 and 00:01:00;02 frame 1800 (OpenTimelineIO's tests, read).
    text = (
        "001  A V C 01:00:00:00 01:00:59:29 00:00:00:00 00:00:59:29\n"
        "002  B V C 01:00:00:00 01:00:00:03 00:00:59:29 00:01:00:04\n"
    )
    found = listed(tmp_path, text, 1802, Fraction(30000, 1001), "00:00:00;00", "TITLE: T\nFCM: DROP FRAME\n")
    assert found.shots == (Shot("A", 0, 1798), Shot("B", 1799, 1801))
    assert said(found, "matched by record timecode", "00:00:00;00")


def test_drop_frame_counting_at_a_rate_without_it_is_a_note(tmp_path):
    found = listed(tmp_path, ONE_LINE, 96, header="TITLE: T\nFCM: DROP FRAME\n")
    assert len(found.shots) == 2
    assert said(found, "drop-frame, which does not exist at 24 frames/s")


def test_a_clip_with_the_source_timecode_of_a_reel_is_one_take_with_its_handles(edl):
    found = read_edit_list(edl, rate=Fraction(24), count=48 + 20, timecode="04:00:09:14")
    assert found.shots == (Shot("bench_010", 0, 67),)
    assert found.transitions == ()
    assert said(found, "matched by source timecode", "BENCH", "frames 10 to 57")


def test_handles_around_the_whole_list_belong_to_its_first_and_last_shot(edl):
    found = read_edit_list(edl, rate=Fraction(24), count=192 + 16, timecode="00:59:59:16")
    assert [(shot.first, shot.last) for shot in found.shots] == [(0, 61), (62, 127), (128, 151), (152, 175), (176, 207)]
    assert found.transitions[0] == Transition(62, "dissolve", 56, 67)
    assert said(found, "8 frames before the list", "bench_010")
    assert said(found, "8 frames after the list", "KITE_2")


def test_a_clip_that_begins_with_a_dissolve_keeps_it_in_its_first_shot(edl):
    found = read_edit_list(edl, rate=Fraction(24), count=96, timecode="01:00:02:00")
    assert found.transitions == (Transition(72, "cut", 72, 72),)
    assert said(found, "begins with the dissolve of 12 frames in event 002", "beach_020")


def test_part_of_a_list_counts_from_its_own_first_frame(edl):
    part = read_edit_list(edl, rate=Fraction(24), count=192, timecode=None).within(50, 80)
    assert part.shots == (Shot("bench_010", 0, 3), Shot("beach_020", 4, 69), Shot("KITE", 70, 79))
    assert part.transitions == (Transition(4, "dissolve", 0, 9), Transition(70, "cut", 70, 70))


def clip_of(name, frames, speed=None):
    span = otio.opentime.TimeRange(otio.opentime.RationalTime(100, 24), otio.opentime.RationalTime(frames, 24))
    effects = [] if speed is None else [otio.schema.LinearTimeWarp(time_scalar=speed)]
    return otio.schema.Clip(name=name, source_range=span, effects=effects)


def test_transitions_time_warps_and_gaps_of_an_otio_timeline_are_read(tmp_path):
    track = otio.schema.Track(kind="Video")
    frames = otio.opentime.RationalTime
    track.append(clip_of("slip", 40))
    track.append(
        otio.schema.Transition(transition_type="SMPTE_Dissolve", in_offset=frames(6, 24), out_offset=frames(4, 24))
    )
    track.append(clip_of("sail", 30, speed=0.5))
    track.append(otio.schema.Gap(source_range=otio.opentime.TimeRange(frames(0, 24), frames(10, 24))))
    track.append(clip_of("sand", 20))
    timeline = otio.schema.Timeline(tracks=[track])
    otio.adapters.write_to_file(timeline, str(tmp_path / "made.otio"))
    found = read_edit_list(tmp_path / "made.otio", rate=Fraction(24), count=100, timecode=None)
    assert found.shots == (Shot("slip", 0, 38), Shot("sail", 39, 69), Shot("black", 70, 79), Shot("sand", 80, 99))
    assert found.transitions[0] == Transition(39, "dissolve", 34, 43)
    assert said(found, "speed change in event 2", "to 0.5 times", "shot sail")


def cut(frame):
    return Transition(frame, "cut", frame, frame)


def test_a_list_and_a_picture_that_agree_have_nothing_to_say():
    in_list = (cut(10), Transition(34, "dissolve", 30, 37), cut(80))
    in_picture = (cut(11), Transition(36, "dissolve", 29, 39), Transition(83, "cut", 79, 87))
    assert disagreements(in_list, in_picture, rate=Fraction(24), timecode=None) == ()


def test_what_list_and_picture_do_not_share_is_said_with_frame_and_timecode():
    in_list = (cut(10), Transition(34, "dissolve", 30, 37), cut(60))
    in_picture = (cut(12), cut(33), cut(60))
    told = disagreements(in_list, in_picture, rate=Fraction(24), timecode="01:00:00:00")
    assert told == (
        "the list has a cut at frame 10 (01:00:00:10); the picture shows none there",
        "the picture shows a cut at frame 12 (01:00:00:12); the list has none there",
        "the list has a dissolve from frame 30 (01:00:01:06) to frame 37 (01:00:01:13); "
        "the picture shows a cut at frame 33 (01:00:01:09)",
    )


def test_shots_of_an_empty_part_are_none():
    assert EditList((Shot("a", 0, 9),), (), ()).within(20, 5).shots == ()
