"""Time and memory of planning a long reel for three screens.

    python tests/bench/plan_scale.py [SHOTS [FRAMES]]

Writes a measurement of made-up shots (by default 2,000 with 200,000 frames): two in five with something at an edge,
one in twenty whose depth drifts so far that often no held HIT fits, one in fifty that dissolves in. Then runs the plan
command on it for three screens as a person would, reading the file included, three times in processes of their own.
"""

from __future__ import annotations

import sys
import tempfile
from fractions import Fraction
from pathlib import Path

import numpy as np
from run_time import timed
from tables import heading, machine, row

from postfix.measure.table import EDGE_BANDS, NAN, ClipInfo, FrameMeasure, MeasurementTable, ShotFinding
from postfix.measure.table_csv import table_text
from postfix.source.shots import Shot

SCREENS = ("cinema-12m", "tv-55in", "desktop-27in")
RUNS = 3
SEED = 41

_NOTHING = (NAN,) * EDGE_BANDS


def made_up(shots: int, frames: int) -> MeasurementTable:
    """A measurement with the kinds of shots that cost planning most."""
    random = np.random.default_rng(SEED)
    length = frames // shots
    measures: list[FrameMeasure] = []
    findings = []
    for index in range(shots):
        near, span = float(random.normal(-0.6, 0.5)), float(abs(random.normal(1.3, 0.5)))
        drift = np.linspace(0.0, random.normal(0.0, 1.5), length) if index % 20 == 0 else np.zeros(length)
        start, end = sorted(random.integers(0, length, 2).tolist())
        side = random.choice(["left", "right"]) if random.random() < 0.4 else ""
        top = int(random.integers(0, EDGE_BANDS))
        for frame in range(length):
            jitter = random.normal(0.0, 0.01, 4)
            low = near + float(drift[frame])
            rows = _NOTHING
            if side and start <= frame <= end:
                edge = round(low + 0.1 + float(jitter[3]), 3)
                rows = tuple(NAN if band < top else edge for band in range(EDGE_BANDS))
            measures.append(
                FrameMeasure(
                    near_pct=round(low + float(jitter[0]), 4), far_pct=round(low + span + float(jitter[1]), 4),
                    median_pct=round(low + span / 2.0 + float(jitter[2]), 4), nearest_pct=low, farthest_pct=low + span,
                    left_edge_pct=min(rows) if side == "left" else NAN,
                    right_edge_pct=min(rows) if side == "right" else NAN,
                    left_rows_pct=rows if side == "left" else _NOTHING,
                    right_rows_pct=rows if side == "right" else _NOTHING,
                    vertical_px=0.1, rotation_deg=0.01, size_pct=0.02, keystone_pct=0.0, rivalry_pct=0.1,
                    coverage_pct=72.0, confidence=0.95, near_box=(400, 500, 300, 200), far_box=(900, 40, 500, 200),
                )
            )  # fmt: skip
        dissolves = 24 if index % 50 == 49 else 0
        findings.append(ShotFinding(0.95, 0.0, 0.9, "", "dissolve" if dissolves else "cut", dissolves))
    clip = ClipInfo("reel", 2048, 1080, Fraction(24), 2, "0123456789abcdef")
    cuts = tuple(Shot(f"s{i + 1:04d}", i * length, (i + 1) * length - 1) for i in range(shots))
    return MeasurementTable(clip, tuple(measures), ("",) * len(measures), cuts, tuple(findings))


def main() -> None:
    """Measure and print."""
    shots, frames = (int(text) for text in (*sys.argv[1:], *("2000", "200000")[len(sys.argv) - 1 :]))
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        table = folder / "reel.csv"
        table.write_text(table_text(made_up(shots, frames)), encoding="utf-8")
        print(f"{shots} shots, {frames} frames, {table.stat().st_size / 1e6:.0f} MB; {machine()}\n", flush=True)
        heading("run", "wall, s (asked 10)", "CPU, s", "largest memory, MB (asked 600)", "exit code")
        for run in range(RUNS):
            typed = ["plan", table, "-o", folder / f"plans{run}", *(f"--screen={screen}" for screen in SCREENS)]
            wall, cpu, memory, code = timed(typed)
            row(f"{run + 1}", f"{wall:.1f}", f"{cpu:.1f}", f"{memory * 1.048576:.0f}", code)


if __name__ == "__main__":
    main()
