"""Time of the demo, and time and largest memory of a whole run over clips of growing length, as tables.

.venv/bin/python tests/bench/run_time.py
"""

import os
import platform
import subprocess
import sys
import tempfile
import time
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1]))
from footage import write_videos

LENGTHS = (48, 192, 768)


CHILD = """
import re, sys
from postfix.cli import main
code = main(sys.argv[1:])
print(re.search(r"VmHWM:\\s*(\\d+)", open("/proc/self/status").read())[1], file=sys.stderr)
sys.exit(code)
"""
# The kernel's figure for a finished child begins with its parent's memory; the child's own high-water mark does not.


def timed(arguments):
    """Wall seconds, CPU seconds, largest resident MiB and exit code of the command as a process of its own (Linux)."""
    started = time.perf_counter()
    with tempfile.TemporaryFile("w+") as said:
        words = [sys.executable, "-c", CHILD, *map(str, arguments)]
        process = subprocess.Popen(words, stdout=subprocess.DEVNULL, stderr=said)
        _, status, usage = os.wait4(process.pid, 0)
        wall = time.perf_counter() - started
        said.seek(0)
        words_said = said.read().split()
    if not words_said or not words_said[-1].isdigit():
        raise RuntimeError(f"{' '.join(map(str, arguments))} broke off: {' '.join(words_said)[-500:]}")
    largest_kib = int(words_said[-1])
    return wall, usage.ru_utime + usage.ru_stime, largest_kib / 1024, os.waitstatus_to_exitcode(status)


if __name__ == "__main__":
    print(f"{os.cpu_count()} cores, {platform.machine()}, Python {platform.python_version()}\n")
    print("| what | wall, s | CPU, s | largest memory, MiB | exit code |\n|---|---|---|---|---|")
    with tempfile.TemporaryDirectory() as name:
        place = Path(name)
        wall, cpu, memory, code = timed(["demo", place / "demo"])
        print(f"| demo | {wall:.0f} | {cpu:.0f} | {memory:.0f} | {code} |", flush=True)
        for length in LENGTHS:
            folder = place / str(length)
            folder.mkdir()
            left, right = write_videos(folder, "prores.mov", wanted=[i % 48 for i in range(length)])
            typed = ["run", "--left", left, "--right", right, "--one-shot", "--screen", "tv-55in"]
            wall, cpu, memory, code = timed([*typed, "-o", folder / "out"])
            print(
                f"| run, {length} frames 640x360 ProRes HQ | {wall:.0f} | {cpu:.0f} | {memory:.0f} | {code} |",
                flush=True,
            )
