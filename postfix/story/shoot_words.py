"""What is told of a camera on one screen: the answer, what would fit instead, and what to mind of it."""

from __future__ import annotations

import math
from dataclasses import replace

from postfix.camera import Camera, Rig, focus_doubt, listed, roundness
from postfix.lengths import length_text
from postfix.plan.settings import StorySettings
from postfix.shooting import RATIO_CINEMA, RATIO_USUAL, check, interaxial_for
from postfix.story.fitting import Largest, convergence_for_far, nearest_fitting
from postfix.story.set_ups import (
    FIGURES,
    FIGURES_AT_MOST,
    KEYSTONE,
    SHIFT_MOST_PCT,
    Asked,
    Ends,
    Room,
    best_ends,
    faults,
    given_ends,
    is_inside,
    is_something_at_screen,
    rounded,
)
from postfix.story.words import pct_text
from postfix.viewing import Screen

CINEMA_FROM_MM = 5000.0
"""Screens wider than this count as cinema screens, for which the stricter rule of thumb is. Project default."""


def roundness_words(value: float, story: StorySettings) -> str:
    """Depth against width in a word."""
    if value < story.flat_below:
        return "flat"
    return "stretched" if value > story.stretched_above else "natural"


def set_up_words(camera: Camera) -> str:
    """``25.7 mm, converged at 3.2 m``."""
    base = "" if camera.interaxial_mm is None else f"{length_text(camera.interaxial_mm)}, "
    return f"{base}{converged_words(camera.convergence_mm)}"


def converged_words(convergence_mm: float | None) -> str:
    """Where cameras are converged; None where no distance is at the screen."""
    if convergence_mm is None:
        return "with even infinity in front of the screen"
    return f"converged at {placed_text(convergence_mm)}"


def placed_text(convergence_mm: float) -> str:
    """A distance of convergence with as many figures as it was rounded to."""
    if math.isinf(convergence_mm):
        return length_text(convergence_mm)
    exact = rounded(convergence_mm, FIGURES_AT_MOST)
    figures = next(n for n in range(FIGURES, FIGURES_AT_MOST + 1) if rounded(convergence_mm, n) == exact)
    if figures == FIGURES:
        return length_text(exact)
    decimals = max(0, figures - 1 - math.floor(math.log10(exact / 1000.0)))
    return f"{exact / 1000.0:.{decimals}f} m"


def given_text(mm: float) -> str:
    """A length as it was given, with as many figures as it takes; to three where those are too many to be typed."""
    if mm < 1000.0 and round(mm, 3) != 0.0:
        return f"{round(mm, 3):g} mm"
    unit, size = ("m", 1000.0) if mm < 1e6 else ("km", 1e6)
    typed = math.isfinite(mm) and math.isclose(rounded(mm, FIGURES_AT_MOST), mm, rel_tol=1e-12)
    return f"{mm / size:.{FIGURES_AT_MOST}g} {unit}" if typed and mm >= 1000.0 else length_text(mm)


class Words:
    """Verdict and advice for one camera on one screen.

    Parameters
    ----------
    asked : Asked
    used : Largest
        What the figures of the screen are of.
    fitting : Largest or None
        The largest that fits.
    room : Room
    screen : Screen
        With the eye distance that counts.
    story : StorySettings
    """

    def __init__(
        self, asked: Asked, used: Largest, fitting: Largest | None, room: Room, screen: Screen, story: StorySettings
    ) -> None:
        self.asked, self.used, self.fitting = asked, used.ends, fitting
        self.proposed, self.room, self.screen, self.story = used, room, screen, story

    def both(self) -> tuple[str, str]:
        """Verdict and advice; no advice where nothing is to be done or minded."""
        if self.asked.camera.interaxial_mm is None:
            return self._of_a_proposal()
        verdict, ways = self._of_what_was_given()
        told_keystone = "keystone" in verdict
        ways = [*ways, *([] if told_keystone else keystone_words(self.used))]
        return verdict, "; ".join(ways)

    def _of_what_was_given(self) -> tuple[str, list[str]]:
        camera, used, room = self.asked.camera, self.used, self.room
        fits = is_inside(used, room)
        if fits:
            own = "" if camera.convergence_mm is not None else f", {converged_words(used.camera.convergence_mm)}"
            minded = [*self._thumb_words(used.camera), *self._focus_words(used), *self._roundness_words(used)]
            return f"fits{own}", minded
        if fits is None:
            lacking = self.asked.missing or ("--converge",)
            return f"cannot be judged without {listed(lacking)}", []
        if math.isnan(used.near_pct):
            farther = convergence_for_far(used.camera, room)
            ways = [] if farther is None else [_converge_words(farther)]
            return f"does not fit: {outside_words(used, room)}", ways
        if camera.interaxial_mm is not None and not math.isnan(used.far_pct) and camera.convergence_mm is not None:
            best = best_ends(camera, camera.interaxial_mm, room)
            if is_inside(best, room) and best.camera.convergence_mm is not None:
                return f"needs convergence at {placed_text(best.camera.convergence_mm)}", []
        return f"does not fit: {self._why_not()}", self._ways()

    def _why_not(self) -> str:
        """What is outside. A convergence that nobody typed is not held against anybody."""
        impossible, placed = check(self.used.camera, length_text), self.used.camera.convergence_mm
        if impossible and self.asked.camera.convergence_mm is None and placed is not None:
            why = impossible[0].removeprefix(f"convergence distance {length_text(placed)} ")
            return f"the best convergence, {length_text(placed)}, {why}"
        return outside_words(self.used, self.room)

    def _ways(self) -> list[str]:
        """What would fit instead."""
        camera = self.asked.camera
        ways = [_UNSHIFTED] if self.fitting is None and self._needs_a_shift() else []
        if self.fitting is not None:
            minded = [*held_words(self.fitting.held_by, camera.rig), *self._roundness_words(self.fitting.ends)]
            beside = f" ({'; '.join(minded)})" if minded else ""
            ways.append(f"use {set_up_words(self.fitting.ends.camera)}{beside}")
        beyond = nearest_fitting(camera, self.room)
        nearest_mm = None if beyond is None else beyond.camera.near_mm
        if camera.interaxial_mm is None or camera.near_mm is None or beyond is None or nearest_mm is None:
            return ways
        if nearest_mm > camera.near_mm:
            set_up = f"{given_text(camera.interaxial_mm)}, {converged_words(beyond.camera.convergence_mm)}"
            kept = f"keep everything beyond {length_text(nearest_mm)} with {set_up}"
            ways.append(f"or {kept}" if ways else kept)
        return ways

    def _needs_a_shift(self) -> bool:
        """Whether these limits keep everything in front of the screen, which turning cameras alone does not do."""
        return self.asked.camera.rig == "toed-in" and self.room.limits.far_pct < 0.0

    def _of_a_proposal(self) -> tuple[str, str]:
        camera = self.used.camera
        if camera.interaxial_mm is not None:
            minded = [
                *self._thumb_words(camera),
                *held_words(self.proposed.held_by, camera.rig),
                *self._focus_words(self.used),
                *self._roundness_words(self.used),
                *keystone_words(self.used),
            ]
            return f"use {set_up_words(camera)}", "; ".join(minded)
        if self.asked.missing:
            return f"no interaxial can be told without {listed(self.asked.missing)}", ""
        if self.asked.camera.convergence_mm is None or self.fitting is None:
            return (_UNSHIFTED if self._needs_a_shift() else "no interaxial fits"), ""
        at = converged_words(self.asked.camera.convergence_mm)
        return f"no interaxial fits {at}", "; ".join(self._ways())

    def _focus_words(self, ends: Ends) -> list[str]:
        """Of what fits through a lens focused far away and does not through one focused on the nearest thing."""
        camera = ends.camera
        near = camera.near_mm
        if near is None or camera.convergence_mm is None or not focus_doubt(camera, near):
            return []
        focused = given_ends(replace(camera, focus_mm=near), self.room)
        if is_inside(focused, self.room) is not False:
            return []
        return [f"not with the lens focused at {length_text(near)}: {outside_words(focused, self.room)}; type --focus"]

    def _thumb_words(self, camera: Camera) -> list[str]:
        """Of a proposal that the limits allow and a rule of thumb does not."""
        near, base = camera.near_mm, camera.interaxial_mm
        is_cinema = self.screen.width_mm > CINEMA_FROM_MM
        if near is None or base is None:
            return []
        usual, strict = interaxial_for(near, RATIO_USUAL), interaxial_for(near, RATIO_CINEMA)
        if base > usual:
            more = f", and than the {length_text(strict)} of the 1/{RATIO_CINEMA:g} one for cinema" if is_cinema else ""
            return [f"that is more than the {length_text(usual)} of the 1/{RATIO_USUAL:g} rule{more}"]
        if is_cinema and base > strict:
            return [f"that is more than the {length_text(strict)} of the 1/{RATIO_CINEMA:g} rule for cinema"]
        return []

    def _roundness_words(self, ends: Ends) -> list[str]:
        """Of what lies at the screen, where that is flat or stretched."""
        placed, base = ends.camera.convergence_mm, ends.camera.interaxial_mm
        if placed is None or base is None or not is_something_at_screen(ends.camera):
            return []
        value = roundness(0.0, placed, base, self.screen)
        if value is None or roundness_words(value, self.story) == "natural":
            return []
        return [f"{roundness_words(value, self.story)} {value:.2f} at the screen"]


_UNSHIFTED = "no interaxial fits without shifting the pictures"


def _converge_words(at_mm: float) -> str:
    return "converge at infinity" if math.isinf(at_mm) else f"converge at {length_text(at_mm)} or beyond"


def _beyond_text(found: float, most: float) -> str:
    """A figure that is more than another, with as many decimals as show it, two at least."""
    decimals = next((n for n in range(2, 7) if f"{found:.{n}f}" != f"{most:.{n}f}"), 2)
    return f"{found:.{decimals}f}"


def outside_words(ends: Ends, room: Room) -> str:
    """What is outside, the range first: no convergence helps where that is too large.

    What is beyond by no more than is tolerated counts as inside, so that two decimals tell the rest from its limit.
    """
    found, limits = faults(ends, room), room.limits
    if "impossible" in found:
        return check(ends.camera, length_text)[0]
    sides = " at the sides" if ends.most_pct > ends.far_pct + 0.005 else ""
    words = {
        "range": f"range {ends.most_pct - ends.near_pct:.2f} % against {room.budget_pct:.2f} %",
        "near": f"near {pct_text(ends.near_pct)} against {pct_text(limits.near_pct)}",
        "far": f"far{sides} {pct_text(ends.most_pct)} against {pct_text(limits.far_pct)}",
        "shift": f"shift {ends.shift_pct:.2f} % of width against {SHIFT_MOST_PCT:g} %",
        "keystone": f"keystone {_beyond_text(ends.keystone_pct, KEYSTONE.tolerated or 0.0)} % of height against "
        f"{KEYSTONE.tolerated:g} %",
    }
    if "range" in found:
        found = tuple(one for one in found if one not in ("near", "far"))
    return ", ".join(words[one] for one in found)


def keystone_words(ends: Ends) -> list[str]:
    """Vertical parallax of toed-in cameras that is seen."""
    if math.isnan(ends.keystone_pct) or not KEYSTONE.reached(ends.keystone_pct):
        return []
    return [
        f"keystone {ends.keystone_pct:.2f} % of height: seen from {KEYSTONE.just_seen:g} %, "
        f"tolerated to {KEYSTONE.tolerated:g} %"
    ]


def held_words(held_by: str, rig: Rig) -> list[str]:
    """What besides the limits keeps the largest interaxial down; see :class:`~postfix.story.fitting.Largest`."""
    crossing = "the two pictures would lie side by side" if rig == "parallel" else "the cameras would cross too near"
    words = {
        "shift": f"held down by the shift, {SHIFT_MOST_PCT:g} % of width at most: it is cut off (project default)",
        "nearest": "the limits would allow more, but no wider than the nearest thing is away",
        "keystone": f"held down by keystone, {KEYSTONE.tolerated:g} % of height at most",
        "impossible": f"the limits would allow more, but {crossing}",
    }
    return [words[held_by]] if held_by else []
