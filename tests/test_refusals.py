"""Refusals as documents: those of every command fit its schema, and what could not be read has no hash."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterator
from functools import cache
from pathlib import Path

import jsonschema
import pytest
from click.testing import CliRunner
from jsonschema.exceptions import best_match
from support.demos import CASES

from surge.cli.main import main
from surge.schemas import path_of

CASE = (CASES / "gas-oil-release-coupling.toml").read_text(encoding="utf-8")
# Schema, words; IN is the bad input.
COMMANDS = (
    ("result", ("check", "IN")),
    ("window", ("window", "IN")),
    ("chart", ("chart", "IN")),
    ("compare", ("compare", "IN", "case.toml")),
    ("compare", ("compare", "case.toml", "IN")),
    ("sheet", ("sheet", "IN")),
    ("sheet", ("sheet", "case.toml", "--records", "IN", "--no-window")),
    ("sheet", ("sheet", "case.toml", "--records", "records.csv", "--limits", "IN", "--no-window")),
    ("records", ("records", "IN")),
    ("records", ("records", "records.csv", "--limits", "IN")),
    ("records", ("records", "records.csv", "--case", "IN")),
    ("measured", ("records", "IN", "--case", "case.toml", "--curve", "manifold valve")),
    ("measured", ("records", "curve.csv", "--case", "IN", "--curve", "manifold valve")),
    ("list", ("list", "rules", "--rules", "IN")),
)
BAD: dict[str, bytes | None] = {
    "missing": None,
    "no text": b"\xff\xfe\xfd\x81\x8d",
    "nonsense": b"tag;date\n1;2",
    "without its rules": (CASE + '\n[rules]\nfile = "none.toml"\n').encode(),
    "with bad rules": (CASE + '\n[rules]\nfile = "bad.toml"\n').encode(),
}
OF_A_CASE = ("without its rules", "with bad rules")


@pytest.fixture(autouse=True)
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    Path("case.toml").write_text(CASE, encoding="utf-8")
    Path("bad.toml").write_text("[[rule]]\nx = 1\n", encoding="utf-8")
    for name, copy in (("stroke-tests.csv", "records.csv"), ("manifold-valve-stroke.csv", "curve.csv")):
        Path(copy).write_bytes((CASES / "records" / name).read_bytes())


@cache
def validator(name: str) -> jsonschema.Draft202012Validator:
    return jsonschema.Draft202012Validator(json.loads(path_of(name).read_text(encoding="utf-8")))


def files_of(document: object) -> Iterator[dict[str, str]]:
    """Every file that a document names."""
    if isinstance(document, dict):
        if "file" in document and "line" not in document:
            yield document
        for child in document.values():
            yield from files_of(child)


@pytest.mark.parametrize("kind", BAD)
@pytest.mark.parametrize(("schema", "words"), COMMANDS, ids=[" ".join(w) for _, w in COMMANDS])
def test_a_refusal_fits_its_schema(schema: str, words: tuple[str, ...], kind: str) -> None:
    content = BAD[kind]
    if content is not None:
        Path("in.x").write_bytes(content)
    if kind in OF_A_CASE and {"--records", "--limits", "--rules"}.intersection(words):
        pytest.skip("a case there is nonsense, as above")
    got = CliRunner().invoke(main, ["in.x" if w == "IN" else w for w in words] + ["--json"])
    assert got.exit_code == 2, got.stderr
    document = json.loads(got.stdout)
    wrong = best_match(validator(schema).iter_errors(document))
    assert wrong is None, wrong.message
    for file in files_of(document):
        there = Path(file["file"])
        known = hashlib.sha256(there.read_bytes()).hexdigest() if there.is_file() else None
        assert file.get("sha256") == known
