"""At which stages of the loading a shutdown was run, and at which it was not, in words."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from surge.case.stages import AT
from surge.model.lineup import LineUp, Scenario


def stage_lines(lineup: LineUp) -> list[str]:
    """Return sentences: where each shutdown was run besides, where not and why, which stages are not known.

    Parameters
    ----------
    lineup : LineUp
    """
    shutdowns = [s for s in lineup.scenarios if s.ordered is not None and not s.repeats]
    found = [words for one in shutdowns for words in _sentences(lineup.scenarios, one)]
    told = {s.stage for s in lineup.scenarios} | {s.name for s in lineup.stages}
    lacking = [s for s in AT if s not in told]
    if shutdowns and lacking and len(lacking) < len(AT):
        found.append(f"The case describes no {_listed(lacking, 'or')}: nothing is known of a shutdown then.")
    return found


def _sentences(scenarios: Sequence[Scenario], one: Scenario) -> list[str]:
    again = [s.name.removeprefix(f"{one.name}, ") for s in scenarios if s.repeats == one.name]
    found = [f'The shutdown "{one.name}" was also run {_listed(again)}.'] if again else []
    return found + [f'"{one.name}" was not run at {stage}: {why.rstrip(".")}.' for stage, why in one.not_at]


def _listed(names: Iterable[str], joint: str = "and") -> str:
    *first, last = names
    return f"{', '.join(first)} {joint} {last}" if first else last
