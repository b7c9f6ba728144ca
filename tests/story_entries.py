"""What is told of an edit besides its limits, made up, and put into change logs."""

import json
import math

from postfix.deliver.story_log import shot_story_entry, story_entry
from postfix.story.model import (
    Cut,
    Depth,
    Filmed,
    FromSeat,
    Front,
    Notice,
    Seat,
    Seen,
    ShotStory,
    Story,
    Stretch,
)
from postfix.viewing import BUILTIN_SCREENS, arcmin_from_mm, divergence_deg, mm_from_pct, perceived_distance_mm

NAN = float("nan")
CAMERA = {
    "interaxial_mm": 65.0,
    "focal_mm": 35.0,
    "sensor_width_mm": 24.89,
    "convergence_mm": 3000.0,
    "rig": "parallel",
    "near_mm": 2000.0,
    "far_mm": None,
}


def seen(pct, screen, seat=None):
    """A parallax from a seat, by the formulas of :mod:`postfix.viewing`; nothing where it was not measured."""
    distance_mm = screen.distance_mm if seat is None else seat.distance_mm
    if not math.isfinite(pct):
        return Seen(NAN, NAN, None, NAN)
    mm = mm_from_pct(pct, screen.width_mm)
    return Seen(
        pct,
        arcmin_from_mm(mm, distance_mm, screen.eye_mm),
        perceived_distance_mm(mm, distance_mm, screen.eye_mm),
        divergence_deg(mm, distance_mm, screen.eye_mm),
    )


def seats_of(screen):
    own = screen.distance_mm
    return (
        Seat("front", own * 0.6),
        Seat("own", own),
        Seat("back", own * 1.6),
        Seat("side", own, 0.4 * screen.width_mm),
    )


def shot_story(screen, name, first, last, near, main, far, *, cut=None, filmed=None, notices=(), front=True):
    """A shot that lies between near and far with its main mass at a parallax, percent of width."""
    ends = {"near": seen(near, screen), "main": seen(main, screen), "far": seen(far, screen)}
    near_mm, far_mm = ends["near"].distance_mm, ends["far"].distance_mm
    volume_mm = None if near_mm is None or far_mm is None else far_mm - near_mm
    before = None
    if front and near < 0.0:
        middle = seen(near / 2.0, screen)
        width_mm = 0.3 * screen.width_mm
        seen_width_mm = width_mm * middle.distance_mm / screen.distance_mm
        height_mm = 0.2 * screen.width_mm * 9.0 / 16.0
        before = Front(first, 12.5, 30.0, 20.0, width_mm, height_mm, middle, seen_width_mm)
    seats = tuple(
        FromSeat(
            seat,
            *(seen(pct, screen, seat) for pct in (near, main, far)),
            ("the eyes turn apart",) if far * screen.width_mm / 100.0 > screen.eye_mm else (),
            0.8 if filmed else None,
        )
        for seat in seats_of(screen)
    )
    return ShotStory(
        name,
        first,
        last,
        Depth(**ends, volume_pct=far - near, volume_mm=volume_mm),
        before,
        cut,
        seats,
        filmed,
        notices,
        math.isfinite(near),
    )


def story_of(screen, shots, *, minutes=1, quick_runs=(), line="Of 0.5 s measured, nothing lies beyond 60 arcmin."):
    whole = Stretch(0.0, 0.5 * minutes, 0.4, 0.1, 0.0, 0.2, sum(bool(s.cut and s.cut.is_hard) for s in shots), 0)
    each = tuple(Stretch(60.0 * i, 0.5, 0.4, 0.1, 0.0, 0.2, 1, 0) for i in range(minutes))
    return Story("finished", tuple(shots), whole, each, tuple(quick_runs), line, seats_of(screen))


def cut_at(before, after, first, *, seconds, screen):
    """The cut between two shots, given as (near, main, far)."""
    jump = after[1] - before[1]
    arcmin = arcmin_from_mm(jump * screen.width_mm / 100.0, screen.distance_mm, screen.eye_mm)
    volume = (after[2] - after[0]) - (before[2] - before[0])
    hard, quick = abs(arcmin) > 30.0, abs(arcmin) > 15.0 and seconds < 1.5
    return Cut(first, jump, arcmin, volume, seconds, hard, quick)


def story_for(screen, spans, pcts, *, rate=24.0, filmed=None, notices=None, **more):
    """A story of shots: spans are (name, first, last), pcts (near, main, far)."""
    shots = []
    for index, ((name, first, last), at) in enumerate(zip(spans, pcts)):
        cut = None
        if index:
            cut = cut_at(pcts[index - 1], at, first, seconds=(last - first + 1) / rate, screen=screen)
        told = (notices or {}).get(name, ())
        shots.append(shot_story(screen, name, first, last, *at, cut=cut, filmed=filmed, notices=told))
    return story_of(screen, shots, **more)


def with_story(folder, story, cameras=None):
    """Put a story into the change log of a version, as if it had been told when that was written."""
    path = folder / "changes.json"
    log = json.loads(path.read_text(encoding="utf-8"))
    log["story"] = story_entry(story)
    for entry, shot in zip(log["shots"], story.shots, strict=True):
        entry["story"] = shot_story_entry(shot)
        entry["camera"] = (cameras or {}).get(shot.name)
    path.write_text(json.dumps(log), encoding="utf-8")
    return folder


FILMED = Filmed(
    near_mm=2104.0,
    main_mm=3020.0,
    far_mm=None,
    far_is_infinite=True,
    predicted_near_pct=-0.46,
    predicted_far_pct=None,
    near_roundness=1.4,
    main_roundness=0.8,
    far_roundness=None,
    equivalent_focal_mm=35.0,
    fitting_interaxial_mm=41.0,
    nearest_30_mm=1950.0,
    nearest_100_mm=6500.0,
    bercovitz_mm=38.5,
    rig="a rig with a mirror",
    missing=("the farthest thing's distance",),
)
NOTICES = (
    Notice("front-wide", "what is in front is 62 % of the screen wide"),
    Notice("hard-jump", "the depth jump at the cut is 41 arcmin"),
)
SCREENS = {name: BUILTIN_SCREENS[name] for name in ("cinema-12m", "tv-55in")}
