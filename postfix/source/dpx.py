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

from postfix.errors import InputError
from postfix.source.picture import Plane

MAGIC = {b"SDPX": ">", b"XPDS": "<"}
"""First four bytes, with the byte order that they tell."""

HEADER_BYTES = 2048
PACKED, FILLED_HIGH, FILLED_LOW = 0, 1, 2
"""How 10 and 12 bits lie in words: without gaps; with the unused bits last (method A); with them first (method B)."""

_UNDEFINED = 0xFFFFFFFF
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
    if len(head) < HEADER_BYTES:
        raise _cut_short(path, size, HEADER_BYTES, frame)
    return _parsed(head, order, size, path, frame)


def _parsed(head: bytes, order: str, size: int, path: Path, frame: int | None) -> DpxHeader:
    (told_size,) = struct.unpack_from(order + "I", head, 16)
    _, elements, width, height = struct.unpack_from(order + "HHII", head, 768)
    (signed,) = struct.unpack_from(order + "I", head, 780)
    descriptor, _, _, bits = struct.unpack_from("4B", head, 800)
    packing, encoding, start, row_padding, _ = struct.unpack_from(order + "HHIII", head, 804)
    (timecode_word,) = struct.unpack_from(order + "I", head, 1920)
    channels = _CHANNELS.get(descriptor)
    problem = None
    if elements != 1:
        problem = f"{elements} image elements"
    elif not (0 < width <= 65536 and 0 < height <= 65536):
        problem = f"a picture of {width}x{height} in its header"
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
    elif head[1928] == 1:
        problem = "interlaced pictures in its header"
    if problem is not None or channels is None:
        expected = "one progressive grey, RGB or RGBA picture of 8, 10, 12 or 16 bits without run lengths"
        raise InputError(path, str(problem), expected, "export the stills so", frame=frame)
    start = HEADER_BYTES if start in (0, _UNDEFINED) else start
    if told_size not in (0, _UNDEFINED) and told_size > size:
        raise _cut_short(path, size, told_size, frame)
    row_bytes = row_bytes_of(width * channels, bits, packing)
    if bits in (8, 16):
        end = told_size if start < told_size <= size else size
        row_bytes = _row_bytes_by_size(row_bytes, row_padding, height, end - start)
    if row_bytes == 0:
        raise InputError(
            path,
            f"rows whose length cannot be known from {end - start} bytes for {height} of them",
            "rows without gaps, or rows that end at a multiple of four bytes",
            "export the still again",
            frame=frame,
        )
    if start < 1664 or start + height * row_bytes > size:
        raise _cut_short(path, size, start + height * row_bytes, frame)
    timecode = None if timecode_word == _UNDEFINED else timecode_word
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


def _row_bytes_by_size(tight: int, padding: int, height: int, room: int) -> int:
    """Bytes from row to row of 8 or 16 bits, where ``room`` bytes hold all rows; 0 where it cannot be known.

    Rows should end at a word, and do in some files and not in others. The header may say so, else the size tells.
    """
    padded = tight + -tight % 4
    if 0 < padding < _UNDEFINED and (tight + padding) * height <= room:
        return tight + padding
    if padded == tight or room == tight * height or room < tight * height:
        return tight
    return padded if room == padded * height else 0


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
    if header.bits == 8:
        codes: Plane = rows[:, :count]
    elif header.bits == 16 or (header.bits == 12 and header.packing != PACKED):
        words = rows[:, : 2 * count].view(header.order + "u2")
        if header.bits == 16:
            codes = words.astype(np.uint16)
        else:
            codes = words >> np.uint16(4) if header.packing == FILLED_HIGH else words & np.uint16(0xFFF)
    elif header.packing == PACKED:
        codes = _from_bit_stream(rows.view(header.order + "u4"), header.bits)[:, :count]
    else:
        codes = _from_thirds(rows.view(header.order + "u4"), header.packing)[:, :count]
    samples = np.ascontiguousarray(codes, np.uint8 if header.bits == 8 else np.uint16)
    samples = samples.reshape(header.height, header.width, header.channels)
    if header.channels == 1:
        return samples[..., 0]
    return samples[..., ::-1] if header.reversed_channels else samples


_BLOCK_ROWS = 32


def third_shifts(packing: int) -> tuple[int, int, int]:
    """How far left in a 32-bit word the first, second and third of three 10-bit samples lie."""
    return (22, 12, 2) if packing == FILLED_HIGH else (20, 10, 0)


def _from_thirds(words: npt.NDArray[np.uint32], packing: int) -> npt.NDArray[np.uint16]:
    codes = np.empty((*words.shape, 3), np.uint16)
    # A few rows at a time stay in the processor's cache between the three passes.
    for top in range(0, len(words), _BLOCK_ROWS):
        native = words[top : top + _BLOCK_ROWS].astype(np.uint32)
        for third, shift in enumerate(third_shifts(packing)):
            codes[top : top + _BLOCK_ROWS, :, third] = native >> np.uint32(shift) & np.uint32(0x3FF)
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
