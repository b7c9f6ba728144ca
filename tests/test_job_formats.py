"""The whole job with what goes in and out: codes kept, layouts, codecs, frames, screens that share one decoding."""

import json
from dataclasses import replace
from fractions import Fraction

import numpy as np
import pytest
from clips import FRAMES, fails, source_words, tree, write_pair
from footage import SPECS, write_tiffs, yuv422p10

from postfix.cli import main
from postfix.deliver.video import write_video
from postfix.demo.layers import Layer, layered_scene
from postfix.job import rendering
from postfix.job import version as job_version
from postfix.plan.file import read_plan
from postfix.source.opening import open_eye
from postfix.source.packed import open_packed
from postfix.source.pair import PairSource, open_pair

RAMP_SIZE = (512, 64)
RAMP_FRAMES = 100


def ramp(shift_px):
    """(Y, U, V) 4:2:2 of 10 bits: every code is in it, in luma and in chroma, and differs by row so that it matches."""
    width, height = RAMP_SIZE
    column = np.arange(width)[None, :] + shift_px
    luma = (column * 7 + np.arange(height)[:, None] * 131) % 1024
    half = np.arange(width // 2)[None, :] + shift_px // 2
    chroma = (half * 5 + np.arange(height)[:, None] * 37) % 1024
    return luma.astype(np.uint16), chroma.astype(np.uint16), chroma[::-1].astype(np.uint16)


@pytest.fixture(scope="module")
def ramps(tmp_path_factory):
    """100 frames of a 10-bit ramp in FFV1, full range so that every code is a legal one."""
    folder = tmp_path_factory.mktemp("ramp")
    spec = replace(
        SPECS["ffv1.mkv"], width=RAMP_SIZE[0], height=RAMP_SIZE[1], rate=Fraction(24), color_range=2, timecode=None
    )
    paths = []
    for eye, shift in (("left", 0), ("right", 2)):
        path = folder / f"ramp_{eye}.mkv"
        write_video(path, spec, (ramp(shift) for _ in range(RAMP_FRAMES)))
        paths.append(path)
    return paths


def test_every_code_of_a_ten_bit_ramp_comes_through_a_moved_run(ramps, tmp_path):
    """A moved shot loses columns and no code: what is left is the source's, sample for sample."""
    settings = tmp_path / "settings.toml"
    settings.write_text('[window]\non = false\n\n[[pin]]\nshot = "s001"\nhit = 0.8\n')
    typed = ["run", *source_words(*ramps), "--one-shot", "--screen", "tv-55in", "--settings", str(settings)]
    assert main([*typed, "--no-check", "-q", "-o", str(tmp_path / "out")]) in (0, 5)
    (shot,) = read_plan(tmp_path / "out" / "tv-55in" / "plan.toml").shots
    assert shot.hit[0].pct == pytest.approx(0.8)
    for eye, source, move in (("left", ramps[0], -2), ("right", ramps[1], 2)):
        written = open_eye(tmp_path / "out" / "tv-55in" / eye / f"ramp_{eye}.mkv")
        assert written.count == RAMP_FRAMES
        for before, after in zip(open_eye(source).frames(), written.frames()):
            for was, now, step in zip(before, after, (1, 2, 2)):
                samples = move // step
                kept = was[:, : -samples or None] if samples > 0 else was[:, -samples:]
                moved = now[:, samples:] if samples > 0 else now[:, : samples or None]
                np.testing.assert_array_equal(moved, kept)
                assert np.unique(moved).size == 1024


@pytest.fixture(scope="module")
def pair(tmp_path_factory):
    """A short pair that must be moved."""
    return write_pair(tmp_path_factory.mktemp("pair"), far_pct=1.4)


def run(out, *words, screens=("cinema-12m",)):
    named = [word for name in screens for word in ("--screen", name)]
    code = main(["run", *map(str, words), *named, "-q", "-o", str(out)])
    assert code in (0, 5)
    return json.loads((out / screens[0] / "changes.json").read_text())


def test_several_layouts_come_from_one_render_and_agree_sample_for_sample(pair, tmp_path, monkeypatch):
    drawn = []
    real = rendering.render_pair
    monkeypatch.setattr(rendering, "render_pair", lambda *a, **k: drawn.append(a[5]) or real(*a, **k))
    layouts = ("left-right", "side-by-side", "top-bottom")
    words = [word for layout in layouts for word in ("--deliver", layout)]
    log = run(tmp_path / "out", *source_words(*pair), *words)
    assert sorted(drawn) == list(range(8))
    assert [(entry["eye"], entry["layout"]) for entry in log["outputs"]] == [
        ("left", "left-right"), ("right", "left-right"), ("both", "side-by-side"), ("both", "top-bottom"),
    ]  # fmt: skip
    folder = tmp_path / "out" / "cinema-12m"
    eyes = open_pair(folder / "left" / "gull_left.mkv", folder / "right" / "gull_right.mkv")
    for entry in log["outputs"][2:]:
        packed = open_packed(folder / entry["path"], entry["layout"])
        assert open_packed(folder / entry["path"]).layout == entry["layout"]  # the file says so itself
        for (_, *one), (_, *other) in zip(eyes.frames(), packed.frames(), strict=True):
            for planes, same in zip(one, other):
                for plane, like in zip(planes, same):
                    np.testing.assert_array_equal(plane, like)


def test_a_packed_source_comes_back_packed_under_its_own_name(pair, tmp_path):
    run(tmp_path / "first", *source_words(*pair), "--deliver", "side-by-side", "--no-check")
    folder = tmp_path / "first" / "cinema-12m" / "packed"
    (packed,) = folder.iterdir()
    log = run(tmp_path / "second", "--pair", packed, screens=("tv-55in",))
    assert [source["eye"] for source in log["sources"]] == ["both"]
    (output,) = log["outputs"]
    assert (output["layout"], output["path"]) == ("side-by-side", f"packed/{packed.name}")
    assert (tmp_path / "second" / "report.html").is_file()


def test_screens_share_one_decoding_of_the_source(pair, tmp_path, monkeypatch):
    read = []
    frames = PairSource.frames

    def counted(self, *arguments, **named):
        if self.left.path == pair[0] and arguments[:2] == (0, FRAMES - 1):  # the review page looks at single frames
            read.append(self.left.path)
        return frames(self, *arguments, **named)

    monkeypatch.setattr(PairSource, "frames", counted)
    run(tmp_path / "out", *source_words(*pair), "--no-check", screens=("cinema-12m", "cinema-20m", "tv-55in"))
    rendered = len(read)
    read.clear()
    run(tmp_path / "one", *source_words(*pair), "--no-check")
    assert len(read) == rendered == 2


def test_one_version_that_fails_its_check_leaves_those_before_it(pair, tmp_path, monkeypatch, capsys):
    """A re-run carries on from there."""
    real = job_version.reopened

    def failing(source, delivery, room):
        if "tv-55in" in str(room.pictures):
            raise job_version.InputError(room.pictures, "a fault made for this test", "none", "run again")
        return real(source, delivery, room)

    screens = [word for name in ("cinema-12m", "tv-55in") for word in ("--screen", name)]
    typed = ["run", *source_words(*pair), *screens, "--no-check", "-q", "-o", tmp_path / "out"]
    with monkeypatch.context() as patch:
        patch.setattr(job_version, "reopened", failing)
        fails(capsys, typed, 3, "a fault made for this test")
    there = sorted(path.name for path in (tmp_path / "out").iterdir())
    assert there == [".tv-55in.unfinished", "cinema-12m", "measure"]
    written = (tmp_path / "out" / "cinema-12m" / "left" / "gull_left.mkv").stat().st_mtime_ns
    assert main([str(word) for word in [*typed, "--resume"]]) in (0, 5)
    assert (tmp_path / "out" / "cinema-12m" / "left" / "gull_left.mkv").stat().st_mtime_ns == written
    assert (tmp_path / "out" / "tv-55in" / "changes.json").is_file()


def test_a_codec_that_was_chosen_is_written_and_resume_knows_it(pair, tmp_path, capsys):
    log = run(tmp_path / "out", *source_words(*pair), "--codec", "prores-hq", "--no-check")
    assert log["codec"] == "prores-hq"
    written = open_eye(tmp_path / "out" / "cinema-12m" / log["outputs"][0]["path"])
    assert (written.tags.codec, written.tags.profile) == ("prores", "HQ")
    typed = [
        "run",
        *source_words(*pair),
        "--screen",
        "cinema-12m",
        "--no-check",
        "-q",
        "-o",
        tmp_path / "out",
        "--resume",
    ]
    fails(capsys, typed, 4, "another codec", "--force")


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (["--codec", "h264", "--deliver", "views"], "views"),
        (["--deliver", "side-by-side", "--deliver", "side-by-side"], "twice"),
        (["--frame", "100"], "WIDTHxHEIGHT"),
        (["--frame", "0x100"], "WIDTHxHEIGHT"),
        (["--layout", "rows"], "--pair"),
    ],
)
def test_what_cannot_be_delivered_is_said_before_the_first_frame(pair, tmp_path, capsys, words, says, monkeypatch):
    monkeypatch.setattr(PairSource, "frames", lambda *_, **__: pytest.fail("a frame was read"))
    typed = ["run", *source_words(*pair), "--screen", "cinema-12m", *words, "-o", tmp_path / "out"]
    assert main([str(word) for word in typed]) in (2, 3)
    assert says in capsys.readouterr().err
    assert not (tmp_path / "out").exists()


def test_figures_are_percent_of_the_frame_that_is_delivered(tmp_path):
    """The same pixels of parallax are less of a wider frame, and the written files are measured in it too."""
    paths = wide_pair(tmp_path / "in")
    plain = run(tmp_path / "plain", *source_words(*paths), "--one-shot")
    assert plain["clip"]["width_px"] == 640
    for frame, name in (("600x360", "cut"), ("688x360", "bars")):
        width = int(frame.split("x")[0])
        log = run(tmp_path / name, *source_words(*paths), "--one-shot", "--frame", frame)
        assert (log["clip"]["width_px"], log["framed_from_px"]) == (width, [640, 360])
        before, same = log["shots"][0]["before"], plain["shots"][0]["before"]
        for figure in ("near_pct", "far_pct", "median_pct"):
            assert before[figure] == pytest.approx(same[figure] * 640 / width, abs=0.06)
        written = open_eye(tmp_path / name / "cinema-12m" / log["outputs"][0]["path"])
        assert (written.format.width, written.format.height) == (width, 360)
        after, hit = log["shots"][0]["after"], log["shots"][0]["applied_hit_px"][0] * 100 / width
        assert after["median_pct"] == pytest.approx(before["median_pct"] + hit, abs=0.06)
        assert (tmp_path / name / "report.html").is_file()


def wide_pair(folder, lower_px=0):
    """640x360, with a far ground behind what a cinema allows."""
    folder.mkdir(parents=True)
    made = layered_scene(640, 360, [Layer(1.1), Layer(0.4, (0.3, 0.3, 0.7, 0.8), 5)], seed=11)
    spec = replace(SPECS["ffv1.mkv"], width=640, height=360, rate=Fraction(24), timecode=None)
    paths = []
    for number, eye in enumerate(("left", "right")):
        path = folder / f"gull_{eye}.mkv"
        pictures = ((np.asarray(made.render(i)[number]) * 255).astype(np.uint8) for i in range(4))
        if number and lower_px:
            pictures = (np.roll(picture, lower_px, axis=0) for picture in pictures)
        write_video(path, spec, (yuv422p10(picture) for picture in pictures))
        paths.append(path)
    return paths


def test_nothing_is_left_of_a_run_that_is_refused(pair, tmp_path, capsys):
    typed = ["run", "--pair", pair[0], "--screen", "cinema-12m", "-o", tmp_path / "out"]
    fails(capsys, typed, 3, "--layout")
    assert tree(tmp_path) == []


@pytest.mark.parametrize("layout", ["side-by-side-half", "top-bottom-half", "rows", "frame-sequential"])
def test_a_delivery_of_squeezed_eyes_alone_is_measured_and_pictured_in_the_clips_own_pixels(pair, tmp_path, layout):
    whole = run(tmp_path / "whole", *source_words(*pair), "--one-shot")
    log = run(tmp_path / "out", *source_words(*pair), "--one-shot", "--deliver", layout)
    (shot,), (same,) = log["shots"], whole["shots"]
    assert shot["window"] == same["window"]
    for figure in ("near_pct", "far_pct", "median_pct"):
        assert shot["after"][figure] == pytest.approx(same["after"][figure], abs=0.12), figure
    assert (tmp_path / "out" / "report.html").is_file()


def test_a_packed_source_in_which_nothing_changes_is_copied_byte_for_byte(tmp_path):
    near = write_pair(tmp_path / "in", far_pct=0.1)
    first = run(tmp_path / "packed", *source_words(*near), "--deliver", "side-by-side", "--no-check")
    packed = tmp_path / "packed" / "cinema-12m" / first["outputs"][0]["path"]
    log = run(tmp_path / "out", "--pair", packed)
    assert [shot["applied_hit_px"] for shot in log["shots"]] == [[0, 0]]
    assert log["outputs"][0]["sha256"] == log["sources"][0]["sha256"]


def test_a_codec_for_stills_is_refused(tmp_path, capsys):
    left, right = write_tiffs(tmp_path / "in", frames=2)
    typed = ["run", *source_words(left, right), "--rate", "24", "--screen", "tv-55in", "--codec", "ffv1"]
    fails(capsys, [*typed, "-o", tmp_path / "out"], 2, "--codec", "stills")


def test_dry_run_names_the_folders_of_pictures(pair, tmp_path, capsys):
    typed = ["run", *source_words(*pair), "--screen", "tv-55in", "--deliver", "left-right", "--deliver", "rows"]
    assert main([*map(str, typed), "--dry-run", "-o", str(tmp_path / "out")]) == 0
    told = capsys.readouterr().out
    for name in ("left", "right", "packed", "plan.toml", "changes.json", "changes.csv"):
        assert str(tmp_path / "out" / "tv-55in" / name) in told


def test_what_a_delivery_cannot_hold_is_said_before_anything_is_measured(pair, tmp_path, capsys):
    typed = ["run", *source_words(*pair), "--screen", "tv-55in", "--deliver", "frame-sequential", "--dry-run"]
    assert main([*map(str, typed), "-o", str(tmp_path / "out")]) == 0
    assert "cannot be signalled" in capsys.readouterr().err


def test_the_check_measures_a_delivery_that_has_every_row_where_there_is_one(pair, tmp_path):
    plain = run(tmp_path / "plain", *source_words(*pair), "--one-shot")
    both = run(tmp_path / "both", *source_words(*pair), "--one-shot", "--deliver", "rows", "--deliver", "left-right")
    assert both["shots"][0]["after"] == plain["shots"][0]["after"]


def test_levelled_eyes_are_said_and_measure_level(tmp_path, capsys):
    from_folder = wide_pair(tmp_path / "in", lower_px=3)
    typed = ["run", *source_words(*from_folder), "--one-shot", "--screen", "tv-55in", "--align"]
    assert main([*typed, "-o", str(tmp_path / "out")]) in (0, 5)
    assert "tv-55in, s001: levelled, for the right eye lay 3.0" in capsys.readouterr().out
    log = json.loads((tmp_path / "out" / "tv-55in" / "changes.json").read_text())
    assert log["shots"][0]["misalignment"]["vertical_px"] == pytest.approx(3.0, abs=0.05)
    page = (tmp_path / "out" / "report.html").read_text()
    assert "the right eye lay 3.0" in page
