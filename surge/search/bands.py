"""The closing-time window for what is uncertain: the worst over bands of wave speed, stroke, rate, curve.

Each band is looked at alone at its ends and within, all together at every corner and at some points of the
interior. The answer is confirmed by full runs at the points that come nearest to a limit.
"""

from __future__ import annotations

from dataclasses import dataclass

from surge.model.lineup import LineUp, Scenario
from surge.rules.book import Rule, RuleBook
from surge.rules.findings import EXCEEDED, UNDECIDED, WITHIN, Finding, weakest, worst_of
from surge.search.band_points import CENTRE, THREADS, BandMoves, BandPoint, Bands, Member, Members, Search
from surge.search.beside import BesideMoves, beside_moves
from surge.search.bounds import longest_allowed, rounded_down, rounded_up
from surge.search.judged import Judged
from surge.search.strokes import ATTEMPTS, FIRST_NEED, SHORTEST_STROKE, StrokeLimits
from surge.transient.result import ScenarioResult
from surge.transient.run import simulate
from surge.workers import Progress, workers

LONGER = 1.25  # times: the next stroke to confirm, where no greater margin can be asked for
FULL_RUNS = 4  # points beside the centre that full runs confirm: those nearest to a limit


@dataclass(frozen=True, kw_only=True, eq=False)
class BandLimits:
    """What one scenario allows one valve, the worst over the bands.

    Attributes
    ----------
    valve, scenario : str
    bands : Bands
    plain : StrokeLimits
        Without bands.
    shortest : float or None
        Shortest safe stroke that may be ordered [s], rounded up; None: none is.
    longest : float or None
        Longest that the rules on time allow [s], rounded down; None: no rule binds it.
    slow_rule : Rule or None
    governs : Finding or None
        The nearest limit in the runs that confirm the shortest stroke.
    at : BandPoint
        Where in the bands that was.
    run : ScenarioResult or None
    alone : tuple of BandMoves
        The band that matters most first.
    points, confirmed : tuple of BandPoint
        Looked at, and confirmed by full runs.
    left_out : tuple of (Point, str)
        Where the line-up cannot flow so, and why.
    marches : int
        Strokes looked at, over all points.
    beside : tuple of BesideMoves
        What each thing that the case asks for beside the usual does alone.
    reason, verdict : str
        As in StrokeLimits.
    """

    valve: str
    scenario: str
    bands: Bands
    plain: StrokeLimits
    shortest: float | None
    longest: float | None
    slow_rule: Rule | None
    governs: Finding | None
    at: BandPoint
    run: ScenarioResult | None
    alone: tuple[BandMoves, ...]
    points: tuple[BandPoint, ...]
    confirmed: tuple[BandPoint, ...]
    left_out: tuple[tuple[BandPoint, str], ...]
    marches: int
    reason: str
    verdict: str
    beside: tuple[BesideMoves, ...] = ()


@dataclass(frozen=True, kw_only=True, eq=False)
class _Confirmed:
    """One stroke as a check judges it, at each point."""

    judged: tuple[tuple[BandPoint, Judged], ...]

    @property
    def findings(self) -> list[Finding]:
        return [f for _, one in self.judged for f in one.findings]

    @property
    def lacking(self) -> float:
        """By how much what is not kept for certain falls short [Pa]."""
        return max(one.lacking for _, one in self.judged)

    @property
    def kept(self) -> bool:
        """Whether every limit and every rule is kept for certain, but what a shorter stroke would mend."""
        return all(one.kept_by_surge for _, one in self.judged)

    @property
    def hopeless(self) -> bool:
        """Whether something is undecided that no other stroke would mend: data are missing."""
        return any(one.hopeless for _, one in self.judged)

    @property
    def verdict(self) -> str:
        """The worst, where a rule on time does not count: it is in the longest stroke."""
        return worst_of(one.but_for_time().verdict for _, one in self.judged)

    @property
    def reason(self) -> str:
        """Why it is not kept, "" where no more than a pressure is in the way."""
        worst = (one.but_for_time() for _, one in self.judged if one.but_for_time().verdict == self.verdict)
        return next((one.reason for one in worst if one.reason), "")


def _confirm(members: Members, stroke: float, by: float) -> _Confirmed:
    """Full runs at the centre and at the points that come nearest to a limit at the stroke ``by``."""
    members.fill(members.members, [by])
    others = sorted(members.members[1:], key=lambda m: m.margin(by))[:FULL_RUNS]

    def one(m: Member) -> tuple[BandPoint, Judged]:
        return m.point, m.family.judge(stroke * m.factor)

    with workers(THREADS) as pool:
        return _Confirmed(judged=tuple(pool.map(one, [members.centre, *others])))


def band_limits(
    lineup: LineUp,
    scenario: Scenario,
    plain: StrokeLimits,
    *,
    bands: Bands,
    book: RuleBook,
    sound_speed_doubt: float = 0.0,
    progress: Progress | None = None,
) -> BandLimits:
    """Search the window of a valve for the worst over bands.

    Parameters
    ----------
    lineup : LineUp
        As for the plain window.
    scenario : Scenario
    plain : StrokeLimits
        Of :func:`surge.search.window.stroke_limits` for this line-up and scenario.
    bands : Bands
    book : RuleBook
    sound_speed_doubt : float
        Doubt of the liquid's sound speed as a fraction: the band of the wave speed where none is stated.
    progress : callable, optional
        Called with a word as work goes on; from several threads.

    Raises
    ------
    CaseError
        A band that cannot be; and as the plain window.
    GridError, SolveError
    """
    stated = bands.stated(sound_speed_doubt)
    stated.refuse()
    if plain.shortest is None:
        return _as_plain(plain, stated)
    valves = plain.together or (plain.valve,)
    members = Members(lineup, scenario, valves, stated, progress or (lambda _: None), book=book)
    search = Search(members, plain)
    moves = search.alone(_need(plain))
    base = search.shortest([members.centre], _need(plain))
    beside = beside_moves(members.centre.family, plain, need=_need(plain), base=base)
    confirmed, stroke = _searched(members, search)
    longest, rule = _longest(members, plain, book)
    governs = weakest(confirmed.findings)
    point, at = next((r for r in confirmed.judged if governs in r[1].findings), confirmed.judged[0])
    verdict, reason = _verdict(confirmed, stroke, longest, plain.to)
    return BandLimits(
        valve=plain.valve,
        scenario=plain.scenario,
        bands=stated,
        plain=plain,
        shortest=stroke,
        longest=longest,
        slow_rule=rule,
        governs=governs,
        at=point,
        run=at.run,
        alone=moves,
        points=tuple(m.point for m in members.members),
        confirmed=tuple(p for p, _ in confirmed.judged),
        left_out=tuple(members.left_out),
        marches=members.marches,
        reason=reason,
        verdict=verdict,
        beside=beside,
    )


def _verdict(
    confirmed: _Confirmed, stroke: float | None, longest: float | None, to: float
) -> tuple[str, str]:
    """Verdict on the window, and why there is none."""
    verdict = confirmed.verdict
    if stroke is not None:
        return (EXCEEDED if longest is not None and stroke > longest else verdict), ""
    reason = confirmed.reason
    unsafe = f"even {to:g} s is not shown to be safe over the bands"
    return (verdict if verdict != WITHIN else UNDECIDED), reason or unsafe


def _searched(members: Members, search: Search) -> tuple[_Confirmed, float | None]:
    """Search, and confirm by full runs; the margin asked for grows by what these lack.

    Where no stroke keeps the greater margin, the error that asks for it is one of quick strokes only, and
    what is undecided about a run may be so at these only: then longer strokes are confirmed as they are.
    """
    need, told, by = FIRST_NEED, 0.0, search.start
    longer = False
    for _ in range(ATTEMPTS):
        found = None if longer else search.shortest(members.members, need)
        if found is not None:
            by, told = found, max(rounded_up(found), search.start)
        elif told > 0.0:
            told, longer = rounded_up(told * LONGER), True
        else:
            break
        told = min(told, search.plain.to)
        confirmed = _confirm(members, told, by)
        if confirmed.kept:
            return confirmed, told
        if confirmed.hopeless or told == search.plain.to:
            return confirmed, None
        longer = longer or confirmed.lacking <= 0.0
        # As in the plain window: a need that crept up would never be met.
        need += max(1.5 * confirmed.lacking, 0.5 * need)
    return _confirm(members, search.plain.to, by), None


def _need(plain: StrokeLimits) -> float:
    """The margin that the plain answer keeps for its numerical error, about [Pa]."""
    return max(FIRST_NEED, plain.run.method.worst_error if plain.run else 0.0)


def _longest(members: Members, plain: StrokeLimits, book: RuleBook) -> tuple[float | None, Rule | None]:
    """The longest stroke that may be ordered, the valve as slow and the rate as great as they may be."""
    found: list[tuple[float, Rule | None]] = []
    for m in members.members:
        if m.point not in (CENTRE, CENTRE._replace(rate=1.0)):
            continue
        own = m.family
        run = simulate(own.lineups[0], own.with_stroke(plain.to), quick=True)
        slow, rule = longest_allowed(
            own.lineup,
            own.scenario,
            own.valves,
            book=book,
            run=run,
            shortest=min(plain.from_, SHORTEST_STROKE),
            longest=plain.to,
            bench=own.bench,
        )
        if slow is not None:
            found.append((slow, rule))
    if not found:
        return None, None
    slow, rule = min(found, key=lambda pair: pair[0])
    return rounded_down(slow / (1.0 + members.bands.width("stroke"))), rule


def _as_plain(plain: StrokeLimits, bands: Bands) -> BandLimits:
    """Where no stroke is safe without bands, none is with them."""
    return BandLimits(
        valve=plain.valve,
        scenario=plain.scenario,
        bands=bands,
        plain=plain,
        shortest=None,
        longest=plain.longest,
        slow_rule=plain.slow_rule,
        governs=plain.governs,
        at=CENTRE,
        run=plain.run,
        alone=(),
        points=(),
        confirmed=(),
        left_out=(),
        marches=0,
        reason=plain.reason,
        verdict=plain.verdict,
    )
