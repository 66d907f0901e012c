"""Study files: text in, study out, and all faults of the text in one go.

The way of a study: shape and single values (:mod:`surge.studies.schema`) -> the cases that it names, read as
any case -> axes (here) and uncertain figures (:mod:`surge.studies.figures`) held against them -> line-ups
tried (:mod:`surge.studies.trials`). Each stage adds its faults; a later one begins where earlier ones found
none.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from pathlib import Path
from typing import Any

from surge.case.file import Case, load_case
from surge.case.schema import CaseSpec
from surge.errors import Fault, Origin
from surge.inputs import InputFile
from surge.studies.figures import Figures
from surge.studies.notes import STUDY, Notes
from surge.studies.places import SI_UNITS, leaf_at_places, places_of
from surge.studies.schema import AxisTable, OptionTable, StudyFile, UncertainTable
from surge.studies.trials import tried
from surge.studies.types import Axis, Option, Places, Study
from surge.toml.mend import mend
from surge.toml.rewrite import Written
from surge.toml.tables import keys_of
from surge.toml.text import FileError, FileKind, KeyFault, faults_of_file, parsed, read_file, shown
from surge.toml.values import Number, Quantity
from surge.units import QuantityError, quoted

PART = FileKind(
    words="a case part: a text in TOML with tables of a case",
    too_big="a part takes some kB: check that this is the file you mean",
    lists="[[pipe]]",
)
MOST_RUNS = 10_000_000
ONE_OF = "one of key, keys, stroke_of, cases and option"

RulesOf = Callable[[Case], tuple[str, InputFile] | None]
"""The file of rules that a case names, with the name it gives to it; refuses one that cannot be used."""


def load_study(path: str | Path, *, rules_of: RulesOf) -> Study:
    """Read a study file, with all that it names.

    Parameters
    ----------
    path : str or Path
    rules_of : callable
        Reads the rules of a case.

    Returns
    -------
    Study

    Raises
    ------
    FileError
        Of the study, with one fault when it cannot be read, else with all faults of a stage; of a case, a
        part or a file of rules that it names, with those of that file.
    """
    file = read_file(path, STUDY)
    data = parsed(file, STUDY)
    with faults_of_file(file, STUDY):
        mended = mend(data, StudyFile, STUDY)
        spec = mended.sound
        if spec is None:
            raise FileError(mended.listed(STUDY), file=file, kind=STUDY)
        notes = Notes()
        study = _Reader(spec, file, Path(path).parent, rules_of, notes).study()
        notes.refuse()
        tried(study, notes)
        notes.refuse()
    return study


class _Reader:
    """Makes a study of a file of a sound shape, and notes what does not go with its cases."""

    def __init__(
        self, spec: StudyFile, file: InputFile, folder: Path, rules_of: RulesOf, notes: Notes
    ) -> None:
        self.spec, self.folder, self.rules_of, self.notes = spec, folder, rules_of, notes
        self.files = [file]
        self.cases: dict[str, Case] = {}
        self.rules: dict[str, tuple[str, str]] = {}

    def study(self) -> Study:
        """Return the study; it holds only where no fault was noted."""
        spec = self.spec
        self._bases()
        self.notes.refuse()
        data = Written(next(iter(self.cases.values())).file.text).data
        axes = tuple(self._axis(k, table, data) for k, table in enumerate(spec.axis))
        self._names()
        figures = Figures(spec, data, self.notes)
        study = Study(
            title=spec.title or "",
            note=spec.note,
            run=spec.run or "",
            base="" if any(t.cases for t in spec.axis) else str(spec.case),
            cases={name: Written(case.file.text).text for name, case in self.cases.items()},
            filenames={name: case.filename for name, case in self.cases.items()},
            rules=self.rules,
            places=tuple(str(p) for p in spec.places),
            axes=axes,
            uncertain=figures.uncertain,
            correlation=figures.correlation,
            design=figures.design,
            files=tuple(self.files),
        )
        self._size(study)
        return study

    def _size(self, study: Study) -> None:
        if study.runs > MOST_RUNS:
            found = f"{study.cells} line-ups times {study.samples} samples: {study.runs} runs"
            remedy = "take fewer values or fewer samples"
            self.notes.fault(("axis",) if study.axes else ("samples",), found, f"{MOST_RUNS} at most", remedy)
        if not study.axes and not study.uncertain:
            remedy = "write [[axis]] or [[uncertain]]; one case alone is what surge check is for"
            self.notes.fault(("case",), "nothing that varies", "an axis or an uncertain figure", remedy)
        known = {n for case in self.cases.values() for n in _names_in(case)}
        for k, name in enumerate(study.places):
            if name not in known and not any(o.part for a in study.axes for o in a.options):
                offered = ", ".join(quoted(n) for n in sorted(known)[:12])
                found = f"{quoted(name)}, which no case has"
                self.notes.fault(("places", k), found, "names of elements and points", f"write of {offered}")

    # Files

    def _bases(self) -> None:
        """Read the cases: the one of the file, or those of an axis."""
        spec = self.spec
        through = [k for k, table in enumerate(spec.axis) if table.cases is not None]
        if through and spec.case is not None:
            remedy = "take case out, or the axis of cases"
            self.notes.fault(("case",), "a case, and an axis of cases", "one of the two", remedy)
        for k in through[1:]:
            remedy = "put all cases into one axis"
            self.notes.fault(
                ("axis", k, "cases"), "a second axis of cases", "one axis of cases at most", remedy
            )
        if not through and spec.case is None:
            remedy = 'write case = "berth.toml", or an axis with cases = [...]'
            self.notes.fault(("case",), "no case", "the case that is studied", remedy)
        paths: list[tuple[Origin, str | None]] = [(("case",), spec.case)] if spec.case is not None else []
        for k in through:
            paths += [(("axis", k, "cases", j), name) for j, name in enumerate(spec.axis[k].cases or ())]
        for path, name in paths:
            self._base(path, str(name))

    def _base(self, path: Origin, name: str) -> None:
        if name in self.cases:
            self.notes.fault(path, f"{quoted(name)} for a second time", "each case once", "take it out")
            return
        if not self._is_there(path, name):
            return
        case = load_case(self.folder / name)
        self.cases[name] = case
        self.files.append(case.file)
        if (rules := self.rules_of(case)) is not None:
            self.rules[name] = rules[0], rules[1].text
            self.files.append(rules[1])
        if not case.lineup.scenarios:
            remedy = "write a [[scenario]] into the case"
            self.notes.fault(
                path, f"{quoted(name)}, in which nothing happens", "a case with a scenario", remedy
            )

    def _is_there(self, path: Origin, name: str) -> bool:
        if (self.folder / name).is_file():
            return True
        remedy = "check the name, or copy the file there"
        self.notes.fault(path, f"{quoted(name)}, which is not there", f"a file in {self.folder}", remedy)
        return False

    def _part(self, path: Origin, name: str) -> Mapping[str, Any]:
        if not self._is_there(path, name):
            return {}
        file = read_file(self.folder / name, PART)
        data = parsed(file, PART)
        self.files.append(file)
        known = keys_of(CaseSpec)
        faults: list[Fault] = [
            KeyFault(
                path=(key,),
                found=f"unknown table {quoted(key)}",
                expected="a table of a case",
                remedy=f"write one of {', '.join(known)}",
            )
            for key in data
            if key not in known
        ]
        if faults:
            raise FileError(faults, file=file, kind=PART)
        return {key: value for key, value in data.items() if key not in ("schema", "title", "note")}

    # Axes

    def _names(self) -> None:
        seen: dict[str, Origin] = {}
        tables: dict[str, Sequence[AxisTable | UncertainTable]]
        tables = {"axis": self.spec.axis, "uncertain": self.spec.uncertain}
        for kind, listed in tables.items():
            for k, table in enumerate(listed):
                name = str(table.name)
                if name in seen:
                    self.notes.fault(
                        (kind, k, "name"),
                        f"{quoted(name)} for a second time",
                        "names of axes and uncertain figures that differ",
                        "choose another name",
                    )
                seen[name] = (kind, k)

    def _axis(self, k: int, table: AxisTable, data: Mapping[str, Any]) -> Axis:
        path: Origin = ("axis", k)
        given = [key for key in ("key", "keys", "stroke_of", "cases", "option") if getattr(table, key)]
        name = str(table.name)
        if len(given) != 1:
            found = " and ".join(given) or f"no {ONE_OF.removeprefix('one of ')}"
            self.notes.fault(path, found, ONE_OF, "keep the one that is meant")
            return Axis(name=name, options=())
        if given[0] in ("cases", "option") and table.values is not None:
            remedy = "take values out"
            self.notes.fault((*path, "values"), f"values beside {given[0]}", "one of the two", remedy)
        if table.cases is not None:
            return Axis(
                name=name, options=tuple(Option(name=_stem(str(c)), case=str(c)) for c in table.cases)
            )
        if table.option is not None:
            options = tuple(self._option((*path, "option", j), o) for j, o in enumerate(table.option))
            seen: dict[str | float, str] = {}
            for j, option in enumerate(options):
                self._once((*path, "option", j), option, seen)
            return Axis(name=name, options=options)
        return self._valued(path, table, data)

    def _valued(self, path: Origin, table: AxisTable, data: Mapping[str, Any]) -> Axis:
        """An axis of values of keys."""
        name, places = str(table.name), places_of(table)
        if table.values is None:
            remedy = 'write values = ["400 m3/h", "600 m3/h"]'
            self.notes.fault((*path, "values"), "no values", "the values of the axis", remedy)
            return Axis(name=name, options=())
        leaf = leaf_at_places(path, places, data, self.notes)
        options, kinds = [], []
        seen: dict[str | float, str] = {}
        for j, value in enumerate(table.values):
            kind, si = "", None
            if leaf is not None:
                try:
                    read: Any = leaf.accept(value)
                except QuantityError as error:
                    self.notes.refused((*path, "values", j), error)
                    continue
                if isinstance(leaf, Quantity):
                    kind, si = read.kind, read.value
                elif isinstance(leaf, Number):
                    kind, si = "-", float(read)
            kinds.append(kind)
            options.append(Option(name=_label(value), settings=((places, value),), si=si))
            self._once((*path, "values", j), options[-1], seen)
        if len(set(kinds)) > 1:
            found = f"values by {' and by '.join(sorted(set(kinds)))}"
            remedy = "write all of them in units of one kind"
            self.notes.fault((*path, "values"), found, "values that can be compared", remedy)
        unit = SI_UNITS.get(kinds[0], kinds[0]) if kinds else ""
        return Axis(name=name, options=tuple(options), unit=unit, places=places)

    def _once(self, path: Origin, option: Option, seen: dict[str | float, str]) -> None:
        """Note an option that was there before: under its name, or as the same figure written otherwise."""
        same = option.name if option.si is None else float(f"{option.si:.12g}")
        if same in seen:
            again = (
                " for a second time"
                if seen[same] == option.name
                else f", which is {quoted(seen[same])} again"
            )
            found = f"{quoted(option.name)}{again}"
            self.notes.fault(path, found, "each value of an axis once", "take it out")
        seen.setdefault(same, option.name)

    def _option(self, path: Origin, table: OptionTable) -> Option:
        if table.part is None and not table.set and not table.remove:
            remedy = 'write part = "ship.toml", or a table [axis.option.set]'
            self.notes.fault(path, "nothing that it changes", "part, set or remove", remedy)
        part = self._part((*path, "part"), table.part) if table.part is not None else {}
        return Option(
            name=str(table.name),
            settings=tuple((Places(keys=(key,)), value) for key, value in table.set.items()),
            part=part,
            remove=tuple(str(key) for key in table.remove),
        )


def _names_in(case: Case) -> list[str]:
    return [*(e.name for e in case.lineup.elements), *(p.name for p in case.lineup.points)]


def _stem(name: str) -> str:
    """A case as results call it: its name without the ending."""
    return name.removesuffix(".toml")


def _label(value: object) -> str:
    """A value as results call it."""
    if isinstance(value, str):
        return value
    if isinstance(value, list):
        return ", ".join(map(_label, value)) or "none"
    return shown(value)
