"""A quick look: frames between measured ones, filled in by straight lines and marked as such."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import fields, replace

import numpy as np

from postfix.measure.bad import is_bad_note
from postfix.measure.rows import gathered_rows
from postfix.measure.table import FrameMeasure
from postfix.source.shots import Shot

NOT_MEASURED = "no frame of this shot was measured"

_OF_THE_FRAME = ("near_box", "far_box", "rivalry_boxes", "interpolated", "note")
"""A thing that moves is at no place between, and a note says what was seen; here nothing was."""


def filled_in(frames: Sequence[FrameMeasure | None], shots: Sequence[Shot]) -> Sequence[FrameMeasure]:
    """Every frame: measured ones as they are, the others between their measured neighbours in the same shot.

    Never across a cut. Before the first and after the last measured frame of a shot that one is repeated. What is
    empty on either side stays empty. Notes and boxes stay with the frames in which something was seen.

    Parameters
    ----------
    frames : sequence of FrameMeasure or None
        None where a frame was not measured.
    shots : sequence of Shot
        Covering all frames.
    """
    return gathered_rows(_every_frame(frames, shots))


def _every_frame(frames: Sequence[FrameMeasure | None], shots: Sequence[Shot]) -> Iterator[FrameMeasure]:
    for shot in shots:
        measured = [f for f in range(shot.first, shot.last + 1) if _is_measured(frames[f])]
        for frame in range(shot.first, shot.last + 1):
            own = frames[frame]
            if own is not None:
                yield own
                continue
            if not measured:
                yield FrameMeasure(note=NOT_MEASURED)
                continue
            after = int(np.searchsorted(measured, frame))
            early, late = measured[max(0, after - 1)], measured[min(after, len(measured) - 1)]
            share = (frame - early) / (late - early) if late > early else 0.0
            yield _between(_known(frames[early]), _known(frames[late]), min(1.0, max(0.0, share)))


def _is_measured(frame: FrameMeasure | None) -> bool:
    return frame is not None and not is_bad_note(frame.note)


def _known(frame: FrameMeasure | None) -> FrameMeasure:
    assert frame is not None
    return frame


def _between(early: FrameMeasure, late: FrameMeasure, share: float) -> FrameMeasure:
    """A frame on the straight line between two, field by field."""
    changed: dict[str, object] = {}
    for name in (field.name for field in fields(FrameMeasure)):
        if name in _OF_THE_FRAME:
            continue
        ends = np.array([getattr(early, name), getattr(late, name)], np.float64)
        value = (1.0 - share) * ends[0] + share * ends[1]
        changed[name] = tuple(value.tolist()) if value.ndim else float(value)
    return replace(FrameMeasure(interpolated=True), **changed)  # type: ignore[arg-type]
