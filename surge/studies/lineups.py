"""From a study to the texts of cases: a line-up with the values of its axes, and with drawn figures in it.

Decisions
---------
* A run is the text of a case, changed as the page changes one (:mod:`surge.toml.rewrite`) and read by the
  same reader: every rule on what a case may be holds.
* A drawn figure is written with ``DIGITS`` digits, and what is written is what is run. So the text of a run,
  kept as a file, gives the same answer to the last bit.
* A part file is merged: tables by their keys, elements and scenarios by their names. One of the same name is
  replaced as a whole and stands where the old one stood.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from surge.errors import Origin
from surge.studies.keys import key_shown, origin_of, strokes_of
from surge.studies.types import Option, Places, Study, Uncertain
from surge.toml.rewrite import Written, written
from surge.toml.text import shown
from surge.units import NUMBER_PATTERN, QuantityError, grouped, one_way

DIGITS = 9


@dataclass(frozen=True)
class Slot:
    """A place in a text at which a drawn figure stands.

    Attributes
    ----------
    figure : int
        Position of the uncertain figure.
    base : float
        What it multiplies; 1 where it stands for itself.
    unit : str
        Written behind the number; "" for a plain number.
    path : Origin
        Where it stands, in the data of the case.
    """

    figure: int
    base: float
    unit: str
    path: Origin

    def value(self, value: float) -> str | float:
        """Return the figure as it stands in the data of the case [as written]."""
        number = number_text(self.base * value)
        return f"{number} {self.unit}" if self.unit else float(number)

    def text(self, value: float) -> str:
        """Return the figure as it stands in the text of the case [as written]."""
        found = self.value(value)
        return written(found) if isinstance(found, str) else number_text(self.base * value)


@dataclass(frozen=True)
class Template:
    """The text of a line-up, in pieces, with slots between them."""

    pieces: tuple[str, ...]
    slots: tuple[Slot, ...]

    def text(self, values: Sequence[float]) -> str:
        """Return the text with figures in it, one for each uncertain figure [as written]."""
        out = [self.pieces[0]]
        for slot, after in zip(self.slots, self.pieces[1:], strict=True):
            out += [slot.text(values[slot.figure]), after]
        return "".join(out)

    def values(self, values: Sequence[float]) -> list[str | float]:
        """Return what the slots have in the data of the case, for figures as written."""
        return [slot.value(values[slot.figure]) for slot in self.slots]


def number_text(value: float) -> str:
    """Return a number as it is written into a case: in few digits, and to be read in one way only."""
    text = f"{value:.{DIGITS}g}"
    if "e" not in text and "." not in text:
        text = f"{text}.0"
    return one_way(text)[1] if grouped(text) else text


def as_written(value: float) -> float:
    """Return a drawn number as it is run: rounded as it is written."""
    return float(number_text(value))


def origins(places: Places, data: Mapping[str, Any]) -> list[Origin]:
    """Return where a value of the study stands in a case; raises QuantityError where it has no such place."""
    if places.stroke_of:
        return strokes_of(places.stroke_of, data)
    return [origin_of(key, data) for key in places.keys]


class LineUpTexts:
    """The texts of the line-ups of a study: what one has in common with the one before is written once.

    Parameters
    ----------
    study : Study
    """

    def __init__(self, study: Study) -> None:
        self.study = study
        # The case, then with the option of the first axis, of the second too, and so on; with which option.
        self._made: list[tuple[str | int, Written]] = []

    def template(self, cell: int) -> Template:
        """Return the text of a line-up with slots for the uncertain figures.

        Raises
        ------
        QuantityError
            An option, or an uncertain figure, does not fit this case.
        """
        return _template(self.study, self._changed(cell))

    def _changed(self, cell: int) -> Written:
        """The case of one line-up, with the options of its axes."""
        wanted: list[str | int] = [self.study.case_of(cell), *self.study.indices(cell)]
        made = [which for which, _ in self._made]
        same = next((k for k, (new, old) in enumerate(zip(wanted, made, strict=False)) if new != old), None)
        if same is not None:
            del self._made[same:]
        if not self._made:
            name = self.study.case_of(cell)
            self._made.append((name, Written(self.study.cases[name])))
        for k, option in enumerate(self.study.options(cell), start=1):
            if k == len(self._made):
                case = self._made[-1][1].copy()
                _apply(case, option)
                self._made.append((wanted[k], case))
        return self._made[-1][1].copy()


def _apply(case: Written, option: Option) -> None:
    if option.part:
        merge(case, option.part)
    for key in option.remove:
        try:
            case.unset(origin_of(key, case.data, part=True))
        except (KeyError, IndexError, TypeError):
            raise QuantityError(
                f"{key_shown(key)}, which this case does not have",
                "a part or key of the case",
                "take it out of the list",
            ) from None
    for places, value in option.settings:
        for path in origins(places, case.data):
            try:
                case.set(path, value)
            except (KeyError, IndexError, ValueError) as error:
                raise QuantityError(shown(value), f"a value for {places.words}", str(error)) from None


def merge(case: Written, part: Mapping[str, Any]) -> None:
    """Merge the tables of a part file into a case."""
    for key, value in part.items():
        if isinstance(value, list) and value and all(isinstance(t, Mapping) for t in value):
            for table in value:
                _put(case, key, table)
        elif isinstance(value, Mapping):
            for name, inner in value.items():
                if isinstance(inner, Mapping) and case.has((key, name)):
                    case.unset((key, name))
                case.set((key, name), inner)
        else:
            case.set((key,), value)


def _put(case: Written, key: str, table: Mapping[str, Any]) -> None:
    """Put a table of a list in the place of the one of its name, or add it."""
    old = next((path for path, name in _named(case.data) if name == table.get("name")), None)
    if old is None or "name" not in table:
        case.add((key,), table)
        return
    case.add_behind(old, (key,), table)
    case.unset(old)


def _named(data: Mapping[str, Any]) -> Iterator[tuple[Origin, str]]:
    for key, value in data.items():
        for k, table in enumerate(value if isinstance(value, list) else []):
            if isinstance(table, Mapping) and isinstance(table.get("name"), str):
                yield (key, k), table["name"]


def template(study: Study, cell: int) -> Template:
    """Return the text of a single line-up; see :meth:`LineUpTexts.template`."""
    return LineUpTexts(study).template(cell)


def _template(study: Study, case: Written) -> Template:
    if not study.uncertain:
        return Template((case.text,), ())
    places = [origins(one.places, case.data) for one in study.uncertain]
    for one, paths in zip(study.uncertain, places, strict=True):
        for path in paths:
            if path not in case.places.values:
                _fill(case, one, path)
    slots = sorted(
        (
            (case.places.values[path], _slot(k, one, path, case.at(path)))
            for k, (one, paths) in enumerate(zip(study.uncertain, places, strict=True))
            for path in paths
        ),
        key=lambda pair: pair[0].start,
    )
    ends = [0, *(stretch.end for stretch, _ in slots)]
    starts = [*(stretch.start for stretch, _ in slots), len(case.text)]
    pieces = tuple(case.text[a:b] for a, b in zip(ends, starts, strict=True))
    return Template(pieces, tuple(slot for _, slot in slots))


def _fill(case: Written, one: Uncertain, path: Origin) -> None:
    """Write a figure that the case leaves out, so that it has a place."""
    if one.factor:
        raise QuantityError(
            f"{one.places.words}, which the case leaves out",
            "a figure to multiply",
            "write the figure into the case, or give its distribution without factor = true",
        )
    number = number_text(one.distribution.middle)
    case.set(path, f"{number} {one.written}" if one.written else float(number))


def _slot(k: int, one: Uncertain, path: Origin, value: Any) -> Slot:
    if not one.factor:
        return Slot(k, 1.0, one.written, path)
    if isinstance(value, int | float) and not isinstance(value, bool):
        return Slot(k, float(value), "", path)
    if isinstance(value, str) and (match := re.fullmatch(rf" *({NUMBER_PATTERN}) *(.+?) *", value)):
        return Slot(k, float(match[1]), match[2], path)
    raise QuantityError(
        shown(value),
        f"one figure to multiply at {one.places.words}",
        "write a single quantity into the case there, or take factor = true out",
    )
