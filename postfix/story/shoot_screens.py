"""What a camera will give on one screen before anything is shot, and what would fit there, in figures and words.

What cannot be reckoned is None: never an infinite or negative distance.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

from postfix.camera import Camera, depth_pct_mm, infinity_pct, is_figure, listed, roundness, vertical_parallax_mm
from postfix.lengths import length_text
from postfix.limits import LimitRules, Limits, eye_mm_of, limits_for
from postfix.plan.figures import LIMIT_TOLERANCE_PCT, range_budget, signed_pct
from postfix.plan.settings import PlanSettings, StorySettings
from postfix.shooting import RATIO_CINEMA, bercovitz_mm, check, interaxial_for, nearest_mm, rig_words
from postfix.story.model import Seen
from postfix.story.seats import seen
from postfix.story.set_ups import (
    Asked,
    Ends,
    best_ends,
    fitting_ends,
    is_inside,
    lens_and_depth,
    nearest_fitting_mm,
    rounded,
    rounded_up,
    used_ends,
)
from postfix.viewing import Screen


@dataclass(frozen=True)
class OnScreen:
    """A camera on one screen. None where something is missing that is needed for it.

    Attributes
    ----------
    screen : Screen
        With the eye distance that counts.
    rules : LimitRules
    limits : Limits
    story : StorySettings
    camera : Camera
        What the figures are of: interaxial and convergence as given, else as proposed.
    near, far, infinity : Seen or None
        From the screen's own seat; infinity only where the farthest thing is nearer.
    fits : bool or None
    verdict, advice : str
        In words; no advice where nothing is to be done.
    fitting : Camera or None
        The largest interaxial that fits, with its own convergence.
    nearest_fitting_mm : float or None
        The nearest thing that fits with the interaxial of ``camera``.
    near_roundness, screen_roundness : float or None
        Depth against width, 1 as in life.
    nearest_30_mm, nearest_100_mm, bercovitz_mm, keystone_pct : float or None
        By the rules of thumb for the interaxial of ``camera``; the interaxial by that formula for this screen's room;
        vertical parallax of toed-in cameras, percent of height.
    rig : str
        Which class of rig reaches the interaxial of ``camera``.
    """

    screen: Screen
    rules: LimitRules
    limits: Limits
    story: StorySettings
    camera: Camera
    near: Seen | None
    far: Seen | None
    infinity: Seen | None
    fits: bool | None
    verdict: str
    advice: str
    fitting: Camera | None
    nearest_fitting_mm: float | None
    near_roundness: float | None
    screen_roundness: float | None
    nearest_30_mm: float | None
    nearest_100_mm: float | None
    bercovitz_mm: float | None
    keystone_pct: float | None
    rig: str

    @property
    def range_pct(self) -> float | None:
        """From nearest to farthest, percent of width."""
        return None if self.near is None or self.far is None else self.far.parallax_pct - self.near.parallax_pct


def on_screen(asked: Asked, screen: Screen, settings: PlanSettings) -> OnScreen:
    """What a camera gives on a screen, and what would fit there.

    Raises
    ------
    ValueError
        Where figures are so far apart that they cannot be reckoned with.
    InputError
        Where the screen has no limits by these rules.
    """
    rules = settings.limits
    limits = limits_for(screen, rules)
    watched = replace(screen, eye_mm=eye_mm_of(screen, rules))
    fitting = fitting_ends(asked, limits)
    used = used_ends(asked, limits, fitting)
    camera = used.camera
    ends = [None if math.isnan(pct) else seen(pct, watched, watched.eye_mm) for pct in (used.near_pct, used.far_pct)]
    fits = is_inside(used, limits)
    verdict, advice = _words(asked, used, fits, fitting, limits)
    base = camera.interaxial_mm
    at_infinity = infinity_pct(camera)
    return OnScreen(
        watched,
        rules,
        limits,
        settings.story,
        camera,
        ends[0],
        ends[1],
        None if at_infinity is None or camera.far_mm == math.inf else seen(at_infinity, watched, watched.eye_mm),
        fits,
        verdict,
        advice,
        None if fitting is None else fitting.camera,
        nearest_fitting_mm(camera, limits),
        _roundness(used.near_pct, camera.near_mm, camera, watched),
        _roundness(0.0, camera.convergence_mm, camera, watched),
        None if base is None else nearest_mm(base),
        None if base is None else nearest_mm(base, RATIO_CINEMA),
        _bercovitz_mm(camera, limits),
        _keystone_pct(camera, asked.sensor_height_mm),
        "" if base is None else rig_words(base),
    )


def _roundness(pct: float, real_mm: float | None, camera: Camera, screen: Screen) -> float | None:
    if real_mm is None or camera.interaxial_mm is None or math.isnan(pct):
        return None
    return roundness(pct, real_mm, camera.interaxial_mm, screen)


def _bercovitz_mm(camera: Camera, limits: Limits) -> float | None:
    known = lens_and_depth(camera)
    if known is None:
        return None
    focal, width, near, far = known
    return bercovitz_mm(near, far, focal, range_budget(limits)[0] * width / 100.0)


def _keystone_pct(camera: Camera, sensor_height_mm: float | None) -> float | None:
    """The largest at the plane of convergence, at the nearest and at the farthest thing."""
    if camera.rig != "toed-in" or sensor_height_mm is None:
        return None
    found = [vertical_parallax_mm(camera, sensor_height_mm, at) for at in (None, camera.near_mm, camera.far_mm)]
    known = [one for one in found if one is not None]
    return 100.0 * max(known) / sensor_height_mm if known else None


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
    short = length_text(convergence_mm)
    if math.isinf(convergence_mm) or rounded(convergence_mm) == rounded(convergence_mm, 6):
        return short
    return f"{convergence_mm / 1000.0:.5g} m"


def _words(asked: Asked, used: Ends, fits: bool | None, fitting: Ends | None, limits: Limits) -> tuple[str, str]:
    """Verdict and advice."""
    camera = asked.camera
    if camera.interaxial_mm is None:
        return _proposal_words(asked, used, fitting)
    if fits:
        own = "" if camera.convergence_mm is not None else f", {converged_words(used.camera.convergence_mm)}"
        return f"fits{own}", ""
    if fits is None:
        lacking = asked.missing or ("--converge",)
        return f"cannot be judged without {listed(lacking)}", ""
    advice = _advice(camera, fitting, limits)
    if math.isnan(used.near_pct):
        over = f"far {signed_pct(used.far_pct)} against {signed_pct(limits.far_pct)}"
        return f"does not fit: {over}", _farther_convergence(used.camera, limits)
    if math.isnan(used.far_pct):
        return f"does not fit: near {signed_pct(used.near_pct)} against {signed_pct(limits.near_pct)}", advice
    best = best_ends(camera, camera.interaxial_mm, limits)
    if is_inside(best, limits) and best.camera.convergence_mm is not None:
        return f"needs convergence at {placed_text(best.camera.convergence_mm)}", ""
    return f"does not fit: {_outside_words(used, limits)}", advice


def _outside_words(ends: Ends, limits: Limits) -> str:
    """What is outside, the range first: no convergence helps where that is too large."""
    wide, most, impossible = ends.far_pct - ends.near_pct, range_budget(limits)[0], check(ends.camera)
    if impossible:
        return impossible[0]
    if wide > most + LIMIT_TOLERANCE_PCT:
        return f"range {wide:.2f} % against {most:.2f} %"
    over = []
    if ends.near_pct < limits.near_pct - LIMIT_TOLERANCE_PCT:
        over.append(f"near {signed_pct(ends.near_pct)} against {signed_pct(limits.near_pct)}")
    if ends.far_pct > limits.far_pct + LIMIT_TOLERANCE_PCT:
        over.append(f"far {signed_pct(ends.far_pct)} against {signed_pct(limits.far_pct)}")
    return ", ".join(over) or f"range {wide:.2f} % against {most:.2f} %"


def _advice(camera: Camera, fitting: Ends | None, limits: Limits) -> str:
    """What would fit instead."""
    nearest = nearest_fitting_mm(camera, limits)
    ways = [] if fitting is None else [f"use {set_up_words(fitting.camera)}"]
    if nearest is not None and camera.near_mm is not None and camera.interaxial_mm is not None:
        ways.append(f"keep everything beyond {length_text(nearest)} with {length_text(camera.interaxial_mm)}")
    return "; or ".join(ways)


def _proposal_words(asked: Asked, used: Ends, fitting: Ends | None) -> tuple[str, str]:
    if used.camera.interaxial_mm is not None:
        return f"use {set_up_words(used.camera)}", _caution(used.camera)
    if asked.missing:
        return f"no interaxial can be told without {listed(asked.missing)}", ""
    if asked.camera.convergence_mm is None or fitting is None:
        return "no interaxial fits", ""
    return f"no interaxial fits {converged_words(asked.camera.convergence_mm)}", f"use {set_up_words(fitting.camera)}"


def _caution(camera: Camera) -> str:
    """What to say of a proposal that the limits allow and the rule of thumb does not."""
    near, base = camera.near_mm, camera.interaxial_mm
    if near is None or base is None or base <= interaxial_for(near):
        return ""
    return f"that is more than the {length_text(interaxial_for(near))} of the 1/30 rule"


def _farther_convergence(camera: Camera, limits: Limits) -> str:
    """What would bring the farthest thing back under its limit, whatever is near."""
    span, far = depth_pct_mm(camera), camera.far_mm
    nearness = 0.0 if span is None or far is None else limits.far_pct / span + 1.0 / far
    return f"converge at {length_text(rounded_up(1.0 / nearness))} or beyond" if is_figure(nearness) else ""
