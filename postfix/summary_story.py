"""What the commands print of an edit besides its limits: what is worth knowing of shots, and comfort over time."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import asdict
from fractions import Fraction
from typing import Any

from postfix.deliver.story_log import shot_story_entry, story_entry
from postfix.look import Piece
from postfix.plain import plain
from postfix.story.model import Story, Stretch
from postfix.story.over_time import ClipOnScreen, programmes
from postfix.summary import NOT_MEASURED, head, placed, some_names
from postfix.tables import Cell, Table
from postfix.terminal import Block, Gap, line, name
from postfix.viewing import Screen

NOTICE_WORDS = {
    "front-wide": "wide in front of the screen",
    "hard-jump": "hard jumps in depth at the cut",
    "quick-cuts": "runs of quick cuts that end here",
    "seat": "eyes turn apart on other seats",
    "flat": "flat, depth against width",
    "stretched": "stretched, depth against width",
    "lens": "focal length",
    "camera": "camera and picture do not agree",
    "too-near": "nearer than the interaxial allows",
    "focus": "focus not noted",
    "interaxial": "another interaxial would have fitted",
}
"""What each notice is about, for a heading over many of them."""

_EACH = 3
"""Notices of a kind that are told one by one."""


def story_text(
    screen: str, shots: Sequence[Mapping[str, Any]], whole: Mapping[str, Any] | None, clip: str = ""
) -> list[Block]:
    """Notices of shots, kind by kind, and the line on comfort over time.

    Parameters
    ----------
    screen : str
    shots : sequence of mappings
        Each with ``name`` and ``story`` as in the change log, or ``story`` None.
    whole : mapping or None
        ``story`` of the log; None where nothing was measured.
    clip : str
        Empty where there is only one.
    """
    found: dict[str, list[tuple[str, str]]] = {}
    for shot in shots:
        for notice in (shot.get("story") or {}).get("notices", ()):
            found.setdefault(notice["code"], []).append((shot["name"], notice["text"]))
    said: list[Block] = []
    for code, words in NOTICE_WORDS.items():
        told = found.get(code, [])
        if len(told) <= _EACH:
            said += [line(*placed(screen, shot, clip), Piece("noted", "soft"), f": {text}") for shot, text in told]
            continue
        count = f"noted: {words}, {len(told)} shots ("
        said.append(line(*placed(screen, "", clip), count, *some_names([shot for shot, _ in told]), ")"))
    return said if whole is None else [*said, line(whole["line"])]


def depth_text(shots: Sequence[Mapping[str, Any]]) -> list[Block]:
    """A row for each shot: where it is seen from the screen's own seat, the jump into it, what is in front."""
    heads = head("shot", "volume %", "near m", "main m", "far m", "jump \N{PRIME}", "in front %", "its width %")
    rows: list[tuple[Cell, ...]] = []
    for shot in shots:
        told = shot["story"]
        depth, cut, front = told["depth"], told["cut"], told["front"]
        nothing = "0" if told["front_is_known"] else NOT_MEASURED
        rows.append(
            (
                name(shot["name"]),
                _figure(depth["volume_pct"], 2),
                *(_seen_at(depth[end]) for end in ("near", "main", "far")),
                _signed(cut["jump_arcmin"]) if cut else "",
                *(_figure(front[key], 0) if front else nothing for key in ("share_pct", "width_pct")),
            )
        )
    apart = any(_is_apart(shot["story"]["depth"][end]) for shot in shots for end in ("near", "main", "far"))
    return [
        Table(heads, tuple(rows)),
        *([line(f"{_APART}: no distance, the eyes are parallel or turn apart")] if apart else []),
    ]


_APART = "none"


def _figure(value: float | None, digits: int) -> str:
    return NOT_MEASURED if value is None else f"{value:.{digits}f}"


def _signed(arcmin: float | None) -> str:
    return NOT_MEASURED if arcmin is None else f"{round(arcmin) + 0.0:+.0f}".replace("-", "\N{MINUS SIGN}")


def _is_apart(seen: Mapping[str, Any]) -> bool:
    return seen["parallax_pct"] is not None and seen["distance_mm"] is None


def _seen_at(seen: Mapping[str, Any]) -> str:
    """Metres to three figures or so."""
    distance_mm = seen["distance_mm"]
    if distance_mm is None:
        return _APART if _is_apart(seen) else NOT_MEASURED
    metres = distance_mm / 1000.0
    return f"{metres:.2f}" if metres < 10.0 else f"{metres:.1f}" if metres < 100.0 else f"{metres:.0f}"


def programmes_of(logs: Sequence[Mapping[str, Any]]) -> list[dict[str, Any]]:
    """For each screen that several clips were made for, all of them together as one programme, of their change logs."""
    return [plain(asdict(one)) for one in programmes([_on_screen(log) for log in logs])]


def _on_screen(log: Mapping[str, Any]) -> ClipOnScreen:
    told, screen = log.get("story"), log["screen"]
    return ClipOnScreen(
        screen=Screen(*(screen[key] for key in ("name", "width_mm", "distance_mm", "eye_mm"))),
        jump_arcmin=log["settings"]["convergence"]["jump_arcmin"],
        length_s=float(log["clip"]["frames"] / Fraction(log["clip"]["rate"])),
        whole=None if told is None else Stretch(**told["whole"]),
        is_planned=told is not None and told["measured_on"] == "planned",
    )


def programme_text(programmes: Sequence[Mapping[str, Any]]) -> list[Block]:
    """A line for each programme."""
    if not programmes:
        return []
    heading = line(Piece("all clips together", "heading"))
    return [heading, *(line(f"{one['clips']} clips: {one['line']}") for one in programmes), Gap()]


def planned_story_text(screen: str, story: Story) -> list[Block]:
    """:func:`story_text` of a plan that was not rendered."""
    shots = [{"name": shot.name, "story": {"notices": [asdict(one) for one in shot.notices]}} for shot in story.shots]
    return story_text(screen, shots, {"line": story.line})


def add_story(entry: dict[str, Any], story: Story) -> None:
    """Put what is told of an edit into a plan as --json tells it, and that of its shots beside theirs."""
    entry["story"] = story_entry(story)
    for shot, told in zip(entry["shots"], story.shots):
        shot["story"] = shot_story_entry(told)
