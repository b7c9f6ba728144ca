"""Clauses that many cards have are written once, and are there with and without scripts."""

import re

import pytest
from review_job import PLANS, write_source, write_version

import postfix.review.repeated as repeated_module
from postfix.plan.model import ShotPlan
from postfix.review.repeated import Repeated, repeated_in
from postfix.review.report import write_report

RULE = "rule: objects near a side edge should not sit in front of it (a guideline, section 4.2)"
PASSES = "up to 0.15 % passes, this project's own tolerance"


def flags(count, *clauses):
    return [f"content at the left edge is {n}.5 % in front of that edge; {'; '.join(clauses)}" for n in range(count)]


def named(html):
    return re.findall(r"<i class=(t\d+)></i>", html)


def test_a_clause_that_comes_often_is_named_and_the_rest_stands_as_it_is():
    texts = flags(200, RULE)
    repeated = repeated_in(texts)
    assert list(repeated.classes) == [RULE]
    assert repeated.html(texts[7]) == "content at the left edge is 7.5 % in front of that edge; <i class=t0></i>"
    assert repeated.style.count(RULE.split("(")[0]) == 1


def test_clauses_that_always_follow_each_other_are_one():
    texts = flags(200, RULE, PASSES)
    repeated = repeated_in([*texts, *flags(80, PASSES)])
    assert len(named(repeated.html(texts[0]))) == 1
    assert repeated.classes[f"{RULE}; {PASSES}"] == named(repeated.html(texts[0]))[0]
    assert named(repeated.html(f"x; {PASSES}")) == [repeated.classes[PASSES]]


def test_a_page_of_few_shots_has_all_its_words_in_place():
    texts = flags(5, RULE, PASSES)
    repeated = repeated_in(texts)
    assert repeated == Repeated()
    assert repeated.style == ""
    assert repeated.html(texts[0]) == texts[0].replace("'", "&#x27;")


def test_what_is_written_is_never_more_than_what_was_there():
    for count in (1, 10, 30, 100, 1000):
        texts = flags(count, RULE, PASSES, "short")
        repeated = repeated_in(texts)
        plain = sum(len(Repeated().html(text).encode()) for text in texts)
        assert sum(len(repeated.html(text).encode()) for text in texts) + len(repeated.style.encode()) <= plain


def test_the_same_texts_give_the_same_classes():
    texts = flags(300, RULE, PASSES)
    assert list(repeated_in(iter(texts)).classes.items()) == list(repeated_in(texts).classes.items())


@pytest.mark.parametrize("evil", ['"}*{display:none}', "</style><script>hurt()</script>" * 2, "\\", "a\nb", "é − “x”"])
def test_what_comes_from_outside_stays_inside_its_string(evil):
    text = f"{evil} {'and so on ' * 5}".strip()
    style = repeated_in([text] * 500).style
    if style:
        (content,) = re.fullmatch(r'<style id="repeated">\.t0:empty::after\{content:"(.*)"\}</style>', style).groups()
        assert not {*'"<>{}\n'} & {*content}
        decoded = re.sub(r"\\([0-9a-f]+) ", lambda code: chr(int(code[1], 16)), content)
        assert decoded == text


# --- in a browser --------------------------------------------------------------------------------------------------

ODD = f"""{RULE} "quoted" \\ back, it's <b>no markup</b> & é − more"""


@pytest.fixture(scope="module")
def written(tmp_path_factory):
    folder = tmp_path_factory.mktemp("repeated")
    plans = tuple(
        ShotPlan(p.name, p.first, p.last, p.hit, window=p.window, reason=f"far was {n} %; {ODD}; moved")
        for n, p in enumerate(PLANS)
    )
    write_version(folder / "out" / "tv", write_source(folder / "in"), plans=plans)
    with pytest.MonkeyPatch.context() as patch:
        # What a long film reaches by itself.
        patch.setattr(repeated_module, "_LEAST_SAVED_BYTES", 50)
        path = write_report(folder / "out")
    assert path.read_text(encoding="utf-8").count("<i class=t0></i>") == len(PLANS)
    return path


def shown(page):
    return page.locator("#c0n1 .on-screen p").first


def test_with_scripts_it_is_text_that_can_be_found_and_copied(page, written):
    page.goto(written.as_uri())
    assert shown(page).text_content() == f"Planned: Far was 1 %; {ODD}; moved."
    assert page.locator("#c0n1 b").count() == 0


def test_without_scripts_it_is_shown_and_read_aloud_all_the_same(chromium, written):
    context = chromium.new_context(java_script_enabled=False)
    opened = context.new_page()
    opened.goto(written.as_uri())
    told = shown(opened).aria_snapshot().replace('\\"', '"').replace("\\\\", "\\")
    assert f"Planned: Far was 1 %; {ODD}; moved." in told
    assert shown(opened).locator("i").bounding_box()["width"] > 300
    context.close()


def test_on_paper_it_is_there_too(page, written):
    page.goto(written.as_uri())
    page.emulate_media(media="print")
    assert ODD in shown(page).inner_text()
