"""``surge fit`` as a user meets it: files, words, documents, exit codes."""

from __future__ import annotations

import json
from pathlib import Path

import jsonschema
import pytest
from click.testing import CliRunner, Result
from support import records

from surge.case.file import load_case
from surge.cli.main import main
from surge.schemas import schema_of


def run(*arguments: str) -> Result:
    return CliRunner().invoke(main, ["fit", *arguments])


ASKED = ("--wave-speed", "shore line", "--stroke", "manifold valve", "--roughness", "shore line")


def test_the_demo(tmp_path: Path) -> None:
    outputs = [str(tmp_path / f"fit.{kind}") for kind in ("toml", "png", "csv")]
    options = [x for name in outputs for x in ("-o", name)]
    result = run(str(records.BERTH), str(records.RECORD), *ASKED, *options)
    assert result.exit_code == 0, result.output
    assert "FITTED: THESE FIGURES EXPLAIN THE RECORD" in result.stdout
    assert "the quickest that tests have shown" in " ".join(result.stdout.split())
    assert max(map(len, result.stdout.splitlines()[:-1])) <= 100
    made = load_case(tmp_path / "fit.toml").lineup
    assert made.pipe("shore line").wave_speed == pytest.approx(1015, abs=2)
    assert made.scenarios[0].moves[0].law[-1][0] == pytest.approx(13.4, abs=0.05)
    assert (tmp_path / "fit.png").read_bytes().startswith(b"\x89PNG")
    rows = (tmp_path / "fit.csv").read_text(encoding="utf-8-sig").splitlines()
    assert rows[0].startswith('"place","row","time s"')
    again = run(str(records.BERTH), str(records.RECORD), *ASKED, *options)
    assert again.exit_code == 2
    assert "exists already" in again.stderr


@pytest.mark.usefixtures("one_search")
def test_json_and_details_are_of_their_schema() -> None:
    result = run(str(records.BERTH), str(records.RECORD), *ASKED, "--json")
    document = json.loads(result.stdout)
    jsonschema.validate(document, schema_of("fit"))
    assert document["exit_code"] == result.exit_code == 0
    assert [f["unit"] for f in document["figures"]] == ["m/s", "m", "s"]
    assert len(document["places"][0]["time_s"]) == document["places"][0]["readings"]


@pytest.mark.usefixtures("one_search")
def test_no_copy_is_written_of_what_is_not_told(tmp_path: Path) -> None:
    copy = tmp_path / "fitted.toml"
    result = run(
        str(records.BERTH),
        str(records.RECORD),
        *ASKED,
        *("--minor-loss", "shore line", "-o", str(copy), "--details"),
    )
    assert result.exit_code == 4
    assert not copy.exists()
    assert "is not written" in result.stderr
    assert "cannot tell the roughness" in " ".join(result.stdout.split())


def test_a_record_with_faults_is_refused_with_rows_and_as_a_document(tmp_path: Path) -> None:
    text = records.RECORD.read_text(encoding="utf-8").replace("[bar(g)]", "[bar]")
    record = tmp_path / "record.csv"
    record.write_text(text, encoding="utf-8")
    result = run(str(records.BERTH), str(record), *ASKED, "--json")
    assert result.exit_code == 2
    document = json.loads(result.stdout)
    jsonschema.validate(document, schema_of("fit"))
    assert document["refused"][0]["row"] == 4
    assert "neither gauge nor absolute" in " ".join(result.stderr.split())


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        ((), "nothing is to be fitted"),
        ((*ASKED, "--place", "manifold"), "--place manifold: write TITLE=POINT"),
        ((*ASKED, "--place", "manifold=manifould"), "no point of the case"),
        ((*ASKED, "--clock", "noon"), "--clock"),
        ((*ASKED, "--from", "60 s", "--until", "50 s"), "the earlier time first"),
        ((*ASKED, "--scenario", "night"), "there is no scenario"),
        ((*ASKED, "-o", "fit.jpg"), "end the name with one of"),
    ],
)
def test_what_is_asked_wrongly(arguments: tuple[str, ...], said: str) -> None:
    result = run(str(records.BERTH), str(records.RECORD), *arguments)
    assert result.exit_code == 2
    assert said in " ".join(result.stderr.split())
    assert not isinstance(result.exception, Exception) or isinstance(result.exception, SystemExit)


def test_files_that_are_not_there() -> None:
    result = run(str(records.BERTH), "nowhere.csv", *ASKED)
    assert result.exit_code == 2
    assert "cannot be opened" in result.stderr


@pytest.mark.parametrize(
    ("options", "begins"),
    [
        (("--from", "60 s", "--until", "50 s"), "surge: --from, --until from 60 s until 50 s: "),
        (("--place", "PT 101=quay"), "surge: --place PT 101=quay, which is no point of the case: "),
    ],
)
def test_what_is_refused_is_called_as_the_command_calls_it(options: tuple[str, ...], begins: str) -> None:
    """A function has ``span`` and ``places``; the command has no such options."""
    result = run(str(records.BERTH), str(records.RECORD), *ASKED, *options)
    assert result.exit_code == 2
    assert result.stderr.startswith(begins), result.stderr
