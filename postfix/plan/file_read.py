"""Reading a plan file that a person may have edited: every key is checked, and what a person decided is told apart."""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence
from dataclasses import replace
from fractions import Fraction
from pathlib import Path
from typing import Any

from postfix.errors import InputError
from postfix.limits import LimitRules, Limits, Span, limits_for
from postfix.measure.table import ClipInfo
from postfix.outside import MAX_FRAMES, MAX_SIDE_PX
from postfix.plan.camera_table import camera_from
from postfix.plan.decided import LIMIT_NAMES, checksums, limit_checksums
from postfix.plan.model import PARTS, HitKey, Misalignment, Part, Plan, ShotPlan, Subject, WindowKey
from postfix.plan.screens import describe, load_toml, screen_from
from postfix.plan.settings import FILLS, PlanSettings
from postfix.plan.settings_file import hit_from, settings_from, subject_from
from postfix.plan.toml_tables import TomlTable
from postfix.viewing import Screen

EXPECTED = "a plan with [screen], [limits], [clip] and [[shot]]"

_SHOT_KEYS = (
    "name", "first", "last", "hit", "zoom", "fill", "window", "window_soft_px", "window_opacity_pct", "subpixel",
    "align", "misalignment", "subject", "subject_found", "camera", "as_planned", "locked", "reason",
)  # fmt: skip

_WIDTH_MAX_PX = 1e5  # wider than any picture; what is wider than this one hides all of it

_MOST_ASIDE_SHARE = 0.25  # of the height; far beyond what could still be seen as one picture

Box = tuple[int, int, int, int]


def read_plan(path: Path) -> Plan:
    """Read a plan file, written by :func:`postfix.plan.file.plan_text` or edited by a person; every key is checked.

    Of a shot, ``name``, ``first`` and ``last`` must be there; the rest has the defaults of
    :class:`postfix.plan.model.ShotPlan`. What is there without the checksum of what the program decided is by hand.

    Raises
    ------
    InputError
        Names file, line, key, what was found and what was expected.
    """
    text, data = load_toml(path, EXPECTED)
    return plan_from(path, text, data)


def plan_from(path: Path, text: str, data: dict[str, Any]) -> Plan:
    """The plan in the content of a file; ``path`` and ``text`` are for messages.

    Raises
    ------
    InputError
        As :func:`read_plan`.
    """
    root = TomlTable(path, text, None, 0, data)
    root.only("screen", "limits", "clip", "settings", "shot")
    screen = screen_from(root.get("screen", dict, "a table"), path, text, "screen", 0, is_list=False)
    settings = settings_from(root.table("settings"), PlanSettings())
    limits = _limits(_table(root, "limits"), screen, settings.limits)
    clip, count = _clip(_table(root, "clip"))
    shots = _shots(root, clip, count)
    return Plan(screen, limits, clip, shots, settings)


def _table(root: TomlTable, key: str) -> TomlTable:
    root.get(key, dict, "a table")
    return root.table(key)


def _limits(table: TomlTable, screen: Screen, rules: LimitRules) -> Limits:
    """The limits that stand there; a figure whose line was removed is what the rules give."""
    table.only("near_pct", "far_pct", "range_pct", "near_rule", "far_rule", "range_rule", "as_planned")
    missing = [name for name in LIMIT_NAMES if f"{name}_pct" not in table.data]
    given = limits_for(screen, rules) if missing else None

    def pct(name: str, test: Callable[[float], bool], expected: str) -> float:
        by_rule = None if given is None or name not in missing else float(getattr(given, f"{name}_pct"))
        return table.number(f"{name}_pct", test, expected, by_rule)

    def rule(name: str) -> str:
        written = str(table.get(f"{name}_rule", str, "text", ""))
        return written if given is None or name not in missing else str(getattr(given, f"{name}_rule"))

    limits = Limits(
        near_pct=pct("near", lambda value: abs(value) <= 1e4, "percent of picture width"),
        far_pct=pct("far", lambda value: abs(value) <= 1e4, "percent of picture width"),
        range_pct=pct("range", lambda value: 0.0 < value <= 1e4, "percent of picture width, more than 0"),
        near_rule=rule("near"),
        far_rule=rule("far"),
        range_rule=rule("range"),
    )
    if limits.near_pct >= limits.far_pct and "near" in missing:
        expected = f"more than {limits.near_pct:g}, the near limit that the rules give"
        raise table.error("far_pct", describe(limits.far_pct), expected, "correct it, or write near_pct too")
    if limits.near_pct >= limits.far_pct:
        expected = f"less than far_pct, {limits.far_pct:g}"
        raise table.error("near_pct", describe(limits.near_pct), expected, "swap or correct them")
    stored, now = _stored_checksums(table, LIMIT_NAMES), limit_checksums(limits)
    by_hand = tuple(name for name in LIMIT_NAMES if name not in missing and stored.get(name) != now[name])
    return replace(limits, by_hand=by_hand)


def _clip(table: TomlTable) -> tuple[ClipInfo, int]:
    table.only("name", "width_px", "height_px", "frames", "rate", "step_px", "footage", "spare_px", "pixel_aspect")
    rate = _share(table, "rate", 'a rate in quotation marks, such as "24" or "24000/1001"')
    aspect = _share(table, "pixel_aspect", 'width over height of a pixel in quotation marks, such as "2" or "4/3"', "1")
    footage = table.get("footage", str, "text", "")
    if "footage" in table.data and re.fullmatch(r"[0-9a-f]{16}", footage) is None:
        expected = "16 hexadecimal digits in small letters, as the program wrote them"
        raise table.error("footage", describe(footage), expected, "restore them, or remove the line")
    clip = ClipInfo(
        name=table.get("name", str, "text"),
        width_px=_at_most(table, "width_px", MAX_SIDE_PX, "pixels"),
        height_px=_at_most(table, "height_px", MAX_SIDE_PX, "pixels"),
        rate=rate,
        step_px=table.integer("step_px", 1),
        footage=footage,
        spare_px=table.integer("spare_px", 0, 0),
        pixel_aspect=aspect,
    )
    return clip, _at_most(table, "frames", MAX_FRAMES, "frames")


def _at_most(table: TomlTable, key: str, most: int, unit: str) -> int:
    """A whole number from 1 to ``most``: what is allocated for it must be no more than a film needs."""
    value = table.integer(key, 1)
    if value > most:
        raise table.error(key, describe(value), f"at most {most} {unit}", "correct it")
    return value


def _share(table: TomlTable, key: str, expected: str, default: str | None = None) -> Fraction:
    """A number above 0 as whole numbers, one over the other where it is no whole one."""
    text = table.get(key, str, expected) if default is None else table.get(key, str, expected, default)
    match = re.fullmatch(r"([1-9][0-9]{0,9})(?:/([1-9][0-9]{0,9}))?", text, re.ASCII)
    if match is None:
        raise table.error(key, describe(text), expected, "correct it")
    return Fraction(int(match[1]), int(match[2] or 1))


def _shots(root: TomlTable, clip: ClipInfo, count: int) -> tuple[ShotPlan, ...]:
    """All shots; they cover ``count`` frames once, in order, and bear different names."""
    shots: list[ShotPlan] = []
    names: set[str] = set()
    root.get("shot", list, "[[shot]] entries")
    for table in root.tables("shot"):
        shot = _shot(table, shots[-1].last + 1 if shots else 0, count, clip)
        if shot.name in names:
            raise table.error("name", f"a second shot named {shot.name!r}", "every name once", "rename one")
        names.add(shot.name)
        shots.append(shot)
    expected = f"shots up to the clip's last frame {count - 1}"
    if not shots:
        raise root.error("shot", "no shots", expected, "cover every frame once")
    if shots[-1].last != count - 1:
        raise table.error("last", f"the last shot's end at frame {shots[-1].last}", expected, "cover every frame once")
    return tuple(shots)


def _shot(table: TomlTable, start: int, count: int, clip: ClipInfo) -> ShotPlan:
    table.only(*_SHOT_KEYS)
    name = table.get("name", str, "text")
    first = table.integer("first", 0)
    if first != start:
        raise table.error("first", str(first), f"{start}, the frame after the shot before", "cover every frame once")
    last = table.integer("last", first)
    if last >= count:
        raise table.error("last", str(last), f"at most {count - 1}, the clip's last frame", "cover every frame once")
    fill = table.one_of("fill", FILLS, "hide")
    window = tuple(
        WindowKey(frame, _widths(table, entry, index, "left_px"), _widths(table, entry, index, "right_px"))
        for index, (frame, entry) in enumerate(_window_entries(table, first, last))
    )
    soft, opacity = "window_soft_px", "window_opacity_pct"
    shot = ShotPlan(
        name=name,
        first=first,
        last=last,
        hit=_hit(table, first, last),
        zoom=table.number("zoom", lambda value: 1.0 <= value <= 10.0, "a factor from 1 to 10", 1.0),
        fill=fill,
        window=window,
        window_soft_px=table.number(soft, lambda px: 0.0 <= px <= _WIDTH_MAX_PX, "pixels, 0 or more", 0.0),
        window_opacity_pct=table.number(opacity, lambda pct: 0.0 <= pct <= 100.0, "percent from 0 to 100", 100.0),
        subpixel=table.get("subpixel", bool, "true or false", False),
        align=table.get("align", bool, "true or false", False),
        misalignment=_misalignment(table, clip),
        subject=_subject(table, first, last, clip),
        locked=table.get("locked", bool, "true or false", False),
        reason=table.get("reason", str, "text", ""),
        camera=camera_from(table.table("camera")),
    )
    by_hand = _by_hand(table, shot)
    return replace(shot, by_hand=by_hand) if by_hand else shot


def _misalignment(table: TomlTable, clip: ClipInfo) -> Misalignment | None:
    """How the right eye's picture lies against the left's; there, where the shot is to be aligned."""
    spans = {
        "vertical_px": Span(-_MOST_ASIDE_SHARE * clip.height_px, _MOST_ASIDE_SHARE * clip.height_px, "pixels"),
        "rotation_deg": Span(-10.0, 10.0, "degrees"),
        "size_pct": Span(-20.0, 20.0, "percent"),
    }
    names = f"misalignment = {{ {', '.join(spans)} }}, or those of them that are known"
    if "misalignment" not in table.data:
        if table.data.get("align", False):
            raise table.error("align", "true, and no misalignment to take out", names, "add it, or remove align")
        return None
    entry = table.table("misalignment")
    entry.only(*spans)
    if not entry.data:
        raise table.error("misalignment", "an empty table", names, "write what is known, or remove it")
    return Misalignment(**{key: entry.number(key, spans[key].holds, str(spans[key])) for key in entry.data})


def _hit(table: TomlTable, first: int, last: int) -> tuple[HitKey, ...]:
    """HIT of a shot; 0 over all of it where none is given."""
    keys = hit_from(table, first) or (HitKey(first, 0.0),)
    for index, key in enumerate(keys):
        if not first <= key.frame <= last:
            raise _not_in_shot(table, f"hit[{index}].frame", key.frame, first, last)
    return keys


def _window_entries(table: TomlTable, first: int, last: int) -> list[tuple[int, dict[str, Any]]]:
    """Frame and content of each entry of ``window``, in order and inside the shot."""
    known = ("frame", "left_px", "right_px")
    entries: list[tuple[int, dict[str, Any]]] = []
    for index, entry in enumerate(table.get("window", list, "a list of entries in brackets", [])):
        key = f"window[{index}]"
        if not isinstance(entry, dict) or set(entry) != set(known):
            raise table.error(key, describe(entry), f"{{ {', '.join(known)} }}", "write all of these and no more")
        frame = entry["frame"]
        least = entries[-1][0] + 1 if entries else first
        if not _is_whole(frame) or not least <= frame <= last:
            raise _not_in_shot(table, f"{key}.frame", frame, least, last)
        entries.append((frame, entry))
    return entries


def _not_in_shot(table: TomlTable, key: str, frame: object, least: int, last: int) -> InputError:
    expected = f"a frame of the shot from {least} to {last}" if least <= last else "no more entries"
    return table.error(key, describe(frame), expected, "keep to the shot's frames, in rising order")


def _widths(table: TomlTable, entry: dict[str, Any], index: int, side: str) -> tuple[float, float]:
    pair = entry[side]
    key = f"window[{index}].{side}"
    if not isinstance(pair, list) or len(pair) != 2:
        raise table.error(key, describe(pair), "[top, bottom] in pixels", "write two numbers in brackets")
    top, bottom = (
        table.checked(key, value, lambda px: 0.0 <= px <= _WIDTH_MAX_PX, "pixels, 0 or more") for value in pair
    )
    return top, bottom


def _subject(table: TomlTable, first: int, last: int, clip: ClipInfo) -> Subject | None:
    """What a person wants to lie at a given depth, with the parallax found there if it is of the same box."""
    found = _found(table) if "subject_found" in table.data else None
    subject = subject_from(table)
    if subject is None:
        return None
    if not first <= subject.frame <= last:
        raise _not_in_shot(table, "subject.frame", subject.frame, first, last)
    x, y, width, height = subject.box
    if x + width > clip.width_px or y + height > clip.height_px:
        expected = f"a box inside the picture of {clip.width_px}x{clip.height_px} pixels"
        raise table.error("subject.box", describe(list(subject.box)), expected, "correct x, y, width or height")
    if found is None or found[:2] != (subject.frame, subject.box):
        return subject
    return replace(subject, found_pct=found[2])


def _found(table: TomlTable) -> tuple[int, Box, float]:
    """Frame, box and parallax of the last look at a subject; they may be of another one than is asked for now."""
    entry = table.table("subject_found")
    entry.only("frame", "box", "pct")
    box = entry.get("box", list, "[x, y, width, height] in pixels")
    if len(box) != 4 or not all(_is_whole(number) for number in box):
        expected = "[x, y, width, height] in whole pixels"
        raise entry.error("box", describe(box), expected, "restore it, or remove subject_found")
    x, y, width, height = box
    pct = entry.number("pct", lambda value: abs(value) <= 100.0, "percent of width from -100 to 100")
    return entry.integer("frame", 0), (x, y, width, height), pct


def _is_whole(value: object) -> bool:
    return isinstance(value, int) and not isinstance(value, bool)


def _by_hand(table: TomlTable, shot: ShotPlan) -> tuple[Part, ...]:
    """The parts that a person decided: there, and not with the checksum of what is there.

    A part whose line was removed is to be decided anew, whatever else is said of it beside; where the program never
    decided it, a zoom, a soft edge, an opacity or a misalignment that says something is a decision too.
    """
    stored = _stored_checksums(table, PARTS)
    beside = {
        "hit": shot.zoom != 1.0,
        "window": shot.window_soft_px != 0.0 or shot.window_opacity_pct != 100.0,
        "align": shot.misalignment is not None,
    }
    present = {part for part in PARTS if part in table.data or (part not in stored and beside.get(part, False))}
    if not present:
        return ()
    digits_now = checksums(shot)
    return tuple(part for part in PARTS if part in present and stored.get(part) != digits_now[part])


def _stored_checksums(table: TomlTable, names: Sequence[str]) -> dict[str, str]:
    """What ``as_planned`` of a table says of these names."""
    marks = table.table("as_planned")
    marks.only(*names)
    for name, digits in marks.data.items():
        if not isinstance(digits, str) or re.fullmatch(r"[0-9a-f]{8}", digits) is None:
            expected = "8 hexadecimal digits, as the program wrote them"
            raise marks.error(name, describe(digits), expected, "restore or remove it")
    return marks.data
