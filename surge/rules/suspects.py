"""Which single figure of a case would explain what gauges show: found by trial, one figure at a time.

Decisions
---------
* Each figure is moved over a plausible range while all others stay as they are; what is a range in the case
  is at its usual figure. It explains the readings where every one of them then fits within its gauge.
* Twins are moved together: pipes with the same bore and wall, valves and passages with the same Kv, the tanks
  of one side. Two different figures at a time are not tried.
* How far each may be moved: a roughness over what walls of such lines have (:data:`ROUGHNESS`); a Kv to a
  tenth, since a valve that stands partly open looks like a small one, and to twice, since makers differ as
  much; levels by a metre, the density by 3 %, the viscosity to half and to twice, the head of a pump from
  0.85 to 1.05 of its curve. The last ones are common practice, no source.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from typing import NamedTuple, TypeVar

from surge.hydraulics.fixed import at_shares
from surge.model.gauge import GaugeReading
from surge.model.lineup import LineUp, Liquid, Passage, Pipe, Pump, Tank, Valve
from surge.model.ranges import usual_shares
from surge.reference.pipes import ROUGHNESS

SAMPLES = 9  # of a figure over its range
HALVINGS = 8  # of a step between two samples
KV, STACK_KV = (0.1, 2.0), (0.4, 2.5)  # [-] of the figure of the case
LEVEL = 1.0  # [m] either way
DENSITY = 0.03  # [-] either way
VISCOSITY = (0.5, 2.0)  # [-]
PUMP_HEAD = (0.85, 1.05)  # [-]
QUANTITIES = ("roughness", "Kv", "level", "density", "viscosity", "head of the pump")
_SMOOTH = min(r.low for r in ROUGHNESS.values())  # [m]
_HOSE, _STEEL = ROUGHNESS["rough-bore hose"].high, ROUGHNESS["old steel"].high  # [m]

Change = Callable[[LineUp, float], LineUp]


@dataclass(frozen=True, kw_only=True)
class Explanation:
    """A figure that would explain all readings.

    Attributes
    ----------
    subjects : tuple of str
        Names of the elements or tanks; empty for the liquid.
    quantity : str
        One of ``QUANTITIES``.
    low, high : float
        Between which all readings fit [SI; a Kv in m3/h; of a level the change in m; of a head the share].
    given : float
        What the case has, in the same unit; 0 for a level.
    """

    subjects: tuple[str, ...]
    quantity: str
    low: float
    high: float
    given: float


class _Suspect(NamedTuple):
    """A figure that may be moved: from where to where, and how the line-up then is."""

    subjects: tuple[str, ...]
    quantity: str
    low: float
    high: float
    given: float
    change: Change

    def value(self, share: float) -> float:
        """The figure at a share of its range; evenly in its logarithm where it is never 0."""
        if self.low > 0.0:
            return self.low * math.exp(share * math.log(self.high / self.low))
        return self.low + share * (self.high - self.low)


def explanations(lineup: LineUp, off: Callable[[LineUp], float]) -> tuple[Explanation, ...]:
    """Return the single figures that explain all readings, those that need the least change first.

    Parameters
    ----------
    lineup : LineUp
        Figures in it may be ranges.
    off : callable
        From a line-up to how far the reading is off that fits worst, as a share of its tolerance [-].
    """
    fixed = at_shares(lineup, usual_shares(lineup))
    found = [e for s in _suspects(fixed) if (e := _tried(fixed, s, off)) is not None]
    return tuple(sorted(found, key=_change))


def _change(e: Explanation) -> float:
    """By how much a figure has to be moved, for sorting [-]."""
    if e.quantity == "level":
        return min(abs(e.low), abs(e.high)) / LEVEL
    near = e.low if e.low > e.given else e.high
    return abs(math.log(max(near, 1e-12) / max(e.given, 1e-12)))


def _tried(lineup: LineUp, suspect: _Suspect, off: Callable[[LineUp], float]) -> Explanation | None:
    """Move one figure over its range; the values between which all readings fit, each end shown to fit."""

    def at(share: float) -> float:
        return off(suspect.change(lineup, suspect.value(share)))

    shares = [k / (SAMPLES - 1) for k in range(SAMPLES)]
    samples = [at(share) for share in shares]
    k = min(range(SAMPLES), key=samples.__getitem__)
    best = _least(at, shares[max(k - 1, 0)], shares[min(k + 1, SAMPLES - 1)], best=(shares[k], samples[k]))
    if best is None:
        return None
    beyond = [x for x, y in zip(shares, samples, strict=True) if not y <= 1.0]
    first = _edge(at, best, max((x for x in beyond if x < best), default=None), end=0.0)
    last = _edge(at, best, min((x for x in beyond if x > best), default=None), end=1.0)
    low, high = suspect.value(first), suspect.value(last)
    return Explanation(
        subjects=suspect.subjects, quantity=suspect.quantity, low=low, high=high, given=suspect.given
    )


def _least(
    at: Callable[[float], float], low: float, high: float, *, best: tuple[float, float]
) -> float | None:
    """A share between two at which all readings fit; None where even the best does not."""
    for _ in range(HALVINGS):
        if best[1] <= 1.0:
            return best[0]
        tried = [(x, at(x)) for x in (0.5 * (low + best[0]), 0.5 * (best[0] + high))]
        nearest = min(tried, key=lambda t: t[1])
        if nearest[1] < best[1]:
            low, high = (low, best[0]) if nearest[0] < best[0] else (best[0], high)
            best = nearest
        else:
            low, high = tried[0][0], tried[1][0]
    return best[0] if best[1] <= 1.0 else None


def _edge(at: Callable[[float], float], inside: float, beyond: float | None, *, end: float) -> float:
    """The share farthest from ``inside`` at which all readings still fit; ``end`` where all do."""
    if beyond is None:
        return end
    for _ in range(HALVINGS):
        middle = 0.5 * (inside + beyond)
        inside, beyond = (middle, beyond) if at(middle) <= 1.0 else (inside, middle)
    return inside


# What may be moved


def _suspects(lineup: LineUp) -> Iterator[_Suspect]:
    """Every figure that may be moved; twins together."""
    for pipes in _twins(lineup.pipes, lambda p: (p.kind, p.diameter, p.roughness)):
        yield _roughness(pipes)
    throttle = lineup.rate.at if lineup.rate else ""
    valves = [v for v in lineup.valves if v.name != throttle]
    passages = [p for p in lineup.passages if p.name != throttle]
    for same in _twins(valves, lambda v: (v.kv, v.opening)):
        yield _kv(same, KV)
    for stacks in _twins(passages, lambda p: (p.kind, p.kv)):
        yield _kv(stacks, STACK_KV)
    for side in ("ship", "shore"):
        if tanks := [t for t in lineup.tanks if t.side == side]:
            yield _level(tanks)
    yield from _liquid(lineup)
    for pump in lineup.pumps:
        yield _head(pump)


_Part = TypeVar("_Part")


def _twins(parts: Iterable[_Part], alike: Callable[[_Part], object]) -> list[list[_Part]]:
    groups: dict[object, list[_Part]] = {}
    for part in parts:
        groups.setdefault(alike(part), []).append(part)
    return list(groups.values())


def _names(parts: Sequence[Pipe | Valve | Passage | Tank]) -> tuple[str, ...]:
    return tuple(part.name for part in parts)


def _roughness(pipes: Sequence[Pipe]) -> _Suspect:
    names = _names(pipes)
    highest = max(_HOSE if pipes[0].kind == "hose" else _STEEL, pipes[0].roughness)

    def change(lineup: LineUp, value: float) -> LineUp:
        return lineup.with_(
            pipes=tuple(replace(p, roughness=value) if p.name in names else p for p in lineup.pipes)
        )

    return _Suspect(names, "roughness", _SMOOTH, highest, pipes[0].roughness, change)


def _kv(parts: Sequence[Valve] | Sequence[Passage], factors: tuple[float, float]) -> _Suspect:
    names, given = _names(parts), parts[0].kv

    def change(lineup: LineUp, value: float) -> LineUp:
        return lineup.with_(
            valves=tuple(replace(v, kv=value) if v.name in names else v for v in lineup.valves),
            passages=tuple(replace(p, kv=value) if p.name in names else p for p in lineup.passages),
        )

    return _Suspect(names, "Kv", factors[0] * given, factors[1] * given, given, change)


def _level(tanks: Sequence[Tank]) -> _Suspect:
    names = _names(tanks)

    def change(lineup: LineUp, value: float) -> LineUp:
        def levels(reading: GaugeReading) -> GaugeReading:
            moved = ((name, z + value if name in names else z) for name, z in reading.levels)
            return replace(reading, levels=tuple(moved))

        return lineup.with_(
            tanks=tuple(replace(t, level=t.level + value) if t.name in names else t for t in lineup.tanks),
            readings=tuple(levels(r) for r in lineup.readings),
        )

    return _Suspect(names, "level", -LEVEL, LEVEL, 0.0, change)


def _liquid(lineup: LineUp) -> Iterator[_Suspect]:
    """Density and viscosity of the cargo, also where it had another temperature than in the case."""
    for field, quantity, factors in (
        ("density", "density", (1.0 - DENSITY, 1.0 + DENSITY)),
        ("viscosity", "viscosity", VISCOSITY),
    ):
        given = getattr(lineup.liquid, field)

        def change(lineup: LineUp, value: float, field: str = field, given: float = given) -> LineUp:
            def other(liquid: Liquid) -> Liquid:
                return replace(liquid, **{field: getattr(liquid, field) * value / given})

            return lineup.with_(
                liquid=other(lineup.liquid),
                readings=tuple(
                    replace(r, liquid=other(r.liquid)) if r.liquid else r for r in lineup.readings
                ),
            )

        if given > 0.0:
            yield _Suspect((), quantity, factors[0] * given, factors[1] * given, given, change)


def _head(pump: Pump) -> _Suspect:
    def change(lineup: LineUp, value: float) -> LineUp:
        curve = tuple((q, h * value) for q, h in pump.curve)
        return lineup.with_(
            pumps=tuple(replace(p, curve=curve) if p.name == pump.name else p for p in lineup.pumps)
        )

    return _Suspect((pump.name,), "head of the pump", *PUMP_HEAD, 1.0, change)
