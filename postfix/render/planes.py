"""Cutting the frame out of planes, moved by whole samples: nothing converted and nothing resampled."""

from __future__ import annotations

import numpy as np

from postfix.source.picture import PictureFormat, Plane, PlaneFormat, Planes


def black_of(plane: PlaneFormat, dtype: np.dtype[np.generic]) -> Plane:
    """The plane's black in its own sample type: one value, or one for each channel."""
    values = np.array(plane.black, dtype=dtype)
    return values[0] if plane.channels == 1 else values


def moved(planes: Planes, fmt: PictureFormat, shift_px: int, spare_px: int = 0) -> Planes:
    """The frame's columns of one eye whose picture is moved sideways, what the move leaves bare painted black.

    Parameters
    ----------
    planes : Planes
    fmt : PictureFormat
        Of ``planes``.
    shift_px : int
        Luma pixels, positive to the right; a multiple of ``fmt.step_px``.
    spare_px : int
        Columns that ``planes`` have beyond the frame at each side; a multiple of ``fmt.step_px``.

    Returns
    -------
    Planes
        The same arrays where there is nothing to move and nothing to cut off; views of them where the spare columns
        reach as far as the move, so that no sample is copied; else new arrays, each sample copied once.
    """
    if shift_px == 0 and spare_px == 0:
        return planes
    if shift_px % fmt.step_px or spare_px % fmt.step_px:
        raise ValueError(f"a move of {shift_px} px with {spare_px} px to spare is no multiple of {fmt.step_px}")
    return tuple(_cut(plane, info, shift_px, spare_px) for plane, info in zip(planes, fmt.planes))


def _cut(plane: Plane, info: PlaneFormat, shift_px: int, spare_px: int) -> Plane:
    spare = spare_px // info.step_x
    width = plane.shape[1] - 2 * spare
    first = spare - shift_px // info.step_x  # of the plane's columns, the one that the frame begins with
    if first >= 0 and first + width <= plane.shape[1]:
        return plane[:, first : first + width]
    out = np.empty((plane.shape[0], width, *plane.shape[2:]), plane.dtype)
    begin = min(max(-first, 0), width)
    end = max(min(plane.shape[1] - first, width), begin)
    out[:, begin:end] = plane[:, begin + first : end + first]
    out[:, :begin] = out[:, end:] = black_of(info, plane.dtype)
    return out
