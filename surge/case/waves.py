"""Wave speeds of pipes and hoses: given, from wall and restraint, from swell, or by the type of a hose.

Decisions
---------
* Of a pipe by its size, what is left open is a range, and the worst over all ranges counts
  (:mod:`surge.rules.spread`): the modulus of the usual steels, and the restraint, from anchored at one end to
  expansion joints. The wave speed of a hose by its type is a range too.
* Where one figure has to stand for a range, it is the stiff wall and the fast hose.
* A material that is named has one modulus: handbooks spread by some per cent, and a wave speed by a tenth of
  that.
"""

from __future__ import annotations

from dataclasses import dataclass

from surge.case import schema_parts as spec
from surge.case.figures import CARBON, STAINLESS, WORST, Bore, HoseFigures
from surge.case.notes import Notes
from surge.errors import Origin
from surge.hydraulics.formulas import hose_wave_speed, restraint_factor, wave_speed
from surge.model.lineup import Wall
from surge.reference.materials import MATERIALS

_SOME_SPEED = (100.0, 1400.0)  # [m/s] stand-ins while the faults of a case are being gathered
RESTRAINT = "anchored at one end"  # of the three it gives the greatest wave speed
LOOSE = 1.0  # [-] the restraint factor of expansion joints, which give the least
# [Pa] of a steel pipe of which no more is known; of one of a stainless schedule. Handbooks, from memory.
USUAL_MODULI = {CARBON: (193e9, 212e9), STAINLESS: (193e9, 200e9)}
_WALL_KEYS = ("wall", "modulus", "poisson", "restraint", "restraint_factor")


@dataclass(frozen=True, kw_only=True)
class PipeWave:
    """Wave speed of a pipe [m/s], how it was found, and what it goes by."""

    speed: float
    source: str
    wall: Wall | None = None


def pipe_speed(pipe: spec.PipeTable, bore: Bore, origin: Origin, notes: Notes) -> PipeWave:
    """Return the wave speed of a pipe or arm and how it was found."""
    if pipe.wave_speed is not None:
        # The material may stand beside it: it also says whether the wall is brittle.
        _only_wave_speed(pipe, _WALL_KEYS, origin, notes)
        wall = None
        if bore.wall is not None and bore.walls is not None:
            wall = Wall(thickness=bore.wall, stiffness=None, thickness_range=bore.walls)
        return PipeWave(speed=pipe.wave_speed.value, source="given", wall=wall)
    if bore.wall is None and pipe.material is None and not any(getattr(pipe, k) for k in _WALL_KEYS):
        _no_speed(origin, "wall with material or modulus, and restraint", notes)
        return PipeWave(speed=_SOME_SPEED[notes.pick], source="")
    as_given = pipe
    if pipe.size is not None:
        pipe = _usual(pipe, notes)
    notes.exactly_one(origin, material=pipe.material, modulus=pipe.modulus)
    notes.exactly_one(origin, restraint=pipe.restraint, restraint_factor=pipe.restraint_factor)
    modulus, poisson, words = _wall(pipe, origin, notes)
    if as_given.material is not None and modulus is not None:
        row = MATERIALS[as_given.material]
        spread = f"{row.source}; {row.note}"
        notes.assume(pipe.name, "modulus", f"{modulus / 1e9:g} GPa, {row.name}", spread, asked=True)
    c1 = _restraint(pipe, origin, poisson, notes)
    if bore.wall is None:
        notes.missing((*origin, "wall"), 'a wall thickness such as "9.53 mm"', "add the key wall")
    if bore.wall is None or modulus is None or c1 is None:
        return PipeWave(speed=_SOME_SPEED[notes.pick], source="")
    speed = wave_speed(
        density=notes.density,
        sound_speed=notes.sound_speed,
        diameter=bore.diameter,
        wall=bore.wall,
        modulus=modulus,
        c1=c1,
    )
    stiffness = modulus / c1
    soft, stiff = stiffness, stiffness
    if as_given.material is None and as_given.modulus is None:
        soft, stiff = (e / c1 for e in USUAL_MODULI[pipe.material or CARBON])
    if as_given.restraint is None and as_given.restraint_factor is None:
        soft *= c1 / LOOSE
    return PipeWave(
        speed=speed,
        source=f"from wall {bore.wall_words}, {words}, {pipe.restraint or f'restraint factor {c1:g}'}",
        wall=Wall(
            thickness=bore.wall,
            stiffness=stiffness,
            thickness_range=bore.walls,
            stiffness_range=(soft, stiff) if soft < stiff else None,
        ),
    )


def _usual(pipe: spec.PipeTable, notes: Notes) -> spec.PipeTable:
    """A pipe of a standard size with what it leaves open filled in, and noted as assumed."""
    filled: dict[str, str] = {}
    if pipe.material is None and pipe.modulus is None:
        filled["material"] = STAINLESS if (pipe.schedule or "").upper().endswith("S") else CARBON
        wall = MATERIALS[filled["material"]]
        low, high = (e / 1e9 for e in USUAL_MODULI[wall.name])
        value = f"{wall.name}, modulus {low:g} to {high:g} GPa, {WORST}"
        source = "common practice, no source; moduli: handbooks, from memory"
        notes.assume(pipe.name, "material", value, source)
    if pipe.restraint is None and pipe.restraint_factor is None:
        filled["restraint"] = RESTRAINT
        source = "the three usual ways to hold a pipe; they move its wave speed by about 1 %"
        notes.assume(pipe.name, "restraint", f"{RESTRAINT} to expansion joints, {WORST}", source)
    return pipe.model_copy(update=filled)


def _only_wave_speed(line: spec.LineTable, keys: tuple[str, ...], origin: Origin, notes: Notes) -> None:
    """Note keys that would lead to a second wave speed."""
    given = " and ".join(key for key in keys if getattr(line, key) is not None)
    if given:
        remedy = f"take wave_speed out, or {given}"
        notes.fault(
            (*origin, "wave_speed"), f"wave_speed beside {given}", "one way to the wave speed", remedy
        )


def _no_speed(origin: Origin, instead: str, notes: Notes) -> None:
    notes.missing(
        (*origin, "wave_speed"),
        f'a wave speed such as "1100 m/s", or {instead}',
        f"add the key wave_speed, or {instead}",
    )


def _wall(pipe: spec.PipeTable, origin: Origin, notes: Notes) -> tuple[float | None, float | None, str]:
    """Return modulus [Pa], Poisson's ratio and words for the wall."""
    if pipe.modulus is not None:
        return pipe.modulus.value, pipe.poisson, f"modulus {pipe.modulus.text}"
    if pipe.material is None:
        return None, pipe.poisson, ""
    if pipe.poisson is not None:
        notes.fault(
            (*origin, "poisson"),
            "poisson beside material",
            "poisson only beside modulus: the material has its own",
            "take poisson out, or write modulus instead of material",
        )
    wall = MATERIALS[pipe.material]
    return wall.modulus, wall.poisson, f"{wall.name} {wall.modulus / 1e9:g} GPa ({wall.source})"


def _restraint(pipe: spec.PipeTable, origin: Origin, poisson: float | None, notes: Notes) -> float | None:
    """Return the restraint factor c1 [-]."""
    if pipe.restraint_factor is not None or pipe.restraint is None:
        return pipe.restraint_factor
    if poisson is None and pipe.modulus is not None and pipe.restraint != "expansion joints":
        notes.missing(
            (*origin, "poisson"),
            f'Poisson\'s ratio, which restraint "{pipe.restraint}" needs',
            "add poisson = 0.3 (steel), or write restraint_factor instead of restraint",
        )
        return None
    return restraint_factor(pipe.restraint, poisson=poisson or 0.0)


def hose_speed(
    hose: spec.Hose, figures: HoseFigures, origin: Origin, notes: Notes
) -> tuple[float, str, tuple[float, float] | None]:
    """Return the wave speed [m/s] of a hose, how it was found, and the range when it is not known."""
    if hose.wave_speed is not None:
        _only_wave_speed(hose, ("swell", "swell_at"), origin, notes)
        return hose.wave_speed.value, "given", None
    if hose.swell is None and hose.swell_at is None and figures.stiff is not None:
        assert figures.soft is not None
        band = (figures.soft, figures.stiff)
        words = f"{band[0]:.0f} to {band[1]:.0f} m/s, {WORST}"
        notes.assume(hose.name, "wave speed", words, figures.wave_words)
        return figures.stiff, f"range for {figures.words}: {figures.wave_words}", band
    if hose.swell is None and hose.swell_at is None:
        _no_speed(origin, "swell and swell_at from the hose's pressure test", notes)
    elif hose.swell is None:
        notes.needs((*origin, "swell_at"), 'a swell such as "0.5 %"', "swell")
    elif hose.swell_at is None:
        notes.needs((*origin, "swell"), 'the pressure of the test such as "10 bar"', "swell_at")
    if hose.swell is None or hose.swell_at is None:
        return _SOME_SPEED[notes.pick], "", None
    speed = hose_wave_speed(
        density=notes.density,
        sound_speed=notes.sound_speed,
        swell=hose.swell.value,
        pressure=hose.swell_at.value,
    )
    return speed, f"from a swell of {hose.swell.text} at {hose.swell_at.text}", None
