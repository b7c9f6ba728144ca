"""Flat textured surfaces in space: how they are placed, drawn into an eye, and how far they are at every pixel.

A surface is a texture and a (4, 3) matrix that takes homogeneous texture coordinates to homogeneous world coordinates.
That one form holds boards facing the camera, floors and walls that recede, and the sky, whose points lie at infinity
(last coordinate 0). Along any plane 1/Z is linear in picture coordinates, so parallax is too, and is known exactly.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import cv2
import numpy as np
import numpy.typing as npt

from postfix.demo.camera import Eye, Matrix, Rig

Texture = npt.NDArray[np.uint16]
Box = tuple[int, int, int, int]
"""Columns and rows of the picture as (x0, y0, x1, y1), ends excluded."""

OPAQUE = 65535.0


@dataclass(frozen=True)
class Surface:
    """One flat thing.

    Attributes
    ----------
    name : str
    texture : ndarray, (rows, columns, 4) uint16
        RGB already multiplied by coverage, and coverage, full scale. Outside it the surface is not there.
    place : callable
        Frame number to the (4, 3) matrix from texture to world coordinates.
    """

    name: str
    texture: Texture
    place: Callable[[int], Matrix]


def still(matrix: Matrix) -> Callable[[int], Matrix]:
    """A surface that does not move."""
    return lambda frame: matrix


def on_plane(rig: Rig, inverse_depth: tuple[float, float, float], picture_from_texture: Matrix) -> Matrix:
    """Place a texture where it is seen, midway between the eyes, on a plane of known depth.

    Parameters
    ----------
    rig : Rig
        The view in which the texture was drawn.
    inverse_depth : tuple of 3 floats
        1/Z in 1/m as ``a·x + b·y + c`` of picture pixels.
    picture_from_texture : ndarray, (3, 3)
        Texture pixels to picture pixels.

    Returns
    -------
    ndarray, (4, 3) float64
        From texture to world coordinates.
    """
    middle = rig.middle()
    rays = np.linalg.inv(middle[:, :3])
    # A ray through pixel p meets the plane at rays·p / (1/Z), seen from the rig; the rig's own position comes on top.
    world = np.vstack([rays, np.array(inverse_depth)])
    world[:3] += np.outer(np.array(rig.position_m), world[3])
    return np.asarray(world @ picture_from_texture, dtype=np.float64)


@dataclass(frozen=True)
class Placed:
    """A surface as one eye sees it in one frame.

    Attributes
    ----------
    texture_from_picture : ndarray, (3, 3)
        Picture pixels to texture pixels.
    parallax_row : ndarray, (3,)
        Parallax in pixels as ``a·x + b·y + c`` of this eye's picture pixels.
    inverse_depth_row : ndarray, (3,)
        1/Z in 1/m, likewise.
    box : Box
        Part of the picture it may cover; empty when x0 ≥ x1 or y0 ≥ y1.
    """

    surface: Surface
    texture_from_picture: Matrix
    parallax_row: Matrix
    inverse_depth_row: Matrix
    box: Box


def see(surface: Surface, rig: Rig, eye: Eye, frame: int) -> Placed:
    """Work out where a surface lies in an eye's picture."""
    world = surface.place(frame)
    forward = rig.projection(eye) @ world
    back = np.asarray(np.linalg.inv(forward), np.float64)
    inverse_depth_row: Matrix = np.asarray(world[3] @ back, np.float64)
    parallax_row: Matrix = np.asarray(-rig.base_px_m * inverse_depth_row, np.float64)
    parallax_row[2] += rig.hit_px
    return Placed(surface, back, parallax_row, inverse_depth_row, _covered(forward, surface.texture, rig))


def _covered(forward: Matrix, texture: Texture, rig: Rig) -> Box:
    rows, columns = texture.shape[:2]
    corners = np.array([[-1, -1, 1], [columns, -1, 1], [-1, rows, 1], [columns, rows, 1]], dtype=np.float64).T
    seen = forward @ corners
    if np.any(seen[2] <= 0.0):  # part of it is behind the lens: its corners say nothing about what it covers
        return 0, 0, rig.width_px, rig.height_px
    xs, ys = seen[0] / seen[2], seen[1] / seen[2]
    limits = np.array([rig.width_px, rig.height_px])
    low = np.clip(np.floor([xs.min(), ys.min()]), 0, limits).astype(int)
    high = np.clip(np.ceil([xs.max(), ys.max()]) + 1, 0, limits).astype(int)
    return int(low[0]), int(low[1]), int(high[0]), int(high[1])


def is_empty(box: Box) -> bool:
    """Whether a box covers no pixel."""
    return box[0] >= box[2] or box[1] >= box[3]


def sample(texture: npt.NDArray[np.uint16], texture_from_picture: Matrix, box: Box) -> npt.NDArray[np.uint16]:
    """The texture as it appears in a box of the picture, (rows, columns[, channels]) uint16; 0 outside the texture."""
    x0, y0, x1, y1 = box
    corner = np.array([[1.0, 0.0, x0], [0.0, 1.0, y0], [0.0, 0.0, 1.0]])
    seen = cv2.warpPerspective(
        texture,
        texture_from_picture @ corner,
        (x1 - x0, y1 - y0),
        flags=cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP,
        borderMode=cv2.BORDER_CONSTANT,
        borderValue=(0, 0, 0, 0),
    )
    return np.asarray(seen, dtype=np.uint16)


def linear(row: Matrix, box: Box) -> npt.NDArray[np.float64]:
    """``a·x + b·y + c`` at every pixel of a box, (rows, columns) float64."""
    x0, y0, x1, y1 = box
    xs = np.arange(x0, x1, dtype=np.float64)
    ys = np.arange(y0, y1, dtype=np.float64)
    return np.asarray(row[0] * xs[None, :] + row[1] * ys[:, None] + row[2], dtype=np.float64)
