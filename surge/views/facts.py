"""A line-up as a list of single facts, so that two line-ups can be held side by side.

Values are in SI. The kind of a fact says which unit its value has and how it is written.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass

from surge.model.lineup import (
    Element,
    LineUp,
    NonReturnValve,
    Passage,
    Pipe,
    PumpMove,
    Scenario,
    Table,
    Valve,
    ValveMove,
)
from surge.model.way import kind_of

Value = float | str | bool | None
Key = tuple[str, str, str]  # table, name, quantity

# Kind of a quantity -> unit of its figure.
KINDS = {
    "pressure": "Pa gauge",
    "absolute": "Pa absolute",
    "flow": "m3/s",
    "length": "m",
    "diameter": "m",
    "time": "s",
    "density": "kg/m3",
    "speed": "m/s",
    "viscosity": "m2/s",
    "temperature": "K",
    "volume": "m3",
    "kv": "m3/h of water at 1 bar",
    "number": "1",
    "word": "",
}


@dataclass(frozen=True, kw_only=True)
class Fact:
    """One thing that a case says.

    Attributes
    ----------
    kind : str
        A key of :data:`KINDS`, which tells the unit.
    value : float, str, bool or None
        [the unit of its kind]; None where the case gives none.
    """

    kind: str
    value: Value


@dataclass(frozen=True, kw_only=True)
class Change:
    """One thing that two cases do not say alike.

    Attributes
    ----------
    table, name, quantity : str
        Where it stands: "pipe", the name of the pipe, "length". Without a quantity: the whole part is in one
        case only.
    before, after : Fact or None
        None where that case has no such thing at all.
    """

    table: str
    name: str
    quantity: str
    before: Fact | None
    after: Fact | None


def changes(before: dict[Key, Fact], after: dict[Key, Fact]) -> tuple[Change, ...]:
    """Return what differs, in the order of the cases; for a part that only one case has, one change."""
    found: list[Change] = []
    alone: set[tuple[str, str]] = set()
    parts = ({k[:2] for k in before}, {k[:2] for k in after})
    for key in dict.fromkeys([*before, *after]):
        one, other = before.get(key), after.get(key)
        if one == other:
            continue
        if key[:2] not in parts[0] or key[:2] not in parts[1]:
            if key[:2] not in alone:
                alone.add(key[:2])
                there = Fact(kind="word", value=key[0])
                here = key[:2] in parts[0]
                found.append(
                    Change(
                        table=key[0],
                        name=key[1],
                        quantity="",
                        before=there if here else None,
                        after=None if here else there,
                    )
                )
            continue
        found.append(Change(table=key[0], name=key[1], quantity=key[2], before=one, after=other))
    return tuple(found)


def facts_of(lineup: LineUp) -> dict[Key, Fact]:
    """Return everything that a line-up says, without its scenarios, in the order of a case file."""
    return {
        (table, name, quantity): Fact(kind=kind, value=value)
        for table, name, quantity, kind, value in _facts(lineup)
    }


def scenario_facts(lineup: LineUp, scenario: Scenario) -> dict[Key, Fact]:
    """Return everything that a scenario says, without its name: pairs may have different names."""
    return {
        ("scenario", name, quantity): Fact(kind=kind, value=value)
        for name, quantity, kind, value in _scenario(lineup, scenario)
    }


Row = tuple[str, str, str, str, Value]


def _facts(lineup: LineUp) -> Iterator[Row]:
    liquid = lineup.liquid
    for quantity, kind, value in (
        ("name", "word", liquid.name),
        ("density", "density", liquid.density),
        ("sound speed", "speed", liquid.sound_speed),
        ("viscosity", "viscosity", liquid.viscosity),
        ("vapour pressure", "absolute", liquid.vapour_pressure),
        ("temperature", "temperature", liquid.temperature),
        ("accumulates static charge", "word", _yes_or_no(liquid.static_accumulator)),
    ):
        yield "liquid", "", quantity, kind, value
    yield "site", "", "pressure of the air", "absolute", lineup.atmosphere
    yield "site", "", "gravity, m/s2", "number", lineup.gravity
    for quantity, words in (
        ("terminal", lineup.berth.terminal),
        ("name", lineup.berth.name),
        ("ship", lineup.berth.ship),
    ):
        yield "berth", "", quantity, "word", words or None
    yield "berth", "", "parcel", "volume", lineup.berth.parcel
    for quantity, day in (
        ("first transfer", lineup.berth.first_transfer),
        ("transfer", lineup.berth.transfer),
    ):
        yield "berth", "", quantity, "word", str(day) if day else None
    yield "berth", "", "operation", "word", lineup.berth.operation
    yield "berth", "", "hazardous cargo", "word", _yes_or_no(lineup.berth.hazardous)
    yield "calculation", "", "friction", "word", "frozen" if lineup.frozen_friction else "local flow"
    yield "calculation", "", "share of free gas", "number", lineup.free_gas
    yield "calculation", "", "gas all through the liquid", "number", lineup.gas_content or None
    with_it = "once more with it" if lineup.unsteady_friction else "no"
    yield "calculation", "", "unsteady friction", "word", with_it
    yield "limits", "", "top of a cargo pump", "pressure", lineup.pump_top_limit
    rate = lineup.rate
    yield "rate", "", "agreed rate", "flow", rate.agreed if rate else None
    yield "rate", "", "means", "word", f"{rate.means} at {rate.at}" if rate else None
    yield from _ends(lineup)
    for element in lineup.elements:
        yield from _element(element)
    yield from _readings(lineup)


def _ends(lineup: LineUp) -> Iterator[Row]:
    for p in lineup.points:
        yield "point", p.name, "elevation", "length", p.elevation
        yield "point", p.name, "closed end", "word", _yes_or_no(p.closed)
        yield "point", p.name, "top of a cargo pump", "word", _yes_or_no(p.pump_top)
        yield "point", p.name, "limit", "pressure", p.limit
    for t in lineup.tanks:
        yield "tank", t.name, "stands at", "word", t.point
        yield "tank", t.name, "side", "word", t.side
        yield "tank", t.name, "level", "length", t.level
        yield "tank", t.name, "blanket pressure", "pressure", t.blanket
        yield "tank", t.name, "ullage", "volume", t.ullage
    for s in lineup.supplies:
        yield "supply", s.name, "stands at", "word", s.point
        yield "supply", s.name, "pressure", "pressure", s.pressure
        yield "supply", s.name, "shut-off pressure", "pressure", s.shut_off
    for r in lineup.relief_valves:
        yield "relief valve", r.name, "stands at", "word", r.point
        yield "relief valve", r.name, "set pressure", "pressure", r.set_pressure
        yield "relief valve", r.name, "pressure of full lift", "pressure", r.full_pressure
        yield "relief valve", r.name, "Kv", "kv", r.kv
        yield from _span("relief valve", r.name, "set pressures, Pa", r.set_range)
        yield from _span("relief valve", r.name, "least and greatest Kv", r.kv_range)
        yield "relief valve", r.name, "opening time", "time", r.opening_time
        yield "relief valve", r.name, "back pressure", "pressure", r.back_pressure
    for d in lineup.surge_drums:
        yield "surge drum", d.name, "stands at", "word", d.point
        yield "surge drum", d.name, "volume", "volume", d.volume
        yield "surge drum", d.name, "gas volume", "volume", d.gas_volume
        yield "surge drum", d.name, "exponent of the gas", "number", d.exponent
        yield from _span("surge drum", d.name, "least and most gas, m3", d.gas_range)
        yield from _span("surge drum", d.name, "exponents of the gas", d.exponent_range)
        yield "surge drum", d.name, "charge pressure", "pressure", d.charge
        yield "surge drum", d.name, "Kv of the neck", "kv", d.neck_kv if math.isfinite(d.neck_kv) else None
    for v in lineup.open_vessels:
        yield "open vessel", v.name, "stands at", "word", v.point
        yield "open vessel", v.name, "surface, m2", "number", v.area
        yield "open vessel", v.name, "rim", "length", v.rim


def _span(table: str, name: str, what: str, span: tuple[float, float] | None) -> Iterator[Row]:
    """Both ends of what is a range; nothing where it is none."""
    if span is not None:
        yield table, name, what, "word", f"{span[0]:g} to {span[1]:g}"


def _element(e: Element) -> Iterator[Row]:
    table = kind_of(e)
    yield table, e.name, "from and to", "word", f"{e.start} to {e.end}"
    if isinstance(e, Pipe):
        yield table, e.name, "length", "length", e.length
        for what, span in (
            ("longest and shortest length", e.length_range),
            ("wave speeds", e.wave_speed_range),
            ("least and greatest roughness", e.roughness_range),
            ("least and greatest wall", e.wall.thickness_range if e.wall else None),
            ("least and greatest stiffness of the wall", e.wall.stiffness_range if e.wall else None),
        ):
            if span is not None:
                yield table, e.name, what, "word", f"{span[0]:g} to {span[1]:g}"
        yield table, e.name, "inside diameter", "diameter", e.diameter
        yield table, e.name, "wave speed", "speed", e.wave_speed
        yield table, e.name, "roughness", "diameter", e.roughness
        yield table, e.name, "minor loss", "number", e.minor_loss
        yield table, e.name, "friction factor", "number", e.friction_factor
        yield table, e.name, "brittle", "word", _yes_or_no(e.brittle)
        if e.bends:
            yield table, e.name, "bends at, m", "word", ", ".join(f"{b:g}" for b in e.bends)
    elif isinstance(e, Valve):
        yield table, e.name, "Kv", "kv", e.kv
        if e.kv_range is not None:
            yield table, e.name, "least and greatest Kv", "word", f"{e.kv_range[0]:g} to {e.kv_range[1]:g}"
        yield table, e.name, "characteristic", "word", _points(e.characteristic)
        yield table, e.name, "opening", "number", e.opening
        yield table, e.name, "adjustable", "word", _yes_or_no(e.adjustable)
        yield table, e.name, "group", "word", e.group or None
    elif isinstance(e, Passage):
        yield table, e.name, "Kv", "kv", e.kv
    elif isinstance(e, NonReturnValve):
        yield table, e.name, "Kv", "kv", e.kv if math.isfinite(e.kv) else None
        yield table, e.name, "reverse flow at which it shuts", "flow", e.reverse_flow
        yield table, e.name, "delay", "time", e.delay
        yield table, e.name, "closing time", "time", e.closing_time
    else:
        yield table, e.name, "curve, m3/s and m", "word", _points(e.curve)
        yield table, e.name, "speed", "number", e.speed
        yield table, e.name, "non-return valve", "word", _yes_or_no(e.non_return)
        if e.turning is not None:
            yield table, e.name, "inertia, kg m2", "number", e.turning.inertia
            yield table, e.name, "full speed, turns a minute", "number", e.turning.rpm
            yield table, e.name, "best efficiency", "number", e.turning.efficiency
            yield table, e.name, "best flow", "flow", e.turning.best_flow
    limits = e.limits
    yield table, e.name, "rating", "pressure", limits.rating
    yield table, e.name, "test pressure", "pressure", limits.test_pressure
    yield table, e.name, "allowance", "number", limits.allowance
    yield table, e.name, "lowest pressure", "pressure", limits.lowest
    yield table, e.name, "burst pressure", "pressure", limits.burst
    yield table, e.name, "rating includes surge", "word", _yes_or_no(limits.includes_surge)
    yield table, e.name, "tested", "word", str(limits.tested) if limits.tested else None


def _readings(lineup: LineUp) -> Iterator[Row]:
    for k, r in enumerate(lineup.readings, start=1):
        yield "reading", f"{k}, {r.point}", "pressure", "pressure", r.pressure
        yield "reading", f"{k}, {r.point}", "rate", "flow", r.rate


def _yes_or_no(value: bool | None) -> str | None:
    return None if value is None else "yes" if value else "no"


def _points(table: Table) -> str:
    return " ".join(f"{x:.6g}:{y:.6g}" for x, y in table)


def _scenario(lineup: LineUp, scenario: Scenario) -> Iterator[tuple[str, str, str, Value]]:
    rate = scenario.rate if scenario.rate is not None else lineup.rate.agreed if lineup.rate else None
    yield "", "rate", "flow", rate
    yield "", "stage", "word", scenario.stage or None
    yield "", "order of movements", "word", order_of(scenario)
    levels, openings = dict(scenario.levels), dict(scenario.openings)
    for tank in lineup.tanks:
        yield f"tank {tank.name}", "level", "length", levels.get(tank.name, tank.level)
    for valve in lineup.valves:
        yield f"valve {valve.name}", "opening at first", "number", openings.get(valve.name, valve.opening)
        shut = "yes" if valve.name in scenario.shut_at_start else "no"
        yield f"valve {valve.name}", "shut at the start", "word", shut
    for point, pressure in scenario.trapped:
        yield f"point {point}", "trapped pressure", "pressure", pressure
    yield "", "shutdown ordered at", "time", scenario.ordered
    for term, time in scenario.timing:
        yield "", f"shutdown: {term}", "time", time
    for trip in scenario.trips:
        yield f"pump {trip.pump}", "trips at", "time", trip.start
        yield f"pump {trip.pump}", "trip waits for", "word", trip.after or None
    yield from _moves(scenario)


def _moves(scenario: Scenario) -> Iterator[tuple[str, str, str, Value]]:
    count: dict[str, int] = {}
    for move in moves_of(scenario):
        name = move_name(move)
        count[name] = count.get(name, 0) + 1
        which = f", movement {count[name]}" if count[name] > 1 else ""
        closes = move.law[-1][1] < move.law[0][1]
        time = move.law[-1][0]
        yield name, f"begins at{which}", "time", move.start
        yield name, f"waits for{which}", "word", move.after or None
        if isinstance(move, PumpMove):
            word = "run-down" if closes else "run-up"
        else:
            word = "closing stroke" if closes else "opening stroke"
        yield name, f"{word}{which}", "time", time
        linear = len(move.law) == 2 and move.law[0][0] == 0.0 and time > 0.0
        shape = "linear" if linear else _points(tuple((t / time if time else t, x) for t, x in move.law))
        yield name, f"shape of the {word}{which}", "word", shape


def moves_of(scenario: Scenario) -> list[ValveMove | PumpMove]:
    """Return everything that moves, in the order in which it begins."""
    moves: list[ValveMove | PumpMove] = [*scenario.moves, *scenario.pump_moves]
    return sorted(moves, key=lambda m: m.start)


def move_name(move: ValveMove | PumpMove) -> str:
    """Return what moves, with its kind: "valve X", "pump Y"."""
    return f"pump {move.pump}" if isinstance(move, PumpMove) else f"valve {move.valve}"


def order_of(scenario: Scenario) -> str:
    """Return in words what moves, in the order in which it begins."""
    begun = [(m.start, move_name(m).partition(" ")[2]) for m in moves_of(scenario)]
    begun += [(t.start, t.pump) for t in scenario.trips]
    names = [name for _, name in sorted(begun, key=lambda pair: pair[0])]
    return ", then ".join(names) or "nothing moves"
