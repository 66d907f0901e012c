"""What must hold of each part of a line-up by itself: its numbers are possible, and they agree.

Values are shown in the trade's units (mm, bar, m3/h); whoever knows how the user wrote a value may put
that in its place. Bounds without a source are our own: wide enough for every tanker berth, narrow
enough to catch a slip of the unit (m for mm, MPa for bar).
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from typing import Any

from surge.errors import Fault, Origin, meant
from surge.model.lineup import (
    FREE_GAS_BOUNDS,
    GAS_CONTENT_BOUNDS,
    Element,
    LineUp,
    Liquid,
    NonReturnValve,
    Passage,
    Pipe,
    Pump,
    Supply,
    Tank,
    Valve,
)

BAR = 1e5  # [Pa]
MILLIMETRE = 1e-3  # [m]
PER_HOUR = 1.0 / 3600.0  # [m3/s] in 1 m3/h
RELATIVE_ROUGHNESS = 0.05  # [-] to which the diagram of Moody (1944) goes; from memory
WAVE_SPEED_EXCESS = 1.02  # [-] a given wave speed and a sound speed from two tables may differ so much
HIGHEST_ALLOWANCE = 1.33  # [-] ASME B31.3, 302.2.4
ROUNDING = 1e-9  # [-]


@dataclass(frozen=True)
class Bounds:
    """Least and greatest that a number may be, in SI, and how it is shown.

    Attributes
    ----------
    low, high : float
        Both allowed, unless ``above`` is set: then ``low`` itself is not.
    remedy : str
        What to write.
    unit, factor : str, float
        Unit in which it is shown, and the SI value of 1 of it.
    """

    low: float
    high: float
    remedy: str
    unit: str = ""
    factor: float = 1.0
    above: bool = False

    def show(self, value: float) -> str:
        """Return a value [SI] in the unit of the bounds, such as "600 m3/h"."""
        return f"{value / self.factor:g} {self.unit}".rstrip()

    def allows(self, value: float) -> bool:
        """Return whether a value [SI] is inside; one that is not a number never is."""
        return value <= self.high and (value > self.low or (value == self.low and not self.above))

    def faults(self, path: Origin, value: float) -> Iterator[Fault]:
        """Yield the fault of a value [SI] outside."""
        if not self.allows(value):
            low, high = self.show(self.low), self.show(self.high)
            expected = f"above {low}, up to {high}" if self.above else f"from {low} to {high}"
            yield Fault(path=path, found=self.show(value), expected=expected, remedy=self.remedy)


def pressure_bounds(remedy: str, *, above: float = 0.0, highest: float = 1000.0 * BAR) -> Bounds:
    """Return the bounds of a gauge pressure: above ``above``, up to ``highest`` [Pa gauge]."""
    return Bounds(above, highest, remedy, "bar(g)", BAR, above=True)


SHARE = Bounds(0.0, 1.0, "give a share of the whole, 0 to 1")
OPENING = Bounds(0.0, 1.0, "give the share of the full travel, 0 shut to 1 open")
FLOW = Bounds(0.01 * PER_HOUR, 50_000.0 * PER_HOUR, "give the flow agreed for the line", "m3/h", PER_HOUR)
LENGTH = Bounds(0.01, 1e6, "give the length along the pipe between its two points", "m")
LEVEL = Bounds(-2000.0, 2000.0, "give the height of the liquid surface above the datum of the case", "m")
ELEVATION = Bounds(-2000.0, 2000.0, "give the height of the point above the datum of the case", "m")
KV = Bounds(0.01, 1e6, "give the flow of water at 1 bar from the maker's sheet", "m3/h")

_PIPE_WAVE = "give the wave speed, or check wall, modulus and inside diameter (of a hose, swell and swell_at)"
_SOUND = "give the speed of sound in the liquid, or its isentropic bulk modulus, at loading temperature"
REVERSE = "give the reverse flow at which it shuts, from a test or its maker"
SHUTS = "give the time from a test or its maker"
_VAPOUR = "give the true vapour pressure at cargo temperature, absolute"

# case key, field of the line-up, what it may be
FIELDS: dict[type, tuple[tuple[str, str, Bounds], ...]] = {
    Liquid: (
        ("density", "density", Bounds(200.0, 3000.0, "give the density at loading temperature", "kg/m3")),
        ("sound_speed", "sound_speed", Bounds(300.0, 3000.0, _SOUND, "m/s")),
        ("viscosity", "viscosity", Bounds(1e-8, 0.1, "give the kinematic viscosity", "mm2/s", 1e-6)),
        ("vapour_pressure", "vapour_pressure", Bounds(0.0, 50.0 * BAR, _VAPOUR, "bar(a)", BAR)),
    ),
    Pipe: (
        ("length", "length", LENGTH),
        ("inside_diameter", "diameter", Bounds(0.005, 5.0, "give the inside diameter", "mm", MILLIMETRE)),
        ("wave_speed", "wave_speed", Bounds(50.0, 2500.0, _PIPE_WAVE, "m/s")),
        (
            "minor_loss",
            "minor_loss",
            Bounds(0.0, 1000.0, "give the sum of the loss factors K of its fittings"),
        ),
    ),
    Valve: (("kv", "kv", KV), ("opening", "opening", OPENING)),
    Passage: (("kv", "kv", KV),),
    NonReturnValve: (
        ("reverse_flow", "reverse_flow", Bounds(0.0, 10.0, REVERSE, "m3/h", PER_HOUR)),
        ("delay", "delay", Bounds(0.0, 600.0, SHUTS, "s")),
        ("closing_time", "closing_time", Bounds(0.0, 600.0, SHUTS, "s")),
    ),
    Pump: (("speed", "speed", Bounds(0.05, 1.0, "give the share of full speed")),),
    Tank: (("level", "level", LEVEL),),
}


def unknown_name(path: Origin, name: str, *, kind: str, known: Iterable[str]) -> Fault:
    """Return the fault of a name that no thing of that kind has, with the nearest one that exists."""
    names = list(known)
    near = meant(name, names)
    listed = ", ".join(f'"{n}"' for n in names) or f"(there is no {kind} at all)"
    remedy = f'did you mean "{near}"?' if near else f"write one of: {listed}"
    return Fault(path=path, found=f'"{name}"', expected=f"the name of a {kind}", remedy=remedy)


def choice_faults(path: Origin, value: str, *, choices: Iterable[str]) -> Iterator[Fault]:
    """Yield the fault of a word that is none of the choices."""
    words = list(choices)
    if value not in words:
        listed = ", ".join(f'"{c}"' for c in words)
        yield Fault(path=path, found=f'"{value}"', expected=f"one of {listed}", remedy="write one of them")


def outlet_faults(lineup: LineUp, tank: Tank, *, level: float, path: Origin) -> Iterator[Fault]:
    """Yield the fault of a tank that gives with its surface, at ``level`` [m], below its point."""
    point = lineup.points_by_name.get(tank.point)
    if lineup.receives(tank) or point is None or not ELEVATION.allows(point.elevation):
        return
    if LEVEL.allows(level) and level < point.elevation:
        yield Fault(
            path=path,
            found=f"{level:g} m, below the outlet of the tank at {point.elevation:g} m",
            expected=f"a level from {point.elevation:g} m up",
            remedy="give the level above the datum of the case, not above the tank bottom",
        )


def field_faults(lineup: LineUp) -> Iterator[Fault]:
    """Yield the faults of everything in the line-up, taken one by one; curves are apart."""
    yield from _number_faults(lineup.liquid)
    yield from _site_faults(lineup)
    for point in lineup.points:
        yield from ELEVATION.faults((*point.origin, "elevation"), point.elevation)
        if point.limit is not None:
            bounds = pressure_bounds("give the greatest pressure that this place may see")
            yield from bounds.faults((*point.origin, "limit"), point.limit)
    for element in lineup.elements:
        yield from _number_faults(element)
        if isinstance(element, NonReturnValve):
            yield from _non_return_faults(element)
        yield from _limit_faults(element, atmosphere=lineup.atmosphere)
        yield from _allowance_faults(element)
    for pipe in lineup.pipes:
        yield from _pipe_faults(pipe, liquid=lineup.liquid)
        yield from _height_faults(lineup, pipe)
    for passage in lineup.passages:
        kinds = ("cargo pump", "fixed loss")
        yield from choice_faults((*passage.origin, "kind"), passage.kind, choices=kinds)
    for tank in lineup.tanks:
        yield from _tank_faults(lineup, tank)
    for supply in lineup.supplies:
        yield from _supply_faults(supply, atmosphere=lineup.atmosphere)


def _number_faults(thing: Any) -> Iterator[Fault]:
    for key, attribute, bounds in FIELDS[type(thing)]:
        value = getattr(thing, attribute)
        if not (key == "viscosity" and value == 0.0):  # without friction, or fully rough: on purpose
            yield from bounds.faults((*thing.origin, key), value)


def _non_return_faults(valve: NonReturnValve) -> Iterator[Fault]:
    if not math.isinf(valve.kv):
        yield from KV.faults((*valve.origin, "kv"), valve.kv)
    elif valve.closing_time > 0.0:
        yield Fault(
            path=(*valve.origin, "closing_time"),
            found="closing_time without kv",
            expected="a kv: what passes while it closes follows from it",
            remedy="add the Kv of the open valve",
        )


def _site_faults(lineup: LineUp) -> Iterator[Fault]:
    air = "give the pressure of the air at the berth, absolute and not reduced to sea level"
    yield from Bounds(0.6 * BAR, 1.1 * BAR, air, "bar(a)", BAR).faults(
        ("site", "barometer"), lineup.atmosphere
    )
    gravity = Bounds(9.7, 9.9, "give the acceleration of gravity on earth", "m/s2")
    yield from gravity.faults(("site", "gravity"), lineup.gravity)
    gas = Bounds(*FREE_GAS_BOUNDS, "give the share of free gas by volume, 1e-7 where it is not known")
    yield from gas.faults(("calculation", "free_gas"), lineup.free_gas)
    if lineup.gas_content != 0.0:
        throughout = "give the share of gas by volume, 0.005 for half a per cent, or leave it out for none"
        content = Bounds(*GAS_CONTENT_BOUNDS, throughout)
        yield from content.faults(("calculation", "gas_content"), lineup.gas_content)
    top = pressure_bounds("give the greatest pressure at the top of the cargo pump")
    yield from top.faults(("limits", "cargo_pump_top"), lineup.pump_top_limit)


def _pipe_faults(pipe: Pipe, *, liquid: Liquid) -> Iterator[Fault]:
    yield from choice_faults((*pipe.origin, "kind"), pipe.kind, choices=("pipe", "hose", "arm"))
    yield from _roughness_faults(pipe)
    yield from _wave_speed_faults(pipe, liquid=liquid)
    if pipe.friction_factor is not None:
        bounds = Bounds(0.0, 10.0, "give the Darcy friction factor")
        yield from bounds.faults((*pipe.origin, "friction_factor"), pipe.friction_factor)
    if pipe.length_range is not None:
        yield from _length_range_faults(pipe, pipe.length_range)
    yield from _bend_faults(pipe)


def _bend_faults(pipe: Pipe) -> Iterator[Fault]:
    """Bends stand in order, between the ends of the pipe however short it is."""
    shortest = pipe.length if pipe.length_range is None else min(pipe.length_range)
    before = 0.0
    for k, bend in enumerate(pipe.bends):
        if not before < bend < shortest:
            yield Fault(
                path=(*pipe.origin, "bends_at", k),
                found=f"a bend {bend:g} m from the start",
                expected=f"more than {before:g} m and less than {shortest:g} m: bends in their order, and "
                "none at an end",
                remedy="write the distances along the pipe from its start, the nearest bend first",
            )
            return
        before = bend


def _length_range_faults(pipe: Pipe, ends: tuple[float, float]) -> Iterator[Fault]:
    wrong = [fault for k in (0, 1) for fault in LENGTH.faults((*pipe.origin, "length", k), ends[k])]
    yield from wrong
    if not wrong and not (ends[0] < ends[1] and ends[0] <= pipe.length <= ends[1]):
        yield Fault(
            path=(*pipe.origin, "length"),
            found=f"a range from {ends[0]:g} m to {ends[1]:g} m",
            expected="the shortest possible length first, then the greatest",
            remedy="write the two in that order, or one length alone if it is known",
        )


def _height_faults(lineup: LineUp, pipe: Pipe) -> Iterator[Fault]:
    start, end = (lineup.points_by_name.get(name) for name in (pipe.start, pipe.end))
    if start is None or end is None:
        return
    if not (ELEVATION.allows(start.elevation) and ELEVATION.allows(end.elevation)):
        return
    height = abs(end.elevation - start.elevation)
    shortest = pipe.length if pipe.length_range is None else pipe.length_range[0]
    if LENGTH.low <= shortest < height * (1.0 - ROUNDING):
        yield Fault(
            path=(*pipe.origin, "length"),
            found=f"{shortest:g} m, between points {height:g} m apart in height",
            expected=f"at least {height:g} m",
            remedy=f'check the length and the elevations of "{start.name}" and "{end.name}"',
        )


def _roughness_faults(pipe: Pipe) -> Iterator[Fault]:
    highest = RELATIVE_ROUGHNESS * pipe.diameter
    if pipe.roughness >= 0.0 and (pipe.roughness <= highest or not pipe.diameter > 0.0):
        return
    yield Fault(
        path=(*pipe.origin, "roughness"),
        found=f"{pipe.roughness / MILLIMETRE:g} mm",
        expected=f"from 0 mm to {highest / MILLIMETRE:g} mm: the law of friction is known up to "
        f"{RELATIVE_ROUGHNESS:g} of the inside diameter",
        remedy="give the roughness of the wall itself, usually 0.01 to 1 mm",
    )


def _wave_speed_faults(pipe: Pipe, *, liquid: Liquid) -> Iterator[Fault]:
    given = pipe.wave_speed_source == "given"
    if pipe.wave_speed <= liquid.sound_speed * (WAVE_SPEED_EXCESS if given else 1.0 + ROUNDING):
        return
    if not (math.isfinite(pipe.wave_speed) and liquid.sound_speed > 0.0):
        return
    yield Fault(
        path=(*pipe.origin, "wave_speed"),
        found=f"{pipe.wave_speed:g} m/s",
        expected=f"not above the speed of sound in the liquid, {liquid.sound_speed:g} m/s: a wall that "
        "yields can only slow a wave down",
        remedy="check the wave speed and the liquid's sound speed: they may belong to different liquids",
    )


def _limit_faults(element: Element, *, atmosphere: float) -> Iterator[Fault]:
    limits, origin = element.limits, element.origin
    if limits.rating is not None:
        bounds = pressure_bounds("give the greatest working pressure from the nameplate")
        yield from bounds.faults((*origin, "rating"), limits.rating)
    if limits.test_pressure is not None:
        bounds = pressure_bounds("give the pressure of the last test")
        yield from bounds.faults((*origin, "test_pressure"), limits.test_pressure)
        if limits.rating is not None and limits.test_pressure < limits.rating:
            yield Fault(
                path=(*origin, "test_pressure"),
                found=f"{limits.test_pressure / BAR:g} bar(g)",
                expected=f"not below the rating, {limits.rating / BAR:g} bar(g)",
                remedy="check both; what was tested to less than its rating may be used to that only",
            )
    if limits.lowest is not None:
        remedy = "give 0 bar(g) where no vacuum is allowed, a negative gauge pressure where some is"
        bounds = Bounds(-atmosphere, 0.0, remedy, "bar(g)", BAR)
        yield from bounds.faults((*origin, "lowest_pressure"), limits.lowest)


def _allowance_faults(element: Element) -> Iterator[Fault]:
    allowance, path = element.limits.allowance, (*element.origin, "allowance")
    code = "write 1.0, or what the code of the line allows for an occasional surge"
    wrong = list(Bounds(0.5, HIGHEST_ALLOWANCE, code).faults(path, allowance))
    yield from wrong
    if wrong or allowance <= 1.0 or not isinstance(element, Pipe):
        return
    what = "a brittle wall" if element.brittle else {"hose": "a hose", "arm": "an arm"}.get(element.kind)
    if what is not None:
        yield Fault(
            path=path,
            found=f"{allowance:g} for {what}",
            expected="at most 1: hoses, arms and brittle walls have no allowance for surge",
            remedy="leave allowance out, or write 1.0",
        )


def _tank_faults(lineup: LineUp, tank: Tank) -> Iterator[Fault]:
    yield from _number_faults(tank)
    yield from choice_faults((*tank.origin, "side"), tank.side, choices=("shore", "ship"))
    remedy = "give the pressure above the liquid"
    bounds = pressure_bounds(remedy, above=-lineup.atmosphere, highest=25.0 * BAR)
    yield from bounds.faults((*tank.origin, "blanket"), tank.blanket)
    yield from outlet_faults(lineup, tank, level=tank.level, path=(*tank.origin, "level"))


def _supply_faults(supply: Supply, *, atmosphere: float) -> Iterator[Fault]:
    bounds = pressure_bounds("give the pressure at the far end of the shore line", above=-atmosphere)
    for key, value in (("pressure", supply.pressure), ("shut_off_pressure", supply.shut_off)):
        if value is not None:
            yield from bounds.faults((*supply.origin, key), value)
    if supply.pressure is None or supply.shut_off is None or not supply.shut_off < supply.pressure:
        return
    yield Fault(
        path=(*supply.origin, "shut_off_pressure"),
        found=f"{supply.shut_off / BAR:g} bar(g)",
        expected=f"not below the pressure while loading, {supply.pressure / BAR:g} bar(g)",
        remedy="give the pressure that the terminal's pumps reach against a shut valve",
    )
