"""Cuts and dissolves from an edit list: CMX 3600 (``.edl``) or ``.otio``, through OpenTimelineIO."""

from __future__ import annotations

import json
import re
import warnings
from collections.abc import Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from itertools import pairwise
from pathlib import Path
from typing import Any

from postfix.errors import InputError, UsageError
from postfix.outside import EDIT_MAX_BYTES, MAX_DEPTH, MAX_EVENTS, bounded_bytes, is_deep
from postfix.source.cmx import plain_cmx
from postfix.source.shots import EditList, Shot, Transition
from postfix.source.timecode import frames_from_timecode, nominal_rate, timecode_from_frames

EDIT_SUFFIXES = (".edl", ".otio")

_EXPECTED = "a CMX 3600 or .otio edit list"
_NAME_MAX = 120
"""Letters of a shot's name that are taken from a list."""

_FRAMES_MAX = 2**31
"""More than a day has at any rate."""

_UNREADABLE = (ValueError, KeyError, TypeError, AttributeError, IndexError, OverflowError, ZeroDivisionError, OSError)
"""What the library, and what is read from its objects, runs into where a list holds something else."""


@dataclass(frozen=True)
class _Event:
    """One event; ``end`` frames are not included. All in frames of the list's own clocks.

    Attributes
    ----------
    first, end : int
        On the record side.
    source : int or None
        First frame on the source side; None where it runs at another speed or has none.
    dissolve : tuple of 2 ints
        Frames before and after ``first`` in which the event before is still seen.
    word : str
        What the list calls the way the event begins.
    speed : float or None
        Share of normal speed, where it is another.
    number : str
        As the list counts it.
    """

    name: str
    first: int
    end: int
    source: int | None = None
    reel: str = ""
    dissolve: tuple[int, int] = (0, 0)
    word: str = "dissolve"
    speed: float | None = None
    number: str = ""


def read_edit_list(path: Path, *, rate: Fraction, count: int, timecode: str | None) -> EditList:
    """A clip as an edit list cuts it.

    Where the clip's timecode lies on the record side of the list, the clip is found there; where it holds the source
    of an event with its handles, it is that event's take and one shot; else frame 0 is the list's first record time.
    The notes say which.

    Parameters
    ----------
    path : Path
        ``.edl`` (out points excluded, as CMX 3600 has it) or ``.otio``.
    rate : Fraction
        Frames per second of the clip; a CMX 3600 list does not carry one.
    count : int
        Frames of the clip.
    timecode : str or None
        Of the clip's frame 0.

    Returns
    -------
    EditList
        Shots are named after the clip names or reels of the events, else ``s001`` …

    Raises
    ------
    UsageError
        Where the library for edit lists is not installed, or the suffix is another.
    InputError
        Where the list cannot be read or its events do not cover the clip exactly; names the event.
    """
    if path.suffix.lower() not in EDIT_SUFFIXES:
        raise UsageError(
            path, f"'{path.suffix}'", "an edit list, .edl or .otio", "give --edit one of these, or --one-shot"
        )
    if not path.is_file():
        raise InputError(path, "nothing there", "an edit list", "check the path")
    events, notes = _events(path, rate)
    start = None if timecode is None else frames_from_timecode(timecode, rate)
    if start is not None and not _on_record_side(events, start, count):
        takes = _takes(events, start, count)
        if len({take.reel for take in takes}) == 1:
            return _one_take(takes, start, count, timecode, rate, notes)
    start, how = _record_start(events, start, count, timecode, rate)
    inside = [event for event in events if event.end > start and event.first < start + count]
    inside = [replace(event, name=name) for event, name in zip(inside, _unique_names([e.name for e in inside]))]
    inside, handles = _with_handles(inside, events, start, count, matched=how.startswith("matched by"))
    _check_cover(path, inside, start, count, rate)
    return _cut_up(inside, start, count, [how, *handles, *notes])


def _on_record_side(events: Sequence[_Event], start: int, count: int) -> bool:
    """Whether a clip begins in the list, or runs into it from a handle before it."""
    first, end = events[0].first, events[-1].end
    return first <= start < end or (start < first and end <= start + count)


def _takes(events: Sequence[_Event], start: int, count: int) -> list[_Event]:
    """Events whose source lies in the clip."""
    return [
        event
        for event in events
        if event.source is not None
        and start <= event.source
        and event.source + event.end - event.first <= start + count
    ]


def _one_take(
    takes: Sequence[_Event],
    start: int,
    count: int,
    timecode: str | None,
    rate: Fraction,
    notes: Sequence[str],
) -> EditList:
    """A clip that is camera footage: one shot, of which the list uses parts."""
    name = _unique_names([takes[0].name])[0]
    used = ", ".join(
        f"{event.source - start} to {event.source - start + event.end - event.first - 1}"
        for event in takes
        if event.source is not None
    )
    reel = f" '{takes[0].reel}'" if takes[0].reel else ""
    how = (
        f"matched by source timecode: {timecode} lies on no record time of the list, but the clip holds what it takes "
        f"from reel{reel} (frames {used}); the clip is one shot"
    )
    return EditList((Shot(name, 0, count - 1),), (), (how, *notes))


def _record_start(
    events: Sequence[_Event], start: int | None, count: int, timecode: str | None, rate: Fraction
) -> tuple[int, str]:
    """The frame of the list's clock that is frame 0 of the clip, and how it was found."""
    first = events[0].first
    if start is None:
        why = "the clip has no timecode"
    elif _on_record_side(events, start, count):
        return start, f"matched by record timecode: the clip starts at {timecode} of the list"
    else:
        why = f"the list has no event at the clip's timecode {timecode}"
    return first, f"frame 0 taken as the list's first record time, {timecode_from_frames(first, rate)}, because {why}"


def _with_handles(
    inside: list[_Event], events: Sequence[_Event], start: int, count: int, *, matched: bool
) -> tuple[list[_Event], list[str]]:
    """Give what a clip holds before and after the whole list to its first and last shot, where timecode matched."""
    notes = []
    if matched and start < events[0].first:
        notes.append(
            f"the clip holds {events[0].first - start} frames before the list: they count to shot {inside[0].name}"
        )
        inside[0] = replace(inside[0], first=start)
        if events[-1].end < start + count:
            after = start + count - events[-1].end
            notes.append(f"the clip holds {after} frames after the list: they count to shot {inside[-1].name}")
            inside[-1] = replace(inside[-1], end=start + count)
    return inside, notes


def _cut_up(events: Sequence[_Event], start: int, count: int, notes: list[str]) -> EditList:
    """Shots and transitions of events that cover a clip; dissolves split in their middle."""
    transitions = []
    for event in events[1:]:
        cut = event.first - start
        frames = sum(event.dissolve)
        if not frames:
            transitions.append(Transition(cut, "cut", cut, cut))
            continue
        first = cut - event.dissolve[0]
        transitions.append(Transition(first + frames // 2, "dissolve", first, min(count, first + frames) - 1))
        notes.append(
            f"{event.word} in event {event.number}, frames {first} to {first + frames - 1}: "
            f"shot {event.name} begins in its middle, frame {first + frames // 2}"
        )
    if events and sum(events[0].dissolve):
        notes.append(
            f"the clip begins with the {_dissolve_words(events[0])}: all of it counts to shot {events[0].name}"
        )
    for event in events:
        if event.speed is not None:
            notes.append(f"speed change in event {event.number}, to {event.speed:.4g} times: shot {event.name}")
    bounds = [0, *(one.frame for one in transitions), count]
    shots = tuple(Shot(event.name, first, end - 1) for event, (first, end) in zip(events, pairwise(bounds)))
    return EditList(shots, tuple(transitions), tuple(notes))


def _dissolve_words(event: _Event) -> str:
    return f"{event.word} of {sum(event.dissolve)} frames in event {event.number}"


def _events(path: Path, rate: Fraction) -> tuple[list[_Event], list[str]]:
    """The picture events of a list in record order, on its own clock, and what was noticed on the way."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        try:
            import opentimelineio as otio
        except ImportError:
            raise UsageError(
                "--edit", "no library for edit lists", "OpenTimelineIO", "type: pip install 'postfix-stereo[edit]'"
            ) from None
        is_edl = path.suffix.lower() == ".edl"
        text = _text(path)
        notes: list[str] = []
        numbers: dict[int, str] = {}
        speeds: dict[int, float] = {}
        try:
            if is_edl:
                plain = plain_cmx(text, rate)
                timeline = _cmx_timeline(plain.text, rate)
                notes += plain.notes
                numbers = {frames_from_timecode(at, rate): number for at, number in plain.numbers.items()}
                speeds = {frames_from_timecode(at, rate): fps / float(rate) for at, fps in plain.speeds.items()}
            else:
                # Straight from its text: no plugin, hook or media linker that an environment names is asked.
                timeline = otio.core.deserialize_json_from_string(text)
            tracks = _video_tracks(otio, timeline)
            if len(tracks) != 1:
                raise InputError(path, f"{len(tracks)} picture tracks", "one", "export the list with one picture track")
            events = _track_events(otio, path, timeline, tracks[0], rate)
        except (otio.exceptions.OTIOError, *_UNREADABLE) as error:
            raise _unreadable(path, error) from error
    for index, event in enumerate(events):
        number = numbers.get(event.first, str(index + 1))
        speed = speeds.get(event.first, event.speed)
        speed = None if speed is None or abs(speed - 1.0) < 1e-3 else speed
        events[index] = replace(event, number=number, speed=speed, source=event.source if speed is None else None)
    return events, notes


def _text(path: Path) -> str:
    """The text of a list. Of a timeline it is known then that the library can read it: brackets in many thousand others
    would end the whole process there."""
    try:
        data = bounded_bytes(path, EDIT_MAX_BYTES, _EXPECTED)
    except OSError as error:
        raise _unreadable(path, error) from error
    if path.suffix.lower() == ".edl":
        return data.decode("utf-8-sig", errors="replace").replace("\0", "\N{REPLACEMENT CHARACTER}")
    try:
        text = data.decode("utf-8-sig")
        if is_deep(text):
            raise ValueError(f"brackets more than {MAX_DEPTH} deep")
        json.loads(text)
    except (ValueError, RecursionError) as error:
        raise _unreadable(path, error) from error
    return text


def _cmx_timeline(text: str, rate: Fraction) -> Any:
    """The timeline of a CMX 3600 list, by its reader itself: no plugin that an environment names is asked."""
    try:
        from otio_cmx3600_adapter import cmx_3600  # type: ignore[import-untyped, unused-ignore]
    except ImportError:
        raise _missing_adapter() from None
    return cmx_3600.read_from_string(text, rate=float(rate))


def _video_tracks(otio: Any, timeline: Any) -> list[Any]:
    if not isinstance(timeline, otio.schema.Timeline):
        return []
    return [track for track in timeline.video_tracks() if any(isinstance(item, otio.schema.Clip) for item in track)]


def _track_events(otio: Any, path: Path, timeline: Any, track: Any, rate: Fraction) -> list[_Event]:
    origin = 0
    if timeline.global_start_time is not None:
        origin = _frames(path, timeline.global_start_time, rate)
    elif track.source_range is not None and track.source_range.start_time.value < 0:
        # The CMX 3600 reader tells the first record time in this way.
        origin = -_frames(path, track.source_range.start_time, rate)
    if len(track) > MAX_EVENTS:
        raise InputError(path, f"{len(track)} events", f"at most {MAX_EVENTS}", "export the reels one by one")
    events: list[_Event] = []
    dissolve, word = (0, 0), "dissolve"
    for item in track:
        if isinstance(item, otio.schema.Transition):
            dissolve = (_frames(path, item.in_offset, rate), _frames(path, item.out_offset, rate))
            word = "dissolve" if item.transition_type == otio.schema.TransitionTypes.SMPTE_Dissolve else "transition"
            continue
        is_gap = isinstance(item, otio.schema.Gap)
        if is_gap and path.suffix.lower() == ".edl":
            # Nobody wrote this gap: the events leave it.
            continue
        if not is_gap and not isinstance(item, otio.schema.Clip):
            raise InputError(
                path,
                f"'{item.name}', which is no plain clip",
                "a flat list of clips",
                "flatten the timeline and export it again",
            )
        placed = item.range_in_parent()
        first = origin + _frames(path, placed.start_time, rate)
        end = first + _frames(path, placed.duration, rate)
        if end > first:
            reel = str(item.metadata.get("cmx_3600", {}).get("reel", ""))
            source = None if is_gap else _source_frame(item, rate)
            name = "black" if is_gap else _event_name(item)
            events.append(_Event(name, first, end, source, reel, dissolve, word, _speed(otio, item)))
            dissolve = (0, 0)
    if not events:
        raise InputError(path, "no events with pictures", "an edit list with cuts", "export the list again")
    return events


def _source_frame(clip: Any, rate: Fraction) -> int | None:
    """First frame on the source side, where it counts at the clip's rate."""
    start = clip.trimmed_range().start_time
    return round(start.value) if round(start.rate) == nominal_rate(rate) else None


def _speed(otio: Any, clip: Any) -> float | None:
    """Share of normal speed at which a clip runs; None where nothing changes it."""
    warps = [effect for effect in clip.effects if isinstance(effect, otio.schema.LinearTimeWarp)]
    speed = 1.0
    for warp in warps:
        speed *= float(warp.time_scalar)
    return speed if warps else None


def _frames(path: Path, time: Any, rate: Fraction) -> int:
    """Whole frames of a library time; its rate may be the exact one or the nominal one of the clip."""
    if not abs(time.value) <= _FRAMES_MAX:
        raise InputError(path, f"a time of {time.value:g} frames", "frames of one day", "correct or export it again")
    if round(time.rate) != nominal_rate(rate) or time.value != round(time.value):
        raise InputError(
            path,
            f"times at {time.rate:g} frames/s",
            f"whole frames at {rate} like the clip",
            "export the list at the clip's rate",
        )
    frames: int = round(time.value)
    return frames


def _event_name(clip: Any) -> str:
    """Clip name or reel; empty where the list has neither. Numbers that only count the events do not name anything."""
    reel = clip.metadata.get("cmx_3600", {}).get("reel", "")
    name = clip.name or ""
    if not name or re.fullmatch(r"\d+", name):
        name = str(reel)
    # What begins with a minus sign looks like an option where it is typed, and like a formula in a spreadsheet.
    return re.sub(r"[^\w.\-]+", "_", name[:_NAME_MAX]).strip("_").lstrip("-")


def _unique_names(names: list[str]) -> list[str]:
    taken: set[str] = set()
    unique = []
    repeats: dict[str, int] = {}  # where to go on counting, or a list of one name alone would take hours
    for index, wanted in enumerate(names, 1):
        base = wanted or f"s{index:03d}"
        name, repeat = base, repeats.get(base, 2)
        while name in taken:
            name, repeat = f"{base}_{repeat}", repeat + 1
        repeats[base] = repeat
        taken.add(name)
        unique.append(name)
    return unique


def _check_cover(path: Path, events: Sequence[_Event], start: int, count: int, rate: Fraction) -> None:
    """Hold the events that lie in the clip against its frames: no gap, no overhang."""

    def at(frame: int) -> str:
        return f"{timecode_from_frames(frame, rate)} (frame {frame - start})"

    expected = start
    for event in events:
        if event.first != expected:
            raise _does_not_fit(path, event, f"starts at {at(event.first)}", at(expected))
        expected = event.end
    if expected != start + count:
        raise _does_not_fit(path, events[-1], f"ends before {at(expected)}", at(start + count))


def _does_not_fit(path: Path, event: _Event, found: str, expected: str) -> InputError:
    return InputError(
        path,
        f"event '{event.name}', which {found}",
        f"{expected}, so that the events cover the clip exactly",
        "correct the list, choose its frames with --frames, or use --one-shot",
    )


def _missing_adapter() -> UsageError:
    return UsageError(
        "--edit", "no reader for CMX 3600 lists", "otio-cmx3600-adapter", "type: pip install 'postfix-stereo[edit]'"
    )


def _unreadable(path: Path, error: Exception) -> InputError:
    reason = str(error).strip().split("\n")[0][:160] or type(error).__name__
    return InputError(path, f"a list that cannot be read ({reason})", _EXPECTED, "export it again")
