"""What goes along with the pictures: sound and subtitles copied packet by packet, chapters, and what is left out."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path
from typing import Any

from postfix.deliver.containers import CLOCKED
from postfix.source.container import open_container
from postfix.source.video import VideoSource

_NAMES_CHANNELS = (".mp4", ".m4v")
"""Containers that hold PCM only with a name for each channel."""


_SUBTITLES = {".mkv": ("srt", "subrip", "ssa", "ass", "webvtt"), **dict.fromkeys(CLOCKED, ("mov_text",))}
"""Subtitles (FFmpeg's names) whose packets each container holds as they are, seen with PyAV 18.1."""

_CHAPTERED = (*CLOCKED, ".mkv")
"""Containers with a place for chapters: Matroska to the nanosecond, the others to the millisecond."""

_SUBTITLE_WAIT_US = "3000000"
"""How long the muxer keeps packets while it waits for the next subtitle; its own 10 s are too much memory."""

_COVER = 0x400
"""FFmpeg's AV_DISPOSITION_ATTACHED_PIC."""


@dataclass(frozen=True)
class Extras:
    """What a file holds besides pictures, sound and timecode.

    Attributes
    ----------
    chapters, covers, attachments : int
        How many.
    subtitles, data : tuple of str
        FFmpeg's names of the streams' codecs; ``unknown`` where it has none.
    """

    chapters: int
    subtitles: tuple[str, ...]
    data: tuple[str, ...]
    covers: int
    attachments: int


def extras_of(path: Path) -> Extras:
    """What a file holds besides pictures, sound and timecode."""
    with open_container(path) as container:
        chapters = len(container.chapters())
        streams = container.streams
        # MOV keeps its timecode in a track, and its chapters in a track of text besides.
        own = ("bin_data",) if chapters and container.format.name.startswith("mov") else ()
        return Extras(
            chapters=chapters,
            subtitles=tuple(_codec_name(stream) for stream in streams.subtitles),
            data=tuple(
                _codec_name(stream)
                for stream in streams.data
                if not {key.lower() for key in stream.metadata} & {"timecode", "reel_name"} and stream.name not in own
            ),
            covers=sum(1 for stream in streams.video if int(stream.disposition) & _COVER),
            attachments=sum(1 for stream in streams if stream.type == "attachment"),
        )


def _codec_name(stream: Any) -> str:
    return str(stream.name or "unknown")


def left_out(source: VideoSource, suffix: str) -> tuple[str, ...]:
    """What a file holds beside the pictures that does not come along, each as a part of a sentence."""
    extras, suffix = extras_of(source.path), suffix.lower()
    found = []
    if extras.chapters and suffix not in _CHAPTERED:
        found.append(f"its chapters ({extras.chapters}) have no place in a '{suffix}' file")
    lost = [name for name in extras.subtitles if name not in _SUBTITLES.get(suffix, ())]
    if lost:
        found.append(f"its subtitles ({', '.join(lost)}) are left out: a '{suffix}' file is not written with them")
    if extras.data:
        found.append(f"its data streams ({', '.join(extras.data)}) are left out")
    if extras.covers:
        found.append("its cover picture is left out")
    if extras.attachments:
        found.append(f"its attached files ({extras.attachments}) are left out")
    return tuple(found)


def _carry_chapters(chapters: Iterable[Any], source: VideoSource, target: Any) -> None:
    """Give a container the chapters of a clip, counted from its first frame."""
    length_s, kept = source.count / source.rate, []
    for chapter in chapters:
        unit_s = chapter["time_base"]
        if unit_s is None:
            continue
        start_s, end_s = chapter["start"] * unit_s - source.start_s, chapter["end"] * unit_s - source.start_s
        if source.count < source.file_count:
            if end_s <= 0 or start_s >= length_s:
                continue
            end_s = min(end_s, length_s)
        start_ns, end_ns = (round(max(Fraction(0), time_s) * 1_000_000_000) for time_s in (start_s, end_s))
        kept.append({**chapter, "start": start_ns, "end": end_ns, "time_base": Fraction(1, 1_000_000_000)})
    if kept:
        target.set_chapters(kept)


def sound_words(source: VideoSource) -> str:
    """Codec and channels of each stream of sound, to be added to a sentence; empty without any."""
    with open_container(source.path) as container:
        known = [stream.codec_context for stream in container.streams.audio if stream.codec_context is not None]
        told = [f"{context.name} {context.layout.name}" for context in known]
    return f" and sound of {', '.join(told)}" if told else ""


def muxer_options(source: VideoSource) -> dict[str, str]:
    """Settings of a container that takes a clip's sound and subtitles."""
    return {"max_interleave_delta": _SUBTITLE_WAIT_US} if extras_of(source.path).subtitles else {}


class PacketCopy:
    """What goes along with a clip's pictures: packets of sound and subtitles, copied byte for byte in step with them,
    and chapters, where the target has a place for them.

    Parameters
    ----------
    source : VideoSource
    target : OutputContainer
        Every audio stream of the source gets one here, and every stream of subtitles that such a container holds.
    suffix : str
        Of the target's name: its container.

    Raises
    ------
    ValueError, av.FFmpegError
        Where the container cannot hold a stream's codec.
    """

    def __init__(self, source: VideoSource, target: Any, suffix: str) -> None:
        self._start_s = source.start_s
        self._whole = source.count == source.file_count
        self._end_s = self._start_s + source.count / source.rate
        self._target = target
        self._input: Any = open_container(source.path)
        self._streams: dict[int, Any] = {}
        try:
            held = _SUBTITLES.get(suffix.lower(), ())
            subtitles = [stream for stream in self._input.streams.subtitles if _codec_name(stream) in held]
            copied = [*self._input.streams.audio, *subtitles]
            for stream in copied:
                if stream.type == "audio":
                    _check_layout(stream.codec_context, suffix)
                copy = target.add_stream_from_template(stream)
                for key, value in stream.metadata.items():
                    if key.upper() != "DURATION":
                        copy.metadata[key] = value
                copy.disposition = stream.disposition
                self._streams[stream.index] = copy
            if suffix.lower() in _CHAPTERED:
                _carry_chapters(self._input.chapters(), source, target)
        except BaseException:
            self._input.close()
            raise
        self._packets: Iterator[Any] = self._input.demux(*copied) if copied else iter(())
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
