"""What the camera's figures say of a shot: real distances, roundness, what would have fitted, and what does not agree.

Distances come from the parallax of the pictures as they were shot; roundness from the parallax that is on the screen in
the end, after every move. What is not known stays None.
"""

from __future__ import annotations

import math
from typing import Literal

from postfix.camera import (
    Camera,
    Distance,
    converged_by,
    equivalent_focal_mm,
    fitting_interaxial_share,
    focus_doubt,
    is_distance,
    is_figure,
    missing,
    parallax_pct,
    roundness,
    side_parallax_pct,
)
from postfix.lengths import length_text
from postfix.limits import Limits
from postfix.plan.figures import LIMIT_TOLERANCE_PCT, range_budget
from postfix.plan.settings import StorySettings
from postfix.shooting import (
    FLAT_FOCAL_MM,
    NATURAL_FOCAL_MM,
    RATIO_CINEMA,
    RATIO_USUAL,
    bercovitz_mm,
    lens_words,
    nearest_mm,
    rig_words,
)
from postfix.story.camera_agrees import disagreement, ends_of
from postfix.story.model import Filmed, Notice
from postfix.story.real_distance import real_distance, span_mm
from postfix.viewing import Screen

Measured = tuple[float, float, float]
"""Near, main and far of a shot, percent of width; NaN where it was not measured."""

KnownBy = Literal["noted", "near", "far"]
"""What the distance of convergence is known by: as noted, or from the nearest or farthest distance that was noted."""


def filmed(
    camera: Camera,
    source_near_pct: float,
    source_main_pct: float,
    source_far_pct: float,
    screen: Screen,
    limits: Limits,
    after: Measured,
    source_range_pct: float = math.nan,
) -> Filmed:
    """What the camera's figures say of a shot on one screen.

    Parameters
    ----------
    camera : Camera
        As noted. Where the convergence was not, see :func:`converged`.
    source_near_pct, source_main_pct, source_far_pct : float
        As measured on the source, before any move, percent of width; NaN where nothing was measured.
    screen : Screen
        With the eye distance that counts.
    limits : Limits
        Of that screen.
    after : tuple of 3 floats
        Near, main and far on the screen, after every move, percent of width.
    source_range_pct : float, optional
        Largest far − near within one frame, where it is known; else the shot's far − near.
    """
    source = (source_near_pct, source_main_pct, source_far_pct)
    solved, known_by = converged(camera, source)
    near, main, far = (real_distance(solved, pct) for pct in source)
    base = camera.interaxial_mm if is_figure(camera.interaxial_mm) else None
    # What was noted of the nearest thing is enough where a lens is not known.
    nearest = camera.near_mm if near.mm is None and is_figure(camera.near_mm) else near.mm
    near_round, main_round, far_round = (
        None if distance is None or base is None else roundness(pct, distance, base, screen)
        for pct, distance in zip(after, (nearest, main.mm, far.mm))
    )
    lacking = missing(solved)
    fitting = None if base is None else _fitting_mm(base, source, source_range_pct, limits)
    return Filmed(
        near_mm=near.mm,
        main_mm=main.mm,
        far_mm=far.mm,
        far_is_infinite=far.is_infinite,
        near_why="" if lacking else near.why,
        main_why="" if lacking else main.why,
        far_why="" if lacking else far.why,
        # A distance by which the convergence was found is no prediction.
        predicted_near_pct=None if known_by == "near" else _predicted(solved, camera.near_mm),
        predicted_far_pct=None if known_by == "far" else _predicted(solved, camera.far_mm),
        near_roundness=near_round,
        main_roundness=main_round,
        far_roundness=far_round,
        main_roundness_span=None if main_round is not None else _roundness_span(solved, source[1], after[1], screen),
        equivalent_focal_mm=equivalent_focal_mm(camera.focal_mm, camera.sensor_width_mm),
        fitting_interaxial_mm=fitting,
        nearest_30_mm=None if base is None else nearest_mm(base, RATIO_USUAL),
        nearest_100_mm=None if base is None else nearest_mm(base, RATIO_CINEMA),
        bercovitz_mm=_bercovitz_mm(camera, near, far, limits),
        rig="" if fitting is None else rig_words(fitting),
        missing=lacking,
    )


def _roundness_span(solved: Camera, source_pct: float, after_pct: float, screen: Screen) -> tuple[float, float] | None:
    """Least and most roundness of what may be at several distances; 0 at infinity."""
    base, span = solved.interaxial_mm, span_mm(solved, source_pct)
    if base is None or span is None:
        return None
    nearest, farthest = span
    most = roundness(after_pct, nearest, base, screen)
    least = 0.0 if math.isinf(farthest) else roundness(after_pct, farthest, base, screen)
    return None if most is None or least is None else (least, most)


def converged(camera: Camera, source_pct: Measured) -> tuple[Camera, KnownBy]:
    """The camera with its convergence, and what that is known by.

    Where it was not noted it follows from the nearest distance that was, or else from the farthest, and what was
    measured of it. As the camera was, where neither is known.
    """
    near_pct, _, far_pct = source_pct
    ends: tuple[tuple[KnownBy, float | None, float], ...] = (
        ("near", camera.near_mm, near_pct),
        ("far", camera.far_mm, far_pct),
    )
    for name, noted_mm, pct in ends:
        solved = camera if noted_mm is None else converged_by(camera, noted_mm, pct)
        if solved is not camera:
            return solved, name
    return camera, "noted"


def _predicted(camera: Camera, noted_mm: float | None) -> float | None:
    return None if noted_mm is None else parallax_pct(camera, noted_mm)


def _fitting_mm(base_mm: float, source_pct: Measured, range_pct: float, limits: Limits) -> float | None:
    """Interaxial with which a shot would have fitted: each frame in the range, the whole shot between near and far.

    One HIT is taken to hold the whole shot.
    """
    near_pct, _, far_pct = source_pct
    whole_pct = far_pct - near_pct
    frame_pct = range_pct if math.isfinite(range_pct) else whole_pct
    shares = (
        fitting_interaxial_share(whole_pct, limits.far_pct - limits.near_pct),
        fitting_interaxial_share(frame_pct, range_budget(limits)[0]),
    )
    fitting = base_mm * min(shares) if all(map(math.isfinite, shares)) else math.nan
    return fitting if is_figure(fitting) else None


def _bercovitz_mm(camera: Camera, near: Distance, far: Distance, limits: Limits) -> float | None:
    """Interaxial by that formula, from the distances that were noted, else from those that were measured."""
    focal, width = camera.focal_mm, camera.sensor_width_mm
    near_mm = camera.near_mm if is_figure(camera.near_mm) else near.mm
    far_mm = camera.far_mm if is_distance(camera.far_mm) else math.inf if far.is_infinite else far.mm
    if focal is None or width is None or near_mm is None or far_mm is None:
        return None
    return bercovitz_mm(near_mm, far_mm, focal, range_budget(limits)[0] * width / 100.0)


def filmed_notices(camera: Camera, filmed: Filmed, settings: StorySettings, source_pct: Measured) -> tuple[Notice, ...]:
    """What a person should know of how a shot was filmed; none of it a limit.

    Where the notes and the picture do not agree, that comes first, and nothing is told that would rest on both:
    roundness, another interaxial, a nearest distance that was measured.

    Parameters
    ----------
    camera : Camera
        As it was noted.
    filmed : Filmed
        From the same camera and the same measurement.
    settings : StorySettings
    source_pct : tuple of 3 floats
        Near, main and far as measured on the source, percent of width.
    """
    doubted = _camera_notice(camera, filmed, settings.camera_apart_pct, source_pct)
    found: tuple[Notice | None, ...]
    if doubted is not None:
        found = (doubted, _lens_notice(filmed), _too_near_notice(camera, None, filmed))
    else:
        found = (
            _round_notice(filmed, settings),
            _lens_notice(filmed),
            _too_near_notice(camera, filmed.near_mm, filmed),
            _focus_notice(camera, filmed),
            _interaxial_notice(camera, filmed, source_pct),
        )
    return tuple(notice for notice in found if notice is not None)


def _round_notice(filmed: Filmed, settings: StorySettings) -> Notice | None:
    """Of the main mass, flat or stretched wherever it may be; of the nearest thing where nothing is known of that."""
    what, least, most = "the main part", filmed.main_roundness, filmed.main_roundness
    if filmed.main_roundness_span is not None:
        least, most = filmed.main_roundness_span
    if least is None or most is None:
        what, least, most = "the nearest part", filmed.near_roundness, filmed.near_roundness
    if least is None or most is None or (most >= settings.flat_below and least <= settings.stretched_above):
        return None
    is_flat = most < settings.flat_below
    figure, limit = (most, "at most ") if is_flat else (least, "at least ")
    times = f"{'' if least == most else limit}{figure:.2g} times"
    told = f"{what} of the picture has {times} the depth for its width that it has in life"
    if is_flat:
        return Notice("flat", f"flat: {told}; a larger interaxial, or a camera nearer to it, gives more")
    return Notice("stretched", f"stretched: {told}; a smaller interaxial, or a camera farther from it, gives less")


def _lens_notice(filmed: Filmed) -> Notice | None:
    focal = filmed.equivalent_focal_mm
    shortest, longest = NATURAL_FOCAL_MM
    if focal is None or shortest <= focal <= FLAT_FOCAL_MM:
        return None
    told = f"the lens is like {length_text(focal)} on a Super 35 sensor, {lens_words(focal)}"
    return Notice("lens", f"{told}; {shortest:g} to {longest:g} mm look natural (common practice)")


def _camera_notice(camera: Camera, filmed: Filmed, apart_pct: float, source_pct: Measured) -> Notice | None:
    solved, known_by = converged(camera, source_pct)
    near_pct, _, far_pct = source_pct
    predicted = (filmed.predicted_near_pct, filmed.predicted_far_pct)
    fixed_pct = {"noted": 0.0, "near": near_pct, "far": far_pct}[known_by]
    ends = ends_of(solved, predicted, (near_pct, far_pct), apart_pct, _unsure_pct(solved, known_by), fixed_pct)
    words = disagreement(camera, solved, ends, fixed_pct, apart_pct)
    return Notice("camera", words) if words else None


def _unsure_pct(solved: Camera, known_by: KnownBy) -> float:
    """How much more parallax than in the middle that has at the sides by which the convergence was found."""
    known_mm = {"noted": None, "near": solved.near_mm, "far": solved.far_mm}[known_by]
    if known_mm is None:
        return 0.0
    middle, most = parallax_pct(solved, known_mm), side_parallax_pct(solved, known_mm)
    return 0.0 if middle is None or most is None else most - middle


def _too_near_notice(camera: Camera, measured_mm: float | None, filmed: Filmed) -> Notice | None:
    """Of the nearer of what was noted and measured."""
    usual, cinema, base = filmed.nearest_30_mm, filmed.nearest_100_mm, camera.interaxial_mm
    known = [(mm, how) for how, mm in (("noted", camera.near_mm), ("measured", measured_mm)) if mm and is_figure(mm)]
    if not known or usual is None or cinema is None or base is None or min(known)[0] >= usual:
        return None
    nearest, how = min(known)
    return Notice(
        "too-near",
        f"the nearest thing, {how} at {length_text(nearest)}, is nearer than {RATIO_USUAL:g} times the interaxial of "
        f"{length_text(base)}, {length_text(usual)}; for cinema screens {RATIO_CINEMA:g} times is safer, "
        f"{length_text(cinema)} (common practice)",
    )


def _focus_notice(camera: Camera, filmed: Filmed) -> Notice | None:
    """Where distances were reckoned without the focus, and it would change them."""
    nearest = camera.near_mm or filmed.near_mm
    share = focus_doubt(camera, nearest)
    if nearest is None or filmed.missing or not share:
        return None
    return Notice(
        "focus",
        f"the focus was not noted: focused at {length_text(nearest)} the lens draws {share * 100.0:.1f} % larger than "
        "is reckoned here, and distances are that much less sure; note focus_mm",
    )


def _interaxial_notice(camera: Camera, filmed: Filmed, source_pct: Measured) -> Notice | None:
    """Where the shot is too deep for the screen by more than the measurement can tell."""
    fitting, base = filmed.fitting_interaxial_mm, camera.interaxial_mm
    if fitting is None or base is None or fitting >= base:
        return None
    if (source_pct[2] - source_pct[0]) * (1.0 - fitting / base) <= LIMIT_TOLERANCE_PCT:
        return None
    return Notice(
        "interaxial",
        f"too deep for this screen: an interaxial of {length_text(fitting)} instead of {length_text(base)} would have "
        f"fitted, with one HIT for the whole shot ({filmed.rig})",
    )
