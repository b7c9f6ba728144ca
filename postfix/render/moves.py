"""One frame of a pair as a plan wants it: moved, filled, windowed."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from postfix.errors import InputError
from postfix.measure.table import ClipInfo
from postfix.plan.geometry import SIDES, bare_px, moves_of, placements, window_px_at
from postfix.plan.model import ShotPlan
from postfix.plan.placement import Placement
from postfix.render.bars import barred, unbarred
from postfix.render.planes import moved
from postfix.render.resample import resampled
from postfix.render.veils import SideEdge, hidden
from postfix.source.framed import NO_BARS, Bars
from postfix.source.picture import PictureFormat, Planes


def render_pair(
    left: Planes,
    right: Planes,
    fmt: PictureFormat,
    clip: ClipInfo,
    shot_plan: ShotPlan,
    frame: int,
    *,
    spare_px: int = 0,
    bars: Bars = NO_BARS,
) -> tuple[Planes, Planes, bool]:
    """Apply a shot's plan to one frame.

    Parameters
    ----------
    left, right : Planes
        Never written to.
    fmt : PictureFormat
        Of ``left`` and ``right``.
    clip : ClipInfo
        What the plan was made for.
    shot_plan : ShotPlan
    frame : int
        Of the clip, counted from 0.
    spare_px : int
        Columns that the planes have beyond the frame at each side. The result has the frame's columns alone.
    bars : Bars
        Black that was laid about the picture to fill the frame. It rides along with the picture and stays exact.

    Returns
    -------
    left, right : Planes
        An eye that nothing is done to comes back as the same arrays; one that only lies elsewhere in a wider picture,
        as views of them. So the result is not to be written to, and its rows need not follow each other in memory.
    unchanged : bool
        True where both eyes come back as the same arrays.

    Raises
    ------
    InputError
        Where the plan was made for another size, other spare columns or another chroma layout.
    """
    cut = replace(fmt, width=fmt.width - 2 * spare_px) if spare_px else fmt
    _check(cut, clip, spare_px)
    edges = _edges(clip, shot_plan, frame)
    eyes = []
    for planes, placement, (at_left, at_right) in zip((left, right), placements(shot_plan, clip, frame), edges):
        placed, owned = _placed(planes, fmt, placement, spare_px, bars)
        eyes.append(hidden(placed, cut, at_left, at_right, owned=owned))
    return eyes[0], eyes[1], eyes[0] is left and eyes[1] is right


def _placed(planes: Planes, fmt: PictureFormat, placement: Placement, spare_px: int, bars: Bars) -> tuple[Planes, bool]:
    """The frame's columns of one eye, and whether their arrays may be written to."""
    shift_px = round(placement.right_px)
    if placement == Placement(right_px=float(shift_px)) and shift_px % fmt.step_px == 0:
        # Beyond the spare columns there is nothing to show a view of.
        return moved(planes, fmt, shift_px, spare_px), abs(shift_px) > spare_px
    if bars:
        drawn = barred(resampled(unbarred(planes, fmt, bars), fmt, placement), fmt, placement, bars)
    else:
        drawn = resampled(planes, fmt, placement)
    # What is no colour may not need drawing.
    owned = not any(np.may_share_memory(new, old) for new, old in zip(drawn, planes))
    return moved(drawn, fmt, 0, spare_px), owned


def _edges(clip: ClipInfo, shot: ShotPlan, frame: int) -> list[tuple[SideEdge, SideEdge]]:
    """What hides the left and the right side of either eye."""
    moves = moves_of(shot, clip, [frame])
    window = [float(px) for px in window_px_at(shot, [frame])[0]]
    bare = [bare_px(moves, side, clip.width_px) for side in SIDES]
    none = (0.0, 0.0)
    # The window is in the left eye at the left and in the right eye at the right.
    lines = (((window[0], window[1]), none), (none, (window[2], window[3])))
    edges = []
    for index, eye_lines in enumerate(lines):
        left, right = (
            SideEdge(line, float(side[index][0]), shot.window_soft_px, shot.window_opacity_pct / 100.0)
            for line, side in zip(eye_lines, bare)
        )
        edges.append((left, right))
    return edges


def _check(fmt: PictureFormat, clip: ClipInfo, spare_px: int) -> None:
    if (fmt.width, fmt.height) != (clip.width_px, clip.height_px):
        raise InputError(
            f"the plan for {clip.name}",
            f"a picture of {fmt.width}x{fmt.height} pixels",
            f"{clip.width_px}x{clip.height_px}, for which the plan was made",
            "render the source that was measured, or measure and plan this one",
        )
    if spare_px != clip.spare_px:
        raise InputError(
            f"the plan for {clip.name}",
            f"{spare_px} columns of picture beyond each side of the frame",
            f"{clip.spare_px}, for which the plan was made",
            "render with the same --frame that was measured, or measure and plan with this one",
        )
    if clip.step_px % fmt.step_px:
        raise InputError(
            f"the plan for {clip.name}",
            f"chroma that moves by {fmt.step_px} luma pixels at a time",
            f"a step that divides {clip.step_px}, for which the plan was made",
            "render the source that was measured, or measure and plan this one",
        )
