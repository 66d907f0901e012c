"""Density and sound speed of petroleum from its density at 15 C, which every shipper measures."""

from __future__ import annotations

import math

from surge.units import ZERO_CELSIUS

COMPOSITION = (0.94, 1.02)  # [-] spread given to dead_oil_sound_speed for what the oil is made of


def expansion_coefficient(density_15: float, *, group: str) -> float:
    """Return the thermal expansion coefficient of petroleum at 15 C [1/K].

    Parameters
    ----------
    density_15 : float
        Density at 15 C [kg/m3].
    group : str
        "crude", "products" or "lubricating oils".

    Returns
    -------
    float
        [1/K]

    Raises
    ------
    KeyError
        For any other group.

    References
    ----------
    ASTM D1250-80 / API MPMS 11.1 (1980), tables 54A, 54B and 54D: constants from memory.
    """
    squared = density_15**2
    if group != "products":
        return {"crude": 613.9723 / squared, "lubricating oils": 0.6278 / density_15}[group]
    if density_15 <= 770.5:
        return 346.4228 / squared + 0.4388 / density_15
    if density_15 < 787.5:
        return 2680.3206 / squared - 0.00336312
    if density_15 < 838.5:
        return 594.5418 / squared
    return 186.9696 / squared + 0.4862 / density_15


def petroleum_density(density_15: float, *, temperature: float, group: str) -> float:
    """Return the density of a crude or petroleum product at a temperature [kg/m3].

    Parameters
    ----------
    density_15 : float
        Density at 15 C [kg/m3].
    temperature : float
        [K]
    group : str
        "crude", "products" or "lubricating oils".

    Returns
    -------
    float
        [kg/m3]

    Notes
    -----
    rho = rho15 exp(-a dT (1 + 0.8 a dT)), dT = T - 15 C, a from :func:`expansion_coefficient`.

    References
    ----------
    ASTM D1250-80 / API MPMS 11.1 (1980), from memory.

    Examples
    --------
    Gasoline of 740 kg/m3 at 40 C. By hand: a = 346.4228/740**2 + 0.4388/740 = 0.0012256 1/K, a dT = 0.030640,
    740 exp(-0.030640 * 1.024512) = 717.1.

    >>> round(petroleum_density(740.0, temperature=313.15, group="products"), 1)
    717.1
    """
    warmer = expansion_coefficient(density_15, group=group) * (temperature - ZERO_CELSIUS - 15.0)
    return density_15 * math.exp(-warmer * (1.0 + 0.8 * warmer))


def dead_oil_sound_speed(density_15: float, *, temperature: float) -> float:
    """Return the sound speed of a crude or petroleum product without dissolved gas, at 1 atm [m/s].

    Parameters
    ----------
    density_15 : float
        Density at 15 C [kg/m3], below 2600.
    temperature : float
        [K]

    Returns
    -------
    float
        [m/s]

    Notes
    -----
    c = 2096 sqrt(r/(2.6 - r)) - 3.7 t with r the density at 60 F [g/cm3], t in C. The density at 15 C is put
    in its place: 0.05 % more, and so at most 0.05 % more sound speed.

    Held against the reference equations of pure hydrocarbons from -10 to 60 C it is 4 % low (n-undecane and
    n-dodecane, cold) to 15 % high (n-pentane, hot); it is 3 to 9 % high for aromatics, and 1 % low at the
    handbook figure for jet fuel of 0.80, 1315 m/s at 25 C. Blends lie between: :data:`COMPOSITION` is the
    spread given to it. Long paraffins alone (renewable diesel, base oil) are faster by more than that and
    do not use it.

    References
    ----------
    Batzle & Wang 1992, Seismic properties of pore fluids, Geophysics 57, 1396-1408, dead oil; from memory.

    Examples
    --------
    By hand: 2096 sqrt(0.74/1.86) - 3.7 * 15 = 1322.1 - 55.5.

    >>> round(dead_oil_sound_speed(740.0, temperature=288.15), 1)
    1266.6
    """
    ratio = density_15 / 1000.0
    return 2096.0 * math.sqrt(ratio / (2.6 - ratio)) - 3.7 * (temperature - ZERO_CELSIUS)
