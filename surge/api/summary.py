"""What a check found, put into words piece by piece: for a page that places them itself.

Every word and figure is the one that ``surge check`` prints, in the reader's units and rounded against the
reader.
"""

from __future__ import annotations

from dataclasses import dataclass

from surge.api.check import CheckAnswer
from surge.arguments import checked
from surge.reports.advice import advice
from surge.reports.remedies import remedy_words
from surge.reports.rules import assumed_items
from surge.reports.screen import FALLS, Screen, counted, judged, rounded, side_of
from surge.reports.text import unstyled
from surge.reports.words import BOILS_THERE, HEADLINE, RANK, SHORT, place_in
from surge.rules.fillings import weakest_with
from surge.rules.findings import Finding
from surge.rules.telling import valid


@dataclass(frozen=True, kw_only=True)
class ScenarioLine:
    """A scenario with its worst figure; figures as text, "-" where there is none."""

    name: str
    verdict: str
    short: str
    pressure: str
    limit: str
    weakest: str


@dataclass(frozen=True, kw_only=True)
class PartLine:
    """The pressure of a part that comes nearest to its limit on one side, or goes beyond it.

    Figures as text in the reader's units; ``used`` is the share of the limit [-], above 1 beyond it.
    """

    subject: str
    name: str
    check: str
    scenario: str
    pressure: str
    error: str
    limit: str
    limit_source: str
    margin: str
    time: str
    place: str
    verdict: str
    short: str
    reason: str
    used: float


@dataclass(frozen=True, kw_only=True)
class Summary:
    """A check in words.

    Attributes
    ----------
    headline, verdict : str
        "LIMITS KEPT", "limit kept".
    counted, sentence : str
        What was counted; the weakest place, after the rule that makes the verdict where no pressure does.
    weakest : (str, str) or None
        "element" or "place", and its name; that of a filling where one comes nearer to a limit.
    unit : str
        Of the pressures in the lines.
    scenarios : tuple of ScenarioLine
        The worst first.
    parts : tuple of PartLine
        The worst first.
    notes, steps, cautions, assumed : tuple of str
    remedies : tuple of str
        Of the steps those that are remedies, in the order of the document's.
    """

    headline: str
    verdict: str
    counted: str
    sentence: str
    weakest: tuple[str, str] | None
    unit: str
    scenarios: tuple[ScenarioLine, ...]
    parts: tuple[PartLine, ...]
    notes: tuple[str, ...]
    steps: tuple[str, ...]
    cautions: tuple[str, ...]
    assumed: tuple[str, ...]
    remedies: tuple[str, ...]


@checked
def summary(answer: CheckAnswer) -> Summary:
    """Return what a check found, in words.

    Examples
    --------
    >>> import surge
    >>> from surge.api.summary import summary
    >>> told = summary(surge.check("cases/restart-into-a-shut-deck-line.toml"))
    >>> told.headline, told.parts[0].name, told.parts[0].pressure, told.parts[0].limit
    ('LIMITS KEPT', 'shore line', '7.71', '10.00')
    """
    screen = Screen(answer, answer.display, style=unstyled, signature="")
    worst = weakest_with(answer.fillings, answer.weakest)
    notes = [_joined(item) for part in screen.beside() for item in part.items]
    return Summary(
        headline=HEADLINE[answer.verdict],
        verdict=answer.verdict,
        counted=counted(answer),
        sentence=" ".join(screen.governing()),
        weakest=None if worst is None else (worst.subject, worst.name),
        unit=f"{answer.units.pressure}(g)",
        scenarios=_scenarios(answer, screen),
        parts=_parts(answer),
        notes=tuple(notes),
        steps=tuple(advice(answer, answer.display)),
        cautions=(_joined(screen.cautions(9)),),
        assumed=tuple(
            f"{i.quantity} of {', '.join(i.subjects)}: {i.value} ({i.source})"
            for i in assumed_items(answer.lineup.assumed)
        ),
        remedies=tuple(
            remedy_words(one, answer.lineup, answer.display)
            for one in (answer.remedies.found if answer.remedies else ())
        ),
    )


def _joined(lines: list[str]) -> str:
    return " ".join(line.strip() for line in lines).removeprefix("- ")


def _scenarios(answer: CheckAnswer, screen: Screen) -> tuple[ScenarioLine, ...]:
    found = []
    for one in judged(answer):
        name, short, pressure, limit, weakest = screen.row(one)
        found.append(
            ScenarioLine(
                name=name, verdict=one.verdict, short=short, pressure=pressure, limit=limit, weakest=weakest
            )
        )
    return tuple(found)


def _parts(answer: CheckAnswer) -> tuple[PartLine, ...]:
    """Of each part and place, its worst upper and its worst lower figure."""
    worst: dict[tuple[str, str, bool], Finding] = {}
    for f in answer.counting:
        if f.subject not in ("element", "place"):
            continue
        key = f.subject, f.name, f.check in FALLS
        if key not in worst or _order(f) < _order(worst[key]):
            worst[key] = f
    return tuple(_line(answer, f) for f in sorted(worst.values(), key=_order))


def _order(f: Finding) -> tuple[int, float]:
    return RANK[f.verdict], -f.load


def _line(answer: CheckAnswer, f: Finding) -> PartLine:
    display, run = answer.display, answer.run_of(f)
    seen = valid(f, run)
    element = next((e for e in run.elements if e.name == f.name), None) if run is not None else None
    time, distance = (f.time, f.distance) if seen.cavities else (None, None)
    if seen.when is not None:
        time, distance = seen.when.time, seen.when.distance if seen.long else None
    return PartLine(
        subject=f.subject,
        name=f.name,
        check=side_of(f),
        scenario=f.scenario,
        pressure="-" if seen.value is None else rounded(f, seen.value, display),
        error=display.error(f.error),
        limit="-" if f.limit is None else display.pressure(f.limit),
        limit_source=f.limit_source,
        margin="-" if seen.margin is None else display.margin(seen.margin),
        time="-" if time is None else f"{display.instant(f.scenario, time)} s",
        place=place_in(element, distance, display) if element and distance is not None else "",
        verdict=f.verdict,
        short=SHORT[f.verdict],
        reason=BOILS_THERE if f.boils else f.reason,
        used=f.load,
    )
