"""One eye out, whatever it is made of: written like its source, reopened and counted."""

from __future__ import annotations

import logging
import shutil
from pathlib import Path
from types import TracebackType
from typing import Protocol

from postfix.deliver.codecs import encoder_for, lost_in_frames, spec_of
from postfix.deliver.stills import StillsWriter
from postfix.deliver.video import VideoWriter
from postfix.errors import InputError, OutputError
from postfix.source.opening import open_eye
from postfix.source.picture import EyeSource, Planes
from postfix.source.stills import StillsSource
from postfix.source.video import VideoSource

log = logging.getLogger("postfix")


class EyeWriter(Protocol):
    """One eye being written; a context manager that closes, or abandons after an exception."""

    def __enter__(self) -> EyeWriter: ...

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None: ...

    def write(self, index: int, planes: Planes, unchanged: bool = False) -> None:
        """Hand over frame ``index``, counted from 0; the planes must not be changed afterwards."""
        ...

    def close(self) -> None:
        """Wait until everything is written; raises OutputError where something was not."""
        ...


def check_writable(source: EyeSource) -> None:
    """Refuse, before the first frame, a source whose codec cannot be written (InputError naming those that can)."""
    if isinstance(source, VideoSource):
        encoder_for(spec_of(source), source.path)


def warn_of_lost_tags(source: EyeSource) -> None:
    """Log what the written frames will not say of their colours, though the file's own tags will."""
    if not isinstance(source, VideoSource):
        return
    lost = lost_in_frames(spec_of(source))
    if lost:
        log.info(
            "%s: its colour codes %s have no place in the frames of %s; only the container will carry them",
            source.path,
            ", ".join(f"{name} {code}" for name, code in lost),
            source.tags.codec,
        )


def _colour_words(source: EyeSource) -> tuple[str, ...]:
    """Colour tags as the container carries them."""
    assert isinstance(source, VideoSource)
    tags = source.tags
    return (
        f"colour primaries {tags.color_primaries}",
        f"transfer {tags.color_transfer}",
        f"matrix {tags.color_matrix}",
    )


def writer_like(source: EyeSource, folder: Path) -> EyeWriter:
    """A writer that makes files named and encoded like the source's.

    Parameters
    ----------
    source : EyeSource
    folder : Path
        Where to write; exists, and is itself unfinished (see :func:`postfix.deliver.staging.staged`).

    Raises
    ------
    InputError
        Where the source's codec cannot be written; nothing is left behind.
    """
    if isinstance(source, VideoSource):
        return VideoWriter(folder / source.path.name, spec_of(source), source.count, audio_from=source)
    if isinstance(source, StillsSource):
        return StillsWriter(source, folder)
    raise TypeError(f"no writer for {type(source).__name__}")


def can_copy(source: EyeSource) -> bool:
    """True where the files hold just the frames of the source, so that they can be copied as they are."""
    return not isinstance(source, VideoSource) or source.count == source.file_count


def copy_eye(source: EyeSource, folder: Path) -> None:
    """Copy the source's files byte for byte into a folder, for a clip in which nothing changes.

    Raises
    ------
    ValueError
        Where only a part of a video is used: its file would hold too much (see :func:`can_copy`).
    OutputError
        Where a file cannot be copied.
    """
    if not can_copy(source):
        raise ValueError(f"{source.path} is used in part")
    for file in source.files():
        try:
            shutil.copyfile(file, folder / file.name)
        except OSError as error:
            raise OutputError(
                folder / file.name,
                f"no way to copy {file} there ({error.strerror or error})",
                "room on the disk",
                "check the disk and run again",
            ) from error


def reopen_and_count(folder: Path, like: EyeSource) -> EyeSource:
    """Open what was written for an eye and hold it against its source.

    Returns
    -------
    EyeSource
        The written eye.

    Raises
    ------
    OutputError
        Where it cannot be read, or differs in count, size, pixel format, code range, rate or colour tags.
    """
    place = folder if isinstance(like, StillsSource) else folder / like.path.name
    try:
        written = open_eye(place, rate=like.rate if isinstance(like, StillsSource) else None)
    except InputError as error:
        raise OutputError(
            place, f"a written file that cannot be used ({error.found})", error.expected, "run again", frame=error.frame
        ) from error
    a, b = written.format, like.format
    checks = (
        (f"{written.count} frames", f"{like.count} frames"),
        (f"{a.width}x{a.height}", f"{b.width}x{b.height}"),
        (a.pixel_format, b.pixel_format),
        (f"black {a.planes[0].black[0]:g}, white {a.white:g}", f"black {b.planes[0].black[0]:g}, white {b.white:g}"),
        (f"{written.rate} frames/s", f"{like.rate} frames/s"),
        *(zip(_colour_words(written), _colour_words(like)) if isinstance(written, VideoSource) else ()),
    )
    for found, expected in checks:
        if found != expected:
            raise OutputError(place, f"{found} in what was written", f"{expected} like {like.path}", "run again")
    return written
