"""What a finished job left on disk, read back; verdicts and the frame to show."""

import json
import re
import shutil
from dataclasses import replace

import pytest
from review_job import SHOT_FRAMES, write_source, write_version

from postfix.errors import InputError
from postfix.plan.model import Flag
from postfix.review.report import write_report
from postfix.review.runs import find_versions, read_version
from postfix.review.stills import frame_to_show, hidden_strips, open_stills_of
from postfix.review.verdict import verdict, worst_text

NAN = float("nan")


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
    shutil.copytree(job / "out", tmp_path / "out")
    return tmp_path / "out"


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
