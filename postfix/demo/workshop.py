"""The film's indoor shots: the bench with the line spool, the push-in to the table, and the title card."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from postfix.demo import props
from postfix.demo.camera import Rig, rig_with_range
from postfix.demo.painting import Canvas, canvas, facing_at, floor_at, moved, soft
from postfix.demo.props import CREAM, MUSTARD, NAVY, OAK, PINE, RUST, TAR, TEAL
from postfix.demo.scenes import Scene
from postfix.demo.surfaces import Surface
from postfix.demo.textures import cloth, clouds, planks, sea, shade, turned

WIDTH, HEIGHT = 960, 540


def _row_of(rig: Rig, height_m: float, parallax_pct: float) -> float:
    """Picture row of a point ``height_m`` below the camera at the depth of this parallax."""
    return float(rig.middle()[1, 2] + rig.focal_px * height_m * rig.inverse_depth(parallax_pct))


def _window(drawn: Canvas, box: tuple[float, float, float, float], seed: int) -> None:
    """A window in a wall with sea and sky outside, painted on the wall."""
    x0, y0, x1, y1 = box
    frame = shade(props.lumber(drawn, seed, PINE, 22.0), 0.9)
    drawn.paint(drawn.polygon([(x0 - 14, y0 - 14), (x1 + 14, y0 - 14), (x1 + 14, y1 + 14), (x0 - 14, y1 + 14)]), frame)
    pane = canvas(drawn.box_px, drawn.density)
    outside = clouds(pane.view(), seed + 1, cover=0.5, top=(0.52, 0.68, 0.80), bottom=(0.88, 0.91, 0.90))
    horizon = y0 + 0.70 * (y1 - y0)
    drawn.paint(drawn.polygon([(x0, y0), (x1, y0), (x1, y1), (x0, y1)]), outside)
    drawn.paint(drawn.polygon([(x0, horizon), (x1, horizon), (x1, y1), (x0, y1)]), sea(pane.view(), seed + 2))
    bars = [[(x0 + (x1 - x0) * share, y0), (x0 + (x1 - x0) * share, y1)] for share in (1 / 3, 2 / 3)]
    bars.append([(x0, (y0 + y1) / 2), (x1, (y0 + y1) / 2)])
    drawn.paint(drawn.strokes(bars, 7.0), frame)
    shadow = drawn.polygon([(x0 - 20, y1 + 12), (x1 + 20, y1 + 12), (x1 + 20, y1 + 24), (x0 - 20, y1 + 24)])
    drawn.paint(shadow, shade(frame, 0.8))


def _lit_wall(box: tuple[float, float, float, float], seed: int, window: tuple[float, float, float, float]) -> Canvas:
    """A boarded wall with a window and the window's light on it."""
    wall = canvas(box, 1.3)
    boards = planks(wall.facing(300.0), seed, (0.60, 0.57, 0.50), board=0.19)
    view = wall.view()
    distance = np.hypot(view.s - (window[0] + window[2]) / 2.0, 1.3 * (view.t - (window[1] + window[3]) / 2.0))
    wall.fill(shade(boards, np.asarray(0.60 + 0.48 * np.exp(-((distance / 380.0) ** 2)), np.float32)))
    _window(wall, window, seed + 1)
    return wall


def _floor(rig: Rig, height_m: float, box: tuple[float, float, float, float], seed: int) -> Surface:
    depth = floor_at(rig, height_m)
    drawn = canvas(box, 1.3)
    boards = planks(drawn.ground(rig, depth), seed, (0.50, 0.40, 0.30), board=0.17)
    drawn.fill(shade(boards, 0.85))
    return drawn.surface("floor", rig, depth)


def _standing(name: str, drawn: Canvas, rig: Rig, parallax_pct: float) -> Surface:
    return drawn.surface(name, rig, facing_at(rig, parallax_pct))


def line_spool() -> Scene:
    """A workbench with a big line spool cut by the left frame edge in front of the screen."""
    rig = rig_with_range(WIDTH, HEIGHT, infinity_pct=1.0, convergence_m=3.0, shift_y_px=-90.0)
    wall_pct = 0.2
    wall = _lit_wall((-40, -20, 1000, 500), 41, (560, 50, 850, 250))
    _pegs(wall)
    surfaces = [
        _standing("wall", wall, rig, wall_pct),
        _floor(rig, 1.08, (-40, _row_of(rig, 1.08, wall_pct), 1000, 560), 43),
        _standing("canes", _canes(900, 528, 300, 44), rig, 0.1),
        _bench_top(rig),
        _bench_front(rig),
    ]
    foot = {pct: _row_of(rig, 0.42, pct) for pct in (-0.12, -0.2, -0.3, -0.4)}
    half_done = props.kite(92, 118, 45, (CREAM, RUST))
    on_bench = moved(452.0, foot[-0.12] - 116.0)
    surfaces += [
        half_done.surface("kite on the bench", rig, facing_at(rig, -0.12), lambda frame: on_bench),
        _standing("teal spool", props.small_spool(330, foot[-0.3], 72, 46, TEAL), rig, -0.3),
        _standing("mustard spool", props.small_spool(392, foot[-0.4] - 1, 54, 47, MUSTARD), rig, -0.4),
        _standing("pot", _pot(618, foot[-0.4], 66, 48), rig, -0.4),
        _standing("spool, back", props.flange(78, 378, 158, 49, dark=0.72), rig, -1.1),
        _standing("spool, line", props.winding(58, 381, 128, 50, (0.88, 0.83, 0.70)), rig, -1.25),
        _standing("spool, front", props.flange(35, 385, 165, 51), rig, -1.4),
    ]
    return Scene(tuple(surfaces), lambda frame: rig, seed=101)


def _pegs(wall: Canvas) -> None:
    """Tools and coils on the wall, with their shadows."""
    grit = props.stuff(wall, 60, (1.0, 1.0, 1.0), roughness=0.14)
    coils = ((110, 120, 46, RUST), (220, 95, 38, CREAM), (300, 150, 30, TEAL))
    for x, y, radius, colour in coils:
        turns = enumerate(((0, 0), (2, 1), (-2, 3), (1, 5)))
        loops = [props.ring(x + dx, y + dy, radius - 5 * k) for k, (dx, dy) in turns]
        shadow = wall.strokes([props.ring(x + 7, y + 9, radius - 6)], 20.0)
        wall.paint(soft(shadow, 5.0), (0, 0, 0), opacity=0.45)
        wall.paint(wall.strokes(loops, 3.6), grit * np.array(colour, np.float32))
        wall.paint(wall.disc(x, y - radius + 2, 4.0), TAR)
    shelf = [(40, 236), (380, 236), (380, 250), (40, 250)]
    wall.paint(soft(wall.polygon([(46, 248), (386, 248), (386, 268), (46, 268)]), 6.0), (0, 0, 0), opacity=0.5)
    wall.paint(wall.polygon(shelf), shade(props.lumber(wall, 65, OAK, 40.0), 0.8))
    jars = ((200, 40, 24, MUSTARD), (236, 52, 20, TEAL), (268, 34, 26, CREAM), (352, 46, 22, NAVY))
    for x, tall, wide, colour in jars:
        left, shady, right, top = x - wide / 2, x + wide / 5, x + wide / 2, 236 - tall
        wall.paint(
            wall.polygon([(left, top), (right, top), (right, 236), (left, 236)]), grit * np.array(colour, np.float32)
        )
        wall.paint(wall.polygon([(right, top), (right, 236), (shady, 236), (shady, top)]), (0, 0, 0), opacity=0.25)


def _canes(x: float, foot: float, height: float, seed: int) -> Canvas:
    """A tub of bamboo canes for spars."""
    drawn = canvas((x - 56, foot - height - 4, x + 56, foot + 3), 1.5)
    rng = np.random.default_rng(seed)
    for number in range(11):
        bottom, top = x + rng.uniform(-22, 22), x + rng.uniform(-50, 50)
        cane = [(bottom, foot - 40), (top, foot - height * rng.uniform(0.72, 0.99))]
        drawn.paint(drawn.strokes([cane], 5.0), props.stuff(drawn, seed + number, (0.80, 0.68, 0.42), roughness=0.16))
    tub = [(x - 40, foot - 112), (x + 40, foot - 112), (x + 34, foot), (x - 34, foot)]
    drawn.paint(drawn.polygon(tub), props.lumber(drawn, seed + 20, (0.42, 0.48, 0.48), 16.0))
    drawn.paint(
        drawn.polygon([(x + 8, foot - 112), tub[1], tub[2], (x + 8, foot)]), (0, 0, 0), opacity=0.28, inside=True
    )
    for y in (foot - 96, foot - 26):
        drawn.paint(drawn.strokes([[(x - 42, y), (x + 42, y)]], 6.0), props.stuff(drawn, seed + 21, TAR), inside=True)
    return drawn


def _bench_top(rig: Rig) -> Surface:
    depth = floor_at(rig, 0.42)
    front, back = _row_of(rig, 0.42, -0.5), _row_of(rig, 0.42, -0.05)
    middle = float(rig.middle()[0, 2])

    def across(metres: float, parallax_pct: float) -> float:
        return middle + rig.focal_px * metres * rig.inverse_depth(parallax_pct)

    drawn = canvas((60, back - 3, 740, front + 3), 1.5)
    top = planks(turned(drawn.ground(rig, depth)), 52, PINE, board=0.12)
    shape = [
        (across(-0.75, -0.05), back),
        (across(0.45, -0.05), back),
        (across(0.45, -0.5), front),
        (across(-0.75, -0.5), front),
    ]
    drawn.paint(drawn.polygon(shape), shade(top, 0.95))
    for x, y, wide in ((346, 380, 36), (408, 393, 30), (640, 393, 40), (480, 352, 120)):
        drawn.paint(soft(drawn.disc(x, y, wide, 7.0), 6.0), (0.10, 0.06, 0.03), opacity=0.6, inside=True)
    return drawn.surface("bench top", rig, depth)


def _bench_front(rig: Rig) -> Surface:
    top = _row_of(rig, 0.42, -0.5)
    right = 479.5 + rig.focal_px * 0.45 * rig.inverse_depth(-0.5)
    drawn = canvas((70, top - 3, right + 3, 560), 1.5)
    drawn.paint(
        drawn.polygon([(74, top), (right, top), (right, 556), (74, 556)]),
        shade(props.lumber(drawn, 53, OAK, 130.0), 0.72),
    )
    wood = planks(turned(drawn.facing(540.0)), 54, PINE, board=0.30)
    drawn.paint(drawn.polygon([(74, top), (right, top), (right, top + 16), (74, top + 16)]), shade(wood, 0.88))
    drawn.paint(
        soft(drawn.polygon([(74, top + 15), (right, top + 15), (right, top + 27), (74, top + 27)]), 4.0),
        (0, 0, 0),
        opacity=0.5,
        inside=True,
    )
    for x in (232, 398, 564):
        face = [(x, top + 32), (x + 146, top + 32), (x + 146, top + 104), (x, top + 104)]
        drawn.paint(soft(drawn.polygon([(a + 2, b + 4) for a, b in face]), 4.0), (0, 0, 0), opacity=0.6, inside=True)
        drawn.paint(drawn.polygon(face), shade(wood, 0.74), inside=True)
        drawn.paint(soft(drawn.disc(x + 75, top + 71, 9.0), 2.0), (0, 0, 0), opacity=0.6, inside=True)
        drawn.paint(drawn.disc(x + 73, top + 67, 8.0), props.stuff(drawn, 55, (0.70, 0.60, 0.34)), inside=True)
    return drawn.surface("bench front", rig, facing_at(rig, -0.5))


def _pot(x: float, foot: float, height: float, seed: int) -> Canvas:
    """A glue pot with brushes."""
    half = height * 0.36
    drawn = canvas((x - half - 20, foot - height * 2.1, x + half + 20, foot + 3), 2.0)
    for number, (lean, colour) in enumerate(((-14, PINE), (4, RUST), (18, PINE))):
        brush = [(x + lean * 0.3, foot - height * 0.7), (x + lean, foot - height * (1.7 + 0.12 * number))]
        drawn.paint(drawn.strokes([brush], 4.5), props.stuff(drawn, seed + number, colour, roughness=0.14))
        drawn.paint(drawn.disc(*brush[1], 4.5, 10.0), props.stuff(drawn, seed + 5, TAR, roughness=0.3))
    shape = [(x - half, foot - height), (x + half, foot - height), (x + half * 0.86, foot), (x - half * 0.86, foot)]
    drawn.paint(drawn.polygon(shape), props.stuff(drawn, seed + 6, (0.30, 0.42, 0.50), roughness=0.12))
    drawn.paint(
        drawn.polygon([(x + half * 0.2, foot - height), shape[1], shape[2], (x + half * 0.2, foot)]),
        (0, 0, 0),
        opacity=0.3,
        inside=True,
    )
    drawn.paint(drawn.strokes([[shape[0], shape[1]]], 5.0), CREAM, opacity=0.8, inside=True)
    return drawn


PUSH_IN_M = 0.5
"""How far the camera travels in the push-in."""


def push_in(frames: int) -> Scene:
    """A slow move towards a table with a kite on it; what is near comes nearer."""
    start = rig_with_range(WIDTH, HEIGHT, infinity_pct=0.48, convergence_m=2.2, shift_y_px=-120.0)
    # Everything is drawn as the last frame shows it, where it is largest.
    rig = replace(start, position_m=(0.0, 0.0, PUSH_IN_M))
    row = float(rig.middle()[1, 2])

    def down(height_m: float, depth_m: float) -> float:
        return row + rig.focal_px * height_m / depth_m

    wall_m, table_m, front_m, back_m = 6.1, 0.19, 0.6, 1.7
    wall = _lit_wall((-120, -80, 1080, 365), 71, (590, 20, 850, 215))
    _pegs(wall)
    deep = {name: (0.0, 0.0, 1.0 / metres) for name, metres in (("wall", wall_m), ("kite", 1.15), ("front", front_m))}
    standing = (
        ("kite frame", _kite_stand(480, down(table_m, 1.15), 270), 1.15),
        ("rust spool", props.small_spool(600, down(table_m, 0.98), 96, 75, RUST), 0.98),
        ("teal spool", props.small_spool(330, down(table_m, 0.85), 112, 76, TEAL), 0.85),
    )
    surfaces = [
        wall.surface("wall", rig, deep["wall"]),
        _floor(rig, 1.15, (-160, down(1.15, wall_m), 1120, 660), 73),
        _table_top(rig, table_m, front_m, back_m),
        *(drawn.surface(name, rig, (0.0, 0.0, 1.0 / metres)) for name, drawn, metres in standing),
        _table_front(down(table_m, front_m)).surface("table front", rig, deep["front"]),
    ]

    def rig_at(frame: int) -> Rig:
        share = min(1.0, max(0.0, frame / (frames - 1)))
        eased = share * share * (3.0 - 2.0 * share)
        return replace(start, position_m=(0.0, 0.0, PUSH_IN_M * eased))

    return Scene(tuple(surfaces), rig_at, seed=105)


def _table_top(rig: Rig, height_m: float, front_m: float, back_m: float) -> Surface:
    depth = floor_at(rig, height_m)
    middle_x, middle_y = float(rig.middle()[0, 2]), float(rig.middle()[1, 2])
    half_m = 0.2
    front, back = (middle_y + rig.focal_px * height_m / z for z in (front_m, back_m))
    drawn = canvas((middle_x - 370, back - 3, middle_x + 370, front + 3), 1.2)
    shape = [
        (middle_x + side * half_m * rig.focal_px / z, y)
        for side, z, y in ((-1, back_m, back), (1, back_m, back), (1, front_m, front), (-1, front_m, front))
    ]
    wood = planks(turned(drawn.ground(rig, depth)), 74, PINE, board=0.11, joint=0.002)
    drawn.paint(drawn.polygon(shape), wood)
    for x, y, wide in ((490, 329, 120), (622, 361, 46), (356, 392, 56)):
        drawn.paint(soft(drawn.disc(x, y, wide, 9.0), 8.0), (0.12, 0.07, 0.03), opacity=0.6, inside=True)
    return drawn.surface("table top", rig, depth)


def _table_front(top: float) -> Canvas:
    drawn = canvas((116, top - 3, 844, 900), 0.9)
    hanging = cloth(drawn.facing(300.0), 77, NAVY, folds=0.16)
    drawn.paint(drawn.polygon([(119.5, top), (839.5, top), (839.5, 898), (119.5, 898)]), hanging)
    stripe = cloth(drawn.facing(300.0), 78, CREAM, folds=0.16)
    for y in (top + 150, top + 190):
        drawn.paint(drawn.polygon([(119, y), (840, y), (840, y + 22), (119, y + 22)]), stripe, inside=True)
    wood = planks(turned(drawn.facing(800.0)), 79, PINE, board=0.2)
    drawn.paint(drawn.polygon([(119.5, top), (839.5, top), (839.5, top + 24), (119.5, top + 24)]), shade(wood, 0.9))
    return drawn


def _kite_stand(x: float, foot: float, height: float) -> Canvas:
    """A kite frame in the making: spars and half of its cloth."""
    drawn = canvas((x - height * 0.46, foot - height - 6, x + height * 0.46, foot + 3), 1.5)
    top, bottom, cross = (x, foot - height), (x, foot), foot - height * 0.66
    left, right = (x - height * 0.42, cross), (x + height * 0.42, cross)
    drawn.paint(drawn.polygon([top, (x, cross), bottom, left]), props.fabric(drawn, 81, RUST, folds=0.07))
    drawn.paint(drawn.polygon([top, right, (x, cross)]), props.fabric(drawn, 82, CREAM, folds=0.07))
    cane = props.stuff(drawn, 83, (0.74, 0.60, 0.36), roughness=0.14)
    drawn.paint(drawn.strokes([[top, bottom], [left, right]], 8.0), cane)
    drawn.paint(drawn.strokes([[top, right, bottom, left, top]], 3.2), props.stuff(drawn, 84, (0.90, 0.86, 0.76)))
    drawn.paint(drawn.disc(x, cross, 9.0), props.stuff(drawn, 85, TAR, roughness=0.3))
    return drawn


TITLE = ("WIND OVER", "THE SLIPWAY")


def title_card() -> Scene:
    """A title on woven cloth, already right for every screen."""
    rig = rig_with_range(WIDTH, HEIGHT, infinity_pct=0.5, convergence_m=3.0)
    ground = canvas((-20, -20, 980, 560), 1.5)
    ground.fill(cloth(ground.facing(250.0), 91, (0.25, 0.37, 0.43), folds=0.05))
    view = ground.view()
    fade = np.hypot((view.s - 480.0) / 700.0, (view.t - 250.0) / 460.0)
    ground.colour[...] = shade(ground.colour, np.asarray(1.12 - 0.5 * fade**2, np.float32))
    letters = canvas((120, 120, 840, 500), 1.5)
    weave = cloth(letters.facing(300.0), 92, CREAM, folds=0.03)
    for text, y, size, weight in (
        (TITLE[0], 240, 66, 0.17),
        (TITLE[1], 345, 66, 0.17),
        ("A DAY AT THE KITE WORKSHOP", 450, 22, 0.13),
    ):
        letters.paint(letters.lettering(text, (480, y), size, weight), weave)
        ground.paint(soft(ground.lettering(text, (486, y + 9), size, weight), 5.0), (0.04, 0.06, 0.08), opacity=0.55)
    emblem = props.kite(54, 70, 93, (RUST, MUSTARD))
    centre = moved(480.0, 112.0)
    ground.paint(
        soft(ground.polygon([(488, 52), (544, 100), (488, 192), (432, 100)]), 6.0), (0.04, 0.06, 0.08), opacity=0.5
    )
    lines = [[(210, 400), (750, 400)]]
    letters.paint(letters.strokes(lines, 3.0), weave)
    surfaces = (
        _standing("cloth", ground, rig, 0.1),
        emblem.surface("kite", rig, facing_at(rig, -0.15), lambda frame: centre),
        _standing("title", letters, rig, -0.3),
    )
    return Scene(surfaces, lambda frame: rig, seed=106)
