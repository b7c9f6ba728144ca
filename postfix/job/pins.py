"""What a job file pins in the shots of a clip, and whether the footage can hold it."""

from __future__ import annotations

from collections.abc import Sequence

from postfix.errors import InputError
from postfix.plan.model import Pin, Subject
from postfix.plan.pins import frames_of, pins_by_shot, require_in_picture
from postfix.plan.settings_file import hit_from, pin_of, subject_from, subject_of
from postfix.plan.toml_tables import TomlTable
from postfix.source.shots import Shot

_ONE_SHOT = "s001"
"""Name of the shot of a clip that has only one."""


def clip_pins(table: TomlTable, *, one_shot: bool) -> tuple[Pin, ...]:
    """What a clip pins itself, then what its shots do; no two may speak of the same shot.

    Parameters
    ----------
    table : TomlTable
        The clip's: its ``hit``, ``subject`` and ``shot`` are read.
    one_shot : bool
        Whether the clip is one shot, which alone may have a ``hit`` of its own.

    Raises
    ------
    InputError
        Names file, line and key, what was found and what was expected.
    """
    found = [*_clip_wide(table, one_shot=one_shot), *((shot, pin_of(shot, "name")) for shot in table.tables("shot"))]
    first: dict[object, Pin] = {}
    for at, pin in found:
        if one_shot and pin.shot not in (None, _ONE_SHOT):
            raise at.error("name", f"shot {pin.shot!r} of a clip with one_shot", _ONE_SHOT, "correct or remove it")
        same = _ONE_SHOT if one_shot else (pin.shot, pin.frame)
        if same in first:
            which = "this clip, which is one shot" if one_shot else f"shot {pin.shot!r}" if pin.shot else "this frame"
            raise at.error(
                "name" if pin.shot else "frame",
                f"a second pin for {which}, after the one in {first[same].where}",
                "one pin for each shot",
                "remove one of them",
            )
        first[same] = pin
    return tuple(pin for _, pin in found)


def check_fit(pins: Sequence[Pin], count: int, size_px: tuple[int, int], shots: Sequence[Shot] = ()) -> None:
    """Refuse pins that footage of ``count`` frames and ``size_px`` (width, height) cannot hold.

    Without ``shots`` only frames and boxes are checked. Raises InputError.
    """
    for pin in pins:
        for key, frame in frames_of(pin):
            if frame >= count:
                expected = f"a frame of the clip, 0 to {count - 1}"
                raise InputError(f"{pin.where}, {key}", f"frame {frame}", expected, "correct the frame")
        if pin.subject is not None:
            require_in_picture(pin.subject, size_px, f"{pin.where}, subject.box")
    if shots:
        pins_by_shot(pins, shots)


def _clip_wide(table: TomlTable, *, one_shot: bool) -> list[tuple[TomlTable, Pin]]:
    hit = hit_from(table)
    if hit and not one_shot:
        raise table.error("hit", "hit for a clip of many shots", "one for each shot", "write it under [[clip.shot]]")
    if hit and "subject" in table.data:
        raise table.error("hit", "both hit and subject", "one of them, since hit follows from a subject", "remove one")
    if hit:
        return [(table, Pin(frame=hit[0].frame, hit=hit, where=table.where("hit")))]
    return [(at, Pin(frame=subject.frame, subject=subject, where=at.where())) for at, subject in _subjects(table)]


def _subjects(table: TomlTable) -> list[tuple[TomlTable, Subject]]:
    """One subject, or a list of them, each with where it stands."""
    if not isinstance(table.data.get("subject"), list):
        one = subject_from(table)
        return [] if one is None else [(table.table("subject"), one)]
    entries = table.tables("subject")
    if not entries:
        raise table.error("subject", "an empty list", "at least one { frame, box, at_pct }", "add one or remove it")
    return [(entry, subject_of(entry)) for entry in entries]
