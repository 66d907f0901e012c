"""How much of the nearest limit is used, against loading rate and stroke time of one valve.

Every rate and stroke of a raster is marched. At every rate the shortest safe stroke is then searched between
these samples, as :mod:`surge.search.window` does but more coarsely, and confirmed by a full run.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from surge.arrays import Array, Ints, Mask
from surge.errors import CaseError, Fault, SolveError
from surge.model.lineup import LineUp, Scenario
from surge.model.stroke import with_strokes
from surge.model.topology import pipeline_period
from surge.rules.book import Rule, RuleBook
from surge.rules.findings import EXCEEDED, EXIT_CODE, WITHIN, Finding, findings_of, weakest, worst_of
from surge.rules.limits import LimitedExtreme
from surge.rules.rulings import with_pump_top
from surge.rules.static import static_findings
from surge.search.chart_survey import RateRow, Survey, row_at
from surge.search.scan import Scanner, plan_at
from surge.search.strokes import FIRST_NEED, closing_valves, longest_allowed, over_ranges
from surge.transient.run import simulate
from surge.workers import Progress

EVERY = 3  # so many rates on, the shortest safe stroke is confirmed by full runs
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
    """

    rate: float
    stroke: float
    pressures: str
    finding: Finding | None
    rule: Rule | None

    @property
    def verdict(self) -> str:
        """Of pressures and of the rules on time."""
        return self.pressures if self.rule is None else EXCEEDED


@dataclass(frozen=True, kw_only=True, eq=False)
class ChartData:
    """What a chart shows.

    Attributes
    ----------
    valve, scenario : str
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
    rates: Ends | None = None,
    strokes: Ends | None = None,
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
    lineup = with_pump_top(lineup, book)
    picked = pick(lineup, valve=valve, scenario=scenario)
    tell = progress or (lambda _: None)
    lineups = over_ranges(lineup)
    columns = strokes_of(lineups[0], picked, ends=strokes, points=points).tolist()
    agreed, unmendable = _agreed(lineup, lineups, picked, book=book, progress=tell)
    asked = rates_of(lineups[0], picked, ends=rates, points=points)
    rows = [row_at(lineups, picked.scenario, picked.valve, float(rate)) for rate in asked]
    if not any(row.bases for row in rows):
        raise CaseError([_out_of_reach(rows)])
    survey = Survey(lineups, rows, tell)
    survey.march([(row, columns) for row in survey.rows])
    if not unmendable:
        _settle(survey, columns, picked.rate)
    bounds = [_longest(lineups[0], row, picked, book=book, columns=columns) for row in rows]
    table = [[row.seen.get(stroke) for stroke in columns] for row in rows]
    return ChartData(
        valve=picked.valve,
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
        notes=_notes(lineup, picked),
        confirmed=np.array([row.run is not None for row in rows]),
        marches=survey.marches,
    )


def _agreed(
    lineup: LineUp, lineups: Sequence[LineUp], picked: Picked, *, book: RuleBook, progress: Progress
) -> tuple[Agreed, str]:
    """Run the point of the case in full; and what there no stroke can mend, "" if nothing."""
    runs = [simulate(one, picked.scenario, progress=progress) for one in lineups]
    static = list(static_findings(lineup))
    found = static + [f for one, run in zip(lineups, runs, strict=True) for f in findings_of(one, run)]
    _, rule = longest_allowed(
        lineups[0],
        picked.scenario,
        picked.valve,
        book=book,
        run=runs[0],
        shortest=picked.stroke,
        longest=picked.stroke,
    )
    agreed = Agreed(
        rate=picked.rate,
        stroke=picked.stroke,
        pressures=worst_of(f.verdict for f in found),
        finding=weakest(found),
        rule=rule,
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


def _settle(survey: Survey, strokes: Sequence[float], agreed: float) -> None:
    """Search the shortest safe stroke of every rate.

    Full runs confirm it at some rates, the agreed one among them, or ask for more margin; the rates between
    ask for the greater margin of the two beside them.
    """
    rows = survey.rows
    marks = [k for k, row in enumerate(rows) if k % EVERY == 0 or row is rows[-1] or row.rate == agreed]
    left = [rows[k] for k in marks]
    survey.search(rows)
    for _ in range(ATTEMPTS):
        left = survey.confirm(left, strokes[-1])
        if not left:
            break
        survey.search(left)
    for row in left:
        row.least = math.inf  # nothing was confirmed: no stroke counts here, nor at the rates beside it
    between = {
        k: (rows[low], rows[high])
        for low, high in zip(marks, marks[1:], strict=False)
        for k in range(low + 1, high)
    }
    survey.follow([rows[k] for k in between], list(between.values()), strokes[-1])


def _longest(
    lineup: LineUp, row: RateRow, picked: Picked, *, book: RuleBook, columns: Sequence[float]
) -> tuple[float, Rule | None]:
    """Longest stroke that the rules on time allow at a rate [s], and the rule beyond it."""
    if not row.bases:
        return math.nan, None
    try:
        run = row.run or simulate(lineup, row.with_stroke(picked.stroke), quick=True)
    except SolveError as error:
        row.why = str(error)
        return 0.0, None  # nothing is known of the flow into the tanks
    bound, rule = longest_allowed(
        lineup, row.scenario, picked.valve, book=book, run=run, shortest=columns[0], longest=columns[-1]
    )
    return (math.inf if bound is None else bound), rule


def _notes(lineup: LineUp, picked: Picked) -> tuple[str, ...]:
    """What the bounds on the slow side leave out."""
    if picked.scenario.ordered is None:
        return ("The rules on time are for emergency shutdowns: this scenario has none.",)
    dry = [f'"{t.name}"' for t in lineup.tanks if t.side == "ship" and t.ullage is None]
    if dry:
        return (f"No ullage is given for {', '.join(dry)}: overfilling does not bound the stroke there.",)
    return ()


Ends = tuple[float, float]


RATES = (0.25, 1.5)  # of the agreed rate, shown unless asked otherwise


STROKES = (2.0, 60.0)  # [s]


LEAST = 0.5  # [s] no cargo valve is meant to be faster


LONGER, PERIODS = 1.5, 4.0  # the longest shown is not less than these times the stroke, the pipeline periods


BEYOND = 1.04  # so far beyond the greatest rate that can be reached a chart goes


FASTER = 0.5  # a stroke this much shorter tells which of several valves matters most


@dataclass(frozen=True, kw_only=True)
class Picked:
    """The valve and the scenario of a chart.

    Attributes
    ----------
    scenario : Scenario
    valve : str
        It closes in the scenario.
    rate, stroke : float
        Of the case [m3/s], [s].
    chosen : bool
        Nobody asked for the scenario.
    """

    scenario: Scenario
    valve: str
    rate: float
    stroke: float
    chosen: bool


def pick(lineup: LineUp, *, valve: str | None, scenario: str | None) -> Picked:
    """Choose what was not asked for: the scenario that comes nearest to a limit, and there the valve.

    Parameters
    ----------
    lineup : LineUp
    valve, scenario : str or None
        As asked for.

    Raises
    ------
    CaseError
        A name that is not there, a valve that does not close, a case without a rate; or as
        :func:`surge.transient.run.plan`.

    Notes
    -----
    Of several valves in the scenario it is the one whose stroke does most harm when it is halved.
    """
    rate = lineup.rate
    if rate is None:
        raise CaseError([_NO_RATE])
    _refuse_unknown(lineup, valve, scenario)
    wanted = _wanted(lineup, valve)
    pairs = [
        (s, name)
        for s in lineup.scenarios
        for name in closing_valves(lineup, s)
        if name in wanted and scenario in (None, s.name)
    ]
    if not pairs:
        raise CaseError([_idle(lineup, valve, scenario)])
    harm: dict[tuple[str, str], tuple[float, float]] = {}
    for one in lineup.scenarios:
        valves = [name for s, name in pairs if s is one]
        faster = [with_strokes(one, {v: FASTER * closing_valves(lineup, one)[v]}) for v in valves]
        if valves:
            as_is, *margins = (near.margin for near in Scanner(lineup, one).moved([one, *faster]))
            harm |= {(one.name, v): (as_is, m) for v, m in zip(valves, margins, strict=True)}
    one, name = min(pairs, key=lambda pair: harm[pair[0].name, pair[1]])
    return Picked(
        scenario=one,
        valve=name,
        rate=one.rate if one.rate is not None else rate.agreed,
        stroke=closing_valves(lineup, one)[name],
        chosen=scenario is None and len(lineup.scenarios) > 1,
    )


def _wanted(lineup: LineUp, valve: str | None) -> set[str]:
    if valve is not None:
        return {valve}
    return {v.name for v in lineup.valves if v.adjustable} or {v.name for v in lineup.valves}


_NO_RATE = Fault(
    path=("rate",),
    found="the case states no rate: it flows as the pump and the levels give it",
    expected="a rate that can be another, and the means by which it is reached",
    remedy='write [rate] with agreed = "600 m3/h", means = "throttle" and at = "shore control valve"',
)


def _refuse_unknown(lineup: LineUp, valve: str | None, scenario: str | None) -> None:
    faults = [
        Fault(
            path=(what,),
            found=f'"{name}"',
            expected=f"a {what} of the case: " + ", ".join(f'"{n}"' for n in known),
            remedy=f"check the name that was asked for (--{what})",
        )
        for what, name, known in (
            ("valve", valve, [v.name for v in lineup.valves]),
            ("scenario", scenario, [s.name for s in lineup.scenarios]),
        )
        if name is not None and name not in known
    ]
    if faults:
        raise CaseError(faults)


def _idle(lineup: LineUp, valve: str | None, scenario: str | None) -> Fault:
    whose = f'"{valve}"' if valve is not None else "no adjustable valve" if _marked(lineup) else "no valve"
    where = f'in "{scenario}"' if scenario is not None else "in any scenario"
    verb = "does not close" if valve is not None else "closes"
    closing = [f'"{name}" in "{s.name}"' for s in lineup.scenarios for name in closing_valves(lineup, s)]
    return Fault(
        path=("scenario",),
        found=f"{whose} {verb} {where}",
        expected="a valve that closes: " + (", ".join(closing) or "there is none in this case"),
        remedy="choose another valve or scenario, or add an event that closes the valve",
    )


def _marked(lineup: LineUp) -> bool:
    return any(v.adjustable for v in lineup.valves)


def rates_of(lineup: LineUp, picked: Picked, *, ends: Ends | None, points: int) -> Array:
    """Rates of a raster, the agreed one among them [m3/s].

    Without ``ends`` it begins at the least rate that the line-up can be held to, and ends a little above the
    greatest that it can reach.
    """
    if ends is None:
        least, most = (_edge(lineup, picked, share * picked.rate) for share in RATES)
        ends = least, most if most == RATES[1] * picked.rate else BEYOND * most
    return _with(np.linspace(*ends, points), picked.rate)


def _edge(lineup: LineUp, picked: Picked, far: float) -> float:
    """The rate nearest to ``far`` that can be reached, from the agreed one on [m3/s]."""

    def reached(rate: float) -> bool:
        return plan_at(lineup, picked.scenario, rate) is not None

    if reached(far):
        return far
    near = picked.rate
    for _ in range(8):
        middle = 0.5 * (near + far)
        near, far = (middle, far) if reached(middle) else (near, middle)
    return near


def strokes_of(lineup: LineUp, picked: Picked, *, ends: Ends | None, points: int) -> Array:
    """Strokes of a raster, that of the case among them, each a share longer than the one before [s]."""
    if ends is None:
        valve = next(v for v in lineup.valves if v.name == picked.valve)
        period = pipeline_period(lineup, valve).longest
        longest = max(STROKES[1], LONGER * picked.stroke, PERIODS * period)
        shortest = min(STROKES[0], max(FASTER * picked.stroke, LEAST))
        ends = shortest, float(10.0 * np.ceil(longest / 10.0 - 1e-9))
    strokes = np.geomspace(*ends, points)
    tenths = np.round(strokes, 1)
    if np.all(np.diff(tenths) > 0) and tenths[0] == strokes[0]:
        strokes = np.append(tenths[:-1], strokes[-1])
    return _with(strokes, picked.stroke)


def _with(values: Array, value: float) -> Array:
    """Let a value take the place of the inner sample that is nearest to it."""
    inner = values[1:-1]
    if inner.size and values[0] < value < values[-1]:
        inner[int(np.argmin(np.abs(inner - value)))] = value
    return values
