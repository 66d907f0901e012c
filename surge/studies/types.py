"""A study as it was read: axes with their options, uncertain figures, files; it can be sent elsewhere."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from surge.inputs import InputFile
from surge.studies.designs import Design
from surge.studies.distributions import Distribution


@dataclass(frozen=True, kw_only=True)
class Places:
    """Where a value of the study stands in a case.

    Attributes
    ----------
    keys : tuple of str
        Keys as refusals print them; all take the value.
    stroke_of : str
        A valve: the strokes of all movements that close it; "" where ``keys`` say it.
    """

    keys: tuple[str, ...] = ()
    stroke_of: str = ""

    @property
    def words(self) -> str:
        """What it is, for readers."""
        return f'stroke of "{self.stroke_of}"' if self.stroke_of else "; ".join(self.keys)


@dataclass(frozen=True, kw_only=True)
class Option:
    """One value of an axis.

    Attributes
    ----------
    name : str
        As results call it.
    settings : tuple of (Places, object)
        Values that it sets.
    part : mapping
        Tables that it merges into the case; empty for none.
    remove : tuple of str
        Keys of parts that it leaves out.
    case : str
        The base case that it stands for; "" where it is none.
    si : float or None
        Its value in SI, of a quantity or a number.
    """

    name: str
    settings: tuple[tuple[Places, Any], ...] = ()
    part: Mapping[str, Any] = field(default_factory=dict)
    remove: tuple[str, ...] = ()
    case: str = ""
    si: float | None = None


@dataclass(frozen=True, kw_only=True)
class Axis:
    """One axis; ``unit`` is that of the values in SI, "" where they are none."""

    name: str
    options: tuple[Option, ...]
    unit: str = ""
    places: Places = field(default_factory=Places)


@dataclass(frozen=True, kw_only=True)
class Uncertain:
    """One figure that is known as a distribution only.

    Attributes
    ----------
    name : str
    places : Places
    distribution : Distribution
        In the unit of the study file.
    written : str
        That unit, as it is written behind numbers; "" for a plain number.
    factor : bool
        What is drawn multiplies the figure of the case.
    unit : str
        Of the values in SI: "m/s"; "-" for a plain number or a factor.
    scale, zero : float
        From the number as written to SI: (number + zero) * scale.
    source : str
    """

    name: str
    places: Places
    distribution: Distribution
    written: str = ""
    factor: bool = False
    unit: str = "-"
    scale: float = 1.0
    zero: float = 0.0
    source: str = ""

    def si(self, number: float) -> float:
        """Return a number as written in SI."""
        return (number + self.zero) * self.scale

    def told(self, value: float) -> str:
        """Return a value in SI, or a factor, as the study file would have it."""
        if self.factor:
            return f"times {value:.6g}"
        return f"{value / self.scale - self.zero:.6g} {self.written}".rstrip()


@dataclass(frozen=True, kw_only=True)
class Study:
    """A study that was read without a fault.

    Attributes
    ----------
    title, note : str
    run : str
        What is done with each line-up: one of :data:`surge.studies.schema.RUNS`.
    base : str
        The case that axes change; "" where an axis goes through cases.
    cases : mapping of str to str
        Name as the study file has it -> text.
    filenames : mapping of str to str
        Name -> what messages and results call the file.
    rules : mapping of str to (str, str)
        Case -> the name that it gives to its file of rules, and the text of that file.
    places : tuple of str
        Elements and points whose pressures are kept.
    correlation : tuple of tuple of float
        Of the normal scores of the uncertain figures [-]; empty where none is correlated.
    design : Design or None
        None where nothing is uncertain.
    files : tuple of InputFile
        Everything that was read, the study file first.
    """

    title: str
    note: str = ""
    run: str
    base: str
    cases: Mapping[str, str]
    filenames: Mapping[str, str]
    rules: Mapping[str, tuple[str, str]]
    places: tuple[str, ...]
    axes: tuple[Axis, ...]
    uncertain: tuple[Uncertain, ...]
    correlation: tuple[tuple[float, ...], ...] = ()
    design: Design | None = None
    files: tuple[InputFile, ...]

    @property
    def file(self) -> InputFile:
        """The study file."""
        return self.files[0]

    @property
    def cells(self) -> int:
        """Line-ups that the axes make."""
        return math.prod(len(axis.options) for axis in self.axes)

    @property
    def samples(self) -> int:
        """Runs of each line-up."""
        return self.design.size if self.design else 1

    @property
    def runs(self) -> int:
        """Runs in all."""
        return self.cells * self.samples

    def indices(self, cell: int) -> tuple[int, ...]:
        """Return which option of each axis one line-up has, from 0; the last axis goes fastest."""
        found = []
        for axis in reversed(self.axes):
            cell, k = divmod(cell, len(axis.options))
            found.append(k)
        return tuple(reversed(found))

    def options(self, cell: int) -> tuple[Option, ...]:
        """Return the options of one line-up, one for each axis."""
        return tuple(axis.options[k] for axis, k in zip(self.axes, self.indices(cell), strict=True))

    def case_of(self, cell: int) -> str:
        """Return the name of the case that a line-up is made of."""
        return next((o.case for o in self.options(cell) if o.case), self.base)

    def name_of(self, cell: int) -> str:
        """Return a line-up in words: the options of its axes."""
        pairs = zip(self.axes, self.options(cell), strict=True)
        return ", ".join(f"{axis.name} {option.name}" for axis, option in pairs) or "the case"
