"""The answer of ``surge check`` as text: one screen, or with ``--details`` everything."""

from __future__ import annotations

from surge.phrases import capital
from surge.reports.advice import advice, gentleness
from surge.reports.attached import attached_lines, attached_sentences
from surge.reports.cavities import cavity_lines
from surge.reports.fillings import filling_lines, filling_sentences, governing_fillings
from surge.reports.gauge import gauge_details, gauge_sentences
from surge.reports.layout import Row, paragraph, table, width
from surge.reports.rules import assumed_lines, rule_lines
from surge.reports.screen import FALLS, Screen, Style, governing_rule, rounded, side_of
from surge.reports.sensitivities import sensitivity_lines, sensitivity_sentences
from surge.reports.stages import stage_lines
from surge.reports.words import (
    BOILS_THERE,
    CAUTIONS,
    HEADLINE,
    RANK,
    SHORT,
    Display,
    from_shore_end,
    sentence,
    where_in,
    whose,
)
from surge.rules.assess import Assessment
from surge.rules.findings import EXCEEDED, UNDECIDED, Finding, findings_of, weakest, worst_of
from surge.rules.telling import Told, steady_there, told, valid
from surge.transient.result import ElementResult, PlaceResult, ScenarioResult


def unstyled(text: str, verdict: str) -> str:  # noqa: ARG001  the style that adds nothing
    """Leave a text as it is."""
    return text


def _of_what(run: ScenarioResult) -> str:
    """What pressures of a run that boils are of."""
    if run.vapour is None:
        return ""
    return "with cavities" if run.followed else "before boiling"


class TextReport:
    """Puts an assessment into words.

    Parameters
    ----------
    assessment : Assessment
    display : Display
        Units of the output.
    details : bool
        All places, all findings, and how it was computed; without it, what one screen holds.
    style : callable
        Colours a text by its verdict, or leaves it.
    signature : str
        Program, case and hash, in a line; "" for none.
    """

    def __init__(
        self,
        assessment: Assessment,
        display: Display,
        *,
        details: bool,
        style: Style = unstyled,
        signature: str = "",
    ) -> None:
        self.a, self.display, self.details, self.style = assessment, display, details, style
        self.unit = f"{display.units.pressure}(g)"
        self.screen = Screen(assessment, display, style=style, signature=signature)
        # Each run against all limits: with a range of lengths, those of the assessment are of the worst ones.
        self.found = {id(run): findings_of(assessment.lineup, run) for run in assessment.scenarios}

    def lines(self) -> list[str]:
        """All lines of the report; the last one is the verdict again."""
        if not self.details:
            return self.screen.lines()
        out = [*self._answer(), *self._to_do()]
        if len(self.a.scenarios) > 1:
            out += ["", *self.overview()]
            out += [paragraph(line) for line in stage_lines(self.a.lineup)]
        if self.a.rulings:
            out += ["", *rule_lines(self.a, self.display, details=True)]
        if self.a.static:
            out += ["", *self.static()]
        for run in self.a.scenarios:
            out += ["", *self.scenario(run)]
        for run in self.a.scenarios:
            out += ["", *self.pocket(run)]
        out += filling_lines(self.a.fillings, self.display)
        if self.a.lineup.assumed:
            out += ["", *assumed_lines(self.a.lineup.assumed)]
        out += gauge_details(self.a.gauge, self.display)
        out += ["", *self.assumptions(), "", "Cautions"]
        out += [paragraph(c, indent="  ", first="- ") for c in CAUTIONS]
        signed = [self.screen.signature] if self.screen.signature else []
        return [*out, "", *signed, self.screen.verdict()]

    def _answer(self) -> list[str]:
        """Verdict and weakest place."""
        worst = self.a.weakest
        out = [paragraph(self.a.lineup.title), "", self.screen.verdict()]
        first = filling_sentences(governing_fillings(self.a.fillings, worst), self.display)
        out += [paragraph(words) for words in first]
        by_rule = bool(self.a.broken) and (worst is None or worst.verdict != self.a.of_scenarios)
        if by_rule:
            out.append(paragraph(self.display.phrase(governing_rule(self.a).phrase)))
        if worst:
            words = sentence(worst, self.a.run_of(worst), self.display)
            if by_rule:
                words = f"Of the pressures, {words[0].lower()}{words[1:]}"
            out.append(paragraph(words))
        out += [paragraph(words) for words in gauge_sentences(self.a.gauge, self.display)]
        out += [paragraph(words) for words in attached_sentences(self.a, self.display)]
        out += [paragraph(words) for words in sensitivity_sentences(self.a, self.display)]
        return out

    def _to_do(self) -> list[str]:
        steps = advice(self.a, self.display)
        if not steps:
            return []
        return ["", "What to do", *(paragraph(step, indent="    ", first="  - ") for step in steps)]

    def _name(self, run: ScenarioResult) -> str:
        return ", ".join((run.name, *self.display.taken(run.taken)))

    def _verdict(self, run: ScenarioResult) -> str:
        """Verdict of a scenario: its pressures, and the rules on it that no pressure tells."""
        rules = (r.verdict for r in self.a.broken if r.scenario == run.name)
        return worst_of([*(f.verdict for f in self.found[id(run)]), *rules])

    def _load(self, run: ScenarioResult) -> tuple[int, float]:
        """For sorting: the worst run first."""
        worst = weakest(self.found[id(run)])
        return RANK[self._verdict(run)], -(worst.load if worst else 0.0)

    def _count(self, run: ScenarioResult, verdict: str) -> int:
        """Limits and rules with a verdict."""
        rules = sum(r.verdict == verdict for r in self.a.broken if r.scenario == run.name)
        return sum(f.verdict == verdict for f in self.found[id(run)]) + rules

    def overview(self) -> list[str]:
        """One row for each run, the worst first."""
        rows = []
        for run in sorted(self.a.scenarios, key=self._load):
            found = self.found[id(run)]
            f = weakest(found)
            seen = valid(f, run) if f else None
            value = "-"
            if f and seen and seen.value is not None:
                value = f"{side_of(f)} {rounded(f, seen.value, self.display)}"
            rows.append(
                (
                    self._name(run),
                    SHORT[self._verdict(run)],
                    str(self._count(run, EXCEEDED)),
                    str(self._count(run, UNDECIDED)),
                    value,
                    self.display.pressure(f.limit) if f and f.limit is not None else "-",
                    self.display.margin(seen.margin) if seen and seen.margin is not None else "-",
                    f.name if f else "-",
                )
            )
        head = ("scenario", "verdict", "exceeded", "undecided", self.unit, "limit", "margin", "weakest")
        return [
            "Scenarios, the worst first; how many limits and rules are exceeded, and undecided",
            *table(head, rows),
        ]

    def _findings(self, run: ScenarioResult, subject: str, checks: tuple[str, ...]) -> list[Finding]:
        """Findings of a run, the worst first."""
        own = (f for f in self.found[id(run)] if not f.beside)
        found = [f for f in own if f.subject == subject and f.check in checks]
        return sorted(found, key=lambda f: (RANK[f.verdict], -f.load))

    def static(self) -> list[str]:
        """Shut-off pressure against ratings."""
        rows = [
            (
                f.name,
                self.display.round_up(f.value) if f.value is not None else "-",
                self.display.pressure(f.limit) if f.limit is not None else "-",
                self.display.margin(f.margin) if f.margin is not None else "-",
                SHORT[f.verdict],
                f.limit_source or f.reason,
            )
            for f in sorted(self.a.static, key=lambda f: (RANK[f.verdict], -f.load))
        ]
        head = ("valve shut, pump running", f"static {self.unit}", "limit", "margin", "verdict", "limit from")
        return ["Shut-off pressure, before any surge", *table(head, rows)]

    def scenario(self, run: ScenarioResult) -> list[str]:
        """One scenario: what happens, and its tables."""
        verdict = self._verdict(run)
        title = f"Scenario: {self._name(run)}: {HEADLINE[verdict]}"
        out = [self.style(paragraph(title), verdict), "=" * min(width(), len(title))]
        if run.note:
            out.append(paragraph(run.note))
        out += [paragraph(f"{capital(line)}.") for line in gentleness(self.a.lineup, run, self.display)]
        if run.timing:
            terms = ", ".join(f"{name} {self.display.time(t)} s" for name, t in run.timing)
            out.append(
                paragraph(
                    f"Shutdown: {terms}; the last movement ends at {self.display.time(run.last_event)} s."
                )
            )
        notes = [self.display.phrase(note) for note in run.notes]
        notes += attached_lines(run, self.display)
        out += [paragraph(f"{capital(note)}.") for note in notes]
        if run.vapour:
            out.append(self.vapour(run))
        out += [paragraph(f"Cannot be decided: {reason}.") for reason in run.undecided]
        out += ["", *self.highest(run), "", *self.lowest(run)]
        places, cavities = self.places(run), cavity_lines(run, self.display)
        out += ["", *places] if places else []
        out += ["", *cavities] if cavities else []
        return [*out, *sensitivity_lines(run, self.display)]

    def vapour(self, run: ScenarioResult) -> str:
        """Where and when the cargo first boils, and what comes of that."""
        v = run.vapour
        assert v is not None
        where = f'at "{v.where}"'
        if v.distance is not None:
            element = next(e for e in run.elements if e.name == v.where)
            where = f'in "{v.where}", {where_in(element, v.distance, self.display)}'
        if run.cavities is not None and run.followed:
            text = (
                f"VAPOUR PRESSURE IS REACHED, first {where}, at {self.display.time(v.time)} s. From then on "
                "cavities are in the line. The pressures below are the furthest of marches with cavities of "
                "two models, vapour alone and vapour with free gas, each on three grids; behind each stands "
                "the band within which they agree, not a numerical error."
            )
            return self.style(paragraph(text), self._verdict(run))
        missing = f" Marches with cavities were not made: {run.cavities.missing}." if run.cavities else ""
        text = (
            f"VAPOUR PRESSURE IS REACHED, first {where}, at {self.display.time(v.time)} s. Pressures after "
            "that are not valid in this model: a cavity opens, and its collapse can be worse than any "
            f"figure. The tables below hold what came before.{missing}"
        )
        beyond = [f for f in self.found[id(run)] if f.check == "peak" and (f.margin or 0.0) < 0.0]
        if beyond:
            f = max(beyond, key=lambda f: f.load)
            assert f.value is not None
            assert f.limit is not None
            many = "an upper limit" if len(beyond) == 1 else f"{len(beyond)} upper limits"
            text += (
                f" AS A WARNING: run on as if no cavity opened, the pressure goes beyond {many}, most in "
                f"{whose(f)}: {self.display.round_up(f.value, unit=True)} against "
                f"{self.display.pressure(f.limit)}."
            )
        return self.style(paragraph(text), EXCEEDED)

    def _extreme(self, seen: Told, *, upper: bool) -> tuple[str, str]:
        """Pressure with its error, and time."""
        write = self.display.round_up if upper else self.display.round_down
        time = "-" if seen.time is None else self.display.time(seen.time)
        return f"{write(seen.pressure)} {self.display.error(seen.error)}", time

    def _row(self, run: ScenarioResult, e: ElementResult, f: Finding | None, *, upper: bool) -> Row:
        """One element against an upper or a lower limit."""
        x = e.highest if upper else e.lowest
        seen = told(run, ("element", e.name), x, upper=upper)
        value, time = self._extreme(seen, upper=upper)
        steady = steady_there(run, e, seen, upper=upper)
        distance = x.distance if seen.share is None else seen.share * e.length
        margin = valid(f, run).margin if f else None
        source = "through the elements it joins"
        if f:
            source = "vapour pressure" if f.check == "vapour" else f.limit_source or f.reason
            if f.boils:
                source = BOILS_THERE
        return (
            e.name,
            "-" if steady is None else self.display.pressure(steady),
            value,
            time,
            self.display.length(from_shore_end(e, distance)) if e.figures and time != "-" else "",
            self.display.pressure(f.limit) if f and f.limit is not None else "-",
            self.display.margin(margin) if margin is not None else "-",
            SHORT[f.verdict] if f else "",
            source,
        )

    def _head(self, run: ScenarioResult, what: str) -> Row:
        before = _of_what(run)
        title = f"{what} {self.unit} {before}".rstrip()
        return (
            "element",
            "steady",
            title,
            "at s",
            "from shore end",
            "limit",
            "margin",
            "verdict",
            "limit from",
        )

    def highest(self, run: ScenarioResult) -> list[str]:
        """Peaks of all elements, nearest to their limits first."""
        judged = {f.name: f for f in self._findings(run, "element", ("peak",))}
        by_name = {e.name: e for e in run.elements}
        order = [*judged, *(e.name for e in run.elements if e.name not in judged)]
        rows = [self._row(run, by_name[name], judged.get(name), upper=True) for name in order]
        return table(self._head(run, "peak"), rows)

    def lowest(self, run: ScenarioResult) -> list[str]:
        """Lowest pressures of all elements against vacuum and vapour limits, the nearer one each."""
        nearest: dict[str, Finding] = {}
        for f in self._findings(run, "element", FALLS):
            nearest.setdefault(f.name, f)
        by_name = {e.name: e for e in run.elements}
        rows = [self._row(run, by_name[f.name], f, upper=False) for f in nearest.values()]
        return table(self._head(run, "lowest"), rows)

    def places(self, run: ScenarioResult) -> list[str]:
        """All places, those with a limit of their own first."""
        limits: dict[str, Finding] = {}
        for f in self._findings(run, "place", ("peak", "steady")):
            limits.setdefault(f.name, f)
        order = {name: i for i, name in enumerate(limits)}
        rows = [
            self._place(run, p, limits.get(p.name))
            for p in sorted(run.places, key=lambda p: order.get(p.name, len(order)))
        ]
        before = f" {_of_what(run)}".rstrip()
        head = ("place", "steady", f"peak {self.unit}{before}", "at s", "lowest", "at s", "limit", "verdict")
        return table((*head, "limit from, or what it is"), rows) if rows else []

    def _place(self, run: ScenarioResult, p: PlaceResult, own: Finding | None) -> Row:
        return (
            p.name,
            self.display.pressure(p.steady),
            *self._extreme(told(run, ("place", p.name), p.highest, upper=True), upper=True),
            *self._extreme(told(run, ("place", p.name), p.lowest, upper=False), upper=False),
            self.display.pressure(own.limit) if own and own.limit is not None else "-",
            SHORT[own.verdict] if own else "",
            own.limit_source if own else ", ".join(p.roles),
        )

    def pocket(self, run: ScenarioResult) -> list[str]:
        """Figures that a pocket calculator can check."""
        rows = [
            (
                e.name,
                self.display.flow(g.flow),
                f"{g.velocity:.2f} m/s",
                f"{g.wave_speed:.0f} m/s",
                f"{g.travel_time:.3f} s",
                self.display.difference(g.instant_stop),
            )
            for e in run.elements
            if (g := e.figures) is not None
        ]
        head = ("element", "flow", "velocity", "wave speed", "travel time", "instant-stop rise")
        title = f"Figures to check by pocket calculator (scenario {self._name(run)})"
        out = [*paragraph(title).splitlines(), *table(head, rows)]
        periods = [
            (
                p.valve,
                f"{p.upstream:.2f} s" if p.upstream is not None else "-",
                p.reflects_at or "-",
                f"{p.downstream:.2f} s" if p.downstream is not None else "-",
            )
            for p in run.periods
        ]
        titles = ("valve", "pipeline period upstream", "reflects at", "downstream")
        return [*out, "", *table(titles, periods)] if periods else out

    def assumptions(self) -> list[str]:
        """Where figures come from, and how the numbers were computed."""
        said = [(f"wave speed of {p.name}", p.wave_speed_source) for p in self.a.lineup.pipes]
        said += [(f"characteristic of {v.name}", v.characteristic_source) for v in self.a.lineup.valves]
        out = ["Where figures come from"]
        for source in dict.fromkeys(s for _, s in said):
            parts = ", ".join(name for name, s in said if s == source)
            out.append(paragraph(f"{parts}: {source}", indent="    ", first="  "))
        friction = "of the first flow throughout" if self.a.lineup.frozen_friction else "of the local flow"
        out += [
            "",
            "How it was computed",
            paragraph(
                f"Method of characteristics, friction factor {friction}, as in steady flow. Valves do not "
                "choke. A valve, passage or pump without a rating of its own is judged through the elements "
                "that it joins.",
                indent="    ",
                first="  ",
            ),
        ]
        return out + [paragraph(self._method(run), indent="    ", first="  ") for run in self.a.scenarios]

    def _method(self, run: ScenarioResult) -> str:
        m = run.method
        reached = "" if m.worst_error <= m.tolerance else ", which was NOT reached"
        text = (
            f"{self._name(run)}: {m.runs} marches to {m.duration:.1f} s, the finest with {m.steps} steps of "
            f"{m.dt * 1000:.2f} ms on {m.nodes} nodes, every travel time exact; largest numerical error "
            f"{self.display.error(m.worst_error)} {self.display.units.pressure}, aimed at "
            f"{self.display.error(m.tolerance)} {self.display.units.pressure}{reached}."
        )
        if m.lumped:
            text += f" Shorter than a reach and taken as one lump: {', '.join(m.lumped)}."
        return text
