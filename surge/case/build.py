"""From the shape of a case file to a line-up: units resolved, defaults named, alternatives checked.

The builder never stops at a fault: it notes it, puts a permitted stand-in in place and goes on, so that one
reading tells all faults. A line-up built with noted faults is only good for finding more of them.
"""

from __future__ import annotations

from collections.abc import Iterator

from surge.case import schema as spec
from surge.case.attached import drum_of, relief_of, vessel_of
from surge.case.elements import HOSE_LOWEST, HOSE_LOWEST_SOURCE, ElementBuilder
from surge.case.fillings import filling_of
from surge.case.liquid import liquid_of
from surge.case.notes import COMMON, IN_CASE, Notes
from surge.case.readings import reading_of
from surge.case.scenarios import ScenarioBuilder
from surge.case.schema_parts import Element, PointTable, SupplyTable, TankTable
from surge.case.schema_scenarios import StageTable
from surge.case.stages import at_every_stage, begun_with
from surge.errors import Origin, meant
from surge.model.lineup import Berth, LineUp, Point, Rate, Stage, Supply, Tank
from surge.toml.text import shown
from surge.units import ATMOSPHERE


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
        )
        self.liquid = liquid_of(case.liquid, self.notes)

    def lineup(self) -> LineUp:
        """Build the line-up; the faults stand in :attr:`notes` afterwards."""
        case = self.case
        elements, scenarios = ElementBuilder(case, self.notes), ScenarioBuilder(self.notes)
        top = self.notes.pressure(case.limits.cargo_pump_top, ("limits", "cargo_pump_top"))
        top_source = case.limits.cargo_pump_top_source or IN_CASE
        given = {} if top is None else {"pump_top_limit": top, "pump_top_source": top_source}
        if top is None and case.limits.cargo_pump_top_source:
            self.notes.needs(
                ("limits", "cargo_pump_top_source"), "the limit that it belongs to", "cargo_pump_top"
            )
        if top is None and any(p.cargo_pump_top for p in case.points.values()):
            value = f"{LineUp.pump_top_limit / 1e5:g} bar(g)"
            self.notes.assume("limits", "limit at the top of a cargo pump", value, LineUp.pump_top_source)
        self._defaults()
        stages = tuple(self._stage(s, ("stage", i)) for i, s in enumerate(case.stage))
        made = LineUp(
            title=case.title,
            note=case.note,
            liquid=self.liquid,
            points=tuple(self._point(name, point) for name, point in case.points.items()),
            pipes=tuple(elements.lines()),
            valves=tuple(elements.valve(v, ("valve", i)) for i, v in enumerate(case.valve)),
            passages=tuple(elements.passage(p, ("passage", i)) for i, p in enumerate(case.passage)),
            pumps=tuple(elements.pump(p, ("pump", i)) for i, p in enumerate(case.pump)),
            non_return_valves=tuple(
                elements.non_return(v, ("non_return_valve", i)) for i, v in enumerate(case.non_return_valve)
            ),
            tanks=tuple(self._tank(t, ("tank", i)) for i, t in enumerate(case.tank)),
            supplies=tuple(self._supply(s, ("supply", i)) for i, s in enumerate(case.supply)),
            relief_valves=tuple(
                relief_of(r, ("relief_valve", i), self.notes) for i, r in enumerate(case.relief_valve)
            ),
            surge_drums=tuple(
                drum_of(d, ("surge_drum", i), self.notes) for i, d in enumerate(case.surge_drum)
            ),
            open_vessels=tuple(vessel_of(v, ("open_vessel", i)) for i, v in enumerate(case.open_vessel)),
            rate=self._rate(case.rate) if case.rate else None,
            stages=stages,
            scenarios=tuple(
                begun_with(scenarios.scenario(s, ("scenario", i)), stages)
                for i, s in enumerate(case.scenario)
            ),
            fillings=tuple(
                filling_of(f, begun_with(scenarios.scenario(f, ("filling", i)), stages), self.notes)
                for i, f in enumerate(case.filling)
            ),
            readings=tuple(
                reading_of(r, ("reading", i), self.notes, cargo=case.liquid)
                for i, r in enumerate(case.reading)
            ),
            atmosphere=self.notes.atmosphere,
            frozen_friction=case.calculation.friction == "frozen",
            free_gas=case.calculation.free_gas,
            gas_content=case.calculation.gas_content or 0.0,
            unsteady_friction=case.calculation.unsteady_friction,
            berth=self._berth(case.berth),
            **given,  # type: ignore[arg-type]
        )
        return at_every_stage(made, self.notes).with_(assumed=tuple(self.notes.assumed))

    def _defaults(self) -> None:
        """Note what the case leaves to a default: a figure that nobody wrote is an assumption."""
        case, assume = self.case, self.notes.assume
        if case.site.barometer is None:
            assume("site", "barometer", f"{ATMOSPHERE / 100:g} mbar(a)", "standard atmosphere, CGPM 1954")
        if "cargo" not in case.berth.model_fields_set and any(s.shutdown for s in case.scenario):
            assume("berth", "kind of cargo", "oil", "for the rules on the time of a shutdown")
        for tank in case.tank:
            if tank.blanket is None:
                assume(tank.name, "blanket pressure", "0 bar(g)", f"open to the air; {COMMON}")
        for line in (*case.pipe, *case.arm, *case.hose):
            if not line.fittings and "minor_loss" not in line.model_fields_set:
                assume(line.name, "minor losses", "none", f"the case lists no fittings; {COMMON}")
        for hose in case.hose:
            if hose.lowest_pressure is None:
                assume(hose.name, "lowest pressure allowed", f"{HOSE_LOWEST:g} bar(g)", HOSE_LOWEST_SOURCE)
        self._positions()

    def _positions(self) -> None:
        """Note valves and pumps of which the case does not say how they stand."""
        case, assume = self.case, self.notes.assume
        throttle = case.rate.at if case.rate else ""
        set_elsewhere = {name for s in case.scenario for name in s.openings}
        set_elsewhere |= {name for s in case.stage for name in s.openings}
        set_elsewhere |= {name for f in case.filling for name in f.openings}
        for valve in case.valve:
            if "opening" not in valve.model_fields_set and valve.name not in {throttle, *set_elsewhere}:
                assume(valve.name, "opening while loading", "fully open", COMMON)
        for pump in case.pump:
            if "speed" not in pump.model_fields_set and pump.name != throttle:
                assume(pump.name, "speed", "full", COMMON)

    def _berth(self, berth: spec.BerthTable) -> Berth:
        first, transfer = berth.first_transfer, berth.transfer
        if first is not None and transfer is not None and first > transfer:
            self.notes.fault(
                ("berth", "first_transfer"),
                f"{first}, after this transfer on {transfer}",
                "a day not after this transfer",
                "check both dates; without first_transfer the shorter time limit holds",
            )
        return Berth(
            terminal=berth.terminal or "",
            name=berth.name or "",
            ship=berth.ship or "",
            parcel=self.notes.volume(berth.parcel) if berth.parcel else None,
            parcel_by_mass=berth.parcel is not None and berth.parcel.kind == "mass",
            first_transfer=first,
            hazardous=berth.cargo == "hazardous material",
            transfer=transfer,
            operation=berth.operation,
        )

    # Places

    def _point(self, name: str, point: PointTable) -> Point:
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

    def _elevation(self, name: str, point: PointTable) -> float:
        """Return the elevation of a point [m], through any chain of ``same_elevation_as``."""
        origin = ("points", name)
        self.notes.exactly_one(origin, elevation=point.elevation, same_elevation_as=point.same_elevation_as)
        seen = [name]
        while point.elevation is None and point.same_elevation_as is not None:
            other = point.same_elevation_as
            if other not in self.case.points:
                if len(seen) == 1:
                    near = meant(other, [n for n in self.case.points if n != name])
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

    def _tank(self, tank: TankTable, origin: Origin) -> Tank:
        return Tank(
            name=tank.name,
            point=tank.at,
            side=tank.side,
            level=tank.level.value,
            blanket=self.notes.pressure(tank.blanket, (*origin, "blanket")) or 0.0,
            ullage=tank.ullage.value if tank.ullage else None,
            origin=origin,
        )

    def _supply(self, supply: SupplyTable, origin: Origin) -> Supply:
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

    def _stage(self, stage: StageTable, origin: Origin) -> Stage:
        return Stage(
            name=stage.name,
            rate=self.notes.flow(stage.rate),
            by_mass=stage.rate.kind == "mass flow",
            levels=tuple((name, level.value) for name, level in stage.levels.items()),
            openings=tuple(stage.openings.items()),
            origin=origin,
        )

    def _rate(self, rate: spec.RateTable) -> Rate:
        return Rate(
            agreed=self.notes.flow(rate.agreed),
            means=rate.means,
            at=rate.at,
            through=rate.through or self._through(rate),
            by_mass=rate.agreed.kind == "mass flow",
        )

    def _through(self, rate: spec.RateTable) -> str:
        """Return the element in which the rate is counted when the case does not say."""
        case = self.case
        supplies = {supply.name: supply.at for supply in case.supply}
        ashore = case.berth.operation == "discharge"
        sources = len(supplies) * (not ashore) + sum((tank.side == "ship") is ashore for tank in case.tank)
        at = rate.at
        if at in supplies:
            place = supplies[at]
            elements = [e.name for e in self._elements() if place in (e.start, e.end)]
            at = elements[0] if len(elements) == 1 else ""
        if sources != 1 or not at:
            self.notes.fault(
                ("rate", "through"),
                f"no key through; {'tanks of the ship' if ashore else 'shore tanks and supplies'}: {sources}",
                "the element in which the rate is counted",
                'add the key through, such as through = "shore line"',
            )
        return at or rate.at

    def _elements(self) -> Iterator[Element]:
        case = self.case
        for group in (case.pipe, case.hose, case.arm, case.valve, case.passage, case.pump):
            yield from group
        yield from case.non_return_valve
