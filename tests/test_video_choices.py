"""Codecs chosen by hand, depth that is reduced on the way, and what is refused before the first frame."""

import os
import subprocess
from dataclasses import replace
from fractions import Fraction

import av
import numpy as np
import pytest
from coded_files import LARGE, RATE, frame_of, make_coded, samples_of, written_again
from eyes_out import video_writer

from postfix.deliver.codecs import (
    CODECS,
    VideoSpec,
    encoder_for,
    format_written,
    losses,
    spec_of,
    suffix_for,
)
from postfix.deliver.depth import Fitting, nearest_format
from postfix.deliver.encoders import choices_for
from postfix.deliver.video import write_video
from postfix.deliver.video_file import VideoFile
from postfix.errors import InputError, OutputError, UsageError
from postfix.source.opening import open_eye
from postfix.source.pixel_formats import video_format


@pytest.fixture(autouse=True)
def quiet():
    av.logging.set_level(av.logging.PANIC)


# --- choosing ---


@pytest.mark.parametrize("codec", CODECS)
def test_every_codec_can_be_chosen(tmp_path, codec):
    wide = {"prores-4444": "yuv444p12le", "dnxhr-444": "gbrp10le"}.get(codec, "yuv422p10le")
    source = make_coded(tmp_path / "a.mkv", "ffv1", wide, size=LARGE, count=2)
    eye = open_eye(source)
    after = written_again(source, tmp_path / "out", codec)
    spec = spec_of(eye, codec)
    assert (after.tags.codec, after.tags.profile if CODECS[codec][1] else "") == CODECS[codec]
    assert after.path.suffix == (".mkv" if codec.startswith(("ffv1", "h26", "jpeg", "prores")) else ".mov")
    assert after.format == format_written(spec)
    assert (after.rate, after.count, after.timecode) == (eye.rate, eye.count, eye.timecode)
    kept = [line for line in losses(spec, after.path.suffix) if "rounded" in line]
    assert kept == ([] if spec.given_format is None else [kept[0]])
    worst = 6 << max(0, after.format.bit_depth - 8)
    for index, planes in enumerate(after.frames()):
        for plane, wanted, described in zip(planes, samples_of(wide, index, LARGE), after.format.planes, strict=True):
            scale = 2.0 ** (after.format.bit_depth - eye.format.bit_depth)
            assert described.channels == 1
            assert np.abs(plane - wanted * scale).mean() < worst


@pytest.mark.parametrize(
    ("suffix", "codec", "wanted"),
    [
        (".mov", "ffv1", ".mkv"), (".mov", "prores", ".mov"), (".mp4", "prores", ".mov"), (".mkv", "dnxhd", ".mov"),
        (".mxf", "dnxhd", ".mxf"), (".mxf", "hevc", ".mov"), (".MOV", "h264", ".MOV"), (".avi", "h264", ".mov"),
        (".mkv", "jpeg2000", ".mkv"),
    ],
)  # fmt: skip
def test_the_container_follows_the_codec(suffix, codec, wanted):
    assert suffix_for(VideoSpec(codec, "yuv422p10le", 320, 180, RATE), suffix) == wanted


def test_a_codec_that_does_not_take_the_pictures_is_wrong_use_and_says_which_do(tmp_path):
    eye = open_eye(make_coded(tmp_path / "a.mkv", "ffv1", "yuv420p"))
    with pytest.raises(UsageError, match="--codec prores-hq: found pictures of yuv420p") as caught:
        spec_of(eye, "prores-hq")
    assert "--codec: ffv1, h264, h265, jpeg2000 take its 8 bits" in str(caught.value)
    with pytest.raises(UsageError, match="no such codec"):
        spec_of(eye, "best")


def test_a_source_that_would_lose_depth_names_the_choice_to_make(tmp_path):
    # The decoder of 4444 gives 12 bits whatever went in; there is no encoder for them.
    source = make_coded(tmp_path / "a.mov", "prores_ks", "yuv444p10le", {"profile": "4444"}, size=LARGE)
    eye = open_eye(source)
    assert eye.format.bit_depth == 12
    with pytest.raises(InputError, match="whose 12 bits would become 10") as caught:
        encoder_for(spec_of(eye), eye.path)
    assert "ffv1, h265, jpeg2000 take its 12 bits; prores-4444, dnxhr-444, h264 with fewer" in str(caught.value)
    assert written_again(source, tmp_path / "out", "ffv1").format.bit_depth == 12
    assert any("12 bits are rounded to 10" in line for line in losses(spec_of(eye, "prores-4444"), ".mov"))


@pytest.mark.parametrize("encoder", ["mpeg4", "mpeg2video", "mjpeg"])
def test_a_codec_without_an_encoder_names_the_choice_to_make(tmp_path, encoder):
    pixel_format = "yuvj420p" if encoder == "mjpeg" else "yuv420p"
    eye = open_eye(make_coded(tmp_path / "a.mov", encoder, pixel_format, rate=Fraction(24), timecode=None))
    with pytest.raises(InputError, match="can be read but not written") as caught:
        VideoFile(tmp_path / "out.mov", spec_of(eye), eye)
    assert "--codec: ffv1, h264, h265, jpeg2000" in str(caught.value)
    assert not (tmp_path / "out.mov").exists()


def test_choices_are_told_by_depth():
    assert choices_for("gray16le") == (("ffv1", "jpeg2000"), ("h265",))
    assert choices_for("gbrp12le") == (("ffv1", "h265", "jpeg2000"), ("dnxhr-444",))
    keeps, rounds = choices_for("yuv422p10le")
    assert {"prores-hq", "dnxhr-hqx", "ffv1", "h264", "h265", "jpeg2000"} <= set(keeps)
    assert set(rounds) == {"dnxhr-lb", "dnxhr-sq", "dnxhr-hq"}


def test_an_odd_size_names_only_codecs_that_hold_it(tmp_path):
    eye = open_eye(make_coded(tmp_path / "a.mkv", "ffv1", "yuv420p", {"level": "3"}, size=(71, 37)))
    with pytest.raises(InputError, match="71x37, which h264 cannot hold in yuv420p") as caught:
        VideoFile(tmp_path / "out.mp4", spec_of(eye, "h264"), eye)
    assert "--codec: ffv1, jpeg2000 take its 8 bits." in str(caught.value)
    assert choices_for("yuv422p10le", (323, 181))[0] == ("dnxhr-hqx", "ffv1", "jpeg2000")
    assert choices_for("yuv422p10le", (322, 181))[0] == (
        "prores-proxy", "prores-lt", "prores", "prores-hq", "dnxhr-hqx", "ffv1", "h264", "h265", "jpeg2000",
    )  # fmt: skip
    assert "dnxhr-hqx" not in choices_for("yuv422p10le", (128, 96))[0]
    for name in choices_for("yuv422p10le", (323, 181))[0]:
        spec = VideoSpec(CODECS[name][0], "yuv422p10le", 323, 181, RATE, CODECS[name][1])
        frame = tuple(np.full((181, width), 300, np.uint16) for width in (323, 162, 162))
        path = tmp_path / f"{name}{suffix_for(spec, '.mkv')}"
        write_video(path, spec, [frame, frame])
        assert (open_eye(path).format.width, open_eye(path).format.height) == (323, 181)


# --- depth ---


@pytest.mark.parametrize(
    ("given", "offered", "wanted"),
    [
        ("yuv422p10le", ("yuv422p", "yuv422p10le"), "yuv422p10le"),
        ("yuv422p12le", ("yuv422p", "yuv422p10le", "yuv444p12le"), "yuv422p10le"),
        ("yuvj420p", ("yuv420p",), "yuv420p"),
        ("rgb48le", ("gbrp10le", "gbrp16le", "gbrap16le"), "gbrp16le"),
        ("yuv422p", ("yuv422p10le",), None),
        ("yuva444p16le", ("yuv444p16le", "yuva444p10le"), "yuva444p10le"),
    ],
)
def test_the_nearest_format_holds_the_same_planes_and_never_more_bits(given, offered, wanted):
    assert nearest_format(given, offered) == wanted


@pytest.mark.parametrize("full", [False, True])
@pytest.mark.parametrize(("before", "after"), [(16, 12), (16, 10), (16, 8), (12, 10), (12, 8), (10, 8)])
def test_every_code_is_rounded_to_the_nearest_and_the_range_is_kept(before, after, full):
    """Against fractions: narrow codes are equal times 2^n, full ones end at the largest (ITU-T H.273, computed)."""
    names = {8: "yuv444p"}
    given, wanted = (names.get(bits, f"yuv444p{bits}le") for bits in (before, after))
    codes = np.arange(1 << before, dtype=np.uint16)
    luma, cb, _ = Fitting(given, wanted, full)((codes[None], codes[None], codes[None]))
    most = (1 << before) - 1, (1 << after) - 1
    middle = 1 << (before - 1), 1 << (after - 1)
    for code in [*range(0, most[0], 37), *range(most[0] - 40, most[0] + 1), middle[0] - 1, middle[0], middle[0] + 1]:
        scale = Fraction(most[1], most[0]) if full else Fraction(1, 1 << (before - after))
        exact = (code * scale, middle[1] + (code - middle[0]) * scale)
        for plane, value in zip((luma, cb), exact):
            got = int(plane[0, code])
            assert 0 <= got <= most[1]
            assert abs(got - value) <= Fraction(1, 2) or got == most[1] < value
    a, b = (video_format(name, 16, 16, full) for name in (given, wanted))
    assert luma[0, int(a.white)] == b.white
    assert luma[0, int(a.planes[0].black[0])] == b.planes[0].black[0]
    assert cb[0, int(a.planes[1].black[0])] == b.planes[1].black[0]


def test_depth_is_reduced_in_the_file_as_in_the_table(tmp_path):
    source = make_coded(tmp_path / "a.mkv", "ffv1", "yuv422p16le", size=LARGE, count=2)
    eye = open_eye(source)
    spec = replace(spec_of(eye), pixel_format="yuv422p10le", given_format="yuv422p16le")
    write_video(tmp_path / "b.mkv", spec, eye.frames())
    fit = Fitting("yuv422p16le", "yuv422p10le", False)
    for index, planes in enumerate(open_eye(tmp_path / "b.mkv").frames()):
        wanted = fit(tuple(samples_of("yuv422p16le", index, LARGE)))
        assert all(np.array_equal(a, b) for a, b in zip(planes, wanted, strict=True))


def test_rgb_side_by_side_goes_into_planes(tmp_path):
    source = make_coded(tmp_path / "a.mov", "jpeg2000", "rgb48le", {"pred": "1"}, count=2)
    after = written_again(source, tmp_path / "out", "ffv1")
    assert after.format.pixel_format == "gbrp16le"
    for index, planes in enumerate(after.frames()):
        (wanted,) = samples_of("rgb48le", index, (70, 38))
        assert all(np.array_equal(plane, wanted[..., channel]) for channel, plane in enumerate(planes))


# --- siting ---


@pytest.mark.parametrize(
    ("pixel_format", "matrix", "left", "top"),
    [
        ("yuv420p", 1, True, False), ("yuv420p10le", 9, True, True), ("yuvj420p", 1, False, False),
        ("yuv422p10le", 9, True, False), ("yuv420p", 2, True, False), ("yuv420p12le", 10, True, True),
    ],
)  # fmt: skip
def test_chroma_sits_where_the_format_says(pixel_format, matrix, left, top):
    """ITU-T H.264 Figure E-1 type 0; Rec. ITU-R BT.2100 for BT.2020's 4:2:0; JFIF: all from memory."""
    chroma = video_format(pixel_format, 64, 32, None, matrix).planes[1]
    assert (chroma.left_sited, chroma.top_sited) == (left, top)


# --- bad input ---


@pytest.mark.parametrize(
    ("spec", "name", "says"),
    [
        (VideoSpec("h264", "yuv420p", 63, 32, RATE), "a.mp4", "63x32.*h264.*yuv420p.*an even width and an even height"),
        (VideoSpec("h264", "yuv420p", 64, 31, RATE), "a.mp4", "64x31"),
        (VideoSpec("h264", "yuv422p10le", 63, 31, RATE), "a.mp4", "an even width;"),
        (VideoSpec("hevc", "yuv420p", 65, 32, RATE), "a.mp4", "65x32"),
        (VideoSpec("hevc", "yuv420p", 62, 32, RATE), "a.mp4", "too small for hevc.*at least 64x16"),
        (VideoSpec("prores", "yuv422p10le", 63, 31, RATE, "HQ"), "a.mov", "an even width"),
        (VideoSpec("dnxhd", "yuv422p", 128, 96, RATE, "DNXHR SQ"), "a.mov", "at least 256x120"),
        (VideoSpec("dnxhd", "yuv422p", 1920, 1080, RATE, "DNXHD"), "a.mov", "profile DNXHD.*--codec"),
        (VideoSpec("hevc", "yuv420p", 64, 32, RATE, "Multiview Main"), "a.mp4", "profile Multiview Main"),
        (VideoSpec("hevc", "yuv420p", 64, 32, RATE), "a.mxf", "a '.mxf' file cannot"),
        (VideoSpec("dnxhd", "yuv422p", 320, 180, RATE, "DNXHR SQ", pixel_aspect=Fraction(4, 3)), "a.mxf", "4/3"),
        (VideoSpec("jpeg2000", "yuv422p", 64, 32, RATE, color_range=2), "a.mov", "the full code range"),
    ],
)  # fmt: skip
def test_what_cannot_be_written_is_refused_before_anything_is_there(tmp_path, spec, name, says):
    with pytest.raises(InputError, match=says):
        write_video(tmp_path / name, spec, [])
    assert not list(tmp_path.iterdir())


@pytest.mark.parametrize(
    ("name", "encoder", "pixel_format"),
    [("a.mkv", "ffv1", "yuv444p10le"), ("a.mkv", "jpeg2000", "yuv420p"), ("a.mov", "libx264", "yuv444p")],
)
@pytest.mark.parametrize("size", [(3, 3), (1, 1), (5, 9)])
def test_the_smallest_pictures_come_through_or_are_refused(tmp_path, name, encoder, pixel_format, size):
    options = {"ffv1": {"slices": "1", "level": "3"}, "jpeg2000": {"pred": "1"}, "libx264": {"qp": "0"}}[encoder]
    try:
        source = make_coded(tmp_path / name, encoder, pixel_format, options, size=size, count=2)
    except av.FFmpegError:
        pytest.skip(f"the library makes no {encoder} of {size}")
    after = written_again(source, tmp_path / "out")
    for index, planes in enumerate(after.frames()):
        assert all(np.array_equal(a, b) for a, b in zip(planes, samples_of(pixel_format, index, size), strict=True))


def test_an_odd_size_in_420_comes_through_where_the_codec_can(tmp_path):
    source = make_coded(tmp_path / "a.mkv", "ffv1", "yuv420p", {"level": "3"}, size=(71, 37))
    for index, planes in enumerate(written_again(source, tmp_path / "out").frames()):
        assert all(np.array_equal(a, b) for a, b in zip(planes, samples_of("yuv420p", index, (71, 37)), strict=True))


@pytest.fixture
def small_disk(tmp_path):
    """A disk of 300 kB."""
    place = tmp_path / "disk"
    place.mkdir()
    made = subprocess.run(
        ["mount", "-t", "tmpfs", "-o", "size=300k", "tmpfs", str(place)], check=False, capture_output=True, text=True
    ) if os.name == "posix" and os.geteuid() == 0 else None  # fmt: skip
    if made is None or made.returncode:
        pytest.skip("mounting a small disk is not allowed here")
    yield place
    subprocess.run(["umount", str(place)], check=True)


@pytest.mark.parametrize(
    ("name", "codec", "profile", "pixel_format"),
    [
        ("a.mkv", "ffv1", "", "yuv422p10le"), ("a.mov", "prores", "HQ", "yuv422p10le"),
        ("a.mp4", "h264", "", "yuv420p"),
        ("a.mxf", "dnxhd", "DNXHR HQ", "yuv422p"), ("a.mov", "jpeg2000", "", "yuv420p"),
    ],
)  # fmt: skip
def test_a_disk_that_fills_is_an_output_error_that_names_the_file(small_disk, name, codec, profile, pixel_format):
    rng = np.random.default_rng(3)
    fmt = video_format(pixel_format, *LARGE, False)
    shapes = [(LARGE[1] // plane.step_y, LARGE[0] // plane.step_x) for plane in fmt.planes]
    frames = [tuple(rng.integers(20, 240, shape).astype(fmt.dtype) for shape in shapes) for _ in range(3)]
    spec = VideoSpec(codec, pixel_format, *LARGE, RATE, profile, lossless=True)

    def fill():
        with video_writer(small_disk / name, spec, 200) as writer:
            for index in range(200):
                writer.write(index, frames[index % 3])

    with pytest.raises(OutputError, match="No space left") as caught:
        fill()
    assert caught.value.exit_code == 4
    assert str(small_disk / name) in str(caught.value)


def test_frames_do_not_share_the_memory_they_are_coded_from(tmp_path):
    """The encoder's frame is used again: what waits inside the encoder must not change with it."""
    spec = VideoSpec("h264", "yuv420p", 64, 32, RATE, lossless=True)
    flat = [
        tuple(np.full(shape, 20 + index, np.uint8) for shape in ((32, 64), (16, 32), (16, 32))) for index in range(80)
    ]
    write_video(tmp_path / "a.mp4", spec, flat)
    for index, planes in enumerate(open_eye(tmp_path / "a.mp4").frames()):
        assert all((plane == 20 + index).all() for plane in planes)


def test_the_library_shows_frames_as_they_were_made():
    """The makers of test footage agree with each other about the order of planes."""
    frame = frame_of("gbrp10le", 0, (8, 4))
    red = samples_of("gbrp10le", 0, (8, 4))[0]
    assert np.array_equal(np.frombuffer(frame.planes[2], np.uint16).reshape(4, -1)[:, :8], red)


@pytest.mark.parametrize(("name", "encoder"), [("a.mxf", "dnxhd"), ("a.mov", "dnxhd"), ("a.mxf", "prores_ks")])
def test_damage_and_a_short_end_are_found_in_mxf_and_dnxhr_too(tmp_path, name, encoder):
    pixel_format, options = ("yuv422p", {"profile": "dnxhr_hq"}) if encoder == "dnxhd" else ("yuv422p10le", {})
    path = make_coded(tmp_path / name, encoder, pixel_format, options, size=LARGE, count=12)
    data = path.read_bytes()
    damaged = bytearray(data)
    damaged[len(data) // 2 : len(data) // 2 + 400] = bytes(400)
    path.write_bytes(damaged)
    with pytest.raises(InputError) as caught:
        list(open_eye(path).frames())
    assert 4 <= caught.value.frame <= 7
    for share in (0.1, 0.5, 0.95):
        path.write_bytes(data[: int(len(data) * share)])
        with pytest.raises(InputError):
            list(open_eye(path).frames())
