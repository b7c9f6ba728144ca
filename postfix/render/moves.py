"""One frame of a pair as a plan wants it: moved, filled, windowed."""

from __future__ import annotations

import numpy as np

from postfix.errors import InputError
from postfix.measure.table import ClipInfo
from postfix.plan.geometry import SIDES, Moves, bare_px, is_resampled, moves_of, window_px_at
from postfix.plan.model import ShotPlan
from postfix.plan.placement import Placement
from postfix.render.planes import moved, painted, row_counts
from postfix.render.resample import resampled
from postfix.render.veils import is_veil, veiled, window_weights
from postfix.source.picture import PictureFormat, Planes

Line = tuple[float, float]


def render_pair(
    left: Planes, right: Planes, fmt: PictureFormat, clip: ClipInfo, shot_plan: ShotPlan, frame: int
) -> tuple[Planes, Planes, bool]:
    """Apply a shot's plan to one frame.

    Parameters
    ----------
    left, right : Planes
        Never written to.
    fmt : PictureFormat
    clip : ClipInfo
        What the plan was made for.
    shot_plan : ShotPlan
    frame : int
        Of the clip, counted from 0.

    Returns
    -------
    left, right : Planes
        An eye that nothing is done to comes back as the same arrays.
    unchanged : bool
        True where nothing is done to either eye.

    Raises
    ------
    InputError
        Where the plan was made for another size or another chroma layout.
    """
    _check(fmt, clip)
    moves = moves_of(shot_plan, clip, [frame])
    window = window_px_at(shot_plan, [frame])[0]
    bare = [bare_px(moves, side, clip.width_px) for side in SIDES]
    lines: tuple[Line, Line] = ((float(window[0]), float(window[1])), (float(window[2]), float(window[3])))
    eyes = []
    for index, (planes, shift) in enumerate(((left, moves.left_px[0]), (right, moves.right_px[0]))):
        out = _placed(planes, fmt, moves, float(shift), is_resampled(shot_plan))
        sides = (float(bare[0][index][0]), float(bare[1][index][0]))
        out = _windowed(out, fmt, shot_plan, index, lines[index], sides, owned=out is not planes)
        eyes.append(out)
    return eyes[0], eyes[1], eyes[0] is left and eyes[1] is right


def _placed(planes: Planes, fmt: PictureFormat, moves: Moves, shift_px: float, drawn_anew: bool) -> Planes:
    if not drawn_anew:
        return moved(planes, fmt, round(shift_px))
    if shift_px == 0.0 and moves.zoom == 1.0:
        return planes
    return resampled(planes, fmt, Placement(moves.zoom, right_px=shift_px))


def _windowed(
    planes: Planes, fmt: PictureFormat, shot: ShotPlan, index: int, line: Line, bare: Line, *, owned: bool
) -> Planes:
    """One eye with its bare columns at (left, right) black, and its window: the left eye, 0, has it at the left side
    and the right eye, 1, at the right."""
    hidden = [row_counts(px, px, fmt.height) for px in bare]
    if not is_veil(shot):
        hidden[index] = np.maximum(hidden[index], row_counts(*line, fmt.height))
        return painted(planes, fmt, hidden[0], hidden[1], owned=owned)
    opacity = shot.window_opacity_pct / 100.0
    first, weights = window_weights(fmt, SIDES[index], line, bare[index], shot.window_soft_px, opacity)
    out = veiled(planes, fmt, first, weights, owned=owned)
    # What has no picture is black whatever the window lets through.
    return painted(out, fmt, hidden[0], hidden[1], owned=owned or out is not planes)


def _check(fmt: PictureFormat, clip: ClipInfo) -> None:
    if (fmt.width, fmt.height) != (clip.width_px, clip.height_px):
        raise InputError(
            f"the plan for {clip.name}",
            f"a picture of {fmt.width}x{fmt.height} pixels",
            f"{clip.width_px}x{clip.height_px}, for which the plan was made",
            "render the source that was measured, or measure and plan this one",
        )
    if clip.step_px % fmt.step_px:
        raise InputError(
            f"the plan for {clip.name}",
            f"chroma that moves by {fmt.step_px} luma pixels at a time",
            f"a step that divides {clip.step_px}, for which the plan was made",
            "render the source that was measured, or measure and plan this one",
        )
