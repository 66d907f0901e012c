"""Closed-form physics of liquid lines: wave speed, instant-stop rise, friction, valve flow.

Plain functions of floats and arrays in SI, pressures in [Pa], heads in [m]. Sources are named at each
function; "classical" means that any textbook on fluid transients has it.
"""

from __future__ import annotations

import math
from typing import Any

import numpy as np
from numpy.typing import ArrayLike

from surge.arrays import Array
from surge.units import ATMOSPHERE

LAMINAR_END = 2000.0  # [-] Reynolds number up to which 64/Re holds
TURBULENT_START = 4000.0  # [-] Reynolds number from which Colebrook-White holds
SMOOTH = 1e-300  # [-] a relative roughness below this cannot be divided without loss: smooth
KV_PRESSURE = 1e5  # [Pa] pressure drop in the definition of Kv
KV_DENSITY = 1000.0  # [kg/m3] density of water in the definition of Kv
SECONDS_PER_HOUR = 3600.0
LEAST_PARTIAL = 1e3  # [Pa] pressure of gas at 1 atm in a liquid whose vapour pressure leaves it less


def restraint_factor(kind: str, *, poisson: float) -> float:
    """Return the restraint factor c1 [-] of a thin-walled pipe.

    Parameters
    ----------
    kind : str
        How the pipe is held: "anchored at one end", "anchored throughout" or "expansion joints".
    poisson : float
        Poisson's ratio of the wall [-].

    Returns
    -------
    float
        c1 [-]: 1 - nu/2, 1 - nu**2 or 1.

    Raises
    ------
    KeyError
        For any other kind.

    References
    ----------
    Handbook form (Wylie & Streeter, Fluid Transients in Systems; from memory).

    Examples
    --------
    Steel, 1 - 0.3**2:

    >>> restraint_factor("anchored throughout", poisson=0.3)
    0.91
    """
    factors = {
        "anchored at one end": 1.0 - poisson / 2.0,
        "anchored throughout": 1.0 - poisson**2,
        "expansion joints": 1.0,
    }
    return factors[kind]


def wave_speed(
    *, density: float, sound_speed: float, diameter: float, wall: float, modulus: float, c1: float
) -> float:
    """Return the speed of a pressure wave in an elastic pipe [m/s].

    Parameters
    ----------
    density : float
        Of the liquid [kg/m3].
    sound_speed : float
        Of the free liquid [m/s].
    diameter, wall : float
        Inside diameter and wall thickness [m].
    modulus : float
        Young's modulus of the wall [Pa].
    c1 : float
        Restraint factor [-], see :func:`restraint_factor`.

    Returns
    -------
    float
        [m/s]

    Notes
    -----
    Korteweg: a = c / sqrt(1 + K c1 D / (E e)) with K = density * sound_speed**2; classical.

    Examples
    --------
    Water in a 300 mm steel pipe of 10 mm wall. By hand: K = 1000 * 1480**2 = 2.190e9 Pa, K D / (E e) =
    0.3174, 1480 / sqrt(1.3174) = 1289.4.

    >>> a = wave_speed(density=1000.0, sound_speed=1480.0, diameter=0.3, wall=0.01, modulus=207e9, c1=1.0)
    >>> round(a, 1)
    1289.4
    """
    bulk_modulus = density * sound_speed**2
    return sound_speed / math.sqrt(1.0 + bulk_modulus * c1 * diameter / (modulus * wall))


def hose_wave_speed(*, density: float, sound_speed: float, swell: float, pressure: float) -> float:
    """Return the wave speed of a hose from its volume swell in a pressure test [m/s].

    Parameters
    ----------
    density, sound_speed : float
        Of the liquid that the line carries [kg/m3], [m/s].
    swell : float
        Growth of the inside volume as a fraction of itself [-], above 0.
    pressure : float
        Pressure that made it swell so [Pa gauge], above 0.

    Returns
    -------
    float
        [m/s]

    Notes
    -----
    1/(rho a**2) = 1/(rho c**2) + swell/pressure: the storage of the liquid and of the wall add up, as in the
    derivation of Korteweg's formula; the wall is taken as linear up to that pressure.

    Examples
    --------
    A hose that swells by 1 % at 10 bar. By hand: 1/(800 * 1250**2) + 0.01/1e6 = 1.08e-8 1/Pa,
    1/sqrt(800 * 1.08e-8) = 340.2.

    >>> round(hose_wave_speed(density=800.0, sound_speed=1250.0, swell=0.01, pressure=1e6), 1)
    340.2
    """
    storage = 1.0 / (density * sound_speed**2) + swell / pressure
    return 1.0 / math.sqrt(density * storage)


def mixture_speed(
    *, wave_speed: float, density: float, gas: float, pressure: float, vapour: float = 0.0
) -> float:
    """Return the speed of a pressure wave where free gas stands in the liquid [m/s].

    Parameters
    ----------
    wave_speed : float
        Of the liquid in its pipe, without gas [m/s].
    density : float
        Of the liquid [kg/m3].
    gas : float
        Gas by volume at 101 325 Pa absolute, as a share of the liquid [-].
    pressure : float
        Absolute, above ``vapour`` [Pa].
    vapour : float
        Vapour pressure of the liquid, absolute: what is left of the pressure is the gas's own [Pa].

    Returns
    -------
    float
        [m/s]

    Notes
    -----
    Storage of liquid, wall and gas add up: 1/(rho a**2) = 1/(rho a0**2) + V/(p - p_v), with the share of gas
    at that pressure V = gas (101325 - p_v)/(p - p_v), isothermal; A. B. Wood, A Textbook of Sound, 1930
    (from memory), without the little that gas takes off the density.

    Examples
    --------
    A thousandth of gas in water in a pipe, 1200 m/s, at 4 bar absolute. By hand: V = 2.533e-4; 1/(1000 *
    1200**2) + 2.533e-4/4e5 = 6.944e-10 + 6.333e-10 = 1.3277e-9 1/Pa; 1/sqrt(1000 * 1.3277e-9) = 867.9.

    >>> round(mixture_speed(wave_speed=1200.0, density=1000.0, gas=1e-3, pressure=4e5), 1)
    867.9
    """
    own = pressure - vapour
    share = gas * max(ATMOSPHERE - vapour, LEAST_PARTIAL) / own
    return 1.0 / math.sqrt(1.0 / wave_speed**2 + density * share / own)


def joukowsky(*, density: float, wave_speed: float, velocity: float) -> float:
    """Return the pressure rise when a flow is stopped at once [Pa].

    Parameters
    ----------
    density : float
        [kg/m3]
    wave_speed : float
        [m/s]
    velocity : float
        Of the flow that is stopped [m/s]; negative where flow away from the closure is stopped.

    Returns
    -------
    float
        [Pa], with the sign of the velocity.

    Notes
    -----
    rho a v, classical (Joukowsky 1898). It is no bound: line packing, branches and dead ends can make more of
    it.

    Examples
    --------
    Gasoline at 2 m/s: 740 * 1000 * 2 = 14.8 bar.

    >>> joukowsky(density=740.0, wave_speed=1000.0, velocity=2.0)
    1480000.0
    """
    return density * wave_speed * velocity


def fully_rough_factor(relative_roughness: ArrayLike) -> Any:
    """Return the Darcy factor at infinite Reynolds number [-]; 0 for a smooth wall.

    Parameters
    ----------
    relative_roughness : array_like
        Roughness over inside diameter [-], 0 to below 1.

    Returns
    -------
    float or ndarray
        [-], of the shape of the argument.

    Notes
    -----
    Colebrook-White without its viscous term: f = 1 / (2 lg(eps/3.7))**2 (Colebrook 1939).

    Examples
    --------
    By hand: 2 lg(3700) = 7.1364, 1/7.1364**2 = 0.01964.

    >>> round(float(fully_rough_factor(0.001)), 5)
    0.01964
    """
    rough = np.asarray(relative_roughness, dtype=float)
    safe = np.where(rough > SMOOTH, rough, 1.0)
    return np.where(rough > SMOOTH, (2.0 * np.log10(safe / 3.7)) ** -2.0, 0.0)[()]


def colebrook(reynolds: ArrayLike, relative_roughness: ArrayLike) -> Any:
    """Return the Darcy factor of Colebrook-White [-], exact to about 1e-14.

    Parameters
    ----------
    reynolds : array_like
        Reynolds number [-], 2000 or more; may be infinite.
    relative_roughness : array_like
        Roughness over inside diameter [-], 0 to 0.5.

    Returns
    -------
    float or ndarray
        [-], of the broadcast shape.

    Notes
    -----
    x = 1/sqrt(f) solves x = -2 lg(eps/3.7 + 2.51 x/Re) (Colebrook 1939). Newton from Haaland's explicit
    formula, which is within some 1.5 %; the function is concave and rising, so that after the first step
    every step comes from the same side, and four steps reach rounding.

    Examples
    --------
    The Moody diagram has 0.0185 there. By hand: x = 1/sqrt(0.018514) = 7.3494, and
    -2 lg(1e-4/3.7 + 2.51 * 7.3494/1e5) is 7.3494 again.

    >>> round(float(colebrook(1e5, 1e-4)), 6)
    0.018514
    """
    re, rough = np.asarray(reynolds, float), np.asarray(relative_roughness, float)
    finite = np.isfinite(re)
    every = bool(finite.all())
    safe_re = re if every else np.where(finite, re, 1.0e5)
    wall, smooth = rough / 3.7, 2.51 / safe_re
    x = -1.8 * np.log10(wall**1.11 + 6.9 / safe_re)
    for _ in range(4):
        inside = wall + 2.51 * x / safe_re
        slope = 1.0 + 2.0 / math.log(10.0) * smooth / inside
        x = x - (x + 2.0 * np.log10(inside)) / slope
    return (x**-2.0 if every else np.where(finite, x**-2.0, fully_rough_factor(rough)))[()]


def friction_factor(reynolds: ArrayLike, relative_roughness: ArrayLike) -> Any:
    """Return the Darcy friction factor [-].

    Parameters
    ----------
    reynolds : array_like
        Reynolds number [-], above 0 (at rest the factor is infinite: use :func:`head_loss`).
    relative_roughness : array_like
        Roughness over inside diameter [-], 0 to 0.5.

    Returns
    -------
    float or ndarray
        [-]: 64/Re to Re 2000, a straight line in Re from there to Colebrook-White at 4000, and
        Colebrook-White above; of the broadcast shape.

    Notes
    -----
    64/Re is Hagen-Poiseuille, classical. The line between 2000 and 4000 is a choice of this program: no law
    holds there.

    Examples
    --------
    64/1000; and half way from 64/2000 = 0.032 to the 0.0399 of a smooth pipe at 4000:

    >>> float(friction_factor(1000.0, 0.0))
    0.064
    >>> round(float(friction_factor(3000.0, 0.0)), 4)
    0.036
    """
    re = np.asarray(reynolds, dtype=float)
    if re.size and re.min() >= TURBULENT_START:
        return colebrook(re, relative_roughness)
    laminar = 64.0 / np.where(re > 0.0, re, 1.0)
    laminar = np.where(re > 0.0, laminar, np.inf)
    turbulent = colebrook(np.maximum(re, TURBULENT_START), relative_roughness)
    share = np.minimum(np.maximum((re - LAMINAR_END) / (TURBULENT_START - LAMINAR_END), 0.0), 1.0)
    between = (1.0 - share) * 64.0 / LAMINAR_END + share * turbulent
    return np.where(re <= LAMINAR_END, laminar, between)[()]


def head_loss(
    flow: ArrayLike,
    *,
    length: float | Array,
    diameter: float | Array,
    roughness: float | Array,
    viscosity: float,
    minor_loss: float | Array,
    gravity: float,
) -> Any:
    """Return the head lost along a pipe [m], with the sign of the flow.

    Parameters
    ----------
    flow : array_like
        [m3/s]
    length, diameter, roughness : float or ndarray
        Length, inside diameter, absolute roughness of the wall [m].
    viscosity : float
        Kinematic [m2/s]; 0 takes the fully rough factor, which is 0 for a smooth wall.
    minor_loss : float or ndarray
        Sum of loss factors K on the pipe's own velocity head [-].
    gravity : float
        [m/s2]

    Returns
    -------
    float or ndarray
        [m], of the broadcast shape.

    Notes
    -----
    Darcy-Weisbach, (f L/D + K) v|v|/(2g), with f of :func:`friction_factor`; up to Re 2000 exactly
    Hagen-Poiseuille, so that it and its slope are right at zero flow.

    Examples
    --------
    Oil of 100 mm2/s at 0.1 m/s in 100 m of 100 mm pipe. By hand: Re = 100, 32 nu L v/(g D**2) =
    0.032/0.0980665.

    >>> flow = 0.1 * math.pi / 4.0 * 0.1**2
    >>> loss = head_loss(
    ...     flow, length=100.0, diameter=0.1, roughness=0.0, viscosity=1e-4, minor_loss=0.0, gravity=9.80665
    ... )
    >>> round(float(loss), 4)
    0.3263
    """
    velocity = np.asarray(flow, dtype=float) / (math.pi / 4.0 * diameter**2)
    velocity_head = velocity * np.abs(velocity) / (2.0 * gravity)
    rough = roughness / diameter
    if viscosity == 0.0:
        return ((fully_rough_factor(rough) * length / diameter + minor_loss) * velocity_head)[()]
    reynolds = np.abs(velocity) * diameter / viscosity
    laminar = 32.0 * viscosity * length * velocity / (gravity * diameter**2)
    factor = friction_factor(np.maximum(reynolds, LAMINAR_END), rough)
    turbulent = factor * length / diameter * velocity_head
    return (np.where(reynolds <= LAMINAR_END, laminar, turbulent) + minor_loss * velocity_head)[()]


def kv_loss(kv: float, *, gravity: float) -> float:
    """Return k of the head loss dH = k Q|Q| of a valve or passage [s2/m5].

    Parameters
    ----------
    kv : float
        Flow of water at 1 bar [m3/h].
    gravity : float
        [m/s2]

    Returns
    -------
    float
        [s2/m5]

    Notes
    -----
    Q = kv/3600 sqrt(dp/1e5 * 1000/rho) (definition of Kv, IEC 60534-1) with dp = rho g dH: the density falls
    out.

    Examples
    --------
    A Kv of 360 passes 0.1 m3/s of water at 1 bar, which is 1e5/(1000 g) = 10.197 m: k = 10.197/0.1**2.

    >>> round(kv_loss(360.0, gravity=9.80665), 1)
    1019.7
    """
    per_root_head = kv / SECONDS_PER_HOUR * math.sqrt(KV_DENSITY * gravity / KV_PRESSURE)
    return 1.0 / per_root_head**2


def loss_factor_to_kv(loss_factor: float, *, diameter: float) -> float:
    """Return the Kv of a loss factor [m3/h of water at 1 bar].

    Parameters
    ----------
    loss_factor : float
        K [-], above 0, on the velocity head in the bore.
    diameter : float
        Of the bore [m].

    Returns
    -------
    float
        [m3/h of water at 1 bar]

    Notes
    -----
    1 bar = K rho v**2/2 of water, 1000 kg/m3; Kv = 3600 v times the area of the bore.

    Examples
    --------
    By hand: v = sqrt(2e5/1000) = 14.142 m/s through 0.0078540 m2 is 0.11107 m3/s.

    >>> round(loss_factor_to_kv(1.0, diameter=0.1), 1)
    399.9
    """
    area = math.pi / 4.0 * diameter**2
    return SECONDS_PER_HOUR * area * math.sqrt(2.0 * KV_PRESSURE / (KV_DENSITY * loss_factor))
