"""The room from above: where a shot's near, main and far are seen from each seat, as an SVG element.

Each seat has a small room of its own, all at one scale, since seats in the middle lie on one line. All is in the colour
of the text around it; marks differ by shape.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from postfix.lengths import length_text
from postfix.review.depth import shortened
from postfix.review.words import NOT_MEASURED, escaped
from postfix.story.model import FromSeat, Seen

INK = "#1c1e21"
"""Where the page around a drawing has no colours of its own."""

FONT = "system-ui, Liberation Sans, DejaVu Sans, sans-serif"

_LANE, _MARGIN, _ROW = 168, 8, 17
_HEAD = 82
_DEPTH = 300
_SLOT = 20
_SEAT_PX = 7
_BREAK, _ARROW = 8, 12 + 2 * _ROW
_HALF_LANE = _LANE / 2.0 - 14.0

_BEHIND_SHARE = 0.8
"""What lies behind the screen is drawn to scale up to this share of the farthest seat's distance; beyond, the line of
sight is broken and the distance told."""

_APART = ("no distance:", "eyes turn apart")
_PARALLEL = ("no distance:", "eyes parallel")
_BESIDE = ("no distance:", "not in front")

_SCALE_LENGTHS_MM = [factor * 10.0**power for power in range(1, 7) for factor in (1.0, 2.0, 5.0)]


def room_words(screen_name: str, seats: Sequence[FromSeat]) -> str:
    """What :func:`room_svg` shows, in words."""
    told = []
    for one in seats:
        points = ", ".join(f"{word} {_told(point)}" for word, point, _ in _points(one))
        outside = "; outside comfort" if one.outside else ""
        told.append(f"From the {one.seat.name}, {', '.join(_place(one))}: {points}{outside}.")
    return f"Top view of the room before {screen_name}. {' '.join(told) or 'No seats.'}"


def room_svg(screen_name: str, seats: Sequence[FromSeat], width_mm: float, *, on_paper: bool = False) -> str:
    """Top view of the room: the screen, each seat with its line of sight, and where near, main and far are seen.

    One scale holds across and in depth. What lies too far behind the screen is drawn beyond a break with its distance
    beside it; what has no distance is an arrow with these words. One line of sight stands for both eyes, whose distance
    could not be seen at the scale of a room.

    Parameters
    ----------
    screen_name : str
        Text from outside.
    seats : sequence of FromSeat
    width_mm : float
        Of the picture on the screen.
    on_paper : bool
        With a light ground and a name space, as a file that stands alone. Else an element that takes the ``--ink`` of
        the page that it stands in, light or dark.
    """
    plan = _plan_of(seats, width_mm)
    title = f"Top view of the room before {_clean(screen_name)}"
    heading = f"{shortened(_clean(screen_name))}, {length_text(width_mm)} wide, seen from above"
    parts = [_text(_MARGIN, 18, heading, weight=600)]
    for number, one in enumerate(seats):
        parts += _lane(one, plan, _MARGIN + number * _LANE + _LANE / 2.0)
    parts += _foot(plan)
    space, colour, ground = "", "var(--ink, #1c1e21)", ""
    if on_paper:
        space, colour = ' xmlns="http://www.w3.org/2000/svg"', INK
        ground = f'<rect width="{plan.width}" height="{plan.height:g}" fill="#ffffff"/>'
    return (
        f'<svg{space} class="room" viewBox="0 0 {plan.width} {plan.height:g}" role="img" color="{colour}" '
        f'font-family="{FONT}" font-size="13"><title>{escaped(title)}</title>'
        f"<desc>{escaped(_clean(room_words(screen_name, seats)))}</desc>{ground}"
        f'<g fill="currentColor" stroke="currentColor" stroke-width="0">{"".join(parts)}</g></svg>'
    )


@dataclass(frozen=True)
class _Plan:
    """Where things go, for all seats alike: y grows downwards, to the audience.

    Attributes
    ----------
    px_per_mm : float
    half_screen_px : float
    top, screen, floor : float
        Where the part to scale begins, the screen, and where the words under the rooms begin.
    width : int
    height : float
    """

    px_per_mm: float
    half_screen_px: float
    top: float
    screen: float
    floor: float
    width: int
    height: float


def _plan_of(seats: Sequence[FromSeat], width_mm: float) -> _Plan:
    front_mm = max((one.seat.distance_mm for one in seats), default=width_mm)
    behind_mm = 0.0
    for one in seats:
        behind_mm = max(
            [behind_mm, *(-y for _, point, _ in _points(one) if (y := _forward_mm(one, point)) is not None)]
        )
    behind_mm = min(behind_mm, _BEHIND_SHARE * front_mm)
    across_mm = max([width_mm / 2.0, *(abs(s.seat.aside_mm) * max(1.0, behind_mm / s.seat.distance_mm) for s in seats)])
    scale = min(_DEPTH / (front_mm + behind_mm), _HALF_LANE / across_mm)
    slots = max((len(_beyond(one, behind_mm)) for one in seats), default=0)
    top = _HEAD + (_BREAK + slots * _SLOT + _ARROW if slots else 8)
    # What is just behind the screen needs room for its mark.
    screen = top + max(behind_mm * scale, 10.0)
    floor = screen + front_mm * scale + _SEAT_PX + 22
    return _Plan(
        scale,
        width_mm / 2.0 * scale,
        top,
        screen,
        floor,
        2 * _MARGIN + _LANE * max(3, len(seats)),
        floor + 5 * _ROW + 4 * _ROW,
    )


def _lane(one: FromSeat, plan: _Plan, middle: float) -> list[str]:
    """One small room with its words."""
    seat = one.seat
    left = middle - _LANE / 2.0 + 10.0
    seat_x, seat_y = middle + seat.aside_mm * plan.px_per_mm, plan.screen + seat.distance_mm * plan.px_per_mm
    parts = [
        _text(left, _HEAD - 6 - 2 * _ROW, shortened(_clean(seat.name)), weight=600),
        *(_text(left, _HEAD - 6 - _ROW * (1 - row), line) for row, line in enumerate(_place(one))),
        _stroke(f"M{_n(middle - plan.half_screen_px)} {_n(plan.screen)}h{_n(2 * plan.half_screen_px)}", 4),
    ]
    behind_mm = (plan.screen - plan.top) / plan.px_per_mm
    beyond = _beyond(one, behind_mm)
    drawn = [
        (word, seat_y + (plan.screen - seat_y) * point.distance_mm / _to_middle_mm(one))
        for word, point, _ in _points(one)
        if point.distance_mm is not None and word not in beyond
    ]
    end = plan.top if beyond else min([plan.screen, *(y for _, y in drawn)])

    def x_at(y: float) -> float:
        return middle + (y - plan.screen) / (seat_y - plan.screen) * (seat_x - middle)

    parts.append(_stroke(f"M{_n(seat_x)} {_n(seat_y)}L{_n(x_at(end))} {_n(end)}", 1))
    # Far first: its square is larger than the others' marks.
    parts += [_mark(word, x_at(y), y) for word, y in reversed(drawn)]
    parts.append(f'<path d="M{_n(seat_x - _SEAT_PX)} {_n(seat_y + _SEAT_PX)}a7 7 0 0 1 14 0z"/>')
    if beyond:
        parts += _off_the_scale(one, beyond, x_at(end), end, left)
    return [*parts, *_words_below(one, left, plan.floor)]


def _off_the_scale(one: FromSeat, beyond: Sequence[str], x: float, y: float, left: float) -> list[str]:
    """The line of sight beyond a break: farther points with their distance, and an arrow where there is none."""
    points = {word: point for word, point, _ in _points(one)}
    parts = [_stroke(f"M{_n(x - 6)} {_n(y - 1)}l12 -4M{_n(x - 6)} {_n(y - 6)}l12 -4", 1.4)]
    end = y - _BREAK - _SLOT * len(beyond)
    parts.append(_stroke(f"M{_n(x)} {_n(y - _BREAK)}V{_n(end)}", 1, "3 3"))
    for number, word in enumerate(beyond):
        at, point = y - _BREAK - _SLOT * (number + 0.5), points[word]
        parts.append(_mark(word, x, at))
        if point.distance_mm is not None:
            parts.append(_text(x + 11, at + 4, length_text(point.distance_mm)))
    if any(points[word].distance_mm is None for word in beyond):
        why = next(_no_distance(points[word]) for word in beyond if points[word].distance_mm is None)
        parts.append(f'<path d="M{_n(x - 5)} {_n(end)}l5 -9l5 9z"/>')
        centre = min(max(x, left + 46), left + _LANE - 66)
        parts += [_text(centre, end - 12 - _ROW * (1 - row), line, anchor="middle") for row, line in enumerate(why)]
    return parts


def _words_below(one: FromSeat, left: float, y: float) -> list[str]:
    parts = []
    for word, point, name in _points(one):
        y += _ROW
        parts.append(_mark(word, left + 6, y - 4))
        parts.append(_text(left + 17, y, f"{name} {_told(point, briefly=True)}"))
    if one.outside:
        parts.append(_text(left, y + _ROW, "outside comfort", weight=600))
    return parts


def _foot(plan: _Plan) -> list[str]:
    """A length at the scale of the drawing, and what is not drawn."""
    longest = max((mm for mm in _SCALE_LENGTHS_MM if mm * plan.px_per_mm <= 90.0), default=_SCALE_LENGTHS_MM[0])
    y = plan.height - 3 * _ROW + 2
    length = longest * plan.px_per_mm
    return [
        _stroke(f"M{_MARGIN} {y - 8}v8h{_n(length)}v-8", 1.4),
        _text(_MARGIN + length + 8, y, f"{length_text(longest)}, across and in depth"),
        _text(_MARGIN, y + _ROW + 4, "Thick line: the screen. Half disc: the seat. One line of sight stands for both"),
        _text(_MARGIN, y + 2 * _ROW + 4, "eyes, which are too close together to be drawn apart at this scale."),
    ]


# ---- points and how they are told


def _points(one: FromSeat) -> list[tuple[str, Seen, str]]:
    """Mark, point and its word."""
    return [("near", one.near, "near"), ("main", one.main, "main"), ("far", one.far, "far")]


def _to_middle_mm(one: FromSeat) -> float:
    return math.hypot(one.seat.distance_mm, one.seat.aside_mm)


def _forward_mm(one: FromSeat, point: Seen) -> float | None:
    """How far before the screen a point is seen, negative behind it."""
    if point.distance_mm is None:
        return None
    return one.seat.distance_mm * (1.0 - point.distance_mm / _to_middle_mm(one))


def _beyond(one: FromSeat, behind_mm: float) -> list[str]:
    """What does not fit behind the screen at scale, nearest first."""
    words = []
    for word, point, _ in _points(one):
        forward_mm = _forward_mm(one, point)
        if forward_mm is None:
            # A point that lies beside the viewer is no farther than the screen: it is told in words only.
            words += [word] if math.isfinite(point.parallax_pct) and point.arcmin > 0.0 else []
        elif -forward_mm > behind_mm * (1.0 + 1e-9) and forward_mm < 0.0:
            words.append(word)
    return words


def _no_distance(point: Seen) -> tuple[str, str]:
    if point.divergence_deg > 0.0:
        return _APART
    return _PARALLEL if point.arcmin > 0.0 else _BESIDE


def _told(point: Seen, *, briefly: bool = False) -> str:
    if math.isnan(point.parallax_pct):
        return NOT_MEASURED
    if point.distance_mm is not None:
        return length_text(point.distance_mm)
    if briefly:
        return "no distance"
    words = " ".join(_no_distance(point))
    return f"{words} by {point.divergence_deg:.3f} degrees" if point.divergence_deg > 0.0 else words


def _place(one: FromSeat) -> list[str]:
    aside_mm = abs(one.seat.aside_mm)
    aside = [f"{length_text(aside_mm)} aside"] if aside_mm >= 1.0 else []
    return [f"{length_text(one.seat.distance_mm)} away", *aside]


# ---- drawing


def _mark(word: str, x: float, y: float) -> str:
    """Near a triangle that points to the viewer, main a filled disc, far an open square."""
    if word == "near":
        return f'<path d="M{_n(x - 6)} {_n(y - 5)}h12l-6 10z"/>'
    if word == "main":
        return f'<circle cx="{_n(x)}" cy="{_n(y)}" r="4.5"/>'
    return f'<path d="M{_n(x - 5.5)} {_n(y - 5.5)}h11v11h-11z" fill="var(--sheet, #ffffff)" stroke-width="1.8"/>'


def _stroke(path: str, width: float, dashes: str = "") -> str:
    dashed = f' stroke-dasharray="{dashes}"' if dashes else ""
    return f'<path d="{path}" fill="none" stroke-width="{width:g}"{dashed}/>'


def _text(x: float, y: float, text: str, *, weight: int = 0, anchor: str = "") -> str:
    bold = f' font-weight="{weight}"' if weight else ""
    anchored = f' text-anchor="{anchor}"' if anchor else ""
    return f'<text x="{_n(x)}" y="{_n(y)}"{bold}{anchored}>{escaped(text)}</text>'


def _n(px: float) -> str:
    return f"{round(px, 1):g}"


def _clean(text: str) -> str:
    """Without characters that no XML may hold."""
    return "".join(letter for letter in text if letter.isprintable())
