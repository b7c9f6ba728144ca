"""OpenEXR files made byte by byte, apart from the project and from any library: without compression, any channels.

Layout: the OpenEXR project's description of its format (from memory); the tests read them with the library as well.
"""

from __future__ import annotations

import struct
from pathlib import Path

import numpy as np

KINDS = {"uint32": 0, "float16": 1, "float32": 2}

EXTRAS = (
    ("owner", "string", b"kite workshop"),
    ("capDate", "string", b"2020:01:02 03:04:05"),
    ("timeCode", "timecode", struct.pack("<II", 0x01020304, 0xCAFE)),
    ("keyCode", "keycode", struct.pack("<7i", 1, 2, 345678, 1234, 12, 4, 64)),
    ("framesPerSecond", "rational", struct.pack("<iI", 24000, 1001)),
    ("chromaticities", "chromaticities", struct.pack("<8f", 0.7347, 0.2653, 0.0, 1.0, 0.0001, -0.077, 0.3217, 0.3377)),
    ("shop/steps", "v3i", struct.pack("<3i", 1, -2, 3)),
    ("shop/own", "shopType", bytes(range(37))),
    ("worldToCamera", "m44f", struct.pack("<16f", *range(16))),
)
"""Attributes worth keeping: film information, colour, and types that no library knows."""


def box(left: int, top: int, width: int, height: int) -> bytes:
    return struct.pack("<4i", left, top, left + width - 1, top + height - 1)


def header_bytes(channels, data_window, display_window, extras=EXTRAS, *, name=None, count=None, order=0, pack=0):
    """One part's attributes, sorted as the library sorts them, with the empty name that ends them."""
    listed = b"".join(
        name_.encode() + b"\0" + struct.pack("<iIii", KINDS[str(samples.dtype)], 0, 1, 1)
        for name_, samples in sorted(channels.items())
    )
    attributes = [
        ("channels", "chlist", listed + b"\0"),
        ("compression", "compression", bytes([pack])),
        ("dataWindow", "box2i", data_window),
        ("displayWindow", "box2i", display_window),
        ("lineOrder", "lineOrder", bytes([order])),
        ("pixelAspectRatio", "float", struct.pack("<f", 1.0)),
        ("screenWindowCenter", "v2f", struct.pack("<2f", 0.0, 0.0)),
        ("screenWindowWidth", "float", struct.pack("<f", 1.0)),
        *extras,
    ]
    if name is not None:
        attributes += [("name", "string", name.encode()), ("type", "string", b"scanlineimage")]
        attributes += [("chunkCount", "int", struct.pack("<i", count))]
    pieces = [
        key.encode() + b"\0" + kind.encode() + b"\0" + struct.pack("<i", len(value)) + value
        for key, kind, value in sorted(attributes)
    ]
    return b"".join(pieces) + b"\0"


def _rows(channels) -> list[bytes]:
    height = next(iter(channels.values())).shape[0]
    ordered = [samples for _, samples in sorted(channels.items())]
    return [b"".join(np.ascontiguousarray(samples[row]).tobytes() for samples in ordered) for row in range(height)]


def write_exr_file(path: Path, *parts, display=None, corner=(0, 0), extras=EXTRAS, flags=0, order=0) -> bytes:
    """Write parts, each a dict from channel name to samples, or (name, dict, attributes); the header's bytes.

    With one dict the file has a single part. ``corner`` is where the samples begin, ``display`` (left, top, width,
    height) the window that is the picture.
    """
    many = isinstance(parts[0], tuple)
    heads, bodies = [], []
    for part in parts:
        name, channels, own = part if many else (None, part, ())
        height, width = next(iter(channels.values())).shape
        window = box(*corner, width, height)
        shown = window if display is None else box(*display)
        count = height if many else None
        heads.append(header_bytes(channels, window, shown, (*extras, *own), name=name, count=count, order=order))
        bodies.append(_rows(channels))
    head = b"\x76\x2f\x31\x01" + struct.pack("<I", 2 | (0x1000 if many else 0) | flags) + b"".join(heads)
    head += b"\0" if many else b""
    at, offsets, chunks = len(head) + 8 * sum(map(len, bodies)), [], []
    for index, rows in enumerate(bodies):
        for row, data in enumerate(rows):
            chunk = (struct.pack("<i", index) if many else b"") + struct.pack("<ii", corner[1] + row, len(data)) + data
            offsets.append(at)
            chunks.append(chunk)
            at += len(chunk)
    path.write_bytes(head + struct.pack(f"<{len(offsets)}Q", *offsets) + b"".join(chunks))
    return head


def half_samples(height: int, width: int, seed: int) -> np.ndarray:
    """Any bits at all: infinite, no numbers, the smallest, negative zero."""
    return np.random.default_rng(seed).integers(0, 1 << 16, (height, width), dtype=np.uint16).view(np.float16)


def float_samples(height: int, width: int, seed: int) -> np.ndarray:
    return uint_samples(height, width, seed).view(np.float32)


def uint_samples(height: int, width: int, seed: int) -> np.ndarray:
    return np.random.default_rng(seed).integers(0, 1 << 32, (height, width), dtype=np.uint32)
