"""What a camera will give on one screen before anything is shot, and what would fit there, in figures and words.

What cannot be reckoned is None: never an infinite or negative distance.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

from postfix.camera import Camera, infinity_pct, roundness
from postfix.limits import LimitRules, Limits, eye_mm_of, limits_for
from postfix.plan.figures import range_budget
from postfix.plan.settings import PlanSettings, StorySettings
from postfix.shooting import RATIO_CINEMA, bercovitz_mm, nearest_mm, rig_words
from postfix.story.fitting import fitting_ends, nearest_fitting, used_ends
from postfix.story.model import Seen
from postfix.story.seats import seen
from postfix.story.set_ups import (
    Asked,
    Ends,
    Room,
    best_ends,
    given_ends,
    is_inside,
    is_something_at_screen,
    lens_and_depth,
)
from postfix.story.shoot_words import Words
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
        From the screen's own seat, on the middle axis; infinity only where the farthest thing is nearer.
    far_sides : Seen or None
        Of toed-in cameras: the farthest thing at the sides of the picture, where it has most parallax and is judged.
    shift_pct : float or None
        Of parallel cameras: by how much both pictures are shifted over each other, percent of width.
    fits : bool or None
    verdict, advice : str
        In words; no advice where nothing is to be done.
    fitting : Camera or None
        The largest interaxial that fits, with its own convergence.
    nearest_fitting_mm : float or None
        The nearest thing that fits with the interaxial of ``camera``, converged as suits it best.
    held_by : str
        What keeps ``fitting`` from being larger besides the limits; see :class:`postfix.story.fitting.Largest`.
    near_roundness, screen_roundness : float or None
        Depth against width, 1 as in life; at the screen only where something of the scene may lie there.
    nearest_30_mm, nearest_100_mm, bercovitz_mm, keystone_pct : float or None
        By the rules of thumb for the interaxial of ``camera``; the interaxial by that formula for this screen's room;
        vertical parallax of toed-in cameras, percent of height.
    is_bercovitz_too_wide : bool
        Whether that formula would have the cameras farther apart than the nearest thing is away: it then tells nothing.
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
    far_sides: Seen | None
    infinity: Seen | None
    shift_pct: float | None
    fits: bool | None
    verdict: str
    advice: str
    fitting: Camera | None
    held_by: str
    nearest_fitting_mm: float | None
    near_roundness: float | None
    screen_roundness: float | None
    nearest_30_mm: float | None
    nearest_100_mm: float | None
    bercovitz_mm: float | None
    keystone_pct: float | None
    is_bercovitz_too_wide: bool
    rig: str

    @property
    def range_pct(self) -> float | None:
        """From nearest to farthest, of toed-in cameras to where that has most, percent of width."""
        most = self.far_sides or self.far
        return None if self.near is None or most is None else most.parallax_pct - self.near.parallax_pct

    @property
    def budget(self) -> tuple[float, str]:
        """Largest range, and its rule: the range limit, or the room from near to far where that is less."""
        return range_budget(self.limits)


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
    watched, room = replace(screen, eye_mm=eye_mm_of(screen, rules)), Room(limits, asked.sensor_height_mm)
    fitting = fitting_ends(asked, room)
    reckoned = used_ends(asked, room, fitting)
    used, camera = reckoned.ends, reckoned.ends.camera
    near, far, sides = (
        None if math.isnan(pct) else seen(pct, watched, watched.eye_mm)
        for pct in (used.near_pct, used.far_pct, used.most_pct)
    )
    verdict, advice = Words(asked, reckoned, fitting, room, watched, settings.story).both()
    beyond = nearest_fitting(camera, room)
    base = camera.interaxial_mm
    at_infinity, bercovitz = infinity_pct(camera), _bercovitz_mm(camera, limits)
    is_too_wide = bercovitz is not None and camera.near_mm is not None and bercovitz > camera.near_mm
    return OnScreen(
        watched,
        rules,
        limits,
        settings.story,
        camera,
        near,
        far,
        sides if camera.rig == "toed-in" else None,
        None if at_infinity is None or camera.far_mm == math.inf else seen(at_infinity, watched, watched.eye_mm),
        None if math.isnan(used.shift_pct) else used.shift_pct,
        is_inside(used, room),
        verdict,
        advice,
        None if fitting is None else fitting.ends.camera,
        "" if fitting is None else fitting.held_by,
        None if beyond is None else beyond.camera.near_mm,
        _roundness(used.near_pct, camera.near_mm, camera, watched),
        _roundness(0.0, camera.convergence_mm, camera, watched) if is_something_at_screen(camera) else None,
        None if base is None else nearest_mm(base),
        None if base is None else nearest_mm(base, RATIO_CINEMA),
        None if is_too_wide else bercovitz,
        None if math.isnan(used.keystone_pct) else used.keystone_pct,
        is_too_wide,
        "" if base is None else rig_words(base),
    )


def _roundness(pct: float, real_mm: float | None, camera: Camera, screen: Screen) -> float | None:
    if real_mm is None or camera.interaxial_mm is None or math.isnan(pct):
        return None
    return roundness(pct, real_mm, camera.interaxial_mm, screen)


def _bercovitz_mm(camera: Camera, limits: Limits) -> float | None:
    known, focal = lens_and_depth(camera), camera.focal_mm
    if known is None or focal is None:
        return None
    _, width, near, far = known
    return bercovitz_mm(near, far, focal, range_budget(limits)[0] * width / 100.0)


@dataclass(frozen=True)
class OnAll:
    """The largest interaxial that fits every screen, and how it is converged on each, in their order."""

    interaxial_mm: float
    ends: tuple[Ends, ...]


def on_all(asked: Asked, rows: Sequence[OnScreen]) -> OnAll | None:
    """None for a single screen, where one of them has no interaxial that fits, or no common one does."""
    proposed = [row.camera if asked.camera.interaxial_mm is None else row.fitting for row in rows]
    known = [one.interaxial_mm for one in proposed if one is not None and one.interaxial_mm is not None]
    if len(rows) < 2 or len(known) < len(rows):
        return None
    least = min(known)
    is_given = asked.camera.interaxial_mm is None and asked.camera.convergence_mm is not None
    camera = replace(asked.camera, interaxial_mm=least)
    rooms = [Room(row.limits, asked.sensor_height_mm) for row in rows]
    ends = [given_ends(camera, room) if is_given else best_ends(camera, least, room) for room in rooms]
    return OnAll(least, tuple(ends)) if all(map(is_inside, ends, rooms)) else None
