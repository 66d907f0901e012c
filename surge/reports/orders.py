"""Orders of shutting, stroke shapes, bands of what is uncertain, and sizes, as text."""

from __future__ import annotations

import math

from surge.model.lineup import Table
from surge.phrases import capital
from surge.reports.layout import paragraph, table
from surge.reports.sizes import size_in_short, size_lines
from surge.reports.window import bounds
from surge.reports.words import SHORT, Display, against, what_happens, whose
from surge.rules.findings import EXCEEDED, Finding
from surge.search.band_points import BandMoves, BandPoint
from surge.search.bands import BandLimits
from surge.search.extras import Extras
from surge.search.orders import OrderAnswer, OrderQuestion, Pressures
from surge.search.shapes import Judged, ShapeAnswer
from surge.transient.result import ScenarioResult

BAND_NAMES = {
    "wave_speed": "wave speed",
    "stroke": "stroke time",
    "rate": "rate",
    "characteristic": "valve characteristic",
}
SAME_STROKE = 0.05  # [s] less is told as no difference


def _governs(named: Finding | None, run: ScenarioResult | None, display: Display) -> str:
    if named is None:
        return ""
    if named.limit is None:
        return f"{whose(named)}: {named.reason}"
    boils = named.check == "vapour" and run is not None and run.vapour and named.verdict == EXCEEDED
    limit = "" if boils else f"; {against(named, run, display)}"
    return f"{whose(named)} governs: {what_happens(named, run, display)}{limit}"


# Orders


def order_lines(question: OrderQuestion, display: Display) -> list[str]:
    """All lines on the orders of one scenario."""
    out = [paragraph(f'Orders of shutting in "{question.scenario}", strokes as in the case'), ""]
    for answer in question.answers:
        out += [paragraph(line, indent="      ", first="    ") for line in _order(answer, display)]
    for name, why in question.left_out:
        out.append(paragraph(f"{name}: left out, {why}.", indent="      ", first="    "))
    unit = f"{display.units.pressure}(g)"
    out += ["", f"Highest / lowest pressure in each order, {unit}"]
    head = ("element or place", *(a.order.name for a in question.answers), "highest is least")
    nowhere = "no difference" if len(question.valid) > 1 else "-"
    rows = [
        (
            f"{'at ' if first.subject == 'place' else ''}{first.name}",
            *(_cell(a.pressures[k], a, display) for a in question.answers),
            question.kindest(first.subject, first.name) or nowhere,
        )
        for k, first in enumerate(question.answers[0].pressures)
    ]
    out += table(head, rows)
    if any(a.boils for a in question.answers):
        out.append("* before the cargo boils; no pressure after that is valid in this model")
    return [*out, ""]


def _order(answer: OrderAnswer, display: Display) -> list[str]:
    steps = ", ".join(f'"{n}" {display.time(s)} to {display.time(s + t)} s' for n, s, t in answer.order.steps)
    verdict = SHORT[answer.verdict]
    said = [f"{answer.order.name}: {verdict}; {answer.order.total:.1f} s in all ({steps})."]
    if named := _governs(answer.governs, answer.run, display):
        said.append(f"  {named}.")
    return said


def _cell(at: Pressures, answer: OrderAnswer, display: Display) -> str:
    # After boiling only what came before is told, as everywhere.
    high = at.highest.before_vapour if answer.boils else at.highest.pressure
    low = at.lowest.before_vapour if answer.boils else at.lowest.pressure
    return f"{display.round_up(high)} / {display.round_down(low)}{'*' if answer.boils else ''}"


# Shapes


def shape_lines(answer: ShapeAnswer, display: Display) -> list[str]:
    """All lines on the stroke shape of one valve in one scenario."""
    title = f'Stroke shape of "{answer.valve}" in "{answer.scenario}", {answer.stroke:.1f} s in all'
    head = ("law", "opening at time", "margin", "error", "effective s", "of period", "fall", "verdict")
    rows = [
        _law(name, judged, display)
        for name, judged in (("best two-stage", answer.two_stage), ("single-stage", answer.single_stage))
    ]
    out = [paragraph(title), "", *table(head, rows, left=2)]
    out.append(
        paragraph(
            f"Margins and errors in {display.units.pressure}. Effective: while the flow falls from 95 to "
            "5 %. Of period: that over the pipeline period. Fall: the greatest part of the flow lost within "
            "one pipeline period, which is what the surge goes by."
        )
    )
    out.append(paragraph(f"{_shape_words(answer, display)} ({len(answer.looked)} break points looked at)."))
    for name, judged in (("Two-stage", answer.two_stage), ("Single-stage", answer.single_stage)):
        if named := _governs(judged.governs, judged.run, display):
            out.append(paragraph(f"{name}: {named}.", indent="      ", first="    "))
    return [*out, ""]


def _shape_words(answer: ShapeAnswer, display: Display) -> str:
    words = capital(answer.words)
    if answer.at_edge:
        words += "; its break lies at the edge of what was looked at: ask whether the actuator can do it"
    return f"{words}: {display.margin(answer.gain, unit=True)} more margin" if answer.gain > 0.0 else words


def _law(name: str, judged: Judged, display: Display) -> tuple[str, ...]:
    c = judged.closure
    return (
        name,
        law_words(judged.law),
        display.margin(judged.margin),
        display.error(judged.error),
        "-" if c is None or c.effective is None else f"{c.effective:.1f}",
        "-" if judged.ratio is None else f"{judged.ratio:.1f}",
        "-" if c is None else f"{100 * c.greatest_fall:.0f} %",
        SHORT[judged.verdict],
    )


def law_words(law: Table) -> str:
    """A law as openings and times."""
    return ", ".join(f"{100 * x:.0f} % at {t:.1f} s" for t, x in law)


# Bands


def band_lines(limits: BandLimits, display: Display) -> list[str]:
    """All lines on the window of one valve in one scenario for the worst over the bands."""
    stated = ", ".join(f"{BAND_NAMES[n]} {_percent(limits.bands.width(n))}" for n in limits.bands.open)
    out = [
        paragraph(
            f'"{limits.valve}" in "{limits.scenario}", the worst over bands ({stated or "none stated"})'
        ),
        "",
    ]
    if limits.shortest is None:
        text = f"no stroke time is safe: {limits.reason}"
    else:
        text = bounds(limits.shortest, limits.longest)
    out.append(paragraph(f"{capital(text)}.", indent="      ", first="    "))
    plain = bounds(limits.plain.shortest, limits.plain.longest)
    out.append(paragraph(f"Without bands: {plain}.", indent="      ", first="    "))
    if named := _governs(limits.governs, limits.run, display):
        where = f" ({_point(limits.at, limits)})" if any(limits.at) else ""
        out.append(paragraph(f"{named}{where}.", indent="      ", first="    "))
    if limits.alone:
        head = ("band alone", "either way", "longer by s", "margin less by")
        out += ["", *table(head, [_moves(m, display) for m in limits.alone])]
        out.append(paragraph(f"{_matters(limits.alone)}{_method(limits)}"))
    out += _beside(limits, display)
    for point, why in limits.left_out:
        out.append(paragraph(f"Left out, {_point(point, limits)}: {why}.", indent="      ", first="    "))
    return [*out, ""]


def _percent(width: float) -> str:
    return f"{100 * width:.3g} %"


def _point(point: BandPoint, limits: BandLimits) -> str:
    """Where in the bands, in words."""
    said = [
        f"{BAND_NAMES[n]} {100 * share * limits.bands.width(n):+.3g} %"
        for n, share in point._asdict().items()
        if share and limits.bands.width(n)
    ]
    return ", ".join(said)


def _moves(moves: BandMoves, display: Display) -> tuple[str, ...]:
    longer = "none is safe" if math.isinf(moves.moved) else f"{math.ceil(moves.moved * 10 - 1e-9) / 10:.1f}"
    return (
        BAND_NAMES[moves.band],
        _percent(moves.width),
        longer,
        display.difference(moves.margin_moved),
    )


def _beside(limits: BandLimits, display: Display) -> list[str]:
    """What each thing that the case asks for beside the usual would make of the shortest stroke."""
    said = []
    for one in limits.beside:
        if one.missing:
            said.append(f"With {one.words} alone it is not known: {one.missing}.")
            continue
        if math.isinf(one.moved):
            stroke = "no stroke would be safe"
        elif abs(one.moved) < SAME_STROKE:
            stroke = "the shortest safe stroke would be the same"
        else:
            way = "longer" if one.moved > 0.0 else "shorter"
            stroke = f"the shortest safe stroke would be {abs(one.moved):.1f} s {way}"
        less = "less" if one.margin_moved > 0.0 else "more"
        margin = display.difference(abs(one.margin_moved))
        said.append(
            f"With {one.words} alone, by quick marches, {stroke}, and the margin at the plain shortest one "
            f"{margin} {less}. No stroke is told as safe by that."
        )
    return [paragraph(text, indent="      ", first="    ") for text in said]


def _matters(alone: tuple[BandMoves, ...]) -> str:
    first = alone[0]
    if first.moved <= 0.0 and first.margin_moved <= 0.0:
        return "None of them matters. "
    return f"The {BAND_NAMES[first.band]} matters most. "


def _method(limits: BandLimits) -> str:
    return (
        f"{len(limits.points)} points of the bands were looked at, {limits.marches} strokes in all; "
        f"{len(limits.confirmed)} of them, those nearest to a limit, were confirmed by full runs."
    )


# All of them


def more_lines(more: Extras, display: Display) -> list[str]:
    """Everything that was asked beside the windows, each followed by an empty line."""
    parts = [order_lines(q, display) for q in more.orders]
    parts += [shape_lines(a, display) for a in more.shapes]
    parts += [band_lines(b, display) for b in more.bands]
    parts += [lines for lines in (size_lines(more.sizes, display),) if lines]
    return [line for part in parts for line in (*part, "")]


def brief(more: Extras, display: Display) -> list[str]:
    """The same in a sentence for each question."""
    said = [_orders_in_short(q) for q in more.orders]
    said += [f'Shape of "{a.valve}" in "{a.scenario}": {_shape_words(a, display)}.' for a in more.shapes]
    said += [_band_in_short(b) for b in more.bands]
    return said + [size_in_short(a) for a in more.sizes]


def _orders_in_short(question: OrderQuestion) -> str:
    told = "; ".join(f"{a.order.name}: {SHORT[a.verdict]}" for a in question.answers)
    return f'Orders in "{question.scenario}", strokes as in the case: {told}.'


def _band_in_short(limits: BandLimits) -> str:
    text = "no stroke is shown to be safe"
    if limits.shortest is not None:
        text = bounds(limits.shortest, limits.longest)
    return f'"{limits.valve}" in "{limits.scenario}", the worst over the bands: {text}.'
