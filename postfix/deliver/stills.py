"""Stills out: each written like the file it came from, or copied where nothing changed."""

from __future__ import annotations

import json
import shutil
import threading
from collections.abc import Iterable, Sequence
from contextlib import suppress
from pathlib import Path

import numpy as np
import OpenImageIO as oiio

from postfix import effort
from postfix.deliver.closing import Closing
from postfix.deliver.dpx import write_dpx
from postfix.deliver.durable import begun_path, sync_file, sync_folder, write_durably
from postfix.deliver.exr import exr_losses, write_exr
from postfix.deliver.pooled import Pooled
from postfix.deliver.still_chunks import UNKNOWN_QUALITY, carry_jpeg_segments, carry_png_chunks, jpeg_quality
from postfix.deliver.tiff_tags import carry_tiff_tags, tags_left_out
from postfix.deliver.workroom import Sealed
from postfix.errors import OutputError, PostfixError
from postfix.source.ahead import frames_ahead
from postfix.source.numbered import PICTURE_SUFFIXES
from postfix.source.opening import file_sha256
from postfix.source.picture import Plane, Planes
from postfix.source.segments import Segment, segments_of
from postfix.source.still_header import OIIO_TYPES, open_still, still_is_whole
from postfix.source.stills import StillsSource

PNG_COMPRESSION_LEVEL = 1
"""Of 0 to 9. PNG loses nothing at any level; this one writes a 1080p 16-bit still in a quarter of level 6's time."""


class StillsWriter(Closing):
    """Segments of an eye being written as numbered stills with the source's headers and depth; a context manager.

    Each still has its name only when it is whole, and a segment is told as finished when all of its stills are on the
    disk and their checksums kept.

    Parameters
    ----------
    source : StillsSource
        Stills whose headers are taken over, one for each still that is written, in the format of what is written.
    folder : Path
        A folder that is itself unfinished.
    names : sequence of str, optional
        What the stills are called; as in the source without it.
    copies : bool
        True where a still in which nothing changed may be copied from the source. Never done of a view, whose file
        holds others as well.
    parts : Path, optional
        A folder that takes the checksums of the stills of each segment; without it none are kept.
    segments : sequence of Segment, optional
        What will be handed over, in stills; all of the source without it.
    sealed : callable
        Told of each segment that is finished.
    """

    def __init__(
        self,
        source: StillsSource,
        folder: Path,
        names: Sequence[str] | None = None,
        *,
        copies: bool = True,
        parts: Path | None = None,
        segments: Sequence[Segment] = (),
        sealed: Sealed = lambda index: None,
    ) -> None:
        self._source, self._folder, self._parts, self._sealed = source, folder, parts, sealed
        self._names = [path.name for path in source.paths] if names is None else list(names)
        self._copies = copies and source.view is None
        threads = effort.current().threads_an_eye
        waiting = max(threads, frames_ahead(source.format))
        self._work = Pooled(threads, waiting, f"write {source.path.name}")
        self._segments = tuple(segments) or segments_of(source.count)
        self._first, self._last = self._segments[0].first, self._segments[-1].last
        self._lock = threading.Lock()
        self._written: dict[int, dict[str, str]] = {segment.index: {} for segment in self._segments}
        self._handed: set[int] = set()
        self._closed = False

    def write(self, index: int, planes: Planes, unchanged: bool = False) -> None:
        """Hand over still ``index`` (counted from 0); the planes must not be changed afterwards.

        With ``unchanged`` the source file is copied byte for byte and the planes are not looked at, where it may be.

        Raises
        ------
        OutputError
            Where this still or an earlier one could not be written.
        """
        if index in self._handed or not self._first <= index <= self._last:
            raise ValueError(f"still {index} twice, or not one of {self._first} to {self._last}")
        self._raise_error()
        self._handed.add(index)
        self._work.hand_over(self._write_one, index, planes, unchanged)

    def close(self) -> None:
        """Wait until everything is written; raises OutputError where something was not."""
        if self._closed:
            return
        self._closed = True
        self._work.finish()
        self._raise_error()
        wanted = self._last - self._first + 1
        if len(self._handed) != wanted:
            raise OutputError(
                self._folder, f"{len(self._handed)} stills handed over", f"{wanted}", "report this as a fault"
            )

    def abandon(self) -> None:
        """End without caring for what was written."""
        self._closed = True
        self._work.finish(abandon=True)

    def _raise_error(self) -> None:
        error = self._work.error
        if isinstance(error, PostfixError):
            raise error
        if error is not None:
            raise OutputError(
                self._folder,
                f"a still that could not be written ({error})",
                "room on the disk",
                "check the disk and run again",
            ) from error

    def _write_one(self, index: int, planes: Planes, unchanged: bool) -> None:
        like, target = self._source.like(index), self._folder / self._names[index]
        frame, begun = self._source.first_number + index, begun_path(target)
        try:
            if unchanged and self._copies:
                _copy(like, begun, target, frame)
            else:
                self._draw_one(index, planes, like, begun)
            checksum = "" if self._parts is None else file_sha256(begun)
            begun.replace(target)
        except PostfixError as error:
            error.where = error.where.replace(str(begun), str(target))
            raise
        except OSError as error:
            raise _unwritten(target, error.strerror or str(error), frame) from error
        finally:
            with suppress(OSError):
                begun.unlink(missing_ok=True)
        self._note(index, target.name, checksum)

    def _note(self, index: int, name: str, checksum: str) -> None:
        """Keep the checksum of a still; the last of a segment seals it."""
        segment = next(one for one in self._segments if one.first <= index <= one.last)
        with self._lock:
            written = self._written[segment.index]
            written[name] = checksum
            whole = len(written) == segment.count
        if whole and self._parts is not None:
            for each in written:
                sync_file(self._folder / each)
            sync_folder(self._folder)
            write_durably(_told(self._parts, segment.index), json.dumps(written).encode())
        if whole:
            self._written[segment.index] = {}
            self._sealed(segment.index)

    def _draw_one(self, index: int, planes: Planes, like: Path, target: Path) -> None:
        write_still(target, planes, like=like, view=self._source.view, frame=self._source.first_number + index)


def _told(parts: Path, index: int) -> Path:
    return parts / f"{index:06d}.json"


def stills_held(parts: Path, folder: Path, segments: Iterable[Segment]) -> set[int]:
    """Indices of the segments (in stills) of which every still is in its folder and whole. Every byte is read."""
    return {segment.index for segment in segments if _held(_told(parts, segment.index), folder, segment)}


def _held(told: Path, folder: Path, segment: Segment) -> bool:
    try:
        stills = json.loads(told.read_text(encoding="utf-8"))
        return len(stills) == segment.count and all(
            file_sha256(folder / Path(name).name) == checksum for name, checksum in stills.items()
        )
    except (OSError, ValueError, AttributeError, TypeError):
        return False


def write_still(
    path: Path,
    samples: Plane | Planes,
    *,
    like: Path | None = None,
    view: str | None = None,
    frame: int | None = None,
    both_eyes: bool = False,
) -> None:
    """Write one still.

    Parameters
    ----------
    path : Path
        Of any format in :data:`postfix.source.numbered.PICTURE_SUFFIXES`, by its suffix.
    samples : ndarray or tuple of ndarray
        Each (height, width) or (height, width, channels); several only for OpenEXR.
    like : Path, optional
        The still whose header (resolution, orientation, compression, profile, timecode …) is taken over. DPX and
        OpenEXR need one; it may have another size.
    view : str, optional
        Of OpenEXR: the view of ``like`` that the samples are of.
    frame : int, optional
        Its number, for errors.
    both_eyes : bool
        True where the samples hold both eyes joined, so that the file must not say which view it shows.

    Raises
    ------
    OutputError
        Where the file cannot be written.
    """
    planes = samples if isinstance(samples, tuple) else (samples,)
    kind = PICTURE_SUFFIXES[path.suffix.lower()]
    try:
        if kind in ("dpx", "exr"):
            if like is None:
                raise ValueError(f"{path}: a {kind} file is written like another one")
            if kind == "dpx":
                write_dpx(path, planes[0], like, frame)
            else:
                write_exr(path, planes, like, view, frame, both_eyes=both_eyes)
            return
        _write_by_library(path, kind, planes[0], like, frame)
        # On a full disk the library may leave half a file behind without a word.
        if not still_is_whole(path, kind):
            raise _unwritten(path, "it ends early", frame)
        if like is not None:
            {"png": carry_png_chunks, "jpeg": carry_jpeg_segments, "tiff": carry_tiff_tags}[kind](path, like)
    except OSError as error:
        raise _unwritten(path, error.strerror or str(error), frame) from error


def _copy(like: Path, begun: Path, target: Path, frame: int) -> None:
    try:
        shutil.copyfile(like, begun)
    except OSError as error:
        raise _unwritten(target, f"no way to copy {like} there: {error.strerror or error}", frame) from error


def _unwritten(path: Path, reason: str, frame: int | None) -> OutputError:
    return OutputError(
        path,
        f"a still that could not be written ({reason.strip()[:160]})",
        "room on the disk and a folder to write in",
        "check the disk and run again",
        frame=frame,
    )


def _write_by_library(path: Path, kind: str, samples: Plane, like: Path | None, frame: int | None) -> None:
    channels = 1 if samples.ndim == 2 else samples.shape[2]
    height, width = samples.shape[:2]
    # TIFF's 16-bit floats are written as the whole numbers that they are as bits; their own tags say what they are.
    coded = samples.view(np.uint16) if samples.dtype == np.float16 else samples
    if like is None:
        if coded is not samples:
            raise ValueError(f"{path}: 16-bit floats are written like another file")
        spec = oiio.ImageSpec(width, height, channels, OIIO_TYPES[str(samples.dtype)])
    else:
        opened = open_still(like, frame)
        spec = oiio.ImageSpec(opened.spec())
        opened.close()
        if spec.nchannels != channels:
            raise ValueError(f"samples of shape {samples.shape} for {spec.nchannels} channels")
        spec.width = spec.full_width = width
        spec.height = spec.full_height = height
        spec.set_format(OIIO_TYPES[str(coded.dtype)])
        spec.erase_attribute("oiio:BitsPerSample")
    # The codes are written as they are: alpha not multiplied in, and no date that would differ from run to run.
    spec.attribute("oiio:UnassociatedAlpha", 1)
    if spec.getattribute("DateTime") is None:
        spec.attribute("DateTime", "")
    if kind == "png":
        spec.attribute("png:compressionLevel", PNG_COMPRESSION_LEVEL)
    elif kind == "jpeg":
        _say_quality(spec, like)
    elif coded is not samples:
        spec.attribute("tiff:Predictor", 1)
    output = oiio.ImageOutput.create(str(path))
    # OpenImageIO takes an array with gaps, or with two axes, for something else and writes what lies beyond it.
    whole_rows = np.ascontiguousarray(coded).reshape(height, width, channels)
    whole = output is not None and output.open(str(path), spec) and output.write_image(whole_rows)
    reason = "" if output is None else output.geterror()
    if output is not None:
        whole = output.close() and whole
    if not whole:
        raise _unwritten(path, reason or oiio.geterror(), frame)


def _say_quality(spec: oiio.ImageSpec, like: Path | None) -> None:
    """The quality of ``like`` where it can be known; else a high one with all of the colour."""
    quality = None if like is None else jpeg_quality(like)
    spec.attribute("compression", f"jpeg:{quality or UNKNOWN_QUALITY}")
    if quality is None:
        spec.attribute("jpeg:subsampling", "4:4:4")


def still_losses(source: StillsSource) -> tuple[str, ...]:
    """What written stills will lack of the source's, each in a sentence for the log; frames that do not change lack
    nothing, because their files are copied."""
    kind = PICTURE_SUFFIXES[source.like(0).suffix.lower()]
    if kind == "exr":
        return exr_losses([path for path in source.paths if path not in source.headless])
    if kind == "jpeg":
        quality = jpeg_quality(source.like(0))
        how = f"at their own quality, {quality} of 100" if quality else f"at quality {UNKNOWN_QUALITY} of 100"
        return (f"JPEG loses a little each time it is written; changed frames are written {how}",)
    return _tiff_losses(source.like(0)) if kind == "tiff" else ()


def _tiff_losses(path: Path) -> tuple[str, ...]:
    opened = open_still(path)
    lossy = opened.spec().getattribute("compression") == "jpeg"
    opened.close()
    losses: tuple[str, ...] = ("JPEG inside TIFF loses a little each time it is written",) if lossy else ()
    left_out = tags_left_out(path)
    if left_out:
        codes = ", ".join(map(str, left_out))
        losses += (f"TIFF tags {codes}, which speak of the old samples, are left out of changed frames",)
    return losses
