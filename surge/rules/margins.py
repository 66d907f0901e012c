"""How near a march comes to the limits: one figure for searching, never for a verdict."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from surge.model.lineup import LineUp
from surge.rules.findings import LOWEST_RULE, VAPOUR_RULE, Limit, place_limits, surge_limit
from surge.transient.peaks import Key, Peaks


@dataclass(frozen=True, kw_only=True)
class LimitedExtreme:
    """An extreme of a march, and what it is held against.

    Attributes
    ----------
    key : (str, str, str)
        "element" or "place", name, "high" or "low", as in :class:`surge.transient.peaks.Peaks`.
    """

    key: Key
    limit: Limit

    def margin(self, pressure: float) -> float:
        """How far a pressure [Pa gauge] stays on the safe side [Pa]."""
        over = pressure - self.limit.value
        return -over if self.key[2] == "high" else over


@dataclass(frozen=True, kw_only=True)
class NearestLimit:
    """The limit that a march comes nearest to, and by how much it is kept [Pa]; negative beyond it."""

    margin: float
    held: LimitedExtreme


def held_limits(lineup: LineUp) -> tuple[LimitedExtreme, ...]:
    """Everything that the extremes of a scenario are held against."""
    held = []
    boils = Limit(
        value=lineup.vapour_gauge, source=f"vapour pressure of {lineup.liquid.name}", rule=VAPOUR_RULE
    )
    for element in lineup.elements:
        high, low = ("element", element.name, "high"), ("element", element.name, "low")
        if (allowed := surge_limit(element)) is not None:
            held.append(LimitedExtreme(key=high, limit=allowed))
        if element.limits.lowest is not None:
            source = element.limits.lowest_source or "given in the case"
            limit = Limit(value=element.limits.lowest, source=source, rule=LOWEST_RULE)
            held.append(LimitedExtreme(key=low, limit=limit))
        held.append(LimitedExtreme(key=low, limit=boils))
    for point in lineup.points:
        held += [
            LimitedExtreme(key=("place", point.name, "high"), limit=limit)
            for limit in place_limits(lineup, point)
        ]
    return tuple(held)


def nearest(held: Iterable[LimitedExtreme], peaks: Peaks) -> NearestLimit:
    """Return the limit that is nearest in one march."""
    margins = ((h.margin(peaks.found[h.key].pressure), h) for h in held)
    margin, which = min(margins, key=lambda pair: pair[0])
    return NearestLimit(margin=margin, held=which)
