"""Cuts from an edit list: CMX 3600 (``.edl``) or ``.otio``, through OpenTimelineIO."""

from __future__ import annotations

import re
import warnings
from dataclasses import dataclass, replace
from fractions import Fraction
from pathlib import Path
from typing import Any

from postfix.errors import InputError, UsageError
from postfix.source.shots import Shot
from postfix.source.timecode import frames_from_timecode, nominal_rate, timecode_from_frames

EDIT_SUFFIXES = (".edl", ".otio")


@dataclass(frozen=True)
class _Event:
    """One event on the record side; ``first`` is included, ``end`` is not, both in frames of the list's own clock."""

    name: str
    first: int
    end: int


def read_edit_list(path: Path, *, rate: Fraction, count: int, timecode: str | None) -> tuple[Shot, ...]:
    """The shots of a clip as an edit list cuts it.

    The record side of the list gives the cuts. Where the clip's timecode lies within the list, the clip is found
    there; else frame 0 is the list's first record time. A dissolve is a cut at its start.

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
    tuple of Shot
        From frame 0 to ``count − 1`` without gaps. Named after the clip names or reels of the events, else ``s001`` …

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
    events = _events(path, rate)
    start = _clip_start(path, events, rate, timecode)
    inside = [event for event in events if event.end > start and event.first < start + count]
    inside = [replace(event, name=name) for event, name in zip(inside, _unique_names([e.name for e in inside]))]
    _check_cover(path, inside, start, count, rate)
    return tuple(Shot(event.name, event.first - start, event.end - start - 1) for event in inside)


def _events(path: Path, rate: Fraction) -> list[_Event]:
    """The picture events of a list in record order, on its own clock."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        try:
            import opentimelineio as otio
        except ImportError:
            raise UsageError(
                "--edit", "no library for edit lists", "OpenTimelineIO", "type: pip install 'postfix-stereo[edit]'"
            ) from None
        is_edl = path.suffix.lower() == ".edl"
        try:
            if is_edl:
                timeline = otio.adapters.read_from_file(str(path), "cmx_3600", rate=float(rate))
            else:
                timeline = otio.adapters.read_from_file(str(path), "otio_json")
        except (otio.exceptions.OTIOError, ValueError, KeyError, TypeError, AttributeError, OSError) as error:
            if is_edl and isinstance(error, otio.exceptions.NoKnownAdapterForExtensionError):
                raise _missing_adapter() from None
            raise _unreadable(path, error) from error
        tracks = _video_tracks(otio, timeline)
        if len(tracks) != 1:
            raise InputError(path, f"{len(tracks)} picture tracks", "one", "export the list with one picture track")
        return _track_events(otio, path, timeline, tracks[0], rate)


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
    events = []
    for item in track:
        if isinstance(item, (otio.schema.Gap, otio.schema.Transition)):
            continue
        if not isinstance(item, otio.schema.Clip):
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
            events.append(_Event(_event_name(item), first, end))
    if not events:
        raise InputError(path, "no events with pictures", "an edit list with cuts", "export the list again")
    return events


def _frames(path: Path, time: Any, rate: Fraction) -> int:
    """Whole frames of a library time; its rate may be the exact one or the nominal one of the clip."""
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
    return re.sub(r"[^\w.\-]+", "_", name).strip("_")


def _unique_names(names: list[str]) -> list[str]:
    taken: set[str] = set()
    unique = []
    for index, wanted in enumerate(names, 1):
        base = wanted or f"s{index:03d}"
        name, repeat = base, 2
        while name in taken:
            name, repeat = f"{base}_{repeat}", repeat + 1
        taken.add(name)
        unique.append(name)
    return unique


def _clip_start(path: Path, events: list[_Event], rate: Fraction, timecode: str | None) -> int:
    """The frame of the list's clock that is frame 0 of the clip."""
    if timecode is not None:
        start = frames_from_timecode(timecode, rate)
        if events[0].first <= start < events[-1].end:
            return start
    return events[0].first


def _check_cover(path: Path, events: list[_Event], start: int, count: int, rate: Fraction) -> None:
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
    return InputError(
        path, f"a list that cannot be read ({reason})", "a CMX 3600 or .otio edit list", "export it again"
    )
