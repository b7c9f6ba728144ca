"""A pair out, in one way or several at once from the same pictures: checked before, written, reopened and counted."""

from __future__ import annotations

import logging
import threading
from collections import Counter
from collections.abc import Iterator, Sequence
from concurrent.futures import ThreadPoolExecutor
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Protocol

from postfix.deliver.eye_out import EyeOut
from postfix.deliver.own import EYES, PACKED_FOLDER
from postfix.deliver.packed import PackedOut, copy_packed
from postfix.deliver.packing import check_packed, lost_in_packed
from postfix.deliver.stills import StillsWriter
from postfix.deliver.video_parts import VideoPartsWriter
from postfix.deliver.workroom import Look, Sealed, Workroom
from postfix.errors import UsageError
from postfix.source.framed import is_framed
from postfix.source.layout import Layout, squeeze_of
from postfix.source.packed_eye import origin_of
from postfix.source.pair import PairSource
from postfix.source.picture import EyeSource, Planes
from postfix.source.segments import Segment
from postfix.source.video import VideoSource

log = logging.getLogger("postfix")


@dataclass(frozen=True)
class Delivery:
    """How finished pictures leave the house.

    Attributes
    ----------
    layouts : tuple of Layout
        Each is written from the same render; empty for the layout of the source.
    codec : str or None
        A name of :data:`postfix.deliver.codecs.CODECS`; None for the source's own.
    """

    layouts: tuple[Layout, ...] = ()
    codec: str | None = None

    def layouts_of(self, pair: PairSource) -> tuple[Layout, ...]:
        """The layouts that a pair is written in."""
        return self.layouts or (pair.layout,)

    def is_like(self, pair: PairSource) -> bool:
        """True where the written files are to be just like those of the source."""
        return self.codec is None and self.layouts_of(pair) == (pair.layout,) and not is_framed(pair)


@dataclass(frozen=True)
class Written:
    """One file, or one folder of stills, that a delivery wrote.

    Attributes
    ----------
    eye : str
        ``left``, ``right``, or ``both`` where it holds both.
    layout : Layout
    path : Path
    source : EyeSource
        The file as it was opened again: one eye, or what both eyes are read from.
    """

    eye: str
    layout: Layout
    path: Path
    source: EyeSource


class PairWriter(Protocol):
    """Both eyes being written."""

    def write(self, index: int, left: Planes, right: Planes, unchanged: tuple[bool, bool] = (False, False)) -> None:
        """Hand over frame ``index``, counted from 0 and in order; the planes must not be changed afterwards.

        ``unchanged`` tells of each eye whether its planes are those of the source.
        """
        ...


class _EyesWriter:
    """A file, or a sequence, for each eye."""

    def __init__(
        self,
        stack: ExitStack,
        outputs: tuple[EyeOut, EyeOut],
        room: Workroom,
        segments: Sequence[Segment],
        sealed: Sealed,
    ) -> None:
        self._writers: list[VideoPartsWriter | StillsWriter] = []
        for output in outputs:
            writer = output.writer(room, segments, sealed)
            stack.enter_context(writer)
            self._writers.append(writer)

    def write(self, index: int, left: Planes, right: Planes, unchanged: tuple[bool, bool] = (False, False)) -> None:
        for writer, planes, same in zip(self._writers, (left, right), unchanged):
            writer.write(index, planes, unchanged=same)


def eye_outputs(pair: PairSource, delivery: Delivery) -> tuple[EyeOut, EyeOut]:
    """A file or sequence for each eye, each in the folder of its name."""
    return EyeOut(pair, "left", delivery.codec), EyeOut(pair, "right", delivery.codec)


def check_delivery(pair: PairSource, delivery: Delivery) -> None:
    """Refuse, before the first frame, what cannot be written, and log what a delivery cannot carry.

    Raises
    ------
    InputError
        Where the source's codec, or the one that was chosen, cannot hold its pictures; names the choice to make.
    UsageError
        Where a layout cannot be made of such a source.
    """
    layouts = delivery.layouts_of(pair)
    if len(set(layouts)) < len(layouts):
        raise UsageError("--deliver", "one layout twice", "each layout once", "leave the second one out")
    if delivery.codec is not None and not isinstance(origin_of(pair.left), VideoSource):
        raise UsageError(
            f"--codec {delivery.codec}",
            f"stills ({pair.left.path})",
            "video: stills are written in their own format",
            "leave --codec out",
        )
    for layout in layouts:
        if layout == "left-right":
            for output in eye_outputs(pair, delivery):
                output.check()
        else:
            check_packed(pair, layout, delivery.codec)


def say_losses(pair: PairSource, delivery: Delivery) -> None:
    """Log what the written files will not say, or not hold, though the source does."""
    sentences: list[str] = []
    for layout in delivery.layouts_of(pair):
        if layout == "left-right":
            for output in eye_outputs(pair, delivery):
                sentences += (f"{output.source.path}: {text}" for text in output.losses())
        else:
            sentences += (f"{layout}: {text}" for text in lost_in_packed(pair, layout, delivery.codec))
    for sentence in dict.fromkeys(sentences):
        log.info("%s", sentence)


def delivery_folders(pair: PairSource, delivery: Delivery) -> tuple[str, ...]:
    """Names of the folders that a delivery writes its pictures into."""
    layouts = delivery.layouts_of(pair)
    packed = (PACKED_FOLDER,) if set(layouts) - {"left-right"} else ()
    return (*(EYES if "left-right" in layouts else ()), *packed)


def copy_as_they_are(pair: PairSource, delivery: Delivery, folder: Path) -> bool:
    """Copy the source's files byte for byte where the written ones would be just the same; False where not."""
    if not delivery.is_like(pair):
        return False
    if pair.layout != "left-right":
        return copy_packed(pair, pair.layout, folder / PACKED_FOLDER)
    outputs = eye_outputs(pair, delivery)
    if not all(output.is_copy for output in outputs):
        return False
    for output in outputs:
        output.copy(folder / output.eye)
    return True


def _outs(pair: PairSource, delivery: Delivery) -> list[EyeOut | PackedOut]:
    """Everything that is written of a pair: a file or a sequence each."""
    outs: list[EyeOut | PackedOut] = []
    for layout in delivery.layouts_of(pair):
        outs += eye_outputs(pair, delivery) if layout == "left-right" else [PackedOut(pair, layout, delivery.codec)]
    return outs


@contextmanager
def writers(
    pair: PairSource,
    delivery: Delivery,
    room: Workroom,
    segments: Sequence[Segment],
    sealed: Sealed = lambda index: None,
) -> Iterator[tuple[PairWriter, ...]]:
    """A writer for each layout of a delivery; all segments are finished when the block ends without an exception.

    Parameters
    ----------
    pair : PairSource
    delivery : Delivery
    room : Workroom
        Whose folder of pictures holds those of :func:`delivery_folders`.
    segments : sequence of Segment
        Consecutive ones, in frames of the pair.
    sealed : callable
        Told of each segment when all that is written of it is finished, from any thread.

    Raises
    ------
    InputError
        Where something cannot be written; nothing is left behind.
    OutputError
        Where writing fails.
    """
    counted = _counted(len(_outs(pair, delivery)), sealed)
    with ExitStack() as stack:
        made: list[PairWriter] = []
        for layout in delivery.layouts_of(pair):
            if layout == "left-right":
                made.append(_EyesWriter(stack, eye_outputs(pair, delivery), room, segments, counted))
            else:
                packed = PackedOut(pair, layout, delivery.codec)
                made.append(stack.enter_context(packed.writer(room, segments, counted)))
        yield tuple(made)


def _counted(outs: int, sealed: Sealed) -> Sealed:
    """Tells of a segment once so many outputs have told of it."""
    lock, told = threading.Lock(), Counter[int]()

    def one(index: int) -> None:
        with lock:
            told[index] += 1
            whole = told[index] == outs
        if whole:
            sealed(index)

    return one


def held_segments(pair: PairSource, delivery: Delivery, room: Workroom) -> set[int]:
    """Indices of the segments of which everything that an earlier run wrote is there and whole."""
    with ThreadPoolExecutor(len(EYES), thread_name_prefix="verify") as pool:
        return set.intersection(*pool.map(lambda out: out.held(room), _outs(pair, delivery)))


def joined(pair: PairSource, delivery: Delivery, room: Workroom, look: Look = lambda: None) -> None:
    """Make the files of a delivery whole out of their segments, one after the other.

    Raises
    ------
    OutputError
        Where a part is damaged, or the disk takes no more.
    """
    for out in _outs(pair, delivery):
        out.join(room, look)


def reopened(pair: PairSource, delivery: Delivery, room: Workroom) -> tuple[PairSource, tuple[Written, ...]]:
    """Open everything that was written and hold it against the source.

    Returns
    -------
    pair : PairSource
        The delivery to measure: the first that has every column and row of both eyes, else the first.
    files : tuple of Written

    Raises
    ------
    OutputError
        Where something cannot be read, or differs from what it should be.
    """
    pairs: list[tuple[Layout, PairSource]] = []
    files: list[Written] = []
    for layout in delivery.layouts_of(pair):
        if layout == "left-right":
            # Opening reads a video through to count its frames: both at once.
            with ThreadPoolExecutor(len(EYES), thread_name_prefix="reopen") as pool:
                outputs = eye_outputs(pair, delivery)
                left, right = pool.map(lambda output: output.reopen(room.pictures / output.eye), outputs)
            pairs.append((layout, PairSource(left, right, pair.name)))
            files += [Written(name, layout, eye.path, eye) for name, eye in zip(EYES, (left, right))]
        else:
            opened = PackedOut(pair, layout, delivery.codec).reopen(room)
            assert opened.packed is not None
            pairs.append((layout, opened))
            files.append(Written("both", layout, opened.packed.path, opened.packed))
    pairs.sort(key=lambda entry: squeeze_of(entry[0]) != (1, 1))
    return pairs[0][1], tuple(files)
