"""What a change log holds, once it is read: clip, screen, shots, frames."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from fractions import Fraction
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt

from postfix.limits import Limits
from postfix.measure.table import ClipInfo
from postfix.plan.figures import Figures
from postfix.plan.model import Flag, ShotPlan
from postfix.plan.settings import DEFAULT_WINDOWS, ConvergenceSettings, Subpixel, WindowSettings
from postfix.source.layout import Layout
from postfix.source.pair import AS_GIVEN, Reading
from postfix.source.picture import OnBad
from postfix.story.model import ShotStory, Story
from postfix.viewing import Screen

Column = npt.NDArray[np.float64]

NUMBER_COLUMNS = (
    "hit_pct",
    "left_move_px",
    "right_move_px",
    "zoom",
    "window_left_top_px",
    "window_left_bottom_px",
    "window_right_top_px",
    "window_right_bottom_px",
    *(
        f"{name}_{when}_pct"
        for name in ("near", "far", "median", "left_edge", "right_edge")
        for when in ("before", "after")
    ),
)
"""Columns of ``changes.csv`` that the page draws; empty cells become NaN."""


@dataclass(frozen=True)
class ClipFacts:
    """The clip as the log names it."""

    name: str
    width_px: int
    height_px: int
    rate: Fraction
    frames: int
    spare_px: int = 0
    pixel_aspect: Fraction = Fraction(1)
    step_px: int | None = None
    """What eyes are moved by multiples of; None in logs that do not say."""
    footage: str = ""
    """Mark of the source's very frames (:func:`postfix.measure.table.footage_mark`); empty where it is not told."""

    @property
    def planned(self) -> ClipInfo:
        """The clip as planning knows it; its moves in steps of 1 where the log does not tell the step."""
        return ClipInfo(
            self.name,
            self.width_px,
            self.height_px,
            self.rate,
            self.step_px or 1,
            spare_px=self.spare_px,
            pixel_aspect=self.pixel_aspect,
            footage=self.footage,
        )


@dataclass(frozen=True)
class LoggedFile:
    """One eye of the source or of the output, or ``both``."""

    eye: str
    path: Path
    frames: int
    sha256: str
    first_frame: int | None = None
    """What --frames calls the first one that was used; None in logs that do not say."""
    layout: Layout = "left-right"
    """How the eyes lie in it."""


@dataclass(frozen=True)
class LoggedShot:
    """A shot in the log; ``before`` and ``after`` are None where they were not measured."""

    plan: ShotPlan
    timecode_in: str
    timecode_out: str
    applied_hit_px: tuple[float, float]
    before: Figures | None
    after: Figures | None
    flags: tuple[Flag, ...]
    entry: Mapping[str, Any] = field(default_factory=dict)
    """The shot's entry as it stands in the log."""
    story: ShotStory | None = None
    """What is told of it besides its limits; None in logs that do not."""

    @property
    def is_moved(self) -> bool:
        """Whether the pictures were moved or enlarged."""
        return self.applied_hit_px != (0.0, 0.0) or self.plan.zoom != 1.0 or self.is_aligned

    @property
    def is_changed(self) -> bool:
        """Whether its pictures are others than the source's."""
        return self.is_moved or self.is_windowed

    @property
    def is_aligned(self) -> bool:
        """Whether shift in height, turn and size of one eye against the other were taken out."""
        return self.plan.align and self.plan.misalignment is not None

    @property
    def is_windowed(self) -> bool:
        """Whether anything is hidden at a side edge by the plan's window."""
        return any(max(*key.left_px, *key.right_px) > 0.0 for key in self.plan.window)


@dataclass(frozen=True)
class FrameTable:
    """``changes.csv``: a timecode and figures for each frame, counted from 0."""

    timecodes: tuple[str, ...]
    columns: Mapping[str, Column]

    def __getitem__(self, name: str) -> Column:
        return self.columns[name]


@dataclass(frozen=True)
class Version:
    """One clip made ready for one screen, as found in ``folder``."""

    folder: Path
    tool: str
    libraries: str
    clip: ClipFacts
    screen: Screen
    limits: Limits
    sources: tuple[LoggedFile, ...]
    outputs: tuple[LoggedFile, ...]
    shots: tuple[LoggedShot, ...]
    frames: FrameTable
    reading: Reading = AS_GIVEN
    suspicions: tuple[str, ...] = ()
    remarks: tuple[str, ...] = ()
    windows: WindowSettings = DEFAULT_WINDOWS
    """Of the settings that the plan was made with, what an edge is judged by."""
    subpixel: Subpixel | None = None
    """Of the same settings, which HIT is drawn to a fraction of a pixel; None in logs that do not say."""
    framed_from_px: tuple[int, int] | None = None
    """Width and height of the source's pictures where the frame that was delivered was cut from them, or is larger."""
    jump_arcmin: float = ConvergenceSettings.jump_arcmin
    """Of the same settings, what is a hard jump in depth."""
    on_bad: OnBad = "stop"
    """What was done about frames of the source that could not be decoded; ``stop`` where there were none."""
    story: Story | None = None
    """What is told of the edit besides its limits, of all shots; None in logs that do not."""
