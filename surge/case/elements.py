"""From the tables of elements in a case to pipes, hoses, arms, valves, passages and pumps."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import replace

from surge.case import schema_parts as spec
from surge.case.figures import (
    flange_rating,
    hose_figures,
    line_roughness,
    minor_loss,
    pipe_bore,
    valve_figures,
)
from surge.case.notes import COMMON, IN_CASE, Notes
from surge.case.passages import passage_kv
from surge.case.schema import CaseSpec
from surge.case.waves import hose_speed, pipe_speed
from surge.errors import Origin
from surge.model.lineup import Limits, NonReturnValve, Passage, Pipe, Pump, Turning, Valve
from surge.reference.materials import MATERIALS
from surge.units import Reading

HOSE_LOWEST = 0.0  # [Pa gauge]
HOSE_LOWEST_SOURCE = f"a cargo hose may not take vacuum; {COMMON}"


class ElementBuilder:
    """Builds the elements of one line-up, and notes their faults in ``notes``."""

    def __init__(self, case: CaseSpec, notes: Notes) -> None:
        self.case, self.notes = case, notes

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

    def lines(self) -> Iterator[Pipe]:
        """Build pipes, arms and hoses."""
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

    def valve(self, valve: spec.ValveTable, origin: Origin) -> Valve:
        """Build a valve."""
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

    def passage(self, passage: spec.PassageTable, origin: Origin) -> Passage:
        """Build a passage."""
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

    def non_return(self, valve: spec.NonReturnTable, origin: Origin) -> NonReturnValve:
        """Build a non-return valve."""
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

    def pump(self, pump: spec.PumpTable, origin: Origin) -> Pump:
        """Build a pump."""
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
