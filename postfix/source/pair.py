"""Both eyes together: checked against each other, and decoded ahead of whoever uses them."""

from __future__ import annotations

import queue
import re
import threading
from collections.abc import Iterator
from contextlib import suppress
from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path

from postfix.errors import InputError, UsageError
from postfix.source.opening import open_eye
from postfix.source.picture import EyeSource, PictureFormat, Planes
from postfix.source.stills import StillsSource, is_pattern

AHEAD_FRAMES = 6
"""Frames each eye may be decoded ahead: enough to smooth uneven frames, little enough to bound the memory."""

_WAIT_S = 0.1
_EYE_WORDS = r"(?:left|right|le|re|l|r)"
_LAST_EYE_WORD = re.compile(rf"(?:^|[\W_]+){_EYE_WORDS}$", re.IGNORECASE)
_FIRST_EYE_WORD = re.compile(rf"^{_EYE_WORDS}[\W_]+", re.IGNORECASE)


@dataclass(frozen=True)
class PairSource:
    """Two eyes of one clip that fit together.

    Attributes
    ----------
    left, right : EyeSource
    name : str
        Of the clip: the left file's name without its eye word; safe as a file name.
    """

    left: EyeSource
    right: EyeSource
    name: str

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

    def frames(self, first: int = 0, last: int | None = None) -> Iterator[tuple[int, Planes, Planes]]:
        """Frame number (counted from 0), left and right planes, of frames ``first`` to ``last``, both included.

        Each eye is decoded in a thread of its own, at most :data:`AHEAD_FRAMES` frames ahead. What goes wrong there
        is raised here. Closing the iterator early ends the threads.
        """
        end = self.count - 1 if last is None else last
        left, right = _Ahead(self.left, first, end), _Ahead(self.right, first, end)
        try:
            left.start()
            right.start()
            for index in range(first, end + 1):
                yield index, left.next(), right.next()
        finally:
            left.stop()
            right.stop()


class _Ahead:
    """One eye decoded ahead in a thread through a bounded queue."""

    def __init__(self, source: EyeSource, first: int, last: int) -> None:
        self._source, self._first, self._last = source, first, last
        self._queue: queue.Queue[Planes | BaseException] = queue.Queue(AHEAD_FRAMES)
        self._stopping = threading.Event()
        # A daemon, so that a consumer killed without clean-up does not hang the interpreter; stop() always joins.
        self._thread = threading.Thread(target=self._run, name=f"decode {source.path.name}", daemon=True)

    def start(self) -> None:
        self._thread.start()

    def next(self) -> Planes:
        item = self._queue.get()
        if isinstance(item, BaseException):
            raise item
        return item

    def stop(self) -> None:
        self._stopping.set()
        if self._thread.ident is not None:
            self._thread.join()

    def _run(self) -> None:
        frames = self._source.frames(self._first, self._last)
        try:
            for planes in frames:
                if not self._put(planes):
                    return
        except BaseException as error:
            self._put(error)
        else:
            self._put(RuntimeError(f"{self._source.path} gave fewer frames than asked for"))
        finally:
            with suppress(AttributeError):
                frames.close()  # type: ignore[attr-defined]

    def _put(self, item: Planes | BaseException) -> bool:
        while not self._stopping.is_set():
            with suppress(queue.Full):
                self._queue.put(item, timeout=_WAIT_S)
                return True
        return False


def open_pair(
    left: Path, right: Path, *, rate: Fraction | None = None, frames: tuple[int, int] | None = None
) -> PairSource:
    """Open both eyes and check them against each other before the first frame.

    Parameters
    ----------
    left, right : Path
        Each as :func:`postfix.source.opening.open_eye` takes it.
    rate : Fraction, optional
    frames : (int, int), optional

    Raises
    ------
    UsageError
        Where both are the same file.
    InputError
        Where one cannot be used, or they differ in size, pixel format, rate or count.
    """
    if left == right or (left.exists() and right.exists() and left.samefile(right)):
        raise UsageError(
            f"{left} and {right}", "the same pictures for both eyes", "one for each eye", "give the other eye"
        )
    left_source = open_eye(left, rate=rate, frames=frames)
    right_source = open_eye(right, rate=rate, frames=frames)
    _check_alike(left_source, right_source)
    return PairSource(left_source, right_source, clip_name(left_source))


def clip_name(source: EyeSource) -> str:
    """Name of the clip an eye belongs to: without the eye word, safe as a file name."""
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


def _check_alike(left: EyeSource, right: EyeSource) -> None:
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
            "give both eyes the same frames, or choose with --frames",
        ),
    )
    for what, found_left, found_right, next_step in checks:
        if found_left != found_right:
            raise InputError(
                f"{left.path} and {right.path}",
                f"{found_left} in the left eye and {found_right} in the right",
                f"the same {what} in both",
                next_step,
            )


def _range_text(fmt: PictureFormat) -> str:
    return f"black {fmt.planes[0].black[0]:g} and white {fmt.white:g}"
