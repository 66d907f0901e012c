"""The closing-time windows of a case: every adjustable valve, the greatest rates, and the set run as such.

Decisions
---------
* Windows of one valve each do not prove the set: the shortest strokes are run together. Where they are not
  safe all are made longer in proportion, none beyond its window, and the verdict of a check on the scenarios
  in which they close counts, pressures and required rules.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace

from surge.errors import CaseError, Fault
from surge.model.lineup import LineUp, Scenario
from surge.model.stroke import with_strokes
from surge.rules.assess import Assessment, assess
from surge.rules.book import RuleBook
from surge.rules.findings import EXCEEDED, EXIT_CODE, WITHIN, Finding, weakest, worst_of
from surge.rules.rulings import counts
from surge.search.band_points import Bands
from surge.search.bands import BandLimits, band_limits
from surge.search.judge import Bench, goes_by_runs, lacking_margin, slow_side
from surge.search.orders import OrderQuestion, order_question
from surge.search.rates import Opening, RateLimit, greatest_rate, opening_rate
from surge.search.scan import NearestLimit, Scanner
from surge.search.shapes import ShapeAnswer, best_shape
from surge.search.smallest import first_look
from surge.search.strokes import (
    FIRST_NEED,
    SHORTEST_STROKE,
    StrokeLimits,
    closing_valves,
    over_ranges,
    rounded_up,
    stroke_limits,
)
from surge.workers import Progress


@dataclass(frozen=True, kw_only=True, eq=False)
class Windows:
    """The windows of a case.

    Attributes
    ----------
    by_valve : dict of str to tuple of StrokeLimits
        For each valve, one for each scenario in which it closes.
    rates : tuple of RateLimit
        Greatest safe rates at the strokes of the case.
    together : JointSet or None
        Strokes of all valves run together; None when some valve has no safe stroke.
    openings : dict of str to Opening
        For valves whose window is empty: the rate at which it opens.
    open_up_to : dict of str to Opening
        For valves whose window is open and ends by a rule on time: the rate above which it is empty.
    """

    by_valve: dict[str, tuple[StrokeLimits, ...]]
    rates: tuple[RateLimit, ...]
    together: JointSet | None = None
    openings: dict[str, Opening] = field(default_factory=dict)
    open_up_to: dict[str, Opening] = field(default_factory=dict)

    @property
    def joint(self) -> Assessment | None:
        """What came of all strokes together."""
        return self.together.assessment if self.together else None

    @property
    def joint_strokes(self) -> dict[str, float]:
        """The strokes that were run together [s]."""
        return self.together.strokes if self.together else {}

    def empty(self, valve: str) -> bool:
        """Whether a valve has no stroke that is neither too fast nor too slow."""
        shortest, longest = self.bounds(valve)
        return shortest is None or (longest is not None and shortest > longest)

    def bounds(self, valve: str) -> tuple[float | None, float | None]:
        """Shortest and longest stroke of a valve over all its scenarios [s]; None as in StrokeLimits."""
        parts = self.by_valve[valve]
        shortest = [p.shortest for p in parts]
        longest = [p.longest for p in parts if p.longest is not None]
        safe = None if None in shortest else max(s for s in shortest if s is not None)
        return safe, min(longest, default=None)

    @property
    def verdict(self) -> str:
        """Kept: every valve has a window, and all strokes together keep every limit and every rule."""
        verdicts = [p.verdict for parts in self.by_valve.values() for p in parts]
        for valve in self.by_valve:
            if self.bounds(valve)[0] is not None and self.empty(valve):
                verdicts.append(EXCEEDED)
        if self.together is not None:
            verdicts.append(self.together.verdict)
        return worst_of(verdicts)

    @property
    def exit_code(self) -> int:
        """0 a window is open for every valve, 3 one is empty, 4 cannot be decided."""
        return EXIT_CODE[self.verdict]


def windows_of(
    lineup: LineUp,
    *,
    book: RuleBook,
    valves: Sequence[str] = (),
    shortest: float = SHORTEST_STROKE,
    longest: float | None = None,
    progress: Progress | None = None,
) -> Windows:
    """Search the window of every adjustable valve, the greatest safe rates, and run the set as such.

    Parameters
    ----------
    lineup : LineUp
    book : RuleBook
    valves : sequence of str
        Those to search for; by default those that the case marks as adjustable, and if it marks none all
        that close in some scenario.
    shortest, longest : float
        Strokes looked at [s].
    progress : callable, optional
        Called with a word as work goes on.

    Raises
    ------
    CaseError
        A valve that is not there or never closes; and as :func:`surge.transient.run.simulate`.
    GridError, SolveError
    """
    bench = Bench(lineup, book, progress)
    lineup = bench.lineup
    closing = {valve: _closes_in(lineup, valve) for valve in _wanted(lineup, valves)}
    _refuse_idle(lineup, closing)
    by_valve = {
        valve: tuple(
            stroke_limits(
                lineup,
                s,
                valve,
                book=book,
                shortest=shortest,
                longest=longest,
                bench=bench,
                progress=progress,
            )
            for s in scenarios
        )
        for valve, scenarios in closing.items()
    }
    concerned = [s for s in lineup.scenarios if any(s in scenarios for scenarios in closing.values())]
    found_rates = (greatest_rate(lineup, s, book=book, bench=bench, progress=progress) for s in concerned)
    rates = tuple(r for r in found_rates if r is not None)
    made = Windows(by_valve=by_valve, rates=rates)
    found = {v: _opening(bench, made, v, closing[v], progress=progress) for v in by_valve}
    return replace(
        made,
        openings={v: o for v, o in found.items() if o is not None and made.empty(v)},
        open_up_to={v: o for v, o in found.items() if o is not None and not made.empty(v)},
        together=_together(bench, made, progress=progress),
    )


def _opening(
    bench: Bench, made: Windows, valve: str, scenarios: list[Scenario], *, progress: Progress | None
) -> Opening | None:
    """The greatest rate at which a valve has a window; None where no rule on time could make it empty."""
    empty = made.empty(valve)
    if not empty and made.bounds(valve)[1] is None:
        return None
    parts = made.by_valve[valve]
    return opening_rate(
        bench.lineup,
        scenarios,
        parts,
        empty=empty,
        book=bench.book,
        bench=bench,
        progress=progress or (lambda _: None),
    )


def _together(bench: Bench, made: Windows, *, progress: Progress | None) -> JointSet | None:
    """All valves at their shortest safe strokes, or longer; None where one of them has none."""
    shortest, longest = {}, {}
    for valve in made.by_valve:
        stroke, longest[valve] = made.bounds(valve)
        if stroke is None:
            return None
        shortest[valve] = stroke
    return joint_set(bench.lineup, shortest, longest, book=bench.book, bench=bench, progress=progress)


def _wanted(lineup: LineUp, valves: Sequence[str]) -> list[str]:
    if valves:
        return list(dict.fromkeys(valves))
    marked = [v.name for v in lineup.valves if v.adjustable]
    return marked or [v.name for v in lineup.valves if _closes_in(lineup, v.name)]


def _closes_in(lineup: LineUp, valve: str) -> list[Scenario]:
    return [s for s in lineup.scenarios if valve in closing_valves(lineup, s)]


def _refuse_idle(lineup: LineUp, closing: dict[str, list[Scenario]]) -> None:
    known = {v.name: v for v in lineup.valves}
    faults = []
    for name, scenarios in closing.items():
        if name not in known:
            listed = ", ".join(f'"{n}"' for n in known)
            faults.append(
                Fault(
                    path=("valve",),
                    found=f'"{name}"',
                    expected=f"a valve of the case: {listed}",
                    remedy="check the name that was asked for (--valve)",
                )
            )
        elif not scenarios:
            faults.append(
                Fault(
                    path=(*known[name].origin, "adjustable"),
                    found=f'"{name}" closes in no scenario',
                    expected="a valve that closes in some scenario",
                    remedy="add an event that closes it, or choose another valve",
                )
            )
    if not closing:
        faults.append(
            Fault(
                path=("scenario",),
                found="no valve closes in any scenario",
                expected="a valve whose stroke can be searched",
                remedy='add [[scenario.event]] with close = "manifold valve"',
            )
        )
    if faults:
        raise CaseError(faults)


LONGEST_JOINT_FACTOR, STEP = (
    8.0,
    1.1,
)  # up to so many times the shortest strokes, in such steps (our own bounds)


ATTEMPTS = 4  # full runs of a set


@dataclass(frozen=True, kw_only=True, eq=False)
class JointSet:
    """Strokes run together.

    Attributes
    ----------
    strokes : dict of str to float
        Valve -> stroke [s].
    assessment : Assessment
        What came of them.
    longer : float
        How many times as long as each valve's own shortest they had to be; 1: these themselves.
    pressures : str
        Verdict on the pressures of the scenarios in which these valves close.
    verdict : str
        Verdict on these scenarios: pressures and required rules, as a check finds it.
    mendable : bool
        Whether something is not kept that longer strokes might mend.
    elsewhere : Finding or None
        What is not kept in the other scenarios, whatever these strokes are.
    """

    strokes: dict[str, float]
    assessment: Assessment
    longer: float
    pressures: str
    verdict: str
    mendable: bool = False
    elsewhere: Finding | None = None


def joint_set(
    lineup: LineUp,
    shortest: Mapping[str, float],
    longest: Mapping[str, float | None],
    *,
    book: RuleBook,
    bench: Bench | None = None,
    progress: Progress | None = None,
) -> JointSet:
    """Run the shortest strokes together, and where they are not safe so, longer ones in proportion.

    Parameters
    ----------
    lineup : LineUp
    shortest, longest : dict of str to float
        Window of every valve [s].
    book : RuleBook
    bench : Bench, optional
        Of this line-up and book: what was run on it is not run again.
    progress : callable, optional
        Called with a word as work goes on.

    Raises
    ------
    CaseError, GridError, SolveError
    """
    bench = bench or Bench(lineup, book, progress)
    made = _run(bench, dict(shortest), 1.0)
    first, need, least = made, FIRST_NEED, 1.0
    if len(shortest) < 2:
        return made
    for _ in range(ATTEMPTS):
        if not made.mendable:
            return made if made.verdict == WITHIN else first
        lacking = 1.5 * lacking_margin(made.assessment.findings)
        # Where a rule is in the way, or the scan promised too much, a longer set is tried all the same.
        least = STEP * made.longer if lacking <= 0.0 else least
        need += max(0.0, lacking)
        found = _safe_factor(bench, shortest, longest, need)
        if found is None or max(found, least) > LONGEST_JOINT_FACTOR:
            break
        found = max(found, least)
        made = _run(bench, _times(shortest, longest, found), found)
    return made if made.verdict == WITHIN else first


def with_all_strokes(lineup: LineUp, strokes: Mapping[str, float]) -> LineUp:
    """Return the line-up with these strokes in every scenario."""
    return lineup.with_(scenarios=tuple(with_strokes(s, strokes) for s in lineup.scenarios))


def _run(bench: Bench, strokes: dict[str, float], longer: float) -> JointSet:
    lineup, book = bench.lineup, bench.book
    made = assess(with_all_strokes(lineup, strokes), book=book, known=bench.at_hand, progress=bench.progress)
    counting = [f for f in made.findings if counts(f, book)]
    moved = {s.name for s in lineup.scenarios if strokes.keys() & closing_valves(lineup, s).keys()}
    pressures = worst_of(f.verdict for f in counting if f.scenario in {"", *moved})
    rules = [r for r in made.rulings if r.verdict != WITHIN and (r.scenario in moved or goes_by_runs(r))]
    return JointSet(
        strokes=strokes,
        assessment=made,
        longer=longer,
        pressures=pressures,
        verdict=worst_of([pressures, *(r.verdict for r in rules)]),
        mendable=pressures != WITHIN or any(not slow_side(r.rule) for r in rules),
        elsewhere=weakest(f for f in counting if f.scenario not in {"", *moved} and f.verdict != WITHIN),
    )


def _times(
    shortest: Mapping[str, float], longest: Mapping[str, float | None], factor: float
) -> dict[str, float]:
    """Every stroke so many times as long, none longer than it may be [s]."""
    found = {}
    for valve, stroke in shortest.items():
        most = longest[valve]
        longer = rounded_up(factor * stroke)
        found[valve] = longer if most is None else max(stroke, min(longer, most))
    return found


def _safe_factor(
    bench: Bench, shortest: Mapping[str, float], longest: Mapping[str, float | None], need: float
) -> float | None:
    """The least factor from which on every one looked at keeps a margin [Pa]."""
    factors = first_look(LONGEST_JOINT_FACTOR, 1.0, fall=STEP)
    sets = [_times(shortest, longest, f) for f in factors]
    rows = [
        _margins(bench, one, scenario, sets)
        for one in over_ranges(bench.lineup)
        for scenario in bench.lineup.scenarios
        if any(m.valve in shortest for m in scenario.moves)
    ]
    found = None
    for factor, column in zip(factors, zip(*rows, strict=True), strict=True):
        if not min(n.margin for n in column) >= need:
            break
        found = factor
    return found


def _margins(
    bench: Bench, one: LineUp, scenario: Scenario, sets: Sequence[dict[str, float]]
) -> list[NearestLimit]:
    return Scanner(one, scenario, limits=bench.limits(scenario)).moved(
        [with_strokes(scenario, strokes) for strokes in sets]
    )


@dataclass(frozen=True, kw_only=True, eq=False)
class Extras:
    """Answers that were asked for beside the windows; empty where they were not."""

    orders: tuple[OrderQuestion, ...] = ()
    shapes: tuple[ShapeAnswer, ...] = ()
    bands: tuple[BandLimits, ...] = ()


def asked(
    lineup: LineUp,
    windows: Windows,
    *,
    book: RuleBook,
    orders: bool = False,
    shapes: bool = False,
    bands: Mapping[str, float] | None = None,
    progress: Progress | None = None,
) -> Extras:
    """Answer what is asked beside the windows of a case.

    Parameters
    ----------
    lineup : LineUp
    windows : Windows
        As :func:`surge.search.window.windows_of` found them.
    book : RuleBook
    orders : bool
        Other orders of shutting, for every scenario that has a question of order.
    shapes : bool
        The best two-stage law of each searched valve at its stroke in the case.
    bands : mapping of str to float, optional
        How far figures may be off; see :class:`surge.search.band_points.Bands`.
    progress : callable, optional

    Raises
    ------
    CaseError, GridError, SolveError
    """
    bench = Bench(lineup, book, progress)
    lineup = bench.lineup
    scenario = {s.name: s for s in lineup.scenarios}
    parts = [p for found in windows.by_valve.values() for p in found]
    questions = (
        (order_question(lineup, s, bench=bench, progress=progress) for s in lineup.scenarios)
        if orders
        else ()
    )
    answers = (
        (best_shape(lineup, scenario[p.scenario], p.valve, bench=bench, progress=progress) for p in parts)
        if shapes
        else ()
    )
    wide: tuple[BandLimits, ...] = ()
    if bands is not None:
        wide = tuple(
            band_limits(
                lineup,
                scenario[p.scenario],
                p,
                bands=Bands(**bands),
                book=book,
                sound_speed_doubt=lineup.liquid.sound_speed_doubt,
                progress=progress,
            )
            for p in parts
            if p.shortest is not None
        )
    return Extras(orders=tuple(q for q in questions if q is not None), shapes=tuple(answers), bands=wide)
