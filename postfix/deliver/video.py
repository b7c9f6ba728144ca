"""Whole videos out: what is refused before any work, and clips written from nothing."""

from __future__ import annotations

from collections.abc import Iterable
from pathlib import Path

import av

from postfix.deliver.codecs import spec_of
from postfix.deliver.picture_coder import PictureCoder, decoding_ahead
from postfix.deliver.spec import UNSPECIFIED, VideoSpec
from postfix.deliver.video_file import VideoFile
from postfix.errors import OutputError
from postfix.source.picture import Planes
from postfix.source.video import VideoSource


class VideoEncoder:
    """One video file being written from nothing, frame by frame, on the thread that calls it.

    Parameters
    ----------
    path : Path
        The file; its suffix chooses the container. An existing file is overwritten: stage it first.
    spec : VideoSpec

    Raises
    ------
    InputError
        Where this cannot be encoded; before anything is written.
    """

    def __init__(self, path: Path, spec: VideoSpec) -> None:
        self._file = VideoFile(path, spec)
        self._coder = PictureCoder(self._file)
        self.written = 0
        """Frames so far."""
        self._put = False

    def encode(self, planes: Planes) -> None:
        """Encode the next frame; ``planes`` in the order of the source's own planes."""
        packets = self._coder.encode(planes)
        self._put |= bool(packets)
        self._file.put(packets, self.written)
        self.written += 1

    def finish(self) -> None:
        """Encode what waits inside the encoder and close the file."""
        rest = self._coder.rest()
        if not self._put:
            # x265 gives pictures of a clip shorter than it looks ahead times to be decoded at that it never set.
            ahead = decoding_ahead([packet.pts for packet in rest])
            for place, packet in enumerate(rest):
                packet.dts = place - ahead
        self._file.put(rest, self.written)
        self._file.finish()

    def abandon(self) -> None:
        """Close without caring for what was written, after an error."""
        self._file.abandon()


def check_writer(spec: VideoSpec, name: str, source: VideoSource) -> None:
    """Refuse, before any work, all that a writer of a source's clip would refuse when it opens; nothing is written.

    Parameters
    ----------
    spec : VideoSpec
    name : str
        Of the file to be written; its suffix is the container.
    source : VideoSource
        Whose sound goes along; it is named in errors.

    Raises
    ------
    InputError
        Where codec, size, container and sound do not go together; names the choice to make.
    """
    VideoFile(Path(name), spec, source, in_memory=True).abandon()


def write_video(path: Path, spec: VideoSpec, frames: Iterable[Planes]) -> int:
    """Write a clip from nothing; returns how many frames were written.

    Parameters
    ----------
    path : Path
        The file; its suffix chooses the container. An existing file is overwritten: stage it first.
    spec : VideoSpec
    frames : iterable of Planes
        In the order Y, U, V (or R, G, B), of the pixel format's own sample type and size.
    """
    encoder = VideoEncoder(path, spec)
    try:
        for planes in frames:
            encoder.encode(planes)
        encoder.finish()
    except BaseException as error:
        encoder.abandon()
        if isinstance(error, (av.FFmpegError, OSError)):
            raise OutputError(
                path,
                f"a frame that could not be written ({error})",
                "room on the disk",
                "check the disk and run again",
                frame=encoder.written,
            ) from error
        raise
    return encoder.written


__all__ = ["UNSPECIFIED", "VideoSpec", "check_writer", "spec_of", "write_video"]
