"""What is told of a shot besides its limits: read from the log, noted on the page, and unfolded on its card."""

import json
import re
import shutil
from dataclasses import replace

import pytest
from browsing import until
from review_job import PLANS, write_source, write_version
from story_entries import CAMERA, FILMED, NOTICES, SCREENS, story_for, with_story

from postfix.camera import Camera
from postfix.errors import InputError
from postfix.review.clips import ReviewedClip, ReviewedShot
from postfix.review.comfort import comfort_html
from postfix.review.report import write_report
from postfix.review.rhythm import rhythm_html
from postfix.review.room import room_svg
from postfix.review.runs import read_version
from postfix.review.story_read import logged_seats, read_camera, read_shot_story, read_story

NAN = float("nan")
SPANS = [(plan.name, plan.first, plan.last) for plan in PLANS]
# Far of the second is beyond the distance of the eyes on 12 m; nothing was measured in the third.
PCTS = [(-1.0, 0.1, 0.3), (-0.4, 0.2, 1.5), (NAN, NAN, NAN)]


def write_job(out, sources, **more):
    for name, screen in SCREENS.items():
        folder = write_version(out / name, sources, screen=name)
        told = story_for(screen, SPANS, PCTS, filmed=FILMED, notices={"title": NOTICES, "beach": NOTICES[:1]}, **more)
        with_story(folder, told, {"title": CAMERA, "beach": CAMERA | {"far_mm": "inf", "rig": "toed-in"}})
    return out


@pytest.fixture(scope="module")
def job(tmp_path_factory):
    base = tmp_path_factory.mktemp("job")
    write_report(write_job(base / "out", write_source(base / "source")))
    return base / "out"


@pytest.fixture
def copy(job, tmp_path):
    shutil.copytree(job, tmp_path / "out", ignore=shutil.ignore_patterns("report*"))
    return tmp_path / "out"


# --- reading -------------------------------------------------------------------------------------------------------


def test_a_story_is_read_back_as_it_was_told(job):
    version = read_version(job / "cinema-12m")
    told = story_for(SCREENS["cinema-12m"], SPANS, PCTS, filmed=FILMED, notices={"title": NOTICES})
    title, beach, spool = version.story.shots
    assert title == version.shots[0].story
    assert title.notices == NOTICES
    assert title.filmed == FILMED
    assert [one.seat.name for one in title.seats] == ["front", "own", "back", "side"]
    assert title.depth.far.distance_mm == pytest.approx(told.shots[0].depth.far.distance_mm, abs=0.051)
    assert (beach.depth.far.distance_mm, beach.depth.volume_mm) == (None, None)
    assert beach.cut.jump_pct == pytest.approx(0.1)
    assert spool.depth.near.parallax_pct != spool.depth.near.parallax_pct
    assert (title.cut, spool.front) == (None, None)
    assert version.shots[0].plan.camera == Camera(**CAMERA)
    assert version.shots[1].plan.camera.far_mm == float("inf")
    assert version.shots[2].plan.camera is None


def test_a_log_of_before_stories_were_told_makes_a_page_without_these_parts(tmp_path):
    write_version(tmp_path / "out" / "tv", write_source(tmp_path / "in"), screen="tv-55in")
    version = read_version(tmp_path / "out" / "tv")
    assert (version.story, version.shots[0].story, version.shots[0].plan.camera) == (None, None, None)
    text = write_report(tmp_path / "out").read_text(encoding="utf-8").split("<main>")[1].split("<script>")[0]
    assert not re.search("rhythm|comfort|class=story|△", text)


def test_what_is_not_known_may_be_missing(copy):
    def change(log):
        for name in ("front", "cut", "filmed"):
            log["shots"][0]["story"].pop(name)
        for seat in log["shots"][0]["story"]["seats"]:
            del seat["roundness"], seat["outside"]

    spoil(copy, change)
    title = read_version(copy / "cinema-12m").shots[0].story
    assert (title.front, title.cut, title.filmed, title.seats[0].outside) == (None, None, None, ())


def test_a_notice_that_a_later_version_invented_is_shown_as_it_is(copy):
    spoil(copy, lambda log: log["shots"][0]["story"]["notices"].append({"code": "swell", "text": "the sea is high"}))
    assert "<li>△ swell: the sea is high" in write_report(copy).read_text(encoding="utf-8")


def test_a_distance_as_seen_may_be_any_however_far(copy):
    # 20 m away, with eyes 65 mm apart and a parallax short of that by the last digit of a double: 9.1e19 mm (computed).
    def change(log):
        story = log["shots"][0]["story"]
        story["depth"]["volume_mm"] = 9.1e19
        for one in (story["depth"], story["seats"][0]):
            one["far"]["distance_mm"] = 9.1e19

    spoil(copy, change)
    assert read_version(copy / "cinema-12m").shots[0].story.depth.far.distance_mm == 9.1e19
    write_report(copy)


def spoil(out, change, screen="cinema-12m"):
    path = out / screen / "changes.json"
    log = json.loads(path.read_text(encoding="utf-8"))
    change(log)
    path.write_text(json.dumps(log), encoding="utf-8")


def at(log, *keys):
    for key in keys:
        log = log[key]
    return log


@pytest.mark.parametrize(
    ("keys", "value", "says"),
    [
        (("story", "measured_on"), "paper", "story: measured_on is 'paper'"),
        (("story", "line"), 3, "story: line is '3'"),
        (("story", "minutes"), {}, "minutes is"),
        (("story", "whole", "measured_s"), None, "measured_s is 'None'"),
        (("story", "whole", "measured_s"), -1, "measured_s is -1"),
        (("story", "seats", 0, "aside_mm"), None, "aside_mm is 'None'"),
        (("story", "whole", "beyond_s"), -1, "beyond_s is -1"),
        (("story", "whole", "beyond_s"), 99.0, "more is told than was measured"),
        (("story", "whole", "hard_jumps"), 1.5, "hard_jumps is '1.5'"),
        (("story", "whole", "hard_jumps"), -1, "hard_jumps is -1"),
        (("story", "quick_runs"), [[0, 3]], "quick_runs go from shot 0 to 3 of 3"),
        (("story", "quick_runs"), [[2, 1]], "quick_runs go from shot 2 to 1 of 3"),
        (("story", "quick_runs"), [[True, 1]], "quick_runs holds"),
        (("story", "quick_runs"), [1], "quick_runs holds '1'"),
        (("story", "seats", 0, "distance_mm"), 0, "in the screen"),
        (("story", "seats", 1, "name"), "front", "seats of one name"),
        (("shots", 0, "story"), [], "story is '[]'"),
        (("shots", 0, "story", "depth"), None, "depth is 'None'"),
        (("shots", 0, "story", "depth", "near", "distance_mm"), -5.0, "distance_mm is -5"),
        (("shots", 0, "story", "depth", "near", "distance_mm"), "far", "distance_mm is 'far'"),
        (("shots", 0, "story", "depth", "far", "parallax_pct"), 1e12, "parallax_pct is more than any figure"),
        (("shots", 0, "story", "depth", "far", "divergence_deg"), -1, "divergence_deg is -1"),
        (("shots", 0, "story", "depth", "volume_pct"), True, "volume_pct is 'True'"),
        (("shots", 0, "story", "front", "frame"), 400, "frame 400 of the shot from 0 to 3"),
        (("shots", 1, "story", "cut", "is_hard"), 1, "is_hard is '1'"),
        (("shots", 0, "story", "seats", 0, "name"), "balcony", "the seat 'balcony', which the log does not place"),
        (("shots", 0, "story", "seats", 0, "outside"), [1], "outside holds something that is no text"),
        (("shots", 0, "story", "seats", 0, "roundness"), -0.5, "roundness is -0.5"),
        (("shots", 0, "story", "filmed", "near_mm"), -3.0, "near_mm is -3"),
        (("shots", 0, "story", "filmed", "missing"), "all", "missing is 'all'"),
        (("shots", 0, "story", "notices"), [{"code": "flat"}], "no text"),
        (("shots", 0, "camera"), [], "in place of its figures"),
        (("shots", 0, "camera", "rig"), "swung", "camera: rig is 'swung'"),
        (("shots", 0, "camera", "focal_mm"), 0, "focal_mm is 0"),
        (("shots", 0, "camera", "focal_mm"), "inf", "focal_mm is 'inf'"),
    ],
)  # fmt: skip
def test_a_spoilt_story_is_refused_by_name(copy, keys, value, says):
    def change(log):
        at(log, *keys[:-1])[keys[-1]] = value

    spoil(copy, change)
    with pytest.raises(InputError, match=re.escape(says)) as caught:
        read_version(copy / "cinema-12m")
    assert "cinema-12m" in caught.value.where


BAD = (None, -1, 0, 1e300, 10**400, "", "inf", True, [], [None], {})


def leaves(value, path=()):
    """Where every single thing of nested lists and dicts stands."""
    yield path
    if isinstance(value, dict | list):
        for key, one in value.items() if isinstance(value, dict) else enumerate(value):
            yield from leaves(one, (*path, key))


def test_whatever_one_thing_of_a_story_is_it_is_refused_or_can_be_shown(job):
    log = json.loads((job / "cinema-12m" / "changes.json").read_text(encoding="utf-8"))
    version = read_version(job / "cinema-12m")
    told = {"story": log["story"], "shots": [{key: log["shots"][0][key] for key in ("story", "camera")}]}
    refused = 0
    for path in [path for path in leaves(told) if path and path != ("shots",) and path != ("shots", 0)]:
        for bad in BAD:
            spoilt = copy_of(log)
            at(spoilt, *path[:-1])[path[-1]] = bad
            try:
                seats = logged_seats(spoilt)
                shots = [read_shot_story(entry, seats) for entry in spoilt["shots"]]
                [read_camera(entry) for entry in spoilt["shots"]]
                story = read_story(spoilt, shots, seats)
            except (ValueError, TypeError, AttributeError, OverflowError):
                # What read_version tells by the name of the file.
                refused += 1
                continue
            logged = tuple(replace(shot, story=one) for shot, one in zip(version.shots, shots))
            clip = one_version(replace(version, story=story, shots=logged))
            html = rhythm_html(clip) + comfort_html(clip)
            assert not re.search(r">[^<]*\bnan\b|∞", html), (path, bad)
            for shot in filter(None, shots):
                room_svg("cinema-12m", shot.seats, 12000.0)
    assert refused > 1000


def copy_of(log):
    return json.loads(json.dumps(log))


def one_version(version):
    shots = tuple(
        ReviewedShot(f"c0n{n}", s.plan.name, s.plan.first, s.plan.last, (s,)) for n, s in enumerate(version.shots)
    )
    return ReviewedClip("c0", (version,), shots, None, "")


# --- without scripts -----------------------------------------------------------------------------------------------


def test_notices_stand_in_the_card_and_are_counted_in_the_table(job):
    text = (job / "report.html").read_text(encoding="utf-8")
    cards = re.findall(r"<article .*?</article>", text, re.DOTALL)
    # The same on both screens: once.
    assert [card.count("<li>△ ") for card in cards] == [2, 1, 0]
    assert "<li>△ hard jump at the cut: the depth jump at the cut is 41 arcmin" in cards[0]
    rows = re.findall(r"<tr role=row data-card.*?(?=<tr|</tbody>)", text)
    assert [row.count("△ 2 noted") for row in rows] == [2, 0, 0]
    assert [re.findall('data-is="([a-z]*)"', row) for row in rows] == [["n", "n"], ["cn", "cn"], ["cfm", "cfm"]]


def test_notices_change_no_verdict(job):
    text = (job / "report.html").read_text(encoding="utf-8")
    row = re.search(r"<tr role=row data-card=c0n0 .*?(?=<tr|</tbody>)", text)[0]
    assert not {*"fm"} & {*"".join(re.findall('data-is="([a-z]*)"', row))}
    assert "✓ fits as shot" in row


def test_the_card_of_a_shot_without_notices_grows_by_less_than_a_hundred_bytes(tmp_path):
    # A film of 2,000 shots on three screens had 1.6 MB left of what its page may hold.
    sources = write_source(tmp_path / "source")
    for name in SCREENS:
        write_version(tmp_path / "out" / name, sources, screen=name)
    before = write_report(tmp_path / "out").read_text(encoding="utf-8")
    for name, screen in SCREENS.items():
        with_story(tmp_path / "out" / name, story_for(screen, SPANS, PCTS))
    after = write_report(tmp_path / "out").read_text(encoding="utf-8")
    cards = [
        sum(len(card) for card in re.findall(r"<article .*?</article>", text, re.DOTALL)) for text in (before, after)
    ]
    assert (cards[1] - cards[0]) / len(PLANS) < 100


# --- the fold ------------------------------------------------------------------------------------------------------


@pytest.fixture
def opened(page, job):
    page.goto((job / "report.html").as_uri())
    return page


def unfold(page, number):
    fold = page.locator(f"#c0n{number} details.story")
    fold.locator("summary").click()
    fold.locator(".story-tables").wait_for()
    return fold


def row(fold, word):
    """The cells of a row of the first table, one a screen, with plain spaces."""
    cells = (
        fold.locator("table").first.locator("tr").filter(has=fold.page.get_by_role("rowheader", name=word, exact=True))
    )
    return [" ".join(text.split()) for text in cells.locator("td").all_inner_texts()]


def test_nothing_is_loaded_before_it_is_opened(opened):
    assert (
        opened.locator("head script").evaluate_all("all => all.map(s => s.src).filter(s => s.endsWith('/0.js'))") == []
    )
    fold = unfold(opened, 0)
    assert fold.locator("table").count() == 2
    fold.locator("summary").click()
    fold.locator("summary").click()
    assert fold.locator(".story-tables").count() == 1


def test_cinema_and_television_stand_side_by_side(opened):
    fold = unfold(opened, 0)
    heads = fold.locator("table").first.locator("thead th").all_inner_texts()
    assert heads == ["", *SCREENS]
    # 30 % of 12 m and of 1.218 m. A middle of −0.50 % is −60 mm and −6.09 mm before eyes 65 mm apart, seen at
    # 12 m · 65 / 125 and 2.055 m · 65 / 71.09; the width as seen is that on the screen in proportion. Computed.
    assert row(fold, "Its size on the screen") == ["3.60 m wide 1.35 m high", "365 mm wide 137 mm high"]
    assert [text.split(" −")[0] for text in row(fold, "Seen at")] == ["6.24 m", "1.88 m"]
    assert row(fold, "Seems to be wide") == ["1.87 m", "334 mm"]


def test_depth_and_jumps_are_told_in_percent_and_metres_as_seen(opened):
    fold = unfold(opened, 1)
    # Near −0.40 % is −48 mm on 12 m: 12 · 65 / 113 = 6.90 m, 13.75 arcmin. Far +1.50 % is +180 mm and 115 mm more than
    # the eyes are apart, 2·atan(115 / 24000) = 0.55°. Computed.
    assert row(fold, "Near seen at")[0] == "6.90 m −0.40 %, −13.8 arcmin"
    assert row(fold, "Far seen at")[0].startswith("no distance: eyes 0.55° apart")
    assert row(fold, "Depth volume")[0] == "1.90 % far has no distance"
    assert row(fold, "Depth volume")[1].startswith("1.90 % ")
    assert row(fold, "Jump of main mass at the cut")[0].startswith("+0.10 % +3.4 arcmin")
    assert not re.search(r"∞|NaN|null|undefined", fold.inner_text())


def test_what_was_not_measured_is_said_so_and_never_a_zero(opened):
    fold = unfold(opened, 2)
    for word in ("Near seen at", "Far seen at", "Depth volume", "Jump of main mass at the cut"):
        assert row(fold, word) == ["not measured"] * 2
    assert row(fold, "In front of the screen") == ["not measured"] * 2
    assert not re.search(r"NaN|null|undefined", fold.inner_text())


def test_the_camera_is_told_with_what_was_predicted_against_what_was_measured(opened):
    fold = unfold(opened, 0)
    assert row(fold, "Noted")[0] == (
        "interaxial 65 mm, focal length 35 mm, sensor width 24.89 mm, converged at 3 m, near 2 m parallel"
    )
    assert row(fold, "Near, predicted as shot")[0] == "−0.46 % measured −0.50 %"
    assert row(fold, "Far, predicted as shot")[0] == "not known"
    assert row(fold, "Far, real distance")[0] == "at infinity, or as if beyond it"
    assert row(fold, "Nothing nearer, by 1/30")[0] == "1.95 m"
    assert row(fold, "Interaxial that would have fitted")[0] == "41.0 mm a rig with a mirror"
    assert row(fold, "Not noted, and needed")[0] == "the farthest thing's distance"
    assert row(unfold(opened, 1), "Noted")[0].endswith("far infinite toed-in")


def test_each_seat_of_each_screen_has_a_row_and_a_picture_of_the_room_lies_beside(opened):
    fold = unfold(opened, 1)
    table = fold.locator("table").nth(1)
    rows = [" ".join(text.split()) for text in table.locator("tbody tr").all_inner_texts()]
    assert [text.split()[0] for text in rows] == [
        "cinema-12m", "front", "own", "back", "side", "tv-55in", "front", "own", "back", "side",
    ]  # fmt: skip
    assert "△ the eyes turn apart" in rows[1]
    assert "△" not in rows[6]
    until(opened, "[...document.querySelectorAll('#c0n1 .rooms img')].every(i => i.complete && i.naturalWidth > 0)")
    pictures = fold.locator(".rooms img")
    assert pictures.count() == 2
    assert "cinema-12m" in pictures.first.get_attribute("alt")


def test_it_is_opened_and_left_from_the_keyboard(opened):
    summary = opened.locator("#c0n0 details.story summary")
    summary.focus()
    opened.keyboard.press("Enter")
    opened.locator("#c0n0 .story-tables").wait_for()
    opened.keyboard.press("Tab")
    assert opened.evaluate("document.activeElement.getAttribute('aria-label')").startswith("Depth, size and camera")
    opened.keyboard.press("Escape")
    assert opened.evaluate("document.activeElement.id") == "c0n0"


def test_the_filter_shows_only_shots_of_which_something_is_noted(opened):
    opened.get_by_label("△ noted").check()
    assert opened.locator(".rows tbody tr:visible").count() == 2
    opened.get_by_role("button", name="Show all", exact=True).first.click()
    assert opened.locator(".rows tbody tr:visible").count() == 3
    assert not opened.get_by_label("△ noted").is_checked()


def test_where_the_figures_are_not_there_it_says_so_and_tries_again(chromium, copy, tmp_path):
    write_report(copy)
    beside = copy / "report" / "c0" / "0.js"
    beside.rename(tmp_path / "away.js")
    context = chromium.new_context()
    page = context.new_page()
    page.goto((copy / "report.html").as_uri())
    summary = page.locator("#c0n0 details.story summary")
    summary.click()
    page.get_by_text("The figures cannot be shown").wait_for()
    (tmp_path / "away.js").rename(beside)
    summary.click()
    summary.click()
    page.locator("#c0n0 .story-tables").wait_for()
    assert page.locator("#c0n0 details.story .fault").count() == 0
    context.close()


HOSTILE = '<img src=x onerror="alert(1)">'


def test_texts_from_outside_stay_text(page, copy):
    def change(log):
        shot = log["shots"][0]
        shot["story"]["notices"] = [{"code": HOSTILE, "text": HOSTILE}]
        shot["story"]["seats"][0]["outside"] = [HOSTILE]
        shot["story"]["filmed"].update(missing=[HOSTILE], rig=HOSTILE)
        log["story"].update(line=HOSTILE)
        log["story"]["seats"][0]["name"] = HOSTILE
        for one in log["shots"]:
            one["story"]["seats"][0]["name"] = HOSTILE
        log["screen"]["name"] = HOSTILE

    spoil(copy, change)
    page.goto(write_report(copy).as_uri())
    fold = unfold(page, 0)
    assert fold.locator("img[src=x]").count() == 0
    assert page.locator("img[src=x]").count() == 0
    assert fold.inner_text().count(HOSTILE) >= 4


OUT_OF_SIGHT = """() => [...document.querySelectorAll(".rhythm-all > *, .comfort *, .story-tables > *")]
  .filter((e) => e.checkVisibility() && !e.parentElement.closest(".box")
    && e.getBoundingClientRect().right > document.documentElement.clientWidth + 0.5)
  .map((e) => e.outerHTML.slice(0, 90))"""


@pytest.mark.parametrize("width", [480, 1400])
def test_nothing_reaches_out_of_the_window(opened, width):
    opened.set_viewport_size({"width": width, "height": 900})
    opened.evaluate("document.querySelectorAll('.comfort details').forEach(fold => { fold.open = true; })")
    fold = unfold(opened, 0)
    assert opened.evaluate(OUT_OF_SIGHT) == []
    assert opened.evaluate("document.documentElement.scrollWidth") <= width
    # Sizes on the cinema and on television are seen at once.
    inside, needed = fold.locator(".box").first.evaluate("e => [e.clientWidth, e.scrollWidth]")
    assert needed <= inside
    sizes = fold.locator(".story-tables *").evaluate_all(
        "all => all.filter(e => e.checkVisibility()).map(e => parseFloat(getComputedStyle(e).fontSize))"
    )
    assert min(sizes) >= 12.0


def test_on_paper_a_fold_that_is_open_is_printed_and_the_drawing_is_whole(opened):
    unfold(opened, 0)
    opened.emulate_media(media="print")
    opened.set_viewport_size({"width": 703, "height": 1000})
    assert opened.locator("#c0n0 .story-tables table").first.is_visible()
    assert not opened.locator("#c0n1 .story-tables").count()
    assert opened.locator(".rhythm svg").first.evaluate("e => e.getBoundingClientRect().right") <= 703
