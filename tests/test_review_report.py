"""The review page of a job made up on disk: as a file, and in a browser."""

import json
import re
import shutil
from html.parser import HTMLParser

import numpy as np
import pytest
from browsing import until
from review_job import PLANS, write_source, write_version

import postfix.review.stills as stills_module
from postfix.errors import InputError, OutputError
from postfix.plan.model import ShotPlan
from postfix.review.report import check_report, write_report
from postfix.review.runs import find_versions, read_version
from postfix.review.sheet import contact_sheet, version_rows
from postfix.review.stills import open_stills_of

NAN = float("nan")
VOID = {"meta", "link", "img", "br", "path", "rect", "input", "use", "line", "circle", "wbr", "hr", "stop"}


MAY_STAY_OPEN = {"li", "td", "th", "tr", "thead", "tbody", "dt", "dd"}


class Page(HTMLParser):
    """Checks that tags are closed in order; collects ids, links, pictures and the words outside style and script."""

    def __init__(self, text):
        super().__init__()
        self.open, self.ids, self.links, self.images, self.words, self.addresses = [], [], [], [], [], []
        self.tags = set()
        self.feed(text)
        self.close()
        assert self.open == []

    def handle_starttag(self, tag, attrs):
        attrs = dict(attrs)
        self.tags.add(tag)
        if "id" in attrs:
            self.ids.append(attrs["id"])
        if tag == "a":
            self.links.append(attrs["href"])
        if tag == "img":
            self.images.append(attrs)
        self.addresses += [attrs[name] for name in ("src", "data-src", "data-plotly") if name in attrs]
        self.addresses += [attrs["href"]] if tag == "link" else []
        assert not any(name.startswith("on") for name in attrs)
        if tag not in VOID | MAY_STAY_OPEN:
            self.open.append(tag)

    def handle_startendtag(self, tag, attrs):
        assert tag in VOID, tag

    def handle_endtag(self, tag):
        if tag not in MAY_STAY_OPEN:
            assert self.open.pop() == tag

    def handle_data(self, data):
        if not {"style", "script"} & set(self.open):
            self.words.append(data)

    @property
    def text(self):
        return " ".join(" ".join(self.words).split())


@pytest.fixture(scope="module")
def job(tmp_path_factory):
    base = tmp_path_factory.mktemp("job")
    sources = write_source(base / "source")
    for screen in ("cinema-12m", "tv-55in"):
        write_version(base / "out" / screen, sources, screen=screen)
    write_report(base / "out")
    return base


def page_of(out):
    path = write_report(out)
    assert path == out / "report.html"
    return Page(path.read_text(encoding="utf-8"))


def test_the_page_is_sound_and_everything_it_shows_lies_beside_it(job):
    text = (job / "out" / "report.html").read_text(encoding="utf-8")
    page = Page(text)
    assert len(page.ids) == len(set(page.ids))
    assert {link.removeprefix("#") for link in page.links} <= set(page.ids)
    assert page.addresses
    for address in page.addresses:
        assert re.fullmatch(r"report/[\w./-]+\.(jpg|svg|js)", address), address
        assert (job / "out" / address).is_file(), address
    assert all(image["alt"] and image["loading"] == "lazy" for image in page.images)
    assert [file.name for file in (job / "out").iterdir() if file.name.startswith(".")] == []


def test_the_page_may_load_nothing_but_what_lies_beside_it(job):
    text = (job / "out" / "report.html").read_text(encoding="utf-8")
    policy = re.search(r'http-equiv="Content-Security-Policy" content="([^"]*)"', text)[1]
    assert policy.startswith("default-src 'none'")
    assert "unsafe-eval" not in policy
    assert "http" not in policy
    assert not re.search(r"@import|<link rel=(?!.preload)|<iframe|<object|<base", text)


def test_the_page_names_clip_screens_limits_and_what_was_done(job):
    text = page_of(job / "out").text
    for words in (
        "Review of slipway",
        "12 in 3 shots",
        "24 frames/s",
        "200 × 112",
        "01:00:00:00 to 01:00:00:11",
        "postfix-stereo 0.0",
        "12000 mm",
        "+0.54 % +65.0 mm +18.6 arcmin",
        "they do not replace watching",
        "fits as shot",
        "↔ moved",
        "▲ outside its limits",
        "in front of the left edge: content at the left edge is 0.40 %",
        "−1.00 % (−2 px, −120 mm)",
        "left eye +1 px, right eye −1 px",
        "at its widest 6.0 px (3.00 %) at the top, 12.0 px (6.00 %) at the bottom",
        "Far was +1.50 %, limit +0.54 %.",
    ):
        assert words in text, words


def test_the_same_job_gives_the_same_bytes(job):
    def content():
        return {p.relative_to(job): p.read_bytes() for p in sorted((job / "out").rglob("*")) if p.is_file()}

    first = content()
    write_report(job / "out")
    assert content() == first


def test_every_shot_is_pictured_and_what_was_changed_also_as_it_was_delivered(job):
    page = page_of(job / "out")
    # Three shots before (both eyes, anaglyph, depth map); two were changed, on two screens (anaglyph, both eyes); each
    # has a histogram on each screen.
    assert len(page.images) == 3 * 4 + 2 * 2 * 2 + 3 * 2
    assert "Nothing was changed for this screen" in page.text


def test_what_comes_from_outside_cannot_become_markup(tmp_path):
    evil = "<img src=x onerror=alert(1)>"
    plans = tuple(
        ShotPlan(
            f"{evil}{plan.first}\"'&", plan.first, plan.last, plan.hit, window=plan.window, reason=f"{evil} & </p>"
        )
        for plan in PLANS
    )
    write_version(tmp_path / "out" / "tv", write_source(tmp_path / "<b>in"), plans=plans, name=evil)
    log = tmp_path / "out" / "tv" / "changes.json"
    data = json.loads(log.read_text(encoding="utf-8"))
    data["screen"]["name"] = data["screen"]["note"] = data["limits"]["far_rule"] = evil
    data["shots"][0]["flags"] = [{"code": evil, "text": evil}]
    data["shots"][0]["timecode_in"] = data["outputs"][0]["sha256"] = data["tool"]["version"] = evil
    data["suspicions"] = [{"text": evil}]
    data["remarks"] = [evil]
    log.write_text(json.dumps(data), encoding="utf-8")
    csv = tmp_path / "out" / "tv" / "changes.csv"
    csv.write_text(csv.read_text(encoding="utf-8").replace("01:00:00:00", evil), encoding="utf-8")
    page = page_of(tmp_path / "out")
    assert evil not in (tmp_path / "out" / "report.html").read_text(encoding="utf-8")
    assert f"Review of {evil}" in page.text
    assert "b" not in page.tags
    assert all(image["src"].startswith("report/") for image in page.images)


def test_a_page_full_of_markup_from_outside_shows_it_as_text(tmp_path, page):
    evil = "<img src=x onerror=window.hurt=1></script><script>window.hurt=1</script>"
    plans = tuple(ShotPlan(f"{evil}{p.first}", p.first, p.last, p.hit, window=p.window, reason=evil) for p in PLANS)
    write_version(tmp_path / "out" / "tv", write_source(tmp_path / "in"), plans=plans, name=evil)
    page.goto(write_report(tmp_path / "out").as_uri())
    page.wait_for_selector(".depth-chart .main-svg")
    for kind in ("tryout", "entry"):
        page.locator(f"#c0n0 > details.{kind} > summary").click()
    page.wait_for_selector("details.entry pre")
    page.wait_for_selector("details.tryout canvas")
    assert page.evaluate("window.hurt") is None
    assert page.locator("h1").inner_text() == f"Review of {evil}"
    assert page.locator("article.card h3").first.text_content() == f"{evil}0"


def test_the_page_opens_from_disk_with_its_chart_and_its_pictures(job, page):
    page.goto((job / "out" / "report.html").as_uri())
    page.wait_for_selector(".depth-chart .main-svg")
    assert page.locator("article.card").count() == 3
    page.evaluate("document.querySelector('#c0n2 .four').scrollIntoView()")
    until(page, "[...document.querySelectorAll('#c0n2 .four img')].every(i => i.complete)")
    assert page.evaluate("[...document.images].every(i => !i.complete || i.naturalWidth > 0)")


def test_what_was_not_measured_is_said_in_words_and_never_a_zero(tmp_path):
    sources = write_source(tmp_path / "in")
    write_version(tmp_path / "out" / "tv", sources, checked=False, near=(NAN, -0.2, -2.0), far=(NAN, 1.5, 0.3))
    page = page_of(tmp_path / "out")
    assert "Near not measured not measured −1.75 % –" in page.text
    assert "moved, result not measured" in page.text
    assert "fits as shot" not in page.text


def test_sources_that_are_gone_are_named_and_do_not_stop_the_page(tmp_path):
    sources = write_source(tmp_path / "in")
    write_version(tmp_path / "out" / "tv", sources)
    shutil.rmtree(tmp_path / "in")
    page = page_of(tmp_path / "out")
    assert "the source cannot be used any more" in page.text
    assert str(sources[0]) in page.text
    # Of every shot what was delivered, since nothing else can be shown.
    assert len(page.images) == 3 * 2 + 3
    rows = version_rows(tmp_path / "out" / "tv")
    assert [row.before for row in rows] == [None] * 3
    assert contact_sheet(rows).shape[2] == 3


def test_a_source_used_in_part_is_found_again_by_its_numbers(tmp_path):
    sources = write_source(tmp_path / "in")
    write_version(tmp_path / "out" / "tv", sources)
    for path in sources:
        for more in range(3):
            shutil.copy(next(path.iterdir()), path / f"sh_{path.name}.{998 + more}.png")
    stills = open_stills_of(read_version(tmp_path / "out" / "tv"))
    assert (stills.before.count, stills.before_offset) == (12, 0)
    assert np.array_equal(stills.before_rgb(0)[0], stills.after_rgb(0)[0])


def test_a_source_that_all_screens_share_is_opened_once(tmp_path, monkeypatch):
    sources, opened = write_source(tmp_path / "in"), []
    for screen in ("cinema-12m", "tv-55in"):
        write_version(tmp_path / "out" / screen, sources, screen=screen)
    once = stills_module._open_source
    monkeypatch.setattr(stills_module, "_open_source", lambda version: opened.append(version) or once(version))
    first, second = stills_module.stills_of(find_versions(tmp_path / "out")[""])
    assert len(opened) == 1
    assert second.before is first.before
    assert second.after is not first.after


def test_outputs_that_are_gone_are_an_error_and_leave_no_page(tmp_path):
    write_version(tmp_path / "out" / "tv-55in", write_source(tmp_path / "in"))
    shutil.rmtree(tmp_path / "out" / "tv-55in" / "right")
    with pytest.raises(InputError, match=r"tv-55in.*right"):
        write_report(tmp_path / "out")
    assert [p.name for p in (tmp_path / "out").iterdir()] == ["tv-55in"]


def test_outputs_that_are_not_those_of_the_log_are_an_error(tmp_path):
    write_version(tmp_path / "out" / "tv-55in", write_source(tmp_path / "in"))
    for eye in ("left", "right"):
        max((tmp_path / "out" / "tv-55in" / eye).iterdir()).unlink()
    with pytest.raises(InputError, match="11 frames of 200x112, expected 12 frames"):
        write_report(tmp_path / "out")


def test_a_persons_own_folder_where_the_page_keeps_its_pictures_is_left_alone(tmp_path):
    write_version(tmp_path / "out" / "tv", write_source(tmp_path / "in"))
    (tmp_path / "out" / "report").mkdir()
    (tmp_path / "out" / "report" / "notes.txt").write_text("mine")
    for refusing in (check_report, write_report):
        with pytest.raises(OutputError, match=r"notes\.txt.*did not write"):
            refusing(tmp_path / "out")
    assert (tmp_path / "out" / "report" / "notes.txt").read_text() == "mine"


def test_a_persons_own_page_is_replaced_only_when_that_is_asked_for(tmp_path):
    write_version(tmp_path / "out" / "tv", write_source(tmp_path / "in"))
    (tmp_path / "out" / "report.html").write_text("<p>mine</p>")
    for refusing in (check_report, write_report):
        with pytest.raises(OutputError, match=r"report\.html.*without the mark"):
            refusing(tmp_path / "out")
    assert (tmp_path / "out" / "report.html").read_text() == "<p>mine</p>"
    assert not (tmp_path / "out" / "report").exists()
    write_report(tmp_path / "out", force=True)
    write_report(tmp_path / "out")


def test_what_would_stop_the_page_is_told_before_it_is_made(tmp_path):
    write_version(tmp_path / "out" / "tv", write_source(tmp_path / "in"))
    shutil.rmtree(tmp_path / "out" / "tv" / "right")
    with pytest.raises(InputError, match="right"):
        check_report(tmp_path / "out")


def test_two_versions_for_one_screen_are_told_apart_by_their_folders(tmp_path):
    sources = write_source(tmp_path / "in")
    for folder in ("tv", "tv-tried"):
        write_version(tmp_path / "out" / folder, sources, screen="tv-55in")
    page = page_of(tmp_path / "out")
    assert "tv-55in (tv)" in page.text
    assert "tv-55in (tv-tried)" in page.text
    data = (tmp_path / "out" / "report" / "c0" / "0.js").read_text(encoding="utf-8")
    assert '"tv-55in (tv-tried)":{' in data


def test_eyes_of_children_count_where_the_limits_were_made_for_them(tmp_path):
    folder = write_version(tmp_path / "out" / "tv", write_source(tmp_path / "in"))
    log = json.loads((folder / "changes.json").read_text(encoding="utf-8"))
    log["settings"]["limits"]["eye_mm"] = 50.0
    (folder / "changes.json").write_text(json.dumps(log), encoding="utf-8")
    assert read_version(folder).screen.eye_mm == 50.0
    assert "Eye distance 50 mm" in page_of(tmp_path / "out").text


def test_a_job_of_many_clips_has_a_part_for_each(tmp_path):
    sources = write_source(tmp_path / "in")
    for clip in ("lane", "beach"):
        write_version(tmp_path / "out" / clip / "tv-55in", sources, name=clip, screen="tv-55in")
    assert list(find_versions(tmp_path / "out")) == ["beach", "lane"]
    page = page_of(tmp_path / "out")
    assert "Review of 2 clips" in page.text
    assert "Clip beach" in page.text
    assert "Clip lane" in page.text
    assert len(page.ids) == len(set(page.ids))


def test_a_version_that_is_cut_otherwise_has_cards_of_its_own(tmp_path):
    sources = write_source(tmp_path / "in")
    write_version(tmp_path / "out" / "a", sources, screen="cinema-12m")
    merged = (ShotPlan("all", 0, PLANS[-1].last),)
    write_version(tmp_path / "out" / "b", sources, screen="tv-55in", plans=merged, near=(-0.5,), far=(0.2,))
    page = page_of(tmp_path / "out")
    # Each has figures of its own beside the page.
    assert [address for address in page.addresses if re.fullmatch(r"report/c0/\d+\.js", address)] == [
        f"report/c0/{number}.js" for number in range(4)
    ]


def test_each_card_has_folds_for_the_try_out_and_the_entry_once_a_script_runs(job, page):
    page.goto((job / "out" / "report.html").as_uri())
    assert not page.get_by_text("need scripts, which are switched off").last.is_visible()
    for number in range(3):
        folds = page.locator(f"#c0n{number} > details")
        assert folds.locator("> summary").all_text_contents() == ["Try another convergence", "Change-log entry"]
        assert folds.evaluate_all("all => all.map(f => f.dataset.src)") == [f"report/c0/{number}.js"] * 2


def test_without_scripts_there_are_no_empty_folds_and_the_page_says_why(job, chromium):
    context = chromium.new_context(java_script_enabled=False)
    opened = context.new_page()
    opened.goto((job / "out" / "report.html").as_uri())
    assert opened.locator("article.card details").count() == 0
    assert opened.get_by_text("need scripts, which are switched off here").last.is_visible()
    for words in (
        "content at the left edge is 0.40 %",
        "Far was +1.50 %, limit +0.54 %.",
        "In front of the right edge",
    ):
        assert opened.locator("#c0").get_by_text(words).first.is_visible(), words
    context.close()


def test_heads_of_figures_belong_to_their_rows_and_columns_without_saying_so(job, page):
    page.goto((job / "out" / "report.html").as_uri())
    table = page.locator("#c0n1 table.figures").first
    assert table.get_by_role("rowheader").all_text_contents()[:3] == ["Near", "Far", "Median"]
    assert table.get_by_role("columnheader").all_text_contents()[:3] == ["Parallax", "before", "after"]


def test_places_of_pictures_are_kept_while_they_are_not_loaded(job, page):
    # 200 x 112 is smaller than a card is wide, so they stay as they are; both eyes have 6 px between them (computed).
    page.goto((job / "out" / "report.html").as_uri())
    ratio = "e => e.getBoundingClientRect().width / e.getBoundingClientRect().height"
    before, after = page.locator("#c0n1 .four img").first, page.locator("#c0n1 .finished img").last
    assert before.evaluate("e => getComputedStyle(e).aspectRatio") == "auto 200 / 112"
    assert after.evaluate("e => getComputedStyle(e).aspectRatio") == "auto 406 / 112"
    page.locator("#c0n1").scroll_into_view_if_needed()
    until(page, "[...document.querySelectorAll('#c0n1 img')].every(i => i.complete && i.naturalWidth > 0)")
    assert before.evaluate(ratio) == pytest.approx(200 / 112, rel=0.01)
    assert after.evaluate(ratio) == pytest.approx(406 / 112, rel=0.01)


def test_a_card_takes_few_bytes(job):
    # 2,000 shots on three screens are to stay far below 25 MB, table, rhythm and notices included: 9 kB a card.
    text = (job / "out" / "report.html").read_text(encoding="utf-8")
    cards = re.findall(r"<article .*?</article>", text, re.DOTALL)
    assert len(cards) == 3
    assert max(len(card.encode()) for card in cards) / 2 < 3000
