"""DPX out: the header of a file as it stands, byte for byte, before samples packed as that header says."""

from __future__ import annotations

import struct
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt

from postfix.source.dpx import (
    BLOCK_ROWS,
    FILLED_HIGH,
    PACKED,
    UNDEFINED,
    DpxHeader,
    read_dpx_header,
    row_bytes_of,
    stream_period,
    third_shifts,
    word_end,
)
from postfix.source.picture import Plane


def write_dpx(path: Path, samples: Plane, like: Path, frame: int | None = None) -> None:
    """Write one still with the header, the packing and the byte order of another.

    Everything that is not samples stays as it is: film and television information, user data, what lies behind the
    samples. Only where the size differs are the size and the bytes counted from it put right.

    Parameters
    ----------
    path : Path
    samples : ndarray, (height, width) or (height, width, channels), uint8 or uint16
        Codes of the depth that ``like`` has.
    like : Path
    frame : int, optional
        The still's number, for errors.
    """
    header = read_dpx_header(like, frame)
    with like.open("rb") as file:
        head = file.read(header.start)
        file.seek(header.end)
        tail = file.read()
    height, width = samples.shape[:2]
    if (height, width) != (header.height, header.width):
        head, header = _resized(head, header, width, height)
    with path.open("wb") as file:
        file.write(head)
        packed(samples, header).tofile(file)
        file.write(tail)


def _resized(head: bytes, header: DpxHeader, width: int, height: int) -> tuple[bytes, DpxHeader]:
    changed = bytearray(head)
    old_tight, tight = (row_bytes_of(w * header.channels, header.bits, header.packing) for w in (header.width, width))
    # Rows keep the rule of the source: without gaps, up to a word, or with a gap of so many bytes.
    if header.row_bytes > word_end(old_tight):
        gap = header.row_bytes - old_tight
    else:
        gap = word_end(tight) - tight if header.row_bytes == word_end(old_tight) else 0
    row = tight + gap
    (told_gap,) = struct.unpack_from(header.order + "I", head, 812)
    if gap or told_gap != UNDEFINED:
        struct.pack_into(header.order + "I", changed, 812, gap)
    (told,) = struct.unpack_from(header.order + "I", head, 16)
    new = replace(header, width=width, height=height, row_bytes=row)
    if told not in (0, UNDEFINED):
        struct.pack_into(header.order + "I", changed, 16, told + new.end - header.end)
    struct.pack_into(header.order + "II", changed, 772, width, height)
    return bytes(changed), new


def packed(samples: Plane, header: DpxHeader) -> npt.NDArray[np.uint8]:
    """Bytes of the rows, (height, row_bytes), of samples as :func:`postfix.source.dpx.unpacked` gives them."""
    height = header.height
    if header.reversed_channels:
        samples = samples[..., ::-1]
    count = header.width * header.channels
    codes: npt.NDArray[Any] = np.ascontiguousarray(samples).reshape(height, count)
    rows = np.zeros((height, header.row_bytes), np.uint8)
    words_end = row_bytes_of(count, header.bits, header.packing)
    if header.bits == 8:
        rows[:, :count] = codes
    elif header.bits == 16 or (header.bits == 12 and header.packing != PACKED):
        shift = 4 if header.bits == 12 and header.packing == FILLED_HIGH else 0
        rows[:, : 2 * count].view(header.order + "u2")[...] = codes << np.uint16(shift) if shift else codes
    elif header.packing == PACKED:
        _into_bit_stream(codes, rows[:, :words_end].view(header.order + "u4"), header.bits)
    else:
        _into_thirds(codes, rows[:, :words_end].view(header.order + "u4"), header.packing)
    return rows


def _into_thirds(codes: npt.NDArray[np.uint16], words: npt.NDArray[np.uint32], packing: int) -> None:
    missing = words.shape[1] * 3 - codes.shape[1]
    if missing:
        codes = np.pad(codes, ((0, 0), (0, missing)))
    thirds = codes.reshape(len(codes), -1, 3)
    first, second, third = (np.uint32(shift) for shift in third_shifts(packing))
    for top in range(0, len(codes), BLOCK_ROWS):
        wide = thirds[top : top + BLOCK_ROWS]
        word = wide[..., 0].astype(np.uint32) << first
        word |= wide[..., 1].astype(np.uint32) << second
        word |= wide[..., 2].astype(np.uint32) << third
        words[top : top + BLOCK_ROWS] = word


def _into_bit_stream(codes: npt.NDArray[np.uint16], words: npt.NDArray[np.uint32], bits: int) -> None:
    samples, period = stream_period(bits)
    groups = -(-codes.shape[1] // samples)
    wide = np.zeros((len(codes), groups * samples), np.uint32)
    wide[:, : codes.shape[1]] = codes
    wide = wide.reshape(len(codes), groups, samples)
    out = np.zeros((len(codes), groups, period), np.uint32)
    for index in range(samples):
        word, shift = divmod(index * bits, 32)
        out[..., word] |= wide[..., index] << np.uint32(shift)
        if shift + bits > 32:
            out[..., word + 1] |= wide[..., index] >> np.uint32(32 - shift)
    words[...] = out.reshape(len(codes), -1)[:, : words.shape[1]]
