"""The smallest relief valve and the smallest surge drum that do, as text."""

from __future__ import annotations

from surge.phrases import capital
from surge.reports.layout import paragraph
from surge.reports.words import Display, whose
from surge.rules.findings import UNDECIDED, Finding
from surge.search.sizes import RELIEF, SizeAnswer


def size_lines(answers: tuple[SizeAnswer, ...], display: Display) -> list[str]:
    """All lines on sizes; none where they were not asked for."""
    if not answers:
        return []
    out = ["Smallest relief valve and surge drum, all else as in the case", ""]
    for answer in answers:
        for k, sentence in enumerate((size_in_short(answer), *_proof(answer, display))):
            first = "      " if k else "    "
            out.append(paragraph(sentence, indent="      ", first=first))
    return [*out, ""]


def size_in_short(answer: SizeAnswer) -> str:
    """What was found of one relief valve or drum, in one sentence or two."""
    kind = capital(answer.kind)
    what, unit = _what(answer)
    low, high = (f"{v:g}" for v in answer.tried)
    tried = f"tried from {low} to {high}; the case has {answer.was:g}"
    if answer.least is None:
        return f'{kind} "{answer.name}": no {what} {_effect(answer)} ({tried} {unit}).'
    span = f"{answer.least:g} {unit} or more"
    if not answer.to_the_end:
        span = f"{answer.least:g} to {answer.most:g} {unit}"
    if not answer.needed:
        span += ", the smallest tried,"
    said = f'{kind} "{answer.name}": {what} {span} {_effect(answer)} ({tried}).'
    if not answer.needed:
        said += " Perhaps none is needed: check the case without it."
    return said


def _what(answer: SizeAnswer) -> tuple[str, str]:
    """What the size is called, and its unit."""
    return ("Kv", "m3/h") if answer.kind == RELIEF else ("volume", "m3")


def _effect(answer: SizeAnswer) -> str:
    """What the size brings about."""
    if not answer.valves:
        return "keeps the case at its strokes"
    valves = " and ".join(f'"{v}"' for v in answer.valves)
    return f"gives {valves} a window, at {answer.stroke:.1f} s"


def _proof(answer: SizeAnswer, display: Display) -> list[str]:
    """What comes nearest at the smallest, or is in the way at the best; what was held."""
    said = []
    size = answer.least if answer.least is not None else answer.best
    what, unit = _what(answer)
    if size is not None:
        at = f"At {what} {size:g} {unit}"
        best = "" if answer.least is not None else ", the best tried,"
        if answer.reason:
            said.append(f"{at}{best} it is not kept for certain: {answer.reason}.")
        elif answer.governs is not None and answer.governs.margin is not None:
            said.append(f"{at}{best} {_nearest(answer.governs, display)}.")
    if answer.kind == RELIEF:
        said.append("Held: set pressure, pressure of full lift, opening time, back pressure.")
    else:
        said.append(
            f"Held: {100 * answer.gas_share:.0f} % of the volume is gas, its exponent, its charge, the neck."
        )
    return said


def _nearest(found: Finding, display: Display) -> str:
    """How near to its limit a finding comes."""
    assert found.margin is not None
    by = display.margin(abs(found.margin), unit=True)
    kept = "kept by" if found.margin >= 0.0 else "exceeded by"
    sure = "" if found.verdict != UNDECIDED else ", which is within its numerical error"
    return f'{whose(found)} is nearest to its limit in "{found.scenario}": {kept} {by}{sure}'
