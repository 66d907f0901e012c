"""Figures of a case that a record can tell: where each stands in the text, and its text with other values.

Decisions
---------
* A trial is the text of the case with other values in it, read as any case is. So what is fitted is what the
  written copy means, and whatever hangs on a figure (fittings that lose more in a rough pipe, steps that
  wait for a valve) goes with it.
* A figure that the case does not give as a number takes the place of what led to it: a wave speed that of
  wall and restraint, a Kv that of a Cv. What it replaces stays in the copy as a comment.
* Of ``ALL`` pipes one factor on the figure of each is fitted, not one figure for all: a hose stays softer
  than a pipe.
* Positive figures are sought by their logarithm, instants as they are.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from decimal import Decimal
from typing import Any

from surge.case.file import Case, read_case
from surge.errors import Origin, RequestError, meant
from surge.hydraulics.fixed import at_shares, scenario_at
from surge.model.lineup import LineUp, Passage, PumpMove, Scenario, Valve, ValveMove
from surge.model.ranges import usual_shares
from surge.model.validation_fields import WAVE_SPEED_EXCESS
from surge.toml.positions import Stretch
from surge.toml.rewrite import Written, written
from surge.units import quoted

WAVE_SPEED, ROUGHNESS, MINOR_LOSS, KV = "wave speed", "roughness", "minor loss", "Kv"
STROKE, START, RUN_DOWN, INERTIA = "stroke", "start", "run-down", "inertia"
KINDS = (WAVE_SPEED, ROUGHNESS, MINOR_LOSS, KV, STROKE, START, RUN_DOWN, INERTIA)
ALL = "all"
SI_UNIT = {
    WAVE_SPEED: "m/s",
    ROUGHNESS: "m",
    MINOR_LOSS: "1",
    KV: "m3/h",
    STROKE: "s",
    START: "s",
    RUN_DOWN: "s",
    INERTIA: "kg m2",
}
# How far first guesses are spread about the case's own figure: a factor e**x; of an instant, in seconds.
SPREAD = {
    WAVE_SPEED: 0.2,
    ROUGHNESS: 1.2,
    MINOR_LOSS: 0.7,
    KV: 0.6,
    STROKE: 0.35,
    RUN_DOWN: 0.5,
    INERTIA: 0.5,
}
START_SPREAD = 2.0  # [s]
WIDEST = 10.0  # times its own figure, or a part of it, to which a figure is sought
LATER = 60.0  # [s] earlier or later than in the case that an instant is sought
# What stands in the case may be no more and no less: as its own keys are bounded.
BOUNDS = {
    WAVE_SPEED: (50.0, 3000.0),
    ROUGHNESS: (1e-7, 0.02),
    MINOR_LOSS: (1e-3, 1e4),
    KV: (0.01, 1e6),
    STROKE: (0.05, 3600.0),
    START: (0.0, 86400.0),
    RUN_DOWN: (0.05, 3600.0),
    INERTIA: (0.001, 1e6),
}
_SMOOTH, _NO_LOSS = 1e-5, 0.1  # [m], [-] where the search begins, of a figure that is nought in the case
_LED_TO = {  # keys that a figure takes the place of
    WAVE_SPEED: ("wall", "modulus", "poisson", "restraint", "restraint_factor", "swell", "swell_at"),
    ROUGHNESS: ("condition",),
    KV: ("cv", "rated_flow", "rated_head", "loss_factor", "inside_diameter"),
}
Values = Sequence[float]


@dataclass(frozen=True, kw_only=True)
class Target:
    """One value in the text of the case that goes by a figure.

    Attributes
    ----------
    path : Origin
    make : callable
        Gives the value, as it stands in TOML, of the figure in SI.
    """

    path: Origin
    make: Callable[[float], Any]


@dataclass(frozen=True, kw_only=True)
class Figure:
    """A figure that is to be fitted.

    Attributes
    ----------
    kind : str
        One of ``KINDS``.
    name : str
        The element; ``ALL`` for a factor on the figure of every pipe, hose and arm.
    value : float
        As the case has it, in SI; a Kv in m3/h; of ``ALL`` the factor 1.
    first : float
        Where the search begins: ``value``, or near it where that is nought.
    low, high : float
        Between which it is sought.
    scale : float
        What a change of it is held against: itself, of an instant how long the movement takes [s].
    """

    kind: str
    name: str
    value: float
    first: float
    low: float
    high: float
    scale: float
    targets: tuple[Target, ...] = field(repr=False)

    @property
    def factor(self) -> bool:
        """Whether it is a factor on the figures of all pipes."""
        return self.name == ALL and len(self.targets) != 1

    @property
    def unit(self) -> str:
        """In SI."""
        return "1" if self.factor else SI_UNIT[self.kind]

    @property
    def logarithmic(self) -> bool:
        """Whether it is sought by its logarithm."""
        return self.kind != START

    @property
    def spread(self) -> float:
        """How far first guesses are spread, in what it is sought by."""
        return SPREAD.get(self.kind, START_SPREAD)

    def sought(self, value: float) -> float:
        """Return what is sought in the place of a value."""
        return math.log(value) if self.logarithmic else value

    def value_of(self, sought: float) -> float:
        """Return the value of what is sought."""
        return math.exp(sought) if self.logarithmic else sought


def plain_number(value: float) -> str:
    """Return a number as a case file may have it: twelve figures, without an exponent."""
    return format(Decimal(f"{value:.12g}"), "f")


def _in_unit(unit: str, factor: float = 1.0) -> Callable[[float], str]:
    return lambda value: f"{plain_number(value * factor)} {unit}"


_WRITE: Mapping[str, Callable[[float], Any]] = {
    WAVE_SPEED: _in_unit("m/s"),
    ROUGHNESS: _in_unit("mm", 1e3),
    MINOR_LOSS: lambda value: float(f"{value:.12g}"),
    KV: _in_unit("m3/h"),
    STROKE: _in_unit("s"),
    START: _in_unit("s"),
    RUN_DOWN: _in_unit("s"),
    INERTIA: lambda value: float(f"{value:.12g}"),
}


def _times(write: Callable[[float], Any], own: float) -> Callable[[float], Any]:
    return lambda factor: write(factor * own)


_KEY = {WAVE_SPEED: "wave_speed", ROUGHNESS: "roughness", MINOR_LOSS: "minor_loss", KV: "kv"}


class FittedText:
    """The text of a case in which some figures can be given other values.

    Parameters
    ----------
    case : Case
    figures : sequence of Figure
    """

    def __init__(self, case: Case, figures: Sequence[Figure]) -> None:
        self.filename, self.figures = case.filename, tuple(figures)
        self.base = Written(case.file.text)
        self.replaced: dict[Origin, list[str]] = {}
        for figure in figures:
            for target in figure.targets:
                self._make_room(figure, target)

    def _make_room(self, figure: Figure, target: Target) -> None:
        """Let a key stand where the figure goes; what led to it before is noted and taken out."""
        above = target.path[:-1]
        for key in _LED_TO.get(figure.kind, ()):
            if self.base.has((*above, key)):
                kept = f"{key} = {written(self.base.at((*above, key)))}"
                self.replaced.setdefault(target.path, []).append(kept)
                self.base.unset((*above, key))
        if target.path not in self.base.places.values:
            self.base.set(target.path, target.make(figure.first))

    def stretches(self, values: Values) -> list[tuple[Stretch, Any]]:
        """Return where in the text each value stands, and what stands there for ``values`` in SI."""
        return [
            (self.base.places.values[target.path], target.make(value))
            for figure, value in zip(self.figures, values, strict=True)
            for target in figure.targets
        ]

    def text(self, values: Values) -> str:
        """Return the text with ``values`` in SI, in the order of the figures."""
        text = self.base.text
        for stretch, value in sorted(self.stretches(values), key=lambda c: -c[0].start):
            text = text[: stretch.start] + written(value) + text[stretch.end :]
        return text

    def line_up(self, values: Values, scenario: str) -> tuple[LineUp, Scenario]:
        """Return the line-up and the scenario with ``values``; what the case leaves as a range is as usual.

        Raises
        ------
        CaseError
            With these values it is no case.
        """
        lineup = read_case(self.text(values), filename=self.filename).lineup
        fixed = at_shares(lineup, usual_shares(lineup))
        found = next(s for s in lineup.scenarios if s.name == scenario)
        return fixed, scenario_at(found, lineup, fixed)


# Which figures are asked for


def figures_of(case: Case, scenario: Scenario, asked: Mapping[str, Sequence[str]]) -> tuple[Figure, ...]:
    """Return the figures that are asked for.

    Parameters
    ----------
    case : Case
    scenario : Scenario
        In which things move.
    asked : mapping of str to sequence of str
        Kind to names of elements.

    Raises
    ------
    RequestError
        A name that the case does not have, a figure that stands for nothing in it, or none at all.
    """
    found: list[Figure] = []
    for kind, names in asked.items():
        for name in names:
            figure = _figure(case, scenario, kind, name)
            taken = {t.path for f in found for t in f.targets}
            if taken & {t.path for t in figure.targets}:
                raise RequestError(f"the {kind} of {quoted(name)} is asked for twice: leave one out")
            found.append(figure)
    if not found:
        example = quoted(case.lineup.pipes[0].name) if case.lineup.pipes else ALL
        raise RequestError(
            f"nothing is to be fitted: say which figure the record is to tell, such as --wave-speed {example}"
        )
    return tuple(found)


def _figure(case: Case, scenario: Scenario, kind: str, name: str) -> Figure:
    lineup = case.lineup
    if kind in (WAVE_SPEED, ROUGHNESS, MINOR_LOSS):
        return _of_pipes(lineup, kind, name)
    if kind == KV:
        orifices: list[Valve | Passage] = [*lineup.valves, *lineup.passages]
        kvs = {e.name: e for e in orifices}
        valve = kvs[_known(name, list(kvs), "valve, pump that is passed, or fixed loss")]
        return _positive(kind, name, valve.kv, (Target(path=(*valve.origin, "kv"), make=_WRITE[kind]),))
    if kind == INERTIA:
        pumps = {p.name: p for p in lineup.pumps if p.turning is not None}
        pump = pumps[_known(name, list(pumps), "pump with inertia_kg_m2")]
        assert pump.turning is not None
        if pump.name not in [trip.pump for trip in scenario.trips]:
            raise RequestError(
                f"{quoted(name)} does not trip in {quoted(scenario.name)}, so that its inertia moves nothing"
            )
        targets = (Target(path=(*pump.origin, "inertia_kg_m2"), make=_WRITE[kind]),)
        return _positive(kind, name, pump.turning.inertia, targets)
    return _of_movement(case, scenario, kind, name)


def _known(name: str, known: Sequence[str], what: str) -> str:
    if name in known:
        return name
    near = meant(name, known)
    remedy = f"did you mean {quoted(near)}?" if near else f"it has {', '.join(map(quoted, known)) or 'none'}"
    raise RequestError(f"the case has no {what} {quoted(name)}: {remedy}")


def _positive(kind: str, name: str, value: float, targets: tuple[Target, ...]) -> Figure:
    nought = {ROUGHNESS: _SMOOTH, MINOR_LOSS: _NO_LOSS}.get(kind, 0.0)
    least, most = BOUNDS[kind]
    first = min(max(value or nought, least * WIDEST), most / WIDEST) if value <= least else value
    low, high = max(least, first / WIDEST), min(most, first * WIDEST)
    if kind in (ROUGHNESS, MINOR_LOSS):  # known least of all
        low, high = least, most
    return Figure(
        kind=kind, name=name, value=value, first=first, low=low, high=high, scale=first, targets=targets
    )


def _of_pipes(lineup: LineUp, kind: str, name: str) -> Figure:
    pipes = {p.name: p for p in lineup.pipes}
    of = {WAVE_SPEED: "wave_speed", ROUGHNESS: "roughness", MINOR_LOSS: "minor_loss"}[kind]
    if name != ALL or name in pipes:
        pipe = pipes[_known(name, list(pipes), "pipe, hose or arm")]
        target = Target(path=(*pipe.origin, _KEY[kind]), make=_WRITE[kind])
        made = _positive(kind, name, getattr(pipe, of), (target,))
        return made if kind != WAVE_SPEED else replace(made, high=min(made.high, _fastest(lineup)))
    own = {p.origin: getattr(p, of) for p in lineup.pipes if getattr(p, of) > 0.0}
    if not own:
        raise RequestError(f"the {kind} of all pipes is nought, which no factor changes: name one pipe")
    least, most = BOUNDS[kind]
    targets = tuple(
        Target(path=(*origin, _KEY[kind]), make=_times(_WRITE[kind], value)) for origin, value in own.items()
    )
    low, high = max(least / v for v in own.values()), min(most / v for v in own.values())
    if kind == WAVE_SPEED:
        high = min(high, *(_fastest(lineup) / v for v in own.values()))
        low = max(low, 1.0 / WIDEST)
    return Figure(kind=kind, name=ALL, value=1.0, first=1.0, low=low, high=high, scale=1.0, targets=targets)


def _fastest(lineup: LineUp) -> float:
    """The greatest wave speed that a case may state: a wall only ever slows a wave down."""
    return lineup.liquid.sound_speed * WAVE_SPEED_EXCESS


# What moves


def _of_movement(case: Case, scenario: Scenario, kind: str, name: str) -> Figure:
    moves: list[ValveMove | PumpMove] = [*scenario.moves, *scenario.pump_moves]
    if kind == STROKE:
        moves = list(scenario.moves)
    elif kind == RUN_DOWN:
        moves = list(scenario.pump_moves)
    names = [m.valve if isinstance(m, ValveMove) else m.pump for m in moves]
    words = {STROKE: "valve", RUN_DOWN: "pump"}.get(kind, "valve or pump")
    if name not in names:
        near = meant(name, names)
        listed = ", ".join(map(quoted, dict.fromkeys(names))) or "none"
        remedy = f"did you mean {quoted(near)}?" if near else f"there moves {listed}"
        raise RequestError(f"no {words} {quoted(name)} moves in {quoted(scenario.name)}: {remedy}")
    if names.count(name) > 1:
        raise RequestError(
            f"{quoted(name)} moves {names.count(name)} times in {quoted(scenario.name)}: make a scenario of "
            "the one movement that was recorded"
        )
    move = moves[names.index(name)]
    time = move.law[-1][0]
    if kind == START:
        return _start(move, name, time)
    if time <= 0.0:
        raise RequestError(
            f"{quoted(name)} moves in no time in {quoted(scenario.name)}: write a law with a stroke, such as "
            '"10 s", from which the search can begin'
        )
    entry = Written(case.file.text).at(move.origin)
    return _positive(kind, name, time, _targets(move, entry, time))


def _start(move: ValveMove | PumpMove, name: str, time: float) -> Figure:
    step = bool(move.side)
    path = (*move.origin, "wait" if step else "at")
    before = move.start - move.wait if step else 0.0
    low, high = max(before, BOUNDS[START][0], move.start - LATER), min(BOUNDS[START][1], move.start + LATER)
    return Figure(
        kind=START,
        name=name,
        value=move.start,
        first=move.start,
        low=low,
        high=high,
        scale=max(time, 1.0),
        targets=(Target(path=path, make=lambda value: _WRITE[START](max(value - before, 0.0))),),
    )


def _targets(move: ValveMove | PumpMove, entry: Mapping[str, Any], time: float) -> tuple[Target, ...]:
    """What stretches with the whole time of a movement: its key, a break in the stroke, a table."""

    def stretched_by(key: str, own: float) -> Target:
        return Target(path=(*move.origin, key), make=lambda value: _WRITE[STROKE](own * value / time))

    def table(value: float) -> Any:
        return [[_WRITE[STROKE](t * value / time), x] for t, x in move.law]

    for key in ("table", "run_down", "run_up"):
        if isinstance(entry.get(key), list) and entry[key]:
            return (Target(path=(*move.origin, key), make=table),)
    if isinstance(move, PumpMove):
        return (stretched_by("run_down" if "run_down" in entry else "run_up", time),)
    if "break_time" in entry:
        return stretched_by("stroke", time), stretched_by("break_time", move.law[1][0])
    return (stretched_by("stroke", time),)
