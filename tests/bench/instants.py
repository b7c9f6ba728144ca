"""Carry on what a run leaves at each of its steps: every instant between two changes of names on the disk.

    python tests/bench/instants.py

Each step (a folder made, a file given its name, removed or moved) of runs on small footage of three segments gives a
copy of what the disk holds before it. From each of them --resume must give the bytes of the undisturbed run, with
nothing left beside them, and no file with its own name may have been half a file. The table stands in
docs/reliability.md; tests/test_resume.py does so with every sixteenth instant.
"""

from __future__ import annotations

import shutil
import sys
import tempfile
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from broken_off import carry_out, files, instants, short_segments, visible, write_stills, write_videos

RUNS = {
    "TIFF stills, one version": (write_stills, 1.4, ["cinema-12m"]),
    "FFV1, two versions": (write_videos, 1.4, ["cinema-12m", "tv-55in"]),
    "FFV1, copied as it is": (write_videos, 0.0, ["tv-55in"]),
}


def looked_through(write, far_pct: float, screens: list[str]) -> tuple[int, int, int]:
    """Instants, those carried on to the same bytes, and half files."""
    place = Path(tempfile.mkdtemp(prefix="instants-"))
    pair, out, same, half = write(place / "in", far_pct=far_pct), place / "out", 0, 0
    with pytest.MonkeyPatch.context() as patched, short_segments(patched):
        left = instants(patched, out, place / "at", lambda: carry_out(pair, out, *screens))
        whole = files(out)
        for one in left:
            there = {name: data for name, data in visible(files(one)).items() if (one / name).is_file()}
            half += len(there.items() - whole.items())
            carry_out(pair, one, *screens, resume=True)
            same += files(one) == whole
    shutil.rmtree(place)
    return len(left), same, half


def main() -> None:
    print("| run | instants | identical in the end | half files |\n|---|---|---|---|")
    wrong = False
    for name, (write, far_pct, screens) in RUNS.items():
        count, same, half = looked_through(write, far_pct, screens)
        wrong |= same < count or half > 0
        print(f"| {name} | {count} | {same} | {half} |", flush=True)
    sys.exit(int(wrong))


if __name__ == "__main__":
    main()
