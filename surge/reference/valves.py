"""A fully open Kv by type and size, for people who do not know theirs: always marked as assumed.

The check goes over the whole range (:mod:`surge.rules.spread`); where one figure has to stand for it, the
high end does. A valve with a larger Kv stands less in the way while it is wide open, so it throttles later in
its stroke: what stops the flow is a shorter part of the same stroke, and surge before that valve is higher.
It is no small matter. Worked out with this program (tests/reference/test_valves.py) for a valve that closes
in 4 to 60 s at the end of 1200 m of 12 inch line, at fixed tank levels, at a fixed rate reached by the supply
or by another throttle, or throttled by the valve itself:

* gate, globe, ball, butterfly: no Kv of the range gave a peak more than 0.2 % above that of the high end,
  which was up to 2.1, 2.7, 1.9 and 1.9 times the peak of the low end;
* plug and reduced-bore ball: NOT always. Their characteristic is a straight line from 60 degrees to shut, for
  want of figures, and a Kv inside the range gave up to a tenth more than the high end. Only a run of several
  Kv from low to high finds the worst; ``note`` says so.

The velocity into one tank while the valve of another shuts, and the fall behind a valve, go their own ways.

A closure faster than the pipeline period reaches about the instant-stop rise whatever the Kv. Where the
agreed rate is reached by the supply's pressure, a low Kv asks for more pressure there, against the sense of
the rest and less than it. The fall of pressure behind a valve follows the same reasoning; not worked out.

A loss factor K is n times fT, the Darcy factor at complete turbulence in clean commercial steel pipe.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from types import MappingProxyType

from surge.errors import UnknownNameError
from surge.reference.pipes import SIZES, nominal_inches, pipe_size
from surge.reference.rows import matching

CLEAN_STEEL = 0.0018 * 0.0254  # [m] roughness of clean commercial steel pipe in Crane TP 410
_INCH_AND_A_HALF = 40.9e-3  # [m] inside of standard 1 1/2 inch pipe, for the reduced bore of a 2 inch valve
# Sizes that reduced bores come in; 2.5, 5 and 22 inch are left out.
_BORES = (1.5, 2, 3, 4, 6, 8, 10, 12, 14, 16, 18, 20, 24)
_LARGEST = 24  # [inch]

_HIGH_IS_WORST = (
    "before the valve itself the high end gives the highest surge: it throttles later in its stroke"
)
_INSIDE_MAY_BE_WORSE = (
    "with this type's characteristic a Kv inside the range may give a peak up to a tenth higher than either "
    "end: give the Kv of the valve"
)


@dataclass(frozen=True, kw_only=True)
class ValveType:
    """How the loss factor of a fully open valve is estimated.

    Attributes
    ----------
    name : str
        "gate", "globe", "ball", "ball, reduced bore", "butterfly", "plug".
    characteristic : str
        The curve in :mod:`surge.reference.valve_curves` that goes with it.
    note : str
        What the check makes of it.
    """

    name: str
    characteristic: str
    source: str
    note: str = _HIGH_IS_WORST
    status: str = "assumed"
    validity: str = "2 to 24 inch, fully open, turbulent flow, bore of standard pipe"


@dataclass(frozen=True, kw_only=True)
class AssumedKv:
    """The Kv of a fully open valve, from its type and size.

    Attributes
    ----------
    kv : float
        What stands for the range where one figure has to: its high end [m3/h of water at 1 bar].
    low, usual, high : float
        Of the range [m3/h of water at 1 bar].
    """

    name: str
    size: str
    dn: int
    characteristic: str
    low: float
    usual: float
    high: float
    source: str
    note: str
    status: str
    validity: str

    @property
    def kv(self) -> float:
        """What stands for the range where one figure has to [m3/h of water at 1 bar]."""
        return self.high

    @property
    def words(self) -> str:
        """The text that a search looks at."""
        return f"valve {self.name} {self.size} DN {self.dn}"


_CRANE = "Crane TP 410 (formulas as in the open library `fluids`)"

VALVE_TYPES: Mapping[str, ValveType] = MappingProxyType(
    {
        row.name: row
        for row in (
            ValveType(
                name="gate",
                characteristic="gate",
                source=f"K = 8 fT, {_CRANE}; least K 3 fT as a through-conduit gate or full-bore ball; most "
                "K 13 fT, older editions (from memory)",
            ),
            ValveType(
                name="globe",
                characteristic="globe",
                source=f"K = 340 fT, {_CRANE}; least K 55 fT, same source, a Y-pattern or angle valve; "
                "most K 450 fT (from memory)",
            ),
            ValveType(
                name="ball",
                characteristic="ball",
                source=f"K = 3 fT, {_CRANE}; least K 2 fT, a pipe as long as the valve; most K twice the "
                "usual one (no figure found)",
            ),
            ValveType(
                name="ball, reduced bore",
                characteristic="ball",
                source=f"{_CRANE} with tapered ports: usual K at 30 degrees and a bore one size smaller "
                "up to 12 inch, two sizes above (rule of API 6D, from memory); least K one size smaller at "
                "15 degrees; most K as usual at 90 degrees",
                note=_INSIDE_MAY_BE_WORSE,
            ),
            ValveType(
                name="butterfly",
                characteristic="butterfly",
                source=f"centric disc, K = 45 fT to 8 inch, 35 fT to 14 inch, 25 fT above, {_CRANE}; least K "
                "0.2 (handbooks, from memory); most K 218, 96 and 55 fT, triple offset, same source",
            ),
            ValveType(
                name="plug",
                characteristic="ball",
                source=f"K = 18 fT, {_CRANE}; least K 3 fT as a full-bore ball; most K twice the usual one "
                "(no figure found)",
                note=_INSIDE_MAY_BE_WORSE,
            ),
        )
    }
)

# n in K = n fT: least, usual, most
_MULTIPLES: Mapping[str, tuple[float, float, float]] = {
    "gate": (3.0, 8.0, 13.0),
    "globe": (55.0, 340.0, 450.0),
    "ball": (2.0, 3.0, 6.0),
    "plug": (3.0, 18.0, 36.0),
}
_BUTTERFLY_LEAST = 0.2  # [-]
# Up to this size [inch]: n of a centric and of a triple-offset disc
_BUTTERFLY = ((8, 45.0, 218.0), (14, 35.0, 96.0), (_LARGEST, 25.0, 55.0))


def complete_turbulence_factor(diameter: float) -> float:
    """Return fT, the Darcy factor of clean commercial steel at complete turbulence [-].

    Parameters
    ----------
    diameter : float
        Inside diameter [m].

    Returns
    -------
    float
        [-]

    Notes
    -----
    fT = 0.25 / log10(roughness/diameter / 3.7)**2 with a roughness of 0.0018 inch: Crane TP 410.

    Examples
    --------
    Crane TP 410 prints 0.013 for 12 to 16 inch (from memory).

    >>> round(complete_turbulence_factor(0.30474), 3)
    0.013
    """
    return 0.25 / math.log10(CLEAN_STEEL / diameter / 3.7) ** 2


def _tapered(ft: float, ratio: float, degrees: float) -> float:
    """Return K of a ball valve with a reduced bore and tapered ports, on the pipe; Crane TP 410."""
    half = math.sin(math.radians(degrees) / 2.0)
    lost = 1.0 - ratio**2
    if degrees <= 45.0:
        ports = half * (0.8 * lost + 2.6 * lost**2)
    else:
        ports = 0.5 * math.sqrt(half) * lost + lost**2
    return (3.0 * ft + ports) / ratio**4


def _bore(nps: float, steps: int) -> float:
    """Return the bore [m] that is so many sizes smaller."""
    smaller = [size for size in _BORES if size < nps]
    size = smaller[-steps]
    return _INCH_AND_A_HALF if size == 1.5 else pipe_size(f"{size:g} inch", schedule="standard").inside


def _loss_factors(name: str, nps: float, diameter: float) -> tuple[float, float, float]:
    """Return the least, usual and most K [-] of an open valve."""
    ft = complete_turbulence_factor(diameter)
    if name == "butterfly":
        usual, most = next((n, m) for size, n, m in _BUTTERFLY if nps <= size)
        return _BUTTERFLY_LEAST, usual * ft, most * ft
    if name == "ball, reduced bore":
        one = _bore(nps, 1) / diameter
        rule = one if nps <= 12 else _bore(nps, 2) / diameter
        return _tapered(ft, one, 15.0), _tapered(ft, rule, 30.0), _tapered(ft, rule, 90.0)
    least, usual, most = _MULTIPLES[name]
    return least * ft, usual * ft, most * ft


def assumed_kv(valve_type: str, *, size: str) -> AssumedKv:
    """Return the Kv that is assumed for a valve of which only type and size are known.

    Parameters
    ----------
    valve_type : str
        A key of ``VALVE_TYPES``.
    size : str
        "12 inch" or "DN 300", 2 to 24 inch.

    Returns
    -------
    AssumedKv
        Kv [m3/h of water at 1 bar].

    Raises
    ------
    UnknownNameError
        With the types or the sizes that there are.

    Examples
    --------
    A 12 inch gate valve has K = 8 fT = 8 * 0.013 = 0.104 as a rule (Crane TP 410). By hand, in a bore of
    0.0729 m2: 3600 * 0.0729 * sqrt(200/0.104) = 11 500.

    >>> round(assumed_kv("gate", size="12 inch").usual, -2)
    11500.0
    """
    from surge.hydraulics.formulas import loss_factor_to_kv  # late: it brings numpy, which names do not need

    if valve_type not in VALVE_TYPES:
        raise UnknownNameError("valve type", given=valve_type, known=VALVE_TYPES)
    nps = nominal_inches(size)
    if nps > _LARGEST:
        raise UnknownNameError("assumed Kv for a valve of", given=size, known=("2 inch to 24 inch",))
    row = VALVE_TYPES[valve_type]
    pipe = pipe_size(size, schedule="standard")
    diameter = pipe.inside
    least, usual, most = _loss_factors(valve_type, nps, diameter)
    return AssumedKv(
        name=valve_type,
        size=pipe.size,
        dn=pipe.dn,
        characteristic=row.characteristic,
        low=loss_factor_to_kv(most, diameter=diameter),
        usual=loss_factor_to_kv(usual, diameter=diameter),
        high=loss_factor_to_kv(least, diameter=diameter),
        source=row.source,
        note=row.note,
        status=row.status,
        validity=row.validity,
    )


@cache
def _all_rows() -> tuple[AssumedKv, ...]:
    sizes = [size for size in SIZES if nominal_inches(size) <= _LARGEST]
    return tuple(assumed_kv(name, size=size) for name in VALVE_TYPES for size in sizes)


def search(text: str) -> list[AssumedKv]:
    """Return the assumed Kv of every valve whose type, size or DN has every word of ``text``."""
    return matching(_all_rows(), text)
