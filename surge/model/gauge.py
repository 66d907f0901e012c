"""A pressure that was read on a gauge while loading: what a case can be held against."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from typing import TYPE_CHECKING

from surge.errors import Origin

if TYPE_CHECKING:
    from surge.model.lineup import Liquid


@dataclass(frozen=True, kw_only=True)
class GaugeReading:
    """One reading, at a point, while the flow was steady.

    Attributes
    ----------
    point : str
    pressure : float
        As read [Pa gauge].
    rate : float
        At which it was read [m3/s]; ``by_mass`` as of :class:`surge.model.lineup.Rate`.
    tolerance : float
        How far the gauge may be off, either way [Pa]; ``tolerance_source`` says where that comes from.
    liquid : Liquid or None
        The cargo at the temperature that it had then; None: as in the line-up.
    levels : tuple of (tank, level [m])
    openings : tuple of (valve, opening [-])
        As they were then, where they were not as in the line-up.
    day : date or None
    note : str
    """

    point: str
    pressure: float
    rate: float
    tolerance: float
    tolerance_source: str
    by_mass: bool = False
    liquid: Liquid | None = None
    levels: tuple[tuple[str, float], ...] = ()
    openings: tuple[tuple[str, float], ...] = ()
    day: date | None = None
    note: str = ""
    origin: Origin = ()
