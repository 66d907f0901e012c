"""A study in words: what was run, what came of it, how sure that is, the worst run, which figure matters."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from typing import Any

from surge.phrases import counted
from surge.reports.layout import Row, paragraph, table
from surge.reports.words import CAUTIONS, HEADLINE, SHORT, Display
from surge.rules.book import LOCAL_CODES
from surge.rules.findings import EXCEEDED, WITHIN
from surge.studies.chances import LEVEL, Chance
from surge.studies.designs import SALTELLI
from surge.studies.distributions import LOG
from surge.studies.schema import QUICK, RATE, WINDOW
from surge.studies.store import WORST
from surge.studies.summary import CellCount, Matter, Searched, Spread, Summary
from surge.studies.types import Study, Uncertain
from surge.studies.work import BEYOND, BOILS, INSIDE
from surge.units import printable, quoted

CONFIDENCE = f"{100.0 * LEVEL:g} %"
ROWS = 24  # line-ups on the first screen
SURE = 3  # line-ups that get a sentence of their own

RUN_WORDS = {
    "verdict": "a full verdict, as surge check gives it",
    QUICK: "a quick look: one coarse march of each scenario, without errors",
    WINDOW: "a search of the windows, as surge window makes it",
    RATE: "a full verdict, and a search of the greatest rates",
}
LOOKS = {INSIDE: "within", BEYOND: "beyond", BOILS: "boils"}
NO_VERDICT = (
    "Quick looks are no verdicts: each is a single march without an estimate of its error, and cavities are "
    'not followed. They show where to look; run = "verdict" decides.'
)
GIVEN = (
    "Probabilities hold for the distributions that the study states, and tell nothing of whether those are "
    "right. What cannot be decided counts as not kept."
)


def percent_down(share: float) -> str:
    """Return a share as per cent, rounded down to a tenth."""
    return f"{math.floor(share * 1000.0 + 1e-9) / 10.0:.1f} %"


def percent_up(share: float) -> str:
    """Return a share as per cent, rounded up to a tenth."""
    return f"{math.ceil(share * 1000.0 - 1e-9) / 10.0:.1f} %"


def interval(chance: Chance) -> str:
    """Return the interval of a probability, rounded outwards; "-" where there is none."""
    if chance.low is None or chance.high is None:
        return "-"
    return f"{percent_down(chance.low)[:-2]} to {percent_up(chance.high)}"


def study_lines(made: Summary, display: Display, *, details: bool) -> list[str]:
    """Return a study as text.

    Parameters
    ----------
    made : Summary
    display : Display
    details : bool
        Every line-up.
    """
    study = made.study
    out = [paragraph(printable(study.title)), "", *_headline(made), ""]
    out += _plan(study)
    if made.searched:
        out += ["", *_searched(made, display, details=details)]
    if study.run != WINDOW:
        out += ["", *_cells(made, details=details)]
        out += _by_axis(made) if made.study.cells > ROWS and len(made.study.axes) > 1 else []
        out += _sure(made)
        out += ["", *_peaks(made, display)] if made.spreads else []
    out += ["", *_worst(made, display)]
    out += [line for matter in made.matters for line in ("", *_matter(matter))]
    if notes := _notes(made):
        out += ["", *notes]
    return [*out, "", paragraph(LOCAL_CODES), paragraph(CAUTIONS[0])]


def _headline(made: Summary) -> list[str]:
    count = made.count
    if not made.decides:
        words = (
            f"QUICK LOOKS, NO VERDICT: {count.exceeded} beyond a limit, {count.undecided} that boil or "
            f"cannot be run, {count.kept} within limits"
        )
        return [paragraph(words)]
    words = f"{count.exceeded} exceeded, {count.undecided} cannot be decided, {count.kept} kept"
    lines = [f"VERDICT: {HEADLINE[made.verdict]}. Of {counted(count.runs, 'run')} {words}"]
    if not made.complete:
        lines.append(
            f"Not finished: {count.runs} of {made.study.runs} runs are there; the same command goes on."
        )
    return [paragraph(line) for line in lines]


def _plan(study: Study) -> list[str]:
    axes = " x ".join(f"{a.name} ({len(a.options)})" for a in study.axes)
    words = f"{counted(study.cells, 'line-up')}"
    if axes:
        words += f": {axes}"
    if study.design is not None:
        design = study.design
        drawn = f"{counted(study.samples, 'sample')} each, {design.kind}, seed {design.seed}"
        if design.kind == SALTELLI:
            drawn += f", {design.count} times {design.figures + 2}"
        if design.replicates > 1:
            drawn += f", {design.replicates} replicates of {design.count}"
        words += f"; {drawn}"
    lines = [paragraph(f"{words}. Each run is {RUN_WORDS[study.run]}.")]
    lines += [paragraph(f"{_figure(one)}", indent="  ", first="- ") for one in study.uncertain]
    if study.correlation:
        lines.append(paragraph("Correlated as the study states it.", indent="  ", first="- "))
    return lines


def _figure(one: Uncertain) -> str:
    unit = f" {one.written}" if one.written else ""
    said = ", ".join(
        f"{key.replace('_', ' ')} {value:g}{'' if key == LOG else unit}"
        for key, value in one.distribution.values.items()
    )
    what = "a factor on " if one.factor else ""
    source = f" [{one.source}]" if one.source else ""
    return f"{one.name}: {one.distribution.kind}, {said}; {what}{one.places.words}{source}"


# Line by line


def _cells(made: Summary, *, details: bool) -> list[str]:
    """A table of line-ups with what came of their runs."""
    cells = sorted(made.cells, key=lambda c: (-c.count.exceeded, -c.count.undecided, c.cell))
    if not cells:
        return [paragraph(f"{made.study.cells} line-ups are too many to list: the runs tell of each.")]
    shown = cells if details else cells[:ROWS]
    design = made.study.design
    head: Row = ("line-up", *_heads(made))
    if design is not None:
        head = (*head, "not kept" if made.decides else "not within", f"{CONFIDENCE} interval")
    rows = []
    for one in shown:
        counts = (str(one.count.exceeded), str(one.count.undecided), str(one.count.kept))
        row: Row = (printable(one.name), *counts)
        if one.chance is not None:
            row = (*row, percent_up(one.chance.share), interval(one.chance))
        rows.append(row)
    lines = table(head, rows)
    if len(cells) > len(shown):
        lines.append(f"{counted(len(cells) - len(shown), 'more line-up')}: --details.")
    return lines


def _heads(made: Summary) -> Row:
    """Of three columns: runs not kept, not decided, kept."""
    return ("exceeded", "undecided", "kept") if made.decides else ("beyond", "not decided", "within")


def _by_axis(made: Summary) -> list[str]:
    """Tables of the options of each axis, with all runs that have them: of many line-ups."""
    lines = []
    for axis, counts in zip(made.study.axes, made.by_axis, strict=True):
        pairs = list(zip(axis.options, counts, strict=True))
        worst = sorted(pairs, key=lambda pair: -pair[1].unsafe / max(pair[1].runs, 1))[:ROWS]
        rows = [(printable(o.name), str(c.exceeded), str(c.undecided), str(c.kept)) for o, c in worst]
        lines += ["", *table((axis.name, *_heads(made)), rows)]
        if len(pairs) > len(rows):
            lines.append(
                f"{counted(len(pairs) - len(rows), 'more option')}, with fewer runs that are not kept."
            )
    return lines


def _sure(made: Summary) -> list[str]:
    """How sure the surest line-ups are, in sentences."""
    told = [c for c in made.cells if c.chance is not None]
    if not told or not made.decides:
        return []
    told = sorted(told, key=lambda c: c.count.unsafe / max(c.count.runs, 1))[:SURE]
    lines = [paragraph(sure_words(c), indent="  ", first="- ") for c in told]
    return ["", "How sure:", *lines]


def sure_words(cell: CellCount) -> str:
    """Return how sure it is that a line-up keeps its limits, in a sentence."""
    count, chance = cell.count, cell.chance
    assert chance is not None
    words = (
        f"{cell.name}: kept in {count.kept} of {counted(count.runs, 'run')}, "
        f"{percent_down(count.kept / count.runs)}"
    )
    if chance.high is not None:
        least = percent_down(1.0 - chance.high)
        words += f"; with {CONFIDENCE} confidence in {least} or more ({chance.why})"
    else:
        words += f" ({chance.why})"
    return f"{words}."


def _peaks(made: Summary, display: Display) -> list[str]:
    whole = made.spreads[0]
    lines = [paragraph(spread_words(whole, display))]
    if whole.missing:
        lines.append(paragraph(f"{counted(whole.missing, 'run')} without such a pressure are not in it."))
    return lines


def spread_words(spread: Spread, display: Display) -> str:
    """Return how the nearest highest pressure spreads, in a sentence, rounded up."""

    def told(value: float) -> str:
        return percent_up(value) if spread.shares else display.round_up(value, unit=True)

    of = "share of its limit that the highest pressure takes" if spread.shares else "highest pressure"
    limit = "limits differ" if spread.shares else f"limit {display.pressure(spread.limit, unit=True)}"
    return (
        f"The {of}, where it comes nearest: half of the runs to {told(spread.below(0.5))}, 95 % to "
        f"{told(spread.below(0.95))}, the highest {told(spread.highest)} ({limit})."
    )


def _worst(made: Summary, display: Display) -> list[str]:
    worst = made.worst
    if worst is None:
        return [paragraph("No run could be read: nothing is the worst.")]
    state = SHORT.get(worst.verdict, LOOKS.get(worst.verdict, worst.verdict))
    drawn = zip(made.study.uncertain, worst.figures, strict=True)
    figures = ", ".join(f"{one.name} {one.told(value)}" for one, (_, value) in drawn)
    words = f"Worst: run {worst.run} ({state}), {worst.name}" + (f"; drawn {figures}" if figures else "")
    if worst.peak is not None:
        high, limit = worst.peak
        words += (
            f'. "{worst.governing}" reaches {display.round_up(high, unit=True)} of '
            f"{display.pressure(limit, unit=True)}"
        )
        words += f' in "{worst.scenario}"' if worst.scenario else ""
    elif worst.governing:
        words += f". It is governed by {quoted(worst.governing)}"
    if worst.reason:
        words += f": {worst.reason.rstrip('.')}"
    said = [
        paragraph(f"{words}."),
        paragraph(f"{WORST} in the folder of results is its case, to the last bit."),
    ]
    if made.unread:
        said.append(
            paragraph(f"{counted(made.unread, 'run')} could not be read as a case: see the column reason.")
        )
    return said


def _matter(matter: Matter) -> list[str]:
    if not matter.indices:
        why = "no indices, since the peak does not vary, or a run has none"
        return [paragraph(f"Which figure matters, {matter.name}: {why}.")]
    head = ("figure", "alone", "with others")
    rows = [
        (i.name, f"{_share(i.first)} ±{i.first_half:.2f}", f"{_share(i.total)} ±{i.total_half:.2f}")
        for i in sorted(matter.indices, key=lambda i: -i.total)
    ]
    text = (
        f"Which figure matters, {matter.name}: shares of the variance of the nearest highest pressure "
        f"(Sobol indices, first order and total, with the half-widths of {CONFIDENCE} intervals)"
    )
    return [paragraph(text), *table(head, rows)]


def _share(value: float) -> str:
    """An index in two decimals; chance makes small ones negative, and nothing is less than nought."""
    return f"{value:.2f}".replace("-0.00", "0.00")


# Searches


def _searched(made: Summary, display: Display, *, details: bool) -> list[str]:
    """A table of windows or rates, one row for each run and valve or scenario."""
    rows = [row for one in made.searched for row in _search_rows(one, display, made.study.run)]
    shown = rows if details else rows[:ROWS]
    if made.study.run == WINDOW:
        head: Row = ("line-up", "valve", "shortest", "longest", "greatest rate", "window")
    else:
        head = ("line-up", "scenario", "agreed", "greatest", "line-up as it is")
    lines = table(head, shown, left=2)
    if len(rows) > len(shown):
        lines.append(f"{counted(len(rows) - len(shown), 'more row')}: --details.")
    return lines


def _search_rows(one: Searched, display: Display, run: str) -> Iterator[tuple[str, ...]]:
    if run == RATE:
        for rate in one.rates:
            greatest = _greatest(rate, display)
            agreed = display.flow(rate["agreed_m3_s"])
            yield one.name, rate["scenario"], agreed, greatest, SHORT[one.verdict]
        return
    if not one.windows:
        yield one.name, "-", "-", "-", "-", f"cannot be told: {one.reason}"
    rates = [r["greatest_m3_s"] for r in one.rates]
    least = min((r for r in rates if r is not None), default=None)
    rate_words = "none" if None in rates else ("-" if least is None else display.flow_down(least))
    for window in one.windows:
        yield (
            one.name,
            window["valve"],
            "none" if window["shortest_s"] is None else f"{window['shortest_s']:g} s",
            "no rule" if window["longest_s"] is None else f"{window['longest_s']:g} s",
            rate_words,
            window_state(one.verdict, window),
        )


def window_state(verdict: str, window: Mapping[str, Any]) -> str:
    """Return whether a window is open, in a word; undecided where the whole is."""
    if not window["open"]:
        return "EMPTY"
    return {WITHIN: "open", EXCEEDED: "open alone"}.get(verdict, "undecided")


def _greatest(rate: Mapping[str, Any], display: Display) -> str:
    greatest = rate["greatest_m3_s"]
    if greatest is None:
        return "none"
    more = " or more" if greatest >= rate["looked_at_to_m3_s"] else ""
    return display.flow_down(greatest) + more


def _notes(made: Summary) -> list[str]:
    said = [] if made.decides else [NO_VERDICT]
    if made.study.uncertain:
        said.append(GIVEN)
    said += [f"{words}." for words in own_rates(made.study)]
    return [paragraph(text, indent="  ", first="- ") for text in said]


def own_rates(study: Study) -> list[str]:
    """Say which axes move the agreed rate while stages or scenarios keep rates of their own."""
    import tomllib

    moved = [a.name for a in study.axes if a.places.keys == ("rate: agreed",)]
    moved += [u.name for u in study.uncertain if u.places.keys == ("rate: agreed",)]
    if not moved:
        return []
    found = []
    for name, text in study.cases.items():
        data = tomllib.loads(text)
        own = [
            str(t.get("name")) for kind in ("stage", "scenario") for t in data.get(kind, []) if "rate" in t
        ]
        if own:
            listed = ", ".join(map(quoted, own[:4]))
            found.append(f"{moved[0]} leaves the rates of their own of {listed} in {name} as they are")
    return found
