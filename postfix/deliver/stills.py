"""Stills out: each written like the file it came from, or copied where nothing changed."""

from __future__ import annotations

import shutil
import threading
from concurrent.futures import Future, ThreadPoolExecutor
from pathlib import Path
from types import TracebackType

import numpy as np
import OpenImageIO as oiio

from postfix.errors import OutputError, PostfixError
from postfix.source.picture import Plane, Planes
from postfix.source.stills import PICTURE_SUFFIXES, StillsSource, open_still

WRITE_THREADS = 2
"""Stills of one eye written at the same time."""

_AHEAD_STILLS = 6
"""Stills that may wait to be written: bounds the memory."""

PNG_COMPRESSION_LEVEL = 1
"""Of 0 to 9. PNG loses nothing at any level; this one writes a 1080p 16-bit still in a quarter of level 6's time."""


class StillsWriter:
    """An eye being written as numbered stills with the source's names, headers and depth.

    Parameters
    ----------
    source : StillsSource
    folder : Path
        A folder that is itself unfinished.
    """

    def __init__(self, source: StillsSource, folder: Path) -> None:
        self._source, self._folder = source, folder
        self._pool = ThreadPoolExecutor(WRITE_THREADS, thread_name_prefix=f"write {source.path.name}")
        self._room = threading.Semaphore(_AHEAD_STILLS)
        self._error: BaseException | None = None
        self._handed: set[int] = set()
        self._closed = False

    def __enter__(self) -> StillsWriter:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        if kind is None:
            self.close()
        else:
            self._closed = True
            self._pool.shutdown(wait=True, cancel_futures=True)

    def write(self, index: int, planes: Planes, unchanged: bool = False) -> None:
        """Hand over still ``index`` (counted from 0); the planes must not be changed afterwards.

        With ``unchanged`` the source file is copied byte for byte and the planes are not looked at.

        Raises
        ------
        OutputError
            Where this still or an earlier one could not be written.
        """
        if index in self._handed or not 0 <= index < self._source.count:
            raise ValueError(f"still {index} twice, or not one of {self._source.count}")
        self._raise_error()
        self._room.acquire()
        self._handed.add(index)
        future = self._pool.submit(self._write_one, index, planes, unchanged)
        future.add_done_callback(self._done)

    def close(self) -> None:
        """Wait until everything is written; raises OutputError where something was not."""
        if self._closed:
            return
        self._closed = True
        self._pool.shutdown(wait=True)
        self._raise_error()
        if len(self._handed) != self._source.count:
            raise OutputError(
                self._folder,
                f"{len(self._handed)} stills handed over",
                f"{self._source.count}",
                "report this as a fault",
            )

    def _done(self, future: Future[None]) -> None:
        self._room.release()
        if not future.cancelled() and (error := future.exception()) is not None and self._error is None:
            self._error = error

    def _raise_error(self) -> None:
        if isinstance(self._error, PostfixError):
            raise self._error
        if self._error is not None:
            raise OutputError(
                self._folder,
                f"a still that could not be written ({self._error})",
                "room on the disk",
                "check the disk and run again",
            ) from self._error

    def _write_one(self, index: int, planes: Planes, unchanged: bool) -> None:
        like = self._source.paths[index]
        target = self._folder / like.name
        if unchanged:
            shutil.copyfile(like, target)
        else:
            write_still(target, planes[0], like=like, frame=self._source.first_number + index)


def write_still(path: Path, samples: Plane, *, like: Path | None = None, frame: int | None = None) -> None:
    """Write one still.

    Parameters
    ----------
    path : Path
        PNG or TIFF by its suffix.
    samples : ndarray, (height, width) or (height, width, channels), uint8 or uint16
    like : Path, optional
        The still whose header (resolution, orientation, compression, profile, timecode …) is taken over.
    frame : int, optional
        Its number, for errors.

    Raises
    ------
    OutputError
        Where the file cannot be written.
    """
    channels = 1 if samples.ndim == 2 else samples.shape[2]
    if like is None:
        spec = oiio.ImageSpec(samples.shape[1], samples.shape[0], channels, str(samples.dtype))
    else:
        opened = open_still(like, frame)
        spec = oiio.ImageSpec(opened.spec())
        opened.close()
        if (spec.height, spec.width, spec.nchannels) != (*samples.shape[:2], channels):
            raise ValueError(f"samples of shape {samples.shape} for {spec.width}x{spec.height}x{spec.nchannels}")
        spec.set_format(str(samples.dtype))
    # The codes are written as they are: alpha not multiplied in, and no date that would differ from run to run.
    spec.attribute("oiio:UnassociatedAlpha", 1)
    if spec.getattribute("DateTime") is None:
        spec.attribute("DateTime", "")
    if PICTURE_SUFFIXES[path.suffix.lower()] == "png":
        spec.attribute("png:compressionLevel", PNG_COMPRESSION_LEVEL)
    output = oiio.ImageOutput.create(str(path))
    # OpenImageIO takes an array with gaps, or with two axes, for something else and writes what lies beyond it.
    whole_rows = np.ascontiguousarray(samples).reshape(*samples.shape[:2], channels)
    whole = output is not None and output.open(str(path), spec) and output.write_image(whole_rows)
    reason = "" if output is None else output.geterror()
    if output is not None:
        whole = output.close() and whole
    if not whole:
        raise OutputError(
            path,
            f"a still that could not be written ({(reason or oiio.geterror()).strip()[:160]})",
            "room on the disk and a folder to write in",
            "check the disk and run again",
            frame=frame,
        )
