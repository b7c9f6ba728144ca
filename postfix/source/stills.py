"""Numbered stills in: which files belong together, which are missing, and their samples as they are."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path

import numpy as np
import OpenImageIO as oiio

from postfix.errors import InputError, UsageError
from postfix.source.picture import PictureFormat, Plane, PlaneFormat, Planes
from postfix.source.timecode import valid_timecode

PICTURE_SUFFIXES = {".png": "png", ".tif": "tiff", ".tiff": "tiff"}
"""Suffixes of stills that can be read and written, with the format behind each."""

_OTHER_PICTURES = {".dpx", ".exr", ".jpg", ".jpeg", ".jp2", ".bmp", ".tga", ".cin", ".webp", ".gif"}
_PATTERN = re.compile(r"%(?:0(\d))?d|(#+)")
_NUMBERED = re.compile(r"(.*?)(\d+)(\D*)")
_PNG_END = bytes.fromhex("0000000049454e44ae426082")
_LAYOUTS = {1: "gray", 3: "rgb", 4: "rgba"}


@dataclass(frozen=True)
class StillsSource:
    """One eye as numbered stills (see :class:`postfix.source.picture.EyeSource`); the samples are coded values."""

    path: Path
    format: PictureFormat
    rate: Fraction
    count: int
    first_number: int
    timecode: str | None
    paths: tuple[Path, ...]

    def files(self) -> list[Path]:
        """One file a frame, in order."""
        return list(self.paths)

    def frames(self, first: int = 0, last: int | None = None, *, colour_every: int = 1) -> Iterator[Planes]:
        """Read stills ``first`` to ``last`` (both included, counted from 0); InputError names file and frame.

        They are always read with all their colour.
        """
        end = self.count - 1 if last is None else last
        if not 0 <= first <= end < self.count:
            raise ValueError(f"frames {first} to {end} of {self.count}")
        for index in range(first, end + 1):
            yield (_read(self.paths[index], self.format, self.first_number + index),)


def is_pattern(path: Path) -> bool:
    """True where the file name holds a place for a number: ``%04d``, ``%d`` or ``####``."""
    return _PATTERN.search(path.name) is not None


def open_stills(path: Path, rate: Fraction | None, frames: tuple[int, int] | None) -> StillsSource:
    """Open a folder of stills or a numbered pattern.

    Every header is read, so that a sequence that does not fit together is refused before the first frame.

    Parameters
    ----------
    path : Path
    rate : Fraction or None
        Frames per second; stills do not carry one that can be trusted, so None is refused.
    frames : (int, int) or None
        First and last number to use, both included.
    """
    numbered = _in_folder(path) if path.is_dir() else _by_pattern(path)
    numbers = _without_gaps(path, sorted(numbered), frames)
    if rate is None:
        raise InputError(path, "stills, which have no frame rate", "a frame rate", "give --rate, such as --rate 24")
    paths = tuple(numbered[number] for number in numbers)
    fmt: PictureFormat | None = None
    timecode: str | None = None
    for number, file in zip(numbers, paths):
        found, found_timecode = _header(file, number, rate)
        if fmt is None:
            fmt, timecode = found, found_timecode
        elif found != fmt:
            raise InputError(
                file,
                f"{found.width}x{found.height} {found.pixel_format}",
                f"{fmt.width}x{fmt.height} {fmt.pixel_format} like the frames before",
                "make all stills of the sequence the same size and depth",
                frame=number,
            )
    assert fmt is not None
    return StillsSource(path, fmt, rate, len(paths), numbers[0], timecode, paths)


def still_numbers(path: Path) -> tuple[int, int]:
    """Lowest and highest number of the stills in a folder or of a numbered pattern."""
    numbered = _in_folder(path) if path.is_dir() else _by_pattern(path)
    return min(numbered), max(numbered)


def open_still(path: Path, frame: int | None = None) -> oiio.ImageInput:
    """Open one still for reading as it is: alpha is not multiplied in. Close it after use.

    Raises
    ------
    InputError
        Where it is missing, empty, cut short or no picture.
    """
    if not path.is_file():
        raise InputError(path, "nothing", "a picture", "check the path", frame=frame)
    if path.stat().st_size == 0:
        raise InputError(path, "an empty file", "a picture", "copy or export the still again", frame=frame)
    if PICTURE_SUFFIXES.get(path.suffix.lower()) == "png" and not _png_is_whole(path):
        raise InputError(
            path, "a picture cut short, or no PNG", "a whole PNG", "copy or export the still again", frame=frame
        )
    hints = oiio.ImageSpec()
    hints.attribute("oiio:UnassociatedAlpha", 1)
    opened = oiio.ImageInput.open(str(path), hints)
    if opened is None:
        reason = _first_line(oiio.geterror())
        raise InputError(
            path,
            f"no readable picture ({reason})",
            "a whole PNG or TIFF",
            "copy or export the still again",
            frame=frame,
        )
    return opened


def _read(path: Path, fmt: PictureFormat, number: int) -> Plane:
    opened = open_still(path, number)
    try:
        samples = opened.read_image(fmt.dtype)
        reason = _first_line(opened.geterror())
    finally:
        opened.close()
    whole = (fmt.height, fmt.width, fmt.planes[0].channels)
    if samples is None or reason or samples.shape != whole or samples.dtype != np.dtype(fmt.dtype):
        raise InputError(
            path,
            f"a picture that cannot be read to its end ({reason or 'the file changed while in use'})",
            "a whole picture",
            "copy or export the still again",
            frame=number,
        )
    return samples[..., 0] if whole[2] == 1 else samples


def _header(path: Path, number: int, rate: Fraction) -> tuple[PictureFormat, str | None]:
    opened = open_still(path, number)
    try:
        spec = opened.spec()
        more = opened.seek_subimage(1, 0)
    finally:
        opened.close()
    bits = {oiio.UINT8: 8, oiio.UINT16: 16}.get(spec.format.basetype)
    stored = spec.getattribute("oiio:BitsPerSample")
    layout = _LAYOUTS.get(spec.nchannels)
    photometric = spec.getattribute("tiff:PhotometricInterpretation")
    problem = None
    if bits is None or (stored is not None and stored != bits):
        problem = f"{stored or spec.format} bits a sample" if stored else f"samples of type {spec.format}"
    elif layout is None:
        problem = f"{spec.nchannels} channels"
    elif photometric not in (None, 1, 2):
        problem = f"TIFF colour model {photometric}"
    elif more:
        problem = "more than one picture in the file"
    elif spec.depth > 1:
        problem = "a volume"
    if problem is not None or bits is None or layout is None:
        raise InputError(
            path, str(problem), "one grey, RGB or RGBA picture of 8 or 16 bits", "export the stills so", frame=number
        )
    largest = float((1 << bits) - 1)
    black = (0.0, 0.0, 0.0, largest)[: spec.nchannels]
    plane = PlaneFormat(step_x=1, step_y=1, channels=spec.nchannels, black=black)
    fmt = PictureFormat(spec.width, spec.height, f"{layout}-{bits}bit", f"uint{bits}", bits, largest, False, (plane,))
    return fmt, _header_timecode(spec, rate)


def _header_timecode(spec: oiio.ImageSpec, rate: Fraction) -> str | None:
    """Timecode from the header: two 32-bit words as SMPTE ST 12-1 packs them, read as binary-coded decimals."""
    words = spec.getattribute("smpte:TimeCode")
    if not isinstance(words, tuple) or not words:
        return None
    word = int(words[0])
    frames, seconds, minutes, hours = (
        10 * (word >> shift + 4 & tens) + (word >> shift & 0xF)
        for shift, tens in ((0, 0x3), (8, 0x7), (16, 0x7), (24, 0x3))
    )
    separator = ";" if word & 0x40 else ":"
    return valid_timecode(f"{hours:02d}:{minutes:02d}:{seconds:02d}{separator}{frames:02d}", rate)


def _in_folder(folder: Path) -> dict[int, Path]:
    """The stills of a folder by number; anything but one numbered sequence of one kind is refused."""
    files = sorted(file for file in folder.iterdir() if file.is_file() and not file.name.startswith("."))
    stills = [file for file in files if file.suffix.lower() in PICTURE_SUFFIXES]
    others = sorted({file.suffix for file in files if file.suffix.lower() in _OTHER_PICTURES})
    if not stills:
        found = f"only {', '.join(others)} pictures" if others else "no pictures"
        raise InputError(folder, found, "numbered PNG or TIFF stills", "give the folder that holds this eye's stills")
    suffixes = sorted({file.suffix for file in stills} | set(others))
    if len(suffixes) > 1:
        raise InputError(
            folder,
            f"pictures of several kinds ({', '.join(suffixes)})",
            "one numbered sequence",
            "keep one, or name it by a pattern such as name.####.tif",
        )
    sequences: dict[tuple[str, str], list[tuple[int, Path]]] = {}
    for file in stills:
        match = _NUMBERED.fullmatch(file.stem)
        if match is None:
            raise InputError(folder, f"'{file.name}', which has no number", "numbered stills", "number or remove it")
        sequences.setdefault((match[1], match[3]), []).append((int(match[2]), file))
    if len(sequences) > 1:
        names = [f"'{entries[0][1].name}'" for entries in sequences.values()]
        raise InputError(
            folder,
            f"several sequences ({', '.join(names[:3])}{' …' if len(names) > 3 else ''})",
            "one numbered sequence",
            "name the one you mean by a pattern such as name.####.tif",
        )
    return _unique(folder, next(iter(sequences.values())))


def _by_pattern(path: Path) -> dict[int, Path]:
    """The stills a pattern names, by number."""
    folder, places = path.parent, list(_PATTERN.finditer(path.name))
    if len(places) != 1:
        raise UsageError(path, f"{len(places)} places for a number", "one", "write one number, such as name.####.tif")
    place = places[0]
    if path.suffix.lower() not in PICTURE_SUFFIXES:
        raise InputError(path, f"'{path.suffix}' stills", "PNG or TIFF stills", "export the stills as PNG or TIFF")
    if not folder.is_dir():
        raise InputError(path, "no such folder", "a folder with stills", "check the path")
    digits = int(place[1] or 1) if place[2] is None else (4 if len(place[2]) == 1 else len(place[2]))
    # A number that outgrows its width goes on with more digits, as printf writes it.
    number = rf"(\d{{{digits}}}|[1-9]\d{{{digits},}})"
    matcher = re.compile(re.escape(path.name[: place.start()]) + number + re.escape(path.name[place.end() :]))
    entries = [(int(match[1]), file) for file in sorted(folder.iterdir()) if (match := matcher.fullmatch(file.name))]
    if not entries:
        raise InputError(path, "no files of that name", "numbered stills", "check the folder, the name and the digits")
    return _unique(path, entries)


def _unique(where: Path, entries: list[tuple[int, Path]]) -> dict[int, Path]:
    numbered: dict[int, Path] = {}
    for number, file in entries:
        if number in numbered:
            raise InputError(
                where,
                f"number {number} twice ('{numbered[number].name}' and '{file.name}')",
                "each number once",
                "remove one of them",
            )
        numbered[number] = file
    return numbered


def _without_gaps(where: Path, numbers: list[int], frames: tuple[int, int] | None) -> list[int]:
    first, last = (numbers[0], numbers[-1]) if frames is None else frames
    there = set(numbers)
    missing = [number for number in range(first, last + 1) if number not in there]
    if missing:
        raise InputError(
            where,
            f"{len(missing)} missing: {_runs(missing)}",
            f"every number from {first} to {last}",
            "render or copy the missing stills, or choose a range without gaps with --frames",
            frame=missing[0],
        )
    return list(range(first, last + 1))


def _runs(numbers: list[int]) -> str:
    """Numbers with neighbours joined: ``1003, 1007–1010``; at most eight runs."""
    runs: list[list[int]] = []
    for number in numbers:
        if runs and number == runs[-1][1] + 1:
            runs[-1][1] = number
        else:
            runs.append([number, number])
    texts = [str(a) if a == b else f"{a}–{b}" for a, b in runs[:8]]
    return ", ".join(texts) + (" …" if len(runs) > 8 else "")


def _png_is_whole(path: Path) -> bool:
    """True where the last chunk is there: libpng would report a cut file on stderr by itself, and late."""
    with path.open("rb") as file:
        if file.read(8) != b"\x89PNG\r\n\x1a\n":
            return False
        file.seek(-12, 2)
        if file.read(12) == _PNG_END:
            return True
        file.seek(8)  # bytes may follow the end; walk the chunks
        while len(head := file.read(8)) == 8:
            if head[4:] == b"IEND":
                return len(file.read(4)) == 4
            file.seek(int.from_bytes(head[:4], "big") + 4, 1)
    return False


def _first_line(text: str) -> str:
    return text.strip().split("\n")[0][:160]
