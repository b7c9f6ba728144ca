"""Pictures for looking at only: 8-bit RGB, both eyes side by side or through red and cyan glasses."""

from __future__ import annotations

from functools import lru_cache
from typing import Any

import cv2
import imageio.v3 as imageio
import numpy as np
import numpy.typing as npt
from PIL import Image, ImageDraw, ImageFont

Rgb = npt.NDArray[np.uint8]
"""(H, W, 3), red, green, blue, coded values 0 to 255."""

RED_CYAN = np.array(
    [
        [0.456100, 0.500484, 0.176381, -0.0434706, -0.0879388, -0.00155529],
        [-0.0400822, -0.0378246, -0.0157589, 0.378476, 0.73364, -0.0184503],
        [-0.0152161, -0.0205971, -0.00546856, -0.0721527, -0.112961, 1.2264],
    ]
)
"""Least-squares projection for red and cyan glasses, columns left R G B then right R G B (Dubois 2001, ICASSP; second
hand). Every row sums to 1, so that a grey seen alike by both eyes stays that grey."""

GAP_PX = 6
"""Between both eyes side by side."""

_OUTLINE = (255, 176, 0)
_HATCH = (150, 150, 150)
_HATCH_STEP_PX = 9


def _coded(values: npt.NDArray[Any]) -> Rgb:
    return np.asarray(np.clip(np.rint(values), 0, 255), dtype=np.uint8)


def anaglyph(left_rgb: Rgb, right_rgb: Rgb) -> Rgb:
    """Both eyes in one picture for red (left eye) and cyan (right eye) glasses.

    The projection :data:`RED_CYAN` is applied to the coded (gamma) values as they are. The report of it that was read
    does not say whether coded or linear values are meant; coded ones are used because a preview then keeps the
    brightness of greys exactly and dark pictures do not close up.

    Parameters
    ----------
    left_rgb, right_rgb : (H, W, 3) uint8

    Returns
    -------
    (H, W, 3) uint8
    """
    eyes = zip((left_rgb, right_rgb), (RED_CYAN[:, :3], RED_CYAN[:, 3:]))
    left, right = (cv2.transform(rgb.astype(np.float32), matrix) for rgb, matrix in eyes)
    return _coded(left + right)


def side_by_side(left_rgb: Rgb, right_rgb: Rgb, gap_px: int = GAP_PX) -> Rgb:
    """Left eye left and right eye right, with a grey bar between, (H, 2 W + gap, 3)."""
    bar = np.full((left_rgb.shape[0], gap_px, 3), 128, np.uint8)
    return np.concatenate([left_rgb, bar, right_rgb], axis=1)


def fit_within(picture: Rgb, max_width: int) -> Rgb:
    """The picture no wider than ``max_width``, scaled down by averaging over areas; never enlarged."""
    height, width = picture.shape[:2]
    if width <= max_width:
        return picture
    size = (max_width, max(1, round(height * max_width / width)))
    return np.asarray(cv2.resize(picture, size, interpolation=cv2.INTER_AREA), dtype=np.uint8)


def with_window_outline(rgb: Rgb, left_px: tuple[float, float], right_px: tuple[float, float]) -> Rgb:
    """A copy in which the hidden strips of one eye are hatched and outlined, so that black shows on dark.

    Parameters
    ----------
    rgb : (H, W, 3) uint8
    left_px, right_px : (top, bottom)
        Widths of the strips at the left and the right edge, in pixels of this picture; 0 for none.

    Returns
    -------
    (H, W, 3) uint8
    """
    out = rgb.copy()
    height, width = rgb.shape[:2]
    rows, columns = np.mgrid[:height, :width]
    centres = (rows + 0.5) / height
    for (top, bottom), from_edge in ((left_px, columns), (right_px, width - 1 - columns)):
        if max(top, bottom) <= 0.0:
            continue
        line = top + (bottom - top) * centres
        strip = from_edge < line
        out[strip & ((rows + from_edge) % _HATCH_STEP_PX < 2)] = _HATCH
        # A dark line outside the bright one keeps the outline visible on bright pictures.
        out[(from_edge >= line) & (from_edge < line + 1) & (line > 0)] = (0, 0, 0)
        out[strip & (from_edge >= line - 2)] = _OUTLINE
    return out


@lru_cache(maxsize=8)
def _font(size_px: int) -> ImageFont.ImageFont | ImageFont.FreeTypeFont:
    return ImageFont.load_default(size_px)


def text_width(text: str, size_px: int) -> float:
    """Width of a line of text in pixels as :func:`draw_text` draws it."""
    return float(_font(size_px).getlength(_drawable(text)))


def draw_text(
    picture: Rgb, at_px: tuple[int, int], text: str, size_px: int, colour: tuple[int, int, int] = (235, 235, 235)
) -> Rgb:
    """A copy with a line of text whose top left corner is at ``at_px`` (x, y), in the font that Pillow carries."""
    image = Image.fromarray(picture)
    ImageDraw.Draw(image).text(at_px, _drawable(text), fill=colour, font=_font(size_px))
    return np.asarray(image, dtype=np.uint8)


def _drawable(text: str) -> str:
    """The text with signs that the font may lack replaced by plain ones."""
    for sign, plain in (("\N{MINUS SIGN}", "-"), ("→", "to"), ("…", "..."), ("\n", " ")):
        text = text.replace(sign, plain)
    return text


def jpeg_bytes(rgb: Rgb, quality: int = 80, *, full_chroma: bool = True) -> bytes:
    """The picture as JPEG; with halved chroma it weighs less, but the red and cyan of an anaglyph would smear."""
    subsampling = 0 if full_chroma else 2
    return bytes(imageio.imwrite("<bytes>", rgb, extension=".jpg", quality=quality, subsampling=subsampling))
