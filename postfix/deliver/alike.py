"""What was written held against what it was to be, and files that are copied because it is just them."""

from __future__ import annotations

import shutil
from collections.abc import Iterable
from pathlib import Path

from postfix.deliver.codecs import VideoSpec, format_written
from postfix.errors import InputError, OutputError
from postfix.source.picture import EyeSource, PictureFormat
from postfix.source.video import VideoSource

Differences = list[tuple[str, str]]
"""What was found and what should be there, in the same words; alike where all is well."""


def picture_differences(found: PictureFormat, wanted: PictureFormat) -> Differences:
    """Of size, pixel format and code range."""
    return [
        (f"{found.width}x{found.height}", f"{wanted.width}x{wanted.height}"),
        (found.pixel_format, wanted.pixel_format),
        (_range_words(found), _range_words(wanted)),
    ]


def file_differences(written: EyeSource, spec: VideoSpec | None, fmt: PictureFormat) -> Differences:
    """Of a written file and what it was to be: a video by its spec, with colour tags as the container carries them;
    stills, which have none, by their pictures."""
    if not isinstance(written, VideoSource) or spec is None:
        return picture_differences(written.format, fmt)
    tags = written.tags
    return [
        *picture_differences(written.format, format_written(spec)),
        (f"colour primaries {tags.color_primaries}", f"colour primaries {spec.color_primaries}"),
        (f"transfer {tags.color_transfer}", f"transfer {spec.color_transfer}"),
        (f"matrix {tags.color_matrix}", f"matrix {spec.color_matrix}"),
    ]


def require_alike(place: Path, checks: Iterable[tuple[str, str]], like: Path) -> None:
    """Refuse, with an OutputError, the first difference."""
    for found, expected in checks:
        if found != expected:
            raise OutputError(place, f"{found} in what was written", f"{expected} like {like}", "run again")


def copy_files(files: Iterable[Path], folder: Path) -> None:
    """Copy files byte for byte into a folder; OutputError where one cannot be."""
    for file in files:
        try:
            shutil.copyfile(file, folder / file.name)
        except OSError as error:
            raise OutputError(
                folder / file.name,
                f"no way to copy {file} there ({error.strerror or error})",
                "room on the disk",
                "check the disk and run again",
            ) from error


def unusable(place: Path, error: InputError) -> OutputError:
    """What is said of a written file that cannot be read."""
    return OutputError(
        place, f"a written file that cannot be used ({error.found})", error.expected, "run again", frame=error.frame
    )


def _range_words(fmt: PictureFormat) -> str:
    return f"black {fmt.planes[0].black[0]:g}, white {fmt.white:g}"
