"""Kill a whole job at random moments, carry it on, and hold what it made against an undisturbed run.

    python tests/bench/kills.py [--trials 100] [--seed 1] [--jobs 2]

Each trial starts `run` on made-up footage, ends it by SIGKILL after a random time, looks at what lies there, and runs
it again with --resume (every third trial is killed once more on the way). Looked at: every file that has its own name
after the kill is whole, that is, just what the undisturbed run made; the finished job is byte for byte the undisturbed
one; the footage is untouched. The table goes into docs/reliability.md.
"""

from __future__ import annotations

import argparse
import hashlib
import random
import shutil
import signal
import subprocess
import sys
import tempfile
import time
from collections import Counter
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from clips import write_pair

KINDS = {
    "ProRes": "prores.mov",
    "FFV1": "ffv1.mkv",
    "H.264": "h264.mp4",
    "TIFF stills": "tiff16",
    "DPX stills": "dpx10",
}
FRAMES = 130
"""Three segments, the last of them short."""


def digest(path: Path) -> str:
    return hashlib.sha256(path.read_bytes()).hexdigest()


def tree(folder: Path) -> dict[str, str]:
    """Every file that has its own name: nothing hidden, and nothing in a hidden folder."""
    names = (path for path in folder.rglob("*") if path.is_file())
    told = {path.relative_to(folder): path for path in names}
    return {str(name): digest(path) for name, path in told.items() if not any(p.startswith(".") for p in name.parts)}


def command(pair: tuple[Path, Path], out: Path, *extra: str) -> list[str]:
    words = [sys.executable, "-m", "postfix", "run", "--left", str(pair[0]), "--right", str(pair[1]), "-q"]
    rate = ["--rate", "24"] if pair[0].is_dir() else []
    return [*words, *rate, "--screen", "cinema-12m", "--screen", "tv-55in", "-o", str(out), *extra]


@dataclass
class Trial:
    kind: str
    killed_after_s: list[float]
    half: list[str]
    differs: list[str]
    code: int
    said: str


def killed(words: list[str], after_s: float) -> bool:
    """Run, and kill after so long; False where it had ended by itself."""
    process = subprocess.Popen(words, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
    try:
        process.wait(after_s)
        return False
    except subprocess.TimeoutExpired:
        process.send_signal(signal.SIGKILL)
        process.wait()
        return True


def trial(number: int, kind: str, pair: tuple[Path, Path], whole: dict[str, str], length_s: float, seed: int) -> Trial:
    chance = random.Random(seed * 100_003 + number)
    folder = Path(tempfile.mkdtemp(prefix=f"kill-{number}-", dir=pair[0].parent.parent))
    out, times, half = folder / "out", [], []
    for attempt in range(2 if number % 3 == 0 else 1):
        extra = () if attempt == 0 else ("--resume",)
        times.append(round(chance.uniform(0.2, length_s), 2))
        killed(command(pair, out, *extra), times[-1])
        half += [name for name, found in tree(out).items() if whole.get(name) != found]
    done = subprocess.run(command(pair, out, "--resume"), capture_output=True, text=True)
    now = tree(out)
    differs = sorted(name for name in {*now, *whole} if now.get(name) != whole.get(name))
    left = [str(path) for path in out.rglob(".*")]
    shutil.rmtree(folder)
    return Trial(kind, times, half, differs + left, done.returncode, done.stderr[-300:])


def main() -> None:
    parser = argparse.ArgumentParser()
    parser.add_argument("--trials", type=int, default=100)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--jobs", type=int, default=2, help="trials at the same time")
    parser.add_argument("--keep", type=Path, help="work in this folder")
    options = parser.parse_args()
    place = Path(tempfile.mkdtemp(prefix="kills-", dir=options.keep))
    pairs, wholes, lengths, before = {}, {}, {}, {}
    for kind, made in KINDS.items():
        pairs[kind] = write_pair(place / made / "in", kind=made, frames=FRAMES, far_pct=1.4)
        out = place / made / "whole" / "out"
        started = time.monotonic()
        code = subprocess.run(command(pairs[kind], out), stdout=subprocess.DEVNULL).returncode
        lengths[kind] = time.monotonic() - started
        assert code in (0, 5), code
        wholes[kind], before[kind] = tree(out), tree(pairs[kind][0].parent)
        print(f"{kind}: {len(wholes[kind])} files in {lengths[kind]:.1f} s", flush=True)
    results: list[Trial] = []
    with ThreadPoolExecutor(options.jobs) as pool:
        kinds = list(KINDS)
        futures = [
            pool.submit(trial, n, kind, pairs[kind], wholes[kind], lengths[kind] * options.jobs, options.seed)
            for n in range(options.trials)
            for kind in [kinds[n % len(kinds)]]
        ]
        for future in futures:
            results.append(future.result())
            one = results[-1]
            if one.half or one.differs or one.code not in (0, 5):
                print(f"NOT THE SAME: {one}", flush=True)
    touched = [kind for kind, pair in pairs.items() if tree(pair[0].parent) != before[kind]]
    print(f"\n{'footage':12}  kills  identical  half files")
    for kind in KINDS:
        mine = [one for one in results if one.kind == kind]
        same = sum(not one.differs and one.code in (0, 5) for one in mine)
        print(f"{kind:12}  {sum(len(one.killed_after_s) for one in mine):5}  {same:3} of {len(mine):3}  "
              f"{sum(len(one.half) for one in mine)}")  # fmt: skip
    print(f"exit codes after the last run: {dict(Counter(one.code for one in results))}")
    print(f"footage touched: {touched or 'none'}")
    shutil.rmtree(place)


if __name__ == "__main__":
    main()
