"""A small, fixed part of the hunt for pressures put too low (``tests/benchmarks/hunt.py``)."""

from __future__ import annotations

from dataclasses import replace

import pytest
from support.lineups.networks import network
from support.lineups.yards import KINDS, yard
from support.oracles.fine_runs import Default, against_finer, against_longer, against_slow
from support.oracles.missed import COVERED, Missed, covered, line_of, table_of
from support.oracles.verdicts import CLASSES, assessed, wrongly_kept

from surge.model.validation import checked
from surge.rules.findings import WITHIN
from surge.transient import plan
from surge.transient.result import ElementResult, PlaceResult
from surge.transient.run import simulate

pytestmark = pytest.mark.slow

SIZE = 0.05  # short shore lines: the same elements, a small part of the work
# Of all kinds, sudden and gradual, settled and not, such as take little work.
SEEDS = (1168, 1284, 171, 785, 213, 386, 1274, 1314, 762, 1021, 205, 550, 395)
OWN = 1e7  # effort of one march of the run itself, and of another march here
WORK = 4e8
SLOW = (1274,)  # goes to the slow solver too


class Hunted:
    """One line-up, its run, and what other calls say of it."""

    def __init__(self, seed: int) -> None:
        lineup, scenario = yard(seed, size=SIZE)
        self.result = simulate(lineup, scenario, most_effort=OWN)
        self.answer = assessed(lineup, scenario, self.result)
        run = Default(seed=seed, lineup=lineup, scenario=scenario, result=self.result)
        self.finer = against_finer(run, 4, most=WORK)
        self.longer = against_longer(run, most=WORK)
        slow = against_slow(run, cells=60) if seed in SLOW else None
        self.found = [m for call in (self.finer, self.longer, slow) for m in call or []]


@pytest.fixture(scope="module")
def hunted() -> dict[int, Hunted]:
    return {seed: Hunted(seed) for seed in SEEDS}


@pytest.fixture(scope="module")
def found(hunted: dict[int, Hunted]) -> list[Missed]:
    return [m for one in hunted.values() for m in one.found]


def test_the_line_ups_are_of_every_kind_and_obey_the_rules() -> None:
    assert {KINDS[s % len(KINDS)] for s in SEEDS} == set(KINDS)
    for seed in range(66):
        lineup, scenario = yard(seed, size=SIZE)
        # The air is heavy there, so that nothing boils.
        assert checked(lineup.with_(scenarios=(scenario,), atmosphere=101325.0))


def test_every_call_was_made(hunted: dict[int, Hunted], found: list[Missed]) -> None:
    assert all(one.finer and one.longer for one in hunted.values())
    assert {m.seed for m in found if m.against == "slow"}
    assert {m.sudden for m in found} == {m.settled for m in found} == {True, False}
    verdicts = {one.answer.verdict for one in hunted.values()}
    assert WITHIN in verdicts
    assert len(verdicts) == 3


def test_no_limit_is_told_as_kept_that_another_call_exceeds(hunted: dict[int, Hunted]) -> None:
    wrong = [(f, line_of(m)) for one in hunted.values() for f, m in wrongly_kept(one.answer, one.found)]
    assert not wrong, wrong


def test_no_settled_peak_is_put_too_low(found: list[Missed]) -> None:
    """A run that says that it has not settled gives every pressure its greatest error instead."""
    breaches = [m for m in found if m.breach and m.settled]
    assert not breaches, "\n".join(line_of(m) for m in breaches)


@pytest.mark.parametrize("against", ["step", "long", "slow"])
def test_errors_cover_the_differences(against: str, found: list[Missed]) -> None:
    mine = [m for m in found if m.against.startswith(against)]
    assert covered(mine) >= COVERED, "\n".join(line_of(m) for m in mine if m.outside)


def test_gradual_strokes_settle_with_more_work(monkeypatch: pytest.MonkeyPatch) -> None:
    """Short elements beside long ones: with less work than it may take this one would be left unsettled."""
    lineup, scenario = network(3033)
    settled = simulate(lineup, scenario).method
    assert settled.worst_error <= settled.tolerance
    taken = settled.nodes * settled.steps
    monkeypatch.setattr(plan, "MOST_EFFORT_GRADUAL", taken / 2)
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
    """A bar taken off every reported pressure: the finer march sees it, and limits that are kept no more."""
    lineup, scenario = yard(171, size=SIZE)
    result = simulate(lineup, scenario, most_effort=OWN)

    def lower(item: PlaceResult | ElementResult) -> PlaceResult | ElementResult:
        return replace(item, highest=replace(item.highest, pressure=item.highest.pressure - 2.0 * CLASSES))

    low = replace(
        result,
        places=tuple(lower(p) for p in result.places),
        elements=tuple(lower(e) for e in result.elements),
    )
    run = Default(seed=171, lineup=lineup, scenario=scenario, result=low)
    found = against_finer(run, 4, most=WORK) or []
    assert any(m.breach for m in found)
    assert wrongly_kept(assessed(lineup, scenario, low), found)


def test_the_table_tells_every_group(found: list[Missed]) -> None:
    text = "\n".join(table_of(found))
    for word in ("step: all", "slow: all", "long: sudden, not settled", "step: tree", "long: loop"):
        assert word in text
