"""One plane drawn anew along its axes, strip by strip, from its own samples to its own samples.

A strip of rows goes through all steps before the next one begins, so that nothing but the samples themselves travels to
memory and back.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from functools import lru_cache

import cv2
import numpy as np
import numpy.typing as npt

from postfix.render.bands import STRIP, Bands, Matrix, across, down, multiply, repeat_border, roomy, span, strips
from postfix.source.picture import Plane

_LARGEST_HALF = 65504.0


@dataclass(frozen=True)
class Samples:
    """What drawn values become.

    Attributes
    ----------
    dtype : numpy dtype
        float32 values stay as they are; float16 ones are held to the largest that there is.
    top_code : float or None
        Of whole codes, which are rounded to the nearest and held between 0 and this.
    """

    dtype: np.dtype[np.generic]
    top_code: float | None

    def write(self, values: Matrix, out: Plane) -> None:
        """Round, clip and store; ``values`` are spoiled."""
        if self.top_code is not None:
            np.rint(values, out=values)
            np.clip(values, 0.0, self.top_code, out=values)
        elif self.dtype == np.float16:
            np.clip(values, -_LARGEST_HALF, _LARGEST_HALF, out=values)
            if _cv_knows_halves() and out.strides[-1] == out.itemsize:
                cv2.add(values, 0, dst=out, dtype=cv2.CV_16F)
                return
        np.copyto(out, values, casting="unsafe")


def as_float(samples: Plane, out: Matrix) -> None:
    """Samples, (rows, columns), as float32."""
    if samples.dtype == np.float16 and _cv_knows_halves():
        cv2.add(samples, 0, dst=out, dtype=cv2.CV_32F)
    else:
        np.copyto(out, samples, casting="unsafe")


@lru_cache(maxsize=1)
def _cv_knows_halves() -> bool:
    """Whether OpenCV turns half floats to floats and back; numpy takes six to ten times as long (6.2 million samples:
    10.1 ms and 15.1 ms against 1.8 ms and 1.5 ms)."""
    halves = np.array([[1.5, -2.25, 6e-8, 65504.0]], np.float16)
    floats, back = np.empty((1, 4), np.float32), np.empty((1, 4), np.float16)
    try:
        cv2.add(halves, 0, dst=floats, dtype=cv2.CV_32F)
        cv2.add(floats, 0, dst=back, dtype=cv2.CV_16F)
    except (cv2.error, TypeError, AttributeError):
        return False
    return bool((floats == halves.astype(np.float32)).all() and (back == halves).all())


def drawn(plane: Plane, column: Bands | None, row: Bands | None, samples: Samples) -> Plane:
    """One plane drawn anew.

    Parameters
    ----------
    plane : (rows, columns) or (rows, columns, channels)
    column, row : Bands or None
        Which column (row) of the source each column (row) shows; None where that stays as it is. Not both None.
    samples : Samples

    Returns
    -------
    (``row.size``, ``column.size``) or (``row.size``, ``column.size``, channels)
    """
    height, width = plane.shape[:2]
    size = (height if row is None else row.size, width if column is None else column.size)
    out: Plane = np.empty(size + plane.shape[2:], samples.dtype)
    with np.errstate(over="ignore", invalid="ignore"):
        if column is not None:
            workspace = _Columns(plane, column, samples)
            for start, strip in _rows_as_they_are(plane) if row is None else _rows_drawn(plane, row):
                workspace.draw(strip, out[start : start + strip.shape[0]])
        elif row is not None:
            for start, values in _rows_drawn(plane, row):
                target = out[start : start + values.shape[0]]
                samples.write(values.reshape(values.shape[0], -1), target.reshape(values.shape[0], -1))
    return out


def _rows_as_they_are(plane: Plane) -> Iterator[tuple[int, Plane]]:
    for start in range(0, plane.shape[0], STRIP):
        yield start, plane[start : start + STRIP]


def _rows_drawn(plane: Plane, row: Bands) -> Iterator[tuple[int, Matrix]]:
    """Strips of the plane, drawn anew from top to bottom, in float32; valid until the next one."""
    columns = int(np.prod(plane.shape[1:]))
    parts = strips(row)
    work = np.zeros((max(strip.length for strip in parts), roomy(columns)), np.float32)
    result = np.empty((STRIP, work.shape[1]), np.float32)
    for strip in parts:
        at, of = span(strip.first, strip.length, plane.shape[0])
        as_float(plane[of].reshape(of.stop - of.start, columns), work[at, :columns])
        repeat_border(work[: strip.length, :columns], at, 0)
        multiply(down(row, strip, work, result))
        count = strip.end - strip.start
        yield strip.start, result[:count, :columns].reshape(count, *plane.shape[1:])


class _Columns:
    """The workspace in which strips of a plane are drawn anew from left to right.

    Interleaved channels are taken apart and put together by OpenCV: strided copies by numpy take three times as long.
    """

    def __init__(self, plane: Plane, column: Bands, samples: Samples) -> None:
        channels = 1 if plane.ndim == 2 else plane.shape[2]
        self._band, self._samples = column, samples
        self._at, self._of = span(column.first, column.length, plane.shape[1])
        self._work = np.zeros((channels, STRIP, column.length), np.float32)
        self._result = np.empty((channels, STRIP, column.padded), np.float32)
        self._steps = across(column, self._work, self._result)
        self._interleaved = plane.ndim == 3
        if self._interleaved:
            self._apart: Plane = np.empty((channels, STRIP, self._of.stop - self._of.start), plane.dtype)
            self._drawn: Plane = np.empty((channels, STRIP, column.size), samples.dtype)

    def draw(self, values: Plane, out: Plane) -> None:
        rows = values.shape[0]
        work, result = self._work[:, :rows], self._result[:, :rows]
        filled = work[:, :, self._at]
        source = values[:, self._of]
        if not self._interleaved:
            as_float(source, filled[0])
        elif source.dtype == np.float32:
            cv2.split(source, list(filled))
        else:
            apart = self._apart[:, :rows]
            cv2.split(_bits(source), list(_bits(apart)))
            for channel, target in zip(apart, filled):
                as_float(channel, target)
        repeat_border(work, self._at, 2)
        # The last strip may have fewer rows; what is left of the one before is drawn once more for nothing.
        multiply(self._steps)
        result = result[:, :, : self._band.size]
        if not self._interleaved:
            self._samples.write(result[0], out)
            return
        drawn = self._drawn[:, :rows]
        for channel, target in zip(result, drawn):
            self._samples.write(channel, target)
        cv2.merge(list(_bits(drawn)), _bits(out))


def _bits(samples: Plane) -> npt.NDArray[np.generic]:
    """Samples as something that OpenCV moves about in every version."""
    return samples.view(np.uint16) if samples.dtype == np.float16 else samples
