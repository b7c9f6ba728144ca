"""Whether a confidence of 0.9 or more keeps its word."""

from dataclasses import dataclass
from typing import Any

import numpy as np
from tables import heading, row

SURE = 0.9
WITHIN_PCT = 0.2
ASKED_PCT = 95.0
WORST_SHOWN = 12


@dataclass(frozen=True)
class Judged:
    """One measurement and what is true of it: near, median, far in percent of width, NaN where nothing is."""

    name: str
    case: str
    truth_pct: tuple[float, float, float]
    found: Any

    @property
    def group(self):
        """Hard, as it is, or with something done to it."""
        return {"hard": "hard", "as it is": "as it is"}.get(self.case.split(":")[0], "with something done to it")

    @property
    def is_sure(self):
        return self.found.confidence >= SURE

    @property
    def error_pct(self):
        """The larger error of near and far; infinite where a figure was given and nothing is true, or none was."""
        errors = np.abs(np.subtract((self.found.near_pct, self.found.far_pct), np.take(self.truth_pct, (0, 2))))
        return float(errors.max()) if np.isfinite(errors).all() else float("inf")


def tell(all_seen):
    """Print how many were given that confidence, how many of these are right, and the worst of the others."""
    print(f"\nOf what is given a confidence of {SURE} or more, {ASKED_PCT:g} % are within {WITHIN_PCT} % of width.\n")
    heading(
        "material", "measured", f"confidence {SURE} or more", "share, %", "of these within, %", "of all within, %", ""
    )
    for group in ("as it is", "with something done to it", "hard", None):
        some = [one for one in all_seen if group in (None, one.group)]
        if some:
            _tell_group(group or "all", some, group is None)
    wrong = sorted((one for one in all_seen if one.is_sure and one.error_pct > WITHIN_PCT), key=lambda o: -o.error_pct)
    if wrong:
        print(f"\nConfident and wrong: {len(wrong)}; the worst of them.\n")
        heading("what was done", "material", "confidence", "near", "far", "true near", "true far")
        for one in wrong[:WORST_SHOWN]:
            near, _, far = one.truth_pct
            row(one.case, one.name, f"{one.found.confidence:.2f}", one.found.near_pct, one.found.far_pct, near, far)


def _tell_group(name, some, is_all):
    sure = [one for one in some if one.is_sure]
    right = sum(one.error_pct <= WITHIN_PCT for one in sure)
    kept = 100 * right / len(sure) if sure else float("nan")
    told = ""
    if is_all:
        told = "met" if kept >= ASKED_PCT else f"short by {ASKED_PCT - kept:.1f}"
    within = 100 * sum(one.error_pct <= WITHIN_PCT for one in some) / len(some)
    share = 100 * len(sure) / len(some)
    row(name, len(some), len(sure), f"{share:.0f}", f"{kept:.1f}", f"{within:.1f}", told)
