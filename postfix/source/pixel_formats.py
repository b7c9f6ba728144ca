"""Pixel formats: FFmpeg's names turned into planes, code ranges and back."""

from __future__ import annotations

import re
from typing import Any

import av
import numpy as np
import numpy.typing as npt
from av.video.frame import VideoFrame

from postfix.source.picture import PictureFormat, PlaneFormat, Planes

_SUPPORTED = re.compile(r"(yuva?4[0-4][0-4]p|yuvj4[0-4][0-4]p|gbra?p|gray)(9|1[0-6])?(le)?|rgb24|rgba|rgb48le|rgba64le")
SUPPORTED_TEXT = "planar YUV, RGB or grey with 8 to 16 bits"

_BT2020 = (9, 10)
"""Matrix codes of ITU-T H.273 for BT.2020, non-constant and constant luminance."""


FULL_RANGE = {1: False, 2: True}
"""FFmpeg's colour range codes (limited, full); anything else is unknown."""


def is_supported(pixel_format: str) -> bool:
    """True where the planes of this format can be moved as they are."""
    return _SUPPORTED.fullmatch(pixel_format) is not None


def plane_order(pixel_format: str) -> tuple[int, ...]:
    """Which of the file's planes is the first, second … of ours: Y U V A, or R G B A where FFmpeg stores G B R A."""
    if is_interleaved(pixel_format):
        return (0,)
    return tuple(component.plane for component in av.VideoFormat(pixel_format, 16, 16).components)


def is_interleaved(pixel_format: str) -> bool:
    """True where one plane holds R, G, B (and alpha) of each pixel side by side."""
    return pixel_format.startswith("rgb")


def video_format(
    pixel_format: str, width: int, height: int, full_range: bool | None, color_matrix: int = 2
) -> PictureFormat:
    """Layout and code range of a video picture.

    Parameters
    ----------
    pixel_format : str
        FFmpeg's name; must be one that :func:`is_supported` accepts.
    width, height : int
        Luma pixels.
    full_range : bool or None
        From the file's tags. None (unknown): limited for YUV except ``yuvj…``, full for RGB and grey.
    color_matrix : int
        Code of ITU-T H.273; it tells where subsampled chroma sits. BT.2020 has it on the left column and, in 4:2:0, on
        the upper row (Rec. ITU-R BT.2100-2, Table 6 note, from memory); pictures with JPEG's range (``yuvj…``) have it
        half-way (JFIF, from memory); all others on the left column, half-way between rows (ITU-T H.264, Figure E-1,
        type 0).
    """
    described = av.VideoFormat(pixel_format, width, height)
    components = described.components
    bits = components[0].bits
    yuv = pixel_format.startswith("yuv")
    full = (not yuv or pixel_format.startswith("yuvj")) if full_range is None else full_range
    largest, unit = (1 << bits) - 1, 1 << (bits - 8)
    black, white = (0, largest) if full else (16 * unit, 235 * unit)
    if is_interleaved(pixel_format):
        codes = tuple(float(largest if component.is_alpha else black) for component in components)
        only = (PlaneFormat(step_x=1, step_y=1, channels=len(components), black=codes),)
        return PictureFormat(
            width, height, pixel_format, "uint8" if bits == 8 else "uint16", bits, float(white), False, only
        )
    planes = []
    for index, component in enumerate(components):
        if component.is_alpha:
            code = largest
        elif yuv and index in (1, 2):
            # Not by PyAV's is_chroma, which is False where chroma is not subsampled.
            code = 1 << (bits - 1)
        else:
            code = black
        planes.append(
            PlaneFormat(
                step_x=_step(width, component.width),
                step_y=_step(height, component.height),
                channels=1,
                black=(float(code),),
                left_sited=not pixel_format.startswith("yuvj"),
                top_sited=color_matrix in _BT2020 and component.height < height,
            )
        )
    return PictureFormat(
        width=width,
        height=height,
        pixel_format=pixel_format,
        dtype="uint8" if bits == 8 else "uint16",
        bit_depth=bits,
        white=float(white),
        is_yuv=yuv,
        planes=tuple(planes),
    )


def planes_of(frame: VideoFrame, fmt: PictureFormat) -> Planes:
    """The planes of a decoded frame in our order, as read-only views without line padding.

    They are read-only because the decoder may still need the memory to predict later frames from.
    """
    dtype = np.dtype(fmt.dtype)
    planes = []
    for index, described in zip(plane_order(fmt.pixel_format), fmt.planes, strict=True):
        samples = plane_samples(frame.planes[index], dtype, described.channels)
        samples.flags.writeable = False
        planes.append(samples)
    return tuple(planes)


def plane_samples(plane: Any, dtype: np.dtype[Any], channels: int) -> npt.NDArray[Any]:
    """The samples of a frame's plane without line padding: a view, (rows, columns) or (rows, columns, channels)."""
    rows = np.frombuffer(plane, dtype).reshape(plane.height, -1)[:, : plane.width * channels]
    return rows if channels == 1 else rows.reshape(plane.height, plane.width, channels)


def _step(luma: int, samples: int) -> int:
    for step in (1, 2, 4):
        if -(-luma // step) == samples:
            return step
    raise AssertionError(f"{samples} samples for {luma} pixels")
