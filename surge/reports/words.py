"""Figures and findings as words, rounded against the reader, in the units that the reader chose."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field

from surge.model.ranges import Taken
from surge.phrases import Phrase, told
from surge.rules.findings import APART, EXCEEDED, UNDECIDED, WITHIN, Finding
from surge.rules.telling import Valid, valid
from surge.transient.result import ElementResult, ScenarioResult
from surge.units import DECIMALS, ShowUnits, from_si, show

SHORT = {WITHIN: "kept", EXCEEDED: "EXCEEDED", UNDECIDED: "undecided"}
BOILS_THERE = "boils, or nearly: see the cavities"  # in the place of a limit, where they are followed
RANK = {EXCEEDED: 0, UNDECIDED: 1, WITHIN: 2}  # the worst first
HEADLINE = {WITHIN: "LIMITS KEPT", EXCEEDED: "LIMIT EXCEEDED", UNDECIDED: "CANNOT BE DECIDED"}
AT_END = 1e-3  # of the length: what is nearer to an end is at that end
MODELS = {"vapour": "vapour alone", "gas": "vapour and gas"}  # of cavities
STANDS_STILL = 1e-6  # [m/s] no flow to tell the ends of an element by
NOISE = 1e-6  # of the last decimal: rounding of floats, not worth a whole step

CAUTIONS = (
    "This is a calculation, not a permit. Local codes, the procedures of terminal and ship, and qualified "
    "persons decide.",
    "A pressure below the rating does not make a hose sound: look at its test date and its condition. A hose "
    "whose rating was exceeded is withdrawn and tested again before use (common practice).",
    "The model is liquid-filled but for vapour cavities; friction as in steady flow, no dissolved gas, no "
    "choking valves, no moving pipe supports.",
)


@dataclass(frozen=True, kw_only=True)
class Display:
    """How figures are written: in the reader's units, and rounded so that none looks better than it is.

    Figures come in SI. Rounding goes against the reader: a pressure with an upper limit is rounded up, one
    with a lower limit down, a margin down, an error up.

    Attributes
    ----------
    units : ShowUnits
        The reader's units.
    density : float
        Of the cargo, for flows by mass [kg/m3].
    zeros : mapping of str to float
        Scenario -> the instant from which its times are told [s]; the beginning where it has none.
    """

    units: ShowUnits
    density: float
    zeros: Mapping[str, float] = field(default_factory=dict)

    def pressure(self, value: float, *, unit: bool = False) -> str:
        """A gauge pressure [Pa gauge] to the nearest figure: limits, and what nothing is held against."""
        return show(value, unit=self.units.pressure) + (f" {self.units.pressure}(g)" if unit else "")

    def round_up(self, value: float, *, unit: bool = False) -> str:
        """A pressure [Pa gauge] that an upper limit is for, rounded up."""
        return self._stepped(value, math.ceil) + (f" {self.units.pressure}(g)" if unit else "")

    def round_down(self, value: float, *, unit: bool = False) -> str:
        """A pressure [Pa gauge] that a lower limit is for, rounded down."""
        return self._stepped(value, math.floor) + (f" {self.units.pressure}(g)" if unit else "")

    def margin(self, value: float, *, unit: bool = False) -> str:
        """A margin [Pa], rounded down: what is exceeded never shows as 0."""
        return self._stepped(value, math.floor) + (f" {self.units.pressure}" if unit else "")

    def error(self, value: float) -> str:
        """A numerical error [Pa], rounded up."""
        return f"±{self._stepped(value, math.ceil)}"

    def difference(self, value: float) -> str:
        """A pressure difference [Pa] with its unit, to the nearest figure."""
        return f"{show(value, unit=self.units.pressure)} {self.units.pressure}"

    def _stepped(self, value: float, way: Callable[[float], int]) -> str:
        unit = self.units.pressure
        return _stepped(from_si(value, unit=unit), unit, way)

    def flow(self, value: float) -> str:
        """A flow [m3/s] with its unit."""
        return show(value, unit=self.units.flow, density=self.density, with_unit=True)

    def flow_down(self, value: float) -> str:
        """A flow [m3/s] up to which something is safe, with its unit, rounded down."""
        return self._flow(value, math.floor)

    def flow_up(self, value: float) -> str:
        """A flow [m3/s] from which on something is safe, with its unit, rounded up."""
        return self._flow(value, math.ceil)

    def _flow(self, value: float, way: Callable[[float], int]) -> str:
        unit = self.units.flow
        return f"{_stepped(from_si(value, unit=unit, density=self.density), unit, way)} {unit}"

    def length(self, value: float) -> str:
        """A length [m] with its unit."""
        return show(value, unit=self.units.length, decimals=1, with_unit=True)

    def phrase(self, phrase: Phrase) -> str:
        """A phrase with its quantities in the reader's units."""
        writers = {
            "pressure": lambda v: self.round_up(v, unit=True),
            "difference": self.difference,
            "flow": self.flow,
            "length": self.length,
        }
        return told(phrase, writers)

    def taken(self, figures: Iterable[Taken]) -> list[str]:
        """What was taken of figures that are ranges, as far as it matters; lengths in the reader's unit."""
        return [
            f"{t.whose} {self.length(t.value) if t.quantity == 'length' else t.words}"
            for t in figures
            if t.matters
        ]

    def time(self, value: float) -> str:
        """A time [s], without its unit."""
        return show(value, unit="s")

    def instant(self, scenario: str, value: float) -> str:
        """An instant of a scenario [s from its beginning], told from its zero, without its unit."""
        return show(value - self.zeros.get(scenario, 0.0), unit="s")


def _stepped(value: float, unit: str, way: Callable[[float], int]) -> str:
    """A value in a unit with that unit's decimals, rounded one way."""
    places = DECIMALS[unit]
    number = value * 10**places
    nearest = round(number)
    whole = nearest if abs(number - nearest) < NOISE else way(number)
    return f"{whole / 10**places:.{places}f}"


def whose(finding: Finding) -> str:
    """The element, place or scenario that a finding is about."""
    return {"place": "the place ", "scenario": "the scenario "}.get(finding.subject, "") + f'"{finding.name}"'


def place_in(element: ElementResult, distance: float, display: Display) -> str:
    """A place in an element, in words: "shore end", or so far from it; "" where it has no length.

    Parameters
    ----------
    element : ElementResult
    distance : float
        From the start of the element [m].
    display : Display

    Notes
    -----
    Where something flows, the start is the shore end or the ship end by the way of the flow; a branch in
    which nothing flows has the names of its points for its ends.
    """
    figures = element.figures
    if figures is None:
        return ""
    length, from_shore = element.length, from_shore_end(element, distance)
    ends = f'end "{element.start}"', f'end "{element.end}"'
    if abs(figures.velocity) > STANDS_STILL:
        ends = "shore end", "ship end"
    if from_shore <= AT_END * length:
        return ends[0]
    if length - from_shore <= AT_END * length:
        return ends[1]
    return f"{display.length(from_shore)} from {ends[0]}"


def from_shore_end(element: ElementResult, distance: float) -> float:
    """How far a place lies from the shore end of an element [m]; from its start where nothing flows.

    Parameters
    ----------
    element : ElementResult
    distance : float
        From its start [m].
    """
    figures = element.figures
    if figures is None or abs(figures.velocity) <= STANDS_STILL:
        return distance
    starts_ashore = (figures.velocity > 0.0) is not element.ashore
    return distance if starts_ashore else element.length - distance


def where_in(element: ElementResult, distance: float, display: Display) -> str:
    """The same for a sentence: "at its shore end", "120.0 m from its shore end"."""
    place = place_in(element, distance, display)
    if not place:
        return ""
    return place.replace(" from ", " from its ") if place[0].isdigit() else f"at its {place}"


def _where_and_when(finding: Finding, run: ScenarioResult | None, seen: Valid, display: Display) -> str:
    if seen.cavities:
        return _with_cavities(finding, run, display)
    if seen.when is None:
        return ", before the cargo boils" if finding.check in ("peak", "lowest") else ""
    where = ""
    if seen.long and run is not None:
        element = next(e for e in run.elements if e.name == finding.name)
        where = f", {where_in(element, seen.when.distance, display)}"
    if seen.when.time == 0.0:
        return f"{where}, before anything moves"
    return f" at {display.instant(finding.scenario, seen.when.time)} s{where}"


def _with_cavities(finding: Finding, run: ScenarioResult | None, display: Display) -> str:
    """When and where an extreme of marches with cavities is reached, as far as that is known."""
    if finding.time == 0.0:
        return ", before anything moves"
    when = "" if finding.time is None else f" at {display.instant(finding.scenario, finding.time)} s"
    where = ""
    element = next((e for e in run.elements if e.name == finding.name), None) if run else None
    if finding.subject == "element" and element and element.figures and finding.distance is not None:
        where = f", {where_in(element, finding.distance, display)}"
    band = f"{display.error(finding.error)} {display.units.pressure}"
    return f"{when}{where}, with cavities in the line (band {band})"


def what_happens(finding: Finding, run: ScenarioResult | None, display: Display) -> str:
    """One plain clause: what the pressure does there."""
    seen = valid(finding, run)
    if seen.value is None:
        return finding.reason
    run = run.made_with(finding.beside) if run is not None else None
    beside = f" with {finding.beside}" if finding.beside else ""
    if finding.check == "vapour" and run and run.vapour and finding.verdict == EXCEEDED:
        when = display.instant(run.name, run.vapour.time)
        limit = f"({finding.limit_source}, {display.pressure(finding.limit or 0.0, unit=True)})"
        boils = f"the pressure falls so low that the cargo boils{beside}, at {when} s; "
        if run.cavities is None:
            return f"{boils}a search tells that as not safe {limit}, whatever its cavities do"
        return f"{boils}that is a limit exceeded {limit}, and no pressure after it is valid in this model"
    place = beside + _where_and_when(finding, run, seen, display)
    high, low = display.round_up(seen.value, unit=True), display.round_down(seen.value, unit=True)
    return {
        "peak": f"the pressure peaks at {high}{place}",
        "steady": f"the pressure is {high} before anything moves",
        "static": f"shut-off pressure alone, with no surge, is {high}",
        "lowest": f"the pressure falls to {low}{place}",
        "vapour": f"the pressure falls to {low}{place}",
    }[finding.check]


def against(finding: Finding, run: ScenarioResult | None, display: Display) -> str:
    """One clause: the limit, its source, and by how much it is kept or not."""
    margin = valid(finding, run).margin
    if finding.limit is None or margin is None:
        return ""
    limit = f"the limit is {display.pressure(finding.limit, unit=True)} ({finding.limit_source})"
    if finding.verdict == EXCEEDED:
        return f"{limit}: exceeded by {display.margin(margin, unit=True).removeprefix('-')}"
    if finding.verdict == WITHIN:
        return f"{limit}: kept by {display.margin(margin, unit=True)}"
    return f"{limit}: cannot be decided, {finding.reason}{_of_models(finding, run, display)}"


def _of_models(finding: Finding, run: ScenarioResult | None, display: Display) -> str:
    """What both models of cavities give on their finest grid, where they do not agree enough."""
    if finding.reason != APART or run is None or run.cavities is None:
        return ""
    upper = finding.check == "peak"
    key = finding.subject, finding.name, "high" if upper else "low"
    write = display.round_up if upper else display.round_down
    figures = (f"{write(one.extremes[key].pressure)} with {MODELS[one.model]}" for one in run.cavities.finest)
    return f" ({'; '.join(figures)})"


def _and_alike(names: Sequence[str]) -> str:
    """Twins are told once."""
    told = f"{len(names)} more" if len(names) > 2 else " and ".join(f'"{name}"' for name in names)
    return f" (and {told} alike)" if names else ""


def sentence(
    finding: Finding,
    run: ScenarioResult | None,
    display: Display,
    *,
    alike: Sequence[str] = (),
    ranges: bool = True,
) -> str:
    """The weakest place in one plain sentence.

    Parameters
    ----------
    finding : Finding
    run : ScenarioResult or None
        The run that it comes from, see :func:`run_of`.
    display : Display
    alike : sequence of str
        Other elements or places of which the same is to be said.
    ranges : bool
        Whether to name the figures taken of what is known as a range only.
    """
    scenario = f' in the scenario "{finding.scenario}"' if finding.scenario else ""
    taken = display.taken(run.taken) if run and ranges else []
    if taken:
        scenario += " with " + " and ".join(taken)
    if finding.subject == "scenario":
        beside = f" with {finding.beside}" if finding.beside else ""
        return f'The scenario "{finding.name}"{beside}: {finding.reason}.'
    own = run.made_with(finding.beside) if run else None
    boils = finding.check == "vapour" and own and own.vapour and finding.verdict == EXCEEDED
    parts = [
        f"Weakest is {whose(finding)}{_and_alike(alike)}{scenario}: {what_happens(finding, run, display)}",
        "" if boils else against(finding, run, display),
    ]
    return "; ".join(p for p in parts if p) + "."
