"""Rules and assumed figures as text: what is not kept, what could not be checked, what was taken as given."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace

from surge.assess import Assessment
from surge.lineup import Assumed
from surge.rulebook import LOCAL_CODES, MEASURES
from surge.rulings import KEPT, NOT_APPLICABLE, NOT_CHECKED, NOT_DECIDED, NOT_KEPT, Ruling
from surge.verdict import WITHIN
from surge.words import Shown, paragraph

OUTSIDE = "look at the records of ship and terminal: no case holds them (`surge list rules` has the text)"
# What moves a peak most stands first.
_WEIGHT = {
    q: i for i, q in enumerate(("wave speed", "Kv", "characteristic", "schedule", "sound speed", "density"))
}
_ORDER = {NOT_KEPT: 0, NOT_DECIDED: 1, NOT_CHECKED: 2, KEPT: 3, NOT_APPLICABLE: 4}


def rule_lines(assessment: Assessment, say: Shown, *, details: bool) -> list[str]:
    """Every rule with ``details``; without, those that are broken, and how many could not be checked."""
    if not assessment.rulings:
        return []
    # What the tables of pressures say already is not said again.
    counted = list(assessment.rulings if details else assessment.broken)
    counted = [r for r in counted if r.verdict != WITHIN]
    advice = [r for r in assessment.rulings if not r.binding and r.outcome in (NOT_KEPT, NOT_DECIDED)]
    out = [paragraph(f"Rules of the trade. {LOCAL_CODES}")]
    out += _told(counted, say, "")
    out += _told(advice if details else _worst_of_each(advice), say, "advisory, does not count: ")
    if details:
        rest = [r for r in assessment.rulings if r not in counted and r not in advice]
        out += _told(sorted(rest, key=lambda r: _ORDER[r.outcome]), say, "")
        return out
    kept = sum(r.outcome == KEPT for r in assessment.rulings)
    out.append(paragraph(f"{kept} kept.", indent="    ", first="  "))
    out += _of_the_file(assessment)
    return out + _not_checked([r for r in assessment.rulings if r.outcome == NOT_CHECKED and not r.binding])


def _of_the_file(assessment: Assessment) -> list[str]:
    """What a file of rules changed: rules of its own, and rules that it switched off, with the reason."""
    rules = dict.fromkeys(r.rule for r in assessment.rulings)
    own = [
        f"{r.name}, {r.compare} {r.figure_text} ({r.authority})"
        for r in rules
        if r.own and r.requirement != "off"
    ]
    out = [paragraph(f"Rules of a file: {'; '.join(own)}.", indent="    ", first="  - ")] if own else []
    return out + [
        paragraph(f"Switched off by a file: {r.name}. Reason: {r.reason}.", indent="    ", first="  - ")
        for r in rules
        if r.requirement == "off"
    ]


def _worst_of_each(rulings: Iterable[Ruling]) -> list[Ruling]:
    """Of each rule the ruling that is farthest from being kept; the sentence says how many more there are."""
    groups: dict[str, list[Ruling]] = {}
    for r in rulings:
        groups.setdefault(r.rule.id, []).append(r)
    found = []
    for group in groups.values():
        worst = min(group, key=lambda r: (_ORDER[r.outcome], r.margin if r.margin is not None else 0.0))
        more = f" So it is with {len(group) - 1} more." if len(group) > 1 else ""
        found.append(replace(worst, phrase=(*worst.phrase, more)))
    return found


def _told(rulings: Iterable[Ruling], say: Shown, before: str) -> list[str]:
    out = []
    for r in rulings:
        words = say.phrase(r.phrase)
        supply = f" To check it, {r.supply}." if r.supply else ""
        out.append(paragraph(f"{before}{words}{supply} [{r.rule.source}]", indent="    ", first="  - "))
    return out


def _not_checked(rulings: list[Ruling]) -> list[str]:
    """Rules that lack data, together where the same data would do."""
    groups: dict[str, list[str]] = {}
    for r in rulings:
        outside = MEASURES[r.rule.measure].figure == "any"
        names = groups.setdefault(OUTSIDE if outside else r.supply, [])
        if r.rule.name not in names:
            names.append(r.rule.name)
    return [
        paragraph(
            f"Not checked: {'; '.join(names)}. To check, {supply.rstrip('.')}.", indent="    ", first="  - "
        )
        for supply, names in groups.items()
    ]


def assumed_lines(assumed: Iterable[Assumed]) -> list[str]:
    """Figures that the case does not give, those that nothing in it says first, with their sources."""
    out: list[str] = []
    for asked, title in (
        (False, "ASSUMED, since the case does not say; give your own figures where you can"),
        (True, "Taken from the program's tables, as the case asks"),
    ):
        groups: dict[tuple[str, str, str], list[str]] = {}
        for a in assumed:
            if a.asked == asked:
                groups.setdefault((a.quantity, a.value, a.source), []).append(a.subject)
        groups = dict(sorted(groups.items(), key=lambda g: _WEIGHT.get(g[0][0], len(_WEIGHT))))
        if not groups:
            continue
        out += [*([""] if out else []), title]
        for (quantity, value, source), subjects in groups.items():
            whose = ", ".join(dict.fromkeys(subjects))
            text = f"{quantity} of {whose}: {value} [{source}]"
            out.append(paragraph(text, indent="    ", first="  - "))
    return out
