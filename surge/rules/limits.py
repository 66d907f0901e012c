"""The limits: what a pressure is held against, where, and by which rule of the trade.

The only list of them. A verdict (:mod:`surge.rules.findings`) and a search (:mod:`surge.search.scan`) take it
from :func:`limits_in` and :func:`limits_at`, so that they cannot hold different ones. Pressures [Pa gauge].

Decisions
---------
* A peak may reach rating times allowance, or the test pressure if that is lower. Steady and static pressures
  keep the rating itself.
* The 8 bar(g) at the top of a cargo pump are a rule of the book (``tables/rules.toml``), which
  :func:`surge.rules.pressure.with_pump_top` brings into a line-up; without a book ``LineUp.pump_top_limit``
  holds. Where no point is marked as the top of a cargo pump, they hold at both its ends.
"""

from __future__ import annotations

from dataclasses import dataclass

from surge.model.lineup import Element, LineUp, Pipe, Point
from surge.model.topology import always_joined

NO_TOP_MARKED = "; no point is marked"  # behind the source of a limit at the top of a cargo pump

# Rules of the rule book that pressures are held against.
STATIC_RULE = "static-pressure"


HOSE_STATIC_RULE = "hose-static-pressure"


STEADY_RULE = "steady-pressure"


PEAK_RULE = "peak-pressure"


TEST_RULE = "peak-test-pressure"


PUMP_TOP_RULE = "pump-top"


PLACE_RULE = "place-limit"


LOWEST_RULE = "lowest-pressure"


VAPOUR_RULE = "vapour-pressure"


VALID_RULE = "valid-run"


@dataclass(frozen=True, kw_only=True)
class Limit:
    """What a pressure is held against.

    Attributes
    ----------
    value : float
        [Pa gauge]
    source : str
        Where the figure comes from.
    rule : str
        The rule of the trade that holds it; see :mod:`surge.rules.book`.
    """

    value: float
    source: str
    rule: str


def surge_limit(element: Element) -> Limit | None:
    """What a peak in an element is held against; None without a rating."""
    limits = element.limits
    if limits.rating is None:
        return None
    allowed, source = limits.rating * limits.allowance, limits.rating_source
    if limits.includes_surge is not None:
        source += ", meant to include surge" if limits.includes_surge else ", meant without surge"
    if limits.allowance != 1.0:
        source = f"{source} x allowance {limits.allowance:.2f}"
    if limits.test_pressure is not None and limits.test_pressure < allowed:
        return Limit(value=limits.test_pressure, source="test pressure", rule=TEST_RULE)
    return Limit(value=allowed, source=source, rule=PEAK_RULE)


def place_limits(lineup: LineUp, point: Point) -> list[Limit]:
    """Limits of a place's own: the top of a cargo pump, and one that the case gives."""
    limits = []
    unmarked = "" if point.pump_top else _unmarked_pump(lineup, point)
    if point.pump_top or unmarked:
        source = f"top of the cargo pump: {lineup.pump_top_source}"
        if unmarked:
            source += f'{NO_TOP_MARKED} as the top of "{unmarked}": write cargo_pump_top = true there'
        limits.append(Limit(value=lineup.pump_top_limit, source=source, rule=PUMP_TOP_RULE))
    if point.limit is not None:
        source = point.limit_source or "given in the case"
        limits.append(Limit(value=point.limit, source=source, rule=PLACE_RULE))
    return limits


def _unmarked_pump(lineup: LineUp, point: Point) -> str:
    """Name of a cargo pump that ends at a point, and of which no point is marked as the top; "" for none.

    The limit then holds at both its ends, the foot of the stack among them, where the pressure is highest.
    """
    pumps = [p for p in lineup.passages if p.kind == "cargo pump"]
    here = [p.name for p in pumps if point.name in (p.start, p.end)]
    if not here or any(t.point == point.name for t in lineup.tanks):
        return ""
    part = next(part for part in always_joined(lineup) if point.name in part)
    marked = sum(p.pump_top for p in lineup.points if p.name in part)
    return here[0] if marked < sum(p.start in part for p in pumps) else ""


def steady_limit(element: Element) -> Limit | None:
    """What the pressure while loading is held against: the rating itself; None without one."""
    return _rating(element, STEADY_RULE)


def static_limit(element: Element) -> Limit | None:
    """What shut-off pressure is held against: the rating itself; None without one."""
    hose = isinstance(element, Pipe) and element.kind == "hose"
    return _rating(element, HOSE_STATIC_RULE if hose else STATIC_RULE)


def _rating(element: Element, rule: str) -> Limit | None:
    limits = element.limits
    if limits.rating is None:
        return None
    return Limit(value=limits.rating, source=limits.rating_source, rule=rule)


def lowest_limit(element: Element) -> Limit | None:
    """Below what the pressure in an element must not fall; None where the case gives nothing."""
    if element.limits.lowest is None:
        return None
    source = element.limits.lowest_source or "given in the case"
    return Limit(value=element.limits.lowest, source=source, rule=LOWEST_RULE)


def vapour_limit(lineup: LineUp) -> Limit:
    """Where the liquid boils."""
    source = f"vapour pressure of {lineup.liquid.name}"
    return Limit(value=lineup.vapour_gauge, source=source, rule=VAPOUR_RULE)


@dataclass(frozen=True, kw_only=True)
class LimitedExtreme:
    """An extreme of a run, and what it is held against.

    Attributes
    ----------
    subject : {"element", "place"}
        ``name`` is whose.
    check : {"peak", "lowest", "vapour"}
    limit : Limit
    """

    subject: str
    name: str
    check: str
    limit: Limit

    @property
    def upper(self) -> bool:
        """Whether the pressure must stay below the limit."""
        return self.check == "peak"

    @property
    def key(self) -> tuple[str, str, str]:
        """Which extreme it is, as :class:`surge.transient.peaks.Peaks` names them."""
        return self.subject, self.name, "high" if self.upper else "low"

    def margin(self, pressure: float) -> float:
        """How far a pressure [Pa gauge] stays on the safe side [Pa]."""
        over = pressure - self.limit.value
        return -over if self.upper else over


def limits_in(lineup: LineUp, element: Element) -> tuple[LimitedExtreme, ...]:
    """Return every limit that holds for the extremes of an element: above, below, and where it boils."""
    limits = (
        ("peak", surge_limit(element)),
        ("lowest", lowest_limit(element)),
        ("vapour", vapour_limit(lineup)),
    )
    return tuple(
        LimitedExtreme(subject="element", name=element.name, check=check, limit=limit)
        for check, limit in limits
        if limit is not None
    )


def limits_at(lineup: LineUp, point: Point) -> tuple[LimitedExtreme, ...]:
    """Return every limit that holds for the extremes at a place."""
    return tuple(
        LimitedExtreme(subject="place", name=point.name, check="peak", limit=limit)
        for limit in place_limits(lineup, point)
    )


def held_limits(lineup: LineUp) -> tuple[LimitedExtreme, ...]:
    """Return everything that the extremes of a scenario are held against, elements before places."""
    return (
        *(held for element in lineup.elements for held in limits_in(lineup, element)),
        *(held for point in lineup.points for held in limits_at(lineup, point)),
    )
