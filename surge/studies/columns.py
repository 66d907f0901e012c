"""Columns of the results of a study: names, kinds and units, one row for a run."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Literal

from surge.studies.schema import QUICK, RATE, WINDOW
from surge.studies.types import Axis, Study, Uncertain

Kind = Literal["whole", "number", "text", "windows", "rates", "strokes"]


@dataclass(frozen=True)
class Column:
    """One column.

    Attributes
    ----------
    name : str
    kind : str
        "whole", "number", "text", or a list of records: "windows", "rates", "strokes".
    unit : str
        Of its numbers; "" for texts.
    words : str
        What it tells.
    """

    name: str
    kind: Kind
    unit: str
    words: str


def axis_column(axis: Axis) -> str:
    """Return the name of the column with the options of an axis."""
    return f"axis {axis.name}"


def figure_column(one: Uncertain) -> str:
    """Return the name of the column with what was drawn for an uncertain figure."""
    return f"figure {one.name} ({'factor' if one.factor else one.unit})"


def place_column(name: str, *, upper: bool) -> str:
    """Return the name of the column with an extreme at an element or point."""
    return f"{'highest' if upper else 'lowest'} at {name} (Pa gauge)"


_GOVERNING = (
    Column(
        "governing", "text", "", "element, place or rule that comes nearest to its limit, or is beyond it"
    ),
    Column("governing_scenario", "text", "", "its scenario; empty before any scenario"),
    Column("governing_check", "text", "", "peak, steady, static, lowest, vapour, or rule"),
    Column("used", "number", "-", "share of the nearest pressure limit that is used, with the error"),
)


def _extreme(which: str, words: str) -> tuple[Column, ...]:
    return (
        Column(f"{which}_at", "text", "", f"where the {words} pressure comes nearest to its limit"),
        Column(f"{which}_scenario", "text", "", "its scenario"),
        Column(f"{which}_pa_gauge", "number", "Pa gauge", f"the {words} pressure there"),
        Column(f"{which}_error_pa", "number", "Pa", "its numerical error; empty in a quick look"),
        Column(f"{which}_limit_pa_gauge", "number", "Pa gauge", "its limit"),
        Column(f"{which}_margin_pa", "number", "Pa", "what is left; negative beyond the limit"),
    )


_PRESSURES = (*_GOVERNING, *_extreme("peak", "highest"), *_extreme("lowest", "lowest"))
_WINDOWS = (
    Column("windows", "windows", "s", "shortest and longest stroke of each valve; empty for none"),
    Column("strokes_together", "strokes", "s", "strokes of all valves that were run together"),
)
_RATES = (Column("rates", "rates", "m3/s", "greatest safe rate of each scenario, and the agreed one"),)


def columns_of(study: Study) -> tuple[Column, ...]:
    """Return the columns of the results of a study, in their order."""
    return tuple(_columns(study))


def _columns(study: Study) -> Iterator[Column]:
    yield Column("run", "whole", "", "number of the run, from 0")
    for axis in study.axes:
        yield Column(axis_column(axis), "text", "", axis.places.words or "as the study file names it")
        if axis.unit:
            yield Column(f"{axis_column(axis)} ({axis.unit})", "number", axis.unit, "the same in SI")
    for one in study.uncertain:
        words = f"drawn for {one.places.words}"
        yield Column(figure_column(one), "number", "-" if one.factor else one.unit, words)
    if study.run == QUICK:
        yield Column("look", "text", "", "what a single march shows; it decides nothing")
    else:
        yield Column("verdict", "text", "", "the verdict of the whole case")
    yield Column("reason", "text", "", "why it cannot be decided, or which rule is not kept")
    if study.run == WINDOW:
        yield from (*_WINDOWS, *_RATES)
    else:
        yield from _PRESSURES
        if study.run == RATE:
            yield from _RATES
        for name in study.places:
            for upper in (True, False):
                words = f"{'highest' if upper else 'lowest'} pressure over all scenarios"
                yield Column(place_column(name, upper=upper), "number", "Pa gauge", words)
    yield Column("case_sha256", "text", "", "hash of the text of the case that was run")
