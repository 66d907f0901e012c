"""What would decide the limits that records leave open, in words."""

from __future__ import annotations

from surge.reports.words import paragraph
from surge.rules.findings import UNDECIDED
from surge.units import printable
from surge.valves.findings import Findings
from surge.valves.judge import (
    ALONE,
    DELAY_LACKS,
    DELAY_WITHIN,
    NEVER,
    NO_TEMPERATURE,
    NOT_SAID_TIMED,
    NOT_SAID_WITH,
    OFF_TEMPERATURE,
    OVERDUE,
    WITH_OTHERS,
    SideState,
)

DECIDES = {  # why a side is open -> what would decide it
    NEVER: "Time it at normal temperature, alone and together with the others that move with it",
    NOT_SAID_WITH: "Write alone or together in a column of its own, or say --tested alone (or together) if "
    "it holds for the whole file; shares_power = false in the limits file says that it makes no difference",
    ALONE: "Time it together with the others that move with it as well, or state shares_power = false in the "
    "limits file if it has a power supply of its own",
    WITH_OTHERS: "Time it alone as well, or state shares_power = false in the limits file if it has a power "
    "supply of its own",
    NOT_SAID_TIMED: "Write in a column from what to what it was timed, or say --timed order (or movement)",
    DELAY_WITHIN: "State its signal_delay in the limits file, or time the movement of the spindle",
    DELAY_LACKS: "State its signal_delay in the limits file, or time it from the order",
    NO_TEMPERATURE: "Write the oil temperature at the test in a column",
    OFF_TEMPERATURE: "Time it again at normal temperature",
    OVERDUE: "Time it again",
    "row ": "Put the refused row right, and run it again",
}


def would_decide(reason: str) -> str:
    """What would decide a side that is open for a reason; "" where no one thing would."""
    return next((action for known, action in DECIDES.items() if reason.startswith(known)), "")


def open_lines(findings: Findings) -> list[str]:
    """What would decide the limits that are open, the one that decides most of them first."""
    sides = [s for v in findings.valves for s in v.sides if s.verdict == UNDECIDED]
    wanted: dict[str, list[SideState]] = {}
    for side in sides:
        if action := would_decide(side.reason):
            wanted.setdefault(action, []).append(side)
    if not wanted:
        return []
    out = [f"What would decide {'the limit' if len(sides) == 1 else f'the {len(sides)} limits'} left open"]
    for action, open_ in sorted(wanted.items(), key=lambda pair: -len(pair[1])):
        tags = list(dict.fromkeys(printable(s.tag) for s in open_))
        named = ", ".join(tags[:6]) + (f" and {len(tags) - 6} more" if len(tags) > 6 else "")
        text = f"{len(open_)} ({named}): {action}."
        out.append(paragraph(text, indent="      ", first="  "))
    return [*out, ""]
