"""Bars about a picture that is drawn anew: they ride along with it, and stay exact black with a clean edge.

A kernel that saw the step from the picture to its bar would leave ripples on both sides of it. So the picture is
continued into the bars before it is drawn, and the bars are laid over it again afterwards, where it went.
"""

from __future__ import annotations

from dataclasses import replace
from math import cos, radians, sin, tan

from postfix.plan.placement import Placement
from postfix.render.veils import SideEdge, hidden
from postfix.source.framed import Bars
from postfix.source.picture import PictureFormat, Plane, PlaneFormat, Planes

_REACH_SAMPLES = 32
"""Further than a kernel reaches from a place in the picture that shows beside the bar."""


def unbarred(planes: Planes, fmt: PictureFormat, bars: Bars) -> Planes:
    """Copies of planes in which the picture's outermost samples go on into the bars, as far as a kernel reaches."""
    return tuple(_continued(plane, info, bars) for plane, info in zip(planes, fmt.planes))


def _continued(plane: Plane, info: PlaneFormat, bars: Bars) -> Plane:
    out = plane.copy()
    across = (bars.left_px, bars.right_px, info.step_x, out.swapaxes(0, 1))
    down = (bars.top_px, bars.bottom_px, info.step_y, out)
    for before_px, after_px, step, lines in (across, down):
        # A sample that serves a bar's pixel is the bar's.
        first, last = -(-before_px // step), lines.shape[0] - 1 - -(-after_px // step)
        if first > last:
            continue
        lines[max(first - _REACH_SAMPLES, 0) : first] = lines[first]
        lines[last + 1 : last + 1 + _REACH_SAMPLES] = lines[last]
    return out


def barred(planes: Planes, fmt: PictureFormat, placement: Placement, bars: Bars) -> Planes:
    """Planes, written in place, with the bars laid over a picture that was drawn anew by a placement."""
    left, right = _lines(fmt.width, fmt.height, placement, bars.left_px, bars.right_px, placement.right_px, 1.0)
    planes = hidden(planes, fmt, left, right, owned=True)
    # Top and bottom are left and right of the picture mirrored about its diagonal, where it turns the other way.
    top, bottom = _lines(fmt.height, fmt.width, placement, bars.top_px, bars.bottom_px, placement.down_px, -1.0)
    hidden(tuple(plane.swapaxes(0, 1) for plane in planes), _mirrored(fmt), top, bottom, owned=True)
    return planes


def _mirrored(fmt: PictureFormat) -> PictureFormat:
    planes = tuple(replace(plane, step_x=plane.step_y, step_y=plane.step_x) for plane in fmt.planes)
    return replace(fmt, width=fmt.height, height=fmt.width, planes=planes)


def _lines(
    width: int, height: int, placement: Placement, before_px: int, after_px: int, along_px: float, sense: float
) -> tuple[SideEdge, SideEdge]:
    """Where the inner edges of two bars that face each other went, as edges of a frame ``width`` by ``height``.

    ``along_px`` is the move across the bars, and ``sense`` −1 where a turn goes the other way.
    """
    turn = radians(placement.turn_deg) * sense
    # A turn as seen: an edge leans by tan/a and goes along it by sin·a, where a is how wide pixels are to their height.
    aspect = placement.pixel_aspect if sense > 0.0 else 1.0 / placement.pixel_aspect
    across_px = placement.down_px if sense > 0.0 else placement.right_px
    edges = []
    for bar_px, side in ((before_px, -1.0), (after_px, 1.0)):
        if not bar_px:
            edges.append(SideEdge())
            continue
        # The edge's own middle, and from there along the turned edge to the frame's ends.
        from_centre = placement.zoom * side * (width / 2.0 - bar_px)
        x, y = from_centre * cos(turn) + along_px, from_centre * sin(turn) * aspect + across_px
        ends = [x - tan(turn) / aspect * (end - y) for end in (-height / 2.0, height / 2.0)]
        hides = [width / 2.0 - side * end for end in ends]
        edges.append(SideEdge((hides[0], hides[1])))
    return edges[0], edges[1]
