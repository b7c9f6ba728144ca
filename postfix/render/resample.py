"""One resampling of a plane: zoomed about the picture's centre and moved sideways, to a fraction of a sample.

A separable sinc under a Kaiser window, normalised so that a flat area keeps its code; each axis as blocks of small
dense matrix products over the input samples that a block touches. Only for zoom factors of 1 and more: a reduction
would need a longer kernel. Samples beyond the picture repeat its border.

Where samples sit: a luma sample's centre is half a pixel inside its pixel. Chroma of 4:2:0 and 4:2:2 is taken to sit on
the left luma column of its two, and chroma of 4:2:0 half-way between its two rows (the default siting of MPEG-2 and
later; ITU-T H.264 Annex E, chroma sample location type 0; from memory). No format here says otherwise.
"""

from __future__ import annotations

from functools import lru_cache

import numpy as np
import numpy.typing as npt

from postfix.plan.placement import Placement
from postfix.source.picture import PictureFormat, Plane, PlaneFormat, Planes

TAPS = 16
"""Input samples that make one output sample along an axis."""

KAISER_BETA = 6.0
"""Shape of the window: against an exact shift the error stays under −60 dB up to 0.65 of Nyquist (one code of 10 bits)
and is −32 dB at 0.8; a larger value is cleaner below and softer above. Project default."""

_BLOCK = 64

Matrix = npt.NDArray[np.float32]
Bands = tuple[tuple[int, int, Matrix], ...]


@lru_cache(maxsize=64)
def _bands(size: int, scale: float, offset: float) -> Bands:
    """Weights for outputs 0 to ``size − 1`` of an axis of ``size`` inputs; output i is read at ``scale·i + offset``.

    Returns
    -------
    tuple of (first input, end of inputs, (outputs, inputs) float32)
        One entry for each block of outputs, in order.
    """
    position = scale * np.arange(size) + offset
    base = np.floor(position).astype(np.int64) - (TAPS // 2 - 1)
    taps = base[:, None] + np.arange(TAPS)
    distance = position[:, None] - taps
    inside = np.clip(1.0 - (distance / (TAPS / 2)) ** 2, 0.0, None)
    weights = np.sinc(distance) * np.i0(KAISER_BETA * np.sqrt(inside)) * (np.abs(distance) <= TAPS / 2)
    weights /= weights.sum(axis=1, keepdims=True)
    taps = np.clip(taps, 0, size - 1)
    bands = []
    for start in range(0, size, _BLOCK):
        block = slice(start, min(start + _BLOCK, size))
        first, end = int(taps[block].min()), int(taps[block].max()) + 1
        matrix = np.zeros((block.stop - block.start, end - first))
        rows = np.broadcast_to(np.arange(block.stop - block.start)[:, None], taps[block].shape)
        np.add.at(matrix, (rows, taps[block] - first), weights[block])
        bands.append((first, end, matrix.astype(np.float32)))
    return tuple(bands)


def _sampling(zoom: float, shift: float, extent: int, step: int, sample_centre: float) -> tuple[float, float]:
    """Scale and offset, in samples, from output sample to the input position that it shows.

    A point at X of the picture goes to ``c + zoom·(X − c) + shift`` with c its centre, and sample j sits at
    ``step·j + sample_centre``, all in luma pixels from the frame's edge.
    """
    centre = extent / 2.0
    start = centre + (sample_centre - centre - shift) / zoom
    return 1.0 / zoom, (start - sample_centre) / step


def resampled_plane(
    plane: Plane, info: PlaneFormat, width: int, height: int, placement: Placement
) -> npt.NDArray[np.float32]:
    """One plane placed anew, in float32 and unclipped.

    Parameters
    ----------
    plane : (rows, columns) or (rows, columns, channels)
    info : PlaneFormat
    width, height : int
        Of the picture, luma pixels.
    placement : Placement
        With a zoom of 1 or more.
    """
    zoom = placement.zoom
    column = _sampling(zoom, placement.right_px, width, info.step_x, info.centre_x_px)
    row = _sampling(zoom, placement.down_px, height, info.step_y, info.centre_y_px)
    channels = [plane] if plane.ndim == 2 else [plane[..., i] for i in range(plane.shape[2])]
    results = []
    for channel in channels:
        values = np.ascontiguousarray(channel, dtype=np.float32)
        if zoom != 1.0 or placement.down_px != 0.0:
            bands = _bands(values.shape[0], *row)
            values = np.concatenate([matrix @ values[first:end] for first, end, matrix in bands], axis=0)
        bands = _bands(values.shape[1], *column)
        results.append(np.concatenate([values[:, first:end] @ matrix.T for first, end, matrix in bands], axis=1))
    return results[0] if plane.ndim == 2 else np.stack(results, axis=2)


def resampled(planes: Planes, fmt: PictureFormat, placement: Placement) -> Planes:
    """All planes of one eye placed anew; whole codes are rounded to the nearest and kept inside the format's bit depth,
    float samples are left as they come. A placement that changes nothing gives the same arrays back."""
    if placement.is_still:
        return planes
    top_code = float(2**fmt.bit_depth - 1)
    result: list[Plane] = []
    for plane, info in zip(planes, fmt.planes):
        values = resampled_plane(plane, info, fmt.width, fmt.height, placement)
        if np.issubdtype(plane.dtype, np.integer):
            np.rint(values, out=values)
            np.clip(values, 0.0, top_code, out=values)
        result.append(values.astype(plane.dtype, copy=False))
    return tuple(result)
