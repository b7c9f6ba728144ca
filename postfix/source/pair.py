"""Both eyes together: checked against each other, and decoded ahead of whoever uses them."""

from __future__ import annotations

import logging
import re
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, replace
from fractions import Fraction
from pathlib import Path

from postfix.errors import InputError, UsageError
from postfix.source.decoding import DecodedAhead
from postfix.source.layout import Layout
from postfix.source.opening import open_eye
from postfix.source.packed_eye import EyeView, PackedEye, peeled, pixel_aspect_of
from postfix.source.patient import PairFrame, filled
from postfix.source.picture import EyeSource, OnBad, PictureFormat, Planes
from postfix.source.stills import StillsSource, is_pattern, still_numbers
from postfix.source.timecode import timecode_at
from postfix.source.video import VideoSource

log = logging.getLogger("postfix")

_EYE_WORDS = r"(?:left|right|le|re|l|r)"
_LAST_EYE_WORD = re.compile(rf"(?:^|[\W_]+){_EYE_WORDS}$", re.IGNORECASE)
_FIRST_EYE_WORD = re.compile(rf"^{_EYE_WORDS}[\W_]+", re.IGNORECASE)


@dataclass(frozen=True)
class Reading:
    """What a person decided about how the two eyes belong together.

    Attributes
    ----------
    offset_frames : int
        How many frames later what was given as the right eye shows what was given as the left eye shows; negative:
        earlier. Frame i of the left is paired with frame i + offset of the right.
    swapped : bool
        True where what was given as the left eye is the right one, and the other way round.
    """

    offset_frames: int = 0
    swapped: bool = False


AS_GIVEN = Reading()
"""Frame by frame, each eye as it was given."""


@dataclass(frozen=True)
class PairSource:
    """Two eyes of one clip that fit together, frame i of one shown with frame i of the other.

    Attributes
    ----------
    left, right : EyeSource
        As they are used: exchanged, and without the frames that have no partner, where ``reading`` says so.
    name : str
        Of the clip: the name of the file given as left, without its eye word; safe as a file name.
    reading : Reading
    before, after : int
        Frames of the left eye before its first and after its last used one that have no partner in the right eye.
    layout : Layout
        How the eyes lie in what was given.
    packed : EyeSource or None
        The file (or sequence) that holds both eyes; None where each has its own.
    spare_px : int
        Columns of picture that ``whole`` has beyond each side of these frames.
    whole : PairSource or None
        The same pair with those columns; None where there are none.
    on_bad : OnBad
        What :meth:`filled_frames` does about a frame that cannot be decoded.
    """

    left: EyeSource
    right: EyeSource
    name: str
    reading: Reading = AS_GIVEN
    before: int = 0
    after: int = 0
    layout: Layout = "left-right"
    packed: EyeSource | None = None
    spare_px: int = 0
    whole: PairSource | None = None
    on_bad: OnBad = "stop"

    @property
    def format(self) -> PictureFormat:
        """Of both eyes."""
        return self.left.format

    @property
    def rate(self) -> Fraction:
        """Frames per second of both eyes."""
        return self.left.rate

    @property
    def count(self) -> int:
        """Frames of each eye."""
        return self.left.count

    @property
    def timecode(self) -> str | None:
        """Of frame 0: the left eye's, or the right eye's where the left has none."""
        return self.left.timecode or self.right.timecode

    @property
    def pixel_aspect(self) -> Fraction:
        """Width over height of one pixel of an eye as it is shown: 2 for halves side by side; 1 if nothing is said."""
        return pixel_aspect_of(self.left) or Fraction(1)

    def frames(
        self, first: int = 0, last: int | None = None, *, colour_every: int = 1
    ) -> Iterator[tuple[int, Planes, Planes]]:
        """Frame number (counted from 0), left and right planes, of frames ``first`` to ``last``, both included.

        Each eye is decoded in a thread of its own, a few frames ahead (:func:`postfix.source.ahead.frames_ahead`); a
        file that holds both is decoded once. What goes wrong there is raised here. Closing the iterator early ends
        the threads. ``colour_every`` as for each eye.
        """
        end = self.count - 1 if last is None else last
        (left, left_of), (right, right_of) = peeled(self.left), peeled(self.right)
        if isinstance(left, PackedEye) and isinstance(right, PackedEye) and left.whole == right.whole:
            with DecodedAhead(left.whole, lambda: left.pictures(first, end, colour_every=colour_every)) as ahead:
                for index in range(first, end + 1):
                    pictures = ahead.next()
                    yield index, left_of(left.seen_in(pictures)), right_of(right.seen_in(pictures))
            return
        with (
            DecodedAhead(self.left, lambda: self.left.frames(first, end, colour_every=colour_every)) as left_ahead,
            DecodedAhead(self.right, lambda: self.right.frames(first, end, colour_every=colour_every)) as right_ahead,
        ):
            for index in range(first, end + 1):
                yield index, left_ahead.next(), right_ahead.next()

    def filled_frames(self, first: int = 0, last: int | None = None, *, colour_every: int = 1) -> Iterator[PairFrame]:
        """The same with every frame that cannot be decoded replaced as ``on_bad`` says, and told of.

        Both eyes of such a frame are replaced, so that they never come from different moments. What is shown does not
        depend on where reading began. See :func:`postfix.source.patient.filled`.
        """
        if self.on_bad != "stop":
            return filled(self, self.on_bad, first, last, colour_every=colour_every)
        return (PairFrame(*each) for each in self.frames(first, last, colour_every=colour_every))


def open_pair(
    left: Path,
    right: Path,
    *,
    rate: Fraction | None = None,
    frames: tuple[int, int] | None = None,
    reading: Reading = AS_GIVEN,
    on_bad: OnBad = "stop",
) -> PairSource:
    """Open both eyes and check them against each other before the first frame.

    Parameters
    ----------
    left, right : Path
        Each as :func:`postfix.source.opening.open_eye` takes it.
    rate : Fraction, optional
    frames : (int, int), optional
        Of the left eye; the right eye's lie later by the offset.
    reading : Reading, optional
        With an offset the eyes may differ in length: what both have is used.
    on_bad : OnBad
        Anything but ``stop`` also takes stills with gaps between their numbers and with headers that cannot be read.

    Raises
    ------
    UsageError
        Where both are the same file, or the offset leaves nothing that both have.
    InputError
        Where one cannot be used, or they differ in size, pixel format, rate or count.
    """
    if left == right or (left.exists() and right.exists() and left.samefile(right)):
        raise UsageError(
            f"{left} and {right}", "the same pictures for both eyes", "one for each eye", "give the other eye"
        )
    late, patient = reading.offset_frames, on_bad != "stop"
    # Opening reads a video through to count its frames: both at once, and what is wrong with the left is said first.
    with ThreadPoolExecutor(1, thread_name_prefix="open") as beside:
        opening = beside.submit(_right_eye, right, late, rate, frames, patient)
        given = open_eye(left, rate=rate, frames=frames, patient=patient)
        other, partner = opening.result()
    check_alike(given, other, counts=late == 0)
    for eye in (given, other):
        if isinstance(eye, VideoSource) and eye.tags.stereo is not None:
            log.warning(
                "%s says that it holds both eyes, %s; it is read as one eye: --pair would part it",
                eye.path,
                eye.tags.stereo.layout,
            )
    return replace(paired(given, other, partner, reading, frames), on_bad=on_bad)


def paired(
    given: EyeSource, other: EyeSource, partner: int, reading: Reading, frames: tuple[int, int] | None = None
) -> PairSource:
    """Two eyes as they are used together: the frames that both have, exchanged where the reading says so.

    Parameters
    ----------
    given, other : EyeSource
        What was given as left and right eye; alike in everything but, perhaps, length.
    partner : int
        Which of the right eye's frames (it may be none of them) goes with the left eye's first.
    reading : Reading
    frames : (int, int), optional
        What ``--frames`` asked for, to be named where nothing is left.

    Raises
    ------
    UsageError
        Where the offset leaves nothing that both have.
    """
    late = reading.offset_frames
    first, other_first = max(0, -partner), max(0, partner)
    count = min(given.count - first, other.count - other_first)
    if count < 1:
        raise _nothing_in_common(late, given.count, other.count, frames)
    eyes = [(given, part_of(given, first, count), first), (other, part_of(other, other_first, count), other_first)]
    if reading.swapped:
        eyes.reverse()
    (whole, used, before), (_, used_right, _) = eyes
    if late and used.timecode is not None and used_right.timecode is not None:
        # Frames that belong together must not be pulled apart again by whoever goes by timecode.
        used_right = _with_timecode(used_right, used.timecode)
    return PairSource(used, used_right, clip_name(given), reading, before, whole.count - before - count)


def open_late(
    path: Path,
    late: int,
    rate: Fraction | None,
    frames: tuple[int, int] | None,
    *,
    view: str | None = None,
    each: int = 1,
    patient: bool = False,
) -> tuple[EyeSource, int]:
    """Of a right eye that lies ``late`` frames later than the left: what is there of the frames of the left eye.

    Parameters
    ----------
    path : Path
    late : int
        Frames of an eye.
    rate, frames, view, patient
        As for :func:`postfix.source.opening.open_eye`, of the file.
    each : int
        Frames of the file for one of an eye.

    Returns
    -------
    EyeSource, int
        The file, and which of its frames (it may be none of them) goes with the left eye's first.
    """
    if frames is None:
        return open_eye(path, rate=rate, view=view, patient=patient), late * each
    wanted = frames[0] + late * each, frames[1] + late * each
    if path.is_file():
        whole = open_eye(path, rate=rate)
        there = 0, whole.count - 1
    else:
        whole = None
        there = still_numbers(path)
    first, last = max(wanted[0], there[0]), min(wanted[1], there[1])
    if first > last:
        raise _nothing_in_common(late, frames[1] - frames[0] + 1, there[1] - there[0] + 1, frames)
    if whole is not None:
        return part_of(whole, first, last - first + 1), wanted[0] - first
    return open_eye(path, rate=rate, frames=(first, last), view=view, patient=patient), wanted[0] - first


def _nothing_in_common(late: int, left: int, right: int, frames: tuple[int, int] | None) -> UsageError:
    """The error of an offset that leaves no frame that both eyes have."""
    chosen = "" if frames is None else f" of --frames {frames[0]}-{frames[1]}"
    return UsageError(
        f"--offset {late}",
        f"{left} frames{chosen} in the left eye and {right} in the right, which it moves past each other",
        "an offset that leaves frames that both eyes have",
        "give a smaller offset",
    )


def part_of(source: EyeSource, first: int, count: int) -> EyeSource:
    """Frames ``first`` onwards of an eye, ``count`` of them."""
    if (first, count) == (0, source.count):
        return source
    timecode = None if source.timecode is None else timecode_at(source.timecode, first, source.rate)
    if isinstance(source, PackedEye):
        each = source.frames_each
        return replace(source, whole=part_of(source.whole, first * each, count * each), timecode=timecode)
    if isinstance(source, VideoSource):
        return replace(source, count=count, first_frame=source.first_frame + first, timecode=timecode)
    if isinstance(source, StillsSource):
        paths = source.paths[first : first + count]
        number = source.first_number + first
        return replace(source, count=count, paths=paths, first_number=number, timecode=timecode)
    raise TypeError(f"no way to take a part of {type(source).__name__}")


def _with_timecode(source: EyeSource, timecode: str) -> EyeSource:
    if isinstance(source, VideoSource | StillsSource | PackedEye):
        return replace(source, timecode=timecode)
    raise TypeError(f"no way to tell {type(source).__name__} its timecode")


def first_in_file(source: EyeSource) -> int:
    """What ``--frames`` calls frame 0 of an eye: its number for stills, its place in the file, from 0, for video.

    Where the eyes take turns in one file, the first of the two frames that belong together.
    """
    if isinstance(source, EyeView):
        return first_in_file(source.whole)
    return source.first_frame if isinstance(source, VideoSource) else source.first_number


def _right_eye(
    path: Path, late: int, rate: Fraction | None, frames: tuple[int, int] | None, patient: bool
) -> tuple[EyeSource, int]:
    """The right eye, and which of its frames goes with the left eye's first."""
    if late:
        return open_late(path, late, rate, frames, patient=patient)
    return open_eye(path, rate=rate, frames=frames, patient=patient), 0


def clip_name(source: EyeSource) -> str:
    """Name of the clip an eye belongs to: without the eye word, safe as a file name."""
    if isinstance(source, EyeView):
        return clip_name(source.whole)
    path = source.path
    if isinstance(source, StillsSource):
        prefix = re.sub(r"\d+\D*$", "", source.paths[0].stem)
        folder = path.parent if is_pattern(path) and not path.is_dir() else path
        candidates = [prefix, folder.resolve().name, folder.resolve().parent.name]
    else:
        candidates = [path.stem, path.resolve().parent.name]
    for candidate in candidates:
        name = re.sub(r"[^\w.\-]+", "_", candidate).strip("_.- ")
        name = _FIRST_EYE_WORD.sub("", _LAST_EYE_WORD.sub("", name)).strip("_.- ")
        if name:
            return name
    return "clip"


def check_alike(left: EyeSource, right: EyeSource, *, counts: bool = True) -> None:
    """Refuse eyes that differ in size, pixel format, code range, rate or, with ``counts``, in length."""
    a, b = left.format, right.format
    checks = (
        ("size", f"{a.width}x{a.height}", f"{b.width}x{b.height}", "export both eyes at the same size"),
        ("pixel format", a.pixel_format, b.pixel_format, "export both eyes in the same format"),
        ("code range", _range_text(a), _range_text(b), "tag both eyes with the same range"),
        ("rate", f"{left.rate} frames/s", f"{right.rate} frames/s", "export both eyes at the same rate"),
        (
            "count",
            f"{left.count} frames",
            f"{right.count} frames",
            "give both eyes the same frames, choose with --frames, or say with --offset how late the right eye is",
        ),
    )
    for what, found_left, found_right, next_step in checks:
        if found_left != found_right and (counts or what != "count"):
            raise InputError(
                f"{left.path} and {right.path}",
                f"{found_left} in the left eye and {found_right} in the right",
                f"the same {what} in both",
                next_step,
            )


def _range_text(fmt: PictureFormat) -> str:
    return f"black {fmt.planes[0].black[0]:g} and white {fmt.white:g}"
