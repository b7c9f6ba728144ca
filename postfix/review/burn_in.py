"""What is drawn into a preview: timecode, shot, figures and a grid at the screen plane.

Everything is drawn in neutral grey and at the same place in both eyes, so that through glasses it lies at the screen
and neither filter hides it. Text stands on a dark ground of its own, legible on bright and on dark pictures.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
import numpy.typing as npt
from PIL import Image, ImageDraw, ImageFont

from postfix.review.pictures import Rgb

Grey = npt.NDArray[np.float32]

SAFE_MARGIN_SHARE = 0.1
"""Share of width and height left free at each side: the title-safe area of 80 % of the older practice for film and
television, which lies inside the 90 % of the newer (both from memory)."""

SMALLEST_TEXT_PX, LARGEST_TEXT_PX = 9, 64
_TEXT_SHARE = 1.0 / 26.0
"""Height of letters over that of the picture. Project default, no source."""

_GROUND, _INK = 16.0, 240.0
_GROUND_OPACITY = 0.72
_GRID_COLUMNS = 8
_GRID_LIGHT, _GRID_DARK, _GRID_OPACITY = 230.0, 24.0, 0.75
_SPACE_SHARE = 1.0 / 3.0
"""Width of a space over the height of letters at least: that of the font, 2 pixels in small letters, parts no words."""

_MOST_LETTERS = 400
"""No line of a preview holds more; a name without end must not cost without end."""


@dataclass(frozen=True)
class Lines:
    """What is written into one frame.

    Attributes
    ----------
    time : str
        At the top right: timecode, or the number of the frame.
    shot : str
        At the top left.
    figures : tuple of tuple of str
        At the bottom left: rows of cells, each column as wide as its widest cell.
    """

    time: str = ""
    shot: str = ""
    figures: tuple[tuple[str, ...], ...] = ()


@dataclass(frozen=True)
class Box:
    """A place in a picture, pixels from its left and top edge."""

    x: int
    y: int
    width: int
    height: int


@dataclass(frozen=True, eq=False)
class _Patch:
    """Grey and opacity of something to be laid over a picture, (h, w) both."""

    grey: Grey
    opacity: Grey


def safe_box(size_px: tuple[int, int]) -> Box:
    """The title-safe area of a picture of (width, height)."""
    width, height = size_px
    x, y = int(np.ceil(width * SAFE_MARGIN_SHARE)), int(np.ceil(height * SAFE_MARGIN_SHARE))
    return Box(x, y, max(0, width - 2 * x), max(0, height - 2 * y))


def text_px(size_px: tuple[int, int], lines: Lines) -> int:
    """Size of the letters for lines like these in a picture of (width, height); 0 where they cannot be legible.

    Parameters
    ----------
    size_px : (int, int)
    lines : Lines
        The longest figures there will be; a shot's name is cut where it is too long.
    """
    safe = safe_box(size_px)
    wanted = min(max(round(size_px[1] * _TEXT_SHARE), SMALLEST_TEXT_PX + 2), LARGEST_TEXT_PX)
    for letters in range(wanted, SMALLEST_TEXT_PX - 1, -1):
        top = max((_patch(text, letters, 0).grey.shape[0] for text in (lines.time, lines.shot) if text), default=0)
        widest = _patch(lines.time, letters, 0).grey.shape[1] if lines.time else 0
        figures = _table(lines.figures, letters) if lines.figures else None
        tall, wide = figures.grey.shape if figures else (0, 0)
        # A shot's name beside the time needs room for a few letters at least.
        beside = 4 * letters if lines.shot else 0
        if max(widest + beside, wide) <= safe.width and top + tall <= safe.height:
            return letters
    return 0


def draw_lines(picture: Rgb, lines: Lines, letters_px: int) -> None:
    """Write into a picture, (h, w, 3) uint8, in place; see :class:`Lines` for where."""
    safe = safe_box((picture.shape[1], picture.shape[0]))
    left_of_time = safe.width
    if lines.time:
        patch = _patch(lines.time, letters_px, safe.width)
        left_of_time = safe.width - patch.grey.shape[1] - letters_px // 2
        _lay(picture, patch, safe.x + safe.width - patch.grey.shape[1], safe.y)
    if lines.shot and left_of_time > 0:
        _lay(picture, _patch(lines.shot, letters_px, left_of_time), safe.x, safe.y)
    if lines.figures:
        patch = _table(lines.figures, letters_px)
        _lay(picture, patch, safe.x, safe.y + safe.height - patch.grey.shape[0])


def draw_grid(picture: Rgb) -> None:
    """Draw thin lines that divide the width into eighths, and as far apart in height, into a picture in place.

    Each is a light and a dark line beside each other, so that one of them is seen on anything.
    """
    height, width = picture.shape[:2]
    thick = max(1, round(height / 1080))
    step = width / _GRID_COLUMNS
    columns = [round(step * i) for i in range(1, _GRID_COLUMNS)]
    half = int(height / 2 / step)
    rows = [y for y in (round(height / 2 + step * i) for i in range(-half, half + 1)) if 0 < y < height]
    parts = [np.s_[:, x - thick : x] for x in columns] + [np.s_[y - thick : y, :] for y in rows]
    after = [np.s_[:, x : x + thick] for x in columns] + [np.s_[y : y + thick, :] for y in rows]
    # All dark ones first: where lines cross, the light ones are whole.
    for places, grey in ((after, _GRID_DARK), (parts, _GRID_LIGHT)):
        for place in places:
            mixed = picture[place] * np.float32(1.0 - _GRID_OPACITY) + np.float32(grey * _GRID_OPACITY)
            picture[place] = np.rint(mixed).astype(np.uint8)


def drawable(text: str) -> str:
    """One line of what was given, whatever was given: control characters are spaces, a real minus sign is a hyphen."""
    shown = text[:_MOST_LETTERS].replace("\N{MINUS SIGN}", "-").replace("\N{HORIZONTAL ELLIPSIS}", "...")
    return "".join(letter if letter.isprintable() else " " for letter in shown)


def fitted(text: str, letters_px: int, width_px: int) -> str:
    """The text, its end left out where it would be wider than ``width_px``."""
    text = drawable(text)
    if _advance(text, letters_px) <= width_px:
        return text
    least, most = 0, len(text)
    while least < most:
        middle = (least + most + 1) // 2
        fits = _advance(text[:middle] + "...", letters_px) <= width_px
        least, most = (middle, most) if fits else (least, middle - 1)
    return text[:least] + "..."


def _lay(picture: Rgb, patch: _Patch, x: int, y: int) -> None:
    """Blend a patch over a picture; what would lie outside is left out."""
    x, y = max(0, x), max(0, y)
    part = picture[y : y + patch.grey.shape[0], x : x + patch.grey.shape[1]]
    rows, columns = part.shape[:2]
    opacity = patch.opacity[:rows, :columns, None]
    mixed = part * (np.float32(1.0) - opacity) + patch.grey[:rows, :columns, None] * opacity
    part[:] = np.rint(mixed).astype(np.uint8)


@lru_cache(maxsize=4)
def _font(letters_px: int) -> ImageFont.ImageFont | ImageFont.FreeTypeFont:
    return ImageFont.load_default(letters_px)


@lru_cache(maxsize=4)
def _digit_advance(letters_px: int) -> float:
    return max(float(_font(letters_px).getlength(digit)) for digit in "0123456789")


def _advances(text: str, letters_px: int) -> list[float]:
    """How far each letter takes the pen; all digits alike, so that a running timecode stands still."""
    font, digit, space = _font(letters_px), _digit_advance(letters_px), float(np.ceil(letters_px * _SPACE_SHARE))

    def advance(letter: str) -> float:
        if letter.isdecimal() and letter.isascii():
            return digit
        own = float(font.getlength(letter))
        return max(own, space) if letter == " " else own

    return [advance(letter) for letter in text]


def _advance(text: str, letters_px: int) -> float:
    return sum(_advances(text, letters_px))


@lru_cache(maxsize=512)
def _patch(text: str, letters_px: int, most_wide: int) -> _Patch:
    """A line of text on its ground; cut to ``most_wide`` pixels unless that is 0."""
    pad = _pad(letters_px)
    shown = fitted(text, letters_px, most_wide - 2 * pad) if most_wide else drawable(text)
    width = int(np.ceil(_advance(shown, letters_px))) + 2 * pad
    return _on_ground([(pad, pad // 2, shown)], width, _row_px(letters_px) + pad, letters_px)


@lru_cache(maxsize=512)
def _table(rows: Sequence[tuple[str, ...]], letters_px: int) -> _Patch:
    """Rows of cells on one ground."""
    pad, row_px = _pad(letters_px), _row_px(letters_px)
    count = max(len(row) for row in rows)
    widths = [
        max((_advance(drawable(row[i]), letters_px) for row in rows if i < len(row)), default=0.0) for i in range(count)
    ]
    starts = [pad + sum(widths[:i]) + i * letters_px * 0.6 for i in range(count)]
    width = int(np.ceil(starts[-1] + widths[-1])) + pad
    cells = [
        (round(starts[i]), pad // 2 + number * row_px, drawable(cell))
        for number, row in enumerate(rows)
        for i, cell in enumerate(row)
    ]
    return _on_ground(cells, width, len(rows) * row_px + pad, letters_px)


def _on_ground(cells: Sequence[tuple[int, int, str]], width: int, height: int, letters_px: int) -> _Patch:
    image = Image.new("L", (max(1, width), max(1, height)))
    draw, font = ImageDraw.Draw(image), _font(letters_px)
    for x, y, text in cells:
        pen = float(x)
        for letter, advance in zip(text, _advances(text, letters_px)):
            own = float(font.getlength(letter))
            draw.text((pen + (advance - own) / 2.0, y), letter, fill=255, font=font)
            pen += advance
    ink = np.asarray(image, np.float32) * np.float32(1.0 / 255.0)
    opacity = np.float32(_GROUND_OPACITY) + np.float32(1.0 - _GROUND_OPACITY) * ink
    return _Patch(np.float32(_GROUND) + np.float32(_INK - _GROUND) * ink, opacity)


def _pad(letters_px: int) -> int:
    return max(2, letters_px // 3)


def _row_px(letters_px: int) -> int:
    return round(letters_px * 1.3)
