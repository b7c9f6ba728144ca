"""Reading and writing what a person chose: a file of settings, or ``[settings]`` in a job or a plan.

fill = "hide"
subpixel = "eased"
align = false

[limits]                        # also [convergence], [window] and [story]
comfort = "arcmin"
children = true

[screen."tv-55in".window]       # only for that screen; also limits, convergence, story, fill, …
max_pct = 4.0

[[pin]]
shot = "s003"                   # or frame = 120, one that lies in the shot
hit = 0.4                       # or hit = [{ frame = 100, pct = 0.2 }, …] or subject = { frame, box, at_pct }
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import asdict, dataclass, field, replace
from pathlib import Path
from typing import Any, TypeVar

from postfix.errors import InputError
from postfix.limits import COMFORTS, LIMIT_SPANS, LimitRules, Span
from postfix.plan.model import HitKey, Pin, Subject
from postfix.plan.screens import describe, is_measures, load_toml
from postfix.plan.settings import (
    FILLS,
    HIT_MAX_PCT,
    SPANS,
    SUBPIXEL,
    ConvergenceSettings,
    PlanSettings,
    StorySettings,
    WindowSettings,
)
from postfix.plan.toml_tables import TomlTable
from postfix.viewing import CHILD_EYE_MM

_PARTS = ("limits", "convergence", "window", "story", "fill", "subpixel", "align")
_HIT = Span(-HIT_MAX_PCT, HIT_MAX_PCT, "percent of width")
_Section = TypeVar("_Section", ConvergenceSettings, WindowSettings, StorySettings)


def settings_from(table: TomlTable, base: PlanSettings) -> PlanSettings:
    """What a TOML table says about settings; the rest is as in ``base``.

    Raises
    ------
    InputError
        Names file, line, key, what was found, what was expected and what to do.
    """
    table.only(*_PARTS)
    fill = table.one_of("fill", FILLS, base.fill)
    return PlanSettings(
        limits=_limits(table.table("limits"), base.limits),
        convergence=_section(table.table("convergence"), base.convergence),
        window=_section(table.table("window"), base.window),
        story=_section(table.table("story"), base.story),
        fill=fill,
        subpixel=table.one_of("subpixel", SUBPIXEL, base.subpixel),
        align=table.get("align", bool, "true or false", base.align),
    )


def settings_data(settings: PlanSettings) -> dict[str, Any]:
    """The reverse of :func:`settings_from`: each section as a dict, the rest as it is.

    What is None is left out, so that reading it on the default settings gives the same settings back.
    """
    limits = {key: value for key, value in asdict(settings.limits).items() if value is not None and key != "given_in"}
    return {
        "fill": settings.fill,
        "subpixel": settings.subpixel,
        "align": settings.align,
        "limits": limits,
        "convergence": asdict(settings.convergence),
        "window": asdict(settings.window),
        "story": asdict(settings.story),
    }


@dataclass(frozen=True, eq=False)
class SettingsFile:
    """A file of settings; without one, the defaults.

    Attributes
    ----------
    base : PlanSettings
        For every screen.
    by_screen : mapping of str to TomlTable
        What differs on a screen, by its name.
    pins : tuple of Pin
    """

    base: PlanSettings = field(default_factory=PlanSettings)
    by_screen: Mapping[str, TomlTable] = field(default_factory=dict)
    pins: tuple[Pin, ...] = ()

    def for_screen(self, name: str) -> PlanSettings:
        """The settings for the screen of that name."""
        return settings_from(self.by_screen[name], self.base) if name in self.by_screen else self.base

    def require_screens(self, known: Iterable[str]) -> None:
        """Raise InputError where the file speaks of a screen that is neither ``known`` nor typed as 8500x12000."""
        names = tuple(known)
        for name, table in self.by_screen.items():
            if name not in names and not is_measures(name):
                expected = f"one of {', '.join(names)}"
                raise InputError(table.where(), f"the unknown screen {name!r}", expected, "correct or remove its name")


def read_settings(path: Path) -> SettingsFile:
    """Read a file of settings; every key is checked, for the screens too.

    Raises
    ------
    InputError
        Where it is missing or cannot be meant; names file, line and key.
    """
    text, data = load_toml(path, "a file of settings")
    root = TomlTable(path, text, None, 0, data)
    root.only(*_PARTS, "screen", "pin")
    screens = root.table("screen")
    read = SettingsFile(
        base=settings_from(root.without("screen", "pin"), PlanSettings()),
        by_screen={name: screens.table(name) for name in screens.data},
        pins=pins_from(root),
    )
    for name in read.by_screen:
        read.for_screen(name)
    return read


def pins_from(table: TomlTable, key: str = "pin") -> tuple[Pin, ...]:
    """The pins under a key of a table, such as ``[[pin]]`` or ``[[clip.pin]]``; none where there is no such key.

    Whether their shots and frames exist, and boxes lie in the picture, is not known here.

    Raises
    ------
    InputError
        As :func:`settings_from`.
    """
    pins: list[Pin] = []
    for entry in table.tables(key):
        pin = pin_of(entry, "shot")
        for other in pins:
            if (pin.shot, pin.frame) == (other.shot, other.frame):
                name = "shot" if pin.shot is not None else "frame"
                raise entry.error(name, f"the shot of the pin in {other.where}", "one pin a shot", "remove one of them")
        pins.append(pin)
    return tuple(pins)


def pin_of(table: TomlTable, name_key: str) -> Pin:
    """The pin that a table describes; ``name_key`` is the key that holds the name of the shot."""
    table.only(name_key, "frame", "hit", "subject")
    shot = table.get(name_key, str, "the name of a shot, in quotation marks") if name_key in table.data else None
    if shot is not None and not shot.strip():
        raise table.error(name_key, describe(shot), "the name of a shot", "correct it")
    frame = table.integer("frame", 0) if "frame" in table.data else None
    if shot is not None and frame is not None:
        raise table.error("frame", f"both {name_key} and frame", "one of them", "remove one")
    hit, subject = hit_from(table, frame or 0), subject_from(table)
    if hit and subject is not None:
        raise table.error("hit", "both hit and subject", "one of them, since hit follows from a subject", "remove one")
    if not hit and subject is None:
        raise table.error("hit", "neither hit nor subject", "one of them", "add hit, in percent of width")
    if shot is None and frame is None:
        if subject is None:
            raise table.error(name_key, f"neither {name_key} nor frame", "one of them", "say which shot is meant")
        frame = subject.frame
    return Pin(shot, frame, hit, subject, table.where())


def hit_from(table: TomlTable, frame: int = 0) -> tuple[HitKey, ...]:
    """``hit`` of a table: a number, which is held and gets ``frame``, or key frames in rising order; () without it."""
    value = table.data.get("hit")
    if value is None:
        return ()
    if not isinstance(value, list):
        return (HitKey(frame, table.checked("hit", value, _HIT.holds, f"{_HIT}, or a list of frames")),)
    keys: list[HitKey] = []
    for index, entry in enumerate(value):
        key = f"hit[{index}]"
        if not isinstance(entry, dict) or set(entry) != {"frame", "pct"}:
            raise table.error(key, describe(entry), "{ frame, pct }", "write both of these and no more")
        least = keys[-1].frame + 1 if keys else 0
        at = _whole(table, f"{key}.frame", entry["frame"], least, "a frame, {}, in rising order")
        keys.append(HitKey(at, table.checked(f"{key}.pct", entry["pct"], _HIT.holds, str(_HIT))))
    if not keys:
        raise table.error("hit", "an empty list", "at least one { frame, pct }", "add one or remove hit")
    return tuple(keys)


def subject_from(table: TomlTable, key: str = "subject") -> Subject | None:
    """A subject and the parallax that it shall have; None without that key."""
    return subject_of(table.table(key)) if key in table.data else None


def subject_of(entry: TomlTable) -> Subject:
    """The subject that a table describes."""
    entry.only("frame", "box", "at_pct")
    box = entry.get("box", list, "[x, y, width, height] in pixels")
    if len(box) != 4:
        raise entry.error("box", describe(box), "[x, y, width, height] in pixels", "write four whole numbers")
    x, y, width, height = (
        _whole(entry, "box", value, least, f"for {name} a whole number of pixels, {{}}")
        for name, value, least in zip(("x", "y", "width", "height"), box, (0, 0, 1, 1))
    )
    at_pct = entry.number("at_pct", _HIT.holds, str(_HIT))
    return Subject(entry.integer("frame", 0), (x, y, width, height), at_pct)


def _whole(table: TomlTable, key: str, value: object, least: int, expected: str) -> int:
    if isinstance(value, bool) or not isinstance(value, int) or not least <= value < 2**31:
        raise table.error(key, describe(value), expected.format(f"{least} or more"), "correct it")
    return value


def _limits(table: TomlTable, base: LimitRules) -> LimitRules:
    table.only("comfort", "children", *LIMIT_SPANS)
    if not table.data:
        return base
    comfort = table.get("comfort", str, f"one of {', '.join(COMFORTS)}", base.comfort)
    if comfort not in COMFORTS:
        raise table.error("comfort", describe(comfort), f"one of {', '.join(COMFORTS)}", "choose one of these")
    changed: dict[str, Any] = {
        key: table.number(key, span.holds, str(span)) for key, span in LIMIT_SPANS.items() if key in table.data
    }
    if "children" in table.data:
        children = table.get("children", bool, "true or false")
        if "eye_mm" in table.data:
            raise table.error("children", "both children and eye_mm", "one of them", "remove one")
        changed["eye_mm"] = CHILD_EYE_MM if children else None
    given_in = "; ".join(part for part in (base.given_in, table.where()) if part)
    return replace(base, comfort=comfort, given_in=given_in, **changed)


def _section(table: TomlTable, base: _Section) -> _Section:
    """Numbers, whole numbers, and what is true or false, each as the default's kind is."""
    defaults: dict[str, Any] = asdict(base)
    table.only(*defaults)
    changed: dict[str, Any] = {}
    for key in table.data:
        if isinstance(defaults[key], bool):
            changed[key] = table.get(key, bool, "true or false")
            continue
        span = SPANS[type(base)][key]
        if isinstance(defaults[key], int):
            table.integer(key, int(span.low))
        value = table.number(key, span.holds, str(span))
        changed[key] = int(value) if isinstance(defaults[key], int) else value
    return replace(base, **changed)
