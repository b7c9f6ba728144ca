"""What the commands print of an edit besides its limits: what is worth knowing of shots, and comfort over time."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import asdict
from fractions import Fraction
from typing import Any

from postfix.deliver.story_log import shot_story_entry, story_entry
from postfix.look import Piece
from postfix.story.model import Story, Stretch
from postfix.story.over_time import safety_line, together
from postfix.summary import placed, plain, some_names
from postfix.terminal import Block, Gap, line
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
            said += [line(*placed(screen, name, clip), Piece("noted", "soft"), f": {text}") for name, text in told]
            continue
        count = f"noted: {words}, {len(told)} shots ("
        said.append(line(*placed(screen, "", clip), count, *some_names([name for name, _ in told]), ")"))
    return said if whole is None else [*said, line(whole["line"])]


def programmes_of(logs: Sequence[Mapping[str, Any]]) -> list[dict[str, Any]]:
    """For each screen that several clips were made for, all of them together as one programme.

    Clips of which nothing was told count with their length alone. Screens of one name but other measures, or other
    settings of a hard jump, are no one screen.
    """
    groups: dict[tuple[Any, ...], list[Mapping[str, Any]]] = {}
    for log in logs:
        jump_arcmin = log["settings"]["convergence"]["jump_arcmin"]
        groups.setdefault((*(log["screen"][key] for key in _SCREEN_KEYS), jump_arcmin), []).append(log)
    programmes = []
    for (screen_name, width_mm, distance_mm, eye_mm, jump_arcmin), of_screen in groups.items():
        if len(of_screen) < 2:
            continue
        whole = together([_whole(log) for log in of_screen])
        text = safety_line(whole, Screen(screen_name, width_mm, distance_mm, eye_mm), jump_arcmin=jump_arcmin)
        programmes.append({"screen": screen_name, "clips": len(of_screen), "line": text, "whole": plain(asdict(whole))})
    return programmes


_SCREEN_KEYS = ("name", "width_mm", "distance_mm", "eye_mm")


def _whole(log: Mapping[str, Any]) -> Stretch:
    if log.get("story") is not None:
        return Stretch(**log["story"]["whole"])
    length_s = float(log["clip"]["frames"] / Fraction(log["clip"]["rate"]))
    return Stretch(0.0, length_s, 0.0, 0.0, 0.0, 0.0, 0, 0)


def programme_text(programmes: Sequence[Mapping[str, Any]]) -> list[Block]:
    """A line for each programme."""
    if not programmes:
        return []
    heading = line(Piece("all clips together", "heading"))
    return [heading, *(line(f"{one['clips']} clips: {one['line']}") for one in programmes), Gap()]


def planned_story_text(screen: str, story: Story) -> list[Block]:
    """:func:`story_text` of a plan that was not rendered."""
    shots = [{"name": shot.name, "story": {"notices": [asdict(one) for one in shot.notices]}} for shot in story.shots]
    return story_text(screen, shots, {"line": f"as planned: {story.line}"})


def add_story(entry: dict[str, Any], story: Story) -> None:
    """Put what is told of an edit into a plan as --json tells it, and that of its shots beside theirs."""
    entry["story"] = story_entry(story)
    for shot, told in zip(entry["shots"], story.shots):
        shot["story"] = shot_story_entry(told)
