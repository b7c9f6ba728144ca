"""How large a picture may be that comes from elsewhere, looked at in its header before memory is taken for it.

Bounds are generous, so that no real film meets them, and stand here alone (those of texts in :mod:`postfix.outside`);
docs/security.md lists them.
"""

from __future__ import annotations

from pathlib import Path

from postfix.errors import InputError

MAX_SIDE_PX = 32_768
"""Columns, and rows, of one picture."""

MAX_PIXELS = 1 << 27
"""Of one picture: 16,384 x 8,192, four times what both eyes of 8K have side by side."""

MAX_CHANNELS = 1024
"""Of one still, all parts together."""

MAX_PICTURE_BYTES = 4 << 30
"""Of all samples of one still: 8K with thirty channels of 32 bits."""

MAX_PACKED_BYTES = 1 << 30
"""Of a PNG or JPEG file, which are looked through as a whole."""

_SMALL_BYTES = 64 << 20
_SMALL_TILE = 4096 * 4096
_MOST_TO_ONE = 2000
"""Samples that a byte can stand for: 1032 with deflate, some 1300 with LZW (from memory), less with others."""

_WITHOUT_BOUND = ("dwaa", "dwab", "zstd", "lzma", "webp", "jxl", "lerc")
"""Compressions in which a byte can stand for any number of equal samples."""


def size_problem(width: int, height: int) -> str | None:
    """What to say of a size that no picture here may have; None where it may."""
    if 0 < width <= MAX_SIDE_PX and 0 < height <= MAX_SIDE_PX and width * height <= MAX_PIXELS:
        return None
    return (
        f"a picture of {width}x{height} in its header, where at most {MAX_SIDE_PX} a side and {MAX_PIXELS:,} are read"
    )


def tile_problem(tile: tuple[int, int], size: tuple[int, int]) -> str | None:
    """What to say of tiles that take far more memory than the picture, which is unpacked one tile at a time."""
    if min(tile) > 0 and tile[0] * tile[1] <= max(_SMALL_TILE, 4 * size[0] * size[1]):
        return None
    return f"tiles of {tile[0]}x{tile[1]} for a picture of {size[0]}x{size[1]}"


def sample_problem(sample_bytes: int, channels: int, file_bytes: int, compression: str) -> str | None:
    """What to say of samples that are too many, or more than the bytes of the file can stand for; else None.

    Parameters
    ----------
    sample_bytes : int
        Of all samples, unpacked.
    channels : int
    file_bytes : int
    compression : str
        As OpenEXR or the library names it.
    """
    if channels > MAX_CHANNELS:
        return f"{channels} channels in its header, where at most {MAX_CHANNELS} are read"
    if sample_bytes > MAX_PICTURE_BYTES:
        return f"{sample_bytes:,} bytes of samples in its header, where at most {MAX_PICTURE_BYTES:,} are read"
    if compression.partition(":")[0] not in _WITHOUT_BOUND and sample_bytes > _SMALL_BYTES + _MOST_TO_ONE * file_bytes:
        return f"{sample_bytes:,} bytes of samples in its header, which {file_bytes:,} bytes cannot hold"
    return None


def must_be_looked_through(path: Path, frame: int | None) -> None:
    """InputError where a file is too large to be read into memory as a whole."""
    size = path.stat().st_size
    if size > MAX_PACKED_BYTES:
        raise InputError(
            path,
            f"{size:,} bytes in one still",
            f"at most {MAX_PACKED_BYTES:,}",
            "check that it is a picture, and export it again",
            frame=frame,
        )
