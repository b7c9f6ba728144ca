"""A pair of pinhole cameras with parallel axes, converged by moving the pictures sideways.

World coordinates are metres: x to the right, y down, z along the axes, origin midway between the eyes of a rig that
stands at its zero position. Picture coordinates are pixels with pixel centres on whole numbers. Because the axes are
parallel there is no keystone, and parallax depends on depth alone: ``P = f·B·(1/Zc − 1/Z)`` on the sensor, positive
behind the screen plane at ``Zc``.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
import numpy.typing as npt

Matrix = npt.NDArray[np.float64]
Eye = Literal["left", "right"]

EYE_SIGN: dict[Eye, float] = {"left": -1.0, "right": 1.0}
"""Which way each eye lies from the middle."""


@dataclass(frozen=True)
class Rig:
    """Both cameras at one moment.

    Attributes
    ----------
    width_px, height_px : int
        Size of each eye's picture.
    focal_mm, sensor_width_mm : float
        Lens and the width of sensor that the picture fills.
    interaxial_mm : float
        Distance between the lenses.
    convergence_m : float
        Distance of the plane that lies at the screen.
    shift_x_px, shift_y_px : float
        Lens shift, alike in both eyes: moves the whole picture right and down without turning the cameras.
    position_m : tuple of 3 floats
        Where the rig stands.
    """

    width_px: int
    height_px: int
    focal_mm: float
    sensor_width_mm: float
    interaxial_mm: float
    convergence_m: float
    shift_x_px: float = 0.0
    shift_y_px: float = 0.0
    position_m: tuple[float, float, float] = (0.0, 0.0, 0.0)

    @property
    def focal_px(self) -> float:
        """Focal length in pixels of the picture."""
        return self.focal_mm / self.sensor_width_mm * self.width_px

    @property
    def base_px_m(self) -> float:
        """Focal length in pixels times interaxial in metres: parallax lost per inverse metre of depth."""
        return self.focal_px * self.interaxial_mm / 1000.0

    @property
    def hit_px(self) -> float:
        """Total sideways shift that converges the rig, which is also the parallax of infinity."""
        return self.base_px_m / self.convergence_m

    def parallax_px(self, depth_m: float) -> float:
        """Parallax of a point ``depth_m`` in front of the lenses (``math.inf`` allowed)."""
        return self.hit_px - self.base_px_m / depth_m

    def inverse_depth(self, parallax_pct: float) -> float:
        """1/Z in 1/m of the depth that has this parallax in percent of width."""
        return (self.hit_px - parallax_pct * self.width_px / 100.0) / self.base_px_m

    def middle(self) -> Matrix:
        """Projection (3, 4) of an eye midway between the two: homogeneous world to homogeneous pixels."""
        return self._projection(0.0)

    def projection(self, eye: Eye) -> Matrix:
        """Projection (3, 4) of one eye: homogeneous world coordinates to homogeneous pixels."""
        return self._projection(EYE_SIGN[eye])

    def _projection(self, sign: float) -> Matrix:
        x, y, z = self.position_m
        inner = np.array(
            [
                [self.focal_px, 0.0, (self.width_px - 1) / 2.0 + self.shift_x_px + sign * self.hit_px / 2.0],
                [0.0, self.focal_px, (self.height_px - 1) / 2.0 + self.shift_y_px],
                [0.0, 0.0, 1.0],
            ]
        )
        outer = np.eye(3, 4)
        outer[:, 3] = (-x - sign * self.interaxial_mm / 2000.0, -y, -z)
        return np.asarray(inner @ outer, dtype=np.float64)


def rig_with_range(
    width_px: int,
    height_px: int,
    *,
    infinity_pct: float,
    convergence_m: float,
    focal_mm: float = 28.0,
    sensor_width_mm: float = 24.89,
    shift_y_px: float = 0.0,
) -> Rig:
    """A rig whose interaxial is chosen so that infinity lies at ``infinity_pct`` of width behind the screen.

    The sensor width is that of a Super 35 frame.
    """
    interaxial_mm = infinity_pct / 100.0 * sensor_width_mm * convergence_m * 1000.0 / focal_mm
    return Rig(
        width_px,
        height_px,
        focal_mm,
        sensor_width_mm,
        interaxial_mm,
        convergence_m,
        shift_y_px=shift_y_px,
    )
