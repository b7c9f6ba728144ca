"""Errors of the measurement on photographed pairs and made-up scenes against their limits, as Markdown tables.

POSTFIX_PAIRS=FOLDER .venv/bin/python tests/bench/accuracy.py [PART ...] [--seeds FIRST LAST]

Parts: pairs, truth, robustness, recovered, confidence, offset, cuts, scripted; all of them unless some are named.
``fetch_pairs.py FOLDER`` fetches the pairs. ``confidence`` judges what the parts before it measured as well, so name it
together with ``robustness`` and ``recovered``. Every figure is in percent of picture width unless it says otherwise,
and every error is what was found less what is true.
"""

import argparse
import sys
import time
from dataclasses import dataclass
from pathlib import Path

import confidence
import ground_truth
import material as made
import numpy as np

sys.path.insert(0, str(Path(__file__).parents[1]))
from cut_edits import evaluate as cuts_of
from moving_clips import evaluate as offset_of
from scripted import range_that_holds, scripted_figures
from tables import heading, machine, outcome, row

from postfix.measure import measure_pair
from postfix.measure.table import FrameMeasure

FIGURES = ("near_pct", "median_pct", "far_pct")
ENDS_LIMIT, MEDIAN_LIMIT, MOVED_LIMIT = 0.05, 0.12, 0.10
TIMES_FASTER = 10.0
FILM_WIDTH = 1920
CLIPS, OFFSETS_RIGHT = 20, 19
CUTS_LIMIT = 0.97
EDITS = tuple(range(101, 107))

DIFFERENCES = {
    "right eye lower by 2 % of height": made.moved(down_share=0.02),
    "right eye higher by 2 % of height": made.moved(down_share=-0.02),
    "right eye turned by 2°": made.moved(turn_deg=2),
    "right eye turned by −2°": made.moved(turn_deg=-2),
    "right eye 3 % larger": made.moved(size_pct=3),
    "right eye 3 % smaller": made.moved(size_pct=-3),
    "keystone of 1 % in height": made.keystone(1),
    "right eye's gain +25 %": made.gain(1.25),
    "right eye's gain −25 %": made.gain(0.75),
    "right eye's black +4 %": made.lifted(0.04),
    "right eye's red +25 %": made.gain(1.25, 1, 1),
    "right eye's green −25 %": made.gain(1, 0.75, 1),
    "right eye softer, sigma 1 px": made.softened(1),
    "noise of 2 % in both eyes": made.noisy(0.02),
    "H.264 crf 32, intra frame": made.compressed(32, 0),
    "H.264 crf 32, inter frame": made.compressed(32, 4),
    "480 px wide": made.scaled_to(480),
    "960 px wide": made.scaled_to(960),
    "1920 px wide": made.scaled_to(1920),
    "3840 px wide": made.scaled_to(3840),
}
"""Each difference between the eyes at its limit, and what else may befall both; they leave parallax what it is."""


@dataclass(frozen=True)
class Recovered:
    """One figure of the differences between the eyes: what was applied, and what must be found.

    ``applied`` maps the value that must be found to what makes it; ``width_px`` is that of the picture it is done to.
    """

    figure: str
    limit: float
    unit: str
    applied: dict


RECOVERED = (
    Recovered("vertical_px", 0.15, "px", {s: made.moved(down_share=s / 100) for s in (2.0, -1.0, 0.1)}),
    Recovered("rotation_deg", 0.02, "°", {t: made.moved(turn_deg=t) for t in (2.0, -1.0, 0.1)}),
    Recovered("size_pct", 0.03, "%", {s: made.moved(size_pct=s) for s in (3.0, -2.0, 0.2)}),
    Recovered("gain_pct", 1.0, "%", {g: made.gain(1 + g / 100) for g in (25.0, -25.0, 5.0)}),
)
NOT_ASKED = (
    Recovered("keystone_pct", float("nan"), "%", {k: made.keystone(k) for k in (1.0, -0.3)}),
    Recovered("black_pct", float("nan"), "%", {b: made.lifted(b / 100) for b in (4.0, 1.0)}),
    Recovered("red_gain_pct", float("nan"), "%", {g: made.gain(1 + g / 100, 1, 1) for g in (25.0, -25.0)}),
    Recovered("blue_gain_pct", float("nan"), "%", {g: made.gain(1, 1, 1 + g / 100) for g in (25.0, -25.0)}),
)


class Bench:
    """The material, and everything measured so far, so that confidence can be judged over all of it."""

    def __init__(self, seeds):
        self.pairs = list(made.photographed())
        self.scenes = list(made.made_up(seeds))
        self.seen: list[confidence.Judged] = []
        self._plain: dict[str, FrameMeasure] = {}

    @property
    def everything(self):
        return self.pairs + self.scenes

    def measured(self, known, case):
        """Measure one pair of pictures and keep it for the judgement of confidence."""
        found = measure_pair(known.left, known.right)
        self.seen.append(confidence.Judged(known.name, case, known.truth_pct, found))
        return found

    def plain(self, known):
        """The measurement of the material as it is."""
        if known.name not in self._plain:
            self._plain[known.name] = self.measured(known, "as it is")
        return self._plain[known.name]


def ends(found):
    """Near and far."""
    return np.array([found.near_pct, found.far_pct])


def pairs(bench):
    """Pairs as they are."""
    print(f"\nAs it is: near and far within {ENDS_LIMIT} % of width, median within {MEDIAN_LIMIT} %.\n")
    heading("material", "near", "median", "far", "truth rounded by ±", "confidence", "near and far", "median")
    for known in bench.pairs:
        found = bench.plain(known)
        errors = errors_of(found, known)
        told = outcome(errors[[0, 2]], ENDS_LIMIT), outcome(errors[1], MEDIAN_LIMIT)
        row(known.name, *errors, f"{known.doubt_pct:.3f}", f"{found.confidence:.2f}", *told)
    errors = np.array([errors_of(bench.plain(known), known) for known in bench.scenes])
    for name, of in (("largest", np.nanmax), ("mean", np.nanmean)):
        row(f"{len(errors)} made-up scenes, {name}", *of(np.abs(errors), axis=0), "0", "", "", "")


def errors_of(found, known):
    """Near, median, far: found less true."""
    return np.array([getattr(found, figure) for figure in FIGURES]) - known.truth_pct


def truth(bench):
    """What the ground truth itself leaves open."""
    ground_truth.tell(bench.pairs)


def robustness(bench):
    """How far near and far move under each difference."""
    print(f"\nNear and far move by at most {MOVED_LIMIT} % of width against the same material as it is.")
    print("Of the scenes the largest is given; errors are against the truth.\n")
    heading("what was done", "material", "near moved", "far moved", "near error", "far error", "moved")
    rows = []
    for case, how in DIFFERENCES.items():
        scenes = []
        for known in bench.everything:
            found = bench.measured(known.spoilt(how), case)
            moved = ends(found) - ends(bench.plain(known))
            errors = ends(found) - np.take(known.truth_pct, (0, 2))
            if known.group == "scenes":
                scenes.append((*moved, *errors))
            else:
                row(case, known.name, *moved, *errors, outcome(moved, MOVED_LIMIT))
                rows.append(moved)
        if scenes:
            held = sum(max(abs(one[0]), abs(one[1])) <= MOVED_LIMIT for one in scenes)
            told = f"{outcome([one[:2] for one in scenes], MOVED_LIMIT)} ({held} of {len(scenes)} within)"
            row(case, f"{len(scenes)} scenes", *largest(scenes), told)
            rows += [one[:2] for one in scenes]
    held = np.nanmax(np.abs(np.nan_to_num(rows, nan=np.inf)), axis=1) <= MOVED_LIMIT
    print(f"\n{held.sum()} of {held.size} measurements within {MOVED_LIMIT} %.")


def largest(rows):
    """Of each column the number farthest from zero, with its sign; NaN where every one is."""
    columns = np.array(rows, float).T
    return [column[np.nanargmax(np.abs(column))] if np.isfinite(column).any() else np.nan for column in columns]


def recovered(bench):
    """What is found of the differences between the eyes, against what was applied."""
    print("\nFound less applied. Nobody measured how well the photographed eyes fit each other as they are, so their")
    print("errors are also given against what the pair measures as it is.\n")
    heading("figure", "limit", "applied", "material", "error", "against the pair as it is", "outcome")
    for asked in (*RECOVERED, *NOT_ASKED):
        for value, how in asked.applied.items():
            scenes = []
            for known in bench.everything:
                spoilt = known.spoilt(how)
                found = getattr(bench.measured(spoilt, f"{asked.figure} {value:+g}"), asked.figure)
                # Vertical shifts are given in percent of height and found in pixels.
                true = value * known.left.shape[0] / 100 if asked.figure == "vertical_px" else value
                base = getattr(bench.plain(known), asked.figure)
                error, beside = found - true, found - combined(asked.figure, true, base)
                if known.group == "scenes":
                    scenes.append((error, beside))
                else:
                    _tell_recovered(asked, value, known.name, error, beside, outcome(error, asked.limit))
            if scenes:
                error, beside = largest(scenes)
                told = outcome([one[0] for one in scenes], asked.limit)
                _tell_recovered(asked, value, f"{len(scenes)} scenes, largest", error, beside, told)


def combined(figure, applied, own):
    """What must be found where a pair already differs by ``own``: gains multiply, the rest adds up."""
    return (1 + own / 100) * (1 + applied / 100) * 100 - 100 if "gain" in figure else applied + own


def _tell_recovered(asked, value, name, error, beside, told):
    unit = "% of height" if asked.figure == "vertical_px" else asked.unit
    has_limit = np.isfinite(asked.limit)
    limit = f"{asked.limit:g} {asked.unit}" if has_limit else "none asked"
    row(asked.figure, limit, f"{value:+g} {unit}", name, error, beside, told if has_limit else "")


def judged(bench):
    """Whether confidence keeps its word over everything measured so far and what is hard besides."""
    for known in bench.everything:
        bench.plain(known)
    hard_bases = bench.pairs + bench.scenes[:: max(1, len(bench.scenes) // 4)]
    for known in hard_bases:
        for case, hard in made.hard_of(known):
            bench.measured(hard, f"hard: {case}")
    for case, hard in made.hard_by_itself():
        bench.measured(hard, f"hard: {case}")
    confidence.tell(bench.seen)


def offset(bench):
    """Whole-frame offsets between the eyes on moving clips."""
    print(f"\nOffset between the eyes in whole frames, right in {OFFSETS_RIGHT} of {CLIPS} moving clips.\n")
    heading("clips", "right", "outcome", "wrong: true and found, with confidence")
    for first in (0, 100):
        told = {seed: offset_of(seed) for seed in range(first, first + CLIPS)}
        wrong = [f"{true:+d} {found:+g} {sure:.2f}" for true, found, sure in told.values() if found != true]
        right = CLIPS - len(wrong)
        outcome_told = "met" if right >= OFFSETS_RIGHT else f"short by {OFFSETS_RIGHT - right}"
        row(f"{first} to {first + CLIPS - 1}", f"{right} of {CLIPS}", outcome_told, "; ".join(wrong))


def cuts(bench):
    """Cuts of a made-up edit."""
    print(f"\nCuts and dissolves of made-up edits of 60 shots: precision and recall at least {CUTS_LIMIT}.\n")
    heading("edit", "precision", "recall", "counts", "outcome")
    hits = found = true = 0
    for seed in EDITS:
        score = cuts_of(seed)
        hits, found, true = (
            total + score.counts[name] for total, name in zip((hits, found, true), ("hit", "found", "true"))
        )
        missing = CUTS_LIMIT - min(score.precision, score.recall)
        counts = ", ".join(f"{name} {count}" for name, count in score.counts.items())
        told = "met" if missing <= 0 else f"short by {missing:.3f}"
        row(seed, f"{score.precision:.3f}", f"{score.recall:.3f}", counts, told)
    missing = CUTS_LIMIT - min(hits / found, hits / true)
    told = "met" if missing <= 0 else f"short by {missing:.3f}"
    row("together", f"{hits / found:.3f}", f"{hits / true:.3f}", f"true {true}, found {found}, hit {hits}", told)


def scripted(bench):
    """Against StereoSGBM at full resolution."""
    print(f"\nAgainst full-resolution StereoSGBM on RGB frames: {TIMES_FASTER:g} times faster and nearer to the truth.")
    print(
        f"Nearer: the larger of the errors of near and far is smaller. At {FILM_WIDTH} wide the pairs are enlarged.\n"
    )
    columns = ("time, ms", "near", "median", "far", "scripted: range searched", "time, ms", "near", "median", "far")
    heading("material", "size", *columns, "times faster", "faster", "nearer")
    for known in bench.pairs:
        for shown in (known, known.spoilt(made.scaled_to(FILM_WIDTH))):
            _tell_scripted(shown)


def _tell_scripted(known):
    left, right = (np.rint(eye * 255).astype(np.uint8) for eye in (known.left, known.right))
    measure_pair(left, right)
    ours_ms, found = timed(lambda: measure_pair(left, right), 3)
    ours = errors_of(found, known)
    searched = range_that_holds(known.truth_pct)
    theirs_ms, figures = timed(lambda: scripted_figures(left, right, searched), 1)
    theirs = np.array(figures) - known.truth_pct
    times = theirs_ms / ours_ms
    told = "met" if times >= TIMES_FASTER else f"short by {TIMES_FASTER - times:.1f}"
    beyond = np.abs(ours[[0, 2]]).max() - np.abs(theirs[[0, 2]]).max()
    nearer = "met" if beyond < 0 else f"short by {beyond:.3f}"
    span = f"{searched[0]:.1f} to {searched[1]:+.1f}"
    size = f"{left.shape[1]}×{left.shape[0]}"
    row(known.name, size, f"{ours_ms:.0f}", *ours, span, f"{theirs_ms:.0f}", *theirs, f"{times:.1f}", told, nearer)


def timed(job, rounds):
    """Median wall time in ms, and what came out."""
    walls = []
    for _ in range(rounds):
        started = time.perf_counter()
        result = job()
        walls.append((time.perf_counter() - started) * 1e3)
    return float(np.median(walls)), result


PARTS = {
    "pairs": pairs,
    "truth": truth,
    "robustness": robustness,
    "recovered": recovered,
    "confidence": judged,
    "scripted": scripted,
    "offset": offset,
    "cuts": cuts,
}


def main():
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("parts", nargs="*", metavar="PART", help=f"of {', '.join(PARTS)}; all where none is named")
    parser.add_argument("--seeds", nargs=2, type=int, default=(40, 79), metavar=("FIRST", "LAST"))
    asked = parser.parse_args()
    strange = [part for part in asked.parts if part not in PARTS]
    if strange:
        parser.error(f"no part {strange[0]}; there are {', '.join(PARTS)}")
    first, last = asked.seeds
    print(f"{machine()}; scenes {first} to {last}.")
    bench = Bench(range(first, last + 1))
    for name, part in PARTS.items():
        if name in (asked.parts or PARTS):
            part(bench)


if __name__ == "__main__":
    main()
