"""The same input, the same output to the bit; every output says which program and which case made it."""

from __future__ import annotations

import hashlib
import json
import os
import re
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner
from PIL import Image
from pypdf import PdfReader
from support.inputs.case_text import STARTER

from surge import __version__, workers
from surge.api.answers import LONGEST_NAME, signature
from surge.api.check import check
from surge.case.file import read_case
from surge.cli.main import main
from surge.plots.frame import file_words
from surge.transient.first_march import started
from surge.transient.peaks import Peaks
from surge.transient.plan import plan
from surge.transient.reaches import choose_step, divide

# One scenario, coarse enough to be quick.
CUT = STARTER.index("\n[[scenario]]", STARTER.index("[[scenario]]") + 1)
SMALL = STARTER[:CUT]
CHART = ("--points", "3", "--rates", "200 m3/h", "600 m3/h")


@pytest.fixture(scope="module")
def case(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("same") / "small.toml"
    path.write_text(SMALL, encoding="utf-8")
    return path


def run(folder: Path, *arguments: str) -> dict[str, bytes]:
    """Run a command in a folder; what it printed, and every file that it wrote."""
    before = Path.cwd()
    folder.mkdir()
    os.chdir(folder)
    try:
        got = CliRunner().invoke(main, list(arguments))
    finally:
        os.chdir(before)
    assert got.exit_code in (0, 3, 4), got.stderr
    return {"printed": got.stdout.encode()} | {p.name: p.read_bytes() for p in folder.iterdir()}


COMMANDS = {
    "check": ("check", "{}"),
    "json": ("check", "{}", "--json", "--histories"),
    "chart": (
        "chart",
        "{}",
        *CHART,
        *(w for k in ("csv", "json", "png", "svg", "pdf") for w in ("-o", f"c.{k}")),
    ),
    "sheet": ("sheet", "{}", "--no-window", "--today", "2026-02-20", "-o", "s.pdf", "-o", "s.html", "--json"),
    "picture": ("picture", "{}", *(w for k in ("png", "svg", "pdf") for w in ("-o", f"p.{k}"))),
    "animate": ("animate", "{}", "--seconds", "2", "-o", "a.gif"),
}


@pytest.mark.slow
@pytest.mark.parametrize("name", COMMANDS)
def test_the_same_again_with_one_thread_and_with_many(
    name: str, case: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    arguments = [a.format(case) for a in COMMANDS[name]]
    answers = []
    for threads in (1, 7):
        monkeypatch.setattr(workers, "processors", lambda n=threads: n)
        monkeypatch.setattr("surge.transient.batch.processors", lambda n=threads: n)
        answers.append(run(tmp_path / str(threads), *arguments))
    assert answers[0] == answers[1]
    digest = hashlib.sha256(SMALL.encode()).hexdigest()
    for file, content in answers[0].items():
        said = words_of(tmp_path / "1" / file, content)
        if said or file != "printed":  # a command that writes files may print nothing
            assert digest[:12] in said, file
            assert __version__ in said, file


def words_of(path: Path, content: bytes) -> str:
    """What a file says of itself: its text, or what lies in it unseen."""
    if path.suffix == ".pdf":
        reader = PdfReader(path)
        return str(reader.metadata) + "".join(page.extract_text() for page in reader.pages)
    if path.suffix in (".png", ".gif"):
        with Image.open(path) as image:
            return str(image.info)
    return content.decode()


DIGEST = """
import hashlib, json, sys
from surge.case.file import load_case
from surge.api.check import check
found = check(load_case(sys.argv[1]))
text = repr([(f.subject, f.name, f.value, f.error, f.time) for f in found.findings])
print(hashlib.sha256(text.encode()).hexdigest())
"""


@pytest.mark.skipif(not hasattr(os, "sched_setaffinity"), reason="processors given to a process")
def test_the_same_in_other_processes_on_one_processor(case: Path) -> None:
    """Other hash seeds, other addresses, one processor: the same bits."""
    seen = set()
    for seed, only in (("1", True), ("2", False)):
        begin = "import os; os.sched_setaffinity(0, [min(os.sched_getaffinity(0))])\n" if only else ""
        got = subprocess.run(
            [sys.executable, "-c", begin + DIGEST, case],
            capture_output=True,
            text=True,
            env=os.environ | {"PYTHONHASHSEED": seed},
            check=True,
        )
        seen.add(got.stdout)
    assert len(seen) == 1


def test_histories_kept_or_not_change_no_figure() -> None:
    lineup = read_case(SMALL, filename="x").lineup
    work = plan(lineup, lineup.scenarios[0])
    reaches = divide(work.times, choose_step(work.times, stroke=work.stroke))
    found = []
    for history in (True, False):
        made = started(work, reaches, history=history)
        made.advance(2000)
        found.append(Peaks(lineup, made).found)
    assert found[0] == found[1]
    flows = check(lineup).scenarios[0].history.flow
    assert flows
    assert all(
        v.base is None or v.base.nbytes <= v.nbytes for v in flows.values()
    )  # no part of something large


def test_a_signature_shows_its_hash_however_long_the_path(tmp_path: Path) -> None:
    folder = tmp_path / ("long" * 40)
    loaded = read_case(STARTER, filename=str(folder / "case.toml"))
    said = signature(loaded)
    assert said.endswith(f"case.toml, sha256 {loaded.sha256[:16]}")
    assert len(said) < LONGEST_NAME + 60


@pytest.mark.parametrize("kind", ["png", "svg", "pdf"])
def test_words_in_the_file_of_a_picture(kind: str) -> None:
    said = file_words(kind, "surge 1.2.3, case x.toml, sha256 0123", title="A title")
    assert "surge 1.2.3" in said.values()
    assert "surge 1.2.3, case x.toml, sha256 0123" in said.values()
    assert said.get("Date", said.get("CreationDate")) is None
    assert "" not in said.values()


def test_findings_of_records_say_who_made_them(tmp_path: Path) -> None:
    demo: Any = Path(__file__).parents[1] / "cases" / "records"
    arguments = ["records", str(demo / "stroke-tests.csv"), "--limits", str(demo / "limits.toml")]
    keep = (demo / "limits.toml").read_text(encoding="utf-8").replace('in_case = "manifold valve"', "")
    own = tmp_path / "limits.toml"
    own.write_text(keep, encoding="utf-8")
    arguments[3] = str(own)
    out = run(tmp_path / "out", *arguments, "--today", "2026-02-20", "-o", "f.csv", "-o", "f.json")
    digest = hashlib.sha256((demo / "stroke-tests.csv").read_bytes()).hexdigest()[:16]
    rows = out["f.csv"].decode("utf-8-sig").splitlines()
    assert rows[0].endswith(',"made_by"')
    assert all(f"surge {__version__}" in row and digest in row for row in rows[1:])
    assert json.loads(out["f.json"])["records"]["sha256"].startswith(digest)
    assert re.search(rf"surge {re.escape(__version__)}.*{digest}", out["printed"].decode())
