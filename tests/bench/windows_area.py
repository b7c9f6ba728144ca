"""What windows hide against the least possible, how many keys they take, and the time planning them takes, as tables.

.venv/bin/python tests/bench/windows_area.py [SCENES]

Each scene has objects of simple shapes at the left edge that stand, enter, leave, cross or drift in parallax. The least
is found by a linear programme for the same limits: cover, hold, speed, easing, widest window.
"""

import sys
import timeit
from dataclasses import replace
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[1]))
from plan_tables import CLIP
from window_scenes import least_area_px, made_scene

from postfix.plan.figures import unmoved
from postfix.plan.geometry import Drawing, window_px_at
from postfix.plan.model import ShotPlan
from postfix.plan.settings import WindowSettings
from postfix.plan.windows import window_cost_curve, windows_for

DEFAULTS = WindowSettings()
KINDS = {
    "defaults": DEFAULTS,
    "never tilted": replace(DEFAULTS, tilt=False),
    "no hold": replace(DEFAULTS, hold_s=0.0),
    "held 1 s": replace(DEFAULTS, hold_s=1.0),
    "eased for 0.25 s": replace(DEFAULTS, ease_s=0.25),
    "half the speed, 0.25 s": replace(DEFAULTS, speed_pct_per_s=2.0, ease_s=0.25),
    "a quarter of the speed, 0.5 s": replace(DEFAULTS, speed_pct_per_s=1.0, ease_s=0.5),
}


def areas(settings, scenes, noise_px):
    """Area over the least one, keys and frames of every scene that needs a window."""
    rng = np.random.default_rng(2)
    found = []
    for _ in range(scenes):
        scene = made_scene(rng, both=False, noise_px=noise_px)
        least = least_area_px(scene.left_px, settings)
        count = len(scene.left_px)
        keys = windows_for(scene.arrays(), unmoved(count), CLIP, 0, settings)
        if least > 0.0:
            shot = ShotPlan("sh001", 0, count - 1, window=keys)
            area = window_px_at(shot, np.arange(count))[:, :2].mean(axis=1).sum()
            found.append((area / least, len(keys), count))
    return np.array(found)


def milliseconds(call):
    return min(timeit.repeat(call, number=10, repeat=7)) / 10 * 1000.0


def print_areas(scenes):
    print("| settings | noise, px | scenes | area / least: mean | 95 of 100 | worst | keys a shot | frames a shot |")
    print("|---|---|---|---|---|---|---|---|")
    for name, settings in KINDS.items():
        for noise_px in (0.0, 0.4):
            ratio, keys, frames = areas(settings, scenes, noise_px).T
            print(
                f"| {name} | {noise_px:g} | {len(ratio)} | {ratio.mean():.3f} | {np.quantile(ratio, 0.95):.3f} "
                f"| {ratio.max():.3f} | {keys.mean():.1f} | {frames.mean():.0f} |"
            )


def print_times():
    rng = np.random.default_rng(4)
    times, kinds = {"one edge": [], "both edges": []}, (("one edge", False), ("both edges", True))
    for name, both in kinds:
        while len(times[name]) < 40:
            scene = made_scene(rng, both=both)
            arrays, moves = scene.arrays(), unmoved(len(scene.left_px))
            if windows_for(arrays, moves, CLIP, 0):
                times[name].append(milliseconds(lambda a=arrays, m=moves: windows_for(a, m, CLIP, 0)))
    nothing = replace(arrays, left_rows=abs(arrays.left_rows), right_rows=abs(arrays.right_rows))
    hits = np.linspace(-200.0, 200.0, 400)
    print("\n| what | milliseconds |\n|---|---|")
    for name, values in times.items():
        print(f"| windows of a shot of 24 to 96 frames, {name}: middle | {np.median(values):.2f} |")
        print(f"| the same: longest | {max(values):.2f} |")
    print(f"| nothing in front of an edge | {milliseconds(lambda: windows_for(nothing, moves, CLIP, 0)):.3f} |")
    cost = milliseconds(lambda: window_cost_curve(arrays, CLIP, DEFAULTS, hits, Drawing("hide")))
    print(f"| cost of 400 HITs, {len(arrays.measured)} frames | {cost:.2f} |")
    black = replace(arrays, left_hidden_px=arrays.left_hidden_px + np.array([0.0, 9.0, 0.0, 0.0]))
    cost = milliseconds(lambda: window_cost_curve(black, CLIP, DEFAULTS, hits, Drawing("hide")))
    print(f"| the same over a slanted window in the source | {cost:.2f} |")


if __name__ == "__main__":
    print_areas(int(sys.argv[1]) if len(sys.argv) > 1 else 200)
    print_times()
