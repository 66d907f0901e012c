"""``surge forces``: words, document, files, and what is refused."""

from __future__ import annotations

import csv
import io
import json
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner, Result
from support.demos import CASES, Demos
from support.documents import hold_to_schema
from support.inputs.case_text import changed, line_of

import surge
from surge.cli.main import main
from surge.errors import RequestError
from surge.reports.forces import kilonewtons, worst_by_leg
from surge.reports.forces_json import forces_document
from surge.reports.words import CAUTIONS

DEMO = CASES / "gas-oil-release-coupling.toml"
QUICK = CASES / "kerosene-relief-valve.toml"  # a tenth of the work
PIPE = 'name = "shore line"'


def run(*words: object) -> Result:
    return CliRunner().invoke(main, ["forces", *map(str, words)], catch_exceptions=False)


def bent(bends: str) -> str:
    return changed((PIPE, f"{PIPE}\nbends_at = {bends}"))


@pytest.mark.parametrize(
    ("value", "words"),
    [
        (25_381.0, "25.4"),
        (-6_501.0, "-6.51"),
        (683.0, "0.683"),
        (0.3, "0"),
        (151_000.0, "151"),
        (1.5, "0.00150"),
    ],
)
def test_forces_are_rounded_up_in_size(value: float, words: str) -> None:
    assert kilonewtons(value) == words


def test_the_first_sentence_names_the_leg_and_the_table_has_every_leg(demos: Demos) -> None:
    answer = surge.find_forces(demos["kerosene-shutdown-linked-and-not"].answer)
    text = answer.text()
    one, force = answer.worst
    assert f'{kilonewtons(force.most)} kN on "{force.leg.pipe}"' in text
    assert f'in "{one.scenario}"' in " ".join(text.split())
    pipes = [p.name for p in answer.case.lineup.pipes if p.kind == "pipe"]
    assert [f.leg.pipe for f in one.legs] == pipes
    assert all(f'"{name}"' in text for name in pipes)
    assert '"loading arm"' not in text
    assert "loads, not stresses" in " ".join(text.split())
    assert len(text.splitlines()) <= 32
    assert answer.exit_code == demos["kerosene-shutdown-linked-and-not"].answer.exit_code


def test_forces_are_told_up_to_where_the_cargo_boils(demos: Demos) -> None:
    checked = demos["condensate-over-a-bridge"].answer
    answer = surge.find_forces(checked)
    (one,) = answer.forces
    assert one.boils is not None
    assert one.boils == checked.subject(one.scenario).valid_until
    assert one.boils - one.dt < one.time[-1] <= one.boils
    assert f"the cargo boils at {one.boils:.2f} s: forces are told up to then only" in " ".join(
        answer.text().split()
    )
    assert answer.document()["scenarios"][0]["boils_at_s"] == one.boils
    assert "forces are told up to then only" in answer.draw(kind="svg").content.decode()


def test_bends_part_a_pipe_and_scenarios_can_be_chosen() -> None:
    case = surge.read_case(bent('["100 m", "400 m"]'), filename="bent.toml")
    name = case.lineup.scenarios[0].name
    answer = surge.find_forces(case, scenarios=[name])
    (one,) = answer.forces
    legs = [f for f in one.legs if f.leg.pipe == "shore line"]
    length = next(p.length for p in case.lineup.pipes if p.name == "shore line")
    assert [(f.leg.begin, f.leg.end) for f in legs] == [(0.0, 100.0), (100.0, 400.0), (400.0, length)]
    assert '"shore line", 100.0 m to 400.0 m' in answer.text(details=True)
    assert worst_by_leg(answer.forces)[0][1].most == max(f.most for f in one.legs)
    with pytest.raises(RequestError, match='"nothing": no such scenario'):
        surge.find_forces(case, scenarios=["nothing"])


@pytest.mark.parametrize(
    ("bends", "found"),
    [
        ('["400 m", "100 m"]', "a bend 100 m from the start"),
        ('["0 m"]', "0 m"),
        ('["900 km"]', "900 km"),
        ('["12 bar"]', "12 bar"),
        ('"12 m"', "12 m"),
        ("[12]", "12"),
    ],
)
def test_a_bend_outside_its_pipe_is_refused_with_its_line(bends: str, found: str, tmp_path: Path) -> None:
    text = bent(bends)
    path = tmp_path / "case.toml"
    path.write_text(text, encoding="utf-8")
    got = run(path)
    assert got.exit_code == 2
    assert found in got.stderr
    assert "bends_at" in got.stderr
    assert f"case.toml:{line_of(text, 'bends_at')}:" in got.stderr
    assert got.stdout == ""


def test_the_document_fits_its_schema_and_the_files_hold_the_extremes(tmp_path: Path) -> None:
    got = run(QUICK, "--json")
    made = json.loads(got.stdout)
    answer = surge.find_forces(QUICK)
    document = forces_document(
        answer.forces,
        answer.case.lineup,
        answer.head,
        verdict=answer.verdict,
        exit_code=answer.exit_code,
        cautions=CAUTIONS,
    )
    hold_to_schema(document, "forces")
    assert json.loads(answer.json()) == made
    assert made["exit_code"] == got.exit_code
    files = [tmp_path / f"f.{kind}" for kind in ("csv", "png", "svg", "pdf")]
    again = run(QUICK, *(word for f in files for word in ("-o", f)))
    assert again.exit_code == got.exit_code
    assert files[1].read_bytes().startswith(b"\x89PNG")
    rows = list(csv.DictReader(io.StringIO(files[0].read_text(encoding="utf-8-sig"))))
    worst = max(
        (leg for s in made["scenarios"] for leg in s["legs"]),
        key=lambda x: max(x["highest_n"], -x["lowest_n"]),
    )
    column = next(k for k in rows[0] if f'"{worst["pipe"]}"' in k)
    values = np.array([float(row[column]) for row in rows])
    assert values.max() == pytest.approx(worst["highest_n"], rel=1e-4)
    assert values.min() == pytest.approx(worst["lowest_n"], rel=1e-4, abs=1.0)
    assert len(rows) <= 20_001


def test_a_case_without_pipes_has_no_leg() -> None:
    text = (
        CASES.joinpath("gas-oil-release-coupling.toml")
        .read_text(encoding="utf-8")
        .replace("[[pipe]]", "[[arm]]")
    )
    answer = surge.find_forces(
        surge.read_case(text, filename="arms.toml"), scenarios=["release at reduced rate"]
    )
    assert "no straight leg" in " ".join(answer.text().split())
    with pytest.raises(RequestError, match="no pipe"):
        answer.draw()
