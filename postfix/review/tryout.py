"""What the try-out on a shot's card needs: the measurement, each screen's limits and plan, both eyes, as plain JSON.

The page reckons the figures of another HIT or window from it by itself, with the rules of
:mod:`postfix.plan.geometry` and :mod:`postfix.plan.figures`; what can be settled beforehand is settled here.
"""

from __future__ import annotations

import base64
import math
from dataclasses import replace
from typing import Any

import numpy as np

from postfix.measure.columns import Columns
from postfix.measure.table import ClipInfo
from postfix.plan.aligning import depth_stretch, eye_turns
from postfix.plan.figures import EDGE_TOLERANCE_PCT, LIMIT_TOLERANCE_PCT, Figures, figures_as_measured, range_budget
from postfix.plan.geometry import BAND_BORDERS, Array, drawing_of, widest_px, zoom_of
from postfix.plan.model import ShotPlan
from postfix.plan.robust import ShotArrays, shot_arrays
from postfix.plan.settings import HIT_MAX_PCT, PlanSettings
from postfix.review.clips import ReviewedClip, ReviewedShot
from postfix.review.logged import LoggedShot, Version
from postfix.review.pictures import RED_CYAN
from postfix.review.stills import frame_to_show

MOST_FRAMES = 20_000
"""Longest shot whose edges are handed over frame by frame, some 3 MB; the edges of a longer one count as not known."""

LEAST_REACH_PCT = 3.0
"""What the slider reaches at least, to either side of 0. Project default."""

WIDEST_WINDOW_PCT = 8.0
"""What the sliders of the window reach at least, percent of width. Project default."""

_EXACT = 1e-9  # how far a figure may lie off the decimals it was written with

_LARGEST = 1e9  # no figure of a picture is as large; with it codes stay exact in a script's numbers


def tryout_data(
    clip: ReviewedClip, shot: ReviewedShot, eyes: tuple[str, str] | None, *, frame: int | None = None
) -> dict[str, Any]:
    """Everything the try-out of a shot needs.

    Parameters
    ----------
    clip : ReviewedClip
    shot : ReviewedShot
        Of that clip.
    eyes : (str, str) or None
        Both eyes of the source, left and right, as ``data:`` addresses of pictures in the frame's shape; None where
        there are none.
    frame : int, optional
        Of the clip, that the pictures are of; by default the one that the card of the first screen shows. HIT and
        windows that move are drawn as they are there.

    Returns
    -------
    dict
        Numbers, text, lists and None alone: no NaN. Figures frame by frame are packed (:func:`packed`).
    """
    arrays = None if clip.columns is None else shot_arrays(clip.columns, shot.first, shot.last)
    screens = [_screen(version, result, clip, arrays) for version, result in zip(clip.versions, shot.results)]
    facts = clip.versions[0].clip
    if frame is None:
        shown = next(index for index, result in enumerate(shot.results) if result is not None)
        frame, _ = frame_to_show(clip.versions[shown], shot.any_result)
    return {
        "clip": facts.name,
        "shot": shot.name,
        "first": shot.first,
        "last": shot.last,
        "frame": frame,
        "timecode": _timecode(clip, frame),
        "timecodes": [shot.any_result.timecode_in, shot.any_result.timecode_out],
        "width_px": facts.width_px,
        "height_px": facts.height_px,
        "pixel_aspect": float(facts.pixel_aspect),
        "eyes": None if eyes is None else list(eyes),
        "red_cyan": RED_CYAN.tolist(),
        "borders": BAND_BORDERS.tolist(),
        "limit_tolerance_pct": LIMIT_TOLERANCE_PCT,
        "edge_tolerance_pct": EDGE_TOLERANCE_PCT,
        "hit_max_pct": HIT_MAX_PCT,
        "reach_pct": _reach_pct(shot, screens),
        "window_reach_px": _window_reach_px(shot, facts.width_px),
        "missing": "" if clip.columns is not None else clip.columns_missing or "the source's measurement is not there",
        "measured": None if arrays is None else _measured(arrays),
        "edges_missing": _edges_missing(arrays),
        "screens": screens,
    }


def _edges_missing(arrays: ShotArrays | None) -> str:
    """Why no edges are handed over although there is a measurement, as part of a sentence; empty where they are."""
    if arrays is None or len(arrays.near) <= MOST_FRAMES:
        return ""
    return f"the shot has {len(arrays.near)} frames, more than the {MOST_FRAMES} whose edges the page can hold"


def _measured(arrays: ShotArrays) -> dict[str, Any]:
    """The measurement after the running median, packed."""
    figures: dict[str, Any] = {name: packed(getattr(arrays, name)) for name in ("near", "far", "span", "median")}
    figures["frames"] = int(arrays.measured.sum())
    if len(arrays.near) <= MOST_FRAMES:
        for side in ("left", "right"):
            figures[f"{side}_rows"] = packed(getattr(arrays, f"{side}_rows"))
            black = getattr(arrays, f"{side}_hidden_px")
            figures[f"{side}_hidden_px"] = packed(black) if black.any() else None
    return figures


def packed(values: Array) -> dict[str, Any] | None:
    """An array as whole numbers in base64, as exact as a table is written; None where it holds no figure.

    Each figure is ``(least + code) / per``, its code ``bytes`` bytes long, lowest first; the largest code of all says
    that nothing is known.
    """
    known = np.abs(np.nan_to_num(values, nan=np.inf)) < _LARGEST
    if not known.any():
        return None
    given = values[known]
    # The decimals that a table is written with; four are the most there are.
    per = next((p for p in (100, 1000) if np.all(np.abs(np.rint(given * p) / p - given) < _EXACT)), 10_000)
    least = int(np.rint(given * per).min())
    span = int(np.rint(given * per).max()) - least
    length = next(n for n in (2, 3, 4, 6) if span < 2 ** (8 * n) - 1)
    codes = np.full(values.shape, 2 ** (8 * length) - 1, np.uint64)
    codes[known] = (np.rint(given * per) - least).astype(np.uint64)
    content = np.ascontiguousarray(codes.ravel().astype("<u8")).view(np.uint8).reshape(-1, 8)[:, :length]
    return {
        "least": least,
        "per": per,
        "bytes": length,
        "codes": base64.b64encode(content.tobytes()).decode("ascii"),
    }


def _screen(
    version: Version, result: LoggedShot | None, clip: ReviewedClip, arrays: ShotArrays | None
) -> dict[str, Any]:
    """One screen: where it is watched, its limits, what was planned; ``plan`` None, and ``why``, where it is cut
    otherwise."""
    screen, limits = version.screen, version.limits
    entry: dict[str, Any] = {"name": screen.name, "plan": None, "why": ""}
    if result is None:
        return entry | {"why": "cut otherwise, see its own card"}
    first = clip.versions[0].clip
    if (version.clip.width_px, version.clip.height_px) != (first.width_px, first.height_px):
        return entry | {"why": "of another frame size"}
    budget, rule = range_budget(limits)
    facts = planned_clip(version, clip.columns)
    rate = float(facts.rate)
    return entry | {
        "width_mm": screen.width_mm,
        "distance_mm": screen.distance_mm,
        "eye_mm": screen.eye_mm,
        "limits": {"near": _known(limits.near_pct), "far": _known(limits.far_pct), "range": _known(budget)},
        "rules": {"near": limits.near_rule, "far": limits.far_rule, "range": rule},
        "step_px": facts.step_px,
        "step_told": version.clip.step_px is not None or clip.columns is not None,
        "spare_px": facts.spare_px,
        # In frames, with the slack that planning takes (postfix.plan.window_brief).
        "brief_frames": version.windows.brief_s * rate - 1e-6,
        "hold_frames": version.windows.hold_s * rate - 1e-6,
        "plan": _plan(result.plan, facts),
        "fine": _fine(version, result),
        "before": _figures(result.before if arrays is None else figures_as_measured(arrays, facts, version.windows)),
    }


def planned_clip(version: Version, columns: Columns | None) -> ClipInfo:
    """The clip as the version was planned; the step of a log that does not tell it is the measurement's."""
    facts = version.clip.planned
    if version.clip.step_px is None and columns is not None:
        return replace(facts, step_px=columns.clip.step_px)
    return facts


def _plan(plan: ShotPlan, clip: ClipInfo) -> dict[str, Any]:
    drawing = drawing_of(plan)
    least = float(drawing.zooms([key.pct for key in plan.hit], clip).max())
    return {
        "hit": [[key.frame, key.pct] for key in plan.hit],
        "zoom": zoom_of(plan, clip),
        # What enlarges the shot whatever its HIT: a person's zoom, or that of a shot it dissolves with.
        "zoom_floor": plan.zoom if plan.zoom > least + _EXACT else 1.0,
        "fill": plan.fill,
        "window": [[key.frame, *key.left_px, *key.right_px] for key in plan.window],
        "soft_px": plan.window_soft_px,
        "opacity_pct": plan.window_opacity_pct,
        "subpixel": plan.subpixel,
        "aligned": _aligned(plan, clip),
    }


def _timecode(clip: ReviewedClip, frame: int) -> str:
    """Of a frame, as the longest version of the clip has it; empty where there is none."""
    codes = max((version.frames.timecodes for version in clip.versions), key=len)
    return codes[frame] if frame < len(codes) else ""


def _fine(version: Version, shot: LoggedShot) -> dict[str, bool]:
    """Whether planning draws a pinned HIT at fractions of a pixel, where it is held and where it moves inside the shot
    (:func:`postfix.plan.drafts.as_drawn`); ``told`` says whether the log tells the settings, ``by_hand`` whether a
    person decided it."""
    by_hand = shot.entry.get("by_hand", [])
    if isinstance(by_hand, list) and "subpixel" in by_hand:
        fine = shot.plan.subpixel
        return {"held": fine, "moving": fine, "told": True, "by_hand": True}
    given = version.subpixel or PlanSettings().subpixel
    told = version.subpixel is not None
    return {"held": given == "always", "moving": given != "never", "told": told, "by_hand": False}


def _aligned(plan: ShotPlan, clip: ClipInfo) -> dict[str, Any] | None:
    """What aligning does to each eye where the common zoom is 1, and to depth."""
    misalignment = drawing_of(plan).misalignment
    if misalignment is None:
        return None
    eyes = [
        {
            **dict(zip(("cos", "sin_across", "sin_down"), eye.parts)),
            "zoom": eye.zoom,
            "right_px": eye.right_px,
            "down_px": eye.down_px,
        }
        for eye in eye_turns(misalignment, float(clip.pixel_aspect))
    ]
    return {"stretch": depth_stretch(misalignment), "eyes": eyes}


def _figures(figures: Figures | None) -> dict[str, float | None] | None:
    """Figures before the change; None where nobody looked."""
    if figures is None:
        return None
    names = ("near_pct", "far_pct", "range_pct", "median_pct", "left_excess_pct", "right_excess_pct")
    return {name: _known(getattr(figures, name)) for name in names}


def _known(value: float) -> float | None:
    return round(float(value), 6) + 0.0 if math.isfinite(value) else None


def _reach_pct(shot: ReviewedShot, screens: list[dict[str, Any]]) -> float:
    """How far the slider goes to either side: beyond every plan, and beyond what brings near and far inside."""
    wanted = [LEAST_REACH_PCT]
    for result, screen in zip(shot.results, screens):
        if result is None or screen["plan"] is None:
            continue
        wanted += [abs(key.pct) + 1.0 for key in result.plan.hit]
        before = screen.get("before") or {}
        for name in ("near", "far"):
            limit, found = screen["limits"][name], before.get(f"{name}_pct")
            wanted += [abs(found - limit) + 0.5] if limit is not None and found is not None else []
    return min(float(math.ceil(max(wanted))), HIT_MAX_PCT)


def _window_reach_px(shot: ReviewedShot, width_px: int) -> int:
    widest = max((max(widest_px(result.plan.window)) for result in shot.results if result is not None), default=0.0)
    return min(width_px, math.ceil(max(WIDEST_WINDOW_PCT * width_px / 100.0, widest * 1.25)))
