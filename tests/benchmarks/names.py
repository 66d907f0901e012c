"""Put hostile names into a case and its records, and run every command that writes.

    python tests/benchmarks/names.py [--count 500] [--seed 1]

Five names go into a case at a time (``support.inputs.names``). Printed: what each command ended with, and
every traceback or character that moves the cursor, with its names. Exit code 1 if there is any. Not collected
by pytest.
"""

from __future__ import annotations

import argparse
import json
import os
import sys
import tempfile
import traceback
from collections import Counter
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1]))

from click.testing import CliRunner
from support.demos import CASES
from support.inputs.names import names_of  # tests are no package

from surge.cli.main import main as surge

CASE = (CASES / "gas-oil-release-coupling.toml").read_text(encoding="utf-8")
PARTS = ("shore line", "cargo hose", "deck line", "release coupling", "release at full rate")
COMMANDS = (
    *([f"picture c.toml --of {what} -o a.png -o a.svg -o a.pdf --force" for what in ("time", "line", "map")]),
    "chart c.toml --points 3 -o a.csv -o a.svg -o a.json --force",
    "sheet c.toml --no-window -o a.pdf -o a.html --force",
    "compare c.toml c.toml -o a.svg --force",
    "forces c.toml -o a.csv -o a.svg --force",
    "animate c.toml --seconds 2 -o a.html --force",
    "records r.csv --today 2026-02-20 -o a.csv -o a.json --pictures a.png --force",
)


def written(names: list[str]) -> None:
    """Write the case and the records with these names."""
    text = CASE
    for part, name in zip(PARTS, names, strict=False):
        text = text.replace(part, json.dumps(name, ensure_ascii=False)[1:-1])
    Path("c.toml").write_text(text, encoding="utf-8")
    rows = "".join(f'"{n.replace(chr(34), chr(34) * 2)}";2026-02-05;closing;20;movement\n' for n in names)
    Path("r.csv").write_text(f"tag;date;direction;time [s];timed\n{rows}", encoding="utf-8")


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawTextHelpFormatter)
    parser.add_argument("--count", type=int, default=500)
    parser.add_argument("--seed", type=int, default=1)
    asked = parser.parse_args()
    names, counts, wrong = names_of(asked.seed, asked.count), Counter[tuple[str, int]](), 0
    with tempfile.TemporaryDirectory() as folder:
        os.chdir(folder)
        for k in range(0, len(names), len(PARTS)):
            written(names[k : k + len(PARTS)])
            for command in COMMANDS:
                got = CliRunner().invoke(surge, command.split())
                counts[command.split()[0], got.exit_code] += 1
                crash = got.exception is not None and not isinstance(got.exception, SystemExit)
                if crash or any(c in got.output for c in "\x1b\x07\u202e\u2066"):
                    wrong += 1
                    print(f"--- {command}: {names[k : k + len(PARTS)]}", flush=True)
                    traceback.print_exception(got.exception)
        os.chdir("/")
    for (command, code), n in sorted(counts.items()):
        print(f"{command:10} ended with {code}: {n}")
    print(f"{len(names)} names, {wrong} tracebacks or characters that move the cursor")
    sys.exit(1 if wrong else 0)


if __name__ == "__main__":
    main()
