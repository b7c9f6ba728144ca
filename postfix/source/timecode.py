"""Timecode: frames counted as hours, minutes, seconds and frames (SMPTE ST 12-1)."""

from __future__ import annotations

import re
from fractions import Fraction

from postfix.errors import InputError
from postfix.outside import clipped

_TEXT = re.compile(r"(\d\d):(\d\d):(\d\d)([:;])(\d{2,3})", re.ASCII)
_DROPPED_PER_MINUTE = {Fraction(30000, 1001): 2, Fraction(60000, 1001): 4}
"""Frame numbers left out at the start of each minute except every tenth, for the rates that may do so."""


def nominal_rate(rate: Fraction) -> int:
    """Frame numbers a second of timecode holds: 30 for 30000/1001."""
    return max(1, round(rate))


def can_drop(rate: Fraction) -> bool:
    """True for the rates at which drop-frame counting exists: 30000/1001 and 60000/1001."""
    return rate in _DROPPED_PER_MINUTE


def frames_from_timecode(text: str, rate: Fraction) -> int:
    """Frames from 00:00:00:00 to a timecode.

    Parameters
    ----------
    text : str
        ``HH:MM:SS:FF``, or ``HH:MM:SS;FF`` where frame numbers are dropped.
    rate : Fraction
        Frames per second.

    Raises
    ------
    InputError
        Where the text is no timecode at this rate, or names a frame number that drop-frame counting leaves out.
    """
    match = _TEXT.fullmatch(text.strip())
    nominal = nominal_rate(rate)
    if match is None:
        raise _unusable(text, "no timecode", "HH:MM:SS:FF, or HH:MM:SS;FF for drop-frame")
    hours, minutes, seconds, frames = (int(match[i]) for i in (1, 2, 3, 5))
    if hours > 23 or minutes > 59 or seconds > 59 or frames >= nominal:
        raise _unusable(
            text, "a part that is too large", f"hours to 23, minutes and seconds to 59, frames to {nominal - 1}"
        )
    total_minutes = hours * 60 + minutes
    count = (total_minutes * 60 + seconds) * nominal + frames
    if match[4] == ":":
        return count
    if not can_drop(rate):
        raise _unusable(text, f"drop-frame counting at {rate} frames/s", "a colon before the frames")
    dropped = _DROPPED_PER_MINUTE[rate]
    if frames < dropped and seconds == 0 and minutes % 10:
        raise _unusable(text, "a frame number that drop-frame counting leaves out", f"frames from {dropped:02d} here")
    return count - dropped * (total_minutes - total_minutes // 10)


def timecode_from_frames(frames: int, rate: Fraction, drop: bool = False) -> str:
    """The timecode ``frames`` after midnight, starting again after 24 hours.

    Raises
    ------
    InputError
        Where ``drop`` is asked for at a rate that has no drop-frame counting.
    """
    nominal = nominal_rate(rate)
    if drop:
        if not can_drop(rate):
            raise _unusable("drop-frame", f"a rate of {rate} frames/s", "30000/1001 or 60000/1001 frames/s")
        dropped = _DROPPED_PER_MINUTE[rate]
        minute = nominal * 60 - dropped
        ten_minutes = nominal * 600 - 9 * dropped
        frames %= ten_minutes * 144
        tens, rest = divmod(frames, ten_minutes)
        # The first minute of ten keeps all its numbers, so it is longer than the others.
        minutes_passed = 0 if rest < nominal * 60 else 1 + (rest - nominal * 60) // minute
        frames += dropped * (9 * tens + minutes_passed)
    seconds, frame = divmod(frames, nominal)
    minutes, second = divmod(seconds, 60)
    hours, minute_of_hour = divmod(minutes, 60)
    return f"{hours % 24:02d}:{minute_of_hour:02d}:{second:02d}{';' if drop else ':'}{frame:02d}"


def timecode_at(start: str | None, frame: int, rate: Fraction) -> str:
    """The timecode of a frame of a clip that starts at ``start``; empty where the clip has none."""
    if start is None:
        return ""
    return timecode_from_frames(frames_from_timecode(start, rate) + frame, rate, drop=";" in start)


def valid_timecode(text: str | None, rate: Fraction) -> str | None:
    """The text where it is a timecode at this rate, else None: a file may carry nonsense in that place."""
    if text is None:
        return None
    try:
        frames_from_timecode(text, rate)
    except InputError:
        return None
    return text.strip()


def _unusable(text: str, found: str, expected: str) -> InputError:
    return InputError(f"timecode '{clipped(text)}'", found, expected, "correct the timecode or the frame rate")
