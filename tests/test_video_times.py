"""When the pictures of a video are decoded and shown."""

from fractions import Fraction

import av
import numpy as np
import pytest
from eyes_out import video_writer

from postfix.deliver.containers import _HELD, suffix_for
from postfix.deliver.picture_coder import decoding_ahead
from postfix.deliver.spec import VideoSpec
from postfix.deliver.video import write_video
from postfix.source.opening import open_eye

SIZE = (322, 182)


@pytest.mark.parametrize("suffix", [".mp4", ".mov", ".mkv"])
@pytest.mark.parametrize(
    ("codec", "pixel_format"), [("hevc", "yuv420p10le"), ("hevc", "gbrp10le"), ("h264", "yuv420p")]
)
@pytest.mark.parametrize("frames", [1, 2, 3, 5])
def test_a_clip_of_a_few_frames_is_decoded_just_before_it_is_shown(tmp_path, frames, codec, pixel_format, suffix):
    """Once x265 set no times for clips of one or two frames: they were what stood in memory."""
    matrix = 0 if pixel_format.startswith("gbr") else 1
    spec = VideoSpec(codec, pixel_format, *SIZE, Fraction(24), "", 1, 1, 1, matrix)
    path = tmp_path / f"kite{suffix}"
    assert write_video(path, spec, list(pictures(frames, pixel_format))) == frames
    with av.open(str(path)) as container:
        packets = [packet for packet in container.demux(video=0) if packet.size]
        step = 1 / spec.rate / packets[0].time_base
        decoded = [packet.dts for packet in packets if packet.dts is not None]
        assert all(packet.dts is None or 0 <= packet.pts - packet.dts <= 5 * step for packet in packets)
    assert decoded == sorted(set(decoded))
    assert sum(1 for _ in open_eye(path).frames()) == frames


def pictures(frames, pixel_format):
    half = pixel_format.startswith("yuv420")
    dtype = np.uint16 if "10" in pixel_format else np.uint8
    for index in range(frames):
        sizes = [SIZE, *[(SIZE[0] // 2, SIZE[1] // 2) if half else SIZE] * 2]
        yield tuple(np.full((height, width), 60 + 7 * index, dtype) for width, height in sizes)


def test_decoding_ahead_are_those_that_a_picture_waits_for():
    assert decoding_ahead([0, 1, 2]) == 0
    assert decoding_ahead([0, 4, 2, 1, 3]) == 2
    assert decoding_ahead([]) == 0


WIDE = {"prores": ("yuv422p10le", "HQ"), "dnxhd": ("yuv422p10le", "DNXHR HQX")}


@pytest.mark.parametrize(("codec", "suffix"), [(codec, suffix) for codec, held in _HELD.items() for suffix in held])
def test_every_container_shows_every_codec_in_the_order_it_was_given(tmp_path, codec, suffix):
    """Pictures that get brighter by two steps and move, so that encoders that may code later ones first do."""
    pixel_format, profile = WIDE.get(codec, ("yuv420p", ""))
    spec = VideoSpec(codec, pixel_format, *SIZE, Fraction(30000, 1001), profile)
    path = tmp_path / f"kite{suffix}"
    with video_writer(path, spec, 60) as writer:
        for index in range(60):
            writer.write(index, moving(index, pixel_format))
    eye = open_eye(path)
    assert (eye.count, eye.rate) == (60, spec.rate)
    shown = np.array([float(planes[0].mean()) for planes in eye.frames()]) / (4 if "10" in pixel_format else 1)
    assert np.abs(shown - 50 - 2 * np.arange(60)).max() < 0.5


def moving(index, pixel_format):
    scale, dtype = (4, np.uint16) if "10" in pixel_format else (1, np.uint8)
    noise = np.random.default_rng(5).integers(-8, 9, SIZE[::-1])
    luma = (np.roll(noise - noise.mean(), 3 * index, axis=1) + 50 + 2 * index) * scale
    chroma = SIZE[1] // (2 if pixel_format == "yuv420p" else 1), SIZE[0] // 2
    return luma.round().astype(dtype), *(np.full(chroma, 128 * scale, dtype) for _ in range(2))


def test_a_container_that_the_library_makes_of_fewer_codecs_gives_way_to_another():
    suffixes = {codec: suffix_for(VideoSpec(codec, "yuv420p", *SIZE, Fraction(24)), ".m4v") for codec in _HELD}
    assert suffixes == {
        "prores": ".mov", "dnxhd": ".mov", "ffv1": ".mkv", "h264": ".m4v", "hevc": ".mov", "jpeg2000": ".mov"
    }  # fmt: skip
