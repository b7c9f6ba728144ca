"""What only the first coded picture of a video tells, besides its samples."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import av
import numpy as np
from av.sidedata.sidedata import Type as SideType

from postfix.source.container import BOUNDED, open_container
from postfix.source.turning import DisplayMatrix

_ENOUGH_PACKETS = 64
"""A decoder that has given no picture after so many packets will not tell more."""


def first_side_data(path: Path) -> tuple[dict[SideType, bytes], bytes, bytes]:
    """The side data of a file's first picture by type, its first packet, and the stream's header.

    Empty where the picture cannot be decoded: whoever decodes it in earnest says so.
    """
    packet_bytes = header = b""
    try:
        with open_container(path) as container:
            stream = next(s for s in container.streams.video if not int(s.disposition) & 0x400)
            header = stream.codec_context.extradata or b""
            stream.codec_context.options = BOUNDED
            for count, packet in enumerate(container.demux(stream)):
                packet_bytes = packet_bytes or bytes(packet)
                for frame in packet.decode():
                    side: Any = frame.side_data
                    return {data.type: bytes(data) for data in side}, packet_bytes, header
                if count >= _ENOUGH_PACKETS:
                    break
    except (av.FFmpegError, ValueError):
        pass
    return {}, packet_bytes, header


def display_matrix_of(data: bytes) -> DisplayMatrix | None:
    """FFmpeg's DISPLAYMATRIX side data; None where it changes nothing."""
    numbers = tuple(np.frombuffer(data[:36], np.int32).tolist())
    return None if numbers == (65536, 0, 0, 0, 65536, 0, 0, 0, 1 << 30) else numbers


__all__ = ["SideType", "display_matrix_of", "first_side_data"]
