"""Fillings in words: what arrives, what is compressed, by both models, and when that is to be trusted."""

from __future__ import annotations

from collections.abc import Sequence

from surge.model.filling import HOLE, OPEN, Filling
from surge.phrases import capital, counted
from surge.reports.layout import paragraph, table
from surge.reports.words import CAUTIONS, HEADLINE, RANK, SHORT, Display
from surge.rules.fillings import FilledCase
from surge.rules.findings import WITHIN, Finding
from surge.transient.filling_result import Arrival, FillingResult

TRUST = (
    "Trust a filling where the liquid fills the bore behind a steep front: in level or rising pipes, faster "
    "than about half of the root of gravity times bore. Where liquid runs ahead along the bottom, gas stays "
    "behind in pockets, and no figure here holds."
)
BY_HAND = (
    "A filling is mended by hand: change its rate, the stroke of its valve or the way out of its gas, and "
    "check again. No remedy, stroke or rate is searched for it."
)
BOTH_MODELS = (
    "Rigid: the liquid behind the front moves as one, and waves begin where it arrives. Elastic: waves "
    "behind the front throughout. Limits are held against the worse of both."
)


def filling_sentences(fillings: Sequence[FilledCase], display: Display) -> list[str]:
    """Return a sentence for each filling: verdict, what happens, what comes nearest to a limit."""
    return [f"{_story(one, display)} {_governing(one, display)}".strip() for one in fillings]


def broken_fillings(fillings: Sequence[FilledCase]) -> list[FilledCase]:
    """Return those that are not kept."""
    return [one for one in fillings if one.verdict != WITHIN]


def governing_fillings(fillings: Sequence[FilledCase], weakest: Finding | None) -> list[FilledCase]:
    """Return those that are not kept, or come nearer to a limit than the weakest place of all scenarios."""
    load = weakest.load if weakest is not None and weakest.verdict == WITHIN else 0.0
    return [
        one
        for one in fillings
        if one.verdict != WITHIN or (one.weakest is not None and one.weakest.load > load > 0.0)
    ]


def counted_fillings(fillings: Sequence[FilledCase]) -> str:
    """Return how many fillings there are and what came of them, "" where there is none."""
    if not fillings:
        return ""
    verdicts = [one.verdict for one in fillings]
    told = ", ".join(f"{verdicts.count(v)} {SHORT[v]}" for v in RANK if v in verdicts)
    return f"{counted(len(fillings), 'filling')}: {told}."


def _story(one: FilledCase, display: Display) -> str:
    begin = f'Filling "{one.name}": {SHORT[one.verdict]}.'
    run = one.usual
    if run is None:
        return f"{begin} It could not be followed: {one.trouble}."
    end = f'"{one.filling.end}"'
    arrival = _worse_arrival(run)
    if arrival is None:
        if one.filling.vent == OPEN:
            return f"{begin} The front does not reach {end}."
        top = max(run.peak_gas_rigid.value, run.peak_gas_elastic.value)
        return f"{begin} The gas before {end} is compressed to {display.round_up(top, unit=True)}."
    more = ""
    if one.filling.vent == HOLE:
        top = max(run.peak_gas_rigid.value, run.peak_gas_elastic.value)
        more = f", after the gas has come to {display.round_up(top, unit=True)}"
    return (
        f"{begin} The front comes to {end} after {display.time(arrival.time.value)} s at "
        f"{arrival.velocity.value:.2f} m/s{more}; that makes "
        f"{display.round_up(arrival.pressure.value, unit=True)} there."
    )


def _worse_arrival(run: FillingResult) -> Arrival | None:
    both = [a for a in (run.arrival_rigid, run.arrival_elastic) if a is not None]
    return max(both, key=lambda a: a.pressure.value, default=None)


def _governing(one: FilledCase, display: Display) -> str:
    """What comes nearest to its limit, or the rule that is not kept."""
    said = [display.phrase(r.phrase) for r in one.broken]
    f = one.weakest
    if f is None:
        return " ".join(said)
    if f.value is None or f.limit is None:
        return " ".join([*said, f"{capital(f.reason)}."])
    words = f'{_which(f)} in "{f.name}" {_shown(f, display)}, limit {display.pressure(f.limit)}'
    words += f": {f.reason}." if f.reason else "."
    return " ".join([*said, words])


def _which(f: Finding) -> str:
    return "Highest pressure" if f.check == "peak" else "Lowest pressure"


def _shown(f: Finding, display: Display) -> str:
    assert f.value is not None
    return (display.round_up if f.check == "peak" else display.round_down)(f.value, unit=True)


def answer_lines(fillings: Sequence[FilledCase], title: str, verdict: str, display: Display) -> list[str]:
    """Return the answer of ``surge filling``: the verdict of the fillings, then everything about them.

    Parameters
    ----------
    fillings : sequence of FilledCase
    title : str
        Of the case.
    verdict : str
        Of these fillings.
    display : Display
    """
    first = f"VERDICT of the fillings: {HEADLINE[verdict]}"
    said = [BY_HAND] if verdict != WITHIN else []
    whole = "That of the whole case, its scenarios included: surge check CASE."
    return [
        paragraph(title),
        "",
        first,
        paragraph(whole),
        *map(paragraph, said),
        *filling_lines(fillings, display),
        paragraph(CAUTIONS[0]),
        "",
        first,
    ]


def filling_lines(fillings: Sequence[FilledCase], display: Display) -> list[str]:
    """Return everything about all fillings as lines of text.

    Parameters
    ----------
    fillings : sequence of FilledCase
    display : Display
    """
    out: list[str] = []
    for one in fillings:
        out += ["", *_block(one, display)]
    return [*out, "", paragraph(BOTH_MODELS), paragraph(TRUST)] if out else []


def _block(one: FilledCase, display: Display) -> list[str]:
    title = f"Filling: {one.name}: {HEADLINE[one.verdict]}"
    out = [paragraph(title), "=" * min(len(title), 80)]
    if one.filling.note:
        out.append(paragraph(one.filling.note))
    out.append(paragraph(what_is_filled(one.filling, display)))
    out.append(paragraph(filling_sentences([one], display)[0]))
    run = one.usual
    if run is None:
        return out
    out += ["", *table(("figure", "rigid", "±", "elastic", "±"), _figures(run, display))]
    out += ["", *_limits(one, display)]
    said = [*run.warnings]
    if len(one.results) > 1:
        said.append(
            f"judged at {len(one.results)} points of what is known as a range only; the table is of the usual"
        )
    if one.filling.vent != OPEN and run.arrival_rigid is not None:
        said.append("what arrives at the opening is taken to be shut in: no liquid leaves through it")
    out += [paragraph(f"{capital(words)}.", indent="  ", first="- ") for words in said]
    out += [paragraph(display.phrase(r.phrase), indent="  ", first="- ") for r in one.rulings]
    return out


def what_is_filled(filling: Filling, display: Display) -> str:
    """Return in a sentence what is full of gas, and how the gas leaves."""
    pressure = display.pressure(filling.gas_pressure, unit=True)
    begins = f' from {display.length(filling.front)} beyond "{filling.start}"' if filling.front else ""
    begins = begins or f' from "{filling.start}"'
    ways = {
        OPEN: "the gas leaves freely",
        HOLE: f"the gas leaves through an opening of {filling.vent_diameter * 1e3:.3g} mm",
    }
    way = ways.get(filling.vent, "the gas is shut in")
    return f'Gas of {pressure} stands{begins} to "{filling.end}"; {way}.'


def _figures(run: FillingResult, display: Display) -> list[tuple[str, ...]]:
    unit = f"{display.units.pressure}(g)"
    rows: list[tuple[str, ...]] = []
    if run.filling.vent != OPEN:
        both = (run.peak_gas_rigid, run.peak_gas_elastic)
        rows.append(
            (
                f"highest pressure of the gas, {unit}",
                *(x for p in both for x in (display.round_up(p.value), display.error(p.error))),
            )
        )
    arrivals = (run.arrival_rigid, run.arrival_elastic)
    if any(a is not None for a in arrivals):
        rows.append(("arrival, s", *_pair([a.time if a else None for a in arrivals], "{:.2f}")))
        rows.append(
            (
                "velocity of the front then, m/s",
                *_pair([a.velocity if a else None for a in arrivals], "{:.3f}"),
            )
        )
        rows.append(
            (
                f"pressure where it arrives, {unit}",
                *(
                    x
                    for a in arrivals
                    for x in (
                        (display.round_up(a.pressure.value), display.error(a.pressure.error))
                        if a
                        else ("-", "-")
                    )
                ),
            )
        )
        rows.append(
            (
                "velocity that passes on, m/s",
                *(x for a in arrivals for x in ((f"{a.through:.3f}" if a else "-"), "")),
            )
        )
    return rows


def _pair(figures: Sequence[object], form: str) -> list[str]:
    out = []
    for f in figures:
        out += ["-", "-"] if f is None else [form.format(f.value), form.format(f.error)]  # type: ignore[attr-defined]
    return out


def _limits(one: FilledCase, display: Display) -> list[str]:
    """A row for every limit, the nearest first."""
    rows = [
        (
            f.name,
            "highest" if f.check == "peak" else "lowest",
            _shown(f, display).rpartition(" ")[0] if f.value is not None else "-",
            display.error(f.error) if f.value is not None else "-",
            display.pressure(f.limit) if f.limit is not None else "-",
            "-" if f.time is None else f"{f.time:.1f}",
            SHORT[f.verdict],
        )
        for f in sorted(one.findings, key=lambda f: (RANK[f.verdict], -f.load))
    ]
    unit = f"{display.units.pressure}(g)"
    return table(("part", "pressure", unit, "±", "limit", "at s", "verdict"), rows)
