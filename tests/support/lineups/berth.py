"""A berth of our own invention without a fault, and ways to spoil it; for the tests of the rules."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

from surge.errors import Fault
from surge.model.lineup import (
    LineUp,
    Liquid,
    Passage,
    Pipe,
    Point,
    Pump,
    PumpMove,
    Rate,
    Scenario,
    Tank,
    Valve,
    ValveMove,
)
from surge.model.validation import faults_of

HEIGHTS = {
    "tank outlet": 3.0,
    "pump discharge": 3.0,
    "jetty": 6.0,
    "hose inlet": 6.0,
    "manifold": 9.0,
    "deck": 9.0,
    "drop": 10.0,
    "tank bottom": -4.0,
}


def berth() -> LineUp:
    """Return a line-up from a shore tank through a pump, hose and deck line into a ship's tank."""
    points = [Point(name=n, elevation=z, origin=("points", n)) for n, z in HEIGHTS.items()]
    points.append(Point(name="blank", elevation=9.0, closed=True, origin=("points", "blank")))
    return LineUp(
        title="berth 1",
        liquid=Liquid(
            name="gasoline", density=740.0, sound_speed=1180.0, viscosity=6e-7, vapour_pressure=35e3
        ),
        points=tuple(points),
        pipes=(
            _pipe(0, "shore line", "pump discharge", "jetty", length=1200.0),
            _pipe(1, "deck line", "deck", "drop", length=90.0),
            _pipe(2, "branch", "deck", "blank", length=20.0),
            replace(
                _pipe(0, "hose", "hose inlet", "manifold", length=18.0),
                kind="hose",
                wave_speed=450.0,
                origin=("hose", 0),
            ),
        ),
        valves=(
            _valve(0, "control valve", "jetty", "hose inlet"),
            _valve(1, "manifold valve", "manifold", "deck"),
        ),
        passages=(Passage(name="stack", start="drop", end="tank bottom", kv=900.0, origin=("passage", 0)),),
        pumps=(
            Pump(
                name="pump 1",
                start="tank outlet",
                end="pump discharge",
                curve=((0.0, 85.0), (0.1, 79.0), (0.2, 62.0)),
                non_return=True,
                origin=("pump", 0),
            ),
        ),
        tanks=(
            Tank(name="tank 7", point="tank outlet", side="shore", level=14.0, origin=("tank", 0)),
            Tank(name="no. 3 port", point="tank bottom", side="ship", level=1.0, origin=("tank", 1)),
        ),
        rate=Rate(agreed=0.15, means="throttle", at="control valve", through="shore line"),
        scenarios=(Scenario(name="topping off", moves=(close("manifold valve"),), origin=("scenario", 0)),),
    )


def _pipe(k: int, name: str, start: str, end: str, *, length: float) -> Pipe:
    return Pipe(
        name=name,
        start=start,
        end=end,
        length=length,
        diameter=0.25,
        wave_speed=1000.0,
        roughness=5e-5,
        origin=("pipe", k),
    )


def _valve(k: int, name: str, start: str, end: str) -> Valve:
    return Valve(
        name=name,
        start=start,
        end=end,
        kv=1500.0,
        characteristic=((0.0, 0.0), (0.5, 0.2), (1.0, 1.0)),
        origin=("valve", k),
    )


def close(valve: str, *, k: int = 0, at: float = 5.0, law: Any = ((0.0, 1.0), (20.0, 0.0))) -> ValveMove:
    """Return the closing of a valve as event ``k`` of the scenario."""
    return ValveMove(valve=valve, start=at, law=law, origin=("scenario", 0, "event", k))


def stop(
    *, k: int = 0, at: float = 5.0, law: Any = ((0.0, 1.0), (8.0, 0.0)), pump: str = "pump 1"
) -> PumpMove:
    """Return the run-down of the pump as event ``k`` of the scenario."""
    return PumpMove(pump=pump, start=at, law=law, origin=("scenario", 0, "event", k))


def spoilt(field: str, k: int | None = None, lineup: LineUp | None = None, **changes: Any) -> LineUp:
    """Return the berth with a part changed: the k-th of a tuple, or the only one."""
    lineup = lineup or berth()
    old = getattr(lineup, field)
    if k is None:
        return lineup.with_(**{field: replace(old, **changes)})
    new = replace(old[k], **changes)
    return lineup.with_(**{field: (*old[:k], new, *old[k + 1 :])})


def scenario(lineup: LineUp | None = None, **changes: Any) -> LineUp:
    """Return the berth with its scenario changed."""
    return spoilt("scenarios", 0, lineup, **changes)


def the_fault(lineup: LineUp) -> Fault:
    """Return the fault of a line-up that has exactly one."""
    faults = faults_of(lineup)
    assert len(faults) == 1, faults
    return faults[0]


def assert_fault(lineup: LineUp, path: tuple[str | int, ...], found: str, expected: str, remedy: str) -> None:
    """Assert that there is exactly one fault, at the path, with these words in its three texts."""
    fault = the_fault(lineup)
    assert fault.path == path
    assert found in fault.found, fault
    assert expected in fault.expected, fault
    assert remedy in fault.remedy, fault
