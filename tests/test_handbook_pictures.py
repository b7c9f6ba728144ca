"""The pictures of the handbook are those that the program draws now, to scale, and can be read anywhere."""

import importlib.util
import math
import re
from itertools import combinations, pairwise
from pathlib import Path
from xml.etree import ElementTree

import pytest

from postfix.camera import Camera, vertical_parallax_mm
from postfix.review.geometry_pictures import handbook_pictures
from postfix.review.geometry_scenes import board_on_sensor_mm
from postfix.review.pictures import text_width
from postfix.viewing import divergence_deg

ROOT = Path(__file__).parents[1]
FOLDER = ROOT / "docs" / "handbook"
DRAWN = handbook_pictures()
SVG = "{http://www.w3.org/2000/svg}"
MOST_BYTES = 12_000


@pytest.fixture(params=DRAWN)
def picture(request):
    return ElementTree.fromstring(DRAWN[request.param])


def of(name):
    return ElementTree.fromstring(DRAWN[name])


def texts(svg):
    return [one.text for one in svg.iter(f"{SVG}text")]


def command():
    spec = importlib.util.spec_from_file_location("handbook_command", ROOT / "samples" / "make_handbook_pictures.py")
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


def test_the_files_in_the_handbook_are_what_the_command_writes_now(tmp_path):
    command().main(tmp_path / "new")
    written = {path.name: path.read_bytes() for path in (tmp_path / "new").iterdir()}
    assert {path.name: path.read_bytes() for path in FOLDER.glob("*.svg")} == written
    assert written.keys() == DRAWN.keys()


def test_each_stands_alone_with_a_title_words_and_a_light_ground(picture):
    assert picture.tag == f"{SVG}svg"
    assert picture.get("role") == "img"
    assert len(picture.find(f"{SVG}title").text) > 10
    assert len(picture.find(f"{SVG}desc").text) > 60
    ground = picture.find(f"{SVG}rect")
    assert ground.get("fill") == "#ffffff"
    assert [ground.get("width"), ground.get("height")] == picture.get("viewBox").split()[2:]


def test_none_runs_anything_or_asks_for_anything_from_elsewhere(picture):
    for part in picture.iter():
        assert part.tag.removeprefix(SVG) in {
            "svg", "title", "desc", "rect", "g", "path", "text", "circle", "ellipse", "defs", "pattern",
        }  # fmt: skip
        for key, value in part.attrib.items():
            assert not key.startswith("on")
            assert "href" not in key
            assert "url(" not in value or value == "url(#apart)"


@pytest.mark.parametrize("name", DRAWN)
def test_each_is_small(name):
    assert len(DRAWN[name].encode()) < MOST_BYTES
    assert not re.search(r"\b(nan|inf|None)\b|\de[+-]\d", DRAWN[name])


def boxes(svg):
    """Words with the box that they take up, in the wide letters of the program's own font."""
    size = float(svg.get("font-size"))
    for one in svg.iter(f"{SVG}text"):
        wide = text_width(one.text, int(size)) * (1.08 if one.get("font-weight", "400") != "400" else 1.0)
        x, y = float(one.get("x")), float(one.get("y"))
        x -= {"start": 0.0, "middle": wide / 2.0, "end": wide}[one.get("text-anchor", "start")]
        yield one.text, (x, y - 0.75 * size, x + wide, y + 0.2 * size)


def test_no_words_run_into_others_or_out_of_the_picture(picture):
    width, height = (float(one) for one in picture.get("viewBox").split()[2:])
    placed = list(boxes(picture))
    for words, (left, top, right, bottom) in placed:
        assert left >= 0.0, words
        assert top >= 0.0, words
        assert right <= width, words
        assert bottom <= height, words
    for (words, one), (others, other) in combinations(placed, 2):
        apart = one[2] <= other[0] or other[2] <= one[0] or one[3] <= other[1] or other[3] <= one[1]
        assert apart, (words, others)


def test_the_signs_are_told_with_the_distances_of_the_formula():
    told = texts(of("parallax-signs.svg"))
    # Z = V·e/(e − P) with V = 300 and e = 65: P −65 gives V/2, 26 gives 500 (computed).
    assert [words for words in told if re.fullmatch(r"\d+ mm", words)] == ["150 mm", "300 mm", "500 mm"]
    assert f"turn apart by {divergence_deg(104.0, 300.0):.1f}°" in told
    assert told.count("no distance:") == told.count("eyes parallel") == 1


def curve(svg):
    path = next(one for one in svg.iter(f"{SVG}path") if one.get("stroke-width") == "2.6")
    return [tuple(float(n) for n in point.split()) for point in path.get("d")[1:].split("L")]


def test_the_curve_rises_without_bound_towards_the_eye_distance_and_never_reaches_it():
    svg = of("distance-by-parallax.svg")
    points = curve(svg)
    eyes_x = float(svg.findall(f"{SVG}rect")[1].get("x"))
    assert all(x0 <= x1 and y0 >= y1 for (x0, y0), (x1, y1) in pairwise(points))
    assert points[-1][0] < eyes_x
    # 12 m · 65 / (65 + 120) and 12 m · 65 / (65 − 48) (computed).
    assert {"−1.00 %: 4.22 m", "+0.40 %: 45.9 m", "as wide as the eyes: 65 mm, +0.54 %"} <= set(texts(svg))


@pytest.mark.parametrize("side", [-1.0, 1.0])
@pytest.mark.parametrize("x_mm", [-310.0, 0.0, 310.0])
def test_a_turned_camera_sees_the_board_along_its_own_axis(side, x_mm):
    # Pinhole camera 180 mm to the side, converged at 1 m, focal length 24 mm; y to the front as the imaginary part.
    place = side * 180.0
    axis = (-place + 1000.0j) / abs(-place + 1000.0j)
    ahead = (x_mm - place + 1000.0j) / axis  # forward is real, left of the axis imaginary
    found = board_on_sensor_mm("toed-in", side, x_mm, 210.0)
    assert found == pytest.approx((-24.0 * ahead.imag / ahead.real, 24.0 * 210.0 / ahead.real))


def test_the_board_has_vertical_parallax_with_turned_cameras_only():
    for rig in ("parallel", "toed-in"):
        (x, left), (_, right) = (board_on_sensor_mm(rig, side, -310.0, 210.0) for side in (-1.0, 1.0))
        camera = Camera(360.0, 24.0, -2.0 * x, 1000.0, rig)
        assert 0.0 <= left - right <= vertical_parallax_mm(camera, 2.0 * left) + 1e-9
        assert (left > right) == (rig == "toed-in")  # the left camera stands nearer to that side


def test_both_cameras_have_the_middle_of_the_plane_of_convergence_in_the_same_place():
    for rig in ("parallel", "toed-in"):
        for side in (-1.0, 1.0):
            assert math.hypot(*board_on_sensor_mm(rig, side, 0.0, 0.0)) == pytest.approx(0.0, abs=1e-12)


def test_with_the_window_the_left_eye_no_longer_sees_more_of_the_thing_than_the_right():
    told = [float(one.split()[2]) for one in texts(of("floating-window.svg")) if one.startswith("it is")]
    before, after = told[:2], told[2:]
    assert before[0] > before[1]
    assert after[0] <= after[1]
    assert after[1] == before[1]


def test_hit_keeps_the_width_of_the_range_and_moves_it_inside_on_the_cinema_only():
    spans = [re.fullmatch(r"(\S+) % to (\S+) %", one) for one in texts(of("hit.svg"))]
    cinema, moved, television, kept = (
        [float(end.replace("−", "-")) for end in span.groups()] for span in spans if span
    )
    assert moved[1] - moved[0] == pytest.approx(cinema[1] - cinema[0])
    assert moved[1] < 65.0 / 12000.0 * 100.0 < cinema[1]
    assert television == kept == cinema


def test_the_room_shows_a_seat_with_a_distance_and_seats_without_one():
    told = texts(of("room.svg"))
    assert told.count("far no distance") == 3
    assert told.count("eyes turn apart") == 3
