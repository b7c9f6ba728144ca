"""Many clips at once: the job file.

screens = ["cinema-12m", "tv-55in"]     # used where a clip names none of its own
screen_tables = ["screens.toml"]        # optional: tables of your own screens
settings_file = "settings.toml"         # optional: what follows goes over it

[settings.window]                       # also limits, convergence and fill: for every clip
max_pct = 5.0

[settings.screen."tv-55in".window]      # the same on one screen
max_pct = 4.0

[camera]                                # how every clip was filmed; as a file for --camera has it
sensor_width_mm = 24.89

[[clip]]
name = "lane"
left = "lane_left.mov"                  # relative to the job file, as every path
right = "lane_right.mov"
pair = "lane.mkv"                       # instead of left and right: what holds both eyes
layout = "side-by-side"                 # how; without it the file itself must say
frame = "1998x1080"                     # optional: the frame that is delivered
rate = "24"                             # stills only
frames = "0-95"
edit = "film.edl"
one_shot = false
offset = 0                              # frames by which the file given as right is late
swap = false                            # true: what is given as left is the right eye
screens = ["cinema-20m"]
subject = { frame = 40, box = [900, 400, 200, 300], at_pct = 0.0 }      # or a list: each for the shot it lies in
hit = 0.4                               # only with one_shot
camera = { interaxial_mm = 65 }         # of this clip, over that of the job

[clip.settings.window]                  # for this clip
max_pct = 3.0

[clip.settings.screen."cinema-20m".limits]      # for this clip on one screen
children = true

[[clip.shot]]
name = "s003"                           # or frame = 120, any frame of it
hit = 0.4                               # or a list of { frame, pct }, or subject = { … }
camera = { interaxial_mm = 40 }         # of this shot; with or without a hit or a subject
"""

from __future__ import annotations

import json
import os
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path

from postfix.deliver.own import PAGE, PAGE_FOLDER
from postfix.errors import InputError, UsageError
from postfix.job.choice import SourceChoice
from postfix.job.file_clip import choice_of, parse_frame_size, parse_frames, path_of, text_of, told_of_key
from postfix.job.pins import check_fit, clip_cameras, clip_pins
from postfix.limits import limits_for
from postfix.outside import folder_key, is_folder_name
from postfix.plan.camera_table import camera_from
from postfix.plan.cameras import Cameras
from postfix.plan.model import Pin
from postfix.plan.screens import describe, load_toml, read_screen, read_screens
from postfix.plan.settings import PlanSettings
from postfix.plan.settings_file import SettingsFile, read_settings, settings_from
from postfix.plan.toml_tables import TomlTable
from postfix.source.shots import Shot
from postfix.viewing import BUILTIN_SCREENS, Screen

__all__ = ["JobClip", "check_limits", "check_pins", "parse_frame_size", "parse_frames", "read_job"]

_EXPECTED = "a job file with [[clip]] tables"
_JOB_KEYS = ("on_bad_frame", "screens", "screen_tables", "settings_file", "settings", "camera", "clip")
_CLIP_KEYS = (
    *(
        "name",
        "left",
        "right",
        "pair",
        "layout",
        "frame",
        "rate",
        "frames",
        "edit",
        "one_shot",
        "offset",
        "swap",
        "screens",
    ),
    *("on_bad_frame", "subject", "hit", "camera", "settings", "shot"),
)
MAX_CLIPS = 10_000

_TAKEN = (PAGE, PAGE_FOLDER)
"""What a run writes beside the folders of its clips."""


@dataclass(frozen=True)
class JobClip:
    """One clip of a job."""

    name: str
    choice: SourceChoice
    screens: tuple[Screen, ...]
    inputs: tuple[Path, ...] = ()
    """Files besides the footage that were read for it: job file, settings, tables of screens, edit list."""
    pins: tuple[Pin, ...] = ()
    settings: Mapping[str, PlanSettings] = field(default_factory=dict)
    """What was chosen, by the name of the screen; empty for the defaults on every screen."""
    cameras: Cameras = field(default_factory=Cameras)
    """How its shots were filmed, as far as it was noted."""

    def settings_for(self, screen_name: str) -> PlanSettings:
        """What a person chose for this clip on the screen of that name.

        Of a clip from a job file any screen may be asked for, also one that it is not made for.
        """
        return self.settings[screen_name] if self.settings else PlanSettings()


@dataclass(frozen=True, eq=False)
class _Layers(Mapping[str, PlanSettings]):
    """A file of settings and ``settings`` tables over it; of each the part for a screen goes over the rest.

    Has the settings for every name; ``screens`` are the names that the clip is made for.
    """

    file: SettingsFile
    tables: tuple[TomlTable, ...]
    screens: tuple[str, ...]

    def __getitem__(self, screen_name: str) -> PlanSettings:
        settings = self.file.for_screen(screen_name)
        for table in self.tables:
            settings = settings_from(table.without("screen"), settings)
            screens = table.table("screen")
            if screen_name in screens.data:
                settings = settings_from(screens.table(screen_name), settings)
        return settings

    def __iter__(self) -> Iterator[str]:
        return iter(self.screens)

    def __len__(self) -> int:
        return len(self.screens)


@dataclass(frozen=True, eq=False)
class _Job:
    """What stands before the clips. ``typed`` screens, where there are any, are made in place of those in the file."""

    root: TomlTable
    tables: tuple[Path, ...]
    typed: tuple[Screen, ...]
    settings_file: SettingsFile
    inputs: tuple[Path, ...]
    known: dict[str, Screen]

    def screens_of(self, table: TomlTable) -> tuple[Screen, ...]:
        """The screens that a table names, each once; none where it has no such key."""
        screens: list[Screen] = []
        for name in table.get("screens", list, "a list of names of screens", []):
            if not isinstance(name, str):
                raise table.error("screens", describe(name), "names of screens in quotes", "correct it")
            if name not in self.known:
                try:
                    self.known[name] = read_screen(name, self.tables)
                except UsageError as error:
                    raise told_of_key(table, "screens", error) from None
            if folder_key(self.known[name].name) in {folder_key(screen.name) for screen in screens}:
                raise table.error("screens", f"{name!r} twice", "each screen once", "leave the second one out")
            screens.append(self.known[name])
        return tuple(screens)


def read_job(path: Path, screen_tables: tuple[Path, ...] = (), screens: tuple[Screen, ...] = ()) -> tuple[JobClip, ...]:
    """Read a job file; every key is checked, and nothing of the footage is opened yet.

    Parameters
    ----------
    path : Path
    screen_tables : tuple of Path
        Besides those that the file names, whose names go before these.
    screens : tuple of Screen
        Made in place of those in the file, where there are any.

    Raises
    ------
    InputError
        Where it is missing, cannot be meant or contradicts itself; names the line and key.
    """
    job = _opened(path, screen_tables, screens)
    entries = job.root.tables("clip")
    if not 1 <= len(entries) <= MAX_CLIPS:
        raise job.root.error("clip", f"{len(entries)} clips", _EXPECTED, "write a [[clip]] table for each clip")
    default = job.screens_of(job.root)
    clips: list[JobClip] = []
    made: set[str] = set()
    names: dict[str, str] = {}
    footage: dict[object, str] = {}
    for table in entries:
        table.only(*_CLIP_KEYS)
        name = _clip_name(table, names)
        choice = choice_of(job.root, table)
        _require_new_footage(table, choice, name, footage)
        written = job.screens_of(table) if "screens" in table.data else default
        made |= {screen.name for screen in written}
        clips.append(_clip(job, table, name, choice, written))
    _require_made(job.root.table("settings"), made | {screen.name for screen in job.typed}, "the job")
    return tuple(clips)


def check_limits(clip: JobClip) -> None:
    """Refuse limits that contradict each other on a screen of the clip; InputError says where they were given."""
    for screen in clip.screens:
        limits_for(screen, clip.settings_for(screen.name).limits)


def check_pins(clip: JobClip, count: int, width_px: int, height_px: int, shots: Sequence[Shot] = ()) -> None:
    """Refuse pins and cameras that the footage cannot hold, before anything of it is measured.

    Parameters
    ----------
    clip : JobClip
    count : int
        Frames of the clip.
    width_px, height_px : int
        Of its pictures.
    shots : sequence of Shot
        The clip's own, where they are known before it is measured; without them only frames and boxes are checked.

    Raises
    ------
    InputError
        Names file, line and key, what was found and what was expected.
    """
    check_fit(clip.pins, count, (width_px, height_px), shots)
    clip.cameras.require_fit(count, shots)


def _opened(path: Path, screen_tables: tuple[Path, ...], typed: tuple[Screen, ...]) -> _Job:
    text, data = load_toml(path, _EXPECTED)
    root = TomlTable(path, text, None, 0, data)
    root.only(*_JOB_KEYS)
    camera_from(root.table("camera"))
    named = root.get("screen_tables", list, "a list of files with tables of screens", [])
    tables = (*screen_tables, *(path_of(root, "screen_tables", table) for table in named))
    inputs, settings = (path, *tables), SettingsFile()
    if "settings_file" in root.data:
        place = path_of(root, "settings_file", root.data["settings_file"])
        inputs, settings = (*inputs, place), read_settings(place)
        own = [name for table in tables for name in read_screens(table)]
        settings.require_screens([*BUILTIN_SCREENS, *own, *(screen.name for screen in typed)])
        if settings.pins:
            raise InputError(
                f"{settings.pins[0].where}, pin",
                "a pin in the settings of a whole job",
                "pins with the clip that they are for",
                f"write it as [[clip.shot]] in {path.name}",
            )
    return _Job(root, tables, typed, settings, inputs, {})


def _clip(job: _Job, table: TomlTable, name: str, choice: SourceChoice, written: tuple[Screen, ...]) -> JobClip:
    screens = job.typed or written
    if not screens:
        raise table.error("screens", "no screens", "at least one screen", 'add screens = ["cinema-12m"]')
    own = table.table("settings")
    _require_made(own, {screen.name for screen in (*written, *job.typed)}, f"clip {name!r}")
    clip = JobClip(
        name=name,
        choice=choice,
        screens=screens,
        inputs=job.inputs if choice.edit is None else (*job.inputs, choice.edit),
        pins=clip_pins(table, one_shot=choice.one_shot),
        settings=_Layers(
            job.settings_file, (job.root.table("settings"), own), tuple(screen.name for screen in screens)
        ),
        cameras=clip_cameras(job.root, table, one_shot=choice.one_shot),
    )
    for screen in written:  # also those that are not made because others were typed
        clip.settings_for(screen.name)
    check_limits(clip)
    return clip


def _clip_name(table: TomlTable, names: dict[str, str]) -> str:
    """The clip's name, which is also that of its folder, so that capitals alone do not tell two apart."""
    name = text_of(table, "name")
    if not is_folder_name(name):
        raise table.error("name", describe(name), "a name that can be a folder", "use letters, digits, - and _")
    key = folder_key(name)
    if key in _TAKEN:
        raise table.error("name", describe(name), "a name that the review page does not need", "choose another")
    if key in names:
        found = f"a second clip {name!r}, after the one in {names[key]}"
        raise table.error("name", found, "a name for each clip", "rename one of them")
    names[key] = table.where("name")
    return name


def _require_new_footage(table: TomlTable, choice: SourceChoice, name: str, known: dict[object, str]) -> None:
    """The same pictures under two names would be two films to whoever gets them."""
    paths = (choice.left, choice.right, choice.pair)
    files = tuple(None if path is None else os.path.realpath(path) for path in paths)
    footage = (*files, choice.frames, choice.reading, choice.frame_px)
    if footage in known:
        raise table.error(
            "left" if choice.pair is None else "pair",
            f"the same footage, frames, offset and swap for {name!r} as for {known[footage]!r}",
            "every footage once",
            "name the screens of both in one clip, or choose other frames",
        )
    known[footage] = name


def _require_made(settings: TomlTable, made: set[str], who: str) -> None:
    screens = settings.table("screen")
    for name in screens.data:
        if name not in made:
            raise screens.error(
                json.dumps(name, ensure_ascii=False),
                f"settings for screen {name!r}",
                f"one that {who} is made for: {', '.join(sorted(made))}",
                "correct or remove its name, or add it to screens",
            )
