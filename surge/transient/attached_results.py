"""What non-return and relief valves, drums and open vessels did in a march; what cannot be relied on."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from types import MappingProxyType
from typing import Any

import numpy as np

from surge.arrays import Array
from surge.hydraulics.steady import Steady
from surge.kernel import columns
from surge.model.lineup import LineUp, Scenario
from surge.transient.march import Marched
from surge.transient.peaks import Key
from surge.transient.result import DrumResult, NonReturnResult, ReliefResult, TripResult, VesselResult

NEARLY = (
    0.02  # of a drum's volume: with less gas, or liquid, than this it is as good as without. Our own choice
)


LIFT, SPILLED = "lift", "passed"
Figure = tuple[str, str]  # of what hangs on a point or moves by itself: its name, and which of its figures


def attached_figures(lineup: LineUp, marched: Marched) -> dict[Figure, float]:
    """Return what a march has found so far of each thing whose figures have an error.

    Lifts and speeds [-], volumes [m3], flows [m3/s].

    Parameters
    ----------
    lineup : LineUp
    marched : Marched
    """
    found: dict[Figure, float] = {}
    for kinds, columns_of in (
        ((p for p in lineup.pumps if p.turning is not None), {"speed": columns.L_SPEED}),
        (lineup.non_return_valves, {"stopped": columns.V_STOPPED}),
        (lineup.relief_valves, {LIFT: columns.L_HIGHEST, SPILLED: columns.L_PASSED}),
        (lineup.surge_drums, {"least": columns.D_SMALLEST, "most": columns.D_LARGEST}),
    ):
        for thing in kinds:
            state = _state(marched, thing.name)
            found |= {(thing.name, what): float(state[column]) for what, column in columns_of.items()}
    return found


def attached_results(
    lineup: LineUp,
    scenario: Scenario,
    steady: Steady,
    marched: Marched,
    error: Callable[[Figure], float],
    error_at: Callable[[Key], float],
    *,
    later: Mapping[str, float] = MappingProxyType({}),
) -> dict[str, Any]:
    """Return fields of a scenario's result: what each thing that hangs on a point did.

    Parameters
    ----------
    lineup : LineUp
    scenario : Scenario
    steady : Steady
    marched : Marched
        The march that is told, at its end.
    error : callable
        Figure -> its numerical error, in its own unit.
    error_at : callable
        Key of an extreme -> its error [Pa].
    later : mapping of str to float
        What relief valves spilled after the run, as far as a first march looked ahead [m3].
    """
    return {
        "trips": tuple(_trips(scenario, marched, error)),
        "non_return_valves": tuple(_non_return_valves(lineup, marched, error)),
        "relief_valves": tuple(_relief_valves(lineup, marched, error, later)),
        "surge_drums": tuple(_drums(lineup, steady, marched, error)),
        "open_vessels": tuple(_vessels(lineup, steady, marched, error_at)),
    }


def _state(marched: Marched, name: str) -> Array:
    grid = marched.grid
    state: Array = grid.net.lf[grid.links.index(name)]
    return state


def _trips(scenario: Scenario, marched: Marched, error: Callable[[Figure], float]) -> Iterator[TripResult]:
    for trip in scenario.trips:
        state = _state(marched, trip.pump)
        unknown = float(state[columns.T_UNKNOWN])
        yield TripResult(
            name=trip.pump,
            at=trip.start,
            speed=float(state[columns.L_SPEED]),
            unknown=unknown if unknown >= 0.0 else None,
            speed_error=error((trip.pump, "speed")),
            again=next((m.start for m in scenario.pump_moves if m.pump == trip.pump), None),
            backwards=unknown >= 0.0 and _flows_back(marched, trip.pump, unknown),
        )


def _flows_back(marched: Marched, pump: str, since: float) -> bool:
    """Whether a pump has its flow backwards at the first instant kept from ``since`` [s] on."""
    time, flows = np.concatenate(marched.time), np.vstack(marched.flows)[:, marched.grid.links.index(pump)]
    return bool(flows[min(int(np.searchsorted(time, since)), time.size - 1)] < 0.0)


def _non_return_valves(
    lineup: LineUp, marched: Marched, error: Callable[[Figure], float]
) -> Iterator[NonReturnResult]:
    rho_g, net = lineup.liquid.density * lineup.gravity, marched.grid.net
    for valve in lineup.non_return_valves:
        state = _state(marched, valve.name)
        closed = float(state[columns.V_CLOSED])
        stopped = max(float(state[columns.V_STOPPED]), 0.0)
        behind = net.li[marched.grid.links.index(valve.name), columns.L_B]
        resists = rho_g * float(net.pf[behind, columns.P_Z])
        yield NonReturnResult(
            name=valve.name,
            closed=closed if closed >= 0.0 else None,
            reverse=max(float(state[columns.V_GREATEST]), 0.0),
            stopped=stopped,
            slam=resists * stopped,
            slam_error=resists * error((valve.name, "stopped")),
        )


def _relief_valves(
    lineup: LineUp, marched: Marched, error: Callable[[Figure], float], later: Mapping[str, float]
) -> Iterator[ReliefResult]:
    for relief in lineup.relief_valves:
        state = _state(marched, relief.name)
        lift = float(state[columns.L_HIGHEST])
        yield ReliefResult(
            name=relief.name,
            point=relief.point,
            set_pressure=relief.set_pressure,
            opened=float(state[columns.L_OPENED]) if lift > 0.0 else None,
            lift=lift,
            passed=float(state[columns.L_PASSED]),
            lift_error=error((relief.name, LIFT)),
            passed_error=error((relief.name, SPILLED)),
            later=later.get(relief.name, 0.0),
        )


def _drums(
    lineup: LineUp, steady: Steady, marched: Marched, error: Callable[[Figure], float]
) -> Iterator[DrumResult]:
    for drum in lineup.surge_drums:
        state = _state(marched, drum.name)
        emptied = float(state[columns.D_EMPTIED])
        yield DrumResult(
            name=drum.name,
            point=drum.point,
            gas=drum.gas_at(
                lineup.pressure_at(drum.point, steady.head[drum.point]), atmosphere=lineup.atmosphere
            ),
            least=float(state[columns.D_SMALLEST]),
            most=float(state[columns.D_LARGEST]),
            volume=drum.volume,
            emptied=emptied if emptied >= 0.0 else None,
            least_error=error((drum.name, "least")),
            most_error=error((drum.name, "most")),
        )


def _vessels(
    lineup: LineUp, steady: Steady, marched: Marched, error_at: Callable[[Key], float]
) -> Iterator[VesselResult]:
    rho_g = lineup.liquid.density * lineup.gravity
    for vessel in lineup.open_vessels:
        i = marched.grid.points.index(vessel.point)
        yield VesselResult(
            name=vessel.name,
            point=vessel.point,
            level=steady.head[vessel.point],
            lowest=float(marched.point_lo[i]),
            highest=float(marched.point_hi[i]),
            lowest_error=error_at(("place", vessel.point, "low")) / rho_g,
            highest_error=error_at(("place", vessel.point, "high")) / rho_g,
        )


def attached_undecided(lineup: LineUp, told: Mapping[str, Any]) -> Iterator[str]:
    """Yield why a scenario cannot be decided.

    A pump leaves its curve, a drum is emptied or filled, an open vessel overflows or is emptied; or it may.

    Parameters
    ----------
    lineup : LineUp
    told : mapping
        As :func:`attached_results` returns it.
    """
    for trip in told["trips"]:
        if trip.unknown is not None:
            yield (
                f'pump "{trip.name}" leaves its curve at {trip.unknown:.2f} s, '
                f"{trip.unknown - trip.at:.2f} s after its trip: its torque is not known then, nor its "
                f"speed. {_what_would_serve(lineup, trip)}"
            )
    for drum in told["surge_drums"]:
        yield from drum_undecided(drum)
    for vessel, moved in zip(lineup.open_vessels, told["open_vessels"], strict=True):
        yield from _vessel_undecided(moved, vessel.rim, lineup.points_by_name[vessel.point].elevation)


def _what_would_serve(lineup: LineUp, trip: TripResult) -> str:
    """What to give where a pump leaves what is known of it after a trip, without a full stop at the end."""
    pump = next(p for p in lineup.pumps if p.name == trip.name)
    assert pump.turning is not None
    instead = f'write stop = "{pump.name}" with a run_down that was measured instead of trip'
    if trip.backwards:
        return (
            "The liquid flows back through it, where no curve tells its torque: say non_return_valve = true "
            f"if it has one; otherwise {instead}"
        )
    most = 2.0 * pump.turning.best_flow
    if pump.curve[-1][0] < most:
        return (
            f"Give its curve up to twice its best flow, {most * 3600:.0f} m3/h; where that is not enough, "
            f"{instead}"
        )
    return f"More is pushed through it than twice its best flow, where no curve tells its torque: {instead}"


def drum_undecided(drum: DrumResult) -> Iterator[str]:
    """Yield why what a drum does cannot be decided: it is emptied or filled, or may be within its errors."""
    if drum.emptied is not None:
        yield (
            f'surge drum "{drum.name}" is emptied at {drum.emptied:.2f} s: gas gets into the line, and '
            "what then happens is not computed"
        )
    elif drum.most > drum.volume - max(NEARLY * drum.volume, drum.most_error):
        yield (
            f'surge drum "{drum.name}" is emptied: {drum.most / drum.volume * 100:.1f} % of it is gas, and '
            "whether any liquid is left is not certain"
        )
    if drum.least < max(NEARLY * drum.volume, drum.least_error):
        yield (
            f'surge drum "{drum.name}" is filled: {drum.least / drum.volume * 100:.1f} % of it is gas, and '
            "whether any is left is not certain"
        )


def _vessel_undecided(vessel: VesselResult, rim: float, foot: float) -> Iterator[str]:
    """``rim`` and ``foot`` are elevations [m]."""
    high, low = vessel.highest_error, vessel.lowest_error
    if vessel.highest > rim:
        yield f'open vessel "{vessel.name}" overflows: what it spills is not computed'
    elif vessel.highest + high > rim:
        yield (
            f'open vessel "{vessel.name}" may overflow: its level comes to {vessel.highest:.2f} m, which '
            f"may be {high:.2f} m too low, and its rim is at {rim:.2f} m"
        )
    if vessel.lowest < foot:
        yield f'open vessel "{vessel.name}" is emptied: air gets into the line'
    elif vessel.lowest - low < foot:
        yield (
            f'open vessel "{vessel.name}" may be emptied: its level comes to {vessel.lowest:.2f} m, which '
            f"may be {low:.2f} m too high, and its foot is at {foot:.2f} m"
        )
