"""The frame that is delivered, of another size than the pictures given: cut out of them, or with bars about them.

Nothing is scaled. Each axis is treated on its own: a larger source is cut, a smaller one gets bars, both about its
middle and on whole chroma samples, so that where the difference is odd the right and the bottom have the sample more.

Bars are part of the picture from then on, black that is in the source: what moves a picture moves its bars too. So a
picture that is moved goes into the bar before it and loses nothing, and black in the source is just what measuring
looks for and planning reckons with, at the same place in both eyes and so at the screen.

Columns that are cut off are not lost: the pair's ``whole`` has as many at both sides, and a move within them lays
nothing bare.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from fractions import Fraction
from pathlib import Path

import numpy as np

from postfix.errors import UsageError
from postfix.source.pair import PairSource
from postfix.source.picture import EyeSource, PictureFormat, Plane, PlaneFormat, Planes


@dataclass(frozen=True)
class Bars:
    """Luma pixels of black about a picture."""

    left_px: int = 0
    right_px: int = 0
    top_px: int = 0
    bottom_px: int = 0

    def __bool__(self) -> bool:
        return any((self.left_px, self.right_px, self.top_px, self.bottom_px))


NO_BARS = Bars()


@dataclass(frozen=True)
class _Axis:
    """Where a frame lies along one axis of a picture, in luma pixels.

    Attributes
    ----------
    size : int
        Of the frame.
    first : int
        Pixel of the picture that the frame begins with.
    before, after : int
        Bars on either side of the picture.
    """

    size: int
    first: int = 0
    before: int = 0
    after: int = 0

    def samples(self, step: int, have: int) -> tuple[slice, slice, int]:
        """In samples of a plane that has ``have`` of them: which of it are shown, where in the frame, of how many."""
        count = -(-self.size // step)
        shown = self.size - self.before - self.after
        # Where a bar follows, a sample that serves a pixel of it is black.
        number = min(shown // step if self.after else -(-shown // step), have - self.first // step)
        start = self.before // step
        return slice(self.first // step, self.first // step + number), slice(start, start + number), count


@dataclass(frozen=True)
class FramedEye:
    """An eye in another frame (see :class:`postfix.source.picture.EyeSource` and
    :class:`postfix.source.packed_eye.EyeView`).

    Attributes
    ----------
    whole : EyeSource
        The eye as it was given.
    format : PictureFormat
        Of the frame.
    """

    whole: EyeSource
    format: PictureFormat
    _across: _Axis
    _down: _Axis

    @property
    def bars(self) -> Bars:
        """What lies about the picture."""
        return Bars(self._across.before, self._across.after, self._down.before, self._down.after)

    @property
    def path(self) -> Path:
        """As for the eye as it was given."""
        return self.whole.path

    @property
    def rate(self) -> Fraction:
        """Frames per second."""
        return self.whole.rate

    @property
    def count(self) -> int:
        """Frames there are."""
        return self.whole.count

    @property
    def first_number(self) -> int:
        """As for the eye as it was given."""
        return self.whole.first_number

    @property
    def timecode(self) -> str | None:
        """Of frame 0."""
        return self.whole.timecode

    def files(self) -> list[Path]:
        """The files behind this eye."""
        return self.whole.files()

    def frames(self, first: int = 0, last: int | None = None, *, colour_every: int = 1) -> Iterator[Planes]:
        """Decode frames ``first`` to ``last``; see :meth:`postfix.source.picture.EyeSource.frames`."""
        for planes in self.whole.frames(first, last, colour_every=colour_every):
            yield self.of(planes)

    def of(self, planes: Planes) -> Planes:
        """The frame of a picture as it was given: views of it, or new arrays where there are bars."""
        return tuple(self._plane(plane, info) for plane, info in zip(planes, self.format.planes))

    def _plane(self, plane: Plane, info: PlaneFormat) -> Plane:
        columns, to_columns, width = self._across.samples(info.step_x, plane.shape[1])
        rows, to_rows, height = self._down.samples(info.step_y, plane.shape[0])
        part = plane[rows, columns]
        if part.shape[:2] == (height, width):
            return part
        out = np.empty((height, width, *plane.shape[2:]), plane.dtype)
        black = np.array(info.black, plane.dtype) if info.channels > 1 else plane.dtype.type(info.black[0])
        out[: to_rows.start] = out[to_rows.stop :] = black
        out[to_rows, : to_columns.start] = out[to_rows, to_columns.stop :] = black
        out[to_rows, to_columns] = part
        return out


def framed(pair: PairSource, width: int, height: int) -> PairSource:
    """A pair in a frame of another size.

    Parameters
    ----------
    pair : PairSource
    width, height : int
        Of the frame, luma pixels.

    Returns
    -------
    PairSource
        The same pair where it has that size. Else its ``spare_px`` tells how many columns of picture there are beyond
        each side of the frame, a multiple of the chroma step, and its ``whole`` is the pair with them.

    Raises
    ------
    UsageError
        Where there can be no such frame.
    """
    fmt = pair.format
    if (fmt.width, fmt.height) == (width, height):
        return pair
    step_y = max(plane.step_y for plane in fmt.planes)
    _check(width, height, fmt, step_y)
    across, down = _axis(fmt.width, width, fmt.step_px), _axis(fmt.height, height, step_y)
    spare_px = across.first
    whole = None
    if spare_px:
        wide = _Axis(width + 2 * spare_px)
        whole = replace(pair, left=_in_frame(pair.left, wide, down), right=_in_frame(pair.right, wide, down))
    left, right = (_in_frame(eye, across, down) for eye in (pair.left, pair.right))
    return replace(pair, left=left, right=right, spare_px=spare_px, whole=whole)


def bars_of(pair: PairSource) -> Bars:
    """The bars that :func:`framed` laid about both eyes of a pair, and of its ``whole``."""
    return pair.left.bars if isinstance(pair.left, FramedEye) else NO_BARS


def is_framed(pair: PairSource) -> bool:
    """True where a pair's pictures are not those of its files, but cut or with bars."""
    return isinstance(pair.left, FramedEye)


def _in_frame(eye: EyeSource, across: _Axis, down: _Axis) -> EyeSource:
    fmt = eye.format
    if (across, down) == (_Axis(fmt.width), _Axis(fmt.height)):
        return eye
    return FramedEye(eye, replace(fmt, width=across.size, height=down.size), across, down)


def _axis(have: int, want: int, step: int) -> _Axis:
    """A frame of ``want`` about the middle of ``have``, begun where a chroma sample begins."""
    before = abs(want - have) // 2 // step * step
    return _Axis(want, first=before) if want <= have else _Axis(want, before=before, after=want - have - before)


def _check(width: int, height: int, fmt: PictureFormat, step_y: int) -> None:
    if width < 1 or height < 1:
        raise UsageError(
            f"--frame {width}x{height}", "no picture", "at least one pixel each way", "give width x height in pixels"
        )
    for what, want, have, step in (("wide", width, fmt.width, fmt.step_px), ("high", height, fmt.height, step_y)):
        if want % step and want != have:
            raise UsageError(
                f"--frame {width}x{height}",
                f"{want} pixels {what}, where the pictures ({fmt.pixel_format}) have one chroma sample for {step}",
                f"a multiple of {step}",
                f"give {want - want % step} or {want + step - want % step}",
            )
