"""A chart in words, and as rows of a table."""

from __future__ import annotations

import math

import numpy as np

from surge.arrays import Mask
from surge.reports.layout import paragraph
from surge.reports.spreadsheet import Cell, table
from surge.reports.window import all_named, beside, bounds
from surge.reports.words import CAUTIONS, HEADLINE, Display
from surge.rules.book import LOCAL_CODES
from surge.rules.limits import VAPOUR_RULE, LimitedExtreme
from surge.search.chart import ChartData
from surge.units import from_si

PICTURES = ("png", "svg", "pdf")
KINDS = (*PICTURES, "csv", "json")


def heading_lines(chart: ChartData, title: str, display: Display) -> tuple[str, ...]:
    """What stands above a chart: the case, what is drawn, and the answer at the agreed rate."""
    chosen = " (the one that comes nearest to a limit)" if chart.chosen else ""
    way = "opening" if chart.opens else "closing"
    return (
        title,
        f'{_moved(chart)} {way} in the scenario "{chart.scenario}"{chosen}{beside((), chart.held)}',
        answer_at_the_rate(chart, display),
    )


def _moved(chart: ChartData) -> str:
    """The valve, or the valves that share the strokes of the chart."""
    several = len(chart.together) > 1
    return f"valves {all_named(chart.together)}," if several else f"valve {all_named(chart.together)}"


def answer_at_the_rate(chart: ChartData, display: Display) -> str:
    """The window at the agreed rate, and at which rates there is none."""
    said = []
    at = np.flatnonzero(chart.rates == chart.agreed.rate)
    if at.size and chart.reached[at[0]]:
        shortest, longest = chart.shortest[at[0]], chart.longest[at[0]]
        words = bounds(
            None if math.isnan(shortest) else float(shortest),
            None if math.isinf(longest) else float(longest),
            opens=chart.opens,
        )
        if shortest <= chart.strokes[0]:
            verb = "open" if chart.opens else "close"
            words = words.replace(f"{verb} no faster than", "safe from the shortest stroke shown,")
        said.append(f"At {display.flow(chart.agreed.rate)}: {words}")
    shut = chart.reached & ~chart.open
    if np.all(shut[chart.reached]):
        said.append("no rate shown has a window")
    elif np.any(shut):
        said.append(f"no window {_spans(chart, shut, display)}")
    return "; ".join(said) + "." if said else "The agreed rate is not in the chart."


def _spans(chart: ChartData, shut: Mask, display: Display) -> str:
    """The rates of a mask in words, neighbours together."""
    words = []
    for first, end in runs(shut):
        low, high = (display.flow(float(chart.rates[k])) for k in (first, end - 1))
        words.append(f"at {low}" if low == high else f"from {low} to {high}")
    return ", ".join(words)


def foot(chart: ChartData) -> tuple[str, ...]:
    """What stands below a chart: how to read it, what it leaves out, and the cautions."""
    m, n = chart.used.shape
    moves = "opens" if chart.opens else "closes"
    how = (
        f"Hatched: {moves} too fast, a limit is exceeded or not shown to be kept; {n} strokes were tried at "
        f"each of {m} rates, and more near the boundary. At {np.sum(chart.confirmed)} rates, "
        "the agreed one among them if shown, the shortest safe stroke was confirmed by a full run with its "
        "numerical error; the rates between keep the margin that was needed there. At the agreed rate it is "
        "that of surge window, elsewhere it is told to 3 %. Between two rates the "
        f"longer stroke holds. Dotted: too slow for a rule on time. Strokes above {chart.strokes[-1]:g} s "
        "were not tried. The shades and the dashed line (the limit itself) are interpolated: go by the "
        "hatching. Where the cargo boils, shares above 100 % are no valid pressures."
    )
    return (how, *chart.notes, f"{LOCAL_CODES} {' '.join(CAUTIONS)}")


def chart_lines(chart: ChartData, title: str, display: Display) -> list[str]:
    """The answer as text."""
    point = chart.agreed
    out = [paragraph(title), "", f"AGREED POINT: {HEADLINE[point.verdict]}", ""]
    whose = f"V{_moved(chart)[1:]}"
    out += [paragraph(f'{whose} in "{chart.scenario}"{beside((), chart.held)}.', indent="    ")]
    out += [paragraph(answer_at_the_rate(chart, display), indent="      ", first="    ")]
    if point.rule is not None:
        words = f'The agreed stroke of {point.stroke:g} s is too slow for the rule "{point.rule.name}".'
        out.append(paragraph(words, indent="      ", first="    "))
    if chart.blocked:
        out.append(paragraph(f"{chart.blocked}.", indent="      ", first="    "))
    out += [paragraph(note, indent="      ", first="    ") for note in chart.notes]
    out += ["", paragraph(LOCAL_CODES), "", "Cautions"]
    return out + [paragraph(c, indent="  ", first="- ") for c in CAUTIONS]


def chart_csv(chart: ChartData, display: Display, signature: str) -> str:
    """One row for each rate and stroke, in the reader's units; every row tells where it comes from."""
    flow, pressure = display.units.flow, display.units.pressure
    rows: list[list[Cell]] = [
        [
            *(f"rate {flow}", "stroke s", "can be reached", "share used %", f"margin {pressure}"),
            *("nearest limit", "in the window", "shortest safe stroke s", "longest allowed stroke s"),
            *("valve", "scenario", "made by"),
        ]
    ]
    for i, rate in enumerate(chart.rates.tolist()):
        shortest, longest = float(chart.shortest[i]), float(chart.longest[i])
        for k, stroke in enumerate(chart.strokes.tolist()):
            used, margin, which = float(chart.used[i, k]), float(chart.margin[i, k]), int(chart.governs[i, k])
            rows.append(
                [
                    _six(from_si(rate, unit=flow, density=display.density)),
                    _six(stroke),
                    "yes" if chart.reached[i] else "no",
                    math.ceil(used * 1000 - 1e-9) / 10 if math.isfinite(used) else None,
                    float(display.margin(margin)) if math.isfinite(margin) else None,
                    limit_words(chart.limits[which]) if which >= 0 else None,
                    "yes" if shortest <= stroke <= longest else "no",
                    _six(shortest),
                    _six(longest),
                    *(chart.valve, chart.scenario, signature),
                ]
            )
    return table(rows)


def _six(value: float) -> float | None:
    """A figure of six digits; None for one that is not finite."""
    return float(f"{value:.6g}") if math.isfinite(value) else None


def runs(mask: Mask) -> list[tuple[int, int]]:
    """First and one past the last place of every unbroken run of true."""
    edges = np.flatnonzero(np.diff(np.concatenate([[False], mask, [False]]).astype(int)))
    return list(zip(edges[::2].tolist(), edges[1::2].tolist(), strict=True))


def limit_words(held: LimitedExtreme) -> str:
    """Whose limit it is, and of what."""
    name, way = held.key[1:]
    if held.limit.rule == VAPOUR_RULE:
        return f"{name}: boiling"
    return f"{name}: {'highest' if way == 'high' else 'lowest'} pressure"
