"""Files whose pictures a player turns or mirrors: upright in memory, as they were in the file."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from postfix.source.picture import PictureFormat, Plane, PlaneFormat, Planes

DisplayMatrix = tuple[int, int, int, int, int, int, int, int, int]
"""FFmpeg's nine numbers a b u, c d v, x y w: a point (p, q) of the coded picture is shown at (a p + c q, b p + d q)."""


@dataclass(frozen=True)
class Turn:
    """How a coded picture becomes upright: rows and columns changed places, then mirrored.

    Attributes
    ----------
    swaps : bool
        True for a quarter turn either way.
    mirrors_x, mirrors_y : bool
        Of the upright picture's columns and rows.
    """

    swaps: bool = False
    mirrors_x: bool = False
    mirrors_y: bool = False


UPRIGHT = Turn()


def turn_of(matrix: DisplayMatrix | None) -> Turn | None:
    """The turn that a matrix asks for, whatever its scale; None where it is no whole number of quarter turns."""
    if matrix is None:
        return UPRIGHT
    a, b, c, d = matrix[0], matrix[1], matrix[3], matrix[4]
    if not b and not c and a and d:
        return Turn(False, a < 0, d < 0)
    if not a and not d and b and c:
        return Turn(True, c < 0, b < 0)
    return None


def upright(planes: Planes, turn: Turn) -> Planes:
    """Coded planes as they are shown; the same arrays where nothing turns, else read-only copies."""
    return planes if turn == UPRIGHT else tuple(_turned(plane, turn) for plane in planes)


def as_coded(planes: Planes, turn: Turn) -> Planes:
    """The way back of :func:`upright`; views."""
    if turn == UPRIGHT:
        return planes
    coded = tuple(_mirrored(plane, turn) for plane in planes)
    return tuple(plane.swapaxes(0, 1) for plane in coded) if turn.swaps else coded


def format_turned(fmt: PictureFormat, turn: Turn) -> PictureFormat:
    """The format of upright pictures, from that of the coded ones."""
    if turn == UPRIGHT:
        return fmt
    width, height = (fmt.height, fmt.width) if turn.swaps else (fmt.width, fmt.height)
    return replace(fmt, width=width, height=height, planes=tuple(_plane_turned(plane, turn) for plane in fmt.planes))


def coded_format(fmt: PictureFormat, turn: Turn) -> PictureFormat:
    """Size and planes of the coded pictures, from the format of the upright ones; without their siting."""
    return format_turned(fmt, Turn(swaps=turn.swaps))


def can_turn(fmt: PictureFormat, turn: Turn) -> bool:
    """False where mirroring would tear subsampled chroma from its luma: an odd size along the mirrored way."""
    up = format_turned(fmt, turn)
    return not any(
        (turn.mirrors_x and up.width % plane.step_x) or (turn.mirrors_y and up.height % plane.step_y)
        for plane in up.planes
    )


def _plane_turned(plane: PlaneFormat, turn: Turn) -> PlaneFormat:
    step_x, step_y, left, top = plane.step_x, plane.step_y, plane.left_sited, plane.top_sited
    if turn.swaps:
        step_x, step_y, left, top = step_y, step_x, top, left
    # A sample that sat on the first column of its pair sits on the last one when mirrored; half-way is the nearest
    # that can be said, half a pixel off.
    return replace(
        plane,
        step_x=step_x,
        step_y=step_y,
        left_sited=left and not turn.mirrors_x,
        top_sited=top and not turn.mirrors_y,
    )


def _turned(plane: Plane, turn: Turn) -> Plane:
    turned = np.ascontiguousarray(_mirrored(plane.swapaxes(0, 1) if turn.swaps else plane, turn))
    turned.flags.writeable = False
    return turned


def _mirrored(plane: Plane, turn: Turn) -> Plane:
    return plane[:: -1 if turn.mirrors_y else 1, :: -1 if turn.mirrors_x else 1]
