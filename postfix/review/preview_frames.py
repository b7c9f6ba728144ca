"""Which frames a preview shows: those typed, those of shots named, or those that its form takes by itself."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

from postfix.errors import UsageError
from postfix.review.preview import frames_of_shots, runs_of
from postfix.source.shots import Shot

Kind = Literal["video", "png", "stills"]
"""What the name of an output asks for."""

Form = Literal["video", "picture", "sheet", "stills"]
"""What is written: a PNG is a picture of one frame, or a contact sheet."""

Ranges = tuple[tuple[int, int], ...]
"""Frames of the clip as (first, last), both included, in the order typed."""

_NAMES, _LETTERS = 8, 40
"""Names that an error gives, and letters of each."""


@dataclass(frozen=True)
class Wanted:
    """What was typed of frames: at most one of the two.

    Attributes
    ----------
    ranges : Ranges or None
        By ``--at``; none names a frame twice.
    names : tuple of str
        Of shots, by ``--shot``.
    """

    ranges: Ranges | None = None
    names: tuple[str, ...] = ()

    @property
    def any(self) -> bool:
        """Whether anything was typed."""
        return self.ranges is not None or bool(self.names)


def chosen_frames(kind: Kind, wanted: Wanted, count: int, shots: Sequence[Shot]) -> tuple[Form, Sequence[int]]:
    """What is written, and the frames in their order.

    Parameters
    ----------
    kind : Kind
    wanted : Wanted
    count : int
        Frames of the clip.
    shots : sequence of Shot
        As far as they are known.

    Raises
    ------
    UsageError
        Where a frame or a shot is not there, or what is to be a video does not follow each other.
    """
    where, frames = "--at", _typed(wanted, count)
    if frames is None and wanted.names:
        where, named = "--shot", _named(wanted.names, shots)
        if kind == "png":
            frames = frames_of_shots(named)
        else:
            frames = [frame for shot in named for frame in range(shot.first, shot.last + 1)]
    if frames is None:
        frames = frames_of_shots(shots) if kind == "png" else range(count)
    if kind == "png":
        return ("picture" if wanted.any and len(frames) == 1 else "sheet"), frames
    if kind == "video" and wanted.any and len(runs_of(frames)) > 1:
        raise UsageError(
            where,
            "frames for a video that do not follow each other",
            "one range such as 10-20, or shots in a row",
            "write a video for each, or a .png or a folder for all of them",
        )
    return kind, frames


def _typed(wanted: Wanted, count: int) -> Sequence[int] | None:
    if wanted.ranges is None:
        return None
    outside = next((last for _, last in wanted.ranges if last >= count), None)
    if outside is not None:
        raise UsageError(
            "--at", f"frame {outside}", f"0 to {count - 1}, counted from the first frame used", "correct the number"
        )
    return [frame for first, last in wanted.ranges for frame in range(first, last + 1)]


def _named(names: Sequence[str], shots: Sequence[Shot]) -> list[Shot]:
    """Shots of these names, in the order of the names; several may bear the same one."""
    found = []
    for name in dict.fromkeys(names):
        same = [shot for shot in shots if shot.name == name]
        if not same:
            some = ", ".join(_short(shot.name) for shot in shots[:_NAMES])
            more = f" and {len(shots) - _NAMES} more" if len(shots) > _NAMES else ""
            raise UsageError("--shot", f"no shot '{_short(name)}'", f"one of {some}{more}", "correct the name")
        found += same
    return found


def _short(name: str) -> str:
    return name if len(name) <= _LETTERS else name[: _LETTERS - 1] + "…"
