"""What a measured stroke does in a line-up, beside what the assumed one does: every pressure with its limit.

Pressures [Pa gauge], times [s].
"""

from __future__ import annotations

from dataclasses import dataclass, replace

from surge.errors import CaseError, Fault, UnknownNameError
from surge.model.lineup import LineUp, Scenario, Table, ValveMove
from surge.model.stroke import SAME_OPENING, moves_so, with_laws
from surge.model.validation import checked
from surge.records.stroke_tests import Direction
from surge.rules.assess import Assessment, assess
from surge.rules.book import RuleBook
from surge.rules.findings import EXCEEDED, EXIT_CODE, UNDECIDED, WITHIN, Finding, worst_of
from surge.valves.curve import MeasuredStroke
from surge.workers import Progress

Key = tuple[str, str, str, str, str]


@dataclass(frozen=True, kw_only=True)
class PressureComparison:
    """One pressure against one limit: with the assumed law, the measured one, and the steepest it allows."""

    assumed: Finding | None
    measured: Finding
    steep: Finding | None

    @property
    def worse(self) -> Finding:
        """The worse of what was measured and the steepest that the measurement allows."""
        return self.measured if self.steep is None else max(self.measured, self.steep, key=_badness)

    @property
    def verdict(self) -> str:
        """What only the steepest law exceeds cannot be decided."""
        return _both(self.measured.verdict, self.steep.verdict if self.steep else WITHIN)


@dataclass(frozen=True, kw_only=True, eq=False)
class Measured:
    """The answer to a measured curve.

    Attributes
    ----------
    valve : str
    stroke : MeasuredStroke
    assumed, measured : Assessment
    steep : Assessment or None
        With the steeper law, where there is one.
    laws : dict of str to Table
        Assumed law of the valve by scenario.
    pressures : tuple of PressureComparison
        Pressures that moving the valve can change, the nearest to its limit first.
    """

    valve: str
    stroke: MeasuredStroke
    assumed: Assessment
    measured: Assessment
    steep: Assessment | None
    laws: dict[str, Table]
    pressures: tuple[PressureComparison, ...]

    @property
    def verdict(self) -> str:
        """What only the steepest law exceeds cannot be decided."""
        return _both(self.measured.verdict, self.steep.verdict if self.steep else WITHIN)

    def boils(self, compared: PressureComparison) -> bool:
        """Whether the liquid boils of a pressure, with the measured or the steepest stroke."""
        runs = (r for a in (self.measured, self.steep) if a for r in a.scenarios)
        return any(r.vapour is not None and r.name == compared.worse.scenario for r in runs)

    @property
    def hidden(self) -> bool:
        """Only what the measurement may hide keeps it from being decided."""
        return self.measured.verdict == WITHIN != self.verdict

    @property
    def exit_code(self) -> int:
        """0 every limit kept, 3 a limit exceeded, 4 cannot be decided."""
        return EXIT_CODE[self.verdict]


def run_measured(
    lineup: LineUp,
    stroke: MeasuredStroke,
    *,
    valve: str,
    scenario: str | None = None,
    book: RuleBook | None = None,
    progress: Progress | None = None,
) -> Measured:
    """Run a line-up with what a valve really did.

    Parameters
    ----------
    lineup : LineUp
        Checked.
    stroke : MeasuredStroke
        Takes the place of the valve's law in its direction. When it begins stays as the scenario says;
        steps of a shutdown that wait for the valve wait for the measured end.
    valve : str
    scenario : str, optional
        Only this one; without it all in which the valve moves so.
    book : RuleBook, optional
        Rules of the trade to hold it against.
    progress : callable, optional
        Called with a word as work goes on.

    Raises
    ------
    UnknownNameError
        No such valve or scenario.
    CaseError
        The valve does not move so in the scenario, or only a part of its stroke.
    GridError, SolveError
    """
    chosen = _chosen(lineup, stroke, valve, scenario)
    before = _with_only(lineup, chosen)

    def run(law: Table) -> Assessment:
        changed = (with_laws(s, lambda m: law if _replaced(m, valve, stroke) else m.law) for s in chosen)
        return assess(
            checked(before.with_(scenarios=tuple(changed))), book=book, cavities=False, progress=progress
        )

    assumed = assess(before, book=book, cavities=False, progress=progress)
    measured = run(stroke.law)
    steep = run(stroke.steep) if stroke.steep is not None else None
    laws = {s.name: m.law for s in chosen for m in s.moves if _replaced(m, valve, stroke)}
    return Measured(
        valve=valve,
        stroke=stroke,
        assumed=assumed,
        measured=measured,
        steep=steep,
        laws=laws,
        pressures=_pressures(assumed, measured, steep),
    )


def _with_only(lineup: LineUp, chosen: tuple[Scenario, ...]) -> LineUp:
    """The line-up with these scenarios: without a shutdown among them, no ullage asks for one."""
    kept = lineup.with_(scenarios=chosen)
    if any(s.ordered is not None for s in chosen) or all(s.ordered is None for s in lineup.scenarios):
        return kept
    return kept.with_(tanks=tuple(replace(t, ullage=None) for t in lineup.tanks))


def _replaced(move: ValveMove, valve: str, stroke: MeasuredStroke) -> bool:
    """Whether the measured law takes the place of a move's."""
    return move.valve == valve and moves_so(move, opens=stroke.direction is not Direction.CLOSING)


def _chosen(lineup: LineUp, stroke: MeasuredStroke, valve: str, scenario: str | None) -> tuple[Scenario, ...]:
    """Scenarios to run."""
    if valve not in {v.name for v in lineup.valves}:
        raise UnknownNameError("valve", given=valve, known=[v.name for v in lineup.valves])
    names = [s.name for s in lineup.scenarios]
    if scenario is not None and scenario not in names:
        raise UnknownNameError("scenario", given=scenario, known=names)
    asked = [s for s in lineup.scenarios if scenario in (None, s.name)]
    moving = tuple(s for s in asked if any(_replaced(m, valve, stroke) for m in s.moves))
    way = "closes" if stroke.direction is Direction.CLOSING else "opens"
    if not moving:
        where = f'the scenario "{scenario}"' if scenario else "any scenario"
        raise CaseError(
            [
                Fault(
                    path=("scenario",),
                    found=f'"{valve}" never {way} in {where}, and the measured curve {way}',
                    expected=f"a scenario in which it {way}",
                    remedy="name the valve that was measured and a scenario that moves it this way",
                )
            ]
        )
    end = 0.0 if stroke.direction is Direction.CLOSING else 1.0
    partly = [
        m
        for s in moving
        for m in s.moves
        if _replaced(m, valve, stroke) and abs(m.law[-1][1] - end) > SAME_OPENING
    ]
    if partly:
        raise CaseError([_only_part(m) for m in partly])
    return moving


def _only_part(move: ValveMove) -> Fault:
    return Fault(
        path=move.origin,
        found=f'"{move.valve}" moves to {100 * move.law[-1][1]:.3g} % only',
        expected="a whole stroke, for which the measured one can stand",
        remedy="choose another scenario with --scenario, or let the valve go to its end",
    )


def _key(f: Finding) -> Key:
    return f.scenario, f.subject, f.name, f.check, f.limit_source


def _pressures(
    assumed: Assessment, measured: Assessment, steep: Assessment | None
) -> tuple[PressureComparison, ...]:
    """Findings that belong together, the fullest first; what holds before anything moves is left out."""
    before = {_key(f): f for f in assumed.findings}
    hard = {_key(f): f for f in steep.findings} if steep else {}
    made = [
        PressureComparison(assumed=before.get(_key(f)), measured=f, steep=hard.get(_key(f)))
        for f in measured.findings
        if f.check not in ("static", "steady")
    ]
    return tuple(sorted(made, key=lambda p: -p.worse.load))


def _both(measured: str, steep: str) -> str:
    return worst_of([measured, WITHIN if steep == WITHIN else UNDECIDED])


def _badness(f: Finding) -> tuple[int, float]:
    """Worse is more: exceeded, then undecided, then kept, and by how much of the limit is used."""
    return (WITHIN, UNDECIDED, EXCEEDED).index(f.verdict), f.load
