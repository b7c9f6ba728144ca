"""Pictures of how a scene is filmed and framed: two cameras, roundness, a floating window."""

from __future__ import annotations

import math

from postfix.camera import Camera, Rig, parallax_pct
from postfix.plan.settings import StorySettings
from postfix.review.drawing import (
    BEHIND,
    FRONT,
    PAPER,
    SOFT,
    Point,
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
from postfix.review.room import INK
from postfix.review.words import signed
from postfix.viewing import ADULT_EYE_MM, mm_from_pct, perceived_distance_mm

# ---- two cameras

_BASE_MM, _NEAR_MM, _CONVERGED_MM, _FAR_MM = 360.0, 550.0, 1000.0, 1600.0
_FOCAL_MM, _SENSOR_MM, _BOARD_MM = 24.0, 24.89, (620.0, 420.0)
"""The interaxial is far too large for such a scene, so that what it does can be seen."""

_RIG_WORDS: dict[Rig, tuple[str, str, str]] = {
    "parallel": (
        "The axes never meet; the pictures are",
        "shifted until convergence matches.",
        "the same shape for both",
    ),
    "toed-in": (
        "The cameras are turned until their axes",
        "meet at the depth of convergence.",
        "corners at different heights: vertical parallax",
    ),
}


def two_cameras() -> str:
    """Parallel and toed-in cameras from above, and what each makes of an upright board at the depth of convergence."""
    parts = []
    for number, (rig, (*how, board)) in enumerate(_RIG_WORDS.items()):
        left = 30.0 + 400.0 * number
        parts.append(text(left, 24, rig, weight=600))
        parts += _rig_from_above(rig, left)
        parts += [text(left, 396 + 18 * row, words) for row, words in enumerate(how)]
        parts += _board_seen(rig, left + 160.0, 512.0)
        parts.append(text(left + 160, 602, board, anchor="middle"))
    parts += [disc(36, 630, fill=PAPER), text(48, 635, "left camera, solid"), square(196, 630)]
    parts.append(text(208, 635, "right camera, dashed. To scale, with an interaxial far too large on purpose."))
    told = (
        "From above: two parallel cameras whose pictures are shifted, and two that are turned towards each other. What "
        "lies nearer than the plane of convergence has negative parallax, what lies farther positive. Below: the "
        "outline of an upright board at that depth. Parallel cameras see it alike; turned ones see its sides "
        "unequally high, which is vertical parallax in the corners."
    )
    return sheet("Two cameras: parallel and toed-in", told, (800, 654), parts)


def _rig_from_above(rig: Rig, left: float) -> list[str]:
    scale, floor, middle = 0.17, 350.0, left + 110.0
    depths = ((_FAR_MM, BEHIND, "far"), (_CONVERGED_MM, SOFT, "convergence"), (_NEAR_MM, FRONT, "near"))
    board_y = floor - _CONVERGED_MM * scale
    parts = [line([(left, board_y), (left + 220, board_y)], width=3, colour=SOFT)]
    for side, dashes in ((-1.0, ""), (1.0, "5 4")):
        x = middle + side * _BASE_MM / 2.0 * scale
        for depth_mm, colour, _ in depths:
            if depth_mm != _CONVERGED_MM or rig == "parallel":
                parts.append(
                    line([(x, floor), (middle, floor - depth_mm * scale)], width=1, colour=colour, dashes=dashes)
                )
        along_mm = _FAR_MM * 1.12
        turn = 0.0 if rig == "parallel" else math.atan(_BASE_MM / 2.0 / _CONVERGED_MM)
        end = (x - side * math.tan(turn) * along_mm * scale, floor - along_mm * scale)
        parts.append(arrow((x, floor), end, width=1.8))
        body = f"rotate({-side * math.degrees(turn):.1f} {x:.1f} {floor:g})"
        parts.append(f'<g transform="{body}">{box(x - 8, floor, 16, 20, fill=PAPER)}'
                     f"{stroke(f'M{x - 4:.1f} {floor:g}l-3 -7h14l-3 7z', fill=PAPER)}</g>")  # fmt: skip
        parts.append(disc(x, floor + 11, 3, fill=PAPER) if side < 0 else square(x, floor + 11))
    camera = Camera(_BASE_MM, _FOCAL_MM, _SENSOR_MM, _CONVERGED_MM, rig)
    for depth_mm, colour, word in depths:
        y = floor - depth_mm * scale
        parts.append(diamond(middle, y, colour=colour))
        pct = parallax_pct(camera, depth_mm)
        sign = "" if pct is None else f": P = {signed(pct)} %"
        parts.append(text(left + 232, y + 5, word, weight=600))
        parts.append(text(left + 232, y + 22, f"{depth_mm / 1000.0:g} m{sign}"))
    return parts


def _board_seen(rig: Rig, middle: float, centre: float) -> list[str]:
    """The board as both cameras see it, one over the other."""
    parts, px = [], 9.5
    for side, dashes in ((-1.0, ""), (1.0, "6 4")):
        corners = [
            board_on_sensor_mm(rig, side, across * _BOARD_MM[0] / 2.0, up * _BOARD_MM[1] / 2.0)
            for across, up in ((-1, -1), (1, -1), (1, 1), (-1, 1), (-1, -1))
        ]
        parts.append(line([(middle + x * px, centre - y * px) for x, y in corners], width=1.8, dashes=dashes))
    return parts


def board_on_sensor_mm(rig: Rig, side: float, x_mm: float, y_mm: float) -> tuple[float, float]:
    """Where a camera (−1 left, 1 right) has a point at the depth of convergence, about the middle of its picture.

    A pinhole camera, turned about its own place when it is toed in; a parallel one is shifted so that this depth has no
    parallax.
    """
    across = x_mm - side * _BASE_MM / 2.0
    if rig == "parallel":
        return _FOCAL_MM * x_mm / _CONVERGED_MM, _FOCAL_MM * y_mm / _CONVERGED_MM
    turn = -side * math.atan(_BASE_MM / 2.0 / _CONVERGED_MM)
    forward = _CONVERGED_MM * math.cos(turn) + across * math.sin(turn)
    sideways = across * math.cos(turn) - _CONVERGED_MM * math.sin(turn)
    return _FOCAL_MM * sideways / forward, _FOCAL_MM * y_mm / forward


# ---- roundness

_ROUNDNESS = ((0.4, "flat", "like a card"), (1.0, "as in life", ""), (2.2, "stretched", "longer than wide"))


def roundness(settings: StorySettings) -> str:
    """A ball from above as it is seen at three values of roundness."""
    radius, centre, viewer_y = 58.0, 190.0, 372.0
    parts = []
    for index, (value, word, more) in enumerate(_ROUNDNESS):
        middle = 130.0 + 260.0 * index
        parts.append(text(middle, 24, f"roundness {value:g}", anchor="middle", weight=600))
        parts.append(text(middle, 44, f"{word}{', ' if more else ''}{more}", anchor="middle"))
        place = f'cx="{middle:g}" cy="{centre:g}"'
        parts.append(
            f'<ellipse {place} rx="{radius:g}" ry="{radius * value:.1f}" fill="#00568f26" stroke="{BEHIND}" '
            'stroke-width="2"/>'
        )
        if value != 1.0:
            parts.append(f'<circle {place} r="{radius:g}" fill="none" stroke="{INK}" stroke-dasharray="5 4"/>')
        parts.append(arrow((middle, viewer_y - 6), (middle, viewer_y - 36)))
        parts.append(stroke(f"M{middle - 12:g} {viewer_y + 8:g}a12 12 0 0 1 24 0z", fill=PAPER, width=1.6))
        parts.append(text(middle, viewer_y + 28, "viewer", anchor="middle"))
    words = "From above: the ball (dashed), and how it is seen (solid). Depth against width, 1 as in life;"
    parts.append(text(24, 430, words))
    ends = f"below {settings.flat_below:g} and above {settings.stretched_above:g}"
    parts.append(text(24, 450, f"worth a notice {ends}, unless set otherwise."))
    told = (
        "A ball from above at roundness 0.4, 1 and 2.2: a flat disc across the line of sight, a ball, and an egg that "
        "points at the viewer."
    )
    return sheet("Roundness: depth against width", told, (780, 468), parts)


# ---- a floating window

_SCREEN_MM, _SEAT_MM = 1218.0, 2055.0
_THING_PCT, _WINDOW_PCT = -4.0, 4.6
_THING_ENDS_PCT = (-54.0, -33.0)
"""Ends of the thing in front, between its two pictures, percent of width from the middle: over the left edge."""


def floating_window() -> str:
    """A thing in front of the screen that the left edge cuts, before and after the edge comes forward."""
    parts = []
    for index, window_pct in enumerate((0.0, _WINDOW_PCT)):
        left = 24.0 + 400.0 * index
        heading = "with a floating window" if window_pct else "without a window"
        parts.append(text(left, 24, heading, weight=600))
        parts += _window_from_above(left, window_pct)
        parts += _both_pictures(left, 366.0, window_pct)
    parts.append(text(24, 550, "From above, depth at half the scale of width; below, the pictures of both eyes."))
    told = (
        "From above: a thing in front of the screen is cut by the picture's left edge, which lies behind it. Hiding "
        "columns at the left of the left eye's picture brings the edge forward, in front of the thing; both eyes then "
        "see the thing cut at the same place, as by the frame of a real window."
    )
    return sheet("A floating window", told, (800, 568), parts)


def _seen_at(left_mm: float, right_mm: float) -> tuple[float, float]:
    """Where a point is seen whose pictures lie at these places of the screen: across, and from the viewer."""
    distance_mm = perceived_distance_mm(right_mm - left_mm, _SEAT_MM)
    assert distance_mm is not None, "nothing in this picture turns the eyes apart"
    half_eyes = ADULT_EYE_MM / 2.0
    return -half_eyes + (left_mm + half_eyes) * distance_mm / _SEAT_MM, distance_mm


def _window_from_above(left: float, window_pct: float) -> list[str]:
    scale, screen_y, middle = 0.22, 90.0, left + 170.0
    eyes_y = screen_y + 0.5 * _SEAT_MM * scale

    def at(left_mm: float, right_mm: float) -> Point:
        across_mm, distance_mm = _seen_at(left_mm, right_mm)
        # Half the scale in depth: the room would else be too deep for the page.
        return middle + across_mm * scale, eyes_y - distance_mm * (eyes_y - screen_y) / _SEAT_MM

    edge_mm = _SCREEN_MM / 2.0
    parallax_mm = mm_from_pct(_THING_PCT, _SCREEN_MM)
    thing = [
        at(mm_from_pct(end, _SCREEN_MM) - parallax_mm / 2.0, mm_from_pct(end, _SCREEN_MM) + parallax_mm / 2.0)
        for end in _THING_ENDS_PCT
    ]
    parts = [line([(middle - edge_mm * scale, screen_y), (middle + edge_mm * scale, screen_y)], width=4)]
    parts.append(text(middle, screen_y - 14, "screen", anchor="middle"))
    hidden_mm = mm_from_pct(window_pct, _SCREEN_MM)
    edge = at(hidden_mm - edge_mm, -edge_mm)
    right_edge = (middle + edge_mm * scale, screen_y)
    parts.append(line([edge, right_edge], width=1.4, dashes="2 4"))
    cut_x = middle + (edge[0] - middle) * (eyes_y - thing[0][1]) / (eyes_y - edge[1])
    parts.append(line([(cut_x, thing[1][1]), thing[1]], width=9, colour=FRONT))
    parts.append(box(thing[0][0], thing[0][1] - 4, cut_x - thing[0][0], 8, colour=FRONT, dashes="3 3", fill=PAPER))
    for eye_mm, dashes in ((-ADULT_EYE_MM / 2.0, ""), (ADULT_EYE_MM / 2.0, "5 4")):
        eye = middle + eye_mm * scale
        parts.append(line([(eye, eyes_y), edge], width=1, dashes=dashes))
        parts.append(stroke(f"M{eye - 5:.1f} {eyes_y + 6:.1f}a5 5 0 0 1 10 0z", fill=PAPER))
    parts.append(line([(edge[0], edge[1] - 13), (edge[0], edge[1] + 13)], width=6))
    parts.append(line([(right_edge[0], screen_y - 13), (right_edge[0], screen_y + 13)], width=6))
    if window_pct:
        parts += [text(left, edge[1] + 34, "left edge,"), text(left, edge[1] + 52, "come forward")]
    else:
        parts.append(text(left, screen_y - 34, "left edge, at the screen"))
    parts.append(text(thing[1][0] + 12, thing[1][1] + 5, "a thing in front"))
    parts.append(text(middle + 18, eyes_y + 6, "viewer"))
    return parts


def _both_pictures(left: float, top: float, window_pct: float) -> list[str]:
    """Both eyes' pictures with the thing in them, and black where columns are hidden."""
    width, height = 150.0, 84.0
    parts = []
    for index, (word, side) in enumerate((("left eye", -1.0), ("right eye", 1.0))):
        x = left + index * (width + 24.0)
        first, last = (x + (end + 50.0 + side * _THING_PCT / 2.0) * width / 100.0 for end in _THING_ENDS_PCT)
        hidden = window_pct * width / 100.0 if side < 0 else 0.0
        start = max(first, x + hidden)
        parts.append(box(x, top, width, height, fill=PAPER))
        parts.append(f'<rect x="{start:.1f}" y="{top + 30:g}" width="{last - start:.1f}" height="{height - 30:g}" '
                     f'fill="{FRONT}"/>')  # fmt: skip
        if hidden:
            parts.append(f'<rect x="{x:g}" y="{top:g}" width="{hidden:.1f}" height="{height:g}" fill="{INK}"/>')
        parts.append(text(x, top + height + 20, word))
        seen_pct = (last - start) * 100.0 / width
        parts.append(text(x, top + height + 38, f"it is {seen_pct:.1f} % wide"))
    hidden_words = "Columns at the left of the left eye are hidden."
    parts.append(
        text(left, top + height + 64, hidden_words if window_pct else "The left eye sees more of it than the right.")
    )
    return parts
