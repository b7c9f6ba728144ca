"""Which files belong to one numbered sequence, and which numbers are missing."""

from __future__ import annotations

import re
from itertools import pairwise
from pathlib import Path

from postfix.errors import InputError, UsageError

PICTURE_SUFFIXES = {
    ".dpx": "dpx",
    ".exr": "exr",
    ".tif": "tiff",
    ".tiff": "tiff",
    ".png": "png",
    ".jpg": "jpeg",
    ".jpeg": "jpeg",
}
"""Suffixes of stills that can be read and written, with the format behind each."""

FORMATS_IN_WORDS = "DPX, OpenEXR, TIFF, PNG or JPEG"

_OTHER_PICTURES = {".jp2", ".j2k", ".bmp", ".tga", ".cin", ".webp", ".gif", ".hdr", ".sgi", ".dng"}
_PATTERN = re.compile(r"%(?:0(\d))?d|(#+)")
_NUMBERED = re.compile(r"(.*?)(\d+)(\D*)")


def is_pattern(path: Path) -> bool:
    """True where the file name holds a place for a number: ``%04d``, ``%d`` or ``####``."""
    return _PATTERN.search(path.name) is not None


def numbered_stills(path: Path) -> dict[int, Path]:
    """The stills of a folder or of a numbered pattern, by number.

    Raises
    ------
    InputError
        Where there are none, or more than one numbered sequence of one kind.
    """
    return _in_folder(path) if path.is_dir() else _by_pattern(path)


def still_numbers(path: Path) -> tuple[int, int]:
    """Lowest and highest number of the stills in a folder or of a numbered pattern."""
    numbered = numbered_stills(path)
    return min(numbered), max(numbered)


def without_gaps(where: Path, numbers: list[int], frames: tuple[int, int] | None) -> list[int]:
    """Every number from the first to the last, or of the range ``frames``; InputError names those that are missing."""
    first, last = (numbers[0], numbers[-1]) if frames is None else frames
    there = sorted({number for number in numbers if first <= number <= last})
    # Names may hold numbers that lie thousands of millions apart: gaps are reckoned, never counted through.
    gaps = [(a + 1, b - 1) for a, b in pairwise([first - 1, *there, last + 1]) if b - a > 1]
    if gaps:
        raise InputError(
            where,
            f"{last - first + 1 - len(there)} missing: {_runs(gaps)}",
            f"every number from {first} to {last}",
            "render or copy the missing stills, or choose a range without gaps with --frames",
            frame=gaps[0][0],
        )
    return there


def still_named(where: Path, number: int, beside: Path) -> Path:
    """What the still of a number that is missing would be called: as ``beside`` is, which is there.

    Parameters
    ----------
    where : Path
        The folder or the numbered pattern.
    """
    if where.is_dir():
        match = _NUMBERED.fullmatch(beside.stem)
        assert match is not None
        return beside.with_name(f"{match[1]}{number:0{len(match[2])}d}{match[3]}{beside.suffix}")
    place = _PATTERN.search(where.name)
    assert place is not None
    return beside.with_name(f"{where.name[: place.start()]}{number:0{_digits(place)}d}{where.name[place.end() :]}")


def _in_folder(folder: Path) -> dict[int, Path]:
    """The stills of a folder by number; anything but one numbered sequence of one kind is refused."""
    files = sorted(file for file in folder.iterdir() if file.is_file() and not file.name.startswith("."))
    stills = [file for file in files if file.suffix.lower() in PICTURE_SUFFIXES]
    others = sorted({file.suffix for file in files if file.suffix.lower() in _OTHER_PICTURES})
    if not stills:
        found = f"only {', '.join(others)} pictures" if others else "no pictures"
        raise InputError(
            folder, found, f"numbered {FORMATS_IN_WORDS} stills", "give the folder that holds this eye's stills"
        )
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
        raise InputError(path, f"'{path.suffix}' stills", f"{FORMATS_IN_WORDS} stills", "export the stills so")
    if not folder.is_dir():
        raise InputError(path, "no such folder", "a folder with stills", "check the path")
    digits = _digits(place)
    # A number that outgrows its width goes on with more digits, as printf writes it.
    number = rf"(\d{{{digits}}}|[1-9]\d{{{digits},}})"
    matcher = re.compile(re.escape(path.name[: place.start()]) + number + re.escape(path.name[place.end() :]))
    entries = [(int(match[1]), file) for file in sorted(folder.iterdir()) if (match := matcher.fullmatch(file.name))]
    if not entries:
        raise InputError(path, "no files of that name", "numbered stills", "check the folder, the name and the digits")
    return _unique(path, entries)


def _digits(place: re.Match[str]) -> int:
    """Digits of the number that a pattern stands for."""
    return int(place[1] or 1) if place[2] is None else (4 if len(place[2]) == 1 else len(place[2]))


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


def _runs(runs: list[tuple[int, int]]) -> str:
    """Runs of numbers, first and last: ``1003, 1007–1010``; at most eight."""
    texts = [str(a) if a == b else f"{a}–{b}" for a, b in runs[:8]]
    return ", ".join(texts) + (" …" if len(runs) > 8 else "")
