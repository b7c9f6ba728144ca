"""``--offset`` and ``--swap`` through the command: the eyes are paired as a person decided, and everything says so.

What must come out is what comes out of files that were cut and named by hand beforehand (computed).
"""

import json
import re
import shutil
from dataclasses import replace
from fractions import Fraction
from functools import cache

import numpy as np
import pytest
from clips import SIZE, fails, scene, source_words
from footage import SPECS, write_still, yuv422p10

from postfix.cli import main
from postfix.deliver.video import write_video
from postfix.job import measuring
from postfix.job.choice import SourceChoice
from postfix.measure.suspicions import suspicions
from postfix.measure.table import ClipInfo, FrameMeasure, MeasurementTable, ShotFinding
from postfix.source.opening import open_eye
from postfix.source.pair import Reading, first_in_file, open_pair
from postfix.source.shots import Shot

FRAMES = 10
START = "10:00:00:00"
RATE = Fraction(24)
MOVED_PCT = 1.4


@cache
def pictures(number, far_pct=MOVED_PCT):
    """Both eyes at one moment, (H, W, 3) uint8; no two moments look alike."""
    left, right = ((np.asarray(eye) * 255).astype(np.uint8) for eye in scene(far_pct).render(number + 50))
    for eye in (left, right):
        eye[:12, 40 + 8 * number : 60 + 8 * number] = 200
    return left, right


def write_eye(place, kind, shown, first=1001, timecode=START):
    """One eye's pictures as a video with timecode, or as a folder of stills."""
    if kind == "tiff":
        place.mkdir(parents=True)
        for number, picture in enumerate(shown, start=first):
            write_still(place / f"gull.{number:04d}.tif", picture.astype(np.uint16) * 257)
        return place
    place.parent.mkdir(parents=True, exist_ok=True)
    path = place.with_name(f"gull_{place.name}.mkv")
    spec = replace(SPECS["ffv1.mkv"], width=SIZE[0], height=SIZE[1], rate=RATE, timecode=timecode)
    write_video(path, spec, (yuv422p10(picture) for picture in shown))
    return path


def write_pair(folder, kind, late, *, frames=(FRAMES, FRAMES), far_pct=MOVED_PCT):
    """Left and right, the right one showing what the left one shows ``late`` frames later."""
    left = [pictures(i, far_pct)[0] for i in range(frames[0])]
    right = [pictures(i - late, far_pct)[1] for i in range(frames[1])]
    return write_eye(folder / "left", kind, left), write_eye(folder / "right", kind, right)


def write_cut(folder, kind, late, far_pct=MOVED_PCT):
    """The same as it would be cut by hand: only moments that both have."""
    moments = range(max(0, -late), min(FRAMES, FRAMES - late))
    left, right = zip(*(pictures(i, far_pct) for i in moments))
    first = moments.start
    timecode = f"10:00:00:{first:02d}"
    return (
        write_eye(folder / "left", kind, left, 1001 + first, timecode),
        write_eye(folder / "right", kind, right, 1001 + first + late, timecode),
    )


def typed(command, pair, *more):
    rate = [] if pair[0].is_file() else ["--rate", "24"]
    return [command, *source_words(*pair), *rate, *map(str, more)]


def run(pair, out, *more, check=False):
    more = more if check else (*more, "--no-check")
    code = main(typed("run", pair, "--screen", "cinema-12m", "-o", out, "-q", *more))
    assert code in (0, 5)
    return json.loads((out / "cinema-12m/changes.json").read_text())


def samples(path):
    rate = None if path.is_file() else RATE
    return [[plane.copy() for plane in planes] for planes in open_eye(path, rate=rate).frames()]


def written(out, eye):
    folder = out / "cinema-12m" / eye
    (one, *others) = sorted(folder.iterdir())
    return folder if others or one.suffix == ".tif" else one


def assert_same(found, expected):
    assert len(found) == len(expected)
    for a, b in zip(found, expected):
        assert all(np.array_equal(x, y) for x, y in zip(a, b, strict=True))


@pytest.mark.parametrize("late", [3, -2])
@pytest.mark.parametrize("kind", ["ffv1", "tiff"])
def test_an_offset_gives_what_files_cut_by_hand_give(tmp_path, kind, late):
    pair, by_hand = write_pair(tmp_path / "in", kind, late), write_cut(tmp_path / "cut", kind, late)
    check = (kind, late) == ("ffv1", 3)
    log = run(pair, tmp_path / "out", "--offset", late, check=check)
    cut = run(by_hand, tmp_path / "out cut", check=check)
    for eye in ("left", "right"):
        assert written(tmp_path / "out", eye).name == written(tmp_path / "out cut", eye).name
        assert_same(samples(written(tmp_path / "out", eye)), samples(written(tmp_path / "out cut", eye)))
    for name in ("plan.toml", "changes.csv"):
        one, other = ((tmp_path / out / "cinema-12m" / name).read_text("utf-8") for out in ("out", "out cut"))
        # Only the mark of the footage may tell them apart.
        assert re.sub('footage = ".*"', "", one) == re.sub('footage = ".*"', "", other), name
    assert log["shots"] == cut["shots"]
    assert {**log["clip"], "footage": ""} == {**cut["clip"], "footage": ""}
    assert log["clip"]["frames"] == FRAMES - abs(late)
    assert log["shots"][0]["applied_hit_px"] != [0, 0], "the test is meant for pictures that are moved"


@pytest.mark.parametrize("kind", ["ffv1", "tiff"])
def test_pictures_that_need_nothing_are_handed_on_as_they_are(tmp_path, kind):
    pair = write_pair(tmp_path / "in", kind, 2, far_pct=0.2)
    log = run(pair, tmp_path / "out", "--offset", 2)
    assert log["shots"][0]["applied_hit_px"] == [0, 0]
    for eye, path, first in (("left", pair[0], 0), ("right", pair[1], 2)):
        out = written(tmp_path / "out", eye)
        assert_same(samples(out), samples(path)[first : first + FRAMES - 2])
        if kind == "tiff":
            kept = sorted(path.iterdir())[first : first + FRAMES - 2]
            assert [p.name for p in sorted(out.iterdir())] == [p.name for p in kept]
            assert all((out / p.name).read_bytes() == p.read_bytes() for p in kept)


def test_the_log_says_the_reading_and_what_was_used_of_each_eye(tmp_path):
    pair = write_pair(tmp_path / "in", "tiff", 3)
    log = run(pair, tmp_path / "out", "--offset", 3)
    assert log["reading"] == {"offset_frames": 3, "swapped": False}
    used = {source["eye"]: (source["first_frame"], source["frames"]) for source in log["sources"]}
    assert used == {"left": (1001, 7), "right": (1004, 7)}
    assert [output["frames"] for output in log["outputs"]] == [7, 7]


def test_timecode_is_that_of_the_left_eyes_first_used_frame_in_both(tmp_path):
    late = -2
    pair = write_pair(tmp_path / "in", "ffv1", late)
    log = run(pair, tmp_path / "out", "--offset", late)
    assert log["shots"][0]["timecode_in"] == "10:00:00:02"
    assert log["shots"][0]["timecode_out"] == "10:00:00:09"
    for eye in ("left", "right"):
        assert open_eye(written(tmp_path / "out", eye)).timecode == "10:00:00:02"


def test_eyes_of_different_length_are_used_as_far_as_both_go(tmp_path, capsys):
    pair = write_pair(tmp_path / "in", "ffv1", 2, frames=(8, 11))
    fails(capsys, typed("measure", pair, "-o", tmp_path / "m.csv"), 3, "8 frames", "11 frames", "--offset")
    assert open_pair(*pair, reading=Reading(2)).count == 8
    assert open_pair(*pair, reading=Reading(4)).count == 7
    assert open_pair(*pair, reading=Reading(-7)).count == 1


@pytest.mark.parametrize("late", [FRAMES, -FRAMES, 400])
@pytest.mark.parametrize("kind", ["ffv1", "tiff"])
def test_an_offset_that_leaves_nothing_is_refused_with_the_counts(tmp_path, capsys, kind, late):
    pair = write_pair(tmp_path / "in", kind, 0)
    fails(
        capsys, typed("measure", pair, "--offset", late, "-o", tmp_path / "m.csv"), 2, f"--offset {late}", "10 frames"
    )
    assert not (tmp_path / "m.csv").exists()


@pytest.mark.parametrize(
    ("kind", "frames", "late", "left", "right"),
    [
        ("ffv1", (2, 5), 3, (2, 4), (5, 4)),
        ("ffv1", (4, 9), 3, (4, 3), (7, 3)),
        ("ffv1", (0, 4), -2, (2, 3), (0, 3)),
        ("tiff", (1003, 1006), 3, (1003, 4), (1006, 4)),
        ("tiff", (1005, 1010), 3, (1005, 3), (1008, 3)),
        ("tiff", (1001, 1005), -2, (1003, 3), (1001, 3)),
    ],
)
def test_chosen_frames_are_the_left_eyes(tmp_path, kind, frames, late, left, right):
    pair = write_pair(tmp_path / "in", kind, late)
    opened = open_pair(*pair, rate=RATE if kind == "tiff" else None, frames=frames, reading=Reading(late))
    used = [(first_in_file(eye), eye.count) for eye in (opened.left, opened.right)]
    assert used == [left, right]
    # Of the moments that both show, each is shown with itself.
    base = 1001 if kind == "tiff" else 0
    whole = [samples(path) for path in pair]
    for index, *eyes in opened.frames():
        for number, (shown, (first, _)) in enumerate(zip(eyes, (left, right))):
            assert np.array_equal(shown[0], whole[number][first - base + index][0])


def test_chosen_frames_that_the_offset_leaves_nothing_of_are_refused(tmp_path, capsys):
    pair = write_pair(tmp_path / "in", "ffv1", 0)
    words = typed("measure", pair, "--frames", "8-9", "--offset", 5, "-o", tmp_path / "m.csv")
    fails(capsys, words, 2, "--offset 5", "--frames 8-9")


def test_stills_missing_outside_the_chosen_frames_do_not_matter(tmp_path):
    pair = write_pair(tmp_path / "in", "tiff", 2)
    (pair[1] / "gull.1002.tif").unlink()
    opened = open_pair(*pair, rate=RATE, frames=(1001, 1006), reading=Reading(2))
    assert (opened.count, opened.right.first_number) == (6, 1003)


def test_exchanged_eyes_are_exchanged_back(tmp_path):
    left, right = write_pair(tmp_path / "in", "ffv1", 0)
    straight = run((left, right), tmp_path / "straight")
    swapped = run((right, left), tmp_path / "swapped", "--swap")
    assert swapped["reading"] == {"offset_frames": 0, "swapped": True}
    assert swapped["shots"] == straight["shots"]
    assert [s["path"] for s in swapped["sources"]] == [str(left.resolve()), str(right.resolve())]
    for eye in ("left", "right"):
        assert written(tmp_path / "swapped", eye).name == f"gull_{eye}.mkv"
        assert_same(samples(written(tmp_path / "swapped", eye)), samples(written(tmp_path / "straight", eye)))


def test_the_offset_is_of_the_files_as_given_also_where_they_are_exchanged(tmp_path):
    left, right = write_pair(tmp_path / "in", "ffv1", 3)
    # Given the other way round, it is the file given as left that is late.
    log = run((right, left), tmp_path / "out", "--offset", -3, "--swap")
    straight = run((left, right), tmp_path / "straight", "--offset", 3)
    assert log["shots"] == straight["shots"]
    for eye in ("left", "right"):
        assert_same(samples(written(tmp_path / "out", eye)), samples(written(tmp_path / "straight", eye)))


EDIT = """TITLE: GULLS
FCM: NON-DROP FRAME

001  AX       V     C        00:00:00:00 00:00:00:04 10:00:00:00 10:00:00:04
* FROM CLIP NAME: ROCKS
002  AX       V     C        00:00:00:00 00:00:00:06 10:00:00:04 10:00:00:10
* FROM CLIP NAME: SURF
"""


@pytest.mark.parametrize(
    ("late", "shots"),
    [(0, [(0, 3), (4, 9)]), (3, [(0, 3), (4, 6)]), (-2, [(0, 1), (2, 7)]), (-5, [(0, 4)]), (7, [(0, 2)])],
)
def test_an_edit_list_keeps_its_cuts_where_they_are_in_the_left_eye(tmp_path, late, shots):
    pytest.importorskip("opentimelineio")
    pair = write_pair(tmp_path / "in", "ffv1", late)
    edit = tmp_path / "gulls.edl"
    edit.write_text(EDIT)
    _, found = SourceChoice(*pair, edit=edit, reading=Reading(late)).open()
    assert [(shot.first, shot.last) for shot in found.shots] == shots


def test_resume_notices_another_offset_or_order(tmp_path, capsys):
    pair, out = write_pair(tmp_path / "in", "tiff", 2), tmp_path / "out"
    again = typed("run", pair, "--screen", "cinema-12m", "-o", out, "--no-check", "--resume")
    run(pair, out, "--offset", 2)
    assert main([*again, "--offset", "2"]) in (0, 5)
    line = fails(capsys, [*again, "--offset", "1"], 3, "another offset")
    assert "eye" not in line.split("found")[1].split("expected")[0]
    fails(capsys, [*again, "--offset", "2", "--swap"], 3, "another order of the eyes")
    fails(capsys, again, 3, "another offset")


def test_a_job_file_names_offset_and_swap_for_each_clip(tmp_path, capsys):
    left, right = write_pair(tmp_path / "in", "ffv1", 2)
    job = tmp_path / "job.toml"
    clip = f'[[clip]]\nname = "{{}}"\nleft = "in/{left.name}"\nright = "in/{right.name}"\n'
    job.write_text(
        'screens = ["cinema-12m"]\n' + clip.format("late") + "offset = 2\n" + clip.format("turned") + "swap = true\n"
    )
    out = tmp_path / "out"
    assert main(["run", "--job", str(job), "-o", str(out), "--no-check", "--json"]) in (0, 5)
    said = json.loads(capsys.readouterr().out)
    assert [entry["reading"] for entry in said["versions"]] == [
        {"offset_frames": 2, "swapped": False},
        {"offset_frames": 0, "swapped": True},
    ]
    for wrong, says in (("offset = true", "a whole number"), ("offset = 1.5", "a whole number"), ("swap = 1", "true")):
        job.write_text('screens = ["cinema-12m"]\n' + clip.format("late") + wrong + "\n")
        fails(capsys, ["run", "--job", job, "-o", tmp_path / "no"], 3, "job.toml", says)


def test_the_summary_and_the_page_say_how_the_eyes_were_read(tmp_path, capsys):
    pair, out = write_pair(tmp_path / "in", "ffv1", 2), tmp_path / "out"
    assert main(typed("run", pair, "--screen", "cinema-12m", "-o", out, "--offset", 2, "--no-check")) in (0, 5)
    said = " ".join(capsys.readouterr().out.split())
    assert "the file given as right taken as 2 frames late (--offset 2)" in said
    page = (out / "report.html").read_text()
    assert "2 frames late (--offset 2)" in page
    assert "There are no pictures from before" not in page
    assert main(typed("check", pair, "--screen", "cinema-12m", "--offset", 2, "--swap")) in (0, 5)
    assert "left and right exchanged (--swap)" in " ".join(capsys.readouterr().out.split())


def test_the_page_shows_the_source_frames_that_were_used(tmp_path):
    from postfix.review.runs import read_version
    from postfix.review.stills import open_stills_of

    left, right = write_pair(tmp_path / "in", "ffv1", -2)
    run((left, right), tmp_path / "out", "--offset", -2)
    stills = open_stills_of(read_version(tmp_path / "out/cinema-12m"))
    assert stills.before is not None
    before = next(iter(stills.before.frames(0, 0)))
    assert np.array_equal(before[1][0], samples(left)[2][0])
    assert np.array_equal(before[2][0], samples(right)[0][0])


def test_a_render_takes_the_offset_too(tmp_path, capsys):
    pair = write_pair(tmp_path / "in", "ffv1", 2)
    table, plan, out = (tmp_path / name for name in ("m.csv", "p.toml", "out"))
    assert main(typed("measure", pair, "--offset", 2, "-o", table, "-q")) == 0
    assert main(["plan", str(table), "--screen", "cinema-12m", "-o", str(plan), "-q"]) in (0, 5)
    words = typed("render", pair, "--plan", plan, "-o", out, "--no-check", "-q")
    fails(capsys, words, 3, "10 frames", "8 frames")
    assert main([*words, "--offset", "2"]) in (0, 5)
    whole = tmp_path / "whole"
    run(pair, whole, "--offset", 2)
    for eye in ("left", "right"):
        name = f"{eye}/gull_{eye}.mkv"
        assert (out / name).read_bytes() == (whole / "cinema-12m" / name).read_bytes()


def finding(late=float("nan"), sure=0.0, swap=""):
    return ShotFinding(1.0, late, sure, swap)


def table_with(*findings):
    count = len(findings)
    shots = tuple(Shot(f"s{i + 1:03d}", i, i) for i in range(count))
    clip = ClipInfo("gull", 320, 180, RATE, 1)
    return MeasurementTable(clip, (FrameMeasure(),) * count, ("",) * count, shots, findings)


@pytest.mark.parametrize(
    ("found", "reading", "says"),
    [
        (finding(2, 0.97), Reading(), "s001: the right eye seems 2 frames late (confidence 0.97); if you agree, run "
         "again with --offset 2 "),
        (finding(-1, 0.8), Reading(), "the right eye seems 1 frame early (confidence 0.80); if you agree, run again "
         "with --offset -1 "),
        (finding(1, 0.8), Reading(2), "--offset 3 "),
        (finding(-2, 0.8), Reading(2), "leave --offset out"),
        (finding(2, 0.8), Reading(0, True), "--offset -2 "),
        (finding(swap="strips match the wrong side"), Reading(), "s001: the eyes may be exchanged: strips match the "
         "wrong side; look at it, and if you agree, run again with --swap "),
        (finding(swap="x"), Reading(0, True), "leave --swap out"),
    ],
)  # fmt: skip
def test_a_suspicion_says_what_to_type_next(found, reading, says):
    (told,) = suspicions(table_with(found), reading)
    assert says in told.text


def test_what_to_type_next_leaves_nothing_to_suspect(tmp_path):
    # Found between the eyes as they are read, whichever way they were given.
    left, right = write_pair(tmp_path / "in", "ffv1", 3)
    for given, reading, late in (((left, right), Reading(1), 2), ((right, left), Reading(-1, True), 2)):
        (told,) = suspicions(table_with(finding(late, 0.9)), reading)
        needed = int(re.search(r"--offset (-?\d+)", told.text)[1])
        assert open_pair(*given, reading=replace(reading, offset_frames=needed)).count == FRAMES - 3
        assert abs(needed) == 3


def test_no_suspicion_without_an_offset_or_with_little_confidence():
    assert suspicions(table_with(finding(0, 1.0), finding(4, 0.49), finding())) == ()
    assert suspicions(replace(table_with(finding()), findings=())) == ()


@pytest.fixture
def late_right_eye(monkeypatch):
    """Whatever is measured, the right eye seems late and the eyes exchanged."""
    measured = measuring.assembled

    def with_findings(*args, **kwargs):
        table = measured(*args, **kwargs)
        return replace(table, findings=(ShotFinding(1.0, 2.0, 0.97, "it looks so"),) * len(table.shots))

    monkeypatch.setattr(measuring, "assembled", with_findings)


@pytest.mark.parametrize("command", ["measure", "check", "run"])
def test_suspicions_are_told_in_words_and_as_data_and_on_the_page(late_right_eye, tmp_path, capsys, command):
    pair = write_pair(tmp_path / "in", "tiff", 0, far_pct=0.2)
    out = tmp_path / ("m.csv" if command == "measure" else "out")
    more = {
        "measure": ["-o", out],
        "check": ["--screen", "cinema-12m"],
        "run": ["--screen", "cinema-12m", "-o", out, "--no-check"],
    }[command]
    assert main(typed(command, pair, "--one-shot", *more)) in (0, 5)
    said = " ".join(capsys.readouterr().out.split())
    for part in ("s001: the right eye seems 2 frames late (confidence 0.97)", "--offset 2", "it looks so", "--swap"):
        assert part in said
    if command == "run":
        page = (out / "report.html").read_text()
        log = json.loads((out / "cinema-12m/changes.json").read_text())
        assert "the right eye seems 2 frames late" in page
        assert [(doubt["kind"], doubt["shot"]) for doubt in log["suspicions"]] == [("offset", "s001"), ("swap", "s001")]
        shutil.rmtree(out)
    out.unlink(missing_ok=True) if command == "measure" else None
    assert main([*typed(command, pair, "--one-shot", *more), "--json"]) in (0, 5)
    data = json.loads(capsys.readouterr().out)
    doubts = data["suspicions"]
    assert [(doubt["kind"], doubt["offset_frames"], doubt["confidence"]) for doubt in doubts] == [
        ("offset", 2, 0.97),
        ("swap", 0, None),
    ]


def test_nothing_is_changed_by_a_suspicion(late_right_eye, tmp_path):
    pair = write_pair(tmp_path / "in", "tiff", 0, far_pct=0.2)
    log = run(pair, tmp_path / "out")
    assert log["reading"] == {"offset_frames": 0, "swapped": False}
    assert_same(samples(written(tmp_path / "out", "left")), samples(pair[0]))
