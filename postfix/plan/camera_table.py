"""One camera in TOML, read and written: what was noted of how a shot was filmed, each key of it optional."""

from __future__ import annotations

import datetime
import math
from collections.abc import Sequence
from dataclasses import fields, replace
from typing import Any

from postfix.camera import FIGURE_WORDS, RIGS, Camera
from postfix.plan.screens import describe, is_number
from postfix.plan.toml_tables import TomlTable
from postfix.shooting import CLOSE_RATIO, DISTANCES, ENDLESS, PLAUSIBLE_MM, check, close_doubt, doubt

CAMERA_KEYS = tuple(field.name for field in fields(Camera))


def camera_from(*layers: TomlTable) -> Camera | None:
    """What tables note of a camera, each going over those before it key by key; None where they note nothing.

    Raises
    ------
    InputError
        Where it cannot be, or can hardly be meant; names file, line and key.
    """
    values: dict[str, Any] = {}
    for table in layers:
        table.only(*CAMERA_KEYS)
        values |= {key: _length_mm(table, key) for key in table.data if key != "rig"}
        if "rig" in table.data:
            values["rig"] = table.one_of("rig", RIGS, Camera.rig)
    if not values:
        return None
    camera = Camera(**values)
    for found in check(camera):
        # Each figure may be by itself: it is the last table that brought them together. What is named goes first.
        table = [layer for layer in layers if layer.data][-1]
        keys = sorted(table.data, key=lambda name: not found.startswith(FIGURE_WORDS.get(name, "rig")))
        key = _key_at_odds(camera, keys)
        raise table.error(key, found, "figures that can be together", "correct one of them, or leave it out")
    _require_far_enough(camera, layers)
    return camera


def _require_far_enough(camera: Camera, layers: Sequence[TomlTable]) -> None:
    """Ask about a distance that was hardly written in millimetres, in the last table that speaks of it."""
    for key in DISTANCES:
        asked = close_doubt(camera, key)
        if asked is not None:
            table = [layer for layer in layers if key in layer.data][-1]
            expected = f"a distance of at least {CLOSE_RATIO:g} interaxials where it is so near"
            raise table.error(key, asked, expected, "write it in millimetres, or note the interaxial of a macro rig")


def _key_at_odds(camera: Camera, keys: Sequence[str]) -> str:
    """Which of some keys is at odds with the rest, so that all is well without it; the first where none is alone."""
    unknown = vars(Camera())
    without: dict[str, dict[str, Any]] = {key: {key: unknown[key]} for key in keys}
    return next((key for key in keys if not check(replace(camera, **without[key]))), keys[0])


def camera_data(camera: Camera) -> dict[str, float | str]:
    """The reverse of :func:`camera_from`: what is known, in the order of the keys.

    A rig is written only where it is not parallel, or where nothing else is known.
    """
    known = {key: getattr(camera, key) for key in CAMERA_KEYS if key != "rig" and getattr(camera, key) is not None}
    if known and camera.rig == Camera.rig:
        return known
    return {key: camera.rig if key == "rig" else known[key] for key in CAMERA_KEYS if key == "rig" or key in known}


def _length_mm(table: TomlTable, key: str) -> float:
    value = table.data[key]
    if key in ENDLESS and isinstance(value, float) and value == math.inf:
        return value
    if not is_number(value) or not float(value) > 0.0:
        expected = f"millimetres, more than 0{', or inf' if key in ENDLESS else ''}"
        raise table.error(key, _found(value), expected, "correct it, or leave it out where it is not known")
    asked = doubt(key, float(value))
    if asked is not None:
        span = PLAUSIBLE_MM[key]
        expected = f"{span.low:g} to {span.high:.0f} mm{' or inf' if key in ENDLESS else ''}"
        raise table.error(key, asked, expected, "write it in millimetres, or leave it out")
    return float(value)


def _found(value: object) -> str:
    """What stands there, in words; a date as it is written."""
    if isinstance(value, datetime.datetime | datetime.date | datetime.time):
        return f"the {'time' if isinstance(value, datetime.time) else 'date'} {value.isoformat()}"
    return describe(value)
