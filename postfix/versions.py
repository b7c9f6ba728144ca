"""Versions of the program and of the libraries that decide what it writes."""

from __future__ import annotations

import platform
from functools import cache

import av
import cv2
import numpy as np
import OpenImageIO

from postfix import __version__


@cache
def libraries() -> dict[str, str]:
    """Name → version of Python and of each library that touches pictures."""
    return {
        "Python": platform.python_version(),
        "numpy": np.__version__,
        "OpenCV": cv2.__version__,
        "PyAV": av.__version__,
        "FFmpeg": av.ffmpeg_version_info,
        "OpenImageIO": OpenImageIO.VERSION_STRING,
    }


def version_text() -> str:
    """What ``--version`` prints."""
    return f"postfix-stereo {__version__} (" + ", ".join(f"{k} {v}" for k, v in libraries().items()) + ")"
