"""A video in parts: each segment coded by itself and kept, and all of them joined without coding anything again."""

from __future__ import annotations

import hashlib
import json
import queue
import threading
from collections.abc import Iterable, Iterator, Sequence
from contextlib import suppress
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any, BinaryIO

import av

from postfix.deliver.closing import Closing
from postfix.deliver.durable import (
    begun_path,
    read_sealed,
    sync_file,
    sync_folder,
    write_durably,
    write_sealed,
)
from postfix.deliver.picture_coder import PictureCoder, decoding_ahead, handed_format
from postfix.deliver.spec import VideoSpec
from postfix.deliver.video_file import VideoFile, is_of_the_disk, reason_of
from postfix.deliver.workroom import Look, Sealed
from postfix.errors import OutputError, PostfixError
from postfix.source.ahead import frames_ahead
from postfix.source.opening import file_sha256
from postfix.source.picture import Planes
from postfix.source.segments import Segment
from postfix.source.video import VideoSource

_JOINED = "joined.json"


@dataclass(frozen=True)
class _Coded:
    """One coded picture of a part, in coding order; ``shown`` counts frames of the part.

    When it is decoded is not kept: what encoders say of that differs for parts of a few frames.
    """

    shown: int
    duration: int
    key: bool
    size_bytes: int


@dataclass(frozen=True)
class _Part:
    """A finished part: what its file of coded pictures holds, in order."""

    frames: int
    header: str
    sha256: str
    pictures: tuple[_Coded, ...]


class VideoPartsWriter(Closing):
    """Segments of a video being coded, in a thread of its own; a context manager.

    Parameters
    ----------
    path : Path
        The file that the parts will be joined to; its suffix tells the container.
    parts : Path
        The folder that takes the parts.
    spec : VideoSpec
    segments : sequence of Segment
        Consecutive ones, in frames of the file.
    source : VideoSource or None
        Whose sound will go along, to be named in errors.
    sealed : callable
        Told of each segment that is finished.
    """

    def __init__(
        self,
        path: Path,
        parts: Path,
        spec: VideoSpec,
        segments: Sequence[Segment],
        source: VideoSource | None = None,
        sealed: Sealed = lambda index: None,
    ) -> None:
        self.path = path
        self._parts, self._spec, self._segments = parts, spec, tuple(segments)
        self._named, self._sealed = source.path if source else path, sealed
        self._next, self._after = self._segments[0].first, self._segments[-1].last + 1
        self._queue: queue.Queue[Planes | None] = queue.Queue(frames_ahead(handed_format(spec)))
        self._error: BaseException | None = None
        self._abandoned = threading.Event()
        self._closed = self._ended = False
        self._thread = threading.Thread(target=self._run, name=f"encode {path.name}", daemon=True)
        self._thread.start()

    def write(self, index: int, planes: Planes, unchanged: bool = False) -> None:
        """Hand over frame ``index`` of the file (in order); the planes must not be changed afterwards.

        ``unchanged`` makes no difference here: a video is coded as a whole.

        Raises
        ------
        OutputError
            Where this frame or an earlier one could not be written.
        """
        if index != self._next:
            raise ValueError(f"frame {index}, not {self._next}")
        self._raise_error()
        self._queue.put(planes)
        self._next += 1

    def close(self) -> None:
        """Wait until everything is written; raises OutputError where something was not."""
        if self._closed:
            return
        if self._next != self._after:
            self.abandon()
            first = self._segments[0].first
            raise OutputError(
                self.path,
                f"{self._next - first} frames handed over",
                f"{self._after - first}",
                "report this as a fault",
            )
        self._closed = True
        self._queue.put(None)
        self._thread.join()
        self._raise_error()

    def abandon(self) -> None:
        """End without caring for the segment that is being written."""
        if self._closed:
            return
        self._closed = True
        self._abandoned.set()
        self._queue.put(None)
        self._thread.join()

    def _raise_error(self) -> None:
        if isinstance(self._error, PostfixError):
            raise self._error
        if self._error is not None:
            raise OutputError(
                self.path,
                f"a frame that could not be written ({self._error})",
                "room on the disk and a sound encoder",
                "check the disk and run again",
            ) from self._error

    def _run(self) -> None:
        try:
            for segment in self._segments:
                if not self._code(segment):
                    break
        except BaseException as error:
            self._error = error
        # After an error the queue is kept empty, so that nobody waits for ever.
        while not self._ended:
            self._taken()

    def _taken(self) -> Planes | None:
        """The next picture; None at the end, or where nobody cares any more."""
        planes = self._queue.get()
        self._ended = planes is None
        return None if self._abandoned.is_set() else planes

    def _code(self, segment: Segment) -> bool:
        """One segment, taken from the queue; False where it was broken off."""
        target = part_path(self._parts, segment.index)
        begun = begun_path(target)
        file = VideoFile(self.path, self._spec, in_memory=True, named=self._named)
        try:
            coder, header = PictureCoder(file), file.header
            with begun.open("xb") as out:
                written = _Written(out)
                for _ in range(segment.count):
                    planes = self._taken()
                    if planes is None:
                        return False
                    written.take(coder.encode(planes))
                written.take(coder.rest())
            sync_file(begun)
            begun.replace(target)
            part = _Part(segment.count, header.hex(), written.checksum.hexdigest(), tuple(written.pictures))
            write_sealed(_told(target), json.dumps(asdict(part)).encode())
        finally:
            file.abandon()
            with suppress(OSError):
                begun.unlink(missing_ok=True)
        self._sealed(segment.index)
        return True


class _Written:
    """Coded pictures on their way into a file."""

    def __init__(self, out: BinaryIO) -> None:
        self._out = out
        self.checksum = hashlib.sha256()
        self.pictures: list[_Coded] = []

    def take(self, packets: Iterable[Any]) -> None:
        for packet in packets:
            data = bytes(packet)
            self._out.write(data)
            self.checksum.update(data)
            duration = int(packet.duration or 0)
            self.pictures.append(_Coded(packet.pts, duration, bool(packet.is_keyframe), len(data)))


def part_path(parts: Path, index: int) -> Path:
    """The coded pictures of a segment."""
    return parts / f"{index:06d}.coded"


def _told(path: Path) -> Path:
    return path.with_suffix(".told")


def parts_held(path: Path, parts: Path, segments: Iterable[Segment]) -> set[int]:
    """Indices of the segments (in frames of the file) whose parts are there and whole; all of them once they have been
    joined to the file ``path``. Every byte of them is read."""
    wanted = {segment.index: segment for segment in segments}
    if is_joined(path, parts):
        return set(wanted)
    return {index for index, segment in wanted.items() if _held(parts, segment)}


def _held(parts: Path, segment: Segment) -> bool:
    part = _read_part(parts, segment)
    try:
        return part is not None and file_sha256(part_path(parts, segment.index)) == part.sha256
    except OSError:
        return False


def _read_part(parts: Path, segment: Segment) -> _Part | None:
    try:
        told = read_sealed(_told(part_path(parts, segment.index)))
        if told is None:
            return None
        data = json.loads(told)
        pictures = tuple(_Coded(**one) for one in data["pictures"])
        part = _Part(int(data["frames"]), str(data["header"]), str(data["sha256"]), pictures)
    except (OSError, ValueError, TypeError, KeyError):
        return None
    return part if part.frames == segment.count else None


def is_joined(path: Path, parts: Path) -> bool:
    """Whether the file was joined, in this run or an earlier one, and is as it was then."""
    try:
        told = json.loads((parts / _JOINED).read_text(encoding="utf-8"))
        return bool(told["sha256"] == file_sha256(path))
    except (OSError, ValueError, TypeError, KeyError):
        return False


def join_parts(
    path: Path,
    parts: Path,
    spec: VideoSpec,
    segments: Sequence[Segment],
    audio_from: VideoSource | None = None,
    look: Look = lambda: None,
) -> None:
    """Put the parts of a video into its file, with the sound that goes along, and let go of them.

    Parameters
    ----------
    path : Path
        The file; one that an earlier run left there is written anew.
    parts : Path
        The folder of the parts.
    spec : VideoSpec
    segments : sequence of Segment
        All of them, in frames of the file.
    audio_from : VideoSource, optional
    look : callable
        Called at each segment, and when the file is whole but has not its name yet.

    Raises
    ------
    OutputError
        Where a part is not what it was, or the file cannot be written.
    """
    if is_joined(path, parts):
        return
    begun = begun_path(path)
    file = VideoFile(begun, spec, audio_from)
    try:
        told = [_fitting(parts, segment, file.header, path) for segment in segments]
        ahead = max(decoding_ahead([one.shown for one in part.pictures]) for part in told)
        for segment, part in zip(segments, told):
            look()
            for place, (data, one) in enumerate(_coded(parts, segment, part, path), segment.first):
                file.put_coded(
                    data,
                    shown=one.shown + segment.first,
                    decoded=place - ahead,
                    duration=one.duration,
                    key=one.key,
                    frame=place,
                )
        file.finish()
        look()
        sync_file(begun)
        begun.replace(path)
        sync_folder(path.parent)
        write_durably(parts / _JOINED, json.dumps({"sha256": file_sha256(path)}).encode())
    except PostfixError as error:
        error.where = error.where.replace(str(begun), str(path))
        raise
    except (av.FFmpegError, OSError) as error:
        raise _unjoined(path, error) from error
    finally:
        file.abandon()
        with suppress(OSError):
            begun.unlink(missing_ok=True)
    for segment in segments:
        with suppress(OSError):
            part_path(parts, segment.index).unlink(missing_ok=True)


def _unjoined(path: Path, error: Exception) -> OutputError:
    if is_of_the_disk(error):
        reason = getattr(error, "strerror", None) or str(error)
        return OutputError(
            path, f"no way to join its parts ({reason})", "room on the disk", "check the disk and add --resume"
        )
    return OutputError(
        path, f"parts that cannot be joined ({reason_of(error)})", "parts that fit", "report this as a fault"
    )


def _fitting(parts: Path, segment: Segment, header: bytes, path: Path) -> _Part:
    """What a part holds; OutputError where it is not there or was coded for another file."""
    part = _read_part(parts, segment)
    if part is None or bytes.fromhex(part.header) != header:
        raise _unfit(parts, segment, "a part that does not fit", path)
    return part


def _unfit(parts: Path, segment: Segment, found: str, path: Path) -> OutputError:
    expected = f"frames {segment.first} to {segment.last} of {path.name}"
    return OutputError(part_path(parts, segment.index), found, expected, "add --resume to make it anew")


def _coded(parts: Path, segment: Segment, part: _Part, path: Path) -> Iterator[tuple[bytes, _Coded]]:
    found = hashlib.sha256()
    with part_path(parts, segment.index).open("rb") as coded:
        for one in part.pictures:
            data = coded.read(one.size_bytes)
            found.update(data)
            yield data, one
    if found.hexdigest() != part.sha256:
        raise _unfit(parts, segment, "a damaged part", path)
