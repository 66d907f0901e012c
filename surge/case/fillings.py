"""From the fillings of a case file to those of a line-up."""

from __future__ import annotations

from dataclasses import replace

from surge.case import schema_scenarios as spec
from surge.case.notes import COMMON, Notes
from surge.model.filling import COEFFICIENTS, EXPONENTS, GAS_TEMPERATURE, HOLE, Filling
from surge.model.scenario import Scenario

FIRST_STAGE = "start"


def filling_of(table: spec.FillingTable, scenario: Scenario, notes: Notes) -> Filling:
    """Return a filling; its faults stand in ``notes``.

    Parameters
    ----------
    table : FillingTable
    scenario : Scenario
        Its time line, with what the stage that it names says.
    notes : Notes
    """
    origin, name = scenario.origin, table.name
    notes.exactly_one(origin, vent=table.vent, vent_diameter=table.vent_diameter)
    hole = table.vent_diameter
    if table.vent_coefficient is not None and hole is None:
        notes.needs((*origin, "vent_coefficient"), "the opening that it belongs to", "vent_diameter")
    exponent, exponents = table.exponent, None
    if exponent is None:
        exponent, exponents = 0.5 * sum(EXPONENTS), EXPONENTS
        if table.vent != "open":
            words = f"{EXPONENTS[0]:g} to {EXPONENTS[1]:g}: judged by the worst"
            notes.assume(
                name, "exponent of the gas", words, f"isothermal to without any exchange of heat; {COMMON}"
            )
    coefficient, coefficients = table.vent_coefficient, None
    if coefficient is None:
        coefficient, coefficients = 0.5 * sum(COEFFICIENTS), COEFFICIENTS
        if hole is not None:
            words = f"{COEFFICIENTS[0]:g} to {COEFFICIENTS[1]:g}: judged by the worst"
            notes.assume(name, "coefficient of the opening", words, f"sharp to rounded; {COMMON}")
    if hole is not None:
        notes.assume(name, "gas", f"air of {GAS_TEMPERATURE - 273.15:g} degC at first", COMMON)
    return Filling(
        name=name,
        note=table.note,
        scenario=scenario if scenario.stage else replace(scenario, stage=FIRST_STAGE),
        start=table.start,
        end=table.end,
        front=table.front.value if table.front is not None else 0.0,
        gas_pressure=notes.pressure(table.gas_pressure, (*origin, "gas_pressure")) or 0.0,
        exponent=exponent,
        exponent_range=exponents,
        vent=HOLE if hole is not None else table.vent or "open",
        vent_diameter=hole.value if hole is not None else 0.0,
        vent_coefficient=coefficient,
        vent_coefficient_range=coefficients if hole is not None else None,
        origin=origin,
    )
