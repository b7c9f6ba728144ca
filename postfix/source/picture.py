"""What a decoded picture is made of: native planes, never converted on the way through."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path
from typing import Literal, Protocol, get_args

import cv2
import numpy as np
import numpy.typing as npt

Plane = npt.NDArray[np.generic]
Planes = tuple[Plane, ...]
"""The planes of one picture, each (rows, columns) or (rows, columns, channels), in the file's own codes."""


OnBad = Literal["stop", "hold", "black"]
"""What is done about a frame that cannot be decoded: stop there, hold the frame before, or show black."""

ON_BAD: tuple[OnBad, ...] = get_args(OnBad)


@dataclass(frozen=True)
class Unread:
    """What stands in the place of a frame that cannot be decoded: why not, as an error would say that it was found."""

    reason: str


@dataclass(frozen=True)
class PlaneFormat:
    """One plane of a picture.

    Attributes
    ----------
    step_x, step_y : int
        Luma columns and rows per sample of this plane (2 where chroma is subsampled).
    channels : int
        1 for a (rows, columns) array, else the last axis of (rows, columns, channels).
    black : tuple of float
        The code of black in each channel: the range's own black for luma, neutral for chroma, opaque for alpha.
    dtype : str or None
        numpy name of the plane's sample type in memory; None where it is the picture's own.
    is_colour : bool
        False for what is no light: depth, vectors, numbers of objects. It moves with the picture and is never
        interpolated.
    left_sited, top_sited : bool
        Of a subsampled plane: whether a sample sits on the first of the luma columns (rows) it serves, or half-way
        between them.
    """

    step_x: int
    step_y: int
    channels: int
    black: tuple[float, ...]
    dtype: str | None = None
    is_colour: bool = True
    left_sited: bool = True
    top_sited: bool = False

    @property
    def centre_x_px(self) -> float:
        """Where the first sample's centre lies, in luma pixels from the frame's left edge."""
        return 0.5 if self.step_x == 1 or self.left_sited else self.step_x / 2.0

    @property
    def centre_y_px(self) -> float:
        """Where the first sample's centre lies, in luma pixels from the frame's top edge."""
        return 0.5 if self.step_y == 1 or self.top_sited else self.step_y / 2.0


@dataclass(frozen=True)
class PictureFormat:
    """Size, layout and code range of a picture.

    Attributes
    ----------
    width, height : int
        Luma pixels.
    pixel_format : str
        FFmpeg's name for video (``yuv422p10le``); for stills the channels and depth (``rgb-16bit``).
    dtype : str
        numpy name of the sample type of the first plane in memory: ``uint8``, ``uint16``, ``float16`` or ``float32``.
    bit_depth : int
        Bits that carry code values.
    white : float
        The code of reference white in the first plane; its black is ``planes[0].black[0]``.
    is_yuv : bool
        True where plane 0 is luma; False where planes hold R, G, B (interleaved or planar) or a single grey.
    planes : tuple of PlaneFormat
    is_linear : bool
        True where codes are proportional to light, as in OpenEXR.
    """

    width: int
    height: int
    pixel_format: str
    dtype: str
    bit_depth: int
    white: float
    is_yuv: bool
    planes: tuple[PlaneFormat, ...]
    is_linear: bool = False

    def dtype_of(self, plane: PlaneFormat) -> str:
        """numpy name of a plane's sample type in memory."""
        return plane.dtype or self.dtype

    @property
    def frame_bytes(self) -> int:
        """Memory that one picture takes."""
        return sum(
            -(-self.width // plane.step_x)
            * -(-self.height // plane.step_y)
            * plane.channels
            * np.dtype(self.dtype_of(plane)).itemsize
            for plane in self.planes
        )

    @property
    def step_px(self) -> int:
        """Luma pixels an eye must move by a multiple of so that every plane moves by whole samples."""
        return max(plane.step_x for plane in self.planes)


def black_picture(fmt: PictureFormat) -> Planes:
    """A picture of the format's own black in every plane."""
    planes = []
    for plane in fmt.planes:
        shape = (-(-fmt.height // plane.step_y), -(-fmt.width // plane.step_x), plane.channels)
        whole = np.empty(shape, fmt.dtype_of(plane))
        whole[:] = plane.black
        planes.append(whole[..., 0] if plane.channels == 1 else whole)
    return tuple(planes)


class EyeSource(Protocol):
    """One eye, readable from its start as often as needed.

    Attributes
    ----------
    path : Path
        As the person gave it: a video file, or the folder that holds the stills.
    format : PictureFormat
    rate : Fraction
        Frames per second.
    count : int
        Frames there are.
    first_number : int
        The number of frame 0 in the files' names for stills; 0 for video.
    timecode : str or None
        Of frame 0, ``HH:MM:SS:FF`` (``;`` before the frames where frames are dropped).
    """

    @property
    def path(self) -> Path: ...

    @property
    def format(self) -> PictureFormat: ...

    @property
    def rate(self) -> Fraction: ...

    @property
    def count(self) -> int: ...

    @property
    def first_number(self) -> int: ...

    @property
    def timecode(self) -> str | None: ...

    def frames(self, first: int = 0, last: int | None = None, *, colour_every: int = 1) -> Iterator[Planes]:
        """Decode frames ``first`` to ``last`` (both included, counted from 0), one at a time, in order.

        Whoever needs luma alone may say in which frames colour is wanted as well: those whose number is a multiple of
        ``colour_every``. Chroma of the others may hold anything.

        Raises
        ------
        InputError
            Where a frame cannot be decoded or the file ends early; names file and frame.
        """
        ...

    def files(self) -> list[Path]:
        """The files behind this eye, in order: one for video, one a frame for stills."""
        ...


def grey(planes: Planes, fmt: PictureFormat, out: npt.NDArray[np.float32] | None = None) -> npt.NDArray[np.float32]:
    """Luma of a picture as (height, width) float32, 0 at black and 1 at reference white, for measuring only.

    RGB is weighted with BT.709's luma coefficients on the coded values. With ``out`` it is written there: fresh memory
    of that size costs more than the arithmetic. Light is brought to steps like those of coded values (``_as_coded``).
    """
    luma = _luma(planes, fmt, out)
    if fmt.is_linear:
        _as_coded(luma)
    return luma


def _luma(planes: Planes, fmt: PictureFormat, out: npt.NDArray[np.float32] | None) -> npt.NDArray[np.float32]:
    first = planes[0]
    # Light stands in one plane; what follows it is no third of a picture.
    if fmt.is_yuv or (first.ndim == 2 and (len(planes) == 1 or fmt.is_linear)):
        luma = np.empty(first.shape, np.float32) if out is None else out
        black = fmt.planes[0].black[0]
        # Three plain passes cost less than one that converts and multiplies.
        np.copyto(luma, first, casting="unsafe")
        luma -= np.float32(black)
        luma *= np.float32(1.0 / (fmt.white - black))
        return luma
    weights = (0.2126, 0.7152, 0.0722)
    channels = [first[..., i] for i in range(3)] if first.ndim == 3 else list(planes[:3])
    luma = np.empty(channels[0].shape, np.float32) if out is None else out
    luma.fill(0.0)
    # Samples that are no numbers stay such; the caller decides what that means.
    with np.errstate(invalid="ignore", over="ignore"):
        for weight, channel in zip(weights, channels):
            luma += np.float32(weight) * channel.astype(np.float32)
    black = fmt.planes[0].black[0]
    luma -= np.float32(black)
    luma *= np.float32(1.0 / (fmt.white - black))
    return luma


_TOE = 0.01
_MOST_LIGHT = 16.0


def _as_coded(light: npt.NDArray[np.float32]) -> None:
    """Turn light into something like coded values, in place: 0 stays 0, and 1 stays 1.

    Half of all that a person sees lies below a fifth of white's light. Spread evenly over the few steps in which
    pictures are compared, shadows would be too flat to be matched. A root gives them the share that coded pictures
    give them; the toe keeps noise about black from being torn apart. Lights beyond sixteen times white are brought down
    to that, lest a few reflections decide how bright a picture is. What is no number is so afterwards.
    """
    holes = ~np.isfinite(light)
    with np.errstate(invalid="ignore", over="ignore"):
        np.clip(light, -_TOE, _MOST_LIGHT, out=light)
        light += np.float32(_TOE)
        np.sqrt(light, out=light)
        light -= np.float32(np.sqrt(_TOE))
        light *= np.float32(1.0 / (np.sqrt(1.0 + _TOE) - np.sqrt(_TOE)))
    if holes.any():
        light[holes] = np.nan


_LUMA_709, _LUMA_601 = (0.2126, 0.7152, 0.0722), (0.299, 0.587, 0.114)
_HD_LINES = 720
_ROWS_AVERAGED = 6


def small_rgb(planes: Planes, fmt: PictureFormat, width_px: int) -> npt.NDArray[np.float32]:
    """R'G'B' of a picture reduced by area averaging, for measuring only.

    Every plane is reduced in its own codes first and converted afterwards, from at least six rows for each row of the
    result; that is exact but for rounding to a code, since both steps are linear. YUV is taken to be BT.709 from 720
    lines on and BT.601 below, whatever the file says: both eyes are treated alike. Light is averaged as light and then
    brought to steps like those of coded values, as :func:`grey` does.

    Returns
    -------
    (h, w, 3) float32
        0 at black and 1 at reference white, not clipped; three equal channels where the picture is grey. ``w`` is
        ``width_px``, or the picture's own width where that is less.
    """
    width = min(width_px, fmt.width)
    height = max(1, round(fmt.height * width / fmt.width))
    black = fmt.planes[0].black[0]
    span = fmt.white - black
    first = _reduced(planes[0], width, height)
    if fmt.is_yuv:
        # Chroma spans 224 steps where luma spans 219, and as many where the range is full (Rec. ITU-R BT.709-6, 3.5).
        chroma_span = span * (224.0 / 219.0 if black > 0 else 1.0)
        red, green, blue = _LUMA_709 if fmt.height >= _HD_LINES else _LUMA_601
        luma = (first - np.float32(black)) / np.float32(span)
        neutral = np.float32(fmt.planes[1].black[0])
        cb, cr = ((_reduced(plane, width, height) - neutral) / np.float32(chroma_span) for plane in planes[1:3])
        r, b = luma + np.float32(2.0 * (1.0 - red)) * cr, luma + np.float32(2.0 * (1.0 - blue)) * cb
        g = (luma - np.float32(red) * r - np.float32(blue) * b) / np.float32(green)
        return np.stack([r, g, b], axis=-1)
    if first.ndim == 3 and first.shape[2] >= 3:
        rgb = first[..., :3]
    elif first.ndim == 2 and len(planes) >= 3 and not fmt.is_linear:
        rgb = np.stack([first, *(_reduced(plane, width, height) for plane in planes[1:3])], axis=-1)
    else:
        only = first if first.ndim == 2 else first[..., 0]
        rgb = np.stack([only] * 3, axis=-1)
    shown = np.asarray((rgb - np.float32(black)) / np.float32(span), np.float32)
    if fmt.is_linear:
        _as_coded(shown)
    return shown


def _reduced(plane: Plane, width: int, height: int) -> npt.NDArray[np.float32]:
    rows = plane[:: max(1, plane.shape[0] // height // _ROWS_AVERAGED)]
    if rows.dtype == np.float16:  # which the library does not reduce
        rows = rows.astype(np.float32)
    tall, wide = rows.shape[:2]
    if tall % height or wide % width:
        # Averaging over fractions of a sample is slow: whole samples first, to no less than twice the size.
        down, across = max(1, tall // (2 * height)), max(1, wide // (2 * width))
        whole = rows[: tall // down * down, : wide // across * across]
        halfway = cv2.resize(whole, (wide // across, tall // down), interpolation=cv2.INTER_AREA)
        rows = np.asarray(halfway, np.float32)
    return np.asarray(cv2.resize(rows, (width, height), interpolation=cv2.INTER_AREA), np.float32)
