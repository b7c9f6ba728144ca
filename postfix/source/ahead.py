"""How far work may run ahead of whoever waits for it."""

from __future__ import annotations

from postfix.source.picture import PictureFormat

_MOST_FRAMES = 6
"""Enough to smooth frames that take longer than others."""

_MOST_BYTES = 100_000_000
"""Memory that one queue of pictures may take."""


def frames_ahead(fmt: PictureFormat) -> int:
    """Pictures that one queue may hold: fewer the larger they are, never less than two."""
    return max(2, min(_MOST_FRAMES, _MOST_BYTES // max(1, fmt.frame_bytes)))
