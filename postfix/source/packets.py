"""Frames of a video counted by its packets, and the rate at which they are shown."""

from __future__ import annotations

import re
from bisect import bisect_left, bisect_right
from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path
from typing import Any

import av
from av.container import InputContainer

from postfix.errors import InputError
from postfix.outside import MAX_FRAMES
from postfix.source.rate import STANDARD_RATES

COPY_AGAIN = "copy or export the file again"

_DURATION_TAG = re.compile(r"(\d+):(\d\d):(\d\d(?:\.\d+)?)")
"""Matroska's tag for the time at which a stream ends."""


@dataclass(frozen=True)
class PacketTimes:
    """The frames of a video stream as its packets tell them, in the order they are shown."""

    times: tuple[int, ...]
    key_times: tuple[int, ...]
    time_base: Fraction

    @property
    def is_intra(self) -> bool:
        """True where every picture of the file stands alone."""
        return 1 < len(self.times) == len(self.key_times)

    def key_before(self, number: int) -> int | None:
        """When the last key frame that is shown no later than a frame is shown; None where there is none."""
        place = bisect_right(self.key_times, self.times[number])
        return self.key_times[place - 1] if place else None

    def start_for(self, number: int) -> int | None:
        """When the frame at which to start is shown, so that a frame decodes right; None for the start of the file.

        One key frame more than needed is gone back, because pictures shown before an open group's key frame need the
        group before it.
        """
        place = bisect_right(self.key_times, self.times[number]) - (1 if self.is_intra else 2)
        return self.key_times[place] if place > 0 else None

    def group_of(self, number: int) -> range:
        """The frames that are shown from one key frame on until the next, of which a frame is one."""
        place = bisect_right(self.key_times, self.times[number])
        start = bisect_left(self.times, self.key_times[place - 1]) if place else 0
        stop = bisect_left(self.times, self.key_times[place]) if place < len(self.key_times) else len(self.times)
        return range(start, stop)


def count_packets(path: Path, container: InputContainer, stream: Any) -> PacketTimes:
    """Count the frames by reading every packet, and hold the count against what the container announces."""
    times: list[int] = []
    keys: list[int] = []
    all_packets = 0
    start_s = end_s = Fraction(0)
    for packet in container.demux():
        if packet.size == 0:
            continue
        if packet.pts is not None:
            start_s = min(start_s, packet.pts * packet.time_base)
            end_s = max(end_s, (packet.pts + (packet.duration or 0)) * packet.time_base)
        if packet.stream.index != stream.index:
            continue
        all_packets += 1
        if packet.is_discard:
            continue
        if packet.pts is None:
            raise InputError(
                path, "pictures without times", "a container that says when each is shown", "wrap it as MOV or MKV"
            )
        times.append(packet.pts)
        if len(times) > MAX_FRAMES:
            raise InputError(path, f"more than {MAX_FRAMES:,} frames", "at most so many", "cut it into reels")
        if packet.is_keyframe:
            keys.append(packet.pts)
    if not times:
        raise InputError(path, "no frames", "a video with pictures", COPY_AGAIN)
    time_base = Fraction(stream.time_base)
    announced = stream.frames
    if announced and all_packets < announced:
        raise InputError(path, f"a file cut short after {all_packets} frames", f"{announced} frames", COPY_AGAIN)
    if not announced:
        # Matroska counts the time before the first picture, in which a sound coder warms up, as part of the whole.
        _check_announced_end(path, container, stream, times, end_s - start_s)
    return PacketTimes(tuple(sorted(times)), tuple(sorted(keys)), time_base)


def _check_announced_end(path: Path, container: InputContainer, stream: Any, times: list[int], end_s: Fraction) -> None:
    """Hold the last moment that was read against the one announced, where a container does not count its frames."""
    if len(times) > 1:
        step_s = (max(times) - min(times)) * stream.time_base / (len(times) - 1)
    else:
        step_s = 1 / Fraction(stream.average_rate or 1)
    allowed_s = max(step_s / 2, stream.time_base)
    ends = []
    if container.duration is not None and container.duration > 0:
        ends.append((end_s, Fraction(container.duration, av.time_base)))
    of_stream = _DURATION_TAG.fullmatch(stream.metadata.get("DURATION", ""))
    if of_stream is not None:
        hours, minutes, seconds = of_stream.groups()
        announced_s = 3600 * int(hours) + 60 * int(minutes) + Fraction(seconds)
        ends.append((max(times) * stream.time_base + step_s, announced_s))
    for found_s, announced_s in ends:
        if found_s < announced_s - allowed_s:
            raise InputError(
                path,
                f"a file cut short after {len(times)} frames, at {float(found_s):.3f} s",
                f"{float(announced_s):.3f} s as its header says",
                COPY_AGAIN,
            )


def constant_rate(path: Path, packets: PacketTimes, own: Fraction | None) -> Fraction:
    """The rate at which every frame falls where the file says, to within the file's own clock tick."""
    times, tick_s = packets.times, packets.time_base
    if own is None or own <= 0:
        raise InputError(path, "no frame rate", "a constant frame rate", "export the clip with a constant frame rate")
    near = [rate for rate in STANDARD_RATES if abs(rate - own) < own / 2000]
    near.sort(key=lambda rate: abs(rate - own))
    best = 0
    for rate in [*near, own]:
        step = 1 / (rate * tick_s)
        uneven = next((i for i, time in enumerate(times) if abs(time - times[0] - i * step) > 1), None)
        if uneven is None:
            return rate
        best = max(best, uneven)
    raise InputError(
        path,
        f"frames that are not evenly spaced in time at {own} frames/s",
        "a constant frame rate with no frame left out",
        "export the clip with a constant frame rate",
        frame=best,
    )
