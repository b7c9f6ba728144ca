"""The code range of written videos: read again as it was, or refused before the first frame."""

from fractions import Fraction

import av
import numpy as np
import pytest
from coded_files import LARGE, make_coded, written_again
from eyes_out import Whole, eye_out, room_for

from postfix.deliver.codecs import CODECS, VideoSpec, format_written, losses, spec_of, suffix_for
from postfix.deliver.containers import range_told
from postfix.deliver.encoders import ENCODERS, formats_of
from postfix.deliver.video import check_writer, write_video
from postfix.errors import InputError
from postfix.source.opening import open_eye
from postfix.source.pixel_formats import FULL_RANGE, video_format


@pytest.fixture(autouse=True)
def quiet():
    av.logging.set_level(av.logging.PANIC)


def came_through(eye, folder, codec):
    """A clip of a few pictures written in a codec, checked before and after as a delivery is."""
    out = eye_out(eye, codec)
    out.check()
    folder.mkdir()
    with Whole(out, room_for(folder, "left"), eye.count) as writer:
        for index, planes in enumerate(eye.frames()):
            writer.write(index, planes)
    return out.reopen(folder)


@pytest.mark.parametrize("codec", ["h264", "h265", "ffv1", "jpeg2000"])
@pytest.mark.parametrize("pixel_format", ["yuv420p", "yuv422p", "yuv444p"])
def test_full_range_of_eight_bits_stays_full(tmp_path, codec, pixel_format):
    source = make_coded(tmp_path / "a.mkv", "jpeg2000", pixel_format, {"pred": "1"}, color_range=2)
    after = came_through(open_eye(source), tmp_path / "out", codec)
    assert (after.format.white, after.format.planes[0].black) == (255, (0,))
    assert after.tags.color_range == 2


@pytest.mark.parametrize("codec", ["ffv1", "jpeg2000", "h265", "h264"])
@pytest.mark.parametrize("encoder", ["libx264", "mjpeg"])
def test_pictures_with_the_range_of_jpeg_stay_full(tmp_path, codec, encoder):
    source = make_coded(tmp_path / "a.mkv", encoder, "yuvj420p", {"qp": "0"} if encoder == "libx264" else {},
                        color_range=2, rate=Fraction(24), timecode=None)  # fmt: skip
    eye = open_eye(source)
    assert eye.format.pixel_format == "yuvj420p"
    after = came_through(eye, tmp_path / "out", codec)
    assert (after.format.white, after.format.planes[0].black) == (255, (0,))
    if ENCODERS[CODECS[codec][0]].lossless:
        for before, planes in zip(eye.frames(), after.frames(), strict=True):
            assert all(np.array_equal(a, b) for a, b in zip(before, planes, strict=True))


@pytest.mark.parametrize("suffix", [".mov", ".mkv", ".mp4", ".mxf", ".avi"])
@pytest.mark.parametrize("codec", ["dnxhr-444", "ffv1", "h265", "jpeg2000"])
@pytest.mark.parametrize("pixel_format", ["gbrp10le", "gray10le"])
def test_rgb_and_grey_of_unknown_range_are_written_so_that_they_are_read_as_full(tmp_path, codec, pixel_format, suffix):
    name, profile = CODECS[codec]
    if pixel_format not in formats_of(name, profile):
        pytest.skip(f"{codec} does not take {pixel_format}")
    spec = VideoSpec(name, pixel_format, *LARGE, Fraction(24), profile)
    suffix = suffix_for(spec, suffix)
    fmt = format_written(spec)
    given = video_format(pixel_format, *LARGE, None)
    planes = tuple(np.full((LARGE[1], LARGE[0]), 300, given.dtype) for _ in given.planes)
    write_video(tmp_path / f"a{suffix}", spec, [planes] * 3)
    after = open_eye(tmp_path / f"a{suffix}")
    assert after.format == fmt
    assert (after.format.white, after.format.planes[0].black[0]) == ((1 << fmt.bit_depth) - 1, 0)
    said = any("written as full" in line for line in losses(spec, suffix))
    assert said == (range_told(spec, suffix) == 2)


def _refusal(path, spec, frame):
    try:
        write_video(path, spec, [frame])
    except InputError as error:
        return error
    return None


@pytest.mark.parametrize("code", FULL_RANGE)
@pytest.mark.parametrize("suffix", [".mov", ".mkv", ".mp4", ".mxf"])
@pytest.mark.parametrize("codec", ["prores-hq", "prores-4444", "dnxhr-hqx", "dnxhr-444", "h264", "jpeg2000"])
def test_a_range_comes_back_or_is_refused_before_the_first_frame(tmp_path, codec, suffix, code):
    name, profile = CODECS[codec]
    pixel_format = "yuv444p10le" if "444" in codec else "yuv422p10le"
    spec = VideoSpec(name, pixel_format, *LARGE, Fraction(24), profile, color_range=code)
    path = tmp_path / f"a{suffix_for(spec, suffix)}"
    given = video_format(pixel_format, *LARGE, FULL_RANGE[code])
    frame = tuple(np.full((LARGE[1], LARGE[0] // plane.step_x), 300, given.dtype) for plane in given.planes)
    refused = _refusal(path, spec, frame)
    if refused is None:
        assert open_eye(path).format == format_written(spec)
    else:
        assert "code range" in refused.found
        assert not path.exists()


def test_a_range_that_is_refused_names_the_source(tmp_path):
    source = make_coded(tmp_path / "a.mkv", "ffv1", "yuv422p10le", color_range=2, size=LARGE)
    (tmp_path / "b").mkdir()
    eye = open_eye(source)
    with pytest.raises(InputError, match="full code range") as caught:
        check_writer(spec_of(eye, "prores-hq"), "a.mov", eye)
    assert caught.value.where == str(source)


@pytest.mark.parametrize("tagged", [False, True])
def test_avi_is_left_for_a_container_that_holds_the_tags(tmp_path, tagged):
    source = make_coded(tmp_path / "a.avi", "mjpeg", "yuvj420p", rate=Fraction(24), timecode=None)
    assert written_again(source, tmp_path / "out", "ffv1").path.suffix == ".mkv"
    bare = VideoSpec("ffv1", "yuv420p", 64, 32, Fraction(24), color_primaries=9 if tagged else 2)
    assert suffix_for(bare, ".avi") == (".mkv" if tagged else ".avi")


# --- colours of which only some are known ---


@pytest.mark.parametrize("colours", [(2, 2, 2), (1, 2, 2), (2, 2, 1), (2, 1, 2), (9, 16, 2)])
@pytest.mark.parametrize(
    ("codec", "pixel_format", "suffix"),
    [
        ("dnxhr-hqx", "yuv422p10le", ".mov"), ("dnxhr-hqx", "yuv422p10le", ".mxf"), ("dnxhr-444", "gbrp10le", ".mov"),
        ("h265", "gbrp10le", ".mp4"), ("h264", "yuv420p", ".mov"), ("jpeg2000", "yuv420p", ".mov"),
        ("jpeg2000", "gray", ".mp4"), ("ffv1", "yuv420p", ".mp4"), ("prores-hq", "yuv422p10le", ".mov"),
    ],
)  # fmt: skip
def test_colours_that_are_not_all_known_pass_the_check_of_what_was_written(
    tmp_path, codec, pixel_format, suffix, colours
):
    eye = open_eye(_tagged(tmp_path, pixel_format, colours))
    spec = spec_of(eye, codec)
    path = tmp_path / f"written{suffix}"
    write_video(path, spec, eye.frames())
    tags = open_eye(path).tags
    assert (tags.color_primaries, tags.color_transfer) == colours[:2]
    assert tags.color_matrix == spec.color_matrix
    said = eye_out(eye, codec).losses()
    assert any("matrix is not said" in line for line in said) == (eye.tags.color_matrix != spec.color_matrix)


def _tagged(folder, pixel_format, colours):
    """A clip whose container tells these colours and no range."""
    spec = VideoSpec("ffv1", pixel_format, *LARGE, Fraction(24), "", 0, *colours)
    fmt = video_format(pixel_format, *LARGE, None)
    frame = tuple(np.full((LARGE[1] // plane.step_y, LARGE[0] // plane.step_x), 200, fmt.dtype) for plane in fmt.planes)
    write_video(folder / "a.mkv", spec, [frame, frame])
    return folder / "a.mkv"
