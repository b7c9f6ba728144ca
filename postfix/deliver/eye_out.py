"""One eye out that is not a file of its own as it came: part of a packed picture, or in another frame."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Literal

from postfix.deliver.alike import copy_files, file_differences, require_alike, unusable
from postfix.deliver.codecs import matrix_words, spec_of
from postfix.deliver.containers import losses, suffix_for
from postfix.deliver.packing import numbered_like, still_behind
from postfix.deliver.sound import left_out
from postfix.deliver.spec import VideoSpec
from postfix.deliver.stills import StillsWriter, still_losses, stills_held
from postfix.deliver.video import check_writer
from postfix.deliver.video_parts import VideoPartsWriter, join_parts, parts_held
from postfix.deliver.workroom import Look, Sealed, Workroom
from postfix.errors import InputError
from postfix.source.opening import open_eye
from postfix.source.packed_eye import origin_of, pixel_aspect_of
from postfix.source.pair import PairSource
from postfix.source.picture import EyeSource
from postfix.source.segments import Segment, segments_of
from postfix.source.stills import StillsSource
from postfix.source.video import VideoSource

Eye = Literal["left", "right"]


@dataclass(frozen=True)
class EyeOut:
    """One eye of a pair as a file or sequence of its own.

    Attributes
    ----------
    pair : PairSource
    eye : str
        ``left`` or ``right``.
    codec : str or None
        What a person chose instead of the source's own.
    """

    pair: PairSource
    eye: Eye
    codec: str | None = None

    @property
    def source(self) -> EyeSource:
        """The eye."""
        return self.pair.left if self.eye == "left" else self.pair.right

    @property
    def spec(self) -> VideoSpec:
        """The video of this eye; the pixels of a squeezed eye are told as wide as they are shown."""
        source, origin = self.source, origin_of(self.source)
        assert isinstance(origin, VideoSource)
        spec = spec_of(origin, self.codec)
        unread = spec.timecode if origin.rate == source.rate else None
        return replace(
            spec,
            width=source.format.width,
            height=source.format.height,
            rate=source.rate,
            pixel_aspect=pixel_aspect_of(source),
            timecode=source.timecode or unread,
            stereo=None if self.pair.packed is not None else spec.stereo,
        )

    @property
    def video_name(self) -> str:
        """The file's name: the source's own where that holds this eye alone, else ``<clip>_<eye>``."""
        origin = origin_of(self.source).path
        stem = origin.stem if self.pair.packed is None else f"{self.pair.name}_{self.eye}"
        return stem + suffix_for(self.spec, origin.suffix)

    @property
    def still_likes(self) -> tuple[Path, ...]:
        """For each still the one whose header it takes over."""
        return tuple(still_behind(self.source, index) for index in range(self.source.count))

    @property
    def still_names(self) -> tuple[str, ...]:
        """Names of the stills: the source's own where they hold this eye alone, else numbered from its first."""
        likes = self.still_likes
        if self.pair.packed is None:
            return tuple(path.name for path in likes)
        return numbered_like(likes[0], f"{self.pair.name}_{self.eye}", self.source.first_number, self.source.count)

    def check(self) -> None:
        """Refuse, before the first frame, what cannot be written; InputError names the choice to make."""
        origin = origin_of(self.source)
        if isinstance(origin, VideoSource):
            check_writer(self.spec, self.video_name, origin)

    def losses(self) -> tuple[str, ...]:
        """What the written files will not hold of the source, in sentences."""
        origin = origin_of(self.source)
        if isinstance(origin, StillsSource):
            return still_losses(origin)
        assert isinstance(origin, VideoSource)
        suffix = Path(self.video_name).suffix
        return (*losses(self.spec, suffix), *matrix_words(origin, self.spec), *left_out(origin, suffix))

    @property
    def is_stills(self) -> bool:
        """True where the eye is written as stills, which need no joining."""
        return isinstance(origin_of(self.source), StillsSource)

    def writer(
        self, room: Workroom, segments: Sequence[Segment], sealed: Sealed = lambda index: None
    ) -> VideoPartsWriter | StillsWriter:
        """A writer of segments of this eye into its folder of a workroom, which exists."""
        origin, folder, parts = origin_of(self.source), room.pictures / self.eye, room.parts_of(self.eye)
        if isinstance(origin, VideoSource):
            return VideoPartsWriter(folder / self.video_name, parts, self.spec, segments, origin, sealed)
        assert isinstance(origin, StillsSource)
        likes = replace(origin, format=self.source.format, count=self.source.count, paths=self.still_likes)
        return StillsWriter(
            likes,
            folder,
            self.still_names,
            copies=self.source is origin,
            parts=parts,
            segments=segments,
            sealed=sealed,
        )

    def held(self, room: Workroom) -> set[int]:
        """Indices of the segments that are finished and whole."""
        segments, parts = segments_of(self.source.count), room.parts_of(self.eye)
        if self.is_stills:
            return stills_held(parts, room.pictures / self.eye, segments)
        return parts_held(room.pictures / self.eye / self.video_name, parts, segments)

    def join(self, room: Workroom, look: Look) -> None:
        """Put the parts of a video together; stills are whole as they are. Raises OutputError."""
        origin = origin_of(self.source)
        if isinstance(origin, VideoSource):
            path = room.pictures / self.eye / self.video_name
            join_parts(path, room.parts_of(self.eye), self.spec, segments_of(self.source.count), origin, look)

    @property
    def is_copy(self) -> bool:
        """True where the source's files are just what would be written if nothing changed."""
        origin, source = origin_of(self.source), self.source
        if origin is not source or self.codec is not None:
            return False
        if isinstance(origin, VideoSource):
            return origin.count == origin.file_count
        return isinstance(origin, StillsSource) and origin.view is None

    def copy(self, folder: Path) -> None:
        """Copy the source's files byte for byte into a folder, for a clip in which nothing changes.

        Raises
        ------
        ValueError
            Where they are not what would be written (see :attr:`is_copy`).
        OutputError
            Where a file cannot be copied.
        """
        if not self.is_copy:
            raise ValueError(f"{self.source.path} is not what would be written")
        copy_files(self.source.files(), folder)

    def reopen(self, folder: Path) -> EyeSource:
        """Open what was written, counted and held against what it was to be (OutputError where it differs)."""
        origin, source = origin_of(self.source), self.source
        stills = isinstance(origin, StillsSource)
        place = folder if stills else folder / self.video_name
        try:
            written = open_eye(place, rate=source.rate if stills else None)
        except InputError as error:
            raise unusable(place, error) from error
        checks = [
            (f"{written.count} frames", f"{source.count} frames"),
            (f"{written.rate} frames/s", f"{source.rate} frames/s"),
        ]
        spec = None if stills else self.spec
        require_alike(place, checks + file_differences(written, spec, source.format), source.path)
        return written
