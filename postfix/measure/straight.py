"""The proxies of a frame with the misfit between the eyes taken out of the right one."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np
import numpy.typing as npt

from postfix.measure.alignment import PointMatches, find_alignment
from postfix.measure.matching import Parallax, coarse_parallax
from postfix.measure.misfit import Misfit, outside_columns, without_misfit
from postfix.measure.patches import ToRight
from postfix.measure.proxy import Grey, Grey8, ProxyPair

_LEAST_MISSING_PX = 0.5
_HARMS_STRIPS_PX = 0.2
"""Proxy pixels by which a corner may lie off before strips at the sides are straightened too: a row or so of them."""


@dataclass(frozen=True)
class Straight:
    """A pair on common rows.

    Attributes
    ----------
    left, right : (h, w) uint8
    scale : float
        Source pixels per pixel of these.
    misfit : Misfit or None
        What was taken out, or found too small to be; None where it could not be told.
    points : PointMatches
        Points followed between the eyes, misfit out.
    coarse : (h', w') float32
        A first parallax map over the whole search range, in proxy pixels.
    """

    left: Grey8
    right: Grey8
    scale: float
    misfit: Misfit | None
    points: PointMatches
    coarse: Parallax

    def to_right(self, width: int, height: int) -> ToRight | None:
        """Where a place of the straightened right eye lies in the right eye of ``width`` × ``height`` as it is; None
        where they are the same."""
        misfit, (rows, columns) = self.misfit, self.left.shape
        if misfit is None or not misfit.worth_removing(columns, rows):
            return None
        frame = [(0, 0), (width, 0), (0, height), (width, height)]
        corners = misfit.in_right(frame, width, height, self.scale)
        base, across, down = corners[0], (corners[1] - corners[0]) / width, (corners[2] - corners[0]) / height
        both = (corners[3] - corners[1] - corners[2] + corners[0]) / (width * height)

        def placed(x: Any, y: Any) -> tuple[Any, Any]:
            # Shift, rotation, size and keystone together are exactly bilinear in the place.
            product = x * y
            at = [
                np.float32(base[i])
                + np.float32(across[i]) * x
                + np.float32(down[i]) * y
                + np.float32(both[i]) * product
                for i in (0, 1)
            ]
            return at[0], at[1]

        return placed

    @cached_property
    def outside(self) -> tuple[npt.NDArray[np.int32], npt.NDArray[np.int32]]:
        """How many columns of each row, (h,), lie outside the right eye's frame at its left and right side."""
        height, width = self.left.shape
        if self.misfit is None:
            return np.zeros(height, np.int32), np.zeros(height, np.int32)
        return outside_columns(self.misfit, width, height)

    @property
    def _strips_are_level(self) -> bool:
        """Whether what is found at the sides is the same with the misfit in."""
        height, width = self.left.shape
        return self.misfit is None or self.misfit.corner_px(width, height) <= _HARMS_STRIPS_PX

    def left_behind(self, *, is_right: bool) -> tuple[tuple[float, float], tuple[float, float]]:
        """What straightening cannot show of the right eye at one side, in source pixels.

        Returns
        -------
        (top, bottom), (top, bottom)
            Columns, as a straight line; rows at the ends of which more is missing.
        """
        if self._strips_are_level:
            return (0.0, 0.0), (0.0, 0.0)
        missing = self.outside[int(is_right)].astype(np.float64)
        height = len(missing)
        rows = np.arange(height)
        middle = slice(height // 5, height - height // 5)
        line = np.polyval(np.polyfit(rows[middle], missing[middle], 1), rows)
        if max(line[0], line[-1]) < _LEAST_MISSING_PX:
            line = np.zeros(height)
        within = missing <= line + 2.0
        top, bottom = int(within.argmax()), int(within[::-1].argmax())
        ends = [max(0.0, float(end) + 1.0) * self.scale if line.any() else 0.0 for end in (line[0], line[-1])]
        return (ends[0], ends[1]), (top * self.scale, bottom * self.scale)

    def strip(self, right: Grey, columns: int, *, is_right: bool) -> Grey:
        """The outermost columns of the full-size right eye at one side, straightened where that matters there."""
        height, width = right.shape
        first = width - columns if is_right else 0
        if self.misfit is None or self._strips_are_level:
            return right[:, first : first + columns]
        return without_misfit(right, self.misfit, self.scale, (first, 0, first + columns, height))


def straightened(proxy: ProxyPair, pixel_aspect: float) -> Straight:
    """Find the misfit between the eyes of a proxy pair and take it out of the right one.

    ``pixel_aspect`` is width over height of one pixel as it is shown.
    """
    height, width = proxy.left.shape
    coarse = coarse_parallax(proxy.left, proxy.right)
    misfit, points = find_alignment(proxy.left, proxy.right, coarse, pixel_aspect=pixel_aspect)
    if misfit is not None and misfit.is_large(width, height):
        # A large misfit spoils the map that the points start from, so look once more with it out.
        coarse = coarse_parallax(proxy.left, without_misfit(proxy.right, misfit, 1.0))
        again, followed = find_alignment(proxy.left, proxy.right, coarse, misfit, pixel_aspect)
        if again is not None:
            misfit, points = again, followed
    right = proxy.right if misfit is None else without_misfit(proxy.right, misfit, 1.0)
    return Straight(proxy.left, right, proxy.scale, misfit, points, coarse)
