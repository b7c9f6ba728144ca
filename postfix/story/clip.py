"""What is told of a clip on one screen, put together: depth, cuts, size, seats, camera, comfort over time."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from postfix.camera import Camera, roundness
from postfix.limits import LimitRules, Limits, eye_mm_of, limits_for
from postfix.measure.columns import Columns
from postfix.measure.table import ClipInfo
from postfix.plan.figures import Figures, figures_of
from postfix.plan.model import Plan
from postfix.plan.robust import ShotArrays
from postfix.plan.settings import PlanSettings
from postfix.story.cuts import cuts_of, quick_runs, volume_pct
from postfix.story.filmed import filmed, filmed_notices
from postfix.story.frames import ShownShot, as_finished, as_measured, as_planned
from postfix.story.front import front_of
from postfix.story.model import Cut, Depth, Filmed, FromSeat, MeasuredOn, Notice, Seat, Seen, ShotStory, Story
from postfix.story.over_time import safety_line, stretches
from postfix.story.seats import from_seats, seats_of, seen
from postfix.story.words import cut_text, front_text, quick_text, seats_text
from postfix.viewing import Screen

_NOTHING = Figures(*(math.nan,) * 8, measured_frames=0, frames=0)
"""Of a source that was not measured."""


@dataclass(frozen=True, eq=False)
class _Place:
    """Where a clip is watched, and what is asked for there."""

    screen: Screen
    limits: Limits
    settings: PlanSettings
    clip: ClipInfo

    @property
    def rules(self) -> LimitRules:
        return self.settings.limits

    @property
    def aspect(self) -> float:
        """Width over height of the picture as it is shown."""
        return float(self.clip.width_px * self.clip.pixel_aspect / self.clip.height_px)


def story_of_plan(source: Columns, plan: Plan, arrays: Sequence[ShotArrays] | None = None) -> Story:
    """What is to be told of a plan before it is rendered, from the measurement of the source.

    ``arrays`` are those of its shots where they are known already.
    """
    place = _Place(plan.screen, plan.limits, plan.settings, plan.clip)
    shown = as_planned(source, plan.shots, arrays)
    return _story("planned", shown, place, _cameras(plan), source)


def story_of_finished(finished: Columns, plan: Plan, source: Columns | None) -> Story:
    """What is to be told of finished pictures.

    Parameters
    ----------
    finished : Columns
        Measured on the written files.
    plan : Plan
        That they were made by.
    source : Columns or None
        The measurement of the source, which the camera's figures are of, and which knows of dissolves.
    """
    place = _Place(plan.screen, plan.limits, plan.settings, plan.clip)
    shown = as_finished(finished, plan.shots, source)
    return _story("finished", shown, place, _cameras(plan), source)


def story_as_given(
    columns: Columns, screen: Screen, settings: PlanSettings, cameras: Mapping[str, Camera] | None = None
) -> Story:
    """What is to be told of pictures as they are, on one screen; ``cameras`` by the name of the shot."""
    limits = limits_for(screen, settings.limits)
    watched = replace(screen, eye_mm=eye_mm_of(screen, settings.limits))
    shown = as_measured(columns, columns.shots)
    return _story("source", shown, _Place(watched, limits, settings, columns.clip), cameras or {}, columns)


def _cameras(plan: Plan) -> dict[str, Camera]:
    return {shot.name: shot.camera for shot in plan.shots if shot.camera is not None}


def _story(
    measured_on: MeasuredOn,
    shown: Sequence[ShownShot],
    place: _Place,
    cameras: Mapping[str, Camera],
    source: Columns | None,
) -> Story:
    rate, screen, settings = place.clip.rate, place.screen, place.settings
    cuts = cuts_of(shown, screen, rate, settings)
    runs = quick_runs(cuts, settings.story.quick_run)
    ends = {last: (first, last) for first, last in runs}
    seats = seats_of(screen, settings.story)
    whole, minutes = stretches(shown, cuts, screen, rate)
    shots = []
    for index, (shot, cut) in enumerate(zip(shown, cuts)):
        run = ends.get(index)
        hurried = (
            None if run is None else quick_text([shown[i].name for i in range(run[0], run[1] + 1)], settings.story)
        )
        camera = cameras.get(shot.name)
        # What only a camera asks for is not looked up without one: an edit has thousands of shots.
        as_shot = figures_of(source, shot.first, shot.last) if source is not None and camera is not None else None
        shots.append(_shot(shot, cut, hurried, camera, as_shot, place, seats))
    return Story(
        measured_on=measured_on,
        shots=tuple(shots),
        whole=whole,
        minutes=minutes,
        quick_runs=runs,
        line=safety_line(
            whole, screen, jump_arcmin=settings.convergence.jump_arcmin, is_planned=measured_on == "planned"
        ),
        seats=seats,
    )


def _shot(
    shot: ShownShot,
    cut: Cut | None,
    hurried: str | None,
    camera: Camera | None,
    as_shot: Figures | None,
    place: _Place,
    seats: tuple[Seat, ...],
) -> ShotStory:
    screen, figures, story = place.screen, shot.figures, place.settings.story
    ends = figures.near_pct, figures.median_pct, figures.far_pct
    near, main, far = (seen(pct, screen, screen.eye_mm) for pct in ends)
    depth = _depth(near, main, far, volume_pct(shot))
    front = front_of(shot, screen, place.aspect)
    notices: list[Notice] = []
    if cut is not None and cut.is_hard:
        notices.append(Notice("hard-jump", cut_text(cut)))
    if hurried is not None:
        notices.append(Notice("quick-cuts", hurried))
    if front is not None and front.width_pct > story.front_width_pct:
        notices.append(Notice("front-wide", front_text(front, story.front_width_pct)))
    told: Filmed | None = None
    if camera is not None:
        was = as_shot or _NOTHING
        source_pct = was.near_pct, was.median_pct, was.far_pct
        told = filmed(camera, *source_pct, screen, place.limits, ends, was.range_pct)
        notices += filmed_notices(camera, told, story, source_pct)
    viewed = from_seats(*ends, screen, place.rules, seats, place.limits, figures.range_pct)
    if camera is not None and told is not None:
        viewed = _with_roundness(viewed, camera, told, screen)
    notices += _seat_notices(viewed, place.rules)
    of_shot = shot.name, shot.first, shot.last
    return ShotStory(*of_shot, depth, front, cut, viewed, told, tuple(notices), shot.front_is_known)


def _depth(near: Seen, main: Seen, far: Seen, volume: float) -> Depth:
    both = None if near.distance_mm is None or far.distance_mm is None else far.distance_mm - near.distance_mm
    return Depth(near, main, far, volume, both)


def _with_roundness(viewed: tuple[FromSeat, ...], camera: Camera, told: Filmed, screen: Screen) -> tuple[FromSeat, ...]:
    """Depth against width of the main mass from each seat, where camera and distance are known."""
    if camera.interaxial_mm is None or told.main_mm is None:
        return viewed
    base_mm, main_mm = camera.interaxial_mm, told.main_mm

    def at(one: FromSeat) -> float | None:
        # To the side depth leans rather than grows: the seat in front of which it lies stands for it.
        there = replace(screen, distance_mm=one.seat.distance_mm)
        return roundness(one.main.parallax_pct, main_mm, base_mm, there)

    return tuple(replace(one, roundness=at(one)) for one in viewed)


def _seat_notices(viewed: Sequence[FromSeat], rules: LimitRules) -> list[Notice]:
    """Seats from which the eyes must turn apart by more than is allowed, where they need not from the screen's own.

    That comes first among them; there it is a limit, and told as such.
    """
    if viewed[0].far.divergence_deg > rules.divergence_deg:
        return []
    there = [one for one in viewed[1:] if one.far.divergence_deg > rules.divergence_deg]
    return [Notice("seat", seats_text(there, rules.divergence_deg))] if there else []
