"""Cuts from edit lists."""

import builtins
from fractions import Fraction

import pytest

from postfix.errors import InputError, UsageError
from postfix.source.editlist import read_edit_list

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
    return [(s.name, s.first, s.last) for s in read_edit_list(path, rate=rate, count=count, timecode=timecode)]


WHOLE = [("bench_010", 0, 47), ("beach_020", 48, 119), ("KITE", 120, 143), ("s004", 144, 167), ("KITE_2", 168, 191)]


def test_the_record_side_gives_the_shots_with_a_dissolve_cut_at_its_start(edl):
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
    import opentimelineio as otio

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
