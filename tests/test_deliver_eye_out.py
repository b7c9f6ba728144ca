"""Both eyes of one file out as a file each, and eyes in another frame."""

from fractions import Fraction

import numpy as np
import pytest
from eyes_out import Whole, room_for
from packed_files import (
    EYE,
    eye_planes,
    file_pictures,
    light_eye,
    stills_eye,
    write_packed_stills,
    write_packed_video,
    write_views,
)
from picture_files import RATE, fingerprints, make_stills
from test_source_packed import IN_VIDEO, eyes, packed_video

from postfix.deliver.eye_out import EyeOut
from postfix.errors import InputError, OutputError
from postfix.source.framed import framed
from postfix.source.packed import open_packed
from postfix.source.pair import open_pair


def parted(pair, folder, *, unchanged=False, codec=None):
    """Both eyes written and opened again."""
    outs = [EyeOut(pair, eye, codec) for eye in ("left", "right")]
    for out in outs:
        out.check()
        (folder / out.eye).mkdir(parents=True)
    writers = [Whole(out, room_for(folder / out.eye, out.eye), pair.count) for out in outs]
    for index, *both in pair.frames():
        for writer, planes in zip(writers, both):
            writer.write(index, planes, unchanged=unchanged)
    for writer in writers:
        writer.close()
    return [out.reopen(folder / out.eye) for out in outs]


def assert_eyes(written, wanted):
    for eye, frames in zip(written, wanted, strict=True):
        for planes, expected in zip(eye.frames(), frames, strict=True):
            for plane, samples in zip(planes, expected, strict=True):
                np.testing.assert_array_equal(plane, samples)


@pytest.mark.parametrize("layout", IN_VIDEO)
def test_a_packed_video_becomes_two_sample_for_sample(tmp_path, layout):
    path = packed_video(tmp_path / "gust.mkv", layout, rate=Fraction(48), timecode="01:00:00:10", stereo_mode="mono")
    pair = open_packed(path, layout)
    written = parted(pair, tmp_path / "out")
    assert_eyes(written, eyes())
    assert [eye.path.name for eye in written] == ["gust_left.mkv", "gust_right.mkv"]
    assert [(eye.rate, eye.timecode) for eye in written] == [(pair.rate, pair.timecode)] * 2
    assert (written[0].format.width, written[0].format.height) == EYE


def test_an_eye_alone_is_not_said_to_be_two(tmp_path):
    pair = open_packed(packed_video(tmp_path / "gust.mkv", "side-by-side", stereo_mode="left_right"))
    assert [eye.tags.stereo for eye in parted(pair, tmp_path / "out")] == [None, None]


@pytest.mark.parametrize(("layout", "aspect"), [("side-by-side-half", Fraction(2)), ("rows", Fraction(1, 2))])
def test_pixels_of_a_squeezed_eye_are_told_as_they_are_shown(tmp_path, layout, aspect):
    pair = open_packed(packed_video(tmp_path / "gust.mkv", layout), layout)
    assert [eye.tags.pixel_aspect for eye in parted(pair, tmp_path / "out")] == [aspect, aspect]


@pytest.mark.parametrize("layout", ["side-by-side", "rows", "frame-sequential"])
def test_packed_stills_become_two_sequences(tmp_path, layout):
    left, right = ([[stills_eye(index, eye)] for index in range(3)] for eye in (0, 1))
    folder = write_packed_stills(tmp_path / "in", [planes[0] for planes in file_pictures(left, right, layout)])
    written = parted(open_packed(folder, layout, rate=Fraction(48)), tmp_path / "out", unchanged=True)
    assert_eyes(written, (left, right))
    assert [path.name for path in written[1].files()] == [f"gust_right.{1001 + index}.tif" for index in range(3)]


@pytest.mark.parametrize("parts", [False, True])
def test_views_become_two_sequences(tmp_path, parts):
    pair = open_packed(write_views(tmp_path / "in", 2, parts=parts), rate=RATE)
    written = parted(pair, tmp_path / "out", unchanged=True)
    assert_eyes(written, [[[light_eye(index, eye)] for index in range(2)] for eye in (0, 1)])
    assert written[1].files()[0].name == "gust_right.1001.exr"


def test_files_of_one_eye_are_copied_where_nothing_changed(tmp_path):
    for word in ("left", "right"):
        make_stills(tmp_path / "in" / word, "tiff16", 2, name=word)
    pair = open_pair(tmp_path / "in" / "left", tmp_path / "in" / "right", rate=RATE)
    parted(pair, tmp_path / "out", unchanged=True)
    written = {name: found for name, found in fingerprints(tmp_path / "out").items() if not name.startswith(".")}
    assert written == fingerprints(tmp_path / "in")


def test_an_eye_in_another_frame_is_written_in_it(tmp_path):
    for word, frames in zip(("left", "right"), eyes(2)):
        write_packed_video(tmp_path / f"gust_{word}.mkv", frames)
    pair = framed(open_packed(tmp_path / "gust_%V.mkv"), 80, 64)
    written = parted(pair, tmp_path / "out")
    assert [eye.path.name for eye in written] == ["gust_left.mkv", "gust_right.mkv"]
    assert (written[0].format.width, written[0].format.height) == (80, 64)
    for eye, source in zip(written, (pair.left, pair.right)):
        for planes, expected in zip(eye.frames(), source.frames(), strict=True):
            for plane, samples in zip(planes, expected, strict=True):
                np.testing.assert_array_equal(plane, samples)


def test_an_eye_that_its_codec_cannot_hold_is_refused_before_the_first_frame(tmp_path):
    # The packed picture is even, the eye in it is not.
    planes = [eye_planes("yuv444p10le", i, 0, (102, 60)) for i in range(2)]
    pair = open_packed(write_packed_video(tmp_path / "gust.mkv", planes), "side-by-side")
    EyeOut(pair, "left").check()
    with pytest.raises(InputError, match="even width"):
        EyeOut(pair, "left", "prores-4444").check()


def test_a_written_eye_that_is_something_else_is_found(tmp_path):
    pair = open_packed(packed_video(tmp_path / "gust.mkv", "rows"), "rows")
    parted(pair, tmp_path / "out")
    packed_video(tmp_path / "out" / "left" / "gust_left.mkv", "rows")
    with pytest.raises(OutputError, match="96x120 in what was written"):
        EyeOut(pair, "left").reopen(tmp_path / "out" / "left")
