"""What is said of a shot in which frames of the source could not be decoded."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Final

from postfix.plan.model import Flag
from postfix.source.patient import BadFrame

BAD_FRAME: Final = "bad_frame"
"""The flag of a shot that holds such frames."""

_RUNS_NAMED = 6
_EYE_WORDS = {"left": "the left eye", "right": "the right eye", "both": "both eyes"}


def bad_frame_flags(bad: Iterable[BadFrame], first: int, last: int) -> tuple[Flag, ...]:
    """One flag for a shot from frame ``first`` to ``last`` where it holds bad frames, which names them; else none."""
    runs = _runs([one for one in bad if first <= one.frame <= last])
    if not runs:
        return ()
    texts = [_run_text(*run) for run in runs[:_RUNS_NAMED]]
    if more := sum(end - start + 1 for start, end, _, _ in runs[_RUNS_NAMED:]):
        texts.append(f"{more} more such {'frame' if more == 1 else 'frames'}")
    return (Flag(BAD_FRAME, "; ".join(texts)),)


_Run = tuple[int, int, str, str]
"""First and last frame, eye, what is shown."""


def _runs(bad: Sequence[BadFrame]) -> list[_Run]:
    by_frame: dict[int, tuple[str, str]] = {}
    for one in bad:
        eye = "both" if one.frame in by_frame else one.eye
        by_frame[one.frame] = (eye, one.shown)
    runs: list[_Run] = []
    for frame in sorted(by_frame):
        told = by_frame[frame]
        if runs and runs[-1][1] == frame - 1 and runs[-1][2:] == told:
            runs[-1] = (runs[-1][0], frame, *told)
        else:
            runs.append((frame, frame, *told))
    return runs


def _run_text(first: int, last: int, eye: str, shown: str) -> str:
    which = f"frame {first}" if first == last else f"frames {first} to {last}"
    place = "its place" if first == last else "their place"
    return f"{which} of {_EYE_WORDS[eye]} cannot be read: {shown} is shown in {place}, in both eyes"
