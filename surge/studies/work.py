"""The runs of a chunk: each is the text of a case, read, judged, and told as a row.

Whoever runs a chunk, a thread, another process or another computer, comes in here, so that the same study
gives the same figures to the last bit.

Decisions
---------
* A run is judged by :func:`surge.rules.assess.assess`, or searched by :func:`surge.search.window.windows_of`,
  as the commands do.
* A line-up that cannot be read or computed, or takes more work than an answer may, cannot be decided; it
  stays a row and counts as not kept.
* A quick look is one march of each scenario at a coarse step, ranges at their usual figures. It has no error
  and boils as if no cavity opened, so that it is no verdict and is never called one.
"""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Sequence
from functools import lru_cache
from typing import Any

from surge.case.file import Case, CaseSeries
from surge.effort import PATIENCE, Meter, metered
from surge.errors import CaseError, SurgeError
from surge.hydraulics.fixed import at_shares, scenario_at
from surge.model.lineup import LineUp
from surge.model.ranges import usual_shares
from surge.rules.assess import Assessment, assess
from surge.rules.book import RuleBook
from surge.rules.findings import EXCEEDED, UNDECIDED, WITHIN, Finding, findings_of, weakest
from surge.rules.reading import built_in, read_rules
from surge.rules.rulings import counts, with_pump_top
from surge.rules.static import static_over_densities
from surge.rules.telling import told, valid
from surge.search.judge import Bench
from surge.search.rates import RateLimit, greatest_rate
from surge.search.window import Windows, windows_of
from surge.studies.columns import axis_column, columns_of, figure_column, place_column
from surge.studies.lineups import LineUpTexts, template
from surge.studies.plan import Chunk
from surge.studies.schema import QUICK, RATE, VERDICT, WINDOW
from surge.studies.types import Study
from surge.transient.quick import quick_look
from surge.transient.result import ScenarioResult
from surge.units import QuantityError

Row = dict[str, Any]
Table = dict[str, list[Any]]

INSIDE, BEYOND, BOILS = "within limits", "beyond a limit", "boils"
LONGEST_REASON = 500  # characters


def run_chunk(study: Study, chunk: Chunk) -> Table:
    """Run a chunk.

    Parameters
    ----------
    study : Study
    chunk : Chunk

    Returns
    -------
    dict of str to list
        By the columns of :func:`surge.studies.columns.columns_of`, a value for each run.
    """
    table: Table = {column.name: [] for column in columns_of(study)}
    cell, ready, texts = -1, None, LineUpTexts(study)
    for k, figures in enumerate(chunk.figures.tolist()):
        run = chunk.first + k
        if run // study.samples != cell:
            cell = run // study.samples
            ready = _Cell(study, cell, texts)
        assert ready is not None
        row = {"run": run} | ready.labels | _drawn(study, figures) | ready.row(figures)
        for name, values in table.items():
            values.append(row.get(name))
    return table


def text_of(study: Study, run: int, figures: Sequence[float]) -> str:
    """Return the text of the case of one run, with what was drawn for it [as written].

    Raises
    ------
    QuantityError
        Its options do not fit its case.
    """
    return template(study, run // study.samples).text(figures)


def _drawn(study: Study, figures: Sequence[float]) -> Row:
    pairs = zip(study.uncertain, figures, strict=True)
    return {figure_column(one): value if one.factor else one.si(value) for one, value in pairs}


class _Cell:
    """One line-up of a study, with any figures drawn for it."""

    def __init__(self, study: Study, cell: int, texts: LineUpTexts) -> None:
        self.study = study
        self.base = study.case_of(cell)
        self.labels: Row = {}
        for axis, option in zip(study.axes, study.options(cell), strict=True):
            self.labels[axis_column(axis)] = option.name
            if axis.unit:
                self.labels[f"{axis_column(axis)} ({axis.unit})"] = option.si
        self.refusal = ""
        try:
            self.template = texts.template(cell)
            paths = [slot.path for slot in self.template.slots]
            self.series = CaseSeries(study.filenames[self.base], paths)
        except QuantityError as error:
            self.refusal = f"{error.found}: {error.remedy}"

    def row(self, figures: Sequence[float]) -> Row:
        """Run the line-up with figures [as written]."""
        if self.refusal:
            return self._undecided(self.refusal)
        text = self.template.text(figures)
        known = {"case_sha256": hashlib.sha256(text.encode()).hexdigest()}
        try:
            case = self.series.read(text, self.template.values(figures))
            book = self._book(case)
            with metered(Meter(PATIENCE)):
                return known | _RUN[self.study.run](self.study, case, book)
        except CaseError as error:
            fault = error.faults[0]
            where = ": ".join(str(part) for part in fault.path)
            return known | self._undecided(f"{where}: {fault.found}: {fault.remedy}")
        except SurgeError as error:
            return known | self._undecided(str(error))

    def _book(self, case: Case) -> RuleBook:
        if case.rules_file is None:
            return built_in()
        name, text = self.study.rules.get(self.base, ("", ""))
        if name != case.rules_file:
            raise SurgeError(f"its rules {case.rules_file} are not those that the case names")
        return _rules(text)

    def _undecided(self, reason: str) -> Row:
        key, value = ("look", UNDECIDED) if self.study.run == QUICK else ("verdict", UNDECIDED)
        return {key: value, "reason": reason[:LONGEST_REASON]}


@lru_cache(maxsize=8)
def _rules(text: str) -> RuleBook:
    return read_rules(text)


# What is done with a line-up


def _verdict(study: Study, case: Case, book: RuleBook) -> Row:
    return _judged(study, assess(case.lineup, book=book))


def _judged(study: Study, made: Assessment) -> Row:
    worst = made.weakest
    row: Row = {"verdict": made.verdict, "reason": worst.reason if worst is not None else ""}
    row |= _pressures(made.counting, made.run_of) | _places(study, made.scenarios)
    by_rule = made.broken and (worst is None or worst.verdict == WITHIN)
    if by_rule:
        ruling = next((r for r in made.broken if r.verdict == made.verdict), made.broken[0])
        row["governing"], row["governing_check"] = ruling.rule.name, "rule"
        row["governing_scenario"] = ruling.scenario
        row["reason"] = f"{ruling.rule.name}: {ruling.words}"[:LONGEST_REASON]
    return row


def _pressures(found: Sequence[Finding], run_of: Callable[[Finding], ScenarioResult | None]) -> Row:
    """The nearest limit of all, and those of the highest and the lowest pressures."""
    row: Row = {}
    if (worst := weakest(found)) is not None:
        row |= {"governing": worst.name, "governing_scenario": worst.scenario}
        row |= {"governing_check": worst.check}
    row["used"] = max((f.load for f in found if f.load > 0.0), default=None)
    for which in ("peak", "lowest"):
        of_kind = [f for f in found if f.check == which and f.margin is not None and not f.noted]
        if not of_kind:
            continue
        near = weakest(of_kind) or min(of_kind, key=lambda f: f.margin or 0.0)
        seen = valid(near, run_of(near))
        row |= {
            f"{which}_at": near.name,
            f"{which}_scenario": near.scenario,
            f"{which}_pa_gauge": seen.value,
            f"{which}_error_pa": near.error,
            f"{which}_limit_pa_gauge": near.limit,
            f"{which}_margin_pa": seen.margin,
        }
    return row


def _places(study: Study, runs: Sequence[ScenarioResult]) -> Row:
    row: Row = {}
    for name in study.places:
        high, low = [], []
        for run in runs:
            for kind, owners in (("element", run.elements), ("place", run.places)):
                for one in (o for o in owners if o.name == name):
                    high.append(told(run, (kind, name), one.highest, upper=True).pressure)
                    low.append(told(run, (kind, name), one.lowest, upper=False).pressure)
        row[place_column(name, upper=True)] = max(high, default=None)
        row[place_column(name, upper=False)] = min(low, default=None)
    return row


def _quick(study: Study, case: Case, book: RuleBook) -> Row:
    lineup = with_pump_top(case.lineup, book)
    fixed = at_shares(lineup, usual_shares(lineup))
    runs = [quick_look(fixed, scenario_at(scenario, lineup, fixed)) for scenario in lineup.scenarios]
    found = [*static_over_densities(lineup), *(f for run in runs for f in findings_of(fixed, run))]
    counting = [f for f in found if counts(f, book)]
    row: Row = {"look": _look(counting), "reason": ""}
    row |= _pressures([f for f in counting if f.check != "vapour"], lambda _: None)
    row |= {"peak_error_pa": None, "lowest_error_pa": None}
    return row | _places(study, runs)


def _look(found: Sequence[Finding]) -> str:
    beyond = [f for f in found if f.margin is not None and f.margin < 0.0]
    if any(f.check != "vapour" for f in beyond):
        return BEYOND
    if beyond:
        return BOILS
    return UNDECIDED if any(f.margin is None and f.verdict != WITHIN for f in found) else INSIDE


def _window(study: Study, case: Case, book: RuleBook) -> Row:  # noqa: ARG001  all take the same
    made = windows_of(case.lineup, book=book)
    return {
        "verdict": made.verdict,
        "reason": _why(made),
        "windows": _windows(made),
        "strokes_together": [{"valve": v, "stroke_s": s} for v, s in made.joint_strokes.items()],
        "rates": _rates(made.rates),
    }


def _windows(made: Windows) -> list[Row]:
    found = []
    for valve in made.by_valve:
        shortest, longest = made.bounds(valve)
        looked = min(p.to for p in made.by_valve[valve])
        found.append(
            {
                "valve": valve,
                "shortest_s": shortest,
                "longest_s": longest,
                "looked_at_to_s": looked,
                "open": not made.empty(valve),
            }
        )
    return found


def _why(made: Windows) -> str:
    empty = [valve for valve in made.by_valve if made.empty(valve)]
    return f"no window for {', '.join(empty)}"[:LONGEST_REASON] if empty else ""


def _rates(rates: Sequence[RateLimit]) -> list[Row]:
    return [
        {
            "scenario": r.scenario,
            "agreed_m3_s": r.agreed,
            "greatest_m3_s": r.greatest,
            "looked_at_to_m3_s": r.to,
        }
        for r in rates
    ]


def _rate(study: Study, case: Case, book: RuleBook) -> Row:
    row = _verdict(study, case, book)
    bench = Bench(case.lineup, book)
    lineup: LineUp = bench.lineup
    found = [greatest_rate(lineup, s, book=book, bench=bench) for s in lineup.scenarios if not s.repeats]
    return row | {"rates": _rates([r for r in found if r is not None])}


_RUN: dict[str, Callable[[Study, Case, RuleBook], Row]] = {
    VERDICT: _verdict,
    QUICK: _quick,
    WINDOW: _window,
    RATE: _rate,
}
# How bad a verdict or a look is: 0 kept, 1 not decided, 2 not kept.
SEVERITY = {WITHIN: 0, INSIDE: 0, UNDECIDED: 1, BOILS: 1, EXCEEDED: 2, BEYOND: 2}
