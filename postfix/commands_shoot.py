"""The shoot command: what a camera will give on each screen, before anything is shot."""

from __future__ import annotations

import argparse
import math
import re
from dataclasses import dataclass, replace

from postfix import summary_shoot
from postfix.camera import FIGURE_WORDS, Camera, Distance, focus_doubt, image_mm, listed
from postfix.commands import Outcome, chosen_rules, chosen_screens, limits_code, settings_files
from postfix.errors import UsageError
from postfix.lengths import PlainUnit, length_text, read_length
from postfix.limits import Span
from postfix.outside import clipped
from postfix.shooting import check, doubt, ground_mm
from postfix.story.set_ups import Asked
from postfix.story.shoot_screens import on_screen

PICTURE_SHAPE = 9.0 / 16.0
"""Height of a picture to its width where no height of the sensor is given."""


@dataclass(frozen=True)
class _Option:
    """A length that may be typed: the unit of a plain number, and what a plain number is believed to be, in that unit.

    A plain number may have been meant in another unit; what is outside is asked about. What a lens and a rig can be is
    told by :func:`postfix.shooting.doubt` of the figure of a camera that it is like.
    """

    unit: PlainUnit
    words: str
    like: str
    believed: Span
    may_be_infinite: bool = False


_ANY_MM = Span(0.0, math.inf, "mm")
_ON_A_SET, _FARTHEST, _HEIGHT = Span(0.02, 100.0, "metres"), Span(0.02, 1000.0, "metres"), Span(0.02, 30.0, "metres")
"""What is near, or converged on, is not as far as a plain number of centimetres or millimetres would have it, nor are
lenses so high; what is far may be. Project default."""

_OPTIONS: dict[str, _Option] = {
    "interaxial": _Option("mm", FIGURE_WORDS["interaxial_mm"], "interaxial_mm", _ANY_MM),
    "focal": _Option("mm", FIGURE_WORDS["focal_mm"], "focal_mm", _ANY_MM),
    "sensor": _Option("mm", FIGURE_WORDS["sensor_width_mm"], "sensor_width_mm", _ANY_MM),
    "sensor_height": _Option("mm", "sensor height", "sensor_width_mm", _ANY_MM),
    "near": _Option("m", FIGURE_WORDS["near_mm"], "near_mm", _ON_A_SET),
    "far": _Option("m", FIGURE_WORDS["far_mm"], "far_mm", _FARTHEST, may_be_infinite=True),
    "converge": _Option("m", FIGURE_WORDS["convergence_mm"], "convergence_mm", _ON_A_SET, may_be_infinite=True),
    "focus": _Option("m", FIGURE_WORDS["focus_mm"], "focus_mm", _FARTHEST, may_be_infinite=True),
    "height": _Option("m", "height of the lenses", "near_mm", _HEIGHT),
}


def shoot(options: argparse.Namespace) -> Outcome:
    """Say what a camera will give on each screen."""
    screens = chosen_screens(options)
    wanted = settings_files(options)
    typed = {name: _length(options, name) for name in _OPTIONS}
    if typed["near"] is None and typed["interaxial"] is None:
        raise UsageError(
            "shoot", "neither --near nor --interaxial", "one of them at least", "add for example --near 1.5"
        )
    asked, ground, notes = _asked(options, typed)
    try:
        rows = [on_screen(asked, screen, chosen_rules(options, wanted.for_screen(screen.name))) for screen in screens]
    except (ValueError, OverflowError, ZeroDivisionError):
        raise UsageError(
            "shoot",
            "figures that are too far apart to reckon with",
            "lengths of one camera and one set",
            "correct the one that is not meant",
        ) from None
    said = [*notes, *summary_shoot.rules_notes(asked, rows)]
    flagged = asked.camera.interaxial_mm is not None and any(row.fits is False for row in rows)
    return Outcome(
        summary_shoot.shoot_text(asked, rows, said),
        summary_shoot.shoot_data(asked, rows, ground, said),
        limits_code(flagged),
    )


def _length(options: argparse.Namespace, name: str) -> float | None:
    """What was typed of one length, in millimetres; asked about where its unit is hardly meant."""
    text, option = getattr(options, name), _OPTIONS[name]
    if text is None:
        return None
    flag = f"--{name.replace('_', '-')}"
    length = read_length(text, option.unit, flag, may_be_infinite=option.may_be_infinite)
    if length.has_unit:
        return length.mm
    size = 1.0 if option.unit == "mm" else 1000.0
    value = length.mm / size
    if option.believed.holds(value) and doubt(option.like, value, option.unit) is None:
        return length.mm
    raise UsageError(
        flag,
        f"{option.words} {value:g} {option.unit}?",
        f"a figure in {'millimetres' if option.unit == 'mm' else 'metres'} that is usual on a set",
        _what_to_type(option, value),
    )


def _what_to_type(option: _Option, value: float) -> str:
    written = f"write the unit ({value:g}{option.unit}) where it is meant"
    metres = option.unit == "m"
    others = [value * 1000.0, value / 1000.0, *([value / 100.0] if metres and value < 1000.0 else [])]
    meant = [one for one in others if option.believed.holds(one) and doubt(option.like, one, option.unit) is None]
    if meant:
        return f"type {' or '.join(f'{one:g}' for one in meant)}, or {written}"
    return f"correct it, or {written}"


def _asked(options: argparse.Namespace, typed: dict[str, float | None]) -> tuple[Asked, Distance | None, list[str]]:
    """What will be shot, the nearest ground in the picture, and what has to be said of both."""
    notes = []
    camera = Camera(
        typed["interaxial"],
        typed["focal"],
        typed["sensor"],
        typed["converge"],
        options.rig,
        typed["near"],
        typed["far"],
        typed["focus"],
    )
    _require_possible(camera)
    if camera.far_mm is None and camera.focal_mm is not None and camera.sensor_width_mm is not None:
        # Without a lens nothing is told that needs it.
        camera = replace(camera, far_mm=math.inf)
        notes.append("no --far: the farthest thing counts as infinitely far, as the sky is")
    height = typed["sensor_height"]
    if height is None and camera.sensor_width_mm is not None:
        height = camera.sensor_width_mm * PICTURE_SHAPE
        if typed["height"] is not None or options.rig == "toed-in":
            notes.append(f"no --sensor-height: {length_text(height)} is taken, as in a 16:9 picture")
    ground, said, camera = _ground(_tilt_deg(options), typed["height"], camera, height)
    notes += said
    if ground is not None and ground.mm is not None and camera.near_mm == ground.mm:
        _require_possible_ground(camera, ground.mm)
    notes += _focus_notes(camera)
    needed = {"--focal": camera.focal_mm, "--sensor": camera.sensor_width_mm, "--near": camera.near_mm}
    return Asked(camera, height, tuple(flag for flag, value in needed.items() if value is None)), ground, notes


def _focus_notes(camera: Camera) -> list[str]:
    """What the focus might change, where it was not given: close up that is more than limits have to spare."""
    nearest = camera.near_mm if camera.near_mm is not None else camera.convergence_mm
    share = focus_doubt(camera, nearest)
    if nearest is None or not share:
        return []
    larger = f"{share * 100.0:.1f} % larger, and every parallax with it"
    return [
        f"no --focus: the lens counts as focused far away; focused at {length_text(nearest)} it draws {larger}: type "
        "--focus, or take that much less interaxial"
    ]


def _require_possible(camera: Camera) -> None:
    wrong = check(camera, length_text)
    if wrong:
        raise UsageError("shoot", "; ".join(wrong), "a camera that can be", "correct one of the figures")


def _require_possible_ground(camera: Camera, ground_mm: float) -> None:
    """Refuse ground that is nearer than a lens can see; nobody typed that distance."""
    wrong = check(replace(camera, far_mm=None), length_text)
    if wrong:
        raise UsageError(
            "shoot",
            f"level ground in the picture at {length_text(ground_mm)}: {'; '.join(wrong)}",
            "lenses above ground that they can see",
            "correct --height, --tilt or --focal",
        )


def _tilt_deg(options: argparse.Namespace) -> float | None:
    """Degrees down; None where nothing was typed."""
    if options.tilt is None:
        return None
    plain = options.tilt.strip().replace("\N{MINUS SIGN}", "-").removesuffix("°").removesuffix("deg").strip()
    try:
        tilt = float(plain) if plain.isascii() and "_" not in plain else math.nan
    except ValueError:
        tilt = math.nan
    if not abs(tilt) <= 90.0:
        comma = re.fullmatch(r"[+-]?\d+,\d+", plain)
        raise UsageError(
            "--tilt",
            repr(clipped(options.tilt)),
            "degrees by which the cameras look down, from -90 (straight up) to 90",
            "write the decimals after a point, not a comma" if comma else "type for example 10",
        )
    return tilt


def _ground(
    tilt_deg: float | None, height_mm: float | None, camera: Camera, sensor_height_mm: float | None
) -> tuple[Distance | None, list[str], Camera]:
    """The nearest ground in the picture; where that is nearer than the nearest thing, it is the nearest thing."""
    if height_mm is None:
        return None, [] if tilt_deg is None else ["--tilt without --height: nothing can be said of the ground"], camera
    lacking = [flag for flag, one in (("--focal", camera.focal_mm), ("--sensor", sensor_height_mm)) if one is None]
    drawn_mm = image_mm(camera)
    if drawn_mm is None or sensor_height_mm is None:
        return None, [f"--height without {listed(tuple(lacking))}: nothing can be said of the ground"], camera
    level = " (level, for no --tilt is given)" if tilt_deg is None else ""
    ground = ground_mm(height_mm, tilt_deg or 0.0, drawn_mm, sensor_height_mm)
    if ground.mm is None:
        return ground, [f"ground{level}: {ground.why}"], camera
    begins = f"level ground comes into the picture at {length_text(ground.mm)}{level}"
    near, far = camera.near_mm, camera.far_mm
    if far is not None and ground.mm >= far:
        return ground, [f"{begins}, which is beyond the farthest thing"], camera
    if near is None:
        return (
            ground,
            [f"{begins}, and counts as the nearest thing, for no --near is given"],
            replace(camera, near_mm=ground.mm),
        )
    if ground.mm < near:
        told = f"{begins}, nearer than the {length_text(near)} that were given: it counts as the nearest thing"
        return ground, [told], replace(camera, near_mm=ground.mm)
    return ground, [f"{begins}, no nearer than the nearest thing"], camera
