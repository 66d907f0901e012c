"""Every answer of every command on every demo, in a folder, so that two versions can be held side by side.

    python tests/benchmarks/outputs.py SURGE FOLDER [ONLY ...]

SURGE is the program to run. ``diff -r BEFORE AFTER`` must print nothing after a change that moves code and no
figures. Version numbers are written as VERSION, so that a release does not differ everywhere. A text lies
beside what it came with: ``.out``, ``.err``, ``.code``, and the files that the command wrote.
"""

from __future__ import annotations

import re
import subprocess
import sys
import tempfile
from pathlib import Path

from surge.choices import KnownKind, SchemaOf, words_of
from surge.cli.main import main as commands

ROOT = Path(__file__).resolve().parents[2]
DEMOS = sorted((ROOT / "cases").glob("*.toml"))
UNITS = ("--pressure", "psi", "--flow", "bbl/h", "--length", "ft")
RECORDS = "cases/records/stroke-tests.csv"
CURVE = "cases/records/manifold-valve-stroke.csv"
LIMITS = "cases/records/limits.toml"
GASOLINE = "cases/gasoline-drop-lines.toml"
TODAY = ("--today", "2026-02-20")


def of_case(case: str) -> dict[str, list[str]]:
    """Commands that every demo goes through."""
    return {
        "check": ["check", case],
        "check-details-units": ["check", case, "--details", *UNITS, "--diameter", "inch"],
        "check-json": ["check", case, "--json", "--histories"],
        "window": ["window", case, "--orders", "--shapes"],
        "window-json": ["window", case, "--orders", "--shapes", "--json"],
        "time": ["picture", case, "--of", "time", "-o", "a.svg", "-o", "a.png", "-o", "a.pdf"],
        "line": ["picture", case, "--of", "line", "-o", "a.svg", *UNITS],
        "map": ["picture", case, "--of", "map", "-o", "a.png"],
        "chart": ["chart", case, "--points", "5", "-o", "a.svg", "-o", "a.csv", "-o", "a.json"],
        "forces": ["forces", case, "-o", "a.svg", "-o", "a.csv"],
        "forces-json": ["forces", case, "--json"],
        "film": ["animate", case, "--seconds", "3", "-o", "a.html", "-o", "a.gif"],
        "sheet": ["sheet", case, "-o", "a.pdf", "-o", "a.html"],
        "sheet-json": ["sheet", case, "--json", "--no-window", "-o", "a.html", *UNITS],
    }


def once() -> dict[str, list[str]]:
    """Commands that stand for themselves."""
    found = {f"list-{kind}": ["list", kind] for kind in words_of(KnownKind)}
    found |= {f"list-{kind}-json": ["list", kind, "--json"] for kind in words_of(KnownKind)}
    found |= {f"schema-{name}": ["schema", name] for name in words_of(SchemaOf)}
    found |= {f"help-{name}": [name, "--help"] for name in commands.commands}
    return found | {
        "help": ["--help"],
        "new": ["new", "-"],
        "verify": ["verify", "--details"],
        "verify-json": ["verify", "--json"],
        "list-warm": ["list", "liquids", "benzene", "--temperature", "30 degC"],
        "list-own-rules": ["list", "rules", "--rules", "cases/rules/product-berth.toml", "--json"],
        "bands": ["window", "cases/crude-sea-line.toml", "--bands"],
        "sizes": ["window", "cases/kerosene-relief-valve.toml", "--sizes"],
        "sizes-json": ["window", "cases/naphtha-surge-drum.toml", "--sizes", "--json"],
        "bands-json": ["window", GASOLINE, "--bands", "--json"],
        "compare": ["compare", GASOLINE, "cases/crude-sea-line.toml", "-o", "a.svg"],
        "compare-same": ["compare", GASOLINE, GASOLINE, "--json"],
        "compare-pumps": ["compare", GASOLINE, "cases/gasoline-through-cargo-pumps.toml", *UNITS],
        "records": ["records", RECORDS, "--limits", LIMITS, *TODAY, "--pictures", "a.pdf", "-o", "a.csv"],
        "records-json": ["records", RECORDS, "--limits", LIMITS, *TODAY, "--json", "--pictures", "a.svg"],
        "records-case": ["records", RECORDS, "--limits", LIMITS, "--case", GASOLINE, *TODAY, "--details"],
        "records-bare": ["records", RECORDS, *TODAY, "--interval", "6 months", "--joined"],
        "curve": ["records", CURVE, "--case", GASOLINE, "--curve", "manifold valve", "--pictures", "a.svg"],
        "curve-json": ["records", CURVE, "--case", GASOLINE, "--curve", "manifold valve", "--json"],
        "sheet-records": [
            "sheet",
            GASOLINE,
            "--records",
            RECORDS,
            "--limits",
            LIMITS,
            *TODAY,
            "-o",
            "a.html",
        ],
        "no-file": ["check", "no-such-file.toml", "--json"],
        "no-rules": ["list", "rules", "--rules", "no-such-file.toml"],
        "no-valve": ["window", GASOLINE, "--valve", "nonesuch"],
        "no-scenario": ["picture", GASOLINE, "--scenario", "nonesuch"],
        "no-case": ["check", LIMITS],
        "no-case-json": ["check", LIMITS, "--json"],
        "no-limits": ["records", RECORDS, "--limits", GASOLINE, *TODAY],
        "no-records": ["records", GASOLINE, *TODAY, "--json"],
        "no-curve": ["records", RECORDS, "--case", GASOLINE, "--curve", "manifold valve"],
        "no-unit": ["check", GASOLINE, "--pressure", "nonesuch"],
    }


def main(program: str, folder: Path, only: list[str]) -> None:
    """Run them all."""
    work = once() | {
        f"{demo.stem}/{name}": words
        for demo in DEMOS
        for name, words in of_case(demo.relative_to(ROOT).as_posix()).items()
    }
    for name, words in work.items():
        if only and not any(word in name for word in only):
            continue
        print(name, flush=True)
        place = folder / name
        place.mkdir(parents=True, exist_ok=True)
        with tempfile.TemporaryDirectory() as scratch:
            (Path(scratch) / "cases").symlink_to(ROOT / "cases")
            got = subprocess.run([program, *words], cwd=scratch, capture_output=True, text=True, check=False)
            for path in sorted(Path(scratch).iterdir()):
                if path.is_file():
                    (place / path.name).write_bytes(path.read_bytes())
        for kind, text in (("out", got.stdout), ("err", got.stderr), ("code", f"{got.returncode}\n")):
            (place / kind).write_text(re.sub(r"\b0\.[12]\.\d+\b", "VERSION", text), encoding="utf-8")


if __name__ == "__main__":
    main(sys.argv[1], Path(sys.argv[2]), sys.argv[3:])
