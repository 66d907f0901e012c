"""Two cases side by side: what they do not say alike, and what that does to every pressure.

Pressures [Pa gauge]. Where the liquid boils in a run, its pressures are those of the time before.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from surge.errors import RequestError
from surge.model.lineup import LineUp
from surge.rules.assess import Assessment
from surge.rules.findings import Finding, findings_of, worst_of
from surge.rules.limits import Limit
from surge.transient.result import ScenarioResult
from surge.views.facts import Change, changes, facts_of, scenario_facts
from surge.views.subject import Subject, subject_of, unknown
from surge.views.time import lower_limit, upper_limit


@dataclass(frozen=True, kw_only=True)
class PlacePressure:
    """The highest or the lowest pressure of one element or place in one case.

    Attributes
    ----------
    pressure : float
        [Pa gauge]
    error : float
        Its numerical error, either way [Pa].
    limit : Limit or None
        The nearest limit that holds there; None where there is none.
    verdict : str
        Verdict on the pressure; "" where the element or place has no limit of its own.
    """

    pressure: float
    error: float
    limit: Limit | None
    verdict: str

    @property
    def margin(self) -> float | None:
        """How far the pressure is below its limit [Pa]; negative above it. None without a limit."""
        return None if self.limit is None else self.limit.value - self.pressure


@dataclass(frozen=True, kw_only=True)
class PlacePair:
    """The highest, or the lowest, pressure of one element or place, in both cases.

    Attributes
    ----------
    subject : str
        "element" or "place".
    name : str
    way : str
        "high" or "low".
    before, after : PlacePressure
    """

    subject: str
    name: str
    way: str
    before: PlacePressure
    after: PlacePressure

    @property
    def difference(self) -> float:
        """Pressure after less pressure before [Pa]."""
        return self.after.pressure - self.before.pressure


@dataclass(frozen=True, kw_only=True, eq=False)
class ScenarioPair:
    """A scenario of one case beside a scenario of the other.

    Attributes
    ----------
    before, after : str
        Names of the two scenarios.
    changes : tuple of Change
        What the scenarios do not say alike.
    verdicts : (str, str)
        For each scenario the worst verdict on its pressures and on shut-off pressure.
    places : tuple of PlacePair
        Elements, then places, that both cases have.
    subjects : (Subject, Subject)
        For each scenario the run that comes nearest to a limit.
    """

    before: str
    after: str
    changes: tuple[Change, ...]
    verdicts: tuple[str, str]
    places: tuple[PlacePair, ...]
    subjects: tuple[Subject, Subject]

    @property
    def load(self) -> float:
        """How much of a limit the worse of both scenarios uses [-], above 1 beyond it; for choosing only."""
        return max((s.finding.load for s in self.subjects if s.finding is not None), default=0.0)


@dataclass(frozen=True, kw_only=True, eq=False)
class Comparison:
    """Two cases side by side.

    Attributes
    ----------
    before, after : Assessment
        What came of each case.
    changes : tuple of Change
        What the line-ups do not say alike; their scenarios are in ``pairs``.
    pairs : tuple of ScenarioPair
        Scenarios that belong together.
    only_before, only_after : tuple of str
        Names of the scenarios that have no partner in the other case.
    """

    before: Assessment
    after: Assessment
    changes: tuple[Change, ...]
    pairs: tuple[ScenarioPair, ...]
    only_before: tuple[str, ...]
    only_after: tuple[str, ...]

    @property
    def exit_code(self) -> int:
        """That of the case after, since the question is whether it may be done the new way."""
        return self.after.exit_code

    @property
    def governing(self) -> ScenarioPair:
        """The pair in which either scenario comes nearest to a limit."""
        return max(self.pairs, key=lambda p: p.load)


def compare(before: Assessment, after: Assessment, scenarios: Sequence[str] = ()) -> Comparison:
    """Hold two assessments side by side.

    Parameters
    ----------
    before, after : Assessment
    scenarios : sequence of str
        One name: this scenario of both cases. Two names: this one of ``before``, that one of ``after``. By
        default every scenario that has the same name in both, or the only one of each.

    Returns
    -------
    Comparison

    Raises
    ------
    RequestError
        A name that is not there, or no two scenarios that belong together.
    """
    names = tuple(tuple(s.name for s in a.lineup.scenarios) for a in (before, after))
    wanted = _wanted(names[0], names[1], scenarios)
    pairs = tuple(_pair(before, after, one, other) for one, other in wanted)
    return Comparison(
        before=before,
        after=after,
        changes=changes(facts_of(before.lineup), facts_of(after.lineup)),
        pairs=pairs,
        only_before=tuple(n for n in names[0] if n not in [p.before for p in pairs]) if not scenarios else (),
        only_after=tuple(n for n in names[1] if n not in [p.after for p in pairs]) if not scenarios else (),
    )


def _wanted(before: Sequence[str], after: Sequence[str], asked: Sequence[str]) -> list[tuple[str, str]]:
    if len(asked) > 2:
        raise RequestError("--scenario: one name for both cases, or one for each in their order")
    if asked:
        one, other = asked[0], asked[-1]
        for name, names, case in ((one, before, "BEFORE"), (other, after, "AFTER")):
            if name not in names:
                raise RequestError(f"--scenario {unknown(f'scenario in {case}', name, names)}")
        return [(one, other)]
    same = [(n, n) for n in before if n in after]
    if same:
        return same
    if len(before) == len(after) == 1:
        return [(before[0], after[0])]
    raise RequestError(
        "no scenario has the same name in both cases: write --scenario twice, the one of BEFORE first: "
        f"{_listed(before)}; then the one of AFTER: {_listed(after)}"
    )


def _listed(names: Sequence[str]) -> str:
    return ", ".join(f'"{n}"' for n in names)


def _pair(before: Assessment, after: Assessment, one: str, other: str) -> ScenarioPair:
    assessments = (before, after)
    subjects = (subject_of(before, one), subject_of(after, other))
    facts = [scenario_facts(s.assessment.lineup, s.scenario) for s in subjects]
    found = [_pressures(a, name) for a, name in zip(assessments, (one, other), strict=True)]
    return ScenarioPair(
        before=one,
        after=other,
        changes=_own(changes(*facts), before.lineup, after.lineup),
        verdicts=(_verdict(before, one), _verdict(after, other)),
        places=tuple(
            PlacePair(subject=key[0], name=key[1], way=key[2], before=found[0][key], after=found[1][key])
            for key in found[0]
            if key in found[1]
        ),
        subjects=subjects,
    )


# What a scenario takes over from its line-up: its name there -> its name in the scenario.
_INHERITED = {"agreed rate": "rate", "level": "level", "opening": "opening at first"}


def _own(found: Sequence[Change], before: LineUp, after: LineUp) -> tuple[Change, ...]:
    """Changes of a scenario, without those that only follow from changes of the line-ups."""
    known = {
        (
            f"{c.table} {c.name}".strip() if c.table != "rate" else "",
            _INHERITED[c.quantity],
            c.before,
            c.after,
        )
        for c in changes(facts_of(before), facts_of(after))
        if c.quantity in _INHERITED
    }
    return tuple(c for c in found if (c.name, c.quantity, c.before, c.after) not in known)


def _verdict(assessment: Assessment, scenario: str) -> str:
    runs = [r for r in assessment.scenarios if r.name == scenario]
    own = [f for r in runs for f in findings_of(assessment.lineup, r)]
    return worst_of([f.verdict for f in (*assessment.static, *own)])


def _pressures(assessment: Assessment, scenario: str) -> dict[tuple[str, str, str], PlacePressure]:
    """Highest and lowest pressures of a scenario, the worst of its runs where lengths are a range."""
    lineup = assessment.lineup
    runs = [r for r in assessment.scenarios if r.name == scenario]
    found: dict[tuple[str, str, str], PlacePressure] = {}
    for run in runs:
        judged = findings_of(lineup, run)
        for key, one in _of_run(lineup, run, judged).items():
            worse = key not in found or (
                one.pressure > found[key].pressure if key[2] == "high" else one.pressure < found[key].pressure
            )
            if worse:
                found[key] = one
    return found


def _of_run(
    lineup: LineUp, run: ScenarioResult, judged: Sequence[Finding]
) -> dict[tuple[str, str, str], PlacePressure]:
    elements = {e.name: e for e in lineup.elements}
    found = {}
    for subject, owners in (("element", run.elements), ("place", run.places)):
        for owner in owners:
            what = elements[owner.name] if subject == "element" else lineup.points_by_name[owner.name]
            own = [f for f in judged if f.subject == subject and f.name == owner.name]
            for way, extreme, checks in (
                ("high", owner.highest, ("peak",)),
                ("low", owner.lowest, ("lowest", "vapour")),
            ):
                limit = upper_limit(lineup, what)[0] if way == "high" else lower_limit(lineup, what)
                verdicts = [f.verdict for f in own if f.check in checks]
                found[subject, owner.name, way] = PlacePressure(
                    pressure=extreme.before_vapour,
                    error=extreme.error,
                    limit=limit,
                    verdict=worst_of(verdicts) if verdicts else "",
                )
    return found
