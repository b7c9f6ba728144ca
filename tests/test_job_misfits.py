"""Differences between the eyes that a viewer sees are said, with the published figures, and change no exit code."""

import json
from dataclasses import replace

import numpy as np
import pytest
from clips import SIZE, source_words
from footage import SPECS, yuv422p10

from postfix.cli import main
from postfix.deliver.video import write_video
from postfix.demo.layers import Layer, layered_scene


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
