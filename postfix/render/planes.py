"""Moving planes by whole samples and painting exact black, nothing converted and nothing resampled."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from postfix.source.picture import PictureFormat, Plane, PlaneFormat, Planes

Counts = npt.NDArray[np.int64]

_WHOLE_SLACK_PX = 1e-6  # less than this over a whole pixel is arithmetic, not a need


def black_of(plane: PlaneFormat, dtype: np.dtype[np.generic]) -> Plane:
    """The plane's black in its own sample type: one value, or one for each channel."""
    values = np.array(plane.black, dtype=dtype)
    return values[0] if plane.channels == 1 else values


def moved(planes: Planes, fmt: PictureFormat, shift_px: int) -> Planes:
    """Planes of one eye moved sideways, what they leave bare painted black.

    Parameters
    ----------
    planes : Planes
    fmt : PictureFormat
    shift_px : int
        Luma pixels, positive to the right; a multiple of ``fmt.step_px``.

    Returns
    -------
    Planes
        The same arrays where ``shift_px`` is 0, else new ones.
    """
    if shift_px == 0:
        return planes
    if shift_px % fmt.step_px:
        raise ValueError(f"a move of {shift_px} px is no multiple of {fmt.step_px}")
    result = []
    for plane, info in zip(planes, fmt.planes):
        width = plane.shape[1]
        samples = max(-width, min(width, shift_px // info.step_x))
        out = np.empty(plane.shape, plane.dtype)
        if samples > 0:
            out[:, samples:] = plane[:, : width - samples]
            out[:, :samples] = black_of(info, plane.dtype)
        else:
            out[:, : width + samples] = plane[:, -samples:]
            out[:, width + samples :] = black_of(info, plane.dtype)
        result.append(out)
    return tuple(result)


def row_widths(top_px: float, bottom_px: float, height: int) -> npt.NDArray[np.float64]:
    """Columns hidden in each luma row, at its centre, by a straight edge from top to bottom; (height,)."""
    centres = (np.arange(height) + 0.5) / height
    return np.asarray(top_px + (bottom_px - top_px) * centres)


def row_counts(top_px: float, bottom_px: float, height: int) -> Counts:
    """Whole columns hidden in each luma row by a straight edge from top to bottom, rounded up; (height,)."""
    return np.asarray(np.ceil(row_widths(top_px, bottom_px, height) - _WHOLE_SLACK_PX), dtype=np.int64)


def hidden_groups(fmt: PictureFormat, left_px: Counts, right_px: Counts) -> tuple[Counts, Counts]:
    """Counts by luma row made to end between chroma samples, one entry for each chroma row.

    Rows that share a chroma row all take the larger count.

    Returns
    -------
    left, right_from : (chroma rows,)
        Luma columns hidden at the left, and the first one hidden at the right.
    """
    step_x = fmt.step_px
    groups = np.arange(0, fmt.height, max(plane.step_y for plane in fmt.planes))
    left = -(-np.maximum.reduceat(np.clip(left_px, 0, fmt.width), groups) // step_x) * step_x
    # On the right the first hidden column must be one where a chroma sample begins; the last sample of an odd width
    # covers a single column.
    right = np.maximum.reduceat(np.clip(right_px, 0, fmt.width), groups)
    beyond = -(-fmt.width // step_x) * step_x
    return left, np.where(right > 0, (fmt.width - right) // step_x * step_x, beyond)


def painted(planes: Planes, fmt: PictureFormat, left_px: Counts, right_px: Counts, *, owned: bool) -> Planes:
    """Hide columns at both sides, (height,) counts by luma row, in the exact black of each plane.

    Counts end between chroma samples, as :func:`hidden_groups` says, so that luma and chroma hide the same area and no
    coloured fringe is left.

    Parameters
    ----------
    owned : bool
        True where the arrays may be painted in place; else they are copied first.

    Returns
    -------
    Planes
        The same arrays where nothing is hidden.
    """
    if not (left_px.any() or right_px.any()):
        return planes
    step_y = max(plane.step_y for plane in fmt.planes)
    left, first_hidden = hidden_groups(fmt, left_px, right_px)
    result = []
    for plane, info in zip(planes, fmt.planes):
        out = plane if owned else plane.copy()
        rows_a_group = step_y // info.step_y
        row_left = np.repeat(left // info.step_x, rows_a_group)[: out.shape[0]]
        row_first = np.repeat(first_hidden // info.step_x, rows_a_group)[: out.shape[0]]
        _paint(out, row_left, row_first, black_of(info, out.dtype))
        result.append(out)
    return tuple(result)


def _paint(plane: Plane, left: Counts, first_hidden: Counts, black: Plane) -> None:
    """Paint, row by row, the samples before ``left`` and from ``first_hidden`` on."""
    width = plane.shape[1]
    most = min(int(left.max()), width)
    if most:
        strip = plane[:, :most]
        strip[np.arange(most) < left[:, None]] = black
    least = int(first_hidden.min())
    if least < width:
        strip = plane[:, least:]
        strip[np.arange(least, width) >= first_hidden[:, None]] = black
