"""Checks of waves without friction: instant stops, slow closures, reflections.

At Courant number 1 the march is exact there, so a tolerance is rounding, or the digits of the figure.
"""

from __future__ import annotations

import math
from functools import partial

import numpy as np

from surge.model.lineup import GRAVITY
from surge.proof.checks import COMPUTED, Check, Figure, given
from surge.proof.lines import line_up, pipe, reservoir_line, run, step_at, valve

GROUP = "waves without friction"
PROGRAM = "march of a line-up"
CLASSICAL = "classical, any textbook on water hammer; worked by the lines shown"
G = ("g", GRAVITY, "m/s2", "gravity")
EXACT = "exact without friction: rounding, and the digits given"


def instant_rise(*, wave_speed: float, velocity: float, gravity: float = GRAVITY) -> float:
    """Rise of head when a valve at the end of a line shuts at once, by a march [m]."""
    length = 100.0
    dt = length / wave_speed / 10
    lineup = reservoir_line(
        head=100.0, length=length, wave_speed=wave_speed, velocity=velocity, gravity=gravity
    )
    made = run(lineup, dt, 3 * dt, ratio={"valve": step_at(dt)})
    return made.at("before", 2 * dt) - made.at("before", 0.0)


def falling_flow(
    *, wave_speed: float, length: float, velocity: float, last: float, time: float, gravity: float = GRAVITY
) -> tuple[float, float]:
    """Greatest and mean rise of head while the flow falls straight from ``velocity`` to ``last`` [m].

    By a march in which the valve is led so that its flow falls straight, over the first two periods of a
    frictionless line; what a fall D(t) of velocity raises there is a/g (D(t) - 2 D(t - 2L/a)).
    """
    n = 20
    dt, period = length / wave_speed / n, 2 * n
    head = 50.0 + 4 * wave_speed * velocity / gravity

    def fall(k: int) -> float:
        return (velocity - last) * min(max(k * dt, 0.0), time) / time

    def ratio(k: int) -> float:
        rise = wave_speed / gravity * (fall(k) - 2 * fall(k - period))
        return (1 - fall(k) / velocity) / math.sqrt(1 + rise / head)

    law = tuple((k * dt, ratio(k)) for k in range(2 * period + 1))
    lineup = reservoir_line(
        head=head, length=length, wave_speed=wave_speed, velocity=velocity, gravity=gravity
    )
    made = run(lineup, dt, 2 * period * dt, ratio={"valve": law})
    rise = made.head("before") - head
    return float(rise.max()), float(np.mean((rise[1:] + rise[:-1]) / 2))


def _stops() -> list[Check]:
    made = [
        Check(
            name=f"instant-stop-{name}",
            group=GROUP,
            title=f"{dv:g} m/s stopped at once, {words}",
            source="Joukowsky: dp = rho a dV; " + CLASSICAL,
            status=COMPUTED,
            given=given(
                G,
                ("rho", rho, "kg/m3", "density"),
                ("a", a, "m/s", "wave speed"),
                ("dV", dv, "m/s", "velocity stopped"),
            ),
            working=("dp = rho*a*dV", "bar = dp/1e5", "J = a*dV/g"),
            figures=(
                Figure(what="rise", unit="bar", expected=bar, tolerance=5.1e-5, step="bar"),
                Figure(what="rise", unit="m", expected=head, tolerance=5.1e-4, step="J"),
            ),
            why=EXACT,
            program=PROGRAM,
            compute=partial(_stop, rho, a, dv),
        )
        for name, words, rho, a, dv, bar, head in (
            ("water", "water in steel", 998.2, 1200.0, 1.0, 11.9784, 122.366),
            ("round", "round figures", 1000.0, 1000.0, 1.0, 10.0, 101.972),
            ("gasoline", "gasoline", 740.0, 1050.0, 2.5, 19.425, 267.676),
            ("hose", "in a soft hose", 740.0, 400.0, 4.0, 11.84, 163.155),
        )
    ]
    made += [
        Check(
            name="michaud",
            group=GROUP,
            title="flow that falls straight to nothing in 10 s, line of 1000 m, 2 m/s",
            source="Michaud: dp = 2 rho L V/T when T > 2L/a; mean of it the rigid column's rho L V/T; "
            + CLASSICAL,
            status=COMPUTED,
            given=given(
                ("rho", 998.2, "kg/m3", "density"),
                ("L", 1000.0, "m", "length"),
                ("V", 2.0, "m/s", "velocity"),
                ("T", 10.0, "s", "time"),
            ),
            working=("high = 2*rho*L*V/T/1e5", "mean = rho*L*V/T/1e5"),
            figures=(
                Figure(what="greatest rise", unit="bar", expected=3.9928, tolerance=5.1e-5, step="high"),
                Figure(what="mean rise", unit="bar", expected=1.9964, tolerance=5.1e-5, step="mean"),
            ),
            why=EXACT,
            program=PROGRAM,
            compute=_michaud,
        ),
        Check(
            name="partial-stops-add-up",
            group=GROUP,
            title="two stops of parts of the flow within one period",
            source="Joukowsky, applied twice; " + CLASSICAL,
            status=COMPUTED,
            given=given(G, ("a", 1200.0, "m/s", "wave speed"), ("V", 1.5, "m/s", "velocity")),
            working=("J = a*V/g",),
            figures=(
                Figure(what="sum of both rises", unit="m", expected=183.549, tolerance=5.1e-4, step="J"),
            ),
            why=EXACT,
            program=PROGRAM,
            compute=_parts,
        ),
        Check(
            name="slow-closure-rigid-column",
            group=GROUP,
            title="1000 m, 1 m/s, tank at 50 m, valve shut straight in 20 s into a head of 0, stiff line",
            source="rigid column, also the limit of Allievi's chain for long strokes; derived from dV/dt "
            "= g(H0-H)/L",
            status=COMPUTED,
            given=given(
                G,
                ("L", 1000.0, "m", "length"),
                ("V", 1.0, "m/s", "velocity"),
                ("H0", 50.0, "m", "head of the tank"),
                ("T", 20.0, "s", "stroke"),
            ),
            working=("N = (L*V/(g*H0*T))**2", "h = 1 + N/2 + sqrt(N + N**2/4)"),
            figures=(
                Figure(what="greatest head over H0", unit="-", expected=1.107303, tolerance=1e-6, step="h"),
            ),
            why="the digits given; the wave speed is 3200 m/s, where the ripple of the elastic line is gone",
            program=PROGRAM,
            compute=_rigid,
        ),
    ]
    return made


def _stop(rho: float, a: float, dv: float) -> tuple[float, float]:
    rise = instant_rise(wave_speed=a, velocity=dv)
    return rise * rho * GRAVITY / 1e5, rise


def _michaud() -> tuple[float, float]:
    high, mean = falling_flow(wave_speed=1200.0, length=1000.0, velocity=2.0, last=0.0, time=10.0)
    bar = 998.2 * GRAVITY / 1e5
    return high * bar, mean * bar


def _parts() -> tuple[float]:
    dt = 0.05
    law = ((0.0, 1.0), (dt, 1.0), (dt, 0.4), (5 * dt, 0.4), (5 * dt, 0.0))
    made = run(
        reservoir_line(head=80, length=600, wave_speed=1200, velocity=1.5), dt, 0.9, ratio={"valve": law}
    )
    steps = np.diff(made.head("before"))
    steps = steps[np.abs(steps) > 1e-6]
    return (float(steps.sum()) if steps.size == 2 else math.nan,)


def _rigid() -> tuple[float]:
    a = 3200.0
    lineup = reservoir_line(head=50, length=1000, wave_speed=a, velocity=1)
    made = run(lineup, 1000 / a / 20, 20.0, ratio={"valve": ((0.0, 1.0), (20.0, 0.0))})
    return (float(made.head("before").max()) / 50,)


# Periods and reflections


def _periods() -> list[Check]:
    return [
        Check(
            name="period",
            group=GROUP,
            title="600 m at 1200 m/s: when the wave is back, and when it repeats",
            source="2L/a and 4L/a; " + CLASSICAL,
            status=COMPUTED,
            given=given(("L", 600.0, "m", "length"), ("a", 1200.0, "m/s", "wave speed")),
            working=("t1 = 2*L/a ; + J until then, - J afterwards", "t2 = 4*L/a"),
            figures=(
                Figure(what="first fall at the valve", unit="s", expected=1.0, tolerance=1e-9, step="t1"),
                Figure(what="next rise at the valve", unit="s", expected=2.0, tolerance=1e-9, step="t2"),
                Figure(what="size of every later swing over J", unit="-", expected=1.0, tolerance=1e-9),
            ),
            why="exact without friction: rounding",
            program=PROGRAM,
            compute=_period,
        ),
        *[
            Check(
                name=f"orifice-reflects-{rho_a:g}",
                group=GROUP,
                title=f"small wave on an orifice into a constant head, pipe number {rho_a:g}",
                source="r = (1 - P)/(1 + P), P = aV0/(2gH0), linearised; derived from the orifice's law "
                "and the "
                "characteristic",
                status=COMPUTED,
                given=given(("P", rho_a, "-", "pipe number")),
                working=("r = (1 - P)/(1 + P)",),
                figures=(Figure(what="reflected part", unit="-", expected=r, tolerance=4e-5, step="r"),),
                why="the wave is 1e-4 of the head and the square law bends r by as much",
                program=PROGRAM,
                compute=partial(_orifice, rho_a),
            )
            for rho_a, r in ((0.5, 0.33333), (1.0, 0.0), (2.0, -0.33333))
        ],
    ]


def _period() -> tuple[float, float, float]:
    dt = 0.05
    lineup = reservoir_line(head=100, length=600, wave_speed=1200, velocity=1)
    made = run(lineup, dt, 8.0, ratio={"valve": step_at(dt)})
    rise = made.head("before")[1:] - 100
    time = made.time[1:] - dt
    falls = time[1:][np.diff(rise) < -1.0]
    rises = time[1:][np.diff(rise) > 1.0]
    sizes = np.abs(rise) / (1200 / GRAVITY)
    return float(falls[0]), float(rises[0]), float(sizes[np.argmax(np.abs(sizes - 1))])


def _orifice(rho_a: float) -> tuple[float]:
    a, h0, dt = 1000.0, 50.0, 0.1
    v0 = rho_a * 2 * GRAVITY * h0 / a
    c = math.pi / 4 * 0.25 * v0 / math.sqrt(h0)
    elements = [
        valve("source", "tank", "in", 100 * c),
        pipe("line", "in", "before", 1000.0, a),
        valve("orifice", "before", "out", c),
    ]
    lineup = line_up(elements, {"tank": h0 * (1 + 1e-4), "out": 0.0})
    made = run(lineup, dt, 2.5, ratio={"source": step_at(dt, 1.0, 0.99)})
    wave = made.at("in", 0.2) - made.at("in", 0.0)
    met = made.at("before", 1.2) - made.at("before", 0.0)
    return (met / wave - 1,)


CHECKS = (*_stops(), *_periods())
