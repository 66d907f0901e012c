"""What of a pressure may be told: once the liquid has boiled, only what the model answers for.

Pressures [Pa gauge], times [s].
"""

from __future__ import annotations

from dataclasses import dataclass

from surge.rules.findings import Finding
from surge.transient.result import ElementResult, Extreme, PlaceResult, ScenarioResult


@dataclass(frozen=True, kw_only=True)
class Valid:
    """What of a finding may be told: once the liquid has boiled, only what came before.

    Attributes
    ----------
    value, margin : float or None
        [Pa gauge], [Pa]
    when : Extreme or None
        The extreme, if its time and distance belong to the value.
    long : bool
        It is of an element that has a length.
    cavities : bool
        It is of marches with cavities.
    """

    value: float | None
    margin: float | None
    when: Extreme | None = None
    long: bool = False
    cavities: bool = False


@dataclass(frozen=True, kw_only=True)
class Told:
    """An extreme as it may be told.

    Attributes
    ----------
    pressure, error : float
        [Pa gauge], [Pa]
    time : float or None
        [s]; None: not known.
    share : float or None
        Where, of the element's length [-]; None: where the extreme itself says.
    """

    pressure: float
    error: float
    time: float | None
    share: float | None = None


def told(run: ScenarioResult, whose: tuple[str, str], extreme: Extreme, *, upper: bool) -> Told:
    """Return an extreme of a run as it may be told.

    Of a run that boils, what came before that; with cavities, what marches with them have.

    Parameters
    ----------
    run : ScenarioResult
    whose : (str, str)
        "element" or "place", and its name.
    extreme : Extreme
        Its own.
    upper : bool
        Whether it is the highest.
    """
    if run.cavities is not None and run.followed:
        found = run.cavities.extremes[(*whose, "high" if upper else "low")]
        own = found.furthest
        return Told(pressure=found.pressure, error=found.band, time=own.time, share=own.share)
    value = extreme.pressure if run.vapour is None else extreme.before_vapour
    return Told(pressure=value, error=extreme.error, time=extreme.time if value == extreme.pressure else None)


def steady_there(run: ScenarioResult, element: ElementResult, seen: Told, *, upper: bool) -> float | None:
    """Pressure before anything moves where an extreme of an element is told [Pa gauge]; None: not known."""
    if seen.share is None:
        return element.steady if upper else element.steady_at_lowest
    end = {0.0: element.start, 1.0: element.end}.get(seen.share)
    return next((place.steady for place in run.places if place.name == end), None)


def valid(finding: Finding, run: ScenarioResult | None) -> Valid:
    """The part of a finding that the model answers for; ``run`` is the usual one of its scenario."""
    run = run.made_with(finding.beside) if run is not None else None
    if run is None or finding.value is None or finding.limit is None or finding.check in ("steady", "static"):
        return Valid(value=finding.value, margin=finding.margin)
    if run.followed:
        return Valid(value=finding.value, margin=finding.margin, cavities=True)
    owner: ElementResult | PlaceResult
    if finding.subject == "element":
        owner = next(e for e in run.elements if e.name == finding.name)
    else:
        owner = next(p for p in run.places if p.name == finding.name)
    extreme = owner.highest if finding.check == "peak" else owner.lowest
    value = extreme.pressure if run.vapour is None else extreme.before_vapour
    sign = 1.0 if finding.check == "peak" else -1.0
    return Valid(
        value=value,
        margin=sign * (finding.limit - value),
        when=extreme if value == extreme.pressure else None,
        long=isinstance(owner, ElementResult) and owner.figures is not None,
    )
