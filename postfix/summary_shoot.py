"""What the shoot command says: the answer for each screen first, then the figures side by side, then the rules."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import asdict
from typing import Any

from postfix.camera import SUPER_35_WIDTH_MM, Camera, Distance, equivalent_focal_mm, listed
from postfix.lengths import length_text
from postfix.limits import Limits
from postfix.look import Piece, Role
from postfix.plain import plain
from postfix.plan.figures import LIMIT_TOLERANCE_PCT, signed_mm
from postfix.plan.settings import StorySettings
from postfix.review.meaning import CAUTION
from postfix.shooting import ENDLESS, RATIO_CINEMA, RATIO_USUAL, interaxial_for, lens_words, nearest_mm, rig_words
from postfix.story.model import Seen
from postfix.story.set_ups import KEYSTONE, SHIFT_MOST_PCT, Asked
from postfix.story.shoot_screens import OnAll, OnScreen, on_all
from postfix.story.shoot_words import converged_words, given_text, held_words, placed_text, roundness_words
from postfix.story.words import pct_text
from postfix.summary import NOT_MEASURED, head
from postfix.tables import Cell, Table
from postfix.terminal import Block, Gap, line, name
from postfix.viewing import mm_from_pct


def shoot_text(asked: Asked, rows: Sequence[OnScreen], notes: Sequence[str]) -> list[Block]:
    """The answers, a column of figures for each screen, what the camera itself says, and the caution."""
    said: list[Block] = []
    for row in rows:
        said.append(line(name(row.screen.name), ": ", Piece(row.verdict, _role(row))))
        said += [line(_sentence(row.advice), indent=2)] if row.advice else []
    common, given = on_all(asked, rows), asked.camera.interaxial_mm
    if common is not None and (given is None or given > common.interaxial_mm):
        said.append(line(_on_all_words(common, rows)))
    said += [Gap(), _figures(asked, rows), *_legend(rows), Gap()]
    said += [line(Piece(_camera_words(asked), "soft")), *(line(note) for note in notes)]
    return [*said, Gap(), line(CAUTION)]


def _on_all_words(common: OnAll, rows: Sequence[OnScreen]) -> str:
    """The interaxial for every screen, with the convergence that it then takes on each."""
    told = [converged_words(one.camera.convergence_mm) for one in common.ends]
    if len(set(told)) == 1:
        where = told[0]
    else:
        first, *rest = (f"{words} on {row.screen.name}" for words, row in zip(told, rows))
        where = ", ".join([first, *(one.removeprefix("converged at ") for one in rest)])
    return f"on all of them: no more than {length_text(common.interaxial_mm)}, {where}"


def _role(row: OnScreen) -> Role:
    if row.fits is None:
        return "plain"
    return "good" if row.fits else "bad"


def _sentence(text: str) -> str:
    return f"{text[0].upper()}{text[1:]}"


def _camera_words(asked: Asked) -> str:
    """What was typed as it was understood, in which a wrong unit shows."""
    camera = asked.camera
    parts = [
        (camera.interaxial_mm, "interaxial {}"),
        (camera.focal_mm, "focal length {}"),
        (camera.sensor_width_mm, "sensor {} wide"),
        (camera.near_mm, "nearest {}"),
        (camera.far_mm, "farthest {}"),
        (camera.convergence_mm, "converged at {}"),
        (camera.focus_mm, "focused at {}"),
    ]
    told = [words.format(given_text(value)) for value, words in parts if value is not None]
    return f"as understood: {', '.join(told)}, {camera.rig}"


def _figures(asked: Asked, rows: Sequence[OnScreen]) -> Table:
    """A row for each figure and a column for each screen; rows without any figure are left out."""
    camera = asked.camera
    base = "interaxial" if camera.interaxial_mm is not None else "interaxial to use"
    place = "converged at" if camera.convergence_mm is not None else "converge at"
    found: list[tuple[str, Callable[[OnScreen], Cell]]] = [
        (base, lambda row: _length(row.camera.interaxial_mm)),
        (place, _placed),
        ("near", lambda row: _parallax(row.near, row.limits)),
        ("near limit", lambda row: pct_text(row.limits.near_pct)),
        ("near on the screen", lambda row: _on_the_screen(row.near, row)),
        ("near, arcmin", lambda row: _arcmin(row.near)),
        ("near is seen at", lambda row: _seen_at(row.near)),
        ("far", lambda row: _parallax(row.far, row.limits)),
        ("far at the sides", lambda row: _parallax(row.far_sides, row.limits)),
        ("far limit", lambda row: pct_text(row.limits.far_pct)),
        ("far on the screen", lambda row: _on_the_screen(row.far, row)),
        ("far, arcmin", lambda row: _arcmin(row.far)),
        ("far is seen at", lambda row: _seen_at(row.far)),
        ("infinity would be", lambda row: _parallax(row.infinity)),
        ("shift, % of width", _shift),
        ("range", _range),
        ("range limit", lambda row: f"{row.budget[0]:.2f} %"),
        ("roundness near", lambda row: _round(row.near_roundness, row.story)),
        ("roundness at screen", lambda row: _round(row.screen_roundness, row.story)),
        ("largest that fits", lambda row: _length(None if row.fitting is None else row.fitting.interaxial_mm)),
        ("then converge at", lambda row: NOT_MEASURED if row.fitting is None else _place(row.fitting)),
        ("largest, Bercovitz", lambda row: _length(row.bercovitz_mm)),
        ("nearest that fits", lambda row: _length(row.nearest_fitting_mm)),
        (f"nearest by 1/{RATIO_USUAL:g}", lambda row: _length(row.nearest_30_mm)),
        (f"nearest by 1/{RATIO_CINEMA:g}", lambda row: _length(row.nearest_100_mm)),
        ("keystone, % of height", _keystone),
    ]
    cells = [(label, [cell(row) for row in rows]) for label, cell in found]
    kept = [(label, *shown) for label, shown in cells if any(one != NOT_MEASURED for one in shown)]
    return Table(head("", *(name(row.screen.name, "soft") for row in rows)), tuple(kept))


def _length(mm: float | None) -> str:
    return NOT_MEASURED if mm is None else length_text(mm)


def _placed(row: OnScreen) -> str:
    if row.camera.convergence_mm is None and row.near is None and row.far is None:
        return NOT_MEASURED
    return _place(row.camera)


def _place(camera: Camera) -> str:
    return "nowhere" if camera.convergence_mm is None else placed_text(camera.convergence_mm)


def _parallax(one: Seen | None, limits: Limits | None = None) -> Cell:
    if one is None:
        return NOT_MEASURED
    text = pct_text(one.parallax_pct)
    if limits is None:
        return text
    over = max(limits.near_pct - one.parallax_pct, one.parallax_pct - limits.far_pct) > LIMIT_TOLERANCE_PCT
    return Piece(text, "bad" if over else "plain")


def _range(row: OnScreen) -> Cell:
    if row.range_pct is None:
        return NOT_MEASURED
    over = row.range_pct - row.budget[0] > LIMIT_TOLERANCE_PCT
    return Piece(f"{row.range_pct:.2f} %", "bad" if over else "plain")


def _shift(row: OnScreen) -> Cell:
    if row.shift_pct is None:
        return NOT_MEASURED
    return Piece(f"{row.shift_pct:.2f}", "bad" if row.shift_pct - SHIFT_MOST_PCT > LIMIT_TOLERANCE_PCT else "plain")


def _on_the_screen(one: Seen | None, row: OnScreen) -> str:
    return NOT_MEASURED if one is None else signed_mm(mm_from_pct(one.parallax_pct, row.screen.width_mm))


def _arcmin(one: Seen | None) -> str:
    return (
        NOT_MEASURED
        if one is None
        else f"{round(one.arcmin) or 0:+d}".replace("+0", "0").replace("-", "\N{MINUS SIGN}")
    )


APART, PARALLEL = "apart", "parallel"


def _seen_at(one: Seen | None) -> Cell:
    if one is None:
        return NOT_MEASURED
    if one.distance_mm is not None:
        return length_text(one.distance_mm)
    return Piece(f"{APART} {one.divergence_deg:.2f}°", "bad") if one.divergence_deg >= 0.005 else PARALLEL


def _round(value: float | None, story: StorySettings) -> str:
    if value is None:
        return NOT_MEASURED
    return f"{roundness_words(value, story)} {value:.2f}"


def _keystone(row: OnScreen) -> Cell:
    if row.keystone_pct is None:
        return NOT_MEASURED
    return Piece(f"{row.keystone_pct:.2f}", "bad" if KEYSTONE.reached(row.keystone_pct) == 2 else "plain")


def _legend(rows: Sequence[OnScreen]) -> list[Block]:
    """What the words and signs of the table mean, as far as they stand in it."""
    told = []
    ends = [one for row in rows for one in (row.near, row.far) if one is not None]
    if ends:
        told.append("parallax in % of width, negative in front of the screen; seen at: from the seat of that screen")
    if any(one.divergence_deg >= 0.005 for one in ends):
        told.append(f"{APART}: the eyes would have to turn apart by so much, so that no distance is seen")
    if any(one.distance_mm is None and one.divergence_deg < 0.005 for one in ends):
        told.append(f"{PARALLEL}: the eyes look straight ahead, as at infinity")
    if any(row.camera.convergence_mm is None and row.far is not None for row in rows):
        told.append("nowhere: by these limits even infinity has to lie in front of the screen")
    if any(row.shift_pct is not None for row in rows):
        told.append(
            "shift: of parallel cameras, as much as infinity would have: it has no partner, so it is cut off; "
            f"no more than {SHIFT_MOST_PCT:g} % (project default). Lenses that shift lose nothing, but have to reach it"
        )
    if any(row.near_roundness is not None or row.screen_roundness is not None for row in rows):
        for flat, stretched in sorted({(row.story.flat_below, row.story.stretched_above) for row in rows}):
            told.append(
                f"roundness: depth against width, 1 as in life; flat below {flat:g}, stretched above {stretched:g} "
                "(project default)"
            )
    for row in rows:
        if row.budget[0] < row.limits.range_pct:
            told.append(
                f"range limit on {row.screen.name}: from the near to the far limit, which is less than the "
                f"{row.limits.range_pct:.2f} % of the rule for the range"
            )
        for held in held_words(row.held_by, row.camera.rig):
            told.append(f"largest that fits on {row.screen.name}: {held}")
    if any(row.far_sides is not None for row in rows):
        told.append(
            "far at the sides: toed-in cameras give the sides more parallax than the middle; it is what is judged"
        )
        told.append("toed-in, largest and nearest that fit: with near and far at the same share of their limits")
    if any(row.bercovitz_mm is not None for row in rows):
        told.append(
            "largest, Bercovitz: interaxial by the formula of Bercovitz 1998 for the range limit of each screen alone"
        )
    wide = tuple(row.screen.name for row in rows if row.is_bercovitz_too_wide)
    if wide:
        told.append(
            f"no figure of Bercovitz for {listed(wide)}: the formula would have the cameras farther apart than the "
            "nearest thing is away"
        )
    told.append("limits: which rule gave each is told by postfix-stereo screens, with the same options")
    return [line(Piece(one, "soft")) for one in told]


def rules_notes(asked: Asked, rows: Sequence[OnScreen]) -> list[str]:
    """What is to be said of the camera itself, whatever the screen."""
    notes, camera = [], asked.camera
    equivalent = equivalent_focal_mm(camera.focal_mm, camera.sensor_width_mm)
    if equivalent is not None:
        notes.append(
            f"lens: like {length_text(equivalent)} on a Super 35 sensor ({SUPER_35_WIDTH_MM:g} mm): "
            f"{lens_words(equivalent)} (common practice)"
        )
    if camera.interaxial_mm is not None and camera.near_mm is None:
        notes.append(_nearest_words(camera.interaxial_mm))
    if camera.near_mm is not None:
        notes.append(_thumb_words(camera.near_mm, camera.interaxial_mm))
    notes += _rig_notes(rows)
    if camera.rig == "toed-in":
        notes.append(_keystone_words(rows))
    return notes


def _thumb_words(near_mm: float, interaxial_mm: float | None) -> str:
    """The interaxial for a nearest thing by the rules of thumb, and whether the one given is more."""
    usual, strict = interaxial_for(near_mm, RATIO_USUAL), interaxial_for(near_mm, RATIO_CINEMA)
    said = (
        f"rule of thumb for {length_text(near_mm)}: interaxial {length_text(usual)} (1/{RATIO_USUAL:g}), "
        f"{length_text(strict)} (the stricter 1/{RATIO_CINEMA:g}, for cinema); common practice"
    )
    if interaxial_mm is None or interaxial_mm <= strict:
        return said
    return (
        f"{said}. {length_text(interaxial_mm)} is more than {'both' if interaxial_mm > usual else 'the stricter one'}"
    )


def _nearest_words(interaxial_mm: float) -> str:
    """The nearest thing for an interaxial by the same rules."""
    usual, strict = nearest_mm(interaxial_mm, RATIO_USUAL), nearest_mm(interaxial_mm, RATIO_CINEMA)
    return (
        f"rule of thumb for {length_text(interaxial_mm)}: nothing nearer than {length_text(usual)} "
        f"(1/{RATIO_USUAL:g}), {length_text(strict)} (the stricter 1/{RATIO_CINEMA:g}, for cinema); common practice"
    )


def _rig_notes(rows: Sequence[OnScreen]) -> list[str]:
    bases: dict[str, dict[str, None]] = {}
    for row in rows:
        for camera in (row.camera, row.fitting):
            if camera is not None and camera.interaxial_mm is not None:
                bases.setdefault(rig_words(camera.interaxial_mm), {})[length_text(camera.interaxial_mm)] = None
    return [f"rig for {listed(tuple(each))}: {words} (common practice)" for words, each in bases.items()]


def _keystone_words(rows: Sequence[OnScreen]) -> str:
    said = f"toed-in cameras shift corners up and down: {KEYSTONE.text()}, Table 8 (in % of height)"
    over = [row.screen.name for row in rows if row.keystone_pct is not None and KEYSTONE.reached(row.keystone_pct) == 2]
    if all(row.keystone_pct is None for row in rows):
        return f"{said}; how far cannot be told from these figures"
    return f"{said}; more than that as converged for {listed(tuple(over))}" if over else said


def shoot_data(asked: Asked, rows: Sequence[OnScreen], ground: Distance | None, notes: Sequence[str]) -> dict[str, Any]:
    """The same as plain data; None where there is no number."""
    camera = asked.camera
    equivalent = equivalent_focal_mm(camera.focal_mm, camera.sensor_width_mm)
    near, common = camera.near_mm, on_all(asked, rows)
    ends = [None] * len(rows) if common is None else [one.camera for one in common.ends]
    return plain(
        {
            "camera": {
                **_camera_data(camera),
                "sensor_height_mm": asked.sensor_height_mm,
                "equivalent_focal_mm": equivalent,
                "lens": None if equivalent is None else lens_words(equivalent),
                "ground_mm": None if ground is None else ground.mm,
                "interaxial_30_mm": None if near is None else interaxial_for(near, RATIO_USUAL),
                "interaxial_100_mm": None if near is None else interaxial_for(near, RATIO_CINEMA),
                "missing": list(asked.missing),
            },
            "screens": [_screen_data(row, end) for row, end in zip(rows, ends)],
            "fits_all_mm": None if common is None else common.interaxial_mm,
            "rules": RULES,
            "notes": list(notes),
            "caution": CAUTION,
        }
    )


RULES: Mapping[str, str] = {
    "nearest_30_mm": f"nothing nearer than {RATIO_USUAL:g} interaxials: common practice",
    "nearest_100_mm": f"nothing nearer than {RATIO_CINEMA:g} interaxials, stricter, for cinema: common practice",
    "shift_pct": f"what parallel cameras lose at the sides, % of width; {SHIFT_MOST_PCT:g} at most: project default",
    "bercovitz_mm": "Bercovitz 1998, Proc. SPIE 3295, 288-298, for the range of the screen",
    "roundness": "depth against width as seen from the screen's own seat, 1 as in life",
    "lens": "focal lengths on a Super 35 sensor: common practice",
    "rig": "which class of rig reaches an interaxial: common practice",
    "keystone_pct": f"vertical parallax of toed-in cameras, % of height: {KEYSTONE.text()}, Table 8",
}
"""Where each figure of the data comes from; that of the limits stands beside them."""


def _camera_data(camera: Camera) -> dict[str, Any]:
    """A camera; None with a word beside it where a distance is infinite."""
    infinite = {f"{key.removesuffix('_mm')}_is_infinite": getattr(camera, key) == math.inf for key in ENDLESS}
    return {**asdict(camera), **infinite}


def _screen_data(row: OnScreen, on_all_camera: Camera | None) -> dict[str, Any]:
    camera, fitting = row.camera, row.fitting
    near, at_screen = row.near_roundness, row.screen_roundness
    return {
        "screen": asdict(row.screen),
        "limits": asdict(row.limits),
        "near": _seen_data(row.near, row),
        "far": _seen_data(row.far, row),
        "far_sides": _seen_data(row.far_sides, row),
        "infinity": _seen_data(row.infinity, row),
        "shift_pct": row.shift_pct,
        "range_pct": row.range_pct,
        "range_budget_pct": row.budget[0],
        "range_budget_rule": row.budget[1],
        "fits": row.fits,
        "verdict": row.verdict,
        "advice": row.advice,
        "interaxial_mm": camera.interaxial_mm,
        "convergence_mm": camera.convergence_mm,
        "convergence_is_infinite": camera.convergence_mm == math.inf,
        "fitting": None
        if fitting is None
        else {
            "interaxial_mm": fitting.interaxial_mm,
            "convergence_mm": fitting.convergence_mm,
            "convergence_is_infinite": fitting.convergence_mm == math.inf,
        },
        "held_by": row.held_by or None,
        "fits_all_convergence_mm": None if on_all_camera is None else on_all_camera.convergence_mm,
        "fits_all_convergence_is_infinite": on_all_camera is not None and on_all_camera.convergence_mm == math.inf,
        "near_roundness": near,
        "near_looks": None if near is None else roundness_words(near, row.story),
        "screen_roundness": at_screen,
        "screen_looks": None if at_screen is None else roundness_words(at_screen, row.story),
        "nearest_fitting_mm": row.nearest_fitting_mm,
        "nearest_30_mm": row.nearest_30_mm,
        "nearest_100_mm": row.nearest_100_mm,
        "bercovitz_mm": row.bercovitz_mm,
        "keystone_pct": row.keystone_pct,
        "rig": row.rig or None,
    }


def _seen_data(one: Seen | None, row: OnScreen) -> dict[str, Any] | None:
    if one is None:
        return None
    return {**asdict(one), "parallax_mm": mm_from_pct(one.parallax_pct, row.screen.width_mm)}
