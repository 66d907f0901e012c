"""Checks of vapour cavities: a line whose valve shuts at once, against the sum of its reflections."""

from __future__ import annotations

from functools import lru_cache, partial

import numpy as np

from surge.hydraulics.formulas import mixture_speed
from surge.model.lineup import GRAVITY, Liquid
from surge.proof.checks import COMPUTED, Check, Figure, given
from surge.proof.lines import reservoir_line, run, step_at
from surge.proof.waves import GROUP, PROGRAM, G
from surge.transient.cavities import first_cavity
from surge.transient.cavity_result import Cavity
from surge.units import ATMOSPHERE

RHO_G = 1000.0 * GRAVITY
BORE = 0.5  # [m]
N = 400  # reaches
SOURCE = (
    "column separation at a shut valve, the classical case (chapters on it in Wylie and Streeter, Fluid "
    "Transients in Systems, from memory); derived: every 2L/a the tank turns the column back by 2 g D/a"
)


def _marched(
    gas: float, head: float, length: float, wave_speed: float, velocity: float, boils: float, duration: float
) -> Cavity:
    """The cavity at the valve that stops ``velocity`` [m/s] at once; ``boils`` [m] is where liquid boils."""
    liquid = Liquid(
        name="test liquid",
        density=1000.0,
        sound_speed=1480.0,
        viscosity=0.0,
        vapour_pressure=boils * RHO_G + ATMOSPHERE,
    )
    lineup = reservoir_line(
        head=head, length=length, wave_speed=wave_speed, velocity=velocity, diameter=BORE, liquid=liquid
    )
    dt = length / wave_speed / N
    made = run(lineup, dt, duration, ratio={"valve": step_at(dt)}, gas=gas)
    at = made.marched.grid.points.index("before")
    volumes = np.vstack(made.marched.volumes)[:, at]  # type: ignore[attr-defined]
    found = first_cavity(made.time, RHO_G * made.head("before"), volumes, boils * RHO_G)
    assert found is not None
    return found


def _figures(gas: float, *line: float) -> list[float]:
    found = _marched(gas, *line)
    assert found.rejoined is not None
    assert found.first_pressure is not None
    assert found.highest_pressure is not None
    return [
        found.rejoined - found.opened,
        found.largest,
        found.first_pressure / RHO_G,
        found.highest_pressure / RHO_G,
    ]


def _check(
    name: str,
    words: str,
    line: tuple[float, float, float, float, float],
    duration: float,
    times: tuple[int, int],
    expected: tuple[float, float, float, float],
) -> Check:
    head, length, wave_speed, velocity, boils = line
    life, largest, first, highest = expected
    passed, grows = times
    return Check(
        name=name,
        group=GROUP,
        title=f"valve that shuts at once, the column parts behind it: {words}",
        source=SOURCE,
        status=COMPUTED,
        given=given(
            G,
            ("H0", head, "m", "head of the tank"),
            ("Hv", boils, "m", "head at which the liquid boils"),
            ("L", length, "m", "length"),
            ("d", BORE, "m", "bore"),
            ("a", wave_speed, "m/s", "wave speed"),
            ("V0", velocity, "m/s", "velocity that is stopped"),
            ("n", passed, "-", "whole times 2L/a that the cavity lasts: the line V gives what is left then"),
            ("k", grows, "-", "of these the ones in which it grows: the column leaves the valve"),
        ),
        working=(
            "A = pi*d**2/4",
            "w = g*(H0 - Hv)/a ; by which the returning wave slows the column, and its reflection again",
            "u = V0 - w ; with which it leaves the valve from 2L/a on; 2w less after every 2L/a",
            "top = A*2*L/a*(k*u - k*(k - 1)*w) ; largest volume",
            "V = A*2*L/a*(n*u - n*(n - 1)*w) ; volume that is left after n times 2L/a",
            "v = 2*n*w - u ; with which the column then comes back",
            "t = n*2*L/a + V/(A*v) ; life of the cavity",
            "Hc = Hv + a*v/g ; when it is gone",
            "Hm = Hc + 2*(H0 - Hv) ; and when the tank has once more turned the column",
        ),
        figures=(
            Figure(what="life", unit="s", expected=life, tolerance=1.05 * length / wave_speed / N, step="t"),
            Figure(what="largest volume", unit="m3", expected=largest, tolerance=3e-6 * largest, step="top"),
            Figure(what="head when it is gone", unit="m", expected=first, tolerance=1e-3, step="Hc"),
            Figure(what="highest head then", unit="m", expected=highest, tolerance=1e-3, step="Hm"),
        ),
        why=f"heads exact without friction; times to a step of {N} to the length; the digits given",
        program=f"{PROGRAM} with vapour cavities",
        compute=partial(_figures, 0.0, *line, duration),
    )


@lru_cache(maxsize=2)
def gassy_stop(gas: float, pressure: float) -> tuple[float, float]:
    """Stop a little flow at once in a line with gas all through it.

    Parameters
    ----------
    gas : float
        Share of the volume at 101 325 Pa absolute [-].
    pressure : float
        Absolute [Pa].

    Returns
    -------
    float, float
        Wave speed by the time in which the wave comes back, and by the rise [m/s].
    """
    length, wave_speed, velocity = 1000.0, 1200.0, 1e-3
    head = (pressure - ATMOSPHERE) / RHO_G
    lineup = reservoir_line(head=head, length=length, wave_speed=wave_speed, velocity=velocity)
    dt = length / wave_speed / N
    about = length / mixture_speed(wave_speed=wave_speed, density=1000.0, gas=gas, pressure=pressure)
    made = run(lineup, dt, 3.0 * about, ratio={"valve": step_at(dt)}, gas=gas)
    rise, time = made.head("before") - head, made.time - dt
    still = (time > 0.3 * about) & (time < 1.7 * about)
    back = int(np.flatnonzero((time > 1.5 * about) & (rise < 0.0))[0])
    part = rise[back] / (rise[back] - rise[back - 1])
    return 2.0 * length / float(time[back] - part * dt), float(rise[still].mean()) * GRAVITY / velocity


def _gassy(gas: float, pressure: float, speed: float) -> Check:
    return Check(
        name=f"gas-all-through-{100 * gas:g}-per-cent",
        group=GROUP,
        title=f"speed of a wave with {100 * gas:g} % of gas all through the liquid",
        source="speed in a mixture of liquid and gas (A. B. Wood, A Textbook of Sound, 1930, from memory): "
        "storage of liquid, wall and gas add up, the gas isothermal",
        status=COMPUTED,
        given=given(
            ("a0", 1200.0, "m/s", "wave speed without gas"),
            ("rho", 1000.0, "kg/m3", "density"),
            ("g0", gas, "-", "gas by volume at 1 atm, as a share"),
            ("p", pressure, "Pa", "absolute pressure"),
        ),
        working=(
            "V = g0*101325/p ; share of gas at this pressure",
            "a = 1/sqrt(1/a0**2 + rho*V/p)",
        ),
        figures=(
            Figure(what="by its time", unit="m/s", expected=speed, tolerance=0.003 * speed, step="a"),
            Figure(what="by the rise", unit="m/s", expected=speed, tolerance=0.002 * speed, step="a"),
        ),
        why=f"fronts spread over some of the {N} reaches; the rise stiffens the gas by 0.05 %",
        program=f"{PROGRAM} with gas at every node",
        compute=partial(gassy_stop, gas, pressure),
    )


CHECKS: tuple[Check, ...] = (
    _gassy(1e-3, 4e5, 867.8523),
    _gassy(5e-3, 4e5, 508.9305),
    _check(
        "cavity-short-line",
        "a pulse above the rise of the stop itself",
        (25.0, 60.0, 1200.0, 0.4, -9.5),
        0.4,
        (1, 1),
        (0.126481, 0.00231808, 45.0536, 114.0536),
    ),
    _check(
        "cavity-long-line",
        "a long cavity",
        (40.0, 800.0, 1000.0, 1.6, -9.0),
        9.0,
        (3, 2),
        (5.23116, 0.401463, 170.8454, 268.8454),
    ),
)
