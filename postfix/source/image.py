"""Opening a still with the library that reads pictures: the one place where its bounds are set."""

from __future__ import annotations

from pathlib import Path

import OpenImageIO as oiio

from postfix.source.bounds import MAX_CHANNELS, MAX_PICTURE_BYTES, MAX_SIDE_PX

oiio.attribute("limits:resolution", MAX_SIDE_PX)
oiio.attribute("limits:channels", MAX_CHANNELS)
oiio.attribute("limits:imagesize_MB", MAX_PICTURE_BYTES >> 20)
# A file is what its suffix says, or nothing: else the content chooses among two dozen readers.
oiio.attribute("try_all_readers", 0)


def open_image(path: Path, hints: oiio.ImageSpec | None = None) -> oiio.ImageInput | None:
    """Open a still; None, with the library's words waiting in ``OpenImageIO.geterror``, where that does not work."""
    opened: oiio.ImageInput | None = oiio.ImageInput.open(str(path), *([] if hints is None else [hints]))
    return opened
