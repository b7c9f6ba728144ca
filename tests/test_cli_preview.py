"""The preview command as a person types it: what it writes, what it refuses, and that nothing half-written is left."""

import json
import os
import shutil
import struct
from contextlib import contextmanager
from dataclasses import replace
from fractions import Fraction
from pathlib import Path

import av
import imageio.v3 as imageio
import numpy as np
import pytest
from clips import FRAMES, SIZE, fails, source_words, tree, write_pair
from footage import SPECS, yuv422p10
from packed_files import eye_planes, file_pictures, write_packed_video
from picture_files import make_stills, make_video, still_samples

from postfix import commands_preview
from postfix.cli import main
from postfix.deliver.video import write_video
from postfix.measure.table_csv import read_table, table_text
from postfix.plan.file import plan_text, read_plan
from postfix.plan.geometry import moves_of
from postfix.plan.model import WindowKey
from postfix.review import preview_files, preview_video
from postfix.review.preview_video import PreviewVideo
from postfix.source.opening import open_eye
from postfix.source.shots import Shot

VIEWS = ("anaglyph", "side-by-side", "over-under", "difference", "depth")


@pytest.fixture(scope="module")
def clip(tmp_path_factory):
    """A pair whose background is too far for the cinema, measured and planned, as two shots."""
    folder = tmp_path_factory.mktemp("clip")
    left, right = write_pair(folder, far_pct=1.4)
    measurement, plan = folder / "measure.csv", folder / "plan.toml"
    assert main(["measure", *source_words(left, right), "--one-shot", "-o", str(measurement), "-q"]) == 0
    measured = read_table(measurement)
    cut = replace(measured, shots=(Shot("pier", 0, 4), Shot("spool", 5, 7)), findings=(measured.findings * 2)[:2])
    measurement.write_text(table_text(cut), encoding="utf-8")
    assert main(["plan", str(measurement), "--screen", "cinema-12m", "-o", str(plan), "-q"]) in (0, 5)
    return source_words(left, right), measurement, plan


def run(source, out, *more):
    """Run it; the exit code."""
    return main(["preview", *source, "-o", str(out), *map(str, more)])


def picture(source, out, *more):
    """The PNG of one frame."""
    assert run(source, out, "--force", "-q", *more) == 0
    return imageio.imread(out)


# --- the video


@pytest.fixture(scope="module")
def video(clip, tmp_path_factory):
    out = tmp_path_factory.mktemp("video") / "look.mp4"
    assert run(clip[0], out, "-q") == 0
    return out


def test_the_video_is_one_that_any_player_opens(video):
    with av.open(str(video)) as container:
        stream = container.streams.video[0]
        context = stream.codec_context
        frames = list(container.decode(video=0))
        assert len(container.streams) == 1
    assert (context.name, context.profile, context.pix_fmt) == ("h264", "High", "yuv420p")
    assert (context.width, context.height) == SIZE
    assert (context.color_range, context.color_primaries, context.color_trc, context.colorspace) == (1, 1, 1, 1)
    assert stream.average_rate == 24
    assert (stream.sample_aspect_ratio or 1) == 1
    assert len(frames) == FRAMES
    times = [frame.pts * frame.time_base for frame in frames]
    assert np.diff(np.array(times)).tolist() == [Fraction(1, 24)] * (FRAMES - 1)
    assert all(not frame.interlaced_frame for frame in frames)


def test_the_index_of_the_video_stands_before_its_pictures(video):
    data, place, kinds = video.read_bytes(), 0, []
    while place < len(data):
        size, kind = struct.unpack(">I4s", data[place : place + 8])
        kinds.append(kind)
        place += size
    assert kinds.index(b"moov") < kinds.index(b"mdat")


def test_the_same_footage_gives_the_same_bytes(clip, video, tmp_path):
    assert run(clip[0], tmp_path / "again.mp4", "-q") == 0
    assert (tmp_path / "again.mp4").read_bytes() == video.read_bytes()


@pytest.mark.parametrize(("view", "size"), [("side-by-side", (640, 180)), ("over-under", (320, 360))])
def test_the_left_eye_is_on_the_left_or_on_top(clip, tmp_path, view, size):
    both = picture(clip[0], tmp_path / "both.png", "--at", 3, "--view", view)
    assert both.shape == (size[1], size[0], 3)
    swapped = picture([*clip[0], "--swap"], tmp_path / "both.png", "--at", 3, "--view", view)
    half = np.s_[:, :320] if view == "side-by-side" else np.s_[:180]
    other = np.s_[:, 320:] if view == "side-by-side" else np.s_[180:]
    assert np.array_equal(both[half], swapped[other])
    assert not np.array_equal(both[half], both[other])


@pytest.mark.parametrize("view", VIEWS)
def test_every_view_is_written_in_every_form(clip, tmp_path, view, capsys):
    source, measurement, _ = clip
    sizes = set()
    for name in ("a.mp4", "a.png"):
        words = ("--at", "2") if name == "a.png" else ()
        assert run(source, tmp_path / name, "--view", view, "--json", *words) == 0
        said = json.loads(capsys.readouterr().out)
        sizes.add((said["width_px"], said["height_px"]))
        assert said["view"] == view
    shown = imageio.imread(tmp_path / "a.png")
    assert sizes == {(shown.shape[1], shown.shape[0])}
    eye = open_eye(tmp_path / "a.mp4")
    assert (eye.count, (eye.format.width, eye.format.height)) == (FRAMES, sizes.pop())
    assert run(source, tmp_path / "sheet.png", "--view", view, "--measurement", measurement, "-q") == 0
    assert run(source, tmp_path / "stills/", "--view", view, "--at", "0,7", "-q") == 0
    assert tree(tmp_path / "stills") == ["gull.0000.png", "gull.0007.png"]


def test_odd_sizes_become_even_in_a_video_and_stay_odd_in_a_picture(tmp_path):
    for eye in ("left", "right"):
        make_stills(tmp_path / eye, "png8", 3, size=(321, 181), name="sh")
    source = [*source_words(tmp_path / "left", tmp_path / "right"), "--rate", "24000/1001"]
    assert run(source, tmp_path / "a.mp4", "-q") == 0
    eye = open_eye(tmp_path / "a.mp4")
    assert ((eye.format.width, eye.format.height), eye.rate, eye.count) == ((320, 180), Fraction(24000, 1001), 3)
    assert picture(source, tmp_path / "a.png", "--at", "1").shape == (181, 321, 3)


@pytest.mark.parametrize("layout", ["side-by-side-half", "top-bottom-half"])
def test_pixels_that_are_not_square_are_shown_in_the_shape_they_have(tmp_path, layout):
    across = layout.startswith("side")
    eyes = [[eye_planes("yuv444p10le", i, eye, (96, 120) if across else (192, 60)) for i in range(3)] for eye in (0, 1)]
    path = write_packed_video(tmp_path / "both.mkv", file_pictures(*eyes, layout))
    source = ["--pair", str(path), "--layout", layout]
    for view, size in (("anaglyph", (96, 60)), ("side-by-side", (192, 60)), ("over-under", (96, 120))):
        assert run(source, tmp_path / f"{view}.mp4", "--view", view, "-q") == 0
        eye = open_eye(tmp_path / f"{view}.mp4")
        assert (eye.format.width, eye.format.height) == size
        assert eye.tags.pixel_aspect in (None, 1)
        assert eye.count == 3


@pytest.mark.parametrize("kind", ["png16", "tiff16", "tiff-float", "exr-half", "exr-float", "exr-grey", "dpx10"])
def test_deep_and_floating_pictures_are_shown(tmp_path, kind):
    for eye in ("left", "right"):
        make_stills(tmp_path / eye, kind, 2, name="sh", size=(96, 60))
    source = [*source_words(tmp_path / "left", tmp_path / "right"), "--rate", "24"]
    shown = picture(source, tmp_path / "a.png", "--at", "1", "--view", "side-by-side")[:, :96].astype(float)
    given = still_samples(kind, 1, (96, 60))
    if given.dtype.kind == "u":
        wanted = given.astype(float) * 255.0 / (1023 if kind == "dpx10" else 65535)
    else:
        light = np.clip(np.nan_to_num(given.astype(float), nan=0.0), 0.0, 1.0)
        coded = np.where(light <= 0.0031308, 12.92 * light, 1.055 * light ** (1 / 2.4) - 0.055)
        wanted = 255.0 * coded
    assert np.abs(shown - wanted).max() <= 1.0


def test_nothing_is_enlarged_and_the_width_asked_for_holds(clip, tmp_path):
    for asked, got in (("4000", 320), ("200", 200), ("123", 123)):
        assert picture(clip[0], tmp_path / "a.png", "--at", "0", "--width", asked).shape[1] == got
    assert run(clip[0], tmp_path / "a.mp4", "--width", "123", "-q") == 0
    assert open_eye(tmp_path / "a.mp4").format.width == 122


def test_a_small_map_of_depth_stands_over_a_legend_that_can_be_read(clip, tmp_path, capsys):
    small = picture(clip[0], tmp_path / "a.png", "--at", "2", "--view", "depth", "--width", "100")
    assert small.shape[1] == 240
    assert len(np.unique(small[10:40, 110:].reshape(-1, 3), axis=0)) == 1
    assert run(clip[0], tmp_path / "a.mp4", "--view", "depth", "--width", "100", "-q") == 0
    assert open_eye(tmp_path / "a.mp4").format.width == 240
    assert picture(clip[0], tmp_path / "b.png", "--at", "2,3", "--view", "depth", "--width", "50").shape[1] == 280


# --- sound


def packets(path):
    with av.open(str(path)) as container:
        return [bytes(packet) for packet in container.demux(audio=0) if packet.size]


def test_sound_that_the_video_can_hold_goes_along_byte_for_byte(tmp_path, capsys):
    left = make_video(tmp_path / "sh_left.mp4", "h264", audio=True)
    right = make_video(tmp_path / "sh_right.mp4", "h264")
    assert run(source_words(left, right), tmp_path / "a.mp4", "--json") == 0
    assert json.loads(capsys.readouterr().out)["sound"] is True
    assert packets(tmp_path / "a.mp4") == packets(left)


def test_other_sound_is_left_out_and_said_so_in_one_line(tmp_path, capsys):
    left = make_video(tmp_path / "sh_left.mov", "prores", audio=True)
    right = make_video(tmp_path / "sh_right.mov", "prores")
    assert run(source_words(left, right), tmp_path / "a.mp4") == 0
    (said,) = capsys.readouterr().err.splitlines()
    assert "sound (pcm_s16le, pcm_s16le) is left out" in said
    with av.open(str(tmp_path / "a.mp4")) as container:
        assert not container.streams.audio


def test_the_sound_of_a_part_is_that_of_its_frames(tmp_path):
    left = make_video(tmp_path / "sh_left.mp4", "h264", 48, audio=True)
    right = make_video(tmp_path / "sh_right.mp4", "h264", 48)
    source = source_words(left, right)
    assert run(source, tmp_path / "part.mp4", "--at", "12-35", "-q") == 0
    assert run([*source, "--frames", "12-35"], tmp_path / "cut.mp4", "-q") == 0
    with av.open(str(tmp_path / "part.mp4")) as container:
        rate, sounds = container.streams.video[0].average_rate, len(container.streams.audio)
        times = [float(packet.pts * packet.time_base) for packet in container.demux(audio=0) if packet.size]
    assert sounds == 2
    assert packets(tmp_path / "part.mp4") == packets(tmp_path / "cut.mp4")
    whole = packets(left)
    assert 0.8 * len(whole) > len(times) > 0.3 * len(whole)
    assert -0.001 <= times[0] < 0.025
    assert times[-1] < 24 / rate
    assert open_eye(tmp_path / "part.mp4").count == 24


# --- which frames


def numbers_in(path):
    """The corner of each frame in which its number stands."""
    with av.open(str(path)) as container:
        return [frame.to_ndarray(format="gray")[18:50, 200:290].astype(int) for frame in container.decode(video=0)]


def test_a_video_of_a_range_or_of_a_shot_is_that_part_of_the_planned_clip(clip, tmp_path, capsys):
    source, measurement, plan = clip
    words = ("--plan", plan, "--measurement", measurement, "--burn-in", "timecode", "-q")
    for name, given in (
        ("all", ()),
        ("range", ("--at", "5-7")),
        ("list", ("--at", "5,6-7")),
        ("shot", ("--shot", "spool")),
    ):
        assert run(source, tmp_path / f"{name}.mp4", *words, *given) == 0
    whole = numbers_in(tmp_path / "all.mp4")
    for name in ("range", "list", "shot"):
        part = numbers_in(tmp_path / f"{name}.mp4")
        assert len(part) == 3
        for number, shown in enumerate(part, 5):
            # Coded after another frame, so that it is alike and not the same.
            apart = [np.abs(shown - one).mean() for one in whole]
            assert int(np.argmin(apart)) == number
    assert run(source, tmp_path / "both.mp4", *words, "--shot", "pier", "--shot", "spool") == 0
    assert open_eye(tmp_path / "both.mp4").count == FRAMES
    assert run(source, tmp_path / "one.mp4", *words, "--at", "4") == 0
    assert open_eye(tmp_path / "one.mp4").count == 1
    order = ["preview", *source, "--plan", plan, "--shot", "spool", "--shot", "pier", "-o", tmp_path / "x.mp4"]
    fails(capsys, order, 2, "--shot", "do not follow each other")


def test_a_shot_is_its_middle_frame_in_a_picture_and_all_its_frames_in_a_folder(clip, tmp_path, capsys):
    source, _, plan = clip
    shot = picture(source, tmp_path / "a.png", "--plan", plan, "--shot", "pier")
    assert np.array_equal(shot, picture(source, tmp_path / "a.png", "--plan", plan, "--at", "2"))
    assert run(source, tmp_path / "b.png", "--plan", plan, "--shot", "pier", "--shot", "spool", "--json") == 0
    said = json.loads(capsys.readouterr().out)
    assert (said["form"], said["frames"]) == ("sheet", 2)
    assert run(source, tmp_path / "stills/", "--plan", plan, "--shot", "spool", "-q") == 0
    assert tree(tmp_path / "stills") == [f"gull.{i:04d}.png" for i in (5, 6, 7)]
    assert run(source, tmp_path / "mixed/", "--at", "0,3-5", "-q") == 0
    assert tree(tmp_path / "mixed") == [f"gull.{i:04d}.png" for i in (0, 3, 4, 5)]


def test_a_shot_that_is_not_there_is_told_with_some_of_those_that_are(clip, tmp_path, capsys):
    source, measurement, plan = clip
    words = ["preview", *source, "-o", tmp_path / "a.mp4"]
    fails(capsys, [*words, "--plan", plan, "--shot", "Pier"], 2, "no shot 'Pier'", "one of pier, spool")
    shots = tuple(Shot(f"{i}{'x' * 500}", i, i) for i in range(FRAMES))
    measured = read_table(measurement)
    many = tmp_path / "many.csv"
    findings = measured.findings[:1] * FRAMES
    many.write_text(table_text(replace(measured, shots=shots, findings=findings)), encoding="utf-8")
    assert len(fails(capsys, [*words, "--measurement", many, "--shot", "y" * 9000], 2, "0xxx")) < 700


def test_who_chooses_a_part_of_a_planned_clip_by_frames_is_told_how_else(clip, tmp_path, capsys):
    source, measurement, plan = clip
    for given in (("--plan", plan), ("--measurement", measurement)):
        words = ["preview", *source, "--frames", "0-4", *given, "-o", tmp_path / "a.mp4"]
        fails(capsys, words, 3, "--at or --shot")


# --- what is told meanwhile


@pytest.fixture
def bars(monkeypatch):
    """Every bar of the command: what it is called, how much there is to do and how much was done at its end."""
    shown = []

    @contextmanager
    def recorded(what, total, *, quiet, unit="frames"):
        done = []
        yield done.append
        shown.append((what, unit, total, sum(done)))

    monkeypatch.setattr(commands_preview, "bar", recorded)
    return shown


def test_reading_all_the_footage_for_its_mark_has_a_bar_of_its_own(clip, tmp_path, bars, capsys):
    source, _, plan = clip
    assert run(source, tmp_path / "a.png", "--at", "1", "--plan", plan) == 0
    (reading, unit, total, done), preview = bars
    assert (reading, unit, done) == ("reading footage", "MB", total)
    assert preview == ("preview", "frames", 1, 1)
    assert capsys.readouterr().err == ""


def test_looking_for_what_the_colours_of_depth_span_has_a_bar_of_its_own(clip, tmp_path, bars):
    assert run(clip[0], tmp_path / "a.png", "--at", "1", "--view", "depth", "-q") == 0
    assert bars == [("depth colours", "frames", FRAMES, FRAMES), ("preview", "frames", 1, 1)]
    bars.clear()
    words = ("--at", "1", "--view", "depth", "--measurement", clip[1])
    assert run(clip[0], tmp_path / "b.png", *words, "-q") == 0
    assert [bar[0] for bar in bars] == ["reading footage", "preview"]


def test_a_path_of_several_lines_is_one_line_of_what_is_said(clip, tmp_path, capsys):
    assert run(clip[0], tmp_path / "a\nb.png", "--at", "1") == 0
    first, second = capsys.readouterr().out.splitlines()
    assert first.startswith("written: ")
    assert first.endswith("a\\nb.png")
    assert second == "  one picture of 1 frame, anaglyph, 320x180"


@pytest.mark.parametrize(("matrix", "width", "lines"), [(2, 320, 1), (2, 722, 0), (6, 320, 0), (1, 320, 0)])
def test_a_small_source_that_names_no_matrix_is_told_once(tmp_path, capsys, matrix, width, lines):
    paths = []
    for eye in ("left", "right"):
        paths.append(tmp_path / f"sh_{eye}.mkv")
        spec = replace(SPECS["ffv1.mkv"], width=width, height=64, color_matrix=matrix)
        grey = np.full((64, width, 3), 90, np.uint8)
        write_video(paths[-1], spec, (yuv422p10(grey) for _ in range(2)))
    words = (source_words(*paths), tmp_path / "a/", "--force")
    assert run(*words) == 0
    said = capsys.readouterr().err.splitlines()
    assert len(said) == lines
    assert all("no matrix named: BT.709 taken" in line for line in said)
    assert run(*words, "-q") == run(*words, "--view", "depth") == 0
    assert capsys.readouterr().err == ""


# --- burn-in


def test_the_timecode_is_drawn_in_its_place_alone_and_runs(tmp_path):
    paths = [make_video(tmp_path / f"sh_{eye}.mkv", "ffv1", timecode="10:00:00:00") for eye in ("left", "right")]
    source = source_words(*paths)
    plain = picture(source, tmp_path / "a.png", "--at", "4")
    drawn = picture(source, tmp_path / "a.png", "--at", "4", "--burn-in", "timecode")
    later = picture(source, tmp_path / "a.png", "--at", "5", "--burn-in", "timecode")
    changed = (plain != drawn).any(axis=2)
    rows, columns = np.flatnonzero(changed.any(axis=1)), np.flatnonzero(changed.any(axis=0))
    # At the top right of the middle 80 %.
    assert 18 < rows[0] < rows[-1] < 50
    assert 161 < columns[0] < columns[-1] < 290
    box = np.s_[rows[0] : rows[-1] + 1, columns[0] : columns[-1] + 1]
    assert not np.array_equal(drawn[box], later[box])


def test_what_is_drawn_is_in_both_eyes_at_the_same_place(clip, tmp_path):
    source, measurement, _ = clip
    words = ("--at", "4", "--view", "side-by-side", "--burn-in", "timecode,shot,figures,grid")
    drawn = picture(source, tmp_path / "a.png", *words, "--measurement", measurement, "--screen", "cinema-12m")
    plain = picture(source, tmp_path / "a.png", *words[:4])
    changed = (drawn != plain).any(axis=2)
    left, right = changed[:, :320], changed[:, 320:]
    assert left.any()
    # Where a picture happens to have the code that is drawn there, nothing changes.
    assert (left == right).mean() > 0.98
    lines = [np.flatnonzero(eye.mean(axis=0) > 0.9) for eye in (left, right)]
    assert lines[0].tolist() == lines[1].tolist()
    assert {40, 160, 280} <= set(lines[0].tolist())


@pytest.mark.parametrize("view", VIEWS)
def test_all_that_can_be_drawn_is_drawn_in_every_view(clip, tmp_path, view):
    source, _, plan = clip
    words = ("--plan", plan, "--measurement", clip[1], "--at", "4", "--view", view)
    drawn = picture(source, tmp_path / "a.png", *words, "--burn-in", "timecode,grid", "--burn-in", "shot,figures")
    assert not np.array_equal(drawn, picture(source, tmp_path / "a.png", *words))


def test_names_that_are_markup_or_have_no_end_do_no_harm(clip, tmp_path):
    source, measurement, _ = clip
    measured = read_table(measurement)
    names = ("<script>alert(1)</script>", "x" * 5000)
    shots = tuple(replace(shot, name=name) for shot, name in zip(measured.shots, names))
    odd = tmp_path / "odd.csv"
    odd.write_text(table_text(replace(measured, shots=shots)), encoding="utf-8")
    assert run(source, tmp_path / "a.png", "--measurement", odd, "--burn-in", "shot", "-q") == 0
    assert run(source, tmp_path / "a.mp4", "--measurement", odd, "--burn-in", "shot,timecode", "-q") == 0


# --- plan


def test_the_move_and_the_window_of_a_plan_are_seen_before_anything_is_rendered(clip, tmp_path):
    source, _, plan = clip
    decided = read_plan(plan)
    words = ("--at", "2", "--view", "side-by-side")
    plain, planned = (picture(source, tmp_path / "a.png", *words, *more) for more in ((), ("--plan", plan)))
    moves = moves_of(decided.shots[0], decided.clip, [2])
    for eye, shift in enumerate((int(moves.left_px[0]), int(moves.right_px[0]))):
        part = np.s_[:, eye * 320 + 40 : eye * 320 + 280]
        came_from = np.s_[:, eye * 320 + 40 - shift : eye * 320 + 280 - shift]
        assert np.array_equal(planned[part], plain[came_from])
    assert moves.hit_px[0] < 0
    edited = tmp_path / "plan.toml"
    windowed = replace(decided.shots[0], window=(WindowKey(0, (20.0, 20.0), (0.0, 0.0)),))
    edited.write_text(plan_text(replace(decided, shots=(windowed, *decided.shots[1:]))), encoding="utf-8")
    shown = picture(source, tmp_path / "a.png", *words, "--plan", edited)
    # Chroma of half size is smoothed over the columns beside the window's edge.
    assert shown[:, :18].max() == 0
    assert np.array_equal(shown[:, 22:], planned[:, 22:])
    assert planned[:, 10:18].max() > 0


@pytest.mark.parametrize("cut", [False, True])
def test_what_is_shown_of_a_plan_is_what_render_writes(clip, tmp_path, cut):
    source, _, plan = clip
    if cut:
        source, plan = [*source, "--frame", "300x184", "--one-shot"], tmp_path / "plan.toml"
        assert main(["measure", *source, "-o", str(tmp_path / "m.csv"), "-q"]) == 0
        assert main(["plan", str(tmp_path / "m.csv"), "--screen", "cinema-12m", "-o", str(plan), "-q"]) in (0, 5)
    assert main(["render", *source, "--plan", str(plan), "--no-check", "-o", str(tmp_path / "out"), "-q"]) in (0, 5)
    rendered = source_words(*(next((tmp_path / "out" / eye).iterdir()) for eye in ("left", "right")))
    words = ("--at", "6", "--view", "over-under")
    wanted = picture(rendered, tmp_path / "a.png", *words)
    assert np.array_equal(picture(source, tmp_path / "a.png", *words, "--plan", plan), wanted)
    assert wanted.shape == (368 if cut else 360, 300 if cut else 320, 3)


def test_a_plan_or_a_measurement_of_other_footage_is_refused(clip, tmp_path, capsys):
    source, measurement, plan = clip
    other = source_words(*write_pair(tmp_path / "in", far_pct=0.2))
    short = source_words(*write_pair(tmp_path / "short", frames=4, far_pct=1.4))
    for given in (other, short, [*source, "--swap"], [*source, "--offset", "1"]):
        for words in (("--plan", plan), ("--measurement", measurement)):
            fails(capsys, ["preview", *given, *words, "--at", "0", "-o", tmp_path / "a.png"], 3, "expected")
    assert not (tmp_path / "a.png").exists()


def test_a_plan_brings_its_own_screen(clip, tmp_path, capsys):
    source, measurement, plan = clip
    words = ["preview", *source, "--plan", plan, "--measurement", measurement, "--at", "0", "-o", tmp_path / "a.png"]
    fails(capsys, [*words, "--screen", "tv-55in"], 2, "--screen", "cinema-12m")
    assert main([str(word) for word in [*words, "--json"]]) == 0
    assert json.loads(capsys.readouterr().out)["screen"] == "cinema-12m"


# --- sheets and stills


@pytest.mark.parametrize("words", ["measurement", "plan"])
def test_a_contact_sheet_has_one_cell_for_each_shot(clip, tmp_path, words, capsys):
    source, measurement, plan = clip
    given = ("--measurement", measurement) if words == "measurement" else ("--plan", plan)
    assert run(source, tmp_path / "a.png", *given, "--width", "100", "--view", "side-by-side", "--json") == 0
    said = json.loads(capsys.readouterr().out)
    assert (said["form"], said["frames"], said["cell_width_px"], said["cell_height_px"]) == ("sheet", 2, 200, 56)
    sheet = imageio.imread(tmp_path / "a.png").astype(float)
    assert (said["width_px"], said["height_px"]) == (sheet.shape[1], sheet.shape[0])
    # Pictures are brighter than the ground about them; captions are lower than these rows.
    seen = sheet[70:100].mean(axis=(0, 2)) > 40
    starts = np.flatnonzero(np.diff(seen.astype(int)) == 1)
    assert len(starts) >= 2
    assert np.any(np.abs(np.subtract.outer(starts, starts)) == 212)


def test_frames_named_for_a_sheet_are_its_cells(clip, tmp_path, capsys):
    assert run(clip[0], tmp_path / "a.png", "--at", "0,3,7", "--json") == 0
    said = json.loads(capsys.readouterr().out)
    assert (said["form"], said["frames"]) == ("sheet", 3)
    assert run([*clip[0], "--one-shot"], tmp_path / "b.png", "--json") == 0
    assert json.loads(capsys.readouterr().out)["frames"] == 1


def test_a_folder_gets_every_frame_or_those_named(clip, tmp_path):
    assert run(clip[0], tmp_path / "all", "--width", "64", "-q") == 0
    assert tree(tmp_path / "all") == [f"gull.{i:04d}.png" for i in range(FRAMES)]
    assert run([*clip[0], "--frames", "2-4"], f"{tmp_path}/v1.2/", "--width", "64", "-q") == 0
    assert tree(tmp_path / "v1.2") == [f"gull.{i:04d}.png" for i in range(3)]
    assert np.array_equal(
        imageio.imread(tmp_path / "v1.2/gull.0001.png"), imageio.imread(tmp_path / "all/gull.0003.png")
    )


# --- wrong use, and things that go wrong


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (["-o", "a.mov"], ".mp4"),
        (["-o", ""], "a name"),
        (["-o", "."], "a name"),
        (["-o", ".."], "a name"),
        (["-o", "a.mp4", "--at", "3,5-6"], "10-20"),
        (["-o", "a.mp4", "--at", "3,2"], "follow each other"),
        (["-o", "a.mp4", "--at", "5-3"], "10-20"),
        (["-o", "a.mp4", "--at", "5-8"], "frame 8"),
        (["-o", "a/", "--at", "0-999999999"], "0 to 7"),
        (["-o", "a.mp4", "--at", "1-3,3"], "twice"),
        (["-o", "a.mp4", "--shot", "pier"], "--measurement"),
        (["-o", "a.png", "--shot", "pier", "--at", "1"], "one of them"),
        (["-o", "a.mp4", "--one-shot", "--shot", "nowhere"], "expected one of s001"),
        (["-o", ".mp4"], "before the suffix"),
        (["-o", "deep/.png"], "before the suffix"),
        (["-o", "deep/.MP4"], "a slash"),
        (["-o", "a.png"], "--at"),
        (["-o", "a.png", "--at", "8"], "0 to 7"),
        (["-o", "a.png", "--at", "x"], "frame number"),
        (["-o", "a.png", "--at", "1,1"], "twice"),
        (["-o", "a.png", "--at", "1,"], "frame number"),
        (["-o", "a.png", "--at", "-1"], "--at"),
        (["-o", "a.mp4", "--view", "cross-eyed"], "anaglyph"),
        (["-o", "a.mp4", "--burn-in", "clock"], "timecode, shot, figures, grid"),
        (["-o", "a.mp4", "--burn-in", ""], "timecode"),
        (["-o", "a.mp4", "--burn-in", "figures"], "--measurement"),
        (["-o", "a.mp4", "--burn-in", "shot"], "--one-shot"),
        (["-o", "a.mp4", "--width", "0"], "pixels"),
        (["-o", "a.mp4", "--width", "15"], "pixels"),
        (["-o", "a.mp4", "--width", "wide"], "pixels"),
        (["-o", "a.mp4", "--width", "40", "--burn-in", "timecode"], "larger --width"),
        (["-o", "a.mp4", "--screens", "own.toml"], "--screen"),
        (["-o", "a.mp4", "--screen", "nowhere"], "cinema-12m"),
        ([], "-o"),
    ],
)  # fmt: skip
def test_wrong_use_is_refused_in_one_sentence_and_nothing_is_written(clip, tmp_path, monkeypatch, capsys, words, says):
    monkeypatch.chdir(tmp_path)
    fails(capsys, ["preview", *clip[0], *words], 2, says)
    assert tree(tmp_path) == []


@pytest.mark.parametrize("option", ["--plan", "--measurement", "--edit"])
def test_an_input_that_is_not_there_is_named(clip, tmp_path, capsys, option):
    name = tmp_path / ("no.edl" if option == "--edit" else "no.file")
    fails(capsys, ["preview", *clip[0], "-o", tmp_path / "a.mp4", option, name], 3, name.name)


def test_a_source_that_is_not_there_is_named(tmp_path, capsys):
    fails(capsys, ["preview", *source_words("no_left.mov", "no_right.mov"), "-o", tmp_path / "a.mp4"], 3, "no_left.mov")
    fails(capsys, ["preview", "-o", tmp_path / "a.mp4"], 2, "--left and --right")


def test_what_is_there_is_replaced_only_when_asked(clip, tmp_path, capsys):
    out = tmp_path / "a.png"
    out.write_text("mine")
    words = ["preview", *clip[0], "--at", "0", "-o", out]
    fails(capsys, words, 4, "--force")
    fails(capsys, [*words, "--resume"], 4, "--force")
    assert out.read_text() == "mine"
    assert main([*map(str, words), "--force", "-q"]) == 0
    assert imageio.imread(out).shape == (180, 320, 3)
    folder = tmp_path / "stills"
    folder.mkdir()
    (folder / "mine.txt").write_text("mine")
    fails(capsys, ["preview", *clip[0], "--at", "0", "-o", folder, "--force"], 4, "mine.txt")
    fails(capsys, ["preview", *clip[0], "--at", "0", "-o", f"{tmp_path}/a.png/", "--force"], 4, "a file there")


def test_a_folder_of_stills_is_replaced_when_asked_and_nothing_in_it_is_a_persons(clip, tmp_path, capsys):
    folder = tmp_path / "stills"
    words = ["preview", *clip[0], "--width", "64", "-o", folder]
    assert main([*map(str, words), "--at", "0-2", "-q"]) == 0
    fails(capsys, [*words, "--at", "4"], 4, "--force")
    assert main([*map(str, words), "--at", "4", "--force", "-q"]) == 0
    assert tree(folder) == ["gull.0004.png"]
    sheet = picture(clip[0], tmp_path / "sheet.png", "--at", "1,2")
    own = {"notes.txt": b"mine", "gull.0009.png": (tmp_path / "sheet.png").read_bytes()}
    own["gull.0004.jpg"] = own["copy.png"] = (folder / "gull.0004.png").read_bytes()
    assert sheet.size
    for name, data in own.items():
        (folder / name).write_bytes(data)
        fails(capsys, [*words, "--at", "4", "--force"], 4, f"'{name}', which this program did not write")
        (folder / name).unlink()
    # A still that was painted on and saved by another program is a person's.
    imageio.imwrite(folder / "gull.0004.png", imageio.imread(folder / "gull.0004.png"))
    fails(capsys, [*words, "--at", "4", "--force"], 4, "gull.0004.png")
    assert tree(folder) == ["gull.0004.png"]


def raising(error):
    def call(*arguments):
        raise error

    return call


@pytest.mark.parametrize("suffix", [".mp4", ".png", ""])
def test_room_on_the_disk_is_asked_for_only_where_there_is_none(clip, tmp_path, monkeypatch, capsys, suffix):
    words = ["preview", *clip[0], "--at", "1", "--width", "64"]
    said = fails(capsys, [*words, "-o", tmp_path / f"{'x' * 245}{suffix}"], 4, "File name too long", "another output")
    assert "room on" not in said
    full = OSError(28, "No space left on device")
    # What FFmpeg meets has its number too.
    for place, name in ((PreviewVideo, "write"), (Path, "write_bytes")):
        error = preview_video.unwritable(Path("a.mp4"), av.FFmpegError(28, "No space left on device"))
        monkeypatch.setattr(place, name, raising(error if place is PreviewVideo else full))
    fails(capsys, [*words, "-o", tmp_path / f"a{suffix}"], 4, "No space left on device", "room on the disk")
    assert tree(tmp_path) == []


def test_no_source_and_no_input_is_ever_replaced(clip, tmp_path, capsys):
    for eye in ("left", "right"):
        make_stills(tmp_path / eye, "png8", 2, name="sh", size=(96, 60))
    source = [*source_words(tmp_path / "left", tmp_path / "right"), "--rate", "24"]
    before = tree(tmp_path)
    for out in (tmp_path / "left" / "sh.1001.png", tmp_path / "left" / "new.png"):
        fails(capsys, ["preview", *source, "--at", "0", "-o", out, "--force"], 4, "source")
    fails(capsys, ["preview", *source, "-o", tmp_path / "left", "--force"], 4, "source")
    assert tree(tmp_path) == before
    plan = shutil.copy(clip[2], tmp_path / "plan.png")
    fails(capsys, ["preview", *clip[0], "--plan", plan, "-o", plan, "--force"], 4, "input")


def test_a_place_that_cannot_be_written_to_is_refused_before_the_first_frame(clip, tmp_path, monkeypatch, capsys):
    shut = tmp_path / "shut"
    shut.mkdir(mode=0o500)
    fails(capsys, ["preview", *clip[0], "-o", "/proc/nowhere/a.mp4"], 4, "/proc")
    monkeypatch.setattr(os, "access", lambda path, mode: Path(path) != shut)
    fails(capsys, ["preview", *clip[0], "-o", shut / "a.mp4"], 4, "no permission")


@pytest.mark.parametrize("out", ["a.mp4", "a.png", "stills/"])
def test_a_dry_run_says_what_would_be_written_and_writes_nothing(clip, tmp_path, capsys, out):
    source, measurement, _ = clip
    assert main(["preview", *source, "--measurement", str(measurement), "-o", f"{tmp_path}/{out}", "--dry-run"]) == 0
    assert out.rstrip("/") in capsys.readouterr().out
    assert tree(tmp_path) == []


@pytest.mark.parametrize(("out", "target", "name"), [
    ("deep/a.mp4", PreviewVideo, "write"), ("deep/stills", preview_files, "_put"),
    ("deep/a.png", preview_files, "_put"),
])  # fmt: skip
@pytest.mark.parametrize(("error", "code"), [(KeyboardInterrupt(), 130), (OSError(28, "No space left on device"), 4)])
def test_what_is_broken_off_leaves_nothing(clip, tmp_path, monkeypatch, capsys, out, target, name, error, code):
    usual, done = getattr(target, name), []

    def broken(*arguments):
        done.append(1)
        if len(done) > 2 or out.endswith(".png"):
            raise error
        return usual(*arguments)

    monkeypatch.setattr(target, name, broken)
    assert run([*clip[0], "--one-shot"], tmp_path / out) == code
    assert done
    assert tree(tmp_path) == []
    assert "Traceback" not in capsys.readouterr().err


def test_a_damaged_source_is_told_and_leaves_nothing(tmp_path, capsys):
    left, right = write_pair(tmp_path / "in", kind="ffv1.mkv")
    data = bytearray(right.read_bytes())
    middle = len(data) // 2
    data[middle : middle + 4000] = bytes(4000)
    right.write_bytes(bytes(data))
    fails(capsys, ["preview", *source_words(left, right), "-o", tmp_path / "a.mp4"], 3, "gull_right")
    assert tree(tmp_path) == ["in", "in/gull_left.mkv", "in/gull_right.mkv"]


def test_a_video_that_came_out_short_is_not_put_in_place(clip, tmp_path, monkeypatch, capsys):
    usual = PreviewVideo.write
    monkeypatch.setattr(PreviewVideo, "write", lambda self, planes: self._index or usual(self, planes))
    fails(capsys, ["preview", *clip[0], "-o", tmp_path / "a.mp4"], 4, "1 frames", "8 frames")
    assert tree(tmp_path) == []


def test_where_a_screen_shows_nowhere_one_line_says_so(clip, tmp_path, capsys):
    assert run(clip[0], tmp_path / "a.png", "--at", "0", "--screen", "cinema-12m") == 0
    assert len(capsys.readouterr().err.splitlines()) == 1
    assert run([*clip[0], "--one-shot"], tmp_path / "b.png", "--at", "0", "--plan", clip[2]) == 0
    assert "--one-shot" in capsys.readouterr().err
