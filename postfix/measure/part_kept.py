"""A measured part of a clip: some frames' figures, what they leave for judging their shots, and both as bytes.

The bytes are kept on disk or sent elsewhere, and give the part back to the last bit. They hold no pickle: arrays whose
size is known before they are made, behind a checksum.
"""

from __future__ import annotations

import hashlib
import math
import struct
from dataclasses import astuple, dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

from postfix.measure.frame import Trace
from postfix.measure.likeness import SIZE as LUMA_SIZE
from postfix.measure.likeness import signature_of
from postfix.measure.order import OrderEvidence
from postfix.measure.proxy import SMALL_PX, Grey
from postfix.measure.row_blocks import BLOCK_ROWS, Bytes
from postfix.measure.rows import Rows, from_packed
from postfix.measure.shot import BOTH_STILL, ONE_EYE_STILL
from postfix.measure.sync import SIZE as SYNC_SIZE
from postfix.measure.sync import SyncSignature

LUMA_SHAPE, SYNC_SHAPE = LUMA_SIZE[::-1], (2, *SYNC_SIZE[::-1])
OF_ORDER = len(astuple(OrderEvidence()))

_MARK = b"postfix measured part 1\n"
"""The number changes with whatever changes the figures' form: parts of another program's making are measured again."""

_DIGEST = hashlib.sha256().digest_size
_HEAD = struct.Struct("<QQII")
"""First and last frame, every, and blocks of rows."""

_STILL = ("", BOTH_STILL, *(ONE_EYE_STILL.format(eye=eye) for eye in ("left", "right")))
_SEEN_SHAPE = SMALL_PX[::-1]

Seen = tuple[Grey, Grey]
"""Both eyes of a frame made small, (27, 48) float32 each, as they are held against those of the frame before."""


@dataclass(frozen=True, eq=False)
class Part:
    """Consecutive frames ``first`` to ``last``, both included, measured, and what each leaves for judging its shot.

    Attributes
    ----------
    every : int
        With which they were measured.
    rows : Rows
        Of all these frames; empty ones where a frame was only looked at.
    measured : (n,) bool
    luma : (n, 36, 64) float32
        What cuts are found by.
    sync : (n, 2, 54, 48) uint8
        What a late eye is found by, where ``has_sync`` (n,) bool.
    order : (n, 6) float64
        What exchanged eyes are found by; NaN where a frame was not looked at for that.
    still : tuple of str
        A note where a frame repeats the one before; empty for the first, whose neighbour is in another part.
    head, tail : two (27, 48) float32 or None
        The first and the last frame, to be held against the neighbours in other parts.
    """

    first: int
    last: int
    every: int
    rows: Rows
    measured: npt.NDArray[np.bool_]
    luma: npt.NDArray[np.float32]
    sync: npt.NDArray[np.uint8]
    has_sync: npt.NDArray[np.bool_]
    order: npt.NDArray[np.float64]
    still: tuple[str, ...]
    head: Seen | None
    tail: Seen | None

    @property
    def count(self) -> int:
        """Its frames."""
        return self.last - self.first + 1

    def trace(self, index: int) -> Trace:
        """What one of its frames, counted from 0 here, leaves for its shot; ``seen`` has been looked at already."""
        sync = SyncSignature(*self.sync[index]) if self.has_sync[index] else None
        strips, *others = self.order[index].tolist()
        order = None if math.isnan(strips) else OrderEvidence(int(strips), *others)
        return Trace(signature_of(self.luma[index]), sync, None, order)


def part_bytes(part: Part) -> bytes:
    """The part as bytes."""
    blocks = part.rows.packed()
    rows = b"".join(struct.pack("<I", len(block)) + block for block in blocks)
    pieces = [
        _HEAD.pack(part.first, part.last, part.every, len(blocks)),
        rows,
        part.measured.tobytes(),
        part.has_sync.tobytes(),
        bytes(_STILL.index(note) for note in part.still),
        part.order.astype("<f8").tobytes(),
        part.luma.astype("<f4").tobytes(),
        part.sync[part.has_sync].tobytes(),
        *(_seen_bytes(seen) for seen in (part.head, part.tail)),
    ]
    body = b"".join(pieces)
    return _MARK + hashlib.sha256(body).digest() + body


def part_from(data: bytes) -> Part:
    """The part again; nothing larger than the bytes themselves, and what packed rows may hold, is allocated.

    Raises
    ------
    ValueError
        Where the bytes are damaged, or not those of a part made by this form of the program.
    """
    if not data.startswith(_MARK):
        raise ValueError("no measured part")
    view = memoryview(data)[len(_MARK) :]
    if hashlib.sha256(view[_DIGEST:]).digest() != view[:_DIGEST]:
        raise ValueError("a measured part whose checksum is wrong")
    body = Bytes(view[_DIGEST:])
    first, last, every, blocks = _HEAD.unpack(body.take(_HEAD.size))
    count = last - first + 1
    if count < 1 or every < 1 or blocks != -(-count // BLOCK_ROWS):
        raise ValueError(f"a measured part of frames {first} to {last}")
    # Whatever is wrong in itself is a ValueError: so is it where an array would be longer than what there is.
    packed = [bytes(body.take(struct.unpack("<I", body.take(4))[0])) for _ in range(blocks)]
    rows = from_packed(packed, count)
    measured, has_sync = (_flags(body.take(count)) for _ in range(2))
    marks = bytes(body.take(count))
    if max(marks) >= len(_STILL):
        raise ValueError("a measured part with an unknown note")
    order = _array(body, "<f8", (count, OF_ORDER))
    luma = _array(body, "<f4", (count, *LUMA_SHAPE))
    sync = np.zeros((count, *SYNC_SHAPE), np.uint8)
    sync[has_sync] = _array(body, "u1", (int(has_sync.sum()), *SYNC_SHAPE))
    head, tail = (_seen_from(body) for _ in range(2))
    if body.left:
        raise ValueError("a measured part with more than that")
    still = tuple(_STILL[mark] for mark in marks)
    return Part(first, last, every, rows, measured, luma, sync, has_sync, order, still, head, tail)


def _array(body: Bytes, kind: str, shape: tuple[int, ...]) -> npt.NDArray[Any]:
    """The next array, in the byte order of this machine."""
    stored = np.dtype(kind)
    size = stored.itemsize
    for length in shape:
        size *= length
    values = np.frombuffer(body.take(size), stored).reshape(shape)
    return np.asarray(values, stored.newbyteorder("="))


def _flags(data: memoryview) -> npt.NDArray[np.bool_]:
    values = np.frombuffer(data, np.uint8)
    if values.max() > 1:
        raise ValueError("a measured part with a flag that is none")
    return values.astype(np.bool_)


def _seen_bytes(seen: Seen | None) -> bytes:
    return b"\0" if seen is None else b"\1" + b"".join(eye.astype("<f4").tobytes() for eye in seen)


def _seen_from(body: Bytes) -> Seen | None:
    if not _flags(body.take(1))[0]:
        return None
    left, right = (_array(body, "<f4", _SEEN_SHAPE) for _ in range(2))
    return left, right
