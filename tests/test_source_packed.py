"""Pairs in one file: parted into both eyes sample for sample, without copying and with one decoding."""

from dataclasses import replace
from fractions import Fraction

import numpy as np
import pytest
from packed_files import (
    EYE,
    eye_planes,
    file_pictures,
    joined,
    light_eye,
    stills_eye,
    write_packed_stills,
    write_packed_video,
    write_views,
)
from picture_files import RATE, make_stills, make_video

from postfix.errors import InputError, UsageError
from postfix.measure.clip import measure_clip
from postfix.source import packed_eye
from postfix.source.framed import framed
from postfix.source.layout import eye_of, full_or_half, packed_planes
from postfix.source.opening import sha256_of
from postfix.source.packed import open_packed
from postfix.source.packed_eye import pixel_aspect_of, timecode_of_turns
from postfix.source.pair import Reading, first_in_file, open_pair
from postfix.source.picture import PictureFormat, PlaneFormat
from postfix.source.shots import Shot

ONE_PICTURE = ("side-by-side", "side-by-side-half", "top-bottom", "top-bottom-half", "rows")
IN_VIDEO = (*ONE_PICTURE, "frame-sequential")


def eyes(count=4, pixel_format="yuv444p10le"):
    return tuple([eye_planes(pixel_format, index, eye) for index in range(count)] for eye in (0, 1))


def packed_video(path, layout, count=4, pixel_format="yuv444p10le", **options):
    left, right = eyes(count, pixel_format)
    return write_packed_video(path, file_pictures(left, right, layout), pixel_format, **options)


def assert_frames(pair, left, right):
    frames = list(pair.frames())
    assert len(frames) == len(left) == len(right) == pair.count
    for (index, *found), *wanted in zip(frames, left, right):
        for planes, expected in zip(found, wanted):
            assert [plane.dtype for plane in planes] == [plane.dtype for plane in expected], index
            for plane, samples in zip(planes, expected, strict=True):
                np.testing.assert_array_equal(plane, samples)


# --- sample for sample ---


@pytest.mark.parametrize("layout", IN_VIDEO)
def test_a_lossless_video_gives_back_both_eyes(tmp_path, layout):
    path = packed_video(tmp_path / "gust.mkv", layout)
    pair = open_packed(path, layout)
    assert_frames(pair, *eyes())
    assert (pair.layout, pair.name, pair.packed.path) == (layout, "gust", path)
    assert (pair.format.width, pair.format.height) == EYE


@pytest.mark.parametrize("layout", IN_VIDEO)
def test_stills_give_back_both_eyes(tmp_path, layout):
    left, right = ([[stills_eye(index, eye)] for index in range(3)] for eye in (0, 1))
    folder = write_packed_stills(tmp_path / "in", [planes[0] for planes in file_pictures(left, right, layout)])
    pair = open_packed(folder, layout, rate=Fraction(48))
    assert_frames(pair, left, right)
    assert pair.rate == (24 if layout == "frame-sequential" else 48)
    assert (pair.left.first_number, first_in_file(pair.right)) == (1001, 1001)


@pytest.mark.parametrize("pixel_format", ["yuv420p", "yuv422p10le", "gbrp10le", "gray16le"])
@pytest.mark.parametrize("layout", ["side-by-side", "top-bottom"])
def test_every_plane_is_parted_in_its_own_samples(tmp_path, layout, pixel_format):
    path = packed_video(tmp_path / "gust.mkv", layout, 2, pixel_format)
    pair = open_packed(path, layout)
    order = [2, 0, 1] if pixel_format.startswith("gbr") else [0, 1, 2]
    for _, *found in pair.frames():
        for eye, planes in enumerate(found):
            wanted = eye_planes(pixel_format, _, eye)
            for plane, which in zip(planes, order):
                np.testing.assert_array_equal(plane, wanted[which])
    assert pair.format.step_px == (1 if pixel_format.startswith("g") else 2)


def test_eyes_are_views_of_one_decoded_picture(tmp_path):
    pair = open_packed(packed_video(tmp_path / "gust.mkv", "side-by-side"), "side-by-side")
    _, left, right = next(pair.frames())
    for one, other in zip(left, right):
        assert not one.flags.writeable
        # The right eye starts where the left eye's first row ends.
        start = other.__array_interface__["data"][0] - one.__array_interface__["data"][0]
        assert start == one.shape[1] * one.itemsize


@pytest.mark.parametrize("layout", ["side-by-side", "frame-sequential"])
def test_a_file_that_holds_both_eyes_is_decoded_once(tmp_path, layout):
    pair = open_packed(packed_video(tmp_path / "gust.mkv", layout), layout)
    whole = Counted(pair.packed)
    left, right = packed_eye.packed_eyes(whole, layout)
    shared = type(pair)(left, right, "gust", layout=layout, packed=whole)
    assert_frames(shared, *eyes())
    assert whole.read == pair.packed.count


class Counted:
    """A source that counts the pictures that were read from it."""

    def __init__(self, source):
        self.source, self.read = source, 0
        for name in ("path", "format", "rate", "count", "timecode", "first_number"):
            setattr(self, name, getattr(source, name))

    def frames(self, first=0, last=None, *, colour_every=1):
        for planes in self.source.frames(first, last, colour_every=colour_every):
            self.read += 1
            yield planes


def test_eyes_in_another_frame_are_decoded_once_too(tmp_path):
    pair = open_packed(packed_video(tmp_path / "gust.mkv", "top-bottom"), "top-bottom")
    whole = Counted(pair.packed)
    shared = type(pair)(*packed_eye.packed_eyes(whole, "top-bottom"), "gust", layout="top-bottom", packed=whole)
    cut = framed(shared, 80, 60)
    left, right = eyes()
    assert_frames(cut, *([[plane[:, 8:-8] for plane in planes] for planes in eye] for eye in (left, right)))
    assert whole.read == 4
    assert_frames(cut.whole, left, right)
    assert (first_in_file(cut.left), pixel_aspect_of(cut.left)) == (0, pixel_aspect_of(pair.left))


def test_packing_and_parting_undo_each_other():
    rng = np.random.default_rng(3)
    one, other = ([rng.integers(0, 1024, (6, 8), np.uint16), rng.random((3, 4, 2), np.float32)] for _ in range(2))
    for layout in ONE_PICTURE:
        whole = packed_planes(one, other, layout)
        for plane, expected in zip(whole, joined(one, other, layout), strict=True):
            np.testing.assert_array_equal(plane, expected)
        for place, eye in enumerate((one, other)):
            for plane, samples in zip(eye_of(whole, layout, place), eye, strict=True):
                np.testing.assert_array_equal(plane, samples)
                assert plane.base is not None
    with pytest.raises(ValueError, match="views"):
        packed_planes(one, other, "views")


# --- which frames, which eye ---


@pytest.mark.parametrize("layout", ["top-bottom", "frame-sequential"])
@pytest.mark.parametrize("late", [-1, 2])
@pytest.mark.parametrize("swapped", [False, True])
def test_offset_and_exchange_are_those_of_the_eyes_in_the_file(tmp_path, layout, late, swapped):
    path = packed_video(tmp_path / "gust.mkv", layout, 5)
    left, right = eyes(5)
    pair = open_packed(path, layout, reading=Reading(late, swapped))
    first, other = max(0, -late), max(0, late)
    count = 5 - abs(late)
    used = left[first : first + count], right[other : other + count]
    assert_frames(pair, *(reversed(used) if swapped else used))
    assert pair.before == (other if swapped else first)


@pytest.mark.parametrize("layout", ["top-bottom", "frame-sequential"])
def test_frames_are_those_of_the_file(tmp_path, layout):
    path = packed_video(tmp_path / "gust.mkv", layout, 5, timecode="01:00:00:00", rate=Fraction(48))
    left, right = eyes(5)
    each = 2 if layout == "frame-sequential" else 1
    pair = open_packed(path, layout, frames=(each, 4 * each - 1))
    assert_frames(pair, left[1:4], right[1:4])
    assert first_in_file(pair.left) == each
    assert pair.timecode == "01:00:00:01"
    late = open_packed(path, layout, frames=(each, 4 * each - 1), reading=Reading(2))
    assert_frames(late, left[1:3], right[3:5])


def test_frames_of_stills_with_an_offset(tmp_path):
    left, right = ([[stills_eye(index, eye)] for index in range(5)] for eye in (0, 1))
    pictures = [planes[0] for planes in file_pictures(left, right, "side-by-side")]
    folder = write_packed_stills(tmp_path / "in", pictures)
    pair = open_packed(folder, "side-by-side", rate=RATE, frames=(1002, 1003), reading=Reading(-1))
    assert_frames(pair, left[1:3], right[0:2])


def test_two_eyes_by_turns_have_half_the_rate_and_half_the_count(tmp_path):
    path = packed_video(tmp_path / "gust.mkv", "frame-sequential", 4, rate=Fraction(48), timecode="01:00:00:10")
    pair = open_packed(path, "frame-sequential")
    assert (pair.rate, pair.count, pair.timecode) == (24, 4, "01:00:00:05")


def test_timecode_between_two_turns_is_not_made_up(tmp_path):
    path = packed_video(tmp_path / "gust.mkv", "frame-sequential", 2, rate=Fraction(48), timecode="01:00:00:11")
    assert open_packed(path, "frame-sequential").timecode is None


def test_timecode_of_turns_counts_twice_as_fast():
    assert timecode_of_turns("10:00:01:05", Fraction(24)) == "10:00:01:10"
    # Drop-frame, SMPTE ST 12-1: 1800 frames at 30000/1001 are 00:01:00;02 (read); 3600 at 60000/1001 are 00:01:00;04
    # (computed).
    assert timecode_of_turns("00:01:00;02", Fraction(30000, 1001)) == "00:01:00;04"
    assert timecode_of_turns(None, Fraction(24)) is None


def test_checksum_and_files_are_those_of_the_whole_file(tmp_path):
    pair = open_packed(packed_video(tmp_path / "gust.mkv", "rows"), "rows")
    assert sha256_of(pair.left) == sha256_of(pair.right) == sha256_of(pair.packed)
    assert pair.left.files() == [tmp_path / "gust.mkv"]


def test_a_delivery_read_again_has_the_name_of_its_clip(tmp_path):
    pair = open_packed(packed_video(tmp_path / "gust_side-by-side-half.mkv", "side-by-side"), "side-by-side-half")
    assert pair.name == "gust"


@pytest.mark.parametrize(("place", "words"), [("%V", ("left", "right")), ("%v", ("l", "r"))])
def test_a_pattern_stands_for_both_eyes(tmp_path, place, words):
    for word in words:
        make_stills(tmp_path / word, "tiff16", 3, name=f"gust_{word}")
    pair = open_packed(tmp_path / place / f"gust_{place}.####.tif", rate=RATE)
    assert (pair.layout, pair.packed, pair.count, pair.name) == ("left-right", None, 3, "gust")
    assert (pair.left.paths[0].parent.name, pair.right.paths[0].parent.name) == words


def test_a_pattern_stands_for_two_videos(tmp_path):
    for word in ("left", "right"):
        make_video(tmp_path / f"gust_{word}.mkv", "ffv1", 3)
    assert open_packed(tmp_path / "gust_%V.mkv").right.path.name == "gust_right.mkv"


# --- signalling ---

# Stereo modes of Matroska by their numbers in RFC 9559 (read): 1 side by side left first, 2 top-bottom right first,
# 3 top-bottom left first, 6 and 7 rows right and left first, 11 side by side right first.
MATROSKA = {
    1: ("side-by-side", False),
    2: ("top-bottom", True),
    3: ("top-bottom", False),
    6: ("rows", True),
    7: ("rows", False),
    11: ("side-by-side", True),
}
WORDS = {
    1: "left_right",
    2: "bottom_top",
    3: "top_bottom",
    6: "row_interleaved_rl",
    7: "row_interleaved_lr",
    11: "right_left",
}


def stereo_mode_in(path):
    """The number in the element StereoMode (53B8) of a Matroska file's first video track (RFC 9559, read).

    The elements are walked: the same two bytes may stand in the random identity of the file, too.
    """
    data = path.read_bytes()
    for ident in ("18538067", "1654ae6b", "ae", "e0", "53b8"):  # Segment, Tracks, TrackEntry, Video, StereoMode
        data = element(data, bytes.fromhex(ident))
    return int.from_bytes(data)


def element(data, ident):
    """What the first element of this identity holds, of those side by side in ``data`` (RFC 8794, from memory)."""
    at = 0
    while at < len(data):
        found = data[at : at + 9 - data[at].bit_length()]
        at += len(found)
        length = 9 - data[at].bit_length()
        size = int.from_bytes(data[at : at + length]) & ~(1 << 7 * length)
        at += length
        if found == ident:
            return data[at : at + size]
        at += size
    raise AssertionError(f"no element {ident.hex()}")


@pytest.mark.parametrize("mode", MATROSKA)
def test_matroska_stereo_modes_are_read(tmp_path, mode):
    layout, right_first = MATROSKA[mode]
    left, right = eyes()
    pictures = file_pictures(*((right, left) if right_first else (left, right)), layout)
    path = write_packed_video(tmp_path / "gust.mkv", pictures, stereo_mode=WORDS[mode])
    assert stereo_mode_in(path) == mode
    pair = open_packed(path)
    assert_frames(pair, left, right)
    assert pair.layout.removesuffix("-half") == layout


def test_right_first_and_exchange_undo_each_other(tmp_path):
    path = packed_video(tmp_path / "gust.mkv", "side-by-side", stereo_mode="right_left")
    assert_frames(open_packed(path, reading=Reading(swapped=True)), *eyes())


@pytest.mark.parametrize(("packing", "layout"), [(3, "side-by-side"), (4, "top-bottom")])
def test_h264_frame_packing_is_read(tmp_path, packing, layout):
    """Arrangement types 3 (side by side) and 4 (top-bottom) of ITU-T H.264 (second hand, library source)."""
    options = {"qp": "0", "x264-params": f"frame-packing={packing}"}
    path = packed_video(tmp_path / "gust.mp4", layout, 3, "yuv444p10le", encoder="libx264", options=options)
    pair = open_packed(path)
    assert pair.layout == layout
    assert_frames(pair, *eyes(3))


def test_a_layout_that_is_given_wins_over_the_signalling(tmp_path, caplog):
    path = packed_video(tmp_path / "gust.mkv", "top-bottom", stereo_mode="right_left")
    pair = open_packed(path, "top-bottom")
    assert_frames(pair, *eyes())
    assert "side-by-side of itself; it is read as top-bottom" in caplog.text


def test_a_file_of_both_eyes_given_as_one_eye_is_remarked_on(tmp_path, caplog):
    for word in ("left", "right"):
        packed_video(tmp_path / f"gust_{word}.mkv", "top-bottom", 2, stereo_mode="top_bottom")
    open_pair(tmp_path / "gust_left.mkv", tmp_path / "gust_right.mkv")
    assert "gust_left.mkv says that it holds both eyes, top-bottom" in caplog.text


def test_without_signalling_a_layout_is_asked_for(tmp_path):
    path = packed_video(tmp_path / "gust.mkv", "side-by-side")
    with pytest.raises(InputError, match=r"no word of how the two eyes lie in it.*--layout"):
        open_packed(path)


# --- OpenEXR views ---


@pytest.mark.parametrize("parts", [False, True])
@pytest.mark.parametrize("layout", ["views", None])
def test_openexr_views_are_both_eyes(tmp_path, layout, parts):
    pair = open_packed(write_views(tmp_path / "in", parts=parts), layout, rate=RATE)
    assert_frames(pair, *([[light_eye(index, eye)] for index in range(3)] for eye in (0, 1)))
    assert (pair.layout, pair.name, pair.packed.count) == ("views", "gust", 3)
    assert sha256_of(pair.left) == sha256_of(pair.right) == sha256_of(pair.packed)


def test_views_with_offset_exchange_and_frames(tmp_path):
    folder = write_views(tmp_path / "in", 5)
    left, right = ([[light_eye(index, eye)] for index in range(5)] for eye in (0, 1))
    pair = open_packed(folder, rate=RATE, frames=(1002, 1003), reading=Reading(1, True))
    assert_frames(pair, right[2:4], left[1:3])
    assert_frames(open_packed(folder, rate=RATE, reading=Reading(-2)), left[2:], right[:3])


def test_stills_without_both_views_are_refused_as_views(tmp_path):
    with pytest.raises(InputError, match="no views"):
        open_packed(make_stills(tmp_path / "tiff", "tiff16", 2), "views", rate=RATE)
    folder = write_views(tmp_path / "in", 1)
    with pytest.raises(InputError, match="--pair"):
        open_packed(folder, "side-by-side", rate=RATE)
    path = packed_video(tmp_path / "gust.mkv", "rows")
    with pytest.raises(UsageError, match="OpenEXR"):
        open_packed(path, "views")


# --- full or half ---


def sized(width, height):
    return PictureFormat(width, height, "grey", "uint8", 8, 255.0, False, (PlaneFormat(1, 1, 1, (0.0,)),))


@pytest.mark.parametrize(
    ("layout", "width", "height", "aspect", "chosen"),
    [
        ("side-by-side", 1920, 1080, None, "side-by-side-half"),
        ("side-by-side", 3840, 1080, None, "side-by-side"),
        ("side-by-side", 4096, 858, None, "side-by-side"),
        ("side-by-side", 2048, 858, None, "side-by-side-half"),
        ("side-by-side", 1920, 1080, Fraction(2), "side-by-side"),
        ("side-by-side", 1280, 480, None, "side-by-side"),
        ("side-by-side", 2500, 1000, None, "side-by-side"),
        ("side-by-side", 1250, 1000, None, "side-by-side-half"),
        ("side-by-side", 1240, 1000, None, None),
        ("side-by-side", 5000, 1000, None, None),
        ("top-bottom", 1920, 1080, None, "top-bottom-half"),
        ("top-bottom", 1920, 2160, None, "top-bottom"),
        ("top-bottom", 2048, 1716, None, "top-bottom"),
        ("top-bottom", 640, 1080, None, None),
        ("rows", 1920, 1080, None, "rows"),
        ("frame-sequential", 500, 1000, None, "frame-sequential"),
    ],
)
def test_an_eye_is_shown_from_5_to_4_up_to_5_to_2_wide(layout, width, height, aspect, chosen):
    assert full_or_half(layout, sized(width, height), aspect) == chosen


def test_just_one_reading_fits_every_usual_shape():
    for width in range(1250, 5000, 7):
        full, half = Fraction(width, 2000), Fraction(width, 1000)
        assert sum(Fraction(5, 4) <= aspect < Fraction(5, 2) for aspect in (full, half)) == 1
        assert full_or_half("side-by-side", sized(width, 1000), None) is not None


def test_a_shape_that_fits_neither_is_asked_about(tmp_path):
    pictures = [[np.full((60, 60), 100, np.uint8)] for _ in range(2)]
    path = write_packed_video(tmp_path / "gust.mkv", pictures, "gray", stereo_mode="left_right")
    with pytest.raises(InputError, match="--layout side-by-side or --layout side-by-side-half"):
        open_packed(path)


def test_pixels_of_a_squeezed_eye_are_twice_or_half_as_wide(tmp_path):
    options = {"encoder": "libx264", "options": {"qp": "0"}, "pixel_aspect": Fraction(4, 3)}
    path = packed_video(tmp_path / "gust.mp4", "side-by-side", 2, **options)
    aspects = {layout: pixel_aspect_of(open_packed(path, layout).left) for layout in IN_VIDEO}
    assert aspects["side-by-side"] == aspects["top-bottom"] == aspects["frame-sequential"] == Fraction(4, 3)
    assert aspects["side-by-side-half"] == Fraction(8, 3)
    assert aspects["top-bottom-half"] == aspects["rows"] == Fraction(2, 3)


def test_a_pairs_pixels_are_square_unless_something_else_is_said(tmp_path):
    path = packed_video(tmp_path / "gust.mkv", "rows", 2)
    aspects = {layout: open_packed(path, layout).pixel_aspect for layout in ("side-by-side", "side-by-side-half")}
    assert aspects == {"side-by-side": 1, "side-by-side-half": 2}


@pytest.mark.parametrize("layout", ["side-by-side", "top-bottom", "rows", "frame-sequential"])
def test_both_eyes_of_one_file_are_measured_like_those_of_two(tmp_path, layout):
    left, right = ([scene(index, eye) for index in range(2)] for eye in (0, 1))
    for word, frames in (("left", left), ("right", right)):
        write_packed_video(tmp_path / f"gust_{word}.mkv", frames, "gray16le")
    path = write_packed_video(tmp_path / "both.mkv", file_pictures(left, right, layout), "gray16le")
    apart, together = open_packed(tmp_path / "gust_%V.mkv"), open_packed(path, layout)
    if layout == "rows":
        # An eye has half of the rows, so that its pixels are shown twice as high as wide, and turns are told on those.
        apart = replace(apart, left=replace(apart.left, tags=replace(apart.left.tags, pixel_aspect=Fraction(1, 2))))
    assert apart.pixel_aspect == together.pixel_aspect
    shots = (Shot("s001", 0, 1),)
    wanted, found = (measure_clip(pair, shots=shots).frames for pair in (apart, together))
    assert found == wanted
    assert abs(found[0].median_pct - 100 * 6 / 320) < 0.2


def scene(index, eye):
    """A grain that the right eye sees 6 px to the right of the left one."""
    grain = np.random.default_rng(8).uniform(0, 1, (46, 84)).repeat(4, 0).repeat(4, 1)
    soft = (grain[:, 1:] + grain[:, :-1] + np.roll(grain, 1, 0)[:, 1:]) / 3
    start = 3 * index + (0 if eye else 6)
    return [(60000 * soft[:180, start : start + 320] + 2000).astype(np.uint16)]


def test_an_eye_moves_by_whole_samples_of_its_own_columns(tmp_path):
    path = packed_video(tmp_path / "gust.mkv", "side-by-side-half", 2, "yuv422p10le")
    assert open_packed(path, "side-by-side-half").format.step_px == 2


# --- what is refused ---


@pytest.mark.parametrize(
    ("layout", "pixel_format", "size", "words"),
    [
        ("side-by-side", "yuv422p10le", (98, 60), "multiple of 4 px"),
        ("side-by-side-half", "gray16le", (97, 60), "multiple of 2 px"),
        ("top-bottom", "yuv420p", (96, 58), "multiple of 4 px"),
        ("top-bottom-half", "gray16le", (96, 59), "multiple of 2 px"),
        ("rows", "yuv420p", (96, 60), "one row of colour serves 2 rows"),
        ("rows", "gray16le", (96, 59), "an even number"),
    ],
)
def test_a_file_that_cannot_be_parted_into_whole_samples_is_refused(tmp_path, layout, pixel_format, size, words):
    path = write_packed_video(tmp_path / "a.mkv", [eye_planes(pixel_format, i, 0, size) for i in (0, 1)], pixel_format)
    with pytest.raises(InputError, match=words):
        open_packed(path, layout)


def test_turns_without_a_partner_are_refused(tmp_path):
    path = write_packed_video(tmp_path / "gust.mkv", [eye_planes("gray16le", i, 0) for i in range(5)], "gray16le")
    with pytest.raises(InputError, match=r"5 frames.*even number"):
        open_packed(path, "frame-sequential")
    for frames in ((1, 4), (0, 2)):
        with pytest.raises(UsageError, match="parts two frames that belong together"):
            open_packed(path, "frame-sequential", frames=frames)
    assert open_packed(path, "frame-sequential", frames=(0, 3)).count == 2


def test_a_layout_of_two_files_is_refused_for_one_and_the_other_way_round(tmp_path):
    with pytest.raises(UsageError, match="left-right with one file"):
        open_packed(tmp_path / "gust.mkv", "left-right")
    with pytest.raises(UsageError, match="a file for each eye"):
        open_packed(tmp_path / "gust_%V.mkv", "rows")


def test_an_offset_beyond_the_clip_is_refused(tmp_path):
    path = packed_video(tmp_path / "gust.mkv", "rows")
    with pytest.raises(UsageError, match="--offset 9"):
        open_packed(path, "rows", reading=Reading(9))
    with pytest.raises(UsageError, match="--offset 9"):
        open_packed(path, "rows", frames=(0, 1), reading=Reading(9))
