"""Clips shorter than an encoder looks ahead."""

from fractions import Fraction

import av
import numpy as np
import pytest

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
