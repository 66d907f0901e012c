"""What gauges say of a case, in words: one or two sentences beside the verdict, and a table for details."""

from __future__ import annotations

from collections.abc import Callable

from surge.model.ranges import figure
from surge.reports.layout import paragraph, table
from surge.reports.words import Display
from surge.rules.gauge import FITS, FITS_NOT, FITS_WITHIN, NOT_COMPARED, Compared, GaugeCheck
from surge.rules.suspects import Explanation

FEW = 3  # explanations on the first screen
_UNTIL = "Until that is settled, the margins here are not proven."
_EMPTY = (
    "Drop lines are taken to run full, and then they pull the pressure below that of the air. The gauge says "
    "that they run partly empty: the calculation does not hold for them."
)


def gauge_sentences(check: GaugeCheck, display: Display) -> list[str]:
    """Return what stands beside the verdict: compared or not, and what it points to."""
    if check.outcome == NOT_COMPARED:
        said = ["Not compared with a gauge: the case has no [[reading]]."]
    else:
        said = [compared_line(check, display)]
    if check.outcome == FITS_NOT:
        said[0] += f" {_pointed_to(check, display)} {_UNTIL}"
    return said + below_sentences(check, display)


def compared_line(check: GaugeCheck, display: Display) -> str:
    """Return whether the case was compared with gauges, in a line."""
    if check.outcome == NOT_COMPARED:
        return "Not compared with a gauge."
    worst = max(check.compared, key=lambda c: c.off)
    many = f"{len(check.compared)} readings fit" if len(check.compared) > 1 else "the reading fits"
    if check.outcome == FITS:
        return f"Compared with the gauge: {many}; {read_and_calculated(worst, display)}."
    if check.outcome == FITS_WITHIN:
        return (
            f"Compared with the gauge: {many} at some figures within what the case leaves open; "
            f"{read_and_calculated(worst, display)} there."
        )
    return f"DOES NOT FIT THE GAUGE: {read_and_calculated(worst, display)}."


def read_and_calculated(c: Compared, display: Display) -> str:
    """One reading beside what is calculated, in a clause."""
    r = c.reading
    read = (
        f'at "{r.point}" {display.pressure(r.pressure, unit=True)} was read at {display.flow(r.rate)} '
        f"(gauge {display.error(r.tolerance)})"
    )
    if c.calculated is None:
        return f"{read}, but in this case {c.why}"
    return f"{read}, and {display.pressure(c.calculated, unit=True)} is calculated"


def _pointed_to(check: GaugeCheck, display: Display) -> str:
    if check.partly_empty:
        return _EMPTY
    if not check.explained_by:
        every = "it" if len(check.compared) == 1 else "all readings"
        return (
            f"No single figure within what is plausible explains {every}: look at the gauge and its height, "
            "at how valves stood, and at more than one figure."
        )
    few = [explained(e, display) for e in check.explained_by[:FEW]]
    more = len(check.explained_by) - len(few)
    return f"One figure alone would explain it: {'; or '.join(few)}{f'; or {more} more' if more else ''}."


def explained(e: Explanation, display: Display) -> str:
    """A figure that would explain all readings, with what the case has."""
    names = " and ".join(f'"{name}"' for name in e.subjects)
    if e.quantity == "level":
        least, most = sorted((abs(e.low), abs(e.high)))
        way = "higher" if e.low >= 0.0 else "lower"
        return f"the level in {names} {way} than in the case by {_between(least, most, display.length)}"
    if e.quantity == "head of the pump":
        return (
            f"the head of {names} {_between(100 * e.low, 100 * e.high, lambda x: f'{x:.0f}')} % of its curve"
        )
    whose = f" of {names}" if names else " of the cargo"

    def write(x: float) -> str:
        return f"{x * 1e6:.3g} mm2/s" if e.quantity == "viscosity" else figure(e.quantity, x)

    partly = ", or it stood partly open" if e.quantity == "Kv" and e.high < e.given else ""
    return f"{e.quantity}{whose} {_between(e.low, e.high, write)} (the case: {write(e.given)}{partly})"


def _between(low: float, high: float, write: Callable[[float], str]) -> str:
    one, two = write(low), write(high)
    return one if one == two else f"{one} to {two}"


def below_sentences(check: GaugeCheck, display: Display) -> list[str]:
    """Return what is to be said where the manifold stands below the atmosphere at the full rate."""
    if not check.below or check.partly_empty:
        return []
    b = min(check.below, key=lambda b: b.pressure)
    names = " and ".join(f'"{x.point}"' for x in check.below)
    steady = display.round_down(b.pressure, unit=True)
    return [
        f"At {display.flow(b.rate)} the steady pressure at {names} is {steady}, below that of the air: drop "
        "lines are taken to run full. Look at the gauge there; where it shows more, they run partly empty, "
        "and the calculation does not hold for them."
    ]


def gauge_details(check: GaugeCheck, display: Display) -> list[str]:
    """Return every reading and every explanation, for those who want details."""
    if check.outcome == NOT_COMPARED:
        return []
    unit = f"{display.units.pressure}(g)"
    rows = [
        (
            c.reading.point,
            c.reading.day.isoformat() if c.reading.day else "-",
            display.flow(c.reading.rate),
            display.pressure(c.reading.pressure),
            display.error(c.reading.tolerance),
            "-" if c.calculated is None else display.pressure(c.calculated),
            "fits" if c.fits else "DOES NOT FIT",
        )
        for c in check.compared
    ]
    head = ("gauge at", "day", "rate", f"read {unit}", "gauge", "calculated", "")
    out = ["", "Compared with the gauge", *table(head, rows)]
    sources = dict.fromkeys(c.reading.tolerance_source for c in check.compared)
    out += [paragraph(f"Tolerance: {source}.") for source in sources]
    out += [
        paragraph(f"Would explain all: {explained(e, display)}.", indent="  ") for e in check.explained_by
    ]
    return out
