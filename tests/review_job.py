"""A finished job on disk, made up without measuring: one shot left alone, one moved, one windowed and flagged."""

from fractions import Fraction

import imageio.v3 as imageio
import numpy as np

from postfix.deliver.changelog import EyeFile, ShotResult, change_log, change_log_text, frame_table_lines
from postfix.limits import limits_for
from postfix.measure.columns import columns_of
from postfix.measure.table import ClipInfo, FrameMeasure, MeasurementTable
from postfix.plan.figures import figures_of
from postfix.plan.model import Flag, HitKey, Plan, ShotPlan, WindowKey
from postfix.render.moves import render_pair
from postfix.source.opening import open_eye
from postfix.source.shots import Shot
from postfix.viewing import BUILTIN_SCREENS

WIDTH, HEIGHT, SHOT_FRAMES = 200, 112, 4
PLANS = (
    ShotPlan("title", 0, 3, reason="near and far are inside their limits"),
    ShotPlan("beach", 4, 7, hit=(HitKey(4, -1.0),), reason="far was +1.50 %, limit +0.54 %"),
    ShotPlan(
        "spool",
        8,
        11,
        window=(WindowKey(8, (4.0, 8.0), (0.0, 0.0)), WindowKey(11, (6.0, 12.0), (0.0, 0.0))),
        reason="content at the left edge",
    ),
)
FLAG = Flag("left-edge", "content at the left edge is 0.40 % in front of that edge")


def table_for(plans, clip, near, far):
    """Every shot i with near[i] and far[i]; NaN where nothing was measured."""
    frames = []
    for plan, low, high in zip(plans, near, far):
        known = FrameMeasure(
            near_pct=low,
            far_pct=high,
            median_pct=(low + high) / 2.0,
            left_edge_pct=low,
            right_edge_pct=high,
            confidence=0.9 if np.isfinite(low) else 0.0,
        )
        frames += [known] * (plan.last - plan.first + 1)
    shots = tuple(Shot(plan.name, plan.first, plan.last) for plan in plans)
    return MeasurementTable(clip, tuple(frames), ("",) * len(frames), shots)


def write_source(folder, plans=PLANS):
    """Numbered PNG stills of both eyes, a bright square in front of a ramp; their folders."""
    rows, columns = np.mgrid[:HEIGHT, :WIDTH]
    for eye, shift in (("left", 3), ("right", -3)):
        (folder / eye).mkdir(parents=True)
        for frame in range(plans[-1].last + 1):
            picture = np.stack([columns % 256, rows * 2 % 256, 40 + 0 * rows], axis=2).astype(np.uint8)
            left = 40 + 2 * (frame % 30) + shift
            picture[30:70, left : left + 40] = 230
            imageio.imwrite(folder / eye / f"sh_{eye}.{1001 + frame}.png", picture)
    return folder / "left", folder / "right"


def write_version(
    folder,
    sources,
    *,
    plans=PLANS,
    name="slipway",
    screen="cinema-12m",
    checked=True,
    near=(-0.5, -0.2, -2.0),
    far=(0.2, 1.5, 0.3),
):
    """Outputs, changes.json and changes.csv of one screen in ``folder``."""
    clip = ClipInfo(name, WIDTH, HEIGHT, Fraction(24), 1)
    where = BUILTIN_SCREENS[screen]
    plan = Plan(where, limits_for(where), clip, plans)
    eyes = [open_eye(path, rate=clip.rate) for path in sources]
    shot_of = [shot for shot in plans for _ in range(shot.first, shot.last + 1)]
    for eye in ("left", "right"):
        (folder / eye).mkdir(parents=True)
    for frame, (left, right) in enumerate(zip(eyes[0].frames(), eyes[1].frames())):
        *out, _ = render_pair(left, right, eyes[0].format, clip, shot_of[frame], frame)
        for eye, planes in zip(("left", "right"), out):
            imageio.imwrite(folder / eye / f"sh_{eye}.{1001 + frame}.png", planes[0])
    before = table_for(plans, clip, near, far)
    moved = [shot.hit[0].pct for shot in plans]
    after = table_for(plans, clip, *([v + h for v, h in zip(values, moved)] for values in (near, far)))
    results = tuple(
        ShotResult(
            shot,
            figures_of(columns_of(before), shot.first, shot.last),
            figures_of(columns_of(after), shot.first, shot.last) if checked else None,
            (FLAG,) if shot.name == "spool" and checked else (),
        )
        for shot in plans
    )
    log = change_log(
        plan,
        results,
        sources=tuple(
            EyeFile(eye, str(path), len(shot_of), "ab" * 32, "24", 1001)
            for eye, path in zip(("left", "right"), sources)
        ),
        outputs=tuple(EyeFile(eye, eye, len(shot_of), "cd" * 32) for eye in ("left", "right")),
        timecode="01:00:00:00",
        tool={"name": "postfix-stereo", "version": "0.0", "libraries": {"numpy": "2"}},
    )
    (folder / "changes.json").write_text(change_log_text(log), encoding="utf-8")
    table = "".join(frame_table_lines(plan, before, after if checked else None, timecode="01:00:00:00"))
    (folder / "changes.csv").write_text(table, encoding="utf-8")
    return folder
