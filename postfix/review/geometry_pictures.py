"""Pictures of what parallax does, for the handbook; every line in them is laid by the program's own geometry."""

from __future__ import annotations

import math
from dataclasses import dataclass

from postfix.lengths import length_text
from postfix.limits import LimitRules, limits_for
from postfix.plan.settings import StorySettings
from postfix.review.drawing import (
    BEHIND,
    FRONT,
    LINE,
    PAPER,
    SOFT,
    arrow,
    box,
    diamond,
    disc,
    line,
    sheet,
    square,
    stroke,
    text,
)
from postfix.review.geometry_scenes import floating_window, roundness, two_cameras
from postfix.review.room import room_svg
from postfix.review.words import pct_text, signed
from postfix.story.seats import from_seats, seats_of
from postfix.viewing import (
    ADULT_EYE_MM,
    BUILTIN_SCREENS,
    Screen,
    divergence_deg,
    mm_from_pct,
    pct_from_mm,
    perceived_distance_mm,
)

_CINEMA, _TELEVISION = BUILTIN_SCREENS["cinema-12m"], BUILTIN_SCREENS["tv-55in"]


def handbook_pictures() -> dict[str, str]:
    """File name → SVG of every picture of the handbook."""
    return {
        "parallax-signs.svg": parallax_signs(),
        "distance-by-parallax.svg": distance_by_parallax(_CINEMA),
        "two-cameras.svg": two_cameras(),
        "roundness.svg": roundness(StorySettings()),
        "floating-window.svg": floating_window(),
        "room.svg": room(_CINEMA),
        "hit.svg": hit((_CINEMA, _TELEVISION)),
    }


# ---- what the sign of parallax means

_SIGNS = (
    ("in front", -ADULT_EYE_MM, FRONT),
    ("at the screen", 0.0, SOFT),
    ("behind", 0.4 * ADULT_EYE_MM, BEHIND),
    ("at infinity", ADULT_EYE_MM, BEHIND),
    ("beyond", 1.6 * ADULT_EYE_MM, BEHIND),
)
_NEARBY_MM = 300.0
"""Viewing distance in that picture: so near that the eyes can be drawn apart."""


def parallax_signs() -> str:
    """Eyes, a screen and the point that they see, for five parallaxes, from above and to scale."""
    scale, panel, screen_y = 0.58, 160.0, 216.0
    eyes_y, top = screen_y + _NEARBY_MM * scale, 84.0
    parts = []
    for index, (word, parallax_mm, colour) in enumerate(_SIGNS):
        middle = panel * (index + 0.5)
        parts.append(text(middle, 24, word, anchor="middle", weight=600))
        parts.append(text(middle, 44, f"P = {signed(parallax_mm)} mm", anchor="middle"))
        parts.append(line([(middle - 66, screen_y), (middle + 66, screen_y)], width=4))
        parts += _sight(middle, parallax_mm, (scale, screen_y, top), colour)
        distance_mm = perceived_distance_mm(parallax_mm, _NEARBY_MM)
        apart_deg = divergence_deg(parallax_mm, _NEARBY_MM)
        told = ["seen at", f"{distance_mm:.0f} mm"] if distance_mm is not None else ["no distance:", "eyes parallel"]
        told = ["no distance: eyes", f"turn apart by {apart_deg:.1f}°"] if apart_deg > 0.0 else told
        parts += [text(middle, eyes_y + 34 + 18 * row, words, anchor="middle") for row, words in enumerate(told)]
    y = eyes_y + 92
    parts += [disc(20, y - 5, fill=PAPER), text(32, y, "picture for the left eye, solid line of sight")]
    parts += [square(390, y - 5), text(402, y, "picture for the right eye, dashed")]
    parts += [diamond(664, y - 5), text(678, y, "what is seen")]
    figures = f"Eyes {ADULT_EYE_MM:g} mm apart, {_NEARBY_MM:g} mm from the screen, all to scale."
    parts.append(text(16, y + 26, f"From above. P = x right − x left on the screen (thick). {figures}"))
    told_all = (
        "From above: two eyes before a screen. Negative parallax is seen in front of it, none at it, positive behind "
        "it; parallax as wide as the eyes is at infinity, and a wider one turns the eyes apart."
    )
    return sheet("Where a point is seen, by the sign of its parallax", told_all, (800, int(y + 44)), parts)


def _sight(middle: float, parallax_mm: float, place: tuple[float, float, float], colour: str) -> list[str]:
    """Both eyes with their lines of sight through their pictures, up to where they meet or to the top."""
    scale, screen_y, top = place
    eyes_y = screen_y + _NEARBY_MM * scale
    distance_mm = perceived_distance_mm(parallax_mm, _NEARBY_MM)
    end_y = top if distance_mm is None else min(screen_y, eyes_y - distance_mm * scale)
    parts = []
    for side, dashes in ((-1.0, ""), (1.0, "5 4")):
        eye_x, picture_x = middle + side * ADULT_EYE_MM / 2.0 * scale, middle + side * parallax_mm / 2.0 * scale
        end_x = eye_x + (picture_x - eye_x) * (eyes_y - end_y) / (eyes_y - screen_y)
        parts.append(line([(eye_x, eyes_y), (end_x, end_y)], colour=colour, dashes=dashes))
        if distance_mm is None:
            before = eye_x + (picture_x - eye_x) * (eyes_y - end_y - 10.0) / (eyes_y - screen_y)
            parts.append(arrow((before, end_y + 10.0), (end_x, end_y), colour=colour))
        parts.append(stroke(f"M{eye_x - 9:.1f} {eyes_y + 8:.1f}a9 9 0 0 1 18 0z", fill=PAPER, width=1.6))
        mark = disc(picture_x, screen_y, fill=PAPER) if side < 0 else square(picture_x, screen_y)
        parts.append(mark)
    if distance_mm is not None:
        parts.append(diamond(middle, eyes_y - distance_mm * scale, colour=colour))
    return parts


# ---- distance by parallax


@dataclass(frozen=True)
class _Chart:
    """Where a chart of metres against percent of width lies in its picture."""

    low_pct: float = -2.0
    high_pct: float = 1.05
    most_m: float = 60.0
    left: float = 70.0
    right: float = 760.0
    top: float = 60.0
    bottom: float = 400.0

    def x(self, pct: float) -> float:
        return self.left + (self.right - self.left) * (pct - self.low_pct) / (self.high_pct - self.low_pct)

    def y(self, metres: float) -> float:
        return self.bottom - (self.bottom - self.top) * metres / self.most_m


def distance_by_parallax(screen: Screen) -> str:
    """The distance at which a point is seen against its parallax, from a screen's own seat."""
    chart, screen_m = _Chart(), screen.distance_mm / 1000.0

    def metres_at(pct: float) -> float:
        mm = perceived_distance_mm(mm_from_pct(pct, screen.width_mm), screen.distance_mm, screen.eye_mm)
        return math.nan if mm is None else mm / 1000.0

    parts = _chart_ground(chart, screen)
    # Steps in distance rather than in parallax: near the eye distance the curve is all but upright.
    nearest_m, curve = metres_at(chart.low_pct), []
    for step in range(81):
        told_m = nearest_m * (chart.most_m / nearest_m) ** (step / 80.0)
        pct = pct_from_mm(screen.eye_mm * (1.0 - screen_m / told_m), screen.width_mm)
        curve.append((chart.x(pct), chart.y(metres_at(pct))))
    parts.append(line(curve, width=2.6, colour=BEHIND))
    for pct, anchor, dx, dy in ((-1.0, "middle", 0, -14), (0.25, "end", -12, -6), (0.4, "end", -12, -2)):
        x, y = chart.x(pct), chart.y(metres_at(pct))
        parts.append(disc(x, y, fill=PAPER, colour=BEHIND))
        parts.append(text(x + dx, y + dy, f"{pct_text(pct)}: {length_text(metres_at(pct) * 1000.0)}", anchor=anchor))
    told = (
        f"Distance at which a point is seen against its parallax on {screen.name}: slowly rising in front of the "
        "screen, ever steeper behind it, without bound where parallax comes up to the eye distance. Beyond there is no "
        "distance."
    )
    return sheet("Distance by parallax", told, (800, int(chart.bottom + 80)), parts)


def _chart_ground(chart: _Chart, screen: Screen) -> list[str]:
    """Axes, the screen's own distance, and where the eyes turn apart, hatched."""
    eyes_x = chart.x(pct_from_mm(screen.eye_mm, screen.width_mm))
    parts = [
        '<defs><pattern id="apart" width="8" height="8" patternUnits="userSpaceOnUse" patternTransform="rotate(45)">'
        f'<path d="M0 0V8" stroke="{LINE}" stroke-width="3"/></pattern></defs>',
        f'<rect x="{eyes_x:.1f}" y="{chart.top:g}" width="{chart.right - eyes_x:.1f}" '
        f'height="{chart.bottom - chart.top:g}" fill="url(#apart)"/>',
        text(16, 24, f"Distance from the viewer, {screen.name}", weight=600),
    ]
    for metres in range(0, int(chart.most_m) + 1, 10):
        parts.append(line([(chart.left, chart.y(metres)), (chart.right, chart.y(metres))], colour=LINE, width=1))
        parts.append(text(chart.left - 8, chart.y(metres) + 5, f"{metres} m", anchor="end"))
    for half in range(int(chart.low_pct * 2), int(chart.high_pct * 2) + 1):
        x, mm = chart.x(half / 2.0), signed(mm_from_pct(half / 2.0, screen.width_mm))
        parts.append(line([(x, chart.bottom), (x, chart.bottom + 6)], width=1))
        parts.append(text(x, chart.bottom + 22, f"{signed(half / 2.0, 1)} %", anchor="middle"))
        parts.append(text(x, chart.bottom + 40, f"{mm} mm", anchor="middle", colour=SOFT))
    middle = (chart.left + chart.right) / 2.0
    parts.append(
        text(middle, chart.bottom + 64, "parallax, of the picture's width and on this screen", anchor="middle")
    )
    screen_y = chart.y(screen.distance_mm / 1000.0)
    parts.append(line([(chart.left, screen_y), (chart.right, screen_y)], dashes="8 4", width=1.2))
    parts.append(text(chart.left + 8, screen_y - 7, f"the screen, {length_text(screen.distance_mm)}"))
    parts.append(line([(eyes_x, chart.top - 12), (eyes_x, chart.bottom)], dashes="3 3", width=1.6))
    words = f"as wide as the eyes: {screen.eye_mm:g} mm, {pct_text(pct_from_mm(screen.eye_mm, screen.width_mm))}"
    parts.append(text(eyes_x - 8, chart.top - 6, words, anchor="end"))
    for row, words in enumerate(("no distance:", "the eyes", "turn apart")):
        parts.append(text(eyes_x + 8, chart.top + 150 + 20 * row, words, weight=600))
    return parts


# ---- seats, and the same shot on two screens


def room(screen: Screen) -> str:
    """One shot from four seats."""
    seats = from_seats(-1.2, 0.1, 0.57, screen, LimitRules(), seats_of(screen, StorySettings()))
    svg = room_svg(screen.name, seats, screen.width_mm, on_paper=True)
    return svg.replace("><", ">\n<") + "\n"


_SHOT_PCT = (-0.35, 1.2)


def hit(screens: tuple[Screen, ...]) -> str:
    """The range of one shot before and after HIT, against the limits of each screen."""
    low, high, left, right = -3.4, 3.4, 40.0, 760.0

    def x(pct: float) -> float:
        return left + (right - left) * (pct - low) / (high - low)

    near, far = _SHOT_PCT
    parts, y = [text(left, 24, "One shot on two screens: HIT moves the whole range, its width stays", weight=600)], 40.0
    for screen in screens:
        limits = limits_for(screen)
        # 0.05 % of width are kept free of a limit, as in a plan.
        move = min(0.0, limits.far_pct - 0.05 - far)
        y += 36
        parts.append(text(left, y, f"{screen.name}, {length_text(screen.width_mm)} wide", weight=600))
        y += 44
        parts.append(line([(x(0.0), y - 6), (x(0.0), y + 102)], width=1, colour=SOFT))
        for word, pct in (("near", limits.near_pct), ("far", limits.far_pct)):
            parts.append(line([(x(pct), y - 16), (x(pct), y + 102)], width=2, dashes="10 4"))
            parts.append(text(x(pct), y - 22, f"{word} limit {pct_text(pct)}", anchor="middle"))
        moved = f"HIT {pct_text(move)}" if move else "HIT 0"
        for row, (name, by, colour, dashes) in enumerate((("as shot", 0.0, FRONT, "5 3"), (moved, move, BEHIND, ""))):
            first, last, top = near + by, far + by, y + 4 + 54 * row
            parts.append(box(x(first), top, x(last) - x(first), 24, colour=colour, dashes=dashes, fill=PAPER))
            parts.append(text(x((first + last) / 2.0), top + 17, name, anchor="middle"))
            ends = f"{pct_text(first)} to {pct_text(last)}"
            parts.append(text(x((first + last) / 2.0), top + 41, ends, anchor="middle"))
            if last > limits.far_pct:
                parts.append(text(x(last) + 8, top + 17, "beyond the far limit"))
        y += 108
    y += 22
    parts.append(line([(left, y), (right, y)], width=1.4))
    for pct in range(-3, 4):
        parts.append(line([(x(pct), y), (x(pct), y + 6)], width=1.4))
        parts.append(text(x(pct), y + 22, f"{signed(pct)} %", anchor="middle"))
    parts += [text(x(-1.5), y + 44, "in front", anchor="middle"), text(x(0.0), y + 44, "screen", anchor="middle")]
    parts.append(text(x(1.5), y + 44, "behind", anchor="middle"))
    told = (
        f"A shot from {pct_text(near)} to {pct_text(far)} of picture width. On a cinema screen its far end lies beyond "
        "the limit, and HIT moves all of it forward by the same amount; on a television it fits as it was shot."
    )
    return sheet("HIT against the limits of two screens", told, (800, int(y + 62)), parts)
