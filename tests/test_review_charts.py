"""The chart over time: its figures as packed, its words, and what a browser makes of it."""

import base64
import json
import zlib
from bisect import bisect_right
from dataclasses import replace
from fractions import Fraction
from html.parser import HTMLParser
from itertools import pairwise

import numpy as np
import pytest
from browsing import until
from chart_page import made_clip, made_version, spoilt, write_page
from drop_frame import DROP_FRAME_TABLE
from hypothesis import given, settings
from hypothesis import strategies as st
from review_job import write_source, write_version

from postfix.errors import InputError
from postfix.limits import Limits
from postfix.review.charts import charts_html, edge_pct
from postfix.review.clips import ReviewedClip, ReviewedShot, reviewed_clips
from postfix.review.frames import FIGURES, MISSING, STEPS, Clock, clock_of, frames_data, packed, whole
from postfix.review.runs import read_version
from postfix.source.timecode import timecode_at, timecode_from_frames

NAN = float("nan")
NTSC, NTSC_2 = Fraction(30000, 1001), Fraction(60000, 1001)
EVIL = '<b>x</b> <a href="http://example.org">y</a> </script> "\'& &lt;i&gt;'
SHORT = (40, 75, 12, 110, 1, 96)


def unpacked(pack):
    """The columns of a pack read back, apart from the page's own reading."""
    content = np.frombuffer(zlib.decompress(base64.b64decode(pack["block"]), -15), np.uint8)
    found = {}
    for name, planes in zip(pack["names"], content.reshape(max(1, len(pack["names"])), 4, -1)):
        folded = np.ascontiguousarray(planes.T).view("<u4").ravel()
        steps = (folded >> 1).astype(np.int64) ^ -(folded & 1).astype(np.int64)
        found[name] = np.cumsum(steps).astype(np.int32)
    return found


# ---- figures as packed


@given(st.lists(st.one_of(st.none(), st.floats(-199999.0, 199999.0)), min_size=1, max_size=60), st.booleans())
def test_packed_figures_come_back_to_the_last_decimal_of_the_log(values, related):
    column = whole(np.array([NAN if value is None else value for value in values]))
    was = whole(np.linspace(-3.0, 5.0, len(values))) if related else None
    other = np.arange(len(values), dtype=np.int32)
    pack = packed({"a": column, "b": other}, None if was is None else {"a": was, "b": other})
    assert np.array_equal(unpacked(pack)["b"], other - (0 if was is None else other))
    if all(value is None for value in values):
        assert (pack["names"], pack["empty"]) == (["b"], ["a"])
        return
    found = (unpacked(pack)["a"].astype(np.int64) + (0 if was is None else was)).astype(np.int32)
    for value, number in zip(values, found.tolist()):
        assert number == (MISSING if value is None else round(value * STEPS))


def test_a_figure_that_can_be_none_is_refused():
    with pytest.raises(InputError, match="a figure of 1e\\+06"):
        whole(np.array([0.0, 1e6]), "changes.csv, near_before_pct")


def test_the_data_hold_no_nan_and_nothing_where_nothing_is_known():
    clip = made_clip(spoilt(made_version([5, 5]), near_after_pct=lambda v: v * NAN))
    data = frames_data(clip)
    json.dumps(data, allow_nan=False)
    assert data["screens"][0]["after"]["empty"] == ["near"]


def test_what_was_before_is_written_once_for_screens_that_agree_on_it():
    one, two = made_version([9, 9]), made_version([9, 9], "tv-55in")
    other = spoilt(two, near_before_pct=lambda v: v - 0.5)
    assert len(frames_data(made_clip(one, two))["before"]) == 1
    data = frames_data(made_clip(one, other))
    assert [screen["before"] for screen in data["screens"]] == [0, 1]


def test_a_screen_that_is_cut_otherwise_has_its_own_shots_and_a_longer_one_its_own_frames():
    one, two = made_version([6, 6]), made_version([6, 8], "tv-55in")
    keys = [(one.shots[0], two.shots[0]), (one.shots[1], None), (None, two.shots[1])]
    shots = tuple(
        ReviewedShot(f"c0n{i}", plan.name, plan.first, plan.last, pair)
        for i, (pair, plan) in enumerate((pair, (pair[0] or pair[1]).plan) for pair in keys)
    )
    data = frames_data(ReviewedClip("c0", (one, two), shots, None, ""))
    assert [screen["shots"] for screen in data["screens"]] == [[0, 1], [0, 2]]
    assert data["frames"] == 14
    assert unpacked(data["before"][0])["near"][12:].tolist() == [MISSING, MISSING]


def test_the_axes_hold_every_figure_and_limits_that_are_not_far_off():
    version = spoilt(made_version([9, 9]), far_after_pct=lambda v: v + 6.0)
    far_off = replace(version, limits=Limits(-90.0, 0.5, 9.0))
    low, high = frames_data(made_clip(far_off))["spans"]["depth"]
    assert high > version.frames["far_after_pct"].max()
    assert -90.0 < low < version.frames["near_before_pct"].min()


@pytest.mark.parametrize(
    ("timecode", "rate", "clock"),
    [
        ("01:00:00:00", Fraction(24), Clock(86400, 24)),
        ("00:59:59:00", Fraction(24000, 1001), Clock(86376, 24)),
        ("00:00:59;29", NTSC, Clock(1799, 30, 2)),
        ("00:00:00;00", NTSC_2, Clock(0, 60, 4)),
        (None, Fraction(25), Clock(None, 25)),
    ],
)
def test_timecode_is_told_as_its_start_and_way_of_counting(timecode, rate, clock):
    assert clock_of(made_version([40], rate=rate, timecode=timecode)) == clock


def test_timecodes_that_do_not_count_on_are_left_out_rather_than_made_up():
    version = made_version([40])
    codes = (*version.frames.timecodes[:-1], "02:00:00:00")
    assert clock_of(replace(version, frames=replace(version.frames, timecodes=codes))).start is None


def test_the_chart_shows_the_window_as_the_parallax_of_the_edge(tmp_path):
    # Hiding w px at the left edge of the left eye puts that edge at −w (computed).
    write_version(tmp_path / "out" / "cinema-12m", write_source(tmp_path / "in"))
    version = read_version(tmp_path / "out" / "cinema-12m")
    top, bottom = edge_pct(version, "left")
    assert (top[8], bottom[8], top[11], bottom[11]) == pytest.approx((-2.0, -4.0, -3.0, -6.0))
    # HIT −2 px: the left eye moves right and is bare at its left, the right eye at its right: both edges come forward.
    right_top, _ = edge_pct(version, "right")
    assert (top[5], right_top[5]) == pytest.approx((-0.5, -0.5))
    assert top[:4].tolist() == [0.0] * 4
    (clip,) = reviewed_clips(tmp_path / "out")
    edges = frames_data(clip)["screens"][0]["edges"]
    assert unpacked(edges)["left_bottom"][[8, 11]].tolist() == [-40000, -60000]


# ---- words


class Words(HTMLParser):
    """Text of a page; tags must close in order."""

    def __init__(self, text):
        super().__init__()
        self.open, self.words, self.tags = [], [], set()
        self.feed(text)
        self.close()
        assert self.open == []

    def handle_starttag(self, tag, attrs):
        assert not any(name.startswith("on") for name, _ in attrs)
        self.tags.add(tag)
        if tag not in ("input", "path"):
            self.open.append(tag)

    def handle_endtag(self, tag):
        assert tag == "path" or self.open.pop() == tag

    def handle_data(self, data):
        self.words.append(data)

    @property
    def text(self):
        return " ".join(" ".join(self.words).split())


def test_the_words_say_what_the_chart_shows_on_each_screen():
    version = spoilt(
        made_version([4, 4]),
        near_before_pct=lambda v: v * 0 - 1.2,
        far_before_pct=lambda v: v * 0 + 0.8,
        near_after_pct=lambda v: np.array([-1.8, *[-1.0] * 7]),
        far_after_pct=lambda v: v * 0 + 0.5,
        median_after_pct=lambda v: v * 0 - 0.1,
        left_edge_after_pct=lambda v: v * NAN,
        window_left_top_px=lambda v: v * 0 + 3.0,
    )
    tv = spoilt(made_version([4, 4], "tv-55in"), near_after_pct=lambda v: v * NAN)
    text = Words(charts_html(made_clip(version, tv), "a.js", "b.js")).text
    assert "Before : near to far from −1.20 % to +0.80 %" in text
    # Limits of the built-in cinema screen as the page has them everywhere: +0.54 % and −1.75 % (computed).
    assert (
        "After, for cinema-12m : near to far from −1.80 % to +0.50 %, median from −0.10 % to −0.10 %; "
        "8 of 8 frames measured. Limits: near −1.75 %, far +0.54 %. "
        "1 frame is nearer than its limit, in 1 shot (sh0010). No measured frame is farther than its limit. "
        "No content measured at the left edge" in text
    )
    assert "window up to " in text
    assert "After, for tv-55in : nothing was measured." in text


def test_names_from_outside_are_text_in_the_page():
    version = made_version([4, 4], names=[EVIL, "b"])
    version = replace(version, screen=replace(version.screen, name=EVIL), limits=Limits(-0.1, 0.1, 1.0))
    html = charts_html(made_clip(version), "report/c0/frames.js", "report/plotly.min.js")
    assert "<b>" not in html
    page = Words(html)
    assert not page.tags & {"b", "a", "script"}
    assert f"{EVIL} " in page.text


# ---- in a browser


def opened(page, path):
    page.goto(path.as_uri())
    page.wait_for_selector("#c0-chart:not([data-state=waiting]):not([data-state=loading])")
    assert page.get_attribute("#c0-chart", "data-state") == "ready", page.inner_text(".chart-message")


def looked_at(chromium, path):
    """A page that several tests share, since reading the chart library takes a second; no error may be told on it."""
    page, faults = chromium.new_page(viewport={"width": 1400, "height": 1000}), []
    page.on("console", lambda message: faults.append(message.text) if message.type == "error" else None)
    page.on("pageerror", lambda error: faults.append(str(error)))
    page.on("request", lambda request: faults.append(request.url) if request.url.startswith("http") else None)
    opened(page, path)
    yield page
    page.close()
    assert faults == []


def shown(page, first, last):
    """Bring frames into view."""
    page.evaluate("([from, to]) => postfix.charts.of('c0').view(from, to)", [first, last])


POINTS = """() => Object.fromEntries(document.querySelector('.chart-canvas').data
    .filter((trace) => trace.meta && trace.meta.series)
    .map((trace) => [trace.meta.series, trace.x.map((x, i) => [x, trace.y[i]])]))"""


def lines(page):
    """Points of each line as drawn, None where it breaks."""
    return page.evaluate(POINTS)


SERIES = {
    f"{name}_{when}": f"{name}_{when}_pct"
    for name in ("near", "far", "median", "left_edge", "right_edge")
    for when in ("before", "after")
} | {f"{side}_{end}_window": f"window_{side}_{end}_px" for side in ("left", "right") for end in ("top", "bottom")}


@pytest.fixture(scope="module")
def short_clip():
    """334 frames in six shots, one of them a single frame, for two screens; some frames were not measured."""
    holes = [7, 57, 60, 107, 200]

    def holed(values):
        values[holes] = NAN
        return values

    first = spoilt(made_version(SHORT), near_before_pct=holed, far_after_pct=lambda v: v * NAN, near_after_pct=holed)
    second = spoilt(made_version(SHORT, "tv-55in"), near_before_pct=holed, near_after_pct=lambda v: v - 0.25)
    return made_clip(first, second)


@pytest.fixture(scope="module")
def short_page(chromium, short_clip, tmp_path_factory):
    yield from looked_at(chromium, write_page(tmp_path_factory.mktemp("short"), short_clip))


@pytest.fixture(scope="module")
def long_clip():
    """20,000 frames in some 260 shots, with gaps and wild frames."""
    random = np.random.default_rng(5)
    lengths = [*random.integers(1, 120, 250).tolist(), *[900] * 5]
    lengths += [20_000 - sum(lengths)]
    gaps = random.random(20_000) < 0.05
    gaps[9000:9400] = True
    return made_clip(
        spoilt(
            made_version(lengths),
            near_before_pct=lambda v: np.where(gaps, NAN, v),
            far_after_pct=lambda v: np.where(gaps, NAN, v + 3.0 * (random.random(v.size) < 0.001)),
        )
    )


@pytest.fixture(scope="module")
def long_page(chromium, long_clip, tmp_path_factory):
    yield from looked_at(chromium, write_page(tmp_path_factory.mktemp("long"), long_clip, cards=False))


def test_a_short_clip_has_a_point_for_every_measured_frame_and_lines_end_at_cuts(short_page, short_clip):
    found = lines(short_page)
    assert set(SERIES) <= set(found)
    cuts = np.cumsum(SHORT)[:-1]
    for series, column in SERIES.items():
        values = short_clip.versions[0].frames[column]
        drawn = [(x, y) for x, y in found[series] if y is not None]
        assert [x for x, _ in drawn] == np.flatnonzero(np.isfinite(values)).tolist()
        assert [y for _, y in drawn] == values[np.isfinite(values)].tolist()
        joined = [(a[0], b[0]) for a, b in pairwise(found[series]) if None not in (a[1], b[1])]
        assert not any(a < cut <= b for a, b in joined for cut in cuts)
        assert all(b - a == 1 for a, b in joined)  # what was not measured is a gap
    assert found["far_after"] == []  # and never a zero


def test_after_lines_are_those_of_the_screen_that_is_chosen(short_page, short_clip):
    page = short_page
    drawn = """(yes) => yes === document.querySelector(".chart-canvas").data
        .some((trace) => trace.name === "far_after" && trace.x.length > 0)"""
    page.focus("input[name=c0-screen]")
    page.keyboard.press("ArrowRight")  # a radio button, chosen without a mouse
    page.wait_for_function(drawn, arg=True)
    near = [y for _, y in lines(page)["near_after"] if y is not None]
    assert np.allclose(near, short_clip.versions[1].frames["near_after_pct"], rtol=0.0, atol=1e-4)
    page.focus(".chart-plot")
    page.keyboard.press("End")
    assert "After, for tv-55in: far" in page.inner_text(".chart-said")
    page.check("input[name=c0-screen][value='0']")
    page.wait_for_function(drawn, arg=False)


def kept_of(values, starts, least):
    """Extremes of runs of frames; NaN where nothing was measured."""
    return (np.fmin if least else np.fmax).reduceat(values, starts)


@pytest.mark.parametrize("view", [(0, 19_999), (2_000, 9_000), (8_500, 10_100), (17_000, 19_999)])
def test_columns_keep_extremes_at_every_zoom_and_no_line_crosses_a_cut(long_page, long_clip, view):
    page, clip = long_page, long_clip
    (version,) = clip.versions
    shown(page, *view)
    columns = page.evaluate("() => postfix.charts.of('c0').columns")
    starts, ends, step = columns["starts"], columns["ends"], columns["step"]
    assert len(starts) <= 1500
    assert step > 1
    assert starts[0] <= view[0]
    assert ends[-1] >= view[1]
    assert [end + 1 for end in ends[:-1]] == starts[1:]
    cuts = [shot.first for shot in clip.shots[1:]]
    found = lines(page)
    for series, column in SERIES.items():
        values = version.frames[column][: ends[-1] + 1]
        drawn = [(x, y) for x, y in found[series] if y is not None]
        if not series.startswith("median"):
            wanted = kept_of(values, starts, least="near" in series or "edge" in series)
            wanted = np.repeat(wanted[np.isfinite(wanted)], 2)
            assert np.allclose([y for _, y in drawn], wanted, rtol=0.0, atol=1e-9)
        else:
            # A real frame's value of that very column.
            for (left, y), (right, _) in zip(drawn[::2], drawn[1::2]):
                start, end = _column_at(starts, ends, (left + right) / 2)
                assert y in values[start : end + 1]
        for (ax, ay), (bx, by) in pairwise(found[series]):
            # Both ends of one column are joined, whatever cuts it holds: it is one value.
            if ay is not None and by is not None and _column_at(starts, ends, ax) != _column_at(starts, ends, bx):
                assert bisect_right(cuts, ax + 0.5) == bisect_right(cuts, bx + 0.5)


def _column_at(starts, ends, x):
    at = bisect_right(starts, x + 0.5) - 1
    return starts[at], ends[at]


def test_zoomed_in_a_long_clip_shows_every_frame_exactly(long_page, long_clip):
    version = long_clip.versions[0]
    shown(long_page, 9300, 9500)
    assert "Every frame is drawn" in long_page.inner_text(".chart-detail")
    found = lines(long_page)
    for series in ("near_before", "far_after", "left_top_window"):
        values = version.frames[SERIES[series]]
        drawn = {x: y for x, y in found[series] if y is not None and 9300 <= x <= 9500}
        assert drawn == {
            frame: pytest.approx(values[frame]) for frame in range(9300, 9501) if np.isfinite(values[frame])
        }


def test_cuts_are_few_shapes_however_many_there_are(long_page, long_clip):
    shapes = "() => document.querySelector('.chart-canvas').layout.shapes"
    shown(long_page, 0, 19_999)
    assert len(long_page.evaluate(shapes)) < 20
    assert "Cuts are marks at the top" in long_page.inner_text(".chart-detail")
    shown(long_page, 0, 400)
    path = next(shape["path"] for shape in long_page.evaluate(shapes) if shape["type"] == "path")
    cuts = [shot.first for shot in long_clip.shots if 0 < shot.first <= 400]
    assert [f"M{cut - 0.5:g}," in path for cut in cuts] == [True] * len(cuts)


@settings(deadline=None, max_examples=60)
@given(data=st.data())
def test_columns_hold_every_frame_once_and_break_at_every_cut(data, short_page):
    count = data.draw(st.integers(1, 4000))
    cuts = sorted(data.draw(st.sets(st.integers(1, count), max_size=60)) - {count})
    start = data.draw(st.integers(0, count - 1))
    end = data.draw(st.integers(start, count - 1))
    most = data.draw(st.integers(20, 200))
    found = short_page.evaluate("([a, b, c, d]) => postfix.charts.columnsOf(a, b, c, d)", [start, end, cuts, most])
    starts, ends, broken = found["starts"], found["ends"], found["broken"]
    assert len(starts) <= most
    assert starts[0] == start
    assert ends[-1] == end
    assert [e + 1 for e in ends[:-1]] == starts[1:]
    assert (found["step"] == 1) == (end - start + 1 <= most)
    for i in range(len(starts) - 1):
        assert broken[i] == any(starts[i] < cut <= ends[i + 1] for cut in cuts)


def test_the_page_counts_drop_frame_as_published(short_page):
    clock = {"start": 0, "nominal": 30, "dropped": 2}
    for frames, text in DROP_FRAME_TABLE:
        assert short_page.evaluate("([f, c]) => postfix.charts.timecodeText(f, c)", [frames, clock]) == text
        assert short_page.evaluate("([t, c]) => postfix.charts.framesOf(t, c)", [text, clock]) == frames


@pytest.mark.parametrize(
    ("rate", "drop"),
    [
        (NTSC, True),
        (NTSC_2, True),
        (NTSC, False),
        (NTSC_2, False),
        (Fraction(24000, 1001), False),
        (Fraction(24), False),
        (Fraction(25), False),
    ],
)
def test_the_page_counts_timecode_as_the_program_does(short_page, rate, drop):
    frames = [*range(0, 40_000, 17), *range(1790, 1810), *range(17_970, 18_010), *range(0, 6_000_000, 29_973)]
    version = made_version([2], rate=rate, timecode=timecode_from_frames(0, rate, drop))
    clock = frames_data(made_clip(version))["clock"]
    ask = """([frames, clock]) => frames.map((frame) => {
        const text = postfix.charts.timecodeText(frame, clock);
        return [text, postfix.charts.framesOf(text, clock)];
    })"""
    texts = [timecode_from_frames(frame, rate, drop) for frame in frames]
    day = 24 * 3600 * clock["nominal"] - clock["dropped"] * (24 * 60 - 144)
    assert short_page.evaluate(ask, [frames, clock]) == [[text, f % day] for text, f in zip(texts, frames)]


@pytest.mark.parametrize(
    ("typed", "meant"),
    [
        ("17", 17),
        ("01:00:02:00", 48),
        ("01:00:02.00", 48),
        ("00:59:59:23", "The clip has frames 0 (01:00:00:00) to 333 (01:00:13:21)."),
        ("400", "The clip has frames 0 (01:00:00:00) to 333 (01:00:13:21)."),
        ("01:00:02:24", "“01:00:02:24” is neither a frame nor a timecode of this clip."),
        ("soon", "“soon” is neither a frame nor a timecode of this clip."),
    ],
)
def test_go_to_takes_a_frame_or_a_timecode_and_says_why_not(short_page, typed, meant):
    clock = {"start": 86400, "nominal": 24, "dropped": 0}
    assert short_page.evaluate("([t, c]) => postfix.charts.frameMeant(t, c, 334)", [typed, clock]) == meant


@pytest.mark.parametrize(("span", "most", "step"), [(3.0, 7, 0.5), (7.0, 7, 1.0), (0.9, 5, 0.2), (40.0, 7, 10.0)])
def test_parallax_ticks_are_round(short_page, span, most, step):
    assert short_page.evaluate("([s, m]) => postfix.charts.niceStep(s, m)", [span, most]) == pytest.approx(step)


@pytest.mark.parametrize(
    ("frames", "nominal", "step"),
    [(5, 24, 1), (12, 24, 2), (196, 24, 48), (24 * 600, 24, 24 * 120), (10**7, 24, 1250000)],
)
def test_time_ticks_fall_on_whole_seconds_where_there_are_several(short_page, frames, nominal, step):
    assert short_page.evaluate("([f, n]) => postfix.charts.frameStep(f, n, 8)", [frames, nominal]) == step


def test_up_is_behind_the_screen(short_page):
    low, high = short_page.evaluate("() => document.querySelector('.chart-canvas').layout.yaxis.range")
    assert low < 0.0 < high


def test_the_chart_is_used_by_keyboard_alone(short_page, short_clip):
    page, version = short_page, short_clip.versions[0]
    shown(page, 0, 333)
    page.focus(".chart-plot")

    def pressed(*keys):
        for key in keys:
            page.keyboard.press(key)
        return page.inner_text(".chart-said")

    near = f"{version.frames['near_before_pct'][1]:+.2f} %".replace("-", "−")
    said = pressed("Home", "ArrowRight")
    assert said.startswith("Frame 1, 01:00:00:01. Shot sh0010. Before: far ")
    assert f"near {near}" in said
    assert pressed("Shift+ArrowRight").startswith("Frame 25, 01:00:01:01.")
    assert pressed("PageDown").startswith("Frame 40, 01:00:01:16. Shot sh0020.")
    assert pressed("PageDown").startswith("Frame 115,")
    assert pressed("ArrowRight", "PageUp").startswith("Frame 115,")
    assert pressed("PageUp").startswith("Frame 40,")
    span = "() => { const c = postfix.charts.of('c0'); return c.to - c.from + 1; }"
    pressed("+", "+")
    assert page.evaluate(span) == pytest.approx(334 / 4)
    assert page.evaluate("() => { const c = postfix.charts.of('c0'); return c.from <= 40 && 40 <= c.to; }")
    assert pressed("End").startswith("Frame 333,")
    assert page.evaluate("() => postfix.charts.of('c0').to") >= 333
    pressed("-", "-", "-")
    assert page.evaluate(span) == 334
    pressed("Enter")
    assert page.evaluate("location.hash") == "#c0n5"
    page.fill("#c0-goto", "01:00:02:00")
    page.keyboard.press("Enter")
    assert page.inner_text(".chart-said").startswith("Frame 48,")


def plot_point(page, frame, panel_y=200):
    """Where a frame lies on the page."""
    box = page.locator(".chart-plot").bounding_box()
    return box["x"] + 1 + page.evaluate("(f) => postfix.charts.of('c0').xOf(f)", frame), box["y"] + panel_y


def test_the_pointer_shows_timecode_frame_shot_and_figures_and_a_click_goes_to_the_shot(short_page, short_clip):
    page, version = short_page, short_clip.versions[0]
    shown(page, 0, 333)
    page.evaluate("() => document.querySelector('.chart-plot').scrollIntoView()")
    page.mouse.move(*plot_point(page, 60))
    text = page.inner_text(".chart-box")
    assert "Frame 60, 01:00:02:12" in text
    assert "Shot sh0020" in text
    median = f"{version.frames['median_before_pct'][60]:+.2f} %".replace("-", "−")
    assert f"Median\t{median}\t" in text
    assert "Near\tnot measured\tnot measured" in text
    page.mouse.click(*plot_point(page, 60, 600))
    assert page.evaluate("location.hash") == "#c0n1"


def test_a_drag_zooms_and_the_lines_are_reckoned_anew(long_page):
    page = long_page
    shown(page, 0, 19_999)
    before = page.evaluate("() => postfix.charts.of('c0').columns.step")
    start, end = plot_point(page, 5000), plot_point(page, 6000)
    page.mouse.move(*start)
    page.mouse.down()
    page.mouse.move(*end, steps=5)
    page.mouse.up()
    page.wait_for_function("(step) => postfix.charts.of('c0').columns.step < step", arg=before)
    low, high = page.evaluate("() => { const c = postfix.charts.of('c0'); return [c.from, c.to]; }")
    assert (low, high) == pytest.approx((5000, 6000), abs=60)
    assert page.evaluate("location.hash") == ""
    page.click("text=Whole clip")
    assert page.evaluate("() => postfix.charts.of('c0').columns.step") == before


def test_names_from_outside_are_text_in_the_chart(page, tmp_path):
    tags = "<b>x</b> <a href='#'>y</a> &lt;"
    version = made_version([60, 60], names=[tags, EVIL], timecode=None)
    version = replace(version, screen=replace(version.screen, name="<b>s</b>"), limits=Limits(-0.1, 0.1, 1.0))
    opened(page, write_page(tmp_path, made_clip(version)))
    drawn = page.evaluate("() => [...document.querySelectorAll('.chart-canvas text')].map((t) => t.textContent)")
    assert tags in drawn
    assert any(len(text) > 20 and text.endswith("…") and EVIL.startswith(text[:-1]) for text in drawn)
    assert any("<b>s</b>" in text for text in drawn)
    assert page.evaluate("() => document.querySelectorAll('.chart-canvas a').length") == 0
    page.mouse.move(*plot_point(page, 100))
    assert f"Shot {EVIL}" in page.inner_text(".chart-box")
    assert page.evaluate("() => document.querySelectorAll('.chart-box :is(a, b, i, script)').length") == 0
    page.focus(".chart-plot")
    page.keyboard.press("Home")
    # A clip without timecode has none made up.
    assert page.inner_text(".chart-said").startswith(f"Frame 0. Shot {tags}. Before: ")


def test_a_page_without_its_folder_says_what_is_missing(chromium, tmp_path):
    path = write_page(tmp_path, made_clip(made_version([3])))
    (tmp_path / "report" / "plotly.min.js").unlink()
    page = chromium.new_page()  # what is missing is an error on the console, as it should be
    page.goto(path.as_uri())
    page.wait_for_selector("[data-state=failed]")
    assert "plotly.min.js is not there; keep the folder beside the page" in page.inner_text(".chart-message")
    assert page.is_hidden(".chart-controls")
    page.close()


def test_paper_is_light_and_the_screen_goes_back_to_dark(short_page):
    page = short_page
    page.emulate_media(color_scheme="dark")
    page.wait_for_function("() => document.querySelector('.chart-canvas').layout.paper_bgcolor !== '#ffffff'")
    ground = "() => document.querySelector('.chart-canvas').layout.paper_bgcolor"
    dark = page.evaluate(ground)
    page.evaluate("() => window.dispatchEvent(new Event('beforeprint'))")
    assert page.evaluate(ground) == "#ffffff"
    assert page.evaluate("() => document.querySelector('.chart-canvas').layout.width") <= 700
    page.evaluate("() => window.dispatchEvent(new Event('afterprint'))")
    assert page.evaluate(ground) == dark
    page.emulate_media(color_scheme="light")
    page.wait_for_function("() => document.querySelector('.chart-canvas').layout.paper_bgcolor === '#ffffff'")


def test_the_whole_log_reaches_the_chart(page, tmp_path):
    sources = write_source(tmp_path / "in")
    for screen in ("cinema-12m", "tv-55in"):
        write_version(tmp_path / "out" / screen, sources, screen=screen)
    (clip,) = reviewed_clips(tmp_path / "out")
    opened(page, write_page(tmp_path, clip))
    found = lines(page)
    assert len([y for _, y in found["near_after"] if y is not None]) == 12
    assert timecode_at("01:00:00:00", 11, Fraction(24)) == "01:00:00:11"
    page.focus(".chart-plot")
    page.keyboard.press("End")
    assert "Frame 11, 01:00:00:11. Shot spool." in page.inner_text(".chart-said")


def test_what_has_not_been_measured_stays_inside_the_box_beside_the_pointer(page, tmp_path):
    names = [f"{name}_{when}_pct" for name in FIGURES for when in ("before", "after")]
    clip = made_clip(spoilt(made_version([30]), **dict.fromkeys(names, lambda v: v * NAN)))
    page.goto(write_page(tmp_path, clip).as_uri())
    until(page, "document.querySelector('.depth-chart').dataset.state === 'ready'")
    for width in (1400, 480):
        page.set_viewport_size({"width": width, "height": 1000})
        # The library fits the chart to another window a moment later.
        until(page, "document.querySelector('.chart-canvas .main-svg').getBoundingClientRect().right <= innerWidth")
        page.focus(".chart-plot")
        for key in ("Home", "End"):
            page.keyboard.press(key)
            assert page.inner_text(".chart-box").count("not measured") == 10
            box, table, plot = (
                page.locator(where).bounding_box() for where in (".chart-box", ".chart-box table", ".chart-plot")
            )
            assert box["x"] < table["x"]
            assert table["x"] + table["width"] < box["x"] + box["width"]
            assert plot["x"] <= box["x"]
            assert box["x"] + box["width"] <= plot["x"] + plot["width"]


MARKS = """() => Object.fromEntries(document.querySelector(".chart-canvas").data
    .filter((trace) => trace.name.endsWith("_marks"))
    .map((trace) => [trace.name, [trace.marker.symbol, trace.x, trace.mode]]))"""


def test_marks_stand_apart_so_that_dashes_are_seen_and_the_median_has_its_own(page, tmp_path):
    page.goto(write_page(tmp_path, made_clip(made_version([24, 1, 40]))).as_uri())
    until(page, "document.querySelector('.depth-chart').dataset.state === 'ready'")
    lines_of = "[...document.querySelector('.chart-canvas').data].filter(t => t.meta.series).map(t => t.mode)"
    assert set(page.evaluate(lines_of)) == {"lines"}
    found = page.evaluate(MARKS)
    wide = page.evaluate("postfix.charts.of('c0').inner / 65")
    for name, (_, frames, mode) in found.items():
        assert mode == "markers"
        assert 24 in frames, name  # a frame without neighbours has no line
        others = [frame for frame in frames if frame != 24]
        assert len(others) > 5
        assert min(b - a for a, b in pairwise(others)) * wide >= 50.0, name
    symbols = {name: symbol for name, (symbol, *_) in found.items()}
    assert symbols["near_before_marks"] == symbols["far_before_marks"] == "circle-open"
    assert symbols["near_after_marks"] == symbols["far_after_marks"] == "square"
    assert (symbols["median_before_marks"], symbols["median_after_marks"]) == ("diamond-open", "diamond")
    assert (symbols["left_top_window_marks"], symbols["left_bottom_window_marks"]) == ("square", "square-open")
    legend = page.inner_text(".chart-legend")
    for words in (
        "dashed, with open circles: near and far before",
        "with open diamonds: median before",
        "with squares and filled between: near and far after",
        "with diamonds: median after",
        "rows of the windows: solid, with squares, at the top; dashed, with open ones, at the bottom",
    ):
        assert words in legend


def test_damaged_figures_are_an_error_and_never_figures(short_page):
    pack = packed({"near": np.arange(40, dtype=np.int32)})
    cut = {**pack, "block": base64.b64encode(base64.b64decode(pack["block"])[:-6]).decode("ascii")}
    script = (
        "async ([pack, n]) => { try { await postfix.charts.unpacked(pack, n); } catch (error) { return 'refused'; } }"
    )
    assert short_page.evaluate(script, [pack, 40]) is None
    for given_pack, frames in ((pack, 39), (pack, 41), (cut, 40), ({**pack, "block": ""}, 40)):
        assert short_page.evaluate(script, [given_pack, frames]) == "refused"


def test_library_and_figures_of_the_first_chart_are_asked_for_at_once(page, tmp_path):
    page.add_init_script(
        "document.addEventListener('DOMContentLoaded', () => { window.asked = "
        "[...document.head.querySelectorAll('script[src]')].map(s => [s.getAttribute('src'), s.fetchPriority]); })"
    )
    clips = [made_clip(made_version([9]), ident=ident) for ident in ("c0", "c1")]
    page.goto(write_page(tmp_path, *clips).as_uri())
    asked = page.evaluate("window.asked")
    assert asked[:2] == [["report/plotly.min.js", "high"], ["report/c0/frames.js", "high"]]
