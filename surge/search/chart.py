"""How much of the nearest limit is used, against loading rate and stroke time of one valve.

Every rate and stroke of a raster is marched. At every rate the shortest safe stroke is then searched between
these samples, as :mod:`surge.search.window` does but more coarsely, and confirmed by a full run.

Decisions
---------
* At the agreed rate the very search of a window answers: a chart and ``surge window`` tell the same stroke.
  Of a shutdown at another stage a window tells no shorter one than where the case has it; a chart may.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from surge.arrays import Array, Ints, Mask
from surge.effort import foresee, within
from surge.errors import CaseError, Fault, SolveError
from surge.model.lineup import LineUp
from surge.rules.assess import typical_effort
from surge.rules.book import Rule, RuleBook
from surge.rules.fillings import searched_beside
from surge.rules.findings import EXCEEDED, EXIT_CODE, WITHIN, Finding, findings_of, weakest, worst_of
from surge.rules.limits import LimitedExtreme
from surge.rules.static import static_over_densities
from surge.search.bounds import longest_allowed
from surge.search.chart_subject import Picked, pick, rates_of, strokes_of
from surge.search.chart_survey import RateRow, Survey, row_at
from surge.search.judge import Bench
from surge.search.judged import by_rule
from surge.search.strokes import FIRST_NEED, SHORTEST_STROKE, StrokeLimits, stroke_limits
from surge.search.window import search_effort
from surge.transient.run import simulate
from surge.transient.sensitivities import full_run, searched_with
from surge.units import quoted
from surge.workers import Progress

EVERY = 3  # so many rates on, the shortest safe stroke is confirmed by full runs
SETTLING = 1.0  # times the raster: what the search of the shortest strokes takes, but at the agreed rate
ATTEMPTS = 5  # to find a stroke at a rate that a full run confirms


@dataclass(frozen=True, kw_only=True)
class Agreed:
    """The point that the case itself stands at.

    Attributes
    ----------
    rate, stroke : float
        [m3/s], [s]
    pressures : str
        Verdict of a full run there and of shut-off pressure.
    finding : Finding or None
        The nearest limit.
    rule : Rule or None
        A rule on time that the stroke breaks.
    check : str
        What a check makes of the scenario: pressures and every required rule.
    """

    rate: float
    stroke: float
    pressures: str
    finding: Finding | None
    rule: Rule | None
    check: str = WITHIN

    @property
    def verdict(self) -> str:
        """Of pressures, of the rules on time, and of all that a check holds."""
        return worst_of([self.pressures, self.check, WITHIN if self.rule is None else EXCEEDED])


@dataclass(frozen=True, kw_only=True, eq=False)
class ChartData:
    """What a chart shows.

    Attributes
    ----------
    valve, scenario : str
    together : tuple of str
        Valves that share the strokes of the chart, this one among them.
    held : dict of str to float
        Other valves that move in the scenario -> the stroke that they keep [s].
    opens : bool
        The strokes are those of opening.
    chosen : bool
        The program chose the scenario, as the one that uses most of a limit.
    rates, strokes : float64 arrays, shape (m,), (n,)
        Rising [m3/s], [s].
    reached : bool array, shape (m,)
        Whether the line-up can flow at the rate.
    margin : float64 array, shape (m, n)
        To the nearest limit [Pa], negative beyond it; NaN where the rate cannot be reached, minus infinity
        where the march failed. Where lengths or wave speeds are ranges: the worst over them.
    used : float64 array, shape (m, n)
        Greatest share that is used of any limit, above 1 beyond it [-]: the peak over an upper limit above
        1 bar, otherwise 1 less the margin over the limit or over 1 bar, whichever is more.
    governs : int array, shape (m, n)
        Which of ``limits`` that is; -1 for none.
    limits : tuple of LimitedExtreme
    shortest : float64 array, shape (m,)
        Shortest stroke that is safe with every longer one of the chart [s]; NaN where there is none.
    longest : float64 array, shape (m,)
        Longest stroke by the rules on time [s], infinite where none binds, NaN where not reached.
    rules : tuple of Rule or None
        The rule that a longer one would break, for each rate.
    why : tuple of str
        Why a rate has no safe stroke, or cannot be reached; "" otherwise.
    need : float
        Margin that a stroke must keep in the search [Pa]; a full run then tells its numerical error.
    agreed : Agreed
    blocked : str
        What no stroke can mend, "" otherwise.
    notes : tuple of str
        What the reader must know about the bounds.
    confirmed : bool array, shape (m,)
        Whether a full run keeps every limit at the shortest stroke of a rate.
    marches : int
    """

    valve: str
    together: tuple[str, ...]
    held: dict[str, float]
    opens: bool
    scenario: str
    chosen: bool
    rates: Array
    strokes: Array
    reached: Mask
    margin: Array
    used: Array
    governs: Ints
    limits: tuple[LimitedExtreme, ...]
    shortest: Array
    longest: Array
    rules: tuple[Rule | None, ...]
    why: tuple[str, ...]
    need: float
    agreed: Agreed
    blocked: str
    notes: tuple[str, ...]
    confirmed: Mask
    marches: int

    @property
    def open(self) -> Mask:
        """Whether a window is open at each rate, shape (m,)."""
        return ~np.isnan(self.shortest) & (self.shortest <= self.longest)

    def safe_from(self) -> Array:
        """Shortest safe stroke between two neighbouring rates: the longer of theirs, shape (m - 1,) [s]."""
        return np.maximum(self.shortest[:-1], self.shortest[1:])  # NaN wins: no stroke is safe there

    def allowed_to(self) -> Array:
        """Longest stroke between two neighbouring rates: the shorter of theirs, shape (m - 1,) [s]."""
        return np.minimum(self.longest[:-1], self.longest[1:])

    @property
    def exit_code(self) -> int:
        """That of the agreed point."""
        return EXIT_CODE[self.agreed.verdict]


def chart_of(
    lineup: LineUp,
    *,
    book: RuleBook,
    valve: str | None = None,
    scenario: str | None = None,
    rates: tuple[float, float] | None = None,
    strokes: tuple[float, float] | None = None,
    points: int = 25,
    progress: Progress | None = None,
) -> ChartData:
    """Compute a chart.

    Parameters
    ----------
    lineup : LineUp
        With an agreed rate.
    book : RuleBook
        Rules on time bound the stroke from above.
    valve, scenario : str, optional
        By default the scenario that comes nearest to a limit, and the valve in it that matters most.
    rates, strokes : (float, float), optional
        Ends of the raster, rising [m3/s], [s].
    points : int
        Of each axis, 2 or more.
    progress : callable, optional
        Called with a word as work goes on; from several threads.

    Raises
    ------
    CaseError
        A name that is not there, a valve that does not close, a case without a rate, no rate of the raster
        that can be reached; or as :func:`surge.transient.run.simulate`.
    GridError, SolveError
    """
    bench = Bench(lineup, book, progress)
    lineup = bench.lineup
    picked = pick(lineup, valve=valve, scenario=scenario)
    tell = progress or (lambda _: None)
    lineups = bench.over(picked.scenario)
    columns = strokes_of(lineups[0], picked, ends=strokes, points=points).tolist()
    asked = rates_of(lineups[0], picked, ends=rates, points=points)
    rows = [row_at(lineups, picked, float(rate)) for rate in asked]
    if not any(row.bases for row in rows):
        raise CaseError([_out_of_reach(rows)])
    survey = Survey(lineups, rows, tell, bench=bench)
    raster = survey.effort(columns)
    search = search_effort(lineup, picked.scenario)
    bare = None if picked.opens else bench.bare()
    point, samples, settling, without = foresee(
        [
            typical_effort(lineup, picked.scenario),
            raster,
            SETTLING * raster + search,
            0.0 if bare is None else search,
        ],
        float,
    )
    with within(point):
        agreed, unmendable = _agreed(bench, lineups, picked, progress=tell)
    with within(samples):
        survey.march([(row, columns) for row in survey.rows])
    with within(settling):
        if not unmendable:
            _settle(survey, columns, picked)
    with within(without):
        gained = "" if bare is None else _gained(bench, bare, picked, columns[-1])
    bounds = [_longest(lineups[0], row, picked, book=book, columns=columns) for row in rows]
    table = [[row.seen.get(stroke) for stroke in columns] for row in rows]
    return ChartData(
        valve=picked.valve,
        together=picked.together,
        held=picked.held,
        opens=picked.opens,
        scenario=picked.scenario.name,
        chosen=picked.chosen,
        rates=asked,
        strokes=np.array(columns),
        reached=np.array([bool(row.bases) for row in rows]),
        margin=np.array([[np.nan if x is None else x.margin for x in line] for line in table]),
        used=np.array([[np.nan if x is None else x.used for x in line] for line in table]),
        governs=np.array(
            [[-1 if x is None else x.most_used for x in line] for line in table], dtype=np.int64
        ),
        limits=survey.fields[0].held,
        shortest=np.array([np.nan if row.shortest is None else row.shortest for row in rows]),
        longest=np.array([bound for bound, _ in bounds]),
        rules=tuple(rule for _, rule in bounds),
        why=tuple("" if row.shortest is not None else row.why or unmendable for row in rows),
        need=FIRST_NEED,
        agreed=agreed,
        blocked=unmendable,
        notes=(
            *_notes(lineup, picked),
            *filter(None, (gained, searched_with(lineup), searched_beside(lineup))),
        ),
        confirmed=np.array([row.run is not None for row in rows]),
        marches=survey.marches,
    )


def _gained(bench: Bench, bare: Bench, picked: Picked, longest: float) -> str:
    """What relief valves and drums gain at the agreed rate: the shortest stroke as if they were not there."""
    found = stroke_limits(
        bare.lineup,
        picked.scenario,
        picked.together[0],
        book=bare.book,
        together=picked.together,
        longest=max(longest, 2.0 * SHORTEST_STROKE),
        bench=bare,
        progress=bench.progress,
    )
    words = "no stroke shown is safe" if found.shortest is None else f"{found.shortest:.1f} s or more"
    names = " and ".join(quoted(thing.name) for thing in bench.lineup.relieving)
    return f"Without {names}, at the agreed rate: {words}."


def _agreed(
    bench: Bench, lineups: Sequence[LineUp], picked: Picked, *, progress: Progress
) -> tuple[Agreed, str]:
    """Run the point of the case in full; and what there no stroke can mend, "" if nothing."""
    runs = [full_run(one, picked.scenario, progress=progress) for one in lineups]
    static = list(static_over_densities(bench.lineup))
    if len(lineups) == 1:
        bench.keep(picked.scenario, lineups[0], runs[0])
    found = static + [f for one, run in zip(lineups, runs, strict=True) for f in findings_of(one, run)]
    _, rule = (
        (None, None)
        if picked.opens
        else longest_allowed(
            lineups[0],
            picked.scenario,
            picked.together,
            book=bench.book,
            run=runs[0],
            shortest=picked.stroke,
            longest=picked.stroke,
            bench=bench,
        )
    )
    agreed = Agreed(
        rate=picked.rate,
        stroke=picked.stroke,
        pressures=worst_of(f.verdict for f in found),
        finding=weakest(found),
        rule=rule,
        check=bench.judge(picked.scenario).verdict,
    )
    return agreed, _unmendable(static, found)


def _unmendable(static: Sequence[Finding], found: Sequence[Finding]) -> str:
    """What no stroke can mend: shut-off pressure above a limit, or data that are missing."""
    over = [f for f in static if f.verdict != WITHIN]
    missing = [f for f in found if f.margin is None and f.subject != "scenario" and f.verdict != WITHIN]
    if any(f.verdict == EXCEEDED for f in over):
        return f'shut-off pressure alone is above a limit of "{over[0].name}": no stroke time is safe'
    if over or missing:
        first = (over or missing)[0]
        return f'cannot be decided: "{first.name}", {first.reason}'
    return ""


def _out_of_reach(rows: Sequence[RateRow]) -> Fault:
    low, high = rows[0].rate * 3600, rows[-1].rate * 3600
    return Fault(
        path=("rate",),
        found=f"no rate from {low:.0f} m3/h to {high:.0f} m3/h can be reached: {rows[0].why}",
        expected="a range with rates that this line-up can reach",
        remedy="ask for lower rates",
    )


def _settle(survey: Survey, strokes: Sequence[float], picked: Picked) -> None:
    """Search the shortest safe stroke of every rate.

    At the agreed rate the search of windows answers. Full runs confirm it at some other rates, or ask for
    more margin; the rates between ask for the greater margin of the two beside them. A rate at which the flow
    before anything moves breaks a rule has none.
    """
    rows = survey.rows
    for row in rows:
        if row.rate != picked.rate and (ruling := survey.minding(row, picked.stroke)) is not None:
            row.shut(by_rule(ruling))
    marks = [k for k, row in enumerate(rows) if k % EVERY == 0 or row is rows[-1] or row.rate == picked.rate]
    survey.search([row for row in rows if not row.is_shut])
    for row in rows:
        if row.rate == picked.rate:
            row.take(_window(survey.bench, picked), (strokes[0], strokes[-1]))
    left = [rows[k] for k in marks if rows[k].window is None and not rows[k].is_shut]
    if len(survey.lineups) > 1:
        # A full run counts all points of the ranges, of which the marches have some: what that takes at the
        # agreed rate it takes, about, at every rate.
        for row in left:
            row.begin_with(max((r.need for r in rows if r.window is not None), default=FIRST_NEED))
        survey.search(left)
    _confirm(survey, left, strokes[-1])
    between = {
        k: (rows[low], rows[high])
        for low, high in zip(marks, marks[1:], strict=False)
        for k in range(low + 1, high)
        if not rows[k].is_shut
    }
    asked = {k: rows[k].need for k in between}
    survey.follow([rows[k] for k in between], list(between.values()), strokes[-1])
    lone = [k for k, beside in between.items() if rows[k].shortest is None and _only_full_runs_tell(beside)]
    for k in lone:
        rows[k].need, rows[k].least, rows[k].why = asked[k], 0.0, ""
    _confirm(survey, [rows[k] for k in lone], strokes[-1])


def _only_full_runs_tell(beside: Sequence[RateRow]) -> bool:
    """Whether a rate that has no safe stroke, by what those beside it needed, may have one all the same.

    So it may where each of them has one, or a rule on the rate itself is in its way, which says nothing of a
    lower rate.
    """
    return all(row.shortest is not None or row.is_shut for row in beside)


def _confirm(survey: Survey, rows: Sequence[RateRow], longest: float) -> None:
    """Confirm the shortest safe stroke of some rates by full runs, or another one that they ask for."""
    left = list(rows)
    for _ in range(ATTEMPTS):
        left = survey.confirm(left, longest)
        if not left:
            return
        survey.search(left)
    for row in left:
        row.least = math.inf  # nothing was confirmed: no stroke counts here, nor at the rates beside it


def _window(bench: Bench, picked: Picked) -> StrokeLimits:
    """The window at the agreed rate, searched as ``surge window`` does."""
    return stroke_limits(
        bench.lineup,
        picked.scenario,
        picked.valve,
        book=bench.book,
        together=picked.together,
        opens=picked.opens,
        bench=bench,
        progress=bench.progress,
    )


def _longest(
    lineup: LineUp, row: RateRow, picked: Picked, *, book: RuleBook, columns: Sequence[float]
) -> tuple[float, Rule | None]:
    """Longest stroke that the rules on time allow at a rate [s], and the rule beyond it."""
    if not row.bases:
        return math.nan, None
    if picked.opens:
        return math.inf, None  # rules on time are for closing
    if row.window is not None and row.window.shortest is not None:
        found = row.window.longest
        return (math.inf if found is None else found), row.window.slow_rule
    try:
        run = row.run or simulate(lineup, row.with_stroke(picked.stroke), quick=True)
    except SolveError as error:
        row.why = str(error)
        return 0.0, None  # nothing is known of the flow into the tanks
    bound, rule = longest_allowed(
        lineup, row.scenario, picked.together, book=book, run=run, shortest=columns[0], longest=columns[-1]
    )
    return (math.inf if bound is None else bound), rule


def _notes(lineup: LineUp, picked: Picked) -> tuple[str, ...]:
    """What the bounds on the slow side leave out."""
    if picked.scenario.ordered is None:
        return ("The rules on time are for emergency shutdowns: this scenario has none.",)
    dry = [f'"{t.name}"' for t in lineup.receiving if t.ullage is None]
    if dry:
        return (f"No ullage is given for {', '.join(dry)}: overfilling does not bound the stroke there.",)
    return ()
