"""Everything that stands on the sheet which ship and terminal sign: the same for PDF, HTML and JSON.

A figure stands here as it is printed, rounded as in every other answer, with its SI value beside it. What is
printed is :meth:`Sheet.document` and nothing else.

Decisions
---------
* The verdict is the worst of pressures, rules, windows and records. A case that does not fit what was read on
  gauges cannot be decided: nobody signs for a line that is another one.
* A stroke of the case that keeps its limits but lies outside its own window is an objection (exit code 3):
  longer or shorter ones near it are not safe.
* Every element and place stands once, at its worst over all scenarios.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Literal

from surge.case.file import Case
from surge.model.lineup import LineUp, Pipe
from surge.phrases import capital
from surge.reports.advice import advice
from surge.reports.attached import attached_sentences
from surge.reports.cavities import cavities_by_place, cavity_sentences, trust
from surge.reports.document import CaseId, ExitCode, Head, Json, Program, Verdict, as_json
from surge.reports.fillings import TRUST as TRUST_FILLING
from surge.reports.fillings import filling_sentences, governing_fillings
from surge.reports.gauge import compared_line, gauge_sentences
from surge.reports.rules import AssumedItem, RuleItem, assumed_items, rule_items
from surge.reports.sensitivities import sensitivity_sentences, sensitivity_trust
from surge.reports.stages import stage_lines
from surge.reports.words import CAUTIONS, HEADLINE, SHORT, Display, against, sentence, what_happens, whose
from surge.rules.assess import Assessment
from surge.rules.book import LOCAL_CODES
from surge.rules.fillings import NOT_SEARCHED, weakest_with
from surge.rules.findings import EXCEEDED, EXIT_CODE, UNDECIDED, WITHIN, Finding, worst_of
from surge.rules.rulings import KEPT, NOT_DECIDED, NOT_KEPT, Ruling
from surge.search.window import Windows
from surge.sheet.moves import Chain, Movement, ScenarioEntry, chains, movements, stages, zeros
from surge.sheet.rows import PressureRow, lower_rows, name_of, static_worst, upper_rows, worst_first
from surge.sheet.valve_tests import Tests
from surge.sheet.window_notes import fully_searched, not_searched, together_words, window_notes
from surge.units import UNITS as IN_SI
from surge.units import ZERO_CELSIUS, show

TO_SIGN = "For signature by ship and terminal. It holds for this line-up, cargo, rates and strokes only."
NOT_TO_SIGN = "THIS IS NOT AN AGREEMENT. DO NOT SIGN, DO NOT LOAD BY IT."
A_DRAFT = "NOT FOR SIGNATURE: windows of stroke times were not searched."
DRAFT = "DRAFT"
SEARCH = "Make the sheet again without --no-window."
ANEW = (
    "Put right what is said above: set the stroke within its window, mend the valve and time it again, or "
    "find the figure with which the case fits the gauge. Then make the sheet anew."
)
NO_SHUTDOWN = "No emergency shutdown is described in this case: its times are not checked."
DUTY = (
    "A hose whose rated pressure was exceeded is withdrawn from service, and tested again before it is used. "
    "After any surge: stop, note time and highest pressure, look at hoses, arms, flanges and supports, and "
    "tell the other side."
)
DUTY_SOURCE = "the hose: ISGOTT, 18.2.6.3 (5th ed., 2006; read); the rest: common practice, no source"
UNSTATED = ("none", "the case itself")


@dataclass(frozen=True, slots=True, kw_only=True)
class PrintedFigure:
    """One figure of the cargo or the transfer: name, value as printed, and in SI with its unit."""

    name: str
    shown: str
    value: float | None
    unit: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Edition:
    """A text from which rules were taken, and what came of them.

    Attributes
    ----------
    authority, edition : str
    binds : str
        Which ships its code binds; "" for all that the rules speak of.
    clauses, status : tuple of str
        How far each was seen.
    met, not_met, not_decided : int
        So many times rules of it were, over all scenarios and parts.
    """

    authority: str
    edition: str
    binds: str
    clauses: tuple[str, ...]
    status: tuple[str, ...]
    met: int
    not_met: int
    not_decided: int


@dataclass(frozen=True, slots=True, kw_only=True)
class AfterSurge:
    """What is to be done after a surge, its source, and hoses not shown to stay within their rating."""

    duty: str
    source: str
    hoses: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Units:
    """Units in which the figures are printed."""

    pressure: str
    flow: str
    length: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Sheet(Head):
    """The sheet.

    Attributes
    ----------
    verdict : str
        The worst of pressures, rules, windows of stroke times and records.
    signable : bool
        Whether it can be signed; ``standing`` says it in words. Where every limit is kept but windows were
        left out, it is a draft.
    objections : tuple of str
        What speaks against signing beside the weakest pressure.
    ship, terminal, parcel, transfer : str
        Who loads how much, where (terminal and berth), and on which day; "" where the case does not say.
    weak_subject, weak_name : str
        The weakest element or place; "" where there is none.
    highest, lowest : tuple of PressureRow
        Every element and place with a limit, the worst first.
    """

    kind: Literal["sheet"] = "sheet"
    rules_file: str
    rules_sha256: str
    title: str
    operation: Literal["loading", "discharge"]
    verdict: Verdict
    exit_code: ExitCode
    headline: str
    signable: bool
    standing: str
    sentence: str
    weak_subject: str
    weak_name: str
    objections: tuple[str, ...]
    advice: tuple[str, ...]
    units: Units
    ship: str
    terminal: str
    parcel: str
    transfer: str
    cargo: tuple[PrintedFigure, ...]
    stages: tuple[ScenarioEntry, ...]
    movements: tuple[Movement, ...]
    window_notes: tuple[str, ...]
    not_searched: tuple[str, ...]
    chains: tuple[Chain, ...]
    no_chain: str
    highest: tuple[PressureRow, ...]
    lowest: tuple[PressureRow, ...]
    static: str
    attached: str | None = None
    boils: str | None = None
    """Where the cargo boils: its cavities in words, and when to trust what is told of them."""
    beside: str | None = None
    """What the case asks for beside the usual: what it changes, and when to trust it."""
    fillings: str | None = None
    """Lines that fill: what comes of each, and when to trust what is told."""
    cavities: tuple[str, ...] | None = None
    """The same place by place, with both models on two grids."""
    gauge: str
    tests: Tests
    assumed: tuple[AssumedItem, ...]
    rules: tuple[RuleItem, ...]
    rules_note: str
    editions: tuple[Edition, ...]
    event: AfterSurge
    cautions: tuple[str, ...]
    line_up: str

    def document(self) -> Json:
        """The sheet as plain lists and dicts."""
        plain: Json = as_json(self)
        return plain


def sheet_of(
    case: Case,
    assessment: Assessment,
    windows: Windows | None,
    *,
    display: Display,
    version: str,
    no_windows: str = "Windows of stroke times were not searched.",
    rules_sha256: str = "",
    tests: Tests | None = None,
) -> Sheet:
    """Return the sheet of a case.

    Parameters
    ----------
    case : Case
    assessment : Assessment
    windows : Windows or None
        None where they were not searched; ``no_windows`` says why.
    display : Display
        Units of the output.
    version : str
        Of the program.
    rules_sha256 : str
        Of the file of rules that the case names.
    tests : Tests, optional
        What the stroke-time records say.
    """
    lineup, weak = assessment.lineup, _weak(assessment)
    display = replace(display, zeros=zeros(lineup))
    tests = tests or Tests()
    moves = movements(assessment, windows, display)
    objections = _objections(assessment, windows, moves, tests, display)
    # Where no stroke is safe, or it cannot be decided whether one is, the windows say so themselves.
    outside = any(m.objection and m.shortest_safe_s is not None for m in moves)
    verdict = worst_of(
        [
            assessment.verdict,
            tests.verdict,
            *([EXCEEDED] if outside else []),
            WITHIN if assessment.gauge.fits else UNDECIDED,
            windows.verdict if windows else WITHIN,
        ]
    )
    shutdowns = chains(assessment, display)
    standing = NOT_TO_SIGN if verdict != WITHIN else TO_SIGN if fully_searched(lineup, windows) else A_DRAFT
    return Sheet(
        program=Program(version=version),
        case=CaseId(file=Path(case.filename).name, sha256=case.sha256),
        rules_file=Path(case.rules_file).name if case.rules_file else "",
        rules_sha256=rules_sha256,
        title=lineup.title,
        operation="discharge" if lineup.discharges else "loading",
        verdict=verdict,
        exit_code=EXIT_CODE[verdict],
        headline=DRAFT if standing == A_DRAFT else HEADLINE[verdict],
        signable=standing == TO_SIGN,
        standing=standing,
        sentence=_sentence(assessment, display),
        weak_subject=weak.subject if weak else "",
        weak_name=weak.name if weak else "",
        objections=objections,
        advice=_to_do(assessment, verdict, standing, display),
        units=Units(
            pressure=f"{display.units.pressure}(g)", flow=display.units.flow, length=display.units.length
        ),
        ship=lineup.berth.ship,
        terminal=", ".join(filter(None, [lineup.berth.terminal, lineup.berth.name])),
        parcel=_parcel(lineup, display),
        transfer=lineup.berth.transfer.isoformat() if lineup.berth.transfer else "",
        cargo=_cargo(lineup, display),
        stages=stages(assessment, windows, display),
        movements=moves,
        window_notes=(*stage_lines(lineup), *window_notes(windows, no_windows, display)),
        not_searched=not_searched(lineup, windows),
        chains=shutdowns,
        no_chain="" if shutdowns else NO_SHUTDOWN,
        highest=upper_rows(assessment, display),
        lowest=lower_rows(assessment, display),
        static=_static(static_worst(assessment), display),
        attached=" ".join(attached_sentences(assessment, display)) or None,
        boils=" ".join(filter(None, [*cavity_sentences(assessment, display), trust(assessment)])) or None,
        beside=" ".join([*sensitivity_sentences(assessment, display), *sensitivity_trust(assessment)])
        or None,
        fillings=_fillings(assessment, display),
        cavities=tuple(line for run in assessment.scenarios for line in cavities_by_place(run, display))
        or None,
        gauge=compared_line(assessment.gauge, display),
        tests=tests,
        assumed=tuple(assumed_items(lineup.assumed)),
        rules=tuple(rule_items(assessment, display, details=False)),
        rules_note=LOCAL_CODES,
        editions=_editions(assessment),
        event=AfterSurge(duty=DUTY, source=DUTY_SOURCE, hoses=_hoses_beyond(assessment, display)),
        cautions=CAUTIONS,
        line_up=_line_up(lineup),
    )


def _weak(assessment: Assessment) -> Finding | None:
    """What the sketch marks: the weakest place, that of a filling where one comes nearer to a limit."""
    worst = weakest_with(assessment.fillings, assessment.weakest)
    return worst if worst is not None and worst.subject != "scenario" else None


def _sentence(assessment: Assessment, display: Display) -> str:
    """The weakest place; before it, fillings that come nearer to a limit."""
    worst = assessment.weakest
    first = governing_fillings(assessment.fillings, worst)
    said = filling_sentences(first, display)
    return " ".join([*said, sentence(worst, assessment.run_of(worst), display)] if worst else said)


def _fillings(assessment: Assessment, display: Display) -> str | None:
    """Every filling in a sentence, and when to trust them."""
    if not assessment.fillings:
        return None
    first = governing_fillings(assessment.fillings, assessment.weakest)
    rest = [one for one in assessment.fillings if one not in first]
    bubbles = "Bubbles in the sketch: gas at first."
    return " ".join([bubbles, *filling_sentences(rest, display), NOT_SEARCHED, TRUST_FILLING])


def _to_do(assessment: Assessment, verdict: str, standing: str, display: Display) -> tuple[str, ...]:
    """What to do about a sheet that is none to sign, or how to keep to one that is."""
    if standing == A_DRAFT:
        return (SEARCH,)
    return (ANEW,) if assessment.verdict == WITHIN != verdict else tuple(advice(assessment, display))


def _objections(
    assessment: Assessment,
    windows: Windows | None,
    moves: Sequence[Movement],
    tests: Tests,
    display: Display,
) -> tuple[str, ...]:
    """What speaks against signing, beside the weakest pressure, which has a sentence of its own."""
    said = [_boils(assessment, display)]
    said += [display.phrase(r.phrase) for r in assessment.broken]
    said += [reason for run in assessment.scenarios for reason in run.undecided]
    said += [m.objection for m in moves]
    if not assessment.gauge.fits:
        said.append(gauge_sentences(assessment.gauge, display)[0])
    if windows is not None:
        for valve in windows.by_valve:
            shortest, longest = windows.bounds(valve)
            if shortest is not None and longest is not None and shortest > longest:
                said.append(f'"{valve}": no stroke time fits all scenarios in which it closes.')
    if windows is not None and windows.together is not None and windows.together.verdict != WITHIN:
        said.append(together_words(windows.together))
    said += [f'Records: "{r.tag}": {r.words}.' for r in tests.rows if r.verdict != SHORT[WITHIN]]
    if tests.verdict != WITHIN and all(r.verdict == SHORT[WITHIN] for r in tests.rows):
        said.append(f"Records: {tests.words}")
    return tuple(dict.fromkeys(s for s in said if s))


def _boils(assessment: Assessment, display: Display) -> str:
    """Where the cargo boils without having been followed, and that no pressure after it is valid."""
    boiling = [run for run in assessment.scenarios if run.vapour is not None and not run.followed]
    if not boiling:
        return ""
    places = [
        f'"{v.where}" at {display.instant(run.name, v.time)} s in "{name_of(run, display)}"'
        for run in boiling
        if (v := run.vapour) is not None
    ]
    return (
        f"The cargo boils: in {'; in '.join(places)}. Pressures after that are not valid, and a collapsing "
        "cavity can be worse than any figure here; the tables hold what came before."
    )


def _cargo(lineup: LineUp, display: Display) -> tuple[PrintedFigure, ...]:
    """What the waves go by."""
    liquid = lineup.liquid
    density, speed = liquid.density, liquid.sound_speed
    figures = [PrintedFigure(name="cargo", shown=liquid.name, value=None, unit="")]
    if liquid.temperature is not None:
        celsius = f"{liquid.temperature - ZERO_CELSIUS:.1f} degC"
        figures.append(PrintedFigure(name="temperature", shown=celsius, value=liquid.temperature, unit="K"))
    vapour = display.pressure(lineup.vapour_gauge, unit=True)
    return (
        *figures,
        PrintedFigure(
            name="density", shown=show(density, unit="kg/m3", with_unit=True), value=density, unit="kg/m3"
        ),
        PrintedFigure(name="sound speed", shown=f"{speed:.0f} m/s", value=speed, unit="m/s"),
        PrintedFigure(name="boils at", shown=vapour, value=lineup.vapour_gauge, unit="Pa gauge"),
    )


def _parcel(lineup: LineUp, display: Display) -> str:
    """How much is to be loaded: a weight where the case says so or rates are by weight."""
    parcel = lineup.berth.parcel
    if parcel is None:
        return ""
    if lineup.berth.parcel_by_mass or display.units.flow in ("t/h", "kg/s"):
        return f"{parcel * lineup.liquid.density / 1000.0:.0f} t"
    return (
        f"{parcel / IN_SI['volume']['bbl']:.0f} bbl" if display.units.flow == "bbl/h" else f"{parcel:.0f} m3"
    )


def _static(finding: Finding | None, display: Display) -> str:
    """Shut-off pressure in one sentence."""
    if finding is None:
        return ""
    words = f"{what_happens(finding, None, display)} in {whose(finding)}"
    held = against(finding, None, display)
    return f"{capital(words)}{f'; {held}' if held else ''}."


def _editions(assessment: Assessment) -> tuple[Edition, ...]:
    """Texts whose rules the case was held against, with their editions."""
    groups: dict[tuple[str, str], list[Ruling]] = {}
    for r in assessment.rulings:
        if r.outcome in (KEPT, NOT_KEPT, NOT_DECIDED) and r.rule.authority not in UNSTATED:
            groups.setdefault((r.rule.authority, r.rule.edition), []).append(r)
    return tuple(_edition(*key, group) for key, group in sorted(groups.items()))


def _edition(authority: str, edition: str, group: Sequence[Ruling]) -> Edition:
    many = Counter(r.outcome for r in group)
    return Edition(
        authority=authority,
        edition="" if edition in UNSTATED else edition.replace("not noted", "edition not noted"),
        binds=group[0].rule.binds,
        clauses=tuple(dict.fromkeys(r.rule.clause for r in group if r.rule.clause not in UNSTATED)),
        status=tuple(dict.fromkeys(r.rule.status for r in group)),
        met=many[KEPT],
        not_met=many[NOT_KEPT],
        not_decided=many[NOT_DECIDED],
    )


def _hoses_beyond(assessment: Assessment, display: Display) -> tuple[str, ...]:
    """Hoses that the calculation does not show to stay within their rating, each at its worst."""
    hoses = {
        p.name: p.limits.rating for p in assessment.lineup.pipes if isinstance(p, Pipe) and p.kind == "hose"
    }
    said: dict[str, str] = {}
    upper = [f for f in assessment.findings if f.name in hoses and f.subject == "element"]
    for f in sorted(upper, key=worst_first):
        if f.check in ("peak", "steady", "static") and f.verdict in (EXCEEDED, UNDECIDED) and f.limit:
            scenario = f' in "{f.scenario}"' if f.scenario else ""
            happens = what_happens(f, assessment.run_of(f), display)
            said.setdefault(f.name, f'"{f.name}"{scenario}: {happens}')
    return tuple(said.values())


def _line_up(lineup: LineUp) -> str:
    """The line-up in words, for those who cannot see the sketch."""
    shore = [t.name for t in lineup.tanks if t.side == "shore"] + [s.name for s in lineup.supplies]
    ship = [t.name for t in lineup.tanks if t.side == "ship"]
    parts = [f"{e.name} from {e.start} to {e.end}" for e in lineup.elements]
    parts += [f"relief valve {r.name} at {r.point}" for r in lineup.relief_valves]
    parts += [f"surge drum {d.name} at {d.point}" for d in lineup.surge_drums]
    parts += [f"open vessel {v.name} at {v.point}" for v in lineup.open_vessels]
    return (
        f"Line-up sketch. Shore: {', '.join(shore) or 'none'}. Ship: {', '.join(ship) or 'none'}. "
        f"Parts: {'; '.join(parts)}."
    )
