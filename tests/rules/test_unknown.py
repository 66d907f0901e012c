"""A fact that the case leaves out never makes a required rule milder: every required rule, fact by fact."""

from __future__ import annotations

import random
from collections.abc import Callable
from dataclasses import dataclass, replace
from datetime import date, timedelta
from typing import Any

import pytest
from support.lineups.berth import spoilt
from support.rulings import (
    BAR,
    HOSE,
    bare,
    case,
    charged,
    quick_run,
    rated,
    rule_all,
    shut,
    shutdown,
    ullage,
)

from surge.model.lineup import Berth, Limits, LineUp, Scenario, Supply
from surge.rules.book import RuleBook
from surge.rules.findings import UNDECIDED, WITHIN, findings_of, worst_of
from surge.rules.limits import place_limits
from surge.rules.reading import built_in
from surge.rules.rulings import NOT_APPLICABLE, NOT_CHECKED, rule_on
from surge.rules.static import static_findings

SEVERITY = {WITHIN: 0, UNDECIDED: 1, "limit exceeded": 2}
STRICT = "held with its strictest figure"
OPEN = "cannot be decided"
DEFAULT = "the reader of the case takes the strictest figure"
OTHER = "shown by another rule"
NOT_ASKED = "not asked: listed, does not count"

# Required rule -> each fact that it needs besides what every case has to give -> what happens without it.
TABLE: dict[str, dict[str, str]] = {
    "static-pressure": {"rating": OTHER, "shut_off_pressure": OPEN},
    "hose-static-pressure": {"rating": OTHER, "shut_off_pressure": OTHER},
    "steady-pressure": {"rating": OTHER},
    "peak-pressure": {"rating": OPEN, "allowance": DEFAULT},
    # No test pressure lies below its rating (such a case is refused): without one, a peak within the rating
    # is within it, and a peak above the rating cannot be decided.
    "peak-test-pressure": {"test_pressure": OTHER},
    "pump-top": {"cargo_pump_top": STRICT},
    "place-limit": {},  # the limit is the fact
    # A hose takes no vacuum unless its certificate says so. Parts of metal are taken to bear one.
    "lowest-pressure": {"lowest_pressure": DEFAULT},
    "vapour-pressure": {},
    "valid-run": {},
    "stop-flow-time": {"shutdown": NOT_ASKED, "first_transfer": STRICT, "cargo": STRICT},
    "stop-flow-time-old-berth": {"shutdown": NOT_ASKED, "first_transfer": OTHER},
    "stop-flow-time-hazardous": {"shutdown": NOT_ASKED, "first_transfer": STRICT},
    "stop-flow-time-hazardous-old-berth": {"shutdown": NOT_ASKED, "first_transfer": OTHER},
    "total-shutdown-time": {"shutdown": NOT_ASKED},
    "overfill-time": {"shutdown": OPEN, "ullage": OPEN},
    "start-velocity": {"static_accumulator": STRICT, "stage": STRICT},
    "bulk-velocity": {"static_accumulator": STRICT},
    "hose-test-pressure": {"test_pressure": OPEN},
    "arm-test-pressure": {"test_pressure": OPEN},
    "hose-burst-static": {"burst_pressure": OPEN, "rating": OPEN, "shut_off_pressure": OPEN},
    "hose-test-interval": {"tested": OPEN, "transfer": OPEN},
}


def test_the_table_speaks_of_every_required_rule() -> None:
    assert list(TABLE) == [r.id for r in built_in().rules if r.required]


# Facts that tell whether a rule applies: leaving one out is as saying that it does


@dataclass(frozen=True, kw_only=True)
class Fact:
    """How a case is made with a fact that says yes or no, and without it."""

    rules: tuple[str, ...]
    make: Callable[[random.Random, Any], LineUp]
    yes: Any
    no: Any
    out: Any


def _stages(rng: random.Random) -> Scenario:
    return replace(case().scenarios[0], stage=rng.choice(("start", "bulk", "")))


def _accumulator(rng: random.Random, answer: bool | None) -> LineUp:
    return charged(case(_stages(rng)), answer)


def _stage(rng: random.Random, stage: str) -> LineUp:
    return charged(case(replace(case().scenarios[0], stage=stage)), rng.choice((True, None)))


def _shut_in(rng: random.Random, berth: Berth) -> LineUp:
    stroke = rng.choice((10.0, 26.0, 28.0, 40.0, 56.0, 70.0))
    return case(shutdown(shut("manifold valve", 8.0, stroke, side="ship")), berth=berth)


def _berth(rng: random.Random, first: date | None) -> LineUp:
    return _shut_in(rng, Berth(first_transfer=first))


def _hazardous_berth(rng: random.Random, first: date | None) -> LineUp:
    return _shut_in(rng, Berth(first_transfer=first, hazardous=True))


def _cargo(rng: random.Random, hazardous: bool) -> LineUp:
    first = date(1970, 1, 1) + timedelta(days=rng.randint(0, 12_000))
    return _shut_in(rng, Berth(first_transfer=rng.choice((first, None)), hazardous=hazardous))


NEW, OLD = date(2001, 1, 1), date(1975, 1, 1)
OILS = ("stop-flow-time", "stop-flow-time-old-berth")
HAZARDOUS = ("stop-flow-time-hazardous", "stop-flow-time-hazardous-old-berth")
FACTS = {
    "static_accumulator": Fact(
        rules=("start-velocity", "bulk-velocity"), make=_accumulator, yes=True, no=False, out=None
    ),
    "stage": Fact(rules=("start-velocity",), make=_stage, yes="start", no="bulk", out=""),
    "first_transfer": Fact(rules=OILS, make=_berth, yes=NEW, no=OLD, out=None),
    "first_transfer, hazardous": Fact(rules=HAZARDOUS, make=_hazardous_berth, yes=NEW, no=OLD, out=None),
    # A case that does not say "hazardous material" is read as oil.
    "cargo": Fact(rules=(*OILS, *HAZARDOUS), make=_cargo, yes=False, no=True, out=False),
}


def severity(lineup: LineUp, rules: tuple[str, ...], rate: float) -> int:
    """What some rules make of a case: 0 kept, 1 cannot be decided, 2 not kept."""
    book = RuleBook(rules=tuple(r for r in built_in().rules if r.id in rules))
    return max(SEVERITY[r.verdict] for r in rule_all(lineup, book=book, rate=rate))


@pytest.mark.parametrize("name", FACTS)
def test_leaving_a_fact_out_is_never_milder_than_saying_that_the_rule_applies(name: str) -> None:
    fact = FACTS[name]
    seen: set[tuple[int, int, int]] = set()
    for seed in range(25):
        rate = random.Random(seed).choice((0.02, 0.04, 0.06, 0.3, 0.4))
        yes, no, out = (
            severity(fact.make(random.Random(seed), answer), fact.rules, rate)
            for answer in (fact.yes, fact.no, fact.out)
        )
        assert out >= max(yes, no), (name, seed)
        seen.add((yes, no, out))
    assert len(seen) > 1, "nothing was ever broken: the test sees nothing"


# Figures that a rule holds or is held against: leaving one out decides nothing


def _hose(**changes: Any) -> LineUp:
    return rated(case(), **(HOSE | changes))


def _arm(test: float | None) -> LineUp:
    limits = Limits(rating=16 * BAR, test_pressure=test)
    return spoilt("pipes", 2, case(), kind="arm", limits=limits)


def _ullage(volume: float | None) -> LineUp:
    return ullage(case(shutdown(shut("manifold valve", 8.0, 20.0, side="ship"))), volume)


def _supplied(shut_off: float | None) -> LineUp:
    lineup = case()
    point = lineup.tanks[0].point
    supply = Supply(name="terminal", point=point, pressure=3 * BAR, shut_off=shut_off)
    return lineup.with_(tanks=lineup.tanks[1:], supplies=(supply,))


DAY = date(2026, 6, 1)
FIGURES: dict[str, tuple[Callable[[Any], LineUp], tuple[Any, ...]]] = {
    "hose-test-pressure: test_pressure": (lambda v: _hose(test_pressure=v), (23 * BAR, 24 * BAR)),
    "arm-test-pressure: test_pressure": (_arm, (23 * BAR, 24 * BAR)),
    "hose-burst-static: burst_pressure": (lambda v: _hose(burst=v), (17 * BAR, 80 * BAR)),
    "hose-burst-static: shut_off_pressure": (_supplied, (4 * BAR, 30 * BAR)),
    "hose-burst-static: rating": (lambda v: _hose(rating=v), (10 * BAR, 16 * BAR)),
    "hose-test-interval: tested": (lambda v: _hose(tested=v), (date(2024, 1, 1), date(2026, 1, 1))),
    "hose-test-interval: transfer": (
        lambda v: case(berth=Berth(transfer=v)),
        (DAY, date(2028, 1, 1)),
    ),
    "overfill-time: ullage": (_ullage, (0.1, 1000.0)),
    "static-pressure: shut_off_pressure": (_supplied, (4 * BAR, 30 * BAR)),
}


@pytest.mark.parametrize("name", FIGURES)
def test_a_figure_left_out_cannot_be_decided_and_one_line_says_what_to_write(name: str) -> None:
    rule_id, key = name.split(": ")
    make, figures = FIGURES[name]
    book = RuleBook(rules=tuple(r for r in built_in().rules if r.id == rule_id))
    given = [rule_all(make(figure), book=book) for figure in figures]
    assert all(r.outcome not in (NOT_APPLICABLE, NOT_CHECKED) for rulings in given for r in rulings)
    (left_out,) = [r for r in rule_all(make(None), book=book) if r.verdict != WITHIN]
    assert left_out.verdict == UNDECIDED
    assert key in left_out.to_write
    assert "\n" not in left_out.to_write


@pytest.mark.parametrize("part", [0, 1, 2])
def test_a_part_without_a_rating_cannot_be_decided(part: int) -> None:
    lineup = spoilt("pipes", part, case(), limits=Limits())
    findings = (*static_findings(lineup), *findings_of(lineup, quick_run()))
    rulings = rule_on(lineup, book=built_in(), runs=[quick_run()], findings=findings)
    verdict = worst_of(r.verdict for r in rulings if r.rule.id == "peak-pressure")
    assert verdict == UNDECIDED


def test_a_cargo_pump_without_a_marked_top_keeps_the_limit_at_its_ends() -> None:
    lineup = spoilt("passages", 0, case(), kind="cargo pump")
    pump = lineup.passages[0]
    held = {p.name for p in lineup.points if place_limits(lineup, p)}
    assert held == {pump.start, pump.end} - {t.point for t in lineup.tanks}
    assert held
    (limit,) = place_limits(lineup, lineup.points_by_name[pump.start])
    assert "write cargo_pump_top = true" in limit.source
    for k, point in enumerate(lineup.points):
        if point.name == "deck":  # where pipes lead to the pump
            marked = spoilt("points", k, lineup, pump_top=True)
            assert {p.name for p in marked.points if place_limits(marked, p)} == {"deck"}


# What is shown to the officer


def test_without_any_fact_every_rule_that_lacks_one_says_what_to_write() -> None:
    rulings = rule_all(bare(shutdown(shut("manifold valve", 8.0, 20.0, side="ship"))), rate=0.4)
    writes = {r.rule.id: r.to_write for r in rulings if r.verdict != WITHIN}
    asked = {
        "overfill-time": "ullage",
        "start-velocity": "static_accumulator",
        "bulk-velocity": "static_accumulator",
        "hose-test-pressure": "test_pressure",
        "hose-burst-static": "burst_pressure",
        "hose-test-interval": "tested",
    }
    assert set(writes) == set(asked)
    for rule_id, key in asked.items():
        assert f"write {key}" in writes[rule_id], writes


def test_with_every_fact_nothing_is_left_open() -> None:
    rulings = rule_all(case(shutdown(shut("manifold valve", 8.0, 20.0, side="ship"))))
    assert worst_of(r.verdict for r in rulings) == WITHIN
    assert not [r for r in rulings if r.rule.required and r.to_write]
