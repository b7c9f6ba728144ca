"""Opening a video file: the one place, so that what comes from elsewhere opens nothing else and fits its bounds."""

from __future__ import annotations

from pathlib import Path

import av
from av.container import InputContainer

from postfix.errors import InputError
from postfix.source.bounds import MAX_PIXELS
from postfix.source.boxes import box_problem

CONTAINERS_IN_WORDS = "MOV, MP4, MKV, MXF, AVI or TS"

_FORMATS = "mov,matroska,mxf,avi,mpegts,yuv4mpegpipe,wav"
"""FFmpeg's readers that are used. Many others open further files, or addresses, that a file names: lists of files, of
streams, of numbered pictures. Sound alone is opened so that it can be called what it is."""

_OPTIONS = {
    "protocol_whitelist": "file",
    "format_whitelist": _FORMATS,
    # Pictures of a MOV may lie in other files that it names; they are never looked for.
    "enable_drefs": "0",
    "use_absolute_path": "0",
    "max_pixels": str(MAX_PIXELS),
}

BOUNDED = {"max_pixels": str(MAX_PIXELS)}
"""Settings of every decoder."""

STRICT = {**BOUNDED, "err_detect": "explode"}
"""Settings of a decoder whose pictures are used: without the last FFmpeg paints over damage with what it guesses."""

_MOST_TEXT = 16 << 20
"""Letters of all texts of a file."""


def open_container(path: Path) -> InputContainer:
    """Open a video file for reading; close it after use.

    Raises
    ------
    InputError
        Where it is no container that is read here, or announces more than it can hold.
    av.FFmpegError
        Where the library cannot read it.
    """
    problem = box_problem(path)
    if problem is not None:
        raise InputError(path, problem, "a whole video file", "copy or export the file again")
    try:
        # With the word before it nothing in a name is taken for an address or a pattern of names.
        container = av.open(f"file:{path.absolute()}", options=_OPTIONS, metadata_errors="replace")
    except av.ArgumentError as error:
        raise InputError(
            path,
            "a file that cannot be read as video (damaged, or of a kind that is not read)",
            f"a whole {CONTAINERS_IN_WORDS} file, or a folder of stills",
            "check that the file is complete and is a video",
        ) from error
    texts = [container.metadata, *(stream.metadata for stream in container.streams)]
    letters = sum(len(key) + len(text) for held in texts for key, text in held.items())
    if letters > _MOST_TEXT:
        container.close()
        raise InputError(
            path, f"texts of {letters:,} letters beside the pictures", f"at most {_MOST_TEXT:,}", "leave them out"
        )
    return container
