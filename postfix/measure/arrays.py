"""Measuring from Python: arrays in, figures out."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from postfix.errors import InputError
from postfix.measure.frame import measure_frame
from postfix.measure.table import FrameMeasure
from postfix.source.picture import PictureFormat, PlaneFormat


def measure_pair(left: npt.NDArray[np.generic], right: npt.NDArray[np.generic]) -> FrameMeasure:
    """Measure one frame of both eyes.

    Parameters
    ----------
    left, right : ndarray, (H, W) grey or (H, W, 3) RGB
        uint8 or uint16 over their full scale, or float32 with 0 black and 1 white.

    Returns
    -------
    FrameMeasure
        Percent of width; NaN where nothing could be measured.

    Raises
    ------
    InputError
        Where one is no array, the two differ in shape or type, or are not pictures of these kinds.
    """
    for eye, picture in (("left", left), ("right", right)):
        if not isinstance(picture, np.ndarray):
            raise InputError(
                "measure_pair",
                f"{type(picture).__name__} for the {eye} eye",
                "a numpy array for each eye",
                "convert the pictures with numpy.asarray and the right type",
            )
    if left.shape != right.shape or left.dtype != right.dtype:
        raise InputError(
            "measure_pair",
            f"{left.shape} {left.dtype} on the left and {right.shape} {right.dtype} on the right",
            "two pictures of one shape and type",
            "bring both eyes to the same size and depth",
        )
    whites = {"uint8": 255.0, "uint16": 65535.0, "float32": 1.0}
    white = whites.get(left.dtype.name)
    rgb = left.ndim == 3 and left.shape[2] == 3
    if white is None or not (left.ndim == 2 or rgb) or 0 in left.shape:
        raise InputError(
            "measure_pair",
            f"shape {left.shape}, {left.dtype}",
            "(H, W) or (H, W, 3) in uint8, uint16 or float32",
            "convert the pictures first",
        )
    channels = 3 if rgb else 1
    fmt = PictureFormat(
        width=left.shape[1],
        height=left.shape[0],
        pixel_format="array",
        dtype=left.dtype.name,
        bit_depth=8 * left.dtype.itemsize,
        white=white,
        is_yuv=False,
        planes=(PlaneFormat(1, 1, channels, (0.0,) * channels),),
    )
    return measure_frame((left,), (right,), fmt)[0]
