"""Forces along straight legs in words, and their histories as rows of a table."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence

from surge.model.lineup import LineUp
from surge.reports.layout import paragraph, table
from surge.reports.spreadsheet import Cell
from surge.reports.spreadsheet import table as spreadsheet
from surge.reports.words import CAUTIONS, HEADLINE, Display
from surge.rules.book import LOCAL_CODES
from surge.transient.forces import Forces, Leg, LegForce
from surge.units import quoted

ROWS = 12  # legs on the first screen
MOST_ROWS = 20_000  # of a table of histories, about: longer ones are thinned
KILO = 1e3

Pair = tuple[Forces, LegForce]

WHAT_IT_IS = (
    "Forces are those of the liquid on the pipe, along each straight leg between two bends, as the wave "
    "passes. Weight is not in them, nor is anything that acts in steady flow. Supports and pipe are taken "
    "not to move."
)
WHO_GOES_ON = (
    "What a support bears, and how often, is for the person who answers for the pipework: these are loads, "
    "not stresses."
)


def worst_by_leg(forces: Sequence[Forces]) -> list[Pair]:
    """Return for each leg the scenario with its greatest force, the greatest first."""
    worst: dict[Leg, Pair] = {}
    for one in forces:
        for force in one.legs:
            if force.leg not in worst or force.most > worst[force.leg][1].most:
                worst[force.leg] = (one, force)
    return sorted(worst.values(), key=lambda pair: -pair[1].most)


def leg_words(leg: Leg, lineup: LineUp, display: Display) -> str:
    """Return which leg it is: the pipe, and from where to where where it has bends."""
    pipe = lineup.pipe(leg.pipe)
    if not pipe.bends:
        return quoted(leg.pipe)
    return f"{quoted(leg.pipe)}, {display.length(leg.begin)} to {display.length(leg.end)}"


def towards(force: LegForce, lineup: LineUp) -> str:
    """Return the point towards which the greatest force of a leg acts."""
    pipe = lineup.pipe(force.leg.pipe)
    return pipe.end if force.highest >= -force.lowest else pipe.start


def kilonewtons(value: float) -> str:
    """Return a force [N] in kN, three figures, rounded up in size."""
    size = abs(value) / KILO
    if size < 5e-4:
        return "0"
    digits = max(0, 2 - math.floor(math.log10(size)))
    step = 10.0**-digits
    shown = math.ceil(size / step - 1e-9) * step
    return f"{math.copysign(shown, value):.{digits}f}"


def until_it_boils(one: Forces) -> str:
    """Return up to when forces are told of a scenario in which the cargo boils."""
    return (
        f'In "{one.scenario}" the cargo boils at {one.boils:.2f} s: forces are told up to then only, and '
        "what follows may be greater."
    )


def forces_lines(
    forces: Sequence[Forces], lineup: LineUp, display: Display, *, verdict: str, details: bool
) -> list[str]:
    """Return the answer as text: the greatest force in a sentence, and a table by leg.

    Parameters
    ----------
    forces : sequence of Forces
    lineup : LineUp
    display : Display
    verdict : str
        Of the whole case, by its pressures and rules.
    details : bool
        Every scenario, and every leg.
    """
    worst = worst_by_leg(forces)
    out = [paragraph(lineup.title), ""]
    if not worst:
        lacking = "This case has no pipe: hoses and loading arms have no straight leg between supports."
        return [*out, paragraph(lacking)]
    first, force = worst[0]
    out += [
        paragraph(
            f"Greatest force along a straight leg: {kilonewtons(force.most)} kN on "
            f"{leg_words(force.leg, lineup, display)}, towards {quoted(towards(force, lineup))}, "
            f'in "{first.scenario}" at {_when(force):.2f} s.'
        ),
        f"Pressures and rules of the case: {HEADLINE[verdict]}",
        "",
    ]
    shown = worst if details else worst[:ROWS]
    out += _table(shown, lineup, display, by_scenario=True)
    if len(worst) > len(shown):
        out.append(f"{len(worst) - len(shown)} more legs, with smaller forces: --details.")
    if details:
        for one in forces:
            out += ["", f'In "{one.scenario}"']
            out += _table([(one, f) for f in one.legs], lineup, display, by_scenario=False)
    out += ["", *_notes(forces, lineup, display), "", paragraph(WHAT_IT_IS), paragraph(WHO_GOES_ON)]
    return [*out, paragraph(LOCAL_CODES), paragraph(CAUTIONS[0])]


def _when(force: LegForce) -> float:
    return force.highest_time if force.highest >= -force.lowest else force.lowest_time


def _table(pairs: Iterable[Pair], lineup: LineUp, display: Display, *, by_scenario: bool) -> list[str]:
    """One row for each leg."""
    last = ("scenario",) if by_scenario else ("towards",)
    head = ("straight leg", "kN forward", "at s", "kN back", "at s", "±", *last)
    rows = [
        (
            leg_words(f.leg, lineup, display),
            kilonewtons(f.highest),
            f"{f.highest_time:.2f}",
            kilonewtons(f.lowest),
            f"{f.lowest_time:.2f}",
            kilonewtons(f.error),
            one.scenario if by_scenario else towards(f, lineup),
        )
        for one, f in pairs
    ]
    return table(head, rows)


def _notes(forces: Sequence[Forces], lineup: LineUp, display: Display) -> list[str]:
    said = ["Forward is from the start of a pipe to its end, as the case has them."]
    whole = [p.name for p in lineup.pipes if p.kind == "pipe" and not p.bends]
    if whole:
        names = ", ".join(quoted(n) for n in whole[:3]) + (f" and {len(whole) - 3} more" * (len(whole) > 3))
        said.append(
            f"Without bends_at a pipe counts as one straight leg from end to end: {names}. Write "
            'bends_at = ["12 m", "30 m"] where it turns: shorter legs feel less, or for a shorter time.'
        )
    said += [until_it_boils(one) for one in forces if one.boils is not None]
    for one in forces:
        if figures := display.taken(one.taken):
            said.append(
                f'Figures of "{one.scenario}" that the case gives as ranges: {", ".join(figures)}, as where '
                "a limit is nearest; others may bring more."
            )
    return [paragraph(text, indent="  ", first="- ") for text in said]


def forces_csv(one: Forces, lineup: LineUp, display: Display, signature: str) -> str:
    """Return the forces of one scenario against time as the text of a CSV file.

    Long histories are thinned to about ``MOST_ROWS`` rows; each row then has the greatest in size of the
    steps that it stands for, so that no extreme is lost.
    """
    stride = max(1, -(-one.time.size // MOST_ROWS))
    names = [f"force on {leg_words(f.leg, lineup, display)} N" for f in one.legs]
    rows: list[list[Cell]] = [["time s", *names, "scenario", "made by"]]
    for first in range(0, one.time.size, stride):
        part = slice(first, first + stride)
        figures = [max(f.force[part].tolist(), key=abs) for f in one.legs]
        time = float(f"{one.time[first]:.6g}")
        rows.append([time, *(float(f"{v:.5g}") for v in figures), one.scenario, signature])
    return spreadsheet(rows)
