"""A small, fixed part of the hunt for pressures put too low (``tests/benchmarks/hunt.py``)."""

from __future__ import annotations

from dataclasses import replace

import pytest
from support.lineups.networks import KINDS, network
from support.oracles.fine_runs import against_finer, against_slow
from support.oracles.missed import COVERED, Missed, covered, line_of, table_of

from surge.model.validation import checked
from surge.transient import plan
from surge.transient.run import simulate

pytestmark = pytest.mark.slow

SIZE = 0.2  # short shore lines: the same elements, a small part of the work
# Of all kinds, sudden and gradual, such as take a second or less each.
SEEDS = (704, 706, 711, 718, 752, 754, 828, 860, 904, 1197)
WORK = 3e8  # nodes times steps of the finer march here


@pytest.fixture(scope="module")
def found() -> list[Missed]:
    out: list[Missed] = []
    for seed in SEEDS:
        lineup, scenario = network(seed, size=SIZE)
        result = simulate(lineup, scenario)
        out += against_finer(seed, lineup, scenario, result, most=WORK) or []
        if result.method.duration < 40.0:
            out += against_slow(seed, lineup, scenario, result, cells=60) or []
    return out


def test_the_line_ups_are_of_every_kind_and_obey_the_rules() -> None:
    assert {KINDS[s % len(KINDS)] for s in SEEDS} == set(KINDS)
    for seed in range(60):
        lineup, scenario = network(seed)
        # The air is heavy there, so that nothing boils.
        assert checked(lineup.with_(scenarios=(scenario,), atmosphere=101325.0))


def test_both_references_were_used(found: list[Missed]) -> None:
    assert len({m.seed for m in found if m.against.startswith("step")}) == len(SEEDS)
    assert len({m.seed for m in found if m.against == "slow"}) >= 2


def test_no_settled_peak_is_put_too_low(found: list[Missed]) -> None:
    """A run that says that it has not settled gives every pressure its greatest error instead."""
    breaches = [m for m in found if m.breach and m.settled]
    assert not breaches, "\n".join(line_of(m) for m in breaches)


def test_error_bars_cover_the_differences(found: list[Missed]) -> None:
    for against in ("step", "slow"):
        mine = [m for m in found if m.against.startswith(against)]
        outside = [line_of(m) for m in mine if m.outside]
        assert covered(mine) >= COVERED, "\n".join(outside)


def test_gradual_strokes_settle_with_more_work(monkeypatch: pytest.MonkeyPatch) -> None:
    """Short elements beside long ones: at the bound for sudden stops this one would be left unsettled."""
    lineup, scenario = network(3033)
    settled = simulate(lineup, scenario).method
    assert settled.worst_error <= settled.tolerance
    monkeypatch.setattr(plan, "MOST_WORK_GRADUAL", plan.MOST_WORK)
    left = simulate(lineup, scenario).method
    assert left.worst_error > left.tolerance


# The hunt itself can fail


def _missed(**changes: object) -> Missed:
    base = Missed(
        seed=1,
        kind="tree",
        against="step/8",
        what="place tee high",
        high=True,
        unsafe=0.0,
        error=1e3,
        slack=0.0,
        parts=(1.0, 2.0, 3.0),
        rise=5e5,
        settled=True,
        sudden=False,
        time=1.0,
    )
    return replace(base, **changes)  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("changes", "breach", "outside"),
    [
        ({}, False, False),
        ({"unsafe": 6e3}, True, True),
        ({"unsafe": 6e3, "slack": 2e3}, False, True),
        ({"unsafe": 6e3, "high": False}, False, True),
        ({"unsafe": -6e3}, False, True),
        ({"unsafe": 1e3, "rise": 2e4}, False, False),
        ({"unsafe": 6e3, "error": 7e3}, True, False),
    ],
)
def test_what_counts(changes: dict[str, object], breach: bool, outside: bool) -> None:
    missed = _missed(**changes)
    assert (missed.breach, missed.outside) == (breach, outside)


def test_a_peak_taken_off_is_found() -> None:
    """Two per cent of the rise taken off every reported pressure: the finer march sees it."""
    lineup, scenario = network(754, size=SIZE)
    result = simulate(lineup, scenario)
    rise = max(p.highest.pressure - p.steady for p in result.places)
    low = replace(
        result,
        places=tuple(
            replace(p, highest=replace(p.highest, pressure=p.highest.pressure - 0.02 * rise - 2500.0))
            for p in result.places
        ),
    )
    assert any(m.breach for m in against_finer(754, lineup, scenario, low, most=WORK) or [])


def test_the_table_tells_every_group(found: list[Missed]) -> None:
    text = "\n".join(table_of(found))
    for word in ("step: all", "slow: all", "step: gradual, settled", "step: tree", "step: loop"):
        assert word in text
