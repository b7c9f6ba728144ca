"""The look of the page: contrast, focus, light and dark, narrow windows and paper, in a real browser."""

import re
from dataclasses import replace

import imageio.v3 as imageio
import numpy as np
import pytest
from review_job import write_source, write_version
from review_page import NAN, asset, base_clip, clip_of, write_page

from postfix.review.report import write_report

SCREENS = ("cinema-12m", "tablet-11in", "tv-55in")
SURFACES = ("--ground", "--sheet", "--faint")
TEXT_CONTRAST, LINE_CONTRAST = 4.5, 3.0
"""Least contrast of text and of what controls and drawings are recognised by: WCAG 2.2, success criteria 1.4.3 and
1.4.11. Source status: from memory."""


def blocks():
    """The variables of the style sheet by the selector and media that they stand under."""
    text = re.sub(r"/\*.*?\*/", "", asset("style.css"), flags=re.DOTALL)
    return {
        " ".join(head.split()).removeprefix("} "): dict(re.findall(r"(--[\w-]+):\s*([^;}]+);", body))
        for head, body in re.findall(r"((?:@media[^{]*\{\s*)?:root[^{]*)\{([^}]*)\}", text)
    }


LIGHT = ":root"
DARK = "@media screen and (prefers-color-scheme: dark) { :root:not([data-theme=light])"
DARK_CHOSEN = "@media screen { :root[data-theme=dark]"


def contrast(one, other):
    """Contrast of two colours as WCAG 2.2 defines it, from relative luminance of sRGB. Source status: from memory."""
    light, dark = sorted((luminance(one), luminance(other)), reverse=True)
    return (light + 0.05) / (dark + 0.05)


def luminance(colour):
    linear = [c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in channels(colour)]
    return sum(weight * c for weight, c in zip((0.2126, 0.7152, 0.0722), linear))


def channels(colour):
    return [int(colour[i : i + 2], 16) / 255.0 for i in (1, 3, 5)]


def test_contrast_is_21_between_black_and_white():
    assert contrast("#000000", "#ffffff") == pytest.approx(21.0)


@pytest.mark.parametrize("theme", [LIGHT, DARK])
def test_all_text_stands_out_from_what_it_is_on(theme):
    colours = blocks()[theme]
    for ink in ("--ink", "--soft", "--before", "--after", "--bad", "--limit", "--edge"):
        for surface in SURFACES:
            assert contrast(colours[ink], colours[surface]) >= TEXT_CONTRAST, (ink, surface)


@pytest.mark.parametrize("theme", [LIGHT, DARK])
def test_controls_lines_and_the_focus_stand_out_from_what_they_are_on(theme):
    colours = blocks()[theme]
    for line in ("--control", "--before", "--after", "--limit", "--edge", "--focus"):
        for surface in SURFACES:
            assert contrast(colours[line], colours[surface]) >= LINE_CONTRAST, (line, surface)


@pytest.mark.parametrize("theme", [LIGHT, DARK])
def test_before_and_after_differ_from_yellow_to_blue_which_hardly_anyone_confuses(theme):
    def blueness(name):
        red, green, blue = channels(blocks()[theme][name])
        return blue - (red + green) / 2.0

    assert blueness("--before") < -0.2
    assert blueness("--after") > 0.15


def test_both_dark_themes_are_the_same_and_not_pure_white_on_black():
    found = blocks()
    assert set(found) == {LIGHT, DARK, DARK_CHOSEN}
    assert found[DARK] == found[DARK_CHOSEN]
    assert found[DARK].keys() == found[LIGHT].keys()
    assert 0.0 < luminance(found[DARK]["--ground"]) < luminance(found[DARK]["--sheet"])
    assert luminance(found[DARK]["--ink"]) < 0.8


def test_the_style_sheet_asks_for_nothing_from_elsewhere():
    assert not re.search(r"@import|url\(|https?:", asset("style.css"))


@pytest.fixture(scope="module")
def written(tmp_path_factory):
    folder = tmp_path_factory.mktemp("page")
    how = {"hit_pct": -1.0, "window_px": 6.0, "near_pct": -2.5, "flags": ("near", "range")}
    shots = [("a_name_without_any_place_to_break_it" * 3, 4, (how,) * 3), *[(f"s{i}", 9, ({},) * 3) for i in range(40)]]
    return write_page(folder, clip_of(base_clip(folder, SCREENS), shots))


@pytest.fixture
def opened(page, written):
    page.goto(written.as_uri())
    return page


def ground(page):
    return page.evaluate("getComputedStyle(document.body).backgroundColor")


def rgb(theme, name):
    red, green, blue = (round(c * 255.0) for c in channels(blocks()[theme][name]))
    return f"rgb({red}, {green}, {blue})"


def test_the_system_decides_between_light_and_dark_until_the_reader_does(opened):
    button = opened.get_by_role("button", name="Colours")
    opened.emulate_media(color_scheme="dark")
    assert ground(opened) == rgb(DARK, "--ground")
    button.click()
    assert (button.text_content(), ground(opened)) == ("Colours: light", rgb(LIGHT, "--ground"))
    opened.emulate_media(color_scheme="light")
    button.click()
    assert (button.text_content(), ground(opened)) == ("Colours: dark", rgb(DARK, "--ground"))
    opened.reload()
    assert ground(opened) == rgb(DARK, "--ground")
    button.click()
    assert (button.text_content(), ground(opened)) == ("Colours: as the system", rgb(LIGHT, "--ground"))


def test_a_page_that_may_remember_nothing_works_all_the_same(page, written):
    page.add_init_script(
        "Object.defineProperty(window, 'localStorage', { get() { throw new DOMException('no', 'SecurityError'); } })"
    )
    page.goto(written.as_uri())
    button = page.get_by_role("button", name="Colours")
    button.click()
    button.click()
    assert ground(page) == rgb(DARK, "--ground")


def test_the_focus_is_seen(opened):
    opened.keyboard.press("Tab")
    opened.keyboard.press("Tab")
    style = opened.evaluate("(() => { const s = getComputedStyle(document.activeElement); return [s.outlineStyle, "
                            "s.outlineWidth, s.outlineColor]; })()")  # fmt: skip
    assert style == ["solid", "3px", rgb(LIGHT, "--focus")]


def test_text_is_large_and_controls_are_easy_to_hit(opened):
    assert float(opened.evaluate("parseFloat(getComputedStyle(document.body).fontSize)")) >= 16.0
    least = opened.evaluate(
        "Math.min(...[...document.querySelectorAll('body *')].filter(e => e.checkVisibility() && e.childNodes.length)"
        ".map(e => parseFloat(getComputedStyle(e).fontSize)))"
    )
    assert least >= 13.0
    heights = opened.evaluate(
        "[...document.querySelectorAll('button, select, input[type=search], .filters label, summary')]"
        ".filter(e => e.checkVisibility()).map(e => e.getBoundingClientRect().height)"
    )
    assert min(heights) >= 32.0


CLIPPED = """() => {
  const scrolls = (e) => ['auto', 'scroll'].includes(getComputedStyle(e).overflowX);
  const boxed = (e) => { for (let at = e.parentElement; at; at = at.parentElement) if (scrolls(at)) return true; };
  const wide = document.documentElement.clientWidth;
  // Parts of drawings are the drawings' own affair; words for screen readers are one pixel wide.
  const all = [...document.querySelectorAll('main, main *')].filter((e) => e.checkVisibility()
    && !(e instanceof SVGElement && e.ownerSVGElement) && !e.closest('.legend-store') && e.offsetWidth !== 1);
  return all.filter((e) => {
    const box = e.getBoundingClientRect();
    return (!boxed(e) && box.right > wide + 0.5) || box.left < -0.5 ||
      (getComputedStyle(e).overflowX === 'hidden' && e.scrollWidth > e.clientWidth + 1);
  }).map((e) => e.outerHTML.slice(0, 120));
}"""
"""What reaches out of the window, or of a box that neither shows it nor can be scrolled."""


@pytest.mark.parametrize("width", [1400, 480])
def test_nothing_reaches_out_of_the_window(opened, width):
    opened.set_viewport_size({"width": width, "height": 900})
    assert opened.evaluate(CLIPPED) == []
    assert opened.evaluate("document.documentElement.scrollWidth") <= width


def test_at_1400_px_every_column_is_seen_without_scrolling(opened):
    for box in (".rows", "#c0n0 .box"):
        inside, needed = opened.locator(box).evaluate("e => [e.clientWidth, e.scrollWidth]")
        assert needed <= inside, box


def test_what_scrolls_can_be_reached_by_keys_and_has_a_name(opened):
    opened.set_viewport_size({"width": 480, "height": 900})
    for box in (".rows", "#c0n0 .box"):
        found = opened.locator(box)
        assert found.evaluate("e => e.scrollWidth > e.clientWidth")
        assert (found.get_attribute("tabindex"), found.get_attribute("role")) == ("0", "region")
        assert found.get_attribute("aria-label")


def test_the_head_stays_in_sight_while_the_rows_scroll(opened):
    opened.locator(".rows").evaluate("e => { e.scrollTop = 900; }")
    top, head = opened.evaluate(
        "['.rows', '.rows thead'].map(e => document.querySelector(e).getBoundingClientRect().top)"
    )
    assert head == pytest.approx(top, abs=2.0)


@pytest.fixture(scope="module")
def real(tmp_path_factory):
    """The real page of a job in which hardly anything was measured after the change: the widest cells there are."""
    folder = tmp_path_factory.mktemp("real")
    sources = write_source(folder / "source")
    for screen in SCREENS[:2]:
        write_version(folder / "out" / screen, sources, screen=screen, near=(-12.34, NAN, NAN), far=(12.34, NAN, NAN))
    return write_report(folder / "out")


@pytest.mark.parametrize("width", [1160, 1241, 1280, 1400, 1600])
def test_figures_of_a_card_are_seen_without_scrolling_where_nothing_was_measured(page, real, width):
    page.set_viewport_size({"width": width, "height": 900})
    page.goto(real.as_uri())
    seen = set()
    for card in page.locator("article.card").all():
        card.scroll_into_view_if_needed()
        for box in card.locator(".box").all():
            inside, needed, text = box.evaluate("e => [e.clientWidth, e.scrollWidth, e.innerText]")
            assert needed <= inside, text
            seen.add("not measured" in text)
    assert True in seen


def test_a_box_that_is_cut_off_shows_a_shadow_at_that_side(opened):
    opened.set_viewport_size({"width": 480, "height": 900})
    box = opened.locator("#c0n0 .box")
    box.scroll_into_view_if_needed()

    def shades():
        """How much darker than the sheet each side of the box is."""
        picture = imageio.imread(box.screenshot(), extension=".png")[..., :3].astype(float)
        sheet = picture[2:-2, picture.shape[1] // 2].max()
        return [sheet - np.percentile(picture[:, column], 90) for column in (1, -2)]

    left, right = shades()
    assert (left < 8.0, right > 40.0) == (True, True), (left, right)
    box.evaluate("e => { e.scrollLeft = e.scrollWidth; }")
    left, right = shades()
    assert (left > 40.0, right < 8.0) == (True, True), (left, right)


# 210 mm less two margins of 12 mm, at 96 px to the inch: computed.
PAPER_PX = int(186.0 / 25.4 * 96.0)


def test_on_paper_nothing_is_cut_off_and_controls_are_gone(opened):
    opened.emulate_media(media="print", color_scheme="dark")
    opened.set_viewport_size({"width": PAPER_PX, "height": 1000})
    assert opened.evaluate(CLIPPED) == []
    for box in (".rows", "#c0n0 .box"):
        inside, needed = opened.locator(box).evaluate("e => [e.clientWidth, e.scrollWidth]")
        assert needed <= inside, box
    heads = opened.eval_on_selector_all(".rows thead th", "all => all.map(head => head.innerText.trim())")
    assert heads == ["No. ▴", "Shot", "Frames", *SCREENS]
    assert (
        opened.locator(".sorts:visible, .tools:visible, select:visible, input:visible, .filters:visible").count() == 0
    )
    # All rows, not only those of the box that scrolls; and ink on white though the system is dark.
    assert opened.locator(".rows").evaluate("e => e.clientHeight >= e.querySelector('table').offsetHeight")
    assert opened.evaluate("getComputedStyle(document.querySelector('h1')).color") == rgb(LIGHT, "--ink")
    assert opened.evaluate("getComputedStyle(document.querySelector('.rows tbody')).display") == "table-row-group"


def test_more_screens_than_a_sheet_has_room_for_print_beneath_each_other(page, tmp_path):
    clip = base_clip(tmp_path)
    many = replace(clip, versions=clip.versions * 4, shots=tuple(replace(s, results=s.results * 4) for s in clip.shots))
    page.goto(write_page(tmp_path, many).as_uri())
    page.emulate_media(media="print")
    page.set_viewport_size({"width": PAPER_PX, "height": 1000})
    found = page.eval_on_selector_all(
        ".rows tbody tr:first-child td[data-on]",
        "all => all.map(e => [getComputedStyle(e, '::before').content, Math.round(e.getBoundingClientRect().width)])",
    )
    assert [words for words, _ in found] == ['"cinema-12m"', '"tv-55in"'] * 4
    assert min(width for _, width in found) > 160
    inside, needed = page.locator(".rows").evaluate("e => [e.clientWidth, e.scrollWidth]")
    assert needed <= inside


def test_the_page_prints_on_a4(opened):
    pdf = opened.pdf(prefer_css_page_size=True)
    sizes = {tuple(round(float(v)) for v in box.split()) for box in re.findall(rb"/MediaBox \[([^\]]*)\]", pdf)}
    assert sizes == {(0, 0, 595, 842)}
