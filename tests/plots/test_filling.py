"""Pictures, films and tables of fillings, and how ``surge filling`` gives them."""

from __future__ import annotations

import csv
import io
import json
from pathlib import Path

import pytest
from click.testing import CliRunner
from PIL import Image

import surge
from surge.api.filling import FillingAnswer
from surge.cli.main import main
from surge.errors import RequestError

CASES = Path(__file__).parents[2] / "cases"
CASE = CASES / "gas-oil-first-fill.toml"
SHUT = "drop line valve shut by mistake"


@pytest.fixture(scope="module")
def answer() -> FillingAnswer:
    text = CASE.read_text(encoding="utf-8").replace(
        "vent_coefficient = 0.8", "vent_coefficient = 0.8\nexponent = 1.2"
    )
    return surge.fill_lines(surge.read_case(text, filename="first-fill.toml"), fillings=[SHUT])


@pytest.mark.slow
def test_a_picture_a_table_and_a_film_hold_what_was_found(answer: FillingAnswer) -> None:
    made = answer.files(["svg", "png", "csv", "gif"])
    assert b"Velocity at the start" not in made["png"]
    assert b"</svg>" in made["svg"]
    film = Image.open(io.BytesIO(made["gif"]))
    assert film.n_frames > 60  # type: ignore[attr-defined]
    rows = list(csv.DictReader(io.StringIO(made["csv"].decode().lstrip("\ufeff"))))
    assert {r["model"] for r in rows} == {"rigid", "elastic"}
    run = answer.fillings[0].usual
    assert run is not None
    ends = [float(r["end of the line Pa gauge"]) for r in rows if r["end of the line Pa gauge"]]
    assert max(ends) == pytest.approx(run.highest["place", "drop valve inlet"].pressure, rel=0.02)
    fronts = [float(r["front m"]) for r in rows if r["model"] == "elastic"]
    assert max(fronts) == pytest.approx(900.0 + 18.0 + 140.0)


def test_the_text_tells_both_models_and_when_to_trust_them(answer: FillingAnswer) -> None:
    said = " ".join(answer.text().split())
    assert said.count("VERDICT of the fillings: LIMITS KEPT") == 2
    assert "velocity of the front then, m/s" in said
    assert "Trust a filling where" in said
    assert "Rigid: the liquid behind the front moves as one" in said
    assert "not a permit" in said


def test_the_document_has_figures_of_both_models(answer: FillingAnswer) -> None:
    made = answer.document()
    (one,) = made["fillings"]
    assert one["arrival_rigid"]["velocity_m_s"] == pytest.approx(
        one["arrival_elastic"]["velocity_m_s"], rel=0.01
    )
    # p = p_b + density x wave speed x velocity, p_b of the gas then: nothing passes where the valve is shut.
    lineup = answer.case.lineup
    blow = lineup.liquid.density * lineup.pipe("deck line").wave_speed * one["arrival_rigid"]["velocity_m_s"]
    (gas,) = {r["gas_pa_gauge"] for r in one["rigid"] if r["time_s"] >= one["arrival_rigid"]["time_s"]}
    assert gas > 5e3
    assert one["arrival_rigid"]["pressure_pa_gauge"] == pytest.approx(gas + blow, rel=1e-6)
    assert one["elastic"]


def test_what_cannot_be_asked_for_is_refused() -> None:
    with pytest.raises(RequestError, match="no such filling"):
        surge.fill_lines(CASE, fillings=["second fill"])
    with pytest.raises(RequestError, match=r"write \[\[filling\]\]"):
        surge.fill_lines(CASES / "crude-sea-line.toml")
    result = CliRunner().invoke(main, ["filling", str(CASES / "crude-sea-line.toml")])
    assert result.exit_code == 2
    assert "no filling" in result.output


@pytest.mark.slow
def test_the_command_ends_with_the_verdict_of_the_fillings(tmp_path: Path) -> None:
    text = CASE.read_text(encoding="utf-8").replace('rate = "100 m3/h"\ngas', 'rate = "400 m3/h"\ngas')
    path = tmp_path / "fast.toml"
    path.write_text(text, encoding="utf-8")
    result = CliRunner().invoke(
        main, ["filling", str(path), "--json", "--filling", "first fill of the deck line"]
    )
    assert result.exit_code == 3
    made = json.loads(result.stdout)
    assert made["verdict"] == "limit exceeded"
    assert any("1 m/s: not met" in words for words in made["fillings"][0]["rulings"])
