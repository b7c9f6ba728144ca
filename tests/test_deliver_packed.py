"""Both eyes out in one file: read back with the libraries directly, and by the project's own reader."""

import threading
from contextlib import suppress
from fractions import Fraction

import av
import numpy as np
import OpenImageIO as oiio
import pytest
from eyes_out import open_written_packed, packed_writer
from packed_files import (
    EYE,
    eye_planes,
    file_pictures,
    light_eye,
    stills_eye,
    write_exr_file,
    write_packed_stills,
    write_packed_video,
    write_views,
)
from picture_files import LOSSLESS, RATE, STILLS, fingerprints, make_stills
from test_source_packed import ONE_PICTURE, WORDS, assert_frames, packed_video, stereo_mode_in

from postfix.deliver.packing import check_packed, lost_in_packed
from postfix.errors import InputError, OutputError, UsageError
from postfix.source.layout import LAYOUTS, squeeze_of
from postfix.source.packed import open_packed
from postfix.source.pair import Reading, open_pair
from postfix.source.stills import views_in

IN_VIDEO = (*ONE_PICTURE, "frame-sequential")
WHOLE = ("side-by-side", "top-bottom", "frame-sequential")


def eyes(count=3, pixel_format="yuv444p10le"):
    return tuple([eye_planes(pixel_format, index, eye) for index in range(count)] for eye in (0, 1))


def video_pair(folder, count=3, pixel_format="yuv444p10le", suffix=".mkv", **options):
    folder.mkdir(exist_ok=True)
    for word, frames in zip(("left", "right"), eyes(count, pixel_format)):
        write_packed_video(folder / f"gust_{word}{suffix}", frames, pixel_format, **options)
    return open_pair(folder / f"gust_left{suffix}", folder / f"gust_right{suffix}")


def delivered(pair, layout, folder, *, unchanged=(False, False), codec=None):
    folder.mkdir(exist_ok=True)
    with packed_writer(pair, layout, folder, codec) as writer:
        for index, left, right in pair.frames():
            writer.write(index, left, right, unchanged)
    return open_written_packed(folder, pair, layout, codec)


def decoded(path):
    """Planes of every frame, as the library gives them."""
    with av.open(str(path)) as container:
        return [
            [np.frombuffer(p, np.uint16).reshape(p.height, -1)[:, : p.width].copy() for p in frame.planes]
            for frame in container.decode(video=0)
        ]


# --- sample for sample ---


@pytest.mark.parametrize("layout", WHOLE)
def test_whole_eyes_are_packed_sample_for_sample(tmp_path, layout):
    pair = video_pair(tmp_path / "in", timecode="10:00:00:12")
    written = delivered(pair, layout, tmp_path / "out")
    assert_frames(written, *eyes())
    path = tmp_path / "out" / f"gust_{layout}.mkv"
    for found, wanted in zip(decoded(path), file_pictures(*eyes(), layout), strict=True):
        for plane, samples in zip(found, wanted, strict=True):
            np.testing.assert_array_equal(plane, samples)
    assert (written.name, written.rate, written.timecode) == ("gust", RATE, "10:00:00:12")


@pytest.mark.parametrize("layout", IN_VIDEO)
def test_a_packed_video_is_given_back_as_it_came(tmp_path, layout):
    path = packed_video(tmp_path / "gust.mkv", layout, timecode="10:00:00:12")
    pair = open_packed(path, layout)
    written = delivered(pair, layout, tmp_path / "out")
    assert written.packed.path.name == "gust.mkv"
    assert (written.packed.rate, written.packed.timecode) == (pair.packed.rate, pair.packed.timecode)
    for found, wanted in zip(decoded(tmp_path / "out" / "gust.mkv"), decoded(path), strict=True):
        for plane, samples in zip(found, wanted, strict=True):
            np.testing.assert_array_equal(plane, samples)


@pytest.mark.parametrize("layout", [*WHOLE, "rows", "side-by-side-half"])
def test_a_packed_sequence_is_given_back_byte_for_byte_where_nothing_changed(tmp_path, layout):
    left, right = ([[stills_eye(index, eye)] for index in range(3)] for eye in (0, 1))
    folder = write_packed_stills(tmp_path / "in", [planes[0] for planes in file_pictures(left, right, layout)])
    pair = open_packed(folder, layout, rate=Fraction(24))
    written = delivered(pair, layout, tmp_path / "out", unchanged=(True, True))
    assert fingerprints(tmp_path / "out" / layout) == fingerprints(folder)
    assert_frames(written, left, right)


def stills_pair(folder, kind, count=2):
    for word, first in (("left", 1001), ("right", 1051)):
        make_stills(folder / word, kind, count, name=f"gust_{word}", size=(64, 36), first=first)
    return open_pair(folder / "left", folder / "right", rate=RATE)


def assert_alike(written, pair):
    for (_, *found), (_, *wanted) in zip(written.frames(), pair.frames(), strict=True):
        for planes, expected in zip(found, wanted):
            for plane, samples in zip(planes, expected, strict=True):
                assert plane.dtype == samples.dtype
                np.testing.assert_array_equal(plane, samples)


@pytest.mark.parametrize("kind", [kind for kind in STILLS if kind in LOSSLESS])
def test_every_still_format_takes_both_eyes_sample_for_sample(tmp_path, kind):
    pair = stills_pair(tmp_path, kind)
    layout = WHOLE[list(STILLS).index(kind) % 3]
    written = delivered(pair, layout, tmp_path / "out")
    assert_alike(written, pair)
    count = 4 if layout == "frame-sequential" else 2
    names = [path.name for path in written.packed.files()]
    assert names == [f"gust_{layout}.{1001 + index}{STILLS[kind][0]}" for index in range(count)]
    assert written.format.bit_depth == pair.format.bit_depth


@pytest.mark.parametrize("kind", ["exr-half", "exr-float", "exr-channels", "exr-parts"])
def test_every_openexr_file_of_one_eye_becomes_a_view(tmp_path, kind):
    pair = stills_pair(tmp_path, kind)
    assert_alike(delivered(pair, "views", tmp_path / "out"), pair)


def test_the_left_eyes_header_goes_along(tmp_path):
    written = delivered(stills_pair(tmp_path, "tiff16"), "side-by-side", tmp_path / "out")
    opened = oiio.ImageInput.open(str(written.packed.files()[0]))
    spec = opened.spec()
    opened.close()
    assert (spec.getattribute("XResolution"), spec.getattribute("Software")) == (300.0, "test bench")


@pytest.mark.parametrize("pixel_format", ["yuv420p", "yuv422p10le", "gbrp10le"])
@pytest.mark.parametrize("layout", ["side-by-side", "top-bottom"])
def test_every_plane_is_packed_in_its_own_samples(tmp_path, layout, pixel_format):
    pair = video_pair(tmp_path / "in", 2, pixel_format)
    written = delivered(pair, layout, tmp_path / "out")
    for (_, *found), (_, *wanted) in zip(written.frames(), pair.frames(), strict=True):
        for planes, expected in zip(found, wanted):
            for plane, samples in zip(planes, expected, strict=True):
                np.testing.assert_array_equal(plane, samples)


def test_one_layout_becomes_another_sample_for_sample(tmp_path):
    for came in WHOLE:
        path = packed_video(tmp_path / f"{came}.mkv", came, 3, rate=Fraction(48), timecode="01:00:00:10")
        pair = open_packed(path, came)
        for goes in set(WHOLE) - {came}:
            written = delivered(pair, goes, tmp_path / f"{came} to {goes}")
            assert_frames(written, *eyes())
            assert (written.rate, written.timecode) == (pair.rate, pair.timecode)


def test_exchanged_eyes_are_written_left_first(tmp_path):
    path = packed_video(tmp_path / "gust.mkv", "top-bottom", stereo_mode="bottom_top")
    left, right = eyes(4)
    written = delivered(open_packed(path, "top-bottom"), "top-bottom", tmp_path / "out", unchanged=(True, True))
    assert_frames(written, right, left)
    assert stereo_mode_in(tmp_path / "out" / "gust.mkv") == 3  # top-bottom, left first: RFC 9559, read


def test_an_offset_is_taken_out_of_what_is_written(tmp_path):
    left, right = ([[stills_eye(index, eye)] for index in range(4)] for eye in (0, 1))
    folder = write_packed_stills(tmp_path / "in", [planes[0] for planes in file_pictures(left, right, "rows")])
    pair = open_packed(folder, "rows", rate=RATE, reading=Reading(1))
    written = delivered(pair, "rows", tmp_path / "out", unchanged=(True, True))
    assert_frames(written, left[:3], right[1:])


# --- OpenEXR views ---


def exr_pair(folder):
    for word, eye in (("left", 0), ("right", 1)):
        (folder / word).mkdir(parents=True)
        for index in range(2):
            write_exr_file(folder / word / f"gust_{word}.{1001 + index}.exr", [light_eye(index, eye)])
    return open_pair(folder / "left", folder / "right", rate=RATE)


def lit_eyes(count=2):
    return tuple([[light_eye(index, eye)] for index in range(count)] for eye in (0, 1))


def exr_channels(path):
    """Samples by channel name, over all parts, as the library reads them."""
    found, opened = {}, oiio.ImageInput.open(str(path))
    part = 0
    while opened.seek_subimage(part, 0):
        spec, samples = opened.spec(), opened.read_image("half")
        view = spec.getattribute("view")
        for index, name in enumerate(spec.channelnames):
            found[f"{view}/{name}" if view else name] = samples[..., index]
        part += 1
    opened.close()
    return found


def test_two_files_become_the_views_of_one(tmp_path):
    """The default view's channels stay bare, the other's have its name before them (OpenEXR documentation, read)."""
    written = delivered(exr_pair(tmp_path / "in"), "views", tmp_path / "out")
    assert_frames(written, *lit_eyes())
    path = tmp_path / "out" / "views" / "gust_views.1001.exr"
    channels = exr_channels(path)
    assert sorted(channels) == ["B", "G", "R", "right.B", "right.G", "right.R"]
    np.testing.assert_array_equal(channels["right.G"], light_eye(0, 1)[..., 1])


@pytest.mark.parametrize("parts", [False, True])
def test_views_are_given_back_as_they_came(tmp_path, parts):
    folder = write_views(tmp_path / "in", 2, parts=parts)
    pair = open_packed(folder, rate=RATE)
    written = delivered(pair, "views", tmp_path / "out")
    assert_frames(written, *lit_eyes())
    for path in pair.packed.files():
        before, after = exr_channels(path), exr_channels(tmp_path / "out" / "views" / path.name)
        assert list(before) == list(after)
        for name, samples in before.items():
            np.testing.assert_array_equal(after[name], samples)
    delivered(pair, "views", tmp_path / "same", unchanged=(True, True))
    assert fingerprints(tmp_path / "same" / "views") == fingerprints(folder)


@pytest.mark.parametrize("layout", WHOLE)
@pytest.mark.parametrize("parts", [False, True])
def test_views_joined_in_one_picture_are_told_to_be_no_view(tmp_path, layout, parts):
    """Where the eyes take turns each still holds one eye, and says which."""
    pair = open_packed(write_views(tmp_path / "in", 2, parts=parts), rate=RATE)
    written = delivered(pair, layout, tmp_path / "out")
    assert_frames(written, *lit_eyes())
    told = [views_in(path) for path in sorted((tmp_path / "out" / layout).iterdir())]
    assert told == ([("left",), ("right",)] * 2 if layout == "frame-sequential" else [()] * 2)


def test_exchanged_views_are_not_copied(tmp_path):
    pair = open_packed(write_views(tmp_path / "in", 2), rate=RATE, reading=Reading(swapped=True))
    written = delivered(pair, "views", tmp_path / "out", unchanged=(True, True))
    assert_frames(written, *reversed(lit_eyes()))


@pytest.mark.parametrize("parts", [False, True])
@pytest.mark.parametrize("layout", ["side-by-side", "top-bottom", "frame-sequential"])
def test_views_become_one_picture_and_the_other_way_round(tmp_path, layout, parts):
    pair = open_packed(write_views(tmp_path / "in", 2, parts=parts), rate=RATE)
    written = delivered(pair, layout, tmp_path / "out")
    assert_frames(written, *lit_eyes())
    back = delivered(written, "views", tmp_path / "back")
    assert_frames(back, *lit_eyes())
    assert back.name == "gust"


# --- half and whole ---


@pytest.mark.parametrize("layout", ["side-by-side-half", "top-bottom-half", "rows"])
@pytest.mark.parametrize("pixel_format", ["yuv444p10le", "yuv422p10le"])
def test_whole_eyes_are_squeezed_to_half(tmp_path, layout, pixel_format):
    pair = video_pair(tmp_path / "in", 1, pixel_format)
    written = delivered(pair, layout, tmp_path / "out")
    across, down = squeeze_of(layout)
    assert (written.format.width, written.format.height) == (EYE[0] // across, EYE[1] // down)
    _, *found = next(written.frames())
    _, *whole = next(pair.frames())
    for planes, expected in zip(found, whole):
        for plane, samples in zip(planes, expected, strict=True):
            rows, columns = samples.shape
            means = samples.astype(float).reshape(rows // down, down, columns // across, across).mean(axis=(1, 3))
            # Chroma of subsampled formats sits on the left of two columns, so its middle is not that of the mean.
            inner = slice(8, -8)
            assert np.abs(plane - means)[inner, inner].mean() < 4, "of 1023, where the pattern spans 700"


@pytest.mark.parametrize("came", ["side-by-side-half", "top-bottom-half", "rows"])
def test_half_eyes_are_stretched_to_whole(tmp_path, came):
    pair = open_packed(packed_video(tmp_path / "gust.mkv", came, 1), came)
    written = delivered(pair, "side-by-side", tmp_path / "out")
    across, down = squeeze_of(came)
    assert (written.format.width, written.format.height) == (EYE[0] * across, EYE[1] * down)
    other = delivered(pair, "top-bottom-half", tmp_path / "other")
    assert (other.format.width, other.format.height) == (EYE[0] * across, EYE[1] * down // 2)


def test_a_flat_picture_stays_flat_in_every_layout(tmp_path):
    flat = [[np.full((60, 96), code, np.uint16) for code in (301, 502, 703)]]
    for word in ("left", "right"):
        write_packed_video(tmp_path / f"gust_{word}.mkv", flat)
    pair = open_packed(tmp_path / "gust_%V.mkv")
    for layout in IN_VIDEO:
        written = delivered(pair, layout, tmp_path / layout)
        for _, *found in written.frames():
            for planes in found:
                assert [(plane.min(), plane.max()) for plane in planes] == [(301, 301), (502, 502), (703, 703)]


# --- what is said of the eyes, and what goes with the pictures ---


@pytest.mark.parametrize(
    ("layout", "mode"),
    [("side-by-side", 1), ("side-by-side-half", 1), ("top-bottom", 3), ("top-bottom-half", 3), ("rows", 7)],
)
def test_matroska_says_how_the_eyes_lie(tmp_path, layout, mode):
    """Numbers of RFC 9559 (read)."""
    delivered(video_pair(tmp_path / "in"), layout, tmp_path / "out")
    path = tmp_path / "out" / f"gust_{layout}.mkv"
    assert stereo_mode_in(path) == mode
    with av.open(str(path)) as container:
        assert container.streams.video[0].metadata["stereo_mode"] == WORDS[mode]


@pytest.mark.parametrize(("layout", "kind"), [("side-by-side-half", 1), ("top-bottom-half", 2)])
def test_h264_says_how_the_eyes_lie(tmp_path, layout, kind):
    """Kinds of the library's stereo side data: 1 side by side, 2 top-bottom (library source)."""
    pair = video_pair(tmp_path / "in", 3, "yuv420p", ".mp4", encoder="libx264", options={"crf": "10"})
    delivered(pair, layout, tmp_path / "out")
    with av.open(str(tmp_path / "out" / f"gust_{layout}.mp4")) as container:
        frame = next(container.decode(video=0))
        side = frame.side_data.get(av.sidedata.sidedata.Type.STEREO3D)
        assert np.frombuffer(bytes(side), np.int32)[:2].tolist() == [kind, 0]


def test_what_cannot_be_signalled_is_said(tmp_path):
    pair = video_pair(tmp_path / "in", 2, "yuv422p10le", ".mov", encoder="prores_ks", options={"profile": "3"})
    assert any("side-by-side" in loss and "signalled" in loss for loss in lost_in_packed(pair, "side-by-side-half"))


def test_turns_in_matroska_are_not_said_to_be_laced(tmp_path):
    """Modes 13 and 14 of RFC 9559 (read) are two pictures in one block, not one after the other."""
    pair = video_pair(tmp_path / "in", 2)
    delivered(pair, "frame-sequential", tmp_path / "out")
    with av.open(str(tmp_path / "out" / "gust_frame-sequential.mkv")) as container:
        assert "stereo_mode" not in container.streams.video[0].metadata
    assert lost_in_packed(pair, "frame-sequential") == ("frame-sequential cannot be signalled in a '.mkv' file",)
    assert lost_in_packed(pair, "side-by-side") == ()


@pytest.mark.parametrize("layout", LAYOUTS[1:6])
def test_pixels_are_told_as_those_of_a_whole_eye(tmp_path, layout):
    options = {"encoder": "libx264", "options": {"qp": "0"}, "pixel_aspect": Fraction(4, 3)}
    pair = video_pair(tmp_path / "in", 2, suffix=".mp4", **options)
    written = delivered(pair, layout, tmp_path / "out")
    assert written.packed.tags.pixel_aspect == Fraction(4, 3)


@pytest.mark.parametrize("layout", ["side-by-side", "frame-sequential"])
def test_sound_is_copied_whole(tmp_path, layout):
    pair = video_pair(tmp_path / "in", 6, audio=True)
    delivered(pair, layout, tmp_path / "out")
    assert packets(tmp_path / "out" / f"gust_{layout}.mkv") == packets(pair.left.path)


@pytest.mark.parametrize("goes", ["side-by-side", "frame-sequential"])
def test_sound_of_a_part_ends_with_its_pictures(tmp_path, goes):
    path = packed_video(tmp_path / "gust.mkv", "frame-sequential", 12, audio=True, rate=Fraction(48))
    pair = open_packed(path, "frame-sequential", frames=(4, 19))
    delivered(pair, goes, tmp_path / "out")
    name = "gust.mkv" if goes == "frame-sequential" else f"gust_{goes}.mkv"
    with av.open(str(tmp_path / "out" / name)) as container:
        times = [float(p.pts * p.time_base) for p in container.demux(container.streams.audio[0]) if p.size]
    # Sixteen frames at 48 a second: a third of a second, in packets of at most 1152 samples.
    assert 1 / 3 - 0.05 < times[-1] < 1 / 3


def packets(path):
    with av.open(str(path)) as container:
        return [bytes(packet) for packet in container.demux(container.streams.audio[0]) if packet.size]


def test_several_deliveries_come_from_one_run_over_the_frames(tmp_path):
    pair = video_pair(tmp_path / "in")
    (tmp_path / "out").mkdir()
    writers = [packed_writer(pair, layout, tmp_path / "out") for layout in WHOLE]
    for index, left, right in pair.frames():
        for writer in writers:
            writer.write(index, left, right)
    for writer in writers:
        writer.close()
    for layout in WHOLE:
        assert_frames(open_written_packed(tmp_path / "out", pair, layout), *eyes())


def test_a_chosen_codec_is_written(tmp_path):
    pair = video_pair(tmp_path / "in", 2, "yuv422p10le", ".mov", encoder="prores_ks", options={"profile": "3"})
    written = delivered(pair, "top-bottom", tmp_path / "out", codec="ffv1")
    assert written.packed.tags.codec == "ffv1"
    assert written.packed.path.name == "gust_top-bottom.mkv"
    for (_, *found), (_, *wanted) in zip(written.frames(), pair.frames(), strict=True):
        for planes, expected in zip(found, wanted):
            for plane, samples in zip(planes, expected, strict=True):
                np.testing.assert_array_equal(plane, samples)


# --- what is refused, and what goes wrong ---


@pytest.mark.parametrize(
    ("layout", "pixel_format", "size", "words"),
    [
        ("top-bottom", "yuv420p", (96, 59), "multiple of 4 px"),
        ("side-by-side", "yuv422p10le", (95, 60), "multiple of 4 px"),
        ("side-by-side-half", "yuv422p10le", (98, 60), "multiple of 4 px"),
        ("side-by-side-half", "gray16le", (97, 60), "no half"),
        ("top-bottom-half", "gray16le", (96, 59), "no half"),
        ("rows", "yuv420p", (96, 60), "one row of colour"),
        ("views", "gray16le", (96, 60), "OpenEXR"),
    ],
)
def test_a_delivery_that_cannot_be_made_is_refused_before_the_first_frame(tmp_path, layout, pixel_format, size, words):
    for word in ("left", "right"):
        planes = eye_planes(pixel_format, 0, 0, size)
        write_packed_video(tmp_path / f"gust_{word}.mkv", [planes, planes], pixel_format)
    pair = open_packed(tmp_path / "gust_%V.mkv")
    with pytest.raises((InputError, UsageError), match=words):
        check_packed(pair, layout)
    (tmp_path / "out").mkdir()
    with pytest.raises((InputError, UsageError), match=words):
        packed_writer(pair, layout, tmp_path / "out")
    assert not list((tmp_path / "out").iterdir())


def test_a_layout_of_two_files_is_no_packing(tmp_path):
    with pytest.raises(ValueError, match="a file for each eye"):
        check_packed(video_pair(tmp_path / "in"), "left-right")


def joining():
    return [t for t in threading.enumerate() if t.name.startswith(("join ", "encode ", "write "))]


def test_an_error_on_the_way_ends_all_threads(tmp_path):
    pair = video_pair(tmp_path / "in")
    (tmp_path / "out").mkdir()
    _, left, right = next(pair.frames())
    with suppress(KeyboardInterrupt), packed_writer(pair, "side-by-side", tmp_path / "out") as writer:
        writer.write(0, left, right)
        raise KeyboardInterrupt
    assert not joining()


def test_an_error_in_joining_reaches_the_caller(tmp_path):
    pair = video_pair(tmp_path / "in")
    (tmp_path / "out").mkdir()
    _, left, right = next(pair.frames())
    writer = packed_writer(pair, "side-by-side", tmp_path / "out")
    writer.write(0, left, right[:2])
    with pytest.raises(ValueError, match="shorter"):
        writer.close()
    assert not joining()


def test_frames_that_are_missing_are_found(tmp_path):
    pair = video_pair(tmp_path / "in")
    (tmp_path / "out").mkdir()
    writer = packed_writer(pair, "side-by-side", tmp_path / "out")
    _, left, right = next(pair.frames())
    writer.write(0, left, right)
    with pytest.raises(OutputError, match="1 frames handed over"):
        writer.close()


def test_a_written_file_of_another_size_is_found(tmp_path):
    pair = video_pair(tmp_path / "in")
    delivered(pair, "side-by-side", tmp_path / "out")
    wrong = tmp_path / "out" / "gust_side-by-side.mkv"
    wrong.unlink()
    packed_video(wrong, "side-by-side", 3, "yuv422p10le")
    with pytest.raises(OutputError, match="in what was written"):
        open_written_packed(tmp_path / "out", pair, "side-by-side")
    wrong.unlink()
    with pytest.raises(OutputError, match="cannot be used"):
        open_written_packed(tmp_path / "out", pair, "side-by-side")
