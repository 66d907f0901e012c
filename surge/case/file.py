"""Case files: text in, line-up out, and all faults of the text in one go.

The way of a case: ``tomllib`` -> shape and single values (:mod:`surge.case.schema`) -> line-up
(:mod:`surge.case.build`) -> what must hold between its parts (:mod:`surge.model.validation`). Each stage adds
its faults; a stage that has found some hands a mended case on, so that the later ones still see the rest.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from importlib.resources import files
from pathlib import Path
from typing import Any

from surge.arguments import checked
from surge.case.build import Builder
from surge.case.schema import CaseSpec, Show
from surge.case.size import size_faults
from surge.errors import CaseError, Origin
from surge.inputs import InputFile
from surge.model.lineup import LineUp
from surge.model.validation import faults_of
from surge.toml.mend import MOST_FAULTS_LISTED, Mended, mend
from surge.toml.tables import file_schema, keys_of
from surge.toml.text import FileKind, faults_of_file, file_of, parsed, read_file
from surge.toml.varied import Varied
from surge.units import ShowUnits

_STRUCTURE = (
    *("points", "tank", "supply", "pump", "pipe", "hose", "arm", "valve", "passage"),
    *("non_return_valve", "relief_valve", "surge_drum", "open_vessel"),
)
_JOINTS = ("name", "from", "to", "at")
CASE = FileKind(
    words="a case file: a text in TOML",
    too_big="a case takes a few kB: check that this is one",
    closed="check the path and the rights; `surge new` writes a starter case",
    lists="[[pipe]]",
    many=(
        "a case file with few faults",
        "mend the listed ones first, or begin again from the starter case of `surge new`",
    ),
    named={"points": "point", "levels": "", "openings": "", "trapped_pressure": "", "not_at": ""},
)


@dataclass(frozen=True, kw_only=True)
class Case:
    """A case file that was read without a fault.

    Attributes
    ----------
    lineup : LineUp
        The line-up in SI, with its scenarios.
    show : ShowUnits
        Units of the output.
    file : InputFile
        The text that it was made of, and where it was read.
    rules_file : str or None
        The file of rules that the case names, as a path from the folder of the case file.
    bands : mapping of str to float
        How far figures may be off, as fractions [-]; what the case does not state is left out.
    """

    lineup: LineUp
    show: ShowUnits
    file: InputFile
    rules_file: str | None = None
    bands: Mapping[str, float] = field(default_factory=dict)

    @property
    def filename(self) -> str:
        """Name of the case file, as it was given."""
        return self.file.filename

    @property
    def rules_path(self) -> Path | None:
        """Where the file of rules is: its place counts from the case file."""
        return None if self.rules_file is None else Path(self.filename).parent / self.rules_file

    @property
    def sha256(self) -> str:
        """Hash of the case file: says which case a result belongs to."""
        return self.file.sha256


@checked
def load_case(path: str | Path) -> Case:
    """Read a case file from disk.

    Parameters
    ----------
    path : str or Path

    Returns
    -------
    Case

    Raises
    ------
    FileError
        A :class:`surge.CaseError`, with one fault when the file cannot be read, else with all faults of its
        text.

    Examples
    --------
    >>> import surge
    >>> case = surge.load_case("cases/gas-oil-release-coupling.toml")
    >>> [scenario.name for scenario in case.lineup.scenarios]
    ['release at full rate', 'release at reduced rate']
    >>> round(case.lineup.rate.agreed * 3600)  # from m3/s to m3/h
    450
    """
    return _case_of(read_file(path, CASE))


@checked
def read_case(text: str, *, filename: str) -> Case:
    """Read a case from the text of a case file.

    Parameters
    ----------
    text : str
        The text, in TOML.
    filename : str
        What the output calls the case; no such file is opened.

    Returns
    -------
    Case

    Raises
    ------
    FileError
        A :class:`surge.CaseError` with every fault that was found; see :func:`surge.toml.faults.describe` for
        their lines.

    Examples
    --------
    Every fault comes with what to write instead.

    >>> import surge
    >>> try:
    ...     surge.read_case('title = "No line-up yet"', filename="first-try.toml")
    ... except surge.CaseError as error:
    ...     for fault in error.faults:
    ...         print(f"{fault.found}: {fault.remedy}")
    no key schema: add schema = 1
    no liquid: add [liquid]
    no points: add [points."tank outlet"] for every point
    """
    return _case_of(file_of(text, filename=filename, kind=CASE))


def _case_of(file: InputFile) -> Case:
    """Make a case of a file, or raise FileError with all faults."""
    return _made_of(file)[0]


def _made_of(file: InputFile) -> tuple[Case, dict[str, Any], CaseSpec]:
    """A case, the data of its file, and the same as tables."""
    data = parsed(file, CASE)
    with faults_of_file(file, CASE):
        if too_much := size_faults(data):
            raise CaseError(too_much[:MOST_FAULTS_LISTED])
        mended = mend(data, CaseSpec, CASE)
        lineup = _built(mended)
        if lineup is None or mended.sound is None:
            raise CaseError(mended.listed(CASE))
    return _case(mended.sound, lineup, file), data, mended.sound


def _case(spec: CaseSpec, lineup: LineUp, file: InputFile) -> Case:
    return Case(
        lineup=lineup,
        show=_show(spec.show),
        file=file,
        rules_file=spec.rules.file,
        bands={key: band.value for key, band in spec.bands if band is not None},
    )


class CaseSeries:
    """Reads cases whose texts differ in some single values only: the tables of the others are read once.

    Every case is as :func:`read_case` gives it. One with a fault is read by that, from the text.

    Parameters
    ----------
    filename : str
        What the output calls the cases.
    paths : sequence of Origin
        Where the values stand that differ.
    """

    def __init__(self, filename: str, paths: Sequence[Origin]) -> None:
        self.filename, self.paths = filename, tuple(paths)
        self._first: Varied[CaseSpec] | None = None

    def read(self, text: str, values: Sequence[object]) -> Case:
        """Return the case of a text.

        Parameters
        ----------
        text : str
        values : sequence
            What stands in it at each of the paths, as ``tomllib`` gives it.

        Raises
        ------
        FileError
            As :func:`read_case` does.
        """
        file = file_of(text, filename=self.filename, kind=CASE)
        if self._first is None:
            made, data, spec = _made_of(file)
            self._first = Varied(data=data, sound=spec, paths=self.paths)
            return made
        other = self._first.tables(values)
        if other is None:
            return _case_of(file)
        lineup = _built(Mended(model=CaseSpec, data=self._first.data, sound=other))
        return _case_of(file) if lineup is None else _case(other, lineup, file)


def _built(mended: Mended[CaseSpec]) -> LineUp | None:
    """Build the line-up and add the faults of building and of validation; None if there are any.

    With faults already known, two line-ups are built, with small and with large stand-ins: what is wrong
    in both is wrong in the file.
    """
    specs = [spec for pick in (0, 1) if (spec := mended.spec(pick)) is not None]
    if not specs:
        return None
    builders = [Builder(specs[0], pick=0)]
    lineups = [builders[0].lineup()]
    if (mended.faults or builders[0].notes.faults) and len(specs) > 1:
        builders.append(Builder(specs[1], pick=1))
        lineups.append(builders[1].lineup())
    mended.add(*[builder.notes.faults for builder in builders])
    if not any(map(_joins, mended.guessed)):
        mended.add(*[faults_of(lineup) for lineup in lineups[: 2 if mended.faults else 1]])
    return None if mended.faults else lineups[0]


def _joins(path: Origin) -> bool:
    """Tell whether what stands at a path may say which elements there are and what they connect."""
    if len(path) == 1 and path[0] not in keys_of(CaseSpec):
        return True  # an unknown table may have been meant as an element
    return path[0] in _STRUCTURE and (len(path) <= 2 or path[-1] == "[key]" or path[2] in _JOINTS)


def _show(show: Show) -> ShowUnits:
    return ShowUnits(pressure=show.pressure, flow=show.flow, length=show.length, diameter=show.diameter)


# Schema and starter


def case_schema() -> dict[str, Any]:
    """Return the JSON Schema of case files; :mod:`surge.schemas` writes it."""
    return file_schema(CaseSpec, "surge case file, schema 1")


def starter_case() -> str:
    """Return the commented starter case that ``surge new`` writes."""
    return files("surge.case").joinpath("starter.toml").read_text(encoding="utf-8")
