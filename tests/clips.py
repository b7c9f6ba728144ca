"""A short made-up pair for the tests of the command, and how the command is called."""

from dataclasses import replace
from fractions import Fraction
from pathlib import Path

import numpy as np
from footage import SPECS, yuv422p10

from postfix.cli import main
from postfix.deliver.video import write_video
from postfix.demo.layers import Layer, layered_scene

SIZE = (320, 180)
FRAMES = 8


def scene(far_pct=0.2):
    """Within every screen's limits unless told otherwise."""
    return layered_scene(*SIZE, [Layer(far_pct), Layer(far_pct - 0.6, (0.3, 0.3, 0.7, 0.8), 5)], seed=11)


def write_pair(
    folder, *, kind="ffv1.mkv", size=SIZE, frames=FRAMES, rate=Fraction(24), far_pct=0.2, eyes=("left", "right")
):
    folder.mkdir(parents=True, exist_ok=True)
    spec = replace(SPECS[kind], width=size[0], height=size[1], rate=rate, timecode=None)
    shown = [scene(far_pct).render(i) for i in range(frames)]
    paths = []
    for number, eye in enumerate(("left", "right")):
        path = folder / f"gull_{eye}{Path(kind).suffix}"
        if eye in eyes:
            pictures = ((np.asarray(pair[number]) * 255).astype(np.uint8)[: size[1], : size[0]] for pair in shown)
            write_video(path, spec, (yuv422p10(picture) for picture in pictures))
        paths.append(path)
    return paths


def source_words(left, right):
    return ["--left", str(left), "--right", str(right)]


def tree(folder):
    return sorted(p.relative_to(folder).as_posix() for p in folder.rglob("*"))


def fails(capsys, typed, code, *says):
    """Run it; check the exit code, that one sentence came on stderr and that it says what it must."""
    capsys.readouterr()
    assert main([str(word) for word in typed]) == code
    captured = capsys.readouterr()
    lines = [line for line in captured.err.splitlines() if line.strip()]
    assert len(lines) == 1, captured.err
    assert lines[0].startswith("postfix-stereo: ")
    assert "Traceback" not in captured.err
    for word in says:
        assert word in lines[0], lines[0]
    return lines[0]
