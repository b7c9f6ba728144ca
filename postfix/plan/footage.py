"""Whether a plan is for the footage that is there."""

from __future__ import annotations

from pathlib import Path

from postfix.errors import InputError
from postfix.measure.table import ClipInfo
from postfix.plan.model import Plan


def require_same_footage(plan: Plan, clip: ClipInfo, frames: int, path: Path, plan_path: Path | None = None) -> None:
    """Refuse a plan made for other footage: length, size, rate, step, spare columns, shape of pixels, or footage
    mark where both are known, differ.

    Parameters
    ----------
    plan : Plan
    clip : ClipInfo
        What is there: of a measurement, or of a source.
    frames : int
        How many frames are there.
    path : Path
        Of the measurement or the source, for the message.
    plan_path : Path, optional
        Of the plan, for the message.

    Raises
    ------
    InputError
        Says only what differs.
    """
    planned = _clip_words(plan.clip, plan.shots[-1].last + 1, clip)
    present = _clip_words(clip, frames, plan.clip)
    differing = [(was, now) for was, now in zip(planned, present) if was != now]
    if differing:
        was, now = (", ".join(side) for side in zip(*differing))
        raise InputError(
            path,
            f"footage '{clip.name}' with {now}",
            f"{was}, as in {plan_path or 'the plan'} for '{plan.clip.name}'",
            "give the footage that was planned (frames, order and offset of the eyes), or measure and plan again",
        )


def _clip_words(clip: ClipInfo, frames: int, other: ClipInfo) -> list[str]:
    words = [
        f"{frames} frames",
        f"pictures of {clip.width_px}x{clip.height_px} px",
        f"{clip.rate} frames/s",
        f"moves in steps of {clip.step_px} px",
    ]
    if clip.spare_px or other.spare_px:
        words.append(f"{clip.spare_px} columns to spare beyond each side")
    if clip.pixel_aspect != 1 or other.pixel_aspect != 1:
        words.append(f"pixels {clip.pixel_aspect} times as wide as high")
    if clip.footage and other.footage:
        words.append(f"footage mark {clip.footage}")
    return words
