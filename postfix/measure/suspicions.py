"""What speaks for an eye that is late, or for exchanged eyes: told to a person, never acted on."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

from postfix.measure.table import MeasurementTable
from postfix.source.pair import AS_GIVEN, Reading

LEAST_OFFSET_CONFIDENCE = 0.5
"""Below this an offset is not spoken of: project default, no source."""


@dataclass(frozen=True)
class Suspicion:
    """One suspicion about one shot.

    Attributes
    ----------
    shot : str
    kind : "offset" or "swap"
    offset_frames : int
        For an offset: how many frames later the right eye, as it is read now, shows what the left eye shows.
    confidence : float or None
        0 to 1, of an offset.
    text : str
        The same as a sentence that ends with what to do.
    """

    shot: str
    kind: Literal["offset", "swap"]
    offset_frames: int
    confidence: float | None
    text: str


def suspicions(table: MeasurementTable, reading: Reading = AS_GIVEN) -> tuple[Suspicion, ...]:
    """What each shot's findings speak for, in shot order.

    Parameters
    ----------
    table : MeasurementTable
    reading : Reading
        With which it was measured: what to type next is counted from there.
    """
    told: list[Suspicion] = []
    for shot, finding in zip(table.shots, table.findings):
        late, sure = finding.offset_frames, finding.offset_confidence
        if math.isfinite(late) and round(late) != 0 and sure >= LEAST_OFFSET_CONFIDENCE:
            told.append(_late(shot.name, round(late), sure, reading))
        if finding.swap_reason:
            text = f"{shot.name}: the eyes may be exchanged: {finding.swap_reason}; look at it, and if you agree, "
            told.append(Suspicion(shot.name, "swap", 0, None, text + _swap_words(reading)))
    return tuple(told)


def _late(shot: str, late: int, sure: float, reading: Reading) -> Suspicion:
    # Found between the eyes as they are read; typed for the files as they are given.
    needed = reading.offset_frames + (-late if reading.swapped else late)
    frames = "1 frame" if abs(late) == 1 else f"{abs(late)} frames"
    again = f"run again with --offset {needed} (offset = {needed} in a job file)" if needed else "leave --offset out"
    text = (
        f"{shot}: the right eye seems {frames} {'late' if late > 0 else 'early'} (confidence {sure:.2f}); "
        f"if you agree, {again}"
    )
    return Suspicion(shot, "offset", late, round(sure, 3), text)


def _swap_words(reading: Reading) -> str:
    return "leave --swap out" if reading.swapped else "run again with --swap (swap = true in a job file)"


def reading_words(reading: Reading) -> str:
    """How the eyes were paired, in words; empty where they were taken as given."""
    late = reading.offset_frames
    parts = []
    if late:
        frames = "1 frame" if abs(late) == 1 else f"{abs(late)} frames"
        parts.append(f"the file given as right taken as {frames} {'late' if late > 0 else 'early'} (--offset {late})")
    if reading.swapped:
        parts.append("left and right exchanged (--swap)")
    return "read with " + " and ".join(parts) if parts else ""
