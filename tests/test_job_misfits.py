"""Differences between the eyes that a viewer sees are said, with the published figures, and change no exit code."""

import json
import math
from dataclasses import replace

import numpy as np
import pytest
from clips import SIZE, source_words
from footage import SPECS, yuv422p10
from plan_tables import frame, table

from postfix.cli import main
from postfix.deliver.video import write_video
from postfix.demo.layers import Layer, layered_scene
from postfix.measure.differences import LIMITS, misfits


def told(count=24, cuts=(), clip=None, **figures):
    measured = table(lambda i: replace(frame(), **{name: of(i) for name, of in figures.items()}), count, cuts)
    return misfits(measured if clip is None else replace(measured, clip=clip))


def test_the_limits_are_those_of_the_report():
    # Report ITU-R BT.2293-0 (2013), Table 8 (read): 1.2 % and 2.9 % of size; 0.7 % and 1.5 % of height, printed there
    # as 7.56 and 16.2 px of 1080; 0.5° and 1.1°.
    found = {kind: (limit.just_seen, limit.tolerated) for kind, limit in LIMITS.items()}
    assert found == {"size": (1.2, 2.9), "vertical": (0.7, 1.5), "rotation": (0.5, 1.1)}


@pytest.mark.parametrize(("px", "seen"), [(7.55, False), (7.57, True), (-7.57, True), (-7.55, False)])
def test_a_vertical_shift_counts_from_what_the_report_prints_for_1080_lines(px, seen):
    # 7.56 px of 1080 (Report ITU-R BT.2293-0, Table 8; read).
    assert bool(told(vertical_px=lambda i: px)) == seen


def test_each_difference_is_one_line_with_its_source():
    found = told(vertical_px=lambda i: 15.0, rotation_deg=lambda i: -0.62, size_pct=lambda i: 1.4)
    assert [note.text for note in found] == [
        "sh001: right eye 15.0 px lower than the left (1.39 % of height; just seen from 0.7 %, tolerated to 1.5 %: "
        "Report ITU-R BT.2293-0)",
        "sh001: right eye turned 0.62° anticlockwise against the left (just seen from 0.5°, tolerated to 1.1°: "
        "Report ITU-R BT.2293-0)",
        "sh001: right eye 1.40 % larger than the left (just seen from 1.2 %, tolerated to 2.9 %: "
        "Report ITU-R BT.2293-0)",
    ]
    assert [note.value for note in found] == pytest.approx([1.3889, -0.62, 1.4])


def test_the_median_of_a_shot_decides_and_frames_without_a_figure_do_not_count():
    nan = math.nan
    wild = told(vertical_px=lambda i: 90.0 if i % 3 == 0 else 0.0)
    assert wild == ()
    assert told(vertical_px=lambda i: nan) == ()
    (note,) = told(cuts=(12,), vertical_px=lambda i: 20.0 if i > 20 else 0.0 if i < 12 else nan)
    assert (note.shot, note.kind) == ("sh002", "vertical")


@pytest.fixture(scope="module")
def lowered(tmp_path_factory):
    """A pair whose right eye lies 4 px lower, 2.22 % of 180 lines (computed), all else within the limits."""
    place = tmp_path_factory.mktemp("lowered")
    scene = layered_scene(*SIZE, [Layer(0.2), Layer(-0.4, (0.3, 0.3, 0.7, 0.8), 5)], seed=11)
    spec = replace(SPECS["ffv1.mkv"], width=SIZE[0], height=SIZE[1], timecode=None)
    paths = []
    for number, eye in enumerate(("left", "right")):
        pictures = [(np.asarray(scene.render(i)[number]) * 255).astype(np.uint8) for i in range(6)]
        if eye == "right":
            pictures = [np.concatenate([p[:1].repeat(4, axis=0), p[:-4]]) for p in pictures]
        paths.append(place / f"gull_{eye}.mkv")
        write_video(paths[-1], spec, (yuv422p10(picture) for picture in pictures))
    return paths


@pytest.mark.parametrize("command", ["measure", "check", "run"])
def test_it_is_said_in_text_and_json_and_changes_no_exit_code(lowered, tmp_path, capsys, command):
    screen = [] if command == "measure" else ["--screen", "cinema-12m"]
    typed = [command, *source_words(*lowered), *screen]

    def place(name):
        return [] if command == "check" else ["-o", str(tmp_path / name)]

    assert main([*typed, *place("a")]) == 0
    shown = " ".join(capsys.readouterr().out.split())
    assert "px lower than the left (2.2" in shown
    assert "tolerated to 1.5 %: Report ITU-R BT.2293-0)" in shown
    assert main([*typed, *place("b"), "--json"]) == 0
    (note,) = json.loads(capsys.readouterr().out)["misfits"]
    assert (note["shot"], note["kind"], note["unit"], note["just_seen"]) == ("s001", "vertical", "% of height", 0.7)
    assert note["value"] == pytest.approx(100 * 4 / 180, abs=0.1)
