"""The one resampling of a picture: zoomed, turned and moved to a fraction of a sample, each plane in its own codes.

Only what a placement needs is done: nothing is drawn anew up and down where nothing changes there, and a plane that
moves by whole samples is copied. Samples beyond the picture repeat its border. Chroma is drawn where its format says
that it sits; what is no light (depth, numbers of objects) goes to the nearest sample unchanged.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from functools import partial

import numpy as np
import numpy.typing as npt

from postfix.plan.placement import Placement
from postfix.render.bands import Bands, bands
from postfix.render.draw import Samples, drawn
from postfix.render.turn import Affine, turned
from postfix.source.picture import PictureFormat, Plane, PlaneFormat, Planes

_LEAST_SHARE = 0.5
_WHOLE = 1e-9

Draw = Callable[[Plane, Samples], Plane]


def resampled(planes: Planes, fmt: PictureFormat, placement: Placement) -> Planes:
    """All planes of one eye placed anew.

    Parameters
    ----------
    planes : Planes
        Never written to.
    fmt : PictureFormat
    placement : Placement
        With a turn of less than 45° either way.

    Returns
    -------
    Planes
        Of the same sizes and types. Whole codes are rounded to the nearest and kept inside the format's bit depth,
        floats are left as they come. A placement that changes nothing gives the very same arrays back.

    Raises
    ------
    ValueError
        For a zoom that is not above 0, or a turn of 45° or more.
    """
    if placement.is_still:
        return planes
    return tuple(_placed(plane, info, fmt, placement, _samples(plane, fmt)) for plane, info in zip(planes, fmt.planes))


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
    """
    fmt = PictureFormat(width, height, "", "float32", 32, 1.0, False, (info,))
    return np.asarray(_placed(plane, info, fmt, placement, Samples(np.dtype(np.float32), None)), np.float32)


def squeezed(planes: Planes, fmt: PictureFormat, across: int, down: int) -> Planes:
    """A picture with so many times fewer columns and rows, without what the smaller one cannot hold.

    Parameters
    ----------
    planes : Planes
        Of ``fmt``.
    fmt : PictureFormat
        Width and height that ``across`` and ``down`` divide.
    across, down : int
        1 leaves the axis alone.

    Returns
    -------
    Planes
        Their chroma sits in the small picture as it did in the large one.

    Raises
    ------
    ValueError
        Where a size does not divide.
    """
    if fmt.width % across or fmt.height % down:
        raise ValueError(f"{fmt.width}x{fmt.height} does not divide by {across}x{down}")
    return _scaled(planes, fmt, fmt.width // across, fmt.height // down, float(across), float(down))


def stretched(planes: Planes, fmt: PictureFormat, across: int, down: int) -> Planes:
    """A picture with so many times more columns and rows: the way back from :func:`squeezed`.

    Parameters
    ----------
    planes : Planes
        Of ``fmt``.
    fmt : PictureFormat
        Of the squeezed picture.
    across, down : int
        1 leaves the axis alone.
    """
    return _scaled(planes, fmt, fmt.width * across, fmt.height * down, 1.0 / across, 1.0 / down)


def _samples(plane: Plane, fmt: PictureFormat) -> Samples:
    whole = np.issubdtype(plane.dtype, np.integer)
    # A plane of another type than the picture's (alpha or numbers beside half floats) has its type's own range.
    depth = fmt.bit_depth if plane.dtype == np.dtype(fmt.dtype) else plane.dtype.itemsize * 8
    return Samples(plane.dtype, float(2**depth - 1) if whole else None)


def _scaled(planes: Planes, fmt: PictureFormat, width: int, height: int, scale_x: float, scale_y: float) -> Planes:
    result = []
    for plane, info in zip(planes, fmt.planes):
        # Sample j of the result sits at step·j + centre of its own pixels, and those are scale of the source's wide.
        column = (-(-width // info.step_x), scale_x, (scale_x - 1.0) * info.centre_x_px / info.step_x)
        row = (-(-height // info.step_y), scale_y, (scale_y - 1.0) * info.centre_y_px / info.step_y)
        result.append(_along_axes(plane, column, row, info.is_colour, _samples(plane, fmt)))
    return tuple(result)


Axis = tuple[int, float, float]
"""Outputs, and scale and offset of the input position that each of them shows."""


def _placed(plane: Plane, info: PlaneFormat, fmt: PictureFormat, placement: Placement, samples: Samples) -> Plane:
    affine = _affine(info, fmt, placement)
    height, width = plane.shape[:2]
    if placement.turn_deg == 0.0:
        column, row = (width, affine.a, affine.c), (height, affine.e, affine.f)
        return _along_axes(plane, column, row, info.is_colour, samples)
    if not _is_drawn(plane, info.is_colour):
        return _nearest(plane, affine, (height, width)).astype(samples.dtype, copy=False)
    return _with_holes(plane, lambda source, to: turned(source, affine, to), affine, (height, width), samples)


def _affine(info: PlaneFormat, fmt: PictureFormat, placement: Placement) -> Affine:
    """Which sample of a plane each sample of the placed plane shows.

    Sample j sits at ``step·j + centre`` luma pixels from the frame's edge, the placement is about the frame's middle.
    """
    zoom, turn = placement.zoom, math.radians(placement.turn_deg)
    if not zoom > 0.0 or not abs(placement.turn_deg) < 45.0:
        raise ValueError(f"a zoom above 0 and a turn below 45 degrees are wanted, not {placement}")
    cos, sin = math.cos(turn) / zoom, math.sin(turn) / zoom
    # A turn as seen: heights count for less across, and places across for more in height, where pixels are wide.
    sin_across, sin_down = sin / placement.pixel_aspect, sin * placement.pixel_aspect
    middle_x, middle_y = fmt.width / 2.0, fmt.height / 2.0
    x = info.centre_x_px - middle_x - placement.right_px
    y = info.centre_y_px - middle_y - placement.down_px
    shape = info.step_y / info.step_x
    return Affine(
        a=cos,
        b=sin_across * shape,
        c=(middle_x + cos * x + sin_across * y - info.centre_x_px) / info.step_x,
        d=-sin_down / shape,
        e=cos,
        f=(middle_y - sin_down * x + cos * y - info.centre_y_px) / info.step_y,
    )


def _is_drawn(plane: Plane, is_colour: bool) -> bool:
    """Whether samples may be mixed; numbers of 32 bits are no light, and float32 could not hold them."""
    return is_colour and not (np.issubdtype(plane.dtype, np.integer) and plane.dtype.itemsize > 2)


def _is_whole(axis: Axis) -> bool:
    return axis[1] == 1.0 and abs(axis[2] - round(axis[2])) < _WHOLE


def _along_axes(plane: Plane, column: Axis, row: Axis, is_colour: bool, samples: Samples) -> Plane:
    affine = Affine(column[1], 0.0, column[2], 0.0, row[1], row[2])
    shape = (row[0], column[0])
    if (_is_whole(column) and _is_whole(row)) or not _is_drawn(plane, is_colour):
        return _nearest(plane, affine, shape).astype(samples.dtype, copy=False)
    columns, rows = _bands(column, plane.shape[1]), _bands(row, plane.shape[0])
    return _with_holes(plane, partial(_drawn, column=columns, row=rows), affine, shape, samples)


def _bands(axis: Axis, inputs: int) -> Bands | None:
    size, scale, offset = axis
    if size == inputs and _is_whole(axis) and round(offset) == 0:
        return None
    return bands(size, inputs, scale, offset)


def _drawn(plane: Plane, samples: Samples, *, column: Bands | None, row: Bands | None) -> Plane:
    return drawn(plane, column, row, samples)


def _nearest(plane: Plane, affine: Affine, shape: tuple[int, int]) -> Plane:
    """The nearest sample for each of the result's, bit for bit."""
    rows, columns = np.arange(shape[0], dtype=np.float64), np.arange(shape[1], dtype=np.float64)
    if affine.b == 0.0 and affine.d == 0.0:
        row = _index(affine.e * rows + affine.f, plane.shape[0])
        column = _index(affine.a * columns + affine.c, plane.shape[1])
        return np.take(np.take(plane, row, axis=0), column, axis=1)
    x = affine.a * columns[None, :] + affine.b * rows[:, None] + affine.c
    y = affine.d * columns[None, :] + affine.e * rows[:, None] + affine.f
    return np.asarray(plane[_index(y, plane.shape[0]), _index(x, plane.shape[1])])


def _index(position: npt.NDArray[np.float64], inputs: int) -> npt.NDArray[np.int64]:
    # The least bit is added so that a position half-way is not decided by the last digit of a product.
    return np.clip(np.floor(position + (0.5 + _WHOLE)), 0, inputs - 1).astype(np.int64)


def _with_holes(plane: Plane, draw: Draw, affine: Affine, shape: tuple[int, int], samples: Samples) -> Plane:
    """Draw a plane in which some samples may be infinite or no number.

    Such a sample goes to the output samples that it is the nearest to, as it is; all others are made of the finite
    samples alone, and of the nearest one where less than half of the weights is left.
    """
    if np.issubdtype(plane.dtype, np.integer) or _all_finite(plane):
        return draw(plane, samples)
    finite = np.isfinite(plane)
    floats = Samples(np.dtype(np.float32), None)
    values = np.asarray(draw(np.where(finite, plane, 0).astype(np.float32), floats), np.float32)
    share = np.asarray(draw(finite.astype(np.float32), floats), np.float32)
    nearest = _nearest(plane, affine, shape)
    kept = ~np.isfinite(nearest) | (share < _LEAST_SHARE)
    touched = ~kept & (np.abs(share - 1.0) > 1e-5)
    values[touched] /= share[touched]
    out: Plane = np.empty(values.shape, samples.dtype)
    samples.write(values.reshape(values.shape[0], -1), out.reshape(values.shape[0], -1))
    out[kept] = nearest[kept]
    return out


def _all_finite(plane: Plane) -> bool:
    for start in range(0, plane.shape[0], 32):
        strip = plane[start : start + 32]
        if strip.dtype == np.float16:
            # All bits of the exponent are set, whatever the sign: ten times as fast as asking for each sample.
            if (np.left_shift(strip.view(np.uint16), 1) >= 0xF800).any():
                return False
        # A sum of squares is finite only if all samples are, but may be infinite though they are.
        elif not np.isfinite(_sum_of_squares(strip)) and not np.isfinite(strip).all():
            return False
    return True


def _sum_of_squares(samples: Plane) -> float:
    flat: npt.NDArray[np.float32] = np.asarray(samples, np.float32).reshape(-1)
    return float(np.dot(flat, flat))
