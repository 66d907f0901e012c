"""Wall time of the commands, as ratios to bare Python in the same run.

    python tests/benchmarks/bench_start.py [CASE ...]

Uses the ``surge`` of this interpreter's environment. Medians; the programs take turns.
"""

from __future__ import annotations

import argparse
import os
import statistics
import subprocess
import sys
import tempfile
import time
from pathlib import Path

ROOT = Path(__file__).parents[2]
IMPORTS = [sys.executable, "-c", "import numpy, numba, pint, click"]
WORDS = "import numpy, numba, pint, click"
BARE = [sys.executable, "-c", "pass"]


def wall(command: list[str], **environment: str) -> float:
    """Seconds that a command takes; its exit code must be one that the program means."""
    env = {k: v for k, v in os.environ.items() if k != "PYTHONDONTWRITEBYTECODE"} | environment
    start = time.perf_counter()
    done = subprocess.run(command, capture_output=True, env=env, check=False)
    spent = time.perf_counter() - start
    if done.returncode not in (0, 3, 4):
        raise SystemExit(f"{command}: exit code {done.returncode}\n{done.stderr.decode()}")
    return spent


def compare(name: str, command: list[str], against: list[str], word: str, turns: int) -> None:
    """Print the ratio of two medians."""
    ours, theirs = [], []
    for _ in range(turns):
        ours.append(wall(command))
        theirs.append(wall(against))
    a, b = statistics.median(ours), statistics.median(theirs)
    print(f"{name:44} {a:6.3f} s   {word:34} {b:6.3f} s   ratio {a / b:5.2f}")


def main() -> None:
    """Print one line per comparison."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("cases", nargs="*", type=Path, default=sorted((ROOT / "cases").glob("*.toml")))
    parser.add_argument("--turns", type=int, default=9)
    options = parser.parse_args()
    surge = [str(Path(sys.executable).with_name("surge"))]
    compare("surge --help", [*surge, "--help"], BARE, "python -c pass", options.turns)
    for case in options.cases:
        command = [*surge, "check", str(case)]
        wall(command)
        compare(f"surge check {case.stem}", command, IMPORTS, WORDS, options.turns)
    with tempfile.TemporaryDirectory() as folder:
        spent = wall([*surge, "check", str(options.cases[0])], NUMBA_CACHE_DIR=folder)
        print(f"first run ever (cold compile cache): {spent:.1f} s")


if __name__ == "__main__":
    main()
