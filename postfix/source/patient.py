"""Both eyes of a clip in which some frames cannot be decoded: what is shown in their place, and what is told of it.

A frame of which one eye cannot be decoded is replaced in both, so that the eyes never come from different moments.
"""

from __future__ import annotations

from collections.abc import Generator, Iterator
from contextlib import closing
from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

from postfix.errors import InputError, OtherFormatError
from postfix.source.decoding import DecodedAhead
from postfix.source.packed_eye import EyeView, PackedEye, peeled
from postfix.source.patient_video import tried_video
from postfix.source.picture import EyeSource, OnBad, Planes, Unread, black_picture
from postfix.source.stills import StillsSource
from postfix.source.video import VideoSource

if TYPE_CHECKING:
    from postfix.source.pair import PairSource

_FIRST_LOOK, _LONGEST_LOOK = 8, 64
"""Frames that are decoded at a time on the way back to the last pair that was whole."""

Tried = Planes | Unread


@dataclass(frozen=True)
class BadFrame:
    """A frame that could not be decoded.

    Attributes
    ----------
    frame : int
        Of the clip, counted from 0.
    eye : str
        Which eye it was: ``left``, ``right``, or ``both`` where the same is wrong with both.
    reason : str
        What was found.
    shown : str
        What is shown in its place, in both eyes: ``black``, or ``frame 46``.
    """

    frame: int
    eye: Literal["left", "right", "both"]
    reason: str
    shown: str


@dataclass(frozen=True, eq=False)
class PairFrame:
    """One frame of both eyes as it is shown.

    Attributes
    ----------
    index : int
        Frame of the clip, counted from 0.
    left, right : Planes
    bad : tuple of BadFrame
        Why they are not the source's own, one for each eye at fault; empty where they are.
    """

    index: int
    left: Planes
    right: Planes
    bad: tuple[BadFrame, ...] = ()


def filled(
    pair: PairSource, on_bad: OnBad, first: int = 0, last: int | None = None, *, colour_every: int = 1
) -> Iterator[PairFrame]:
    """Frames ``first`` to ``last`` of a pair, both included, with every one that cannot be decoded replaced.

    Parameters
    ----------
    pair : PairSource
    on_bad : OnBad
        With ``hold`` both eyes repeat the last pair before it of which both could be decoded, at the head of the clip
        the next one; otherwise both are black. Neither depends on ``first``.
    first, last : int
    colour_every : int
        As for each eye.

    Raises
    ------
    InputError
        Where no frame of the clip can be decoded, or one is of another size or format.
    """
    end = pair.count - 1 if last is None else last
    whole: tuple[int, Planes, Planes] | None = None
    black = black_picture(pair.format) if on_bad == "black" else None
    for index, left, right in tried(pair, first, end, colour_every=colour_every):
        if not isinstance(left, Unread) and not isinstance(right, Unread):
            whole = index, left, right
            yield PairFrame(index, left, right)
            continue
        whole = whole or _nearest_whole(pair, index)
        if whole is None:
            raise _none_whole(pair, left, right)
        shown = f"frame {whole[0]}" if black is None else "black"
        planes = whole[1:] if black is None else (black, black)
        yield PairFrame(index, *planes, _told(index, left, right, shown))


def _told(index: int, left: Tried, right: Tried, shown: str) -> tuple[BadFrame, ...]:
    if isinstance(left, Unread) and left == right:
        return (BadFrame(index, "both", left.reason, shown),)
    eyes: tuple[tuple[Literal["left", "right"], Tried], ...] = (("left", left), ("right", right))
    return tuple(BadFrame(index, eye, found.reason, shown) for eye, found in eyes if isinstance(found, Unread))


def _nearest_whole(pair: PairSource, index: int) -> tuple[int, Planes, Planes] | None:
    """The last pair before a frame that is whole, else the first after it; None where there is none at all."""
    before, look = index, _FIRST_LOOK
    while before > 0:
        start = max(0, before - look)
        found = None
        for number, left, right in tried(pair, start, before - 1):
            if not isinstance(left, Unread) and not isinstance(right, Unread):
                found = number, left, right
        if found is not None:
            return found
        before, look = start, min(2 * look, _LONGEST_LOOK)
    if index + 1 < pair.count:
        with closing(tried(pair, index + 1, pair.count - 1)) as after:
            for number, left, right in after:
                if not isinstance(left, Unread) and not isinstance(right, Unread):
                    return number, left, right
    return None


def _none_whole(pair: PairSource, left: Tried, right: Tried) -> InputError:
    eye, found = ("left", left) if isinstance(left, Unread) else ("right", right)
    assert isinstance(found, Unread)
    path = pair.left.path if eye == "left" else pair.right.path
    return InputError(
        path,
        f"no frame of which both eyes can be decoded ({eye} eye: {found.reason})",
        "at least one to show in the place of others",
        "copy or export the clip again",
    )


def tried(
    pair: PairSource, first: int, last: int, *, colour_every: int = 1
) -> Generator[tuple[int, Tried, Tried], None, None]:
    """As :meth:`postfix.source.pair.PairSource.frames`, with the reason in the place of what cannot be decoded."""
    (left, left_of), (right, right_of) = peeled(pair.left), peeled(pair.right)
    if isinstance(left, PackedEye) and isinstance(right, PackedEye) and left.whole == right.whole:
        with DecodedAhead(left.whole, lambda: _tried_pictures(left, first, last, colour_every)) as ahead:
            for index in range(first, last + 1):
                pictures = ahead.next()
                seen_left, seen_right = _seen(left, pictures), _seen(right, pictures)
                yield (
                    index,
                    seen_left if isinstance(seen_left, Unread) else left_of(seen_left),
                    seen_right if isinstance(seen_right, Unread) else right_of(seen_right),
                )
        return
    with (
        DecodedAhead(pair.left, lambda: tried_eye(pair.left, first, last, colour_every=colour_every)) as left_ahead,
        DecodedAhead(pair.right, lambda: tried_eye(pair.right, first, last, colour_every=colour_every)) as right_ahead,
    ):
        for index in range(first, last + 1):
            yield index, left_ahead.next(), right_ahead.next()


def tried_eye(source: EyeSource, first: int, last: int, *, colour_every: int = 1) -> Iterator[Tried]:
    """Frames of one eye, with the reason in the place of each that cannot be decoded.

    Raises
    ------
    OtherFormatError
        Where a picture is of another size or format.
    """
    if isinstance(source, PackedEye):
        for pictures in _tried_pictures(source, first, last, colour_every):
            yield _seen(source, pictures)
    elif isinstance(source, EyeView):
        for found in tried_eye(source.whole, first, last, colour_every=colour_every):
            yield found if isinstance(found, Unread) else source.of(found)
    elif isinstance(source, VideoSource):
        yield from tried_video(source, first, last, colour_every=colour_every)
    elif isinstance(source, StillsSource):
        yield from source.tried(first, last)
    else:
        for index in range(first, last + 1):
            yield _one(source, index)


def _one(source: EyeSource, index: int) -> Tried:
    try:
        return next(iter(source.frames(index, index)))
    except OtherFormatError:
        raise
    except InputError as error:
        return Unread(error.found)


def _tried_pictures(eye: PackedEye, first: int, last: int, colour_every: int) -> Iterator[tuple[Tried, ...]]:
    """As :meth:`PackedEye.pictures`, with the reason in the place of what cannot be decoded."""
    each = eye.frames_each
    decoded = tried_eye(eye.whole, first * each, last * each + each - 1, colour_every=colour_every if each == 1 else 1)
    for found in decoded:
        yield (found,) if each == 1 else (found, next(decoded))


def _seen(eye: PackedEye, pictures: tuple[Tried, ...]) -> Tried:
    found = pictures[eye.place if eye.frames_each > 1 else 0]
    return found if isinstance(found, Unread) else eye.of(found)
