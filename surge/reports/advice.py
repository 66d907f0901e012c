"""What to do about the weakest place, in order. Advice to try and to check again, never a promise."""

from __future__ import annotations

from surge.model.lineup import LineUp, Scenario
from surge.model.topology import PipelinePeriod
from surge.reports.words import Display
from surge.rules.assess import Assessment
from surge.rules.findings import EXCEEDED, UNDECIDED, WITHIN, Finding, valid
from surge.rules.heads import shut_off_heads
from surge.transient.result import Closure, ScenarioResult

STRONGER = "Or use a part with a rating above it."


def gentleness(lineup: LineUp, run: ScenarioResult, display: Display) -> list[str]:
    """For each valve that moves: its whole stroke beside its pipeline period."""
    scenario: Scenario = next(s for s in lineup.scenarios if s.name == run.name)
    periods = {p.valve: p for p in run.periods}
    closures = {c.valve: c for c in reversed(run.closures)}
    said = []
    for move in scenario.moves:
        time = move.law[-1][0]
        opens = move.law[-1][1] > move.law[0][1]
        stroke = f"in {display.time(time)} s" if time > 0 else "at once"
        words = f'"{move.valve}" {"opens" if opens else "closes"} {stroke}'
        words += _beside(periods[move.valve], time, display, opens=opens)
        said.append(words + _how_gentle(closures.get(move.valve), display))
    return said


def _how_gentle(closure: Closure | None, display: Display) -> str:
    """What the flow through a closing valve does; the surge goes by its fall within one period."""
    if closure is None or closure.period <= 0:
        return ""
    part = min(closure.greatest_fall, 1.0) * 100
    words = f"; up to {part:.0f} % of its flow is lost within one period"
    if closure.effective is None:
        return words
    return f"{words}, and it falls from 95 to 5 % in {display.time(closure.effective)} s"


def _beside(period: PipelinePeriod, time: float, display: Display, *, opens: bool) -> str:
    longest = period.longest
    if longest <= 0:
        return ""
    words = f"; its pipeline period is {display.time(longest)} s"
    if time <= longest:
        return f"{words}: the flow {'starts' if opens else 'stops'} as if at once"
    return f"{words}, {time / longest:.1f} times in the stroke"


def points_of(lineup: LineUp, finding: Finding) -> tuple[str, ...]:
    """The ends of an element, or the place itself."""
    if finding.subject == "place":
        return (finding.name,)
    return next((e.start, e.end) for e in lineup.elements if e.name == finding.name)


def settled(lineup: LineUp, finding: Finding, run: ScenarioResult) -> float:
    """Pressure at the finding's place over the last fifth of the run, on average [Pa gauge]."""
    return max(_rest(run, point) for point in points_of(lineup, finding))


def _rest(run: ScenarioResult, point: str) -> float:
    pressure = run.history.pressure[point]
    return float(pressure[-(pressure.size // 5 + 1) :].mean())


def unavoidable(lineup: LineUp, finding: Finding, run: ScenarioResult) -> float | None:
    """Pressure that stands at the end of the run however slowly a valve moves [Pa gauge]; None: unknown.

    What stands at the end can also be a surge that a non-return valve has shut in, and that a slower
    closure would not have made. No head without a surge is above the greatest shut-off head.
    """
    if run.vapour is not None or any(s.shut_off is None for s in lineup.supplies):
        return None
    head, rho_g = max(shut_off_heads(lineup).values()), lineup.liquid.density * lineup.gravity
    return max(
        min(_rest(run, p), rho_g * (head - lineup.points_by_name[p].elevation))
        for p in points_of(lineup, finding)
    )


def _upper(lineup: LineUp, finding: Finding, run: ScenarioResult, display: Display) -> list[str]:
    moves = "; ".join(gentleness(lineup, run, display))
    assert finding.limit is not None
    pump_top = finding.subject == "place" and "pump" in finding.limit_source
    ask = "See the ship's own manual for what the cargo pump may bear."
    stands = unavoidable(lineup, finding, run)
    if stands is not None and stands > finding.limit:
        return [
            f"No stroke time helps: when all has come to rest the pressure still stands at about "
            f"{display.round_up(stands, unit=True)}, above the limit.",
            "Lower the rate or the pressure from the shore, or open another way for the flow first.",
            ask if pump_top else STRONGER,
        ]
    steps = [
        "Lower the rate: the rise above the steady pressure falls about in step with it.",
        "Close more slowly, above all the last part of the stroke, where most of the flow is cut off"
        + (f" ({moves})." if moves else "."),
        "If neither will do: relief or a surge tank, designed by those who are qualified to.",
    ]
    if pump_top:
        steps.append(ask)
    rest = settled(lineup, finding, run)
    if stands is not None and rest > finding.limit:
        steps.append(
            f"Mind that the pressure is still about {display.round_up(rest, unit=True)} when the run ends: "
            "the surge is shut in. Letting "
            "it down is for the terminal's procedure, before anything is opened."
        )
    return steps


def _lower(lineup: LineUp, run: ScenarioResult, display: Display) -> list[str]:
    moves = "; ".join(gentleness(lineup, run, display))
    return [
        "Lower the rate: the fall of pressure falls about in step with it.",
        "Stop the flow more slowly: pressure falls on the ship's side of a valve that shuts, and after a "
        "pump that stops" + (f" ({moves})." if moves else "."),
        "Or change the order: let the valve nearest to the ship's tank shut before those towards the shore, "
        "and check the peaks again.",
        "Or raise the pressure on that part (level or blanket pressure); ask what vacuum its maker allows.",
    ]


def _static(display: Display, finding: Finding) -> list[str]:
    assert finding.margin is not None
    return [
        "No stroke time helps: any valve shut against the running pump ends at this pressure.",
        f"Bring the shut-off pressure down by {display.margin(finding.margin, unit=True).removeprefix('-')} "
        "at least: another pump, a lower pump speed, a lower tank, or a pump that stops before a valve shuts "
        "and stays stopped.",
        STRONGER,
    ]


def advice(assessment: Assessment, display: Display) -> list[str]:
    """Return what to do, in the order in which to try it.

    Parameters
    ----------
    assessment : Assessment
    display : Display
        Units of the figures in it.
    """
    finding = assessment.weakest
    if assessment.broken and (finding is None or finding.verdict != assessment.verdict):
        return _by_rules(assessment)
    if finding is None:
        return []
    if assessment.verdict == WITHIN:
        return [
            "Keep to the rate, the stroke times and the order of this case; check again when one changes."
        ]
    if finding.verdict == UNDECIDED:
        return _undecided(assessment)
    return [
        *_exceeded(assessment, finding, display),
        *_besides(assessment, finding, display),
        *_rules_besides(assessment),
    ]


_SLOW = (
    "Shorten the chain: an earlier signal, less waiting, valves that move together, or a shorter stroke; "
    "then check the surge again. If both cannot be had, lower the rate."
)
_FAST = "Lower the rate, or load into more tanks at once."
_REMEDY = {
    "time to stop the flow": _SLOW,
    "total shutdown time": _SLOW,
    "shutdown time over time to fill the ullage": "Order the stop earlier (more ullage), lower the rate into "
    "that tank, or stop faster; then check the surge again.",
    "time from the shore's stop to the ship's first valve": "Let the shore stop first: put its pump or valve "
    "before the ship's valve in the chain.",
    "velocity": _FAST,
    "velocity at the inlets of ship's tanks": _FAST,
}


def _by_rules(assessment: Assessment) -> list[str]:
    """What to do where every pressure is kept and a rule is not."""
    broken = [r for r in assessment.broken if r.verdict == assessment.verdict]
    said = dict.fromkeys(
        r.to_write or _REMEDY.get(r.rule.measure) or f"Mend what the rule speaks of: {r.rule.text}"
        for r in broken
    )
    if not any(_REMEDY.get(r.rule.measure) == _SLOW for r in broken):
        return list(said)
    return [
        *said,
        "Where another time limit holds at this berth, write the date of its first transfer under [berth], "
        "or the rule in a file of rules; local codes win.",
    ]


def _rules_besides(assessment: Assessment) -> list[str]:
    """Where a rule on time is broken as well, slower movements make that worse: say so."""
    slow = [r for r in assessment.broken if _REMEDY.get(r.rule.measure) == _SLOW and r.verdict == EXCEEDED]
    if not slow:
        return []
    return [
        f"The shutdown takes too long besides ({slow[0].rule.name}): what is slower for the surge makes that "
        "worse, so that a lower rate is the way to both."
    ]


def _exceeded(assessment: Assessment, finding: Finding, display: Display) -> list[str]:
    run = assessment.run_of(finding)
    if run is None:
        return _static(display, finding)
    if finding.check == "steady":
        return [
            "Lower the rate, or throttle nearer to the shore: this pressure stands before any valve moves.",
            STRONGER,
        ]
    if finding.check in ("lowest", "vapour"):
        return _lower(assessment.lineup, run, display)
    return _upper(assessment.lineup, finding, run, display)


def _besides(assessment: Assessment, governing: Finding, display: Display) -> list[str]:
    """What the steps above do not mend: other kinds of limits that are exceeded too."""
    over: dict[str, Finding] = {}
    for f in assessment.findings:
        if f.verdict == EXCEEDED and f.check != governing.check:
            over.setdefault("low" if f.check in ("lowest", "vapour") else f.check, f)
    own = "low" if governing.check in ("lowest", "vapour") else governing.check
    said = []
    if "static" in over:
        said.append(
            f'Shut-off pressure alone is above the limit of "{over["static"].name}": '
            "no stroke time mends that."
        )
    if "low" in over and own != "low":
        f = over["low"]
        value = valid(f, assessment.run_of(f)).value
        said.append(
            f'In the scenario "{f.scenario}" the pressure falls too low besides, to '
            f'{display.round_down(value or 0.0, unit=True)} in "{f.name}": try stopping the flow more slowly '
            "there too."
        )
    peaks = dict.fromkeys(
        f.scenario for f in assessment.findings if f.check == "peak" and (f.margin or 0.0) < 0.0
    )
    if peaks and own == "low":
        names = ", ".join(f'"{name}"' for name in peaks)
        said.append(f"Peaks above a limit are to be expected besides, in the scenario {names}: see there.")
    return said


def _undecided(assessment: Assessment) -> list[str]:
    reasons: dict[str, list[str]] = {}
    for f in assessment.findings:
        if f.verdict == UNDECIDED and f.name not in reasons.setdefault(f.reason, []):
            reasons[f.reason].append(f.name)
    return [f"{reason[0].upper()}{reason[1:]} ({_few(names)})." for reason, names in reasons.items()] + [
        "Until it is decided, treat it as exceeded: lower the rate or close more slowly, and check again."
    ]


def _few(names: list[str]) -> str:
    shown = ", ".join(f'"{n}"' for n in names[:4])
    return shown + (f" and {len(names) - 4} more" if len(names) > 4 else "")
