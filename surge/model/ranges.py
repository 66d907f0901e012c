"""What is known as a range only: figures that the case leaves to the tables, and lengths in brackets.

A point of the ranges is one share for each of them, 0 at the low end and 1 at the high one, in the order of
:func:`ranges_of`. :func:`surge.hydraulics.fixed.at_shares` makes the line-up at a point;
:mod:`surge.rules.spread` judges over all of them.

Decisions
---------
* Each figure of each element moves by itself: two hoses of one type, or two walls, need not be alike. The
  liquid is one: its figures move those of all pipes.
* Viscosities and roughnesses are spread by their logarithm, all others evenly.
* Points inside many ranges together are those of Halton. scipy has them too, but bringing it in takes longer
  than a march.
* The vapour pressure is no range: it is taken at the high end of what is sold. It bounds what a fall may
  reach, moves nothing else, and the high end is the worst for that, whatever else is taken.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from typing import NamedTuple

from surge.model.lineup import LineUp, Passage, Pipe, Valve

Shares = tuple[float, ...]

# Quantity -> unit, factor from SI, format: for reasons in words
_UNITS = {
    "density": ("kg/m3", 1.0, ".1f"),
    "sound speed": ("m/s", 1.0, ".0f"),
    "viscosity": ("mPa s", 1e3, ".3g"),
    "length": ("m", 1.0, ".6g"),
    "wave speed": ("m/s", 1.0, ".0f"),
    "roughness": ("mm", 1e3, ".3g"),
    "wall": ("mm", 1e3, ".3g"),
    "stiffness of the wall": ("GPa", 1e-9, ".4g"),
    "Kv": ("m3/h", 1.0, ".0f"),
    "set pressure": ("bar(g)", 1e-5, ".2f"),
    "gas volume": ("m3", 1.0, ".3g"),
    "gas exponent": ("", 1.0, ".3g"),
}
_OF_WALL = {"wall": "thickness_range", "stiffness of the wall": "stiffness_range"}
_LOGARITHMIC = ("viscosity", "roughness")
LIQUID = "liquid"
BASES = (2, 3, 5, 7, 11, 13)  # of the points of Halton, one for each range
TRIFLE = 1e-9  # a range stays a range when both of its ends are one figure


class Taken(NamedTuple):
    """A figure within a range.

    Attributes
    ----------
    subject, quantity : str
        Whose ("liquid", or the name of an element), and what: "viscosity", "length", "Kv" ...
    value : float
        In SI; a viscosity is dynamic [Pa s], a Kv in m3/h.
    matters : bool
        Whether the figures that the run gives go by it.
    """

    subject: str
    quantity: str
    value: float
    matters: bool = True

    @property
    def words(self) -> str:
        """The figure with its unit."""
        return figure(self.quantity, self.value)

    @property
    def whose(self) -> str:
        """What it is a figure of, in words."""
        return whose(self.subject, self.quantity)


@dataclass(frozen=True, kw_only=True)
class Range:
    """A figure that is known as a range only.

    Attributes
    ----------
    subject, quantity : str
        As of :class:`Taken`.
    low, high : float
        Ends, in SI.
    usual : float
        What the line-up has where nobody says more.
    given : bool
        Both ends stand in the case: all that lies between them has to be safe.
    """

    subject: str
    quantity: str
    low: float
    high: float
    usual: float
    given: bool = False

    @property
    def key(self) -> tuple[str, str]:
        """Whose, and what."""
        return self.subject, self.quantity

    @property
    def whose(self) -> str:
        """What it is a figure of, in words."""
        return whose(self.subject, self.quantity)

    @property
    def words(self) -> str:
        """Both ends with their unit."""
        low, high = figure(self.quantity, self.low), figure(self.quantity, self.high)
        unit = _UNITS[self.quantity][0]
        return f"{low.removesuffix(unit).strip()} to {high}"

    def value(self, share: float) -> float:
        """The figure at a share of the range [-]; in SI."""
        if share <= 0.0 or share >= 1.0:
            return self.low if share <= 0.0 else self.high
        if self.quantity in _LOGARITHMIC and self.low > 0.0:
            return self.low * math.exp(share * math.log(self.high / self.low))
        return self.low + share * (self.high - self.low)

    def share(self, value: float) -> float:
        """The share of the range at which a figure lies [-]."""
        if self.quantity in _LOGARITHMIC and self.low > 0.0:
            return math.log(value / self.low) / math.log(self.high / self.low)
        return (value - self.low) / (self.high - self.low)


def figure(quantity: str, value: float) -> str:
    """A figure [SI] with a unit, in words."""
    unit, factor, form = _UNITS[quantity]
    return f"{value * factor:{form}} {unit}".rstrip()


def rounded(quantity: str, value: float, *, up: bool) -> float:
    """A figure [SI] rounded one way: to as many places as words show, of those with no fixed places to three
    digits.
    """
    _, factor, form = _UNITS[quantity]
    shown = value * factor
    digits = 3 - math.ceil(math.log10(abs(shown))) if form.endswith("g") and shown else int(form[1])
    step = 10.0**-digits
    whole = math.ceil(shown / step - 1e-9) if up else math.floor(shown / step + 1e-9)
    return whole * step / factor


def whose(subject: str, quantity: str) -> str:
    """What a figure belongs to, in words."""
    return f"{quantity} of the liquid" if subject == LIQUID else f'{quantity} of "{subject}"'


def _each(lineup: LineUp) -> Iterator[Range]:
    """Every range of the line-up, and those of no width."""
    liquid = lineup.liquid
    for quantity, ends, usual in (
        ("density", liquid.density_range, liquid.density),
        ("sound speed", liquid.sound_speed_range, liquid.sound_speed),
        ("viscosity", liquid.viscosity_range, liquid.viscosity * liquid.density),
    ):
        yield from _range(LIQUID, quantity, ends, usual)
    for p in lineup.pipes:
        yield from _range(p.name, "length", p.length_range, p.length, given=True)
        yield from _range(p.name, "wave speed", p.wave_speed_range, p.wave_speed)
        if p.wall is not None:
            yield from _range(p.name, "wall", p.wall.thickness_range, p.wall.thickness)
            stiff = p.wall.stiffness_range
            yield from _range(p.name, "stiffness of the wall", stiff, p.wall.stiffness or 0.0)
        yield from _range(p.name, "roughness", p.roughness_range, p.roughness)
    orifices: list[Valve | Passage] = [*lineup.valves, *lineup.passages]
    for o in orifices:
        yield from _range(o.name, "Kv", o.kv_range, o.kv)
    for r in lineup.relief_valves:
        yield from _range(r.name, "set pressure", r.set_range, r.set_pressure, given=True)
        yield from _range(r.name, "Kv", r.kv_range, r.kv, given=True)
    for d in lineup.surge_drums:
        yield from _range(d.name, "gas volume", d.gas_range, d.gas_volume, given=True)
        yield from _range(d.name, "gas exponent", d.exponent_range, d.exponent, given=True)


def _range(
    subject: str, quantity: str, ends: tuple[float, float] | None, usual: float, *, given: bool = False
) -> Iterator[Range]:
    if ends is not None and ends[0] < ends[1]:
        held = min(max(usual, ends[0]), ends[1])
        yield Range(subject=subject, quantity=quantity, low=ends[0], high=ends[1], usual=held, given=given)


def ranges_of(lineup: LineUp) -> tuple[Range, ...]:
    """Return everything that is known as a range only: of liquid, elements, and what hangs on points."""
    return tuple(_each(lineup))


def usual_shares(lineup: LineUp) -> Shares:
    """Return the shares at which the line-up has its usual figures [-]."""
    return tuple(r.share(r.usual) for r in ranges_of(lineup))


def along_lengths(lineup: LineUp, count: int) -> list[Shares]:
    """Return points over the lengths, which move together; what else is a range is as usual.

    Parameters
    ----------
    lineup : LineUp
    count : int
        How many of a length; one point where no length is a range.

    Returns
    -------
    list of tuple of float
        [-]
    """
    ranges, usual = ranges_of(lineup), usual_shares(lineup)
    if not any(r.quantity == "length" for r in ranges):
        return [usual]
    each = [i / (count - 1) for i in range(count)]
    pairs = list(zip(ranges, usual, strict=True))
    return [tuple(x if r.quantity == "length" else u for r, u in pairs) for x in each]


def evenly_inside(i: int) -> Shares:
    """Return the i-th of points that fill the inside of ``len(BASES)`` ranges evenly, however many are taken.

    Parameters
    ----------
    i : int
        From 1.

    Returns
    -------
    tuple of float
        Shape (len(BASES),), between 0 and 1 [-]: the digits of ``i`` in each base, mirrored behind the point.

    Notes
    -----
    J. H. Halton, Numerische Mathematik 2 (1960), pp. 84-90; from memory.
    """
    return tuple(_mirrored(i, base) for base in BASES)


def _mirrored(i: int, base: int) -> float:
    found, scale = 0.0, 1.0 / base
    while i:
        found += scale * (i % base)
        i //= base
        scale /= base
    return found


def bore_at(pipe: Pipe, thickness: float) -> float:
    """Bore of a pipe whose wall has another thickness [m]: the outside diameter stays."""
    return pipe.diameter if pipe.wall is None else pipe.diameter + 2.0 * (pipe.wall.thickness - thickness)


def minor_loss_at(pipe: Pipe, roughness: float) -> float:
    """Minor loss of a pipe at a roughness [m], even between the ends of its range [-]."""
    rough, loss = pipe.roughness_range, pipe.minor_loss_range
    if rough is None or loss is None:
        return pipe.minor_loss
    return loss[0] + (roughness - rough[0]) / (rough[1] - rough[0]) * (loss[1] - loss[0])


def narrowed(lineup: LineUp, one: Range, low: float, high: float) -> LineUp:
    """Return the line-up with the ends of one range closer together.

    Parameters
    ----------
    lineup : LineUp
    one : Range
        Of this line-up.
    low, high : float
        [SI]
    """
    ends = (low if low < high else high * (1.0 - TRIFLE), high)
    name = one.quantity.replace(" ", "_")
    if one.subject == LIQUID:
        liquid = replace(lineup.liquid, **{f"{name}_range": ends})  # type: ignore[arg-type]
        return lineup.with_(liquid=liquid)

    def pipe(p: Pipe) -> Pipe:
        if p.name != one.subject:
            return p
        if one.quantity in _OF_WALL and p.wall is not None:
            wall = replace(p.wall, **{_OF_WALL[one.quantity]: ends})  # type: ignore[arg-type]
            return replace(p, wall=wall)
        changed = {f"{name}_range": ends}
        if one.quantity == "roughness" and p.minor_loss_range is not None:
            changed["minor_loss_range"] = minor_loss_at(p, ends[0]), minor_loss_at(p, ends[1])
        return replace(p, **changed)  # type: ignore[arg-type]

    valves = tuple(replace(v, kv_range=ends) if v.name == one.subject else v for v in lineup.valves)
    passages = tuple(replace(p, kv_range=ends) if p.name == one.subject else p for p in lineup.passages)
    key = {"set_pressure": "set_range", "gas_volume": "gas_range", "gas_exponent": "exponent_range"}
    hung = {key.get(name, f"{name.lower()}_range"): ends}
    return lineup.with_(
        pipes=tuple(pipe(p) for p in lineup.pipes),
        valves=valves,
        passages=passages,
        relief_valves=tuple(
            replace(r, **hung) if r.name == one.subject else r  # type: ignore[arg-type]
            for r in lineup.relief_valves
        ),
        surge_drums=tuple(
            replace(d, **hung) if d.name == one.subject else d  # type: ignore[arg-type]
            for d in lineup.surge_drums
        ),
    )


def figures_at(lineup: LineUp, shares: Sequence[float]) -> tuple[Taken, ...]:
    """Return the figures that are taken at a point of the ranges.

    Parameters
    ----------
    lineup : LineUp
    shares : sequence of float
        One for each range [-].
    """
    ranges = ranges_of(lineup)
    return tuple(Taken(*r.key, r.value(s)) for r, s in zip(ranges, shares, strict=True))
