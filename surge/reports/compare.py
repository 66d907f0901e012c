"""Two cases side by side, in words, and the words of their picture."""

from __future__ import annotations

from collections.abc import Sequence

from surge.reports.layout import paragraph, table
from surge.reports.rules import rule_items
from surge.reports.words import CAUTIONS, HEADLINE, RANK, SHORT, Display, sentence
from surge.rules.assess import Assessment
from surge.rules.book import LOCAL_CODES
from surge.units import ZERO_CELSIUS, from_si, printable, show
from surge.views.compare import Comparison, PlacePair, ScenarioPair
from surge.views.facts import KINDS, Change, Fact

PLAIN = {  # kinds that are written in one unit: factor from SI, and the unit
    "density": (1.0, "kg/m3"),
    "speed": (1.0, "m/s"),
    "viscosity": (1e6, "mm2/s"),
    "number": (1.0, ""),
    "volume": (1.0, "m3"),
    "kv": (1.0, "m3/h"),
}
MOST_CHANGES = 40  # lines of what differs; all are in the JSON


def comparison_lines(c: Comparison, files: tuple[str, str], display: Display) -> list[str]:
    """The answer as text.

    Parameters
    ----------
    c : Comparison
    files : (str, str)
        Of the two cases.
    display : Display
        Units of the reader.
    """
    out = []
    for word, case, file in (("before", c.before, files[0]), ("after", c.after, files[1])):
        out.append(paragraph(f"{case.lineup.title} ({file})", first=f"{word + ':':8}", indent=" " * 8))
        out += [f"        VERDICT OF THE CASE: {HEADLINE[case.verdict]}", _weakest(case, display)]
        broken = (i.text for i in rule_items(case, display, details=False) if i.about == "broken")
        out += [*(paragraph(text, first="        - ", indent=" " * 10) for text in broken), ""]
    out += ["What differs in the line-up", *change_lines(c.changes, display)]
    for word, names in (("before", c.only_before), ("after", c.only_after)):
        if names:
            listed = ", ".join(f'"{n}"' for n in names)
            out.append(paragraph(f"Scenarios that are only {word}: {listed}", first="  - ", indent="    "))
    for pair in c.pairs:
        out += ["", *_pair_lines(pair, display)]
    out += ["", paragraph(LOCAL_CODES), "", "Cautions"]
    return out + [paragraph(text, indent="  ", first="- ") for text in CAUTIONS]


def _weakest(case: Assessment, display: Display) -> str:
    worst = case.weakest
    words = sentence(worst, case.run_of(worst), display) if worst else "No pressure is held against a limit."
    return paragraph(words, first=" " * 8, indent=" " * 8)


def _pair_lines(pair: ScenarioPair, display: Display) -> list[str]:
    name = f'"{pair.before}"' if pair.before == pair.after else f'"{pair.before}" and "{pair.after}"'
    before, after = (HEADLINE[v] for v in pair.verdicts)
    title = f"Scenario {name}, pressures: {before} before, {after} after"
    out = [title, "=" * min(len(title), 100), *change_lines(pair.changes, display), ""]
    boiling = [w for w, s in zip(("before", "after"), pair.subjects, strict=True) if s.run.vapour]
    if boiling:
        words = f"The cargo boils {' and '.join(boiling)}: what stands below is of the time before that."
        out += [paragraph(words), ""]
    unit = f"{display.units.pressure}(g)"
    for way, word in (("high", "highest"), ("low", "lowest")):
        rows = [r for r in pair.places if r.way == way and (r.subject == "element" or r.after.verdict)]
        head = (f"{word} pressure, {unit}", "before", "after", "change", "limit", "margin", "after")
        out += [*table(head, [_row(r, display) for r in sorted(rows, key=_worst_first)]), ""]
    return out[:-1]


def _worst_first(place: PlacePair) -> tuple[int, float]:
    after = place.after
    margin = float("inf") if after.limit is None else after.limit.value - after.pressure
    return [*RANK, ""].index(after.verdict), margin if place.way == "high" else -margin


def _row(place: PlacePair, display: Display) -> tuple[str, ...]:
    write = display.round_up if place.way == "high" else display.round_down
    before, after = place.before, place.after
    limits = [s.limit.value if s.limit else None for s in (before, after)]
    limit = "-" if limits[1] is None else display.pressure(limits[1])
    if limits[0] != limits[1]:
        limit = f"{'-' if limits[0] is None else display.pressure(limits[0])} -> {limit}"
    margin = "-"
    if after.limit is not None:
        over = after.limit.value - after.pressure
        margin = display.margin(over if place.way == "high" else -over)
    change = show(place.difference, unit=display.units.pressure)
    signed = change if change.startswith("-") or float(change) == 0.0 else f"+{change}"
    verdict = f"{SHORT.get(before.verdict, '-')} -> {SHORT.get(after.verdict, '-')}"
    same = SHORT.get(after.verdict, "-") if before.verdict == after.verdict else verdict
    return printable(place.name), write(before.pressure), write(after.pressure), signed, limit, margin, same


def change_lines(found: Sequence[Change], display: Display) -> list[str]:
    """What differs, a line each."""
    if not found:
        return ["  - nothing"]
    lines = [paragraph(change_words(c, display), first="  - ", indent="    ") for c in found[:MOST_CHANGES]]
    if len(found) > MOST_CHANGES:
        lines.append(f"  - and {len(found) - MOST_CHANGES} more (all are in --json)")
    return lines


def change_words(change: Change, display: Display) -> str:
    """One difference in words."""
    kind, name = change.table, change.name
    if kind == "scenario":
        kind, _, name = name.partition(" ")
    whose = f'{kind} "{printable(name)}"' if name else kind
    if not change.quantity:
        return f"{whose}: only {'before' if change.after is None else 'after'}"
    before, after = (value_words(f, display) for f in (change.before, change.after))
    if before == after and change.before and change.after:  # the same to the last digit shown
        before, after = (f"{f.value} {KINDS[f.kind]}" for f in (change.before, change.after))
    head = f"{whose}: {change.quantity}" if whose else change.quantity
    if (change.before or change.after or Fact(kind="", value=None)).kind == "word":
        return f"{head}: {before} before; {after} after"
    return f"{head} {before} before, {after} after"


def value_words(fact: Fact | None, display: Display) -> str:
    """A value in the reader's units."""
    if fact is None or fact.value is None:
        return "not given"
    if isinstance(fact.value, str | bool):
        return printable(str(fact.value))
    value = float(fact.value)
    if fact.kind in PLAIN:
        factor, unit = PLAIN[fact.kind]
        return f"{value * factor:.6g} {unit}".strip()
    if fact.kind == "temperature":
        return f"{value - ZERO_CELSIUS:.4g} degC"
    if fact.kind == "absolute":
        return f"{from_si(value, unit=display.units.pressure):.4g} {display.units.pressure}(a)"
    if fact.kind == "diameter":
        return f"{from_si(value, unit=display.units.diameter):.6g} {display.units.diameter}"
    if fact.kind == "pressure":
        return display.pressure(value, unit=True)
    if fact.kind == "time":
        return f"{display.time(value)} s"
    return display.flow(value) if fact.kind == "flow" else display.length(value)


# Picture


def _whole(c: Comparison, pair: ScenarioPair) -> str:
    """The verdicts of the whole cases, where they are not those of the scenario."""
    said = [
        f"the whole case {word}: {HEADLINE[case.verdict]}"
        for word, case, own in zip(("before", "after"), (c.before, c.after), pair.verdicts, strict=True)
        if case.verdict != own
    ]
    return "".join(f"; {text}" for text in said)
