"""Tables laid out for a width: names give way first, then the table is split; figures are never shortened."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

from postfix.job.lettering import columns, lines_of, told_apart
from postfix.look import Look, Piece

LEAST_NAME = 12
"""Columns that a name in a table is never shortened below."""

_READABLE_NAME = 20
"""Columns that names are given, where they need them, in a table that has to be split anyway."""

Cell = str | Piece

_BETWEEN = 2
"""Columns between two columns of a table."""


@dataclass(frozen=True)
class Table:
    """A head and rows of cells, the first flush left and the rest flush right.

    Attributes
    ----------
    head : tuple of str or Piece
    rows : tuple of tuple of str or Piece
    keys : int
        How many of the first columns tell the rows apart, 1 or more: wherever the table is split, they are repeated.
    """

    head: tuple[Cell, ...]
    rows: tuple[tuple[Cell, ...], ...]
    keys: int = 1


@dataclass(frozen=True)
class _Column:
    """One column of a table: its cells as they can be shown, the head first."""

    cells: tuple[Piece, ...]

    @property
    def widest(self) -> int:
        return max(columns(cell.text) for cell in self.cells)

    @property
    def least(self) -> int:
        """With its names as short as they may be."""
        return max(min(columns(cell.text), LEAST_NAME) if cell.is_name else columns(cell.text) for cell in self.cells)

    @property
    def readable(self) -> int:
        return min(self.widest, max(self.least, _READABLE_NAME))


def laid_out(table: Table, look: Look) -> list[str]:
    """Lines of a table, none wider than ``look`` is.

    Where it does not fit, names are shortened in their middle; where that is not enough, it is split into tables below
    each other that all begin with the columns that tell rows apart; a column that is too wide by itself is broken into
    lines.
    """
    rows = [[_shown(cell, look) for cell in row] for row in (table.head, *table.rows)]
    all_columns = [_Column(tuple(cells)) for cells in zip(*rows)]
    keys, others = all_columns[: table.keys], all_columns[table.keys :]
    blocks = list(_blocks(keys, others, look.width)) or [[]]
    widths = [_widths(keys, block, look.width) for block in blocks]
    heads = _heads(blocks, [wide[len(keys) :] for wide in widths], look)
    lines: list[str] = []
    for block, wide in zip(blocks, widths):
        lines += [""] if lines else []
        shown = [*keys, *block]
        if _whole(wide) > look.width:
            lines += _below_each_other(shown, look)
        else:
            lines += _beside_each_other(shown, wide, heads, look)
    return lines


def _shown(cell: Cell, look: Look) -> Piece:
    piece = Piece(cell) if isinstance(cell, str) else cell
    return Piece(look.shown(piece.text), piece.role, piece.is_name)


def _whole(widths: Sequence[int]) -> int:
    return sum(widths) + _BETWEEN * (len(widths) - 1)


def _blocks(keys: Sequence[_Column], others: Sequence[_Column], width: int) -> Iterator[list[_Column]]:
    """The columns after the keys: all of them where that can be, else as many at a time as there is room for."""
    if _whole([column.least for column in (*keys, *others)]) <= width:
        yield list(others)
        return
    block: list[_Column] = []
    # Half of the room is for what the table is about.
    begin = used = _whole([max(key.least, min(key.readable, width // (2 * len(keys)))) for key in keys])
    for column in others:
        wide = _BETWEEN + column.readable
        if block and used + wide > width:
            yield block
            block, used = [], begin
        block.append(column)
        used += wide
    if block:
        yield block


def _beside_each_other(
    shown: Sequence[_Column], widths: Sequence[int], heads: Mapping[str, str], look: Look
) -> list[str]:
    texts = [_fitted(column, width, look) for column, width in zip(shown, widths)]
    for column, full in zip(texts, shown):
        column[0] = heads.get(full.cells[0].text, column[0])
    # Names may have become shorter than there would be room for.
    widths = [max(map(columns, column)) for column in texts]
    lines = []
    for number in range(len(shown[0].cells)):
        cells = [(column[number], full.cells[number].role) for column, full in zip(texts, shown)]
        last = max((i for i, (text, _) in enumerate(cells) if text), default=0)
        line = []
        for i, ((text, role), width) in enumerate(zip(cells[: last + 1], widths)):
            space = " " * (width - columns(text))
            painted = look.painted(text, role)
            line.append(space + painted if i else painted + space if last else painted)
        lines.append((" " * _BETWEEN).join(line))
    return lines


def _widths(keys: Sequence[_Column], others: Sequence[_Column], width: int) -> list[int]:
    """Columns for each: what it needs, the room that is left shared among those whose names need more."""
    shown = [*keys, *others]
    widths = [column.least for column in shown]
    room = width - _whole(widths)
    # The keys name a row and stand in every block: they go before the others, and get half of the room.
    kept = room // 2 if others else 0
    growing = sorted(range(len(shown)), key=lambda i: (i >= len(keys), shown[i].widest - widths[i]))
    for place, i in enumerate(growing):
        share = (room - kept) // (len(keys) - place) if i < len(keys) else room // (len(growing) - place)
        more = max(min(shown[i].widest - widths[i], share), 0)
        widths[i] += more
        room -= more
    for i in range(len(keys)):
        more = max(min(shown[i].widest - widths[i], room), 0)
        widths[i] += more
        room -= more
    return widths


def _fitted(column: _Column, width: int, look: Look) -> list[str]:
    """Cells of a column, its names so that no two different ones look alike."""
    names = told_apart((cell.text for cell in column.cells if cell.is_name), width, look.ellipsis)
    return [names[cell.text] if cell.is_name else cell.text for cell in column.cells]


def _heads(blocks: Sequence[Sequence[_Column]], widths: Sequence[Sequence[int]], look: Look) -> dict[str, str]:
    """Names that head columns as they are shown, told apart in the whole table; empty where all are shown whole."""
    named = [
        (column.cells[0].text, width)
        for block, wide in zip(blocks, widths)
        for column, width in zip(block, wide)
        if column.cells[0].is_name
    ]
    tight = [width for text, width in named if columns(text) > width]
    return told_apart((text for text, _ in named), min(tight), look.ellipsis) if tight else {}


def _below_each_other(shown: Sequence[_Column], look: Look) -> list[str]:
    """Every row as its name and, further in, what stands in each column: for what is too wide for columns."""
    lines = []
    for number in range(1, len(shown[0].cells)):
        entries = [(0, shown[0].cells[number])]
        entries += [
            (
                2,
                Piece(
                    ": ".join(filter(None, (column.cells[0].text, column.cells[number].text))),
                    column.cells[number].role,
                ),
            )
            for column in shown[1:]
        ]
        for indent, part in entries:
            spans = lines_of(part.text, look.width - indent, look.width - indent - 2)
            lines += [
                " " * (indent + (2 if later else 0)) + look.painted(part.text[span], part.role)
                for later, span in enumerate(spans)
            ]
    return lines
