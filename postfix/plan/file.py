"""The plan as a TOML file that a person may read, edit and render again."""

from __future__ import annotations

from dataclasses import asdict

from postfix.plan.camera_table import camera_data
from postfix.plan.decided import as_planned, limits_as_planned
from postfix.plan.file_read import read_plan
from postfix.plan.model import Plan, ShotPlan
from postfix.plan.settings_file import settings_data
from postfix.plan.toml_text import toml_lines

__all__ = ["plan_tables", "plan_text", "read_plan", "shot_table", "shot_text"]

_HEADER = """\
# What will be done to each shot for one screen. It may be edited and rendered again.
# Parallax is x_right - x_left: positive is behind the screen, negative in front of it.
# Frames are counted from 0, both ends included. Names end in their unit: _px pixels, _pct percent.
#
# [screen]: where the film will be watched. [limits]: how far in front of the screen (near) and behind it
#   (far) content may be, and how far apart within one frame (range), in percent of width; a figure typed
#   here is kept when the plan is updated. [clip]: the footage; footage is a fingerprint of its frames.
# [settings]: what was asked for when the plan was made.
# In each shot:
# hit: total change of parallax in percent of picture width, positive pushes the scene away;
#   half is applied to each eye. One entry is held over the shot; between several the move is eased.
#   With fill "hide" or "crop" it is rounded to whole pixels (see step_px) unless subpixel or align is true.
# zoom: how much both eyes are enlarged, from 1.
# fill: what becomes of columns laid bare: "hide" (black in the eye that lacks them), "crop" (black in
#   both eyes), "zoom" (both eyes enlarged by zoom to cover them).
# window: pixels hidden, [top, bottom]: left edge in the left eye, right edge in the right eye, counted
#   from the frame edge; linear between entries.
# window_soft_px, window_opacity_pct: width of a soft edge beside every window (0 unless written), and how
#   much a window hides (100 unless written).
# subpixel: true draws the shot at fractions of a pixel (false unless written).
# align: true takes misalignment out of the pictures, half of it in each eye (false unless written), and
#   enlarges them as far as that lays something bare.
# misalignment: how the right eye's picture lies against the left's: lower (vertical_px), turned clockwise
#   (rotation_deg) and larger (size_pct) are positive.
# subject: what shall lie at a parallax of at_pct: a box [x, y, width, height] in pixels of the left eye at
#   that frame; the hit follows from it. subject_found: the parallax that was measured in that box.
# camera: how the shot was filmed, as far as it was noted. It changes no picture, and stays when the plan is
#   updated.
# as_planned: checksums of what the program decided. A hit (with zoom), fill, window, subpixel or align (with
#   misalignment), or a limit, that was edited since, or has no checksum, was decided by a person and is kept
#   when the plan is updated; remove its line to have it decided anew.
# locked: true keeps the whole shot as it is.
"""


def plan_text(plan: Plan) -> str:
    """The plan as TOML; the same plan always gives the same text."""
    tables = [f"\n[{name}]\n{toml_lines(values)}" for name, values in plan_tables(plan).items()]
    return "".join([_HEADER, *tables, *(f"\n{shot_text(shot)}" for shot in plan.shots)])


def plan_tables(plan: Plan) -> dict[str, dict[str, object]]:
    """Every table of the file but the shots, by the name in its header, with its keys in their order."""
    screen, limits, clip = plan.screen, plan.limits, plan.clip
    marks = limits_as_planned(limits)
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
            **({"as_planned": marks} if marks else {}),
        },
        "clip": {
            "name": clip.name,
            "width_px": clip.width_px,
            "height_px": clip.height_px,
            "frames": plan.shots[-1].last + 1,
            "rate": str(clip.rate),
            "step_px": clip.step_px,
            **({"footage": clip.footage} if clip.footage else {}),
            **({"spare_px": clip.spare_px} if clip.spare_px else {}),
            **({"pixel_aspect": str(clip.pixel_aspect)} if clip.pixel_aspect != 1 else {}),
        },
        "settings": {},
    }
    for key, value in settings_data(plan.settings).items():
        if isinstance(value, dict):
            tables[f"settings.{key}"] = value
        else:
            tables["settings"][key] = value
    return tables


def shot_text(shot: ShotPlan) -> str:
    """One ``[[shot]]`` with its header."""
    return f"[[shot]]\n{toml_lines(shot_table(shot))}"


def shot_table(shot: ShotPlan) -> dict[str, object]:
    """The keys of a shot in their order; those that may be left out only where they say something."""
    values: dict[str, object] = {"name": shot.name, "first": shot.first, "last": shot.last}
    values["hit"] = [{"frame": key.frame, "pct": key.pct} for key in shot.hit]
    values |= {"zoom": shot.zoom, "fill": shot.fill}
    values["window"] = [
        {"frame": key.frame, "left_px": list(key.left_px), "right_px": list(key.right_px)} for key in shot.window
    ]
    if shot.window_soft_px != 0.0:
        values["window_soft_px"] = shot.window_soft_px
    if shot.window_opacity_pct != 100.0:
        values["window_opacity_pct"] = shot.window_opacity_pct
    if shot.subpixel or "subpixel" in shot.by_hand:
        values["subpixel"] = shot.subpixel
    if shot.align or "align" in shot.by_hand:
        values["align"] = shot.align
    if shot.misalignment is not None:
        known = asdict(shot.misalignment)
        values["misalignment"] = {name: value for name, value in known.items() if value is not None}
    subject = shot.subject
    if subject is not None:
        box = {"frame": subject.frame, "box": list(subject.box)}
        values["subject"] = {**box, "at_pct": subject.at_pct}
        if subject.found_pct is not None:
            values["subject_found"] = {**box, "pct": subject.found_pct}
    if shot.camera is not None:
        values["camera"] = camera_data(shot.camera)
    planned = as_planned(shot)
    if planned:
        values["as_planned"] = planned
    values |= {"locked": shot.locked, "reason": shot.reason}
    return values
