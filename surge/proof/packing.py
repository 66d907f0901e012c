"""Checks of waves with friction: line packing, weakening fronts, an oscillating valve, textbook lines."""

from __future__ import annotations

import math
from dataclasses import replace
from functools import lru_cache, partial

import numpy as np

from surge.model.lineup import GRAVITY, Liquid
from surge.proof.checks import COMPUTED, HERE, Check, Figure, given
from surge.proof.lines import KeptMarch, line_up, pipe, reservoir_line, run, sampled, step_at, valve

GROUP = "waves with friction"
PROGRAM = "march of a line-up"
RATE = 0.1  # [1/s] R = 32 nu/D^2 of the laminar line
F, D, V0, A, LENGTH = 0.02, 0.3, 3.0, 1000.0, 6000.0  # of the rough line
J = A * V0 / GRAVITY
X_G = 9.806  # [m/s2] of the single-pipe example
CLOSING = (1.0, 0.9, 0.7, 0.5, 0.3, 0.1, 0.0)  # openings of the series example at 0..6 s


# Laminar line packing


@lru_cache(maxsize=4)
def laminar(n: int) -> tuple[np.ndarray, np.ndarray]:
    """March a laminar line that is stopped suddenly, on ``n`` reaches.

    Its wave speed is 1000 m/s, its length 5000 m, R 0.1 1/s, the Reynolds number 320.

    Returns
    -------
    ndarray of shape (steps,)
        Time times R [-].
    ndarray of shape (steps,)
        Rise of head at the valve over the first rise a*V/g [-].
    """
    length, a, d = 5000.0, 1000.0, 1.0
    liquid = Liquid(
        name="thick", density=1000.0, sound_speed=1480.0, viscosity=RATE * d**2 / 32, vapour_pressure=0.0
    )
    elements = [
        pipe("line", "tank", "before", length, a, diameter=d, friction_factor=None),
        valve("valve", "before", "out", math.pi / 4 / math.sqrt(50.0)),
    ]
    lineup = line_up(elements, {"tank": 50 + RATE * length / GRAVITY, "out": 0.0}, liquid=liquid)
    dt = length / a / n
    made = run(lineup, dt, 10.0, ratio={"valve": step_at(dt)})
    velocity = made.steady.flow["line"] / (math.pi / 4)
    rise = (made.head("before") - made.head("before")[0]) / (a * velocity / GRAVITY)
    return RATE * (made.time[1:] - dt), rise[1:]


def _laminar_at(rt: float) -> tuple[float]:
    time, rise = laminar(200)
    k = int(np.argmin(np.abs(time - rt)))
    # The front carries half a reach's friction, seen at every second step: the two beside it are without.
    return (float(rise[k - 1] + rise[k + 1]) / 2,)


def _packing() -> list[Check]:
    form = "exp(-R*t/2)*((1 + R*t)*I0(R*t/2) + R*t*I1(R*t/2))"
    return [
        Check(
            name=f"line-packing-laminar-{rt:g}",
            group=GROUP,
            title=f"laminar line, sudden stop, nothing come back yet: rise at the valve at Rt = {rt:g}",
            source="V_t + g H_x + R V = 0 solved by Laplace transform (derived): "
            "exp(-Rt/2) [(1 + Rt) I0(Rt/2) + Rt I1(Rt/2)], R = 32 nu/D^2",
            status=COMPUTED,
            given=given(("R", RATE, "1/s", "rate of friction"), ("t", rt / RATE, "s", "time since the stop")),
            working=(f"h = {form} ; I0, I1: modified Bessel functions",),
            figures=(Figure(what="rise over J", unit="-", expected=h, tolerance=2e-5, step="h"),),
            why="second order in the step: 1e-6 at 200 reaches; the digits given",
            program=PROGRAM,
            compute=partial(_laminar_at, rt),
        )
        for rt, h in ((0.05, 1.024845), (0.1, 1.049385), (0.25, 1.121250), (0.5, 1.235582))
    ]


# Quadratic friction


@lru_cache(maxsize=8)
def rough_line(n: int, *, mid: float = 120.0, duration: float = 12.0) -> KeptMarch:
    """March a rough line that is shut at once at the first step, on ``n`` reaches.

    Its length is 6000 m, its bore 0.3 m, its friction factor 0.02, its wave speed 1000 m/s. The liquid flows
    at 3 m/s.

    Parameters
    ----------
    n : int
    mid : float
        Distance of the point "mid" from the tank [m].
    duration : float
        [s]
    """
    area = math.pi / 4 * D**2
    loss = F * LENGTH / D * V0**2 / (2 * GRAVITY)
    more = {"diameter": D, "friction_factor": F}
    elements = [
        pipe("near", "tank", "mid", mid, A, **more),
        pipe("line", "mid", "before", LENGTH - mid, A, **more),
        valve("valve", "before", "out", area * V0 / math.sqrt(50.0)),
    ]
    dt = LENGTH / A / n
    return run(line_up(elements, {"tank": 50 + loss, "out": 0.0}), dt, duration, ratio={"valve": step_at(dt)})


def _front(n: int, mid: float) -> tuple[float]:
    made, dt = rough_line(n, mid=mid), LENGTH / A / n
    k = 1 + round((LENGTH - mid) / A / dt)
    head = made.head("mid")
    return (float(head[k] - head[k - 1]) / J,)


def _packed() -> tuple[float, float]:
    n = 400
    made = rough_line(n, mid=600.0)
    k = round(2 * LENGTH / A / (LENGTH / A / n))
    rise = made.head("before") - made.head("before")[0]
    # Elapsed time at step k is one step short; what is missing follows from the slope over two steps.
    at = float(rise[k] + (rise[k] - rise[k - 2]) / 2)
    return at, at / J


def _quadratic() -> list[Check]:
    inputs = given(
        ("g", GRAVITY, "m/s2", "gravity"),
        ("f", F, "-", "Darcy factor"),
        ("D", D, "m", "bore"),
        ("V", V0, "m/s", "velocity"),
        ("a", A, "m/s", "wave speed"),
        ("L", LENGTH, "m", "length"),
    )
    fronts = [
        Check(
            name=f"front-strength-{LENGTH - mid:g}-m",
            group=GROUP,
            title=f"rough line, sudden stop: what is left of the front after {LENGTH - mid:g} m",
            source="1 - tanh(f V0 x/(4 D a)), integrated along the front with quadratic friction (derived)",
            status=COMPUTED,
            given=inputs,
            working=(f"s = 1 - tanh(f*V*{LENGTH - mid:g}/(4*D*a))",),
            figures=(Figure(what="front over J", unit="-", expected=s, tolerance=0.17 / n, step="s"),),
            why="first order: half a reach's friction of the flow before the front is not yet off it "
            "(n times as much: f V0 L/(8 D a) = 0.15), and what flows behind it is charged by the tangent at "
            "the flow before it (n times as much: f V0 L/(2 D a) * integral of t (1 - t)^2 du from 0 to 0.3, "
            "t = tanh(u): 0.016)",
            program=PROGRAM,
            compute=partial(_front, n, mid),
        )
        for n, mid, s in ((100, 120.0, 0.714188), (400, 30.0, 0.710061))
    ]
    return [
        *fronts,
        Check(
            name="line-packing-rough",
            group=GROUP,
            title="the same line: rise at the valve just before 2L/a, far above the instant-stop rise",
            source="an independent first-order calculation by characteristics, made once: 482.60 m on 100 "
            "and 483.93 m "
            "on 400 reaches one step before 2L/a",
            status=COMPUTED,
            given=inputs,
            working=("h = 483.93 + (483.93 - 482.60)/3 ; both together, at 2L/a itself", "r = h/(a*V/g)"),
            figures=(
                Figure(what="rise", unit="m", expected=484.37, tolerance=0.03, step="h"),
                Figure(what="rise over J", unit="-", expected=1.5834, tolerance=1e-4, step="r"),
            ),
            why="the digits of the reference",
            program=PROGRAM,
            compute=_packed,
        ),
    ]


# An oscillating valve


def _oscillating(rho_a: float, q: float) -> tuple[float]:
    """Amplitude over H0 at k = 0.1, from a march at k = 0.001."""
    a, length, head, k, n = 1000.0, 1000.0, 100.0, 1e-3, 48
    omega = q * math.pi * a / (2 * length)
    dt = length / a / n
    steps = round(2 * math.pi / omega / dt)
    end = math.ceil(30 * q) * steps * dt
    law = sampled(lambda t: 1 / (1 + k) * (1 + k * math.sin(omega * t)), dt, end)
    velocity = rho_a * 2 * GRAVITY * head / a
    lineup = reservoir_line(head=head, length=length, wave_speed=a, velocity=velocity * (1 + k))
    made = run(
        lineup.with_(valves=tuple(replace(v, opening=1 / (1 + k)) for v in lineup.valves)),
        dt,
        end,
        ratio={"valve": law},
    )
    last, t = made.head("before")[-steps:] / head - 1, made.time[-steps:]
    return (float(abs(2 / steps * np.sum(last * np.exp(-1j * omega * t)))) / k * 0.1,)


def _valve_swings() -> list[Check]:
    rows = (
        (0.5, 0.25, 0.040561),
        (0.5, 0.5, 0.089443),
        (0.5, 0.75, 0.154015),
        (1.0, 0.25, 0.076537),
        (1.0, 0.5, 0.141421),
        (1.0, 0.75, 0.184776),
        (2.0, 0.25, 0.127590),
        (2.0, 0.5, 0.178885),
        (2.0, 0.75, 0.195844),
        (1.0, 1.0, 0.2),
    )
    form = "2*P*k*tan(q*pi/2)/sqrt(1 + (P*tan(q*pi/2))**2)"
    return [
        Check(
            name=f"oscillating-valve-{rho_a:g}-{q:g}",
            group="oscillating valve",
            title=f"valve that swings at {q:g} of the line's own frequency, pipe number {rho_a:g}",
            source="|h|/H0 = 2 P k tan(phi)/sqrt(1 + P^2 tan^2 phi), phi = omega L/a, linearised "
            "(derived); 2k at the "
            "odd harmonic",
            status=COMPUTED,
            given=given(
                ("P", rho_a, "-", "pipe number"),
                ("q", q, "-", "frequency"),
                ("k", 0.1, "-", "swing of the valve"),
            ),
            working=("h = 2*k ; at the odd harmonic" if q == 1 else f"h = {form}",),
            figures=(Figure(what="amplitude over H0", unit="-", expected=h, tolerance=0.005 * h, step="h"),),
            why="0.5 %: marched at a hundredth of the swing; the square law adds the rest",
            program=PROGRAM,
            compute=partial(_oscillating, rho_a, q),
        )
        for rho_a, q, h in rows
    ]


# Two textbook lines


def single_law(t: float) -> float:
    """Return the opening [-] of the single-pipe example at a time [s]."""
    return float(max(0.0, 1 - t / 2.1) ** 1.5)


def single_line(n: int, duration: float = 4.0) -> KeptMarch:
    """March the single-pipe example on ``n`` reaches, for ``duration`` [s].

    Tank 150 m, length 600 m, wave speed 1200 m/s, bore 0.5 m, friction factor 0.018, CdA of the open valve
    0.009 m2, g 9.806 m/s2.
    """
    lineup = line_up(
        [
            pipe("line", "tank", "before", 600.0, 1200.0, friction_factor=0.018),
            valve("valve", "before", "out", 0.009 * math.sqrt(2 * X_G), gravity=X_G),
        ],
        {"tank": 150.0, "out": 0.0},
        gravity=X_G,
    )
    dt = 0.5 / n
    return run(lineup, dt, duration, ratio={"valve": sampled(single_law, dt, 2.1 + dt)})


def parabolic(t: float) -> float:
    """Return the opening [-] at a time [s]: a parabola through the point of :data:`CLOSING` before it and the
    two beside that one.
    """
    if t >= 6:
        return 0.0
    i = min(max(int(t), 1), 5)
    u = t - i
    y0, y1, y2 = CLOSING[i - 1 : i + 2]
    return y1 + u / 2 * (y2 - y0 + u * (y2 + y0 - 2 * y1))


def series_line(n: int) -> KeptMarch:
    """March the example of two pipes in series, on ``n`` reaches each, for 12 s.

    Tank 67.7 m, lengths 550 and 450 m, bores 0.75 and 0.60 m, wave speeds 1100 and 900 m/s, friction factors
    0.010 and 0.012, flow 1.0 m3/s.
    """
    g = 9.81

    def loss(f: float, length: float, d: float) -> float:
        return f * length / d / (2 * g * (math.pi / 4 * d**2) ** 2)

    at_valve = 67.7 - loss(0.010, 550, 0.75) - loss(0.012, 450, 0.60)
    lineup = line_up(
        [
            pipe("first", "tank", "joint", 550.0, 1100.0, diameter=0.75, friction_factor=0.010),
            pipe("second", "joint", "before", 450.0, 900.0, diameter=0.60, friction_factor=0.012),
            valve("valve", "before", "out", 1.0 / math.sqrt(at_valve), gravity=g),
        ],
        {"tank": 67.7, "out": 0.0},
        gravity=g,
    )
    dt = 0.5 / n
    return run(lineup, dt, 12.0, ratio={"valve": sampled(parabolic, dt, 6.0)})


SERIES = {0.5: 63.47, 1: 69.80, 2: 95.92, 3: 125.35, 4: 149.50, 5: 165.99, 6: 114.26}


def _single() -> tuple[float, ...]:
    made = single_line(250)
    h = made.head("before")
    return (
        made.steady.flow["line"],
        float(h[0]),
        float(h.max()),
        float(made.time[int(h.argmax())]),
        float(h.min()),
        made.at("before", 2.1),
    )


def _series() -> tuple[float, ...]:
    made = series_line(200)
    h = made.head("before")
    early = h[made.time <= 10.0]
    return (
        made.at("joint", 0.0),
        made.at("before", 0.0),
        *(made.at("before", t) for t in SERIES),
        float(h.max()),
        float(made.head("joint").max()),
        float(early.min()),
    )


def _textbooks() -> list[Check]:
    once = "an independent first-order calculation by characteristics, made once"
    return [
        Check(
            name="textbook-single-pipe",
            group=GROUP,
            title="600 m of 0.5 m pipe, f 0.018, tank 150 m, valve opening (1 - t/2.1)^1.5",
            source=f"inputs in the style of Wylie & Streeter, Fluid Transients in Systems; figures by "
            f"{once}, 250 reaches",
            status=HERE,
            given=given(("g", X_G, "m/s2", "gravity"), ("c", 0.009, "m2", "CdA of the valve, open")),
            working=(
                "A = pi/4*0.5**2",
                "k = 0.018*600/0.5/(2*g*A**2)",
                "Q = sqrt(150/(k + 1/(2*g*c**2)))",
                "H = 150 - k*Q**2",
            ),
            figures=(
                Figure(what="steady flow", unit="m3/s", expected=0.47743, tolerance=6e-6, step="Q"),
                Figure(what="steady head at the valve", unit="m", expected=143.488, tolerance=6e-4, step="H"),
                Figure(what="greatest head at the valve", unit="m", expected=285.245, tolerance=0.06),
                Figure(what="its time", unit="s", expected=1.086, tolerance=0.01),
                Figure(what="least head", unit="m", expected=92.85, tolerance=0.19),
                Figure(what="head at 2.1 s", unit="m", expected=152.144, tolerance=0.3),
            ),
            why="0.02 % of the greatest head, 0.2 % of others: the reference is first order",
            program=PROGRAM,
            compute=_single,
        ),
        Check(
            name="textbook-two-pipes",
            group=GROUP,
            title="550 m of 0.75 m and 450 m of 0.60 m pipe, 1 m3/s, valve shut in 6 s by a table",
            source=f"inputs in the style of M. H. Chaudhry, Applied Hydraulic Transients; figures by "
            f"{once}, 200 reaches "
            "(63.46 and 69.79 m at 0.5 and 1 s are remembered as printed)",
            status=HERE,
            given=given(("g", 9.81, "m/s2", "gravity")),
            working=(
                "Hj = 67.7 - 0.010*550/0.75/(2*g*(pi/4*0.75**2)**2)",
                "Hv = Hj - 0.012*450/0.60/(2*g*(pi/4*0.60**2)**2)",
            ),
            figures=(
                Figure(what="steady head at the joint", unit="m", expected=65.78, tolerance=6e-3, step="Hj"),
                Figure(what="steady head at the valve", unit="m", expected=60.05, tolerance=6e-3, step="Hv"),
                *(
                    Figure(what=f"head at the valve at {t:g} s", unit="m", expected=h, tolerance=5e-4 * h)
                    for t, h in SERIES.items()
                ),
                Figure(what="greatest head at the valve", unit="m", expected=165.99, tolerance=0.083),
                Figure(what="greatest head at the joint", unit="m", expected=113.18, tolerance=0.057),
                Figure(what="least head at the valve in 10 s", unit="m", expected=4.72, tolerance=0.011),
            ),
            why="0.05 %: the reference moved by 0.2 % from 2 to 200 reaches",
            program=PROGRAM,
            compute=_series,
        ),
    ]


CHECKS = (*_packing(), *_quadratic(), *_valve_swings(), *_textbooks())
