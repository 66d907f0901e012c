"""The shape of a stroke: the best two-stage law of a given total time, against the single-stage one.

A two-stage law is not always better: one that breaks off too near to shut is worse than none. So it is
searched on a grid of break points with one refinement; nothing is assumed about where it lies.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from surge.errors import CaseError, Fault
from surge.model.lineup import LineUp, Scenario, Table
from surge.model.stroke import moves_so, with_strokes
from surge.rules.findings import Finding, findings_of, weakest, worst_of
from surge.rules.static import static_over_densities
from surge.search.judge import NO_RULES, Bench
from surge.search.movers import closing_valves
from surge.search.scan import NearestLimit, Scanner
from surge.transient.result import Closure, ScenarioResult
from surge.transient.sensitivities import full_run
from surge.workers import Progress

COARSE = 0.1  # spacing of the first grid, as a share of the opening and of the time
FINE = 0.02  # spacing of the refinement
NEAREST = 0.02  # so near to an end of the stroke a break may come, as a share
TIE = 500.0  # [Pa] laws whose margins are nearer than this are alike: the one nearest to a straight stroke

BETTER = "the two-stage law is better"
NO_BETTER = "no two-stage law is better than the single-stage one"
HIDDEN = "the numerical error hides which is better"


@dataclass(frozen=True, kw_only=True)
class Break:
    """Where a two-stage law breaks, as shares of the whole stroke.

    Attributes
    ----------
    opening : float
        Part of the way from shut to open that is left [-].
    time : float
        Part of the stroke time that has passed [-].
    """

    opening: float
    time: float

    @property
    def bend(self) -> float:
        """How far the break lies from the straight stroke [-]."""
        return abs(self.opening - (1.0 - self.time))


@dataclass(frozen=True, kw_only=True, eq=False)
class Judged:
    """A law, judged by full runs.

    Attributes
    ----------
    law : tuple of (time [s], opening)
    near : NearestLimit
        Margin to the nearest limit by the quick pass.
    findings : tuple of Finding
    verdict : str
    margin : float
        Least margin of any extreme by the full runs [Pa].
    error : float
        Its numerical error [Pa].
    governs : Finding or None
        The nearest limit of all, steady and static pressures among them.
    run : ScenarioResult
        In which the margin is least.
    closure : Closure or None
        How gentle the closure is in that run; None where something else stops the flow before.
    """

    law: Table
    near: NearestLimit
    findings: tuple[Finding, ...]
    verdict: str
    margin: float
    error: float
    governs: Finding | None
    run: ScenarioResult
    closure: Closure | None

    @property
    def ratio(self) -> float | None:
        """Effective closing time over pipeline period [-]; None where either is not there."""
        c = self.closure
        return None if c is None or c.effective is None or c.period <= 0.0 else c.effective / c.period


@dataclass(frozen=True, kw_only=True, eq=False)
class ShapeAnswer:
    """The best two-stage law of one valve in one scenario.

    Attributes
    ----------
    valve, scenario : str
    stroke : float
        Total time of the stroke [s].
    best_break : Break
    two_stage, single_stage : Judged
    looked : tuple of (Break, float)
        Every break looked at, and its margin by the quick pass [Pa].
    """

    valve: str
    scenario: str
    stroke: float
    best_break: Break
    two_stage: Judged
    single_stage: Judged
    looked: tuple[tuple[Break, float], ...]

    @property
    def gain(self) -> float:
        """How much more margin the two-stage law keeps [Pa]."""
        return self.two_stage.margin - self.single_stage.margin

    @property
    def at_edge(self) -> bool:
        """Whether the break lies at the edge of what was looked at: a stage in almost no time or way."""
        shares = (self.best_break.opening, self.best_break.time)
        return any(min(s, 1.0 - s) < 1.5 * NEAREST for s in shares)

    @property
    def words(self) -> str:
        """Which is better."""
        if self.gain <= TIE:
            return NO_BETTER
        if self.gain <= self.two_stage.error + self.single_stage.error:
            return HIDDEN
        return BETTER


def two_stage(whole: Table, at: Break, *, stroke: float) -> Table:
    """Return the law that breaks at ``at``, with the ends of ``whole``, in ``stroke`` [s]."""
    first, last = whole[0][1], whole[-1][1]
    return ((0.0, first), (at.time * stroke, last + at.opening * (first - last)), (stroke, last))


def single_stage(whole: Table, *, stroke: float) -> Table:
    """Return the straight law with the ends of ``whole``, in ``stroke`` [s]."""
    return ((0.0, whole[0][1]), (stroke, whole[-1][1]))


def with_shape(scenario: Scenario, valve: str, *, at: Break | None, stroke: float) -> Scenario:
    """Return a scenario in which a valve closes by another law; what waits for it moves along.

    Parameters
    ----------
    scenario : Scenario
    valve : str
    at : Break or None
        None: straight.
    stroke : float
        Time of the whole stroke [s].
    """
    timed = with_strokes(scenario, {valve: stroke})
    moves = []
    for move in timed.moves:
        if move.valve == valve and moves_so(move, opens=False):
            law = two_stage(move.law, at, stroke=stroke) if at else single_stage(move.law, stroke=stroke)
            moves.append(replace(move, law=law))
        else:
            moves.append(move)
    return replace(timed, moves=tuple(moves))


def best_shape(
    lineup: LineUp,
    scenario: Scenario,
    valve: str,
    *,
    stroke: float | None = None,
    bench: Bench | None = None,
    progress: Progress | None = None,
) -> ShapeAnswer:
    """Search the two-stage law that keeps most margin, everything else as the case has it.

    Parameters
    ----------
    lineup : LineUp
        Checked, with the rule book's limit at the top of the cargo pump
        (:func:`surge.rules.pressure.with_pump_top`); lengths and wave speeds may be ranges: each law is
        judged by the worst.
    scenario : Scenario
    valve : str
        It closes in the scenario.
    stroke : float, optional
        Total time [s]; by default that of the case.
    bench : Bench, optional
        Of this line-up: its book of rules counts for the verdicts; without one only pressures do.
    progress : callable, optional
        Called with a word as work goes on.

    Raises
    ------
    CaseError
        A valve that does not close in the scenario, or a stroke that is not positive.
    GridError, SolveError

    Notes
    -----
    The law is of the whole stroke. A valve that stands part open joins it where it passes its opening.
    """
    closing = closing_valves(lineup, scenario)
    _refuse(scenario, valve, closing, stroke)
    time = stroke if stroke is not None else closing[valve]
    tell = progress or (lambda _: None)
    search = _Shapes(bench or Bench(lineup, NO_RULES, tell), scenario, valve, time, tell)
    search.look([Break(opening=x, time=t) for x in _shares(COARSE) for t in _shares(COARSE)])
    middle = search.best()
    search.look([Break(opening=x, time=t) for x in _about(middle.opening) for t in _about(middle.time)])
    best = search.best()
    return ShapeAnswer(
        valve=valve,
        scenario=scenario.name,
        stroke=time,
        best_break=best,
        two_stage=search.judged(best),
        single_stage=search.judged(None),
        looked=tuple((at, near.margin) for at, near in search.near.items()),
    )


def _shares(spacing: float) -> list[float]:
    count = round(1.0 / spacing)
    return [round(k * spacing, 6) for k in range(1, count)]


def _about(share: float) -> list[float]:
    steps = round(COARSE / FINE)
    near = (round(share + k * FINE, 6) for k in range(-steps, steps + 1))
    return [s for s in near if NEAREST <= s <= 1.0 - NEAREST]


def _refuse(scenario: Scenario, valve: str, closing: dict[str, float], stroke: float | None) -> None:
    if valve not in closing:
        listed = ", ".join(f'"{n}"' for n in closing) or "none does"
        raise CaseError(
            [
                Fault(
                    path=scenario.origin,
                    found=f'"{valve}" does not close in "{scenario.name}"',
                    expected=f"a valve that closes there: {listed}",
                    remedy="choose another valve, or another scenario",
                )
            ]
        )
    time = stroke if stroke is not None else closing[valve]
    if not time > 0.0:
        raise CaseError(
            [
                Fault(
                    path=scenario.origin,
                    found=f'a stroke of "{valve}" in {time:g} s',
                    expected="a stroke that takes time",
                    remedy="give the total time of the stroke",
                )
            ]
        )


class _Shapes:
    """Laws of one valve on one line-up, over every figure that is a range."""

    def __init__(
        self, bench: Bench, scenario: Scenario, valve: str, stroke: float, progress: Progress
    ) -> None:
        lineup, self.bench = bench.lineup, bench
        self.lineups = bench.over(scenario)
        self.scenario, self.valve, self.stroke, self.progress = scenario, valve, stroke, progress
        limits = bench.limits(scenario)
        self.scanners = [Scanner(one, scenario, limits=limits) for one in self.lineups]
        self.static = static_over_densities(lineup)
        self.near: dict[Break, NearestLimit] = {}

    def variant(self, at: Break | None) -> Scenario:
        return with_shape(self.scenario, self.valve, at=at, stroke=self.stroke)

    def nears(self, breaks: Sequence[Break | None]) -> list[NearestLimit]:
        """Margin of every law at its worst figures."""
        rows = [s.moved([self.variant(at) for at in breaks]) for s in self.scanners]
        return [min(column, key=lambda n: n.margin) for column in zip(*rows, strict=True)]

    def look(self, breaks: Sequence[Break]) -> None:
        new = [at for at in breaks if at not in self.near]
        self.progress(f'"{self.valve}" in "{self.scenario.name}": {len(self.near) + len(new)} laws looked at')
        self.near.update(zip(new, self.nears(new), strict=True))

    def best(self) -> Break:
        """The break with most margin; of those alike the one nearest to a straight stroke."""
        most = max(n.margin for n in self.near.values())
        return min((at for at, n in self.near.items() if n.margin >= most - TIE), key=lambda at: at.bend)

    def judged(self, at: Break | None) -> Judged:
        """Full runs of a law; the one in which the margin is least tells how gentle it is."""
        scenario = self.variant(at)
        runs = [full_run(one, scenario, progress=self.progress) for one in self.lineups]
        found = [findings_of(one, run) for one, run in zip(self.lineups, runs, strict=True)]
        margin, error, worst = min(
            (f.margin, f.error, k)
            for k, own in enumerate(found)
            for f in own
            if f.margin is not None and f.check in ("peak", "lowest", "vapour")
        )
        if len(self.lineups) == 1:
            self.bench.keep(scenario, self.lineups[0], runs[0])
        every = (*self.static, *(f for own in found for f in own))
        moves = [m.law for m in scenario.moves if m.valve == self.valve and moves_so(m, opens=False)]
        return Judged(
            law=moves[0],
            near=self.nears([at])[0],
            findings=every,
            verdict=worst_of([*(f.verdict for f in every), self.bench.judge(scenario).verdict]),
            margin=margin,
            error=error,
            governs=weakest(every),
            run=runs[worst],
            closure=next((c for c in runs[worst].closures if c.valve == self.valve), None),
        )
