"""Real distances and roundness from measured pictures against what is true of the set, as Markdown tables.

.venv/bin/python tests/bench/camera.py [--seeds FIRST LAST]

Sets of three boards before cameras drawn from each seed: focal length, sensor, interaxial, convergence and distances up
to 10 m, at 960, 1280 and 1920 pixels. Distances must be found within 2 %, roundness within 3 %. The sets of the tests
come first. The third table has the error of the measurement in percent of width, and what 2 % of the far distance is;
the last a photographed set.
"""

import argparse
import sys
from pathlib import Path

import numpy as np
from tables import heading, machine, outcome, row

sys.path.insert(0, str(Path(__file__).parents[1]))
from test_camera_measured import (
    DISTANCE_SHARE,
    ROUNDNESS_SHARE,
    SCREENS,
    TAKES,
    Take,
    photographed,
    real_roundness,
    told_from,
    told_of,
)

from postfix.camera import parallax_pct
from postfix.limits import limits_for
from postfix.story.filmed import filmed

SIZES = ((960, 540), (1280, 720), (1920, 1080))
SENSORS = (13.2, 17.3, 24.89, 36.0)
WORDS = ("near", "main", "far")
WIDEST_PCT = 4.0


def take_of(seed):
    """A set drawn from a seed: near, main and far between 0.6 and 10 m, no parallax beyond 4 % of width."""
    rng = np.random.default_rng(seed)
    sensor = SENSORS[rng.integers(len(SENSORS))]
    focal = round(float(rng.uniform(0.75, 2.4) * sensor), 1)
    far = round(float(rng.uniform(2.0, 10.0)), 2)
    main = round(far * float(rng.uniform(0.45, 0.85)), 2)
    near = round(main * float(rng.uniform(0.45, 0.85)), 2)
    converged = round(float(rng.uniform(near, far)), 2)
    # From 1 to 4 % between near and far.
    base = rng.uniform(1.0, WIDEST_PCT) * sensor * 10.0 / focal / (1 / near - 1 / far)
    return Take(round(float(base), 1), focal, sensor, converged, (near, main, far), SIZES[rng.integers(3)], seed)


def main():
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--seeds", nargs=2, type=int, default=(100, 129), metavar=("FIRST", "LAST"))
    asked = parser.parse_args()
    first, last = asked.seeds
    print(f"{machine()}; sets of the tests, and seeds {first} to {last}.")
    takes = [*TAKES, *map(take_of, range(first, last + 1))]
    screen = next(iter(SCREENS))
    told = [told_of(take, screen) for take in takes]
    distances(takes, told)
    roundnesses(takes, told)
    measured(takes, told)
    photograph()


def distances(takes, told):
    """Found against true, in metres."""
    print(f"\nDistances in metres, found less true in percent: within {DISTANCE_SHARE * 100:g} %.\n")
    heading("set", *(f"{word}: true" for word in WORDS), *(f"{word}: found" for word in WORDS), "errors, %", "outcome")
    errors = []
    for take, (found, _) in zip(takes, told):
        mm = np.array([np.nan if one is None else one for one in (found.near_mm, found.main_mm, found.far_mm)])
        errors.append((mm / 1000 / take.distances_m - 1) * 100)
        shown = [f"{metres:.3f}" for metres in (*take.distances_m, *mm / 1000)]
        words = ", ".join(f"{error:+.2f}" for error in errors[-1])
        row(take, *shown, words, outcome(errors[-1], DISTANCE_SHARE * 100))
    summary("distances", errors, DISTANCE_SHARE * 100)


def roundnesses(takes, told):
    """Of the main part, on several screens, against the rays of two eyes through both pictures."""
    print(
        f"\nRoundness of the main part, on each screen with the pictures as shot: within {ROUNDNESS_SHARE * 100:g} %.\n"
    )
    heading("set", "screen", "true", "found", "error, %", "outcome")
    errors = []
    for take, (_, source) in zip(takes, told):
        for screen in SCREENS:
            # Where the eyes hardly meet any more roundness grows without bound, and says nothing.
            true = real_roundness(take, screen, 0.0, take.distances_m[1])
            if source[1] * screen.width_mm / 100 > screen.eye_mm / 2 or true <= 0.0:
                continue
            found = told_from(take, screen, source).main_roundness
            errors.append((found / true - 1) * 100)
            row(take, screen.name, true, found, errors[-1], outcome(errors[-1], ROUNDNESS_SHARE * 100))
    summary("figures of roundness", np.array(errors)[:, None], ROUNDNESS_SHARE * 100)


def measured(takes, told):
    """The error of the measurement alone."""
    print("\nParallax, found less true, percent of width, and what 2 % of the far distance would be.\n")
    heading("set", *WORDS, "2 % of far")
    for take, (_, source) in zip(takes, told):
        true = [parallax_pct(take.camera, metres * 1000) for metres in take.distances_m]
        row(take, *(f"{error:+.4f}" for error in np.subtract(source, true)), f"{take.pct_of:.4f}")


def photograph():
    """A photographed set whose camera its makers told."""
    print(f"\nMiddlebury 2014 Motorcycle, its calibration noted as the camera: within {DISTANCE_SHARE * 100:g} %.\n")
    heading("part", "true, m", "found, m", "error, %", "outcome")
    camera, source, truth = photographed()
    told = filmed(camera, *source, SCREENS[0], limits_for(SCREENS[0]), source)
    for word, true, found in zip(WORDS, truth / 1000, (told.near_mm, told.main_mm, told.far_mm)):
        error = np.nan if found is None else (found / 1000 / true - 1) * 100
        shown = "" if found is None else f"{found / 1000:.3f}"
        row(word, f"{true:.3f}", shown, f"{error:+.2f}", outcome(error, DISTANCE_SHARE * 100))


def summary(what, errors, limit):
    """How many of the figures are within, and the largest and mean error of each column."""
    errors = np.abs(np.array(errors))
    held = int((errors <= limit).sum())
    print(
        f"\n{held} of {errors.size} {what} within {limit:g} %; largest error {np.nanmax(errors, axis=0).round(2)} %, ",
        end="",
    )
    print(f"mean {np.nanmean(errors, axis=0).round(2)} %.")


if __name__ == "__main__":
    main()
