"""What a change log tells of depth, size, seats, camera and comfort, checked and read back."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import MISSING, Field, fields
from typing import Any, TypeVar, cast

from postfix.camera import RIGS, Camera
from postfix.outside import MAX_FRAMES, clipped
from postfix.review.members import figure, member
from postfix.story.model import (
    Cut,
    Depth,
    Filmed,
    FromSeat,
    Front,
    Notice,
    Seat,
    Seen,
    ShotStory,
    Story,
    Stretch,
)

T = TypeVar("T")

_MEASURED_ON = ("finished", "planned", "source")
_NEAREST_SEAT_MM = 1.0
"""A seat that is nearer to a screen sits in it."""

_TIME_TOLERANCE_S = 0.01
"""Seconds are logged rounded; parts of a stretch may be more than the whole by that."""

_MAY_BE_NEGATIVE = ("_pct", "arcmin")
"""Ends of the names of figures with a sign; all others are sizes, distances, times and ratios."""


def read_camera(entry: Any) -> Camera | None:
    """How a shot was filmed, of its entry; None where that was not noted, or in logs of before it was.

    Raises
    ------
    ValueError
        Where something is not what is written there; says where.
    """
    return None if entry.get("camera") is None else _within("camera", lambda: _camera(entry["camera"]))


def read_shot_story(entry: Any, seats: Mapping[str, Seat] | None) -> ShotStory | None:
    """What is told of a shot besides its limits, of its entry; None in logs of before it was.

    Parameters
    ----------
    entry : Any
        The shot in the log.
    seats : mapping of str to Seat, or None
        Of the log (:func:`logged_seats`); None where the log has no story as a whole, so that a shot's is passed over.

    Raises
    ------
    ValueError
        As in :func:`read_camera`.
    """
    if seats is None or entry.get("story") is None:
        return None
    return _within("story", lambda: _shot_story(entry, seats))


def logged_seats(log: Any) -> dict[str, Seat] | None:
    """The seats of a log by their names, in its order; None where it has no story."""
    if log.get("story") is None:
        return None

    def read() -> dict[str, Seat]:
        entries = member(member(log, "story", dict), "seats", list)
        seats = [_read(Seat, entry, is_whole=True) for entry in entries]
        if len({seat.name for seat in seats}) < len(seats) or any(
            seat.distance_mm < _NEAREST_SEAT_MM for seat in seats
        ):
            raise ValueError("seats of one name, or in the screen")
        return {seat.name: seat for seat in seats}

    return _within("story", read)


def read_story(log: Any, shots: Sequence[ShotStory | None], seats: Mapping[str, Seat] | None) -> Story | None:
    """Of the log as a whole; None where it has none, or not all its shots do.

    Raises
    ------
    ValueError
        As in :func:`read_camera`.
    """
    told = [shot for shot in shots if shot is not None]
    if seats is None or len(told) < len(shots):
        return None
    return _within("story", lambda: _story(member(log, "story", dict), tuple(told), seats))


def _story(entry: Any, shots: tuple[ShotStory, ...], seats: Mapping[str, Seat]) -> Story:
    measured_on = member(entry, "measured_on", str)
    if measured_on not in _MEASURED_ON:
        raise ValueError(f"measured_on is {clipped(measured_on)!r}")
    minutes = member(entry, "minutes", list)
    if len(minutes) > MAX_FRAMES:
        raise ValueError(f"more than {MAX_FRAMES} minutes")
    return Story(
        cast(Any, measured_on),
        shots,
        _stretch(member(entry, "whole", dict)),
        tuple(map(_stretch, minutes)),
        tuple(_run(given, len(shots)) for given in member(entry, "quick_runs", list)),
        member(entry, "line", str),
        tuple(seats.values()),
    )


def _stretch(entry: Any) -> Stretch:
    read = _read(Stretch, entry, is_whole=True)
    rest = max(read.beyond_s, read.apart_s, read.front_s)
    if max(read.hard_jumps + read.quick_cuts, read.unknown_cuts) > read.cuts > 0:
        raise ValueError(f"{read.cuts} cuts, of which more are told")
    if rest > read.measured_s + _TIME_TOLERANCE_S or read.measured_s > read.length_s + _TIME_TOLERANCE_S:
        raise ValueError(f"a stretch of {read.length_s:g} s of which more is told than was measured")
    return read


def _run(given: Any, shots: int) -> tuple[int, int]:
    is_pair = isinstance(given, list) and len(given) == 2
    if not is_pair or not all(isinstance(one, int) and not isinstance(one, bool) for one in given):
        raise ValueError(f"quick_runs holds {clipped(str(given))!r}")
    first, last = given
    if not 0 <= first <= last < shots:
        raise ValueError(f"quick_runs go from shot {first} to {last} of {shots}")
    return first, last


def _shot_story(entry: Any, seats: Mapping[str, Seat]) -> ShotStory:
    story = member(entry, "story", dict)
    first, last = member(entry, "first", int), member(entry, "last", int)
    depth = member(story, "depth", dict)
    made = _read(Depth, depth, {name: _read(Seen, member(depth, name, dict)) for name in ("near", "main", "far")})
    front = None
    if story.get("front") is not None:
        given = member(story, "front", dict)
        front = _read(Front, given, {"seen": _read(Seen, member(given, "seen", dict))})
    cut = None if story.get("cut") is None else _read(Cut, member(story, "cut", dict))
    for one in (front, cut):
        if one is not None and not first <= one.frame <= last:
            raise ValueError(f"frame {one.frame} of the shot from {first} to {last}")
    filmed = None if story.get("filmed") is None else _read(Filmed, member(story, "filmed", dict))
    return ShotStory(
        member(entry, "name", str),
        first,
        last,
        made,
        front,
        cut,
        tuple(_from_seat(given, seats) for given in member(story, "seats", list)),
        filmed,
        # A code that a later version invented is shown as it is.
        tuple(
            Notice(cast(Any, member(given, "code", str)), member(given, "text", str))
            for given in member(story, "notices", list)
        ),
        member(story, "front_is_known", bool) if "front_is_known" in story else front is not None,
    )


def _from_seat(entry: Any, seats: Mapping[str, Seat]) -> FromSeat:
    name = member(entry, "name", str)
    if name not in seats:
        raise ValueError(f"the seat {clipped(name)!r}, which the log does not place")
    seen = {word: _read(Seen, member(entry, word, dict)) for word in ("near", "main", "far")}
    return _read(FromSeat, entry, {"seat": seats[name], **seen})


def _camera(entry: Any) -> Camera:
    rig = member(entry, "rig", str) if "rig" in entry else "parallel"
    if rig not in RIGS:
        raise ValueError(f"rig is {clipped(rig)!r}")
    camera = _read(Camera, entry, {"rig": cast(Any, rig)}, endless=("convergence_mm", "far_mm"))
    # What is noted is never zero: a distance of nothing would be divided by.
    for field in fields(Camera):
        if getattr(camera, field.name) == 0.0:
            raise ValueError(f"{field.name} is 0")
    return camera


def _read(
    cls: type[T],
    entry: Any,
    known: Mapping[str, Any] | None = None,
    *,
    endless: Sequence[str] = (),
    is_whole: bool = False,
) -> T:
    """A dataclass from the members of the same names, but for those that are known; checked by the type of each.

    A number that was not measured is null and becomes NaN where there is always a number; where there may be none it
    stays None. Members that are missing have their default, where there is one.

    Parameters
    ----------
    endless : sequence of str
        Distances that may be infinite, as the text ``"inf"``.
    is_whole : bool
        Whether all numbers are known, so that null is none.
    """
    if not isinstance(entry, dict):
        raise ValueError(f"{clipped(str(entry))!r} in place of its figures")
    values = dict(known or {})
    for field in fields(cast(Any, cls)):
        name = field.name
        if name in values or (name not in entry and _has_default(field)):
            continue
        if name in endless and entry.get(name) == "inf":
            values[name] = math.inf
        else:
            values[name] = _value(entry, name, str(field.type), is_whole)
    return cls(**values)


def _has_default(field: Field[Any]) -> bool:
    return field.default is not MISSING or field.default_factory is not MISSING


def _value(entry: Any, key: str, kind: str, is_whole: bool) -> Any:
    if kind == "tuple[str, ...]":
        texts = member(entry, key, list)
        if not all(isinstance(text, str) for text in texts):
            raise ValueError(f"{key} holds something that is no text")
        return tuple(texts)
    if kind in ("bool", "str"):
        return member(entry, key, {"bool": bool, "str": str}[kind])
    if kind == "int":
        count = member(entry, key, int)
        if count < 0:
            raise ValueError(f"{key} is {count}")
        return count
    if not is_whole and key in entry and entry[key] is None:
        return None if "None" in kind else math.nan
    return _number(entry, key, may_be_far=not is_whole)


def _number(entry: Any, key: str, *, may_be_far: bool) -> float:
    given = entry.get(key)
    if may_be_far and key.endswith("_mm") and isinstance(given, int | float) and not isinstance(given, bool):
        # A distance as it is seen grows without end where the eyes come near to parallel: any is believed.
        value = float(given)
    else:
        value = figure(entry, key)
    if value < 0.0 and not key.endswith(_MAY_BE_NEGATIVE):
        raise ValueError(f"{key} is {value:g}")
    return value


def _within(place: str, read: Callable[[], T]) -> T:
    """What is read, where a fault is told with its place."""
    try:
        return read()
    except ValueError as error:
        raise ValueError(f"{place}: {error}") from error
