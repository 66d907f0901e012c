"""Rules and assumed figures as text: what is not kept, what could not be checked, what was taken as given."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace

from surge.model.lineup import Assumed
from surge.reports.layout import paragraph
from surge.reports.words import Display
from surge.rules.assess import Assessment
from surge.rules.book import LOCAL_CODES, MEASURES
from surge.rules.findings import WITHIN
from surge.rules.rulings import KEPT, NOT_APPLICABLE, NOT_CHECKED, NOT_DECIDED, NOT_KEPT, Ruling

OUTSIDE = "look at the records of ship and terminal: no case holds them (`surge list rules` has the text)"
# What moves a peak most stands first.
_WEIGHT = {
    q: i for i, q in enumerate(("wave speed", "Kv", "characteristic", "schedule", "sound speed", "density"))
}
_ORDER = {NOT_KEPT: 0, NOT_DECIDED: 1, NOT_CHECKED: 2, KEPT: 3, NOT_APPLICABLE: 4}


@dataclass(frozen=True, slots=True, kw_only=True)
class RuleItem:
    """One thing to tell about the rules.

    Attributes
    ----------
    about : str
        "broken" (it counts), "advisory" (not met, does not count), "rest" (met, or does not apply), "kept"
        (how many are), "of the file" or "not checked".
    text : str
        In plain words, with the source; not wrapped.
    """

    about: str
    text: str


def rule_lines(assessment: Assessment, display: Display, *, details: bool) -> list[str]:
    """Every rule with ``details``; without, those that are broken, and how many could not be checked."""
    if not assessment.rulings:
        return []
    out = [paragraph(f"Rules of the trade. {LOCAL_CODES}")]
    for item in rule_items(assessment, display, details=details):
        first = "  " if item.about == "kept" else "  - "
        out.append(paragraph(item.text, indent="    ", first=first))
    return out


def rule_items(assessment: Assessment, display: Display, *, details: bool) -> list[RuleItem]:
    """As :func:`rule_lines`, each thing by itself; nothing where the case was held against no rules."""
    if not assessment.rulings:
        return []
    # What the tables of pressures say already is not said again.
    counted = list(assessment.rulings if details else assessment.broken)
    counted = [r for r in counted if r.verdict != WITHIN]
    advice = [r for r in assessment.rulings if not r.binding and r.outcome in (NOT_KEPT, NOT_DECIDED)]
    out = _told(counted, display, "broken")
    out += _told(advice if details else _worst_of_each(advice), display, "advisory")
    if details:
        rest = [r for r in assessment.rulings if r not in counted and r not in advice]
        return out + _told(sorted(rest, key=lambda r: _ORDER[r.outcome]), display, "rest")
    kept = sum(r.outcome == KEPT for r in assessment.rulings)
    out.append(RuleItem(about="kept", text=f"{kept} met."))
    out += [RuleItem(about="of the file", text=text) for text in _of_the_file(assessment)]
    not_checked = [r for r in assessment.rulings if r.outcome == NOT_CHECKED and not r.binding]
    return out + [RuleItem(about="not checked", text=text) for text in _not_checked(not_checked)]


def _of_the_file(assessment: Assessment) -> list[str]:
    """What a file of rules changed: rules of its own, and rules that it switched off, with the reason."""
    rules = dict.fromkeys(r.rule for r in assessment.rulings)
    own = [
        f"{r.name}, {r.compare} {r.figure_text} ({r.authority})"
        for r in rules
        if r.own and r.requirement != "off"
    ]
    out = [f"Rules of a file: {'; '.join(own)}."] if own else []
    return out + [
        f"Switched off by a file: {r.name}. Reason: {r.reason}." for r in rules if r.requirement == "off"
    ]


def _worst_of_each(rulings: Iterable[Ruling]) -> list[Ruling]:
    """Of each rule the ruling that is farthest from being kept; the sentence says how many more there are."""
    groups: dict[str, list[Ruling]] = {}
    for r in rulings:
        groups.setdefault(r.rule.id, []).append(r)
    found = []
    for group in groups.values():
        worst = min(group, key=lambda r: (_ORDER[r.outcome], r.margin if r.margin is not None else 0.0))
        more = f" The same holds for {len(group) - 1} more." if len(group) > 1 else ""
        found.append(replace(worst, phrase=(*worst.phrase, more)))
    return found


def _told(rulings: Iterable[Ruling], display: Display, about: str) -> list[RuleItem]:
    before = "advice only: " if about == "advisory" else ""
    out = []
    for r in rulings:
        words = display.phrase(r.phrase)
        write = f" {r.to_write}" if r.to_write else ""
        out.append(RuleItem(about=about, text=f"{before}{words}{write} [{r.rule.source}]"))
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
        f"Not checked: {'; '.join(names)}. To check, {supply.rstrip('.')}."
        for supply, names in groups.items()
    ]


@dataclass(frozen=True, slots=True, kw_only=True)
class AssumedItem:
    """A figure that the case does not give, of all the parts for which it is the same."""

    quantity: str
    subjects: tuple[str, ...]
    value: str
    source: str
    asked: bool


def assumed_items(assumed: Iterable[Assumed]) -> list[AssumedItem]:
    """Figures that the case does not give; first those that nothing in it says, and that move a peak most."""
    groups: dict[tuple[bool, str, str, str], list[str]] = {}
    for a in assumed:
        groups.setdefault((a.asked, a.quantity, a.value, a.source), []).append(a.subject)
    order = sorted(groups, key=lambda g: (g[0], _WEIGHT.get(g[1], len(_WEIGHT))))
    return [
        AssumedItem(
            quantity=quantity,
            subjects=tuple(dict.fromkeys(groups[asked, quantity, value, source])),
            value=value,
            source=source,
            asked=asked,
        )
        for asked, quantity, value, source in order
    ]


def assumed_lines(assumed: Iterable[Assumed]) -> list[str]:
    """Figures that the case does not give, those that nothing in it says first, with their sources."""
    items = assumed_items(assumed)
    out: list[str] = []
    for asked, title in (
        (False, "ASSUMED, since the case does not say; give your own figures where you can"),
        (True, "Taken from the program's tables, as the case asks"),
    ):
        group = [item for item in items if item.asked == asked]
        if not group:
            continue
        out += [*([""] if out else []), title]
        for item in group:
            text = f"{item.quantity} of {', '.join(item.subjects)}: {item.value} [{item.source}]"
            out.append(paragraph(text, indent="    ", first="  - "))
    return out
