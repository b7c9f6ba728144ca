"""Video in, going on after frames that cannot be decoded.

Whether a frame can be decoded must not depend on where decoding began, or a clip worked through in pieces would show
other pictures than one that is not. So wherever plain decoding fails, the frames between two key frames, a *group*, are
decoded again from a fixed place, the key frame before theirs. What is coded after a damaged frame of the group rests on
it and counts as damaged; the next key frame begins anew.
"""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Generator, Iterator
from contextlib import closing, suppress
from itertools import chain, dropwhile
from typing import Any

import av

from postfix import effort
from postfix.errors import InputError, OtherFormatError
from postfix.source.container import STRICT, open_container
from postfix.source.ffv1 import WRONG_CHECKSUM, fails_checksum
from postfix.source.picture import Planes, Unread
from postfix.source.pixel_formats import planes_of
from postfix.source.turning import UPRIGHT, coded_format, turn_of, upright
from postfix.source.video import VideoSource, not_decoded, video_stream

RESTS_ON_DAMAGE = "a frame that rests on one that cannot be decoded"
MISSING = "a picture missing or out of order"

Numbered = tuple[int, Planes | Unread]


def tried_video(source: VideoSource, first: int, last: int, *, colour_every: int = 1) -> Iterator[Planes | Unread]:
    """Frames ``first`` to ``last`` of a video, with the reason in the place of each that cannot be decoded.

    Raises
    ------
    OtherFormatError
        Where a picture is of another size or format, or interlaced.
    """
    at, stop = source.first_frame + first, source.first_frame + last + 1
    while at < stop:
        plain = source.decoded(range(at, stop), colour_every)
        try:
            for number, planes in plain:
                yield planes
                at = number + 1
        except OtherFormatError:
            raise
        except (av.FFmpegError, InputError):
            pass  # looked into below; where it ended early, too
        is_whole = False
        while at < stop and not is_whole:
            is_whole = True
            group = source.packet_times.group_of(at)
            for number, found in _Group(source, group).frames():
                is_whole = is_whole and not isinstance(found, Unread)
                if at <= number < stop:
                    yield found
                    at = number + 1


class _Group:
    """The frames between two key frames, counted in the file, decoded one packet after the other."""

    def __init__(self, source: VideoSource, group: range) -> None:
        self._source, self._group = source, group
        # When the frame of the first packet to decode is shown; None for the first packet of the file.
        self._start = source.packet_times.start_for(group.start)
        self._own = source.packet_times.times[group.start]
        self._reasons: dict[int, str] = {}  # by the time at which the frame is shown
        self._whole: set[int] = set()
        self._rest = MISSING

    def frames(self) -> Iterator[Numbered]:
        """Every frame of the group, or why there is none."""
        source, times = self._source, self._source.packet_times.times
        turn = turn_of(source.tags.display_matrix) or UPRIGHT
        coded = coded_format(source.format, turn)
        awaited = self._group.start
        with closing(self._pictures()) as pictures:
            for frame in pictures:
                number = bisect_left(times, frame.pts) if frame.pts in self._whole else -1
                if number not in self._group or number < awaited:
                    continue
                try:
                    source.check_frame(frame, number, coded)
                except OtherFormatError:
                    raise
                except InputError as error:
                    self._reasons[frame.pts], self._rest = error.found, RESTS_ON_DAMAGE
                    break
                yield from self._unread(range(awaited, number))
                yield number, upright(planes_of(frame, coded), turn)
                awaited = number + 1
        yield from self._unread(range(awaited, self._group.stop))

    def _unread(self, numbers: range) -> Iterator[Numbered]:
        times = self._source.packet_times.times
        return ((number, Unread(self._reasons.get(times[number], self._rest))) for number in numbers)

    def _pictures(self) -> Generator[Any, None, None]:
        """What the decoder gives until damage in the group, or all of it is decoded."""
        try:
            # A container that does not find its way to the packet is read from its start.
            if not (yield from self._from(self._start)) and self._start is not None:
                yield from self._from(None)
        except av.FFmpegError as error:
            self._rest = not_decoded(error)

    def _from(self, seek_to: int | None) -> Generator[Any, None, bool]:
        """The same from a place in the file; False where the first packet to decode does not lie behind it."""
        source = self._source
        with open_container(source.path) as container:
            stream = video_stream(container, source.path)
            stream.thread_type = "SLICE"  # so that what a packet brings about is told before the next is looked at
            stream.codec_context.thread_count = effort.current().library_threads
            stream.codec_context.options = STRICT
            if seek_to is not None:
                container.seek(seek_to, stream=stream, backward=True, any_frame=False)
            packets: Iterator[Any] = (packet for packet in container.demux(stream) if packet.size)
            if self._start is not None:
                packets = dropwhile(lambda packet: packet.pts != self._start, packets)
            first = next(packets, None)
            if first is None:
                return False
            yield from self._fed(chain([first], packets), stream.codec_context)
        return True

    def _fed(self, packets: Iterator[Any], context: Any) -> Iterator[Any]:
        times, own = self._source.packet_times.times, self._own
        awaited = {times[number] for number in self._group}
        within = self._source.packet_times.key_before(self._group.start) is None
        for packet in packets:
            within = within or packet.pts == own
            if self._start is not None and packet.pts < self._start:
                continue  # shown before that key frame though coded after it: it rests on what was left out
            reason: str | None = WRONG_CHECKSUM if fails_checksum(context, packet) else None
            if reason is None:
                try:
                    pictures = context.decode(packet)
                    self._whole.add(packet.pts)
                    yield from pictures
                except av.FFmpegError as error:
                    reason = not_decoded(error)
            # What lies before the group's key frame is none of its frames, and none of them rests on it.
            if reason is not None and within and packet.pts >= own:
                self._reasons[packet.pts], self._rest = reason, RESTS_ON_DAMAGE
                break
            awaited.discard(packet.pts)
            if not awaited:
                break
        with suppress(av.FFmpegError):
            yield from context.decode(None)
