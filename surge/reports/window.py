"""The answer of ``surge window`` as text: the window of each valve and what proves it, rates, the set."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from surge.model.lineup import LineUp
from surge.reports.fillings import filling_sentences
from surge.reports.layout import paragraph, table
from surge.reports.words import CAUTIONS, HEADLINE, SHORT, Display, against, what_happens
from surge.rules.book import LOCAL_CODES
from surge.rules.fillings import searched_beside
from surge.rules.findings import EXCEEDED, UNDECIDED, WITHIN, Finding, weakest
from surge.rules.rulings import Ruling
from surge.search.joint import COMMON, PROPORTION, SHORTEST, JointSet
from surge.search.judged import ULLAGE
from surge.search.open_rates import OpenRate
from surge.search.rates import RateLimit
from surge.search.strokes import StrokeLimits
from surge.search.window import Windows
from surge.transient.sensitivities import searched_with

Parts = tuple[StrokeLimits, ...]
RATES = "Safe up to this rate, at the strokes of the case"
VERDICT = {WITHIN: "A WINDOW IS OPEN", EXCEEDED: "NO WINDOW", UNDECIDED: HEADLINE[UNDECIDED]}


def without_words(windows: Windows, lineup: LineUp) -> str:
    """Return what relief valves and drums gain: how fast valves could close if they were not there."""
    if not windows.without:
        return ""
    told = [
        f'"{valve}" {"no stroke is safe" if stroke is None else f"{stroke:.1f} s or more"}'
        for valve, stroke in windows.without.items()
    ]
    return f"Without {all_named([thing.name for thing in lineup.relieving])}: {', '.join(told)}."


def bounds(shortest: float | None, longest: float | None, *, opens: bool = False) -> str:
    """Return the window of a valve in words, from its shortest safe and longest allowed stroke [s].

    ``shortest`` is None where no stroke is safe, ``longest`` where no rule on time bounds it; none bounds the
    strokes with which a valve opens.
    """
    if shortest is None:
        return "no stroke time is safe"
    if opens:
        return f"open no faster than {shortest:.1f} s"
    fast = f"close no faster than {shortest:.1f} s"
    if longest is None:
        return f"{fast}; no rule sets an upper limit"
    if longest <= 0.0:
        return f"{fast}; and every stroke is too slow for the rules on time: the window is empty"
    if shortest > longest:
        return f"{fast}, no slower than {longest:.1f} s: the window is empty"
    return f"{fast}, no slower than {longest:.1f} s"


def all_named(valves: Sequence[str]) -> str:
    """Names of valves that take one stroke, in words."""
    named = [f'"{v}"' for v in valves]
    if len(named) == 1:
        return named[0]
    every = "both" if len(named) == 2 else "all"
    return f"{', '.join(named[:-1])} and {named[-1]}, {every} with one stroke"


def beside(together: Sequence[str], held: Mapping[str, float]) -> str:
    """What closes in the same scenario, with the same stroke or with one that was held; "" for nothing."""
    said = []
    if len(together) > 1:
        said.append(f"{all_named(together)}")
    if held:
        said.append("with " + ", ".join(f'"{v}" held at {s:g} s' for v, s in held.items()))
    return f" ({'; '.join(said)})" if said else ""


BOILING = (
    "No stroke and no rate at which the cargo boils is told as safe here, whatever its cavities do; surge "
    "check looks at them."
)


def heads(by_valve: Mapping[str, Parts]) -> list[tuple[tuple[str, ...], Parts]]:
    """Valves and their parts; those that share their stroke wherever they close stand once."""
    found: list[tuple[tuple[str, ...], Parts]] = []
    done: set[str] = set()
    for valve, parts in by_valve.items():
        if valve in done:
            continue
        mates = parts[0].together
        alike = len({p.together for v in mates for p in by_valve.get(v, ())}) == 1
        valves = mates if alike and set(mates) <= by_valve.keys() else (valve,)
        done |= set(valves)
        found.append((valves, parts))
    return found


def _by_itself(part: StrokeLimits) -> str:
    """The window of one valve while those that share its stroke keep their shortest."""
    others = ", ".join(f'"{v}" {s:g} s' for v, s in part.held.items())
    if part.shortest is None:
        words = "no stroke is shown to be safe"
    elif part.shortest <= part.from_:
        words = f"{part.from_:g} s or more, the shortest tried"
    else:
        words = f"{part.shortest:.1f} s or more"
    return f'"{part.valve}" by itself in "{part.scenario}", with {others}: {words}.'


def boiling_bounds(windows: Windows) -> str:
    """Return that a search tells nothing as safe that boils, where that bounds a stroke or rate; else ""."""
    parts = [p for own in (windows.by_valve, windows.to_open) for found in own.values() for p in found]
    found = [*(p.governs for p in parts), *(r.governs for r in windows.rates)]
    return BOILING if any(f is not None and f.check == "vapour" for f in found) else ""


def window_lines(
    windows: Windows, lineup: LineUp, display: Display, *, more: Sequence[str] = ()
) -> list[str]:
    """All lines of the answer; ``more`` is what was asked beside the windows."""
    out = [paragraph(lineup.title), "", f"VERDICT: {VERDICT[windows.verdict]}", ""]
    for valves, parts in heads(windows.by_valve):
        valve = valves[0]
        shortest, longest = windows.bounds(valve)
        out.append(paragraph(f"{all_named(valves)}: {bounds(shortest, longest)}.", indent="    "))
        if (opening := windows.opens_at.get(valve)) is not None:
            out.append(paragraph(_opens(opening, display), indent="    "))
        elif (top := windows.open_up_to.get(valve)) is not None and top.share is not None:
            out.append(paragraph(_open_up_to(top, display), indent="    "))
        for part in parts:
            out += [paragraph(line, indent="      ", first="    ") for line in _why(part, valves, display)]
        for part in (p for v in valves for p in windows.apart.get(v, ())):
            out.append(paragraph(_by_itself(part), indent="      ", first="    "))
        out.append("")
    out += _to_open(windows, display)
    out += _rates(windows.rates, lineup, display)
    out += _joint(windows)
    out += _what_to_do(windows, display)
    if windows.idle:
        named = ", ".join(f'"{v}"' for v in windows.idle)
        out += [paragraph(f"Not searched, since it moves in no scenario: {named}.", indent="    "), ""]
    out += ["Strokes tried; what is not named beside them is as in the case"]
    out += [*_proof(windows, display), ""]
    out += more
    if gained := without_words(windows, lineup):
        out += [paragraph(gained), ""]
    if boils := boiling_bounds(windows):
        out += [paragraph(boils), ""]
    if asked := searched_with(lineup):
        out += [paragraph(asked), ""]
    for said in (*filling_sentences(windows.fillings, display), searched_beside(lineup)):
        out += [paragraph(said), ""] if said else []
    out += [paragraph(LOCAL_CODES), "", "Cautions"]
    return out + [paragraph(c, indent="  ", first="- ") for c in CAUTIONS]


def _why(part: StrokeLimits, valves: Sequence[str], display: Display) -> list[str]:
    """What governs in one scenario; ``valves`` are those that stand above."""
    said = []
    where = f'In "{part.scenario}"{beside(() if part.together == valves else part.together, part.held)}'
    if part.shortest is None:
        said.append(f"{where}: {part.reason}{_named(part.governs, part, display)}.")
    elif part.shortest <= part.from_:
        said.append(
            f"{where}: safe from {part.from_:g} s on, the shortest tried"
            f"{_named(part.governs, part, display)}."
        )
    elif part.fast_rule is not None:
        rule = part.fast_rule
        said.append(
            f'{where}: {part.shortest:.1f} s or more by the rule "{rule.name}", {rule.figure_text} '
            f"[{rule.source}]{_named(part.governs, part, display)}."
        )
    else:
        said.append(f"{where}: {part.shortest:.1f} s or more{_named(part.governs, part, display)}.")
    where = f'In "{part.scenario}"'
    if part.slow_rule is not None:
        limit = f"at most {part.longest:.1f} s" if part.longest else "no stroke is short enough"
        rule = part.slow_rule
        said.append(f'{where}: {limit} by the rule "{rule.name}", {rule.figure_text} [{rule.source}].')
    return said


def _named(finding: Finding | None, part: StrokeLimits, display: Display) -> str:
    if finding is None or finding.value is None:
        return ""
    whose = f'"{finding.name}"'
    happens, held = what_happens(finding, part.run, display), against(finding, part.run, display)
    return f"; {whose} governs: {happens}; {held}"


def _rates(rates: Sequence[RateLimit], lineup: LineUp, display: Display) -> list[str]:
    said = rate_sentences(rates, lineup, display)
    return [RATES, *(paragraph(text, indent="      ", first="    ") for text in said), ""] if said else []


def rate_sentences(
    rates: Sequence[RateLimit], lineup: LineUp, display: Display, *, short: bool = False
) -> list[str]:
    """The greatest safe rate of each scenario, and of which none was searched; in short without sources."""
    said = [_rate(rate, display, short=short) for rate in rates]
    rated = {r.scenario for r in rates}
    if others := [f'"{s.name}"' for s in lineup.scenarios if s.repeats in rated]:
        said.append(
            f"Not searched: safe rates for {', '.join(others)}. Their strokes hold at the rate of the stage."
        )
    return said


def _rate(rate: RateLimit, display: Display, *, short: bool) -> str:
    """The greatest safe rate of one scenario."""
    ruled = f'the rule "{rate.rule.rule.name}" governs' if rate.rule else ""
    if rate.rule and not short:
        ruled = _ruled(rate.rule, display)
    governs = f'; beyond it "{rate.governs.name}" governs' if rate.governs else ""
    if rate.rule is not None:
        governs = f"; beyond it {ruled}"
    if rate.greatest is None:
        words = "no rate is safe" + (f"; {ruled}" if ruled else _least(rate))
    elif rate.greatest >= rate.to * 0.999:
        words = f"{display.flow_down(rate.greatest)} or more, the highest rate tried"
    else:
        words = f"{display.flow_down(rate.greatest)}{governs}"
    text = f'"{rate.scenario}": {words} (agreed: {display.flow(rate.agreed)}).'
    if rate.unsafe_below:
        low, high = rate.unsafe_below
        between = f"{display.flow_down(low)} and {display.flow_up(high)}"
        text += f" The agreed rate itself is safe; lower ones between {between} are not."
    return text


def _least(rate: RateLimit) -> str:
    """What is in the way of even the least rate looked at."""
    return f'; even at the least rate tried "{rate.governs.name}" governs' if rate.governs else ""


def _ruled(ruling: Ruling, display: Display) -> str:
    """A rule that is in the way."""
    words = display.phrase(ruling.phrase).rstrip(".")
    return f'the rule "{ruling.rule.name}" governs [{ruling.rule.source}]: {words}'


def _opens(opening: OpenRate, display: Display) -> str:
    """The rate at which an empty window opens."""
    if opening.share is None:
        return "No lower rate opens it."
    return f"It opens at {opening_words(opening, display)} and below, where {opening.stroke:.1f} s is safe."


def opening_words(opening: OpenRate, display: Display) -> str:
    """A rate at which a valve has a window; where stages have rates of their own, what these are then."""
    rate = display.flow_down(opening.rate)
    if not opening.several or opening.share is None:
        return rate
    return f"{rate} (every rate at {100 * opening.share:.1f} % of the agreed one)"


def _open_up_to(top: OpenRate, display: Display) -> str:
    """The rate above which an open window is empty."""
    rate = opening_words(top, display)
    if not top.ends:
        return f"There is a window at every rate tried, up to {rate}."
    if top.rule is not None:
        return f'There is a window up to {rate}; beyond it the rule "{top.rule.rule.name}" governs.'
    return f"There is a window up to {rate}; above that it is empty."


def _to_open(windows: Windows, display: Display) -> list[str]:
    """How fast valves may open."""
    out = []
    for valves, parts in heads(windows.to_open):
        words = bounds(windows.bounds_to_open(valves[0]), None, opens=True)
        out.append(paragraph(f"{all_named(valves)}, opening: {words}.", indent="    "))
        for part in parts:
            out += [paragraph(line, indent="      ", first="    ") for line in _why(part, valves, display)]
        out.append("")
    return out


def _joint(windows: Windows) -> list[str]:
    return [line for text in joint_sentences(windows) for line in (paragraph(text, indent="    "), "")]


def joint_sentences(windows: Windows) -> list[str]:
    """What came of all strokes together, of closing and of opening."""
    said = [_set(windows.together, "All together")] if windows.together else []
    if windows.opened_together and len(windows.to_open) > 1:
        said.append(_set(windows.opened_together, "All opened together"))
    return said


def _set(made: JointSet, what: str) -> str:
    """A set of strokes, run as such."""
    strokes = ", ".join(f'"{v}" {s:.1f} s' for v, s in made.strokes.items())
    text = f"{what} {way_words(made.way)} ({strokes}): {_verdict(made)}"
    if len(made.strokes) == 1:
        text = f"{strokes}, its shortest: {_verdict(made)}"
    others = made.elsewhere.scenario if made.elsewhere else None
    governs = weakest(
        f for f in made.assessment.findings if f.verdict == made.pressures and f.scenario != others
    )
    if governs is not None and made.pressures != WITHIN:
        text += f'; "{governs.name}" in "{governs.scenario}" governs'
    if made.elsewhere is not None:
        named = f'"{made.elsewhere.name}" in "{made.elsewhere.scenario}"'
        text += f". Whatever these strokes are, a limit is not kept elsewhere: {named}, see surge check"
    rules = dict.fromkeys(f'"{r.rule.name}"' for r in made.assessment.broken)
    if rules:
        text += f". Rules that surge check finds not met then: {', '.join(rules)}"
    return f"{text}."


def way_words(way: str) -> str:
    """How a set of strokes came about."""
    if way == SHORTEST:
        return "at their shortest"
    how = {COMMON: "all with one stroke", PROPORTION: "all longer in proportion"}
    told = how.get(way, f'with more time for "{way}"')
    return f"(at their shortest they exceed a limit) {told}"


def _verdict(made: JointSet) -> str:
    """What became of a set, in words."""
    if made.verdict == made.pressures:
        return f"pressures {SHORT[made.pressures]}"
    rules = "not met" if made.verdict == EXCEEDED else "not decided"
    return f"pressures {SHORT[made.pressures]}, rules {rules}"


def _what_to_do(windows: Windows, display: Display) -> list[str]:
    said = to_do(windows, display)
    return ["What to do", *(paragraph(x, indent="  ", first="- ") for x in said), ""] if said else []


def to_do(windows: Windows, display: Display) -> list[str]:
    """For every valve without a window, what can give it one, the surest first; then for the set."""
    said: list[str] = []
    for valves, parts in heads(windows.by_valve):
        valve, named = valves[0], " and ".join(f'"{v}"' for v in valves)
        if windows.empty(valve):
            said += [f"{named}: {what}." for what in _opening_it(windows, valve, parts, display)]
    if windows.together is not None and windows.together.verdict == EXCEEDED and windows.together.mendable:
        said.append("Do not set the valves so together: let them shut one after the other, or more slowly.")
    return list(dict.fromkeys(said))


def _opening_it(windows: Windows, valve: str, parts: Parts, display: Display) -> list[str]:
    """What can give a window to a valve that has none."""
    opening = windows.opens_at.get(valve)
    said = []
    if opening is not None and opening.share is not None:
        rate = opening_words(opening, display)
        said.append(f"agree a rate of {rate} or less, and a stroke of {opening.stroke:.1f} s")
    if windows.bounds(valve)[0] is None:
        failing = next(p for p in parts if p.shortest is None)
        return [*said, _without_a_stroke(failing, opening)]
    said.append(_SHAPES)
    if any(p.slow_rule is not None and p.slow_rule.measure == ULLAGE for p in parts):
        said.append(_MORE_ULLAGE)
    return said


def _without_a_stroke(part: StrokeLimits, opening: OpenRate | None) -> str:
    """What can help where no stroke is safe; no lower rate, where none was found to help."""
    if part.run is None:
        return _NO_STROKE
    no_rate_helps = opening is not None and opening.share is None
    return _LAST_PART if no_rate_helps else f"a lower rate first; then {_LAST_PART}"


_NO_STROKE = (
    "no stroke helps against shut-off pressure: lower it (pump, level), or take parts of a higher rating"
)
_LAST_PART = "a slower last part of the stroke (surge window CASE --shapes)"
_SHAPES = (
    "a stroke that is slow at its end needs less time for the same surge: try surge window CASE --shapes. "
    "The limit counts what comes before the valve moves too (detection, signal, earlier steps): shorten that"
)
_MORE_ULLAGE = "more ullage at the signal, or a lower rate into that tank, allows a longer stroke"


def _proof(windows: Windows, display: Display) -> list[str]:
    rows = []
    shown: set[tuple[str, tuple[str, ...], bool]] = set()
    for parts in (*windows.by_valve.values(), *windows.apart.values(), *windows.to_open.values()):
        for p in parts:
            if len(p.together) > 1 and (p.scenario, p.together, p.opens) in shown:
                continue
            shown.add((p.scenario, p.together, p.opens))
            method = p.run.method if p.run else None
            rows.append(
                (
                    (" + ".join(p.together) or p.valve) + (", opening" if p.opens else ""),
                    p.scenario,
                    str(len(p.looked)),
                    f"{p.from_:.4g} to {p.to:.4g}",
                    f"{p.period:.2f}",
                    f"{method.dt * 1e3:.2f}" if method else "-",
                    display.error(method.worst_error) if method else "-",
                )
            )
    error = f"error {display.units.pressure}"
    head = ("valve", "scenario", "strokes", "tried s", "period s", "step ms", error)
    return table(head, rows, left=2)
