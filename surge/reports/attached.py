"""What relief valves do, in words."""

from __future__ import annotations

import math

from surge.reports.words import Display
from surge.rules.assess import Assessment
from surge.transient.result import ReliefResult, ScenarioResult

DIGITS = 2  # of a volume that is spilled: more would not be true


def spilled(volume: float) -> str:
    """Return a volume [m3] with its unit, rounded up."""
    if volume <= 0.0:
        return "0 m3"
    step = 10.0 ** (math.floor(math.log10(volume)) - DIGITS + 1)
    return f"{math.ceil(volume / step - 1e-9) * step:.{max(0, -round(math.log10(step)))}f} m3"


def relief_line(relief: ReliefResult, display: Display) -> str:
    """Return what a relief valve does in a scenario, as a sentence without its stop."""
    if relief.opened is None:
        return f'relief valve "{relief.name}" stays shut'
    return (
        f'relief valve "{relief.name}" opens at {display.time(relief.opened)} s, lifts to '
        f"{relief.lift * 100:.0f} % and spills {spilled(relief.passed)}"
    )


def relief_sentences(assessment: Assessment, display: Display) -> list[str]:
    """Return one sentence for each relief valve: where it stands, and the most that it does.

    Parameters
    ----------
    assessment : Assessment
    display : Display
        Units of the output.
    """
    runs: dict[str, list[tuple[ScenarioResult, ReliefResult]]] = {}
    for run in assessment.scenarios:
        for relief in run.relief_valves:
            runs.setdefault(relief.name, []).append((run, relief))
    return [_sentence(pairs, display) for pairs in runs.values()]


def _sentence(pairs: list[tuple[ScenarioResult, ReliefResult]], display: Display) -> str:
    one = pairs[0][1]
    opened = [(run, relief) for run, relief in pairs if relief.opened is not None]
    place = (
        f'Relief valve "{one.name}" at {one.point}, set at {display.pressure(one.set_pressure, unit=True)}'
    )
    if not opened:
        return f"{place}, stays shut in every scenario."
    run, most = max(opened, key=lambda pair: pair[1].passed)
    lift = max(relief.lift for _, relief in opened)
    return (
        f'{place}, lifts to {lift * 100:.0f} % and spills at most {spilled(most.passed)} ("{run.name}"). '
        "What is kept is kept because it opens: its vessel must take that, and the valve must be fit and "
        "tested."
    )
