"""A picture made small for looking at: 8-bit RGB with square pixels, never enlarged and never for delivery."""

from __future__ import annotations

from fractions import Fraction

import cv2
import numpy as np
import numpy.typing as npt

from postfix.review.pictures import Rgb
from postfix.source.packed_eye import origin_of
from postfix.source.pair import PairSource
from postfix.source.picture import PictureFormat, Plane, Planes
from postfix.source.video import VideoSource

Weights = tuple[float, float]
"""Luma weights of red and blue."""

REC_709: Weights = (0.2126, 0.0722)
_WEIGHTS: dict[int, Weights] = {1: REC_709, 5: (0.299, 0.114), 6: (0.299, 0.114), 9: (0.2627, 0.0593)}
"""Of the matrices that a file may name, by their code in ITU-T H.273 (from memory): BT.709, BT.601 twice, BT.2020."""

_MOST_LIGHT = 16.0
"""Lights beyond sixteen times white are brought down to that, lest a reflection bleed over what is averaged with it."""

_LEAST_PX = 2


def luma_weights(pair: PairSource) -> Weights:
    """Luma weights of the matrix that a pair's file names; those of BT.709 where it names none that is known here."""
    origin = origin_of(pair.left)
    return _WEIGHTS.get(origin.tags.color_matrix, REC_709) if isinstance(origin, VideoSource) else REC_709


def shown_size(
    size_px: tuple[int, int], pixel_aspect: Fraction, most_wide: int, *, even: bool = False
) -> tuple[int, int]:
    """Width and height in which a picture is shown: pixels square, neither direction enlarged.

    Parameters
    ----------
    size_px : (int, int)
        Width and height as it is stored.
    pixel_aspect : Fraction
        Width over height of one pixel as it is shown: other than 1, it is resolved by scaling one direction down.
    most_wide : int
        Pixels.
    even : bool
        True where both must be even numbers, as video with chroma of half size asks.
    """
    stored_width, stored_height = size_px
    width = min(Fraction(stored_width), stored_width * pixel_aspect)
    height = min(Fraction(stored_height), stored_height / pixel_aspect)
    if width > most_wide:
        width, height = Fraction(most_wide), height * most_wide / width
    if not even:
        return max(1, round(width)), max(1, round(height))
    wide = max(_LEAST_PX, int(width) // 2 * 2)
    # The height that keeps the shape best for the width as it was rounded, and is no enlargement.
    tall = min(2 * round(height * wide / width / 2), int(height) // 2 * 2)
    return wide, max(_LEAST_PX, tall)


def shown_rgb(planes: Planes, fmt: PictureFormat, size_px: tuple[int, int], weights: Weights = REC_709) -> Rgb:
    """A picture as 8-bit RGB of a size, for looking at.

    Every plane is averaged over areas in its own codes first and turned into RGB afterwards, which is the same but for
    rounding to a code and costs less. Coded values stay coded. Light, as OpenEXR holds it, is coded by the curve of
    sRGB, since a monitor would show it far too dark. What is no number is black, alpha is left out, and primaries and
    transfer of the file are not looked at.

    Parameters
    ----------
    planes : Planes
    fmt : PictureFormat
    size_px : (int, int)
        Width and height.
    weights : Weights
        Of the matrix that YUV was made with.

    Returns
    -------
    (h, w, 3) uint8
    """
    first = planes[0]
    # Light stands in one plane; what follows it is no third of a picture.
    parted = first.ndim == 2 and len(planes) >= 3 and not (fmt.is_linear and not fmt.is_yuv)
    if parted:
        samples = np.stack([_scaled(plane, size_px) for plane in planes[:3]], axis=2)
    else:
        one = first[..., :3] if first.ndim == 3 and first.shape[2] >= 3 else first if first.ndim == 2 else first[..., 0]
        samples = _scaled(_numbers(one, fmt), size_px)
        if samples.ndim == 2:
            samples = np.repeat(samples[..., None], 3, axis=2)
    if fmt.is_yuv and parted:
        rgb = cv2.transform(samples, _rgb_from_yuv(fmt, weights))
    else:
        black = fmt.planes[0].black[0]
        rgb = (samples - np.float32(black)) * np.float32(255.0 / (fmt.white - black))
    return to_codes(_coded_light(rgb) if fmt.is_linear else rgb)


def to_codes(values: npt.NDArray[np.float32]) -> Rgb:
    """Numbers from 0 to 255 rounded to the nearest code; what lies outside has that end's."""
    return np.asarray(cv2.convertScaleAbs(np.maximum(values, np.float32(0.0))), np.uint8).reshape(values.shape)


def _rgb_from_yuv(fmt: PictureFormat, weights: Weights) -> npt.NDArray[np.float64]:
    """Matrix, (3, 4), from the codes of a format to R, G, B of 0 to 255 (Rec. ITU-R BT.709-6, items 3.2 to 3.5)."""
    red, blue = weights
    black, white = fmt.planes[0].black[0], fmt.white
    luma = 255.0 / (white - black)
    # Limited range gives chroma 224 codes for luma's 219; full range gives both the same.
    chroma = luma if black == 0.0 else luma * 219.0 / 224.0
    from_blue, from_red = 2.0 * (1.0 - blue) * chroma, 2.0 * (1.0 - red) * chroma
    green = 1.0 - red - blue
    matrix = np.array(
        [
            [luma, 0.0, from_red],
            [luma, -from_blue * blue / green, -from_red * red / green],
            [luma, from_blue, 0.0],
        ]
    )
    zero = np.array([black, fmt.planes[1].black[0], fmt.planes[2].black[0]])
    return np.hstack([matrix, -(matrix @ zero)[:, None]])


def _numbers(samples: Plane, fmt: PictureFormat) -> Plane:
    """Samples that can be averaged: floating ones without what is no number, and without lights of no use."""
    if samples.dtype.kind != "f":
        return samples
    most = _MOST_LIGHT * fmt.white
    return np.clip(np.nan_to_num(samples.astype(np.float32), nan=0.0, posinf=most, neginf=0.0), 0.0, most)


def _scaled(plane: Plane, size_px: tuple[int, int]) -> npt.NDArray[np.float32]:
    """Averaged over areas where it is larger, along each axis on its own; chroma of half size may have to grow."""
    width, height = size_px
    rows, columns = plane.shape[:2]
    less = min(width, columns), min(height, rows)
    samples = np.ascontiguousarray(plane)
    if less != (columns, rows):
        samples = cv2.resize(samples, less, interpolation=cv2.INTER_AREA)
    samples = samples.astype(np.float32)
    if less != size_px:
        samples = cv2.resize(samples, size_px, interpolation=cv2.INTER_LINEAR)
    return np.asarray(samples, np.float32).reshape(height, width, *plane.shape[2:])


def _coded_light(light: npt.NDArray[np.float32]) -> npt.NDArray[np.float32]:
    """Light of 0 to 255 coded by the curve of sRGB (IEC 61966-2-1, from memory)."""
    share = np.clip(light * np.float32(1.0 / 255.0), 0.0, 1.0)
    coded = np.where(share <= 0.0031308, 12.92 * share, 1.055 * share ** (1.0 / 2.4) - 0.055)
    return np.asarray(coded * 255.0, np.float32)
