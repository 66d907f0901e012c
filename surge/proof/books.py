"""Worked examples of textbooks and manuals, as printed there; transients go through a march."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence

from surge.proof.checks import HERE, READ, Check, Figure, Given, given
from surge.proof.lines import line_up, pipe, run, step_at, valve
from surge.proof.speeds import SOLVED, speed
from surge.proof.waves import falling_flow, instant_rise

GROUP = "worked examples"
G = 9.81  # [m/s2] falls out of a pressure
ARMY = "US Army TM 5-813-9 (1992), figure 4-5 (hosted as ufc_3_230_13a, page 21)"
DAUGHERTY = (
    "Daugherty & Franzini, Fluid Mechanics with Engineering Applications, example {}, as printed by its "
    "companion "
    "notebook (FOSSEE, Python-Textbook-Companions, ch13); L and T implied by its arithmetic"
)
SHEET = 'tutorial sheet with answers, "Water hammer tutorials" (document-sharing site, no. 482544630), no. 3'
SOILS = (
    "New Mexico State University, Soils 456 notes, chapter 8: P = 4700 V w/(144 g) sqrt(E/(E + 294000 d/t))"
)
PRINTED = "the digits printed; intermediate figures were rounded there"


def _check(
    name: str,
    title: str,
    source: str,
    inputs: tuple[Given, ...],
    working: tuple[str, ...],
    figures: tuple[Figure, ...],
    compute: Callable[[], Sequence[float]],
    *,
    program: str = "wave speed and march of a line-up",
    status: str = READ,
) -> Check:
    return Check(
        name=name,
        group=GROUP,
        title=title,
        source=source,
        status=status,
        given=inputs,
        working=working,
        figures=figures,
        why=PRINTED,
        program=program,
        compute=compute,
    )


def _kpa(rho: float, wave_speed: float, velocity: float) -> float:
    return instant_rise(wave_speed=wave_speed, velocity=velocity, gravity=G) * rho * G / 1e3


def _slow_kpa(
    rho: float, wave_speed: float, length: float, velocity: float, time: float, last: float = 0.0
) -> tuple[float, float]:
    high, mean = falling_flow(
        wave_speed=wave_speed, length=length, velocity=velocity, last=last, time=time, gravity=G
    )
    return high * rho * G / 1e3, mean * rho * G / 1e3


def _period(length: float, wave_speed: float) -> float:
    """When the wave is back at the valve, by a march of 40 steps a period [s]."""
    c = math.pi / 4 * 0.25 / math.sqrt(100.0)
    dt = length / wave_speed / 20
    line = line_up(
        [pipe("line", "tank", "before", length, wave_speed), valve("valve", "before", "out", c)],
        {"tank": 100.0, "out": 0.0},
    )
    made = run(line, dt, 60 * dt, ratio={"valve": step_at(dt)})
    head = made.head("before")
    back = next(k for k in range(2, head.size) if head[k] < head[k - 1] - 1.0)
    return float(made.time[back] - dt)


def _liquid(bulk: float, rho: float) -> tuple[Given, Given]:
    made = given(("K", bulk, "Pa", "bulk modulus"), ("rho", rho, "kg/m3", "density"))
    return made[0], made[1]


def _wall(modulus: float, d: float, e: float) -> tuple[Given, ...]:
    return given(
        ("E", modulus, "Pa", "Young's modulus of the wall"), ("D", d, "m", "bore"), ("e", e, "m", "wall")
    )


ELASTIC = "a = sqrt(K/rho)/sqrt(1 + K*D/(E*e))"


def _subramanya() -> list[Check]:
    a14 = speed(bulk=2e9, density=998.0, diameter=0.9, wall=0.0125, modulus=100e9)
    a15 = speed(bulk=2.1e9, density=998.0, diameter=0.6, wall=0.012, modulus=210e9)
    a16 = speed(bulk=1.43e9, density=798.4, diameter=0.8, wall=0.080, modulus=210e9)
    a18 = speed(bulk=2.11e9, density=998.0, diameter=0.6, wall=0.015, modulus=104.1e9)
    a19 = speed(bulk=2.1e9, density=998.0, diameter=4.0, wall=0.1, modulus=211e9)
    a24 = speed(bulk=1e9, density=0.82 * 998, diameter=0.3, wall=0.003, modulus=214e9)

    def rigid(bulk: float) -> float:
        return speed(bulk=bulk, density=998.0, diameter=1.0, wall=1.0, modulus=math.inf)

    return [
        _check(
            "solved-14-13",
            "3 m/s stopped at once in a rigid pipe, water",
            SOLVED.format("14.13"),
            (*_liquid(2.2e9, 998.0), *given(("V", 3.0, "m/s", "velocity"))),
            ("a = sqrt(K/rho)", "dp = rho*a*V/1e6"),
            (Figure(what="rise", unit="MPa", expected=4.445, tolerance=5.1e-4, step="dp"),),
            lambda: (_kpa(998.0, rigid(2.2e9), 3.0) / 1e3,),
        ),
        _check(
            "solved-14-14",
            "2.6 m/s stopped at once, 0.9 m pipe",
            SOLVED.format("14.14"),
            (
                *_liquid(2e9, 998.0),
                *_wall(100e9, 0.9, 0.0125),
                *given(("V", 2.6, "m/s", "velocity"), ("g", G, "m/s2", "gravity")),
            ),
            (ELASTIC, "J = a*V/g"),
            (Figure(what="rise", unit="m", expected=240.2, tolerance=0.051, step="J"),),
            lambda: (instant_rise(wave_speed=a14, velocity=2.6, gravity=G),),
        ),
        _check(
            "solved-14-15",
            "2.1 m/s stopped at once, pipe taken rigid and elastic",
            SOLVED.format("14.15"),
            (*_liquid(2.1e9, 998.0), *_wall(210e9, 0.6, 0.012), *given(("V", 2.1, "m/s", "velocity"))),
            ("dpr = rho*sqrt(K/rho)*V/1e6", ELASTIC, "dpe = rho*a*V/1e6"),
            (
                Figure(what="rise, rigid", unit="MPa", expected=3.040, tolerance=5.1e-4, step="dpr"),
                Figure(what="rise, elastic", unit="MPa", expected=2.482, tolerance=5.1e-4, step="dpe"),
            ),
            lambda: (_kpa(998.0, rigid(2.1e9), 2.1) / 1e3, _kpa(998.0, a15, 2.1) / 1e3),
        ),
        _check(
            "solved-14-16",
            "kerosene, 1000 m of 0.8 m pipe: pipeline period",
            SOLVED.format("14.16"),
            (*_liquid(1.43e9, 798.4), *_wall(210e9, 0.8, 0.08), *given(("L", 1000.0, "m", "length"))),
            (ELASTIC, "T = 2*L/a"),
            (Figure(what="2L/a", unit="s", expected=1.544, tolerance=5.1e-4, step="T"),),
            lambda: (_period(1000.0, a16),),
        ),
        _check(
            "solved-14-17",
            "100 m line, 0.2546 m/s, sudden and in 1 s (rigid column)",
            SOLVED.format("14.17"),
            given(
                ("rho", 998.0, "kg/m3", "density"),
                ("a", 1430.0, "m/s", "wave speed"),
                ("L", 100.0, "m", "length"),
                ("V", 0.2546, "m/s", "velocity"),
                ("T", 1.0, "s", "time"),
            ),
            ("dp = rho*a*V/1e3", "dpm = rho*L*V/T/1e3 ; the mean of the swing"),
            (
                Figure(what="rise, sudden", unit="kPa", expected=363.35, tolerance=0.02, step="dp"),
                Figure(what="rise, in 1 s, mean", unit="kPa", expected=25.41, tolerance=0.0051, step="dpm"),
            ),
            lambda: (_kpa(998.0, 1430.0, 0.2546), _slow_kpa(998.0, 1430.0, 100.0, 0.2546, 1.0)[1]),
        ),
        _check(
            "solved-14-18",
            "800 m of 0.6 m pipe, 3 m/s, sudden and in 2 s",
            SOLVED.format("14.18"),
            (
                *_liquid(2.11e9, 998.0),
                *_wall(104.1e9, 0.6, 0.015),
                *given(("V", 3.0, "m/s", "velocity"), ("L", 800.0, "m", "length"), ("T", 2.0, "s", "time")),
            ),
            (ELASTIC, "dp = rho*a*V/1e6", "slow = dp*2*L/a/T"),
            (
                Figure(what="rise, sudden", unit="MPa", expected=3.235, tolerance=5.1e-4, step="dp"),
                Figure(what="rise, in 2 s", unit="MPa", expected=2.394, tolerance=1.5e-3, step="slow"),
            ),
            lambda: (_kpa(998.0, a18, 3.0) / 1e3, _slow_kpa(998.0, a18, 800.0, 3.0, 2.0)[0] / 1e3),
        ),
        _check(
            "solved-14-19",
            "2500 m of 4 m pipe, 3 to 0.5 m/s in 5 s, on 250 m of static head",
            SOLVED.format("14.19"),
            (
                *_liquid(2.1e9, 998.0),
                *_wall(211e9, 4.0, 0.1),
                *given(
                    ("L", 2500.0, "m", "length"),
                    ("T", 5.0, "s", "time"),
                    ("w", 9.79, "kN/m3", "weight of water"),
                ),
            ),
            (ELASTIC, "slow = rho*a*(3.0 - 0.5)*2*L/a/T/1e3", "total = slow + 250*w"),
            (Figure(what="greatest pressure", unit="kPa", expected=4943.0, tolerance=1.5, step="total"),),
            lambda: (_slow_kpa(998.0, a19, 2500.0, 3.0, 5.0, last=0.5)[0] + 250 * 9.79,),
        ),
        _check(
            "solved-14-20",
            "3500 m rigid line, 0.8 m/s in 4 s: full rise",
            SOLVED.format("14.20"),
            (*_liquid(2.2e9, 998.0), *given(("V", 0.8, "m/s", "velocity"))),
            ("dp = rho*sqrt(K/rho)*V/1e6 ; 4 s is below 2L/a = 4.7 s",),
            (Figure(what="rise", unit="MPa", expected=1.185, tolerance=1e-3, step="dp"),),
            lambda: (_slow_kpa(998.0, rigid(2.2e9), 3500.0, 0.8, 4.0)[0] / 1e3,),
        ),
        _check(
            "solved-14-24",
            "shortest closing time by the stress of the wall, 1000 m of 300 mm pipe",
            SOLVED.format("14.24"),
            (
                *_liquid(1e9, 0.82 * 998),
                *_wall(214e9, 0.3, 0.003),
                *given(
                    ("V", 1.41, "m/s", "velocity, rounded there"),
                    ("L", 1000.0, "m", "length"),
                    ("S", 100e6, "Pa", "stress allowed"),
                ),
            ),
            (
                ELASTIC,
                "dp = rho*a*V",
                "room = 2*e*S/D - 0.82*9790*160 ; static head taken off",
                "T = 2*L/a*dp/room",
            ),
            (
                Figure(what="wave speed", unit="m/s", expected=912.6, tolerance=0.051, step="a"),
                Figure(what="shortest time", unit="s", expected=3.23, tolerance=5.1e-3, step="T"),
            ),
            lambda: (a24, _shortest(a24)),
        ),
    ]


def _shortest(a: float) -> float:
    """Time in which the march's rise is what the wall has room for [s]: rise times time is constant there."""
    room = 2 * 0.003 * 100e6 / 0.3 - 0.82 * 9790.0 * 160.0
    return _slow_kpa(0.82 * 998, a, 1000.0, 1.41, 4.0)[0] * 1e3 * 4.0 / room


def _others() -> list[Check]:
    a_sheet = speed(bulk=2060e6, density=1000.0, diameter=0.6, wall=0.018, modulus=200e9)
    a_pvc = speed(bulk=294_000.0, density=294_000 / 4700.0**2, diameter=1.66, wall=0.14, modulus=4e5)
    a_oil = math.sqrt(1.5e9 / 900)
    area = math.pi / 4 * 16.0
    psi = 1.94 / 144
    return [
        _check(
            "army-manual",
            "3400 ft of line, 6.48 ft/s stopped at once",
            ARMY,
            given(
                ("a", 2690.0, "ft/s", "wave speed"),
                ("L", 3400.0, "ft", "length"),
                ("V", 6.48, "ft/s", "velocity"),
                ("g", 32.0, "ft/s2", "gravity, as there"),
            ),
            ("T = 2*L/a", "J = a*V/g", "psi = (J + 20)*62.4/144 ; on 20 ft of static head"),
            (
                Figure(what="2L/a", unit="s", expected=2.53, tolerance=5.1e-3, step="T"),
                Figure(what="rise", unit="ft", expected=544.7, tolerance=0.051, step="J"),
                Figure(what="pressure", unit="psi", expected=245.0, tolerance=0.5, step="psi"),
            ),
            lambda: _army(),
            program="march of a line-up, in feet",
        ),
        _check(
            "daugherty-13-4",
            "4 ft pipe, 2000 ft, 30 cfs: stopped at once, in part, in 4 s",
            DAUGHERTY.format("13.4"),
            given(
                ("rho", 1.94, "slug/ft3", "density"),
                ("a", 3200.0, "ft/s", "wave speed"),
                ("D", 4.0, "ft", "bore"),
                ("L", 2000.0, "ft", "length"),
                ("T", 4.0, "s", "time"),
            ),
            ("A = pi/4*D**2", "dp = rho*a*30/A/144", "part = rho*a*20/A/144", "slow = dp*2*L/a/T"),
            (
                Figure(
                    what="rise, all of it at once", unit="psi", expected=102.9, tolerance=0.051, step="dp"
                ),
                Figure(
                    what="rise, 30 to 10 cfs at once", unit="psi", expected=68.6, tolerance=0.051, step="part"
                ),
                Figure(what="rise, in 4 s", unit="psi", expected=32.2, tolerance=0.06, step="slow"),
            ),
            lambda: (
                instant_rise(wave_speed=3200.0, velocity=30.0 / area, gravity=32.2) * 32.2 * psi,
                instant_rise(wave_speed=3200.0, velocity=20.0 / area, gravity=32.2) * 32.2 * psi,
                falling_flow(
                    wave_speed=3200.0, length=2000.0, velocity=30.0 / area, last=0.0, time=4.0, gravity=32.2
                )[0]
                * 32.2
                * psi,
            ),
            program="march of a line-up, in feet",
        ),
        _check(
            "sheet-closing",
            "1050 m of 600 mm pipe, 2.5 m/s",
            SHEET,
            (
                *_liquid(2060e6, 1000.0),
                *_wall(200e9, 0.6, 0.018),
                *given(("V", 2.5, "m/s", "velocity"), ("L", 1050.0, "m", "length")),
            ),
            (ELASTIC, "dp = rho*a*V/1e3", "T = 2*L/a"),
            (
                Figure(what="rise", unit="kPa", expected=3095.9, tolerance=0.051, step="dp"),
                Figure(what="2L/a", unit="s", expected=1.696, tolerance=5.1e-4, step="T"),
            ),
            lambda: (_kpa(1000.0, a_sheet, 2.5), _period(1050.0, a_sheet)),
        ),
        _check(
            "soils-notes",
            "PVC pipe, 1 ft/s stopped at once",
            SOILS,
            given(
                ("E", 4e5, "psi", "modulus of PVC"),
                ("d", 1.66, "inch", "diameter"),
                ("t", 0.14, "inch", "wall"),
                ("V", 1.0, "ft/s", "velocity"),
            ),
            ("P = 4700*V*62.4/(144*32.2)*sqrt(E/(E + 294000*d/t))",),
            (Figure(what="rise", unit="psi", expected=20.3, tolerance=0.051, step="P"),),
            lambda: (instant_rise(wave_speed=a_pvc, velocity=1.0, gravity=32.2) * 62.4 / 144,),
            program="wave speed and march of a line-up, in feet",
        ),
        _check(
            "oil-in-a-rigid-pipe",
            "oil, 0.4 m3/s stopped at once in a rigid 0.5 m pipe",
            "inputs of a public teaching notebook on water hammer; its results are not printed there, "
            "worked here",
            (
                *_liquid(1.5e9, 900.0),
                *given(("Q", 0.4, "m3/s", "flow"), ("D", 0.5, "m", "bore"), ("g", G, "m/s2", "gravity")),
            ),
            ("a = sqrt(K/rho)", "V = Q/(pi/4*D**2)", "J = a*V/g", "dp = rho*a*V/1e3"),
            (
                Figure(what="wave speed", unit="m/s", expected=1291.0, tolerance=0.051, step="a"),
                Figure(what="rise", unit="m", expected=268.09, tolerance=0.0051, step="J"),
                Figure(what="rise", unit="kPa", expected=2367.0, tolerance=0.051, step="dp"),
            ),
            lambda: (
                speed(bulk=1.5e9, density=900.0, diameter=0.5, wall=1.0, modulus=math.inf),
                instant_rise(wave_speed=a_oil, velocity=0.4 / (math.pi / 4 * 0.25), gravity=G),
                _kpa(900.0, a_oil, 0.4 / (math.pi / 4 * 0.25)),
            ),
            status=HERE,
        ),
    ]


def _army() -> tuple[float, float, float]:
    rise = instant_rise(wave_speed=2690.0, velocity=6.48, gravity=32.0)
    return _period(3400.0, 2690.0), rise, (rise + 20.0) * 62.4 / 144


CHECKS = (*_subramanya(), *_others())
