"""Every notebook runs from top to bottom in a kernel of its own and ends with an assertion."""

from __future__ import annotations

import json
import re
from pathlib import Path
from typing import Any

import nbformat
import pytest
from nbclient import NotebookClient

ROOT = Path(__file__).parents[1]
NOTEBOOKS = sorted((ROOT / "notebooks").glob("*.ipynb"))
SECONDS = 600  # for one cell: a bound for what never ends


def cells_of(path: Path, kind: str) -> list[str]:
    cells = json.loads(path.read_text(encoding="utf-8"))["cells"]
    return ["".join(c["source"]) for c in cells if c["cell_type"] == kind]


def test_the_notebooks_are_there() -> None:
    assert [p.stem for p in NOTEBOOKS] == ["a-first-check", "agreeing-a-window", "reading-valve-records"]


@pytest.mark.parametrize("path", NOTEBOOKS, ids=lambda p: p.stem)
def test_a_notebook_is_kept_clean(path: Path) -> None:
    """No outputs that could be old, no path of somebody's machine, a question, a caution, an assertion."""
    book = nbformat.read(path, as_version=4)
    nbformat.validate(book)
    code = [c for c in book.cells if c.cell_type == "code"]
    assert all(not c.outputs and c.execution_count is None for c in code)
    text = path.read_text(encoding="utf-8")
    assert not re.search(r"/(home|root|work|tmp|Users)/|[A-Z]:\\\\", text)
    assert len(text) < 20_000
    opening = cells_of(path, "markdown")[0]
    assert "**Question:**" in opening
    assert "**Caution.**" in opening
    assert "\nassert " in "\n" + cells_of(path, "code")[-1]


@pytest.mark.parametrize("path", NOTEBOOKS, ids=lambda p: p.stem)
def test_a_notebook_uses_public_names_only(path: Path) -> None:
    import surge

    code = "\n".join(cells_of(path, "code"))
    imported = set(re.findall(r"^(?:from|import) ([\w.]+)", code, flags=re.M))
    assert imported <= {"surge", "pathlib", "datetime"}
    assert set(re.findall(r"\bsurge\.(\w+)", code)) <= set(surge.__all__)


@pytest.mark.slow
@pytest.mark.parametrize("path", NOTEBOOKS, ids=lambda p: p.stem)
def test_a_notebook_runs_and_shows_its_pictures(path: Path) -> None:
    book = nbformat.read(path, as_version=4)
    NotebookClient(book, timeout=SECONDS, resources={"metadata": {"path": str(path.parent)}}).execute()
    outputs: list[Any] = [o for c in book.cells if c.cell_type == "code" for o in c.outputs]
    assert [o for o in outputs if o.get("name") == "stderr"] == []
    assert any("image/png" in o.get("data", {}) for o in outputs)
    assert any("VERDICT" in o.get("text", "") for o in outputs)
