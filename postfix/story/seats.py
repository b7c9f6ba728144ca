"""How a parallax is seen from other seats than the one that a screen is planned for: nearer, farther, off to the side.

All of it is plane geometry seen from above. A side seat sees both pictures of a point foreshortened, so that the same
parallax turns its eyes less; nothing is said of the height of a seat.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from functools import lru_cache

from postfix.errors import InputError
from postfix.limits import COMFORT_ARCMIN, LimitRules, Limits, eye_mm_of, limits_for
from postfix.plan.figures import LIMIT_TOLERANCE_PCT, range_budget
from postfix.plan.settings import StorySettings
from postfix.story.model import FromSeat, Seat, Seen
from postfix.viewing import Screen, arcmin_from_mm, divergence_deg, mm_from_pct, perceived_distance_mm

OWN_SEAT = "own seat"

PARALLEL_FROM = 100.0
"""What is seen at more than so many times the seat's distance counts as without a distance: from there on the eyes are
parallel as far as anyone could tell, and a millimetre on the screen would change the figure by kilometres. Project
default."""

_NAN = math.nan


def own_seat(screen: Screen) -> Seat:
    """The seat that a screen is planned for: in the middle, at the screen's distance."""
    return Seat(OWN_SEAT, screen.distance_mm)


def seats_of(screen: Screen, settings: StorySettings) -> tuple[Seat, ...]:
    """The screen's own seat, the front row, the back row and a seat to the side, in this order.

    A seat that would be the same place as the own one (a share of 1 for a row, of 0 for the side) is left out.
    """
    own = own_seat(screen)
    others = (
        Seat("front row", screen.distance_mm * settings.front_seat_share),
        Seat("back row", screen.distance_mm * settings.back_seat_share),
        Seat("side seat", screen.distance_mm, screen.width_mm * settings.side_seat_share),
    )
    return own, *(seat for seat in others if (seat.distance_mm, seat.aside_mm) != (own.distance_mm, 0.0))


def seen(parallax_pct: float, screen: Screen, eye_mm: float, seat: Seat | None = None) -> Seen:
    """A parallax as it is seen from a seat.

    Straight in front of the screen it is what :mod:`postfix.viewing` says. From the side it is the same construction in
    the plane of the eyes and the pictures: the viewer faces the middle of the screen, the eyes stand apart across that
    direction, and each looks through its own picture of the point; the two pictures lie about the middle of the screen.
    Where both rays meet in front of the viewer is the point.

    Parameters
    ----------
    parallax_pct : float
        Percent of width. What is not a finite number counts as not measured.
    screen : Screen
    eye_mm : float
    seat : Seat, optional
        The screen's own unless given.

    Returns
    -------
    Seen
        ``distance_mm`` from between the eyes.
    """
    if not math.isfinite(parallax_pct):
        return Seen(_NAN, _NAN, None, _NAN)
    place = seat or own_seat(screen)
    parallax_mm = mm_from_pct(parallax_pct, screen.width_mm)
    if place.aside_mm == 0.0:
        return Seen(
            parallax_pct,
            arcmin_from_mm(parallax_mm, place.distance_mm, eye_mm),
            _told(perceived_distance_mm(parallax_mm, place.distance_mm, eye_mm), place),
            divergence_deg(parallax_mm, place.distance_mm, eye_mm),
        )
    sight = _sight_from_the_side(parallax_mm, place, eye_mm)
    at_screen_rad = 2.0 * math.atan(eye_mm / (2.0 * _to_middle_mm(place)))
    return Seen(
        parallax_pct,
        math.degrees(at_screen_rad - sight.vergence_rad) * 60.0,
        _told(sight.distance_mm, place),
        max(0.0, -math.degrees(sight.vergence_rad)),
    )


@dataclass(frozen=True)
class _Sight:
    """Angle at which the eyes meet, negative where they turn apart, and the distance at which; None without one."""

    vergence_rad: float
    distance_mm: float | None


def _sight_from_the_side(parallax_mm: float, seat: Seat, eye_mm: float) -> _Sight:
    """Both rays in the viewer's own directions, forward to the middle of the screen and across.

    The screen is turned against the viewer by the angle of the seat: of a picture's distance from the middle, the share
    ``V/R`` lies across and ``a/R`` forward or back (V in front of the screen, a aside, R to its middle). With the eyes
    at ∓e/2 the rays then meet at ``e·(R² − m²) / (R·e − V·P)`` forward, m being the forward share of half of P.
    """
    to_middle_mm = _to_middle_mm(seat)
    forward_mm = parallax_mm / 2.0 * (seat.aside_mm / to_middle_mm)
    across_mm = eye_mm / 2.0 - parallax_mm / 2.0 * (seat.distance_mm / to_middle_mm)
    left_mm, right_mm = to_middle_mm + forward_mm, to_middle_mm - forward_mm
    vergence_rad = math.atan2(across_mm, left_mm) + math.atan2(across_mm, right_mm)
    if across_mm <= 0.0 or left_mm <= 0.0 or right_mm <= 0.0:
        return _Sight(vergence_rad, None)
    meet_forward_mm = eye_mm * (left_mm * right_mm) / (2.0 * across_mm * to_middle_mm)
    meet_across_mm = eye_mm * forward_mm / (2.0 * to_middle_mm)
    return _Sight(vergence_rad, math.hypot(meet_forward_mm, meet_across_mm))


def _to_middle_mm(seat: Seat) -> float:
    return math.hypot(seat.distance_mm, seat.aside_mm)


def _told(distance_mm: float | None, seat: Seat) -> float | None:
    """A distance, where it is one that could be told from none."""
    return distance_mm if distance_mm is not None and distance_mm <= PARALLEL_FROM * _to_middle_mm(seat) else None


# ---- what is outside comfort


def from_seats(
    near_pct: float,
    main_pct: float,
    far_pct: float,
    screen: Screen,
    rules: LimitRules,
    seats: tuple[Seat, ...],
    limits: Limits | None = None,
    range_pct: float | None = None,
) -> tuple[FromSeat, ...]:
    """A shot from each seat, with what is outside comfort there in words.

    At the screen's own seat its limits decide, as everywhere else in the plan. At another seat straight in front those
    that the same rules give for that distance do, eyes and divergence always among them. Rules in percent and figures
    given by hand hold for one seat only and say nothing of another: there it is 60 arcmin. To the side, the limits of a
    seat straight in front that is as far from the middle of the screen are taken as angles, and compared with the
    angles that the side seat sees. What passes in the plan passes here: 0.02 % of width.

    Parameters
    ----------
    near_pct, main_pct, far_pct : float
        Ends and main mass of the shot, percent of width; NaN where not measured, and then nothing is outside.
    screen : Screen
    rules : LimitRules
        The eye distance is theirs, or the screen's.
    seats : tuple of Seat
    limits : Limits, optional
        Those of the screen's own seat where the plan has others than the rules give.
    range_pct : float, optional
        Widest range within one frame, which is what limits are for; far − near of the shot unless given.
    """
    eye_mm = eye_mm_of(screen, rules)
    range_pct = far_pct - near_pct if range_pct is None else range_pct
    result = []
    for seat in seats:
        near, main, far = (seen(pct, screen, eye_mm, seat) for pct in (near_pct, main_pct, far_pct))
        is_own = (seat.distance_mm, seat.aside_mm) == (screen.distance_mm, 0.0)
        at_seat = (limits or limits_for(screen, rules)) if is_own else _limits_at(_to_middle_mm(seat), screen, rules)
        outside = _outside(near, far, range_pct, screen, eye_mm, seat, at_seat)
        result.append(FromSeat(seat, near, main, far, outside))
    return tuple(result)


@lru_cache(maxsize=256)
def _limits_at(distance_mm: float, screen: Screen, rules: LimitRules) -> Limits:
    """Limits of a viewer in the middle at another distance than the screen's own."""
    there = replace(screen, distance_mm=distance_mm)
    elsewhere = replace(rules, near_pct=None, far_pct=None, range_pct=None)
    by_angle = replace(elsewhere, comfort="arcmin", comfort_arcmin=COMFORT_ARCMIN)
    if rules.comfort in ("percent", "percent-wide"):
        return limits_for(there, by_angle)
    try:
        return limits_for(there, elsewhere)
    except InputError:
        # So near to a screen the zone of comfort was never measured.
        return limits_for(there, by_angle)


def _outside(
    near: Seen, far: Seen, range_pct: float, screen: Screen, eye_mm: float, seat: Seat, limits: Limits
) -> tuple[str, ...]:
    """Near, far and range against the limits of a viewer straight in front, as far from the middle as the seat."""
    ahead = replace(seat, distance_mm=_to_middle_mm(seat), aside_mm=0.0)
    budget_pct, _ = range_budget(limits)
    near_limit, far_limit = _limits_seen(limits, screen, eye_mm, ahead)
    range_limit_arcmin = _straight_arcmin(budget_pct, screen, ahead)
    if seat.aside_mm == 0.0:
        is_near = near.parallax_pct < limits.near_pct - LIMIT_TOLERANCE_PCT
        is_far = far.parallax_pct > limits.far_pct + LIMIT_TOLERANCE_PCT
        is_range = range_pct > budget_pct + LIMIT_TOLERANCE_PCT
        range_arcmin = _straight_arcmin(range_pct, screen, ahead)
    else:

        def arcmin_at(pct: float) -> float:
            return seen(pct, screen, eye_mm, seat).arcmin

        is_near = arcmin_at(near.parallax_pct + LIMIT_TOLERANCE_PCT) < near_limit.arcmin
        is_far = arcmin_at(far.parallax_pct - LIMIT_TOLERANCE_PCT) > far_limit.arcmin
        range_arcmin = far.arcmin - arcmin_at(far.parallax_pct - range_pct)
        is_range = far.arcmin - arcmin_at(far.parallax_pct - range_pct + LIMIT_TOLERANCE_PCT) > range_limit_arcmin
    words = []
    if is_near:
        words.append(f"near is {_where(near.arcmin)}, limit {_where(near_limit.arcmin)}")
    if is_far and far.divergence_deg > 0.0:
        allowed = f"{far_limit.divergence_deg:.3f}" if far_limit.divergence_deg else "none"
        words.append(f"the eyes turn apart by {far.divergence_deg:.3f} degrees at far, limit {allowed}")
    elif is_far:
        words.append(f"far is {_where(far.arcmin)}, limit {_where(far_limit.arcmin)}")
    if is_range:
        words.append(f"{range_arcmin:.1f} arcmin from nearest to farthest, limit {range_limit_arcmin:.1f}")
    return tuple(words)


@lru_cache(maxsize=256)
def _limits_seen(limits: Limits, screen: Screen, eye_mm: float, seat: Seat) -> tuple[Seen, Seen]:
    """Near and far limit as they are seen; the same for all shots of an edit."""
    return seen(limits.near_pct, screen, eye_mm, seat), seen(limits.far_pct, screen, eye_mm, seat)


def _straight_arcmin(span_pct: float, screen: Screen, seat: Seat) -> float:
    """Angle that a span on the screen takes up for a viewer in the middle."""
    return math.degrees(2.0 * math.atan(mm_from_pct(span_pct, screen.width_mm) / (2.0 * seat.distance_mm))) * 60.0


def _where(arcmin: float) -> str:
    if arcmin == 0.0:
        return "at the screen"
    return f"{abs(arcmin):.1f} arcmin {'in front of' if arcmin < 0.0 else 'behind'} the screen"
