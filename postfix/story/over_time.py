"""Comfort over time: how long content stays where it strains, minute by minute, and the cuts that make eyes jump."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, fields
from fractions import Fraction

import numpy as np

from postfix.limits import COMFORT_ARCMIN
from postfix.plan.figures import LIMIT_TOLERANCE_PCT
from postfix.plan.geometry import Array
from postfix.story.frames import IN_FRONT_PCT, ShownShot
from postfix.story.model import Cut, Stretch
from postfix.viewing import Screen, mm_from_arcmin, pct_from_mm

MINUTE_S = 60


def stretches(
    shots: Sequence[ShownShot], cuts: Sequence[Cut | None], screen: Screen, rate: Fraction
) -> tuple[Stretch, tuple[Stretch, ...]]:
    """The whole clip, and each of its minutes; ``cuts`` holds the cut into each shot.

    Content counts as beyond where near or far of a frame is more than 60 arcmin from the screen (Report ITU-R
    BT.2293-0, section 3.2), as parting the eyes where far is wider than they are apart, both with the tolerance that
    flags have; as in front where near is more than :data:`postfix.story.frames.IN_FRONT_PCT` in front of the screen.
    """
    near = np.concatenate([shot.near for shot in shots])
    far = np.concatenate([shot.far for shot in shots])
    measured = np.isfinite(near) | np.isfinite(far)
    low, high = (
        pct_from_mm(mm_from_arcmin(arcmin, screen.distance_mm, screen.eye_mm), screen.width_mm)
        for arcmin in (-COMFORT_ARCMIN, COMFORT_ARCMIN)
    )
    # Comparing with NaN is never true: what was not measured is counted nowhere.
    counted = np.stack(
        [
            measured,
            (near < low - LIMIT_TOLERANCE_PCT) | (far > high + LIMIT_TOLERANCE_PCT),
            far > pct_from_mm(screen.eye_mm, screen.width_mm) + LIMIT_TOLERANCE_PCT,
            near < -IN_FRONT_PCT,
        ]
    )
    frames = measured.size
    whole = _stretch(counted, cuts, 0, frames, rate)
    borders = [round(Fraction(minute * MINUTE_S) * rate) for minute in range(int(frames / rate / MINUTE_S) + 1)]
    ends = [*borders[1:], frames]
    minutes = [_stretch(counted, cuts, first, end, rate) for first, end in zip(borders, ends) if end > first]
    return whole, tuple(minutes)


def _stretch(counted: Array, cuts: Sequence[Cut | None], first: int, end: int, rate: Fraction) -> Stretch:
    def seconds(count: int) -> float:
        return float(count / rate)

    measured, beyond, apart, front = (seconds(int(row[first:end].sum())) for row in counted)
    here = [cut for cut in cuts if cut is not None and first <= cut.frame < end]
    return Stretch(
        start_s=seconds(first),
        length_s=seconds(end - first),
        measured_s=measured,
        beyond_s=beyond,
        apart_s=apart,
        front_s=front,
        hard_jumps=sum(cut.is_hard for cut in here),
        quick_cuts=sum(cut.is_quick and not cut.is_hard for cut in here),
        cuts=len(here),
        unknown_cuts=sum(math.isnan(cut.jump_pct) for cut in here),
    )


def together(parts: Sequence[Stretch]) -> Stretch:
    """Clips one after the other as one programme. The cuts between them are not known and not counted."""
    names = [field.name for field in fields(Stretch) if field.name != "start_s"]
    return Stretch(0.0, **{name: sum(getattr(part, name) for part in parts) for name in names})


def safety_line(whole: Stretch, screen: Screen, *, jump_arcmin: float, is_planned: bool = False) -> str:
    """Some sentences for those who look after viewers; no figure where nothing was measured.

    ``is_planned`` where it is reckoned from a plan, or partly so.
    """
    # A clip of one frame is not told as none.
    length = clock(whole.length_s) if whole.length_s >= _SHORTEST_S else f"{whole.length_s:.2g} s"
    if whole.measured_s <= 0.0:
        return f"Of {length} nothing could be measured, so nothing is known of how comfortable it is on {screen.name}."
    told = [
        f"{_part(whole.beyond_s, whole)} with content more than {COMFORT_ARCMIN:g} arcmin from the screen",
        f"{_part(whole.apart_s, whole)} with content that makes the eyes turn apart",
        f"{_part(whole.front_s, whole)} with content in front of the screen",
    ]
    if whole.cuts:
        told.append(
            f"{_count(whole.hard_jumps, 'hard jump')} in depth at cuts (more than about {jump_arcmin:g} arcmin)"
        )
    if whole.quick_cuts:
        told.append(f"{_count(whole.quick_cuts, 'quick cut')} with lesser ones")
    unmeasured = whole.length_s - whole.measured_s
    unknown = [_length(unmeasured)] if unmeasured > _SHORTEST_S / 100.0 else []
    if whole.unknown_cuts:
        unknown.append(f"{whole.unknown_cuts} of {_count(whole.cuts, 'cut')}")
    seat = f"seen from {screen.distance_mm / 1000.0:g} m with eyes {screen.eye_mm:g} mm apart"
    parts = [
        "Reckoned from the plan, not measured on finished pictures:" if is_planned else "",
        f"{'of' if is_planned else 'Of'} {length} on {screen.name}, {seat}: {', '.join(told)}.",
        f"{' and '.join(unknown)} could not be measured: nothing is known of that." if unknown else "",
        "People differ, children most: local rules and qualified advice go first.",
    ]
    return " ".join(part for part in parts if part)


_SHORTEST_S = 0.1
"""What is shorter is told as that."""


def _count(count: int, what: str) -> str:
    return f"{count} {what}{'' if count == 1 else 's'}"


def _part(seconds: float, whole: Stretch) -> str:
    if seconds <= 0.0:
        return "none"
    return f"{_length(seconds)} ({_share(100.0 * seconds / whole.measured_s)} of what was measured)"


def _length(seconds: float) -> str:
    return clock(seconds) if seconds >= _SHORTEST_S else f"under {_SHORTEST_S:g} s"


def _share(pct: float) -> str:
    return "under 1 %" if pct < 1.0 else "over 99 %" if 99.0 < pct < 100.0 - 1e-9 else f"{pct:.0f} %"


def clock(seconds: float) -> str:
    """``4.5 s``, ``2 min 05 s``, ``1 h 02 min``."""
    tenths = round(seconds * 10.0)
    if tenths < 600:
        return f"{tenths / 10.0:.1f} s"
    whole = round(seconds)
    if whole < 3600:
        return f"{whole // 60} min {whole % 60:02d} s"
    minutes = round(seconds / 60.0)
    return f"{minutes // 60} h {minutes % 60:02d} min"


@dataclass(frozen=True)
class Programme:
    """Clips that were made for one screen, as one programme; ``line`` is for those who look after viewers."""

    screen: str
    clips: int
    line: str
    whole: Stretch


@dataclass(frozen=True)
class ClipOnScreen:
    """A clip on one screen as it goes into a programme.

    Attributes
    ----------
    screen : Screen
    jump_arcmin : float
        From which a jump is hard.
    length_s : float
    whole : Stretch or None
        None where nothing is told of it: it then counts with its length alone.
    is_planned : bool
        Whether it was not measured on finished pictures.
    """

    screen: Screen
    jump_arcmin: float
    length_s: float
    whole: Stretch | None
    is_planned: bool


def programmes(clips: Sequence[ClipOnScreen]) -> tuple[Programme, ...]:
    """A programme for each screen that several clips were made for.

    Screens of one name but other measures, or another figure of what is hard, are no one screen.
    """
    groups: dict[tuple[object, ...], list[ClipOnScreen]] = {}
    for clip in clips:
        screen = clip.screen
        key = (screen.name, screen.width_mm, screen.distance_mm, screen.eye_mm, clip.jump_arcmin)
        groups.setdefault(key, []).append(clip)
    made = []
    for one in groups.values():
        if len(one) < 2:
            continue
        nothing = (Stretch(0.0, clip.length_s, 0.0, 0.0, 0.0, 0.0, 0, 0) for clip in one)
        whole = together([empty if clip.whole is None else clip.whole for clip, empty in zip(one, nothing)])
        is_planned = any(clip.is_planned for clip in one)
        text = safety_line(whole, one[0].screen, jump_arcmin=one[0].jump_arcmin, is_planned=is_planned)
        made.append(Programme(one[0].screen.name, len(one), text, whole))
    return tuple(made)
