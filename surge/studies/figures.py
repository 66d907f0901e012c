"""Uncertain figures of a study file: distributions, correlations, and how they are drawn.

Decisions
---------
* All figures of a distribution are written in one unit: what is drawn is written into the case in that unit.
* A distribution must stay inside what the key of the case may be, at both of its ends. The case is read at
  both ends as well (:mod:`surge.studies.trials`): a bore above its own outside diameter is refused before
  anything is run.
* Correlations are of normal scores (a Gaussian copula): each figure keeps its own distribution.
* A factor multiplies the figure of the case. Temperatures and pressure levels have a zero that means nothing:
  they take none.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from typing import Any

import numpy as np

from surge.errors import Origin
from surge.studies import lineups
from surge.studies.designs import DESIGNS, LATIN, MOST_HELD, SALTELLI, SOBOL, Design
from surge.studies.distributions import ALLOWED, LOG, MOST_CUT, NEEDED, PARAMETERS, Distribution
from surge.studies.notes import Notes
from surge.studies.places import SI_UNITS, leaf_at_places, places_of
from surge.studies.schema import StudyFile, UncertainTable
from surge.studies.types import Places, Uncertain
from surge.toml.text import shown
from surge.toml.values import Number, Quantity
from surge.units import DIMENSIONS, NUMBER_PATTERN, UNITS, ZERO, QuantityError, quoted, read

NO_FACTOR = ("temperature", "level", "absolute")
LEAST_EIGENVALUE = 1e-6
LEAST_COUNT = 8  # of the design for Sobol indices
DIFFERENCES = {"level": "difference", "absolute": "difference"}


class Figures:
    """The uncertain figures of a study, held against its first case.

    Attributes
    ----------
    uncertain : tuple of Uncertain
    correlation : tuple of tuple of float
    design : Design or None
    """

    def __init__(self, spec: StudyFile, data: Mapping[str, Any], notes: Notes) -> None:
        self.spec, self.data, self.notes = spec, data, notes
        made = [self._figure(("uncertain", k), table) for k, table in enumerate(spec.uncertain)]
        self.uncertain = tuple(one for one in made if one is not None)
        self.correlation = self._correlations() if len(self.uncertain) == len(made) else ()
        self.design = self._design()

    # One figure

    def _figure(self, path: Origin, table: UncertainTable) -> Uncertain | None:
        given = [key for key in ("key", "keys", "stroke_of") if getattr(table, key)]
        if len(given) != 1:
            found = " and ".join(given) or "no key, keys or stroke_of"
            self.notes.fault(path, found, "one of key, keys and stroke_of", "keep the one that is meant")
            return None
        places = places_of(table)
        before = len(self.notes.faults)
        leaf = leaf_at_places(path, places, self.data, self.notes)
        if not isinstance(leaf, Quantity | Number):
            if len(self.notes.faults) == before:
                remedy = "an uncertain figure is a quantity or a number: make an axis of what is neither"
                self.notes.fault((*path, given[0]), places.words, "a key that takes a figure", remedy)
            return None
        if table.factor and isinstance(leaf, Quantity) and leaf.dimension in NO_FACTOR:
            remedy = "take factor = true out and give the distribution of the figure itself"
            found = f"a factor on {DIMENSIONS[leaf.dimension].words}"
            self.notes.fault((*path, "factor"), found, "a figure that can be multiplied", remedy)
            return None
        return self._distributed(path, table, places, leaf)

    def _distributed(
        self, path: Origin, table: UncertainTable, places: Places, leaf: Quantity | Number
    ) -> Uncertain | None:
        plain = bool(table.factor) or isinstance(leaf, Number)
        reader = _Parameters(path, table, None if plain else leaf, self.notes)  # type: ignore[arg-type]
        values = reader.values()
        if values is None or not self._sound(path, table, values):
            return None
        distribution = Distribution(kind=str(table.distribution), values=values)
        below, above = distribution.cut if table.distribution in ("normal", "lognormal") else (0.0, 1.0)
        if above - below < 1.0 - MOST_CUT:
            found = f"low and high leave {above - below:.2g} of the distribution"
            remedy = "check mean, deviation, low and high"
            self.notes.fault((*path, "distribution"), found, "a good part of it between them", remedy)
            return None
        one = Uncertain(
            name=str(table.name),
            places=places,
            distribution=distribution,
            written=reader.unit,
            factor=bool(table.factor),
            unit=reader.si_unit,
            scale=reader.scale,
            zero=reader.zero,
            source=table.source,
        )
        return one if self._possible(path, one, leaf) else None

    def _sound(self, path: Origin, table: UncertainTable, v: Mapping[str, float]) -> bool:
        """Whether parameters make a distribution."""
        before = len(self.notes.faults)
        low, high = v.get("low", -np.inf), v.get("high", np.inf)
        if low >= high:
            self.notes.fault((*path, "low"), "low not below high", "low below high", "exchange or mend them")
        elif "mode" in v and not low <= v["mode"] <= high:
            remedy = "write the likeliest value between low and high"
            self.notes.fault((*path, "mode"), shown(table.mode), "a value between low and high", remedy)
        if v.get("standard_deviation", 1.0) <= 0.0:
            remedy = "write a deviation above 0, or leave the figure as the case has it"
            found = shown(table.standard_deviation)
            self.notes.fault((*path, "standard_deviation"), found, "a deviation above 0", remedy)
        for key in ("median", "low", "high"):
            if table.distribution == "lognormal" and v.get(key, 1.0) <= 0.0:
                found = f"{shown(getattr(table, key))} in a lognormal distribution"
                self.notes.fault((*path, key), found, "a figure above 0", "take another distribution")
        return len(self.notes.faults) == before

    def _possible(self, path: Origin, one: Uncertain, leaf: Quantity | Number) -> bool:
        """Whether the key of the case may be what the distribution reaches at its ends."""
        ends = one.distribution.ends
        for end, key, side in zip(ends, ("low", "high"), ("below", "above"), strict=True):
            if one.factor:
                if end > 0.0:
                    continue
                found, expected = f"a factor that reaches {end:.6g}", "factors above 0"
            else:
                text = lineups.number_text(end)
                value: Any = float(text) if isinstance(leaf, Number) else f"{text} {one.written}"
                try:
                    leaf.accept(value)
                    continue
                except QuantityError as error:
                    reached = f"{end:.6g} {one.written}".strip()
                    found, expected = f"a distribution that reaches {reached}", error.expected
            centre = next(k for k in (key, "mean", "median") if k in one.distribution.values)
            remedy = (
                f"write another {key}"
                if key in one.distribution.values
                else f"write {key} = ...: nothing is drawn {side} it"
            )
            self.notes.fault((*path, centre), found, expected, remedy)
            return False
        return True

    # How they go together, and how they are drawn

    def _correlations(self) -> tuple[tuple[float, ...], ...]:
        names = [one.name for one in self.uncertain]
        matrix = np.eye(len(names))
        for k, table in enumerate(self.spec.correlation):
            pair = [str(name) for name in table.between or ()]
            path: Origin = ("correlation", k, "between")
            unknown = [name for name in pair if name not in names]
            if unknown or len(pair) != 2 or pair[0] == pair[1]:
                found = f"{quoted(unknown[0])}, which is no uncertain figure" if unknown else shown(pair)
                remedy = f"write two of {', '.join(map(quoted, names))}"
                self.notes.fault(path, found, "the names of two uncertain figures", remedy)
                continue
            i, j = map(names.index, pair)
            if matrix[i, j] != 0.0:
                self.notes.fault(path, "a pair for a second time", "each pair once", "take it out")
            matrix[i, j] = matrix[j, i] = table.coefficient or 0.0
        if not self.spec.correlation:
            return ()
        if float(np.linalg.eigvalsh(matrix)[0]) < LEAST_EIGENVALUE:
            found = "correlations that contradict one another"
            remedy = "bring coefficients nearer to 0: no figures can go together like this"
            self.notes.fault(("correlation", 0, "coefficient"), found, "a matrix that can be", remedy)
            return ()
        return tuple(tuple(float(x) for x in row) for row in matrix)

    def _design(self) -> Design | None:
        table = self.spec.samples
        if table is None:
            if self.spec.uncertain:
                remedy = 'write [samples] with design = "independent", count = 400, seed = 1'
                self.notes.fault(("samples",), "no [samples]", "how uncertain figures are drawn", remedy)
            return None
        if not self.spec.uncertain:
            remedy = "write [[uncertain]], or take [samples] out"
            self.notes.fault(("samples", "count"), "no uncertain figure", "figures to draw", remedy)
            return None
        whole = {key: getattr(table, key) for key in ("count", "seed", "replicates")}
        for key, value in whole.items():
            if value is not None and value != int(value):
                self.notes.fault(("samples", key), shown(value), "a whole number", f"write {int(value)}")
        made = Design(
            kind=str(table.design),
            count=int(table.count or 1),
            seed=int(table.seed or 0),
            replicates=int(table.replicates or 1),
            figures=len(self.spec.uncertain),
        )
        self._refuse_design(made)
        return made

    def _refuse_design(self, design: Design) -> None:
        kind, count = design.kind, design.count
        path: Origin = ("samples", "count")
        if kind in (SOBOL, SALTELLI) and count & (count - 1):
            near = 2 ** (count.bit_length() - 1)
            remedy = f"write {near} or {2 * near}"
            self.notes.fault(path, str(count), f"a power of two for the design {quoted(kind)}", remedy)
        if kind == SALTELLI and count < LEAST_COUNT:
            remedy = f"write {16 * LEAST_COUNT}: with few the intervals of the indices are wide"
            self.notes.fault(path, str(count), f"{LEAST_COUNT} or more for Sobol indices", remedy)
        if kind in (LATIN, SALTELLI) and design.size > MOST_HELD:
            remedy = f"write fewer, or take design = {quoted(DESIGNS[0])} or {quoted(SOBOL)}"
            self.notes.fault(path, f"{design.size} samples", f"{MOST_HELD} at most of {quoted(kind)}", remedy)
        if design.replicates > 1 and kind != SOBOL:
            remedy = f"take replicates out, or write design = {quoted(SOBOL)}"
            self.notes.fault(("samples", "replicates"), f"replicates of {quoted(kind)}", "none", remedy)
        if kind == SALTELLI and self.spec.correlation:
            remedy = "take the correlations out for the indices; draw them with another design"
            found = "correlated figures in a design for Sobol indices"
            self.notes.fault(("samples", "design"), found, "figures that vary by themselves", remedy)


class _Parameters:
    """Reads the parameters of one distribution, all in one unit."""

    def __init__(self, path: Origin, table: UncertainTable, leaf: Quantity | None, notes: Notes) -> None:
        self.path, self.table, self.leaf, self.notes = path, table, leaf, notes
        self.unit, self.si_unit, self.scale, self.zero = "", "-", 1.0, 0.0

    def values(self) -> dict[str, float] | None:
        """Return the parameters in the unit that they are written in; None with a fault noted."""
        kind = str(self.table.distribution)
        before = len(self.notes.faults)
        given = {k: getattr(self.table, k) for k in PARAMETERS if getattr(self.table, k) is not None}
        for key in NEEDED[kind]:
            if key not in given:
                expected = f"{', '.join(NEEDED[kind])} of a {kind} distribution"
                self.notes.fault((*self.path, key), f"no key {key}", expected, f"add {key} = ...")
        for key in given:
            if key not in (*NEEDED[kind], *ALLOWED[kind]):
                expected = f"{', '.join((*NEEDED[kind], *ALLOWED[kind]))} of a {kind} distribution"
                self.notes.fault((*self.path, key), f"{key}, which has no use here", expected, "take it out")
        if len(self.notes.faults) > before:
            return None
        made = {key: self._value(key, given[key]) for key in given}
        return made if len(self.notes.faults) == before else None  # type: ignore[return-value]

    def _value(self, key: str, value: str | float) -> float | None:
        try:
            if key == LOG:
                return float(value)
            return self._plain(value) if self.leaf is None else self._quantity(key, value, self.leaf)
        except QuantityError as error:
            self.notes.refused((*self.path, key), error)
            return None

    def _plain(self, value: str | float) -> float:
        if isinstance(value, str):
            what = "a factor is" if self.table.factor else "this key takes"
            remedy = f"{what} a plain number: write it without quotes and unit"
            raise QuantityError(quoted(value), "a plain number", remedy)
        return value

    def _quantity(self, key: str, value: str | float, leaf: Quantity) -> float:
        if not isinstance(value, str):
            remedy = f"write it in quotes and with a unit, such as {leaf.example}"
            raise QuantityError(shown(value), leaf.expected, remedy)
        if key == "standard_deviation":
            return self._deviation(value, leaf)
        reading = read(value, dimension=leaf.dimension)
        number, unit = self._parted(value)
        if not self.unit:
            self.unit, self.si_unit = unit, SI_UNITS[reading.kind]
            self.scale, self.zero = UNITS[reading.kind][unit], self._zero(unit, leaf)
        self._refuse_unit(value, unit, (self.unit,))
        return number

    def _deviation(self, value: str, leaf: Quantity) -> float:
        """A width: of a pressure level it is a difference, of a temperature so many degrees."""
        number, unit = self._parted(value)
        if leaf.dimension in DIFFERENCES:
            read(value, dimension=DIFFERENCES[leaf.dimension])
            self._refuse_unit(value, unit, (re.sub(r"(\([ag]\)|[ag])$", "", self.unit),))
        elif leaf.dimension == "temperature" and unit == "K":
            self._refuse_unit(value, unit, ("K", "degC", "C"), wanted=self.unit)
        else:
            read(value, dimension=leaf.dimension)
            self._refuse_unit(value, unit, (self.unit,))
        return number

    def _refuse_unit(self, value: str, unit: str, known: tuple[str, ...], *, wanted: str = "") -> None:
        if (wanted or unit) not in known:
            remedy = f"write all figures of one distribution in {known[0]}"
            raise QuantityError(quoted(value), f"a figure in {known[0]}, as the others are", remedy)

    @staticmethod
    def _zero(unit: str, leaf: Quantity) -> float:
        return ZERO.get(unit, 0.0) if leaf.dimension == "temperature" else 0.0

    @staticmethod
    def _parted(value: str) -> tuple[float, str]:
        match = re.match(rf" *({NUMBER_PATTERN}) *", value)
        if match is None:
            raise QuantityError(quoted(value), "a number with a unit", "begin with a plain number")
        return float(match[1]), value[match.end() :].strip(" ")
