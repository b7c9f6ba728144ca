"""Plain test scenes: textured layers, facing or slanted, at any parallax, over a backdrop and a receding floor."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

from postfix.demo.camera import Rig, rig_with_range
from postfix.demo.painting import Canvas, canvas, facing_at
from postfix.demo.scenes import GRAIN_SHARE, Scene
from postfix.demo.surfaces import Surface
from postfix.demo.textures import Array, fractal, mix

_INFINITY_PCT = 12.0
"""Parallax of infinity in these scenes: beyond anything asked for, so that every layer has a depth."""

_HUES = (
    ((0.20, 0.14, 0.10), (0.95, 0.80, 0.58)),
    ((0.08, 0.20, 0.28), (0.70, 0.90, 0.95)),
    ((0.16, 0.20, 0.08), (0.90, 0.92, 0.62)),
    ((0.28, 0.08, 0.10), (0.98, 0.74, 0.66)),
)


@dataclass(frozen=True)
class Layer:
    """One textured layer.

    Attributes
    ----------
    parallax_pct : float
        At the middle of the layer, percent of width.
    box : tuple of 4 floats
        Left, top, right, bottom as shares of the picture, midway between the eyes; below 0 and above 1 reach out of it.
    seed : int
        Of the texture.
    outline : "box" or "disc"
    slant_x_pct, slant_y_pct : float
        Parallax gained from the left to the right and from the top to the bottom of the box.
    """

    parallax_pct: float
    box: tuple[float, float, float, float] = (-0.2, -0.2, 1.2, 1.2)
    seed: int = 0
    outline: Literal["box", "disc"] = "box"
    slant_x_pct: float = 0.0
    slant_y_pct: float = 0.0


def layered_scene(
    width: int,
    height: int,
    layers: Sequence[Layer],
    *,
    ground: tuple[float, float] | None = None,
    grain: float = GRAIN_SHARE,
    seed: int = 0,
) -> Scene:
    """Layers over each other, in the order given (back to front; nearer ones must come later).

    Parameters
    ----------
    width, height : int
        Pixels of each eye.
    layers : sequence of Layer
        The first is usually the backdrop: its standard box reaches beyond the picture on all sides.
    ground : tuple of 2 floats, optional
        A floor in the lower 45 % of the picture, laid directly over the first layer: parallax in percent of width at
        its upper border and at the bottom of the picture.
    """
    rig = rig_with_range(width, height, infinity_pct=_INFINITY_PCT, convergence_m=4.0)
    surfaces = [_layer_surface(rig, layer, seed + i) for i, layer in enumerate(layers)]
    if ground is not None:
        top, bottom = ground
        floor = Layer((top + bottom) / 2.0, (-0.2, 0.55, 1.2, 1.0), seed + 991, slant_y_pct=bottom - top)
        surfaces.insert(1, _layer_surface(rig, floor, seed + 77))
    return Scene(tuple(surfaces), lambda frame: rig, grain=grain, seed=seed)


def _layer_surface(rig: Rig, layer: Layer, number: int) -> Surface:
    left, top, right, bottom = layer.box
    w, h = float(rig.width_px), float(rig.height_px)
    box_px = (left * w - 0.5, top * h - 0.5, right * w - 0.5, bottom * h - 0.5)
    drawn = canvas(box_px, 2.0)
    colour = _speckle(drawn, layer.seed, number)
    if layer.outline == "disc":
        centre = ((box_px[0] + box_px[2]) / 2.0, (box_px[1] + box_px[3]) / 2.0)
        drawn.paint(drawn.disc(*centre, (right - left) * w / 2.0 - 1.0, (bottom - top) * h / 2.0 - 1.0), colour)
    else:
        drawn.fill(colour)
    return drawn.surface(f"layer {number}", rig, _slanted(rig, layer, box_px))


def _slanted(rig: Rig, layer: Layer, box_px: tuple[float, float, float, float]) -> tuple[float, float, float]:
    x0, y0, x1, y1 = box_px
    per_pct = rig.width_px / 100.0 / rig.base_px_m
    slope_x = -layer.slant_x_pct * per_pct / (x1 - x0)
    slope_y = -layer.slant_y_pct * per_pct / (y1 - y0)
    middle = facing_at(rig, layer.parallax_pct)[2]
    return slope_x, slope_y, middle - slope_x * (x0 + x1) / 2.0 - slope_y * (y0 + y1) / 2.0


def _speckle(drawn: Canvas, seed: int, number: int) -> Array:
    noise = fractal(drawn.view(), 1000 + seed * 17 + number, 120.0, 2.0, slope=0.15)
    dark, light = _HUES[number % len(_HUES)]
    return mix(0.5 + 0.2 * noise, dark, light)
