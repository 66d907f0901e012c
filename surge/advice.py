"""What to do about the weakest place, in order. Advice to try and to check again, never a promise."""

from __future__ import annotations

from surge.assess import Assessment
from surge.lineup import LineUp, Scenario
from surge.result import ScenarioResult
from surge.topology import PipelinePeriod
from surge.verdict import UNDECIDED, WITHIN, Finding
from surge.words import Shown


def closing_moves(scenario: Scenario) -> list[tuple[str, float]]:
    """Valves that a scenario moves and the time of their whole stroke [s]."""
    return [(m.valve, m.law[-1][0]) for m in scenario.moves]


def gentleness(lineup: LineUp, run: ScenarioResult, say: Shown) -> list[str]:
    """For each valve that moves: its stroke beside its pipeline period."""
    scenario = next(s for s in lineup.scenarios if s.name == run.name)
    periods = {p.valve: p for p in run.periods}
    return [
        f'"{valve}" strokes in {say.time(time)} s{_beside(periods[valve], time, say)}'
        for valve, time in closing_moves(scenario)
    ]


def _beside(period: PipelinePeriod, time: float, say: Shown) -> str:
    longest = period.longest
    if longest <= 0:
        return ""
    words = f"; its pipeline period is {say.time(longest)} s"
    if time <= longest:
        return words + ": the flow stops as if at once"
    return words + f", {time / longest:.1f} times in the stroke"


def settled(lineup: LineUp, finding: Finding, run: ScenarioResult) -> float:
    """Pressure at the finding's place over the last fifth of the run, on average [Pa gauge]."""
    ends = {e.name: (e.start, e.end) for e in lineup.elements}
    points = ends[finding.name] if finding.subject == "element" else (finding.name,)
    return max(float(p[-(p.size // 5 + 1) :].mean()) for p in (run.history.pressure[q] for q in points))


def _upper(lineup: LineUp, finding: Finding, run: ScenarioResult | None, say: Shown) -> list[str]:
    moves = "; ".join(gentleness(lineup, run, say)) if run else ""
    rest = settled(lineup, finding, run) if run else 0.0
    if run and finding.limit is not None and rest > finding.limit:
        return [
            f"No stroke time helps: when all has come to rest the pressure still stands at about "
            f"{say.pressure(rest, unit=True)}, above the limit.",
            "Lower the rate or the pressure from the shore, or open another way for the flow first.",
            "Or use a part with a rating above it.",
        ]
    steps = [
        "Lower the rate: the rise above the steady pressure falls about in step with it.",
        "Close more slowly, above all the last part of the stroke, where most of the flow is cut off"
        + (f" ({moves})." if moves else "."),
        "If neither will do: relief or a surge tank, designed by those who are qualified to.",
    ]
    if finding.subject == "place" and "pump" in finding.limit_source:
        steps.append("See the ship's own manual for what the cargo pump may bear.")
    return steps


def _lower(lineup: LineUp, run: ScenarioResult | None, say: Shown) -> list[str]:
    moves = "; ".join(gentleness(lineup, run, say)) if run else ""
    return [
        "Lower the rate: the fall of pressure behind a closing valve or a stopping pump falls with it.",
        "Let what stops the flow from the shore (pump, shore valve) act more slowly, or shut the ship's "
        "valve so that the line does not run empty behind it" + (f" ({moves})." if moves else "."),
        "Raise the pressure on that part (level or blanket pressure), or ask what vacuum its maker allows.",
    ]


def _static(say: Shown, finding: Finding) -> list[str]:
    assert finding.margin is not None
    return [
        "No stroke time helps: any valve shut against the running pump ends at this pressure.",
        f"Bring the shut-off pressure down by {say.difference(-finding.margin)} at least: another pump, a "
        "lower pump speed, a lower tank, or a pump that stops before a valve shuts and stays stopped.",
        "Or use a part with a rating above it.",
    ]


def advice(assessment: Assessment, say: Shown) -> list[str]:
    """Return what to do, in the order in which to try it.

    Parameters
    ----------
    assessment : Assessment
    say : Shown
        Units of the figures in it.
    """
    finding, lineup = assessment.weakest, assessment.lineup
    if finding is None:
        return []
    run = next((r for r in assessment.scenarios if r.name == finding.scenario), None)
    if assessment.verdict == WITHIN:
        return [
            "Keep to the rate, the stroke times and the order of this case; check again when one changes."
        ]
    if finding.verdict == UNDECIDED:
        return _undecided(assessment)
    if finding.check == "static":
        return _static(say, finding)
    if finding.check == "steady":
        return [
            "Lower the rate, or throttle nearer to the shore: this pressure stands before any valve moves.",
            "Or use a part with a rating above it.",
        ]
    if finding.check in ("lowest", "vapour"):
        return _lower(lineup, run, say)
    return _upper(lineup, finding, run, say)


def _undecided(assessment: Assessment) -> list[str]:
    reasons: dict[str, list[str]] = {}
    for f in assessment.findings:
        if f.verdict == UNDECIDED and f.name not in reasons.setdefault(f.reason, []):
            reasons[f.reason].append(f.name)
    return [f"{reason} ({_few(names)})." for reason, names in reasons.items()] + [
        "Until it is decided, treat it as exceeded: lower the rate or close more slowly, and check again."
    ]


def _few(names: list[str]) -> str:
    shown = ", ".join(f'"{n}"' for n in names[:4])
    return shown + (f" and {len(names) - 4} more" if len(names) > 4 else "")
