"""What the plan command prints: reasons, the table of shots and screens, one shot explained."""

from __future__ import annotations

import textwrap
from collections.abc import Iterable, Sequence
from dataclasses import asdict
from math import isfinite
from typing import Any

from postfix.measure.columns import Columns
from postfix.plan.clip import Decided
from postfix.plan.fits import Fit, blame_words, fit_words
from postfix.plan.model import Part, Plan, ShotPlan
from postfix.plan.why import Alternative, Why, why_lines
from postfix.summary import NOT_MEASURED, pct, plain, table, wrapped

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


def fits_text(fits: Sequence[Sequence[Fit]]) -> str:
    """The table of shots × screens, a count for each screen, and what is to blame where a shot cannot fit."""
    if not fits:
        return ""
    head = ["shot", *(screen[0].screen for screen in fits)]
    rows = [[of_shot[0].shot, *(fit_words(fit) for fit in of_shot)] for of_shot in zip(*fits)]
    parts = [table(head, rows)]
    if any(fit.by_hand for screen in fits for fit in screen):
        parts.append("* decided by hand")
    for screen in fits:
        outside = sum(fit.verdict == "cannot fit" for fit in screen)
        counts = ", ".join(
            f"{sum(fit.verdict == verdict for fit in screen)} {words}"
            for verdict, words in (("as shot", "as shot"), ("HIT", "after HIT"), ("window", "with a window"))
        )
        unknown = sum(fit.verdict == "not known" for fit in screen)
        more = f", {unknown} not measured" if unknown else ""
        parts.append(wrapped(f"{screen[0].screen}: {counts}, {outside} cannot fit{more}"))
    parts.append(blame_text(fit for screen in fits for fit in screen))
    return "\n".join(filter(None, parts))


def blame_text(fits: Iterable[Fit]) -> str:
    """One line for each shot that cannot fit, of which something is known."""
    told = ((fit, blame_words(fit)) for fit in fits)
    return "\n".join(wrapped(f"{fit.screen}, {fit.shot}: {words}") for fit, words in told if words)


def why_text(found: Why, plan: Plan) -> str:
    """One shot explained, for a terminal."""
    lines = [line if len(line) <= 80 else wrapped(line) for line in why_lines(found, plan)]
    if found.alternatives:
        lines += [
            "",
            wrapped("alternatives with its neighbours as planned; limits first, then the least cost"),
            _alternatives_table(found.alternatives),
        ]
    lines += ["", wrapped(f"choice ({found.how}): {found.reason}")]
    lines += [wrapped(f"flag {flag.code}: {flag.text}") for flag in found.flags]
    return "\n".join(lines)


def _alternatives_table(alternatives: Iterable[Alternative]) -> str:
    """A row for each alternative, its further names below the first so that the figures fit beside them."""
    rows: list[list[str]] = []
    for one in alternatives:
        first, *others = (part for name in one.what.split(", ") for part in textwrap.wrap(name, _NAME_LENGTH))
        costs = (one.move, one.lost, one.window, one.jumps, one.cost)
        rows.append(
            [
                f"{'→' if one.is_chosen else ' '} {first}",
                *(pct(v) for v in (one.hit_pct, one.near_pct, one.far_pct)),
                f"{one.over_pct:.2f}" if one.over_pct > 0.0 else "no",
                *(f"{v:.2f}" if isfinite(v) else NOT_MEASURED for v in costs),
            ]
        )
        rows += [[f"  {name}", *[""] * (len(rows[-1]) - 1)] for name in others]
    head = ["  could be", "HIT %", "near %", "far %", "outside", "move", "lost", "window", "jumps", "cost"]
    return table(head, rows)


def why_data(found: Why) -> dict[str, Any]:
    """The same as plain data."""
    data = plain(asdict(found))
    data["limits"] = [dict(zip(("name", "pct", "mm", "rule"), row)) for row in data["limits"]]
    for entry, alternative in zip(data["alternatives"], found.alternatives):
        entry |= plain({"cost": alternative.cost})
    return data


def outside_text(decided: Decided, fits: Sequence[Fit], but: str | None) -> str:
    """What stays outside that the rest does not name.

    Where one shot was explained, ``but``, the names of the others; else, below the table of shots and screens, flags of
    shots that it does not show as outside.
    """
    screen = decided.plan.screen.name
    flagged = [fit for fit in fits if decided.flags[fit.shot]]
    if but is not None:
        others = [fit.shot for fit in flagged if fit.shot != but]
        names = ", ".join(others[:6]) + (f" and {len(others) - 6} more" if len(others) > 6 else "")
        return wrapped(f"outside on {screen} besides: {names}") if others else ""
    return _flag_lines(decided, [fit.shot for fit in flagged if fit.verdict != "cannot fit"])


def all_flags_text(decided: Decided) -> str:
    """One line for everything that stays outside its limits or could not be judged."""
    return _flag_lines(decided, [shot.name for shot in decided.plan.shots])


def _flag_lines(decided: Decided, shots: Sequence[str]) -> str:
    screen = decided.plan.screen.name
    return "\n".join(wrapped(f"{screen}, {shot}: {flag.text}") for shot in shots for flag in decided.flags[shot])


_PART_WORDS: dict[Part, str] = {
    "hit": "HIT",
    "fill": "fill",
    "window": "window",
    "subpixel": "fractions of a pixel",
    "align": "alignment",
}


def kept_text(plan: Plan, columns: Columns) -> str:
    """What an update left to the person: limits, locked shots, parts decided by hand, cuts that they moved."""
    lines = [f"limits: {', '.join(plan.limits.by_hand)} given by hand, kept"] if plan.limits.by_hand else []
    for shot in plan.shots:
        if shot.locked:
            lines.append(f"{shot.name}: locked, kept as it is")
        elif shot.by_hand:
            parts = ", ".join(_PART_WORDS[part] for part in shot.by_hand)
            lines.append(f"{shot.name}: {parts} decided by hand, kept")
            if shot.subject is not None and "hit" in shot.by_hand:
                lines.append(f"{shot.name}: the subject is passed over; remove the line of the hit to have it followed")
    measured, planned = {shot.first for shot in columns.shots}, {shot.first for shot in plan.shots}
    lines += [
        f"frame {frame}: the measurement has a cut here, the plan has none; kept so"
        for frame in sorted(measured - planned)
    ]
    lines += [
        f"frame {frame}: the plan has a cut here, the measurement has none; kept so"
        for frame in sorted(planned - measured)
    ]
    return "\n".join(lines)
