"""Video in: native planes, exact rate, a frame count that was counted."""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Iterator
from dataclasses import dataclass, replace
from fractions import Fraction
from pathlib import Path
from typing import Any

import av
from av.container import InputContainer

from postfix import effort
from postfix.errors import InputError, OtherFormatError, UsageError
from postfix.source.bounds import size_problem
from postfix.source.container import STRICT, open_container
from postfix.source.ffv1 import WRONG_CHECKSUM, fails_checksum
from postfix.source.light import ContentLight, MasteringDisplay, content_light_of, mastering_of
from postfix.source.lossless import is_lossless
from postfix.source.packets import COPY_AGAIN, PacketTimes, constant_rate, count_packets
from postfix.source.picture import PictureFormat, Planes
from postfix.source.pixel_formats import FULL_RANGE, SUPPORTED_TEXT, is_supported, planes_of, video_format
from postfix.source.side_data import SideType, display_matrix_of, first_side_data
from postfix.source.signalling import Signal, signal_in
from postfix.source.timecode import timecode_at, valid_timecode
from postfix.source.turning import UPRIGHT, DisplayMatrix, can_turn, coded_format, format_turned, turn_of, upright

_PROGRESSIVE = (0, 1)
"""FFmpeg's field orders that are no interlacing: unknown and progressive."""

_LUMA_ALONE = ("prores",)
"""Codecs whose frames stand alone and whose decoder leaves chroma out when asked; that saves two fifths of the time."""

_SLICES_ALONE = ("dnxhd", "h264", "hevc")
"""Codecs that are not decoded several frames at a time: with PyAV 18.1 the decoder then never ends on damage. Both
eyes are decoded side by side, which keeps two processors busy without it."""

_GREY_FLAG = 1 << 13
"""FFmpeg's AV_CODEC_FLAG_GRAY, which PyAV does not name."""


@dataclass(frozen=True)
class VideoTags:
    """What a file says about its video stream besides the picture itself. Colour codes are those of ITU-T H.273.

    Attributes
    ----------
    codec, profile : str
        FFmpeg's names; profile is empty where the codec has none.
    container : str
        FFmpeg's name of the container format.
    color_range, color_primaries, color_transfer, color_matrix : int
        FFmpeg's codes; 2 (0 for the range) means unspecified.
    pixel_aspect : Fraction or None
        Width over height of one pixel of the upright picture.
    metadata, stream_metadata : tuple of (str, str)
        Of the file and of the video stream.
    stereo : Signal or None
        Both eyes in this file, where the file says so.
    display_matrix : tuple of int or None
        How a player turns the coded picture: FFmpeg's nine numbers; None where it does not. Frames and their format
        are upright: already turned by it.
    mastering : MasteringDisplay or None
    content_light : ContentLight or None
    lossless : bool
        True where the stream's own headers say that its coding loses nothing.
    codec_tag : str
        The container's four letters for the codec.
    """

    codec: str
    profile: str
    container: str
    color_range: int
    color_primaries: int
    color_transfer: int
    color_matrix: int
    pixel_aspect: Fraction | None
    metadata: tuple[tuple[str, str], ...]
    stream_metadata: tuple[tuple[str, str], ...]
    stereo: Signal | None = None
    display_matrix: DisplayMatrix | None = None
    mastering: MasteringDisplay | None = None
    content_light: ContentLight | None = None
    lossless: bool = False
    codec_tag: str = ""


@dataclass(frozen=True)
class VideoSource:
    """One eye in a video file (see :class:`postfix.source.picture.EyeSource`).

    Attributes
    ----------
    tags : VideoTags
    first_frame : int
        The frame of the file, counted from 0, that is frame 0 of this source.
    file_count : int
        Frames in the whole file.
    """

    path: Path
    format: PictureFormat
    rate: Fraction
    count: int
    first_number: int
    timecode: str | None
    tags: VideoTags
    first_frame: int
    file_count: int
    _packets: PacketTimes

    def files(self) -> list[Path]:
        """The file itself."""
        return [self.path]

    @property
    def start_s(self) -> Fraction:
        """When frame 0 of this source is shown, on the clock that all streams of the file share, in seconds."""
        return self._packets.times[self.first_frame] * self._packets.time_base

    @property
    def packet_times(self) -> PacketTimes:
        """When each frame of the whole file is shown."""
        return self._packets

    @property
    def is_intra(self) -> bool:
        """True where every picture of the file stands alone."""
        return self._packets.is_intra

    def frames(self, first: int = 0, last: int | None = None, *, colour_every: int = 1) -> Iterator[Planes]:
        """Decode frames ``first`` to ``last`` (both included); raises InputError naming the frame that fails.

        Of frames whose number is no multiple of ``colour_every`` only luma is sure to be decoded.
        """
        end = self.count - 1 if last is None else last
        if not 0 <= first <= end < self.count:
            raise ValueError(f"frames {first} to {end} of {self.count}")
        wanted = range(self.first_frame + first, self.first_frame + end + 1)
        frame_number = wanted.start
        try:
            for frame_number, planes in self.decoded(wanted, colour_every):
                yield planes
                frame_number += 1
        except av.FFmpegError as error:
            raise InputError(
                self.path,
                not_decoded(error),
                "a whole picture",
                COPY_AGAIN,
                frame=frame_number,
            ) from error
        if frame_number != wanted.stop:
            raise InputError(
                self.path, "the end of the pictures", f"{self.file_count} frames", COPY_AGAIN, frame=frame_number
            )

    def decoded(self, wanted: range, colour_every: int) -> Iterator[tuple[int, Planes]]:
        """Decode a run of the file's frames, each checked to be the one its packet announced."""
        times = self._packets.times
        turn = turn_of(self.tags.display_matrix) or UPRIGHT
        coded = coded_format(self.format, turn)
        with open_container(self.path) as container:
            stream = video_stream(container, self.path)
            stream.thread_type = "SLICE" if self.tags.codec in _SLICES_ALONE else "AUTO"
            stream.codec_context.thread_count = effort.current().library_threads
            stream.codec_context.options = STRICT
            seek_to = self._packets.start_for(wanted.start)
            if seek_to is not None:
                container.seek(seek_to, stream=stream, backward=True, any_frame=False)
            number = None if seek_to is not None else 0
            for frame in self._decoded_packets(container, stream, colour_every, wanted.start, seek_to):
                if number is None or number < wanted.start:
                    if frame.pts is None or frame.pts < times[wanted.start]:
                        number = None if number is None else number + 1
                        continue
                    number = wanted.start
                self.check_frame(frame, number, coded)
                yield number, upright(planes_of(frame, coded), turn)
                number += 1
                if number >= wanted.stop:
                    return

    def _decoded_packets(
        self, container: InputContainer, stream: Any, colour_every: int, first: int, sought: int | None
    ) -> Iterator[av.VideoFrame]:
        context, may_skip = stream.codec_context, colour_every > 1 and self.tags.codec in _LUMA_ALONE
        flags = context.flags
        key, is_near = self._packets.key_before(first), False
        for packet in container.demux(stream):
            if sought is not None and packet.pts is not None and packet.pts < sought:
                continue  # shown before the key frame sought though coded after it: it rests on what was left out
            is_near = is_near or key is None or packet.pts in (key, None)
            if may_skip and packet.pts is not None:
                number = bisect_left(self._packets.times, packet.pts) - self.first_frame
                context.flags = flags if number % colour_every == 0 else flags | _GREY_FLAG
            try:
                if fails_checksum(context, packet):
                    number = bisect_left(self._packets.times, packet.pts or 0)
                    raise InputError(self.path, WRONG_CHECKSUM, "undamaged pictures", COPY_AGAIN, frame=number)
                pictures = packet.decode()
            except (InputError, av.FFmpegError):
                # What lies before the nearest key frame is no frame that is wanted, and none of them rests on it.
                if is_near:
                    raise
                continue
            yield from pictures

    def check_frame(self, frame: av.VideoFrame, number: int, fmt: PictureFormat) -> None:
        """InputError where a decoded picture is not what its packet announced; ``fmt`` is that of coded pictures."""
        found = (frame.width, frame.height, frame.format.name)
        if found != (fmt.width, fmt.height, fmt.pixel_format):
            raise OtherFormatError(
                self.path,
                f"a picture of {found[0]}x{found[1]} {found[2]}",
                f"{fmt.width}x{fmt.height} {fmt.pixel_format} like the others",
                "cut the file where its format changes",
                frame=number,
            )
        if frame.interlaced_frame:
            raise _interlaced(self.path, number)
        expected = self._packets.times[number] if number < self.file_count else None
        if frame.is_corrupt or (frame.pts is not None and frame.pts != expected):
            found_text = "a damaged picture" if frame.is_corrupt else "a picture missing or out of order"
            raise InputError(self.path, found_text, "every frame whole", COPY_AGAIN, frame=number)


def open_video(path: Path, rate: Fraction | None, frames: tuple[int, int] | None) -> VideoSource:
    """Open a video file and find out what it really holds.

    Parameters
    ----------
    path : Path
    rate : Fraction or None
        What the person gave; must agree with the file's own.
    frames : (int, int) or None
        First and last frame to use, counted from 0.

    Raises
    ------
    InputError
        Where the file is no whole, progressive video with a constant rate and a pixel format that can be used.
    UsageError
        Where ``rate`` disagrees with the file.
    """
    if path.stat().st_size == 0:
        raise InputError(path, "an empty file", "a video", COPY_AGAIN)
    try:
        with open_container(path) as container:
            stream = video_stream(container, path)
            tags = _tags(container, stream)
            coded = _format(path, stream, tags)
            own_rate = stream.average_rate or stream.guessed_rate
            packets = count_packets(path, container, stream)
        tags = _with_side_data(path, tags)
        fmt = _upright_format(path, coded, tags)
    except av.FFmpegError as error:
        raise InputError(
            path,
            f"a file that cannot be read as video ({error.strerror})",
            "a whole video file, or a folder of stills",
            "check that the file is complete and is a video",
        ) from error
    found_rate = constant_rate(path, packets, Fraction(own_rate) if own_rate else None)
    if rate is not None and rate != found_rate:
        raise UsageError(f"--rate {rate}", f"{found_rate} in {path}", "the file's own rate", "leave --rate out")
    file_count = len(packets.times)
    first, last = _range_in(path, file_count, frames)
    metadata = {key.lower(): value for key, value in (*tags.metadata, *tags.stream_metadata)}
    timecode = valid_timecode(metadata.get("timecode"), found_rate)
    if timecode is not None and first:
        timecode = timecode_at(timecode, first, found_rate)
    return VideoSource(path, fmt, found_rate, last - first + 1, 0, timecode, tags, first, file_count, packets)


def not_decoded(error: av.FFmpegError) -> str:
    """What was found where the decoder gave up on a frame."""
    return f"a frame that cannot be decoded ({error.strerror})"


def video_stream(container: InputContainer, path: Path) -> Any:
    """The one stream of pictures of a file."""
    pictures = [s for s in container.streams.video if not int(s.disposition) & 0x400]  # 0x400: a cover picture
    if not pictures:
        raise InputError(
            path, "no video stream", "a file with pictures", "give the file that holds this eye's pictures"
        )
    if len(pictures) > 1:
        raise InputError(
            path, f"{len(pictures)} video streams", "one eye's pictures", "export each eye to a file of its own"
        )
    if pictures[0].codec_context is None:
        raise InputError(
            path, "pictures in a codec that is not known here", "a codec that can be decoded", "export the clip again"
        )
    return pictures[0]


def _tags(container: InputContainer, stream: Any) -> VideoTags:
    context = stream.codec_context
    aspect = stream.sample_aspect_ratio
    return VideoTags(
        codec=context.name,
        profile=context.profile or "",
        container=container.format.name,
        codec_tag=context.codec_tag.replace("\0", ""),
        color_range=int(context.color_range),
        color_primaries=int(context.color_primaries),
        color_transfer=int(context.color_trc),
        color_matrix=int(context.colorspace),
        pixel_aspect=Fraction(aspect) if aspect else None,
        metadata=tuple(sorted(container.metadata.items())),
        stream_metadata=tuple(sorted((_reel_name(container) | dict(stream.metadata)).items())),
    )


def _reel_name(container: InputContainer) -> dict[str, str]:
    """The name of the reel, which MOV keeps with the timecode in a track of its own."""
    names = [s.metadata["reel_name"] for s in container.streams.data if "reel_name" in s.metadata]
    return {"reel_name": names[0]} if names else {}


def _format(path: Path, stream: Any, tags: VideoTags) -> PictureFormat:
    context = stream.codec_context
    pixel_format = context.pix_fmt
    if pixel_format is None or context.width <= 0:
        raise InputError(path, "a video stream without pictures", "a whole video", COPY_AGAIN)
    problem = size_problem(context.width, context.height)
    if problem is not None:
        raise InputError(path, problem, "a picture within these bounds", COPY_AGAIN)
    if not is_supported(pixel_format):
        raise InputError(
            path, f"pixel format {pixel_format}", SUPPORTED_TEXT, "export the clip in one of these formats"
        )
    if context.field_order not in _PROGRESSIVE:
        raise _interlaced(path, None)
    full_range = FULL_RANGE.get(tags.color_range)
    return video_format(pixel_format, context.width, context.height, full_range, tags.color_matrix)


def _with_side_data(path: Path, tags: VideoTags) -> VideoTags:
    """The tags, with what only the first coded picture tells; damage there is left to be found when it is decoded."""
    side, packet, extradata = first_side_data(path)
    found = signal_in(dict(tags.stream_metadata), side.get(SideType.STEREO3D))
    if isinstance(found, str):
        raise InputError(
            path,
            "both eyes mixed in a checkerboard, in columns or by colour, as its signalling says",
            "one eye, or both side by side, one above the other, in turn or row by row",
            "unpack it into a file for each eye first",
        )
    matrix, mastering = side.get(SideType.DISPLAYMATRIX), side.get(SideType.MASTERING_DISPLAY_METADATA)
    light = side.get(SideType.CONTENT_LIGHT_LEVEL)
    tags = replace(
        tags,
        stereo=found,
        display_matrix=display_matrix_of(matrix) if matrix else None,
        mastering=mastering_of(mastering) if mastering else None,
        content_light=content_light_of(light) if light else None,
        lossless=is_lossless(tags.codec, extradata, packet),
    )
    turn = turn_of(tags.display_matrix)
    if turn is not None and turn.swaps and tags.pixel_aspect:
        tags = replace(tags, pixel_aspect=1 / tags.pixel_aspect)
    return tags


def _upright_format(path: Path, coded: PictureFormat, tags: VideoTags) -> PictureFormat:
    turn = turn_of(tags.display_matrix)
    if turn is None or not can_turn(coded, turn):
        raise InputError(
            path,
            f"pictures of {coded.width}x{coded.height} {coded.pixel_format} that a player turns or mirrors by "
            f"{tags.display_matrix}",
            "whole quarter turns, and an even size where chroma is subsampled",
            "export the clip upright",
        )
    return format_turned(coded, turn)


def _range_in(path: Path, count: int, frames: tuple[int, int] | None) -> tuple[int, int]:
    if frames is None:
        return 0, count - 1
    first, last = frames
    if first < 0 or last >= count:
        raise InputError(
            path,
            f"frames 0 to {count - 1}",
            f"frames {first} to {last} as --frames asks",
            "give a range inside the clip",
        )
    return first, last


def _interlaced(path: Path, frame: int | None) -> InputError:
    return OtherFormatError(
        path,
        "interlaced pictures",
        "progressive frames: moving a picture by whole pixels would tear its two fields apart in time",
        "deinterlace the clip first",
        frame=frame,
    )
