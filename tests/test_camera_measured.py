"""Real distances and roundness from pictures of a set whose every distance is known (computed): what a person gets who
notes the camera and has the shot measured."""

import math
from dataclasses import dataclass, replace

import numpy as np
import pytest
from real_pairs import PERCENTILES, motorcycle, seen_by_both
from test_camera import seen_at

from postfix.camera import Camera
from postfix.demo.camera import Rig
from postfix.demo.painting import canvas
from postfix.demo.scenes import Scene
from postfix.demo.textures import fractal, mix
from postfix.limits import limits_for
from postfix.measure import measure_pair
from postfix.plan.settings import StorySettings
from postfix.story.filmed import filmed, filmed_notices
from postfix.viewing import BUILTIN_SCREENS, Screen

HUES = (
    ((0.20, 0.14, 0.10), (0.95, 0.80, 0.58)),
    ((0.08, 0.20, 0.28), (0.70, 0.90, 0.95)),
    ((0.16, 0.20, 0.08), (0.90, 0.92, 0.62)),
)
BOARDS = ((-0.2, -0.2, 1.2, 1.2), (0.14, -0.2, 0.90, 0.80), (0.30, 0.52, 0.62, 1.2))
"""Backdrop, the large board that the middle of all parallax falls on, and the small one in front of it: left, top,
right and bottom as shares of the picture, midway between the eyes."""

DISTANCE_SHARE, ROUNDNESS_SHARE = 0.02, 0.03


@dataclass(frozen=True)
class Take:
    """A set of three boards and the camera before it; distances in metres, the rest in millimetres."""

    interaxial_mm: float
    focal_mm: float
    sensor_width_mm: float
    convergence_m: float
    distances_m: tuple[float, float, float]
    size_px: tuple[int, int] = (960, 540)
    seed: int = 0

    @property
    def camera(self):
        return Camera(self.interaxial_mm, self.focal_mm, self.sensor_width_mm, self.convergence_m * 1000)

    @property
    def pct_of(self):
        """Percent of width of which a distance is worth 2 % at the far board: how fine the measurement must be."""
        base_pct_m = self.focal_mm * self.interaxial_mm / self.sensor_width_mm / 10
        return base_pct_m * DISTANCE_SHARE / self.distances_m[2]

    def __str__(self):
        near, main, far = self.distances_m
        return (
            f"B {self.interaxial_mm:g} f {self.focal_mm:g} on {self.sensor_width_mm:g} mm at {self.convergence_m:g} m, "
            f"{near:g}, {main:g}, {far:g} m, {self.size_px[0]}x{self.size_px[1]}"
        )


def pictures(take):
    """Both eyes of a take, (H, W, 3) float32, 0 to 1."""
    width, height = take.size_px
    rig = Rig(width, height, take.focal_mm, take.sensor_width_mm, take.interaxial_mm, take.convergence_m)
    surfaces = []
    for number, (box, distance) in enumerate(zip(BOARDS, reversed(take.distances_m))):
        drawn = canvas(tuple(share * (width, height)[i % 2] - 0.5 for i, share in enumerate(box)), 2.0)
        noise = fractal(drawn.view(), 4000 + take.seed * 31 + number, 120.0, 2.0, slope=0.15)
        drawn.fill(mix(0.5 + 0.2 * noise, *HUES[number]))
        surfaces.append(drawn.surface(f"board {number}", rig, (0.0, 0.0, 1.0 / distance)))
    scene = Scene(tuple(surfaces), lambda frame: rig, seed=take.seed)
    return tuple(np.asarray(eye, np.float32) for eye in scene.render(0))


def told_of(take, screen):
    """What is told of a take as it is measured, and near, main and far of the measurement, percent of width."""
    found = measure_pair(*pictures(take))
    source = (found.near_pct, found.median_pct, found.far_pct)
    return told_from(take, screen, source), source


def told_from(take, screen, source_pct, moved_pct=0.0):
    """What is told of a measurement on a screen, where the pictures get a HIT of ``moved_pct``."""
    after = tuple(pct + moved_pct for pct in source_pct)
    return filmed(take.camera, *source_pct, screen, limits_for(screen), after)


def real_roundness(take, screen, moved_pct, distance_m):
    """Depth against width of a small box there, from where both eyes' rays through its pictures meet."""
    real, half = distance_m * 1000, distance_m
    left, right, front, back = (
        seen_at(take.camera, screen, point, moved_pct, 1.0)
        for point in ((-half, 0, real), (half, 0, real), (0, 0, real - half), (0, 0, real + half))
    )
    return (back - front)[2] / (right - left)[0]


TAKES = (
    Take(65, 35, 24.89, 3.0, (1.8, 3.5, 10.0), (1920, 1080)),
    Take(65, 35, 24.89, 5.0, (3.0, 5.0, 10.0), seed=1),
    Take(40, 25, 24.89, 2.5, (1.2, 2.0, 6.0), (1280, 720), 2),
    Take(100, 50, 36.0, 6.0, (4.0, 7.0, 10.0), (1280, 720), 3),
    Take(12, 18, 13.2, 0.8, (0.5, 0.9, 1.6), seed=4),
    Take(65, 35, 24.89, math.inf, (2.5, 4.0, 9.0), seed=5),
    Take(250, 35, 36.0, 9.0, (8.0, 9.0, 10.0), (1280, 720), 6),
)


SCREENS = (
    BUILTIN_SCREENS["tv-55in"],
    BUILTIN_SCREENS["cinema-6m"],
    Screen("hand", 237.0, 400.0, 50.0),
)


@pytest.fixture(scope="module", params=TAKES, ids=str)
def measured(request):
    """A take and what was measured of it."""
    return request.param, told_of(request.param, SCREENS[0])[1]


def test_distances_of_a_measured_set(measured):
    take, source = measured
    told = told_from(take, SCREENS[0], source)
    found = np.array([told.near_mm, told.main_mm, told.far_mm]) / 1000
    assert found == pytest.approx(take.distances_m, rel=DISTANCE_SHARE)


def test_distances_of_a_measured_set_whose_convergence_was_not_noted(measured):
    take, source = measured
    noted = replace(take.camera, convergence_mm=None, near_mm=take.distances_m[0] * 1000)
    told = filmed(noted, *source, SCREENS[0], limits_for(SCREENS[0]), source)
    found = np.array([told.near_mm, told.main_mm, told.far_mm]) / 1000
    assert found == pytest.approx(take.distances_m, rel=DISTANCE_SHARE)


@pytest.mark.parametrize("moved_pct", [0.0, -0.4])
def test_roundness_of_a_measured_set(measured, moved_pct):
    take, source = measured
    for screen in SCREENS:
        told = told_from(take, screen, source, moved_pct)
        for word, found, distance in zip(
            ("near", "main"), (told.near_roundness, told.main_roundness), take.distances_m
        ):
            true = real_roundness(take, screen, moved_pct, distance)
            assert found == pytest.approx(true, rel=ROUNDNESS_SHARE), (screen.name, word)


def test_a_measured_set_agrees_with_its_camera_and_not_with_another(measured):
    take, source = measured
    near, _, far = (metres * 1000 for metres in take.distances_m)
    noted = replace(take.camera, near_mm=near, far_mm=far)

    def codes(camera):
        told = filmed(camera, *source, SCREENS[0], limits_for(SCREENS[0]), source)
        return {notice.code for notice in filmed_notices(camera, told, StorySettings(), source)}

    assert "camera" not in codes(noted)
    assert "camera" in codes(replace(noted, interaxial_mm=2.0 * take.interaxial_mm))


# --- a photographed set whose camera was noted ---

MOTORCYCLE_MM, MOTORCYCLE_FOCAL_PX, MOTORCYCLE_OFFSET_PX = 193.001, 994.978, 31.086
"""Baseline, focal length and distance between the principal points of the pair at the size that scikit-image carries it
(its docstring of ``stereo_motorcycle``, read)."""


def photographed():
    """The camera in the words of the project, what was measured, and the true distances of near, main and far in mm.

    A parallel rig whose pictures are shifted: what lies at no parallax is as far as the principal points are apart,
    Z = B·f / (offset − P) (computed from what the docstring says of disparity). The width of the sensor is not told
    and does not matter: the focal length is in pixels.
    """
    left, right, parallax = motorcycle()
    width = left.shape[1]
    constant = MOTORCYCLE_MM * MOTORCYCLE_FOCAL_PX
    camera = Camera(MOTORCYCLE_MM, MOTORCYCLE_FOCAL_PX * 36.0 / width, 36.0, constant / MOTORCYCLE_OFFSET_PX)
    found = measure_pair(np.asarray(left, np.float32) / 255, np.asarray(right, np.float32) / 255)
    truth = constant / (MOTORCYCLE_OFFSET_PX - np.percentile(parallax[seen_by_both(parallax)], PERCENTILES))
    return camera, (found.near_pct, found.median_pct, found.far_pct), truth


def test_distances_of_a_photographed_set_are_those_of_its_calibration():
    """Middlebury 2014 "Motorcycle", measured with structured light from 2 to 5 m."""
    camera, source, truth = photographed()
    told = filmed(camera, *source, SCREENS[0], limits_for(SCREENS[0]), source)
    assert (told.near_mm, told.main_mm, told.far_mm) == pytest.approx(truth, rel=DISTANCE_SHARE)
    noted = replace(camera, near_mm=float(truth[0]), far_mm=float(truth[2]))
    for noted_camera, agrees in ((noted, True), (replace(noted, interaxial_mm=65.0), False)):
        told = filmed(noted_camera, *source, SCREENS[0], limits_for(SCREENS[0]), source)
        notices = filmed_notices(noted_camera, told, StorySettings(), source)
        assert ("camera" not in {notice.code for notice in notices}) == agrees
