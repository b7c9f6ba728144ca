"""Errors of the measurement on a photographed pair and on made-up scenes, as a table.

.venv/bin/python tests/bench/accuracy.py
"""

import sys
from pathlib import Path

import cv2
import numpy as np

sys.path.insert(0, str(Path(__file__).parents[1]))
from real_pairs import motorcycle, seen_by_both
from test_measure_scenes import scene_of

from postfix.measure import measure_pair

FIGURES = ("near_pct", "median_pct", "far_pct")
EDGES = ("left_edge_pct", "right_edge_pct")


def spoilt(picture, shift_px, turn_deg, size):
    height, width = picture.shape[:2]
    matrix = cv2.getRotationMatrix2D(((width - 1) / 2, (height - 1) / 2), -turn_deg, size)
    matrix[1, 2] += shift_px
    return cv2.warpAffine(picture, matrix, (width, height), flags=cv2.INTER_CUBIC, borderMode=cv2.BORDER_REFLECT)


def photographed():
    left, right, parallax = motorcycle()
    truth = np.percentile(parallax[seen_by_both(parallax)], (1, 50, 99)) * 100 / parallax.shape[1]
    cases = {
        "as it is": right,
        "right eye 10 px lower": spoilt(right, 10, 0, 1),
        "right eye turned 2 degrees": spoilt(right, 0, 2, 1),
        "right eye 3 % larger": spoilt(right, 0, 0, 1.03),
        "right eye at 75 % gain": (right * 0.75).astype(np.uint8),
    }
    for name, picture in cases.items():
        found = measure_pair(left, picture)
        errors = [getattr(found, figure) - true for figure, true in zip(FIGURES, truth)]
        print(f"| Motorcycle, {name} | " + " | ".join(f"{error:+.3f}" for error in errors) + " | |")


def made_up(seeds=range(40, 80)):
    errors, edges = [], []
    for seed in seeds:
        scene = scene_of(seed)
        truth = scene.truth(0).summary
        found = measure_pair(*(np.asarray(eye, np.float32) for eye in scene.render(0)))
        errors.append([abs(getattr(found, figure) - getattr(truth, figure)) for figure in FIGURES])
        edges += [abs(getattr(found, e) - getattr(truth, e)) for e in EDGES if getattr(truth, e) < 0]
    for name, of in (("largest", np.nanmax), ("mean", np.nanmean)):
        cells = " | ".join(f"{value:.3f}" for value in of(errors, axis=0))
        print(f"| {len(errors)} made-up scenes 960x540, {name} | {cells} | {of(edges):.3f} |")


if __name__ == "__main__":
    print("| material | near, % of width | median | far | edges |\n|---|---|---|---|---|")
    photographed()
    made_up()
