"""What only a whole shot tells, gathered while its frames go by and in bounded memory."""

from __future__ import annotations

from array import array
from bisect import bisect_left
from collections.abc import Sequence
from dataclasses import astuple, dataclass, replace

import numpy as np

from postfix.measure.cuts import CutFinder, shots_between
from postfix.measure.frame import Trace
from postfix.measure.order import OrderEvidence, swap_reason
from postfix.measure.proxy import Grey
from postfix.measure.rows import gathered_rows
from postfix.measure.sync import SyncSignature, shot_offset
from postfix.measure.table import NAN, FrameMeasure, ShotFinding, columns_of_rows
from postfix.source.shots import Shot, Transition, begins

ONE_EYE_STILL = "the {eye} eye stands still while the other moves"
BOTH_STILL = "the frame before, again"

_LOOK_EVERY = 64
_LONGEST_KEPT = 480
"""Frames of one shot in which an offset is looked for: enough, and it bounds the memory of long shots."""

_STILL = 1 / 255
_MOVING = 0.5 / 255
"""As shares of what lies between the darkest and the brightest of the small picture."""

_OFFSET_BELIEVED = 0.5
_OUT_OF_STEP = 0.5
"""What is left of a frame's confidence where an eye seems late: sideways motion is then false depth."""


_OF_ORDER = len(astuple(OrderEvidence()))


@dataclass(frozen=True)
class _Told:
    first: int
    last: int
    offset_frames: float
    confidence: float


class ShotWatcher:
    """Takes frames in order; knows at the end which shots there are and what each shows as a whole."""

    def __init__(self, shots: tuple[Shot, ...] | None = None) -> None:
        self._shots = shots
        self._finder = CutFinder()
        self._count = 0
        self._signatures: dict[int, SyncSignature] = {}
        self._order_frames = array("q")
        self._order = array("d")
        self._told: list[_Told] = []
        self._first = 0

    def add(self, trace: Trace) -> None:
        """Take what the next frame left."""
        frame, self._count = self._count, self._count + 1
        self._finder.add(trace.cut)
        if trace.order is not None:
            self._order_frames.append(frame)
            self._order.extend(astuple(trace.order))
        if trace.sync is not None:
            self._signatures[frame] = trace.sync
        if frame % _LOOK_EVERY == _LOOK_EVERY - 1:
            self._settle(frame - _LOOK_EVERY)

    def shots(self) -> tuple[Shot, ...]:
        """As they were given, or else as the picture is cut."""
        return shots_between(self._finder.first_frames(), self._count) if self._shots is None else self._shots

    def transitions(self) -> tuple[Transition, ...]:
        """As seen in the picture."""
        return self._finder.transitions()

    def black_ends(self) -> tuple[Transition, ...]:
        """Black at the clip's head and tail, as seen in the picture."""
        return self._finder.black_ends()

    def findings(
        self, shots: Sequence[Shot], frames: Sequence[FrameMeasure], transitions: Sequence[Transition]
    ) -> tuple[ShotFinding, ...]:
        """One for each shot."""
        self._settle(self._count)
        found = []
        for shot, begin in zip(shots, begins(shots, transitions)):
            told = max(self._told, key=lambda one: _overlap(one, shot), default=_Told(0, -1, NAN, 0.0))
            if _overlap(told, shot) <= 0:
                told = _Told(0, -1, NAN, 0.0)
            found.append(
                ShotFinding(
                    confidence=_confidence(frames[shot.first : shot.last + 1]),
                    offset_frames=told.offset_frames,
                    offset_confidence=told.confidence,
                    swap_reason=swap_reason(self._evidence(shot)),
                    transition="cut" if begin is None else begin.kind,
                    transition_frames=0 if begin is None else begin.frames,
                )
            )
        return tuple(found)

    def _evidence(self, shot: Shot) -> list[OrderEvidence]:
        first, after = (bisect_left(self._order_frames, frame) for frame in (shot.first, shot.last + 1))
        told = np.array(self._order[first * _OF_ORDER : after * _OF_ORDER]).reshape(-1, _OF_ORDER)
        return [OrderEvidence(int(strips), *others) for strips, *others in told.tolist()]

    def _settle(self, until: int) -> None:
        """Look for the offset of each shot that ends before a frame, and let go of what that needed."""
        if self._shots is not None:
            starts = [shot.first for shot in self._shots if self._first <= shot.first < self._count]
        else:
            starts = [self._first, *(one.frame for one in self._finder.transitions(self._first))]
        for first, after in zip(starts, [*starts[1:], self._count]):
            if after <= until:
                end = min(after, first + _LONGEST_KEPT)
                kept = [self._signatures[f] for f in range(first, end) if f in self._signatures]
                offset, confidence = shot_offset(kept) if kept else (NAN, 0.0)
                self._told.append(_Told(first, after - 1, offset, confidence))
                self._first = after
        # Frames that no cut is known before yet may belong to a shot of their own.
        done = [f for f in self._signatures if f < self._first or self._first + _LONGEST_KEPT <= f < until]
        for frame in done:
            del self._signatures[frame]


def _confidence(frames: Sequence[FrameMeasure]) -> float:
    """Of a shot: a quarter of its frames with figures may be worse, no more; 0 where none has any."""
    # Frames without figures are named with the reason; they make the figures of the others no worse.
    seen = columns_of_rows(frames, ("confidence", "near_pct", "far_pct"))
    known = seen["confidence"][np.isfinite(seen["near_pct"]) | np.isfinite(seen["far_pct"])]
    return float(np.quantile(known, 0.25)) if known.size else 0.0


def _overlap(told: _Told, shot: Shot) -> int:
    return min(told.last, shot.last) - max(told.first, shot.first) + 1


def stillness(before: tuple[Grey, Grey] | None, now: tuple[Grey, Grey] | None) -> str:
    """A note where a frame, or one of its eyes, only repeats the one before; both as in :attr:`Trace.seen`."""
    if before is None or now is None:
        return ""
    # The eyes as they are: matched to each other in brightness, one would move because the other does.
    changes = [np.abs(eye - earlier) / max(float(np.ptp(eye)), 1e-6) for eye, earlier in zip(now, before)]
    if not any(change.any() for change in changes):
        return BOTH_STILL
    for eye, own, other in (("left", 0, 1), ("right", 1, 0)):
        if float(changes[own].max()) <= _STILL and float(changes[other].mean()) > _MOVING:
            return ONE_EYE_STILL.format(eye=eye)
    return ""


def with_note(measure: FrameMeasure, note: str) -> FrameMeasure:
    """The frame with what its shot told about it; where one eye stands still nothing measured can be true."""
    if not note or measure.note:
        return measure
    if note == BOTH_STILL:
        return replace(measure, note=note)
    return FrameMeasure(
        left_hidden_px=measure.left_hidden_px,
        right_hidden_px=measure.right_hidden_px,
        left_bars_px=measure.left_bars_px,
        right_bars_px=measure.right_bars_px,
        note=note,
    )


def out_of_step(
    frames: Sequence[FrameMeasure], shots: Sequence[Shot], findings: Sequence[ShotFinding]
) -> tuple[Sequence[FrameMeasure], tuple[ShotFinding, ...]]:
    """Frames and findings with less confidence in the shots in which an eye seems late; the rest as it is."""
    late = [finding.offset_confidence >= _OFFSET_BELIEVED and abs(finding.offset_frames) >= 1.0 for finding in findings]
    if not any(late):
        return frames, tuple(findings)
    lowered = (
        replace(frame, confidence=_OUT_OF_STEP * frame.confidence) if is_late else frame
        for shot, is_late in zip(shots, late)
        for frame in frames[shot.first : shot.last + 1]
    )
    told = (
        replace(finding, confidence=_OUT_OF_STEP * finding.confidence) if is_late else finding
        for finding, is_late in zip(findings, late)
    )
    return gathered_rows(lowered), tuple(told)
