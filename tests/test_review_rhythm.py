"""The depth rhythm and comfort over time: drawings and tables that need no script."""

import re
from dataclasses import replace
from fractions import Fraction
from xml.etree import ElementTree

import pytest
from browsing import until
from review_job import PLANS, write_source, write_version
from review_page import asset
from story_entries import SCREENS, story_for, with_story
from tryout_clips import clip_info, made_clip, made_columns, made_version

from postfix.plan.model import ShotPlan
from postfix.review.charts import MOST_NAMED
from postfix.review.clips import reviewed_clips
from postfix.review.comfort import comfort_html, programmes_html
from postfix.review.report import write_report
from postfix.review.rhythm import rhythm_html, rhythm_svg
from postfix.story.model import Stretch

NAN = float("nan")
CINEMA, TV = SCREENS.values()
HOSTILE = '"><img src=x onerror=alert(1)>&'
SPANS = [("s0", 0, 9), ("s1", 10, 29), ("s2", 30, 39), ("s3", 40, 59)]
PCTS = [(-1.0, 0.0, 0.4), (-0.8, -0.5, 0.2), (NAN, NAN, NAN), (-0.2, 1.0, 1.4)]


def version_of(spans, pcts, screen=CINEMA, **more):
    plans = tuple(ShotPlan(name, first, last) for name, first, last in spans)
    version = made_version(made_columns(clip_info(), plans[-1].last + 1), plans, screen.name)
    story = story_for(screen, spans, pcts, **more)
    shots = tuple(replace(shot, story=told) for shot, told in zip(version.shots, story.shots))
    return replace(version, shots=shots, story=story)


def drawn(version):
    """The drawing as a tree, and its paths by their class."""
    tree = ElementTree.fromstring(rhythm_svg(version, version.story, "r"))
    return tree, {path.get("class"): path.get("d") for path in tree.iter("path")}


def bars(path):
    """Left, top, width and height of each bar of a path."""
    return [tuple(map(float, one)) for one in re.findall(r"M([\d.]+) ([\d.]+)h([\d.]+)v([\d.]+)h-[\d.]+z", path)]


def test_each_measured_shot_is_a_bar_with_a_tick_and_the_others_are_said_not_to_be_measured():
    version = version_of(SPANS, PCTS)
    tree, paths = drawn(version)
    depth = next(path.get("d") for path in tree.iter("path") if path.get("class") == "bar")
    assert len(bars(depth)) == 3
    assert paths["main"].count("M") == 3
    assert paths["unknown"].count("M") == 1
    assert "1 shot not measured (s2)" in tree.find("desc").text


def test_bars_lie_where_shots_do_in_time_and_heights_go_with_depth():
    tree, _ = drawn(version_of(SPANS, PCTS))
    first, second, last = bars(next(path.get("d") for path in tree.iter("path") if path.get("class") == "bar"))
    # 10, 20 and 20 of 60 frames, with a gap of 2 px, over 1200 px; ranges of 1.4, 1.0 and 1.6 %: computed.
    assert [bar[2] for bar in (first, second, last)] == [198.0, 398.0, 398.0]
    assert second[3] / first[3] == pytest.approx(1.0 / 1.4, abs=0.01)
    assert last[3] / first[3] == pytest.approx(1.6 / 1.4, abs=0.01)
    # Up is behind the screen.
    assert last[1] < first[1] < second[1]


def test_a_jump_is_a_line_as_long_as_the_jump_and_a_hard_one_has_a_sign():
    spans = [("s0", 0, 9), ("s1", 10, 19), ("s2", 20, 29)]
    tree, paths = drawn(version_of(spans, [(-0.5, 0.0, 0.5), (-0.4, 0.1, 0.6), (-1.7, -1.2, -0.7)]))
    ticks = [float(y) for y in re.findall(r"M[\d.]+ ([\d.]+)h", paths["main"])]
    (plain,) = re.findall(r"M[\d.]+ ([\d.]+)V([\d.]+)", paths["jump"])
    (hard,) = re.findall(r"M[\d.]+ ([\d.]+)V([\d.]+)", paths["jump hard"])
    assert list(map(float, plain)) == pytest.approx(ticks[:2], abs=0.11)
    assert list(map(float, hard)) == pytest.approx(ticks[1:], abs=0.11)
    assert paths["sign"].count("M") == 1
    assert "1 hard jump at cuts (into s2)" in tree.find("desc").text


def test_the_line_keeps_the_length_of_the_jump_where_the_main_mass_moves_inside_the_shots():
    version = version_of(SPANS[:2], PCTS[:2])
    eased = replace(version.story.shots[1], cut=replace(version.story.shots[1].cut, jump_pct=-0.25))
    _, paths = drawn(version)
    _, eased_paths = drawn(replace(version, story=replace(version.story, shots=(version.story.shots[0], eased))))

    def length(path):
        start, end = re.findall(r"M[\d.]+ ([\d.]+)V([\d.]+)", path)[0]
        return float(end) - float(start)

    assert length(eased_paths["jump"]) == pytest.approx(length(paths["jump"]) / 2.0, abs=0.11)


def test_runs_of_quick_cuts_are_bracketed_from_their_first_shot_to_the_end_of_their_last():
    _, paths = drawn(version_of(SPANS, PCTS, quick_runs=[(1, 2)]))
    (ends,) = re.findall(r"M([\d.]+) [\d.]+v8H([\d.]+)v-8", paths["run"])
    # Frames 10 to 40 of 60, over 1200 px that begin at 74: computed.
    assert tuple(map(float, ends)) == (274.0, 874.0)


def test_where_far_has_no_distance_the_bar_is_open_and_no_drawing_holds_a_distance_for_it():
    version = version_of(SPANS, PCTS)
    tree, paths = drawn(version)
    # On 12 m far of +1.40 % is 168 mm, more than the eyes are apart: computed.
    assert paths["open"].count("M") == 1
    assert "z" not in paths["open"]
    assert "In 1 shot far has no distance: eyes parallel or apart (s3)" in tree.find("desc").text
    whole = ElementTree.tostring(tree, "unicode")
    assert not re.search(r"∞|infinit|\binf\b|nan", whole)


def test_limits_that_are_not_far_off_are_lines_and_others_stand_in_words():
    _, paths = drawn(version_of(SPANS, PCTS))
    assert paths["limit"].count("M") == 2
    small = version_of(SPANS, PCTS, TV)
    far_off = replace(small, limits=replace(small.limits, near_pct=-40.0, far_pct=50.0))
    _, paths = drawn(far_off)
    assert "limit" not in paths
    (html,) = [rhythm_html(made_clip(None, [far_off]))]
    assert "Limits: near −40.00 %, far +50.00 %." in html.replace("\N{NO-BREAK SPACE}", " ")


def test_timecodes_stand_at_both_ends_and_frames_where_there_are_none():
    version = version_of(SPANS, PCTS)
    codes = tuple(f"01:00:{frame // 24:02d}:{frame % 24:02d}" for frame in range(60))
    tree, _ = drawn(replace(version, frames=replace(version.frames, timecodes=codes)))
    texts = [text.text for text in tree.iter("text")]
    assert "01:00:00:00" in texts
    assert "01:00:02:11" in texts
    tree, _ = drawn(version)
    texts = [text.text for text in tree.iter("text")]
    assert "frame 0" in texts
    assert "frame 59" in texts


def test_a_clip_of_one_frame_and_one_in_which_nothing_was_measured_can_be_drawn():
    tree, _ = drawn(version_of([("s0", 0, 0)], [(-0.5, 0.0, 0.5)]))
    assert "1 shot; near to far from −0.50 % to +0.50 %" in tree.find("desc").text
    tree, paths = drawn(version_of(SPANS, [(NAN, NAN, NAN)] * 4))
    assert tree.find("desc").text.startswith("4 shots. 0 hard jumps at cuts.")
    assert "bar" not in paths
    assert paths["unknown"].count("M") == 4


def test_two_thousand_shots_stay_small_and_each_is_wide_enough_to_be_seen():
    spans = [(f"sh{i:04d}", 15 * i, 15 * i + 14) for i in range(2000)]
    pcts = [(-1.0 - i % 7 / 10.0, -0.3 + i % 3, 0.2 + i % 5 / 10.0) for i in range(2000)]
    version = version_of(spans, pcts, quick_runs=[(i, i + 4) for i in range(0, 1990, 10)])
    svg = rhythm_svg(version, version.story, "r")
    assert len(svg.encode()) < 250_000
    tree, _ = drawn(version)
    # One element for each kind, however many shots there are.
    assert len(list(tree.iter("path"))) < 20
    widths = [bar[2] for bar in bars(next(path.get("d") for path in tree.iter("path") if path.get("class") == "bar"))]
    assert len(widths) == 2000
    assert min(widths) > 3.0
    assert f"and {2000 - MOST_NAMED - 1} more" in tree.find("desc").text or "hard jumps" in tree.find("desc").text


def test_names_from_outside_are_text():
    version = version_of([(HOSTILE, 0, 9), (HOSTILE, 10, 19)], [(-0.5, 0.0, 3.5), (NAN, NAN, NAN)])
    version = replace(version, screen=replace(version.screen, name=HOSTILE), story=replace(version.story, line=HOSTILE))
    clip = made_clip(None, [version])
    for html in (rhythm_html(clip), comfort_html(clip)):
        assert "<img" not in html
        assert "&lt;img" in html
    ElementTree.fromstring(rhythm_svg(version, version.story, "r"))


def test_logs_without_a_story_have_neither_part():
    clip = made_clip(None, [replace(version_of(SPANS, PCTS), story=None)])
    assert (rhythm_html(clip), comfort_html(clip)) == ("", "")


def rows_of(html):
    body = html.split("<tbody>")[1]
    return [
        [re.sub(r"<[^>]*>", " ", cell).split() for cell in re.findall(r"<t[hd][^>]*>(.*?)</t[hd]>", row)]
        for row in re.findall(r"<tr>(.*?)</tr>", body)
    ]


def test_comfort_tells_seconds_and_percent_of_what_was_measured_the_whole_clip_first():
    version = version_of(SPANS, PCTS)
    whole = Stretch(0.0, 3661.25, 1000.0, 250.0, 0.04, 1000.0, 7, 3, 30, 2)
    last = Stretch(3660.0, 1.25, 0.0, 0.0, 0.0, 0.0, 1, 0)
    story = replace(version.story, whole=whole, minutes=(last,), line="One line for those who look after viewers.")
    html = comfort_html(made_clip(None, [replace(version, story=story)]))
    assert "<p>One line for those who look after viewers.</p>" in html
    first, second = [[" ".join(cell) for cell in row] for row in rows_of(html)]
    assert first == [
        "Whole clip", "1000.0 s of 3661.2 s", "250.0 s 25.0 %", "0.0 s 0.0 %", "1000.0 s 100.0 %", "7", "3", "2 of 30",
    ]  # fmt: skip
    assert second == ["1:01:00 to 1:01:01.2", "0.0 s of 1.2 s", *["not measured"] * 3, "1", "0", "0 of 0"]


def test_the_page_says_on_what_the_figures_were_measured():
    version = version_of(SPANS, PCTS)
    for measured_on, words in (
        ("finished", "Measured on the finished files."),
        ("planned", "Reckoned from the source and the plan"),
        ("source", "as they were given"),
    ):
        clip = made_clip(None, [replace(version, story=replace(version.story, measured_on=measured_on))])
        assert words in rhythm_html(clip)
        assert words in comfort_html(clip)


def test_a_click_on_a_shot_goes_to_its_card_and_one_beside_the_plot_nowhere(page, tmp_path):
    sources = write_source(tmp_path / "source")
    spans = [(plan.name, plan.first, plan.last) for plan in PLANS]
    for name, screen in SCREENS.items():
        folder = write_version(tmp_path / "out" / name, sources, screen=name)
        with_story(folder, story_for(screen, spans, PCTS[:3]))
    page.goto(write_report(tmp_path / "out").as_uri())
    drawing = page.locator(".rhythm svg").nth(1)
    until(page, "document.querySelectorAll('.rhythm.clickable').length === 2")
    drawing.click(position={"x": 20, "y": 100})
    assert page.evaluate("location.hash") == ""
    # The second of three shots, of 1200 px that begin at 74.
    drawing.click(position={"x": 74 + 600, "y": 100})
    until(page, "location.hash === '#c0n1'")
    assert page.evaluate("document.activeElement.id") == "c0n1"


def test_the_clip_is_read_with_its_story_and_the_rate_counts_for_nothing_in_the_drawing(tmp_path):
    sources = write_source(tmp_path / "source")
    folder = write_version(tmp_path / "out" / "cinema-12m", sources)
    spans = [(plan.name, plan.first, plan.last) for plan in PLANS]
    with_story(folder, story_for(CINEMA, spans, PCTS[:3]))
    (clip,) = reviewed_clips(tmp_path / "out")
    (version,) = clip.versions
    assert version.clip.rate == Fraction(24)
    assert rhythm_html(clip).count('data-lengths="4 4 4"') == 1
    assert "data-cards" not in rhythm_html(clip)


def test_a_page_of_several_clips_begins_with_all_of_them_together():
    one, other = (made_clip(None, [version_of(SPANS, PCTS)]) for _ in range(2))
    assert programmes_html([one]) == ""
    html = programmes_html([one, other])
    assert html.count("<p>") == 1
    assert f"<strong>{one.versions[0].screen.name}</strong>, 2 clips: Of 1.0 s" in html
    planned = replace(other.versions[0], story=replace(other.versions[0].story, measured_on="planned"))
    assert "Reckoned from the plan" in programmes_html([one, replace(other, versions=(planned,))])
    # Another screen, or another figure of what is hard, is no part of it; nor is there one where nothing is told.
    assert programmes_html([one, replace(other, versions=(replace(other.versions[0], jump_arcmin=20.0),))]) == ""
    untold = [replace(clip, versions=(replace(clip.versions[0], story=None),)) for clip in (one, other)]
    assert programmes_html(untold) == ""


@pytest.mark.parametrize("kind", ["rhythm", "chart"])
def test_words_of_a_legend_stand_beside_their_sign_also_where_they_take_several_lines(page, tmp_path, kind):
    signs = '<svg viewBox="0 0 44 14"></svg>'
    items = "".join(f"<li>{signs}{'words of a sign that go on ' * n}</li>" for n in (1, 3))
    style = asset("style.css") + asset("story.css") + asset("charts.css")
    path = tmp_path / "legend.html"
    path.write_text(f'<!DOCTYPE html><style>{style}</style><ul class="{kind}-legend">{items}</ul>', encoding="utf-8")
    page.set_viewport_size({"width": 480, "height": 600})
    page.goto(path.as_uri())
    for sign, lines in page.evaluate(
        """() => [...document.querySelectorAll("li")].map((item) => {
          const words = document.createRange();
          words.selectNodeContents(item.lastChild);
          return [item.firstChild.getBoundingClientRect().toJSON(),
            [...words.getClientRects()].map((line) => line.toJSON())];
        })"""
    ):
        assert all(line["left"] >= sign["right"] for line in lines)
        # The sign is as high as the first line.
        assert lines[0]["top"] <= sign["top"] + sign["height"] / 2 <= lines[0]["bottom"]
    assert len(lines) > 1
