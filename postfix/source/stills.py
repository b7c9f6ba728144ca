"""Numbered stills in: every header checked before the first frame, and their samples as they are."""

from __future__ import annotations

from collections import deque
from collections.abc import Callable, Iterator
from concurrent.futures import Future, ThreadPoolExecutor
from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path
from typing import TypeVar

import numpy as np

from postfix import effort
from postfix.errors import InputError, OtherFormatError
from postfix.source.dpx import read_dpx
from postfix.source.exr import ExrPlane, read_exr, views_of
from postfix.source.exr_header import read_exr_header
from postfix.source.numbered import (
    PICTURE_SUFFIXES,
    is_pattern,
    numbered_stills,
    still_named,
    still_numbers,
    without_gaps,
)
from postfix.source.picture import PictureFormat, Plane, Planes, Unread
from postfix.source.still_header import OIIO_TYPES, StillHeader, first_line, must_be_there, open_still, read_header
from postfix.source.timecode import frames_from_timecode, timecode_at

__all__ = ["PICTURE_SUFFIXES", "StillsSource", "is_pattern", "open_stills", "still_numbers", "views_in"]

Found = TypeVar("Found")

_MOST_MISSING = 100_000
"""Numbers that may lie between others of one sequence: more than an hour of it. Beyond that a name is odd."""


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
    absent : frozenset of Path
        Those of ``paths`` that are missing from the sequence; without patience there are none.
    headless : frozenset of Path
        The same, and those whose header could not be read.
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
    absent: frozenset[Path] = frozenset()
    headless: frozenset[Path] = frozenset()

    def like(self, index: int) -> Path:
        """The still whose header says how another in its place is to be written: its own, or where that cannot be read
        that of the nearest before it, else after it."""
        nearest = (*self.paths[index::-1], *self.paths[index + 1 :])
        return next((path for path in nearest if path not in self.headless), self.paths[index])

    def files(self) -> list[Path]:
        """One file a frame, in order, but for those that are missing."""
        return [path for path in self.paths if path not in self.absent]

    def frames(self, first: int = 0, last: int | None = None, *, colour_every: int = 1) -> Iterator[Planes]:
        """Read stills ``first`` to ``last`` (both included, counted from 0); InputError names file and frame.

        They are always read with all their colour, some at the same time
        (:attr:`postfix.effort.Effort.threads_an_eye`).
        """
        return self._in_order(self._read, first, last)

    def tried(self, first: int = 0, last: int | None = None) -> Iterator[Planes | Unread]:
        """The same, with the reason in the place of each still that cannot be read; OtherFormatError names a still of
        another size or format."""
        return self._in_order(self._try, first, last)

    def _in_order(self, read: Callable[[int], Found], first: int, last: int | None) -> Iterator[Found]:
        end = self.count - 1 if last is None else last
        if not 0 <= first <= end < self.count:
            raise ValueError(f"frames {first} to {end} of {self.count}")
        waiting: deque[Future[Found]] = deque()
        threads = effort.current().threads_an_eye
        pool = ThreadPoolExecutor(threads, thread_name_prefix=f"read {self.path.name}")
        try:
            for index in range(first, end + 1):
                waiting.append(pool.submit(read, index))
                if len(waiting) >= threads:
                    yield waiting.popleft().result()
            while waiting:
                yield waiting.popleft().result()
        finally:
            pool.shutdown(wait=True, cancel_futures=True)

    def _try(self, index: int) -> Planes | Unread:
        try:
            return self._read(index)
        except OtherFormatError:
            raise
        except InputError as error:
            return Unread("no file of its number" if self.paths[index] in self.absent else error.found)
        except OSError as error:
            return Unread(_no_way(error))

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
    path: Path, rate: Fraction | None, frames: tuple[int, int] | None, view: str | None = None, *, patient: bool = False
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
    patient : bool
        Take the sequence also where numbers between others are missing or headers cannot be read, as long as one can.
    """
    numbered = numbered_stills(path)
    there = sorted(numbered)
    first, last = frames if frames is not None else (there[0], there[-1])
    within = there[0] <= first and last <= there[-1]
    gaps_may_be = patient and within and last - first < len(there) + _MOST_MISSING
    numbers = list(range(first, last + 1)) if gaps_may_be else without_gaps(path, there, frames)
    if rate is None:
        raise InputError(path, "stills, which have no frame rate", "a frame rate", "give --rate, such as --rate 24")
    missing = {number: still_named(path, number, numbered[there[0]]) for number in numbers if number not in numbered}
    if len(missing) == len(numbers):
        without_gaps(path, there, frames)  # which says what is missing
    paths = tuple(missing.get(number) or numbered[number] for number in numbers)
    headers = _headers(paths, numbers, frozenset(missing), rate, view, patient)
    like = next(header for header in headers if header is not None)
    return StillsSource(
        path,
        like.format,
        rate,
        len(paths),
        numbers[0],
        _running(headers, rate),
        paths,
        view,
        like.channels,
        frozenset(missing.values()),
        frozenset(path for path, header in zip(paths, headers) if header is None),
    )


def _headers(
    paths: tuple[Path, ...],
    numbers: list[int],
    missing: frozenset[int],
    rate: Fraction,
    view: str | None,
    patient: bool,
) -> list[StillHeader | None]:
    """Every still's header, alike all of them; with patience None for those that cannot be read, but not for all."""
    headers: list[StillHeader | None] = []
    like: StillHeader | None = None
    unread: InputError | None = None
    for number, file in zip(numbers, paths):
        found = None
        try:
            found = None if number in missing else read_header(file, number, rate, view)
        except OtherFormatError:
            raise
        except InputError as error:
            unread = unread or error
        except OSError as error:
            if not patient:
                raise
            unread = unread or InputError(file, _no_way(error), "a still", "check its permissions", frame=number)
        if unread is not None and not patient:
            raise unread
        headers.append(found)
        like = like or found
        if like is not None and found is not None and (found.format, found.channels) != (like.format, like.channels):
            raise _unlike(file, number, found, like)
    if like is None:
        assert unread is not None
        raise unread
    return headers


def views_in(path: Path, *, patient: bool = False) -> tuple[str, ...]:
    """Views that an OpenEXR file says it holds, the default one first; empty for all other files.

    Of a folder or a numbered pattern it is the first file that is looked at; with patience the first whose header can
    be read.
    """
    paths = [path]
    if not path.is_file():
        numbered = numbered_stills(path)
        paths = [numbered[number] for number in sorted(numbered)]
    if PICTURE_SUFFIXES.get(paths[0].suffix.lower()) != "exr":
        return ()
    for file in paths if patient else paths[:1]:
        try:
            must_be_there(file, None)
            return views_of(read_exr_header(file))
        except OtherFormatError:
            raise
        except InputError:
            if not patient or file == paths[-1]:
                raise
    return ()


def _running(headers: list[StillHeader | None], rate: Fraction) -> str | None:
    """Timecode of the first still where it runs on through all of them: else the field holds something else."""
    told = [(index, header.timecode) for index, header in enumerate(headers) if header is not None]
    at, start = told[0]
    if start is None:
        return None
    first = frames_from_timecode(start, rate) - at
    runs = all(
        timecode is not None and frames_from_timecode(timecode, rate) == first + index for index, timecode in told
    )
    return (timecode_at(start, -at, rate) if at else start) if runs else None


def _no_way(error: OSError) -> str:
    return f"no way to read it ({error.strerror or error})"


def _unlike(file: Path, number: int, found: StillHeader, first: StillHeader) -> InputError:
    a, b = found.format, first.format
    places = " with its channels in other parts" if a == b else ""
    return OtherFormatError(
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
            raise OtherFormatError(
                path,
                f"{plane.shape[1]}x{plane.shape[0]} of {plane.dtype}",
                f"{fmt.width}x{fmt.height} of {fmt.dtype_of(described)} as before",
                "leave the stills alone while they are in use",
                frame=number,
            )
