"""Every codec, pixel format and container: read as the library wrote it, and written so that it comes back."""

import hashlib

import av
import numpy as np
import pytest
from coded_files import LOSSLESS, LOSSY, RATE, cases, make_coded, samples_of, written_again

from postfix.source.opening import open_eye


@pytest.fixture(autouse=True)
def quiet():
    """The encoders say what they are on their way."""
    av.logging.set_level(av.logging.PANIC)


def made(folder, kind, pixel_format, suffix, **options):
    # The library's MXF tells no order of showing apart from that of coding.
    ordered = {"bf": "0"} if (kind.encoder, suffix) == ("libx264", ".mxf") else {}
    coding = {**kind.options, **ordered}
    return make_coded(folder / f"kite é{suffix}", kind.encoder, pixel_format, coding, size=kind.size, **options)


def told(eye):
    tags = eye.tags
    return (
        eye.format, eye.rate, eye.count, eye.timecode, tags.codec, tags.profile, tags.color_range, tags.color_primaries,
        tags.color_transfer, tags.color_matrix, tags.pixel_aspect, tags.lossless, tags.stereo, tags.display_matrix,
        tags.mastering, tags.content_light,
    )  # fmt: skip


@pytest.mark.parametrize(("name", "pixel_format", "suffix"), cases(LOSSLESS))
def test_no_sample_of_a_lossless_video_is_changed(tmp_path, name, pixel_format, suffix):
    kind = LOSSLESS[name]
    source = made(tmp_path, kind, pixel_format, suffix)
    eye = open_eye(source)
    assert eye.format.pixel_format == pixel_format
    assert eye.tags.lossless
    assert (eye.rate, eye.timecode) == (RATE, "10:00:00:00")
    after = written_again(source, tmp_path / "out")
    assert told(after) == told(eye)
    for index, (read, written) in enumerate(zip(eye.frames(), after.frames(), strict=True)):
        wanted = samples_of(pixel_format, index, kind.size)
        assert all(np.array_equal(a, b) for a, b in zip(read, wanted, strict=True)), "read"
        assert all(np.array_equal(a, b) for a, b in zip(written, wanted, strict=True)), "written"


@pytest.mark.parametrize(
    ("name", "pixel_format", "suffix"), [case for case in cases(LOSSLESS) if case[2] != ".mxf"][::4]
)
def test_a_move_by_whole_pixels_is_a_plain_move(tmp_path, name, pixel_format, suffix):
    kind = LOSSLESS[name]
    source = made(tmp_path, kind, pixel_format, suffix)
    steps = [plane.step_x for plane in open_eye(source).format.planes]

    def moved(planes):
        return tuple(np.roll(plane, 8 // step, axis=1)[::1] for plane, step in zip(planes, steps))

    after = written_again(source, tmp_path / "out", change=moved)
    for index, written in enumerate(after.frames()):
        wanted = moved(samples_of(pixel_format, index, kind.size))
        assert all(np.array_equal(a, b) for a, b in zip(written, wanted, strict=True))


@pytest.mark.parametrize(("name", "pixel_format", "suffix"), cases(LOSSY))
def test_a_lossy_video_keeps_its_codec_profile_and_tags_and_stays_near_its_samples(
    tmp_path, name, pixel_format, suffix
):
    kind = LOSSY[name]
    source = made(tmp_path, kind, pixel_format, suffix)  # of two frames x265 leaves the times unset
    eye = open_eye(source)
    assert (eye.tags.codec, eye.tags.profile, eye.tags.lossless) == (kind.codec, kind.profile, False)
    after = written_again(source, tmp_path / "out")
    assert told(after) == told(eye)
    for read, written in zip(eye.frames(), after.frames(), strict=True):
        for plane, original in zip(written, read, strict=True):
            assert np.abs(plane.astype(int) - original.astype(int)).mean() < kind.mean_error


@pytest.mark.parametrize("name", ["ffv1", "h264", "h265", "jpeg2000", "prores-hq", "dnxhr-hqx"])
def test_the_same_pictures_give_the_same_bytes(tmp_path, name):
    kind = LOSSY.get(name) or LOSSLESS[name]
    source = made(tmp_path, kind, kind.formats[0], kind.suffixes[0], count=4)
    runs = [written_again(source, tmp_path / place).path.read_bytes() for place in ("a", "b")]
    assert hashlib.sha256(runs[0]).digest() == hashlib.sha256(runs[1]).digest()


def test_all_codes_of_ten_bits_come_through(tmp_path):
    ramp = np.tile(np.arange(1024, dtype=np.uint16), (16, 1))

    def ramps(_):
        return ramp, ramp[:, ::2], ramp[:, 1::2]

    source = make_coded(tmp_path / "ramp.mkv", "ffv1", "yuv422p10le", size=(1024, 16), count=2)
    for planes in written_again(source, tmp_path / "out", change=ramps).frames():
        assert np.array_equal(planes[0], ramp)
        assert len(np.unique(planes[0])) == 1024
