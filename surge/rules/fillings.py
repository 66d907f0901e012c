"""Fillings held against limits and rules.

Decisions
---------
* Limits are those of a scenario: of every part on the way of the liquid, by the worse of both models. The
  highest and the lowest pressure of the whole filling count, the arrival of the front and what follows it
  included.
* Where the liquid boils, nothing is told as kept after that: rejoining columns are not followed here.
* Rules on velocity hold for every pipe on the way; none is kept where the liquid boils. That on the inlets
  of tanks at the start holds for the front as well, in the pipes that fill: what arrives there is the first
  liquid.
* What is known as a range is taken as usual, at either end by itself, and all together at their low ends and
  at their high ones. The exponent of the gas and the coefficient of its opening, where they are ranges, are
  taken at all their ends, with the others as usual and with those together. Of the spread of a figure over
  these points the share ``INSIDE`` (our own choice) counts as error, since what lies between them was not
  looked at. More than ``MOST`` ranges are moved together only.
* Where a limit is exceeded at one point and kept at another, it cannot be decided: the figure decides.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

from surge.effort import foresee, within
from surge.errors import GridError, SolveError
from surge.model.filling import Filling
from surge.model.lineup import LineUp, Pipe
from surge.model.ranges import Taken, ranges_of, usual_shares
from surge.rules.book import RuleBook
from surge.rules.findings import (
    EXCEEDED,
    UNDECIDED,
    WITHIN,
    Finding,
    Whose,
    finding_about,
    missing,
    weakest,
    worst_of,
)
from surge.rules.flow import FLOWS_UNKNOWN
from surge.rules.ground import NOT_DECIDED, NOT_KEPT, RuledCase, Ruling, judged, rank
from surge.rules.limits import VALID_RULE, LimitedExtreme, limits_at, limits_in
from surge.rules.pressure import counts
from surge.transient.filling import fill_at
from surge.transient.filling_result import FillExtreme, FillingResult
from surge.workers import Progress, each

INSIDE = 0.25  # [-] of the spread over what was looked at: error for what lies between
MOST = 4  # ranges that are moved one by one
USUAL_EFFORT = 6e8  # that a filling takes at one point of what is a range: as those of the demo
VELOCITY, INLETS = "velocity", "velocity at the inlets of ship's tanks"
NOT_SEARCHED = (
    "Fillings are held as the case has them, at rates of their own: no stroke or rate is searched in them, "
    "and what is told as safe holds for the scenarios."
)
BOILS = "the liquid boils while the line fills: rejoining columns give pressures that are not followed here"
RANGED = "it depends on figures that are known as a range only"


@dataclass(frozen=True, kw_only=True, eq=False)
class FilledCase:
    """A filling held against limits and rules.

    Attributes
    ----------
    filling : Filling
    results : tuple of FillingResult
        With all figures as usual first, then at other points of what is a range; empty where none was found.
    findings : tuple of Finding
        Of every limit on the way, each at its worst point.
    rulings : tuple of Ruling
        Of rules on velocity that apply.
    trouble : str
        Why it could not be followed; "" where it was.
    """

    filling: Filling
    results: tuple[FillingResult, ...]
    findings: tuple[Finding, ...]
    rulings: tuple[Ruling, ...]
    trouble: str = ""

    @property
    def name(self) -> str:
        """Of the filling."""
        return self.filling.name

    @property
    def usual(self) -> FillingResult | None:
        """With all figures as usual; None where it could not be followed."""
        return self.results[0] if self.results else None

    @property
    def verdict(self) -> str:
        """The worst of limits and rules."""
        return worst_of([*(f.verdict for f in self.findings), *(r.verdict for r in self.rulings)])

    @property
    def weakest(self) -> Finding | None:
        """The limit that governs; what cannot be decided without a figure counts too."""
        return weakest(self.findings)

    @property
    def broken(self) -> tuple[Ruling, ...]:
        """Rules that are not kept for certain."""
        return tuple(r for r in self.rulings if r.verdict != WITHIN)


def weakest_with(fillings: Sequence[FilledCase], worst: Finding | None) -> Finding | None:
    """The weakest place of all scenarios and fillings; ``worst`` is that of the scenarios."""
    found = (worst, *(one.weakest for one in fillings))
    return weakest(one for one in found if one is not None) or worst


def searched_beside(lineup: LineUp) -> str:
    """How searches regard the fillings of a line-up; "" where it has none."""
    return NOT_SEARCHED if lineup.fillings else ""


def filled_cases(
    lineup: LineUp, book: RuleBook | None, progress: Progress | None = None
) -> tuple[FilledCase, ...]:
    """Follow every filling of a line-up, and hold it against limits and rules.

    Parameters
    ----------
    lineup : LineUp
        Checked; figures in it may be ranges.
    book : RuleBook, optional
        Without one only pressures are looked at.
    progress : callable, optional
        Called with a word as work goes on.

    Raises
    ------
    CaseError
        The way of a filling cannot be used, or its rate cannot be reached.
    """
    found = []
    parts = foresee(lineup.fillings, lambda filling: filling_effort(lineup, filling))
    for filling, part in zip(lineup.fillings, parts, strict=True):
        if progress:
            progress(f'filling "{filling.name}"')
        with within(part):
            found.append(filled_case(lineup, filling, book))
    return tuple(found)


def filling_effort(lineup: LineUp, filling: Filling) -> float:
    """Effort that a filling usually takes, at all points of what is a range [-]."""
    return USUAL_EFFORT * sum(1 for _ in points_of(lineup, filling))


def filled_case(lineup: LineUp, filling: Filling, book: RuleBook | None) -> FilledCase:
    """Follow one filling; parameters as of :func:`filled_cases`."""
    try:
        points = list(points_of(lineup, filling))
        results = tuple(each(lambda point: fill_at(lineup, *point), points))
    except (SolveError, GridError) as error:
        why = str(error)
        return FilledCase(
            filling=filling, results=(), findings=(_not_run(filling, why),), rulings=(), trouble=why
        )
    findings = [f for f in _findings(lineup, filling, results) if book is None or counts(f, book)]
    rulings = _rulings(lineup, filling, results, book) if book is not None else []
    return FilledCase(filling=filling, results=results, findings=tuple(findings), rulings=tuple(rulings))


# Ranges


def points_of(lineup: LineUp, filling: Filling) -> Iterator[tuple[Filling, tuple[Taken, ...]]]:
    """Yield the points of what is a range at which a filling is followed, the usual one first.

    Parameters
    ----------
    lineup : LineUp
    filling : Filling
    """
    usual = usual_shares(lineup)
    yield filling, taken_at(lineup, usual)
    gases = list(_gases(filling))
    for other in gases:
        yield other, taken_at(lineup, usual)
    ranges = ranges_of(lineup)
    if not ranges:
        return
    if len(ranges) <= MOST:
        for k in range(len(ranges)):
            for end in (0.0, 1.0):
                shares = (*usual[:k], end, *usual[k + 1 :])
                yield filling, taken_at(lineup, shares)
    for end in (0.0, 1.0):
        for one in (filling, *gases):
            yield one, taken_at(lineup, tuple(end for _ in ranges))


def _gases(filling: Filling) -> Iterator[Filling]:
    """The filling with the gas and its opening at the ends of what is not known of them."""
    exponents = filling.exponent_range if filling.vent != "open" else None
    coefficients = filling.vent_coefficient_range if filling.vent == "opening" else None
    for n in exponents or (filling.exponent,):
        for c in coefficients or (filling.vent_coefficient,):
            if (n, c) != (filling.exponent, filling.vent_coefficient):
                yield replace(filling, exponent=n, vent_coefficient=c)


def taken_at(lineup: LineUp, shares: Sequence[float]) -> tuple[Taken, ...]:
    """Return the figures of what is a range at a point of shares [-]."""
    return tuple(
        Taken(r.subject, r.quantity, r.value(s)) for r, s in zip(ranges_of(lineup), shares, strict=True)
    )


# Limits


def _findings(lineup: LineUp, filling: Filling, results: Sequence[FillingResult]) -> list[Finding]:
    column = results[0].line.column
    found = []
    held: list[LimitedExtreme] = [h for e in column.elements for h in limits_in(lineup, e)]
    held += [h for p in column.points for h in limits_at(lineup, lineup.points_by_name[p])]
    for one in held:
        found.append(_held(filling.name, one, results))
    for e in column.elements:
        if isinstance(e, Pipe) and e.limits.rating is None:
            whose = Whose(scenario=filling.name, subject="element", name=e.name, check="peak")
            found.append(missing(whose, VALID_RULE, reason="no rating given: write rating = ..."))
    for s in lineup.supplies:
        if s.point == column.source and s.shut_off is None:
            why = f'no shut_off_pressure given for "{s.name}", from which the line fills'
            found.append(_not_run(filling, why))
    found += [_not_run(filling, why) for why in dict.fromkeys(r.undecided for r in results if r.undecided)]
    return found


def _not_run(filling: Filling, reason: str) -> Finding:
    """Why a filling as a whole cannot be decided."""
    whose = Whose(scenario=filling.name, subject="scenario", name=filling.name, check="run")
    return missing(whose, VALID_RULE, reason=reason)


def _held(name: str, held: LimitedExtreme, results: Sequence[FillingResult]) -> Finding:
    """One limit over all points."""
    key = (held.subject, held.name)
    made = [
        (held.margin(e.pressure) - e.error, e, r)
        for r in results
        if (e := (r.highest if held.upper else r.lowest).get(key)) is not None
    ]
    values = [e.pressure for _, e, _ in made]
    spread = INSIDE * (max(values) - min(values))
    verdicts = [_verdict(held, e, r, spread) for _, e, r in made]
    at = min(range(len(made)), key=lambda i: made[i][0])
    _, extreme, result = made[at]
    verdict, reason = verdicts[at]
    if verdict == EXCEEDED and any(v == WITHIN for v, _ in verdicts):
        verdict, reason = UNDECIDED, RANGED
    if verdict == WITHIN and any(v != WITHIN for v, _ in verdicts):
        verdict, reason = next((v, why) for v, why in verdicts if v != WITHIN)
    return finding_about(
        Whose(scenario=name, subject=held.subject, name=held.name, check=held.check),
        held.limit,
        value=extreme.pressure,
        error=extreme.error + spread,
        margin=held.margin(extreme.pressure),
        time=extreme.time,
        distance=extreme.distance if held.subject == "element" else None,
        verdict=verdict,
        reason=reason,
        taken=result.taken,
    )


def _verdict(
    held: LimitedExtreme, extreme: FillExtreme, result: FillingResult, spread: float
) -> tuple[str, str]:
    margin, error = held.margin(extreme.pressure), extreme.error + spread
    before = result.boils is None or extreme.time <= result.boils
    if held.check == "vapour":
        return (WITHIN, "") if margin >= error and result.boils is None else (UNDECIDED, BOILS)
    if margin < -error and before:
        return EXCEEDED, ""
    if result.boils is not None:
        return UNDECIDED, BOILS
    if margin >= error:
        return WITHIN, ""
    why = "the numerical error reaches across the limit"
    return UNDECIDED, RANGED if margin >= extreme.error else why


# Rules on velocity


def _rulings(
    lineup: LineUp, filling: Filling, results: Sequence[FillingResult], book: RuleBook
) -> list[Ruling]:
    ground = RuledCase(lineup, (), ())
    found: list[Ruling] = []
    column = results[0].line.column
    boils = any(r.boils is not None for r in results)
    unsure = FLOWS_UNKNOWN if boils else next((r.undecided for r in results if r.undecided), "")
    for rule in book.rules:
        if rule.requirement == "off" or rule.measure not in (VELOCITY, INLETS):
            continue
        first = rule.measure == INLETS
        pipes = column.gas_pipes if first else column.pipes
        own = []
        for one in pipes:
            if ground.applies(rule, scenario=filling.scenario, element=one.pipe) is not True:
                continue  # where it is not known of an advisory rule, the rulings of the case say so
            tops = [r.velocity[one.pipe.name] for r in results]
            spread = INSIDE * (max(t.value for t in tops) - min(t.value for t in tops))
            top = max(tops, key=lambda t: t.value)
            what = "the front is fastest" if first else "the velocity is greatest"
            before = f'In the filling "{filling.name}" {what} in "{one.pipe.name}", '
            made = judged(
                rule,
                scenario=filling.name,
                subject=one.pipe.name,
                value=top.value,
                limit=rule.figure,
                error=top.error + spread,
                clause=(before, ""),
            )
            if unsure and made.outcome != NOT_KEPT:
                words = f"{top.value:.3g} m/s; {unsure}: {NOT_DECIDED}."
                made = replace(made, outcome=NOT_DECIDED, phrase=(before, words))
            own.append(made)
        if own:
            found.append(max(own, key=rank))
    return found
