"""Depth in colours, and the legend of them in percent and in millimetres."""

from xml.etree import ElementTree

import numpy as np
import pytest

from postfix.review.depth import (
    SCREEN_RGB,
    UNKNOWN_RGB,
    DepthSpan,
    colours_of,
    depth_picture,
    legend_html,
    legend_picture,
    mark_pct,
    span_for,
)
from postfix.viewing import BUILTIN_SCREENS, Screen

SPAN = DepthSpan(-3.0, 3.0)
NAN = float("nan")

# sRGB to XYZ and to linear light: IEC 61966-2-1; CIE 1976 L*a*b* under its white (both from memory).
XYZ_OF_RGB = np.array([[0.4124, 0.3576, 0.1805], [0.2126, 0.7152, 0.0722], [0.0193, 0.1192, 0.9505]])

# Cone responses of linear RGB, and what is left of them without one kind of cone: Viénot, Brettel and Mollon 1999,
# Color Research and Application 24(4), 243–252 (from memory).
LMS_OF_RGB = np.array([[17.8824, 43.5161, 4.11935], [3.45565, 27.1554, 3.86714], [0.0299566, 0.184309, 1.46709]])
WITHOUT_L = np.array([[0.0, 2.02344, -2.52581], [0.0, 1.0, 0.0], [0.0, 0.0, 1.0]])
WITHOUT_M = np.array([[1.0, 0.0, 0.0], [0.494207, 0.0, 1.24827], [0.0, 0.0, 1.0]])


def through(cones):
    return np.linalg.inv(LMS_OF_RGB) @ cones @ LMS_OF_RGB


SEEN_BY = {
    "everyone": np.eye(3),
    "protanopia, Viénot 1999": through(WITHOUT_L),
    "deuteranopia, Viénot 1999": through(WITHOUT_M),
    # Machado, Oliveira and Fernandes 2009, IEEE TVCG 15(6), severity 1.0 (from memory).
    "protanopia, Machado 2009": np.array(
        [[0.152286, 1.052583, -0.204868], [0.114503, 0.786281, 0.099216], [-0.003882, -0.048116, 1.051998]]
    ),
    "deuteranopia, Machado 2009": np.array(
        [[0.367322, 0.860646, -0.227968], [0.280085, 0.672501, 0.047413], [-0.011820, 0.042940, 0.968881]]
    ),
}


def lab(rgb, seen=None):
    """L*a*b* of coded sRGB (..., 3), as someone sees it whose matrix over linear light is given."""
    coded = np.asarray(rgb, np.float64) / 255.0
    light = np.where(coded <= 0.04045, coded / 12.92, ((coded + 0.055) / 1.055) ** 2.4)
    if seen is not None:
        light = np.clip(light @ seen.T, 0.0, 1.0)
    share = light @ XYZ_OF_RGB.T / XYZ_OF_RGB.sum(axis=1)
    f = np.where(share > 216 / 24389, np.cbrt(share), (24389 / 27 * share + 16) / 116)
    x, y, z = np.moveaxis(f, -1, 0)
    return np.stack([116 * y - 16, 500 * (x - y), 200 * (y - z)], axis=-1)


def texts_of(svg):
    """What a person reads in a drawing, in order."""
    return ["".join(element.itertext()) for element in ElementTree.fromstring(svg).iter() if element.tag == "text"]


# ---- span


@pytest.mark.parametrize(
    ("values", "end"),
    [
        ([-1.75, 0.54], 2.0),
        ([-0.2, 1.42], 1.5),
        ([2.0], 2.0),
        ([-7.81, -1.17], 8.0),
        ([11.0], 15.0),
        ([0.01, -0.02], 0.5),
        ([NAN, -2.4, float("inf")], 3.0),
        ([], 2.0),
        ([NAN], 2.0),
        (np.array([0.0, -2.96], np.float32), 3.0),
    ],
)
def test_a_span_is_round_even_about_the_screen_and_holds_everything(values, end):
    assert span_for(values) == DepthSpan(-end, end)


# ---- colours


def test_lightness_falls_all_the_way_from_near_to_far_but_for_the_screen():
    values = np.linspace(-3.0, 3.0, 1201)
    outside = np.abs(values) > mark_pct(SPAN)
    light = lab(colours_of(values, SPAN))[:, 0]
    # Coded values are whole numbers, which may hold lightness back by a fraction of a step.
    assert np.diff(light[outside]).max() < 0.3
    near, far = light[outside & (values < 0)], light[outside & (values > 0)]
    assert near[0] - near[-1] > 25
    assert far[0] - far[-1] > 25
    # In grey print the side can be told everywhere, and the screen is lighter than anything else.
    assert near.min() - far.max() > 10
    assert light.max() == light[600] == pytest.approx(100.0, abs=0.1)
    assert light.max() - near.max() > 10


@pytest.mark.parametrize("who", SEEN_BY)
def test_near_and_far_differ_in_hue_also_for_those_who_confuse_red_and_green(who):
    # A difference of 20 in L*a*b* is about ten times what is just seen side by side (common practice, no source).
    matrix = SEEN_BY[who]
    assert matrix.sum(axis=1) == pytest.approx([1.0, 1.0, 1.0], abs=0.01)
    for share, least in ((0.05, 50.0), (0.25, 75.0), (1.0, 130.0)):
        near, far = (lab(colours_of(side * share * 3.0, SPAN), matrix) for side in (-1.0, 1.0))
        assert np.linalg.norm(near - far) > least
        # By hue alone: the two lie on opposite sides of grey, warm against blue.
        assert near[2] > 20
        assert far[2] < -15


def test_a_depth_picture_is_white_at_the_screen_warm_in_front_and_blue_behind():
    picture = depth_picture(np.array([[-2.0, 0.0, 2.0]], np.float32), SPAN)
    assert picture.dtype == np.uint8
    assert picture.shape == (1, 3, 3)
    near, screen, far = picture[0].astype(int)
    assert tuple(screen) == SCREEN_RGB
    assert near[0] > near[2] + 50
    assert far[2] > far[0] + 50


def test_what_lies_beyond_the_span_is_dotted_and_what_just_fits_is_not():
    def of(pct):
        return depth_picture(np.full((36, 36), pct, np.float32), SPAN).reshape(-1, 3)

    for end in (SPAN.near_pct, SPAN.far_pct):
        fits, beyond = of(end), of(end * 1.01)
        assert len(np.unique(fits, axis=0)) == 1
        dotted = (beyond != fits).any(axis=1)
        assert dotted.mean() == pytest.approx(1 / 9)
        # Dots stand out in grey too, and what is between them has the colour of the end.
        dot, ground = (lab(beyond[mask])[0, 0] for mask in (dotted, ~dotted))
        assert abs(dot - ground) > 60


def test_what_is_unknown_is_hatched_in_a_grey_that_no_depth_has():
    picture = depth_picture(np.full((32, 32), np.nan, np.float32), SPAN).reshape(-1, 3)
    colours, counts = np.unique(picture, axis=0, return_counts=True)
    assert len(colours) == 2
    assert (np.ptp(colours, axis=1) == 0).all()
    assert counts.min() / counts.sum() == pytest.approx(0.25)
    outside = np.concatenate([np.linspace(-3.0, -0.15, 200), np.linspace(0.15, 3.0, 200)])
    depths = lab(colours_of(outside, SPAN))
    assert np.linalg.norm(depths - lab(UNKNOWN_RGB), axis=1).min() > 20


def test_an_enlarged_picture_repeats_the_map_and_makes_up_no_depth_between():
    pct = np.array([[-2.0, 2.0], [NAN, 9.0]], np.float32)
    large = depth_picture(pct, SPAN, (40, 24))
    assert large.shape == (24, 40, 3)
    assert np.array_equal(np.unique(large[:12, :20].reshape(-1, 3), axis=0)[0], colours_of(-2.0, SPAN))
    assert len(np.unique(large[:12].reshape(-1, 3), axis=0)) == 2
    # Marks keep their size however much is enlarged.
    assert np.array_equal(large[:12, 20:][:, :12], depth_picture(np.full((12, 12), 2.0, np.float32), SPAN))
    dots = (large[12:, 20:] == 255).all(axis=2)
    assert dots.sum() == pytest.approx(12 * 20 / 9, abs=8)


def test_the_map_itself_is_left_as_it_is():
    pct = np.array([[NAN, -9.0, 0.5]], np.float32)
    kept = pct.copy()
    depth_picture(pct, SPAN, (6, 2))
    assert np.array_equal(pct, kept, equal_nan=True)


# ---- legend

WIDE_10M = Screen("ten metres", 10000.0, 10000.0)


@pytest.mark.parametrize(
    ("screen", "span", "near", "far"),
    [
        (WIDE_10M, DepthSpan(-3.0, 3.0), "−300 mm", "+300 mm"),  # V = 10 m, W = 10 m, P = −3 % (computed)
        (WIDE_10M, DepthSpan(-0.65, 0.65), "−65.0 mm", "+65.0 mm"),  # the eye distance on it (computed)
        (Screen("50 inch", 1107.0, 2000.0), DepthSpan(-2.0, 2.0), "−22.1 mm", "+22.1 mm"),  # ±22.14 mm (computed)
        # Far limits by width of screen, all 65 mm: trade course notes (read).
        (Screen("6.5 m", 6500.0, 6500.0), DepthSpan(-1.0, 1.0), "−65.0 mm", "+65.0 mm"),
        (Screen("13 m", 13000.0, 13000.0), DepthSpan(-0.5, 0.5), "−65.0 mm", "+65.0 mm"),
        (Screen("26 m", 26000.0, 26000.0), DepthSpan(-0.25, 0.25), "−65.0 mm", "+65.0 mm"),
    ],
)
def test_the_legend_has_millimetres_on_the_screen_under_its_percent(screen, span, near, far):
    texts = texts_of(legend_html(span, [screen]))
    row = texts.index(f"on {screen.name}")
    assert texts[row + 1 : row + 6 : 4] == [near, far]
    assert texts[row + 3] == "0 mm"
    # Half of the scale has half of the millimetres, to the digit shown.
    half = float(texts[row + 4].removesuffix(" mm").replace("−", "-"))
    assert half == pytest.approx(span.far_pct / 200.0 * screen.width_mm, abs=0.51)


def test_the_legend_reads_as_words_from_near_to_far():
    screens = [BUILTIN_SCREENS[name] for name in ("cinema-12m", "tv-55in")]
    svg = legend_html(SPAN, screens)
    root = ElementTree.fromstring(svg)
    assert root.get("role") == "img"
    assert [child.tag for child in root][:2] == ["title", "desc"]
    texts = texts_of(svg)
    assert texts[:3] == ["in front", "screen", "behind"]
    assert texts[3:9] == ["of picture width", "−3 %", "−1.5 %", "0 %", "+1.5 %", "+3 %"]
    assert texts[-3:] == ["not known, or seen by one eye only", "nearer than the scale", "farther than the scale"]
    told = root.findtext("desc")
    for words in ("in front", "behind", "−3 % to +3 %", "on cinema-12m −360 mm to +360 mm", "tv-55in", "hatched"):
        assert words in told
    assert len(svg) < 8000


def test_a_legend_without_a_screen_has_percent_alone():
    assert not [text for text in texts_of(legend_html(SPAN, [])) if "mm" in text]


def test_markup_in_the_name_of_a_screen_is_text_in_the_legend():
    name = '<img src=x onerror="alert(1)">&'
    svg = legend_html(SPAN, [Screen(name, 10000.0, 10000.0)])
    assert "<img" not in svg
    root = ElementTree.fromstring(svg)
    assert name in root.findtext("desc")
    shown = next(text for text in texts_of(svg) if text.startswith("on <img"))
    assert shown.endswith("…")


def test_colours_of_the_legend_are_those_of_the_picture():
    root = ElementTree.fromstring(legend_html(SPAN, []))
    cells = [rect.get("fill") for rect in root.find("g").findall("rect")]
    places = (np.arange(40) + 0.5) / 20 - 1.0
    expected = ["#" + bytes(colours_of(3.0 * place, SPAN)).hex() for place in places]
    inner = [index for index, place in enumerate(places) if abs(3.0 * place) > mark_pct(SPAN)]
    assert [cells[index] for index in inner] == [expected[index] for index in inner]
    assert cells[-1] == "#ffffff"


@pytest.mark.parametrize("width", [120, 384, 960, 1920])
def test_the_legend_as_a_picture_is_as_wide_as_asked_and_holds_the_whole_scale(width):
    strip = legend_picture(SPAN, BUILTIN_SCREENS["cinema-12m"], width)
    assert strip.dtype == np.uint8
    assert strip.shape[1:] == (width, 3)
    assert strip.shape[0] < 0.2 * width + 160
    seen = set(map(tuple, strip[::2, ::2].reshape(-1, 3).tolist()))
    for pct in (-3.0, 3.0):
        assert tuple(int(value) for value in colours_of(pct, SPAN)) in seen
    assert UNKNOWN_RGB in seen
    # The scale runs across in the order of depth.
    warm = (strip[..., 0].astype(int) - strip[..., 2] > 100).any(axis=0)
    blue = (strip[..., 2].astype(int) - strip[..., 0] > 100).any(axis=0)
    assert warm[: width // 3].any()
    assert blue[2 * width // 3 :].any()


def test_the_legend_as_a_picture_differs_with_the_screen():
    none = legend_picture(SPAN, None, 640)
    cinema, television = (legend_picture(SPAN, BUILTIN_SCREENS[name], 640) for name in ("cinema-12m", "tv-55in"))
    assert none.shape[0] < cinema.shape[0]
    assert cinema.shape == television.shape
    assert (cinema != television).any()
