"""A picture made small for looking at: 8-bit RGB with square pixels, never enlarged and never for delivery."""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction
from functools import lru_cache

import cv2
import numpy as np
import numpy.typing as npt

from postfix.review.pictures import Rgb
from postfix.source.layout import squeeze_of
from postfix.source.packed_eye import origin_of
from postfix.source.pair import PairSource
from postfix.source.picture import PictureFormat, Plane, PlaneFormat, Planes
from postfix.source.video import VideoSource

Samples = npt.NDArray[np.float32]

Weights = tuple[float, float]
"""Luma weights of red and blue."""

REC_709: Weights = (0.2126, 0.0722)
_WEIGHTS: dict[int, Weights] = {1: REC_709, 5: (0.299, 0.114), 6: (0.299, 0.114), 9: (0.2627, 0.0593)}
"""Of the matrices that a file may name, by their code in ITU-T H.273 (from memory): BT.709, BT.601 twice, BT.2020."""

_UNNAMED, _STANDARD_WIDTH_PX = 2, 720
"""The code of a matrix that is not named (ITU-T H.273, from memory), and the widest picture in which it is a doubt."""

_MOST_LIGHT = 16.0
"""Lights beyond sixteen times white are brought down to that, lest a reflection bleed over what is averaged with it."""

_LEAST_PX = 2


def luma_weights(pair: PairSource) -> Weights:
    """Luma weights of the matrix that a pair's file names; those of BT.709 where it names none that is known here."""
    origin = origin_of(pair.left)
    return _WEIGHTS.get(origin.tags.color_matrix, REC_709) if isinstance(origin, VideoSource) else REC_709


def matrix_is_guessed(pair: PairSource) -> bool:
    """True where colour may well be meant by another matrix than it is shown by: YUV of the size of standard definition
    in a file that names none, which is often BT.601 (720 samples a line; from memory)."""
    origin, fmt = origin_of(pair.left), pair.format
    if not isinstance(origin, VideoSource) or not fmt.is_yuv or len(fmt.planes) < 3:
        return False
    return origin.tags.color_matrix == _UNNAMED and fmt.width * squeeze_of(pair.layout)[0] <= _STANDARD_WIDTH_PX


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
    rounding to a code and costs less. Chroma of half size is taken from where its samples sit. Where luma is black the
    picture is, since no colour has chroma there; what stands there comes from beside it.

    Coded values stay coded. Light, as OpenEXR holds it, is coded by the curve of sRGB, since a monitor would show it
    far too dark. What is no number is black, alpha is left out, and primaries and transfer of the file are not looked
    at.

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
    within = min(size_px[0], fmt.width), min(size_px[1], fmt.height)
    if within != size_px:
        # Eyes that were squeezed are brought back to their shape; nothing else is ever enlarged.
        small = shown_rgb(planes, fmt, within, weights)
        return np.asarray(cv2.resize(small, size_px, interpolation=cv2.INTER_LINEAR), np.uint8)
    first = planes[0]
    # Light stands in one plane; what follows it is no third of a picture.
    parted = first.ndim == 2 and len(planes) >= 3 and not (fmt.is_linear and not fmt.is_yuv)
    if parted:
        of_planes = zip(planes[:3], fmt.planes)
        samples = cv2.merge([_scaled_plane(plane, one, fmt, size_px) for plane, one in of_planes])
    else:
        one = first[..., :3] if first.ndim == 3 and first.shape[2] >= 3 else first if first.ndim == 2 else first[..., 0]
        samples = _scaled(_numbers(one, fmt), size_px)
        if samples.ndim == 2:
            samples = np.repeat(samples[..., None], 3, axis=2)
    black = fmt.planes[0].black[0]
    if fmt.is_yuv and parted:
        codes = to_codes(np.asarray(cv2.transform(samples, _rgb_from_yuv(fmt, weights)), np.float32))
        lit = cv2.compare(samples[..., 0], black, cv2.CMP_GT)
        return np.asarray(cv2.bitwise_and(codes, codes, mask=lit), np.uint8).reshape(codes.shape)
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


def _scaled_plane(plane: Plane, info: PlaneFormat, fmt: PictureFormat, size_px: tuple[int, int]) -> Samples:
    """One of the planes of a picture in the size wanted."""
    if info.step_x == info.step_y == 1:
        return _scaled(plane, size_px)
    width, height = size_px
    down = _Axis(0, fmt.height, plane.shape[0], info.step_y, info.centre_y_px, height)
    across = _Axis(1, fmt.width, plane.shape[1], info.step_x, info.centre_x_px, width)
    samples = across.centred(down.centred(np.ascontiguousarray(plane)))
    less = min(width, samples.shape[1]), min(height, samples.shape[0])
    return across.spread(down.spread(_scaled(samples, less)))


def _scaled(plane: Plane, size_px: tuple[int, int]) -> Samples:
    """Averaged over areas where it is larger, in either direction; never enlarged."""
    width, height = size_px
    samples = np.ascontiguousarray(plane)
    if size_px != (plane.shape[1], plane.shape[0]):
        samples = cv2.resize(samples, size_px, interpolation=cv2.INTER_AREA)
    return np.asarray(samples, np.float32).reshape(height, width, *plane.shape[2:])


@dataclass(frozen=True)
class _Axis:
    """Chroma along one axis: how many luma pixels, how many samples for them, where those sit, how many are wanted.

    Averaging over areas takes each sample to sit in the middle of the pixels that it serves; most formats have it on
    the first of them.
    """

    axis: int
    pixels: int
    samples: int
    step: int
    centre_px: float
    wanted: int

    @property
    def _beside_middle(self) -> float:
        """How far before the middle of its pixels a sample sits, in steps of samples."""
        return 0.5 - self.centre_px / self.step

    @property
    def _is_whole(self) -> bool:
        return self.samples * self.step == self.pixels

    def centred(self, plane: Plane) -> Plane:
        """Samples in the middle of their pixels, to be averaged over areas, where there are more than are wanted."""
        if self.wanted >= self.samples:
            return plane
        if not self._is_whole:
            # The last sample serves fewer pixels than the others.
            return self._at(plane.astype(np.float32), self.pixels)
        return self._towards_next(plane, self._beside_middle) if self._beside_middle else plane

    def _towards_next(self, plane: Plane, share: float) -> Plane:
        """What lies a share of the way from each sample to the next."""
        after = np.concatenate([plane[1:], plane[-1:]]) if self.axis == 0 else np.hstack([plane[:, 1:], plane[:, -1:]])
        return np.asarray(cv2.addWeighted(plane, 1.0 - share, after, share, 0.0), plane.dtype).reshape(plane.shape)

    def spread(self, samples: Samples) -> Samples:
        """Samples between those there are, where no more are there than are wanted."""
        if self.wanted < self.samples or self.step == 1:
            return samples
        if self._is_whole and (self.axis, self.step, self.centre_px, self.wanted) == (1, 2, 0.5, self.pixels):
            # The same as below for the most common case, in a third of the time.
            both = cv2.merge([samples, self._towards_next(samples, 0.5)])
            return np.asarray(both, np.float32).reshape(samples.shape[0], self.wanted)
        if self._beside_middle or not self._is_whole:
            return self._at(samples, self.wanted)
        size = (samples.shape[1], self.wanted) if self.axis == 0 else (self.wanted, samples.shape[0])
        return np.asarray(cv2.resize(samples, size, interpolation=cv2.INTER_LINEAR), np.float32).reshape(size[::-1])

    def _at(self, samples: Samples, wanted: int) -> Samples:
        """Straight between the two samples about the middle of each pixel wanted."""
        before, after, share = _neighbours(self.pixels, self.samples, self.step, self.centre_px, wanted)
        found = samples[before] if self.axis == 0 else samples[:, before]
        beyond = samples[after] if self.axis == 0 else samples[:, after]
        beyond -= found
        beyond *= share[:, None] if self.axis == 0 else share
        found += beyond
        return found


@lru_cache(maxsize=16)
def _neighbours(
    pixels: int, samples: int, step: int, centre_px: float, wanted: int
) -> tuple[npt.NDArray[np.intp], npt.NDArray[np.intp], Samples]:
    """Which samples lie before and after each place wanted, and how far it is from one to the other."""
    at = np.clip(((np.arange(wanted) + 0.5) * pixels / wanted - centre_px) / step, 0.0, samples - 1.0)
    before = np.floor(at).astype(np.intp)
    return before, np.minimum(before + 1, samples - 1), (at - before).astype(np.float32)


def _coded_light(light: npt.NDArray[np.float32]) -> npt.NDArray[np.float32]:
    """Light of 0 to 255 coded by the curve of sRGB (IEC 61966-2-1, from memory)."""
    share = np.clip(light * np.float32(1.0 / 255.0), 0.0, 1.0)
    coded = np.where(share <= 0.0031308, 12.92 * share, 1.055 * share ** (1.0 / 2.4) - 0.055)
    return np.asarray(coded * 255.0, np.float32)
