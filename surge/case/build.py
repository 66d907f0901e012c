"""From the shape of a case file to a line-up: units resolved, defaults named, alternatives checked.

The builder never stops at a fault: it notes it, puts a permitted stand-in in place and goes on, so that one
reading tells all faults. A line-up built with noted faults is only good for finding more of them.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import replace

from surge.case import schema as spec
from surge.case.attached import drum_of, relief_of, vessel_of
from surge.case.figures import (
    flange_rating,
    hose_figures,
    line_roughness,
    minor_loss,
    pipe_bore,
    valve_figures,
)
from surge.case.liquid import liquid_of
from surge.case.notes import IN_CASE, Notes
from surge.case.passages import passage_kv
from surge.case.readings import reading_of
from surge.case.scenarios import ScenarioBuilder
from surge.case.stages import at_every_stage, begun_with
from surge.case.waves import hose_speed, pipe_speed
from surge.errors import Origin, meant
from surge.model.lineup import (
    Berth,
    Limits,
    LineUp,
    NonReturnValve,
    Passage,
    Pipe,
    Point,
    Pump,
    Rate,
    Stage,
    Supply,
    Tank,
    Turning,
    Valve,
)
from surge.reference.materials import MATERIALS
from surge.toml.text import shown
from surge.units import ATMOSPHERE, Reading

HOSE_LOWEST = 0.0  # [Pa gauge]
COMMON = "common practice, no source"
HOSE_LOWEST_SOURCE = f"a cargo hose may not take vacuum; {COMMON}"


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
        scenarios = ScenarioBuilder(self.notes)
        case = self.case
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
            pipes=tuple(self._lines()),
            valves=tuple(self._valve(v, ("valve", i)) for i, v in enumerate(case.valve)),
            passages=tuple(self._passage(p, ("passage", i)) for i, p in enumerate(case.passage)),
            pumps=tuple(self._pump(p, ("pump", i)) for i, p in enumerate(case.pump)),
            non_return_valves=tuple(
                self._non_return(v, ("non_return_valve", i)) for i, v in enumerate(case.non_return_valve)
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
            readings=tuple(
                reading_of(r, ("reading", i), self.notes, cargo=case.liquid)
                for i, r in enumerate(case.reading)
            ),
            atmosphere=self.notes.atmosphere,
            frozen_friction=case.calculation.friction == "frozen",
            free_gas=case.calculation.free_gas,
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

    def _point(self, name: str, point: spec.PointTable) -> Point:
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

    def _elevation(self, name: str, point: spec.PointTable) -> float:
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

    def _tank(self, tank: spec.TankTable, origin: Origin) -> Tank:
        return Tank(
            name=tank.name,
            point=tank.at,
            side=tank.side,
            level=tank.level.value,
            blanket=self.notes.pressure(tank.blanket, (*origin, "blanket")) or 0.0,
            ullage=tank.ullage.value if tank.ullage else None,
            origin=origin,
        )

    def _supply(self, supply: spec.SupplyTable, origin: Origin) -> Supply:
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

    def _stage(self, stage: spec.StageTable, origin: Origin) -> Stage:
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

    def _elements(self) -> Iterator[spec.Element]:
        case = self.case
        for group in (case.pipe, case.hose, case.arm, case.valve, case.passage, case.pump):
            yield from group
        yield from case.non_return_valve

    # Elements

    def _limits(self, element: spec.Element, origin: Origin, **by_type: object) -> Limits:
        """Return what an element may bear; ``by_type`` stands in for what the case does not give."""
        rating = self.notes.pressure(element.rating, (*origin, "rating"))
        lowest = self.notes.pressure(element.lowest_pressure, (*origin, "lowest_pressure"))
        given: dict[str, object] = {
            "rating": rating,
            "rating_source": None if rating is None else "rating",
            "test_pressure": self.notes.pressure(element.test_pressure, (*origin, "test_pressure")),
            "lowest": lowest,
            "lowest_source": None if lowest is None else IN_CASE,
        }
        if isinstance(element, spec.LineTable):
            given["burst"] = self.notes.pressure(element.burst_pressure, (*origin, "burst_pressure"))
            given["includes_surge"] = element.rating_includes_surge
            given["tested"] = element.tested
        system = self.notes.pressure(self.case.limits.system_rating, ("limits", "system_rating"))
        usual: dict[str, object] = (
            {} if system is None else {"rating": system, "rating_source": "rating of the system"}
        )
        known = {key: value for key, value in given.items() if value is not None}
        told = {key: value for key, value in by_type.items() if value is not None}
        by_name = told.get("rating")
        if system is not None and isinstance(by_name, float) and system < by_name:
            # A part is no better than the system that it belongs to.
            told |= usual
        return Limits(allowance=element.allowance, **(usual | told | known))  # type: ignore[arg-type]

    def _lines(self) -> Iterator[Pipe]:
        for kind, group in (("pipe", self.case.pipe), ("arm", self.case.arm)):
            for i, line in enumerate(group):
                yield self._pipe(line, kind, (kind, i))
        for i, hose in enumerate(self.case.hose):
            yield self._hose(hose, ("hose", i))

    def _pipe(self, pipe: spec.PipeTable, kind: str, origin: Origin) -> Pipe:
        bore = pipe_bore(pipe, origin, self.notes)
        wave = pipe_speed(pipe, bore, origin, self.notes)
        flange = flange_rating(pipe, origin, self.notes)
        rating, source = flange or (None, None)
        limits = self._limits(pipe, origin, rating=rating, rating_source=source)
        brittle = pipe.material is not None and MATERIALS[pipe.material].brittle
        speed = wave.speed, wave.source
        made = self._line(pipe, kind, origin, bore.diameter, speed, limits, brittle=brittle)
        return replace(made, wall=wave.wall, bends=tuple(reading.value for reading in pipe.bends_at))

    def _hose(self, hose: spec.Hose, origin: Origin) -> Pipe:
        if hose.inside_diameter is None:
            self.notes.missing(
                (*origin, "inside_diameter"), 'a bore such as "10 inch"', "add the key inside_diameter"
            )
        diameter = hose.inside_diameter.value if hose.inside_diameter else (0.05, 1.0)[self.notes.pick]
        figures = hose_figures(hose, origin, self.notes)
        limits = self._limits(
            hose,
            origin,
            rating=figures.rating,
            rating_source=figures.words if figures.rating else None,
            # They belong to the type's own rating.
            test_pressure=figures.test_pressure if hose.rating is None else None,
            burst=figures.burst if hose.rating is None else None,
            includes_surge=figures.includes_surge,
            lowest=HOSE_LOWEST,
            lowest_source=HOSE_LOWEST_SOURCE,
        )
        speed, source, band = hose_speed(hose, figures, origin, self.notes)
        made = self._line(hose, "hose", origin, diameter, (speed, source), limits, brittle=False)
        by_swell = hose.wave_speed is None and hose.swell is not None and hose.swell_at is not None
        swell = (hose.swell.value, hose.swell_at.value) if by_swell else None  # type: ignore[union-attr]
        return replace(made, wave_speed_range=band, swell=swell)

    def _line(
        self,
        line: spec.LineTable,
        kind: str,
        origin: Origin,
        diameter: float,
        speed: tuple[float, str],
        limits: Limits,
        *,
        brittle: bool,
    ) -> Pipe:
        length, length_range = self._length(line, origin)
        roughness, rough = line_roughness(line, kind, origin, self.notes)
        minor = minor_loss(line, diameter, rough or (roughness, roughness), origin, self.notes)
        return Pipe(
            name=line.name,
            start=line.start,
            end=line.end,
            kind=kind,
            length=length,
            length_range=length_range,
            diameter=diameter,
            wave_speed=speed[0],
            wave_speed_source=speed[1],
            roughness=roughness,
            minor_loss=minor[0],
            roughness_range=rough,
            minor_loss_range=minor if minor[0] != minor[1] else None,
            brittle=line.brittle or brittle,
            limits=limits,
            origin=origin,
        )

    def _length(self, line: spec.LineTable, origin: Origin) -> tuple[float, tuple[float, float] | None]:
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

    def _valve(self, valve: spec.ValveTable, origin: Origin) -> Valve:
        figures = valve_figures(valve, origin, self.notes)
        return Valve(
            name=valve.name,
            start=valve.start,
            end=valve.end,
            kv=figures.kv,
            kv_range=figures.kv_range,
            characteristic=figures.characteristic,
            characteristic_source=figures.source,
            opening=valve.opening,
            adjustable=valve.adjustable,
            group=valve.group,
            limits=self._limits(valve, origin),
            origin=origin,
        )

    def _passage(self, passage: spec.PassageTable, origin: Origin) -> Passage:
        kv, ends = passage_kv(passage, origin, self.notes)
        return Passage(
            name=passage.name,
            start=passage.start,
            end=passage.end,
            kv=kv,
            kv_range=ends,
            kind=passage.kind,
            limits=self._limits(passage, origin),
            origin=origin,
        )

    def _non_return(self, valve: spec.NonReturnTable, origin: Origin) -> NonReturnValve:
        if valve.kv is not None and valve.cv is not None:
            self.notes.exactly_one(origin, kv=valve.kv, cv=valve.cv)
        kv = valve.kv or valve.cv
        made = NonReturnValve(
            name=valve.name,
            start=valve.start,
            end=valve.end,
            kv=kv.value if kv else math.inf,
            reverse_flow=self.notes.flow(valve.reverse_flow) if valve.reverse_flow else 0.0,
            delay=valve.delay.value if valve.delay else 0.0,
            closing_time=valve.closing_time.value if valve.closing_time else 0.0,
            limits=self._limits(valve, origin),
            origin=origin,
        )
        if made.ideal:
            how = "in the instant in which the flow turns: no slam is seen"
            self.notes.assume(valve.name, "closing", how, COMMON)
        if kv is None:
            self.notes.assume(valve.name, "loss of the open valve", "none", "the case gives no Kv")
        return made

    def _turning(self, pump: spec.PumpTable, origin: Origin) -> Turning | None:
        """Return what its speed goes by in a trip; None where the case gives none of it."""
        keys = ("inertia_kg_m2", "full_speed_rpm", "best_efficiency", "best_flow")
        given = [key for key in keys if getattr(pump, key) is not None]
        if not given:
            return None
        for key in keys:
            if key not in given:
                self.notes.missing((*origin, key), f"{key} beside {given[0]}", f"add the key {key}")
        return Turning(
            inertia=pump.inertia_kg_m2 or 1.0,
            rpm=pump.full_speed_rpm or 1500.0,
            efficiency=pump.best_efficiency or 0.7,
            best_flow=self.notes.flow(pump.best_flow) if pump.best_flow else 0.1,
        )

    def _pump(self, pump: spec.PumpTable, origin: Origin) -> Pump:
        return Pump(
            name=pump.name,
            start=pump.start,
            end=pump.end,
            curve=tuple((self.notes.flow(flow), head.value) for flow, head in pump.curve),
            non_return=pump.non_return_valve,
            speed=pump.speed,
            turning=self._turning(pump, origin),
            by_mass=any(flow.kind == "mass flow" for flow, _ in pump.curve),
            limits=self._limits(pump, origin),
            origin=origin,
        )
