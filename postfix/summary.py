"""What the commands print: small tables that fit 80 columns."""

from __future__ import annotations

import math
import textwrap
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import asdict
from typing import Any

from postfix.demo.run import FIGURES as DEMO_FIGURES
from postfix.demo.run import DemoResult
from postfix.limits import DEFAULT_RULES, LimitRules, eye_mm_of, limits_for
from postfix.measure.remarks import Told
from postfix.measure.suspicions import reading_words
from postfix.plan.figures import Figures, signed_pct
from postfix.plan.misaligned import lay_words
from postfix.plan.model import Misalignment
from postfix.source.pair import Reading
from postfix.viewing import Screen, arcmin_from_mm, mm_from_pct

NOT_MEASURED = "–"
COLUMNS = 80

_DIGITS = 4


def wrapped(line: str) -> str:
    """A long line in several that fit the terminal."""
    return textwrap.fill(line, COLUMNS, subsequent_indent="  ", break_long_words=False, break_on_hyphens=False)


def table(head: Sequence[str], rows: Iterable[Sequence[str]]) -> str:
    """Columns as wide as their widest cell, the first flush left and the rest flush right."""
    lines = [list(head), *(list(row) for row in rows)]
    widths = [max(len(line[i]) for line in lines) for i in range(len(head))]
    text = []
    for line in lines:
        first, *others = (cell.rjust(width) for cell, width in zip(line, widths))
        text.append("  ".join([line[0].ljust(len(first)), *others]).rstrip())
    return "\n".join(text)


def pct(value: float | None) -> str:
    """A figure in percent, or a dash where nothing was measured."""
    return NOT_MEASURED if value is None or value != value else signed_pct(value).removesuffix(" %")


def screens_text(screens: Iterable[tuple[Screen, LimitRules]]) -> str:
    """The screens with their limits in mm, % and arcmin, and below them the rule that gave each."""
    rows = []
    given: dict[str, dict[str, list[str]]] = {"near": {}, "far": {}, "range": {}}
    for screen, rules in screens:
        limits, eye_mm = limits_for(screen, rules), eye_mm_of(screen, rules)
        rows.append(
            [
                screen.name,
                f"{screen.width_mm:.0f}",
                f"{screen.distance_mm:.0f}",
                f"{eye_mm:g}",
                *(_limit_cells(screen, eye_mm, limits.near_pct)),
                *(_limit_cells(screen, eye_mm, limits.far_pct)),
                f"{limits.range_pct:.2f}",
            ]
        )
        for name, rule in (("near", limits.near_rule), ("far", limits.far_rule), ("range", limits.range_rule)):
            given[name].setdefault(rule, []).append(screen.name)
    head = ["screen", "width", "seat", "eye", "near", "%", "′", "far", "%", "′", "range %"]
    notes = [
        "mm: width, seat (distance of the viewer), eye, near, far; %: of width; ′: arcmin",
        "near and far: parallax, negative is in front of the screen",
    ]
    for name, rules_given in given.items():
        for rule, where in rules_given.items():
            notes.append(f"{name}: {rule}" if len(rules_given) == 1 else f"{name}, {', '.join(where)}: {rule}")
    return "\n".join([table(head, rows), *(wrapped(note) for note in notes)])


def _limit_cells(screen: Screen, eye_mm: float, limit_pct: float) -> list[str]:
    mm = mm_from_pct(limit_pct, screen.width_mm)
    arcmin = arcmin_from_mm(mm, screen.distance_mm, eye_mm)
    return [f"{mm:.0f}", f"{limit_pct:+.2f}", f"{arcmin:+.0f}"]


def screen_data(screen: Screen, rules: LimitRules = DEFAULT_RULES) -> dict[str, Any]:
    """A screen and its limits as plain data; ``eye_mm`` is the one that the limits were reckoned with."""
    return {**asdict(screen), "eye_mm": eye_mm_of(screen, rules), "limits": asdict(limits_for(screen, rules))}


def plain(facts: Mapping[str, Any]) -> dict[str, Any]:
    """Facts as JSON holds them: rounded to what a figure means, None where it is none."""
    return {name: _plain(value) for name, value in facts.items()}


def _plain(value: Any) -> Any:
    if isinstance(value, float):
        return round(value, _DIGITS) if math.isfinite(value) else None
    if isinstance(value, Mapping):
        return plain(value)
    return [_plain(one) for one in value] if isinstance(value, (list, tuple)) else value


def plain_figures(figures: Figures) -> dict[str, Any]:
    """A shot's figures as plain data; None where nothing was measured."""
    return plain(asdict(figures))


def measured_text(shots: Iterable[Mapping[str, Any]]) -> str:
    """A row for each shot of what was measured."""
    head = ["shot", "frames", "near %", "far %", "median %", "left edge %", "right edge %"]
    names = ("near_pct", "far_pct", "median_pct", "left_edge_pct", "right_edge_pct")
    return table(
        head,
        ([s["name"], str(s["last"] - s["first"] + 1), *(pct(s[name]) for name in names)] for s in shots),
    )


def shots_text(shots: Iterable[Mapping[str, Any]]) -> str:
    """A row for each shot of a change log: figures before and after, what was done, what stays flagged."""
    rows = []
    for shot in shots:
        before, after = shot["before"] or {}, shot["after"] or {}
        rows.append(
            [
                shot["name"],
                str(shot["last"] - shot["first"] + 1),
                _from_to(before.get("near_pct"), after.get("near_pct")),
                _from_to(before.get("far_pct"), after.get("far_pct")),
                _spread(shot["applied_hit_px"]),
                _widest(shot["window"]),
                _result(shot),
            ]
        )
    return table(["shot", "frames", "near %", "far %", "HIT px", "window px", "result"], rows)


def levelled_text(screen: str, shots: Iterable[Mapping[str, Any]]) -> str:
    """A line for each shot of a change log whose eyes were levelled; empty where none were."""
    lines = []
    for shot in shots:
        if shot["align"] and shot["misalignment"] is not None:
            lay = lay_words(Misalignment(**shot["misalignment"]))
            text = f"{screen}, {shot['name']}: levelled, for the right eye lay {lay}; enlarged × {shot['zoom']:.4f}"
            lines.append(wrapped(text))
    return "\n".join(lines)


def _result(shot: Mapping[str, Any]) -> str:
    if not shot["after"]:
        return "unchecked"
    flags = len(shot["flags"])
    return "ok" if not flags else "1 flag" if flags == 1 else f"{flags} flags"


def _from_to(before: float | None, after: float | None) -> str:
    return f"{pct(before)} → {pct(after)}"


def _spread(ends: Sequence[float]) -> str:
    low, high = ends
    return f"{low:+g}" if low == high else f"{low:+g}…{high:+g}"


def _widest(window: Sequence[Mapping[str, Any]]) -> str:
    if not window:
        return "none"
    left = max(max(key["left_px"]) for key in window)
    right = max(max(key["right_px"]) for key in window)
    return f"L {left:.0f} R {right:.0f}"


def flags_text(name: str, shots: Iterable[Mapping[str, Any]]) -> str:
    """One line for each flag; empty where there is none."""
    lines = [f"{name}, {shot['name']}: {flag['text']}" for shot in shots for flag in shot["flags"]]
    return "\n".join(wrapped(line) for line in lines)


def told_text(told: Told, clip: str = "", *, edges: bool = False) -> str:
    """One line for everything the measurement says besides its figures; empty where that is nothing."""
    return "\n".join(wrapped(f"{clip}, {text}" if clip else text) for text in told.texts(edges=edges))


def reading_text(reading: Reading, clip: str = "") -> str:
    """One line that says how the eyes were paired; empty where they were taken as given."""
    said = reading_words(reading)
    return "" if not said else wrapped(f"{clip}, {said}" if clip else said)


def demo_text(result: DemoResult) -> str:
    """What was planted in each shot of the demo, what was found, and what is left on each screen."""
    parts = []
    for shot in result.shots:
        rows = [["planted", *(pct(shot.true_pct[name]) for name in DEMO_FIGURES), "", ""]]
        found = shot.found_pct or {}
        rows.append(["found", *(pct(found.get(name)) for name in DEMO_FIGURES), "", ""])
        for screen, entry in shot.after.items():
            after = entry["after"] or {}
            cells = [pct(after.get(name)) for name in DEMO_FIGURES]
            rows.append([f"after, {screen}", *cells, _spread(entry["applied_hit_px"]), _widest(entry["window"])])
        title = wrapped(f"{shot.name}: {shot.planted}")
        parts.append(title + "\n" + table(["", "near %", "far %", "left %", "right %", "HIT px", "window px"], rows))
    flags = [
        flags_text(screen, [entry]) for shot in result.shots for screen, entry in shot.after.items() if entry["flags"]
    ]
    verdict = "\n".join(flags) if flags else "every shot is within the limits of both screens"
    where = f"before and after: {result.sheet}\nreview page: {result.report}"
    return "\n\n".join([*parts, f"{verdict}\n{where}"])
