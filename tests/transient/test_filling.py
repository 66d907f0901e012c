"""Filling: a rigid column against quadratures and scipy's integrator, an elastic line against delays."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.integrate import quad, solve_ivp
from support.lineups.filled import BORE, DENSITY, GRAVITY, filling, one_bore
from support.oracles.filling_waves import pocket_peak

from surge.errors import SolveError
from surge.model.lineup import LineUp, Pipe, Point, Pump, Scenario, Valve, ValveMove
from surge.transient import filling_elastic
from surge.transient.filling import fill
from surge.transient.filling_elastic import divided, elastic_fill, impact
from surge.transient.filling_line import fill_line
from surge.transient.filling_rigid import rigid_fill

ATMOSPHERE = 101325.0


def valve(kv: float, opening: float = 1.0) -> Valve:
    return Valve(
        name="valve",
        start="end",
        end="beyond",
        kv=kv,
        characteristic=((0.0, 0.0), (1.0, 1.0)),
        opening=opening,
    )


def speed_by_quadrature(
    *, front: float, end: float, supply: float, loss: float, friction: float, gas: float = 0.0
) -> float:
    """Velocity of a rigid column that has come from ``front`` to ``end``: v*v solves a linear equation."""

    def weight(x: float) -> float:
        return float(x ** (loss - 1.0) * math.exp(friction * x / BORE))

    value, _ = quad(weight, front, end, epsabs=0.0, epsrel=1e-12)
    whole = end**loss * math.exp(friction * end / BORE)
    return math.sqrt(2.0 * (supply - gas) / DENSITY * value / whole)


@pytest.mark.parametrize(
    ("front", "loss", "friction"), [(20.0, 1.5, 0.02), (2.0, 0.0, 0.0), (60.0, 0.5, 0.01)]
)
def test_arrival_velocity_of_a_rigid_column_is_its_quadrature(
    front: float, loss: float, friction: float
) -> None:
    """Closed form by quadrature (scipy's QUADPACK); the program stops 0.1 mm short of the end."""
    lineup = one_bore(loss=loss, friction=friction)
    made = rigid_fill(fill_line(lineup, filling(lineup, front=front)))
    expected = speed_by_quadrature(front=front, end=100.0, supply=5e5, loss=loss, friction=friction)
    assert made.ended == "arrived"
    assert made.velocity == pytest.approx(expected, rel=3e-6)


@pytest.mark.parametrize("front", [20.0, 80.0, 98.0])
@pytest.mark.parametrize("exponent", [1.0, 1.4])
def test_a_rigid_column_on_a_trapped_pocket_against_scipy(front: float, exponent: float) -> None:
    """Section by section: rho x dv/dt = p_s - p_gas - (f x/D + K) rho v|v|/2, by DOP853 of scipy."""
    lineup = one_bore(rise=3.0)
    made = rigid_fill(fill_line(lineup, filling(lineup, front=front, exponent=exponent, vent="shut")))

    def gas(x: float) -> float:
        return ATMOSPHERE * ((100.0 - front) / (100.0 - x)) ** exponent

    def slope(_: float, y: np.ndarray) -> list[float]:
        x, v = y
        drive = 5e5 + ATMOSPHERE - gas(x) - DENSITY * GRAVITY * 0.03 * x
        return [v, (drive - (0.02 * x / BORE + 1.5) * DENSITY * v * abs(v) / 2) / (DENSITY * x)]

    def stands(_: float, y: np.ndarray) -> float:
        return float(y[1])

    stands.terminal, stands.direction = True, -1  # type: ignore[attr-defined]
    way = solve_ivp(
        slope, (0.0, 100.0), [front, 1e-12], events=stands, rtol=1e-11, atol=1e-13, method="DOP853"
    )
    assert made.peak_gas == pytest.approx(gas(way.y[0, -1]), rel=1e-7)
    assert made.time[int(np.argmax(made.gas))] == pytest.approx(way.t[-1], rel=1e-6)


def two_bores(first: float = 0.2, second: float = 0.15) -> LineUp:
    base = one_bore(loss=0.0, rise=4.0, length=50.0, diameter=first)
    more = Pipe(
        name="narrow",
        start="end",
        end="top",
        length=40.0,
        diameter=second,
        wave_speed=1100.0,
        friction_factor=0.015,
    )
    points = (*(replace(p, closed=False) for p in base.points), Point(name="top", elevation=1.0, closed=True))
    return base.with_(points=points, pipes=(*base.pipes, more))


@pytest.mark.parametrize("second", [0.15, 0.25])
def test_a_rigid_column_goes_on_into_another_bore(second: float) -> None:
    """Bore and slope change on the way; the same equation for the flow, by scipy's integrator."""
    lineup = two_bores(second=second)
    area = [math.pi / 4 * d**2 for d in (0.2, second)]
    made = rigid_fill(fill_line(lineup, replace(filling(lineup, vent="open"), end="top")))

    def slope(_: float, y: np.ndarray) -> list[float]:
        volume, q = y
        x1 = min(volume / area[0], 50.0)
        x2 = max(volume - 50.0 * area[0], 0.0) / area[1]
        head = 5e5 / (DENSITY * GRAVITY) - 4.0 * x1 / 50.0 + 3.0 * x2 / 40.0
        losses = 0.02 * x1 / 0.2 / area[0] ** 2 + 0.015 * x2 / second / area[1] ** 2
        inertia = (x1 / area[0] + x2 / area[1]) / GRAVITY
        return [q, (head - losses * q * abs(q) / (2 * GRAVITY)) / inertia]

    def arrives(_: float, y: np.ndarray) -> float:
        return float(y[0] - 50.0 * area[0] - 40.0 * area[1])

    arrives.terminal = True  # type: ignore[attr-defined]
    way = solve_ivp(
        slope, (0.0, 100.0), [20.0 * area[0], 1e-12], events=arrives, rtol=1e-10, atol=1e-14, max_step=0.01
    )
    assert made.velocity == pytest.approx(way.y[1, -1] / area[1], rel=1e-5)
    assert made.arrival == pytest.approx(way.t[-1], rel=1e-5)


@pytest.mark.slow
@pytest.mark.parametrize(("front", "exponent"), [(98.0, 1.4), (80.0, 1.4), (60.0, 1.2)])
def test_an_elastic_line_on_a_pocket_against_delays(front: float, exponent: float) -> None:
    """Waves without a grid (support.oracles.filling_waves), extrapolated over its step: within 0.1 %."""
    lineup = one_bore(loss=0.0, friction=0.0)
    made = fill(lineup, filling(lineup, front=front, exponent=exponent, vent="shut"))
    until = made.peak_gas_elastic.time
    assert until is not None
    tops = [
        pocket_peak(
            length=100.0,
            front=front,
            wave_speed=1000.0,
            density=DENSITY,
            supply=5e5 + ATMOSPHERE,
            gas=ATMOSPHERE,
            exponent=exponent,
            until=until + 0.2,
            dt=dt,
        )
        for dt in (2e-4, 1e-4)
    ]
    expected = 2.0 * tops[1] - tops[0] - ATMOSPHERE
    assert made.peak_gas_elastic.value == pytest.approx(expected, rel=1e-3)
    assert made.peak_gas_rigid.value > 1.1 * made.peak_gas_elastic.value
    assert "differ" in made.warnings[0]


def test_models_agree_where_the_line_is_short_and_the_pocket_soft() -> None:
    lineup = one_bore(wave_speed=1400.0, length=50.0)
    made = fill(lineup, filling(lineup, front=10.0, vent="shut"))
    assert made.peak_gas_elastic.value == pytest.approx(made.peak_gas_rigid.value, rel=3e-3)
    assert not any("differ" in w for w in made.warnings)


def test_a_front_that_meets_a_shut_end_gives_density_x_wave_speed_x_velocity() -> None:
    """Joukowsky's rise, and line packing up to 2 L/a: the pressure rises by what friction had taken."""
    lineup = one_bore()
    made = fill(lineup, filling(lineup))
    assert made.arrival_rigid is not None
    assert made.arrival_elastic is not None
    v = made.arrival_rigid.velocity.value
    assert made.arrival_rigid.pressure.value == pytest.approx(DENSITY * 1000.0 * v, rel=1e-9)
    assert made.arrival_elastic.velocity.value == pytest.approx(v, rel=1e-3)
    assert made.impact is not None
    heads = made.impact.heads[:, -1, 1] * DENSITY * GRAVITY
    assert heads[0] == pytest.approx(DENSITY * 1000.0 * v, rel=2e-4)
    falls = np.interp(made.rigid.arrival + 0.21, made.impact.time, heads)  # type: ignore[operator]
    assert falls < -5e6


def test_after_an_arrival_the_line_is_packed_as_the_closed_form_says() -> None:
    """Without friction p = rho a v + p_s a t/L up to 2 L/a, by d'Alembert with the tank's pressure held."""
    lineup = one_bore(loss=0.0, friction=0.0)
    made = fill(lineup, filling(lineup, front=40.0))
    assert made.impact is not None
    assert made.arrival_rigid is not None
    v, first = made.arrival_rigid.velocity.value, made.arrival_rigid.time.value
    heads = made.impact.heads[:, -1, 1] * DENSITY * GRAVITY
    for t in (0.02, 0.1, 0.19):
        expected = DENSITY * 1000.0 * v + 5e5 * t / 0.1
        assert np.interp(first + t, made.impact.time, heads) == pytest.approx(expected, rel=5e-4)


@pytest.mark.parametrize("kv", [20.0, 200.0, 2000.0])
def test_a_front_that_meets_a_throttled_valve_loses_what_does_not_pass(kv: float) -> None:
    """p = p_b + rho a (v_f - v_through), v_through by the valve law; scipy's root finder."""
    lineup = one_bore(valve=valve(kv))
    made = fill(lineup, filling(lineup))
    arrival = made.arrival_rigid
    assert arrival is not None
    area = math.pi / 4 * BORE**2
    v = arrival.velocity.value
    p = arrival.pressure.value
    through = kv / 3600.0 * math.sqrt(p / 1e5 * 1000.0 / DENSITY) / area
    assert p == pytest.approx(DENSITY * 1000.0 * (v - through), rel=1e-6)
    assert arrival.through == pytest.approx(through, rel=1e-9)
    assert made.impact is not None
    first = made.impact.heads[0, -1, 1] * DENSITY * GRAVITY
    assert first == pytest.approx(p, rel=2e-3)


@pytest.mark.slow
def test_a_huge_vent_leaves_no_cushion_and_a_tiny_one_is_none() -> None:
    lineup = one_bore()
    open_, shut = (fill(lineup, filling(lineup, vent=v)) for v in ("open", "shut"))
    huge = fill(lineup, filling(lineup, vent="opening", vent_diameter=0.1))
    tiny = fill(lineup, filling(lineup, vent="opening", vent_diameter=1e-4))
    assert huge.arrival_rigid is not None
    assert open_.arrival_rigid is not None
    for a, b in (
        (huge.arrival_rigid, open_.arrival_rigid),
        (huge.arrival_elastic, open_.arrival_elastic),
    ):
        assert a is not None
        assert b is not None
        assert a.velocity.value == pytest.approx(b.velocity.value, rel=3e-3)
    assert huge.peak_gas_elastic.value < 3e3
    assert tiny.peak_gas_rigid.value == pytest.approx(shut.peak_gas_rigid.value, rel=1e-4)
    assert tiny.peak_gas_elastic.value == pytest.approx(shut.peak_gas_elastic.value, rel=1e-4)


def test_an_opening_between_lets_out_gas_as_a_nozzle_does() -> None:
    """An independent integration by scipy, isothermal: the ideal nozzle of gas dynamics, choked included."""
    lineup = one_bore()
    diameter, coefficient, temperature = 0.02, 0.8, 288.15
    made = rigid_fill(
        fill_line(
            lineup,
            filling(
                lineup, vent="opening", exponent=1.0, vent_diameter=diameter, vent_coefficient=coefficient
            ),
        )
    )
    bore, hole = math.pi / 4 * BORE**2, coefficient * math.pi / 4 * diameter**2
    rt = 287.05 * temperature

    def outflow(p: float) -> float:
        """kg/s; mass flow of the ideal nozzle from stagnation pressure p."""
        r = max(ATMOSPHERE / p, (2 / 2.4) ** 3.5)
        if p <= ATMOSPHERE:
            r, q = max(p / ATMOSPHERE, 0.5283), -ATMOSPHERE
        else:
            q = p
        return hole * q * math.sqrt(7.0 / rt * max(r ** (2 / 1.4) - r ** (2.4 / 1.4), 0.0))

    def slope(_: float, y: np.ndarray) -> list[float]:
        x, v, m = y
        p = m * rt / ((100.0 - x) * bore)
        drive = 5e5 + ATMOSPHERE - p - (0.02 * x / BORE + 1.5) * DENSITY * v * abs(v) / 2
        return [v, drive / (DENSITY * x), -outflow(p)]

    first = ATMOSPHERE * 80.0 * bore / rt
    way = solve_ivp(
        slope, (0.0, float(made.time[-1])), [20.0, 1e-9, first], rtol=1e-8, atol=1e-10, method="LSODA",
        dense_output=True,
    )  # fmt: skip
    some = np.linspace(1.0, 0.98 * float(made.time[-1]), 40)
    x, _, m = way.sol(some)
    p = m * rt / ((100.0 - x) * bore)
    # Below a difference of 500 Pa the program's flow is linear: 0.5 % of the pressure of the air.
    assert np.interp(some, made.time, made.gas) == pytest.approx(p, rel=5e-3)
    late = p > 1.1e5
    assert np.interp(some, made.time, made.gas)[late] == pytest.approx(p[late], rel=1e-3)
    assert made.peak_gas > 1.5e5


def test_a_front_that_pushes_the_last_gas_through_an_opening_rises_from_its_pressure() -> None:
    """p = p_b + rho a v, p_b of the gas in that instant; the first step of the march has it too."""
    lineup = one_bore()
    made = fill(lineup, filling(lineup, vent="opening", vent_diameter=0.02, vent_coefficient=0.8))
    arrival, gas = made.arrival_rigid, float(made.rigid.gas[-1]) - ATMOSPHERE
    assert arrival is not None
    assert made.impact is not None
    assert gas > 0.5e5
    assert arrival.pressure.value == pytest.approx(gas + DENSITY * 1000.0 * arrival.velocity.value, rel=1e-9)
    first = made.impact.heads[0, -1, 1] * DENSITY * GRAVITY
    assert first == pytest.approx(arrival.pressure.value, rel=3e-3)


def test_a_valve_that_opens_lets_the_line_fill() -> None:
    """A valve before the gas opens in 5 s: before, nothing moves."""
    lineup = one_bore(loss=0.0)
    moved = ValveMove(valve="inlet valve", start=2.0, law=((0.0, 0.0), (5.0, 1.0)))
    inlet = Valve(
        name="inlet valve", start="before", end="in", kv=800.0, characteristic=((0.0, 0.0), (1.0, 1.0))
    )
    arm = Pipe(
        name="arm",
        start="tank",
        end="before",
        length=30.0,
        diameter=BORE,
        wave_speed=1000.0,
        friction_factor=0.02,
    )
    points = (*lineup.points, Point(name="before", elevation=0.0), Point(name="in", elevation=0.0))
    lineup = lineup.with_(points=points, pipes=(replace(lineup.pipes[0], start="in"), arm), valves=(inlet,))
    scenario = Scenario(name="first fill", shut_at_start=("inlet valve",), moves=(moved,))
    made = fill(lineup, replace(filling(lineup, front=0.0, scenario=scenario), start="in"))
    assert made.rigid.flow[made.rigid.time <= 2.0].max() == 0.0
    assert np.abs(made.elastic.flow[made.elastic.time < 2.0]).max() < 1e-12
    assert made.arrival_rigid is not None
    assert made.arrival_elastic is not None
    assert made.arrival_elastic.velocity.value == pytest.approx(made.arrival_rigid.velocity.value, rel=0.01)
    assert made.arrival_elastic.time.value == pytest.approx(made.arrival_rigid.time.value, rel=0.01)
    # Behind the front the pressure falls when the valve opens: what stood there flows into an empty line.
    assert made.lowest["element", "arm"].pressure < 4e5


def test_a_pump_lifts_the_column_and_its_shut_off_head_stands_before_a_shut_valve() -> None:
    lineup = one_bore(loss=0.0, supply=0.0)
    pump = Pump(name="pump", start="tank", end="in", curve=((0.0, 60.0), (0.1, 40.0)), non_return=True)
    points = (*lineup.points, Point(name="in", elevation=0.0))
    lineup = lineup.with_(points=points, pipes=(replace(lineup.pipes[0], start="in"),), pumps=(pump,))
    made = fill(lineup, replace(filling(lineup, vent="shut"), start="in"))
    assert made.highest["element", "pump"].pressure >= 60.0 * DENSITY * GRAVITY * 0.999
    assert min(made.rigid.flow) >= 0.0  # its non-return valve
    assert "pump" in " ".join(made.warnings)


@pytest.mark.slow
@settings(max_examples=12)
@given(
    front=st.floats(5.0, 95.0),
    supply=st.floats(1e5, 1.5e6),
    exponent=st.floats(1.0, 1.4),
    friction=st.floats(0.0, 0.05),
    rise=st.floats(-5.0, 5.0),
    vent=st.sampled_from(["open", "shut", "opening"]),
    hole=st.floats(0.005, 0.05),
)
def test_fillings_keep_their_mass_and_energy(
    front: float, supply: float, exponent: float, friction: float, rise: float, vent: str, hole: float
) -> None:
    """The watch of the march refuses what does not; and no pressure is told that the gas never had."""
    lineup = one_bore(supply=supply, friction=friction, rise=rise)
    one = filling(lineup, front=front, exponent=exponent, vent=vent, vent_diameter=hole)
    line = fill_line(lineup, one)
    made = elastic_fill(line, divided(line, 100.0), duration=5.0)
    assert abs(made.mass) < 5e-3  # a few steps of this coarse march
    assert made.highest[0].max() * line.rho_g >= -ATMOSPHERE
    assert made.peak_gas >= line.gas.start


def test_a_march_that_loses_liquid_is_refused(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(filling_elastic, "MASS", -1.0)
    lineup = one_bore()
    line = fill_line(lineup, filling(lineup, vent="shut"))
    with pytest.raises(SolveError, match="does not keep its liquid"):
        elastic_fill(line, divided(line, 40.0), duration=1.0)


def test_half_the_step_halves_the_error() -> None:
    """First order: three divisions of an elastic line, the differences of the pocket's peak."""
    lineup = one_bore(friction=0.0, loss=0.0)
    line = fill_line(lineup, filling(lineup, front=80.0, exponent=1.4, vent="shut"))
    tops = [elastic_fill(line, divided(line, n), duration=4.0).peak_gas for n in (40.0, 80.0, 160.0, 320.0)]
    changes = np.abs(np.diff(tops))
    assert changes[1] < 0.8 * changes[0]
    assert changes[2] < 0.8 * changes[1]


def test_the_kernel_is_the_same_as_plain_python() -> None:
    lineup = one_bore(valve=valve(100.0))
    line = fill_line(lineup, filling(lineup, front=90.0))
    compiled = elastic_fill(line, divided(line, 8.0), duration=2.0)
    native = filling_elastic.march_filling
    try:
        filling_elastic.march_filling = native.function
        plain = elastic_fill(line, divided(line, 8.0), duration=2.0)
    finally:
        filling_elastic.march_filling = native
    assert plain.heads == pytest.approx(compiled.heads, rel=1e-9, nan_ok=True)
    assert plain.velocity == pytest.approx(compiled.velocity, rel=1e-9)


def test_waves_after_an_arrival_begin_with_the_column_s_velocity() -> None:
    lineup = one_bore(valve=valve(200.0))
    line = fill_line(lineup, filling(lineup))
    rigid = rigid_fill(line)
    made = impact(line, divided(line, 100.0), rigid)
    assert made.flows[0, 0, 0] / line.line.area[0] == pytest.approx(rigid.velocity, rel=1e-3)
    inlet = made.heads[0, 0, 0] * line.rho_g
    assert inlet == pytest.approx(5e5 - 1.5 * DENSITY * rigid.velocity**2 / 2, rel=5e-3)
