"""Sound out: packets of the source, copied as they are in step with the pictures."""

from __future__ import annotations

from collections.abc import Iterator
from fractions import Fraction
from typing import Any

import av

from postfix.source.video import VideoSource

_NAMES_CHANNELS = (".mp4", ".m4v")
"""Containers that hold PCM only with a name for each channel."""


class AudioCopy:
    """The audio packets of a clip, copied byte for byte in step with the pictures.

    Parameters
    ----------
    source : VideoSource
    target : OutputContainer
        Every audio stream of the source gets one here.
    suffix : str
        Of the target's name: its container.
    rate : Fraction
        Frames per second.

    Raises
    ------
    ValueError, av.FFmpegError
        Where the container cannot hold a stream's codec.
    """

    def __init__(self, source: VideoSource, target: Any, suffix: str, rate: Fraction) -> None:
        self._start_s = source.start_s
        self._whole = source.count == source.file_count
        self._end_s = self._start_s + source.count / rate
        self._target = target
        self._input: Any = av.open(str(source.path), metadata_errors="replace")
        self._streams: dict[int, Any] = {}
        try:
            for stream in self._input.streams.audio:
                _check_layout(stream.codec_context, suffix)
                copy = target.add_stream_from_template(stream)
                for key, value in stream.metadata.items():
                    if key.upper() != "DURATION":
                        copy.metadata[key] = value
                copy.disposition = stream.disposition
                self._streams[stream.index] = copy
        except BaseException:
            self._input.close()
            raise
        self._packets: Iterator[Any] = self._input.demux(*self._input.streams.audio) if self._streams else iter(())
        self._waiting: Any = None

    def copy_until(self, time_s: Fraction | None) -> None:
        """Copy packets that start before a time, counted from the clip's first frame; None copies the rest."""
        while True:
            packet = self._waiting or next(self._packets, None)
            self._waiting = None
            if packet is None:
                self.close()
                return
            if packet.size == 0:
                continue
            starts_s = packet.pts * packet.time_base if packet.pts is not None else self._start_s
            if not self._whole and not self._start_s <= starts_s < self._end_s:
                continue
            if time_s is not None and starts_s - self._start_s > time_s:
                self._waiting = packet
                return
            shift = round(self._start_s / packet.time_base)
            if packet.pts is not None:
                packet.pts -= shift
            if packet.dts is not None:
                packet.dts -= shift
            packet.stream = self._streams[packet.stream.index]
            self._target.mux(packet)

    def close(self) -> None:
        """Let go of the source."""
        self._packets = iter(())
        self._input.close()


def _check_layout(context: Any, suffix: str) -> None:
    """Refuse what MP4 would refuse when the file is closed, after all the work: PCM whose channels have no names."""
    layout = context.layout
    nameless = layout.nb_channels > 1 and layout.name.endswith(" channels")
    if suffix.lower() in _NAMES_CHANNELS and context.name.startswith("pcm_") and nameless:
        raise ValueError(f"unknown channel layout: {layout.name} without names")
