"""Numbered stills in: every header checked before the first frame, and their samples as they are."""

from __future__ import annotations

from collections import deque
from collections.abc import Iterator
from concurrent.futures import Future, ThreadPoolExecutor
from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path

import numpy as np

from postfix import effort
from postfix.errors import InputError
from postfix.source.dpx import read_dpx
from postfix.source.exr import ExrPlane, read_exr, views_of
from postfix.source.exr_header import read_exr_header
from postfix.source.numbered import PICTURE_SUFFIXES, is_pattern, numbered_stills, still_numbers, without_gaps
from postfix.source.picture import PictureFormat, Plane, Planes
from postfix.source.still_header import OIIO_TYPES, StillHeader, first_line, must_be_there, open_still, read_header
from postfix.source.timecode import frames_from_timecode

__all__ = ["PICTURE_SUFFIXES", "StillsSource", "is_pattern", "open_stills", "still_numbers", "views_in"]


@dataclass(frozen=True)
class StillsSource:
    """One eye as numbered stills (see :class:`postfix.source.picture.EyeSource`).

    The samples are coded values, those of OpenEXR and of other floats light.

    Attributes
    ----------
    view : str or None
        The view of OpenEXR files that this eye is; None where the files hold one eye.
    channels : tuple of ExrPlane
        Of OpenEXR: where the samples of each plane stand.
    """

    path: Path
    format: PictureFormat
    rate: Fraction
    count: int
    first_number: int
    timecode: str | None
    paths: tuple[Path, ...]
    view: str | None = None
    channels: tuple[ExrPlane, ...] = ()

    def files(self) -> list[Path]:
        """One file a frame, in order."""
        return list(self.paths)

    def frames(self, first: int = 0, last: int | None = None, *, colour_every: int = 1) -> Iterator[Planes]:
        """Read stills ``first`` to ``last`` (both included, counted from 0); InputError names file and frame.

        They are always read with all their colour, some at the same time
        (:attr:`postfix.effort.Effort.threads_an_eye`).
        """
        end = self.count - 1 if last is None else last
        if not 0 <= first <= end < self.count:
            raise ValueError(f"frames {first} to {end} of {self.count}")
        waiting: deque[Future[Planes]] = deque()
        threads = effort.current().threads_an_eye
        pool = ThreadPoolExecutor(threads, thread_name_prefix=f"read {self.path.name}")
        try:
            for index in range(first, end + 1):
                waiting.append(pool.submit(self._read, index))
                if len(waiting) >= threads:
                    yield waiting.popleft().result()
            while waiting:
                yield waiting.popleft().result()
        finally:
            pool.shutdown(wait=True, cancel_futures=True)

    def _read(self, index: int) -> Planes:
        path, number = self.paths[index], self.first_number + index
        kind = must_be_there(path, number)
        if kind == "exr":
            planes = read_exr(path, self.view, self.channels, number)
        elif kind == "dpx":
            planes = (read_dpx(path, number)[1],)
        else:
            planes = (_read(path, self.format, number),)
        _must_be_like(planes, self.format, path, number)
        return planes


def open_stills(
    path: Path, rate: Fraction | None, frames: tuple[int, int] | None, view: str | None = None
) -> StillsSource:
    """Open a folder of stills or a numbered pattern.

    Every header is read, so that a sequence that does not fit together is refused before the first frame.

    Parameters
    ----------
    path : Path
    rate : Fraction or None
        Frames per second; stills do not carry one that can be trusted, so None is refused.
    frames : (int, int) or None
        First and last number to use, both included.
    view : str, optional
        The view to read of OpenEXR files that hold several; files with several are refused without it.
    """
    numbered = numbered_stills(path)
    numbers = without_gaps(path, sorted(numbered), frames)
    if rate is None:
        raise InputError(path, "stills, which have no frame rate", "a frame rate", "give --rate, such as --rate 24")
    paths = tuple(numbered[number] for number in numbers)
    first: StillHeader | None = None
    timecodes = []
    for number, file in zip(numbers, paths):
        found = read_header(file, number, rate, view)
        timecodes.append(found.timecode)
        if first is None:
            first = found
        elif (found.format, found.channels) != (first.format, first.channels):
            raise _unlike(file, number, found, first)
    assert first is not None
    return StillsSource(
        path, first.format, rate, len(paths), numbers[0], _running(timecodes, rate), paths, view, first.channels
    )


def views_in(path: Path) -> tuple[str, ...]:
    """Views that an OpenEXR file says it holds, the default one first; empty for all other files.

    Of a folder or a numbered pattern it is the first file that is looked at.
    """
    if not path.is_file():
        numbered = numbered_stills(path)
        path = numbered[min(numbered)]
    if PICTURE_SUFFIXES.get(path.suffix.lower()) != "exr":
        return ()
    must_be_there(path, None)
    return views_of(read_exr_header(path))


def _running(timecodes: list[str | None], rate: Fraction) -> str | None:
    """Timecode of the first still where it runs on through all of them: else the field holds something else."""
    start = timecodes[0]
    if start is None:
        return None
    first = frames_from_timecode(start, rate)
    runs = all(
        timecode is not None and frames_from_timecode(timecode, rate) == first + index
        for index, timecode in enumerate(timecodes)
    )
    return start if runs else None


def _unlike(file: Path, number: int, found: StillHeader, first: StillHeader) -> InputError:
    a, b = found.format, first.format
    places = " with its channels in other parts" if a == b else ""
    return InputError(
        file,
        f"{a.width}x{a.height} {a.pixel_format}{places}",
        f"{b.width}x{b.height} {b.pixel_format} like the frames before",
        "make all stills of the sequence the same size and depth",
        frame=number,
    )


def _read(path: Path, fmt: PictureFormat, number: int) -> Plane:
    opened = open_still(path, number)
    try:
        samples = opened.read_image(OIIO_TYPES[fmt.dtype])
        reason = first_line(opened.geterror())
    finally:
        opened.close()
    if samples is None or reason:
        raise InputError(
            path,
            f"a picture that cannot be read to its end ({reason or 'the file changed while in use'})",
            "a whole picture",
            "copy or export the still again",
            frame=number,
        )
    plane: Plane = samples[..., 0] if samples.shape[2] == 1 else samples
    return plane


def _must_be_like(planes: Planes, fmt: PictureFormat, path: Path, number: int) -> None:
    for plane, described in zip(planes, fmt.planes, strict=True):
        whole = (fmt.height, fmt.width, described.channels)[: 2 if described.channels == 1 else 3]
        if plane.shape != whole or plane.dtype != np.dtype(fmt.dtype_of(described)):
            raise InputError(
                path,
                f"{plane.shape[1]}x{plane.shape[0]} of {plane.dtype}",
                f"{fmt.width}x{fmt.height} of {fmt.dtype_of(described)} as before",
                "leave the stills alone while they are in use",
                frame=number,
            )
