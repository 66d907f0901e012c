"""What marches with cavities give: cavities by place, extremes with a band, and why they may not decide.

Pressures [Pa gauge], times [s], volumes [m3].
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from typing import Literal

from surge.transient.history import History

Model = Literal["vapour", "gas"]
CavityKey = tuple[str, str, str]  # "element" or "place", name, "high" or "low"


@dataclass(frozen=True, kw_only=True)
class Cavity:
    """The first cavity at a place.

    Attributes
    ----------
    opened : float
        [s]
    rejoined : float or None
        [s]; None when it was open to the end of the run.
    largest : float
        Largest volume at any time [m3].
    first_pressure, highest_pressure : float or None
        First after it has rejoined, and highest until the next opens [Pa gauge].
    """

    opened: float
    rejoined: float | None
    largest: float
    first_pressure: float | None
    highest_pressure: float | None


@dataclass(frozen=True, kw_only=True)
class Reached:
    """An extreme of one march.

    Attributes
    ----------
    pressure : float
        [Pa gauge]
    time : float or None
        [s]; None inside a pipe, where no times are kept.
    share : float
        Where, of the element's length [-]; 0 at a place.
    """

    pressure: float
    time: float | None
    share: float


@dataclass(frozen=True, kw_only=True, eq=False)
class CavityRun:
    """One march with cavities.

    Attributes
    ----------
    model : str
        "vapour" or "gas".
    dt, duration : float
        [s]
    places : mapping of str to Cavity
        First cavity of every place that had one.
    extremes : mapping of CavityKey to Reached
        Of every element and place.
    windows : tuple of mapping of CavityKey to Reached
        The same before the liquid boils anywhere, and in every window of time from then on.
    largest : float
        Largest volume of a cavity at any place [m3].
    history : History
    """

    model: Model
    dt: float
    duration: float
    places: Mapping[str, Cavity]
    windows: tuple[Mapping[CavityKey, Reached], ...]
    largest: float
    history: History

    @cached_property
    def extremes(self) -> dict[CavityKey, Reached]:
        """Of the whole run."""
        return {key: furthest(key, [own[key] for own in self.windows]) for key in self.windows[0]}


def furthest(key: CavityKey, found: Sequence[Reached]) -> Reached:
    """The furthest of some extremes; of equals the first."""
    out = 1.0 if key[2] == "high" else -1.0
    return max(found, key=lambda one: out * one.pressure)


@dataclass(frozen=True, kw_only=True)
class Banded:
    """An extreme over all marches with cavities.

    Attributes
    ----------
    furthest : Reached
        The furthest that any of them has.
    band : float
        By how much the truth may lie beyond it [Pa].
    sure : float
        What it reaches at least [Pa gauge].
    """

    furthest: Reached
    band: float
    sure: float

    @property
    def pressure(self) -> float:
        """That of ``furthest`` [Pa gauge]."""
        return self.furthest.pressure


@dataclass(frozen=True, kw_only=True, eq=False)
class Cavities:
    """A scenario that boils, followed with cavities.

    Attributes
    ----------
    runs : tuple of CavityRun
        Vapour from the coarsest to the finest step, then gas; empty where they could not be made.
    extremes : mapping of CavityKey to Banded
        Of every element and place.
    pulses : float
        What pulses may bring to any place: a part of every band [Pa].
    boils : float
        Pressure at which the liquid boils [Pa gauge].
    gas : float
        Free gas of the second model, a share of the volume at 101 325 Pa absolute [-].
    missing : str
        Why there are none, "" where there are.
    ranges : tuple of str
        Figures that are ranges, in words: the marches know them at one point only.
    """

    runs: tuple[CavityRun, ...] = ()
    extremes: Mapping[CavityKey, Banded] = field(default_factory=dict)
    pulses: float = 0.0
    boils: float = 0.0
    gas: float = 0.0
    missing: str = ""
    ranges: tuple[str, ...] = ()

    @property
    def told(self) -> tuple[CavityRun, ...]:
        """Both models on the two finer grids: what is told by place."""
        return tuple(
            run for model in ("vapour", "gas") for run in [r for r in self.runs if r.model == model][-2:]
        )

    @property
    def finest(self) -> tuple[CavityRun, ...]:
        """Both models on the finest grid."""
        least = min((r.dt for r in self.runs), default=0.0)
        return tuple(r for r in self.runs if r.dt == least)
