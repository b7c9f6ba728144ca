"""A preview as files: a video, one picture, a contact sheet, numbered stills; each reopened and counted."""

from __future__ import annotations

import io
from collections.abc import Callable, Sequence
from contextlib import closing
from fractions import Fraction
from pathlib import Path

import numpy as np
from PIL import Image
from PIL.PngImagePlugin import PngInfo

from postfix.deliver.own import STILL_MARK
from postfix.errors import InputError, OutputError
from postfix.review.burn_in import fitted
from postfix.review.pictures import Rgb, draw_text
from postfix.review.preview import LEGEND_LEAST_PX, Preview, made_of
from postfix.review.preview_video import PreviewVideo, Yuv420, unwritable, yuv420
from postfix.source.opening import open_eye
from postfix.source.picture import Planes
from postfix.source.video import VideoSource

Progress = Callable[[int], object]

SHEET_WIDTH_PX = 1960
_MARGIN_PX, _GAP_PX = 20, 12
_HEADING_PX, _TEXT_PX, _LINE_PX = 24, 16, 22
_LEGEND_PX = 960
_GROUND, _BRIGHT, _SOFT = (26, 28, 32), (240, 240, 240), (180, 184, 190)

MOST_SHEET_PX = 120_000_000
"""Pixels of the largest contact sheet: about what viewers of pictures open, and 360 MB of memory. Project default."""


def write_preview_video(
    path: Path,
    preview: Preview,
    frames: Sequence[int],
    size_px: tuple[int, int],
    sound: VideoSource | None,
    progress: Progress,
) -> None:
    """Write frames that follow each other into an MP4 file that is itself unfinished, and look whether it is whole.

    Raises
    ------
    InputError
        Where a frame of the source cannot be decoded.
    OutputError
        Where it cannot be written, or is not what it should be.
    """

    def drawn(frame: int, left: Planes, right: Planes) -> Yuv420:
        return yuv420(preview.picture(frame, left, right))

    count, rate = len(frames), preview.pair.rate
    with PreviewVideo(path, size_px, rate, sound) as video, closing(made_of(preview, frames, drawn)) as pictures:
        for planes in pictures:
            video.write(planes)
            progress(1)
    try:
        written = open_eye(path)
    except InputError as error:
        raise _not_whole(path, error.found, "a video that can be opened") from error
    found = _words(written.count, written.rate, (written.format.width, written.format.height))
    if found != _words(count, rate, size_px):
        raise _not_whole(path, found, _words(count, rate, size_px))


def _words(count: int, rate: Fraction, size_px: tuple[int, int]) -> str:
    return f"{count} frames of {size_px[0]}x{size_px[1]} at {rate} frames/s"


def write_picture(path: Path, preview: Preview, frame: int, progress: Progress) -> None:
    """Write one frame as PNG; errors as for :func:`write_preview_video`."""
    (picture,) = made_of(preview, [frame], preview.picture)
    _put(path, png_bytes(picture))
    _check_png(path, (picture.shape[1], picture.shape[0]))
    progress(1)


def write_stills(folder: Path, preview: Preview, frames: Sequence[int], progress: Progress) -> None:
    """Write frames as numbered PNG into a folder that is itself unfinished; errors as for a video."""

    def drawn(frame: int, left: Planes, right: Planes) -> tuple[bytes, tuple[int, int]]:
        picture = preview.picture(frame, left, right)
        return png_bytes(picture, STILL_MARK), (picture.shape[1], picture.shape[0])

    digits = max(4, len(str(preview.pair.count - 1)))
    with closing(made_of(preview, frames, drawn)) as pictures:
        for frame, (data, size_px) in zip(frames, pictures):
            path = folder / f"{preview.pair.name}.{frame:0{digits}d}.png"
            _put(path, data)
            _check_png(path, size_px)
            progress(1)
    count = sum(1 for _ in folder.iterdir())
    if count != len(frames):
        raise _not_whole(folder, f"{count} pictures", f"{len(frames)}")


def sheet_layout(count: int, cell_px: tuple[int, int], width_px: int = SHEET_WIDTH_PX) -> tuple[int, int, int]:
    """Cells beside each other, and width and height of a sheet of so many cells; its heading and legend not counted.

    Parameters
    ----------
    count : int
    cell_px : (int, int)
        Width and height of a picture.
    width_px : int
        Of the sheet; one whose cells are wider is as wide as they ask.
    """
    across = max(1, min(count, (width_px - 2 * _MARGIN_PX + _GAP_PX) // (cell_px[0] + _GAP_PX)))
    down = -(-count // across)
    width = 2 * _MARGIN_PX + across * cell_px[0] + (across - 1) * _GAP_PX
    return across, width, down * (cell_px[1] + 2 * _LINE_PX + _GAP_PX)


def write_sheet(
    path: Path, preview: Preview, frames: Sequence[int], cell_px: tuple[int, int], heading: str, progress: Progress
) -> tuple[int, int]:
    """Write frames as cells of one PNG, each with its shot and its time beneath; errors as for a video.

    Returns
    -------
    (int, int)
        Width and height of the sheet, pixels.
    """
    across, width, height = sheet_layout(len(frames), cell_px)
    if preview.view == "depth":
        width = max(width, LEGEND_LEAST_PX + 2 * _MARGIN_PX)
    sheet = np.empty((height, width, 3), np.uint8)
    sheet[:] = _GROUND

    def drawn(frame: int, left: Planes, right: Planes) -> tuple[Rgb, Rgb]:
        return preview.picture(frame, left, right, legend=False), _caption(preview, frame, cell_px[0])

    with closing(made_of(preview, frames, drawn)) as pictures:
        for place, (picture, caption) in enumerate(pictures):
            y = place // across * (cell_px[1] + 2 * _LINE_PX + _GAP_PX)
            x = _MARGIN_PX + place % across * (cell_px[0] + _GAP_PX)
            sheet[y : y + cell_px[1], x : x + cell_px[0]] = picture
            sheet[y + cell_px[1] : y + cell_px[1] + 2 * _LINE_PX, x : x + cell_px[0]] = caption
            progress(1)
    parts = [_line(heading, _HEADING_PX, width, 56, _BRIGHT), sheet]
    if preview.view == "depth":
        strip = preview.legend(min(max(width - 2 * _MARGIN_PX, LEGEND_LEAST_PX), _LEGEND_PX))
        legend = _ground(strip.shape[0] + _MARGIN_PX, width)
        legend[: strip.shape[0], _MARGIN_PX : _MARGIN_PX + strip.shape[1]] = strip
        parts.append(legend)
    whole = np.concatenate(parts, axis=0)
    size_px = whole.shape[1], whole.shape[0]
    _put(path, png_bytes(whole))
    _check_png(path, size_px)
    return size_px


def _caption(preview: Preview, frame: int, width: int) -> Rgb:
    """Two lines: the shot, where it is known; the time, and the frame's number where that is not the time already."""
    time, number = preview.time_text(frame), f"frame {frame}"
    told = time if time == number else f"{time}   {number}"
    name = preview.shot_name(frame)
    lines = (name, told) if name else (told, "")
    return np.concatenate(
        [_line(text, _TEXT_PX, width, _LINE_PX, colour, 0) for text, colour in zip(lines, (_BRIGHT, _SOFT))], axis=0
    )


def _line(
    text: str, letters_px: int, width: int, height: int, colour: tuple[int, int, int], margin: int = _MARGIN_PX
) -> Rgb:
    shown = fitted(text, letters_px, width - 2 * margin)
    return draw_text(_ground(height, width), (margin, (height - letters_px) // 2), shown, letters_px, colour)


def _ground(height: int, width: int) -> Rgb:
    return np.full((height, width, 3), _GROUND, np.uint8)


def png_bytes(picture: Rgb, mark: str = "") -> bytes:
    """The picture as 8-bit PNG, quickly rather than small; what wrote it stands in it where a mark is given."""
    told, data = PngInfo(), io.BytesIO()
    if mark:
        told.add_text("Software", mark)
    Image.fromarray(picture).save(data, "PNG", compress_level=3, pnginfo=told)
    return data.getvalue()


def _put(path: Path, data: bytes) -> None:
    try:
        path.write_bytes(data)
    except OSError as error:
        raise unwritable(path, error) from error


def _check_png(path: Path, size_px: tuple[int, int]) -> None:
    """Refuse a picture that is not whole on the disk or has another size."""
    try:
        # Reads it through and holds every part against its checksum.
        with Image.open(path, formats=["PNG"]) as picture:
            found = picture.size
            picture.verify()
    except (OSError, SyntaxError) as error:
        raise _not_whole(path, f"a picture that cannot be read ({error})", "a whole one") from error
    if found != size_px:
        raise _not_whole(path, f"a picture of {found[0]}x{found[1]}", f"{size_px[0]}x{size_px[1]}")


def _not_whole(path: Path, found: str, expected: str) -> OutputError:
    return OutputError(path, found, expected, "check the disk and run again; the same again is a fault of the program")
