"""Geometry of two cameras against published and independently computed figures, and what it never may say."""

import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from postfix import camera, viewing
from postfix.camera import Camera, converged_by, distance_of, parallax_pct, roundness, vertical_parallax_mm
from postfix.viewing import Screen

PLAIN = Camera(interaxial_mm=65.0, focal_mm=35.0, sensor_width_mm=24.89, convergence_mm=3000.0)
CAMERAS = [
    PLAIN,
    replace(PLAIN, convergence_mm=math.inf),
    replace(PLAIN, interaxial_mm=12.0, focal_mm=18.0, sensor_width_mm=13.2, convergence_mm=600.0),
    replace(PLAIN, rig="toed-in"),
    replace(PLAIN, rig="toed-in", interaxial_mm=300.0, focal_mm=85.0, convergence_mm=2500.0),
]

WIDE = Camera(13.2, 18.0, 24.89, 1500.0, "toed-in")
"""A wide lens on cameras that are turned in much."""


# Pinhole camera, P = f·B·(1/Zc − 1/Z) (from memory): f 35 mm, B 65 mm, Zc 3 m, sensor 24.89 mm and 2048 px wide
# (computed).
@pytest.mark.parametrize(("point_mm", "px"), [(math.inf, 62.397), (1500.0, -62.397), (3000.0, 0.0)])
def test_parallax_of_a_shot_from_its_interaxial(point_mm, px):
    pct = camera.sensor_parallax_pct(35.0, 65.0, 3000.0, point_mm, 24.89)
    assert viewing.px_from_pct(pct, 2048) == pytest.approx(px, abs=5e-4)
    assert viewing.px_from_pct(parallax_pct(PLAIN, point_mm), 2048) == pytest.approx(px, abs=5e-4)


def test_the_whole_hit_is_the_parallax_of_infinity():
    # f·B/Zc of 2048 px, as above (computed): 62.397 px.
    assert viewing.px_from_pct(camera.infinity_pct(PLAIN), 2048) == pytest.approx(62.397, abs=5e-4)
    assert camera.infinity_pct(replace(PLAIN, convergence_mm=math.inf)) == 0.0


def test_a_hit_moves_near_and_infinity_alike():
    # Trade course notes (read): the left picture 1 % to the left takes infinity from 0 to +1 %, near from −2 to −1 %.
    unshifted = replace(PLAIN, convergence_mm=math.inf)
    near_mm = distance_of(unshifted, -2.0).mm
    shifted = converged_by(replace(PLAIN, convergence_mm=None), math.inf, 1.0)
    assert parallax_pct(shifted, math.inf) == pytest.approx(1.0)
    assert parallax_pct(shifted, near_mm) == pytest.approx(-1.0)


@pytest.mark.parametrize("room_pct", [1.5, 3.0, 8.0])
def test_a_shot_taken_with_the_fitting_share_of_its_interaxial_fills_the_room(room_pct):
    def range_pct(interaxial_mm):
        near, far = (camera.sensor_parallax_pct(35.0, interaxial_mm, 3000.0, z, 24.89) for z in (1500.0, 40_000.0))
        return far - near

    share = camera.fitting_interaxial_share(range_pct(65.0), room_pct)
    assert range_pct(share * 65.0) == pytest.approx(room_pct)


def test_a_shot_without_range_has_no_fitting_interaxial():
    for none in (0.0, math.nan):
        assert math.isnan(camera.fitting_interaxial_share(none, 2.0))
    assert camera.fitting_interaxial_share(2.0, 3.0) == 1.5


# An independent construction: cameras as matrices, points through them, rays back. It shares nothing with the module.


def eye_of(shot, side):
    """Projection (3, 4) of one camera to millimetres on its sensor; ``side`` −1 is left. x right, y down, z ahead."""
    base, focal, converged = shot.interaxial_mm, shot.focal_mm, shot.convergence_mm
    turn = math.atan(base / 2 / converged) if shot.rig == "toed-in" else 0.0
    shift = focal * base / 2 / converged if shot.rig == "parallel" else 0.0
    # The left camera turns to the right; a parallel pair is shifted, so that its plane of convergence comes together.
    across = np.array([math.cos(turn), 0.0, side * math.sin(turn)])
    ahead = np.array([-side * math.sin(turn), 0.0, math.cos(turn)])
    towards = np.stack([across, [0.0, 1.0, 0.0], ahead])
    at = np.array([side * base / 2, 0.0, 0.0])
    inner = np.array([[focal, 0.0, side * shift], [0.0, focal, 0.0], [0.0, 0.0, 1.0]])
    return inner @ np.column_stack([towards, -towards @ at])


def on_sensors(shot, point):
    """Where both eyes see a point, ((x, y) left, (x, y) right) in mm; w is 0 in ``point`` (4,) for infinity."""
    seen = [eye_of(shot, side) @ np.asarray(point, float) for side in (-1.0, 1.0)]
    return [one[:2] / one[2] for one in seen]


@pytest.mark.parametrize("shot", CAMERAS)
@pytest.mark.parametrize("distance_mm", [900.0, 3000.0, 25_000.0, math.inf])
def test_parallax_is_that_of_two_pinhole_cameras(shot, distance_mm):
    point = [0, 0, 1, 0] if math.isinf(distance_mm) else [0, 0, distance_mm, 1]
    left, right = on_sensors(shot, point)
    assert parallax_pct(shot, distance_mm) == pytest.approx((right[0] - left[0]) * 100 / shot.sensor_width_mm, abs=1e-9)


@pytest.mark.parametrize("shot", CAMERAS)
@pytest.mark.parametrize("distance_mm", [150.0, 900.0, 3000.0, 10_000.0, 30_000.0])
def test_the_distance_of_a_parallax_is_the_one_it_was_shot_from(shot, distance_mm):
    found = distance_of(shot, parallax_pct(shot, distance_mm))
    assert found.mm == pytest.approx(distance_mm, rel=1e-9)
    assert not found.why
    assert not found.is_infinite


@pytest.mark.parametrize("shot", CAMERAS)
def test_the_parallax_of_infinity_and_more_has_no_distance(shot):
    most = camera.infinity_pct(shot)
    for pct in (most - 0.9 * camera.INFINITY_TOLERANCE_PCT, most, most + 0.01, most + 3.0):
        found = distance_of(shot, pct)
        assert (found.mm, found.is_infinite) == (None, True)
        assert "infinity" in found.why
    assert distance_of(shot, most - 1.1 * camera.INFINITY_TOLERANCE_PCT).mm > 0.0


def test_more_than_infinity_is_told_apart_from_infinity():
    assert "more than infinity" in distance_of(PLAIN, camera.infinity_pct(PLAIN) + 0.5).why
    assert "more than" not in distance_of(PLAIN, camera.infinity_pct(PLAIN)).why


def test_what_would_be_nearer_than_the_focal_length_has_no_distance():
    for shot in CAMERAS:
        found = distance_of(shot, -1e7)
        assert (found.mm, found.is_infinite) == (None, False)
        assert "focal length" in found.why


def test_what_is_missing_is_named_in_plain_words():
    assert camera.missing(PLAIN) == ()
    assert camera.missing(Camera()) == ("interaxial", "focal length", "sensor width", "convergence distance")
    assert camera.missing(replace(PLAIN, convergence_mm=None, near_mm=900.0)) == ("convergence distance",)
    # What cannot be counts as missing, so that nothing is reckoned with it.
    broken = replace(PLAIN, interaxial_mm=-65.0, focal_mm=0.0, sensor_width_mm=math.nan)
    assert camera.missing(broken) == ("interaxial", "focal length", "sensor width")
    found = distance_of(Camera(interaxial_mm=65.0), 0.3)
    assert (found.mm, found.is_infinite) == (None, False)
    assert found.why == "not known without the focal length, sensor width and convergence distance"
    assert distance_of(PLAIN, math.nan).why == "nothing was measured"


@pytest.mark.parametrize("shot", CAMERAS)
@pytest.mark.parametrize("known_mm", [800.0, 6000.0, math.inf])
def test_convergence_follows_from_one_known_distance(shot, known_mm):
    unknown = replace(shot, convergence_mm=None)
    found = converged_by(unknown, known_mm, parallax_pct(shot, known_mm))
    assert found.convergence_mm == pytest.approx(shot.convergence_mm, rel=1e-9)
    assert replace(found, convergence_mm=None) == unknown


def test_convergence_that_was_noted_or_cannot_be_known_stays():
    assert converged_by(PLAIN, 1000.0, -3.0) is PLAIN
    for unknown in (Camera(interaxial_mm=65.0), replace(PLAIN, convergence_mm=None, focal_mm=None)):
        assert converged_by(unknown, 1000.0, -1.0) is unknown
    open_ = replace(PLAIN, convergence_mm=None)
    for known_mm, pct in ((0.0, 1.0), (-5.0, 1.0), (math.nan, 1.0), (1000.0, math.nan), (math.inf, -1.0)):
        assert converged_by(open_, known_mm, pct) is open_


def across(shot, distance_mm, count=1201):
    """Parallax in percent of what both eyes have in their picture at one depth, from side to side, by ray tracing."""
    point = 1.0 if math.isfinite(distance_mm) else 0.0
    depth = distance_mm if point else 1.0
    half = shot.sensor_width_mm / 2
    reach = 1.2 * half / shot.focal_mm * depth + shot.interaxial_mm * point
    found = []
    for aside in np.linspace(-reach, reach, count):
        (left, _), (right, _) = on_sensors(shot, [aside, 0.0, depth, point])
        if abs(left) <= half and abs(right) <= half:
            found.append((right - left) * 100.0 / shot.sensor_width_mm)
    return min(found), max(found)


@pytest.mark.parametrize("distance_mm", [1000.0, 1500.0, 10_000.0, math.inf])
@pytest.mark.parametrize("shot", [WIDE, *CAMERAS])
def test_most_parallax_of_a_depth_is_that_of_rays_to_its_sides(shot, distance_mm):
    least, most = across(shot, distance_mm, 4001)
    middle, sides = camera.parallax_pct(shot, distance_mm), camera.side_parallax_pct(shot, distance_mm)
    assert middle == pytest.approx(least, abs=1e-4)
    assert sides >= most - 1e-9
    assert sides == pytest.approx(most, abs=2e-3 * max(1.0, abs(sides - middle)))
    assert camera.nearest_with(shot, sides) == (
        None if math.isinf(distance_mm) or abs(sides - camera.side_parallax_pct(shot, math.inf)) < 0.02
        else pytest.approx(distance_mm)
    )  # fmt: skip


def test_toed_in_cameras_give_the_sides_more_as_a_ray_tracer_says():
    # 18 mm lens on 24.89 mm, 13.2 mm, converged at 1.5 m: +0.84 % at the sides of what is 10 m away, +0.54 % in its
    # middle (rays, computed).
    assert parallax_pct(WIDE, 10_000.0) == pytest.approx(0.541, abs=5e-4)
    assert camera.side_parallax_pct(WIDE, 10_000.0) == pytest.approx(0.840, abs=5e-4)
    assert camera.side_parallax_pct(replace(WIDE, rig="parallel"), 10_000.0) == parallax_pct(
        replace(WIDE, rig="parallel"), 10_000.0
    )
    assert camera.side_parallax_pct(replace(WIDE, focal_mm=None), 10_000.0) is None


def test_vertical_parallax_of_woods_example():
    # Woods, Docherty and Koch 1993, Proc. SPIE 1915, section 2.5 (read, quoted by the author): toed-in, f 3.5 mm,
    # C 1 m, base 75 mm give 8.2 mm on the display. What the display and the sensor were was not seen: a half-inch
    # sensor of 6.4 × 4.8 mm and a picture 300 mm wide are from memory. With them a point on the plane of convergence
    # that one eye sees in the outer corner of its picture comes to 8.28 mm (computed apart). The same corner's point
    # of the inner side gives 7.22 mm and a corner of the middle view 7.71 mm, so that this is the reading that fits
    # best; sensors 6.35 to 6.5 mm wide give 8.21 to 8.42 mm. Hence 2 %.
    shot = Camera(75.0, 3.5, 6.4, 1000.0, "toed-in")
    assert vertical_parallax_mm(shot, 4.8) == pytest.approx(0.17669, abs=1e-5)
    assert vertical_parallax_mm(shot, 4.8, display_width_mm=300.0) == pytest.approx(8.2, rel=0.02)


@pytest.mark.parametrize("distance_mm", [None, 700.0, 5000.0, math.inf])
@pytest.mark.parametrize("shot", [one for one in CAMERAS if one.rig == "toed-in"])
def test_vertical_parallax_is_that_of_two_turned_cameras(shot, distance_mm):
    height = shot.sensor_width_mm * 9 / 16
    depth = shot.convergence_mm if distance_mm is None else distance_mm
    apart = []
    for x in (-shot.sensor_width_mm / 2, shot.sensor_width_mm / 2):
        # The line of the left eye through its corner, to that depth.
        left = eye_of(shot, -1.0)
        at = np.array([-shot.interaxial_mm / 2, 0.0, 0.0])
        ray = np.linalg.inv(left[:, :3]) @ [x, height / 2, 1.0]
        point = [*ray, 0.0] if math.isinf(depth) else [*(at + ray * depth / ray[2]), 1.0]
        one, other = on_sensors(shot, point)
        assert one == pytest.approx([x, height / 2])
        apart.append(abs(other[1] - one[1]))
    found = vertical_parallax_mm(shot, height, distance_mm)
    assert found == pytest.approx(max(apart), rel=1e-9)
    assert vertical_parallax_mm(shot, height, distance_mm, 2000.0) == pytest.approx(
        found * 2000.0 / shot.sensor_width_mm
    )


def test_parallel_cameras_have_no_vertical_parallax_and_unknown_ones_none():
    assert vertical_parallax_mm(PLAIN, 14.0) == 0.0
    assert vertical_parallax_mm(replace(PLAIN, rig="toed-in", focal_mm=None), 14.0) is None
    assert vertical_parallax_mm(replace(PLAIN, rig="toed-in"), 0.0) is None


def seen_at(shot, screen, point, hit_pct, zoom):
    """Where a viewer in front of a screen sees a point of the set: the eyes' rays through its two pictures.

    (3,) mm from the middle between the eyes: x right, y down, z ahead. The pictures fill the screen, enlarged by
    ``zoom`` about their middle and moved apart by ``hit_pct`` of the width.
    """
    scale = zoom * screen.width_mm / shot.sensor_width_mm
    eyes, rays = [], []
    for side, picture in zip((-1.0, 1.0), on_sensors(shot, [*point, 1.0])):
        x, y = picture * scale
        at = np.array([side * screen.eye_mm / 2, 0.0, 0.0])
        eyes.append(at)
        rays.append(np.array([x + side * hit_pct * screen.width_mm / 200, y, screen.distance_mm]) - at)
    # Least squares, in which both rays have a part: they meet only nearly where there is vertical parallax.
    steps = np.linalg.lstsq(np.column_stack([rays[0], -rays[1]]), eyes[1] - eyes[0], rcond=None)[0]
    return (eyes[0] + rays[0] * steps[0] + eyes[1] + rays[1] * steps[1]) / 2


@pytest.mark.parametrize("shot", CAMERAS)
@pytest.mark.parametrize(
    ("screen", "hit_pct", "zoom"),
    [
        (Screen("hall", 12_000.0, 12_000.0), 0.0, 1.0),
        (Screen("hall", 12_000.0, 18_000.0, 63.0), -0.6, 1.04),
        (Screen("room", 1200.0, 2000.0), 0.5, 1.0),
        (Screen("hand", 237.0, 400.0, 50.0), -1.0, 1.1),
    ],
)
@pytest.mark.parametrize("real_mm", [1200.0, 2500.0, 8000.0])
def test_roundness_is_that_of_a_small_box_seen_through_both_pictures(shot, screen, hit_pct, zoom, real_mm):
    # Depth and width of a small box, as the eyes' rays through both pictures put them; computed apart.
    half = real_mm / 1000
    left, right, front, back = (
        seen_at(shot, screen, point, hit_pct, zoom)
        for point in ((-half, 0, real_mm), (half, 0, real_mm), (0, 0, real_mm - half), (0, 0, real_mm + half))
    )
    pct = parallax_pct(shot, real_mm) * zoom + hit_pct
    found = roundness(pct, real_mm, shot.interaxial_mm, screen)
    if pct * screen.width_mm / 100 >= 0.99 * screen.eye_mm:
        assert found is None or found > 0.0
    else:
        assert found == pytest.approx((back - front)[2] / (right - left)[0], rel=0.01)


def test_what_the_eyes_cannot_meet_at_has_no_roundness():
    hall = Screen("hall", 10_000.0, 10_000.0)
    assert roundness(0.65, 5000.0, 65.0, hall) is None
    assert roundness(1.0, 5000.0, 65.0, hall) is None
    assert roundness(math.nan, 5000.0, 65.0, hall) is None
    for real_mm in (math.inf, 0.0, -1.0, math.nan):
        assert roundness(0.1, real_mm, 65.0, hall) is None


def test_a_pair_set_up_like_the_viewer_is_as_round_as_life():
    # With the viewer's eye distance for an interaxial, and each thing seen where it is, every part is round (computed).
    screen = Screen("room", 1000.0, 2000.0)
    shot = Camera(65.0, 2 * 24.89, 24.89, 2000.0)
    for real_mm in (900.0, 2000.0, 7000.0):
        assert roundness(parallax_pct(shot, real_mm), real_mm, 65.0, screen) == pytest.approx(1.0)


def test_focal_length_as_on_super_35():
    assert camera.equivalent_focal_mm(35.0, 24.89) == pytest.approx(35.0)
    # A frame 36 mm wide (computed): 50 mm there show what 34.57 mm show on 24.89 mm.
    assert camera.equivalent_focal_mm(50.0, 36.0) == pytest.approx(34.57, abs=5e-3)
    for one, other in ((None, 36.0), (50.0, None), (0.0, 36.0), (50.0, 0.0), (math.nan, 36.0)):
        assert camera.equivalent_focal_mm(one, other) is None


ANY = st.floats(allow_nan=False, allow_infinity=False)
MAYBE = st.none() | ANY | st.floats(0.001, 1e7)
ANY_CAMERA = st.builds(
    Camera, MAYBE, MAYBE, MAYBE, MAYBE | st.just(math.inf), st.sampled_from(camera.RIGS), MAYBE, MAYBE
)


@settings(max_examples=300, deadline=None)
@given(ANY_CAMERA, ANY | st.floats(-50.0, 50.0), ANY | st.floats(1.0, 1e6))
def test_no_figures_whatever_give_an_infinite_or_negative_distance(shot, pct, distance_mm):
    found = distance_of(shot, pct)
    assert (found.mm is None) == bool(found.why)
    assert found.mm is None or (math.isfinite(found.mm) and found.mm > 0.0)
    solved = converged_by(shot, distance_mm, pct)
    assert solved is shot or solved.convergence_mm > 0.0
    for figure in (
        parallax_pct(shot, distance_mm),
        camera.infinity_pct(shot),
        vertical_parallax_mm(shot, 14.0, distance_mm),
        camera.equivalent_focal_mm(shot.focal_mm, shot.sensor_width_mm),
        roundness(pct, distance_mm, 65.0, Screen("hall", 10_000.0, 10_000.0)),
    ):
        assert figure is None or math.isfinite(figure)


SENSIBLE = st.builds(
    Camera,
    st.floats(1.0, 500.0),
    st.floats(5.0, 300.0),
    st.floats(4.0, 70.0),
    st.floats(400.0, 1e5),
    st.sampled_from(camera.RIGS),
)


@settings(max_examples=200, deadline=None)
@given(SENSIBLE, st.floats(310.0, 1e6))
def test_there_and_back_again(shot, distance_mm):
    found = distance_of(shot, parallax_pct(shot, distance_mm), tolerance_pct=0.0)
    assert found.mm == pytest.approx(distance_mm, rel=1e-5)
