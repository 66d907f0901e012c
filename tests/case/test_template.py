"""Cases that ``surge new`` writes for so many arms and tanks: all load, all flow, a few are judged."""

from __future__ import annotations

import itertools
from collections.abc import Iterator

import pytest
from click.testing import CliRunner
from hypothesis import given, settings
from hypothesis import strategies as st

import surge
from surge.case.file import Case, read_case, starter_case
from surge.case.template import MOST_ARMS, MOST_TANKS, template_case
from surge.choices import Through, words_of
from surge.cli.main import main
from surge.hydraulics.fixed import at_shares
from surge.hydraulics.steady import steady_state
from surge.model.lineup import LineUp
from surge.model.ranges import ranges_of
from surge.reference.liquids import cargoes
from surge.reference.stopped_pumps import stopped_pump
from surge.rules.findings import EXIT_CODE
from surge.search.movers import moved_together

WAYS = words_of(Through)


def made(arms: int, tanks: int, through: Through, cargo: str = "gas oil") -> Case:
    text = template_case(arms=arms, tanks=tanks, through=through, cargo=cargo)
    assert max(len(line.split("#")[0].rstrip()) for line in text.splitlines()) < 1000
    return read_case(text, filename="berth.toml")


def corners(lineup: LineUp) -> Iterator[LineUp]:
    """The line-up with all ranges at their low ends, and at their high ones; every Kv at its low end."""
    ranges = ranges_of(lineup)
    for end in (0.0, 1.0):
        yield at_shares(lineup, [0.0 if r.quantity == "Kv" else end for r in ranges])


@pytest.mark.parametrize(("arms", "tanks", "through"), list(itertools.product((1, 2, 3), (1, 2, 3, 4), WAYS)))
def test_every_small_berth_loads_and_has_all_its_parts(arms: int, tanks: int, through: Through) -> None:
    lineup = made(arms, tanks, through).lineup
    assert sum(p.kind == "arm" for p in lineup.pipes) == arms
    assert sum(t.side == "ship" for t in lineup.tanks) == tanks
    assert sum(v.group == "manifold valves" for v in lineup.valves) == (arms if arms > 1 else 0)
    assert len(lineup.passages) == (tanks if through == "pumps" else 0)
    assert sum(p.pump_top for p in lineup.points) == (tanks if through == "pumps" else 0)
    assert {s.stage for s in lineup.scenarios} == {"start", "bulk", "topping off"}
    assert any(s.ordered is not None for s in lineup.scenarios)
    for one in corners(lineup):
        for scenario in one.scenarios:
            steady_state(one, scenario)


@settings(max_examples=10, deadline=None, derandomize=True)
@given(
    arms=st.integers(1, MOST_ARMS),
    tanks=st.integers(1, MOST_TANKS),
    through=st.sampled_from(WAYS),
    cargo=st.sampled_from(list(cargoes())),
)
def test_every_combination_loads_and_its_rates_can_be_reached(
    arms: int, tanks: int, through: Through, cargo: str
) -> None:
    one = next(corners(made(arms, tanks, through, cargo).lineup))
    steady_state(one, next(s for s in one.scenarios if s.stage == "bulk"))


@pytest.mark.parametrize("cargo", list(cargoes()))
def test_every_cargo_can_be_loaded(cargo: str) -> None:
    lineup = made(2, 4, "drop lines", cargo).lineup
    one = next(corners(lineup))
    steady_state(one, lineup.scenarios[0])


@pytest.mark.slow
@pytest.mark.parametrize(("through", "cargo"), [("drop lines", "gas oil"), ("pumps", "toluene")])
def test_the_berth_of_two_arms_and_four_tanks_keeps_every_limit(through: Through, cargo: str) -> None:
    answer = surge.check(made(2, 4, through, cargo))
    assert answer.exit_code == EXIT_CODE["limit kept"]
    assert answer.gauge.outcome == "not compared"
    assert not answer.broken


def test_its_manifold_valves_share_a_stroke_in_every_search() -> None:
    lineup = made(2, 4, "drop lines").lineup
    both = ("manifold valve 1", "manifold valve 2")
    adjustable = [v.name for v in lineup.valves if v.adjustable]
    assert adjustable == ["berth ESD valve", *both]
    closing = [s for s in lineup.scenarios if any(m.valve in both for m in s.moves)]
    assert {s.stage for s in closing} == {"start", "bulk", "topping off"}
    for scenario in closing:
        assert moved_together(lineup, scenario, both[0], adjustable, opens=False) == both


def test_a_stopped_pump_gets_a_range_with_its_source_and_never_a_silent_figure() -> None:
    lineup = made(1, 2, "pumps").lineup
    for passage in lineup.passages:
        assert passage.kv_range is not None
        assert passage.kv_range[0] < passage.kv < passage.kv_range[1]
        told = [a for a in lineup.assumed if a.subject == passage.name]
        assert [a.quantity for a in told] == ["Kv of the stopped pump"]
        assert "Donsky" in told[0].source
        assert "common practice, no source" in told[0].source
    assert {r.subject for r in ranges_of(lineup) if r.quantity == "Kv"} == {p.name for p in lineup.passages}


def test_kv_of_a_stopped_pump_by_hand() -> None:
    # 0.69 of 125 m of water is 8.46 bar: 300 m3/h through it is a Kv of 300 / sqrt(8.46) = 103.
    low, usual, high = stopped_pump(flow=300.0, head=125.0)
    assert usual == pytest.approx(103.1, abs=0.1)
    assert (low / usual) ** 2 == pytest.approx(0.69)
    assert (high / usual) ** 2 == pytest.approx(0.69 / 0.4)


def test_the_range_of_a_stopped_pump_is_judged_by_its_worst() -> None:
    # The low Kv asks for the highest pressure at the top of the pump: that is what the case is judged by.
    case = made(1, 1, "pumps", "toluene")
    scenario = next(s for s in case.lineup.scenarios if s.stage == "topping off")
    lineup = case.lineup.with_(scenarios=(scenario,))
    (passage,) = lineup.passages
    assert passage.kv_range is not None
    answer = surge.check(lineup)
    top = next(p for p in answer.scenarios[0].places if p.name == "1P top")
    low = at_shares(lineup, [0.0])
    heads = steady_state(low, low.scenarios[0]).head
    worst = (heads["1P top"] - 8.0) * low.liquid.density * low.gravity
    assert worst <= top.steady + top.steady_range < 1.3 * worst


# Through the door and the command line


def run(*words: str) -> tuple[int, str]:
    result = CliRunner().invoke(main, ["new", *words])
    return result.exit_code, result.output


def test_without_a_wish_it_is_the_starter_case() -> None:
    assert surge.new_case() == starter_case()
    assert run("-") == (0, starter_case())


def test_the_command_writes_what_the_door_gives() -> None:
    text = surge.new_case(arms=2, tanks=4, through="pumps", cargo="gas oil")
    assert run("-", "--arms", "2", "--tanks", "4", "--through", "pumps", "--cargo", "gas oil") == (0, text)
    assert surge.new_case(tanks=1) == surge.new_case(arms=1, tanks=1, through="drop lines", cargo="gas oil")


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("--tanks", "0"), "--tanks 0: write 1 to 24"),
        (("--tanks", "100"), "--tanks 100: write 1 to 24"),
        (("--arms", "0"), "--arms 0: write 1 to 8"),
        (("--arms", "9"), "copy an arm and its valve"),
        (("--through", "hatch"), "write one of drop lines, pumps"),
        (("--cargo", "gasoyl"), "did you mean gas oil"),
        (("--cargo", "zzzz"), "surge list liquids"),
    ],
)
def test_what_cannot_be_written_is_refused_with_what_to_write(words: tuple[str, ...], said: str) -> None:
    code, output = run("-", *words)
    assert code == 2
    assert said in output
    assert "schema" not in output


@pytest.mark.parametrize(
    ("keys", "key", "said"),
    [
        ('rated_flow = "350 m3/h"', "rated_flow", "rated_head"),
        ('rated_head = "110 m"', "kv", "rated_flow"),
        ('kv = "100 m3/h"\nrated_flow = "350 m3/h"\nrated_head = "110 m"', "rated_flow", "take kv"),
    ],
)
def test_the_rated_point_of_a_stopped_pump_is_whole_and_alone(keys: str, key: str, said: str) -> None:
    text = template_case(arms=1, tanks=1, through="pumps", cargo="gas oil")
    begin, end = text.index("rated_flow ="), text.index("# ---- Scenarios")
    with pytest.raises(surge.CaseError) as caught:
        read_case(f"{text[:begin]}{keys}\n\n{text[end:]}", filename="berth.toml")
    told = [f for f in caught.value.faults if f.path[:2] == ("passage", 0)]
    assert key in {f.path[-1] for f in told}
    assert any(said in f"{f.expected} {f.remedy}" for f in told)
