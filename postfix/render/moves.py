"""One frame of a pair as a plan wants it: moved, filled, windowed."""

from __future__ import annotations

import numpy as np

from postfix.errors import InputError
from postfix.measure.table import ClipInfo
from postfix.plan.geometry import SIDES, Moves, bare_px, is_resampled, moves_of, window_px_at
from postfix.plan.model import ShotPlan
from postfix.render.planes import moved, painted, row_counts
from postfix.render.resample import resampled
from postfix.source.picture import PictureFormat, Planes


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
    bare_left, bare_right = (bare_px(moves, side, clip.width_px) for side in SIDES)
    eyes = []
    for index, (planes, shift) in enumerate(((left, moves.left_px[0]), (right, moves.right_px[0]))):
        out = _placed(planes, fmt, moves, float(shift), is_resampled(shot_plan))
        # The window is in the left eye at the left side and in the right eye at the right side.
        hidden_left = row_counts(float(bare_left[index][0]), float(bare_left[index][0]), fmt.height)
        hidden_right = row_counts(float(bare_right[index][0]), float(bare_right[index][0]), fmt.height)
        if index == 0:
            hidden_left = np.maximum(hidden_left, row_counts(window[0], window[1], fmt.height))
        else:
            hidden_right = np.maximum(hidden_right, row_counts(window[2], window[3], fmt.height))
        eyes.append(painted(out, fmt, hidden_left, hidden_right, owned=out is not planes))
    return eyes[0], eyes[1], eyes[0] is left and eyes[1] is right


def _placed(planes: Planes, fmt: PictureFormat, moves: Moves, shift_px: float, drawn_anew: bool) -> Planes:
    if not drawn_anew:
        return moved(planes, fmt, round(shift_px))
    if shift_px == 0.0 and moves.zoom == 1.0:
        return planes
    return resampled(planes, fmt, moves.zoom, shift_px)


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
