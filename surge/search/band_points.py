"""What a case is uncertain of, as bands about its figures, and the line-up at points within them.

A point is four shares between -1 and 1, one of each band: -1 is the figure less the whole band.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from itertools import product
from typing import NamedTuple

from surge.errors import CaseError, Fault
from surge.model.lineup import LineUp, Pipe, Scenario, Table

MOST = 0.5  # widest band [-]: beyond it a figure is not known at all
ALONE = (-1.0, -0.5, 0.5, 1.0)  # shares at which each band is looked at alone
MIXED = 6  # points in the interior of all bands together
BASES = (2, 3, 5, 7)  # of the low-discrepancy points (Halton, Numerische Mathematik 2, 1960; from memory)
KNOTS = 20  # a characteristic is bent at so many equal steps of opening, and at its own points


@dataclass(frozen=True, kw_only=True)
class Bands:
    """How far figures of a case may be off, as fractions either way; 0 is exact.

    Attributes
    ----------
    wave_speed : float or None
        Of every pipe, hose and arm together; None: not stated, then the doubt of the liquid's sound speed.
    stroke : float
        Of the stroke time of the valve.
    rate : float
        Of the rate.
    characteristic : float
        Of the exponent by which Kv ratios are bent: ratio**(1 + band), all valves together.
    """

    wave_speed: float | None = None
    stroke: float = 0.0
    rate: float = 0.0
    characteristic: float = 0.0

    def stated(self, sound_speed_doubt: float) -> Bands:
        """The bands with that of the wave speed by the doubt of the sound speed, where none is stated.

        By Korteweg's formula da/a = (a/c)^2 dc/c: a wave speed is never in more doubt than the sound speed.
        """
        return replace(self, wave_speed=sound_speed_doubt) if self.wave_speed is None else self

    def width(self, band: str) -> float:
        """One band by its name [-]."""
        return float(getattr(self, band) or 0.0)

    @property
    def open(self) -> tuple[str, ...]:
        """Names of the bands that are not 0."""
        return tuple(n for n in Point._fields if self.width(n) > 0.0)

    def refuse(self) -> None:
        """Raise what cannot be.

        Raises
        ------
        CaseError
            A band below 0 or above ``MOST``.
        """
        faults = [
            Fault(
                path=("bands", name),
                found=f"{name} = {self.width(name):g}",
                expected=f"a fraction from 0 to {MOST:g}",
                remedy="write how far the figure may be off either way, such as 0.05 for 5 %",
            )
            for name in Point._fields
            if not 0.0 <= self.width(name) <= MOST
        ]
        if faults:
            raise CaseError(faults)


class Point(NamedTuple):
    """Shares of the bands, each from -1 to 1."""

    wave_speed: float = 0.0
    stroke: float = 0.0
    rate: float = 0.0
    characteristic: float = 0.0


CENTRE = Point()


def alone(band: str) -> list[Point]:
    """Points at which one band is looked at alone."""
    return [CENTRE._replace(**{band: share}) for share in ALONE]


def corners(bands: Bands) -> list[Point]:
    """All bands at their ends together; none where fewer than two are open.

    Of the stroke band only the quick end: where every longer stroke is held as well, the slow end is.
    """
    names = bands.open
    if len(names) < 2:
        return []
    ends = [(-1.0,) if n == "stroke" else (-1.0, 1.0) for n in names]
    return [CENTRE._replace(**dict(zip(names, at, strict=True))) for at in product(*ends)]


def mixed(bands: Bands) -> list[Point]:
    """Points in the interior of all open bands together; none where fewer than two are open."""
    names = bands.open
    if len(names) < 2:
        return []
    shares = ([2.0 * _radical(i, base) - 1.0 for base in BASES] for i in range(1, MIXED + 1))
    return [CENTRE._replace(**dict(zip(names, row, strict=False))) for row in shares]


def _radical(i: int, base: int) -> float:
    """Digits of ``i`` behind the point: the i-th of the points of van der Corput."""
    found, scale = 0.0, 1.0 / base
    while i:
        found += scale * (i % base)
        i //= base
        scale /= base
    return found


def bent(characteristic: Table, exponent: float) -> Table:
    """Return a characteristic with its ratios raised to a power, straight between enough points."""
    if exponent == 1.0:
        return characteristic
    steps = [k / KNOTS for k in range(KNOTS + 1)]
    found = []
    for (x0, y0), (x1, y1) in zip(characteristic, characteristic[1:], strict=False):
        inside = [x for x in steps if x0 < x < x1]
        found += [(x0, y0), *((x, y0 + (y1 - y0) * (x - x0) / (x1 - x0)) for x in inside)]
    found.append(characteristic[-1])
    return tuple((x, y**exponent) for x, y in found)


def lineup_at(lineup: LineUp, bands: Bands, point: Point) -> LineUp:
    """Return the line-up with its wave speeds and characteristics at a point of the bands."""
    factor = 1.0 + point.wave_speed * bands.width("wave_speed")
    exponent = 1.0 + point.characteristic * bands.width("characteristic")

    def waves(pipe: Pipe) -> Pipe:
        ends = pipe.wave_speed_range
        return replace(
            pipe,
            wave_speed=pipe.wave_speed * factor,
            wave_speed_range=None if ends is None else (ends[0] * factor, ends[1] * factor),
        )

    return lineup.with_(
        pipes=tuple(waves(p) for p in lineup.pipes),
        valves=tuple(replace(v, characteristic=bent(v.characteristic, exponent)) for v in lineup.valves),
    )


def scenario_at(lineup: LineUp, scenario: Scenario, bands: Bands, point: Point) -> Scenario:
    """Return the scenario with its rate at a point of the bands; where there is no rate, as it is."""
    factor = 1.0 + point.rate * bands.width("rate")
    if lineup.rate is None or factor == 1.0:
        return scenario
    return replace(scenario, rate=(scenario.rate or lineup.rate.agreed) * factor)
