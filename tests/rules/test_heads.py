"""Shut-off heads over all positions of valves and pumps, against solving each of these positions."""

from __future__ import annotations

import random

import pytest
from support.oracles.still import highest_by_positions

from surge.model.lineup import LineUp, Liquid, Pipe, Point, Pump, Tank, Valve
from surge.rules import heads as under_test
from surge.rules.heads import exposed_points, shut_off_heads

OIL = Liquid(name="oil", density=800.0, sound_speed=1200.0, viscosity=1e-6, vapour_pressure=500.0)
WIDE = ((0.0, 0.0), (1.0, 1.0))
SAME = 1e-3  # [m] what the leak of the oracle takes off


def valve(name: str, start: str, end: str) -> Valve:
    return Valve(name=name, start=start, end=end, kv=500.0, characteristic=WIDE)


def pump(name: str, start: str, end: str, head: float, *, non_return: bool) -> Pump:
    return Pump(name=name, start=start, end=end, curve=((0.0, head), (0.2, head / 2)), non_return=non_return)


def pipe(name: str, start: str, end: str) -> Pipe:
    return Pipe(name=name, start=start, end=end, length=10.0, diameter=0.3, wave_speed=1000.0)


def tank(name: str, point: str, side: str, level: float) -> Tank:
    return Tank(name=name, point=point, side=side, level=level)


def line_up(*elements: Pipe | Valve | Pump, tanks: tuple[Tank, ...]) -> LineUp:
    names = dict.fromkeys([t.point for t in tanks] + [p for e in elements for p in (e.start, e.end)])
    return LineUp(
        title="heads",
        liquid=OIL,
        points=tuple(Point(name=n, elevation=0.0) for n in names),
        pipes=tuple(e for e in elements if isinstance(e, Pipe)),
        valves=tuple(e for e in elements if isinstance(e, Valve)),
        pumps=tuple(e for e in elements if isinstance(e, Pump)),
        tanks=tanks,
    )


def drawn(seed: int, *, parted: bool) -> LineUp:
    """A random line-up; ``parted`` puts a valve before and behind each pump."""
    rng = random.Random(seed)
    places = [f"p{k}" for k in range(rng.randint(3, 7))]
    elements: list[Pipe | Valve | Pump] = []
    for k in range(rng.randint(1, 3)):
        start, end = rng.sample(places, 2)
        before, behind = (f"s{k}", f"d{k}") if parted else (start, end)
        head = rng.choice([20.0, 50.0, 50.0, 90.0])
        elements.append(pump(f"pump {k}", before, behind, head, non_return=rng.random() < 0.4))
        if parted:
            elements += [valve(f"before {k}", start, before), valve(f"behind {k}", behind, end)]
    for k in range(rng.randint(1, 3 if parted else 6)):
        elements.append(valve(f"valve {k}", *rng.sample(places, 2)))
    for k in range(rng.randint(0, 2)):
        elements.append(pipe(f"pipe {k}", *rng.sample(places, 2)))
    used = sorted({p for e in elements for p in (e.start, e.end)} & set(places))
    at = rng.sample(used, min(len(used), rng.randint(1, 2)))
    sides = ("shore", rng.choice(("shore", "ship")))
    return line_up(
        *elements,
        tanks=tuple(
            tank(f"tank {k}", p, s, rng.choice([5.0, 12.0]))
            for k, (p, s) in enumerate(zip(at, sides, strict=False))
        ),
    )


def excess(lineup: LineUp) -> float:
    """How far the told heads lie above those of the worst position, at most; none may lie below [m]."""
    lift = {p.name: p.curve[0][1] for p in lineup.pumps}
    held = {t.point: t.level for t in lineup.tanks}
    told, truth = shut_off_heads(lineup), highest_by_positions(lineup, held, lift)
    assert all(told[p] >= truth[p] - SAME for p in truth), (told, truth)
    return max((told[p] - truth[p] for p in truth if truth[p] > float("-inf")), default=0.0)


@pytest.mark.parametrize("seed", range(0, 150, 10))
def test_pumps_between_valves_of_their_own_stand_at_the_worst_position(seed: int) -> None:
    for k in range(seed, seed + 10):
        assert excess(drawn(k, parted=True)) <= SAME, k


@pytest.mark.parametrize("seed", range(1000, 1150, 10))
def test_no_position_stands_higher_than_told(seed: int) -> None:
    for k in range(seed, seed + 10):
        excess(drawn(k, parted=False))


def test_what_takes_too_many_ways_is_told_on_the_high_side(monkeypatch: pytest.MonkeyPatch) -> None:
    line_ups = [drawn(k, parted=False) for k in range(40)]
    exact = [shut_off_heads(lineup) for lineup in line_ups]
    monkeypatch.setattr(under_test, "MOST", 1)
    for lineup, heads in zip(line_ups, exact, strict=True):
        bound = shut_off_heads(lineup)
        assert all(bound[p] >= heads[p] for p in heads)
    assert any(shut_off_heads(lineup) != heads for lineup, heads in zip(line_ups, exact, strict=True))


def side_by_side(*, non_return: bool) -> LineUp:
    """Two pumps on one suction line with a tank valve; each has its own suction and discharge valve."""
    return line_up(
        valve("tank valve", "tank", "suction"),
        *(valve(f"before {k}", "suction", f"s{k}") for k in (1, 2)),
        *(valve(f"behind {k}", f"d{k}", "header") for k in (1, 2)),
        pump("pump 1", "s1", "d1", 70.0, non_return=True),
        pump("pump 2", "s2", "d2", 40.0, non_return=non_return),
        pipe("line", "header", "far"),
        tanks=(tank("shore tank", "tank", "shore", 10.0),),
    )


def test_a_pump_without_a_non_return_valve_lets_another_pumps_head_to_its_suction() -> None:
    heads = shut_off_heads(side_by_side(non_return=False))
    assert heads["s2"] == heads["header"] == pytest.approx(80.0)
    assert heads["suction"] == pytest.approx(10.0), "pump 1 cannot lift what it takes from"
    assert shut_off_heads(side_by_side(non_return=True))["s2"] == pytest.approx(10.0)


def test_a_net_of_forty_valves_and_eight_pumps_is_told_exactly() -> None:
    grid = [(r, c) for r in range(4) for c in range(6)]
    steps = [((r, c), (r, c + 1)) for r, c in grid if c < 5] + [
        ((r, c), (r + 1, c)) for r, c in grid if r < 3
    ]
    net = [valve(f"{a}-{b}", str(a), str(b)) for a, b in steps]
    pumps = [pump(f"pump {k}", "tank", f"d{k}", 30.0 + k, non_return=k % 2 == 0) for k in range(8)]
    behind = [valve(f"behind {k}", f"d{k}", str(grid[k])) for k in range(8)]
    lineup = line_up(*pumps, *behind, *net, tanks=(tank("shore tank", "tank", "shore", 10.0),))
    assert len(lineup.valves) > 40
    heads = shut_off_heads(lineup)
    assert {heads[str(place)] for place in grid} == {47.0}


# What valves can shut off from a ship's tank


def to_the_ship(*last: Pipe | Valve | Pump) -> set[str]:
    """Points between the shore valve and the ship's tank that can be shut off from it."""
    lineup = line_up(
        pump("shore pump", "tank", "d", 70.0, non_return=True),
        valve("shore valve", "d", "berth"),
        pipe("deck line", "berth", "deck"),
        *last,
        tanks=(tank("shore tank", "tank", "shore", 10.0), tank("1C", "ship", "ship", 3.0)),
    )
    return exposed_points(lineup) - {"tank", "d"}


def test_pipes_keep_a_line_open_and_valves_do_not() -> None:
    assert to_the_ship(pipe("drop line", "deck", "ship")) == set()
    assert to_the_ship(valve("tank valve", "deck", "ship")) == {"berth", "deck"}
    blank = pipe("crossover", "deck", "blank")
    assert to_the_ship(valve("tank valve", "deck", "ship"), blank) == {"berth", "deck", "blank"}


def test_a_pump_keeps_a_line_open_only_to_where_it_delivers() -> None:
    for non_return in (True, False):
        assert to_the_ship(pump("inward", "deck", "ship", 20.0, non_return=non_return)) == set()
        # A pump that takes from the ship's tank holds its own head, or a non-return valve, against it.
        assert to_the_ship(pump("outward", "ship", "deck", 90.0, non_return=non_return)) == {"berth", "deck"}
