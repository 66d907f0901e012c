"""The answer as text: verdict first, then the weakest place, what to do, and the tables."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence

from surge.advice import advice, gentleness
from surge.assess import Assessment
from surge.result import ScenarioResult
from surge.verdict import EXCEEDED, UNDECIDED, WITHIN, Finding
from surge.words import CAUTIONS, HEADLINE, LINE, SHORT, Shown, paragraph, sentence

Style = Callable[[str, str], str]  # text, verdict -> text, perhaps coloured
Row = tuple[str, ...]
SHOWN_PEAKS, SHOWN_LOWEST = 6, 4  # rows without details, as long as the others are kept


def plain(text: str, verdict: str) -> str:  # noqa: ARG001  the style that adds nothing
    """Leave a text as it is."""
    return text


def table(head: Row, rows: Iterable[Row], *, left: int = 1, widest: int = LINE) -> list[str]:
    """Lay out a table; the first ``left`` columns and the last one to the left, others to the right."""
    rows = list(rows)
    width = [max(len(r[i]) for r in (head, *rows)) for i in range(len(head))]
    over = sum(width) + 2 * (len(width) - 1) - widest
    if over > 0:
        # The last column gives way, then the name.
        cut = min(over, max(0, width[-1] - 15))
        width[-1] -= cut
        width[0] = max(12, width[0] - (over - cut))

    def line(row: Row) -> str:
        cells = []
        for i, (cell, w) in enumerate(zip(row, width, strict=True)):
            text = cell if len(cell) <= w else cell[: w - 1] + "…"
            cells.append(text.ljust(w) if i < left or i == len(row) - 1 else text.rjust(w))
        return "  ".join(cells).rstrip()

    return [line(head), line(tuple("-" * w for w in width)), *(line(r) for r in rows)]


class TextReport:
    """Puts an assessment into words.

    Parameters
    ----------
    assessment : Assessment
    say : Shown
        Units of the output.
    details : bool
        All places, all findings, and how it was computed.
    style : callable
        Colours a text by its verdict, or leaves it.
    """

    def __init__(self, assessment: Assessment, say: Shown, *, details: bool, style: Style = plain) -> None:
        self.a, self.say, self.details, self.style = assessment, say, details, style
        self.unit = f"{say.units.pressure}(g)"

    def lines(self) -> list[str]:
        """All lines of the report."""
        out = [self.a.lineup.title, ""]
        out.append(self.style(f"VERDICT: {HEADLINE[self.a.verdict]}", self.a.verdict))
        if self.a.weakest:
            out.append(paragraph(sentence(self.a.weakest, self.say)))
        steps = advice(self.a, self.say)
        if steps:
            out += ["", "What to do, in this order:" if len(steps) > 1 else "What to do:"]
            for i, step in enumerate(steps, 1):
                out.append(paragraph(step, indent="     ", first=f"  {i}. "))
        if self.a.static and (self.details or any(f.verdict != WITHIN for f in self.a.static)):
            out += ["", *self.static()]
        for run in self.a.scenarios:
            out += ["", *self.scenario(run)]
        if self.a.scenarios:
            out += ["", *self.pocket(self.a.scenarios[0])]
        if self.details:
            out += ["", *self.assumptions()]
        out += ["", "Cautions"]
        out += [paragraph(c, indent="  ", first="- ") for c in CAUTIONS]
        if not self.details:
            out += ["", "More: --details adds all places and how it was computed; --json gives everything."]
        return out

    def _findings(self, run: ScenarioResult, checks: tuple[str, ...]) -> list[Finding]:
        found = [f for f in self.a.findings if f.scenario == run.name and f.check in checks]
        return sorted(found, key=lambda f: -f.load)

    def static(self) -> list[str]:
        """Shut-off pressure against ratings."""
        rows = [
            (
                f.name,
                self.say.pressure(f.value) if f.value is not None else "-",
                self.say.pressure(f.limit) if f.limit is not None else "-",
                self.say.difference(f.margin) if f.margin is not None else "-",
                SHORT[f.verdict],
                f.limit_source or f.reason,
            )
            for f in sorted(self.a.static, key=lambda f: -f.load)
        ]
        head = (
            "with a valve shut, pump running",
            f"static {self.unit}",
            "limit",
            "margin",
            "verdict",
            "limit from",
        )
        return ["Shut-off pressure, before any surge", *table(head, rows)]

    def scenario(self, run: ScenarioResult) -> list[str]:
        """One scenario: what happens, and its tables."""
        length = "".join(f', "{name}" {self.say.length(m)}' for name, m in run.lengths.items())
        out = [f"Scenario: {run.name}{length}", "=" * min(LINE, len(run.name) + 10 + len(length))]
        if run.note:
            out.append(paragraph(run.note))
        out += [
            paragraph(f"{line[0].upper()}{line[1:]}.") for line in gentleness(self.a.lineup, run, self.say)
        ]
        if run.timing:
            terms = ", ".join(f"{name} {self.say.time(t)} s" for name, t in run.timing)
            out.append(
                paragraph(f"Shutdown: {terms}; the last movement ends at {self.say.time(run.last_event)} s.")
            )
        out += [paragraph(f"{note[0].upper()}{note[1:]}.") for note in run.notes]
        if run.vapour:
            out += self.vapour(run)
        out += [paragraph(f"Cannot be decided: {reason}.") for reason in run.undecided]
        out += ["", *self.highest(run), "", *self.lowest(run)]
        places = self.places(run)
        return out + (["", *places] if places else [])

    def vapour(self, run: ScenarioResult) -> list[str]:
        """Where and when the cargo first boils."""
        v = run.vapour
        assert v is not None
        where = f'"{v.where}"'
        if v.distance is not None:
            where = f"{self.say.length(v.distance)} from the start of {where}"
        text = (
            f"VAPOUR PRESSURE IS REACHED, first at {where}, {self.say.time(v.time)} s. Pressures after that "
            "are not valid in this model: a cavity opens, and its collapse can be worse than any figure."
        )
        return [self.style(paragraph(text), EXCEEDED)]

    def highest(self, run: ScenarioResult) -> list[str]:
        """Peaks of all elements, nearest to their limits first."""
        by_name = {e.name: e for e in run.elements}
        judged = {f.name: f for f in self._findings(run, ("peak",)) if f.subject == "element"}
        order = [*judged, *(e.name for e in run.elements if e.name not in judged)]
        rows = []
        for name in order:
            e, f = by_name[name], judged.get(name)
            peak = e.highest
            rows.append(
                (
                    name,
                    self.say.pressure(e.steady),
                    f"{self.say.pressure(peak.pressure)} ±{self.say.pressure(peak.error)}",
                    self.say.time(peak.time),
                    self.say.length(peak.distance) if e.figures else "",
                    self.say.pressure(f.limit) if f and f.limit is not None else "-",
                    self.say.pressure(f.margin) if f and f.margin is not None else "-",
                    SHORT[f.verdict] if f else "",
                    (f.limit_source or f.reason) if f else "see what it joins",
                )
            )
        head = (
            "element",
            "steady",
            f"peak {self.unit}",
            "at s",
            "from start",
            "limit",
            "margin",
            "verdict",
            "limit from",
        )
        return self._shortened(head, rows, SHOWN_PEAKS)

    def lowest(self, run: ScenarioResult) -> list[str]:
        """Lowest pressures of all elements against vacuum and vapour limits, the nearer one each."""
        best: dict[str, Finding] = {}
        for f in self._findings(run, ("lowest", "vapour")):
            if f.name not in best or (f.margin or 0) < (best[f.name].margin or 0):
                best[f.name] = f
        kinds = {e.name: e for e in run.elements}
        rows = []
        for f in sorted(best.values(), key=lambda f: -f.load):
            low = kinds[f.name].lowest
            rows.append(
                (
                    f.name,
                    self.say.pressure(kinds[f.name].steady_low),
                    f"{self.say.pressure(low.pressure)} ±{self.say.pressure(low.error)}",
                    self.say.time(low.time),
                    self.say.length(low.distance) if kinds[f.name].figures else "",
                    self.say.pressure(f.limit or 0.0),
                    self.say.pressure(f.margin or 0.0),
                    SHORT[f.verdict],
                    "vapour pressure" if f.check == "vapour" else f.limit_source,
                )
            )
        head = (
            "element",
            "steady",
            f"lowest {self.unit}",
            "at s",
            "from start",
            "limit",
            "margin",
            "verdict",
            "limit from",
        )
        return self._shortened(head, rows, SHOWN_LOWEST)

    def _shortened(self, head: Row, rows: Sequence[Row], most: int) -> list[str]:
        """A table without the rows that have most room, unless details are wanted."""
        kept = sum(row[-2] in (SHORT[EXCEEDED], SHORT[UNDECIDED]) for row in rows)
        show = len(rows) if self.details else max(most, kept)
        out = table(head, rows[:show])
        if len(rows) > show:
            out.append(
                f"... and {len(rows) - show} more, all kept and with more room (--details shows them)."
            )
        return out

    def places(self, run: ScenarioResult) -> list[str]:
        """Places with a limit of their own; all places with details."""
        limits: dict[str, list[Finding]] = {}
        for f in self._findings(run, ("peak", "steady")):
            if f.subject == "place":
                limits.setdefault(f.name, []).append(f)
        rows = []
        for p in run.places:
            found = limits.get(p.name, [])
            if not found and not self.details:
                continue
            own = max(found, key=lambda f: (f.verdict != WITHIN, f.load), default=None)
            rows.append(
                (
                    p.name,
                    self.say.pressure(p.steady),
                    f"{self.say.pressure(p.highest.pressure)} ±{self.say.pressure(p.highest.error)}",
                    self.say.time(p.highest.time),
                    f"{self.say.pressure(p.lowest.pressure)} ±{self.say.pressure(p.lowest.error)}",
                    self.say.time(p.lowest.time),
                    self.say.pressure(own.limit) if own and own.limit is not None else "-",
                    SHORT[own.verdict] if own else "",
                    own.limit_source if own else ", ".join(p.roles),
                )
            )
        head = (
            "place",
            "steady",
            f"peak {self.unit}",
            "at s",
            "lowest",
            "at s",
            "limit",
            "verdict",
            "limit from, or what it is",
        )
        return table(head, rows) if rows else []

    def pocket(self, run: ScenarioResult) -> list[str]:
        """Figures that a pocket calculator can check."""
        rows = []
        for e in run.elements:
            g = e.figures
            if g:
                rows.append(
                    (
                        e.name,
                        self.say.flow(g.flow),
                        f"{g.velocity:.2f} m/s",
                        f"{g.wave_speed:.0f} m/s",
                        f"{g.travel_time:.3f} s",
                        self.say.difference(g.instant_stop),
                    )
                )
        head = ("element", "flow", "velocity", "wave speed", "travel time", "instant-stop rise")
        out = [f'Figures to check by pocket calculator (scenario "{run.name}")', *table(head, rows)]
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
        line = self.a.lineup
        out = ["Where figures come from"]
        out += [f"  wave speed of {p.name}: {p.wave_speed_source}" for p in line.pipes]
        out += [
            line_
            for v in line.valves
            for line_ in paragraph(
                f"characteristic of {v.name}: {v.characteristic_source}", indent="    ", first="  "
            ).splitlines()
        ]
        out += ["", "How it was computed"]
        for run in self.a.scenarios:
            m = run.method
            text = (
                f"{run.name}: {m.runs} marches to {m.duration:.1f} s, the finest with {m.steps} steps of "
                f"{m.dt * 1000:.2f} ms on {m.nodes} nodes; lengths fitted to the step within "
                f"{m.largest_misfit * 100:.2f} % of the travel time ({m.misfit_of}: "
                "short parts are held to a time, not to a share); "
                f"largest numerical error {self.say.difference(m.worst_error)}, aimed at "
                f"{self.say.difference(m.tolerance)}."
            )
            if m.lumped:
                text += f" Shorter than a reach and taken as one lump: {', '.join(m.lumped)}."
            out.append(paragraph(text, indent="    ", first="  "))
        return out
