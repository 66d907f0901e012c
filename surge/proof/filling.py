"""Checks of lines that fill: a rigid column, a pocket, an arrival."""

from __future__ import annotations

import math

from surge.model.filling import Filling
from surge.model.lineup import LineUp, Liquid, Pipe, Point, Scenario, Tank, Valve
from surge.proof.checks import COMPUTED, Check, Figure, given
from surge.transient.filling import fill
from surge.transient.filling_line import fill_line
from surge.transient.filling_result import FillingResult
from surge.transient.filling_rigid import rigid_fill
from surge.units import ATMOSPHERE

GROUP = "lines that fill"
BORE = math.sqrt(0.4 / math.pi)  # [m] a bore of 0.1 m2
LENGTH, SUPPLY = 100.0, 5e5
COLUMN = (
    ("rho", 1000.0, "kg/m3", "density"),
    ("L", LENGTH, "m", "length of the level line, without friction"),
)


def _line(*, supply: float, valve: bool = False) -> LineUp:
    """A tank of constant pressure, a pipe without friction, a closed end or a valve."""
    points = [Point(name="tank", elevation=0.0), Point(name="end", elevation=0.0, closed=not valve)]
    tanks = [Tank(name="shore", point="tank", side="shore", level=0.0, blanket=supply)]
    valves: tuple[Valve, ...] = ()
    if valve:
        points.append(Point(name="beyond", elevation=0.0))
        tanks.append(Tank(name="ship", point="beyond", side="ship", level=-1.0))
        straight = ((0.0, 0.0), (1.0, 1.0))
        valves = (Valve(name="valve", start="end", end="beyond", kv=600.0, characteristic=straight),)
    pipe = Pipe(
        name="line",
        start="tank",
        end="end",
        length=LENGTH,
        diameter=BORE,
        wave_speed=1000.0,
        friction_factor=0.0,
    )
    liquid = Liquid(name="water", density=1000.0, sound_speed=1400.0, viscosity=0.0, vapour_pressure=0.0)
    return LineUp(
        title="a line that fills",
        liquid=liquid,
        points=tuple(points),
        pipes=(pipe,),
        valves=valves,
        tanks=tuple(tanks),
    )


def _filling(*, front: float, vent: str) -> Filling:
    return Filling(
        name="fill",
        scenario=Scenario(name="fill"),
        start="tank",
        end="end",
        front=front,
        gas_pressure=0.0,
        exponent=1.0,
        vent=vent,
    )


def _arrival() -> list[float]:
    made = rigid_fill(fill_line(_line(supply=SUPPLY), _filling(front=20.0, vent="open")))
    return [made.velocity]


def _pocket() -> list[float]:
    supply = ATMOSPHERE * 0.6 * math.log(90.0 * 60.0 / (10.0 * 40.0)) / math.log(90.0 / 40.0)
    made = rigid_fill(fill_line(_line(supply=supply - ATMOSPHERE), _filling(front=40.0, vent="shut")))
    return [made.peak_gas]


def _valve(*, valve: bool) -> FillingResult:
    return fill(_line(supply=SUPPLY, valve=valve), _filling(front=20.0, vent="open"))


def _shut() -> list[float]:
    made = _valve(valve=False)
    assert made.arrival_rigid is not None
    assert made.impact is not None
    first = made.impact.heads[0, -1, 1] * made.line.rho_g
    return [made.arrival_rigid.pressure.value, float(first)]


def _throttled() -> list[float]:
    made = _valve(valve=True)
    assert made.arrival_rigid is not None
    return [made.arrival_rigid.pressure.value, made.arrival_rigid.through]


SPEED = "v = sqrt(2*p*log(L/x0)/rho)"
CHECKS: tuple[Check, ...] = (
    Check(
        name="filling-arrival",
        group=GROUP,
        title="a rigid column without friction comes to the end of a line that is open to the air",
        source="rho x v dv/dx = p, integrated; derived",
        status=COMPUTED,
        given=given(
            *COLUMN, ("p", SUPPLY, "Pa gauge", "pressure of the tank"), ("x0", 20.0, "m", "column at first")
        ),
        working=(SPEED,),
        figures=(Figure(what="velocity", unit="m/s", expected=40.1178, tolerance=0.0006, step="v"),),
        why="exact but for the last 0.1 mm, and the digits given",
        program="surge.transient.filling_rigid.rigid_fill",
        compute=_arrival,
    ),
    Check(
        name="filling-pocket",
        group=GROUP,
        title="a rigid column without friction turns in a trapped pocket, isothermal",
        source="rho x v dv/dx = p - p0 (L - x0)/(L - x), integrated from rest to rest; derived",
        status=COMPUTED,
        given=given(
            *COLUMN,
            ("x0", 40.0, "m", "column at first"),
            ("x1", 90.0, "m", "where it turns"),
            ("p0", ATMOSPHERE, "Pa abs", "gas at first"),
        ),
        working=(
            "ps = p0*(L - x0)/L*log(x1*(L - x0)/((L - x1)*x0))/log(x1/x0) ; pressure of the tank for that",
            "p1 = p0*(L - x0)/(L - x1)",
        ),
        figures=(
            Figure(what="highest pressure", unit="Pa abs", expected=607950.0, tolerance=1.0, step="p1"),
        ),
        why="exact: the steps of the integration, and the digits given",
        program="surge.transient.filling_rigid.rigid_fill",
        compute=_pocket,
    ),
    Check(
        name="filling-shut-end",
        group=GROUP,
        title="the front comes to a shut end: density x wave speed x velocity",
        source="Joukowsky; Wylie & Streeter, Fluid Transients in Systems, from memory",
        status=COMPUTED,
        given=given(
            *COLUMN,
            ("a", 1000.0, "m/s", "wave speed"),
            ("p", SUPPLY, "Pa gauge", "pressure of the tank"),
            ("x0", 20.0, "m", "column at first"),
        ),
        working=(SPEED, "pe = rho*a*v"),
        figures=(
            Figure(what="by the rule", unit="Pa gauge", expected=40117800.0, tolerance=600.0, step="pe"),
            Figure(what="by the march", unit="Pa gauge", expected=40117800.0, tolerance=8000.0, step="pe"),
        ),
        why="exact but for the last 0.1 mm; the first step of the march adds a little of the line's pressure",
        program="surge.transient.filling.fill",
        compute=_shut,
    ),
    Check(
        name="filling-throttle",
        group=GROUP,
        title="the front comes to a valve that lets a part pass on",
        source="p = rho a (v - v_through), v_through by Kv (IEC 60534-1, from memory); derived",
        status=COMPUTED,
        given=given(
            *COLUMN,
            ("a", 1000.0, "m/s", "wave speed"),
            ("A", 0.1, "m2", "bore area"),
            ("Kv", 600.0, "m3/h", "of the valve"),
            ("p", SUPPLY, "Pa gauge", "pressure of the tank"),
            ("x0", 20.0, "m", "column at first"),
        ),
        working=(
            SPEED,
            "k = Kv/3600/A*sqrt(1/1e5) ; v_through = k*sqrt(p), rho being that of water",
            "s = (sqrt((rho*a*k)**2 + 4*rho*a*v) - rho*a*k)/2 ; root of the pressure",
            "pe = s**2",
            "vt = k*s",
        ),
        figures=(
            Figure(what="pressure", unit="Pa gauge", expected=17850299.0, tolerance=600.0, step="pe"),
            Figure(what="velocity that passes on", unit="m/s", expected=22.2675, tolerance=0.0003, step="vt"),
        ),
        why="exact but for the last 0.1 mm, and the digits given",
        program="surge.transient.filling.fill",
        compute=_throttled,
    ),
)
