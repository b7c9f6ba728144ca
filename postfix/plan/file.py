"""The plan as a TOML file that a person may read, edit and render again."""

from __future__ import annotations

import re
from fractions import Fraction
from pathlib import Path
from typing import Any

import tomlkit
from tomlkit.items import Array as TomlArray

from postfix.limits import Limits
from postfix.measure.table import ClipInfo
from postfix.plan.convergence import HIT_MAX_PCT
from postfix.plan.model import HitKey, Plan, ShotPlan, WindowKey
from postfix.plan.screens import describe, load_toml, screen_from
from postfix.plan.settings import FILLS
from postfix.plan.toml_tables import TomlTable

_HEADER = (
    "What will be done to each shot for one screen. It may be edited and rendered again.",
    "Parallax is x_right - x_left: positive is behind the screen, negative in front of it.",
    "hit: total change of parallax in percent of picture width, positive pushes the scene away;",
    "  half is applied to each eye. One entry is held over the shot; between several the move is eased.",
    '  With fill "hide" or "crop" it is rounded to whole pixels: see step_px.',
    'fill: what becomes of columns laid bare: "hide" (black in the eye that lacks them), "crop" (black in',
    '  both eyes), "zoom" (both eyes enlarged by zoom to cover them).',
    "window: pixels hidden, [top, bottom]: left edge in the left eye, right edge in the right eye, counted",
    "  from the frame edge; linear between entries.",
    "Frames are counted from 0, both ends included.",
)

_INLINE_ENTRIES = 3  # more entries of an array than this go on lines of their own


def _inline(entries: list[dict[str, object]]) -> TomlArray:
    array = tomlkit.array()
    for entry in entries:
        table = tomlkit.inline_table()
        table.update(entry)
        array.append(table)
    return array.multiline(len(entries) > _INLINE_ENTRIES)


def plan_text(plan: Plan) -> str:
    """The plan as TOML; the same plan always gives the same text."""
    document = tomlkit.document()
    for line in _HEADER:
        document.add(tomlkit.comment(line))
    screen, limits, clip = plan.screen, plan.limits, plan.clip
    tables: dict[str, dict[str, object]] = {
        "screen": {
            "name": screen.name,
            "width_mm": screen.width_mm,
            "distance_mm": screen.distance_mm,
            "eye_mm": screen.eye_mm,
            "note": screen.note,
        },
        "limits": {
            "far_pct": limits.far_pct,
            "far_rule": limits.far_rule,
            "near_pct": limits.near_pct,
            "near_rule": limits.near_rule,
            "range_pct": limits.range_pct,
            "range_rule": limits.range_rule,
        },
        "clip": {
            "name": clip.name,
            "width_px": clip.width_px,
            "height_px": clip.height_px,
            "frames": plan.shots[-1].last + 1,
            "rate": str(clip.rate),
            "step_px": clip.step_px,
        },
    }
    for name, content in tables.items():
        table = tomlkit.table()
        table.update(content)
        document.add(name, table)
    shots = tomlkit.aot()
    for shot in plan.shots:
        table = tomlkit.table()
        table.update({"name": shot.name, "first": shot.first, "last": shot.last})
        table.add("hit", _inline([{"frame": key.frame, "pct": key.pct} for key in shot.hit]))
        table.update({"zoom": shot.zoom, "fill": shot.fill})
        window = [{"frame": k.frame, "left_px": list(k.left_px), "right_px": list(k.right_px)} for k in shot.window]
        table.add("window", _inline(window))
        table.update({"locked": shot.locked, "reason": shot.reason})
        shots.append(table)
    document.add("shot", shots)
    return tomlkit.dumps(document)


def read_plan(path: Path) -> Plan:
    """Read a plan file, written by :func:`plan_text` or edited by a person; every key is checked.

    Of a shot, ``name``, ``first`` and ``last`` must be there; the rest has the defaults of
    :class:`postfix.plan.model.ShotPlan`.

    Raises
    ------
    InputError
        Names file, line, key, what was found and what was expected.
    """
    text, data = load_toml(path, "a plan with [screen], [limits], [clip] and [[shot]]")
    root = TomlTable(path, text, None, 0, data)
    root.only("screen", "limits", "clip", "shot")
    screen = screen_from(root.get("screen", dict, "a table"), path, text, "screen", 0, is_list=False)
    limits = _limits(TomlTable(path, text, "limits", 0, root.get("limits", dict, "a table")))
    clip, count = _clip(TomlTable(path, text, "clip", 0, root.get("clip", dict, "a table")))
    entries = root.get("shot", list, "[[shot]] entries")
    shots: list[ShotPlan] = []
    for index, entry in enumerate(entries):
        if not isinstance(entry, dict):
            raise root.error("shot", describe(entry), "[[shot]] entries", "write each shot under a [[shot]] header")
        shots.append(_shot(TomlTable(path, text, "shot", index, entry), shots, count))
    if not shots or shots[-1].last != count - 1:
        found = f"shots that end at frame {shots[-1].last}" if shots else "no shots"
        raise root.error("shot", found, f"shots up to the clip's last frame {count - 1}", "cover every frame once")
    return Plan(screen, limits, clip, tuple(shots))


def _limits(table: TomlTable) -> Limits:
    table.only("near_pct", "far_pct", "range_pct", "near_rule", "far_rule", "range_rule")

    def pct(key: str) -> float:
        return table.number(key, lambda value: abs(value) <= 1e4, "percent of picture width")

    limits = Limits(
        near_pct=pct("near_pct"),
        far_pct=pct("far_pct"),
        range_pct=table.number("range_pct", lambda value: 0.0 <= value <= 1e4, "percent of picture width, 0 or more"),
        near_rule=table.get("near_rule", str, "text", ""),
        far_rule=table.get("far_rule", str, "text", ""),
        range_rule=table.get("range_rule", str, "text", ""),
    )
    if limits.near_pct > limits.far_pct:
        raise table.error(
            "near_pct", describe(limits.near_pct), f"no more than far_pct, {limits.far_pct:g}", "swap or correct them"
        )
    return limits


def _clip(table: TomlTable) -> tuple[ClipInfo, int]:
    table.only("name", "width_px", "height_px", "frames", "rate", "step_px")
    rate = table.get("rate", str, 'a rate in quotation marks, such as "24" or "24000/1001"')
    match = re.fullmatch(r"([1-9][0-9]{0,9})(?:/([1-9][0-9]{0,9}))?", rate, re.ASCII)
    if match is None:
        raise table.error("rate", describe(rate), 'a rate such as "24" or "24000/1001"', "correct it")
    clip = ClipInfo(
        name=table.get("name", str, "text"),
        width_px=table.integer("width_px", 1),
        height_px=table.integer("height_px", 1),
        rate=Fraction(int(match[1]), int(match[2] or 1)),
        step_px=table.integer("step_px", 1),
    )
    return clip, table.integer("frames", 1)


def _shot(table: TomlTable, before: list[ShotPlan], count: int) -> ShotPlan:
    table.only("name", "first", "last", "hit", "zoom", "fill", "window", "locked", "reason")
    name = table.get("name", str, "text")
    if any(shot.name == name for shot in before):
        raise table.error("name", f"a second shot named {name!r}", "every name once", "rename one")
    start = before[-1].last + 1 if before else 0
    first = table.integer("first", 0)
    if first != start:
        raise table.error("first", str(first), f"{start}, the frame after the shot before", "cover every frame once")
    last = table.integer("last", first)
    if last >= count:
        raise table.error("last", str(last), f"at most {count - 1}, the clip's last frame", "cover every frame once")
    fill = table.get("fill", str, "text", "hide")
    if fill not in FILLS:
        raise table.error("fill", describe(fill), f"one of {', '.join(FILLS)}", "choose one of these")
    hit = tuple(
        HitKey(frame, _pct(table, entry, index))
        for index, (frame, entry) in enumerate(_keys(table, "hit", ("frame", "pct"), first, last))
    )
    window = tuple(
        WindowKey(frame, _widths(table, entry, index, "left_px"), _widths(table, entry, index, "right_px"))
        for index, (frame, entry) in enumerate(_keys(table, "window", ("frame", "left_px", "right_px"), first, last))
    )
    return ShotPlan(
        name=name,
        first=first,
        last=last,
        hit=hit or (HitKey(first, 0.0),),
        zoom=table.number("zoom", lambda value: 1.0 <= value <= 10.0, "a factor from 1 to 10", 1.0),
        fill=fill,
        window=window,
        locked=table.get("locked", bool, "true or false", False),
        reason=table.get("reason", str, "text", ""),
    )


def _keys(
    table: TomlTable, key: str, known: tuple[str, ...], first: int, last: int
) -> list[tuple[int, dict[str, Any]]]:
    """Frame and content of each entry of ``hit`` or ``window``, in order and inside the shot."""
    keys: list[tuple[int, dict[str, Any]]] = []
    for index, entry in enumerate(table.get(key, list, "a list of entries in brackets", [])):
        place_in = f"{key}[{index}]"
        if not isinstance(entry, dict) or set(entry) != set(known):
            raise table.error(place_in, describe(entry), f"{{ {', '.join(known)} }}", "write all of these and no more")
        frame = entry["frame"]
        least = keys[-1][0] + 1 if keys else first
        if isinstance(frame, bool) or not isinstance(frame, int) or not least <= frame <= last:
            expected = (
                f"a frame of the shot from {least} to {last}, in rising order" if least <= last else "no more entries"
            )
            raise table.error(f"{place_in}.frame", describe(frame), expected, "correct it")
        keys.append((frame, entry))
    return keys


def _pct(table: TomlTable, entry: dict[str, Any], index: int) -> float:
    expected = f"percent of width from -{HIT_MAX_PCT:g} to {HIT_MAX_PCT:g}"
    return table.checked(f"hit[{index}].pct", entry["pct"], lambda value: abs(value) <= HIT_MAX_PCT, expected)


def _widths(table: TomlTable, entry: dict[str, Any], index: int, side: str) -> tuple[float, float]:
    pair = entry[side]
    key = f"window[{index}].{side}"
    if not isinstance(pair, list) or len(pair) != 2:
        raise table.error(key, describe(pair), "[top, bottom] in pixels", "write two numbers in brackets")
    width_px = 1e5  # wider than any picture; what is wider than this one hides all of it
    top, bottom = (table.checked(key, value, lambda px: 0.0 <= px <= width_px, "pixels, 0 or more") for value in pair)
    return top, bottom
