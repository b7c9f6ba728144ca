"""What the plan command prints: reasons, the table of shots and screens, one shot explained."""

from __future__ import annotations

import re
import textwrap
from collections.abc import Iterable, Sequence
from dataclasses import asdict
from itertools import groupby
from math import isfinite
from typing import Any

from postfix.job.lettering import columns, visible
from postfix.look import COLUMNS, Piece
from postfix.measure.columns import Columns
from postfix.plain import plain
from postfix.plan.clip import Decided
from postfix.plan.diff import Difference
from postfix.plan.fits import Fit, blame_words, fit_words
from postfix.plan.model import Part, Plan, ShotPlan
from postfix.plan.why import Alternative, Why, why_lines
from postfix.summary import NOT_MEASURED, head, pct, placed, some_names
from postfix.tables import Table
from postfix.terminal import Block, Gap, line, lines, name

_NAME_LENGTH = 12
"""Letters of an alternative's name in one row."""


def shot_reason(shot: ShotPlan) -> str:
    """Why a shot of a new plan is as it is; where a person has decided, that first."""
    return "; ".join(filter(None, ("kept as locked" if shot.locked else "", shot.reason)))


def plan_data(decided: Decided, fits: Sequence[Fit]) -> dict[str, Any]:
    """A plan as --json tells it: for each shot its reason, flags and how it fits."""
    shots = [
        {
            "name": shot.name,
            "first": shot.first,
            "last": shot.last,
            "reason": shot.reason,
            "flags": [asdict(flag) for flag in decided.flags[shot.name]],
            "fit": {k: v for k, v in fit.items() if k != "shot"},
        }
        for shot, fit in zip(decided.plan.shots, fits_data(fits))
    ]
    return {"screen": decided.plan.screen.name, "shots": shots}


def fits_data(fits: Sequence[Fit]) -> list[dict[str, Any]]:
    """How every shot fares on one screen, as plain data."""
    return [plain({k: v for k, v in asdict(fit).items() if k != "screen"}) for fit in fits]


def reasons_text(plan: Plan) -> list[Block]:
    """One line for each shot of a new plan."""
    return [line(name(shot.name), f": {shot_reason(shot)}") for shot in plan.shots]


def fits_text(fits: Sequence[Sequence[Fit]]) -> list[Block]:
    """The table of shots × screens, a count for each screen, and what is to blame where a shot cannot fit."""
    if not fits:
        return []
    heads = head("shot", *(name(screen[0].screen, "soft") for screen in fits))
    rows = tuple((name(of_shot[0].shot), *map(_cell, of_shot)) for of_shot in zip(*fits))
    said: list[Block] = [Table(heads, rows)]
    if any(fit.by_hand for screen in fits for fit in screen):
        said.append(line("* decided by hand"))
    for screen in fits:
        outside = sum(fit.verdict == "cannot fit" for fit in screen)
        counts = ", ".join(
            f"{sum(fit.verdict == verdict for fit in screen)} {words}"
            for verdict, words in (("as shot", "as shot"), ("HIT", "after HIT"), ("window", "with a window"))
        )
        unknown = sum(fit.verdict == "not known" for fit in screen)
        more = f", {unknown} not measured" if unknown else ""
        misfits = Piece(f"{outside} cannot fit", "bad" if outside else "plain")
        said.append(line(name(screen[0].screen), f": {counts}, ", misfits, more))
    return said + blame_text(fit for screen in fits for fit in screen)


def _cell(fit: Fit) -> Piece:
    return Piece(fit_words(fit), "bad" if fit.verdict == "cannot fit" else "plain")


def blame_text(fits: Iterable[Fit]) -> list[Block]:
    """One line for each shot that cannot fit, of which something is known."""
    told = ((fit, blame_words(fit)) for fit in fits)
    return [line(*placed(fit.screen, fit.shot), words) for fit, words in told if words]


_AS_WRITTEN = {"name", "note", "reason"}
"""What a difference is in words of a person, in which a hyphen is no minus sign."""


def differences_text(differences: Iterable[Difference]) -> list[Block]:
    """What differs between two plans, one paragraph for each shot; empty where nothing does."""
    said: list[Block] = []
    for where, group in groupby(differences, key=lambda difference: difference.where):
        said += [line(visible(where)), *(told for one in group for told in _difference(one))]
    return said


def _difference(one: Difference) -> list[Block]:
    what, before, after = visible(one.what), visible(one.before), visible(one.after)
    if one.what not in _AS_WRITTEN and not one.what.startswith("rule for "):
        before, after = (_MINUS.sub("\N{MINUS SIGN}", words) for words in (before, after))
    if one.kind != "changed":
        words = before or after
        return [line(f"{what} {one.kind}: {words}" if words else f"{what} {one.kind}", indent=2)]
    whole = f"{what}: {before} → {after}"
    if columns(whole) + 2 <= COLUMNS:
        return [line(whole, indent=2)]
    # Where they do not fit beside each other they are compared more easily below each other.
    return [line(f"{what}:", indent=2), line(f"before {before}", indent=4), line(f"after  {after}", indent=4)]


_MINUS = re.compile(r"(?<![^\s(])-(?=[0-9])")


def why_text(found: Why, plan: Plan) -> list[Block]:
    """One shot explained, for a terminal."""
    title, *rest = why_lines(found, plan)
    said = [line(Piece(title, "heading")), *(block for words in rest for block in lines(visible(words)))]
    if found.alternatives:
        said += [
            Gap(),
            line("alternatives with its neighbours as planned; limits first, then the least cost"),
            _alternatives_table(found.alternatives),
        ]
    said += [Gap(), line(f"choice ({found.how}): {found.reason}")]
    return said + [line(Piece(f"flag {flag.code}", "bad"), f": {flag.text}") for flag in found.flags]


def _alternatives_table(alternatives: Iterable[Alternative]) -> Table:
    """A row for each alternative, its further names below the first so that the figures fit beside them."""
    rows: list[tuple[str, ...]] = []
    for one in alternatives:
        first, *others = (part for what in one.what.split(", ") for part in textwrap.wrap(what, _NAME_LENGTH))
        costs = (one.move, one.lost, one.window, one.jumps, one.cost)
        rows.append(
            (
                f"{'→' if one.is_chosen else ' '} {first}",
                *(pct(v) for v in (one.hit_pct, one.near_pct, one.far_pct)),
                f"{one.over_pct:.2f}" if one.over_pct > 0.0 else "no",
                *(f"{v:.2f}" if isfinite(v) else NOT_MEASURED for v in costs),
            )
        )
        rows += [(f"  {other}", *[""] * (len(rows[-1]) - 1)) for other in others]
    heads = head("  could be", "HIT %", "near %", "far %", "outside", "move", "lost", "window", "jumps", "cost")
    return Table(heads, tuple(rows))


def why_data(found: Why) -> dict[str, Any]:
    """The same as plain data."""
    data = plain(asdict(found))
    data["limits"] = [dict(zip(("name", "pct", "mm", "rule"), row)) for row in data["limits"]]
    for entry, alternative in zip(data["alternatives"], found.alternatives):
        entry |= plain({"cost": alternative.cost})
    return data


def outside_text(decided: Decided, fits: Sequence[Fit], but: str | None) -> list[Block]:
    """What stays outside that the rest does not name.

    Where one shot was explained, ``but``, the names of the others; else, below the table of shots and screens, flags of
    shots that it does not show as outside.
    """
    screen = decided.plan.screen.name
    flagged = [fit for fit in fits if decided.flags[fit.shot]]
    if but is not None:
        others = [fit.shot for fit in flagged if fit.shot != but]
        return [line("outside on ", name(screen), " besides: ", *some_names(others))] if others else []
    return _flag_lines(decided, [fit.shot for fit in flagged if fit.verdict != "cannot fit"])


def all_flags_text(decided: Decided) -> list[Block]:
    """One line for everything that stays outside its limits or could not be judged."""
    return _flag_lines(decided, [shot.name for shot in decided.plan.shots])


def _flag_lines(decided: Decided, shots: Sequence[str]) -> list[Block]:
    screen = decided.plan.screen.name
    return [line(*placed(screen, shot), flag.text) for shot in shots for flag in decided.flags[shot]]


_PART_WORDS: dict[Part, str] = {
    "hit": "HIT",
    "fill": "fill",
    "window": "window",
    "subpixel": "fractions of a pixel",
    "align": "alignment",
}


def kept_text(plan: Plan, columns: Columns) -> list[Block]:
    """What an update left to the person: limits, locked shots, parts decided by hand, cuts that they moved."""
    said: list[Block] = []
    if plan.limits.by_hand:
        said.append(line(f"limits: {', '.join(plan.limits.by_hand)} given by hand, kept"))
    for shot in plan.shots:
        if shot.locked:
            said.append(line(name(shot.name), ": locked, kept as it is"))
        elif shot.by_hand:
            parts = ", ".join(_PART_WORDS[part] for part in shot.by_hand)
            said.append(line(name(shot.name), f": {parts} decided by hand, kept"))
            if shot.subject is not None and "hit" in shot.by_hand:
                said.append(
                    line(
                        name(shot.name), ": the subject is passed over; remove the line of the hit to have it followed"
                    )
                )
    measured, planned = {shot.first for shot in columns.shots}, {shot.first for shot in plan.shots}
    said += [
        line(f"frame {frame}: the measurement has a cut here, the plan has none; kept so")
        for frame in sorted(measured - planned)
    ]
    said += [
        line(f"frame {frame}: the plan has a cut here, the measurement has none; kept so")
        for frame in sorted(planned - measured)
    ]
    return said
