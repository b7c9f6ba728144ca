"""DPX: what its header says of the samples, and the samples as codes of the file's own depth.

Layout of header and image elements: SMPTE ST 268-1 (from memory). The library that reads the other formats scales 10
and 12 bits to 16 and cannot write every packing back, so the few packings there are stand here.
"""

from __future__ import annotations

import struct
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import numpy.typing as npt

from postfix.errors import InputError, OtherFormatError
from postfix.source.bounds import size_problem
from postfix.source.picture import Plane

MAGIC = {b"SDPX": ">", b"XPDS": "<"}
"""First four bytes, with the byte order that they tell."""

HEADER_BYTES = 2048
"""Where samples begin that the header does not place: behind what it says of film and television."""

_GENERIC_BYTES = 1664
"""Of the parts that every file has; film and television come behind them."""

PACKED, FILLED_HIGH, FILLED_LOW = 0, 1, 2
"""How 10 and 12 bits lie in words: without gaps; with the unused bits last (method A); with them first (method B)."""

_LARGEST_GAP = 4096
"""Bytes: rows that are laid out for a processor or a disk end at a multiple of this at most."""

UNDEFINED = 0xFFFFFFFF
"""What a 32-bit field holds that says nothing."""

_CHANNELS = {1: 1, 2: 1, 3: 1, 4: 1, 6: 1, 8: 1, 50: 3, 51: 4, 52: 4}
_ABGR = 52
_CHROMA = {7: "chroma alone", 9: "composite video", 100: "4:2:2 YCbCr", 101: "4:2:2:4 YCbCrA"}
_CHROMA |= {102: "4:4:4 YCbCr", 103: "4:4:4:4 YCbCrA"}


@dataclass(frozen=True)
class DpxHeader:
    """What must be known to read and write the samples of one file.

    Attributes
    ----------
    order : str
        ``>`` or ``<``, the byte order of header and samples.
    width, height, channels, bits : int
    packing : int
        :data:`PACKED`, :data:`FILLED_HIGH` or :data:`FILLED_LOW`.
    reversed_channels : bool
        True where the file holds A, B, G, R; in memory it is R, G, B, A.
    start : int
        Where the samples begin in the file.
    row_bytes : int
        From the start of one row to the start of the next.
    timecode_word : int or None
        Eight binary-coded decimals, hours first.
    """

    order: str
    width: int
    height: int
    channels: int
    bits: int
    packing: int
    reversed_channels: bool
    start: int
    row_bytes: int
    timecode_word: int | None

    @property
    def end(self) -> int:
        """Where the samples end in the file."""
        return self.start + self.height * self.row_bytes


def read_dpx_header(path: Path, frame: int | None = None) -> DpxHeader:
    """Read and check the header of one file.

    Raises
    ------
    InputError
        Where it is no DPX, is cut short, or holds what cannot be carried.
    """
    size = path.stat().st_size
    with path.open("rb") as file:
        head = file.read(HEADER_BYTES)
    order = MAGIC.get(head[:4])
    if order is None:
        raise InputError(path, "no DPX header", "a DPX file", "export the still again", frame=frame)
    if len(head) < _GENERIC_BYTES:
        raise _cut_short(path, size, _GENERIC_BYTES, frame)
    return _parsed(head, order, size, path, frame)


def _parsed(head: bytes, order: str, size: int, path: Path, frame: int | None) -> DpxHeader:
    (told_size,) = struct.unpack_from(order + "I", head, 16)
    _, elements, width, height = struct.unpack_from(order + "HHII", head, 768)
    (signed,) = struct.unpack_from(order + "I", head, 780)
    descriptor, _, _, bits = struct.unpack_from("4B", head, 800)
    packing, encoding, start, row_padding, end_padding = struct.unpack_from(order + "HHIII", head, 804)
    start = HEADER_BYTES if start in (0, UNDEFINED) else start
    # Where samples begin earlier, they stand where others have the timecode and the fields.
    behind_all = start >= HEADER_BYTES and len(head) >= HEADER_BYTES
    channels = _CHANNELS.get(descriptor)
    problem = None
    if elements != 1:
        problem = f"{elements} image elements"
    elif (of_size := size_problem(width, height)) is not None:
        problem = of_size
    elif channels is None:
        problem = _CHROMA.get(descriptor, f"samples of kind {descriptor}")
    elif bits not in (8, 10, 12, 16):
        problem = f"{bits} bits a sample"
    elif signed == 1:
        problem = "signed samples"
    elif encoding == 1:
        problem = "run-length encoding"
    elif packing not in (PACKED, FILLED_HIGH, FILLED_LOW) and bits in (10, 12):
        problem = f"packing {packing}"
    elif behind_all and head[1928] == 1:
        problem = "interlaced pictures in its header"
    elif start < _GENERIC_BYTES:
        problem = f"samples from byte {start} on, inside its header"
    if problem is not None or channels is None:
        expected = "one progressive grey, RGB or RGBA picture of 8, 10, 12 or 16 bits without run lengths"
        no_sense = elements == 0 or 0 in (width, height)  # what zeros in place of a header say
        kind = InputError if no_sense else OtherFormatError
        raise kind(path, str(problem), expected, "export the stills so", frame=frame)
    told_size = None if told_size in (0, UNDEFINED) else told_size
    if told_size is not None and told_size > size:
        raise _cut_short(path, size, told_size, frame)
    samples = width * channels
    lengths = RowLengths(
        row_bytes_of(samples, bits, packing),
        -(-samples * bits // 8) if packing == PACKED and bits in (10, 12) else None,
        row_padding if 0 < row_padding < UNDEFINED else 0,
        end_padding if 0 < end_padding < UNDEFINED else 0,
        4 if bits == 10 or (bits == 12 and packing == PACKED) else channels * (-(-bits // 8)),
    )
    if start + height * lengths.tight > size:
        raise _cut_short(path, size, start + height * lengths.tight, frame)
    row_bytes = lengths.found(height, size - start, None if told_size is None else told_size - start, start)
    if row_bytes is None:
        end = size if told_size is None or told_size < start + height * lengths.tight else told_size
        room = end - start
        raise InputError(
            path,
            f"rows whose length cannot be known: {room} bytes for {width}x{height}, of which the picture fills "
            f"{height * lengths.tight}; {room - height * lengths.tight} bytes are left behind the picture",
            "a size that goes with the bytes, and rows without gaps, ending at a multiple of four bytes, or with the "
            "gap that the header tells",
            "export the still again",
            frame=frame,
        )
    (timecode_word,) = struct.unpack_from(order + "I", head, 1920) if behind_all else (UNDEFINED,)
    timecode = None if timecode_word == UNDEFINED else timecode_word
    return DpxHeader(
        order, width, height, channels, bits, packing, descriptor == _ABGR, start, row_bytes, timecode
    )  # fmt: skip


def row_bytes_of(samples: int, bits: int, packing: int) -> int:
    """Bytes from row to row of ``samples`` each, without gaps for 8 and 16 bits, to the end of a word for others."""
    if bits == 10:
        return 4 * (-(-samples // 3) if packing != PACKED else -(-samples * 10 // 32))
    if bits == 12 and packing == PACKED:
        return 4 * -(-samples * 12 // 32)
    return samples * (1 if bits == 8 else 2)


def word_end(count: int) -> int:
    """Where the word of four bytes ends that byte ``count`` ends in."""
    return count + -count % 4


@dataclass(frozen=True)
class RowLengths:
    """What the rows of a file may be long, in bytes, and which of that its sizes bear out.

    A row taken too short shears the picture, and a height too small cuts it, so that nothing is guessed: the sizes
    must fit to the byte, or what they leave must be less than any such mistake would leave.

    Attributes
    ----------
    tight : int
        Without a gap; see :func:`row_bytes_of`.
    in_bytes : int or None
        Of samples in a stream of bits: up to the byte in which the last one ends.
    gap, behind : int
        Bytes that the header tells behind each row, and behind the picture; 0 where it tells none.
    step : int
        The least by which rows of another width would be longer.
    """

    tight: int
    in_bytes: int | None
    gap: int
    behind: int
    step: int

    def found(self, height: int, room: int, told: int | None, start: int) -> int | None:
        """Bytes from row to row, None where they cannot be known.

        Parameters
        ----------
        height : int
        room : int
            Bytes from the first sample to the end of the file.
        told : int or None
            The same by the size of the file that its header tells.
        start : int
            Where the samples begin: some headers tell the size of the picture alone.
        """
        rooms = {room} if told is None else {room, told, told + start}
        exact = {row for row in self._possible for end in rooms if end - height * row in (0, self.behind)}
        exact = {row for row in exact if height * row <= room}
        if exact:
            # The header's size may fit one length and the file another.
            row = exact.pop()
            return None if exact or self._may_be_longer(room - height * row, height, row) else row
        end = room if told is None else told
        if self.gap:
            row = self.tight + self.gap
            return row if self._is_sure(end - height * row, height, row) else None
        if self.tight != word_end(self.tight):
            return None
        return self.tight if self._is_sure(end - height * self.tight, height, self.tight) else None

    @property
    def _possible(self) -> set[int]:
        lengths = {self.tight, word_end(self.tight), self.tight + self.gap}
        # In a stream of bits the gap may be counted from the last byte or from the last word.
        return (
            lengths | {self.in_bytes + self.gap}
            if self.in_bytes and self.in_bytes + self.gap >= self.tight
            else lengths
        )

    def _may_be_longer(self, left: int, height: int, row: int) -> bool:
        """Whether what is left would make every row longer by the same, up to a word: the header's size may have been
        reckoned without a gap that the rows have."""
        longer, rest = divmod(left, height)
        return left != self.behind and rest == 0 and 0 < longer <= _LARGEST_GAP and (row + longer) % 4 == 0

    def _is_sure(self, left: int, height: int, row: int) -> bool:
        """Whether fewer bytes are left than one more row, or the next longer rows, would fill."""
        return 0 <= left < min(row, height * self.step)


def _cut_short(path: Path, size: int, needed: int, frame: int | None) -> InputError:
    return InputError(
        path,
        f"a picture cut short: {size} bytes, where its header asks for {needed}",
        "a whole DPX file",
        "copy or export the still again",
        frame=frame,
    )


def read_dpx(path: Path, frame: int | None = None) -> tuple[DpxHeader, Plane]:
    """Header and samples of one file.

    Returns
    -------
    header : DpxHeader
    samples : ndarray, (height, width) or (height, width, channels), uint8 or uint16
        Codes of the file's own depth: 0 to 1023 for 10 bits.
    """
    header = read_dpx_header(path, frame)
    with path.open("rb") as file:
        file.seek(header.start)
        body = np.fromfile(file, np.uint8, header.height * header.row_bytes)
    if body.size < header.height * header.row_bytes:
        raise _cut_short(path, header.start + body.size, header.end, frame)
    return header, unpacked(body.reshape(header.height, header.row_bytes), header)


def unpacked(rows: npt.NDArray[np.uint8], header: DpxHeader) -> Plane:
    """Samples from the bytes of the rows, (height, row_bytes); see :func:`read_dpx`."""
    count = header.width * header.channels
    words_end = row_bytes_of(count, header.bits, header.packing)
    if header.bits == 8:
        codes: Plane = rows[:, :count]
    elif header.bits == 16 or (header.bits == 12 and header.packing != PACKED):
        words = rows[:, : 2 * count].view(header.order + "u2")
        if header.bits == 16:
            codes = words.astype(np.uint16)
        else:
            codes = words >> np.uint16(4) if header.packing == FILLED_HIGH else words & np.uint16(0xFFF)
    elif header.packing == PACKED:
        codes = _from_bit_stream(rows[:, :words_end].view(header.order + "u4"), header.bits)[:, :count]
    else:
        codes = _from_thirds(rows[:, :words_end].view(header.order + "u4"), header.packing)[:, :count]
    samples = np.ascontiguousarray(codes, np.uint8 if header.bits == 8 else np.uint16)
    samples = samples.reshape(header.height, header.width, header.channels)
    if header.channels == 1:
        return samples[..., 0]
    return samples[..., ::-1] if header.reversed_channels else samples


BLOCK_ROWS = 32
"""Rows packed and unpacked at a time: they stay in the processor's cache between the passes."""


def third_shifts(packing: int) -> tuple[int, int, int]:
    """How far left in a 32-bit word the first, second and third of three 10-bit samples lie."""
    return (22, 12, 2) if packing == FILLED_HIGH else (20, 10, 0)


def _from_thirds(words: npt.NDArray[np.uint32], packing: int) -> npt.NDArray[np.uint16]:
    codes = np.empty((*words.shape, 3), np.uint16)
    # A few rows at a time stay in the processor's cache between the three passes.
    for top in range(0, len(words), BLOCK_ROWS):
        native = words[top : top + BLOCK_ROWS].astype(np.uint32)
        for third, shift in enumerate(third_shifts(packing)):
            codes[top : top + BLOCK_ROWS, :, third] = native >> np.uint32(shift) & np.uint32(0x3FF)
    return codes.reshape(len(words), -1)


def stream_period(bits: int) -> tuple[int, int]:
    """After how many samples, and words of 32 bits, a stream of ``bits`` a sample repeats its places."""
    return (16, 5) if bits == 10 else (8, 3)


def _from_bit_stream(words: npt.NDArray[np.uint32], bits: int) -> npt.NDArray[np.uint16]:
    """Samples one after the other from the lowest bit of each word on."""
    samples, period = stream_period(bits)
    groups = -(-words.shape[1] // period)
    native = np.zeros((len(words), groups * period), np.uint32)
    native[:, : words.shape[1]] = words
    native = native.reshape(len(words), groups, period)
    codes = np.empty((len(words), groups, samples), np.uint16)
    for index in range(samples):
        word, shift = divmod(index * bits, 32)
        value = native[..., word] >> np.uint32(shift)
        if shift + bits > 32:
            value |= native[..., word + 1] << np.uint32(32 - shift)
        codes[..., index] = value & np.uint32((1 << bits) - 1)
    return codes.reshape(len(words), -1)
