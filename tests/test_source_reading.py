"""Reading both eyes: every reader against what was put into the files."""

import tempfile
import threading
import time
from fractions import Fraction
from pathlib import Path

import numpy as np
import OpenImageIO as oiio
import pytest
from picture_files import (
    LOSSLESS,
    RATE,
    STILLS,
    VIDEOS,
    expected_planes,
    file_planes,
    make_eye,
    make_stills,
    make_video,
    write_still_file,
)
from rights import ordinary_user

from postfix.errors import InputError, UsageError
from postfix.source.ahead import frames_ahead
from postfix.source.opening import open_eye, sha256_of
from postfix.source.pair import open_pair

KINDS = [*VIDEOS, *STILLS]


def open_made(path):
    return open_eye(path, rate=RATE if path.is_dir() else None)


@pytest.mark.parametrize("kind", KINDS)
def test_every_reader_keeps_the_contract(tmp_path, kind):
    eye = open_made(make_eye(tmp_path, kind))
    assert (eye.format.width, eye.format.height) == (322, 182)
    assert eye.rate == Fraction(24000, 1001)
    assert eye.count == 6
    assert eye.first_number == (0 if kind in VIDEOS else 1001)
    assert eye.timecode == ("10:00:00:00" if kind in VIDEOS else None)
    frames = list(eye.frames())
    assert len(frames) == 6
    for index, planes in enumerate(frames):
        expected = expected_planes(kind, index)
        assert len(planes) == len(eye.format.planes) == len(expected)
        for plane, described, wanted in zip(planes, eye.format.planes, expected):
            assert plane.dtype == np.dtype(eye.format.dtype_of(described)) == wanted.dtype
            assert plane.shape == wanted.shape
            assert described.channels == (1 if plane.ndim == 2 else plane.shape[2]) == len(described.black)
            assert plane.shape[0] == -(-eye.format.height // described.step_y)
            assert plane.shape[1] == -(-eye.format.width // described.step_x)
            if kind in LOSSLESS:
                assert plane.tobytes() == wanted.tobytes()
            else:  # bounds seen for this grain: computed, a little above what the coders do
                difference = np.abs(plane.astype(int) - wanted.astype(int))
                assert difference.mean() < {"prores": 6, "h264": 2, "jpeg": 2}[kind]


@pytest.mark.parametrize("kind", ["ffv1", "ffv1-avi", "prores", "h264", "tiff16"])
def test_any_run_of_frames_is_the_same_as_in_the_whole(tmp_path, kind):
    path = make_eye(tmp_path, kind, count=17)
    eye = open_made(path)
    whole = [[plane.copy() for plane in planes] for planes in eye.frames()]
    for first, last in [(0, 0), (1, 3), (7, 16), (11, 12), (16, 16)]:
        run = list(eye.frames(first, last))
        assert len(run) == last - first + 1
        for planes, wanted in zip(run, whole[first : last + 1]):
            assert all(np.array_equal(a, b) for a, b in zip(planes, wanted))
    base = eye.first_number
    part = open_eye(path, rate=RATE if path.is_dir() else None, frames=(base + 5, base + 14))
    assert part.count == 10
    assert np.array_equal(next(iter(part.frames(2)))[0], whole[7][0])
    if kind in VIDEOS:
        assert part.timecode == "10:00:00:05"


def test_decoding_twice_gives_the_same_samples(tmp_path):
    eye = open_eye(make_video(tmp_path / "a.mp4", "h264", 24))
    first, second = (b"".join(p.tobytes() for planes in eye.frames() for p in planes) for _ in range(2))
    assert first == second


# Code ranges: Recommendation ITU-R BT.709 has black 16 and white 235 times 2^(bits − 8), chroma zero at 128 times the
# same (from memory); full range uses every code.
@pytest.mark.parametrize(
    ("kind", "full", "black", "white", "neutral"),
    [
        ("ffv1", False, 64, 940, 512),
        ("ffv1", True, 0, 1023, 512),
        ("h264", False, 16, 235, 128),
        ("h264", True, 0, 255, 128),
        ("ffv1-rgb", True, 0, 1023, 0),
    ],
)
def test_the_range_tag_decides_black_and_white(tmp_path, kind, full, black, white, neutral):
    eye = open_eye(make_video(tmp_path / f"a{VIDEOS[kind][0]}", kind, 2, full_range=full))
    assert eye.format.planes[0].black == (black,)
    assert eye.format.white == white
    assert eye.format.planes[1].black == (neutral,)
    assert eye.format.is_yuv is (kind != "ffv1-rgb")


def test_subsampling_is_told_by_plane(tmp_path):
    steps = {}
    for kind in ("h264", "ffv1", "ffv1-rgb"):
        fmt = open_eye(make_video(tmp_path / f"{kind}{VIDEOS[kind][0]}", kind, 1)).format
        steps[kind] = [(plane.step_x, plane.step_y) for plane in fmt.planes]
    assert steps == {
        "h264": [(1, 1), (2, 2), (2, 2)],
        "ffv1": [(1, 1), (2, 1), (2, 1)],
        "ffv1-rgb": [(1, 1), (1, 1), (1, 1)],
    }


def test_planes_cannot_be_written_into(tmp_path):
    plane = next(iter(open_eye(make_video(tmp_path / "a.mp4", "h264", 2)).frames()))[0]
    with pytest.raises(ValueError, match="read-only"):
        plane[0, 0] = 1


def test_the_rate_given_must_agree_with_the_file(tmp_path):
    path = make_video(tmp_path / "a.mov", "prores", 2)
    assert open_eye(path, rate=RATE).rate == RATE
    with pytest.raises(UsageError, match="24000/1001"):
        open_eye(path, rate=Fraction(24))


@pytest.mark.parametrize(
    "rate", [Fraction(24), Fraction(25), Fraction(30000, 1001), Fraction(50), Fraction(60000, 1001)]
)
def test_a_rate_is_exact_even_where_the_container_rounds_its_clock(tmp_path, rate):
    assert open_eye(make_video(tmp_path / "a.mkv", "ffv1", 30, rate=rate, size=(32, 16))).rate == rate


# --- stills and patterns ---


def test_patterns_and_ranges_choose_stills(tmp_path):
    folder = make_stills(tmp_path / "stills", "tiff8", 6, first=9998, name="a")
    (folder / "a.12.tif").write_bytes(b"not of the sequence")
    for name in ("a.####.tif", "a.#.tif", "a.%04d.tif"):
        eye = open_eye(folder / name, rate=RATE)
        assert (eye.first_number, eye.count) == (9998, 6)
        assert eye.files()[-1].name == "a.10003.tif"
    eye = open_eye(folder / "a.####.tif", rate=RATE, frames=(9999, 10001))
    assert (eye.first_number, eye.count) == (9999, 3)
    assert np.array_equal(next(iter(eye.frames()))[0], expected_planes("tiff8", 1)[0])


def test_missing_stills_are_named(tmp_path):
    folder = make_stills(tmp_path / "s", "png8", 8, first=1001, name="a")
    for number in (1003, 1005, 1006):
        (folder / f"a.{number}.png").unlink()
    with pytest.raises(InputError, match="3 missing: 1003, 1005–1006"):
        open_eye(folder, rate=RATE)
    with pytest.raises(InputError, match="2 missing: 999–1000"):
        open_eye(folder, rate=RATE, frames=(999, 1002))
    assert open_eye(folder, rate=RATE, frames=(1007, 1008)).count == 2


def test_stills_need_a_rate(tmp_path):
    with pytest.raises(InputError, match="--rate"):
        open_eye(make_stills(tmp_path / "s", "png8", 2))


def test_a_still_of_another_size_or_depth_is_named(tmp_path):
    folder = make_stills(tmp_path / "s", "tiff16", 3, name="a")
    write_still_file(folder / "a.1002.tif", np.zeros((182, 320, 3), np.uint16))
    with pytest.raises(InputError, match=r"a\.1002\.tif, frame 1002: found 320x182"):
        open_eye(folder, rate=RATE)
    write_still_file(folder / "a.1002.tif", np.zeros((182, 322, 3), np.uint8))
    with pytest.raises(InputError, match="frame 1002: found 322x182 rgb-8bit"):
        open_eye(folder, rate=RATE)


def test_a_folder_must_hold_one_sequence(tmp_path):
    folder = make_stills(tmp_path / "s", "tiff8", 2, name="a")
    (folder / ".hidden.tif").write_bytes(b"")
    (folder / "notes.txt").write_text("kept apart")
    assert open_eye(folder, rate=RATE).count == 2
    make_stills(folder, "tiff8", 2, name="b")
    with pytest.raises(InputError, match="several sequences"):
        open_eye(folder, rate=RATE)
    assert open_eye(folder / "b.####.tif", rate=RATE).count == 2
    make_stills(folder, "png8", 2, name="a")
    with pytest.raises(InputError, match="several kinds"):
        open_eye(folder, rate=RATE)


def test_a_timecode_in_a_still_is_read(tmp_path, monkeypatch):
    # 0x01020304 is 01:02:03:04 in the binary-coded decimals of SMPTE ST 12-1 (from memory).
    folder = make_stills(tmp_path / "s", "tiff8", 1)
    from postfix.source.still_header import header_timecode

    spec = oiio.ImageSpec(1, 1, 3, "uint8")
    spec.attribute("smpte:TimeCode", oiio.TypeDesc("timecode"), (0x01020304, 0))
    assert header_timecode(spec, Fraction(24)) == "01:02:03:04"
    spec.attribute("smpte:TimeCode", oiio.TypeDesc("timecode"), (0x01020344, 0))
    assert header_timecode(spec, Fraction(30000, 1001)) == "01:02:03;04"
    assert open_eye(folder, rate=RATE).timecode is None


# --- what cannot be used ---


def cut(path, share):
    path.write_bytes(path.read_bytes()[: int(path.stat().st_size * share)])
    return path


@pytest.mark.parametrize("kind", ["ffv1", "ffv1-avi", "prores", "h264"])
@pytest.mark.parametrize("share", [0.02, 0.5, 0.95, 0.995])
def test_a_video_cut_short_is_refused_before_or_at_the_frame(tmp_path, kind, share):
    path = cut(make_video(tmp_path / f"a{VIDEOS[kind][0]}", kind, 24), share)
    with pytest.raises(InputError):
        list(open_eye(path).frames())


def test_a_video_cut_in_its_pictures_is_refused_with_the_count(tmp_path):
    path = cut(make_video(tmp_path / "a.mkv", "ffv1", 24), 0.5)
    with pytest.raises(InputError, match=r"cut short after \d+ frames"):
        open_eye(path)


@pytest.mark.parametrize("kind", ["prores", "ffv1"])
def test_damage_inside_a_video_is_found_at_its_frame(tmp_path, kind):
    path = make_video(tmp_path / f"a{VIDEOS[kind][0]}", kind, 12)
    data = bytearray(path.read_bytes())
    middle = len(data) // 2
    data[middle : middle + 400] = bytes(400)
    path.write_bytes(data)
    with pytest.raises(InputError) as caught:
        list(open_eye(path).frames())
    assert 4 <= caught.value.frame <= 7


@pytest.mark.parametrize("kind", STILLS)
@pytest.mark.parametrize("share", [0.0, 0.01, 0.5, 0.97])
def test_a_still_cut_short_is_named(tmp_path, kind, share):
    folder = make_stills(tmp_path / "s", kind, 3)
    cut(sorted(folder.iterdir())[1], share)
    with pytest.raises(InputError) as caught:
        list(open_eye(folder, rate=RATE).frames())
    assert caught.value.frame == 1002
    assert "1002" in caught.value.where


def test_a_tiff_whose_header_is_whole_but_whose_rows_end_early_is_named(tmp_path):
    import tifffile  # writes the directory first, so that a cut file still opens

    for number in (1, 2):
        tifffile.imwrite(tmp_path / f"a.{number}.tif", np.full((182, 322, 3), 9, np.uint16), photometric="rgb")
    cut(tmp_path / "a.2.tif", 0.9)
    with pytest.raises(InputError, match=r"a\.2\.tif, frame 2: found a picture that cannot be read to its end"):
        list(open_eye(tmp_path, rate=RATE).frames())


def make_bad(tmp_path, what):
    path = tmp_path / "bad.mov"
    if what == "empty":
        path.touch()
    elif what == "junk":
        path.write_bytes(bytes(range(256)) * 40)
    elif what == "text":
        path.write_text("a letter, not a film\n" * 50)
    elif what == "empty folder":
        path = tmp_path / "folder"
        path.mkdir()
    elif what == "other stills":
        path = tmp_path / "folder"
        path.mkdir()
        (path / "a.0001.tga").write_bytes(b"TGA")
    elif what == "junk still":
        path = tmp_path / "folder"
        path.mkdir()
        (path / "a.0001.png").write_bytes(b"hello" * 30)
    elif what == "numberless":
        path = tmp_path / "folder"
        path.mkdir()
        write_still_file(path / "a.png", np.zeros((8, 8, 3), np.uint8))
    elif what == "single still":
        path = tmp_path / "a.0001.png"
        write_still_file(path, np.zeros((8, 8, 3), np.uint8))
    elif what == "pattern without files":
        path = tmp_path / "a.####.tif"
    elif what == "pattern in no folder":
        path = tmp_path / "nowhere" / "a.####.tif"
    elif what == "sound only":
        import av

        path = tmp_path / "a.wav"
        with av.open(str(path), "w") as container:
            stream = container.add_stream("pcm_s16le", rate=48000, layout="mono")
            frame = av.AudioFrame.from_ndarray(np.zeros((1, 4800), np.int16), format="s16", layout="mono")
            frame.sample_rate = 48000
            container.mux(stream.encode(frame))
    elif what == "no frames":
        path = make_video(tmp_path / "a.mkv", "ffv1", 0)
    elif what == "packed pixels":
        path = make_packed_rgb(tmp_path / "a.mkv")
    return path


def make_packed_rgb(path):
    import av

    with av.open(str(path), "w") as container:
        stream = container.add_stream("ffv1", rate=24)
        stream.width, stream.height, stream.pix_fmt = 32, 16, "bgr0"
        frame = av.VideoFrame(32, 16, "bgr0")
        frame.planes[0].update(bytes(frame.planes[0].buffer_size))
        container.mux(stream.encode(frame))
        container.mux(stream.encode(None))
    return path


@pytest.mark.parametrize(
    ("what", "says"),
    [
        ("missing", "nothing there"),
        ("empty", "empty file"),
        ("junk", "cannot be read as video"),
        ("text", "cannot be read as video"),
        ("empty folder", "no pictures"),
        ("other stills", "only .tga pictures"),
        ("junk still", "no PNG"),
        ("numberless", "no number"),
        ("single still", "single still"),
        ("pattern without files", "no files of that name"),
        ("pattern in no folder", "no such folder"),
        ("sound only", "no video stream"),
        ("no frames", "found"),
        ("packed pixels", "pixel format bgr0"),
    ],
)
def test_what_is_no_clip_is_refused_in_one_sentence(tmp_path, what, says):
    path = make_bad(tmp_path, what)
    with pytest.raises(InputError, match=says) as caught:
        open_eye(path, rate=Fraction(24))
    assert "\n" not in str(caught.value)
    assert caught.value.exit_code == 3


def test_interlaced_pictures_are_refused(tmp_path):
    with pytest.raises(InputError, match="interlaced"):
        list(open_eye(make_video(tmp_path / "a.mov", "prores", 3, interlaced=True)).frames())


@pytest.mark.parametrize("times", [[0, 1, 2, 4, 5, 6], [0, 2, 3, 5, 9, 10]])
def test_a_variable_frame_rate_is_refused(tmp_path, times):
    with pytest.raises(InputError, match="evenly"):
        open_eye(make_video(tmp_path / "a.mkv", "ffv1", 6, times=times))


def test_a_range_outside_a_video_is_refused(tmp_path):
    path = make_video(tmp_path / "a.mkv", "ffv1", 6)
    with pytest.raises(InputError, match="frames 0 to 5"):
        open_eye(path, frames=(2, 6))
    with pytest.raises(UsageError, match="swap"):
        open_eye(path, frames=(4, 2))


def test_an_unreadable_file_is_refused():
    with tempfile.TemporaryDirectory() as name:
        Path(name).chmod(0o755)
        path = make_video(Path(name) / "a.mkv", "ffv1", 2)
        path.chmod(0)
        with ordinary_user(), pytest.raises(InputError, match=r"a\.mkv"):
            open_eye(path)


# --- both eyes ---


def make_pair(tmp_path, count=20):
    left = make_video(tmp_path / "kite 03_left.mkv", "ffv1", count)
    right = make_video(tmp_path / "kite 03_right.mkv", "ffv1", count)
    return left, right


def test_both_eyes_come_frame_by_frame(tmp_path):
    pair = open_pair(*make_pair(tmp_path))
    assert (pair.name, pair.count, pair.rate, pair.timecode) == ("kite_03", 20, RATE, "10:00:00:00")
    seen = []
    for index, left, right in pair.frames():
        seen.append(index)
        assert np.array_equal(left[0], file_planes("yuv422p10le", index)[0])
        assert np.array_equal(right[2], file_planes("yuv422p10le", index)[2])
    assert seen == list(range(20))
    assert [index for index, _, _ in pair.frames(5, 9)] == [5, 6, 7, 8, 9]
    assert not decoding()


def decoding():
    return [thread for thread in threading.enumerate() if thread.name.startswith("decode ")]


def test_stopping_early_ends_the_threads(tmp_path):
    frames = open_pair(*make_pair(tmp_path)).frames()
    next(frames)
    assert decoding()
    frames.close()
    assert not decoding()


class Counting:
    """An eye that counts how far it was read, and may break."""

    def __init__(self, eye, fails_at=None):
        self.__dict__.update({name: getattr(eye, name) for name in ("path", "format", "rate", "count", "timecode")})
        self.eye, self.read, self.fails_at = eye, 0, fails_at

    def frames(self, first=0, last=None, *, colour_every=1):
        for planes in self.eye.frames(first, last):
            if self.read == self.fails_at:
                raise InputError(self.path, "a fault", "none", "look", frame=self.read)
            self.read += 1
            yield planes


def test_an_eye_is_decoded_ahead_but_only_so_far(tmp_path):
    from postfix.source.pair import PairSource

    pair = open_pair(*make_pair(tmp_path))
    left, right = Counting(pair.left), Counting(pair.right)
    frames = PairSource(left, right, "x").frames()
    next(frames)
    ahead = frames_ahead(pair.format)
    deadline = time.monotonic() + 60
    while left.read < ahead + 2 and time.monotonic() < deadline:
        time.sleep(0.01)
    time.sleep(0.1)
    # One handed over, a full queue, and one that waits to get in.
    assert left.read <= ahead + 2
    assert left.read >= ahead
    frames.close()


def test_a_fault_in_either_eye_reaches_the_reader(tmp_path):
    from postfix.source.pair import PairSource

    pair = open_pair(*make_pair(tmp_path))
    for eyes in ((Counting(pair.left, 7), pair.right), (pair.left, Counting(pair.right, 7))):
        with pytest.raises(InputError, match="frame 7"):
            list(PairSource(*eyes, "x").frames())
        assert not decoding()


def test_eyes_that_differ_are_refused_before_the_first_frame(tmp_path):
    left = make_video(tmp_path / "l.mkv", "ffv1", 6)
    other = {
        "322x182 in the left eye and 320x182": make_video(tmp_path / "size.mkv", "ffv1", 6, size=(320, 182)),
        "6 frames in the left eye and 5 frames": make_video(tmp_path / "count.mkv", "ffv1", 5),
        "24000/1001 frames/s in the left eye and 25": make_video(tmp_path / "rate.mkv", "ffv1", 6, rate=Fraction(25)),
        "yuv422p10le in the left eye and yuv420p": make_video(tmp_path / "format.avi", "ffv1-avi", 6),
        "black 64 and white 940 in the left": make_video(tmp_path / "range.mkv", "ffv1", 6, full_range=True),
    }
    for says, right in other.items():
        with pytest.raises(InputError, match=says) as caught:
            open_pair(left, right)
        assert str(left) in str(caught.value)
        assert str(right) in str(caught.value)


def test_the_same_file_for_both_eyes_is_wrong_use(tmp_path):
    path = make_video(tmp_path / "a.mkv", "ffv1", 2)
    (tmp_path / "b.mkv").symlink_to(path)
    for right in (path, tmp_path / "b.mkv"):
        with pytest.raises(UsageError, match="same pictures"):
            open_pair(path, right)


@pytest.mark.parametrize(
    ("left", "name"),
    [
        ("film/kite_L.mkv", "kite"),
        ("film/kite.left.mkv", "kite"),
        ("film/left_kite.mkv", "kite"),
        ("film/bright.mkv", "bright"),
        ("film/left.mkv", "film"),
        ("film/ä b+c-right.mkv", "ä_b_c"),
    ],
)
def test_the_clip_is_named_without_its_eye(tmp_path, left, name):
    path = tmp_path / left
    path.parent.mkdir()
    make_video(path, "ffv1", 1, size=(32, 16))
    right = make_video(tmp_path / "right.mkv", "ffv1", 1, size=(32, 16))
    assert open_pair(path, right).name == name


@pytest.mark.parametrize(("prefix", "name"), [("sh010_l", "sh010"), ("left", "sh020"), ("l", "sh020")])
def test_stills_name_the_clip_by_file_or_folder(tmp_path, prefix, name):
    left = make_stills(tmp_path / "sh020" / "left", "png8", 1, name=prefix)
    right = make_stills(tmp_path / "sh020" / "right", "png8", 1, name=prefix)
    assert open_pair(left, right, rate=RATE).name == name


def test_fingerprints_follow_their_documented_form(tmp_path):
    import hashlib

    video = make_video(tmp_path / "a.mkv", "ffv1", 2)
    assert sha256_of(open_eye(video)) == hashlib.sha256(video.read_bytes()).hexdigest()
    folder = make_stills(tmp_path / "s", "tiff8", 3)
    lines = [f"{p.name} {hashlib.sha256(p.read_bytes()).hexdigest()}\n" for p in sorted(folder.iterdir())]
    assert sha256_of(open_eye(folder, rate=RATE)) == hashlib.sha256("".join(lines).encode()).hexdigest()
