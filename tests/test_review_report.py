"""The review page of a job made up on disk."""

import json
import re
import shutil
from dataclasses import replace
from html.parser import HTMLParser
from xml.etree import ElementTree

import numpy as np
import pytest
from review_job import PLANS, SHOT_FRAMES, write_source, write_version

from postfix.errors import InputError
from postfix.plan.model import Flag, ShotPlan, WindowKey
from postfix.review.charts import Frame, columns_of, depth_chart, edge_chart, edge_pct, frame_step, nice_step
from postfix.review.report import MOST_PICTURES, write_report
from postfix.review.runs import find_versions, read_version
from postfix.review.sheet import contact_sheet, version_rows
from postfix.review.stills import frame_to_show, hidden_strips, open_stills_of
from postfix.review.verdict import verdict, worst_text

NAN = float("nan")
VOID = {"meta", "img", "br", "path", "rect"}


class Page(HTMLParser):
    """Checks that tags are closed in order; collects ids, links, pictures and the words outside style."""

    def __init__(self, text):
        super().__init__()
        self.open, self.ids, self.links, self.images, self.words = [], [], [], [], []
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
        assert not any(name.startswith("on") for name in attrs)
        if tag not in VOID:
            self.open.append(tag)

    def handle_startendtag(self, tag, attrs):
        assert tag in VOID

    def handle_endtag(self, tag):
        assert self.open.pop() == tag

    def handle_data(self, data):
        if "style" not in self.open:
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
    return base


@pytest.fixture
def copy(job, tmp_path):
    """A job that may be spoilt, its sources where the log says."""
    shutil.copytree(job / "out", tmp_path / "out", ignore=shutil.ignore_patterns("report.html"))
    return tmp_path / "out"


def page_of(out):
    path = write_report(out)
    assert path == out / "report.html"
    return Page(path.read_text(encoding="utf-8"))


def test_the_page_is_sound_and_needs_neither_network_nor_script(job):
    page = page_of(job / "out")
    text = (job / "out" / "report.html").read_text(encoding="utf-8")
    assert "script" not in page.tags
    assert not re.search(r"https?:|@import|<link|url\((?!#)", text)
    assert len(page.ids) == len(set(page.ids))
    assert {link.removeprefix("#") for link in page.links} <= set(page.ids)
    assert all(image["src"].startswith("data:image/jpeg;base64,") and image["alt"] for image in page.images)
    assert [file.name for file in (job / "out").iterdir() if file.name.startswith(".")] == []


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
    first = write_report(job / "out").read_bytes()
    assert write_report(job / "out").read_bytes() == first


def test_only_changed_or_flagged_shots_have_pictures(job):
    page = page_of(job / "out")
    # Two shots on two screens, each with an anaglyph and both eyes, before and after.
    assert len(page.images) == 2 * 2 * 4
    assert not any("title" in image["alt"] for image in page.images)


def test_a_page_of_many_shots_says_that_only_the_first_have_pictures(tmp_path):
    plans = tuple(
        ShotPlan(f"s{i:03d}", i, i, window=(WindowKey(i, (3.0, 3.0), (0.0, 0.0)),)) for i in range(MOST_PICTURES + 5)
    )
    near = (-1.0,) * len(plans)
    write_version(tmp_path / "out" / "tv", write_source(tmp_path / "in", plans), plans=plans, near=near, far=near)
    page = page_of(tmp_path / "out")
    assert len(page.images) == 4 * MOST_PICTURES
    assert (
        f"5 changed or flagged shots of this screen have no pictures here: the page shows the first {MOST_PICTURES}"
        in page.text
    )


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
    log.write_text(json.dumps(data), encoding="utf-8")
    csv = tmp_path / "out" / "tv" / "changes.csv"
    csv.write_text(csv.read_text(encoding="utf-8").replace("01:00:00:00", evil), encoding="utf-8")
    page = page_of(tmp_path / "out")
    assert evil not in (tmp_path / "out" / "report.html").read_text(encoding="utf-8")
    assert f"Review of {evil}" in page.text
    assert "b" not in page.tags
    assert all(image["src"].startswith("data:") for image in page.images)


def test_what_was_not_measured_is_said_in_words_and_never_a_zero(tmp_path):
    sources = write_source(tmp_path / "in")
    write_version(tmp_path / "out" / "tv", sources, checked=False, near=(NAN, -0.2, -2.0), far=(NAN, 1.5, 0.3))
    page = page_of(tmp_path / "out")
    assert "Near not measured not measured –" in page.text
    assert "moved, result not measured" in page.text
    assert "3 of 3 were not measured after the change" in page.text
    assert "fits as shot" not in page.text
    assert "nothing was measured" in page.text  # the words that describe the chart


def test_sources_that_are_gone_are_named_and_do_not_stop_the_page(tmp_path):
    sources = write_source(tmp_path / "in")
    write_version(tmp_path / "out" / "tv", sources)
    shutil.rmtree(tmp_path / "in")
    page = page_of(tmp_path / "out")
    assert "the source cannot be used any more" in page.text
    assert str(sources[0]) in page.text
    assert len(page.images) == 2 * 2
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
    assert stills.before_offset == 3
    assert np.array_equal(stills.before_rgb(0)[0], stills.after_rgb(0)[0])


def test_outputs_that_are_gone_are_an_error(copy):
    shutil.rmtree(copy / "tv-55in" / "right")
    with pytest.raises(InputError, match=r"tv-55in.*right"):
        write_report(copy)
    assert not (copy / "report.html").exists()


def test_outputs_that_are_not_those_of_the_log_are_an_error(copy):
    for eye in ("left", "right"):
        max((copy / "tv-55in" / eye).iterdir()).unlink()
    with pytest.raises(InputError, match="11 frames of 200x112, expected 12 frames"):
        write_report(copy)


def spoil_json(change):
    def spoil(folder):
        path = folder / "changes.json"
        data = json.loads(path.read_text(encoding="utf-8"))
        change(data)
        path.write_text(json.dumps(data), encoding="utf-8")

    return spoil


@pytest.mark.parametrize(
    ("spoil", "says"),
    [
        (lambda f: (f / "changes.json").write_text("{"), "changes.json: found text that is no change log"),
        (lambda f: (f / "changes.json").write_text("[1]"), "no schema"),
        (lambda f: (f / "changes.json").write_bytes(b"\xff\xfe\x00"), "no text"),
        (lambda f: (f / "changes.json").write_text('{"schema": NaN}'), "NaN is no figure"),
        (spoil_json(lambda d: d.update(schema="postfix-changes/9")), "postfix-changes/9"),
        (spoil_json(lambda d: d.pop("limits")), "no limits"),
        (spoil_json(lambda d: d["clip"].update(rate="24/0")), "changes.json"),
        (spoil_json(lambda d: d["clip"].update(frames=True)), "frames is 'True'"),
        (spoil_json(lambda d: d["screen"].update(width_mm=0)), "width_mm is 0"),
        (spoil_json(lambda d: d["shots"].pop(1)), "every frame once"),
        (spoil_json(lambda d: d["shots"][0].update(fill="paint")), "paint"),
        (spoil_json(lambda d: d["shots"][0]["before"].pop("near_pct")), "no near_pct"),
        (spoil_json(lambda d: d["outputs"].pop()), "a left and a right eye"),
        (lambda f: (f / "changes.csv").unlink(), "changes.csv: found nothing"),
        (lambda f: (f / "changes.csv").write_text("frame,timecode\n0,a\n"), "line 2: no column 'hit_pct'"),
        (
            lambda f: (f / "changes.csv").write_text((f / "changes.csv").read_text().replace("\n5,", "\n6,")),
            "line 7: frame 6",
        ),
        (
            lambda f: (f / "changes.csv").write_text("\n".join((f / "changes.csv").read_text().splitlines()[:-1])),
            "11 frames",
        ),
    ],
)
def test_a_spoilt_log_is_refused_by_name(copy, spoil, says):
    spoil(copy / "cinema-12m")
    with pytest.raises(InputError, match=re.escape(says)) as caught:
        write_report(copy)
    assert "cinema-12m" in caught.value.where


def test_a_folder_without_any_log_is_refused(tmp_path):
    (tmp_path / ".cinema.unfinished-1").mkdir()
    (tmp_path / ".cinema.unfinished-1" / "changes.json").write_text("{}")
    with pytest.raises(InputError, match=r"no changes\.json in any folder"):
        write_report(tmp_path)


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


def test_screens_are_ordered_by_name(job):
    (group,) = find_versions(job / "out").values()
    assert [version.screen.name for version in group] == ["cinema-12m", "tv-55in"]


def test_verdicts_follow_the_log(job):
    version = read_version(job / "out" / "cinema-12m")
    title, beach, spool = (verdict(version, shot) for shot in version.shots)
    assert (title.sign, title.words, title.is_bad) == ("✓", "fits as shot", False)
    assert (beach.sign, beach.words) == ("↔", "moved")
    assert spool.is_bad
    # Far +0.50 % of +0.54 %, near −1.20 % of −1.75 %, range 1.70 % of 1.75 %, and content 1.20 % in front of the left
    # edge, where the made-up figures have no window: that is beyond its limit (computed).
    assert worst_text(version.shots[1], version.limits) == "1.20 % in front of the left edge, limit 0.15 %"
    clear = replace(version.shots[1].after, left_excess_pct=0.0)
    assert worst_text(replace(version.shots[1], after=clear), version.limits) == "far +0.50 %, limit +0.54 %"
    unknown = replace(clear, far_pct=NAN, near_pct=NAN, range_pct=NAN, right_excess_pct=NAN)
    assert worst_text(replace(version.shots[1], after=unknown), version.limits) == "not measured"


def test_a_shot_in_which_nothing_was_measured_never_fits(tmp_path):
    write_version(tmp_path / "tv", write_source(tmp_path / "in"), near=(NAN, -0.2, -2.0), far=(NAN, 1.5, 0.3))
    version = read_version(tmp_path / "tv")
    title = verdict(version, version.shots[0])
    assert (title.sign, title.words, title.is_bad) == ("?", "could not be judged", True)
    assert title.worst == "not measured; nothing was changed"


def test_a_window_whose_edge_could_not_be_judged_is_not_taken_for_proven(job):
    version = read_version(job / "out" / "cinema-12m")
    flag = Flag("not-measured", "the left edge could not be judged in the finished files, where a window was planned")
    spool = replace(version.shots[2], flags=(flag,))
    stands = verdict(version, spool)
    assert (stands.sign, stands.words, stands.is_bad) == ("?", "an edge could not be judged", True)
    assert stands.worst.endswith("; windowed, the edge not proven")
    near = replace(spool, flags=(Flag("near", "near is outside"), flag))
    assert verdict(version, near).words == "outside its limits"
    assert verdict(version, near).worst.endswith("; windowed, the edge not proven")


def test_logs_from_before_edges_were_counted_can_still_be_read(tmp_path):
    folder = write_version(tmp_path / "tv", write_source(tmp_path / "in"))
    log = json.loads((folder / "changes.json").read_text(encoding="utf-8"))
    assert read_version(folder).shots[1].after.left_edge_frames == SHOT_FRAMES
    for shot in log["shots"]:
        for when in ("before", "after"):
            del shot[when]["left_edge_frames"], shot[when]["right_edge_frames"]
    (folder / "changes.json").write_text(json.dumps(log), encoding="utf-8")
    assert read_version(folder).shots[1].after.frames == SHOT_FRAMES


def test_the_frame_shown_is_where_the_window_is_widest_else_where_near_is_worst(job):
    version = read_version(job / "out" / "cinema-12m")
    assert frame_to_show(version, version.shots[2]) == (11, "where the window is widest")
    assert frame_to_show(version, version.shots[1]) == (SHOT_FRAMES, "where near was farthest in front")


def test_hidden_strips_are_where_the_written_pictures_are_black(job):
    version = read_version(job / "out" / "cinema-12m")
    stills = open_stills_of(version)
    for shot in version.shots:
        for frame in (shot.plan.first, shot.plan.last):
            for picture, (left, right) in zip(stills.after_rgb(frame), hidden_strips(version, shot, frame)):
                black = picture.max(axis=2) == 0
                for row, ends in ((0, 0), (-1, 1)):
                    # The source has no black: its third channel is 40 everywhere.
                    found = (int(black[row, :100].sum()), int(black[row, 100:].sum()))
                    assert found == pytest.approx((left[ends], right[ends]), abs=1.0)


def test_charts_are_well_formed_and_described(job):
    version = read_version(job / "out" / "cinema-12m")
    for chart in (depth_chart, edge_chart):
        root = ElementTree.fromstring(chart(version, "x"))
        assert root.get("role") == "img"
        described = root.get("aria-labelledby").split()
        assert [root.find("title").get("id"), root.find("desc").get("id")] == described
        numbers = [float(n) for path in root.iter("path") for n in re.findall(r"-?\d+\.?\d*", path.get("d"))]
        assert np.isfinite(numbers).all()


def points(path):
    return [tuple(float(v) for v in pair.split()) for pair in re.findall(r"[\d.]+ [\d.]+", path.get("d"))]


def test_the_depth_chart_draws_each_figure_at_its_height(job):
    version = read_version(job / "out" / "cinema-12m")
    root = ElementTree.fromstring(depth_chart(version, "x"))
    by_class = {path.get("class"): path for path in root.iter("path")}
    scale = {}
    for text in root.iter("text"):
        if "tick end" in text.get("class") and text.text.endswith("%"):
            scale[float(text.text[:-2].replace("−", "-"))] = float(text.get("y")) - 4.0
    (low, y_low), (high, y_high) = min(scale.items()), max(scale.items())

    def y(pct):
        return y_low + (pct - low) * (y_high - y_low) / (high - low)

    for name, near, far in (
        ("before-band", (-0.5, -0.2, -2.0), (0.2, 1.5, 0.3)),
        ("after-band", (-0.5, -1.2, -2.0), (0.2, 0.5, 0.3)),
    ):
        found = sorted({round(v, 1) for _, v in points(by_class[name])})
        assert found == pytest.approx(sorted(y(pct) for pct in (*near, *far)), abs=0.3)


def test_the_edge_chart_shows_the_window_as_the_parallax_of_the_edge(job):
    # Hiding w px at the left edge of the left eye puts that edge at −w: references, section 4 (computed).
    version = read_version(job / "out" / "cinema-12m")
    top, bottom = edge_pct(version, "left")
    assert (top[8], bottom[8], top[11], bottom[11]) == pytest.approx((-2.0, -4.0, -3.0, -6.0))
    # HIT −2 px: the left eye moves right and is bare at its left, the right eye at its right: both edges come forward.
    right_top, _ = edge_pct(version, "right")
    assert (top[5], right_top[5]) == pytest.approx((-0.5, -0.5))
    assert top[:4].tolist() == [0.0] * 4


def test_long_clips_are_drawn_in_columns_that_keep_extremes_and_break_at_cuts(job):
    version = read_version(job / "out" / "cinema-12m")
    frames = 10_000
    shots = tuple(
        replace(version.shots[0], plan=replace(version.shots[0].plan, first=first, last=last))
        for first, last in ((0, 3332), (3333, frames - 1))
    )
    columns = columns_of(replace(version, clip=replace(version.clip, frames=frames), shots=shots))
    values = np.zeros(frames)
    values[[17, 3333]] = -5.0
    values[3332] = NAN
    assert len(columns.starts) < 720
    assert 3333 in columns.starts
    least = columns.least(values)
    assert least.min() == -5.0
    assert (least == -5.0).sum() == 2
    assert columns.ends[-1] == frames


@pytest.mark.parametrize(("span", "most", "step"), [(3.0, 7, 0.5), (7.0, 7, 1.0), (0.9, 5, 0.2), (40.0, 7, 10.0)])
def test_parallax_ticks_are_round(span, most, step):
    assert nice_step(span, most) == pytest.approx(step)


@pytest.mark.parametrize(
    ("frames", "nominal", "step"),
    [(5, 24, 1), (12, 24, 2), (196, 24, 48), (24 * 600, 24, 24 * 120), (10**7, 24, 1250000)],
)
def test_time_ticks_fall_on_whole_seconds_where_there_are_several(frames, nominal, step):
    assert frame_step(frames, nominal) == step


def test_up_is_behind_the_screen():
    frame = Frame(10.0, 100.0, 24, -2.0, 2.0)
    assert frame.y(1.0) < frame.y(0.0) < frame.y(-1.0)
