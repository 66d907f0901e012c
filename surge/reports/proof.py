"""The answer of ``surge verify``: as text, as a document, and as a page to read (Markdown or HTML)."""

from __future__ import annotations

import html
import math
from collections.abc import Iterable, Sequence
from itertools import groupby
from typing import Any

from surge.phrases import capital
from surge.proof.checks import COMPUTED, HERE, MEMORY, PART, READ, Check, Outcome, work
from surge.reports.document import Program
from surge.reports.layout import paragraph, table
from surge.reports.proof_json import VerifyDocument, check_json
from surge.reports.words import CAUTIONS

WIDEST = 132  # columns: these tables have many
WITHIN, OUTSIDE = "within", "OUTSIDE"
HEAD = ("check", "expected", "by hand", "program", "±", "unit", "verdict", "source", "figure")
ABOUT = (
    "Each check holds a figure that the program computes on this machine against one from outside it. "
    "Expected: printed in the source, or the digits of the working. By hand: the working, computed here line "
    "by line by a calculator that knows nothing of the program. Program: what the program gives. A check is "
    "outside when the program, or the working, is farther from the expected figure than the tolerance.",
    "The checks cover the equations and their solution: wave speed, friction, steady flow, waves with and "
    "without friction, when it boils, one large vapour cavity, the rules on time. They say nothing of the "
    "figures in a case file, nor of many small cavities, nor of what the model leaves out: dissolved gas, "
    "choking valves, pipes that move.",
)
STATUS = {
    READ: "the printed figure was seen in the source",
    PART: "part of it was seen; the rest is from memory, as the check says",
    MEMORY: "from memory, not seen again",
    COMPUTED: "worked out from the law named, by the lines shown",
    HERE: "worked out here; the inputs are from memory or from a source that prints no result",
}


def to_tolerance(value: float, tolerance: float) -> str:
    """Return a figure with as many digits as its tolerance leaves [both in the unit of the figure]."""
    if not math.isfinite(value):
        return "none"
    if tolerance <= 0:
        return f"{value:.6g}"
    if abs(value) < tolerance:
        return f"{value:.1g}"
    return f"{value:.{max(0, min(12, 1 - math.floor(math.log10(tolerance))))}f}"


def _cells(outcome: Outcome, source: int) -> tuple[str, ...]:
    f = outcome.figure
    hand = "" if outcome.by_hand is None else to_tolerance(outcome.by_hand, f.tolerance)
    return (
        outcome.check.name,
        f"{f.expected:.10g}",
        hand,
        to_tolerance(outcome.got, f.tolerance),
        f"{f.tolerance:.2g}",
        f.unit,
        WITHIN if outcome.within else OUTSIDE,
        f"[{source}]",
        f.what,
    )


def _sources(outcomes: Sequence[Outcome]) -> list[tuple[str, str]]:
    return list(dict.fromkeys((o.check.source, o.check.status) for o in outcomes))


def verdict_line(outcomes: Sequence[Outcome]) -> str:
    """Return in a line how many figures there are, and how many are outside."""
    checks = len({o.check.name for o in outcomes})
    outside = [o for o in outcomes if not o.within]
    if not outside:
        return f"ALL WITHIN: {len(outcomes)} figures of {checks} checks, each within its tolerance."
    names = ", ".join(dict.fromkeys(o.check.name for o in outside))
    share = f"{len(outside)} of {len(outcomes)}"
    return f"OUTSIDE: {share} figures are outside their tolerance: {names}. Do not rely on this program."


def proof_lines(outcomes: Sequence[Outcome], *, details: bool = False) -> list[str]:
    """Return the answer as text: the verdict, tables with their sources, and workings when asked for."""
    out = [paragraph(verdict_line(outcomes)), *(paragraph(t) for t in ABOUT[:1])]
    sources = _sources(outcomes)
    for group, items in groupby(outcomes, key=lambda o: o.check.group):
        rows, last = [], ""
        for o in items:
            cells = _cells(o, sources.index((o.check.source, o.check.status)) + 1)
            rows.append(("" if cells[0] == last else cells[0], *cells[1:]))
            last = cells[0]
        out += ["", group.upper(), "", *table(HEAD, rows, widest=WIDEST)]
    out += ["", "SOURCES", ""]
    for k, (source, status) in enumerate(sources, start=1):
        out.append(paragraph(f"{source} ({status})", indent="      ", first=f"  [{k}] "))
    if details:
        for _, items in groupby(outcomes, key=lambda o: o.check.name):
            out += ["", *detail_lines(list(items))]
    else:
        out += ["", "One check with its working: surge verify --only NAME --details"]
    return out


def detail_lines(outcomes: Sequence[Outcome]) -> list[str]:
    """Return one check in lines, so that it can be redone with a pocket calculator."""
    c = outcomes[0].check
    out = [f"{c.name}: {c.title}", ""]
    out.append(paragraph(f"{c.source} ({c.status}: {STATUS[c.status]})", indent="    ", first="  Source: "))
    if c.given:
        out.append("  Given:")
        out += [f"    {g.symbol} = {g.value:.10g} {g.unit}   {g.what}" for g in c.given]
    if c.working:
        out.append("  Working:")
        for line in work(c):
            words = f"   ({line.words})" if line.words else ""
            out.append(f"    {line.text} = {line.value:.9g}{words}")
    else:
        out.append("  Working: none for a pocket calculator; the source names the calculation.")
    out.append(f"  Program ({c.program}):")
    for o in outcomes:
        f = o.figure
        out.append(
            f"    {f.what}: expected {f.expected:.10g}, program {o.got:.10g}, tolerance {f.tolerance:.2g} "
            f"{f.unit}: {WITHIN if o.within else OUTSIDE}"
        )
    if outcomes[0].refused:
        out.append(paragraph(outcomes[0].refused, indent="    ", first="    it refused: "))
    out.append(paragraph(c.why, indent="    ", first="  Tolerance: "))
    return out


def proof_document(outcomes: Sequence[Outcome], *, version: str) -> VerifyDocument:
    """Return the answer as a document; ``version`` is that of the program."""
    return VerifyDocument(
        program=Program(version=version),
        verdict="within" if all(o.within for o in outcomes) else "outside",
        checks=tuple(check_json(list(items)) for _, items in groupby(outcomes, key=lambda o: o.check.name)),
    )


# The page: blocks of ("title", "section", "check", "text" or "lines"; text) and ("table"; head, rows)

Block = tuple[Any, ...]


def _page(outcomes: Sequence[Outcome], version: str) -> list[Block]:
    blocks: list[Block] = [
        ("title", "Verification of surge"),
        ("text", verdict_line(outcomes)),
        *(("text", t) for t in ABOUT),
        (
            "text",
            f"Written by surge {version}: surge verify --page FILE. Any row is redone on your machine, with "
            "its inputs, working and source, by surge verify --only NAME --details.",
        ),
        ("text", CAUTIONS[0]),
        ("text", "How far a source was seen: " + "; ".join(f"{k}: {v}" for k, v in STATUS.items()) + "."),
    ]
    sources = _sources(outcomes)
    for group, items in groupby(outcomes, key=lambda o: o.check.group):
        listed = list(items)
        rows = [_cells(o, sources.index((o.check.source, o.check.status)) + 1) for o in listed]
        blocks += [("section", capital(group)), ("table", HEAD, rows)]
    blocks.append(("section", "Sources"))
    blocks.append(
        (
            "table",
            ("", "source", "status"),
            [(f"[{k}]", s, status) for k, (s, status) in enumerate(sources, start=1)],
        )
    )
    blocks.append(("section", "Workings"))
    for _, items in groupby(outcomes, key=lambda o: o.check.name):
        blocks += _working_blocks(next(items).check)
    return blocks


def _working_blocks(c: Check) -> list[Block]:
    lines = [f"{g.symbol} = {g.value:.10g} {g.unit}   {g.what}" for g in c.given]
    for line in work(c):
        lines.append(f"{line.text} = {line.value:.7g}" + (f"   ({line.words})" if line.words else ""))
    return [
        ("check", c.name),
        ("text", f"{capital(c.title)}. Source ({c.status}): {c.source}. Tolerance: {c.why}."),
        *([("lines", "\n".join(lines))] if lines else []),
    ]


def _markdown(blocks: Iterable[Block]) -> str:
    marks = {"title": "# ", "section": "## ", "check": "### "}
    out: list[str] = []
    for kind, *rest in blocks:
        if kind == "table":
            head, rows = rest
            out.append("| " + " | ".join(_escaped(c) for c in head) + " |")
            out.append("|" + "---|" * len(head))
            out += ["| " + " | ".join(_escaped(c) for c in row) + " |" for row in rows]
        elif kind == "lines":
            out += [f"    {line}" for line in rest[0].splitlines()]
        else:
            out.append(marks.get(kind, "") + (_escaped(rest[0]) if kind == "text" else rest[0]))
        out.append("")
    return "\n".join(out)


def _escaped(text: str) -> str:
    for mark in ("\\", "|", "*", "_", "<", "[", "]"):
        text = text.replace(mark, f"\\{mark}")
    return text


STYLE = (
    "body{font:15px/1.45 sans-serif;max-width:75em;margin:2em auto;padding:0 1em;color:#111}"
    "table{border-collapse:collapse;font-size:13px;width:100%}"
    "th,td{border-bottom:1px solid #ccc;padding:3px 8px;text-align:left;vertical-align:top}"
    "pre{background:#f4f4f4;padding:8px;overflow-x:auto}h3{margin-top:2em}"
    "td.OUTSIDE{font-weight:bold;background:#fd6}@media print{body{max-width:none;font-size:10px}}"
)


def _cell(text: str, *, link: bool) -> str:
    """Return one cell; with ``link`` it leads to the working of the check that it names."""
    shown_as = html.escape(text)
    if link:
        return f'<td><a href="#{shown_as}">{shown_as}</a></td>'
    return f'<td class="{OUTSIDE}">{shown_as}</td>' if text == OUTSIDE else f"<td>{shown_as}</td>"


def _html(blocks: Iterable[Block]) -> str:
    tags = {"title": "h1", "section": "h2", "check": "h3", "text": "p", "lines": "pre"}
    head = f'<meta charset="utf-8"><title>Verification of surge</title><style>{STYLE}</style>'
    out = [f'<!doctype html><html lang="en">{head}']
    for kind, *rest in blocks:
        if kind == "table":
            head, rows = rest
            out.append("<table><tr>" + "".join(f"<th>{html.escape(c)}</th>" for c in head) + "</tr>")
            for row in rows:
                cells = (_cell(c, link=head == HEAD and k == 0) for k, c in enumerate(row))
                out.append("<tr>" + "".join(cells) + "</tr>")
            out.append("</table>")
        else:
            name = f' id="{html.escape(rest[0])}"' if kind == "check" else ""
            out.append(f"<{tags[kind]}{name}>{html.escape(rest[0])}</{tags[kind]}>")
    return "\n".join([*out, "</html>", ""])


def proof_page(outcomes: Sequence[Outcome], *, version: str, kind: str) -> str:
    """Return the page that tells every check with its source and working.

    Parameters
    ----------
    outcomes : sequence of Outcome
    version : str
        Of the program.
    kind : str
        "md" or "html".
    """
    blocks = _page(outcomes, version)
    return _markdown(blocks) if kind == "md" else _html(blocks)
