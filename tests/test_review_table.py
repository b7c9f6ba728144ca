"""The table of shots and screens: what its cells say, and its filters, sorting and keys in a real browser."""

import re
from dataclasses import replace

import pytest
from review_page import NAN, base_clip, clip_of, result, write_page

from postfix.plan.model import Flag
from postfix.review.overview import overview
from postfix.review.verdict import cannot_fit, worst

HOSTILE = '<b onmouseover="x">&"\'</b><script>throw 1</script>'
SHOTS = (
    # Cinema (the limits: far +0.54, near −1.75, range 1.75), then television (near −2.95).
    ("kite_10", 4, ({}, {"hit_pct": 1.0})),
    ("kite_9", 6, ({"hit_pct": -1.0, "near_pct": -2.5, "flags": ("near", "range")}, {"near_pct": -2.5})),
    ("mast", 2, ({"window_px": 6.0, "near_pct": -1.5}, {})),
    ("fog", 8, ({"flags": ("not-measured",)}, {"flags": ("not-measured",)})),
    (HOSTILE, 5, ({"near_pct": -0.5}, {"hit_pct": -3.0, "near_pct": -3.5, "flags": ("near",)})),
    ("only_cinema", 3, ({"hit_pct": 0.5}, None)),
)


@pytest.fixture(scope="module")
def base(tmp_path_factory):
    return base_clip(tmp_path_factory.mktemp("clip"))


@pytest.fixture(scope="module")
def clip(base):
    return clip_of(base, SHOTS)


@pytest.fixture(scope="module")
def written(clip, tmp_path_factory):
    return write_page(tmp_path_factory.mktemp("page"), clip)


@pytest.fixture
def table(page, written):
    page.goto(written.as_uri())
    return page


def shown(page, of=".rows tbody tr"):
    """Names of the rows, or the cards, that are in sight, in order."""
    name = "th a" if of == ".rows tbody tr" else "h4"
    return page.eval_on_selector_all(
        f"{of}:not([hidden])", f"all => all.map(one => one.querySelector('{name}').textContent)"
    )


def names(*numbers):
    return [SHOTS[number][0] for number in numbers]


def count(page):
    return page.locator(".count").text_content()


# What the cells say


def test_a_shot_cannot_fit_where_anything_but_what_could_not_be_judged_is_flagged(base):
    shot = base.versions[0].shots[0]
    assert not cannot_fit(replace(shot, flags=()))
    assert not cannot_fit(replace(shot, flags=(Flag("not-measured", ""),)))
    for code in ("far", "near", "range", "left-edge", "right-edge", "window"):
        assert cannot_fit(replace(shot, flags=(Flag("not-measured", ""), Flag(code, ""))))


def test_the_worst_figure_comes_with_what_it_is_beyond_its_limit(base):
    limits, shot = base.versions[0].limits, base.versions[0].shots[0]
    # Near −2.5 % is beyond a limit of −1.7 % by the rest; far 0 % is inside a far limit by all of it (computed).
    found = worst(result(shot, "a", 0, 3, near_pct=-2.5), limits)
    assert found.excess_pct == pytest.approx(limits.near_pct + 2.5)
    assert found.text.startswith("near −2.50 %, limit −1.7")
    inside = worst(result(shot, "a", 0, 3, near_pct=0.0), limits)
    assert inside.excess_pct == pytest.approx(-limits.far_pct)
    unknown = replace(shot.after, far_pct=NAN, near_pct=NAN, range_pct=NAN, left_excess_pct=NAN, right_excess_pct=NAN)
    for after in (None, unknown):
        found = worst(replace(shot, after=after), limits)
        assert found.excess_pct != found.excess_pct
        assert found.text == "not measured"


def test_every_shot_has_a_row_with_a_cell_for_each_screen(clip):
    text = overview(clip)
    rows = re.findall(r"<tr role=row data-card=.*?(?=<tr|</tbody>)", text)
    assert [re.search(r"data-card=(\w+)", row)[1] for row in rows] == [shot.ident for shot in clip.shots]
    assert all(row.count("<td ") == 2 + len(clip.versions) for row in rows)
    marks = ["".join(re.findall(r'data-is="([a-z]*)"', row)) for row in rows]
    assert ["".join(str(int(one in on_any)) for one in "cfm") for on_any in marks] == [
        "100", "111", "100", "010", "111", "100",
    ]  # fmt: skip
    assert "HIT +1.00\N{NO-BREAK SPACE}%" in rows[0]
    assert "▲ outside its limits" in rows[1]
    assert 'data-worst="0.7' in rows[1]
    assert "window left 6\N{NO-BREAK SPACE}px" in rows[2]
    assert "? could not be judged" in rows[3] or "? an edge could not be judged" in rows[3]
    assert "not cut like this here" in rows[5]
    assert all(f"{shot.timecode_in}<" in row for shot, row in zip(clip.versions[0].shots, rows))


def test_what_is_not_known_has_no_figure_to_sort_by(clip):
    shot = replace(clip.shots[0].any_result, after=None)
    first = replace(clip.shots[0], results=(shot, shot))
    text = overview(replace(clip, shots=(first, *clip.shots[1:])))
    assert text.count('data-worst=""') == 2
    assert "nan" not in text


def test_the_summary_counts_each_screen(clip):
    text = overview(clip)
    assert "4 of 11 results (6 shots on 2 screens) stay outside their limits or could not be judged (▲ and ?)." in text
    assert (
        "cinema-12m: 2 moved, 1 windowed, 3 left as shot, 1 outside their limits, 1 not judged.<br>"
        "tv-55in: 2 moved, 3 left as shot, 1 outside their limits, 1 not judged." in text
    )


def test_a_row_takes_few_bytes(clip):
    # A page of 2,000 shots on three screens has to stay far below 25 MB.
    rows = re.search(r"<tbody.*</tbody>", overview(replace(clip, shots=clip.shots[:4])))[0]
    assert len(rows.encode()) / 4 / len(clip.versions) < 450


def test_names_from_outside_are_text(table):
    assert shown(table)[4] == HOSTILE
    assert table.locator(".rows b, .rows script").count() == 0


# Filters


def test_without_a_script_the_table_is_whole_and_has_no_controls(chromium, written):
    context = chromium.new_context(java_script_enabled=False)
    opened = context.new_page()
    opened.goto(written.as_uri())
    assert opened.locator(".rows tbody tr:visible").count() == len(SHOTS)
    assert opened.locator(".filters:visible, .count:visible, thead button").count() == 0
    context.close()


def test_a_shot_is_shown_that_matches_any_box_on_the_screen_that_was_picked(table):
    for boxes, screen, expected in (
        ((), "any screen", (0, 1, 2, 3, 4, 5)),
        (("changed",), "any screen", (0, 1, 2, 4, 5)),
        (("flagged",), "any screen", (1, 3, 4)),
        (("misfit",), "any screen", (1, 4)),
        (("changed",), "cinema-12m", (1, 2, 5)),
        (("changed",), "tv-55in", (0, 4)),
        (("flagged",), "tv-55in", (3, 4)),
        (("misfit",), "cinema-12m", (1,)),
        (("changed", "flagged"), "tv-55in", (0, 3, 4)),
        (("flagged", "misfit"), "any screen", (1, 3, 4)),
    ):
        table.get_by_label("on which screen").select_option(label=screen)
        for box in ("changed", "flagged", "misfit"):
            table.locator(f"[data-filter={box}]").set_checked(box in boxes)
        assert shown(table) == names(*expected), (boxes, screen)
        assert shown(table, "article.card") == names(*expected)
        assert count(table) == f"{len(expected)} of 6 shots shown."


def test_the_field_finds_names_and_the_shot_that_a_timecode_lies_in(table):
    for text, expected in (
        ("KITE", (0, 1)),
        ("kite_9", (1,)),
        ("01:00:00:04", (1,)),
        ("01:00:00:06", (1,)),
        ("<script>", (4,)),
        ("zz", ()),
    ):
        table.locator("[data-filter=text]").fill(text)
        assert shown(table) == names(*expected), text
        assert count(table) == f"{len(expected)} of 6 shots shown."


def test_a_timecode_is_found_with_whatever_sign_it_is_typed_and_over_midnight(page, base, tmp_path):
    spans = {
        "one": ("23:59:59;20", "00:00:00;15"),
        "two": ("00:00:00;16", "00:00:00;16"),
        "three": ("00:00:00;17", "00:00:00;28"),
    }
    clip = clip_of(base, [(name, 1 if name == "two" else 24, ({}, {})) for name in spans])
    shots = tuple(
        replace(shot, results=tuple(replace(r, timecode_in=first, timecode_out=last) for r in shot.results))
        for shot, (first, last) in zip(clip.shots, spans.values())
    )
    page.goto(write_page(tmp_path, replace(clip, shots=shots)).as_uri())
    for typed, expected in (("00:00:00;17", "three"), ("00:00:00:17", "three"), ("00:00:00.17", "three"),
                            ("00:00:00:20", "three"), ("23:59:59.29", "one"), ("00:00:00:03", "one"),
                            ("00:00:00.16", "two"), ("23:59:59:20", "one")):  # fmt: skip
        page.locator("[data-filter=text]").fill(typed)
        assert shown(page) == [expected], typed


def test_a_shot_of_one_frame_is_at_a_frame_and_a_longer_one_from_a_frame_to_another(base):
    text = overview(clip_of(base, [("one", 1, ({}, {})), ("more", 4, ({}, {}))]))
    assert "<small>frame 0</small>" in text
    assert "<small>frames 1 to 4</small>" in text


def test_text_and_boxes_narrow_each_other_and_show_all_takes_both_away(table):
    table.locator("[data-filter=text]").fill("kite")
    table.locator("[data-filter=misfit]").check()
    assert shown(table) == names(1)
    note = table.locator(".left-out")
    assert note.text_content().startswith("The filter of the table above hides 5 cards here.")
    note.get_by_role("button", name="Show all").click()
    assert shown(table) == shown(table, "article.card") == names(*range(6))
    assert table.locator("[data-filter=text]").input_value() == ""
    assert not table.locator("[data-filter=misfit]").is_checked()
    assert not note.is_visible()


def test_the_count_is_told_to_those_who_do_not_see_it(table):
    assert table.locator(".count").get_attribute("aria-live") == "polite"
    assert table.locator(".rows").get_attribute("aria-label") == "Shots and screens of slipway"


def test_each_clip_has_a_filter_of_its_own(page, base, tmp_path):
    one, two = clip_of(base, SHOTS[:3]), clip_of(replace(base, ident="c1"), SHOTS[3:])
    page.goto(write_page(tmp_path, one, two).as_uri())
    page.locator("#c1 [data-filter=flagged]").check()
    assert shown(page, "#c0 article.card") == names(0, 1, 2)
    assert shown(page, "#c1 article.card") == names(3, 4)


# Sorting


def press(table, name):
    table.get_by_role("button", name=name, exact=True).click()


def heads(table):
    return table.eval_on_selector_all(".rows thead th", "all => all.map(head => head.getAttribute('aria-sort'))")


def test_a_head_sorts_and_pressed_again_sorts_the_other_way(table):
    worst_on = "worst figure against its limit, worst first, on cinema-12m"
    for button, first, again in (
        ("Shot", (4, 3, 1, 0, 2, 5), (5, 2, 0, 1, 3, 4)),
        ("Frames", (3, 1, 4, 0, 5, 2), (2, 5, 0, 4, 1, 3)),
        # Equal ones stay in the order of the edit both ways.
        (worst_on, (1, 2, 0, 3, 4, 5), (0, 3, 4, 5, 2, 1)),
        ("HIT, largest first, on cinema-12m", (1, 5, 0, 2, 3, 4), (0, 2, 3, 4, 5, 1)),
        # Television does not know the last shot: without a figure it comes last both ways.
        ("HIT, largest first, on tv-55in", (4, 0, 1, 2, 3, 5), (1, 2, 3, 0, 4, 5)),
        ("flags, flagged first, on tv-55in", (4, 3, 0, 1, 2, 5), (1, 2, 5, 0, 3, 4)),
        ("No.", (0, 1, 2, 3, 4, 5), (5, 4, 3, 2, 1, 0)),
    ):
        for expected in (first, again):
            press(table, f"Sort by {button}")
            assert shown(table) == names(*expected), button


def test_the_head_that_was_pressed_says_which_way_it_sorts(table):
    assert heads(table) == ["ascending", "none", "none", "none", "none"]
    press(table, "Sort by Frames")
    assert heads(table) == ["none", "none", "descending", "none", "none"]
    press(table, "Sort by Frames")
    assert heads(table) == ["none", "none", "ascending", "none", "none"]
    press(table, "Sort by HIT, largest first, on tv-55in")
    assert heads(table) == ["none", "none", "none", "none", "descending"]
    assert table.locator(".rows thead button[aria-pressed=true]").all_text_contents() == ["HIT ▾"]


def test_sorting_and_filtering_go_together(table):
    table.locator("[data-filter=flagged]").check()
    press(table, "Sort by Frames")
    assert shown(table) == names(3, 1, 4)


# Keys and addresses


def focused(page):
    return page.evaluate("document.activeElement.id || document.activeElement.dataset.filter || "
                         "document.activeElement.className || document.activeElement.tagName")  # fmt: skip


def test_keys_step_through_the_cards_that_are_shown(table):
    for key, expected in (("n", "c0n0"), ("n", "c0n1"), ("p", "c0n0"), ("Shift+N", "c0n1"), ("Shift+N", "c0n3")):
        table.keyboard.press(key)
        assert focused(table) == expected
    table.keyboard.press("Shift+P")
    assert focused(table) == "c0n1"
    assert table.evaluate("location.hash") == "#c0n1"
    table.locator("[data-filter=changed]").check()
    table.locator("#c0n2").focus()
    table.keyboard.press("n")
    assert focused(table) == "c0n4"


def test_keys_do_nothing_at_the_last_card(table):
    table.locator("#c0n5").focus()
    table.keyboard.press("n")
    assert focused(table) == "c0n5"


def test_keys_are_letters_while_typing(table):
    table.keyboard.press("/")
    assert focused(table) == "text"
    table.keyboard.type("n/p?a")
    assert table.locator("[data-filter=text]").input_value() == "n/p?a"
    table.keyboard.press("Escape")
    assert focused(table) == "rows"


def test_keys_with_ctrl_or_alt_are_the_browsers(table):
    table.keyboard.press("Alt+n")
    table.keyboard.press("Control+p")
    assert table.evaluate("location.hash") == ""


def test_keys_lead_from_a_card_to_its_row_its_try_out_and_back(table):
    table.locator("#c0n2").focus()
    table.keyboard.press("o")
    assert table.evaluate("document.querySelector('#c0n2 .tryout').open")
    table.keyboard.press("Escape")
    assert focused(table) == "c0n2"
    table.keyboard.press("t")
    assert table.evaluate("document.activeElement.closest('tr').dataset.card") == "c0n2"
    table.keyboard.press("Enter")
    assert focused(table) == "c0n2"


def test_keys_are_listed_and_can_be_switched_off(table):
    table.keyboard.press("?")
    listed = table.locator("#keys")
    assert listed.get_attribute("open") is not None
    assert {"n", "p", "Shift N", "/", "Esc"} <= set(table.locator("#keys kbd").all_text_contents())
    listed.get_by_role("checkbox").uncheck()
    table.keyboard.press("n")
    assert table.evaluate("location.hash") == ""
    table.keyboard.press("Escape")
    assert listed.get_attribute("open") is None
    assert table.evaluate("document.activeElement.tagName") == "SUMMARY"


def test_the_first_stop_leads_past_the_top(table):
    table.keyboard.press("Tab")
    assert table.evaluate("document.activeElement.textContent") == "To the table of shots"
    table.keyboard.press("Enter")
    assert table.evaluate("location.hash") == "#c0-overview"


def test_a_link_to_a_card_that_the_filter_hides_clears_the_filter_and_says_so(table):
    table.locator("[data-filter=misfit]").check()
    table.evaluate("location.hash = '#c0n4'")
    table.wait_for_function("document.activeElement.id === 'c0n4'")
    table.locator("[data-filter=misfit]").check()
    table.evaluate("location.hash = '#c0n2'")
    table.wait_for_function("document.activeElement.id === 'c0n2'")
    assert count(table) == "The filter was cleared, because it hid mast. 6 of 6 shots shown."
    assert table.locator("#c0n2").is_visible()


def test_a_page_opened_at_a_card_has_its_focus_there(page, written):
    page.goto(f"{written.as_uri()}#c0n3")
    assert focused(page) == "c0n3"
    page.goto(f"{written.as_uri()}#%zz")
    assert page.locator(".rows tbody tr").count() == 6


# Change-log entries


def test_an_entry_is_read_when_it_is_opened(table):
    fold = table.locator("#c0n4 details.entry")
    assert fold.locator("pre").count() == 0
    fold.locator("summary").click()
    fold.locator("pre").wait_for()
    text = fold.locator("pre").text_content()
    assert '"cinema-12m": {' in text
    assert HOSTILE.replace('"', '\\"') in text
    fold.locator("summary").click()
    fold.locator("summary").click()
    assert fold.locator("pre").count() == 1


def test_an_entry_that_is_not_there_is_an_error_in_words(page, clip, tmp_path):
    path = write_page(tmp_path, clip)
    (tmp_path / "report" / "c0" / "1.js").write_text("postfix.give('c0/1', {});", encoding="utf-8")
    page.goto(path.as_uri())
    page.locator("#c0n1 details.entry summary").click()
    fault = page.locator("#c0n1 .fault")
    fault.wait_for()
    assert fault.text_content() == "▲ The entry cannot be shown: report/c0/1.js holds no change-log entry."
