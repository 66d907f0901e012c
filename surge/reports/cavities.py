"""Cavities in words: where they open, what comes after them, and how far that is to be trusted."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import astuple, dataclass, fields, replace

from surge.reports.attached import volume_up
from surge.reports.layout import paragraph, table
from surge.reports.words import MODELS, Display
from surge.rules.assess import Assessment
from surge.transient.cavity_result import Cavities, CavityRun
from surge.transient.result import ScenarioResult

TRUST = (
    "Trust one large cavity at a valve or a high point; where many small ones close one after another, and "
    "where much gas leaves the liquid, nothing is known more closely than the band."
)
SMALL = 1e-4  # [m3] below which the size of a cavity is not told
NOT_FOLLOWED = "Where the cargo boils, a collapsing cavity can be worse than any figure here."


def cavity_sentences(assessment: Assessment, display: Display) -> list[str]:
    """Return a sentence for each scenario that boils: where cavities are, and how long."""
    return [_sentence(run, display) for run in assessment.scenarios if run.vapour is not None]


def trust(assessment: Assessment) -> str:
    """Return when to trust what is told of cavities, or that none were followed; "" where nothing boils."""
    boils = [run for run in assessment.scenarios if run.vapour is not None]
    if not boils:
        return ""
    return TRUST if all(run.followed for run in boils) else NOT_FOLLOWED


def _sentence(run: ScenarioResult, display: Display) -> str:
    assert run.vapour is not None
    when = display.instant(run.name, run.vapour.time)
    boils = f'In "{run.name}" the cargo boils, first at {when} s in "{run.vapour.where}"'
    cavities = run.cavities
    if cavities is None or cavities.missing:
        return f"{boils}; no pressure after that is valid."
    gas = cavities.finest[-1]
    if not gas.places:
        return f"{boils}, in small cavities between the places of this case."
    name, largest = max(gas.places.items(), key=lambda pair: pair[1].largest)
    until = (
        "to the end" if largest.rejoined is None else f"to {display.instant(run.name, largest.rejoined)} s"
    )
    more = f", {len(gas.places) - 1} more places" if len(gas.places) > 1 else ""
    return (
        f'{boils}; the largest cavity, at "{name}", is open from '
        f"{display.instant(run.name, largest.opened)} s {until} with "
        f"{_size(largest.largest)}{more}."
    )


def _size(volume: float) -> str:
    """Largest volume of a cavity [m3] with its unit, rounded up; below a tenth of a litre only that it is."""
    return volume_up(volume) if volume >= SMALL else f"less than {SMALL:g} m3"


@dataclass(frozen=True, kw_only=True)
class Row:
    """The first cavity at a place in one march, as printed; "-" where there is nothing to tell."""

    model: str
    step: str
    opened: str
    rejoined: str
    largest: str
    first: str
    highest: str
    peak: str


def cavity_lines(run: ScenarioResult, display: Display) -> list[str]:
    """Return the table of cavities by place, model and grid; none where they were not followed."""
    cavities = run.cavities
    if cavities is None or cavities.missing:
        return []
    unit = f"{display.units.pressure}(g)"
    head = (
        "place", "cavities of", "step ms", "open s", "rejoined s", "largest", f"first {unit}", "highest",
        f"peak {unit}",
    )  # fmt: skip
    rows = [
        (name, *astuple(_row(run, one, name, display))) for name in _places(cavities) for one in cavities.told
    ]
    said = (
        "Cavities by place, with both models, each on two grids. First is the pressure after they have "
        "rejoined, highest that until the next opens, peak the highest of the whole run. The second model "
        f"has free gas in the liquid, {cavities.gas:.2g} of its volume at 1.01325 bar(a)."
    )
    return [paragraph(said), *(table(head, rows, left=2) if rows else []), paragraph(TRUST)]


def cavities_by_place(run: ScenarioResult, display: Display) -> Iterator[str]:
    """Yield a sentence for each place with cavities: both models, the two finer grids beside one another."""
    cavities = run.cavities
    if cavities is None or cavities.missing:
        return
    unit = f"{display.units.pressure}(g)"
    for name in _places(cavities):
        said = []
        for model in MODELS:
            rows = [_row(run, one, name, display) for one in cavities.told if one.model == model]
            both = {
                field.name: " and ".join(dict.fromkeys(getattr(row, field.name) for row in rows))
                for field in fields(Row)
            }
            said.append(
                f"cavities of {both['model']} open at {both['opened']} s, rejoined at {both['rejoined']} s, "
                f"largest {both['largest']}, first pressure after that {both['first']} {unit}, peak of the "
                f"run {both['peak']} {unit}"
            )
        yield f'"{name}" in "{run.name}": {"; ".join(said)}.'


def _places(cavities: Cavities) -> list[str]:
    """Places at which any march has a cavity."""
    return list(dict.fromkeys(name for one in cavities.told for name in one.places))


def _row(run: ScenarioResult, one: CavityRun, name: str, display: Display) -> Row:
    found = one.places.get(name)
    row = Row(
        model=MODELS[one.model],
        step=f"{one.dt * 1e3:.2f}",
        opened="-",
        rejoined="-",
        largest="-",
        first="-",
        highest="-",
        peak=display.round_up(one.extremes["place", name, "high"].pressure),
    )
    if found is None:
        return row

    def shown(value: float | None) -> str:
        return "-" if value is None else display.round_up(value)

    return replace(
        row,
        opened=display.instant(run.name, found.opened),
        rejoined="-" if found.rejoined is None else display.instant(run.name, found.rejoined),
        largest=volume_up(found.largest) if found.largest >= SMALL else f"<{SMALL:g} m3",
        first=shown(found.first_pressure),
        highest=shown(found.highest_pressure),
    )
