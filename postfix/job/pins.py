"""What a job file pins in the shots of a clip and notes of their cameras, and whether the footage can hold it."""

from __future__ import annotations

from collections.abc import Sequence

from postfix.errors import InputError
from postfix.plan.camera_table import camera_from
from postfix.plan.cameras import Cameras, ShotCamera, add_camera, shot_meant
from postfix.plan.model import Pin, Subject
from postfix.plan.pins import frames_of, pins_by_shot, require_in_picture
from postfix.plan.settings_file import hit_from, pin_of, subject_from, subject_of
from postfix.plan.toml_tables import TomlTable
from postfix.source.shots import Shot

_SHOT_KEYS = ("name", "frame", "hit", "subject", "camera")

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
    shots = [(shot, pin_of(shot.without("camera"), "name")) for shot in _entries(table) if _pins(shot)]
    found = [*_clip_wide(table, one_shot=one_shot), *shots]
    first: dict[object, Pin] = {}
    for at, pin in found:
        _require_own_shot(at, pin.shot, one_shot=one_shot)
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


def clip_cameras(job: TomlTable, clip: TomlTable, *, one_shot: bool) -> Cameras:
    """How the shots of a clip were filmed: ``camera`` of the job, of the clip and of its shots, later over earlier.

    A shot is named as for a pin that stands beside, by its subject too.

    Raises
    ------
    InputError
        As :func:`clip_pins`.
    """
    layers = [job.table("camera"), clip.table("camera")]
    every = camera_from(*layers)
    shots: list[ShotCamera] = []
    for entry in _entries(clip):
        if "camera" not in entry.data:
            continue
        if _pins(entry):
            pin = pin_of(entry.without("camera"), "name")
            name, frame = pin.shot, pin.frame
        else:
            name, frame = shot_meant(entry)
        _require_own_shot(entry, name, one_shot=one_shot)
        camera = camera_from(*layers, entry.table("camera"))
        add_camera(shots, entry, ShotCamera(name, frame, camera, entry.where()))
    return Cameras(every, tuple(shots))


def _entries(clip: TomlTable) -> list[TomlTable]:
    """What a clip says of single shots."""
    entries = clip.tables("shot")
    for entry in entries:
        entry.only(*_SHOT_KEYS)
    return entries


def _pins(entry: TomlTable) -> bool:
    """Whether something is pinned there, or at least nothing is said of the camera instead."""
    return "camera" not in entry.data or "hit" in entry.data or "subject" in entry.data


def _require_own_shot(at: TomlTable, name: str | None, *, one_shot: bool) -> None:
    if one_shot and name not in (None, _ONE_SHOT):
        raise at.error("name", f"shot {name!r} of a clip with one_shot", _ONE_SHOT, "correct or remove it")


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
