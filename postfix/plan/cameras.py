"""How the shots of an edit were filmed, as noted in a file: what holds for all of them, and what differs in one.

[camera]                        # of every shot
interaxial_mm = 65
focal_mm = 35
sensor_width_mm = 24.89         # the width that fills the picture
convergence_mm = 3000           # inf: parallel, pictures not shifted
rig = "parallel"                # or "toed-in"
near_mm = 1500                  # nearest and farthest thing, where that was noted
far_mm = inf

[[shot]]
name = "s003"                   # or frame = 120, any frame of it
interaxial_mm = 40              # goes over [camera]; what is left out stays
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from postfix.camera import Camera
from postfix.errors import InputError
from postfix.plan.camera_table import CAMERA_KEYS, camera_from
from postfix.plan.locked import Named
from postfix.plan.model import Plan
from postfix.plan.screens import describe, load_toml
from postfix.plan.toml_tables import TomlTable

_SHOT_KEYS = ("name", "frame")

_LAST_FRAME = 2**31 - 1


@dataclass(frozen=True)
class ShotCamera:
    """How one shot was filmed: the shot of that name, or that holds that frame of the clip."""

    shot: str | None
    frame: int | None
    camera: Camera | None
    where: str = ""
    """File and line that it comes from, for messages."""


@dataclass(frozen=True)
class Cameras:
    """How the shots of a clip were filmed, as far as it was noted; without any, nothing was.

    Attributes
    ----------
    every : Camera or None
        Of all shots that are not in ``shots``.
    shots : tuple of ShotCamera
    """

    every: Camera | None = None
    shots: tuple[ShotCamera, ...] = ()

    def for_shots(self, shots: Sequence[Named]) -> tuple[Camera | None, ...]:
        """The camera of each shot of a clip, in their order; None where nothing was noted.

        Raises
        ------
        InputError
            Where one is of no shot of these, or is a second one for the same shot.
        """
        cameras = [self.every] * len(shots)
        places = {shot.name: index for index, shot in enumerate(shots)}
        firsts = [shot.first for shot in shots]
        taken: dict[int, ShotCamera] = {}
        for one in self.shots:
            if one.shot is not None and one.shot not in places:
                some = ", ".join(list(places)[:6]) + (" …" if len(places) > 6 else "")
                found, expected = f"a camera for shot {one.shot!r}", f"a shot of the clip: {some}"
                raise InputError(f"{one.where}, name", found, expected, "correct it")
            self._require_inside(one, shots[-1].last + 1)
            index = places[one.shot] if one.shot is not None else bisect_right(firsts, one.frame or 0) - 1
            if index in taken:
                found = f"a second camera for shot {shots[index].name}, after the one in {taken[index].where}"
                raise InputError(one.where, found, "one for each shot", "remove one of them")
            taken[index] = one
            cameras[index] = one.camera
        return tuple(cameras)

    def require_fit(self, count: int, shots: Sequence[Named] = ()) -> None:
        """Refuse what a clip of ``count`` frames cannot have; without its ``shots`` only frames are looked at.

        Raises
        ------
        InputError
            As :meth:`for_shots`.
        """
        for one in self.shots:
            self._require_inside(one, count)
        if shots:
            self.for_shots(shots)

    @staticmethod
    def _require_inside(one: ShotCamera, count: int) -> None:
        if one.frame is not None and one.frame >= count:
            expected = f"a frame of the clip, 0 to {count - 1}"
            raise InputError(f"{one.where}, frame", f"frame {one.frame}", expected, "correct the frame")


def read_cameras(path: Path) -> Cameras:
    """Read a file of cameras; every key is checked, and may be left out.

    Whether the shots that it names exist is not known here.

    Raises
    ------
    InputError
        Where it is missing, or says what cannot be or can hardly be meant; names file, line and key.
    """
    text, data = load_toml(path, "a file of cameras with [camera] and [[shot]]")
    root = TomlTable(path, text, None, 0, data)
    root.only("camera", "shot")
    table = root.table("camera")
    every = camera_from(table)
    shots: list[ShotCamera] = []
    for entry in root.tables("shot"):
        entry.only(*_SHOT_KEYS, *CAMERA_KEYS)
        name, frame = shot_meant(entry)
        camera = camera_from(table, entry.without(*_SHOT_KEYS))
        add_camera(shots, entry, ShotCamera(name, frame, camera, entry.where()))
    return Cameras(every, tuple(shots))


def add_camera(shots: list[ShotCamera], entry: TomlTable, camera: ShotCamera) -> None:
    """Add to ``shots`` what an entry says of one; refuse, with an InputError, a second one for the same shot."""
    for other in shots:
        if (other.shot, other.frame) == (camera.shot, camera.frame):
            which = f"shot {camera.shot!r}" if camera.shot is not None else "this frame"
            raise entry.error(
                "name" if camera.shot is not None else "frame",
                f"a second camera for {which}, after the one in {other.where}",
                "one for each shot",
                "remove one of them",
            )
    shots.append(camera)


def cameras_in(path: Path | None) -> Cameras:
    """The cameras of a file, or none where no file was given."""
    return Cameras() if path is None else read_cameras(path)


def with_cameras(plan: Plan, cameras: Cameras, previous: Plan | None = None) -> Plan:
    """The plan with what was noted of how its shots were filmed; nothing else changes, nothing becomes by hand.

    A shot of which ``cameras`` say nothing keeps what the same frames have in ``previous``, else what it has.

    Parameters
    ----------
    plan : Plan
    cameras : Cameras
    previous : Plan, optional
        The plan that this one is an update of.

    Raises
    ------
    InputError
        As :meth:`Cameras.for_shots`.
    """
    earlier = {} if previous is None else {(shot.first, shot.last): shot.camera for shot in previous.shots}
    shots = tuple(
        replace(shot, camera=noted or earlier.get((shot.first, shot.last)) or shot.camera)
        for shot, noted in zip(plan.shots, cameras.for_shots(plan.shots))
    )
    return plan if shots == plan.shots else replace(plan, shots=shots)


def shot_meant(entry: TomlTable) -> tuple[str | None, int | None]:
    """Name, or frame, of the shot that an entry is for."""
    name = entry.get("name", str, "the name of a shot, in quotation marks") if "name" in entry.data else None
    if name is not None and not name.strip():
        raise entry.error("name", describe(name), "the name of a shot", "correct it")
    written = entry.data.get("frame")
    if isinstance(written, int) and written > _LAST_FRAME:
        raise entry.error("frame", describe(written), f"a whole number up to {_LAST_FRAME}", "correct it")
    frame = entry.integer("frame", 0) if "frame" in entry.data else None
    if name is not None and frame is not None:
        raise entry.error("frame", "both name and frame", "one of them", "remove one")
    if name is None and frame is None:
        raise entry.error("name", "neither name nor frame", "one of them", "say which shot is meant")
    return name, frame
