"""Opening one eye, whatever it is made of."""

from __future__ import annotations

import hashlib
import threading
from collections.abc import Callable
from fractions import Fraction
from pathlib import Path

from postfix.errors import InputError, UsageError
from postfix.source.packed_eye import EyeView
from postfix.source.picture import EyeSource
from postfix.source.stills import PICTURE_SUFFIXES, StillsSource, is_pattern, open_stills
from postfix.source.video import open_video


def open_eye(
    path: Path,
    *,
    rate: Fraction | None = None,
    frames: tuple[int, int] | None = None,
    view: str | None = None,
    patient: bool = False,
) -> EyeSource:
    """Open one eye and check it before its first frame.

    Parameters
    ----------
    path : Path
        A video file; a folder with one numbered sequence of stills (DPX, OpenEXR, TIFF, PNG or JPEG); or a numbered
        pattern such as ``sh010.%04d.dpx`` or ``sh010.####.dpx`` (a lone ``#`` is four digits, a run is its length).
    rate : Fraction, optional
        Frames per second. Needed for stills; for a video it must agree with the file's own.
    frames : (int, int), optional
        First and last frame, both included: the numbers in the names for stills, counted from 0 for video.
    view : str, optional
        Which view of OpenEXR stills that hold several.
    patient : bool
        Take stills also where numbers between others are missing or headers cannot be read.

    Raises
    ------
    InputError
        Where there is nothing that can be used; says what was found.
    UsageError
        Where ``rate`` or ``frames`` cannot be meant.
    """
    if frames is not None and frames[0] > frames[1]:
        raise UsageError(
            "--frames", f"{frames[0]}-{frames[1]}", "first-last with the smaller number first", "swap the two numbers"
        )
    _require_name(path)
    try:
        if path.is_dir():
            return _named(open_stills(path, rate, frames, view, patient=patient))
        if path.is_file():
            if path.suffix.lower() in PICTURE_SUFFIXES:
                raise InputError(
                    path,
                    "a single still",
                    "a clip",
                    "give the folder of the stills, or a pattern such as name.####.tif",
                )
            return open_video(path, rate, frames)
        if is_pattern(path):
            return _named(open_stills(path, rate, frames, view, patient=patient))
    except OSError as error:
        raise InputError(
            path, f"no way to read it ({error.strerror or error})", "a readable file or folder", "check its permissions"
        ) from error
    raise InputError(path, "nothing there", "a video file, a folder of stills or a numbered pattern", "check the path")


def _named(stills: StillsSource) -> StillsSource:
    for path in stills.files():
        _require_name(path)
    return stills


def _require_name(path: Path) -> None:
    """Refuse a name that no log could hold: bytes that are no text."""
    try:
        str(path.absolute()).encode()
    except UnicodeEncodeError:
        raise InputError(
            str(path).encode(errors="backslashreplace").decode(),
            "a name that is no UTF-8",
            "a name that can be written in a log",
            "rename it",
        ) from None


class Abandoned(Exception):
    """A checksum that nobody waits for any more."""


def sha256_of(
    source: EyeSource, stop: threading.Event | None = None, read: Callable[[int], object] = lambda count: None
) -> str:
    """Fingerprint of what an eye was read from, in hexadecimal.

    For a video: the SHA-256 of the file. For stills: the SHA-256 of the lines ``<name> <sha256 of the file>``, each
    ended by a line feed, in frame order, in UTF-8. For an eye of a file that holds both: of that file. ``read`` is told
    of every so many bytes.

    Raises
    ------
    Abandoned
        Soon after ``stop`` is set.
    """
    if isinstance(source, EyeView):
        return sha256_of(source.whole, stop, read)
    if not isinstance(source, StillsSource):
        return file_sha256(source.path, stop, read)
    whole = hashlib.sha256()
    for path in source.files():
        whole.update(f"{path.name} {file_sha256(path, stop, read)}\n".encode())
    return whole.hexdigest()


_BLOCK_BYTES = 1 << 20


def file_sha256(
    path: Path, stop: threading.Event | None = None, read: Callable[[int], object] = lambda count: None
) -> str:
    """SHA-256 of a file, in hexadecimal; raises OSError, and Abandoned as :func:`sha256_of`."""
    found, block = hashlib.sha256(), memoryview(bytearray(_BLOCK_BYTES))
    with path.open("rb", buffering=0) as file:
        while count := file.readinto(block):
            if stop is not None and stop.is_set():
                raise Abandoned
            found.update(block[:count])
            read(count)
    return found.hexdigest()
