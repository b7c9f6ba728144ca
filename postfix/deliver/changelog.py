"""The change log: what was done to every shot and frame, with the figures before and after.

``changes.json`` holds the shots, ``changes.csv`` the frames. "After" is what was measured on the written files; where
they were not measured it is null, never a prediction.
"""

from __future__ import annotations

import json
import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import asdict, dataclass, replace
from typing import Any

import numpy as np

from postfix.deliver.story_log import camera_entry, shot_story_entry, story_entry
from postfix.measure.columns import columns_of
from postfix.measure.remarks import Told
from postfix.measure.table import MeasurementTable
from postfix.outside import cell_of, csv_line
from postfix.plain import plain
from postfix.plan.bad_frames import bad_frame_flags
from postfix.plan.figures import Figures, figures_as_measured, shot_flags
from postfix.plan.geometry import moves_of, window_px_at, zoom_of
from postfix.plan.model import Flag, Plan, ShotPlan, Subject
from postfix.plan.robust import shot_arrays
from postfix.plan.settings_file import settings_data
from postfix.source.layout import Layout
from postfix.source.pair import AS_GIVEN, Reading
from postfix.source.patient import BadFrame
from postfix.source.picture import OnBad
from postfix.source.timecode import timecode_at
from postfix.story.model import Story

SCHEMA = "postfix-changes/1"

FRAME_COLUMNS = (
    "frame",
    "timecode",
    "shot",
    "hit_pct",
    "left_move_px",
    "right_move_px",
    "zoom",
    "fill",
    "window_left_top_px",
    "window_left_bottom_px",
    "window_right_top_px",
    "window_right_bottom_px",
)
_BAD_COLUMN = "bad_frame"
_FRAME_FIGURES = (
    ("near_pct", "near_before_pct", "near_after_pct"),
    ("far_pct", "far_before_pct", "far_after_pct"),
    ("median_pct", "median_before_pct", "median_after_pct"),
    ("left_edge_pct", "left_edge_before_pct", "left_edge_after_pct"),
    ("right_edge_pct", "right_edge_before_pct", "right_edge_after_pct"),
    ("confidence", "confidence_before", "confidence_after"),
)


@dataclass(frozen=True)
class EyeFile:
    """One file or folder of stills of a source or an output, as the log names it: one eye, or ``both``."""

    eye: str
    path: str
    frames: int
    sha256: str
    rate: str = ""
    first_frame: int = 0
    """What --frames calls the first frame that was used: the number of a still, the place in a video file."""
    layout: str = "left-right"
    """How the eyes lie in it (:data:`postfix.source.layout.Layout`)."""


@dataclass(frozen=True)
class ShotResult:
    """A shot after the job: its decisions, figures and what stays outside the limits."""

    plan: ShotPlan
    before: Figures | None
    after: Figures | None
    flags: tuple[Flag, ...]


def shot_results(plan: Plan, before: MeasurementTable | None, after: MeasurementTable | None) -> tuple[ShotResult, ...]:
    """Figures of each shot on both sides of the change; flags from what was measured after it."""
    was, now = (None if table is None else columns_of(table) for table in (before, after))
    results = []
    for shot in plan.shots:
        source, finished = (None if c is None else shot_arrays(c, shot.first, shot.last) for c in (was, now))
        figures_before = None if source is None else figures_as_measured(source, plan.clip)
        figures_after: Figures | None = None
        flags: tuple[Flag, ...] = ()
        if finished is not None:
            figures_after = figures_as_measured(finished, plan.clip, plan.settings.window)
            flags = shot_flags(figures_after, finished, shot, plan, "the finished files", source)
        results.append(ShotResult(shot, figures_before, figures_after, flags))
    return tuple(results)


def change_log(
    plan: Plan,
    results: tuple[ShotResult, ...],
    *,
    sources: tuple[EyeFile, ...],
    outputs: tuple[EyeFile, ...],
    timecode: str | None,
    tool: Mapping[str, Any],
    reading: Reading = AS_GIVEN,
    said: Told | None = None,
    framed_from_px: tuple[int, int] | None = None,
    codec: str | None = None,
    measured_layout: Layout | None = None,
    on_bad_frame: OnBad = "stop",
    bad_frames: Sequence[BadFrame] = (),
    story: Story | None = None,
) -> dict[str, Any]:
    """The log as plain data, ready for JSON.

    Parameters
    ----------
    timecode : str or None
        Of frame 0.
    tool : mapping
        ``name``, ``version`` and ``libraries``.
    reading : Reading
        How the sources were paired.
    said : Told, optional
        What the measurement before the change says besides its figures.
    framed_from_px : (int, int), optional
        Width and height of the source's pictures where the delivered frame has others.
    codec : str, optional
        What was chosen to write video in; None for the source's own.
    measured_layout : Layout, optional
        Of the outputs, the one that "after" was measured on.
    on_bad_frame : OnBad
        What was to be done about frames of the source that cannot be decoded.
    bad_frames : sequence of BadFrame
        What was shown in place of frames of the source that could not be decoded; shots that hold some are flagged.
    story : Story, optional
        What is told of the edit besides its limits; shots as in the plan.
    """
    clip = plan.clip
    told = [None] * len(results) if story is None else [shot_story_entry(shot) for shot in story.shots]
    return {
        "schema": SCHEMA,
        "tool": dict(tool),
        "clip": {
            "name": clip.name,
            "width_px": clip.width_px,
            "height_px": clip.height_px,
            "rate": str(clip.rate),
            "step_px": clip.step_px,
            "frames": plan.shots[-1].last + 1,
            "spare_px": clip.spare_px,
            "pixel_aspect": str(clip.pixel_aspect),
            "footage": clip.footage,
        },
        "screen": asdict(plan.screen),
        "limits": asdict(plan.limits),
        "settings": settings_data(plan.settings),
        "reading": asdict(reading),
        "framed_from_px": None if framed_from_px is None else list(framed_from_px),
        "codec": codec,
        "measured_layout": measured_layout,
        "sources": [asdict(source) for source in sources],
        "outputs": [
            {k: getattr(output, k) for k in ("eye", "layout", "path", "frames", "sha256")} for output in outputs
        ],
        "suspicions": [] if said is None else [asdict(suspicion) for suspicion in said.suspicions],
        "remarks": [] if said is None else list(said.remarks_texts()),
        "on_bad_frame": on_bad_frame,
        "bad_frames": [asdict(bad) for bad in bad_frames],
        "story": None if story is None else story_entry(story),
        "shots": [
            {**_shot_entry(_with_bad(result, bad_frames), plan, timecode), "story": one}
            for result, one in zip(results, told)
        ],
    }


def _with_bad(result: ShotResult, bad_frames: Sequence[BadFrame]) -> ShotResult:
    more = bad_frame_flags(bad_frames, result.plan.first, result.plan.last)
    return replace(result, flags=(*result.flags, *more)) if more else result


def _shot_entry(result: ShotResult, plan: Plan, timecode: str | None) -> dict[str, Any]:
    shot, clip = result.plan, plan.clip
    hit_px = moves_of(shot, clip).hit_px
    return {
        "name": shot.name,
        "first": shot.first,
        "last": shot.last,
        "timecode_in": timecode_at(timecode, shot.first, clip.rate),
        "timecode_out": timecode_at(timecode, shot.last, clip.rate),
        "hit": [asdict(key) for key in shot.hit],
        **plain({"applied_hit_px": [float(hit_px.min()), float(hit_px.max())]}),
        "zoom": zoom_of(shot, clip),
        "fill": shot.fill,
        "subpixel": shot.subpixel,
        "align": shot.align,
        "misalignment": None if shot.misalignment is None else asdict(shot.misalignment),
        "window": [{"frame": k.frame, "left_px": list(k.left_px), "right_px": list(k.right_px)} for k in shot.window],
        "window_soft_px": shot.window_soft_px,
        "window_opacity_pct": shot.window_opacity_pct,
        "subject": _subject_entry(shot.subject),
        "by_hand": list(shot.by_hand),
        "locked": shot.locked,
        "camera": camera_entry(shot.camera),
        "before": _figures_entry(result.before),
        "after": _figures_entry(result.after),
        "flags": [asdict(flag) for flag in result.flags],
        "reason": shot.reason,
    }


def _subject_entry(subject: Subject | None) -> dict[str, Any] | None:
    if subject is None:
        return None
    return {**asdict(subject), "box": list(subject.box), **plain({"found_pct": subject.found_pct})}


def _figures_entry(figures: Figures | None) -> dict[str, Any] | None:
    if figures is None:
        return None
    return plain(asdict(figures))


def change_log_text(log: Mapping[str, Any]) -> str:
    """JSON text of the log."""
    return json.dumps(log, indent=2, ensure_ascii=False, allow_nan=False) + "\n"


def frame_table_lines(
    plan: Plan,
    before: MeasurementTable | None,
    after: MeasurementTable | None,
    *,
    timecode: str | None,
    bad_frames: Sequence[BadFrame] = (),
) -> Iterator[str]:
    """Lines of a CSV with one row a frame: what was done, and the figures before and after where they were measured.

    Last in a row stands which eye of the source could not be decoded there: ``left``, ``right`` or ``both``.
    """
    yield csv_line([*FRAME_COLUMNS, *(column for _, *pair in _FRAME_FIGURES for column in pair), _BAD_COLUMN])
    marks: dict[int, str] = {}
    for bad in bad_frames:
        marks[bad.frame] = "both" if bad.frame in marks else bad.eye
    clip = plan.clip
    for shot in plan.shots:
        frames = np.arange(shot.first, shot.last + 1)
        moves, windows, zoom = moves_of(shot, clip), window_px_at(shot, frames), zoom_of(shot, clip)
        for index, frame in enumerate(frames.tolist()):
            left_px, right_px = float(moves.left_px[index]), float(moves.right_px[index])
            done = [
                _digits((right_px - left_px) * 100.0 / clip.width_px, 4),
                _digits(left_px, 3),
                _digits(right_px, 3),
                f"{zoom:g}",
                shot.fill,
                *(_digits(value, 2) for value in windows[index]),
            ]
            rows = [None if table is None else table.frames[frame] for table in (before, after)]
            figures = [
                "" if row is None else _digits(getattr(row, name), 4)
                for name, *_columns in _FRAME_FIGURES
                for row in rows
            ]
            yield csv_line(
                [
                    frame,
                    timecode_at(timecode, frame, clip.rate),
                    cell_of(shot.name),
                    *done,
                    *figures,
                    marks.get(frame, ""),
                ]
            )


def _digits(value: float, digits: int) -> str:
    if not math.isfinite(value):
        return ""
    return f"{round(float(value), digits) + 0.0:.{digits}f}".rstrip("0").rstrip(".")
