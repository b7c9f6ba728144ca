"""What the commands print: what was measured, what was made of each shot, what is outside."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import asdict
from typing import Any

from postfix.demo.run import FIGURES as DEMO_FIGURES
from postfix.demo.run import DemoResult
from postfix.limits import DEFAULT_RULES, LimitRules, eye_mm_of, limits_for
from postfix.look import Piece, Role
from postfix.measure.remarks import Told
from postfix.measure.suspicions import reading_words
from postfix.plain import plain
from postfix.plan.bad_frames import BAD_FRAME
from postfix.plan.figures import Figures, signed_pct
from postfix.plan.misaligned import lay_words
from postfix.plan.model import Misalignment
from postfix.source.pair import Reading
from postfix.tables import Cell, Table
from postfix.terminal import Block, Gap, Line, Whole, line, name
from postfix.viewing import Screen, arcmin_from_mm, mm_from_pct

NOT_MEASURED = "–"


def head(*names: str | Piece) -> tuple[Piece, ...]:
    """The head of a table."""
    return tuple(Piece(one, "soft") if isinstance(one, str) else one for one in names)


def placed(screen: str, shot: str, clip: str = "") -> list[Piece]:
    """Clip, screen and shot before what is said of them."""
    names = [one for one in (clip, screen, shot) if one]
    return [part for i, one in enumerate(names) for part in (name(one), Piece(", " if i + 1 < len(names) else ": "))]


_NAMES = 6
"""Names that are told one by one where there may be thousands."""


def some_names(names: Sequence[str], between: str = ", ") -> list[Piece]:
    """The first of some names, and how many more there are."""
    parts = [part for one in names[:_NAMES] for part in (Piece(between), name(one))][1:]
    return [*parts, Piece(f" and {len(names) - _NAMES} more")] if len(names) > _NAMES else parts


def pct(value: float | None) -> str:
    """A figure in percent, or a dash where nothing was measured."""
    return NOT_MEASURED if value is None or value != value else signed_pct(value).removesuffix(" %")


def screens_text(screens: Iterable[tuple[Screen, LimitRules]]) -> list[Block]:
    """The screens with their limits in mm, % and arcmin, and below them the rule that gave each."""
    rows: list[tuple[Cell, ...]] = []
    given: dict[str, dict[str, list[str]]] = {"near": {}, "far": {}, "range": {}}
    for screen, rules in screens:
        limits, eye_mm = limits_for(screen, rules), eye_mm_of(screen, rules)
        rows.append(
            (
                name(screen.name),
                f"{screen.width_mm:.0f}",
                f"{screen.distance_mm:.0f}",
                f"{eye_mm:g}",
                *(_limit_cells(screen, eye_mm, limits.near_pct)),
                *(_limit_cells(screen, eye_mm, limits.far_pct)),
                f"{limits.range_pct:.2f}",
            )
        )
        for what, rule in (("near", limits.near_rule), ("far", limits.far_rule), ("range", limits.range_rule)):
            given[what].setdefault(rule, []).append(screen.name)
    heads = head("screen", "width", "seat", "eye", "near", "near %", "near′", "far", "far %", "far′", "range %")
    said: list[Block] = [
        Table(heads, tuple(rows)),
        line("mm: width, seat (distance of the viewer), eye, near, far; %: of width; ′: arcmin"),
        line("near and far: parallax, negative is in front of the screen"),
    ]
    for what, rules_given in given.items():
        for rule, where in rules_given.items():
            on = [] if len(rules_given) == 1 else [part for screen in where for part in (", ", name(screen))]
            said.append(line(what, *on, f": {rule}"))
    return said


def _limit_cells(screen: Screen, eye_mm: float, limit_pct: float) -> list[str]:
    mm = mm_from_pct(limit_pct, screen.width_mm)
    arcmin = arcmin_from_mm(mm, screen.distance_mm, eye_mm)
    return [_signed(f"{mm:.0f}"), _signed(f"{limit_pct:+.2f}"), _signed(f"{arcmin:+.0f}")]


def _signed(figure: str) -> str:
    """A figure with a real minus sign."""
    return figure.replace("-", "\N{MINUS SIGN}")


def screen_data(screen: Screen, rules: LimitRules = DEFAULT_RULES) -> dict[str, Any]:
    """A screen and its limits as plain data; ``eye_mm`` is the one that the limits were reckoned with."""
    return {**asdict(screen), "eye_mm": eye_mm_of(screen, rules), "limits": asdict(limits_for(screen, rules))}


def plain_figures(figures: Figures) -> dict[str, Any]:
    """A shot's figures as plain data; None where nothing was measured."""
    return plain(asdict(figures))


def measured_text(shots: Iterable[Mapping[str, Any]]) -> list[Block]:
    """A row for each shot of what was measured."""
    heads = head("shot", "frames", "near %", "far %", "median %", "left edge %", "right edge %")
    names = ("near_pct", "far_pct", "median_pct", "left_edge_pct", "right_edge_pct")
    return [
        Table(heads, tuple((name(s["name"]), _frames(s), *(pct(s[figure]) for figure in names)) for s in shots)),
    ]


def shots_text(shots: Iterable[Mapping[str, Any]]) -> list[Block]:
    """A row for each shot of a change log: figures before and after, what was done, what stays flagged."""
    rows = []
    for shot in shots:
        before, after = shot["before"] or {}, shot["after"] or {}
        rows.append(
            (
                name(shot["name"]),
                _frames(shot),
                _from_to(before.get("near_pct"), after.get("near_pct")),
                _from_to(before.get("far_pct"), after.get("far_pct")),
                spread(shot["applied_hit_px"]),
                widest(shot["window"]),
                _result(shot),
            )
        )
    return [Table(head("shot", "frames", "near %", "far %", "HIT px", "window px", "result"), tuple(rows))]


def levelled_text(screen: str, shots: Iterable[Mapping[str, Any]]) -> list[Block]:
    """A line for each shot of a change log whose eyes were levelled; empty where none were."""
    said: list[Block] = []
    for shot in shots:
        if shot["align"] and shot["misalignment"] is not None:
            lay = lay_words(Misalignment(**shot["misalignment"]))
            text = f"levelled, for the right eye lay {lay}; enlarged × {shot['zoom']:.4f}"
            said.append(line(*placed(screen, shot["name"]), text))
    return said


def _frames(shot: Mapping[str, Any]) -> str:
    return str(shot["last"] - shot["first"] + 1)


def _result(shot: Mapping[str, Any]) -> Piece:
    if not shot["after"]:
        return Piece("unchecked", "soft")
    flags = len(shot["flags"])
    role: Role = "bad" if flags else "good"
    return Piece("ok" if not flags else "1 flag" if flags == 1 else f"{flags} flags", role)


def _from_to(before: float | None, after: float | None) -> str:
    return f"{pct(before)} → {pct(after)}"


def spread(ends: Sequence[float]) -> str:
    """A HIT of a shot, or the least and the most of it."""
    low, high = (end + 0.0 for end in ends)  # never a negative zero
    return _signed(f"{low:+g}" if low == high else f"{low:+g}…{high:+g}")


def widest(window: Sequence[Mapping[str, Any]]) -> str:
    """The widest that the window of a shot gets on each side."""
    if not window:
        return "none"
    left = max(max(key["left_px"]) for key in window)
    right = max(max(key["right_px"]) for key in window)
    return f"L {left:.0f} R {right:.0f}"


def verdict_text(screen: str, shots: Iterable[Mapping[str, Any]]) -> Line:
    """Whether all shots are within the limits of a screen, in a few words."""
    codes = {flag["code"] for shot in shots for flag in shot["flags"]}
    if codes - {"not-measured", BAD_FRAME}:
        return line(Piece("outside the limits", "bad"), " of ", name(screen))
    if "not-measured" in codes:
        return line(Piece("could not be judged", "bad"), " on ", name(screen))
    if codes:
        return line("within the limits of ", name(screen), ", but ", Piece("with frames that cannot be read", "bad"))
    return line(Piece("within the limits", "good"), " of ", name(screen))


def flags_text(screen: str, shots: Iterable[Mapping[str, Any]]) -> list[Block]:
    """One line for each flag; empty where there is none."""
    return [line(*placed(screen, shot["name"]), flag["text"]) for shot in shots for flag in shot["flags"]]


def told_text(told: Told, clip: str = "", *, edges: bool = False) -> list[Block]:
    """One line for everything the measurement says besides its figures; empty where that is nothing."""
    return [_of_clip(clip, text) for text in told.texts(edges=edges)]


def reading_text(reading: Reading, clip: str = "") -> list[Block]:
    """One line that says how the eyes were paired; empty where they were taken as given."""
    said = reading_words(reading)
    return [_of_clip(clip, said)] if said else []


def _of_clip(clip: str, text: str) -> Line:
    return line(name(clip), ", ", text) if clip else line(text)


def demo_text(result: DemoResult) -> list[Block]:
    """What was planted in each shot of the demo, what was found, and what is left on each screen."""
    said: list[Block] = []
    heads = head("", "near %", "far %", "left %", "right %", "HIT px", "window px")
    for shot in result.shots:
        rows: list[tuple[Cell, ...]] = [("planted", *(pct(shot.true_pct[figure]) for figure in DEMO_FIGURES), "", "")]
        found = shot.found_pct or {}
        rows.append(("found", *(pct(found.get(figure)) for figure in DEMO_FIGURES), "", ""))
        for screen, entry in shot.after.items():
            after = entry["after"] or {}
            cells = [pct(after.get(figure)) for figure in DEMO_FIGURES]
            rows.append((name(f"after, {screen}"), *cells, spread(entry["applied_hit_px"]), widest(entry["window"])))
        said += [line(Piece(shot.name, "heading"), f": {shot.planted}"), Table(heads, tuple(rows)), Gap()]
    flags = [
        block for shot in result.shots for screen, entry in shot.after.items() for block in flags_text(screen, [entry])
    ]
    within = line(Piece("every shot is within the limits of both screens", "good"))
    where = [Whole(f"before and after: {result.sheet}"), Whole(f"review page: {result.report}")]
    return [*said, *(flags or [within]), *where]
