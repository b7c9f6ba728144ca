"""What the commands print of an edit besides its limits: what is worth knowing of shots, and comfort over time."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import asdict
from typing import Any

from postfix.deliver.story_log import shot_story_entry, story_entry
from postfix.look import Piece
from postfix.story.model import Story
from postfix.summary import placed, some_names
from postfix.terminal import Block, line

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


def planned_story_text(screen: str, story: Story) -> list[Block]:
    """:func:`story_text` of a plan that was not rendered."""
    shots = [{"name": shot.name, "story": {"notices": [asdict(one) for one in shot.notices]}} for shot in story.shots]
    return story_text(screen, shots, {"line": f"as planned: {story.line}"})


def add_story(entry: dict[str, Any], story: Story) -> None:
    """Put what is told of an edit into a plan as --json tells it, and that of its shots beside theirs."""
    entry["story"] = story_entry(story)
    for shot, told in zip(entry["shots"], story.shots):
        shot["story"] = shot_story_entry(told)
