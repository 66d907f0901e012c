"""The text of a case with other values: what is fitted is what is written, and the rest stays."""

from __future__ import annotations

import tomllib

import pytest
from support import records
from support.demos import CASES

from surge.case.file import Case, load_case, read_case
from surge.fitting.copy import fitted_text
from surge.fitting.figures import (
    ALL,
    INERTIA,
    KV,
    MINOR_LOSS,
    ROUGHNESS,
    RUN_DOWN,
    START,
    STROKE,
    WAVE_SPEED,
    FittedText,
    figures_of,
)

MANIFOLD = {STROKE: ["manifold valve"]}


def of(case: Case, scenario: int, asked: dict[str, list[str]]) -> FittedText:
    return FittedText(case, figures_of(case, case.lineup.scenarios[scenario], asked))


@pytest.mark.parametrize("name", sorted(p.stem for p in CASES.glob("*.toml")))
def test_every_demo_can_be_written_with_its_own_figures(name: str) -> None:
    """With the figures that it has a demo is marched alike: same pipes, valves and movements."""
    case = load_case(CASES / f"{name}.toml")
    lineup = case.lineup
    for scenario in lineup.scenarios:
        valves = list(dict.fromkeys(m.valve for m in scenario.moves if m.law[-1][0] > 0.0))
        asked = {
            WAVE_SPEED: [p.name for p in lineup.pipes],
            ROUGHNESS: [p.name for p in lineup.pipes],
            KV: [v.name for v in (*lineup.valves, *lineup.passages)],
            STROKE: [v for v in valves if [m.valve for m in scenario.moves].count(v) == 1],
            RUN_DOWN: [m.pump for m in scenario.pump_moves],
            START: [v for v in valves if [m.valve for m in scenario.moves].count(v) == 1],
            INERTIA: [t.pump for t in scenario.trips],
        }
        text = FittedText(case, figures_of(case, scenario, asked))
        own = [f.value for f in text.figures]
        again = read_case(text.text(own), filename=name).lineup
        found = next(s for s in again.scenarios if s.name == scenario.name)
        for before, after in zip(lineup.pipes, again.pipes, strict=True):
            assert after.wave_speed == pytest.approx(before.wave_speed, rel=1e-9)
            assert after.roughness == pytest.approx(before.roughness, rel=1e-9, abs=1e-12)
        for one, other in zip(lineup.valves, again.valves, strict=True):
            assert other.kv == pytest.approx(one.kv, rel=1e-9)
        for m, n in zip(scenario.moves, found.moves, strict=True):
            assert n.start == pytest.approx(m.start, abs=1e-9)
            assert [t for t, _ in n.law] == pytest.approx([t for t, _ in m.law], abs=1e-9)


def test_a_stroke_is_stretched_with_its_break_and_its_table() -> None:
    text = records.BERTH.read_text(encoding="utf-8")
    two_stage = text.replace(
        'stroke = "12 s"', 'law = "two-stage"\nstroke = "12 s"\nbreak_opening = 0.3\nbreak_time = "6 s"'
    )
    table = text.replace(
        'stroke = "12 s"', 'law = "table"\ntable = [["0 s", 1.0], ["8 s", 0.2], ["12 s", 0.0]]'
    )
    for one, times in ((two_stage, [0.0, 7.5, 15.0]), (table, [0.0, 10.0, 15.0])):
        case = read_case(one, filename="x.toml")
        made = read_case(of(case, 0, MANIFOLD).text([15.0]), filename="x.toml")
        assert [t for t, _ in made.lineup.scenarios[0].moves[0].law] == pytest.approx(times)


def test_a_step_of_a_shutdown_begins_later_by_waiting_longer() -> None:
    case = load_case(CASES / "crude-sea-line.toml")
    text = of(case, 1, {START: ["manifold valve"]})
    (figure,) = text.figures
    moved = read_case(text.text([figure.value + 3.0]), filename="x.toml").lineup.scenarios[1]
    assert moved.moves[0].start == pytest.approx(figure.value + 3.0)
    assert figure.low == pytest.approx(figure.value)  # no earlier than the chain lets it


def test_a_wave_speed_is_sought_up_to_that_of_the_liquid() -> None:
    text = of(records.berth(), 0, {WAVE_SPEED: ["shore line", "loading arm"]})
    for figure in text.figures:
        assert figure.high <= 1.02 * records.berth().lineup.liquid.sound_speed
        read_case(text.text([f.high for f in text.figures]), filename="x.toml")


@pytest.mark.usefixtures("one_search")
def test_the_copy_keeps_comments_order_and_line_ends() -> None:
    case = read_case(records.BERTH.read_text(encoding="utf-8").replace("\n", "\r\n"), filename="berth.toml")
    trace = records.read_text(records.RECORD.read_text(encoding="utf-8"))
    asked = {WAVE_SPEED: ["shore line"], MINOR_LOSS: [ALL], STROKE: ["manifold valve"]}
    fit = records.fitted(trace, {**asked, MINOR_LOSS: ["shore line"]}, case)
    made = fitted_text(fit)
    assert made.count("\r\n") == made.count("\n")
    before, after = case.file.text.splitlines(), made.splitlines()
    added = [line for line in after if line not in before]
    assert all(line.startswith(("# ", "wave_speed", "minor_loss", "stroke")) for line in added)
    assert [line for line in before if line not in after] == [
        'wall = "8.38 mm"',
        'restraint = "anchored throughout"',
        "minor_loss = 6",
        'stroke = "12 s"',
    ]
    comments = " ".join(line.removeprefix("# ") for line in added if line.startswith("#"))
    assert 'It takes the place of wall = "8.38 mm", restraint = "anchored throughout".' in comments
    assert fit.trace.file.sha256[:16] in comments
    assert max(map(len, after)) <= 130
    data = tomllib.loads(made)
    assert float(data["scenario"][0]["event"][0]["stroke"].split()[0]) == fit.figures[2].value
