"""The demo cases of ``cases/``: their names, and what the program answers to each.

Tests take them from the fixture ``demos`` of the session, so that each is read and checked once.
"""

from __future__ import annotations

import functools
import os
import pickle
import tomllib
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any, TypeVar

from support.oracles.demo_cases import Oracle
from surge.api.check import check
from surge.api.inputs import rules_of_case
from surge.api.windows import WindowAnswer, find_windows
from surge.case.file import Case, load_case
from surge.rules.assess import Assessment
from surge.rules.findings import EXCEEDED, WITHIN, Finding
from surge.search.remedies import Remedies, remedies_of
from surge.transient.result import Extreme, ScenarioResult

T = TypeVar("T")
CASES = Path(__file__).parents[2] / "cases"
VERDICTS = {
    "benzene-by-names-and-sizes": WITHIN,
    "condensate-over-a-bridge": WITHIN,
    "crude-sea-line": EXCEEDED,
    "gas-oil-discharge-two-pumps": WITHIN,
    "gas-oil-first-fill": WITHIN,
    "gas-oil-release-coupling": EXCEEDED,
    "gas-oil-two-pumps-one-trips": EXCEEDED,
    "gasoline-drop-lines": WITHIN,
    "gasoline-through-cargo-pumps": EXCEEDED,
    "kerosene-relief-valve": WITHIN,
    "kerosene-shutdown-linked-and-not": EXCEEDED,
    "methanol-closed-branches": EXCEEDED,
    "naphtha-surge-drum": WITHIN,
    "restart-into-a-shut-deck-line": WITHIN,
    "shore-line-of-unknown-length": WITHIN,
}
# The oracle reads a file by itself; figures that the program takes from its tables it does not know.
BY_FIGURES = [name for name in VERDICTS if name != "benzene-by-names-and-sizes"]


class Demo:
    """A demo case; what is asked of it is computed once, by whichever of the test processes asks first.

    Parameters
    ----------
    name : str
    shared : Path
        Folder in which the processes of a session leave what they computed for the others.
    """

    def __init__(self, name: str, shared: Path) -> None:
        self.name, self.path, self.shared = name, CASES / f"{name}.toml", shared

    def _once(self, what: str, make: Callable[[], T]) -> T:
        path = self.shared / f"{self.name}.{what}"
        if path.exists():
            found: T = pickle.loads(path.read_bytes())
            return found
        made = make()
        self.shared.mkdir(exist_ok=True)
        beside = path.with_name(f"{path.name}.{os.getpid()}")
        beside.write_bytes(pickle.dumps(made))
        beside.replace(path)  # another process reads it whole, or not yet
        return made

    @functools.cached_property
    def case(self) -> Case:
        return load_case(self.path)

    @functools.cached_property
    def answer(self) -> Assessment:
        return self._once("answer", lambda: check(self.case, remedies=False))

    @functools.cached_property
    def tried(self) -> Remedies:
        """What was tried to mend it: of a demo that is not kept."""
        found = self._once("tried", lambda: remedies_of(self.answer, rules_of_case(self.case)))
        assert found is not None
        return found

    @functools.cached_property
    def windows(self) -> WindowAnswer:
        """Its windows; some take a minute of processor time."""
        return self._once("windows", lambda: find_windows(self.case))

    @functools.cached_property
    def oracle(self) -> Oracle:
        """An independent calculation of it; the longest length where a range is given."""
        made = Oracle(self.path)
        for line in made.lines:
            if isinstance(line["length"], list):
                line["length"] = line["length"][1]
        return made

    def run_of(self, scenario: str) -> ScenarioResult:
        return next(r for r in self.answer.scenarios if r.name == scenario)

    def findings_in(self, scenario: str) -> list[Finding]:
        return [f for f in self.answer.findings if f.scenario == scenario]


Demos = Mapping[str, Demo]


def tables_of(name: str) -> dict[str, Any]:
    """The bare tables of a demo's file: names by which tests are collected, before any fixture is there."""
    return tomllib.loads((CASES / f"{name}.toml").read_text(encoding="utf-8"))


def peak_at(run: ScenarioResult, point: str) -> Extreme:
    return next(p.highest for p in run.places if p.name == point)


def peak_in(run: ScenarioResult, element: str) -> Extreme:
    return next(e.highest for e in run.elements if e.name == element)


def steady_at(run: ScenarioResult, point: str) -> float:
    return next(p.steady for p in run.places if p.name == point)
