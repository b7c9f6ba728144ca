"""The try-out under a person's hands: keyboard, words, wiggle, copying, names with markup; in a real browser."""

import json
import re
import tomllib
from dataclasses import replace
from datetime import datetime, timedelta

import pytest
from browsing import until
from test_review_tryout_pictures import address, smooth_pair
from tryout_clips import clip_info, made_columns, made_version, one_shot, write_page

from postfix.limits import Limits
from postfix.plan.model import HitKey, ShotPlan, WindowKey
from postfix.plan.settings_file import read_settings
from postfix.review.clips import ReviewedClip, ReviewedShot
from postfix.review.tryout import tryout_data

NOON = datetime(2024, 6, 1, 12)
PLAN = ShotPlan("s001", 0, 9, hit=(HitKey(0, -0.4),))
EASED = ShotPlan("s001", 0, 9, hit=(HitKey(0, -0.5), HitKey(9, 0.5)), subpixel=True)


def data_of(plan=PLAN, **more):
    clip = one_shot(plan, made_columns(clip_info(), plan.last + 1), **more)
    return tryout_data(clip, clip.shots[0], tuple(address(eye) for eye in smooth_pair()))


def opened(page, folder, data):
    page.goto(write_page(folder, {"c0/0": data}).as_uri())
    page.locator("summary").first.click()
    page.locator(".try-canvas").wait_for()


def lines(page):
    """The lines for the plan, once they are shown."""
    page.evaluate("() => new Promise((done) => requestAnimationFrame(() => requestAnimationFrame(done)))")
    return page.locator(".try-toml").input_value()


def try_hit(page, value):
    page.get_by_label("HIT", exact=True).fill(str(value))


# --- opening -------------------------------------------------------------------------------------------------------


def test_nothing_is_loaded_before_it_is_opened_and_then_only_its_own(page, tmp_path):
    page.goto(write_page(tmp_path, {"c0/0": data_of(), "c0/1": data_of()}).as_uri())
    assert page.locator("head script").count() == 0
    page.locator("summary").nth(1).click()
    page.locator(".try-canvas").wait_for()
    assert page.locator("head script").evaluate_all("all => all.map((s) => s.getAttribute('src'))") == [
        "report/c0-1.js"
    ]
    page.locator("summary", has_text="Try another").nth(1).click()
    page.locator("summary", has_text="Try another").nth(1).click()
    assert page.locator(".try").count() == 1


def test_where_its_data_is_not_there_it_says_so_and_tries_again(chromium, tmp_path):
    context = chromium.new_context()
    page = context.new_page()  # a file that is missing is an error on the console, here an expected one
    path = write_page(tmp_path, {"c0/0": data_of()})
    beside = tmp_path / "report" / "c0-0.js"
    beside.rename(tmp_path / "away.js")
    page.goto(path.as_uri())
    page.locator("summary").click()
    page.get_by_role("alert").wait_for()
    assert "keep the folder beside the page" in page.get_by_role("alert").inner_text()
    (tmp_path / "away.js").rename(beside)
    page.locator("summary").click()
    page.locator("summary").click()
    page.locator(".try-canvas").wait_for()
    assert page.get_by_role("alert").count() == 0
    context.close()


# --- keyboard, labels, words ---------------------------------------------------------------------------------------


def test_everything_is_reached_and_done_from_the_keyboard(page, tmp_path):
    page.goto(write_page(tmp_path, {"c0/0": data_of(EASED)}).as_uri())
    page.keyboard.press("Tab")
    page.keyboard.press("Enter")
    page.locator(".try-canvas").wait_for()
    reached = []
    for _ in range(30):
        page.keyboard.press("Tab")
        reached.append(page.evaluate("() => [document.activeElement.tagName, document.activeElement.type].join(' ')"))
        name = page.evaluate("() => document.activeElement.labels?.[0]?.textContent || ''")
        if reached[-1] == "INPUT range" and reached.count("INPUT range") == 1:
            before = lines(page)
            page.keyboard.press("ArrowRight")
            assert lines(page) != before
            assert "pct = -0.49" in lines(page)
        if name.startswith("Hold one value"):
            page.keyboard.press("Space")
            assert "hit = [{frame = 0, pct = -0.49}]" in lines(page)
        if page.evaluate("() => document.activeElement.textContent") == "Back to the plan":
            page.keyboard.press("Enter")
            assert "Nothing differs" in lines(page)
            break
    assert {
        "SELECT select-one",
        "INPUT radio",
        "INPUT range",
        "INPUT number",
        "INPUT checkbox",
        "BUTTON button",
    } == set(reached)


def test_every_control_has_a_name(page, tmp_path):
    opened(page, tmp_path, data_of(EASED))
    nameless = page.locator(".try :is(input, select, textarea, button, canvas)").evaluate_all(
        """all => all.filter((e) => !(e.labels?.[0]?.textContent.trim() || e.getAttribute("aria-label")
            || (e.tagName === "BUTTON" && e.textContent.trim()))).map((e) => e.outerHTML)"""
    )
    assert nameless == []
    ids = page.locator("[id]").evaluate_all("all => all.map((e) => e.id)")
    assert len(ids) == len(set(ids))


def test_a_change_is_told_in_one_sentence_once_a_person_has_paused(page, tmp_path):
    page.clock.install(time=NOON)
    page.goto(write_page(tmp_path, {"c0/0": data_of()}).as_uri())
    page.locator("summary").first.click()
    page.clock.pause_at(NOON + timedelta(minutes=5))
    live = page.locator(".try > [role=status]")
    live.wait_for(state="attached")
    page.clock.run_for(2000)
    page.evaluate(
        """() => { window.told = [];
            const live = document.querySelector(".try > [role=status]");
            new MutationObserver(() => window.told.push(live.textContent)).observe(live, { childList: true }); }"""
    )
    for value in (0.1, 0.2, 0.3, 0.4, 0.5):
        try_hit(page, value)
        page.clock.run_for(200)
    assert page.evaluate("() => window.told") == []
    page.clock.run_for(1000)
    (told,) = page.evaluate("() => window.told")
    assert told.startswith("cinema-12m: HIT +0.50 %. ")
    assert told.endswith(page.locator(".try-verdict").inner_text())


def test_what_is_applied_is_said_in_whole_steps(page, tmp_path):
    opened(page, tmp_path, data_of())
    try_hit(page, 0.16)  # 3.07 px of 1920
    lines(page)
    assert "+3 px (left eye \u22121 px, right eye +2 px)" in page.locator(".try-applied").inner_text()


def test_the_hit_is_shown_with_what_decimals_are_good_for_and_fits_its_field(page, tmp_path):
    plan = ShotPlan("s001", 0, 9, hit=(HitKey(0, -22.402402),))
    opened(page, tmp_path, data_of(plan))
    field = page.get_by_label("HIT", exact=True)
    assert field.input_value() == "-22.4024"
    assert field.evaluate("e => e.scrollWidth <= e.clientWidth")
    assert "Nothing differs" in lines(page)  # it is shown rounded, and left alone
    try_hit(page, "-1.23456789")
    assert "pct = -1.2346" in lines(page)


def test_edges_say_by_how_much_they_are_outside_as_all_figures_do(page, tmp_path):
    opened(page, tmp_path, data_of())
    try_hit(page, -3)
    lines(page)
    rows = page.locator(".try-figures tbody tr").filter(has_text="✗")
    assert rows.count() >= 3
    data = data_of()
    for row in rows.all():
        cells = [" ".join(cell.split()) for cell in row.locator("td").all_inner_texts()]
        by = re.fullmatch(r"✗ outside by (\d+\.\d\d) % \(\d+(\.\d)? mm\)", cells[3])
        assert by, cells
        if "edge" in row.inner_text():
            now = float(cells[1].split(" %")[0])
            assert float(by[1]) == pytest.approx(now - data["edge_tolerance_pct"], abs=0.0101)


def test_the_frame_of_the_picture_has_its_timecode_where_there_is_one(page, tmp_path):
    data = data_of()
    opened(page, tmp_path, data)
    assert f"Frame {data['frame']}." in page.locator(".try-picture").inner_text()
    columns = made_columns(clip_info(), 10)
    version = made_version(columns, (PLAN,))
    codes = tuple(f"01:00:00:{frame:02d}" for frame in range(10))
    version = replace(version, frames=replace(version.frames, timecodes=codes))
    clip = ReviewedClip("c0", (version,), (ReviewedShot("c0n0", "s001", 0, 9, version.shots),), columns, "")
    data = tryout_data(clip, clip.shots[0], tuple(address(eye) for eye in smooth_pair()), frame=7)
    opened(page, tmp_path, data)
    assert "Frame 7, 01:00:00:07." in page.locator(".try-picture").inner_text()


def test_in_a_narrow_window_all_figures_are_seen_without_scrolling(page, tmp_path):
    page.set_viewport_size({"width": 480, "height": 1000})
    opened(page, tmp_path, data_of())
    try_hit(page, -3)
    lines(page)
    inside, needed = page.locator(".try-scroll").evaluate("e => [e.clientWidth, e.scrollWidth]")
    assert needed <= inside
    word = page.locator(".try-figures tbody tr").first.locator("td").nth(3).bounding_box()
    assert word["x"] + word["width"] <= 480
    heads = page.locator(".try-figures thead").bounding_box()
    first = page.locator(".try-figures tbody").bounding_box()
    assert heads["y"] + heads["height"] <= first["y"] + 1.0


def test_where_no_log_tells_the_step_it_is_said_what_was_taken(page, tmp_path):
    columns = made_columns(clip_info(), 10)
    version = made_version(columns, (PLAN,))
    version = replace(version, clip=replace(version.clip, step_px=None))
    clip = ReviewedClip("c0", (version,), (ReviewedShot("c0n0", "s001", 0, 9, version.shots),), None, "it is gone")
    opened(page, tmp_path, tryout_data(clip, clip.shots[0], tuple(address(eye) for eye in smooth_pair())))
    lines(page)
    assert "does not say in what steps" in page.locator(".try-applied").inner_text()


def test_far_beyond_the_eyes_is_said_in_degrees_and_never_as_a_distance(page, tmp_path):
    opened(page, tmp_path, data_of())
    row = page.locator(".try-figures tr").filter(has_text="Eyes turn apart")
    for value in (-50, -3, 0, 3, 50):
        try_hit(page, value)
        lines(page)
        text = row.inner_text()
        assert "Infinity" not in text
        assert "NaN" not in text
        assert "\u2212" not in text
    assert "wider than the eyes (65 mm)" in text
    assert "! the eyes turn apart" in text


def test_top_and_bottom_move_alike_only_where_they_are_asked_to(page, tmp_path):
    plan = ShotPlan("s001", 0, 9, window=(WindowKey(0, (10.0, 10.0), (0.0, 0.0)),))
    opened(page, tmp_path, data_of(plan))
    page.get_by_label("Left edge, top", exact=True).fill("12")
    assert "left_px = [12.0, 12.0], right_px = [0.0, 0.0]" in lines(page)
    page.get_by_label("Top and bottom alike").uncheck()
    page.get_by_label("Left edge, bottom", exact=True).fill("3.5")
    assert "left_px = [12.0, 3.5]" in lines(page)
    page.get_by_label("Top and bottom alike").check()
    assert "left_px = [12.0, 12.0]" in lines(page)


def test_windows_pulled_shut_are_no_window(page, tmp_path):
    plan = ShotPlan("s001", 0, 9, window=(WindowKey(0, (10.0, 10.0), (0.0, 0.0)),))
    opened(page, tmp_path, data_of(plan))
    page.get_by_label("Left edge, top", exact=True).fill("0")
    assert "\nwindow = []\n" in lines(page)


# --- screens -------------------------------------------------------------------------------------------------------


def test_another_screen_judges_what_was_tried_by_its_own_limits(page, tmp_path):
    opened(page, tmp_path, data_of())
    try_hit(page, 1.0)
    lines(page)
    far = page.locator(".try-figures tr").filter(has=page.get_by_role("rowheader", name="Far"))
    assert "+0.54 %" in far.inner_text()
    page.get_by_label("Screen", exact=True).select_option(label="tv-55in")
    assert 'screen "tv-55in"' in lines(page)
    assert "pct = 1.0" in lines(page)
    assert "+2.95 %" in far.inner_text()
    assert "inside" in far.inner_text()


def test_a_screen_that_is_cut_otherwise_cannot_be_chosen_and_says_why(page, tmp_path):
    columns = made_columns(clip_info(), 10)
    versions = tuple(made_version(columns, (PLAN,), name) for name in ("cinema-12m", "tv-55in"))
    shot = ReviewedShot("c0n0", "s001", 0, 9, (versions[0].shots[0], None))
    clip = ReviewedClip("c0", versions, (shot,), columns, "")
    data = tryout_data(clip, shot, tuple(address(eye) for eye in smooth_pair()))
    opened(page, tmp_path, data)
    other = page.get_by_label("Screen", exact=True).locator("option").nth(1)
    assert other.is_disabled()
    assert other.inner_text() == "tv-55in (cut otherwise, see its own card)"


# --- wiggle --------------------------------------------------------------------------------------------------------


@pytest.fixture
def wiggling(page, tmp_path):
    """The wiggle chosen and not yet started, on a clock that the test drives; changes of the eye are counted."""
    page.clock.install(time=NOON)
    page.goto(write_page(tmp_path, {"c0/0": data_of()}).as_uri())
    page.locator("summary").first.click()
    page.locator(".try-canvas").wait_for()
    page.clock.pause_at(NOON + timedelta(minutes=5))
    page.get_by_label("Wiggle").check()
    page.clock.run_for(1000)
    page.evaluate(
        """() => { window.changes = 0; let last = document.querySelector(".try-which").textContent;
            new MutationObserver(() => {
                const now = document.querySelector(".try-which").textContent;
                if (now !== last) window.changes++;
                last = now;
            }).observe(document.querySelector(".try-which"), { childList: true }); }"""
    )
    return page


def changes(page, milliseconds):
    before = page.evaluate("() => window.changes")
    page.clock.run_for(milliseconds)
    return page.evaluate("() => window.changes") - before


def test_the_wiggle_starts_only_when_asked_changes_twice_a_second_and_stops(wiggling):
    page = wiggling
    assert changes(page, 3000) == 0
    page.get_by_role("button", name="Start the wiggle").click()
    assert 5 <= changes(page, 3000) <= 6
    page.get_by_role("button", name="Stop the wiggle").click()
    page.clock.run_for(100)
    assert changes(page, 3000) == 0
    page.get_by_role("button", name="Start the wiggle").click()
    page.get_by_label("Anaglyph").check()
    page.clock.run_for(100)
    page.get_by_label("Wiggle").check()
    page.clock.run_for(100)
    assert changes(page, 3000) == 0


def test_the_eyes_never_change_more_than_three_times_a_second_however_often_the_button_is_pressed(wiggling):
    page, seen = wiggling, 0
    for _ in range(40):
        page.get_by_role("button", name="Show the other eye").click()
        seen += changes(page, 50)
    assert 3 <= seen <= 6  # in two seconds


def test_closed_it_stands_still(wiggling):
    page = wiggling
    page.get_by_role("button", name="Start the wiggle").click()
    page.clock.run_for(1200)
    # That it was closed is told by an event, which the page's own clock does not hold up; this hears it last.
    page.evaluate("() => { document.addEventListener('toggle', () => { window.told = true; }, true); }")
    page.locator("summary", has_text="Try another").click()
    until(page, "window.told === true")
    assert changes(page, 3000) == 0


def test_where_little_motion_is_wanted_it_moves_by_the_button_alone(wiggling):
    page = wiggling
    page.get_by_role("button", name="Start the wiggle").click()
    # So is another wish of the system.
    page.evaluate(
        """() => { window.wish = matchMedia("(prefers-reduced-motion: reduce)");
            window.wish.addEventListener("change", () => { window.told = true; }); }"""
    )
    page.emulate_media(reduced_motion="reduce")
    until(page, "window.told === true")
    assert changes(page, 3000) == 0
    assert not page.get_by_role("button", name="Start the wiggle").is_visible()
    page.get_by_role("button", name="Show the other eye").click()
    assert changes(page, 500) == 1


# --- copying -------------------------------------------------------------------------------------------------------


def test_the_lines_are_copied(chromium, tmp_path):
    context = chromium.new_context(permissions=["clipboard-read", "clipboard-write"])
    page = context.new_page()
    opened(page, tmp_path, data_of())
    try_hit(page, -1.25)
    text = lines(page)
    page.get_by_role("button", name="Copy for the plan").click()
    page.get_by_text("Copied.").wait_for()
    assert page.evaluate("() => navigator.clipboard.readText()") == text
    context.close()


def test_where_the_browser_refuses_the_text_is_selected_and_a_person_is_told(page, tmp_path):
    opened(page, tmp_path, data_of())
    try_hit(page, -1.25)
    text = lines(page)
    page.evaluate(
        """() => { navigator.clipboard.writeText = () => Promise.reject(new Error("no"));
            document.execCommand = () => false; }"""
    )
    page.get_by_role("button", name="Copy for the plan").click()
    page.get_by_text("press Ctrl+C").wait_for()
    assert page.evaluate("() => getSelection().toString()").strip() == text.strip()


def test_the_pin_is_one_that_a_settings_file_takes(page, tmp_path):
    opened(page, tmp_path, data_of())
    try_hit(page, -1.25)
    lines(page)
    (tmp_path / "set.toml").write_text(page.locator(".try-pin").input_value())
    (pin,) = read_settings(tmp_path / "set.toml").pins
    assert (pin.shot, [key.pct for key in pin.hit]) == ("s001", [-1.25])


HOSTILE = '<img src=x onerror="alert(1)">\n"\'\\ ]] # {\x01\u2028</script><b>\U0001fa81'


def test_names_with_markup_show_as_text_and_make_valid_toml(page, tmp_path):
    plan = ShotPlan(HOSTILE, 0, 9, hit=(HitKey(0, -0.4),))
    data = data_of(plan) | {"clip": HOSTILE}
    data["screens"][0]["name"] = HOSTILE
    data["screens"][0]["rules"] = dict.fromkeys(("near", "far", "range"), HOSTILE)
    text = json.dumps(data)
    assert "<img" in text
    opened(page, tmp_path, data)
    try_hit(page, -1.25)
    assert tomllib.loads(lines(page)) == {"hit": [{"frame": 0, "pct": -1.25}], "zoom": 1.0}
    pin = tomllib.loads(page.locator(".try-pin").input_value())
    assert pin == {"pin": [{"shot": HOSTILE, "hit": -1.25}]}
    assert page.locator(".tryout :is(img, b, script)").count() == 0
    assert "<img src=x" in page.locator(".try-figures").inner_text()


def test_a_limit_that_is_not_known_is_not_judged(page, tmp_path):
    columns = made_columns(clip_info(), 10)
    version = replace(made_version(columns, (PLAN,)), limits=Limits(-1.75, float("inf"), float("inf")))
    clip = ReviewedClip("c0", (version,), (ReviewedShot("c0n0", "s001", 0, 9, version.shots),), columns, "")
    data = tryout_data(clip, clip.shots[0], tuple(address(eye) for eye in smooth_pair()))
    json.dumps(data, allow_nan=False)
    opened(page, tmp_path, data)
    far = page.locator(".try-figures tr").filter(has=page.get_by_role("rowheader", name="Far"))
    assert "? not known" in far.inner_text()
