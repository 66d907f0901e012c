"""What a chart is of: the scenario and the valve, and the rates and strokes of its raster."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from surge.arrays import Array
from surge.errors import CaseError, Fault
from surge.model.lineup import LineUp, Scenario
from surge.model.stroke import with_strokes
from surge.model.topology import pipeline_period
from surge.search.movers import held_beside, moved_together, moving_valves
from surge.search.scan import Scanner, plan_at

Ends = tuple[float, float]

RATES = (0.25, 1.5)  # of the agreed rate, shown unless asked otherwise
STROKES = (2.0, 60.0)  # [s]
LEAST = 0.5  # [s] no cargo valve is meant to be faster
LONGER, PERIODS = 1.5, 4.0  # the longest shown is not less than these times the stroke, the pipeline periods
BEYOND = 1.04  # so far beyond the greatest rate that can be reached a chart goes
FASTER = 0.5  # a stroke this much shorter tells which of several valves matters most


@dataclass(frozen=True, kw_only=True)
class Picked:
    """The valve and the scenario of a chart.

    Attributes
    ----------
    scenario : Scenario
    valve : str
        It closes in the scenario, or opens.
    rate, stroke : float
        Of the case [m3/s], [s].
    together : tuple of str
        Valves that share its stroke, itself among them.
    held : dict of str to float
        Other valves that close in the scenario -> the stroke that they keep [s].
    opens : bool
        The strokes are those of opening.
    chosen : bool
        Nobody asked for the scenario.
    """

    scenario: Scenario
    valve: str
    together: tuple[str, ...]
    held: dict[str, float]
    rate: float
    stroke: float
    opens: bool
    chosen: bool


def pick(lineup: LineUp, *, valve: str | None, scenario: str | None) -> Picked:
    """Choose what was not asked for: the scenario that comes nearest to a limit, and there the valve.

    Parameters
    ----------
    lineup : LineUp
    valve, scenario : str or None
        As asked for.

    Raises
    ------
    CaseError
        A name that is not there, a valve that does not close, a case without a rate; or as
        :func:`surge.transient.plan.plan`.

    Notes
    -----
    Of several valves in the scenario it is the one whose stroke does most harm when it is halved.
    """
    rate = lineup.rate
    if rate is None:
        raise CaseError([_NO_RATE])
    _refuse_unknown(lineup, valve, scenario)
    opens = False
    pairs = _pairs(lineup, valve, scenario, opens=False)
    if not pairs:
        opens = True
        pairs = _pairs(lineup, valve, scenario, opens=True)
    if not pairs:
        raise CaseError([_idle(lineup, valve, scenario)])
    harm: dict[tuple[str, str], tuple[float, float]] = {}
    for one in lineup.scenarios:
        valves = [name for s, name in pairs if s is one]
        strokes = moving_valves(lineup, one, opens=opens)
        faster = [with_strokes(one, {v: FASTER * strokes[v]}, opens=opens) for v in valves]
        if valves:
            as_is, *margins = (near.margin for near in Scanner(lineup, one).moved([one, *faster]))
            harm |= {(one.name, v): (as_is, m) for v, m in zip(valves, margins, strict=True)}
    one, name = min(pairs, key=lambda pair: harm[pair[0].name, pair[1]])
    together = moved_together(lineup, one, name, _wanted(lineup, None), opens=opens)
    return Picked(
        scenario=one,
        valve=name,
        together=together,
        held=held_beside(lineup, one, together),
        rate=one.rate if one.rate is not None else rate.agreed,
        stroke=moving_valves(lineup, one, opens=opens)[name],
        opens=opens,
        chosen=scenario is None and len(lineup.scenarios) > 1,
    )


def _pairs(
    lineup: LineUp, valve: str | None, scenario: str | None, *, opens: bool
) -> list[tuple[Scenario, str]]:
    """What a chart can be of: scenarios, each with a valve that closes, or opens, in it."""
    wanted = _wanted(lineup, valve)
    return [
        (s, name)
        for s in lineup.scenarios
        for name in moving_valves(lineup, s, opens=opens)
        if name in wanted and scenario in (None, s.name)
    ]


def _wanted(lineup: LineUp, valve: str | None) -> set[str]:
    if valve is not None:
        return {valve}
    moving = {m.valve for s in lineup.scenarios for m in s.moves}
    marked = {v.name for v in lineup.valves if v.adjustable and v.name in moving}
    return marked or {v.name for v in lineup.valves}


_NO_RATE = Fault(
    path=("rate",),
    found="the case states no rate: it flows as the pump and the levels give it",
    expected="a rate that can be another, and the means by which it is reached",
    remedy='write [rate] with agreed = "600 m3/h", means = "throttle" and at = "shore control valve"',
)


def _refuse_unknown(lineup: LineUp, valve: str | None, scenario: str | None) -> None:
    faults = [
        Fault(
            path=(what,),
            found=f'"{name}"',
            expected=f"a {what} of the case: " + ", ".join(f'"{n}"' for n in known),
            remedy=f"check the name that was asked for (--{what})",
        )
        for what, name, known in (
            ("valve", valve, [v.name for v in lineup.valves]),
            ("scenario", scenario, [s.name for s in lineup.scenarios]),
        )
        if name is not None and name not in known
    ]
    if faults:
        raise CaseError(faults)


def _idle(lineup: LineUp, valve: str | None, scenario: str | None) -> Fault:
    whose = f'"{valve}"' if valve is not None else "no adjustable valve" if _marked(lineup) else "no valve"
    where = f'in "{scenario}"' if scenario is not None else "in any scenario"
    verb = "does not close or open" if valve is not None else "closes or opens"
    moving = [
        f'"{name}" in "{s.name}"'
        for opens in (False, True)
        for s in lineup.scenarios
        for name in moving_valves(lineup, s, opens=opens)
    ]
    return Fault(
        path=("scenario",),
        found=f"{whose} {verb} {where}",
        expected="a valve that moves: " + (", ".join(moving) or "there is none in this case"),
        remedy="choose another valve or scenario, or add an event that closes or opens the valve",
    )


def _marked(lineup: LineUp) -> bool:
    return any(v.adjustable for v in lineup.valves)


def rates_of(lineup: LineUp, picked: Picked, *, ends: Ends | None, points: int) -> Array:
    """Rates of a raster, the agreed one among them [m3/s].

    Without ``ends`` it begins at the least rate that the line-up can be held to, and ends a little above the
    greatest that it can reach.
    """
    if ends is None:
        least, most = (_edge(lineup, picked, share * picked.rate) for share in RATES)
        ends = least, most if most == RATES[1] * picked.rate else BEYOND * most
    return _with(np.linspace(*ends, points), picked.rate)


def _edge(lineup: LineUp, picked: Picked, far: float) -> float:
    """The rate nearest to ``far`` that can be reached, from the agreed one on [m3/s]."""

    def reached(rate: float) -> bool:
        return plan_at(lineup, picked.scenario, rate) is not None

    if reached(far):
        return far
    near = picked.rate
    for _ in range(8):
        middle = 0.5 * (near + far)
        near, far = (middle, far) if reached(middle) else (near, middle)
    return near


def strokes_of(lineup: LineUp, picked: Picked, *, ends: Ends | None, points: int) -> Array:
    """Strokes of a raster, that of the case among them, each a share longer than the one before [s]."""
    if ends is None:
        valve = next(v for v in lineup.valves if v.name == picked.valve)
        period = pipeline_period(lineup, valve).longest
        longest = max(STROKES[1], LONGER * picked.stroke, PERIODS * period)
        shortest = min(STROKES[0], max(FASTER * picked.stroke, LEAST))
        ends = shortest, float(10.0 * np.ceil(longest / 10.0 - 1e-9))
    strokes = np.geomspace(*ends, points)
    tenths = np.round(strokes, 1)
    if np.all(np.diff(tenths) > 0) and tenths[0] == strokes[0]:
        strokes = np.append(tenths[:-1], strokes[-1])
    return _with(strokes, picked.stroke)


def _with(values: Array, value: float) -> Array:
    """Let a value take the place of the inner sample that is nearest to it."""
    inner = values[1:-1]
    if inner.size and values[0] < value < values[-1]:
        inner[int(np.argmin(np.abs(inner - value)))] = value
    return values
