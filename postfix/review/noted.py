"""What was noted of a shot on its screens: once what holds for several of them, and by itself what holds for one."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass

from postfix.lengths import length_text
from postfix.review.logged import LoggedShot
from postfix.review.verdict import NOTICE_WORDS
from postfix.story.model import Notice

_FIGURE = re.compile(r"[+\N{MINUS SIGN}]?\d+(\.\d+)?")

_OF_ONE = "this screen"
"""A sentence that says so is told of each screen by itself."""

_Told = tuple[int, str]
"""Which screen, and what is told of it."""


@dataclass(frozen=True)
class Noted:
    """Sentences on a shot.

    Attributes
    ----------
    together : tuple of str
        What holds on several screens; where not on all of them, it says on which.
    each : tuple of tuple of str
        What else holds, one tuple a screen.
    """

    together: tuple[str, ...]
    each: tuple[tuple[str, ...], ...]


def noted(screens: Sequence[str], results: Sequence[LoggedShot | None]) -> Noted:
    """Sort what was noted of a shot by the screens it holds on.

    A sentence that is the same on several screens is told once. So is one that differs by a single figure, as that of
    the roundness does: then with the figure of each screen.

    Parameters
    ----------
    screens : sequence of str
        Their names.
    results : sequence of LoggedShot or None
        Of the shot, one a screen; None where it is cut otherwise there.
    """
    there = [(index, result) for index, result in enumerate(results) if result is not None]
    by_code: dict[str, list[_Told]] = {}
    for index, result in there:
        for notice in () if result.story is None else result.story.notices:
            by_code.setdefault(notice.code, []).append((index, notice_text(result, notice)))
    together: list[str] = []
    each: list[list[str]] = [[] for _ in results]
    for code, told in by_code.items():
        for indices, text in _sentences(told, screens):
            if len(indices) == 1:
                each[indices[0]].append(_headed(code, text))
            elif len(indices) == len(there):
                together.append(_headed(code, text))
            else:
                together.append(_headed(code, f"on {', '.join(screens[index] for index in indices)}: {text}"))
    return Noted(tuple(together), tuple(map(tuple, each)))


def notice_text(result: LoggedShot, notice: Notice) -> str:
    """A notice in words. An interaxial that would have fitted is told in millimetres, as the notice has it, and as the
    share of what was noted that it is, as a plan tells it, where both are known."""
    camera, filmed = result.plan.camera, None if result.story is None else result.story.filmed
    if notice.code != "interaxial" or camera is None or filmed is None:
        return notice.text
    base_mm, fitting_mm = camera.interaxial_mm, filmed.fitting_interaxial_mm
    if base_mm is None or fitting_mm is None or not 0.0 < fitting_mm < base_mm:
        return notice.text
    rig = f" ({filmed.rig})" if filmed.rig else ""
    return (
        f"too deep: {_share_text(fitting_mm / base_mm)} of the interaxial would have fitted, "
        f"{length_text(fitting_mm)} instead of {length_text(base_mm)}, with one HIT for the whole shot{rig}"
    )


def _share_text(share: float) -> str:
    """As the plan's table of shots and screens rounds it: never 100 %, for that is what was shot."""
    pct = min(share * 100.0, 99.9)
    return f"{pct:.0f} %" if pct < 99.5 else f"{pct:.1f} %"


def _headed(code: str, text: str) -> str:
    """What it is about, and the text; once where the text begins with it."""
    head = f"{NOTICE_WORDS.get(code, code)}: "
    return text if text.startswith(head) else head + text


def _sentences(told: Sequence[_Told], screens: Sequence[str]) -> list[tuple[list[int], str]]:
    """As few sentences as tell of all screens, each with those it tells of."""
    indices = [index for index, _ in told]
    is_once_a_screen = len(set(indices)) == len(indices)
    if is_once_a_screen and (merged := _merged(told, screens)) is not None:
        return [(indices, merged)]
    alike: dict[str, list[int]] = {}
    for index, text in told:
        alike.setdefault(text, []).append(index)
    return [
        (group, text)
        for text, all_of_it in alike.items()
        for group in ([all_of_it] if is_once_a_screen and _OF_ONE not in text else [[index] for index in all_of_it])
    ]


def _merged(told: Sequence[_Told], screens: Sequence[str]) -> str | None:
    """One sentence for all screens, which differs by a single figure; None where there is none."""
    columns = list(zip(*(text.split(" ") for _, text in told)))
    differing = [at for at, words in enumerate(columns) if len(set(words)) > 1]
    if len({text.count(" ") for _, text in told}) > 1 or len(differing) != 1 or _OF_ONE in told[0][1]:
        return None
    figures, indices = columns[differing[0]], [index for index, _ in told]
    if not all(map(_FIGURE.fullmatch, figures)):
        return None
    where: dict[str, list[str]] = {}
    for index, figure in zip(indices, figures):
        where.setdefault(figure, []).append(screens[index])
    words = [column[0] for column in columns]
    words[differing[0]] = ", ".join(f"{figure} ({', '.join(names)})" for figure, names in where.items())
    return " ".join(words)
