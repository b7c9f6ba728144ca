"""The picture of the room: every seat with what it sees, at one scale, and nothing drawn where nothing is seen."""

import math
import re
from dataclasses import replace
from xml.etree import ElementTree

import pytest
from hypothesis import given
from hypothesis import strategies as st

from postfix.limits import LimitRules
from postfix.plan.settings import StorySettings
from postfix.review.room import room_svg, room_words
from postfix.story.model import Seat
from postfix.story.seats import from_seats, seats_of
from postfix.viewing import BUILTIN_SCREENS

CINEMA = BUILTIN_SCREENS["cinema-12m"]
TV = BUILTIN_SCREENS["tv-55in"]
NAN = math.nan
MOST_BYTES = 6000


def seats_from(near, main, far, screen=CINEMA, **shares):
    settings = replace(StorySettings(), **shares)
    return from_seats(near, main, far, screen, LimitRules(), seats_of(screen, settings))


def drawn(near, main, far, screen=CINEMA, **shares):
    return ElementTree.fromstring(room_svg(screen.name, seats_from(near, main, far, screen, **shares), screen.width_mm))


def texts(svg):
    return [one.text for one in svg.iter("text")]


def discs(svg):
    """Where main is, without the disc in the words below; (x, y) of each lane."""
    at = [(float(one.get("cx")), float(one.get("cy"))) for one in svg.iter("circle")]
    return at[::2]


def screen_lines(svg):
    return [
        [float(one) for one in re.findall(r"[\d.]+", path.get("d"))]
        for path in svg.iter("path")
        if path.get("stroke-width") == "4"
    ]


def half_discs(svg):
    found = (re.fullmatch(r"M([\d.]+) ([\d.]+)a7 7 0 0 1 14 0z", path.get("d")) for path in svg.iter("path"))
    return [(float(one[1]) + 7.0, float(one[2]) - 7.0) for one in found if one]


def test_every_seat_is_named_with_where_it_is_and_what_it_sees():
    told = texts(drawn(-2.0, 0.1, 1.5, TV))
    for words in ("own seat", "front row", "back row", "side seat", "2.06 m away", "1.23 m away", "487 mm aside"):
        assert words in told
    # Z = V·e/(e − P): 2055·65/(65 + 24.36) = 1495, 2055·65/(65 − 18.27) = 2858 mm (computed).
    assert "near 1.49 m" in told
    assert "far 2.86 m" in told


def test_one_scale_holds_across_and_in_depth():
    svg = drawn(-2.0, 1.0, 1.5, TV)
    lines, seats, mains = screen_lines(svg), half_discs(svg), discs(svg)
    px_per_mm = lines[0][2] / TV.width_mm
    for line, (seat_x, seat_y), main, one in zip(lines, seats, mains, seats_from(-2.0, 1.0, 1.5, TV)):
        middle = line[0] + line[2] / 2.0
        assert seat_y - line[1] == pytest.approx(one.seat.distance_mm * px_per_mm, abs=0.3)
        assert seat_x - middle == pytest.approx(one.seat.aside_mm * px_per_mm, abs=0.3)
        assert math.dist((seat_x, seat_y), main) == pytest.approx(one.main.distance_mm * px_per_mm, abs=0.3)


def test_what_is_far_behind_the_screen_is_beyond_a_break_with_its_distance_in_words():
    svg = drawn(-1.0, 0.0, 0.5)
    # 60 of 65 mm: 13 times the distance of the seat (computed).
    assert "156 m" in texts(svg)
    assert "far 156 m" in texts(svg)


def test_what_has_no_distance_is_an_arrow_with_these_words_and_no_number():
    svg = drawn(-0.5, 0.1, 0.9)
    told = texts(svg)
    assert told.count("no distance:") == told.count("eyes turn apart") == told.count("far no distance") == 4
    assert not any(words.startswith("far") and "m" in words.split() for words in told)
    assert len([path for path in svg.iter("path") if path.get("d").endswith("l5 -9l5 9z")]) == 4
    assert "no distance: eyes turn apart by 0.205 degrees" in room_words("s", seats_from(-0.5, 0.1, 0.9))


def test_eyes_that_are_just_parallel_are_not_said_to_turn_apart():
    at_eyes = from_seats(0.0, 0.0, 6.5, replace(CINEMA, width_mm=1000.0), LimitRules(), (Seat("own seat", 3000.0),))
    assert "eyes parallel" in texts(ElementTree.fromstring(room_svg("s", at_eyes, 1000.0)))
    assert "no distance: eyes parallel" in room_words("s", at_eyes)


def test_what_was_not_measured_is_nowhere_in_the_room():
    svg = drawn(NAN, NAN, NAN)
    assert texts(svg).count("near not measured") == 4
    assert len(list(svg.iter("circle"))) == 4  # those before the words alone
    assert "nan" not in ElementTree.tostring(svg, "unicode")
    assert "outside comfort" not in texts(svg)


def test_a_seat_with_something_outside_comfort_says_so():
    told = texts(drawn(-1.7, -0.5, 0.0))
    assert told.count("outside comfort") == 1
    words = room_words("s", seats_from(-1.7, -0.5, 0.0))
    assert re.findall(r"From the ([a-z ]+),[^.]*(?:\.\d[^.]*)*outside comfort", words) == ["front row"]


def test_it_is_read_out_and_takes_the_ink_of_its_page():
    svg = drawn(-1.0, 0.1, 0.4)
    assert (svg.get("role"), svg.get("color")) == ("img", "var(--ink, #1c1e21)")
    assert svg.find("title").text == "Top view of the room before cinema-12m"
    assert svg.find("desc").text == room_words(CINEMA.name, seats_from(-1.0, 0.1, 0.4))
    paints = {part.get(key) for part in svg.iter() for key in ("fill", "stroke")} - {None}
    assert paints == {"currentColor", "none", "var(--sheet, #ffffff)"}


def test_on_paper_it_stands_alone_on_a_light_ground():
    svg = ElementTree.fromstring(room_svg("s", seats_from(-1.0, 0.1, 0.4), 12000.0, on_paper=True))
    assert svg.tag == "{http://www.w3.org/2000/svg}svg"
    assert svg.find("{*}rect").get("fill") == "#ffffff"
    assert svg.get("color") == "#1c1e21"


def test_names_from_outside_stay_text():
    name = "<script>a&b\"'\x00\x1b" + "x" * 80
    seats = from_seats(-1.0, 0.0, 0.4, CINEMA, LimitRules(), (Seat(name, 12000.0),))
    svg = ElementTree.fromstring(room_svg(name, seats, CINEMA.width_mm))
    assert not list(svg.iter("script"))
    assert all(len(words) < 90 for words in texts(svg))


def test_a_room_without_seats_is_still_a_picture():
    assert ElementTree.fromstring(room_svg("s", (), 1000.0)).find("desc").text.endswith("No seats.")


@pytest.mark.parametrize("screen", BUILTIN_SCREENS.values(), ids=lambda screen: screen.name)
@pytest.mark.parametrize("shot", [(-3.0, 0.1, 1.0), (0.9, 4.0, 20.0), (-0.1, 0.0, 0.1), (-60.0, -30.0, NAN)])
def test_it_stays_small_and_all_of_it_inside_its_frame(screen, shot):
    svg = drawn(*shot, screen)
    assert len(room_svg(screen.name, seats_from(*shot, screen), screen.width_mm).encode()) < MOST_BYTES
    inside(svg)


def inside(svg):
    _, _, width, height = (float(one) for one in svg.get("viewBox").split())
    for part in svg.iter():
        points = re.findall(r"M(-?[\d.]+) (-?[\d.]+)", part.get("d", ""))
        points += [(part.get(x), part.get(y)) for x, y in (("x", "y"), ("cx", "cy")) if part.get(x)]
        for x, y in points:
            assert 0.0 <= float(x) <= width
            assert 0.0 <= float(y) <= height


@given(
    st.floats(-100.0, 100.0),
    st.floats(0.0, 100.0),
    st.floats(0.05, 1.0),
    st.floats(1.0, 20.0),
    st.floats(0.0, 5.0),
    st.sampled_from(list(BUILTIN_SCREENS.values())),
)
def test_any_shot_and_any_seats_that_can_be_set_make_a_picture(near, span, front, back, side, screen):
    shares = {"front_seat_share": front, "back_seat_share": back, "side_seat_share": side}
    svg = drawn(near, near + span / 2.0, near + span, screen, **shares)
    inside(svg)
    text = ElementTree.tostring(svg, "unicode")
    assert not re.search(r"\b(nan|inf)\b|e[+-]\d", text)
