"""Both eyes out in one file: joined in one picture, by turns, or as the views of an OpenEXR file."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from postfix.deliver.alike import copy_files, require_alike, unusable
from postfix.deliver.closing import Closing
from postfix.deliver.durable import make_folder
from postfix.deliver.exr import write_exr_views
from postfix.deliver.own import PACKED_FOLDER
from postfix.deliver.packing import Packing, check_layout, packing_of
from postfix.deliver.pooled import Pooled
from postfix.deliver.stills import StillsWriter, stills_held, write_still
from postfix.deliver.video_parts import VideoPartsWriter, join_parts, parts_held
from postfix.deliver.workroom import Look, Sealed, Workroom
from postfix.errors import InputError
from postfix.source.layout import Layout, packed_planes
from postfix.source.packed import open_packed
from postfix.source.packed_eye import origin_of
from postfix.source.pair import PairSource
from postfix.source.picture import Planes
from postfix.source.segments import Segment, segments_of
from postfix.source.stills import StillsSource
from postfix.source.video import VideoSource

_WAITING_PAIRS = 2
"""Pairs of pictures being joined or waiting for it: what follows has a queue of its own."""


class PackedWriter(Closing):
    """Both eyes being written into one file or sequence; a context manager that closes, or abandons after an error.

    Joining, and resampling where eyes are squeezed or stretched, runs in a thread of its own.

    Parameters
    ----------
    packing : Packing
    target : VideoPartsWriter or StillsWriter
        What takes the joined pictures.
    copies : bool
        True where a picture in which neither eye changed may be copied from the source.
    """

    def __init__(self, packing: Packing, target: VideoPartsWriter | StillsWriter, *, copies: bool = False) -> None:
        self._packing, self._target, self._copies = packing, target, copies
        self._work = Pooled(1, _WAITING_PAIRS, f"join {packing.layout}")
        self._closed = False

    def write(self, index: int, left: Planes, right: Planes, unchanged: tuple[bool, bool] = (False, False)) -> None:
        """Hand over frame ``index`` of both eyes (in order, counted from 0); the planes must not be changed afterwards.

        Parameters
        ----------
        index : int
        left, right : Planes
            In the pair's format.
        unchanged : (bool, bool)
            Of each eye, whether it is as it came; such stills are copied byte for byte where the source was packed
            in the same way.

        Raises
        ------
        OutputError
            Where this frame or an earlier one could not be written.
        """
        if self._work.error is not None:
            raise self._work.error
        self._work.hand_over(self._join, index, left, right, unchanged)

    def close(self) -> None:
        """Wait until everything is written; raises OutputError where something was not."""
        if self._closed:
            return
        self._closed = True
        self._work.finish()
        error = self._work.error
        if error is not None:
            self._target.abandon()
            raise error
        self._target.close()

    def abandon(self) -> None:
        """End without caring for what was written."""
        if self._closed:
            return
        self._closed = True
        self._work.finish(abandon=True)
        self._target.abandon()

    def _join(self, index: int, left: Planes, right: Planes, unchanged: tuple[bool, bool]) -> None:
        if self._work.error is not None:
            return
        same = self._copies and all(unchanged)
        if not same:
            left, right = self._packing.fitted(left), self._packing.fitted(right)
        layout = self._packing.layout
        if layout == "frame-sequential":
            self._target.write(2 * index, left, unchanged=self._copies and unchanged[0])
            self._target.write(2 * index + 1, right, unchanged=self._copies and unchanged[1])
        elif layout == "views":
            self._target.write(index, (*left, *right), unchanged=same)
        else:
            joined = left if same else packed_planes(left, right, layout)
            self._target.write(index, joined, unchanged=same)


@dataclass(frozen=True)
class PackedOut:
    """Both eyes of a pair in one file or sequence, named and encoded like the source.

    Attributes
    ----------
    pair : PairSource
        What is delivered, left and right as they are used.
    layout : Layout
        Not ``left-right``.
    codec : str or None
        What a person chose instead of the source's own.
    """

    pair: PairSource
    layout: Layout
    codec: str | None = None

    @property
    def _name(self) -> str:
        """Of its folder of parts."""
        return f"{PACKED_FOLDER}-{self.layout}"

    def _path(self, room: Workroom, packing: Packing) -> Path:
        """The file, or the folder of stills. A video has the source's own name where the source was packed in the same
        way, else it is ``<clip>_<layout><suffix>``; a folder of stills is named after the layout."""
        folder = room.pictures / PACKED_FOLDER
        return folder / (self.layout if self._is_stills else packing.video_name(self.codec))

    @property
    def _is_stills(self) -> bool:
        return isinstance(origin_of(self.pair.left), StillsSource)

    def _segments(self, packing: Packing) -> tuple[Segment, ...]:
        return tuple(segment.times(packing.each) for segment in segments_of(self.pair.count))

    def writer(self, room: Workroom, segments: Sequence[Segment], sealed: Sealed = lambda index: None) -> PackedWriter:
        """A writer of segments (of frames of the eyes) into the folder of packed pictures of a workroom.

        Raises
        ------
        InputError, UsageError
            Where that cannot be (see :func:`postfix.deliver.packing.check_packed`); nothing is left behind.
        """
        check_layout(self.pair, self.layout)
        packing = packing_of(self.pair, self.layout)
        path, parts = self._path(room, packing), room.parts_of(self._name)
        in_file = [segment.times(packing.each) for segment in segments]
        if not self._is_stills:
            spec = packing.spec(self.codec)
            return PackedWriter(packing, VideoPartsWriter(path, parts, spec, in_file, packing.audio_from, sealed))
        make_folder(path)
        stills = _PackedStills(packing, path, parts, in_file, sealed)
        return PackedWriter(packing, stills, copies=packing.came_so)

    def held(self, room: Workroom) -> set[int]:
        """Indices of the segments that are finished and whole."""
        packing, parts = packing_of(self.pair, self.layout), room.parts_of(self._name)
        segments = self._segments(packing)
        if self._is_stills:
            return stills_held(parts, self._path(room, packing), segments)
        return parts_held(self._path(room, packing), parts, segments)

    def join(self, room: Workroom, look: Look) -> None:
        """Put the parts of a video together; stills are whole as they are. Raises OutputError."""
        packing = packing_of(self.pair, self.layout)
        if not self._is_stills:
            path, spec = self._path(room, packing), packing.spec(self.codec)
            join_parts(path, room.parts_of(self._name), spec, self._segments(packing), packing.audio_from, look)

    def reopen(self, room: Workroom) -> PairSource:
        """Both eyes as they were written, left and right, held against what they were to be.

        Raises
        ------
        OutputError
            Where it cannot be read, or differs in count, size, pixel format, code range, rate or colour tags.
        """
        packing = packing_of(self.pair, self.layout)
        place = self._path(room, packing)
        try:
            written = open_packed(place, self.layout, rate=packing.rate if self._is_stills else None)
        except InputError as error:
            raise unusable(place, error) from error
        require_alike(place, packing.differences(written, self.codec), origin_of(self.pair.left).path)
        return written


def copy_packed(pair: PairSource, layout: Layout, folder: Path) -> bool:
    """Copy a packed source's files byte for byte where they are just what would be written if nothing changed.

    Returns
    -------
    bool
        False, and nothing done, where they are not: the right eye comes first, or only a part of a video is used.
    """
    packing, packed = packing_of(pair, layout), pair.packed
    if packed is None or not packing.came_so:
        return False
    if isinstance(packed, VideoSource):
        if packed.count != packed.file_count:
            return False
        copy_files(packed.files(), folder)
        return True
    (folder / layout).mkdir()
    copy_files(packed.files(), folder / layout)
    return True


class _PackedStills(StillsWriter):
    """Stills that hold both eyes, with the headers of the stills they come from."""

    def __init__(
        self, packing: Packing, folder: Path, parts: Path, segments: Sequence[Segment], sealed: Sealed
    ) -> None:
        names = packing.still_names()
        super().__init__(packing.like_stills(), folder, names, parts=parts, segments=segments, sealed=sealed)
        self._packing, self._copies = packing, packing.came_so

    def _draw_one(self, index: int, planes: Planes, like: Path, target: Path) -> None:
        packing, frame = self._packing, self._source.first_number + index
        if packing.layout == "views":
            half = len(planes) // 2
            write_exr_views(target, planes[:half], planes[half:], like, packing.right_like(index), frame)
        else:
            both = packing.each == 1
            write_still(target, planes, like=like, view=packing.view_of(index), frame=frame, both_eyes=both)
