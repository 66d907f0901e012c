"""What to do about a case that is not kept: what was tried and keeps everything, and why the rest does not.

Nothing is advised that was not run (:mod:`surge.search.remedies`). Where nothing was tried, the answer says
so and names what the case lacks; it does not guess.
"""

from __future__ import annotations

from surge.model.lineup import LineUp, Scenario
from surge.model.topology import PipelinePeriod
from surge.phrases import capital
from surge.reports.fillings import BY_HAND, broken_fillings
from surge.reports.remedies import in_vain_words, quoted, remedy_words
from surge.reports.words import Display
from surge.rules.assess import Assessment
from surge.rules.findings import EXCEEDED, UNDECIDED, WITHIN, Finding
from surge.rules.heads import shut_off_heads
from surge.rules.rulings import Ruling
from surge.search.judged import goes_by_runs
from surge.search.remedies import Advised, Cause
from surge.transient.result import Closure, ScenarioResult


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
    head = max(shut_off_heads(lineup).values())
    return max(min(_rest(run, p), lineup.pressure_at(p, head)) for p in points_of(lineup, finding))


KEEP_TO = "Keep to the rate, the stroke times and the order of this case; check again when one changes."
NOT_TRIED = "Remedies were not tried here. To have them tried: surge check CASE, without --no-remedies."
ANY_OF = "Each of these was run, and by itself keeps every limit and every required rule:"
THE_ONE = "This was run, and keeps every limit and every required rule:"
WHEN_WRITTEN = "What is said above has to be written first; the rest was run without it."
TOO_MUCH = "Not everything was tried: it would have taken more than about a minute (--patient tries it all)."
NOTHING = (
    "Nothing that was tried keeps every limit and every required rule. What is left is another line-up, or "
    "relief or a surge tank, designed by those who are qualified to."
)
SIZES = (
    "Which size of the relief valve or surge drum of this case would keep every limit is searched by: surge "
    "window CASE --sizes."
)
RUN_WITHOUT = "What stands above was run without what the case still lacks:"
LACKS = "Remedies are tried when nothing is missing. Until then treat it as exceeded."
OLDER_BERTH = (
    "Where another time limit holds at this berth, write the date of its first transfer under [berth], "
    "or the rule in a file of rules; local codes win."
)
MANUAL = "See the ship's own manual for what the cargo pump may bear."
NAMED = 4  # parts by name in a sentence; the others are counted
ON_TIME = ("time to stop the flow", "total shutdown time")


def advice(assessment: Assessment, display: Display) -> list[str]:
    """Return what to do: the cause, what mends the case, and what does not, each in a sentence.

    Parameters
    ----------
    assessment : Assessment
        With the remedies that were tried, if it is an :class:`surge.search.remedies.Advised` one.
    display : Display
        Units of the figures in it.
    """
    if assessment.verdict == WITHIN:
        return [] if assessment.weakest is None else [KEEP_TO]
    by_hand = [BY_HAND] if broken_fillings(assessment.fillings) else []
    if assessment.of_scenarios == WITHIN:
        return by_hand
    return [*_of_scenarios(assessment, display), *by_hand]


def _of_scenarios(assessment: Assessment, display: Display) -> list[str]:
    """What to do about scenarios that are not kept."""
    tried = assessment.remedies if isinstance(assessment, Advised) else None
    if tried is None or tried.missing:
        return [*_to_write(assessment), LACKS if tried is not None else NOT_TRIED, *_feared(assessment)]
    lacks = _to_write(assessment) if tried.lacking else []
    # Where a pressure is exceeded, what brings it down is what the reader came for.
    worst = assessment.weakest
    first = worst is None or worst.verdict != EXCEEDED
    said = [*lacks, WHEN_WRITTEN] if tried.lacking and first else []
    said += [cause_words(tried.cause, display)] if tried.cause is not None else []
    said += _explained(assessment, display)
    if tried.found:
        told = [remedy_words(one, assessment.lineup, display) for one in tried.found]
        said += [f"{THE_ONE} {told[0]}"] if len(told) == 1 else [ANY_OF, *told]
    elif tried.complete:
        said.append(NOTHING)
    if assessment.lineup.relieving:
        said.append(SIZES)
    said += in_vain_words(tried.in_vain)
    if not tried.complete:
        said.append(TOO_MUCH)
    if lacks and not first:
        said += [RUN_WITHOUT, *lacks]
    return [*said, *_besides(assessment, display), *_feared(assessment)]


def _to_write(assessment: Assessment) -> list[str]:
    """What the case lacks, in words; each thing once, with the parts that lack it."""
    rules: dict[str, list[str]] = {}
    for r in assessment.broken:
        words, name = r.to_write or _to_mend(r), f'"{r.subject}"'
        names = rules.setdefault(words.replace(name, "{}"), [])
        if r.subject not in names:
            names.append(r.subject)
    reasons: dict[str, list[str]] = {}
    for f in assessment.findings:
        wanted = f.margin is None or "Find " in f.reason or assessment.verdict == UNDECIDED
        if f.verdict == UNDECIDED and wanted and f.name not in reasons.setdefault(f.reason, []):
            reasons[f.reason].append(f.name)
    lacking = [f"{capital(reason)} ({_few(names)})." for reason, names in reasons.items()]
    written = (words.replace("{}", _few(names)) for words, names in rules.items() if words)
    return [*dict.fromkeys(written), *lacking]


def _to_mend(ruling: Ruling) -> str:
    """What a rule on the case as a whole asks for; nothing that moves would mend it."""
    by_case = ruling.scenario == "" and not goes_by_runs(ruling)
    return f"Mend what the rule speaks of: {ruling.rule.text}" if by_case else ""


def _few(names: list[str]) -> str:
    if len(names) <= NAMED:
        return quoted(names)
    return ", ".join(f'"{n}"' for n in names[:NAMED]) + f" and {len(names) - NAMED} more"


def cause_words(cause: Cause, display: Display) -> str:
    """What makes the pressure, and what it would be without that."""
    f, high = cause.finding, cause.finding.check == "peak"
    place = f'the place "{f.name}"' if f.subject == "place" else f'"{f.name}"'
    write = display.round_up if high else display.round_down
    what = "peak" if high else "low pressure"
    if cause.alone:
        return f'The {what} in "{f.scenario}" comes from {quoted(cause.names)}: nothing else moves.'
    movement = "this movement" if len(cause.names) == 1 else "these movements"
    without = f"without {movement}, and with all others, the pressure in {place} "
    without += f"{'rises' if high else 'falls'} to {write(cause.without, unit=True)} only"
    if f.check == "vapour" and cause.enough:
        without += ", and the cargo does not boil there"
    elif not cause.enough:
        without += ", which is still beyond the limit"
    return f'The {what} in "{f.scenario}" comes from {quoted(cause.names)}: {without}.'


def _explained(assessment: Assessment, display: Display) -> list[str]:
    """Why no stroke can help, where the pressure that stands is too high already."""
    finding = assessment.weakest
    if finding is None or finding.limit is None or finding.verdict != EXCEEDED:
        return []
    if finding.check == "static":
        return ["No stroke time helps: any valve shut against the running pump ends at this pressure."]
    run = assessment.run_of(finding)
    if finding.check != "peak" or run is None:
        return []
    stands = unavoidable(assessment.lineup, finding, run)
    if stands is None or stands <= finding.limit:
        return []
    said = (
        f"No stroke time helps: when all has come to rest the pressure still stands at about "
        f"{display.round_up(stands, unit=True)}, above the limit."
    )
    pump_top = finding.subject == "place" and "pump" in finding.limit_source
    return [said, MANUAL] if pump_top else [said]


def _feared(assessment: Assessment) -> list[str]:
    """Peaks that a march tells after the cargo has boiled: not valid, and a warning all the same."""
    finding = assessment.weakest
    if finding is None or finding.check not in ("lowest", "vapour"):
        return []
    beyond = (f for f in assessment.findings if f.check == "peak" and (f.margin or 0.0) < 0.0)
    names = quoted(dict.fromkeys(f.scenario for f in beyond))
    return [f"Peaks above a limit are to be expected besides, in {names}: see there."] if names else []


def _besides(assessment: Assessment, display: Display) -> list[str]:
    """A surge that is shut in, and a berth whose time limit may be another."""
    finding, said = assessment.weakest, []
    run = assessment.run_of(finding) if finding is not None else None
    if finding is not None and run is not None and finding.check == "peak" and finding.limit is not None:
        rest, stands = (f(assessment.lineup, finding, run) for f in (settled, unavoidable))
        if rest is not None and stands is not None and stands <= finding.limit < rest:
            said.append(
                f"Mind that the pressure is still about {display.round_up(rest, unit=True)} when the run "
                "ends: the surge is shut in. Letting it down is for the terminal's procedure, before "
                "anything is opened."
            )
    if any(r.rule.measure in ON_TIME and r.verdict == EXCEEDED for r in assessment.broken):
        said.append(OLDER_BERTH)
    return said
