"""Many shots in one array: what a thousand small arrays would be asked one by one is asked of all of them at once."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np
import numpy.typing as npt

Indices = npt.NDArray[np.int64]


@dataclass(frozen=True, eq=False)
class Together:
    """Shots that follow each other in arrays with a row for each of their n frames.

    Attributes
    ----------
    lengths : (shots,) int64
        Frames of each, 1 or more.
    """

    lengths: Indices

    @classmethod
    def of(cls, lengths: Iterable[int]) -> Together:
        """Shots of so many frames."""
        return cls(np.fromiter(lengths, np.int64))

    @cached_property
    def starts(self) -> Indices:
        """Row of each shot's first frame, (shots,)."""
        return self.ends - self.lengths + 1

    @cached_property
    def ends(self) -> Indices:
        """Row of each shot's last frame, (shots,)."""
        return np.asarray(np.cumsum(self.lengths) - 1)

    def spread(self, values: npt.NDArray[Any]) -> npt.NDArray[Any]:
        """What is known of each shot, (shots, ...), at each of its frames: (n, ...)."""
        return np.repeat(values, self.lengths, axis=0)

    def parts(self, values: npt.NDArray[Any]) -> list[npt.NDArray[Any]]:
        """The rows of each shot, without copying them."""
        return [values[start : end + 1] for start, end in zip(self.starts.tolist(), self.ends.tolist())]

    def any(self, mask: npt.NDArray[np.bool_]) -> npt.NDArray[np.bool_]:
        """Whether any frame of each shot is in the mask (n,): (shots,)."""
        return np.asarray(np.logical_or.reduceat(mask, self.starts))

    def only(self, chosen: npt.NDArray[np.bool_]) -> Together:
        """Some of the shots, (shots,): those that are left in arrays without the rows of the others."""
        return Together(self.lengths[chosen])

    def first_of_most(self, values: npt.NDArray[np.floating[Any]]) -> Indices:
        """Row at which the values (n,) of each shot are first at their most, NaN left out; −1 where none is finite."""
        known = np.where(np.isfinite(values), values, -np.inf)
        most = np.maximum.reduceat(known, self.starts)
        rows = np.flatnonzero(known == self.spread(most))
        return np.where(np.isfinite(most), rows[np.searchsorted(rows, self.starts)], -1)

    def groups(self, size: int) -> tuple[Indices, npt.NDArray[np.bool_]]:
        """The ``size`` frames about each frame, at a shot's ends the nearest that it has.

        Returns
        -------
        rows : (n, size) int64
        beyond : (n, size) bool
            Where the shot has fewer frames than that: there the row is its last one once more.
        """
        first, last = self.spread(self.starts), self.spread(self.ends)
        start = np.maximum(np.minimum(np.arange(len(first)) - size // 2, last - (size - 1)), first)
        rows = start[:, None] + np.arange(size)
        return np.minimum(rows, last[:, None]), rows > last[:, None]

    def at_ends(self, size: int) -> tuple[Indices, Indices, npt.NDArray[np.bool_]]:
        """The first and the last ``size`` frames of each shot.

        Returns
        -------
        first, last : (shots, size) int64
            Rows, counted inwards from either end.
        beyond : (shots, size) bool
            Where the shot has fewer frames than that: there the row is the one at its other end once more.
        """
        inwards = np.arange(size)
        steps = np.minimum(inwards, self.lengths[:, None] - 1)
        return self.starts[:, None] + steps, self.ends[:, None] - steps, inwards >= self.lengths[:, None]
