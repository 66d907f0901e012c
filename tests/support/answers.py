"""The demo cases of ``cases/`` and what the program answers to them, each computed once a session."""

from __future__ import annotations

import functools
from pathlib import Path

from support.oracles.demo_cases import Oracle
from surge.api.check import check
from surge.case.file import Case, load_case
from surge.rules.assess import Assessment
from surge.rules.findings import EXCEEDED, WITHIN, Finding
from surge.transient.result import Extreme, ScenarioResult

CASES = Path(__file__).parents[1].parent / "cases"
VERDICTS = {
    "benzene-by-names-and-sizes": WITHIN,
    "crude-sea-line": EXCEEDED,
    "gas-oil-release-coupling": EXCEEDED,
    "gasoline-drop-lines": WITHIN,
    "gasoline-through-cargo-pumps": EXCEEDED,
    "kerosene-shutdown-linked-and-not": EXCEEDED,
    "methanol-closed-branches": EXCEEDED,
    "restart-into-a-shut-deck-line": WITHIN,
    "shore-line-of-unknown-length": WITHIN,
}
# The oracle reads a file by itself; figures that the program takes from its tables it does not know.
BY_FIGURES = [name for name in VERDICTS if name != "benzene-by-names-and-sizes"]


@functools.cache
def case(name: str) -> Case:
    return load_case(CASES / f"{name}.toml")


@functools.cache
def answer(name: str) -> Assessment:
    return check(case(name))


@functools.cache
def oracle(name: str) -> Oracle:
    made = Oracle(CASES / f"{name}.toml")
    for line in made.lines:
        if isinstance(line["length"], list):
            line["length"] = line["length"][1]
    return made


def run_of(name: str, scenario: str) -> ScenarioResult:
    return next(r for r in answer(name).scenarios if r.name == scenario)


def peak_at(run: ScenarioResult, point: str) -> Extreme:
    return next(p.highest for p in run.places if p.name == point)


def peak_in(run: ScenarioResult, element: str) -> Extreme:
    return next(e.highest for e in run.elements if e.name == element)


def steady_at(run: ScenarioResult, point: str) -> float:
    return next(p.steady for p in run.places if p.name == point)


def findings_in(name: str, scenario: str) -> list[Finding]:
    return [f for f in answer(name).findings if f.scenario == scenario]
