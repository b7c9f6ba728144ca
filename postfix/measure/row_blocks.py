"""Rows of a measurement packed into bytes, some dozens at a time: every figure comes back to its last bit.

A row of Python objects takes some five thousand bytes, packed it takes a few hundred. Each column is kept in the
narrowest of six forms that gives every value of it back: one value for all rows, whole numbers of the last digit that
the column has in its file (two or four bytes), places in a list of few values (what is measured moves by whole steps of
the matcher, and comes back again and again), float32, float64.
"""

from __future__ import annotations

import struct
import zlib
from collections.abc import Sequence
from dataclasses import dataclass, fields
from operator import attrgetter
from typing import Any

import numpy as np
import numpy.typing as npt

from postfix.measure.table import NAN, FrameMeasure, RivalBox
from postfix.measure.table_cells import END_BOXES, FIGURES, LISTS

BLOCK_ROWS = 64
"""Rows packed together: enough to share what surrounds them, few enough to unpack for one of them."""

Values = npt.NDArray[np.float64]

_WIDTHS = {name: 1 for name in FIGURES} | {name: length for name, (length, _) in LISTS.items()}
_WIDTHS |= {name: 4 for name in END_BOXES} | {"interpolated": 1}
_DIGITS = FIGURES | {name: digits for name, (_, digits) in LISTS.items()}
_DIGITS |= dict.fromkeys((*END_BOXES, "interpolated"), 0)
"""Columns of numbers: how many in a row, and digits behind the point in the file."""

_FIGURES_OF, _LISTS_OF = attrgetter(*FIGURES), tuple((name, attrgetter(name)) for name in LISTS)

_HEAD = struct.Struct("<HIII")
"""Rows, bytes of the body, of its notes, and boxes of rivalry."""

_MOST_BYTES = 1 << 26
"""Of a body; a full block with every note as long as a cell of CSV may be stays below."""

_SAME, _INT16, _INT32, _FEW, _FLOAT32, _FLOAT64 = range(6)
_MOST_FEW = 256
"""Values of a list: a place in it takes one byte."""

_INTS: dict[int, np.dtype[Any]] = {_INT16: np.dtype("<i2"), _INT32: np.dtype("<i4")}
_RIVAL = np.dtype("<i4")
_EYES = ("left", "right")


@dataclass(frozen=True, eq=False)
class Block:
    """Some rows unpacked: columns of numbers, (rows,) or (rows, k) float64, and what is no number."""

    count: int
    columns: dict[str, Values]
    notes: list[str]
    rivals: list[tuple[RivalBox, ...]]

    def rows(self) -> list[FrameMeasure]:
        """The rows as they were."""
        # One object for all that is no number, as where nothing was measured in the first place.
        told: dict[str, Any] = {name: _lifted(self.columns[name]) for name in (*FIGURES, *LISTS)}
        for name in END_BOXES:
            told[name] = [tuple(map(int, box)) if box[0] == box[0] else () for box in self.columns[name].tolist()]
        told["rivalry_boxes"], told["note"] = self.rivals, self.notes
        told["interpolated"] = list(map(bool, self.columns["interpolated"].tolist()))
        return [FrameMeasure(*row) for row in zip(*(told[field.name] for field in fields(FrameMeasure)))]


def pack(rows: Sequence[FrameMeasure]) -> bytes:
    """Pack up to :data:`BLOCK_ROWS` rows.

    Raises
    ------
    ValueError
        Where there are more, or a row holds what no row has: lists or boxes of another length, boxes out of any range.
    """
    if not 0 < len(rows) <= BLOCK_ROWS:
        raise ValueError(f"{len(rows)} rows to pack")
    figures = np.array([_FIGURES_OF(row) for row in rows], np.float64)
    columns = {name: figures[:, index] for index, name in enumerate(FIGURES)}
    columns |= {name: np.array([of(row) for row in rows], np.float64) for name, of in _LISTS_OF}
    none = (NAN,) * 4
    columns |= {name: np.array([getattr(row, name) or none for row in rows], np.float64) for name in END_BOXES}
    columns["interpolated"] = np.array([row.interpolated for row in rows], np.float64)
    numbers = b"".join(_packed(columns[name], _WIDTHS[name], _DIGITS[name]) for name in _WIDTHS)
    distinct = list(dict.fromkeys(row.note for row in rows))
    coded = [note.encode("utf-8", "surrogatepass") for note in distinct]
    notes = b"".join(struct.pack("<I", len(note)) + note for note in coded)
    place = {note: code for code, note in enumerate(distinct)}
    marks = bytes(place[row.note] for row in rows)
    counts = np.array([len(row.rivalry_boxes) for row in rows], "<u2")
    boxes = [_rival(box) for row in rows for box in row.rivalry_boxes]
    rivals = np.array(boxes, np.int64).reshape(-1, 5)
    if np.abs(rivals).max(initial=0) > np.iinfo(_RIVAL).max:
        raise ValueError("a box of rivalry beyond any picture")
    body = b"".join((counts.tobytes(), rivals.astype(_RIVAL).tobytes(), marks, notes, numbers))
    if len(body) > _MOST_BYTES:
        raise ValueError(f"{len(body)} bytes of rows")
    return _HEAD.pack(len(rows), len(body), len(notes), len(rivals)) + zlib.compress(body, 1)


def unpack(data: bytes) -> Block:
    """What :func:`pack` packed.

    Raises
    ------
    ValueError
        Where the bytes are none of its; nothing larger than they say, and than a block may be, is allocated.
    """
    if len(data) < _HEAD.size:
        raise ValueError("rows that end early")
    count, size, size_of_notes, boxes = _HEAD.unpack_from(data)
    if not 0 < count <= BLOCK_ROWS or size > _MOST_BYTES:
        raise ValueError("rows of no size")
    body = Bytes(_inflated(data[_HEAD.size :], size))
    counts = np.frombuffer(body.take(2 * count), "<u2")
    rivals = np.frombuffer(body.take(5 * _RIVAL.itemsize * boxes), _RIVAL).reshape(-1, 5)
    marks, noted = body.take(count), Bytes(body.take(size_of_notes))
    notes: list[str] = []
    while noted.left:
        (length,) = struct.unpack("<I", noted.take(4))
        notes.append(str(noted.take(length), "utf-8", "surrogatepass"))
    columns = {name: _unpacked(body, count, _WIDTHS[name], _DIGITS[name]) for name in _WIDTHS}
    if body.left or int(counts.sum()) != boxes or max(marks) >= len(notes) or not np.isin(rivals[:, 0], (0, 1)).all():
        raise ValueError("rows that contradict themselves")
    for box in (columns[name] for name in END_BOXES):
        if not (np.isnan(box).all(axis=1) | (np.abs(box) < _MOST_BYTES).all(axis=1)).all():
            raise ValueError("a box that is none")
    ends = np.cumsum(counts)
    each = [
        tuple(RivalBox(_EYES[box[0]], *box[1:]) for box in rivals[end - own : end].tolist())
        for own, end in zip(counts.tolist(), ends.tolist())
    ]
    return Block(count, columns, [notes[mark] for mark in marks], each)


class Bytes:
    """Bytes taken from the front, never more than there are."""

    def __init__(self, data: bytes | memoryview) -> None:
        self._data = memoryview(data)

    @property
    def left(self) -> int:
        """How many are left."""
        return len(self._data)

    def take(self, count: int) -> memoryview:
        """The next so many; raises ValueError where there are fewer."""
        if not 0 <= count <= len(self._data):
            raise ValueError("data that ends early")
        taken, self._data = self._data[:count], self._data[count:]
        return taken


def _inflated(data: bytes, size: int) -> bytes:
    inflater = zlib.decompressobj()
    try:
        body = inflater.decompress(data, size + 1)
    except zlib.error as error:
        raise ValueError(f"damaged rows ({error})") from error
    if len(body) != size or not inflater.eof or inflater.unused_data:
        raise ValueError("damaged rows (another length)")
    return body


def _rival(box: RivalBox) -> tuple[int, ...]:
    return _EYES.index(box.eye), box.x_px, box.y_px, box.width_px, box.height_px


def _lifted(values: Values) -> list[Any]:
    """A column as Python numbers, or tuples of them."""
    if values.ndim == 1:
        return [value if value == value else NAN for value in values.tolist()]
    return [tuple([value if value == value else NAN for value in row]) for row in values.tolist()]


def _packed(values: Values, width: int, digits: int) -> bytes:
    """One column in the narrowest form that gives it back."""
    if values.size != len(values) * width:
        raise ValueError(f"a column of {values.shape} figures")
    first = np.ascontiguousarray(values[:1])
    if _alike(np.broadcast_to(first, values.shape), values):
        return bytes([_SAME]) + first.astype("<f8").tobytes()
    with np.errstate(all="ignore"):
        # A whole number has no sign at zero: adding zero takes it off here too, so that it is seen to be lost.
        scaled = np.rint(values * 10.0**digits) + 0.0
        missing = np.isnan(values)
        if _alike(scaled / 10.0**digits, values) and np.isfinite(scaled[~missing]).all():
            most = float(np.abs(scaled[~missing]).max(initial=0.0))
            for form, kind in _INTS.items():
                if most <= np.iinfo(kind).max:
                    whole = np.where(missing, np.iinfo(kind).min, scaled).astype(kind)
                    return bytes([form]) + _shuffled(whole)
        few = _few(values)
        if few is not None:
            return bytes([_FEW]) + few
        narrow = values.astype("<f4")
        if _alike(narrow.astype(np.float64), values):
            return bytes([_FLOAT32]) + _shuffled(narrow)
    return bytes([_FLOAT64]) + _shuffled(values.astype("<f8"))


def _few(values: Values) -> bytes | None:
    """Distinct values by their bits, and where each stands; None where they are too many to be worth it."""
    bits, places = np.unique(np.ascontiguousarray(values).reshape(-1).view(np.int64), return_inverse=True)
    if len(bits) > min(_MOST_FEW, values.size // 2):
        return None
    return bytes([len(bits) - 1]) + bits.astype("<i8").tobytes() + places.astype(np.uint8).tobytes()


def _unpacked(body: Bytes, count: int, width: int, digits: int) -> Values:
    form = body.take(1)[0]
    shape = (count,) if width == 1 else (count, width)
    if form == _SAME:
        return np.tile(np.frombuffer(body.take(8 * width), "<f8").astype(np.float64), (count, 1)).reshape(shape)
    if form in _INTS:
        whole = _straight(body, count * width, _INTS[form])
        values = np.where(whole == np.iinfo(_INTS[form]).min, NAN, whole / 10.0**digits)
    elif form == _FEW:
        listed = np.frombuffer(body.take(8 * (body.take(1)[0] + 1)), "<f8")
        places = np.frombuffer(body.take(count * width), np.uint8)
        if int(places.max()) >= len(listed):
            raise ValueError("a place beyond a list of values")
        values = listed[places]
    elif form in (_FLOAT32, _FLOAT64):
        values = _straight(body, count * width, np.dtype("<f4" if form == _FLOAT32 else "<f8")).astype(np.float64)
    else:
        raise ValueError(f"a column of form {form}")
    return np.asarray(values, np.float64).reshape(shape)


def _shuffled(values: npt.NDArray[Any]) -> bytes:
    """The first bytes of all values, then the second ones and so on: they resemble each other, and pack tighter."""
    flat = np.ascontiguousarray(values).reshape(-1)
    return flat.view(np.uint8).reshape(-1, flat.itemsize).T.tobytes()


def _straight(body: Bytes, count: int, kind: np.dtype[Any]) -> npt.NDArray[Any]:
    planes = np.frombuffer(body.take(count * kind.itemsize), np.uint8).reshape(kind.itemsize, count)
    return np.ascontiguousarray(planes.T).view(kind).reshape(-1)


def _alike(some: Values, others: Values) -> bool:
    """The same numbers, zeros with the same sign, NaN in the same places."""
    both = np.isnan(some) & np.isnan(others)
    return bool((both | ((some == others) & (np.signbit(some) == np.signbit(others)))).all())
