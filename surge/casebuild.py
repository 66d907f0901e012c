"""From the shape of a case file to a line-up: units resolved, defaults named, alternatives checked.

The builder never stops at a fault: it notes it, puts a permitted stand-in in place and goes on, so that one
reading tells all faults. A line-up built with noted faults is only good for finding more of them.
"""

from __future__ import annotations

import math
from collections.abc import Iterator

from surge import casespec as spec
from surge.casenotes import IN_CASE, Notes
from surge.casescenario import ScenarioBuilder
from surge.casewalls import hose_speed, pipe_speed
from surge.formulas import loss_factor_to_kv
from surge.leaves import hint, shown
from surge.lineup import (
    ATMOSPHERE,
    Limits,
    LineUp,
    Liquid,
    Origin,
    Passage,
    Pipe,
    Point,
    Pump,
    Rate,
    Supply,
    Table,
    Tank,
    Valve,
)
from surge.reference import MATERIALS, VALVE_CURVES
from surge.units import Reading

HOSE_LOWEST = 0.0  # [Pa gauge]
HOSE_LOWEST_SOURCE = "a cargo hose may not take vacuum; common practice, no source"


class Builder:
    """Builds one line-up.

    Parameters
    ----------
    case : CaseSpec
    pick : int
        0 or 1: stand-ins for missing figures are small or large. A fault that appears with both does not
        come from the stand-ins.
    """

    def __init__(self, case: spec.CaseSpec, *, pick: int) -> None:
        self.case = case
        barometer = case.site.barometer
        self.notes = Notes(
            pick=pick,
            atmosphere=ATMOSPHERE if barometer is None else barometer.value,
            density=case.liquid.density.value,
        )
        self.notes.sound_speed = self._sound_speed(case.liquid)

    def lineup(self) -> LineUp:
        """Build the line-up; the faults stand in :attr:`notes` afterwards."""
        scenarios = ScenarioBuilder(self.notes)
        case = self.case
        top = self.notes.pressure(case.limits.cargo_pump_top, ("limits", "cargo_pump_top"))
        top_source = case.limits.cargo_pump_top_source or IN_CASE
        given = {} if top is None else {"pump_top_limit": top, "pump_top_source": top_source}
        if top is None and case.limits.cargo_pump_top_source:
            self.notes.needs(
                ("limits", "cargo_pump_top_source"), "the limit that it belongs to", "cargo_pump_top"
            )
        return LineUp(
            title=case.title,
            note=case.note,
            liquid=self._liquid(case.liquid),
            points=tuple(self._point(name, point) for name, point in case.points.items()),
            pipes=tuple(self._lines()),
            valves=tuple(self._valve(v, ("valve", i)) for i, v in enumerate(case.valve)),
            passages=tuple(self._passage(p, ("passage", i)) for i, p in enumerate(case.passage)),
            pumps=tuple(self._pump(p, ("pump", i)) for i, p in enumerate(case.pump)),
            tanks=tuple(self._tank(t, ("tank", i)) for i, t in enumerate(case.tank)),
            supplies=tuple(self._supply(s, ("supply", i)) for i, s in enumerate(case.supply)),
            rate=self._rate(case.rate) if case.rate else None,
            scenarios=tuple(scenarios.scenario(s, ("scenario", i)) for i, s in enumerate(case.scenario)),
            atmosphere=self.notes.atmosphere,
            frozen_friction=case.calculation.friction == "frozen",
            **given,  # type: ignore[arg-type]
        )

    # Liquid and places

    def _sound_speed(self, liquid: spec.Liquid) -> float:
        self.notes.exactly_one(("liquid",), sound_speed=liquid.sound_speed, bulk_modulus=liquid.bulk_modulus)
        if liquid.sound_speed is not None:
            return liquid.sound_speed.value
        if liquid.bulk_modulus is not None:
            return math.sqrt(liquid.bulk_modulus.value / self.notes.density)
        return (300.0, 3000.0)[self.notes.pick]

    def _liquid(self, liquid: spec.Liquid) -> Liquid:
        viscosity = liquid.viscosity.value
        if liquid.viscosity.kind == "dynamic viscosity":
            viscosity /= self.notes.density
        return Liquid(
            name=liquid.name,
            density=self.notes.density,
            sound_speed=self.notes.sound_speed,
            viscosity=viscosity,
            vapour_pressure=liquid.vapour_pressure.value,
        )

    def _point(self, name: str, point: spec.Point) -> Point:
        origin = ("points", name)
        if point.limit is None and point.limit_source:
            self.notes.needs((*origin, "limit_source"), "the limit that it belongs to", "limit")
        return Point(
            name=name,
            elevation=self._elevation(name, point),
            closed=point.closed,
            pump_top=point.cargo_pump_top,
            limit=self.notes.pressure(point.limit, (*origin, "limit")),
            limit_source="" if point.limit is None else point.limit_source or IN_CASE,
            origin=origin,
        )

    def _elevation(self, name: str, point: spec.Point) -> float:
        """Return the elevation of a point [m], through any chain of ``same_elevation_as``."""
        origin = ("points", name)
        self.notes.exactly_one(origin, elevation=point.elevation, same_elevation_as=point.same_elevation_as)
        seen = [name]
        while point.elevation is None and point.same_elevation_as is not None:
            other = point.same_elevation_as
            if other not in self.case.points:
                if len(seen) == 1:
                    near = hint(other, [n for n in self.case.points if n != name])
                    remedy = (
                        f'did you mean "{near}"?' if near else f'add [points."{other}"] or give elevation'
                    )
                    self.notes.fault(
                        (*origin, "same_elevation_as"), shown(other), "the name of a point", remedy
                    )
                break
            if other in seen:
                if other == name == min(seen):  # once for the whole circle
                    chain = " -> ".join((*seen, other))
                    self.notes.fault(
                        (*origin, "same_elevation_as"),
                        f"a circle: {chain}",
                        "a chain of points that ends at an elevation",
                        "give one of these points its elevation",
                    )
                break
            seen.append(other)
            point = self.case.points[other]
        return point.elevation.value if point.elevation is not None else (0.0, 10.0)[self.notes.pick]

    def _tank(self, tank: spec.Tank, origin: Origin) -> Tank:
        return Tank(
            name=tank.name,
            point=tank.at,
            side=tank.side,
            level=tank.level.value,
            blanket=self.notes.pressure(tank.blanket, (*origin, "blanket")) or 0.0,
            origin=origin,
        )

    def _supply(self, supply: spec.Supply, origin: Origin) -> Supply:
        by_rate = self.case.rate is not None and self.case.rate.means == "supply pressure"
        if supply.pressure is None and not by_rate:
            self.notes.missing(
                (*origin, "pressure"),
                'the pressure at the agreed rate, such as "6 bar(g)"',
                'add the key pressure, or state in [rate]: means = "supply pressure"',
            )
        return Supply(
            name=supply.name,
            point=supply.at,
            pressure=self.notes.pressure(supply.pressure, (*origin, "pressure")),
            shut_off=self.notes.pressure(supply.shut_off_pressure, (*origin, "shut_off_pressure")),
            origin=origin,
        )

    def _rate(self, rate: spec.Rate) -> Rate:
        return Rate(
            agreed=self.notes.flow(rate.agreed),
            means=rate.means,
            at=rate.at,
            through=rate.through or self._through(rate),
        )

    def _through(self, rate: spec.Rate) -> str:
        """Return the element in which the rate is counted when the case does not say."""
        case = self.case
        supplies = {supply.name: supply.at for supply in case.supply}
        sources = len(supplies) + sum(tank.side == "shore" for tank in case.tank)
        at = rate.at
        if at in supplies:
            place = supplies[at]
            elements = [e.name for e in self._elements() if place in (e.start, e.end)]
            at = elements[0] if len(elements) == 1 else ""
        if sources != 1 or not at:
            self.notes.fault(
                ("rate", "through"),
                f"no key through; shore tanks and supplies: {sources}",
                "the element in which the rate is counted",
                'add the key through, such as through = "shore line"',
            )
        return at or rate.at

    def _elements(self) -> Iterator[spec.Element]:
        case = self.case
        for group in (case.pipe, case.hose, case.arm, case.valve, case.passage, case.pump):
            yield from group

    # Elements

    def _limits(self, element: spec.Element, origin: Origin, *, hose: bool = False) -> Limits:
        lowest = self.notes.pressure(element.lowest_pressure, (*origin, "lowest_pressure"))
        source = "" if lowest is None else IN_CASE
        if lowest is None and hose:
            lowest, source = HOSE_LOWEST, HOSE_LOWEST_SOURCE
        return Limits(
            rating=self.notes.pressure(element.rating, (*origin, "rating")),
            test_pressure=self.notes.pressure(element.test_pressure, (*origin, "test_pressure")),
            allowance=element.allowance,
            lowest=lowest,
            lowest_source=source,
        )

    def _lines(self) -> Iterator[Pipe]:
        for kind, group in (("pipe", self.case.pipe), ("arm", self.case.arm)):
            for i, line in enumerate(group):
                yield self._line(line, kind, (kind, i), pipe_speed(line, (kind, i), self.notes))
        for i, hose in enumerate(self.case.hose):
            yield self._line(hose, "hose", ("hose", i), hose_speed(hose, ("hose", i), self.notes))

    def _line(self, line: spec.Line, kind: str, origin: Origin, speed: tuple[float, str]) -> Pipe:
        length, length_range = self._length(line, origin)
        material = line.material if isinstance(line, spec.Pipe) else None
        return Pipe(
            name=line.name,
            start=line.start,
            end=line.end,
            kind=kind,
            length=length,
            length_range=length_range,
            diameter=line.inside_diameter.value,
            wave_speed=speed[0],
            wave_speed_source=speed[1],
            roughness=line.roughness.value,
            minor_loss=line.minor_loss,
            brittle=line.brittle or (material is not None and MATERIALS[material].brittle),
            limits=self._limits(line, origin, hose=kind == "hose"),
            origin=origin,
        )

    def _length(self, line: spec.Line, origin: Origin) -> tuple[float, tuple[float, float] | None]:
        """Return the length [m], and the range when it is not known; then the length is its upper end."""
        if isinstance(line.length, Reading):
            return line.length.value, None
        low, high = (reading.value for reading in line.length)
        if low >= high:
            self.notes.fault(
                (*origin, "length"),
                f'"{line.length[0].text}" to "{line.length[1].text}"',
                "a range, the shorter length first",
                "put the shorter length first, or write one length without brackets",
            )
        return high, (low, high)

    def _valve(self, valve: spec.Valve, origin: Origin) -> Valve:
        self.notes.exactly_one(origin, kv=valve.kv, cv=valve.cv)
        kv = valve.kv or valve.cv
        table: Table
        if isinstance(valve.characteristic, str):
            curve = VALVE_CURVES[valve.characteristic]
            table, source = curve.table, f"{curve.name}: {curve.source}"
        else:
            table, source = tuple(valve.characteristic), IN_CASE
        return Valve(
            name=valve.name,
            start=valve.start,
            end=valve.end,
            kv=kv.value if kv else (1.0, 1e4)[self.notes.pick],
            characteristic=table,
            characteristic_source=source,
            opening=valve.opening,
            limits=self._limits(valve, origin),
            origin=origin,
        )

    def _passage(self, passage: spec.Passage, origin: Origin) -> Passage:
        self.notes.exactly_one(origin, kv=passage.kv, loss_factor=passage.loss_factor)
        kv = passage.kv.value if passage.kv else (1.0, 1e4)[self.notes.pick]
        if passage.loss_factor is not None and passage.inside_diameter is not None:
            kv = loss_factor_to_kv(passage.loss_factor, diameter=passage.inside_diameter.value)
        elif passage.loss_factor is not None:
            self.notes.needs(
                (*origin, "loss_factor"), "the bore that the loss factor counts on", "inside_diameter"
            )
        elif passage.inside_diameter is not None:
            self.notes.needs(
                (*origin, "inside_diameter"), "inside_diameter beside loss_factor only", "loss_factor"
            )
        return Passage(
            name=passage.name,
            start=passage.start,
            end=passage.end,
            kv=kv,
            kind=passage.kind,
            limits=self._limits(passage, origin),
            origin=origin,
        )

    def _pump(self, pump: spec.Pump, origin: Origin) -> Pump:
        return Pump(
            name=pump.name,
            start=pump.start,
            end=pump.end,
            curve=tuple((self.notes.flow(flow), head.value) for flow, head in pump.curve),
            non_return=pump.non_return_valve,
            speed=pump.speed,
            limits=self._limits(pump, origin),
            origin=origin,
        )
