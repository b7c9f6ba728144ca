"""PNG and JPEG: what stands beside the samples in a source file, put beside newly packed samples byte for byte."""

from __future__ import annotations

import struct
from collections.abc import Iterator
from pathlib import Path

_PNG_START = b"\x89PNG\r\n\x1a\n"
_OF_THE_SAMPLES = {b"IHDR", b"PLTE", b"IDAT", b"IEND", b"tRNS", b"bKGD", b"hIST", b"sBIT"}
"""Chunks that belong to the way in which samples are packed, or to colours counted in it."""

_KEPT_WITH_SAME_KIND = {b"bKGD", b"sBIT"}
_IJG_LUMA = bytes.fromhex(
    "100b0c0e0c0a100e0d0e1211101318281a181616183123251d283a333d3c3933"
    "383740485c4e404457453738506d51575f626768673e4d71797064785c656763"
)
"""Rec. ITU-T T.81, Table K.1, in zigzag order (from memory): most files scale it, so that it tells their quality."""

UNKNOWN_QUALITY = 98
"""Quality, of 100, for a JPEG whose own cannot be known."""


def carry_png_chunks(path: Path, like: Path) -> None:
    """Give a newly written PNG all chunks of ``like`` but those of the samples, in their order."""
    new, old = list(_png_chunks(path.read_bytes())), list(_png_chunks(like.read_bytes()))
    same_kind = new[0][1][8:10] == old[0][1][8:10]
    left_out = _OF_THE_SAMPLES - (_KEPT_WITH_SAME_KIND if same_kind else set())
    samples = [chunk for chunk in new if chunk[0] == b"IDAT"]
    chunks, placed = [new[0]], False
    for chunk in old[1:]:
        if chunk[0] == b"IDAT" and not placed:
            chunks += samples
            placed = True
        elif chunk[0] not in left_out:
            chunks.append(chunk)
    chunks.append((b"IEND", b"\0\0\0\0IEND\xae\x42\x60\x82"))
    path.write_bytes(_PNG_START + b"".join(whole for _, whole in chunks))


def _png_chunks(data: bytes) -> Iterator[tuple[bytes, bytes]]:
    """Type and whole bytes of each chunk."""
    at = len(_PNG_START)
    while at + 12 <= len(data):
        (length,) = struct.unpack_from(">I", data, at)
        kind = data[at + 4 : at + 8]
        yield kind, data[at : at + 12 + length]
        if kind == b"IEND":
            return
        at += 12 + length


def carry_jpeg_segments(path: Path, like: Path) -> None:
    """Give a newly written JPEG the comments, profiles and camera data of ``like``, in their order."""
    data = path.read_bytes()
    kept = [segment for marker, segment in _jpeg_segments(like.read_bytes()) if _goes_along(marker)]
    own = list(_jpeg_segments(data))
    # The first is how resolution and pixel aspect are told; the source's own is there unless it has none.
    has_own = any(segment[1] == 0xE0 for segment in kept)
    rest = [s for marker, s in own if not _goes_along(marker) or (marker == 0xE0 and not has_own)]
    at = 2 + sum(len(segment) for _, segment in own)
    path.write_bytes(b"\xff\xd8" + b"".join(kept) + b"".join(rest) + data[at:])


def _goes_along(marker: int) -> bool:
    """Application data and comments; not the segment that says how colours were turned into the coded ones."""
    return marker == 0xFE or (0xE0 <= marker <= 0xEF and marker != 0xEE)


def _jpeg_segments(data: bytes) -> Iterator[tuple[int, bytes]]:
    """Marker and whole bytes of each segment before the samples."""
    at = 2
    while at + 4 <= len(data) and data[at] == 0xFF and data[at + 1] != 0xDA:
        length = int.from_bytes(data[at + 2 : at + 4], "big")
        yield data[at + 1], data[at : at + 2 + length]
        at += 2 + length


def jpeg_quality(path: Path) -> int | None:
    """Quality of a JPEG, 1 to 100, where it holds the customary table scaled to one; else None."""
    for marker, segment in _jpeg_segments(path.read_bytes()):
        if marker == 0xDB and len(segment) >= 69 and segment[4] == 0:
            table = segment[5:69]
            return next((quality for quality in range(100, 0, -1) if _scaled(quality) == table), None)
    return None


def _scaled(quality: int) -> bytes:
    scale = 5000 // quality if quality < 50 else 200 - 2 * quality
    return bytes(max(1, min(255, (step * scale + 50) // 100)) for step in _IJG_LUMA)
