"""Things that stand, hang and fly in the film: kites, spools, people, posts, banners. Each is one flat drawing."""

from __future__ import annotations

import math

import numpy as np

from postfix.demo.painting import Canvas, Points, canvas, soft
from postfix.demo.textures import Array, Colour, cloth, fractal, plain, planks, shade

RUST: Colour = (0.76, 0.29, 0.20)
MUSTARD: Colour = (0.91, 0.68, 0.24)
NAVY: Colour = (0.20, 0.30, 0.44)
CREAM: Colour = (0.93, 0.88, 0.77)
TEAL: Colour = (0.22, 0.49, 0.51)
OAK: Colour = (0.63, 0.46, 0.28)
PINE: Colour = (0.78, 0.63, 0.42)
SLATE: Colour = (0.40, 0.42, 0.44)
TAR: Colour = (0.20, 0.18, 0.17)

PIXEL_PER_METRE_OF_CLOTH = 420.0
"""Scale at which small pieces of cloth are woven, so that their threads can be seen."""


def fabric(drawn: Canvas, seed: int, colour: Colour, *, folds: float = 0.06) -> Array:
    """Cloth over a whole canvas."""
    return cloth(drawn.facing(PIXEL_PER_METRE_OF_CLOTH), seed, colour, folds=folds)


def stuff(drawn: Canvas, seed: int, colour: Colour, *, roughness: float = 0.1) -> Array:
    """Worn paint, stone or skin over a whole canvas."""
    return plain(drawn.view(), seed, colour, roughness=roughness, size=70.0)


def lumber(drawn: Canvas, seed: int, colour: Colour, board_px: float) -> Array:
    """Upright boards over a whole canvas."""
    return planks(drawn.facing(board_px / 0.14), seed, colour)


def ring(x: float, y: float, radius: float, count: int = 64) -> Points:
    """Points of a closed circle."""
    turn = np.linspace(0.0, 2.0 * np.pi, count)
    return list(zip(x + radius * np.cos(turn), y + radius * np.sin(turn)))


def kite(
    half_width: float, half_height: float, seed: int, colours: tuple[Colour, Colour], density: float = 1.5
) -> Canvas:
    """A diamond kite about (0, 0): two colours of cloth in four panels, spars showing."""
    drawn = canvas((-half_width - 6, -half_height - 6, half_width + 6, half_height + 6), density)
    cross = -0.32 * half_height
    top, bottom = (0.0, -half_height), (0.0, half_height)
    left, right, middle = (-half_width, cross), (half_width, cross), (0.0, cross)
    first, second = fabric(drawn, seed, colours[0], folds=0.08), fabric(drawn, seed + 1, colours[1], folds=0.08)
    drawn.paint(drawn.polygon([top, right, bottom, left]), first)
    for points in ([top, right, middle], [bottom, left, middle]):
        drawn.paint(drawn.polygon(points), second, inside=True)
    drawn.paint(drawn.polygon([top, middle, bottom, left]), (0.0, 0.0, 0.0), opacity=0.10, inside=True)
    wide = max(1.6, half_width / 42.0)
    for spar in ([top, bottom], [left, middle, right]):
        drawn.paint(drawn.strokes([spar], wide), (0.36, 0.25, 0.15), opacity=0.85, inside=True)
    hem = drawn.strokes([[top, right, bottom, left, top]], wide * 1.6)
    drawn.paint(hem, (0.97, 0.93, 0.84), opacity=0.7, inside=True)
    return drawn


def tail(length: float, seed: int, colours: tuple[Colour, Colour]) -> Canvas:
    """A tail that hangs from (0, 0) to the lower left, with bows of cloth."""
    drawn = canvas((-length - 24, -14, 24, 0.75 * length + 24), 1.5)
    along = np.linspace(0.0, 1.0, 60)
    line = [(-length * a, 0.72 * length * a**1.2 + 14.0 * math.sin(7.0 * a)) for a in along]
    drawn.paint(drawn.strokes([line], 2.4), (0.28, 0.24, 0.22))
    cloths = [fabric(drawn, seed + i, colour) for i, colour in enumerate(colours)]
    for number, at in enumerate(np.linspace(0.14, 0.98, 8)):
        x, y = line[int(at * 59)]
        size, angle = 15.0 - 4.0 * at, 1.1 * number
        bow = [
            (x + size * math.cos(angle + turn) * reach, y + size * math.sin(angle + turn) * reach)
            for turn, reach in ((0.4, 1.3), (-0.4, 1.3), (0.0, 0.1), (3.54, 1.3), (2.74, 1.3), (math.pi, 0.1))
        ]
        drawn.paint(drawn.polygon([bow[0], bow[1], (x, y), bow[3], bow[4], (x, y)]), cloths[number % 2])
    return drawn


def flange(x: float, y: float, radius: float, seed: int, *, dark: float = 1.0) -> Canvas:
    """The round wooden end of a big line spool, with hub and bolts."""
    drawn = canvas((x - radius - 4, y - radius - 4, x + radius + 4, y + radius + 4), 1.5)
    wood = shade(lumber(drawn, seed, OAK, radius * 0.38), dark)
    drawn.paint(drawn.disc(x, y, radius), wood)
    rim = drawn.strokes([ring(x, y, radius - 4.0, 200)], 7.0)
    drawn.paint(rim, shade(wood, 0.66), opacity=0.8, inside=True)
    light = drawn.disc(x - radius * 0.25, y - radius * 0.3, radius * 0.8)
    drawn.paint(soft(light, radius * 0.4), (1.0, 0.95, 0.82), opacity=0.16, inside=True)
    for turn in np.linspace(0.3, 0.3 + 2.0 * np.pi, 6, endpoint=False):
        bolt = (x + 0.72 * radius * math.cos(turn), y + 0.72 * radius * math.sin(turn))
        drawn.paint(drawn.disc(bolt[0] + 1.5, bolt[1] + 2.0, 7.5), (0.08, 0.06, 0.05), opacity=0.6, inside=True)
        drawn.paint(drawn.disc(*bolt, 6.5), stuff(drawn, seed + 3, (0.42, 0.42, 0.43)), inside=True)
    iron = stuff(drawn, seed + 4, SLATE)
    drawn.paint(drawn.disc(x + 2, y + 3, radius * 0.25), (0.08, 0.06, 0.05), opacity=0.5, inside=True)
    drawn.paint(drawn.disc(x, y, radius * 0.23), iron, inside=True)
    drawn.paint(drawn.disc(x, y, radius * 0.10), (0.10, 0.09, 0.09), inside=True)
    return drawn


def winding(x: float, y: float, radius: float, seed: int, colour: Colour) -> Canvas:
    """Line wound on a spool, seen from the end: rings of cord."""
    drawn = canvas((x - radius - 4, y - radius - 4, x + radius + 4, y + radius + 4), 1.5)
    view = drawn.view()
    distance = np.hypot(view.s - x, view.t - y)
    cords = 0.5 + 0.5 * np.cos(distance * np.float32(2.0 * np.pi / 7.0))
    twist = fractal(view, seed, 22.0, 2.0, slope=0.1)
    body = np.broadcast_to(np.asarray(colour, np.float32), (*view.shape, 3))
    drawn.paint(drawn.disc(x, y, radius), shade(body, np.asarray(0.72 + 0.24 * cords + 0.10 * twist, np.float32)))
    return drawn


def small_spool(x: float, foot: float, height: float, seed: int, colour: Colour) -> Canvas:
    """A spool of line that stands upright on its end."""
    half = height * 0.36
    drawn = canvas((x - half - 3, foot - height - 3, x + half + 3, foot + 3), 2.0)
    view = drawn.view()
    cords = 0.5 + 0.5 * np.cos((view.t + 0.12 * view.s) * np.float32(2.0 * np.pi / 5.5))
    roundness = np.sqrt(np.clip(1.0 - ((view.s - x) / (half * 1.05)) ** 2, 0.0, 1.0))
    twist = fractal(view, seed, 14.0, 2.0, slope=0.1)
    body = np.broadcast_to(np.asarray(colour, np.float32), (*view.shape, 3))
    light = (0.45 + 0.55 * roundness) * (0.84 + 0.16 * cords + 0.10 * twist)
    wound = [
        (x - half * 0.85, foot - height),
        (x + half * 0.85, foot - height),
        (x + half * 0.85, foot),
        (x - half * 0.85, foot),
    ]
    drawn.paint(drawn.polygon(wound), shade(body, np.asarray(light, np.float32)))
    wood = shade(lumber(drawn, seed + 2, PINE, height * 0.3), np.asarray(0.5 + 0.5 * roundness, np.float32))
    for y in (foot - height, foot - height * 0.14):
        drawn.paint(
            drawn.polygon([(x - half, y), (x + half, y), (x + half, y + height * 0.14), (x - half, y + height * 0.14)]),
            wood,
        )
    return drawn


def person(x: float, foot: float, height: float, seed: int, coat: Colour, *, reach: float = 1.0) -> Canvas:
    """Someone in a long coat seen from behind, one arm raised to a kite line (``reach`` −1 to the left, +1 right)."""
    drawn = canvas((x - height * 0.34, foot - height * 1.14, x + height * 0.34, foot + 3), 1.5)

    def at(u: float, v: float) -> tuple[float, float]:
        return x + u * height * reach, foot - v * height

    trousers, skin = stuff(drawn, seed + 1, NAVY), stuff(drawn, seed + 2, (0.72, 0.53, 0.42))
    jacket = fabric(drawn, seed, coat, folds=0.12)
    for side in (-1.0, 1.0):
        leg = [at(0.02 * side, 0.44), at(0.10 * side, 0.44), at(0.095 * side, 0.0), at(0.03 * side, 0.0)]
        drawn.paint(drawn.polygon(leg), trousers)
    drawn.paint(drawn.strokes([[at(-0.13, 0.76), at(-0.19, 0.60), at(-0.16, 0.46)]], height * 0.062), jacket)
    drawn.paint(drawn.strokes([[at(0.12, 0.78), at(0.22, 0.88), at(0.27, 1.06)]], height * 0.062), jacket)
    drawn.paint(drawn.disc(*at(0.275, 1.08), height * 0.03), skin)
    body = [
        at(-0.155, 0.80),
        at(-0.05, 0.84),
        at(0.05, 0.84),
        at(0.155, 0.80),
        at(0.15, 0.55),
        at(0.19, 0.32),
        at(-0.19, 0.32),
        at(-0.14, 0.55),
    ]
    drawn.paint(drawn.polygon(body), jacket)
    drawn.paint(
        drawn.polygon([at(0.05, 0.84), at(0.155, 0.80), at(0.19, 0.32), at(0.06, 0.32)]),
        (0, 0, 0),
        opacity=0.18,
        inside=True,
    )
    drawn.paint(drawn.disc(*at(0.0, 0.91), height * 0.058, height * 0.07), skin)
    drawn.paint(drawn.disc(*at(0.0, 0.935), height * 0.066, height * 0.056), stuff(drawn, seed + 4, MUSTARD))
    return drawn


def post(x: float, foot: float, height: float, width: float, seed: int, lean: float) -> Canvas:
    """A weathered post of a beach fence."""
    drawn = canvas((x - width - abs(lean) - 3, foot - height - 4, x + width + abs(lean) + 3, foot + 3), 2.0)
    wood = lumber(drawn, seed, (0.50, 0.46, 0.41), max(width, 6.0))
    shape = [
        (x - width / 2 + lean, foot - height),
        (x + width / 2 + lean, foot - height + width * 0.3),
        (x + width / 2, foot),
        (x - width / 2, foot),
    ]
    drawn.paint(drawn.polygon(shape), wood)
    drawn.paint(
        drawn.polygon([(x + lean, foot - height), shape[1], shape[2], (x, foot)]), (0, 0, 0), opacity=0.3, inside=True
    )
    return drawn


def banner(
    box: tuple[float, float, float, float], seed: int, colours: tuple[Colour, Colour], *, notch: float
) -> Canvas:
    """A long hanging banner with a broad stripe, a kite in the middle and a swallow-tailed hem ``notch`` deep."""
    x0, y0, x1, y1 = box
    drawn = canvas((x0 - 4, y0 - 4, x1 + 4, y1 + 4), 1.5)
    field, mark = fabric(drawn, seed, colours[0], folds=0.11), fabric(drawn, seed + 1, colours[1], folds=0.11)
    middle = (x0 + x1) / 2.0
    drawn.paint(drawn.polygon([(x0, y0), (x1, y0), (x1, y1), (middle, y1 - notch), (x0, y1)]), field)
    band = (x1 - x0) * 0.09
    for edge in (x0 + band * 1.2, x1 - band * 2.2):
        drawn.paint(drawn.polygon([(edge, y0), (edge + band, y0), (edge + band, y1), (edge, y1)]), mark, inside=True)
    size = (x1 - x0) * 0.25
    for centre in np.arange(y0 + 2.2 * size, y1 - notch - size, 3.2 * size):
        diamond = [
            (middle, centre - 1.3 * size),
            (middle + size, centre - 0.3 * size),
            (middle, centre + 1.3 * size),
            (middle - size, centre - 0.3 * size),
        ]
        drawn.paint(drawn.polygon(diamond), mark, inside=True)
    return drawn
