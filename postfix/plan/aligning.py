"""Both eyes on common rows: how each picture is turned, sized and shifted so that a known misalignment is gone.

The right eye's picture is taken to be ``R = s · turn(θ)(S) + (0, v)`` about the picture's centre, with S the
picture that would lie straight against the left's, L. Half of the correction goes to each eye, at a common zoom z:

    left  = z · √s · turn(+θ/2)(L)  + z · τ        τ = (v · sin(θ/2), v · cos(θ/2)) / (2 √s)
    right = z / √s · turn(−θ/2)(R)  − z · τ

With that the right picture is ``z · √s · turn(θ/2)(S) + z · τ``, just as the left's is: both agree in every point, and
parallax is that of S against L times ``z · √s · cos(θ/2)``.

All of it is in a space in which pixels are square. In stored pixels whose width over height is a, a turn is
``(x, y) → (cos · x − sin/a · y, sin·a · x + cos · y)`` and τ is 1/a as long across; parallax, which lies across alone,
is stretched by the same.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from postfix.measure.table import ClipInfo
from postfix.plan.model import Misalignment

Array = npt.NDArray[np.float64]

_EDGE_SIGNS = (-1.0, 1.0)


@dataclass(frozen=True)
class EyeTurn:
    """What aligning does to one eye where the common zoom is 1; ``right_px`` and ``down_px`` grow with that zoom.

    ``pixel_aspect`` is that of the pixels that both are counted in.
    """

    zoom: float = 1.0
    turn_deg: float = 0.0
    right_px: float = 0.0
    down_px: float = 0.0
    pixel_aspect: float = 1.0

    @property
    def parts(self) -> tuple[float, float, float]:
        """Of the turn in pixels: its cosine; its sine as heights go across, and as places across go down."""
        cos, sin = math.cos(math.radians(self.turn_deg)), math.sin(math.radians(self.turn_deg))
        return cos, sin / self.pixel_aspect, sin * self.pixel_aspect


def eye_turns(misalignment: Misalignment, pixel_aspect: float) -> tuple[EyeTurn, EyeTurn]:
    """What aligning does to (left, right), in pixels of that width over height; what is not known is left as it is."""
    root = math.sqrt(1.0 + (misalignment.size_pct or 0.0) / 100.0)
    half_deg, vertical = (misalignment.rotation_deg or 0.0) / 2.0, misalignment.vertical_px or 0.0
    half = math.radians(half_deg)
    across, down = (vertical * part / (2.0 * root) for part in (math.sin(half) / pixel_aspect, math.cos(half)))
    aspect = pixel_aspect if half_deg else 1.0
    return EyeTurn(root, half_deg, across, down, aspect), EyeTurn(1.0 / root, -half_deg, -across, -down, aspect)


def depth_stretch(misalignment: Misalignment) -> float:
    """What aligning multiplies the parallax of the straightened pair by where the common zoom is 1, whatever the shape
    of the pixels that it is counted in."""
    left, _ = eye_turns(misalignment, 1.0)
    return left.zoom * math.cos(math.radians(left.turn_deg))


def aligning_zooms(misalignment: Misalignment, clip: ClipInfo, hits_px: npt.ArrayLike, *, sides_too: bool) -> Array:
    """The least common zoom with which an aligned picture that is moved by each HIT covers the frame; (k,).

    Parameters
    ----------
    hits_px : (k,)
        Total HIT, half of it in each eye.
    sides_too : bool
        Whether what HIT itself lays bare at the sides is to be covered as well, or only what aligning does.
    """
    hits = np.atleast_1d(np.asarray(hits_px, dtype=np.float64))
    least = np.ones(hits.shape)
    half_x, half_y = clip.width_px / 2.0, clip.height_px / 2.0
    for eye, sign in zip(eye_turns(misalignment, float(clip.pixel_aspect)), (-1.0, 1.0)):
        cos, sin_across, sin_down = eye.parts
        # Where a corner of the frame lies in the turned source, along each of its axes: it must be inside.
        for corner_x in (-half_x, half_x):
            for corner_y in (-half_y, half_y):
                x = corner_x - (sign * hits / 2.0 if sides_too else np.zeros(hits.shape))
                across, shift_across = cos * x + sin_across * corner_y, cos * eye.right_px + sin_across * eye.down_px
                x = corner_x - sign * hits / 2.0
                down, shift_down = cos * corner_y - sin_down * x, cos * eye.down_px - sin_down * eye.right_px
                for at, shift, reach in (
                    (across, shift_across, half_x + clip.spare_px),
                    (down, shift_down, half_y),
                ):
                    for edge in _EDGE_SIGNS:
                        least = np.maximum(least, edge * at / (eye.zoom * reach + edge * shift))
    return least


def beyond_frame_px(
    misalignment: Misalignment, clip: ClipInfo, zoom: float
) -> tuple[tuple[float, float], tuple[float, float]]:
    """Columns of picture beyond the frame at its left side, (left eye, right eye), and at its right side, before any
    HIT, in the row that has fewest; ``zoom`` is the common one."""
    half_x, half_y = clip.width_px / 2.0, clip.height_px / 2.0
    sides = []
    for edge in _EDGE_SIGNS:
        eyes = []
        for eye in eye_turns(misalignment, float(clip.pixel_aspect)):
            cos, sin_across, _ = eye.parts
            reach = edge * (half_x + clip.spare_px) * eye.zoom * zoom
            rows = (-half_y, half_y)
            at = (eye.right_px * zoom + (reach - sin_across * (row - eye.down_px * zoom)) / cos for row in rows)
            eyes.append(max(min(edge * x - half_x for x in at), 0.0))
        sides.append((eyes[0], eyes[1]))
    return sides[0], sides[1]
