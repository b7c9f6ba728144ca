"""One eye of a file that holds both: its part of every decoded picture, seen without copying."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path
from typing import Protocol, runtime_checkable

from postfix.source.layout import Layout, eye_format, eye_of, squeeze_of
from postfix.source.picture import EyeSource, PictureFormat, Planes
from postfix.source.timecode import can_drop, frames_from_timecode, nominal_rate, timecode_from_frames
from postfix.source.video import VideoSource


@runtime_checkable
class EyeView(Protocol):
    """An eye whose frame i is what ``of`` makes of frame i of another one, ``whole``."""

    @property
    def whole(self) -> EyeSource: ...

    def of(self, planes: Planes) -> Planes:
        """This eye's part of a picture of ``whole``."""
        ...


@dataclass(frozen=True)
class PackedEye:
    """One eye of a file (or sequence) that holds both (see :class:`postfix.source.picture.EyeSource`).

    Attributes
    ----------
    whole : EyeSource
        The file, cut to the frames that this eye uses.
    layout : Layout
        How the eyes lie in it; neither ``left-right`` nor ``views``.
    place : int
        0 for the eye on the left, on top, in the first row or in the first frame of two; 1 for the other.
    format : PictureFormat
        In the eye's own columns and rows.
    timecode : str or None
    """

    whole: EyeSource
    layout: Layout
    place: int
    format: PictureFormat
    timecode: str | None

    @property
    def path(self) -> Path:
        """Of the file that holds both eyes."""
        return self.whole.path

    @property
    def frames_each(self) -> int:
        """Frames of the file for one of this eye."""
        return 2 if self.layout == "frame-sequential" else 1

    @property
    def rate(self) -> Fraction:
        """Of this eye: half of the file's where the eyes take turns."""
        return self.whole.rate / self.frames_each

    @property
    def count(self) -> int:
        """Frames of this eye."""
        return self.whole.count // self.frames_each

    @property
    def first_number(self) -> int:
        """As for the file: the number of its first still that is used; 0 for video."""
        return self.whole.first_number

    def files(self) -> list[Path]:
        """All files behind both eyes."""
        return self.whole.files()

    def of(self, planes: Planes) -> Planes:
        """This eye's part of a decoded picture of the file: views of it."""
        return eye_of(planes, self.layout, self.place)

    def frames(self, first: int = 0, last: int | None = None, *, colour_every: int = 1) -> Iterator[Planes]:
        """Decode frames ``first`` to ``last`` (both included, counted from 0); see
        :meth:`postfix.source.picture.EyeSource.frames`."""
        for pictures in self.pictures(first, last, colour_every=colour_every):
            yield self.seen_in(pictures)

    def pictures(
        self, first: int = 0, last: int | None = None, *, colour_every: int = 1
    ) -> Iterator[tuple[Planes, ...]]:
        """The file's decoded pictures behind each frame of this eye: one, or two where the eyes take turns."""
        end = self.count - 1 if last is None else last
        each = self.frames_each
        if each == 1:
            for planes in self.whole.frames(first, end, colour_every=colour_every):
                yield (planes,)
            return
        # Both frames of two need their colour or neither does, which counting by the file's frames cannot say.
        decoded = self.whole.frames(first * each, end * each + each - 1)
        for planes in decoded:
            yield planes, next(decoded)

    def seen_in(self, pictures: tuple[Planes, ...]) -> Planes:
        """This eye's frame of what :meth:`pictures` gives, for itself or for the other eye of the same frames."""
        return self.of(pictures[self.place if self.frames_each > 1 else 0])


def packed_eyes(whole: EyeSource, layout: Layout, *, right_first: bool = False) -> tuple[PackedEye, PackedEye]:
    """Left and right eye of a file that holds both.

    Parameters
    ----------
    whole : EyeSource
        Can be parted (see :func:`postfix.source.layout.why_not_split`); of an even number of frames where the eyes
        take turns.
    layout : Layout
    right_first : bool
        True where the right eye is on the left, on top or first.
    """
    fmt = eye_format(whole.format, layout)
    timecode = _of_pairs(whole) if layout == "frame-sequential" else whole.timecode
    left, right = (PackedEye(whole, layout, place, fmt, timecode) for place in ((1, 0) if right_first else (0, 1)))
    return left, right


def peeled(source: EyeSource) -> tuple[EyeSource, Callable[[Planes], Planes]]:
    """The eye of a packed file that an eye is a view of, with the way from its pictures; else the eye itself."""
    steps: list[Callable[[Planes], Planes]] = []
    inner = source
    while isinstance(inner, EyeView) and not isinstance(inner, PackedEye):
        steps.insert(0, inner.of)
        inner = inner.whole

    def of(planes: Planes) -> Planes:
        for step in steps:
            planes = step(planes)
        return planes

    return inner, of


def origin_of(source: EyeSource) -> EyeSource:
    """The file or sequence that an eye is decoded from, which may hold both."""
    while isinstance(source, EyeView):
        source = source.whole
    return source


def pixel_aspect_of(source: EyeSource) -> Fraction | None:
    """Width over height of one pixel as an eye is to be shown; None where the file says nothing.

    A squeezed eye's pixels are twice as wide, or half as wide, as those of the file that holds it.
    """
    if isinstance(source, PackedEye):
        across, down = squeeze_of(source.layout)
        own = pixel_aspect_of(source.whole)
        return own if (across, down) == (1, 1) else (own or 1) * Fraction(across, down)
    if isinstance(source, EyeView):
        return pixel_aspect_of(source.whole)
    return source.tags.pixel_aspect if isinstance(source, VideoSource) else None


def timecode_of_turns(timecode: str | None, rate: Fraction) -> str | None:
    """The timecode of a file in which the eyes take turns, of that of the eyes, whose rate is ``rate``.

    None where there is none, or where the file's rate cannot count as this one does.
    """
    return None if timecode is None else _recounted(timecode, rate, rate * 2, Fraction(2))


def _of_pairs(whole: EyeSource) -> str | None:
    """Of the eyes, from that of a file in which they take turns; None where it starts between two counts."""
    return None if whole.timecode is None else _recounted(whole.timecode, whole.rate, whole.rate / 2, Fraction(1, 2))


def _recounted(timecode: str, rate: Fraction, new_rate: Fraction, factor: Fraction) -> str | None:
    drop = ";" in timecode
    frames = frames_from_timecode(timecode, rate) * factor
    alike = nominal_rate(new_rate) == nominal_rate(rate) * factor and (can_drop(new_rate) or not drop)
    if frames.denominator != 1 or not alike:
        return None
    return timecode_from_frames(int(frames), new_rate, drop)
