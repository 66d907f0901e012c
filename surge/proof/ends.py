"""Checks of pumps at constant speed, and of what a march keeps: energy, volume, steady flow."""

from __future__ import annotations

import math

import numpy as np

from surge.model.lineup import GRAVITY, LineUp, Pump
from surge.proof.checks import COMPUTED, Check, Figure, given
from surge.proof.lines import line_up, pipe, reservoir_line, run, start, step_at, valve
from surge.proof.waves import EXACT, GROUP, PROGRAM, G

PUMP_D = math.sqrt(0.4 / math.pi)  # [m] a bore of 0.1 m2


# A pump at constant speed


def _pumped(*, non_return: bool) -> LineUp:
    curve = ((0.0, 90.0), (0.3, 90 - 200 * 0.3**2))
    return line_up(
        [
            Pump(name="pump", start="sump", end="discharge", curve=curve, non_return=non_return),
            pipe("line", "discharge", "before", 1000.0, 1000.0, diameter=PUMP_D),
            valve("valve", "before", "out", 0.3 / math.sqrt(72.0)),
        ],
        {"sump": 0.0, "out": 0.0},
    )


def _pumps() -> list[Check]:
    inputs = given(
        G,
        ("Q0", 0.3, "m3/s", "flow"),
        ("A", 0.1, "m2", "bore area"),
        ("a", 1000.0, "m/s", "wave speed"),
    )
    title = "pump H = 90 - 200 Q|Q|, 1000 m of line, far end shut at once"
    source = "the pump's curve and the characteristic; derived"
    base = ("B = a/(g*A)", "H0 = 90 - 200*Q0**2", "Hv = H0 + B*Q0 ; at the valve")
    return [
        Check(
            name="pump-without-non-return-valve",
            group=GROUP,
            title=title,
            source=source,
            status=COMPUTED,
            given=inputs,
            working=(
                *base,
                "M = Hv + B*0 ; wave that arrives at the pump: H = M + B*Q there",
                "Q = -(sqrt(B**2 + 4*200*(M - 90)) - B)/(2*200) ; of M + B*Q = 90 + 200*Q**2, Q below 0",
                "H = M + B*Q",
            ),
            figures=(
                Figure(what="head at first", unit="m", expected=72.0, tolerance=1e-9, step="H0"),
                Figure(what="head at the valve", unit="m", expected=377.915, tolerance=5.1e-4, step="Hv"),
                Figure(
                    what="flow through the pump on arrival",
                    unit="m3/s",
                    expected=-0.268236,
                    tolerance=6e-7,
                    step="Q",
                ),
                Figure(
                    what="head at the pump on arrival", unit="m", expected=104.390, tolerance=6e-4, step="H"
                ),
            ),
            why=EXACT,
            program=PROGRAM,
            compute=_open_pump,
        ),
        Check(
            name="pump-with-non-return-valve",
            group=GROUP,
            title=title + ", non-return valve",
            source=source,
            status=COMPUTED,
            given=inputs,
            working=base,
            figures=(
                Figure(
                    what="lowest head anywhere after arrival",
                    unit="m",
                    expected=377.915,
                    tolerance=5.1e-4,
                    step="Hv",
                ),
                Figure(what="highest head ever", unit="m", expected=377.915, tolerance=5.1e-4, step="Hv"),
                Figure(
                    what="greatest flow through the pump after arrival",
                    unit="m3/s",
                    expected=0.0,
                    tolerance=1e-12,
                ),
            ),
            why=EXACT,
            program=PROGRAM,
            compute=_checked_pump,
        ),
        Check(
            name="pump-reflects",
            group=GROUP,
            title="small wave on the same pump",
            source="r = (S - B)/(S + B) with S = 2 x 200 Q0, linearised; derived",
            status=COMPUTED,
            given=inputs,
            working=("B = a/(g*A)", "S = 2*200*Q0", "r = (S - B)/(S + B)"),
            figures=(Figure(what="reflected part", unit="-", expected=-0.7894, tolerance=6e-5, step="r"),),
            why="the wave is 1e-5 of the flow; the digits given",
            program=PROGRAM,
            compute=_pump_reflects,
        ),
    ]


def _open_pump() -> tuple[float, ...]:
    dt = 0.05
    made = run(_pumped(non_return=False), dt, 1.5, ratio={"valve": step_at(dt)})
    k = round(1.1 / dt)
    return (
        made.at("before", 0.0),
        made.at("before", 0.5),
        float(made.flow("pump")[k]),
        float(made.head("discharge")[k]),
    )


def _checked_pump() -> tuple[float, ...]:
    dt = 0.05
    made = run(_pumped(non_return=True), dt, 10.0, ratio={"valve": step_at(dt)})
    k = round(1.1 / dt)
    late = np.minimum(made.head("discharge")[k:], made.head("before")[k:])
    highest = max(float(made.head(p).max()) for p in ("discharge", "before"))
    return float(late.min()), highest, float(np.abs(made.flow("pump")[k:]).max())


def _pump_reflects() -> tuple[float]:
    dt = 0.05
    made = run(_pumped(non_return=False), dt, 1.5, ratio={"valve": step_at(dt, 1.0, 1 - 1e-5)})
    wave = made.at("before", 0.5) - made.at("before", 0.0)
    met = made.at("discharge", 1.1) - made.at("discharge", 0.0)
    return (met / wave - 1,)


# Energy and volume


def _kept() -> list[Check]:
    return [
        Check(
            name="energy-is-kept",
            group=GROUP,
            title="all of the flow's energy becomes pressure and back",
            source="rho A L V^2/2 = A L dp^2/(2 rho a^2); derived: no work is done at a tank at rest and "
            "a shut valve",
            status=COMPUTED,
            given=given(
                ("rho", 1000.0, "kg/m3", "density"),
                ("A", 0.1, "m2", "bore area"),
                ("L", 1000.0, "m", "length"),
                ("V", 2.0, "m/s", "velocity"),
                ("a", 1200.0, "m/s", "wave speed"),
            ),
            working=("E = rho*A*L*V**2/2/1000", "dp = rho*a*V", "Ep = A*L*dp**2/(2*rho*a**2)/1000"),
            figures=(
                Figure(
                    what="least of both together in five travel times",
                    unit="kJ",
                    expected=200.0,
                    tolerance=1e-6,
                    step="E",
                ),
                Figure(
                    what="greatest of both together", unit="kJ", expected=200.0, tolerance=1e-6, step="Ep"
                ),
            ),
            why="exact without friction: rounding",
            program=PROGRAM,
            compute=_energy,
        ),
        Check(
            name="volume-is-kept",
            group=GROUP,
            title="liquid that still flows in after a stop is what the line is packed with",
            source="in the time L/2a the wave goes half the length and Q0 L/2a flows in; a rise J packs g "
            "A J/a^2 of a metre; "
            "derived, both are the same",
            status=COMPUTED,
            given=given(
                G,
                ("A", 0.1, "m2", "bore area"),
                ("L", 1000.0, "m", "length"),
                ("V", 2.0, "m/s", "velocity"),
                ("a", 1200.0, "m/s", "wave speed"),
            ),
            working=("in_ = A*V*L/(2*a)", "J = a*V/g", "packed = g*A*J/a**2*L/2"),
            figures=(
                Figure(
                    what="volume that the tank gave",
                    unit="m3",
                    expected=0.0833333,
                    tolerance=6e-8,
                    step="in_",
                ),
                Figure(
                    what="volume that the line took",
                    unit="m3",
                    expected=0.0833333,
                    tolerance=6e-8,
                    step="packed",
                ),
            ),
            why=EXACT,
            program=PROGRAM,
            compute=_volume,
        ),
        Check(
            name="steady-stays-steady",
            group=GROUP,
            title="a line-up with pump, tee, dead leg, short hose and valve, nothing moves for 5 s",
            source="a steady flow is one that stays (definition)",
            status=COMPUTED,
            figures=(
                Figure(what="greatest change of head anywhere", unit="m", expected=0.0, tolerance=1e-8),
                Figure(what="greatest change of flow anywhere", unit="m3/s", expected=0.0, tolerance=1e-10),
            ),
            why="rounding of heads of 100 m over 500 steps",
            program="steady flow and march of a line-up",
            compute=_still,
        ),
    ]


def _energy() -> tuple[float, float]:
    rho, area, length, a, n = 1000.0, 0.1, 1000.0, 1200.0, 20
    lineup = reservoir_line(head=500.0, length=length, wave_speed=a, velocity=2.0, diameter=PUMP_D)
    made = start(lineup, length / a / n, ratio={"valve": step_at(length / a / n)})
    made.advance(1)
    weight = np.full(n + 1, length / n)
    weight[[0, -1]] /= 2
    found = []
    for _ in range(5 * n):
        head, flow = made.state(0)
        kinetic = rho * area / 2 * np.sum(weight * (flow / area) ** 2)
        elastic = area / (2 * rho * a**2) * np.sum(weight * (rho * GRAVITY * (head - 500.0)) ** 2)
        found.append(float(kinetic + elastic) / 1000)
        made.marched.advance(1)
    return min(found), max(found)


def _volume() -> tuple[float, float]:
    area, length, a, n = 0.1, 1000.0, 1200.0, 20
    dt = length / a / n
    lineup = reservoir_line(head=500.0, length=length, wave_speed=a, velocity=2.0, diameter=PUMP_D)
    made = start(lineup, dt, ratio={"valve": step_at(dt)})

    def stored() -> float:
        head, _ = made.state(0)
        return float(GRAVITY * area / a**2 * length / n * (head[1:-1].sum() + (head[0] + head[-1]) / 2))

    made.advance(1)
    before = stored()
    made.advance(n // 2)
    inflow = made.into("line", far=False)[1:]
    return float(np.sum((inflow[1:] + inflow[:-1]) / 2) * dt), stored() - before


def _still() -> tuple[float, float]:
    curve = ((0.0, 60.0), (0.1, 55.0), (0.2, 42.0))
    elements = [
        Pump(name="pump", start="sump", end="discharge", curve=curve, non_return=True),
        pipe("main", "discharge", "tee", 400.0, 1000.0, friction_factor=0.02),
        pipe("dead leg", "tee", "blank", 80.0, 1000.0, diameter=0.2),
        pipe("hose", "tee", "manifold", 3.0, 400.0, diameter=0.3, friction_factor=0.03),
        valve("valve", "manifold", "deck", 0.05),
        pipe("deck line", "deck", "ship", 90.0, 1000.0, friction_factor=0.02),
    ]
    made = run(line_up(elements, {"sump": 5.0, "ship": 8.0}), 0.01, 5.0)
    return float(np.ptp(made.heads, axis=0).max()), float(np.ptp(made.flows, axis=0).max())


CHECKS = (*_pumps(), *_kept())
