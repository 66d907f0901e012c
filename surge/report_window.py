"""The window of each valve as text and as JSON."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Any

from surge.assess import Assessment
from surge.lineup import LineUp
from surge.ratelimit import RateLimit
from surge.report_json import finding
from surge.report_text import table
from surge.rulebook import LOCAL_CODES
from surge.strokelimits import StrokeLimits
from surge.verdict import EXCEEDED, UNDECIDED, WITHIN, Finding
from surge.window import Windows
from surge.words import CAUTIONS, HEADLINE, SHORT, Shown, against, paragraph, what_happens

Json = dict[str, Any]
VERDICT = {WITHIN: "A WINDOW IS OPEN", EXCEEDED: "NO WINDOW", UNDECIDED: HEADLINE[UNDECIDED]}


def bounds(shortest: float | None, longest: float | None) -> str:
    """The window of a valve in words."""
    if shortest is None:
        return "no stroke time is safe"
    fast = f"close no faster than {shortest:.1f} s"
    if longest is None:
        return f"{fast}; no rule on time bounds it from above"
    if longest <= 0.0:
        return f"{fast}; and every stroke is too slow for the rules on time: the window is empty"
    if shortest > longest:
        return f"{fast}, no slower than {longest:.1f} s: the window is empty"
    return f"{fast}, no slower than {longest:.1f} s"


def window_lines(windows: Windows, lineup: LineUp, say: Shown, *, more: Sequence[str] = ()) -> list[str]:
    """All lines of the answer; ``more`` is what was asked beside the windows."""
    out = [paragraph(lineup.title), "", f"VERDICT: {VERDICT[windows.verdict]}", ""]
    for valve, parts in windows.by_valve.items():
        shortest, longest = windows.bounds(valve)
        out.append(paragraph(f'"{valve}": {bounds(shortest, longest)}.', indent="    "))
        for part in parts:
            out += [paragraph(line, indent="      ", first="    ") for line in _why(part, say)]
        out.append("")
    out += _rates(windows.rates, say)
    out += _joint(windows)
    out += ["Strokes looked at, everything else as in the case", *_proof(windows), ""]
    out += more
    out += [paragraph(LOCAL_CODES), "", "Cautions"]
    return out + [paragraph(c, indent="  ", first="- ") for c in CAUTIONS]


def _why(part: StrokeLimits, say: Shown) -> list[str]:
    """What governs in one scenario."""
    said = []
    where = f'In "{part.scenario}"'
    if part.shortest is None:
        said.append(f"{where}: {part.reason}{_named(part.governs, part, say)}.")
    elif part.shortest <= part.from_:
        said.append(
            f"{where}: {part.from_:g} s, the shortest looked at, is safe{_named(part.governs, part, say)}."
        )
    else:
        said.append(f"{where}: {part.shortest:.1f} s or more{_named(part.governs, part, say)}.")
    if part.slow_rule is not None:
        limit = f"at most {part.longest:.1f} s" if part.longest else "no stroke is short enough"
        rule = part.slow_rule
        said.append(f'{where}: {limit} by the rule "{rule.name}", {rule.figure_text} [{rule.source}].')
    return said


def _named(finding: Finding | None, part: StrokeLimits, say: Shown) -> str:
    if finding is None or finding.value is None:
        return ""
    whose = f'"{finding.name}"'
    return f"; {whose} governs: {what_happens(finding, part.run, say)}; {against(finding, part.run, say)}"


def _rates(rates: Sequence[RateLimit], say: Shown) -> list[str]:
    if not rates:
        return []
    out = ["Greatest safe rate at the strokes of the case (it and every lower rate are safe)"]
    for rate in rates:
        if rate.greatest is None:
            words = "none was found"
        elif rate.greatest >= rate.to * 0.999:
            words = f"{say.flow(rate.greatest)} or more, as far as it was looked"
        else:
            words = say.flow(rate.greatest)
        governs = f'; beyond it "{rate.governs.name}" governs' if rate.governs and rate.greatest else ""
        text = f'"{rate.scenario}": {words}{governs} (agreed: {say.flow(rate.agreed)}).'
        out.append(paragraph(text, indent="      ", first="    "))
        if rate.unsafe_below:
            low, high = rate.unsafe_below
            words = f"lower ones between {say.flow(low)} and {say.flow(high)} are not"
            out.append(
                paragraph(f"The agreed rate itself is safe; {words}.", indent="      ", first="      ")
            )
    return [*out, ""]


def _joint(windows: Windows) -> list[str]:
    """The set that goes on the sheet, run as such."""
    made: Assessment | None = windows.joint
    if made is None:
        return []
    strokes = ", ".join(f'"{v}" {s:.1f} s' for v, s in windows.joint_strokes.items())
    text = f"All together at their shortest ({strokes}): {SHORT[made.verdict]}"
    if made.weakest is not None and made.verdict != WITHIN:
        text += f'; "{made.weakest.name}" in "{made.weakest.scenario}" governs'
    return [paragraph(f"{text}.", indent="    "), ""]


def _proof(windows: Windows) -> list[str]:
    rows = []
    for parts in windows.by_valve.values():
        for p in parts:
            method = p.run.method if p.run else None
            rows.append(
                (
                    p.valve,
                    p.scenario,
                    str(len(p.looked)),
                    f"{p.from_:g} to {p.to:g}",
                    f"{p.period:.2f}",
                    f"{method.dt * 1e3:.2f}" if method else "-",
                    f"{method.worst_error / 1e5:.3f}" if method else "-",
                )
            )
    head = ("valve", "scenario", "strokes", "from to s", "period s", "step ms", "error bar")
    return table(head, rows, left=2)


def _limits(part: StrokeLimits) -> Json:
    return {
        "scenario": part.scenario,
        "pipeline_period_s": part.period,
        "stroke_in_case_s": part.stroke,
        "shortest_safe_stroke_s": part.shortest,
        "longest_allowed_stroke_s": part.longest,
        "longest_by_rule": part.slow_rule.id if part.slow_rule else None,
        "looked_from_s": part.from_,
        "looked_to_s": part.to,
        "governs": finding(part.governs) if part.governs else None,
        "reason": part.reason,
        "verdict": part.verdict,
        "confirmed_with": None
        if part.run is None
        else {
            "time_step_s": part.run.method.dt,
            "nodes": part.run.method.nodes,
            "worst_error_pa": part.run.method.worst_error,
        },
        "looked_at": [
            {
                "stroke_s": x.value,
                "margin_pa": x.near.margin if abs(x.near.margin) < 1e300 else None,
                "where": x.near.held.key[1],
            }
            for x in part.looked
        ],
    }


def window_document(windows: Windows, head: Json, cautions: Iterable[str]) -> Json:
    """Return the answer as plain lists and dicts; ``head`` says which program and case."""
    return {
        **head,
        "verdict": windows.verdict,
        "exit_code": windows.exit_code,
        "valves": [
            {
                "valve": valve,
                "shortest_safe_stroke_s": windows.bounds(valve)[0],
                "longest_allowed_stroke_s": windows.bounds(valve)[1],
                "words": bounds(*windows.bounds(valve)),
                "scenarios": [_limits(p) for p in parts],
            }
            for valve, parts in windows.by_valve.items()
        ],
        "rates": [
            {
                "scenario": r.scenario,
                "agreed_m3_per_s": r.agreed,
                "greatest_safe_m3_per_s": r.greatest,
                "looked_to_m3_per_s": r.to,
                "governs": finding(r.governs) if r.governs else None,
                "unsafe_below_agreed_m3_per_s": list(r.unsafe_below) if r.unsafe_below else None,
            }
            for r in windows.rates
        ],
        "joint": None
        if windows.joint is None
        else {"strokes_s": windows.joint_strokes, "verdict": windows.joint.verdict},
        "rules_note": LOCAL_CODES,
        "cautions": list(cautions),
    }
