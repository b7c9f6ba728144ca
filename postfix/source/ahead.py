"""How far work may run ahead of whoever waits for it."""

from __future__ import annotations

from postfix import effort
from postfix.source.picture import PictureFormat

MOST_QUEUE_BYTES = 100_000_000
"""Memory that one queue of pictures may take where two of them fit into it."""


def frames_ahead(fmt: PictureFormat) -> int:
    """Pictures that one queue may hold: fewer the larger they are, never less than two unless memory is scarce."""
    allowed = effort.current().ahead
    return max(min(2, allowed), min(allowed, MOST_QUEUE_BYTES // max(1, fmt.frame_bytes)))
