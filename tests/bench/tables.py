"""Markdown tables of the benches: figures, their limits, and the machine they were seen on."""

import math
import os
import platform
from pathlib import Path

import av
import cv2
import numpy as np


def machine():
    """One line: cores, processor, and the versions that the figures depend on."""
    versions = f"Python {platform.python_version()}, OpenCV {cv2.__version__}, NumPy {np.__version__}"
    return f"{os.cpu_count()} cores, {_processor()}, {versions}, PyAV {av.__version__}"


def _processor():
    """The kernel's name for the processor, or the architecture where there is none."""
    told = Path("/proc/cpuinfo")
    lines = told.read_text().splitlines() if told.exists() else []
    names = [line.split(":", 1)[1].strip() for line in lines if line.startswith("model name")]
    return names[0] if names else platform.machine()


def heading(*columns):
    """The two lines that begin a table."""
    print("| " + " | ".join(columns) + " |")
    print("|" + "---|" * len(columns), flush=True)


def row(*cells):
    """One line of a table; numbers are given with three places, what is not there stays empty."""
    print("| " + " | ".join(_text(cell) for cell in cells) + " |", flush=True)


def outcome(error, limit):
    """``met``, or by how much the largest of the errors is beyond the limit; what was not measured is not met."""
    errors = np.atleast_1d(np.asarray(error, float))
    missing = int(np.isnan(errors).sum())
    if missing == errors.size:
        return "nothing measured"
    worst = float(np.nanmax(np.abs(errors)))
    told = "met" if worst <= limit else f"short by {worst - limit:.3f}"
    return f"{told}; {missing} of {errors.size} not measured" if missing else told


def _text(cell):
    if isinstance(cell, (float, np.floating)):
        return "" if math.isnan(cell) else f"{cell:+.3f}"
    return str(cell)
