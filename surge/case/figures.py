"""Figures that a case leaves to the program's own tables: sizes, walls, hoses, valves, fittings, flanges.

What is taken without being asked for is noted as assumed, with its source, and printed with the answer. Wave
speeds go by what stands here: :mod:`surge.case.waves`.

Decisions
---------
* What a type, a size or a condition leaves open is a range, and the worst over all ranges counts
  (:mod:`surge.rules.spread`): the Kv of a valve, the roughness of a wall; of a pipe by its size the wall,
  from the lightest usual schedule to extra strong.
* Where one figure has to stand for a range, it is the high Kv, the smooth wall and the standard schedule.
* The lightest usual schedule is 20 from 8 inch on, the standard one below; of stainless steel 10S. Common
  practice, no source.
* The characteristic of a valve by its type is one curve: it is listed as assumed.
* Ratings, elevations, levels and pump curves are never assumed.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from surge.case import schema_parts as spec
from surge.case.notes import IN_CASE, Notes
from surge.errors import Origin, UnknownNameError
from surge.model.lineup import Table
from surge.reference.valve_curves import VALVE_CURVES
from surge.units import ZERO_CELSIUS

if TYPE_CHECKING:
    from surge.reference.hoses import HoseType

WORST = "judged by the worst"
_SOME_BORE = (0.05, 1.0)  # [m] stand-ins while the faults of a case are being gathered
SCHEDULE = "standard"  # what "12 inch pipe" means when nothing more is said
STEEL, HOSE, ROUGH_HOSE = "new steel", "smooth hose", "rough-bore hose"
CARBON, STAINLESS = "steel", "stainless steel 316L"


@dataclass(frozen=True, kw_only=True)
class Bore:
    """Inside diameter and wall of a pipe [m]; the wall is None where nobody gives it."""

    diameter: float
    wall: float | None
    wall_words: str
    walls: tuple[float, float] | None = None  # where the schedule is not known


def pipe_bore(pipe: spec.PipeTable, origin: Origin, notes: Notes) -> Bore:
    """Return bore and wall, given or from size and schedule."""
    if pipe.size is None:
        if pipe.schedule is not None:
            notes.needs((*origin, "schedule"), "the nominal size that it belongs to", "size")
        elif pipe.inside_diameter is None:
            notes.missing(
                (*origin, "inside_diameter"),
                'a bore such as "304.8 mm", or a nominal size such as size = "12 inch"',
                "add the key inside_diameter, or size and schedule",
            )
        bore = pipe.inside_diameter.value if pipe.inside_diameter else _SOME_BORE[notes.pick]
        wall = pipe.wall.value if pipe.wall else None
        return Bore(diameter=bore, wall=wall, wall_words=pipe.wall.text if pipe.wall else "")
    for key in ("inside_diameter", "wall"):
        if getattr(pipe, key) is not None:
            notes.fault((*origin, key), f"{key} beside size", "only one of both", f"take {key} or size out")
    return _from_size(pipe, pipe.size, origin, notes)


def _from_size(pipe: spec.PipeTable, size: str, origin: Origin, notes: Notes) -> Bore:
    from surge.reference.pipes import pipe_size, schedules_of

    schedule = pipe.schedule or SCHEDULE
    try:
        found = pipe_size(size, schedule=schedule)
    except UnknownNameError as error:
        wrong = "schedule" if "schedule" in error.kind and pipe.schedule else "size"
        notes.unknown((*origin, wrong), error)
        return Bore(diameter=_SOME_BORE[notes.pick], wall=0.01, wall_words="")
    words = f"{found.wall * 1e3:.2f} mm ({found.size}, {found.schedule})"
    walls = None
    if pipe.schedule is None and len(schedules_of(size)) > 1:
        light, heavy = (pipe_size(size, schedule=s) for s in _usual_schedules(pipe, size))
        walls = min(light.wall, found.wall), max(heavy.wall, found.wall)
        figure = f"{light.schedule} to {heavy.schedule}, wall {walls[0] * 1e3:.2f} to {walls[1] * 1e3:.2f} mm"
        notes.assume(
            pipe.name,
            "schedule",
            f"{figure}, {WORST}",
            f"{found.source} ({found.status}); that no other is used: common practice, no source",
        )
    else:
        notes.took(pipe.name, "bore and wall", f"{found.size}, {found.schedule}", found)
    return Bore(diameter=found.inside, wall=found.wall, wall_words=words, walls=walls)


def _usual_schedules(pipe: spec.PipeTable, size: str) -> tuple[str, str]:
    """The lightest and the heaviest schedule that is usual for a cargo line."""
    from surge.reference.pipes import schedules_of

    known = schedules_of(size)
    if pipe.material == STAINLESS:
        return ("schedule 10S" if "schedule 10S" in known else SCHEDULE), "extra strong"
    return ("schedule 20" if "schedule 20" in known else SCHEDULE), "extra strong"


def line_roughness(
    line: spec.LineTable, kind: str, origin: Origin, notes: Notes
) -> tuple[float, tuple[float, float] | None]:
    """Return the roughness [m], and its range where it is that of the condition named, or of a new wall."""
    if line.roughness is not None:
        if line.condition is not None:
            notes.fault(
                (*origin, "condition"),
                "condition beside roughness",
                "one of both",
                "take condition or roughness out",
            )
        return line.roughness.value, None
    from surge.reference.pipes import roughness

    usual = STEEL
    if kind == "hose":
        usual = ROUGH_HOSE if "composite" in (getattr(line, "type", None) or "") else HOSE
    elif getattr(line, "material", None) in ("GRP", "cast iron"):
        usual = line.material  # type: ignore[attr-defined]
    elif getattr(line, "material", None) == STAINLESS:
        usual = "stainless steel"
    try:
        found = roughness(line.condition or usual)
    except UnknownNameError as error:
        notes.unknown((*origin, "condition"), error)
        return 1e-4, None
    figure = f"{found.low * 1e3:g} to {found.high * 1e3:g} mm, {found.name}, {WORST}"
    if line.condition is None:
        notes.assume(line.name, "roughness", figure, f"{found.source} ({found.status})")
    else:
        notes.took(line.name, "roughness", figure, found)
    return found.low, (found.low, found.high)


def minor_loss(
    line: spec.LineTable, diameter: float, roughness: tuple[float, float], origin: Origin, notes: Notes
) -> tuple[float, float]:
    """Return the sum of loss factors [-] at either end of the roughness [m], fittings listed among them."""
    total = [line.minor_loss, line.minor_loss]
    if not line.fittings:
        return line.minor_loss, line.minor_loss
    from surge.reference.fittings import loss_factor

    for name, count in line.fittings.items():
        try:
            found = [loss_factor(name, diameter=diameter, roughness=r) for r in roughness]
        except UnknownNameError as error:
            notes.unknown((*origin, "fittings", name), error)
            continue
        each = list(dict.fromkeys(f"{k:.3g}" for k, _ in found))
        for i, (k, _) in enumerate(found):
            total[i] += count * k
        words = f"{' to '.join(each)} each, {count:g} of them"
        notes.assume(line.name, f"loss factor of {name}", words, found[0][1], asked=True)
    return total[0], total[1]


def flange_rating(pipe: spec.PipeTable, origin: Origin, notes: Notes) -> tuple[float, str] | None:
    """Return the rating of class 150 flanges at cargo temperature [Pa gauge], and its source."""
    if pipe.flange is None:
        return None
    from surge.reference.flanges import OutsideTableError, class_150_rating

    if pipe.rating is not None:
        notes.fault((*origin, "flange"), "flange beside rating", "one of both", "take flange or rating out")
    if notes.temperature is None:
        notes.missing(
            ("liquid", "temperature"),
            'the cargo\'s temperature such as "15 degC", on which the rating of flanges depends',
            "add the key temperature to [liquid]",
        )
        return None
    try:
        rating = class_150_rating(pipe.flange, temperature=notes.temperature)
    except UnknownNameError as error:
        notes.unknown((*origin, "flange"), error)
        return None
    except OutsideTableError as error:
        remedy = "give the rating of the pipe at that temperature yourself"
        notes.fault((*origin, "flange"), str(error), "a temperature within the table", remedy)
        return None
    from surge.reference.flanges import CLASS_150

    row = CLASS_150[pipe.flange]
    source = f"{row.source} ({row.status}); {row.note}" if row.note else f"{row.source} ({row.status})"
    notes.assume(pipe.name, "rating of its flanges", f"{rating / 1e5:.1f} bar(g)", source, asked=True)
    return rating, f"class 150 flange, {pipe.flange}"


@dataclass(frozen=True, kw_only=True)
class HoseFigures:
    """What the type of a hose tells: pressures [Pa gauge], wave speeds [m/s]; None where it does not."""

    rating: float | None = None
    test_pressure: float | None = None
    burst: float | None = None
    includes_surge: bool | None = None
    soft: float | None = None
    stiff: float | None = None
    words: str = ""
    wave_words: str = ""


def hose_figures(hose: spec.Hose, origin: Origin, notes: Notes) -> HoseFigures:
    """Return the figures of a hose's type."""
    if hose.type is None:
        return HoseFigures()
    from surge.reference.hoses import hose_type, wave_speed_band

    try:
        found = hose_type(hose.type)
    except UnknownNameError as error:
        notes.unknown((*origin, "type"), error)
        return HoseFigures()
    _suits(hose, found, origin, notes)
    soft, stiff = wave_speed_band(found, sound_speed=notes.sound_speed)
    if hose.rating is None:
        pressures = {
            "rating": found.rating,
            "test pressure": found.test_pressure,
            "burst pressure": found.burst,
        }
        for quantity, value in pressures.items():
            if value is not None:
                notes.took(hose.name, quantity, f"{value / 1e5:g} bar(g)", found)
    return HoseFigures(
        rating=found.rating,
        test_pressure=found.test_pressure,
        burst=found.burst,
        includes_surge=found.includes_surge,
        soft=soft,
        stiff=stiff,
        words=f"type {found.name}",
        wave_words=found.wave_speed_source,
    )


def _suits(hose: spec.Hose, found: HoseType, origin: Origin, notes: Notes) -> None:
    """Note a hose that is not made for the cargo's temperature, or is rated above its type."""
    if found.temperatures is not None and notes.temperature is not None:
        low, high = found.temperatures
        if not low <= notes.temperature <= high:
            notes.fault(
                (*origin, "type"),
                f"{found.name}, with cargo at {notes.temperature - ZERO_CELSIUS:.4g} C",
                f"a type for that temperature; this one is for {found.validity}",
                "choose another type, or give the figures of the hose itself without a type",
            )
    rating = notes.pressure(hose.rating, (*origin, "rating"))
    if rating is not None and found.rating is not None and rating > found.rating:
        notes.fault(
            (*origin, "rating"),
            f"{rating / 1e5:g} bar(g) for a {found.name}",
            f"not above the {found.rating / 1e5:g} bar(g) of its type",
            "check rating and type against the certificate, or take type out",
        )


@dataclass(frozen=True, kw_only=True)
class ValveFigures:
    """Kv [m3/h], its range where it is not given, characteristic and its source."""

    kv: float
    kv_range: tuple[float, float] | None
    characteristic: Table
    source: str


def valve_figures(valve: spec.ValveTable, origin: Origin, notes: Notes) -> ValveFigures:
    """Return Kv and characteristic: given, or from type and size."""
    given = valve.kv or valve.cv
    if valve.kv is not None and valve.cv is not None:
        notes.exactly_one(origin, kv=valve.kv, cv=valve.cv)
    kv = given.value if given else None
    span: tuple[float, float] | None = None
    name = valve.characteristic
    if valve.type is not None or valve.size is not None:
        assumed = _assumed_valve(valve, origin, notes, needed=kv is None)
        if assumed is not None:
            if kv is None:
                kv, span = assumed[0], (assumed[1], assumed[0])
            name = name if name is not None else assumed[2]
    if kv is None:
        if valve.type is None and valve.size is None:
            notes.missing(
                (*origin, "kv"),
                "kv or cv, or type and size of the valve",
                'add the key kv, or type = "butterfly" and size = "10 inch"',
            )
        kv = (1.0, 1e4)[notes.pick]
    if name is None:
        if valve.type is None:
            notes.missing(
                (*origin, "characteristic"),
                "characteristic, or the type of the valve",
                'add the key characteristic, such as characteristic = "butterfly", or type',
            )
        name = "linear"
    if isinstance(name, str):
        curve = VALVE_CURVES[name]
        told = f"{curve.name}: {curve.source}"
        return ValveFigures(kv=kv, kv_range=span, characteristic=curve.table, source=told)
    return ValveFigures(kv=kv, kv_range=span, characteristic=tuple(name), source=IN_CASE)


def _assumed_valve(
    valve: spec.ValveTable, origin: Origin, notes: Notes, *, needed: bool
) -> tuple[float, float, str] | None:
    """High and low Kv, and characteristic, from type and size; the Kv is noted where it is needed."""
    from surge.reference.valves import VALVE_TYPES, assumed_kv

    if valve.type is None:
        notes.needs((*origin, "size"), "the type of valve that it belongs to", "type")
        return None
    if valve.type not in VALVE_TYPES:
        notes.unknown((*origin, "type"), UnknownNameError("valve type", given=valve.type, known=VALVE_TYPES))
        return None
    characteristic = VALVE_TYPES[valve.type].characteristic
    if valve.characteristic is None:
        curve = VALVE_CURVES[characteristic]
        notes.assume(valve.name, "characteristic", curve.name, f"{curve.source} ({curve.status})")
    if not needed:
        return 1.0, 1.0, characteristic
    if valve.size is None:
        notes.needs((*origin, "type"), "the Kv, or the size from which one is assumed", "size")
        return None
    try:
        found = assumed_kv(valve.type, size=valve.size)
    except UnknownNameError as error:
        notes.unknown((*origin, "size"), error)
        return None
    figure = f"{found.low:.0f} to {found.high:.0f} m3/h, {WORST}"
    notes.assume(valve.name, "Kv", figure, f"{found.source} ({found.status})")
    return found.high, found.low, characteristic
