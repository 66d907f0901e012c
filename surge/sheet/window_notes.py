"""What the sheet says of the windows as a whole, and of what was not searched."""

from __future__ import annotations

from collections.abc import Iterable

from surge.model.lineup import LineUp
from surge.reports.window import all_named, boiling_bounds, heads, opening_words
from surge.reports.words import SHORT, Display
from surge.rules.findings import WITHIN
from surge.search.joint import SHORTEST, JointSet
from surge.search.movers import closing_valves
from surge.search.window import Windows


def window_notes(windows: Windows | None, reason: str, display: Display) -> tuple[str, ...]:
    """What holds for the windows as a whole."""
    if windows is None:
        return (reason,)
    said = []
    groups = dict.fromkeys(p.together for parts in windows.by_valve.values() for p in parts)
    for valves, parts in heads(windows.by_valve):
        valve = valves[0]
        if len(parts) > 1:
            said.append(f"{all_named(valves)}, in all scenarios: {_over_all(windows, valve)}.")
            groups.pop(valves, None)
        opening = windows.opens_at.get(valve)
        if opening is not None and opening.share is not None:
            rate = opening_words(opening, display)
            stroke = f"{opening.stroke:.1f} s"
            said.append(f"{all_named(valves)}: a window opens at {rate} and below, with {stroke}.")
    said += [f"{all_named(one)}: their window holds for that stroke." for one in groups if len(one) > 1]
    said.append("Each window holds with everything else as on this sheet.")
    if boils := boiling_bounds(windows):
        said.append(boils)
    if windows.together is not None and len(windows.together.strokes) > 1:
        said.append(together_words(windows.together))
    return tuple(said)


def together_words(made: JointSet) -> str:
    """The set of strokes that was run as such."""
    strokes = ", ".join(f'"{v}" {s:.1f} s' for v, s in made.strokes.items())
    if made.way != SHORTEST:
        how = "All at their shortest together exceed a limit; none is exceeded with"
        return f"{how} {strokes}."
    verdict = f"pressures {SHORT[made.pressures]}"
    if made.verdict != made.pressures:
        verdict += f", rules {SHORT[made.verdict]}"
    not_so = "" if made.verdict == WITHIN else ": do not set them so together"
    return f"All at their shortest together ({strokes}): {verdict}{not_so}."


def not_searched(lineup: LineUp, windows: Windows | None) -> tuple[str, ...]:
    """Valves that close but have no window, and scenarios for which no safe rates were searched."""
    if windows is None:
        return ()
    closing = dict.fromkeys(v for s in lineup.scenarios for v in closing_valves(lineup, s))
    valves = [v for v in closing if v not in windows.by_valve]
    rated = {r.scenario for r in windows.rates}
    rates = [s.name for s in lineup.scenarios if s.name not in rated] if lineup.rate else []
    said = []
    if valves:
        said.append(
            f"Not searched: windows of {_named(valves)}, which the case does not mark as adjustable. The "
            "sheet holds for the strokes above, neither faster nor slower."
        )
    if rates:
        said.append(f"Not searched: safe rates for {_named(rates)}. The sheet holds for the rate above only.")
    if lineup.rate is None:
        said.append(
            "No rate is agreed, and no safe rates were searched. The sheet holds for what flows only."
        )
    return tuple(said)


def _named(names: Iterable[str]) -> str:
    return ", ".join(f'"{name}"' for name in names)


def _over_all(windows: Windows, valve: str) -> str:
    shortest, longest = windows.bounds(valve)
    if shortest is None:
        return "no stroke is safe"
    if longest is None:
        return f"not faster than {shortest:.1f} s"
    empty = ", so there is none" if shortest > longest else ""
    return f"not faster than {shortest:.1f} s, not slower than {longest:.1f} s{empty}"


def fully_searched(lineup: LineUp, windows: Windows | None) -> bool:
    """Whether windows were searched, or nothing closes that could have one."""
    return windows is not None or not any(closing_valves(lineup, s) for s in lineup.scenarios)
