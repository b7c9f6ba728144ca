"""The film's outdoor shots: the wide beach, the kite that flies out of the picture, and the lane with banners."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import replace

import numpy as np

from postfix.demo import props
from postfix.demo.camera import Matrix, Rig, rig_with_range
from postfix.demo.painting import Canvas, Points, canvas, facing_at, floor_at, moved, soft, wall_at
from postfix.demo.props import CREAM, MUSTARD, NAVY, OAK, RUST, TAR, TEAL
from postfix.demo.scenes import Scene
from postfix.demo.surfaces import Surface
from postfix.demo.textures import Array, Colour, clouds, grass, mix, sand, sea, shade, stones

WIDTH, HEIGHT = 960, 540

Path = Callable[[int], Matrix]

_INFINITE = (0.0, 0.0, 0.0)


def _sky(rig: Rig, box: tuple[float, float, float, float], seed: int, cover: float) -> Surface:
    drawn = canvas(box, 1.3)
    drawn.fill(clouds(drawn.view(), seed, cover=cover, top=(0.38, 0.57, 0.74), bottom=(0.87, 0.89, 0.86)))
    return drawn.surface("sky", rig, _INFINITE)


class _Ground:
    """Level ground ``height_m`` below the camera: where things stand on it."""

    def __init__(self, rig: Rig, height_m: float) -> None:
        self.rig, self.height_m = rig, height_m
        self.plane = floor_at(rig, height_m)

    def foot(self, depth_m: float) -> float:
        """Row where something that far away stands."""
        return float(self.rig.middle()[1, 2] + self.rig.focal_px * self.height_m / depth_m)

    def column(self, x_m: float, depth_m: float) -> float:
        """Column of something ``x_m`` to the right."""
        return float(self.rig.middle()[0, 2] + self.rig.focal_px * x_m / depth_m)

    def scale(self, depth_m: float) -> float:
        """Pixels per metre that far away."""
        return self.rig.focal_px / depth_m

    def at(self, depth_m: float) -> tuple[float, float, float]:
        """1/Z of a plane that faces the camera."""
        return 0.0, 0.0, 1.0 / depth_m


def _shadow(drawn: Canvas, x: float, foot: float, size: float) -> None:
    """A long soft shadow to the right of something that stands at (x, foot)."""
    shape = [
        (x - size * 0.10, foot - 1),
        (x + size * 0.10, foot + 2),
        (x + size * 0.95, foot - size * 0.13),
        (x + size * 0.85, foot - size * 0.17),
    ]
    drawn.paint(soft(drawn.polygon(shape), max(1.2, size * 0.018)), (0.30, 0.24, 0.22), opacity=0.55, inside=True)


_FENCE_M = ((-3.2, 8.0), (-3.35, 9.8), (-3.5, 12.0), (-3.6, 14.8), (-3.75, 18.5), (-3.9, 23.5), (-4.0, 30.0))
_PEOPLE_M: tuple[tuple[float, float, float, Colour, float], ...] = (
    (1.55, 7.4, 1.66, RUST, -1.0),
    (0.2, 11.0, 1.74, TEAL, 1.0),
    (5.6, 16.0, 1.20, MUSTARD, 1.0),
)


def beach(frames: int) -> Scene:
    """A wide beach whose horizon is too far apart for a cinema; a slow pan to the right."""
    rig = rig_with_range(WIDTH, HEIGHT, infinity_pct=1.6, convergence_m=6.0, shift_y_px=-55.0)
    ground = _Ground(rig, 1.82)
    horizon = float(rig.middle()[1, 2])
    backdrop = (
        _sky(rig, (-90, -20, 1050, horizon + 6), 21, 0.42),
        _shore(rig, ground, horizon),
        _headland(horizon).surface("headland", rig, facing_at(rig, 1.5)),
    )
    things = [*_fence(rig, ground), *_people(rig, ground), *_beach_kites(rig)]
    things.sort(key=lambda thing: thing[0], reverse=True)

    def rig_at(frame: int) -> Rig:
        return replace(rig, shift_x_px=50.0 - 100.0 * frame / (frames - 1))

    return Scene((*backdrop, *(surface for _, surface in things)), rig_at, seed=102)


def _fence(rig: Rig, ground: _Ground) -> list[tuple[float, Surface]]:
    posts = []
    for number, (x, depth) in enumerate(_FENCE_M):
        height, width = 1.15 * ground.scale(depth), 0.11 * ground.scale(depth)
        lean = (-1.0) ** number * 0.05 * height
        drawn = props.post(ground.column(x, depth), ground.foot(depth), height, width, 120 + number, lean)
        posts.append((depth, drawn.surface(f"post {number + 1}", rig, ground.at(depth))))
    return posts


def _people(rig: Rig, ground: _Ground) -> list[tuple[float, Surface]]:
    people = []
    for number, (x, depth, tall, coat, reach) in enumerate(_PEOPLE_M):
        column, height = ground.column(x, depth), tall * ground.scale(depth)
        drawn = props.person(column, ground.foot(depth), height, 130 + number, coat, reach=reach)
        people.append((depth, drawn.surface(f"figure {number + 1}", rig, ground.at(depth))))
    return people


def _beach_kites(rig: Rig) -> list[tuple[float, Surface]]:
    kites = (
        ("small", (742, 96), (30, 38), (TEAL, CREAM), 1.15, 14.0),
        ("middle", (184, 104), (52, 66), (MUSTARD, NAVY), 0.6, -10.0),
        ("near", (404, 124), (84, 106), (RUST, CREAM), -0.1, 12.0),
    )
    flying = []
    for number, (name, at, half, colours, parallax_pct, turn) in enumerate(kites):
        path = _flutter(at, turn, 2.0 * number)
        plane = facing_at(rig, parallax_pct)
        drawn = props.kite(*half, 140 + 2 * number, colours)
        ribbon = props.tail(half[1] * 1.5, 150 + number, colours)
        flying.append((1.0 / plane[2], ribbon.surface(f"tail, {name}", rig, plane, _hung(path, half[1]))))
        flying.append((1.0 / plane[2], drawn.surface(f"kite, {name}", rig, plane, path)))
    return flying


def _flutter(at: tuple[float, float], turn_deg: float, phase: float) -> Path:
    """The way of a kite that stands in the wind."""

    def path(frame: int) -> Matrix:
        now = frame / 11.0 + phase
        return moved(at[0] + 9.0 * math.sin(now), at[1] + 5.0 * math.cos(1.3 * now), turn_deg + 3.0 * math.sin(now))

    return path


def _hung(path: Path, down_px: float) -> Path:
    """The way of something that hangs from the lower tip of a kite."""
    return lambda frame: np.asarray(path(frame) @ moved(0.0, down_px), dtype=np.float64)


def _shore(rig: Rig, ground: _Ground, horizon: float) -> Surface:
    drawn = canvas((-90, horizon + 0.5, 1050, 546), 1.4)
    grid, view = drawn.ground(rig, ground.plane), drawn.view()
    dry = sand(grid, view, 22)
    # The water's edge wanders, so that it is no ruler line.
    wander = 6.0 * np.sin(grid.s / 17.0) + 3.0 * np.sin(grid.s / 6.1 + 1.0)
    depth = grid.t + wander
    wet = shade(dry, 0.72)
    body = mix(np.clip((depth - 30.0) / 12.0, 0.0, 1.0), dry, wet)
    water = sea(view, 23)
    body = mix(np.clip((depth - 52.0) / 3.0, 0.0, 1.0), body, water)
    for line, width in ((53.0, 2.5), (66.0, 3.0), (88.0, 5.0)):
        foam = np.exp(-(((depth - line) / width) ** 2))
        body = mix(np.asarray(0.75 * foam, np.float32), body, (0.93, 0.94, 0.92))
    haze = np.clip((grid.t - 60.0) / 900.0, 0.0, 0.45)
    drawn.fill(mix(np.asarray(haze, np.float32), body, (0.72, 0.80, 0.82)))
    for x, depth_m in _FENCE_M:
        _shadow(drawn, ground.column(x, depth_m), ground.foot(depth_m), 1.15 * ground.scale(depth_m))
    for x, depth_m, tall, _, _ in _PEOPLE_M:
        _shadow(drawn, ground.column(x, depth_m), ground.foot(depth_m), tall * ground.scale(depth_m))
    return drawn.surface("beach", rig, ground.plane)


def _headland(horizon: float) -> Canvas:
    drawn = canvas((690, horizon - 64, 1056, horizon + 14), 1.4)
    columns = np.linspace(700, 1054, 60)
    rise = np.clip((columns - 700) / 200.0, 0.0, 1.0) ** 0.7
    tops = horizon + 10 - rise * 52 - 5 * np.sin(columns / 23.0) * rise - 3 * np.sin(columns / 7.0) * rise
    outline = [*zip(columns, tops), (1054, horizon + 10), (700, horizon + 10)]
    rock = stones(drawn.facing(60.0), 24, (0.56, 0.55, 0.52), course=0.12, joint=0.002)
    turf = grass(drawn.facing(60.0), 25)
    share = np.clip((drawn.view().t - horizon + 30.0) / 30.0, 0.0, 1.0)
    drawn.paint(
        drawn.polygon(outline),
        mix(np.asarray(0.25 + 0.2 * share, np.float32), mix(share, turf, rock), (0.66, 0.73, 0.77)),
    )
    return drawn


def flying_kite() -> Scene:
    """A kite that flies out by the right edge in front of the screen, over dunes far behind it."""
    rig = rig_with_range(WIDTH, HEIGHT, infinity_pct=0.3, convergence_m=24.0)
    far = _dune((-30, 392, 990, 560), 31, 30.0, 420.0, 0.35)
    near = _dune((-30, 440, 990, 560), 32, 22.0, 492.0, 0.0)
    small = props.kite(21, 27, 36, (MUSTARD, RUST), 2.0)
    spin = {pct: facing_at(rig, pct) for pct in (0.2, -1.26, -1.3)}
    big, ribbon = props.kite(112, 142, 33, (RUST, CREAM)), props.tail(250, 34, (MUSTARD, TEAL))
    surfaces = (
        _sky(rig, (-30, -20, 990, 470), 35, 0.6),
        small.surface(
            "kite far away", rig, spin[0.2], lambda frame: moved(214 + 1.2 * frame, 108 + 6 * math.sin(frame / 6), -14)
        ),
        far.surface("dunes", rig, facing_at(rig, 0.26)),
        props.person(196, 474, 92, 37, TEAL).surface("figure", rig, facing_at(rig, 0.16)),
        near.surface("grass", rig, facing_at(rig, 0.10)),
        ribbon.surface(
            "tail", rig, spin[-1.26], lambda frame: np.asarray(_flight(frame) @ moved(0, 136, 4 * math.sin(frame / 4)))
        ),
        big.surface("kite", rig, spin[-1.3], _flight),
    )
    return Scene(surfaces, lambda frame: rig, seed=103)


def _flight(frame: int) -> Matrix:
    return moved(592.0 + 12.5 * frame, 226.0 - 16.0 * math.sin(frame / 9.0), 14.0 + 5.0 * math.sin(frame / 5.0))


def _dune(box: tuple[float, float, float, float], seed: int, swing: float, level: float, haze: float) -> Canvas:
    drawn = canvas(box, 1.5)
    columns = np.linspace(box[0], box[2], 200)
    tops = level + swing * 0.5 * np.sin(columns / 170.0 + seed) + swing * 0.2 * np.sin(columns / 61.0)
    tops += np.random.default_rng(seed).uniform(-5.0, 0.0, columns.size)
    outline = [*zip(columns, tops), (box[2], box[3]), (box[0], box[3])]
    blades = grass(drawn.facing(70.0), seed)
    light = 0.80 + 0.25 * np.sin((drawn.view().s + 0.8 * drawn.view().t) / 120.0 + seed)
    body = mix(
        np.full(drawn.cover.shape, haze, np.float32), shade(blades, np.asarray(light, np.float32)), (0.74, 0.78, 0.76)
    )
    drawn.paint(drawn.polygon(outline), body)
    return drawn


_LANE_M = 2.75
_LANE_END_M = 26.0


def lane() -> Scene:
    """A lane to the sea with hanging banners at both edges, in front of the screen, swaying."""
    rig = rig_with_range(WIDTH, HEIGHT, infinity_pct=0.3, convergence_m=6.0, shift_y_px=-34.5)
    ground = _Ground(rig, 1.71)
    horizon = float(rig.middle()[1, 2])
    left = props.banner((-44, -30, 126, 330), 160, (TEAL, CREAM), notch=46)
    right = props.banner((806, -40, 1010, 620), 164, (RUST, CREAM), notch=30)
    walker = props.person(ground.column(0.7, 13.0), ground.foot(13.0), 1.7 * ground.scale(13.0), 170, NAVY)
    surfaces = (
        _sky(rig, (-20, -20, 980, horizon + 6), 61, 0.5),
        _paving(rig, ground, horizon),
        _quay(ground).surface("quay", rig, ground.at(_LANE_END_M)),
        _house_wall(rig, -1.0, 62, (0.66, 0.63, 0.57)),
        _house_wall(rig, 1.0, 63, (0.72, 0.66, 0.56)),
        walker.surface("figure", rig, ground.at(13.0)),
        _bunting(ground).surface("bunting", rig, ground.at(7.2)),
        left.surface("left banner", rig, facing_at(rig, -1.0), lambda frame: _sway(frame, 0.0)),
        right.surface("right banner", rig, facing_at(rig, -1.3), lambda frame: _sway(frame, 1.3)),
    )
    return Scene(surfaces, lambda frame: rig, seed=104)


def _sway(frame: int, phase: float) -> Matrix:
    return moved(0.0, 0.0, 0.0, 0.018 * math.sin(frame / 6.5 + phase))


def _paving(rig: Rig, ground: _Ground, horizon: float) -> Surface:
    drawn = canvas((-20, horizon + 0.5, 980, 546), 1.4)
    grid, view = drawn.ground(rig, ground.plane), drawn.view()
    cobbles = shade(stones(grid, 64, (0.58, 0.56, 0.53), course=0.22, joint=0.014), 0.9)
    grit = sand(grid, view, 65)
    body = mix(np.full(grid.shape, 0.22, np.float32), cobbles, grit)
    wall_side = np.clip((np.abs(grid.s) - 1.4) / 1.4, 0.0, 1.0)
    body = shade(body, np.asarray(1.0 - 0.35 * wall_side, np.float32))
    body = mix(np.clip((grid.t - _LANE_END_M) / 2.0, 0.0, 1.0), body, sea(view, 66))
    drawn.fill(body)
    _shadow(drawn, ground.column(0.7, 13.0), ground.foot(13.0), 1.7 * ground.scale(13.0))
    return drawn.surface("paving", rig, ground.plane)


def _quay(ground: _Ground) -> Canvas:
    top, foot = ground.foot(_LANE_END_M) - 26.0, ground.foot(_LANE_END_M)
    drawn = canvas((350, top - 120, 612, foot + 3), 1.5)
    drawn.paint(
        drawn.polygon([(352, top), (610, top), (610, foot), (352, foot)]),
        stones(drawn.facing(60.0), 67, (0.58, 0.57, 0.55), course=0.16),
    )
    drawn.paint(
        drawn.polygon([(352, top), (610, top), (610, top + 5), (352, top + 5)]),
        props.stuff(drawn, 68, (0.74, 0.72, 0.66)),
    )
    wood = props.lumber(drawn, 69, OAK, 10.0)
    drawn.paint(drawn.strokes([[(456, top + 4), (456, top - 112)]], 4.5), wood)
    sail = [(460, top - 108), (516, top - 24), (460, top - 20)]
    drawn.paint(drawn.polygon(sail), props.fabric(drawn, 70, RUST, folds=0.08))
    drawn.paint(
        drawn.polygon([(452, top - 98), (420, top - 20), (452, top - 18)]), props.fabric(drawn, 71, CREAM, folds=0.08)
    )
    drawn.paint(
        drawn.polygon([(404, top - 14), (534, top - 14), (514, top + 3), (424, top + 3)]),
        props.stuff(drawn, 72, TAR, roughness=0.2),
    )
    return drawn


def _house_wall(rig: Rig, side: float, seed: int, colour: Colour) -> Surface:
    centre_x, centre_y = float(rig.middle()[0, 2]), float(rig.middle()[1, 2])
    plane = wall_at(rig, side * _LANE_M)

    def at(depth_m: float, down_m: float) -> tuple[float, float]:
        scale = rig.focal_px / depth_m
        return centre_x + side * _LANE_M * scale, centre_y + down_m * scale

    def patch(near_m: float, far_m: float, top_m: float, bottom_m: float) -> Points:
        return [at(near_m, top_m), at(far_m, top_m), at(far_m, bottom_m), at(near_m, bottom_m)]

    far_x = at(_LANE_END_M, 0.0)[0]
    box = (far_x - 3, -20.0, 985.0, 560.0) if side > 0.0 else (-26.0, -20.0, far_x + 3, 560.0)
    drawn = canvas(box, 1.4)
    grid = drawn.upright(rig, plane)
    wall = shade(stones(grid, seed, colour), 0.80 if side > 0.0 else 1.0)
    # Two houses in a row, the nearer one taller.
    roof = [at(5.5, -2.5), at(11.6, -2.5), at(11.6, -1.95), at(_LANE_END_M, -1.95)]
    drawn.paint(drawn.polygon([*roof, at(_LANE_END_M, 1.71), at(5.5, 1.71)]), wall)
    openings: tuple[tuple[float, float, float, float, Colour], ...] = (
        (7.6, 8.8, -1.2, 0.1, NAVY),
        (9.8, 10.9, -0.45, 1.71, TEAL if side > 0.0 else RUST),
        (12.4, 13.8, -1.2, 0.1, NAVY),
        (16.0, 17.4, -0.45, 1.71, OAK),
        (19.5, 21.5, -1.2, 0.1, NAVY),
    )
    for number, (near, far, top, bottom, paint) in enumerate(openings):
        trim: Array = props.stuff(drawn, seed + 10 + number, CREAM)
        drawn.paint(drawn.polygon(patch(near - 0.13, far + 0.13, top - 0.13, bottom)), shade(trim, 0.9), inside=True)
        drawn.paint(
            drawn.polygon(patch(near, far, top, bottom)),
            props.lumber(drawn, seed + 20 + number, paint, 12.0),
            inside=True,
        )
    return drawn.surface("left houses" if side < 0.0 else "right houses", rig, plane)


def _bunting(ground: _Ground) -> Canvas:
    left, right = ground.column(-2.7, 7.2), ground.column(2.7, 7.2)
    drawn = canvas((left, 0, right, 150), 1.5)
    along = np.linspace(0.0, 1.0, 120)
    xs, ys = left + 2 + (right - left - 4) * along, 26.0 + 84.0 * 4.0 * along * (1.0 - along)
    drawn.paint(drawn.strokes([list(zip(xs, ys))], 2.2), (0.22, 0.20, 0.19))
    colours = (RUST, CREAM, TEAL, MUSTARD)
    cloths = [props.fabric(drawn, 180 + i, colour) for i, colour in enumerate(colours)]
    for number, start in enumerate(range(4, 112, 6)):
        a, b = start, start + 4
        tip = ((xs[a] + xs[b]) / 2 + 5.0, (ys[a] + ys[b]) / 2 + 30.0)
        drawn.paint(drawn.polygon([(xs[a], ys[a]), (xs[b], ys[b]), tip]), cloths[number % 4])
    return drawn
