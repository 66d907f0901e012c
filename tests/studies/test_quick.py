"""Quick looks: made fast, and to the last bit what a single march and a case read anew give."""

from __future__ import annotations

from pathlib import Path

import pyarrow.parquet as pq
import pytest
from support.studies import HEAD, RATE, SAMPLES, SPEED, STOP, loaded, written

import surge
from surge.api.study import run_study
from surge.case.file import CaseSeries, read_case
from surge.errors import CaseError
from surge.hydraulics.fixed import at_shares, scenario_at
from surge.model.ranges import usual_shares
from surge.studies.lineups import template
from surge.studies.plan import plan_of
from surge.studies.work import run_chunk
from surge.transient.quick import quick_look
from surge.transient.run import simulate

CASES = Path(__file__).parents[2] / "cases"
LEVEL = """
[[uncertain]]
name = "level"
key = 'tank "shore tank": level'
distribution = "uniform"
low = "78 m"
high = "82 m"
"""
EVENT = """
[[uncertain]]
name = "stroke"
stroke_of = "throttle"
factor = true
distribution = "uniform"
low = 0.9
high = 1.1
"""
HEIGHT = """
[[uncertain]]
name = "height"
key = 'point "line inlet": elevation'
distribution = "uniform"
low = "0.5 m"
high = "1.5 m"
"""
SMOOTH = """
[[uncertain]]
name = "loss"
key = 'pipe "line": minor_loss'
distribution = "uniform"
low = 0
high = 2
"""
GENTLE = STOP.replace('law = "step"', 'stroke = "4 s"').replace(
    '"line inlet" = { same_elevation_as = "tank outlet" }', '"line inlet" = { elevation = "1 m" }'
)


@pytest.mark.parametrize(
    "name",
    # A pump that trips, a drum, a free outfall, a non-return valve and branches at rest.
    ["gas-oil-two-pumps-one-trips", "naphtha-surge-drum", "restart-into-a-shut-deck-line"],
)
def test_a_quick_look_has_the_extremes_of_a_single_march(name: str) -> None:
    lineup = surge.load_case(CASES / f"{name}.toml").lineup
    fixed = at_shares(lineup, usual_shares(lineup))
    for one in lineup.scenarios:
        scenario = scenario_at(one, lineup, fixed)
        whole, quick = simulate(fixed, scenario, quick=True), quick_look(fixed, scenario)
        assert quick.elements == whole.elements
        assert quick.places == whole.places
        assert quick.undecided == whole.undecided
        assert quick.method == whole.method


def test_a_case_of_a_series_is_that_of_its_text(tmp_path: Path) -> None:
    """Figures in a list of tables, under a name, inside an event and in a table of its own."""
    rate = '[[uncertain]]\nname = "rate"\nkey = "rate: agreed"\ndistribution = "normal"\n'
    rate += 'mean = "300 m3/h"\nstandard_deviation = "15 m3/h"\n'
    text = HEAD + SAMPLES + SPEED + LEVEL + EVENT + HEIGHT + SMOOTH + rate
    study = loaded(tmp_path, text, case=GENTLE)
    chunk = next(plan_of(study).some(iter([0])))
    made = template(study, 0)
    series = CaseSeries("stop.toml", [slot.path for slot in made.slots])
    for figures in chunk.figures.tolist():
        case = made.text(figures)
        got, true = series.read(case, made.values(figures)), read_case(case, filename="stop.toml")
        assert got.lineup == true.lineup
        assert (got.file, got.show, got.bands) == (true.file, true.show, true.bands)
    assert got.lineup.points_by_name["line inlet"].elevation == pytest.approx(figures[3], abs=1e-8)
    assert len({slot.path for slot in made.slots}) == 6


def test_a_figure_that_a_case_refuses_is_refused_in_a_series(tmp_path: Path) -> None:
    made = template(loaded(tmp_path, HEAD + SAMPLES + SPEED), 0)
    series = CaseSeries("stop.toml", [slot.path for slot in made.slots])
    # Out of all bounds; faster than in the free liquid.
    for speed in (1000.0, 1e6, 1450.0, 1520.0, 1000.0):
        text = made.text([speed])
        if speed in (1e6, 1520.0):
            with pytest.raises(CaseError) as true:
                read_case(text, filename="stop.toml")
            with pytest.raises(CaseError) as found:
                series.read(text, made.values([speed]))
            assert found.value.faults == true.value.faults
        else:
            assert (
                series.read(text, made.values([speed])).lineup == read_case(text, filename="stop.toml").lineup
            )


def test_the_worst_quick_look_is_that_of_its_own_case_file(tmp_path: Path) -> None:
    """To the last bit: alone, in another study, as the first of its chunk or behind others."""
    answer = run_study(written(tmp_path, HEAD + SAMPLES + RATE + SPEED), into=tmp_path / "results")
    worst = answer.summary.worst
    assert worst is not None
    assert worst.run > 12  # of the second line-up, and not the first of it
    row = pq.read_table(answer.into / "runs").to_pylist()[worst.run]
    (tmp_path / "again").mkdir()
    case = (answer.into / "worst.toml").read_text(encoding="utf-8")
    alone = loaded(tmp_path / "again", HEAD + RATE.replace('"280 m3/h", ', ""), case=case)
    again = run_chunk(alone, next(plan_of(alone).some(iter([0]))))
    for name in ("look", "peak_pa_gauge", "lowest_pa_gauge", "used", "peak_margin_pa", "case_sha256"):
        assert again[name] == [row[name]], name
