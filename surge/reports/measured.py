"""What a measured stroke does, in words and as a document. Pressures [Pa gauge], times [s]."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass

from surge.model.lineup import LineUp
from surge.phrases import capital
from surge.records.stroke_tests import Direction
from surge.reports.document import Head, finding, finding_or_none
from surge.reports.layout import Row, paragraph, table
from surge.reports.measured_json import MeasuredDocument, PressureJson, VerdictsJson, stroke_json
from surge.reports.records_json import FileId
from surge.reports.words import CAUTIONS, HEADLINE, SHORT, Display, whose
from surge.rules.assess import Assessment
from surge.rules.book import LOCAL_CODES
from surge.rules.findings import EXCEEDED, WITHIN, Finding, worst_of
from surge.rules.telling import valid
from surge.transient.result import ScenarioResult
from surge.valves.curve import FLAT, GAP, SIGMAS, MeasuredStroke
from surge.valves.measured import Measured, PressureComparison

HEAD = (
    "where",
    "scenario",
    "",
    "assumed",
    "measured",
    "steepest",
    "error",
    "limit",
    "nearer by",
    "verdict",
)
HIDDEN = (
    "As measured every limit is kept, but not with the steepest stroke that the measurement allows: measure "
    "again with less noise or less time between samples, or take it for exceeded"
)


def measured_lines(found: Measured, lineup: LineUp, display: Display) -> list[str]:
    """Return the whole answer in lines.

    Parameters
    ----------
    found : Measured
    lineup : LineUp
        The one that it was run in.
    display : Display
        Units of the output.
    """
    out = [
        paragraph(lineup.title),
        "",
        f"VERDICT: {HEADLINE[found.verdict]}",
        "",
        *(paragraph(t, indent="    ") for t in answer_sentences(found, display)),
        "",
        f'Pressures with the measured stroke of "{found.valve}", the nearest to its limit first',
        *table(HEAD, [row_of(p, found, display) for p in found.pressures], left=3),
        f"  pressures in {display.units.pressure}(g); steepest: see below",
    ]
    out += ["", "The measured curve"]
    out += [paragraph(note, indent="  ", first="- ") for note in notes_of(found.stroke)]
    out += _rules(found)
    out += ["", paragraph(LOCAL_CODES), "", "Cautions"]
    return out + [paragraph(c, indent="  ", first="- ") for c in CAUTIONS]


def answer_sentences(found: Measured, display: Display) -> list[str]:
    """Return what it comes to, in a few sentences."""
    stroke = found.stroke
    way = "closes" if stroke.direction is Direction.CLOSING else "opens"
    times = {law[-1][0] for law in found.laws.values()}
    assumed = " and ".join(f"{t:.1f} s" for t in sorted(times))
    said = [f'"{found.valve}" {way} in {stroke.time:.1f} s as measured; the case assumes {assumed}.']
    if found.pressures:
        compared = spotlight(found) or found.pressures[0]
        said.append(f"{_sentence(compared, found, display)}.")
    others = others_of(found)
    if others and (not found.pressures or worst_of(p.verdict for p in found.pressures) != found.verdict):
        said.append(f"Not these pressures but this decides: {others[0]}")
    if found.hidden:
        said.append(f"{HIDDEN}.")
    return said


@dataclass(frozen=True, kw_only=True)
class Told:
    """A pressure against a limit as it may be told: of a run in which the liquid boils, what came before.

    Attributes
    ----------
    finding : Finding or None
    value, margin : float or None
        [Pa gauge], [Pa]
    """

    finding: Finding | None
    value: float | None = None
    margin: float | None = None

    def words(self, display: Display) -> str:
        """Return the pressure with its unit, rounded against the reader."""
        if self.finding is None or self.value is None:
            return "-"
        rounded = display.round_up if self.finding.check == "peak" else display.round_down
        return rounded(self.value, unit=True)


def _told(f: Finding | None, assessment: Assessment | None) -> Told:
    if f is None or assessment is None:
        return Told(finding=None)
    seen = valid(f, assessment.run_of(f))
    return Told(finding=f, value=seen.value, margin=seen.margin)


def told_of(compared: PressureComparison, found: Measured) -> tuple[Told, Told, Told]:
    """Return what may be told of a pressure with each stroke: assumed, measured, steepest."""
    return (
        _told(compared.assumed, found.assumed),
        _told(compared.measured, found.measured),
        _told(compared.steep, found.steep),
    )


def nearer_by(compared: PressureComparison, found: Measured) -> float | None:
    """Return how much nearer to its limit the worse measured pressure comes than the assumed one [Pa].

    None where the liquid boils, since only a part of the run may be told, and where nothing was assumed.
    """
    if found.boils(compared):
        return None
    before, *after = (t.margin for t in told_of(compared, found))
    left = [m for m in after if m is not None]
    return before - min(left) if before is not None and left else None


def _sentence(compared: PressureComparison, found: Measured, display: Display) -> str:
    worse = compared.worse
    name = whose(worse)
    assumed, measured, steep = told_of(compared, found)
    text = f'{capital(name)} in "{worse.scenario}": {measured.words(display)} as measured'
    if steep.finding is not None:
        text += f", {steep.words(display)} with the steepest stroke that the measurement allows"
    if assumed.finding is not None:
        text += f", {assumed.words(display)} as assumed"
    if worse.limit is not None:
        text += f"; the limit is {display.pressure(worse.limit, unit=True)} ({worse.limit_source})"
    if found.boils(compared):
        text += "; the cargo boils, and no pressure after that is valid in this model"
    return text


def row_of(p: PressureComparison, found: Measured, display: Display) -> Row:
    """Return a row of the table of pressures, below :data:`HEAD`."""
    nearer = nearer_by(p, found)
    return (
        p.worse.name,
        p.worse.scenario,
        p.worse.check,
        *(t.words(display).removesuffix(f"{display.units.pressure}(g)").strip() for t in told_of(p, found)),
        display.error(p.worse.error),
        "-" if p.worse.limit is None else display.pressure(p.worse.limit),
        "-" if nearer is None else display.difference(nearer).split(" ")[0],
        SHORT[p.verdict],
    )


def others_of(found: Measured) -> list[str]:
    """Return what else is not plainly kept, the worst first: static pressures, rules of the trade."""
    runs = [found.measured, *([found.steep] if found.steep else [])]
    static = [
        (f.verdict, f"{whose(f)}: {f.check} pressure {SHORT[f.verdict]} ({f.limit_source or f.reason}).")
        for f in found.measured.findings
        if f.check in ("static", "steady") and f.verdict != WITHIN
    ]
    ruled = [(r.verdict, f"{r.words} [{r.rule.source}]") for run in runs for r in run.broken]
    listed = dict.fromkeys([*static, *ruled])
    return [text for verdict, text in sorted(listed, key=lambda pair: pair[0] != EXCEEDED)]


def _rules(found: Measured) -> list[str]:
    others = others_of(found)
    lines = [paragraph(t, indent="  ", first="- ") for t in others]
    return (
        ["", "Also not kept, or not decided: static pressures and rules of the trade", *lines]
        if lines
        else []
    )


def measured_document(found: Measured, head: Head, cautions: Iterable[str]) -> MeasuredDocument:
    """Return the answer as a document.

    Parameters
    ----------
    found : Measured
    head : Head
        Which program and case.
    cautions : iterable of str
    """
    stroke = found.stroke
    return MeasuredDocument(
        program=head.program,
        case=head.case,
        curve=FileId(file=stroke.curve.filename, sha256=stroke.curve.sha256),
        verdict=found.verdict,
        exit_code=found.exit_code,
        valve=found.valve,
        direction=stroke.direction.value,
        verdicts=VerdictsJson(
            assumed=found.assumed.verdict,
            measured=found.measured.verdict,
            steepest=found.steep.verdict if found.steep else None,
        ),
        stroke=stroke_json(stroke, notes_of(stroke)),
        assumed_laws=found.laws,
        pressures=tuple(
            PressureJson(
                assumed=finding_or_none(compared.assumed),
                measured=finding(compared.measured),
                steepest=finding_or_none(compared.steep),
                nearer_by_pa=nearer_by(compared, found),
                verdict=compared.verdict,
            )
            for compared in found.pressures
        ),
        rules_note=LOCAL_CODES,
        cautions=tuple(cautions),
    )


def spotlight(found: Measured) -> PressureComparison | None:
    """Return the pressure that is drawn: of those with the worst verdict the nearest to its limit.

    A peak before others; but where the liquid boils, how low it falls.
    """
    worst = worst_of(p.verdict for p in found.pressures)
    pressures = [p for p in found.pressures if p.verdict == worst]
    telling = [p for p in pressures if p.worse.check == ("vapour" if found.boils(p) else "peak")]
    return next(iter(telling or pressures), None)


def place_of(compared: PressureComparison, found: Measured, lineup: LineUp) -> str:
    """Return the point at which a pressure is drawn: of an element, the end that is worse."""
    if compared.worse.subject == "place":
        return compared.worse.name
    steepest = compared.worse is compared.steep
    run = run_of_worse(found.steep if steepest and found.steep else found.measured, compared)
    ends = next((e.start, e.end) for e in lineup.elements if e.name == compared.worse.name)
    places = {p.name: p for p in run.places}
    if compared.worse.check == "peak":
        return max((e for e in ends if e in places), key=lambda e: places[e].highest.pressure)
    return min((e for e in ends if e in places), key=lambda e: places[e].lowest.pressure)


def run_of_worse(assessment: Assessment, compared: PressureComparison) -> ScenarioResult:
    """Return the run that the worse finding is of, or the first run of its scenario."""
    runs = [r for r in assessment.scenarios if r.name == compared.worse.scenario]
    return next((r for r in runs if r.taken == compared.worse.taken), runs[0])


def notes_of(stroke: MeasuredStroke) -> tuple[str, ...]:
    """Return all that one should know of a measured stroke: how it was read, and what was done to it."""
    made = (note(stroke) for note in _NOTES)
    return (*stroke.curve.notes, *(text for text in made if text))


def _note_of_movement(s: MeasuredStroke) -> str:
    way = "Closes" if s.direction is Direction.CLOSING else "Opens"
    text = f"{way} in {s.time:.2f} s, {len(s.curve.samples)} samples, usually {s.usual:.3g} s apart."
    if s.lead > 0.0:
        text += f" {s.lead:.2f} s before it moves are cut off: the case says itself when the movement begins."
    return text


def _note_of_noise(s: MeasuredStroke) -> str:
    if s.noise == 0.0:
        return "The curve goes one way only: nothing was smoothed."
    return (
        f"Noise of {100 * s.noise:.2f} % rms (at most {100 * s.furthest:.1f} %) was smoothed, so that the "
        f"stroke goes one way. The law that was run stays within ±{SIGMAS * 100 * s.sigma:.2f} % of that. "
        f"Steepest change within {s.window:.2f} s: {100 * s.fall_measured:.1f} % as measured, with "
        f"noise in it, {100 * s.fall_law:.1f} % in the law."
    )


def _note_of_overshoot(s: MeasuredStroke) -> str:
    ends = [(s.over_open, "open"), (s.over_shut, "shut")]
    said = [f"{100 * x:.1f} % beyond {end}" for x, end in ends if x > max(3 * s.sigma, FLAT)]
    return (
        f"It overshoots by {' and '.join(said)}: clipped at the end, which is the steeper way."
        if said
        else ""
    )


def _note_of_rest(s: MeasuredStroke) -> str:
    said = []
    least = max(s.sigma, 1e-4)
    if s.rest_shut > least:
        said.append(
            f"It rests at {100 * s.rest_shut:.1f} % when shut: a leak, or an indicator that is off. Taken as "
            "shut (a leak would soften the surge), the stroke stretched to reach 0"
        )
    elif s.rest_shut < -least:
        said.append(
            f"It rests at {100 * s.rest_shut:.1f} % when shut: the indicator is off. Taken as shut from 0 "
            "on, the earlier and steeper way"
        )
    if s.rest_open < 1.0 - least:
        said.append(
            f"It rests at {100 * s.rest_open:.1f} % when open: taken as fully open, the stroke stretched to "
            "begin at 100 %, which is the steeper way"
        )
    return ". ".join(said) + "." if said else ""


def _note_of_gaps(s: MeasuredStroke) -> str:
    text = (
        f"Greatest change between two samples {100 * s.between:.1f} % (row {s.between_row}); longest time "
        f"between two in the movement {s.gap:.3g} s (row {s.gap_row})."
    )
    if s.gaps:
        gaps = "one gap" if s.gaps == 1 else f"{s.gaps} gaps"
        text += f" Samples are missing: {gaps} of more than {GAP:g} times the usual."
    return text


def _note_of_steep(s: MeasuredStroke) -> str:
    if s.steep is None:
        return ""
    return (
        "How steep it was between the samples and within the noise is not known: a second law, as steep as "
        f"they allow (steps within ±{SIGMAS:g} times the noise from sample to sample, the whole of a coarse "
        "change or of a gap in its last tenth), is run as well. What only that one exceeds cannot be decided."
    )


_NOTES: tuple[Callable[[MeasuredStroke], str], ...] = (
    _note_of_movement,
    _note_of_noise,
    _note_of_overshoot,
    _note_of_rest,
    _note_of_gaps,
    _note_of_steep,
)
