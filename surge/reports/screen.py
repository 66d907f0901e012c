"""The first screen of ``surge check``: what must be known before anything is agreed, on at most 30 lines.

Decisions
---------
* Whatever is exceeded or undecided is named or counted here; what it is, place by place, ``--details`` tells.
* The verdict is the first line and the last, so that neither end of a screen can hide it.
* Scenarios stand with their worst figure, the worst first; where figures are ranges, each at its worst point.
* Parts of one kind with the same figures (arms, tanks, valves alike) are told once.
* What finds no room is counted (:mod:`surge.reports.room`).
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable
from dataclasses import dataclass

from surge.model.ranges import LIQUID, ranges_of
from surge.phrases import capital
from surge.reports.advice import advice
from surge.reports.attached import attached_sentences
from surge.reports.cavities import cavity_sentences, trust
from surge.reports.fillings import TRUST as TRUST_FILLING
from surge.reports.fillings import counted_fillings, filling_sentences, governing_fillings
from surge.reports.gauge import gauge_sentences
from surge.reports.layout import LINE, Row, table_parts
from surge.reports.room import NOTHING, PERMIT, SOUND, Part, listed, listing, on_a_screen, wrapped
from surge.reports.rules import assumed_items
from surge.reports.sensitivities import sensitivity_sentences, sensitivity_trust
from surge.reports.stages import stage_lines
from surge.reports.words import HEADLINE, RANK, SHORT, Display, against, sentence, what_happens, whose
from surge.rules.assess import Assessment
from surge.rules.findings import EXCEEDED, UNDECIDED, WITHIN, Finding, weakest, worst_of
from surge.rules.rulings import KEPT, NOT_CHECKED, NOT_DECIDED, NOT_KEPT, Ruling
from surge.rules.telling import valid

NEAR = 0.8  # of a rating: from there on shut-off pressure is told though it is kept
JUDGED = "judged by the worst"  # in the value of a figure that is a range
FALLS = ("lowest", "vapour")  # checks of how far a pressure falls
CAUTIONED = 2  # cautions at most
MORE = "More: --details (every place, figure, run and source), --json."
BEYOND = "A hose whose rating was exceeded is withdrawn and tested again before use."
Style = Callable[[str, str], str]  # text, verdict -> text, perhaps coloured
# Items that stay of scenarios, rules, what was assumed and advice: more and more may go.
FLOORS = ((3, 3, 1, 3), (3, 2, 0, 3), (2, 1, 0, 3), (2, 1, 0, 2), (1, 1, 0, 2), (1, 0, 0, 2), (1, 0, 0, 1))


@dataclass(frozen=True, kw_only=True)
class Judged:
    """A scenario with its verdict, and the pressure in it that comes nearest to its limit, or goes beyond."""

    name: str
    verdict: str
    worst: Finding | None

    @property
    def order(self) -> tuple[int, float]:
        """For sorting: the worst first."""
        return RANK[self.verdict], -(self.worst.load if self.worst else 0.0)


def judged(assessment: Assessment) -> list[Judged]:
    """Every scenario, the worst first."""
    made = []
    for scenario in assessment.lineup.scenarios:
        found = [f for f in assessment.counting if f.scenario == scenario.name]
        rules = [r.verdict for r in assessment.broken if r.scenario == scenario.name]
        verdict = worst_of([*(f.verdict for f in found), *rules])
        made.append(Judged(name=scenario.name, verdict=verdict, worst=weakest(found)))
    return sorted(made, key=lambda one: one.order)


def counted(assessment: Assessment) -> str:
    """In how many scenarios something is exceeded or undecided, and of how many limits and rules."""
    by_verdict = Counter(one.verdict for one in judged(assessment))
    items = [*(f.verdict for f in assessment.counting), *(r.verdict for r in assessment.broken)]
    many = Counter(items)
    more = counted_fillings(assessment.fillings)
    more = f" {more}" if more else ""
    if assessment.of_scenarios == WITHIN:
        return f"{_scenarios(by_verdict[WITHIN])}: every limit and every required rule is kept.{more}"
    told = ", ".join(f"{by_verdict[v]} {SHORT[v]}" for v in RANK if by_verdict[v])
    over = ", ".join(f"{many[v]} {SHORT[v]}" for v in (EXCEEDED, UNDECIDED) if many[v])
    return f"{_scenarios(sum(by_verdict.values()))}: {told}. Of the limits {over}.{more}"


def side_of(finding: Finding) -> str:
    """Which pressure a finding is of, as tables have it: where the cargo boils, it is the lowest."""
    return "lowest" if finding.check in FALLS else finding.check


def rounded(finding: Finding, value: float, display: Display) -> str:
    """A pressure of a finding [Pa gauge], rounded against the reader."""
    return (display.round_down if finding.check in FALLS else display.round_up)(value)


def governing_rule(assessment: Assessment) -> Ruling:
    """The first ruling that makes the verdict, where no pressure does."""
    return min(assessment.broken, key=lambda r: RANK[r.verdict])


def _scenarios(n: int) -> str:
    return f"{n} scenario{'' if n == 1 else 's'}"


def twins(assessment: Assessment, finding: Finding, display: Display) -> list[str]:
    """Names of parts of the same kind of which the same figures are told, without the finding's own."""
    kinds = {e.name: type(e).__name__ + getattr(e, "kind", "") for e in assessment.lineup.elements}

    def told(f: Finding) -> tuple[object, ...]:
        seen = valid(f, assessment.run_of(f))
        figures = (seen.value, f.limit, seen.margin)
        shown = ["" if x is None else display.pressure(x) for x in figures]
        kind = kinds.get(f.name, "") if f.subject == "element" else ""
        return (f.scenario, f.subject, f.check, f.verdict, f.limit_source, kind, *shown)

    own = told(finding)
    alike = (f.name for f in assessment.counting if f.check == finding.check and f.name != finding.name)
    by_name = {
        f.name: f for f in assessment.counting if (f.check, f.scenario) == (finding.check, finding.scenario)
    }
    return [name for name in dict.fromkeys(alike) if name in by_name and told(by_name[name]) == own]


class Screen:
    """Puts an assessment on one screen.

    Parameters
    ----------
    assessment : Assessment
    display : Display
        Units of the output.
    style : callable
        Colours a text by its verdict, or leaves it.
    signature : str
        Program, case and hash, in a line; "" for none.
    """

    def __init__(self, assessment: Assessment, display: Display, *, style: Style, signature: str) -> None:
        self.a, self.display, self.style, self.signature = assessment, display, style, signature

    def lines(self) -> list[str]:
        """All lines."""
        parts = [self.scenarios(), *self.beside(), self.steps()]
        ends = [self._end(cautions) for cautions in (CAUTIONED, 1)]
        return on_a_screen(self.answer(), parts, ends, floors=FLOORS)

    def _end(self, cautions: int) -> list[str]:
        signature = [self.signature] if self.signature else []
        return ["", *self.cautions(cautions), *wrapped(MORE), *signature, self.verdict()]

    def verdict(self) -> str:
        """The verdict in a line."""
        return self.style(f"VERDICT: {HEADLINE[self.a.verdict]}", self.a.verdict)

    def answer(self) -> list[str]:
        """Verdict, what is counted, and the weakest place."""
        out = [*wrapped(self.a.lineup.title), "", self.verdict(), *wrapped(counted(self.a))]
        said = [*self.governing(), *sensitivity_sentences(self.a, self.display)]
        return out + [line for text in said for line in wrapped(text)]

    def governing(self) -> list[str]:
        """Sentences on what makes the verdict: fillings, a rule where no pressure does, the weakest place."""
        worst = self.a.weakest
        by_rule = bool(self.a.broken) and (worst is None or worst.verdict != self.a.of_scenarios)
        said = filling_sentences(governing_fillings(self.a.fillings, worst), self.display)
        said += [self.display.phrase(governing_rule(self.a).phrase)] if by_rule else []
        if worst:
            run, names = self.a.run_of(worst), twins(self.a, worst, self.display)
            words = sentence(worst, run, self.display, alike=names, ranges=False)
            said.append(f"Of the pressures, {words[0].lower()}{words[1:]}" if by_rule else words)
        return said

    def scenarios(self) -> Part:
        """One row for each scenario, the worst first; none where there is only one."""
        each = judged(self.a)
        if len(each) < 2:
            return NOTHING
        head = ("scenario", "verdict", f"{self.display.units.pressure}(g)", "limit", "weakest")
        before, rows = table_parts(head, [self.row(one) for one in each], widest=LINE)

        def rest(left: int) -> str:
            out = Counter(one.verdict for one in each[len(each) - left :])
            told = ", ".join(f"{out[v]} {SHORT[v]}" for v in RANK if out[v])
            words = f": {told}" if len(out) > 1 else f", {SHORT[each[-1].verdict]}"
            return f"... and {left} more{words} (--details)"

        return Part(["", *before], rows, rest)

    def row(self, one: Judged) -> Row:
        """A scenario as a row: name, verdict, pressure, limit, weakest part."""
        f = one.worst
        run = self.a.run_of(f) if f else None
        if f is None or run is None:
            return (one.name, SHORT[one.verdict], "-", "-", "-")
        run = run.made_with(f.beside)
        seen, boils = valid(f, run), f.check == "vapour" and run.vapour is not None
        value = "-" if seen.value is None else f"{side_of(f)} {rounded(f, seen.value, self.display)}"
        by_rule = "" if worst_of([f.verdict]) == one.verdict else " (rule)"
        return (
            one.name,
            SHORT[one.verdict] + by_rule,
            "boils" if boils and f.verdict == EXCEEDED else value,
            self.display.pressure(f.limit) if f.limit is not None else "-",
            f.name,
        )

    def beside(self) -> tuple[Part, Part]:
        """Rules, what hangs on points, gauges, shut-off pressure, stages; then what was assumed."""
        said = [*cavity_sentences(self.a, self.display), *attached_sentences(self.a, self.display)]
        said += [*gauge_sentences(self.a.gauge, self.display)]
        said += [*self._shut_off(), *stage_lines(self.a.lineup)]
        first = governing_fillings(self.a.fillings, self.a.weakest)
        kept = [one for one in self.a.fillings if one not in first]
        said += filling_sentences(kept, self.display)
        told = [*self._rules(), *(wrapped(text, indent="  ", first="- ") for text in said)]
        taken = [*self._ranges(), *self._assumed()]
        return (
            Part([""], told, lambda left: f"- {left} more on this: --details."),
            Part([], taken, lambda _: "- Other figures are assumed: --details."),
        )

    def _shut_off(self) -> list[str]:
        """Shut-off pressure against the weakest rating, unless it is the weakest place itself."""
        f = weakest(self.a.static)
        if f is None or f == self.a.weakest or (f.verdict == WITHIN and f.load < NEAR):
            return []
        words = f"{what_happens(f, None, self.display)} in {whose(f)}"
        held = against(f, None, self.display)
        return [f"{capital(words)}{f'; {held}' if held else ''}."]

    def _rules(self) -> list[list[str]]:
        """Rules by name that are not met, not decided, or lack data; the others as a number."""
        if not self.a.rulings:
            return []
        words = {NOT_KEPT: "not met", NOT_DECIDED: "not decided", NOT_CHECKED: "lacks data"}
        broken = sorted(self.a.broken, key=lambda r: list(words).index(r.outcome))
        many = Counter(f"{r.rule.name}: {words[r.outcome]}" for r in broken)
        said = [f"{text} ({n} times)" if n > 1 else text for text, n in many.items()]
        kept = sum(r.outcome == KEPT for r in self.a.rulings)
        off = len({r.rule.id for r in self.a.rulings if r.rule.requirement == "off"})
        advisory = Counter(r.outcome for r in self.a.rulings if not r.binding)
        rest = f"{kept} met"
        for outcome in (NOT_KEPT, NOT_DECIDED):
            rest += f"; {advisory[outcome]} {words[outcome]}, for advice only" if advisory[outcome] else ""
        rest += f"; {off} switched off by a file of rules" if off else ""
        if not said:
            return [wrapped(f"Rules: {rest}.", indent="  ", first="- ")]
        return [listed("Rules: ", said, lines=2, end=f"; {rest}.")]

    def _ranges(self) -> list[list[str]]:
        """What is known as a range only, and matters: all of it is judged by its worst."""
        matter = {(t.subject, t.quantity) for run in self.a.scenarios for t in run.taken if t.matters}
        groups: dict[tuple[str, str], list[str]] = {}
        for r in ranges_of(self.a.lineup):
            if r.key in matter:
                groups.setdefault((r.quantity, r.words), []).append(r.subject)
        if not groups:
            return []
        said = [
            f"{quantity} of {'the liquid' if names == [LIQUID] else listing(names)} {words}"
            for (quantity, words), names in groups.items()
        ]
        return [listed("Judged by the worst of ", said, lines=2)]

    def _assumed(self) -> list[list[str]]:
        """Of what kinds the other figures are that the case does not give."""
        own = [i for i in assumed_items(self.a.lineup.assumed) if not i.asked]
        kinds = list(dict.fromkeys(i.quantity for i in own if JUDGED not in i.value))
        return [listed("Assumed: ", kinds, lines=1)] if kinds else []

    def steps(self) -> Part:
        """What to do; a sentence that leads to the next never stands without it."""
        items: list[list[str]] = []
        leading: list[str] = []
        for step in advice(self.a, self.display):
            lines = [*leading, *wrapped(step, indent="    ", first="  - ")]
            leading = lines if step.endswith(":") else []
            if not leading:
                items.append(lines)
        return Part(["", "What to do"], items, lambda left: f"  ... and {left} more: --details")

    def cautions(self, most: int) -> list[str]:
        """Those that matter most here."""
        said = [PERMIT]
        if trusted := trust(self.a):
            said.append(trusted)
        said += sensitivity_trust(self.a)
        said += [TRUST_FILLING] if self.a.fillings else []
        hoses = {p.name for p in self.a.lineup.pipes if p.kind == "hose"}
        if any(f.name in hoses and f.verdict == EXCEEDED for f in self.a.counting):
            said.append(BEYOND)
        elif hoses:
            said.append(SOUND)
        return [line for text in said[:most] for line in wrapped(text)]
