"""Damaged inputs of all kinds end in an exit code with a sentence, never in a fault, a crash, a hang or a full memory.

The bench tests/bench/fuzz.py tries thousands; here a few of each kind that is quick to make.
"""

import json
import subprocess
import sys
from pathlib import Path

BENCH = Path(__file__).parent / "bench" / "fuzz.py"


def test_sixty_damaged_inputs_bring_no_fault_to_light(tmp_path):
    outcomes = tmp_path / "outcomes.json"
    typed = [BENCH, "--count", "60", "--kinds", "quick", "--folder", tmp_path / "tried", "--json", outcomes]
    done = subprocess.run([sys.executable, *map(str, typed)], capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stdout + done.stderr
    rows = json.loads(outcomes.read_text())
    assert len(rows) == 60
    assert {code for _, _, _, code, *_ in rows} <= {0, 2, 3, 4, 5}
    assert all("postfix-stereo: " in said for _, _, _, code, _, _, _, said in rows if code in (2, 3, 4))
