"""What a delivery with both eyes in one file will be: its size, name, tags and stills, reckoned before a frame."""

from __future__ import annotations

import re
from dataclasses import dataclass, replace
from fractions import Fraction
from pathlib import Path

from postfix.deliver.alike import Differences, file_differences
from postfix.deliver.codecs import VideoSpec, matrix_words, spec_of
from postfix.deliver.containers import losses, suffix_for
from postfix.deliver.sound import left_out
from postfix.deliver.stills import still_losses
from postfix.deliver.video import check_writer
from postfix.errors import InputError, UsageError
from postfix.render.resample import squeezed, stretched
from postfix.source.layout import Layout, packed_format, squeeze_of, why_not_split
from postfix.source.packed_eye import EyeView, PackedEye, origin_of, timecode_of_turns
from postfix.source.pair import PairSource
from postfix.source.picture import EyeSource, PictureFormat, Planes
from postfix.source.signalling import SIGNALLED, Signal
from postfix.source.stills import StillsSource
from postfix.source.video import VideoSource


@dataclass(frozen=True)
class Packing:
    """How the eyes of a pair are put into one file.

    Attributes
    ----------
    pair : PairSource
    layout : Layout
        Of the delivery.
    eye : PictureFormat
        One eye as it lies in the file: squeezed or stretched where the layouts differ in that.
    format : PictureFormat
        A picture of the file.
    """

    pair: PairSource
    layout: Layout
    eye: PictureFormat
    format: PictureFormat

    @property
    def each(self) -> int:
        """Pictures of the file for one frame of the eyes."""
        return 2 if self.layout == "frame-sequential" else 1

    @property
    def count(self) -> int:
        """Pictures of the file."""
        return self.pair.count * self.each

    @property
    def rate(self) -> Fraction:
        """Pictures per second of the file."""
        return self.pair.rate * self.each

    @property
    def came_so(self) -> bool:
        """True where the pair's own pictures are what would be written if neither eye changed: left first."""
        left, right = self.pair.left, self.pair.right
        if self.pair.layout != self.layout or self.pair.packed is None:
            return False
        if self.layout == "views":
            return left.files() == right.files() and isinstance(left, StillsSource) and left.view == "left"
        return (
            isinstance(left, PackedEye)
            and isinstance(right, PackedEye)
            and left.whole == right.whole
            and left.place == 0
        )

    def fitted(self, planes: Planes) -> Planes:
        """An eye's picture as it lies in the file: stretched where it came squeezed, squeezed where it will be."""
        (from_x, from_y), (to_x, to_y) = squeeze_of(self.pair.layout), squeeze_of(self.layout)
        fmt = self.pair.format
        if from_x > to_x or from_y > to_y:
            across, down = max(1, from_x // to_x), max(1, from_y // to_y)
            planes = stretched(planes, fmt, across=across, down=down)
            fmt = replace(fmt, width=fmt.width * across, height=fmt.height * down)
        if to_x > from_x or to_y > from_y:
            planes = squeezed(planes, fmt, across=max(1, to_x // from_x), down=max(1, to_y // from_y))
        return planes

    # --- video ---

    @property
    def audio_from(self) -> VideoSource:
        """The clip whose sound goes along."""
        source = origin_of(self.pair.left)
        assert isinstance(source, VideoSource)
        return source

    def spec(self, codec: str | None = None) -> VideoSpec:
        """The video that holds both eyes.

        Its pixels are shaped like those of a whole eye, also where eyes are squeezed: so it is told, and read again.
        """
        source = self.audio_from
        spec = spec_of(source, codec)
        if self.layout == "frame-sequential":
            timecode = timecode_of_turns(self.pair.timecode, self.pair.rate)
        else:
            timecode = self.pair.timecode or (spec.timecode if source.rate == self.pair.rate else None)
        return replace(
            spec,
            width=self.format.width,
            height=self.format.height,
            rate=self.rate,
            timecode=timecode,
            stereo=None if self._is_unmarked(spec) else self._signal,
        )

    @property
    def _signal(self) -> Signal | None:
        layout = self.layout.removesuffix("-half")
        return next((Signal(known) for known in SIGNALLED if known == layout), None)

    def _is_unmarked(self, spec: VideoSpec) -> bool:
        """True for turns in Matroska, whose mark for them means both eyes laced in one block (RFC 9559, 5.1.4.1.28.3,
        read), which pictures one after the other are not."""
        return self.layout == "frame-sequential" and suffix_for(spec, self.audio_from.path.suffix).lower() == ".mkv"

    def video_name(self, codec: str | None = None) -> str:
        """The file's name: the source's own where it was packed in the same way."""
        source = origin_of(self.pair.left).path
        stem = source.stem if self._is_packed_alike else f"{self.pair.name}_{self.layout}"
        return stem + suffix_for(self.spec(codec), source.suffix)

    # --- stills ---

    def like_stills(self) -> StillsSource:
        """The sequence of :meth:`still_likes`."""
        source = origin_of(self.pair.left)
        assert isinstance(source, StillsSource)
        return replace(source, format=self.format, count=self.count, paths=self.still_likes())

    def view_of(self, index: int) -> str | None:
        """The view of its :meth:`still_likes` that still ``index`` of the delivery shows; None where they have none."""
        source = origin_of((self.pair.left, self.pair.right)[index % self.each])
        return source.view if isinstance(source, StillsSource) else None

    def right_like(self, index: int) -> Path | None:
        """The right eye's own still behind a frame; None where one file holds both."""
        like = still_behind(self.pair.right, index)
        return None if like == still_behind(self.pair.left, index) else like

    def still_likes(self) -> tuple[Path, ...]:
        """For each still of the delivery the one whose header it takes over: the left eye's, or each eye's own where
        the eyes take turns."""
        eyes = (self.pair.left, self.pair.right)[: self.each]
        return tuple(still_behind(eye, index) for index in range(self.pair.count) for eye in eyes)

    def still_names(self) -> tuple[str, ...]:
        """Names of the delivery's stills: the source's own where it was packed in the same way, else numbered on from
        the number of the source's first."""
        likes = self.still_likes()
        if self._is_packed_alike:
            return tuple(sorted((path.name for path in likes), key=_number_in))
        return numbered_like(likes[0], f"{self.pair.name}_{self.layout}", self.pair.left.first_number, self.count)

    @property
    def _is_packed_alike(self) -> bool:
        return self.pair.layout == self.layout and self.pair.packed is not None

    # --- afterwards ---

    def differences(self, written: PairSource, codec: str | None = None) -> Differences:
        """What was found in a written delivery, and what should be there; alike where all is well."""
        whole = written.packed
        assert whole is not None
        checks = [
            (f"{written.count} frames of each eye", f"{self.pair.count} frames of each eye"),
            (f"{whole.rate} frames/s", f"{self.rate} frames/s"),
        ]
        if not isinstance(whole, VideoSource):
            return checks + file_differences(whole, None, self.format)
        spec, told = self.spec(codec), whole.tags.stereo
        signalled = [] if told is None else [(_signal_words(told), _signal_words(spec.stereo))]
        return checks + file_differences(whole, spec, self.format) + signalled


_NUMBER = re.compile(r"(\d+)\D*$")


def numbered_like(like: Path, name: str, first: int, count: int) -> tuple[str, ...]:
    """Names of stills with as many digits, and the suffix, of one that is there."""
    match = _NUMBER.search(like.stem)
    assert match is not None, like
    digits = len(match[1])
    return tuple(f"{name}.{number:0{digits}d}{like.suffix}" for number in range(first, first + count))


def _number_in(name: str) -> int:
    """The number of a still, the last one in its name."""
    match = _NUMBER.search(Path(name).stem)
    assert match is not None, name
    return int(match[1])


def still_behind(eye: EyeSource, index: int) -> Path:
    """The source's still that a frame of an eye was read from."""
    source = origin_of(eye)
    assert isinstance(source, StillsSource)
    turns = _turns_of(eye)
    return source.paths[index if turns is None else 2 * index + turns]


def _turns_of(eye: EyeSource) -> int | None:
    """Which of two frames an eye is, where the eyes take turns."""
    while isinstance(eye, EyeView):
        if isinstance(eye, PackedEye):
            return eye.place if eye.frames_each > 1 else None
        eye = eye.whole
    return None


def _signal_words(signal: Signal | None) -> str:
    if signal is None:
        return "no word of two eyes"
    return f"{signal.layout} with the {'right' if signal.right_first else 'left'} eye first"


def packing_of(pair: PairSource, layout: Layout) -> Packing:
    """How a pair will lie in one file; only of use where :func:`check_packed` refuses nothing."""
    if layout == "left-right":
        raise ValueError("a file for each eye is no packing")
    (from_x, from_y), (to_x, to_y) = squeeze_of(pair.layout), squeeze_of(layout)
    eye = replace(pair.format, width=pair.format.width * from_x // to_x, height=pair.format.height * from_y // to_y)
    return Packing(pair, layout, eye, packed_format(eye, layout))


def check_packed(pair: PairSource, layout: Layout, codec: str | None = None) -> None:
    """Refuse, before the first frame, a delivery that cannot be made.

    Raises
    ------
    UsageError
        Where the delivery does not go with the kind of source.
    InputError
        Where its pictures cannot hold both eyes in whole samples, or its codec cannot be written.
    """
    check_layout(pair, layout)
    if isinstance(origin_of(pair.left), VideoSource):
        packing = packing_of(pair, layout)
        check_writer(packing.spec(codec), packing.video_name(codec), packing.audio_from)


def check_layout(pair: PairSource, layout: Layout) -> None:
    """What :func:`check_packed` refuses whatever the codec."""
    source = origin_of(pair.left)
    if layout == "views":
        _check_views(source)
        return
    packing = packing_of(pair, layout)
    (from_x, from_y), (to_x, to_y) = squeeze_of(pair.layout), squeeze_of(layout)
    fmt = pair.format
    where = f"--deliver {layout}"
    if (fmt.width * from_x) % to_x or (fmt.height * from_y) % to_y:
        what = "width" if to_x > 1 else "height"
        raise InputError(
            where,
            f"eyes of {fmt.width * from_x}x{fmt.height * from_y}, which have no half",
            f"an even {what}",
            "choose another delivery",
        )
    reason = why_not_split(packing.format, layout)
    if reason is not None:
        raise InputError(where, f"pictures of {reason[0]}", reason[1], "choose another delivery")


def lost_in_packed(pair: PairSource, layout: Layout, codec: str | None = None) -> tuple[str, ...]:
    """What a packed delivery will not hold of its source, each as a part of a sentence; to be said before a frame."""
    source = origin_of(pair.left)
    if isinstance(source, StillsSource):
        turns = "frame-sequential" in (pair.layout, layout) and pair.layout != layout
        told = ("the stills' own timecodes stay, which count by the source's frames",) if turns else ()
        return (*told, *still_losses(source))
    packing = packing_of(pair, layout)
    spec, suffix = packing.spec(codec), Path(packing.video_name(codec)).suffix
    unmarked = (f"{layout} cannot be signalled in a '{suffix}' file",) if spec.stereo is None else ()
    video = packing.audio_from
    return (*losses(spec, suffix), *unmarked, *matrix_words(video, spec), *left_out(video, suffix))


def _check_views(source: EyeSource) -> None:
    suffix = source.files()[0].suffix.lower()
    if suffix != ".exr":
        raise UsageError(
            "--deliver views",
            f"'{suffix}' sources",
            "OpenEXR stills, which alone have views",
            "choose another delivery",
        )
