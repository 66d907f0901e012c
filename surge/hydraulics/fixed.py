"""The line-up with every figure that is a range taken at one place within it.

What hangs together moves together: with another liquid, or another wall, the waves of a pipe are as fast as
Korteweg's formula says, and those of a hose as its swell says; with another density a mass flow is another
volume, and a dynamic viscosity another kinematic one.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace
from typing import TypeVar

from surge.hydraulics.formulas import hose_wave_speed, wave_speed
from surge.model.attached import ReliefValve, SurgeDrum
from surge.model.lineup import LineUp, Liquid, Passage, Pipe, Scenario, Valve
from surge.model.ranges import LIQUID, Taken, bore_at, figures_at, minor_loss_at, ranges_of

Figures = Mapping[tuple[str, str], float]  # (subject, quantity) -> value


def at_shares(lineup: LineUp, shares: Sequence[float]) -> LineUp:
    """Return the line-up with every range a single figure.

    Parameters
    ----------
    lineup : LineUp
    shares : sequence of float
        Of each range, in the order of :func:`surge.model.ranges.ranges_of` [-].
    """
    return at_figures(lineup, figures_at(lineup, shares))


def at_figures(lineup: LineUp, taken: Iterable[Taken]) -> LineUp:
    """Return the line-up with every range a single figure; what is not among ``taken`` is as usual."""
    if not ranges_of(lineup):
        return lineup
    got = {(t.subject, t.quantity): t.value for t in taken}
    liquid = _liquid(lineup.liquid, got)
    pipes = tuple(_pipe(p, got, before=lineup.liquid, liquid=liquid) for p in lineup.pipes)
    valves = tuple(_orifice(v, got) for v in lineup.valves)
    passages = tuple(_orifice(p, got) for p in lineup.passages)
    changed = lineup.with_(
        liquid=liquid,
        pipes=pipes,
        valves=valves,
        passages=passages,
        relief_valves=tuple(_relief(r, got) for r in lineup.relief_valves),
        surge_drums=tuple(_drum(d, got) for d in lineup.surge_drums),
    )
    factor = lineup.liquid.density / liquid.density
    return changed if factor == 1.0 else _by_mass(changed, factor)


def scenario_at(scenario: Scenario, before: LineUp, fixed: LineUp) -> Scenario:
    """Return a scenario of a line-up for one of its points: a rate by mass is another volume there."""
    return _rate_by_mass(scenario, before.liquid.density / fixed.liquid.density)


def _rate_by_mass(scenario: Scenario, factor: float) -> Scenario:
    if factor == 1.0 or scenario.rate is None or not scenario.by_mass:
        return scenario
    return replace(scenario, rate=scenario.rate * factor)


def _liquid(liquid: Liquid, got: Figures) -> Liquid:
    density = got.get((LIQUID, "density"), liquid.density)
    factor = liquid.density / density
    speed = liquid.sound_speed * (factor**0.5 if liquid.by_modulus else 1.0)
    kinematic = liquid.viscosity * (factor if liquid.by_dynamic_viscosity else 1.0)
    if (LIQUID, "viscosity") in got:
        kinematic = got[LIQUID, "viscosity"] / density
    return replace(
        liquid,
        density=density,
        sound_speed=got.get((LIQUID, "sound speed"), speed),
        viscosity=kinematic,
        density_range=None,
        sound_speed_range=None,
        viscosity_range=None,
    )


def _pipe(pipe: Pipe, got: Figures, *, before: Liquid, liquid: Liquid) -> Pipe:
    name = pipe.name
    wall, diameter = pipe.wall, pipe.diameter
    if wall is not None:
        thickness = got.get((name, "wall"), wall.thickness)
        diameter = bore_at(pipe, thickness)
        stiffness = got.get((name, "stiffness of the wall"), wall.stiffness)
        wall = replace(
            wall, thickness=thickness, stiffness=stiffness, thickness_range=None, stiffness_range=None
        )
    rough = got.get((name, "roughness"), pipe.roughness)
    fixed = replace(
        pipe,
        length=got.get((name, "length"), pipe.length),
        diameter=diameter,
        roughness=rough,
        minor_loss=minor_loss_at(pipe, rough),
        wall=wall,
        length_range=None,
        wave_speed_range=None,
        roughness_range=None,
        minor_loss_range=None,
    )
    if (name, "wave speed") in got:
        # No wall lets waves travel faster than they do in the free liquid.
        return replace(fixed, wave_speed=min(got[name, "wave speed"], liquid.sound_speed))
    one, two = _worked_out(pipe, before), _worked_out(fixed, liquid)
    if one is None or two is None or one == two:
        return fixed
    return replace(fixed, wave_speed=pipe.wave_speed * (two / one))


def _worked_out(pipe: Pipe, liquid: Liquid) -> float | None:
    """Wave speed by the formula for its wall or its swell [m/s]; None where it was given."""
    c = {"density": liquid.density, "sound_speed": liquid.sound_speed}
    w = pipe.wall
    if w is not None and w.stiffness is not None:
        return wave_speed(**c, diameter=pipe.diameter, wall=w.thickness, modulus=w.stiffness, c1=1.0)
    if pipe.swell is not None:
        return hose_wave_speed(**c, swell=pipe.swell[0], pressure=pipe.swell[1])
    return None


_Orifice = TypeVar("_Orifice", Valve, Passage)


def _orifice(one: _Orifice, got: Figures) -> _Orifice:
    return replace(one, kv=got.get((one.name, "Kv"), one.kv), kv_range=None)


def _relief(valve: ReliefValve, got: Figures) -> ReliefValve:
    opens = got.get((valve.name, "set pressure"), valve.set_pressure)
    kv = got.get((valve.name, "Kv"), valve.kv)
    return replace(valve, set_pressure=opens, kv=kv, set_range=None, kv_range=None)


def _drum(drum: SurgeDrum, got: Figures) -> SurgeDrum:
    gas = got.get((drum.name, "gas volume"), drum.gas_volume)
    exponent = got.get((drum.name, "gas exponent"), drum.exponent)
    return replace(drum, gas_volume=gas, exponent=exponent, gas_range=None, exponent_range=None)


def _by_mass(lineup: LineUp, factor: float) -> LineUp:
    """Mass flows at another density: ``factor`` times the volume."""
    rate = lineup.rate
    if rate is not None and rate.by_mass:
        rate = replace(rate, agreed=rate.agreed * factor)
    return lineup.with_(
        rate=rate,
        scenarios=tuple(_rate_by_mass(s, factor) for s in lineup.scenarios),
        pumps=tuple(
            replace(p, curve=tuple((q * factor, h) for q, h in p.curve)) if p.by_mass else p
            for p in lineup.pumps
        ),
    )
