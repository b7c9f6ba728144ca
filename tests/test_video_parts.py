"""Videos in parts: joined, they are what one encoder would have made of the whole, at every length."""

from fractions import Fraction

import av
import numpy as np
import pytest
from eyes_out import video_writer

from postfix.deliver.codecs import VideoSpec
from postfix.source.opening import open_eye

SIZE = (64, 64)
RATE = Fraction(24)


def picture(index):
    """A frame that tells its own number by how bright it is, in 8 bits of 4:2:0."""
    luma = np.full((SIZE[1], SIZE[0]), 40 + index, np.uint8)
    return luma, *(np.full((SIZE[1] // 2, SIZE[0] // 2), 128, np.uint8) for _ in range(2))


@pytest.mark.parametrize("suffix", [".mov", ".mp4", ".mkv"])
@pytest.mark.parametrize("codec", ["h264", "hevc"])
@pytest.mark.parametrize("count", [1, 2, 3, 47, 48, 49, 50, 51, 96, 97, 98])
def test_no_frame_is_lost_doubled_or_shown_at_another_time_where_parts_meet(tmp_path, codec, suffix, count):
    path = tmp_path / f"gust{suffix}"
    with video_writer(path, VideoSpec(codec, "yuv420p", *SIZE, RATE), count) as writer:
        for index in range(count):
            writer.write(index, picture(index))
    eye = open_eye(path)
    assert (eye.count, eye.rate) == (count, RATE)
    shown = [int(np.median(planes[0])) for planes in eye.frames()]
    assert np.abs(np.subtract(shown, 40 + np.arange(count))).max() <= 1
    with av.open(str(path)) as container:
        stream = container.streams.video[0]
        packets = [packet for packet in container.demux(stream) if packet.size]
        step = 1 / RATE / stream.time_base
        decoded = [packet.dts for packet in packets]
        keys = [packet.pts for packet in packets if packet.is_keyframe]
    if suffix != ".mkv":  # Matroska keeps no time of decoding
        assert set(np.diff(decoded).tolist()) <= {int(step)}
    assert len(keys) == -(-count // 48)
