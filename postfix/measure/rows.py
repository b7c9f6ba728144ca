"""The rows of a measurement in little memory: a sequence of rows that are unpacked as they are looked at.

A reel of 200,000 frames takes some tens of megabytes this way, where as many rows of Python objects take a gigabyte.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from typing import overload

import numpy as np

from postfix.measure.row_blocks import BLOCK_ROWS, Block, Values, pack, unpack
from postfix.measure.table import FrameMeasure

_KEPT = 2
"""Blocks left unpacked: whoever looks at neighbours across a border goes to and fro between two."""


class _Store:
    """Packed blocks, all but the last of them full, and those unpacked last."""

    __slots__ = ("_kept", "blocks")

    def __init__(self, blocks: tuple[bytes, ...]) -> None:
        self.blocks = blocks
        self._kept: tuple[tuple[int, list[FrameMeasure]], ...] = ()

    def __reduce__(self) -> tuple[type[_Store], tuple[tuple[bytes, ...]]]:
        return _Store, (self.blocks,)

    def rows(self, index: int) -> list[FrameMeasure]:
        for at, rows in self._kept:
            if at == index:
                return rows
        rows = unpack(self.blocks[index]).rows()
        # Put in place in one step: threads may read at the same time.
        self._kept = ((index, rows), *self._kept[: _KEPT - 1])
        return rows


class Rows(Sequence[FrameMeasure]):
    """Rows in little memory; a slice of them shares it. Equal to other rows with the same figures, NaN like NaN."""

    __slots__ = ("_range", "_store")

    def __init__(self, store: _Store, where: range) -> None:
        self._store, self._range = store, where

    def __reduce__(self) -> tuple[type[Rows], tuple[_Store, range]]:
        return Rows, (self._store, self._range)

    def __len__(self) -> int:
        return len(self._range)

    @overload
    def __getitem__(self, index: int) -> FrameMeasure: ...
    @overload
    def __getitem__(self, index: slice) -> Rows: ...
    def __getitem__(self, index: int | slice) -> FrameMeasure | Rows:
        if isinstance(index, slice):
            return Rows(self._store, self._range[index])
        block, row = divmod(self._range[index], BLOCK_ROWS)
        return self._store.rows(block)[row]

    def __iter__(self) -> Iterator[FrameMeasure]:
        for place in self._range:
            yield self._store.rows(place // BLOCK_ROWS)[place % BLOCK_ROWS]

    def __eq__(self, other: object) -> bool:
        if not isinstance(other, Rows):
            return NotImplemented
        if self._store is other._store and self._range == other._range:
            return True
        return len(self) == len(other) and all(repr(one) == repr(two) for one, two in zip(self, other))

    __hash__ = None  # type: ignore[assignment]

    def columns(self, names: Iterable[str]) -> dict[str, Values]:
        """Columns of numbers, (rows,) or (rows, k) float64, each block unpacked once for all of them."""
        wanted = tuple(names)
        found: dict[str, list[Values]] = {name: [] for name in wanted}
        for block, inside in self._blocks():
            for name in wanted:
                found[name].append(block.columns[name][inside])
        return {name: np.concatenate(parts) for name, parts in found.items()}

    def _blocks(self) -> Iterator[tuple[Block, slice]]:
        """Each block that rows lie in, and which of its rows they are; at least one, be it with none of them."""
        where = self._range
        if where.step != 1:
            raise ValueError("columns of rows that are not neighbours")
        for index in range(where.start // BLOCK_ROWS, max(where.start, where.stop - 1) // BLOCK_ROWS + 1):
            base = index * BLOCK_ROWS
            inside = slice(max(0, where.start - base), max(0, min(BLOCK_ROWS, where.stop - base)))
            yield unpack(self._store.blocks[index] if index < len(self._store.blocks) else _ONE_ROW), inside

    def packed(self) -> tuple[bytes, ...]:
        """All rows in packed blocks, from which :func:`from_packed` makes them again."""
        whole = self._range == range(self._rows_stored())
        return self._store.blocks if whole else gathered_rows(self).packed()

    def _rows_stored(self) -> int:
        blocks = self._store.blocks
        return (len(blocks) - 1) * BLOCK_ROWS + unpack(blocks[-1]).count if blocks else 0


class RowsGathered:
    """Takes row after row; holds no more than a block of them as they are."""

    def __init__(self) -> None:
        self._blocks: list[bytes] = []
        self._waiting: list[FrameMeasure] = []

    def add(self, row: FrameMeasure) -> None:
        """Take the next row; raises ValueError as :func:`postfix.measure.row_blocks.pack` does."""
        self._waiting.append(row)
        if len(self._waiting) == BLOCK_ROWS:
            self._blocks.append(pack(self._waiting))
            self._waiting = []

    def rows(self) -> Rows:
        """All that were taken."""
        blocks = (*self._blocks, pack(self._waiting)) if self._waiting else tuple(self._blocks)
        return Rows(_Store(blocks), range(len(self._blocks) * BLOCK_ROWS + len(self._waiting)))


def gathered_rows(rows: Iterable[FrameMeasure]) -> Rows:
    """Rows packed as they come."""
    gathered = RowsGathered()
    for row in rows:
        gathered.add(row)
    return gathered.rows()


def from_packed(blocks: Sequence[bytes], count: int) -> Rows:
    """Rows from their packed blocks.

    Raises
    ------
    ValueError
        Where these are no blocks of so many rows.
    """
    counts = [unpack(block).count for block in blocks]
    if sum(counts) != count or any(one != BLOCK_ROWS for one in counts[:-1]):
        raise ValueError(f"{sum(counts)} rows, not {count}")
    return Rows(_Store(tuple(blocks)), range(count))


_ONE_ROW = pack([FrameMeasure()])
"""What columns without a row take their shape from."""
