"""The histogram of parallax against the limits of a screen."""

import re
from pathlib import Path
from xml.etree import ElementTree

import numpy as np
import pytest

import postfix.review
from postfix.limits import Limits, limits_for
from postfix.review.histogram import histogram_of
from postfix.viewing import BUILTIN_SCREENS, Screen

SCREEN = Screen("ten metres", 10000.0, 10000.0)
LIMITS = Limits(-1.0, 0.65, 1.65)
ASSETS = Path(postfix.review.__file__).parent / "assets"


def map_of(*shares, shape=(40, 50)):
    """A map that holds each value in a number of thousandths of the picture, (value, thousandths); the rest unknown."""
    pct = np.full(shape[0] * shape[1], np.nan, np.float32)
    at = 0
    for value, thousandths in shares:
        count = round(thousandths * pct.size / 1000)
        pct[at : at + count] = value
        at += count
    return pct.reshape(shape)


def drawn(before, after, limits=LIMITS, screen=SCREEN, ident="h"):
    return ElementTree.fromstring(histogram_of(before, after, limits, screen, ident).svg)


def texts_of(svg):
    return ["".join(element.itertext()) for element in svg.iter() if element.tag == "text"]


def path_of(svg, name):
    """The outline of a class that is not the sample in the key; None where there is none."""
    paths = [path.get("d") for path in svg.findall("path") if path.get("class") == name]
    return paths[-1] if paths and "v-12" not in paths[-1] else None


def hatched_of(svg, ident="h"):
    paths = [path.get("d") for path in svg.findall("path") if path.get("fill") == f"url(#{ident}-hatch)"]
    return [path for path in paths if "v-12" not in path]


def steps_of(path):
    """(from x, to x, height) of every step of an outline, in the drawing's own units."""
    base = float(re.match(r"M[\d.]+ ([\d.]+)", path).group(1))
    found, y = [], base
    x = float(re.match(r"M([\d.]+)", path).group(1))
    for kind, number in re.findall(r"([HV])([\d.]+)", path):
        if kind == "H":
            found.append((x, float(number), base - y))
            x = float(number)
        else:
            y = float(number)
    return [step for step in found if step[2] > 0.0]


def test_what_is_beyond_a_limit_is_said_as_a_share_of_what_was_measured():
    # 800 of 1000 pixels were measured: 21 thousandths beyond far are 2.625 % of those (computed).
    before = map_of((0.0, 700), (1.0, 60), (-2.0, 40))
    after = map_of((0.0, 779), (1.0, 21))
    svg = drawn(before, after)
    lines = texts_of(svg)
    assert "Over 0.1 % beyond the far limit: 7.5 % before, 2.6 % after." in lines
    assert "Over 0.1 % in front of the near limit: 5.0 % before, nothing after." in lines
    assert "Shares are of the measured part of the picture: 80 % before, 80 % after." in lines
    assert all(line in svg.findtext("desc") for line in lines[-4:])


def test_what_is_beyond_a_limit_by_less_than_the_map_can_tell_is_not_called_outside():
    # A backdrop that was put just inside the far limit, and that the map has a whole pixel too far.
    svg = drawn(None, map_of((LIMITS.far_pct + 0.08, 900), (LIMITS.near_pct - 0.08, 100)))
    assert hatched_of(svg) == []
    assert sum("nothing after" in line for line in texts_of(svg)) == 2


def test_a_trace_beyond_a_limit_is_not_called_nothing():
    after = map_of((0.0, 1000), shape=(100, 100))
    after[0, 0] = 2.0
    assert any("far limit: under 0.1 % after" in line for line in texts_of(drawn(None, after)))


def test_heights_are_the_square_root_of_the_share():
    # Four times the share is twice the height (computed); values in the middle of a bin of a map 50 wide, 2 % each.
    svg = drawn(None, map_of((-4.0, 800), (4.0, 200)), Limits(-9.0, 9.0, 18.0))
    heights = [step[2] for step in steps_of(path_of(svg, "after-band"))]
    assert len(heights) == 2
    assert heights[0] == pytest.approx(2.0 * heights[1], rel=0.01)


def test_a_bin_that_a_limit_cuts_keeps_its_area_on_either_side():
    # One bin of 2 % about zero, cut at +0.4: 900 thousandths left of it, 100 right (computed). Heights are densities.
    after = map_of((0.0, 900), (0.5, 100))
    limits = Limits(-9.0, 0.4, 9.4)
    svg = drawn(None, after, limits)
    steps = steps_of(path_of(svg, "after-band"))
    areas = [(end - start) * height**2 for start, end, height in steps]
    assert [area / sum(areas) for area in areas] == pytest.approx([0.9, 0.1], abs=0.01)
    (hatched,) = hatched_of(svg)
    assert [step[:2] for step in steps_of(hatched)] == [steps[1][:2]]


def test_what_ends_at_a_limit_is_not_hatched():
    svg = drawn(None, map_of((0.6, 500), (-1.0, 500), shape=(16, 384)))
    assert hatched_of(svg) == []
    assert sum("nothing after" in line for line in texts_of(svg)) == 2


def test_with_both_versions_the_newer_one_is_hatched_and_drawn_over_the_older():
    svg = drawn(map_of((3.0, 1000)), map_of((0.0, 1000)))
    assert hatched_of(svg) == []
    classes = [path.get("class") for path in svg.findall("path")]
    assert classes.index("before-band") < classes.index("after-band")
    assert len(hatched_of(drawn(map_of((3.0, 1000)), None))) == 1


@pytest.mark.parametrize(("half", "limit"), [(8, 2.5), (60, 18.0)])
def test_whole_pixels_of_the_map_fall_into_bins_evenly_and_make_no_comb(half, limit):
    # A slope in the map of a slanted floor prefers whole pixels, 100/384 % of width: made here as an extreme case.
    pixels = np.arange(-half, half) * 100.0 / 384
    after = np.repeat(pixels, 384).reshape(2 * half, 384).astype(np.float32)
    svg = drawn(None, after, Limits(-limit, limit, 2.0 * limit))
    heights = [step[2] for step in steps_of(path_of(svg, "after-band"))]
    # Neighbours of one height are drawn in one step; the outermost bins may be half full.
    assert len(heights) <= 3
    assert max(heights) > 0.99 * sorted(heights)[len(heights) // 2]


def test_limits_have_words_and_values_and_the_axis_percent_with_millimetres():
    texts = texts_of(drawn(map_of((0.2, 1000)), map_of((0.0, 1000)), limits_for(SCREEN)))
    assert "far limit +0.65 %" in texts
    assert any(text.startswith("near limit −1.7") for text in texts)
    assert {"in front", "screen", "before", "after", "beyond a limit"} <= set(texts)
    # 1 % of 10 m is 100 mm (computed).
    assert texts[texts.index("−1 %") + 1] == "−100 mm"
    assert texts[texts.index("0 %") + 1] == "0 mm"


def test_a_limit_far_off_is_named_at_the_side_where_it_lies_without_stretching_the_axis():
    svg = drawn(None, map_of((0.0, 500), (0.3, 500)), Limits(-40.0, 30.0, 70.0))
    texts = texts_of(svg)
    assert "near limit −40.00 %, outside this chart" in texts
    assert "far limit +30.00 %, outside this chart" in texts
    assert not [path for path in svg.findall("path") if path.get("class") == "limit"]
    assert hatched_of(svg) == []


@pytest.mark.parametrize("nothing", [None, np.full((4, 5), np.nan, np.float32), np.empty((0, 0), np.float32)])
def test_where_nothing_was_measured_the_drawing_says_so(nothing):
    svg = drawn(nothing, None)
    assert texts_of(svg) == ["nothing could be measured"]
    assert "nothing could be measured" in svg.findtext("desc")
    one = drawn(nothing, map_of((0.0, 1000)))
    assert path_of(one, "before-band") is None
    why = "before no picture" if nothing is None else "before not measured"
    assert any(why in line for line in texts_of(one))


def test_the_drawing_has_a_title_and_a_description_of_its_own_and_markup_stays_text():
    name = '</title><script>alert("1")</script>'
    written = histogram_of(map_of((0.0, 900)), None, LIMITS, Screen(name, 5000.0, 5000.0), "c0n12-hist").svg
    assert "<script" not in written
    svg = ElementTree.fromstring(written)
    assert svg.get("role") == "img"
    assert name in svg.findtext("title")
    named = {element.get("id") for element in svg.iter() if element.get("id")}
    assert {svg.get("aria-labelledby"), svg.get("aria-describedby")} <= named
    assert all(one.startswith("c0n12-hist-") for one in named)


def test_a_drawing_stays_small_whatever_is_in_the_maps():
    rng = np.random.default_rng(4)
    for spread in (0.02, 1.0, 6.0):
        before, after = (rng.normal(0.0, spread, (216, 384)).astype(np.float32) for _ in range(2))
        written = histogram_of(before, after, LIMITS, BUILTIN_SCREENS["desktop-27in"], "c12n1234-hist").svg
        assert len(written.encode()) < 6000


CASES = [
    ([(-7.8, 300), (-1.2, 650)], [(-2.6, 300), (4.0, 650)], "cinema-12m"),
    ([(0.0, 100), (1.6, 850)], [(-1.1, 100), (0.5, 850)], "cinema-20m"),
    ([(0.01, 900)], [(0.02, 900)], "tablet-11in"),
    ([(-3.5, 10), (-3.4, 900)], None, "tv-55in"),
    ([(3.2, 900)], [(0.4, 900)], "cinema-20m"),
]


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_in_a_browser_all_words_lie_inside_the_drawing_and_none_over_another(page, tmp_path, scheme):
    svgs = []
    for number, (before, after, name) in enumerate(CASES):
        maps = [shares and map_of(*shares, shape=(216, 384)) for shares in (before, after)]
        screen = BUILTIN_SCREENS[name]
        svgs.append(histogram_of(*maps, limits_for(screen), screen, f"h{number}").svg)
    css = "".join((ASSETS / name).read_text(encoding="utf-8") for name in ("style.css", "depth.css"))
    file = tmp_path / "page.html"
    file.write_text(f"<!doctype html><meta charset=utf-8><style>{css}</style>{''.join(svgs)}", encoding="utf-8")
    page.emulate_media(color_scheme=scheme)
    page.goto(file.as_uri())
    found = page.evaluate(
        """() => [...document.querySelectorAll(".histogram")].map(svg => ({
            width: svg.viewBox.baseVal.width, height: svg.viewBox.baseVal.height,
            words: [...svg.querySelectorAll("text")].map(t => {
                const b = t.getBBox();
                return [t.textContent, b.x, b.y, b.x + b.width, b.y + b.height, getComputedStyle(t).fill];
            }) }))"""
    )
    assert len(found) == len(CASES)
    for drawing in found:
        words = drawing["words"]
        for text, x0, y0, x1, y1, _ in words:
            assert x0 >= 0, text
            assert y0 >= -2, text
            assert x1 <= drawing["width"], text
            assert y1 <= drawing["height"], text
        for index, one in enumerate(words):
            for other in words[index + 1 :]:
                # Line boxes are taller than the letters in them.
                apart_x = one[3] <= other[1] or other[3] <= one[1]
                apart_y = one[4] - 5 <= other[2] or other[4] - 5 <= one[2]
                assert apart_x or apart_y, (one[0], other[0])
    light_ink = "rgb(28, 30, 33)"
    assert (found[0]["words"][0][5] == light_ink) == (scheme == "light")
