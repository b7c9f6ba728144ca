"""The checksums inside FFV1 packets (RFC 9043): FFmpeg tells a wrong one to its log only, and patches the picture."""

from __future__ import annotations

import zlib
from typing import Any

_PLAIN_TRAILER = 3
"""Bytes after each slice that hold its size."""

_CHECKED_TRAILER = 8
"""The same, then one byte of status and four of checksum."""

_MIRRORED = bytes(int(f"{byte:08b}"[::-1], 2) for byte in range(256))


WRONG_CHECKSUM = "a picture whose checksum is wrong"


def fails_checksum(context: Any, packet: Any) -> bool:
    """True for a packet of FFV1 version 3 that is not whole, given with the context that would decode it."""
    checked = context.name == "ffv1" and context.extradata and packet.size
    return bool(checked) and not packet_is_whole(bytes(packet))


def packet_is_whole(packet: bytes) -> bool:
    """False where a slice's checksum is wrong or the slices do not fill the packet; for FFV1 version 3.

    A file without checksums passes as long as its slices fill the packet.
    """
    checked = _slices(packet, _CHECKED_TRAILER)
    if checked is not None:
        return all(_checksum(packet[start:end]) == 0 for start, end in checked)
    return _slices(packet, _PLAIN_TRAILER) is not None


def _slices(packet: bytes, trailer: int) -> list[tuple[int, int]] | None:
    """Start and end of each slice, found from the end backwards; None where they do not fill the packet."""
    slices = []
    end = len(packet)
    while end > 0:
        size_at = end - trailer
        if size_at < 0:
            return None
        start = size_at - int.from_bytes(packet[size_at : size_at + 3], "big")
        if start < 0:
            return None
        slices.append((start, end))
        end = start
    return slices


def _checksum(data: bytes) -> int:
    """CRC-32 with the highest bit first, starting from 0; 0 over data that ends with its own checksum.

    zlib has the same polynomial with the lowest bit first, starting from all ones and inverted at the end, so the
    bits of each byte are mirrored and both inversions undone. The result stays mirrored.
    """
    return zlib.crc32(data.translate(_MIRRORED), 0xFFFFFFFF) ^ 0xFFFFFFFF
