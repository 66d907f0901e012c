"""The stages of a loading that a case describes; every shutdown is run at each of them.

Decisions
---------
* A stage is a rate, levels and openings: those of a ``[[stage]]``, and those of every scenario, whether or
  not it names its stage. A shutdown can come at each of them; where flow and levels differ so do the waves.
* A scenario of a stage that the case describes by itself begins with what that says, where it says nothing
  else.
* Two stages with one rate, the same levels and the same openings are one.
* A shutdown keeps its own movements, pressures that are shut in and valves that are shut at first; only what
  flows and stands differs. It is left out at a stage only where the case says why.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

from surge.case.notes import Notes
from surge.case.size import RUNS, SCENARIOS
from surge.errors import Origin, meant
from surge.model.lineup import LineUp, Scenario, Stage
from surge.toml.text import shown

AT = {"start": "at the start", "bulk": "in bulk", "topping off": "while topping off"}


@dataclass(frozen=True, kw_only=True)
class State:
    """What flows and stands at a stage.

    Attributes
    ----------
    stage, source : str
        "start", "bulk", "topping off" or ""; the scenario that describes it, "" for a stage of its own.
    """

    stage: str
    source: str
    rate: float | None
    by_mass: bool
    levels: tuple[tuple[str, float], ...]
    openings: tuple[tuple[str, float], ...]
    origin: Origin


def begun_with(scenario: Scenario, stages: Sequence[Stage]) -> Scenario:
    """Return a scenario with what the stage that it names says, where it says nothing else itself."""
    stage = next((s for s in stages if s.name == scenario.stage), None)
    if stage is None:
        return scenario
    rate = (stage.rate, stage.by_mass) if scenario.rate is None else (scenario.rate, scenario.by_mass)
    return replace(
        scenario,
        rate=rate[0],
        by_mass=rate[1],
        levels=tuple((dict(stage.levels) | dict(scenario.levels)).items()),
        openings=tuple((dict(stage.openings) | dict(scenario.openings)).items()),
    )


def at_every_stage(lineup: LineUp, notes: Notes) -> LineUp:
    """Return the line-up with each of its shutdowns at every stage that the case describes.

    Parameters
    ----------
    lineup : LineUp
        With the scenarios that stand in the case.
    notes : Notes
        Takes the faults: stages that a shutdown cannot leave out, and more scenarios than are run.
    """
    states = list(_states(lineup))
    made: list[Scenario] = []
    known = {(_acts(s), _flows(lineup, state_of(s))) for s in lineup.scenarios}
    names = {s.name for s in lineup.scenarios}
    for scenario in lineup.scenarios:
        made.append(scenario)
        if scenario.ordered is None:
            continue
        others = [s for s in states if _flows(lineup, s) != _flows(lineup, state_of(scenario))]
        _refuse_unknown(scenario, others, notes)
        for state in others:
            left_out = {state.stage, state.source} & dict(scenario.not_at).keys()
            variant = _repeated(scenario, state, states, names)
            key = (_acts(variant), _flows(lineup, state))
            if not left_out and key not in known:
                known.add(key)
                names.add(variant.name)
                made.append(variant)
    _refuse_too_many(lineup, made, notes)
    return lineup.with_(scenarios=tuple(made))


def state_of(scenario: Scenario) -> State:
    """What flows and stands in a scenario."""
    return State(
        stage=scenario.stage,
        source=scenario.name,
        rate=scenario.rate,
        by_mass=scenario.by_mass,
        levels=scenario.levels,
        openings=scenario.openings,
        origin=scenario.origin,
    )


def _states(lineup: LineUp) -> Iterator[State]:
    """Every stage that the case describes, each once."""
    own = (
        State(
            stage=s.name,
            source="",
            rate=s.rate,
            by_mass=s.by_mass,
            levels=s.levels,
            openings=s.openings,
            origin=s.origin,
        )
        for s in lineup.stages
    )
    seen = set()
    for state in (*own, *map(state_of, lineup.scenarios)):
        if (flows := _flows(lineup, state)) not in seen:
            seen.add(flows)
            yield state


def _flows(lineup: LineUp, state: State) -> tuple[object, ...]:
    """Rate, levels and openings as they are, wherever they are written."""
    agreed = (lineup.rate.agreed, lineup.rate.by_mass) if lineup.rate else (None, False)
    levels = {t.name: t.level for t in lineup.tanks} | dict(state.levels)
    openings = {v.name: v.opening for v in lineup.valves} | dict(state.openings)
    rate = agreed if state.rate is None else (state.rate, state.by_mass)
    return rate, tuple(sorted(levels.items())), tuple(sorted(openings.items()))


def _acts(scenario: Scenario) -> tuple[object, ...]:
    """What is done in a scenario, wherever it is written."""
    valves = tuple(replace(m, origin=()) for m in scenario.moves)
    pumps = tuple(replace(m, origin=()) for m in scenario.pump_moves)
    trips = tuple(replace(t, origin=()) for t in scenario.trips)
    return valves, pumps, trips, scenario.timing, scenario.ordered, scenario.trapped, scenario.shut_at_start


def _repeated(scenario: Scenario, state: State, states: Sequence[State], names: set[str]) -> Scenario:
    alone = state.stage in AT and (not state.source or sum(s.stage == state.stage for s in states) == 1)
    name = f"{scenario.name}, {AT[state.stage] if alone else f'as in {state.source}'}"
    while name in names:
        name += ", again"
    return replace(
        scenario,
        name=name,
        note=scenario.note,
        stage=state.stage,
        repeats=scenario.name,
        not_at=(),
        rate=state.rate,
        by_mass=state.by_mass,
        levels=state.levels,
        openings=state.openings,
        origin=state.origin,
    )


def _refuse_unknown(scenario: Scenario, others: Sequence[State], notes: Notes) -> None:
    """Note stages that are left out though the shutdown would not be run at them."""
    known = list(dict.fromkeys(n for s in others for n in (s.stage, s.source) if n))
    for name, reason in scenario.not_at:
        path = (*scenario.origin, "shutdown", "not_at", name)
        if not reason.strip():
            notes.fault(path, "no reason", "why no shutdown comes at this stage", "write the reason")
        if name in known:
            continue
        listed = ", ".join(f'"{n}"' for n in known)
        near = meant(name, known)
        remedy = f'did you mean "{near}"?' if near else "write one of them, or take it out"
        if not known:
            listed, remedy = "there is none but its own", "take not_at out"
        notes.fault(path, shown(name), f"another stage, or scenario, of the case: {listed}", remedy)


def _refuse_too_many(lineup: LineUp, made: Sequence[Scenario], notes: Notes) -> None:
    more = len(made) - len(lineup.scenarios)
    most = min(SCENARIOS, RUNS // max(1, len(lineup.elements)))
    if more and len(made) > most:
        notes.fault(
            ("scenario",),
            f"{len(made)} scenarios, with every shutdown at every stage that the case describes",
            f"at most {most} with {len(lineup.elements)} elements",
            "leave stages out with not_at and the reason, or make several cases of it",
        )
